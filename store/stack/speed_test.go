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
			if len(q.cands) < len(all.cands) {
				different++
			}
		}
	}
	if different == 0 {
		t.Error("no search looked at fewer parts: the classes prove nothing")
	}
}
