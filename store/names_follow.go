package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// What follows a part into the record it is merged with. Every column that names a part stands
// in one of the lists below, or in the test's list of history with the reason why it stays.

// A follower is a column whose rows simply name the other part from then on.
type follower struct{ table, column string }

var followers = []follower{
	{"edge_inserts", "part_id"}, {"edge_runs", "part_id"}, {"lookups", "part_id"}, {"refused_requests", "part_id"},
	{"remarks", "bar_id"}, {"remarks", "head_id"}, {"snoozes", "part_id"}, {"substitutes", "part_id"}, {"substitutes", "planned_part_id"}, {"parts", "merged_into"},
}

// A keyed table has one row of a kind for a part, so that two parts may both have it.
type keyedTable struct {
	table string
	refs  []string // columns that name a part
	key   []string // what there may be one of
	whole bool     // the rows of a part go together: a price list is not mixed of two
}

var keyedTables = []keyedTable{
	{table: "part_needs", refs: []string{"part_id", "spare_id"}, key: []string{"part_id", "spare_id"}},
	{table: "part_wear", refs: []string{"part_id", "spare_id"}, key: []string{"part_id", "spare_id"}},
	{table: "part_substitutes", refs: []string{"part_id", "other_id"}, key: []string{"part_id", "other_id"}},
	{table: "part_levels", refs: []string{"part_id"}, key: []string{"part_id"}},
	{table: "part_prices", refs: []string{"part_id"}, key: []string{"part_id", "min_pieces"}, whole: true},
	{table: "alerts_sent", refs: []string{"part_id"}, key: []string{"part_id", "way"}},
	{table: "part_regrinds", refs: []string{"part_id", "new_id", "from_id"}, key: []string{"part_id"}},
	{table: "part_regrind_limits", refs: []string{"part_id"}, key: []string{"part_id"}},
}

// A followed is what a merge did to the followers and the keyed tables, kept to undo it.
type followed struct {
	Moved    map[string][]int64    // "table.column" -> ids
	Was      map[string][]tableRow // keyed rows that named From
	Put      map[string][]tableRow // keyed rows that were put in their place, as they stand since
	Families []mergedFamily        `json:",omitempty"`
}

// A mergedFamily is a family of edges whose runs went to the other part's family of the same
// operation, material and band.
type mergedFamily struct {
	Row  tableRow
	Into int64
	Runs []int64
}

// A tableRow is one row by column, as JSON keeps it.
type tableRow map[string]any

// rowsOf reads rows of a table; what comes back survives JSON on both engines.
func (tx *Tx) rowsOf(q string, args ...any) ([]tableRow, error) {
	var raw []map[string]any
	if err := tx.Raw(q, args...).Scan(&raw).Error; err != nil {
		return nil, err
	}
	out := make([]tableRow, len(raw))
	for i, r := range raw {
		for k, v := range r {
			switch x := v.(type) {
			case []byte:
				r[k] = string(x)
			case time.Time: // as both engines read it back
				r[k] = x.UTC().Format("2006-01-02T15:04:05.000Z07:00")
			}
		}
		b, err := json.Marshal(r)
		if err != nil {
			return nil, err
		}
		if err := json.Unmarshal(b, &out[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// UnmarshalJSON keeps numbers as they are written.
func (r *tableRow) UnmarshalJSON(b []byte) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	return d.Decode((*map[string]any)(r))
}

// int is a whole number of a row, 0 when it has none there.
func (r tableRow) int(column string) int64 {
	n, ok := r[column].(json.Number)
	if !ok {
		return 0
	}
	v, err := n.Int64()
	if err != nil {
		return 0
	}
	return v
}

// put inserts a row unless one of its key is there.
func (tx *Tx) put(table string, row tableRow) (bool, error) {
	var cols, marks []string
	var args []any
	for c := range row {
		cols = append(cols, c)
	}
	slices.Sort(cols)
	for _, c := range cols {
		marks = append(marks, "?")
		if n, ok := row[c].(json.Number); ok {
			args = append(args, n.String())
			continue
		}
		args = append(args, row[c])
	}
	r := tx.Exec(fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s) ON CONFLICT DO NOTHING", table, strings.Join(cols, ", "), strings.Join(marks, ",")), args...)
	return r.RowsAffected == 1, r.Error
}

// byKey is the condition that finds a row again.
func (k keyedTable) byKey(row tableRow) (cond string, args []any) {
	var all []string
	for _, c := range k.key {
		all = append(all, c+" = ?")
		if n, ok := row[c].(json.Number); ok {
			args = append(args, n.String())
			continue
		}
		args = append(args, row[c])
	}
	return strings.Join(all, " AND "), args
}

// naming is the condition of rows that name a part anywhere.
func (k keyedTable) naming(part PartID) (cond string, args []any) {
	var all []string
	for _, c := range k.refs {
		all, args = append(all, c+" = ?"), append(args, part)
	}
	return strings.Join(all, " OR "), args
}

// follow lets everything that names From name Into. Where both have their own, Into's stands:
// its levels, its price list.
func (e *entry) follow(from, into PartID) (followed, error) {
	f := followed{Moved: map[string][]int64{}, Was: map[string][]tableRow{}, Put: map[string][]tableRow{}}
	for _, w := range followers {
		var ids []int64
		if err := e.Raw(fmt.Sprintf("SELECT id FROM %s WHERE %s = ? ORDER BY id", w.table, w.column), from).Scan(&ids).Error; err != nil {
			return f, err
		}
		if len(ids) == 0 {
			continue
		}
		f.Moved[w.table+"."+w.column] = ids
		if err := e.exec(fmt.Sprintf("UPDATE %s SET %s = ? WHERE %s = ?", w.table, w.column, w.column), into, from); err != nil {
			return f, err
		}
	}
	for _, k := range keyedTables {
		if err := e.followKeyed(k, &f, from, into); err != nil {
			return f, err
		}
	}
	return f, e.followFamilies(&f, from, into)
}

func (e *entry) followKeyed(k keyedTable, f *followed, from, into PartID) error {
	cond, args := k.naming(from)
	rows, err := e.rowsOf(fmt.Sprintf("SELECT * FROM %s WHERE %s ORDER BY %s", k.table, cond, strings.Join(k.key, ", ")), args...)
	if err != nil || len(rows) == 0 {
		return err
	}
	f.Was[k.table] = rows
	if err := e.exec(fmt.Sprintf("DELETE FROM %s WHERE %s", k.table, cond), args...); err != nil {
		return err
	}
	if k.whole {
		var n int64
		cond, args := k.naming(into)
		if err := e.Raw(fmt.Sprintf("SELECT count(*) FROM %s WHERE %s", k.table, cond), args...).Scan(&n).Error; err != nil || n > 0 {
			return err
		}
	}
	for _, r := range rows {
		n, twice := tableRow{}, false
		for c, v := range r {
			n[c] = v
		}
		seen := map[int64]bool{}
		for _, c := range k.refs {
			if n.int(c) == int64(from) {
				n[c] = json.Number(fmt.Sprint(into))
			}
			twice = twice || seen[n.int(c)] && k.table != "part_regrinds" // of a regrind "new" and "before" may be one part
			seen[n.int(c)] = true
		}
		if twice || k.table == "part_regrinds" && (n.int("part_id") == n.int("new_id") || n.int("part_id") == n.int("from_id")) {
			continue // a part neither needs nor replaces nor grinds itself
		}
		done, err := e.put(k.table, n)
		if err != nil {
			return err
		}
		if !done {
			continue
		}
		cond, args := k.byKey(n)
		put, err := e.rowsOf(fmt.Sprintf("SELECT * FROM %s WHERE %s", k.table, cond), args...)
		if err != nil {
			return err
		}
		f.Put[k.table] = append(f.Put[k.table], put...)
	}
	return nil
}

// followFamilies lets the families of From be Into's; where both have one of the same cut,
// the runs are one family from then on, under the rules that Into's had.
func (e *entry) followFamilies(f *followed, from, into PartID) error {
	rows, err := e.rowsOf("SELECT * FROM edge_families WHERE part_id = ? ORDER BY id", from)
	if err != nil {
		return err
	}
	for _, r := range rows {
		id := r.int("id")
		var own int64
		if err := e.Raw("SELECT id FROM edge_families WHERE part_id = ? AND operation = ? AND material = ? AND band = ?", into, r["operation"], r["material"], r["band"]).Scan(&own).Error; err != nil {
			return err
		}
		if own == 0 {
			f.Moved["edge_families.part_id"] = append(f.Moved["edge_families.part_id"], id)
			if err := e.exec("UPDATE edge_families SET part_id = ?, version = version + 1 WHERE id = ?", into, id); err != nil {
				return err
			}
			continue
		}
		m := mergedFamily{Row: r, Into: own}
		if err := e.Raw("SELECT id FROM edge_runs WHERE family_id = ? ORDER BY id", id).Scan(&m.Runs).Error; err != nil {
			return err
		}
		for _, q := range []struct {
			sql  string
			args []any
		}{
			{"UPDATE edge_runs SET family_id = ? WHERE family_id = ?", []any{own, id}},
			{"UPDATE edge_families SET version = version + 1 WHERE id = ?", []any{own}},
			{"DELETE FROM edge_families WHERE id = ?", []any{id}},
		} {
			if err := e.exec(q.sql, q.args...); err != nil {
				return err
			}
		}
		f.Families = append(f.Families, m)
	}
	return nil
}

// unfollow gives back what follow took, as far as it still stands as the merge left it: what
// a person has set since for the part merged into stays that part's.
func (e *entry) unfollow(f followed, from, into PartID) error {
	for _, m := range f.Families {
		m.Row["version"] = json.Number(fmt.Sprint(m.Row.int("version") + 1))
		if _, err := e.put("edge_families", m.Row); err != nil {
			return err
		}
		if err := e.each500(m.Runs, "UPDATE edge_runs SET family_id = ? WHERE id IN ? AND family_id = ?", m.Row.int("id"), m.Into); err != nil {
			return err
		}
		if err := e.exec("UPDATE edge_families SET version = version + 1 WHERE id = ?", m.Into); err != nil {
			return err
		}
	}
	if err := e.each500(f.Moved["edge_families.part_id"], "UPDATE edge_families SET part_id = ?, version = version + 1 WHERE id IN ? AND part_id = ?", int64(from), int64(into)); err != nil {
		return err
	}
	for _, w := range followers {
		q := fmt.Sprintf("UPDATE %s SET %s = ? WHERE id IN ? AND %s = ?", w.table, w.column, w.column)
		if err := e.each500(f.Moved[w.table+"."+w.column], q, int64(from), int64(into)); err != nil {
			return err
		}
	}
	for _, k := range keyedTables {
		for _, p := range f.Put[k.table] {
			cond, args := k.byKey(p)
			now, err := e.rowsOf(fmt.Sprintf("SELECT * FROM %s WHERE %s", k.table, cond), args...)
			if err != nil {
				return err
			}
			if len(now) != 1 || !sameRow(now[0], p) {
				continue
			}
			if err := e.exec(fmt.Sprintf("DELETE FROM %s WHERE %s", k.table, cond), args...); err != nil {
				return err
			}
		}
		for _, r := range f.Was[k.table] {
			if _, err := e.put(k.table, r); err != nil {
				return err
			}
		}
	}
	return nil
}

// each500 runs an update over many ids: to, the ids, where it still is from.
func (e *entry) each500(ids []int64, q string, to, from int64) error {
	for len(ids) > 0 {
		n := min(500, len(ids))
		if err := e.exec(q, to, ids[:n], from); err != nil {
			return err
		}
		ids = ids[n:]
	}
	return nil
}

func sameRow(a, b tableRow) bool {
	x, err := json.Marshal(a)
	y, err2 := json.Marshal(b)
	return err == nil && err2 == nil && bytes.Equal(x, y)
}

// openOrderWithBoth names an order that still awaits pieces of both parts, "" when there is none.
func (e *entry) openOrderWithBoth(from, into PartID) (string, error) {
	var code string
	err := e.Raw(`SELECT o.code FROM orders o WHERE o.state <> 'cancelled' AND EXISTS (SELECT 1 FROM order_lines l WHERE l.order_id = o.id AND l.part_id = ?)
		AND EXISTS (SELECT 1 FROM order_lines l WHERE l.order_id = o.id AND l.part_id = ? AND l.closed_at IS NULL AND l.pieces > `+receivedSQL+`) ORDER BY o.id LIMIT 1`, into, from).Scan(&code).Error
	return code, err
}
