package store

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

// Circle 12.70 to 12.30 after regrind: another record, another label, seat CNMG1204 refused.
func TestRegrind(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("C9")
		p := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408", Grade: "K7"})
		lot := s.receive(p, 6, bin)[0]
		s.must(s.LimitRegrinds(ctx, s.boss.ID, p.ID, 2))
		o := op(s.gate)
		g, err := s.Regrind(ctx, o, RegrindIn{Item: lot.ID, Qty: 4, Size: "12.30 mm"})
		s.must(err)
		again, err := s.Regrind(ctx, o, RegrindIn{Item: lot.ID, Qty: 4, Size: "12.30 mm"})
		if err != nil || !again.Replayed || again.Tag != g.Tag || again.Part.ID != g.Part.ID || again.Times != 1 {
			t.Errorf("the same regrind again: %+v, %v", again, err)
		}
		if g.Tag == lot.Tag || g.Part.ID == p.ID || g.Times != 1 {
			t.Errorf("reground: %+v; want a record and a tag of its own", g)
		}
		if n := s.there(lot.ID, bin); n != 2 {
			t.Errorf("%d left of the new ones, want 2", n)
		}
		f := s.facts(g.Part)
		if f["IC"].Value != "12.3" || strings.Contains(f["seat"].Value, `"CNMG1204"`) {
			t.Errorf("facts of the ground one: %+v", f)
		}
		shelf, err := s.Shelf(ctx)
		s.must(err)
		if n, _ := shelf.Len(); n != 2 {
			t.Errorf("%d heaps on the shelf, want the new and the ground", n)
		}
		var mates []string
		s.must(s.read.Raw("SELECT p.code FROM part_joints j JOIN parts p ON p.id = j.part_id WHERE j.family = 'pocket' AND j.code = 'CNMG1204' ORDER BY p.code").Scan(&mates).Error)
		if !slices.Equal(mates, []string{"INS-C09"}) {
			t.Errorf("seat CNMG1204 is met by %v, want the new one alone", mates)
		}
		if found, err := s.Search(ctx, "CNMG 432", 10); err != nil || found[0].Code != "INS-C09" {
			t.Errorf("search CNMG 432: %v, %v", codesOf(found), err)
		}
		ground, err := s.ItemByTag(ctx, g.Tag)
		s.must(err)
		if _, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: ground.ID, Qty: 1, Size: "12.7 mm"}); !errors.Is(err, ErrBadInput) {
			t.Errorf("ground larger: %v", err)
		}
		if _, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: ground.ID, Qty: 1, Size: "12"}); !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "of what") {
			t.Errorf("ground to a bare 12: %v", err)
		}
		g2, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: ground.ID, Qty: 2, Size: "12.0 mm"})
		if err != nil || g2.Times != 2 {
			t.Fatalf("ground twice: %+v, %v", g2, err)
		}
		twice, err := s.ItemByTag(ctx, g2.Tag)
		s.must(err)
		if _, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: twice.ID, Qty: 1, Size: "11.8 mm"}); !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "limit") {
			t.Errorf("ground a third time: %v", err)
		}
		s.sound()
	})
}
