package drawing

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Kind is what a part of a stack is; it decides its shape.
type Kind string

// The kinds of part that have a shape of their own. Any other kind, such as an extension or
// a reducer, is drawn as a turned body.
const (
	Holder Kind = "holder"
	Sleeve Kind = "sleeve"
	Bar    Kind = "bar"
	Head   Kind = "head"
	Insert Kind = "insert"
)

// A Part is one part of the stack seen from the side. X runs in mm along the spindle axis
// from the station's face (0) towards the workpiece.
type Part struct {
	Kind    Kind
	Label   string   // id or designation
	Sizes   []string // lines below the label: "40 mm shank", or every mating size of a missing part
	X0, X1  float64  // where it begins and ends, mm; X0 <= X1
	D       float64  // outside diameter, mm; of an insert its inscribed circle; > 0
	Missing bool     // nobody has it: dashed and named with its sizes
}

// A Span is a length that is dimensioned: from, to in mm on the same axis. An empty span is
// not drawn. Note is set beside the figure: "7.0 x D".
type Span struct {
	From, To float64
	Note     string
}

func (s Span) drawn() bool { return s.To > s.From }

// A Bore is the hole in the workpiece with the tool at full depth. A zero D is not drawn.
type Bore struct {
	Face    float64 // where the workpiece begins, mm on the axis
	Depth   float64 // mm from the face
	D       float64 // diameter as bored, mm
	Before  float64 // diameter before, mm; 0 where not known
	Through bool    // no bottom
}

// A Joint of the coolant line, from the machine's outlet to the tool.
type Joint struct {
	Label   string // "G 1/4 male"
	Missing bool
}

// A Side is a stack seen from the side, to scale, with the tool at full depth.
type Side struct {
	Title   string // names the picture: "Stack 1 for job J-2101"
	Station string // where it goes: "Lathe 2, station 7, VDI 50"
	Parts   []Part // from the machine outwards
	Bore    Bore

	Overhang  Span // holder's face to cutting edge
	Grip      Span // bar held in holder or sleeve
	Clearance Span // holder's face to workpiece

	// Coolant joints from machine to tool; none where the job is dry. It is a scheme: its
	// lengths mean nothing. Inside is where the coolant enters the tool, mm on the axis.
	Coolant []Joint
	Inside  float64

	// Inch adds inches to every dimension.
	Inch bool
}

const (
	stackWidth = 960.0 // units of the drawing
	stackEdge  = 26.0
	stackTall  = 280.0 // most height for the parts themselves
)

// Stack draws the side view as SVG, 960 units wide and as high as it needs. What is missing
// is dashed and carries its sizes in words, so that colour is never the only sign.
//
// Lengths must be finite, at most 20 m, X0 <= X1, diameters above 0, at least one part, at
// most 12 parts and 12 joints; else an error of ErrDrawing that names the part and the value.
func Stack(s Side) ([]byte, error) {
	sc, err := stackScene(s)
	if err != nil {
		return nil, err
	}
	return sc.svg(), nil
}

func (s *Side) check() error {
	if len(s.Parts) == 0 || len(s.Parts) > 12 {
		return refuse("%d parts; a stack that can be drawn has 1 to 12", len(s.Parts))
	}
	if len(s.Coolant) > 12 {
		return refuse("%d joints of the coolant line; at most 12 can be drawn", len(s.Coolant))
	}
	for _, p := range s.Parts {
		name := strings.TrimSpace(string(p.Kind) + " " + clean(p.Label))
		for _, v := range []float64{p.X0, p.X1, p.D} {
			if err := finite(name, v); err != nil {
				return err
			}
		}
		if p.X1 < p.X0 {
			return refuse("%s ends at %v mm, before it begins at %v mm", name, p.X1, p.X0)
		}
		if p.D <= 0 {
			return refuse("%s has a diameter of %v mm; must be above 0", name, p.D)
		}
	}
	for name, v := range map[string]float64{
		"overhang": s.Overhang.From + s.Overhang.To, "grip": s.Grip.From + s.Grip.To,
		"clearance": s.Clearance.From + s.Clearance.To, "bore": s.Bore.Face + s.Bore.Depth + s.Bore.D + s.Bore.Before,
		"coolant entry": s.Inside,
	} {
		if err := finite(name, v); err != nil {
			return err
		}
	}
	if s.Bore.D < 0 || s.Bore.Depth < 0 || s.Bore.Before < 0 {
		return refuse("the bore is %v x %v mm, before it %v mm; none may be below 0", s.Bore.D, s.Bore.Depth, s.Bore.Before)
	}
	return nil
}

// view turns mm on the axis into units of the drawing.
type view struct {
	k, x0, cy float64
}

func (v view) x(mm float64) float64 { return v.x0 + mm*v.k }

func stackScene(s Side) (*scene, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	lo, hi, tall := math.Inf(1), math.Inf(-1), 0.0
	reach := func(a, b, d float64) { lo, hi, tall = min(lo, a), max(hi, b), max(tall, d) }
	for _, p := range s.Parts {
		reach(p.X0, p.X1, p.D)
		if p.Kind == Insert { // hangs from its edge, back and down
			reach(p.X1-1.2*p.D, p.X1, 2.2*p.D)
		}
	}
	reach(0, 0, 0)
	wall := 0.0 // mm of workpiece shown around the bore
	if s.Bore.D > 0 && s.Bore.Depth > 0 {
		wall = max(s.Bore.D*0.22, 8)
		reach(s.Bore.Face, s.Bore.Face+s.Bore.Depth+wall*0.8, max(s.Bore.D, s.Bore.Before)+2*wall)
	}
	for _, sp := range []Span{s.Overhang, s.Grip, s.Clearance} {
		if sp.drawn() {
			reach(sp.From, sp.To, 0)
		}
	}
	if hi-lo < 1 {
		return nil, refuse("the stack is %v mm long; there is nothing to draw", hi-lo)
	}
	right := stackEdge
	if wall > 0 {
		right += 74 // for the diameter
	}
	const stationWide = 30
	v := view{k: min((stackWidth-stackEdge-stationWide-right)/(hi-lo), stackTall/tall)}
	left := stackEdge + stationWide + (stackWidth-stackEdge-stationWide-right-(hi-lo)*v.k)/2
	v.x0 = left - lo*v.k

	sc := &scene{w: stackWidth, title: clean(s.Title), desc: s.describe()}
	if sc.title == "" {
		sc.title = "Boring stack from the side"
	}
	tops := s.captions(sc, v)
	v.cy = tops + tall*v.k/2
	s.bodies(sc, v, wall, stationWide, tall)
	bottom := s.dimensions(sc, v, v.cy+tall*v.k/2, tall)
	sc.h = s.coolant(sc, v, bottom) + 16
	return sc, nil
}

// describe is the picture in words, for those who hear it.
func (s *Side) describe() string {
	var b strings.Builder
	b.WriteString("Side view to scale, tool at full depth, from the station outwards: ")
	for i, p := range s.Parts {
		if i > 0 {
			b.WriteString("; ")
		}
		if p.Missing {
			b.WriteString("MISSING ")
		}
		b.WriteString(string(p.Kind) + " " + p.Label)
		if len(p.Sizes) > 0 {
			b.WriteString(" (" + strings.Join(p.Sizes, ", ") + ")")
		}
	}
	for _, sp := range []struct {
		name string
		Span
	}{{"overhang", s.Overhang}, {"grip", s.Grip}, {"clearance", s.Clearance}} {
		if sp.drawn() {
			fmt.Fprintf(&b, ". %s %s", sp.name, figure(sp.To-sp.From, sp.Note, s.Inch))
		}
	}
	if s.Bore.D > 0 {
		fmt.Fprintf(&b, ". bore %s diameter, %s deep", figure(s.Bore.D, "", s.Inch), figure(s.Bore.Depth, "", s.Inch))
	}
	for i, j := range s.Coolant {
		b.WriteString([]string{". coolant line (a scheme, not to scale): ", ", "}[min(i, 1)])
		if j.Missing {
			b.WriteString("MISSING ")
		}
		b.WriteString(j.Label)
	}
	return clean(b.String())
}

// figure writes a length: "280 mm", "280 mm (11.024 in) · 7.0 x D".
func figure(mm float64, note string, inch bool) string {
	s := trim(mm, 2) + " mm"
	if inch {
		s += " (" + trim(mm/25.4, 3) + " in)"
	}
	if note = clean(note); note != "" {
		s += " · " + note
	}
	return s
}

func trim(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// captions sets the names of the parts in columns across the top, in the order of the parts,
// and leads a line from each down to its part. It returns the height where the parts begin.
func (s *Side) captions(sc *scene, v view) float64 {
	sc.text(voiceTitle, start, pt{stackEdge, 24}, clean(s.Title))
	if s.Station != "" {
		sc.text(voiceFaint, end, pt{stackWidth - stackEdge, 24}, clean(s.Station))
	}
	sc.line(penHatch, pt{stackEdge, 34}, pt{stackWidth - stackEdge, 34})

	const gap = 16
	n := float64(len(s.Parts))
	room := (stackWidth - 2*stackEdge - gap*(n-1)) / n
	type caption struct {
		lines []mark
		w, h  float64
		want  float64
	}
	caps := make([]caption, len(s.Parts))
	tallest := 0.0
	for i, p := range s.Parts {
		c := &caps[i]
		c.want = s.named(v, p).x
		add := func(vo voice, t string) {
			for _, l := range vo.face.wrap(clean(t), vo.size, room) {
				c.w = max(c.w, vo.face.width(l, vo.size))
				c.h += vo.size * 1.25
				c.lines = append(c.lines, mark{s: l, voice: vo, pts: []pt{{0, c.h - vo.size*0.25}}})
			}
		}
		kind, name, size := voiceFaint, voiceName, voiceText
		if p.Missing {
			kind, name, size = voiceWarn, voiceWarn, voiceLack
			add(kind, "MISSING "+string(p.Kind))
		} else {
			add(kind, string(p.Kind))
		}
		add(name, p.Label)
		for _, z := range p.Sizes {
			add(size, z)
		}
		tallest = max(tallest, c.h)
	}
	// Each column stands under its part as far as its neighbours allow: push right from the
	// left, then back from the right edge.
	xs := make([]float64, len(caps))
	at := stackEdge
	for i := range caps {
		xs[i] = max(at, caps[i].want-caps[i].w/2)
		at = xs[i] + caps[i].w + gap
	}
	limit := stackWidth - stackEdge
	for i := len(caps) - 1; i >= 0; i-- {
		xs[i] = min(xs[i], limit-caps[i].w)
		limit = xs[i] - gap
	}
	top := 44.0
	base := top + tallest + 8
	parts := base + 34
	for i, c := range caps {
		for _, l := range c.lines {
			sc.text(l.voice, start, pt{xs[i], top + l.pts[0].y}, l.s)
		}
		p := penDim
		if s.Parts[i].Missing {
			p = penLeadOut
		}
		// the lead stands below its column, bends once, and ends in the part; bodies are
		// drawn over it, the end dot after them (see bodies)
		sc.line(p, pt{xs[i], top + c.h + 5}, pt{xs[i] + c.w, top + c.h + 5})
		mid := min(max(c.want, xs[i]+4), xs[i]+c.w-4)
		sc.line(p, pt{mid, top + c.h + 5}, pt{mid, base}, pt{c.want, parts - 8})
	}
	return parts
}

// bodies draws workpiece, station and parts around the axis.
func (s *Side) bodies(sc *scene, v view, wall, stationWide, tall float64) {
	cy := v.cy
	// workpiece in section, with the bore as it will be
	if wall > 0 {
		b := s.Bore
		x0, x1 := v.x(b.Face), v.x(b.Face+b.Depth)
		r, out := b.D/2*v.k, (max(b.D, b.Before)/2+wall)*v.k
		xe := x1 + wall*0.8*v.k
		if b.Through {
			xe = x1
		}
		sc.hatch(x0, cy-out, xe-x0, out-r)
		sc.hatch(x0, cy+r, xe-x0, out-r)
		if !b.Through {
			sc.hatch(x1, cy-r, xe-x1, 2*r)
			sc.line(penWall, pt{x0, cy - r}, pt{x1, cy - r}, pt{x1, cy + r}, pt{x0, cy + r})
		} else {
			sc.line(penWall, pt{x0, cy - r}, pt{x1, cy - r})
			sc.line(penWall, pt{x0, cy + r}, pt{x1, cy + r})
		}
		if b.Before > 0 && b.Before < b.D {
			q := b.Before / 2 * v.k
			sc.line(penFlowGrey, pt{x0, cy - q}, pt{x1, cy - q})
			sc.line(penFlowGrey, pt{x0, cy + q}, pt{x1, cy + q})
		}
		sc.line(penWall, pt{x0, cy - out}, pt{x0, cy - r})
		sc.line(penWall, pt{x0, cy + r}, pt{x0, cy + out})
		sc.line(penThin, pt{x0, cy - out}, pt{xe, cy - out})
		sc.line(penThin, pt{x0, cy + out}, pt{xe, cy + out})
		sc.upright(xe+16, cy-r, cy+r, x1, "⌀"+trim(b.D, 2))
	}
	// the station: a face with section lines behind it
	half := max(tall*v.k*0.42, 30)
	x := v.x(0)
	sc.hatch(x-stationWide+6, cy-half, stationWide-6, 2*half)
	sc.line(penWall, pt{x, cy - half}, pt{x, cy + half})

	// outer parts first, so that what is held inside lies in front with its hidden part thin
	for _, p := range s.Parts {
		s.body(sc, v, p)
	}
	lo, hi := v.x(s.Parts[0].X0), v.x(s.Parts[0].X1)
	for _, p := range s.Parts {
		lo, hi = min(lo, v.x(p.X0)), max(hi, v.x(p.X1))
	}
	sc.line(penAxis, pt{lo - 14, cy}, pt{hi + 22, cy})
	for _, p := range s.Parts {
		dot := penSolid
		if p.Missing {
			dot.class, dot.fill = "d-missing-dot", Warn
		}
		at := s.named(v, p)
		sc.line(leadPen(p), pt{at.x, cy - tall*v.k/2 - 8}, at)
		sc.circle(dot, at, 2)
	}
}

// named is the point of a part where its caption's lead ends: on its visible skin, clear of
// the axis.
func (s *Side) named(v view, p Part) pt {
	if p.Kind == Insert {
		tip := s.tip(v, p)
		return pt{tip.x - p.D*v.k*0.55, tip.y + p.D*v.k*0.45}
	}
	return pt{v.x((p.X0 + p.X1) / 2), v.cy - p.D/2*v.k*0.6}
}

// tip is the cutting edge: at the end of the insert, on the wall of the bore.
func (s *Side) tip(v view, p Part) pt {
	if s.Bore.D > 0 {
		return pt{v.x(p.X1), v.cy - s.Bore.D/2*v.k}
	}
	return pt{v.x(p.X1), v.cy - p.D/2*v.k}
}

// penFlowGrey draws the hole as it was before boring.
var penFlowGrey = pen{"d-before", Faint, 0.7, "", []float64{5, 3}}

func leadPen(p Part) pen {
	if p.Missing {
		return penLeadOut
	}
	return penDim
}

// body draws one part: a turned body with small chamfers, the holder with its collar, the
// insert as a rhomb at the edge.
func (s *Side) body(sc *scene, v view, p Part) {
	x0, x1, r, cy := v.x(p.X0), v.x(p.X1), p.D/2*v.k, v.cy
	pn := penOutline
	if p.Missing {
		pn = penMissing
	}
	c := min(3.5, r*0.18, (x1-x0)/4) // chamfer
	switch p.Kind {
	case Insert:
		s.insert(sc, v, p)
	case Holder:
		neck := x0 + (x1-x0)*0.22
		sc.shape(pn, pt{x0, cy - r}, pt{neck, cy - r}, pt{neck, cy - r*0.86}, pt{x1 - c, cy - r*0.86}, pt{x1, cy - r*0.86 + c},
			pt{x1, cy + r*0.86 - c}, pt{x1 - c, cy + r*0.86}, pt{neck, cy + r*0.86}, pt{neck, cy + r}, pt{x0, cy + r})
		sc.line(thinOf(p), pt{neck, cy - r*0.86}, pt{neck, cy + r*0.86})
	case Head:
		nose := x0 + (x1-x0)*0.55
		sc.shape(pn, pt{x0, cy - r}, pt{nose, cy - r}, pt{x1 - c, cy - r*0.82}, pt{x1, cy - r*0.7}, pt{x1, cy + r*0.25},
			pt{x1 - (x1-x0)*0.3, cy + r*0.7}, pt{nose, cy + r}, pt{x0, cy + r})
	case Sleeve:
		sc.shape(pn, pt{x0 + c, cy - r}, pt{x1 - c, cy - r}, pt{x1, cy - r + c}, pt{x1, cy + r - c}, pt{x1 - c, cy + r}, pt{x0 + c, cy + r}, pt{x0, cy + r - c}, pt{x0, cy - r + c})
	default:
		sc.shape(pn, pt{x0 + c, cy - r}, pt{x1 - c, cy - r}, pt{x1, cy - r + c}, pt{x1, cy + r - c}, pt{x1 - c, cy + r}, pt{x0 + c, cy + r}, pt{x0, cy + r - c}, pt{x0, cy - r + c})
	}
}

func thinOf(p Part) pen {
	if p.Missing {
		return penLeadOut
	}
	return penThin
}

// insert draws a small rhomb whose corner is the cutting edge, at the wall of the bore.
func (s *Side) insert(sc *scene, v view, p Part) {
	d := p.D * v.k
	tip := s.tip(v, p)
	pn := penEdge
	pn.fill = Ground
	if p.Missing {
		pn = penMissing
		pn.dash = []float64{4, 2.5}
	}
	// an 80 degree corner with 5 degrees behind the edge, side d/sin 80
	side := d / math.Sin(80*math.Pi/180)
	at := func(a float64) pt { return pt{side * math.Cos(a*math.Pi/180), side * math.Sin(a*math.Pi/180)} }
	e, f := at(95), at(175) // down along the edge, back along the wall
	sc.shape(pn, tip, pt{tip.x + e.x, tip.y + e.y}, pt{tip.x + e.x + f.x, tip.y + e.y + f.y}, pt{tip.x + f.x, tip.y + f.y})
	if !p.Missing {
		sc.circle(penSolid, tip, 1.6)
	}
}

// dimensions sets the lengths below the parts and returns the height below them.
func (s *Side) dimensions(sc *scene, v view, y, tall float64) float64 {
	row := y + 30
	from := func(x float64) float64 { return y - tall*v.k*0.12 }
	short := []Span{s.Grip, s.Clearance}
	drawn := false
	for i, sp := range short {
		if !sp.drawn() {
			continue
		}
		name := []string{"grip ", "clear "}[i]
		if drawn && short[0].To > sp.From-1 && !fitsBeside(v, short[0], sp, name+figure(sp.To-sp.From, sp.Note, s.Inch)) {
			row += 26
		}
		sc.dimension(v.x(sp.From), v.x(sp.To), row, from(sp.From), name+figure(sp.To-sp.From, sp.Note, s.Inch))
		drawn = true
	}
	if s.Bore.D > 0 && s.Bore.Depth > 0 {
		if drawn {
			row += 26
		}
		sc.dimension(v.x(s.Bore.Face), v.x(s.Bore.Face+s.Bore.Depth), row, from(0), "depth "+figure(s.Bore.Depth, "", s.Inch))
		drawn = true
	}
	if s.Overhang.drawn() {
		if drawn {
			row += 28
		}
		sc.dimension(v.x(s.Overhang.From), v.x(s.Overhang.To), row, from(0), "overhang "+figure(s.Overhang.To-s.Overhang.From, s.Overhang.Note, s.Inch))
		drawn = true
	}
	if !drawn {
		return y + 10
	}
	return row + 16
}

// fitsBeside reports whether the figure of the second span stands inside it, so that both can
// share a row.
func fitsBeside(v view, a, b Span, figure string) bool {
	return a.To <= b.From+1e-9 && (b.To-b.From)*v.k >= voiceDim.face.width(figure, voiceDim.size)+26
}

// coolant draws the line of the coolant as a scheme below: joints in their order, a gap with
// its name where one is missing, and an arrow where it goes into the tool.
func (s *Side) coolant(sc *scene, v view, y float64) float64 {
	if len(s.Coolant) == 0 {
		return y
	}
	y += 34
	n := float64(len(s.Coolant))
	sc.text(voiceFaint, start, pt{stackEdge, y - 16}, "coolant line, a scheme, not to scale: machine to tool")
	room := (stackWidth - 2*stackEdge - 60) / n
	x := stackEdge
	deepest := 0.0
	for _, j := range s.Coolant {
		p, vo, label := penCoolant, voiceText, clean(j.Label)
		if j.Missing {
			p, vo, label = penLack, voiceLack, "MISSING "+label
		}
		sc.line(p, pt{x, y}, pt{x + room*0.5 - 6, y})
		c := pt{x + room*0.5, y}
		sc.shape(pen{p.class, p.stroke, p.width, Ground, p.dash}, pt{c.x - 6, c.y}, pt{c.x, c.y - 6}, pt{c.x + 6, c.y}, pt{c.x, c.y + 6})
		sc.line(p, pt{x + room*0.5 + 6, y}, pt{x + room, y})
		for i, l := range vo.face.wrap(label, vo.size, room-14) {
			sc.text(vo, middle, pt{c.x, y + 21 + float64(i)*15}, l)
			deepest = max(deepest, 21+float64(i)*15)
		}
		x += room
	}
	sc.line(penCoolant, pt{x, y}, pt{x + 44, y})
	sc.arrow(pen{"d-coolant-arrow", "", 0, Accent, nil}, pt{x + 52, y}, pt{1, 0})
	// through the tool along its axis
	tip := s.Parts[len(s.Parts)-1].X1
	if s.Inside < tip {
		off := 4.0
		sc.line(penFlow, pt{v.x(s.Inside), v.cy + off}, pt{v.x(tip) - 8, v.cy + off})
		sc.arrow(pen{"d-coolant-arrow", "", 0, Accent, nil}, pt{v.x(tip) - 2, v.cy + off}, pt{1, 0})
	}
	return y + deepest + 4
}
