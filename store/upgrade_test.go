package store

import (
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	old "brasspeg/testdata/store"
)

// oldShop is a folder or a schema with the store of an older program, not yet opened, and the
// database as it is.
func oldShop(t *testing.T, postgres bool) (Options, *sql.DB) {
	t.Helper()
	o := Options{Dir: t.TempDir()}
	engine, driver, at := "sqlite", sqliteDriver, sqliteDSN(filepath.Join(o.Dir, "brasspeg.db"), false, true)
	if postgres {
		o.Postgres = newSchema(t)
		engine, driver, at = "postgres", "pgx", o.Postgres
	}
	db, err := sql.Open(driver, at)
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	t.Cleanup(func() { db.Close() })
	if err := old.Fill(ctx, db, engine); err != nil {
		t.Fatal(err)
	}
	return o, db
}

// The store of an older program is brought up to date with everything in it: no value is lost or
// changed, verify is clean, what the pages read can be read, an act of before can be undone, and a
// new one booked. The next migration is held to the same.
func TestUpgradeKeepsEverything(t *testing.T) {
	schema, tables, err := old.Read()
	if err != nil {
		t.Fatal(err)
	}
	for _, postgres := range []bool{false, true} {
		if postgres && postgresURL == "" {
			continue
		}
		t.Run(map[bool]string{false: "sqlite", true: "postgres"}[postgres], func(t *testing.T) {
			o, db := oldShop(t, postgres)
			if !postgres {
				var was []string
				rows, err := db.Query("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' AND name NOT LIKE 'goose_%' ORDER BY type, name")
				if err != nil {
					t.Fatal(err)
				}
				for rows.Next() {
					var s string
					if err := rows.Scan(&s); err != nil {
						t.Fatal(err)
					}
					was = append(was, s)
				}
				if !slices.Equal(was, schema) {
					t.Error("the migrations up to 6 no longer make the schema they made: a merged migration was edited")
				}
			}
			db.Close()
			s := &shop{t: t, opt: o}
			s.open()
			t.Cleanup(func() { s.Close() })
			var now int64
			s.must(s.read.Raw("SELECT max(version_id) FROM goose_db_version").Scan(&now).Error)
			if now != SchemaVersion() {
				t.Fatalf("the schema is %d, not %d", now, SchemaVersion())
			}
			for _, tab := range tables {
				s.keeps(t, tab)
			}
			rep := s.sound()
			if rep.Movements != 4406 {
				t.Errorf("%d movements of 4406", rep.Movements)
			}

			boss, err := s.PersonByLogin(ctx, old.Boss)
			s.must(err)
			for what, read := range map[string]func() error{
				"the shelf":     func() error { _, err := s.Shelf(ctx); return err },
				"readiness":     func() error { _, err := s.Readiness(ctx); return err },
				"buying":        func() error { _, err := s.Buying(ctx); return err },
				"edge account":  func() error { _, err := s.EdgeAccount(ctx, ""); return err },
				"families":      func() error { _, err := s.EdgeFamilies(ctx); return err },
				"orders":        func() error { _, err := s.Orders(ctx, OrderFilter{}); return err },
				"holdings":      func() error { _, err := s.Holdings(ctx, 0, 100); return err },
				"lines":         func() error { _, err := s.Lines(ctx, LineFilter{Limit: 100}); return err },
				"labels":        func() error { _, err := s.LabelRuns(ctx, 10); return err },
				"counts":        func() error { _, err := s.CountTasks(ctx); return err },
				"a log-in":      func() error { _, err := s.Login(ctx, old.Boss, old.Password, "window"); return err },
				"the promises":  func() error { _, err := s.Promises(ctx, 0); return err },
				"the next edge": func() error { _, err := s.Outlook(ctx); return err },
			} {
				if err := read(); err != nil {
					t.Errorf("%s: %v", what, err)
				}
			}
			undone := map[string]int{}
			var ids []struct{ OpID, Act string }
			s.must(s.read.Raw("SELECT op_id, act FROM ops ORDER BY at DESC, op_id LIMIT 120").Scan(&ids).Error)
			for _, id := range ids {
				if _, err := s.Reverse(ctx, op(boss), id.OpID, "after the new program came"); err == nil {
					undone[id.Act]++
				}
			}
			s.sound()
			if undone["issue"] == 0 || undone["return"] == 0 || undone["reserve"] == 0 {
				t.Errorf("of the last acts of the old program these could be undone: %v; want issues, returns and promises", undone)
			}
			s.restart()
			s.sound()
		})
	}
}

// keeps holds a table against the rows it had.
func (s *shop) keeps(t *testing.T, tab old.Table) {
	t.Helper()
	rows, err := s.read.Raw("SELECT " + strings.Join(tab.Columns, ",") + " FROM " + tab.Name).Rows()
	s.must(err)
	defer rows.Close()
	have := map[string]int{}
	for rows.Next() {
		vals, ptrs := make([]any, len(tab.Columns)), make([]any, len(tab.Columns))
		for i := range vals {
			ptrs[i] = &vals[i]
		}
		s.must(rows.Scan(ptrs...))
		have[rowText(vals)]++
	}
	s.must(rows.Err())
	gone := 0
	for _, row := range tab.Rows {
		vals := make([]any, len(row))
		for i, v := range row {
			if v != nil {
				vals[i] = *v
			}
		}
		if k := rowText(vals); have[k] == 0 {
			if gone++; gone < 4 {
				t.Errorf("%s lost or changed the row %s", tab.Name, k)
			}
		} else {
			have[k]--
		}
	}
}

// rowText spells a row the same, whatever the engine hands out.
func rowText(vals []any) string {
	out := make([]string, len(vals))
	for i, v := range vals {
		switch v := v.(type) {
		case nil:
			out[i] = "NULL"
		case time.Time:
			out[i] = v.UTC().Format(timeLayout)
		case bool:
			out[i] = map[bool]string{true: "1", false: "0"}[v]
		case []byte:
			out[i] = string(v)
		case string:
			out[i] = v
			if f, ok := number(v); ok {
				out[i] = f
			}
		case float64, float32:
			out[i], _ = number(fmt.Sprint(v))
		default:
			out[i] = fmt.Sprint(v)
			if f, ok := number(out[i]); ok {
				out[i] = f
			}
		}
	}
	return strings.Join(out, "|")
}

func number(s string) (string, bool) {
	var f float64
	if n, err := fmt.Sscanf(s, "%g", &f); n != 1 || err != nil || strings.Trim(s, "0123456789.eE+-") != "" {
		return s, false
	}
	return fmt.Sprintf("%.12g", f), true
}

// A store that a newer program made is left as it is, with the sentence that says what to do.
func TestDowngradeIsRefused(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.receive(s.sleeve("SLV-1"), 1, s.bin("A1"))
		s.must(s.write.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (?, ?)", SchemaVersion()+1, true).Error)
		s.Close()
		_, err := Open(ctx, s.opt)
		if !errors.Is(err, ErrNewer) {
			t.Fatalf("opened: %v", err)
		}
		for _, part := range []string{fmt.Sprintf("schema %d", SchemaVersion()+1), fmt.Sprintf("this program knows %d", SchemaVersion()), "install the newer program"} {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%q does not say %q", err, part)
			}
		}
	})
}
