package stack

import (
	"cmp"
	"math"
	"slices"
)

// nearest finds the stacks that break the fewest rules, class by class of bars, those that
// break fewest by themselves first.
func (q *search) nearest() {
	type bars struct {
		*class
		barCand
		stiff int
	}
	var all []bars
	look := func(c *class, shape barCand) {
		if q.near != nil && !q.kinds[Bar] && len(q.of(c)) == 0 {
			return
		}
		like := c.of[0]
		b := bars{c, shape, stiffness(like.part)}
		b.n = 3
		if like.ccws == "" {
			b.bits |= q.judgeEdge(like)
		} else {
			b.n++
		}
		b.bits &^= q.global // told once, for the request
		b.cost = pointMated * b.bits.count()
		all = append(all, b)
	}
	for _, sh := range q.s.shapes {
		shape := barCand{}
		q.judgeBar(&shape, sh.classes[0].of[0])
		for _, c := range sh.classes {
			look(c, shape)
		}
	}
	slices.SortFunc(all, func(a, b bars) int {
		return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.warn.count(), b.warn.count()), cmp.Compare(a.n, b.n),
			cmp.Compare(b.of[0].shank, a.of[0].shank), cmp.Compare(a.set, b.set), cmp.Compare(b.stiff, a.stiff))
	})
	if len(all) == 0 {
		return
	}
	// What breaks more than the nearest stack is not even listed: first only parts that break
	// nothing more than the best bar does, then ever more, until there is a stack.
	for _, more := range []int{0, pointMated, pointBroken, pointUnmated, 2 * pointMated, 3 * pointMated, 4 * pointMated, 6 * pointMated, math.MaxInt / 2} {
		if more == 0 && all[0].cost == 0 && q.global == 0 {
			continue // it would have been found before
		}
		q.limit, q.slack = all[0].cost+more, more
		q.forget()
		q.findInserts()
		q.findSeats()
		for i := range all {
			like := all[i].barCand
			if w := q.bar(); like.cost > q.limit || w != nil && like.cost > w.cost {
				break
			}
			like.cand = &cand{rec: all[i].of[0]}
			if q.known(&like, like.bits, like.cost, like.warn.count(), like.n) {
				continue
			}
			for _, r := range q.of(all[i].class) {
				if c := q.candidate(r); c != nil && like.cost+c.cost <= q.limit {
					b := like
					b.cand, b.cost, b.bits = c, like.cost+c.cost, like.bits|c.bits
					q.build(&b)
				}
			}
		}
		if len(q.best) > 0 {
			return
		}
	}
}

// forget drops the lists made so far, but for the candidates.
func (q *search) forget() {
	clear(q.holders)
	clear(q.sleeves)
	clear(q.rears)
	clear(q.fronts)
	q.lines = nil
}

// known reports, in the nearest mode, that a stack on bar b with these figures or worse tells
// nothing new: a nearer one is known, or as near a one that breaks the same rules and stands
// before it. As every rule broken costs, a stack no dearer than its parts breaks no more.
func (q *search) known(b *barCand, bits set, cost, warns, n int) bool {
	if cost > q.limit {
		return true
	}
	if len(q.best) == 0 || cost != q.best[0].cost {
		return len(q.best) > 0 && cost > q.best[0].cost
	}
	behind := func(w *found) bool {
		return cmp.Or(cmp.Compare(warns, w.warn.count()), cmp.Compare(n, w.n), cmp.Compare(w.d, b.rec.shank), cmp.Compare(b.set, w.set),
			cmp.Compare(stiffness(w.bar.rec.part), stiffness(b.rec.part))) > 0
	}
	for i := range q.best {
		if q.best[i].bits == bits|q.global && behind(&q.best[i]) {
			return true
		}
	}
	return len(q.best) >= q.k && behind(&q.best[len(q.best)-1])
}

// least returns the lowest cost at which a part of a class can be had, MaxInt when none can.
func (q *search) least(c *class) int {
	if q.mode != modeBuy && c.best().free {
		return 0
	}
	least := math.MaxInt
	for _, r := range q.of(c) {
		if c := q.candidate(r); c != nil {
			least = min(least, c.cost)
		}
	}
	return least
}
