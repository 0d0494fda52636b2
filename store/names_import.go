package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

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
var partColumns = []string{"code", "kind", "name", "designation", "maker", "maker_code", "grade", "note", "home", "price", "currency", "lead_days", "pack", "min_order"}

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
			return rep, refuse(ErrBadInput, h, "the column %q is not known; the columns are %s, and the symbols of the kinds, as DCONMS or DCONMS mm", h, strings.Join(partColumns, ", "))
		}
	}
	for _, must := range []string{"code", "kind"} {
		if !slices.Contains(rows[0], must) {
			return rep, refuse(ErrBadInput, must, "the column %q is missing", must)
		}
	}
	rep.Rows = len(rows) - 1
	in, err := s.partRows(ctx, rows[1:], cols, &rep)
	if err != nil {
		return rep, err
	}
	if apply && len(rep.Bad) > 0 {
		b := rep.Bad[0]
		return rep, refuse(ErrBadInput, b.Field, "%d of %d rows can not be taken, so none was; the first is line %d: %s", len(rep.Bad), rep.Rows, b.Line, b.Says)
	}
	if apply && len(rep.Doubles) > 0 && !confirmed {
		b := rep.Doubles[0]
		return rep, refuse(ErrExists, b.Field, "%d of %d rows look like what the shop has, so none was taken; the first is line %d: %s", len(rep.Doubles), rep.Rows, b.Line, b.Says)
	}
	if !apply || len(in) == 0 {
		rep.Applied = apply
		return rep, s.mayEnter(ctx, actor)
	}
	err = s.book(ctx, func(tx *Tx) error {
		role, err := tx.roleOf(actor)
		if err != nil {
			return err
		}
		if !May(role, ActPart) {
			return refuse(ErrForbidden, "act", "%s may not enter parts; ask the attendant", role.withArticle())
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
	rep.Applied = err == nil
	return rep, err
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

// partRows reads every row into a part, and says in rep what is wrong with which.
func (s *Store) partRows(ctx context.Context, rows [][]string, cols []partColumn, rep *PartsReport) ([]PartIn, error) {
	var out []PartIn
	seen, alikes := map[string]int{}, map[string]int{}
	for i, row := range rows {
		line := i + 2
		if !slices.ContainsFunc(row, func(t string) bool { return strings.TrimSpace(t) != "" }) {
			rep.Rows--
			continue
		}
		bad := func(err error) {
			b := BadRow{Line: line, Says: err.Error()}
			if r, ok := errors.AsType[*Refusal](err); ok {
				b.Field = r.Field
			}
			rep.Bad = append(rep.Bad, b)
		}
		f, err := s.partRow(ctx, row, cols)
		if err != nil {
			bad(err)
			continue
		}
		p := f.In.Part
		if n := seen[bareCode(p.Code)]; n > 0 {
			bad(refuse(ErrBadInput, "code", "%s stands in line %d already", p.Code, n))
			continue
		}
		seen[bareCode(p.Code)] = line
		have, err := s.PartByCode(ctx, p.Code)
		switch {
		case err == nil:
			if what, err := s.differs(ctx, have, f.In); err != nil {
				return nil, err
			} else if what != "" {
				bad(refuse(ErrExists, "code", "%s is there already with another %s; change it on its own page", p.Code, what))
			} else {
				rep.Same = append(rep.Same, p.Code)
			}
			continue
		case !errors.Is(err, ErrNotFound):
			return nil, err
		}
		if _, _, err := checkPart(f.In); err != nil {
			bad(err)
			continue
		}
		same, err := s.Doubles(ctx, f.In)
		if err != nil {
			return nil, err
		}
		if len(same) > 0 {
			rep.Doubles = append(rep.Doubles, BadRow{line, "designation", (&Double{same}).Error()})
		}
		if key := nameKey(p.Kind, p.Designation); key != "" {
			key = strings.Join([]string{p.Kind, key, plain(p.Grade), suffixOf(p.Kind, p.Designation), plain(p.Maker)}, "|")
			if n := alikes[key]; n > 0 {
				rep.Doubles = append(rep.Doubles, BadRow{line, "designation", fmt.Sprintf("%s names the same thing as line %d", p.Designation, n)})
			} else {
				alikes[key] = line
			}
		}
		for _, n := range f.Notes {
			rep.Notes = append(rep.Notes, BadRow{line, "", n})
		}
		rep.New = append(rep.New, p.Code)
		out = append(out, f.In)
	}
	return out, nil
}

// partRow reads one row as a form is read.
func (s *Store) partRow(ctx context.Context, row []string, cols []partColumn) (Filled, error) {
	e := PartEntry{Values: map[string]string{}}
	plainText := map[string]string{}
	for i, t := range row {
		if t = strings.TrimSpace(t); t == "" || i >= len(cols) {
			continue
		}
		c := cols[i]
		if c.plain != "" {
			plainText[c.plain] = t
			continue
		}
		if c.symbol == "" {
			return Filled{}, refuse(ErrBadInput, "file", "%q stands under a column without a head", t)
		}
		if c.unit != 0 {
			size, err := standard.ParseSizeIn(t, c.unit)
			if err != nil {
				return Filled{}, &Refusal{Class: ErrBadInput, Field: c.symbol, Says: c.symbol + ": " + err.Error()}
			}
			t = size.String()
		}
		e.Values[c.symbol] = t
		if c.maker {
			e.ByMaker = append(e.ByMaker, c.symbol)
		}
	}
	e.Kind, e.Code, e.Name, e.Designation = strings.ToLower(plainText["kind"]), plainText["code"], plainText["name"], plainText["designation"]
	e.Maker, e.MakerCode, e.Grade, e.Note = plainText["maker"], plainText["maker_code"], plainText["grade"], plainText["note"]
	if e.Code == "" {
		return Filled{}, refuse(ErrBadInput, "code", "the row has no code")
	}
	f, err := Fill(e)
	if err != nil {
		return f, err
	}
	p := &f.In.Part
	if t := plainText["home"]; t != "" {
		place, err := s.PlaceByCode(ctx, strings.ToUpper(t))
		if err != nil {
			return f, refuse(ErrBadInput, "home", "there is no place %s", t)
		}
		p.HomeID = &place.ID
	}
	if t := plainText["price"]; t != "" {
		n, err := cents(t)
		if err != nil {
			return f, refuse(ErrBadInput, "price", "price: %v", err)
		}
		p.PriceCents, p.Currency = &n, strings.ToUpper(plainText["currency"])
	}
	for col, to := range map[string]func(int){"lead_days": func(n int) { p.LeadDays = &n }, "pack": func(n int) { p.Pack = n }, "min_order": func(n int) { p.MinOrder = n }} {
		if t := plainText[col]; t != "" {
			n, err := strconv.Atoi(t)
			if err != nil || n < 0 || n > 1_000_000 {
				return f, refuse(ErrBadInput, col, "%s: %q is not a whole number", col, t)
			}
			to(n)
		}
	}
	return f, nil
}

// differs names the first value of a row that its part has otherwise; empty cells say nothing.
func (s *Store) differs(ctx context.Context, have Part, in PartIn) (string, error) {
	p := in.Part
	for what, pair := range map[string][2]string{
		"kind": {p.Kind, have.Kind}, "name": {p.Name, have.Name}, "designation": {p.Designation, have.Designation}, "maker": {p.Maker, have.Maker},
		"maker's code": {p.MakerCode, have.MakerCode}, "grade": {p.Grade, have.Grade}, "note": {p.Note, have.Note},
	} {
		if pair[0] != "" && pair[0] != pair[1] {
			return what, nil
		}
	}
	if p.Edges != 0 && p.Edges != have.Edges {
		return "number of edges", nil
	}
	if p.HomeID != nil && idOf(p.HomeID) != idOf(have.HomeID) {
		return "home", nil
	}
	if p.PriceCents != nil && (have.PriceCents == nil || *p.PriceCents != *have.PriceCents || p.Currency != have.Currency) {
		return "price", nil
	}
	facts, err := s.Facts(ctx, have.ID)
	if err != nil {
		return "", err
	}
	has := values(facts)
	for _, f := range in.Facts {
		if v, ok := has[f.Symbol]; !ok || !sameValue(v, f.Value) {
			return f.Symbol, nil
		}
	}
	return "", nil
}
