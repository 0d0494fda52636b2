package stack

import (
	"cmp"
	"container/heap"
	"math"
	"slices"
)

// A barCand is a bar with what it costs by itself; cost and n are lower bounds of any stack
// on it.
type barCand struct {
	*cand
	cost int
	n    int
	warn set
	bits set
	set  float64
}

// spend bounds what a stack may cost, and with it what is listed of the ways behind and beside a
// bar.
func (q *search) spend(limit int) {
	q.limit, q.slack, q.besides = limit, math.MaxInt, math.MaxInt
	if limit < math.MaxInt {
		front, rear := math.MaxInt, math.MaxInt
		for _, f := range q.ahead {
			front = min(front, f.cost)
		}
		for _, f := range q.floors {
			rear = min(rear, f.cost)
		}
		q.slack = limit - front
		q.besides = q.slack - rear
	}
	clear(q.holders)
	clear(q.sleeves)
	clear(q.rears)
	if q.lines != nil {
		clear(q.lines.whole)
	}
}

// take builds the stacks on the offers, the best first, until none of those left can be told.
func (q *search) take(offers []offer) {
	line := q.mem.queue[:0]
	for i := range offers {
		if p := &offers[i]; p.cost <= q.limit || !q.bounded() {
			line = append(line, p)
		}
	}
	q.mem.queue = line
	heap.Init(&line)
	for len(line) > 0 {
		p := heap.Pop(&line).(*offer)
		if w := q.bar(); p.cost > q.limit && q.bounded() || w != nil && cmp.Or(cmp.Compare(p.cost, w.cost), cmp.Compare(p.warns, w.warn.count()),
			cmp.Compare(p.n, w.n), cmp.Compare(w.d, p.d), cmp.Compare(p.bar.set, w.set), cmp.Compare(w.bar.rec.stiff, p.stiff)) > 0 {
			return
		}
		if q.mode == modeBuy {
			for _, b := range q.barsOf(p) {
				q.build(&b)
			}
			continue
		}
		like := p.bar.rec
		fronts := q.inserts
		if like.ccws != "" {
			fronts = q.frontsFor(like.ccws)
		}
		if len(fronts) > 0 && !q.allTold(p, fronts) {
			q.joinAll(p, q.rearsFor(like, p.sleeved), fronts)
		}
	}
}

// A queue is offers of which the best comes first, for container/heap.
type queue []*offer

func (l queue) Len() int { return len(l) }
func (l queue) Less(i, j int) bool {
	a, b := l[i], l[j]
	return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.warns, b.warns), cmp.Compare(a.n, b.n),
		cmp.Compare(b.d, a.d), cmp.Compare(a.bar.set, b.bar.set), cmp.Compare(b.stiff, a.stiff)) < 0
}
func (l queue) Swap(i, j int) { l[i], l[j] = l[j], l[i] }

// Push adds an offer.
func (l *queue) Push(x any) { *l = append(*l, x.(*offer)) }

// Pop takes the last one off.
func (l *queue) Pop() any {
	n := len(*l) - 1
	p := (*l)[n]
	*l = (*l)[:n]
	return p
}

// bounded reports whether a stack over the limit is none.
func (q *search) bounded() bool { return q.mode == modeMissing || q.lists() }

// barsOf lists the bars of an offer as the request can have them, cheapest first.
func (q *search) barsOf(p *offer) []barCand {
	if p.class == nil {
		return []barCand{p.bar}
	}
	if out, ok := q.bars[p.class]; ok {
		return out
	}
	var out []barCand
	for _, r := range q.of(p.class) {
		c := q.candidate(r)
		if c == nil || q.req.Coolant && (!r.cools || r.cp < q.need-deadband) {
			continue
		}
		b := p.bar
		b.cand, b.cost = c, c.cost
		out = append(out, b)
	}
	if q.mode != modeBuy {
		slices.SortStableFunc(out, func(a, b barCand) int { return cmp.Compare(a.cost, b.cost) })
	}
	q.bars[p.class] = out
	return out
}

// build joins one bar with the ways behind and before it and keeps what is among the k best.
func (q *search) build(b *barCand) {
	if q.mode == modeNearest && q.known(b, b.bits, b.cost, b.warn.count(), b.n) {
		return
	}
	fronts := q.inserts
	if b.rec.ccws != "" {
		fronts = q.frontsFor(b.rec.ccws)
	}
	if len(fronts) == 0 {
		return
	}
	around := least{}
	if q.mode == modeNearest {
		if around = q.behind.and(leastOf(fronts)); q.knownWith(b, around) {
			return
		}
	}
	one := offer{bar: *b, through: b.rec.throughs}
	q.joinAll(&one, q.rearsFor(b.rec, false), fronts)
	around.n++ // a sleeve at least
	if f := &fronts[0]; q.mode == modeNearest && q.knownWith(b, around) || q.beyond(b, b.cost+f.cost, b.warn.count()+f.warn.count(), 3+f.n) {
		return
	}
	q.joinAll(&one, q.rearsFor(b.rec, true), fronts)
}

// joinAll builds the stacks on the bars of an offer out of the ways behind and before them.
func (q *search) joinAll(p *offer, rears []rear, fronts []front) {
	// Both lists are sorted by cost, warnings, parts; the warnings of a front are never those of
	// a bar or a rear, so the first front that is beyond hope ends its row.
	like, inlets := &p.bar, p.inlets()
	var bars []barCand
	for i := range rears {
		r := &rears[i]
		hoses, ok := q.hoses(r, p.through, inlets)
		if !ok {
			continue
		}
	row:
		for j := range fronts {
			f := &fronts[j]
			cost, warn, n := like.cost+r.cost+f.cost, like.warn|r.warn|f.warn, 1+r.n+f.n
			warns := warn.count()
			if q.beyond(like, cost, warns, n+hoses) {
				if w := q.bar(); j == 0 && (w == nil || cost > w.cost) {
					return // and so are all dearer rears
				}
				break
			}
			if p.sure && q.toldBetter(like, p, r, f, cost, warns, n) {
				continue
			}
			if bars == nil {
				bars = q.barsOf(p)
			}
			for k := range bars {
				b := &bars[k]
				cost := cost - like.cost + b.cost
				hoses, ok := q.hoses(r, b.rec.throughs, b.rec.inlets)
				if !ok || q.mode == modeNearest && q.known(b, b.bits|r.bits|f.bits, cost, warns, n) || q.beyond(b, cost, warns, n+hoses) {
					continue
				}
				if w := q.bar(); w != nil && q.mode != modeNearest && q.alike(b, cost, warns, n+hoses, w) {
					// Alike in all but the names: those of w stand before, or it is not worth a look.
					if c, at := compareNamed(&found{bar: b.cand, rear: r, front: f}, w, n); c > 0 {
						if at < r.n {
							break row
						}
						continue
					}
				}
				if q.lists() && q.bids.asked(b, r, f) || q.toldBetter(b, nil, r, f, cost, warns, n) {
					continue
				}
				q.join(b, r, f)
			}
		}
	}
}

// alike reports whether stacks on bar b with these figures are told from w by names only.
func (q *search) alike(b *barCand, cost, warns, n int, w *found) bool {
	return cost == w.cost && warns == w.warn.count() && n == w.n && b.rec.shank == w.d && b.set == w.set &&
		b.rec.stiff == w.bar.rec.stiff
}

// hoses returns the fewest pieces of a line that the coolant needs with a way behind a bar; ok is
// false when it can not come.
func (q *search) hoses(r *rear, through bool, inlets []string) (n int, ok bool) {
	switch {
	case !q.req.Coolant || q.mode == modeNearest || through && r.cool && r.cp >= q.need-deadband:
		return 0, true
	case len(inlets) > 0 && q.req.Station.CoolantPort != "":
		return 1, true
	}
	return 0, false // a bar that has no inlet needs a way that is whole and rated
}

// bar returns the stack that a further one has to beat, nil while there is room.
func (q *search) bar() *found {
	switch {
	case q.mode == modeNearest && len(q.best) > 0:
		return &q.best[0]
	case len(q.best) < q.k || q.lists():
		return nil
	}
	return &q.best[len(q.best)-1]
}

// beyond reports that no stack on bar b with these figures or worse can be told.
func (q *search) beyond(b *barCand, cost, warn, n int) bool {
	if q.bounded() && cost > q.limit {
		return true
	}
	w := q.bar()
	if w == nil {
		return false
	}
	if q.mode == modeNearest {
		return cost > w.cost
	}
	return cmp.Or(cmp.Compare(cost, w.cost), cmp.Compare(warn, w.warn.count()), cmp.Compare(n, w.n), cmp.Compare(w.d, b.rec.shank)) > 0
}

func (q *search) join(b *barCand, r *rear, f *front) {
	if r.with[0] != nil {
		if f = q.distinct(r, f); f == nil {
			return
		}
	}
	x := found{bar: b.cand, rear: r, front: f,
		cost: b.cost + r.cost + f.cost, bits: b.bits | r.bits | f.bits,
		warn: b.warn | r.warn | f.warn, n: 1 + r.n + f.n, d: b.rec.shank, set: b.set}
	q.evals++
	broken := q.measure(&x, b)
	x.warn |= q.weigh(&x, &broken)
	broken &^= x.bits // a rule that a part of it breaks is counted with that part
	x.cost += pointMated * broken.count()
	if broken != 0 && (q.mode != modeNearest || x.cost > q.limit) || q.beyond(b, x.cost, x.warn.count(), x.n) {
		return
	}
	x.bits |= broken | q.global
	if !q.req.Coolant {
		q.keep(x)
		return
	}
	q.cool(x)
}
