package server

import (
	"html/template"
	"strings"

	"brasspeg/server/drawing"
	"brasspeg/store/stack"
)

// drawStack draws a stack from the side with the tool at full depth, its dimensions also in
// inches where inch is set.
func drawStack(title string, r *stack.Request, st *stack.Stack, inch bool) (template.HTML, error) {
	side := sideOf(title, r, st)
	side.Inch = inch
	svg, err := drawing.Stack(side)
	if err != nil {
		return "", err
	}
	return template.HTML(svg), nil // drawing escapes every text it writes
}

// sideOf puts the stack room's geometry into the words of the drawing: x runs from the
// station's face, and overhang is measured from the holder's.
func sideOf(title string, r *stack.Request, st *stack.Stack) drawing.Side {
	g := st.Geometry(r)
	side := drawing.Side{
		Title: title, Station: strings.TrimSpace(r.Station.Machine + " " + r.Station.Interface), Inside: (g.GripFrom + g.Face) / 2,
		Overhang: drawing.Span{From: g.Face, To: g.Edge, Note: figure(st.Ratio, 1) + " × D"},
		Bore:     drawing.Bore{Face: g.PartFace, Depth: g.Depth, D: r.BoreEndD.Or(g.Bore), Before: g.Bore},
	}
	if st.Grip.Known {
		side.Grip = drawing.Span{From: g.GripFrom, To: g.GripTo}
	}
	if g.PartFace > g.Face {
		side.Clearance = drawing.Span{From: g.Face, To: g.PartFace}
	}
	// The shapes stand in an order of their own; a stack has each kind once, adapters aside.
	used := map[string]*stack.Used{}
	for i := range st.Pieces {
		u := &st.Pieces[i]
		used[string(u.Role)+" "+u.ID()] = u
		if u.Missing {
			used[string(u.Role)+" missing "+string(u.Role)] = u
		}
	}
	for _, sh := range g.Shapes {
		p := drawing.Part{Kind: drawing.Kind(sh.Kind), Label: sh.Label, Missing: sh.Missing, X0: sh.X0, X1: max(sh.X1, sh.X0), D: sh.Diameter}
		if u := used[string(sh.Kind)+" "+sh.Label]; u != nil {
			p.Label, p.Sizes = nameInDrawing(u)
		}
		side.Parts = append(side.Parts, p)
	}
	if st.Route.Kind == "line" {
		if r.Station.CoolantPort != "" {
			side.Coolant = append(side.Coolant, drawing.Joint{Label: "port " + r.Station.CoolantPort})
		}
		for _, u := range st.Pieces {
			if u.Role == stack.Hose || u.Role == stack.Fitting {
				side.Coolant = append(side.Coolant, drawing.Joint{Label: lineLabel(u), Missing: u.Missing})
			}
		}
	}
	return side
}

// nameInDrawing is what stands at a part's leader: of one on the shelf its code, tag and
// drawer, of a missing one what would fill the place and its sizes.
func nameInDrawing(u *stack.Used) (string, []string) {
	switch {
	case !u.Missing && u.Part != nil && u.Item != nil:
		return u.Part.Code, []string{u.Item.ID + " " + u.Place}
	case !u.Missing:
		return u.ID(), nil
	case u.Item != nil:
		return u.Item.ID + ", not free", shortSizes(u.Need)
	case u.Part != nil && u.Part.Code != "":
		return u.Part.Code, shortSizes(u.Need)
	}
	return "not on record", shortSizes(u.Need)
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
