package stack

import (
	"cmp"
	"slices"
)

// findSeats lists the turret seats that can be reached from the station: its own, and those at
// the end of turret adapters.
func (q *search) findSeats() {
	st := q.req.Station
	q.seats = []rear{{open: st.Interface, cp: inf, cool: true, lsc: inf}}
	from := 0
	for range maxSeats {
		to := len(q.seats)
		for ; from < to; from++ {
			at := q.seats[from]
			for _, k := range q.s.coded(Adapter, Machine, TurretSeat, at.open) {
				r := k.of[0] // an adapter is a class for itself
				if r.seatAt == "" || r.seatAt == st.Interface {
					continue
				}
				c := q.candidate(r)
				if c == nil {
					continue
				}
				n := at
				n.push(c)
				n.open = r.seatAt
				n.proj += r.part.LF.Or(0)
				n.cool = n.cool && r.part.Coolant
				if st.MaxProjection.Known && !r.part.LF.Known { // how far it brings the stack out is not known
					if q.mode != modeNearest || q.slack < pointMated {
						continue
					}
					n.bits |= bProject
					n.cost += pointMated
				}
				q.seats = append(q.seats, n)
			}
		}
	}
}

// push adds a part to the way.
func (r *rear) push(c *cand) {
	r.p[r.n] = c
	r.n++
	r.cost += c.cost
	r.bits |= c.bits
	if c.tier != tierHole {
		r.mass += c.rec.wt
		r.noWT = r.noWT || c.rec.noWT
	}
	r.cp = min(r.cp, c.rec.cp)
}

// holdersFor lists the ways from the station to an open bore of diameter d, or to an open
// coupling when code is set: holders, and adapters in them.
func (q *search) holdersFor(d float64, code string) []rear {
	if code != "" {
		return q.waysTo(0, code, maxUnits)
	}
	key := sizeKey(d)
	if h, ok := q.holders[key]; ok {
		return h
	}
	out := q.waysTo(d, "", maxUnits)
	q.holders[key] = out
	return out
}

// waysTo is holdersFor with up to most adapters between the holder and the open joint.
func (q *search) waysTo(d float64, code string, most int) []rear {
	out := q.mem.rears.work()
	defer func() { q.mem.rears.lay(out) }()
	take := func(c *class) {
		seat := c.of[0].iface
		met := slices.ContainsFunc(q.seats, func(at rear) bool { return at.open == seat })
		if !met && (q.mode != modeNearest || q.slack < pointBroken) {
			return
		}
		for _, r := range q.of(c) {
			h := q.candidate(r)
			if h == nil || h.cost > q.slack {
				continue
			}
			for _, at := range q.seats {
				if at.open == seat {
					out = append(out, q.withHolder(at, h))
				}
			}
			if !met {
				w := q.withHolder(q.seats[0], h)
				w.cost += pointBroken
				w.bits |= bInterface
				out = append(out, w)
			}
		}
	}
	front := Joint{Side: Workpiece, Family: Coupling, Code: code}
	if code != "" {
		for _, c := range q.s.coded(Holder, Workpiece, Coupling, code) {
			take(c)
		}
	} else {
		q.s.rounds(Holder, d, take)
		front = Joint{Side: Workpiece, Family: Cylindrical, Gender: "F", Size: Some(d), Clamp: "split"}
	}
	if q.mode == modeMissing {
		p := &Part{Kind: Holder, Coolant: true, Joints: []Joint{{Side: Machine, Family: TurretSeat, Code: q.req.Station.Interface}, front}}
		out = append(out, q.withHolder(q.seats[0], hole(p, rec{bore: d, ccws: code, lsc: inf, iface: q.req.Station.Interface})))
	}
	if most > 0 && len(q.s.units) > 0 {
		out = q.unitsTo(out, d, code, most)
	}
	return q.skyRear(out, 0, false)
}

func (q *search) withHolder(at rear, c *cand) rear {
	at.push(c)
	at.open = ""
	at.lsc = c.rec.lsc
	at.clamp = c.rec.part.Clamp()
	at.cool = at.cool && c.rec.part.Coolant
	return at
}

// rearsFor lists the ways from the station to where this bar sits, with the clamp rules
// applied.
//
// The ways without a sleeve and those with one are listed apart: where the first are better
// than any of the second, the second are not made.
func (q *search) rearsFor(b *rec, sleeved bool) []rear {
	key := rearKey{sizeKey(b.shank), b.ccms, b.damped, b.flat, b.carbide, sleeved}
	if r, ok := q.rears[key]; ok {
		return r
	}
	out := q.mem.rears.work()
	defer func() { q.mem.rears.lay(out) }()
	judge := func(r rear, sleeve *rec) {
		forDamped := sleeve != nil && sleeve.part.ForDamped
		no, warn := clampStyle(r.clamp, sleeve != nil, forDamped, b.damped, b.flat, b.carbide)
		if r.lsc < minGripD*b.shank-deadband {
			no |= bClampLen
		} else if r.lsc < goodGripD*b.shank-deadband {
			warn |= wClamp
		}
		r.warn |= warn
		if no != 0 {
			if q.mode != modeNearest {
				return
			}
			r.bits |= no
			r.cost += pointMated * no.count()
		}
		if r.cost <= q.slack {
			out = append(out, r)
		}
	}
	if b.ccms != "" {
		if sleeved {
			return nil
		}
		ways := q.holdersFor(0, b.ccms)
		if len(ways) == 0 && q.mode == modeNearest && q.slack >= pointUnmated {
			r := q.noHold()
			r.bits = r.bits&^bBore | bHub // couplings that do not meet, not diameters
			ways = []rear{r}
		}
		q.rears[key] = ways
		return ways
	}
	if !sleeved {
		for _, r := range q.holdersFor(b.shank, "") {
			judge(r, nil)
		}
		if q.mode == modeNearest && q.slack >= pointUnmated && !q.held(b.shank) {
			out = append(out, q.noHold())
		}
		q.rears[key] = q.skyRear(out, b.shank, true)
		return q.rears[key]
	}
	for _, sl := range q.sleevesFor(b.shank) {
		c := sl.p[0]
		for _, h := range q.holdersFor(c.rec.shank, "") {
			// Of two ways each, the better ones of both stand before the worse ones of both.
			if q.mode != modeNearest && ((h.worse+1)*(sl.worse+1) > q.k || h.lsc < minGripD*b.shank-deadband) {
				continue
			}
			judge(q.withSleeve(h, c), c.rec)
		}
	}
	if q.mode == modeMissing {
		q.holeSleeves(b.shank, judge)
	}
	q.rears[key] = q.skyRear(out, b.shank, true)
	return q.rears[key]
}

// sleevesFor lists the sleeves that take a shank of diameter d, without those that fewer than
// k others of the same outside are at least as good as.
func (q *search) sleevesFor(d float64) []rear {
	key := sizeKey(d)
	if s, ok := q.sleeves[key]; ok {
		return s
	}
	all := q.mem.rears.work()
	q.s.rounds(Sleeve, d, func(c *class) {
		if q.mode != modeNearest && len(q.holdersFor(c.of[0].shank, "")) == 0 {
			return
		}
		for _, r := range q.of(c) {
			if q.mode != modeNearest && r.lsc < minGripD*d-deadband {
				continue
			}
			if c := q.candidate(r); c != nil && c.cost <= q.slack {
				w := rear{cp: inf, lsc: r.lsc, clamp: r.sleeveKey, cool: r.part.Sealed}
				if r.part.Index == "none" {
					w.warn = wCentre
				}
				w.push(c)
				all = append(all, w)
			}
		}
	})
	out := q.skyRear(all, d, false)
	q.mem.rears.lay(all)
	q.sleeves[key] = out
	return out
}

func (q *search) withSleeve(h rear, c *cand) rear {
	h.push(c)
	h.lsc = min(h.lsc, c.rec.lsc)
	h.cool = h.cool && (c.rec.part.Sealed || c.tier == tierHole)
	if c.rec.part.Index == "none" {
		h.warn |= wCentre
	}
	return h
}

// holeSleeves invents a sleeve for every bore on the shelf that is wide enough.
func (q *search) holeSleeves(d float64, judge func(rear, *rec)) {
	for _, bore := range q.s.bores {
		if bore < d+2*minWall-deadband {
			continue
		}
		for _, h := range q.holdersFor(bore, "") {
			if h.p[h.n-1].tier == tierHole {
				continue // an invented holder takes the bar directly
			}
			p := &Part{Kind: Sleeve, ForDamped: true, Sealed: true, Joints: []Joint{
				{Side: Machine, Family: Cylindrical, Gender: "M", Size: Some(bore)},
				{Side: Workpiece, Family: Cylindrical, Gender: "F", Size: Some(d)}}}
			c := hole(p, rec{shank: bore, bore: d, lsc: inf})
			judge(q.withSleeve(h, c), c.rec)
		}
	}
}

// held reports whether something on hand holds a shank of diameter d on a seat that can be
// reached, whatever else it breaks: then the chain of diameters is not what is broken.
func (q *search) held(d float64) bool {
	owned := func(c *class) bool {
		return slices.ContainsFunc(c.of, func(r *rec) bool { return r.ease() < 2 })
	}
	direct := func(d float64) (ok bool) {
		q.s.rounds(Holder, d, func(c *class) {
			ok = ok || slices.ContainsFunc(q.seats, func(at rear) bool { return at.open == c.of[0].iface }) && owned(c)
		})
		return ok
	}
	ok := direct(d)
	q.s.rounds(Sleeve, d, func(c *class) {
		ok = ok || owned(c) && direct(c.of[0].shank)
	})
	return ok
}

// noHold is the nearest mode's answer where nothing holds the bar: the chain of diameters is
// broken, and the seat too when no holder on the shelf has it.
func (q *search) noHold() rear {
	r := rear{cp: inf, cool: true, lsc: inf, none: true, cost: pointUnmated, bits: bBore}
	for _, at := range q.seats {
		for _, c := range q.s.coded(Holder, Machine, TurretSeat, at.open) {
			if slices.ContainsFunc(c.of, func(h *rec) bool { return h.ease() < 2 }) {
				return r
			}
		}
	}
	r.cost += pointUnmated
	r.bits |= bInterface
	return r
}

// findInserts lists the inserts for the pocket asked for.
func (q *search) findInserts() {
	out := q.mem.fronts.work()
	add := func(c *cand) {
		if c == nil {
			return
		}
		f := front{cool: true, cp: inf, cost: c.cost, bits: c.bits, n: 1, insert: c}
		f.p[0] = c
		want := q.req.Insert.RE
		if c.tier != tierHole {
			if re := c.rec.part.RE; want.Known && (!re.Known || re.V < want.V-deadband || re.V > want.V+deadband) {
				f.warn |= wRE
			}
			if c.tier != tierBook && q.req.EdgesNeeded > 0 {
				if c.tier == tierBusy {
					c.edges = c.item.Qty * c.rec.part.Edges
				}
				if c.edges < q.req.EdgesNeeded {
					f.warn |= wLowEdges
				}
			}
		}
		if f.cost <= q.slack {
			out = append(out, f)
		}
	}
	for _, c := range q.s.coded(Insert, Machine, Pocket, q.seat) {
		for _, r := range q.of(c) {
			add(q.lot(r))
		}
	}
	switch q.mode {
	case modeMissing:
		p := &Part{Kind: Insert, RE: q.req.Insert.RE, Joints: []Joint{{Side: Machine, Family: Pocket, Code: q.req.Insert.Seat}}}
		add(hole(p, rec{seat: q.seat}))
	case modeNearest:
		if q.slack >= pointUnmated {
			out = append(out, front{cool: true, cp: inf, cost: pointUnmated, bits: bSeat})
		}
	}
	q.inserts = q.skyFront(out)
	q.mem.fronts.lay(out)
}

// lot returns an insert as the request can have it: the first free lot that has the edges
// alone, else the largest, and the edges of all free lots together.
func (q *search) lot(r *rec) *cand {
	if _, ok := q.mem.known(r); ok || q.near != nil || q.mode == modeBuy {
		return q.candidate(r)
	}
	c := cand{rec: r}
	most, enough := -1, false
	look := func(it *Item) {
		n := it.free(q.req)
		if n == 0 {
			return
		}
		e := n * r.part.Edges
		c.edges += e
		if ok := e >= q.req.EdgesNeeded; ok && !enough || !enough && e > most {
			c.item, most, enough = it, e, ok
		}
	}
	own := q.req.Job != "" && r.jobs[q.req.Job] > 0
	for _, it := range r.busy {
		if own && it.mine(q.req) {
			look(it)
		}
	}
	if len(q.req.holds) > 0 {
		for _, it := range r.idle {
			look(it)
		}
	} else { // all are free: of a hundred lots it is enough to find one that does
		c.edges += r.stock * r.part.Edges
		for _, it := range r.idle {
			if enough {
				break
			}
			if e := it.Qty * r.part.Edges; e >= q.req.EdgesNeeded || e > most {
				c.item, most, enough = it, e, e >= q.req.EdgesNeeded
			}
		}
	}
	for _, it := range r.busy {
		if !own || !it.mine(q.req) {
			look(it)
		}
	}
	if c.item == nil {
		return q.candidate(r)
	}
	q.looked++
	found := q.mem.cand(c)
	q.mem.mark(r, found)
	return found
}

// frontsFor lists the ways from a bar coupling to the edge.
func (q *search) frontsFor(coupling string) []front {
	if f, ok := q.fronts[coupling]; ok {
		return f
	}
	q.fronts[coupling] = nil              // a ring of adapters leads nowhere
	out := q.frontsAt(coupling, maxFront) // laid back below
	if q.mode == modeNearest && q.slack >= pointUnmated {
		for _, in := range q.inserts {
			in.none = true
			in.cost += pointUnmated
			in.bits |= bHub
			out = append(out, in)
		}
	}
	q.fronts[coupling] = q.skyFront(out)
	q.mem.fronts.lay(out)
	return q.fronts[coupling]
}

// frontsAt makes them with up to depth adapters; the list is to be laid back.
func (q *search) frontsAt(coupling string, depth int) []front {
	out, heads := q.mem.fronts.work(), q.mem.fronts.work()
	for _, c := range q.s.coded(Head, Machine, Coupling, coupling) {
		seat, hand := c.of[0].seat == q.seat, c.key.style == q.req.Hand || c.key.style == "N"
		if !(seat && hand) && q.mode != modeNearest || !seat && q.slack < pointMated+pointUnmated || !hand && q.slack < pointMated {
			continue
		}
		for _, r := range q.of(c) {
			no := q.judgeEdge(r)
			if no != 0 && q.mode != modeNearest || !q.passes(r) {
				continue
			}
			if pointMated*no.count() > q.slack {
				continue
			}
			c := q.candidate(r)
			if c == nil {
				continue
			}
			f := front{cool: true, cp: inf}.before(c, r.part.LF)
			f.bits |= no
			f.cost += pointMated * no.count()
			if no&bSeatReq != 0 {
				f.cost += pointUnmated // another pocket than asked is no answer at all
			}
			if f.cost <= q.slack {
				heads = append(heads, f)
			}
		}
	}
	best := q.skyFront(heads)
	q.mem.fronts.lay(heads)
	for _, h := range best {
		for _, in := range q.inserts {
			if (h.worse+1)*(in.worse+1) <= q.k || q.mode == modeNearest {
				out = append(out, h.with(in))
			}
		}
	}
	if depth > 0 {
		for _, k := range q.s.coded(Adapter, Machine, Coupling, coupling) {
			for _, r := range q.of(k) {
				bad := q.keepsOut(r)
				if r.ccws == "" || bad && q.mode != modeNearest || !q.passes(r) {
					continue // an adapter that may not enter the hole is no way
				}
				c := q.candidate(r)
				if c == nil || bad && q.slack < pointMated {
					continue
				}
				before := q.frontsAt(r.ccws, depth-1)
				ways := q.skyFront(before)
				q.mem.fronts.lay(before)
				for _, f := range ways {
					one := c
					if slices.ContainsFunc(f.p[:f.n], func(x *cand) bool { return x.rec == r }) {
						if one = q.again(r, 1); one == nil {
							continue // the same adapter cannot stand twice
						}
					}
					f = f.before(one, r.part.LF)
					if bad && f.bits&bDmin == 0 {
						f.bits |= bDmin
						f.cost += pointMated
					}
					out = append(out, f)
				}
			}
		}
	}
	if q.mode == modeMissing && depth == maxFront {
		p := &Part{Kind: Head, Hand: q.req.Hand, DMIN: Some(q.req.BoreStartD), Coolant: true, Joints: []Joint{
			{Side: Machine, Family: Coupling, Code: coupling},
			{Side: Workpiece, Family: Pocket, Code: q.req.Insert.Seat}}}
		c := hole(p, rec{ccms: coupling, seat: q.seat})
		for _, in := range q.inserts {
			f := in.before(c, Opt{})
			f.lf, f.noLF = inf/4, false // as long as it must be
			out = append(out, f)
		}
	}
	return out
}

// passes reports whether a head or adapter may stand before a bar at all: outside the nearest
// mode it has a recorded length, and brings the coolant at its pressure.
func (q *search) passes(r *rec) bool {
	return q.mode == modeNearest || r.part.LF.Known && (!q.req.Coolant || r.cools && r.cp >= q.need-deadband)
}

// with puts an insert into a head.
func (f front) with(in front) front {
	f.p[f.n] = in.p[0]
	f.n += in.n
	f.cost += in.cost
	f.warn |= in.warn
	f.bits |= in.bits
	f.insert = in.insert
	return f
}

// before puts a head or adapter in front of the way: the bar's side comes first.
func (f front) before(c *cand, lf Opt) front {
	copy(f.p[1:], f.p[:f.n])
	f.p[0] = c
	f.n++
	f.cost += c.cost
	f.bits |= c.bits
	f.lf += lf.Or(0)
	f.noLF = f.noLF || !lf.Known
	f.cool = f.cool && c.rec.part.Coolant
	f.cp = min(f.cp, c.rec.cp)
	if c.tier != tierHole {
		f.mass += c.rec.wt
		f.noWT = f.noWT || c.rec.noWT
	}
	return f
}

// weight says how many of k a dominating way counts for. Where only sets of missing parts are
// told apart, or sets of broken rules, one way at least as good with nothing missing is enough.
func (q *search) weight(cost int) int {
	if q.mode == modeNearest || q.lists() || q.mode == modeMissing && cost == 0 {
		return q.k
	}
	return 1
}

// skyRear keeps the ways that fewer than k others are at least as good as in everything that
// a stack asks of them. The k best stacks are all built from those.
//
// d is the bar's diameter where it is known, else 0: then only what the grip does for the stack
// counts, not how much more could be held. judged tells that the clamp rules have been applied.
func (q *search) skyRear(in []rear, d float64, judged bool) []rear {
	if len(in) < 2 {
		return q.mem.rears.keep(in)
	}
	grip, need := inf, inf
	if d > 0 && q.mode != modeNearest {
		grip, need = goodGripD*d, q.need
	}
	order := q.mem.sorted(len(in), func(a, b int32) int {
		x, y := &in[a], &in[b]
		return cmp.Or(cmp.Compare(x.cost, y.cost), cmp.Compare(x.warn.count(), y.warn.count()), cmp.Compare(x.n, y.n),
			cmp.Compare(y.lsc, x.lsc), cmp.Compare(y.cp, x.cp), cmp.Compare(x.mass, y.mass), compareNames(x.p[:x.n], y.p[:y.n]), cmp.Compare(a, b))
	})
	out := q.mem.rears.work()
	for _, i := range order {
		better := 0
		for j := range out {
			if q.rearDominates(&out[j], &in[i], grip, need, judged && (q.mode == modeStrict || q.lists())) {
				if better += q.weight(out[j].cost); better >= q.k {
					break
				}
			}
		}
		if better < q.k {
			out = append(out, in[i])
			out[len(out)-1].worse = better
		}
	}
	q.mem.rears.lay(out)
	return q.mem.rears.keep(out)
}

func (q *search) rearDominates(a, b *rear, grip, need float64, anyClamp bool) bool {
	if a.cost > b.cost || a.lsc < min(b.lsc, grip) || a.none != b.none || a.proj > b.proj || q.heavier(a.mass, b.mass, a.noWT, b.noWT) {
		return false
	}
	if q.lists() {
		if !asksNoMore(a.p[:a.n], b.p[:b.n]) {
			return false
		}
	} else if a.n > b.n || a.warn&^b.warn != 0 {
		return false
	}
	if a.clamp != b.clamp && !anyClamp || a.with != b.with {
		return false
	}
	if q.req.Coolant && (!a.cool && b.cool || a.cool && b.cool && a.cp < min(b.cp, need)) {
		return false
	}
	return q.mode != modeNearest || a.bits == b.bits
}

func (q *search) skyFront(in []front) []front {
	if len(in) < 2 {
		return q.mem.fronts.keep(in)
	}
	order := q.mem.sorted(len(in), func(a, b int32) int {
		x, y := &in[a], &in[b]
		return cmp.Or(cmp.Compare(x.cost, y.cost), cmp.Compare(x.warn.count(), y.warn.count()), cmp.Compare(x.n, y.n),
			cmp.Compare(y.lf, x.lf), cmp.Compare(y.cp, x.cp), cmp.Compare(x.mass, y.mass), compareNames(x.p[:x.n], y.p[:y.n]), cmp.Compare(a, b))
	})
	out := q.mem.fronts.work()
	for _, i := range order {
		better := 0
		for j := range out {
			if q.frontDominates(&out[j], &in[i]) {
				if better += q.weight(out[j].cost); better >= q.k {
					break
				}
			}
		}
		if better < q.k {
			out = append(out, in[i])
			out[len(out)-1].worse = better
		}
	}
	q.mem.fronts.lay(out)
	return q.mem.fronts.keep(out)
}

func (q *search) frontDominates(a, b *front) bool {
	if a.cost > b.cost || a.none != b.none || a.noLF && !b.noLF || a.lf < b.lf || q.heavier(a.mass, b.mass, a.noWT, b.noWT) {
		return false
	}
	if q.lists() {
		if !asksNoMore(a.p[:a.n], b.p[:b.n]) {
			return false
		}
	} else if a.n > b.n || a.warn.count() > b.warn.count() {
		return false
	}
	// A bar held by its coupling reaches as far as it is long: a longer head may be too long for
	// it, and an adapter before it may be wanted behind it.
	if (q.s.coupled > 0 || len(q.s.units) > 0) && !(a.lf == b.lf && sameAdapters(a, b)) {
		return false
	}
	if q.req.Coolant && (!a.cool && b.cool || a.cp < b.cp) {
		return false
	}
	return q.mode != modeNearest || a.bits == b.bits
}

func sameAdapters(a, b *front) bool {
	for i := range a.p {
		x, y := a.adapter(i), b.adapter(i)
		if x != y {
			return false
		}
		if x == nil {
			break
		}
	}
	return true
}

// adapter returns the i-th adapter of the way, nil after the last.
func (f *front) adapter(i int) *rec {
	if i < f.n && f.p[i].rec.kind == Adapter {
		return f.p[i].rec
	}
	return nil
}

func compareNames(a, b []*cand) int {
	return slices.CompareFunc(a, b, func(a, b *cand) int {
		return cmp.Or(cmp.Compare(a.name(), b.name()), cmp.Compare(a.tier, b.tier))
	})
}
