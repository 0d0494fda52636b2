package server

import (
	"cmp"
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// A matesView is what goes on one joint of a part.
type matesView struct {
	Joint string // in words
	Parts []mateRow
	More  string // what is not shown
	Seats string // machines whose turret seat it is
}

type mateRow struct{ Href, Code, Name, Kind, Free, OnHand, Where string }

// mates fills in what goes on each joint of a part, free first.
func (s *Server) mates(c echo.Context, p store.Part, v *partPage) error {
	ctx := c.Request().Context()
	all, err := s.store.MatesOf(ctx, p, 8)
	if err != nil {
		return err
	}
	stations, err := s.seats(c, all)
	if err != nil {
		return err
	}
	for _, m := range all {
		w := matesView{Joint: store.JointSays(m.Joint), Seats: stations[m.Joint.Code]}
		for _, f := range m.Parts {
			w.Parts = append(w.Parts, mateRow{Href: "/parts/" + pathOf(f.Code), Code: f.Code, Name: cmp.Or(f.Designation, f.Name), Kind: f.Kind,
				Free: fmt.Sprint(f.Free()), OnHand: fmt.Sprint(f.OnHand), Where: inBins(f)})
		}
		if m.More > 0 {
			w.More = fmt.Sprintf("and %d more, none of them freer", m.More)
		}
		v.Mates = append(v.Mates, w)
	}
	return nil
}

// seats names the stations whose seat a joint is, by the joint's code.
func (s *Server) seats(c echo.Context, all []store.Mates) (map[string]string, error) {
	out := map[string]string{}
	var machines []store.Machine
	for _, m := range all {
		if len(m.Stations) == 0 {
			continue
		}
		if machines == nil {
			var err error
			if machines, err = s.store.Machines(c.Request().Context()); err != nil {
				return nil, err
			}
		}
		var names []string
		for _, st := range m.Stations {
			for _, k := range machines {
				if k.ID == st.MachineID {
					names = append(names, fmt.Sprintf("%s station %d", k.Code, st.Number))
				}
			}
		}
		if n := len(names); n > 8 {
			names = append(names[:8], fmt.Sprintf("and %d more", n-8))
		}
		out[m.Joint.Code] = strings.Join(names, ", ")
	}
	return out, nil
}

// inBins says where a part lies, the first three bins.
func inBins(f store.Found) string {
	var all []string
	for i, b := range f.Bins {
		if i == 3 {
			all = append(all, fmt.Sprintf("and %d more", len(f.Bins)-3))
			break
		}
		if len(f.Bins) == 1 {
			all = append(all, b.Code)
			continue
		}
		all = append(all, fmt.Sprintf("%d in %s", b.Qty, b.Code))
	}
	return strings.Join(all, ", ")
}

type mateOut struct {
	Joint    string        `json:"joint"`
	Side     string        `json:"side"`
	Family   string        `json:"family"`
	Parts    []matePartOut `json:"parts"`
	More     int           `json:"more"`
	Stations []string      `json:"stations"`
}

type matePartOut struct {
	Code        string   `json:"code"`
	Kind        string   `json:"kind"`
	Designation string   `json:"designation"`
	Stock       stockOut `json:"stock"`
	Bins        []string `json:"bins"`
}

// listMates lists what mates with each joint of a part: GET /api/v1/parts/:code/mates.
func (s *Server) listMates(c echo.Context) error {
	ctx := c.Request().Context()
	limit, _, err := pageOf(c)
	if err != nil {
		return err
	}
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	all, err := s.store.MatesOf(ctx, p, limit)
	if err != nil {
		return err
	}
	stations, err := s.seats(c, all)
	if err != nil {
		return err
	}
	var out []mateOut
	for _, m := range all {
		o := mateOut{Joint: store.JointSays(m.Joint), Side: string(m.Joint.Side), Family: string(m.Joint.Family), Parts: []matePartOut{}, More: m.More, Stations: []string{}}
		if t := stations[m.Joint.Code]; t != "" {
			o.Stations = strings.Split(t, ", ")
		}
		for _, f := range m.Parts {
			x := matePartOut{f.Code, f.Kind, f.Designation, stockOut{f.OnHand, f.Out, f.Held, f.Promised, f.Free()}, []string{}}
			for _, b := range f.Bins {
				x.Bins = append(x.Bins, b.Code)
			}
			o.Parts = append(o.Parts, x)
		}
		out = append(out, o)
	}
	return c.JSON(http.StatusOK, listOf(out, len(out)+1, func(mateOut) string { return "" }))
}
