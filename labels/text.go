package labels

import (
	"fmt"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	"github.com/go-fonts/dejavu/dejavusansmonobold"
	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"
)

// A face is one cut of the font.
type face int

const (
	plain face = iota // names, notes, dates
	bold              // titles, figures, warnings
	mono              // tags, so that every character stands in its own field
)

// faceNames are the names of the faces in a PDF.
var faceNames = [...]string{plain: "condensed", bold: "condensedbold", mono: "monobold"}

// ttf returns the font file of a face.
func (f face) ttf() []byte {
	switch f {
	case bold:
		return dejavusanscondensedbold.TTF
	case mono:
		return dejavusansmonobold.TTF
	}
	return dejavusanscondensed.TTF
}

// A font file read once: widths of all characters up to U+FFFF in font units, and the parsed
// font for its outlines.
type cut struct {
	font  *sfnt.Font
	unit  float64 // font units per em
	width [1 << 16]uint16
	has   [1 << 16]bool
}

// cuts reads each face at its first use. The fonts are part of the program, so a font that
// does not parse is our own mistake.
var cuts = [...]func() *cut{
	plain: sync.OnceValue(func() *cut { return read(plain) }),
	bold:  sync.OnceValue(func() *cut { return read(bold) }),
	mono:  sync.OnceValue(func() *cut { return read(mono) }),
}

func read(f face) *cut {
	parsed, err := sfnt.Parse(f.ttf())
	if err != nil {
		panic("labels: embedded font " + faceNames[f] + ": " + err.Error())
	}
	c := &cut{font: parsed, unit: float64(parsed.UnitsPerEm())}
	var buf sfnt.Buffer
	em := fixed.I(int(parsed.UnitsPerEm()))
	for r := rune(0x20); r <= 0xFFFF; r++ {
		if r == 0xD800 {
			r = 0xE000 // no characters between
		}
		g, err := parsed.GlyphIndex(&buf, r)
		if err != nil || g == 0 {
			continue
		}
		adv, err := parsed.GlyphAdvance(&buf, g, em, font.HintingNone)
		if err != nil {
			continue
		}
		c.has[r], c.width[r] = true, uint16(adv.Round())
	}
	return c
}

// width returns the length of a cleaned text in mm when set in a face at a size of em mm.
func (f face) width(s string, em float64) float64 {
	c := cuts[f]()
	sum := 0
	for _, r := range s {
		if r <= 0xFFFF {
			sum += int(c.width[r])
		}
	}
	return float64(sum) / c.unit * em
}

// A segment is one piece of a glyph's outline in em, y downwards from the baseline: a move, a
// line, a quadratic or a cubic curve with its points.
type segment struct {
	op  byte // 'M', 'L', 'Q', 'C'
	pts [3][2]float64
	n   int
}

// outline returns the outline of one character; nothing for a space.
func (f face) outline(r rune, buf *sfnt.Buffer) []segment {
	c := cuts[f]()
	g, err := c.font.GlyphIndex(buf, r)
	if err != nil {
		return nil
	}
	em := int(c.unit)
	segs, err := c.font.LoadGlyph(buf, g, fixed.I(em), nil)
	if err != nil {
		return nil
	}
	out := make([]segment, 0, len(segs))
	for _, s := range segs {
		var o segment
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			o.op, o.n = 'M', 1
		case sfnt.SegmentOpLineTo:
			o.op, o.n = 'L', 1
		case sfnt.SegmentOpQuadTo:
			o.op, o.n = 'Q', 2
		case sfnt.SegmentOpCubeTo:
			o.op, o.n = 'C', 3
		}
		for i := range o.n {
			o.pts[i] = [2]float64{float64(s.Args[i].X) / 64 / c.unit, float64(s.Args[i].Y) / 64 / c.unit}
		}
		out = append(out, o)
	}
	return out
}

// clean makes a text of foreign origin printable: it is put into composed form, broken bytes
// become a box, spaces of all kinds but the no-break space become one, control characters and marks that turn
// the reading direction are left out. What is left is either drawable or refused by check.
func clean(s string) string {
	s = norm.NFC.String(strings.ToValidUTF8(s, "□"))
	var b strings.Builder
	space := true // drop leading ones
	for _, r := range s {
		switch {
		case r == noBreak && !space:
			// kept, so that a word and its shape or a value and its unit stay together
		case unicode.IsSpace(r):
			if !space {
				b.WriteByte(' ')
			}
			space = true
			continue
		case unicode.Is(unicode.Cc, r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Co, r):
			continue
		case r == '\u115F', r == '\u1160', r == '\u3164', r == '\uFFA0': // blank letters
			continue
		}
		space = false
		b.WriteRune(r)
	}
	return strings.TrimRight(b.String(), " \u00A0")
}

// noBreak is a space at which no line is broken.
const noBreak = '\u00A0'

// check refuses a cleaned text with a character that the face cannot draw as it is read.
func (f face) check(tag, field, s string) error {
	c := cuts[f]()
	for i, r := range s {
		why := ""
		switch {
		case r > 0xFFFF || !c.has[r]:
			why = "the label font has no such character"
		case unicode.Is(unicode.Mn, r), unicode.Is(unicode.Me, r):
			why = "an accent that stands on no letter of the font"
		case unicode.In(r, unicode.Arabic, unicode.Hebrew, unicode.Syriac, unicode.Thaana, unicode.Nko):
			why = "letters that are written from right to left or joined cannot be set here"
		default:
			continue
		}
		return &Refusal{Class: ErrText, Tag: tag, Field: field, Why: fmt.Sprintf(
			"character %d, %q (U+%04X): %s; write it with Latin, Greek or Cyrillic letters",
			utf8.RuneCountInString(s[:i])+1, r, r, why)}
	}
	return nil
}

// wrap breaks a cleaned text into lines of at most width mm at the size em. It breaks at
// spaces, and after a hyphen or slash where a word alone is too long. It reports false when
// a piece that cannot be broken is wider than the line.
func (f face) wrap(s string, em, width float64) ([]string, bool) {
	var lines []string
	line := ""
	for word := range strings.SplitSeq(s, " ") { // cleaned: single spaces only
		try := word
		if line != "" {
			try = line + " " + word
		}
		if f.width(try, em) <= width {
			line = try
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for f.width(word, em) > width {
			cut := f.breakAt(word, em, width)
			if cut == 0 {
				return nil, false
			}
			lines, word = append(lines, word[:cut]), word[cut:]
		}
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines, true
}

// breakAt returns the byte position of the last place in a word where it may be broken and
// whose head fits, or 0.
func (f face) breakAt(word string, em, width float64) int {
	best := 0
	for i, r := range word {
		if r != '-' && r != '/' && r != ',' && r != ';' && r != '_' {
			continue
		}
		end := i + utf8.RuneLen(r)
		if end < len(word) && f.width(word[:end], em) <= width {
			best = end
		}
	}
	return best
}

// balance wraps a text again into the same number of lines, but in the narrowest field that
// holds them, so that no single word is left alone on the last line.
func (f face) balance(s string, em, width float64, lines []string) []string {
	if len(lines) < 2 {
		return lines
	}
	lo, hi := width/float64(len(lines)+1), width
	for range 10 {
		mid := (lo + hi) / 2
		if try, ok := f.wrap(s, em, mid); ok && len(try) == len(lines) {
			hi, lines = mid, try
		} else {
			lo = mid
		}
	}
	return lines
}
