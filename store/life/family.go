package life

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Options say how a family is to be looked at. The zero value is the usual way.
type Options struct {
	Measure      Measure
	ChatterFails bool    // count chatter as a sudden failure instead of censoring it
	Level        float64 // of the limits; 0 means 0.95
	PriorShape   float64 // shape leaned on below MinFailures failures; 0 means PriorShape
	PriorSD      float64 // its spread on the log scale; 0 means PriorSDLogShape
	Costs        *Costs  // nil: no advice by cost
	Risk         float64 // accepted chance that an edge fails before its change; 0: not a dear part
	Cut          *Cut    // nil: no best speeds
	Points       int     // of the fitted curve; 0 means 60
}

func (o Options) filled() Options {
	if !(o.Level > 0 && o.Level < 1) {
		o.Level = 0.95
	}
	if !(o.PriorShape > 0) {
		o.PriorShape = PriorShape
	}
	if !(o.PriorSD > 0) {
		o.PriorSD = PriorSDLogShape
	}
	if o.Points < 2 {
		o.Points = 60
	}
	return o
}

// failing lists the causes that count as failures.
func (o Options) failing() []Cause {
	if o.ChatterFails {
		return []Cause{WearOut, Sudden, FromSetup}
	}
	return []Cause{WearOut, Sudden}
}

// A Point is one point of the fitted survival curve with its band.
type Point struct{ Age, Survival, Low, High float64 }

// A Family is everything known about the edges of one job family.
type Family struct {
	Options Options
	Count   map[Reason]int // edges kept, by reason
	Kept    int            // edges that entered the statistics
	LeftOut []LeftOut      // runs that did not, with the reason

	All, WearOut, Sudden Estimate // Sudden and WearOut: the other kind censored
	Law                  Causes   // the law that advice rests on; empty when there is none
	Observed             Curve    // product-limit curve of all failures
	Fitted               []Point  // the law as a curve with its band, ascending; nil without a law

	Batches, CuttingData *Split // nil when there is nothing to tell apart

	Taylor   *CensoredTaylor // nil when speeds or minutes do not allow one
	NoTaylor *Refusal        // why not, when several speeds are on record
	Speeds   *CutEconomy     // speeds of most output and least cost; nil without Taylor and Cut

	Change    *Change  // nil without costs or law
	NoChange  *Refusal // why not
	RiskParts int      // parts by accepted risk, from the lower limit of the curve; -1 when not asked

	Sentences []string // all of it, for people, most important first

	lives []Life
}

// Fit looks at the runs of one job family, in the order they were made. It never fails: what
// cannot be told is left empty, with the reason in words.
func Fit(runs []Run, o Options) Family {
	o = o.filled()
	f := Family{Options: o, Count: map[Reason]int{}, RiskParts: -1}
	kept, left := sift(runs, o.Measure)
	f.LeftOut = left
	for _, r := range kept {
		f.Count[r.Reason] += r.count()
		f.Kept += r.count()
	}
	all := livesOf(kept, o.Measure, o.failing()...)
	f.lives = all
	f.All = estimate("all failures", all, o.PriorShape, o.PriorSD)
	f.WearOut = estimate("wear-out", livesOf(kept, o.Measure, WearOut), o.PriorShape, o.PriorSD)
	sudden := []Cause{Sudden}
	if o.ChatterFails {
		sudden = append(sudden, FromSetup)
	}
	f.Sudden = estimate("sudden", livesOf(kept, o.Measure, sudden...), PriorShapeSudden, o.PriorSD)
	if curve, err := Survive(all, o.Level); err == nil {
		f.Observed = curve
	}
	parts := f.parts()
	for _, e := range parts {
		f.Law = append(f.Law, e.Law)
	}
	f.Fitted = fitted(parts, f.Law, o, all)
	f.Batches = splitBy("batch", kept, o, func(r Run) string { return r.Batch })
	f.CuttingData = splitBy("cutting data", kept, o, cuttingData)
	timed, _ := sift(runs, InMinutes)
	f.taylor(timed)
	f.advise()
	f.speak()
	return f
}

// parts returns the estimates whose laws race each other: both kinds of failure when both
// occurred, the one that occurred, or what is assumed when none did.
func (f *Family) parts() []Estimate {
	var out []Estimate
	for _, e := range []Estimate{f.WearOut, f.Sudden} {
		if e.Failures > 0 && e.Refused == nil {
			out = append(out, e)
		}
	}
	if len(out) == 0 && f.All.Refused == nil {
		out = append(out, f.All)
	}
	return out
}

// Band returns the survival of the family at age t with its limits, by the delta method on ln
// of the cumulative hazard.
func (f *Family) Band(t float64) Point { return band(f.parts(), t, f.Options.Level) }

func band(parts []Estimate, t, level float64) Point {
	if t <= 0 || len(parts) == 0 {
		return Point{math.Max(t, 0), 1, 1, 1}
	}
	var h, v float64
	for _, e := range parts {
		hi := math.Pow(t/e.Law.Scale, e.Law.Shape)
		h += hi
		v += hi * hi * e.varLogHazard(t)
	}
	if !(h > 0) || math.IsInf(h, 1) || math.IsNaN(v) || math.IsInf(v, 1) {
		s := math.Exp(-h)
		return Point{t, s, s, s}
	}
	w := math.Exp(normalQuantile(level) * math.Sqrt(v) / h)
	return Point{t, math.Exp(-h), math.Exp(-h * w), math.Exp(-h / w)}
}

// fitted draws the law from 0 to where one edge in a hundred is left, or to the longest life.
func fitted(parts []Estimate, law Causes, o Options, lives []Life) []Point {
	if len(parts) == 0 {
		return nil
	}
	end := law.Quantile(0.99)
	longest := 0.0
	for _, l := range lives {
		longest = math.Max(longest, l.Age)
	}
	// A fit from a few early failures may reach far beyond anything seen; the drawing stops at
	// three times the longest life.
	end = math.Max(longest, math.Min(end, 3*longest))
	out := make([]Point, o.Points)
	for i := range out {
		out[i] = band(parts, end*float64(i)/float64(o.Points-1), o.Level)
	}
	// Survival only falls, so a limit below holds earlier too and a limit above later.
	for i := range out {
		if i > 0 {
			out[i].High = math.Min(out[i].High, out[i-1].High)
		}
		if j := len(out) - 2 - i; j >= 0 {
			out[j].Low = math.Max(out[j].Low, out[j+1].Low)
		}
	}
	return out
}

// taylor fits life in minutes to the speeds actually run, where several are on record.
func (f *Family) taylor(kept []Run) {
	var v []float64
	var lives []Life
	for _, r := range kept {
		if r.Speed > 0 && r.Minutes > 0 {
			v = append(v, r.Speed)
			lives = append(lives, Life{r.Minutes, r.Reason.Cause() == WearOut, r.count()})
		}
	}
	if len(v) < 2 || slices.Min(v) == slices.Max(v) {
		return
	}
	t, err := FitTaylorCensored(v, lives, LawWeibull)
	if err != nil {
		f.NoTaylor, _ = errors.AsType[*Refusal](err)
		return
	}
	f.Taylor = &t
	if f.Options.Cut != nil {
		if e, err := Economy(t.Taylor, *f.Options.Cut); err == nil {
			f.Speeds = &e
		}
	}
}

// advise fills the change interval.
func (f *Family) advise() {
	o := f.Options
	switch {
	case o.Measure != InParts:
		f.NoChange = refuse("invalid", "the change interval is given in parts; these lives are in minutes")
		return
	case len(f.Law) == 0:
		f.NoChange = refuse("no_data", "no advice: nothing is logged yet")
		return
	}
	if o.Costs != nil {
		c, err := ChangeEvery(f.careful(), *o.Costs)
		if err != nil {
			f.NoChange, _ = errors.AsType[*Refusal](err)
		} else {
			f.Change = &c
		}
	}
	if o.Risk > 0 {
		// The lower limit of the curve, not the curve: a dear part must not pay for the doubt.
		if n, err := ByRisk(f.Law.Survival, o.Risk); err == nil {
			f.RiskParts, _ = ByRisk(lower(f.parts(), n+1, o.Level), o.Risk)
		}
	}
}

// careful returns the law that a change interval rests on. Where failures are too few to stand
// alone the scale is taken at its median limit, with chi-square of 2r+2 degrees as in
// Assumed.ScaleLower: the likeliest scale after one lucky failure is far too long, and an edge
// run too far costs more than one changed too early. In the simulated shops this takes the
// worst tenth of the hardest line from 90 % extra cost to 21 %.
func (f *Family) careful() Survival {
	parts := f.parts()
	law := make(Causes, len(parts))
	for i, e := range parts {
		law[i] = e.Law
		if r := float64(e.Failures); e.Fit == nil && r > 0 {
			median := distuv.ChiSquared{K: 2*r + 2}.Quantile(0.5)
			law[i].Scale *= math.Pow(2*r/median, 1/e.Law.Shape)
		}
	}
	return law.Survival
}

// lower returns the lower limit of the curve at whole ages up to limit, and 0 beyond. The limits
// of single points may sink towards age 0, where few failures say little; as survival only
// falls, a limit that holds later holds earlier too.
func lower(parts []Estimate, limit int, level float64) Survival {
	low := make([]float64, limit+1)
	for t := limit; t >= 0; t-- {
		low[t] = band(parts, float64(t), level).Low
		if t < limit {
			low[t] = math.Max(low[t], low[t+1])
		}
	}
	return func(t float64) float64 {
		if i := int(math.Ceil(t)); i < len(low) {
			return low[max(i, 0)]
		}
		return 0
	}
}

// Usual is the stretch of lives that raises no question.
type Usual struct{ Low, Median, High float64 }

// Usual returns the usual removal ages of the family, whatever the reason: the middle 80 %,
// widened on each side by one and a half times its distance from the median. ok is false below
// five runs. House rule, no source.
func (f *Family) Usual(runs []Run) (Usual, bool) {
	kept, _ := sift(runs, f.Options.Measure)
	var ages []float64
	for _, r := range kept {
		for range min(r.count(), 1000) {
			ages = append(ages, f.Options.Measure.age(r))
		}
	}
	if len(ages) < MinFailures {
		return Usual{}, false
	}
	slices.Sort(ages)
	q := func(p float64) float64 { return ages[int(p*float64(len(ages)-1)+0.5)] }
	lo, mid, hi := q(0.1), q(0.5), q(0.9)
	return Usual{math.Max(0, lo-1.5*(mid-lo)), mid, hi + 1.5*(hi-mid)}, true
}

// Question returns what to ask about a life that is far from usual, or "".
func (u Usual) Question(age float64, m Measure) string {
	switch {
	case age < u.Low:
		return fmt.Sprintf("%g %s, usual are %.0f to %.0f: what ended this edge so early?", age, m, u.Low, u.High)
	case age > u.High:
		return fmt.Sprintf("%g %s, usual are %.0f to %.0f: an edge run so far is at risk; is the count right?", age, m, u.Low, u.High)
	}
	return ""
}

// A JobInserts is what the rest of a job will eat.
type JobInserts struct {
	Demand    *Demand
	Need      InsertNeed
	PlannedAt int // change interval assumed, 0: run to failure
	Cautious  int // inserts needed if the life is as short as its lower limit allows
	Says      string
}

// ForJob returns the inserts needed for so many more good parts at a confidence such as 0.95,
// changing edges after plannedAt parts (0: run to failure). Lives must be in parts.
func (f *Family) ForJob(parts, edgesPerInsert, plannedAt int, target float64) (JobInserts, error) {
	if len(f.Law) == 0 {
		return JobInserts{}, refuse("no_data", "no forecast: nothing is logged yet; plan with parts per edge instead")
	}
	if f.Options.Measure != InParts {
		return JobInserts{}, refuse("invalid", "a forecast in parts needs lives in parts; these are in minutes")
	}
	need := func(r Survival) (*Demand, InsertNeed, error) {
		d, err := Renew(EdgeUse{r, plannedAt}, parts)
		if err != nil {
			return nil, InsertNeed{}, err
		}
		n, err := d.Inserts(edgesPerInsert, target, d.MeanParts, d.SDParts)
		return d, n, err
	}
	d, n, err := need(f.Law.Survival)
	if err != nil {
		return JobInserts{}, err
	}
	j := JobInserts{Demand: d, Need: n, PlannedAt: plannedAt, Cautious: n.Inserts}
	limit := min(int(math.Min(f.Law.Quantile(1-1e-15), maxSupport)), parts) + 1
	if plannedAt > 0 {
		limit = min(limit, plannedAt)
	}
	low := lower(f.parts(), limit, f.Options.Level)
	if _, c, err := need(low); err == nil {
		j.Cautious = max(j.Cautious, c.Inserts)
	}
	j.Says = fmt.Sprintf("%d inserts are enough with a chance of %.1f %% (%.1f %% with one fewer); %.1f edges are used on average", n.Inserts, 100*n.Achieved, 100*n.OneLess, d.ExpectedEdges)
	if j.Cautious > n.Inserts {
		j.Says += fmt.Sprintf("; if edges last only as long as the lower limit of the fit, it takes %d", j.Cautious)
	}
	return j, nil
}

// speak writes the sentences.
func (f *Family) speak() {
	say := func(format string, a ...any) { f.Sentences = append(f.Sentences, fmt.Sprintf(format, a...)) }
	m := f.Options.Measure
	if len(f.Law) == 0 {
		say("No estimate: %s.", cmp.Or(whyNone(f.All), "nothing is logged yet"))
	} else {
		say("Half of the edges last %.0f %s or longer; one in ten is gone after %.0f.", f.Law.Quantile(0.5), m, f.Law.Quantile(0.1))
	}
	if c := f.Change; c != nil {
		if c.Status == AdviceRunToFailure {
			say("Run the edge to failure: no planned change is cheaper (%.3g a part).", c.Cost)
		} else {
			say("Change after %d good parts: %.3g a part against %.3g running to failure, %.0f %% less; %.1f %% of edges fail before that.", c.Parts, c.Cost, c.ToFailure, 100*c.Saving, 100*c.Surprise)
		}
	} else if f.NoChange != nil && f.Options.Costs != nil {
		say("No change interval: %s.", f.NoChange.Why)
	}
	if f.RiskParts == 0 {
		say("Dear part: even the first part of an edge carries more than the accepted risk of %.2g %%, at the lower limit of the curve.", 100*f.Options.Risk)
	} else if f.RiskParts > 0 {
		say("Dear part: change after %d parts; up to there no more than %.2g %% of edges fail, at the lower limit of the curve.", f.RiskParts, 100*f.Options.Risk)
	}
	for _, e := range f.parts() {
		say("%s.", e.Says(m))
	}
	if f.All.NoFit != nil && f.Kept > 0 {
		say("All failures together: %s.", f.All.NoFit.Why)
	}
	for _, s := range []*Split{f.Batches, f.CuttingData} {
		if s != nil {
			for _, g := range s.Groups {
				if g.Says != "" {
					say("%s.", g.Says)
				}
			}
		}
	}
	if t := f.Taylor; t != nil {
		say("Taylor: n = %.3g, C = %.4g m/min, from speeds actually run.", t.N, t.C)
	} else if f.NoTaylor != nil {
		say("Taylor: %s.", f.NoTaylor.Why)
	}
	if n := f.Count[Chatter]; n > 0 && !f.Options.ChatterFails {
		say("%s taken off for chatter counted as still good: chatter belongs to the setup, not to the edge.", edges(n))
	}
	if n := f.Count[Planned] + f.Count[EndOfJob]; n > 0 {
		say("%s changed on plan or at the end of the job counted as unfinished: longer than this, not known how much.", edges(n))
	}
	if n := len(f.LeftOut); n > 0 {
		say("%d of the runs left out; the first: %s.", n, f.LeftOut[0].Why)
	}
}

func whyNone(e Estimate) string {
	if e.Refused != nil {
		return e.Refused.Why
	}
	return ""
}

// Lives returns the ages of the runs that count, with wear-out and sudden failures as failed:
// what the product-limit curve of the family is drawn from.
func (f *Family) Lives() []Life { return f.lives }
