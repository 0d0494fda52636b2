package stack

import "math"

// An offer is the bars of a class, or one invented bar, with the least that any stack on them
// costs, warns of and is made of. The ways without a sleeve and those with one are offered apart:
// where the first are better than any of the second, the second are not made.
type offer struct {
	class   *class
	bar     barCand // of a class: what all its bars have in common, and the least cost of one
	sleeved bool
	sure    bool // all its bars are free on any day
	through bool // one of them takes coolant from the rear
	cost    int
	warns   int
	n       int
	d       float64
	stiff   int
}

// inlets returns the coolant inlets that the bars have.
func (p *offer) inlets() []string {
	if p.class != nil {
		return p.class.best().inlets
	}
	return p.bar.rec.inlets
}

// offers lists the classes of bars that can make a stack, judged by what is known without
// looking at their bars one by one.
func (q *search) offers(out []offer) []offer {
	for _, sh := range q.s.shapes {
		b := barCand{}
		q.judgeBar(&b, sh.classes[0].of[0])
		if b.bits&^q.global != 0 {
			continue
		}
		for _, c := range sh.classes {
			if b.cost = q.least(c); b.cost < math.MaxInt {
				t := c.best()
				b.cand = t.like
				out = q.offer(out, offer{class: c, bar: b, sure: t.sure && len(q.req.holds) == 0, through: t.through}, t.oal, t.cp)
			}
		}
	}
	return out
}

// invented adds what bars that nobody has recorded offer.
func (q *search) invented(out []offer) []offer {
	q.holeBars(func(c *cand) {
		b := barCand{cand: c, cost: c.cost}
		if q.judgeBar(&b, c.rec); b.bits&^q.global == 0 {
			out = q.offer(out, offer{bar: b, through: true}, inf/8, inf)
		}
	})
	return out
}

// leastInvented returns the least that a stack on an invented bar costs.
func (q *search) leastInvented() int {
	least := leastBar
	if len(q.inserts) > 0 {
		least += q.inserts[0].cost
	}
	if !q.onHand(q.s.coded(Head, Workpiece, Pocket, q.seat)) {
		least += kindCost(&Part{Kind: Head})
	}
	for _, at := range q.seats {
		if q.onHand(q.s.coded(Holder, Machine, TurretSeat, at.open)) {
			return least
		}
	}
	return least + kindCost(&Part{Kind: Holder})
}

// offer adds what p offers, of its bars the longest and the best rated known: at most once
// without a sleeve and once with one, nothing when no stack can be made.
func (q *search) offer(out []offer, p offer, oal, cp float64) []offer {
	r := p.bar.rec
	f, ok := q.frontFloor(r.ccws)
	if !ok || r.ccws == "" && q.judgeEdge(r) != 0 || q.req.Coolant && cp < q.need-deadband {
		return out
	}
	p.d, p.stiff = r.shank, r.stiff
	short := false
	if r.ccms == "" {
		left := oal + f.reach + q.unitsReach() - p.bar.set
		if oal < 0 || left < minGripD*p.d-deadband {
			return out
		}
		short = left < goodGripD*p.d-deadband
	}
	least := func(sleeved bool) floor {
		x := floor{cost: math.MaxInt}
		if !q.req.Coolant || p.through && q.only != byLine {
			x = q.floorOf(r, sleeved, short, q.req.Coolant)
		}
		if q.req.Coolant && len(p.inlets()) > 0 && q.only != byBore && q.req.Station.CoolantPort != "" {
			y := q.floorOf(r, sleeved, short, false)
			if y.n++; y.cost < math.MaxInt && y.compare(x) < 0 {
				x = y
			}
		}
		return x
	}
	add := func(x floor) {
		if x.cost < math.MaxInt {
			p.cost, p.warns, p.n = p.bar.cost+x.cost+f.cost, p.bar.warn.count()+x.warns+f.warns, 1+x.n+f.n
			out = append(out, p)
		}
	}
	bare, sleeved := least(false), least(true)
	if q.mode == modeBuy { // its bars are looked at one by one
		if sleeved.compare(bare) < 0 {
			bare = sleeved
		}
		add(bare)
		return out
	}
	add(bare)
	p.sleeved = true
	add(sleeved)
	return out
}

// judgeBar applies the rules that a bar answers by its shape alone.
func (q *search) judgeBar(b *barCand, r *rec) {
	if d := r.shank; d >= q.req.BoreStartD-deadband || d == 0 { // 0: held by a coupling, and nobody recorded how thick it is
		b.bits |= bBody
	} else if d > chipShare*q.req.BoreStartD+deadband {
		b.warn |= wChips
	}
	if r.ccms == "" {
		set, _, no, warn := reach(r.part, r.shank, q.l, q.req.Station.MaxProjection)
		b.set, b.bits, b.warn = set, b.bits|no, b.warn|warn
	}
}
