package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"
)

// A Use is what one piece or lot has been through, from the ledger and the log of edges. What
// was undone does not count.
type Use struct {
	Times   int // taken from a shelf into somebody's hands or a machine: each is one clamping
	Jobs    int
	Last    Time // when it was last taken
	Edges   int  // that came off a stack while it was part of it; of a lot of inserts, its own
	Parts   int  // made on those edges
	Minutes float64
	Timed   int // of the edges, those with minutes on record

	LookedAt Time   // when it last went to inspection, or came out of it; zero: never
	Looked   string // what was said then
	InThere  bool   // it is there still
}

// UseOf adds up the use of an item. An edge counts where it came off in the station the piece
// stood in, or on the job the piece was out for: the log of edges does not name the stack.
func (s *Store) UseOf(ctx context.Context, item ItemID) (Use, error) {
	db := s.read.WithContext(ctx)
	var u Use
	const live = "m.reverses IS NULL AND NOT EXISTS (SELECT 1 FROM movements v WHERE v.reverses = m.seq)"
	var taken struct {
		Times, Jobs int
		Last        Time
	}
	if err := db.Raw(`SELECT count(*) AS times, count(DISTINCT m.job_id) AS jobs, max(m.at) AS last
		FROM movements m JOIN places a ON a.id = m.from_id JOIN places b ON b.id = m.to_id
		WHERE m.item_id = ? AND b.kind IN ('person','station') AND a.kind NOT IN ('person','station') AND `+live, item).Scan(&taken).Error; err != nil {
		return u, err
	}
	u.Times, u.Jobs, u.Last = taken.Times, taken.Jobs, taken.Last
	var run struct {
		Edges, Parts, Timed int
		Minutes             sql.NullFloat64
	}
	if err := db.Raw(`SELECT count(*) AS edges, coalesce(sum(r.parts), 0) AS parts, sum(r.minutes) AS minutes, count(CASE WHEN r.minutes > 0 THEN 1 END) AS timed
		FROM edge_runs r WHERE r.undone_op IS NULL AND (r.item_id = ? OR r.id IN (
			SELECT e.id FROM movements m JOIN places b ON b.id = m.to_id JOIN items i ON i.id = m.item_id
				JOIN edge_runs e ON e.job_id = m.job_id OR e.station_id = (SELECT st.id FROM stations st WHERE st.place_id = m.to_id)
			WHERE m.item_id = ? AND i.kind = 'piece' AND b.kind IN ('person','station') AND `+live+` AND e.at > m.at
				AND NOT EXISTS (SELECT 1 FROM movements n WHERE n.item_id = m.item_id AND n.seq > m.seq AND n.from_id = m.to_id AND n.at < e.at)))`,
		item, item).Scan(&run).Error; err != nil {
		return u, err
	}
	u.Edges, u.Parts, u.Timed, u.Minutes = run.Edges, run.Parts, run.Timed, run.Minutes.Float64
	var looked struct {
		At     Time
		Reason string
		Inside bool
	}
	err := db.Raw(`SELECT m.at, m.reason, b.kind = 'inspection' AS inside FROM movements m JOIN places a ON a.id = m.from_id JOIN places b ON b.id = m.to_id
		WHERE m.item_id = ? AND (a.kind = 'inspection' OR b.kind = 'inspection') AND `+live+` ORDER BY m.seq DESC LIMIT 1`, item).Scan(&looked).Error
	u.LookedAt, u.Looked, u.InThere = looked.At, looked.Reason, looked.Inside
	return u, err
}

// A Wear says what a part needs of a spare, how many are there, and how fast they go.
type Wear struct {
	SpareID PartID
	Spare   string // code
	Name    string
	Qty     int     // in one piece
	OnHand  int64   // spares on the shelves
	Pieces  int64   // of the part, in the shop
	PerYear float64 // uses of one piece a year, as entered; 0: not entered
	Life    float64 // uses that a spare lasts, as entered; 0: not entered
	Counted float64 // uses of one piece a year, by the ledger
}

// WearsOf lists what a part needs, by the code of the spare. Counted is over the last 365 days,
// or since the part's first movement where that is less, and at least over 30.
func (s *Store) WearsOf(ctx context.Context, part PartID) ([]Wear, error) {
	db := s.read.WithContext(ctx)
	var out []Wear
	if err := db.Raw(`SELECT p.id AS spare_id, p.code AS spare, p.name, n.qty, coalesce(w.events_per_year, 0) AS per_year, coalesce(w.life_events, 0) AS life,
			(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id WHERE i.part_id = p.id AND pl.kind = 'bin') AS on_hand,
			(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id WHERE i.part_id = n.part_id AND pl.outside = ?) AS pieces
		FROM part_needs n JOIN parts p ON p.id = n.spare_id LEFT JOIN part_wear w ON w.part_id = n.part_id AND w.spare_id = n.spare_id
		WHERE n.part_id = ? ORDER BY p.code LIMIT 100`, false, part).Scan(&out).Error; err != nil || len(out) == 0 {
		return out, err
	}
	since := At(s.Now().AddDate(-1, 0, 0))
	var took struct {
		N     int
		First Time
	}
	if err := db.Raw(`SELECT count(CASE WHEN b.kind IN ('person','station') AND a.kind NOT IN ('person','station') THEN 1 END) AS n, min(m.at) AS first
		FROM movements m JOIN items i ON i.id = m.item_id JOIN places a ON a.id = m.from_id JOIN places b ON b.id = m.to_id
		WHERE i.part_id = ? AND m.at >= ? AND m.reverses IS NULL AND NOT EXISTS (SELECT 1 FROM movements v WHERE v.reverses = m.seq)`, part, since).Scan(&took).Error; err != nil {
		return out, err
	}
	for i := range out {
		if out[i].Pieces > 0 && took.N > 0 {
			days := max(30, s.Now().Sub(took.First.Time).Hours()/24)
			out[i].Counted = float64(took.N) / float64(out[i].Pieces) * 365.25 / days
		}
	}
	return out, nil
}

// A WearIn says how fast one piece of Part wears out its Spare: PerYear uses of a piece, of
// which a spare lasts Life. Life 0 takes the entry away.
type WearIn struct {
	Part, Spare   PartID
	PerYear, Life float64
}

// SetWear enters how fast a spare goes; buying plans with it. ErrBadInput: the part does not
// need that spare, or a number is out of range.
func (s *Store) SetWear(ctx context.Context, o Op, in WearIn) (Receipt, error) {
	return s.op(ctx, o, ActPart, struct{ Wear WearIn }{in}, func(e *entry) error {
		for _, f := range []struct {
			name string
			v    float64
		}{{"per_year", in.PerYear}, {"life", in.Life}} {
			if f.v < 0 || f.v > 1e6 || math.IsNaN(f.v) {
				return refuse(ErrBadInput, f.name, "%g uses: give a number from 0 to 1,000,000", f.v)
			}
		}
		var names struct{ Part, Spare string }
		if err := e.Raw(`SELECT p.code AS part, x.code AS spare FROM part_needs n JOIN parts p ON p.id = n.part_id JOIN parts x ON x.id = n.spare_id
			WHERE n.part_id = ? AND n.spare_id = ?`, in.Part, in.Spare).Scan(&names).Error; err != nil {
			return err
		}
		if names.Part == "" {
			return refuse(ErrBadInput, "spare", "that part needs no such spare; enter it among the spares of its record first")
		}
		if in.Life == 0 {
			e.receipt.Says = fmt.Sprintf("Nothing is said about how fast %s goes in %s.", names.Spare, names.Part)
			if err := e.exec("DELETE FROM part_wear WHERE part_id = ? AND spare_id = ?", in.Part, in.Spare); err != nil {
				return err
			}
		} else {
			e.receipt.Says = fmt.Sprintf("%s in %s lasts %g uses; a piece is used %g times a year.", names.Spare, names.Part, in.Life, in.PerYear)
			if err := e.exec(`INSERT INTO part_wear (part_id, spare_id, events_per_year, life_events) VALUES (?,?,?,?)
				ON CONFLICT (part_id, spare_id) DO UPDATE SET events_per_year = excluded.events_per_year, life_events = excluded.life_events`, in.Part, in.Spare, in.PerYear, in.Life); err != nil {
				return err
			}
		}
		return e.Tx.note(o.Actor, "wear of a spare", names.Part, e.receipt.Says)
	})
}
