package store

import (
	"context"

	"brasspeg/store/reorder"
)

// A StockDay is what served at the end of a day, in the units of a BuyLine.
type StockDay struct {
	Day   reorder.Day
	Units int
}

// StockHistory is how much of a part there was at the end of each day from a day until today,
// worked out backwards from what there is now: on the shelf, of reusable pieces wherever in
// the shop they serve.
func (s *Store) StockHistory(ctx context.Context, l *BuyLine, from reorder.Day) ([]StockDay, error) {
	db := s.read.WithContext(ctx)
	day := dayOf(db, "m.at")
	var rows []struct {
		Day        Day
		A, Z       PlaceKind
		Edges, Qty int
	}
	if err := db.Raw(`SELECT `+day+` AS day, a.kind AS a, b.kind AS z, coalesce(i.edges_left, p.edges) AS edges, m.qty
		FROM movements m JOIN items i ON i.id = m.item_id JOIN parts p ON p.id = i.part_id JOIN places a ON a.id = m.from_id JOIN places b ON b.id = m.to_id
		WHERE i.part_id = ? AND `+day+` >= ? ORDER BY m.seq DESC LIMIT 20000`, l.ID, from.String()).Scan(&rows).Error; err != nil {
		return nil, err
	}
	serves := func(k PlaceKind) bool { return k == Bin || l.Reusable && k.Holds() }
	change := map[reorder.Day]int{}
	for _, r := range rows {
		units := r.Qty
		if l.UnitsEach > 1 || r.Edges > 0 {
			units *= max(1, r.Edges)
		}
		d := min(mustDay(r.Day), l.today)
		switch a, z := serves(r.A), serves(r.Z); {
		case a && !z:
			change[d] -= units
		case z && !a:
			change[d] += units
		}
	}
	out := make([]StockDay, 0, int(l.today-from)+1)
	have := l.OnHand
	for d := l.today; d >= from; d-- {
		out = append(out, StockDay{d, have})
		have -= change[d]
	}
	for i, k := 0, len(out)-1; i < k; i, k = i+1, k-1 {
		out[i], out[k] = out[k], out[i]
	}
	return out, nil
}

// Today is the day a line was worked out for.
func (l *BuyLine) Today() reorder.Day { return l.today }
