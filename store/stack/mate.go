package stack

import (
	"errors"
	"math"
	"strings"

	"brasspeg/store/standard"
)

func asBad(err error, bad **BadField) bool { return errors.As(err, bad) }

// Equal reports whether two diameters in mm are the same nominal size, within 0.02 mm.
// 25 and 25.4, 32 and 31.75 are not.
func Equal(a, b float64) bool { return math.Abs(a-b) <= fit+1e-9 }

// Mates reports whether two joints go together. The order does not matter. Codes must be
// equal letter for letter; a thread or push-in joint also needs one male and one female end
// of the same name, a cylindrical joint a shank and a bore of the same diameter.
func Mates(a, b Joint) bool {
	if a.Family != b.Family {
		return false
	}
	switch a.Family {
	case Cylindrical:
		return a.Gender != b.Gender && a.Size.Known && b.Size.Known && Equal(a.Size.V, b.Size.V)
	case Thread, PushIn:
		return a.Code == b.Code && (a.Gender == "M" && b.Gender == "F" || a.Gender == "F" && b.Gender == "M")
	case Pocket:
		return a.Code != "" && seatKey(a.Code) == seatKey(b.Code)
	case TurretSeat, Coupling:
		return a.Code != "" && a.Code == b.Code
	}
	return a.Family == Through
}

// opposite returns the end that mates with an end written gender:code.
func opposite(end string) string {
	if rest, ok := strings.CutPrefix(end, "M:"); ok {
		return "F:" + rest
	}
	return "M:" + strings.TrimPrefix(end, "F:")
}

// holeClass folds the fourth letter of an insert name to what the pocket sees of it: the kind
// of hole. The chip groove does not decide whether it fits (ISO 1832, letter 4).
func holeClass(c byte) byte {
	switch c {
	case 'A', 'M', 'G':
		return 'G' // cylindrical hole
	case 'N', 'R', 'F':
		return 'N' // no hole
	case 'W', 'T':
		return 'T' // countersunk 40 to 60 degrees, one side
	case 'Q', 'U':
		return 'U' // countersunk 40 to 60 degrees, both sides
	case 'B', 'H':
		return 'H' // countersunk 70 to 90 degrees, one side
	case 'C', 'J':
		return 'J' // countersunk 70 to 90 degrees, both sides
	}
	return c
}

// seatKey reduces a pocket name to what decides whether an insert fits: shape, clearance,
// kind of hole, size, thickness. The third letter (tolerance) and the chip groove drop out.
// A name of another build is compared as it stands.
func seatKey(s string) string {
	s = strings.ToUpper(strings.ReplaceAll(s, " ", ""))
	if len(s) < 6 {
		return s
	}
	for i := range 4 {
		if s[i] < 'A' || s[i] > 'Z' {
			return s
		}
	}
	if s[4] < '0' || s[4] > '9' {
		return s
	}
	return s[:2] + "?" + string(holeClass(s[3])) + s[4:]
}

// threadName writes a thread name in the spelling of the thread tables, "G 1/4", and refuses
// what they do not know: a bare 1/4 says nothing.
func threadName(s string) (string, error) {
	t, err := standard.ParseThread(s)
	if err != nil {
		return "", err
	}
	return t.ID, nil
}

// seatOf derives the pocket and the nose radius from the name on the box, metric or inch.
func seatOf(designation string) (seat string, re Opt, ok bool) {
	in, err := standard.ParseInsert(designation)
	if err != nil || in.Thickness == "" {
		return "", Opt{}, false
	}
	seat = in.Seat() // a round one keeps its corner: 12 with M0 is 12.0 mm, with 00 it is 12.7
	if in.RE > 0 {
		re = Some(in.RE)
	}
	return seat, re, true
}
