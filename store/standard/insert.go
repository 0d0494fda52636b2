package standard

import (
	"fmt"
	"strings"
)

// An Insert is an indexable insert as its designation describes it (ISO 1832). Two names
// of one insert, metric or inch, spaced or not, read as equal values.
type Insert struct {
	Shape, Clearance, Tolerance, Type byte // positions 1 to 4, letters

	Size      string // position 5, two characters: "12", "S4"
	Thickness string // position 6: "04", "T3"
	Corner    string // position 7: "08", "M0", "00", "V3", or two wiper letters "PD"

	Edge    byte   // position 8: F E T S K P, 0 if not written
	Hand    byte   // position 9: R L N, 0 if not written
	Chamfer string // position 10: five digits "01020", 0.10 mm x 20 degrees, or empty
	Suffix  string // maker's own part, upper case, without the dash

	IC float64 // inscribed circle in mm as printed (9.525, 7.94); diameter for round; 0: not in the name
	L  float64 // cutting edge length in mm to 0.01, to the sharp corners; 0: not in the name
	S  float64 // thickness in mm as printed
	RE float64 // corner radius in mm as printed; 0: sharp, round or wiper
}

// ParseInsert reads the designation of an insert, metric (ISO 1832: "CNMG 120408-MF") or
// inch (ANSI B212.4: "CNMG 432", "CCMT 3(2.5)1"). Spaces, case, dashes and full-width
// forms are cleaned. The maker's suffix is kept apart and never decides whether two
// inserts are one. Else a *[Refusal]; see [ReadInsert] for how the text was read.
func ParseInsert(text string) (Insert, error) {
	in, _, err := ReadInsert(text)
	return in, err
}

// A Reading tells how a text was read.
type Reading struct {
	Status string // Accept, Normalise, AcceptSuffix, AcceptIncomplete or OtherSystem
	Inch   bool   // written in the inch system
	flags  uint16 // what there is to say
}

// what a reader noticed
const (
	saidSuffixGlued uint16 = 1 << iota // suffix without a dash
	saidEdgeOrMaker                    // its first letter could be position 8 or 9
	saidNoCircle                       // circle not in the name
	saidFromMemory                     // circle and edge of K 16
	saidByRule                         // radius or diameter read by rule, not in the table
	saidNotISO                         // shape F
	saidWiper                          // two letters in position 7
	saidDrawing                        // type X or clearance O
	saidSmallInch                      // 5, 6, 7 with clearance: older practice
	saidTail                           // bar: letter after the size
	saidStyle                          // bar: style J or Z
)

var saidTexts = []string{
	"the maker's suffix stands without a dash",
	"the first letter of the suffix could also be the edge condition or the hand",
	"the inscribed circle is not in the name of this shape",
	"circle and edge length of this shape are from memory",
	"read by rule: this code is not in the tables",
	"the 50 degree rhombus is not in ISO 1832",
	"two letters in place of the radius: entering angle and clearance of a wiper edge, as on milling inserts",
	"a special form: hole, faces or clearance need a drawing",
	"older inch names count circles under 1/4 in, and their thickness, in 32nds of an inch: check the piece",
	"a letter after the size: form of the flats or the maker's own",
	"this style letter is not one of the standard for bars; the angle is from memory",
}

// Notes returns what a person should know about the reading; nil if nothing.
func (r Reading) Notes() []string {
	var out []string
	for i, t := range saidTexts {
		if r.flags&(1<<i) != 0 {
			out = append(out, t)
		}
	}
	return out
}

// fault is a refusal in the making: cheap, and turned into a *Refusal once.
type fault struct {
	at   int // byte of the cleaned text; -1: the whole
	code string
	why  string
	args []any
}

// ReadInsert reads like [ParseInsert] and tells how.
func ReadInsert(text string) (Insert, Reading, error) {
	var c clean
	if ref := c.tidy("insert", text); ref != nil {
		if ref.Code == CodeCharset {
			ref.Meant = meantInsert(unlook(text))
		}
		return Insert{}, Reading{}, ref
	}
	in, rd, f := readInsert(&c)
	if f == nil {
		return in, rd, nil
	}
	r := refusal("insert", text, f.code, fmt.Sprintf(f.why, f.args...))
	if f.at >= 0 {
		r.At = c.where(f.at)
		if f.at < c.n {
			r.Char = string(c.b[f.at : f.at+1])
		}
	}
	r.Meant = meantInsert(c.string())
	return Insert{}, Reading{}, r
}

// readInsert reads the four letters and hands on to the metric or the inch reading.
func readInsert(c *clean) (in Insert, rd Reading, f *fault) {
	b := c.bytes()
	letters := 0
	for letters < len(b) && letter(b[letters]) {
		letters++
	}
	switch {
	case digit(b[0]):
		return in, rd, &fault{0, CodeForm, "an insert name begins with four letters; names that begin with a size, such as 16ER, are lay-down threading inserts and not read here", nil}
	case letters == 5 && len(b) > 5 && (b[0] == 'C' && b[4] == 'S' && b[5] == '4' || b[0] == 'W' && b[4] == 'L' && b[5] == '3'):
		letters = 4 // size codes S4 and L3 begin with a letter
	case letters < 4:
		return in, rd, &fault{letters, CodeForm, "an insert name begins with four letters: shape, clearance, tolerance, type; here are %d", []any{letters}}
	}
	si := shapeOf[b[0]]
	switch {
	case si < 0:
		return in, rd, &fault{0, CodeMeaning, "%c is no shape letter", []any{b[0]}}
	case b[1] != 'O' && !isClearance(b[1]):
		return in, rd, &fault{1, CodeMeaning, "%c is no clearance letter", []any{b[1]}}
	case strings.IndexByte(toleranceLetters, b[2]) < 0:
		return in, rd, &fault{2, CodeMeaning, "%c is no tolerance letter", []any{b[2]}}
	case kindOf[b[3]] < 0:
		return in, rd, &fault{3, CodeMeaning, "%c is no type letter", []any{b[3]}}
	case letters > 4:
		return in, rd, &fault{4, CodeForm, "an insert name has four letters before its numbers; here are %d", []any{letters}}
	case b[0] == 'M' && b[1] == 'G':
		return in, rd, &fault{0, CodeForm, "names in MG are grooving inserts: the M is not the 86 degree rhombus", nil}
	}
	in.Shape, in.Clearance, in.Tolerance, in.Type = b[0], b[1], b[2], b[3]
	if b[0] == 'F' {
		rd.flags |= saidNotISO
	}
	if b[1] == 'O' || b[3] == 'X' && b[0] != 'K' {
		rd.flags |= saidDrawing
	}
	rd.Status = Accept
	if c.changed {
		rd.Status = Normalise
	}
	i := 4
	for i < len(b) && b[i] == ' ' {
		i++
	}
	if i+1 < len(b) && b[i] == '-' {
		// CNMG-120408: no suffix can begin before the numbers, so the dash parts nothing.
		rd.Status = Normalise
		for i++; i < len(b) && b[i] == ' '; i++ {
		}
	}
	var end int
	if n, ok := inchGroups(b[i:], b[0]); ok {
		rd.Inch, rd.Status = true, OtherSystem
		end, f = in.inch(b, i, n, &rd)
	} else {
		end, f = in.metric(c, i, &rd)
	}
	if f != nil {
		return in, rd, f
	}
	f = in.trailer(c, end, &rd)
	return in, rd, f
}

func isClearance(b byte) bool {
	switch b {
	case 'A', 'B', 'C', 'D', 'E', 'F', 'G', 'N', 'P':
		return true
	}
	return false
}

// metric reads positions 5 to 7, two characters each, spaces between them forgiven.
func (in *Insert) metric(c *clean, i int, rd *Reading) (end int, f *fault) {
	b := c.bytes()
	var d [6]byte // the six characters
	var p [7]int  // where they stand
	n, spaced := 0, false
	for ; i < len(b) && n < 6 && b[i] != '-'; i++ {
		if b[i] == ' ' {
			spaced = spaced || n > 0
			continue
		}
		d[n], p[n] = b[i], i
		n++
	}
	p[n] = i
	// A person sees the wrong letter sooner than the missing one.
	for k := 0; k < n && k < 6; k++ {
		if k < 4 && !digit(d[k]) && !(k == 2 && (d[k] == 'T' || d[k] == 'S')) && !(k == 0 && (d[0] == 'S' || d[0] == 'L')) {
			return 0, &fault{p[k], CodeForm, "a digit belongs here, not the letter %c", []any{d[k]}}
		}
	}
	if n < 4 {
		return 0, &fault{p[n], CodeForm, "size, thickness and corner need two characters each; the text ends after %d", []any{n}}
	}
	round := in.Shape == 'R'
	th := thicknessByCode(d[2], d[3])
	if th == nil {
		return 0, &fault{p[2], CodeMeaning, "thickness code %c%c does not exist", []any{d[2], d[3]}}
	}
	if f := in.setSize(d[0], d[1], n == 6 && d[4] == 'M' && d[5] == '0', p[0], rd); f != nil {
		return 0, f
	}
	in.Thickness, in.S = th.code, th.mm
	switch {
	case n < 6 && round && n == 4:
		return 0, &fault{p[4], CodeForm, "a round insert ends in 00 (inch diameter) or M0 (metric diameter)", nil}
	case n < 6:
		return 0, &fault{p[n], CodeForm, "the corner code is incomplete: two characters after size and thickness", nil}
	}
	switch {
	case d[4] == 'M' && d[5] == '0':
		if !round {
			return 0, &fault{p[4], CodeMeaning, "M0 is for round inserts only", nil}
		}
		in.Corner = "M0"
	case d[4] == 'V' && (d[5] == '3' || d[5] == '5') && !round:
		in.Corner, in.RE = "V3", 0.03
		if d[5] == '5' {
			in.Corner, in.RE = "V5", 0.05
		}
	case digit(d[4]) && digit(d[5]):
		v := int(d[4]-'0')*10 + int(d[5]-'0')
		if round && v != 0 {
			return 0, &fault{p[4], CodeMeaning, "a round insert has no corner radius: 00 or M0 belongs here", nil}
		}
		in.Corner, in.RE = twoDigits[v], float64(v)/10
		if f := in.radiusFits(p[4]); f != nil {
			return 0, f
		}
		if !round && !inTable(v) {
			rd.flags |= saidByRule
		}
	case !round && isWiper(d[4], d[5]):
		in.Corner = wiperCode(d[4], d[5])
		rd.flags |= saidWiper
	default:
		at := p[4]
		if digit(d[4]) {
			at = p[5]
		}
		return 0, &fault{at, CodeMeaning, "%c%c is no corner code", []any{d[4], d[5]}}
	}
	if i < len(b) && digit(b[i]) && p[5] == i-1 {
		return 0, &fault{i, CodeForm, "too many digits: size, thickness and corner are six characters", nil}
	}
	if spaced && rd.Status == Accept {
		rd.Status = Normalise
	}
	return i, nil
}

func inTable(tenths int) bool {
	switch tenths {
	case 0, 1, 2, 4, 5, 8, 10, 12, 16, 20, 24, 28, 32, 40:
		return true
	}
	return false
}

// radiusFits refuses a corner that would not leave an edge.
func (in *Insert) radiusFits(at int) *fault {
	if limit := in.IC / 2; in.IC > 0 && in.RE > limit {
		return &fault{at, CodeMeaning, "a radius of %g mm does not fit a circle of %g mm", []any{in.RE, in.IC}}
	}
	return nil
}

func isWiper(a, b byte) bool {
	first := a == 'A' || a == 'D' || a == 'E' || a == 'F' || a == 'P' || a == 'Z'
	return first && (isClearance(b) || b == 'Z')
}

var wiperCodes = func() (t ['Z' + 1]['Z' + 1]string) {
	for a := byte('A'); a <= 'Z'; a++ {
		for b := byte('A'); b <= 'Z'; b++ {
			t[a][b] = string([]byte{a, b})
		}
	}
	return t
}()

func wiperCode(a, b byte) string { return wiperCodes[a][b] }

// setSize looks the size code up for the shape; metric tells a round insert in M0.
func (in *Insert) setSize(a, b byte, metric bool, at int, rd *Reading) *fault {
	sh := &shapes[shapeOf[in.Shape]]
	if digit(a) && digit(b) && (sh.edge == nil || metric && in.Shape == 'R') {
		v := int(a-'0')*10 + int(b-'0')
		if v < 3 || v > 60 {
			return &fault{at, CodeMeaning, "no %s has size %c%c", []any{sh.name, a, b}}
		}
		in.Size = twoDigits[v]
		switch {
		case in.Shape == 'R':
			in.IC, in.L = float64(v), float64(v)
			known := false
			for _, m := range metricRounds {
				known = known || m == in.Size
			}
			if !known {
				rd.flags |= saidByRule
			}
		case in.Shape == 'K' && v == 16:
			in.IC, in.L = 9.525, 16.15
			rd.flags |= saidFromMemory
		default:
			in.L = float64(v)
			rd.flags |= saidNoCircle
		}
		return nil
	}
	s := sizeByCode(in.Shape, a, b)
	if s == nil {
		if in.Shape == 'R' {
			return &fault{at, CodeMeaning, "no round insert of an inch diameter has size %c%c: write M0 for the metric diameter", []any{a, b}}
		}
		if twin := sizeByCode('S', a, b); twin != nil {
			if own := sizeByANSI(in.Shape, circles[twin.circle].ansi); own != nil {
				return &fault{at, CodeMeaning, "no %s has size %c%c: the %g circle is coded %s on this shape", []any{sh.name, a, b, own.ic, own.code}}
			}
		}
		return &fault{at, CodeMeaning, "no %s has size %c%c", []any{sh.name, a, b}}
	}
	in.Size, in.IC, in.L = s.code, s.ic, s.edge
	return nil
}

// trailer reads what stands after the corner: edge condition, hand, chamfer, suffix.
func (in *Insert) trailer(c *clean, i int, rd *Reading) *fault {
	b := c.bytes()
	blank := false
	for i < len(b) && b[i] == ' ' {
		i++
		blank = true
	}
	if i < len(b) && letter(b[i]) {
		g := i
		for g < len(b) && letter(b[g]) {
			g++
		}
		if edge, hand, ok := edgeHand(b[i:g]); ok {
			in.Edge, in.Hand = edge, hand
			i = g
			if n := digits(b[i:]); n == 5 {
				in.Chamfer = string(b[i : i+5])
				i += 5
			} else if n > 0 && n < 5 && hand != 0 && i+n == len(b) {
				in.Suffix = string(b[i:]) // "L11": a maker's number, by custom without a dash
				rd.flags |= saidSuffixGlued
				rd.suffix()
				return nil
			}
			blank = i < len(b) && b[i] == ' '
			for i < len(b) && b[i] == ' ' {
				i++
			}
		}
	}
	if i == len(b) {
		return nil
	}
	if b[i] == '-' {
		if i++; i < len(b) && b[i] == ' ' {
			i++
		}
		if i == len(b) {
			return &fault{len(b) - 1, CodeForm, "a dash with nothing after it: the maker's suffix is missing", nil}
		}
	} else if !blank {
		rd.flags |= saidSuffixGlued
		if strings.IndexByte("FETSKPRLN", b[i]) >= 0 {
			rd.flags |= saidEdgeOrMaker
		}
	}
	for j := i; j < len(b); j++ {
		if !letterOrDigit(b[j]) && strings.IndexByte(" .,-+/()#*_", b[j]) < 0 {
			return &fault{j, CodeCharset, "%q stands in no maker's suffix", []any{string(b[j : j+1])}}
		}
	}
	if !letterOrDigit(b[i]) {
		return &fault{i, CodeForm, "a maker's suffix begins with a letter or a digit", nil}
	}
	in.Suffix = string(b[i:])
	rd.suffix()
	return nil
}

func (r *Reading) suffix() {
	if r.Status == Accept || r.Status == Normalise {
		r.Status = AcceptSuffix
	}
}

func digits(b []byte) int {
	n := 0
	for n < len(b) && digit(b[n]) {
		n++
	}
	return n
}

// edgeHand reads "F", "FN" or "N": edge condition, hand, in this order and nothing else.
func edgeHand(g []byte) (edge, hand byte, ok bool) {
	k := 0
	if k < len(g) && strings.IndexByte("FETSKP", g[k]) >= 0 {
		edge = g[k]
		k++
	}
	if k < len(g) && strings.IndexByte("RLN", g[k]) >= 0 {
		hand = g[k]
		k++
	}
	return edge, hand, k == len(g)
}

// Base is the designation up to the corner: what two inserts that are one share, makers
// apart.
func (in Insert) Base() string {
	if in == (Insert{}) {
		return ""
	}
	return string([]byte{in.Shape, in.Clearance, in.Tolerance, in.Type}) + in.Size + in.Thickness + in.Corner
}

// String spells the insert canonically: metric, capitals, no space, the maker's suffix
// after a dash (a maker's number after the hand stands without one, as in
// KNUX160405L11). ParseInsert reads it back to an equal value.
func (in Insert) String() string {
	t := in.Base()
	if in.Edge != 0 {
		t += string(rune(in.Edge))
	}
	if in.Hand != 0 {
		t += string(rune(in.Hand))
	}
	t += in.Chamfer
	switch n := len(in.Suffix); {
	case n == 0:
	case n < 5 && in.Hand != 0 && in.Chamfer == "" && allDigits(in.Suffix):
		t += in.Suffix
	default:
		t += "-" + in.Suffix
	}
	return t
}
