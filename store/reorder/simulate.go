package reorder

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// A Policy decides when and how much is ordered in a simulation.
type Policy int

// The two that are compared.
const (
	ByRules  Policy = iota // Review, recomputed as the year goes on
	ByMinMax               // fixed: at or below Min, order up to Max
)

// A MinMax is a pair of fixed levels, in units.
type MinMax struct{ Min, Max int }

// A SimJob is a job of the simulated year.
type SimJob struct {
	Plan     JobPlan // Need counts from the first day of the simulation = 0, as do all days here
	Released Day     // from when on the plan is known
	Takes    int     // what it really takes, on the day Need
}

// A SimPart is one part of the simulated year.
type SimPart struct {
	Part    Part         // ID, Unit, Terms, Service, Unscheduled; its stock, demand and lead time are not read
	History []Withdrawal // before day 0, so with negative days
	Start   int          // on hand on day 0
	Daily   []int        // units asked for without a job, a day of the year each
	Jobs    []SimJob
	Quoted  int   // days, as the supplier says
	Past    []int // days that past deliveries took, oldest first
	Leads   []int // days that deliveries take, one drawn for each order; not empty
	MinMax  MinMax
}

// A SimResult is one policy's year. Money is in the currency of the prices; parts without
// a price count for nothing in it.
type SimResult struct {
	Parts, Days  int
	Requests     int     // askings for anything
	Refused      int     // of them, not served in full from the shelf
	Units        int     // asked for
	ShortUnits   int     // of them, not served at once
	ShortDays    int     // days on which somebody waited for a part, over all parts
	StoppedJobs  int     // jobs that did not get all they needed on the day
	Orders       int     // placed
	OrderLineMax int     // most orders on one day
	MeanTied     float64 // money on the shelf, mean over the days
	EndTied      float64 // on the last day
	Bought       float64 // money spent on goods
}

// Simulate plays days of demand (as long as the longest Daily) under a policy. Demand and
// the lead time of an order placed on a given day are the same for every policy with the
// same seed, so that only the policy differs. Who finds too little takes what is there and
// waits for the rest; deliveries serve the waiting first. Under ByRules nothing of the
// future is seen but jobs already released; lead times are learnt from receipts.
func Simulate(parts []SimPart, p Policy, r Rules, seed uint64) (SimResult, error) {
	out := SimResult{Parts: len(parts)}
	for _, s := range parts {
		out.Days = max(out.Days, len(s.Daily))
	}
	perDay := make([]int, out.Days)
	for i, s := range parts {
		if len(s.Leads) == 0 {
			return SimResult{}, &BadInput{fmt.Sprintf("parts[%d] leads", i), "", "is empty", "give at least one lead time"}
		}
		for _, d := range s.Leads {
			if d < 0 || d > 3650 {
				return SimResult{}, &BadInput{fmt.Sprintf("parts[%d] leads", i), fmt.Sprint(d), "must be from 0 to 3650 days", "check the lead times"}
			}
		}
		if err := s.Part.Terms.check(); err != nil {
			return SimResult{}, fmt.Errorf("parts[%d]: %w", i, err)
		}
		one := simPart{SimPart: s, policy: p, rules: r, days: out.Days, onHand: s.Start,
			taken: append([]int(nil), s.Past...), withdrawn: append([]Withdrawal(nil), s.History...)}
		// One draw per part and day, whether it is used or not.
		draw := rand.New(rand.NewPCG(seed, uint64(i)))
		for range out.Days {
			one.draws = append(one.draws, s.Leads[draw.IntN(len(s.Leads))])
		}
		if err := one.run(&out, perDay); err != nil {
			return SimResult{}, fmt.Errorf("parts[%d]: %w", i, err)
		}
	}
	if out.Days > 0 {
		out.MeanTied /= float64(out.Days)
	}
	for _, n := range perDay {
		out.OrderLineMax = max(out.OrderLineMax, n)
	}
	return out, nil
}

type simPart struct {
	SimPart
	policy    Policy
	rules     Rules
	days      int
	draws     []int
	onHand    int
	owed      int
	open      []simOrder
	taken     []int
	withdrawn []Withdrawal
}

type simOrder struct {
	units         int
	placed, comes Day
}

func (s *simPart) run(out *SimResult, perDay []int) error {
	price := float64(s.Part.Terms.price(0).Cents) / 100 / float64(s.Part.Terms.UnitsPerPiece)
	for n := range s.days {
		d := Day(n)
		moved := s.receive(d)
		if n < len(s.Daily) && s.Daily[n] > 0 {
			s.take(out, d, s.Daily[n], "")
			moved = true
		}
		for _, j := range s.Jobs {
			if j.Plan.Need == d && j.Takes > 0 {
				if s.take(out, d, j.Takes, j.Plan.Job) > 0 {
					out.StoppedJobs++
				}
				moved = true
			}
			moved = moved || j.Released == d
		}
		// Between bookings the rules look once a week; the position only changes by bookings.
		if s.policy == ByMinMax || moved || n%7 == 0 {
			pieces, err := s.decide(d)
			if err != nil {
				return err
			}
			if pieces > 0 {
				s.open = append(s.open, simOrder{pieces * s.Part.Terms.UnitsPerPiece, d, d + Day(s.draws[n])})
				out.Orders++
				perDay[n]++
				out.Bought += float64(pieces) * float64(s.Part.Terms.price(pieces).Cents) / 100
			}
		}
		if s.owed > 0 {
			out.ShortDays++
		}
		out.MeanTied += float64(s.onHand) * price
	}
	out.EndTied += float64(s.onHand) * price
	return nil
}

// receive books what comes today and serves who waits; it says whether anything came.
func (s *simPart) receive(d Day) bool {
	left := s.open[:0]
	came := false
	for _, o := range s.open {
		if o.comes > d {
			left = append(left, o)
			continue
		}
		came = true
		s.onHand += o.units
		s.taken = append(s.taken, int(d-o.placed))
	}
	s.open = left
	served := min(s.owed, s.onHand)
	s.owed -= served
	s.onHand -= served
	return came
}

// take serves a request as far as the shelf goes and returns what is short.
func (s *simPart) take(out *SimResult, d Day, n int, job string) int {
	served := min(n, s.onHand)
	s.onHand -= served
	s.owed += n - served
	s.withdrawn = append(s.withdrawn, Withdrawal{d, n, job})
	out.Requests++
	out.Units += n
	out.ShortUnits += n - served
	if served < n {
		out.Refused++
	}
	return n - served
}

// decide returns the pieces to order today.
func (s *simPart) decide(d Day) (int, error) {
	t := s.Part.Terms
	if s.policy == ByMinMax {
		position := s.onHand - s.owed
		for _, o := range s.open {
			position += o.units
		}
		if position > s.MinMax.Min {
			return 0, nil
		}
		return t.inPacks(ceil(float64(s.MinMax.Max-position) / float64(t.UnitsPerPiece))), nil
	}
	p := s.Part
	p.OnHand, p.Promised, p.OnOrder = s.onHand, s.owed, nil
	p.Since, p.Withdrawals, p.Jobs = d, s.withdrawn, nil
	if len(s.withdrawn) > 0 {
		p.Since = min(d, s.withdrawn[0].Day)
	}
	var waiting []int
	for _, o := range s.open {
		waiting = append(waiting, int(d-o.placed))
	}
	var err error
	if p.Lead, err = Leads(s.Quoted, s.taken, waiting); err != nil {
		return 0, err
	}
	for _, o := range s.open {
		p.OnOrder = append(p.OnOrder, Arrival{o.units, o.placed, max(d, o.placed+Day(p.Lead.Plan))})
	}
	for _, j := range s.Jobs {
		if j.Released <= d {
			plan := j.Plan
			plan.Closed = plan.Closed || plan.Need < d || plan.Need == d && j.Takes > 0
			p.Jobs = append(p.Jobs, plan)
		}
	}
	a, err := Review(p, d, s.rules)
	if err != nil || a.Alert.Pieces == 0 || a.Alert.OrderBy > d {
		return 0, err
	}
	return a.Alert.Pieces, nil
}

// GuessMinMax sets fixed levels as shops do it: Min is the mean use over the mean lead time
// times (1 + safety), Max one usual order above. Use comes from weeks of history before
// day 0, jobs and all. Safety 1 - as much again - is common practice, no source.
func GuessMinMax(s SimPart, weeks int, safety float64) (MinMax, error) {
	if weeks < 1 || !(safety >= 0 && safety <= 100) {
		return MinMax{}, &BadInput{"safety", show(safety), "must be from 0 to 100, over at least one week", "1 is usual"}
	}
	used := 0
	for _, w := range s.History {
		if w.Day < 0 && w.Day >= Day(-7*weeks) {
			used += w.Units
		}
	}
	perWeek := math.Max(0, float64(used)/float64(weeks))
	l, err := Leads(s.Quoted, s.Past, nil)
	if err != nil {
		return MinMax{}, err
	}
	lead := l.Mean
	if l.N == 0 {
		lead = float64(s.Quoted)
	}
	q, err := economicPieces(s.Part, perWeek, DefaultRules())
	if err != nil {
		return MinMax{}, err
	}
	low := ceil(perWeek * lead / 7 * (1 + safety))
	return MinMax{low, low + q*s.Part.Terms.UnitsPerPiece}, nil
}
