package store

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"brasspeg/store/stack"
	"brasspeg/store/standard"
)

// A PartEntry is a part as a person types it: the name first, then what the name leaves open.
// Values are texts by symbol, sizes with their unit; ByMaker lists the symbols whose values
// come from the maker's papers.
type PartEntry struct {
	Kind, Code, Name, Designation, Maker, MakerCode, Grade, Note string
	Home, Supplier                                               string // codes
	Price, Currency, LeadDays, Pack, MinOrder                    string // as typed; "": not said

	Values  map[string]string
	ByMaker []string
}

// A PlainField is a value every kind of part has, under the key by which a form and a file
// call it.
type PlainField struct {
	Key, Label, Help string
	of               func(*PartEntry) *string
}

// In reads the field of an entry, to be read or set.
func (p PlainField) In(e *PartEntry) *string { return p.of(e) }

// PlainFields are those values, in the order a person is asked for them.
func PlainFields() []PlainField { return slices.Clone(plainFields) }

var plainFields = []PlainField{
	{"code", "Our code", "", func(e *PartEntry) *string { return &e.Code }},
	{"kind", "Kind", "", func(e *PartEntry) *string { return &e.Kind }},
	{"name", "What people call it", "", func(e *PartEntry) *string { return &e.Name }},
	{"designation", "Name", "", func(e *PartEntry) *string { return &e.Designation }},
	{"maker", "Maker", "", func(e *PartEntry) *string { return &e.Maker }},
	{"maker_code", "Maker's code", "", func(e *PartEntry) *string { return &e.MakerCode }},
	{"grade", "Grade", "", func(e *PartEntry) *string { return &e.Grade }},
	{"note", "Note", "", func(e *PartEntry) *string { return &e.Note }},
	{"home", "Home, the code of its bin", "where it goes when it comes in", func(e *PartEntry) *string { return &e.Home }},
	{"supplier", "Supplier's code", "who it is ordered from", func(e *PartEntry) *string { return &e.Supplier }},
	{"price", "Price of one", "as 7.20", func(e *PartEntry) *string { return &e.Price }},
	{"currency", "Currency", "such as EUR; goes with a price", func(e *PartEntry) *string { return &e.Currency }},
	{"lead_days", "Lead time in days", "as quoted; the measured one counts where there is one", func(e *PartEntry) *string { return &e.LeadDays }},
	{"pack", "Pieces in a pack", "1 when it is sold by the piece", func(e *PartEntry) *string { return &e.Pack }},
	{"min_order", "Smallest order, pieces", "", func(e *PartEntry) *string { return &e.MinOrder }},
}

// FillPart is Fill with the home and the supplier looked up by their codes.
func (s *Store) FillPart(ctx context.Context, e PartEntry) (Filled, error) {
	db := s.read.WithContext(ctx)
	var lost error
	f, err := fillPart(e, func(code string) (PlaceID, bool) {
		p, err := one[Place](db, "place", code, "upper(code) = ? AND outside = ? AND retired_at IS NULL", code, false)
		if err != nil && !errors.Is(err, ErrNotFound) {
			lost = err
		}
		return p.ID, err == nil
	}, func(code string) (SupplierID, bool) {
		v, err := one[Supplier](db, "supplier", code, "upper(code) = ?", code)
		if err != nil && !errors.Is(err, ErrNotFound) {
			lost = err
		}
		return v.ID, err == nil
	})
	if lost != nil {
		return f, lost
	}
	return f, err
}

func fillPart(e PartEntry, place func(string) (PlaceID, bool), supplier func(string) (SupplierID, bool)) (Filled, error) {
	f, err := Fill(e)
	if err != nil {
		return f, err
	}
	p := &f.In.Part
	if t := strings.ToUpper(strings.TrimSpace(e.Home)); t != "" {
		id, ok := place(t)
		if !ok {
			return f, refuse(ErrBadInput, "home", "there is no place %s in use; make it first, or leave the home empty", t)
		}
		p.HomeID = &id
	}
	if t := strings.ToUpper(strings.TrimSpace(e.Supplier)); t != "" {
		id, ok := supplier(t)
		if !ok {
			return f, refuse(ErrBadInput, "supplier", "there is no supplier %s; make it first, or leave it empty", t)
		}
		p.SupplierID = &id
	}
	return f, nil
}

// buys reads what buying asks of a part.
func (e PartEntry) buys(p *Part) error {
	if t := strings.TrimSpace(e.Price); t != "" {
		n, err := ReadCents("price", t)
		if err != nil {
			return err
		}
		p.PriceCents = &n
	}
	p.Currency = strings.ToUpper(strings.TrimSpace(e.Currency))
	if p.PriceCents != nil {
		if err := checkMoney("currency", p.PriceCents, p.Currency); err != nil {
			return err
		}
	}
	for _, x := range []struct {
		key, text string
		least     int
		to        func(int)
	}{
		{"lead_days", e.LeadDays, 0, func(n int) { p.LeadDays = &n }}, {"pack", e.Pack, 1, func(n int) { p.Pack = n }}, {"min_order", e.MinOrder, 1, func(n int) { p.MinOrder = n }},
	} {
		if t := strings.TrimSpace(x.text); t != "" {
			n, err := ReadWhole(x.key, t, int64(x.least), 1_000_000)
			if err != nil {
				return err
			}
			x.to(int(n))
		}
	}
	return nil
}

// A Filled is an entry with every value it will be saved with, and what remains to be said.
type Filled struct {
	In    PartIn
	Told  Told
	Notes []string // where a value entered differs from what the name says
}

// Fill reads an entry: the name fills what it says, a value entered overrides it and is kept
// as such. A bare number where a size is meant is refused with the question; so are a value of
// the wrong sort, a symbol the kind does not have, and a name its reader refuses, each with
// the field. Nothing is saved.
func Fill(e PartEntry) (Filled, error) {
	var out Filled
	fields, ok := partFields[e.Kind]
	if !ok {
		return out, refuse(ErrBadInput, "kind", "kind %q is not known; it is one of %s", e.Kind, strings.Join(PartKinds(), ", "))
	}
	var err error
	if strings.TrimSpace(e.Code) != "" { // it may be given last
		if e.Code, err = partCodeOf("code", e.Code); err != nil {
			return out, err
		}
	}
	if e.Kind == string(stack.Insert) {
		if e.Designation, err = designationOf("designation", e.Designation); err != nil {
			return out, err
		}
	}
	told, err := FromDesignation(e.Kind, e.Designation)
	if err != nil {
		return out, &Refusal{Class: fmt.Errorf("%w: %w", ErrBadInput, err), Code: "designation", Field: "designation", Says: err.Error()}
	}
	out.Told = told
	p := &out.In.Part
	*p = Part{Kind: e.Kind, Code: strings.TrimSpace(e.Code), Name: strings.TrimSpace(e.Name), Designation: strings.TrimSpace(e.Designation), Maker: strings.TrimSpace(e.Maker),
		MakerCode: strings.TrimSpace(e.MakerCode), Grade: strings.TrimSpace(e.Grade), Note: strings.TrimSpace(e.Note), Edges: told.Edges}
	if err := e.buys(p); err != nil {
		return out, err
	}
	for symbol := range e.Values {
		if !slices.ContainsFunc(fields, func(f PartField) bool { return f.Symbol == symbol }) {
			return out, refuse(ErrBadInput, symbol, "a %s has no value called %q", e.Kind, symbol)
		}
	}
	units := map[string]standard.Unit{}
	for _, f := range fields {
		from := slices.IndexFunc(told.Facts, func(x Fact) bool { return x.Symbol == f.Symbol })
		text := strings.TrimSpace(e.Values[f.Symbol])
		if text == "" {
			if from >= 0 {
				units[f.Symbol] = unitOf(told.Facts[from].Entered)
				out.In.Facts = append(out.In.Facts, told.Facts[from])
			}
			continue
		}
		v, entered, err := f.read(text)
		if err != nil {
			return out, err
		}
		if f.Sort == "count" {
			n := int(v.(int64))
			if told.Edges != 0 && n != told.Edges {
				out.Notes = append(out.Notes, fmt.Sprintf("edges: %d entered, the name says %d", n, told.Edges))
			}
			p.Edges = n
			continue
		}
		b, err := json.Marshal(v)
		if err != nil {
			return out, refuse(ErrBadInput, f.Symbol, "%s: %q can not be kept", f.Symbol, text)
		}
		fact := Fact{Symbol: f.Symbol, Value: string(b), Entered: entered, Origin: Entered}
		if slices.Contains(e.ByMaker, f.Symbol) {
			fact.Origin = ByMaker
		}
		if from >= 0 {
			if t := told.Facts[from]; sameValue(t.Value, fact.Value) {
				fact = t // the name says it, and whoever typed it agrees
			} else {
				out.Notes = append(out.Notes, fmt.Sprintf("%s: %s entered, the name says %s; the value entered is kept", f.Symbol, entered, t.Entered))
			}
		}
		if s, err := standard.ParseSize(fact.Entered); err == nil {
			units[f.Symbol] = s.Unit()
		}
		out.In.Facts = append(out.In.Facts, fact)
	}
	// A bar as long as it is long: a measured LF of a bar without a bolt-on head is its length.
	if e.Kind == string(stack.Bar) {
		follow(&out.In, e.Values)
	}
	if u := unitWord(units["DCONMS"], units["DCONWS"]); u != "" {
		out.In.Facts = append(out.In.Facts, Fact{Symbol: "unit", Value: strconv.Quote(u), Entered: u, Origin: Entered})
	}
	return out, nil
}

// follow lets OAL follow a measured LF where only the name gave OAL: both are one length on a
// bar with its own pocket.
func follow(in *PartIn, typed map[string]string) {
	lf := slices.IndexFunc(in.Facts, func(f Fact) bool { return f.Symbol == "LF" && f.Origin != ByDesignation })
	oal := slices.IndexFunc(in.Facts, func(f Fact) bool { return f.Symbol == "OAL" })
	if lf < 0 || strings.TrimSpace(typed["OAL"]) != "" && (oal < 0 || in.Facts[oal].Origin != ByDesignation) {
		return
	}
	f := in.Facts[lf]
	f.Symbol = "OAL"
	if oal >= 0 {
		in.Facts[oal] = f
	} else {
		in.Facts = append(in.Facts, f)
	}
}

func unitOf(entered string) standard.Unit {
	s, err := standard.ParseSize(entered)
	if err != nil {
		return 0
	}
	return s.Unit()
}

// unitWord is how the catalogue says in which units a part was entered, outside then inside.
func unitWord(outside, inside standard.Unit) string {
	switch {
	case outside == 0 && inside == 0:
		return ""
	case outside == 0:
		return inside.String()
	case inside == 0 || inside == outside:
		return outside.String()
	}
	return outside.String() + "/" + inside.String()
}

// read reads one typed value: what is kept, and how it was typed.
func (f PartField) read(text string) (any, string, error) {
	bad := func(format string, args ...any) (any, string, error) {
		return nil, "", refuse(ErrBadInput, f.Symbol, "%s: "+format, append([]any{f.Symbol}, args...)...)
	}
	if len(text) > 200 {
		return bad("that is too long for a value")
	}
	switch f.Sort {
	case "size":
		s, err := standard.ParseSize(text)
		if r, ok := errors.AsType[*standard.Refusal](err); ok {
			if len(r.Meant) > 0 {
				return bad("%s. Write %s", r.Why, strings.Join(r.Meant, " or "))
			}
			return bad("%s", r.Why)
		} else if err != nil {
			return bad("%v", err)
		}
		return s.MM(), s.String(), nil
	case "number":
		t := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), f.Unit))
		v, err := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
		if err != nil || v != v || v > 1e6 || v < -360 {
			return bad("%q is not a number of %s", text, f.Unit)
		}
		return v, num(v) + " " + f.Unit, nil
	case "count":
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil || n < 0 || n > 100 {
			return bad("%q is not a whole number from 0 to 100", text)
		}
		return n, text, nil
	case "yes":
		switch strings.ToLower(text) {
		case "yes", "y", "true", "1":
			return true, "yes", nil
		case "no", "n", "false", "0":
			return false, "no", nil
		}
		return bad("%q; write yes or no", text)
	case "choice":
		for _, c := range f.Choices {
			if strings.EqualFold(c, strings.ReplaceAll(text, " ", "_")) {
				return c, c, nil
			}
		}
		return bad("%q; it is one of %s", text, strings.Join(f.Choices, ", "))
	case "ends":
		var all []string
		for _, part := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == '|' }) {
			part = strings.TrimSpace(part)
			if strings.EqualFold(part, "bore") {
				all = append(all, "bore")
				continue
			}
			if g, rest, ok := strings.Cut(part, ":"); ok && strings.HasPrefix(strings.ToLower(strings.TrimSpace(rest)), "push-in ") {
				all = append(all, strings.ToUpper(strings.TrimSpace(g))+":"+strings.ToLower(strings.TrimSpace(rest)))
				continue
			}
			p, err := standard.ParsePort(part)
			if err != nil {
				return bad("%v", err)
			}
			all = append(all, p.String())
		}
		if len(all) == 0 {
			return bad("write gender and thread, as M:G 1/4")
		}
		return all, strings.Join(all, ", "), nil
	}
	if f.Symbol == "interface" { // one spelling of a turret seat, so that it mates by its code
		if sys, err := standard.ParseSeatSystem(text); err == nil {
			return strings.ReplaceAll(sys.Code(), " ", ""), sys.Code(), nil
		}
	}
	t, err := printable(f.Symbol, text, 60)
	return t, t, err
}

// sameValue compares two JSON values; lengths within a thousandth of a millimetre are one.
func sameValue(a, b string) bool {
	x, err := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	if err == nil && err2 == nil {
		return x-y < 0.0005 && y-x < 0.0005
	}
	return a == b
}

// EnterPart saves a filled entry as a new part. When the shop has the same thing by another
// name, that is a *Double, an ErrExists that names what and where, unless confirmed says that
// a person has looked at them. It is looked for in the write itself: of two people who save
// the same thing at the same moment one gets the part and the other the warning. A part with
// sizes that can not be is refused as in SavePart.
func (s *Store) EnterPart(ctx context.Context, actor PersonID, f Filled, confirmed bool) (Part, error) {
	f.In.Part.ID = 0
	p, sp, err := checkPart(f.In)
	if err != nil {
		return p, err
	}
	var saved Part
	var like likeness
	err = s.book(ctx, func(tx *Tx) (err error) {
		saved, like = p, likeness{}
		if err := tx.keeper(actor); err != nil {
			return err
		}
		if err := tx.end(); err != nil { // one at a time, on every engine
			return err
		}
		if err := tx.codeTaken(p.Code, 0); err != nil {
			return err
		}
		if !confirmed {
			if like, err = alikes(tx.DB, f.In); err != nil {
				return err
			}
			if len(like.ids) > 0 {
				return errAlike
			}
		}
		if err := tx.savePart(&saved, f.In, sp); err != nil {
			return err
		}
		return tx.note(actor, "part saved", p.Code, fmt.Sprintf("version %d", saved.Version))
	})
	if errors.Is(err, errAlike) {
		same, lost := s.sameOf(ctx, like)
		if lost != nil {
			return p, lost
		}
		return p, &Double{Of: same}
	}
	if err != nil {
		return p, err
	}
	return saved, nil
}

// keeper refuses who may not enter or change parts.
func (tx *Tx) keeper(actor PersonID) error {
	role, err := tx.roleOf(actor)
	if err != nil {
		return err
	}
	if !May(role, ActPart) {
		return refuse(ErrForbidden, "act", "%s may not enter or change parts; ask the attendant", role.withArticle())
	}
	return nil
}

// codeTaken refuses a code that another part than own has or answers to, in any case of letters.
func (tx *Tx) codeTaken(code string, own PartID) error {
	var p Part
	err := tx.Raw(`SELECT * FROM parts WHERE id <> ? AND (upper(code) = ? OR id = (SELECT part_id FROM part_codes WHERE folded = ?)) ORDER BY id LIMIT 1`,
		own, strings.ToUpper(strings.TrimSpace(code)), bareCode(code)).Scan(&p).Error
	if err != nil || p.ID == 0 {
		return err
	}
	says := p.Code + " " + cmp.Or(p.Name, p.Designation)
	switch {
	case p.MergedInto != nil:
		says = "the record " + p.Code + ", which is part of another now"
	case !p.RetiredAt.IsZero():
		says += ", which is no longer in use"
	}
	return refuse(ErrExists, "code", "%s is taken: it means %s", code, strings.TrimSpace(says))
}
