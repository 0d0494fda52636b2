package store

import (
	"context"
	"fmt"

	"gorm.io/gorm"

	"brasspeg/store/ledger"
)

// A Report is what verify found. Faults is empty when the store holds together.
type Report struct {
	Movements int64
	Ops       int
	Items     int
	Head      string // hash of the last movement: keep it outside, and a cut-off end is seen
	HeadSeq   int64
	Faults    []ledger.Fault
}

// Verify reads the whole ledger and holds it against its hash chain, its invariants and the
// stock table, then what hangs on it (edges, orders, counts, promises, plans: see rowChecks), and
// asks the engine for its own check of the file.
func (s *Store) Verify(ctx context.Context) (Report, error) {
	var rep Report
	err := s.snapshot(ctx, func(db *gorm.DB) error { return s.verify(db, &rep) })
	return rep, err
}

// snapshot runs fn on one unchanging view of the store.
func (s *Store) snapshot(ctx context.Context, fn func(*gorm.DB) error) error {
	db := s.read.WithContext(ctx).Begin()
	if db.Error != nil {
		return db.Error
	}
	defer db.Rollback()
	if s.postgres {
		if err := db.Exec("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY").Error; err != nil {
			return err
		}
	}
	return fn(db)
}

func (s *Store) verify(db *gorm.DB, rep *Report) error {
	var places []Place
	if err := db.Find(&places).Error; err != nil {
		return err
	}
	kinds := map[int64]ledger.Place{}
	holds := map[PlaceID]bool{}
	scrapOnly := map[PlaceID]bool{}
	for _, p := range places {
		kinds[int64(p.ID)] = ledger.Place{Outside: p.Outside}
		holds[p.ID] = p.Kind.Holds()
		scrapOnly[p.ID] = p.Kind == ScrapAt || p.Kind == Regrind || p.Kind == UseAt
	}
	var items []Item
	if err := db.Find(&items).Error; err != nil {
		return err
	}
	single := map[int64]bool{}
	empty := map[ItemID]bool{} // inserts with no edge left
	for _, it := range items {
		single[int64(it.ID)] = it.Kind == KindPiece
		empty[it.ID] = it.EdgesLeft != nil && *it.EdgesLeft == 0
	}
	var stepped []int64
	if err := db.Raw("SELECT seq FROM clock_steps").Scan(&stepped).Error; err != nil {
		return err
	}
	steps := map[int64]bool{}
	for _, seq := range stepped {
		steps[seq] = true
	}
	var ops []opRow
	if err := db.Find(&ops).Error; err != nil {
		return err
	}
	byID := make(map[string]opRow, len(ops))
	lines := make(map[string]int, len(ops))
	for _, o := range ops {
		byID[o.OpID], lines[o.OpID] = o, o.Lines
	}
	a := ledger.NewAuditor(kinds, single, steps)
	before := func(seq int64) (ledger.Movement, bool) {
		var m Movement
		r := db.Where("seq = ?", seq).Limit(1).Find(&m)
		return m.pure(), r.Error == nil && r.RowsAffected > 0
	}
	fault := func(rule string, seq int64, format string, args ...any) {
		if len(rep.Faults) < 1000 {
			rep.Faults = append(rep.Faults, ledger.Fault{Rule: rule, Seq: seq, What: fmt.Sprintf(format, args...)})
		}
	}
	for from := int64(0); ; {
		var batch []Movement
		if err := db.Where("seq > ?", from).Order("seq").Limit(5000).Find(&batch).Error; err != nil {
			return err
		}
		for _, m := range batch {
			a.Read(m.pure(), before)
			o, ok := byID[m.OpID]
			if ok && (o.ActorID != m.ActorID || !May(Role(o.Role), ledger.Act(o.Act))) {
				fault("I14", m.Seq, "was booked by person %d as %s, who may not %s", m.ActorID, o.Role, o.Act)
			}
			if empty[m.ItemID] && !scrapOnly[m.ToID] && m.Act != ledger.Reverse {
				fault("I5", m.Seq, "puts an insert with no edge left into place %d", m.ToID)
			}
		}
		rep.Movements += int64(len(batch))
		if len(batch) < 5000 {
			break
		}
		from = batch[len(batch)-1].Seq
	}
	stock, err := stockTable(db)
	if err != nil {
		return err
	}
	var h struct {
		Seq  int64
		Hash string
	}
	if err := db.Raw("SELECT seq, hash FROM ledger_head WHERE id = 1").Scan(&h).Error; err != nil {
		return err
	}
	rep.Faults = append(rep.Faults, a.Close(stock, lines, ledger.Movement{Seq: h.Seq, Hash: h.Hash})...)
	rep.Ops, rep.Items, rep.Head, rep.HeadSeq = len(ops), len(items), h.Hash, h.Seq
	if err := s.verifyRows(db, places, items, fault); err != nil {
		return err
	}
	return s.verifyHoldings(db, stock, holds, fault)
}

func stockTable(db *gorm.DB) (map[ledger.Cell]int64, error) {
	var rows []struct{ ItemID, PlaceID, Qty int64 }
	if err := db.Raw("SELECT item_id, place_id, qty FROM stock").Scan(&rows).Error; err != nil {
		return nil, err
	}
	out := make(map[ledger.Cell]int64, len(rows))
	for _, r := range rows {
		out[ledger.Cell{Item: r.ItemID, Place: r.PlaceID}] = r.Qty
	}
	return out, nil
}

// verifyHoldings is I10: what people and machines have is what is open on the lists; and the
// engine's own check.
func (s *Store) verifyHoldings(db *gorm.DB, stock map[ledger.Cell]int64, holds map[PlaceID]bool, fault faultFunc) error {
	var rows []struct{ ItemID, PlaceID, Qty int64 }
	if err := db.Raw("SELECT item_id, place_id, sum(qty) AS qty FROM holdings GROUP BY item_id, place_id").Scan(&rows).Error; err != nil {
		return err
	}
	held := map[ledger.Cell]int64{}
	for _, r := range rows {
		held[ledger.Cell{Item: r.ItemID, Place: r.PlaceID}] = r.Qty
	}
	for c, n := range stock {
		if holds[PlaceID(c.Place)] && held[c] != n {
			fault("I10", 0, "place %d has %d of item %d, its list of open issues says %d", c.Place, n, c.Item, held[c])
		}
	}
	for c, n := range held {
		if n != 0 && stock[c] != n {
			fault("I10", 0, "the list says place %d has %d of item %d, the stock table says %d", c.Place, n, c.Item, stock[c])
		}
	}
	if s.postgres {
		return nil
	}
	var found []string
	if err := db.Raw("PRAGMA integrity_check(20)").Scan(&found).Error; err != nil {
		return err
	}
	for _, f := range found {
		if f != "ok" {
			fault("file", 0, "%s", f)
		}
	}
	return nil
}
