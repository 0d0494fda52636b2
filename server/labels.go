package server

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/labels"
	"brasspeg/server/access"
	"brasspeg/store"
)

// labelsBody is the page where labels are chosen, looked at and printed.
type labelsBody struct {
	Select                       string
	Sheets                       []optionRow
	Dpis                         []optionRow
	Sheet, Start, Right, Down    string
	Own                          bool // the medium is none of the list
	Chosen                       bool
	Fault                        string // why nothing can be printed
	Readings                     []reading
	Preview, PreviewAlt          string
	Before, After                string // addresses of the pages beside
	Op                           string
	Calibration                  string
	Materials                    []factView
	Rounds                       []thinRow
	Runs                         []runRow
	NewCount, WornCount, MadeNew string
}

type optionRow struct {
	Value, Text string
	Selected    bool
}

// A thinRow says how a thin round piece is to be marked.
type thinRow struct{ Diameter, Pieces, Code, Says string }

type runRow struct{ Href, When, By, Labels, Medium, First string }

// medium is what a page asks to print on; it is remembered in the browser.
type medium struct {
	sheet          string
	start, dpi     int
	right, down    float64
	labels         labels.Sheet
	startS, rightS string
	downS, dpiS    string
}

// mediaNames are offered by name; any other can be typed.
var mediaNames = []optionRow{
	{Value: "a4", Text: "A4, 21 labels of 63.5 × 38.1 mm"}, {Value: "letter", Text: "Letter, 10 labels of 4 × 2 inches"},
	{Value: "50x25", Text: "label printer, 50 × 25 mm"}, {Value: "60x40", Text: "label printer, 60 × 40 mm"}, {Value: "30x50", Text: "label printer, 30 × 50 mm, upright"},
	{Value: "a4:48.5x25.4", Text: "A4 full of labels 48.5 × 25.4 mm"},
}

const labelCookie = "labels"

// mediumOf reads the medium a request asks for; what it leaves out is as it was last time.
func mediumOf(get func(string) string, kept url.Values) (medium, error) {
	pick := func(name, other string) string {
		for _, v := range []string{get(name), kept.Get(name), other} {
			if v = strings.TrimSpace(v); v != "" {
				return v
			}
		}
		return ""
	}
	m := medium{sheet: pick("sheet", "a4"), startS: pick("start", "1"), rightS: pick("right", "0"), downS: pick("down", "0"), dpiS: pick("dpi", "0")}
	if own := strings.TrimSpace(get("own")); own != "" {
		m.sheet = own
	}
	var err error
	if m.labels, err = labels.ParseSheet(m.sheet); err != nil {
		return m, drawn(err)
	}
	m.sheet = m.labels.Name
	for _, f := range []struct {
		name, text string
		to         *int
	}{{"start", m.startS, &m.start}, {"dpi", m.dpiS, &m.dpi}} {
		if *f.to, err = strconv.Atoi(f.text); err != nil {
			return m, &refusal{class: errInvalid, field: f.name, detail: f.name + " is a whole number, not " + clip(f.text)}
		}
	}
	if m.labels.PerPage() == 1 {
		m.start = 1
	} else {
		m.dpi = 0 // sheets go through office printers
		if m.start > m.labels.PerPage() && get("start") == "" {
			m.start = 1 // it was kept for another sheet
		}
	}
	for _, f := range []struct {
		name, text string
		to         *float64
	}{{"right", m.rightS, &m.right}, {"down", m.downS, &m.down}} {
		if *f.to, err = strconv.ParseFloat(strings.Replace(f.text, ",", ".", 1), 64); err != nil {
			return m, &refusal{class: errInvalid, field: f.name, detail: f.name + " is a length in mm, not " + clip(f.text)}
		}
	}
	if m.start < 1 {
		return m, &refusal{class: errInvalid, field: "start", detail: "the first label of a sheet is 1"}
	}
	m.labels.Start, m.labels.DPI, m.labels.OffsetX, m.labels.OffsetY = m.start, m.dpi, m.right, m.down
	return m, drawn(m.labels.Check())
}

func (m medium) values() url.Values {
	return url.Values{"sheet": {m.sheet}, "start": {fmt.Sprint(m.start)}, "right": {figure(m.right, 2)}, "down": {figure(m.down, 2)}, "dpi": {fmt.Sprint(m.dpi)}}
}

func keptMedium(c echo.Context) url.Values {
	ck, err := c.Cookie(labelCookie)
	if err != nil || len(ck.Value) > 300 {
		return nil
	}
	text, err := url.QueryUnescape(ck.Value)
	if err != nil {
		return nil
	}
	v, err := url.ParseQuery(text)
	if err != nil {
		return nil
	}
	if _, err := mediumOf(func(string) string { return "" }, v); err != nil {
		return nil // a cookie of another time, or not ours
	}
	return v
}

// keep remembers the medium in the browser for a year.
func (s *Server) keep(c echo.Context, m medium) {
	c.SetCookie(&http.Cookie{Name: labelCookie, Value: url.QueryEscape(m.values().Encode()), Path: "/labels", MaxAge: 365 * 24 * 3600,
		HttpOnly: true, Secure: s.cfg.TLS, SameSite: http.SameSiteStrictMode})
}

// drawn makes a refusal of the label room one of ours; its words are for people.
func drawn(err error) error {
	if r, ok := errors.AsType[*labels.Refusal](err); ok {
		field := r.Field
		if field == "" {
			field = "select"
		}
		return &refusal{class: errInvalid, field: field, detail: err.Error()}
	}
	return err
}

// chosenOf joins what a form or a link chose: one query, or many tags ticked.
func chosenOf(c echo.Context) string {
	return strings.TrimSpace(strings.Join(c.QueryParams()["select"], ", "))
}

// labelsOf are the labels of a query, and what they say as plain values.
func (s *Server) labelsOf(ctx context.Context, query string) ([]store.LabelText, []labels.Label, error) {
	if strings.ContainsRune(query, 0) || strings.ToValidUTF8(query, "") != query {
		return nil, nil, &refusal{class: errInvalid, field: "select", detail: "choose with readable characters"}
	}
	texts, err := s.store.Labels(ctx, query)
	if err != nil {
		return nil, nil, err
	}
	return texts, DrawLabels(texts, string(s.store.Today())), nil
}

// labelsPage chooses, shows and offers to print: GET /labels?select=&sheet=&start=.
func (s *Server) labelsPage(c echo.Context) error {
	ctx := c.Request().Context()
	v := labelsBody{Select: chosenOf(c), Op: newOp()}
	m, bad := mediumOf(c.QueryParam, keptMedium(c))
	v.Sheet, v.Start, v.Right, v.Down = m.sheet, m.startS, m.rightS, m.downS
	if bad == nil {
		v.Start = fmt.Sprint(m.start)
	}
	v.Own = true
	for _, o := range mediaNames {
		if o.Selected = o.Value == m.sheet; o.Selected {
			v.Own = false
		}
		v.Sheets = append(v.Sheets, o)
	}
	for _, d := range []optionRow{{"0", "office printer", false}, {"203", "label printer, 203 dpi", false}, {"300", "label printer, 300 dpi", false}, {"600", "label printer, 600 dpi", false}} {
		d.Selected = d.Value == fmt.Sprint(m.dpi)
		v.Dpis = append(v.Dpis, d)
	}
	status := http.StatusOK
	if bad == nil {
		v.Calibration = "/labels/calibration.pdf?" + m.values().Encode()
	}
	if v.Chosen = v.Select != ""; v.Chosen && bad == nil {
		bad = s.choose(c, &v, m)
	}
	if bad != nil {
		p := problemOf(bad)
		if p.Status >= 500 {
			return bad
		}
		status, v.Fault = p.Status, p.Detail
	}
	if err := s.labelLists(ctx, &v); err != nil {
		return err
	}
	return s.page(c, status, "labels", "Labels", v)
}

func (s *Server) choose(c echo.Context, v *labelsBody, m medium) error {
	texts, ls, err := s.labelsOf(c.Request().Context(), v.Select)
	if err != nil {
		return err
	}
	page := 1
	if p := c.QueryParam("page"); p != "" {
		if page, err = number("page", p); err != nil {
			return err
		}
	}
	if err := labels.Fit(ls, m.labels); err != nil { // all of it, so that nothing is offered that would print by halves
		return drawn(err)
	}
	pages := m.labels.Pages(len(ls))
	page = min(max(page, 1), pages)
	q := m.values()
	q.Set("select", v.Select)
	at := func(path string, n int) string {
		q.Set("page", fmt.Sprint(n))
		return path + "?" + q.Encode()
	}
	v.Preview, v.PreviewAlt = at("/labels/page.svg", page), fmt.Sprintf("Page %d of %d as it will be printed", page, pages)
	if page > 1 {
		v.Before = at("/labels", page-1)
	}
	if page < pages {
		v.After = at("/labels", page+1)
	}
	v.Readings = []reading{{"Labels", fmt.Sprint(len(ls)), ""}, {"Pages", fmt.Sprint(pages), ""}, {"Each", m.labels.Cell.String(), ""}}
	v.advise(texts)
	return nil
}

// advise says what to print on, and how to mark what is too thin for a label.
func (v *labelsBody) advise(texts []store.LabelText) {
	seen := map[string]bool{}
	round := map[float64][]string{}
	for _, t := range texts {
		kind := t.Part
		if kind == "" {
			kind = t.Kind
		}
		if !seen[kind] {
			seen[kind] = true
			v.Materials = append(v.Materials, factView{Name: kind, Value: labels.Material(kind)})
		}
		if t.Diameter > 0 {
			round[t.Diameter] = append(round[t.Diameter], t.Tag)
		}
	}
	for d, tags := range round {
		r, err := labels.RoundBar(tags[0], d)
		if err != nil || r.Fits {
			continue
		}
		w := r.Ways[0]
		v.Rounds = append(v.Rounds, thinRow{Diameter: figure(d, 2), Pieces: fmt.Sprint(len(tags)), Code: figure(r.Widest, 1),
			Says: fmt.Sprintf("%s of %s: %s", w.Form, w.Area, w.Why)})
	}
	slices.SortFunc(v.Rounds, func(a, b thinRow) int {
		x, _ := strconv.ParseFloat(a.Diameter, 64)
		y, _ := strconv.ParseFloat(b.Diameter, 64)
		return int(100 * (x - y))
	})
}

func (s *Server) labelLists(ctx context.Context, v *labelsBody) error {
	runs, err := s.store.LabelRuns(ctx, 10)
	if err != nil {
		return err
	}
	for _, r := range runs {
		v.Runs = append(v.Runs, runRow{Href: "/labels/prints/" + pathOf(r.OpID), When: clock(r.At.Time), By: r.Person, Labels: fmt.Sprint(r.Labels), Medium: r.Medium, First: r.FirstTag})
	}
	fresh, worn, err := s.store.LabelsDue(ctx)
	if err != nil {
		return err
	}
	v.NewCount, v.WornCount = upTo(fresh), upTo(worn)
	return nil
}

// upTo says a number of labels that is not counted to its end.
func upTo(n int) string {
	if n > store.MaxLabels {
		return fmt.Sprintf("more than %d", store.MaxLabels)
	}
	return fmt.Sprint(n)
}

// labelsPreview is a page as it will print: GET /labels/page.svg.
func (s *Server) labelsPreview(c echo.Context) error {
	m, err := mediumOf(c.QueryParam, nil)
	if err != nil {
		return err
	}
	page, err := number("page", c.QueryParam("page"))
	if err != nil {
		return err
	}
	_, ls, err := s.labelsOf(c.Request().Context(), chosenOf(c))
	if err != nil {
		return err
	}
	svg, err := labels.Preview(ls, m.labels, page)
	if err != nil {
		return drawn(err)
	}
	return sendPacked(c, http.StatusOK, "image/svg+xml", svg)
}

// labelsCalibration is the page with the rulers: GET /labels/calibration.pdf.
func (s *Server) labelsCalibration(c echo.Context) error {
	m, err := mediumOf(c.QueryParam, keptMedium(c))
	if err != nil {
		return err
	}
	pdf, err := labels.Calibration(m.labels)
	if err != nil {
		return drawn(err)
	}
	return c.Blob(http.StatusOK, "application/pdf", pdf)
}

type printIn struct {
	Op     string `json:"op"`
	Select string `json:"select"`
	Sheet  string `json:"sheet"`
	Start  string `json:"start"`
	Right  string `json:"right"`
	Down   string `json:"down"`
	DPI    string `json:"dpi"`
}

// printLabels puts a print on record and opens it: POST /labels/prints.
func (s *Server) printLabels(c echo.Context) error {
	in, err := decode[printIn](c)
	if err != nil {
		return err
	}
	m, err := mediumOf(func(name string) string {
		return map[string]string{"sheet": in.Sheet, "start": in.Start, "right": in.Right, "down": in.Down, "dpi": in.DPI}[name]
	}, nil)
	if err != nil {
		return err
	}
	if strings.TrimSpace(in.Select) == "" {
		return &refusal{class: errInvalid, field: "select", detail: "say what to label"}
	}
	texts, ls, err := s.labelsOf(c.Request().Context(), in.Select)
	if err != nil {
		return err
	}
	if _, err := labels.PDF(ls, m.labels); err != nil {
		return drawn(err)
	}
	run := store.PrintIn{Medium: m.sheet, First: m.start, Right: m.right, Down: m.down, DPI: m.dpi}
	for _, t := range texts {
		run.Tags = append(run.Tags, t.Tag)
	}
	op := formOp(c, in.Op)
	r, err := s.store.PrintLabels(c.Request().Context(), op, run)
	if err != nil {
		return err
	}
	m.start = (m.start-1+len(ls))%m.labels.PerPage() + 1 // the sheet is used up next time
	s.keep(c, m)
	return doneAt(c, "/labels/prints/"+pathOf(op.ID), r)
}

// labelPrintBody is one print on record, ready to be sent to a printer.
type labelPrintBody struct {
	Readings []reading
	Says     string
	Files    []factView
	Preview  string
	Alt      string
}

func (s *Server) printOf(c echo.Context) (store.LabelRun, []labels.Label, labels.Sheet, error) {
	ctx := c.Request().Context()
	run, tags, err := s.store.LabelRunOf(ctx, c.Param("op"))
	if err != nil {
		return run, nil, labels.Sheet{}, err
	}
	sheet, err := labels.ParseSheet(run.Medium)
	if err != nil {
		return run, nil, sheet, drawn(err)
	}
	sheet.Start, sheet.OffsetX, sheet.OffsetY, sheet.DPI = run.First, run.RightMM, run.DownMM, run.DPI
	texts, err := s.store.LabelsOf(ctx, tags)
	if err != nil {
		return run, nil, sheet, err
	}
	return run, DrawLabels(texts, string(store.DayOf(run.At.Time))), sheet, nil
}

// printPage is a print on record with its files: GET /labels/prints/:op.
func (s *Server) printPage(c echo.Context) error {
	run, ls, sheet, err := s.printOf(c)
	if err != nil {
		return err
	}
	at := "/labels/prints/" + pathOf(run.OpID) + "/"
	v := labelPrintBody{Says: fmt.Sprintf("On record since %s.", clock(run.At.Time)), Preview: at + "page.svg", Alt: "The first page as it will be printed",
		Readings: []reading{{"Labels", fmt.Sprint(len(ls)), ""}, {"Pages", fmt.Sprint(sheet.Pages(len(ls))), ""}, {"Medium", run.Medium, ""}}}
	v.Files = append(v.Files, factView{Name: "For any printer, at 100 %", Value: "PDF", Href: at + "labels.pdf"})
	if sheet.PerPage() == 1 {
		v.Files = append(v.Files, factView{Name: "For a label printer", Value: "ZPL", Href: at + "labels.zpl"}, factView{Name: "For a label printer", Value: "EPL", Href: at + "labels.epl"})
	}
	if len(ls) == 1 {
		v.Files = append(v.Files, factView{Name: "As a picture", Value: "PNG", Href: at + "labels.png"}, factView{Name: "For an engraver", Value: "SVG", Href: at + "labels.svg"})
	}
	return s.page(c, http.StatusOK, "labelprint", "Labels printed", v)
}

// fileTypes are the files of a print by their ending.
var fileTypes = map[string]string{".pdf": "application/pdf", ".svg": "image/svg+xml", ".png": "image/png", ".zpl": "application/octet-stream", ".epl": "application/octet-stream"}

// printFile is a file of a print: GET /labels/prints/:op/:file.
func (s *Server) printFile(c echo.Context) error {
	_, ls, sheet, err := s.printOf(c)
	if err != nil {
		return err
	}
	return sendLabels(c, c.Param("file"), ls, sheet)
}

// sendLabels sends labels as the file of that name: one of fileTypes, or page.svg, the first
// page as it will print.
func sendLabels(c echo.Context, name string, ls []labels.Label, sheet labels.Sheet) error {
	kind, ok := fileTypes[strings.TrimPrefix(name, "labels")]
	switch {
	case name == "page.svg":
		svg, err := labels.Preview(ls, sheet, 1)
		if err != nil {
			return drawn(err)
		}
		return sendPacked(c, http.StatusOK, "image/svg+xml", svg)
	case !ok:
		return &refusal{class: errNotFound, detail: "a print has labels.pdf, labels.svg, labels.png, labels.zpl and labels.epl"}
	}
	files, err := labels.Files(ls, sheet, name)
	if err != nil {
		return drawn(err)
	}
	if len(files) != 1 {
		return &refusal{class: errInvalid, field: "file", detail: fmt.Sprintf("%d labels are %d files of this kind; take labels.pdf", len(ls), len(files))}
	}
	if kind == "application/octet-stream" {
		c.Response().Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	}
	return c.Blob(http.StatusOK, kind, files[0].Bytes)
}

// wornBody is the list of labels that are due to be renewed.
type wornBody struct {
	Place    string
	Readings []reading
	Rows     []wornRow
}

type wornRow struct{ ID, Tag, Href, Part, Kind, Place, Printed, Days string }

// wornPage lists labels to renew by place and age: GET /labels/worn?place=.
func (s *Server) wornPage(c echo.Context) error {
	ctx := c.Request().Context()
	v := wornBody{Place: strings.TrimSpace(c.QueryParam("place"))}
	code := ""
	if v.Place != "" {
		p, err := s.place(ctx, "place", v.Place)
		if err != nil {
			return err
		}
		code = p.Code
	}
	rows, err := s.store.WornLabels(ctx, code)
	if err != nil {
		return err
	}
	v.Readings = []reading{{"To renew", fmt.Sprint(len(rows)), ""}}
	for i, r := range rows {
		printed := "none on record"
		if !r.Printed.IsZero() {
			printed = string(store.DayOf(r.Printed.Time))
		}
		v.Rows = append(v.Rows, wornRow{ID: fmt.Sprintf("w%d", i), Tag: r.Tag, Href: "/pieces/" + pathOf(r.Tag), Part: r.Part, Kind: r.PartKind, Place: r.Place, Printed: printed, Days: fmt.Sprint(r.Days)})
	}
	return s.page(c, http.StatusOK, "worn", "Labels to renew", v)
}

// badgesBody makes a badge for a person.
type badgesBody struct {
	Op     string
	People []optionRow
}

// badgesPage chooses whose badge: GET /labels/badges.
func (s *Server) badgesPage(c echo.Context) error {
	people, err := s.store.People(c.Request().Context())
	if err != nil {
		return err
	}
	v := badgesBody{Op: newOp()}
	for _, p := range people {
		v.People = append(v.People, optionRow{Value: p.Login, Text: p.Name + ", " + string(p.Role)})
	}
	return s.page(c, http.StatusOK, "badges", "Badges", v)
}

type newBadgeIn struct {
	Op    string `json:"op"`
	Login string `json:"login"`
}

// badgeMade is the new badge, shown once. Op is for the next one.
type badgeMade struct {
	Name string
	Op   string
	SVG  template.HTML // drawn by package labels, which escapes
}

// makeBadge makes a badge and shows its label once: POST /labels/badges.
func (s *Server) makeBadge(c echo.Context) error {
	in, err := decode[newBadgeIn](c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	p, err := s.store.PersonByLogin(ctx, in.Login)
	if err != nil {
		return err
	}
	who, _ := actor(c)
	size := labels.Area{W: 85.6, H: 54}
	// A name that cannot be drawn must not cost the old badge: try with a text of the same length.
	try := drawLabel(store.LabelText{Kind: "person", Tag: "WAAAAAAAAAAAAAAAAA", Head: string(p.Role), Title: p.Name, Note: "personal; found: bring it to the crib"}, string(s.store.Today()))
	if _, err := labels.SVGAt(try, size); err != nil {
		return drawn(err)
	}
	// The print first: a form sent twice is refused here, before it ends a badge that it would not show.
	if err := s.store.BadgePrinted(ctx, formOp(c, in.Op), p.ID, "85.6x54"); err != nil {
		return err
	}
	text, err := s.store.BadgeLabel(ctx, who.id, p.ID)
	if err != nil {
		return err
	}
	svg, err := labels.SVGAt(drawLabel(text, string(s.store.Today())), size)
	if err != nil {
		return drawn(err)
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return s.render(c, http.StatusOK, "badges", "badge", badgeMade{Name: p.Name, SVG: template.HTML(svg), Op: newOp()})
}

// labelOf is the label of a piece or lot.
func (s *Server) labelOf(c echo.Context) (labels.Label, error) {
	t, err := parseTag("tag", c.Param("tag"))
	if err != nil {
		return labels.Label{}, err
	}
	_, ls, err := s.labelsOf(c.Request().Context(), t.text)
	if err != nil {
		return labels.Label{}, err
	}
	return ls[0], nil
}

// labelSVG is the label of a piece as a picture: GET /pieces/:tag/label.svg.
func (s *Server) labelSVG(c echo.Context) error {
	l, err := s.labelOf(c)
	if err != nil {
		return err
	}
	svg, err := labels.SVG(l)
	if err != nil {
		return drawn(err)
	}
	return sendPacked(c, http.StatusOK, "image/svg+xml", svg)
}

// labelPDF is the label as a page of exactly its size: GET /pieces/:tag/label.pdf.
func (s *Server) labelPDF(c echo.Context) error {
	l, err := s.labelOf(c)
	if err != nil {
		return err
	}
	pdf, err := labels.PDF([]labels.Label{l}, labels.Single(labels.Standing, 0))
	if err != nil {
		return drawn(err)
	}
	return c.Blob(http.StatusOK, "application/pdf", pdf)
}

// labelLink is where labels of something are printed, "" for who may not.
func (s *Server) labelLink(c echo.Context, query string) string {
	if v, _ := actor(c); access.Of(v.role, access.PrintLabels) == access.No {
		return ""
	}
	return "/labels?" + url.Values{"select": {query}}.Encode()
}
