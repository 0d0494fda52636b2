package drawing

import (
	"strings"
	"sync"
	"unicode"

	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	"github.com/go-fonts/dejavu/dejavusansmono"
	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"
)

// A face is one cut of the font that the pages use too.
type face int

const (
	facePlain face = iota
	faceBold
	faceMono
)

var faceNames = [...]string{facePlain: "condensed", faceBold: "condensedbold", faceMono: "mono"}

func (f face) ttf() []byte {
	switch f {
	case faceBold:
		return dejavusanscondensedbold.TTF
	case faceMono:
		return dejavusansmono.TTF
	}
	return dejavusanscondensed.TTF
}

// cuts holds, for each face, the widths of all characters up to U+FFFF in font units plus
// one; 0 is a character the font lacks. Read at first use.
var cuts = [...]func() *cut{
	facePlain: sync.OnceValue(func() *cut { return read(facePlain) }),
	faceBold:  sync.OnceValue(func() *cut { return read(faceBold) }),
	faceMono:  sync.OnceValue(func() *cut { return read(faceMono) }),
}

type cut struct {
	unit float64
	wide [1 << 16]uint16
}

// read takes the widths from the font file. The fonts are part of the program, so one that
// does not parse is our own mistake.
func read(f face) *cut {
	parsed, err := sfnt.Parse(f.ttf())
	if err != nil {
		panic("drawing: embedded font " + faceNames[f] + ": " + err.Error())
	}
	c := &cut{unit: float64(parsed.UnitsPerEm())}
	var buf sfnt.Buffer
	em := fixed.I(int(parsed.UnitsPerEm()))
	for r := rune(0x20); r <= 0xFFFF; r++ {
		g, err := parsed.GlyphIndex(&buf, r)
		if err != nil || g == 0 {
			continue
		}
		if adv, err := parsed.GlyphAdvance(&buf, g, em, font.HintingNone); err == nil {
			c.wide[r] = uint16(adv.Round()) + 1
		}
	}
	return c
}

// has reports whether the face draws a character.
func (f face) has(r rune) bool { return r >= 0 && r <= 0xFFFF && cuts[f]().wide[r] > 0 }

// width returns the length of a text set at a size, in the unit of the size.
func (f face) width(s string, em float64) float64 {
	c := cuts[f]()
	sum := 0
	for _, r := range s {
		if f.has(r) {
			sum += int(c.wide[r]) - 1
		}
	}
	return float64(sum) / c.unit * em
}

// clean makes foreign text drawable: composed form, no control characters or direction marks,
// single spaces. A character the font lacks becomes a box, so that a drawing of a part with a
// strange name is still a drawing; names that must be exact are on the labels, which refuse.
func clean(s string) string {
	s = norm.NFC.String(strings.ToValidUTF8(s, "□"))
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Mn, unicode.Me):
			return -1
		case !facePlain.has(r) || !faceBold.has(r) || !faceMono.has(r):
			return '□'
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

// wrap breaks a cleaned text into lines no wider than width; a word that is wider alone is
// broken between characters, so nothing ever leaves its field.
func (f face) wrap(s string, em, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" {
			if f.width(line+" "+word, em) <= width {
				line += " " + word
				continue
			}
			lines = append(lines, line)
		}
		line = ""
		for _, r := range word {
			if line != "" && f.width(line+string(r), em) > width {
				lines = append(lines, line)
				line = ""
			}
			line += string(r)
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
