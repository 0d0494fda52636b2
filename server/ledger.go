package server

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
	"brasspeg/store/ledger"
)

// A ledgerAsk is what a page of the ledger is narrowed to.
type ledgerAsk struct {
	what, act, from, until string
	filter                 store.LineFilter
	says                   string // in words, "" for everything
	far                    bool   // no index narrows it
	none                   bool   // the days hold nothing
}

// far is how many lines back a page looks for what no index narrows down; a link goes on from there,
// so that a page costs the same in a ledger of any length.
const far = 100_000

var ledgerActs = []optionRow{
	{Text: "any"}, {Value: "issue", Text: "issue"}, {Value: "return", Text: "return"}, {Value: "receive", Text: "receive"}, {Value: "transfer", Text: "move"}, {Value: "count", Text: "count"},
	{Value: "adjust", Text: "adjust"}, {Value: "scrap", Text: "scrap"}, {Value: "use", Text: "use up, regrind"}, {Value: "reverse", Text: "undo"},
}

// askLedger reads what the ledger is asked for: ?what= a scan, a code or a name, ?act=, ?from= and
// ?until= days of the shop.
func (s *Server) askLedger(c echo.Context) (a ledgerAsk, err error) {
	a = ledgerAsk{what: strings.TrimSpace(c.QueryParam("what")), act: c.QueryParam("act"), from: c.QueryParam("from"), until: c.QueryParam("until")}
	if err := readable("what", a.what); err != nil {
		return a, err
	}
	var says []string
	if a.what != "" {
		of, err := s.ledgerOf(c.Request().Context(), a.what, &a.filter)
		if err != nil {
			return a, err
		}
		says = append(says, of)
	}
	f := &a.filter
	a.far = a.what != "" && f.Item == 0 && f.Job == 0
	if a.act != "" {
		i := slices.IndexFunc(ledgerActs, func(o optionRow) bool { return o.Value == a.act })
		if i < 0 {
			return a, &refusal{class: errInvalid, field: "act", detail: "the ledger knows no act " + clip(a.act)}
		}
		f.Act, a.far = ledger.Act(a.act), true
		says = append(says, "act "+ledgerActs[i].Text)
	}
	if a.from != "" {
		at, err := s.dayBegins("from", a.from, 0)
		if err != nil {
			return a, err
		}
		if f.After, err = s.store.SeqAt(c.Request().Context(), at); err != nil {
			return a, err
		}
		says = append(says, "from "+a.from)
	}
	if a.until != "" {
		at, err := s.dayBegins("until", a.until, 1)
		if err != nil {
			return a, err
		}
		last, err := s.store.SeqAt(c.Request().Context(), at)
		if err != nil {
			return a, err
		}
		f.Before, a.none = last+1, last <= f.After
		says = append(says, "until "+a.until)
	}
	if a.from != "" && a.until != "" && a.from > a.until {
		return a, &refusal{class: errInvalid, field: "until", detail: "the last day is before the first"}
	}
	if len(says) > 0 {
		a.says = "Only " + strings.Join(says, ", ") + "."
	}
	return a, nil
}

// dayBegins is the moment a day of the shop begins, more days later.
func (s *Server) dayBegins(field, text string, more int) (time.Time, error) {
	d, err := store.ParseDay(text)
	if err != nil {
		return time.Time{}, onField(field, err)
	}
	at, err := time.ParseInLocation(time.DateOnly, string(d), time.Local)
	return at.AddDate(0, 0, more), err
}

// ledgerOf finds out whose lines are meant, and says it.
func (s *Server) ledgerOf(ctx context.Context, what string, f *store.LineFilter) (string, error) {
	th, err := s.scanned(ctx, what)
	if err != nil {
		people, perr := s.store.People(ctx)
		if perr != nil {
			return "", perr
		}
		i := slices.IndexFunc(people, func(p store.Person) bool { return strings.EqualFold(p.Login, what) || strings.EqualFold(p.Name, what) })
		if i < 0 {
			return "", onField("what", err)
		}
		th = store.Thing{Kind: "person", Person: &people[i]}
	}
	switch th.Kind {
	case "person":
		f.Actor, f.Hands = th.Person.ID, th.Person.PlaceID
		return "what " + th.Person.Name + " booked, took or brought", nil
	case "item":
		f.Item = th.Item.ID
		return th.Item.Tag + " " + th.Item.PartCode, nil
	case "part":
		f.Part = th.Part.ID
		return th.Part.Code + " " + th.Part.Name, nil
	case "place":
		f.Place = th.Place.ID
		return "what went into or out of " + th.Place.Code, nil
	case "job":
		f.Job = th.Job.ID
		return "job " + th.Job.Code, nil
	}
	return "", &refusal{class: errInvalid, field: "what", detail: "the ledger has lines of pieces, lots, parts, drawers, stations, jobs and people; " + clip(what) + " is none of these"}
}

func (a ledgerAsk) values() url.Values {
	v := url.Values{}
	for name, text := range map[string]string{"what": a.what, "act": a.act, "from": a.from, "until": a.until} {
		if text != "" {
			v.Set(name, text)
		}
	}
	return v
}

// ledgerPage shows movements, newest first: GET /ledger.
func (s *Server) ledgerPage(c echo.Context) error {
	a, err := s.askLedger(c)
	if err != nil {
		return err
	}
	before, err := beforeOf(c)
	if err != nil {
		return err
	}
	f := a.filter
	if before != 0 && (f.Before == 0 || before < f.Before) {
		f.Before = before
	}
	ctx := c.Request().Context()
	floor := int64(0)
	if a.far {
		top := f.Before
		if top == 0 {
			newest, err := s.store.Lines(ctx, store.LineFilter{Limit: 1})
			if err != nil {
				return err
			}
			if len(newest) > 0 {
				top = newest[0].Seq + 1
			}
		}
		floor = max(f.After, top-1-far)
		f.After = floor
	}
	const rows = 50
	f.Limit = rows
	var lines []store.Line
	if !a.none {
		if lines, err = s.store.Lines(ctx, f); err != nil {
			return err
		}
	}
	v := ledgerPage{What: a.what, From: a.from, Until: a.until, Says: a.says, Movements: movementsOf("Movements, newest first", lines, true)}
	for _, o := range ledgerActs {
		o.Selected = o.Value == a.act
		v.Acts = append(v.Acts, o)
	}
	if a.says != "" && len(lines) == 0 {
		v.Says += " There is no such line."
		v.Movements.Rows = nil
	}
	q := a.values()
	v.CSV = "/ledger/table?" + q.Encode()
	q.Set("as", "xlsx")
	v.XLSX = "/ledger/table?" + q.Encode()
	q.Del("as")
	switch {
	case len(lines) == rows && lines[rows-1].Seq > 1:
		q.Set("before", strconv.FormatInt(lines[rows-1].Seq, 10))
		v.Older, v.OlderSays = "/ledger?"+q.Encode(), "Older lines"
	case floor > a.filter.After:
		q.Set("before", strconv.FormatInt(floor+1, 10))
		v.Older, v.OlderSays = "/ledger?"+q.Encode(), fmt.Sprintf("Looked back as far as line %d; look further back", floor+1)
	}
	return s.page(c, http.StatusOK, "ledger", "Ledger", v)
}

// mostExported is how many lines of the ledger one file holds. The whole of a long one is an export.
const mostExported = 20_000

// ledgerTable is the same as a file: GET /ledger/table?as=csv|xlsx.
func (s *Server) ledgerTable(c echo.Context) error {
	a, err := s.askLedger(c)
	if err != nil {
		return err
	}
	sh := store.Sheet{Name: "ledger", Head: []string{"no", "at", "act", "tag", "part", "pieces", "from", "to", "by", "job", "reason", "reverses", "undone", "booking"}}
	f := a.filter
	f.Limit = 1000
	for !a.none {
		lines, err := s.store.Lines(c.Request().Context(), f)
		if err != nil {
			return err
		}
		for _, l := range lines {
			reverses, undone := any(""), ""
			if l.Reverses != nil {
				reverses = *l.Reverses
			}
			if l.Undone {
				undone = "yes"
			}
			sh.Rows = append(sh.Rows, []any{l.Seq, l.At.Time.UTC().Format(time.RFC3339), string(l.Act), l.Tag, l.Part, l.Qty, l.From, l.To, l.Actor, l.Job, l.Reason, reverses, undone, l.OpID})
		}
		if len(sh.Rows) > mostExported {
			return &refusal{class: errInvalid, field: "from", detail: fmt.Sprintf("these are more than %d lines; narrow them by days, or have the whole ledger exported at the console", mostExported)}
		}
		if len(lines) < f.Limit {
			break
		}
		f.Before = lines[len(lines)-1].Seq
	}
	return sendSheet(c, sh)
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
