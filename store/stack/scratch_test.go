package stack

import (
	"encoding/json"
	"math/rand/v2"
	"sync"
	"testing"

	"pgregory.net/rapid"
)

// A verdict stays what it was while the memory of its search serves other searches, on other
// shelves, at the same time.
func TestVerdictOutlivesItsSearch(t *testing.T) {
	type told struct {
		v    Verdict
		text string
	}
	write := func(v *Verdict) string {
		b, err := json.Marshal(struct {
			V Verdict
			A Answer
		}{*v, v.Answer("x")})
		if err != nil {
			t.Error(err)
		}
		return string(b)
	}
	var group sync.WaitGroup
	for w := range 4 {
		group.Go(func() {
			var all []told
			yes := 0
			for i := range 60 {
				m := &maker{Rand: rand.New(rand.NewPCG(21, uint64(100*w+i)))}
				r, items := m.request(), m.shelf()
				s, err := NewShelf(items, nil)
				if err != nil {
					t.Error(err)
					return
				}
				v, err := s.Check(r)
				if err != nil {
					t.Error(err)
					return
				}
				s.Easier(r, &v)
				if v.Buildable {
					yes++
				}
				all = append(all, told{v, write(&v)})
			}
			for i := range all {
				if now := write(&all[i].v); now != all[i].text {
					t.Errorf("verdict %d of %d has become\n%s\nand was\n%s", i, w, now, all[i].text)
				}
			}
			if yes == 0 || yes == len(all) {
				t.Errorf("%d of %d can be built: nothing is compared", yes, len(all))
			}
		})
	}
	group.Wait()
}

// What a pile hands out until it is cleared is nobody else's, whatever the sizes.
func TestPileHandsOutOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p pile[int]
		for range rapid.IntRange(1, 3).Draw(t, "rounds") {
			var given [][]int
			for i, n := range rapid.SliceOfN(rapid.IntRange(0, 3*pileBlock), 1, 40).Draw(t, "sizes") {
				list := p.take(n)
				if len(list) != n || cap(list) != n {
					t.Fatalf("asked for %d, got %d with room for %d", n, len(list), cap(list))
				}
				for j := range list {
					list[j] = i
				}
				given = append(given, list)
			}
			for i, list := range given {
				for _, v := range list {
					if v != i {
						t.Fatalf("list %d holds what was written to list %d", i, v)
					}
				}
			}
			p.clear()
		}
	})
}
