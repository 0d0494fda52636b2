package reorder

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Chance is one value of a discrete distribution: how many, and how likely.
type Chance struct {
	N int     // pieces or periods
	P float64 // > 0; all of a distribution add to 1
}

// mostSteps bounds the work of the exact distributions: a second at the very most.
const mostSteps = 50_000_000

func chances(field string, cs []Chance, least int) error {
	if len(cs) == 0 {
		return &BadInput{field, "", "is empty", "give pairs [value, probability]"}
	}
	sum, seen := 0.0, make(map[int]bool, len(cs))
	for i, c := range cs {
		at := fmt.Sprintf("%s[%d]", field, i)
		if c.N < least || c.N > 1_000_000 {
			return &BadInput{at, fmt.Sprint(c.N), fmt.Sprintf("must be a whole number from %d to 1000000", least), "leave out what cannot happen"}
		}
		if seen[c.N] {
			return &BadInput{at, fmt.Sprint(c.N), "stands there twice", "add the two probabilities"}
		}
		if !(c.P >= 0 && c.P <= 1) {
			return &BadInput{at + " probability", show(c.P), "a probability lies between 0 and 1", "give a share such as 0.25"}
		}
		seen[c.N] = true
		sum += c.P
	}
	if math.Abs(sum-1) > 1e-9 {
		return &BadInput{field, show(sum), "the probabilities do not add to 1", "check them; divide each by their sum"}
	}
	return nil
}

// A CompoundPoint adds what the normal approximation would have said.
type CompoundPoint struct {
	WholePoint
	NormalApprox float64
}

// PointCompound returns the smallest R with P(demand <= R) >= cycleService when requests
// come at random (orders of them over the lead time, >= 0) and each takes a size of its
// own (whole, >= 1).
//
// Source: Panjer's recursion, p(k) = orders/k sum j f(j) p(k-j).
func PointCompound(orders float64, sizes []Chance, cycleService float64) (CompoundPoint, error) {
	if err := first(meanOK("orders_mean_in_lead_time", orders), chances("sizes", sizes, 1),
		service("cycle_service", cycleService)); err != nil {
		return CompoundPoint{}, err
	}
	var mean, second float64
	largest := 0
	for _, s := range sizes {
		mean += float64(s.N) * s.P
		second += float64(s.N) * float64(s.N) * s.P
		largest = max(largest, s.N)
	}
	out := CompoundPoint{}
	out.Mean, out.Variance = orders*mean, orders*second
	sd := math.Sqrt(out.Variance)
	out.NormalApprox = out.Mean + distuv.UnitNormal.Quantile(cycleService)*sd
	// Cantelli: the point cannot lie beyond mean + sd sqrt(p/(1-p)).
	furthest := out.Mean + sd*math.Sqrt(cycleService/(1-cycleService)) + 1
	if furthest*float64(len(sizes)) > mostSteps || furthest > 2e7 {
		return CompoundPoint{}, &BadInput{"orders_mean_in_lead_time", show(orders),
			"with these sizes is too much to count piece by piece", "use the normal kind"}
	}
	out.Point, out.Achieved, out.OneLess = panjer(orders, sizes, largest, cycleService, int(furthest)+1)
	out.Safety = float64(out.Point) - out.Mean
	return out, nil
}

// panjer walks the compound Poisson distribution upwards until the target is reached.
// Values are kept scaled by exp(log), because exp(-orders) alone is 0 beyond 745. The last
// largest values are all that the next one needs; they live in a ring.
func panjer(orders float64, sizes []Chance, largest int, target float64, stop int) (r int, at, below float64) {
	const big = 1e250
	ring := make([]float64, largest+1)
	log := -orders
	ring[0] = 1
	sum, factor := 1.0, math.Exp(log)
	if at = sum * factor; at >= target {
		return 0, at, math.NaN()
	}
	for k := 1; ; k++ {
		below = at
		p := 0.0
		for _, s := range sizes {
			if s.N <= k {
				p += float64(s.N) * s.P * ring[(k-s.N)%len(ring)]
			}
		}
		p *= orders / float64(k)
		ring[k%len(ring)] = p
		sum += p
		if sum > big {
			for i := range ring {
				ring[i] /= big
			}
			sum /= big
			log += math.Log(big)
			factor = math.Exp(log)
		}
		if at = sum * factor; at >= target || k >= stop {
			return k, at, below
		}
	}
}

// A Spread is a distribution over whole numbers: P[i] is the chance of From+i.
type Spread struct {
	From           int
	P              []float64
	Mean, Variance float64
}

// OverLead returns the exact distribution of demand over a random lead time: the demand of
// one period (whole, >= 0), independent from period to period, summed over a whole number
// of periods (>= 0).
func OverLead(demand, lead []Chance) (Spread, error) {
	if err := first(chances("daily", demand, 0), chances("lead", lead, 0)); err != nil {
		return Spread{}, err
	}
	top, longest := 0, 0
	for _, c := range demand {
		top = max(top, c.N)
	}
	for _, c := range lead {
		longest = max(longest, c.N)
	}
	if float64(top)*float64(longest)*float64(longest)*float64(len(demand)) > mostSteps {
		return Spread{}, &BadInput{"lead", fmt.Sprint(longest), "is too long to count piece by piece", "use longer periods or the normal kind"}
	}
	weight := make([]float64, longest+1)
	for _, c := range lead {
		weight[c.N] += c.P
	}
	mix := make([]float64, top*longest+1)
	now := []float64{1} // the demand of t periods
	for t := 0; t <= longest; t++ {
		for n, p := range now {
			mix[n] += weight[t] * p
		}
		next := make([]float64, len(now)+top)
		for _, c := range demand {
			for n, p := range now {
				next[n+c.N] += p * c.P
			}
		}
		now = next
	}
	s := Spread{P: mix}
	for n, p := range mix {
		s.Mean += float64(n) * p
	}
	for n, p := range mix {
		s.Variance += (float64(n) - s.Mean) * (float64(n) - s.Mean) * p
	}
	lo, hi := 0, len(mix)
	for lo < hi-1 && mix[lo] == 0 {
		lo++
	}
	for hi > lo+1 && mix[hi-1] == 0 {
		hi--
	}
	s.From, s.P = lo, mix[lo:hi]
	return s, nil
}

// At is the chance of exactly n.
func (s Spread) At(n int) float64 {
	if n < s.From || n >= s.From+len(s.P) {
		return 0
	}
	return s.P[n-s.From]
}

// UpTo is the chance of n or less.
func (s Spread) UpTo(n int) float64 {
	sum := 0.0
	for i := range s.P {
		if s.From+i > n {
			break
		}
		sum += s.P[i]
	}
	return math.Min(sum, 1)
}

// Point is the smallest whole number reached with chance p or more. Sums that miss p by
// rounding noise alone count as reaching it.
func (s Spread) Point(p float64) (int, error) {
	if err := service("cycle_service", p); err != nil {
		return 0, err
	}
	sum := 0.0
	for i := range s.P {
		if sum += s.P[i]; sum >= p-1e-12 {
			return s.From + i, nil
		}
	}
	return s.From + len(s.P) - 1, nil
}

// Tally turns a list of observed whole numbers (>= 0) into a distribution, sorted by value.
func Tally(seen []int) []Chance {
	seen = slices.Clone(seen)
	slices.Sort(seen)
	var out []Chance
	for _, n := range seen {
		if len(out) == 0 || out[len(out)-1].N != n {
			out = append(out, Chance{N: n})
		}
		out[len(out)-1].P++
	}
	for i := range out {
		out[i].P /= float64(len(seen))
	}
	return out
}
