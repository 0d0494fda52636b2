package drawing

import (
	"bytes"
	"encoding/xml"
	"strconv"
)

// svg writes the scene. Colours stand as presentation attributes, which a stylesheet may
// overrule by class; there are no style attributes.
func (sc *scene) svg() []byte {
	var b bytes.Buffer
	esc := func(s string) { xml.EscapeText(&b, []byte(s)) }
	b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" role="img" class="drawing" viewBox="0 0 ` + num(sc.w) + " " + num(sc.h) + `" width="` + num(sc.w) + `" height="` + num(sc.h) + "\">\n<title>")
	esc(sc.title)
	b.WriteString("</title>\n<desc>")
	esc(sc.desc)
	b.WriteString("</desc>\n<rect class=\"d-ground\" width=\"" + num(sc.w) + `" height="` + num(sc.h) + `" fill="` + Ground + "\"/>\n")
	for _, m := range sc.marks {
		if m.s != "" {
			b.WriteString(`<text class="` + m.voice.class + `" x="` + num(m.pts[0].x) + `" y="` + num(m.pts[0].y) +
				`" font-family="` + m.voice.face.family() + `" font-size="` + num(m.voice.size) + `"`)
			if m.voice.face == faceBold {
				b.WriteString(` font-weight="700"`)
			}
			if m.anchor != start {
				b.WriteString(` text-anchor="` + [...]string{middle: "middle", end: "end"}[m.anchor] + `"`)
			}
			b.WriteString(` fill="` + m.voice.fill + `">`)
			esc(m.s)
			b.WriteString("</text>\n")
			continue
		}
		b.WriteString(`<path class="` + m.pen.class + `" d="`)
		for i, p := range m.pts {
			b.WriteString([...]string{"M", "L"}[min(i, 1)] + num(p.x) + " " + num(p.y))
		}
		if m.closed {
			b.WriteByte('Z')
		}
		b.WriteString(`" fill="` + orNone(m.pen.fill) + `"`)
		if m.pen.stroke != "" {
			b.WriteString(` stroke="` + m.pen.stroke + `" stroke-width="` + num(m.pen.width) + `"`)
		}
		if len(m.pen.dash) > 0 {
			b.WriteString(` stroke-dasharray="`)
			for i, d := range m.pen.dash {
				if i > 0 {
					b.WriteByte(' ')
				}
				b.WriteString(num(d))
			}
			b.WriteByte('"')
		}
		b.WriteString("/>\n")
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func (f face) family() string {
	if f == faceMono {
		return "Brasspeg Mono, DejaVu Sans Mono, monospace"
	}
	return "Brasspeg Sans, DejaVu Sans Condensed, sans-serif"
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

// num writes a coordinate with two decimals and no idle zeros, so that a golden file does not
// hang on the last bit of a machine.
func num(v float64) string {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 2, 64), 64)
	if r == 0 {
		r = 0
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}
