package stack

import (
	"math"
	"slices"
)

// bids are what the parts cost one job in one search. In a listing search every way is kept
// that asks for something no other way does without, so that what is not listed is never needed
// in a cheapest plan.
type bids struct {
	m   *market
	job int
	// bid says what qty pieces cost, in the search's own unit, when used pieces of the ware stand
	// in the stack already; ok is false when they cannot be had.
	bid func(w *ware, qty, used int) (cost int, ok bool)
	// open tells what counts as there for all as long as it costs nothing, nil: only what there is
	// plenty of.
	open func(w *ware) bool

	list bool
	most int   // ways kept
	ways []way // by cost
	cut  bool  // a way was dropped because there were too many
	work int   // comparisons of ways
}

// mostWork bounds the comparisons of one listing; some tenths of a second.
const mostWork = 2_000_000

// A way is one alternative of a job: the wares it uses, with pieces.
type way struct {
	uses []use // by ware
	cost int   // as bid for
	bits uint64
	ask  []use  // those of uses that tell it from other ways, in bits
	all  uint64 // bits of uses
}

type use struct {
	w   *ware
	qty int
}

// cand returns a part as the job can have it, nil when it cannot.
func (b *bids) cand(r *rec, used int) *cand {
	w := b.m.wares[r]
	if w == nil {
		return nil
	}
	if w.plenty {
		return &cand{rec: r}
	}
	qty := 1
	if r.kind == Insert {
		qty = insertsFor(&b.m.jobs[b.job], r.part)
	}
	cost, ok := b.bid(w, qty, used)
	if !ok {
		return nil
	}
	c := &cand{rec: r, tier: tierBook, cost: cost}
	if cost > 0 || b.open == nil || !b.open(w) {
		c.ware = w
	}
	return c
}

// search prepares a search for a job; run it. A listing search keeps at most most ways of a cost
// up to limit, any other one only the cheapest stack.
func (m *market) search(job int, b *bids, limit int) *search {
	b.m, b.job = m, job
	k := 1
	if b.list {
		k = math.MaxInt32
	}
	q := newSearch(m.s, &m.jobs[job], modeBuy, k)
	q.bids, q.limit = b, limit
	return q
}

func (q *search) lists() bool { return q.mode == modeBuy && q.bids.list }

// cheapest returns the cheapest way of a job under the bids; ok is false when there is none.
func (m *market) cheapest(job int, b *bids) (w way, ok bool) {
	q := m.search(job, b, 0)
	defer q.done()
	all := q.run()
	if len(all) == 0 {
		return way{}, false
	}
	w = b.wayOf(&all[0])
	w.cost = all[0].cost
	return w, true
}

// listed returns the ways of a job of a cost up to limit, cheapest first, and whether those are
// all of them that matter.
func (m *market) listed(job int, b *bids, limit, most int) (ways []way, complete bool) {
	b.list, b.most = true, most
	q := m.search(job, b, limit)
	defer q.done()
	q.run()
	return b.ways, !b.cut
}

// wayOf counts what a stack uses of wares of which there is not plenty.
func (b *bids) wayOf(x *found) way {
	w := way{cost: x.cost}
	add := func(list []use, u use) []use {
		if i := slices.IndexFunc(list, func(o use) bool { return o.w == u.w }); i >= 0 {
			list[i].qty += u.qty
			return list
		}
		return append(list, u)
	}
	for _, c := range x.pieces() {
		k := b.m.wares[c.rec]
		if k.plenty {
			continue
		}
		u := use{k, 1}
		if c.rec.kind == Insert {
			u.qty = insertsFor(&b.m.jobs[b.job], c.rec.part)
		}
		w.uses = add(w.uses, u)
		w.all |= k.bit
		if c.ware != nil {
			w.ask = add(w.ask, u)
			w.bits |= k.bit
		}
	}
	slices.SortFunc(w.uses, func(a, b use) int { return a.w.nth - b.w.nth })
	return w
}

// within reports whether list a asks for nothing that b does not ask for.
func within(a, b []use) bool {
	for _, u := range a {
		if !slices.ContainsFunc(b, func(v use) bool { return v.w == u.w && v.qty >= u.qty }) {
			return false
		}
	}
	return true
}

// keepWay keeps x unless another way does with what it asks for, and drops those it does better
// than.
func (q *search) keepWay(x *found) {
	b := q.bids
	if x.cost > q.limit {
		return
	}
	if b.work += len(b.ways); b.work > mostWork {
		b.cut, q.limit = true, -1
		return
	}
	w := b.wayOf(x)
	for i := range b.ways {
		if k := &b.ways[i]; k.bits&^w.bits == 0 && within(k.ask, w.ask) {
			return
		}
	}
	b.ways = slices.DeleteFunc(b.ways, func(k way) bool { return w.bits&^k.bits == 0 && within(w.ask, k.ask) })
	i, _ := slices.BinarySearchFunc(b.ways, w.cost+1, func(k way, cost int) int { return k.cost - cost })
	b.ways = slices.Insert(b.ways, i, w)
	if len(w.ask) == 0 {
		q.limit = -1 // nothing else can matter
	}
	if len(b.ways) > b.most {
		b.ways = b.ways[:b.most]
		b.cut = true
		q.limit = min(q.limit, b.ways[b.most-1].cost)
	}
}

// asked reports whether a way already kept does with what these three ask for.
func (b *bids) asked(bar *barCand, r *rear, f *front) bool {
	var p [len(r.p) + len(f.p) + 1]*cand
	n := copy(p[:], r.p[:r.n])
	n += copy(p[n:], f.p[:f.n])
	p[n] = bar.cand
	n++
	var bits uint64
	for _, c := range p[:n] {
		if c.ware != nil {
			bits |= c.ware.bit
		}
	}
	b.work += len(b.ways)
next:
	for i := range b.ways {
		k := &b.ways[i]
		if k.bits&^bits != 0 {
			continue
		}
		for _, u := range k.ask {
			have := 0
			for _, c := range p[:n] {
				if c.ware == u.w {
					have++
				}
			}
			if have == 0 || u.w.rec.kind != Insert && have < u.qty {
				continue next
			}
		}
		return true
	}
	return false
}

// asksNoMore reports whether the parts a ask for nothing that b do not ask for.
func asksNoMore(a, b []*cand) bool {
	for _, c := range a {
		if c.ware == nil {
			continue
		}
		n := 0
		for _, o := range a {
			if o.ware == c.ware {
				n++
			}
		}
		for _, o := range b {
			if o.ware == c.ware {
				n--
			}
		}
		if n > 0 {
			return false
		}
	}
	return true
}

// heavier reports whether a mass is worse to carry than another, which it is not for a station
// that carries any.
func (q *search) heavier(a, b float64, aUnknown, bUnknown bool) bool {
	if q.lists() && !q.req.Station.MaxMassKg.Known {
		return false
	}
	return a > b || aUnknown && !bUnknown
}
