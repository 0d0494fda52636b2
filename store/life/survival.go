package life

import (
	"cmp"
	"math"
	"slices"
)

// A Step is one age at which the product-limit curve was looked at.
type Step struct {
	Age                      float64
	AtRisk, Failed, Censored int
	Survival                 float64 // share that outlives Age
	CumHazard                float64 // Nelson-Aalen
	SE                       float64 // Greenwood; NaN once nobody is left
	Log, LogLog              *Limits // limits on the ln R and ln(-ln R) scale; nil where undefined
}

// A Curve is the product-limit (Kaplan-Meier) estimate, one Step an age, ascending.
type Curve []Step

// Survive returns the product-limit curve of the lives with Greenwood's errors and limits at
// the given level (0 < level < 1). At a tied age failures come before censorings: the censored
// edge is still at risk. A life of 0 is allowed. No lives: an empty curve. Bad lives or level:
// a *Refusal.
//
// Source: Kaplan & Meier 1958; Greenwood 1926; the same conventions as survfit of R.
func Survive(lives []Life, level float64) (Curve, error) {
	if err := checkLives(lives, true); err != nil {
		return nil, err
	}
	if !(level > 0 && level < 1) {
		return nil, refuse("invalid", "a confidence of %g: give a number between 0 and 1, such as 0.95", level)
	}
	sorted := slices.DeleteFunc(slices.Clone(lives), func(l Life) bool { return l.Count == 0 })
	slices.SortFunc(sorted, func(a, b Life) int { return cmp.Compare(a.Age, b.Age) })
	atRisk, _ := tally(sorted)
	curve := make(Curve, 0, len(sorted))
	surv, hazard, green := 1.0, 0.0, 0.0
	z := normalQuantile(level)
	for i := 0; i < len(sorted); {
		s := Step{Age: sorted[i].Age, AtRisk: atRisk}
		for ; i < len(sorted) && sorted[i].Age == s.Age; i++ {
			if sorted[i].Failed {
				s.Failed += sorted[i].Count
			} else {
				s.Censored += sorted[i].Count
			}
		}
		r, d := float64(atRisk), float64(s.Failed)
		surv *= (r - d) / r
		hazard += d / r
		green += d / (r * (r - d)) // +Inf when the last one fails
		s.Survival, s.CumHazard, s.SE = surv, hazard, math.NaN()
		if surv > 0 {
			root := math.Sqrt(green)
			s.SE = surv * root
			s.Log = &Limits{surv * math.Exp(-z*root), math.Min(1, surv*math.Exp(z*root))}
			if surv < 1 {
				ln := math.Log(surv)
				w := math.Exp(z * root / math.Abs(ln))
				s.LogLog = &Limits{math.Exp(ln * w), math.Exp(ln / w)}
			}
		}
		curve = append(curve, s)
		atRisk -= s.Failed + s.Censored
	}
	return curve, nil
}

// same tells levels of the curve apart from rounding: the products of exact fractions differ
// by a few units in the last place.
const same = 1e-12

// Age returns the age by which the share p (0..1) has failed: where the curve first reaches
// 1-p or less, or, where it lies exactly at 1-p over a stretch, the middle of that stretch,
// which ends at the next failure or with the record. ok is false when the curve never comes
// down so far.
func (c Curve) Age(p float64) (age float64, ok bool) {
	for i, s := range c {
		if s.Survival > 1-p+same {
			continue
		}
		if math.Abs(s.Survival-(1-p)) <= same {
			for _, later := range c[i+1:] {
				if later.Failed > 0 {
					return (s.Age + later.Age) / 2, true
				}
			}
			return (s.Age + c[len(c)-1].Age) / 2, true
		}
		return s.Age, true
	}
	return 0, false
}

// FirstAge returns the first age at which the curve is at 1-p or below, without the midpoint.
func (c Curve) FirstAge(p float64) (age float64, ok bool) {
	for _, s := range c {
		if s.Survival <= 1-p+same {
			return s.Age, true
		}
	}
	return 0, false
}
