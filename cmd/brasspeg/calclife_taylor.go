package main

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"brasspeg/store/life"
)

// calcTaylorCase answers one case about life and speed. Where a case does not say for which
// speeds or lives it wants a prediction, the questions are those a shop asks first.
func calcTaylorCase(a *calcAnswer, c lifeCase, _ string) error {
	switch c.Kind {
	case "two_point", "least_squares":
		return calcTaylorLine(a, c)
	case "ratio":
		x, err := life.RatioLife(c.N, c.Factor)
		if err != nil {
			return err
		}
		a.put("life_factor", x)
		a.put("change_percent", 100*(x-1))
		return nil
	case "extended_least_squares", "extended_exact":
		return calcTaylorPlane(a, c)
	case "extended_predict":
		return calcTaylorPredict(a, c)
	case "economics":
		return calcTaylorEconomy(a, c)
	case "cost_only":
		r := c.Regrind
		if r == nil {
			return errors.New("regrind is missing: {change_time_min, regrind_time_min, rate_per_hour, depreciation}")
		}
		x, err := life.ReplacedToolCost(r.Change, r.Regrind, r.PerHour, r.Depreciation)
		if err == nil {
			a.put("tooling_cost", x)
		}
		return err
	case "censored_regression":
		lives, err := calcColumns(c.T, c.Event, c.Count)
		if err != nil {
			return err
		}
		return calcTaylorCensored(a, c.V, lives)
	}
	return fmt.Errorf("kind %q is not known: use two_point, least_squares, ratio, extended_least_squares, extended_exact, extended_predict, economics, cost_only or censored_regression", c.Kind)
}

func calcTaylorLine(a *calcAnswer, c lifeCase) error {
	two := c.Kind == "two_point"
	if two && (len(c.V) != 2 || len(c.T) != 2) {
		return errors.New("two_point: give two speeds V and their two lives T")
	}
	f, err := life.FitTaylor(c.V, c.T)
	if r, ok := errors.AsType[*life.Refusal](err); err != nil && !(ok && r.Status == "reject_wrong_sign") {
		return err
	}
	if !two && err == nil {
		a.put("status", "ok")
	}
	a.put("n", f.N)
	a.put("C", f.C)
	if !two {
		a.put("ln_T_intercept", f.Intercept)
		a.put("ln_T_slope", f.Slope)
		a.put("r2", f.R2)
		if !math.IsNaN(f.ResidSD) {
			a.put("resid_sd_ln_T", f.ResidSD)
		}
		a.put("other_direction", calcAnswer{{"n", f.Swapped.N}, {"C", f.Swapped.C}})
	}
	if err != nil {
		return err // shown, never extrapolated
	}
	var list []calcAnswer
	life4 := func(v float64) { list = append(list, calcAnswer{{"V", v}, {"T", f.Life(v)}}) }
	speed4 := func(t float64) { list = append(list, calcAnswer{{"T", t}, {"V", f.Speed(t)}}) }
	switch {
	case c.Predict != nil:
		for _, p := range c.Predict {
			switch {
			case p.V > 0 && p.T == 0:
				life4(p.V)
			case p.T > 0 && p.V == 0:
				speed4(p.T)
			default:
				return errors.New("predict: each entry names either a speed V or a life T, above 0")
			}
		}
	case two:
		life4(calcMiddle(c.V))
		speed4(1)
		speed4(15)
		speed4(60)
	default:
		v := slices.Clone(c.V)
		slices.Sort(v)
		v = slices.Compact(v)
		sum := 0.0
		for _, x := range v {
			sum += x
		}
		life4(v[0])
		if mid := math.Round(sum / float64(len(v))); mid > v[0] && mid < v[len(v)-1] {
			life4(mid)
		}
		life4(v[len(v)-1])
	}
	a.put("predict", list)
	return nil
}

func calcTaylorPlane(a *calcAnswer, c lifeCase) error {
	f, err := life.FitExtended(c.V, c.F, c.D, c.T)
	if r, ok := errors.AsType[*life.Refusal](err); err != nil && !(ok && r.Status == "reject_wrong_sign") {
		return err
	}
	if c.Kind == "extended_exact" {
		a.put("p", 1/f.N)
		a.put("q", f.A/f.N)
		a.put("K", math.Pow(f.C, 1/f.N))
	} else {
		if err == nil {
			a.put("status", "ok")
		}
		for i, b := range f.Coef {
			a.put(fmt.Sprintf("b%d", i), b)
		}
	}
	a.put("n", f.N)
	a.put("a", f.A)
	if c.D != nil {
		a.put("b", f.B)
	}
	a.put("C", f.C)
	if err != nil || c.Kind == "extended_exact" {
		return err
	}
	if !math.IsNaN(f.ResidSD) {
		a.put("resid_sd_ln_T", f.ResidSD)
	}
	distinct := func(v []float64) []float64 {
		v = slices.Clone(v)
		slices.Sort(v)
		return slices.Compact(v)
	}
	var list []calcAnswer
	add := func(v, feed, depth float64) {
		p := calcAnswer{{"V", v}, {"f", feed}}
		if c.D != nil {
			p.put("d", depth)
		}
		p.put("T", f.Life(v, feed, depth))
		list = append(list, p)
	}
	if c.Predict != nil {
		for _, p := range c.Predict {
			if !(p.V > 0 && p.F > 0) || c.D != nil && !(p.D > 0) {
				return errors.New("predict: each entry names speed V and feed f (and depth d where it varied), above 0")
			}
			add(p.V, p.F, p.D)
		}
	} else {
		// The middle feed, at the lower quarter and the middle of the speeds tried.
		v, feed, depth := distinct(c.V), distinct(c.F), 0.0
		if c.D != nil {
			d := distinct(c.D)
			depth = d[len(d)/2]
		}
		add(v[len(v)/4], feed[len(feed)/2], depth)
		add(v[len(v)/2], feed[len(feed)/2], depth)
	}
	a.put("predict", list)
	return nil
}

func calcTaylorPredict(a *calcAnswer, c lifeCase) error {
	b := c.Base
	if b == nil {
		return errors.New("base is missing: one known life T with its V, f and d")
	}
	e, err := life.ExtendedFrom(c.N, c.A, c.B, b.V, b.F, b.D, b.T)
	if err != nil {
		return err
	}
	a.put("C", e.C)
	var list []calcAnswer
	for _, x := range []struct {
		name    string
		v, f, d float64
	}{{"speed +20 %", 1.2, 1, 1}, {"feed +20 %", 1, 1.2, 1}, {"depth +20 %", 1, 1, 1.2}, {"all +20 %", 1.2, 1.2, 1.2}} {
		v, f, d := b.V*x.v, b.F*x.f, b.D*x.d
		list = append(list, calcAnswer{{"change", x.name}, {"V", v}, {"f", f}, {"d", d}, {"T", e.Life(v, f, d)}})
	}
	a.put("changes", list)
	return nil
}

func calcTaylorEconomy(a *calcAnswer, c lifeCase) error {
	e, err := life.Economy(life.Taylor{N: c.N, C: c.C}, life.Cut{
		ChangeTime: c.Change, EdgeCost: c.Edge, RatePerMin: c.Rate,
		Handling: c.Handling, WorkDiameter: c.Diameter, WorkLength: c.Length, Feed: c.Feed,
	})
	if err != nil {
		return err
	}
	a.put("T_max_production", e.MaxProduction.Life)
	a.put("V_max_production", e.MaxProduction.Speed)
	a.put("T_min_cost", e.MinCost.Life)
	a.put("V_min_cost", e.MinCost.Speed)
	if e.MinCost.MachiningTime > 0 {
		for _, x := range []struct {
			name string
			p    life.CutPoint
		}{{"max_production", e.MaxProduction}, {"min_cost", e.MinCost}} {
			a.put("machining_time_min_"+x.name, x.p.MachiningTime)
			a.put("pieces_per_edge_"+x.name, x.p.PiecesPerEdge)
			a.put("cycle_time_min_"+x.name, x.p.CycleTime)
			a.put("cost_per_piece_"+x.name, x.p.CostPerPiece)
		}
	}
	return nil
}

func calcTaylorCensored(a *calcAnswer, v []float64, lives []life.Life) error {
	for _, x := range []struct {
		name string
		law  life.Law
	}{{"weibull", life.LawWeibull}, {"lognormal", life.LawLognormal}} {
		f, err := life.FitTaylorCensored(v, lives, x.law)
		if err != nil {
			return err
		}
		a.put(x.name, calcAnswer{
			{"b0", f.B0}, {"b1", f.B1}, {"sigma", f.Sigma}, {"loglik", f.LogLik},
			{"se_b0", f.SEB0}, {"se_b1", f.SEB1}, {"n", f.N}, {"C", f.C},
		})
	}
	return nil
}
