package life

import (
	"errors"
	"fmt"
	"math"
)

// An Estimate is the best law for one kind of failure with what it rests on. With
// LeanFailures failures it is a maximum-likelihood fit; below that it leans on an assumed shape
// and says so.
type Estimate struct {
	Kind        string // "wear-out", "sudden" or "all failures"
	N, Failures int
	Law         Weibull     // not Valid when Refused is set
	Fit         *WeibullFit // nil when the law is assumed
	Assumed     string      // what was assumed, in words; "" when nothing was
	NoFit       *Refusal    // why no fit stands on its own, where none exists
	Refused     *Refusal    // why there is no law at all
	priorShape  float64     // shape assumed and its spread on the log scale
	priorSD     float64
}

// PriorShapeSudden is the shape that few sudden failures are held towards: chipping and breaking
// know no age. Common practice, no source.
const PriorShapeSudden = 1.0

// estimate fits one kind of failure.
func estimate(kind string, lives []Life, shape, sd float64) Estimate {
	e := Estimate{Kind: kind, priorShape: shape, priorSD: sd}
	e.N, e.Failures = tally(lives)
	fit, err := FitWeibull(lives)
	e.NoFit, _ = errors.AsType[*Refusal](err)
	var r *Refusal
	switch {
	case err == nil && e.Failures >= LeanFailures:
		e.Law, e.Fit = fit.Weibull, &fit
		return e
	case e.N == 0:
		e.Refused = refuse("no_data", "no estimate: nothing is logged yet")
	case e.Failures == 0:
		a, err := AssumedShape(lives, shape)
		r, _ = errors.AsType[*Refusal](err)
		e.Law, e.Refused = a.Weibull, r
		e.Assumed = fmt.Sprintf("no edge has failed yet: a shape of %.3g is assumed and the life is what one failure at this moment would mean, so edges last at least about this long", shape)
	default:
		w, err := Penalised(lives, shape, sd)
		r, _ = errors.AsType[*Refusal](err)
		e.Law, e.Refused = w, r
		switch {
		case e.Failures < MinFailures:
			e.Assumed = fmt.Sprintf("%s, fewer than %d: the shape is held towards an assumed %.3g and comes out at %.3g", failures(e.Failures), MinFailures, shape, w.Shape)
		case err == nil:
			e.Assumed = fmt.Sprintf("%s, fewer than %d: alone they give a shape of %.3g; leaning on an assumed %.3g it comes out at %.3g", failures(e.Failures), LeanFailures, fit.Shape, shape, w.Shape)
		default:
			e.Assumed = fmt.Sprintf("the failures alone give no shape; it is held towards an assumed %.3g and comes out at %.3g", shape, w.Shape)
		}
	}
	return e
}

func failures(n int) string {
	if n == 1 {
		return "1 failure"
	}
	return fmt.Sprintf("%d failures", n)
}

// varLogHazard returns the variance of ln of the cumulative hazard at age t. Of an assumed law
// it is that of the scale from its failures, and of the shape from its prior.
func (e Estimate) varLogHazard(t float64) float64 {
	k := e.Law.Shape
	z := k * math.Log(t/e.Law.Scale)
	if f := e.Fit; f != nil {
		return math.Max(0, z*z*f.SELogShape*f.SELogShape+k*k*f.SELogScale*f.SELogScale-2*z*k*f.CovLog)
	}
	return 1/float64(max(e.Failures, 1)) + z*z*e.priorSD*e.priorSD
}

// Says tells a person what the estimate is and what it rests on.
func (e Estimate) Says(m Measure) string {
	if e.Refused != nil {
		return e.Kind + ": " + e.Refused.Why
	}
	s := fmt.Sprintf("%s: shape %.3g, scale %.4g %s, from %s among %s", e.Kind, e.Law.Shape, e.Law.Scale, m, failures(e.Failures), edges(e.N))
	if e.Fit != nil {
		l := e.Fit.ShapeLimits(0.95)
		return fmt.Sprintf("%s (95 %% limits of the shape %.2g to %.2g)", s, l.Low, l.High)
	}
	return s + " (assumed: " + e.Assumed + ")"
}
