package reorder

import (
	"encoding/json"
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// Brute force over whole quantities is the second witness for every order quantity.
func TestQuantityAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.Float64Range(1, 5000).Draw(t, "D")
		s := rapid.Float64Range(0.1, 200).Draw(t, "S")
		h := rapid.Float64Range(0.05, 50).Draw(t, "H")
		pack := rapid.IntRange(1, 60).Draw(t, "pack")
		least := rapid.IntRange(0, 300).Draw(t, "least")
		carrying := rapid.Float64Range(0.05, 0.6).Draw(t, "carrying")
		price := rapid.Float64Range(0.5, 90).Draw(t, "price")
		at := rapid.IntRange(2, 400).Draw(t, "break")
		off := rapid.Float64Range(0.5, 1).Draw(t, "off")

		p, err := InPacks(Costs{d, s, h}, float64(pack), float64(least))
		if err != nil {
			t.Fatal(err)
		}
		q, err := DiscountInPacks(d, s, PriceList{Breaks: []Break{{1, price}, {float64(at), price * off}}, Carrying: carrying}, float64(pack), float64(least))
		if err != nil {
			t.Fatal(err)
		}
		best, bestTotal := math.Inf(1), math.Inf(1)
		for n := 1; n*pack < 12_000; n++ {
			pieces := float64(n * pack)
			if n*pack < least {
				continue
			}
			best = math.Min(best, d/pieces*s+pieces/2*h)
			c := price
			if n*pack >= at {
				c *= off
			}
			bestTotal = math.Min(bestTotal, d*c+d/pieces*s+pieces/2*carrying*c)
		}
		if p.RelevantCost > best*(1+1e-12) || p.Q%pack != 0 || p.Q < least {
			t.Errorf("InPacks: %d pieces cost %v, brute force %v", p.Q, p.RelevantCost, best)
		}
		if q.Total > bestTotal*(1+1e-12) || q.Q%pack != 0 || q.Q < least {
			t.Errorf("DiscountInPacks: %d pieces cost %v, brute force %v", q.Q, q.Total, bestTotal)
		}
	})
}

// Requests of random size are a random sum, so the exact mixture over a Poisson number of
// requests must give the same point as the recursion.
func TestCompoundAgainstConvolution(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		orders := rapid.Float64Range(0.05, 6).Draw(t, "orders")
		a := rapid.IntRange(1, 4).Draw(t, "a")
		b := rapid.IntRange(5, 12).Draw(t, "b")
		share := rapid.Float64Range(0.05, 0.95).Draw(t, "share")
		target := rapid.Float64Range(0.5, 0.995).Draw(t, "target")
		sizes := []Chance{{a, share}, {b, 1 - share}}
		c, err := PointCompound(orders, sizes, target)
		if err != nil {
			t.Fatal(err)
		}
		var number []Chance
		rest := 1.0
		for k := range 60 {
			p := distuv.Poisson{Lambda: orders}.Prob(float64(k))
			number = append(number, Chance{k, p})
			rest -= p
		}
		number[0].P += rest // below 1e-12
		s, err := OverLead(sizes, number)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.UpTo(c.Point); math.Abs(got-c.Achieved) > 1e-9 {
			t.Errorf("P(demand <= %d) = %v, by convolution %v", c.Point, c.Achieved, got)
		}
		if c.Achieved < target || c.Point > 0 && c.OneLess >= target {
			t.Errorf("%d reaches %v, one less %v, target %v", c.Point, c.Achieved, c.OneLess, target)
		}
		if math.Abs(s.Mean-c.Mean) > 1e-8 || math.Abs(s.Variance-c.Variance) > 1e-6 {
			t.Errorf("mean %v, %v; variance %v, %v", c.Mean, s.Mean, c.Variance, s.Variance)
		}
	})
}

// Beyond 745 requests exp(-requests) is 0 in a float64; the scaled recursion must still
// agree with the plain Poisson point.
func TestCompoundLarge(t *testing.T) {
	for _, mean := range []float64{700, 2000, 20_000} {
		c, err := PointCompound(mean, []Chance{{1, 1}}, 0.99)
		if err != nil {
			t.Fatal(err)
		}
		p, err := PointPoisson(mean, 0.99)
		if err != nil || c.Point != p.Point || math.Abs(c.Achieved-p.Achieved) > 1e-9 {
			t.Errorf("mean %v: %d (%v), Poisson %d (%v), %v", mean, c.Point, c.Achieved, p.Point, p.Achieved, err)
		}
	}
}

// A whole point is the smallest: it reaches the target and one less does not; more service
// never needs less.
func TestPointsAreSmallest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mean := rapid.Float64Range(0, 3000).Draw(t, "mean")
		target := rapid.Float64Range(0.01, 0.999).Draw(t, "target")
		more := rapid.Float64Range(target, 0.9995).Draw(t, "more")
		wide := rapid.Float64Range(1.0001, 20).Draw(t, "wide")
		qty := float64(rapid.IntRange(1, 200).Draw(t, "qty"))
		check := func(name string, p, q WholePoint, err error) {
			if err != nil {
				t.Fatal(err)
			}
			if p.Achieved < target || p.Point > 0 && !(p.OneLess < target) || p.Point == 0 && !math.IsNaN(p.OneLess) {
				t.Errorf("%s: %+v for %v", name, p, target)
			}
			if q.Point < p.Point {
				t.Errorf("%s: %v needs %d, %v only %d", name, target, p.Point, more, q.Point)
			}
		}
		p, err := PointPoisson(mean, target)
		q, _ := PointPoisson(mean, more)
		check("poisson", p, q, err)
		nb, err := PointNegBinomial(mean, mean*wide, target)
		nq, _ := PointNegBinomial(mean, mean*wide, more)
		check("negative binomial", nb.WholePoint, nq.WholePoint, err)
		f, err := FillPoisson(mean, qty, target)
		fq, _ := FillPoisson(mean, qty, more)
		check("fill", f.WholePoint, fq.WholePoint, err)
	})
}

// Whatever the size of the figures, there is an answer or a refusal, and never a panic of
// the library below.
func TestPointsAtTheEdges(t *testing.T) {
	wide := func(t *rapid.T, name string) float64 {
		return math.Pow(10, rapid.Float64Range(-320, 12.5).Draw(t, name))
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := wide(t, "a"), wide(t, "b"), wide(t, "c")
		p := rapid.OneOf(rapid.Float64Range(0, 1), rapid.SampledFrom([]float64{1e-300, 1e-16, 1 - 1e-16, 0.999999999})).Draw(t, "p")
		for name, err := range map[string]error{
			"poisson":           second(PointPoisson(a, p)),
			"negative binomial": second(PointNegBinomial(a, b, p)),
			"normal":            second(PointNormal(Normal{Demand: a, SD: b, Lead: c, CycleService: p})),
			"compound":          second(PointCompound(a, []Chance{{1, 0.5}, {1_000_000, 0.5}}, p)),
			"fill normal":       second(FillNormal(a, b, c, p)),
			"fill poisson":      second(FillPoisson(a, math.Ceil(b), p)),
			"eoq":               second(Economic(Costs{a, b, c})),
			"packs":             second(InPacks(Costs{a, b, c}, math.Ceil(b), c)),
			"backorders":        second(Backordered(Costs{a, b, c}, b)),
			"discount":          second(DiscountInPacks(a, b, PriceList{Breaks: []Break{{1, c}}, Carrying: b}, 3, 1)),
		} {
			if err != nil && !errors.Is(err, ErrInput) {
				t.Errorf("%s of %v, %v, %v, %v: %v", name, a, b, c, p, err)
			}
		}
	})
}

// After the last demand Croston stands still and TSB only falls.
func TestForecastsAfterTheLastDemand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		demand := rapid.SliceOfN(rapid.Float64Range(0, 50), 1, 40).Draw(t, "demand")
		n := len(demand)
		demand = append(demand, make([]float64, 30)...)
		c, err := ForecastCroston(demand, 0.2, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		s, err := ForecastTSB(demand, 0.2, 0.1, firstDemand(demand), 0.5)
		if err != nil {
			t.Fatal(err)
		}
		for i := n; i < len(demand); i++ {
			if a, b := c.Path[i-1], c.Path[i]; a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
				t.Errorf("Croston moved from %v to %v without a demand", a, b)
			}
			if s.Path[i] > s.Path[i-1] {
				t.Errorf("TSB rose from %v to %v without a demand", s.Path[i-1], s.Path[i])
			}
		}
	})
}

// Every unit belongs to a plan or to the rest, never to both and never to neither.
func TestSplitLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var ws []Withdrawal
		booked := map[string]int{}
		total := 0
		for range rapid.IntRange(0, 40).Draw(t, "withdrawals") {
			w := Withdrawal{Day(rapid.IntRange(0, 300).Draw(t, "day")), rapid.IntRange(1, 30).Draw(t, "units"), rapid.SampledFrom([]string{"", "A", "B", "C"}).Draw(t, "job")}
			ws = append(ws, w)
			booked[w.Job] += w.Units
			total += w.Units
		}
		jobs := []JobPlan{{Job: "A", Planned: rapid.IntRange(0, 200).Draw(t, "A")}, {Job: "B", Planned: rapid.IntRange(0, 200).Draw(t, "B")}}
		rest, needs := Split(ws, jobs)
		sum := 0
		for _, w := range rest {
			sum += w.Units
		}
		for _, j := range jobs {
			sum += min(booked[j.Job], j.Planned)
		}
		if sum != total {
			t.Errorf("%d withdrawn, %d accounted for", total, sum)
		}
		for _, n := range needs {
			if n.Left != n.Planned-booked[n.Job] {
				t.Errorf("%s: %d left of %d after %d", n.Job, n.Left, n.Planned, booked[n.Job])
			}
		}
	})
}

// One unit more on the shelf never makes an ordering alert worse; whatever comes in, the
// sentence is there exactly when there is something to say.
func TestMoreStockIsNeverWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := insert(rapid.IntRange(0, 200).Draw(t, "stock"))
		for range rapid.IntRange(0, 60).Draw(t, "withdrawals") {
			p.Withdrawals = append(p.Withdrawals, Withdrawal{today - Day(rapid.IntRange(0, 199).Draw(t, "ago")), rapid.IntRange(1, 12).Draw(t, "units"), ""})
		}
		for i := range rapid.IntRange(0, 3).Draw(t, "jobs") {
			p.Jobs = append(p.Jobs, JobPlan{Job: string(rune('A' + i)), Planned: rapid.IntRange(0, 80).Draw(t, "planned"), Need: today + Day(rapid.IntRange(-5, 60).Draw(t, "need")), SD: float64(rapid.IntRange(0, 9).Draw(t, "sd"))})
		}
		if rapid.Bool().Draw(t, "ordered") {
			p.OnOrder = []Arrival{{rapid.IntRange(1, 50).Draw(t, "units"), today - 10, today + Day(rapid.IntRange(-5, 40).Draw(t, "due"))}}
		}
		before, err := Review(p, today, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		p.OnHand++
		after, err := Review(p, today, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		if after.Alert.Level > before.Alert.Level && after.Alert.Level >= OrderSoon {
			t.Errorf("one more on the shelf: from %q to %q", before.Alert.Sentence, after.Alert.Sentence)
		}
		if (before.Alert.Sentence == "") != (before.Alert.Level == Enough) {
			t.Errorf("%v says %q", before.Alert.Level, before.Alert.Sentence)
		}
		if n := before.Alert.Pieces; n%p.Terms.Pack != 0 || n < 0 {
			t.Errorf("%d pieces in packs of %d", n, p.Terms.Pack)
		}
	})
}

// Whatever a shop has booked, a look at a part answers or refuses.
func TestReviewAtTheEdges(t *testing.T) {
	any64 := rapid.OneOf(rapid.IntRange(-3, 100), rapid.Int(), rapid.SampledFrom([]int{1e9, -1e9, math.MaxInt, math.MinInt}))
	rapid.Check(t, func(t *rapid.T) {
		n := func(name string) int { return any64.Draw(t, name) }
		some := func(name string) int { return rapid.IntRange(0, 1_000_000_000).Draw(t, name) }
		p := insert(some("stock"))
		p.Promised, p.Since = some("promised"), Day(rapid.SampledFrom([]int{int(today), int(today) - 700, -90_000, n("since")}).Draw(t, "first"))
		p.Terms.Pack, p.Terms.MinOrder = 1+some("pack")%1_000_000, some("least")
		p.Terms.UnitsPerPiece = rapid.IntRange(1, 1000).Draw(t, "units")
		p.Lead.Plan = rapid.IntRange(0, 3650).Draw(t, "lead")
		p.Service = rapid.Float64Range(1e-9, 1-1e-9).Draw(t, "service")
		for range rapid.IntRange(0, 20).Draw(t, "withdrawals") {
			p.Withdrawals = append(p.Withdrawals, Withdrawal{rapid.SampledFrom([]Day{today, today - 3, today - 90, today + 5, -99_999}).Draw(t, "day"), rapid.IntRange(-1e9, 1e9).Draw(t, "units"), rapid.SampledFrom([]string{"", "J"}).Draw(t, "job")})
		}
		p.Jobs = []JobPlan{{Job: "J", Planned: some("planned"), Reserved: some("reserved"), Need: today + Day(rapid.IntRange(-70_000, 70_000).Draw(t, "need")), SD: float64(some("sd"))}}
		p.OnOrder = []Arrival{{1 + some("ordered")/2, today, today + Day(rapid.IntRange(-70_000, 70_000).Draw(t, "due"))}}
		a, err := Review(p, today, DefaultRules())
		if err != nil && !errors.Is(err, ErrInput) {
			t.Fatal(err)
		}
		if err == nil && (a.Alert.Pieces < 0 || a.Alert.Pieces%p.Terms.Pack != 0 || a.Point < 0 || a.Quantity <= 0) {
			t.Errorf("%+v", a)
		}
	})
}

func TestABCHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "n")
		parts := make([]Value, n)
		for i := range parts {
			parts[i] = Value{string(rune('a' + i)), float64(rapid.IntRange(0, 500).Draw(t, "use")), float64(rapid.IntRange(0, 9000).Draw(t, "cents")) / 100}
		}
		rows, total, err := ABC(parts, 0.8, 0.95)
		if err != nil || len(rows) != n {
			t.Fatalf("%d rows, %v", len(rows), err)
		}
		sum := 0.0
		for i, r := range rows {
			sum += r.Value
			if i > 0 && (r.Value > rows[i-1].Value || r.Class < rows[i-1].Class || r.Share < rows[i-1].Share) {
				t.Errorf("row %d out of order: %+v after %+v", i, r, rows[i-1])
			}
		}
		if math.Abs(sum-total) > 1e-6 || total > 0 && (rows[0].Class != 'A' || math.Abs(rows[n-1].Share-1) > 1e-12) {
			t.Errorf("sum %v, total %v, %+v", sum, total, rows)
		}
	})
}

// FuzzRespond: no text makes an answer panic, and every answer is JSON.
func FuzzRespond(f *testing.F) {
	names := []string{"order-quantity", "reorder-point", "intermittent", "demand-class", "abc"}
	for i, s := range []string{
		`{"id":"a","D":1000,"S":10,"H":0.5,"pack":10,"min_order":3,"backorder_cost":2}`,
		`{"kind":"compound_poisson","orders_mean_in_lead_time":1.5,"sizes":[[1,0.5],[2,0.5]],"cycle_service":0.95}`,
		`{"demand":[0,2,0,1],"croston":[{"alpha":0.1,"beta":0.1}],"tsb":[{"alpha":0.1,"beta":0.1,"z0":1,"p0":0.5}]}`,
		`{"demand":[0,0,5]}`,
		`{"items":[["a",1,2],[2,3,4.5]],"cutoffs":[0.8,0.95]}`,
	} {
		f.Add(i, []byte(s))
	}
	f.Add(1, []byte(`{"daily":[[12,0.5],[13,0.5]],"lead":[[1,0.2],[2,0.8]]}`))
	f.Add(1, []byte(`{"mean_ltd":30,"sd_ltd":12,"order_qty":40,"fill_rate":0.95}`))
	f.Add(1, []byte(`{"kind":"poisson_loss_table","mean_ltd":1.25,"up_to":4}`))
	f.Add(0, []byte(`{"D":816,"S":12,"breaks":[[1,20],[50,18]],"H":4,"pack":10}`))
	f.Fuzz(func(t *testing.T, i int, raw []byte) {
		kind := names[uint(i)%uint(len(names))]
		list, err := List(kind, raw)
		if err != nil {
			return
		}
		for _, c := range list {
			a, err := Respond(kind, c)
			text, marshal := json.Marshal(a)
			if marshal != nil || !json.Valid(text) {
				t.Fatalf("%s %s: %v", kind, c, marshal)
			}
			if (err != nil) != (a.Get("error") != nil) {
				t.Errorf("%s %s: %v but %s", kind, c, err, text)
			}
		}
	})
}

// FuzzParseDay: what is read is written the same.
func FuzzParseDay(f *testing.F) {
	f.Add("2026-05-14")
	f.Add("2024-02-29")
	f.Add("14.5.2026")
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseDay(s)
		if err != nil {
			return
		}
		if again, err := ParseDay(d.String()); err != nil || again != d || d.String() != s {
			t.Errorf("%q reads as %v", s, d)
		}
	})
}
