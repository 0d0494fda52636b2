// Package old is the store of a shop as an older program left it, for tests that bring it up to
// date. README.md beside this file says how it was made.
package old

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"database/sql"
	_ "embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"strings"

	"github.com/pressly/goose/v3"

	"brasspeg/store/migrations"
)

//go:embed schema6.jsonl.gz
var dump []byte

// Version is the schema of the store, Admin the login of one who may see every page, with the
// Password; Boss is a manager with the same one.
const (
	Version  = 6
	Admin    = "ada"
	Boss     = "bo"
	Password = "long enough to pass"
)

// A Table is a table with its rows. A value is its text, nil is NULL.
type Table struct {
	Name    string   `json:"table"`
	Columns []string `json:"columns"`
	Rows    [][]*string
}

// Read returns the schema as SQLite had it, a statement an entry, and the tables in the order in
// which their rows may be put in.
func Read() (schema []string, tables []Table, err error) {
	z, err := gzip.NewReader(bytes.NewReader(dump))
	if err != nil {
		return nil, nil, err
	}
	lines := bufio.NewScanner(z)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		b := lines.Bytes()
		if b[0] == '{' {
			var head struct {
				Table
				Schema []string `json:"schema"`
			}
			if err := json.Unmarshal(b, &head); err != nil {
				return nil, nil, err
			}
			if head.Schema != nil {
				schema = head.Schema
				continue
			}
			tables = append(tables, head.Table)
			continue
		}
		d := json.NewDecoder(bytes.NewReader(b))
		d.UseNumber() // a number stays the digits it is
		var row []any
		if err := d.Decode(&row); err != nil {
			return nil, nil, err
		}
		t := &tables[len(tables)-1]
		out := make([]*string, len(row))
		for i, v := range row {
			if v != nil {
				s := fmt.Sprint(v)
				out[i] = &s
			}
		}
		t.Rows = append(t.Rows, out)
	}
	return schema, tables, lines.Err()
}

// Fill brings an empty database of an engine ("sqlite", "postgres") to Version and puts the rows in.
func Fill(ctx context.Context, db *sql.DB, engine string) error {
	sub, err := fs.Sub(migrations.Files, engine)
	if err != nil {
		return err
	}
	dialect := map[string]goose.Dialect{"sqlite": goose.DialectSQLite3, "postgres": goose.DialectPostgres}[engine]
	p, err := goose.NewProvider(dialect, db, sub, goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return err
	}
	if _, err := p.UpTo(ctx, Version); err != nil {
		return err
	}
	_, tables, err := Read()
	if err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for _, t := range tables {
		if _, err := tx.ExecContext(ctx, "DELETE FROM "+t.Name); err != nil { // the end of the empty ledger
			return err
		}
		for rows := t.Rows; len(rows) > 0; {
			n := min(200, len(rows))
			var b strings.Builder
			fmt.Fprintf(&b, "INSERT INTO %s (%s) VALUES ", t.Name, strings.Join(t.Columns, ","))
			for i, row := range rows[:n] {
				if i > 0 {
					b.WriteByte(',')
				}
				b.WriteByte('(')
				for k, v := range row {
					if k > 0 {
						b.WriteByte(',')
					}
					if v == nil {
						b.WriteString("NULL")
					} else {
						b.WriteString("'" + strings.ReplaceAll(*v, "'", "''") + "'") // each engine makes of it what the column is
					}
				}
				b.WriteByte(')')
			}
			if _, err := tx.ExecContext(ctx, b.String()); err != nil {
				return fmt.Errorf("%s: %w", t.Name, err)
			}
			rows = rows[n:]
		}
		if engine == "postgres" && t.Columns[0] == "id" && t.Name != "ledger_head" { // the next number follows
			if _, err := tx.ExecContext(ctx, fmt.Sprintf("SELECT setval(pg_get_serial_sequence('%s', 'id'), (SELECT coalesce(max(id), 0) + 1 FROM %s), false)", t.Name, t.Name)); err != nil {
				return fmt.Errorf("%s: %w", t.Name, err)
			}
		}
	}
	return tx.Commit()
}
