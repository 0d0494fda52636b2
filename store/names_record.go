package store

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/standard"
)

// partState is a record as a change keeps it.
type partState struct {
	Part  Part
	Facts []Fact
	Needs map[PartID]int
}

func (st partState) in() PartIn { return PartIn(st) }

// stateOf reads a record with three queries.
func stateOf(db *gorm.DB, id PartID) (partState, error) {
	st := partState{Needs: map[PartID]int{}}
	var err error
	if st.Part, err = one[Part](db, "part", id, "id = ?", id); err != nil {
		return st, err
	}
	if err := db.Where("part_id = ?", id).Order("symbol").Find(&st.Facts).Error; err != nil {
		return st, err
	}
	var needs []struct {
		SpareID PartID
		Qty     int
	}
	if err := db.Raw("SELECT spare_id, qty FROM part_needs WHERE part_id = ? ORDER BY spare_id", id).Scan(&needs).Error; err != nil {
		return st, err
	}
	for _, n := range needs {
		st.Needs[n.SpareID] = n.Qty
	}
	return st, nil
}

// EntryOf is a part as the form shows it, each value as it was typed.
func (s *Store) EntryOf(ctx context.Context, id PartID) (PartEntry, Part, error) {
	db := s.read.WithContext(ctx)
	st, err := stateOf(db, id)
	if err != nil {
		return PartEntry{}, st.Part, err
	}
	e, err := entryOf(db, st)
	return e, st.Part, err
}

// EntryAt is a part as the form showed it at a version; where that can no longer be told, as it
// shows it now.
func (s *Store) EntryAt(ctx context.Context, id PartID, version int) (PartEntry, Part, error) {
	db := s.read.WithContext(ctx)
	st, err := stateOf(db, id)
	if err != nil {
		return PartEntry{}, st.Part, err
	}
	if st.Part.Version == version {
		e, err := entryOf(db, st)
		return e, st.Part, err
	}
	c, err := since(db, st, version)
	if err != nil {
		return PartEntry{}, st.Part, err
	}
	return c.Was, st.Part, nil
}

func entryOf(db *gorm.DB, st partState) (PartEntry, error) {
	p := st.Part
	e := PartEntry{Kind: p.Kind, Code: p.Code, Name: p.Name, Designation: p.Designation, Maker: p.Maker, MakerCode: p.MakerCode, Grade: p.Grade, Note: p.Note,
		Currency: p.Currency, Pack: strconv.Itoa(p.Pack), MinOrder: strconv.Itoa(p.MinOrder), Values: map[string]string{}}
	if p.PriceCents != nil {
		e.Price = fmt.Sprintf("%d.%02d", *p.PriceCents/100, *p.PriceCents%100)
	}
	if p.LeadDays != nil {
		e.LeadDays = strconv.Itoa(*p.LeadDays)
	}
	if p.HomeID != nil {
		home, err := one[Place](db, "place", *p.HomeID, "id = ?", *p.HomeID)
		if err != nil {
			return e, err
		}
		e.Home = home.Code
	}
	if p.SupplierID != nil {
		v, err := one[Supplier](db, "supplier", *p.SupplierID, "id = ?", *p.SupplierID)
		if err != nil {
			return e, err
		}
		e.Supplier = v.Code
	}
	for _, f := range st.Facts {
		if field, ok := fieldOf(p.Kind, f.Symbol); ok {
			e.Values[f.Symbol] = field.typed(f)
			if f.Origin == ByMaker {
				e.ByMaker = append(e.ByMaker, f.Symbol)
			}
		}
	}
	if _, ok := fieldOf(p.Kind, "edges"); ok && p.Edges > 0 {
		e.Values["edges"] = strconv.Itoa(p.Edges)
	}
	return e, nil
}

func fieldOf(kind, symbol string) (PartField, bool) {
	i := slices.IndexFunc(partFields[kind], func(f PartField) bool { return f.Symbol == symbol })
	if i < 0 {
		return PartField{}, false
	}
	return partFields[kind][i], true
}

// typed is a value as a person would type it into its field; read takes it back.
func (f PartField) typed(x Fact) string {
	var v any
	if json.Unmarshal([]byte(x.Value), &v) != nil {
		return x.Entered
	}
	switch t := v.(type) {
	case float64:
		if f.Sort != "size" {
			return num(t)
		}
		if s, err := standard.ParseSize(x.Entered); err == nil && sameValue(num(s.MM()), x.Value) {
			return x.Entered
		}
		return num(t) + " mm"
	case bool:
		return yes(t)
	}
	return strings.Join(x.told(), ", ")
}

// keep says what of a record stays as it is under a change: the text that shows an untouched
// value may be shorter than the value, and where it came from is kept with it.
func (st partState) keep(was, e PartEntry) (rest PartEntry, untouched []Fact) {
	rest = e
	rest.Values = maps.Clone(e.Values)
	for _, f := range st.Facts {
		field, ok := fieldOf(st.Part.Kind, f.Symbol)
		switch {
		case !ok:
			untouched = append(untouched, f) // a column the form does not have
		case strings.TrimSpace(e.Values[f.Symbol]) == field.typed(f):
			delete(rest.Values, f.Symbol)
			switch maker := slices.Contains(e.ByMaker, f.Symbol); {
			case maker:
				f.Origin = ByMaker
			case f.Origin == ByMaker:
				f.Origin = Entered
			}
			untouched = append(untouched, f)
		}
	}
	if strings.TrimSpace(e.Values["edges"]) == was.Values["edges"] {
		delete(rest.Values, "edges")
	}
	return rest, untouched
}

// changeTo is the record as the entry wants it, with what differs in words, old and new.
func (s *Store) changeTo(ctx context.Context, db *gorm.DB, st partState, e PartEntry) (PartIn, []string, error) {
	was, err := entryOf(db, st)
	if err != nil {
		return PartIn{}, nil, err
	}
	if e.Kind != "" && e.Kind != st.Part.Kind {
		return PartIn{}, nil, refuse(ErrBadInput, "kind", "%s is a %s; a %s is another part: enter that, and retire this one", st.Part.Code, st.Part.Kind, e.Kind)
	}
	e.Kind = st.Part.Kind
	rest, untouched := st.keep(was, e)
	f, err := s.FillPart(ctx, rest)
	if err != nil {
		return PartIn{}, nil, err
	}
	in := st.in()
	p, n := &in.Part, f.In.Part
	p.Code, p.Name, p.Designation, p.Maker, p.MakerCode, p.Grade, p.Note = n.Code, n.Name, n.Designation, n.Maker, n.MakerCode, n.Grade, n.Note
	p.HomeID, p.SupplierID, p.PriceCents, p.Currency, p.LeadDays, p.Pack, p.MinOrder = n.HomeID, n.SupplierID, n.PriceCents, n.Currency, n.LeadDays, max(n.Pack, 1), max(n.MinOrder, 1)
	if _, typed := rest.Values["edges"]; typed {
		p.Edges = n.Edges
	}
	sameName := n.Designation == st.Part.Designation
	in.Facts = slices.DeleteFunc(f.In.Facts, func(x Fact) bool {
		if x.Symbol == "unit" {
			return true
		}
		_, had := was.Values[x.Symbol]
		return sameName && !had && strings.TrimSpace(e.Values[x.Symbol]) == "" // the name said it before, and nobody wrote it down
	})
	for _, u := range untouched {
		i := slices.IndexFunc(in.Facts, func(x Fact) bool { return x.Symbol == u.Symbol })
		switch {
		case i < 0 && u.Origin == ByDesignation && !sameName:
			u.Origin = Entered // the name no longer says it
			fallthrough
		case i < 0:
			in.Facts = append(in.Facts, u)
		case sameName:
			in.Facts[i] = u
		case u.Origin != ByMaker && sameValue(in.Facts[i].Value, u.Value): // the new name says the same
		default:
			if u.Origin == ByDesignation {
				u.Origin = Entered
			}
			in.Facts[i] = u // the name says otherwise, and the value on record was left as it is
		}
	}
	in.unit(untouched)
	for i := range in.Facts {
		in.Facts[i].PartID = 0
	}
	slices.SortFunc(in.Facts, func(a, b Fact) int { return strings.Compare(a.Symbol, b.Symbol) })
	now, err := entryOf(db, partState{Part: *p, Facts: in.Facts})
	if err != nil {
		return in, nil, err
	}
	return in, differences(was, now, st.Facts, in.Facts), nil
}

// unit tells anew in which units a part was entered, where one of its diameters was touched.
func (in *PartIn) unit(untouched []Fact) {
	units, touched := map[string]standard.Unit{}, false
	for _, f := range in.Facts {
		if f.Symbol == "DCONMS" || f.Symbol == "DCONWS" {
			units[f.Symbol] = unitOf(f.Entered)
			touched = touched || !slices.ContainsFunc(untouched, func(u Fact) bool { return u.Symbol == f.Symbol })
		}
	}
	if !touched {
		return
	}
	in.Facts = slices.DeleteFunc(in.Facts, func(f Fact) bool { return f.Symbol == "unit" })
	if u := unitWord(units["DCONMS"], units["DCONWS"]); u != "" {
		in.Facts = append(in.Facts, Fact{Symbol: "unit", Value: strconv.Quote(u), Entered: u, Origin: Entered})
	}
}

// differences says each value that differs, old and new; a value that only comes from
// elsewhere now says so.
func differences(was, now PartEntry, before, after []Fact) []string {
	var out []string
	tell := func(what, a, b string) {
		if a != b {
			out = append(out, fmt.Sprintf("%s %s → %s", what, told(a), told(b)))
		}
	}
	for _, p := range plainFields {
		tell(strings.ReplaceAll(p.Key, "_", " "), *p.of(&was), *p.of(&now))
	}
	origin := map[string][2]string{}
	for _, f := range before {
		origin[f.Symbol] = [2]string{f.Origin}
	}
	for _, f := range after {
		origin[f.Symbol] = [2]string{origin[f.Symbol][0], f.Origin}
	}
	for _, f := range partFields[was.Kind] {
		a, b := was.Values[f.Symbol], now.Values[f.Symbol]
		tell(f.Symbol, a, b)
		if o := origin[f.Symbol]; a == b && o[0] != o[1] && o[0] != "" && o[1] != "" {
			out = append(out, fmt.Sprintf("%s %s was %s, is %s", f.Symbol, b, originWords[o[0]], originWords[o[1]]))
		}
	}
	return out
}

var originWords = map[string]string{Entered: "entered", ByDesignation: "from the designation", ByMaker: "by the maker"}

// told is a value in a sentence.
func told(v string) string {
	if v == "" {
		return "nothing"
	}
	return v
}

// overlay is mine where mine was touched, and theirs elsewhere.
func overlay(mine, read, theirs PartEntry) PartEntry {
	out := mine
	for _, p := range plainFields {
		if *p.of(&mine) == *p.of(&read) {
			*p.of(&out) = *p.of(&theirs)
		}
	}
	out.Values, out.ByMaker = map[string]string{}, nil
	for _, f := range partFields[theirs.Kind] {
		v := mine.Values[f.Symbol]
		maker := slices.Contains(mine.ByMaker, f.Symbol)
		if v == read.Values[f.Symbol] && maker == slices.Contains(read.ByMaker, f.Symbol) {
			v, maker = theirs.Values[f.Symbol], slices.Contains(theirs.ByMaker, f.Symbol)
		}
		if v != "" {
			out.Values[f.Symbol] = v
		}
		if maker {
			out.ByMaker = append(out.ByMaker, f.Symbol)
		}
	}
	return out
}
