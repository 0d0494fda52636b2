package standard

import "fmt"

// A Position is one place of a designation taken apart: its number in the standard, what
// stands there, the ISO 13399 symbol it fills (empty if none) and what it means.
type Position struct {
	Number  string
	Text    string
	Symbol  string
	Meaning string
}

// Positions takes the insert apart in the order of ISO 1832.
func (in Insert) Positions() []Position {
	if in == (Insert{}) {
		return nil
	}
	inch, _ := in.Inch()
	round := in.Shape == 'R'
	shape := in.ShapeName()
	if a := in.EPSR(); a > 0 {
		shape += fmt.Sprintf(", corner angle %g°", a)
	}
	clearance := "other clearance: needs a drawing"
	if an, ok := in.AN(); ok {
		clearance = fmt.Sprintf("clearance %g°", an)
	}
	l := in.Limits()
	plusMinus := func(what string, v float64) string {
		if v == 0 {
			return what + " not in the tables"
		}
		return fmt.Sprintf("%s ±%g", what, v)
	}
	p := []Position{
		{"1", byteText(in.Shape), "SC", shape},
		{"2", byteText(in.Clearance), "AN", clearance},
		{"3", byteText(in.Tolerance), "", fmt.Sprintf("tolerance in mm: %s, %s, %s", plusMinus("circle", l.D), plusMinus("corner height", l.M), plusMinus("thickness", l.S))},
		{"4", byteText(in.Type), "", "hole: " + in.HoleText() + "; chip breaker: " + breakerText(in.ChipBreaker())},
	}
	size := fmt.Sprintf("inscribed circle %g mm%s, edge %.2f mm", in.IC, inches(inch.IC), in.L)
	switch {
	case round:
		size = fmt.Sprintf("diameter %g mm%s", in.IC, inches(inch.IC))
	case in.IC == 0:
		size = fmt.Sprintf("longer side about %g mm; the circle is not in the name", in.L)
	}
	p = append(p, Position{"5", in.Size, "IC", size}, Position{"6", in.Thickness, "S", fmt.Sprintf("thickness %g mm%s", in.S, inches(inch.S))})
	corner := fmt.Sprintf("corner radius %g mm", in.RE)
	if inch.RE != "" {
		// The printed radius is a rounded inch fraction.
		corner += fmt.Sprintf(" (%s in, which is %.3f mm)", inch.RE, num(inch.Radius)*25.4/64)
	}
	kapr, wiper, isWiper := in.Wiper()
	switch {
	case in.Corner == "M0":
		corner = "round, metric diameter"
	case round:
		corner = "round, inch diameter"
	case in.Corner == "00":
		corner = "sharp corner"
	case isWiper:
		corner = fmt.Sprintf("wiper edge: entering angle %s, clearance %s", degrees(kapr, in.Corner[0]), degrees(wiper, in.Corner[1]))
	}
	p = append(p, Position{"7", in.Corner, "RE", corner})
	if in.Edge != 0 {
		p = append(p, Position{"8", byteText(in.Edge), "", in.EdgeText()})
	}
	if in.Hand != 0 {
		p = append(p, Position{"9", byteText(in.Hand), "HAND", in.HandText()})
	}
	if w, a, ok := in.ChamferSize(); ok {
		p = append(p, Position{"10", in.Chamfer, "", fmt.Sprintf("chamfer %.2f mm × %g°", w, a)})
	}
	if in.Suffix != "" {
		p = append(p, Position{"", in.Suffix, "CBMD", "the maker's own: never decides what fits"})
	}
	return p
}

func breakerText(faces string) string {
	switch faces {
	case "one":
		return "on one face"
	case "both":
		return "on both faces"
	}
	return faces
}

func inches(fraction string) string {
	if fraction == "" || fraction == "0/64" {
		return ""
	}
	return " (" + fraction + " in)"
}

func degrees(v float64, letter byte) string {
	if letter == 'Z' {
		return "other"
	}
	return fmt.Sprintf("%g°", v)
}

// Positions takes the bar apart in the order of ISO 6261.
func (b Bar) Positions() []Position {
	if b == (Bar{}) {
		return nil
	}
	shank := b.Material()
	if b.FixedHead() {
		shank += " with a fixed steel head"
	}
	if b.Damped() {
		shank += ", damped"
	}
	if b.CoolantBore() {
		shank += ", coolant bore"
	} else {
		shank += ", no coolant bore"
	}
	diameter := fmt.Sprintf("diameter %g mm", b.Diameter)
	number := fmt.Sprintf("%02d", int(b.Diameter))
	if b.Inch {
		n := int(b.Diameter*16/25.4 + 0.5)
		number = fmt.Sprintf("%02d", n)
		diameter = fmt.Sprintf("diameter %d/16 in = %g mm", n, b.Diameter)
	}
	length := "special length: measure it"
	if lf, ok := b.LF(); ok {
		length = fmt.Sprintf("functional length %g mm; a measured one wins", lf)
		if b.Inch {
			length = fmt.Sprintf("functional length %g mm from memory and uncertain: measure it", lf)
		}
	}
	style := "special entering angle: read it off the drawing"
	if k, ok := b.KAPR(); ok {
		style = fmt.Sprintf("entering angle %g°, lead angle %g°", k, 90-k)
	}
	clearance := "other clearance: needs a drawing"
	if an, ok := clearances[b.Clearance]; ok {
		clearance = fmt.Sprintf("insert clearance %g°", an)
	}
	hand := "right hand"
	if b.Hand == 'L' {
		hand = "left hand"
	}
	size := "insert size; the circle is not in the name"
	if ic := b.IC(); ic > 0 {
		size = fmt.Sprintf("inscribed circle %g mm", ic)
	}
	shape := Insert{Shape: b.Shape}.ShapeName()
	p := []Position{
		{"1", byteText(b.Shank), "BMC", shank},
		{"2", number, "DCONMS", diameter},
		{"3", byteText(b.Length), "LF", length},
		{"4", byteText(b.Clamping), "MTP", b.ClampingText()},
		{"5", byteText(b.Shape), "SC", "insert shape: " + shape},
		{"6", byteText(b.Style), "KAPR", style},
		{"7", byteText(b.Clearance), "AN", clearance},
		{"8", byteText(b.Hand), "HAND", hand},
		{"9", b.Size, "SSC", size},
	}
	if b.Tail != 0 {
		p = append(p, Position{"10", byteText(b.Tail), "", "form of the flats, or the maker's own"})
	}
	if b.Suffix != "" {
		p = append(p, Position{"", b.Suffix, "", "the maker's own: never decides what fits"})
	}
	return p
}
