package stack

import (
	"cmp"
	"math"
	"slices"
)

// A contest is a set of jobs that get into each other's way: each chooses one of its options,
// and what they ask for together of each ware, more than there is, is paid for.
type contest struct {
	m       *market
	jobs    []int // of the plan
	options [][]option
	wares   []*ware
	price   []int        // by ware, cents a piece; a ware that no job can wait for costs nothing
	touch   [][]touching // by job
	crowds  []crowd
	strays  []int // jobs of the plan that may have ways not listed
	days    map[*ware]int
	looked  *int // options weighed so far, of budget
	budget  int

	blind bool  // for tests: no guessing, only what branching comes to
	cost  int   // of best; impossible: none found
	best  []int // option by job
}

// An option is a way of a job in a contest: what of it somebody else could want too.
type option struct {
	uses  []demand
	fixed int // cents to be paid in any case; of a job left out: 1
	from  int // place in the job's list of ways, -1: the job is left out
}

// A demand is pieces of the ware at place t of the job's touch list.
type demand struct{ t, qty int }

// touching says where a job stands in line for a ware.
type touching struct {
	w      int
	crowds []int
}

// A crowd is a limit that the relaxation knows: the jobs that use a ware on one day, or an
// insert up to a day, have no more pieces than are on hand and are bought. Early jobs cannot wait
// for what is bought.
type crowd struct {
	w     int
	on    Date
	early bool
	have  int // pieces on hand for any of them
	who   []int
	// step divides what every job takes of an insert: less than that left of it is no use without
	// buying the rest. 1 for what is not used up.
	step int
}

// newContest sets up a contest of the ways of jobs. toll is what leaving a job out costs, -1:
// not allowed; free counts purchases as costing nothing; strays are jobs that may have other
// ways than those.
func newContest(m *market, jobs []int, ways func(job int) []way, free bool, toll func(job int) int, strays []int, looked *int, budget int) *contest {
	c := &contest{m: m, jobs: jobs, strays: strays, cost: impossible, looked: looked, budget: budget}
	at := map[*ware]int{}
	c.options, c.touch = make([][]option, len(jobs)), make([][]touching, len(jobs))
	for k, i := range jobs {
		for n, w := range ways(i) {
			o := option{from: n}
			for _, u := range w.uses {
				if free && u.w.inTime(&m.jobs[i]) {
					continue // it can always be bought
				}
				j, ok := at[u.w]
				if !ok {
					j = len(c.wares)
					at[u.w] = j
					c.wares = append(c.wares, u.w)
					c.price = append(c.price, u.w.price)
					if free || !u.w.buyable {
						c.price[j] = 0
					}
				}
				t := slices.IndexFunc(c.touch[k], func(x touching) bool { return x.w == j })
				if t < 0 {
					t = len(c.touch[k])
					c.touch[k] = append(c.touch[k], touching{w: j})
				}
				o.uses = append(o.uses, demand{t, u.qty})
			}
			if !slices.ContainsFunc(c.options[k], func(x option) bool { return asksLess(x, o) }) {
				c.options[k] = append(slices.DeleteFunc(c.options[k], func(x option) bool { return asksLess(o, x) }), o)
			}
		}
		if n := toll(i); n >= 0 {
			c.options[k] = append(c.options[k], option{fixed: n, from: -1})
		}
	}
	c.gather()
	return c
}

func asksLess(a, b option) bool {
	for _, u := range a.uses {
		if !slices.ContainsFunc(b.uses, func(v demand) bool { return v.t == u.t && v.qty >= u.qty }) {
			return false
		}
	}
	return true
}

// gather finds the crowds: of each ware the jobs that use it on one day, for the days on which
// somebody begins, and of the early among them another. Of an insert the crowds are those who
// begin by a day, because lots that are promised for some time are there only for the later ones.
func (c *contest) gather() {
	users := make([][]int, len(c.wares))
	for k, list := range c.touch {
		for _, t := range list {
			users[t.w] = append(users[t.w], k)
		}
	}
	for j, w := range c.wares {
		for _, early := range []bool{false, true} {
			var mine []crowd
			if !early && !w.buyable {
				continue
			}
			for _, k := range users[j] {
				x := crowd{w: j, early: early, on: c.m.jobs[c.jobs[k]].NeedDate, step: 1}
				for _, o := range users[j] {
					if x.holds(w, &c.m.jobs[c.jobs[o]]) {
						x.who = append(x.who, o)
					}
				}
				if len(x.who) == 0 || slices.ContainsFunc(mine, func(o crowd) bool { return slices.Equal(x.who, o.who) }) {
					continue
				}
				x.have = c.have(&x)
				mine = append(mine, x)
			}
			for n, x := range mine {
				// A larger crowd that has no more pieces says all that a smaller one says.
				if slices.ContainsFunc(mine, func(o crowd) bool { return len(o.who) > len(x.who) && o.have <= x.have && subset(x.who, o.who) }) {
					mine[n].w = -1
				}
			}
			mine = slices.DeleteFunc(mine, func(x crowd) bool { return x.w < 0 })
			for _, x := range mine {
				if w.rec.kind == Insert && (early || len(mine) == 1) {
					x.step = c.step(j, x.who)
				}
				for _, k := range x.who {
					for t := range c.touch[k] {
						if c.touch[k][t].w == j {
							c.touch[k][t].crowds = append(c.touch[k][t].crowds, len(c.crowds))
						}
					}
				}
				c.crowds = append(c.crowds, x)
			}
		}
	}
}

func subset(a, b []int) bool {
	for _, v := range a {
		if !slices.Contains(b, v) {
			return false
		}
	}
	return true
}

// holds reports whether a job that uses the crowd's ware is one of the crowd.
func (x *crowd) holds(w *ware, q *Request) bool {
	if x.early && w.inTime(q) || q.NeedDate > x.on {
		return false
	}
	return w.rec.kind == Insert || x.on <= q.last()
}

// step returns the greatest number that divides what each job takes of an insert.
func (c *contest) step(w int, who []int) (step int) {
	divide := func(n int) {
		for step, n = n, step; n > 0; step, n = n, step%n {
		}
	}
	for _, k := range who {
		for _, o := range c.options[k] {
			for _, u := range o.uses {
				if c.touch[k][u.t].w == w {
					divide(u.qty)
				}
			}
		}
	}
	for _, i := range c.strays {
		divide(insertsFor(&c.m.jobs[i], c.wares[w].rec.part))
	}
	return max(step, 1)
}

// have returns how many pieces on hand a crowd can have at most, strays counted with it.
func (c *contest) have(x *crowd) (n int) {
	w := c.wares[x.w]
	for _, it := range w.items {
		if len(it.Reserved) == 0 {
			if it.Status == In {
				n += it.Qty
			}
			continue
		}
		most := 0
		count := func(q *Request) {
			if w.rec.kind == Insert {
				most = max(most, it.spare(q, nil))
			} else {
				most = max(most, it.free(q))
			}
		}
		for _, k := range x.who {
			count(&c.m.jobs[c.jobs[k]])
		}
		for _, i := range c.strays {
			if q := &c.m.jobs[i]; x.holds(w, q) {
				count(q)
			}
		}
		n += most
	}
	return n
}

// takers lists who uses a ware under a choice; -1: not chosen yet.
func (c *contest) takers(choice []int) [][]taker {
	out := make([][]taker, len(c.wares))
	for k, o := range choice {
		if o < 0 {
			continue
		}
		for _, u := range c.options[k][o].uses {
			w := c.touch[k][u.t].w
			out[w] = append(out[w], taker{c.jobs[k], u.qty})
		}
	}
	return out
}

// sum returns what a choice costs: proven at least, and at most; impossible or more when it
// cannot be.
func (c *contest) sum(choice []int) (least, most int) {
	for k, o := range choice {
		least += c.options[k][o].fixed
	}
	most = least
	for w, ts := range c.takers(choice) {
		a, b := c.m.short(c.wares[w], ts)
		if a >= impossible {
			return impossible, impossible
		}
		least += a * c.price[w]
		if b >= impossible {
			most = impossible
		} else {
			most = min(most+b*c.price[w], impossible)
		}
	}
	return least, most
}

// offer takes a choice over when it is the best so far.
func (c *contest) offer(choice []int) bool {
	if _, most := c.sum(choice); most < c.cost {
		c.cost, c.best = most, slices.Clone(choice)
		return true
	}
	return false
}

// A hand is a choice that is being made or improved, with what it pays for each ware.
type hand struct {
	c      *contest
	choice []int
	takers [][]taker
	pays   []int
	total  int
}

func (c *contest) newHand(choice []int) *hand {
	h := &hand{c: c, choice: slices.Clone(choice), takers: c.takers(choice), pays: make([]int, len(c.wares))}
	for k, o := range choice {
		if o >= 0 {
			h.total += c.options[k][o].fixed
		}
	}
	for w := range c.wares {
		h.pays[w] = c.pay(w, h.takers[w])
		h.total += h.pays[w]
	}
	return h
}

func (c *contest) pay(w int, ts []taker) int {
	_, n := c.m.short(c.wares[w], ts)
	if n >= impossible {
		return impossible
	}
	return n * c.price[w]
}

// set gives job k option o, -1: none.
func (h *hand) set(k, o int) {
	job := h.c.jobs[k]
	swap := func(o, sign int) {
		if o < 0 {
			return
		}
		h.total += sign * h.c.options[k][o].fixed
		for _, u := range h.c.options[k][o].uses {
			w := h.c.touch[k][u.t].w
			if sign < 0 {
				h.takers[w] = slices.DeleteFunc(h.takers[w], func(t taker) bool { return t.job == job })
			} else {
				h.takers[w] = append(h.takers[w], taker{job, u.qty})
			}
			h.total -= h.pays[w]
			h.pays[w] = h.c.pay(w, h.takers[w])
			h.total += h.pays[w]
		}
	}
	swap(h.choice[k], -1)
	swap(o, 1)
	h.choice[k] = o
}

// pick gives job k the option of least total cost among allowed, ties by rank; not the options
// that use a ware of shun.
func (h *hand) pick(k int, allowed []int, rank []float64, shun int) {
	best, cost, tie := h.choice[k], math.MaxInt, 0.0
	for _, o := range allowed {
		if shun >= 0 && slices.ContainsFunc(h.c.options[k][o].uses, func(u demand) bool { return h.c.touch[k][u.t].w == shun }) {
			continue
		}
		*h.c.looked++
		h.set(k, o)
		r := 0.0
		if rank != nil {
			r = rank[o]
		}
		if h.total < cost || h.total == cost && r < tie {
			best, cost, tie = o, h.total, r
		}
	}
	if best != h.choice[k] {
		h.set(k, best)
	}
}

// improve changes one job's option at a time, and then all that use one bought ware, as long as
// that saves something.
func (h *hand) improve(allowed [][]int) {
	for range 12 {
		before := h.total
		for k := range h.choice {
			h.pick(k, allowed[k], nil, -1)
		}
		for w := range h.c.wares {
			if h.pays[w] == 0 {
				continue
			}
			was, total := slices.Clone(h.choice), h.total
			for k := range h.choice {
				if slices.ContainsFunc(h.takers[w], func(t taker) bool { return t.job == h.c.jobs[k] }) {
					h.pick(k, allowed[k], nil, w)
				}
			}
			if h.total >= total {
				for k, o := range was {
					if h.choice[k] != o {
						h.set(k, o)
					}
				}
			}
		}
		if h.total >= before {
			return
		}
	}
}

// dive makes a choice job by job, those with the fewest options first, each the option that adds
// least; ties and the order are by what the relaxation thinks of the options. Then it improves
// it.
func (c *contest) dive(allowed [][]int, rank [][]float64) {
	order := make([]int, len(c.jobs))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(len(allowed[a]), len(allowed[b])) })
	none := make([]int, len(c.jobs))
	for k := range none {
		none[k] = -1
	}
	h := c.newHand(none)
	for _, k := range order {
		h.pick(k, allowed[k], rank[k], -1)
	}
	h.improve(allowed)
	if !slices.Contains(h.choice, -1) {
		c.offer(h.choice)
	}
}
