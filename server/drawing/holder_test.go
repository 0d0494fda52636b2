package drawing

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func pclnr() HolderShape {
	return HolderShape{Name: "PCLNR 2525M12", H: 25, B: 25, LF: 150, Style: 'L', Form: "offset, side and end cutting", KAPR: 95, Hand: 'R', Offset: true, Insert: cnmg()}
}

func TestHolderGolden(t *testing.T) {
	square := InsertShape{Name: "SNMG 12 04 08", Shape: 'S', Angle: 90, IC: 12.7, Radius: 0.8, Thickness: 4.76}
	threeCorner := InsertShape{Name: "TNMG 16 04 08", Shape: 'T', Angle: 60, IC: 9.525, Radius: 0.8, Thickness: 4.76}
	for name, h := range map[string]HolderShape{
		"holder_l.svg": pclnr(),
		"holder_d.svg": {Name: "PSDNN 3225P12", H: 32, B: 25, LF: 170, Style: 'D', Form: "straight, neutral", KAPR: 45, Hand: 'N', Neutral: true, Insert: square},
		"holder_f.svg": {Name: "MTFNL 2020X16", H: 20, B: 20, Style: 'F', Form: "offset, end cutting", KAPR: 90, Hand: 'L', End: true, Offset: true, Insert: threeCorner},
	} {
		svg, err := HolderPlan(h)
		if err != nil {
			t.Fatal(err)
		}
		elements(t, svg)
		golden(t, name, svg)
	}
}

// What a designation says stands on the drawing, and what it does not say is not invented.
func TestHolderSays(t *testing.T) {
	h := pclnr()
	svg, err := HolderPlan(h)
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []string{"KAPR 95°", "PSIR -5°", "150 mm", "25 mm", "5° behind the edge", "not in the name"} {
		if !bytes.Contains(svg, []byte(w)) {
			t.Errorf("%s is not on the drawing", w)
		}
	}
	h.LF = 0
	if svg, err = HolderPlan(h); err != nil || !bytes.Contains(svg, []byte("length special: measure it")) || bytes.Contains(svg, []byte("150 mm")) {
		t.Errorf("a special length: %v", err)
	}
	h.Insert = InsertShape{Name: "SNMG", Shape: 'S', Angle: 90, IC: 12.7, Radius: 0.8, Thickness: 4.76}
	if _, err := HolderPlan(h); !errors.Is(err, ErrDrawing) || !strings.Contains(err.Error(), "rub") {
		t.Errorf("a square insert at KAPR 95: %v, want a refusal", err)
	}
}

// A shape's hull goes round all of its points.
func TestHull(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(3, 40).Draw(rt, "n")
		pts := make([]pt, n)
		for i := range pts {
			pts[i] = pt{rapid.Float64Range(-100, 100).Draw(rt, "x"), rapid.Float64Range(-100, 100).Draw(rt, "y")}
		}
		h := hull(pts)
		for _, p := range pts {
			for i := range h {
				a, b := h[i], h[(i+1)%len(h)]
				if c := (b.x-a.x)*(p.y-a.y) - (b.y-a.y)*(p.x-a.x); c < -1e-6 {
					rt.Fatalf("%v is outside %v", p, h)
				}
			}
		}
	})
}

func FuzzHolder(f *testing.F) {
	f.Add("PCLNR 2525M12", 25.0, 25.0, 150.0, 95.0, byte('R'), byte('C'), 80.0, 12.7, 0.8, 4.76, true, true)
	f.Add("", math.NaN(), -1.0, math.Inf(1), 0.0, byte(0), byte('K'), 0.0, 1e9, -1.0, 0.0, false, false)
	f.Fuzz(func(t *testing.T, name string, h, b, lf, kapr float64, hand, shape byte, angle, ic, r, s float64, end, offset bool) {
		svg, err := HolderPlan(HolderShape{Name: name, H: h, B: b, LF: lf, KAPR: kapr, Hand: hand, Style: 'L', Form: name, End: end, Offset: offset,
			Insert: InsertShape{Name: name, Shape: shape, Angle: angle, IC: ic, Radius: r, Thickness: s, Length: ic * 2}})
		if err != nil {
			if !errors.Is(err, ErrDrawing) || svg != nil {
				t.Errorf("%v with %d bytes", err, len(svg))
			}
			return
		}
		elements(t, svg)
	})
}
