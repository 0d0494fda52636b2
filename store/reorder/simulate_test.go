package reorder

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// inventedShop makes parts with two years behind them and one ahead: a quarter each with
// steady, scattered, rare, and rare large withdrawals, every second one with planned jobs
// besides, released three weeks before they need it. change is the share of parts whose
// use is multiplied or divided by 2.5 somewhere in the first half of the year ahead.
func inventedShop(n int, change float64, seed uint64) []SimPart {
	r := rand.New(rand.NewPCG(seed, 1))
	leads := [][]int{{6, 7, 8, 9, 10, 19, 21}, {3, 3, 4, 4, 5, 6, 15}, {14, 15, 17, 20, 22, 30, 45}}
	shop := make([]SimPart, n)
	for i := range shop {
		lead := leads[i%3]
		weekly := 0.5 + 9.5*r.Float64()
		price := int64(150 + r.IntN(6000))
		pack := []int{1, 5, 10}[r.IntN(3)]
		s := SimPart{
			Part: Part{ID: fmt.Sprintf("P%03d", i), Service: 0.95, Terms: Terms{Pack: pack, UnitsPerPiece: 1,
				Prices: []PriceBreak{{1, eur(price)}, {100, eur(price * 9 / 10)}}, OrderCost: eur(1500), Carrying: 0.25}},
			Daily: make([]int, 364), Quoted: lead[1], Leads: lead,
		}
		for range 5 {
			s.Past = append(s.Past, lead[r.IntN(len(lead))])
		}
		// Jobs are known three weeks ahead; what comes later is the usual work, not none.
		s.Part.Unscheduled = []float64{0, 0, 0, 1, 1, 1, 1, 1, 1, 1}
		factor, from := 1.0, 364
		if r.Float64() < change {
			from, factor = r.IntN(182), 2.5
			if r.IntN(2) == 0 {
				factor = 0.4
			}
		}
		for d := -728; d < 364; d++ {
			if (d+728)%7 > 4 {
				continue // nobody works at the weekend
			}
			rate := weekly / 5
			if d >= from {
				rate *= factor
			}
			taken := 0
			switch i % 4 {
			case 0:
				taken = int(distuv.Poisson{Lambda: rate, Src: r}.Rand())
			case 1:
				if r.Float64() < 0.5 {
					taken = int(rate * 2 * distuv.LogNormal{Mu: -0.5, Sigma: 1, Src: r}.Rand())
				}
			case 2:
				if r.Float64() < rate/8 {
					taken = 8
				}
			case 3:
				if r.Float64() < rate/12 {
					taken = 1 + int(distuv.Exponential{Rate: 1.0 / 11, Src: r}.Rand())
				}
			}
			if taken == 0 {
				continue
			}
			if d < 0 {
				s.History = append(s.History, Withdrawal{Day(d), taken, ""})
			} else {
				s.Daily[d] = taken
			}
		}
		if i%2 == 0 {
			for d := -700 + r.IntN(40); d < 360; d += 25 + r.IntN(40) {
				planned := 5 + int(weekly*2*r.Float64())
				takes := max(1, planned+int(float64(planned)*0.15*r.NormFloat64()))
				j := SimJob{JobPlan{Job: fmt.Sprintf("J%d-%d", i, d+700), Planned: planned, Need: Day(d), SD: 0.15 * float64(planned)}, Day(d - 21), takes}
				s.Jobs = append(s.Jobs, j)
				if d < 0 {
					s.History = append(s.History, Withdrawal{Day(d), takes, j.Plan.Job})
				}
			}
		}
		shop[i] = s
	}
	return shop
}

// TestYear plays the year and prints the table of the handbook: go test -run Year -v.
// It holds only what the comparison must keep: the same demand for all, and sums that add.
func TestYear(t *testing.T) {
	rules := DefaultRules()
	var table strings.Builder
	fmt.Fprintf(&table, "\n| shop | levels | refused | short units | part-days waited | jobs stopped | orders | mean tied up | end tied up |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, world := range []struct {
		name   string
		change float64
	}{{"steady", 0}, {"a third changes", 1.0 / 3}} {
		shop := inventedShop(80, world.change, 7)
		var demand [2]int
		for _, v := range []struct {
			name   string
			policy Policy
			safety float64
		}{{"these rules", ByRules, 0}, {"fixed, half as much again", ByMinMax, 0.5}, {"fixed, as much again", ByMinMax, 1}, {"fixed, twice as much again", ByMinMax, 2}, {"fixed, three times", ByMinMax, 3}} {
			for i := range shop {
				start, err := GuessMinMax(shop[i], 104, 1)
				if err != nil {
					t.Fatal(err)
				}
				shop[i].Start = start.Max // the same for all
				if shop[i].MinMax, err = GuessMinMax(shop[i], 104, v.safety); err != nil {
					t.Fatal(err)
				}
			}
			got, err := Simulate(shop, v.policy, rules, 42)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&table, "| %s | %s | %d of %d | %d of %d | %d | %d | %d | %.0f | %.0f |\n", world.name, v.name,
				got.Refused, got.Requests, got.ShortUnits, got.Units, got.ShortDays, got.StoppedJobs, got.Orders, got.MeanTied, got.EndTied)
			if demand == [2]int{} {
				demand = [2]int{got.Requests, got.Units}
			} else if demand != [2]int{got.Requests, got.Units} {
				t.Errorf("%s meets demand %d, %d, another policy met %v", v.name, got.Requests, got.Units, demand)
			}
			if got.ShortUnits > got.Units || got.Refused > got.Requests || got.Orders == 0 || got.MeanTied <= 0 {
				t.Errorf("%s: sums that cannot be: %+v", v.name, got)
			}
		}
	}
	t.Log(table.String())
}

func TestSimulateIsRepeatable(t *testing.T) {
	shop := inventedShop(12, 0.5, 3)
	a, err := Simulate(shop, ByRules, DefaultRules(), 1)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := Simulate(shop, ByRules, DefaultRules(), 1)
	if a != b {
		t.Errorf("two runs with one seed differ: %+v, %+v", a, b)
	}
	if c, _ := Simulate(shop, ByRules, DefaultRules(), 2); a == c {
		t.Error("another seed draws the same lead times")
	}
}

// A year worked out by hand: one unit every seventh day, deliveries after exactly 7 days,
// min 1, max 3.
func TestSimulateByHand(t *testing.T) {
	daily := make([]int, 28)
	for d := 0; d < 28; d += 7 {
		daily[d] = 1
	}
	p := SimPart{Part: Part{Service: 0.9, Terms: Terms{Pack: 1, UnitsPerPiece: 1, Prices: []PriceBreak{{1, eur(100)}}, OrderCost: eur(1), Carrying: 0.1}},
		Start: 2, Daily: daily, Leads: []int{7}, Quoted: 7, MinMax: MinMax{1, 3}}
	got, err := Simulate([]SimPart{p}, ByMinMax, DefaultRules(), 1)
	// Day 0: 2-1 = 1, order 2. Day 7: 1+2-1 = 2. Day 14: 1, order 2. Day 21: 1+2-1 = 2.
	want := SimResult{Parts: 1, Days: 28, Requests: 4, Units: 4, Orders: 2, OrderLineMax: 1, MeanTied: 1.5, EndTied: 2, Bought: 4}
	if err != nil || got != want {
		t.Errorf("Simulate = %+v, %v; want %+v", got, err, want)
	}
	// With none at the start: 1 short on day 0 for 7 days (order 4: position -1 to 3).
	p.Start = 0
	got, err = Simulate([]SimPart{p}, ByMinMax, DefaultRules(), 1)
	if err != nil || got.ShortUnits != 1 || got.Refused != 1 || got.ShortDays != 7 {
		t.Errorf("Simulate from nothing = %+v, %v", got, err)
	}
}
