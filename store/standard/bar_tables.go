package standard

import "sync"

// A shank is a row of position 1 of ISO 6261: what the bar is made of.
type shank struct {
	letter                byte
	material              string
	head, coolant, damped bool // fixed steel head, coolant bore, vibration damping
	status                string
}

// shanks: boring_bar_designation.csv, position 1. L by the pattern, from memory.
var shanks = []shank{
	{'S', "steel", false, false, false, "confirmed on three or more public technical pages"},
	{'A', "steel", false, true, false, "confirmed on three or more public technical pages"},
	{'B', "steel", false, false, true, "confirmed on one public technical page"},
	{'D', "steel", false, true, true, "confirmed on one public technical page"},
	{'C', "carbide", true, false, false, "confirmed on two public technical pages"},
	{'E', "carbide", true, true, false, "confirmed on three or more public technical pages"},
	{'F', "carbide", true, false, true, "confirmed on two public technical pages"},
	{'G', "carbide", true, true, true, "confirmed on one public technical page"},
	{'H', "heavy metal", false, false, false, "confirmed on one public technical page"},
	{'J', "heavy metal", false, true, false, "confirmed on one public technical page"},
	{'K', "heavy metal", true, false, false, "confirmed on one public technical page"},
	{'L', "heavy metal", true, true, false, "by the pattern, from memory"},
}

func shankOf(b byte) *shank {
	for i := range shanks {
		if shanks[i].letter == b {
			return &shanks[i]
		}
	}
	return nil
}

// barLengths are the functional lengths LF in mm of position 3; X is special. G 90, W 450
// and Y 500 are from memory, and one public page prints other values for G and W: a length
// printed on the bar wins.
var barLengths = map[byte]float64{
	'A': 32, 'B': 40, 'C': 50, 'D': 60, 'E': 70, 'F': 80, 'G': 90, 'H': 100, 'J': 110, 'K': 125, 'L': 140, 'M': 150, 'N': 160,
	'P': 170, 'Q': 180, 'R': 200, 'S': 250, 'T': 300, 'U': 350, 'V': 400, 'W': 450, 'Y': 500, 'X': 0,
}

// clampings are the letters of position 4 and the holes an insert can have under them (0:
// any). That a screw needs a countersunk hole and a lever or pin a cylindrical one is
// common practice, no source.
var clampings = map[byte]struct {
	meaning string
	holes   uint8
}{
	'C': {"clamped from the top", 0},
	'D': {"clamped from the top and through the hole (rigid clamp)", 1 << HoleCylindrical},
	'M': {"clamped from the top and through the hole (pin and clamp or wedge)", 1 << HoleCylindrical},
	'P': {"clamped through the hole (lever or pin)", 1 << HoleCylindrical},
	'S': {"screw through the hole", 1<<HoleSunk40One | 1<<HoleSunk40Both | 1<<HoleSunk70One | 1<<HoleSunk70Both},
	'W': {"wedge", 0},
	'X': {"special", 0},
}

// barStyles are the entering angles KAPR in degrees of position 6; X and Z say none. J and
// Z are not bar styles of the standard.
var barStyles = map[byte]float64{
	'F': 90, 'K': 75, 'L': 95, 'P': 117.5, 'Q': 107.5, 'S': 45, 'U': 93, 'W': 60, 'Y': 85, 'X': 0, 'J': 93, 'Z': 0,
}

// A style of a square-shank holder: toolholder_styles.csv.
type holderStyle struct {
	kapr float64
	form string
}

var holderStyles = map[byte]holderStyle{
	'A': {90, "straight"}, 'B': {75, "straight"}, 'C': {90, "straight, end cutting"}, 'D': {45, "straight, neutral"},
	'E': {60, "straight, neutral"}, 'F': {90, "offset, end cutting"}, 'G': {90, "offset"}, 'H': {107.5, "offset"}, 'J': {93, "offset"},
	'K': {75, "offset, end cutting"}, 'L': {95, "offset, side and end cutting"}, 'M': {50, "straight"}, 'N': {63, "straight"},
	'P': {117.5, "offset"}, 'R': {75, "offset"}, 'S': {45, "offset"}, 'T': {60, "offset"}, 'U': {93, "offset, end cutting"},
	'V': {72.5, "straight, neutral"}, 'W': {60, "offset, end cutting"}, 'Y': {85, "offset, end cutting"},
}

// StandardBar are the dimensions ISO 5609 gives for a diameter: standard lengths only,
// catalogues often sell a longer bar.
type StandardBar struct {
	DiameterMM   float64
	LengthLetter byte
	LengthMM     float64
	WF           float64 // functional width, mm
	DMIN         float64 // smallest bore the bar enters, mm
	Status       string
}

var standardBars = sync.OnceValue(func() []StandardBar {
	var out []StandardBar
	for _, r := range table("boring_bar_dimensions") {
		out = append(out, StandardBar{
			num(r["shank_diameter_mm"]), r["length_letter"][0], num(r["length_mm"]), num(r["wf_mm"]), num(r["dmin_mm"]), r["status"],
		})
	}
	return out
})

// StandardBarOf returns the standard dimensions for a bar diameter in mm; false for a
// diameter ISO 5609 does not list.
func StandardBarOf(mm float64) (StandardBar, bool) {
	for _, b := range standardBars() {
		if b.DiameterMM == mm {
			return b, true
		}
	}
	return StandardBar{}, false
}

var inchBarLengths = sync.OnceValue(func() map[byte]float64 {
	out := map[byte]float64{}
	for _, r := range table("boring_bar_inch_lengths") {
		out[r["letter"][0]] = num(r["length_mm"])
	}
	return out
})
