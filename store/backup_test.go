package store

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gorm.io/gorm"
)

// everyRow is each row of each table as text, but for the tables named.
func everyRow(t *testing.T, db *gorm.DB, without ...string) map[string][]string {
	t.Helper()
	tables := map[string][]string{}
	for _, c := range columns(t, db) {
		table, col, _ := strings.Cut(c, ".")
		if !slices.Contains(without, table) {
			tables[table] = append(tables[table], `"`+col+`"`)
		}
	}
	out := map[string][]string{}
	for table, cols := range tables {
		rows, err := db.Raw("SELECT " + strings.Join(cols, ",") + " FROM " + table).Rows()
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		out[table] = []string{}
		for rows.Next() {
			vals, ptrs := make([]any, len(cols)), make([]any, len(cols))
			for i := range vals {
				ptrs[i] = &vals[i]
			}
			if err := rows.Scan(ptrs...); err != nil {
				t.Fatal(err)
			}
			out[table] = append(out[table], rowText(vals))
		}
		slices.Sort(out[table])
	}
	return out
}

// A backup put into a new folder has every row of every table, changes of acts and substitutes
// among them; only the sessions are left out, so that nobody is logged in who logged out since.
func TestRestoreHasEveryRow(t *testing.T) {
	s := newShop(t, false)
	fullShop(s)
	want := everyRow(t, s.read, "sessions")
	for _, table := range []string{"act_changes", "substitutes", "part_changes", "devices", "plans", "edge_runs", "label_prints"} {
		if len(want[table]) == 0 {
			t.Errorf("the shop has no row in %s, so nothing is shown of it", table)
		}
	}
	dir := t.TempDir()
	file, to := filepath.Join(dir, "copy.db"), filepath.Join(dir, "restored")
	m, err := Backup(ctx, s.opt.Dir, file)
	s.must(err)
	aside, err := Restore(ctx, file, to)
	if err != nil || aside != "" {
		t.Fatalf("%q %v", aside, err)
	}
	left, err := filepath.Glob(filepath.Join(to, "*"))
	s.must(err)
	for _, f := range left {
		if b := filepath.Base(f); b != "brasspeg.db" && b != "brasspeg.lock" {
			t.Errorf("the restore left %s behind", b)
		}
	}
	o := s.opt
	o.Dir = to
	c, err := Open(ctx, o)
	s.must(err)
	defer c.Close()
	got := everyRow(t, c.read, "sessions")
	for table, rows := range want {
		if !slices.Equal(rows, got[table]) {
			t.Errorf("%s: %d rows were copied, %d are there, or they differ", table, len(rows), len(got[table]))
		}
	}
	var sessions int64
	s.must(s.read.Raw("SELECT count(*) FROM sessions").Scan(&sessions).Error)
	var back int64
	s.must(c.read.Raw("SELECT count(*) FROM sessions").Scan(&back).Error)
	if sessions == 0 || back != 0 {
		t.Errorf("%d sessions, and %d after the restore; want some and none", sessions, back)
	}
	rep, err := c.Verify(ctx)
	if err != nil || len(rep.Faults) > 0 || rep.Head != m.Hash {
		t.Errorf("%v %v", rep.Faults, err)
	}
	// once more over itself: what was there is moved aside whole
	c.Close()
	if aside, err = Restore(ctx, file, to); err != nil {
		t.Fatal(err)
	}
	if b, err := os.Stat(filepath.Join(aside, "brasspeg.db")); err != nil || b.Size() == 0 {
		t.Errorf("what was there is not in %s: %v", aside, err)
	}
}

// The table of suppliers read into an empty shop and written again is the same to the byte. What
// a shop has measured is no part of it: both columns of both are of a shop without deliveries.
func TestSuppliersThereAndBack(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		for _, v := range []Vendor{
			{Supplier: Supplier{Code: "ORRIN", Name: `Orrin & "Sons", Ltd`, Email: "desk@orrin.example", Phone: "+49 1", LeadDays: 12}, Cutoffs: "mon,thu", MinOrderCents: 12550, Currency: "EUR"},
			{Supplier: Supplier{Code: "PELL", Name: "=Pell, Ü\u00a0ö", LeadDays: 3}},
			{Supplier: Supplier{Code: "QUAY", Name: "-5", Phone: "0123"}, MinOrderCents: 100, Currency: "USD"},
		} {
			s.must2(s.SetVendor(ctx, op(s.boss), v))
		}
		csv := func(from *Store) []byte {
			vs, err := from.Vendors(ctx)
			s.must(err)
			var b bytes.Buffer
			s.must(VendorSheet(vs).WriteCSV(&b))
			return b.Bytes()
		}
		first := csv(s.Store)
		other := newShop(t, s.postgres)
		rep, err := other.Import(ctx, other.boss.ID, "suppliers", first, true)
		s.must(err)
		if len(rep.Bad) > 0 || !rep.Applied {
			t.Fatalf("%+v", rep)
		}
		if again := csv(other.Store); !bytes.Equal(first, again) {
			t.Errorf("written\n%s\nand again\n%s", first, again)
		}
		vs, err := s.Vendors(ctx)
		s.must(err)
		back, err := other.Vendors(ctx)
		s.must(err)
		for i, v := range vs {
			if back[i].Name != v.Name || back[i].Phone != v.Phone || back[i].Cutoffs != v.Cutoffs || back[i].MinOrderCents != v.MinOrderCents {
				t.Errorf("%+v came back as %+v", v, back[i])
			}
		}
	})
}
