package store

import (
	"errors"
	"strings"
	"testing"
	"time"
)

// A count is blind: the list does not say what the record says, and a difference is told
// without its size until a reason is given; then it is a booking.
func TestBlindCount(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 7)
		p := s.cnmg(v, home)
		lot := s.receive(p, 20, home)[0]
		bar := s.receive(s.sleeve("SLV"), 1, home)[0]
		n, err := s.PlanCounts(ctx, 8)
		s.must(err)
		if again, err := s.PlanCounts(ctx, 8); n != 2 || again != 0 || err != nil {
			t.Fatalf("%d tasks, then %d, %v; want 2, then none", n, again, err)
		}
		tasks, err := s.CountTasks(ctx)
		s.must(err)
		by := map[ItemID]CountTaskView{}
		for _, k := range tasks {
			if k.Was != nil || k.Why == "" {
				t.Errorf("the list shows the record, or no reason: %+v", k)
			}
			by[k.ItemID] = k
		}
		in := CountTaskIn{Task: by[lot.ID].ID, Found: 18, PlaceOK: true, ConditionOK: true}
		_, err = s.CountTask(ctx, op(s.gate), in)
		if !errors.Is(err, ErrAsk) || strings.Contains(err.Error(), "20") || s.there(lot.ID, home) != 20 {
			t.Errorf("18 of 20 without a reason: %v, %d there", err, s.there(lot.ID, home))
		}
		in.Reason = "two were used and not booked"
		_, err = s.CountTask(ctx, op(s.gate), in)
		s.must(err)
		if s.there(lot.ID, home) != 18 {
			t.Errorf("%d there, want 18", s.there(lot.ID, home))
		}
		lines, err := s.Lines(ctx, LineFilter{Item: lot.ID, Limit: 1})
		s.must(err)
		if lines[0].Qty != 2 || lines[0].Reason != in.Reason || lines[0].To != "adjust" {
			t.Errorf("the difference is booked as %+v", lines[0])
		}
		if _, err = s.CountTask(ctx, op(s.gate), in); !errors.Is(err, ErrConflict) {
			t.Errorf("counted twice: %v", err)
		}
		// Right quantity, wrong place: not right.
		_, err = s.CountTask(ctx, op(s.gate), CountTaskIn{Task: by[bar.ID].ID, Found: 1, ConditionOK: true})
		s.must(err)
		a, err := s.Accuracy(ctx, s.Today())
		s.must(err)
		if a != (Accuracy{Counted: 2, Right: 0, WrongQty: 1, WrongPlace: 1}) {
			t.Errorf("accuracy %+v", a)
		}
		for _, bad := range []CountTaskIn{{Task: by[lot.ID].ID, Found: -1}, {Task: 9999, Found: 1}} {
			if _, err := s.CountTask(ctx, op(s.gate), bad); err == nil {
				t.Errorf("%+v was taken", bad)
			}
		}
		if _, err := s.CountTask(ctx, op(s.op1), in); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator counts: %v", err)
		}
		s.sound()
	})
}

// Dear and much moved first; what surprised somebody before all.
func TestCountsAreChosen(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		v := s.supplier("ORRIN", 7)
		quiet := s.bought("QUIET", "spare", v, 1, 10, s.bin("C1"), map[string]any{})
		busy := s.bought("BUSY", "spare", v, 1, 4000, s.bin("C2"), map[string]any{})
		asked := s.bought("ASKED", "spare", v, 1, 10, s.bin("C3"), map[string]any{})
		s.receive(quiet, 5, *quiet.HomeID)
		b := s.receive(busy, 500, *busy.HomeID)[0]
		a := s.receive(asked, 2, *asked.HomeID)[0]
		for range 12 {
			s.clock.step(24 * time.Hour)
			_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: b.ID, Qty: 2}}, To: s.op1.PlaceID})
			s.must(err)
			if _, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: a.ID, Qty: 9}}, To: s.op1.PlaceID}); !errors.Is(err, ErrShort) {
				t.Fatalf("9 of 2: %v", err)
			}
		}
		_, err := s.PlanCounts(ctx, 2)
		s.must(err)
		tasks, err := s.CountTasks(ctx)
		s.must(err)
		got := ""
		for _, k := range tasks {
			got += k.Part + " "
		}
		if got != "BUSY ASKED " {
			t.Errorf("chosen: %s; want the busy dear one and the one that was asked for in vain", got)
		}
	})
}

// Record 2, bin scanned empty: nothing free at once, the last mover shown, the three bins
// beside it on the list.
func TestBinEmpty(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		v := s.supplier("ORRIN", 7)
		var parts []Part
		var bins []PlaceID
		for _, c := range []string{"A1", "A2", "A3", "A4", "A5"} {
			bin := s.bin(c)
			p := s.bought("P-"+c, "spare", v, 1, 100, bin, map[string]any{})
			s.receive(p, 3, bin)
			parts, bins = append(parts, p), append(bins, bin)
		}
		lot := s.receive(parts[1], 1, bins[1])[0] // 4 there
		_, err := s.Issue(ctx, op(s.boss), IssueIn{Picks: []Pick{{Item: lot.ID, Qty: 2}}, To: s.op1.PlaceID})
		s.must(err)
		sleeve := s.receive(s.sleeve("SLV"), 1, bins[1])[0]
		one := op(s.gate)
		got, err := s.BinEmpty(ctx, one, bins[1])
		s.must(err)
		if s.there(lot.ID, bins[1]) != 0 || s.line(parts[1]).Advice.Free != 0 {
			t.Errorf("%d still on record", s.there(lot.ID, bins[1]))
		}
		if lost, _ := s.PlaceByCode(ctx, CodeLost); s.there(sleeve.ID, lost.ID) != 1 {
			t.Error("the sleeve that was not there is not among the lost")
		}
		if len(got.Movers) != 4 || got.Movers[1].Actor != "Bo" || got.Movers[1].Act != "issue" {
			t.Errorf("movers: %+v", got.Movers)
		}
		if strings.Join(got.Neighbours, " ") != "A1 A3 A4" {
			t.Errorf("to count: %v", got.Neighbours)
		}
		tasks, err := s.CountTasks(ctx)
		s.must(err)
		if len(tasks) != 3 || !strings.Contains(tasks[0].Why, "beside A2") {
			t.Errorf("tasks: %+v", tasks)
		}
		again, err := s.BinEmpty(ctx, one, bins[1])
		if err != nil || !again.Receipt.Replayed || strings.Join(again.Neighbours, " ") != "A1 A3 A4" {
			t.Errorf("the same scan again: %+v, %v", again, err)
		}
		if _, err := s.BinEmpty(ctx, op(s.gate), s.op1.PlaceID); !errors.Is(err, ErrBadInput) {
			t.Errorf("a person is no bin: %v", err)
		}
		s.sound()
	})
}
