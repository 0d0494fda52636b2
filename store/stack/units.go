package stack

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
	if r.ccms == "" {
		style, warn := clampStyle(at.clamp, false, false, false, r.flat, false)
		no, at.warn = no|style, at.warn|warn
		held := 0.0
		if p.OAL.Known && p.LF.Known {
			held = min(at.lsc, p.OAL.V-p.LF.V)
		}
		if held < minGripD*r.shank-deadband {
			no |= bClampLen
		} else if held < goodGripD*r.shank-deadband {
			at.warn |= wClamp
		}
	}
	if !p.LF.Known {
		no |= bShort
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
