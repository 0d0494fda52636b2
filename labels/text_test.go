package labels

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// What a label refuses, and that the refusal names the field and how to mend it.
func TestRefuses(t *testing.T) {
	for _, tt := range []struct {
		name  string
		spoil func(*Label)
		area  Area
		class error
		says  string
	}{
		{"emoji", func(l *Label) { l.Title = "Sleeve 🙂" }, Standing, ErrText, "title: character 8"},
		{"Thai", func(l *Label) { l.Note = "ลิ้นชัก" }, Standing, ErrText, "note: character 1"},
		{"Hebrew", func(l *Label) { l.Sizes[0].Name = "קוטר" }, Standing, ErrText, "name of size 1"},
		{"warning", func(l *Label) { l.Never = []string{"ok", "不要"} }, Standing, ErrText, "warning 2"},
		{"long word", func(l *Label) { l.Title = strings.Repeat("W", 90) }, Standing, ErrText, "wider than"},
		{"novel", func(l *Label) { l.Note = strings.Repeat("much too long ", 60) }, Standing, ErrText, "mm of height"},
		{"five sizes", func(l *Label) { l.Sizes = make([]Size, 5) }, Standing, ErrText, "at most 4"},
		{"wrong check character", func(l *Label) { l.Tag = "P0000417K" }, Standing, ErrCode, "check character"},
		{"lower case", func(l *Label) { l.Tag = "p0000417n" }, Standing, ErrCode, "capitals"},
		{"no tag", func(l *Label) { l.Tag = "" }, Standing, ErrCode, "empty"},
		{"printer command as tag", func(l *Label) { l.Tag = "^XA" }, Standing, ErrCode, "character 1"},
		{"stamp", func(*Label) {}, Area{20, 9}, ErrMedia, "below 0.33 mm"},
		{"nothing", func(*Label) {}, Area{0, 0}, ErrMedia, "must be 8 to 500"},
	} {
		l := shop()["sleeve"]
		l.Sizes = append([]Size(nil), l.Sizes...)
		tt.spoil(&l)
		svg, err := SVGAt(l, tt.area)
		if !errors.Is(err, tt.class) || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: error %v, want one of %v that says %q", tt.name, err, tt.class, tt.says)
		}
		var r *Refusal
		if !errors.As(err, &r) || svg != nil {
			t.Errorf("%s: want a *Refusal and no picture, got %d bytes", tt.name, len(svg))
		}
		// one bad label in a batch: nothing is printed at all
		pdf, err := PDF([]Label{shop()["bin"], l}, Single(Area{max(tt.area.W, 8), max(tt.area.H, 6)}, 0))
		if err == nil || pdf != nil {
			t.Errorf("%s: a PDF of %d bytes with a refused label, %v", tt.name, len(pdf), err)
		}
	}
}

// Markup, formulas, control characters and printer commands are words like any other.
func TestHostileTextIsWords(t *testing.T) {
	l := shop()["sleeve"]
	l.Title = "<b onload=x>&amp;^XZ\x1b%-12345X\x00 =1+1"
	l.Note = "~JA ^FS\r\nP1"
	svg, err := SVG(l)
	if err != nil {
		t.Fatal(err)
	}
	if got := wellFormed(t, svg); !strings.Contains(got, "<b onload=x>&amp;^XZ%-12345X =1+1") {
		t.Errorf("the description is %q, want the words as typed, control characters left out", got)
	}
	for _, lang := range []Language{ZPL} {
		out, err := Printer([]Label{l}, Area{100, 50}, 203, lang)
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(out, []byte("^XZ")); n != 1 || bytes.Contains(out, []byte("~JA")) {
			t.Errorf("%s: %d ends of label, want 1, and no command from a text", lang, n)
		}
	}
}

// wellFormed reads an SVG and returns its words.
func wellFormed(t interface{ Fatalf(string, ...any) }, svg []byte) string {
	d := xml.NewDecoder(bytes.NewReader(svg))
	var b strings.Builder
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return b.String()
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		if c, ok := tok.(xml.CharData); ok {
			b.Write(c)
		}
	}
}

// Whatever is typed: either a *Refusal, or a label whose words and rules all stay inside it,
// clear of the code and its quiet zone.
func TestNothingOverflows(t *testing.T) {
	drawn, tried := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		// words the font can draw, or else the label is refused and nothing is shown here
		words := rapid.StringOfN(rapid.SampledFrom([]rune("ABCgjy 0123Øäµ≤ÅŽ-/\u00a0\t")), 0, rapid.SampledFrom([]int{3, 12, 40}).Draw(rt, "most"), -1)
		l := Label{Tag: rapid.SampledFrom([]string{"P0000417N", "A", "HTTPS://CRIB.LAN/T/P0000417N"}).Draw(rt, "tag"),
			Kind:  rapid.SampledFrom([]Kind{Piece, Lot, Act, Person}).Draw(rt, "kind"),
			Title: words.Draw(rt, "title"), Note: words.Draw(rt, "note"), Printed: "2026-11-25",
			Never: rapid.SliceOfN(words, 0, 2).Draw(rt, "never"), Matrix: rapid.Bool().Draw(rt, "matrix")}
		for range rapid.IntRange(0, 4).Draw(rt, "n") {
			l.Sizes = append(l.Sizes, Size{Name: words.Draw(rt, "name"), Value: words.Draw(rt, "value"), Unit: "mm", Large: rapid.Bool().Draw(rt, "large")})
		}
		a := Area{rapid.Float64Range(8, 150).Draw(rt, "w"), rapid.Float64Range(6, 110).Draw(rt, "h")}
		d, err := layout(&l, a, 0.125)
		tried++
		if err == nil {
			drawn++
		}
		if err != nil {
			var r *Refusal
			if !errors.As(err, &r) {
				rt.Fatalf("%v is no *Refusal", err)
			}
			return
		}
		c := d.codes[0]
		q := float64(c.sym.Quiet) * c.module
		inside := func(what string, x, y, w, h float64) {
			const eps = 0.05
			if x < -eps || y < -eps || x+w > a.W+eps || y+h > a.H+eps {
				rt.Fatalf("%s at %.2f %.2f, %.2f x %.2f leaves the label of %v", what, x, y, w, h, a)
			}
			if x < c.x+float64(c.sym.W)*c.module+q-0.13 && x+w > c.x-q+0.13 && y < c.y+float64(c.sym.H)*c.module+q-0.13 && y+h > c.y-q+0.13 {
				rt.Fatalf("%s at %.2f %.2f, %.2f x %.2f touches the quiet zone of the code", what, x, y, w, h)
			}
		}
		for _, w := range d.texts {
			inside("text "+w.s, w.x, w.y-w.em*capHeight, w.face.width(w.s, w.em), w.em*capHeight)
		}
		for i, a := range d.texts { // and no word lies on another
			for _, b := range d.texts[:i] {
				const eps = 0.03
				if a.x+eps < b.x+b.face.width(b.s, b.em) && b.x+eps < a.x+a.face.width(a.s, a.em) &&
					a.y-a.em*capHeight+eps < b.y && b.y-b.em*capHeight+eps < a.y && a.s != "" && b.s != "" {
					rt.Fatalf("%q at %.2f %.2f lies on %q at %.2f %.2f", a.s, a.x, a.y, b.s, b.x, b.y)
				}
			}
		}
		for _, b := range d.boxes {
			inside("rule", b.x, b.y, b.w, b.h)
		}
		wellFormed(rt, d.svg())
	})
	if drawn*10 < tried {
		t.Errorf("only %d of %d labels were drawn: the test sees too little", drawn, tried)
	}
}

// Neither layout nor SVG panics; TestNothingInThePDF does the same for the slower pen.
func FuzzLabel(f *testing.F) {
	f.Add("P0000417N", "Sleeve 50 → 32", "no screws", "50", 50.0, 25.0)
	f.Add("^XA", "\x1b\u202e\U0001F600", "=1+1", "<b>", 1e9, -1.0)
	f.Fuzz(func(t *testing.T, tag, title, never, value string, w, h float64) {
		l := Label{Tag: tag, Kind: Piece, Title: title, Never: []string{never}, Sizes: []Size{{Value: value}}}
		svg, err := SVGAt(l, Area{w, h})
		if err != nil {
			if svg != nil {
				t.Error("refused and yet drawn")
			}
			return
		}
		wellFormed(t, svg)
	})
}

// Whatever the layout accepts, the PDF writer takes: it panics above U+FFFF, and must never
// be given such a character.
func TestNothingInThePDF(t *testing.T) {
	for _, s := range []string{"\x00\x1b", "\u202eabc", "a\u0301\u0300", "\ufeffx", "\U0010ffff", "\xff\xfe", "\ufffd", "\uffff", "½ ⌀ ≤ µ Ω Ж ß ŉ ﬁ", "()\\", "%PDF", "\u2028x\u2029"} {
		l := Label{Tag: "P0000417N", Kind: Piece, Title: s, Note: s, Never: []string{s}, Sizes: []Size{{Name: s, Value: s, Unit: s}}}
		_, svg := SVG(l)
		pdf, err := PDF([]Label{l}, A4())
		if (err == nil) != (svg == nil) || (err == nil) != (pdf != nil) {
			t.Errorf("%q: SVG says %v, PDF %v with %d bytes", s, svg, err, len(pdf))
		}
	}
}
