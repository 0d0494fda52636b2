package standard

import (
	"fmt"
	"strings"
)

// groups are the numbers of an inch designation in tenths: size in eighths of an inch,
// thickness in sixteenths, radius in 64ths (-1: round, none written); n is how many
// characters they take.
type groups struct {
	size, thickness, radius int16
	n                       int
}

// inchGroups finds the dotted groups of ANSI B212.4 at the start of b: three of one digit
// each with an optional dot and digit ("32.51" is 3, 2.5, 1), two for round inserts, the
// middle one in parentheses if a maker likes. Size 10 is the only one of two digits.
// Sizes and thicknesses that do not exist are no inch name: six metric digits are not.
func inchGroups(b []byte, shape byte) (groups, bool) {
	round := shape == 'R'
	end := 0
	for end < len(b) && (digit(b[end]) || b[end] == '.' || b[end] == ',' || b[end] == '(' || b[end] == ')') {
		end++
	}
	if end < len(b) && (b[end] == 'T' || b[end] == 'S' || b[end] == 'M') && end+1 < len(b) && digit(b[end+1]) && end%2 == 0 {
		return groups{}, false // a metric thickness or M0 goes on
	}
	g := groups{radius: -1, n: end}
	i := 0
	next := func() (int16, bool) {
		bracket := i < end && b[i] == '('
		if bracket {
			i++
		}
		if i >= end || !digit(b[i]) {
			return 0, false
		}
		v := int16(b[i]-'0') * 10
		i++
		if i+1 < end && (b[i] == '.' || b[i] == ',') && digit(b[i+1]) {
			v += int16(b[i+1] - '0')
			i += 2
		}
		if bracket {
			if i >= end || b[i] != ')' {
				return 0, false
			}
			i++
		}
		return v, true
	}
	read := func(start int, size int16) bool {
		i = start
		ok := true
		if g.size = size; size == 0 {
			g.size, ok = next()
		}
		if ok {
			g.thickness, ok = next()
		}
		if ok && !round {
			g.radius, ok = next()
		}
		return ok && i == end && sizeANSI(g.size) && thicknessByANSI(g.thickness) != nil
	}
	if read(0, 0) {
		return g, true
	}
	// On other shapes 10 is a metric size code: WNMG 1011V3.
	if end > 2 && b[0] == '1' && b[1] == '0' && sizeByANSI(shape, 100) != nil && read(2, 100) {
		return g, true
	}
	return groups{}, false
}

func sizeANSI(ansi int16) bool {
	for i := range circles {
		if circles[i].ansi == ansi {
			return true
		}
	}
	return false
}

func thicknessByANSI(ansi int16) *thickness {
	for i := range thicknesses {
		if thicknesses[i].ansi == ansi {
			return &thicknesses[i]
		}
	}
	return nil
}

// inch turns the groups into positions 5 to 7 of the metric code.
func (in *Insert) inch(b []byte, at int, g groups, rd *Reading) (end int, f *fault) {
	sh := &shapes[shapeOf[in.Shape]]
	s := sizeByANSI(in.Shape, g.size)
	if s == nil {
		return 0, &fault{at, CodeMeaning, "no %s has inch size %s", []any{sh.name, tenths(g.size)}}
	}
	th := thicknessByANSI(g.thickness)
	in.Size, in.IC, in.L, in.Thickness, in.S = s.code, s.ic, s.edge, th.code, th.mm
	in.Corner = "00"
	if g.radius >= 0 {
		in.Corner = ""
		for i := range corners {
			if corners[i].ansi == g.radius {
				in.Corner, in.RE = corners[i].code, corners[i].mm
			}
		}
		if in.Corner == "" {
			return 0, &fault{at + g.n - 1, CodeMeaning, "%s is no radius in 64ths of an inch", []any{tenths(g.radius)}}
		}
		if f := in.radiusFits(at + g.n - 1); f != nil {
			return 0, f
		}
	}
	if in.Clearance != 'N' && (g.size == 50 || g.size == 60 || g.size == 70) {
		rd.flags |= saidSmallInch
	}
	end = at + g.n
	if end < len(b) && digit(b[end]) {
		return 0, &fault{end, CodeForm, "too many digits", nil}
	}
	return end, nil
}

func tenths(v int16) string {
	if v%10 == 0 {
		return fmt.Sprint(v / 10)
	}
	return fmt.Sprintf("%d.%d", v/10, v%10)
}

// An InchName is an insert in the numbers of ANSI B212.4.
type InchName struct {
	Name                    string // "CNMG 432"
	Size, Thickness, Radius string // number groups; Radius empty for round
	IC, S, RE               string // inches as fractions: "1/2", "3/16", "2/64"
	Status                  string // whether that very name was seen, or follows the rule
}

// seenInch are inch names that were read on a public page beside their metric ones.
const seenInch = "|CCMT 32.51|TCMT 32.52|CNMG 432|CNMG 433|DNMG 432|WNMG 432|"

// Inch returns the inch name of the insert, without edge, hand and suffix. false if it
// has none: metric rounds, shapes without a circle, radii and wipers without an inch code.
func (in Insert) Inch() (InchName, bool) {
	s := sizeByCodeText(in.Shape, in.Size)
	if s == nil || s.circle < 0 || in.Corner == "M0" {
		return InchName{}, false
	}
	c := circles[s.circle]
	var th *thickness
	if len(in.Thickness) == 2 {
		th = thicknessByCode(in.Thickness[0], in.Thickness[1])
	}
	if th == nil {
		return InchName{}, false
	}
	n := InchName{Size: tenths(c.ansi), Thickness: tenths(th.ansi), IC: c.inch, S: th.inch, Status: "rule-derived"}
	if in.Shape != 'R' {
		for _, k := range corners {
			if k.code == in.Corner {
				n.Radius, n.RE = tenths(k.ansi), tenths(k.ansi)+"/64"
			}
		}
		if n.Radius == "" {
			return InchName{}, false
		}
	}
	n.Name = string([]byte{in.Shape, in.Clearance, in.Tolerance, in.Type}) + " " + n.Size + n.Thickness + n.Radius
	if strings.Contains(seenInch, "|"+n.Name+"|") {
		n.Status = "confirmed on a public page"
	}
	return n, true
}

func sizeByCodeText(letter byte, code string) *size {
	if len(code) != 2 || letter > 'Z' {
		return nil
	}
	return sizeByCode(letter, code[0], code[1])
}
