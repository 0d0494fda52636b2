package store

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"brasspeg/store/ledger"
	"brasspeg/store/stack"
	"brasspeg/store/standard"
)

// A RegrindIn brings pieces back from grinding in their new size.
type RegrindIn struct {
	Item  ItemID // what was ground: new, part-used, or ground before
	Place PlaceID
	Qty   int64
	Size  string // the new inscribed circle of an insert, the new length of a bar, with its unit
	Edges int    // usable edges each, of an insert
	To    PlaceID
}

// Reground is what came of it: the new record, which has its own lot and label.
type Reground struct {
	Receipt
	Part  Part
	Tag   string // of the new lot or piece: print its label
	Times int    // how often it has been ground
}

// Regrind books pieces out of their old size and into a record of the new one, made the first
// time. A smaller circle is another pocket: what took the new insert refuses this one. Refused
// when the size is not smaller, or when it was ground as often as its limit allows.
func (s *Store) Regrind(ctx context.Context, o Op, in RegrindIn) (Reground, error) {
	var out Reground
	size, err := standard.ParseSize(in.Size)
	if err != nil {
		return out, &Refusal{Class: fmt.Errorf("%w: %w", ErrBadInput, err), Field: "size", Says: err.Error()}
	}
	r, err := s.op(ctx, o, ledger.Use, struct{ Regrind RegrindIn }{in}, func(e *entry) error {
		out = Reground{}
		st, err := e.standing(in.Item)
		if err != nil {
			return err
		}
		old, err := one[Part](e.DB, "part", st.PartID, "id = ?", st.PartID)
		if err != nil {
			return err
		}
		if out.Part, out.Times, err = e.groundPart(old, size, in.Edges); err != nil {
			return err
		}
		return e.bookGround(st, out.Part, in, size)
	})
	if err != nil {
		return out, err
	}
	out.Receipt = r
	for _, l := range r.Lines {
		out.Tag = l.Tag // the last line is the one that came back
	}
	if r.Replayed {
		it, err := s.ItemByTag(ctx, out.Tag)
		if err != nil {
			return out, err
		}
		if out.Part, err = s.Part(ctx, it.PartID); err != nil {
			return out, err
		}
		out.Times, err = s.GroundTimes(ctx, it.PartID)
		return out, err
	}
	return out, nil
}

// bookGround moves the pieces out through "used up" and back in as the new record's.
func (e *entry) bookGround(st standing, part Part, in RegrindIn, size standard.Size) error {
	from, err := e.comesFrom(st, in)
	if err != nil {
		return err
	}
	why := "reground to " + size.String()
	gone := ledger.Movement{Act: ledger.Use, From: int64(from.ID), To: int64(e.s.places.code(CodeUse)), Qty: in.Qty, Reason: why}
	if err := e.line(st, gone); err != nil {
		return err
	}
	to := in.To
	if to == 0 {
		to = st.home()
	}
	if to == 0 && from.Kind == Bin {
		to = from.ID
	}
	if to == 0 {
		return refuse(ErrBadInput, "to", "scan the bin the reground pieces go to")
	}
	if p, err := e.place(to); err != nil {
		return err
	} else if p.Kind != Bin && p.Kind != Inspection {
		return refuse(ErrBadInput, "to", "%s is not a bin", p.Code)
	}
	var it Item
	if part.Counted == KindLot {
		it, err = e.lot(part.ID, nil, st.Box, st.Owner, &to)
	} else if in.Qty == 1 {
		it, err = e.addItem(Item{PartID: part.ID, Kind: KindPiece, Box: st.Box, Owner: st.Owner, Serial: st.Serial, HomeID: &to})
	} else {
		err = refuse(ErrBadInput, "qty", "%s is counted piece by piece; book one at a time", part.Code)
	}
	if err != nil {
		return err
	}
	back := ledger.Movement{Act: ledger.Use, From: gone.To, To: int64(to), Qty: in.Qty, Reason: why}
	if err := e.line(standing{Item: it, PartCode: part.Code, Counted: part.Counted, Edges: part.Edges}, back); err != nil {
		return err
	}
	e.receipt.Says = fmt.Sprintf("%d of %s are %s now: %s. They need a label of their own.", in.Qty, st.PartCode, part.Code, part.Name)
	return nil
}

// comesFrom is where ground pieces were: at the grinder when any of them is there, else where they
// stand, for a shop that books only what comes back.
func (e *entry) comesFrom(st standing, in RegrindIn) (Place, error) {
	there, err := e.atGrinder(st.ID)
	if err != nil || there == 0 || in.Place != 0 {
		if err != nil {
			return Place{}, err
		}
		return e.single(st, in.Place)
	}
	if in.Qty > there {
		return Place{}, refuse(ErrShort, "qty", "%d of %s are at the grinder, %d asked; book those back first", there, st.called(), in.Qty)
	}
	return e.place(e.s.places.code(CodeRegrind))
}

// groundPart finds the record of that size, or makes it.
func (e *entry) groundPart(old Part, size standard.Size, edges int) (Part, int, error) {
	facts, err := factsOf(e.DB, []PartID{old.ID})
	if err != nil {
		return Part{}, 0, err
	}
	symbol, was, err := groundSize(old, facts[old.ID])
	if err != nil {
		return Part{}, 0, err
	}
	if size.MM() >= was-0.0005 {
		return Part{}, 0, refuse(ErrBadInput, "size", "%s of %s is %s mm; grinding takes away, %s is not smaller", symbol, old.Code, num(was), size)
	}
	if size.MM() < was/2 {
		return Part{}, 0, refuse(ErrBadInput, "size", "%s of %s is %s mm; %s is less than half of it, which no regrind takes away", symbol, old.Code, num(was), size)
	}
	var before struct {
		NewID PartID
		Times int
	}
	if err := e.Raw("SELECT new_id, times FROM part_regrinds WHERE part_id = ?", old.ID).Scan(&before).Error; err != nil {
		return Part{}, 0, err
	}
	first, times := old.ID, before.Times+1
	if before.NewID != 0 {
		first = before.NewID
	}
	var limit []int
	if err := e.Raw("SELECT times FROM part_regrind_limits WHERE part_id = ?", first).Scan(&limit).Error; err != nil {
		return Part{}, 0, err
	}
	if len(limit) > 0 && times > limit[0] {
		return Part{}, 0, refuse(ErrConflict, "item", "%s was ground %d times, and %d is its limit; scrap it", old.Code, before.Times, limit[0])
	}
	var have PartID
	if err := e.Raw("SELECT part_id FROM part_regrinds WHERE new_id = ? AND from_id = ? AND abs(now_mm - ?) < 0.0005", first, old.ID, size.MM()).Scan(&have).Error; err != nil {
		return Part{}, 0, err
	}
	if have != 0 {
		p, err := one[Part](e.DB, "part", have, "id = ?", have)
		return p, times, err
	}
	origin, err := one[Part](e.DB, "part", first, "id = ?", first)
	if err != nil {
		return Part{}, 0, err
	}
	p, err := e.makeGround(origin, old, facts[old.ID], symbol, size, edges, times)
	if err != nil {
		return p, 0, err
	}
	return p, times, e.exec("INSERT INTO part_regrinds (part_id, new_id, from_id, times, symbol, was_mm, now_mm) VALUES (?,?,?,?,?,?,?)", p.ID, first, old.ID, times, symbol, was, size.MM())
}

// groundSize is what grinding takes away from a part, and how much there is of it.
func groundSize(p Part, facts []Fact) (symbol string, mm float64, err error) {
	has := values(facts)
	switch stack.Kind(p.Kind) {
	case stack.Insert:
		symbol = "IC"
		if has[symbol] == "" {
			if in, err := standard.ParseInsert(p.Designation); err == nil && in.IC > 0 {
				return symbol, in.IC, nil
			}
		}
	case stack.Bar:
		symbol = "OAL"
	default:
		return "", 0, refuse(ErrBadInput, "item", "a %s is not reground; inserts and bars are", p.Kind)
	}
	if _, err := fmt.Sscan(has[symbol], &mm); err != nil || mm <= 0 {
		return "", 0, refuse(ErrBadInput, "item", "%s of %s is not on record; enter it first, then its new size means something", symbol, p.Code)
	}
	return symbol, mm, nil
}

// makeGround makes the record of a ground size. Its name is not that of the new one any more:
// a designation of the standard would claim the new one's circle and pocket.
func (e *entry) makeGround(origin, old Part, facts []Fact, symbol string, size standard.Size, edges, times int) (Part, error) {
	p := Part{
		Kind: old.Kind, Maker: old.Maker, Grade: old.Grade, Counted: old.Counted, Pack: 1, MinOrder: 1, Edges: old.Edges, HomeID: old.HomeID,
		Code: fmt.Sprintf("%s-R%s", origin.Code, strings.ReplaceAll(strings.TrimSuffix(size.String(), " mm"), " ", "")),
		Name: strings.TrimSpace(fmt.Sprintf("%s reground %d×, %s %s", firstOf(origin.Designation, origin.Name, origin.Code), times, symbol, size)),
		Note: "reground from " + old.Code,
	}
	if edges > 0 {
		p.Edges = edges
	}
	set := map[string]string{symbol: num(size.MM())}
	var kept []Fact
	for _, f := range facts {
		switch {
		case f.Symbol == symbol || f.Symbol == "LF" && p.Kind == string(stack.Bar):
			continue
		case f.Symbol == "L" || f.Symbol == "S": // the edge is shorter by an angle nobody measured
			continue
		case f.Symbol == "seat" && p.Kind == string(stack.Insert):
			continue
		}
		kept = append(kept, f)
	}
	for sym, v := range set {
		kept = append(kept, Fact{Symbol: sym, Value: v, Entered: size.String(), Origin: Entered})
	}
	if p.Kind == string(stack.Insert) {
		seat := "" // of the new one, then with the circle it has now: no pocket is called that
		for _, f := range facts {
			if f.Symbol == "seat" {
				seat = strings.Trim(f.Value, `"`)
			}
		}
		if in, err := standard.ParseInsert(origin.Designation); err == nil {
			seat = in.Seat()
		}
		seat, _, _ = strings.Cut(seat, " circle ")
		kept = append(kept, Fact{Symbol: "seat", Value: fmt.Sprintf("%q", seat+" circle "+num(size.MM())), Entered: size.String(), Origin: Entered})
	}
	in := PartIn{Part: p, Facts: kept}
	m, err := p.fields(kept)
	if err != nil {
		return p, err
	}
	sp, err := stack.ReadPartMap(m)
	if err != nil {
		return p, &Refusal{Class: fmt.Errorf("%w: %w", ErrBadInput, err), Field: "size", Says: p.Code + ": " + err.Error()}
	}
	p.Folded = folded(p, kept)
	err = e.savePart(&p, in, sp)
	if errors.Is(err, ErrExists) {
		p.Code, p.ID = p.Code+fmt.Sprintf("-%d", times), 0
		err = e.savePart(&p, in, sp)
	}
	if err != nil {
		return p, err
	}
	return p, e.Tx.note(e.op.Actor, "part saved", p.Code, "reground from "+old.Code)
}

func firstOf(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}

// LimitRegrinds says how often a part may be ground; what was ground before counts.
func (s *Store) LimitRegrinds(ctx context.Context, actor PersonID, part PartID, times int) error {
	if times < 0 || times > 100 {
		return refuse(ErrBadInput, "times", "%d times; give a whole number from 0 to 100", times)
	}
	return s.book(ctx, func(tx *Tx) error {
		p, err := one[Part](tx.DB, "part", part, "id = ?", part)
		if err != nil {
			return err
		}
		if err := tx.exec("INSERT INTO part_regrind_limits (part_id, times) VALUES (?,?) ON CONFLICT (part_id) DO UPDATE SET times = excluded.times", part, times); err != nil {
			return err
		}
		return tx.note(actor, "regrind limit", p.Code, fmt.Sprint(times))
	})
}

// GroundTimes is how often a part has been ground; 0 for a new one.
func (s *Store) GroundTimes(ctx context.Context, part PartID) (int, error) {
	var n int
	err := s.read.WithContext(ctx).Raw("SELECT coalesce(max(times), 0) FROM part_regrinds WHERE part_id = ?", part).Scan(&n).Error
	return n, err
}
