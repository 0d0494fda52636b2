package server

import (
	"fmt"
	"net/http"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// closePage asks of everything that is out for a job whether it stays in the turret: GET
// /jobs/:code/close.
func (s *Server) closePage(c echo.Context) error {
	ctx := c.Request().Context()
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	things, err := s.store.Out(ctx, j.ID)
	if err != nil {
		return err
	}
	see := holdersFor(c)
	v := closeView{Code: j.Code, Name: j.Name, Op: newOp(), Closed: j.State == "closed"}
	for _, t := range things {
		row := closeRow{Name: fmt.Sprintf("%d.%d", t.Item, t.Place), Tag: t.Tag, Part: t.Part, Kind: t.Kind,
			Pieces: fmt.Sprint(t.Qty), At: t.Code, Home: t.Home, Edges: t.Edges > 0, Each: fmt.Sprint(t.Edges)}
		if t.Where == store.PersonAt {
			row.At = "with " + see.name(t.At)
		}
		row.Keep, row.Later = t.Where == store.StationAt && t.Edges == 0, t.Edges > 0
		v.Things = append(v.Things, row)
	}
	return s.page(c, http.StatusOK, "closejob", "Close "+j.Code, v)
}

type closeView struct {
	Code, Name, Op string
	Closed         bool
	Things         []closeRow
}

type closeRow struct {
	Name, Tag, Part, Kind, Pieces, At, Home, Each string
	Edges, Keep, Later                            bool
}
