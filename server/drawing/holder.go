package drawing

import (
	"fmt"
	"math"
	"slices"
)

// A HolderShape is a square-shank holder as its designation describes it (ISO 5608).
type HolderShape struct {
	Name    string
	H, B    float64 // shank height and width, mm
	LF      float64 // functional length, mm; 0: special, to be measured
	Style   byte    // letter
	Form    string  // of the style, in words
	KAPR    float64 // entering angle between edge and feed, degrees, 30 to 130
	Hand    byte    // R, L or N
	End     bool    // cuts with its end: the feed is along the shank
	Offset  bool    // the head stands out sideways
	Neutral bool    // the corner is in the middle
	Insert  InsertShape
}

// HolderPlan draws a square-shank holder as SVG: its cutting end from above to scale, with the
// feed, the entering angle KAPR and its complement PSIR, and the whole of it from the side to
// scale with shank and length. How far the corner stands out sideways (f) and the form of the
// head are not in a designation; they are drawn as usual and not dimensioned. Else an error of
// ErrDrawing that names the value.
func HolderPlan(h HolderShape) ([]byte, error) {
	name := clean(h.Name)
	for _, v := range []struct {
		what     string
		v        float64
		min, max float64
	}{{"shank height", h.H, 4, 200}, {"shank width", h.B, 4, 200}, {"length", h.LF, 0, 1000}, {"entering angle", h.KAPR, 30, 130}} {
		if !(v.v >= v.min && v.v <= v.max) {
			return nil, refuse("holder %s: %s is %v; must be %v to %v", name, v.what, v.v, v.min, v.max)
		}
	}
	in := h.Insert
	if err := in.check(); err != nil {
		return nil, err
	}
	outline, err := in.outline()
	if err != nil {
		return nil, err
	}
	corner, angle := pt{0, -in.IC / 2}, math.Pi/2
	if in.Shape != 'R' {
		cs, as, err := in.corners()
		if err != nil {
			return nil, err
		}
		corner, angle = cs[0], as[0]
	}
	behind := 180 - h.KAPR - angle*180/math.Pi
	if in.Shape != 'R' && behind <= 0 {
		return nil, refuse("holder %s: an entering angle of %v degrees and an insert of %s degrees leave %s degrees behind the edge: it would rub; check the style letter or the insert",
			name, h.KAPR, trim(angle*180/math.Pi, 1), trim(behind, 1))
	}
	hand := map[byte]string{'R': "right hand", 'L': "left hand", 'N': "neutral"}[h.Hand]
	if hand == "" {
		return nil, refuse("holder %s: hand %q; it is R, L or N", name, string(rune(h.Hand)))
	}
	sc := &scene{w: 640, h: 436, title: clean("Square-shank holder " + h.Name)}
	psir := trim(90-h.KAPR, 1)
	sc.desc = clean(fmt.Sprintf("Style %c, %s, %s: the cutting edge makes %s degrees with the feed (KAPR), %s with its normal (PSIR); shank %s high, %s wide",
		h.Style, h.Form, hand, trim(h.KAPR, 1), psir, figure(h.H, "", true), figure(h.B, "", true)))
	sc.text(voiceTitle, start, pt{24, 28}, name)
	sc.line(penHatch, pt{24, 38}, pt{616, 38})
	h.plan(sc, outline, corner, angle, behind)
	h.side(sc)
	sc.text(voiceFaint, start, pt{24, 404}, clean(fmt.Sprintf("style %c: %s · %s", h.Style, h.Form, hand)))
	sc.text(voiceFaint, start, pt{24, 422}, "seen from above, to scale; how far the corner stands out is not in the name")
	return sc.svg(), nil
}

// plan is the cutting end from above. The work lies above, its axis across the page; a right
// hand tool feeds to the left.
func (h *HolderShape) plan(sc *scene, outline []pt, corner pt, angle, behind float64) {
	in := h.Insert
	long := in.IC // from the corner to what of the insert is farthest from it
	for _, p := range outline {
		long = max(long, dist(p, corner))
	}
	k := min(104/h.B, 96/long)
	const cx, shankTop, broken = 222.0, 250.0, 346.0
	half := h.B / 2 * k
	out := 0.06 * h.B * k // what is called straight stands out a little too, or it would rub
	if h.Offset {
		out = 0.28 * h.B * k
	}
	tip := pt{cx - half - out, 118}
	if h.End { // the feed goes up and takes its room
		tip.y = 146
	}
	if h.Neutral {
		tip.x = cx
	}
	flip := func(p pt) pt {
		if h.Hand == 'L' {
			p.x = 2*cx - p.x
		}
		return p
	}
	// u is the feed, v looks away from the finished surface; the edge lies between them.
	u, v := pt{-1, 0}, pt{0, 1}
	if h.End {
		u, v = pt{0, -1}, pt{1, 0}
	}
	at := func(a, b float64) pt { return flip(pt{tip.x + a*u.x + b*v.x, tip.y + a*u.y + b*v.y}) }
	edge := h.KAPR * math.Pi / 180
	own := math.Atan2(-corner.y, -corner.x)
	sin, cos := math.Sincos(edge + angle/2 - own)
	place := func(p pt, scale float64) pt { // scale shrinks about the middle
		x, y := p.x*scale-corner.x, p.y*scale-corner.y
		return at((x*cos-y*sin)*k, (x*sin+y*cos)*k)
	}
	shape, seat := make([]pt, len(outline)), make([]pt, len(outline))
	for i, p := range outline {
		shape[i], seat[i] = place(p, 1), place(p, 0.78)
	}
	left, right := pt{cx - half, shankTop}, pt{cx + half, shankTop}
	head := hull(append(seat, left, right))
	for range head { // both lie lowest, so side by side: the outline opens between them
		first, last := head[0], head[len(head)-1]
		if first == left && last == right || first == right && last == left {
			break
		}
		head = append(head[1:], first)
	}
	sc.line(penOutline, slices.Concat([]pt{{head[0].x, broken}}, head, []pt{{head[len(head)-1].x, broken}})...)
	// the shank goes on: a break instead of its end
	ground := pen{"d-break", Ground, 3, Ground, nil}
	zig := []pt{{cx - half - 4, broken}, {cx - half/3, broken - 7}, {cx + half/3, broken + 7}, {cx + half + 4, broken}}
	sc.line(ground, zig...)
	sc.line(penDim, zig...)
	sc.line(penAxis, pt{cx, shankTop - 30}, pt{cx, broken + 10})
	sc.shape(pen{"d-insert", Accent, 1.4, Ground, nil}, shape...)
	sc.line(penWall, at(0, 0), at(-130, 0))
	const reach, swing = 84.0, 52.0
	dir := func(a, r float64) pt { return at(r*math.Cos(a), r*math.Sin(a)) }
	sc.line(penDim, at(0, 0), dir(edge, reach))
	sc.line(penDim, at(0, 0), at(reach-14, 0))
	bow := make([]pt, 0, 33)
	for i := range 33 {
		bow = append(bow, dir(edge*float64(i)/32, swing))
	}
	sc.line(penDim, bow...)
	arrow := flip(pt{tip.x + u.x, tip.y + u.y})
	base := flip(tip)
	sc.arrow(pen{"d-coolant-arrow", "", 0, Accent, nil}, at(reach, 0), pt{arrow.x - base.x, arrow.y - base.y})
	sc.text(voiceFaint, start, pt{at(reach, 0).x - 12, at(reach, 0).y - 8}, "feed")
	// the figures stand in the corner that the feed and the edge leave free
	x, y, anchor := dir(edge/2, swing+16).x, tip.y+66, end
	if h.End {
		x, y = dir(edge/2, swing+10).x, tip.y-44
	}
	if h.End == (h.Hand != 'L') {
		anchor = start
	}
	if anchor == end {
		x = max(x, 24+voiceDim.face.width("KAPR 107.5°", voiceDim.size))
	}
	sc.text(voiceDim, anchor, pt{x, y}, "KAPR "+trim(h.KAPR, 1)+"°")
	sc.text(voiceDim, anchor, pt{x, y + 17}, "PSIR "+trim(90-h.KAPR, 1)+"°")
	if in.Shape != 'R' {
		p, a := at(-50, 0), start
		p.y -= 8
		if h.End {
			p = at(-100, 0)
			if p.x += 8; h.Hand != 'L' {
				p.x, a = p.x-16, end
			}
		} else if h.Hand == 'L' {
			a = end
		}
		sc.text(voiceFaint, a, p, trim(behind, 1)+"° behind the edge")
	}
	sc.dimension(cx-half, cx+half, broken+30, broken, trim(h.B, 2)+" mm")
}

// side is the whole holder from the side: its cutting edge is as high as its shank.
func (h *HolderShape) side(sc *scene) {
	lf := h.LF
	if lf == 0 {
		lf = 6 * h.H
	}
	k := min(160/lf, 110/h.H)
	const x0, y0 = 396.0, 150.0
	x1, y1 := x0+lf*k, y0+h.H*k
	head := min(h.Insert.IC*1.6*k, lf*k/3)
	step := min(h.Insert.Thickness*k, h.H*k/3)
	if h.LF == 0 {
		sc.line(penOutline, pt{x0, y0}, pt{x1, y0}, pt{x1, y0 + step}, pt{x1 - head*0.3, y1}, pt{x0, y1})
		sc.line(penDim, pt{x0, y0 - 5}, pt{x0 - 5, (y0 + y1) / 2}, pt{x0 + 5, (y0 + y1) / 2}, pt{x0, y1 + 5})
		sc.text(voiceDim, start, pt{x0, y1 + 40}, "length special: measure it")
	} else {
		sc.shape(penOutline, pt{x0, y0}, pt{x1, y0}, pt{x1, y0 + step}, pt{x1 - head*0.3, y1}, pt{x0, y1})
		sc.dimension(x0, x1, y1+40, y1, trim(h.LF, 2)+" mm")
	}
	sc.shape(pen{"d-insert", Accent, 1.2, Ground, nil}, pt{x1 - h.Insert.IC*k, y0}, pt{x1, y0}, pt{x1, y0 + step}, pt{x1 - h.Insert.IC*k, y0 + step})
	sc.upright(x1+18, y0, y1, x1, trim(h.H, 2)+" mm")
	sc.text(voiceFaint, start, pt{x0, y0 - 18}, "from the side, to scale")
}

// hull is the convex outline of points, once round.
func hull(pts []pt) []pt {
	ps := slices.Clone(pts)
	slices.SortFunc(ps, func(a, b pt) int {
		if a.x != b.x {
			return int(math.Copysign(1, a.x-b.x))
		}
		return int(math.Copysign(1, a.y-b.y))
	})
	cross := func(o, a, b pt) float64 { return (a.x-o.x)*(b.y-o.y) - (a.y-o.y)*(b.x-o.x) }
	half := func(list []pt) []pt {
		var out []pt
		for _, p := range list {
			for len(out) > 1 && cross(out[len(out)-2], out[len(out)-1], p) <= 0 {
				out = out[:len(out)-1]
			}
			out = append(out, p)
		}
		return out[:len(out)-1]
	}
	low := half(ps)
	slices.Reverse(ps)
	return append(low, half(ps)...)
}
