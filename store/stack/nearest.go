package stack

import (
	"cmp"
	"math"
	"slices"
)

// nearBars are the bars of a class with what they break by themselves.
type nearBars struct {
	*class
	barCand
	stiff int
}

// nearest finds the stacks that break the fewest rules, class by class of bars, those that
// break fewest by themselves first.
func (q *search) nearest() {
	all := q.mem.bars[:0]
	look := func(c *class, shape barCand) {
		if q.near != nil && !q.kinds[Bar] && len(q.of(c)) == 0 {
			return
		}
		like := c.of[0]
		b := nearBars{c, shape, like.stiff}
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
	q.mem.bars = all
	slices.SortFunc(all, func(a, b nearBars) int {
		return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.warn.count(), b.warn.count()), cmp.Compare(a.n, b.n),
			cmp.Compare(b.of[0].shank, a.of[0].shank), cmp.Compare(a.set, b.set), cmp.Compare(b.stiff, a.stiff))
	})
	if len(all) == 0 {
		return
	}
	// What breaks more than the nearest stack is not even listed: first only what breaks no more
	// than some bar and the least around it, then ever more, until there is a stack.
	q.slack = math.MaxInt
	q.findInserts()
	q.findSeats()
	q.behind = q.leastBehind()
	head := q.leastHead()
	around := func(b *nearBars) least {
		x := q.behind.and(leastOf(q.inserts))
		if b.of[0].ccws != "" {
			x = x.and(head)
		}
		return x
	}
	first := math.MaxInt
	for i := range all {
		first = min(first, all[i].cost+around(&all[i]).cost)
	}
	for _, more := range []int{0, pointMated, pointBroken, pointUnmated, 2 * pointMated, 3 * pointMated, 4 * pointMated, 6 * pointMated, math.MaxInt / 2} {
		if first+more == 0 && q.global == 0 {
			continue // it would have been found before
		}
		q.limit = first + more
		q.slack = q.limit - all[0].cost
		q.forget()
		q.findInserts()
		q.findSeats()
		for i := range all {
			like := all[i].barCand
			if w := q.bar(); like.cost > q.limit || w != nil && like.cost > w.cost {
				break
			}
			like.cand = q.mem.cand(cand{rec: all[i].of[0]})
			if q.known(&like, like.bits, like.cost, like.warn.count(), like.n) || q.knownWith(&like, around(&all[i])) {
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

// A least is the least that some parts of a stack cost in the nearest mode, with the rules that
// whatever costs no more breaks and the pieces it is made of. vague: it may break others.
type least struct {
	cost  int
	bits  set
	warns int
	n     int
	vague bool
}

func (a least) and(b least) least {
	return least{a.cost + b.cost, a.bits | b.bits, a.warns + b.warns, a.n + b.n, a.vague || b.vague}
}

// leastOf returns the least of ways before a bar, which are in order.
func leastOf(fronts []front) least {
	if len(fronts) == 0 {
		return least{}
	}
	f := &fronts[0]
	x := least{cost: f.cost, bits: f.bits, warns: f.warn.count(), n: f.n}
	for i := range fronts {
		if fronts[i].cost > f.cost {
			break
		}
		x.vague = x.vague || fronts[i].bits != f.bits
	}
	return x
}

// leastBehind returns the least of the ways behind any bar: where no holder on hand has a seat
// that can be reached, all break that.
func (q *search) leastBehind() least {
	for _, at := range q.seats {
		if q.onHand(q.s.coded(Holder, Machine, TurretSeat, at.open)) {
			return least{n: 1}
		}
	}
	return least{cost: pointBroken, bits: bInterface, n: 1}
}

// leastHead returns the least of the ways from a coupling to an insert: where no head on hand has
// the pocket, it costs least to have none.
func (q *search) leastHead() least {
	if q.onHand(q.s.coded(Head, Workpiece, Pocket, q.seat)) {
		return least{n: 1}
	}
	return least{cost: pointUnmated, bits: bHub}
}

// onHand reports whether a part of the classes is owned, of those the search may use.
func (q *search) onHand(classes []*class) bool {
	return slices.ContainsFunc(classes, func(c *class) bool {
		return slices.ContainsFunc(q.of(c), func(r *rec) bool { return q.candidate(r) != nil })
	})
}

// knownWith reports, in the nearest mode, that a stack on bar b with at least x around it tells
// nothing new.
func (q *search) knownWith(b *barCand, x least) bool {
	cost := b.cost + x.cost
	if x.vague {
		return cost > q.limit || len(q.best) > 0 && cost > q.best[0].cost
	}
	return q.known(b, b.bits|x.bits, cost, b.warn.count()+x.warns, 1+x.n)
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
			cmp.Compare(w.bar.rec.stiff, b.rec.stiff)) > 0
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
