package store

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// fullShop is a busy shop with what only verify_acts and verify_shop look at: a job that runs with
// a substitute, one substitute undone, a piece held back and one thrown away, promises undone, a
// step of the clock, a part merged, a print, and a session on a shared computer.
func fullShop(s *shop) {
	b := busyShop(s.t.(*testing.T), s)
	s.must2(s.Reserve(ctx, op(s.boss), ReserveIn{Job: b.job("B-3", "2026-06-06", "2026-06-10").ID, Picks: []Pick{{Item: b.item("BAR", 0).ID, Qty: 1}}}))
	undo := op(s.boss)
	s.must2(s.Reserve(ctx, undo, ReserveIn{Job: b.job("B-4", "2026-07-06", "2026-07-10").ID, Picks: []Pick{{Item: b.item("BAR", 0).ID, Qty: 1}}}))
	s.must2(s.Reverse(ctx, op(s.boss), undo.ID, "not yet"))
	j, err := s.JobByCode(ctx, "B-1")
	s.must(err)
	other := b.item("BAR", 1)
	if slices.Contains(b.check(j).Plan.Tags(), other.Tag) {
		other = b.item("BAR", 0)
	}
	again := op(s.gate)
	s.must2(s.Issue(ctx, again, IssueIn{Picks: []Pick{{Item: other.ID, Qty: 1}}, To: b.station.PlaceID, Job: j.ID}))
	s.must2(s.Reverse(ctx, op(s.gate), again.ID, "the wrong one"))
	s.must2(s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: other.ID, Qty: 1}}, To: b.station.PlaceID, Job: j.ID}))
	k := b.job("B-5", "2026-03-16", "2026-03-18")
	s.must2(s.Reserve(ctx, op(s.boss), ReserveIn{Job: k.ID, Picks: []Pick{{Item: b.item("INS", 0).ID, Qty: 2}}}))
	s.must2(s.CloseJob(ctx, op(s.boss), CloseIn{Job: k.ID}))

	bin := s.bin("S1")
	slv := s.receive(s.sleeve("SLV-A"), 3, bin)
	s.must2(s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: slv[0].ID, Qty: 1}}, To: s.op1.PlaceID}))
	s.must2(s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: slv[0].ID, Qty: 1}}, Condition: "inspect", Reason: "dented"}))
	s.must2(s.Scrap(ctx, op(s.gate), ScrapIn{Picks: []Pick{{Item: slv[1].ID, Qty: 1}}, Reason: "cracked"}))
	s.receive(s.sleeve("SLV-B"), 1, bin)
	from, err := s.PartByCode(ctx, "SLV-B")
	s.must(err)
	into, err := s.PartByCode(ctx, "SLV-A")
	s.must(err)
	s.must2(s.Merge(ctx, op(s.boss), MergeIn{From: from.ID, Into: into.ID, Reason: "the same"}))
	s.must2(s.RetirePart(ctx, op(s.boss), s.sleeve("SLV-C").ID, "old"))
	s.must2(s.PrintLabels(ctx, op(s.gate), PrintIn{Tags: []string{slv[0].Tag, slv[2].Tag}, Medium: "a4", First: 1}))

	d, _, err := s.AddDevice(ctx, s.admin.ID, "window")
	s.must(err)
	_, err = s.AddToken(ctx, s.admin.ID, "plant", s.gate.ID)
	s.must(err)
	s.must(s.Sessions().Commit("a token of a session", []byte("x"), s.Now().Add(time.Hour)))
	s.must(s.Sessions().Begin(ctx, "a token of a session", s.gate.ID, d.ID, "window"))

	s.clock.step(-time.Hour)
	s.must2(s.Adjust(ctx, op(s.boss), AdjustIn{Item: b.item("INS", 0).ID, Place: s.places.code("A1"), Delta: 1, Reason: "found"}))
	s.clock.step(2 * time.Hour)
}

func (s *shop) must2(_ Receipt, err error) { s.t.Helper(); s.must(err) }

// Each damage to a row, done by hand past every guard, is told by its rule, and by no other than
// those said beside it: they see the same damage from another side.
func TestVerifyActsFindDamage(t *testing.T) {
	const inOp = "(SELECT op_id FROM ops WHERE act = 'issue' AND lines > 0 ORDER BY at, op_id LIMIT 1)"
	engines(t, func(t *testing.T, s *shop) {
		fullShop(s)
		s.sound()
		if !s.postgres {
			for _, q := range []string{"PRAGMA foreign_keys = off", "PRAGMA ignore_check_constraints = on"} {
				s.must(s.write.Exec(q).Error)
			}
		}
		for _, tt := range []struct{ rules, says, sql string }{
			{"I6", "moved nothing", "INSERT INTO ops (op_id, act, fingerprint, actor_id, role, lines, answer, at) SELECT 'made-up-by-hand-1', 'issue', '', actor_id, role, 0, '{}', at FROM ops WHERE lines > 0 AND act = 'issue' AND op_id = " + inOp},
			{"I6 I14", "its booking is receive", "UPDATE ops SET act = 'receive' WHERE op_id = " + inOp},
			{"I6", "is not dated as its booking", "UPDATE ops SET at = '2026-03-01 08:00:00.000Z' WHERE op_id = " + inOp},
			{"I6", "nothing is undone by it", "INSERT INTO ops (op_id, act, fingerprint, actor_id, role, lines, answer, at) SELECT 'made-up-by-hand-1', 'reverse', '', actor_id, role, 0, '{}', at FROM ops WHERE op_id = " + inOp},
			{"I7 I6", "not there", "UPDATE clock_steps SET seq = 9999"},
			{"I7", "of another time", "UPDATE clock_steps SET used = '2030-03-01 08:00:00.000Z'"},
			{"I7", "no step back", "UPDATE clock_steps SET seen = '2030-03-01 08:00:00.000Z'"},
			{"I6 I7", "is not dated", "DELETE FROM clock_steps"},

			{"I10 link I23", "of another item or place", "UPDATE holdings SET item_id = 9999 WHERE qty = 0 AND seq = (SELECT min(seq) FROM holdings WHERE qty = 0)"},
			{"I10 I23", "a movement that is not there", "UPDATE holdings SET seq = 9999 WHERE seq = (SELECT max(seq) FROM holdings WHERE qty > 0)"},
			{"I10", "more pieces than its movement", "UPDATE holdings SET qty = qty + 1 WHERE seq = (SELECT max(seq) FROM holdings WHERE qty > 0)"},
			{"I10", "is said to be with ada", "UPDATE holdings SET person_id = (SELECT id FROM people WHERE login = 'ada') WHERE place_id = (SELECT place_id FROM people WHERE login = 'opal')"},
			{"I10", "is said to be with nobody", "UPDATE holdings SET person_id = NULL WHERE place_id = (SELECT place_id FROM people WHERE login = 'opal')"},

			{"I23", "names a booking that is not there", "UPDATE act_changes SET op_id = 'made-up-by-hand-1' WHERE what = 'job state'"},
			{"I23 I24", "which is no undo", "UPDATE act_changes SET undone_op = " + inOp + " WHERE what = 'substitute' AND undone_op <> ''"},
			{"I23", "names a job that is not there", "UPDATE act_changes SET row_id = 9999 WHERE what = 'job state'"},
			{"I23", "names a promise that is not there", "UPDATE act_changes SET row_id = 9999 WHERE what = 'promise' AND id = (SELECT min(id) FROM act_changes WHERE what = 'promise')"},
			{"I23", "names a plan that is not there", "UPDATE act_changes SET row_id = 9999 WHERE what = 'plan'"},
			{"I23 I24", "names a substitute that is not there", "UPDATE act_changes SET row_id = 9999 WHERE what = 'substitute'"},
			{"I23", "names an item that is not there", "UPDATE act_changes SET row_id = 9999 WHERE what = 'held back'"},
			{"I23", "names a line of issues that is not there", "UPDATE act_changes SET row_id = 9999 WHERE what = 'taken off' AND id = (SELECT min(id) FROM act_changes WHERE what = 'taken off')"},
			{"I23", "no such movement is there", "UPDATE act_changes SET line = 77 WHERE what = 'taken off' AND id = (SELECT min(id) FROM act_changes WHERE what = 'taken off')"},
			{"I23", "only what left a list", "UPDATE act_changes SET line = 1 WHERE what = 'held back'"},
			{"I23", "took 0 pieces off the lists, and 1 left", "UPDATE act_changes SET was = 'one' WHERE what = 'taken off' AND id = (SELECT min(id) FROM act_changes WHERE what = 'taken off' AND was = '1')"},
			{"I23", "took 2 pieces off the lists, and 1 left", "UPDATE act_changes SET was = '2' WHERE what = 'taken off' AND id = (SELECT min(id) FROM act_changes WHERE what = 'taken off' AND was = '1')"},
			{"I23", "is undone in part, 1 of its 2 changes", "UPDATE act_changes SET undone_op = (SELECT max(op_id) FROM ops WHERE act = 'reverse') WHERE what = 'job state'"},
			{"I23 I24", "is undone in its changes, and not movement", "UPDATE act_changes SET undone_op = (SELECT max(op_id) FROM ops WHERE act = 'reverse') WHERE what = 'substitute' AND undone_op = ''"},
			{"I23 I24", "is undone, and not what its booking", "UPDATE act_changes SET undone_op = '' WHERE what = 'substitute'"},
			{"I23", "opened 1 and ended 2 times", "INSERT INTO act_changes (op_id, line, what, row_id, was, became, undone_op) SELECT op_id, line, what, row_id, was, became, undone_op FROM act_changes WHERE id = (SELECT max(id) FROM act_changes WHERE what = 'promise' AND became = 'ended')"}, // undone, or ended, twice
			{"I23", "is open, and its changes say", "UPDATE reservations SET ended_at = NULL, ended_op = '' WHERE ended_at IS NOT NULL AND op_id = (SELECT c.op_id FROM act_changes c WHERE c.what = 'promise' AND c.undone_op <> '')"},
			{"I23", "promise 1 is open, and its changes say made 0 times", "DELETE FROM act_changes WHERE what = 'promise' AND row_id = 1"},
			{"I22 I23", "is ended, and its changes say made 1 times by it, opened 1 and ended 0", "UPDATE reservations SET ended_at = created_at, ended_op = op_id WHERE id = (SELECT min(r.id) FROM reservations r JOIN items i ON i.id = r.item_id WHERE r.ended_at IS NULL AND i.kind = 'piece')"},
			{"I23", "plan 2 is ended, and its changes say made 0 times", "DELETE FROM act_changes WHERE what = 'plan' AND row_id = 2"},
			{"I23", "is not held back, and its last change", "UPDATE items SET held = '' WHERE held <> ''"},
			{"I23", "is in use, and its last change", "UPDATE items SET retired_at = NULL WHERE retired_at IS NOT NULL"},

			{"I24", "names a job", "UPDATE substitutes SET job_id = 9999 WHERE undone_op = ''"},
			{"I24", "names an item", "UPDATE substitutes SET item_id = 9999 WHERE undone_op = ''"},
			{"I24", "names a planned item", "UPDATE substitutes SET planned_tag = 'P9999999Z' WHERE undone_op = ''"},
			{"I24", "names a part", "UPDATE substitutes SET part_id = 9999 WHERE undone_op = ''"},
			{"I24", "names a booking", "UPDATE substitutes SET op_id = 'made-up-by-hand-1' WHERE undone_op = ''"},
			{"I24", "names an undo", "UPDATE substitutes SET undone_op = 'made-up-by-hand-1' WHERE undone_op <> ''"},
			{"I24", "did not issue 3", "UPDATE substitutes SET qty = 3 WHERE undone_op = ''"},
			{"I24", "which no plan of the job has", "UPDATE substitutes SET planned_tag = (SELECT tag FROM items WHERE id = substitutes.item_id) WHERE undone_op = ''"},
			{"I24", "is undone, and not its change", "UPDATE substitutes SET undone_op = (SELECT max(op_id) FROM ops WHERE act = 'reverse') WHERE undone_op = ''"},
			{"I24", "no change", "DELETE FROM act_changes WHERE what = 'substitute' AND undone_op = ''"},

			{"I19", "more than was confirmed", "UPDATE order_lines SET pieces = 1"},
			{"I20", "moved something else", "UPDATE count_tasks SET found = found + 1 WHERE counted_at IS NOT NULL"},
			{"I21 I22", "its job B-1 is closed", "UPDATE jobs SET state = 'closed' WHERE code = 'B-1'"},
			{"I21", "is of 2 of the piece", "UPDATE reservations SET qty = 2 WHERE id = (SELECT min(r.id) FROM reservations r JOIN items i ON i.id = r.item_id WHERE i.kind = 'piece')"},
			{"I21 I23", "outlives it", "UPDATE plans SET ended_at = created_at, ended_op = op_id WHERE ended_at IS NULL"},
			{"I22 I23", "is not promised to its job", "UPDATE reservations SET ended_at = created_at, ended_op = op_id WHERE op_id IN (SELECT op_id FROM plans)"},
			{"I22 I23", "is not promised to its job", "DELETE FROM reservations WHERE ended_at IS NULL"},

			{"I25 I4", "and its part is counted by the lot", "UPDATE parts SET counted = 'lot' WHERE code = 'SLV-A'"},
			{"I23 I25", "is out of use, and 1 of it are in S1", "UPDATE items SET retired_at = created_at WHERE id = (SELECT max(s.item_id) FROM stock s JOIN places p ON p.id = s.place_id WHERE p.code = 'S1' AND s.qty = 1)"},
			{"I25 I3", "is said to be inside the shop", "UPDATE places SET outside = (1 = 2) WHERE code = 'SUPPLIER'"},
			{"I25", "person bo is at place A1, which is no hands", "UPDATE people SET place_id = (SELECT id FROM places WHERE code = 'A1') WHERE login = 'bo'"},
			{"I25 I10", "it is that of 2", "UPDATE people SET place_id = (SELECT place_id FROM people WHERE login = 'opal') WHERE login = 'bo'"},
			{"I25", "which is no station", "UPDATE stations SET place_id = (SELECT id FROM places WHERE code = 'A1') WHERE id = 2"},
			{"I25", "are in it", "UPDATE places SET retired_at = created_at WHERE code = 'S1'"},
			{"I25", "its place is otherwise", "UPDATE stations SET retired_at = '2026-03-16 08:00:00.000Z' WHERE id = 2"},
			{"I25", "its machine is out of use", "UPDATE machines SET retired_at = created_at WHERE code = 'L3'"},
			{"I25", "on L3/", "UPDATE stations SET retired_at = '2026-03-16 08:00:00.000Z' WHERE id IN (SELECT station_id FROM jobs WHERE code = 'B-2')"},
			{"I25", "and its station is on L3", "UPDATE jobs SET machine_id = (SELECT id FROM machines WHERE code = 'L2') WHERE code = 'B-2'"},
			{"I25", "LOST, which every shop has, is not there", "UPDATE places SET code = 'GONE' WHERE code = 'LOST'"},
			{"I25 I24 I22", "is that of number", "UPDATE items SET tag = 'P0000001X' WHERE id = 1"},
			{"I25", "is that of number", "UPDATE jobs SET tag = 'J0000001X' WHERE id = 1"},

			{"I26", "still in use", "UPDATE parts SET retired_at = NULL WHERE code = 'SLV-B'"},
			{"I26", "still has pieces", "UPDATE items SET part_id = (SELECT id FROM parts WHERE code = 'SLV-B') WHERE id = (SELECT max(i.id) FROM items i JOIN parts p ON p.id = i.part_id WHERE p.code = 'SLV-A')"},
			{"I26", "no merge of the two is on record", "DELETE FROM part_merges"},
			{"I26", "that can not be", "UPDATE parts SET merged_into = id WHERE code = 'SLV-B'"},
			{"I26", "the record does not say so", "UPDATE parts SET merged_into = NULL WHERE code = 'SLV-B'"},
			{"I26", "names a booking that is not there", "UPDATE part_merges SET op_id = 'made-up-by-hand-1'"},
			{"I26", "names a booking that is not there", "UPDATE part_changes SET op_id = 'made-up-by-hand-1'"},
			{"I26", "newer than the record", "UPDATE part_changes SET version = 99"},
			{"I27", "is of 2 labels, 1 are on record", "DELETE FROM label_prints WHERE id = (SELECT max(id) FROM label_prints)"},
			{"I28", "no longer registered", "UPDATE devices SET ended_at = created_at"},
			{"I28", "half somebody's", "UPDATE sessions SET code = NULL"},
			{"I28", "gil has left", "UPDATE people SET left_at = created_at WHERE login = 'gil'"},

			{"schema", "the trigger movements_keep is missing", ""}, // both triggers are dropped for all
			{"schema", "the index act_changes_row is missing", "DROP INDEX act_changes_row"},
			{"schema", "the table remarks is missing", "DROP TABLE remarks"},
			{"link", "rows of part_facts name in part_id rows of parts", "UPDATE part_facts SET part_id = 9999 WHERE part_id = (SELECT id FROM parts WHERE code = 'SLV-9')"},
			{"link", "rows of snoozes name", "INSERT INTO snoozes (part_id, by_id, reason, until_day, level, created_at) VALUES (9999, 1, '', '2026-04-01', 1, '2026-04-01 08:00:00.000Z')"},
		} {
			s.damage(t, tt.rules, tt.says, tt.sql)
		}
		s.sound()
	})
}

// damage does sql past every guard, sees what verify says of it, and takes it back. The first of
// rules must be told with says, and nothing but rules; the schema is told as well, for its guards
// are away.
func (s *shop) damage(t *testing.T, rules, says, sql string) {
	t.Helper()
	tx := s.write.Begin()
	s.must(tx.Error)
	defer func() { s.must(tx.Rollback().Error) }()
	guards := []string{"DROP TRIGGER movements_keep", "DROP TRIGGER ops_keep", "DROP TRIGGER label_prints_stay"}
	if s.postgres { // a replica runs no trigger and holds no reference
		guards = []string{"DROP TRIGGER movements_keep ON movements", "SET LOCAL session_replication_role = replica"}
	}
	for _, q := range guards {
		s.must(tx.Exec(q).Error)
	}
	if sql != "" {
		r := tx.Exec(sql)
		if s.postgres && r.Error != nil && strings.Contains(r.Error.Error(), "23514") {
			return // the engine itself refuses this, whatever is switched off
		}
		if r.Error != nil {
			t.Errorf("%s: %v", sql, r.Error)
			return
		}
		if r.RowsAffected == 0 && !strings.HasPrefix(sql, "DROP") {
			t.Errorf("%s damages nothing", sql)
		}
	}
	var rep Report
	if err := s.verify(tx, &rep); err != nil {
		t.Errorf("%s: %v", sql, err)
		return
	}
	known := strings.Fields(rules)
	var main, other []string
	for _, f := range rep.Faults {
		switch {
		case f.Rule == known[0] && strings.Contains(f.What, says), slices.Contains(known[1:], f.Rule) && strings.Contains(f.What, says):
			main = append(main, f.String())
		case f.Rule != "schema" && f.Rule != "link" && !slices.Contains(known, f.Rule):
			other = append(other, f.String())
		}
	}
	if len(main) == 0 || len(other) > 0 {
		t.Errorf("%s: want %s with %q; told %q, and of other rules %q; all: %v", sql, rules, says, main, other, rep.Faults)
	}
}
