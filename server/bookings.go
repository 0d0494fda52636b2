package server

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/ledger"
)

// A bookingIn is one act of a person as a program sends it. Which members an act takes
// stands in the API description; what does not belong to it is refused.
type bookingIn struct {
	Act       string   `json:"act" need:"yes"`
	Lines     []lineIn `json:"lines"`
	To        string   `json:"to"`
	Job       string   `json:"job"`
	Due       string   `json:"due"`
	Reason    string   `json:"reason"`
	Note      string   `json:"note"`
	Override  string   `json:"override"`
	Condition string   `json:"condition"`
	Edges     *int     `json:"edges"`
	Part      string   `json:"part"`
	Qty       *int64   `json:"qty"`
	Box       string   `json:"box"`
	Owner     string   `json:"owner"`
	Serial    string   `json:"serial"`
}

// A lineIn is one thing of a booking: a quantity of it, what a count found, or a correction.
type lineIn struct {
	Tag   string `json:"tag"`
	Place string `json:"place"`
	Qty   *int64 `json:"qty"`
	Found *int64 `json:"found"`
	Delta *int64 `json:"delta"`
}

// rightOf is the right an act takes.
var rightOf = map[ledger.Act]access.Right{
	ledger.Issue:    access.IssuePieces,
	ledger.Return:   access.ReturnPieces,
	ledger.Receive:  access.MovePieces,
	ledger.Transfer: access.MovePieces,
	ledger.Count:    access.MovePieces,
	ledger.Scrap:    access.MovePieces,
	ledger.Adjust:   access.AdjustStock,
}

// addBooking books one act for the person who asks: POST /api/v1/bookings.
func (s *Server) addBooking(c echo.Context, o store.Op, in bookingIn) (r store.Receipt, err error) {
	act := ledger.Act(in.Act)
	right, ok := rightOf[act]
	if !ok {
		return r, &refusal{class: errInvalid, field: "act", detail: "act is issue, return, receive, transfer, count, adjust or scrap; a reversal has an address of its own"}
	}
	if v, _ := actor(c); access.Of(v.role, right) == access.No {
		return r, &refusal{class: errForbidden, field: "act", detail: "your role (" + string(v.role) + ") may not " + in.Act}
	}
	return s.book(c.Request().Context(), o, act, in)
}

// booked answers a booking: the stored answer, the same for every try of the same key.
func booked(c echo.Context, rc store.Receipt) error {
	if rc.Replayed {
		c.Response().Header().Set("Idempotent-Replayed", "true")
	}
	return c.JSON(http.StatusCreated, rc)
}

func (s *Server) book(ctx context.Context, op store.Op, act ledger.Act, in bookingIn) (store.Receipt, error) {
	none := store.Receipt{}
	job, err := s.job(ctx, "job", in.Job)
	if err != nil {
		return none, err
	}
	var to store.Place
	if in.To != "" {
		if to, err = s.place(ctx, "to", in.To); err != nil {
			return none, err
		}
	}
	due := store.Day("")
	if in.Due != "" {
		if due, err = store.ParseDay(in.Due); err != nil {
			return none, onField("due", err)
		}
	}
	switch act {
	case ledger.Receive:
		return s.receive(ctx, op, in, to)
	case ledger.Count:
		return s.countPlaces(ctx, op, in)
	case ledger.Adjust:
		return s.adjust(ctx, op, in)
	}
	picks, err := s.picks(ctx, in.Lines)
	if err != nil {
		return none, err
	}
	switch act {
	case ledger.Issue:
		if in.To == "" {
			return none, &refusal{class: errInvalid, field: "to", detail: "say who or which station takes it"}
		}
		return s.store.Issue(ctx, op, store.IssueIn{Picks: picks, To: to.ID, Job: job.ID, Due: due, Override: in.Override, Note: in.Note})
	case ledger.Return:
		return s.store.Return(ctx, op, store.ReturnIn{Picks: picks, To: to.ID, Condition: in.Condition, Edges: in.Edges, Reason: in.Reason})
	case ledger.Transfer:
		if in.To == "" {
			return none, &refusal{class: errInvalid, field: "to", detail: "say where it goes"}
		}
		return s.store.Transfer(ctx, op, store.TransferIn{Picks: picks, To: to.ID, Job: job.ID, Due: due, Reason: in.Reason})
	}
	return s.store.Scrap(ctx, op, store.ScrapIn{Picks: picks, Job: job.ID, Reason: in.Reason})
}

func (s *Server) receive(ctx context.Context, op store.Op, in bookingIn, to store.Place) (store.Receipt, error) {
	if len(in.Lines) > 0 {
		return store.Receipt{}, &refusal{class: errInvalid, field: "lines", detail: "what is received has no tag yet; give part and qty"}
	}
	part, err := s.store.PartByCode(ctx, in.Part)
	if err != nil {
		return store.Receipt{}, err
	}
	if in.Qty == nil {
		return store.Receipt{}, missing("qty", "say how many were received")
	}
	return s.store.Receive(ctx, op, store.ReceiveIn{Part: part.ID, Qty: *in.Qty, To: to.ID, Box: in.Box, Owner: in.Owner, Serial: in.Serial, Reason: in.Reason})
}

func (s *Server) countPlaces(ctx context.Context, op store.Op, in bookingIn) (store.Receipt, error) {
	if err := fewLines(in.Lines); err != nil {
		return store.Receipt{}, err
	}
	var counts []store.CountIn
	for _, l := range in.Lines {
		it, pl, err := s.itemAndPlace(ctx, l)
		if err != nil {
			return store.Receipt{}, err
		}
		if l.Found == nil {
			return store.Receipt{}, missing("found", "say how many of "+it.Tag+" were found; 0 is a number too")
		}
		counts = append(counts, store.CountIn{Item: it.ID, Place: pl.ID, Found: *l.Found, Reason: in.Reason})
	}
	return s.store.Count(ctx, op, counts)
}

func (s *Server) adjust(ctx context.Context, op store.Op, in bookingIn) (store.Receipt, error) {
	if len(in.Lines) != 1 {
		return store.Receipt{}, &refusal{class: errInvalid, field: "lines", detail: "adjust one thing in one place at a time, so that each has its reason"}
	}
	it, pl, err := s.itemAndPlace(ctx, in.Lines[0])
	if err != nil {
		return store.Receipt{}, err
	}
	if in.Lines[0].Delta == nil {
		return store.Receipt{}, missing("delta", "say by how many pieces, with its sign")
	}
	return s.store.Adjust(ctx, op, store.AdjustIn{Item: it.ID, Place: pl.ID, Delta: *in.Lines[0].Delta, Reason: in.Reason})
}

func (s *Server) itemAndPlace(ctx context.Context, l lineIn) (store.Item, store.Place, error) {
	it, err := s.item(ctx, "tag", l.Tag)
	if err != nil {
		return it, store.Place{}, err
	}
	pl, err := s.place(ctx, "place", l.Place)
	return it, pl, err
}

// maxLines is the most lines of one booking; the store says the same.
const maxLines = 200

func fewLines(lines []lineIn) error {
	if len(lines) > maxLines {
		return &refusal{class: errInvalid, field: "lines", detail: "book at most 200 lines at a time"}
	}
	return nil
}

// picks resolves lines. A piece may leave its quantity out; of a lot it must be said.
func (s *Server) picks(ctx context.Context, lines []lineIn) ([]store.Pick, error) {
	if err := fewLines(lines); err != nil {
		return nil, err
	}
	var picks []store.Pick
	for _, l := range lines {
		it, err := s.item(ctx, "tag", l.Tag)
		if err != nil {
			return nil, err
		}
		p := store.Pick{Item: it.ID, Qty: 1}
		switch {
		case l.Qty != nil:
			p.Qty = *l.Qty
		case it.Kind == store.KindLot:
			return nil, missing("qty", "say how many of "+it.Tag+"; it is a lot")
		}
		if l.Place != "" {
			pl, err := s.place(ctx, "place", l.Place)
			if err != nil {
				return nil, err
			}
			p.Place = pl.ID
		}
		picks = append(picks, p)
	}
	return picks, nil
}

type reversalIn struct {
	Reason string `json:"reason"`
}

// reverseBooking takes a booking back: POST /api/v1/bookings/:op/reversal.
func (s *Server) reverseBooking(c echo.Context, o store.Op, in reversalIn) (r store.Receipt, err error) {
	return s.store.Reverse(c.Request().Context(), o, c.Param("op"), in.Reason)
}
