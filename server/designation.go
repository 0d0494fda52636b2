package server

import (
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/drawing"
	"brasspeg/store/standard"
)

// readers are the kinds of name this program reads, in the order they are tried when nobody
// says which is meant.
var readers = []struct{ kind, says string }{
	{"insert", "insert, ISO 1832 or ANSI B212.4"},
	{"bar", "boring bar, ISO 6261"},
	{"holder", "square-shank holder, ISO 5608"},
	{"thread", "thread of a coolant line"},
	{"seat", "turret seat or shank system"},
	{"size", "size with its unit"},
}

// A reading of a name: what was understood, or the refusal.
type nameReading struct {
	Kind      string        `json:"kind"`
	Says      string        `json:"says"`
	Canonical string        `json:"canonical"`
	Status    string        `json:"status"`
	Notes     []string      `json:"notes"`
	Positions []positionOut `json:"positions"`
	Sizes     []sizeOut     `json:"sizes"`
	Fits      string        `json:"fits,omitempty"`
	Asks      []string      `json:"asks"`
	insert    *standard.Insert
	bar       *standard.Bar
	holder    *standard.Holder
	refusal   *standard.Refusal
}

// positionOut is one place of a name: what stands there, the symbol of ISO 13399 it fills, what
// it means, and how sure the symbol's definition is.
type positionOut struct {
	Number  string `json:"number"`
	Text    string `json:"text"`
	Symbol  string `json:"symbol"`
	Meaning string `json:"meaning"`
	Help    string `json:"help"`
	Source  string `json:"source"`
}

// sizeOut is a size in both units. The one that is rounded says so by ≈.
type sizeOut struct {
	Symbol string `json:"symbol"`
	Name   string `json:"name"`
	Both   string `json:"both"`
}

// readName reads a text as a name of that kind; "" tries every reader. The first that reads it
// counts; else the refusal that got furthest is the answer.
func readName(kind, text string) nameReading {
	var best *nameReading
	for _, r := range readers {
		if kind != "" && kind != r.kind {
			continue
		}
		out, err := readAs(r.kind, text)
		if err == nil {
			out.Kind, out.Says = r.kind, r.says
			return out
		}
		ref, ok := errors.AsType[*standard.Refusal](err)
		if !ok {
			continue
		}
		if best == nil || nearness(ref) > nearness(best.refusal) {
			best = &nameReading{Kind: r.kind, Says: r.says, refusal: ref}
		}
	}
	if best == nil {
		return nameReading{refusal: &standard.Refusal{Text: text, Why: "no reader for this kind of name", Code: standard.CodeForm}}
	}
	return *best
}

// nearness ranks refusals: one that knows what was meant, or what is wrong with a letter, was
// nearer than one that saw no form at all.
func nearness(r *standard.Refusal) int {
	n := 0
	switch r.Code {
	case standard.CodeMeaning, standard.CodeUnit, standard.CodeCheck:
		n = 3
	case standard.CodeCharset, standard.CodeControl, standard.CodeBidi, standard.CodeInvisible:
		n = 2
	}
	if len(r.Meant) > 0 {
		n += 4
	}
	if r.At > 1 {
		n++
	}
	return n
}

func readAs(kind, text string) (nameReading, error) {
	var out nameReading
	switch kind {
	case "insert":
		in, how, err := standard.ReadInsert(text)
		if err != nil {
			return out, err
		}
		out.insert, out.Canonical, out.Status, out.Notes = &in, in.String(), how.Status, how.Notes()
		out.positions(in.Positions(), "ISO 1832")
		out.Fits = "sits in the pocket " + in.Pocket().String()
		if n, ok := in.Inch(); ok {
			out.Notes = append(out.Notes, fmt.Sprintf("the same insert in inch numbers: %s (%s)", n.Name, n.Status))
		} else {
			out.Notes = append(out.Notes, "it has no name in inch numbers")
		}
		if in.Edges() > 0 {
			out.Notes = append(out.Notes, fmt.Sprintf("%d edges can be used, both faces together (common practice, not in the standard)", in.Edges()))
		}
		out.mm("IC", "inscribed circle", in.IC)
		out.mm("L", "cutting edge, to the sharp corners", in.L)
		out.mm("S", "thickness", in.S)
		out.mm("RE", "corner radius", in.RE)
	case "bar":
		b, how, err := standard.ReadBar(text)
		if err != nil {
			inch, err2 := standard.ParseInchBar(text)
			if err2 != nil {
				return out, err
			}
			b, how = inch, standard.Reading{Status: standard.Accept}
		}
		out.bar, out.Canonical, out.Status, out.Notes = &b, b.String(), how.Status, how.Notes()
		out.positions(b.Positions(), "ISO 6261")
		out.Fits = "takes inserts " + b.Pocket().String() + "; the thickness is not in the name of a bar"
		for _, a := range b.Asks() {
			out.Asks = append(out.Asks, a+" is not in the name: measure it, or read it off the drawing")
		}
		out.mm("DCONMS", "shank diameter", b.Diameter)
		if lf, ok := b.LF(); ok {
			out.mm("LF", "functional length", lf)
		}
		out.mm("IC", "inscribed circle of its inserts", b.IC())
		if row, ok := standard.StandardBarOf(b.Diameter); ok && !b.Inch {
			out.mm("DMIN", "smallest hole for this diameter by ISO 5609 ("+row.Status+")", row.DMIN)
		}
	case "holder":
		h, err := standard.ParseHolder(text)
		if err != nil {
			return out, err
		}
		out.holder, out.Canonical, out.Status = &h, h.String(), standard.Accept
		if k, form := h.KAPR(); k > 0 {
			out.Notes = append(out.Notes, fmt.Sprintf("style %c: entering angle KAPR %g°, PSIR %g°, %s", h.Style, k, 90-k, form))
		} else {
			out.Asks = append(out.Asks, fmt.Sprintf("the style letter %c means a special entering angle: read it off the drawing", h.Style))
		}
		out.mm("H", "shank height", float64(h.H))
		out.mm("B", "shank width", float64(h.B))
		if lf, ok := h.LF(); ok {
			out.mm("LF", "functional length", lf)
		} else {
			out.Asks = append(out.Asks, "LF is special: measure it")
		}
		out.Fits = "takes inserts " + h.Pocket().String()
	case "thread":
		th, err := standard.ParseThread(text)
		if err != nil {
			p, err2 := standard.ParsePort(text)
			if err2 != nil {
				return out, err
			}
			th = p.Thread
			out.Notes = append(out.Notes, "gender: "+p.Gender.String())
		}
		out.threadFacts(th)
	case "seat":
		sys, err := standard.ParseSeatSystem(text)
		if err != nil {
			return out, err
		}
		out.Canonical, out.Status = sys.Code(), standard.Accept
		out.Notes = append(out.Notes, sys.Standard)
		if sys.Remark != "" {
			out.Notes = append(out.Notes, sys.Remark)
		}
		if sys.Status != "" {
			out.Notes = append(out.Notes, "source: "+sys.Status)
		}
		out.mm("DCONMS", "shank", sys.ShankMM)
		out.mm("", "flange", sys.FlangeMM)
	case "size":
		v, err := standard.ParseSize(text)
		if err != nil {
			return out, err
		}
		out.Canonical, out.Status = v.String(), standard.Accept
		out.Sizes = append(out.Sizes, sizeOut{"", "length", v.Both()})
	}
	return out, nil
}

func (n *nameReading) mm(symbol, name string, v float64) {
	if v <= 0 {
		return
	}
	if s, err := standard.Millimetres(v); err == nil {
		n.Sizes = append(n.Sizes, sizeOut{symbol, name, s.Both()})
	}
}

func (n *nameReading) positions(ps []standard.Position, source string) {
	for _, p := range ps {
		o := positionOut{Number: p.Number, Text: p.Text, Symbol: p.Symbol, Meaning: p.Meaning, Source: source + ", position " + p.Number}
		if p.Number == "" {
			o.Source = "the maker's own"
		}
		if sym, ok := standard.SymbolOf(p.Symbol); ok {
			o.Help = sym.Name + ": " + sym.Definition
			if !sym.Confirmed {
				o.Source += "; symbol from memory"
			}
		}
		n.Positions = append(n.Positions, o)
	}
}

func (n *nameReading) threadFacts(th standard.Thread) {
	n.Canonical, n.Status = th.ID, standard.Accept
	n.Notes = append(n.Notes, th.Standard)
	add := func(name, v string) {
		if v != "" {
			n.Notes = append(n.Notes, name+": "+v)
		}
	}
	add("seals by", th.SealsBy)
	add("mates with", th.MatesWith)
	add("taper", th.TaperRatio)
	if th.TPI > 0 {
		add("threads per inch", figure(th.TPI, 2))
	}
	if th.AngleDeg > 0 {
		add("thread angle", figure(th.AngleDeg, 1)+"°")
	}
	add("remark", th.Remark)
	add("source", th.Status)
	n.mm("", "major diameter", th.MajorMM)
	n.mm("", "pitch", th.PitchMM)
}

// draw draws an insert, the end of a bar, or a holder, to scale; else it says why not.
func (n nameReading) draw() (template.HTML, string) {
	switch {
	case n.insert != nil:
		in := *n.insert
		an, _ := in.AN()
		svg, err := drawing.InsertPlan(drawing.InsertShape{Name: in.String(), Shape: in.Shape, Angle: in.EPSR(), IC: in.IC, Length: in.L, Radius: in.RE, Clearance: an, Thickness: in.S})
		if err != nil {
			return "", "No drawing: " + notDrawn(err)
		}
		return template.HTML(svg), "To scale: shape, corner angle, inscribed circle, radius, thickness and clearance are those of the name. The hole is not drawn, its size is not in the name."
	case n.bar != nil:
		b := *n.bar
		kapr, ok := b.KAPR()
		if !ok {
			return "", "No drawing: the entering angle is not in the name."
		}
		shape := standard.Insert{Shape: b.Shape}
		// The thickness is not in the name and is not seen from above.
		svg, err := drawing.BarPlan(drawing.BarHead{Name: b.String(), D: b.Diameter, KAPR: kapr, Left: b.Hand == 'L',
			Insert: drawing.InsertShape{Name: b.Pocket().String(), Shape: b.Shape, Angle: shape.EPSR(), IC: b.IC(), Radius: 0.4, Thickness: 3}})
		if err != nil {
			return "", "No drawing: " + notDrawn(err)
		}
		return template.HTML(svg), "To scale: diameter, insert and entering angle are those of the name; the radius of the corner is drawn as 0.4 mm."
	case n.holder != nil:
		h := *n.holder
		kapr, form := h.KAPR()
		if kapr == 0 {
			return "", "No drawing: the entering angle is not in the name."
		}
		lf, _ := h.LF()
		pocket := standard.Bar{Clamping: h.Clamping, Shape: h.Shape, Clearance: h.Clearance, Size: h.Size}
		svg, err := drawing.HolderPlan(drawing.HolderShape{Name: h.String(), H: float64(h.H), B: float64(h.B), LF: lf, Style: h.Style, Form: form, KAPR: kapr, Hand: h.Hand,
			End: strings.Contains(form, "end cutting") && !strings.Contains(form, "side"), Offset: strings.HasPrefix(form, "offset"), Neutral: strings.Contains(form, "neutral"),
			Insert: drawing.InsertShape{Name: h.Pocket().String(), Shape: h.Shape, Angle: standard.Insert{Shape: h.Shape}.EPSR(), IC: pocket.IC(), Radius: 0.4, Thickness: 3}})
		if err != nil {
			return "", "No drawing: " + notDrawn(err)
		}
		return template.HTML(svg), "To scale: shank, length, insert and entering angle are those of the name; the form of the head, how far it stands out, the thickness of the insert and the radius of its corner are not in it."
	}
	return "", ""
}

func notDrawn(err error) string {
	return strings.TrimPrefix(err.Error(), "drawing: ")
}

// namePage takes a name apart: GET /names?text=&kind=, and two threads: ?male=&female=.
type namePage struct {
	Text      string
	Kinds     []choice
	Asked     bool
	Says      string
	Canonical string
	Notes     []string
	Asks      []string
	Positions []positionOut
	Sizes     []sizeOut
	Fits      string
	Drawing   template.HTML
	Caption   string
	Error     string
	Before    string // of the text as given, up to the refused character
	Bad       string
	After     string
	Meant     []hitRow
	Have      []partRow
	NewHref   string // to enter a part of that name
	Male      string
	Female    string
	Mating    *matingOut
	MatingErr string
}

type choice struct {
	Value, Text string
	Here        bool
}

type matingOut struct {
	Male    string    `json:"male"`
	Female  string    `json:"female"`
	Result  string    `json:"result"`
	Seal    string    `json:"seal"`
	Caution bool      `json:"caution"`
	Reason  string    `json:"reason"`
	Basis   string    `json:"basis"`
	Adapter string    `json:"adapter"`
	State   stateView `json:"-"`
}

func (s *Server) namePage(c echo.Context) error {
	ctx := c.Request().Context()
	v := namePage{Text: strings.TrimSpace(c.QueryParam("text")), Male: c.QueryParam("male"), Female: c.QueryParam("female")}
	for field, text := range map[string]string{"text": v.Text, "kind": c.QueryParam("kind"), "male": v.Male, "female": v.Female} {
		if err := readable(field, text); err != nil {
			return err
		}
	}
	kind := c.QueryParam("kind")
	v.Kinds = []choice{{"", "find out", kind == ""}}
	for _, r := range readers {
		v.Kinds = append(v.Kinds, choice{r.kind, r.says, r.kind == kind})
	}
	if v.Text != "" {
		v.Asked = true
		n := readName(kind, c.QueryParam("text"))
		if n.refusal != nil {
			v.refused(n)
		} else {
			v.Says, v.Canonical, v.Notes, v.Asks, v.Positions, v.Sizes, v.Fits = n.Says, n.Canonical, n.Notes, n.Asks, n.Positions, n.Sizes, n.Fits
			v.Drawing, v.Caption = n.draw()
			if p, _ := actor(c); (n.insert != nil || n.bar != nil) && mayKeep(p.role) {
				v.NewHref = "/parts/new?kind=" + n.Kind + "&designation=" + pathOf(n.Canonical)
			}
			found, err := s.store.Search(ctx, n.Canonical, 20)
			if err != nil {
				return err
			}
			v.Have = partRows(found, holdersFor(c))
		}
	}
	if v.Male != "" || v.Female != "" {
		m, err := mating(v.Male, v.Female)
		if err != nil {
			v.MatingErr = sentence(said(err))
		} else {
			v.Mating = &m
		}
	}
	return s.page(c, http.StatusOK, "names", "Names", v)
}

// refused shows where a name stops being one, and what was likely meant.
func (v *namePage) refused(n nameReading) {
	r := n.refusal
	v.Error = sentence(r.Why)
	if n.Says != "" {
		v.Error = "Read as " + n.Says + ": " + r.Why + "."
	}
	runes := []rune(r.Text)
	if r.At > 0 && r.At <= len(runes) {
		v.Before, v.Bad, v.After = plainText(runes[:r.At-1]), plainText(runes[r.At-1:r.At]), plainText(runes[r.At:])
		if strings.TrimSpace(v.Bad) == "" {
			v.Bad = fmt.Sprintf("U+%04X", runes[r.At-1])
		}
	}
	for _, m := range r.Meant {
		v.Meant = append(v.Meant, hitRow{Href: "/names?text=" + pathOf(m), Code: m})
	}
}

// plainText takes what would change the line it stands in out of a text for show.
func plainText(r []rune) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x200b && r <= 0x200f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			return -1
		}
		return r
	}, string(r))
}

// mating answers for a male and a female thread.
func mating(male, female string) (matingOut, error) {
	port := func(field, text, gender string) (standard.Port, error) {
		p, err := standard.ParsePort(text)
		if err != nil {
			p, err = standard.ParsePort(gender + ":" + text)
		}
		if err != nil {
			return p, &refusal{class: errInvalid, field: field, detail: fmt.Sprintf("%s: %v", field, err)}
		}
		return p, nil
	}
	a, err := port("male", male, "M")
	if err != nil {
		return matingOut{}, err
	}
	b, err := port("female", female, "F")
	if err != nil {
		return matingOut{}, err
	}
	m := standard.Mates(a, b)
	out := matingOut{Male: a.String(), Female: b.String(), Result: m.Result, Seal: m.Seal, Caution: m.Caution, Reason: m.Reason, Basis: m.Basis}
	if !m.Adapter.IsZero() {
		out.Adapter = m.Adapter.String()
	}
	switch m.Result {
	case standard.MatesYes:
		out.State = stateView{"they mate", "●", "yes"}
	case standard.MatesNoSeal:
		out.State = stateView{"they screw together and do not seal", "△", "warn"}
	default:
		out.State = stateView{"they do not mate", "✕", "no"}
	}
	return out, nil
}

// getMates answers for two threads: GET /api/v1/mates?male=&female=.
func (s *Server) getMates(c echo.Context) error {
	for _, field := range []string{"male", "female"} {
		if err := readable(field, c.QueryParam(field)); err != nil {
			return err
		}
	}
	m, err := mating(c.QueryParam("male"), c.QueryParam("female"))
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, m)
}

// getDesignation takes a name apart for a program: GET /api/v1/designations?text=&kind=.
func (s *Server) getDesignation(c echo.Context) error {
	text, kind := c.QueryParam("text"), c.QueryParam("kind")
	if text == "" {
		return &refusal{class: errInvalid, field: "text", detail: "give the name to read as text"}
	}
	if err := readable("kind", kind); err != nil {
		return err
	}
	if err := readable("text", text); err != nil {
		return err
	}
	n := readName(kind, text)
	if r := n.refusal; r != nil {
		detail := r.Error()
		if len(r.Meant) > 0 && !strings.Contains(detail, r.Meant[0]) {
			detail += "; likely meant: " + strings.Join(r.Meant, ", ")
		}
		return &refusal{class: errInvalid, field: "text", detail: detail}
	}
	for _, list := range []*[]string{&n.Notes, &n.Asks} {
		if *list == nil {
			*list = []string{}
		}
	}
	if n.Positions == nil {
		n.Positions = []positionOut{}
	}
	if n.Sizes == nil {
		n.Sizes = []sizeOut{}
	}
	return c.JSON(http.StatusOK, n)
}
