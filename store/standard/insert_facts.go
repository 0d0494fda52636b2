package standard

import "fmt"

// EPSR returns the corner angle in degrees; 0 for round, or no insert.
func (in Insert) EPSR() float64 {
	if s := in.shape(); s != nil {
		return s.angle
	}
	return 0
}

// ShapeName returns "rhombus 80", "trigon with 80 degree corners" ...; empty for no insert.
func (in Insert) ShapeName() string {
	if s := in.shape(); s != nil {
		return s.name
	}
	return ""
}

func (in Insert) shape() *shape {
	if in.Shape > 'Z' || shapeOf[in.Shape] < 0 {
		return nil
	}
	return &shapes[shapeOf[in.Shape]]
}

func (in Insert) kind() kind {
	if in.Type > 'Z' || kindOf[in.Type] < 0 {
		return kind{}
	}
	return kinds[kindOf[in.Type]]
}

// AN returns the normal clearance in degrees; false for letter O, which needs a drawing.
func (in Insert) AN() (deg float64, ok bool) {
	deg, ok = clearances[in.Clearance]
	return deg, ok
}

// Hole returns the kind of fixing hole; HoleSpecial for type X.
func (in Insert) Hole() Hole { return in.kind().hole }

// HoleText describes the hole in the words of the reference table.
func (in Insert) HoleText() string {
	if in.Type == 'X' && in.Shape == 'K' {
		return "special (commonly none)"
	}
	return in.Hole().String()
}

// ChipBreaker returns on which faces there is a chip breaker: none, one, both, special.
func (in Insert) ChipBreaker() string {
	switch k := in.kind(); {
	case k.letter == 0:
		return ""
	case in.Type == 'X' && in.Shape == 'K':
		return "special (commonly one)"
	case k.faces < 0:
		return "special"
	case k.faces == 0:
		return "none"
	case k.faces == 1:
		return "one"
	}
	return "both"
}

// TwoSided reports whether both faces can cut: clearance 0 and a type that leaves both
// usable. CNMM has no clearance but one chip breaker, so it is one-sided. ok is false
// where only a drawing can tell (type X, but KNUX is one-sided by custom, from memory).
func (in Insert) TwoSided() (two, ok bool) {
	k := in.kind()
	switch {
	case k.letter == 0 || in.Clearance == 'O':
		return false, false
	case in.Type == 'X':
		return false, in.Shape == 'K'
	}
	return in.Clearance == 'N' && k.turnable(), true
}

// Edges returns how many edges can be used, both faces together: common practice, not
// standard. 0 if that is not fixed (round) or only a drawing can tell.
func (in Insert) Edges() int {
	s := in.shape()
	two, ok := in.TwoSided()
	if s == nil || !ok {
		return 0
	}
	if two {
		return 2 * s.corners
	}
	return s.corners
}

// tableEdges are edge lengths that a published standard table prints too; they agree with
// the computed ones.
var tableEdges = map[string]string{"D07": "7.75", "D11": "11.6", "D15": "15.5", "V11": "11.1", "V16": "16.6", "T16": "16.5"}

// EdgeSource tells where the edge length comes from.
func (in Insert) EdgeSource() string {
	s := in.shape()
	switch {
	case s == nil:
		return ""
	case s.edge == nil && in.IC > 0:
		return "from memory (the size code is the longer side; no formula)"
	case s.edge == nil:
		return "the size code: longer side in whole millimetres"
	}
	if t, ok := tableEdges[string(rune(in.Shape))+in.Size]; ok {
		return "computed; " + t + " in a published standard table"
	}
	return "computed"
}

// Limits are the deviations of position 3, each plus or minus, in mm. D is of the
// inscribed circle, M of the corner height, S of the thickness. 0 where the tables are
// silent for that circle and shape.
type Limits struct{ D, M, S float64 }

// Limits returns the tolerance limits of the insert. Classes J K L M N and U depend on the
// circle, and M of D and V shapes is wider.
//
// Source: insert_tolerance.csv and insert_tolerance_by_ic.csv, with their status.
func (in Insert) Limits() Limits { return limits(in.Tolerance, in.Shape, in.IC) }

func limits(class, shape byte, ic float64) Limits {
	switch class {
	case 'A':
		return Limits{0.025, 0.005, 0.025}
	case 'F':
		return Limits{0.013, 0.005, 0.025}
	case 'C':
		return Limits{0.025, 0.013, 0.025}
	case 'H':
		return Limits{0.013, 0.013, 0.025}
	case 'E':
		return Limits{0.025, 0.025, 0.025}
	case 'G':
		return Limits{0.025, 0.025, 0.13}
	}
	d, m := limitsByCircle(class, shape, ic)
	switch class {
	case 'J':
		return Limits{d, 0.005, 0.025}
	case 'K':
		return Limits{d, 0.013, 0.025}
	case 'L':
		return Limits{d, 0.025, 0.025}
	case 'M', 'U':
		return Limits{d, m, 0.13}
	case 'N':
		return Limits{d, m, 0.025}
	}
	return Limits{}
}

// band is a row of insert_tolerance_by_ic.csv, circles in mm from and to.
type band struct {
	classes, shapes string // shapes empty: all but D and V; "*": all
	from, to, d, m  float64
}

var bands = []band{
	{"JKLMN", "", 3.97, 9.525, 0.05, 0.08},
	{"JKLMN", "", 12.7, 12.7, 0.08, 0.13},
	{"JKLMN", "", 15.875, 19.05, 0.1, 0.15},
	{"JKLMN", "", 25.4, 25.4, 0.13, 0.18},
	{"JKLMN", "", 31.75, 31.75, 0.15, 0.2},
	{"MN", "D", 6.35, 9.525, 0.05, 0.11},
	{"MN", "D", 12.7, 12.7, 0.08, 0.15},
	{"MN", "D", 15.875, 19.05, 0.1, 0.18},
	{"MN", "V", 6.35, 9.525, 0.05, 0.16},
	{"U", "*", 3.97, 9.525, 0.08, 0.13},
	{"U", "*", 12.7, 12.7, 0.13, 0.2},
	{"U", "*", 15.875, 19.05, 0.18, 0.27},
	{"U", "*", 25.4, 25.4, 0.25, 0.38},
}

func limitsByCircle(class, shape byte, ic float64) (d, m float64) {
	for _, b := range bands {
		ofShape := b.shapes == "*" || b.shapes == "" && shape != 'D' && shape != 'V' || len(b.shapes) == 1 && b.shapes[0] == shape
		if ofShape && ic >= b.from && ic <= b.to && containsByte(b.classes, class) {
			return b.d, b.m
		}
	}
	return 0, 0
}

func containsByte(t string, b byte) bool {
	for i := 0; i < len(t); i++ {
		if t[i] == b {
			return true
		}
	}
	return false
}

// EdgeText describes position 8 ("sharp edge"); empty if it is not written.
func (in Insert) EdgeText() string { return edgeMeaning[in.Edge] }

// HandText describes position 9; empty if it is not written.
func (in Insert) HandText() string {
	switch in.Hand {
	case 'R':
		return "right hand"
	case 'L':
		return "left hand"
	case 'N':
		return "neutral, both directions"
	}
	return ""
}

// Wiper returns what two letters in position 7 say: the entering angle KAPR and the
// clearance of the wiper edge, degrees; 0 for the letter Z (other). ok is false for
// inserts without such letters.
//
// Source: insert_wiper.csv; half of it is from memory.
func (in Insert) Wiper() (kapr, clearance float64, ok bool) {
	if len(in.Corner) != 2 || !letter(in.Corner[0]) || !letter(in.Corner[1]) {
		return 0, 0, false
	}
	return wiperFirst[in.Corner[0]], wiperSecond[in.Corner[1]], true
}

// ChamferSize returns the chamfer of position 10: width in mm and angle in degrees.
func (in Insert) ChamferSize() (width, angle float64, ok bool) {
	if len(in.Chamfer) != 5 || !allDigits(in.Chamfer) {
		return 0, 0, false
	}
	return float64(atoi(in.Chamfer[:3])) / 100, float64(atoi(in.Chamfer[3:])), true
}

// Same reports whether two inserts are one thing to a pocket and to a drawing: equal in
// all positions of the standard, makers' suffixes and optional letters apart.
func (in Insert) Same(b Insert) bool { return in.Base() != "" && in.Base() == b.Base() }

// Seat spells the pocket the insert sits in as the stack tables do: the four letters, size
// and thickness: CNMG1204, CCMT09T3. A round insert keeps its corner code, because 12 with
// M0 is 12.0 mm and 12 with 00 is 12.7.
func (in Insert) Seat() string {
	if in == (Insert{}) {
		return ""
	}
	t := string([]byte{in.Shape, in.Clearance, in.Tolerance, in.Type}) + in.Size + in.Thickness
	if in.Shape == 'R' {
		t += in.Corner
	}
	return t
}

// Pocket returns the seat this insert is made for.
func (in Insert) Pocket() Pocket {
	p := Pocket{Shape: in.Shape, Clearance: in.Clearance, Size: in.Size, Thickness: in.Thickness, Holes: 1 << in.Hole()}
	if in.Shape == 'R' {
		p.Round = in.Corner
	}
	switch in.Hole() {
	case HoleSpecial:
		p.Holes = 0
	case HoleSunk40One, HoleSunk40Both:
		p.Holes = 1<<HoleSunk40One | 1<<HoleSunk40Both
	case HoleSunk70One, HoleSunk70Both:
		p.Holes = 1<<HoleSunk70One | 1<<HoleSunk70Both
	}
	return p
}

// A Pocket is a seat on a bar or head: shape, clearance and size decide, then thickness
// and the kind of hole. Tolerance letter and chip breaker never decide. Equal pockets are
// ==; [Pocket.Fits] allows for what one of them leaves open.
type Pocket struct {
	Shape, Clearance byte
	Size             string // size code of position 5
	Thickness        string // thickness code; empty: the name does not say (a bar name does not)
	Round            string // "M0" or "00" for round inserts; empty: not said
	Holes            uint8  // bit set of Hole: the kinds of hole its clamp holds; 0: not said
}

// Takes reports whether the clamp of the pocket holds an insert with that hole.
func (p Pocket) Takes(h Hole) bool { return p.Holes == 0 || h == HoleSpecial || p.Holes&(1<<h) != 0 }

// Fits says whether an insert sits in the pocket, and if not, why, in one sentence part.
// open lists what the pocket leaves open and a person must check, such as the thickness
// behind a bar name.
func (p Pocket) Fits(in Insert) (ok bool, why string, open []string) {
	switch {
	case in.Shape != p.Shape:
		return false, fmt.Sprintf("shape %c, the pocket is for %c", in.Shape, p.Shape), nil
	case in.Clearance != p.Clearance:
		return false, fmt.Sprintf("clearance %c, the pocket is for %c", in.Clearance, p.Clearance), nil
	case in.Size != p.Size:
		return false, fmt.Sprintf("size %s, the pocket is for %s", in.Size, p.Size), nil
	case p.Round != "" && in.Shape == 'R' && in.Corner != p.Round:
		return false, fmt.Sprintf("diameter %g mm (code %s), the pocket is for %s", in.IC, in.Corner, p.Round), nil
	case p.Thickness != "" && in.Thickness != p.Thickness:
		return false, fmt.Sprintf("thickness %s (%g mm), the pocket is for %s", in.Thickness, in.S, p.Thickness), nil
	case !p.Takes(in.Hole()):
		return false, fmt.Sprintf("hole: %s, which the clamp does not hold", in.HoleText()), nil
	}
	if p.Thickness == "" {
		open = append(open, fmt.Sprintf("thickness %g mm: the name of the bar does not say which its seat and shim are for", in.S))
	}
	if in.Shape == 'R' && p.Round == "" {
		open = append(open, fmt.Sprintf("diameter %g mm: the name of the bar does not tell 12.0 from 12.7", in.IC))
	}
	if in.Hole() == HoleSpecial {
		open = append(open, "type X: compare hole and clamp by the drawings")
	}
	return true, "", open
}

// Meets reports whether two pockets, or an insert's pocket and a seat, can be the same
// seat: all that both say agrees.
func (p Pocket) Meets(q Pocket) bool {
	same := func(a, b string) bool { return a == "" || b == "" || a == b }
	return p.Shape == q.Shape && p.Clearance == q.Clearance && p.Size == q.Size &&
		same(p.Thickness, q.Thickness) && same(p.Round, q.Round) && (p.Holes == 0 || q.Holes == 0 || p.Holes&q.Holes != 0)
}

// String spells the pattern of inserts that fit, two dots where a letter is free:
// "CN..1204", "CC..09" if the thickness is open.
func (p Pocket) String() string {
	if p.Shape == 0 {
		return ""
	}
	return string([]byte{p.Shape, p.Clearance}) + ".." + p.Size + p.Thickness + p.Round
}

// ParseSeat reads the spelling of a pocket: a seat as the stack tables write it
// (CNMG1204), a full insert name, or a pattern with free letters (CN..1204, CC..09). Else
// a *[Refusal].
func ParseSeat(text string) (Pocket, error) {
	if in, err := ParseInsert(text); err == nil {
		return in.Pocket(), nil
	}
	var c clean
	if ref := c.tidy("seat", text); ref != nil {
		return Pocket{}, ref
	}
	t := make([]byte, 0, maxChars)
	for _, b := range c.bytes() {
		if b != ' ' {
			t = append(t, b)
		}
	}
	free := len(t) > 3 && t[2] == '.' && t[3] == '.'
	if free {
		t[2], t[3] = 'M', 'N' // any letters that exist
	}
	var p Pocket
	var tries []string
	if len(t) == 6 && free {
		tries = []string{string(t) + "0100", string(t) + "01M0"} // size only
	} else {
		tries = []string{string(t) + "00", string(t) + "M0", string(t)}
	}
	var first error
	for _, try := range tries {
		in, err := ParseInsert(try)
		if err != nil {
			if first == nil {
				first = err
			}
			continue
		}
		p = in.Pocket()
		if len(t) != len(try) {
			p.Round = ""
		}
		if len(t) == 6 && free {
			p.Thickness = ""
		}
		if free {
			p.Holes = 0
		}
		return p, nil
	}
	r := refusal("seat", text, CodeForm, "a seat is written as four letters, size and thickness (CNMG1204), or with free letters (CN..1204)")
	if ref, ok := first.(*Refusal); ok && ref.Code == CodeMeaning {
		r.Code, r.Why = ref.Code, ref.Why
	}
	return Pocket{}, r
}
