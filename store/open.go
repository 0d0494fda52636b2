// Package store keeps the shop: the catalogue, what stands where, who has it, which job it is
// promised to, and the ledger of every movement. It owns every SQL statement and hands out
// plain structs.
//
// One booking is one act of a person under one op id: its movements, the balances they change
// and the answer given are one durable transaction. book is the only door to a write; behind
// it one writer commits waiting bookings together. SQLite in a folder is the default engine,
// PostgreSQL the other; the same suite runs on both.
package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
	"gorm.io/driver/postgres"
	"gorm.io/driver/sqlite"
	"gorm.io/gorm"
	"gorm.io/gorm/logger"

	"brasspeg/store/migrations"
)

// Options says which store to open.
type Options struct {
	Dir      string           // folder of a SQLite store; also keeps the secret beside a PostgreSQL one
	Postgres string           // postgres://… ; empty: SQLite in Dir
	Create   bool             // make the store if there is none; otherwise that is ErrNoStore
	Clock    func() time.Time // nil: the wall clock
	Log      *slog.Logger     // nil: silent
	Trace    func(sql string) // told of each statement of gorm; nil: nobody is
	Relaxed  bool             // a throwaway store: commits do not wait for the disk. Never for a shop.
}

// A Store is one shop's open store. Its methods may be called from many goroutines.
type Store struct {
	read, write *gorm.DB
	pools       []*sql.DB
	postgres    bool
	clock       func() time.Time
	log         *slog.Logger
	dir         string
	lock        *os.File
	secret      []byte // keys the HMAC of badges and PINs; kept outside the database and its backups
	queue       *writer
	hot         map[string]*sql.Stmt // prepared on the writer's connection
	spelt       map[string]string    // hot statements in PostgreSQL's spelling
	places      placeBook
	shelf       shelfCache
	verdicts    verdictCache
	index       searchIndex
	buying      buyBook
	fits        fits
	closeOnce   sync.Once
}

// SchemaVersion is the newest migration this program knows.
func SchemaVersion() int64 {
	files, err := fs.ReadDir(migrations.Files, "sqlite")
	if err != nil {
		panic(err) // embedded at build
	}
	newest := int64(0)
	for _, f := range files {
		var n int64
		if _, err := fmt.Sscanf(f.Name(), "%d_", &n); err != nil {
			panic(err)
		}
		newest = max(newest, n)
	}
	return newest
}

// Open opens a store and brings its schema up to date. ErrNoStore: none is there and Create
// is false. ErrLocked: another process has it. ErrNewer, ErrDamaged: it was left untouched.
func Open(ctx context.Context, o Options) (*Store, error) {
	s := &Store{clock: o.Clock, log: o.Log, dir: o.Dir, postgres: o.Postgres != ""}
	if s.clock == nil {
		s.clock = time.Now
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if err := s.open(ctx, o); err != nil {
		s.shut()
		return nil, explain(o.Dir, err)
	}
	s.queue = startWriter(s)
	for _, step := range []func(context.Context) error{s.found, s.refold} {
		if err := step(ctx); err != nil {
			s.Close()
			return nil, explain(o.Dir, err)
		}
	}
	return s, nil
}

func (s *Store) open(ctx context.Context, o Options) error {
	if o.Dir == "" {
		return fmt.Errorf("%w: no folder given for the store", ErrBadInput)
	}
	file := filepath.Join(o.Dir, "brasspeg.db")
	if !s.postgres && !o.Create {
		if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%w: %s; make one with: brasspeg init --data %s", ErrNoStore, file, o.Dir)
		}
	}
	if err := os.MkdirAll(o.Dir, 0o700); err != nil {
		return err
	}
	var err error
	if !s.postgres { // several processes may serve one PostgreSQL; a folder has one owner
		if s.lock, err = lockFolder(filepath.Join(o.Dir, "brasspeg.lock")); err != nil {
			return err
		}
	}
	if s.secret, err = secret(filepath.Join(o.Dir, "secret.key")); err != nil {
		return err
	}
	if s.postgres {
		err = s.openPostgres(ctx, o)
	} else {
		err = s.openSQLite(ctx, file, o)
	}
	if err != nil {
		return err
	}
	if err := s.checkSchema(); err != nil {
		return err
	}
	if err := s.prepare(ctx, s.pools[0]); err != nil {
		return err
	}
	return s.places.load(s.read)
}

func (s *Store) openSQLite(ctx context.Context, file string, o Options) error {
	fresh := false
	if st, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
		fresh = true
	} else if err != nil {
		return err
	} else if st.Size() == 0 && !o.Create {
		return fmt.Errorf("%w: %s is empty. %s", ErrDamaged, file, mendBy(o.Dir))
	}
	w, err := sql.Open(sqliteDriver, sqliteDSN(file, false, o.Relaxed))
	if err != nil {
		return err
	}
	w.SetMaxOpenConns(1)
	s.pools = append(s.pools, w)
	if !fresh {
		if err := quickCheck(ctx, w, file); err != nil {
			return err
		}
		if err := checkKind(ctx, w, file, o.Create); err != nil {
			return err
		}
		if err := keepBefore(ctx, w, o.Dir); err != nil {
			return err
		}
	}
	if err := migrate(ctx, w, goose.DialectSQLite3, "sqlite"); err != nil {
		return err
	}
	// A file that may only be read opens all the same; the engine says so at the first write.
	if _, err := w.ExecContext(ctx, "UPDATE ledger_head SET seq = seq WHERE 1 = 0"); err != nil {
		return err
	}
	r, err := sql.Open(sqliteDriver, sqliteDSN(file, true, o.Relaxed))
	if err != nil {
		return err
	}
	r.SetMaxOpenConns(4)
	r.SetMaxIdleConns(4)
	s.pools = append(s.pools, r)
	for _, p := range s.pools {
		if err := readBack(ctx, p, o.Relaxed); err != nil {
			return err
		}
	}
	os.Chmod(file, 0o600)
	if s.write, err = gorm.Open(dialect{sqlite.New(sqlite.Config{Conn: w, DriverName: sqliteDriver}).(*sqlite.Dialector)}, s.gormConfig(o.Trace)); err != nil {
		return err
	}
	s.read, err = gorm.Open(dialect{sqlite.New(sqlite.Config{Conn: r, DriverName: sqliteDriver}).(*sqlite.Dialector)}, s.gormConfig(o.Trace))
	return err
}

func (s *Store) openPostgres(ctx context.Context, o Options) error {
	db, err := sql.Open("pgx", o.Postgres)
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(8)
	s.pools = append(s.pools, db)
	if err := checkKindPostgres(ctx, db, o.Create); err != nil {
		return err
	}
	if err := migrate(ctx, db, goose.DialectPostgres, "postgres"); err != nil {
		return err
	}
	if s.write, err = gorm.Open(pgDialect{postgres.New(postgres.Config{Conn: db}).(*postgres.Dialector)}, s.gormConfig(o.Trace)); err != nil {
		return err
	}
	s.read = s.write
	return nil
}

func (s *Store) gormConfig(trace func(string)) *gorm.Config {
	cfg := &gorm.Config{
		TranslateError: true, Logger: logger.Discard, SkipDefaultTransaction: true,
		NowFunc: func() time.Time { return s.clock().UTC().Truncate(time.Millisecond) },
	}
	if trace != nil {
		cfg.Logger = tracer{logger.Discard, trace}
	}
	return cfg
}

// A tracer tells somebody of each statement.
type tracer struct {
	logger.Interface
	seen func(sql string)
}

func (t tracer) LogMode(logger.LogLevel) logger.Interface { return t }

func (t tracer) Trace(_ context.Context, _ time.Time, sql func() (string, int64), _ error) {
	text, _ := sql()
	t.seen(text)
}

// sqliteDSN sets what reliability asks of every connection. mattn and modernc read the same names.
func sqliteDSN(file string, reader, relaxed bool) string {
	path := filepath.ToSlash(file)
	if filepath.VolumeName(file) != "" {
		path = "/" + path
	}
	sync := "FULL"
	if relaxed {
		sync = "OFF"
	}
	q := url.Values{
		"_journal_mode": {"WAL"}, "_busy_timeout": {"5000"}, "_foreign_keys": {"on"},
		"_synchronous": {sync},
	}
	if reader {
		q.Set("_query_only", "1")
	} else {
		q.Set("_txlock", "immediate")
	}
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + q.Encode()
}

// readBack asks a pool for its settings: a setting that a driver ignored loses bookings in a
// power cut, so the store then refuses to open.
func readBack(ctx context.Context, db *sql.DB, relaxed bool) error {
	want := []struct{ pragma, value string }{
		{"journal_mode", "wal"}, {"synchronous", "2"}, {"foreign_keys", "1"}, {"busy_timeout", "5000"},
	}
	if relaxed {
		want[1].value = "0"
	}
	for _, w := range want {
		var got string
		if err := db.QueryRowContext(ctx, "PRAGMA "+w.pragma).Scan(&got); err != nil {
			return err
		}
		if !strings.EqualFold(got, w.value) {
			return fmt.Errorf("%w: the database setting %s is %s, it must be %s; the store was not opened", ErrDamaged, w.pragma, got, w.value)
		}
	}
	return nil
}

// quickCheck reads the whole file before anything is written to it.
func quickCheck(ctx context.Context, db *sql.DB, file string) error {
	var got string
	err := db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&got)
	if err == nil && got == "ok" {
		return nil
	}
	if err != nil {
		switch code := engineCode(err) & 0xff; code {
		case sqliteBusy, sqliteReadOnly, sqliteFull, sqliteCantOpen:
			return err // of the place, not of the file
		case sqliteNotADB:
			got = "it is no database"
		default:
			got = err.Error()
		}
	}
	return fmt.Errorf("%w: %s (%s). %s", ErrDamaged, file, got, mendBy(filepath.Dir(file)))
}

func migrate(ctx context.Context, db *sql.DB, dialect goose.Dialect, folder string) error {
	sub, err := fs.Sub(migrations.Files, folder)
	if err != nil {
		return err
	}
	opts := []goose.ProviderOption{goose.WithDisableGlobalRegistry(true)}
	if dialect == goose.DialectPostgres {
		l, err := lock.NewPostgresSessionLocker()
		if err != nil {
			return err
		}
		opts = append(opts, goose.WithSessionLocker(l))
	}
	p, err := goose.NewProvider(dialect, db, sub, opts...)
	if err != nil {
		return err
	}
	at, err := p.GetDBVersion(ctx)
	if err != nil {
		return fmt.Errorf("%w: its schema version can not be read: %v", ErrDamaged, err)
	}
	if at > SchemaVersion() {
		return fmt.Errorf("%w: schema %d, this program knows %d; install the newer program", ErrNewer, at, SchemaVersion())
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bringing the schema up to date: %w", err)
	}
	return nil
}

// secret reads the key file, or makes one of 32 random bytes.
func secret(path string) ([]byte, error) {
	b, err := os.ReadFile(path)
	if err == nil && len(b) == 32 {
		return b, nil
	}
	if err == nil {
		return nil, fmt.Errorf("%w: %s should hold 32 bytes and holds %d", ErrDamaged, path, len(b))
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	b = make([]byte, 32)
	rand.Read(b) // never fails
	return b, writeSecret(path, b)
}

// writeSecret has the key on the disk, whole, before anything is keyed by it: a power cut must not
// leave badges that nothing can check.
func writeSecret(path string, b []byte) error {
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(path+".new", path); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// Close lets waiting bookings finish, then closes the store.
func (s *Store) Close() error {
	s.closeOnce.Do(func() {
		if s.queue != nil {
			s.queue.stop()
		}
		s.shut()
	})
	return nil
}

func (s *Store) shut() {
	for i := len(s.pools) - 1; i >= 0; i-- {
		s.pools[i].Close()
	}
	if s.lock != nil {
		s.lock.Close()
	}
}

// Engine is "sqlite" or "postgres".
func (s *Store) Engine() string {
	if s.postgres {
		return "postgres"
	}
	return "sqlite"
}

// Now is the store's clock, UTC, whole milliseconds.
func (s *Store) Now() time.Time { return s.clock().UTC().Truncate(time.Millisecond) }

// Today is the shop's calendar day by the store's clock.
func (s *Store) Today() Day { return DayOf(s.clock()) }

// SetClock gives the store another clock: a demo that plays six months, and tests, move time.
// It must not be called while bookings wait.
func (s *Store) SetClock(clock func() time.Time) { s.clock = clock }
