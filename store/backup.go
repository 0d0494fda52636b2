package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// A Manifest lies beside a backup and says what it holds: keep it elsewhere too, and a backup
// whose end was cut off is seen.
type Manifest struct {
	Made   time.Time `json:"made"`
	Schema int64     `json:"schema"`
	Seq    int64     `json:"seq"`  // last movement
	Hash   string    `json:"hash"` // its hash
	SHA256 string    `json:"sha256"`
	Bytes  int64     `json:"bytes"`
}

// Backup copies a SQLite store while it may be in use: a consistent copy by the engine itself,
// checked, made durable, then given its name. to must not exist.
func Backup(ctx context.Context, dir, to string) (Manifest, error) {
	var m Manifest
	from := filepath.Join(dir, "brasspeg.db")
	if _, err := os.Stat(from); err != nil {
		return m, fmt.Errorf("%w: %s", ErrNoStore, from)
	}
	if _, err := os.Stat(to); err == nil {
		return m, fmt.Errorf("%w: %s; choose another name", ErrExists, to)
	}
	part := to + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return m, err
	}
	db, err := openOnly(from)
	if err != nil {
		return m, err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
		os.Remove(part)
		return m, explain(filepath.Dir(to), fmt.Errorf("copying %s: %w", from, err))
	}
	defer os.Remove(part) // once renamed there is nothing to remove
	if m, err = inspect(ctx, part); err != nil {
		return m, err
	}
	m.Made = time.Now().UTC()
	if err := seal(part, to, &m); err != nil {
		return m, err
	}
	return m, nil
}

func openOnly(path string) (*sql.DB, error) {
	return sql.Open(sqliteDriver, "file:"+(&url.URL{Path: filepath.ToSlash(path)}).EscapedPath()+"?mode=ro&_busy_timeout=5000")
}

// inspect reads a copy through: the engine's check, the schema, the end of the ledger.
func inspect(ctx context.Context, path string) (Manifest, error) {
	var m Manifest
	db, err := openOnly(path)
	if err != nil {
		return m, err
	}
	defer db.Close()
	var ok string
	if err := db.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&ok); err != nil {
		return m, fmt.Errorf("%w: %s: %v", ErrDamaged, path, err)
	}
	if ok != "ok" {
		return m, fmt.Errorf("%w: %s: %s", ErrDamaged, path, ok)
	}
	if err := db.QueryRowContext(ctx, "SELECT max(version_id) FROM goose_db_version WHERE is_applied").Scan(&m.Schema); err != nil {
		return m, fmt.Errorf("%w: %s is not a store of this program: %v", ErrDamaged, path, err)
	}
	if m.Schema > SchemaVersion() {
		return m, fmt.Errorf("%w: schema %d, this program knows %d", ErrNewer, m.Schema, SchemaVersion())
	}
	return m, db.QueryRowContext(ctx, "SELECT seq, hash FROM ledger_head WHERE id = 1").Scan(&m.Seq, &m.Hash)
}

// seal makes the copy durable, names it and writes its manifest.
func seal(part, to string, m *Manifest) error {
	f, err := os.OpenFile(part, os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	h := sha256.New()
	if m.Bytes, err = io.Copy(h, f); err != nil {
		return err
	}
	m.SHA256 = hex.EncodeToString(h.Sum(nil))
	if err := f.Sync(); err != nil {
		return err
	}
	if err := os.Rename(part, to); err != nil {
		return err
	}
	b, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(to+".json", append(b, '\n'), 0o600); err != nil {
		return err
	}
	return syncDir(filepath.Dir(to))
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, fs.ErrInvalid) {
		return nil // some systems can not sync a folder; the file itself is safe
	}
	return nil
}

// Restore puts a checked backup in the place of a store that nobody has open. What was there
// is moved into a new folder beside it, whose name is returned, "" when there was nothing. Sessions
// are not put back.
func Restore(ctx context.Context, from, dir string) (aside string, err error) {
	if _, err := inspect(ctx, from); err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", explain(dir, err)
	}
	l, err := lockFolder(filepath.Join(dir, "brasspeg.lock"))
	if err != nil {
		return "", explain(dir, err)
	}
	defer l.Close()
	part := filepath.Join(dir, "brasspeg.db.part")
	if err := copyFile(from, part); err != nil {
		os.Remove(part)
		return "", explain(dir, err)
	}
	if err := endSessions(ctx, part); err != nil {
		os.Remove(part)
		return "", explain(dir, err)
	}
	old, err := filepath.Glob(filepath.Join(dir, "brasspeg.db*"))
	if err != nil {
		return "", err
	}
	for _, f := range old {
		if strings.HasPrefix(f, part) {
			continue
		}
		if aside == "" {
			aside = filepath.Join(dir, "replaced-"+time.Now().UTC().Format("20060102-150405.000"))
			if err := os.Mkdir(aside, 0o700); err != nil {
				return "", err
			}
		}
		if err := os.Rename(f, filepath.Join(aside, filepath.Base(f))); err != nil {
			return aside, err
		}
	}
	if err := os.Rename(part, filepath.Join(dir, "brasspeg.db")); err != nil {
		return aside, err
	}
	return aside, syncDir(dir)
}

// endSessions logs everybody out of a copy: whoever logged out, left or lost his device since it
// was made must not be logged in again by putting it back.
func endSessions(ctx context.Context, path string) error {
	db, err := sql.Open(sqliteDriver, sqliteDSN(path, false, false))
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	for _, q := range []string{"DELETE FROM sessions", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := db.ExecContext(ctx, q); err != nil {
			db.Close()
			return err
		}
	}
	return db.Close() // the last to close takes the log away
}

func copyFile(from, to string) error {
	in, err := os.Open(from) // a backup that is in use by nobody, never the live file
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	if _, err := io.Copy(out, in); err != nil {
		out.Close()
		return err
	}
	if err := out.Sync(); err != nil {
		out.Close()
		return err
	}
	return out.Close()
}
