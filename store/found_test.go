package store

import (
	"errors"
	"strings"
	"testing"
)

// What can not be in a place is not found there by count or adjustment: a piece that was scrapped
// or whose receipt was undone, and inserts without an edge. A piece that a count had written off
// may be found again.
func TestWhatCanNotBeFound(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		slv := s.receive(s.sleeve("SLV-1"), 3, bin)
		s.must2(s.Scrap(ctx, op(s.gate), ScrapIn{Picks: []Pick{{Item: slv[0].ID, Qty: 1}}, Reason: "cracked"}))
		got := op(s.gate)
		s.must2(s.Receive(ctx, got, ReceiveIn{Part: slv[0].PartID, Qty: 1, To: bin}))
		var never ItemID
		s.must(s.read.Raw("SELECT max(id) FROM items").Scan(&never).Error)
		s.must2(s.Reverse(ctx, op(s.boss), got.ID, "another order"))
		box := s.receive(s.insert("INS-1", 2), 4, bin)[0]
		none := 0
		s.must2(s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: box.ID, Qty: 1}}, To: s.op1.PlaceID}))
		s.must2(s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: box.ID, Qty: 1}}, Edges: &none}))
		var dead ItemID
		s.must(s.read.Raw("SELECT id FROM items WHERE edges_left = 0").Scan(&dead).Error)
		for _, tt := range []struct {
			item  ItemID
			class error
			says  string
		}{
			{slv[0].ID, ErrElsewhere, "went to SCRAP on 2026-03-16"},
			{never, ErrElsewhere, "went to SUPPLIER on 2026-03-16"},
			{slv[1].ID, ErrElsewhere, "is on record in A1"},
			{dead, ErrRetired, "no edge left"},
		} {
			at := bin
			if tt.item == slv[1].ID {
				at = s.bin("A2")
			}
			_, counted := s.Count(ctx, op(s.boss), []CountIn{{Item: tt.item, Place: at, Found: 1}})
			_, adjusted := s.Adjust(ctx, op(s.boss), AdjustIn{Item: tt.item, Place: at, Delta: 1, Reason: "found"})
			for _, err := range []error{counted, adjusted} {
				if !errors.Is(err, tt.class) || !strings.Contains(err.Error(), tt.says) {
					t.Errorf("item %d: %v; want %q", tt.item, err, tt.says)
				}
			}
		}
		s.must2(s.Adjust(ctx, op(s.boss), AdjustIn{Item: slv[2].ID, Place: bin, Delta: -1, Reason: "gone"}))
		s.must2(s.Count(ctx, op(s.boss), []CountIn{{Item: slv[2].ID, Place: bin, Found: 1}}))
		s.sound()
	})
}

// Nothing is promised to a job that is closed, and releasing what is promised to a job takes its
// plan with it, which rests on the promises.
func TestPromisesAndPlansEndTogether(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		j := b.planned(b.job("J-1", "2026-03-17", "2026-03-20"))
		release := op(s.boss)
		before := s.beside()
		s.must2(s.Unreserve(ctx, release, j.ID))
		if plans, err := openPlans(s.read, []JobID{j.ID}); err != nil || len(plans) != 0 {
			t.Errorf("the plan is still in force: %+v %v", plans, err)
		}
		s.sound()
		s.must2(s.Reverse(ctx, op(s.boss), release.ID, "no"))
		s.same("the release undone", before)
		s.must2(s.CloseJob(ctx, op(s.boss), CloseIn{Job: j.ID}))
		_, err := s.Reserve(ctx, op(s.boss), ReserveIn{Job: j.ID, Picks: []Pick{{Item: b.item("BAR", 0).ID, Qty: 1}}})
		if !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "J-1 is closed") {
			t.Errorf("a promise to a closed job: %v", err)
		}
		s.sound()
	})
}
