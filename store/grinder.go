package store

import (
	"context"
	"fmt"
	"strings"

	"brasspeg/store/ledger"
	"brasspeg/store/stack"
)

// A GrindOut sends inserts or bars to the grinder. Due is the day they are expected back, "" when
// nobody knows; Note says which grinder, or what is to be done, at most a line.
type GrindOut struct {
	Picks    []Pick
	Due      Day
	Note     string
	Override string // why it goes although it is promised to a job
}

// grindSays is how a movement to the grinder says what is expected of it; grindDue reads it back.
const (
	grindSays = "to be ground"
	grindDue  = ", expected back "
)

// SendToGrinder books pieces out to the grinder, off the shelf or out of a hand or a machine. Until
// they come back they are on hand no longer. Refused for what is not ground, for what was ground as
// often as its limit allows, and for what is promised to a job, unless Override says why.
func (s *Store) SendToGrinder(ctx context.Context, o Op, in GrindOut) (Receipt, error) {
	return s.op(ctx, o, ledger.Transfer, struct{ Grind GrindOut }{in}, func(e *entry) error {
		note, err := remark("note", in.Note)
		if err != nil {
			return err
		}
		if _, bad := ParseDay(string(in.Due)); in.Due != "" && (bad != nil || in.Due < e.s.Today()) {
			return refuse(ErrBadInput, "due", "expected back %s; give a day from today on, as 2026-01-31, or none", in.Due)
		}
		why := grindSays
		if in.Due != "" {
			why += grindDue + string(in.Due)
		}
		if note != "" {
			why += ": " + note
		}
		return e.each(in.Picks, func(st standing, p Pick) error {
			if err := e.canBeGround(st); err != nil {
				return err
			}
			from, err := e.single(st, p.Place)
			if err != nil {
				if g, gerr := e.atGrinder(st.ID); gerr == nil && g > 0 {
					return refuse(ErrElsewhere, "item", "%s is at the grinder already, %d of it", st.called(), g)
				}
				return err
			}
			if from.Outside {
				return refuse(ErrBadInput, "place", "%s is outside the shop; scan where it lies", from.Code)
			}
			if from.Kind == Bin {
				if err := e.free(st, p.Qty, 0, in.Due, in.Override); err != nil {
					return err
				}
			}
			return e.line(st, ledger.Movement{From: int64(from.ID), To: int64(e.s.places.code(CodeRegrind)), Qty: p.Qty, Reason: why})
		})
	})
}

// canBeGround refuses what no grinder takes.
func (e *entry) canBeGround(st standing) error {
	if !st.RetiredAt.IsZero() {
		return refuse(ErrRetired, "item", "%s was scrapped on %s", st.called(), DayOf(st.RetiredAt.Time))
	}
	var row struct {
		Kind   string
		Times  int
		Limits *int
	}
	if err := e.Raw(`SELECT p.kind, coalesce(g.times, 0) AS times, l.times AS limits FROM parts p LEFT JOIN part_regrinds g ON g.part_id = p.id
		LEFT JOIN part_regrind_limits l ON l.part_id = coalesce(g.new_id, p.id) WHERE p.id = ?`, st.PartID).Scan(&row).Error; err != nil {
		return err
	}
	switch k := stack.Kind(row.Kind); {
	case k != stack.Insert && k != stack.Bar:
		return refuse(ErrBadInput, "item", "%s is a %s, which is not reground; inserts and bars are", st.called(), row.Kind)
	case row.Limits != nil && row.Times >= *row.Limits:
		return refuse(ErrConflict, "item", "%s was ground %d times, and %d is its limit; scrap it", st.PartCode, row.Times, *row.Limits)
	}
	return nil
}

// atGrinder is how many of an item are at the grinder.
func (e *entry) atGrinder(item ItemID) (int64, error) {
	return e.onHand(item, e.s.places.code(CodeRegrind))
}

// A GrindBack brings pieces back from the grinder as they went: they were not ground after all.
type GrindBack struct {
	Picks []Pick
	To    PlaceID // 0: each to its own bin
}

// BackUnground takes back what the grinder did not grind. What was ground comes back by Regrind,
// under a record of its new size.
func (s *Store) BackUnground(ctx context.Context, o Op, in GrindBack) (Receipt, error) {
	return s.op(ctx, o, ledger.Transfer, struct{ Unground GrindBack }{in}, func(e *entry) error {
		return e.each(in.Picks, func(st standing, p Pick) error {
			there, err := e.atGrinder(st.ID)
			if err != nil {
				return err
			}
			if p.Qty > there {
				return refuse(ErrShort, "qty", "%d of %s are at the grinder, %d asked", there, st.called(), p.Qty)
			}
			to, err := e.backTo(st, ReturnIn{To: in.To})
			if err != nil {
				return err
			}
			return e.line(st, ledger.Movement{From: int64(e.s.places.code(CodeRegrind)), To: int64(to), Qty: p.Qty, Reason: "back from the grinder, not ground"})
		})
	})
}

// A Grinding is what of an item is at the grinder.
type Grinding struct {
	ItemID   ItemID
	Tag      string
	PartCode string
	PartName string
	Qty      int64
	Since    Time // of the last that went
	Reason   string
}

// Due is the day it is expected back, "" when nobody said.
func (g Grinding) Due() Day {
	_, rest, ok := strings.Cut(g.Reason, grindDue)
	if !ok || len(rest) < len("2006-01-02") {
		return ""
	}
	return Day(rest[:len("2006-01-02")])
}

// Note is what was said when it went.
func (g Grinding) Note() string {
	_, rest, _ := strings.Cut(g.Reason, ": ")
	return rest
}

// Says is since when it is there and when it is expected back, in words.
func (g Grinding) Says() string {
	t := fmt.Sprintf("%d at the grinder since %s", g.Qty, DayOf(g.Since.Time))
	if d := g.Due(); d != "" {
		t += ", expected back " + string(d)
	}
	return t
}

// AtGrinder lists what is at the grinder, the longest there first; of one item when item is not 0.
func (s *Store) AtGrinder(ctx context.Context, item ItemID) ([]Grinding, error) {
	var out []Grinding
	err := s.read.WithContext(ctx).Raw(`SELECT i.id AS item_id, i.tag, pa.code AS part_code, pa.name AS part_name, s.qty, m.at AS since, m.reason
		FROM stock s JOIN items i ON i.id = s.item_id JOIN parts pa ON pa.id = i.part_id
		JOIN movements m ON m.seq = (SELECT max(seq) FROM movements WHERE item_id = s.item_id AND to_id = s.place_id AND act = 'transfer')
		WHERE s.place_id = ? AND s.qty > 0 AND (? = 0 OR s.item_id = ?) ORDER BY m.seq LIMIT 1000`, s.places.code(CodeRegrind), item, item).Scan(&out).Error
	return out, err
}
