package stack

import (
	"cmp"
	"math"
	"slices"
)

// A Plan is what the purchase question is about.
type Plan struct {
	Today Date
	Jobs  []Request
	// Budget is how many ways may be weighed before the search answers with the best so far and
	// the gap; 0 means 60 million, which takes some seconds.
	Budget int

	ways, most int  // for tests: ways listed of a job at first, and at most
	blind      bool // for tests: no good guess to begin with
}

// Purchases is the cheapest set of recorded parts that makes every planned job buildable in its
// time, as far as the catalogue can.
type Purchases struct {
	Lines []PurchaseLine // by part code
	// Cents is what the lines cost, in Currency; Bound is proven: no set of purchases costs less.
	// Gap is the difference, 0 when the answer is proven best.
	Cents, Bound, Gap int
	Currency          string
	Looked            int // ways weighed
	// Unsolved are the jobs no purchase from the catalogue makes buildable in time, were they the
	// only ones.
	Unsolved []Unsolved
	// Left are the jobs that could be built alone but not beside the others: what they share is
	// short and no more of it can be had in time. As few as can be are left out; of equally few,
	// the earliest job that only one set leaves out decides, and is kept. LeftAtLeast is proven:
	// no plan leaves out fewer.
	Left        []Left
	LeftAtLeast int
	// FewEdges are the jobs that can have a stack but not all the edges they will use up: they are
	// counted with the edges there are.
	FewEdges []string
	// Singles tell for each part what buying one of it would free by itself, best first.
	Singles []Single
}

// A PurchaseLine is a part to buy.
type PurchaseLine struct {
	Part  *Part
	Qty   int
	Cents int      // of all pieces
	Jobs  []string // that use it
	By    Date     // day the first piece must be there
}

// An Unsolved job cannot be helped from the catalogue in time.
type Unsolved struct {
	Job   string
	Why   string
	Parts []*Part // recorded parts that would do but for what Why says
	Best  *Option // the easiest way there is, nil when the station itself is in the way
}

// A Left job is left out of the plan.
type Left struct {
	Job   string
	Why   string
	Parts []*Part // in the way: short, and no more to be had in time
	With  []string
}

// A Single is one purchase of one part: one piece, or of an insert as many as the jobs lack.
type Single struct {
	Part  *Part
	Qty   int
	Cents int
	Jobs  []string // that it frees by itself; at most one at a time uses a piece on one day
}

// How many ways of a job are listed at first, and at most.
const (
	firstWays = 300
	mostWays  = 1500
)

// Purchases answers a plan: which parts to buy at least cost so that every job can be built in
// its time. A piece serves several jobs on different days but not two whose days meet, inserts
// are used up, and what is ordered today serves no job that begins before it comes.
//
// The method is Lagrangian relaxation inside branch and bound. The search for stacks lists for
// each job its ways that differ in what they ask for; parts of which there is plenty, and parts
// that others serve for as well and as cheaply, are left out before. Every scarce part then asks
// a toll of its users, by day; tolls that add up to no more than the price give a proven bound
// (see contest.relax), and the tolls show which ways can be in a better plan at all. What is left
// is branched on by how many pieces of a part are bought, then by who uses what. A list that had
// to be cut is no loss of proof: the search itself finds the cheapest way under the tolls over
// all ways there are, which corrects the bound, and then lists every way that could still be in
// a better plan.
//
// It was taken because the choice is one of covering (a dear part shared by many jobs, or several
// cheap ones), where this relaxation is known to leave a small gap or none, and because it needs
// no more than sums and the search we have. An integer program of the same ways would have the
// same bound and need a solver.
func (s *Shelf) Purchases(p Plan) Purchases {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if p.Budget <= 0 {
		p.Budget = 60_000_000
	}
	if p.ways <= 0 {
		p.ways, p.most = firstWays, mostWays
	}
	b := &buyer{plan: p, s: s, jobs: slices.Clone(p.Jobs), few: make([]bool, len(p.Jobs)), dropped: make([]bool, len(p.Jobs)),
		lists: make([][]way, len(p.Jobs)), whole: make([]bool, len(p.Jobs)), early: make([]bool, len(p.Jobs))}
	out := Purchases{Currency: s.currency()}
	b.m = newMarket(s, p.Today, out.Currency, b.jobs)
	for i := range b.jobs {
		r := &b.jobs[i]
		if err := r.Validate(); err != nil {
			out.Unsolved = append(out.Unsolved, Unsolved{Job: r.Job, Why: err.Error()})
			continue
		}
		b.list(i)
		if edges := r.EdgesNeeded; len(b.lists[i]) == 0 && edges > 0 {
			r.EdgesNeeded = 0
			if b.list(i); len(b.lists[i]) > 0 {
				b.few[i] = true
			} else {
				r.EdgesNeeded = edges
			}
		}
		if len(b.lists[i]) == 0 {
			out.Unsolved = append(out.Unsolved, b.unsolved(i))
			continue
		}
		b.open = append(b.open, i)
	}
	out.Singles = b.singles()
	b.solve()
	out.LeftAtLeast = b.leastLeft
	out.Cents, out.Bound = b.cost, b.bound
	out.Gap, out.Looked = out.Cents-out.Bound, b.looked
	out.Lines, out.Left = b.lines(), b.left()
	for i, few := range b.few {
		if few && !b.dropped[i] {
			out.FewEdges = append(out.FewEdges, b.jobs[i].Job)
		}
	}
	return out
}

// currency returns the currency most catalogue prices are in; only those are added up.
func (s *Shelf) currency() string {
	n := map[string]int{}
	for _, r := range s.recs {
		if r.part.PriceCents.Known {
			n[r.part.Currency]++
		}
	}
	best := ""
	for _, c := range sortedKeys(n) {
		if n[c] > n[best] {
			best = c
		}
	}
	return best
}

// A buyer solves one plan.
type buyer struct {
	s    *Shelf
	plan Plan
	m    *market
	jobs []Request // of the plan; some with fewer edges
	few  []bool    // counted with the edges there are
	open []int     // jobs that can be built alone

	lists [][]way // by job
	whole []bool  // the list holds every way that can be in a better plan
	early []bool  // and every one that differs in what cannot be bought

	looked      int
	choice      []int // by job: its way, -1: none
	seed        []int // the same, of the best choice of an earlier pass; nil: none
	dropped     []bool
	cost, bound int
	leastLeft   int
}

// noLimit is more than any stack costs in any unit.
const noLimit = math.MaxInt / 4

// list lists the ways of a job by what they would cost it alone.
func (b *buyer) list(i int) {
	r := &b.jobs[i]
	alone := func(w *ware, qty, used int) (int, bool) {
		lack := qty + used - w.free(r)
		if lack <= 0 {
			return 0, true
		}
		if w.rec.kind != Insert {
			lack = 1 // a piece in the stack already has paid for itself
		}
		return lack * w.price, w.inTime(r)
	}
	b.lists[i], b.whole[i] = b.m.listed(i, &bids{bid: alone}, noLimit, b.plan.ways)
	b.early[i] = b.whole[i]
	if !b.whole[i] {
		// What cannot be bought decides who can be built at all: every way that differs in it.
		more, all := b.m.listed(i, &bids{bid: func(w *ware, qty, used int) (int, bool) {
			_, ok := alone(w, qty, used)
			return 0, ok
		}, open: func(w *ware) bool { return w.inTime(r) }}, noLimit, b.plan.most)
		b.early[i] = all
		b.add(i, more)
	}
	b.lists[i] = slices.DeleteFunc(b.lists[i], func(w way) bool { return !b.can(i, w) })
}

// can reports whether a job alone can have a way.
func (b *buyer) can(i int, w way) bool {
	return !slices.ContainsFunc(w.uses, func(u use) bool {
		_, n := b.m.short(u.w, []taker{{i, u.qty}})
		return n >= impossible
	})
}

// add takes ways into a job's list that ask for something no other one does without, and tells
// whether any was new.
func (b *buyer) add(i int, ways []way) (added bool) {
	for _, w := range ways {
		if b.can(i, w) && !slices.ContainsFunc(b.lists[i], func(k way) bool { return k.all&^w.all == 0 && within(k.uses, w.uses) }) {
			b.lists[i] = append(b.lists[i], w)
			added = true
		}
	}
	return added
}

// start returns the lists of all jobs of the plan, each way with its place in the list as cost.
func (b *buyer) start() [][]way {
	out := make([][]way, len(b.jobs))
	for _, i := range b.open {
		if !b.dropped[i] {
			out[i] = slices.Clone(b.lists[i])
			for n := range out[i] {
				out[i][n].cost = n
			}
		}
	}
	return out
}

// thin leaves of lists those of the jobs that get into somebody's way, without the wares that
// are enough for all who could want them and without the ways that then ask for all that another
// asks for. The other jobs have a way that costs nothing; it is chosen.
func (b *buyer) thin(lists [][]way) [][]way {
	out := slices.Clone(lists)
	for first, again := true, true; again; first = false {
		again = false
		users := map[*ware][]taker{}
		for i := range out {
			for _, w := range out[i] {
				for _, u := range w.uses {
					ts := users[u.w]
					if n := len(ts); n > 0 && ts[n-1].job == i {
						ts[n-1].qty = max(ts[n-1].qty, u.qty)
					} else {
						users[u.w] = append(ts, taker{i, u.qty})
					}
				}
			}
		}
		enough := map[*ware]bool{}
		for w, ts := range users {
			if _, n := b.m.short(w, ts); n == 0 {
				enough[w] = true
				again = true
			}
		}
		for i := range out {
			if !again && !first {
				break
			}
			for n := range out[i] {
				w := &out[i][n]
				if slices.ContainsFunc(w.uses, func(u use) bool { return enough[u.w] }) {
					w.uses = slices.DeleteFunc(slices.Clone(w.uses), func(u use) bool { return enough[u.w] })
					w.all = 0
					for _, u := range w.uses {
						w.all |= u.w.bit
					}
				}
			}
			slices.SortStableFunc(out[i], func(x, y way) int { return cmp.Compare(len(x.uses), len(y.uses)) })
			kept := out[i][:0:0]
			for _, w := range out[i] {
				if !slices.ContainsFunc(kept, func(k way) bool { return k.all&^w.all == 0 && within(k.uses, w.uses) }) {
					kept = append(kept, w)
				}
			}
			out[i] = kept
			if len(kept) > 0 && len(kept[0].uses) == 0 {
				b.choice[i] = kept[0].cost
				out[i] = nil
			}
		}
	}
	return out
}

// groups splits the jobs that are left into sets that share no ware.
func (b *buyer) groups(lists [][]way) [][]int {
	parent := make([]int, len(lists))
	var root func(int) int
	root = func(i int) int {
		if parent[i] != i {
			parent[i] = root(parent[i])
		}
		return parent[i]
	}
	first := map[*ware]int{}
	whole := true
	var open []int
	for i := range lists {
		parent[i] = i
		if len(lists[i]) == 0 {
			continue
		}
		open = append(open, i)
		whole = whole && b.whole[i]
		for _, w := range lists[i] {
			for _, u := range w.uses {
				if j, ok := first[u.w]; ok {
					parent[root(i)] = root(j)
				} else {
					first[u.w] = i
				}
			}
		}
	}
	if !whole { // ways not listed may use any ware
		return [][]int{open}
	}
	sets := map[int][]int{}
	var order []int
	for _, i := range open {
		r := root(i)
		if sets[r] == nil {
			order = append(order, r)
		}
		sets[r] = append(sets[r], i)
	}
	var out [][]int
	for _, r := range order {
		out = append(out, sets[r])
	}
	// Small ones first: they cost little of the budget.
	slices.SortStableFunc(out, func(x, y []int) int { return cmp.Compare(len(x), len(y)) })
	return out
}
