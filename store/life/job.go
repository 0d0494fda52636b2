package life

import (
	"math/big"
)

// A Job is what the arithmetic of inserts needs to know. Fractions are exact, because a ceiling
// of a scaled whole number goes wrong in floating point: 465/(1-0.07) is 500, not a hair more.
type Job struct {
	GoodParts         int64    // wanted, >= 0
	FirstArticleParts int64    // made and not delivered, >= 0
	Scrap             *big.Rat // share of the parts run that is scrapped, 0 <= Scrap < 1; nil: 0
	PartsPerEdge      *big.Rat // > 0
	EdgesPerInsert    int64    // > 0
	Pack              int64    // inserts a box, > 0
	OnHand, Reserved  int64    // inserts, >= 0; what is reserved for others is not free
	Allowance         *big.Rat // share of edges added for breakage, >= 0; nil: 0
	MountedLifeLeft   *big.Rat // parts left on the edge already in the machine, >= 0; nil: 0
}

// A JobNeed is the answer in whole numbers.
type JobNeed struct {
	PartsToRun, Edges, EdgesWithAllowance     int64
	Inserts, Short, Boxes, Bought, SpareAfter int64
}

// maxJob bounds every whole number of a job, so that no product leaves an int64.
const maxJob = 1_000_000_000_000

// Exact reads a decimal or a fraction ("0.07", "7/100") as an exact number.
func Exact(s string) (*big.Rat, error) {
	// SetString accepts exponents; a huge one would build a number of gigabytes.
	if len(s) > 40 {
		return nil, refuse("invalid", "%.40s… is too long for a number", s)
	}
	for i, c := range s {
		if c == 'e' || c == 'E' || c == 'p' || c == 'P' {
			var exp big.Int
			if _, ok := exp.SetString(s[i+1:], 10); !ok || !exp.IsInt64() || exp.Int64() > 15 || exp.Int64() < -30 {
				return nil, refuse("invalid", "%q is not a number of a job", s)
			}
		}
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return nil, refuse("invalid", "%q is not a number", s)
	}
	return r, nil
}

// Need returns how many parts must be run, edges used and inserts bought for a job when every
// edge makes exactly PartsPerEdge parts. For what scatter does to that, see Renewal.
//
// parts to run = ceil(good/(1-scrap)) + first article, none when nothing is wanted; edges =
// ceil((parts to run - life left on the mounted edge)/parts per edge), then the allowance, up;
// short = inserts beyond what is on hand and not reserved. Numbers out of range: a *Refusal.
func (j Job) Need() (JobNeed, error) {
	zero, one := new(big.Rat), big.NewRat(1, 1)
	or0 := func(r *big.Rat) *big.Rat {
		if r == nil {
			return zero
		}
		return r
	}
	scrap, allow, left := or0(j.Scrap), or0(j.Allowance), or0(j.MountedLifeLeft)
	for _, n := range []struct {
		name string
		v    int64
		min  int64
	}{
		{"good parts", j.GoodParts, 0}, {"first article parts", j.FirstArticleParts, 0},
		{"edges per insert", j.EdgesPerInsert, 1}, {"inserts in a box", j.Pack, 1},
		{"inserts on hand", j.OnHand, 0}, {"inserts reserved", j.Reserved, 0},
	} {
		if n.v < n.min || n.v > maxJob {
			return JobNeed{}, refuse("invalid", "%s: %d; give a whole number from %d on", n.name, n.v, n.min)
		}
	}
	if scrap.Sign() < 0 || scrap.Cmp(one) >= 0 {
		return JobNeed{}, refuse("invalid", "scrap of %s: give a share from 0 to below 1, such as 0.02", scrap.RatString())
	}
	if j.PartsPerEdge == nil || j.PartsPerEdge.Sign() <= 0 {
		return JobNeed{}, refuse("invalid", "parts per edge must be above 0")
	}
	if allow.Sign() < 0 || left.Sign() < 0 {
		return JobNeed{}, refuse("invalid", "the allowance and the life left on the mounted edge must be 0 or more")
	}

	var n JobNeed
	ok := true
	up := func(r *big.Rat) int64 { // ceiling, within maxJob
		q, m := new(big.Int).DivMod(r.Num(), r.Denom(), new(big.Int))
		if m.Sign() != 0 {
			q.Add(q, big.NewInt(1))
		}
		if !q.IsInt64() || q.Int64() > 4*maxJob {
			ok = false
			return 0
		}
		return q.Int64()
	}
	if j.GoodParts > 0 {
		n.PartsToRun = up(new(big.Rat).Quo(new(big.Rat).SetInt64(j.GoodParts), new(big.Rat).Sub(one, scrap))) + j.FirstArticleParts
	}
	todo := new(big.Rat).Sub(new(big.Rat).SetInt64(n.PartsToRun), left)
	if todo.Sign() > 0 {
		n.Edges = up(todo.Quo(todo, j.PartsPerEdge))
	}
	n.EdgesWithAllowance = up(new(big.Rat).Mul(new(big.Rat).SetInt64(n.Edges), new(big.Rat).Add(one, allow)))
	if !ok {
		return JobNeed{}, refuse("invalid", "this job would need more than a million million parts or edges; check its numbers")
	}
	n.Inserts = ceilDiv(n.EdgesWithAllowance, j.EdgesPerInsert)
	free := max(0, j.OnHand-j.Reserved)
	n.Short = max(0, n.Inserts-free)
	n.Boxes = ceilDiv(n.Short, j.Pack)
	n.Bought = n.Boxes * j.Pack
	n.SpareAfter = free + n.Bought - n.Inserts
	return n, nil
}

func ceilDiv(a, b int64) int64 { return (a + b - 1) / b }
