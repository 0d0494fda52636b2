package stack

import (
	"math"
	"slices"
)

// A setup is a stack taken apart, so that another part can be judged in one of its places: what
// nobody has recorded stands there with the sizes asked of it. The places are numbers in parts, in
// the order of Stack.Pieces.
type setup struct {
	r     *Request
	parts []*Part

	seats, units, fronts, line []int // adapters at the turret, behind and before the bar; the line
	holder, sleeve, bar, head  int   // -1: none
	insert                     int
	coupled                    bool // the bar is held by a coupling
	route                      string
}

// setupOf takes a stack apart. ok is false when it is no whole stack.
func setupOf(r *Request, st *Stack) (s setup, ok bool) {
	s = setup{r: r, holder: -1, sleeve: -1, bar: -1, head: -1, insert: -1, route: st.Route.Kind}
	for i := range st.Pieces {
		u := &st.Pieces[i]
		p := u.Part
		if u.Missing && u.Need != nil && u.Item == nil && p.Code == "" {
			p = u.Need.part()
		}
		s.parts = append(s.parts, p)
		switch {
		case s.insert >= 0:
			s.line = append(s.line, i)
		case u.Role == Holder:
			s.holder = i
		case u.Role == Sleeve:
			s.sleeve = i
		case u.Role == Bar:
			s.bar = i
		case u.Role == Head:
			s.head = i
		case u.Role == Insert:
			s.insert = i
		case u.Role == Adapter && s.bar >= 0:
			s.fronts = append(s.fronts, i)
		case u.Role == Adapter && s.holder >= 0:
			s.units = append(s.units, i)
		case u.Role == Adapter:
			s.seats = append(s.seats, i)
		}
	}
	if s.holder < 0 || s.bar < 0 || s.insert < 0 {
		return s, false
	}
	s.coupled = s.parts[s.bar].CCMS() != ""
	return s, true
}

// part makes a part of exactly the sizes asked for.
func (m *Missing) part() *Part {
	p := &Part{Kind: m.Kind, LF: Some(0)}
	bore := Joint{Side: Workpiece, Family: Cylindrical, Gender: "F"}
	shank := Joint{Side: Machine, Family: Cylindrical, Gender: "M"}
	for _, n := range m.Needs {
		f, _ := n.Value.(float64)
		s, _ := n.Value.(string)
		coded := func(side Side, family Family) {
			p.Joints = append(p.Joints, Joint{Side: side, Family: family, Code: s})
		}
		switch n.Name {
		case "interface":
			coded(Machine, TurretSeat)
		case "seat_out":
			coded(Workpiece, TurretSeat)
		case "CCMS":
			coded(Machine, Coupling)
		case "CCWS":
			coded(Workpiece, Coupling)
		case "seat":
			coded(map[bool]Side{true: Machine, false: Workpiece}[m.Kind == Insert], Pocket)
		case "DCONMS":
			shank.Size = Some(f)
		case "DCONWS":
			bore.Size = Some(f)
		case "LSC_min":
			bore.LSC = Some(f)
		case "clamp":
			bore.Clamp = s
		case "flat":
			shank.Flat = true
		case "construction":
			p.Construction = s
		case "HAND":
			p.Hand = s
		case "coolant":
			p.Coolant = true
		case "sealed":
			p.Sealed = true
		case "for_damped":
			p.ForDamped = true
		case "coolant_in", "ends":
			for _, e := range n.Value.([]string) {
				if j, err := parseEnd(e); err == nil {
					j.Side = CoolantIn
					p.Joints = append(p.Joints, j)
				}
			}
		case "RE":
			p.RE = Some(f)
		case "OAL_min":
			p.OAL = Some(f)
		case "LF_min":
			p.LF = Some(f)
		case "CP_min":
			p.CP = Some(f)
		case "DMIN_max":
			p.DMIN = Some(f)
		case "OHX_min":
			p.OHX = Some(f)
		case "WT_max":
			p.WT = Some(f)
		}
	}
	if shank.Size.Known {
		p.Joints = append(p.Joints, shank)
	}
	if bore.Size.Known {
		p.Joints = append(p.Joints, bore)
	}
	return p
}

// A fault is a rule that a part breaks in its place, and the size it would have to have.
type fault struct {
	code Code
	need Need
	far  float64 // share of the size that it is off, at most 1; 1.5 not recorded, 2 nothing to measure
	say  func() string
}

// A judge looks at one part in one place of a setup, by all the rules.
type judge struct {
	*setup
	at    int
	p     *Part
	n     int   // rules broken, counted up to 2
	one   fault // the first
	other bool  // of another build, or what no one size of the part mends
}

// rules applies all of them to the part in its place, until two are broken.
func (j *judge) rules() {
	for _, rule := range [...]func(){j.joints, j.held, j.lengths, j.edge, j.weight, j.coolant} {
		if rule(); j.other || j.n > 1 {
			return
		}
	}
}

// fault returns the one thing wrong with a part in the place of another, nil when nothing is or
// more than one size would have to change.
func (s *setup) fault(at int, p *Part) *fault {
	j := judge{setup: s, at: at, p: p}
	if j.rules(); j.other || j.n != 1 {
		return nil
	}
	if q := *p; q.stretch(j.one.need) { // what is right for the one end of a length may be wrong for the other
		if k := (judge{setup: s, at: at, p: &q}); !k.right() {
			return nil
		}
	}
	return &j.one
}

// stretch gives a part another length or a bar another thickness, and reports whether the need is
// one of those.
func (p *Part) stretch(n Need) bool {
	f, _ := n.Value.(float64)
	switch n.Name {
	case "OAL_min", "OAL_max":
		p.OAL = Some(f)
	case "LF_min", "LF_max":
		p.LF = Some(f)
	case "OHN_max":
		p.OHN = Some(f)
	case "OHX_min":
		p.OHX = Some(f)
	case "DCONMS":
		p.Joints = slices.Clone(p.Joints)
		for i := range p.Joints {
			if x := &p.Joints[i]; x.Side == Machine && (x.Family == Cylindrical || x.Family == Coupling && p.Kind == Bar) {
				x.Size = Some(f)
			}
		}
	default:
		return false
	}
	return true
}

func (j *judge) right() bool {
	j.rules()
	return !j.other && j.n == 0
}

// whole reports whether the setup itself breaks no rule.
func (s *setup) whole() bool {
	j := judge{setup: s, at: -1}
	return j.right()
}

func (j *judge) part(i int) *Part {
	if i == j.at {
		return j.p
	}
	return j.parts[i]
}

// add notes a broken rule when the part in place i is the one that is judged; another part that
// breaks one is no fault of a size of this one.
func (j *judge) add(i int, code Code, name string, value any, far float64, say func() string) {
	if i != j.at {
		j.other = true
		return
	}
	if j.n++; j.n == 1 {
		j.one = fault{code, Need{name, value}, far, say}
	}
}

// joints holds the chain of joints from the turret to the insert together.
func (j *judge) joints() {
	prev, open := -1, j.r.Station.Interface
	for _, i := range append(slices.Clip(j.seats), j.holder) {
		have := j.part(i).Interface()
		switch {
		case have == "" || open == "":
			j.other = true
		case have == open:
		case prev >= 0 && prev == j.at:
			j.add(prev, codeInterface, "seat_out", have, 2, sayf("turret seat %s in front, %s needed", open, have))
		default:
			want := open
			j.add(i, codeInterface, "interface", want, 2, sayf("turret side %s, %s needed", have, want))
		}
		prev, open = i, j.part(i).code(Workpiece, TurretSeat)
	}
	in := j.holder
	for _, i := range j.units {
		j.joint(in, i, j.parts[i].CCMS() != "")
		in = i
	}
	if j.sleeve >= 0 && !j.coupled {
		j.joint(in, j.sleeve, false)
		in = j.sleeve
	}
	j.joint(in, j.bar, j.coupled)
	in = j.bar
	for _, i := range j.fronts {
		j.joint(in, i, true)
		in = i
	}
	if j.head >= 0 {
		j.joint(in, j.head, true)
	}
	e := j.part(j.cutting())
	if e.code(Workpiece, Pocket) == "" {
		j.other = true
	} else if want := j.r.Insert.Seat; seatKey(e.Seat()) != seatKey(want) {
		j.add(j.cutting(), codeSeatReq, "seat", want, 2, sayf("pocket %s, %s needed", e.Seat(), want))
	}
	if in, want := j.part(j.insert), j.r.Insert.Seat; seatKey(in.Seat()) != seatKey(want) {
		j.add(j.insert, codeSeat, "seat", want, 2, sayf("fits pocket %s, %s needed", in.Seat(), want))
	}
}

// cutting is the place of the part that carries the pocket.
func (j *judge) cutting() int {
	if j.head >= 0 {
		return j.head
	}
	return j.bar
}

// joint judges the joint in front of the part in place a, into which that in place b goes.
func (j *judge) joint(a, b int, coupled bool) {
	x, y := j.part(a), j.part(b)
	if coupled {
		front, rear := x.CCWS(), y.CCMS()
		switch {
		case front == "" || rear == "":
			j.other = true // another build: it has no coupling there
		case front == rear:
		case a == j.at:
			j.add(a, codeHub, "CCWS", rear, 2, sayf("coupling %s in front, %s needed", front, rear))
		default:
			j.add(b, codeHub, "CCMS", front, 2, sayf("coupling %s on the machine side, %s needed", rear, front))
		}
		return
	}
	if y.Kind != Sleeve && y.CCMS() != "" {
		j.other = true
		return
	}
	bore, shank := x.DCONWS(), y.DCONMS()
	if !bore.Known || !shank.Known {
		j.other = true
		return
	}
	if Equal(bore.V, shank.V) {
		return
	}
	say := func() string {
		how := "loose"
		if shank.V > bore.V {
			how = "too tight"
		}
		return sizeOf(shank.V, y.inch(Machine)) + " in " + sizeOf(bore.V, x.inch(Workpiece)) + ": " + num(math.Abs(bore.V-shank.V)) + " mm " + how
	}
	if a == j.at {
		j.add(a, codeBore, "DCONWS", shank.V, math.Abs(bore.V-shank.V)/shank.V, say)
	} else {
		j.add(b, codeBore, "DCONMS", bore.V, math.Abs(bore.V-shank.V)/bore.V, say)
	}
}

// held judges how the shanks are clamped, and over what length.
func (j *judge) held() {
	in := j.holder
	for _, i := range j.units {
		u := j.part(i)
		if u.CCMS() == "" {
			d := u.DCONMS().Or(0)
			if no, _ := clampStyle(j.part(in).Clamp(), false, false, false, u.Flat(), false); no != 0 {
				if in == j.at {
					j.split(in)
				} else {
					j.add(i, codeStyle, "flat", true, 2, sayf("no flat for the set screws that hold it"))
				}
			}
			j.grips(in, d)
			if least := u.LF.Or(0) + minGripD*d; !u.OAL.Known {
				j.add(i, codeClamp, "OAL_min", round(least, 6), 1.5, sayf("its whole length (OAL) is not recorded; %s mm needed", num(least)))
			} else if u.OAL.V < least-deadband {
				j.add(i, codeClamp, "OAL_min", round(least, 6), off(u.OAL.V, least), sayf("%s mm long in all, at least %s mm needed: %s mm short", num(u.OAL.V), num(least), num(least-u.OAL.V)))
			}
		}
		in = i
	}
	if j.coupled {
		return
	}
	b := j.part(j.bar)
	d, sleeved := barD(b), j.sleeve >= 0
	fit := sleeved && j.part(j.sleeve).ForDamped
	no, _ := clampStyle(j.part(in).Clamp(), sleeved, fit, b.Damped(), b.Flat(), b.Construction == "carbide")
	switch {
	case no == 0:
	case sleeved:
		j.add(j.sleeve, codeStyle, "for_damped", true, 2, sayf("not made to grip a damped bar full length"))
	case in == j.at:
		j.split(in)
	case b.Damped():
		j.other = true // no size of a damped bar makes screws bear on it
	default:
		j.add(j.bar, codeStyle, "flat", true, 2, sayf("no flat for the set screws that hold it"))
	}
	j.grips(in, d)
	if sleeved {
		j.grips(j.sleeve, d)
	}
}

func (j *judge) split(i int) {
	say := sayf("holds by set screws, a split clamp needed")
	if j.part(i).Clamp() == "" {
		say = sayf("how it clamps is not recorded, a split clamp needed")
	}
	j.add(i, codeStyle, "clamp", "split", 2, say)
}

// grips judges whether a bore grips a shank of diameter d long enough.
func (j *judge) grips(i int, d float64) {
	have, least := j.part(i).LSC(), minGripD*d
	switch {
	case !have.Known:
		j.add(i, codeClamp, "LSC_min", round(least, 6), 1.5, sayf("how long it grips (LSC) is not recorded; %s mm (3 x D) needed", num(least)))
	case have.V < least-deadband:
		j.add(i, codeClamp, "LSC_min", round(least, 6), off(have.V, least), sayf("grips %s mm, at least %s mm (3 x D) needed: %s mm short", num(have.V), num(least), num(least-have.V)))
	}
}

// off is how far a size is from its limit, as a share of the limit, at most 1.
func off(have, limit float64) float64 { return min(math.Abs(have-limit)/max(math.Abs(limit), 1e-9), 1) }

// edge judges what goes into the hole.
func (j *judge) edge() {
	r := j.r
	hole := func(i int) {
		p := j.part(i)
		switch {
		case !p.DMIN.Known:
			j.add(i, codeDmin, "DMIN_max", r.BoreStartD, 1.5, sayf("the smallest hole it goes into (DMIN) is not recorded; the part has %s mm", num(r.BoreStartD)))
		case p.DMIN.V > r.BoreStartD+deadband:
			j.add(i, codeDmin, "DMIN_max", r.BoreStartD, off(p.DMIN.V, r.BoreStartD), sayf("needs a hole of %s, the part has %s mm: %s mm too big", sizeOf(p.DMIN.V, p.inch("")), num(r.BoreStartD), num(p.DMIN.V-r.BoreStartD)))
		}
	}
	for _, i := range j.fronts {
		hole(i)
	}
	i := j.cutting()
	e := j.part(i)
	hole(i)
	if e.Hand != r.Hand && e.Hand != "N" {
		say := sayf("hand %s, %s needed", e.Hand, r.Hand)
		if e.Hand == "" {
			say = sayf("its hand is not recorded, %s needed", r.Hand)
		}
		j.add(i, codeHand, "HAND", r.Hand, 2, say)
	}
	b := j.part(j.bar)
	if d, want := barD(b), barD(j.parts[j.bar]); d == 0 {
		j.add(j.bar, codeBody, "DCONMS", want, 1.5, sayf("its thickness is not recorded; the hole is %s mm", num(r.BoreStartD)))
	} else if d >= r.BoreStartD-deadband {
		j.add(j.bar, codeBody, "DCONMS", want, off(d, want), sayf("%s thick, the hole is %s mm: %s mm too thick", sizeOf(d, b.inch(Machine)), num(r.BoreStartD), num(d-r.BoreStartD)))
	}
}

// weight judges the mass of the stack by what the station carries.
func (j *judge) weight() {
	most := j.r.Station.MaxMassKg
	if !most.Known {
		return
	}
	sum := 0.0
	for i := range j.parts {
		if p := j.part(i); weighs(p.Kind) && i < j.insert && i != j.at {
			if !p.WT.Known {
				j.other = true
			}
			sum += p.WT.V
		}
	}
	if j.at < 0 || !weighs(j.p.Kind) || j.at > j.insert {
		if sum > most.V+deadband {
			j.other = true
		}
		return
	}
	left := max(most.V-sum, 0)
	switch p := j.p; {
	case !p.WT.Known:
		j.add(j.at, codeMass, "WT_max", left, 1.5, sayf("its mass is not recorded; the station still carries %s kg", num(left)))
	case p.WT.V > left+deadband:
		j.add(j.at, codeMass, "WT_max", left, off(p.WT.V, left), sayf("%s kg, the station still carries %s kg: %s kg too heavy", num(p.WT.V), num(left), num(p.WT.V-left)))
	}
}
