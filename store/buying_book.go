package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"gorm.io/gorm"

	"brasspeg/store/reorder"
)

// historyDays is how far back withdrawals are looked at: the two years of the reorder room.
const historyDays = 2*364 + 7

// buyBook is what buying knows of every part, kept current: read once, then each look reads
// only the movements booked since and the parts they touched.
type buyBook struct {
	mu    sync.Mutex
	ready bool
	seq   int64 // of the last movement read
	day   Day   // that the advice was worked out for
	stamp buyStamp
	rules BuyRules

	parts    map[PartID]*buyPart
	byID     []PartID // by code
	jobs     map[JobID]*buyJob
	jobOrder []*buyJob // by first day
	replan   bool
	planned  []bool // weeks from now in which a planned job of the shop begins
	vendors  map[SupplierID]*buyVendor
	names    map[JobID]string       // codes of all jobs
	bySeat   map[string][]*buyPart  // inserts
	spares   map[PartID][]PartID    // what follows a part
	loans    map[ItemID]reorder.Day // pieces that are out: since when
	places   map[PlaceID]PlaceKind

	lacks    map[PartID][]lack // what planned jobs can not be built without
	frees    []Freed
	lacksFor string        // the state of the shop they were worked out for
	lacksAt  time.Time     // by the wall
	lacksIn  time.Duration // how long that took
	dirty    map[PartID]bool
}

// A buyStamp changes when something that buying reads beside the ledger was written.
type buyStamp struct {
	Res, Ended, Jobs, Parts, Orders, Receipts, Levels, Snoozes, Refused, Audit int64
}

const buyStampSQL = `SELECT
	(SELECT coalesce(max(id), 0) FROM reservations) AS res, (SELECT count(ended_at) FROM reservations) AS ended,
	(SELECT coalesce(sum(version), 0) FROM jobs) AS jobs, (SELECT coalesce(sum(version), 0) FROM parts) AS parts,
	(SELECT coalesce(sum(version), 0) FROM orders) AS orders, (SELECT coalesce(max(id), 0) FROM order_receipts) AS receipts,
	(SELECT count(*) FROM part_levels) AS levels, (SELECT coalesce(max(id), 0) FROM snoozes) AS snoozes,
	(SELECT coalesce(max(id), 0) FROM refused_requests) AS refused, (SELECT coalesce(max(id), 0) FROM audit) AS audit`

// buyPart is a part with all that its advice is worked out from.
type buyPart struct {
	buyRow
	moves    []reorder.Withdrawal // by day; one a day and job
	loans    []reorder.Loan       // of pieces that came back
	refused  []reorder.Refusal
	onHand   int               // units on the shelf; of pieces: all that serve, wherever they are
	out      int               // pieces out
	held     int               // pieces in inspection, lost, held back
	promised map[JobID]int     // units
	open     []reorder.Arrival // approved orders
	drafted  int               // pieces in drafts
	lead     reorder.Lead
	guessed  bool // the lead time is neither quoted nor measured
	taken    []int
	prices   []reorder.PriceBreak
	seat     string
	radius   float64 // mm; 0: not recorded
	levels   *LevelsRow
	snooze   *SnoozeRow
	wear     []wearRow // of a spare: the parents that need it
	class    byte
	line     *BuyLine
}

type buyRow struct {
	ID          PartID
	Code        string
	Kind        string
	Name        string
	Designation string
	Counted     string
	Edges       int
	Grade       string
	SupplierID  *SupplierID
	PriceCents  *int64
	Currency    string
	LeadDays    *int
	Pack        int
	MinOrder    int
	HomeID      *PlaceID
	Version     int
	CreatedAt   Time
}

type wearRow struct {
	Parent PartID
	Qty    int
	Events float64
	Life   float64
}

// A buyJob is a job with the inserts it was planned to take.
type buyJob struct {
	ID      JobID
	Code    string
	need    reorder.Day
	closed  bool
	seat    string
	radius  float64
	grade   string
	edges   int     // planned in all
	sd      float64 // of them
	planFor PartID  // the insert that the plan counts for
	rest    *restOf // what the life room expects of the rest of it; nil: no lives are on record
}

// A restOf is the edges that the rest of a job will eat, beyond those it holds already, from
// the lives on record: the mean and its scatter.
type restOf struct {
	part  PartID
	edges int
	sd    float64
}

type buyVendor struct {
	ID       SupplierID
	Code     string
	Name     string
	LeadDays int
	taken    []int // days of filled lines, oldest first
}

// reusable parts come back: bars, holders, sleeves, heads, hoses counted by the piece.
func (p *buyPart) reusable() bool { return p.Counted == KindPiece }

// unitsEach is edges of an insert, else 1.
func (p *buyPart) unitsEach() int { return max(1, p.Edges) }

// Buying brings the book up to date and returns it. Lines are never changed once handed out.
func (s *Store) Buying(ctx context.Context) (*Buying, error) {
	b := &s.buying
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.refresh(ctx, s); err != nil {
		b.ready = false // half a refresh is none
		return nil, err
	}
	out := &Buying{Day: b.day, Rules: b.rules, Lines: make([]*BuyLine, 0, len(b.byID)), Frees: b.frees, at: b.today()}
	for _, id := range b.byID {
		out.Lines = append(out.Lines, b.parts[id].line)
	}
	return out, nil
}

// BuyLine is what buying says of one part. ErrNotFound: it is not in the catalogue.
func (s *Store) BuyLine(ctx context.Context, part PartID) (*BuyLine, error) {
	b := &s.buying
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.refresh(ctx, s); err != nil {
		b.ready = false
		return nil, err
	}
	p := b.parts[part]
	if p == nil {
		return nil, refuse(ErrNotFound, "part", "part %d is not in the catalogue", part)
	}
	return p.line, nil
}

func (b *buyBook) today() reorder.Day {
	d, err := reorder.ParseDay(string(b.day))
	if err != nil {
		return 0
	}
	return d
}

// refresh reads what changed since the last look and works the touched parts out again.
func (b *buyBook) refresh(ctx context.Context, s *Store) error {
	db := s.read.WithContext(ctx)
	today := s.Today()
	var head struct{ Seq int64 }
	var now buyStamp
	if err := db.Raw("SELECT seq FROM ledger_head WHERE id = 1").Scan(&head).Error; err != nil {
		return err
	}
	if err := db.Raw(buyStampSQL).Scan(&now).Error; err != nil {
		return err
	}
	if b.ready && head.Seq == b.seq && now == b.stamp && today == b.day {
		return nil
	}
	rules, err := s.BuyRules(ctx)
	if err != nil {
		return err
	}
	all := !b.ready || today != b.day || rules != b.rules
	b.day, b.rules = today, rules
	if !b.ready {
		b.seq, b.stamp = 0, buyStamp{}
		b.parts, b.jobs, b.vendors = map[PartID]*buyPart{}, map[JobID]*buyJob{}, map[SupplierID]*buyVendor{}
		b.loans, b.dirty, b.names, b.lacks, b.lacksFor = map[ItemID]reorder.Day{}, map[PartID]bool{}, map[JobID]string{}, nil, ""
	}
	if b.stamp.Parts != now.Parts || b.stamp.Audit != now.Audit || all {
		if err := b.readParts(db); err != nil {
			return err
		}
	}
	if b.stamp != now || all {
		for _, step := range []func(*gorm.DB) error{b.readJobs, b.readPromises, b.readOrders, b.readSmall} {
			if err := step(db); err != nil {
				return err
			}
		}
	}
	if err := b.readMoves(db, head.Seq); err != nil {
		return err
	}
	if err := b.readOnHand(db, all); err != nil {
		return err
	}
	if err := b.readLacks(ctx, s, fmt.Sprint(head.Seq, now, today)); err != nil {
		return err
	}
	b.planJobs(all)
	if all {
		for id := range b.parts {
			b.dirty[id] = true
		}
		if err := b.rank(); err != nil {
			return err
		}
	} else {
		for _, id := range slices.Collect(maps.Keys(b.dirty)) {
			for _, spare := range b.spares[id] {
				b.dirty[spare] = true
			}
		}
	}
	for id := range b.dirty {
		if p := b.parts[id]; p != nil {
			b.work(p)
		}
	}
	clear(b.dirty)
	b.seq, b.stamp, b.ready = head.Seq, now, true
	return nil
}

// readParts reads the catalogue; a part that is new or changed is worked out again.
func (b *buyBook) readParts(db *gorm.DB) error {
	var rows []buyRow
	if err := db.Raw(`SELECT id, code, kind, name, designation, counted, edges, grade, supplier_id, price_cents, currency, lead_days, pack, min_order, home_id, version, created_at
		FROM parts WHERE retired_at IS NULL ORDER BY code`).Scan(&rows).Error; err != nil {
		return err
	}
	var facts []struct {
		PartID        PartID
		Symbol, Value string
	}
	err := db.Raw(`SELECT f.part_id, f.symbol, f.value FROM part_facts f JOIN parts p ON p.id = f.part_id
		WHERE p.kind = 'insert' AND f.symbol IN ('seat', 'RE') ORDER BY f.part_id`).Scan(&facts).Error
	if err != nil {
		return err
	}
	b.bySeat = map[string][]*buyPart{}
	b.byID = b.byID[:0]
	seen := make(map[PartID]bool, len(rows))
	for _, r := range rows {
		b.byID = append(b.byID, r.ID)
		seen[r.ID] = true
		p := b.parts[r.ID]
		if p == nil {
			p = &buyPart{promised: map[JobID]int{}, class: 'C'}
			b.parts[r.ID] = p
		}
		if p.Version != r.Version {
			b.dirty[r.ID] = true
		}
		p.buyRow = r
	}
	for id := range b.parts {
		if !seen[id] {
			delete(b.parts, id)
		}
	}
	for _, f := range facts {
		p := b.parts[f.PartID]
		if p == nil {
			continue
		}
		if f.Symbol == "seat" {
			p.seat = strings.Trim(f.Value, `"`)
			b.bySeat[p.seat] = append(b.bySeat[p.seat], p)
		} else if p.radius, err = strconv.ParseFloat(f.Value, 64); err != nil {
			p.radius = 0
		}
	}
	return nil
}

// readOnHand reads what stands where, of the touched parts or of all.
func (b *buyBook) readOnHand(db *gorm.DB, all bool) error {
	const q = `SELECT i.part_id, pl.kind, CASE WHEN i.held <> '' THEN 1 ELSE 0 END AS held, sum(s.qty) AS pieces, sum(s.qty * coalesce(i.edges_left, p.edges)) AS edges
		FROM stock s JOIN items i ON i.id = s.item_id JOIN parts p ON p.id = i.part_id JOIN places pl ON pl.id = s.place_id
		WHERE s.qty > 0 AND pl.outside = ?`
	const by = ` GROUP BY i.part_id, pl.kind, CASE WHEN i.held <> '' THEN 1 ELSE 0 END`
	type row struct {
		PartID        PartID
		Kind          PlaceKind
		Held          int
		Pieces, Edges int64
	}
	touched := slices.Collect(maps.Keys(b.dirty))
	if len(touched) > 2000 {
		all = true
	}
	if all {
		touched = slices.Collect(maps.Keys(b.parts))
	}
	for _, id := range touched {
		if p := b.parts[id]; p != nil {
			p.onHand, p.out, p.held = 0, 0, 0
		}
	}
	add := func(rows []row) {
		for _, r := range rows {
			p := b.parts[r.PartID]
			if p == nil {
				continue
			}
			units := int(r.Pieces)
			if p.Edges > 0 {
				units = int(r.Edges)
			}
			switch {
			case r.Held != 0 || r.Kind == Inspection || r.Kind == Lost:
				p.held += int(r.Pieces)
			case r.Kind == Bin:
				p.onHand += units
			case p.reusable():
				p.onHand += units
				p.out += int(r.Pieces)
			}
		}
	}
	if all {
		var rows []row
		if err := db.Raw(q+by, false).Scan(&rows).Error; err != nil {
			return err
		}
		add(rows)
		return nil
	}
	for chunk := range slices.Chunk(touched, 500) {
		var rows []row
		if err := db.Raw(q+" AND i.part_id IN ?"+by, false, chunk).Scan(&rows).Error; err != nil {
			return err
		}
		add(rows)
	}
	return nil
}

// readJobs reads the jobs whose plans count, and the codes of all.
func (b *buyBook) readJobs(db *gorm.DB) error {
	var names []struct {
		ID   JobID
		Code string
	}
	if err := db.Raw("SELECT id, code FROM jobs").Scan(&names).Error; err != nil {
		return err
	}
	for _, n := range names {
		if old, ok := b.names[n.ID]; ok && old != n.Code { // a job was given another code
			for _, p := range b.parts {
				for i := range p.moves {
					if p.moves[i].Job == old {
						p.moves[i].Job = n.Code
					}
				}
			}
		}
		b.names[n.ID] = n.Code
	}
	var rows []struct {
		ID          JobID
		Code, State string
		FromDay     Day
		Request     string
	}
	oldest := Day((b.today() - historyDays).String())
	if err := db.Raw(`SELECT id, code, state, from_day, request FROM jobs WHERE state IN ('planned','running') OR to_day >= ? ORDER BY from_day, code`, string(oldest)).
		Scan(&rows).Error; err != nil {
		return err
	}
	old := b.jobs
	b.jobs = make(map[JobID]*buyJob, len(rows))
	b.jobOrder = b.jobOrder[:0]
	for _, r := range rows {
		j := &buyJob{ID: r.ID, Code: r.Code, closed: r.State == "done" || r.State == "closed"}
		var err error
		if j.need, err = reorder.ParseDay(string(r.FromDay)); err != nil {
			return fmt.Errorf("%w: job %s begins on %s", ErrDamaged, r.Code, r.FromDay)
		}
		var req struct {
			Edges  int `json:"edges_needed"`
			Insert struct {
				Seat  string  `json:"seat"`
				RE    float64 `json:"RE"`
				Grade string  `json:"grade"`
			} `json:"insert"`
		}
		if json.Unmarshal([]byte(r.Request), &req) == nil {
			j.edges, j.seat, j.radius, j.grade = max(0, min(req.Edges, 1_000_000)), req.Insert.Seat, req.Insert.RE, req.Insert.Grade
		}
		if o := old[j.ID]; o != nil {
			j.planFor, j.rest = o.planFor, o.rest
			if j.closed != o.closed || j.need != o.need || j.edges != o.edges || j.seat != o.seat || j.radius != o.radius || j.grade != o.grade || j.Code != o.Code {
				b.dirty[j.planFor], b.replan = true, true
			}
		} else {
			b.replan = true
		}
		b.jobs[j.ID] = j
		b.jobOrder = append(b.jobOrder, j)
	}
	return nil
}

func (b *buyBook) readPromises(db *gorm.DB) error {
	var rows []struct {
		PartID PartID
		JobID  JobID
		Units  int64
	}
	if err := db.Raw(`SELECT i.part_id, r.job_id, sum(r.qty * CASE WHEN coalesce(i.edges_left, p.edges) > 0 THEN coalesce(i.edges_left, p.edges) ELSE 1 END) AS units
		FROM reservations r JOIN items i ON i.id = r.item_id JOIN parts p ON p.id = i.part_id
		WHERE r.ended_at IS NULL AND r.to_day >= ? GROUP BY i.part_id, r.job_id`, string(b.day)).Scan(&rows).Error; err != nil {
		return err
	}
	now := map[PartID]map[JobID]int{}
	for _, r := range rows {
		if now[r.PartID] == nil {
			now[r.PartID] = map[JobID]int{}
		}
		now[r.PartID][r.JobID] = int(r.Units)
	}
	for id, p := range b.parts {
		if !maps.Equal(p.promised, now[id]) {
			p.promised = now[id]
			b.dirty[id] = true
		}
	}
	return nil
}

// readSmall reads the tables with a row here and there: prices, levels, sleeping alerts,
// what wears spares out, requests that found nothing.
func (b *buyBook) readSmall(db *gorm.DB) error {
	var prices []struct {
		PartID    PartID
		MinPieces int
		Cents     int64
		Currency  string
	}
	var levels []LevelsRow
	var snoozes []SnoozeRow
	var wear []struct {
		Parent PartID
		Spare  PartID
		Qty    int
		Events sql.NullFloat64
		Life   sql.NullFloat64
	}
	var refused []struct {
		PartID PartID
		Day    Day
	}
	oldest := string(Day((b.today() - 364).String()))
	for _, q := range []struct {
		into any
		sql  string
		args []any
	}{
		{&prices, "SELECT part_id, min_pieces, cents, currency FROM part_prices ORDER BY part_id, min_pieces", nil},
		{&levels, "SELECT * FROM part_levels", nil},
		{&snoozes, "SELECT * FROM snoozes WHERE ended_at IS NULL AND until_day >= ? ORDER BY id", []any{string(b.day)}},
		{&wear, `SELECT n.part_id AS parent, n.spare_id AS spare, n.qty, w.events_per_year AS events, w.life_events AS life
			FROM part_needs n LEFT JOIN part_wear w ON w.part_id = n.part_id AND w.spare_id = n.spare_id ORDER BY n.spare_id, n.part_id`, nil},
		{&refused, "SELECT part_id, day FROM refused_requests WHERE day >= ? ORDER BY id", []any{oldest}},
	} {
		if err := db.Raw(q.sql, q.args...).Scan(q.into).Error; err != nil {
			return err
		}
	}
	type small struct {
		prices  []reorder.PriceBreak
		levels  *LevelsRow
		snooze  *SnoozeRow
		wear    []wearRow
		refused []reorder.Refusal
	}
	now := map[PartID]*small{}
	of := func(id PartID) *small {
		if now[id] == nil {
			now[id] = &small{}
		}
		return now[id]
	}
	for _, r := range prices {
		of(r.PartID).prices = append(of(r.PartID).prices, reorder.PriceBreak{Min: r.MinPieces, Price: reorder.Money{Cents: r.Cents, Currency: r.Currency}})
	}
	for i := range levels {
		of(levels[i].PartID).levels = &levels[i]
	}
	for i := range snoozes {
		of(snoozes[i].PartID).snooze = &snoozes[i]
	}
	for _, r := range wear {
		of(r.Spare).wear = append(of(r.Spare).wear, wearRow{r.Parent, r.Qty, r.Events.Float64, max(1, r.Life.Float64)})
	}
	for _, r := range refused {
		if d, err := reorder.ParseDay(string(r.Day)); err == nil {
			of(r.PartID).refused = append(of(r.PartID).refused, reorder.Refusal{Day: d})
		}
	}
	b.spares = map[PartID][]PartID{}
	for id, p := range b.parts {
		n := now[id]
		if n == nil {
			n = &small{}
		}
		for _, w := range n.wear {
			b.spares[w.Parent] = append(b.spares[w.Parent], id)
		}
		same := slices.Equal(p.prices, n.prices) && slices.Equal(p.wear, n.wear) && len(p.refused) == len(n.refused) &&
			(p.levels == nil) == (n.levels == nil) && (p.levels == nil || *p.levels == *n.levels) &&
			(p.snooze == nil) == (n.snooze == nil) && (p.snooze == nil || p.snooze.ID == n.snooze.ID)
		p.prices, p.levels, p.snooze, p.wear, p.refused = n.prices, n.levels, n.snooze, n.wear, n.refused
		if !same {
			b.dirty[id] = true
		}
	}
	return nil
}
