package stack

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// K is how many stacks and options a verdict holds at most.
const (
	K          = 5
	optionsMax = 8
	searchWide = 16
)

// Check answers a request: the best stacks, or what is missing. The error is only for a
// request that cannot be read; it is a *BadField.
func (s *Shelf) Check(r Request) (Verdict, error) {
	if err := r.Validate(); err != nil {
		return Verdict{}, err
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.check(r)
}

// check is Check under the shelf's lock, for a valid request.
func (s *Shelf) check(r Request) (Verdict, error) {
	q := newSearch(s, &r, modeStrict, K)
	defer func() { q.done() }()
	if all := q.run(); len(all) > 0 {
		v := Verdict{Buildable: true}
		for i := range all {
			v.Stacks = append(v.Stacks, q.stack(&all[i]))
		}
		v.CoolantLimit, v.Weakest = v.Stacks[0].Route.Limit, v.Stacks[0].Route.Weakest
		return v, nil
	}
	var v Verdict
	q.done()
	q = newSearch(s, &r, modeMissing, searchWide)
	v.Options = q.options(q.run(), optionsMax)
	if len(v.Options) > 0 {
		v.Nearest = v.Options[0].Stack
	}
	for _, o := range v.Options {
		if o.AvailableOn != "" && (v.AvailableOn == "" || o.AvailableOn < v.AvailableOn) {
			v.AvailableOn, v.HeldBy = o.AvailableOn, o.HeldBy
		}
	}
	if v.AvailableOn == "" && len(v.Options) > 0 {
		v.HeldBy = v.Options[0].HeldBy
	}
	s.explain(&r, &v)
	s.misses(&r, &v)
	return v, nil
}

// OtherRoute adds to a buildable verdict the best stack whose coolant goes the other way,
// through the bore or by hose, when all its stacks go one way: a person may want the other, for
// its pressure or to spare a seal. It stands last, in place of the last when there are K, and
// costs about one more check: it is for a verdict that a person reads.
func (s *Shelf) OtherRoute(r Request, v *Verdict) {
	if !v.Buildable || !r.Coolant || r.Station.CoolantPort == "" || r.Validate() != nil ||
		slices.ContainsFunc(v.Stacks, func(st Stack) bool { return st.Route.Kind != v.Stacks[0].Route.Kind }) {
		return
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	q := newSearch(s, &r, modeStrict, 1)
	defer q.done()
	q.only = byLine
	if v.Stacks[0].Route.Kind == byLine {
		q.only = byBore
	}
	if other := q.run(); len(other) > 0 {
		v.Stacks = append(v.Stacks[:min(len(v.Stacks), K-1)], q.stack(&other[0]))
	}
}

// explain finds the nearest stack of owned parts and says what stops it.
func (s *Shelf) explain(r *Request, v *Verdict) {
	q := newSearch(s, r, modeNearest, K)
	defer q.done()
	if len(v.Options) > 0 && v.Options[0].Stack != nil { // near to the answer, not to any stack
		q.near, q.kinds = map[*rec]bool{}, map[Kind]bool{}
		q.kinds[Adapter] = s.adapters > 0 // one that is not proven would do, and its reason is wanted
		for _, u := range v.Options[0].Stack.Pieces {
			if u.Missing {
				q.kinds[u.Role] = true
			}
			if u.Role == Hose || u.Role == Fitting {
				q.kinds[Hose], q.kinds[Fitting] = true, true
			}
		}
		if r.Coolant && r.Station.CoolantPort != "" {
			q.kinds[Hose], q.kinds[Fitting] = true, true // the line is there whichever way the answer goes
		}
		if q.kinds[Holder] {
			q.kinds[Sleeve] = true // what is to hold the bar directly may be there with a sleeve
		}
		for _, u := range v.Options[0].Stack.Pieces {
			if u.Part != nil && s.recs[u.Part.Code] != nil {
				q.near[s.recs[u.Part.Code]] = true
			}
		}
	}
	near := q.run()
	seen := set(0)
	for i := range near {
		x := &near[i]
		if x.cost > near[0].cost {
			break
		}
		for _, c := range x.bits.codes() {
			if seen&codeBit[c] == 0 {
				seen |= codeBit[c]
				v.Reasons = append(v.Reasons, Reason{c, q.sentence(c, x)})
			}
		}
		if x.bits&bPressure != 0 && !v.CoolantLimit.Known {
			rt := q.routeOf(x)
			v.CoolantLimit, v.Weakest = rt.Limit, rt.Weakest
		}
	}
	if len(near) == 0 { // no bar on hand at all
		for _, c := range q.global.codes() {
			v.Reasons = append(v.Reasons, Reason{c, q.sentence(c, nil)})
		}
		if len(v.Options) > 0 {
			for _, m := range v.Options[0].Parts {
				c := emptyCode(m)
				if !slices.ContainsFunc(v.Reasons, func(x Reason) bool { return x.Code == c }) {
					v.Reasons = append(v.Reasons, Reason{c, "nothing on hand will do for " + m.Text()})
				}
			}
		}
	}
	slices.SortStableFunc(v.Reasons, func(a, b Reason) int { return cmp.Compare(codeBit[a.Code], codeBit[b.Code]) })
}

// emptyCode is the reason told for a missing part when no bar is on hand to judge by.
func emptyCode(m Missing) Code {
	if len(m.Owned) > 0 {
		return m.Owned[0].Code
	}
	switch m.Kind {
	case Holder:
		return codeInterface
	case Head:
		return codeHub
	case Insert:
		return codeSeat
	case Hose, Fitting:
		return codeBreak
	}
	return codeBore
}

// stack turns a found combination into what a person reads.
func (q *search) stack(x *found) Stack {
	st := Stack{Overhang: round(x.set, 6), Ratio: x.set / x.d, Route: q.routeOf(x)}
	if x.bar.rec.ccms == "" {
		st.Grip = Some(round(min(x.grip, goodGripD*100*x.d), 6))
		if x.grip >= inf/16 {
			st.Grip = Opt{}
		}
	}
	st.LimitMM = q.limitOf(x)
	if !x.noWT && !slices.ContainsFunc(x.pieces(), func(c *cand) bool { return c.tier == tierHole && weighs(c.rec.kind) }) {
		st.Mass = Some(round(x.mass, 6))
	}
	needs := q.missing(x)
	for _, c := range x.pieces() {
		u := Used{Role: c.rec.kind, Part: c.rec.part, Item: c.item}
		if c.item != nil {
			u.Place = c.item.Place
		}
		if c.tier != tierFree {
			u.Missing = true
			if len(needs) > 0 {
				u.Need, needs = &needs[0], needs[1:]
			}
		}
		st.Pieces = append(st.Pieces, u)
	}
	for _, c := range x.warn.codes() {
		st.Warnings = append(st.Warnings, Reason{c, q.sentence(c, x)})
	}
	st.Checks = q.checks(x)
	st.Remarks = q.remarks(x)
	st.Mech = mechanics(q.req, &st)
	return st
}

func weighs(k Kind) bool { return k != Insert && k != Hose && k != Fitting }

func (q *search) limitOf(x *found) float64 {
	p := x.bar.rec.part
	_, most, _, _ := OverhangLimit(p.Construction, x.d)
	return round(p.OHX.Or(most*x.d), 6)
}

// routeOf tells the way of the coolant with its weakest part.
func (q *search) routeOf(x *found) Route {
	rt := Route{Kind: x.route}
	if x.route == "" {
		return rt
	}
	var way []*cand
	rt.Steps = append(rt.Steps, "station")
	if x.line != nil {
		way = append(way, x.line.p[:x.line.n]...)
	} else {
		way = append(way, x.rear.p[:x.rear.n]...)
	}
	way = append(way, x.bar)
	for _, c := range x.front.p[:x.front.n] {
		if c.rec.kind != Insert {
			way = append(way, c)
		}
	}
	low, known := inf, true
	for _, c := range way {
		id := c.name()
		if id == "" {
			id = "missing " + string(c.rec.kind)
		}
		rt.Steps = append(rt.Steps, id)
		if c.tier == tierHole {
			continue
		}
		if !c.rec.part.CP.Known {
			if known {
				rt.Weakest = id
			}
			known = false
		} else if c.rec.cp < low && known {
			low, rt.Weakest = c.rec.cp, id
		}
	}
	if known && low < inf {
		rt.Limit = Some(low)
	}
	return rt
}

// Validate refuses a request that is missing something, impossible, or contradicts itself.
// The error is a *BadField.
func (r *Request) Validate() error {
	bad := func(field, why string, args ...any) error {
		return &BadField{Field: field, Why: fmt.Sprintf(why, args...)}
	}
	size := func(field string, v, lo, hi float64) error {
		if field == "request.bore_start_d" && v >= 0 && v < lo {
			return bad(field, "no head goes into a hole of %s mm; from %s to %s mm", num(v), num(lo), num(hi))
		}
		if !(v >= lo && v <= hi) {
			return bad(field, "%s mm is out of range; from %s to %s mm", num(v), num(lo), num(hi))
		}
		return nil
	}
	if err := cmp.Or(size("request.bore_start_d", r.BoreStartD, minBore, maxDia), size("request.depth", r.Depth, 0.1, maxLen),
		size("request.clearance", r.Clearance, 0, maxLen)); err != nil {
		return err
	}
	for _, o := range []struct {
		field string
		v     Opt
	}{
		{"station.coolant_max_bar", r.Station.CoolantMaxBar}, {"station.max_projection", r.Station.MaxProjection},
		{"station.max_mass_kg", r.Station.MaxMassKg}, {"insert.RE", r.Insert.RE}, {"bore_end_d", r.BoreEndD},
	} {
		if o.v.Known && !(o.v.V >= 0 && o.v.V < 1e6) {
			return bad("request."+o.field, "%s is out of range; from 0 to under 1000000", num(o.v.V))
		}
	}
	for _, o := range []struct {
		field  string
		v      Opt
		lo, hi float64
	}{
		{"vc", r.Cutting.VC, 0, 5000}, {"f", r.Cutting.F, 0, 50}, {"ap", r.Cutting.AP, 0, 100}, {"eta", r.Cutting.Eta, 0, 1},
	} {
		if o.v.Known && !(o.v.V > o.lo && o.v.V <= o.hi) {
			return bad("request.cutting."+o.field, "%s is out of range; over %s, up to %s", num(o.v.V), num(o.lo), num(o.hi))
		}
	}
	switch {
	case r.Cutting.Group < 0 || r.Cutting.Group > 41:
		return bad("request.cutting.group", "%d is no group of VDI 3323; from 1 to 41, or leave it out", r.Cutting.Group)
	case strings.TrimSpace(r.Station.Interface) == "":
		return bad("request.station.interface", "is missing: which turret seat does the stack bolt to?")
	case bare(r.Station.Interface):
		return bad("request.station.interface", "%q is a bare number; write the system too, as VDI%[1]s or BMT%[1]s", r.Station.Interface)
	case r.Hand != "R" && r.Hand != "L" && r.Hand != "N":
		return bad("request.hand", "%q is none of R, L, N", r.Hand)
	case strings.TrimSpace(r.Insert.Seat) == "":
		return bad("request.insert.seat", "is missing: which pocket is wanted?")
	case !(r.CoolantBar >= 0 && r.CoolantBar <= 5000):
		return bad("request.coolant_bar", "%s bar is out of range; from 0 to 5000", num(r.CoolantBar))
	case !r.Coolant && r.CoolantBar > 0:
		return bad("request.coolant_bar", "a pressure of %s bar without coolant; say coolant true, or leave the pressure out", num(r.CoolantBar))
	case r.EdgesNeeded < 0:
		return bad("request.edges_needed", "%d is under zero", r.EdgesNeeded)
	case r.BoreEndD.Known && r.BoreEndD.V < r.BoreStartD:
		return bad("request.bore_end_d", "%s mm is under the starting hole of %s mm", num(r.BoreEndD.V), num(r.BoreStartD))
	case r.Until != "" && r.Until < r.NeedDate:
		return bad("request.until", "%s is before the need date %s", r.Until, r.NeedDate)
	}
	for _, d := range []struct {
		field string
		v     Date
	}{{"need_date", r.NeedDate}, {"until", r.Until}, {"today", r.Today}} {
		if d.v == "" && d.field != "need_date" {
			continue
		}
		if _, err := ParseDate(string(d.v)); err != nil {
			return bad("request."+d.field, "%v", err)
		}
	}
	if p := r.Station.CoolantPort; p != "" && portEnd(p) == "" {
		return bad("request.station.coolant_port", "%q is no port; write gender and thread, as F:G 1/4", p)
	}
	return nil
}

// bare reports whether a code is only a number: 40 alone is several turret seats and couplings.
func bare(code string) bool {
	return strings.Trim(code, "0123456789 .,/\"") == ""
}

// minBore is the smallest starting hole a boring bar enters, mm: no head goes into less. Shop
// default, no source.
const minBore = 1.0
