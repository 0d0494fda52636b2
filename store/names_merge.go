package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"gorm.io/gorm"

	"brasspeg/store/ledger"
	"brasspeg/store/standard"
)

// Acts on names; they move nothing.
const (
	ActMerge ledger.Act = "merge"
	ActLink  ledger.Act = "link"
)

// A partCode is a further code that a part answers to.
type partCode struct {
	Folded    string `gorm:"primaryKey"`
	Code      string
	PartID    PartID
	Why       string // merged, linked
	ByID      PersonID
	CreatedAt Time
}

func (partCode) TableName() string { return "part_codes" }

// bareCode folds a foreign code for comparing: capitals, no white space.
func bareCode(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return -1
		}
		return unicode.ToUpper(r)
	}, text)
}

// Codes lists the further codes a part answers to, each with why: "merged" or "linked".
func (s *Store) Codes(ctx context.Context, part PartID) ([]PartCode, error) {
	var rows []partCode
	err := s.read.WithContext(ctx).Where("part_id = ?", part).Order("folded").Limit(200).Find(&rows).Error
	out := make([]PartCode, len(rows))
	for i, r := range rows {
		out[i] = PartCode{r.Code, r.Why}
	}
	return out, err
}

// PartRecord reads the record that has this very code, also one that is part of another now.
func (s *Store) PartRecord(ctx context.Context, code string) (Part, error) {
	return one[Part](s.read.WithContext(ctx), "part", code, "code = ?", code)
}

// A PartCode is a code a part answers to beside its own.
type PartCode struct{ Code, Why string }

// LinkCode lets a part answer to a foreign code from now on: a supplier's barcode. A code that
// is ours, or linked to another part already, is refused.
func (s *Store) LinkCode(ctx context.Context, o Op, code string, part PartID) (Receipt, error) {
	code, err := ReadScan(code)
	if err != nil {
		return Receipt{}, onField("code", err)
	}
	body := struct {
		Link string
		Part PartID
	}{code, part}
	return s.op(ctx, o, ActLink, body, func(e *entry) error {
		if err := e.end(); err != nil { // one at a time, on every engine
			return err
		}
		p, err := one[Part](e.DB, "part", part, "id = ? AND retired_at IS NULL", part)
		if err != nil {
			return err
		}
		if _, err := standard.ParseTag(code); err == nil || IsBadge(code) {
			return refuse(ErrBadInput, "code", "%s is one of this program's own codes; it can not be linked", code)
		}
		if err := e.codeFree(code); err != nil {
			return err
		}
		if err := e.Create(&partCode{Folded: bareCode(code), Code: code, PartID: p.ID, Why: "linked", ByID: o.Actor, CreatedAt: e.now}).Error; err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s means %s from now on.", code, p.Code)
		return e.Tx.note(o.Actor, "code linked", p.Code, code)
	})
}

// UnlinkCode takes a linked code off its part again; the code of a merged record stays.
func (s *Store) UnlinkCode(ctx context.Context, o Op, code string) (Receipt, error) {
	return s.op(ctx, o, ActLink, struct{ Unlink string }{code}, func(e *entry) error {
		c, err := one[partCode](e.DB, "code", code, "folded = ? AND why = 'linked'", bareCode(code))
		if err != nil {
			return err
		}
		p, err := one[Part](e.DB, "part", c.PartID, "id = ?", c.PartID)
		if err != nil {
			return err
		}
		if err := e.exec("DELETE FROM part_codes WHERE folded = ? AND why = 'linked'", c.Folded); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s no longer means %s.", c.Code, p.Code)
		return e.Tx.note(o.Actor, "code unlinked", p.Code, c.Code)
	})
}

// codeFree refuses a code that means something already.
func (e *entry) codeFree(code string) error {
	p, err := partByCode(e.DB, code)
	if err == nil {
		return refuse(ErrExists, "code", "%s means %s %s already; unlink it there first if that is wrong", code, p.Code, p.Name)
	}
	if !errors.Is(err, ErrNotFound) {
		return err
	}
	var n int64
	if err := e.Raw(`SELECT (SELECT count(*) FROM parts WHERE upper(code) = ?) + (SELECT count(*) FROM places WHERE upper(code) = ?) + (SELECT count(*) FROM jobs WHERE upper(code) = ?)`,
		bareCode(code), bareCode(code), bareCode(code)).Scan(&n).Error; err != nil {
		return err
	}
	if n > 0 {
		return refuse(ErrExists, "code", "%s is a code of this shop already", code)
	}
	return nil
}

// LinkTo lists the parts a foreign code probably means: those whose maker's code it holds.
// At most 3, by code.
func (s *Store) LinkTo(ctx context.Context, code string) ([]Part, error) {
	key := plain(code)
	if len(key) < 4 {
		return nil, nil
	}
	var rows []Part
	if err := s.read.WithContext(ctx).Select("id, code, name, kind, designation, maker, maker_code").
		Where("retired_at IS NULL AND maker_code <> ''").Order("code").Limit(100_000).Find(&rows).Error; err != nil {
		return nil, err
	}
	var out []Part
	for _, p := range rows {
		if mc := plain(p.MakerCode); len(mc) >= 4 && strings.Contains(key, mc) && len(out) < 3 {
			out = append(out, p)
		}
	}
	return out, nil
}

// notOurs is the refusal of a code that is none of ours, with what it may be linked to.
func (s *Store) notOurs(ctx context.Context, text string) error {
	to, err := s.LinkTo(ctx, text)
	if err != nil {
		return err
	}
	says := text + " is not one of our codes; link it to a part once, and it will be known"
	if len(to) > 0 {
		var codes []string
		for _, p := range to {
			codes = append(codes, p.Code)
		}
		says = text + " is not ours; link to " + strings.Join(codes, " or ") + "?"
	}
	return &Refusal{Class: ErrNotFound, Field: "scan", Says: says}
}

// A MergeIn makes one part of two: From becomes part of Into.
type MergeIn struct {
	From, Into PartID
	Reason     string
}

// merged is what a merge changed, kept to take it apart again.
type merged struct {
	Items []ItemID // that were of From
	Codes []string // folded, that meant From
	Lines []int64  // of orders, that were for From
	More  followed // everything else that named From

	// Of merges made before More was kept.
	Needs []mergedNeed `json:",omitempty"`
	Added []mergedNeed `json:",omitempty"`
}

type mergedNeed struct {
	PartID  PartID
	SpareID PartID
	Qty     int64
}

// Merge makes one part of two that are one thing. Pieces, lots and all their movements stay
// as they are and count as Into's from now on; the code of From, and every code it answered
// to, means Into. Parts that differ in anything both have on record, a mating size above all,
// are refused with its name: pieces would mate with what they do not fit.
func (s *Store) Merge(ctx context.Context, o Op, in MergeIn) (Receipt, error) {
	return s.op(ctx, o, ActMerge, in, func(e *entry) error {
		if err := e.end(); err != nil {
			return err
		}
		from, into, err := e.mergeable(in)
		if err != nil {
			return err
		}
		var m merged
		if err := e.Raw("SELECT id FROM items WHERE part_id = ? ORDER BY id", from.ID).Scan(&m.Items).Error; err != nil {
			return err
		}
		if err := e.exec("UPDATE items SET part_id = ? WHERE part_id = ?", into.ID, from.ID); err != nil {
			return err
		}
		if err := e.Raw("SELECT folded FROM part_codes WHERE part_id = ? ORDER BY folded", from.ID).Scan(&m.Codes).Error; err != nil {
			return err
		}
		if err := e.exec("UPDATE part_codes SET part_id = ? WHERE part_id = ?", into.ID, from.ID); err != nil {
			return err
		}
		if err := e.Create(&partCode{Folded: bareCode(from.Code), Code: from.Code, PartID: into.ID, Why: "merged", ByID: o.Actor, CreatedAt: e.now}).Error; err != nil {
			return duplicate(err, "code", "the code %s", from.Code)
		}
		// Orders follow, except where one order has a line for each: mergeable lets pass only those
		// of which nothing more is awaited, and they stay as they were sent.
		const loose = "part_id = ? AND NOT EXISTS (SELECT 1 FROM order_lines x WHERE x.order_id = order_lines.order_id AND x.part_id = ?)"
		if err := e.Raw("SELECT id FROM order_lines WHERE "+loose+" ORDER BY id", from.ID, into.ID).Scan(&m.Lines).Error; err != nil {
			return err
		}
		if err := e.exec("UPDATE order_lines SET part_id = ? WHERE "+loose, into.ID, from.ID, into.ID); err != nil {
			return err
		}
		if m.More, err = e.follow(from.ID, into.ID); err != nil {
			return err
		}
		if err := e.must(refuse(ErrConflict, "from", "%s was changed meanwhile; read it again", from.Code),
			"UPDATE parts SET merged_into = ?, retired_at = ?, version = version + 1 WHERE id = ? AND retired_at IS NULL", into.ID, e.now, from.ID); err != nil {
			return err
		}
		changed, err := json.Marshal(m)
		if err != nil {
			return err
		}
		if err := e.exec("INSERT INTO part_merges (op_id, from_id, into_id, by_id, reason, changed, at) VALUES (?,?,?,?,?,?,?)", o.ID, from.ID, into.ID, o.Actor, in.Reason, string(changed), e.now); err != nil {
			return err
		}
		e.touch(m.Items, from.ID, into.ID)
		var total int64
		if err := e.Raw(`SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places p ON p.id = s.place_id WHERE i.part_id = ? AND p.outside = ?`, into.ID, false).Scan(&total).Error; err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s is part of %s now: %d on hand together, both codes are known.", from.Code, into.Code, total)
		return e.Tx.note(o.Actor, "parts merged", into.Code, strings.TrimSpace(from.Code+" into "+into.Code+". "+in.Reason))
	})
}

// touch tells the shelf what changed its part.
func (e *entry) touch(items []ItemID, parts ...PartID) {
	e.after = append(e.after, func() {
		for _, id := range items {
			e.s.shelf.touch(id)
		}
		for _, id := range parts {
			e.s.shelf.touchPart(id)
		}
		e.s.shelf.touchOrders()
	})
}

// mergeable reads the two parts and refuses what is not one thing.
func (e *entry) mergeable(in MergeIn) (from, into Part, err error) {
	if in.From == in.Into {
		return from, into, refuse(ErrBadInput, "into", "a part can not be merged with itself")
	}
	if from, err = one[Part](e.DB, "part", in.From, "id = ?", in.From); err != nil {
		return from, into, err
	}
	if into, err = one[Part](e.DB, "part", in.Into, "id = ?", in.Into); err != nil {
		return from, into, err
	}
	for _, p := range []Part{from, into} {
		if !p.RetiredAt.IsZero() {
			return from, into, refuse(ErrRetired, "part", "%s is no longer in use", p.Code)
		}
	}
	no := func(what, a, b string) error {
		return refuse(ErrConflict, "into", "%s and %s are not one thing: %s is %s on the one and %s on the other", from.Code, into.Code, what, a, b)
	}
	if from.Kind != into.Kind {
		return from, into, no("the kind", from.Kind, into.Kind)
	}
	if from.Counted != into.Counted {
		return from, into, no("what is counted", from.Counted, into.Counted)
	}
	if from.Edges != into.Edges {
		return from, into, no("the number of edges", fmt.Sprint(from.Edges), fmt.Sprint(into.Edges))
	}
	if clash(from.Grade, into.Grade) {
		return from, into, no("the grade", from.Grade, into.Grade)
	}
	if a, b := suffixOf(from.Kind, from.Designation), suffixOf(into.Kind, into.Designation); clash(a, b) {
		return from, into, no("the maker's chip groove", a, b)
	}
	facts, err := factsOf(e.DB, []PartID{from.ID, into.ID})
	if err != nil {
		return from, into, err
	}
	has := map[string]Fact{}
	for _, f := range facts[into.ID] {
		has[f.Symbol] = f
	}
	joints, err := jointSymbols(e.DB, from.ID)
	if err != nil {
		return from, into, err
	}
	for _, f := range facts[from.ID] {
		g, known := has[f.Symbol]
		switch {
		case f.Symbol == "unit" || f.Symbol == "WT":
		case !known && slices.Contains(joints, f.Symbol):
			return from, into, refuse(ErrConflict, "into", "%s is on record for %s (%s) and not for %s; write it there first", f.Symbol, from.Code, shown(f), into.Code)
		case known && !sameValue(f.Value, g.Value):
			if f.Symbol == "seat" && sameSeat(f, g) {
				continue
			}
			return from, into, no(f.Symbol, shown(f), shown(g))
		}
	}
	order, err := e.openOrderWithBoth(from.ID, into.ID)
	if err == nil && order != "" {
		err = refuse(ErrConflict, "from", "the order %s has a line for each and still awaits %s; receive or close that line first, or take it off the draft", order, from.Code)
	}
	return from, into, err
}

// sameSeat reports two spellings of one seat: tolerance and chip breaker do not decide.
func sameSeat(a, b Fact) bool {
	var x, y string
	if json.Unmarshal([]byte(a.Value), &x) != nil || json.Unmarshal([]byte(b.Value), &y) != nil {
		return false
	}
	p, err := standard.ParseSeat(x)
	q, err2 := standard.ParseSeat(y)
	return err == nil && err2 == nil && p.Meets(q) && q.Meets(p)
}

func shown(f Fact) string {
	if f.Entered != "" {
		return f.Entered
	}
	return strings.Trim(f.Value, `"`)
}

// jointSymbols are the symbols whose values make the joints of a part.
func jointSymbols(db *gorm.DB, part PartID) ([]string, error) {
	var n int64
	if err := db.Raw("SELECT count(*) FROM part_joints WHERE part_id = ?", part).Scan(&n).Error; err != nil || n == 0 {
		return nil, err
	}
	return []string{"interface", "DCONMS", "DCONWS", "CCMS", "CCWS", "seat", "ends", "coolant_in", "joints"}, nil
}

// Unmerge takes a merge apart again: the items that were of the one record are its own again.
// What was received since stays where it was booked. Refused when the record merged into has
// itself been merged, or the merge was undone already.
func (s *Store) Unmerge(ctx context.Context, o Op, mergeOp, reason string) (Receipt, error) {
	body := struct{ Unmerge, Reason string }{mergeOp, reason}
	return s.op(ctx, o, ActMerge, body, func(e *entry) error {
		if err := e.end(); err != nil {
			return err
		}
		row, err := one[mergeRow](e.DB, "merge", mergeOp, "op_id = ?", mergeOp)
		if err != nil {
			return err
		}
		if !row.UndoneAt.IsZero() {
			return refuse(ErrReversed, "op", "that merge was undone already")
		}
		from, err := one[Part](e.DB, "part", row.FromID, "id = ?", row.FromID)
		if err != nil {
			return err
		}
		into, err := one[Part](e.DB, "part", row.IntoID, "id = ?", row.IntoID)
		if err != nil {
			return err
		}
		if into.MergedInto != nil {
			return refuse(ErrConflict, "op", "%s was merged on into another part; undo that merge first", into.Code)
		}
		var m merged
		if err := json.Unmarshal([]byte(row.Changed), &m); err != nil {
			return err
		}
		if err := e.unmerge(m, from, into); err != nil {
			return err
		}
		if err := e.must(refuse(ErrReversed, "op", "that merge was undone already"), "UPDATE part_merges SET undone_at = ? WHERE op_id = ? AND undone_at IS NULL", e.now, mergeOp); err != nil {
			return err
		}
		e.touch(m.Items, from.ID, into.ID)
		e.receipt.Says = fmt.Sprintf("%s is a part of its own again.", from.Code)
		return e.Tx.note(o.Actor, "merge undone", into.Code, strings.TrimSpace(from.Code+" apart from "+into.Code+". "+reason))
	})
}

func (e *entry) unmerge(m merged, from, into Part) error {
	for rest := m.Items; len(rest) > 0; {
		n := min(500, len(rest))
		if err := e.exec("UPDATE items SET part_id = ? WHERE id IN ? AND part_id = ?", from.ID, rest[:n], into.ID); err != nil {
			return err
		}
		rest = rest[n:]
	}
	if len(m.Lines) > 0 {
		if err := e.exec("UPDATE order_lines SET part_id = ? WHERE id IN ? AND part_id = ?", from.ID, m.Lines, into.ID); err != nil {
			return err
		}
	}
	if len(m.Codes) > 0 {
		if err := e.exec("UPDATE part_codes SET part_id = ? WHERE folded IN ? AND part_id = ?", from.ID, m.Codes, into.ID); err != nil {
			return err
		}
	}
	if err := e.exec("DELETE FROM part_codes WHERE folded = ? AND why = 'merged'", bareCode(from.Code)); err != nil {
		return err
	}
	if err := e.unfollow(m.More, from.ID, into.ID); err != nil {
		return err
	}
	for _, n := range m.Added {
		if err := e.exec("DELETE FROM part_needs WHERE part_id = ? AND spare_id = ?", n.PartID, n.SpareID); err != nil {
			return err
		}
	}
	for _, n := range m.Needs {
		if err := e.exec("INSERT INTO part_needs (part_id, spare_id, qty) VALUES (?,?,?) ON CONFLICT (part_id, spare_id) DO NOTHING", n.PartID, n.SpareID, n.Qty); err != nil {
			return err
		}
	}
	return e.must(refuse(ErrConflict, "op", "%s was changed meanwhile", from.Code),
		"UPDATE parts SET merged_into = NULL, retired_at = NULL, version = version + 1 WHERE id = ? AND merged_into = ?", from.ID, into.ID)
}

// A mergeRow is a merge as it stands in the store.
type mergeRow struct {
	OpID     string `gorm:"primaryKey;column:op_id"`
	FromID   PartID
	IntoID   PartID
	ByID     PersonID
	Reason   string
	Changed  string
	At       Time
	UndoneAt Time
}

func (mergeRow) TableName() string { return "part_merges" }

// A Merged is a merge for a page.
type Merged struct {
	OpID       string
	Code, Name string // of the record that became part of this one
	At         Time
	By, Reason string
	Undone     bool
}

// Merges lists what was merged into a part, newest first.
func (s *Store) Merges(ctx context.Context, part PartID) ([]Merged, error) {
	var out []Merged
	return out, s.read.WithContext(ctx).Raw(`SELECT m.op_id, p.code, p.name, m.at, pe.name AS "by", m.reason, m.undone_at IS NOT NULL AS undone
		FROM part_merges m JOIN parts p ON p.id = m.from_id JOIN people pe ON pe.id = m.by_id WHERE m.into_id = ? ORDER BY m.at DESC, m.op_id LIMIT 50`, part).Scan(&out).Error
}
