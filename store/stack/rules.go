package stack

import "math/bits"

// The reason codes. Their meaning is that of the reference cases; ON_ORDER is ours.
const (
	codeInterface Code = "INTERFACE"
	codeBore      Code = "BORE_CHAIN"
	codeStyle     Code = "CLAMP_STYLE"
	codeClamp     Code = "CLAMP_LENGTH"
	codeShort     Code = "BAR_TOO_SHORT"
	codeOverMax   Code = "OVERHANG_MAX"
	codeOverMin   Code = "OVERHANG_MIN"
	codeProject   Code = "PROJECTION"
	codeHub       Code = "HUB"
	codeDmin      Code = "DMIN"
	codeBody      Code = "BODY_IN_BORE"
	codeHand      Code = "HAND"
	codeSeat      Code = "SEAT"
	codeSeatReq   Code = "SEAT_REQUEST"
	codeBreak     Code = "COOLANT_BREAK"
	codePressure  Code = "PRESSURE"
	codePump      Code = "PUMP"
	codeMass      Code = "MASS"
	codeOut       Code = "OUT"
	codeReserved  Code = "RESERVED"
	codeHeld      Code = "QUARANTINE"
	codeLost      Code = "LOST"
	codeNoStock   Code = "NO_STOCK"
	codeOnOrder   Code = "ON_ORDER"
)

// The warning codes.
const (
	warnRec     Code = "W_OVERHANG_REC"
	warnOHN     Code = "W_OHN_EXTEND"
	warnClamp   Code = "W_CLAMP_SHORT"
	warnSleeve  Code = "W_SCREW_ON_SLEEVE"
	warnCarbide Code = "W_SCREW_CARBIDE"
	warnChips   Code = "W_CHIP_ROOM"
	warnRE      Code = "W_RE_DIFF"
	warnHeavy   Code = "W_HEAVY"
	warnCentre  Code = "W_CENTRE_HEIGHT"
	warnEdges   Code = "W_LOW_EDGES"
)

// A set holds codes as bits, in the order of codeList. The search unites and counts sets far
// more often than it names them.
type set uint64

var codeList = [...]Code{
	codeInterface, codeBore, codeStyle, codeClamp, codeShort, codeOverMax, codeOverMin, codeProject,
	codeHub, codeDmin, codeBody, codeHand, codeSeat, codeSeatReq, codeBreak, codePressure, codePump,
	codeMass, codeOut, codeReserved, codeHeld, codeLost, codeNoStock, codeOnOrder,
	warnCentre, warnChips, warnClamp, warnHeavy, warnEdges, warnOHN, warnRec, warnRE, warnCarbide, warnSleeve,
}

var codeBit = func() map[Code]set {
	m := make(map[Code]set, len(codeList))
	for i, c := range codeList {
		m[c] = 1 << i
	}
	return m
}()

var (
	bInterface, bBore, bStyle, bClampLen    = codeBit[codeInterface], codeBit[codeBore], codeBit[codeStyle], codeBit[codeClamp]
	bShort, bOverMax, bOverMin, bProject    = codeBit[codeShort], codeBit[codeOverMax], codeBit[codeOverMin], codeBit[codeProject]
	bHub, bDmin, bBody, bHand               = codeBit[codeHub], codeBit[codeDmin], codeBit[codeBody], codeBit[codeHand]
	bSeat, bSeatReq, bBreak, bPressure      = codeBit[codeSeat], codeBit[codeSeatReq], codeBit[codeBreak], codeBit[codePressure]
	bPump, bMass                            = codeBit[codePump], codeBit[codeMass]
	wRec, wOHN, wClamp, wSleeve, wCarbide   = codeBit[warnRec], codeBit[warnOHN], codeBit[warnClamp], codeBit[warnSleeve], codeBit[warnCarbide]
	wChips, wRE, wHeavy, wCentre, wLowEdges = codeBit[warnChips], codeBit[warnRE], codeBit[warnHeavy], codeBit[warnCentre], codeBit[warnEdges]
)

func (s set) count() int { return bits.OnesCount64(uint64(s)) }

func (s set) codes() []Code {
	var out []Code
	for i, c := range codeList {
		if s&(1<<i) != 0 {
			out = append(out, c)
		}
	}
	return out
}

// The numbers of the rules, with where they come from.
const (
	minGripD  = 3.0  // grip at least 3 D: trade-magazine article on boring-bar deflection, 2019
	goodGripD = 4.0  // 4 D recommended: same
	chipShare = 0.80 // bar over 80 % of the hole: shop default, no public number found
	heavyKg   = 15.0 // lifting line: common practice, no source
	// deadband absorbs the last bits of sums of decimal sizes.
	deadband = 1e-9
	// maxLine is the most pieces in the plumbing, maxSleeves the most sleeves (reference rules).
	maxLine = 4
	// maxSeats, maxFront and maxUnits bound adapters in a row: turret side, before the bar and
	// behind it. Every joint
	// costs stiffness; more than two is no setup anybody would run. Shop default.
	maxSeats = 2
	maxFront = 2
	maxUnits = 2 // adapters between holder and bar
)

// limitRow is a row of the overhang table (overhang_limits.json).
type limitRow struct {
	construction string
	over, upTo   float64 // D over and up to, mm; upTo 0 = no end
	rec, max     float64 // x D
	source       string
}

var limitTable = []limitRow{
	{"steel", 0, 0, 3, 4, "common practice, 8 public pages"},
	{"heavy_metal", 0, 0, 5, 6, "common practice, 2 public pages"},
	{"carbide", 0, 0, 6, 7, "common practice, public pages disagree between 6 and 10"},
	{"damped_steel", 0, 20, 6, 7, "common practice, 1 public page; split by diameter has no source"},
	{"damped_steel", 20, 0, 8, 10, "common practice, no source"},
	{"damped_carbide", 0, 20, 9, 10, "common practice, 2 public pages; split by diameter has no source"},
	{"damped_carbide", 20, 0, 12, 14, "common practice, 1 public page"},
}

// OverhangLimit returns the recommended and the greatest overhang ratio (x D) for a bar
// construction and shank diameter d in mm, and the source; ok is false when the construction
// is not known.
func OverhangLimit(construction string, d float64) (rec, limit float64, source string, ok bool) {
	for _, r := range limitTable {
		if r.construction == construction && d > r.over && (r.upTo == 0 || d <= r.upTo+fit) {
			return r.rec, r.max, r.source, true
		}
	}
	return 0, 0, "", false
}

// clampStyle applies the clamp rule: what stops the bar from being held so, and what is to be
// warned of. clamp "" (not recorded) counts as set screws, the less safe of the two.
func clampStyle(clamp string, sleeve, forDamped, damped, flat, carbide bool) (no, warn set) {
	screws := clamp != "split"
	switch {
	case damped && sleeve:
		if !forDamped {
			no |= bStyle
		}
		if screws {
			warn |= wSleeve
		}
	case damped && screws:
		no |= bStyle
	case !sleeve && screws:
		if !flat {
			no |= bStyle
		}
		if carbide {
			warn |= wCarbide
		}
	}
	return no, warn
}

// reach applies the overhang rules to a bar that must reach l mm: how far to set it, what
// stops it and what to warn of. room is the longest overhang the machine can swing less what
// adapters take of it.
func reach(p *Part, d, l float64, room Opt) (out float64, limit float64, no, warn set) {
	out = l
	if p.Damped() && p.OHN.Known && p.OHN.V > l+deadband {
		out = p.OHN.V
		warn |= wOHN
	}
	rec, most, _, ok := OverhangLimit(p.Construction, d)
	limit = most * d
	if p.OHX.Known {
		limit = p.OHX.V
	}
	if !ok && !p.OHX.Known || out > limit+deadband {
		no |= bOverMax
	} else if ok && out > rec*d+deadband {
		warn |= wRec
	}
	if room.Known && out > room.V+deadband {
		if l > room.V+deadband {
			no |= bProject
		} else {
			no |= bOverMin
		}
	}
	return out, limit, no, warn
}
