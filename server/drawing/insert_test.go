package drawing

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func cnmg() InsertShape {
	return InsertShape{Name: "CNMG 12 04 08", Shape: 'C', Angle: 80, IC: 12.7, Radius: 0.8, Thickness: 4.76, Hole: 5.16}
}

func dcmt() InsertShape {
	return InsertShape{Name: "DCMT 11 T3 08", Shape: 'D', Angle: 55, IC: 9.525, Radius: 0.8, Clearance: 7, Thickness: 3.97, Hole: 4.4}
}

func TestInsertGolden(t *testing.T) {
	trigon := InsertShape{Name: "WNMG 08 04 08", Shape: 'W', Angle: 80, IC: 12.7, Radius: 0.8, Thickness: 4.76, Hole: 5.16}
	for name, in := range map[string]InsertShape{"insert_c.svg": cnmg(), "insert_d.svg": dcmt(), "insert_w.svg": trigon} {
		svg, err := InsertPlan(in)
		if err != nil {
			t.Fatal(err)
		}
		elements(t, svg)
		golden(t, name, svg)
	}
	for name, b := range map[string]BarHead{
		"bar_95.svg":  {Name: "S32U-PCLNR 12", D: 32, KAPR: 95, Insert: cnmg()},
		"bar_93l.svg": {Name: "A25T-SDUCL 11", D: 25, KAPR: 93, Left: true, Insert: dcmt()},
	} {
		svg, err := BarPlan(b)
		if err != nil {
			t.Fatal(err)
		}
		elements(t, svg)
		golden(t, name, svg)
	}
}

// Edge length of the sharp shape against its circle: l = d / sin(angle) for the rhombs
// (ISO 1832, and the table of shapes of the standards room): 12.9 for CN..12, 11.6 for DC..11.
func TestInsertEdgeLength(t *testing.T) {
	for _, tt := range []struct {
		in   InsertShape
		edge float64
	}{{cnmg(), 12.896}, {dcmt(), 11.628}, {InsertShape{Shape: 'T', IC: 9.525}, 16.498}, {InsertShape{Shape: 'S', IC: 12.7}, 12.7}} {
		pts, _, err := tt.in.corners()
		if err != nil {
			t.Fatal(err)
		}
		if got := dist(pts[0], pts[1]); math.Abs(got-tt.edge) > 0.001 {
			t.Errorf("%s %c: edge %.3f mm, want %.3f", tt.in.Name, tt.in.Shape, got, tt.edge)
		}
	}
}

// Every edge of every shape with one circle touches that circle, and its angles add up to
// those of a polygon.
func TestInsertTouchesItsCircle(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := InsertShape{Shape: rapid.SampledFrom([]byte("CDEHMOPSTVW")).Draw(rt, "shape"),
			Angle: rapid.Float64Range(30, 90).Draw(rt, "angle"), IC: rapid.Float64Range(3, 40).Draw(rt, "ic")}
		pts, angles, err := in.corners()
		if err != nil {
			rt.Fatal(err)
		}
		sum := 0.0
		for i, p := range pts {
			q := pts[(i+1)%len(pts)]
			sum += angles[i]
			if d := math.Abs(p.x*q.y-p.y*q.x) / dist(p, q); math.Abs(d-in.IC/2) > 1e-9 {
				rt.Fatalf("shape %c: edge %d is %.4f mm from the centre, want %.4f", in.Shape, i, d, in.IC/2)
			}
		}
		if want := math.Pi * float64(len(pts)-2); math.Abs(sum-want) > 1e-9 {
			rt.Fatalf("shape %c: angles add up to %v, want %v", in.Shape, sum, want)
		}
	})
}

func FuzzInsert(f *testing.F) {
	f.Add("CNMG", byte('C'), 80.0, 12.7, 0.8, 7.0, 4.76, 5.0, 12.0)
	f.Add("", byte('K'), 0.0, math.Inf(1), -1.0, 90.0, math.NaN(), 1e9, 0.0)
	f.Fuzz(func(t *testing.T, name string, shape byte, angle, ic, r, clear, s, hole, l float64) {
		in := InsertShape{name, shape, angle, ic, l, r, clear, s, hole}
		svg, err := InsertPlan(in)
		if err != nil {
			if !errors.Is(err, ErrDrawing) || svg != nil {
				t.Errorf("%v with %d bytes", err, len(svg))
			}
			return
		}
		elements(t, svg)
		if svg, err := BarPlan(BarHead{Name: name, D: 32, KAPR: 75, Insert: in}); err == nil {
			elements(t, svg)
		} else if !errors.Is(err, ErrDrawing) {
			t.Error(err)
		}
	})
}

// A corner of 80 degrees at KAPR 95 leaves 5 degrees behind the edge, the reason why that pair
// is made; a square one would rub and is refused.
func TestBarPlanClearance(t *testing.T) {
	svg, err := BarPlan(BarHead{Name: "S32U-PCLNR 12", D: 32, KAPR: 95, Insert: cnmg()})
	if err != nil || !bytes.Contains(svg, []byte("5° behind the edge")) {
		t.Errorf("KAPR 95 with 80 degrees: %v; want 5 degrees behind the edge", err)
	}
	square := InsertShape{Name: "SNMG", Shape: 'S', Angle: 90, IC: 12.7, Radius: 0.8, Thickness: 4.76}
	if _, err := BarPlan(BarHead{D: 32, KAPR: 95, Insert: square}); !errors.Is(err, ErrDrawing) || !strings.Contains(err.Error(), "rub") {
		t.Errorf("a square corner at KAPR 95: %v, want a refusal", err)
	}
}
