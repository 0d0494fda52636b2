package server

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/standard"
)

// mayKeep says whether a role enters parts.
func mayKeep(role access.Role) bool { return access.Of(role, access.KeepParts) != access.No }

// partNewPage is the form of a part: of a new one first kind and name, then what the name left
// open; of one on record every value as it stands.
type partNewPage struct {
	Kinds       []choice
	Kind        string
	Designation string
	Asked       bool   // kind and name are given: show the fields
	Canonical   string // as the name is spelt
	Error       string // the name is refused
	Meant       []hitRow
	Notes       []string
	Plain       []plainView
	Fields      []fieldView

	Edit, Op string // code of the part to change, and the op id of the change
	Version  int
	Href     string // where the form goes
}

// A plainView is a value every kind has.
type plainView struct {
	Key, Label, Value, Help, Class string
	Must                           bool
}

// A fieldView is one value with its help: what the symbol means, and what the name says.
type fieldView struct {
	Symbol, Label, Value, Help, Ask, Origin, Told string
	Choices                                       []choice
	Maker                                         bool
}

// newPartPage is the form: GET /parts/new?kind=&designation=.
func (s *Server) newPartPage(c echo.Context) error {
	v := partNewPage{Kind: c.QueryParam("kind"), Designation: strings.TrimSpace(c.QueryParam("designation")), Href: "/parts"}
	for field, text := range map[string]string{"kind": v.Kind, "designation": v.Designation} {
		if err := readable(field, text); err != nil {
			return err
		}
	}
	for _, k := range store.PartKinds() {
		v.Kinds = append(v.Kinds, choice{k, k, k == v.Kind})
	}
	if store.PartFields(v.Kind) == nil {
		return s.page(c, http.StatusOK, "partnew", "New part", v)
	}
	told, err := v.read("/parts/new?kind=" + v.Kind + "&designation=")
	if err != nil || v.Error != "" {
		if err == nil {
			err = s.page(c, http.StatusOK, "partnew", "New part", v)
		}
		return err
	}
	v.fill(store.PartEntry{Kind: v.Kind, Code: proposed(v.Kind, cmp.Or(told.Canonical, v.Designation))}, told, nil)
	return s.page(c, http.StatusOK, "partnew", "New part", v)
}

// read reads the name; a refused one is told on the page with what was likely meant.
func (v *partNewPage) read(again string) (store.Told, error) {
	told, err := store.FromDesignation(v.Kind, v.Designation)
	if r, ok := errors.AsType[*standard.Refusal](err); ok {
		v.Error = sentence(r.Error())
		for _, m := range r.Meant {
			v.Meant = append(v.Meant, hitRow{Href: again + pathOf(m), Code: m})
		}
		return told, nil
	} else if err != nil {
		return told, err
	}
	v.Asked, v.Canonical, v.Notes = true, told.Canonical, told.Notes
	return told, nil
}

// fill lays out every field of the kind, with the values of an entry; origins say where a value
// on record comes from.
func (v *partNewPage) fill(e store.PartEntry, told store.Told, origin map[string]string) {
	for _, p := range store.PlainFields() {
		if p.Key == "kind" || p.Key == "designation" || p.Key == "grade" && e.Kind != "insert" {
			continue
		}
		w := plainView{Key: p.Key, Label: p.Label, Value: *p.In(&e), Help: p.Help, Must: p.Key == "code"}
		switch p.Key {
		case "code", "home", "supplier":
			w.Class = "code"
		case "price", "currency", "lead_days", "pack", "min_order":
			w.Class = "few"
		}
		v.Plain = append(v.Plain, w)
	}
	for _, f := range store.PartFields(e.Kind) {
		v.Fields = append(v.Fields, valueField(f, e, told, origin))
	}
}

// proposed is a code made of the name; a person may write another.
func proposed(kind, name string) string {
	if name == "" {
		return ""
	}
	front := map[string]string{"holder": "HLD", "sleeve": "SLV", "bar": "BAR", "head": "HED", "insert": "INS", "hose": "HOS", "fitting": "FIT", "adapter": "ADP", "spare": "SPR"}[kind]
	var b strings.Builder
	for _, r := range strings.ToUpper(name) {
		switch {
		case r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '.':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return front + "-" + strings.Trim(b.String(), "-")
}

// valueNames are the values that no standard names, in words.
var valueNames = map[string]string{"interface": "Turret seat", "clamp": "Clamping", "coolant": "Coolant", "coolant_in": "Coolant comes in at", "torque_nm": "Tightening torque",
	"type": "Split or solid", "for_damped": "Made for damped bars", "sealed": "Keeps coolant in", "index": "Aid for centre height", "construction": "Shank made of",
	"CCWS": "CCWS, coupling, workpiece side", "CCMS": "CCMS, coupling, machine side", "seat": "Insert pocket", "flat": "Flat for clamp screws", "hollow": "Bored through",
	"edges": "Cutting edges", "ends": "Ends", "LEN": "Length"}

// valueName is what a value is called on a page.
func valueName(symbol string) string {
	if n, ok := valueNames[symbol]; ok {
		return n
	}
	return strings.ReplaceAll(symbol, "_", " ")
}

// valueField is one field: the value on record with its origin, else what the name says.
func valueField(f store.PartField, e store.PartEntry, told store.Told, origin map[string]string) fieldView {
	v := fieldView{Symbol: f.Symbol, Label: valueName(f.Symbol), Value: e.Values[f.Symbol], Origin: origins[origin[f.Symbol]], Maker: slices.Contains(e.ByMaker, f.Symbol)}
	if sym, ok := standard.SymbolOf(f.Symbol); ok {
		v.Label, v.Help = f.Symbol+", "+sym.Name, sym.Definition
	} else if f.Plain != "" {
		v.Help = f.Plain
	}
	switch f.Sort {
	case "size":
		v.Help = strings.TrimSpace(v.Help + " (write the unit: 32 mm, 1-1/4 in)")
	case "number":
		v.Label += ", in " + f.Unit
	case "yes":
		v.Choices = []choice{{"", "not said", true}, {"yes", "yes", false}, {"no", "no", false}}
	case "choice":
		v.Choices = []choice{{"", "not said", true}}
		for _, c := range f.Choices {
			v.Choices = append(v.Choices, choice{c, strings.ReplaceAll(c, "_", " "), false})
		}
	}
	says := ""
	for _, x := range told.Facts {
		if x.Symbol == f.Symbol {
			says = x.Entered
		}
	}
	if f.Symbol == "edges" && told.Edges > 0 {
		says = fmt.Sprint(told.Edges)
	}
	switch {
	case says == "":
	case v.Value == "" && origin == nil: // a name just read fills what it says
		v.Value, v.Origin = says, origins[store.ByDesignation]
	case v.Value == "" || v.Origin != origins[store.ByDesignation]:
		v.Told = "the name says " + says
	}
	for i := range v.Choices {
		v.Choices[i].Here = strings.EqualFold(v.Choices[i].Value, v.Value)
	}
	for _, a := range told.Asks {
		if a.Symbol == f.Symbol {
			v.Ask = sentence(a.Question)
		}
	}
	return v
}

// A doublesView names what the shop has already, before a person saves it all the same.
type doublesView struct {
	Of     []doubleRow
	Passed []hiddenView // what was answered before
}

// A hiddenView is a field that a form carries on.
type hiddenView struct{ Name, Value string }

type doubleRow struct{ Href, Code, Name, Why, At, OnHand, Free string }

// entryOf reads a form of a part: its own values, and beside them only what extras names.
func entryOf(in map[string]string, extras ...string) (e store.PartEntry, more map[string]string, err error) {
	e.Values, more = map[string]string{}, map[string]string{}
	plain := map[string]*string{}
	for _, p := range store.PlainFields() {
		plain[p.Key] = p.In(&e)
	}
	for k, t := range in {
		if err := readable(k, t); err != nil {
			return e, more, err
		}
		if to, ok := plain[k]; ok {
			*to = t
		} else if sym, ok := strings.CutPrefix(k, "maker:"); ok {
			if t != "" {
				e.ByMaker = append(e.ByMaker, sym)
			}
		} else if sym, ok := strings.CutPrefix(k, "v:"); ok {
			e.Values[sym] = t
		} else if slices.Contains(extras, k) {
			more[k] = t
		} else {
			return e, more, unreadable("unknown_field", k, "%q is not known here", k)
		}
	}
	slices.Sort(e.ByMaker)
	return e, more, nil
}

// newPart saves the form: POST /parts. What looks like a double is shown and saved only when
// the form comes again with confirmed.
func (s *Server) newPart(c echo.Context) error {
	in, err := decode[map[string]string](c)
	if err != nil {
		return err
	}
	e, more, err := entryOf(in, "confirmed")
	if err != nil {
		return err
	}
	v, _ := actor(c)
	p, err := s.enter(c, v.id, e, more["confirmed"] == "yes")
	if d, ok := errors.AsType[*store.Double](err); ok {
		return s.render(c, http.StatusConflict, "partnew", "doubles", doublesOf(d))
	}
	if err != nil {
		return err
	}
	c.Response().Header().Set("HX-Redirect", "/parts/"+pathOf(p.Code))
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) enter(c echo.Context, actor store.PersonID, e store.PartEntry, confirmed bool) (store.Part, error) {
	ctx := c.Request().Context()
	f, err := s.store.FillPart(ctx, e)
	if err != nil {
		return store.Part{}, err
	}
	return s.store.EnterPart(ctx, actor, f, confirmed)
}

func doublesOf(d *store.Double) doublesView {
	var v doublesView
	for _, x := range d.Of {
		v.Of = append(v.Of, doubleRow{Href: "/parts/" + pathOf(x.Code), Code: x.Code, Name: cmp.Or(x.Designation, x.Name), Why: x.Why, At: x.At, OnHand: fmt.Sprint(x.OnHand), Free: fmt.Sprint(x.Free())})
	}
	return v
}

// partImportPage reads a file of parts: GET /parts/import.
type partImportPage struct{ Most int }

func (s *Server) importPartsPage(c echo.Context) error {
	return s.page(c, http.StatusOK, "partimport", "Parts from a file", partImportPage{maxBody >> 10})
}

type importIn struct {
	Table     string `json:"table"` // CSV
	Act       string `json:"act"`   // "look" or "take"
	Confirmed string `json:"confirmed"`
}

// An importView is what a file would do, or has done.
type importView struct {
	Says    string
	Bad     []store.BadRow
	Doubles []store.BadRow
	Notes   []store.BadRow
	New     []string
	Same    int
	Applied bool
}

func (s *Server) importParts(c echo.Context) error {
	in, err := decode[importIn](c)
	if err != nil {
		return err
	}
	if in.Act != "look" && in.Act != "take" {
		return &refusal{class: errInvalid, field: "act", detail: "look at the file or take it in"}
	}
	v, _ := actor(c)
	ctx := c.Request().Context()
	rep, err := s.store.ImportParts(ctx, v.id, []byte(in.Table), in.Act == "take", in.Confirmed == "yes")
	if err != nil && rep.Rows == 0 {
		return err
	}
	out := importView{Bad: rep.Bad, Doubles: rep.Doubles, Notes: rep.Notes, New: rep.New, Same: len(rep.Same), Applied: rep.Applied && err == nil && in.Act == "take"}
	status := http.StatusOK
	switch {
	case err != nil:
		out.Says, status = sentence(said(err)), problemOf(err).Status
	case out.Applied:
		out.Says = fmt.Sprintf("Taken in: %d new parts; %d were there already.", len(rep.New), len(rep.Same))
	default:
		out.Says = fmt.Sprintf("%d rows: %d new, %d there already, %d that can not be taken, %d that look like doubles. Nothing has changed yet.", rep.Rows, len(rep.New), len(rep.Same), len(rep.Bad), len(rep.Doubles))
	}
	return s.render(c, status, "partimport", "imported", out)
}

// partMergePage makes one part of two: GET /parts/:code/merge?into=.
type partMergePage struct {
	Op, Code, Name, Into string
	Alike                []doubleRow
}

func (s *Server) mergePage(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	facts, err := s.store.Facts(ctx, p.ID)
	if err != nil {
		return err
	}
	same, err := s.store.Doubles(ctx, store.PartIn{Part: p, Facts: facts})
	if err != nil {
		return err
	}
	v := partMergePage{Op: newOp(), Code: p.Code, Name: cmp.Or(p.Name, p.Designation), Into: c.QueryParam("into"), Alike: doublesOf(&store.Double{Of: same}).Of}
	return s.page(c, http.StatusOK, "partmerge", "Merge "+p.Code, v)
}

type mergeIn struct {
	Op     string `json:"op"`
	Into   string `json:"into"`
	Reason string `json:"reason"`
}

// merge makes a part one with another: POST /parts/:code/merge.
func (s *Server) merge(c echo.Context) error {
	in, err := decode[mergeIn](c)
	if err != nil {
		return err
	}
	v, _ := actor(c)
	into, _, err := s.mergeParts(c, store.Op{ID: in.Op, Actor: v.id, Device: device(c)}, c.Param("code"), in.Into, in.Reason)
	if err != nil {
		return err
	}
	c.Response().Header().Set("HX-Redirect", "/parts/"+pathOf(into.Code))
	return c.NoContent(http.StatusNoContent)
}

// mergeParts finds the two by code and merges them. The record that is gone answers to the
// other's code already when the same merge is sent again; then its own number is asked for.
func (s *Server) mergeParts(c echo.Context, op store.Op, code, into, reason string) (store.Part, store.Receipt, error) {
	ctx := c.Request().Context()
	to, err := s.store.PartByCode(ctx, strings.TrimSpace(into))
	if err != nil {
		return to, store.Receipt{}, err
	}
	from, err := s.store.PartRecord(ctx, code)
	if err != nil {
		return to, store.Receipt{}, err
	}
	r, err := s.store.Merge(ctx, op, store.MergeIn{From: from.ID, Into: to.ID, Reason: reason})
	return to, r, err
}

type unmergeIn struct {
	Op     string `json:"op"`
	Merge  string `json:"merge"`
	Reason string `json:"reason"`
}

// unmerge takes a merge apart: POST /parts/:code/unmerge.
func (s *Server) unmerge(c echo.Context) error {
	in, err := decode[unmergeIn](c)
	if err != nil {
		return err
	}
	v, _ := actor(c)
	if _, err := s.store.Unmerge(c.Request().Context(), store.Op{ID: in.Op, Actor: v.id, Device: device(c)}, in.Merge, in.Reason); err != nil {
		return err
	}
	c.Response().Header().Set("HX-Redirect", "/parts/"+pathOf(c.Param("code")))
	return c.NoContent(http.StatusNoContent)
}

// codesPage links a foreign code to a part: GET /codes?code=.
type codesPage struct {
	Op, Code, Part, Says string
	Known                *hitRow
	Likely               []hitRow
}

func (s *Server) codesPage(c echo.Context) error {
	ctx := c.Request().Context()
	v := codesPage{Op: newOp(), Code: strings.TrimSpace(c.QueryParam("code"))}
	if err := readable("code", v.Code); err != nil {
		return err
	}
	if v.Code != "" {
		th, err := s.scanned(ctx, v.Code)
		switch {
		case err == nil:
			v.Says = v.Code + " means " + th.Says + "."
			if th.Part != nil {
				v.Known = &hitRow{Href: "/parts/" + pathOf(th.Part.Code), Code: th.Part.Code, Name: th.Part.Name}
			}
		case errors.Is(err, store.ErrNotFound):
			v.Says = sentence(said(err))
			likely, err := s.store.LinkTo(ctx, v.Code)
			if err != nil {
				return err
			}
			for _, p := range likely {
				v.Likely = append(v.Likely, hitRow{Href: "/parts/" + pathOf(p.Code), Code: p.Code, Name: cmp.Or(p.Name, p.Designation), Note: p.MakerCode})
			}
			if len(likely) == 1 {
				v.Part = likely[0].Code
			}
		default:
			v.Says = sentence(said(err))
		}
	}
	return s.page(c, http.StatusOK, "codes", "Foreign codes", v)
}

type linkIn struct {
	Op   string `json:"op"`
	Code string `json:"code"`
	Part string `json:"part"`
}

// link lets a part answer to a foreign code: POST /codes.
func (s *Server) link(c echo.Context) error {
	in, err := decode[linkIn](c)
	if err != nil {
		return err
	}
	v, _ := actor(c)
	p, _, err := s.linkCode(c, store.Op{ID: in.Op, Actor: v.id, Device: device(c)}, in.Code, in.Part)
	if err != nil {
		return err
	}
	c.Response().Header().Set("HX-Redirect", "/parts/"+pathOf(p.Code))
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) linkCode(c echo.Context, op store.Op, code, part string) (store.Part, store.Receipt, error) {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, strings.TrimSpace(part))
	if err != nil {
		return p, store.Receipt{}, err
	}
	r, err := s.store.LinkCode(ctx, op, code, p.ID)
	return p, r, err
}

// unlink takes a linked code off again: POST /codes/unlink.
func (s *Server) unlink(c echo.Context) error {
	in, err := decode[linkIn](c)
	if err != nil {
		return err
	}
	v, _ := actor(c)
	if _, err := s.store.UnlinkCode(c.Request().Context(), store.Op{ID: in.Op, Actor: v.id, Device: device(c)}, in.Code); err != nil {
		return err
	}
	c.Response().Header().Set("HX-Redirect", "/parts/"+pathOf(in.Part))
	return c.NoContent(http.StatusNoContent)
}

// regrindPage books pieces back from grinding: GET /regrind?tag=.
type regrindPage struct {
	Op, Tag string
	Out     []groundRow
}

func (s *Server) regrindPage(c echo.Context) error {
	if err := readable("tag", c.QueryParam("tag")); err != nil {
		return err
	}
	out, err := s.atGrinder(c.Request().Context())
	if err != nil {
		return err
	}
	return s.page(c, http.StatusOK, "regrind", "Regrind", regrindPage{newOp(), c.QueryParam("tag"), out})
}

type regrindIn struct {
	Op    string `json:"op"`
	Tag   string `json:"tag"`
	Qty   string `json:"qty"`
	Size  string `json:"size"`
	Edges string `json:"edges"`
	To    string `json:"to"`
}

// regrind books them: POST /regrind. The answer opens the new piece or lot, whose label is to
// be printed.
func (s *Server) regrind(c echo.Context) error {
	in, err := decode[regrindIn](c)
	if err != nil {
		return err
	}
	qty, edges := int64(1), 0
	if in.Qty != "" {
		if _, err := fmt.Sscan(in.Qty, &qty); err != nil {
			return &refusal{class: errInvalid, field: "qty", detail: "how many pieces were ground? Give a whole number"}
		}
	}
	if in.Edges != "" {
		if _, err := fmt.Sscan(in.Edges, &edges); err != nil || edges < 1 || edges > 100 {
			return &refusal{class: errInvalid, field: "edges", detail: "how many edges can be used? Give a whole number"}
		}
	}
	v, _ := actor(c)
	g, err := s.reground(c, store.Op{ID: in.Op, Actor: v.id, Device: device(c)}, in.Tag, in.To, store.RegrindIn{Qty: qty, Size: in.Size, Edges: edges})
	if err != nil {
		return err
	}
	c.Response().Header().Set("HX-Redirect", "/pieces/"+g.Tag)
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) reground(c echo.Context, op store.Op, tag, to string, in store.RegrindIn) (store.Reground, error) {
	ctx := c.Request().Context()
	it, err := s.item(ctx, "tag", tag)
	if err != nil {
		return store.Reground{}, err
	}
	in.Item = it.ID
	if to != "" {
		p, err := s.place(ctx, "to", to)
		if err != nil {
			return store.Reground{}, err
		}
		in.To = p.ID
	}
	return s.store.Regrind(ctx, op, in)
}
