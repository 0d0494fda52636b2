package drawing

import "math"

// A scene is a finished drawing: marks in units of its own, y downwards, in drawing order.
type scene struct {
	w, h        float64
	title, desc string
	marks       []mark
}

// A mark is a path or, where s is not empty, a text whose baseline begins, centres or ends at
// its first point.
type mark struct {
	pen    pen
	pts    []pt
	closed bool

	s      string
	voice  voice
	anchor anchor
}

type pt struct{ x, y float64 }

type anchor int

const (
	start anchor = iota
	middle
	end
)

func (sc *scene) line(p pen, pts ...pt) {
	sc.marks = append(sc.marks, mark{pen: p, pts: pts})
}

func (sc *scene) shape(p pen, pts ...pt) {
	sc.marks = append(sc.marks, mark{pen: p, pts: pts, closed: true})
}

func (sc *scene) circle(p pen, c pt, r float64) { sc.shape(p, arc(c, r, 0, 2*math.Pi, 64)...) }

func (sc *scene) text(v voice, a anchor, at pt, s string) {
	if s != "" {
		sc.marks = append(sc.marks, mark{s: s, voice: v, anchor: a, pts: []pt{at}})
	}
}

// arc returns n+1 points from angle a to b (radians, y downwards); n chords are finer than
// any line is wide.
func arc(c pt, r, a, b float64, n int) []pt {
	out := make([]pt, 0, n+1)
	for i := range n + 1 {
		t := a + (b-a)*float64(i)/float64(n)
		out = append(out, pt{c.x + r*math.Cos(t), c.y + r*math.Sin(t)})
	}
	return out
}

// arrow fills a slim arrowhead with its tip at p, pointing along d (a unit vector).
func (sc *scene) arrow(pn pen, p, d pt) {
	const long, half = 9, 1.7
	n := pt{-d.y, d.x}
	sc.shape(pn, p,
		pt{p.x - d.x*long + n.x*half, p.y - d.y*long + n.y*half},
		pt{p.x - d.x*long - n.x*half, p.y - d.y*long - n.y*half})
}

// dimension draws a horizontal dimension at height y between x0 and x1, with extension lines
// that begin at from, as a toolmaker draws it. Where the figure is wider than the span, the
// arrows come from outside and the figure stands beside it.
func (sc *scene) dimension(x0, x1, y, from float64, figure string) {
	for _, x := range []float64{x0, x1} {
		gap := 4.0
		if from > y {
			gap = -gap
		}
		sc.line(penDim, pt{x, from + gap}, pt{x, y + gap})
	}
	w := voiceDim.face.width(figure, voiceDim.size)
	if x1-x0 >= w+26 {
		sc.line(penDim, pt{x0, y}, pt{x1, y})
		sc.arrow(penArrow, pt{x0, y}, pt{-1, 0})
		sc.arrow(penArrow, pt{x1, y}, pt{1, 0})
		sc.text(voiceDim, middle, pt{(x0 + x1) / 2, y - 4}, figure)
		return
	}
	sc.line(penDim, pt{x0 - 20, y}, pt{x1 + 20, y})
	sc.arrow(penArrow, pt{x0, y}, pt{1, 0})
	sc.arrow(penArrow, pt{x1, y}, pt{-1, 0})
	if x1+24+w < sc.w {
		sc.text(voiceDim, start, pt{x1 + 24, y + 5}, figure)
	} else {
		sc.text(voiceDim, end, pt{x0 - 24, y + 5}, figure)
	}
}

// upright draws a vertical dimension at x between y0 and y1 with the figure beside it.
func (sc *scene) upright(x, y0, y1, from float64, figure string) {
	for _, y := range []float64{y0, y1} {
		sc.line(penDim, pt{from, y}, pt{x + 4, y})
	}
	if y1-y0 > 24 {
		sc.line(penDim, pt{x, y0}, pt{x, y1})
		sc.arrow(penArrow, pt{x, y0}, pt{0, -1})
		sc.arrow(penArrow, pt{x, y1}, pt{0, 1})
	} else {
		sc.line(penDim, pt{x, y0 - 16}, pt{x, y1 + 16})
		sc.arrow(penArrow, pt{x, y0}, pt{0, 1})
		sc.arrow(penArrow, pt{x, y1}, pt{0, -1})
	}
	sc.text(voiceDim, start, pt{x + 7, (y0+y1)/2 + 5}, figure)
}

// hatch fills a rectangle with section lines at 45 degrees.
func (sc *scene) hatch(x, y, w, h float64) {
	if w <= 0 || h <= 0 {
		return
	}
	step := max(7.0, (w+h)/400)
	for c := step; c < w+h; c += step {
		// the line x+y = c inside the rectangle
		x0, y0 := min(c, w), max(c-w, 0)
		x1, y1 := max(c-h, 0), min(c, h)
		sc.line(penHatch, pt{x + x0, y + y0}, pt{x + x1, y + y1})
	}
}
