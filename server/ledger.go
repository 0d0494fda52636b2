package server

import (
	"fmt"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// ledgerPage shows movements, newest first: GET /ledger.
func (s *Server) ledgerPage(c echo.Context) error {
	before, err := beforeOf(c)
	if err != nil {
		return err
	}
	const rows = 50
	lines, err := s.store.Lines(c.Request().Context(), store.LineFilter{Before: before, Limit: rows})
	if err != nil {
		return err
	}
	v := ledgerPage{Movements: movementsOf("Movements, newest first", lines, true)}
	if len(lines) == rows && lines[rows-1].Seq > 1 {
		v.Older = "/ledger?before=" + strconv.FormatInt(lines[rows-1].Seq, 10)
	}
	return s.page(c, http.StatusOK, "ledger", "Ledger", v)
}

func beforeOf(c echo.Context) (int64, error) {
	t := c.QueryParam("before")
	if t == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(t, 10, 64)
	if err != nil || n < 1 {
		return 0, &refusal{class: errInvalid, field: "before", detail: "before is the number of a line of the ledger"}
	}
	return n, nil
}

func movementsOf(caption string, lines []store.Line, withItem bool) movementsView {
	v := movementsView{Caption: caption, WithItem: withItem}
	for _, l := range lines {
		row := movementRow{
			Seq: fmt.Sprint(l.Seq), When: clock(l.At.Time), Act: string(l.Act), Tag: l.Tag, Href: "/t/" + l.Tag, Item: l.Part,
			Pieces: fmt.Sprint(l.Qty), From: l.From, To: l.To, By: l.Actor, Why: l.Job,
		}
		if l.Reverses != nil {
			row.Act = fmt.Sprintf("reverses no. %d", *l.Reverses)
		}
		if l.Undone {
			row.Act += ", undone"
		}
		if l.Reason != "" {
			if row.Why != "" {
				row.Why += ": "
			}
			row.Why += l.Reason
		}
		v.Rows = append(v.Rows, row)
	}
	return v
}
