package stack

import (
	"cmp"
	"math"
	"slices"
)

const (
	rootSteps = 3000 // of the relaxation, at the root
	nodeSteps = 120  // at every other node
	lookSteps = 25   // and to compare what to branch on
	looks     = 6    // how many are compared
)

func (c *contest) root() *fork {
	n := &fork{allowed: make([][]int, len(c.jobs)), lo: make([]int, len(c.wares)), hi: make([]int, len(c.wares))}
	for k := range c.jobs {
		for o := range c.options[k] {
			n.allowed[k] = append(n.allowed[k], o)
		}
	}
	for w := range n.hi {
		n.hi[w] = -1
	}
	return n
}

// solve finds the cheapest choice and returns the bound that is proven: no choice among the
// options costs less. It is the cost itself when the search came to its end.
func (c *contest) solve() (bound int) {
	n := c.root()
	r := c.relax(n, rootSteps)
	c.round(n, &r)
	bound = min(c.branch(n, r, 0), c.cost)
	return max(bound, 0)
}

// round makes whole choices of a relaxation and offers them.
func (c *contest) round(n *fork, r *relaxed) {
	if r.bound >= impossible || c.blind {
		return
	}
	if h := c.newHand(r.choice); h.total < impossible {
		h.improve(n.allowed)
		c.offer(h.choice)
	}
	c.dive(n.allowed, r.rank)
}

// fix takes away the options that by themselves lift the bound over the best choice: they are in
// no better one. With hold the options of the best choice stay. It reports whether a fifth of
// those that can go has gone.
func (c *contest) fix(n *fork, r *relaxed, hold bool) (much bool) {
	before, after := 0, 0
	for k := range n.allowed {
		least := math.Inf(1)
		for _, o := range n.allowed[k] {
			least = min(least, r.rank[k][o])
		}
		keep := make([]int, 0, len(n.allowed[k]))
		for _, o := range n.allowed[k] {
			if int(math.Ceil(r.bound+r.rank[k][o]-least-1e-3)) < c.cost || hold && o == c.best[k] {
				keep = append(keep, o)
			}
		}
		before, after = before+len(n.allowed[k])-1, after+len(keep)-1
		n.allowed[k] = keep
	}
	return after*5 <= before*4 && after < before
}

// branch searches a node whose relaxation is r.
func (c *contest) branch(n *fork, r relaxed, depth int) (bound int) {
	low := r.low()
	if low >= c.cost || r.bound >= impossible {
		return low
	}
	if depth > 0 && (depth < 6 || c.best == nil || *c.looked&7 == 0) {
		c.round(n, &r)
	}
	if low >= c.cost || *c.looked > c.budget {
		return low
	}
	c.fix(n, &r, false)
	single := true
	for _, list := range n.allowed {
		if len(list) == 0 {
			return c.cost // no better one here
		}
		single = single && len(list) == 1
	}
	if single {
		choice := make([]int, len(c.jobs))
		for k := range choice {
			choice[k] = n.allowed[k][0]
		}
		c.offer(choice)
		least, _ := c.sum(choice)
		return max(least, low)
	}
	bound = math.MaxInt
	for _, kid := range c.split(n, &r) {
		if *c.looked > c.budget {
			return min(bound, low)
		}
		x := c.relax(kid, nodeSteps)
		bound = min(bound, max(c.branch(kid, x, depth+1), low))
	}
	return bound
}

// split divides a node in two: by how many pieces of a ware are bought, where the relaxation
// buys a broken number, or by whether a job uses a ware, where the relaxation is of two minds. Of
// the likeliest few it takes the one that lifts the bound most on both sides. Where there is
// none it divides by one job's option.
func (c *contest) split(n *fork, r *relaxed) []*fork {
	type halves struct {
		one, two *fork
		first    bool // one is the likelier
		score    float64
	}
	var all []halves
	buys := c.buys(r)
	for w, b := range buys {
		most := int(b)
		f := min(b-float64(most), float64(most+1)-b)
		if c.price[w] == 0 || f < 0.02 || most < n.lo[w] || n.hi[w] >= 0 && most >= n.hi[w] {
			continue
		}
		few, many := n.copy(), n.copy()
		few.hi[w], many.lo[w] = most, most+1
		all = append(all, halves{few, many, b-float64(most) < 0.5, f * float64(c.price[w])})
	}
	for k := range c.jobs {
		if len(n.allowed[k]) < 2 {
			continue
		}
		for t := range c.touch[k] {
			s, with := 0.0, 0
			for _, o := range n.allowed[k] {
				if c.uses(k, o, t) {
					s += r.share[k][o]
					with++
				}
			}
			if with == 0 || with == len(n.allowed[k]) || min(s, 1-s) < 0.02 {
				continue
			}
			no, yes := n.copy(), n.copy()
			no.allowed[k], yes.allowed[k] = nil, nil
			for _, o := range n.allowed[k] {
				if c.uses(k, o, t) {
					yes.allowed[k] = append(yes.allowed[k], o)
				} else {
					no.allowed[k] = append(no.allowed[k], o)
				}
			}
			all = append(all, halves{no, yes, s < 0.5, min(s, 1-s) * float64(c.price[c.touch[k][t].w]+1) / 2})
		}
	}
	slices.SortStableFunc(all, func(a, b halves) int { return cmp.Compare(b.score, a.score) })
	if all = all[:min(len(all), looks)]; len(all) > 0 {
		best, at := -1.0, 0
		for i := range all {
			x := &all[i]
			if len(all) > 1 {
				a, b := c.relax(x.one, lookSteps), c.relax(x.two, lookSteps)
				gain := max(a.bound-r.bound, 0.01) * max(b.bound-r.bound, 0.01)
				if gain > best {
					best, at = gain, i
				}
				if a.low() >= c.cost || b.low() >= c.cost {
					at = i
					break
				}
			}
		}
		if x := all[at]; x.first {
			return []*fork{x.one, x.two}
		}
		return []*fork{all[at].two, all[at].one}
	}
	yes, no := n.copy(), n.copy()
	for k := range n.allowed {
		if len(n.allowed[k]) > 1 {
			i := max(slices.Index(n.allowed[k], r.choice[k]), 0)
			yes.allowed[k] = []int{n.allowed[k][i]}
			no.allowed[k] = slices.Delete(slices.Clone(n.allowed[k]), i, i+1)
			break
		}
	}
	return []*fork{yes, no}
}

// buys returns how many pieces of each ware the relaxation buys, in parts of pieces.
func (c *contest) buys(r *relaxed) []float64 {
	buys := make([]float64, len(c.wares))
	for p := range c.crowds {
		x := &c.crowds[p]
		if x.early {
			continue
		}
		load := -float64(x.have)
		for _, k := range x.who {
			for o, s := range r.share[k] {
				if s == 0 {
					continue
				}
				for _, u := range c.options[k][o].uses {
					if c.touch[k][u.t].w == x.w {
						load += s * float64(u.qty)
					}
				}
			}
		}
		buys[x.w] = max(buys[x.w], load)
	}
	return buys
}

func (c *contest) uses(k, o, t int) bool {
	return slices.ContainsFunc(c.options[k][o].uses, func(u demand) bool { return u.t == t })
}

func (n *fork) copy() *fork {
	return &fork{allowed: slices.Clone(n.allowed), lo: slices.Clone(n.lo), hi: slices.Clone(n.hi), toll: n.toll}
}
