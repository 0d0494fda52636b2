package standard

import (
	"fmt"
	"strconv"
)

// InsertColumns are the names [Insert.Column] knows, in the order of the reference table.
var InsertColumns = []string{
	"canonical", "shape", "included_angle_deg", "clearance_letter", "clearance_deg", "tolerance_class", "type_letter",
	"chip_breaker_faces", "hole", "ic_mm", "edge_length_mm", "edge_length_source", "thickness_mm", "nose_radius_mm",
	"edge_condition", "hand", "chamfer_code", "suffix", "sides", "usable_corners", "ansi_equivalent", "ansi_status",
}

// Column returns one value of the insert by its column name in the reference table, as
// text; empty if the name is unknown or the value is not in the designation.
func (in Insert) Column(name string) string {
	switch name {
	case "canonical":
		return in.String()
	case "shape":
		return byteText(in.Shape)
	case "included_angle_deg":
		return numberOrNone(in.EPSR())
	case "clearance_letter":
		return byteText(in.Clearance)
	case "clearance_deg":
		if an, ok := in.AN(); ok {
			return number(an)
		}
	case "tolerance_class":
		return byteText(in.Tolerance)
	case "type_letter":
		return byteText(in.Type)
	case "chip_breaker_faces":
		return in.ChipBreaker()
	case "hole":
		return in.HoleText()
	case "ic_mm":
		if in.Shape == 'R' && in.Corner == "M0" {
			return fmt.Sprintf("%.1f", in.IC)
		}
		return numberOrNone(in.IC)
	case "edge_length_mm":
		if in.L > 0 {
			return fmt.Sprintf("%.2f", in.L)
		}
	case "edge_length_source":
		return in.EdgeSource()
	case "thickness_mm":
		return numberOrNone(in.S)
	case "nose_radius_mm":
		if in.RE > 0 || in.Corner == "00" && in.Shape != 'R' {
			return number(in.RE)
		}
	case "edge_condition":
		return byteText(in.Edge)
	case "hand":
		return byteText(in.Hand)
	case "chamfer_code":
		return in.Chamfer
	case "suffix":
		return in.Suffix
	case "sides":
		switch two, ok := in.TwoSided(); {
		case two:
			return "double"
		case ok:
			return "single"
		}
	case "usable_corners":
		return numberOrNone(float64(in.Edges()))
	case "ansi_equivalent", "ansi_status":
		n, ok := in.Inch()
		switch {
		case ok && name == "ansi_status":
			return n.Status
		case ok:
			return n.Name
		case name == "ansi_status":
			return "none"
		}
	}
	return ""
}

func byteText(b byte) string {
	if b == 0 {
		return ""
	}
	return string(rune(b))
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func numberOrNone(v float64) string {
	if v == 0 {
		return ""
	}
	return number(v)
}
