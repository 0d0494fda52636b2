package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
)

// tagPage opens what a scanned or typed text belongs to: GET /t/:tag.
func (s *Server) tagPage(c echo.Context) error {
	th, err := s.scanned(c.Request().Context(), c.Param("tag"))
	if v, _ := actor(c); errors.Is(err, store.ErrNotFound) && mayKeep(v.role) { // a foreign code can be linked
		return c.Redirect(http.StatusSeeOther, "/codes?code="+pathOf(c.Param("tag")))
	}
	if err != nil {
		return err
	}
	to := "/search?q=" + pathOf(th.Text)
	switch th.Kind {
	case "item":
		to = "/pieces/" + th.Item.Tag
	case "place":
		to = "/places/" + pathOf(th.Place.Code)
	case "job":
		to = "/jobs/" + pathOf(th.Job.Code)
	case "part":
		to = "/parts/" + pathOf(th.Part.Code)
	case "person", "act":
		to = "/window"
	case "machine":
		to = "/machines/" + pathOf(th.Mach.Code)
	}
	return c.Redirect(http.StatusSeeOther, to)
}

// piecePage shows a piece or a lot with its history: GET /pieces/:tag.
func (s *Server) piecePage(c echo.Context) error {
	ctx := c.Request().Context()
	st, err := s.standing(ctx, c.Param("tag"))
	if err != nil {
		return err
	}
	see := holdersFor(c)
	v := piecePage{Tag: st.Tag, Code: st.PartCode, Name: strings.TrimSpace(st.PartCode + " " + st.PartName)}
	v.State = itemState(st)
	v.Says = whereSays(st, see)
	v.Facts = itemFacts(st)
	for _, h := range st.At {
		f := factView{Name: heapName(h, see), Value: fmt.Sprint(h.Qty), Unit: "pieces"}
		if h.Qty == 1 {
			f.Unit = "piece"
		}
		if h.Kind == store.Bin {
			f.Href = "/places/" + pathOf(h.Code)
		}
		v.Places = append(v.Places, f)
	}
	for _, g := range st.Grinding {
		f := factView{Name: "at the grinder since " + clock(g.Since.Time), Value: fmt.Sprint(g.Qty), Unit: "pieces"}
		if g.Qty == 1 {
			f.Unit = "piece"
		}
		if s.may(c, access.KeepParts) {
			f.Href = "/regrind?tag=" + st.Tag
		}
		v.Places = append(v.Places, f)
	}
	if err := s.wear(c, st, &v.Wear); err != nil {
		return err
	}
	v.Label = "/pieces/" + st.Tag + "/label.svg"
	v.LabelPDF = "/pieces/" + st.Tag + "/label.pdf"
	v.LabelPrint = s.labelLink(c, st.Tag)
	if see.all {
		lines, err := s.store.Lines(ctx, store.LineFilter{Item: st.ID, Limit: 100})
		if err != nil {
			return err
		}
		v.ShowHistory, v.History = true, movementsOf("Every movement of it, newest first", lines, false)
	}
	return s.page(c, http.StatusOK, "piece", st.Tag, v)
}

func (s *Server) standing(ctx context.Context, text string) (store.Standing, error) {
	t, err := parseTag("tag", text)
	if err != nil {
		return store.Standing{}, err
	}
	return s.store.Standing(ctx, t.text)
}

// holders says whose names a person may read beside what is out.
type holders struct {
	all bool
	own string
}

func holdersFor(c echo.Context) holders {
	v, _ := actor(c)
	return holders{all: access.Of(v.role, access.SeeHolders) == access.Any, own: v.name}
}

// name is a holder's name for who may read it.
func (h holders) name(person string) string {
	if person == "" || h.all || person == h.own {
		return person
	}
	return "somebody"
}

func heapName(h store.Heap, see holders) string {
	if h.Kind == store.PersonAt {
		return "with " + see.name(h.Place)
	}
	if h.Place != h.Code {
		return h.Code + ", " + h.Place
	}
	return h.Code
}

// itemState is where a piece stands, as a word with a shape.
func itemState(st store.Standing) stateView {
	switch {
	case !st.RetiredAt.IsZero():
		return stateView{"scrapped", "✕", "no"}
	case st.Held != "":
		return stateView{"held back", "△", "warn"}
	case len(st.At) == 0 && len(st.Grinding) > 0:
		return stateView{"at the grinder", "▷", ""}
	case len(st.At) == 0:
		return stateView{"none left", "○", ""}
	}
	shelf, out := false, false
	for _, h := range st.At {
		switch {
		case h.Kind == store.Lost:
			return stateView{"lost", "✕", "no"}
		case h.Kind == store.Inspection:
			return stateView{"in inspection", "△", "warn"}
		case h.Kind.Holds():
			out = true
		default:
			shelf = true
		}
	}
	switch {
	case shelf && out:
		return stateView{"on the shelf and out", "◐", ""}
	case out:
		return stateView{"out", "▷", ""}
	}
	return stateView{"on the shelf", "●", "yes"}
}

// whereSays is where it is and who has it, for which job, since when, until when.
func whereSays(st store.Standing, see holders) string {
	if st.Held != "" {
		return sentence(st.Held)
	}
	var all []string
	for i, h := range st.At {
		if i == 3 {
			all = append(all, fmt.Sprintf("and %d more places", len(st.At)-3))
			break
		}
		t := "in " + h.Code
		if h.Kind.Holds() {
			t = holderSays(h, see)
		}
		if st.Kind == store.KindLot {
			t = fmt.Sprintf("%d %s", h.Qty, t)
		}
		all = append(all, t)
	}
	return strings.Join(append(all, grindText(st)...), "; ")
}

func holderSays(h store.Heap, see holders) string {
	t := "with " + see.name(h.Person)
	if h.Kind != store.PersonAt {
		t = "in " + h.Place
		if h.Person != "" {
			t = see.name(h.Person) + ", " + h.Place
		}
	}
	if h.Phone != "" && see.all {
		t += " (" + h.Phone + ")"
	}
	if h.Job != "" {
		t += ", " + h.Job
	}
	if !h.Since.IsZero() {
		t += ", since " + clock(h.Since.Time)
	}
	if h.Due != "" {
		t += ", due " + string(h.Due)
	}
	return t
}

func itemFacts(st store.Standing) []factView {
	fs := []factView{{Name: "Part", Value: st.PartCode, Href: "/parts/" + pathOf(st.PartCode)}, {Name: "Kind", Value: st.PartKind}}
	add := func(name, value string) {
		if value != "" {
			fs = append(fs, factView{Name: name, Value: value})
		}
	}
	add("Designation", st.Designation)
	add("Serial number", st.Serial)
	add("Box", st.Box)
	add("Belongs to", st.Owner)
	if st.EdgesLeft != nil {
		add("Edges left on each", fmt.Sprint(*st.EdgesLeft)+" of "+fmt.Sprint(st.Edges))
	} else if st.Edges > 0 {
		add("Edges on each", fmt.Sprint(st.Edges)+", new")
	}
	return fs
}

// rowsOf lists items with where they are.
func rowsOf(items []store.Standing, see holders) []itemRow {
	var out []itemRow
	for _, st := range items {
		row := itemRow{Href: "/pieces/" + st.Tag, Tag: st.Tag, Code: st.PartCode, Name: st.PartName, State: itemState(st), Held: st.Held}
		n := int64(0)
		var at []string
		for _, h := range st.At {
			n += h.Qty
			if h.Kind.Holds() {
				at = append(at, holderSays(h, see))
			} else {
				at = append(at, h.Code)
			}
		}
		at = append(at, grindText(st)...)
		row.Pieces, row.Where = fmt.Sprint(n), strings.Join(at, "; ")
		out = append(out, row)
	}
	return out
}

// placePage shows what stands in a place: GET /places/:code.
func (s *Server) placePage(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.place(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	see := holdersFor(c)
	if p.Kind == store.PersonAt && !see.all && p.Name != see.own {
		return &refusal{class: errForbidden, detail: "what another person holds is not shown to your role"}
	}
	items, err := s.store.InPlace(ctx, p.ID)
	if err != nil {
		return err
	}
	v := placePage{Code: p.Code, Name: p.Name, Kind: string(p.Kind), Items: rowsOf(items, see)}
	if v.Name == v.Code {
		v.Name = ""
	}
	if p.Tag != nil {
		v.Tag = *p.Tag
	}
	if p.Kind == store.Bin && len(items) > 0 && s.may(c, access.MovePieces) {
		v.CountOp = newOp()
	}
	if p.Kind == store.Bin || p.Kind == store.StationAt {
		v.LabelPrint = s.labelLink(c, p.Code)
	}
	return s.page(c, http.StatusOK, "place", p.Code, v)
}
