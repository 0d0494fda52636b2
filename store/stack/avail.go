package stack

import "fmt"

// free returns how many pieces of an item may be used by the request's job on its days.
func (it *Item) free(r *Request) int {
	if it.Status != In {
		return 0
	}
	q := it.Qty
	for _, list := range [2][]Reservation{it.Reserved, r.holds[it.ID]} {
		for _, v := range list {
			if v.Job != "" && v.Job == r.Job || v.To < r.NeedDate || v.From > r.last() {
				continue
			}
			if v.Qty == 0 {
				return 0
			}
			q -= v.Qty
		}
	}
	return max(q, 0)
}

// promised lists what stands against an item: its reservations and the holds of the plan.
func (it *Item) promised(r *Request) []Reservation {
	if held := r.holds[it.ID]; len(held) > 0 {
		return append(append([]Reservation(nil), it.Reserved...), held...)
	}
	return it.Reserved
}

// mine reports whether an item is reserved for the request's own job.
func (it *Item) mine(r *Request) bool {
	if r.Job == "" {
		return false
	}
	for _, v := range it.Reserved {
		if v.Job == r.Job && v.To >= r.NeedDate && v.From <= r.last() {
			return true
		}
	}
	return false
}

// from returns the first day on or after the need date from which an item that is out,
// reserved or on order can be had for as many days as the request lasts, and whether such a
// day is known.
func (it *Item) from(r *Request) (Date, bool) {
	d := r.NeedDate
	switch it.Status {
	case Out:
		if it.Out == nil || it.Out.Due == "" {
			return "", false
		}
		d = it.Out.Due
	case OnOrder:
		if it.Due == "" {
			return "", false
		}
		d = it.Due
	case In:
	default:
		return "", false
	}
	days := 0
	for t := r.NeedDate; t < r.last() && days < 3660; t = t.AddDays(1) {
		days++
	}
	if it.Qty <= 0 {
		return "", false
	}
	promised := it.promised(r)
	for range len(promised) + 1 {
		// An item due back before the day it is needed has to be free on that day, not earlier.
		start := max(d, r.NeedDate)
		end, left, first := start.AddDays(days), it.Qty, Forever
		for _, v := range promised {
			if v.Job != "" && v.Job == r.Job || v.To < start || v.From > end {
				continue
			}
			first = min(first, v.To)
			if v.Qty == 0 {
				left = 0
			}
			left -= v.Qty
		}
		if left > 0 {
			return d, true
		}
		if first >= Forever {
			break // used up: it does not come back
		}
		d = first.AddDays(1)
	}
	return "", false
}

// standing returns the code that says why an item is not free.
func (it *Item) standing(r *Request) Code {
	switch it.Status {
	case Out:
		return codeOut
	case Quarantine:
		return codeHeld
	case OnOrder:
		return codeOnOrder
	case In:
		if it.Qty <= 0 {
			return codeNoStock
		}
		return codeReserved
	}
	return codeLost
}

// blocker returns the reservation of another job that stands in the way, nil when none does.
func (it *Item) blocker(r *Request) *Reservation {
	for _, v := range it.promised(r) {
		if (v.Job == "" || v.Job != r.Job) && v.To >= r.NeedDate && v.From <= r.last() {
			return &v
		}
	}
	return nil
}

// called names an item as a person says it: the part, and the tag of the piece when that is
// another text.
func (it *Item) called() string {
	if it.Part == nil || it.Part.Code == "" || it.Part.Code == it.ID {
		return it.ID
	}
	return it.Part.Code + " " + it.ID
}

// borrow describes an item that would do but is not free.
func (it *Item) borrow(r *Request) Borrow {
	b := Borrow{Item: it, Code: it.standing(r), Why: it.Why}
	b.From, _ = it.from(r)
	when := "; when it can be had is not known"
	if b.From != "" {
		when = fmt.Sprintf("; can be had on %s", b.From)
	}
	switch b.Code {
	case codeOut:
		who := "somebody; who is not recorded"
		if it.Out != nil {
			b.HeldBy, b.Job = it.Out.To, it.Out.Job
			if b.HeldBy != "" {
				who = b.HeldBy
			}
			if b.Job != "" {
				who += " for job " + b.Job
			}
			if it.Out.Due != "" {
				who += ", due back on " + string(it.Out.Due)
			}
		}
		b.Text = fmt.Sprintf("%s is out with %s", it.called(), who)
		if it.Out == nil || b.From != it.Out.Due {
			b.Text += when
		}
	case codeReserved:
		b.Text = fmt.Sprintf("%s is on the shelf but promised", it.called())
		if v := it.blocker(r); v != nil {
			b.Job = v.Job
			if v.Job != "" {
				b.Text += " to job " + v.Job
			}
			switch {
			case v.To >= Forever:
				b.Text += fmt.Sprintf(", to be used up from %s on", v.From)
			case v.From == v.To:
				b.Text += fmt.Sprintf(" on %s", v.From)
			default:
				b.Text += fmt.Sprintf(" from %s to %s", v.From, v.To)
			}
		}
		b.Text += when
	case codeHeld:
		b.Text = fmt.Sprintf("%s is held back", it.called())
		if it.Why != "" {
			b.Text += ": " + it.Why
		} else {
			b.Text += "; why is not recorded"
		}
	case codeOnOrder:
		b.Text = fmt.Sprintf("%s is on order", it.called())
		if it.Ordered != "" {
			b.Text += " since " + string(it.Ordered)
		}
		if it.Due != "" {
			b.Text += ", expected on " + string(it.Due)
		}
		if it.Due == "" || b.From != it.Due {
			b.Text += when
		}
	case codeNoStock:
		b.Text = fmt.Sprintf("%s is used up", it.called())
	default:
		b.Text = fmt.Sprintf("%s is recorded as lost", it.called())
		if it.Why != "" {
			b.Text += ": " + it.Why
		}
	}
	return b
}

// A tier says how a candidate is to be had.
type tier uint8

const (
	tierFree tier = iota
	tierBusy      // owned, but out, promised, held back, lost or on order
	tierBook      // in the catalogue, none on hand
	tierHole      // recorded by nobody: described by its sizes
)

// A cand is a part as this request can have it.
type cand struct {
	rec  *rec
	item *Item // nil for tierBook and tierHole
	tier tier
	cost int
	bits set // nearest mode: the status that stops it
	// edges on hand of an insert, over all free lots
	edges int
	ware  *ware // modeBuy: of what there is not plenty, nil: plenty
}

// leastBar is what the easiest bar to get costs that nobody has recorded, see kindCost.
const leastBar = 700

// Costs rank the ways to get a part: waiting before buying, known before unknown. They are
// relative figures of ours, used only where no price is recorded.
func kindCost(p *Part) int {
	switch p.Kind {
	case Insert:
		return 100
	case Fitting:
		return 120
	case Hose:
		return 150
	case Sleeve:
		return 200
	case Adapter:
		return 250
	case Head:
		return 300
	case Holder:
		return 600
	case Bar:
		c := map[string]int{"steel": 700, "carbide": 800, "heavy_metal": 820, "damped_steel": 900}[p.Construction]
		if c == 0 {
			c = 1000
		}
		if p.CCWS() == "" {
			c += 600 // its own pocket: a special, and no use for any other head
		}
		return c
	}
	return 500
}

func busyCost(c Code, dated bool) int {
	n := map[Code]int{codeReserved: 2, codeOut: 2, codeOnOrder: 3, codeHeld: 5, codeLost: 6}[c]
	if dated {
		n--
	}
	return n
}

// nth returns the item with the n-th free piece of a part (from 0), nil when there are fewer;
// of inserts the n-th free lot. What is reserved for the job itself comes first.
func (r *rec) nth(q *Request, n int) *Item {
	take := func(it *Item) bool {
		f := it.free(q)
		if r.kind == Insert {
			f = min(f, 1)
		}
		n -= f
		return n < 0
	}
	own := q.Job != "" && r.jobs[q.Job] > 0
	if !own && n == 0 && len(r.idle) > 0 && len(q.holds) == 0 {
		return r.idle[0] // free on any day: no need to look
	}
	if own {
		for _, it := range r.busy {
			if it.mine(q) && take(it) {
				return it
			}
		}
	}
	for _, it := range r.idle {
		if take(it) {
			return it
		}
	}
	for _, it := range r.busy {
		if !(own && it.mine(q)) && take(it) {
			return it
		}
	}
	return nil
}

// candidate returns a part as the request can have it in the search's mode, nil when it
// cannot.
func (q *search) candidate(r *rec) *cand {
	if c, ok := q.mem.known(r); ok {
		return c
	}
	q.looked++
	var c *cand
	if q.near == nil || q.near[r] || q.kinds[r.kind] {
		c = q.newCand(r)
	}
	q.mem.mark(r, c)
	return c
}

func (q *search) newCand(r *rec) *cand {
	if q.mode == modeBuy {
		return q.bids.cand(r, 0)
	}
	if it := r.nth(q.req, 0); it != nil {
		c := q.mem.cand(cand{rec: r, item: it})
		if r.kind == Insert {
			q.pickLot(c)
		}
		return c
	}
	if q.mode == modeStrict {
		return nil
	}
	var best cand
	owned := r.busy
	if q.req.holds != nil {
		owned = append(append([]*Item(nil), r.busy...), r.idle...)
	}
	for _, it := range owned {
		code := it.standing(q.req)
		_, dated := it.from(q.req)
		c := cand{rec: r, item: it, tier: tierBusy, cost: busyCost(code, dated)}
		if q.mode == modeNearest {
			c.cost, c.bits = pointMated, codeBit[code]
		} else if code == codeNoStock {
			c = cand{rec: r, item: nil, tier: tierBook, cost: kindCost(r.part) - 1}
		}
		if best.rec == nil || c.cost < best.cost {
			best = c
		}
	}
	if best.rec == nil && q.mode == modeMissing {
		best = cand{rec: r, tier: tierBook, cost: kindCost(r.part) - 1}
	}
	if best.rec == nil {
		return nil
	}
	return q.mem.cand(best)
}

// pickLot chooses the lot of an insert: the first one that has the edges alone, else the
// largest, and counts the edges of all free lots.
func (q *search) pickLot(c *cand) {
	best, most, enough := c.item, -1, false
	for n := 0; ; n++ {
		it := c.rec.nth(q.req, n)
		if it == nil {
			break
		}
		e := it.free(q.req) * c.rec.part.Edges
		c.edges += e
		if ok := e >= q.req.EdgesNeeded; ok && !enough || !enough && e > most {
			best, most, enough = it, e, ok
		}
	}
	c.item = best
}
