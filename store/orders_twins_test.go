package store

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

// What is on hand and would do has exactly the joints of the part: the same ones and as many, in
// any order; not one more, one fewer, one of another size, or one of them twice.
func TestInsteadHasExactlyTheJoints(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 7)
		type joint struct {
			side, code string
			mm         any
		}
		all := []joint{{"machine", "A", nil}, {"machine", "A", 25.0}, {"workpiece", "A", nil}, {"workpiece", "B", 25.0}}
		rnd := rand.New(rand.NewPCG(7, 11))
		has := map[string][]joint{}
		var parts []Part
		for i := range 24 {
			p := s.bought(fmt.Sprintf("T-%02d", i), "insert", v, 1, 600, home, map[string]any{"seat": "DCMT11T3", "RE": 0.4, "edges": 2})
			s.receive(p, 1, home)
			parts = append(parts, p)
			s.must(s.write.Exec("DELETE FROM part_joints WHERE part_id = ?", p.ID).Error)
			for n := range 1 + rnd.IntN(3) {
				j := all[rnd.IntN(len(all))]
				has[p.Code] = append(has[p.Code], j)
				s.must(s.write.Exec("INSERT INTO part_joints (part_id, n, side, family, code, mm, gender) VALUES (?,?,?,'seat',?,?,'')", p.ID, n, j.side, j.code, j.mm).Error)
			}
		}
		holds := func(a, b []joint) bool {
			return !slices.ContainsFunc(a, func(j joint) bool { return !slices.Contains(b, j) })
		}
		pairs := 0
		for _, p := range parts {
			var want, got []string
			for _, o := range parts {
				if o.ID != p.ID && len(has[o.Code]) == len(has[p.Code]) && holds(has[p.Code], has[o.Code]) {
					want = append(want, o.Code)
				}
			}
			list, err := s.Instead(t.Context(), p.ID)
			s.must(err)
			for _, a := range list {
				if a.ID != p.ID {
					got = append(got, a.Code)
				}
			}
			pairs += len(want)
			if !slices.Equal(got, want) {
				t.Errorf("instead of %s with %v: %v, want %v", p.Code, has[p.Code], got, want)
			}
		}
		if pairs < 10 {
			t.Fatalf("only %d pairs; the test proves little", pairs)
		}
	})
}
