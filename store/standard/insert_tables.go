package standard

import (
	"fmt"
	"math"
)

// A shape is a row of position 1 of ISO 1832: the letter, its corner angle EPSR in
// degrees, corners a side, and how the edge length follows from the inscribed circle.
type shape struct {
	letter  byte
	name    string
	angle   float64 // 0 for round
	corners int     // per side; 0 for round: not fixed
	family  string
	edge    func(d float64) float64 // nil: no inscribed circle, the size code is the longer side
	status  string
}

func rhombus(angle float64) func(float64) float64 {
	return func(d float64) float64 { return d / math.Sin(angle*math.Pi/180) }
}

func tangent(angle float64) func(float64) float64 {
	return func(d float64) float64 { return d * math.Tan(angle*math.Pi/180) }
}

const (
	regular = "equilateral equiangular"
	leaning = "equilateral non-equiangular"
	skew    = "non-equilateral non-equiangular"
)

// shapes: insert_shapes.csv. The trigon's edge is (d/2)(cot 40 + cot 80).
var shapes = []shape{
	{'H', "hexagon", 120, 6, regular, tangent(30), "ISO"},
	{'O', "octagon", 135, 8, regular, tangent(22.5), "ISO"},
	{'P', "pentagon", 108, 5, regular, tangent(36), "ISO"},
	{'S', "square", 90, 4, regular, func(d float64) float64 { return d }, "ISO"},
	{'T', "triangle", 60, 3, regular, func(d float64) float64 { return d * math.Sqrt(3) }, "ISO"},
	{'C', "rhombus 80", 80, 2, leaning, rhombus(80), "ISO"},
	{'D', "rhombus 55", 55, 2, leaning, rhombus(55), "ISO"},
	{'E', "rhombus 75", 75, 2, leaning, rhombus(75), "ISO"},
	{'M', "rhombus 86", 86, 2, leaning, rhombus(86), "ISO"},
	{'V', "rhombus 35", 35, 2, leaning, rhombus(35), "ISO"},
	{'W', "trigon with 80 degree corners", 80, 3, leaning, func(d float64) float64 { return d / 2 * (cot(40) + cot(80)) }, "ISO"},
	{'L', "rectangle", 90, 4, "non-equilateral equiangular", nil, "ISO"},
	{'A', "parallelogram 85", 85, 2, skew, nil, "ISO"},
	{'B', "parallelogram 82", 82, 2, skew, nil, "ISO"},
	{'K', "parallelogram 55", 55, 2, skew, nil, "ISO"},
	{'R', "round", 0, 0, "round", func(d float64) float64 { return d }, "ISO"},
	{'F', "rhombus 50", 50, 2, leaning, rhombus(50), "not ISO: seen on two catalogue tables only"},
}

func cot(deg float64) float64 { return 1 / math.Tan(deg*math.Pi/180) }

// A circle is an inscribed circle IC: inch-based, with its exact and its printed size and
// the size digit of ANSI B212.4 in tenths (eighths of an inch: 40 is 4, 1/2 in).
type circle struct {
	exact, nominal float64 // mm
	inch           string
	ansi           int16
}

var circles = []circle{
	{3.96875, 3.97, "5/32", 12},
	{4.7625, 4.76, "3/16", 15},
	{5.55625, 5.56, "7/32", 18},
	{6.35, 6.35, "1/4", 20},
	{7.9375, 7.94, "5/16", 25},
	{9.525, 9.525, "3/8", 30},
	{12.7, 12.7, "1/2", 40},
	{15.875, 15.875, "5/8", 50},
	{19.05, 19.05, "3/4", 60},
	{22.225, 22.225, "7/8", 70},
	{25.4, 25.4, "1", 80},
	{31.75, 31.75, "1-1/4", 100},
}

// A size is one entry of position 5: what a two-character code means on one shape.
type size struct {
	code   string
	circle int8    // index into circles; -1: no inch circle
	ic     float64 // nominal, mm; 0: none
	edge   float64 // mm to 0.01; diameter for round
}

// sizes is position 5 by shape letter, made by rule: the edge length to 0.01 mm with its
// decimals dropped. Three codes break the rule: two because the whole millimetre was taken,
// and the triangle of 43.99, which is coded 44.
// Where two circles of a shape share a code (E, H, O, P, M, F under 6.35) the smaller is
// left out, as the table does for E.
var sizes = makeSizes()

func makeSizes() ['Z' + 1][]size {
	var all ['Z' + 1][]size
	exceptions := map[string]string{"C3.97": "S4", "W4.76": "L3", "T25.4": "44"}
	for _, s := range shapes {
		if s.edge == nil {
			continue
		}
		from, to := 0, len(circles)-2
		switch s.letter {
		case 'S', 'C':
			to = len(circles) - 1 // 31.75 by rule
		case 'R':
			from, to = 1, len(circles)-1
		case 'E':
			from = 1
		case 'H', 'O', 'P', 'M', 'F':
			from = 3
		}
		for i := from; i <= to; i++ {
			c := circles[i]
			edge := math.Round(s.edge(c.exact)*100) / 100
			code := fmt.Sprintf("%02d", int(edge))
			if x, ok := exceptions[fmt.Sprintf("%c%g", s.letter, c.nominal)]; ok {
				code = x
			}
			list := all[s.letter]
			if n := len(list); n > 0 && list[n-1].code == code {
				list[n-1] = size{code, int8(i), c.nominal, edge}
			} else {
				all[s.letter] = append(list, size{code, int8(i), c.nominal, edge})
			}
		}
	}
	return all
}

// metricRounds are the diameters seen with corner code M0; the code is the diameter, so
// others are read by rule.
var metricRounds = []string{"06", "08", "10", "12", "16", "20", "25", "32"}

// twoDigits are all two-digit codes as constant texts: no reader allocates for a code.
var twoDigits = func() (t [100]string) {
	for i := range t {
		t[i] = fmt.Sprintf("%02d", i)
	}
	return t
}()

// A thickness is an entry of position 6.
type thickness struct {
	code string
	mm   float64 // nominal
	inch string
	ansi int16 // sixteenths of an inch, in tenths
}

// thicknesses: insert_thickness.csv.
var thicknesses = []thickness{
	{"S1", 1.39, "0.055", 9},
	{"01", 1.59, "1/16", 10},
	{"T0", 1.79, "0.070", 11},
	{"T1", 1.98, "5/64", 12},
	{"02", 2.38, "3/32", 15},
	{"T2", 2.78, "7/64", 18},
	{"03", 3.18, "1/8", 20},
	{"T3", 3.97, "5/32", 25},
	{"04", 4.76, "3/16", 30},
	{"05", 5.56, "7/32", 35},
	{"06", 6.35, "1/4", 40},
	{"07", 7.94, "5/16", 50},
	{"09", 9.52, "3/8", 60},
	{"11", 11.11, "7/16", 70},
	{"12", 12.7, "1/2", 80},
}

// A corner is an entry of position 7 that has an inch code: 64ths of an inch, in tenths.
type corner struct {
	code string
	mm   float64
	ansi int16
}

// corners: insert_radius.csv. Radii in between are read by rule (tenths of a millimetre)
// and have no inch name.
var corners = []corner{
	{"00", 0, 0},
	{"01", 0.1, 2},
	{"02", 0.2, 5},
	{"04", 0.4, 10},
	{"08", 0.8, 20},
	{"12", 1.2, 30},
	{"16", 1.6, 40},
	{"20", 2.0, 50},
	{"24", 2.4, 60},
	{"28", 2.8, 70},
	{"32", 3.2, 80},
}

// A clearance is a row of position 2: normal clearance AN in degrees.
var clearances = map[byte]float64{'A': 3, 'B': 5, 'C': 7, 'D': 15, 'E': 20, 'F': 25, 'G': 30, 'N': 0, 'P': 11}

// Holes an insert can have: what a clamp needs of it.
type Hole uint8

// The kinds of hole of position 4.
const (
	HoleNone Hole = iota
	HoleCylindrical
	HoleSunk40One  // one countersink of 40 to 60 degrees
	HoleSunk40Both // two of them
	HoleSunk70One  // one countersink of 70 to 90 degrees
	HoleSunk70Both // two of them
	HoleSpecial    // type X: needs a drawing
)

var holeNames = [...]string{
	"none", "cylindrical",
	"part-cylindrical with one countersink 40-60 deg", "part-cylindrical with two countersinks 40-60 deg",
	"part-cylindrical with one countersink 70-90 deg", "part-cylindrical with two countersinks 70-90 deg",
	"special",
}

func (h Hole) String() string {
	if int(h) < len(holeNames) {
		return holeNames[h]
	}
	return ""
}

// A kind is a row of position 4: hole and faces with a chip breaker (0, 1, 2).
type kind struct {
	letter byte
	hole   Hole
	faces  int8 // with chip breaker; -1 special
}

var kinds = []kind{
	{'N', HoleNone, 0},
	{'R', HoleNone, 1},
	{'F', HoleNone, 2},
	{'A', HoleCylindrical, 0},
	{'M', HoleCylindrical, 1},
	{'G', HoleCylindrical, 2},
	{'W', HoleSunk40One, 0},
	{'T', HoleSunk40One, 1},
	{'Q', HoleSunk40Both, 0},
	{'U', HoleSunk40Both, 2},
	{'B', HoleSunk70One, 0},
	{'H', HoleSunk70One, 1},
	{'C', HoleSunk70Both, 0},
	{'J', HoleSunk70Both, 2},
	{'X', HoleSpecial, -1},
}

// turnable reports whether the type leaves both faces usable when there is no clearance:
// a chip breaker on one face, or a countersink on one side, does not.
func (k kind) turnable() bool {
	return k.faces != 1 && k.faces >= 0 && k.hole != HoleSunk40One && k.hole != HoleSunk70One
}

// Tolerance letters of position 3 in the order of insert_tolerance.csv.
const toleranceLetters = "AFCHEGJKLMNU"

// wiperFirst and wiperSecond: insert_wiper.csv, two letters in position 7.
var (
	wiperFirst  = map[byte]float64{'A': 45, 'D': 60, 'E': 75, 'F': 85, 'P': 90}                                 // KAPR, degrees; Z: other
	wiperSecond = map[byte]float64{'A': 3, 'B': 5, 'C': 7, 'D': 15, 'E': 20, 'F': 25, 'G': 30, 'N': 0, 'P': 11} // wiper clearance, degrees; Z: other
	edgeMeaning = map[byte]string{'F': "sharp edge", 'E': "rounded (honed) edge", 'T': "chamfered edge", 'S': "chamfered and rounded edge", 'K': "double-chamfered edge", 'P': "double-chamfered and rounded edge"}
)

// Look-up by letter without a search: the reader is used a million times a second.
var (
	shapeOf = func() (t ['Z' + 1]int8) {
		for i := range t {
			t[i] = -1
		}
		for i, s := range shapes {
			t[s.letter] = int8(i)
		}
		return t
	}()
	kindOf = func() (t ['Z' + 1]int8) {
		for i := range t {
			t[i] = -1
		}
		for i, k := range kinds {
			t[k.letter] = int8(i)
		}
		return t
	}()
)

func sizeByCode(letter, a, b byte) *size {
	list := sizes[letter]
	for i := range list {
		if c := list[i].code; c[0] == a && c[1] == b {
			return &list[i]
		}
	}
	return nil
}

func sizeByANSI(letter byte, ansi int16) *size {
	list := sizes[letter]
	for i := range list {
		if c := list[i].circle; c >= 0 && circles[c].ansi == ansi {
			return &list[i]
		}
	}
	return nil
}

func thicknessByCode(a, b byte) *thickness {
	for i := range thicknesses {
		if c := thicknesses[i].code; c[0] == a && c[1] == b {
			return &thicknesses[i]
		}
	}
	return nil
}
