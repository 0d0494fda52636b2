package drawing

import (
	"fmt"
	"math"
)

// An InsertShape is an indexable insert as its designation describes it (ISO 1832).
type InsertShape struct {
	Name      string  // designation, for the title
	Shape     byte    // letter of the shape: A B C D E H K L M O P R S T V W
	Angle     float64 // included angle of the cutting corner in degrees; ignored for R
	IC        float64 // inscribed circle, mm; of L, A, B and K the width
	Length    float64 // edge length, mm; needed for L, A, B and K, ignored for the others
	Radius    float64 // nose radius, mm, 0 or more; ignored for R
	Clearance float64 // clearance angle in degrees, 0 to 30
	Thickness float64 // mm
	Hole      float64 // diameter of the hole, mm; 0: none, or not known
}

// equal holds the shapes with equal sides and equal angles, by number of corners.
var equal = map[byte]int{'H': 6, 'O': 8, 'P': 5, 'S': 4, 'T': 3}

// corners returns the sharp corners about the centre, cutting corner first, pointing up and
// to the left, and the angle at each in radians.
func (in *InsertShape) corners() (pts []pt, angles []float64, err error) {
	a := in.Angle * math.Pi / 180
	ri := in.IC / 2
	polar := func(r, t float64) pt { return pt{r * math.Cos(t), r * math.Sin(t)} }
	const first = -math.Pi * 3 / 4
	switch n := equal[in.Shape]; {
	case n > 0:
		for i := range n {
			pts = append(pts, polar(ri/math.Cos(math.Pi/float64(n)), first+2*math.Pi*float64(i)/float64(n)))
			angles = append(angles, math.Pi*(1-2/float64(n)))
		}
	case in.Shape == 'R':
	case in.Shape == 'W':
		// six edges touch the circle: corners of 80 and 160 degrees in turn
		for i := range 6 {
			t, corner := first+math.Pi/3*float64(i), 80*math.Pi/180
			if i%2 == 1 {
				corner *= 2
			}
			pts, angles = append(pts, polar(ri/math.Sin(corner/2), t)), append(angles, corner)
		}
	case in.Shape == 'C', in.Shape == 'D', in.Shape == 'E', in.Shape == 'M', in.Shape == 'V':
		long, short := ri/math.Sin(a/2), ri/math.Cos(a/2)
		for i, r := range []float64{long, short, long, short} {
			pts = append(pts, polar(r, first+math.Pi/2*float64(i)))
			angles = append(angles, []float64{a, math.Pi - a}[i%2])
		}
	case in.Shape == 'L', in.Shape == 'A', in.Shape == 'B', in.Shape == 'K':
		if in.Length < in.IC {
			return nil, nil, refuse("insert %s: edge length %v mm; shape %c needs it, at least its width %v mm", clean(in.Name), in.Length, in.Shape, in.IC)
		}
		if in.Shape == 'L' {
			a = math.Pi / 2
		}
		// parallelogram: the long edges are in.Length, in.IC apart
		lean := in.IC / math.Tan(a)
		w, h := in.Length, in.IC
		for i, p := range []pt{{0, 0}, {w, 0}, {w + lean, h}, {lean, h}} {
			pts = append(pts, pt{p.x - (w+lean)/2, p.y - h/2})
			angles = append(angles, []float64{a, math.Pi - a}[i%2])
		}
	default:
		return nil, nil, refuse("insert %s: shape %q is no letter of ISO 1832; use one of A B C D E H K L M O P R S T V W", clean(in.Name), string(rune(in.Shape)))
	}
	return pts, angles, nil
}

// outline is the insert with its noses rounded, in mm about its centre.
func (in *InsertShape) outline() ([]pt, error) {
	pts, angles, err := in.corners()
	if err != nil {
		return nil, err
	}
	if in.Shape == 'R' {
		return arc(pt{}, in.IC/2, 0, 2*math.Pi, 96), nil
	}
	var out []pt
	for i, p := range pts {
		prev, next := pts[(i+len(pts)-1)%len(pts)], pts[(i+1)%len(pts)]
		t := in.Radius / math.Tan(angles[i]/2) // from the sharp corner to where the arc begins
		if half := math.Min(dist(p, prev), dist(p, next)) / 2; t > half {
			return nil, refuse("insert %s: a nose radius of %v mm does not fit a circle of %v mm", clean(in.Name), in.Radius, in.IC)
		}
		if in.Radius == 0 {
			out = append(out, p)
			continue
		}
		from, to := toward(p, prev, t), toward(p, next, t)
		mid := pt{(from.x + to.x) / 2, (from.y + to.y) / 2}
		centre := toward(p, mid, in.Radius/math.Sin(angles[i]/2))
		a0 := math.Atan2(from.y-centre.y, from.x-centre.x)
		turn := math.Remainder(math.Atan2(to.y-centre.y, to.x-centre.x)-a0, 2*math.Pi)
		out = append(out, arc(centre, in.Radius, a0, a0+turn, 12)...)
	}
	return out, nil
}

func dist(a, b pt) float64 { return math.Hypot(a.x-b.x, a.y-b.y) }

// toward goes d from a in the direction of b.
func toward(a, b pt, d float64) pt {
	l := dist(a, b)
	if l == 0 {
		return a
	}
	return pt{a.x + (b.x-a.x)/l*d, a.y + (b.y-a.y)/l*d}
}

func (in *InsertShape) check() error {
	name := clean(in.Name)
	for _, v := range []struct {
		what     string
		v        float64
		min, max float64
	}{
		{"inscribed circle", in.IC, 1, 100}, {"nose radius", in.Radius, 0, 50}, {"clearance", in.Clearance, 0, 30},
		{"thickness", in.Thickness, 0.5, 50}, {"hole", in.Hole, 0, 99}, {"edge length", in.Length, 0, 300},
	} {
		if !(v.v >= v.min && v.v <= v.max) {
			return refuse("insert %s: %s is %v; must be %v to %v", name, v.what, v.v, v.min, v.max)
		}
	}
	if in.Hole >= in.IC {
		return refuse("insert %s: a hole of %v mm in a circle of %v mm", name, in.Hole, in.IC)
	}
	if in.Shape != 'R' && equal[in.Shape] == 0 && in.Shape != 'L' && !(in.Angle >= 20 && in.Angle <= 90) {
		return refuse("insert %s: an included angle of %v degrees; shape %c has 20 to 90", name, in.Angle, in.Shape)
	}
	if back := 2 * in.Thickness * math.Tan(in.Clearance*math.Pi/180); back >= in.IC {
		return refuse("insert %s: at %v degrees clearance and %v mm thickness nothing of it is left at the bottom", name, in.Clearance, in.Thickness)
	}
	return nil
}

// InsertPlan draws an insert to scale as SVG: from above with included angle, inscribed circle,
// nose radius and hole, and from the side with thickness and clearance. Else an error of
// ErrDrawing that names the value.
func InsertPlan(in InsertShape) ([]byte, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	pts, err := in.outline()
	if err != nil {
		return nil, err
	}
	lo, hi := pts[0], pts[0]
	for _, p := range pts {
		lo, hi = pt{min(lo.x, p.x), min(lo.y, p.y)}, pt{max(hi.x, p.x), max(hi.y, p.y)}
	}
	sc := &scene{w: 640, h: 400, title: clean("Insert " + in.Name)}
	sc.desc = fmt.Sprintf("To scale: shape %c, inscribed circle %s, nose radius %s, thickness %s, clearance %s degrees",
		in.Shape, figure(in.IC, "", true), figure(in.Radius, "", true), figure(in.Thickness, "", true), trim(in.Clearance, 1))
	k := min(230/(hi.x-lo.x), 230/(hi.y-lo.y), 160/in.Thickness)
	c := pt{190, 190}
	at := func(p pt) pt { return pt{c.x + p.x*k, c.y + p.y*k} }
	top := make([]pt, len(pts))
	for i, p := range pts {
		top[i] = at(p)
	}
	sc.text(voiceTitle, start, pt{24, 28}, clean(in.Name))
	sc.line(penHatch, pt{24, 38}, pt{616, 38})
	sc.shape(penOutline, top...)
	ring := pen{"d-circle", Faint, 0.7, "", []float64{8, 3, 2, 3}}
	sc.circle(ring, c, in.IC/2*k)
	if in.Hole > 0 {
		sc.circle(penThin, c, in.Hole/2*k)
	}
	sc.line(penAxis, pt{c.x - in.IC/2*k - 14, c.y}, pt{c.x + in.IC/2*k + 14, c.y})
	sc.line(penAxis, pt{c.x, c.y - in.IC/2*k - 14}, pt{c.x, c.y + in.IC/2*k + 14})
	sc.dimension(c.x-in.IC/2*k, c.x+in.IC/2*k, 352, c.y, "⌀"+figure(in.IC, "", true))
	if in.Shape != 'R' {
		sharp, angles, _ := in.corners() // checked by outline
		tip, back := at(sharp[0]), at(pt{0, 0})
		if dist(tip, back) > 1 {
			in0 := toward(tip, back, -14)
			label := trim(angles[0]*180/math.Pi, 1) + "°"
			if in.Radius > 0 {
				label += " · radius " + trim(in.Radius, 2)
			}
			sc.text(voiceDim, start, pt{24, max(in0.y-6, 56)}, label)
			sc.circle(penEdge, toward(tip, back, math.Max(in.Radius/math.Sin(angles[0]/2)-in.Radius, 0)*k), 2.4)
		}
	}
	// from the side: the top is the wider face by the clearance
	x0, y0 := 430.0, c.y-in.Thickness*k/2
	wide := min((hi.x-lo.x)*k, 120)
	back := in.Thickness * k * math.Tan(in.Clearance*math.Pi/180)
	sc.line(penOutline, pt{x0 + wide, y0}, pt{x0, y0}, pt{x0 + back, y0 + in.Thickness*k}, pt{x0 + wide, y0 + in.Thickness*k})
	sc.line(penAxis, pt{x0, y0 - 8}, pt{x0, y0 + in.Thickness*k + 18})
	sc.upright(x0+wide+14, y0, y0+in.Thickness*k, x0+wide, trim(in.Thickness, 2)+" mm")
	sc.text(voiceDim, start, pt{x0 - 6, y0 + in.Thickness*k + 36}, trim(in.Clearance, 1)+"° clearance")
	sc.text(voiceFaint, start, pt{x0 - 6, y0 - 16}, "cutting edge seen from the side")
	return sc.svg(), nil
}
