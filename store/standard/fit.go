package standard

import (
	"fmt"
	"strings"
	"sync"
)

// A Deviation is a row of ISO 286-2: how far a hole or shaft of a class may be from its
// nominal size, in micrometres.
type Deviation struct {
	Class        string // "H7", "h6": capitals are holes
	Hole         bool
	OverMM, ToMM float64 // nominal sizes it holds for, over … to and with …
	Lower, Upper int     // µm
	Status       string
}

// A Fit is the play between a hole and a shaft of one nominal size, in micrometres;
// negative is interference.
type Fit struct {
	NominalMM   float64
	Hole, Shaft Deviation
	Min, Max    int    // clearance, µm
	Kind        string // clearance, transition, interference
}

// moreFits are ranges beyond fits.csv, which covers over 10 to 80 mm; all from memory of
// ISO 286-2. Order of the values: H7 H8 G7 F7 g6 g7 h6 h7 k6, lower then upper.
var moreFits = []struct {
	over, to float64
	um       [18]int
}{
	{3, 6, [18]int{0, 12, 0, 18, 4, 16, 10, 22, -12, -4, -16, -4, -8, 0, -12, 0, 1, 9}},
	{6, 10, [18]int{0, 15, 0, 22, 5, 20, 13, 28, -14, -5, -20, -5, -9, 0, -15, 0, 1, 10}},
	{80, 120, [18]int{0, 35, 0, 54, 12, 47, 36, 71, -34, -12, -47, -12, -22, 0, -35, 0, 3, 25}},
	{120, 180, [18]int{0, 40, 0, 63, 14, 54, 43, 83, -39, -14, -54, -14, -25, 0, -40, 0, 3, 28}},
}

var fitClasses = [...]string{"H7", "H8", "G7", "F7", "g6", "g7", "h6", "h7", "k6"}

// deviations are the rows of fits.csv, one a range and class, then those from memory.
var deviations = sync.OnceValue(func() []Deviation {
	var out []Deviation
	isHole := func(class string) bool { return class[0] >= 'A' && class[0] <= 'Z' }
	for _, r := range table("fits") {
		d := Deviation{Class: r["class"], Hole: isHole(r["class"]), Lower: int(num(r["lower_um"])), Upper: int(num(r["upper_um"])), Status: r["status"]}
		if _, err := fmt.Sscanf(r["range_mm"], "over %g to %g", &d.OverMM, &d.ToMM); err != nil {
			panic(err)
		}
		out = append(out, d)
	}
	for _, m := range moreFits {
		for i, c := range fitClasses {
			out = append(out, Deviation{c, isHole(c), m.over, m.to, m.um[2*i], m.um[2*i+1], "from memory"})
		}
	}
	return out
})

// DeviationOf returns the limits of a class (H7 H8 G7 F7 g6 g7 h6 h7 k6, case matters) at
// a nominal size over 3 to 180 mm. Else a *[Refusal]; nothing is extrapolated.
func DeviationOf(mm float64, class string) (Deviation, error) {
	class = strings.TrimSpace(class)
	known := false
	for _, c := range fitClasses {
		known = known || c == class
	}
	if !known {
		return Deviation{}, refusal("fit", class, CodeMeaning, "no such class in the tables: holes H7 H8 G7 F7, shafts g6 g7 h6 h7 k6")
	}
	for _, d := range deviations() {
		if d.Class == class && mm > d.OverMM && mm <= d.ToMM {
			return d, nil
		}
	}
	return Deviation{}, refusal("fit", fmt.Sprintf("%g %s", mm, class), CodeMeaning, "the tables hold for nominal sizes over 3 to 180 mm")
}

// FitOf returns the play between a hole class and a shaft class at one nominal size: of a
// bar in its sleeve, or a sleeve in its bore. A 1 in bar has no fit in a 25 mm sleeve,
// because the nominal sizes differ. Else a *[Refusal].
func FitOf(nominalMM float64, hole, shaft string) (Fit, error) {
	h, err := DeviationOf(nominalMM, hole)
	if err != nil {
		return Fit{}, err
	}
	s, err := DeviationOf(nominalMM, shaft)
	if err != nil {
		return Fit{}, err
	}
	if !h.Hole || s.Hole {
		return Fit{}, refusal("fit", hole+"/"+shaft, CodeForm, "a fit is a hole (capital letter) and a shaft (small letter), as in H7/h6")
	}
	f := Fit{NominalMM: nominalMM, Hole: h, Shaft: s, Min: h.Lower - s.Upper, Max: h.Upper - s.Lower, Kind: "transition"}
	switch {
	case f.Min >= 0:
		f.Kind = "clearance"
	case f.Max <= 0:
		f.Kind = "interference"
	}
	return f, nil
}
