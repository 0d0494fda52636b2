package labels

import "math"

// Material says what to print a label on and how large, for a kind of part in the words of the
// stack room ("bar", "insert", …) or a kind of label ("bin", …). Common practice, no source: no
// standard names a film that lasts in cutting oil, so try one piece for a month first.
func Material(kind string) string {
	switch kind {
	case "bar", "head":
		return "engrave, or an engraved plate on a ring; else polyester film printed with a resin ribbon, degreased first, clear of seats and of the clamped length"
	case "holder", "sleeve", "adapter":
		return "polyester film printed with a resin ribbon on a degreased face that no seat touches; engrave what stays in the turret"
	case "hose", "fitting":
		return "flag of polyester film with a resin ribbon, or a tag on a ring; coolant lifts what is wrapped round a hose"
	case "insert", "spare", "lot":
		return "on the box, never on the piece: paper will do in a dry drawer, film near the machine"
	case "bin":
		return "paper behind a window or film on the front, 60 mm wide or more, to be read from a step away"
	case "station":
		return "engraved plate beside the station, out of the spray"
	case "job":
		return "plain paper; it lives as long as the job"
	case "person":
		return "plastic card"
	case "act":
		return "film or laminated paper on a board at the window"
	}
	return "polyester film printed with a resin ribbon"
}

// Least is the smallest label in mm on which the sturdy code and the words of a kind of part
// have room.
func Least(kind string) Area {
	switch kind {
	case "bin", "job", "act", "station":
		return Area{63.5, 38.1}
	}
	return Area{math.Ceil(roomyModule*41/0.44) + 1, 22}
}
