//go:build !mattn && (amd64 || arm64)

package store

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"

	"brasspeg/store/life"
)

// A blackout cuts the power of a working store again and again and looks at what is left.
type blackout struct {
	t    *testing.T
	disk *cutDisk
	opt  Options
	rnd  *rand.Rand

	mu   sync.Mutex
	told []string // op ids in the order in which somebody was told "booked"

	looks  chan *cut
	done   sync.WaitGroup
	lost   atomic.Int64 // bookings that were told and are not there
	broken atomic.Int64 // cuts after which the store would not open, or did not hold together
	asked  atomic.Int64 // bookings looked for
	why    sync.Map     // what was wrong
}

// TestPowerCut books with 8 clients, who sometimes undo, log an edge or are refused, and cuts the
// power 50 times with all that was not synced gone and 50 times with parts of it torn: each time
// what was answered "booked" before must be there, and verify must be clean. Then the same with
// commits that do not wait for the disk, which has to lose: a drill that can not fail shows
// nothing.
//
// In short runs (the race detector's) there are 6 cuts.
func TestPowerCut(t *testing.T) {
	cuts := 100
	if testing.Short() {
		cuts = 6
	}
	b := blackouts(t, false, cuts)
	if n := b.lost.Load(); n > 0 {
		t.Errorf("%d bookings were told and lost", n)
	}
	if n := b.broken.Load(); n > 0 {
		t.Errorf("%d of %d cuts left a store that does not hold together", n, cuts)
	}
	b.why.Range(func(k, _ any) bool { t.Error(k); return true })
	if n := b.disk.synced["brasspeg.db"]; n < 2 && cuts == 100 {
		t.Errorf("the log was copied into the database %d times only; the cuts have not met it", n)
	}
	t.Logf("%d bookings, of which %d were looked for in %d cuts; %d writes and syncs, %d syncs of the log, %d of the database",
		len(b.told), b.asked.Load(), cuts, b.disk.events, b.disk.synced["brasspeg.db-wal"], b.disk.synced["brasspeg.db"])
	if b.asked.Load() < 20_000 && cuts == 100 {
		t.Errorf("only %d bookings were looked for", b.asked.Load())
	}
}

func TestPowerCutLosesWithoutSync(t *testing.T) {
	b := blackouts(t, true, 6)
	if b.lost.Load() == 0 && b.broken.Load() == 0 {
		t.Error("commits that do not wait for the disk lost nothing: the drill sees nothing")
	}
	t.Logf("%d of %d lost, %d of 6 stores unusable", b.lost.Load(), b.asked.Load(), b.broken.Load())
}

// blackouts runs the drill with so many cuts.
func blackouts(t *testing.T, relaxed bool, cuts int) *blackout {
	t.Helper()
	dir := t.TempDir()
	b := &blackout{t: t, disk: &cutDisk{dir: dir}, opt: Options{Dir: dir, Create: true, Relaxed: relaxed}, rnd: rand.New(rand.NewPCG(5, uint64(cuts))), looks: make(chan *cut, 2)}
	b.disk.play(t)
	s, err := Open(ctx, b.opt)
	if err != nil {
		t.Fatal(err)
	}
	sh := &shop{Store: s, t: t}
	add := func(login string, r Role) Person {
		p, _, err := s.AddPerson(ctx, 0, PersonIn{Login: login, Name: login, Role: r})
		sh.must(err)
		return p
	}
	sh.boss, sh.gate, sh.op1 = add("bo", Manager), add("gil", Attendant), add("opal", Operator)
	bench := newBench(sh, 4)
	sh.receive(bench.ins, 1000, bench.bin)
	for range 2 {
		b.done.Go(b.look)
	}
	// From here the power goes: every so many events, in the middle of a commit or between two.
	lefts, next, n := t.TempDir(), 40, 0
	b.disk.mu.Lock()
	from := b.disk.events
	b.disk.at = func(event int) *cut {
		if n == cuts || event-from < next {
			return nil
		}
		n++
		next = event - from + 20 + b.rnd.IntN(200)
		b.mu.Lock()
		c := &cut{to: filepath.Join(lefts, strconv.Itoa(n)), torn: n%2 == 0, rnd: rand.New(rand.NewPCG(uint64(n), 7)), told: len(b.told)}
		b.mu.Unlock()
		if err := os.Mkdir(c.to, 0o700); err != nil {
			panic(err)
		}
		return c
	}
	b.disk.left = func(c *cut) { b.looks <- c }
	b.disk.mu.Unlock()
	end := func() bool { b.disk.mu.Lock(); defer b.disk.mu.Unlock(); return n == cuts }
	var clients sync.WaitGroup
	for client := range 8 {
		clients.Go(func() { b.work(sh, bench, client, end) })
	}
	clients.Wait()
	b.disk.mu.Lock()
	b.disk.at = nil
	b.disk.mu.Unlock()
	close(b.looks)
	b.done.Wait()
	sh.sound()
	sh.must(s.Close())
	return b
}

// work books until the last cut, and tells what it was told.
func (b *blackout) work(s *shop, bench *bench, client int, end func() bool) {
	stations := []Station{bench.st, bench.st2}
	last := ""
	for i := 0; !end(); i++ {
		o := Op{ID: fmt.Sprintf("cut-%02d-%08d-%02d", client, i, client), Actor: s.gate.ID, Device: "drill"}
		var err error
		switch {
		case client < 2 && i%4 == 0:
			o.Actor = s.op1.ID
			_, err = s.LogEdge(ctx, o, EdgeIn{Station: stations[client].ID, Item: bench.box.ID, Parts: 1 + i%9, Reason: life.Worn, Why: "drill"})
		case i%7 == 3 && last != "":
			_, err = s.Reverse(ctx, Op{ID: o.ID, Actor: s.boss.ID}, last, "drill")
		case i%11 == 5: // refused: its neighbours in the same commit are not
			if _, err := s.Issue(ctx, o, IssueIn{Picks: []Pick{{Item: bench.box.ID, Place: bench.bin, Qty: 1_000_000}}, To: s.op1.PlaceID}); !errors.Is(err, ErrShort) {
				b.why.Store(fmt.Sprintf("a million were asked for: %v", err), true)
			}
			continue
		default:
			p := Pick{Item: bench.box.ID, Place: bench.bin, Qty: 1}
			_, err = s.Issue(ctx, o, IssueIn{Picks: []Pick{p, p}, To: s.op1.PlaceID})
			last = o.ID
		}
		switch {
		case err == nil:
			b.mu.Lock()
			b.told = append(b.told, o.ID)
			b.mu.Unlock()
		case !errors.Is(err, ErrShort) && !errors.Is(err, ErrReversed) && !errors.Is(err, ErrBusy):
			b.why.Store(fmt.Sprintf("a booking of the drill: %v", err), true)
		}
	}
}

// look opens what a cut left, as somebody would after the power came back.
func (b *blackout) look() {
	for c := range b.looks {
		if err := b.lookAt(c); err != nil {
			b.broken.Add(1)
			b.why.Store(fmt.Sprintf("after %d bookings, torn %v: %v", c.told, c.torn, err), true)
		}
		_ = os.RemoveAll(c.to)
	}
}

func (b *blackout) lookAt(c *cut) error {
	s, err := Open(ctx, Options{Dir: c.to, Relaxed: true})
	if err != nil {
		return err
	}
	defer s.Close()
	rep, err := s.Verify(ctx)
	if err != nil {
		return err
	}
	if len(rep.Faults) > 0 {
		return fmt.Errorf("%d faults, the first: %v", len(rep.Faults), rep.Faults[0])
	}
	var ids []string
	if err := s.read.Raw("SELECT op_id FROM ops").Scan(&ids).Error; err != nil {
		return err
	}
	there := make(map[string]bool, len(ids))
	for _, id := range ids {
		there[id] = true
	}
	b.mu.Lock()
	told := b.told[:c.told]
	b.mu.Unlock()
	b.asked.Add(int64(len(told)))
	for _, id := range told {
		if !there[id] {
			b.lost.Add(1)
		}
	}
	return nil
}

// A shop that lost the power while it was made is made again, on whatever was left.
func TestPowerCutAtFirstStart(t *testing.T) {
	dir, lefts, every := t.TempDir(), t.TempDir(), 13
	if testing.Short() {
		every = 101
	}
	d := &cutDisk{dir: dir}
	var cuts []*cut
	d.at = func(event int) *cut {
		if event%every != 1 {
			return nil
		}
		c := &cut{to: filepath.Join(lefts, strconv.Itoa(event)), torn: event%2 == 0, rnd: rand.New(rand.NewPCG(uint64(event), 11))}
		if err := os.Mkdir(c.to, 0o700); err != nil {
			panic(err)
		}
		return c
	}
	d.left = func(c *cut) { cuts = append(cuts, c) }
	d.play(t)
	s, err := Open(ctx, Options{Dir: dir, Create: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for _, c := range cuts {
		left, err := Open(ctx, Options{Dir: c.to, Create: true, Relaxed: true})
		if err != nil {
			t.Errorf("torn %v: %v", c.torn, err)
			continue
		}
		if rep, err := left.Verify(ctx); err != nil || len(rep.Faults) > 0 {
			t.Errorf("torn %v: %v, %v", c.torn, rep.Faults, err)
		}
		left.Close()
	}
	t.Logf("%d cuts in %d events", len(cuts), d.events)
	if len(cuts) < 280/every {
		t.Errorf("only %d cuts", len(cuts))
	}
}
