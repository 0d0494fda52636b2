package standard

import "math"

// A Vertex is a corner of an insert seen from above, in mm, the centre of the inscribed
// circle at the origin, y upwards. The corner is rounded by an arc of Radius from In to
// Out (counter-clockwise); where Radius is 0 all three points are one.
type Vertex struct {
	X, Y       float64 // the sharp corner
	Angle      float64 // inside angle, degrees
	InX, InY   float64 // where the edge before the corner ends
	OutX, OutY float64 // where the edge after the corner begins
	Radius     float64 // mm
	Cutting    bool    // a cutting corner: of angle EPSR (the blunt ones of a trigon are not)
}

// Outline returns the true outline of the insert from above, counter-clockwise, the first
// corner on the positive x axis. Every edge touches the inscribed circle. nil for a round
// insert (draw IC) and where the name does not give the circle or more than one side
// length (parallelograms, rectangles).
//
// Corners of rhombic shapes other than the cutting ones are drawn with the same radius,
// which is common practice, no source; the blunt corners of a trigon stay sharp.
func (in Insert) Outline() []Vertex {
	s := in.shape()
	if s == nil || s.edge == nil || in.Shape == 'R' || in.IC <= 0 {
		return nil
	}
	var angles []float64
	switch {
	case in.Shape == 'W':
		for range 3 {
			angles = append(angles, s.angle, 160)
		}
	case s.corners == 2:
		angles = []float64{s.angle, 180 - s.angle, s.angle, 180 - s.angle}
	default:
		for range s.corners {
			angles = append(angles, s.angle)
		}
	}
	r := in.IC / 2
	if z := sizeByCodeText(in.Shape, in.Size); z != nil && z.circle >= 0 {
		r = circles[z.circle].exact / 2
	}
	out := make([]Vertex, len(angles))
	direction := 0.0
	for i, a := range angles {
		half := a / 2 * math.Pi / 180
		d := r / math.Sin(half)
		v := Vertex{X: d * math.Cos(direction), Y: d * math.Sin(direction), Angle: a, Cutting: a == s.angle}
		if a < 150 {
			v.Radius = in.RE
		}
		// The edges leave the corner at half its angle to either side of the way back to
		// the centre.
		back := v.Radius / math.Tan(half)
		v.InX, v.InY = v.X-back*math.Cos(direction+half), v.Y-back*math.Sin(direction+half)
		v.OutX, v.OutY = v.X-back*math.Cos(direction-half), v.Y-back*math.Sin(direction-half)
		out[i] = v
		next := angles[(i+1)%len(angles)]
		direction += math.Pi - half - next/2*math.Pi/180
	}
	return out
}
