package labels

import "strings"

// art is a finished label: marks in mm from its top left corner, in black and white. The pens
// (SVG, PDF, PNG, printer languages) draw what stands here and decide nothing.
type art struct {
	Area
	tag   string
	title string // for people who cannot see the picture
	boxes []box
	texts []text
	codes []placed
}

// A box is a filled rectangle: black, or white on black. Rules are thin boxes.
type box struct {
	x, y, w, h float64
	white      bool
}

// A text stands with its left end at x and its baseline at y; em is its size in mm.
type text struct {
	x, y, em float64
	face     face
	s        string
	white    bool
}

// placed is a symbol whose first module has its corner at x, y.
type placed struct {
	x, y, module float64
	sym          *Symbol
}

// hairline is the thickness of a rule in mm: two dots of a 300 dpi printer, so that it shows
// on every medium.
const hairline = 0.17

func (a *art) rule(x, y, w float64) {
	a.boxes = append(a.boxes, box{x, y - hairline/2, w, hairline, false})
}

func (a *art) stroke(x, y, h float64) {
	a.boxes = append(a.boxes, box{x - hairline/2, y, hairline, h, false})
}

func (a *art) put(f face, em, x, y float64, s string) {
	s = strings.ReplaceAll(s, string(noBreak), " ") // the lines are broken, the pens need one kind
	a.texts = append(a.texts, text{x: x, y: y, em: em, face: f, s: s})
}

// spaced sets a text with extra space after each character, as engraved headings have.
func (a *art) spaced(f face, em, x, y, space float64, s string) {
	for _, r := range s {
		c := string(r)
		if c != " " {
			a.put(f, em, x, y, c)
		}
		x += f.width(c, em) + space
	}
}

// spacedWidth is the length of such a text, without the space after its last character.
func spacedWidth(f face, em, space float64, s string) float64 {
	n := 0
	for range s {
		n++
	}
	return f.width(s, em) + float64(max(n-1, 0))*space
}
