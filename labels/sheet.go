package labels

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// A Sheet is paper with a grid of labels, or a single label for a label printer: then it is
// its own and only cell. All lengths are mm from the top left corner of the paper.
type Sheet struct {
	Name         string
	W, H         float64 // the paper
	Left, Top    float64 // corner of the first cell
	Across, Down int     // cells in a row, rows
	Cell         Area    // one label
	PitchX       float64 // from cell to cell; 0: the cells touch
	PitchY       float64
	// OffsetX and OffsetY move everything right and down, to make good what a printer does
	// wrong; read them from the calibration page. At most 10 mm each way.
	OffsetX, OffsetY float64
	// Start is the first cell to print on, counted from 1 along the rows; 0 means 1. It lets
	// a sheet be used up.
	Start int
	// DPI of a label printer (203, 300, 600), so that the modules of the code are whole
	// dots; 0 for an office printer.
	DPI int
}

// A4 is a sheet of 21 labels of 63.5 x 38.1 mm, a common grid of the stationery trade.
func A4() Sheet {
	return Sheet{Name: "a4", W: 210, H: 297, Left: 7.25, Top: 15.15, Across: 3, Down: 7,
		Cell: Area{63.5, 38.1}, PitchX: 66, PitchY: 38.1}
}

// Letter is a sheet of 10 labels of 4 x 2 inches, a common grid of the stationery trade.
func Letter() Sheet {
	return Sheet{Name: "letter", W: 215.9, H: 279.4, Left: 3.95, Top: 12.7, Across: 2, Down: 5,
		Cell: Area{101.6, 50.8}, PitchX: 106.4, PitchY: 50.8}
}

// Single is one label a page, the page being exactly the label.
func Single(a Area, dpi int) Sheet {
	return Sheet{Name: a.String(), W: a.W, H: a.H, Across: 1, Down: 1, Cell: a, DPI: dpi}
}

var mediaText = regexp.MustCompile(`^(a4|letter|([0-9]+(?:\.[0-9]+)?)x([0-9]+(?:\.[0-9]+)?))(?::([0-9]+(?:\.[0-9]+)?)x([0-9]+(?:\.[0-9]+)?))?$`)

// ParseSheet reads what a person types for a medium: "a4", "letter", "50x25" for single
// labels of that size in mm, or "a4:50x25" and "300x200:50x25" for paper filled with as many
// cells of that size as it holds, centred. Else a *Refusal of ErrMedia.
// The name of the sheet is what was typed, so that it can be kept and read again.
func ParseSheet(s string) (Sheet, error) {
	m := mediaText.FindStringSubmatch(strings.ToLower(strings.ReplaceAll(clean(s), " ", "")))
	if m == nil {
		return Sheet{}, &Refusal{Class: ErrMedia, Field: "sheet", Why: fmt.Sprintf(
			"%q is no medium; write a4, letter, a label size in mm as 50x25, or paper:label as a4:50x25", clean(s))}
	}
	num := func(s string) float64 {
		v, _ := strconv.ParseFloat(s, 64) // digits with one point: cannot fail
		return v
	}
	var paper Sheet
	switch m[1] {
	case "a4":
		paper = A4()
	case "letter":
		paper = Letter()
	default:
		paper = Single(Area{num(m[2]), num(m[3])}, 0)
		paper.Name = m[0]
	}
	if m[4] != "" {
		cell := Area{num(m[4]), num(m[5])}
		if cell.W <= 0 || cell.H <= 0 || cell.W > paper.W || cell.H > paper.H {
			return Sheet{}, &Refusal{Class: ErrMedia, Field: "sheet", Why: fmt.Sprintf(
				"a label of %v does not fit paper of %v", cell, Area{paper.W, paper.H})}
		}
		// min: a grid of more than a thousand labels a page is caught by Check.
		across := int(min(math.Floor(paper.W/cell.W+1e-9), 1001))
		down := int(min(math.Floor(paper.H/cell.H+1e-9), 1001))
		paper = Sheet{Name: m[0], W: paper.W, H: paper.H, Across: across, Down: down, Cell: cell,
			Left: (paper.W - float64(across)*cell.W) / 2, Top: (paper.H - float64(down)*cell.H) / 2}
	}
	return paper, paper.Check()
}

// Check reports as a *Refusal of ErrMedia what makes the sheet unprintable: a grid that
// leaves the paper, cells that overlap, a start beyond the last cell.
func (s Sheet) Check() error {
	refuse := func(field, format string, args ...any) error {
		return &Refusal{Class: ErrMedia, Field: field, Why: fmt.Sprintf(format, args...)}
	}
	for _, v := range []struct {
		name     string
		v        float64
		min, max float64
	}{
		{"paper width", s.W, 8, 1500}, {"paper height", s.H, 6, 1500},
		{"label width", s.Cell.W, 8, 500}, {"label height", s.Cell.H, 6, 500},
		{"left edge", s.Left, 0, 1500}, {"top edge", s.Top, 0, 1500},
		{"pitch across", s.PitchX, 0, 1500}, {"pitch down", s.PitchY, 0, 1500},
		{"offset right", s.OffsetX, -10, 10}, {"offset down", s.OffsetY, -10, 10},
	} {
		if !(v.v >= v.min && v.v <= v.max) { // so written, NaN is refused too
			return refuse(v.name, "%s mm; must be %s to %s mm", mm(v.v), mm(v.min), mm(v.max))
		}
	}
	if s.Across < 1 || s.Down < 1 || s.Across > 100 || s.Down > 100 {
		return refuse("grid", "%d x %d labels; must be 1 to 100 each way", s.Across, s.Down)
	}
	px, py := s.pitch()
	if s.Across > 1 && px < s.Cell.W-1e-6 {
		return refuse("pitch across", "%s mm is less than the label width %s mm: labels would overlap", mm(px), mm(s.Cell.W))
	}
	if s.Down > 1 && py < s.Cell.H-1e-6 {
		return refuse("pitch down", "%s mm is less than the label height %s mm: labels would overlap", mm(py), mm(s.Cell.H))
	}
	if over := s.Left + px*float64(s.Across-1) + s.Cell.W - s.W; over > 0.01 {
		return refuse("grid", "%d labels across leave the paper by %s mm; the paper is %s mm wide", s.Across, mm(over), mm(s.W))
	}
	if over := s.Top + py*float64(s.Down-1) + s.Cell.H - s.H; over > 0.01 {
		return refuse("grid", "%d labels down leave the paper by %s mm; the paper is %s mm high", s.Down, mm(over), mm(s.H))
	}
	if s.Start < 0 || s.Start > s.PerPage() {
		return refuse("start", "%d; this sheet has labels 1 to %d", s.Start, s.PerPage())
	}
	if s.DPI != 0 {
		if _, err := dotsPerMM(s.DPI); err != nil {
			return err
		}
	}
	return nil
}

// PerPage is the number of labels on a page.
func (s Sheet) PerPage() int { return s.Across * s.Down }

// Pages is the number of pages that n labels (>= 0) fill, the skipped cells of the first page
// counted.
func (s Sheet) Pages(n int) int {
	if n <= 0 || s.PerPage() < 1 {
		return 0
	}
	return (max(s.Start, 1) - 1 + n + s.PerPage() - 1) / s.PerPage()
}

func (s Sheet) pitch() (x, y float64) {
	x, y = s.PitchX, s.PitchY
	if x == 0 {
		x = s.Cell.W
	}
	if y == 0 {
		y = s.Cell.H
	}
	return x, y
}

// place returns the corner of the i-th label (from 0) on its page, offset included.
func (s Sheet) place(i int) (x, y float64) {
	px, py := s.pitch()
	return s.Left + float64(i%s.Across)*px + s.OffsetX, s.Top + float64(i/s.Across)*py + s.OffsetY
}

// dotsPerMM is the resolution of a label printer. Heads called 203, 300 and 600 dpi have 8,
// 11.811 and 23.622 dots a millimetre; the first is 203.2 dpi by its maker's count of dots.
func dotsPerMM(dpi int) (float64, error) {
	switch dpi {
	case 203:
		return 8, nil
	case 300:
		return 300 / 25.4, nil
	case 600:
		return 600 / 25.4, nil
	}
	return 0, &Refusal{Class: ErrMedia, Field: "resolution", Why: fmt.Sprintf(
		"%d dpi; label printers have 203, 300 or 600", dpi)}
}
