package server

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
)

// countingPage is what is to be counted, without what the record says.
type countingPage struct {
	Readings    []reading
	Tasks       []countRow
	Done        []countDoneRow
	Op, OpEmpty string
	Empty       string // the bin that was found empty just now
	Movers      movementsView
	SeeMovers   bool
}

type countRow struct {
	ID, Op, Tag, Part, Name, Place, Box, Edges, Why string
	Piece                                           bool
}

type countDoneRow struct {
	When, By, Part, Tag, Place, Was, Found, Reason string
	State                                          stateView
}

// countingPage shows today's counts: GET /counting. ?empty=BIN shows who moved things there last.
func (s *Server) countingPage(c echo.Context) error {
	ctx := c.Request().Context()
	tasks, err := s.store.CountTasks(ctx)
	if err != nil {
		return err
	}
	from := s.store.Today().Add(-90)
	done, err := s.store.Counted(ctx, from, 20)
	if err != nil {
		return err
	}
	acc, err := s.store.Accuracy(ctx, from)
	if err != nil {
		return err
	}
	v := countingPage{Op: newOp(), OpEmpty: newOp(), Empty: c.QueryParam("empty")}
	share := "none yet"
	if acc.Counted > 0 {
		share = figure(100*acc.Share(), 1)
	}
	v.Readings = []reading{{"To count", fmt.Sprint(len(tasks)), ""}, {"Counted in 90 days", fmt.Sprint(acc.Counted), ""}, {"Right in all three", share, "of 100"},
		{"Wrong quantity", fmt.Sprint(acc.WrongQty), ""}, {"Wrong place", fmt.Sprint(acc.WrongPlace), ""}, {"Condition not right", fmt.Sprint(acc.Bad), ""}}
	for _, t := range tasks {
		r := countRow{ID: fmt.Sprint(t.ID), Op: newOp(), Tag: t.Tag, Part: t.Part, Name: t.Name, Place: t.Place, Box: t.Box, Why: t.Why, Piece: t.Kind == store.KindPiece}
		if t.Edges != nil {
			r.Edges = fmt.Sprintf("the part-used ones with %s left", count(int64(*t.Edges), "edge", "edges"))
		}
		v.Tasks = append(v.Tasks, r)
	}
	for _, t := range done {
		r := countDoneRow{When: clock(t.CountedAt.Time), By: t.Counter, Part: t.Part, Tag: t.Tag, Place: t.Place, Reason: t.Reason, State: stateView{"agrees", "●", "yes"}}
		if t.Was != nil && t.Found != nil {
			r.Was, r.Found = fmt.Sprint(*t.Was), fmt.Sprint(*t.Found)
			if *t.Was != *t.Found {
				r.State = stateView{"quantity differs", "◇", "no"}
			}
		}
		if t.PlaceOk != nil && !*t.PlaceOk {
			r.State = stateView{"wrong place", "△", "warn"}
		} else if t.ConditionOk != nil && !*t.ConditionOk {
			r.State = stateView{"condition not right", "△", "warn"}
		}
		v.Done = append(v.Done, r)
	}
	if v.Empty != "" {
		p, err := s.place(ctx, "empty", v.Empty)
		if err != nil {
			return err
		}
		lines, err := s.store.Lines(ctx, store.LineFilter{Place: p.ID, Limit: 10})
		if err != nil {
			return err
		}
		var last []store.Line
		for _, l := range lines { // the emptying itself is no move of somebody
			if l.Reason != "bin found empty" && len(last) < 5 {
				last = append(last, l)
			}
		}
		v.Empty, v.SeeMovers = p.Code, s.may(c, access.SeeLedger)
		v.Movers = movementsView{Caption: "The last five movements in " + p.Code, WithItem: true, Rows: movementRows(last)}
	}
	return s.page(c, http.StatusOK, "counting", "Counting", v)
}

func movementRows(lines []store.Line) []movementRow {
	var out []movementRow
	for _, l := range lines {
		out = append(out, movementRow{Seq: fmt.Sprint(l.Seq), When: clock(l.At.Time), Act: string(l.Act), Tag: l.Tag, Href: "/pieces/" + pathOf(l.Tag), Item: l.Part, Pieces: fmt.Sprint(l.Qty), From: l.From, To: l.To, By: l.Actor,
			Why: strings.Trim(l.Job+", "+l.Reason, ", ")})
	}
	return out
}

type planCountsIn struct {
	opIn
	N typed `json:"n"`
}

// planCounts makes today's list: POST /counting/plan.
func (s *Server) planCounts(c echo.Context, _ store.Op, in planCountsIn) (next string, r store.Receipt, err error) {
	n, err := number("n", in.N)
	if err != nil {
		return "", r, err
	}
	made, err := s.store.PlanCounts(c.Request().Context(), n)
	if err == nil && made == 0 {
		err = &refusal{class: errConflict, detail: "Today's list was made already, or nothing lies in a bin"}
	}
	return "/counting", store.Receipt{Says: fmt.Sprintf("%d to count.", made), Lines: []store.ReceiptLine{}}, err
}

type countIn struct {
	opIn
	Task      typed  `json:"task"`
	Found     typed  `json:"found"`
	Place     string `json:"place"`
	Condition string `json:"condition"`
	Reason    string `json:"reason"`
}

// countTask books what was found: POST /counting/count.
func (s *Server) countTask(c echo.Context, o store.Op, in countIn) (next string, r store.Receipt, err error) {
	task, err := rowID("task", in.Task)
	if err != nil {
		return "", r, err
	}
	found, err := number("found", in.Found)
	if err != nil {
		return "", r, err
	}
	for field, t := range map[string]string{"place": in.Place, "condition": in.Condition} {
		if t != "right" && t != "wrong" {
			return "", r, &refusal{class: errInvalid, field: field, detail: "say of the " + field + " whether it is right or wrong"}
		}
	}
	r, err = s.store.CountTask(c.Request().Context(), o, store.CountTaskIn{Task: task, Found: int64(found), PlaceOK: in.Place == "right", ConditionOK: in.Condition == "right", Reason: in.Reason})
	return "/counting", r, err
}

type emptyIn struct {
	opIn
	Place string `json:"place"`
}

// binEmpty is the one scan before an empty bin: POST /counting/empty.
func (s *Server) binEmpty(c echo.Context, o store.Op, in emptyIn) (next string, r store.Receipt, err error) {
	ctx := c.Request().Context()
	p, err := s.place(ctx, "place", in.Place)
	if err != nil {
		return "", r, err
	}
	e, err := s.store.BinEmpty(ctx, o, p.ID)
	return "/counting?empty=" + pathOf(p.Code), e.Receipt, err
}
