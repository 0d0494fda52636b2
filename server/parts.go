package server

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/standard"
)

// mostFound is how many parts a search shows.
const mostFound = 50

// searchPage is one box over everything that has a name: GET /search?q=.
func (s *Server) searchPage(c echo.Context) error {
	ctx := c.Request().Context()
	q := strings.TrimSpace(c.QueryParam("q"))
	v := searchPage{Query: q, Asked: q != ""}
	if err := readable("q", q); err != nil {
		return err
	}
	who, _ := actor(c)
	v.MayKeep = mayKeep(who.role)
	if !v.Asked && access.Of(who.role, access.SeeLedger) == access.Any {
		m, err := s.store.MissedWeek(ctx, s.store.Today())
		if err != nil {
			return err
		}
		v.missed(m)
	}
	if !v.Asked {
		counts, err := s.store.KindCounts(ctx)
		if err != nil {
			return err
		}
		for _, k := range store.PartKinds() {
			if n := counts[k]; n > 0 {
				v.Kinds = append(v.Kinds, hitRow{Href: "/search?q=" + k, Name: count(int64(n), k, k+"s")})
			}
		}
		v.Bare = len(v.Kinds) == 0
		return s.page(c, http.StatusOK, "search", "Search", v)
	}
	see := holdersFor(c)
	if th, err := s.scanned(ctx, q); err == nil {
		switch th.Kind {
		case "item":
			v.Items = rowsOf([]store.Standing{*th.Item}, see)
		case "place":
			v.Places = append(v.Places, hitRow{"/places/" + pathOf(th.Place.Code), th.Place.Code, th.Place.Name, string(th.Place.Kind)})
		case "job":
			v.Jobs = append(v.Jobs, hitRow{"/jobs/" + pathOf(th.Job.Code), th.Job.Code, th.Job.Name, days(th.Job.FromDay, th.Job.ToDay)})
		}
	}
	found, err := s.store.Search(ctx, q, mostFound)
	if err != nil {
		return err
	}
	v.Parts = partRows(found, see)
	if len(found) == mostFound {
		v.Cut = fmt.Sprintf("The first %d are shown. One word more, a size or a maker, finds the one you mean.", mostFound)
	}
	if len(found) == 1 { // one part is meant: show where each of it is
		items, err := s.store.ItemsOf(ctx, found[0].ID)
		if err != nil {
			return err
		}
		v.Items = rowsOf(items, see)
	}
	if see.all && len(v.Parts) == 0 {
		if v.Items, v.People, err = s.heldBy(c, q, v.Items); err != nil {
			return err
		}
	}
	if len(v.Parts) == 0 {
		if p, err := s.store.PartByCode(ctx, strings.ToUpper(q)); err == nil && !p.RetiredAt.IsZero() {
			v.Retired = &hitRow{Href: "/parts/" + pathOf(p.Code), Code: p.Code, Name: p.Name}
		}
	}
	v.Nothing = len(v.Items)+len(v.Parts)+len(v.Jobs)+len(v.Places)+len(v.People) == 0 && v.Retired == nil
	if v.Nothing {
		if v.Likely, err = s.likely(ctx, q); err != nil {
			return err
		}
	}
	if v.Nothing || noneFree(found) {
		part := store.PartID(0)
		if len(found) > 0 {
			part = found[0].ID
		}
		if err := s.store.Missed(ctx, who.id, q, part); err != nil { // the answer does not wait for the note of it
			s.log.Warn("a look-up in vain was not kept", "error", err)
		}
	}
	if !strings.ContainsAny(q, ",;") && len(v.Items)+len(v.Parts) > 0 && len(v.People) == 0 {
		v.LabelPrint = s.labelLink(c, q)
	}
	return s.page(c, http.StatusOK, "search", "Search", v)
}

// likely are the things whose code or tag a text that was not found differs from by a slip.
func (s *Server) likely(ctx context.Context, q string) ([]hitRow, error) {
	near, err := s.store.Near(ctx, q)
	if err != nil {
		return nil, err
	}
	var out []hitRow
	for _, n := range near {
		out = append(out, hitRow{"/" + n.Kind + "s/" + pathOf(n.Code), n.Code, n.Name, n.Kind})
	}
	tags, err := s.store.LikelyTags(ctx, q)
	for _, t := range tags {
		tag, name, _ := strings.Cut(t, " ")
		out = append(out, hitRow{"/t/" + pathOf(tag), tag, strings.Trim(name, "()"), "tag"})
	}
	return out, err
}

// noneFree says that parts were found and none of any is on the shelf to be had.
func noneFree(found []store.Found) bool {
	for _, f := range found {
		if f.Free() > 0 {
			return false
		}
	}
	return len(found) > 0
}

// partRows lists parts with their four numbers and who has what is out.
func partRows(found []store.Found, see holders) []partRow {
	var out []partRow
	for _, f := range found {
		r := partRow{
			Href: "/parts/" + pathOf(f.Code), Code: f.Code, Name: f.Name, Kind: f.Kind,
			OnHand: fmt.Sprint(f.OnHand), Promised: fmt.Sprint(f.Promised), Free: fmt.Sprint(f.Free()), Out: fmt.Sprint(f.Out), Where: inBins(f),
		}
		if f.Designation != "" && !strings.Contains(f.Name, f.Designation) {
			r.Name = strings.TrimSpace(f.Designation + " " + f.Name)
		}
		for i, h := range f.With {
			if i == 3 {
				r.With = append(r.With, fmt.Sprintf("and %d more", len(f.With)-3))
				break
			}
			r.With = append(r.With, fmt.Sprintf("%d %s", h.Qty, holderSays(h, see)))
		}
		out = append(out, r)
	}
	return out
}

// missed puts the week's look-ups in vain on the page.
func (v *searchPage) missed(m store.Miss) {
	v.ShowMissed = true
	if m.Count == 0 {
		v.Missed = fmt.Sprintf("No look-up this week (%s to %s) ended in “not here”.", m.From, m.To)
		return
	}
	v.Missed = fmt.Sprintf("%s this week (%s to %s) ended in “not here”: about %s h at 5 minutes each.", count(m.Count, "look-up", "look-ups"), m.From, m.To, figure(m.Hours, 1))
	for _, t := range m.Top {
		v.MissedTop = append(v.MissedTop, hitRow{Href: "/search?q=" + pathOf(t.Text), Code: t.Text, Note: count(t.Count, "time", "times")})
	}
}

// heldBy finds people whose name or login holds the words, with what they have.
func (s *Server) heldBy(c echo.Context, q string, items []itemRow) ([]itemRow, []hitRow, error) {
	ctx := c.Request().Context()
	people, err := s.store.People(ctx)
	if err != nil {
		return items, nil, err
	}
	var hits []hitRow
	var only store.PlaceID
	for _, p := range people {
		if strings.Contains(strings.ToLower(p.Name+" "+p.Login), strings.ToLower(q)) {
			hits = append(hits, hitRow{"/places/" + pathOf("WITH "+strings.ToUpper(p.Login)), p.Login, p.Name, string(p.Role)})
			only = p.PlaceID
		}
	}
	if len(hits) == 1 {
		has, err := s.store.InPlace(ctx, only)
		if err != nil {
			return items, nil, err
		}
		items = append(items, rowsOf(has, holdersFor(c))...)
	}
	return items, hits, nil
}

// readable refuses a query no name could match and PostgreSQL would not even read.
func readable(field, text string) error {
	if len(text) > 200 || strings.ContainsRune(text, 0) || strings.ToValidUTF8(text, "") != text {
		return &refusal{class: errInvalid, field: field, detail: "ask with at most 200 readable characters"}
	}
	return nil
}

// partPage shows a catalogue record and what the shop has of it: GET /parts/:code.
func (s *Server) partPage(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	if p.Code != c.Param("code") { // a record merged into it, or a foreign code
		return c.Redirect(http.StatusSeeOther, "/parts/"+pathOf(p.Code))
	}
	facts, err := s.store.Facts(ctx, p.ID)
	if err != nil {
		return err
	}
	items, err := s.store.ItemsOf(ctx, p.ID)
	if err != nil {
		return err
	}
	found, err := s.store.FoundPart(ctx, p.ID)
	if err != nil {
		return err
	}
	v := partPage{Code: p.Code, Name: p.Name, Items: rowsOf(items, holdersFor(c))}
	for _, f := range facts {
		v.Sizes = append(v.Sizes, valueRowOf(p.Kind, f))
	}
	if err := s.names(c, p, &v); err != nil {
		return err
	}
	v.Facts = partFacts(p)
	v.Readings = []reading{{"Free", fmt.Sprint(found.Free()), ""}, {"On hand", fmt.Sprint(found.OnHand), ""}, {"Out", fmt.Sprint(found.Out), ""},
		{"Promised", fmt.Sprint(found.Promised), ""}, {"Held back", fmt.Sprint(found.Held), ""}}
	v.Says = atAGlance(found)
	if p.RetiredAt.IsZero() {
		if err := s.mates(c, p, &v); err != nil {
			return err
		}
	}
	v.LabelPrint = s.labelLink(c, p.Code)
	return s.page(c, http.StatusOK, "part", p.Code, v)
}

// atAGlance says what of a part can be had and where.
func atAGlance(f store.Found) string {
	switch at := inBins(f); {
	case f.Free() > 0 && at != "":
		return fmt.Sprintf("%d free, in %s.", f.Free(), at)
	case f.Free() > 0:
		return fmt.Sprintf("%d free.", f.Free())
	case f.OnHand == 0:
		return "None in the shop."
	case at != "":
		return "None free: what lies in " + at + " is promised or held back."
	}
	return "None free: all of it is out or held back."
}

// names fills in what else a part is called, and what may be done about it.
func (s *Server) names(c echo.Context, p store.Part, v *partPage) error {
	ctx := c.Request().Context()
	codes, err := s.store.Codes(ctx, p.ID)
	if err != nil {
		return err
	}
	for _, x := range codes {
		v.Codes = append(v.Codes, codeRow{Code: x.Code, Why: map[string]string{"merged": "a record merged into this one", "linked": "a foreign code, linked"}[x.Why], Linked: x.Why == "linked"})
	}
	merges, err := s.store.Merges(ctx, p.ID)
	if err != nil {
		return err
	}
	for _, m := range merges {
		if !m.Undone {
			v.Merges = append(v.Merges, mergeRow{OpID: m.OpID, Code: m.Code, When: clock(m.At.Time), By: m.By, Reason: m.Reason})
		}
	}
	who, _ := actor(c)
	v.MayKeep, v.MayMerge = mayKeep(who.role), access.Of(who.role, access.MergeParts) != access.No
	v.Op, v.MergeHref, v.CodeHref, v.EditHref = newOp(), "/parts/"+pathOf(p.Code)+"/merge", "/codes", "/parts/"+pathOf(p.Code)+"/edit"
	if !p.RetiredAt.IsZero() {
		v.Retired = clock(p.RetiredAt.Time)
	}
	if holdersFor(c).all {
		changes, err := s.store.PartChanges(ctx, p.ID, 20)
		if err != nil {
			return err
		}
		for i, x := range changes {
			v.Changes = append(v.Changes, changeRow{OpID: x.OpID, When: clock(x.At.Time), By: x.By, How: x.How, Said: x.Said,
				Last: i == 0 && v.MayKeep && x.Version == p.Version && (x.How == "changed" || x.How == "taken back")})
		}
	}
	if v.MayKeep && (p.Kind == "insert" || p.Kind == "bar") {
		v.RegrindHref = "/regrind"
	}
	if p.Kind == "insert" || p.Kind == "bar" {
		if n := readName(p.Kind, p.Designation); n.refusal == nil {
			v.NameHref = "/names?kind=" + p.Kind + "&text=" + pathOf(p.Designation)
			v.Drawing, v.Caption = n.draw()
		}
	}
	return nil
}

// origins are where a value comes from, in words.
var origins = map[string]string{store.Entered: "entered", store.ByDesignation: "from the designation", store.ByMaker: "by the maker"}

// valueRowOf is one value with both units, its meaning and where it comes from.
func valueRowOf(kind string, f store.Fact) valueRow {
	r := valueRow{Symbol: strings.ReplaceAll(f.Symbol, "_", " "), Value: strings.ReplaceAll(strings.Trim(f.Value, `"[]`), `","`, ", "), Origin: origins[f.Origin]}
	if sym, ok := standard.SymbolOf(f.Symbol); ok {
		r.Name, r.Help = sym.Name, sym.Definition
	} else if known, ok := symbolNames[f.Symbol]; ok {
		r.Name = known.name
	}
	for _, field := range store.PartFields(kind) {
		if field.Symbol == f.Symbol {
			r.Name, r.Unit = cmp.Or(r.Name, field.Plain), field.Unit
			if field.Sort == "choice" {
				r.Value = strings.ReplaceAll(r.Value, "_", " ")
			}
		}
	}
	if f.Symbol == "unit" {
		r.Name = "the unit its diameters were entered in, outside then inside"
	}
	switch f.Value {
	case "true":
		r.Value = "yes"
	case "false":
		r.Value = "no"
	}
	if v, err := strconv.ParseFloat(f.Value, 64); err == nil {
		r.Value = figure(v, 4)
		if known, ok := symbolNames[f.Symbol]; ok {
			r.Unit = cmp.Or(r.Unit, known.unit)
		}
		if sym, ok := standard.SymbolOf(f.Symbol); ok && (r.Unit == "" || r.Unit == "mm") {
			if r.Unit = sym.Unit; sym.Unit == "deg" {
				r.Unit = "°"
			}
		}
		entered, err := standard.ParseSize(f.Entered)
		switch {
		case err == nil && entered.Unit() == standard.Inch:
			r.Both = "entered as " + entered.Both()
		case r.Unit == "mm":
			if s, err := standard.Millimetres(v); err == nil {
				r.Both = s.Both()
			}
		}
	}
	return r
}

func partFacts(p store.Part) []factView {
	fs := []factView{{Name: "Kind", Value: p.Kind}, {Name: "Counted by", Value: p.Counted}}
	add := func(name, value, unit string) {
		if value != "" {
			fs = append(fs, factView{Name: name, Value: value, Unit: unit})
		}
	}
	add("Designation", p.Designation, "")
	add("Maker", p.Maker, "")
	add("Maker's code", p.MakerCode, "")
	add("Grade", p.Grade, "")
	if p.Edges > 0 {
		add("Edges", fmt.Sprint(p.Edges), "each")
	}
	if p.PriceCents != nil {
		add("Price", fmt.Sprintf("%d.%02d", *p.PriceCents/100, *p.PriceCents%100), p.Currency)
	}
	if p.LeadDays != nil {
		add("Lead time", fmt.Sprint(*p.LeadDays), "days")
	}
	add("Note", p.Note, "")
	return fs
}
