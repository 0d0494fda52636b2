package stack

import (
	"cmp"
	"math"
	"slices"
)

// tollUnit is the part of a cent in which the search adds up tolls.
const tollUnit = 1000

// searchWork is what a search counts for against the budget, about as long as weighing so many
// ways.
const searchWork = 250_000

// growths bounds how often lists that were cut are made longer.
const growths = 16

// solve chooses a way for every job, leaving out as few as can be, at least cost. A pass may
// find that lists must grow, that a job has to do with fewer edges or is left out; then the
// groups are formed again.
func (b *buyer) solve() {
	for round := 0; ; round++ {
		b.cost, b.bound = 0, 0
		b.choice = make([]int, len(b.jobs))
		for i := range b.choice {
			b.choice[i] = -1
		}
		lists := b.thin(b.start())
		groups := b.groups(lists)
		again := false
		for n, g := range groups {
			left := (b.plan.Budget - b.looked) / (len(groups) - n)
			if again = b.group(lists, g, b.looked+max(left, 0), round < growths && b.looked < b.plan.Budget/2); again {
				break
			}
		}
		if !again {
			return
		}
	}
}

// group solves the jobs g. It reports true when something has changed that the other groups may
// depend on.
func (b *buyer) group(lists [][]way, g []int, budget int, grow bool) (again bool) {
	if len(g) == 0 {
		return false
	}
	ways := func(i int) []way { return lists[i] }
	var strays []int
	for _, i := range g {
		if !b.whole[i] {
			strays = append(strays, i)
		}
	}
	c := newContest(b.m, g, ways, false, func(int) int { return -1 }, strays, &b.looked, budget)
	n := c.root()
	b.recall(c, lists)
	if c.blind = b.plan.blind; !c.blind {
		c.dive(n.allowed, make([][]float64, len(g)))
	}
	if c.best == nil {
		a := newContest(b.m, g, ways, true, func(int) int { return 1 }, nil, &b.looked, budget)
		least := a.solve()
		if a.cost > 0 {
			b.leave(a, least, ways, budget)
			return true
		}
		seed := make([]int, len(g))
		for k := range g {
			from := a.options[k][a.best[k]].from
			seed[k] = slices.IndexFunc(c.options[k], func(o option) bool { return o.from == from })
		}
		c.offer(seed)
	}
	r := c.relax(n, rootSteps)
	c.round(n, &r)
	cut := len(strays) > 0
	bound := r.low()
	if cut {
		low, more := b.reprice(c, n.toll, &r)
		if bound = int(math.Ceil(low - 1e-3)); bound < c.cost && grow {
			b.remember(c, lists)
			gap := float64(c.cost) - low
			if r.bound-low <= gap/2 && b.close(c, n.toll, gap) {
				return true
			}
			for k, i := range g {
				again = b.add(i, more[k]) || again
			}
			if again {
				return true
			}
		}
	}
	if bound < c.cost {
		if !cut && c.fix(n, &r, true) {
			b.remember(c, lists)
			b.parts(c, n, lists, budget)
			return false
		}
		x := c.branch(n, r, 0)
		if !cut {
			bound = x
		}
	}
	b.cost += c.cost
	b.bound += max(min(bound, c.cost), 0)
	for k, i := range g {
		b.choice[i] = lists[i][c.options[k][c.best[k]].from].cost
	}
	return false
}

// parts solves a contest whose options have become fewer: wares may now be enough for those who
// still could want them, and the jobs may fall into groups.
func (b *buyer) parts(c *contest, n *fork, lists [][]way, budget int) {
	fewer := make([][]way, len(lists))
	for k, i := range c.jobs {
		for _, o := range n.allowed[k] {
			fewer[i] = append(fewer[i], lists[i][c.options[k][o].from])
		}
	}
	fewer = b.thin(fewer)
	groups := b.groups(fewer)
	for m, g := range groups {
		left := (budget - b.looked) / (len(groups) - m)
		b.group(fewer, g, b.looked+max(left, 0), false)
	}
}

// remember keeps the best choice of a contest for the next one of the same jobs.
func (b *buyer) remember(c *contest, lists [][]way) {
	if b.seed == nil {
		b.seed = make([]int, len(b.jobs))
		for i := range b.seed {
			b.seed[i] = -1
		}
	}
	for k, i := range c.jobs {
		b.seed[i] = lists[i][c.options[k][c.best[k]].from].cost
	}
}

// recall offers a contest the choice that is remembered.
func (b *buyer) recall(c *contest, lists [][]way) {
	if b.seed == nil {
		return
	}
	choice := make([]int, len(c.jobs))
	for k, i := range c.jobs {
		n := b.seed[i]
		if n < 0 || n >= len(b.lists[i]) {
			return
		}
		choice[k] = slices.IndexFunc(c.options[k], func(o option) bool { return within(lists[i][o.from].uses, b.lists[i][n].uses) })
		if choice[k] < 0 {
			return
		}
	}
	c.offer(choice)
}

// reprice corrects the bound of a contest for the ways that are not listed: where the search
// finds one that pays less toll than any listed, by that much. The ways found are returned by
// job.
func (b *buyer) reprice(c *contest, toll []float64, r *relaxed) (low float64, more [][]way) {
	low, more = r.bound, make([][]way, len(c.jobs))
	listed := b.listed()
	for k, i := range c.jobs {
		if b.whole[i] {
			continue
		}
		w, ok := b.m.cheapest(i, b.tolled(c, k, toll, listed))
		b.looked += searchWork
		if !ok {
			continue
		}
		least := slices.Min(r.rank[k])
		if cost := float64(w.cost) / tollUnit; cost < least-1e-3 {
			low -= least - cost
			more[k] = []way{w}
		}
	}
	return low, more
}

// close lists, for every job whose list was cut, all ways that a plan could have that is better
// than the best one known: those whose tolls are less than gap cents above the job's cheapest.
// It reports whether a list has become whole or longer.
func (b *buyer) close(c *contest, toll []float64, gap float64) (again bool) {
	listed := b.listed()
	for k, i := range c.jobs {
		if b.whole[i] {
			continue
		}
		w, ok := b.m.cheapest(i, b.tolled(c, k, toll, listed))
		b.looked += searchWork
		if !ok {
			continue
		}
		x := b.tolled(c, k, toll, listed)
		more, all := b.m.listed(i, x, w.cost+int(gap*tollUnit)+1, b.plan.most)
		b.looked += searchWork + x.work/4
		if b.add(i, more) {
			again = true
		}
		if all {
			b.whole[i], again = true, true
		}
	}
	return again
}

// tolled returns bids by the tolls of a contest, for its k-th job. A ware that is in no list yet
// has no crowd: where none is on hand, its price is split among the days on which a job that may
// find it must be one of those there; such a split is within the rule for tolls too.
func (b *buyer) tolled(c *contest, k int, toll []float64, listed map[*ware]bool) *bids {
	i := c.jobs[k]
	r := &b.jobs[i]
	price := map[*ware]float64{}
	for _, t := range c.touch[k] {
		for _, p := range t.crowds {
			price[c.wares[t.w]] += toll[p]
		}
	}
	for p := range c.crowds {
		x := &c.crowds[p]
		if w := c.wares[x.w]; !slices.Contains(x.who, k) && x.holds(w, r) {
			price[w] += toll[p]
		}
	}
	return &bids{bid: func(w *ware, qty, used int) (int, bool) {
		if !w.inTime(r) && w.free(r) < qty+used {
			return 0, false
		}
		t := price[w]
		if !listed[w] && len(w.items) == 0 {
			t = float64(w.price) / float64(b.days(c, w))
		}
		return int(math.Floor(t * float64(qty) * tollUnit)), true
	}}
}

// listed tells which wares are in any list.
func (b *buyer) listed() map[*ware]bool {
	out := map[*ware]bool{}
	for _, i := range b.open {
		for _, w := range b.lists[i] {
			for _, u := range w.uses {
				out[u.w] = true
			}
		}
	}
	return out
}

// days returns the fewest days such that every job that may have ways not listed, and may use
// the ware in them, is there on one: at least 1. An insert is used up, so that for it every job
// counts with all others.
func (b *buyer) days(c *contest, w *ware) int {
	if n, ok := c.days[w]; ok {
		return n
	}
	var in []*Request
	for _, i := range c.strays {
		if q := &b.jobs[i]; b.m.fits(w.rec, q) && w.inTime(q) {
			in = append(in, q)
		}
	}
	slices.SortFunc(in, func(x, y *Request) int { return cmp.Compare(x.last(), y.last()) })
	n, on := 0, Date("")
	for _, q := range in {
		if q.NeedDate > on {
			n, on = n+1, q.last()
		}
	}
	if w.rec.kind == Insert {
		n = 1
	}
	if c.days == nil {
		c.days = map[*ware]int{}
	}
	c.days[w] = max(n, 1)
	return c.days[w]
}

// leave takes jobs out of a group that cannot all be built: as few as can be, and of equally few
// those for which the earliest job that makes a difference is kept. A job that is left out only
// for its edges is counted with fewer first.
func (b *buyer) leave(a *contest, least int, ways func(int) []way, budget int) {
	order := slices.Clone(a.jobs)
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(b.jobs[x].NeedDate, b.jobs[y].NeedDate) })
	out := func(i int) bool {
		k := slices.Index(a.jobs, i)
		return a.options[k][a.best[k]].from < 0
	}
	kept := map[int]bool{}
	for _, i := range order {
		kept[i] = true
		if !out(i) {
			continue
		}
		t := newContest(b.m, a.jobs, ways, true, func(j int) int {
			if kept[j] {
				return -1
			}
			return 1
		}, nil, &b.looked, budget)
		t.solve()
		if t.best != nil && t.cost <= a.cost {
			a = t
			continue
		}
		kept[i] = false
	}
	fewer := false
	for _, i := range a.jobs {
		if out(i) && !b.few[i] && b.eats(i) {
			b.jobs[i].EdgesNeeded, b.few[i], fewer = 0, true, true
			b.list(i)
		}
	}
	if fewer {
		return
	}
	for _, i := range a.jobs {
		if !b.early[i] {
			least = 0
		}
		if out(i) {
			b.dropped[i] = true
		}
	}
	b.leastLeft += least
}

// eats reports whether a job takes more than one piece of some insert.
func (b *buyer) eats(i int) bool {
	return slices.ContainsFunc(b.lists[i], func(w way) bool {
		return slices.ContainsFunc(w.uses, func(u use) bool { return u.w.rec.kind == Insert && u.qty > 1 })
	})
}

// lines lists what the choice buys.
func (b *buyer) lines() (out []PurchaseLine) {
	for w, ts := range b.users() {
		_, n := b.m.short(w, ts)
		if n <= 0 || n >= impossible {
			continue
		}
		l := PurchaseLine{Part: w.rec.part, Qty: n, Cents: n * w.price}
		slices.SortFunc(ts, b.m.earlier)
		for k, t := range ts {
			l.Jobs = append(l.Jobs, b.jobs[t.job].Job)
			if l.By == "" {
				if _, n := b.m.short(w, ts[:k+1]); n > 0 {
					l.By = b.jobs[t.job].NeedDate
				}
			}
		}
		slices.Sort(l.Jobs)
		out = append(out, l)
	}
	slices.SortFunc(out, func(a, b PurchaseLine) int { return cmp.Compare(a.Part.Code, b.Part.Code) })
	return out
}

// users lists by ware who uses it under the choice.
func (b *buyer) users() map[*ware][]taker {
	by := map[*ware][]taker{}
	for i, n := range b.choice {
		if n < 0 {
			continue
		}
		for _, u := range b.lists[i][n].uses {
			by[u.w] = append(by[u.w], taker{i, u.qty})
		}
	}
	return by
}
