package life_test

import (
	"strconv"
	"testing"

	"brasspeg/store/life"
)

func TestFewFailuresReference(t *testing.T) {
	file := load[struct {
		Tol     float64 `json:"tolerance_rel"`
		Scatter struct {
			Table [][2]float64 `json:"cv_shape"`
		} `json:"shape_from_scatter"`
		Cases []struct {
			livesIn
			Method           string
			Shape            float64
			Prior_a, Prior_b float64
			Prior_shape      float64
			Prior_sd         float64 `json:"prior_sd_ln_shape"`
			Design_life      float64
			Reliability      float64
			Confidence       float64
			N                int
			Published        struct{ Test_time_each float64 }
			Expected         struct {
				Failures                int
				Sum_t_pow, Scale, Shape float64
				Used_r                  int
				B10, Mean               float64
				Scale_lower             map[string]float64
				Post_a, Post_b          float64
				Scale_median            float64
				Scale_p10, Scale_p90    float64
				Predictive              map[string]float64 `json:"predictive_reliability_at"`
				Test_time_each          float64
				N1                      int     `json:"n_if_tested_1x"`
				Raw1                    float64 `json:"n_raw_1x"`
				N2                      int     `json:"n_if_tested_2x"`
				Raw2                    float64 `json:"n_raw_2x"`
			}
		}
	}](t, "small_sample.json")
	if len(file.Cases) != 26 {
		t.Fatalf("%d cases, want 26", len(file.Cases))
	}
	tol := file.Tol
	for _, row := range file.Scatter.Table {
		k, err := life.ShapeFromScatter(row[0])
		if err != nil {
			t.Error(err)
		}
		rel(t, "scatter", strconv.FormatFloat(row[0], 'g', -1, 64), k, row[1], tol)
	}
	for _, c := range file.Cases {
		want := c.Expected
		switch c.Method {
		case "assumed_shape":
			a, err := life.AssumedShape(c.lives(t), c.Shape)
			if err != nil || a.Failures != want.Failures || a.UsedR != want.Used_r {
				t.Errorf("%s: %+v, %v", c.ID, a, err)
			}
			rel(t, c.ID, "sum", a.SumPow, want.Sum_t_pow, tol)
			rel(t, c.ID, "scale", a.Scale, want.Scale, tol)
			rel(t, c.ID, "b10", a.Quantile(0.1), want.B10, tol)
			rel(t, c.ID, "mean", a.Mean(), want.Mean, tol)
			for level, w := range want.Scale_lower {
				l, err := strconv.ParseFloat(level, 64)
				if err != nil {
					t.Fatal(err)
				}
				rel(t, c.ID, "lower limit "+level, a.ScaleLower(l), w, tol)
			}
		case "gamma_prior_on_rate":
			p, err := life.RatePrior{Shape: c.Shape, A: c.Prior_a, B: c.Prior_b}.Learn(c.lives(t))
			if err != nil {
				t.Errorf("%s: %v", c.ID, err)
			}
			rel(t, c.ID, "a", p.A, want.Post_a, tol)
			rel(t, c.ID, "b", p.B, want.Post_b, tol)
			rel(t, c.ID, "scale median", p.ScaleQuantile(0.5), want.Scale_median, tol)
			rel(t, c.ID, "scale p10", p.ScaleQuantile(0.1), want.Scale_p10, tol)
			rel(t, c.ID, "scale p90", p.ScaleQuantile(0.9), want.Scale_p90, tol)
			for age, w := range want.Predictive {
				x, err := strconv.ParseFloat(age, 64)
				if err != nil {
					t.Fatal(err)
				}
				rel(t, c.ID, "predictive at "+age, p.Survival(x), w, tol)
			}
			// The prior in the file is worth 2 failures at scale 80.
			prior := life.PriorOf(life.Weibull{Shape: c.Shape, Scale: 80}, 2)
			rel(t, c.ID, "prior b", prior.B, c.Prior_b, tol)
		case "penalised_likelihood":
			w, err := life.Penalised(c.lives(t), c.Prior_shape, c.Prior_sd)
			if err != nil {
				t.Errorf("%s: %v", c.ID, err)
			}
			rel(t, c.ID, "shape", w.Shape, want.Shape, tol)
			rel(t, c.ID, "scale", w.Scale, want.Scale, tol)
			rel(t, c.ID, "b10", w.Quantile(0.1), want.B10, tol)
		case "zero_failure_test_time":
			x, err := life.TestTimeEach(c.Design_life, c.Reliability, c.N, c.Shape)
			if err != nil {
				t.Error(err)
			}
			rel(t, c.ID, "time", x, want.Test_time_each, tol)
			abs(t, c.ID, "published time", x, c.Published.Test_time_each, 0.5)
		case "zero_failure_sample_size":
			n1, raw1, err1 := life.SampleSize(c.Reliability, c.Confidence, c.Shape, 1)
			n2, raw2, err2 := life.SampleSize(c.Reliability, c.Confidence, c.Shape, 2)
			if n1 != want.N1 || n2 != want.N2 || err1 != nil || err2 != nil {
				t.Errorf("%s: %d and %d edges, want %d and %d", c.ID, n1, n2, want.N1, want.N2)
			}
			rel(t, c.ID, "raw", raw1, want.Raw1, tol)
			rel(t, c.ID, "raw 2x", raw2, want.Raw2, tol)
		default:
			t.Errorf("%s: unknown method %q", c.ID, c.Method)
		}
	}
}

type taylorCase struct {
	ID, Kind   string
	V, F, D, T []float64
	Event      []int
	Expected   struct {
		Status                      string
		N, C, A                     float64
		P, Q, K                     float64
		B0, B1, B2                  float64
		Intercept                   float64 `json:"ln_T_intercept"`
		Slope                       float64 `json:"ln_T_slope"`
		R2                          float64
		Resid                       float64                 `json:"resid_sd_ln_T"`
		Other                       *struct{ N, C float64 } `json:"other_direction"`
		Predict                     []struct{ V, F, T float64 }
		Life_factor, Change_percent float64
		Weibull, Lognormal          *struct {
			B0, B1, Sigma, Loglik, N, C float64
			SEB0                        float64 `json:"se_b0"`
			SEB1                        float64 `json:"se_b1"`
		}
		Changes        []struct{ V, F, D, T float64 }
		TMaxProduction float64 `json:"T_max_production"`
		VMaxProduction float64 `json:"V_max_production"`
		TMinCost       float64 `json:"T_min_cost"`
		VMinCost       float64 `json:"V_min_cost"`
		M1             float64 `json:"machining_time_min_max_production"`
		P1             float64 `json:"pieces_per_edge_max_production"`
		C1             float64 `json:"cycle_time_min_max_production"`
		K1             float64 `json:"cost_per_piece_max_production"`
		M2             float64 `json:"machining_time_min_min_cost"`
		P2             float64 `json:"pieces_per_edge_min_cost"`
		C2             float64 `json:"cycle_time_min_min_cost"`
		K2             float64 `json:"cost_per_piece_min_cost"`
		Tooling        float64 `json:"tooling_cost"`
	}
	Published map[string]any
	N         float64 `json:"n"`
	CC        float64 `json:"C"`
	A, B      float64
	Base      struct{ V, F, D, T float64 }
	Factor    float64 `json:"speed_factor"`
	Change    float64 `json:"tool_change_time_min"`
	Edge      float64 `json:"tool_cost_per_edge"`
	Rate      float64 `json:"cost_rate_per_min"`
	Handling  float64 `json:"handling_time_min"`
	Diameter  float64 `json:"work_diameter_m"`
	Length    float64 `json:"work_length_m"`
	Feed      float64 `json:"feed_m_per_rev"`
	TolRel    float64 `json:"tolerance_rel"`
}

func TestTaylorReference(t *testing.T) {
	file := load[struct {
		Tol   float64 `json:"tolerance_rel"`
		Cases []taylorCase
	}](t, "taylor.json")
	if len(file.Cases) != 27 {
		t.Fatalf("%d cases, want 27", len(file.Cases))
	}
	for _, c := range file.Cases {
		tol := file.Tol
		if c.TolRel > 0 {
			tol = c.TolRel
		}
		want := c.Expected
		if want.Status == "" {
			want.Status = "ok"
		}
		gotStatus := func(err error) bool {
			if status(err) != want.Status {
				t.Errorf("%s: status %q, want %q", c.ID, status(err), want.Status)
			}
			return err == nil || want.N != 0
		}
		switch c.Kind {
		case "two_point", "least_squares":
			f, err := life.FitTaylor(c.V, c.T)
			if !gotStatus(err) {
				continue
			}
			rel(t, c.ID, "n", f.N, want.N, tol)
			rel(t, c.ID, "C", f.C, want.C, tol)
			for _, p := range want.Predict {
				// In the two-point cases the round number was the question.
				if c.Kind == "two_point" && (p.T == 1 || p.T == 15 || p.T == 60) {
					rel(t, c.ID, "speed", f.Speed(p.T), p.V, tol)
				} else {
					rel(t, c.ID, "life", f.Life(p.V), p.T, tol)
				}
			}
			if c.Kind == "least_squares" {
				rel(t, c.ID, "intercept", f.Intercept, want.Intercept, tol)
				rel(t, c.ID, "slope", f.Slope, want.Slope, tol)
				rel(t, c.ID, "r2", f.R2, want.R2, tol)
				rel(t, c.ID, "residual sd", f.ResidSD, want.Resid, tol)
				rel(t, c.ID, "swapped n", f.Swapped.N, want.Other.N, tol)
				rel(t, c.ID, "swapped C", f.Swapped.C, want.Other.C, tol)
			}
			if p, ok := c.Published["n"].(float64); ok {
				abs(t, c.ID, "published n", f.N, p, 5e-4)
				abs(t, c.ID, "published C", f.C, c.Published["C"].(float64), 0.5)
			}
		case "ratio":
			x, err := life.RatioLife(c.N, c.Factor)
			if err != nil {
				t.Error(err)
			}
			rel(t, c.ID, "factor", x, want.Life_factor, tol)
			rel(t, c.ID, "percent", 100*(x-1), want.Change_percent, tol)
		case "extended_least_squares", "extended_exact":
			f, err := life.FitExtended(c.V, c.F, nil, c.T)
			if !gotStatus(err) {
				continue
			}
			rel(t, c.ID, "n", f.N, want.N, tol)
			rel(t, c.ID, "a", f.A, want.A, tol)
			rel(t, c.ID, "C", f.C, want.C, tol)
			if c.Kind == "extended_exact" {
				rel(t, c.ID, "p", 1/f.N, want.P, tol)
				rel(t, c.ID, "q", f.A/f.N, want.Q, tol)
				abs(t, c.ID, "published p", 1/f.N, c.Published["p"].(float64), 5e-3)
				abs(t, c.ID, "published q", f.A/f.N, c.Published["q"].(float64), 5e-3)
				continue
			}
			rel(t, c.ID, "b0", f.Coef[0], want.B0, tol)
			rel(t, c.ID, "b1", f.Coef[1], want.B1, tol)
			rel(t, c.ID, "b2", f.Coef[2], want.B2, tol)
			rel(t, c.ID, "residual sd", f.ResidSD, want.Resid, tol)
			for _, p := range want.Predict {
				rel(t, c.ID, "life", f.Life(p.V, p.F, 0), p.T, tol)
			}
		case "extended_predict":
			e, err := life.ExtendedFrom(c.N, c.A, c.B, c.Base.V, c.Base.F, c.Base.D, c.Base.T)
			if err != nil {
				t.Error(err)
			}
			rel(t, c.ID, "C", e.C, want.C, tol)
			for _, p := range want.Changes {
				rel(t, c.ID, "life", e.Life(p.V, p.F, p.D), p.T, tol)
			}
		case "economics":
			e, err := life.Economy(life.Taylor{N: c.N, C: c.CC}, life.Cut{ChangeTime: c.Change, EdgeCost: c.Edge, RatePerMin: c.Rate,
				Handling: c.Handling, WorkDiameter: c.Diameter, WorkLength: c.Length, Feed: c.Feed})
			if !gotStatus(err) || err != nil {
				continue
			}
			a, b := e.MaxProduction, e.MinCost
			for _, x := range []struct{ got, want float64 }{
				{a.Life, want.TMaxProduction}, {a.Speed, want.VMaxProduction}, {b.Life, want.TMinCost}, {b.Speed, want.VMinCost},
				{a.MachiningTime, want.M1}, {a.PiecesPerEdge, want.P1}, {a.CycleTime, want.C1}, {a.CostPerPiece, want.K1},
				{b.MachiningTime, want.M2}, {b.PiecesPerEdge, want.P2}, {b.CycleTime, want.C2}, {b.CostPerPiece, want.K2},
			} {
				rel(t, c.ID, "economics", x.got, x.want, tol)
			}
			if p, ok := c.Published["V_max_production"].(float64); ok {
				abs(t, c.ID, "published speed", a.Speed, p, 0.5) // printed as whole m/min
			}
		case "cost_only":
			// The numbers stand in the case's source line: 8 min change, 5 min regrind, 5 per
			// hour, 0.30 depreciation.
			x, err := life.ReplacedToolCost(8, 5, 5, 0.30)
			if err != nil {
				t.Error(err)
			}
			rel(t, c.ID, "cost", x, want.Tooling, tol)
		case "censored_regression":
			lives := make([]life.Life, len(c.T))
			for i := range c.T {
				lives[i] = life.Life{Age: c.T[i], Failed: c.Event[i] == 1, Count: 1}
			}
			for law, w := range map[life.Law]*struct {
				B0, B1, Sigma, Loglik, N, C float64
				SEB0                        float64 `json:"se_b0"`
				SEB1                        float64 `json:"se_b1"`
			}{life.LawWeibull: want.Weibull, life.LawLognormal: want.Lognormal} {
				f, err := life.FitTaylorCensored(c.V, lives, law)
				if err != nil {
					t.Errorf("%s: %v", c.ID, err)
				}
				for _, x := range []struct {
					what      string
					got, want float64
				}{
					{"b0", f.B0, w.B0}, {"b1", f.B1, w.B1}, {"sigma", f.Sigma, w.Sigma}, {"loglik", f.LogLik, w.Loglik},
					{"n", f.N, w.N}, {"C", f.C, w.C}, {"se b0", f.SEB0, w.SEB0}, {"se b1", f.SEB1, w.SEB1},
				} {
					rel(t, c.ID, x.what, x.got, x.want, tol)
				}
			}
		default:
			t.Errorf("%s: unknown kind %q", c.ID, c.Kind)
		}
	}
}
