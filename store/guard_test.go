//go:build unix

package store

import (
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// wantSays fails the test unless err is of its class and names all of words.
func wantSays(t *testing.T, err, class error, words ...string) {
	t.Helper()
	if !errors.Is(err, class) {
		t.Fatalf("%v; want %v", err, class)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%q does not say %q", err, w)
		}
	}
}

func sumOf(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x %d", sha256.Sum256(b), len(b))
}

// closedShop is a folder with a store in it that nobody has open.
func closedShop(t *testing.T) (dir, file string) {
	t.Helper()
	s := newShop(t, false)
	s.receive(s.insert("INS-1", 2), 1000, s.bin("A1"))
	s.Close()
	return s.opt.Dir, filepath.Join(s.opt.Dir, "brasspeg.db")
}

// A file that is short, empty, text, or another program's is told for what it is, with the way
// back, and not one byte of it changes, neither by serve nor by init.
func TestStrangeFilesStayAsTheyAre(t *testing.T) {
	foreign := func(file string) error {
		os.Remove(file)
		db, err := sql.Open(sqliteDriver, sqliteDSN(file, false, true))
		if err != nil {
			return err
		}
		defer db.Close()
		_, err = db.Exec("CREATE TABLE recipes (n INTEGER) STRICT; CREATE TABLE goose_db_version (id INTEGER PRIMARY KEY AUTOINCREMENT, version_id INTEGER NOT NULL, is_applied INTEGER NOT NULL, tstamp TIMESTAMP DEFAULT (datetime('now'))); INSERT INTO goose_db_version (version_id, is_applied) VALUES (0, 1), (1, 1)")
		return err
	}
	for _, tt := range []struct {
		name   string
		break_ func(file string) error
		class  error
		words  []string
		init   bool // an init is refused too
	}{
		{"cut in half", func(f string) error {
			st, err := os.Stat(f)
			if err != nil {
				return err
			}
			return os.Truncate(f, st.Size()/2)
		}, ErrDamaged, []string{"brasspeg.db", "Nothing was written", "brasspeg restore --data "}, true},
		{"cut inside a page", func(f string) error { return os.Truncate(f, 5000) }, ErrDamaged, []string{"brasspeg restore --data "}, true},
		{"empty", func(f string) error { return os.Truncate(f, 0) }, ErrDamaged, []string{"is empty", "brasspeg restore --data "}, false},
		{"text", func(f string) error {
			return os.WriteFile(f, []byte(strings.Repeat("the minutes of the meeting\n", 500)), 0o600)
		}, ErrDamaged, []string{"it is no database", "brasspeg restore --data "}, true},
		{"another program's", foreign, ErrForeign, []string{"recipes", "no ledger", "of its own"}, true},
		{"zeros in the middle", func(f string) error {
			b, err := os.ReadFile(f)
			if err != nil {
				return err
			}
			for i := 4096 * 3; i < 4096*30 && i < len(b); i++ {
				b[i] = 0
			}
			return os.WriteFile(f, b, 0o600)
		}, ErrDamaged, []string{"brasspeg restore --data "}, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir, file := closedShop(t)
			if err := tt.break_(file); err != nil {
				t.Fatal(err)
			}
			was := sumOf(t, file)
			for _, create := range []bool{false, true} {
				if create && !tt.init {
					continue
				}
				s, err := Open(ctx, Options{Dir: dir, Create: create})
				if err == nil {
					s.Close()
				}
				wantSays(t, err, tt.class, tt.words...)
				if now := sumOf(t, file); now != was {
					t.Errorf("the file was %s and is %s (init: %v)", was, now, create)
				}
			}
		})
	}
}

// A PostgreSQL database with no shop in it is not made one by serving it, and one with another
// program's tables is left alone by init as well.
func TestPostgresOfAnother(t *testing.T) {
	if postgresURL == "" {
		t.Skip("SKIPPED: BRASSPEG_TEST_POSTGRES names no server")
	}
	o := Options{Dir: t.TempDir(), Postgres: newSchema(t)}
	_, err := Open(ctx, o)
	wantSays(t, err, ErrNoStore, "brasspeg init --db")
	db, err := sql.Open("pgx", o.Postgres)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("CREATE TABLE recipes (n int)"); err != nil {
		t.Fatal(err)
	}
	for _, o.Create = range []bool{false, true} {
		_, err := Open(ctx, o)
		wantSays(t, err, ErrForeign, "recipes", "of its own")
	}
	var n int
	if err := db.QueryRow("SELECT count(*) FROM information_schema.tables WHERE table_schema = current_schema()").Scan(&n); err != nil || n != 1 {
		t.Errorf("%d tables in another program's database, %v; want its one", n, err)
	}
}

// A store whose guards somebody took away is refused with the name of what is gone.
func TestMissingGuardIsRefused(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		q := "DROP TRIGGER movements_keep"
		if s.postgres {
			q += " ON movements"
		}
		s.must(s.write.Exec(q).Error)
		s.Close()
		_, err := Open(ctx, s.opt)
		wantSays(t, err, ErrDamaged, "the trigger movements_keep is missing", "backup")
	})
}

// The folder of a store in use, by another Brasspeg or by another program, is named as such.
func TestFolderInUse(t *testing.T) {
	s := newShop(t, false)
	_, err := Open(ctx, Options{Dir: s.opt.Dir})
	wantSays(t, err, ErrLocked, s.opt.Dir, "another Brasspeg", "stop that one first")
	s.Close()
	db, err := sql.Open(sqliteDriver, "file:"+filepath.Join(s.opt.Dir, "brasspeg.db")+"?_busy_timeout=10")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	for _, q := range []string{"PRAGMA locking_mode = exclusive", "BEGIN EXCLUSIVE", "UPDATE settings SET value = value"} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	_, err = Open(ctx, Options{Dir: s.opt.Dir})
	wantSays(t, err, ErrLocked, s.opt.Dir, "another program has the database", "end it")
}

// A folder or a file that Brasspeg's user may not write is named with whose it is.
func TestFolderOfAnotherUser(t *testing.T) {
	if dir := os.Getenv("BRASSPEG_TEST_OTHER_DIR"); dir != "" { // the other half: as another user
		_, err := Open(ctx, Options{Dir: dir, Create: os.Getenv("BRASSPEG_TEST_OTHER_INIT") != ""})
		fmt.Printf("answer %v: %v\n", errors.Is(err, ErrFolder), err)
		return
	}
	if os.Geteuid() != 0 {
		t.Skip("SKIPPED: only root can start a program as another user")
	}
	const nobody = 65534
	as := func(dir string, init bool) string {
		t.Helper()
		exe := filepath.Join(t.TempDir(), "half")
		b, err := os.ReadFile(os.Args[0])
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(exe, b, 0o755); err != nil {
			t.Fatal(err)
		}
		for d := filepath.Dir(exe); d != os.TempDir() && d != "/"; d = filepath.Dir(d) {
			if err := os.Chmod(d, 0o755); err != nil {
				t.Fatal(err)
			}
		}
		cmd := exec.Command(exe, "-test.run", "^TestFolderOfAnotherUser$")
		cmd.Dir = filepath.Dir(exe)
		cmd.Env = append(os.Environ(), "BRASSPEG_TEST_OTHER_DIR="+dir, "BRASSPEG_TEST_POSTGRES=")
		if init {
			cmd.Env = append(cmd.Env, "BRASSPEG_TEST_OTHER_INIT=1")
		}
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return string(out)
	}
	wants := func(what, got string, words ...string) {
		t.Helper()
		for _, w := range append(words, "answer true", "for writing", fmt.Sprintf("user %d", nobody)) {
			if !strings.Contains(got, w) {
				t.Errorf("%s: %q does not say %q", what, got, w)
			}
		}
	}
	open := func(dir string) {
		t.Helper()
		for d := dir; d != os.TempDir() && d != "/"; d = filepath.Dir(d) {
			if err := os.Chmod(d, 0o755); err != nil {
				t.Fatal(err)
			}
		}
	}
	dir, file := closedShop(t)
	was := sumOf(t, file)
	open(dir)
	wants("a folder of root's", as(dir, false), dir, "belongs to user 0")
	wants("a new shop in a folder of root's", as(filepath.Join(dir, "new"), true), "may not write in")

	// the folder is his, and the file is root's
	for _, f := range []string{dir, filepath.Join(dir, "brasspeg.lock"), filepath.Join(dir, "secret.key")} {
		if err := os.Chown(f, nobody, nobody); err != nil {
			t.Fatal(err)
		}
	}
	wants("a file of root's that can not be read", as(dir, false), "brasspeg.db belongs to user 0")
	if err := os.Chmod(file, 0o644); err != nil {
		t.Fatal(err)
	}
	wants("a file of root's that can be read", as(dir, false), "brasspeg.db belongs to user 0")
	if now := sumOf(t, file); now != was {
		t.Errorf("the file was %s and is %s", was, now)
	}
	s, err := Open(ctx, Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if rep, err := s.Verify(ctx); err != nil || len(rep.Faults) > 0 {
		t.Errorf("%v %v", rep.Faults, err)
	}
}

// fill books until the disk is full, four at once, and checks that what was answered as booked is
// there, what was answered as not booked is not, and that it says why; then makes room and books on.
func fillUp(t *testing.T, s *shop, it Item, room func()) {
	t.Helper()
	var mu sync.Mutex
	booked, refused := map[string]bool{}, map[string]error{}
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 3000 {
				o := op(s.gate)
				_, err := s.Issue(ctx, o, IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID, Note: strings.Repeat("n", 100)})
				mu.Lock()
				if err == nil {
					booked[o.ID] = true
				} else {
					refused[o.ID] = err
				}
				full := len(refused) > 20
				mu.Unlock()
				if full {
					return
				}
			}
		})
	}
	wg.Wait()
	if len(refused) == 0 {
		t.Fatal("the disk never got full")
	}
	unknown := 0
	for id, err := range refused {
		_, there, no := s.Booked(ctx, id)
		s.must(no)
		switch {
		case errors.Is(err, ErrUnknown):
			unknown++
		case !errors.Is(err, ErrNoRoom) || !strings.Contains(err.Error(), "make room"):
			t.Errorf("refused with %v", err)
		case there:
			t.Errorf("%s was answered as not booked, and is", id)
		}
	}
	for id := range booked {
		if _, there, err := s.Booked(ctx, id); err != nil || !there {
			t.Errorf("%s was answered as booked, and is not (%v)", id, err)
		}
	}
	t.Logf("%d booked, %d refused, of %d it was not known", len(booked), len(refused), unknown)
	room()
	for id := range refused { // the same op again
		_, err := s.Issue(ctx, Op{ID: id, Actor: s.gate.ID, Device: "test"}, IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID, Note: strings.Repeat("n", 100)})
		s.must(err)
	}
	if got, want := s.there(it.ID, s.op1.PlaceID), int64(len(booked)+len(refused)); got != want {
		t.Errorf("%d are out, %d were booked", got, want)
	}
	s.sound()
	s.restart()
	s.sound()
}

// A full disk refuses bookings with the reason, loses none, and goes on when there is room: once
// with the engine's own limit on pages, once on a file system of 3 MB.
func TestFullDisk(t *testing.T) {
	t.Run("pages", func(t *testing.T) {
		s := newShop(t, false)
		it := s.receive(s.insert("INS-1", 2), 100_000, s.bin("A1"))[0]
		var n int
		s.must(s.write.Raw("PRAGMA page_count").Scan(&n).Error)
		s.must(s.write.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", n+100)).Error)
		fillUp(t, s, it, func() { s.must(s.write.Exec("PRAGMA max_page_count = 1000000").Error) })
	})
	t.Run("tmpfs", func(t *testing.T) {
		dir := t.TempDir()
		if err := mountTmpfs(dir, "size=3m"); err != nil {
			t.Skipf("SKIPPED: no file system of a given size can be mounted here: %v", err)
		}
		s := &shop{t: t, clock: &testClock{t: time.Date(2026, 3, 16, 8, 0, 0, 0, time.UTC)}}
		s.opt = Options{Dir: dir, Create: true, Clock: s.clock.now}
		t.Cleanup(func() { s.Close(); unmount(dir) })
		s.open()
		add := func(login string, r Role) Person {
			p, _, err := s.AddPerson(ctx, 0, PersonIn{Login: login, Name: login, Role: r})
			s.must(err)
			return p
		}
		s.boss, s.gate, s.op1 = add("bo", Manager), add("gil", Attendant), add("opal", Operator)
		it := s.receive(s.insert("INS-1", 2), 100_000, s.bin("A1"))[0]
		fillUp(t, s, it, func() {
			if err := remountTmpfs(dir, "size=64m"); err != nil {
				t.Fatal(err)
			}
		})
	})
	t.Run("at the start", func(t *testing.T) {
		dir := t.TempDir()
		if err := mountTmpfs(dir, "size=64k"); err != nil {
			t.Skipf("SKIPPED: no file system of a given size can be mounted here: %v", err)
		}
		t.Cleanup(func() { unmount(dir) })
		_, err := Open(ctx, Options{Dir: dir, Create: true})
		wantSays(t, err, ErrNoRoom, dir, "Make room there")
		if err := remountTmpfs(dir, "size=64m"); err != nil {
			t.Fatal(err)
		}
		s, err := Open(ctx, Options{Dir: dir, Create: true}) // the init that was cut off goes on
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if rep, err := s.Verify(ctx); err != nil || len(rep.Faults) > 0 {
			t.Errorf("%v %v", rep.Faults, err)
		}
	})
	t.Run("read only", func(t *testing.T) {
		dir := t.TempDir()
		if err := mountTmpfs(dir, "size=64m"); err != nil {
			t.Skipf("SKIPPED: no file system can be mounted here: %v", err)
		}
		t.Cleanup(func() { unmount(dir) })
		s, err := Open(ctx, Options{Dir: dir, Create: true})
		if err != nil {
			t.Fatal(err)
		}
		s.Close()
		if err := remountTmpfs(dir, "ro"); err != nil {
			t.Fatal(err)
		}
		_, err = Open(ctx, Options{Dir: dir})
		wantSays(t, err, ErrFolder, dir, "for reading only", "for writing")
	})
}

// A store is copied before its schema is changed, and the copy is the older program's.
func TestCopyBeforeUpgrade(t *testing.T) {
	o, db := oldShop(t, false)
	db.Close()
	s, err := Open(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	m, err := inspect(ctx, filepath.Join(o.Dir, "before-schema-7.db"))
	if err != nil || m.Schema != 6 || m.Seq != 4406 {
		t.Errorf("%+v, %v; want the store as it was", m, err)
	}
}
