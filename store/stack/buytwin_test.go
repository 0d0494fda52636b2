package stack

import (
	"fmt"
	"math"
	"slices"
)

// A twinPlan tries every purchase in order of cost, and for each every way to share the pieces
// out among the jobs.
func twinPlan(jobs []Request, items []Item, catalogue []*Part, today Date, most int) int {
	best := math.MaxInt
	counts := make([]int, len(catalogue))
	bought := func() []Item {
		all := slices.Clone(items)
		for j, n := range counts {
			p := catalogue[j]
			for k := range n {
				// It is there from the day it arrives.
				all = append(all, Item{ID: fmt.Sprintf("N%d-%d", j, k), Part: p, Status: In, Qty: 1,
					Reserved: []Reservation{{Job: "supplier", From: "1900-01-01", To: today.AddDays(int(p.LeadDays.V) - 1)}}})
			}
		}
		return all
	}
	var choose func(i, cost int)
	choose = func(i, cost int) {
		if cost >= best {
			return
		}
		if i == len(catalogue) {
			all := bought()
			if twinShare(jobs, all, map[string][]Request{}, map[string]int{}) {
				best = cost
			}
			return
		}
		for n := 0; n <= most; n++ {
			counts[i] = n
			choose(i+1, cost+n*int(catalogue[i].PriceCents.V))
		}
		counts[i] = 0
	}
	// Where all that may be bought is not enough, nothing is.
	for i := range counts {
		counts[i] = most
	}
	if all := bought(); !twinShare(jobs, all, map[string][]Request{}, map[string]int{}) {
		return best
	}
	clear(counts)
	choose(0, 0)
	return best
}

// twinShare tells whether all jobs can be built at once.
func twinShare(jobs []Request, items []Item, taken map[string][]Request, used map[string]int) bool {
	if len(jobs) == 0 {
		return true
	}
	r := jobs[0]
	until := func(r Request) Date { return max(r.NeedDate, r.Until) }
	free := func(it Item) bool {
		return twinFree(it, r) && !slices.ContainsFunc(taken[it.ID], func(o Request) bool { return o.NeedDate <= until(r) && r.NeedDate <= until(o) })
	}
	var of [7][]Item
	for _, it := range items {
		for k, kind := range []Kind{Holder, Sleeve, Bar, Head} {
			if it.Part.Kind == kind && free(it) {
				of[k] = append(of[k], it)
			}
		}
	}
	seen := map[string]bool{}
	for _, h := range of[0] {
		if h.Part.Interface() != r.Station.Interface {
			continue
		}
		for _, s := range append([]Item{{}}, of[1]...) {
			for _, b := range of[2] {
				for _, e := range of[3] {
					if e.Part.CCMS() != b.Part.CCWS() {
						continue
					}
					for _, in := range twinLots(r, items, used) {
						if !twinStack(r, nil, h, s, b, []Item{e}, in[0], nil).ok {
							continue
						}
						// Pieces alike in everything need not be tried twice.
						key := ""
						pieces := []Item{h, b, e}
						if s.Part != nil {
							pieces = append(pieces, s)
						}
						for _, p := range pieces {
							key += fmt.Sprint(p.Part.Code, p.Reserved, days(taken[p.ID]), "|")
						}
						for _, l := range in {
							key += fmt.Sprint(l.Part.Code, l.Reserved, l.Qty-used[l.ID], ",")
						}
						if seen[key] {
							continue
						}
						seen[key] = true
						for _, p := range pieces {
							taken[p.ID] = append(taken[p.ID], r)
						}
						for _, l := range in {
							used[l.ID]++
						}
						ok := twinShare(jobs[1:], items, taken, used)
						for _, p := range pieces {
							taken[p.ID] = taken[p.ID][:len(taken[p.ID])-1]
						}
						for _, l := range in {
							used[l.ID]--
						}
						if ok {
							return true
						}
					}
				}
			}
		}
	}
	return false
}

// days tells on which days a piece is taken.
func days(rs []Request) (out []Date) {
	for _, r := range rs {
		out = append(out, r.NeedDate, r.Until)
	}
	return out
}

// twinLots lists the lots a job could take its one insert from.
func twinLots(r Request, items []Item, used map[string]int) (out [][]Item) {
	for _, it := range items {
		if it.Part.Kind == Insert && twinFree(it, r) && it.Qty > used[it.ID] {
			out = append(out, []Item{it})
		}
	}
	return out
}
