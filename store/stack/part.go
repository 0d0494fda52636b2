// Package stack answers the question a turning shop asks before a deep bore: can this stack
// (station, holder, sleeve, bar, head, insert, and the coolant line beside or through it) be
// built from what is on the shelf and free on the day, and if not, which mating part is
// missing, with all its sizes?
//
// Everything that mates is a Joint. A Part is a catalogue record with its joints, an Item is a
// piece or a lot of a part on hand, a Shelf holds items and catalogue under an index by joint,
// and Shelf.Check turns a Request into a Verdict. The search is one: candidates that are free
// cost nothing, candidates that are out, promised, held back, lost, on order, only in the
// catalogue or recorded by nobody cost more, and the cheapest way through the joints is the
// answer; what it had to borrow or invent is what is missing.
//
// Lengths are millimetres, pressures bar, masses kilograms, money integer cents, dates civil
// dates. What is not recorded is unknown, which is not zero and never enough. The package
// advises; it does not release a machine.
package stack

import (
	"encoding/json"
	"math"
	"strconv"
)

// An Opt is a number that may not have been recorded. The zero Opt is unknown.
type Opt struct {
	V     float64
	Known bool
}

// Some returns a known number.
func Some(v float64) Opt { return Opt{V: v, Known: true} }

// Or returns the number, or d when it is unknown.
func (o Opt) Or(d float64) float64 {
	if o.Known {
		return o.V
	}
	return d
}

// IsZero reports whether the number is unknown, so that omitzero leaves it out of JSON.
func (o Opt) IsZero() bool { return !o.Known }

// String returns the number in its shortest form, or "not known".
func (o Opt) String() string {
	if !o.Known {
		return "not known"
	}
	return num(o.V)
}

// MarshalJSON writes the number, or null when it is unknown.
func (o Opt) MarshalJSON() ([]byte, error) {
	if !o.Known || math.IsNaN(o.V) || math.IsInf(o.V, 0) {
		return []byte("null"), nil
	}
	return json.Marshal(o.V)
}

// UnmarshalJSON reads a number; null is unknown.
func (o *Opt) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*o = Opt{}
		return nil
	}
	if err := json.Unmarshal(b, &o.V); err != nil {
		return err
	}
	o.Known = true
	return nil
}

// num writes a number the way a person would: no exponent, no trailing zeros.
func num(v float64) string { return strconv.FormatFloat(round(v, 4), 'f', -1, 64) }

// round rounds half to even at n decimals, as the reference cases do.
func round(v float64, n int) float64 {
	p := math.Pow(10, float64(n))
	return math.RoundToEven(v*p) / p
}

// A Kind says what a part is for. The search itself goes by joints; the kind decides which
// rules of the trade a part answers to.
type Kind string

// The kinds of parts.
const (
	Holder  Kind = "holder"
	Sleeve  Kind = "sleeve"
	Bar     Kind = "bar"
	Head    Kind = "head"
	Insert  Kind = "insert"
	Hose    Kind = "hose"
	Fitting Kind = "fitting"
	Adapter Kind = "adapter" // extension, reducer, turret adapter: two joints, a length, a mass
	Spare   Kind = "spare"   // screw, shim, key, seal: never part of the search
)

// A Side says which way a joint looks.
type Side string

// The sides of a joint.
const (
	Machine    Side = "machine"
	Workpiece  Side = "workpiece"
	CoolantIn  Side = "coolant-in"
	CoolantOut Side = "coolant-out"
)

// A Family says by which rule a joint mates.
type Family string

// The families of joints.
const (
	TurretSeat  Family = "turret-seat" // Code, system and size: VDI50
	Cylindrical Family = "cylindrical" // Size, bore (F) over shank (M), equal within 0.02 mm
	Coupling    Family = "coupling"    // Code, never derived from a diameter: H40
	Pocket      Family = "pocket"      // Code, insert shape, clearance, hole, size, thickness: DCMT11T3
	Thread      Family = "thread"      // Code, standard and size: G 1/4; one M, one F
	PushIn      Family = "push-in"     // Code, hose diameter: 8; one M, one F
	Through     Family = "through"     // coolant through the bore from the rear
)

// A Joint is one place where a part mates with another.
type Joint struct {
	Side   Side   `json:"side"`
	Family Family `json:"family"`
	Code   string `json:"code,omitempty"`   // of turret seat, coupling, pocket, thread, push-in
	Size   Opt    `json:"size,omitzero"`    // mm, diameter of a cylindrical joint
	Gender string `json:"gender,omitempty"` // M or F where the family has one
	Clamp  string `json:"clamp,omitempty"`  // of a bore: split or screws
	LSC    Opt    `json:"lsc,omitzero"`     // mm, length of a bore that grips
	Flat   bool   `json:"flat,omitempty"`   // of a shank: has a ground flat for screws
}

// A Part is a catalogue record. Numbers that nobody recorded are unknown Opts.
type Part struct {
	Code        string
	Kind        Kind
	Maker       string
	Designation string
	Unit        string // as entered: mm, in, in/mm, mm/in (outside/inside); sizes are mm all the same
	Joints      []Joint

	WT Opt // kg
	CP Opt // bar, rated coolant pressure
	// Coolant: a holder feeds its bore, a bar is drilled, a head or adapter passes coolant on.
	Coolant bool

	Type      string // sleeve: split or solid
	ForDamped bool   // sleeve: made to grip a damped bar full length
	Sealed    bool   // sleeve: keeps coolant in
	Index     string // sleeve: plunger, scribe or none; aid for centre height

	Construction string // bar: steel, heavy_metal, carbide, damped_steel, damped_carbide
	OAL          Opt    // bar: mm without the bolt-on head; adapter: its whole length, mm
	OHX, OHN     Opt    // bar, adapter behind it: mm, maker's longest and shortest overhang
	Hollow       Opt    // bar: mm, maker's inside bore of a hollow shank; for deflection only

	Hand    string // head, or bar with its own pocket: R, L or N
	DMIN    Opt    // mm, smallest starting hole
	LF      Opt    // head or adapter: mm it adds
	NozzleD Opt    // head: mm, diameter of one coolant nozzle; for the flow estimate only
	Nozzles int    // head: number of such nozzles, 0 = not recorded

	RE    Opt // insert: mm, nose radius
	Edges int // insert: usable edges each

	LEN    Opt // hose: mm
	Torque Opt // N m for its screws, when the maker gives one

	PriceCents Opt    // integer cents
	Currency   string // of the price, ISO 4217
	LeadDays   Opt    // days from order to shelf
}

// joint returns the first joint of that side and family, and whether there is one.
func (p *Part) joint(s Side, f Family) (*Joint, bool) {
	for i := range p.Joints {
		if p.Joints[i].Side == s && p.Joints[i].Family == f {
			return &p.Joints[i], true
		}
	}
	return nil, false
}

// faces reports whether the part has a joint that holds on the machine side, and one on the
// workpiece side.
func (p *Part) faces() (rear, front bool) {
	for _, j := range p.Joints {
		rear, front = rear || j.Side == Machine, front || j.Side == Workpiece
	}
	return rear, front
}

func (p *Part) code(s Side, f Family) string {
	if j, ok := p.joint(s, f); ok {
		return j.Code
	}
	return ""
}

func (p *Part) size(s Side, f Family) Opt {
	if j, ok := p.joint(s, f); ok {
		return j.Size
	}
	return Opt{}
}

// Interface returns the turret seat the part bolts to, "" when it has none.
func (p *Part) Interface() string { return p.code(Machine, TurretSeat) }

// DCONMS returns the shank diameter on the machine side in mm.
func (p *Part) DCONMS() Opt { return p.size(Machine, Cylindrical) }

// DCONWS returns the bore diameter on the workpiece side in mm.
func (p *Part) DCONWS() Opt { return p.size(Workpiece, Cylindrical) }

// CCMS returns the coupling code on the machine side, "" when there is none.
func (p *Part) CCMS() string { return p.code(Machine, Coupling) }

// CCWS returns the coupling code on the workpiece side, "" when there is none.
func (p *Part) CCWS() string { return p.code(Workpiece, Coupling) }

// Seat returns the pocket of a head or bar, or the pocket an insert fits, "" when there is none.
func (p *Part) Seat() string {
	if c := p.code(Workpiece, Pocket); c != "" {
		return c
	}
	return p.code(Machine, Pocket)
}

// LSC returns the length in mm that the part's bore grips.
func (p *Part) LSC() Opt {
	if j, ok := p.joint(Workpiece, Cylindrical); ok {
		return j.LSC
	}
	return Opt{}
}

// Clamp returns how the part's bore holds a shank: split, screws or "".
func (p *Part) Clamp() string {
	if j, ok := p.joint(Workpiece, Cylindrical); ok {
		return j.Clamp
	}
	return ""
}

// Flat reports whether the shank is recorded to have a flat for set screws.
func (p *Part) Flat() bool {
	j, ok := p.joint(Machine, Cylindrical)
	return ok && j.Flat
}

// Damped reports whether the part is a damped bar.
func (p *Part) Damped() bool {
	return p.Construction == "damped_steel" || p.Construction == "damped_carbide"
}

// Ends returns the coolant ends of a hose, fitting or line adapter as gender:code, in the
// order recorded.
func (p *Part) Ends() []string {
	var ends []string
	for _, j := range p.Joints {
		if j.Side == CoolantIn || j.Side == CoolantOut {
			if j.Family == Thread || j.Family == PushIn {
				ends = append(ends, j.End())
			}
		}
	}
	return ends
}

// End writes a coolant joint as in the flat columns: "M:G 1/4", "F:push-in 8", or "bore" for
// coolant through the bore.
func (j Joint) End() string {
	switch j.Family {
	case Through:
		return "bore"
	case PushIn:
		return j.Gender + ":push-in " + j.Code
	}
	return j.Gender + ":" + j.Code
}

// barD returns the diameter a bar is judged by: its shank, or the size recorded on a coupling
// joint when it is held by a coupling; 0 when not known.
func barD(p *Part) float64 {
	if p == nil {
		return 0
	}
	if d := p.DCONMS(); d.Known {
		return d.V
	}
	return p.size(Machine, Coupling).Or(0)
}
