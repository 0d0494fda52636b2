package server

import (
	"context"
	"fmt"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/reorder"
)

// mostTags is the most tags of one delivery that a page names.
const mostTags = 200

// draftLate says which lines of a draft must be ordered before its cut-off day; "" when none.
func (s *Server) draftLate(ctx context.Context, o store.OrderView) (string, error) {
	b, err := s.store.Buying(ctx)
	if err != nil {
		return "", err
	}
	on := map[store.PartID]bool{}
	for _, l := range o.Lines {
		on[l.PartID] = true
	}
	var late []string
	for _, l := range b.Lines {
		a := l.Advice.Alert
		if on[l.ID] && a.Level >= reorder.Watch && a.Pieces > 0 && store.Day(a.OrderBy.String()) < o.CutoffDay {
			late = append(late, fmt.Sprintf("%s (%s)", l.Code, a.OrderBy))
		}
	}
	if len(late) == 0 {
		return "", nil
	}
	return fmt.Sprintf("The cut-off of %s comes after the last day to order of %s. Send it before that, or ask for express.", o.CutoffDay, strings.Join(late, ", ")), nil
}

// orderEvents tells what was done with an order, each delivery with its labels one press away.
func (s *Server) orderEvents(c echo.Context, o store.OrderView) ([]orderEventRow, error) {
	record, err := s.store.OrderRecord(c.Request().Context(), o)
	var out []orderEventRow
	for _, e := range record {
		r := orderEventRow{When: clock(e.At.Time), By: e.By, Says: e.Says, Undone: e.Undone}
		for _, t := range e.Tags[:min(mostTags, len(e.Tags))] {
			r.Tags = append(r.Tags, hitRow{Href: "/pieces/" + pathOf(t), Code: t})
		}
		if who, _ := actor(c); e.OpID != "" && !e.Undone && access.May(who.role, access.ReverseActs, e.ByID == who.id) {
			r.Op, r.OpID = newOp(), e.OpID
		}
		if len(r.Tags) > 0 && !e.Undone {
			r.Print = s.labelLink(c, strings.Join(e.Tags[:len(r.Tags)], ", "))
		}
		out = append(out, r)
	}
	return out, err
}

type undoReceiptIn struct {
	opIn
	Receipt string `json:"receipt"`
	Reason  string `json:"reason"`
}

// undoReceipt takes a delivery back that was booked wrongly, and its line is open again:
// POST /orders/:code/undo.
func (s *Server) undoReceipt(c echo.Context, o store.Op, in undoReceiptIn) (next string, r store.Receipt, err error) {
	ctx := c.Request().Context()
	ord, err := s.store.Order(ctx, c.Param("code"))
	if err != nil {
		return "", r, err
	}
	record, err := s.store.OrderRecord(ctx, ord)
	if err != nil {
		return "", r, err
	}
	for _, e := range record {
		if e.OpID != "" && e.OpID == in.Receipt {
			r, err = s.store.Reverse(ctx, o, e.OpID, in.Reason)
			return orderHref(ord.Code), r, err
		}
	}
	return "", r, &refusal{class: errNotFound, field: "receipt", detail: "that delivery is not on " + ord.Code}
}
