package store

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/reorder"
)

// receivedSQL is how much of a line has come: what was undone in the ledger does not count.
const receivedSQL = `(SELECT coalesce(sum(r.pieces), 0) FROM order_receipts r WHERE r.line_id = l.id
	AND NOT EXISTS (SELECT 1 FROM movements m JOIN movements v ON v.reverses = m.seq WHERE m.op_id = r.op_id))`

// readOrders reads what is on order and how long filled orders took.
func (b *buyBook) readOrders(db *gorm.DB) error {
	var vendors []buyVendor
	if err := db.Raw("SELECT id, code, name, lead_days FROM suppliers").Scan(&vendors).Error; err != nil {
		return err
	}
	b.vendors = make(map[SupplierID]*buyVendor, len(vendors))
	for i := range vendors {
		b.vendors[vendors[i].ID] = &vendors[i]
	}
	var lines []struct {
		PartID     PartID
		SupplierID SupplierID
		State      string
		OrderedDay Day
		DueDay     Day
		Pieces     int
		Received   int
		Last       Day
		Closed     bool
	}
	oldest := string(Day((b.today() - historyDays).String()))
	if err := db.Raw(`SELECT l.part_id, o.supplier_id, o.state, o.ordered_day, l.due_day, l.pieces, `+receivedSQL+` AS received,
			coalesce((SELECT max(r.day) FROM order_receipts r WHERE r.line_id = l.id), '') AS last, l.closed_at IS NOT NULL AS closed
		FROM order_lines l JOIN orders o ON o.id = l.order_id WHERE o.state = 'draft' OR o.state = 'approved' AND o.ordered_day >= ? ORDER BY last, l.id`, oldest).
		Scan(&lines).Error; err != nil {
		return err
	}
	type found struct {
		open           []reorder.Arrival
		drafted        int
		taken, waiting []int
	}
	now := map[PartID]*found{}
	for _, l := range lines {
		p, f := b.parts[l.PartID], now[l.PartID]
		if p == nil {
			continue
		}
		if f == nil {
			f = &found{}
			now[l.PartID] = f
		}
		if l.State == "draft" {
			f.drafted += l.Pieces
			continue
		}
		ordered, err := reorder.ParseDay(string(l.OrderedDay))
		if err != nil {
			continue
		}
		open := l.Pieces - l.Received
		switch {
		case open <= 0:
			if last, err := reorder.ParseDay(string(l.Last)); err == nil && last >= ordered {
				f.taken = append(f.taken, int(last-ordered))
				if v := b.vendors[l.SupplierID]; v != nil {
					v.taken = append(v.taken, int(last-ordered))
				}
			}
		case !l.Closed:
			due, err := reorder.ParseDay(string(l.DueDay))
			if err != nil {
				due = ordered + reorder.Day(b.quoted(p))
			}
			f.open = append(f.open, reorder.Arrival{Units: open * p.unitsEach(), Ordered: ordered, Due: due})
			f.waiting = append(f.waiting, max(0, int(b.today()-ordered)))
		}
	}
	for id, p := range b.parts {
		f := now[id]
		if f == nil {
			f = &found{}
		}
		lead, guessed := b.leadOf(p, f.taken, f.waiting)
		if !slices.Equal(f.open, p.open) || f.drafted != p.drafted || lead != p.lead {
			b.dirty[id] = true
		}
		p.open, p.drafted, p.lead, p.guessed = f.open, f.drafted, lead, guessed
	}
	return nil
}

// quoted is the lead time a part's record or its supplier states, days; 0: neither.
func (b *buyBook) quoted(p *buyPart) int {
	if p.LeadDays != nil && *p.LeadDays > 0 {
		return *p.LeadDays
	}
	if p.SupplierID != nil {
		if v := b.vendors[*p.SupplierID]; v != nil {
			return v.LeadDays
		}
	}
	return 0
}

// leadOf measures a part's lead time: from its own deliveries once there are three, before
// that from all of its supplier's.
func (b *buyBook) leadOf(p *buyPart, taken, waiting []int) (reorder.Lead, bool) {
	if len(taken) < 3 && p.SupplierID != nil {
		if v := b.vendors[*p.SupplierID]; v != nil {
			taken = v.taken
		}
	}
	quoted, guessed := b.quoted(p), false
	if quoted == 0 && len(taken) == 0 && len(waiting) == 0 {
		quoted, guessed = max(1, b.rules.UnknownLead), true
	}
	lead, err := reorder.Leads(quoted, taken, waiting)
	if err != nil { // a lead time of over ten years is a wrong date, not a supplier
		lead, guessed = reorder.Lead{Quoted: quoted, Plan: max(1, b.rules.UnknownLead)}, true
	}
	return lead, guessed
}

// planJobs gives each job's planned inserts to one part: the one it has taken most of, else
// the one that fits best and has most on the shelf.
func (b *buyBook) planJobs(all bool) {
	planned := make([]bool, historyWeeks)
	for _, j := range b.jobOrder {
		if at := int(max(j.need, b.today())-b.today()) / 7; !j.closed && at < len(planned) {
			planned[at] = true
		}
	}
	if !slices.Equal(planned, b.planned) {
		b.planned = planned
		for id, p := range b.parts {
			if p.seat != "" {
				b.dirty[id] = true
			}
		}
	}
	seats := map[string]bool{}
	for id := range b.dirty {
		if p := b.parts[id]; p != nil && p.seat != "" {
			seats[p.seat] = true
		}
	}
	for _, j := range b.jobOrder {
		if j.edges == 0 && j.rest == nil || !all && !b.replan && !seats[j.seat] {
			continue
		}
		best := b.insertFor(j)
		if best != j.planFor {
			b.dirty[best], b.dirty[j.planFor] = true, true
			j.planFor = best
		} else if b.replan {
			b.dirty[best] = true
		}
	}
	b.replan = false
}

func (b *buyBook) insertFor(j *buyJob) PartID {
	if j.rest != nil {
		return j.rest.part
	}
	type candidate struct {
		p     *buyPart
		taken int
		off   float64 // mm of nose radius
	}
	var list []candidate
	for _, p := range b.bySeat[j.seat] {
		if j.grade != "" && !strings.EqualFold(j.grade, p.Grade) {
			continue
		}
		c := candidate{p: p}
		if j.radius > 0 {
			c.off = math.Abs(p.radius - j.radius)
		}
		for _, w := range p.moves {
			if w.Job == j.Code {
				c.taken += w.Units
			}
		}
		list = append(list, c)
	}
	if len(list) == 0 {
		return 0
	}
	best := slices.MinFunc(list, func(x, y candidate) int {
		return cmp.Or(cmp.Compare(y.taken, x.taken), cmp.Compare(x.off, y.off), cmp.Compare(y.p.onHand, x.p.onHand), cmp.Compare(x.p.Code, y.p.Code))
	})
	return best.p.ID
}

// readRests asks the life room what the rest of each open job will eat. A job without lives on
// record keeps the number it was planned with.
func (b *buyBook) readRests(ctx context.Context, s *Store) error {
	for _, j := range b.jobOrder {
		if j.closed {
			continue
		}
		need, err := s.JobEdges(ctx, j.ID, 0.5)
		if err != nil {
			return err
		}
		var rest *restOf
		if n := need.Need; n != nil && n.Demand != nil && b.parts[need.Part.ID] != nil {
			rest = &restOf{need.Part.ID, max(0, int(math.Ceil(n.Demand.ExpectedEdges-1e-9))-need.Held), n.Demand.SDEdges}
		}
		if (rest == nil) != (j.rest == nil) || rest != nil && *rest != *j.rest {
			b.dirty[j.planFor], b.replan = true, true
			j.rest = rest
		}
	}
	return nil
}

// A lack is a piece that a planned job can not be built without, and that nobody owns.
type lack struct {
	job  string
	need reorder.Day
}

// A Freed purchase makes planned jobs buildable: what to buy, and which jobs it frees alone.
type Freed struct {
	Part       string // code; empty: recorded by nobody, Says has every size
	PartID     PartID
	Says       string
	PriceCents int64 // 0: not known
	Currency   string
	LeadDays   int
	Jobs       []string
	Owned      bool // the shop has one, which is not free in time
}

// readLacks asks the stack room what the planned jobs can not be built without. Where that
// takes long it is asked at most once a minute; the answer in between is up to a minute old.
func (b *buyBook) readLacks(ctx context.Context, s *Store, state string) error {
	began := s.Now()
	if b.lacksFor == state || b.lacksFor != "" && b.lacksIn.Milliseconds() > 100 && began.Sub(b.lacksAt).Seconds() < 60 {
		return nil
	}
	if err := b.readRests(ctx, s); err != nil {
		return err
	}
	ready, err := s.Readiness(ctx)
	if err != nil {
		return err
	}
	codes := make(map[string]PartID, len(b.parts))
	for id, p := range b.parts {
		codes[p.Code] = id
	}
	lacks := map[PartID][]lack{}
	frees := map[string]*Freed{}
	for i := range ready {
		r := &ready[i]
		if r.Err != nil || r.Verdict.Buildable {
			continue
		}
		need, err := reorder.ParseDay(string(r.Job.FromDay))
		if err != nil {
			continue
		}
		for n, o := range r.Verdict.Options {
			if n == 0 {
				for _, m := range o.Parts {
					if len(m.Owned) == 0 && len(m.Catalogue) > 0 {
						id := codes[m.Catalogue[0].Part.Code]
						lacks[id] = append(lacks[id], lack{r.Job.Code, need})
					}
				}
			}
			if len(o.Parts) != 1 {
				continue
			}
			f := Freed{Says: o.Text}
			switch m := o.Parts[0]; {
			case len(m.Catalogue) > 0:
				f.Part = m.Catalogue[0].Part.Code
			case len(m.Owned) > 0 && m.Owned[0].Item != nil && m.Owned[0].Item.Part != nil:
				f.Part, f.Owned = m.Owned[0].Item.Part.Code, true
			}
			key := f.Part
			if key == "" {
				key = f.Says
			}
			if frees[key] == nil {
				if f.PartID = codes[f.Part]; f.PartID != 0 {
					p := b.parts[f.PartID]
					f.LeadDays, f.Currency = p.lead.Plan, p.Currency
					if p.PriceCents != nil {
						f.PriceCents = *p.PriceCents
					}
				}
				frees[key] = &f
			}
			if g := frees[key]; !slices.Contains(g.Jobs, r.Job.Code) {
				g.Jobs = append(g.Jobs, r.Job.Code)
			}
		}
	}
	for id := range b.lacks {
		if !slices.Equal(b.lacks[id], lacks[id]) {
			b.dirty[id] = true
		}
	}
	for id := range lacks {
		if !slices.Equal(b.lacks[id], lacks[id]) {
			b.dirty[id] = true
		}
	}
	b.lacks, b.frees = lacks, nil
	helped := map[string]bool{} // jobs that a recorded part would free
	for _, f := range frees {
		for _, j := range f.Jobs {
			helped[j] = helped[j] || f.Part != ""
		}
	}
	for _, f := range frees {
		if f.Part != "" || slices.ContainsFunc(f.Jobs, func(j string) bool { return !helped[j] }) {
			b.frees = append(b.frees, *f)
		}
	}
	slices.SortFunc(b.frees, func(x, y Freed) int {
		known := func(f Freed) int64 {
			if f.PriceCents == 0 {
				return math.MaxInt64
			}
			return f.PriceCents
		}
		return cmp.Or(cmp.Compare(len(y.Jobs), len(x.Jobs)), cmp.Compare(known(x), known(y)), cmp.Compare(x.Part, y.Part), cmp.Compare(x.Says, y.Says))
	})
	b.lacksFor, b.lacksAt, b.lacksIn = state, began, s.Now().Sub(began)
	return nil
}
