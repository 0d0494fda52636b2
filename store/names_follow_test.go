package store

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"gorm.io/gorm"
)

// references lists table.column of every foreign key on a table, as the engine knows it.
func references(t *testing.T, db *gorm.DB, table string) []string {
	t.Helper()
	q := `SELECT m.name || '.' || f."from" FROM sqlite_master m, pragma_foreign_key_list(m.name) f WHERE m.type = 'table' AND f."table" = ?`
	if db.Name() == "postgres" {
		q = `SELECT k.table_name || '.' || k.column_name FROM information_schema.referential_constraints r
			JOIN information_schema.key_column_usage k ON k.constraint_name = r.constraint_name AND k.constraint_schema = r.constraint_schema
			JOIN information_schema.table_constraints u ON u.constraint_name = r.unique_constraint_name AND u.constraint_schema = r.unique_constraint_schema
			WHERE r.constraint_schema = current_schema() AND u.table_name = ?`
	}
	var out []string
	if err := db.Raw(q, table).Scan(&out).Error; err != nil {
		t.Fatal(err)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// keepsOldPart is every column that may go on naming a part after it was merged, and why.
var keepsOldPart = map[string]string{
	"part_merges.from_id":  "says which record was merged",
	"part_merges.into_id":  "of an earlier merge: it is taken apart in the order it was made",
	"part_facts.part_id":   "the record's own values, wanted again when it is taken apart",
	"part_joints.part_id":  "derived from those values; retired records are not looked up by them",
	"order_lines.part_id":  "of an order that had a line for each and is done with; it stays as it was sent",
	"part_changes.part_id": "what people changed of that record, while it was one",
}

// withEverything makes two records of one insert, and for From a row in every table that names
// a part: some where Into has its own, some where it has none.
func (s *shop) withEverything() (from, into Part) {
	s.t.Helper()
	into = s.enter(PartEntry{Kind: "insert", Code: "INTO", Designation: "CNMG 120408"})
	enter := func(code string) Part {
		f, err := Fill(PartEntry{Kind: "insert", Code: code, Designation: "CNMG 432"})
		s.must(err)
		p, err := s.EnterPart(ctx, s.boss.ID, f, true)
		s.must(err)
		return p
	}
	from, earlier := enter("FROM"), enter("EARLIER")
	bin := s.bin("C9")
	lot, _ := s.receive(from, 9, bin)[0], s.receive(into, 6, bin)
	_, err := s.Merge(ctx, op(s.boss), MergeIn{From: earlier.ID, Into: from.ID}) // a chain of two
	s.must(err)
	_, err = s.LinkCode(ctx, op(s.gate), "401234567890", from.ID)
	s.must(err)
	a, b, c := s.part("OTHER-A", "spare", map[string]any{}), s.part("OTHER-B", "spare", map[string]any{}), s.part("OTHER-C", "spare", map[string]any{})
	g := s.part("GROUND", "insert", map[string]any{"seat": "CNMG1203", "RE": 0.8, "edges": 4})
	m, st, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L1", Name: "Lathe"}, []Station{{Number: 1, Interface: "VDI50"}})
	s.must(err)
	j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: "J-1", FromDay: "2026-03-20", ToDay: "2026-03-21", Request: "{}"})
	s.must(err)
	now := At(s.Now())
	put := func(q string, args ...any) {
		s.t.Helper()
		s.must(s.write.Exec(q, args...).Error)
	}
	need := "INSERT INTO part_needs (part_id, spare_id, qty) VALUES (?,?,?)"
	put(need, from.ID, a.ID, 2)
	put(need, from.ID, b.ID, 3)
	put(need, into.ID, a.ID, 1) // Into's own stands
	put(need, c.ID, from.ID, 4)
	put(need, from.ID, into.ID, 1) // would need itself
	wear := "INSERT INTO part_wear (part_id, spare_id, events_per_year, life_events) VALUES (?,?,?,?)"
	put(wear, from.ID, a.ID, 100.5, 20)
	put(wear, c.ID, from.ID, 50, 10)
	put(wear, c.ID, into.ID, 60, 10)
	sub := "INSERT INTO part_substitutes (part_id, other_id, changes) VALUES (?,?,?)"
	put(sub, from.ID, a.ID, "longer")
	put(sub, b.ID, from.ID, "shorter")
	put(sub, from.ID, into.ID, "none")
	put("INSERT INTO part_levels (part_id, point, quantity, weekly, lead, safety, why, set_by, set_at) VALUES (?,5,10,1.25,7,2.5,'so',?,?)", from.ID, s.boss.ID, now)
	price := "INSERT INTO part_prices (part_id, min_pieces, cents, currency) VALUES (?,?,?,'EUR')"
	put(price, from.ID, 1, 720)
	put(price, from.ID, 10, 650)
	put(price, into.ID, 1, 700) // a list is not mixed of two
	put("INSERT INTO alerts_sent (part_id, way, day, level, sent_at) VALUES (?,'mail','2026-03-16',1,?)", from.ID, now)
	put("INSERT INTO part_regrinds (part_id, new_id, from_id, times, symbol, was_mm, now_mm) VALUES (?,?,?,1,'IC',12.7,12.3)", g.ID, from.ID, from.ID)
	put("INSERT INTO part_regrinds (part_id, new_id, from_id, times, symbol, was_mm, now_mm) VALUES (?,?,?,2,'IC',12.9,12.7)", from.ID, c.ID, c.ID)
	put("INSERT INTO part_regrind_limits (part_id, times) VALUES (?,3)", from.ID)
	put("INSERT INTO lookups (at, day, actor_id, folded, part_id) VALUES (?,'2026-03-16',?,'X',?)", now, s.gate.ID, from.ID)
	put("INSERT INTO refused_requests (part_id, day, why, at) VALUES (?,'2026-03-16','none left',?)", from.ID, now)
	put("INSERT INTO remarks (bar_id, head_id, overhang, ratio, from_ratio, text, actor_id, created_at) VALUES (?,?,300,6,5,'hums',?,?)", from.ID, from.ID, s.gate.ID, now)
	put("INSERT INTO snoozes (part_id, by_id, reason, until_day, level, created_at) VALUES (?,?,'later','2026-04-01',1,?)", from.ID, s.gate.ID, now)
	family := "INSERT INTO edge_families (operation, material, part_id, band, planned_at, created_at) VALUES (?,'P',?,'120',?,?)"
	put(family, "bore", from.ID, 30, now)
	put(family, "bore", into.ID, 40, now) // one family from then on
	put(family, "face", from.ID, 50, now)
	put(`INSERT INTO edge_inserts (item_id, part_id, station_id, job_id, place_id, edges, used, mounted_at, mounted_op) VALUES (?,?,?,?,?,4,1,?,'o')`, lot.ID, from.ID, st[0].ID, j.ID, st[0].PlaceID, now)
	run := `INSERT INTO edge_runs (op_id, at, actor_id, machine_id, station_id, job_id, family_id, insert_id, item_id, part_id, edge, parts, reason, late, count_at)
		VALUES (?,?,?,?,?,?,(SELECT id FROM edge_families WHERE operation = ? AND part_id = ?),(SELECT max(id) FROM edge_inserts),?,?,?,30,'worn',?,0)`
	put(run, "run-1", now, s.op1.ID, m.ID, st[0].ID, j.ID, "bore", from.ID, lot.ID, from.ID, 1, false)
	put(run, "run-2", now, s.op1.ID, m.ID, st[0].ID, j.ID, "face", from.ID, lot.ID, from.ID, 2, false)
	put("INSERT INTO substitutes (job_id, op_id, planned_tag, planned_part_id, item_id, part_id, qty, actor_id, created_at) VALUES (?,'o','T',?,?,?,1,?,?)", j.ID, from.ID, lot.ID, from.ID, s.gate.ID, now)
	put("INSERT INTO suppliers (code, name, created_at) VALUES ('S', 'S', ?)", now)
	order := "INSERT INTO orders (code, supplier_id, state, cutoff_day, made_by, made_at) VALUES (?, (SELECT max(id) FROM suppliers), ?, '2026-03-20', ?, ?)"
	put(order, "O-1", "draft", s.boss.ID, now)
	put("INSERT INTO order_lines (order_id, part_id, pieces, pack) VALUES ((SELECT max(id) FROM orders), ?, 20, 10)", from.ID)
	put(order, "O-2", "cancelled", s.boss.ID, now)
	put("INSERT INTO order_lines (order_id, part_id, pieces, pack) VALUES ((SELECT max(id) FROM orders), ?, 20, 10)", from.ID)
	put("INSERT INTO order_lines (order_id, part_id, pieces, pack) VALUES ((SELECT max(id) FROM orders), ?, 5, 5)", into.ID)
	return from, into
}

// After a merge nothing names the record that is gone but what is history, with its reason; and
// taken apart again every table reads as before.
func TestMergeTakesEverythingAlong(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		from, into := s.withEverything()
		columns := references(t, s.read, "parts")
		if len(columns) < 25 {
			t.Fatalf("only %d columns refer to parts: %v", len(columns), columns)
		}
		naming := func(column string, part PartID) (n int64) {
			table, col, _ := strings.Cut(column, ".")
			s.must(s.read.Raw(fmt.Sprintf("SELECT count(*) FROM %s WHERE %s = ?", table, col), part).Scan(&n).Error)
			return n
		}
		whole := func() map[string]string { // every table that names a part, as text
			out := map[string]string{}
			for _, c := range columns {
				table, _, _ := strings.Cut(c, ".")
				if _, done := out[table]; done || table == "part_merges" {
					continue
				}
				var rows []map[string]any
				s.must(s.read.Raw("SELECT * FROM " + table).Scan(&rows).Error)
				var lines []string
				for _, r := range rows {
					delete(r, "version") // counts every change, this one too
					lines = append(lines, fmt.Sprint(r))
				}
				slices.Sort(lines)
				out[table] = strings.Join(lines, "\n")
			}
			return out
		}
		for _, c := range columns {
			if _, history := keepsOldPart[c]; naming(c, from.ID) == 0 && !history {
				t.Errorf("the test has no row in which %s names the part to be merged; give it one, and let the merge take it along", c)
			}
		}
		tables := whole()
		o := op(s.boss)
		_, err := s.Merge(ctx, o, MergeIn{From: from.ID, Into: into.ID})
		s.must(err)
		for _, c := range columns {
			why, history := keepsOldPart[c]
			if n := naming(c, from.ID); n > 0 && !history {
				t.Errorf("%d rows of %s still name the part that is gone", n, c)
			}
			if history && why == "" {
				t.Errorf("%s stays without a reason", c)
			}
		}
		// pieces and lots keep their own number, and all that names them names them still
		for _, c := range references(t, s.read, "items") {
			table, col, _ := strings.Cut(c, ".")
			var n int64
			s.must(s.read.Raw(fmt.Sprintf("SELECT count(*) FROM %s x JOIN items i ON i.id = x.%s WHERE i.part_id = ?", table, col), from.ID).Scan(&n).Error)
			if n > 0 {
				t.Errorf("%d rows of %s name a piece of the part that is gone", n, c)
			}
		}
		for _, q := range []struct {
			what, sql string
			want      string
		}{
			{"Into needs what From needed, its own number standing", "SELECT o.code || ' ' || n.qty FROM part_needs n JOIN parts o ON o.id = n.spare_id WHERE n.part_id = ? ORDER BY 1", "OTHER-A 1, OTHER-B 3"},
			{"who needed From needs Into", "SELECT o.code || ' ' || n.qty FROM part_needs n JOIN parts o ON o.id = n.part_id WHERE n.spare_id = ? ORDER BY 1", "OTHER-C 4"},
			{"Into's price list is not mixed", "SELECT min_pieces || ' ' || cents FROM part_prices WHERE part_id = ? ORDER BY 1", "1 700"},
			{"the levels came along", "SELECT point || ' ' || quantity FROM part_levels WHERE part_id = ?", "5 10"},
			{"replaces and is replaced", "SELECT o.code || ' ' || x.changes FROM part_substitutes x JOIN parts o ON o.id = x.other_id WHERE x.part_id = ? ORDER BY 1", "OTHER-A longer"},
			{"families of one cut are one, under Into's rules", "SELECT f.operation || ' ' || f.planned_at || ' ' || (SELECT count(*) FROM edge_runs r WHERE r.family_id = f.id) FROM edge_families f WHERE f.part_id = ? ORDER BY 1", "bore 40 1, face 50 1"},
			{"the earlier merge's record leads straight here", "SELECT code FROM parts WHERE merged_into = ? ORDER BY 1", "EARLIER, FROM"},
		} {
			var got []string
			s.must(s.read.Raw(q.sql, into.ID).Scan(&got).Error)
			if strings.Join(got, ", ") != q.want {
				t.Errorf("%s: %q, want %q", q.what, got, q.want)
			}
		}
		if p, err := s.PartByCode(ctx, "EARLIER"); err != nil || p.ID != into.ID {
			t.Errorf("the code of the record merged before means %s, %v", p.Code, err)
		}
		_, err = s.Unmerge(ctx, op(s.boss), o.ID, "")
		s.must(err)
		for table, now := range whole() {
			if now != tables[table] {
				t.Errorf("taken apart again, %s reads\n%s\nbefore the merge it was\n%s", table, now, tables[table])
			}
		}
	})
}

// What a person set after the merge stays with the part he set it for.
func TestUnmergeKeepsWhatWasSetSince(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		from, into := s.withEverything()
		o := op(s.boss)
		_, err := s.Merge(ctx, o, MergeIn{From: from.ID, Into: into.ID})
		s.must(err)
		s.must(s.write.Exec("UPDATE part_levels SET point = 77 WHERE part_id = ?", into.ID).Error)
		_, err = s.Unmerge(ctx, op(s.boss), o.ID, "")
		s.must(err)
		for _, x := range []struct {
			part Part
			want int64
		}{{into, 77}, {from, 5}} {
			var n int64
			s.must(s.read.Raw("SELECT point FROM part_levels WHERE part_id = ?", x.part.ID).Scan(&n).Error)
			if n != x.want {
				t.Errorf("%s has the level %d, want %d", x.part.Code, n, x.want)
			}
		}
	})
}

// An order that still awaits pieces of both is named before anything changes.
func TestMergeWaitsForAnOrderWithBoth(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		from, into := s.withEverything()
		s.must(s.write.Exec("INSERT INTO order_lines (order_id, part_id, pieces, pack) VALUES ((SELECT id FROM orders WHERE code = 'O-1'), ?, 5, 5)", into.ID).Error)
		_, err := s.Merge(ctx, op(s.boss), MergeIn{From: from.ID, Into: into.ID})
		if !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "O-1") {
			t.Errorf("merged with an order that awaits both: %v", err)
		}
		s.must(s.write.Exec("UPDATE order_lines SET closed_at = ? WHERE part_id = ?", At(s.Now()), from.ID).Error)
		_, err = s.Merge(ctx, op(s.boss), MergeIn{From: from.ID, Into: into.ID})
		s.must(err)
	})
}
