package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"brasspeg/store/life"
	"brasspeg/store/reorder"
)

// A sleeve that was out for a job, and one that stood in a station, know how often they were
// clamped and what was cut on them; what was undone, and what was cut after they came back, does
// not count.
func TestUseOf(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBench(s, 4)
		slv := s.receive(s.sleeve("SLV-1"), 2, b.bin)
		use := func(it Item) Use {
			t.Helper()
			u, err := s.UseOf(ctx, it.ID)
			s.must(err)
			return u
		}
		if u := use(slv[0]); u.Times != 0 || u.Edges != 0 || !u.LookedAt.IsZero() {
			t.Errorf("new: %+v", u)
		}
		b.log(EdgeIn{Parts: 20, Reason: life.Worn, Minutes: 30}) // before any was out
		_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: slv[0].ID, Qty: 1}}, To: s.op1.PlaceID, Job: b.job.ID})
		s.must(err)
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: slv[1].ID, Qty: 1}}, To: b.st2.PlaceID})
		s.must(err)
		b.log(EdgeIn{Parts: 21, Reason: life.Worn, Minutes: 31})
		b.log(EdgeIn{Parts: 22, Reason: life.Worn})
		b.log(EdgeIn{Station: b.st2.ID, Job: b.job2.ID, Parts: 7, Reason: life.Worn, Minutes: 9})
		wrong := b.log(EdgeIn{Parts: 90, Reason: life.Worn, Minutes: 99})
		_, err = s.Reverse(ctx, op(s.boss), wrong, "wrong station")
		s.must(err)
		s.clock.step(time.Hour)
		back := s.Now()
		_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: slv[0].ID, Place: s.op1.PlaceID, Qty: 1}}, To: b.bin, Condition: "inspect", Reason: "marks of a screw"})
		s.must(err)
		b.log(EdgeIn{Parts: 23, Reason: life.Worn, Minutes: 33}) // afterwards
		if u := use(slv[0]); u.Times != 1 || u.Jobs != 1 || u.Edges != 2 || u.Parts != 43 || u.Minutes != 31 || u.Timed != 1 || !u.InThere || u.Looked != "marks of a screw" || !u.LookedAt.Equal(back) {
			t.Errorf("out for a job: %+v", u)
		}
		if u := use(slv[1]); u.Times != 1 || u.Jobs != 0 || u.Edges != 1 || u.Parts != 7 || u.Minutes != 9 {
			t.Errorf("in a station: %+v", u)
		}
		if u := use(b.box); u.Edges != 5 || u.Parts != 20+21+22+7+23 {
			t.Errorf("the box of inserts: %+v", u)
		}
		s.sound()
	})
}

// How fast a screw goes is entered once and moves the point at which it is bought.
func TestSetWear(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("DUNK", 30)
		screw := s.bought("S-12", "spare", v, 10, 30, home, map[string]any{})
		in, err := PartFrom(map[string]any{"id": "HED-32R", "kind": "head", "CCMS": "H32", "HAND": "R", "DMIN": 40, "seat": "DCMT11T3", "LF": 32}, "entered")
		s.must(err)
		in.Part.HomeID, in.Needs = &home, map[PartID]int{screw.ID: 2}
		head, err := s.SavePart(ctx, s.boss.ID, in)
		s.must(err)
		heads := s.receive(head, 3, home)
		s.receive(screw, 10, home)
		for range 4 {
			_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: heads[0].ID, Qty: 1}}, To: s.op1.PlaceID})
			s.must(err)
			s.clock.step(15 * 24 * time.Hour)
			_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: heads[0].ID, Place: s.op1.PlaceID, Qty: 1}}})
			s.must(err)
		}
		w, err := s.WearsOf(ctx, head.ID)
		s.must(err)
		// 4 uses of 3 heads in 60 days: 8.1 of each a year.
		if len(w) != 1 || w[0].Spare != "S-12" || w[0].Qty != 2 || w[0].OnHand != 10 || w[0].Pieces != 3 || w[0].Life != 0 || w[0].Counted < 8.0 || w[0].Counted > 8.2 {
			t.Fatalf("%+v", w)
		}
		before := s.line(screw).Advice
		if before.Point != 2 || before.Alert.Level != reorder.Enough {
			t.Errorf("nothing said about wear: point %d, %v", before.Point, before.Alert.Level)
		}
		for _, bad := range []WearIn{{head.ID, screw.ID, -1, 5}, {head.ID, screw.ID, 5, 1e7}, {head.ID, head.ID, 5, 5}, {screw.ID, head.ID, 5, 5}} {
			if _, err := s.SetWear(ctx, op(s.boss), bad); !errors.Is(err, ErrBadInput) {
				t.Errorf("%+v: %v", bad, err)
			}
		}
		if _, err := s.SetWear(ctx, op(s.op1), WearIn{head.ID, screw.ID, 50, 4}); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator: %v", err)
		}
		r, err := s.SetWear(ctx, op(s.boss), WearIn{head.ID, screw.ID, 50, 4})
		s.must(err)
		if !strings.Contains(r.Says, "lasts 4 uses") {
			t.Errorf("says %q", r.Says)
		}
		// 3 heads with 2 screws, 50 uses a year, 4 uses a screw: 75 a year, 6 in a lead time of 30 days.
		if after := s.line(screw).Advice; after.Point < 8 || after.Alert.Level == reorder.Enough {
			t.Errorf("75 screws a year and 10 there: point %d, %v", after.Point, after.Alert.Level)
		}
		_, err = s.SetWear(ctx, op(s.boss), WearIn{head.ID, screw.ID, 0, 0})
		s.must(err)
		if again := s.line(screw).Advice; again.Point != 2 {
			t.Errorf("taken away: point %d", again.Point)
		}
	})
}
