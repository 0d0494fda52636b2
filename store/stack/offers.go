package stack

import "math"

// An offer is the bars of a class, or one invented bar, with the least that any stack on them
// costs, warns of and is made of.
type offer struct {
	class *class
	bar   barCand // of a class: what all its bars have in common
	cost  int
	warns int
	n     int
	d     float64
	stiff int
}

// offers lists the classes of bars that can make a stack, judged by what is known without
// looking at their bars one by one.
func (q *search) offers() []offer {
	var out []offer
	for _, sh := range q.s.shapes {
		like := sh.classes[0].of[0]
		b := barCand{}
		q.judgeBar(&b, like)
		if b.bits&^q.global != 0 {
			continue
		}
		for _, c := range sh.classes {
			if p, ok := q.offer(c, b); ok {
				out = append(out, p)
			}
		}
	}
	if q.mode == modeMissing {
		q.holeBars(func(c *cand) {
			b := barCand{cand: c, cost: c.cost}
			q.judgeBar(&b, c.rec)
			if b.bits&^q.global != 0 || c.rec.ccws == "" && q.judgeEdge(c.rec) != 0 {
				return
			}
			p := offer{bar: b, d: c.rec.shank, stiff: stiffness(c.rec.part)}
			if q.bound(&p, c.rec, thinned{oal: inf / 8, through: true, inlets: len(c.rec.inlets) > 0, cp: inf}, c.cost) {
				out = append(out, p)
			}
		})
	}
	return out
}

// offer bounds the stacks on the bars of a class.
func (q *search) offer(c *class, b barCand) (offer, bool) {
	like := c.of[0]
	if like.ccws == "" && q.judgeEdge(like) != 0 {
		return offer{}, false
	}
	p := offer{class: c, bar: b, d: like.shank, stiff: stiffness(like.part)}
	t := c.best()
	cost := q.least(c)
	if cost == math.MaxInt {
		return offer{}, false
	}
	ok := q.bound(&p, like, *t, cost)
	return p, ok
}

// bound works out the least cost, warnings and parts of a stack on bars like r, the best of
// which have t; false when there is none.
func (q *search) bound(p *offer, r *rec, t thinned, cost int) bool {
	f, ok := q.frontFloor(r.ccws)
	if !ok {
		return false
	}
	short := false
	if r.ccms == "" {
		left := t.oal + f.reach + q.unitsReach() - p.bar.set
		if t.oal < 0 || left < minGripD*p.d-deadband {
			return false
		}
		short = left < goodGripD*p.d-deadband
	}
	least := floor{cost: math.MaxInt}
	try := func(through bool, n int) {
		if x := q.floorOf(r, short, through); x.cost != math.MaxInt {
			x.n += n
			if x.compare(least) < 0 {
				least = x
			}
		}
	}
	switch {
	case !q.req.Coolant:
		try(false, 0)
	case t.cp < q.need-deadband:
		return false
	default:
		if t.through && q.only != byLine {
			try(true, 0)
		}
		if t.inlets && q.only != byBore && q.req.Station.CoolantPort != "" {
			try(false, 1)
		}
	}
	if least.cost == math.MaxInt {
		return false
	}
	p.cost, p.warns, p.n = cost+least.cost+f.cost, p.bar.warn.count()+least.warns+f.warns, 1+least.n+f.n
	return true
}

// judgeBar applies the rules that a bar answers by its shape alone.
func (q *search) judgeBar(b *barCand, r *rec) {
	if d := r.shank; d >= q.req.BoreStartD-deadband || d == 0 { // 0: held by a coupling, and nobody recorded how thick it is
		b.bits |= bBody
	} else if d > chipShare*q.req.BoreStartD+deadband {
		b.warn |= wChips
	}
	if r.ccms == "" {
		set, limit, no, warn := reach(r.part, r.shank, q.l, q.req.Station.MaxProjection)
		b.set, b.limit, b.bits, b.warn = set, limit, b.bits|no, b.warn|warn
	}
}
