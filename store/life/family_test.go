package life_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"brasspeg/store/life"

	"pgregory.net/rapid"
)

func runsOf(batch string, reason life.Reason, parts ...int) []life.Run {
	var out []life.Run
	for _, p := range parts {
		out = append(out, life.Run{Parts: p, Reason: reason, Batch: batch})
	}
	return out
}

// The batch that halves the life: two lines and an alert.
func TestBatchHalvesTheLife(t *testing.T) {
	f := life.Fit(slices.Concat(runsOf("A", life.Worn, 80, 78, 83), runsOf("B", life.Worn, 41, 44)), life.Options{})
	if f.Batches == nil || len(f.Batches.Groups) != 2 {
		t.Fatalf("batches %+v, want two lines", f.Batches)
	}
	if b := f.Batches.Groups[1]; !b.Alert || !strings.HasPrefix(b.Says, "batch B halves the life") {
		t.Errorf("batch B: %+v", b)
	}
	same := life.Fit(slices.Concat(runsOf("A", life.Worn, 80, 62, 91), runsOf("B", life.Worn, 71, 88)), life.Options{})
	if b := same.Batches.Groups[1]; b.Alert {
		t.Errorf("like batches raise an alert: %s", b.Says)
	}
}

func TestUsualLife(t *testing.T) {
	runs := runsOf("", life.Worn, 36, 39, 40, 41, 42, 42, 43, 44, 45, 48)
	f := life.Fit(runs, life.Options{})
	u, ok := f.Usual(runs)
	if !ok || u.Question(42, life.InParts) != "" || u.Question(20, life.InParts) == "" || u.Question(70, life.InParts) == "" {
		t.Errorf("usual %+v: a change at 20 asks why, at 70 warns, at 42 neither", u)
	}
}

func TestKindsApart(t *testing.T) {
	runs := slices.Concat(runsOf("", life.Worn, 70, 75, 80, 85, 90), runsOf("", life.Broken, 5, 40), runsOf("", life.Chatter, 10, 12), runsOf("", life.Planned, 60))
	runs = append(runs, life.Run{Parts: 0, Reason: life.Broken}, life.Run{Parts: 50, Reason: life.Worn, Late: true})
	f := life.Fit(runs, life.Options{Costs: &life.Costs{Planned: 4.2, Unplanned: 21.5}, Risk: 0.01})
	if f.Kept != 10 || len(f.LeftOut) != 2 || f.WearOut.Failures != 5 || f.Sudden.Failures != 2 || f.All.Failures != 7 {
		t.Errorf("kept %d, left out %d, wear %d, sudden %d, all %d", f.Kept, len(f.LeftOut), f.WearOut.Failures, f.Sudden.Failures, f.All.Failures)
	}
	if f.Sudden.Assumed == "" || !strings.Contains(f.WearOut.Assumed, "alone they give a shape of") {
		t.Errorf("two sudden failures must be named as assumed, five of wear lean and name what they say alone: %+v %+v", f.Sudden, f.WearOut)
	}
	text := strings.Join(f.Sentences, "\n")
	for _, want := range []string{"chatter belongs to the setup", "counted as unfinished", "left out", "log the part on which the edge failed", "assumed"} {
		if !strings.Contains(text, want) {
			t.Errorf("nothing says %q in:\n%s", want, text)
		}
	}
	if c := life.Fit(runs, life.Options{ChatterFails: true}); c.All.Failures != 9 {
		t.Errorf("chatter counted: %d failures, want 9", c.All.Failures)
	}
	if f.Change == nil || f.Change.Status != life.AdviceOK || f.RiskParts < 0 {
		t.Errorf("change %+v, by risk %d", f.Change, f.RiskParts)
	}
}

func TestAccount(t *testing.T) {
	rows, total, err := life.Account([]life.InsertTally{
		{Job: "J-1", Inserts: 2, EdgesPerInsert: 4, Used: 5, Left: 1, Thrown: []life.Thrown{{Edges: 1, Reason: "dropped"}}},
		{Job: "J-2", Inserts: 1, EdgesPerInsert: 2, Used: 3},
	})
	if err != nil || rows[0].Unexplained != 1 || rows[1].Unexplained != -1 || total.Unexplained != 0 || rows[0].Says == "" || rows[1].Says == "" {
		t.Errorf("%+v %+v %v", rows, total, err)
	}
	if e, err := life.NextEdge([]int{1, 2}, 4); e != 3 || err != nil {
		t.Errorf("NextEdge = %d, %v, want 3", e, err)
	}
	for _, used := range [][]int{{5}, {1, 1}, {0}, {1, 2, 3, 4}} {
		if e, err := life.NextEdge(used, 4); err == nil {
			t.Errorf("NextEdge(%v, 4) = %d, want a refusal", used, e)
		}
	}
}

// What holds for every family: the account adds up, the curves fall, the band holds the curve,
// doubling every count moves nothing but the limits.
func TestFamilyProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) life.Run {
			return life.Run{
				Parts:  rapid.IntRange(-1, 300).Draw(t, "parts"),
				Reason: rapid.SampledFrom(life.Reasons).Draw(t, "reason"),
				Batch:  rapid.SampledFrom([]string{"", "A", "B"}).Draw(t, "batch"),
				Speed:  rapid.SampledFrom([]float64{0, 120, 180}).Draw(t, "speed"), Minutes: rapid.Float64Range(0, 50).Draw(t, "min"),
				Late: rapid.IntRange(0, 9).Draw(t, "late") == 0,
			}
		}), 0, 30).Draw(t, "runs")
		f := life.Fit(runs, life.Options{Costs: &life.Costs{Planned: 1, Unplanned: 5}, Risk: 0.05})
		if f.Kept+len(f.LeftOut) != len(runs) {
			t.Fatalf("%d kept, %d left out of %d", f.Kept, len(f.LeftOut), len(runs))
		}
		for i, p := range f.Fitted {
			if math.IsNaN(p.Survival) || p.Low > p.Survival+1e-12 || p.High < p.Survival-1e-12 || i > 0 && p.Survival > f.Fitted[i-1].Survival+1e-12 {
				t.Fatalf("point %d of %v: %+v", i, runs, p)
			}
		}
		if len(f.Sentences) == 0 || strings.Contains(strings.Join(f.Sentences, " "), "NaN") {
			t.Fatalf("sentences %q", f.Sentences)
		}
		if c := f.Change; c != nil && (c.Cost > c.ToFailure*(1+1e-9) || c.Surprise < 0 || c.Surprise > 1) {
			t.Fatalf("advice dearer than none: %+v", c)
		}
	})
}

func TestFitProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lives := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) life.Life {
			return life.Life{Age: rapid.Float64Range(0.1, 1000).Draw(t, "age"), Failed: rapid.Bool().Draw(t, "failed"), Count: rapid.IntRange(1, 3).Draw(t, "n")}
		}), 1, 25).Draw(t, "lives")
		fit, err := life.FitWeibull(lives)
		if err != nil {
			return
		}
		scaled, doubled := slices.Clone(lives), slices.Clone(lives)
		for i := range lives {
			scaled[i].Age *= 1e6
			doubled[i].Count *= 2
		}
		a, err1 := life.FitWeibull(scaled)
		b, err2 := life.FitWeibull(doubled)
		near := func(x, y float64) bool { return math.Abs(x-y) <= 1e-6*math.Abs(y) }
		if err1 != nil || err2 != nil || !near(a.Shape, fit.Shape) || !near(a.Scale, 1e6*fit.Scale) || !near(b.Shape, fit.Shape) || !near(b.SELogShape*math.Sqrt2, fit.SELogShape) {
			t.Fatalf("%v: %+v, in other units %+v (%v), doubled %+v (%v)", lives, fit, a, err1, b, err2)
		}
	})
}

func FuzzReadCSV(f *testing.F) {
	f.Add("time,event\n54,1\n500,0\n")
	f.Add("parts;reason;minutes;batch\n80;worn;12,5;A\n")
	f.Add("\ufeffparts\treason\n1\tend-of-job\n")
	f.Add("parts,reason\n\"80,worn\n")
	f.Fuzz(func(t *testing.T, s string) {
		file, err := life.ReadCSV(strings.NewReader(s))
		if err != nil {
			if err.Error() == "" {
				t.Errorf("%q refused without a word", s)
			}
			return
		}
		// What was read, written out again, reads the same.
		var b bytes.Buffer
		w := csv.NewWriter(&b)
		if file.Runs != nil {
			_ = w.Write([]string{"parts", "minutes", "reason", "count", "edge"})
			for _, r := range file.Runs {
				_ = w.Write([]string{strconv.Itoa(r.Parts), strconv.FormatFloat(r.Minutes, 'g', -1, 64), string(r.Reason), strconv.Itoa(r.Count), strconv.Itoa(r.Edge)})
			}
			w.Flush()
			again, err := life.ReadCSV(&b)
			if err != nil || len(again.Runs) != len(file.Runs) {
				t.Fatalf("%q: %v", s, err)
			}
			for i, r := range again.Runs {
				if x := file.Runs[i]; r.Parts != x.Parts || r.Minutes != x.Minutes || r.Reason != x.Reason || r.Count != x.Count {
					t.Errorf("%+v became %+v", x, r)
				}
			}
		}
	})
}

func BenchmarkFit10000(b *testing.B) {
	lives := csvLives(b, "weibull_n10000.csv")
	b.ReportAllocs()
	for b.Loop() {
		fit, err := life.FitWeibull(lives)
		if err != nil {
			b.Fatal(err)
		}
		_, _, _ = fit.ShapeLimits(0.95), fit.ScaleLimits(0.95), fit.QuantileLimits(0.1, 0.95)
	}
}

func BenchmarkFamily10000(b *testing.B) {
	lives := csvLives(b, "weibull_n10000.csv")
	runs := make([]life.Run, len(lives))
	for i, l := range lives {
		runs[i] = life.Run{Parts: int(math.Ceil(l.Age)), Reason: life.Planned}
		if l.Failed {
			runs[i].Reason = life.Worn
		}
	}
	for b.Loop() {
		life.Fit(runs, life.Options{Costs: &life.Costs{Planned: 4.2, Unplanned: 21.5}})
	}
}

// At a tied age the censored edge is still at risk, in whatever order the lines stand.
func TestSurviveTiesInAnyOrder(t *testing.T) {
	curve, err := life.Survive([]life.Life{{Age: 6, Count: 1}, {Age: 9, Failed: true, Count: 1}, {Age: 6, Failed: true, Count: 3}}, 0.95)
	if err != nil || len(curve) != 2 || curve[0].AtRisk != 5 || curve[0].Survival != 0.4 || curve[0].Censored != 1 {
		t.Errorf("%+v, %v: want 3 of 5 failed at 6 with one censored beside them", curve, err)
	}
}
