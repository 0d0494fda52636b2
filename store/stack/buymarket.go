package stack

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// A market is what a plan of jobs may use: of each class of parts only those that can be part of
// a cheapest answer, and of parts alike in everything a stack asks one for all.
type market struct {
	s        *Shelf
	today    Date
	currency string
	jobs     []Request
	crowd    []int // by job: how many jobs, itself included, have days in common with it
	classes  map[*class][]*rec
	wares    map[*rec]*ware // by the part that stands for it in the search
	all      []*ware        // in the order they were made
	entire   bool           // every part for itself, whatever else would do
}

// A ware is a part that a plan may use: the pieces on hand of it and of the parts alike, and at
// what price and from which day more of it can be had.
type ware struct {
	rec     *rec // stands for it in the search; the part to buy
	items   []*Item
	idle    int  // pieces free on any day
	plenty  bool // enough for every job of the plan at once, whatever else they use
	buyable bool
	price   int  // cents a piece
	arrives Date // when ordered today
	bit     uint64
	nth     int
}

func newMarket(s *Shelf, today Date, currency string, jobs []Request) *market {
	m := &market{s: s, today: today, currency: currency, jobs: jobs, classes: map[*class][]*rec{}, wares: map[*rec]*ware{}}
	m.crowd = make([]int, len(jobs))
	for i := range jobs {
		for j := range jobs {
			if meet(&jobs[i], &jobs[j]) {
				m.crowd[i]++
			}
		}
	}
	return m
}

// meet reports whether two jobs have a day in common.
func meet(a, b *Request) bool { return a.NeedDate <= b.last() && b.NeedDate <= a.last() }

// terms returns what a piece of a part costs and the day it is there when ordered today. ok is
// false when the catalogue has no such part, or no price or lead time of it, or a price in
// another currency: unknown is neither free of cost nor in time.
func (m *market) terms(r *rec) (cents int, day Date, ok bool) {
	p := r.part
	if !r.inBook || !p.PriceCents.Known || !p.LeadDays.Known || p.Currency != m.currency || m.today == "" {
		return 0, "", false
	}
	return int(math.Ceil(p.PriceCents.V)), m.today.AddDays(int(math.Ceil(p.LeadDays.V))), true
}

// serves reports whether a, of the same class, does in every stack what b does there.
func (m *market) serves(a, b *rec) bool {
	switch {
	case a.kind == Insert:
		return true
	case a.kind == Head && m.s.coupled > 0 && a.lf != b.lf:
		return false
	}
	return atLeast(a, b)
}

// lasts returns the edges of one piece of an insert, at least 1.
func lasts(r *rec) int { return max(r.part.Edges, 1) }

// fits reports whether a part may be in a stack of a job at all, as far as its class tells.
func (m *market) fits(r *rec, q *Request) bool {
	switch r.kind {
	case Insert, Head:
		return r.seat == seatKey(q.Insert.Seat)
	case Holder:
		return r.iface == q.Station.Interface || len(m.s.coded(Adapter, Workpiece, TurretSeat, r.iface)) > 0
	case Bar:
		return r.shank < q.BoreStartD-deadband
	case Hose, Fitting:
		return q.Coolant
	}
	return true
}

// need returns how many free pieces of a part of this class are enough, whoever of the jobs
// takes what: of a piece as many as jobs meet in one job's days, times the places it can fill in
// one stack; of an insert what all jobs together use up.
func (m *market) need(r *rec) int {
	most, sum := 0, 0
	for i := range m.jobs {
		q := &m.jobs[i]
		if !m.fits(r, q) {
			continue
		}
		sum += insertsFor(q, r.part)
		most = max(most, m.crowd[i])
	}
	switch r.kind {
	case Insert:
		return sum
	case Hose, Fitting, Adapter:
		return most * maxLine
	}
	return most
}

// pool returns the insert of which there is most for a pocket, when the inserts for it that are
// free on any day are enough for all jobs together even if each job takes all of its own from
// one part; nil when they are not.
func (m *market) pool(seat string) (most *rec) {
	have, parts, fewest := 0, 0, 0
	for _, c := range m.s.coded(Insert, Machine, Pocket, seat) {
		for _, r := range c.of {
			if r.stock == 0 {
				continue
			}
			have += r.stock
			parts++
			if most == nil || r.stock > most.stock || r.stock == most.stock && r.part.Code < most.part.Code {
				most = r
			}
			if fewest == 0 || lasts(r) < fewest {
				fewest = lasts(r)
			}
		}
	}
	if most == nil {
		return nil
	}
	need, dearest := 0, 0
	for i := range m.jobs {
		if q := &m.jobs[i]; seatKey(q.Insert.Seat) == seat {
			n := max((q.EdgesNeeded+fewest-1)/fewest, 1)
			need, dearest = need+n, max(dearest, n)
		}
	}
	// While fewer than that are left, some part has enough for one more job.
	if have < need+parts*(dearest-1) {
		return nil
	}
	return most
}

// of returns the parts of a class that a cheapest answer may use. A part is left out when one
// of which there is plenty serves as well; when it is not on hand and one that serves as well
// costs no more and comes no later; and when another stands for it because both are alike.
func (m *market) of(c *class) []*rec {
	if list, ok := m.classes[c]; ok {
		return list
	}
	if c.key.kind == Insert && !m.entire {
		if r := m.pool(c.of[0].seat); r != nil { // enough of all inserts together: one stands for all
			var list []*rec
			if r.class == c {
				list = []*rec{r}
				m.wares[r] = &ware{rec: r, plenty: true}
			}
			m.classes[c] = list
			return list
		}
	}
	if m.entire {
		for _, r := range c.of {
			k := &ware{rec: r, nth: len(m.all)}
			k.price, k.arrives, k.buyable = m.terms(r)
			k.bit = 1 << (k.nth % 64)
			k.own(r)
			m.all, m.wares[r] = append(m.all, k), k
		}
		m.classes[c] = c.of
		return c.of
	}
	need := m.need(c.of[0])
	type offer struct {
		*rec
		price  int
		day    Date
		buy    bool
		plenty bool
	}
	all := make([]offer, len(c.of))
	for i, r := range c.of {
		all[i].rec = r
		all[i].price, all[i].day, all[i].buy = m.terms(r)
		have := r.stock
		if r.kind == Insert {
			need = m.need(r) // edges differ
		} else if have < need {
			for _, o := range c.of {
				if o != r && o.stock > 0 && m.serves(o, r) {
					have += o.stock
				}
			}
		}
		all[i].plenty = have > 0 && have >= need
	}
	unit := func(o *offer) float64 { // what decides between two that can be bought
		if o.kind == Insert {
			return float64(o.price) / float64(lasts(o.rec))
		}
		return float64(o.price)
	}
	slices.SortFunc(all, func(a, b offer) int {
		side := func(o *offer) int {
			switch {
			case o.plenty:
				return 0
			case o.buy:
				return 1
			}
			return 2
		}
		return cmp.Or(cmp.Compare(side(&a), side(&b)), cmp.Compare(unit(&a), unit(&b)), cmp.Compare(a.day, b.day), strings.Compare(a.part.Code, b.part.Code))
	})
	var kept []*ware
	for i := range all {
		o := &all[i]
		owned := slices.ContainsFunc(o.busy, func(it *Item) bool { return it.Status == In && it.Qty > 0 }) || len(o.idle) > 0
		drop := false
		for _, k := range kept {
			if !m.serves(k.rec, o.rec) {
				continue
			}
			if k.plenty {
				drop = true
				break
			}
			if o.buy && k.buyable && k.arrives <= o.day && k.price <= o.price && (o.kind != Insert || lasts(k.rec) >= lasts(o.rec)) {
				o.buy = false // nobody would buy this one
			}
			if o.kind != Insert && owned && !o.buy && m.serves(o.rec, k.rec) {
				k.own(o.rec) // alike: its pieces count with the other's
				drop = true
				break
			}
		}
		if drop || !owned && !o.buy && !o.plenty {
			continue
		}
		k := &ware{rec: o.rec, plenty: o.plenty, buyable: o.buy, price: o.price, arrives: o.day, nth: len(m.all)}
		k.bit = 1 << (k.nth % 64)
		k.own(o.rec)
		kept, m.all = append(kept, k), append(m.all, k)
		m.wares[k.rec] = k
	}
	list := make([]*rec, len(kept))
	for i, k := range kept {
		list[i] = k.rec
	}
	slices.SortFunc(list, byCode)
	m.classes[c] = list
	return list
}

// own adds the pieces on hand of a part.
func (w *ware) own(r *rec) {
	w.idle += r.stock
	w.items = append(append(w.items, r.idle...), r.busy...)
	slices.SortStableFunc(w.items, func(a, b *Item) int { return strings.Compare(a.ID, b.ID) })
}

// inTime reports whether more of a ware can be had by the first day of a job.
func (w *ware) inTime(r *Request) bool { return w.buyable && w.arrives <= r.NeedDate }

// free returns how many pieces of a ware on hand a job may use, were it the only one.
func (w *ware) free(r *Request) (n int) {
	for _, it := range w.items {
		if w.rec.kind == Insert {
			n += it.spare(r, nil)
		} else {
			n += it.free(r)
		}
	}
	return n
}

// spare returns the pieces of a lot that a job may use up: what is used up before is gone, so
// what is promised to others from any later day on is not there for it. used are pieces already
// given to jobs of the plan; a job's own promise shrinks by what it got.
func (it *Item) spare(r *Request, used map[string]int) int {
	if it.Status != In {
		return 0
	}
	n := it.Qty
	for _, k := range used {
		n -= k
	}
	for _, v := range it.Reserved {
		if v.Job != "" && v.Job == r.Job || v.To < r.NeedDate {
			continue
		}
		if v.Qty == 0 {
			return 0
		}
		n -= max(v.Qty-used[v.Job], 0)
	}
	return max(n, 0)
}

// kept returns the pieces of a lot that are promised to a job and that it has not got yet.
func (it *Item) kept(r *Request, used map[string]int) (n int) {
	for _, v := range it.Reserved {
		if v.Job == "" || v.Job != r.Job || v.To < r.NeedDate {
			continue
		}
		if v.Qty == 0 {
			return it.Qty
		}
		n += v.Qty
	}
	return max(n-used[r.Job], 0)
}
