package life

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// MinFailures is the number of failures below which a fit of the shape should not stand alone.
// Common practice; testdata/life/README.md shows what happens to the shape below it.
const MinFailures = 5

// LeanFailures is the number of failures from which a fit stands alone. From MinFailures up to
// here the law still leans on the prior, and the fit that the failures alone give is named
// beside it. The simulated shops of testdata/life decided between 5 and 10.
const LeanFailures = 10

// The prior that Fit leans on when failures are few: edges of the usual turning kind wear out
// with a scatter of 40 to 50 %, which is a shape of about 2.5, and two thirds of families lie
// within a factor of e^0.35 of it. Common practice, no source.
const (
	PriorShape      = 2.5
	PriorSDLogShape = 0.35
)

// An Assumed estimate rests on a shape that was assumed, not estimated.
type Assumed struct {
	Weibull
	Failures int     // on record
	UsedR    int     // failures that entered the formula: at least 1
	SumPow   float64 // sum of age^shape over all edges, failed or not
}

// AssumedShape returns the scale that belongs to an assumed shape (> 0): (sum t^shape /
// r)^(1/shape). With no failure r = 1 is used, as if the next moment brought one, which errs on
// the short side. No lives or bad lives: a *Refusal.
//
// Source: Abernethy et al., Weibull Analysis Handbook, AFWAL-TR-83-2079, 1983 ("Weibayes");
// IEC 61649:2008.
func AssumedShape(lives []Life, shape float64) (Assumed, error) {
	if err := checkLives(lives, false); err != nil {
		return Assumed{}, err
	}
	if !(shape > 0 && shape <= 1000) {
		return Assumed{}, refuse("invalid", "an assumed shape of %g: give a number above 0, such as 2.5", shape)
	}
	n, failed := tally(lives)
	if n == 0 {
		return Assumed{}, refuse("no_data", "no estimate: nothing is logged yet")
	}
	a := Assumed{Failures: failed, UsedR: max(failed, 1)}
	// The sum is taken relative to the longest life; the plain sum overflows for large shapes.
	longest := 0.0
	for _, l := range lives {
		if l.Count > 0 {
			longest = math.Max(longest, l.Age)
		}
	}
	rel := 0.0
	for _, l := range lives {
		rel += float64(l.Count) * math.Pow(l.Age/longest, shape)
	}
	a.SumPow = rel * math.Pow(longest, shape)
	a.Weibull = Weibull{shape, longest * math.Pow(rel/float64(a.UsedR), 1/shape)}
	if !a.Valid() {
		return Assumed{}, refuse("invalid", "no estimate: a shape of %g does not fit lives of this size", shape)
	}
	return a, nil
}

// ScaleLower returns the one-sided lower limit of the scale at a level such as 0.9, valid with
// no failure at all: (2 sum t^shape / chi-square quantile of level with 2r+2 degrees)^(1/shape).
func (a Assumed) ScaleLower(level float64) float64 {
	chi := distuv.ChiSquared{K: float64(2*a.Failures + 2)}.Quantile(level)
	return a.Scale * math.Pow(2*float64(a.UsedR)/chi, 1/a.Shape)
}

// A RatePrior is a gamma law for the rate scale^-shape with the shape taken as known: A counts
// as so many failures seen in B units of age^shape.
type RatePrior struct{ Shape, A, B float64 }

// PriorOf returns the prior that is worth r failures (> 0) at the given law.
func PriorOf(w Weibull, r float64) RatePrior {
	return RatePrior{w.Shape, r, r * math.Pow(w.Scale, w.Shape)}
}

// Learn returns the prior after the lives have been seen: A + failures, B + sum of age^shape.
//
// Source: NIST/SEMATECH e-Handbook 8.4.6, applied to age^shape.
func (p RatePrior) Learn(lives []Life) (RatePrior, error) {
	if err := checkLives(lives, false); err != nil {
		return RatePrior{}, err
	}
	if !(p.Shape > 0 && p.A > 0 && p.B > 0) || math.IsInf(p.A, 1) || math.IsInf(p.B, 1) || math.IsInf(p.Shape, 1) {
		return RatePrior{}, refuse("invalid", "a prior needs a shape, a and b above 0")
	}
	for _, l := range lives {
		p.B += float64(l.Count) * math.Pow(l.Age, p.Shape)
		if l.Failed {
			p.A += float64(l.Count)
		}
	}
	if math.IsInf(p.B, 1) {
		return RatePrior{}, refuse("invalid", "a shape of %g is too large for lives of this size", p.Shape)
	}
	return p, nil
}

// ScaleQuantile returns the scale that lies above the true one with probability q.
func (p RatePrior) ScaleQuantile(q float64) float64 {
	// A large scale is a small rate.
	rate := distuv.Gamma{Alpha: p.A, Beta: p.B}.Quantile(1 - q)
	return math.Pow(rate, -1/p.Shape)
}

// Survival returns the chance that a new edge outlives age t, the doubt about the scale
// included: (B/(B+t^shape))^A.
func (p RatePrior) Survival(t float64) float64 {
	if t <= 0 {
		return 1
	}
	return math.Exp(-p.A * math.Log1p(math.Pow(t, p.Shape)/p.B))
}

// Penalised returns the Weibull law that is likeliest when the shape is held towards shape0 by
// a normal prior on its logarithm with standard deviation sd: the maximum of the profile
// log-likelihood minus (ln shape - ln shape0)^2/(2 sd^2). It is finite as soon as one edge
// failed; without a failure: a *Refusal "no_failures".
//
// Source: posterior mode with an informative prior on the shape, as in Meeker & Escobar,
// Statistical Methods for Reliability Data, Wiley 1998, ch. 14.
func Penalised(lives []Life, shape0, sd float64) (Weibull, error) {
	if err := checkLives(lives, false); err != nil {
		return Weibull{}, err
	}
	if !(shape0 > 0 && shape0 <= 1000 && sd > 0 && sd <= 100) {
		return Weibull{}, refuse("invalid", "a prior shape of %g with spread %g: give two numbers above 0, such as 2.5 and 0.35", shape0, sd)
	}
	n, failed := tally(lives)
	if n == 0 {
		return Weibull{}, refuse("no_data", "no estimate: nothing is logged yet")
	}
	if failed == 0 {
		return Weibull{}, refuse("no_failures", "no estimate: none of the %s failed; assume a shape instead", edges(n))
	}
	longest := 0.0
	for _, l := range lives {
		if l.Count > 0 {
			longest = math.Max(longest, l.Age)
		}
	}
	var sumU float64
	r := float64(failed)
	for _, l := range lives {
		if l.Failed && l.Count > 0 {
			sumU += float64(l.Count) * math.Log(l.Age/longest)
		}
	}
	sums := func(k float64) (s0, s1 float64) {
		for _, l := range lives {
			if l.Count > 0 {
				u := math.Log(l.Age / longest)
				e := float64(l.Count) * math.Exp(k*u)
				s0, s1 = s0+e, s1+e*u
			}
		}
		return s0, s1
	}
	// Derivative of the penalised profile by ln k: above 0 at the low end, where the prior pulls
	// up, below 0 at the high end, where the prior outweighs any number of failures.
	k := bisect(func(k float64) float64 {
		s0, s1 := sums(k)
		return r + k*sumU - r*k*s1/s0 - math.Log(k/shape0)/(sd*sd)
	}, 1e-9, 1e12)
	s0, _ := sums(k)
	w := Weibull{k, longest * math.Pow(s0/r, 1/k)}
	if !w.Valid() {
		return Weibull{}, refuse("invalid", "no estimate: these lives and this prior do not agree")
	}
	return w, nil
}

// TestTimeEach returns how long each of n edges (> 0) must run without failing to show that the
// share reliability (0..1) outlives designLife, at a shape taken as known. The confidence is
// 63.2 %, as everywhere in the assumed-shape method with no failure (r = 1).
func TestTimeEach(designLife, reliability float64, n int, shape float64) (float64, error) {
	if !(designLife > 0 && reliability > 0 && reliability < 1 && n > 0 && shape > 0) {
		return 0, refuse("invalid", "a test plan needs a life, a number of edges and a shape above 0 and a reliability between 0 and 1")
	}
	scale := designLife / math.Pow(-math.Log(reliability), 1/shape)
	return scale * math.Pow(float64(n), -1/shape), nil
}

// SampleSize returns how many edges must run without failing to times (> 0) times the design
// life, to show with the given confidence that the share reliability outlives it: ln(1-C)/ln(R)
// / times^shape, and its ceiling.
func SampleSize(reliability, confidence, shape, times float64) (n int, raw float64, err error) {
	if !(reliability > 0 && reliability < 1 && confidence > 0 && confidence < 1 && shape > 0 && times > 0) {
		return 0, 0, refuse("invalid", "a test plan needs reliability and confidence between 0 and 1, shape and test length above 0")
	}
	raw = math.Log1p(-confidence) / math.Log(reliability) / math.Pow(times, shape)
	if !(raw < 1e15) {
		return 0, 0, refuse("invalid", "no test plan: it would need more than 1e15 edges")
	}
	return int(math.Ceil(raw)), raw, nil
}
