package stack

import "fmt"

// unitsTo adds the ways to an open joint that end in an adapter between holder and bar.
//
// Such an adapter stands out of the holder and makes the overhang more than the bar's own. No
// public number says what that costs, so the whole overhang is judged by the bar's limit as if
// there were no adapter, and by the longest overhang its own maker allows, which must be on
// record. So must its length before the holder, the length and the flat of its shank, the
// length and the clamp of its bore, and, when it reaches into the hole, the smallest hole it
// may enter.
func (q *search) unitsTo(out []rear, d float64, code string, most int) []rear {
	take := func(k *class) {
		r := k.of[0] // an adapter is a class for itself
		if r.ccms == "" && r.shank == 0 {
			return
		}
		c := q.candidate(r)
		if c == nil || c.cost > q.slack {
			return
		}
		behind := q.waysTo(r.shank, r.ccms, most-1)
		for i := range behind {
			one := c
			if behind[i].with[0] == r {
				if one = q.again(r, 1); one == nil {
					continue // the same adapter cannot stand twice
				}
			}
			w, no := q.withUnit(behind[i], one)
			if no != 0 && q.mode != modeNearest {
				continue
			}
			w.bits |= no
			w.cost += pointMated * no.count()
			if w.cost <= q.slack {
				out = append(out, w)
			}
		}
	}
	if code != "" {
		for _, k := range q.s.coded(Adapter, Workpiece, Coupling, code) {
			take(k)
		}
	} else {
		q.s.rounds(Adapter, d, take)
	}
	return out
}

// withUnit puts an adapter into the open joint of a way and tells which rules that breaks.
func (q *search) withUnit(at rear, c *cand) (w rear, no set) {
	r, p := c.rec, c.rec.part
	if !p.LF.Known {
		no |= bShort
	}
	if r.ccms == "" {
		style, warn := clampStyle(at.clamp, false, false, false, r.flat, false)
		no, at.warn = no|style, at.warn|warn
		held := 0.0
		if p.OAL.Known {
			held = min(at.lsc, p.OAL.V-p.LF.Or(0))
		}
		if held < minGripD*r.shank-deadband {
			no |= bClampLen
		} else if held < goodGripD*r.shank-deadband {
			at.warn |= wClamp
		}
	}
	reach := at.ext + p.LF.Or(0)
	if reach > q.req.Clearance+deadband && (!p.DMIN.Known || p.DMIN.V > q.req.BoreStartD+deadband) {
		no |= bDmin
	}
	if !p.OHX.Known || q.l > at.ext+p.OHX.V+deadband {
		no |= bOverMax
	}
	if stop := at.ext + p.OHX.Or(0); at.stop == 0 || stop < at.stop {
		at.stop = stop
	}
	at.with[1], at.with[0] = at.with[0], r
	at.ext = reach
	at.push(c)
	at.lsc, at.clamp = r.lsc, p.Clamp()
	at.cool = at.cool && p.Coolant
	return at, no
}

// unitsReach returns the most in mm that adapters between holder and bar add to its length.
func (q *search) unitsReach() float64 {
	most := 0.0
	for _, u := range q.s.units {
		most = max(most, u.part.LF.Or(0))
	}
	return maxUnits * most
}

// distinct returns the way before the bar with other pieces of the adapters that also stand
// behind it, nil when there are none.
func (q *search) distinct(r *rear, f *front) *front {
	own := false
	for i := range f.p[:f.n] {
		a, used := f.adapter(i), 0
		if a == nil {
			break
		}
		for _, c := range r.p[:r.n] {
			if c.rec == a {
				used++
			}
		}
		if used == 0 {
			continue
		}
		for _, c := range f.p[:i] {
			if c.rec == a {
				used++
			}
		}
		c := q.again(a, used)
		if c == nil {
			return nil
		}
		if !own {
			g := *f
			f, own = &g, true
		}
		f.p[i] = c
	}
	return f
}

// firstUnit returns the adapter that sits in the holder, nil when there is none.
func (r *rear) firstUnit() *rec {
	for i := len(r.with) - 1; i >= 0; i-- {
		if r.with[i] != nil {
			return r.with[i]
		}
	}
	return nil
}

// behind lists what an adapter needs of the holder it sits in.
func (r *rec) behind() []Need {
	if r.ccms != "" {
		return []Need{{"CCWS", r.ccms}}
	}
	n := []Need{{"DCONWS", r.shank}, {"LSC_min", round(minGripD*r.shank, 6)}}
	if !r.flat {
		n = append(n, Need{"clamp", "split"})
	}
	return n
}

// longest returns the longest overhang in mm that a bar held by its coupling may have in x: by
// its limit, own or of its construction, the machine's swing, and the makers of adapters behind
// it.
func (q *search) longest(x *found, own bool) float64 {
	p := x.bar.rec.part
	_, most, _, _ := OverhangLimit(p.Construction, x.d)
	out := max(most*x.d, x.set)
	if own {
		out = p.OHX.Or(out)
	}
	if m := q.req.Station.MaxProjection; m.Known {
		out = min(out, m.V-x.rear.proj)
	}
	if x.rear.with[0] != nil {
		out = min(out, x.rear.stop)
	}
	return out
}

// unitNeeds lists the sizes of a missing adapter between holder and bar. The others of the
// stack count on its length.
func (q *search) unitNeeds(x *found, c *cand, passes, cp any) []Need {
	r, p := c.rec, c.rec.part
	var n []Need
	at := 0.0 // mm out of the holder's face where it begins
	for _, o := range x.rear.p[:x.rear.n] {
		if o == c {
			break
		}
		if o.rec.unit() {
			at += o.rec.part.LF.Or(0)
		}
	}
	if r.ccms != "" {
		n = append(n, Need{"CCMS", r.ccms})
	} else {
		n = append(n, Need{"DCONMS", r.shank}, Need{"OAL_min", round(p.LF.Or(0)+minGripD*r.shank, 6)})
		if r.flat {
			n = append(n, Need{"flat", true})
		}
	}
	if r.ccws != "" {
		n = append(n, Need{"CCWS", r.ccws})
	} else {
		n = append(n, Need{"DCONWS", r.bore}, Need{"LSC_min", round(minGripD*x.d, 6)})
		if p.Clamp() != "" {
			n = append(n, Need{"clamp", p.Clamp()})
		}
	}
	n = append(n, Need{"LF_min", p.LF.Or(0)}, Need{"LF_max", p.LF.Or(0)}, Need{"OHX_min", round(x.set-at, 6)})
	if at+p.LF.Or(0) > q.req.Clearance+deadband {
		n = append(n, Need{"DMIN_max", q.req.BoreStartD})
	}
	return append(n, Need{"coolant", passes}, Need{"CP_min", cp})
}

// holds returns what the bar, or the sleeve around it, sits in: the holder or the last adapter in
// it; nil when there is none.
func (x *found) holds() *cand {
	if x == nil {
		return nil
	}
	for i := x.rear.n - 1; i >= 0; i-- {
		if c := x.rear.p[i]; c.rec.kind == Holder || c.rec.unit() {
			return c
		}
	}
	return nil
}

// A unitAt is an adapter between holder and bar where it sits.
type unitAt struct {
	*cand
	in *cand   // what holds it
	at float64 // mm before the holder's face where it begins
}

// units lists the adapters between holder and bar, from the holder on.
func (x *found) units() []unitAt {
	var out []unitAt
	at := 0.0
	for i, c := range x.rear.p[:x.rear.n] {
		if c.rec.unit() {
			out = append(out, unitAt{c, x.rear.p[i-1], at})
			at += c.rec.part.LF.Or(0)
		}
	}
	return out
}

// grip returns the length in mm for which the shank of an adapter is held, 0 when not known.
func (u *unitAt) grip() float64 {
	p := u.rec.part
	if !p.OAL.Known {
		return 0
	}
	return min(u.in.rec.lsc, p.OAL.V-p.LF.Or(0))
}

// adapterWhy says how the adapters of x break a rule, and how the bar does, when one of them
// does; nothing when the bar alone decides.
func (q *search) adapterWhy(x *found, code Code) []string {
	var w []string
	say := func(s string, args ...any) { w = append(w, fmt.Sprintf(s, args...)) }
	for _, u := range x.units() {
		p := u.rec.part
		round := u.rec.ccms == ""
		switch code {
		case codeStyle:
			if no, _ := clampStyle(u.in.rec.part.Clamp(), false, false, false, u.rec.flat, false); round && no != 0 {
				say("%s has no flat; the set screws of %s would turn and bruise it", u.said(), u.in.said())
			}
		case codeClamp:
			if g := u.grip(); round && g < minGripD*u.rec.shank-deadband {
				if g == 0 {
					say("how long the shank of %s is held is not recorded (its OAL and LF, the LSC of %s), so its grip cannot be proven", u.said(), u.in.said())
					break
				}
				say("the shank of %s is held %s mm; %s mm (3 x D) needed", u.said(), num(g), num(minGripD*u.rec.shank))
			}
		case codeShort:
			if !p.LF.Known {
				say("how far %s stands out of its holder (LF) is not recorded, so nothing behind it can be proven", u.said())
			}
		case codeOverMax:
			if !p.OHX.Known {
				say("the maker's longest overhang (OHX) of %s is not recorded, so none is proven for it", u.said())
			} else if x.set > u.at+p.OHX.V+deadband {
				say("%s mm of overhang from the face of %s; its maker allows %s mm", num(x.set-u.at), u.said(), p.OHX)
			}
		case codeDmin:
			if reach := u.at + p.LF.Or(0); reach > q.req.Clearance+deadband && (!p.DMIN.Known || p.DMIN.V > q.req.BoreStartD+deadband) {
				if !p.DMIN.Known {
					say("%s reaches %s mm into the hole, and the smallest hole it goes into is not recorded", u.said(), num(reach-q.req.Clearance))
					break
				}
				say("%s reaches %s mm into the hole and needs one of %s, the part has %s mm", u.said(), num(reach-q.req.Clearance), sizeOf(p.DMIN.V, p.inch("")), num(q.req.BoreStartD))
			}
		}
	}
	for i := range x.front.p[:x.front.n] {
		if a := x.front.p[i]; code == codeDmin && a.rec.kind == Adapter && q.keepsOut(a.rec) {
			say("%s", q.tooSmall(a))
		}
	}
	switch code {
	case codeProject:
		for _, c := range x.rear.p[:x.rear.n] {
			if c.rec.seatAt != "" && c.rec.kind == Adapter && !c.rec.part.LF.Known {
				say("how far %s brings the stack out (LF) is not recorded, so the machine's swing of %s mm is not proven", c.said(), q.req.Station.MaxProjection)
			}
		}
		return w
	case codeDmin:
		if e := x.edge(); len(w) > 0 && q.judgeEdge(e.rec)&bDmin != 0 {
			say("%s", q.tooSmall(e))
		}
	case codeClamp:
		if len(w) > 0 && x.bar.rec.ccms == "" && x.rear.lsc < minGripD*x.d-deadband {
			if x.rear.lsc <= 0 {
				say("how long %s is gripped is not recorded; %s mm (3 x D) needed", x.bar.said(), num(minGripD*x.d))
			} else {
				say("%s is gripped %s mm; %s mm (3 x D) needed", x.bar.said(), num(x.rear.lsc), num(minGripD*x.d))
			}
		}
	}
	return w
}

// keepsOut reports whether an adapter before the bar may not enter the hole, or is not proven to.
func (q *search) keepsOut(r *rec) bool {
	return !r.part.DMIN.Known || r.part.DMIN.V > q.req.BoreStartD+deadband
}

// unitChecks lists the rules that the adapters between holder and bar had to pass.
func (q *search) unitChecks(x *found) []Check {
	var out []Check
	for _, u := range x.units() {
		p := u.rec.part
		add := func(code Code, name, value, limit, source string, warn bool) {
			out = append(out, Check{Code: code, Name: name + " of " + u.said(), Value: value, Limit: limit, Source: source,
				OK: x.bits&codeBit[code] == 0, Warn: warn})
		}
		if u.rec.ccms != "" {
			add(codeHub, "coupling", u.rec.ccms, u.in.rec.ccws, "by code, letter for letter", false)
		} else {
			add(codeBore, "shank, mm", num(u.rec.shank), num(u.in.rec.bore), "data-entry allowance, shop default", false)
			add(codeClamp, "grip, mm", grip(u.grip()), fmt.Sprintf("%s (3 x D), better %s", num(minGripD*u.rec.shank), num(goodGripD*u.rec.shank)),
				"trade-magazine article, 2019", u.grip() < goodGripD*u.rec.shank-deadband)
		}
		add(codeOverMax, "overhang, mm", num(x.set-u.at), p.OHX.String(), "maker's longest overhang", false)
		if reach := u.at + p.LF.Or(0); reach > q.req.Clearance+deadband {
			add(codeDmin, "smallest hole, mm", p.DMIN.String(), num(q.req.BoreStartD), "maker's DMIN; it reaches "+num(reach-q.req.Clearance)+" mm into the hole", false)
		}
	}
	return out
}

// overhang returns how far a bar sticks out where the job needs l: one held by its coupling as
// far as it is long.
func (m *Missing) overhang(p *Part, l float64) float64 {
	if p.CCMS() == "" || !p.OAL.Known {
		return l
	}
	for _, n := range m.Needs {
		if least, ok := n.Value.(float64); ok && n.Name == "OAL_min" {
			return max(l, l+p.OAL.V-least)
		}
	}
	return l
}
