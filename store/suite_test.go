package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
)

// postgresURL names the server the second half of the suite runs on.
var postgresURL = os.Getenv("BRASSPEG_TEST_POSTGRES")

func TestMain(m *testing.M) {
	if postgresURL == "" {
		fmt.Println("SKIPPED: the PostgreSQL half of the store suite; BRASSPEG_TEST_POSTGRES names no server")
	}
	os.Exit(m.Run())
}

// A shop is a store on a real database with the people and places the tests ask for.
type shop struct {
	*Store
	t                      testing.TB
	opt                    Options
	clock                  *testClock
	admin, boss, gate, op1 Person // admin, manager, attendant, operator
}

type testClock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *testClock) now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.t }

func (c *testClock) step(d time.Duration) { c.mu.Lock(); defer c.mu.Unlock(); c.t = c.t.Add(d) }

// engines runs a test on each engine at hand.
func engines(t *testing.T, test func(*testing.T, *shop)) {
	t.Helper()
	t.Run("sqlite", func(t *testing.T) { test(t, newShop(t, false)) })
	if postgresURL != "" {
		t.Run("postgres", func(t *testing.T) { test(t, newShop(t, true)) })
	}
}

func newShop(t testing.TB, postgres bool) *shop {
	t.Helper()
	s := &shop{t: t, clock: &testClock{t: time.Date(2026, 3, 16, 8, 0, 0, 0, time.UTC)}}
	s.opt = Options{Dir: t.TempDir(), Create: true, Clock: s.clock.now}
	if postgres {
		s.opt.Postgres = newSchema(t)
	}
	s.open()
	t.Cleanup(func() { s.Close() })
	add := func(login string, r Role) Person {
		p, _, err := s.AddPerson(ctx, 0, PersonIn{Login: login, Name: strings.ToUpper(login[:1]) + login[1:], Role: r})
		s.must(err)
		return p
	}
	s.admin, s.boss, s.gate, s.op1 = add("ada", Admin), add("bo", Manager), add("gil", Attendant), add("opal", Operator)
	return s
}

// newSchema makes an empty schema and returns the URL that lives in it.
func newSchema(t testing.TB) string {
	t.Helper()
	name := "t" + strings.ToLower(rand.Text()[:12])
	db, err := sql.Open("pgx", postgresURL)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE SCHEMA " + name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		db.Exec("DROP SCHEMA " + name + " CASCADE")
		db.Close()
	})
	return postgresURL + "&search_path=" + name
}

var ctx = context.Background()

func (s *shop) open() {
	s.t.Helper()
	st, err := Open(ctx, s.opt)
	if err != nil {
		s.t.Fatal(err)
	}
	s.Store = st
}

// restart closes the store and opens it again.
func (s *shop) restart() {
	s.t.Helper()
	s.Close()
	s.open()
}

func (s *shop) must(err error) {
	s.t.Helper()
	if err != nil {
		s.t.Fatal(err)
	}
}

func (s *shop) bin(code string) PlaceID {
	s.t.Helper()
	p, err := s.AddPlace(ctx, Place{Code: code, Kind: Bin})
	s.must(err)
	return p.ID
}

// part saves a catalogue record from its flat columns.
func (s *shop) part(code, kind string, flat map[string]any) Part {
	s.t.Helper()
	flat["id"], flat["kind"] = code, kind
	in, err := PartFrom(flat, "entered")
	s.must(err)
	p, err := s.SavePart(ctx, s.boss.ID, in)
	s.must(err)
	return p
}

func (s *shop) sleeve(code string) Part {
	s.t.Helper()
	return s.part(code, "sleeve", map[string]any{"DCONMS": 50, "DCONWS": 32, "LSC": 130, "unit": "mm", "type": "split"})
}

func (s *shop) insert(code string, edges int) Part {
	s.t.Helper()
	return s.part(code, "insert", map[string]any{"seat": "CCMT09T3", "RE": 0.4, "edges": edges})
}

func op(by Person) Op { return Op{ID: rand.Text(), Actor: by.ID, Device: "test"} }

// receive takes qty in and returns the items made or grown.
func (s *shop) receive(p Part, qty int64, to PlaceID) []Item {
	s.t.Helper()
	r, err := s.Receive(ctx, op(s.gate), ReceiveIn{Part: p.ID, Qty: qty, To: to})
	s.must(err)
	var out []Item
	for _, l := range r.Lines {
		it, err := s.ItemByTag(ctx, l.Tag)
		s.must(err)
		out = append(out, it)
	}
	return out
}

// there is how many of an item a place holds.
func (s *shop) there(item ItemID, place PlaceID) int64 {
	s.t.Helper()
	var n int64
	s.must(s.read.Raw("SELECT qty FROM stock WHERE item_id = ? AND place_id = ?", item, place).Scan(&n).Error)
	return n
}

// sound fails the test unless verify finds nothing.
func (s *shop) sound() Report {
	s.t.Helper()
	rep, err := s.Verify(ctx)
	s.must(err)
	for _, f := range rep.Faults {
		s.t.Errorf("verify: %v", f)
	}
	return rep
}
