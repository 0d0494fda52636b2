package server

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/ledger"
)

// countingPage is what is to be counted, without what the record says.
type countingPage struct {
	Readings    []reading
	Tasks       []countRow
	Done        []countDoneRow
	Op, OpEmpty string
	OpDrawer    string
	Empty       string // the bin that was found empty just now
	Movers      movementsView
	SeeMovers   bool
	At          string // the drawer whose tasks alone are shown, "" for all
	Said        string // what was booked just now
	Undo        string // its op id, "" when there is nothing to take back
	OpUndo      string
}

type countRow struct {
	ID, Op, Tag, Part, Name, Place, Box, Edges, Why string
	Tags                                            string // whose scan means this line
	Piece, First                                    bool
}

type countDoneRow struct {
	When, By, Part, Tag, Place, Was, Found, Reason string
	State                                          stateView
}

// countingPage shows today's counts: GET /counting. ?empty=BIN shows who moved things there last,
// ?place=BIN only what is to be counted there, ?done=OP what the count just booked said.
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
	v := countingPage{Op: newOp(), OpEmpty: newOp(), OpDrawer: newOp(), Empty: c.QueryParam("empty")}
	share, of := "none yet", ""
	if acc.Counted > 0 {
		share, of = figure(100*acc.Share(), 1), "of 100"
	}
	v.Readings = []reading{{"To count", fmt.Sprint(len(tasks)), ""}, {"Counted in 90 days", fmt.Sprint(acc.Counted), ""}, {"Right in all three", share, of},
		{"Wrong quantity", fmt.Sprint(acc.WrongQty), ""}, {"Wrong place", fmt.Sprint(acc.WrongPlace), ""}, {"Condition not right", fmt.Sprint(acc.Bad), ""}}
	bins, err := s.store.Places(ctx, store.Bin)
	if err != nil {
		return err
	}
	tagOf := map[string]string{}
	for _, b := range bins {
		if b.Tag != nil {
			tagOf[b.Code] = *b.Tag
		}
	}
	if at := c.QueryParam("place"); at != "" {
		p, err := s.place(ctx, "place", at)
		if err != nil {
			return err
		}
		v.At = p.Code
		tasks = slices.DeleteFunc(tasks, func(t store.CountTaskView) bool { return t.Place != p.Code })
	}
	doneOp := c.QueryParam("done")
	for _, t := range tasks {
		r := countRow{Tags: t.Tag + " " + tagOf[t.Place], First: doneOp != "" && len(v.Tasks) == 0,
			ID: fmt.Sprint(t.ID), Op: newOp(), Tag: t.Tag, Part: t.Part, Name: t.Name, Place: t.Place, Box: t.Box, Why: t.Why, Piece: t.Kind == store.KindPiece}
		if t.Edges != nil {
			r.Edges = fmt.Sprintf("the part-used ones with %s left", count(int64(*t.Edges), "edge", "edges"))
		}
		v.Tasks = append(v.Tasks, r)
	}
	for _, t := range done {
		if doneOp != "" && t.OpID == doneOp && t.Found != nil && t.Was != nil {
			v.Said, v.OpUndo = fmt.Sprintf("%s %s in %s: %d found, as the record says.", t.Part, t.Tag, t.Place, *t.Found), newOp()
			if *t.Found != *t.Was {
				v.Undo = doneOp
				v.Said = fmt.Sprintf("%s %s in %s: %d found, the record said %d. It says %d from now on; the reason is kept: %s.", t.Part, t.Tag, t.Place, *t.Found, *t.Was, *t.Found, t.Reason)
			}
		}
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
	At        string `json:"at"` // the drawer whose tasks the page shows
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
	next = "/counting?done=" + url.QueryEscape(o.ID)
	if in.At != "" {
		next += "&place=" + url.QueryEscape(in.At)
	}
	return next, r, err
}

type drawerIn struct {
	opIn
	Place string `json:"place"`
}

// countDrawer puts a whole drawer on the list: POST /counting/drawer.
func (s *Server) countDrawer(c echo.Context, _ store.Op, in drawerIn) (next string, r store.Receipt, err error) {
	ctx := c.Request().Context()
	p, err := s.place(ctx, "place", in.Place)
	if err != nil {
		return "", r, err
	}
	who, _ := actor(c)
	_, err = s.store.PlanDrawer(ctx, p.ID, who.name)
	return "/counting?place=" + url.QueryEscape(p.Code), r, err
}

type countUndoIn struct {
	opIn
	Undo string `json:"undo"`
	At   string `json:"at"`
}

// undoCount takes a count back, and its task is open again: POST /counting/undo.
func (s *Server) undoCount(c echo.Context, o store.Op, in countUndoIn) (next string, r store.Receipt, err error) {
	rc, ok, err := s.store.Booked(c.Request().Context(), in.Undo)
	if err != nil {
		return "", r, err
	}
	if !ok || rc.Act != ledger.Count {
		return "", r, &refusal{class: errNotFound, field: "undo", detail: "that is no count"}
	}
	r, err = s.store.Reverse(c.Request().Context(), o, in.Undo, "counted wrongly")
	next = "/counting"
	if in.At != "" {
		next += "?place=" + url.QueryEscape(in.At)
	}
	return next, r, err
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
