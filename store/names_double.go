package store

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/stack"
	"brasspeg/store/standard"
)

// A Same is a part that the shop has already and that looks like the one to be saved.
type Same struct {
	Found
	Why string // what they share, in a few words
	At  string // where it is, and who has the rest
}

// A Double is an entry that looks like what the shop has by another name. It is an ErrExists;
// a person may save it all the same.
type Double struct{ Of []Same }

func (d *Double) Error() string {
	var all []string
	for _, s := range d.Of {
		all = append(all, fmt.Sprintf("%s %s, %s; %s", s.Code, cmp.Or(s.Designation, s.Name), s.Why, s.At))
	}
	return "the shop has this already, it seems: " + strings.Join(all, "; ") + ". Save it only if it is another thing"
}

// Unwrap makes a Double an ErrExists.
func (d *Double) Unwrap() error { return ErrExists }

// nameKey is what two names of one thing share; empty where no reader knows the name.
func nameKey(kind, designation string) string {
	if strings.TrimSpace(designation) == "" {
		return ""
	}
	if key, ok := standard.Key(kind, designation); ok {
		return key
	}
	return ""
}

// suffixOf is the maker's own part of an insert's name: another one is another chip groove.
func suffixOf(kind, designation string) string {
	if kind != string(stack.Insert) {
		return ""
	}
	in, err := standard.ParseInsert(designation)
	if err != nil {
		return ""
	}
	return in.Suffix
}

// plain folds a maker's name or code for comparing: capitals, letters and digits only.
func plain(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r > 127:
			return r
		}
		return -1
	}, strings.ToUpper(text))
}

// clash reports two values that both are known and differ.
func clash(a, b string) bool { return a != "" && b != "" && plain(a) != plain(b) }

// A likeness is what looks like a part: which records, in order of code, and why each.
type likeness struct {
	ids []PartID
	why map[PartID]string
}

// errAlike ends a write because of a likeness.
var errAlike = fmt.Errorf("%w: it looks like another part", ErrExists)

// Doubles lists the parts that look like the one given: the same thing by another name, the
// same maker's code, or the same sizes throughout. Another grade, another chip groove or
// another value that both parts have makes them two things. At most 10, by code.
func (s *Store) Doubles(ctx context.Context, in PartIn) ([]Same, error) {
	like, err := alikes(s.read.WithContext(ctx), in)
	if err != nil {
		return nil, err
	}
	return s.sameOf(ctx, like)
}

// bareMakerSQL is a maker's code as plain folds it, for the marks makers use.
const bareMakerSQL = "replace(replace(replace(replace(upper(maker_code), ' ', ''), '-', ''), '.', ''), '/', '')"

// alikes finds what looks like a part on record, with two queries.
func alikes(db *gorm.DB, in PartIn) (likeness, error) {
	like := likeness{why: map[PartID]string{}}
	p := in.Part
	key := nameKey(p.Kind, p.Designation)
	var rows []Part
	q := db.Where("kind = ? AND id <> ? AND retired_at IS NULL", p.Kind, p.ID)
	// what mates alike is found by the joints' index; the name and the code by their own
	cond := db.Where("name_key <> '' AND name_key = ?", key)
	if code := plain(p.MakerCode); code != "" {
		cond = cond.Or("maker_code <> '' AND "+bareMakerSQL+" = ?", code)
	}
	if j, ok := firstJoint(p, in.Facts); ok {
		if j.Size.Known {
			cond = cond.Or("id IN (SELECT part_id FROM part_joints WHERE side = ? AND family = ? AND mm BETWEEN ? AND ?)", string(j.Side), string(j.Family), j.Size.V-0.0005, j.Size.V+0.0005)
		} else {
			cond = cond.Or("id IN (SELECT part_id FROM part_joints WHERE side = ? AND family = ? AND code = ?)", string(j.Side), string(j.Family), j.Code)
		}
	}
	if err := q.Where(cond).Order("code").Limit(2000).Find(&rows).Error; err != nil || len(rows) == 0 {
		return like, err
	}
	facts, err := factsOf(db, idsOf(rows))
	if err != nil {
		return like, err
	}
	for _, r := range rows {
		if w := alike(p, in.Facts, key, r, facts[r.ID]); w != "" && len(like.ids) < 10 {
			like.ids, like.why[r.ID] = append(like.ids, r.ID), w
		}
	}
	return like, nil
}

// An alikeBook finds what looks like a part among many that are in memory: what is on record,
// and the rows of a file as they are read.
type alikeBook struct {
	all []bookRow
	by  map[string][]int // by what alike parts may share
}

type bookRow struct {
	part  Part
	facts []Fact
	line  int // of the file; 0: on record
}

// add puts a part into the book.
func (b *alikeBook) add(r bookRow) {
	if b.by == nil {
		b.by = map[string][]int{}
	}
	for _, k := range shelves(r.part, r.facts, 0) {
		b.by[k] = append(b.by[k], len(b.all))
	}
	b.all = append(b.all, r)
}

// like finds what looks like a part, in the order it was added.
func (b *alikeBook) like(in PartIn) (out []bookRow, why []string) {
	var at []int
	for _, k := range shelves(in.Part, in.Facts, 1) {
		at = append(at, b.by[k]...)
	}
	slices.Sort(at)
	key := nameKey(in.Part.Kind, in.Part.Designation)
	for _, i := range slices.Compact(at) {
		if w := alike(in.Part, in.Facts, key, b.all[i].part, b.all[i].facts); w != "" {
			out, why = append(out, b.all[i]), append(why, w)
		}
	}
	return out, why
}

// shelves are the words under which a part stands in the book: its name, its maker's code, its
// first joint. Sizes stand by the micrometre; near adds the neighbours of it.
func shelves(p Part, facts []Fact, near int64) []string {
	var out []string
	if key := nameKey(p.Kind, p.Designation); key != "" {
		out = append(out, p.Kind+"|name|"+key)
	}
	if code := plain(p.MakerCode); code != "" {
		out = append(out, p.Kind+"|maker|"+code)
	}
	if j, ok := firstJoint(p, facts); ok {
		word := strings.Join([]string{p.Kind, "joint", string(j.Side), string(j.Family), j.Code}, "|")
		if !j.Size.Known {
			return append(out, word)
		}
		um := int64(math.Round(j.Size.V * 1000))
		for d := -near; d <= near; d++ {
			out = append(out, fmt.Sprint(word, "|", um+d))
		}
	}
	return out
}

// alike says why a part on record is the same thing as p, or "".
func alike(p Part, facts []Fact, key string, r Part, has []Fact) string {
	if clash(p.Grade, r.Grade) || clash(suffixOf(p.Kind, p.Designation), suffixOf(r.Kind, r.Designation)) {
		return ""
	}
	if p.MakerCode != "" && plain(p.MakerCode) == plain(r.MakerCode) && !clash(p.Maker, r.Maker) {
		return "the same maker's code " + r.MakerCode
	}
	sameGrade := p.Grade != "" && plain(p.Grade) == plain(r.Grade)
	if clash(p.Maker, r.Maker) && !sameGrade {
		return ""
	}
	own, both, differs := values(facts), 0, false
	for sym, v := range values(has) {
		if w, ok := own[sym]; ok && sym != "unit" && sym != "WT" {
			both++
			differs = differs || !sameValue(v, w)
		}
	}
	if differs {
		return ""
	}
	switch rkey := nameKey(r.Kind, r.Designation); {
	case key != "" && rkey == key:
		if plain(p.Designation) == plain(r.Designation) {
			return "the same name"
		}
		return fmt.Sprintf("another name of the same thing (%s)", strings.TrimPrefix(key, p.Kind+" "))
	case key != "" && rkey != "": // two names that mean two things
		return ""
	}
	if clash(p.MakerCode, r.MakerCode) && !clash(p.Maker, r.Maker) { // one maker, two codes
		return ""
	}
	// The same sizes throughout: as many known on both as the thinner record has.
	if thin := min(len(own), len(values(has))); both >= 2 && both*4 >= thin*3 {
		return "the same sizes"
	}
	return ""
}

func values(facts []Fact) map[string]string {
	m := make(map[string]string, len(facts))
	for _, f := range facts {
		m[f.Symbol] = f.Value
	}
	return m
}

// firstJoint is the joint a part is looked up by: its first on the machine side, else its first.
func firstJoint(p Part, facts []Fact) (stack.Joint, bool) {
	m, err := p.fields(facts)
	if err != nil {
		return stack.Joint{}, false
	}
	sp, err := stack.ReadPartMap(m)
	if err != nil || len(sp.Joints) == 0 {
		return stack.Joint{}, false
	}
	for _, j := range sp.Joints {
		if j.Side == stack.Machine {
			return j, true
		}
	}
	return sp.Joints[0], true
}

func idsOf(rows []Part) []PartID {
	out := make([]PartID, len(rows))
	for i, r := range rows {
		out[i] = r.ID
	}
	return out
}

// factsOf reads the facts of several parts.
func factsOf(db *gorm.DB, ids []PartID) (map[PartID][]Fact, error) {
	out := map[PartID][]Fact{}
	for len(ids) > 0 {
		n := min(500, len(ids))
		var rows []Fact
		if err := db.Where("part_id IN ?", ids[:n]).Order("part_id, symbol").Find(&rows).Error; err != nil {
			return nil, err
		}
		for _, f := range rows {
			out[f.PartID] = append(out[f.PartID], f)
		}
		ids = ids[n:]
	}
	return out, nil
}

// sameOf reads the parts of a likeness with their numbers and where they are.
func (s *Store) sameOf(ctx context.Context, like likeness) ([]Same, error) {
	ids := like.ids
	if len(ids) == 0 {
		return nil, nil
	}
	found, err := s.standings(ctx, ids)
	if err != nil {
		return nil, err
	}
	heaps, err := s.heaps(ctx, "i.part_id IN ?", ids)
	if err != nil {
		return nil, err
	}
	parts, err := s.partsOfItems(ctx, heaps)
	if err != nil {
		return nil, err
	}
	at := map[PartID][]string{}
	for _, h := range heaps {
		if id := parts[h.ItemID]; len(at[id]) < 4 {
			where := "in " + h.Code
			if h.Kind.Holds() {
				where = "out: " + cmp.Or(h.Person, h.Place)
				if h.Job != "" {
					where += ", " + h.Job
				}
			}
			at[id] = append(at[id], fmt.Sprintf("%d %s", h.Qty, where))
		}
	}
	var out []Same
	for _, id := range ids {
		i := slices.IndexFunc(found, func(f Found) bool { return f.ID == id })
		if i < 0 {
			continue
		}
		where := strings.Join(at[id], ", ")
		if where == "" {
			where = "none in the shop"
		}
		out = append(out, Same{Found: found[i], Why: like.why[id], At: where})
	}
	return out, nil
}

// partsOfItems says of which part each heap's item is.
func (s *Store) partsOfItems(ctx context.Context, heaps []Heap) (map[ItemID]PartID, error) {
	out := map[ItemID]PartID{}
	if len(heaps) == 0 {
		return out, nil
	}
	ids := map[ItemID]bool{}
	for _, h := range heaps {
		ids[h.ItemID] = true
	}
	var list []ItemID
	for id := range ids {
		list = append(list, id)
	}
	var rows []struct {
		ID     ItemID
		PartID PartID
	}
	for len(list) > 0 {
		n := min(500, len(list))
		if err := s.read.WithContext(ctx).Raw("SELECT id, part_id FROM items WHERE id IN ? ORDER BY id LIMIT 500", list[:n]).Scan(&rows).Error; err != nil {
			return nil, err
		}
		for _, r := range rows {
			out[r.ID] = r.PartID
		}
		list = list[n:]
	}
	return out, nil
}

// told reads a fact's JSON value as text for a search or a page.
func (f Fact) told() []string {
	var v any
	if json.Unmarshal([]byte(f.Value), &v) != nil {
		return nil
	}
	switch x := v.(type) {
	case string:
		return []string{x}
	case []any:
		var out []string
		for _, e := range x {
			if t, ok := e.(string); ok {
				out = append(out, t)
			}
		}
		return out
	}
	return nil
}
