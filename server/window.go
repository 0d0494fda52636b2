package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/ledger"
)

// undoTime is how long the Window offers to take back its last act; badgeTime how long a
// badge lies on the Window unused before it is put away.
const (
	undoTime  = 60 * time.Second
	badgeTime = 30 * time.Second
)

// A windowBody is the Window's page: the hand that scans fill, and the last bookings.
type windowBody struct {
	Hand       handView
	ShowRecent bool
	Recent     movementsView
}

// A handView is what lies on the Window: what was understood, what comes next, and after a
// booking what was done. It is all the state there is; each scan sends it back.
type handView struct {
	Op, Held   string
	ClearMS    int64
	Done       bool
	Reading    string
	Lines      []heldRow
	Undo       string
	UndoMS     int64
	Understood []heldRow
	Kit        *kitView
	Reasons    []string // for which what is promised to another job may be taken, by number
	Next       string
}

// A kitView is what a job's kit is fetched from, in the order of the walk.
type kitView struct {
	Caption string
	Stops   []stopRow
	Stay    []stayRow
	Gaps    []gapRow
}

type stopRow struct{ Drawer, What, Tag, Href, Pieces string }

type stayRow struct{ What, Tag, Href, Says string }

type gapRow struct{ What, Tag, Href, Says string }

type heldRow struct{ Kind, Tag, Text, Note string }

const readyToScan = "Scan a badge, a piece, a drawer or a job card"

// newOp makes an op id for the next booking of a page.
func newOp() string {
	id, err := uuid.NewV7()
	if err != nil { // the system has no random numbers; nothing else works then either
		return uuid.NewString()
	}
	return id.String()
}

// windowPage is the attendant's page: GET /window.
func (s *Server) windowPage(c echo.Context) error {
	v := windowBody{Hand: handView{Op: newOp(), Reading: readyToScan, Next: "Scan in any order."}}
	if p, _ := actor(c); access.Of(p.role, access.SeeLedger) == access.Any {
		recent, err := s.recent(c.Request().Context())
		if err != nil {
			return err
		}
		v.ShowRecent, v.Recent = true, recent
	}
	return s.page(c, http.StatusOK, "window", "Window", v)
}

// windowRecent is the list of the last bookings, fetched anew after each: GET /window/recent.
func (s *Server) windowRecent(c echo.Context) error {
	recent, err := s.recent(c.Request().Context())
	if err != nil {
		return err
	}
	return s.part(c, http.StatusOK, "movements", recent)
}

func (s *Server) recent(ctx context.Context) (movementsView, error) {
	lines, err := s.store.Lines(ctx, store.LineFilter{Limit: 8})
	return movementsOf("The last bookings, newest first", lines, true), err
}

type scanIn struct {
	Op   string `json:"op"`
	Held string `json:"held"`
	Scan string `json:"scan" text:"raw"`
}

// windowScan takes one scan: POST /window/scan. The same op id sent again after it was
// booked gets the same booking shown, whatever stands in the shop by now.
func (s *Server) windowScan(c echo.Context) error {
	in, err := decode[scanIn](c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	v, _ := actor(c)
	if done, ok, err := s.bookedBefore(ctx, in.Op); err != nil || ok {
		if err != nil {
			return err
		}
		return s.showHand(c, done)
	}
	h, err := s.readHand(ctx, v, in.Held)
	if err != nil {
		return err
	}
	if err := s.take(ctx, &h, in.Scan); err != nil {
		return s.offerLink(c, v, in.Scan, err)
	}
	switch {
	case h.act == "clear":
		return s.showHand(c, handView{Op: newOp(), Reading: readyToScan, Next: "Put away. Scan in any order."})
	case h.act == "undo" && in.Held != "":
		if h, err = s.takeOff(ctx, v, in.Held); err != nil {
			return err
		}
	case h.act == "undo":
		return s.undoLast(c, v, in.Op)
	}
	if err := s.lookAtKit(ctx, v, &h); err != nil {
		return err
	}
	p := h.plan(v)
	if p.ask && !h.asked {
		h.ask()
	}
	if p.act == "" {
		view := h.view()
		view.Op, view.Next, view.Reading = in.Op, p.next, h.lastSaid
		if h.asked {
			view.Reasons = h.reasons()
		} else if h.picking != nil {
			view.Kit = kitViewOf(h.job.Code, h.picking, holdersFor(c))
		}
		return s.showHand(c, view)
	}
	rc, err := s.carryOut(ctx, store.Op{ID: in.Op, Actor: v.id, Device: device(c)}, h, p)
	if errors.Is(err, store.ErrPromised) && !h.asked && access.Of(v.role, access.TakePromised) == access.Any {
		return s.askReason(c, h, in.Op, err)
	}
	if err != nil {
		return err
	}
	view := doneView(rc, true)
	if h.home != "" && p.to != 0 && h.items[0].Kind == store.KindPiece && (p.act == ledger.Return || p.act == ledger.Transfer) && h.act != "inspect" && p.grind != "out" && h.bin.Code != h.home {
		view.Next = h.items[0].Tag + " has its own drawer in " + h.home + ", this is another. " + view.Next
	}
	return s.showHand(c, view)
}

// takeOff takes the last scan off what lies on the Window: the undo card, while nothing is booked
// of it yet, does not reach for a booking that is no longer shown.
func (s *Server) takeOff(ctx context.Context, v viewer, held string) (hand, error) {
	tokens := strings.Split(held, tokenEnd)
	for n := len(tokens) - 1; n > 0 && (tokens[n] == askToken || strings.HasPrefix(tokens[n], kitToken)); n-- { // the page's own
		tokens = tokens[:n]
	}
	all, err := s.readHand(ctx, v, strings.Join(tokens, tokenEnd))
	if err != nil {
		return hand{}, err
	}
	h, err := s.readHand(ctx, v, strings.Join(tokens[:len(tokens)-1], tokenEnd))
	if n := len(all.rows); n > 0 {
		h.lastSaid = strings.TrimSpace("Taken off: " + all.rows[n-1].Tag + " " + all.rows[n-1].Text)
	}
	return h, err
}

// offerLink answers a scan of a code that is not ours: who keeps parts finds a link beside the
// refusal, on which the code is linked to a part once.
func (s *Server) offerLink(c echo.Context, v viewer, scan string, err error) error {
	p := problemOf(err)
	if !errors.Is(err, store.ErrNotFound) || !mayKeep(v.role) || !strings.Contains(p.Detail, "link") {
		return err
	}
	c.Response().Header().Set("HX-Retarget", "#alert")
	c.Response().Header().Set("HX-Reswap", "innerHTML")
	return s.render(c, p.Status, "window", "notours", notOurs{p.Detail, "/codes?code=" + url.QueryEscape(strings.TrimSpace(scan))})
}

// notOurs is a refused scan with the page on which its code is linked.
type notOurs struct{ Says, Href string }

// promisedReasons are the usual reasons to take what another job was promised, so that one can be
// given by its number, and with a quantity key by the scanner alone.
var promisedReasons = []string{"the machine stands", "agreed with whoever sets up the other job", "back before the other job begins", "only to measure or to try"}

// askReason offers to take what is promised to another job all the same. What lies on the Window
// stays; the reason is what comes next.
func (s *Server) askReason(c echo.Context, h hand, op string, why error) error {
	h.ask()
	view := h.view()
	view.Op, view.Reading = op, sentence(said(why))
	view.Next, view.Reasons = askNext, h.reasons()
	return s.showHand(c, view)
}

const askNext = "To take it all the same, give the reason: its number, or WHY and the reason in words. CLEAR puts it away. The reason stands in the books, and the other job shows it."

func (s *Server) showHand(c echo.Context, v handView) error {
	return s.render(c, http.StatusOK, "window", "hand", v)
}

func doneView(rc store.Receipt, undo bool) handView {
	v := handView{Op: newOp(), Done: true, Next: readyToScan + "."}
	v.Reading, v.Lines = doneSays(rc)
	if undo {
		v.Undo, v.UndoMS = rc.OpID, undoTime.Milliseconds()
	}
	return v
}

// doneSays is what a booking did, in a sentence, and of several things each in a line. What was
// used in between, an insert that comes back with fewer edges, is one thing with another tag.
func doneSays(rc store.Receipt) (string, []heldRow) {
	const between = "used up" // the place through which an insert becomes one with fewer edges
	var rows []heldRow
	for i := 0; i < len(rc.Lines); i++ {
		l := rc.Lines[i]
		row := heldRow{Kind: fmt.Sprintf("%d ×", l.Qty), Tag: l.Tag, Text: l.Part, Note: l.From + " to " + l.To}
		if i+1 < len(rc.Lines) && l.To == between && rc.Lines[i+1].From == between && rc.Lines[i+1].Qty == l.Qty {
			i++
			row.Note = l.From + " to " + rc.Lines[i].To + ", tag there " + rc.Lines[i].Tag
		}
		rows = append(rows, row)
	}
	switch {
	case len(rows) > 1:
		return rc.Says, rows
	case len(rows) == 1 && len(rc.Lines) > 1:
		verb, _, ok := strings.Cut(rc.Says, fmt.Sprintf(" %d lines, the first", len(rc.Lines)))
		if ok {
			return fmt.Sprintf("%s %s %s %s, %s.", verb, rows[0].Kind, rows[0].Text, rows[0].Tag, rows[0].Note), nil
		}
	}
	return rc.Says, nil
}

// bookedBefore shows a booking again whose answer was lost on its way.
func (s *Server) bookedBefore(ctx context.Context, opID string) (handView, bool, error) {
	if opID == "" {
		return handView{}, false, nil
	}
	rc, ok, err := s.store.Booked(ctx, opID)
	if err != nil || !ok {
		return handView{}, false, err
	}
	return doneView(rc, rc.Act != ledger.Reverse), true, nil
}

// carryOut books what the plan says.
func (s *Server) carryOut(ctx context.Context, op store.Op, h hand, p plan) (store.Receipt, error) {
	switch p.act {
	case ledger.Issue:
		return s.store.Issue(ctx, op, store.IssueIn{Picks: p.picks, To: p.to, Job: p.job, Override: p.override, Note: p.note})
	case store.ActStart:
		return s.store.StartJob(ctx, op, store.StartIn{Job: p.job, To: p.to, Pieces: h.seen, Partly: p.partly, Override: p.override, Note: p.note})
	case ledger.Scrap:
		return s.store.Scrap(ctx, op, store.ScrapIn{Picks: p.picks, Job: p.job, Reason: p.note})
	case ledger.Transfer:
		if p.grind != "" {
			return s.grind(ctx, op, p)
		}
		if h.act == "inspect" {
			to, err := s.store.PlaceByCode(ctx, store.CodeInspection)
			if err != nil {
				return store.Receipt{}, err
			}
			return s.store.Transfer(ctx, op, store.TransferIn{Picks: p.picks, To: to.ID, Job: p.job, Reason: p.note})
		}
		return s.store.Transfer(ctx, op, store.TransferIn{Picks: p.picks, To: p.to, Job: p.job})
	case ledger.Return:
		in := store.ReturnIn{Picks: p.picks, To: p.to, Edges: p.edges, Condition: "ok"}
		if h.act == "inspect" {
			in.Condition, in.Reason = "inspect", cmp.Or(p.note, noReason)
		}
		return s.store.Return(ctx, op, in)
	}
	here, err := s.store.InPlace(ctx, p.to)
	if err != nil {
		return store.Receipt{}, err
	}
	var counts []store.CountIn
	for _, st := range here {
		counts = append(counts, store.CountIn{Item: st.ID, Place: p.to, Found: 0, Reason: "drawer found empty"})
	}
	if len(counts) == 0 {
		return store.Receipt{}, &refusal{class: errConflict, field: "scan", detail: "by the books " + h.bin.Code + " is empty already"}
	}
	return s.store.Count(ctx, op, counts)
}

type undoIn struct {
	Op   string `json:"op"`
	Undo string `json:"undo"`
}

// windowUndo takes back the act shown: POST /window/undo.
func (s *Server) windowUndo(c echo.Context) error {
	in, err := decode[undoIn](c)
	if err != nil {
		return err
	}
	return s.undo(c, in.Op, in.Undo)
}

// undoLast takes back the last act of whoever scanned the undo card.
func (s *Server) undoLast(c echo.Context, v viewer, op string) error {
	last, _, err := s.store.LastOp(c.Request().Context(), v.id)
	if err != nil {
		return err
	}
	if last == "" {
		return &refusal{class: errConflict, field: "scan", detail: "you have booked nothing that could be undone"}
	}
	return s.undo(c, op, last)
}

func (s *Server) undo(c echo.Context, op, last string) error {
	ctx := c.Request().Context()
	if done, ok, err := s.bookedBefore(ctx, op); err != nil || ok {
		if err != nil {
			return err
		}
		return s.showHand(c, done)
	}
	if err := s.stillUndoable(ctx, last); err != nil {
		return err
	}
	v, _ := actor(c)
	rc, err := s.store.Reverse(ctx, store.Op{ID: op, Actor: v.id, Device: device(c)}, last, "undone at the window")
	if err != nil {
		return err
	}
	c.Response().Header().Set("HX-Trigger", "booked")
	return s.showHand(c, doneView(rc, false))
}

// stillUndoable refuses to take back what was booked more than a minute ago.
func (s *Server) stillUndoable(ctx context.Context, op string) error {
	rc, ok, err := s.store.Booked(ctx, op)
	if err != nil {
		return err
	}
	if !ok || s.store.Now().Sub(rc.At) > undoTime {
		return &refusal{class: errConflict, field: "undo", detail: "the 60 seconds are over; book the opposite act, or ask a manager to reverse it"}
	}
	return nil
}
