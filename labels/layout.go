package labels

import (
	"fmt"
	"math"
	"strings"
)

// Heights of the font in em, for all three faces.
const (
	capHeight = 0.73 // a capital
	descent   = 0.24 // the tail of a g
	accent    = 0.20 // what an accent needs above a capital
)

// minModule is the smallest module in mm that a plain hand scanner still reads in a shop.
const minModule = 0.33

// maxModule keeps the code from eating the words on a large label; common practice, no source.
const maxModule = 1.0

// A type size: em in mm at scale 1, its floor below which nobody reads it through oil, and
// its ceiling. The floors are common practice, no source.
type grade struct{ em, floor, ceil float64 }

func (g grade) at(scale float64) float64 { return min(max(g.em*scale, g.floor), g.ceil) }

var (
	headGrade  = grade{2.2, 1.5, 3.4}
	titleGrade = grade{4.0, 2.0, 9}
	valueGrade = grade{5.6, 2.4, 11}
	nameGrade  = grade{2.0, 1.5, 3.2}
	noteGrade  = grade{2.2, 1.6, 3.6}
	neverGrade = grade{2.5, 1.8, 4.4}
	tagGrade   = grade{4.6, 2.3, 7.5}
	actGrade   = grade{8.0, 3.0, 24} // title of an act card: read from an arm's length
)

// layout places a label on an area. dot is the size of a printer's dot in mm, so that the
// modules of the code are whole dots; 0 where the medium has none.
//
// It starts large and shrinks all type together until the words fit, each size down to its
// floor. What does not fit then is refused with a *Refusal that says what to do.
func layout(l *Label, a Area, dot float64) (*art, error) {
	c, err := l.cleaned()
	if err != nil {
		return nil, err
	}
	if !(a.W >= 8 && a.H >= 6 && a.W <= 500 && a.H <= 500) {
		return nil, &Refusal{Class: ErrMedia, Tag: l.Tag, Why: fmt.Sprintf(
			"a label of %v; width must be 8 to 500 mm and height 6 to 500 mm", a)}
	}
	try := func(sym *Symbol) (*page, error) {
		p := &page{label: c, art: &art{Area: a, tag: c.Tag, title: c.spoken()}}
		if err := p.code(sym, dot); err != nil {
			return nil, err
		}
		return p, p.fill()
	}
	// A sturdier code is taken where its modules keep their size and the words their room.
	var strong *page
	if !c.Matrix {
		if sym := sturdyQR(c.Tag); sym != nil {
			if p, err := try(sym); err == nil && p.art.codes[0].module >= roomyModule {
				if strong = p; p.scale >= comfort {
					p.draw()
					return p.art, nil
				}
			}
		}
	}
	sym, err := c.symbol()
	if err != nil {
		return nil, err
	}
	p, err := try(sym)
	if strong != nil && (err != nil || strong.scale >= 0.9*p.scale) {
		p, err = strong, nil
	}
	if err != nil {
		return nil, err
	}
	p.draw()
	return p.art, nil
}

// fill sets the words as large as they fit, or says what did not.
func (p *page) fill() error {
	for p.scale = 3.0; ; p.scale *= 0.95 {
		if p.fits(p.scale) {
			return nil
		}
		if p.scale < 0.3 {
			return p.short
		}
	}
}

// comfort is the scale of type from which the words need no more room.
const comfort = 0.6

// cleaned returns a copy with all texts printable, or says which one cannot be drawn.
func (l *Label) cleaned() (*Label, error) {
	c := *l
	check := func(f face, field string, s *string) error {
		*s = clean(*s)
		return f.check(l.Tag, field, *s)
	}
	if err := checkCode(l.Tag); err != nil {
		return nil, err
	}
	if err := checkTag(l.Tag); err != nil {
		return nil, err
	}
	c.Head = strings.ToUpper(c.head())
	if len(l.Sizes) > 4 {
		return nil, &Refusal{Class: ErrText, Tag: l.Tag, Field: "sizes", Why: fmt.Sprintf(
			"%d sizes; a label shows at most 4, choose those a person looks for", len(l.Sizes))}
	}
	c.Sizes = append([]Size(nil), l.Sizes...)
	c.Never = append([]string(nil), l.Never...)
	errs := []error{
		check(bold, "head", &c.Head), check(bold, "title", &c.Title),
		check(plain, "note", &c.Note), check(plain, "date of print", &c.Printed),
	}
	for i := range c.Sizes {
		s := &c.Sizes[i]
		errs = append(errs, check(plain, fmt.Sprintf("name of size %d", i+1), &s.Name),
			check(bold, fmt.Sprintf("value of size %d", i+1), &s.Value),
			check(plain, fmt.Sprintf("unit of size %d", i+1), &s.Unit))
	}
	for i := range c.Never {
		errs = append(errs, check(bold, fmt.Sprintf("warning %d", i+1), &c.Never[i]))
	}
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return &c, nil
}

// spoken is the label read aloud.
func (l *Label) spoken() string {
	parts := []string{l.Tag, strings.ToLower(l.Head), l.Title}
	for _, s := range l.Sizes {
		parts = append(parts, strings.Join(strings.Fields(s.Name+" "+s.Value+" "+s.Unit), " "))
	}
	parts = append(parts, l.Never...)
	parts = append(parts, l.Note, l.Printed)
	var said []string
	for _, p := range parts {
		if p != "" {
			said = append(said, p)
		}
	}
	return strings.Join(said, ", ")
}

// page is a label while it is being laid out: the field right of the code (or below it on an
// upright label) is filled with rows from the top and with the tag from the bottom.
type page struct {
	label      *Label
	art        *art
	x, y, w, h float64 // field for the words
	rows       []row   // from the top
	foot       []row   // from the bottom, listed downwards
	short      error   // why the last attempt did not fit
	scale      float64 // of the type
}

// A row is something of a known height that draws itself at a height.
type row struct {
	h, gap float64 // mm; the gap stands above it
	draw   func(a *art, y float64)
}

// code places the symbol with its quiet zone and leaves the rest of the area to the words.
func (p *page) code(sym *Symbol, dot float64) error {
	a := p.art
	const edge = 0.4 // mm, for the cutter
	upright := a.H > a.W*0.85
	across, down := float64(sym.W+2*sym.Quiet), float64(sym.H+2*sym.Quiet)
	room := min((a.H-2*edge)/down, 0.44*a.W/across)
	if upright {
		room = min((a.W-2*edge)/across, 0.46*a.H/down)
	}
	module := min(room, maxModule)
	if dot > 0 {
		module = math.Floor(module/dot+1e-9) * dot
	}
	if module < minModule {
		return &Refusal{Class: ErrMedia, Tag: p.label.Tag, Field: "tag", Why: fmt.Sprintf(
			"a code of %d modules on %v would have modules of %.2f mm, below %.2f mm; take a label at least %s mm wide and %s mm high, a shorter code, or Data Matrix",
			sym.W, a.Area, module, minModule, mm(math.Ceil(minModule*across/0.44+dot*across)), mm(math.Ceil(minModule*down+2*edge)))}
	}
	pad := min(max(0.045*min(a.W, a.H), 0.7), 3)
	qw, qh := across*module, down*module
	var x, y float64
	if upright {
		x, y = (a.W-qw)/2, edge
		p.x, p.y, p.w, p.h = pad, edge+qh, a.W-2*pad, a.H-qh-edge-pad
	} else {
		x, y = edge, (a.H-qh)/2
		p.x, p.y, p.w, p.h = edge+qw, pad, a.W-edge-qw-pad, a.H-2*pad
	}
	x, y = x+float64(sym.Quiet)*module, y+float64(sym.Quiet)*module
	if dot > 0 {
		x, y = math.Round(x/dot)*dot, math.Round(y/dot)*dot
	}
	a.codes = append(a.codes, placed{x, y, module, sym})
	return nil
}

// fits fills the rows at a scale and reports whether they fit the field. If not, p.short says
// what was too large.
func (p *page) fits(scale float64) bool {
	p.rows, p.foot, p.short = nil, nil, nil
	p.heading(headGrade.at(scale))
	p.title(scale)
	p.sizes(scale)
	p.note(noteGrade.at(scale))
	p.never(neverGrade.at(scale))
	p.id(tagGrade.at(scale))
	if p.short != nil {
		return false
	}
	sum := 0.0
	for _, r := range append(p.rows, p.foot...) {
		sum += r.h + r.gap
	}
	if sum > p.h+1e-6 {
		p.short = p.refuse("", fmt.Sprintf("its words need %.1f mm of height and have %.1f mm on %v at the smallest readable type; take a larger label or fewer words",
			sum, p.h, p.art.Area))
		return false
	}
	return true
}

func (p *page) refuse(field, why string) error {
	return &Refusal{Class: ErrText, Tag: p.label.Tag, Field: field, Why: why}
}

func (p *page) tooWide(field, s string) {
	if p.short == nil {
		p.short = p.refuse(field, fmt.Sprintf("%q is wider than the %.1f mm there are on %v at the smallest readable type; take a larger label or shorten it",
			s, p.w, p.art.Area))
	}
}

func (p *page) draw() {
	y := p.y
	for _, r := range p.rows {
		y += r.gap
		r.draw(p.art, y)
		y += r.h
	}
	y = p.y + p.h
	for i := len(p.foot) - 1; i >= 0; i-- {
		y -= p.foot[i].h
		p.foot[i].draw(p.art, y)
		y -= p.foot[i].gap
	}
}

// heading: the kind of thing in spaced capitals, the date of print at the right, a rule below.
func (p *page) heading(em float64) {
	l := p.label
	dateEm := max(em*0.86, headGrade.floor)
	date := plain.width(l.Printed, dateEm)
	space := em * 0.14
	if date > 0 {
		date += em
	}
	if spacedWidth(bold, em, space, l.Head)+date > p.w {
		space = 0
	}
	if spacedWidth(bold, em, space, l.Head)+date > p.w {
		p.tooWide("head and date of print", l.Head+" "+l.Printed)
		return
	}
	h := em*(capHeight+0.32) + hairline
	p.rows = append(p.rows, row{h: h, gap: em * accent * 0.5, draw: func(a *art, y float64) {
		a.spaced(bold, em, p.x, y+em*capHeight, space, l.Head)
		a.put(plain, dateEm, p.x+p.w-plain.width(l.Printed, dateEm), y+em*capHeight, l.Printed)
		a.rule(p.x, y+h-hairline/2, p.w)
	}})
}

func (p *page) title(scale float64) {
	l := p.label
	if l.Title == "" {
		return
	}
	g := titleGrade
	if l.Kind == Act {
		g = actGrade
	}
	em := g.at(scale)
	lines, ok := bold.wrap(l.Title, em, p.w)
	if !ok {
		p.tooWide("title", l.Title)
		return
	}
	p.lines(bold, em, em*(accent+0.18), bold.balance(l.Title, em, p.w, lines))
}

// lines adds rows of text set solid.
func (p *page) lines(f face, em, gap float64, lines []string) {
	for i, s := range lines {
		if i > 0 {
			gap = em * accent
		}
		p.rows = append(p.rows, row{h: em * (capHeight + descent), gap: gap, draw: func(a *art, y float64) {
			a.put(f, em, p.x, y+em*capHeight, s)
		}})
	}
}

// sizes: figures in columns, the name of each above it, hairlines between, as on a scale.
// They stand in one row if they fit, else in two, else one below the other.
func (p *page) sizes(scale float64) {
	n := len(p.label.Sizes)
	if n == 0 {
		return
	}
	for _, per := range []int{n, (n + 1) / 2, 1} {
		if p.columns(scale, per) {
			return
		}
	}
	p.tooWide("sizes", p.label.Sizes[0].Value+" "+p.label.Sizes[0].Unit)
}

func (p *page) columns(scale float64, per int) bool {
	type cell struct {
		Size
		em, unit, w float64
	}
	name := nameGrade.at(scale)
	var rows []row
	for from := 0; from < len(p.label.Sizes); from += per {
		sizes := p.label.Sizes[from:min(from+per, len(p.label.Sizes))]
		cells := make([]cell, len(sizes))
		total, tall := 0.0, 0.0
		named := false
		for i, s := range sizes {
			c := cell{Size: s, em: valueGrade.at(scale)}
			if s.Large {
				c.em = min(c.em*1.5, valueGrade.ceil*1.3)
			}
			c.unit = max(c.em*0.5, nameGrade.floor)
			c.w = bold.width(s.Value, c.em)
			if s.Unit != "" {
				c.w += c.em*0.14 + plain.width(s.Unit, c.unit)
			}
			c.w = max(c.w, plain.width(s.Name, name))
			named = named || s.Name != ""
			total, tall = total+c.w, max(tall, c.em)
			cells[i] = c
		}
		gutter := tall * 0.42
		total += gutter * 2 * float64(len(cells)-1)
		if total > p.w {
			return false
		}
		above := 0.0
		if named {
			above = name * (capHeight + 0.34)
		}
		rows = append(rows, row{h: above + tall*(capHeight+0.1), gap: tall * 0.26, draw: func(a *art, y float64) {
			x, base := p.x, y+above+tall*capHeight
			for i, c := range cells {
				if i > 0 {
					x += gutter
					a.stroke(x, y, above+tall*capHeight)
					x += gutter
				}
				a.put(plain, name, x, y+name*capHeight, c.Name)
				a.put(bold, c.em, x, base, c.Value)
				if c.Unit != "" {
					a.put(plain, c.unit, x+bold.width(c.Value, c.em)+c.em*0.14, base, c.Unit)
				}
				x += c.w
			}
		}})
	}
	p.rows = append(p.rows, rows...)
	return true
}

func (p *page) note(em float64) {
	if p.label.Note == "" {
		return
	}
	lines, ok := plain.wrap(p.label.Note, em, p.w)
	if !ok {
		p.tooWide("note", p.label.Note)
		return
	}
	p.lines(plain, em, em*0.45, plain.balance(p.label.Note, em, p.w, lines))
}

// mindWord stands on the plate before what must never be done.
const mindWord = "MIND"

// never: a black plate with a word, then the warnings beside it. It stands at the foot, so
// that it is in the same place on every label.
func (p *page) never(em float64) {
	if len(p.label.Never) == 0 {
		return
	}
	plate := bold.width(mindWord, em*0.86) + em*0.7
	indent := plate + em*0.45
	var lines []string
	for i, s := range p.label.Never {
		part, ok := bold.wrap(s, em, p.w-indent)
		if !ok {
			p.tooWide(fmt.Sprintf("warning %d", i+1), s)
			return
		}
		lines = append(lines, part...)
	}
	h := em * (capHeight + descent)
	for i, s := range lines {
		gap := em * 0.16
		if i == 0 {
			gap = em * 0.6
		}
		p.foot = append(p.foot, row{h: h, gap: gap, draw: func(a *art, y float64) {
			if i == 0 {
				a.boxes = append(a.boxes, box{p.x, y - em*0.2, plate, em * (capHeight + 0.4), false})
				a.texts = append(a.texts, text{p.x + em*0.35, y + em*0.86*capHeight + em*0.05, em * 0.86, bold, mindWord, true})
			}
			a.put(bold, em, p.x+indent, y+em*capHeight, s)
		}})
	}
}

// id: the tag in large letters at the foot, with a rule above. A tag of our own (letter,
// digits, check character) is set with small gaps so that it can be read out and typed.
func (p *page) id(em float64) {
	tag := p.label.Tag
	const gap = 0.34 // em
	groups := []string{tag}
	if n := len(tag); n == 9 && !strings.ContainsAny(tag, " $%*+-./:") {
		groups = []string{tag[:1], tag[1:5], tag[5:8], tag[8:]}
	}
	width := func(em float64) float64 {
		return mono.width(tag, em) + gap*em*float64(len(groups)-1)
	}
	if w := width(em); w > p.w {
		em = max(em*p.w/w, tagGrade.floor)
	}
	lines := [][]string{groups}
	if width(em) > p.w+1e-6 {
		per := int(p.w / mono.width("0", em))
		lines = nil
		for s := tag; s != ""; {
			if per < 4 {
				p.tooWide("tag", tag)
				return
			}
			k := min(per, len(s))
			lines, s = append(lines, []string{s[:k]}), s[k:]
		}
	}
	for i, line := range lines {
		r := row{h: em * (capHeight + 0.06), gap: em * 0.3}
		if i == 0 {
			r.gap = em * 0.62
		}
		r.draw = func(a *art, y float64) {
			if i == 0 {
				a.rule(p.x, y-em*0.34, p.w)
			}
			x := p.x
			for _, g := range line {
				a.put(mono, em, x, y+em*capHeight, g)
				x += mono.width(g, em) + gap*em
			}
		}
		p.foot = append(p.foot, r)
	}
}
