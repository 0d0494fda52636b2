package stack

import (
	"math"
	"slices"
)

// A fork is a part of the search space of a contest: the options each job may still choose, and
// of each ware how many pieces are bought at least and at most (-1: any number).
type fork struct {
	allowed [][]int
	lo, hi  []int
	toll    []float64 // by crowd: what a place in it costs, cents
}

// A relaxed is what the relaxation says of a node.
type relaxed struct {
	bound  float64     // cents: no choice of the node costs less
	rank   [][]float64 // by job and option: its cost under the tolls; infinite when not allowed
	choice []int       // the cheapest options
	share  [][]float64 // by job and option: how often it was the cheapest of late, adds up to 1
}

// low is the bound in whole cents. Costs stay far below 2^40 cents, so that the sums are exact
// to a thousandth of a cent.
func (r *relaxed) low() int { return int(math.Ceil(r.bound - 1e-3)) }

// relax finds a lower bound of a node. Each crowd asks a toll of every place in it, and the tolls
// of a ware that can be bought add up to no more than its price: then what the jobs pay, each for
// the option that is cheapest for it alone, less the tolls of the pieces on hand, is no more than
// any choice costs. The tolls are raised where more is asked for than there is and lowered where
// less, by steps that aim at the best choice known (the subgradient method).
func (c *contest) relax(n *fork, steps int) relaxed {
	limit := make([]float64, len(c.wares))
	base := 0.0
	for w := range c.wares {
		limit[w] = math.Inf(1) // where only so many may be bought, a place can be worth any toll
		if n.hi[w] < 0 {
			limit[w] = float64(c.price[w])
		}
		base += float64(n.lo[w] * c.price[w])
	}
	have := make([]float64, len(c.crowds))
	of := make([][]int, len(c.wares))      // the crowds whose tolls the price limits
	rest := make([]float64, len(c.crowds)) // pieces that are of use only when some are bought
	for p := range c.crowds {
		x := &c.crowds[p]
		there := x.have
		if !x.early {
			there += n.lo[x.w]
			of[x.w] = append(of[x.w], p)
		}
		if x.early || n.hi[x.w] < 0 || n.hi[x.w] == n.lo[x.w] {
			if !x.early && n.hi[x.w] < 0 {
				rest[p] = float64(there % x.step)
			}
			there -= there % x.step
		}
		have[p] = float64(there)
	}
	toll := slices.Clone(n.toll)
	if toll == nil {
		// At first each ware that is not on hand asks its price, split among its crowds.
		toll = make([]float64, len(c.crowds))
		for w := range c.wares {
			for _, p := range of[w] {
				if have[p] == 0 {
					toll[p] = float64(c.price[w]) / float64(len(of[w]))
				}
			}
		}
	}
	for w := range of {
		project(toll, of[w], limit[w])
	}
	out := relaxed{bound: math.Inf(-1), rank: make([][]float64, len(c.jobs)), choice: make([]int, len(c.jobs)), share: make([][]float64, len(c.jobs))}
	rank := make([][]float64, len(c.jobs))
	for k := range c.jobs {
		out.rank[k], out.share[k], rank[k] = make([]float64, len(c.options[k])), make([]float64, len(c.options[k])), make([]float64, len(c.options[k]))
		for o := range rank[k] {
			rank[k][o] = math.Inf(1)
		}
	}
	best := slices.Clone(toll)
	choice := make([]int, len(c.jobs))
	slope := make([]float64, len(c.crowds))
	theta, stall := 1.0, 0
	patience := 15 + steps/60
	price := make([]float64, 0, 64)
	for step := range steps {
		weight := max(1/float64(step+1), 0.04) // of this step in the shares
		l := base
		for p := range c.crowds {
			l -= toll[p] * have[p]
			slope[p] = -have[p]
			if rest[p] > 0 {
				x := &c.crowds[p]
				step := float64(x.step)
				if gain := toll[p]*step - (step-rest[p])*float64(c.price[x.w]); gain > 0 {
					l -= gain
					slope[p] -= step
				}
			}
		}
		for w := range of {
			if n.hi[w] <= n.lo[w] {
				continue
			}
			sum := -float64(c.price[w])
			for _, p := range of[w] {
				sum += toll[p]
			}
			if sum > 0 { // all that may be bought is bought
				l -= sum * float64(n.hi[w]-n.lo[w])
				for _, p := range of[w] {
					slope[p] -= float64(n.hi[w] - n.lo[w])
				}
			}
		}
		for k := range c.jobs {
			price = price[:0]
			for _, t := range c.touch[k] {
				sum := 0.0
				for _, p := range t.crowds {
					sum += toll[p]
				}
				price = append(price, sum)
			}
			least, at := math.Inf(1), -1
			*c.looked += len(n.allowed[k])
			for _, o := range n.allowed[k] {
				x := &c.options[k][o]
				sum := float64(x.fixed)
				for _, u := range x.uses {
					sum += price[u.t] * float64(u.qty)
				}
				rank[k][o] = sum
				if sum < least-1e-9 {
					least, at = sum, o
				}
			}
			if at < 0 {
				out.bound = impossible
				return out
			}
			choice[k] = at
			l += least
			for _, u := range c.options[k][at].uses {
				for _, p := range c.touch[k][u.t].crowds {
					slope[p] += float64(u.qty)
				}
			}
			for o := range out.share[k] {
				out.share[k][o] *= 1 - weight
			}
			out.share[k][at] += weight
		}
		if l > out.bound+1e-7 {
			if l > out.bound+1e-4*math.Abs(l) {
				stall = 0
			}
			out.bound = l
			copy(best, toll)
			copy(out.choice, choice)
			for k := range rank {
				copy(out.rank[k], rank[k])
			}
		} else if stall++; stall > patience {
			theta, stall = theta/2, 0
		}
		if c.cost < impossible && out.low() >= c.cost || theta < 1e-4 {
			break
		}
		norm := 0.0
		for p, g := range slope {
			if g < 0 && toll[p] <= 0 {
				slope[p] = 0
				continue
			}
			norm += g * g
		}
		if norm == 0 {
			break
		}
		aim := float64(c.cost)
		if c.cost >= impossible {
			aim = l + 0.1*math.Abs(l) + 100
		}
		size := theta * max(aim-l, 1) / norm
		for p, g := range slope {
			toll[p] = max(toll[p]+size*g, 0)
		}
		for w := range of {
			project(toll, of[w], limit[w])
		}
	}
	n.toll = best
	return out
}

// project moves the tolls of a ware to the nearest ones that add up to no more than limit.
func project(toll []float64, of []int, limit float64) {
	sum := 0.0
	for _, p := range of {
		sum += toll[p]
	}
	if sum <= limit {
		return
	}
	vals := make([]float64, 0, len(of))
	for _, p := range of {
		vals = append(vals, toll[p])
	}
	slices.SortFunc(vals, func(a, b float64) int {
		switch {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return 0
	})
	cut, run := 0.0, 0.0
	for i, v := range vals {
		run += v
		if t := (run - limit) / float64(i+1); v > t {
			cut = t
		}
	}
	sum = 0
	for _, p := range of {
		toll[p] = max(toll[p]-cut, 0)
		sum += toll[p]
	}
	if sum > limit && sum > 0 { // the last bits of the sums
		for _, p := range of {
			toll[p] *= limit / sum * (1 - 1e-12)
		}
	}
}
