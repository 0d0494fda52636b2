package standard

// BarColumns are the names [Bar.Column] knows, in the order of the reference table.
var BarColumns = []string{
	"canonical", "shank_type", "shank_material", "fixed_steel_head", "coolant_bore", "damped", "shank_diameter_mm",
	"length_letter", "length_mm", "clamping", "insert_shape", "style", "kapr_deg", "psir_deg", "insert_clearance_letter",
	"insert_clearance_deg", "hand", "size_code", "insert_ic_mm", "fitting_insert_prefix", "suffix",
}

// Column returns one value of the bar by its column name in the reference table, as text;
// empty if the name is unknown or the value is not in the designation.
func (b Bar) Column(name string) string {
	switch name {
	case "canonical":
		return b.String()
	case "shank_type":
		return byteText(b.Shank)
	case "shank_material":
		return b.Material()
	case "fixed_steel_head":
		return yesNo(b.FixedHead())
	case "coolant_bore":
		return yesNo(b.CoolantBore())
	case "damped":
		return yesNo(b.Damped())
	case "shank_diameter_mm":
		return numberOrNone(b.Diameter)
	case "length_letter":
		return byteText(b.Length)
	case "length_mm":
		if lf, ok := b.LF(); ok {
			return number(lf)
		}
	case "clamping":
		return byteText(b.Clamping)
	case "insert_shape":
		return byteText(b.Shape)
	case "style":
		return byteText(b.Style)
	case "kapr_deg":
		if k, ok := b.KAPR(); ok {
			return number(k)
		}
	case "psir_deg":
		if p, ok := b.PSIR(); ok {
			return number(p)
		}
	case "insert_clearance_letter":
		return byteText(b.Clearance)
	case "insert_clearance_deg":
		if an, ok := clearances[b.Clearance]; ok {
			return number(an)
		}
	case "hand":
		return byteText(b.Hand)
	case "size_code":
		return b.Size
	case "insert_ic_mm":
		return numberOrNone(b.IC())
	case "fitting_insert_prefix":
		return b.Pocket().String()
	case "suffix":
		return b.Suffix
	}
	return ""
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
