package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"github.com/jackc/pgx/v5/pgconn"
)

// What can be wrong with the place a store is kept in, and how to mend it.
var (
	ErrFolder  = errors.New("the folder of the store can not be used")
	ErrNoRoom  = errors.New("the disk of the store is full")
	ErrForeign = errors.New("the database is another program's")
)

// SQLite's result codes that say something of the place, https://www.sqlite.org/rescode.html.
const (
	sqliteBusy, sqliteReadOnly, sqliteIOErr, sqliteFull, sqliteCantOpen, sqliteNotADB = 5, 8, 10, 13, 14, 26
)

// engineCode is SQLite's extended result code of an error of either engine, 0 for none.
func engineCode(err error) int {
	var c interface{ Code() int }
	if errors.As(err, &c) {
		return c.Code()
	}
	return codeOfC(err)
}

// codeOfC finds the C engine's error, without importing it, among all that an error wraps: a
// transaction that failed and could not be rolled back has two.
func codeOfC(err error) int {
	if err == nil {
		return 0
	}
	var m struct{ Code, ExtendedCode int }
	if b, no := json.Marshal(err); no == nil && json.Unmarshal(b, &m) == nil && m.Code != 0 {
		return max(m.Code, m.ExtendedCode)
	}
	switch w := err.(type) {
	case interface{ Unwrap() error }:
		return codeOfC(w.Unwrap())
	case interface{ Unwrap() []error }:
		for _, e := range w.Unwrap() {
			if n := codeOfC(e); n != 0 {
				return n
			}
		}
	}
	return 0
}

// noRoom says whether an error means that the disk is full.
func noRoom(err error) bool {
	var pg *pgconn.PgError
	return errors.Is(err, syscall.ENOSPC) || engineCode(err)&0xff == sqliteFull || errors.As(err, &pg) && pg.Code == "53100"
}

// explain turns what the system says of a place into what is wrong, where, and how to mend it.
func explain(dir string, err error) error {
	code := engineCode(err) & 0xff
	switch {
	case err == nil || errors.Is(err, ErrLocked) || errors.Is(err, ErrDamaged) || errors.Is(err, ErrFolder) || errors.Is(err, ErrNoRoom):
		return err
	case noRoom(err):
		return fmt.Errorf("%w: %s. Make room there and start again; what was answered before is kept (%w)", ErrNoRoom, dir, err)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%w: %s is mounted for reading only; mount it for writing (%w)", ErrFolder, dir, err)
	case errors.Is(err, fs.ErrPermission) || code == sqliteReadOnly || code == sqliteCantOpen:
		return fmt.Errorf("%w: %s. Give the folder and all that is in it to that user, for writing (%w)", ErrFolder, whose(dir), err)
	case code == sqliteBusy:
		return fmt.Errorf("%w: another program has the database in %s open; end it, then start again (%w)", ErrLocked, dir, err)
	}
	return err
}

// whose says who runs, and whose the things are that he may not write.
func whose(dir string) string {
	me := os.Geteuid()
	for _, f := range []string{"brasspeg.db", "brasspeg.db-wal", "brasspeg.db-shm", "brasspeg.lock", "secret.key", "."} {
		path := filepath.Join(dir, f)
		st, err := os.Stat(path)
		if err != nil {
			continue
		}
		if by, ok := owner(st); ok && by != me {
			return fmt.Sprintf("%s belongs to user %d, and Brasspeg runs as user %d", path, by, me)
		}
		if st.Mode().Perm()&0o200 == 0 {
			return fmt.Sprintf("%s may not be written by its own user %d (mode %04o)", path, me, st.Mode().Perm())
		}
	}
	return fmt.Sprintf("user %d may not write in %s or make it", me, dir)
}

// mendBy is the way back from damage.
func mendBy(dir string) string {
	return fmt.Sprintf("Nothing was written. Restore the newest backup with: brasspeg restore --data %s FILE", dir)
}

// checkKind refuses a SQLite file that is another program's, or holds no shop: bringing its schema
// up to date would make a shop without anything in it out of what was one, or spoil a stranger's
// file. Only init makes a shop, in a new file or where an init was cut off.
func checkKind(ctx context.Context, db *sql.DB, file string, create bool) error {
	tables, err := texts(ctx, db, "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name")
	if err != nil {
		return err
	}
	return kindOf(tables, file, create, fmt.Errorf("%w: %s holds no shop. %s", ErrDamaged, file, mendBy(filepath.Dir(file))))
}

// checkKindPostgres is checkKind of the schema a PostgreSQL address leads to.
func checkKindPostgres(ctx context.Context, db *sql.DB, create bool) error {
	tables, err := texts(ctx, db, "SELECT table_name FROM information_schema.tables WHERE table_schema = current_schema() AND table_type = 'BASE TABLE' ORDER BY table_name")
	if err != nil {
		return err
	}
	return kindOf(tables, "the database", create, fmt.Errorf("%w: the database holds no shop; make one with: brasspeg init --db URL, or mend the address", ErrNoStore))
}

func kindOf(tables []string, what string, create bool, none error) error {
	if slices.Contains(tables, "ledger_head") && slices.Contains(tables, "movements") {
		return nil
	}
	foreign := slices.DeleteFunc(tables, func(t string) bool { return strings.HasPrefix(t, "goose_") })
	if len(foreign) > 0 {
		return fmt.Errorf("%w: %s holds the tables %s and no ledger. Nothing was written; give Brasspeg a folder or a database of its own", ErrForeign, what, strings.Join(foreign[:min(3, len(foreign))], ", "))
	}
	if !create {
		return none
	}
	return nil
}

func texts(ctx context.Context, db *sql.DB, q string) ([]string, error) {
	rows, err := db.QueryContext(ctx, q)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var t string
		if err := rows.Scan(&t); err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, rows.Err()
}

// checkSchema refuses a store from which somebody took a table, an index or a trigger: without
// its triggers the ledger can be changed, without its indexes a thing happen twice.
func (s *Store) checkSchema() error {
	var gone []string
	err := verifySchema(s.read, s.Engine(), func(_ string, _ int64, format string, args ...any) {
		gone = append(gone, fmt.Sprintf(format, args...))
	})
	if err == nil && len(gone) > 0 {
		err = fmt.Errorf("%w: %s", ErrDamaged, strings.Join(gone[:min(3, len(gone))], "; "))
	}
	return err
}

// keepBefore copies a SQLite store before its schema is changed: before-schema-N.db beside it, for
// the program that made it. A copy that a start before made stays.
func keepBefore(ctx context.Context, db *sql.DB, dir string) error {
	var at int64
	err := db.QueryRowContext(ctx, "SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied").Scan(&at)
	if err != nil || at == 0 || at >= SchemaVersion() {
		return nil // what is wrong with it, migrate says
	}
	to := filepath.Join(dir, fmt.Sprintf("before-schema-%d.db", at+1))
	if _, err := os.Stat(to); err == nil {
		return nil
	}
	if _, err := Backup(ctx, dir, to); err != nil {
		return fmt.Errorf("the store is of an older Brasspeg, and could not be copied to %s before it is brought up to date; nothing was changed: %w", to, err)
	}
	return nil
}
