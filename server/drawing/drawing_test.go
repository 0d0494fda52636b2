package drawing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files anew; look at the pictures before you commit them")

// golden compares a drawing with its file under testdata/drawing.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("..", "..", "testdata", "drawing", name)
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatalf("%v (run with -update to write it)", err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs from its golden file; run with -update and look at the picture", name)
	}
}

// elements reads an SVG with the standard library's reader and returns its elements by name.
func elements(t interface{ Fatalf(string, ...any) }, svg []byte) map[string][]map[string]string {
	out := map[string][]map[string]string{}
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		if e, ok := tok.(xml.StartElement); ok {
			attrs := map[string]string{}
			for _, a := range e.Attr {
				attrs[a.Name.Local] = a.Value
			}
			out[e.Name.Local] = append(out[e.Name.Local], attrs)
		}
	}
}

func TestStackGolden(t *testing.T) {
	for name, s := range map[string]Side{"stack.svg": buildable(), "stack_missing.svg": lacking()} {
		got, err := Stack(s)
		if err != nil {
			t.Fatal(err)
		}
		golden(t, name, got)
	}
}

// A strict content policy forbids style attributes and style elements; people who cannot see
// the picture need role, title and description.
func TestStackIsAccessibleAndPlain(t *testing.T) {
	svg, err := Stack(lacking())
	if err != nil {
		t.Fatal(err)
	}
	els := elements(t, svg)
	if root := els["svg"][0]; root["role"] != "img" {
		t.Errorf("role = %q, want img", root["role"])
	}
	if len(els["title"]) != 1 || len(els["desc"]) != 1 {
		t.Errorf("%d titles and %d descriptions, want one each", len(els["title"]), len(els["desc"]))
	}
	for name, list := range els {
		if name == "style" || name == "script" {
			t.Errorf("element %s is forbidden", name)
		}
		for _, a := range list {
			if _, bad := a["style"]; bad {
				t.Errorf("%s has a style attribute", name)
			}
		}
	}
	for _, want := range []string{"MISSING sleeve", "outside 50 mm", "inside 40 mm", "length 128 mm or more", "MISSING nipple"} {
		if !bytes.Contains(svg, []byte(want)) {
			t.Errorf("the drawing of a missing part does not say %q", want)
		}
	}
	dashed := 0
	for _, p := range els["path"] {
		if p["class"] == "d-missing" && p["stroke-dasharray"] != "" {
			dashed++
		}
	}
	if dashed != 1 {
		t.Errorf("%d dashed bodies, want the one missing sleeve", dashed)
	}
}

// Lengths on the paper stand to each other as lengths in mm, along and across.
func TestStackIsToScale(t *testing.T) {
	s := Side{Parts: []Part{
		{Kind: "extension", Label: "A", X0: 0, X1: 100, D: 50},
		{Kind: "extension", Label: "B", X0: 100, X1: 400, D: 25},
	}}
	svg, err := Stack(s)
	if err != nil {
		t.Fatal(err)
	}
	number := regexp.MustCompile(`-?[0-9.]+`)
	var sizes [][2]float64
	for _, p := range elements(t, svg)["path"] {
		if p["class"] != "d-outline" {
			continue
		}
		nums := number.FindAllString(p["d"], -1)
		x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
		for i := 0; i+1 < len(nums); i += 2 {
			x, y := atof(t, nums[i]), atof(t, nums[i+1])
			x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
		}
		sizes = append(sizes, [2]float64{x1 - x0, y1 - y0})
	}
	if len(sizes) != 2 {
		t.Fatalf("%d bodies drawn, want 2", len(sizes))
	}
	k := sizes[0][0] / 100
	for i, want := range [][2]float64{{100, 50}, {300, 25}} {
		for j := range 2 {
			if got := sizes[i][j] / k; math.Abs(got-want[j]) > 0.05 {
				t.Errorf("part %d, direction %d: %.2f mm at the drawing's scale, want %v", i, j, got, want[j])
			}
		}
	}
}

func TestStackRefuses(t *testing.T) {
	ok := buildable
	for name, spoil := range map[string]func(*Side){
		"1 to 12":              func(s *Side) { s.Parts = nil },
		"before it begins":     func(s *Side) { s.Parts[2].X1 = -900 },
		"must be above 0":      func(s *Side) { s.Parts[1].D = 0 },
		"must be a number":     func(s *Side) { s.Parts[0].X0 = math.NaN() },
		"none may be below":    func(s *Side) { s.Bore.Depth = -1 },
		"overhang is +Inf":     func(s *Side) { s.Overhang.To = math.Inf(1) },
		"joints of the coolan": func(s *Side) { s.Coolant = make([]Joint, 13) },
	} {
		s := ok()
		spoil(&s)
		svg, err := Stack(s)
		if !errors.Is(err, ErrDrawing) || !strings.Contains(err.Error(), name) {
			t.Errorf("error %v, want one of ErrDrawing that says %q", err, name)
		}
		if svg != nil {
			t.Errorf("%q: refused, and yet %d bytes drawn", name, len(svg))
		}
	}
}

// Whatever the names and sizes, a drawing is well-formed and every word stays on the sheet.
func TestStackHoldsAnyWords(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := Side{Title: rapid.String().Draw(rt, "title"), Station: rapid.StringN(0, 30, -1).Draw(rt, "station")}
		x := 0.0
		for range rapid.IntRange(1, 8).Draw(rt, "n") {
			l := rapid.Float64Range(0, 900).Draw(rt, "len")
			s.Parts = append(s.Parts, Part{
				Kind:  rapid.SampledFrom([]Kind{Holder, Sleeve, Bar, Head, Insert, "reducer"}).Draw(rt, "kind"),
				Label: rapid.String().Draw(rt, "label"), Sizes: rapid.SliceOfN(rapid.String(), 0, 3).Draw(rt, "sizes"),
				X0: x, X1: x + l, D: rapid.Float64Range(0.1, 300).Draw(rt, "d"), Missing: rapid.Bool().Draw(rt, "missing")})
			x += l
		}
		s.Bore = Bore{Face: x / 2, Depth: x / 2, D: rapid.Float64Range(0, 200).Draw(rt, "bore")}
		s.Overhang = Span{x / 3, x, "note"}
		sc, err := stackScene(s)
		if err != nil {
			if errors.Is(err, ErrDrawing) {
				return
			}
			rt.Fatalf("%v", err)
		}
		elements(rt, sc.svg())
		for _, m := range sc.marks {
			for _, p := range m.pts {
				if p.x < -0.01 || p.x > sc.w+0.01 || p.y < -0.01 || p.y > sc.h+0.01 {
					rt.Fatalf("mark %q %s at %v leaves the sheet of %v x %v", m.s, m.pen.class, p, sc.w, sc.h)
				}
			}
			if m.s != "" {
				w := m.voice.face.width(m.s, m.voice.size)
				left := m.pts[0].x - []float64{0, w / 2, w}[m.anchor]
				if left < -0.01 || left+w > sc.w+0.01 {
					rt.Fatalf("text %q from %.1f to %.1f leaves the sheet of %v", m.s, left, left+w, sc.w)
				}
			}
		}
	})
}

// The colours are those of the pages' stylesheet.
func TestTokensMatchTheStylesheet(t *testing.T) {
	css, err := os.ReadFile(filepath.Join("..", "..", "web", "static", "app.css"))
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"ground": Ground, "ink": Ink, "faint": Faint, "rule": Rule, "accent": Accent, "warn": Warn} {
		m := regexp.MustCompile(`--` + name + `:\s*(#[0-9a-fA-F]{6})`).FindSubmatch(css)
		if m == nil || string(m[1]) != want {
			t.Errorf("--%s in the stylesheet is %s, here %s", name, m, want)
		}
	}
}

// Words keep a contrast of 4.5 : 1 to the ground (WCAG 2.1, 1.4.3; formula of relative
// luminance from the same).
func TestContrast(t *testing.T) {
	for _, c := range []string{Ink, Faint, Accent, Warn} {
		if got := (luminance(t, Ground) + 0.05) / (luminance(t, c) + 0.05); got < 4.5 {
			t.Errorf("contrast of %s on the ground is %.2f, want 4.5 or more", c, got)
		}
	}
}
