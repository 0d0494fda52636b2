package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"brasspeg/store/life"
)

// A lifeCase is one case of any kind as it stands in a file; what a kind does not use is left
// alone, so that a file with sources, notes and expected values can be fed as it is.
type lifeCase struct {
	ID   json.RawMessage `json:"id"`
	Name json.RawMessage `json:"name"`

	Time  []float64 `json:"time"`
	Event []int     `json:"event"`
	Count []int     `json:"count"`
	CSV   string    `json:"csv"`

	Kind   string    `json:"kind"`
	V      []float64 `json:"V"`
	F      []float64 `json:"f"`
	D      []float64 `json:"d"`
	T      []float64 `json:"T"`
	N      float64   `json:"n"`
	C      float64   `json:"C"`
	A      float64   `json:"a"`
	B      float64   `json:"b"`
	Factor float64   `json:"speed_factor"`
	Base   *struct {
		V float64 `json:"V"`
		F float64 `json:"f"`
		D float64 `json:"d"`
		T float64 `json:"T"`
	} `json:"base"`
	Predict []struct {
		V float64 `json:"V"`
		F float64 `json:"f"`
		D float64 `json:"d"`
		T float64 `json:"T"`
	} `json:"predict"`
	Change   float64 `json:"tool_change_time_min"`
	Edge     float64 `json:"tool_cost_per_edge"`
	Rate     float64 `json:"cost_rate_per_min"`
	Handling float64 `json:"handling_time_min"`
	Diameter float64 `json:"work_diameter_m"`
	Length   float64 `json:"work_length_m"`
	Feed     float64 `json:"feed_m_per_rev"`
	Regrind  *struct {
		Change       float64 `json:"change_time_min"`
		Regrind      float64 `json:"regrind_time_min"`
		PerHour      float64 `json:"rate_per_hour"`
		Depreciation float64 `json:"depreciation"`
	} `json:"regrind"`

	Shape     float64  `json:"shape"`
	Scale     float64  `json:"scale"`
	Planned   float64  `json:"cost_planned"`
	Unplanned float64  `json:"cost_unplanned"`
	Risk      *float64 `json:"accepted_risk"`

	Method      string    `json:"method"`
	PriorA      float64   `json:"prior_a"`
	PriorB      float64   `json:"prior_b"`
	PriorShape  float64   `json:"prior_shape"`
	PriorSD     float64   `json:"prior_sd_ln_shape"`
	DesignLife  float64   `json:"design_life"`
	Reliability float64   `json:"reliability"`
	Confidence  float64   `json:"confidence"`
	Levels      []float64 `json:"levels"`
	At          []float64 `json:"at"`

	GoodParts      *int64      `json:"good_parts"`
	FirstArticle   int64       `json:"first_article_parts"`
	Scrap          json.Number `json:"scrap_fraction"`
	PartsPerEdge   json.Number `json:"parts_per_edge"`
	EdgesPerInsert int64       `json:"edges_per_insert"`
	Pack           int64       `json:"pack"`
	OnHand         int64       `json:"on_hand"`
	Reserved       int64       `json:"reserved"`
	Allowance      json.Number `json:"edge_allowance"`
	MountedLeft    json.Number `json:"part_life_left_on_mounted_edge"`
	Inserts        *int        `json:"inserts"`
	Parts          *int        `json:"parts"`
	Target         *float64    `json:"target"`
	PlannedAt      *int        `json:"planned_change_at"`
}

func (c lifeCase) id() any {
	switch {
	case len(c.ID) > 0:
		return c.ID
	case len(c.Name) > 0:
		return c.Name
	}
	return nil
}

// calcLifeCase answers one case.
func calcLifeCase(kind string, raw json.RawMessage, dir string) calcAnswer {
	var c lifeCase
	if err := json.Unmarshal(raw, &c); err != nil {
		var only struct{ ID, Name json.RawMessage }
		_ = json.Unmarshal(raw, &only) // best effort: the refusal should still name the case
		if wrong, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
			err = fmt.Errorf("%s: a %s where a number or list of another kind belongs", wrong.Field, wrong.Value)
		}
		return calcRefused(lifeCase{ID: only.ID, Name: only.Name}.id(), err)
	}
	var a calcAnswer
	if id := c.id(); id != nil {
		a.put("id", id)
	}
	answer := map[string]func(*calcAnswer, lifeCase, string) error{
		"weibull": calcWeibullCase, "survival": calcSurvivalCase, "few-lives": calcFewCase,
		"taylor": calcTaylorCase, "change-interval": calcIntervalCase, "job-inserts": calcJobCase,
	}[kind]
	head := len(a)
	if err := answer(&a, c, dir); err != nil {
		// A fit that must not be used is still shown, after the refusal.
		return append(calcRefused(c.id(), err), a[head:]...)
	}
	return a
}

// lives returns the lives of a case, from its columns or from the CSV beside the file.
func (c lifeCase) lives(dir string) ([]life.Life, error) {
	if c.CSV != "" {
		if !filepath.IsLocal(c.CSV) {
			return nil, fmt.Errorf("csv %q: only a file in the same folder can be named", c.CSV)
		}
		f, err := os.Open(filepath.Join(dir, c.CSV))
		if err != nil {
			return nil, fmt.Errorf("csv %q: cannot be read beside the file of cases", c.CSV)
		}
		defer f.Close()
		data, err := life.ReadCSV(f)
		if err == nil && data.Runs != nil {
			err = fmt.Errorf("csv %q: a case wants a file with the columns time and event", c.CSV)
		}
		return data.Lives, err
	}
	return calcColumns(c.Time, c.Event, c.Count)
}

func calcColumns(time []float64, event, count []int) ([]life.Life, error) {
	if time == nil {
		return nil, errors.New("a list of lives is missing: time, event and, if wanted, count")
	}
	if len(event) != len(time) || count != nil && len(count) != len(time) {
		return nil, fmt.Errorf("%d lives, %d events, %d counts: the lists must be equally long", len(time), len(event), len(count))
	}
	out := make([]life.Life, len(time))
	for i := range time {
		if event[i] != 0 && event[i] != 1 {
			return nil, fmt.Errorf("event %d of line %d: 1 is failed, 0 taken off still good", event[i], i+1)
		}
		out[i] = life.Life{Age: time[i], Failed: event[i] == 1, Count: 1}
		if count != nil {
			out[i].Count = count[i]
		}
	}
	return out, nil
}

func calcWeibullCase(a *calcAnswer, c lifeCase, dir string) error {
	lives, err := c.lives(dir)
	if err != nil {
		return err
	}
	return calcWeibull(a, lives)
}

func calcWeibull(a *calcAnswer, lives []life.Life) error {
	fit, err := life.FitWeibull(lives)
	if err != nil {
		return err
	}
	const level = 0.95
	a.put("status", "ok")
	a.put("n", fit.N)
	a.put("failures", fit.Failures)
	a.put("shape", fit.Shape)
	a.put("scale", fit.Scale)
	a.put("loglik", fit.LogLik)
	a.put("b10", fit.Quantile(0.1))
	a.put("median", fit.Quantile(0.5))
	a.put("mean", fit.Mean())
	a.put("sd", fit.SD())
	a.put("se_log_shape", fit.SELogShape)
	a.put("se_log_scale", fit.SELogScale)
	a.put("cov_log", fit.CovLog)
	a.put("shape_ci95", fit.ShapeLimits(level))
	a.put("scale_ci95", fit.ScaleLimits(level))
	a.put("b10_ci95", fit.QuantileLimits(0.1, level))
	var alt calcAnswer
	if ln, err := life.FitLognormal(lives); err == nil {
		alt.put("lognormal", calcAnswer{{"mu", ln.Mu}, {"sigma", ln.Sigma}, {"loglik", ln.LogLik}})
	}
	if ex, err := life.FitExponential(lives); err == nil {
		alt.put("exponential", calcAnswer{{"mean", ex.Mean}, {"loglik", ex.LogLik}})
	}
	a.put("alternatives", alt)
	a.put("survreg", calcAnswer{{"intercept", math.Log(fit.Scale)}, {"scale", 1 / fit.Shape}})
	if fit.Failures < life.MinFailures {
		a.put("note", fmt.Sprintf("only %d failed: the shape is little more than a guess; calc few-lives leans on an assumed one", fit.Failures))
	}
	return nil
}

func calcSurvivalCase(a *calcAnswer, c lifeCase, dir string) error {
	lives, err := c.lives(dir)
	if err != nil {
		return err
	}
	return calcSurvival(a, lives)
}

func calcSurvival(a *calcAnswer, lives []life.Life) error {
	curve, err := life.Survive(lives, 0.95)
	if err != nil {
		return err
	}
	if len(curve) == 0 {
		return &life.Refusal{Status: "no_data", Why: "no curve: nothing is logged yet"}
	}
	age := func(x float64, ok bool) any {
		if !ok {
			return nil
		}
		return x
	}
	a.put("median", age(curve.Age(0.5)))
	a.put("p10_time", age(curve.Age(0.1)))
	a.put("median_first_at_or_below", age(curve.FirstAge(0.5)))
	steps := make([]calcAnswer, len(curve))
	for i, s := range curve {
		step := calcAnswer{
			{"t", s.Age}, {"at_risk", s.AtRisk}, {"failed", s.Failed}, {"censored", s.Censored},
			{"surv", s.Survival}, {"cumhaz_na", s.CumHazard},
		}
		if !math.IsNaN(s.SE) {
			step.put("greenwood_se", s.SE)
		}
		if s.Log != nil {
			step.put("ci95_log", s.Log)
		}
		if s.LogLog != nil {
			step.put("ci95_loglog", s.LogLog)
		}
		steps[i] = step
	}
	a.put("steps", steps)
	return nil
}

func calcIntervalCase(a *calcAnswer, c lifeCase, _ string) error {
	w := life.Weibull{Shape: c.Shape, Scale: c.Scale}
	costs := life.Costs{Planned: c.Planned, Unplanned: c.Unplanned}
	i, err := life.AgeReplacement(w, costs)
	if err != nil {
		return err
	}
	a.put("status", i.Status)
	if i.Status != life.AdviceRunToFailure {
		a.put("optimal_age", i.Age)
		a.put("cost_rate", i.CostRate)
		a.put("cost_rate_run_to_failure", i.ToFailure)
		a.put("saving_fraction", i.Saving)
		a.put("prob_unplanned", i.ProbUnplanned)
		a.put("mean_cycle", i.MeanCycle)
		a.put("mean_life", i.MeanLife)
	} else {
		a.put("cost_rate_run_to_failure", i.ToFailure)
		a.put("mean_life", i.MeanLife)
	}
	if i.Status == life.AdviceOK {
		ch, err := life.ChangeEvery(w.Survival, costs)
		switch {
		case err != nil:
			a.put("whole_parts_note", err.Error())
		case ch.Status == life.AdviceOK:
			a.put("whole_parts", calcAnswer{{"n", ch.Parts}, {"cost_per_good_part", ch.Cost}, {"saving_fraction", ch.Saving}, {"prob_unplanned", ch.Surprise}})
		}
	} else {
		a.put("says", "run to failure: no planned change is cheaper by more than a millionth")
	}
	if c.Risk != nil {
		n, err := life.ByRisk(w.Survival, *c.Risk)
		if err != nil {
			return err
		}
		a.put("parts_by_risk", n)
	}
	return nil
}

func calcFewCase(a *calcAnswer, c lifeCase, dir string) error {
	switch c.Method {
	case "zero_failure_test_time":
		if c.N != math.Trunc(c.N) || c.N > 1e15 {
			return errors.New("n: give a whole number of edges")
		}
		x, err := life.TestTimeEach(c.DesignLife, c.Reliability, int(c.N), c.Shape)
		if err == nil {
			a.put("test_time_each", x)
		}
		return err
	case "zero_failure_sample_size":
		for _, times := range []float64{1, 2} {
			n, raw, err := life.SampleSize(c.Reliability, c.Confidence, c.Shape, times)
			if err != nil {
				return err
			}
			a.put(fmt.Sprintf("n_if_tested_%gx", times), n)
			a.put(fmt.Sprintf("n_raw_%gx", times), raw)
		}
		return nil
	case "assumed_shape", "gamma_prior_on_rate", "penalised_likelihood":
	case "":
		return errors.New("method is missing: assumed_shape, gamma_prior_on_rate, penalised_likelihood, zero_failure_test_time or zero_failure_sample_size")
	default:
		return fmt.Errorf("method %q is not known: use assumed_shape, gamma_prior_on_rate, penalised_likelihood, zero_failure_test_time or zero_failure_sample_size", c.Method)
	}
	lives, err := c.lives(dir)
	if err != nil {
		return err
	}
	return calcFew(a, c, lives)
}

func calcFew(a *calcAnswer, c lifeCase, lives []life.Life) error {
	byLevel := func(levels []float64, f func(float64) float64) calcAnswer {
		var m calcAnswer
		for _, l := range levels {
			m.put(strconv.FormatFloat(l, 'g', -1, 64), f(l))
		}
		return m
	}
	switch c.Method {
	case "assumed_shape":
		x, err := life.AssumedShape(lives, c.Shape)
		if err != nil {
			return err
		}
		levels := c.Levels
		if levels == nil {
			levels = []float64{0.5, 0.9}
		}
		for _, l := range levels {
			if !(l > 0 && l < 1) {
				return fmt.Errorf("levels: %g is not between 0 and 1", l)
			}
		}
		a.put("failures", x.Failures)
		a.put("sum_t_pow", x.SumPow)
		a.put("scale", x.Scale)
		a.put("used_r", x.UsedR)
		a.put("b10", x.Quantile(0.1))
		a.put("mean", x.Mean())
		a.put("scale_lower", byLevel(levels, x.ScaleLower))
		a.put("assumed", fmt.Sprintf("the shape %g is assumed, not estimated", c.Shape))
	case "gamma_prior_on_rate":
		p, err := life.RatePrior{Shape: c.Shape, A: c.PriorA, B: c.PriorB}.Learn(lives)
		if err != nil {
			return err
		}
		at := c.At
		if at == nil {
			at = []float64{20, 40, 60}
		}
		a.put("post_a", p.A)
		a.put("post_b", p.B)
		a.put("scale_median", p.ScaleQuantile(0.5))
		a.put("scale_p10", p.ScaleQuantile(0.1))
		a.put("scale_p90", p.ScaleQuantile(0.9))
		a.put("predictive_reliability_at", byLevel(at, p.Survival))
		a.put("assumed", fmt.Sprintf("the shape %g and a prior worth %g failures are assumed", c.Shape, c.PriorA))
	case "penalised_likelihood":
		w, err := life.Penalised(lives, c.PriorShape, c.PriorSD)
		if err != nil {
			return err
		}
		a.put("shape", w.Shape)
		a.put("scale", w.Scale)
		a.put("b10", w.Quantile(0.1))
		a.put("assumed", fmt.Sprintf("the shape is held towards an assumed %g", c.PriorShape))
	}
	return nil
}

func calcJobCase(a *calcAnswer, c lifeCase, _ string) error {
	if c.GoodParts != nil {
		return calcJob(a, c)
	}
	if c.Parts == nil {
		return errors.New("give good_parts with parts_per_edge, or shape, scale and parts")
	}
	w := life.Weibull{Shape: c.Shape, Scale: c.Scale}
	if !w.Valid() {
		return errors.New("shape and scale must both be above 0")
	}
	planned := 0
	if c.PlannedAt != nil {
		planned = *c.PlannedAt
		if planned < 1 {
			return fmt.Errorf("planned_change_at %d: give 1 or more parts, or leave it out", planned)
		}
	}
	switch {
	case c.Target != nil:
		d, err := life.Renew(life.EdgeUse{R: w.Survival, PlannedAt: planned}, *c.Parts)
		if err != nil {
			return err
		}
		mean, sd := life.LifeOf(w, planned)
		n, err := d.Inserts(int(min(c.EdgesPerInsert, 1<<30)), *c.Target, mean, sd)
		if err != nil {
			return err
		}
		a.put("inserts", n.Inserts)
		a.put("achieved", n.Achieved)
		if n.Inserts > 1 {
			a.put("achieved_one_less", n.OneLess)
		} else {
			a.put("achieved_one_less", nil)
		}
		a.put("inserts_by_normal_approx", n.ByNormal)
		a.put("inserts_by_mean_only", n.ByMeanOnly)
		if n.Approximate {
			a.put("note", "too large to convolve: by the normal approximation")
		}
	case c.Inserts != nil:
		if *c.Inserts < 1 || *c.Inserts > 1_000_000 || c.EdgesPerInsert < 1 || c.EdgesPerInsert > 1000 {
			return errors.New("inserts and edges_per_insert must be 1 or more")
		}
		edges := *c.Inserts * int(c.EdgesPerInsert)
		draws := 1_000_000
		if edges > 200 {
			draws = 0 // the simulation is a second opinion, not worth minutes
		}
		x, err := life.EnoughEdges(w, planned, edges, *c.Parts, draws)
		if err != nil {
			return err
		}
		a.put("edges", x.Edges)
		a.put("edge_life_mean", x.Mean)
		a.put("edge_life_sd", x.SD)
		if draws > 0 {
			a.put("monte_carlo_1e6", x.Simulated)
			a.put("monte_carlo_se", x.SimulatedSE)
		}
		a.put("normal_approx", x.Normal)
		a.put("exact", x.Exact)
		a.put("whole_parts_exact", x.WholeParts)
		if draws > 0 {
			a.put("whole_parts_monte_carlo", x.SimulatedInt)
		}
	default:
		d, err := life.Renew(life.EdgeUse{R: w.Survival, PlannedAt: planned}, *c.Parts)
		if err != nil {
			return err
		}
		a.put("mean_parts_per_edge", d.MeanParts)
		a.put("sd_parts_per_edge", d.SDParts)
		a.put("expected_edges", d.ExpectedEdges)
		a.put("sd_edges", d.SDEdges)
		a.put("asymptotic_edges", d.Asymptotic)
		if !d.Exact {
			a.put("note", "too large to convolve: by the normal approximation")
		}
	}
	return nil
}

func calcJob(a *calcAnswer, c lifeCase) error {
	j := life.Job{
		GoodParts: *c.GoodParts, FirstArticleParts: c.FirstArticle, EdgesPerInsert: c.EdgesPerInsert,
		Pack: c.Pack, OnHand: c.OnHand, Reserved: c.Reserved,
	}
	for _, x := range []struct {
		name string
		in   json.Number
		out  **big.Rat
	}{
		{"scrap_fraction", c.Scrap, &j.Scrap}, {"parts_per_edge", c.PartsPerEdge, &j.PartsPerEdge},
		{"edge_allowance", c.Allowance, &j.Allowance}, {"part_life_left_on_mounted_edge", c.MountedLeft, &j.MountedLifeLeft},
	} {
		if x.in == "" {
			continue
		}
		r, err := life.Exact(x.in.String())
		if err != nil {
			return fmt.Errorf("%s: %w", x.name, err)
		}
		*x.out = r
	}
	n, err := j.Need()
	if err != nil {
		return err
	}
	a.put("parts_to_run", n.PartsToRun)
	a.put("edges", n.Edges)
	a.put("edges_with_allowance", n.EdgesWithAllowance)
	a.put("inserts", n.Inserts)
	a.put("inserts_short", n.Short)
	a.put("boxes", n.Boxes)
	a.put("inserts_bought", n.Bought)
	a.put("spare_inserts_after", n.SpareAfter)
	return nil
}

// calcMiddle is the round speed between two that a two-point line is asked at when the case
// does not say: a whole five where one lies between them.
func calcMiddle(v []float64) float64 {
	lo, hi := slices.Min(v), slices.Max(v)
	mid := (lo + hi) / 2
	if r := 5 * math.Floor(mid/5); r > lo && r < hi {
		return r
	}
	return mid
}
