package store

import (
	"encoding/json"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"
)

func TestIssueAndReturn(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		it := s.receive(s.sleeve("SLV-1"), 1, bin)[0]
		r, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID, Due: "2026-03-18"})
		s.must(err)
		if !strings.Contains(r.Says, "Issued 1 × SLV-1 "+it.Tag) {
			t.Errorf("the receipt says %q", r.Says)
		}
		if s.there(it.ID, bin) != 0 || s.there(it.ID, s.op1.PlaceID) != 1 {
			t.Error("the sleeve is not with the operator")
		}
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.boss.PlaceID})
		if !errors.Is(err, ErrElsewhere) || !strings.Contains(err.Error(), "Opal") || !strings.Contains(err.Error(), "2026-03-18") {
			t.Errorf("a second issue: %v; want ErrElsewhere that names Opal and the due day", err)
		}
		_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: it.ID, Qty: 1}}})
		s.must(err)
		if s.there(it.ID, bin) != 1 {
			t.Error("the sleeve is not back in its bin")
		}
		s.sound()
	})
}

// Each of these must be refused with its class, name what is wrong, and change nothing.
func TestRefusals(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		sleeve := s.receive(s.sleeve("SLV-1"), 2, bin)
		ins := s.receive(s.insert("INS-1", 4), 10, bin)[0]
		gone, held := sleeve[0], sleeve[1]
		_, err := s.Scrap(ctx, op(s.gate), ScrapIn{Picks: []Pick{{Item: gone.ID, Qty: 1}}, Reason: "cracked"})
		s.must(err)
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: held.ID, Qty: 1}}, To: s.op1.PlaceID})
		s.must(err)
		_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: held.ID, Qty: 1}}, Condition: "inspect", Reason: "dropped"})
		s.must(err)
		to := s.op1.PlaceID
		edges := 5
		for _, tt := range []struct {
			name  string
			do    func() error
			class error
			says  string
		}{
			{"more than there", func() error {
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: ins.ID, Qty: 11}}, To: to})
				return err
			}, ErrShort, "11 asked, 10 there"},
			{"zero", func() error {
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: ins.ID, Qty: 0}}, To: to})
				return err
			}, ErrBadInput, "whole number"},
			{"negative", func() error {
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: ins.ID, Qty: -3}}, To: to})
				return err
			}, ErrBadInput, "-3"},
			{"two of one piece", func() error {
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: held.ID, Qty: 2}}, To: to})
				return err
			}, ErrBadInput, "one piece"},
			{"unknown item", func() error {
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: 9999, Qty: 1}}, To: to})
				return err
			}, ErrNotFound, "9999"},
			{"scrapped", func() error {
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: gone.ID, Qty: 1}}, To: to})
				return err
			}, ErrRetired, "scrapped on 2026-03-16: cracked"},
			{"held back", func() error {
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: held.ID, Qty: 1}}, To: to})
				return err
			}, ErrHeld, "dropped"},
			{"to a bin", func() error {
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}, To: bin})
				return err
			}, ErrBadInput, "A1"},
			{"nothing", func() error { _, err := s.Issue(ctx, op(s.gate), IssueIn{To: to}); return err }, ErrBadInput, "nothing"},
			{"return of what is in", func() error {
				_, err := s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}})
				return err
			}, ErrElsewhere, "A1"},
			{"scrap without reason", func() error {
				_, err := s.Scrap(ctx, op(s.gate), ScrapIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}})
				return err
			}, ErrBadInput, "why"},
			{"adjust over the limit", func() error {
				_, err := s.Adjust(ctx, op(s.gate), AdjustIn{Item: ins.ID, Place: bin, Delta: 21, Reason: "found"})
				return err
			}, ErrForbidden, "manager"},
			{"an admin books", func() error {
				_, err := s.Issue(ctx, op(s.admin), IssueIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}, To: to})
				return err
			}, ErrForbidden, "admin"},
			{"an operator for another", func() error {
				_, err := s.Issue(ctx, op(s.op1), IssueIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}, To: s.boss.PlaceID})
				return err
			}, ErrForbidden, "himself"},
			{"a short op id", func() error {
				_, err := s.Issue(ctx, Op{ID: "x", Actor: s.gate.ID}, IssueIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}, To: to})
				return err
			}, ErrBadInput, "op id"},
			{"edges above the insert's", func() error {
				if _, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}, To: to}); err != nil {
					return err
				}
				_, err := s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}, Edges: &edges})
				return err
			}, ErrBadInput, "4 edges"},
			{"insert back without its edges", func() error {
				_, err := s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: ins.ID, Qty: 1}}})
				return err
			}, ErrBadInput, "how many edges"},
		} {
			before := s.sound()
			err := tt.do()
			if !errors.Is(err, tt.class) || err != nil && !strings.Contains(err.Error(), tt.says) {
				t.Errorf("%s: %v; want %v with %q", tt.name, err, tt.class, tt.says)
			}
			if after := s.sound(); tt.name != "edges above the insert's" && after.Movements != before.Movements {
				t.Errorf("%s: refused, but %d movements were booked", tt.name, after.Movements-before.Movements)
			}
		}
	})
}

// A line in the middle that is refused takes the whole op with it.
func TestAllOrNothing(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		a, b := s.receive(s.insert("INS-1", 2), 5, bin)[0], s.receive(s.insert("INS-2", 2), 1, bin)[0]
		before := s.sound().Movements
		_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: a.ID, Qty: 1}, {Item: b.ID, Qty: 2}}, To: s.op1.PlaceID})
		if !errors.Is(err, ErrShort) {
			t.Fatalf("issue: %v, want ErrShort", err)
		}
		if s.there(a.ID, bin) != 5 || s.sound().Movements != before {
			t.Error("the first line of a refused op stayed")
		}
	})
}

func TestSameOpTwice(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		it := s.receive(s.insert("INS-1", 2), 10, bin)[0]
		o := op(s.gate)
		in := IssueIn{Picks: []Pick{{Item: it.ID, Qty: 3}}, To: s.op1.PlaceID}
		var wg sync.WaitGroup
		answers := make([]string, 32)
		for i := range answers {
			wg.Go(func() {
				r, err := s.Issue(ctx, o, in)
				if err != nil {
					t.Error(err)
				}
				r.Replayed = false
				b, _ := json.Marshal(r)
				answers[i] = string(b)
			})
		}
		wg.Wait()
		for _, a := range answers {
			if a != answers[0] {
				t.Errorf("two answers for one op:\n%s\n%s", answers[0], a)
			}
		}
		if n := s.there(it.ID, bin); n != 7 {
			t.Errorf("32 tries of one issue of 3 left %d, want 7", n)
		}
		in.Picks[0].Qty = 4
		if _, err := s.Issue(ctx, o, in); !errors.Is(err, ErrOpReused) {
			t.Errorf("the same op id with another quantity: %v, want ErrOpReused", err)
		}
		s.sound()
	})
}

// The last piece is given once, whoever asks and however often.
func TestLastPiece(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		part := s.insert("INS-1", 2)
		rounds := 40
		for range rounds {
			it := s.receive(part, 1, bin)[0]
			var wg sync.WaitGroup
			var mu sync.Mutex
			won := 0
			for range 50 {
				wg.Go(func() {
					_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Place: bin, Qty: 1}}, To: s.op1.PlaceID})
					mu.Lock()
					defer mu.Unlock()
					if err == nil {
						won++
					} else if !errors.Is(err, ErrShort) {
						t.Errorf("a loser was told %v", err)
					}
				})
			}
			wg.Wait()
			if won != 1 {
				t.Fatalf("%d of 50 got the last piece", won)
			}
		}
		s.sound()
	})
}

func TestReverse(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		it := s.receive(s.sleeve("SLV-1"), 1, bin)[0]
		o := op(s.gate)
		_, err := s.Issue(ctx, o, IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID})
		s.must(err)
		if _, err := s.Reverse(ctx, op(s.op1), o.ID, "mine"); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator undoes another's booking: %v, want ErrForbidden", err)
		}
		_, err = s.Reverse(ctx, op(s.gate), o.ID, "wrong one")
		s.must(err)
		if s.there(it.ID, bin) != 1 {
			t.Error("after the undo the sleeve is not in its bin")
		}
		if _, err := s.Reverse(ctx, op(s.boss), o.ID, "again"); !errors.Is(err, ErrReversed) {
			t.Errorf("a second undo: %v, want ErrReversed", err)
		}
		own := op(s.op1)
		_, err = s.Issue(ctx, own, IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID})
		s.must(err)
		s.clock.step(61 * time.Second)
		if _, err := s.Reverse(ctx, op(s.op1), own.ID, "late"); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator's undo after 61 s: %v, want ErrForbidden", err)
		}
		scrap := op(s.gate)
		_, err = s.Scrap(ctx, scrap, ScrapIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, Reason: "cracked"})
		s.must(err)
		_, err = s.Reverse(ctx, op(s.gate), scrap.ID, "not cracked")
		s.must(err)
		if got, _ := s.Item(ctx, it.ID); !got.RetiredAt.IsZero() {
			t.Error("an undone scrap left the piece retired")
		}
		s.sound()
	})
}

// Used inserts never go back into the new lot.
func TestPartUsedInserts(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		it := s.receive(s.insert("INS-1", 4), 10, bin)[0]
		_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 2}}, To: s.op1.PlaceID})
		s.must(err)
		one := 1
		r, err := s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, Edges: &one})
		s.must(err)
		if s.there(it.ID, bin) != 8 {
			t.Errorf("new: %d, want 8", s.there(it.ID, bin))
		}
		used, err := s.ItemByTag(ctx, r.Lines[1].Tag)
		s.must(err)
		if used.EdgesLeft == nil || *used.EdgesLeft != 1 || s.there(used.ID, s.places.code(CodePartUsed)) != 1 {
			t.Errorf("part-used lot: %+v with %d", used, s.there(used.ID, s.places.code(CodePartUsed)))
		}
		zero := 0
		_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, Edges: &zero})
		s.must(err)
		s.sound()
	})
}

func TestPromises(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		it := s.receive(s.insert("INS-1", 2), 4, bin)[0]
		j1, err := s.SaveJob(ctx, s.boss.ID, Job{Code: "J-501", FromDay: "2026-03-16", ToDay: "2026-03-19", Request: "{}"})
		s.must(err)
		j2, err := s.SaveJob(ctx, s.boss.ID, Job{Code: "J-502", FromDay: "2026-03-16", ToDay: "2026-03-17", Request: "{}"})
		s.must(err)
		_, err = s.Reserve(ctx, op(s.boss), ReserveIn{Job: j1.ID, Picks: []Pick{{Item: it.ID, Qty: 3}}})
		s.must(err)
		if _, err := s.Reserve(ctx, op(s.boss), ReserveIn{Job: j2.ID, Picks: []Pick{{Item: it.ID, Qty: 2}}}); !errors.Is(err, ErrPromised) || !strings.Contains(err.Error(), "J-501") {
			t.Errorf("a clash: %v, want ErrPromised that names J-501", err)
		}
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 2}}, To: s.op1.PlaceID, Job: j2.ID})
		if !errors.Is(err, ErrPromised) || !strings.Contains(err.Error(), "free 1, short 1") {
			t.Errorf("issue of what is promised: %v, want free 1, short 1", err)
		}
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 2}}, To: s.op1.PlaceID, Job: j2.ID, Override: "agreed with Bo"})
		s.must(err)
		s.sound()
	})
}

func TestCount(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin, other := s.bin("A1"), s.bin("A2")
		it := s.receive(s.insert("INS-1", 2), 10, bin)[0]
		piece := s.receive(s.sleeve("SLV-1"), 1, bin)[0]
		for _, found := range []int64{7, 7, 12, 0} {
			_, err := s.Count(ctx, op(s.gate), []CountIn{{Item: it.ID, Place: bin, Found: found, Reason: "count"}})
			s.must(err)
			if n := s.there(it.ID, bin); n != found {
				t.Errorf("counted %d, the store says %d", found, n)
			}
		}
		if _, err := s.Count(ctx, op(s.gate), []CountIn{{Item: piece.ID, Place: other, Found: 1}}); !errors.Is(err, ErrElsewhere) {
			t.Errorf("a piece found in a second place: %v, want ErrElsewhere", err)
		}
		s.sound()
	})
}

// The clock may go back; the ledger does not.
func TestClockStepsBack(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		it := s.receive(s.insert("INS-1", 2), 10, bin)[0]
		s.clock.step(-2 * time.Hour)
		_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID})
		s.must(err)
		s.restart()
		s.sound()
	})
}
