package reorder

import (
	"fmt"
	"math"
)

// mostPeriods is a longer history than any shop has: a thousand years of days.
const mostPeriods = 400_000

func history(demand []float64) error {
	if len(demand) == 0 {
		return &BadInput{"demand", "", "is empty", "give one number a period, 0 where nothing was used"}
	}
	if len(demand) > mostPeriods {
		return &BadInput{"demand", fmt.Sprintf("of %d periods", len(demand)), "is too long", "use longer periods"}
	}
	for i, d := range demand {
		if math.IsNaN(d) || d < 0 || d > most {
			return &BadInput{fmt.Sprintf("demand[%d]", i), show(d), "cannot be negative or absurd", "book a return against its withdrawal"}
		}
	}
	return nil
}

func smoothing(field string, a float64) error {
	if a > 0 && a <= 1 {
		return nil
	}
	return &BadInput{field, show(a), "a smoothing constant lies above 0 and not above 1", "0.1 is usual"}
}

// A Croston forecast separates how much is asked for from how often.
type Croston struct {
	Rate     float64   // units a period from the next period on: size/interval
	SBA      float64   // Rate (1 - beta/2): Syntetos and Boylan's correction
	SBJ      float64   // Rate (1 - beta/(2-beta)): Shale, Boylan and Johnston's
	Size     float64   // smoothed demand when there is one; NaN before the first
	Interval float64   // smoothed periods between demands; NaN before the first
	Path     []float64 // Rate after each period; NaN before the first demand
}

// ForecastCroston smooths sizes by alpha and intervals by beta (both in (0, 1]). It starts
// at the first demand: size = that demand, interval = its period counted from 1. Periods
// without demand change nothing, so the forecast of a dead part never falls. A history of
// zeros forecasts 0. On demand without zeros SBA is low by beta/2: use it for
// intermittent classes only.
//
// Source: Croston 1972; Syntetos & Boylan 2005; Shale, Boylan & Johnston 2006. Other
// programs start differently and differ for that.
func ForecastCroston(demand []float64, alpha, beta float64) (Croston, error) {
	return croston(demand, alpha, beta, math.NaN(), math.NaN())
}

// ForecastCrostonFrom starts from a size (>= 0) and an interval (>= 1) known beforehand;
// the first interval is counted from period 1.
func ForecastCrostonFrom(demand []float64, alpha, beta, size, interval float64) (Croston, error) {
	if err := notNegative("z0", size); err != nil {
		return Croston{}, err
	}
	if !(interval >= 1 && interval <= most) {
		return Croston{}, &BadInput{"p0", show(interval), "an interval is at least one period", "give 1 or more"}
	}
	return croston(demand, alpha, beta, size, interval)
}

func croston(demand []float64, alpha, beta, size, interval float64) (Croston, error) {
	if err := first(history(demand), smoothing("alpha", alpha), smoothing("beta", beta)); err != nil {
		return Croston{}, err
	}
	c := Croston{Size: size, Interval: interval, Path: make([]float64, len(demand))}
	since := 0
	for i, d := range demand {
		since++
		if d > 0 {
			if math.IsNaN(c.Size) {
				c.Size, c.Interval = d, float64(since)
			} else {
				c.Size += alpha * (d - c.Size)
				c.Interval += beta * (float64(since) - c.Interval)
			}
			since = 0
		}
		c.Path[i] = c.Size / c.Interval
	}
	if !math.IsNaN(c.Size) {
		c.Rate = c.Size / c.Interval
	}
	c.SBA = c.Rate * (1 - beta/2)
	c.SBJ = c.Rate * (1 - beta/(2-beta))
	return c, nil
}

// A TSB forecast smooths the chance of a demand in every period, so it decays when a part
// dies.
type TSB struct {
	Rate        float64   // units a period: Size times Probability
	Size        float64   // smoothed demand when there is one
	Probability float64   // smoothed chance of a demand in a period
	Path        []float64 // Rate after each period
}

// ForecastTSB starts from a size z0 (>= 0) and a probability p0 (0..1).
//
// Source: Teunter, Syntetos & Babai 2011.
func ForecastTSB(demand []float64, alpha, beta, z0, p0 float64) (TSB, error) {
	if err := first(history(demand), smoothing("alpha", alpha), smoothing("beta", beta), notNegative("z0", z0)); err != nil {
		return TSB{}, err
	}
	if !(p0 >= 0 && p0 <= 1) {
		return TSB{}, &BadInput{"p0", show(p0), "a probability lies between 0 and 1", "0.5 is usual"}
	}
	t := TSB{Size: z0, Probability: p0, Path: make([]float64, len(demand))}
	for i, d := range demand {
		if d > 0 {
			t.Size += alpha * (d - t.Size)
			t.Probability += beta * (1 - t.Probability)
		} else {
			t.Probability -= beta * t.Probability
		}
		t.Path[i] = t.Probability * t.Size
	}
	t.Rate = t.Probability * t.Size
	return t, nil
}

// A Smoothed forecast is simple exponential smoothing with the scatter around it.
type Smoothed struct {
	Rate float64 // units a period
	SD   float64 // root mean square of the one-period errors
}

// ForecastSmooth smooths by alpha, starting from the mean of the first four periods, and
// measures its own errors after them; the scatter of the demand itself would count a
// risen level as scatter for ever.
func ForecastSmooth(demand []float64, alpha float64) (Smoothed, error) {
	if err := first(history(demand), smoothing("alpha", alpha)); err != nil {
		return Smoothed{}, err
	}
	n := min(4, len(demand))
	var s Smoothed
	for _, d := range demand[:n] {
		s.Rate += d / float64(n)
	}
	squares, count := 0.0, 0
	for i, d := range demand {
		e := d - s.Rate
		if i >= n || len(demand) <= 8 {
			squares += e * e
			count++
		}
		s.Rate += alpha * e
	}
	if count > 0 {
		s.SD = math.Sqrt(squares / float64(count))
	}
	return s, nil
}
