package drawing

import (
	"fmt"
	"math"
)

// A BarHead is the cutting end of a bar from above, with its entering angle.
type BarHead struct {
	Name   string
	D      float64 // shank or head diameter, mm
	KAPR   float64 // entering angle between edge and feed, degrees, 30 to 130
	Left   bool    // left hand: drawn mirrored
	Insert InsertShape
}

// BarPlan draws the cutting end of a bar from above to scale as SVG: the feed along the axis,
// the cutting edge, and the entering angle KAPR between them (ISO 3002-1). The insert keeps
// its included angle, so the drawing also shows what is left behind the edge. Else an error
// of ErrDrawing that names the value.
func BarPlan(b BarHead) ([]byte, error) {
	if !(b.D >= 3 && b.D <= 500) {
		return nil, refuse("bar %s: a diameter of %v mm; must be 3 to 500", clean(b.Name), b.D)
	}
	if !(b.KAPR >= 30 && b.KAPR <= 130) {
		return nil, refuse("bar %s: an entering angle of %v degrees; must be 30 to 130", clean(b.Name), b.KAPR)
	}
	in := b.Insert
	if err := in.check(); err != nil {
		return nil, err
	}
	pts, err := in.outline()
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
	behind := 180 - b.KAPR - angle*180/math.Pi
	if in.Shape != 'R' && behind <= 0 {
		return nil, refuse("bar %s: an entering angle of %v degrees and an insert of %s degrees leave %s degrees behind the edge: it would rub in the bore; check the style letter or the insert",
			clean(b.Name), b.KAPR, trim(angle*180/math.Pi, 1), trim(behind, 1))
	}
	sc := &scene{w: 640, h: 360, title: clean("Entering angle of bar " + b.Name)}
	hand := map[bool]string{false: "right", true: "left"}[b.Left]
	sc.desc = fmt.Sprintf("Bar end from above, %s hand, to scale: the cutting edge makes %s degrees with the feed along the axis", hand, trim(b.KAPR, 1))
	k := min(150/b.D, 130/in.IC)
	cy := 190.0
	tip := pt{430, cy - b.D/2*k - 10}
	// Feed is to the right (+x), the wall is above. The major edge runs from the tip inwards
	// and makes KAPR with the feed: above 90 degrees the tip leads. The other edge of the
	// corner lies behind it by the included angle, and what is left to 180 degrees is its
	// clearance from the bored wall.
	edge := b.KAPR * math.Pi / 180          // direction of the major edge, y downwards
	bisect := edge + angle/2                // into the insert
	own := math.Atan2(-corner.y, -corner.x) // where the corner looks to the centre now
	sin, cos := math.Sincos(bisect - own)
	place := func(p pt) pt {
		x, y := p.x-corner.x, p.y-corner.y
		q := pt{tip.x + (x*cos-y*sin)*k, tip.y + (x*sin+y*cos)*k}
		if b.Left {
			q.y = 2*cy - q.y
		}
		return q
	}
	flip := func(p pt) pt {
		if b.Left {
			p.y = 2*cy - p.y
		}
		return p
	}
	sc.text(voiceTitle, start, pt{24, 28}, clean(b.Name))
	sc.line(penHatch, pt{24, 38}, pt{616, 38})
	r := b.D / 2 * k
	sc.line(penOutline, flip(pt{60, cy - r}), flip(pt{tip.x - in.IC*k*0.9, cy - r}), flip(pt{tip.x - 16, cy - r*0.5}), flip(pt{tip.x - 16, cy + r*0.55}), flip(pt{tip.x - 60, cy + r}), flip(pt{60, cy + r}))
	sc.line(penAxis, pt{40, cy}, pt{600, cy})
	shape := make([]pt, len(pts))
	for i, p := range pts {
		shape[i] = place(p)
	}
	sc.shape(pen{"d-insert", Accent, 1.4, Ground, nil}, shape...)
	if in.Hole > 0 {
		sc.circle(penThin, place(pt{}), in.Hole/2*k)
	}
	// the wall being cut, and the angle at the tip between feed and edge
	sc.line(penWall, flip(pt{tip.x - 150, tip.y}), flip(pt{tip.x, tip.y}))
	const reach, swing = 92.0, 56.0
	dir := pt{math.Cos(edge), math.Sin(edge)}
	sc.line(penDim, flip(tip), flip(pt{tip.x + dir.x*reach, tip.y + dir.y*reach}))
	sc.line(penDim, flip(tip), flip(pt{tip.x + reach, tip.y}))
	bow := arc(tip, swing, 0, edge, 32)
	for i := range bow {
		bow[i] = flip(bow[i])
	}
	sc.line(penDim, bow...)
	label := flip(pt{tip.x + swing*0.8 + 14, tip.y + swing*0.8})
	sc.text(voiceDim, start, label, "KAPR "+trim(b.KAPR, 1)+"°")
	if in.Shape != 'R' {
		at := flip(pt{tip.x - 150, tip.y - 12})
		if b.Left {
			at.y += 12
		}
		sc.text(voiceFaint, start, at, trim(behind, 1)+"° behind the edge")
	}
	sc.text(voiceFaint, start, pt{500, cy - 10}, "feed")
	sc.line(penCoolant, pt{500, cy}, pt{560, cy})
	sc.arrow(pen{"d-coolant-arrow", "", 0, Accent, nil}, pt{568, cy}, pt{1, 0})
	sc.text(voiceFaint, start, pt{60, 340}, fmt.Sprintf("%s hand, ⌀%s, seen from above, to scale", hand, figure(b.D, "", true)))
	return sc.svg(), nil
}
