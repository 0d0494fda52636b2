package store

import (
	"fmt"
	"slices"

	"gorm.io/gorm"

	"brasspeg/store/reorder"
)

// dayOf is the calendar day (UTC) of a moment in the spelling of each engine. A withdrawal
// around midnight may count for the neighbouring day; for weeks of use that is nothing.
func dayOf(db *gorm.DB, column string) string {
	if db.Name() == "postgres" {
		return "to_char(" + column + " AT TIME ZONE 'UTC', 'YYYY-MM-DD')"
	}
	return "substr(" + column + ", 1, 10)"
}

// readMoves adds the movements booked since the last look.
//
// Use is what leaves the bins for a person, a machine, a kit, scrap or where edges go; what
// comes back from there is use taken back. What goes to or comes from the supplier, the
// count's adjustment, inspection or the lost place is no use. Pieces that come back are
// counted by loans; only a scrapped one is used.
func (b *buyBook) readMoves(db *gorm.DB, upTo int64) error {
	if upTo == b.seq {
		return nil
	}
	if err := b.readPlaces(db); err != nil {
		return err
	}
	// Many movements are read without their items, which are looked up in memory: half the time.
	type itemRow struct {
		PartID  PartID
		Edges   int64
		Counted string
	}
	var items map[ItemID]itemRow
	q := `SELECT ` + dayOf(db, "m.at") + `, m.item_id, i.part_id, coalesce(i.edges_left, p.edges), p.counted, coalesce(m.job_id, 0), m.from_id, m.to_id, m.qty
		FROM movements m JOIN items i ON i.id = m.item_id JOIN parts p ON p.id = i.part_id WHERE m.seq > ? AND m.seq <= ? ORDER BY m.seq`
	if upTo-b.seq > 10_000 {
		var all []struct {
			ID ItemID
			itemRow
		}
		if err := db.Raw("SELECT i.id, i.part_id, coalesce(i.edges_left, p.edges) AS edges, p.counted FROM items i JOIN parts p ON p.id = i.part_id").Scan(&all).Error; err != nil {
			return err
		}
		items = make(map[ItemID]itemRow, len(all))
		for _, it := range all {
			items[it.ID] = it.itemRow
		}
		q = `SELECT ` + dayOf(db, "m.at") + `, m.item_id, 0, 0, '', coalesce(m.job_id, 0), m.from_id, m.to_id, m.qty FROM movements m WHERE m.seq > ? AND m.seq <= ? ORDER BY m.seq`
	}
	rows, err := db.Raw(q, b.seq, upTo).Rows()
	if err != nil {
		return err
	}
	defer rows.Close()
	var (
		text, counted    string
		item, part, edge int64
		job, from, to, n int64
		day              reorder.Day
		last             string
	)
	for rows.Next() {
		if err := rows.Scan(&text, &item, &part, &edge, &counted, &job, &from, &to, &n); err != nil {
			return err
		}
		if items != nil {
			it := items[ItemID(item)]
			part, edge, counted = int64(it.PartID), it.Edges, it.Counted
		}
		if text != last {
			if day, err = reorder.ParseDay(text); err != nil {
				return fmt.Errorf("%w: a movement is dated %s", ErrDamaged, text)
			}
			last = text
		}
		p := b.parts[PartID(part)]
		if p == nil {
			continue
		}
		b.dirty[p.ID] = true
		a, z := b.places[PlaceID(from)], b.places[PlaceID(to)]
		if counted == KindPiece {
			b.lend(p, ItemID(item), a, z, day)
			switch {
			case z == ScrapAt && a != AdjustAt:
				p.add(day, int(n), b.names[JobID(job)])
			case a == ScrapAt:
				p.add(day, -int(n), b.names[JobID(job)])
			}
			continue
		}
		units := int(n) * max(1, int(edge))
		switch {
		case a == Bin && uses(z):
			p.add(day, units, b.names[JobID(job)])
		case z == Bin && uses(a):
			p.add(day, -units, b.names[JobID(job)])
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return b.forget()
}

// uses says whether a place is where things are used.
func uses(k PlaceKind) bool { return k.Holds() || k == UseAt || k == ScrapAt }

func (p *buyPart) add(day reorder.Day, units int, job string) {
	for i := len(p.moves) - 1; i >= 0 && p.moves[i].Day == day; i-- {
		if p.moves[i].Job == job {
			p.moves[i].Units += units
			return
		}
	}
	p.moves = append(p.moves, reorder.Withdrawal{Day: day, Units: units, Job: job})
}

// lend opens and ends loans of a piece.
func (b *buyBook) lend(p *buyPart, item ItemID, from, to PlaceKind, day reorder.Day) {
	since, isOut := b.loans[item]
	switch {
	case to.Holds() && !isOut:
		b.loans[item] = day
	case isOut && !to.Holds():
		delete(b.loans, item)
		p.loans = append(p.loans, reorder.Loan{From: since, To: max(since, day)})
	}
}

// forget drops what is older than the look back.
func (b *buyBook) forget() error {
	from := b.today() - historyDays
	for _, p := range b.parts {
		i := 0
		for i < len(p.moves) && p.moves[i].Day < from {
			i++
		}
		if i > 0 {
			p.moves = slices.Delete(p.moves, 0, i)
		}
		p.loans = slices.DeleteFunc(p.loans, func(l reorder.Loan) bool { return l.To < from })
	}
	return nil
}

func (b *buyBook) readPlaces(db *gorm.DB) error {
	var rows []struct {
		ID   PlaceID
		Kind PlaceKind
	}
	if err := db.Raw("SELECT id, kind FROM places").Scan(&rows).Error; err != nil {
		return err
	}
	b.places = make(map[PlaceID]PlaceKind, len(rows))
	for _, r := range rows {
		b.places[r.ID] = r.Kind
	}
	return nil
}
