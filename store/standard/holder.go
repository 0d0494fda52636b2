package standard

import (
	"fmt"
	"strings"
)

// A Holder is a square-shank holder as its designation describes it (ISO 5608), as far as
// the tables go.
type Holder struct {
	Clamping, Shape, Style, Clearance, Hand byte // positions 1 to 5; hand R, L or N
	H, B                                    int  // shank height and width in mm
	Length                                  byte // letter; X: special
	Size                                    string
	Suffix                                  string
}

// ParseHolder reads the designation of a square-shank holder: "PCLNR 2525M12". Else a
// *[Refusal].
func ParseHolder(text string) (Holder, error) {
	var c clean
	if ref := c.tidy("holder", text); ref != nil {
		return Holder{}, ref
	}
	h, f := readHolder(&c)
	if f == nil {
		return h, nil
	}
	r := refusal("holder", text, f.code, fmt.Sprintf(f.why, f.args...))
	if f.at >= 0 {
		r.At = c.where(f.at)
		if f.at < c.n {
			r.Char = string(c.b[f.at : f.at+1])
		}
	}
	return Holder{}, r
}

func readHolder(c *clean) (h Holder, f *fault) {
	s := scan{b: c.bytes()}
	var b Bar
	if f := b.cutting(&s, false); f != nil {
		return h, f
	}
	h.Clamping, h.Shape, h.Style, h.Clearance, h.Hand = b.Clamping, b.Shape, b.Style, b.Clearance, b.Hand
	s.skip()
	for _, side := range []*int{&h.H, &h.B} {
		s.skip()
		if digits(s.b[s.i:]) < 2 {
			return h, &fault{s.i, CodeForm, "shank height and width belong here, two digits of mm each", nil}
		}
		*side = int(atoi(string(s.b[s.i : s.i+2])))
		if *side == 0 {
			return h, &fault{s.i, CodeMeaning, "a shank of 0 mm does not exist", nil}
		}
		s.i += 2
	}
	if h.B > h.H {
		return h, &fault{s.i - 2, CodeMeaning, "the shank is wider (%d) than high (%d): height comes first", []any{h.B, h.H}}
	}
	s.skip()
	at := s.i
	x, ok := s.next()
	if _, known := barLengths[x]; !ok || !known {
		return h, &fault{at, CodeForm, "a length letter belongs here", nil}
	}
	h.Length = x
	s.skip()
	if f := b.size(&s); f != nil {
		return h, f
	}
	h.Size = b.Size
	var rd Reading
	if f := b.tail(&s, &rd); f != nil {
		return h, f
	}
	h.Suffix = strings.TrimSpace(byteText(b.Tail) + " " + b.Suffix)
	return h, nil
}

// String spells the holder canonically: "PCLNR2525M12", a suffix after a dash.
func (h Holder) String() string {
	if h == (Holder{}) {
		return ""
	}
	t := fmt.Sprintf("%s%02d%02d%c%s", string([]byte{h.Clamping, h.Shape, h.Style, h.Clearance, h.Hand}), h.H, h.B, h.Length, h.Size)
	if h.Suffix != "" {
		t += "-" + h.Suffix
	}
	return t
}

// LF returns the functional length in mm behind the letter; false for X.
func (h Holder) LF() (mm float64, ok bool) {
	mm = barLengths[h.Length]
	return mm, mm > 0
}

// KAPR returns the entering angle in degrees and the form of the style. Source:
// toolholder_styles.csv.
func (h Holder) KAPR() (deg float64, form string) {
	s := holderStyles[h.Style]
	return s.kapr, s.form
}

// Pocket returns the pattern of inserts that fit.
func (h Holder) Pocket() Pocket {
	return Bar{Clamping: h.Clamping, Shape: h.Shape, Clearance: h.Clearance, Size: h.Size}.Pocket()
}
