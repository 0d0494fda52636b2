package server

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// What is done to a job, once for the forms of its page and for programs: form reads the body
// and answers each in its own way. A page sends texts where a program sends lists and yes or no.

// A tagList is tags in order: a list, or a text with spaces between them.
type tagList []string

// UnmarshalJSON takes both.
func (l *tagList) UnmarshalJSON(b []byte) error {
	if !bytes.HasPrefix(b, []byte(`"`)) {
		return json.Unmarshal(b, (*[]string)(l))
	}
	var text string
	err := json.Unmarshal(b, &text)
	*l = strings.Fields(text)
	return err
}

// A ticked is a yes or no: a program's true or false, a form's text that is there or not.
type ticked bool

// UnmarshalJSON takes both.
func (t *ticked) UnmarshalJSON(b []byte) error {
	switch string(b) {
	case "true", `"yes"`:
		*t = true
	case "false", `""`:
	default:
		return &refusal{class: errInvalid, detail: "that is neither true nor false"}
	}
	return nil
}

// jobAct is an act on the job the address names. After it the browser goes to the job's page.
func jobAct[T interface{ opID() string }](s *Server, act func(c echo.Context, o store.Op, j store.Job, in T) (store.Receipt, error)) echo.HandlerFunc {
	return form(func(c echo.Context, o store.Op, in T) (string, store.Receipt, error) {
		j, err := s.job(c.Request().Context(), "code", c.Param("code"))
		if err != nil {
			return "", store.Receipt{}, err
		}
		r, err := act(c, o, j, in)
		return "/jobs/" + pathOf(j.Code), r, err
	})
}

type planIn struct {
	opIn
	Pieces tagList `json:"pieces"` // tags in the order of a stack of the verdict; none: the best
}

// planJob chooses a job's stack and promises it: POST /jobs/:code/plan.
func (s *Server) planJob(c echo.Context, o store.Op, j store.Job, in planIn) (store.Receipt, error) {
	return s.store.Plan(c.Request().Context(), o, store.PlanIn{Job: j.ID, Pieces: in.Pieces})
}

// releaseJob gives back what was planned: POST /jobs/:code/release.
func (s *Server) releaseJob(c echo.Context, o store.Op, j store.Job, _ opIn) (store.Receipt, error) {
	return s.store.Unplan(c.Request().Context(), o, j.ID)
}

// An undoActIn names the op to take back: of in a form, which needs op for its own; op otherwise.
type undoActIn struct {
	Op string `json:"op"`
	Of string `json:"of"`
}

func (u undoActIn) opID() string {
	if u.Of == "" {
		return ""
	}
	return u.Op
}

// undoJob takes back an act of planning, or within a minute a start or a closing:
// POST /jobs/:code/undo.
func (s *Server) undoJob(c echo.Context, o store.Op, j store.Job, in undoActIn) (store.Receipt, error) {
	ctx, of := c.Request().Context(), cmp.Or(in.Of, in.Op)
	was, ok, err := s.store.Booked(ctx, of)
	if err != nil {
		return store.Receipt{}, err
	}
	if !ok || was.Act == store.ActReserve {
		return s.store.UndoPlan(ctx, o, of)
	}
	// Asked again after a lost answer, the same answer is given, whatever the time.
	if _, before, err := s.store.Booked(ctx, o.ID); err != nil || !before {
		if err == nil {
			err = s.stillUndoable(ctx, of)
		}
		if err != nil {
			return store.Receipt{}, err
		}
	}
	return s.store.Reverse(ctx, o, of, "undone on the page of "+j.Code)
}

type startJobIn struct {
	opIn
	To       string  `json:"to"`       // a place by code or tag, a person by login; empty: the job's own station
	Pieces   tagList `json:"pieces"`   // the tags that were seen
	Partly   ticked  `json:"partly"`   // issue what is there
	Override string  `json:"override"` // why what is promised to another job is taken
	Note     string  `json:"note"`
}

// startJob issues a job's whole kit and sets it running: POST /jobs/:code/start.
func (s *Server) startJob(c echo.Context, o store.Op, j store.Job, in startJobIn) (store.Receipt, error) {
	ctx := c.Request().Context()
	st := store.StartIn{Job: j.ID, Pieces: in.Pieces, Partly: bool(in.Partly), Override: in.Override, Note: in.Note}
	if in.To != "" {
		to, err := s.place(ctx, "to", in.To)
		if err != nil {
			return store.Receipt{}, err
		}
		st.To = to.ID
	}
	return s.store.StartJob(ctx, o, st)
}

type backIn struct {
	opIn
	Tag string `json:"tag"`
	At  string `json:"at"`
}

// sayBack notes when something that is out comes back: POST /jobs/:code/back.
func (s *Server) sayBack(c echo.Context, o store.Op, _ store.Job, in backIn) (store.Receipt, error) {
	ctx := c.Request().Context()
	it, err := s.item(ctx, "tag", in.Tag)
	if err != nil {
		return store.Receipt{}, err
	}
	at, err := parseMoment("at", in.At)
	if err != nil {
		return store.Receipt{}, err
	}
	return s.store.SayBack(ctx, o, it.ID, at)
}

// parseMoment reads what a field for a day and a time of day sends, in the shop's own zone.
func parseMoment(field, text string) (time.Time, error) {
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02 15:04", time.RFC3339} {
		if t, err := time.ParseInLocation(layout, strings.TrimSpace(text), time.Local); err == nil {
			return t, nil
		}
	}
	return time.Time{}, &refusal{class: errInvalid, field: field, detail: clip(text) + " is no day with a time; write it as 2026-03-17 14:00"}
}

type endJobIn struct {
	opIn
	Lines []endLineIn `json:"lines"`
}

type endLineIn struct {
	Tag   string `json:"tag"`
	Place string `json:"place"`
	Do    string `json:"do"`
	Edges *int   `json:"edges"`
}

// endJob closes a job by lines with tags: POST /api/v1/jobs/:code/close.
func (s *Server) endJob(c echo.Context, o store.Op, j store.Job, in endJobIn) (store.Receipt, error) {
	ctx := c.Request().Context()
	end := store.CloseIn{Job: j.ID}
	for _, l := range in.Lines {
		it, err := s.item(ctx, "lines.tag", l.Tag)
		if err != nil {
			return store.Receipt{}, err
		}
		line := store.CloseLine{Item: it.ID, Do: l.Do, Edges: l.Edges}
		if l.Place != "" {
			p, err := s.place(ctx, "lines.place", l.Place)
			if err != nil {
				return store.Receipt{}, err
			}
			line.Place = p.ID
		}
		end.Lines = append(end.Lines, line)
	}
	return s.store.CloseJob(ctx, o, end)
}

// A closeForm is the page's: for each thing a member do-ITEM.PLACE says keep, unload or later,
// and edges-ITEM.PLACE how many edges are left on each insert.
type closeForm map[string]string

func (f closeForm) opID() string { return f["op"] }

// closeJob closes a job from its page: POST /jobs/:code/close.
func (s *Server) closeJob(c echo.Context, o store.Op, j store.Job, in closeForm) (store.Receipt, error) {
	end := store.CloseIn{Job: j.ID}
	for name, do := range in {
		id, ok := strings.CutPrefix(name, "do-")
		if !ok {
			continue
		}
		l := store.CloseLine{Do: do}
		if n, err := fmt.Sscanf(id, "%d.%d", &l.Item, &l.Place); n != 2 || err != nil {
			return store.Receipt{}, &refusal{class: errMalformed, field: name, detail: "this is no thing of the job"}
		}
		if t := strings.TrimSpace(in["edges-"+id]); t != "" && do == store.Unload {
			n, err := strconv.Atoi(t)
			if err != nil {
				return store.Receipt{}, &refusal{class: errInvalid, field: "edges-" + id, detail: clip(t) + " is not a number of edges"}
			}
			l.Edges = &n
		}
		end.Lines = append(end.Lines, l)
	}
	sortCloseLines(end.Lines) // a form has no order, an op's content needs one
	return s.store.CloseJob(c.Request().Context(), o, end)
}

type noteIn struct {
	opIn
	Text      string `json:"text"`
	From      typed  `json:"from"`       // × D from which it is shown, of a form
	FromRatio typed  `json:"from_ratio"` // the same of a program
}

// noteJob keeps a setter's words with the stack of a job: POST /jobs/:code/remarks.
func (s *Server) noteJob(c echo.Context, o store.Op, j store.Job, in noteIn) (store.Receipt, error) {
	r := store.RemarkIn{Job: j.ID, Text: in.Text}
	if t := strings.TrimSpace(string(cmp.Or(in.From, in.FromRatio))); t != "" {
		f, err := decimal("from", t)
		if err != nil {
			return store.Receipt{}, err
		}
		r.FromRatio = &f
	}
	return s.store.AddRemark(c.Request().Context(), o, r)
}

type dropIn struct {
	opIn
	Remark typed `json:"remark"`
}

// dropNote takes a remark off the lists: POST /jobs/:code/remarks/drop.
func (s *Server) dropNote(c echo.Context, _ store.Op, _ store.Job, in dropIn) (store.Receipt, error) {
	id, err := rowID("remark", in.Remark)
	if err != nil {
		return store.Receipt{}, err
	}
	v, _ := actor(c)
	return store.Receipt{Says: "Taken off.", Lines: []store.ReceiptLine{}}, s.store.EndRemark(c.Request().Context(), v.id, id)
}
