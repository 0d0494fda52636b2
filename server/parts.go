package server

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// searchPage is one box over everything that has a name: GET /search?q=.
func (s *Server) searchPage(c echo.Context) error {
	ctx := c.Request().Context()
	q := strings.TrimSpace(c.QueryParam("q"))
	v := searchPage{Query: q, Asked: q != ""}
	if err := readable("q", q); err != nil {
		return err
	}
	if !v.Asked {
		return s.page(c, http.StatusOK, "search", "Search", v)
	}
	see := holdersFor(c)
	if th, err := s.store.Scan(ctx, q); err == nil {
		switch th.Kind {
		case "item":
			v.Items = rowsOf([]store.Standing{*th.Item}, see)
		case "place":
			v.Places = append(v.Places, hitRow{"/places/" + pathOf(th.Place.Code), th.Place.Code, th.Place.Name, string(th.Place.Kind)})
		case "job":
			v.Jobs = append(v.Jobs, hitRow{"/jobs/" + pathOf(th.Job.Code), th.Job.Code, th.Job.Name, days(th.Job.FromDay, th.Job.ToDay)})
		}
	}
	found, err := s.store.Search(ctx, q, 50)
	if err != nil {
		return err
	}
	for _, f := range found {
		v.Parts = append(v.Parts, partRow{
			Href: "/parts/" + pathOf(f.Code), Code: f.Code, Name: f.Name, Kind: f.Kind,
			OnHand: fmt.Sprint(f.OnHand), Promised: fmt.Sprint(f.Promised), Free: fmt.Sprint(f.Free()), Out: fmt.Sprint(f.Out),
		})
	}
	slices.SortStableFunc(v.Parts, byKind)
	if len(found) == 1 { // one part is meant: show where each of it is
		items, err := s.store.ItemsOf(ctx, found[0].ID)
		if err != nil {
			return err
		}
		v.Items = rowsOf(items, see)
	}
	if see.all && len(v.Parts) == 0 {
		if v.Items, v.People, err = s.heldBy(c, q, v.Items); err != nil {
			return err
		}
	}
	v.Nothing = len(v.Items)+len(v.Parts)+len(v.Jobs)+len(v.Places)+len(v.People) == 0
	return s.page(c, http.StatusOK, "search", "Search", v)
}

// heldBy finds people whose name or login holds the words, with what they have.
func (s *Server) heldBy(c echo.Context, q string, items []itemRow) ([]itemRow, []hitRow, error) {
	ctx := c.Request().Context()
	people, err := s.store.People(ctx)
	if err != nil {
		return items, nil, err
	}
	var hits []hitRow
	var only store.PlaceID
	for _, p := range people {
		if strings.Contains(strings.ToLower(p.Name+" "+p.Login), strings.ToLower(q)) {
			hits = append(hits, hitRow{"/places/" + pathOf("WITH "+strings.ToUpper(p.Login)), p.Login, p.Name, string(p.Role)})
			only = p.PlaceID
		}
	}
	if len(hits) == 1 {
		has, err := s.store.InPlace(ctx, only)
		if err != nil {
			return items, nil, err
		}
		items = append(items, rowsOf(has, holdersFor(c))...)
	}
	return items, hits, nil
}

// readable refuses a query no name could match and PostgreSQL would not even read.
func readable(field, text string) error {
	if len(text) > 200 || strings.ContainsRune(text, 0) || strings.ToValidUTF8(text, "") != text {
		return &refusal{class: errInvalid, field: field, detail: "ask with at most 200 readable characters"}
	}
	return nil
}

// partPage shows a catalogue record and what the shop has of it: GET /parts/:code.
func (s *Server) partPage(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	facts, err := s.store.Facts(ctx, p.ID)
	if err != nil {
		return err
	}
	items, err := s.store.ItemsOf(ctx, p.ID)
	if err != nil {
		return err
	}
	v := partPage{Code: p.Code, Name: p.Name, Items: rowsOf(items, holdersFor(c))}
	for _, f := range facts {
		fv := factView{Name: f.Symbol, Value: strings.Trim(f.Value, `"`)}
		if known, ok := symbolNames[f.Symbol]; ok {
			fv.Name, fv.Unit = f.Symbol+", "+known.name, known.unit
		}
		if f.Entered != "" && f.Entered != fv.Value {
			fv.Unit = strings.TrimSpace(fv.Unit + ", entered as " + f.Entered)
		}
		v.Sizes = append(v.Sizes, fv)
	}
	v.Facts = partFacts(p)
	var on, out, held int64
	for _, st := range items {
		for _, h := range st.At {
			on += h.Qty
			switch {
			case h.Kind.Holds():
				out += h.Qty
			case h.Kind == store.Inspection || h.Kind == store.Lost || st.Held != "":
				held += h.Qty
			}
		}
	}
	v.Readings = []reading{{"On hand", fmt.Sprint(on), "pieces"}, {"Out", fmt.Sprint(out), ""}, {"Held back", fmt.Sprint(held), ""}}
	return s.page(c, http.StatusOK, "part", p.Code, v)
}

func partFacts(p store.Part) []factView {
	fs := []factView{{Name: "Kind", Value: p.Kind}, {Name: "Counted by", Value: p.Counted}}
	add := func(name, value, unit string) {
		if value != "" {
			fs = append(fs, factView{Name: name, Value: value, Unit: unit})
		}
	}
	add("Designation", p.Designation, "")
	add("Maker", p.Maker, "")
	add("Maker's code", p.MakerCode, "")
	add("Grade", p.Grade, "")
	if p.Edges > 0 {
		add("Edges", fmt.Sprint(p.Edges), "each")
	}
	if p.PriceCents != nil {
		add("Price", figure(float64(*p.PriceCents)/100, 2), p.Currency)
	}
	if p.LeadDays != nil {
		add("Lead time", fmt.Sprint(*p.LeadDays), "days")
	}
	add("Note", p.Note, "")
	return fs
}
