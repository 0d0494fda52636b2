package labels

import (
	"bytes"
	"encoding/xml"
	"strconv"

	"golang.org/x/image/font/sfnt"
)

// SVG draws a label of standing size; see SVGAt.
func SVG(l Label) ([]byte, error) { return SVGAt(l, Standing) }

// SVGAt draws one label of the given size as SVG in true millimetres. All letters are
// outlines, so it looks the same everywhere and can be engraved: no font is needed, the code
// is one path, and nothing is drawn twice. Title and description say what it shows.
//
// On a *Refusal there is no picture.
func SVGAt(l Label, a Area) ([]byte, error) {
	d, err := layout(&l, a, 0)
	if err != nil {
		return nil, err
	}
	return d.svg(), nil
}

func (d *art) svg() []byte {
	var b bytes.Buffer
	b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" role="img"`)
	b.WriteString(` width="` + mm(d.W) + `mm" height="` + mm(d.H) + `mm" viewBox="0 0 ` + mm(d.W) + " " + mm(d.H) + "\">\n<title>")
	xml.EscapeText(&b, []byte("Label "+d.tag))
	b.WriteString("</title>\n<desc>")
	xml.EscapeText(&b, []byte(d.title))
	b.WriteString("</desc>\n<rect fill=\"#fff\" width=\"" + mm(d.W) + "\" height=\"" + mm(d.H) + "\"/>\n")
	d.strokes(&b, 3)
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// strokes writes the code, the rules and the letters.
func (d *art) strokes(b *bytes.Buffer, places int) {
	num := func(v float64) { b.Write(strconv.AppendFloat(nil, rounded(v, places), 'f', -1, 64)) }
	attr := func(name string, v float64) {
		b.WriteString(" " + name + `="`)
		num(v)
		b.WriteByte('"')
	}
	for _, c := range d.codes {
		b.WriteString(`<path d="`)
		for _, loop := range c.sym.loops() {
			b.WriteByte('M')
			num(c.x + float64(loop[len(loop)-1][0])*c.module)
			b.WriteByte(' ')
			num(c.y + float64(loop[len(loop)-1][1])*c.module)
			prev := loop[len(loop)-1]
			for _, p := range loop[:len(loop)-1] {
				if p[0] != prev[0] {
					b.WriteByte('H')
					num(c.x + float64(p[0])*c.module)
				} else {
					b.WriteByte('V')
					num(c.y + float64(p[1])*c.module)
				}
				prev = p
			}
			b.WriteByte('Z')
		}
		b.WriteString("\"/>\n")
	}
	for _, r := range d.boxes {
		b.WriteString("<rect")
		attr("x", r.x)
		attr("y", r.y)
		attr("width", r.w)
		attr("height", r.h)
		if r.white {
			b.WriteString(` fill="#fff"`)
		}
		b.WriteString("/>\n")
	}
	var buf sfnt.Buffer
	for _, t := range d.texts {
		if t.s == "" {
			continue
		}
		b.WriteString("<path")
		if t.white {
			b.WriteString(` fill="#fff"`)
		}
		b.WriteString(` d="`)
		x := t.x
		for _, r := range t.s {
			// After its first point a letter is written by steps, so that the same letter is the same
			// text wherever it stands: a page of labels packs to half.
			segs := t.face.outline(r, &buf)
			var at, begin [2]float64 // of the letter
			for i, s := range segs {
				first := i == 0
				if s.op == 'M' && !first {
					b.WriteByte('Z')
					at = begin
				}
				if first {
					b.WriteByte('M')
				} else {
					b.WriteByte(s.op + 'a' - 'A')
				}
				var to [2]float64
				for k, q := range s.pts[:s.n] {
					if k > 0 {
						b.WriteByte(' ')
					}
					to = [2]float64{rounded(q[0]*t.em, places), rounded(q[1]*t.em, places)}
					if first {
						num(x + to[0])
						b.WriteByte(' ')
						num(t.y + to[1])
						continue
					}
					num(to[0] - at[0])
					b.WriteByte(' ')
					num(to[1] - at[1])
				}
				if at = to; s.op == 'M' {
					begin = to
				}
			}
			if len(segs) > 0 {
				b.WriteByte('Z')
			}
			x += t.face.width(string(r), t.em)
		}
		b.WriteString("\"/>\n")
	}
}

// rounded keeps so many places, so that a file does not depend on the last bit of a machine: 3
// are micrometres, enough for an engraver, 2 enough for the eye.
func rounded(v float64, places int) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'f', places, 64), 64)
	if r == 0 {
		return 0 // no -0
	}
	return r
}
