package store

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

// What is out to the grinder is seen there with its days, is on hand no longer, and comes back once:
// ground as another record, or as it went.
func TestGrinder(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("C9")
		p := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408", Grade: "K7"})
		s.must(s.LimitRegrinds(ctx, s.boss.ID, p.ID, 1))
		lot := s.receive(p, 10, bin)[0]
		send := GrindOut{Picks: []Pick{{Item: lot.ID, Qty: 6}}, Due: s.Today().Add(14), Note: "to the one in the valley: carefully"}
		o := op(s.gate)
		for range 2 { // sent twice it is booked once
			_, err := s.SendToGrinder(ctx, o, send)
			s.must(err)
		}
		at, err := s.AtGrinder(ctx, 0)
		s.must(err)
		if len(at) != 1 || at[0].Qty != 6 || at[0].Due() != send.Due || at[0].Note() != send.Note || !strings.Contains(at[0].Says(), "6 at the grinder since") {
			t.Fatalf("at the grinder: %+v", at)
		}
		st, err := s.Standing(ctx, lot.Tag)
		s.must(err)
		if len(st.Grinding) != 1 || len(st.At) != 1 || st.At[0].Qty != 4 {
			t.Errorf("it stands in %+v and %+v", st.At, st.Grinding)
		}
		if _, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: lot.ID, Qty: 5}}, To: s.op1.PlaceID}); !errors.Is(err, ErrShort) {
			t.Errorf("issue of what is at the grinder: %v", err)
		}
		if _, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: lot.ID, Qty: 7, Size: "12.3 mm"}); !errors.Is(err, ErrShort) {
			t.Errorf("7 of 6 come back: %v", err)
		}
		g, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: lot.ID, Qty: 4, Size: "12.3 mm", To: bin})
		s.must(err)
		if n := s.there(lot.ID, bin); n != 4 {
			t.Errorf("%d of the new ones on the shelf, want the 4 that never went", n)
		}
		if _, err := s.Reverse(ctx, op(s.gate), o.ID, "by mistake"); !errors.Is(err, ErrShort) {
			t.Errorf("undone, though 4 of 6 came back: %v", err)
		}
		ground, err := s.ItemByTag(ctx, g.Tag)
		s.must(err)
		if _, err := s.SendToGrinder(ctx, op(s.gate), GrindOut{Picks: []Pick{{Item: ground.ID, Qty: 1}}}); !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "limit") {
			t.Errorf("out a second time with a limit of 1: %v", err)
		}
		if _, err := s.BackUnground(ctx, op(s.gate), GrindBack{Picks: []Pick{{Item: lot.ID, Qty: 3}}}); !errors.Is(err, ErrShort) {
			t.Errorf("3 of 2 come back: %v", err)
		}
		_, err = s.BackUnground(ctx, op(s.gate), GrindBack{Picks: []Pick{{Item: lot.ID, Qty: 2}}, To: bin})
		s.must(err)
		if at, err := s.AtGrinder(ctx, 0); err != nil || len(at) != 0 || s.there(lot.ID, bin) != 6 {
			t.Errorf("at the end: %+v, %v, %d", at, err, s.there(lot.ID, bin))
		}
		s.sound()
	})
}

// What no grinder takes, and days that no one means, are refused with nothing moved.
func TestGrinderRefuses(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("C9")
		p := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408", Grade: "K7"})
		lot := s.receive(p, 3, bin)[0]
		j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: "J-9", FromDay: s.Today().Add(3), ToDay: s.Today().Add(5), Request: "{}"})
		s.must(err)
		_, err = s.Reserve(ctx, op(s.boss), ReserveIn{Job: j.ID, Picks: []Pick{{Item: lot.ID, Qty: 2}}})
		s.must(err)
		for _, tt := range []struct {
			what string
			in   GrindOut
			want error
		}{
			{"yesterday", GrindOut{Picks: []Pick{{Item: lot.ID, Qty: 1}}, Due: s.Today().Add(-1)}, ErrBadInput},
			{"no day", GrindOut{Picks: []Pick{{Item: lot.ID, Qty: 1}}, Due: "soon"}, ErrBadInput},
			{"none", GrindOut{Picks: []Pick{{Item: lot.ID}}}, ErrBadInput},
			{"more than there is", GrindOut{Picks: []Pick{{Item: lot.ID, Qty: 4}}, Override: "all"}, ErrShort},
			{"promised", GrindOut{Picks: []Pick{{Item: lot.ID, Qty: 2}}}, ErrPromised},
			{"promised, and back in time", GrindOut{Picks: []Pick{{Item: lot.ID, Qty: 2}}, Due: s.Today().Add(2)}, nil},
		} {
			if _, err := s.SendToGrinder(ctx, op(s.gate), tt.in); !errors.Is(err, tt.want) {
				t.Errorf("%s: %v, want %v", tt.what, err, tt.want)
			}
		}
		s.sound()
	})
}

// On hand is not free: what is promised to a job of a later day is not handed out without a word,
// unless it is back before that; a reason takes it all the same.
func TestPromisedLater(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		it := s.receive(s.insert("INS-1", 2), 4, bin)[0]
		day := s.Today().Add
		job := func(code string, from, to Day) Job {
			j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: code, FromDay: from, ToDay: to, Request: "{}"})
			s.must(err)
			return j
		}
		later, soon := job("J-701", day(5), day(8)), job("J-700", day(0), day(2))
		_, err := s.Reserve(ctx, op(s.boss), ReserveIn{Job: later.ID, Picks: []Pick{{Item: it.ID, Qty: 3}}})
		s.must(err)
		for _, tt := range []struct {
			what string
			in   IssueIn
			says []string // nil: it is handed out
		}{
			{"no due day", IssueIn{}, []string{"J-701", string(day(5)), "free 1", "short 1"}},
			{"due while the other runs", IssueIn{Due: day(6)}, []string{"J-701", string(day(5))}},
			{"due on its first day", IssueIn{Due: day(5)}, []string{"J-701"}},
			{"due the day before", IssueIn{Due: day(4)}, nil},
			{"for a job that ends before", IssueIn{Job: soon.ID}, nil},
			{"for the job itself", IssueIn{Job: later.ID}, nil},
			{"with a reason", IssueIn{Override: "the machine stands"}, nil},
		} {
			in, o := tt.in, op(s.gate)
			in.Picks, in.To = []Pick{{Item: it.ID, Qty: 2}}, s.op1.PlaceID
			_, err := s.Issue(ctx, o, in)
			if tt.says == nil {
				if err != nil {
					t.Errorf("%s: %v", tt.what, err)
					continue
				}
				_, err = s.Reverse(ctx, op(s.gate), o.ID, "again")
				s.must(err)
				continue
			}
			if !errors.Is(err, ErrPromised) || slices.ContainsFunc(tt.says, func(w string) bool { return !strings.Contains(err.Error(), w) }) {
				t.Errorf("%s: %v, want ErrPromised with %q", tt.what, err, tt.says)
			}
		}
		if _, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID}); err != nil {
			t.Errorf("the one that is free: %v", err)
		}
		s.sound()
	})
}
