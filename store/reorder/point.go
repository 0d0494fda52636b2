package reorder

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// A Normal describes demand and lead time by mean and standard deviation, independent of
// each other. Periods are any unit of time, the same throughout.
type Normal struct {
	Demand, SD   float64 // pieces a period, >= 0
	Lead, LeadSD float64 // periods, >= 0
	CycleService float64 // wished share of order cycles without a shortage, 0 < p < 1
}

// A NormalPoint is the reorder point for demand that is plentiful enough to be normal.
type NormalPoint struct {
	Mean, SD float64 // of demand over the lead time
	Z        float64 // normal quantile of the service
	Safety   float64 // pieces
	Point    float64
	Whole    int // Point rounded up
}

// PointNormal returns mean + z sd of the lead-time demand, sd^2 = L sd^2 + d^2 sdL^2.
// No demand or no lead time: 0, and no safety stock.
//
// Source: Silver, Pyke & Thomas, Inventory and Production Management in Supply Chains;
// Stevenson, Operations Management, examples 8 and following.
func PointNormal(n Normal) (NormalPoint, error) {
	if err := first(notNegative("demand_per_period", n.Demand), notNegative("sd_per_period", n.SD),
		notNegative("lead_time", n.Lead), notNegative("sd_lead_time", n.LeadSD),
		service("cycle_service", n.CycleService)); err != nil {
		return NormalPoint{}, err
	}
	z := distuv.UnitNormal.Quantile(n.CycleService)
	if z == 0 {
		z = 0 // not -0
	}
	p := NormalPoint{Z: z}
	if n.Demand == 0 || n.Lead == 0 {
		return p, nil
	}
	p.Mean = n.Demand * n.Lead
	p.SD = math.Hypot(math.Sqrt(n.Lead)*n.SD, n.Demand*n.LeadSD)
	p.Safety = z * p.SD
	p.Point = p.Mean + p.Safety
	p.Whole = max(0, ceil(p.Point))
	return p, nil
}

// A WholePoint is the smallest whole reorder point that reaches a service.
type WholePoint struct {
	Status   Status
	Mean     float64 // of the lead-time demand
	Variance float64
	Point    int
	Achieved float64 // P(demand <= Point), or the fill rate where that was asked
	OneLess  float64 // the same for Point-1, which fails; NaN when Point is 0
	Safety   float64 // Point - Mean
}

// mostMean keeps the exact distributions where their whole numbers are meant.
const mostMean = 1e9

func meanOK(field string, m float64) error {
	if err := notNegative(field, m); err != nil {
		return err
	}
	if m > mostMean {
		return &BadInput{field, show(m), "is too large for counting piece by piece", "use the normal kind above 1e9"}
	}
	return nil
}

// smallest returns the least whole r >= 0 with reach(r) >= target. reach must not fall.
// It doubles, then halves, so that a mean of a million costs some forty calls.
func smallest(target float64, reach func(int) float64) (r int, at, below float64) {
	if at = reach(0); at >= target {
		return 0, at, math.NaN()
	}
	lo, hi := 0, 1
	for below = at; ; hi *= 2 {
		if at = reach(hi); at >= target || hi >= 1<<40 {
			break
		}
		lo, below = hi, at
	}
	for hi-lo > 1 {
		mid := lo + (hi-lo)/2
		if p := reach(mid); p >= target {
			hi, at = mid, p
		} else {
			lo, below = mid, p
		}
	}
	return hi, at, below
}

// poissonCDF is P(D <= k) for a Poisson mean; 1 for a mean of 0 and 0 for k < 0.
func poissonCDF(mean float64, k int) float64 {
	switch {
	case k < 0:
		return 0
	case mean == 0:
		return 1
	}
	return distuv.Poisson{Lambda: mean}.CDF(float64(k))
}

// PointPoisson returns the smallest R with P(demand <= R) >= cycleService when withdrawals
// are single pieces at random times; mean is pieces over the lead time.
func PointPoisson(mean, cycleService float64) (WholePoint, error) {
	if err := first(meanOK("mean_ltd", mean), service("cycle_service", cycleService)); err != nil {
		return WholePoint{}, err
	}
	r, at, below := smallest(cycleService, func(k int) float64 { return poissonCDF(mean, k) })
	return WholePoint{Mean: mean, Variance: mean, Point: r, Achieved: at, OneLess: below, Safety: float64(r) - mean}, nil
}

// A NegBinomialPoint adds the two parameters of the distribution.
type NegBinomialPoint struct {
	WholePoint
	Size, Prob float64
}

// PointNegBinomial returns the smallest R with P(demand <= R) >= cycleService for demand
// that scatters more than Poisson: variance > mean. With variance <= mean there is no such
// distribution; the Poisson answer is given with the status UsePoisson.
//
// By mean and variance: size = mean^2/(variance-mean), prob = size/(size+mean).
func PointNegBinomial(mean, variance, cycleService float64) (NegBinomialPoint, error) {
	if err := first(meanOK("mean_ltd", mean), notNegative("var_ltd", variance),
		service("cycle_service", cycleService)); err != nil {
		return NegBinomialPoint{}, err
	}
	if variance <= mean || mean == 0 {
		p, err := PointPoisson(mean, cycleService)
		p.Status = UsePoisson
		return NegBinomialPoint{WholePoint: p}, err
	}
	size := mean * mean / (variance - mean)
	out := NegBinomialPoint{Size: size, Prob: size / (size + mean)} // mean > 0, so no 0/0
	if size < 1e-12 {
		// Almost all the chance lies on 0, and the incomplete beta has no such parameter.
		at := 1.0
		if size > 0 && out.Prob > 0 {
			at = math.Exp(size * math.Log(out.Prob))
		}
		out.WholePoint = WholePoint{Mean: mean, Variance: variance, Achieved: at, OneLess: math.NaN(), Safety: -mean}
		return out, nil
	}
	if size > 1e7*math.Max(1, mean) {
		// So near to Poisson that the incomplete beta only adds noise.
		p, err := PointPoisson(mean, cycleService)
		out.WholePoint = p
		out.Variance = variance
		return out, err
	}
	r, at, below := smallest(cycleService, func(k int) float64 {
		return mathext.RegIncBeta(size, float64(k)+1, out.Prob)
	})
	out.WholePoint = WholePoint{Mean: mean, Variance: variance, Point: r, Achieved: at, OneLess: below, Safety: float64(r) - mean}
	return out, nil
}
