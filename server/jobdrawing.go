package server

import (
	"html/template"
	"strings"

	"brasspeg/server/drawing"
	"brasspeg/store/stack"
)

// Where a shape was never recorded, the drawing needs some size all the same. These are for
// the picture only and enter no check.
const (
	holderOverBore = 1.9 // outside of a holder over its bore
	shortestBody   = 30  // mm
	insertSize     = 11  // mm
	headLength     = 32  // mm, of a head without a recorded LF
)

// drawStack draws a stack from the side with the tool at full depth. x runs from the
// station's face; the holder's front is where overhang is measured from.
func drawStack(title string, r *stack.Request, st *stack.Stack) (template.HTML, error) {
	side := sideOf(title, r, st)
	svg, err := drawing.Stack(side)
	if err != nil {
		return "", err
	}
	return template.HTML(svg), nil // drawing escapes every text it writes
}

func sideOf(title string, r *stack.Request, st *stack.Stack) drawing.Side {
	side := drawing.Side{Title: title, Station: strings.TrimSpace(r.Station.Machine + " " + r.Station.Interface)}
	d := st.D()
	if d <= 0 {
		d = max(r.BoreStartD*0.7, 8)
	}
	grip := st.Grip.Or(2.5 * d)

	front, bore := max(grip, shortestBody), d
	if h, ok := st.Find(stack.Holder); ok && h.Part != nil {
		front = max(h.Part.LSC().Or(front), shortestBody)
		bore = max(h.Part.DCONWS().Or(d), d)
	}
	edge := front + st.Overhang

	head := 0.0
	if h, ok := st.Find(stack.Head); ok {
		head = headLength
		if h.Part != nil {
			head = h.Part.LF.Or(headLength)
		}
	}
	barEnd := edge - head
	for _, u := range st.Pieces {
		p := drawing.Part{Kind: drawing.Kind(u.Role), Label: u.ID(), Missing: u.Missing, D: d}
		if u.Missing {
			p.Label = "missing " + string(u.Role)
			if u.Item != nil {
				p.Label = u.Item.ID + ", not free"
			}
			p.Sizes = shortSizes(u.Need)
		} else if u.Part != nil && u.Item != nil {
			p.Label = u.Part.Code
			p.Sizes = []string{u.Item.ID + " " + u.Place}
		}
		switch u.Role {
		case stack.Holder:
			p.X0, p.X1, p.D = 0, front, bore*holderOverBore
		case stack.Sleeve:
			long := grip
			if u.Part != nil {
				long = u.Part.LSC().Or(grip)
				p.D = u.Part.DCONMS().Or(bore)
			}
			p.X0, p.X1, p.D = front-min(long, front), front+3, max(p.D, d+2)
		case stack.Bar:
			p.X0, p.X1 = front-grip, barEnd
			if u.Part != nil && u.Part.OAL.Known {
				p.X0 = min(p.X0, barEnd-u.Part.OAL.V)
			}
		case stack.Head:
			p.X0, p.X1 = barEnd, edge-insertSize/3
		case stack.Insert:
			p.X0, p.X1, p.D = edge-insertSize, edge, insertSize
		case stack.Adapter:
			long := shortestBody * 1.0
			if u.Part != nil {
				long = u.Part.LF.Or(long)
			}
			p.X0, p.X1 = barEnd-long, barEnd
		default: // hoses and fittings are drawn as the line
			side.Coolant = append(side.Coolant, drawing.Joint{Label: lineLabel(u), Missing: u.Missing})
			continue
		}
		if p.X1 <= p.X0 {
			p.X1 = p.X0 + 1
		}
		side.Parts = append(side.Parts, p)
	}
	if st.Route.Kind == "line" && r.Station.CoolantPort != "" {
		side.Coolant = append([]drawing.Joint{{Label: "port " + r.Station.CoolantPort}}, side.Coolant...)
	} else if st.Route.Kind != "line" {
		side.Coolant = nil
	}
	side.Inside = front - grip/2
	side.Overhang = drawing.Span{From: front, To: edge, Note: figure(st.Ratio, 1) + " × D"}
	if st.Grip.Known {
		side.Grip = drawing.Span{From: front - grip, To: front}
	}
	face := edge - r.Depth
	if face > front {
		side.Clearance = drawing.Span{From: front, To: face}
	}
	side.Bore = drawing.Bore{Face: face, Depth: r.Depth, D: r.BoreEndD.Or(r.BoreStartD), Before: r.BoreStartD}
	return side
}

func lineLabel(u stack.Used) string {
	ends := ""
	if u.Part != nil {
		ends = strings.Join(u.Part.Ends(), " to ")
	}
	switch {
	case u.Missing && ends != "":
		return "missing " + string(u.Role) + ", " + ends
	case u.Missing:
		return "missing " + string(u.Role)
	case ends != "":
		return u.ID() + ", " + ends
	}
	return u.ID()
}

// shortSizes are the sizes of a missing part as they fit beside its outline.
func shortSizes(m *stack.Missing) []string {
	if m == nil {
		return nil
	}
	var out []string
	for _, f := range sizesOf(m.Needs) {
		name := f.Name
		if i := strings.LastIndex(name, ", "); i >= 0 {
			name = name[i+2:]
		}
		out = append(out, strings.TrimSpace(name+" "+f.Value+" "+f.Unit))
		if len(out) == 5 {
			break
		}
	}
	return out
}
