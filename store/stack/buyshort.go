package stack

import (
	"cmp"
	"slices"
)

// A taker is a job that uses pieces of a ware.
type taker struct{ job, qty int }

const impossible = 1 << 40 // more than any plan costs; sums of it stay far from overflow

// short returns how many pieces of a ware must be bought so that all takers can have theirs:
// least is proven, enough is a number that does; both are impossible (or more) when no more can
// be had in time. They differ only where pieces promised on different days make it so hard to
// share them out that the look was broken off.
//
// A piece serves one job at a time, from its first day to its last. Of a lot each job may use as
// many pieces as are free on all its days. Inserts are used up.
func (m *market) short(w *ware, ts []taker) (least, enough int) {
	if len(ts) == 0 {
		return 0, 0
	}
	if !slices.IsSortedFunc(ts, m.earlier) {
		ts = slices.Clone(ts)
		slices.SortFunc(ts, m.earlier)
	}
	if w.rec.kind == Insert {
		n := m.shortInserts(w, ts)
		return n, n
	}
	// The most pieces in use on one day, by all and by those who must make do with what is there.
	all, early := m.peak(w, ts)
	simple := true
	total := 0
	for _, it := range w.items {
		if it.Status == In && it.Qty > 0 {
			total += it.Qty
			simple = simple && len(it.Reserved) == 0
		}
	}
	least = max(all-total, 0)
	if early > total || least > 0 && !w.buyable {
		return impossible, impossible
	}
	if simple {
		// Whoever comes later finds a piece whenever fewer are in use than there are, so the most
		// on one day decides; the early ones come first and find those on hand.
		return least, least
	}
	return m.place(w, ts, least)
}

// earlier orders takers by first day, then last day, then place in the plan.
func (m *market) earlier(a, b taker) int {
	x, y := &m.jobs[a.job], &m.jobs[b.job]
	return cmp.Or(cmp.Compare(x.NeedDate, y.NeedDate), cmp.Compare(x.last(), y.last()), cmp.Compare(a.job, b.job))
}

// peak returns the most pieces in use on one day: by all takers, and by those whose first day
// comes before more of the ware can be there.
func (m *market) peak(w *ware, ts []taker) (all, early int) {
	for i := range ts {
		on := m.jobs[ts[i].job].NeedDate
		n, e := 0, 0
		for j := range ts {
			if q := &m.jobs[ts[j].job]; q.NeedDate <= on && on <= q.last() {
				n += ts[j].qty
				if !w.inTime(q) {
					e += ts[j].qty
				}
			}
		}
		all, early = max(all, n), max(early, e)
	}
	return all, early
}

// shortInserts: those who need them first take first, what is promised to them before what
// others could have too; the others' promises stand. What is lacking is bought. Nobody gets fewer
// by that: what one may take today every later one may take too, but for promises.
func (m *market) shortInserts(w *ware, ts []taker) int {
	used := make([]map[string]int, len(w.items))
	bought := 0
	for _, t := range ts {
		q := &m.jobs[t.job]
		left := t.qty
		take := func(i, most int) {
			if n := min(left, most, w.items[i].spare(q, used[i])); n > 0 {
				if used[i] == nil {
					used[i] = map[string]int{}
				}
				used[i][q.Job] += n
				left -= n
			}
		}
		for i, it := range w.items {
			take(i, it.kept(q, used[i]))
		}
		for i, it := range w.items {
			take(i, it.Qty)
		}
		if left > 0 {
			if !w.inTime(q) {
				return impossible
			}
			bought += left
		}
	}
	return bought
}

// placeSteps bounds the look for a way to share out pieces that are promised on some days.
const placeSteps = 20_000

// place finds the fewest pieces to buy, from least on, with which every taker gets a piece that
// is free on all its days.
func (m *market) place(w *ware, ts []taker, least int) (proven, enough int) {
	var slots []*Request // one a piece wanted
	for _, t := range ts {
		for range t.qty {
			slots = append(slots, &m.jobs[t.job])
		}
	}
	type piece struct {
		it   *Item
		copy int // of a lot: which of the free ones, from 1
	}
	var owned []piece
	for _, it := range w.items {
		n := 0
		for _, q := range slots {
			n = max(n, it.free(q))
		}
		for c := range min(n, len(slots)) {
			owned = append(owned, piece{it, c + 1})
		}
	}
	may := make([][]bool, len(owned))
	for p := range owned {
		may[p] = make([]bool, len(slots))
		for i, q := range slots {
			may[p][i] = owned[p].it.free(q) >= owned[p].copy
		}
	}
	proven = -1
	for bought := least; bought <= len(slots); bought++ {
		if bought > 0 && !w.buyable {
			break
		}
		used := make([][]*Request, len(owned)+bought)
		steps := placeSteps
		var put func(i int) bool
		put = func(i int) bool {
			if i == len(slots) {
				return true
			}
			if steps--; steps < 0 {
				return false
			}
			q := slots[i]
			fresh := false
			for p := range used {
				if p < len(owned) {
					if !may[p][i] {
						continue
					}
				} else {
					if !w.inTime(q) {
						return false
					}
					if len(used[p]) == 0 {
						if fresh {
							continue // bought pieces are alike
						}
						fresh = true
					}
				}
				if slices.ContainsFunc(used[p], func(o *Request) bool { return meet(o, q) }) {
					continue
				}
				used[p] = append(used[p], q)
				if put(i + 1) {
					return true
				}
				used[p] = used[p][:len(used[p])-1]
			}
			return false
		}
		if put(0) {
			if proven < 0 {
				proven = bought
			}
			return proven, bought
		}
		if steps < 0 && proven < 0 {
			proven = bought
		}
	}
	if proven < 0 {
		proven = impossible
	}
	return proven, impossible
}
