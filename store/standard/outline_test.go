package standard

import (
	"math"
	"testing"
)

// The drawing is to scale: every edge touches the inscribed circle and is as long as the
// table says, corner angles are EPSR, and the rounding touches both edges.
func TestOutline(t *testing.T) {
	for _, letter := range []byte("HOPSTCDEMVWF") {
		for _, s := range sizes[letter] {
			in, err := ParseInsert(string(rune(letter)) + "NMG" + s.code + "0404")
			if err != nil {
				t.Fatal(err)
			}
			v := in.Outline()
			if len(v) < 3 {
				t.Fatalf("%v has %d corners", in, len(v))
			}
			r := circles[s.circle].exact / 2
			cutting := 0
			for i, a := range v {
				b := v[(i+1)%len(v)]
				dx, dy := b.X-a.X, b.Y-a.Y
				length := math.Hypot(dx, dy)
				if d := (a.X*b.Y - a.Y*b.X) / length; math.Abs(d-r) > 1e-9 {
					t.Errorf("%v: edge %d is %.6f from the centre, want %.6f", in, i, d, r)
				}
				if math.Abs(length-in.L) > 0.0051 {
					t.Errorf("%v: edge %d is %.4f long, want %.2f", in, i, length, in.L)
				}
				before := v[(i+len(v)-1)%len(v)]
				turn := math.Atan2(before.Y-a.Y, before.X-a.X) - math.Atan2(dy, dx)
				if angle := math.Mod(turn*180/math.Pi+720, 360); math.Abs(angle-a.Angle) > 1e-6 {
					t.Errorf("%v: corner %d is %.4f degrees, want %g", in, i, angle, a.Angle)
				}
				// The leaving point lies on the edge towards the next corner, the arriving
				// one on the edge from the last.
				if off := math.Abs((a.OutX-a.X)*dy-(a.OutY-a.Y)*dx) / length; off > 1e-9 || (a.OutX-a.X)*dx+(a.OutY-a.Y)*dy < 0 {
					t.Errorf("%v: the arc of corner %d leaves %.6f beside the edge", in, i, off)
				}
				px, py := before.X-a.X, before.Y-a.Y
				if off := math.Abs((a.InX-a.X)*py-(a.InY-a.Y)*px) / math.Hypot(px, py); off > 1e-9 || (a.InX-a.X)*px+(a.InY-a.Y)*py < 0 {
					t.Errorf("%v: the arc of corner %d arrives %.6f beside the edge", in, i, off)
				}
				if in, out := math.Hypot(a.InX-a.X, a.InY-a.Y), math.Hypot(a.OutX-a.X, a.OutY-a.Y); math.Abs(in-out) > 1e-9 {
					t.Errorf("corner %d: tangents of %.6f and %.6f", i, in, out)
				}
				if a.Cutting {
					cutting++
					if a.Angle != in.EPSR() || a.Radius != in.RE {
						t.Errorf("%v: cutting corner of %g degrees and radius %g", in, a.Angle, a.Radius)
					}
				}
			}
			if cutting != in.Edges()/2 {
				t.Errorf("%v: %d cutting corners from above, %d edges in all", in, cutting, in.Edges())
			}
		}
	}
	for _, text := range []string{"RCMT1204M0", "KNUX160405", "LNMG160404"} {
		in, err := ParseInsert(text)
		if err != nil {
			t.Fatal(err)
		}
		if v := in.Outline(); v != nil {
			t.Errorf("%s has an outline: %v", text, v)
		}
	}
}
