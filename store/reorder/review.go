package reorder

import (
	"math"
)

// Looking back and ahead, in weeks and days: two years of use, a year and a bit of stock.
const (
	historyWeeks = 104
	aheadDays    = 400
)

// A Forecast is the statistical demand of a part: all withdrawals that no job's plan
// accounts for.
type Forecast struct {
	Class  Class
	Method string  // smoothing, SBA, TSB, none
	Weekly float64 // units a week from now on
	SD     float64 // of one week's use around it
	Sizes  []Chance
	Weeks  int // of history
}

// Advice is what a look at one part on one day says. Nothing is changed by it.
type Advice struct {
	Part         string
	Forecast     Forecast
	JobWeekly    float64 // what planned job work took a week over the last year
	Distribution string  // of demand over the lead time: poisson, negative binomial, compound poisson, normal, none
	Point        int     // reorder point for the statistical demand, units: the level to propose
	Safety       float64 // of it, beyond the mean; job scatter included
	JobUnits     int     // what open jobs still need within lead time and review
	Trigger      int     // order when the position is at or below this: Point, jobs, and their scatter
	Free         int     // on hand - promised
	Position     int     // free + on order
	Quantity     int     // economic order in pieces, whole packs: the level to propose
	Order        int     // pieces to order by Alert.OrderBy; 0: nothing within the watch
	Cover        Cover
	Alert        Alert
}

// Review looks at one part. It is cheap enough to be done after every booking.
//
// The position (on hand + on order - promised) is held against what planned jobs still
// require plus the statistical demand of the rest over the planned lead time and review.
// The lead time is already the slow tail, so its scatter is not added once more.
// Variances of jobs and rest add.
func Review(p Part, today Day, r Rules) (Advice, error) {
	if err := first(r.check(), p.check(today)); err != nil {
		return Advice{}, err
	}
	rest, needs := Split(p.Withdrawals, p.Jobs)
	a := Advice{Part: p.ID, Free: p.OnHand - p.Promised}
	a.Position = a.Free
	for _, o := range p.OnOrder {
		a.Position += o.Units
	}
	var err error
	if a.Forecast, err = forecast(rest, p.Since, today, r); err != nil {
		return Advice{}, err
	}
	a.JobWeekly = jobWeekly(p, rest, today, a.Forecast.Weeks)
	days := p.Lead.Plan + r.Review
	mean := a.Forecast.Weekly * float64(days) / 7
	if a.Point, a.Distribution, err = statisticalPoint(a.Forecast, days, p.Service); err != nil {
		return Advice{}, err
	}
	var variance float64
	a.JobUnits, variance = due(needs, today+Day(days))
	if gap := unscheduled(p.Unscheduled, a.JobWeekly, needs, today, days); gap > 0 {
		a.JobUnits += ceil(gap)
	}
	extra := 0.0
	a.Safety = math.Max(0, float64(a.Point)-mean)
	if variance > 0 {
		z, err := Z(p.Service)
		if err != nil {
			return Advice{}, err
		}
		extra = math.Max(0, math.Hypot(a.Safety, math.Max(0, z)*math.Sqrt(variance))-a.Safety)
	}
	a.Safety += extra
	a.Trigger = a.Point + a.JobUnits + ceil(extra)
	a.Cover = Cover{p.ID, a.Free, a.Forecast.Weekly + a.JobWeekly}
	if a.Quantity, err = economicPieces(p, a.Cover.Weekly, r); err != nil {
		return Advice{}, err
	}
	a.Alert = alert(p, a, needs, today, r)
	a.Order = a.Alert.Pieces
	return a, nil
}

// due is what open jobs still need up to a day, and the variance of it.
func due(needs []JobNeed, until Day) (units int, variance float64) {
	for _, n := range needs {
		if n.Need <= until {
			units += n.Left
			variance += n.SD * n.SD
		}
	}
	return units, variance
}

// unscheduled is what job work beyond the scheduled will take within days.
func unscheduled(share []float64, usual float64, needs []JobNeed, today Day, days int) float64 {
	if len(share) == 0 {
		return 0
	}
	weeks := make([]float64, (days+6)/7)
	total := 0.0
	for _, n := range needs {
		if at := int(n.Need-today) / 7; n.Need <= today+Day(days) && len(weeks) > 0 {
			weeks[max(0, min(at, len(weeks)-1))] += float64(n.Left)
			total += float64(n.Left)
		}
	}
	return Ahead(weeks, usual, share) - total
}

// forecast fits the statistical demand by its class. Smooth and erratic use is smoothed;
// intermittent and lumpy use is SBA, whose forecast never falls when a part dies, so after
// a silence of three usual gaps and a quarter of a year TSB takes over and lets it decay.
func forecast(rest []Withdrawal, since, today Day, r Rules) (Forecast, error) {
	start := max(since, today-7*historyWeeks+1)
	weeks := max(1, int(today-start+1)/7)
	series := weekly(rest, today, weeks)
	c, err := Classify(series)
	if err != nil {
		return Forecast{}, err
	}
	f := Forecast{Class: c.Class, Method: "none", Weeks: weeks}
	switch c.Class {
	case NoDemand:
		return f, nil
	case Smooth, Erratic:
		s, err := ForecastSmooth(series, r.Alpha)
		f.Method, f.Weekly, f.SD = "smoothing", s.Rate, s.SD
		return f, err
	}
	silent := 0
	for i := len(series) - 1; i >= 0 && series[i] == 0; i-- {
		silent++
	}
	cr, err := ForecastCroston(series, r.Alpha, r.Beta)
	if err != nil {
		return f, err
	}
	f.Method, f.Weekly = "SBA", cr.SBA
	if silent > 13 && float64(silent) > 3*c.ADI {
		t, err := ForecastTSB(series, r.Alpha, r.Beta, firstDemand(series), 1/c.ADI)
		if err != nil {
			return f, err
		}
		f.Method, f.Weekly = "TSB", t.Rate
	}
	f.Sizes = sizes(rest, today-Day(7*weeks), today)
	return f, nil
}

// sizes is how much is taken on a day on which anything is taken. rest is sorted by day.
func sizes(rest []Withdrawal, after, until Day) []Chance {
	var taken []int
	for i := 0; i < len(rest); {
		day, n := rest[i].Day, 0
		for ; i < len(rest) && rest[i].Day == day; i++ {
			n += rest[i].Units
		}
		if n > 0 && day > after && day <= until {
			taken = append(taken, min(n, 1_000_000))
		}
	}
	return Tally(taken)
}

// statisticalPoint is the reorder point for the statistical demand over days. Slow movers
// get their exact distribution; from a mean of 100 units on the normal one is near enough.
func statisticalPoint(f Forecast, days int, target float64) (int, string, error) {
	mean := f.Weekly * float64(days) / 7
	if mean < 1e-9 {
		return 0, "none", nil
	}
	if len(f.Sizes) > 0 {
		size := 0.0
		for _, s := range f.Sizes {
			size += float64(s.N) * s.P
		}
		if mean <= 10_000 && len(f.Sizes) <= 1000 {
			c, err := PointCompound(mean/size, f.Sizes, target)
			if err == nil {
				return c.Point, "compound poisson", nil
			}
		}
		f.SD = math.Sqrt(f.Weekly * size)
	}
	variance := f.SD * f.SD * float64(days) / 7
	if mean > 100 {
		n, err := PointNormal(Normal{Demand: mean, Lead: 1, SD: math.Sqrt(math.Max(variance, mean)), CycleService: target})
		return n.Whole, "normal", err
	}
	b, err := PointNegBinomial(mean, variance, target)
	name := "negative binomial"
	if b.Status == UsePoisson {
		name = "poisson"
	}
	return b.Point, name, err
}

// jobWeekly is what planned work took a week over at most a year: all withdrawals less the
// statistical rest.
func jobWeekly(p Part, rest []Withdrawal, today Day, weeks int) float64 {
	weeks = min(weeks, 52)
	after, n := today-Day(7*weeks), 0
	for _, w := range p.Withdrawals {
		if w.Day > after && w.Day <= today {
			n += w.Units
		}
	}
	for _, w := range rest {
		if w.Day > after && w.Day <= today {
			n -= w.Units
		}
	}
	return math.Max(0, float64(n)/float64(weeks))
}

// economicPieces is the usual order: cheapest over a year in whole packs and price breaks,
// but no more than KeepWeeks of use, for the formula knows nothing of grades that go out
// of use. Without a price it is four weeks of use.
func economicPieces(p Part, weeklyUnits float64, r Rules) (int, error) {
	t := p.Terms
	perWeek := weeklyUnits / float64(t.UnitsPerPiece)
	if perWeek <= 0 {
		return t.inPacks(1), nil
	}
	keep := int(math.Min(1e9, math.Max(1, perWeek*r.KeepWeeks)))
	if len(t.Prices) == 0 || t.Carrying == 0 {
		return t.inPacks(min(keep, ceil(4*perWeek))), nil
	}
	d, err := DiscountInPacks(perWeek*365.25/7, float64(t.OrderCost.Cents)/100, t.list(), float64(t.Pack), float64(t.MinOrder))
	if err != nil {
		return 0, err
	}
	return min(d.Q, t.inPacks(keep)), nil
}
