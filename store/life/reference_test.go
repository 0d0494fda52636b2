package life_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"brasspeg/store/life"
)

const data = "../../testdata/life"

// load reads one reference file; every case in it names its source.
func load[T any](t testing.TB, name string) T {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(data, name))
	if err != nil {
		t.Fatal(err)
	}
	var v T
	if err := json.Unmarshal(raw, &v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return v
}

// livesIn are the columns that most reference cases share.
type livesIn struct {
	ID    string    `json:"id"`
	CSV   string    `json:"csv"`
	Time  []float64 `json:"time"`
	Event []int     `json:"event"`
	Count []int     `json:"count"`
}

func (in livesIn) lives(t testing.TB) []life.Life {
	t.Helper()
	if in.CSV != "" {
		return csvLives(t, in.CSV)
	}
	out := make([]life.Life, len(in.Time))
	for i := range in.Time {
		out[i] = life.Life{Age: in.Time[i], Failed: in.Event[i] == 1, Count: 1}
		if in.Count != nil {
			out[i].Count = in.Count[i]
		}
	}
	return out
}

func csvLives(t testing.TB, name string) []life.Life {
	t.Helper()
	f, err := os.Open(filepath.Join(data, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []life.Life
	for _, r := range rows[1:] {
		age, err := strconv.ParseFloat(r[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, life.Life{Age: age, Failed: r[1] == "1", Count: 1})
	}
	return out
}

// rel and abs compare with the tolerance of the file.
func rel(t *testing.T, id, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Abs(want)) {
		t.Errorf("%s: %s = %.13g, want %.13g within %g relative (off by %.2g)", id, what, got, want, tol, (got-want)/want)
	}
}

func abs(t *testing.T, id, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %s = %.13g, want %.13g within %g", id, what, got, want, tol)
	}
}

func status(err error) string {
	if err == nil {
		return "ok"
	}
	if r, ok := err.(*life.Refusal); ok {
		return r.Status
	}
	return err.Error()
}

// published holds what a book or handbook prints, in its own digits.
type published struct {
	Shape, Scale, LogLik, AIC, Mean, SD *float64
	LognormalAIC                        *float64 `json:"lognormal_aic"`
	Memory                              bool     `json:"from_memory"`
}

func TestWeibullReference(t *testing.T) {
	type pair = []float64
	file := load[struct {
		Tol   struct{ Shape_scale_rel, Loglik_abs, Limits_rel, Alternatives_rel float64 } `json:"tolerance"`
		Cases []struct {
			livesIn
			Expected struct {
				Status                string
				N, Failures           int
				Shape, Scale, Loglik  float64
				B10, Median, Mean, SD float64
				SELogShape            float64 `json:"se_log_shape"`
				SELogScale            float64 `json:"se_log_scale"`
				CovLog                float64 `json:"cov_log"`
				ShapeCI               pair    `json:"shape_ci95"`
				ScaleCI               pair    `json:"scale_ci95"`
				B10CI                 pair    `json:"b10_ci95"`
			}
			Alternatives *struct {
				Lognormal   struct{ Mu, Sigma, Loglik float64 }
				Exponential struct{ Mean, Loglik float64 }
			}
			Published published
		}
	}](t, "weibull.json")
	if len(file.Cases) != 36 {
		t.Fatalf("%d cases, want 36", len(file.Cases))
	}
	tol := file.Tol
	for _, c := range file.Cases {
		lives, want := c.lives(t), c.Expected
		fit, err := life.FitWeibull(lives)
		if got := status(err); got != want.Status {
			t.Errorf("%s: status %q, want %q", c.ID, got, want.Status)
			continue
		}
		if err != nil {
			if err.Error() == "" || fit != (life.WeibullFit{}) {
				t.Errorf("%s: a refusal needs words and no numbers, got %q, %+v", c.ID, err, fit)
			}
			continue
		}
		if fit.N != want.N || fit.Failures != want.Failures {
			t.Errorf("%s: %d edges, %d failures, want %d, %d", c.ID, fit.N, fit.Failures, want.N, want.Failures)
		}
		rel(t, c.ID, "shape", fit.Shape, want.Shape, tol.Shape_scale_rel)
		rel(t, c.ID, "scale", fit.Scale, want.Scale, tol.Shape_scale_rel)
		abs(t, c.ID, "loglik", fit.LogLik, want.Loglik, tol.Loglik_abs)
		for _, x := range []struct {
			what      string
			got, want float64
		}{
			{"b10", fit.Quantile(0.1), want.B10}, {"median", fit.Quantile(0.5), want.Median},
			{"mean", fit.Mean(), want.Mean}, {"sd", fit.SD(), want.SD},
			{"se ln shape", fit.SELogShape, want.SELogShape}, {"se ln scale", fit.SELogScale, want.SELogScale},
			{"shape low", fit.ShapeLimits(0.95).Low, want.ShapeCI[0]}, {"shape high", fit.ShapeLimits(0.95).High, want.ShapeCI[1]},
			{"scale low", fit.ScaleLimits(0.95).Low, want.ScaleCI[0]}, {"scale high", fit.ScaleLimits(0.95).High, want.ScaleCI[1]},
			{"b10 low", fit.QuantileLimits(0.1, 0.95).Low, want.B10CI[0]}, {"b10 high", fit.QuantileLimits(0.1, 0.95).High, want.B10CI[1]},
		} {
			rel(t, c.ID, x.what, x.got, x.want, tol.Limits_rel)
		}
		// A covariance near 0 is a difference of larger terms: its error is theirs.
		abs(t, c.ID, "cov", fit.CovLog, want.CovLog, tol.Limits_rel*fit.SELogScale*fit.SELogShape)

		if c.Alternatives == nil {
			t.Errorf("%s: no alternatives in the file", c.ID)
			continue
		}
		ln, err := life.FitLognormal(lives)
		if err != nil {
			t.Errorf("%s: lognormal: %v", c.ID, err)
		}
		ex, err := life.FitExponential(lives)
		if err != nil {
			t.Errorf("%s: exponential: %v", c.ID, err)
		}
		rel(t, c.ID, "lognormal mu", ln.Mu, c.Alternatives.Lognormal.Mu, tol.Alternatives_rel)
		rel(t, c.ID, "lognormal sigma", ln.Sigma, c.Alternatives.Lognormal.Sigma, tol.Alternatives_rel)
		rel(t, c.ID, "lognormal loglik", ln.LogLik, c.Alternatives.Lognormal.Loglik, tol.Alternatives_rel)
		rel(t, c.ID, "exponential mean", ex.Mean, c.Alternatives.Exponential.Mean, tol.Alternatives_rel)
		rel(t, c.ID, "exponential loglik", ex.LogLik, c.Alternatives.Exponential.Loglik, tol.Alternatives_rel)

		// Printed digits: half a unit of the last one printed, a whole one from memory.
		p := c.Published
		for _, x := range []struct {
			what string
			want *float64
			got  float64
			unit float64
		}{
			{"published shape", p.Shape, fit.Shape, 5e-4}, {"published log-likelihood", p.LogLik, fit.LogLik, 1e-3},
			{"published AIC", p.AIC, 4 - 2*fit.LogLik, 5e-3}, {"published lognormal AIC", p.LognormalAIC, 4 - 2*ln.LogLik, 5e-3},
			{"published mean", p.Mean, fit.Mean(), 5e-4}, {"published sd", p.SD, fit.SD(), 5e-4},
		} {
			if x.want != nil {
				abs(t, c.ID, x.what, x.got, *x.want, x.unit)
			}
		}
		if p.Scale != nil {
			rel(t, c.ID, "published scale", fit.Scale, *p.Scale, 1e-4)
		}
	}
}

func TestKaplanMeierReference(t *testing.T) {
	file := load[struct {
		Tol   float64 `json:"tolerance_abs"`
		Cases []struct {
			livesIn
			Median *float64
			P10    *float64 `json:"p10_time"`
			First  *float64 `json:"median_first_at_or_below"`
			Steps  []struct {
				T                float64
				AtRisk           int `json:"at_risk"`
				Failed, Censored int
				Surv             float64
				CumHaz           float64  `json:"cumhaz_na"`
				SE               *float64 `json:"greenwood_se"`
				Log, LogLog      []float64
				CILog            []float64 `json:"ci95_log"`
				CILogLog         []float64 `json:"ci95_loglog"`
			}
		}
	}](t, "kaplan_meier.json")
	if len(file.Cases) != 8 {
		t.Fatalf("%d cases, want 8", len(file.Cases))
	}
	for _, c := range file.Cases {
		curve, err := life.Survive(c.lives(t), 0.95)
		if err != nil {
			t.Errorf("%s: %v", c.ID, err)
			continue
		}
		if len(curve) != len(c.Steps) {
			t.Errorf("%s: %d steps, want %d", c.ID, len(curve), len(c.Steps))
			continue
		}
		for i, want := range c.Steps {
			got, at := curve[i], c.ID+" step "+strconv.Itoa(i)
			if got.Age != want.T || got.AtRisk != want.AtRisk || got.Failed != want.Failed || got.Censored != want.Censored {
				t.Errorf("%s: %+v, want %+v", at, got, want)
			}
			abs(t, at, "survival", got.Survival, want.Surv, file.Tol)
			abs(t, at, "hazard", got.CumHazard, want.CumHaz, file.Tol)
			if (want.SE == nil) != math.IsNaN(got.SE) {
				t.Errorf("%s: Greenwood error %v, want %v", at, got.SE, want.SE)
			} else if want.SE != nil {
				abs(t, at, "Greenwood error", got.SE, *want.SE, file.Tol)
			}
			limits := func(what string, got *life.Limits, want []float64) {
				if (got == nil) != (want == nil) {
					t.Errorf("%s: %s limits %v, want %v", at, what, got, want)
				} else if got != nil {
					abs(t, at, what+" low", got.Low, want[0], file.Tol)
					abs(t, at, what+" high", got.High, want[1], file.Tol)
				}
			}
			limits("log", got.Log, want.CILog)
			limits("log-log", got.LogLog, want.CILogLog)
		}
		age := func(what string, got float64, ok bool, want *float64) {
			if ok != (want != nil) || ok && math.Abs(got-*want) > file.Tol {
				t.Errorf("%s: %s = %v, %v, want %v", c.ID, what, got, ok, want)
			}
		}
		m, ok := curve.Age(0.5)
		age("median", m, ok, c.Median)
		m, ok = curve.Age(0.1)
		age("p10", m, ok, c.P10)
		m, ok = curve.FirstAge(0.5)
		age("first at half", m, ok, c.First)
	}
}

func TestAgeReplacementReference(t *testing.T) {
	file := load[struct {
		Tol   struct{ Optimal_age_rel, Cost_rate_rel float64 } `json:"tolerance"`
		Cases []struct {
			ID           string
			Shape, Scale float64
			Planned      float64 `json:"cost_planned"`
			Unplanned    float64 `json:"cost_unplanned"`
			Published    struct{ Optimal_age, Cost_rate *float64 }
			Expected     struct {
				Status                          string
				Optimal_age, Cost_rate          float64
				Cost_rate_run_to_failure        float64
				Saving_fraction, Prob_unplanned float64
				Mean_cycle, Mean_life           float64
				Whole_parts                     *struct {
					N    int
					Cost float64 `json:"cost_per_good_part"`
				}
			}
		}
	}](t, "age_replacement.json")
	if len(file.Cases) != 39 {
		t.Fatalf("%d cases, want 39", len(file.Cases))
	}
	for _, c := range file.Cases {
		w, costs, want := life.Weibull{Shape: c.Shape, Scale: c.Scale}, life.Costs{Planned: c.Planned, Unplanned: c.Unplanned}, c.Expected
		got, err := life.AgeReplacement(w, costs)
		if err != nil || got.Status != want.Status {
			t.Errorf("%s: %q, %v, want %q", c.ID, got.Status, err, want.Status)
			continue
		}
		tol := file.Tol.Cost_rate_rel
		rel(t, c.ID, "cost run to failure", got.ToFailure, want.Cost_rate_run_to_failure, tol)
		rel(t, c.ID, "mean life", got.MeanLife, want.Mean_life, tol)
		if want.Status == "run_to_failure" {
			continue
		}
		rel(t, c.ID, "cost", got.CostRate, want.Cost_rate, tol)
		if want.Status == "ok" {
			rel(t, c.ID, "age", got.Age, want.Optimal_age, file.Tol.Optimal_age_rel)
			abs(t, c.ID, "saving", got.Saving, want.Saving_fraction, 2*tol)
			// These two are as exact as the age they belong to.
			rel(t, c.ID, "chance of a failure", got.ProbUnplanned, want.Prob_unplanned, c.Shape*file.Tol.Optimal_age_rel)
			rel(t, c.ID, "mean cycle", got.MeanCycle, want.Mean_cycle, file.Tol.Optimal_age_rel)
		}
		whole, err := life.ChangeEvery(w.Survival, costs)
		if err != nil {
			t.Errorf("%s: whole parts: %v", c.ID, err)
			continue
		}
		if p := want.Whole_parts; p != nil {
			if whole.Parts != p.N {
				t.Errorf("%s: change after %d parts, want %d", c.ID, whole.Parts, p.N)
			}
			rel(t, c.ID, "cost per good part", whole.Cost, p.Cost, tol)
			rel(t, c.ID, "cost of that interval", life.CostEvery(w.Survival, costs, p.N), p.Cost, tol)
		}
		if p := c.Published; p.Optimal_age != nil {
			abs(t, c.ID, "published age", got.Age, *p.Optimal_age, 0.2) // the note: a coarse grid
			abs(t, c.ID, "published cost", got.CostRate, *p.Cost_rate, 5e-5)
		}
	}
}

func TestGammaDigits(t *testing.T) {
	file := load[struct {
		Tol   float64 `json:"tolerance_rel"`
		Cases []struct {
			Kind             string
			K, Value, Second float64
			Shape, X         float64
			Restricted       float64 `json:"restricted_mean_over_scale"`
			F                float64
			LnR              float64 `json:"ln_R"`
			Hazard           float64 `json:"hazard_times_scale"`
		}
	}](t, "gamma_digits.json")
	if len(file.Cases) != 36 {
		t.Fatalf("%d cases, want 36", len(file.Cases))
	}
	for i, c := range file.Cases {
		id := c.Kind + " " + strconv.Itoa(i)
		switch c.Kind {
		case "gamma_1_plus_inv_k":
			w := life.Weibull{Shape: c.K, Scale: 1}
			rel(t, id, "mean", w.Mean(), c.Value, file.Tol)
			// The second moment leaves the package as a variance, which loses digits to the
			// subtraction at large shapes: at k = 200 nine of them stay.
			want := c.Second - c.Value*c.Value
			abs(t, id, "variance", w.SD()*w.SD(), want, 1e-14*c.Second+2e-9*want)
		case "restricted_mean":
			w := life.Weibull{Shape: c.Shape, Scale: 1}
			rel(t, id, "mean up to x", w.MeanUpTo(c.X), c.Restricted, file.Tol)
		case "tails":
			w := life.Weibull{Shape: c.Shape, Scale: 1}
			rel(t, id, "failed", w.Failed(c.X), c.F, file.Tol)
			if s := w.Survival(c.X); s > 0 && c.LnR < -1e-3 {
				rel(t, id, "ln survival", math.Log(s), c.LnR, 1e-11) // exp then log
			}
			rel(t, id, "hazard", w.Hazard(c.X), c.Hazard, file.Tol)
		default:
			t.Errorf("unknown kind %q", c.Kind)
		}
	}
}
