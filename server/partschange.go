package server

import (
	"cmp"
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// editPartPage is the form of a part on record: GET /parts/:code/edit?designation=. With another
// name it shows what that says in place of what the old one said.
func (s *Server) editPartPage(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	e, p, err := s.store.EntryOf(ctx, p.ID)
	if err != nil {
		return err
	}
	facts, err := s.store.Facts(ctx, p.ID)
	if err != nil {
		return err
	}
	v := partNewPage{Edit: p.Code, Op: newOp(), Version: p.Version, Kind: p.Kind, Designation: p.Designation, Href: "/parts/" + pathOf(p.Code) + "/edit"}
	if c.QueryParams().Has("designation") {
		v.Designation = strings.TrimSpace(c.QueryParam("designation"))
		if err := readable("designation", v.Designation); err != nil {
			return err
		}
	}
	told, err := v.read(v.Href + "?designation=")
	if err != nil {
		return err
	}
	origin := map[string]string{}
	for _, f := range facts {
		origin[f.Symbol] = f.Origin
	}
	if v.Designation != p.Designation && v.Error == "" {
		old, _ := store.FromDesignation(p.Kind, p.Designation)
		e.Designation = v.Designation
		for sym, from := range origin {
			if from == store.ByDesignation {
				delete(e.Values, sym)
			}
		}
		if old.Edges > 0 && e.Values["edges"] == strconv.Itoa(old.Edges) {
			delete(e.Values, "edges")
		}
		for _, f := range told.Facts { // the new name fills what is not entered
			if e.Values[f.Symbol] == "" {
				e.Values[f.Symbol], origin[f.Symbol] = f.Entered, store.ByDesignation
			}
		}
		if told.Edges > 0 && e.Values["edges"] == "" {
			e.Values["edges"], origin["edges"] = strconv.Itoa(told.Edges), store.ByDesignation
		}
		v.Notes = append(v.Notes, "Read anew from the name; nothing is saved yet.")
	}
	v.Asked = true
	v.fill(e, told, origin)
	status := http.StatusOK
	if v.Error != "" {
		v.Asked, status = false, http.StatusUnprocessableEntity
	}
	return s.page(c, status, "partnew", "Change "+p.Code, v)
}

// passed are the questions of a change that a person has answered, carried on in the form.
func passed(more map[string]string) []hiddenView {
	var out []hiddenView
	for _, k := range []string{"over", "broken", "confirmed"} {
		if more[k] != "" {
			out = append(out, hiddenView{k, more[k]})
		}
	}
	return out
}

// editPart saves the form: POST /parts/:code/edit. What somebody changed meanwhile, jobs that
// would stop, and what it looks like then are shown first, and saved over when the form comes
// again with the answer.
func (s *Server) editPart(c echo.Context) error {
	in, err := decode[map[string]string](c)
	if err != nil {
		return err
	}
	e, more, err := entryOf(in, "op", "version", "over", "broken", "confirmed")
	if err != nil {
		return err
	}
	p, err := s.store.PartByCode(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	ch := store.PartChange{Part: p.ID, Entry: e, Broken: more["broken"] == "yes", Another: more["confirmed"] == "yes"}
	if ch.Version, err = number("version", more["version"]); err != nil {
		return err
	}
	if more["over"] != "" {
		if ch.Over, err = number("over", more["over"]); err != nil {
			return err
		}
	}
	r, err := s.store.ChangePart(c.Request().Context(), formOp(c, more["op"]), ch)
	if asked, err := s.partAsks(c, err, e, more); asked {
		return err
	}
	if err != nil {
		return err
	}
	code := p.Code
	if now, err := s.store.Part(c.Request().Context(), p.ID); err == nil {
		code = now.Code
	}
	return doneAt(c, "/parts/"+pathOf(code), r)
}

// partAsks shows the question a change was stopped by; false when it was none.
func (s *Server) partAsks(c echo.Context, err error, mine store.PartEntry, more map[string]string) (bool, error) {
	if d, ok := errors.AsType[*store.Double](err); ok {
		v := doublesOf(d)
		v.Passed = passed(more)
		return true, s.render(c, http.StatusConflict, "partnew", "doubles", v)
	}
	if b, ok := errors.AsType[*store.Breaks](err); ok {
		v := breaksView{Code: b.Code, Passed: passed(more)}
		for _, j := range b.Jobs {
			v.Jobs = append(v.Jobs, hitRow{Href: "/jobs/" + pathOf(j.Code), Code: j.Code, Name: j.Name, Note: string(j.From) + ": " + j.Why})
		}
		return true, s.render(c, http.StatusConflict, "partnew", "breaks", v)
	}
	if ch, ok := errors.AsType[*store.Changed](err); ok {
		delete(more, "over")
		v := changedView{Code: ch.Code, Version: ch.Version, Rows: meanwhile(ch, mine), Passed: passed(more)}
		for _, x := range ch.Since {
			v.Since = append(v.Since, changeRow{When: clock(x.At.Time), By: x.By, How: x.How, Said: x.Said})
		}
		return true, s.render(c, http.StatusPreconditionFailed, "partnew", "meanwhile", v)
	}
	return false, nil
}

// A breaksView names the jobs a change would stop.
type breaksView struct {
	Code   string
	Jobs   []hitRow
	Passed []hiddenView
}

// A changedView says what another changed while the form was open.
type changedView struct {
	Code    string
	Version int
	Since   []changeRow
	Rows    []meanwhileRow
	Passed  []hiddenView
}

type changeRow struct {
	OpID, When, By, How, Said string
	Last                      bool // it can be taken back
}

// A meanwhileRow is one value that is not as it was read: what it was, what it is, and what the
// form says.
type meanwhileRow struct{ Name, Was, Now, Yours, Then string }

func meanwhile(ch *store.Changed, mine store.PartEntry) []meanwhileRow {
	var out []meanwhileRow
	row := func(name, was, now, yours string) {
		if was == now {
			return
		}
		then := now
		if yours != was {
			then = yours
		}
		or := func(t string) string { return cmp.Or(t, "nothing") }
		out = append(out, meanwhileRow{name, or(was), or(now), or(yours), or(then)})
	}
	for _, p := range store.PlainFields() {
		row(p.Label, *p.In(&ch.Was), *p.In(&ch.Now), *p.In(&mine))
	}
	for _, f := range store.PartFields(ch.Now.Kind) {
		row(f.Symbol, ch.Was.Values[f.Symbol], ch.Now.Values[f.Symbol], mine.Values[f.Symbol])
	}
	return out
}

type undoChangeIn struct {
	opIn
	Change string `json:"change"`
	Broken string `json:"broken"`
}

// undoChange takes the last change of a part back: POST /parts/:code/undo.
func (s *Server) undoChange(c echo.Context) error {
	in, err := decode[undoChangeIn](c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	r, err := s.store.UndoChange(ctx, formOp(c, in.Op), in.Change, in.Broken == "yes")
	if asked, err := s.partAsks(c, err, store.PartEntry{}, map[string]string{}); asked {
		return err
	}
	if err != nil {
		return err
	}
	code := p.Code
	if now, err := s.store.Part(ctx, p.ID); err == nil {
		code = now.Code
	}
	return doneAt(c, "/parts/"+pathOf(code), r)
}

type retireIn struct {
	opIn
	Retired string `json:"retired"` // "yes": out of use, "no": in use again
	Reason  string `json:"reason"`
}

// retirePart takes a part out of use, or into use again: POST /parts/:code/retire.
func (s *Server) retirePart(c echo.Context, op store.Op, in retireIn) (string, store.Receipt, error) {
	if in.Retired != "yes" && in.Retired != "no" {
		return "", store.Receipt{}, &refusal{class: errInvalid, field: "retired", detail: "out of use, yes or no"}
	}
	r, err := s.setRetired(c, op, in.Retired == "yes", in.Reason)
	return "/parts/" + pathOf(c.Param("code")), r, err
}

func (s *Server) setRetired(c echo.Context, op store.Op, retired bool, reason string) (store.Receipt, error) {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return store.Receipt{}, err
	}
	if retired {
		return s.store.RetirePart(ctx, op, p.ID, reason)
	}
	return s.store.ReusePart(ctx, op, p.ID, reason)
}

// partPatch changes the members it names and leaves the others.
type partPatch struct {
	Version     int                `json:"version" need:"yes"`
	Over        int                `json:"over"`
	Confirmed   bool               `json:"confirmed"`
	Broken      bool               `json:"broken"`
	Kind        *string            `json:"kind"`
	Code        *string            `json:"code"`
	Name        *string            `json:"name"`
	Designation *string            `json:"designation"`
	Maker       *string            `json:"maker"`
	MakerCode   *string            `json:"maker_code"`
	Grade       *string            `json:"grade"`
	Note        *string            `json:"note"`
	Home        *string            `json:"home"`
	Supplier    *string            `json:"supplier"`
	Price       *string            `json:"price"`
	Currency    *string            `json:"currency"`
	LeadDays    *typed             `json:"lead_days"`
	Pack        *typed             `json:"pack"`
	MinOrder    *typed             `json:"min_order"`
	Values      map[string]*string `json:"values"` // null or "" takes a value away
	ByMaker     []string           `json:"by_maker"`
}

// changePart changes a part by the rules of the form: PATCH /api/v1/parts/:code.
func (s *Server) changePart(c echo.Context) error {
	in, err := decode[partPatch](c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	e, _, err := s.store.EntryAt(ctx, p.ID, in.Version)
	if err != nil {
		return err
	}
	for key, t := range map[string]*string{"kind": in.Kind, "code": in.Code, "name": in.Name, "designation": in.Designation, "maker": in.Maker, "maker_code": in.MakerCode,
		"grade": in.Grade, "note": in.Note, "home": in.Home, "supplier": in.Supplier, "price": in.Price, "currency": in.Currency,
		"lead_days": (*string)(in.LeadDays), "pack": (*string)(in.Pack), "min_order": (*string)(in.MinOrder)} {
		if t == nil {
			continue
		}
		for _, f := range store.PlainFields() {
			if f.Key == key {
				*f.In(&e) = *t
			}
		}
	}
	for sym, t := range in.Values {
		e.Values[sym] = ""
		if t != nil {
			e.Values[sym] = *t
		}
	}
	if in.ByMaker != nil {
		e.ByMaker = in.ByMaker
	}
	r, err := s.store.ChangePart(ctx, opOf(c), store.PartChange{Part: p.ID, Version: in.Version, Over: in.Over, Another: in.Confirmed, Broken: in.Broken, Entry: e})
	return receipt(c, r, err)
}

type retirement struct {
	Retired bool   `json:"retired" need:"yes"`
	Reason  string `json:"reason"`
}

// addRetirement takes a part out of use, or into use again: POST /api/v1/parts/:code/retirement.
func (s *Server) addRetirement(c echo.Context) error {
	in, err := decode[retirement](c)
	if err != nil {
		return err
	}
	r, err := s.setRetired(c, opOf(c), in.Retired, in.Reason)
	return receipt(c, r, err)
}

type partChangeOut struct {
	OpID    string `json:"op_id"`
	Version int    `json:"version"`
	At      string `json:"at"`
	By      string `json:"by"`
	How     string `json:"how"`
	Says    string `json:"says"`
}

// listPartChanges lists what people changed of a part's record: GET /api/v1/parts/:code/changes.
func (s *Server) listPartChanges(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	rows, err := s.store.PartChanges(ctx, p.ID, 200)
	if err != nil {
		return err
	}
	see := holdersFor(c)
	var out []partChangeOut
	for _, x := range rows {
		by := x.By
		if !see.all {
			by = ""
		}
		out = append(out, partChangeOut{x.OpID, x.Version, x.At.UTC().Format("2006-01-02T15:04:05.000Z"), by, x.How, x.Said})
	}
	return c.JSON(http.StatusOK, listOf(out, len(out)+1, func(partChangeOut) string { return "" }))
}

type undoAPI struct {
	Broken bool `json:"broken"`
}

// reversePartChange takes the last change of a part back:
// POST /api/v1/parts/:code/changes/:op/reversal.
func (s *Server) reversePartChange(c echo.Context) error {
	in, err := decode[undoAPI](c)
	if err != nil {
		return err
	}
	if _, err := s.store.PartByCode(c.Request().Context(), c.Param("code")); err != nil {
		return err
	}
	r, err := s.store.UndoChange(c.Request().Context(), opOf(c), c.Param("op"), in.Broken)
	return receipt(c, r, err)
}
