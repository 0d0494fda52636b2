package stack

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"sync"
	"testing"
)

// TestReadersAndAWriter: checks run while items come and go, and every answer is one that the
// shelf gave before or gives after a change: it is never seen half changed. Run it with -race.
func TestReadersAndAWriter(t *testing.T) {
	s, items := bigShop(300, 900)
	reqs := bigRequests(12)
	rnd := rand.New(rand.NewPCG(5, 5))
	// The writer takes an item off and lays it back, again and again.
	moving := items[:40]
	allowed := make([]map[string]bool, len(reqs))
	note := func() {
		for i, r := range reqs {
			v, err := s.Check(r)
			if err != nil {
				t.Fatal(err)
			}
			if allowed[i] == nil {
				allowed[i] = map[string]bool{}
			}
			allowed[i][fmt.Sprintf("%+v", v.Answer(""))] = true
		}
	}
	note()
	for _, it := range moving {
		s.Remove(it.ID)
		note()
		if err := s.Put(it); err != nil {
			t.Fatal(err)
		}
	}
	var readers, writer sync.WaitGroup
	done := make(chan struct{})
	writer.Go(func() {
		for {
			select {
			case <-done:
				return
			default:
			}
			it := moving[rnd.IntN(len(moving))]
			s.Remove(it.ID)
			if err := s.Put(it); err != nil {
				t.Error(err)
				return
			}
		}
	})
	for g := range 4 {
		readers.Go(func() {
			for i := range 40 {
				n := (g*7 + i) % len(reqs)
				v, err := s.Check(reqs[n])
				if err != nil {
					t.Error(err)
				} else if !allowed[n][fmt.Sprintf("%+v", v.Answer(""))] {
					t.Errorf("request %d: an answer that no state of the shelf gives: %s", n, v.Sentence())
				}
			}
		})
	}
	readers.Wait()
	close(done)
	writer.Wait()
}

// TestClassesForgetNothing: the few parts of each class that the search looks at give the same
// verdict, warnings and number of parts as all of them.
func TestClassesForgetNothing(t *testing.T) {
	different := 0
	for _, parts := range []int{400, 1500} {
		s, _ := bigShop(parts, 2*parts)
		for i, r := range bigRequests(60) {
			q := newSearch(s, &r, modeStrict, 1)
			few := q.run()
			all := newSearch(s, &r, modeStrict, 1)
			all.whole = true
			want := all.run()
			if len(few) != len(want) {
				t.Fatalf("%d parts, request %d: %d stacks, %d when all parts are looked at", parts, i, len(few), len(want))
			}
			if len(few) == 0 {
				continue
			}
			a, b := &few[0], &want[0]
			if x, y := []float64{float64(a.warn.count()), float64(a.n), a.d, a.set}, []float64{float64(b.warn.count()), float64(b.n), b.d, b.set}; !reflect.DeepEqual(x, y) {
				t.Fatalf("%d parts, request %d: warnings, parts, diameter, overhang %v, want %v", parts, i, x, y)
			}
			if q.looked < all.looked {
				different++
			}
		}
	}
	if different == 0 {
		t.Error("no search looked at fewer parts: the classes prove nothing")
	}
}

// TestToldForgetsNothing: the stacks passed over because a better one tells the same never were
// among those to be told, and the sizes of what is missing are those of each stack itself.
func TestToldForgetsNothing(t *testing.T) {
	few, many := 0, 0
	for i := range twinTrials(t) / 3 {
		m := &maker{Rand: rand.New(rand.NewPCG(12, uint64(i)))}
		r, items := m.request(), m.shelf()
		if i%3 == 0 {
			r, items = m.linkShelf()
		}
		var book []*Part
		for range m.IntN(12) {
			p := m.part(pick(m, Holder, Sleeve, Bar, Head, Insert, Hose, Fitting, Adapter))
			p.Code = fmt.Sprintf("C-%d", m.n)
			book = append(book, p)
		}
		s, err := NewShelf(items, book)
		if err != nil {
			t.Fatal(err)
		}
		if len(newSearch(s, &r, modeStrict, 1).run()) > 0 {
			continue // nothing is missing
		}
		told := func(plain bool) (out []string) {
			q := newSearch(s, &r, modeMissing, searchWide)
			q.plain = plain
			for _, x := range q.run() {
				line := fmt.Sprint(x.cost, x.warn.codes(), q.spellMissing(&x))
				for _, c := range x.pieces() {
					line += " " + c.name()
				}
				out = append(out, line)
			}
			if plain {
				many += q.evals
			} else {
				few += q.evals
			}
			return out
		}
		if got, want := told(false), told(true); !reflect.DeepEqual(got, want) {
			t.Fatalf("trial %d: told\n%q\nwith every stack looked at\n%q\n%s", i, got, want, dump(r, items))
		}
	}
	t.Logf("%d stacks built, %d when none is passed over", few, many)
	if few >= many && !testing.Short() { // the first shelves have few parts, and little to pass over
		t.Error("no stack was passed over: the test proves nothing")
	}
}
