package life

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Split shows the runs of a family apart where the material batch or the cutting data
// changed. The first group with failures is what the others are compared with.
type Split struct {
	By     string // "batch" or "cutting data"
	Groups []SplitGroup
}

// A SplitGroup is one stretch of equal conditions.
type SplitGroup struct {
	Name            string
	Edges, Failures int
	Ratio           float64  // life against the first group, 1 for that group; 0 when not comparable
	Limits          Limits   // 95 % limits of Ratio; zero when not known
	P               float64  // chance of such a difference by accident (likelihood ratio)
	Alert           bool     // the difference is real enough to act on
	Says            string   // "batch B halves the life (…)"; "" for the first group
	Estimate        Estimate // all failures of this group
}

// An alert wants odds of a hundred to one against accident and a change of a fifth at least.
// House rule, no source.
const (
	alertP     = 0.01
	alertRatio = 1.25
)

// splitBy groups runs by key, in the order the keys first appear; runs with an empty key are
// not compared. nil when fewer than two groups come out.
func splitBy(by string, runs []Run, o Options, key func(Run) string) *Split {
	var names []string
	groups := map[string][]Run{}
	for _, r := range runs {
		k := key(r)
		if k == "" {
			continue
		}
		if _, ok := groups[k]; !ok {
			names = append(names, k)
		}
		groups[k] = append(groups[k], r)
	}
	if len(names) < 2 {
		return nil
	}
	s := &Split{By: by}
	first := -1
	for i, name := range names {
		lives := livesOf(groups[name], o.Measure, o.failing()...)
		g := SplitGroup{Name: name, Estimate: estimate("all failures", lives, o.PriorShape, o.PriorSD)}
		g.Edges, g.Failures = tally(lives)
		switch {
		case first < 0 && g.Failures > 0:
			first, g.Ratio = i, 1
		case first >= 0:
			base := livesOf(groups[names[first]], o.Measure, o.failing()...)
			g.compare(by, s.Groups[first], base, lives)
		}
		s.Groups = append(s.Groups, g)
	}
	return s
}

// compare fills ratio, odds and sentence of g against the first group, by a Weibull regression
// with one common shape.
func (g *SplitGroup) compare(by string, first SplitGroup, base, lives []Life) {
	who := by + " " + g.Name
	if g.Failures < 2 || first.Failures < 2 {
		g.Says = fmt.Sprintf("%s: too few failures to compare with %s %s", who, by, first.Name)
		return
	}
	rows := make([]row, 0, len(base)+len(lives))
	for i, list := range [][]Life{base, lives} {
		for _, l := range list {
			rows = append(rows, row{math.Log(l.Age), []float64{1, float64(i)}, l.Failed, float64(l.Count)})
		}
	}
	fit, err := regress(rows, LawWeibull)
	pooled, err0 := FitWeibull(slices.Concat(base, lives))
	switch {
	case err == nil && err0 == nil:
		b, se := fit.beta[1], fit.se(1)
		g.Ratio = math.Exp(b)
		g.Limits = around(g.Ratio, se, 0.95)
		g.P = distuv.ChiSquared{K: 1}.Survival(math.Max(0, 2*(fit.logLik-pooled.LogLik)))
	case err0 == nil:
		// No scatter inside the groups: the ratio of their lives is all there is to see.
		g.Ratio = meanAge(lives) / meanAge(base)
	default: // all lives are one and the same
		g.Ratio, g.P = 1, 1
	}
	g.Alert = g.P < alertP && (g.Ratio > alertRatio || g.Ratio < 1/alertRatio)
	g.Says = fmt.Sprintf("%s %s", who, ratioWords(g.Ratio, g.Alert))
	if g.Limits.High > 0 {
		g.Says += fmt.Sprintf(" (%.2f times that of %s %s, 95 %% limits %.2f to %.2f)", g.Ratio, by, first.Name, g.Limits.Low, g.Limits.High)
	}
}

func meanAge(lives []Life) float64 {
	var n, sum float64
	for _, l := range lives {
		n, sum = n+float64(l.Count), sum+float64(l.Count)*l.Age
	}
	return sum / n
}

func ratioWords(r float64, sure bool) string {
	if !sure {
		return "shows no difference in life that could not be accident"
	}
	switch {
	case r < 0.28:
		return fmt.Sprintf("cuts the life to %.0f %%", 100*r)
	case r < 0.4:
		return "cuts the life to a third"
	case r < 0.6:
		return "halves the life"
	case r < 1:
		return fmt.Sprintf("shortens the life by %.0f %%", 100*(1-r))
	case r < 1.7:
		return fmt.Sprintf("lengthens the life by %.0f %%", 100*(r-1))
	case r < 2.4:
		return "doubles the life"
	}
	return fmt.Sprintf("lengthens the life %.1f times", r)
}

// cuttingData names the speed and feed of a run as a split key, to three digits; "" when
// neither is recorded.
func cuttingData(r Run) string {
	switch {
	case r.Speed > 0 && r.Feed > 0:
		return fmt.Sprintf("v %.3g m/min f %.3g mm", r.Speed, r.Feed)
	case r.Speed > 0:
		return fmt.Sprintf("v %.3g m/min", r.Speed)
	case r.Feed > 0:
		return fmt.Sprintf("f %.3g mm", r.Feed)
	}
	return ""
}
