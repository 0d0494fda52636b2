package store

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"

	"brasspeg/store/reorder"
)

// simDays is how long a simulated year is: whole weeks.
const simDays = 364

// SimParts makes a year ahead out of the shop's own past, for reorder.Simulate: each part's
// withdrawals without a job are drawn week by week from its last half year, its jobs come
// again at their own pace with plans that are right within 15 of 100 (one standard deviation,
// an assumption), known two weeks before; lead times are drawn from those measured. Parts that
// come back and parts without any use are left out. The same seed makes the same year.
func (s *Store) SimParts(ctx context.Context, seed uint64) ([]reorder.SimPart, error) {
	if _, err := s.Buying(ctx); err != nil {
		return nil, err
	}
	b := &s.buying
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []reorder.SimPart
	for _, id := range b.byID {
		p := b.parts[id]
		if p.reusable() || len(p.moves) == 0 || p.line.Fault != "" {
			continue
		}
		r := rand.New(rand.NewPCG(seed, uint64(id)))
		out = append(out, b.simPart(p, r))
	}
	return out, nil
}

func (b *buyBook) simPart(p *buyPart, r *rand.Rand) reorder.SimPart {
	l, today := p.line, b.today()
	plans, _ := b.plans(p)
	rest, _ := reorder.Split(p.moves, plans)
	sim := reorder.SimPart{Part: reorder.Part{ID: p.Code, Unit: l.Unit, Terms: l.Terms, Service: l.Service}, Daily: make([]int, simDays), Quoted: max(1, b.quoted(p)), Start: 0}
	for _, w := range p.moves {
		sim.History = append(sim.History, reorder.Withdrawal{Day: w.Day - today - 1, Units: w.Units, Job: w.Job})
	}
	const back = 26 // weeks
	weeks := make([][7]int, back)
	for _, w := range rest {
		if ago := int(today - w.Day); ago >= 0 && ago < back*7 {
			weeks[ago/7][6-ago%7] += w.Units
		}
	}
	for w := 0; w*7 < simDays; w++ {
		from := weeks[r.IntN(back)]
		for d, n := range from {
			sim.Daily[w*7+d] += max(0, n)
		}
	}
	taken := map[string]int{}
	first := map[string]reorder.Day{}
	own := map[string]bool{}
	for _, j := range plans {
		own[j.Job] = true
	}
	for _, w := range p.moves {
		if w.Job == "" || !own[w.Job] || today-w.Day >= back*7 {
			continue
		}
		if _, ok := first[w.Job]; !ok {
			first[w.Job] = w.Day
		}
		taken[w.Job] += w.Units
	}
	var codes []string
	for job, n := range taken {
		if n > 0 {
			codes = append(codes, job)
		}
	}
	slices.Sort(codes)
	for _, job := range codes {
		n := taken[job]
		day := int(first[job]) - int(today) // -182 to 0
		past := reorder.JobPlan{Job: job, Planned: n, Need: reorder.Day(day - 1), Closed: true}
		sim.Jobs = append(sim.Jobs, reorder.SimJob{Plan: past, Takes: n})
		for round, shift := range []int{back * 7, 2 * back * 7} {
			at := day + shift + r.IntN(7) - 3
			if at < 0 || at >= simDays {
				continue
			}
			planned := max(1, int(math.Round(float64(n)*(1+0.15*r.NormFloat64()))))
			plan := reorder.JobPlan{Job: job + []string{"a", "b"}[round], Planned: planned, Need: reorder.Day(at), SD: 0.15 * float64(planned)}
			sim.Jobs = append(sim.Jobs, reorder.SimJob{Plan: plan, Released: reorder.Day(at - 14), Takes: n})
		}
	}
	sim.Part.Unscheduled = make([]float64, 53)
	for i := 2; i < len(sim.Part.Unscheduled); i++ {
		sim.Part.Unscheduled[i] = 1
	}
	sim.Leads = p.taken
	if len(sim.Leads) == 0 && p.SupplierID != nil {
		if v := b.vendors[*p.SupplierID]; v != nil {
			sim.Leads = v.taken
		}
	}
	if len(sim.Leads) == 0 {
		sim.Leads = []int{max(1, p.lead.Plan)}
	}
	sim.Past = sim.Leads
	return sim
}
