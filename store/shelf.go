package store

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"sync"

	"gorm.io/gorm"

	"brasspeg/store/stack"
)

// shelfCache keeps the stack room's view of the shop current: built once, then each booking
// names the items it touched and only those are read again.
type shelfCache struct {
	mu    sync.Mutex // held while the shelf is built or refreshed
	shelf *stack.Shelf
	parts map[PartID]*stack.Part
	ids   map[ItemID][]string // what each item is called on the shelf: one id a heap
	seen  stamp               // PostgreSQL: what other processes may have changed

	orders []string // ids of what is on order on the shelf

	dirtyMu    sync.Mutex
	newOrders  bool
	dirty      map[ItemID]bool
	dirtyParts map[PartID]bool
}

// A stamp changes when another process booked, promised or saved something.
type stamp struct{ Seq, Changes, Part, Versions, Orders int64 }

func (c *shelfCache) touch(id ItemID) {
	c.dirtyMu.Lock()
	defer c.dirtyMu.Unlock()
	if c.dirty == nil {
		c.dirty = map[ItemID]bool{}
	}
	c.dirty[id] = true
}

func (c *shelfCache) touchPart(id PartID) {
	c.dirtyMu.Lock()
	defer c.dirtyMu.Unlock()
	if c.dirtyParts == nil {
		c.dirtyParts = map[PartID]bool{}
	}
	c.dirtyParts[id] = true
}

// touchOrders says that what is on order has changed.
func (c *shelfCache) touchOrders() {
	c.dirtyMu.Lock()
	defer c.dirtyMu.Unlock()
	c.newOrders = true
}

func (c *shelfCache) takeOrders() bool {
	c.dirtyMu.Lock()
	defer c.dirtyMu.Unlock()
	was := c.newOrders
	c.newOrders = false
	return was
}

func (c *shelfCache) take() (items []ItemID, parts []PartID) {
	c.dirtyMu.Lock()
	defer c.dirtyMu.Unlock()
	items, parts = slices.Collect(maps.Keys(c.dirty)), slices.Collect(maps.Keys(c.dirtyParts))
	c.dirty, c.dirtyParts = nil, nil
	return items, parts
}

// Shelf is the stack room's view of all the shop has, current with every booking answered
// before the call. It is safe for many readers.
func (s *Store) Shelf(ctx context.Context) (*stack.Shelf, error) {
	c := &s.shelf
	c.mu.Lock()
	defer c.mu.Unlock()
	items, parts := c.take()
	again := func(err error) (*stack.Shelf, error) { // what was taken is not lost
		c.shelf = nil
		return nil, err
	}
	db := s.read.WithContext(ctx)
	if s.postgres {
		now, err := readStamp(db)
		if err != nil {
			return again(err)
		}
		if now.Seq != c.seen.Seq {
			var moved []ItemID
			if err := db.Raw("SELECT DISTINCT item_id FROM movements WHERE seq > ?", c.seen.Seq).Scan(&moved).Error; err != nil {
				return again(err)
			}
			items = append(items, moved...)
		}
		old := c.seen
		old.Seq = now.Seq
		if old != now {
			c.shelf = nil
		}
		c.seen = now
	}
	if c.shelf == nil || len(parts) > 0 {
		if err := c.build(s, db); err != nil {
			return again(err)
		}
		return c.shelf, nil
	}
	for len(items) > 0 {
		n := min(500, len(items))
		if err := c.refresh(db, items[:n]); err != nil {
			return again(err)
		}
		items = items[n:]
	}
	if c.takeOrders() {
		if err := c.putOrders(db); err != nil {
			return again(err)
		}
	}
	return c.shelf, nil
}

func readStamp(db *gorm.DB) (st stamp, err error) {
	err = db.Raw(`SELECT (SELECT seq FROM ledger_head WHERE id = 1) AS seq,
		(SELECT coalesce(max(id), 0) FROM act_changes) AS changes,
		(SELECT coalesce(max(id), 0) FROM parts) AS part, (SELECT coalesce(sum(version), 0) FROM parts) AS versions,
		(SELECT coalesce(sum(version), 0) FROM orders) AS orders`).Scan(&st).Error
	return st, err
}

// parts reads the whole catalogue into the stack room's words.
func (s *Store) stackParts(db *gorm.DB) (map[PartID]*stack.Part, error) {
	var rows []Part
	if err := db.Where("retired_at IS NULL").Find(&rows).Error; err != nil {
		return nil, err
	}
	var facts []Fact
	if err := db.Find(&facts).Error; err != nil {
		return nil, err
	}
	by := map[PartID][]Fact{}
	for _, f := range facts {
		by[f.PartID] = append(by[f.PartID], f)
	}
	out := make(map[PartID]*stack.Part, len(rows))
	for _, r := range rows {
		m, err := r.fields(by[r.ID])
		if err != nil {
			return nil, err
		}
		p, err := stack.ReadPartMap(m)
		if err != nil {
			return nil, fmt.Errorf("part %s: %w", r.Code, err)
		}
		out[r.ID] = p
	}
	return out, nil
}

func (c *shelfCache) build(s *Store, db *gorm.DB) error {
	parts, err := s.stackParts(db)
	if err != nil {
		return err
	}
	catalogue := make([]*stack.Part, 0, len(parts))
	for _, id := range slices.Sorted(maps.Keys(parts)) {
		catalogue = append(catalogue, parts[id])
	}
	shelf, err := stack.NewShelf(nil, catalogue)
	if err != nil {
		return err
	}
	c.shelf, c.parts, c.ids, c.orders = shelf, parts, map[ItemID][]string{}, nil
	if err := c.refresh(db, nil); err != nil {
		return err
	}
	return c.putOrders(db)
}

// putOrders puts what approved orders still owe on the shelf, each line by order and number,
// so that a job that lacks it hears when it comes.
func (c *shelfCache) putOrders(db *gorm.DB) error {
	for _, id := range c.orders {
		c.shelf.Remove(id)
	}
	c.orders = nil
	var rows []struct {
		ID     int64
		Code   string
		PartID PartID
		Open   int
		Due    string
		Since  string
	}
	if err := db.Raw(`SELECT l.id, o.code, l.part_id, l.due_day AS due, o.ordered_day AS since, l.pieces - ` + receivedSQL + ` AS open
		FROM order_lines l JOIN orders o ON o.id = l.order_id WHERE o.state = 'approved' AND l.closed_at IS NULL ORDER BY l.id`).Scan(&rows).Error; err != nil {
		return err
	}
	for _, r := range rows {
		part := c.parts[r.PartID]
		if r.Open <= 0 || part == nil || part.Kind == stack.Spare {
			continue
		}
		it := stack.Item{ID: fmt.Sprintf("%s/%d", r.Code, r.ID), Part: part, Status: stack.OnOrder, Qty: r.Open, Due: stack.Date(r.Due), Ordered: stack.Date(r.Since)}
		if err := c.shelf.Put(it); err != nil {
			return fmt.Errorf("%s: %w", it.ID, err)
		}
		c.orders = append(c.orders, it.ID)
	}
	return nil
}

// onShelfRow is one heap: an item in an inside place, with who has it when it is out.
type onShelfRow struct {
	ItemID  ItemID
	Tag     string
	PartID  PartID
	Held    string
	Qty     int64
	Kind    PlaceKind
	Place   string
	Code    string
	Person  string
	Job     string
	JobOpen bool
	Due     string
}

const heapsSQL = `SELECT i.id AS item_id, i.tag, i.part_id, i.held, s.qty, p.kind, p.name AS place, p.code,
	coalesce(pe.name, '') AS person, coalesce(j.code, '') AS job, coalesce(j.state IN ('planned','running'), ?) AS job_open, coalesce(h.due_day, '') AS due
	FROM stock s JOIN items i ON i.id = s.item_id JOIN places p ON p.id = s.place_id
	LEFT JOIN holdings h ON h.seq = (SELECT min(seq) FROM holdings WHERE item_id = s.item_id AND place_id = s.place_id AND qty > 0)
	LEFT JOIN people pe ON pe.id = h.person_id LEFT JOIN jobs j ON j.id = h.job_id
	WHERE s.qty > 0 AND p.outside = ? AND i.edges_left IS NULL AND i.retired_at IS NULL`

// refresh reads items again, all of them with nil.
func (c *shelfCache) refresh(db *gorm.DB, items []ItemID) error {
	for _, id := range items {
		for _, name := range c.ids[id] {
			c.shelf.Remove(name)
		}
		delete(c.ids, id)
	}
	q, args := heapsSQL, []any{false, false}
	rq := `SELECT r.item_id, j.code, r.qty, r.from_day, r.to_day FROM reservations r JOIN jobs j ON j.id = r.job_id WHERE r.ended_at IS NULL`
	var rargs []any
	if items != nil {
		q, args = q+" AND i.id IN ?", append(args, items)
		rq, rargs = rq+" AND r.item_id IN ?", append(rargs, items)
	}
	var rows []onShelfRow
	// what is in a bin keeps the plain tag; a second heap is told by its place
	if err := db.Raw(q+" ORDER BY i.id, CASE WHEN p.kind = 'bin' THEN 0 ELSE 1 END, p.sort_key, p.code", args...).Scan(&rows).Error; err != nil {
		return err
	}
	var promised []struct {
		ItemID         ItemID
		Code           string
		Qty            int64
		FromDay, ToDay Day
	}
	if err := db.Raw(rq+" ORDER BY r.from_day, r.id", rargs...).Scan(&promised).Error; err != nil {
		return err
	}
	res := map[ItemID][]stack.Reservation{}
	for _, p := range promised {
		res[p.ItemID] = append(res[p.ItemID], stack.Reservation{Job: p.Code, From: stack.Date(p.FromDay), To: stack.Date(p.ToDay), Qty: int(p.Qty)})
	}
	for _, r := range rows {
		part := c.parts[r.PartID]
		if part == nil || part.Kind == stack.Spare {
			continue
		}
		it := r.item(part)
		it.Reserved = res[r.ItemID]
		if len(c.ids[r.ItemID]) > 0 {
			it.ID += "@" + r.Code
		}
		if err := c.shelf.Put(it); err != nil {
			return fmt.Errorf("%s: %w", r.Tag, err)
		}
		c.ids[r.ItemID] = append(c.ids[r.ItemID], it.ID)
	}
	return nil
}

func (r onShelfRow) item(part *stack.Part) stack.Item {
	it := stack.Item{ID: r.Tag, Part: part, Status: stack.In, Place: r.Code, Qty: int(r.Qty)}
	switch {
	case r.Held != "" || r.Kind == Inspection:
		it.Status, it.Why = stack.Quarantine, r.Held
	case r.Kind == Lost:
		it.Status = stack.Lost
	case r.Kind == StationAt && !r.JobOpen: // left in the turret between jobs: it is where it is, and free
	case r.Kind.Holds():
		to := r.Place
		if r.Person != "" && r.Person != r.Place {
			to = r.Person + ", " + r.Place
		}
		it.Status, it.Out = stack.Out, &stack.Issued{To: to, Job: r.Job, Due: stack.Date(r.Due)}
	}
	return it
}
