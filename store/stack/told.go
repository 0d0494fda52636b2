package stack

import "cmp"

// A set of missing parts is told once, by its best stack, and in a full shop thousands of stacks
// miss the same. A sig holds what of a stack decides the sizes of what it misses, so that a stack
// worse than one of the same sig is passed over before it is built. Stacks of one sig miss the
// same; those of two may too.
type sig struct {
	rear, front, line int32   // what the ways miss, by number; noGap: nothing
	leastLF           float64 // of a missing head
	through           bool
	bar               *rec // when it is missing itself, and then what its sizes follow from
	set, lf           float64
	screws            bool
	open              string
}

// noGap is the number of a way that misses nothing; 0 stands in one not yet looked at.
const noGap = -1

// Of a way that misses something a gap holds what the sizes follow from.
type (
	rearGap struct {
		tiers        [maxSeats + 2]tier
		seats        [maxSeats]string
		d            int64
		bore, shank  float64
		screws       bool
		damped, flat bool
	}
	frontGap struct {
		n          int
		tiers      [maxFront + 2]tier
		ccms, ccws [maxFront + 2]string
		lf         [maxFront + 2]Opt
	}
	lineGap struct {
		kinds [maxLine]Kind
		ends  [maxLine][2]string
	}
)

func (q *search) number(gap any) int32 {
	n, ok := q.gaps[gap]
	if !ok {
		n = int32(len(q.gaps)) + 1
		q.gaps[gap] = n
	}
	return n
}

// haveAll reports whether all parts of a way are free.
func haveAll(p []*cand) bool {
	for _, c := range p {
		if c.tier != tierFree {
			return false
		}
	}
	return true
}

// missesBehind numbers what a way behind bars like b misses.
func (q *search) missesBehind(b *rec, r *rear) int32 {
	if r.gap == 0 {
		r.gap = noGap
		if p := r.p[:r.n]; !haveAll(p) {
			g := rearGap{d: sizeKey(b.shank), damped: b.damped, flat: b.flat, screws: r.clamp != "split"}
			seat := 0
			for i, c := range p {
				g.tiers[i] = c.tier
				switch c.rec.kind {
				case Holder:
					g.bore = c.rec.bore
				case Sleeve:
					g.shank = c.rec.shank
				case Adapter:
					g.seats[seat] = c.rec.seatAt
					seat++
				}
			}
			r.gap = q.number(g)
		}
	}
	return r.gap
}

// missesBefore numbers what a way before a bar misses.
func (q *search) missesBefore(f *front) int32 {
	if f.gap == 0 {
		f.gap = noGap
		if p := f.p[:f.n]; !haveAll(p) {
			g := frontGap{n: f.n}
			for i, c := range p {
				if g.tiers[i] = c.tier; c.tier != tierFree {
					g.ccms[i], g.ccws[i], g.lf[i] = c.rec.ccms, c.rec.ccws, c.rec.part.LF
				}
			}
			f.gap = q.number(g)
		}
	}
	return f.gap
}

// missesBeside numbers what a line misses.
func (q *search) missesBeside(l *line) int32 {
	if l.gap == 0 {
		l.gap = noGap
		if p := l.p[:l.n]; !haveAll(p) {
			g := lineGap{}
			for i, c := range p {
				if c.tier != tierFree {
					g.kinds[i], g.ends[i] = c.rec.kind, [2]string(c.rec.ends)
				}
			}
			l.gap = q.number(g)
		}
	}
	return l.gap
}

// sigOf returns the sig of a stack with a bar of length oal and that line, nil: none; ok is false
// when there is no such short form. Bars held by a coupling and adapters behind the bar are few,
// and have none.
func (q *search) sigOf(c *cand, oal Opt, set float64, r *rear, f *front, l *line, through bool) (s sig, ok bool) {
	if c.rec.ccms != "" || r.with[0] != nil {
		return s, false
	}
	s = sig{rear: q.missesBehind(c.rec, r), front: q.missesBefore(f), line: noGap}
	if l != nil {
		s.line = q.missesBeside(l)
	}
	if s.front != noGap && c.tier != tierHole && oal.Known {
		reach := oal.V + r.ext
		for _, h := range f.p[:f.n] {
			if h.rec.kind == Head && h.tier != tierFree {
				s.leastLF = max(0, round(set+minGripD*c.rec.shank-reach, 6))
			}
			reach += h.rec.part.LF.Or(0)
		}
	}
	if c.tier != tierFree {
		s.bar, s.set, s.lf, s.screws = c.rec, set, f.lf, r.clamp != "split" && r.p[r.n-1].rec.kind == Holder
		if l != nil {
			s.open = l.open
		}
	}
	s.through = through && (s.bar != nil || s.rear != noGap)
	return s, true
}

// toldBetter reports, in the missing mode, that all a bar can tell with these two ways is told by
// better stacks. cost, warns and n are the least of such a stack, without a line. For the bars of
// a class all are asked at once: of names only those behind the bar can decide then.
func (q *search) toldBetter(b *barCand, class *offer, r *rear, f *front, cost, warns, n int) bool {
	if q.mode != modeMissing || q.plain {
		return false
	}
	through, inlets, named := b.rec.throughs, b.rec.inlets, n
	if class != nil {
		through, inlets, named = class.through, class.inlets(), r.n
	}
	one := func(oal Opt, l *line, through bool) bool {
		s, ok := q.sigOf(b.cand, oal, b.set, r, f, l, through)
		w := q.told[s]
		if !ok || w == nil {
			return false
		}
		cost, n := cost, n
		if l != nil {
			cost, n = cost+l.cost, n+l.n
		}
		if c := cmp.Or(cmp.Compare(cost, w.cost), cmp.Compare(warns, w.warn.count()), cmp.Compare(n, w.n), cmp.Compare(w.d, b.rec.shank),
			cmp.Compare(b.set, w.set), cmp.Compare(w.bar.rec.stiff, b.rec.stiff)); c != 0 {
			return c > 0
		}
		c, _ := compareNamed(&found{bar: b.cand, rear: r, front: f}, w, named)
		return c > 0
	}
	better := func(l *line, through bool) bool {
		if class == nil {
			return one(b.rec.part.OAL, l, through)
		}
		for _, oal := range class.class.best().lengths {
			if !one(oal, l, through) {
				return false
			}
			if q.missesBefore(f) == noGap {
				break // without a missing head the length decides nothing
			}
		}
		return true
	}
	if hoses, _ := q.hoses(r, through, inlets); hoses == 0 {
		if !better(nil, q.req.Coolant) {
			return false
		}
		if !q.req.Coolant || class == nil {
			return true // a hose where the bore does it only adds parts
		}
	}
	if b.tier == tierFree && q.besides < 1 {
		n++ // only a line of one piece at least that misses nothing
		return better(nil, false)
	}
	for _, e := range inlets {
		lines := q.linesTo(e)
		for i := range lines {
			if cost+lines[i].cost <= q.limit && !better(&lines[i], false) {
				return false
			}
		}
	}
	return true
}

// allTold reports, in the missing mode, that better stacks tell all that the bars of an offer can
// within the limit. It is asked before the ways behind them are made, so it knows only of those
// that miss nothing, where the limit allows no other.
func (q *search) allTold(p *offer, fronts []front) bool {
	if !p.sure || q.mode != modeMissing || q.limit-p.bar.cost-fronts[0].cost != 0 {
		return false
	}
	n, free := p.n, rear{cool: true, cp: inf}
	if q.req.Coolant && len(p.inlets()) > 0 {
		n-- // it may have counted a hose
	}
	for i := range fronts {
		f := &fronts[i]
		if f.cost > fronts[0].cost {
			break
		}
		if !q.toldBetter(&p.bar, p, &free, f, p.cost, p.warns, n) {
			return false
		}
	}
	return true
}

// missingKey names what x misses, equal for all stacks that miss the same, and remembers x when
// it is the best of its sig.
func (q *search) missingKey(x *found) string {
	s, ok := q.sigOf(x.bar, x.bar.rec.part.OAL, x.set, x.rear, x.front, x.line, x.route == byBore)
	w := q.told[s]
	if !ok || q.plain {
		return q.spellMissing(x)
	}
	if w == nil || compare(x, w) < 0 {
		y := *x
		if w != nil {
			y.key = w.key
		} else {
			y.key = q.spellMissing(x)
		}
		w = &y
		q.told[s] = w
	}
	return w.key
}
