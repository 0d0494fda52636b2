package stack

import (
	"cmp"
	"math"
)

// A floor is the least that the way behind a bar costs, warns of and is made of; cost MaxInt
// when there is no way. It is worked out from the best of each sort, without making the ways,
// so that a bar that cannot be among the best stacks is told by it alone.
type floor struct{ cost, warns, n int }

func (f floor) compare(g floor) int {
	return cmp.Or(cmp.Compare(f.cost, g.cost), cmp.Compare(f.warns, g.warns), cmp.Compare(f.n, g.n))
}

type floorKey struct {
	rearKey
	short   bool // the bar is too short for a grip of 4 D
	through bool // the coolant must come through the bore
}

// A sum is the holders, or the sleeves, of one sort: lsc is the longest grip among them.
type sum struct {
	cost, n   int
	split     bool // holder: split clamp
	forDamped bool // sleeve
	none      bool // sleeve: no aid for centre height
	cool      bool // brings the coolant through at its pressure
	made      bool // invented
	outer     float64
	lsc       float64
}

func addSum(list []sum, x sum) []sum {
	for i := range list {
		same := list[i]
		same.lsc = x.lsc
		if same == x {
			list[i].lsc = max(list[i].lsc, x.lsc)
			return list
		}
	}
	return append(list, x)
}

// holderSums sums up the ways to an open bore of diameter d.
func (q *search) holderSums(d float64) []sum {
	key := sizeKey(d)
	if s, ok := q.sums[key]; ok {
		return s
	}
	out := q.mem.sums.work()
	q.s.rounds(Holder, d, func(c *class) {
		like, t, cost := c.of[0], c.best(), -1
		for i := range q.seats {
			at := &q.seats[i]
			if at.open != like.iface {
				continue
			}
			if cost < 0 {
				cost = q.least(c)
			}
			if cost < math.MaxInt {
				out = addSum(out, sum{cost: at.cost + cost, n: at.n + 1, split: c.key.style == "split",
					cool: at.cool && at.cp >= q.need-deadband && t.cp >= q.need-deadband, lsc: t.lsc})
			}
		}
	})
	if len(q.s.units) > 0 {
		for _, w := range q.holdersFor(d, "") {
			if w.with[0] != nil {
				out = addSum(out, sum{cost: w.cost, n: w.n, split: w.clamp == "split", cool: w.cool && w.cp >= q.need-deadband, lsc: w.lsc})
			}
		}
	}
	if q.mode == modeMissing {
		out = append(out, sum{cost: kindCost(&Part{Kind: Holder}), n: 1, split: true, cool: true, made: true, lsc: inf})
	}
	q.sums[key] = q.mem.sums.keep(out)
	q.mem.sums.lay(out)
	return q.sums[key]
}

// sleeveSums sums up the sleeves that take a shank of diameter d.
func (q *search) sleeveSums(d float64) []sum {
	key := sizeKey(d)
	if s, ok := q.cuffs[key]; ok {
		return s
	}
	out := q.mem.sums.work()
	q.s.rounds(Sleeve, d, func(c *class) {
		if len(q.holderSums(c.of[0].shank)) == 0 {
			return
		}
		if cost, t := q.least(c), c.best(); cost < math.MaxInt {
			out = addSum(out, sum{cost: cost, n: 1, forDamped: c.key.yes, none: c.key.none, cool: t.cp >= q.need-deadband,
				outer: c.of[0].shank, lsc: t.lsc})
		}
	})
	if q.mode == modeMissing {
		for _, bore := range q.s.bores {
			if bore >= d+2*minWall-deadband {
				out = append(out, sum{cost: kindCost(&Part{Kind: Sleeve}), n: 1, forDamped: true, cool: true, made: true, outer: bore, lsc: inf})
			}
		}
	}
	q.cuffs[key] = q.mem.sums.keep(out)
	q.mem.sums.lay(out)
	return q.cuffs[key]
}

// floorOf returns the least of the ways behind a bar like r, without a sleeve or with one.
func (q *search) floorOf(r *rec, sleeved, short, through bool) floor {
	key := floorKey{rearKey{sizeKey(r.shank), r.ccms, r.damped, r.flat, r.carbide, sleeved}, short, through}
	if f, ok := q.floors[key]; ok {
		return f
	}
	least := floor{cost: math.MaxInt}
	try := func(cost, n int, h *sum, sleeve *sum) {
		lsc, forDamped := h.lsc, false
		if sleeve != nil {
			lsc, forDamped = min(lsc, sleeve.lsc), sleeve.forDamped
		}
		clamp := ""
		if h.split {
			clamp = "split"
		}
		no, warn := clampStyle(clamp, sleeve != nil, forDamped, r.damped, r.flat, r.carbide)
		if no != 0 || lsc < minGripD*r.shank-deadband || through && !(h.cool && (sleeve == nil || sleeve.cool)) {
			return
		}
		if short || lsc < goodGripD*r.shank-deadband {
			warn |= wClamp
		}
		if sleeve != nil && sleeve.none {
			warn |= wCentre
		}
		if f := (floor{cost, warn.count(), n}); f.compare(least) < 0 {
			least = f
		}
	}
	if r.ccms != "" {
		for _, h := range q.rearsFor(r, sleeved) {
			if f := (floor{h.cost, h.warn.count(), h.n}); f.compare(least) < 0 && (!through || h.cool) {
				least = f
			}
		}
		q.floors[key] = least
		return least
	}
	if !sleeved {
		holders := q.holderSums(r.shank)
		for i := range holders {
			try(holders[i].cost, holders[i].n, &holders[i], nil)
		}
	} else {
		sleeves := q.sleeveSums(r.shank)
		for i := range sleeves {
			s := &sleeves[i]
			holders := q.holderSums(s.outer)
			for j := range holders {
				if h := &holders[j]; !(s.made && h.made) {
					try(s.cost+h.cost, s.n+h.n, h, s)
				}
			}
		}
	}
	q.floors[key] = least
	return least
}

// A frontFloor is the least that the way before a bar costs, warns of and is made of, and the
// longest there is, mm.
type frontFloor struct {
	floor
	reach float64
}

// frontFloor returns the least of the ways before a coupling, "" for a bar with its own pocket;
// false when there is none.
func (q *search) frontFloor(coupling string) (frontFloor, bool) {
	f, ok := q.ahead[coupling]
	if ok {
		return f, f.cost < math.MaxInt
	}
	f.cost = math.MaxInt
	switch {
	case len(q.inserts) == 0:
	case coupling == "":
		in := &q.inserts[0]
		f.floor = floor{in.cost, in.warn.count(), in.n}
	case q.mode == modeStrict && len(q.s.coded(Adapter, Machine, Coupling, coupling)) == 0:
		in := &q.inserts[0]
		for _, c := range q.s.coded(Head, Machine, Coupling, coupling) {
			if c.of[0].seat != q.seat {
				continue
			}
			for _, r := range q.of(c) {
				if q.judgeEdge(r) == 0 && q.passes(r) {
					f.floor, f.reach = floor{in.cost, in.warn.count(), in.n + 1}, max(f.reach, r.lf)
				}
			}
		}
	default:
		fronts := q.frontsFor(coupling)
		for i := range fronts {
			f.reach = max(f.reach, fronts[i].lf)
		}
		if len(fronts) > 0 {
			f.floor = floor{fronts[0].cost, fronts[0].warn.count(), fronts[0].n}
		}
	}
	q.ahead[coupling] = f
	return f, f.cost < math.MaxInt
}
