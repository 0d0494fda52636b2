package store

import (
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

// A LabelText is what stands on the label of one thing, in plain values. Package labels draws it.
type LabelText struct {
	Kind     string // piece, lot, bin, person, job, station, act
	Tag      string // what is scanned
	Head     string // word at the head: "split sleeve"
	Title    string // what it is called
	Sizes    []LabelSize
	Never    []string // what must never be done to it
	Note     string
	Part     string  // kind of part, of a piece or a lot
	Diameter float64 // mm, of a bar; 0 of all else
	Key      int     // of a quantity key: how many
	Reason   bool    // a reason card of the machines; Title is the reason
}

// A LabelSize is one of the two to four figures a person looks for on a thing.
type LabelSize struct {
	Name, Value, Unit string
	Large             bool
}

// MaxLabels is the most labels of one print.
const MaxLabels = 5000

// labelKinds are the words that choose all things of a kind.
var labelKinds = map[string]string{
	"piece": "piece", "pieces": "piece", "lot": "lot", "lots": "lot", "box": "lot", "boxes": "lot",
	"bin": "bin", "bins": "bin", "drawer": "bin", "drawers": "bin", "place": "bin", "places": "bin",
	"job": "job", "jobs": "job", "station": "station", "stations": "station", "machine": "machine", "machines": "machine",
	"card": "act", "cards": "act", "act": "act", "acts": "act", "key": "key", "keys": "key", "reason": "reason", "reasons": "reason", "person": "person", "people": "person", "badge": "person", "badges": "person",
}

// partKinds are the kinds of part by their plural.
var partKinds = map[string]string{
	"holders": "holder", "sleeves": "sleeve", "bars": "bar", "heads": "head", "inserts": "insert",
	"hoses": "hose", "fittings": "fitting", "adapters": "adapter", "spares": "spare",
}

// Labels chooses what to label and says what stands on each label.
//
// A query is one or more choices with commas between; what two of them name is printed once.
// A choice is
//   - "all" (or nothing): every piece and lot in the shop, bin, station, machine, job that is
//     planned or running, and act card;
//   - "new": what came in and has no print on record;
//   - a kind: pieces, lots, bins, stations, machines, jobs, cards, keys (quantity keys) and
//     reasons (why an edge came off), which both also come with cards; of parts: holders, sleeves, bars, heads, inserts, hoses, fittings,
//     adapters, spares;
//   - a tag, also a worn one typed with its small slips that fold (dashes, case, O for 0);
//   - the code of a place (its label and what stands there), of a machine (and its stations),
//     of a job, of a part (all of it in the shop);
//   - words of the search, as "bars 40" or "CNMG 12": all of the parts they find.
//
// Pieces come in walking order of the drawers they belong in. ErrNotFound: a choice that
// names nothing, or a tag that no longer exists; then nothing is chosen. ErrRetired: a scrapped
// piece. ErrForbidden: people, whose badges are secret; see BadgeLabel. ErrBadInput: more than
// 5,000 labels, or a tag with a wrong check character.
func (s *Store) Labels(ctx context.Context, query string) ([]LabelText, error) {
	return s.labelsOf(ctx, query, false)
}

// labelsOf is Labels; exact leaves out what stands in a place or belongs to a machine that is
// named.
func (s *Store) labelsOf(ctx context.Context, query string, exact bool) ([]LabelText, error) {
	c := chosen{s: s, seen: map[string]bool{}, exact: exact}
	if len(query) > 200_000 {
		return nil, refuse(ErrBadInput, "select", "the choice is %d characters long; print in parts", len(query))
	}
	terms := strings.FieldsFunc(query, func(r rune) bool { return r == ',' || r == ';' || r == '\n' })
	var tags []string
	any := false
	for _, t := range terms {
		t = strings.TrimSpace(t)
		if t == "" {
			continue
		}
		any = true
		if tag, err := standard.ParseTag(t); err == nil && (tag[0] == TagPiece || tag[0] == TagLot) {
			tags = append(tags, tag) // a selection of many: read together below
			continue
		}
		if err := c.flush(ctx, &tags); err != nil {
			return nil, err
		}
		if err := c.term(ctx, t); err != nil {
			return nil, err
		}
	}
	if err := c.flush(ctx, &tags); err != nil {
		return nil, err
	}
	if !any {
		if err := c.term(ctx, "all"); err != nil {
			return nil, err
		}
	}
	return c.out, nil
}

// chosen collects labels, each tag once.
type chosen struct {
	s    *Store
	out  []LabelText
	seen map[string]bool

	exact bool
}

func (c *chosen) add(ls []LabelText) error {
	for _, l := range ls {
		if !c.seen[l.Tag] {
			c.seen[l.Tag] = true
			c.out = append(c.out, l)
		}
	}
	if len(c.out) > MaxLabels {
		return tooMany()
	}
	return nil
}

func tooMany() error {
	return refuse(ErrBadInput, "select", "that is more than %d labels; print a kind, a place or a search at a time", MaxLabels)
}

// flush reads the items whose tags were named one by one, in the order they were named.
func (c *chosen) flush(ctx context.Context, tags *[]string) error {
	if len(*tags) == 0 {
		return nil
	}
	byTag := map[string]LabelText{}
	retired := map[string]Time{}
	for part := range slices.Chunk(*tags, 500) {
		rows, err := c.s.itemRows(ctx, "i.tag IN ?", part)
		if err != nil {
			return err
		}
		texts, err := c.s.itemTexts(ctx, rows)
		if err != nil {
			return err
		}
		for i, r := range rows {
			byTag[r.Tag] = texts[i]
			if !r.RetiredAt.IsZero() {
				retired[r.Tag] = r.RetiredAt
			}
		}
	}
	var ls []LabelText
	for _, t := range *tags {
		l, ok := byTag[t]
		if at, gone := retired[t]; gone {
			return refuse(ErrRetired, "select", "%s (%s) left the shop's stock on %s; it gets no new label", t, l.Title, DayOf(at.Time))
		}
		if !ok {
			_, err := c.s.Scan(ctx, t) // says which existing tag may be meant
			if err == nil {
				err = refuse(ErrNotFound, "select", "%s is on nothing of this shop", t)
			}
			return inSelect(err)
		}
		ls = append(ls, l)
	}
	*tags = nil
	return c.add(ls)
}

// inSelect names the field a refusal is about.
func inSelect(err error) error {
	if r, ok := errors.AsType[*Refusal](err); ok {
		return &Refusal{Class: r.Class, Field: "select", Says: r.Says}
	}
	return err
}

const inShop = `i.retired_at IS NULL AND EXISTS (SELECT 1 FROM stock s JOIN places pl ON pl.id = s.place_id WHERE s.item_id = i.id AND s.qty > 0 AND pl.outside = ?)`

// unprinted is a thing without a print on record.
const unprinted = `NOT EXISTS (SELECT 1 FROM label_prints lp WHERE lp.tag = i.tag)`

// LabelsOf are the labels of tags as they stand on record, in their order, and no others: of a
// place its own, not those of what stands there.
func (s *Store) LabelsOf(ctx context.Context, tags []string) ([]LabelText, error) {
	terms := make([]string, len(tags))
	for i, t := range tags {
		terms[i] = t
		if isKey(t) {
			terms[i] = "key " + t
		}
	}
	if len(terms) == 0 {
		return nil, refuse(ErrBadInput, "select", "nothing to print: no labels were chosen")
	}
	return s.labelsOf(ctx, strings.Join(terms, ","), true)
}

func (c *chosen) term(ctx context.Context, t string) error {
	low := strings.ToLower(t)
	if low == "all" || low == "*" {
		for _, k := range []string{"piece", "lot", "bin", "station", "machine", "job", "act"} {
			if err := c.kind(ctx, k); err != nil {
				return err
			}
		}
		return nil
	}
	if low == "new" {
		return c.items(ctx, inShop+" AND "+unprinted, false)
	}
	if k := labelKinds[low]; k != "" {
		return c.kind(ctx, k)
	}
	if k := partKinds[low]; k != "" {
		return c.items(ctx, "p.kind = ? AND "+inShop, k, false)
	}
	if n, ok := strings.CutPrefix(low, "key "); ok {
		if n, err := strconv.Atoi(n); err == nil && n > 0 && n <= maxKey {
			return c.add([]LabelText{keyText(n)})
		}
		return refuse(ErrBadInput, "select", "a quantity key is 1 to %d", maxKey)
	}
	if l, ok := edgeCard(strings.ToUpper(t)); ok {
		return c.add([]LabelText{l})
	}
	th, err := c.s.Scan(ctx, t)
	if err != nil {
		if _, e := standard.ParseTag(t); e == nil || looksLikeTag(strings.ToUpper(t)) {
			return inSelect(err) // meant as a tag: a search would print something else
		}
		m, e := one[Machine](c.s.read.WithContext(ctx), "machine", t, "upper(code) = ?", strings.ToUpper(t))
		if e != nil {
			return c.search(ctx, t)
		}
		th = Thing{Kind: "machine", Mach: &m}
	}
	switch th.Kind {
	case "item":
		return c.flush(ctx, &[]string{th.Item.Tag})
	case "place":
		if err := c.places(ctx, "id = ?", th.Place.ID); err != nil || c.exact {
			return err
		}
		return c.items(ctx, "i.retired_at IS NULL AND i.id IN (SELECT item_id FROM stock WHERE place_id = ? AND qty > 0)", th.Place.ID)
	case "machine":
		if err := c.machines(ctx, th.Mach.ID); err != nil || c.exact {
			return err
		}
		return c.stations(ctx, th.Mach.ID)
	case "job":
		return c.jobs(ctx, []Job{*th.Job})
	case "part":
		if err := c.items(ctx, "i.part_id = ? AND "+inShop, th.Part.ID, false); err != nil {
			return err
		}
		if len(c.out) == 0 {
			return refuse(ErrNotFound, "select", "none of %s is in the shop, so there is nothing to label", th.Part.Code)
		}
		return nil
	case "act":
		l, _ := cardText(th.Text)
		return c.add([]LabelText{l})
	}
	return secretBadges()
}

func secretBadges() error {
	return refuse(ErrForbidden, "select", "badges are secret and known to nobody once printed; make a new one for the person, and its label is shown then")
}

func (c *chosen) kind(ctx context.Context, k string) error {
	switch k {
	case "piece", "lot":
		return c.items(ctx, "i.kind = ? AND "+inShop, k, false)
	case "bin":
		return c.places(ctx, "kind = 'bin' AND retired_at IS NULL")
	case "station":
		return c.stations(ctx, 0)
	case "machine":
		return c.machines(ctx, 0)
	case "job":
		js, err := c.s.Jobs(ctx, "planned", "running")
		if err != nil {
			return err
		}
		return c.jobs(ctx, js)
	case "act":
		var ls []LabelText
		for _, tag := range cardTags() {
			l, _ := cardText(tag)
			ls = append(ls, l)
		}
		if err := c.add(ls); err != nil {
			return err
		}
		if err := c.kind(ctx, "key"); err != nil {
			return err
		}
		return c.kind(ctx, "reason")
	case "reason":
		return c.add(edgeCards())
	case "key":
		var ls []LabelText
		for _, n := range quantityKeys {
			ls = append(ls, keyText(n))
		}
		return c.add(ls)
	}
	return secretBadges()
}

func (c *chosen) search(ctx context.Context, t string) error {
	words := strings.Fields(t)
	for i, w := range words {
		if k := partKinds[strings.ToLower(w)]; k != "" {
			words[i] = k
		}
	}
	found, err := c.s.Search(ctx, strings.Join(words, " "), 1000)
	if err != nil {
		return inSelect(err)
	}
	before := len(c.out)
	for part := range slices.Chunk(found, 500) {
		var ids []PartID
		for _, f := range part {
			ids = append(ids, f.ID)
		}
		if err := c.items(ctx, "i.part_id IN ? AND "+inShop, ids, false); err != nil {
			return err
		}
	}
	if len(found) == 0 {
		return refuse(ErrNotFound, "select", "nothing here is called %q; choose by a tag, a place code, a kind such as bars or bins, or by words of the search", t)
	}
	if len(c.out) == before {
		return refuse(ErrNotFound, "select", "of what %q finds nothing is in the shop, so there is nothing to label", t)
	}
	return nil
}

// An itemRow is a piece or lot with what its label says of the part.
type itemRow struct {
	ID          ItemID
	Tag, Kind   string
	EdgesLeft   *int
	Box, Serial string
	RetiredAt   Time
	PartID      PartID
	Code        string
	PartKind    string
	Name        string
	Designation string
	Grade       string
	Edges       int
	Home        string
}

func (s *Store) itemRows(ctx context.Context, cond string, args ...any) ([]itemRow, error) {
	var rows []itemRow
	err := s.read.WithContext(ctx).Raw(`SELECT i.id, i.tag, i.kind, i.edges_left, i.box, i.serial, i.retired_at, i.part_id,
			p.code, p.kind AS part_kind, p.name, p.designation, p.grade, p.edges, coalesce(h.code, '') AS home
		FROM items i JOIN parts p ON p.id = i.part_id LEFT JOIN places h ON h.id = coalesce(i.home_id, p.home_id)
		WHERE `+cond+` ORDER BY coalesce(h.sort_key, ''), coalesce(h.code, ''), p.code, i.id LIMIT ?`, append(slices.Clone(args), MaxLabels+1)...).Scan(&rows).Error
	return rows, err
}

func (c *chosen) items(ctx context.Context, cond string, args ...any) error {
	rows, err := c.s.itemRows(ctx, cond, args...)
	if err != nil {
		return err
	}
	if len(rows) > MaxLabels {
		return tooMany()
	}
	ls, err := c.s.itemTexts(ctx, rows)
	if err != nil {
		return err
	}
	return c.add(ls)
}

// itemTexts are the labels of pieces and lots, in their order.
func (s *Store) itemTexts(ctx context.Context, rows []itemRow) ([]LabelText, error) {
	var ids []PartID
	for _, r := range rows {
		ids = append(ids, r.PartID)
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	facts := map[PartID]map[string]Fact{}
	for part := range slices.Chunk(ids, 500) {
		var fs []Fact
		if err := s.read.WithContext(ctx).Where("part_id IN ?", part).Order("part_id, symbol").Find(&fs).Error; err != nil {
			return nil, err
		}
		for _, f := range fs {
			if facts[f.PartID] == nil {
				facts[f.PartID] = map[string]Fact{}
			}
			facts[f.PartID][f.Symbol] = f
		}
	}
	out := make([]LabelText, len(rows))
	for i, r := range rows {
		out[i] = itemText(r, facts[r.PartID])
	}
	return out, nil
}

// A factReader reads facts for a label: lengths as they were entered.
type factReader map[string]Fact

func (f factReader) text(symbol string) string {
	var t string
	if json.Unmarshal([]byte(f[symbol].Value), &t) != nil {
		return ""
	}
	return strings.ReplaceAll(t, "_", " ")
}

func (f factReader) yes(symbol string) bool { return f[symbol].Value == "true" }

func (f factReader) number(symbol string) (float64, bool) {
	var v float64
	x, ok := f[symbol]
	return v, ok && json.Unmarshal([]byte(x.Value), &v) == nil
}

// length is a size with its unit: in inches when it was entered in inches.
func (f factReader) length(name, symbol string, to *[]LabelSize) {
	v, ok := f.number(symbol)
	if !ok {
		return
	}
	s := LabelSize{Name: name, Value: num(v), Unit: "mm"}
	if in, err := standard.ParseSize(f[symbol].Entered); err == nil && in.Unit() == standard.Inch {
		s.Value, s.Unit = strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(in.String(), "in"), `"`)), "in"
	}
	*to = append(*to, s)
}

func (f factReader) word(name, symbol string, to *[]LabelSize) {
	if t := f.text(symbol); t != "" {
		*to = append(*to, LabelSize{Name: name, Value: t})
	}
}

// itemText is the label of one piece or lot. What must never be done to it repeats the rules
// of the stack room as words; those without a published source are common practice.
func itemText(r itemRow, facts map[string]Fact) LabelText {
	f := factReader(facts)
	l := LabelText{Kind: r.Kind, Tag: r.Tag, Head: r.PartKind, Title: r.Code, Part: r.PartKind}
	var note []string
	switch stack.Kind(r.PartKind) {
	case stack.Sleeve:
		l.Head = strings.TrimSpace(f.text("type") + " sleeve")
		f.length("outside", "DCONMS", &l.Sizes)
		f.length("inside", "DCONWS", &l.Sizes)
		f.length("grip", "LSC", &l.Sizes)
		if v, ok := f["for_damped"]; ok && v.Value == "false" {
			l.Never = append(l.Never, "not for damped bars")
		}
		l.Never = append(l.Never, "never one sleeve in another")
	case stack.Bar:
		kind := f.text("construction")
		l.Head = strings.TrimSpace(kind + " bar")
		f.length("diameter", "DCONMS", &l.Sizes)
		f.length("length", "OAL", &l.Sizes)
		f.word("coupling", "CCWS", &l.Sizes)
		l.Diameter, _ = f.number("DCONMS")
		if strings.HasPrefix(kind, "damped") {
			l.Never = append(l.Never, "full-round clamp only, no screws on this bar")
		} else if kind == "carbide" && !f.yes("flat") {
			l.Never = append(l.Never, "brittle: full-round clamp only, no screws on this bar")
		} else if kind == "carbide" {
			l.Never = append(l.Never, "brittle: screws on the flat only, never on the round")
		} else if v, ok := f["flat"]; ok && v.Value == "false" {
			l.Never = append(l.Never, "no flat: no screws on this bar")
		}
	case stack.Head:
		f.word("coupling", "CCMS", &l.Sizes)
		f.word("hand", "HAND", &l.Sizes)
		f.word("pocket", "seat", &l.Sizes)
		f.length("smallest bore", "DMIN", &l.Sizes)
	case stack.Holder:
		if l.Head = strings.TrimSpace(f.text("clamp") + " holder"); f.text("clamp") == "screws" {
			l.Head = "holder with screws"
		}
		f.word("seat", "interface", &l.Sizes)
		f.length("bore", "DCONWS", &l.Sizes)
		f.length("grip", "LSC", &l.Sizes)
		if f.text("clamp") == "screws" {
			l.Never = append(l.Never, "no damped bar under these screws")
		}
	case stack.Insert:
		l.Head = "inserts"
		l.Title = strings.TrimSpace(first(r.Designation, r.Code) + " " + r.Grade)
		if v, ok := f.number("RE"); ok {
			l.Sizes = append(l.Sizes, LabelSize{Name: "radius", Value: num(v), Unit: "mm", Large: true})
		}
		each, used := r.Edges, r.EdgesLeft != nil
		if used {
			each = *r.EdgesLeft
			l.Head = "inserts, part-used"
			l.Never = append(l.Never, "part-used: never back to the new ones")
		}
		if each > 0 || used {
			l.Sizes = append(l.Sizes, LabelSize{Name: "edges", Value: fmt.Sprint(each)})
		}
		note = append(note, r.Code)
	case stack.Hose:
		f.length("length", "LEN", &l.Sizes)
		l.Title = first(r.Designation, r.Code)
		note = append(note, r.Code)
		if v, ok := f.number("CP"); ok {
			l.Never = append(l.Never, "never above "+num(v)+" bar")
		}
	default:
		l.Title = first(r.Designation, r.Code)
		note = append(note, r.Code)
	}
	if r.Serial != "" {
		note = append(note, "no. "+r.Serial)
	}
	if r.Box != "" {
		note = append(note, "box "+r.Box)
	}
	if r.Home != "" {
		note = append(note, "drawer "+r.Home)
	}
	l.Note = strings.Join(note, ", ")
	return l
}

// first is a, or b where there is no a.
func first(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
