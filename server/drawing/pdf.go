package drawing

import (
	"bytes"
	"fmt"
	"strconv"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// A Paper is the size of a sheet in mm.
type Paper struct {
	Name string
	W, H float64
}

// The papers of an office.
var (
	A4     = Paper{"A4", 210, 297}
	Letter = Paper{"Letter", 215.9, 279.4}
)

// paper is a page of a PDF being written; lengths in mm.
type paper struct {
	*fpdf.Fpdf
	pw, ph float64
}

// newPaper begins a document of one paper size. day stands in its properties; the zero time
// stands for 1 January 2000. The same input makes the same page, but not always the same
// bytes: the writer numbers glyphs that two characters share as its maps come.
func newPaper(p Paper, title string, day time.Time) *paper {
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: p.W, Ht: p.H}})
	f.SetMargins(0, 0, 0)
	f.SetAutoPageBreak(false, 0)
	f.SetCatalogSort(true)
	if day.IsZero() {
		day = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	f.SetCreationDate(day)
	f.SetModificationDate(day)
	f.SetTitle(title, true)
	f.SetProducer("brasspeg", true)
	for _, c := range []face{facePlain, faceBold, faceMono} {
		f.AddUTF8FontFromBytes(faceNames[c], "", c.ttf())
	}
	return &paper{Fpdf: f, pw: p.W, ph: p.H}
}

func rgb(hex string) (r, g, b int) {
	n, _ := strconv.ParseUint(hex[1:], 16, 32) // one of our tokens
	return int(n >> 16), int(n >> 8 & 255), int(n & 255)
}

// say sets a cleaned text of em mm with its left end at x and its baseline at y.
func (p *paper) say(f face, em, x, y float64, colour, s string) {
	if s == "" {
		return
	}
	p.SetTextColor(rgb(colour))
	p.SetFont(faceNames[f], "", em*72/25.4)
	p.Text(x, y, s)
}

// rule draws a hairline.
func (p *paper) rule(x0, y0, x1, y1, width float64, colour string) {
	p.SetDrawColor(rgb(colour))
	p.SetLineWidth(width)
	p.SetDashPattern(nil, 0)
	p.Line(x0, y0, x1, y1)
}

// scene draws a drawing with its corner at x, y; scale is mm a unit of the drawing. Paper is
// white where the screen is warm.
func (p *paper) scene(sc *scene, x, y, scale float64) {
	for _, m := range sc.marks {
		if m.s != "" {
			em := m.voice.size * scale
			w := m.voice.face.width(m.s, em)
			p.say(m.voice.face, em, x+m.pts[0].x*scale-[...]float64{start: 0, middle: w / 2, end: w}[m.anchor], y+m.pts[0].y*scale, m.voice.fill, m.s)
			continue
		}
		style := ""
		if m.pen.fill != "" && m.closed {
			style = "F"
			fill := m.pen.fill
			if fill == Ground {
				fill = "#ffffff"
			}
			p.SetFillColor(rgb(fill))
		}
		if m.pen.stroke != "" {
			style += "D"
			p.SetDrawColor(rgb(m.pen.stroke))
			p.SetLineWidth(m.pen.width * scale)
			dash := make([]float64, len(m.pen.dash))
			for i, d := range m.pen.dash {
				dash[i] = d * scale
			}
			p.SetDashPattern(dash, 0)
		}
		for i, q := range m.pts {
			if i == 0 {
				p.MoveTo(x+q.x*scale, y+q.y*scale)
			} else {
				p.LineTo(x+q.x*scale, y+q.y*scale)
			}
		}
		if m.closed {
			p.ClosePath()
		}
		p.DrawPath(style)
	}
	p.SetDashPattern(nil, 0)
}

// code fills the modules of a code in a square of side mm, quiet zone of 4 modules included.
func (p *paper) code(rows [][]bool, x, y, side float64) {
	m := side / float64(len(rows)+8)
	p.SetFillColor(0, 0, 0)
	for r, row := range rows {
		for c := 0; c < len(row); c++ {
			from := c
			for c < len(row) && row[c] {
				c++
			}
			if c > from {
				// the 0.02 mm closes the seam to the next row
				p.Rect(x+float64(from+4)*m, y+float64(r+4)*m, float64(c-from)*m, m+0.02, "F")
			}
		}
	}
}

func (p *paper) bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := p.Output(&b); err != nil {
		return nil, fmt.Errorf("writing the PDF: %w", err)
	}
	return b.Bytes(), nil
}
