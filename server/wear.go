package server

import (
	"fmt"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/stack"
)

// A wearView is what a piece has been through, and the spares it takes.
type wearView struct {
	Uses    []factView
	Spares  []spareUse
	MayWear bool
}

// A spareUse is one spare of a part: what is there, and how fast it goes.
type spareUse struct {
	ID, Op           string // id of its fields on the page; op id of its form
	Href, Code, Name string
	Each, OnHand     string
	Short            bool // less on the shelves than one piece takes
	Says             string
	PerYear, Life    string // as entered, or as counted
}

// wear fills what a piece has been through.
func (s *Server) wear(c echo.Context, st store.Standing, v *wearView) error {
	ctx := c.Request().Context()
	u, err := s.store.UseOf(ctx, st.ID)
	if err != nil {
		return err
	}
	spares, err := s.store.WearsOf(ctx, st.PartID)
	if err != nil {
		return err
	}
	inserts := stack.Kind(st.PartKind) == stack.Insert
	v.Uses, v.MayWear = usesOf(u, st.Kind == store.KindPiece, inserts), s.may(c, access.KeepParts)
	for i, w := range spares {
		v.Spares = append(v.Spares, spareOf(w, fmt.Sprintf("spare%d", i+1), u))
	}
	return nil
}

func usesOf(u store.Use, piece, inserts bool) []factView {
	var fs []factView
	add := func(name, value string) { fs = append(fs, factView{Name: name, Value: value}) }
	switch {
	case u.Times == 0:
		add("Taken out", "never, by the books")
	case u.Jobs > 0:
		add("Taken out", fmt.Sprintf("%s, for %s; last %s", count(int64(u.Times), "time", "times"), count(int64(u.Jobs), "job", "jobs"), clock(u.Last.Time)))
	default:
		add("Taken out", fmt.Sprintf("%s; last %s", count(int64(u.Times), "time", "times"), clock(u.Last.Time)))
	}
	if !piece && !inserts {
		return fs
	}
	name := "Cut on it"
	if inserts {
		name = "Edges run"
	}
	if u.Edges == 0 {
		add(name, "no edge is logged")
	} else {
		says := fmt.Sprintf("%s, %s", count(int64(u.Edges), "edge", "edges"), count(int64(u.Parts), "part", "parts"))
		switch {
		case u.Timed == u.Edges:
			says += fmt.Sprintf(", %s h in cut", figure(u.Minutes/60, 1))
		case u.Timed > 0:
			says += fmt.Sprintf(", %s h in cut on record for %d of them", figure(u.Minutes/60, 1), u.Timed)
		default:
			says += "; minutes in cut are not on record"
		}
		add(name, says)
	}
	switch {
	case inserts:
	case u.LookedAt.IsZero():
		add("Inspection", "never, by the books")
	case u.InThere:
		add("Inspection", strings.TrimSuffix(fmt.Sprintf("waits since %s: %s", clock(u.LookedAt.Time), u.Looked), ": "))
	default:
		add("Inspection", strings.TrimSuffix(fmt.Sprintf("last out of it %s: %s", clock(u.LookedAt.Time), u.Looked), ": "))
	}
	return fs
}

func spareOf(w store.Wear, id string, u store.Use) spareUse {
	r := spareUse{ID: id, Op: newOp(), Href: "/parts/" + pathOf(w.Spare), Code: w.Spare, Name: w.Name, Each: fmt.Sprint(w.Qty), OnHand: fmt.Sprint(w.OnHand), Short: w.OnHand < int64(w.Qty)}
	counted := ""
	if w.Counted > 0 {
		counted = fmt.Sprintf("by the ledger a piece is taken out %s times a year", figure(w.Counted, 1))
		r.PerYear = figure(w.Counted, 1)
	}
	if w.Life == 0 {
		r.Says = "nobody said how long it lasts"
		if counted != "" {
			r.Says += "; " + counted
		}
		return r
	}
	r.PerYear, r.Life = figure(w.PerYear, 1), figure(w.Life, 0)
	r.Says = fmt.Sprintf("lasts %s; at %s a year %s go in one piece", count(int64(w.Life), "use", "uses"), count(int64(w.PerYear), "use", "uses"), figure(w.PerYear/w.Life*float64(w.Qty), 1))
	if counted != "" {
		r.Says += "; " + counted
	}
	if w.Life > 0 && float64(u.Times) >= w.Life {
		r.Says += fmt.Sprintf("; this piece has had %s: look at it", count(int64(u.Times), "use", "uses"))
	}
	return r
}

type wearIn struct {
	opIn
	Spare   string `json:"spare"`
	PerYear typed  `json:"per_year"`
	Life    typed  `json:"life"`
}

// setWear enters how fast a spare goes in the part of a piece: POST /pieces/:tag/wear.
func (s *Server) setWear(c echo.Context, o store.Op, in wearIn) (next string, rc store.Receipt, err error) {
	ctx := c.Request().Context()
	st, err := s.standing(ctx, c.Param("tag"))
	if err != nil {
		return "", rc, err
	}
	spare, err := s.store.PartByCode(ctx, in.Spare)
	if err != nil {
		return "", rc, err
	}
	w := store.WearIn{Part: st.PartID, Spare: spare.ID}
	for _, f := range []struct {
		field string
		text  typed
		to    *float64
	}{{"per_year", in.PerYear, &w.PerYear}, {"life", in.Life, &w.Life}} {
		if strings.TrimSpace(string(f.text)) == "" {
			continue
		}
		if *f.to, err = decimal(f.field, f.text); err != nil {
			return "", rc, err
		}
	}
	rc, err = s.store.SetWear(ctx, o, w)
	return "/pieces/" + st.Tag, rc, err
}
