package labels

import (
	"fmt"
	"math"
)

// A Form is a way to mark a thing that is round and thin.
type Form string

// The forms, in the order in which they are proposed.
const (
	Wrapped Form = "label"    // stuck along the bar
	Hanging Form = "tag"      // plate or film on a ring
	Flag    Form = "flag"     // folded round the bar, two faces back to back
	Marked  Form = "engraved" // Data Matrix cut or burnt into the bar itself
	BoxSide Form = "box"      // on the box or the tube the piece lives in
)

// A Proposal is one way to mark a round piece.
type Proposal struct {
	Form Form
	Area Area    // of the label or mark, mm
	Code float64 // width of the code without its quiet zone, mm
	Why  string
}

// A Round says what code a round piece can carry.
type Round struct {
	Diameter float64    // mm
	Widest   float64    // widest code without its quiet zone, mm: a third of the diameter
	Modules  int        // modules across the code of this content
	Module   float64    // what is left for one module, mm
	Fits     bool       // a stuck label with a QR code can be read
	Ways     []Proposal // best first; never empty
}

// RoundBar computes the widest code that a bar of a diameter in mm (1 to 500) can carry on its
// skin, and proposes how to mark it when that is too small.
//
// The code may be as wide as a third of the diameter: at its edge the skin then leans back by
// asin(1/3) = 19.5 degrees and the outermost module looks 6 % narrower than the middle one.
// A module must be 0.33 mm or more. The third is common practice, no source; so is the order
// of the proposals. Film and ring must be clear of the length that is clamped: a label under
// a clamp is crushed, and the bar runs out.
//
// Else a *Refusal of ErrMedia for the diameter, or of ErrCode for the content.
func RoundBar(content string, diameter float64) (Round, error) {
	if !(diameter >= 1 && diameter <= 500) {
		return Round{}, &Refusal{Class: ErrMedia, Tag: content, Field: "diameter", Why: fmt.Sprintf(
			"%v mm; a round piece that carries a code is 1 to 500 mm", diameter)}
	}
	qr, err := QR(content)
	if err != nil {
		return Round{}, err
	}
	dm, err := DataMatrix(content)
	if err != nil {
		return Round{}, err
	}
	r := Round{Diameter: diameter, Widest: diameter / 3, Modules: qr.W}
	r.Module = min(r.Widest/float64(qr.W), maxModule)
	r.Fits = r.Module >= minModule
	width := func(s *Symbol, module float64) (code, all float64) {
		return float64(s.W) * module, float64(s.W+2*s.Quiet) * module
	}
	if r.Fits {
		code, all := width(qr, r.Module)
		r.Ways = append(r.Ways, Proposal{Wrapped, Area{max(math.Ceil(all/0.44)+1, 28), math.Ceil(all) + 1}, code, fmt.Sprintf(
			"a label along the bar, clear of the clamped length: the code is %.1f mm wide, a third of %s mm is %.1f mm", code, mm(diameter), r.Widest)})
	}
	why := fmt.Sprintf("a third of %s mm is %.1f mm, the code has %d modules: %.2f mm each, below %.2f mm", mm(diameter), r.Widest, qr.W, r.Module, minModule)
	if r.Fits {
		why = "where a label on the bar would be in the way"
	}
	const module = 0.4 // mm, easy for any scanner
	code, all := width(qr, module)
	if diameter >= 10 {
		r.Ways = append(r.Ways, Proposal{Hanging, Area{math.Ceil(all/0.44) + 8, math.Ceil(all) + 2}, code,
			why + "; a tag on a ring goes with the bar and hangs in the crib while the bar is in the machine"})
	}
	if diameter >= 6 {
		// the two faces and the film that goes round the bar between them
		r.Ways = append(r.Ways, Proposal{Flag, Area{math.Ceil(2*all/0.44 + math.Pi*diameter), math.Ceil(all) + 1}, code,
			why + "; a flag stands off the bar, so the code is flat; take it off before the bar is clamped"})
	}
	// The mark is cut into the steel, so its module may go down to what a mark reader sees.
	if m := min(r.Widest/float64(dm.W), 0.6); m >= minModule {
		code, all := width(dm, m)
		r.Ways = append(r.Ways, Proposal{Marked, Area{all, all}, code, fmt.Sprintf(
			"a Data Matrix of %d modules of %.2f mm engraved on a face or behind the clamped length; never on a seat or a shank that is clamped", dm.W, m)})
	}
	r.Ways = append(r.Ways, Proposal{BoxSide, Standing, code, why + "; the box or tube carries the label, and the piece goes back into it"})
	return r, nil
}
