package stack

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"strings"
)

// A Plan is what the purchase question is about.
type Plan struct {
	Today Date
	Jobs  []Request
	// Budget is how many choices the exact search may look at before it answers with the best
	// so far and the gap; 0 means 200,000.
	Budget int
}

// Purchases is the cheapest set of recorded parts that makes every planned job buildable in
// its time, as far as the catalogue can.
type Purchases struct {
	Lines []PurchaseLine // by part code
	// Cents is what the lines cost, in Currency; Bound is proven: no set costs less. Gap is the
	// difference, 0 when the answer is proven best. Cut tells that some job had more ways to be
	// built than were looked at, which is why a gap may be left.
	Cents, Bound, Gap int
	Currency          string
	Cut               bool
	Looked            int
	// Unsolved are the jobs no purchase from the catalogue makes buildable in time, with what
	// would: the request is blocked by the station, a part is not recorded, has no price or
	// lead time, or comes too late.
	Unsolved []Unsolved
	// Singles tell for each part what buying one of it would free by itself, best first.
	Singles []Single
}

// A PurchaseLine is a part to buy.
type PurchaseLine struct {
	Part  *Part
	Qty   int
	Cents int      // of all pieces
	Jobs  []string // that use it
	By    Date     // day it must be there
}

// An Unsolved job cannot be helped from the catalogue in time.
type Unsolved struct {
	Job  string
	Why  string
	Best *Option // the easiest way there is, nil when the station itself is in the way
}

// A Single is one purchase of one part.
type Single struct {
	Part  *Part
	Cents int
	Jobs  []string // that it frees by itself; at most one at a time uses a piece on one day
}

// ways bounds the alternatives of one job.
const maxWays = 40

// A way is one alternative of a job: the part codes it uses, with pieces.
type way struct {
	uses []use
	cost int
}

type use struct {
	r   *rec
	qty int
}

// codes names a found stack by its part codes.
func (x *found) codes() string {
	list := make([]string, 0, 8)
	for _, c := range x.pieces() {
		list = append(list, c.rec.part.Code)
	}
	sort.Strings(list)
	return strings.Join(list, "|")
}

// Purchases answers a plan by branch and bound: each job chooses one of its ways to be built,
// a piece serves several jobs on different days but not two on overlapping days, inserts are
// used up, and of the parts that are short the missing ones are bought. Jobs that share no
// scarce part are solved apart. Ways are counted by part, not by piece. Branch and bound is
// used because the choices per job are few, and because a good bound is at hand: what an open
// job still has to pay for parts not bought yet, each price split among all jobs that could
// share the part. An integer program would give the same answer and need a solver.
func (s *Shelf) Purchases(p Plan) Purchases {
	s.mu.RLock()
	defer s.mu.RUnlock()
	out := Purchases{Currency: s.currency()}
	if p.Budget <= 0 {
		p.Budget = 200_000
	}
	b := &buyer{s: s, plan: p, budget: p.Budget, scarce: map[*rec]bool{}, users: map[*rec]int{}, none: map[int]map[*rec]bool{}}
	open := []int{}
	b.ways = make([][]way, len(p.Jobs))
	alone := make([]int, len(p.Jobs)) // what each job costs by itself
	for i := range p.Jobs {
		r := &p.Jobs[i]
		if err := r.Validate(); err != nil {
			out.Unsolved = append(out.Unsolved, Unsolved{Job: r.Job, Why: err.Error()})
			continue
		}
		q := newSearch(s, r, modeBuy, maxWays)
		q.bids = &bids{m: &market{}, bid: func(c *rec) *cand {
			if it := c.nth(r, 0); it != nil {
				return &cand{rec: c, item: it}
			}
			if day, ok := b.arrives(c); ok && day <= r.NeedDate {
				return &cand{rec: c, tier: tierBook, cost: int(c.part.PriceCents.V)}
			}
			return nil
		}}
		all := q.run()
		if len(all) == 0 {
			out.Unsolved = append(out.Unsolved, s.unsolved(r))
			continue
		}
		out.Cut = out.Cut || len(all) == maxWays
		for j := range all {
			b.ways[i] = append(b.ways[i], wayOf(r, &all[j]))
		}
		alone[i] = all[0].cost
		open = append(open, i)
	}
	out.Singles = b.singles(open)
	total := map[*rec]*PurchaseLine{}
	groups := b.groups(open)
	b.thin(open)
	for _, group := range groups {
		choice, cost, bound := b.solve(group)
		if choice == nil { // the pieces cannot be shared out: tell which jobs
			for _, i := range group {
				out.Unsolved = append(out.Unsolved, Unsolved{Job: p.Jobs[i].Job,
					Why: "a part it shares with other jobs is short, and no more can be had in time"})
			}
			continue
		}
		out.Cents, out.Bound = out.Cents+cost, out.Bound+bound
		b.lines(group, choice, total)
	}
	for _, l := range total {
		out.Lines = append(out.Lines, *l)
	}
	slices.SortFunc(out.Lines, func(a, b PurchaseLine) int { return cmp.Compare(a.Part.Code, b.Part.Code) })
	if out.Cut {
		// More ways exist than were looked at: proven is only what the dearest job costs alone.
		low := 0
		for _, i := range open {
			low = max(low, alone[i])
		}
		out.Bound = min(out.Bound, low)
	}
	out.Gap, out.Looked = out.Cents-out.Bound, b.looked
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

func (s *Shelf) unsolved(r *Request) Unsolved {
	u := Unsolved{Job: r.Job, Why: "no recorded part that would do has a price and comes in time"}
	q := newSearch(s, r, modeMissing, searchWide)
	if all := q.options(q.run(), 1); len(all) > 0 {
		u.Best = &all[0]
	} else {
		u.Why = "the station itself is in the way: no part makes it buildable"
	}
	return u
}

// wayOf counts what a stack uses, by part.
func wayOf(r *Request, x *found) way {
	w := way{cost: x.cost}
	for _, c := range x.pieces() {
		n := 1
		if c.rec.kind == Insert {
			n = insertsFor(r, c.rec.part)
		}
		if i := slices.IndexFunc(w.uses, func(u use) bool { return u.r == c.rec }); i >= 0 {
			w.uses[i].qty += n
			continue
		}
		w.uses = append(w.uses, use{c.rec, n})
	}
	return w
}

// A buyer solves one plan.
type buyer struct {
	s      *Shelf
	plan   Plan
	ways   [][]way
	budget int
	looked int

	scarce map[*rec]bool         // short when every job that could wants it at once
	users  map[*rec]int          // jobs that could use it
	none   map[int]map[*rec]bool // by job: parts of which nothing is free on its days
}

const impossible = math.MaxInt / 4

// cost returns the cents for what the chosen ways are short of, and which parts those are;
// impossible when they cannot be had in time. choice[k] is the way of group[k], -1 for none.
func (b *buyer) cost(group, choice []int) (total int, bought map[*rec]bool) {
	by := map[*rec][]int{} // jobs that use a part
	for k, c := range choice {
		if c < 0 {
			continue
		}
		for _, u := range b.ways[group[k]][c].uses {
			if b.scarce[u.r] {
				by[u.r] = append(by[u.r], k)
			}
		}
	}
	bought = map[*rec]bool{}
	for r, ks := range by {
		n := b.short(r, group, choice, ks)
		if n >= impossible {
			return impossible, nil
		}
		if n > 0 {
			bought[r] = true
			total += n * int(r.part.PriceCents.V)
		}
	}
	return total, bought
}

// share is the least a job still has to pay when the parts in bought are there: the price of
// each part it must buy, split among all jobs that could use the part. The sum over open jobs
// never exceeds what they will really add.
func (b *buyer) share(i int, bought map[*rec]bool) float64 {
	best := math.Inf(1)
	for _, w := range b.ways[i] {
		sum := 0.0
		for _, u := range w.uses {
			if b.none[i][u.r] && !bought[u.r] {
				sum += u.r.part.PriceCents.V / float64(b.users[u.r])
			}
		}
		best = min(best, sum)
	}
	return best
}

func (b *buyer) qty(r *rec, job, c int) int {
	for _, u := range b.ways[job][c].uses {
		if u.r == r {
			return u.qty
		}
	}
	return 0
}

// arrives returns the day a part ordered today is there; ok is false when it cannot be bought.
func (b *buyer) arrives(r *rec) (Date, bool) {
	p := r.part
	if !r.inBook || !p.PriceCents.Known || !p.LeadDays.Known || p.Currency != b.s.currency() {
		return "", false
	}
	return b.plan.Today.AddDays(int(math.Ceil(p.LeadDays.V))), true
}

// short returns how many pieces of a part must be bought so that the jobs ks can all use it.
func (b *buyer) short(r *rec, group, choice, ks []int) int {
	day, can := b.arrives(r)
	type want struct {
		req *Request
		qty int
	}
	var wants []want
	for _, k := range ks {
		wants = append(wants, want{&b.plan.Jobs[group[k]], b.qty(r, group[k], choice[k])})
	}
	slices.SortStableFunc(wants, func(x, y want) int { return cmp.Compare(x.req.NeedDate, y.req.NeedDate) })
	if r.kind == Insert {
		// Used up: what is free covers the earliest jobs first, the rest is bought.
		free, bought := 0, 0
		for _, it := range slices.Concat(r.idle, r.busy) {
			free += it.free(wants[0].req)
		}
		for _, w := range wants {
			take := min(free, w.qty)
			free -= take
			if rest := w.qty - take; rest > 0 {
				if !can || day > w.req.NeedDate {
					return impossible
				}
				bought += rest
			}
		}
		return bought
	}
	// Reusable: give every want pieces that are free on its days; the fewest bought pieces that
	// make it go. Owned ones are tried first, so the first number that fits is the least.
	var owned []*Item
	for _, it := range slices.Concat(r.idle, r.busy) {
		n := 0
		for _, w := range wants {
			n = max(n, it.free(w.req))
		}
		for range min(n, len(wants)*4) {
			owned = append(owned, it)
		}
		if len(owned) > 64 {
			break // more than any plan of these jobs can use at once
		}
	}
	var slots []*Request // one per piece wanted
	for _, w := range wants {
		for range w.qty {
			slots = append(slots, w.req)
		}
	}
	overlap := func(a, b *Request) bool { return a.NeedDate <= b.last() && b.NeedDate <= a.last() }
	for bought := 0; bought <= len(slots); bought++ {
		if bought > 0 && !can {
			return impossible
		}
		used := make([][]*Request, len(owned)+bought)
		steps := 20_000
		var place func(i int) bool
		place = func(i int) bool {
			if i == len(slots) {
				return true
			}
			if steps--; steps < 0 {
				return false
			}
			fresh := false
			for p := range used {
				if p < len(owned) {
					if owned[p].free(slots[i]) == 0 {
						continue
					}
				} else {
					if day > slots[i].NeedDate {
						return false
					}
					if len(used[p]) == 0 {
						if fresh {
							continue // bought pieces are alike
						}
						fresh = true
					}
				}
				if slices.ContainsFunc(used[p], func(o *Request) bool { return overlap(o, slots[i]) }) {
					continue
				}
				used[p] = append(used[p], slots[i])
				if place(i + 1) {
					return true
				}
				used[p] = used[p][:len(used[p])-1]
			}
			return false
		}
		if place(0) {
			return bought
		}
	}
	return impossible
}

// groups splits the jobs into sets that share no scarce part: jobs of different sets cannot
// get into each other's way.
func (b *buyer) groups(open []int) [][]int {
	parent := map[int]int{}
	var root func(int) int
	root = func(i int) int {
		if parent[i] != i {
			parent[i] = root(parent[i])
		}
		return parent[i]
	}
	users := map[*rec][]int{}
	for _, i := range open {
		parent[i] = i
		seen := map[*rec]bool{}
		for _, w := range b.ways[i] {
			for _, u := range w.uses {
				if !seen[u.r] {
					seen[u.r] = true
					users[u.r] = append(users[u.r], i)
				}
			}
		}
	}
	for r, jobs := range users {
		// Plenty for all at once: nobody is in anybody's way.
		need, have := 0, math.MaxInt
		for _, i := range jobs {
			most := 0
			for c := range b.ways[i] {
				most = max(most, b.qty(r, i, c))
			}
			need += most
			n := 0
			for _, it := range slices.Concat(r.idle, r.busy) {
				n += it.free(&b.plan.Jobs[i])
			}
			have = min(have, n)
		}
		b.users[r] = len(jobs)
		for _, i := range jobs {
			if r.nth(&b.plan.Jobs[i], 0) == nil {
				if b.none[i] == nil {
					b.none[i] = map[*rec]bool{}
				}
				b.none[i][r] = true
			}
		}
		if need <= have {
			continue
		}
		b.scarce[r] = true
		for _, j := range jobs[1:] {
			parent[root(j)] = root(jobs[0])
		}
	}
	sets := map[int][]int{}
	for _, i := range open {
		sets[root(i)] = append(sets[root(i)], i)
	}
	var out [][]int
	for _, i := range open { // in the order of the jobs
		if root(i) == i {
			out = append(out, sets[i])
		}
	}
	slices.SortFunc(out, func(x, y []int) int { return cmp.Compare(x[0], y[0]) })
	return out
}

// thin drops the parts of which there is plenty from the ways, and the ways that then ask for
// all that another asks for.
func (b *buyer) thin(open []int) {
	for _, i := range open {
		var kept []way
		for _, w := range b.ways[i] {
			w.uses = slices.DeleteFunc(slices.Clone(w.uses), func(u use) bool { return !b.scarce[u.r] })
			asks := func(x, y way) bool { // x asks for all that y asks for
				for _, u := range y.uses {
					if !slices.ContainsFunc(x.uses, func(v use) bool { return v.r == u.r && v.qty >= u.qty }) {
						return false
					}
				}
				return true
			}
			if slices.ContainsFunc(kept, func(k way) bool { return asks(w, k) }) {
				continue
			}
			kept = append(slices.DeleteFunc(kept, func(k way) bool { return asks(k, w) }), w)
		}
		b.ways[i] = kept
	}
}

// solve finds the cheapest choice of ways for a group, its cost, and a proven lower bound.
func (b *buyer) solve(group []int) (best []int, cost, bound int) {
	// Jobs with few ways first: their choice decides most.
	group = slices.Clone(group)
	order := make([]int, len(group))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(len(b.ways[group[x]]), len(b.ways[group[y]])) })
	choice := make([]int, len(group))
	for i := range choice {
		choice[i] = -1
	}
	cost = impossible
	floor := func(at int, bought map[*rec]bool) int {
		sum := 0.0
		for _, k := range order[at:] {
			sum += b.share(group[k], bought)
		}
		return int(math.Ceil(sum - 1e-6))
	}
	low := floor(0, nil)
	left, done := b.budget, true
	var dive func(at, sofar int, bought map[*rec]bool)
	dive = func(at, sofar int, bought map[*rec]bool) {
		if at == len(order) {
			if sofar < cost {
				cost, best = sofar, slices.Clone(choice)
			}
			return
		}
		k := order[at]
		type step struct {
			c, cost, floor int
			bought         map[*rec]bool
		}
		var steps []step
		for c := range b.ways[group[k]] {
			// The first dive is finished whatever it takes, so that there is an answer.
			if left--; left < 0 && best != nil {
				done = false
				return
			}
			b.looked++
			choice[k] = c
			n, got := b.cost(group, choice)
			if n < impossible {
				steps = append(steps, step{c, n, n + floor(at+1, got), got})
			}
		}
		choice[k] = -1
		slices.SortStableFunc(steps, func(x, y step) int {
			return cmp.Or(cmp.Compare(x.floor, y.floor), cmp.Compare(x.cost, y.cost))
		})
		for _, s := range steps {
			if s.floor >= cost {
				break
			}
			choice[k] = s.c
			dive(at+1, s.cost, s.bought)
			choice[k] = -1
			if cost <= low || !done {
				return
			}
		}
	}
	dive(0, 0, nil)
	if best == nil {
		return nil, impossible, 0
	}
	bound = cost
	if !done {
		bound = min(low, cost)
	}
	return best, cost, bound
}

// lines adds what a choice buys to the order.
func (b *buyer) lines(group, choice []int, total map[*rec]*PurchaseLine) {
	by := map[*rec][]int{}
	for k, c := range choice {
		for _, u := range b.ways[group[k]][c].uses {
			by[u.r] = append(by[u.r], k)
		}
	}
	for r, ks := range by {
		n := b.short(r, group, choice, ks)
		if n <= 0 || n >= impossible {
			continue
		}
		l := total[r]
		if l == nil {
			l = &PurchaseLine{Part: r.part}
			total[r] = l
		}
		l.Qty += n
		l.Cents += n * int(r.part.PriceCents.V)
		for _, k := range ks {
			job := &b.plan.Jobs[group[k]]
			l.Jobs = append(l.Jobs, job.Job)
			if l.By == "" || job.NeedDate < l.By {
				l.By = job.NeedDate
			}
		}
		slices.Sort(l.Jobs)
	}
}

// singles counts for each part how many jobs a purchase of one frees that cannot be built now.
func (b *buyer) singles(open []int) []Single {
	frees := map[*rec][]int{}
	for _, i := range open {
		if b.ways[i][0].cost == 0 {
			continue // buildable as it is
		}
		seen := map[*rec]bool{}
		for _, w := range b.ways[i] {
			var bought []use
			for _, u := range w.uses {
				if u.r.nth(&b.plan.Jobs[i], 0) == nil {
					bought = append(bought, u)
				}
			}
			if len(bought) == 1 && !seen[bought[0].r] && (bought[0].qty == 1 || bought[0].r.kind == Insert) {
				seen[bought[0].r] = true
				frees[bought[0].r] = append(frees[bought[0].r], i)
			}
		}
	}
	var out []Single
	for r, jobs := range frees {
		// One piece, one job at a time: the most jobs that do not overlap, by earliest end.
		slices.SortStableFunc(jobs, func(x, y int) int {
			return cmp.Compare(b.plan.Jobs[x].last(), b.plan.Jobs[y].last())
		})
		s := Single{Part: r.part, Cents: int(r.part.PriceCents.V)}
		last := Date("")
		for _, i := range jobs {
			j := &b.plan.Jobs[i]
			if r.kind == Insert || j.NeedDate > last {
				s.Jobs = append(s.Jobs, j.Job)
				last = j.last()
			}
		}
		out = append(out, s)
	}
	slices.SortFunc(out, func(x, y Single) int {
		return cmp.Or(cmp.Compare(len(y.Jobs), len(x.Jobs)), cmp.Compare(x.Cents, y.Cents), cmp.Compare(x.Part.Code, y.Part.Code))
	})
	return out
}
