package life_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"brasspeg/store/life"
)

// Ten failures stand alone, nine lean, and both say so.
func TestLeanOrAlone(t *testing.T) {
	nine := runsOf("", life.Worn, 52, 60, 66, 71, 75, 79, 84, 90, 99)
	if f := life.Fit(nine, life.Options{}); f.WearOut.Fit != nil || !strings.Contains(f.WearOut.Assumed, "fewer than 10") {
		t.Errorf("nine failures: %+v", f.WearOut)
	}
	if f := life.Fit(append(nine, life.Run{Parts: 81, Reason: life.Worn}), life.Options{}); f.WearOut.Fit == nil || f.WearOut.Assumed != "" {
		t.Errorf("ten failures: %+v", f.WearOut)
	}
}

// One lucky failure among many planned changes must not send the interval far beyond anything
// that was ever run: the scale is taken at its median limit.
func TestOneFailureIsNotTrusted(t *testing.T) {
	runs := append(runsOf("", life.Planned, slices.Repeat([]int{60}, 29)...), life.Run{Parts: 58, Reason: life.Worn})
	f := life.Fit(runs, life.Options{Costs: &life.Costs{Planned: 4.2, Unplanned: 60}})
	likely, err := life.ChangeEvery(f.Law.Survival, life.Costs{Planned: 4.2, Unplanned: 60})
	if err != nil || f.Change == nil || f.Change.Parts >= likely.Parts {
		t.Errorf("advice %+v, at the likeliest law %+v, %v", f.Change, likely, err)
	}
	// The median of chi-square with 4 degrees is 3.3567 (any table), so the scale shrinks by
	// (2/3.3567)^(1/shape).
	w := f.Law[0]
	w.Scale *= math.Pow(2/3.3567, 1/w.Shape)
	if want, err := life.ChangeEvery(w.Survival, life.Costs{Planned: 4.2, Unplanned: 60}); err != nil || want.Parts != f.Change.Parts {
		t.Errorf("advice %d, by hand %d, %v", f.Change.Parts, want.Parts, err)
	}
}

func TestScrapCarbide(t *testing.T) {
	// 412 inserts of 9 g are 3708 g; the tub holds 2100 g.
	want, missing, says, err := life.ScrapCarbide(412, 9, 2100)
	if err != nil || want != 3708 || missing != 1608 || !strings.Contains(says, "1608 g are missing") {
		t.Errorf("%g, %g, %q, %v", want, missing, says, err)
	}
	if _, _, says, _ := life.ScrapCarbide(100, 10, 960); strings.Contains(says, "missing") {
		t.Errorf("4 %% short is within the scales: %q", says)
	}
	if _, _, says, _ := life.ScrapCarbide(100, 10, 1200); !strings.Contains(says, "elsewhere") {
		t.Errorf("a fifth too much: %q", says)
	}
	for _, bad := range []struct {
		n    int
		g, w float64
	}{{-1, 9, 0}, {1, -9, 0}, {1, math.NaN(), 0}, {1, 9, math.Inf(1)}} {
		if _, _, _, err := life.ScrapCarbide(bad.n, bad.g, bad.w); !errors.Is(err, life.ErrNoAnswer) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// The band of a family is that of its fit where one kind failed and stands alone, and it
// agrees with the band drawn.
func TestFamilyBand(t *testing.T) {
	runs := runsOf("", life.Worn, 52, 60, 66, 71, 75, 79, 81, 84, 90, 99, 104, 110)
	f := life.Fit(runs, life.Options{})
	if f.WearOut.Fit == nil {
		t.Fatal("twelve failures stand alone")
	}
	for _, age := range []float64{30, 60, 90, 120} {
		p, want := f.Band(age), f.WearOut.Fit.SurvivalLimits(age, 0.95)
		if math.Abs(p.Low-want.Low) > 1e-9 || math.Abs(p.High-want.High) > 1e-9 || math.Abs(p.Survival-f.WearOut.Law.Survival(age)) > 1e-12 {
			t.Errorf("at %g: %+v, the fit says %+v", age, p, want)
		}
		if p.Low >= p.Survival || p.High <= p.Survival {
			t.Errorf("at %g the band %+v does not hold the curve", age, p)
		}
	}
	if p := f.Band(0); p.Survival != 1 || p.Low != 1 {
		t.Errorf("at age 0 every edge lives: %+v", p)
	}
}

// Speeds come from the Taylor line of the runs and the times and costs of the cut; the two
// lives are the closed forms (1/n-1)·change time and (1/n-1)·(change time + edge/rate).
func TestFamilySpeeds(t *testing.T) {
	var runs []life.Run
	for _, v := range []float64{120, 150, 180, 220} {
		for i := range 4 { // n = 0.25, C = 300 m/min, with a little scatter
			min := math.Pow(300/v, 4) * (1 + 0.05*float64(i%2*2-1)*float64(1+i/2))
			runs = append(runs, life.Run{Parts: 10, Minutes: min, Speed: v, Reason: life.Worn})
		}
	}
	cut := life.Cut{ChangeTime: 2, EdgeCost: 3, RatePerMin: 1}
	f := life.Fit(runs, life.Options{Cut: &cut})
	if f.Taylor == nil || math.Abs(f.Taylor.N-0.25) > 0.02 || math.Abs(f.Taylor.C-300) > 15 {
		t.Fatalf("Taylor %+v, %v", f.Taylor, f.NoTaylor)
	}
	k := 1/f.Taylor.N - 1
	if s := f.Speeds; s == nil || math.Abs(s.MaxProduction.Life-2*k) > 1e-9 || math.Abs(s.MinCost.Life-5*k) > 1e-9 || s.MinCost.Speed >= s.MaxProduction.Speed {
		t.Errorf("speeds %+v", f.Speeds)
	}
	if f := life.Fit(runs, life.Options{}); f.Speeds != nil {
		t.Error("speeds without costs")
	}
}

// A job too large to convolve is answered by the normal law, says so, and agrees with the exact
// answer where both can be had.
func TestRenewFallsBackOnTheNormalLaw(t *testing.T) {
	w := life.Weibull{Shape: 3, Scale: 400}
	big, err := life.Renew(life.EdgeUse{R: w.Survival}, 2_000_000)
	if err != nil || big.Exact {
		t.Fatalf("exact %v, %v", big.Exact, err)
	}
	// The renewal theorem: (m/mu) edges on average, give or take one.
	if m := 2_000_000 / big.MeanParts; math.Abs(big.ExpectedEdges-m) > 1 {
		t.Errorf("%g edges expected, mean life says %g", big.ExpectedEdges, m)
	}
	need, err := big.Inserts(4, 0.95, 0, 0)
	if err != nil || !need.Approximate || need.Achieved < 0.95 || need.OneLess >= 0.95 {
		t.Errorf("%+v, %v", need, err)
	}
	// By hand: sd of the number is sd/mu·sqrt(m/mu); 1.645 of them above the mean.
	byHand := (big.ExpectedEdges + 1.645*big.SDEdges) / 4
	if math.Abs(float64(need.Inserts)-byHand) > 2 {
		t.Errorf("%d inserts, by hand %.1f", need.Inserts, byHand)
	}
	exact, err := life.Renew(life.EdgeUse{R: w.Survival}, 5_000)
	if err != nil || !exact.Exact {
		t.Fatalf("5,000 parts are convolved: %v", err)
	}
	if d := math.Abs(exact.ExpectedEdges - (exact.Asymptotic - 1/(2*exact.MeanParts))); d > 0.01 {
		t.Errorf("the approximation for whole parts is %g edges off", d)
	}
}

// A plane with depth through points that were computed from known exponents gives them back.
func TestTaylorPlaneWithDepth(t *testing.T) {
	truth := life.Extended{N: 0.25, A: 0.5, B: 0.15, C: 250}
	var v, f, d, lives []float64
	for _, x := range []float64{120, 160, 200} {
		for _, y := range []float64{0.1, 0.2} {
			for _, z := range []float64{0.5, 1, 2} {
				v, f, d, lives = append(v, x), append(f, y), append(d, z), append(lives, truth.Life(x, y, z))
			}
		}
	}
	fit, err := life.FitExtended(v, f, d, lives)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range [][2]float64{{fit.N, truth.N}, {fit.A, truth.A}, {fit.B, truth.B}, {fit.C, truth.C}} {
		if math.Abs(p[0]-p[1]) > 1e-9*p[1] {
			t.Errorf("%+v, want %+v", fit.Extended, truth)
			break
		}
	}
	same := slices.Repeat([]float64{1}, len(d))
	if _, err := life.FitExtended(v, f, same, lives); err == nil {
		t.Error("a depth that never varied has no exponent")
	}
}
