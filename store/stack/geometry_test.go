package stack

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// shape returns the shape of that kind and label, failing when there is none.
func (g *Geometry) shape(t *testing.T, k Kind, label string) Shape {
	t.Helper()
	for _, s := range g.Shapes {
		if s.Kind == k && s.Label == label {
			return s
		}
	}
	t.Fatalf("no %s %s in %+v", k, label, g.Shapes)
	return Shape{}
}

func span(t *testing.T, what string, s Shape, x0, x1 float64) {
	t.Helper()
	if math.Abs(s.X0-x0) > 1e-6 || math.Abs(s.X1-x1) > 1e-6 {
		t.Errorf("%s from %v to %v, want %v to %v", what, s.X0, s.X1, x0, x1)
	}
}

// TestGeometry works the coordinates out by hand, for each way a bar is held.
func TestGeometry(t *testing.T) {
	const turret = `{"kind":"adapter","id":"TUR","interface":"VDI50","LF":60,"WT":3,"coolant":true,"joints":[{"side":"workpiece","family":"turret-seat","code":"VDI40"}]}`
	sleeve := `{"kind":"sleeve","id":"SLV","DCONMS":32,"DCONWS":25,"LSC":90,"index":"scribe","WT":0.4}`
	longBar := with(t, shortBar, `{"OAL":220}`)
	r := request40() // 110 deep, 20 clear
	for _, tt := range []struct {
		what  string
		parts []string
		face  float64 // x of the holder's face
		out   float64
		spans map[Kind][2]float64
		grip  [2]float64
	}{
		// Holder 0 to 130, its LSC. Edge at 130 + 130. Head 30 long. Bar 220 long, up to the head.
		{"in a sleeve", []string{roundHolder, sleeve, longBar, shortHead}, 130, 130,
			map[Kind][2]float64{Holder: {0, 130}, Sleeve: {40, 130}, Bar: {10, 230}, Head: {230, 260}}, [2]float64{40, 130}},
		{"in the holder", []string{with(t, roundHolder, `{"DCONWS":25,"LSC":100}`), longBar, shortHead}, 100, 130,
			map[Kind][2]float64{Holder: {0, 100}, Bar: {-20, 200}, Head: {200, 230}}, [2]float64{0, 100}},
		// The extension: shank 128 in the holder, 40 before it; the bar starts from its face.
		{"in an extension", []string{roundHolder, extension, shortBar, shortHead}, 130, 130,
			map[Kind][2]float64{Holder: {0, 130}, Adapter: {2, 170}, Bar: {70, 230}, Head: {230, 260}}, [2]float64{70, 170}},
		// Held by its coupling: from the face, 120 + 30. Nothing is gripped.
		{"by its coupling", []string{coupledHolder, coupledBar, shortHead}, 64, 150,
			map[Kind][2]float64{Holder: {0, 64}, Bar: {64, 184}, Head: {184, 214}}, [2]float64{64, 64}},
		// A turret adapter brings all of it 60 mm out.
		{"on a turret adapter", []string{turret, with(t, roundHolder, `{"interface":"VDI40","DCONWS":25,"LSC":100}`), longBar, shortHead}, 160, 130,
			map[Kind][2]float64{Adapter: {0, 60}, Holder: {60, 160}, Bar: {40, 260}, Head: {260, 290}}, [2]float64{60, 160}},
	} {
		v := checked(t, shop(t, append(tt.parts, someInserts)...), r)
		if !v.Buildable {
			t.Errorf("%s: %s", tt.what, v.Sentence())
			continue
		}
		st := &v.Stacks[0]
		g := st.Geometry(&r)
		if g.Face != tt.face || g.Overhang != tt.out || g.Edge != tt.face+tt.out || g.PartFace != g.Edge-110 || g.Bore != 40 || g.Depth != 110 {
			t.Errorf("%s: face %v, overhang %v, edge %v, part face %v; want %v, %v, %v, %v", tt.what, g.Face, g.Overhang, g.Edge, g.PartFace,
				tt.face, tt.out, tt.face+tt.out, tt.face+tt.out-110)
		}
		if g.GripFrom != tt.grip[0] || g.GripTo != tt.grip[1] {
			t.Errorf("%s: grip from %v to %v, want %v", tt.what, g.GripFrom, g.GripTo, tt.grip)
		}
		for k, want := range tt.spans {
			u, _ := st.Find(k)
			span(t, tt.what+": "+string(k), g.shape(t, k, u.ID()), want[0], want[1])
		}
		bar, _ := st.Find(Bar)
		if b := g.shape(t, Bar, bar.ID()); b.Diameter != st.D() || b.Guessed || b.Missing {
			t.Errorf("%s: the bar %+v, want %v mm thick as recorded", tt.what, b, st.D())
		}
	}
}

// A missing part stands in the drawing with its sizes, and what nobody recorded is marked.
func TestGeometryOfMissing(t *testing.T) {
	r := request40()
	v := checked(t, shop(t, roundHolder, with(t, shortBar, `{"OAL":220}`), shortHead, someInserts), r)
	if v.Nearest == nil {
		t.Fatal(v.Sentence())
	}
	g := v.Nearest.Geometry(&r)
	s := g.shape(t, Sleeve, "missing sleeve")
	if !s.Missing || s.Diameter != 32 || s.Inside != 25 || !strings.Contains(s.Sizes, "outside 32 mm, inside 25 mm") {
		t.Errorf("the missing sleeve is %+v", s)
	}
	if !s.Guessed || s.X1 != g.Face || s.X0 >= s.X1 {
		t.Errorf("its length is not recorded: %+v must be marked, and end at the face %v", s, g.Face)
	}
	// A missing head before a coupled bar is as long as it must be.
	v = checked(t, shop(t, coupledHolder, coupledBar, someInserts), r)
	g = v.Nearest.Geometry(&r)
	h := g.shape(t, Head, "missing head")
	if h.X1-h.X0 != 10 || h.X1 != g.Edge || g.Edge-g.Face != 130 {
		t.Errorf("the missing head %+v; want the 10 mm that are lacking, up to the edge %v", h, g.Edge)
	}
}

// On random shelves: shapes have a length, the edge is where overhang ends, the head ends at
// the edge, and the bar starts no later than it leaves what holds it.
func TestGeometryHolds(t *testing.T) {
	seen := 0
	for i := range 400 {
		m := &maker{Rand: rand.New(rand.NewPCG(12, uint64(i)))}
		r, items := m.linkShelf()
		v := checked(t, shelfOf(t, items), r)
		all := v.Stacks
		for _, o := range v.Options {
			all = append(all, *o.Stack)
		}
		for j := range all {
			seen++
			st := &all[j]
			g := st.Geometry(&r)
			if math.Abs(g.Edge-g.Face-st.Overhang) > 1e-6 || math.Abs(g.Edge-g.PartFace-r.Depth) > 1e-6 || g.GripFrom > g.GripTo || g.GripTo < g.Face {
				t.Fatalf("trial %d: face %v, grip %v to %v, edge %v, part %v, overhang %v\n%s", i, g.Face, g.GripFrom, g.GripTo, g.Edge, g.PartFace, st.Overhang, dump(r, items))
			}
			for _, s := range g.Shapes {
				if !(s.X0 <= s.X1) || math.IsNaN(s.X0) || math.Abs(s.X1) > 1e5 || !(s.Diameter >= 0) {
					t.Fatalf("trial %d: %+v\n%s", i, s, dump(r, items))
				}
				if s.Kind == Head && math.Abs(s.X1-g.Edge) > 1e-6 {
					t.Fatalf("trial %d: the head ends at %v, the edge is at %v\n%s", i, s.X1, g.Edge, dump(r, items))
				}
				if s.Kind == Bar && s.X0 > g.GripTo+1e-6 {
					t.Fatalf("trial %d: the bar starts at %v, held up to %v\n%s", i, s.X0, g.GripTo, dump(r, items))
				}
			}
		}
	}
	if seen < 500 {
		t.Errorf("%d stacks drawn", seen)
	}
}
