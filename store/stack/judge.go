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

// hold returns what the bar, or the sleeve around it, sits in.
func (j *judge) hold() int {
	if n := len(j.units); n > 0 {
		return j.units[n-1]
	}
	return j.holder
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

// lengths judges overhang, reach and what is left to grip.
func (j *judge) lengths() {
	r, b := j.r, j.part(j.bar)
	d, l := barD(b), r.Overhang()
	// What is not recorded first: nothing can be worked out without it.
	proj, ext, lf := 0.0, 0.0, 0.0
	room := r.Station.MaxProjection
	for _, i := range j.seats {
		if p := j.part(i); p.LF.Known {
			proj += p.LF.V
		} else if room.Known {
			j.add(i, codeProject, "LF_max", j.parts[i].LF.Or(0), 1.5, sayf("how far it brings the stack out (LF) is not recorded; the machine can swing %s mm", num(room.V)))
			return
		}
	}
	stop, unsaid := inf, 0
	for _, i := range j.units {
		p := j.part(i)
		if !p.LF.Known {
			j.add(i, codeShort, "LF_min", j.parts[i].LF.Or(0), 1.5, sayf("how far it stands out of its holder (LF) is not recorded"))
			return
		}
		if p.OHX.Known {
			stop = min(stop, ext+p.OHX.V)
		}
		if ext += p.LF.V; ext > r.Clearance+deadband && (!p.DMIN.Known || p.DMIN.V > r.BoreStartD+deadband) {
			into := ext - r.Clearance
			j.add(i, codeDmin, "DMIN_max", r.BoreStartD, 1.5, sayf("reaches %s mm into the hole and needs one of %s, the part has %s mm", num(into), sizeOrNot(p.DMIN, p.inch("")), num(r.BoreStartD)))
		}
	}
	reach := j.fronts
	if j.head >= 0 {
		reach = append(slices.Clip(reach), j.head)
	}
	for _, i := range reach {
		if p := j.part(i); p.LF.Known {
			lf += p.LF.V
		} else {
			lf += j.parts[i].LF.Or(0) // what would do, beside what else is wrong
			unsaid = i + 1
		}
	}
	oal := b.OAL.V
	if !b.OAL.Known {
		oal = j.parts[j.bar].OAL.Or(0)
		j.add(j.bar, codeShort, "OAL_min", round(oal, 6), 1.5, sayf("its length (OAL) is not recorded; %s mm needed", num(oal)))
	}
	if unsaid > 0 {
		i := unsaid - 1
		j.add(i, codeShort, "LF_min", j.parts[i].LF.Or(0), 1.5, sayf("its length (LF) is not recorded"))
	}
	// How far it is set.
	set, least := l, 0.0
	if b.Damped() {
		least = b.OHN.Or(0)
	}
	if j.coupled {
		set = oal + lf + ext
	} else if least+ext > set+deadband && least > 0 {
		set = least + ext
	}
	// longer and shorter tell which size of the judged part would have to change by mm.
	longer := func(code Code, mm float64, say func() string) {
		switch p := j.p; {
		case j.at == j.bar:
			j.add(j.at, code, "OAL_min", round(oal+mm, 6), off(oal, oal+mm), say)
		case p != nil && p.LF.Known && (slices.Contains(reach, j.at) || slices.Contains(j.units, j.at)):
			j.add(j.at, code, "LF_min", round(p.LF.V+mm, 6), min(mm/max(p.LF.V+mm, 1), 1), say)
		default:
			j.other = true
		}
	}
	shorter := func(code Code, mm float64, say func() string) {
		switch p := j.p; {
		case j.at == j.bar && j.coupled:
			j.add(j.at, code, "OAL_max", round(oal-mm, 6), off(oal, oal-mm), say)
		case p != nil && p.LF.Known && p.LF.V >= mm && (slices.Contains(j.seats, j.at) || j.coupled && slices.Contains(reach, j.at) || slices.Contains(j.units, j.at)):
			j.add(j.at, code, "LF_max", round(p.LF.V-mm, 6), min(mm/max(p.LF.V, 1), 1), say)
		default:
			j.other = true
		}
	}
	if j.coupled {
		if set < l-deadband {
			longer(codeShort, l-set, sayf("with it the bar reaches %s mm, at least %s mm needed: %s mm short", num(set), num(l), num(l-set)))
		}
		if least > set-ext+deadband {
			out := set - ext
			say := sayf("with it the bar sticks out %s mm, the bar may not be used under %s mm: %s mm short", num(out), num(least), num(least-out))
			if j.at == j.bar {
				j.add(j.at, codeOverMin, "OHN_max", round(out, 6), off(least, out), say)
			} else {
				longer(codeOverMin, least-out, say)
			}
		}
	} else if left := oal + lf - (set - ext); left < minGripD*d-deadband && d > 0 && (unsaid == 0 || j.n == 0) {
		short := minGripD*d - left
		longer(codeShort, short, sayf("leaves %s mm of the bar to grip, at least %s mm (3 x D) needed: %s mm short", num(max(left, 0)), num(minGripD*d), num(short)))
	}
	j.overhang(set, ext, stop, shorter)
	if !room.Known || set+proj <= room.V+deadband {
		return
	}
	over := set + proj - room.V
	switch {
	case j.coupled || l+proj > room.V+deadband:
		shorter(codeProject, over, sayf("with it the stack stands out %s mm, the machine can swing %s mm: %s mm too long", num(set+proj), num(room.V), num(over)))
	case j.at == j.bar:
		j.add(j.bar, codeOverMin, "OHN_max", round(least-over, 6), off(least, least-over),
			sayf("may not be set under %s mm; the machine can swing %s mm: %s mm too long", num(set+proj), num(room.V), num(over)))
	default:
		shorter(codeOverMin, over, sayf("with it the bar stands out %s mm at least, the machine can swing %s mm: %s mm too long", num(set+proj), num(room.V), num(over)))
	}
}

// overhang judges the overhang by the limit of the bar and of the adapters behind it.
func (j *judge) overhang(set, ext, stop float64, shorter func(Code, float64, func() string)) {
	b := j.part(j.bar)
	d := barD(b)
	_, most, _, ok := OverhangLimit(b.Construction, d)
	limit := b.OHX.Or(most * d)
	allowed := func() string {
		if b.OHX.Known {
			return num(limit) + " mm by its maker"
		}
		return num(limit) + " mm (" + num(most) + " x D of " + word(b.Construction) + ")"
	}
	switch {
	case d == 0 && !b.OHX.Known: // how thick it is is not recorded, which is told
	case !ok && !b.OHX.Known:
		j.add(j.bar, codeOverMax, "OHX_min", round(set, 6), 1.5, sayf("neither its construction nor its maker's longest overhang is recorded; %s mm of overhang needed", num(set)))
	case set <= limit+deadband:
	case j.at == j.bar && (!j.coupled || limit < j.r.Overhang()-deadband): // shorter it would not reach
		j.add(j.bar, codeOverMax, "OHX_min", round(set, 6), off(limit, set), func() string {
			return "may stand out at most " + allowed() + ", " + num(set) + " mm needed: " + num(set-limit) + " mm too far"
		})
	default:
		shorter(codeOverMax, set-limit, func() string {
			return "with it the overhang is " + num(set) + " mm, allowed are " + allowed() + ": " + num(set-limit) + " mm too far"
		})
	}
	from := 0.0
	for _, i := range j.units {
		p := j.part(i)
		if need := set - from; !p.OHX.Known {
			j.add(i, codeOverMax, "OHX_min", round(need, 6), 1.5, sayf("its maker's longest overhang (OHX) is not recorded; %s mm needed", num(need)))
		} else if need > p.OHX.V+deadband {
			if i == j.at {
				j.add(i, codeOverMax, "OHX_min", round(need, 6), off(p.OHX.V, need), sayf("its maker allows %s mm of overhang, %s mm needed: %s mm too far", num(p.OHX.V), num(need), num(need-p.OHX.V)))
			} else {
				shorter(codeOverMax, set-stop, sayf("with it the overhang is %s mm, the adapters behind the bar allow %s mm: %s mm too far", num(set), num(stop), num(set-stop)))
			}
		}
		from += p.LF.Or(0)
	}
}

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

// coolant judges the way of the coolant: through the bore or by the line.
func (j *judge) coolant() {
	if !j.r.Coolant {
		return
	}
	through := judge{setup: j.setup, at: j.at, p: j.p}
	through.byBore()
	if through.n == 0 && !through.other {
		return
	}
	line := judge{setup: j.setup, at: j.at, p: j.p, other: len(j.line) == 0}
	if len(j.line) > 0 {
		line.byLine()
	}
	if line.n == 0 && !line.other {
		return
	}
	k := &through
	if j.route == byLine {
		k = &line
	}
	j.other = j.other || k.other
	if j.n == 0 {
		j.one = k.one
	}
	j.n += k.n
}

// passes judges whether a part lets the coolant through, and at its pressure.
func (j *judge) passes(i int, open bool, name string, say func() string) {
	if !open {
		j.add(i, codeBreak, name, true, 2, say)
	}
	p, need := j.part(i), j.r.CoolantBar
	switch {
	case need <= 0:
	case !p.CP.Known:
		j.add(i, codePressure, "CP_min", need, 1.5, sayf("its coolant rating (CP) is not recorded; %s bar needed", num(need)))
	case p.CP.V < need-deadband:
		j.add(i, codePressure, "CP_min", need, off(p.CP.V, need), sayf("rated %s bar, at least %s bar needed: %s bar too little", num(p.CP.V), num(need), num(need-p.CP.V)))
	}
}

var sayDry = sayf("does not pass coolant on")

// body judges the bar and what is before it.
func (j *judge) body() {
	j.passes(j.bar, j.part(j.bar).Coolant, "coolant", sayf("not drilled for coolant"))
	for _, i := range j.fronts {
		j.passes(i, j.part(i).Coolant, "coolant", sayDry)
	}
	if j.head >= 0 {
		j.passes(j.head, j.part(j.head).Coolant, "coolant", sayDry)
	}
}

func (j *judge) byBore() {
	for _, i := range j.seats {
		j.passes(i, j.part(i).Coolant, "coolant", sayDry)
	}
	j.passes(j.holder, j.part(j.holder).Coolant, "coolant", sayf("does not feed its bore with coolant"))
	for _, i := range j.units {
		j.passes(i, j.part(i).Coolant, "coolant", sayDry)
	}
	if j.sleeve >= 0 {
		j.passes(j.sleeve, j.part(j.sleeve).Sealed, "sealed", sayf("not sealed: it would lose the coolant"))
	}
	if !slices.ContainsFunc(j.part(j.bar).Joints, func(x Joint) bool { return x.Side == CoolantIn && x.Family == Through }) {
		j.add(j.bar, codeBreak, "coolant_in", []string{"bore"}, 2, sayf("no coolant inlet at its rear"))
	}
	j.body()
}

func (j *judge) byLine() {
	open := portEnd(j.r.Station.CoolantPort)
	if open == "" {
		j.other = true
		return
	}
	for n, i := range j.line {
		enter, was := opposite(open), j.parts[i].Ends()
		leave := ""
		switch k := slices.Index(was, enter); {
		case k < 0 || len(was) != 2:
			j.other = true // not even the one that would do
			return
		default:
			leave = was[1-k]
		}
		if ends := j.part(i).Ends(); i == j.at {
			ok := len(ends) == 2
			if ok {
				last := n == len(j.line)-1 && (ends[0] == enter && j.feeds(ends[1]) || ends[1] == enter && j.feeds(ends[0]))
				ok = ends[0] == enter && ends[1] == leave || ends[1] == enter && ends[0] == leave || last
			}
			if !ok && j.joins(portEnd(j.r.Station.CoolantPort), j.line) {
				return // in another order of the pieces it does
			}
			if !ok && len(ends) == 2 && (slices.Contains(ends, enter) || slices.Contains(ends, leave)) {
				want := []string{enter, leave}
				slices.Sort(want)
				have := slices.Clone(ends)
				slices.Sort(have)
				j.add(i, codeBreak, "ends", want, 2, sayf("ends %s, %s needed", endWords(have, " and "), endWords(want, " and ")))
			} else if !ok {
				j.other = true
			}
		}
		j.passes(i, true, "", nil)
		open = leave
	}
	if !j.feeds(open) && j.at != j.lastOf(j.line) {
		want := []string{opposite(open)}
		j.add(j.bar, codeBreak, "coolant_in", want, 2, sayf("no coolant inlet %s", endWord(want[0])))
	}
	j.body()
}

func (j *judge) lastOf(list []int) int { return list[len(list)-1] }

// joins reports whether pieces of the line, in some order, lead from an open end to the bar.
func (j *judge) joins(open string, line []int) bool {
	if len(line) < len(j.line) && j.feeds(open) {
		return true
	}
	for n, i := range line {
		ends := j.part(i).Ends()
		for k := range ends {
			if len(ends) == 2 && ends[k] == opposite(open) && j.joins(ends[1-k], slices.Delete(slices.Clone(line), n, n+1)) {
				return true
			}
		}
	}
	return false
}

// feeds reports whether an open end of the line goes into an inlet of the bar.
func (j *judge) feeds(open string) bool {
	return slices.ContainsFunc(j.part(j.bar).Joints, func(x Joint) bool {
		return x.Side == CoolantIn && x.Family != Through && x.End() == opposite(open)
	})
}
