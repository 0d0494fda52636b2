package stack

import (
	"fmt"
	"strings"
)

// role returns the part of that kind in x, nil when there is none.
func (x *found) role(k Kind) *cand {
	if x == nil {
		return nil
	}
	for _, c := range x.pieces() {
		if c.rec.kind == k {
			return c
		}
	}
	return nil
}

// edge returns the part that carries the pocket.
func (x *found) edge() *cand {
	if h := x.role(Head); h != nil {
		return h
	}
	if x == nil {
		return nil
	}
	return x.bar
}

func (c *cand) said() string {
	switch {
	case c == nil:
		return "nothing"
	case c.item != nil:
		return c.item.called()
	case c.name() != "":
		return c.name()
	}
	return "the missing " + string(c.rec.kind)
}

// sentence says a reason or a warning of x to a person, with its numbers. x may be nil where
// the request alone decides.
func (q *search) sentence(code Code, x *found) string {
	r := q.req
	st := r.Station
	d := 0.0
	var bar *Part
	if x != nil {
		d, bar = x.d, x.bar.rec.part
	}
	switch code {
	case codeProject:
		if x != nil && q.global&bProject == 0 {
			if why := q.adapterWhy(x, code); len(why) > 0 {
				return strings.Join(why, "; ")
			}
			return fmt.Sprintf("the stack stands out %s mm, the machine can swing %s mm", num(x.set+x.rear.proj), st.MaxProjection)
		}
		return fmt.Sprintf("the job needs %s mm of overhang, the machine can swing %s mm", num(r.Overhang()), st.MaxProjection)
	case codePump:
		if !st.CoolantMaxBar.Known {
			return fmt.Sprintf("%s bar of coolant asked, the station's limit is not recorded", num(r.CoolantBar))
		}
		return fmt.Sprintf("%s bar of coolant asked, the station's limit is %s bar", num(r.CoolantBar), st.CoolantMaxBar)
	}
	if x == nil {
		return string(code)
	}
	holder, sleeve, head, insert := x.role(Holder), x.role(Sleeve), x.role(Head), x.front.insert
	holds := x.holds()
	if why := q.adapterWhy(x, code); len(why) > 0 {
		return strings.Join(why, "; ")
	}
	switch code {
	case codeInterface:
		switch {
		case holder == nil:
			return fmt.Sprintf("no holder on hand bolts to %s", st.Interface)
		case holder.rec.iface == "":
			return fmt.Sprintf("which turret seat %s bolts to is not recorded, the turret is %s", holder.said(), st.Interface)
		}
		return fmt.Sprintf("%s bolts to %s, the turret is %s", holder.said(), holder.rec.iface, st.Interface)
	case codeBore:
		return fmt.Sprintf("nothing on hand holds the %s shank of %s: no holder of that bore, no sleeve with that inside", sizeOf(d, bar.inch(Machine)), x.bar.said())
	case codeStyle:
		if sleeve != nil {
			return fmt.Sprintf("%s is damped; %s is not made to grip a damped bar full length", x.bar.said(), sleeve.said())
		}
		if bar.Damped() {
			return fmt.Sprintf("%s is damped and needs full-round grip; the set screws of %s must not bear on it", x.bar.said(), holds.said())
		}
		return fmt.Sprintf("%s has no flat; the set screws of %s would turn and bruise it", x.bar.said(), holds.said())
	case codeClamp:
		short := x.shortGrip()
		if short == nil || short.rec.lsc <= 0 {
			return fmt.Sprintf("how long %s grips (LSC) is not recorded; at least %s mm (3 x D) needed, %s mm (4 x D) better", short.said(), num(minGripD*d), num(goodGripD*d))
		}
		return fmt.Sprintf("%s grips %s mm, which is %s x D; at least %s mm (3 x D) needed, %s mm (4 x D) better",
			short.said(), num(short.rec.lsc), ratio(short.rec.lsc, d), num(minGripD*d), num(goodGripD*d))
	case codeShort:
		if !bar.OAL.Known {
			return fmt.Sprintf("the length of %s is not recorded, so its grip cannot be proven", x.bar.said())
		}
		if x.bar.rec.ccms != "" {
			if x.front.noLF {
				return fmt.Sprintf("the length LF of %s is not recorded, so its reach cannot be proven", head.said())
			}
			return fmt.Sprintf("held by its coupling, %s reaches %s mm, the job needs %s mm", x.bar.said(), num(x.set), num(q.l))
		}
		if x.front.noLF {
			return fmt.Sprintf("the length LF of %s is not recorded, so the grip cannot be proven", head.said())
		}
		own := x.set - x.rear.ext
		left := max(bar.OAL.V+x.front.lf-own, 0)
		long := sizeOf(bar.OAL.V, bar.inch(""))
		head := ""
		if x.front.lf > 0 {
			head = fmt.Sprintf(", %s mm with its head,", num(bar.OAL.V+x.front.lf))
		}
		return fmt.Sprintf("%s is %s long%s and stands out %s mm, which leaves %s to grip; %s mm (3 x D) needed", x.bar.said(), long, head, num(own), noneOr(left), num(minGripD*d))
	case codeOverMax:
		rec, most, _, ok := OverhangLimit(bar.Construction, d)
		switch {
		case bar.OHX.Known:
			return fmt.Sprintf("%s mm of overhang needed; the maker allows %s mm for %s", num(x.set), num(bar.OHX.V), x.bar.said())
		case !ok:
			return fmt.Sprintf("the construction of %s is not recorded, so no overhang is proven for it", x.bar.said())
		}
		return fmt.Sprintf("%s mm of overhang is %s x D of %s, %s thick; %s may stand out %s mm (%s x D), %s mm (%s x D) recommended",
			num(x.set), ratio(x.set, d), x.bar.said(), sizeOf(d, bar.inch(Machine)), word(bar.Construction), num(most*d), num(most), num(rec*d), num(rec))
	case codeOverMin:
		switch {
		case x.bar.rec.ccms != "" && (!bar.OAL.Known || x.front.noLF):
			return fmt.Sprintf("how far %s sticks out is not recorded; it may not be used under %s mm", x.bar.said(), bar.OHN)
		case x.bar.rec.ccms != "":
			return fmt.Sprintf("held by its coupling, %s sticks out %s mm; it may not be used under %s mm", x.bar.said(), num(x.set-x.rear.ext), bar.OHN)
		}
		return fmt.Sprintf("the job needs %s mm, %s may not be set under %s mm, the machine can swing %s mm", num(q.l), x.bar.said(), bar.OHN, st.MaxProjection)
	case codeHub:
		if held := x.bar.rec.ccms; x.rear.none && held != "" && q.there(q.s.coded(Holder, Workpiece, Coupling, held), nil) {
			return fmt.Sprintf("the rest of the nearest stack has no coupling %s to hold %s", held, x.bar.said())
		} else if x.rear.none && held != "" {
			text := fmt.Sprintf("no holder on hand has the coupling %s that holds %s", x.bar.rec.ccms, x.bar.said())
			if !x.front.none || q.headThere(x.bar.rec.ccws) {
				return text
			}
			return text + fmt.Sprintf(", and no head on hand for %s has its coupling %s", headFor(r), x.bar.rec.ccws)
		}
		if q.headThere(x.bar.rec.ccws) {
			return fmt.Sprintf("the rest of the nearest stack has no head with the coupling %s of %s that would do; couplings of other sizes do not fit", x.bar.rec.ccws, x.bar.said())
		}
		return fmt.Sprintf("no head on hand for %s has the coupling %s of %s; couplings of other sizes do not fit", headFor(r), x.bar.rec.ccws, x.bar.said())
	case codeDmin:
		return q.tooSmall(x.edge())
	case codeBody:
		if d == 0 {
			return fmt.Sprintf("the thickness of %s is not recorded, so it is not proven to go into the hole", x.bar.said())
		}
		return fmt.Sprintf("%s is %s thick, the hole is %s mm", x.bar.said(), sizeOf(d, bar.inch(Machine)), num(r.BoreStartD))
	case codeHand:
		e := x.edge()
		if e.rec.part.Hand == "" {
			return fmt.Sprintf("the hand of %s is not recorded, the station needs %s", e.said(), r.Hand)
		}
		return fmt.Sprintf("%s is of hand %s, the station needs %s", e.said(), e.rec.part.Hand, r.Hand)
	case codeSeat:
		return fmt.Sprintf("no insert on hand fits the pocket %s", r.Insert.Seat)
	case codeSeatReq:
		e := x.edge()
		if e.rec.part.Seat() == "" {
			return fmt.Sprintf("the pocket of %s is not recorded, asked is %s", e.said(), r.Insert.Seat)
		}
		return fmt.Sprintf("%s has the pocket %s, asked is %s", e.said(), e.rec.part.Seat(), r.Insert.Seat)
	case codeBreak:
		return "no unbroken way for the coolant: " + q.whyBroken(x)
	case codePressure:
		rt := q.routeOf(x)
		if !rt.Limit.Known {
			return fmt.Sprintf("the coolant rating of %s is not recorded, so %s bar is not proven", rt.Weakest, num(r.CoolantBar))
		}
		return fmt.Sprintf("%s is rated %s bar, %s bar asked; at %s bar or less it could be built", rt.Weakest, rt.Limit, num(r.CoolantBar), rt.Limit)
	case codeMass:
		if x.noWT {
			return fmt.Sprintf("the mass of %s is not recorded, so the station's limit of %s kg is not proven to hold", strings.Join(x.unweighed(), " and of "), st.MaxMassKg)
		}
		return fmt.Sprintf("the stack weighs %s kg, the station carries %s kg", num(x.mass), st.MaxMassKg)
	case codeOut, codeReserved, codeHeld, codeLost, codeNoStock, codeOnOrder:
		var w []string
		for _, c := range x.pieces() {
			if c.bits&codeBit[code] != 0 && c.item != nil {
				w = append(w, c.item.borrow(r).Text)
			}
		}
		return strings.Join(w, "; ")

	case warnRec:
		rec, most, _, _ := OverhangLimit(bar.Construction, d)
		return fmt.Sprintf("%s mm of overhang is %s x D: over the recommended %s mm (%s x D), the limit is %s", num(x.set), ratio(x.set, d), num(rec*d), num(rec), limitWord(bar, most, d))
	case warnOHN:
		return fmt.Sprintf("the job needs %s mm, the shortest overhang of %s is %s mm: set it at %s mm", num(q.l), x.bar.said(), bar.OHN, num(x.set))
	case warnClamp:
		for _, u := range x.units() { // of an adapter in the holder the shank counts, not the bar's
			if g := u.grip(); u.rec.ccms == "" && g < goodGripD*u.rec.shank-deadband {
				return fmt.Sprintf("the shank of %s is held %s mm, which is %s x its diameter: usable, %s mm (4 x) is better", u.said(), num(g), ratio(g, u.rec.shank), num(goodGripD*u.rec.shank))
			}
		}
		return fmt.Sprintf("%s is gripped %s mm, which is %s x D: usable, %s mm (4 x D) is better", x.bar.said(), grip(x.grip), ratio(x.grip, d), num(goodGripD*d))
	case warnSleeve:
		return fmt.Sprintf("the set screws of %s bear on %s: follow the sleeve maker's sheet", holder.said(), sleeve.said())
	case warnCarbide:
		return fmt.Sprintf("%s is carbide and brittle under point load: set screws on the flat only", x.bar.said())
	case warnChips:
		return fmt.Sprintf("%s is %s thick and leaves only %s mm a side for chips in a hole of %s mm", x.bar.said(), sizeOf(d, bar.inch(Machine)), num((r.BoreStartD-d)/2), num(r.BoreStartD))
	case warnRE:
		if !insert.rec.part.RE.Known {
			return fmt.Sprintf("the nose radius of %s is not recorded, asked is %s mm: side force and finish may change, correct the offset", insert.said(), r.Insert.RE)
		}
		return fmt.Sprintf("the nose radius of %s is %s mm, asked is %s mm: side force and finish change, correct the offset", insert.said(), insert.rec.part.RE, r.Insert.RE)
	case warnHeavy:
		more := ""
		if x.noWT {
			more = " and more, as not every mass is recorded"
		}
		return fmt.Sprintf("the stack weighs %s kg%s: lift it with a hoist or two people", num(x.mass), more)
	case warnCentre:
		return fmt.Sprintf("%s has no index mark: set the centre height by hand and check on a facing cut", sleeve.said())
	case warnEdges:
		if insert.rec.part.Edges <= 0 {
			return fmt.Sprintf("how many edges %s has is not recorded, %d needed", insert.said(), r.EdgesNeeded)
		}
		return fmt.Sprintf("%s of %s on hand, %d needed", count(float64(insert.edges), "edge"), insert.said(), r.EdgesNeeded)
	}
	return string(code)
}

func grip(v float64) string {
	switch {
	case v <= 0:
		return "not recorded"
	case v >= inf/16:
		return "enough"
	}
	return num(v)
}

func ratio(v, d float64) string {
	if v <= 0 || d <= 0 || v >= inf/16 {
		return "not known"
	}
	return num(round(v/d, 2))
}

func limitWord(bar *Part, most, d float64) string {
	if bar.OHX.Known {
		return num(bar.OHX.V) + " mm by the maker"
	}
	return num(most*d) + " mm (" + num(most) + " x D)"
}

func noneOr(mm float64) string {
	if mm <= 0 {
		return "none"
	}
	return num(mm) + " mm"
}

// shortGrip returns what grips the bar too short, the sleeve or what it sits in; nil when
// neither is to blame.
func (x *found) shortGrip() *cand {
	var out *cand
	for _, c := range []*cand{x.holds(), x.role(Sleeve)} {
		if c != nil && c.rec.lsc < minGripD*x.d-deadband && (out == nil || c.rec.lsc < out.rec.lsc) {
			out = c
		}
	}
	return out
}

// unweighed names the parts whose mass is not recorded.
func (x *found) unweighed() (out []string) {
	for _, c := range x.pieces() {
		if c.rec.noWT && weighs(c.rec.kind) && !inLine(c.rec) {
			out = append(out, c.said())
		}
	}
	return out
}

// there reports whether a part of the classes is on hand and free, of all the shop has: the
// nearest stack is looked for among the parts of the answer only, and what it lacks may be there.
func (q *search) there(classes []*class, ok func(*rec) bool) bool {
	for _, c := range classes {
		for _, r := range c.of {
			if r.nth(q.req, 0) != nil && (ok == nil || ok(r)) {
				return true
			}
		}
	}
	return false
}

// headThere reports whether a free head that would do has that coupling.
func (q *search) headThere(coupling string) bool {
	return q.there(q.s.coded(Head, Machine, Coupling, coupling), func(h *rec) bool { return q.judgeEdge(h) == 0 })
}

// headFor says what a head must do.
func headFor(r *Request) string {
	return fmt.Sprintf("pocket %s, hand %s and a hole of %s mm", r.Insert.Seat, r.Hand, num(r.BoreStartD))
}

// tooSmall says that a part needs a bigger hole than there is, or may.
func (q *search) tooSmall(c *cand) string {
	if p := c.rec.part; p.DMIN.Known {
		return fmt.Sprintf("%s needs a hole of %s, the part has %s mm before this tool", c.said(), sizeOf(p.DMIN.V, p.inch("")), num(q.req.BoreStartD))
	}
	return fmt.Sprintf("the smallest hole that %s goes into is not recorded, the part has %s mm before this tool", c.said(), num(q.req.BoreStartD))
}

// whyBroken tells where the coolant stops on both ways.
func (q *search) whyBroken(x *found) string {
	var w []string
	holder, sleeve, b := x.role(Holder), x.role(Sleeve), x.bar.rec
	for _, c := range x.rear.p[:x.rear.n] {
		if c.rec.kind == Adapter && !c.rec.part.Coolant {
			w = append(w, c.said()+" does not pass it on")
		}
	}
	switch {
	case holder != nil && !holder.rec.part.Coolant:
		w = append(w, holder.said()+" does not feed its bore")
	case sleeve != nil && !sleeve.rec.part.Sealed:
		w = append(w, sleeve.said()+" is not sealed and would lose it")
	}
	switch {
	case !b.part.Coolant:
		w = append(w, x.bar.said()+" is not drilled for coolant")
	case !b.throughs:
		w = append(w, x.bar.said()+" has no inlet at its rear")
	}
	if !x.front.cool {
		for _, c := range x.front.p[:x.front.n] {
			if c.rec.kind != Insert && !c.rec.part.Coolant {
				w = append(w, c.said()+" does not pass it on")
			}
		}
	}
	if len(b.inlets) > 0 {
		if q.req.Station.CoolantPort == "" {
			w = append(w, "the station has no outlet for a hose")
		} else {
			w = append(w, fmt.Sprintf("no hose or fitting joins the outlet %s to the inlet %s", endWord(portEnd(q.req.Station.CoolantPort)), endWords(b.inlets, " or ")))
		}
	}
	if len(w) == 0 {
		return "the parts do not pass it on"
	}
	return strings.Join(w, "; ")
}

// checks lists every rule that was applied to x, with value, limit and where the limit is from.
func (q *search) checks(x *found) []Check {
	r := q.req
	b, p := x.bar.rec, x.bar.rec.part
	var out []Check
	add := func(bit Code, warn set, name, value, limit, source string) {
		out = append(out, Check{Code: bit, Name: name, Value: value, Limit: limit, Source: source,
			OK: x.bits&codeBit[bit] == 0, Warn: x.warn&warn != 0})
	}
	const code, request = "by code, letter for letter", "request"
	holder, sleeve, head := x.role(Holder), x.role(Sleeve), x.role(Head)
	if holder != nil {
		add(codeInterface, 0, "turret seat", holder.rec.iface, r.Station.Interface, code)
	}
	if b.ccms != "" {
		if holds := x.holds(); holds != nil {
			add(codeHub, 0, "coupling that holds the bar", b.ccms, holds.rec.ccws, code)
		}
		reach := num(x.set)
		if !p.OAL.Known || x.front.noLF {
			reach = "not known"
		}
		add(codeShort, 0, "reach of bar and head, mm", reach, num(q.l)+" or more", "by its coupling it sticks out as far as it is long")
	} else {
		if holder := x.holds(); holder != nil {
			way := num(holder.rec.bore)
			if sleeve != nil {
				way += " / " + num(sleeve.rec.shank) + " in, " + num(sleeve.rec.bore)
			}
			add(codeBore, wCentre, "diameters, mm", way+" / "+num(x.d), "equal within 0.02", "data-entry allowance, shop default")
			held := x.rear.clamp
			if held == "" {
				held = "not recorded"
			}
			if sleeve != nil {
				held += " on sleeve"
			}
			limit := "split, or screws on a flat"
			if b.damped {
				limit = "full-round grip"
			}
			add(codeStyle, wSleeve|wCarbide, "clamp", held, limit, "common practice, no source")
		}
		src := "trade-magazine article, 2019"
		if holder != nil && holder.rec.part.Maker != "" {
			src += "; length by the maker"
		}
		add(codeClamp, wClamp, "grip of holder and sleeve, mm", grip(x.rear.lsc), fmt.Sprintf("%s (3 x D), better %s", num(minGripD*x.d), num(goodGripD*x.d)), src)
		left := "not known"
		if p.OAL.Known && !x.front.noLF && x.front.lf < inf/8 {
			left = num(p.OAL.V + x.front.lf - (x.set - x.rear.ext))
		}
		add(codeShort, wClamp, "bar left to grip, mm", left, fmt.Sprintf("%s (3 x D), better %s", num(minGripD*x.d), num(goodGripD*x.d)), "trade-magazine article, 2019")
	}
	rec, most, src, ok := OverhangLimit(p.Construction, x.d)
	limit := fmt.Sprintf("%s x D, recommended %s", num(most), num(rec))
	if !ok {
		limit, src = "not known", "construction not recorded"
	}
	if p.OHX.Known {
		limit, src = num(p.OHX.V)+" mm", "maker's longest overhang"
	}
	add(codeOverMax, wRec, "overhang", fmt.Sprintf("%s mm = %s x D", num(x.set), ratio(x.set, x.d)), limit, src)
	if p.Damped() && p.OHN.Known {
		add(codeOverMin, wOHN, "shortest overhang, mm", num(x.set-x.rear.ext), p.OHN.String()+" or more", "maker's shortest overhang")
	}
	out = append(out, q.unitChecks(x)...)
	if m := r.Station.MaxProjection; m.Known {
		add(codeProject, 0, "swing of the machine, mm", num(x.set+x.rear.proj), m.String(), "station")
	}
	if head != nil {
		add(codeHub, 0, "coupling", head.rec.ccms, b.ccws, code)
	}
	e := x.edge()
	add(codeDmin, 0, "smallest hole, mm", e.rec.part.DMIN.String(), num(r.BoreStartD), "maker's DMIN; hole before this tool")
	add(codeBody, wChips, "bar in the hole, mm", num(x.d), fmt.Sprintf("under %s, better up to %s", num(r.BoreStartD), num(chipShare*r.BoreStartD)), "80 % for chips is a shop default, no source")
	add(codeHand, 0, "hand", e.rec.part.Hand, r.Hand+" or N", request)
	add(codeSeatReq, 0, "pocket", e.rec.part.Seat(), r.Insert.Seat, request)
	if in := x.front.insert; in != nil {
		add(codeSeat, wRE, "insert", in.rec.part.Seat()+", radius "+in.rec.part.RE.String(), r.Insert.Seat+", radius "+r.Insert.RE.String(), "ISO 1832 and request")
		if r.EdgesNeeded > 0 {
			add(codeNoStock, wLowEdges, "edges on hand", fmt.Sprint(in.edges), fmt.Sprint(r.EdgesNeeded), request)
		}
	}
	if x.route != "" {
		rt := q.routeOf(x)
		add(codePressure, 0, "coolant rating, bar", rt.Limit.String()+" ("+rt.Weakest+")", num(r.CoolantBar), "lowest rated pressure on the way")
		add(codePump, 0, "station's coolant, bar", r.Station.CoolantMaxBar.String(), num(r.CoolantBar), "station")
	}
	mass := num(x.mass)
	if x.noWT {
		mass += " and more; not all masses are recorded"
	}
	lim, from := "15 for one person", "common practice, no source"
	if m := r.Station.MaxMassKg; m.Known {
		lim, from = m.String()+"; "+lim, "station; "+from
	}
	add(codeMass, wHeavy, "mass, kg", mass, lim, from)
	return out
}

// remarks are worth knowing and stop nothing.
func (q *search) remarks(x *found) []string {
	var out []string
	p := x.bar.rec.part
	if p.Damped() && !p.OHN.Known && x.set < 4*x.d-deadband {
		out = append(out, fmt.Sprintf("the shortest overhang of %s is not recorded; set out less than %s mm (4 x D) a damped bar may not damp (shop default)", x.bar.said(), num(4*x.d)))
	}
	if s := x.role(Sleeve); s != nil && s.tier == tierFree {
		if s.rec.part.Index == "" {
			out = append(out, "whether "+s.said()+" has an index mark is not recorded: check the centre height")
		}
		if w := (s.rec.shank - s.rec.bore) / 2; w < 3 {
			out = append(out, fmt.Sprintf("%s has a wall of %s mm; under 3 mm it may crush and mark the bar (shop default)", s.said(), num(w)))
		}
	}
	if h := x.role(Holder); h != nil && h.tier == tierFree && h.rec.part.Clamp() == "" && x.bar.rec.ccms == "" {
		out = append(out, "how "+h.said()+" clamps is not recorded; judged as set screws")
	}
	if x.bar.rec.ccms != "" && x.set > q.l+deadband {
		out = append(out, fmt.Sprintf("held by its coupling, %s sticks out %s mm where %s mm would do", x.bar.said(), num(x.set), num(q.l)))
	}
	if in := x.front.insert; in != nil && in.tier == tierFree && q.req.EdgesNeeded > 0 {
		own := in.item.free(q.req) * in.rec.part.Edges
		if own < q.req.EdgesNeeded && in.edges > own {
			out = append(out, fmt.Sprintf("lot %s alone has %s; other lots of %s bring it to %s", in.item.ID, count(float64(own), "edge"), in.rec.part.Code, count(float64(in.edges), "edge")))
		}
	}
	return out
}
