package life

import "math"

// Costs of taking an edge off, in one currency unit throughout.
type Costs struct {
	Planned   float64 // edge and stop of a change on plan, > 0
	Unplanned float64 // the full cost of a change forced by a failure: edge, stop, scrapped part
}

func (c Costs) check() error {
	if !(c.Planned > 0 && c.Unplanned > 0) || math.IsInf(c.Planned, 1) || math.IsInf(c.Unplanned, 1) {
		return refuse("invalid", "the cost of a planned and of an unplanned change must both be above 0")
	}
	return nil
}

// Advice words of an Interval.
const (
	AdviceOK           = "ok"             // change at the age given
	AdviceFlat         = "flat"           // an optimum exists but saves less than 1e-6: run to failure
	AdviceRunToFailure = "run_to_failure" // no finite optimum
)

// flatSaving is the saving below which an optimum is not worth naming.
const flatSaving = 1e-6

// An Interval is the answer to "at what age is changing the edge cheapest?".
type Interval struct {
	Status        string  // AdviceOK, AdviceFlat or AdviceRunToFailure
	Age           float64 // the cheapest age; 0 when there is none
	CostRate      float64 // cost per unit of use at that age
	ToFailure     float64 // cost per unit of use when every edge runs until it fails
	Saving        float64 // 1 - CostRate/ToFailure
	ProbUnplanned float64 // chance that an edge fails before Age
	MeanCycle     float64 // mean age at which an edge comes off
	MeanLife      float64
}

// AgeReplacement returns the cheapest age T to change an edge that otherwise runs until it
// fails. The cost per unit of use is (planned R(T) + unplanned (1-R(T))) / integral_0^T R; its
// minimum solves h(T) integral_0^T R - F(T) = planned/(unplanned-planned), which is bisected
// because a search on the cost itself stalls on the flat right-hand side. A shape of 1 or
// below, or a planned change that is not cheaper, has no finite optimum: run to failure.
//
// Source: Barlow & Proschan, Mathematical Theory of Reliability, Wiley 1965.
func AgeReplacement(w Weibull, c Costs) (Interval, error) {
	if !w.Valid() {
		return Interval{}, refuse("invalid", "shape and scale must both be above 0")
	}
	if err := c.check(); err != nil {
		return Interval{}, err
	}
	mean := w.Mean()
	out := Interval{Status: AdviceRunToFailure, ToFailure: c.Unplanned / mean, MeanLife: mean}
	if !(mean > 0) || math.IsInf(mean, 1) {
		return Interval{}, refuse("invalid", "a shape of %g gives no finite mean life", w.Shape)
	}
	if w.Shape <= 1 || c.Unplanned <= c.Planned {
		return out, nil
	}
	goal := c.Planned / (c.Unplanned - c.Planned)
	short := func(t float64) float64 { // falls through 0 at the optimum
		return goal - (w.Hazard(t)*w.MeanUpTo(t) - w.Failed(t))
	}
	lo, hi := w.Scale, w.Scale
	for short(lo) < 0 && lo > 1e-300 {
		lo /= 2
	}
	for short(hi) > 0 {
		hi *= 2
		if hi > 1e300 {
			return out, nil // beyond any life: nothing is saved
		}
	}
	out.Age = bisect(short, lo, hi)
	out.MeanCycle = w.MeanUpTo(out.Age)
	out.ProbUnplanned = w.Failed(out.Age)
	out.CostRate = (c.Planned*w.Survival(out.Age) + c.Unplanned*out.ProbUnplanned) / out.MeanCycle
	out.Saving = math.Max(0, 1-out.CostRate/out.ToFailure)
	out.Status = AdviceOK
	if out.Saving < flatSaving {
		out.Status = AdviceFlat
	}
	return out, nil
}

// A Survival gives the share of edges that outlive an age: 1 at 0, falling to 0. Weibull,
// Causes and RatePrior have one.
type Survival func(age float64) float64

// Causes are kinds of failure that race each other: the edge outlives age t when it outlives
// all of them. An empty list never fails.
type Causes []Weibull

// Survival returns the product of the causes' survivals.
func (cs Causes) Survival(t float64) float64 {
	r := 1.0
	for _, w := range cs {
		r *= w.Survival(t)
	}
	return r
}

// Quantile returns the age by which the share p (0 < p < 1) has failed of any cause.
func (cs Causes) Quantile(p float64) float64 {
	hi := math.Inf(1)
	for _, w := range cs {
		hi = math.Min(hi, w.Quantile(p))
	}
	if len(cs) < 2 || !(hi > 0) || math.IsInf(hi, 1) {
		return hi
	}
	lo := hi
	for cs.Survival(lo) < 1-p && lo > 1e-300 {
		lo /= 2
	}
	return bisect(func(t float64) float64 { return cs.Survival(t) - (1 - p) }, lo, hi)
}

// A Change is the answer in whole parts.
type Change struct {
	Status    string  // AdviceOK or AdviceRunToFailure
	Parts     int     // change after so many good parts; 0 when running to failure
	Cost      float64 // per good part, following the advice
	ToFailure float64 // per good part, running every edge to failure
	Saving    float64 // 1 - Cost/ToFailure, 0..1
	Surprise  float64 // chance that an edge fails before its planned change; 1 when running to failure
	PerPart   float64 // chance of an unplanned stop per good part made
}

// maxParts bounds the search in whole parts. No edge makes more; where lives are counted in
// holes or wheel revolutions, the continuous answer serves.
const maxParts = 200_000

// ChangeEvery returns the number of good parts after which changing the edge is cheapest, when
// the part on which an edge fails is scrap: the n that minimises (planned R(n) + unplanned
// (1-R(n))) / (R(1) + ... + R(n)). It says run to failure when no n saves a millionth. Lives
// beyond 200,000 parts, or an edge that all but surely fails on its first part: a *Refusal.
func ChangeEvery(r Survival, c Costs) (Change, error) {
	if err := c.check(); err != nil {
		return Change{}, err
	}
	var good, total float64 // mean good parts of an edge changed after n, and of one run to failure
	best := Change{Status: AdviceRunToFailure, Cost: math.Inf(1)}
	n := 0
	for n = 1; ; n++ {
		if n > maxParts {
			return Change{}, refuse("too_long", "edges outlive %d parts: count in minutes instead", maxParts)
		}
		s := r(float64(n))
		if !(s > 1e-15) {
			break
		}
		good += s
		if cost := (c.Planned*s + c.Unplanned*(1-s)) / good; cost < best.Cost {
			best.Cost, best.Parts, best.Surprise, best.PerPart = cost, n, 1-s, (1-s)/good
		}
	}
	total = good
	if total < 1e-9 {
		return Change{}, refuse("invalid", "an edge that fails on its first part has no change interval: look at the setup")
	}
	best.ToFailure = c.Unplanned / total
	best.Saving = 1 - best.Cost/best.ToFailure
	if best.Parts == 0 || best.Saving < flatSaving {
		return Change{Status: AdviceRunToFailure, Cost: best.ToFailure, ToFailure: best.ToFailure, Surprise: 1, PerPart: 1 / total}, nil
	}
	best.Status = AdviceOK
	return best, nil
}

// CostEvery returns the cost per good part when edges are changed after n good parts (n >= 1),
// or run to failure (n = 0). +Inf where no good part comes out.
func CostEvery(r Survival, c Costs, n int) float64 {
	good, s := 0.0, 1.0
	for i := 1; n == 0 || i <= n; i++ {
		s = r(float64(i))
		if !(s > 1e-15) || i > maxParts {
			s = 0
			break
		}
		good += s
	}
	if n == 0 {
		s = 0
	}
	return (c.Planned*s + c.Unplanned*(1-s)) / good
}

// ByRisk returns the largest number of whole parts by which no more than the share risk
// (0 < risk < 1) of edges has failed: the change interval of a dear part, where a surprise
// must not be traded against money. 0 means that even the first part carries more risk.
func ByRisk(r Survival, risk float64) (int, error) {
	if !(risk > 0 && risk < 1) {
		return 0, refuse("invalid", "a risk of %g: give the accepted chance of a surprise per edge between 0 and 1, such as 0.01", risk)
	}
	n := 0
	for 1-r(float64(n+1)) <= risk {
		if n++; n >= maxParts {
			return 0, refuse("too_long", "edges outlive %d parts: count in minutes instead", maxParts)
		}
	}
	return n, nil
}
