package labels

import (
	"fmt"
	"math"
)

// Calibration is a page of the sheet with the outline and number of every label, two rulers
// that count from the edges of the paper, and the two lines by which the offsets are found:
// measure with a steel rule, subtract, enter.
//
// The offsets of the sheet are applied, so a second print shows whether they are right.
func Calibration(s Sheet) ([]byte, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	p := newPDF(s.W, s.H, "Calibration page", "")
	p.AddPage()
	p.SetDrawColor(0, 0, 0)
	p.SetTextColor(0, 0, 0)
	p.SetLineWidth(hairline)
	ox, oy := s.OffsetX, s.OffsetY
	say := func(f face, em, x, y float64, t string) {
		p.SetFont(faceNames[f], "", em*mmPt)
		p.Text(x, y, t)
	}
	for i := range s.PerPage() {
		x, y := s.place(i)
		p.Rect(x, y, s.Cell.W, s.Cell.H, "D")
		em := min(3, s.Cell.H/5)
		say(mono, em, x+em*0.5, y+s.Cell.H-em*0.6, fmt.Sprint(i+1))
	}
	// rulers: a tick a millimetre, longer at 5 and 10, counted from the edge of the paper
	tick := func(v int) float64 {
		switch {
		case v%10 == 0:
			return 4
		case v%5 == 0:
			return 2.8
		}
		return 1.6
	}
	const lead = 5 // office printers leave the first millimetres white
	base := min(15, s.W/6, s.H/6)
	for v := lead; float64(v) <= s.W-lead; v++ {
		x := float64(v) + ox
		p.Line(x, base+oy, x, base+oy+tick(v))
		if v%10 == 0 && v > lead {
			t := fmt.Sprint(v)
			say(plain, 2, x-plain.width(t, 2)/2, base+oy+6.4, t)
		}
	}
	for v := lead; float64(v) <= s.H-lead; v++ {
		y := float64(v) + oy
		p.Line(base+ox, y, base+ox+tick(v), y)
		if v%10 == 0 && v > lead {
			say(plain, 2, base+ox+4.6, y+0.7, fmt.Sprint(v))
		}
	}
	target := func(size float64) float64 { return math.Floor(min(50, size/2)/5) * 5 }
	tx, ty := target(s.W), target(s.H)
	p.SetLineWidth(0.35)
	p.Line(tx+ox, base, tx+ox, s.H-lead)
	p.Line(base, ty+oy, s.W-lead, ty+oy)
	words := []string{
		"Print at 100 %, without fitting to the page.",
		fmt.Sprintf("From the left edge of the paper to the thick upright line: %s mm. Offset right = %s - measured%s.", mm(tx), mm(tx), already(ox)),
		fmt.Sprintf("From the top edge to the thick level line: %s mm. Offset down = %s - measured%s.", mm(ty), mm(ty), already(oy)),
		"If 100 mm on a ruler here are not 100 mm on a steel rule, the printer scales: switch that off, offsets cannot mend it.",
	}
	em, x := 3.0, tx+ox+3
	for x+bold.width(words[3], em) > s.W-lead && em > 2 {
		em -= 0.1
	}
	y := ty + oy + em*2
	for _, w := range words {
		lines, ok := bold.wrap(w, em, s.W-lead-x)
		if !ok || y+float64(len(lines))*em*1.3 > s.H-lead {
			break // a small label has no room for words; lines and rulers are there
		}
		for _, l := range lines {
			p.SetFillColor(255, 255, 255)
			p.Rect(x-0.5, y-em, bold.width(l, em)+1, em*1.3, "F")
			say(bold, em, x, y, l)
			y += em * 1.4
		}
	}
	return p.bytes()
}

// already says which offset the page was printed with, so that a second round adds up.
func already(v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf(" + %s (the offset this page was printed with)", mm(v))
}
