package stack

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
)

// fit is the difference in mm up to which two diameters are the same nominal size. It is a
// data-entry allowance, not a fit (reference rules: equal means within 0.02 mm).
const fit = 0.02

// Limits of sizes on entry, mm. Shop defaults, far outside of what a lathe turns.
const (
	maxLen  = 10000.0
	maxDia  = 2000.0
	minWall = 1.5 // sleeves.json: a thinner wall is refused
)

var constructions = []string{"steel", "heavy_metal", "carbide", "damped_steel", "damped_carbide"}

// ReadPart reads one catalogue record from a JSON object: the flat ISO 13399 columns of the
// reference cases, an explicit list `joints`, or both. Unknown names, impossible sizes and
// contradictions are a *BadField with the name and the line.
func ReadPart(b []byte) (*Part, error) {
	all, err := parse(b)
	if err != nil {
		return nil, err
	}
	if len(all) != 1 {
		return nil, &BadField{Field: "part", Line: 1, Why: fmt.Sprintf("one object expected, %d found", len(all))}
	}
	f := open(all[0])
	p := readPart(f)
	return p, f.close()
}

// ReadPartMap is ReadPart for a record already decoded into a map.
func ReadPartMap(m map[string]any) (*Part, error) {
	b, err := json.Marshal(m)
	if err != nil {
		return nil, &BadField{Field: "part", Why: err.Error()}
	}
	p, err := ReadPart(b)
	if bad := (*BadField)(nil); asBad(err, &bad) {
		bad.Line = 0 // a map has no lines
	}
	return p, err
}

// UnmarshalJSON reads a part as ReadPart does.
func (p *Part) UnmarshalJSON(b []byte) error {
	q, err := ReadPart(b)
	if err != nil {
		return err
	}
	*p = *q
	return nil
}

// readPart reads the part columns of f; the caller closes f.
func readPart(f *form) *Part {
	p := &Part{}
	f.need("kind")
	p.Kind = Kind(f.oneOf("kind", string(Holder), string(Sleeve), string(Bar), string(Head),
		string(Insert), string(Hose), string(Fitting), string(Adapter), string(Spare)))
	if p.Kind == "" { // which fields belong depends on the kind: that fault comes first
		for _, k := range f.o.keys {
			f.o.used[k] = true
		}
	}
	p.Code = f.text("id")
	if c := f.text("code"); c != "" {
		p.Code = c
	}
	p.Maker, p.Designation = f.text("maker"), f.text("designation")
	p.Unit = f.oneOf("unit", "mm", "in", "in/mm", "mm/in")
	p.WT = positive(f, "WT", 5000)
	p.CP = positive(f, "CP", 5000)
	p.Torque = positive(f, "torque_nm", 5000)
	p.PriceCents = f.number("price_cents", 0, 1e12)
	if p.PriceCents.V != math.Trunc(p.PriceCents.V) {
		f.fail("price_cents", "must be whole cents")
	}
	p.Currency = f.text("currency")
	p.LeadDays = f.number("lead_days", 0, 3650)

	switch p.Kind {
	case Holder:
		addTurret(f, p, Machine, "interface")
		readClamp(f, addBore(f, p))
		p.Coolant = f.oneOf("coolant", "through", "none") == "through"
	case Sleeve:
		addShank(f, p)
		addBore(f, p)
		if f.take("LF") != nil {
			f.fail("LF", "a sleeve that stands out of its holder lengthens the overhang: record it as an adapter, with LF, OAL and OHX")
		}
		p.Type = f.oneOf("type", "split", "solid")
		p.ForDamped, p.Sealed = f.flag("for_damped"), f.flag("sealed")
		p.Index = f.oneOf("index", "plunger", "scribe", "none")
	case Bar:
		readFlat(f, addShank(f, p))
		p.Construction = f.oneOf("construction", constructions...)
		p.OAL, p.OHX, p.OHN = positive(f, "OAL", maxLen), positive(f, "OHX", maxLen), positive(f, "OHN", maxLen)
		p.Hollow = positive(f, "hollow", maxDia)
		addCoupling(f, p, Machine, "CCMS")
		addCoupling(f, p, Workpiece, "CCWS")
		addPocket(f, p, Workpiece)
		p.Hand, p.DMIN = f.oneOf("HAND", "R", "L", "N"), positive(f, "DMIN", maxDia)
		p.Coolant = f.flag("coolant")
		for i, n := range f.list("coolant_in") {
			s, ok := n.val.(string)
			if !ok {
				f.fail("coolant_in", "entry %d must be text", i+1)
				continue
			}
			addInlet(f, p, "coolant_in", s, CoolantIn)
		}
		readNozzles(f, p)
	case Head:
		addCoupling(f, p, Machine, "CCMS")
		addPocket(f, p, Workpiece)
		p.Hand, p.DMIN = f.oneOf("HAND", "R", "L", "N"), positive(f, "DMIN", maxDia)
		p.LF = f.number("LF", 0, maxLen)
		p.Coolant = f.flag("coolant")
		readNozzles(f, p)
	case Insert:
		p.RE = f.number("RE", 0, 100)
		addPocket(f, p, Machine)
		p.Edges, _ = f.whole("edges", 0, 100)
	case Hose, Fitting:
		readEnds(f, p)
		p.LEN = positive(f, "LEN", 100000)
	case Adapter:
		addTurret(f, p, Machine, "interface")
		readFlat(f, addShank(f, p))
		readClamp(f, addBore(f, p))
		addCoupling(f, p, Machine, "CCMS")
		addCoupling(f, p, Workpiece, "CCWS")
		readEnds(f, p)
		p.LF = f.number("LF", 0, maxLen)
		p.OAL, p.OHX = positive(f, "OAL", maxLen), positive(f, "OHX", maxLen)
		p.DMIN = positive(f, "DMIN", maxDia)
		p.Coolant = f.flag("coolant")
	}
	readJoints(f, p)
	f.keep(p.check(f))
	return p
}

func readNozzles(f *form, p *Part) {
	p.NozzleD = positive(f, "nozzle_d", 50)
	p.Nozzles, _ = f.whole("nozzles", 0, 100)
}

func readEnds(f *form, p *Part) {
	for i, n := range f.list("ends") {
		s, ok := n.val.(string)
		if !ok {
			f.fail("ends", "entry %d must be text", i+1)
			continue
		}
		addInlet(f, p, "ends", s, CoolantIn)
	}
}

// positive reads a size over zero.
func positive(f *form, key string, hi float64) Opt {
	o := f.number(key, 0, hi)
	if o.Known && o.V <= 0 {
		f.fail(key, "must be over zero; leave it out when it is not known")
		return Opt{}
	}
	return o
}

func addTurret(f *form, p *Part, s Side, key string) {
	if c := f.text(key); c != "" {
		p.Joints = append(p.Joints, Joint{Side: s, Family: TurretSeat, Code: c})
	}
}

func addShank(f *form, p *Part) *Joint {
	return addRound(f, p, Joint{Side: Machine, Family: Cylindrical, Gender: "M"}, "DCONMS")
}

func addBore(f *form, p *Part) *Joint {
	j := addRound(f, p, Joint{Side: Workpiece, Family: Cylindrical, Gender: "F"}, "DCONWS")
	lsc := positive(f, "LSC", maxLen)
	if j != nil {
		j.LSC = lsc
	} else if lsc.Known {
		f.fail("LSC", "needs DCONWS, the bore it belongs to")
	}
	return j
}

// readClamp reads how a bore closes; bore is nil when there is none.
func readClamp(f *form, bore *Joint) {
	clamp := f.oneOf("clamp", "split", "screws")
	if bore != nil {
		bore.Clamp = clamp
	} else if clamp != "" {
		f.fail("clamp", "needs DCONWS, the bore it closes")
	}
}

// readFlat reads whether a shank has a flat; shank is nil when there is none.
func readFlat(f *form, shank *Joint) {
	flat := f.flag("flat")
	if shank != nil {
		shank.Flat = flat
	} else if flat {
		f.fail("flat", "needs DCONMS, the shank it is ground on")
	}
}

func addRound(f *form, p *Part, j Joint, key string) *Joint {
	d := positive(f, key, maxDia)
	if !d.Known {
		return nil
	}
	j.Size = d
	p.Joints = append(p.Joints, j)
	return &p.Joints[len(p.Joints)-1]
}

func addCoupling(f *form, p *Part, s Side, key string) {
	if c := f.text(key); c != "" {
		p.Joints = append(p.Joints, Joint{Side: s, Family: Coupling, Code: c})
	}
}

func addPocket(f *form, p *Part, s Side) {
	c := f.text("seat")
	if p.Kind == Insert && p.Designation != "" {
		seat, re, ok := seatOf(p.Designation)
		switch {
		case !ok:
		case c == "":
			c = seat
		case seatKey(c) != seatKey(seat):
			f.fail("seat", "%q disagrees with the designation %q, which fits %s", c, p.Designation, seat)
		}
		if ok && !p.RE.Known {
			p.RE = re
		}
	}
	if c != "" {
		p.Joints = append(p.Joints, Joint{Side: s, Family: Pocket, Code: c})
	}
}

// addInlet adds a coolant joint written as "bore" or gender:code.
func addInlet(f *form, p *Part, key, s string, side Side) {
	j, err := parseEnd(s)
	if err != nil {
		f.fail(key, "%v", err)
		return
	}
	j.Side = side
	p.Joints = append(p.Joints, j)
}

// parseEnd reads "bore", "M:G 1/4" or "F:push-in 8".
func parseEnd(s string) (Joint, error) {
	s = strings.TrimSpace(s)
	if strings.EqualFold(s, "bore") {
		return Joint{Side: CoolantIn, Family: Through}, nil
	}
	g, code, ok := strings.Cut(s, ":")
	g = strings.ToUpper(strings.TrimSpace(g))
	code = strings.Join(strings.Fields(code), " ")
	if !ok || (g != "M" && g != "F") || code == "" {
		return Joint{}, fmt.Errorf("%q is no coolant end; write gender and thread, as M:G 1/4 or F:NPT 1/4, or bore", s)
	}
	if rest, ok := strings.CutPrefix(strings.ToLower(code), "push-in "); ok {
		return Joint{Family: PushIn, Gender: g, Code: rest}, nil
	}
	name, err := threadName(code)
	if err != nil {
		return Joint{}, err
	}
	return Joint{Family: Thread, Gender: g, Code: name}, nil
}

// readJoints reads the explicit list. A joint that the flat columns already told must say the
// same; then it only adds what they left open.
func readJoints(f *form, p *Part) {
	for _, n := range f.list("joints") {
		g := open(n)
		j := Joint{
			Side: Side(g.oneOf("side", string(Machine), string(Workpiece), string(CoolantIn), string(CoolantOut))),
			Family: Family(g.oneOf("family", string(TurretSeat), string(Cylindrical), string(Coupling),
				string(Pocket), string(Thread), string(PushIn), string(Through))),
			Code:   g.text("code"),
			Size:   positive(g, "size", maxDia),
			Gender: g.oneOf("gender", "M", "F"),
			Clamp:  g.oneOf("clamp", "split", "screws"),
			LSC:    positive(g, "lsc", maxLen),
			Flat:   g.flag("flat"),
		}
		g.need("side")
		g.need("family")
		switch j.Family {
		case Cylindrical:
			g.need("size")
			want := "M"
			if j.Side == Workpiece {
				want = "F"
			}
			if j.Gender == "" {
				j.Gender = want
			}
			if j.Gender != want {
				g.fail("gender", "a shank (M) is on the machine side, a bore (F) on the workpiece side")
			}
		case Thread, PushIn:
			g.need("code")
			g.need("gender")
			if j.Family == Thread && j.Code != "" {
				name, err := threadName(j.Code)
				if err != nil {
					g.fail("code", "%v", err)
				}
				j.Code = name
			}
		case TurretSeat, Coupling, Pocket:
			g.need("code")
		}
		if solid := j.Side == Machine || j.Side == Workpiece; j.Side != "" && solid != (j.Family != Thread && j.Family != PushIn && j.Family != Through) {
			if solid {
				g.fail("side", "a %s joint carries coolant: coolant-in or coolant-out", j.Family)
			} else {
				g.fail("side", "a %s joint holds: machine or workpiece", j.Family)
			}
		}
		f.keep(g.close())
		if f.err != nil {
			return
		}
		if old, ok := p.joint(j.Side, j.Family); ok && j.Side != CoolantIn && j.Side != CoolantOut {
			if (j.Code != old.Code) || math.Abs(j.Size.V-old.Size.V) > 1e-9 {
				f.fail("joints", "%s %s is given twice with different sizes", j.Side, j.Family)
				return
			}
			if !old.LSC.Known {
				old.LSC = j.LSC
			}
			if old.Clamp == "" {
				old.Clamp = j.Clamp
			}
			old.Flat = old.Flat || j.Flat
			continue
		}
		p.Joints = append(p.Joints, j)
	}
}

// check refuses what cannot be: a part that lacks the joints of its kind, a bore wider than
// its outside, a wall too thin to hold.
func (p *Part) check(f *form) error {
	if f.err != nil {
		return f.err
	}
	for _, j := range p.Joints {
		if (j.Family == TurretSeat || j.Family == Coupling) && bare(j.Code) {
			f.fail(columnOf(j), "%q is a bare number; write the whole code", j.Code)
		}
	}
	require := func(key string, ok bool) {
		if !ok {
			f.fail(key, "is missing")
		}
	}
	switch p.Kind {
	case Holder:
		require("interface", p.Interface() != "")
		require("DCONWS", p.DCONWS().Known || p.CCWS() != "")
	case Sleeve:
		require("DCONMS", p.DCONMS().Known)
		require("DCONWS", p.DCONWS().Known)
	case Bar:
		require("DCONMS", p.DCONMS().Known || p.CCMS() != "")
		if p.CCWS() != "" {
			if p.Seat() != "" {
				f.fail("seat", "the bar has a coupling (CCWS), so the pocket belongs to the head")
			}
		} else {
			require("CCWS", p.Seat() != "" || f.has("HAND") || f.has("DMIN"))
			require("seat", p.Seat() != "")
			require("HAND", p.Hand != "")
		}
		if d := p.DCONMS(); p.Hollow.Known && d.Known && p.Hollow.V >= d.V {
			f.fail("hollow", "%s mm inside a %s mm shank leaves no wall", num(p.Hollow.V), num(d.V))
		}
		if p.OHX.Known && p.OHN.Known && p.OHN.V > p.OHX.V {
			f.fail("OHN", "shortest overhang %s is over the longest %s", num(p.OHN.V), num(p.OHX.V))
		}
		if p.OAL.Known && p.OAL.V < barD(p) {
			f.fail("OAL", "%s mm long and %s mm thick is no bar", num(p.OAL.V), num(barD(p)))
		}
		if p.OAL.Known && p.CCWS() == "" && p.OHX.Known && p.OHX.V > p.OAL.V {
			f.fail("OHX", "it cannot stick out %s mm when it is %s mm long", num(p.OHX.V), num(p.OAL.V))
		}
	case Head:
		require("CCMS", p.CCMS() != "")
		require("seat", p.Seat() != "")
		require("HAND", p.Hand != "")
	case Insert:
		require("seat", p.Seat() != "")
	case Hose, Fitting:
		if n := len(p.Ends()); n != 2 {
			f.fail("ends", "two ends expected, %d given", n)
		}
	case Adapter:
		rear, front := p.faces()
		switch {
		case len(p.Joints) < 2:
			f.fail("joints", "an adapter has two joints, %d given", len(p.Joints))
		case !(rear && front) && len(p.Ends()) != 2:
			f.fail("joints", "an adapter has a joint on the machine side and one on the workpiece side, or two coolant ends")
		case p.Interface() != "" && p.code(Workpiece, TurretSeat) == "":
			f.fail("kind", "what bolts to a turret seat and takes a bar is a holder")
		case p.DCONMS().Known && p.DCONWS().Known && p.LF.Known && p.LF.V == 0:
			f.fail("LF", "a shank and a bore that add no length are a sleeve: record it as one")
		case p.OAL.Known && p.LF.Known && p.LF.V > p.OAL.V:
			f.fail("LF", "%s mm outside the holder is over its whole length of %s mm", num(p.LF.V), num(p.OAL.V))
		}
	}
	// The bore of an adapter may be wider than its shank: it stands in front of it.
	if out, in := p.DCONMS(), p.DCONWS(); out.Known && in.Known && p.Kind != Adapter {
		wall := (out.V - in.V) / 2
		switch {
		case wall <= 0:
			f.fail("DCONWS", "inside %s mm is not under the outside %s mm", num(in.V), num(out.V))
		case wall < minWall-1e-9:
			f.fail("DCONWS", "a wall of %s mm is under %s mm: it would crush", num(wall), num(minWall))
		}
	}
	return f.err
}

// columnOf names the column that tells a joint, for a refusal.
func columnOf(j Joint) string {
	switch {
	case j.Family == TurretSeat && j.Side == Machine:
		return "interface"
	case j.Family == Coupling && j.Side == Machine:
		return "CCMS"
	case j.Family == Coupling:
		return "CCWS"
	}
	return "joints"
}

// Fields returns the part in the flat spelling; what a flat column cannot say is in `joints`.
// ReadPartMap reads it back into an equal part.
func (p *Part) Fields() map[string]any {
	m := map[string]any{"kind": string(p.Kind)}
	text := func(key, v string) {
		if v != "" {
			m[key] = v
		}
	}
	size := func(key string, o Opt) {
		if o.Known {
			m[key] = o.V
		}
	}
	text("id", p.Code)
	text("maker", p.Maker)
	text("designation", p.Designation)
	text("unit", p.Unit)
	size("WT", p.WT)
	size("CP", p.CP)
	size("torque_nm", p.Torque)
	size("price_cents", p.PriceCents)
	text("currency", p.Currency)
	size("lead_days", p.LeadDays)
	switch p.Kind {
	case Holder:
		m["coolant"] = "none"
		if p.Coolant {
			m["coolant"] = "through"
		}
	case Sleeve:
		text("type", p.Type)
		m["for_damped"], m["sealed"] = p.ForDamped, p.Sealed
		text("index", p.Index)
	case Bar:
		text("construction", p.Construction)
		size("OAL", p.OAL)
		size("OHX", p.OHX)
		size("OHN", p.OHN)
		size("hollow", p.Hollow)
		fallthrough
	case Head:
		text("HAND", p.Hand)
		size("DMIN", p.DMIN)
		size("nozzle_d", p.NozzleD)
		if p.Nozzles > 0 {
			m["nozzles"] = p.Nozzles
		}
		if p.Kind == Head {
			size("LF", p.LF)
		}
		m["coolant"] = p.Coolant
	case Insert:
		size("RE", p.RE)
		if p.Edges > 0 {
			m["edges"] = p.Edges
		}
	case Hose, Fitting:
		size("LEN", p.LEN)
	case Adapter:
		size("LF", p.LF)
		size("OAL", p.OAL)
		size("OHX", p.OHX)
		size("DMIN", p.DMIN)
		m["coolant"] = p.Coolant
	}
	var ends, inlets []string
	var rest []Joint
	for _, j := range p.Joints {
		switch {
		case (p.Kind == Hose || p.Kind == Fitting || p.Kind == Adapter) && j.Side == CoolantIn && j.Family != Through:
			ends = append(ends, j.End())
		case p.Kind == Bar && j.Side == CoolantIn:
			inlets = append(inlets, j.End())
		case j.Side == Machine && j.Family == TurretSeat && p.Kind != Bar:
			m["interface"] = j.Code
		case j.Side == Machine && j.Family == Cylindrical && (p.Kind == Sleeve || p.Kind == Bar || p.Kind == Adapter):
			m["DCONMS"] = j.Size.V
			if p.Kind != Sleeve {
				m["flat"] = j.Flat
			}
		case j.Side == Workpiece && j.Family == Cylindrical && (p.Kind == Holder || p.Kind == Sleeve || p.Kind == Adapter):
			m["DCONWS"] = j.Size.V
			size("LSC", j.LSC)
			if p.Kind != Sleeve {
				text("clamp", j.Clamp)
			}
		case j.Family == Coupling && !j.Size.Known && j.Side == Machine && slices.Contains([]Kind{Bar, Head, Adapter}, p.Kind):
			m["CCMS"] = j.Code
		case j.Family == Coupling && !j.Size.Known && j.Side == Workpiece && (p.Kind == Bar || p.Kind == Adapter):
			m["CCWS"] = j.Code
		case j.Family == Pocket && (j.Side == Workpiece) == (p.Kind != Insert):
			m["seat"] = j.Code
		default:
			rest = append(rest, j)
		}
	}
	if ends != nil {
		m["ends"] = ends
	}
	if inlets != nil {
		m["coolant_in"] = inlets
	}
	if rest != nil {
		m["joints"] = rest
	}
	return m
}

// MarshalJSON writes the part in the flat spelling.
func (p *Part) MarshalJSON() ([]byte, error) { return json.Marshal(p.Fields()) }
