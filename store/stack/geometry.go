package stack

// A Shape is one part of the side view, along the axis from the station's face: x grows
// towards the workpiece, in mm. A length or diameter that is not recorded is drawn at a usual
// size and marked Guessed; it is for the eye only and never for a decision.
type Shape struct {
	Kind     Kind
	X0, X1   float64
	Diameter float64
	Inside   float64 // of a sleeve or holder, 0 = solid
	Label    string  // id, or the missing kind
	Sizes    string  // of a missing part: every size it must have
	Missing  bool
	Guessed  bool
}

// Geometry is the side view of a stack as plain numbers.
type Geometry struct {
	Shapes   []Shape
	Face     float64 // x of the holder's face: overhang is measured from here
	Edge     float64 // x of the cutting edge
	GripFrom float64 // x where the bar's grip begins
	GripTo   float64 // x where it ends: Face, or the front of the adapters that stand out of it
	PartFace float64 // x of the workpiece's face when the edge is at full depth
	Bore     float64 // mm, hole before this tool
	Depth    float64 // mm
	Overhang float64 // mm
	Route    []string
}

// Geometry lays the stack out along the axis for a drawing. r gives the bore.
func (s *Stack) Geometry(r *Request) Geometry {
	g := Geometry{Bore: r.BoreStartD, Depth: r.Depth, Overhang: s.Overhang, Route: s.Route.Steps}
	d := s.D()
	if d <= 0 {
		d = r.BoreStartD * 0.7
	}
	x := 0.0
	var holder, sleeve, bar *Used
	var units, front []*Used
	for i := range s.Pieces {
		u := &s.Pieces[i]
		switch u.Role {
		case Holder:
			holder = u
		case Sleeve:
			sleeve = u
		case Bar:
			bar = u
		case Adapter:
			if bar != nil {
				front = append(front, u)
				continue
			}
			if u.Part.Interface() == "" {
				units = append(units, u)
				continue
			}
			l := u.Part.LF.Or(40)
			g.add(u, x, x+l, 3*d, 0, !u.Part.LF.Known)
			x += l
		case Head:
			front = append(front, u)
		}
	}
	grip := s.Grip.Or(goodGripD * d)
	clamped := bar == nil || bar.Part.CCMS() == ""
	if !clamped {
		grip = 0
	}
	if holder != nil {
		lsc := holder.Part.LSC()
		l := lsc.Or(max(grip, 2*d))
		g.add(holder, x, x+l, 2*max(holder.Part.DCONWS().Or(d), d), holder.Part.DCONWS().Or(d), true) // its outside is not recorded
		x += l
	}
	g.Face = x
	for _, u := range units {
		l := u.Part.LF.Or(25)
		tail := 0.0 // its shank in the holder
		if u.Part.OAL.Known && u.Part.DCONMS().Known {
			tail = max(u.Part.OAL.V-l, 0)
		}
		out := max(u.Part.DCONMS().Or(0), 1.4*u.Part.DCONWS().Or(d))
		g.add(u, x-tail, x+l, out, u.Part.DCONWS().Or(0), true) // its outside is not recorded
		x += l
	}
	g.GripFrom, g.GripTo = x-grip, x
	if sleeve != nil {
		l := sleeve.Part.LSC()
		g.add(sleeve, x-l.Or(grip), x, sleeve.Part.DCONMS().Or(1.4*d), sleeve.Part.DCONWS().Or(d), !l.Known)
	}
	g.Edge = g.Face + s.Overhang
	lf := 0.0
	for _, u := range front {
		lf += frontLength(u)
	}
	if bar != nil {
		oal := bar.Part.OAL
		end := g.Edge - lf
		from := end - oal.Or(end-x+grip)
		if !clamped {
			from = x // its coupling sits on the face that holds it
		}
		// A head longer than the overhang leaves nothing of the bar before the face.
		g.add(bar, min(from, end), end, d, bar.Part.Hollow.Or(0), !oal.Known)
		x = end
	}
	for _, u := range front {
		l := frontLength(u)
		g.add(u, x, x+l, min(d*1.02, r.BoreStartD), 0, !u.Part.LF.Known)
		x += l
	}
	for i := range s.Pieces {
		if u := &s.Pieces[i]; u.Role == Insert {
			g.add(u, g.Edge-d/5, g.Edge, d/3, 0, true)
		}
	}
	g.PartFace = g.Edge - r.Depth
	return g
}

// frontLength returns the length of a head or adapter, a usual one when it is not recorded.
func frontLength(u *Used) float64 {
	if u.Need != nil {
		for _, n := range u.Need.Needs {
			if l, ok := n.Value.(float64); ok && n.Name == "LF_min" {
				return l
			}
		}
	}
	return u.Part.LF.Or(25)
}

func (g *Geometry) add(u *Used, x0, x1, dia, inside float64, guessed bool) {
	sh := Shape{Kind: u.Role, X0: round(x0, 6), X1: round(x1, 6), Diameter: dia, Inside: inside, Label: u.ID(), Missing: u.Missing, Guessed: guessed}
	if u.Missing {
		if sh.Label == "" {
			sh.Label = "missing " + string(u.Role)
		}
		if u.Need != nil {
			sh.Sizes = u.Need.Text()
		}
	}
	g.Shapes = append(g.Shapes, sh)
}
