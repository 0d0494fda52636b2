package life

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// A Weibull is the law of edge lives R(t) = exp(-(t/Scale)^Shape). Shape above 1: the longer an
// edge has run, the likelier it fails next (wear-out). Shape 1: no memory. Below 1: early
// breakages. 63.2 % of edges have failed at age Scale. Both numbers must be above 0 and finite.
type Weibull struct {
	Shape float64
	Scale float64 // in the unit of the ages
}

// Valid reports whether both numbers are above 0 and finite.
func (w Weibull) Valid() bool {
	return w.Shape > 0 && w.Scale > 0 && !math.IsInf(w.Shape, 1) && !math.IsInf(w.Scale, 1)
}

func (w Weibull) law() distuv.Weibull { return distuv.Weibull{K: w.Shape, Lambda: w.Scale} }

// Survival returns the share of edges that outlive age t; 1 for t <= 0.
func (w Weibull) Survival(t float64) float64 {
	if t <= 0 {
		return 1
	}
	return w.law().Survival(t)
}

// Failed returns the share of edges that have failed by age t; 0 for t <= 0. Small shares keep
// their digits.
func (w Weibull) Failed(t float64) float64 {
	if t <= 0 {
		return 0
	}
	return -math.Expm1(w.law().LogSurvival(t))
}

// Quantile returns the age by which the share p (0..1) of edges has failed: 0.1 is the B10 life.
// +Inf for p = 1.
func (w Weibull) Quantile(p float64) float64 {
	if p <= 0 {
		return 0
	}
	if p >= 1 {
		return math.Inf(1)
	}
	// distuv takes ln(1-p); log1p keeps the digits of a small p, which a dear part asks for.
	return w.Scale * math.Pow(-math.Log1p(-p), 1/w.Shape)
}

// Mean returns the mean life.
func (w Weibull) Mean() float64 { return w.law().Mean() }

// SD returns the standard deviation of the life.
func (w Weibull) SD() float64 { return w.law().StdDev() }

// Hazard returns the rate at which edges of age t (> 0) fail, per unit of age.
func (w Weibull) Hazard(t float64) float64 {
	return w.Shape / w.Scale * math.Pow(t/w.Scale, w.Shape-1)
}

// MeanUpTo returns the mean of min(life, t), which is the area under the survival curve up to
// t >= 0: scale * Gamma(1+1/shape) * P(1/shape, (t/scale)^shape).
func (w Weibull) MeanUpTo(t float64) float64 {
	if t <= 0 {
		return 0
	}
	z := math.Pow(t/w.Scale, w.Shape)
	if math.IsInf(z, 1) {
		return w.Mean()
	}
	return w.Scale * math.Gamma(1+1/w.Shape) * mathext.GammaIncReg(1/w.Shape, z)
}

// scatterShapes bracket the shapes that ShapeFromScatter searches: a scatter of 1 % and of
// several hundred per cent.
const (
	minScatterShape = 0.05
	maxScatterShape = 2000
)

// ShapeFromScatter returns the Weibull shape whose lives have the coefficient of variation cv =
// standard deviation / mean. A cv of 0.3, which Wager & Barash (1971, ASME J. Eng. Ind. 93:1044)
// found for HSS turning tools, is a shape of about 3.7. A cv outside 0.001..100: a *Refusal.
func ShapeFromScatter(cv float64) (float64, error) {
	if !(cv >= 0.001 && cv <= 100) {
		return 0, refuse("invalid", "a scatter of %g: give standard deviation over mean, such as 0.3", cv)
	}
	f := func(k float64) float64 { // falls with k
		w := Weibull{Shape: k, Scale: 1}
		return w.SD()/w.Mean() - cv
	}
	return bisect(f, minScatterShape, maxScatterShape), nil
}

// bisect returns the root of a function that falls from above 0 at lo to below 0 at hi, both
// > 0, by halving on the logarithmic scale. gonum has no root finder.
func bisect(f func(float64) float64, lo, hi float64) float64 {
	for range 200 {
		mid := math.Sqrt(lo) * math.Sqrt(hi)
		if mid <= lo || mid >= hi {
			break
		}
		if f(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Sqrt(lo) * math.Sqrt(hi)
}
