package store

import (
	"bufio"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// TestKill kills a process with -9 in the middle of its bookings, five times on one store:
// every booking it was told about must be there, whole, and the store must hold together.
// It shows what a crash of the program does; a power cut is another matter.
func TestKill(t *testing.T) {
	if dir := os.Getenv("BRASSPEG_TEST_KILL_DIR"); dir != "" {
		bookUntilKilled(t, dir)
		return
	}
	s := newShop(t, false)
	bin := s.bin("A1")
	it := s.receive(s.insert("INS-1", 2), 1_000_000, bin)[0]
	for round := range 5 {
		s.Close()
		told := killedAfter(t, s.opt.Dir, 40+20*round)
		s.open()
		for _, id := range told {
			o, ok, err := opOf(s.Store, id)
			s.must(err)
			if !ok || o.Lines != 2 {
				t.Fatalf("round %d: op %s was answered, but after the kill it has %d lines", round, id, o.Lines)
			}
		}
		rep := s.sound()
		if got := s.there(it.ID, bin); got != 1_000_000-(rep.Movements-1) {
			t.Errorf("round %d: %d movements, but %d are left", round, rep.Movements, got)
		}
	}
}

func opOf(s *Store, id string) (opRow, bool, error) {
	var o opRow
	r := s.read.Where("op_id = ?", id).Limit(1).Find(&o)
	return o, r.RowsAffected > 0, r.Error
}

// killedAfter runs the other half in a process of its own and kills it once it has told n
// op ids; it returns all it told.
func killedAfter(t *testing.T, dir string, n int) []string {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run", "^TestKill$")
	cmd.Env = append(os.Environ(), "BRASSPEG_TEST_KILL_DIR="+dir, "BRASSPEG_TEST_POSTGRES=")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var told []string
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if id, ok := strings.CutPrefix(lines.Text(), "booked "); ok {
			if told = append(told, id); len(told) == n {
				if err := cmd.Process.Kill(); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	_ = cmd.Wait() // it was killed
	if len(told) < n {
		t.Fatalf("the other process told %d bookings, %d wanted", len(told), n)
	}
	return told
}

func bookUntilKilled(t *testing.T, dir string) {
	s, err := Open(ctx, Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	var who, hands, place int64
	row := s.read.Raw("SELECT id, place_id FROM people WHERE role = 'attendant'").Row()
	if err := row.Scan(&who, &hands); err != nil {
		t.Fatal(err)
	}
	if err := s.read.Raw("SELECT id FROM places WHERE code = 'A1'").Row().Scan(&place); err != nil {
		t.Fatal(err)
	}
	var item int64
	if err := s.read.Raw("SELECT min(id) FROM items").Row().Scan(&item); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var wg sync.WaitGroup
	for client := range 8 {
		wg.Go(func() {
			for n := range 2000 {
				o := Op{ID: "kill-" + strconv.Itoa(os.Getpid()) + "-" + strconv.Itoa(client) + "-00000" + strconv.Itoa(n), Actor: PersonID(who)}
				p := Pick{Item: ItemID(item), Place: PlaceID(place), Qty: 1}
				if _, err := s.Issue(ctx, o, IssueIn{Picks: []Pick{p, p}, To: PlaceID(hands)}); err == nil {
					mu.Lock()
					fmt.Println("booked " + o.ID)
					mu.Unlock()
				}
			}
		})
	}
	wg.Wait()
}

// A backup taken under load opens, is whole, and holds every booking answered before it began.
func TestBackupUnderLoad(t *testing.T) {
	s := newShop(t, false)
	bin := s.bin("A1")
	it := s.receive(s.insert("INS-1", 2), 1_000_000, bin)[0]
	stop := make(chan struct{})
	var wg sync.WaitGroup
	var mu sync.Mutex
	var told []string
	for range 4 {
		wg.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				o := op(s.gate)
				if _, err := s.Issue(ctx, o, IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID}); err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				told = append(told, o.ID)
				mu.Unlock()
			}
		})
	}
	for i := range 5 {
		mu.Lock()
		before := len(told)
		mu.Unlock()
		dir := t.TempDir()
		file := dir + "/copy.db"
		m, err := Backup(ctx, s.opt.Dir, file)
		s.must(err)
		if _, err := Restore(ctx, file, dir+"/restored"); err != nil {
			t.Fatal(err)
		}
		c, err := Open(ctx, Options{Dir: dir + "/restored"})
		s.must(err)
		rep, err := c.Verify(ctx)
		s.must(err)
		if len(rep.Faults) > 0 || rep.HeadSeq != m.Seq || rep.Head != m.Hash {
			t.Errorf("backup %d: %v, ends at %d, the manifest says %d", i, rep.Faults, rep.HeadSeq, m.Seq)
		}
		mu.Lock()
		want := told[:before]
		mu.Unlock()
		for _, id := range want {
			if _, ok, err := opOf(c, id); err != nil || !ok {
				t.Fatalf("backup %d lacks op %s, answered before it began (%v)", i, id, err)
			}
		}
		c.Close()
	}
	close(stop)
	wg.Wait()
}

// A restore over a store in use is refused, and a text file is not a backup.
func TestRestoreRefuses(t *testing.T) {
	s := newShop(t, false)
	file := t.TempDir() + "/copy.db"
	_, err := Backup(ctx, s.opt.Dir, file)
	s.must(err)
	if _, err := Restore(ctx, file, s.opt.Dir); err == nil {
		t.Error("a restore over a store in use was let through")
	}
	junk := t.TempDir() + "/junk.db"
	s.must(os.WriteFile(junk, []byte("this is not a store\n"), 0o600))
	if _, err := Restore(ctx, junk, t.TempDir()); err == nil {
		t.Error("a text file was restored")
	}
	if _, err := Backup(ctx, s.opt.Dir, file); err == nil {
		t.Error("a backup was written over another")
	}
}

// A sound database with no shop in it is not taken for one: an init was cut off there.
func TestEmptyDatabaseIsNoShop(t *testing.T) {
	dir := t.TempDir()
	db, err := sql.Open(sqliteDriver, sqliteDSN(filepath.Join(dir, "brasspeg.db"), false, true))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE goose_db_version (id INTEGER PRIMARY KEY, version_id INTEGER NOT NULL, is_applied INTEGER NOT NULL, tstamp TEXT)"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	if _, err := Open(ctx, Options{Dir: dir}); !errors.Is(err, ErrDamaged) {
		t.Errorf("opened: %v", err)
	}
}
