package store

import (
	"cmp"
	"slices"

	"brasspeg/store/stack"
)

// A ToolOrder is the order of the planned jobs of one machine that moves the fewest tools.
type ToolOrder struct {
	Machine string
	Planned []string // job codes by first day
	Better  []string // in the order that moves fewest; equal to Planned when that is as good
	Moves   int      // tools put in or taken out between the jobs, as planned
	Fewest  int      // in the better order
	Stays   [][]string
}

// Saves is how many tool moves the better order saves.
func (t *ToolOrder) Saves() int { return t.Moves - t.Fewest }

// orderLimit is the most jobs of a machine that are ordered exactly; above it each next job is
// the one with the fewest moves from the last.
const orderLimit = 12

// FewestMoves orders jobs so that the fewest tools are put in or taken out between them. Each
// set names the tools of a job; the first of equal orders by the order given is chosen. The
// first loading and the last unloading are not counted: every order needs them.
//
// Up to 12 jobs the answer is exact (dynamic programming over subsets); above, greedy.
func FewestMoves(sets [][]string) (order []int, moves int) {
	n := len(sets)
	if n == 0 {
		return nil, 0
	}
	d := make([][]int, n)
	for i := range sets {
		d[i] = make([]int, n)
		for j := range sets {
			d[i][j] = apart(sets[i], sets[j])
		}
	}
	if n > orderLimit {
		return greedyMoves(d)
	}
	const far = 1 << 30
	cost := make([][]int, 1<<n) // by jobs still to come and the one that is on: the fewest moves from there
	next := make([][]int, 1<<n)
	for mask := range cost {
		cost[mask], next[mask] = make([]int, n), make([]int, n)
		for on := range n {
			if mask == 0 {
				continue
			}
			cost[mask][on] = far
			for j := range n {
				if mask&(1<<j) != 0 {
					if c := d[on][j] + cost[mask&^(1<<j)][j]; c < cost[mask][on] {
						cost[mask][on], next[mask][on] = c, j
					}
				}
			}
		}
	}
	all := 1<<n - 1
	on := 0
	for i := range n {
		if cost[all&^(1<<i)][i] < cost[all&^(1<<on)][on] {
			on = i
		}
	}
	moves = cost[all&^(1<<on)][on]
	for left := all &^ (1 << on); ; {
		order = append(order, on)
		if left == 0 {
			return order, moves
		}
		on = next[left][on]
		left &^= 1 << on
	}
}

func greedyMoves(d [][]int) (order []int, moves int) {
	left := make([]int, len(d))
	for i := range left {
		left[i] = i
	}
	on := 0
	for len(left) > 0 {
		best := 0
		if len(order) > 0 {
			for k := range left {
				if d[on][left[k]] < d[on][left[best]] {
					best = k
				}
			}
			moves += d[on][left[best]]
		}
		on = left[best]
		order = append(order, on)
		left = slices.Delete(left, best, best+1)
	}
	return order, moves
}

// apart counts the tools that are in one set and not in the other; one named twice counts twice.
func apart(a, b []string) int {
	n := map[string]int{}
	for _, x := range a {
		n[x]++
	}
	for _, x := range b {
		n[x]--
	}
	sum := 0
	for _, k := range n {
		sum += max(k, -k)
	}
	return sum
}

// both lists the tools in both sets.
func both(a, b []string) []string {
	var out []string
	for _, x := range a {
		if slices.Contains(b, x) && !slices.Contains(out, x) {
			out = append(out, x)
		}
	}
	return out
}

// toolOrders looks at every machine with two or more jobs whose stack is known. Inserts are
// left out: they are changed anyhow.
func toolOrders(jobs []JobOutlook, machines []Machine) []ToolOrder {
	var out []ToolOrder
	for _, m := range machines {
		var codes []string
		var sets [][]string
		for i := range jobs {
			j := &jobs[i]
			st := j.Best()
			if j.Job.MachineID == nil || *j.Job.MachineID != m.ID || st == nil {
				continue
			}
			var set []string
			for _, u := range st.Pieces {
				if u.Role != stack.Insert && u.Part != nil && u.Part.Code != "" {
					set = append(set, u.Part.Code)
				}
			}
			codes, sets = append(codes, j.Job.Code), append(sets, set)
		}
		if len(codes) < 2 {
			continue
		}
		t := ToolOrder{Machine: cmp.Or(m.Name, m.Code), Planned: codes}
		for i := 1; i < len(sets); i++ {
			t.Moves += apart(sets[i-1], sets[i])
		}
		order, fewest := FewestMoves(sets)
		if fewest >= t.Moves {
			order, fewest = nil, t.Moves
			for i := range sets {
				order = append(order, i)
			}
		}
		t.Fewest = fewest
		for k, i := range order {
			t.Better = append(t.Better, codes[i])
			if k > 0 {
				t.Stays = append(t.Stays, both(sets[order[k-1]], sets[i]))
			}
		}
		out = append(out, t)
	}
	return out
}
