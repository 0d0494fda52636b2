package main

import (
	"bytes"
	"errors"
	"fmt"

	"brasspeg/store/life"
)

// calcLifeCSV answers a CSV of edge runs: one answer, or one a kind of failure where reasons
// are on record.
func calcLifeCSV(kind string, raw []byte, o calcLifeFlags, write func(calcAnswer)) {
	file, err := life.ReadCSV(bytes.NewReader(raw))
	if err != nil {
		write(calcRefused("runs", err))
		return
	}
	if file.Runs == nil {
		calcPlainCSV(kind, file.Lives, o, write)
		return
	}
	opt := life.Options{ChatterFails: o.Chatter, PriorShape: o.Shape, Risk: o.Risk}
	parts := 0
	for _, r := range file.Runs {
		parts += r.Parts
	}
	if o.Minutes || parts == 0 {
		opt.Measure = life.InMinutes
	}
	if o.Planned != 0 || o.Unplanned != 0 {
		opt.Costs = &life.Costs{Planned: o.Planned, Unplanned: o.Unplanned}
	}
	f := life.Fit(file.Runs, opt)
	switch kind {
	case "weibull", "few-lives":
		calcFamilyFits(f, write)
	case "survival":
		a := calcAnswer{{"id", "runs"}}
		if err := calcSurvival(&a, f.Lives()); err != nil {
			a = calcRefused("runs", err)
		}
		write(a)
	case "taylor":
		switch {
		case f.Taylor != nil:
			t := f.Taylor
			write(calcAnswer{{"id", "runs"}, {"status", "ok"}, {"n", t.N}, {"C", t.C}, {"b0", t.B0}, {"b1", t.B1}, {"sigma", t.Sigma}, {"loglik", t.LogLik}, {"se_b0", t.SEB0}, {"se_b1", t.SEB1}})
		case f.NoTaylor != nil:
			write(calcRefused("runs", f.NoTaylor))
		default:
			write(calcRefused("runs", &life.Refusal{Status: "cannot_fit", Why: "no line: runs with speed and minutes at two different speeds at least are needed"}))
		}
	case "change-interval":
		calcFamilyChange(f, o, write)
	case "job-inserts":
		if o.Parts < 1 || o.Edges < 1 {
			write(calcRefused("runs", errors.New("say for what: --parts N --edges-per-insert E, and as wanted --target and --change-after")))
			return
		}
		j, err := f.ForJob(o.Parts, o.Edges, o.ChangeAfter, o.Target)
		if err != nil {
			write(calcRefused("runs", err))
			return
		}
		write(calcAnswer{
			{"id", "runs"}, {"inserts", j.Need.Inserts}, {"achieved", j.Need.Achieved}, {"achieved_one_less", j.Need.OneLess},
			{"inserts_cautious", j.Cautious}, {"expected_edges", j.Demand.ExpectedEdges}, {"sd_edges", j.Demand.SDEdges}, {"says", []string{j.Says}},
		})
	}
}

// calcFamilyFits writes a fit a kind of failure and what is to be said about them.
func calcFamilyFits(f life.Family, write func(calcAnswer)) {
	for _, e := range []life.Estimate{f.All, f.WearOut, f.Sudden} {
		if e.Kind != f.All.Kind && e.Failures == 0 {
			continue // a kind that never occurred has nothing to fit
		}
		a := calcAnswer{{"id", e.Kind}}
		if e.Refused != nil {
			write(calcRefused(e.Kind, e.Refused))
			continue
		}
		if e.Fit != nil {
			a.put("status", "ok")
		} else {
			a.put("status", "assumed")
		}
		a.put("n", e.N)
		a.put("failures", e.Failures)
		a.put("shape", e.Law.Shape)
		a.put("scale", e.Law.Scale)
		a.put("b10", e.Law.Quantile(0.1))
		a.put("median", e.Law.Quantile(0.5))
		a.put("mean", e.Law.Mean())
		a.put("sd", e.Law.SD())
		if fit := e.Fit; fit != nil {
			a.put("loglik", fit.LogLik)
			a.put("shape_ci95", fit.ShapeLimits(0.95))
			a.put("scale_ci95", fit.ScaleLimits(0.95))
			a.put("b10_ci95", fit.QuantileLimits(0.1, 0.95))
		} else {
			a.put("assumed", e.Assumed)
		}
		if e.NoFit != nil {
			a.put("no_estimate", e.NoFit.Status)
		}
		if e.Kind == f.All.Kind {
			var left []string
			for i, l := range f.LeftOut {
				if i == 100 {
					break
				}
				left = append(left, fmt.Sprintf("%d parts, %s: %s", l.Run.Parts, l.Run.Reason, l.Why))
			}
			if left != nil {
				a.put("left_out", left)
			}
			a.put("says", f.Sentences)
		}
		write(a)
	}
}

func calcFamilyChange(f life.Family, o calcLifeFlags, write func(calcAnswer)) {
	switch {
	case f.NoChange != nil:
		write(calcRefused("runs", f.NoChange))
	case f.Change == nil && f.RiskParts < 0:
		write(calcRefused("runs", errors.New("say what a change costs: --planned COST --unplanned COST, or the accepted risk of a dear part: --risk 0.01")))
	default:
		a := calcAnswer{{"id", "runs"}}
		if c := f.Change; c != nil {
			a.put("status", c.Status)
			if c.Status == life.AdviceOK {
				a.put("whole_parts", calcAnswer{{"n", c.Parts}, {"cost_per_good_part", c.Cost}})
			}
			a.put("cost_rate_run_to_failure", c.ToFailure)
			a.put("saving_fraction", c.Saving)
			a.put("prob_unplanned", c.Surprise)
		}
		if f.RiskParts >= 0 {
			a.put("parts_by_risk", f.RiskParts)
		}
		a.put("says", f.Sentences)
		write(a)
	}
}

// calcPlainCSV answers a file that tells failed from unfinished and nothing more.
func calcPlainCSV(kind string, lives []life.Life, o calcLifeFlags, write func(calcAnswer)) {
	a := calcAnswer{{"id", "runs"}}
	var err error
	switch kind {
	case "weibull":
		err = calcWeibull(&a, lives)
	case "survival":
		err = calcSurvival(&a, lives)
	case "few-lives":
		failed := 0
		for _, l := range lives {
			if l.Failed {
				failed += l.Count
			}
		}
		c := lifeCase{Method: "penalised_likelihood", PriorShape: o.Shape, PriorSD: life.PriorSDLogShape}
		if failed == 0 {
			c = lifeCase{Method: "assumed_shape", Shape: o.Shape}
		}
		err = calcFew(&a, c, lives)
	case "taylor":
		err = errors.New("this file has no speeds: name the columns reason, minutes and speed")
	case "change-interval":
		var fit life.WeibullFit
		if fit, err = life.FitWeibull(lives); err == nil {
			c := lifeCase{Shape: fit.Shape, Scale: fit.Scale, Planned: o.Planned, Unplanned: o.Unplanned}
			if o.Risk != 0 {
				c.Risk = &o.Risk
			}
			a.put("shape", fit.Shape)
			a.put("scale", fit.Scale)
			err = calcIntervalCase(&a, c, "")
		}
	case "job-inserts":
		var fit life.WeibullFit
		if o.Parts < 1 || o.Edges < 1 {
			err = errors.New("say for what: --parts N --edges-per-insert E, and as wanted --target and --change-after")
		} else if fit, err = life.FitWeibull(lives); err == nil {
			c := lifeCase{Shape: fit.Shape, Scale: fit.Scale, Parts: &o.Parts, EdgesPerInsert: int64(o.Edges), Target: &o.Target}
			if o.ChangeAfter != 0 {
				c.PlannedAt = &o.ChangeAfter
			}
			a.put("shape", fit.Shape)
			a.put("scale", fit.Scale)
			err = calcJobCase(&a, c, "")
		}
	}
	if err != nil {
		a = calcRefused("runs", err)
	}
	write(a)
}
