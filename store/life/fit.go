package life

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Limits are the two ends of a confidence interval.
type Limits struct{ Low, High float64 }

// A WeibullFit is the maximum-likelihood estimate with what is known about its uncertainty.
// Standard errors belong to the logarithms, so limits never reach below 0.
type WeibullFit struct {
	Weibull
	N, Failures int
	LogLik      float64 // on the time scale, as survreg of R reports it
	SELogShape  float64
	SELogScale  float64
	CovLog      float64 // covariance of ln shape and ln scale
}

// FitWeibull returns the Weibull law under which the lives, failed and unfinished, are
// likeliest. Ages must be above 0. Where no finite estimate exists the error is a *Refusal:
// no_data, no_failures, unbounded_shape, invalid_time, invalid_count.
//
// Source: profile likelihood as in Meeker & Escobar, Statistical Methods for Reliability Data,
// Wiley 1998, ch. 8; ages are divided by the longest one, so that t^shape cannot overflow.
func FitWeibull(lives []Life) (WeibullFit, error) {
	if err := exists(lives); err != nil {
		return WeibullFit{}, err
	}
	longest := 0.0
	for _, l := range lives {
		if l.Count > 0 {
			longest = math.Max(longest, l.Age)
		}
	}
	us, cs := make([]float64, 0, len(lives)), make([]float64, 0, len(lives))
	var failed, sumU, sumU2 float64 // over failures, u = ln(age/longest) <= 0
	for _, l := range lives {
		if l.Count == 0 {
			continue
		}
		u, c := math.Log(l.Age/longest), float64(l.Count)
		us, cs = append(us, u), append(cs, c)
		if l.Failed {
			failed, sumU, sumU2 = failed+c, sumU+c*u, sumU2+c*u*u
		}
	}
	meanU := sumU / failed
	// g falls strictly in k, so its root is the one maximum.
	g := func(k float64) (value, slope float64) {
		var s0, s1, s2 float64
		for i, u := range us {
			e := cs[i] * math.Exp(k*u)
			s0, s1, s2 = s0+e, s1+e*u, s2+e*u*u
		}
		a := s1 / s0
		return 1/k + meanU - a, -1/(k*k) - (s2/s0 - a*a)
	}
	start := 1.0
	if v := sumU2/failed - meanU*meanU; v > 1e-12 {
		start = math.Pi / math.Sqrt(6*v) // sd of ln life is pi/sqrt(6)/shape without censoring
	}
	k, ok := newtonFalling(g, start)
	if !ok {
		return WeibullFit{}, refuse("unbounded_shape", "no estimate: the failures lie so close to the longest life (%g) that their scatter cannot be told", longest)
	}

	s0 := 0.0
	for i, u := range us {
		s0 += cs[i] * math.Exp(k*u)
	}
	fit := WeibullFit{Weibull: Weibull{Shape: k, Scale: longest * math.Pow(s0/failed, 1/k)}}
	fit.N, fit.Failures = tally(lives)
	lnScale := math.Log(s0/failed) / k // relative to the longest life
	var s1, s2 float64
	for i, u := range us {
		z := k * (u - lnScale)
		w := cs[i] * math.Exp(z)
		s1, s2 = s1+w*z, s2+w*z*z
	}
	// At the estimate the sum of w is the number of failures.
	fit.LogLik = failed*(math.Log(k)-math.Log(longest)) - sumU + k*(sumU-failed*lnScale) - failed
	d := failed*(failed+s2) - s1*s1
	fit.SELogShape = math.Sqrt(failed / d)
	fit.SELogScale = math.Sqrt((failed+s2)/d) / k
	fit.CovLog = s1 / (k * d)
	if !fit.Valid() || math.IsNaN(fit.SELogShape) || math.IsNaN(fit.SELogScale) {
		return WeibullFit{}, refuse("unbounded_shape", "no estimate: the lives are too close together, or too far apart, to tell how they scatter")
	}
	return fit, nil
}

// newtonFalling finds the root in k > 0 of a function that falls strictly, from a start near
// it: Newton steps, kept inside a bracket that only shrinks. ok is false when no root lies
// below 1e15, which the caller's data then mean to say.
func newtonFalling(g func(k float64) (value, slope float64), start float64) (k float64, ok bool) {
	lo, hi := 0.0, math.Inf(1)
	k = math.Min(math.Max(start, 1e-6), 1e12)
	for range 200 {
		v, slope := g(k)
		if v > 0 {
			lo = k
		} else {
			hi = k
		}
		if lo > 1e15 || hi < 1e-15 || math.IsNaN(v) {
			return 0, false
		}
		next := k - v/slope
		if !(next > lo && next < hi) {
			switch {
			case math.IsInf(hi, 1):
				next = 2 * k
			case lo == 0:
				next = k / 2
			default:
				next = (lo + hi) / 2
			}
		}
		if math.Abs(next-k) <= 1e-14*k {
			return next, true
		}
		k = next
	}
	return k, !math.IsInf(hi, 1) && lo > 0
}

// normalQuantile returns how many standard deviations enclose the two-sided level, 1.96 for 0.95.
func normalQuantile(level float64) float64 {
	return distuv.UnitNormal.Quantile(0.5 + level/2)
}

// around returns estimate * exp(-/+ z*se), which never reaches below 0.
func around(estimate, se, level float64) Limits {
	z := normalQuantile(level) * se
	return Limits{estimate * math.Exp(-z), estimate * math.Exp(z)}
}

// ShapeLimits returns the limits of the shape at a level such as 0.95.
func (f WeibullFit) ShapeLimits(level float64) Limits { return around(f.Shape, f.SELogShape, level) }

// ScaleLimits returns the limits of the scale at a level such as 0.95.
func (f WeibullFit) ScaleLimits(level float64) Limits { return around(f.Scale, f.SELogScale, level) }

// QuantileLimits returns the limits of the age by which the share p (0 < p < 1) has failed.
func (f WeibullFit) QuantileLimits(p, level float64) Limits {
	c := math.Log(-math.Log1p(-p)) / f.Shape // ln quantile = ln scale + c
	v := f.SELogScale*f.SELogScale + c*c*f.SELogShape*f.SELogShape - 2*c*f.CovLog
	return around(f.Quantile(p), math.Sqrt(math.Max(v, 0)), level)
}

// SurvivalLimits returns the limits of the share that outlives age t (> 0), found on the scale
// ln(-ln R), where they cannot leave 0..1.
func (f WeibullFit) SurvivalLimits(t, level float64) Limits {
	if t <= 0 {
		return Limits{1, 1}
	}
	z := f.Shape * math.Log(t/f.Scale)
	v := z*z*f.SELogShape*f.SELogShape + f.Shape*f.Shape*f.SELogScale*f.SELogScale - 2*z*f.Shape*f.CovLog
	d := normalQuantile(level) * math.Sqrt(math.Max(v, 0))
	return Limits{math.Exp(-math.Exp(z + d)), math.Exp(-math.Exp(z - d))}
}

// An ExponentialFit is the law without memory: failures come at a constant rate.
type ExponentialFit struct{ Mean, LogLik float64 }

// FitExponential returns the exponential law under which the lives are likeliest: total time
// over failures. Without a failure: a *Refusal (no_data, no_failures).
func FitExponential(lives []Life) (ExponentialFit, error) {
	if err := checkLives(lives, false); err != nil {
		return ExponentialFit{}, err
	}
	n, failed := tally(lives)
	if n == 0 {
		return ExponentialFit{}, refuse("no_data", "no estimate: nothing is logged yet")
	}
	if failed == 0 {
		return ExponentialFit{}, refuse("no_failures", "no estimate: none of the %s failed", edges(n))
	}
	total := 0.0
	for _, l := range lives {
		total += float64(l.Count) * l.Age
	}
	mean := total / float64(failed)
	return ExponentialFit{Mean: mean, LogLik: -float64(failed) * (math.Log(mean) + 1)}, nil
}
