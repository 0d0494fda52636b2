package store

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/standard"
)

// A PartsReport says what a file of parts would do, or has done. Either every row is taken or
// none.
type PartsReport struct {
	Rows    int
	New     []string // codes that are added
	Same    []string // codes that are there already, with the same values
	Bad     []BadRow // every row that can not be taken, by line
	Doubles []BadRow // rows that look like what the shop has, or like an earlier row
	Notes   []BadRow // where a value entered differs from what the name says
	Applied bool
}

// partColumns are the columns of a file of parts beside the symbols of the kinds.
var partColumns = func() (out []string) {
	for _, p := range plainFields {
		out = append(out, p.Key)
	}
	return out
}()

// A partColumn is one column of the file: a plain one, or a symbol with the unit its head names.
type partColumn struct {
	plain, symbol string
	unit          standard.Unit
	maker         bool // the values are the maker's
}

// partColumnOf reads the head of a column: "code", "DCONMS", "DCONMS mm", "maker OHX in".
func partColumnOf(head string) (partColumn, bool) {
	if slices.Contains(partColumns, head) {
		return partColumn{plain: head}, true
	}
	var c partColumn
	if rest, ok := strings.CutPrefix(head, "maker_"); ok {
		c.maker, head = true, rest
	}
	if rest, ok := strings.CutSuffix(head, "_mm"); ok {
		c.unit, head = standard.MM, rest
	} else if rest, ok := strings.CutSuffix(head, "_in"); ok && head != "coolant_in" {
		c.unit, head = standard.Inch, rest
	}
	for _, fields := range partFields {
		for _, f := range fields {
			if strings.EqualFold(f.Symbol, head) && (c.unit == 0 || f.Sort == "size") {
				c.symbol = f.Symbol
				return c, true
			}
		}
	}
	return c, false
}

// ImportParts reads a table of parts (CSV or XLSX) as EnterPart reads a form: the name first,
// then what the name leaves open. A size needs its unit in the cell or in the head of its
// column. Without apply nothing changes; with apply all rows are taken or none, and doubles
// only when confirmed. A row whose part is there with the same values changes nothing, so that
// the same file a second time is a no-op; one with other values is refused. A manager's or an
// attendant's act.
func (s *Store) ImportParts(ctx context.Context, actor PersonID, data []byte, apply, confirmed bool) (PartsReport, error) {
	var rep PartsReport
	rows, err := ReadTable(data)
	if err != nil {
		return rep, err
	}
	cols := make([]partColumn, len(rows[0]))
	for i, h := range rows[0] {
		if h == "" {
			continue
		}
		var ok bool
		if cols[i], ok = partColumnOf(h); !ok {
			return rep, unfit("header_row", h, "the column %q is not known; the columns are %s, and the symbols of the kinds, as DCONMS or DCONMS mm", h, strings.Join(partColumns, ", "))
		}
	}
	for _, must := range []string{"code", "kind"} {
		if !slices.Contains(rows[0], must) {
			return rep, unfit("header_row", must, "the column %q is missing", must)
		}
	}
	var doubles []doubleOf
	if !apply {
		if err := s.mayEnter(ctx, actor); err != nil {
			return rep, err
		}
		book, err := readPartsBook(s.read.WithContext(ctx))
		if err != nil {
			return rep, err
		}
		_, doubles = book.read(rows, cols, &rep)
		return rep, s.tellDoubles(ctx, &rep, doubles)
	}
	err = s.book(ctx, func(tx *Tx) error {
		rep, doubles = PartsReport{}, nil
		if err := tx.keeper(actor); err != nil {
			return err
		}
		if err := tx.end(); err != nil { // looked at and taken in one act: nobody saves a double in between
			return err
		}
		book, err := readPartsBook(tx.DB)
		if err != nil {
			return err
		}
		var in []PartIn
		in, doubles = book.read(rows, cols, &rep)
		if len(rep.Bad) > 0 {
			b := rep.Bad[0]
			return unfit(b.Code, b.Field, "%d of %d rows can not be taken, so none was; the first is line %d: %s", len(rep.Bad), rep.Rows, b.Line, b.Says)
		}
		if len(doubles) > 0 && !confirmed {
			return errAlike
		}
		if len(in) == 0 {
			return nil
		}
		for _, x := range in {
			p, sp, err := checkPart(x)
			if err != nil {
				return err
			}
			if err := tx.savePart(&p, x, sp); err != nil {
				return err
			}
		}
		return tx.note(actor, "parts read in", "", fmt.Sprintf("%d new of %d rows", len(in), rep.Rows))
	})
	if lost := s.tellDoubles(ctx, &rep, doubles); lost != nil && err == nil {
		err = lost
	}
	if errors.Is(err, errAlike) {
		b := rep.Doubles[0]
		look := "look like what the shop has or like one another"
		if b.Code != "" {
			look = "must be looked at by a person"
		}
		err = &Refusal{Class: ErrExists, Code: b.Code, Field: b.Field, Says: fmt.Sprintf("%d of %d rows %s, so none was taken; the first is line %d: %s", len(rep.Doubles), rep.Rows, look, b.Line, b.Says)}
	}
	rep.Applied = err == nil
	return rep, err
}

// converted is the look of a number that a spreadsheet wrote its own way.
var converted = regexp.MustCompile(`^[0-9]+(?:\.[0-9]+)?E\+?[0-9]+$`)

// A doubleOf is a row that looks like a part on record, or like an earlier row.
type doubleOf struct {
	line int
	like likeness // on record
	says string   // of earlier rows
	code string   // of the rule, where it is no likeness
}

// tellDoubles says of each double what the shop has and where; of the first 200 with numbers.
func (s *Store) tellDoubles(ctx context.Context, rep *PartsReport, doubles []doubleOf) error {
	all := likeness{why: map[PartID]string{}}
	for _, d := range doubles[:min(200, len(doubles))] {
		for _, id := range d.like.ids {
			if all.why[id] == "" {
				all.ids, all.why[id] = append(all.ids, id), d.like.why[id]
			}
		}
	}
	same, err := s.sameOf(ctx, all)
	if err != nil {
		return err
	}
	for _, d := range doubles {
		says := d.says
		if says == "" {
			var of []Same
			for _, id := range d.like.ids {
				if i := slices.IndexFunc(same, func(x Same) bool { return x.ID == id }); i >= 0 {
					x := same[i]
					x.Why = d.like.why[id]
					of = append(of, x)
				}
			}
			if says = "the shop has this already, it seems"; len(of) > 0 {
				says = (&Double{of}).Error()
			}
		}
		field := "designation"
		if d.code != "" {
			field = "code"
		}
		rep.Doubles = append(rep.Doubles, BadRow{Line: d.line, Field: field, Says: says, Code: d.code})
	}
	return nil
}

// mayEnter refuses who may not enter parts, for a look that books nothing.
func (s *Store) mayEnter(ctx context.Context, actor PersonID) error {
	var role Role
	if err := s.read.WithContext(ctx).Raw("SELECT role FROM people WHERE id = ? AND left_at IS NULL", actor).Scan(&role).Error; err != nil {
		return err
	}
	if !May(role, ActPart) {
		return refuse(ErrForbidden, "act", "%s may not enter parts; ask the attendant", role.withArticle())
	}
	return nil
}

// A partsBook is the catalogue as a file is compared with it, read with five queries.
type partsBook struct {
	byCode map[string]bookRow // by folded code, also by the further ones
	alike  alikeBook
	homes  map[string]PlaceID
	buys   map[string]SupplierID
}

func readPartsBook(db *gorm.DB) (*partsBook, error) {
	b := &partsBook{byCode: map[string]bookRow{}, homes: map[string]PlaceID{}, buys: map[string]SupplierID{}}
	var rows []Part
	if err := db.Where("merged_into IS NULL").Order("code").Limit(1_000_000).Find(&rows).Error; err != nil {
		return nil, err
	}
	var all []Fact
	if err := db.Order("part_id, symbol").Limit(50_000_000).Find(&all).Error; err != nil {
		return nil, err
	}
	facts := map[PartID][]Fact{}
	for _, f := range all {
		facts[f.PartID] = append(facts[f.PartID], f)
	}
	byID := map[PartID]bookRow{}
	for _, p := range rows {
		r := bookRow{part: p, facts: facts[p.ID]}
		b.byCode[bareCode(p.Code)], byID[p.ID] = r, r
		if p.RetiredAt.IsZero() {
			b.alike.add(r)
		}
	}
	var codes []partCode
	if err := db.Order("folded").Limit(1_000_000).Find(&codes).Error; err != nil {
		return nil, err
	}
	for _, c := range codes {
		if r, ok := byID[c.PartID]; ok {
			b.byCode[c.Folded] = r
		}
	}
	var places []Place
	if err := db.Where("outside = ? AND retired_at IS NULL", false).Order("code").Limit(1_000_000).Find(&places).Error; err != nil {
		return nil, err
	}
	for _, p := range places {
		b.homes[strings.ToUpper(p.Code)] = p.ID
	}
	var suppliers []Supplier
	if err := db.Order("code").Limit(100_000).Find(&suppliers).Error; err != nil {
		return nil, err
	}
	for _, v := range suppliers {
		b.buys[strings.ToUpper(v.Code)] = v.ID
	}
	return b, nil
}

// read reads every row into a part, and says in rep what is wrong with which. The doubles are
// told apart: what they are like is still to be put in words.
func (b *partsBook) read(rows [][]string, cols []partColumn, rep *PartsReport) (out []PartIn, doubles []doubleOf) {
	rep.Rows = len(rows) - 1
	seen := map[string]int{}
	for i, row := range rows[1:] {
		line := i + 2
		if !slices.ContainsFunc(row, func(t string) bool { return strings.TrimSpace(t) != "" }) {
			rep.Rows--
			continue
		}
		bad := func(err error) {
			b := BadRow{Line: line, Says: err.Error()}
			if r, ok := errors.AsType[*Refusal](err); ok {
				b.Field, b.Code = r.Field, r.Code
				b.Says = strings.TrimPrefix(b.Says, r.Field+": ") // the row names its column beside it
			}
			rep.Bad = append(rep.Bad, b)
		}
		f, err := b.row(row, cols)
		if err != nil {
			bad(err)
			continue
		}
		p := f.In.Part
		code := bareCode(p.Code)
		if n := seen[code]; n > 0 {
			bad(unfit("duplicate_key", "code", "%s stands in line %d already", p.Code, n))
			continue
		}
		seen[code] = line
		if have, ok := b.byCode[code]; ok {
			switch what := rowDiffers(have.part, have.facts, f.In); {
			case !have.part.RetiredAt.IsZero():
				bad(refuse(ErrRetired, "code", "%s is there and no longer in use; take it into use again on its own page", have.part.Code))
			case what != "":
				bad(refuse(ErrExists, "code", "%s is there already with another %s; change it on its own page", p.Code, what))
			default:
				rep.Same = append(rep.Same, have.part.Code)
			}
			continue
		}
		if _, _, err := checkPart(f.In); err != nil {
			bad(err)
			continue
		}
		like, why := b.alike.like(f.In)
		d := doubleOf{line: line, like: likeness{why: map[PartID]string{}}}
		for i, r := range like {
			switch {
			case r.line == 0 && len(d.like.ids) < 10:
				d.like.ids, d.like.why[r.part.ID] = append(d.like.ids, r.part.ID), why[i]
			case r.line > 0:
				doubles = append(doubles, doubleOf{line: line, says: fmt.Sprintf("%s names the same thing as line %d, %s: %s", p.Code, r.line, r.part.Code, why[i])})
			}
		}
		if converted.MatchString(p.Code) {
			doubles = append(doubles, doubleOf{line: line, code: "looks_converted", says: p.Code + " reads as a number with an exponent; a spreadsheet may have made it of another code"})
		}
		if len(d.like.ids) > 0 {
			doubles = append(doubles, d)
		}
		b.alike.add(bookRow{part: p, facts: f.In.Facts, line: line})
		for _, n := range f.Notes {
			rep.Notes = append(rep.Notes, BadRow{Line: line, Says: n})
		}
		rep.New = append(rep.New, p.Code)
		out = append(out, f.In)
	}
	slices.SortStableFunc(doubles, func(a, b doubleOf) int { return a.line - b.line })
	return out, doubles
}

// row reads one row as a form is read.
func (b *partsBook) row(row []string, cols []partColumn) (Filled, error) {
	e := PartEntry{Values: map[string]string{}}
	said := map[string]string{}
	for i, t := range row {
		if t = strings.TrimSpace(t); t == "" || i >= len(cols) {
			continue
		}
		c := cols[i]
		if c.plain != "" {
			said[c.plain] = t
			continue
		}
		if c.symbol == "" {
			return Filled{}, refuse(ErrBadInput, "file", "%q stands under a column without a head", t)
		}
		if c.unit != 0 {
			size, err := standard.ParseSizeIn(t, c.unit)
			if err != nil {
				return Filled{}, &Refusal{Class: ErrBadInput, Field: c.symbol, Says: err.Error()}
			}
			t = size.String()
		}
		e.Values[c.symbol] = t
		if c.maker {
			e.ByMaker = append(e.ByMaker, c.symbol)
		}
	}
	for _, p := range plainFields {
		*p.of(&e) = said[p.Key]
	}
	e.Kind = strings.ToLower(e.Kind)
	if e.Code == "" {
		return Filled{}, refuse(ErrBadInput, "code", "the row has no code")
	}
	return fillPart(e, func(code string) (PlaceID, bool) { id, ok := b.homes[code]; return id, ok },
		func(code string) (SupplierID, bool) { id, ok := b.buys[code]; return id, ok })
}

// rowDiffers names the first value of a row that its part has otherwise; empty cells say nothing.
func rowDiffers(have Part, facts []Fact, in PartIn) string {
	p := in.Part
	for _, x := range []struct{ what, row, has string }{
		{"kind", p.Kind, have.Kind}, {"name", p.Name, have.Name}, {"designation", p.Designation, have.Designation}, {"maker", p.Maker, have.Maker},
		{"maker's code", p.MakerCode, have.MakerCode}, {"grade", p.Grade, have.Grade}, {"note", p.Note, have.Note},
	} {
		if x.row != "" && x.row != x.has {
			return x.what
		}
	}
	switch {
	case p.Edges != 0 && p.Edges != have.Edges:
		return "number of edges"
	case p.HomeID != nil && idOf(p.HomeID) != idOf(have.HomeID):
		return "home"
	case p.SupplierID != nil && idOf(p.SupplierID) != idOf(have.SupplierID):
		return "supplier"
	case p.PriceCents != nil && (have.PriceCents == nil || *p.PriceCents != *have.PriceCents || p.Currency != have.Currency):
		return "price"
	}
	has := values(facts)
	for _, f := range in.Facts {
		if v, ok := has[f.Symbol]; !ok || !sameValue(v, f.Value) {
			return f.Symbol
		}
	}
	return ""
}
