package reorder

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// UnitLoss is the mean shortage in standard deviations when the stock is k of them above
// the mean: G(k) = phi(k) - k (1 - Phi(k)). It falls from -k for very negative k to 0.
func UnitLoss(k float64) float64 {
	return math.Max(0, distuv.UnitNormal.Prob(k)-k*distuv.UnitNormal.Survival(k))
}

// Z is the normal quantile of a service level, 0 < p < 1: 1.645 for 0.95.
func Z(p float64) (float64, error) {
	if err := service("cycle_service", p); err != nil {
		return 0, err
	}
	return distuv.UnitNormal.Quantile(p) + 0, nil
}

// falling solves f(k) = want for a continuous f that falls from above want to below it.
// Sixty halvings of [-40, 40] leave less than 1e-16 of it.
func falling(want float64, f func(float64) float64, lo, hi float64) float64 {
	for range 120 {
		mid := lo + (hi-lo)/2
		if mid == lo || mid == hi {
			break
		}
		if f(mid) > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}

// A FillPoint is the reorder point that serves a share of the pieces, not of the cycles.
// The simple solution counts all that is short when the order arrives; the exact one takes
// off what was already short when it was placed.
type FillPoint struct {
	Status        Status
	LossNeeded    float64 // UnitLoss to be reached
	KSimple       float64
	PointSimple   float64
	ShortPerCycle float64 // pieces
	ServiceSimple float64 // cycle service at PointSimple
	KExact        float64
	PointExact    float64
}

// FillNormal returns the reorder point for a fill rate 0 < fill < 1 with normal lead-time
// demand (mean, sd >= 0) and orders of qty > 0 pieces. With sd 0 nothing is uncertain: the
// point is the mean, and the status says so.
//
// Source: Nahmias, Production and Operations Analysis; Silver, Pyke & Thomas.
func FillNormal(mean, sd, qty, fill float64) (FillPoint, error) {
	if err := first(notNegative("mean_ltd", mean), notNegative("sd_ltd", sd), positive("order_qty", qty),
		service("fill_rate", fill)); err != nil {
		return FillPoint{}, err
	}
	if sd == 0 {
		return FillPoint{Status: NoVariability, PointSimple: mean, PointExact: mean, ServiceSimple: 1}, nil
	}
	p := FillPoint{ShortPerCycle: (1 - fill) * qty}
	p.LossNeeded = p.ShortPerCycle / sd
	// G(k) >= -k, so the solution lies above -LossNeeded, and G(40) is 0.
	lo := -p.LossNeeded - 1
	p.KSimple = falling(p.LossNeeded, UnitLoss, lo, 40)
	p.PointSimple = mean + p.KSimple*sd
	p.ServiceSimple = distuv.UnitNormal.CDF(p.KSimple)
	step := qty / sd
	p.KExact = falling(p.LossNeeded, func(k float64) float64 { return UnitLoss(k) - UnitLoss(k+step) }, lo-step-40, 40)
	p.PointExact = mean + p.KExact*sd
	return p, nil
}

// A FillWhole is the smallest whole reorder point that reaches a fill rate.
type FillWhole struct {
	WholePoint
	CycleService float64 // at Point
}

// FillPoisson returns the smallest R >= 0 that serves the share fill of single-piece
// requests from the shelf, with orders of qty (whole, >= 1) placed whenever the position
// falls to R. The position is then uniform on R+1..R+qty, and a request is served if the
// lead-time demand before it left a piece.
//
// Source: Axsater, Inventory Control; Silver, Pyke & Thomas.
func FillPoisson(mean, qty, fill float64) (FillWhole, error) {
	if err := first(meanOK("mean_ltd", mean), whole("order_qty", qty, 1), service("fill_rate", fill)); err != nil {
		return FillWhole{}, err
	}
	// Sum of P(D <= x) for x = 0..n, in closed form.
	sum := func(n int) float64 {
		if n < 0 {
			return 0
		}
		return float64(n+1)*poissonCDF(mean, n) - mean*poissonCDF(mean, n-1)
	}
	reach := func(r int) float64 { return (sum(r+int(qty)-1) - sum(r-1)) / qty }
	r, at, below := smallest(fill, reach)
	return FillWhole{WholePoint{Mean: mean, Variance: mean, Point: r, Achieved: at, OneLess: below, Safety: float64(r) - mean},
		poissonCDF(mean, r)}, nil
}

// PoissonLoss returns, for stock 0..upTo, the chance F that it suffices and the mean
// number of pieces L that are short. upTo < 0 means: to the first F of at least 0.99.
func PoissonLoss(mean float64, upTo int) (f, l []float64, err error) {
	if err := meanOK("mean_ltd", mean); err != nil {
		return nil, nil, err
	}
	if upTo > 100_000 || upTo < 0 && mean > 10_000 {
		return nil, nil, &BadInput{"up_to", show(float64(upTo)), "is too long a table", "give at most 100000 lines"}
	}
	for k := 0; ; k++ {
		now, before := poissonCDF(mean, k), poissonCDF(mean, k-1)
		f = append(f, now)
		l = append(l, math.Max(0, mean*(1-before)-float64(k)*(1-now)))
		if k == upTo || upTo < 0 && now >= 0.99 {
			return f, l, nil
		}
	}
}
