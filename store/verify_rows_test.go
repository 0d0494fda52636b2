package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"brasspeg/store/life"
)

// busyShop has a bit of everything that verify looks at beyond the ledger: edges of used up,
// finished, undone and half used inserts, part-used lots, an order with a delivery of two pieces
// and one that was undone, a count, and two jobs with a plan, one of which was released.
func busyShop(t *testing.T, s *shop) *borer {
	b := newBench(s, 4)
	b.log(EdgeIn{Parts: 20, Reason: life.Worn})
	for range 4 {
		b.log(EdgeIn{Parts: 21, Reason: life.Planned}) // the fourth of the first insert, and one of the next
	}
	b.log(EdgeIn{Parts: 3, Reason: life.Broken, Finished: true, Note: "seat damaged"})
	b.log(EdgeIn{Parts: 22, Reason: life.Worn})
	undone := b.log(EdgeIn{Parts: 22, Reason: life.Worn})
	_, err := s.Reverse(ctx, op(s.boss), undone, "wrong station")
	s.must(err)
	b.log(EdgeIn{Station: b.st2.ID, Parts: 20, Reason: life.Worn, Finished: true})
	left := 3
	_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: b.box.ID, Qty: 2}}, To: s.op1.PlaceID, Job: b.job.ID})
	s.must(err)
	_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: b.box.ID, Place: s.op1.PlaceID, Qty: 1}}, Edges: &left})
	s.must(err)
	part, err := s.partUsed(b.ins.ID)
	s.must(err)
	_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: part.ID, Qty: 1}}, To: s.op1.PlaceID, Job: b.job2.ID})
	s.must(err)
	b.log(EdgeIn{Station: b.st2.ID, Item: part.ID, Parts: 20, Reason: life.Worn})

	v := s.supplier("ORRIN", 12)
	o := s.order(v, s.bought("SLV-9", "sleeve", v, 1, 20000, b.bin, map[string]any{"DCONMS": 50, "DCONWS": 32, "LSC": 130, "unit": "mm", "type": "split"}), 6)
	for i := range 2 {
		one := op(s.gate)
		_, err = s.ReceiveLine(ctx, one, ReceiveLineIn{Line: o.Lines[0].ID, Qty: 2, Unit: "piece"})
		s.must(err)
		if i == 1 {
			_, err = s.Reverse(ctx, op(s.boss), one.ID, "wrong order")
			s.must(err)
		}
	}
	again, err := s.Order(ctx, o.Code)
	s.must(err)
	if again.Lines[0].Received != 2 || again.Lines[0].Open() != 4 {
		t.Errorf("2 of 6 came and 2 more were undone: %d received, %d open", again.Lines[0].Received, again.Lines[0].Open())
	}

	_, err = s.PlanCounts(ctx, 3)
	s.must(err)
	tasks, err := s.CountTasks(ctx)
	s.must(err)
	_, err = s.CountTask(ctx, op(s.gate), CountTaskIn{Task: tasks[0].ID, Found: s.there(tasks[0].ItemID, tasks[0].PlaceID), PlaceOK: true, ConditionOK: true})
	s.must(err)

	w := newBorer(s)
	j, k := w.job("B-1", "2026-04-06", "2026-04-10"), w.job("B-2", "2026-05-06", "2026-05-10")
	_, err = s.Plan(ctx, op(s.boss), PlanIn{Job: j.ID})
	s.must(err)
	_, err = s.Plan(ctx, op(s.boss), PlanIn{Job: k.ID})
	s.must(err)
	_, err = s.Unplan(ctx, op(s.boss), k.ID)
	s.must(err)
	s.clock.step(time.Minute)
	return w
}

// What hangs on the ledger is sound in a busy shop, on both engines.
func TestVerifyRowsOfABusyShop(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		busyShop(t, s)
		s.sound()
	})
}

// Verify names the invariant for damage of each kind to the tables that hang on the ledger. Each
// damage is done in a transaction that is then taken back.
func TestVerifyRowsFindDamage(t *testing.T) {
	s := newShop(t, false)
	busyShop(t, s)
	s.sound()
	for _, q := range []string{"PRAGMA foreign_keys = off", "PRAGMA ignore_check_constraints = on"} {
		s.must(s.write.Exec(q).Error)
	}
	const live = "(SELECT id FROM edge_inserts WHERE ended_how = '' ORDER BY id LIMIT 1)"
	for _, tt := range []struct{ rule, says, sql string }{
		{"I5", "5 edges left", "UPDATE items SET edges_left = 5 WHERE edges_left = 3"},
		{"I5", "-1 edges left", "UPDATE items SET edges_left = -1 WHERE edges_left = 3"},
		{"I5", "a new one has 2", "UPDATE parts SET edges = 2 WHERE code = 'INS-C09'"},

		{"I15", "an insert that is not there", "DELETE FROM edge_inserts WHERE id = " + live},
		{"I15", "a lot that is not there", "UPDATE edge_runs SET item_id = 9999 WHERE id = 1"},
		{"I15", "a job that is not there", "UPDATE edge_runs SET job_id = 9999 WHERE id = 1"},
		{"I15", "a station that is not there", "UPDATE edge_runs SET station_id = 9999 WHERE id = 1"},
		{"I15", "a machine that is not there", "UPDATE edge_runs SET machine_id = 9999 WHERE id = 1"},
		{"I15", "a family that is not there", "UPDATE edge_runs SET family_id = 9999 WHERE id = 1"},
		{"I15", "another machine", "UPDATE stations SET machine_id = 9999 WHERE id = 1"},
		{"I15", "another lot", "UPDATE edge_runs SET item_id = item_id + 1 WHERE id = 1"},
		{"I15", "no booking of an edge", "UPDATE edge_runs SET op_id = 'made up by hand 1' WHERE id = 1"},
		{"I15", "no booking of an edge", "UPDATE edge_runs SET actor_id = 1 WHERE id = 1"},
		{"I15", "no edge is logged under it", "DELETE FROM edge_runs WHERE id = 2"},
		{"I15", "which is no undo", "UPDATE edge_runs SET undone_op = op_id WHERE id = 1"},

		{"I16", "4 edges are logged on it, its account says 3", "UPDATE edge_inserts SET used = 3 WHERE id = 1"},
		{"I16", "3 edges are logged on it, its account says 4", "DELETE FROM edge_runs WHERE id = 4"},
		{"I16", "used twice", "UPDATE edge_runs SET edge = 2 WHERE id = 3"},
		{"I16", "is missing", "UPDATE edge_runs SET edge = edge + 5 WHERE id = 4"},
		{"I16", "1 used and 0 given up of 4", "UPDATE edge_inserts SET thrown = 0 WHERE ended_how = 'finished'"},
		{"I16", "do not add up", "UPDATE edge_inserts SET thrown = 4 WHERE id = 1"},
		{"I16", "do not add up", "UPDATE edge_inserts SET ended_how = '' WHERE id = 1"},

		{"I17", "did not take it to the tub", "UPDATE edge_inserts SET ended_op = NULL WHERE id = 1"},
		{"I17", "did not take it to the tub", "UPDATE movements SET to_id = from_id + 1 WHERE act = 'use' AND op_id = (SELECT ended_op FROM edge_inserts WHERE id = 1)"},
		{"I17", "did not take it to the tub", "DELETE FROM movements WHERE act = 'use' AND op_id = (SELECT ended_op FROM edge_inserts WHERE id = 1)"},
		{"I17", "no insert went with it", "UPDATE edge_inserts SET ended_how = 'taken out' WHERE id = 1"},

		{"I18", "edges are logged, the account", "DELETE FROM jobs WHERE code = 'J-1'"},
		{"I18", "were given up", "DELETE FROM jobs WHERE code = 'J-2'"},
		{"I18", "can not be made up", "UPDATE edge_inserts SET thrown = 1152921504606846976 WHERE ended_how = 'finished'"},

		{"I19", "a line that is not there", "DELETE FROM order_lines"},
		{"I19", "a line of no order", "DELETE FROM orders"},
		{"I19", "an order that is draft", "UPDATE orders SET state = 'draft', approved_by = NULL"},
		{"I19", "a booking that is not there", "UPDATE order_receipts SET op_id = 'made up by hand 1' WHERE id = 1"},
		{"I19", "received nothing", "UPDATE order_receipts SET op_id = (SELECT op_id FROM ops WHERE act = 'issue' LIMIT 1) WHERE id = 1"},
		{"I19", "is of 3 pieces, its booking brought 2", "UPDATE order_receipts SET pieces = 3 WHERE id = 1"},
		{"I19", "undone in part, 1 of its 2", "DELETE FROM movements WHERE seq = (SELECT max(v.seq) FROM movements v JOIN movements m ON v.reverses = m.seq WHERE m.act = 'receive')"},

		{"I20", "no booking of a count", "UPDATE count_tasks SET op_id = '' WHERE counted_at IS NOT NULL"},
		{"I20", "a day and no number", "UPDATE count_tasks SET found = NULL WHERE counted_at IS NOT NULL"},

		{"I21", "a job that is not there", "UPDATE reservations SET job_id = 9999 WHERE id = 1"},
		{"I21", "an item that is not there", "UPDATE reservations SET item_id = 9999 WHERE id = 1"},
		{"I21", "a booking that is not there", "UPDATE reservations SET op_id = 'made up by hand 1' WHERE id = 1"},
		{"I21", "a booking that is not there", "UPDATE reservations SET ended_op = 'made up by hand 1' WHERE ended_at IS NOT NULL"},
		{"I21", "is open and ended by", "UPDATE reservations SET ended_at = NULL WHERE ended_at IS NOT NULL"},
		{"I21", "promised twice", "UPDATE reservations SET ended_at = NULL, ended_op = '', from_day = '2026-04-06'"},

		{"I22", "a job that is not there", "UPDATE plans SET job_id = 9999 WHERE id = 1"},
		{"I22", "a booking that is not there", "UPDATE plans SET op_id = 'made up by hand 1' WHERE id = 1"},
		{"I22", "can not be read", "UPDATE plans SET pieces = '{' WHERE id = 1"},
		{"I22", "can not be read", "UPDATE plans SET pieces = '[]' WHERE id = 1"},
		{"I22", "which is not there", "UPDATE plans SET pieces = replace(pieces, 'BAR', 'BAT') WHERE id = 1"},
		{"I22", "which is not there", "DELETE FROM items WHERE id = (SELECT max(item_id) FROM reservations)"},
	} {
		tx := s.write.Begin()
		s.must(tx.Error)
		for _, q := range []string{"DROP TRIGGER movements_keep", "DROP TRIGGER movements_stay", "DROP INDEX edge_runs_once", "DROP INDEX edge_inserts_up", "DROP INDEX movements_reverses"} {
			s.must(tx.Exec(q).Error)
		}
		r := tx.Exec(tt.sql)
		s.must(r.Error)
		if r.RowsAffected == 0 {
			t.Errorf("%s damages nothing", tt.sql)
		}
		var rep Report
		s.must(s.verify(tx, &rep))
		s.must(tx.Rollback().Error)
		found := false
		for _, f := range rep.Faults {
			found = found || f.Rule == tt.rule && strings.Contains(f.What, tt.says)
		}
		if !found {
			t.Errorf("%s: verify found %v, want a fault of %s that says %q", tt.sql, rep.Faults, tt.rule, tt.says)
		}
	}
	s.sound()
}

// A catalogue record can not take away edges that a part-used lot has left.
func TestEdgesOfPartUsedStay(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.insert("INS-1", 4)
		bin := s.bin("A1")
		it := s.receive(p, 2, bin)[0]
		_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID})
		s.must(err)
		left := 3
		_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: it.ID, Place: s.op1.PlaceID, Qty: 1}}, Edges: &left})
		s.must(err)
		edit := func(edges int) error {
			in, err := PartFrom(map[string]any{"id": "INS-1", "kind": "insert", "seat": "CCMT09T3", "RE": 0.4, "edges": edges}, "entered")
			s.must(err)
			in.Part.ID, in.Part.Version = p.ID, p.Version
			_, err = s.SavePart(ctx, s.boss.ID, in)
			return err
		}
		if err := edit(2); !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "3 left") {
			t.Errorf("2 edges with 3 left on a lot: %v", err)
		}
		if err := edit(3); err != nil {
			t.Errorf("3 edges with 3 left on a lot: %v", err)
		}
		s.sound()
	})
}
