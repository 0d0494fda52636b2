package store

import (
	"cmp"
	"context"
	"slices"

	"brasspeg/store/stack"
)

// Purchases is what to buy so that every planned job can be built in its time.
type Purchases struct {
	stack.Purchases
	// FewEdges are jobs that can have a stack but not all the edges they will use up in time:
	// their stack is counted with what edges there are. More inserts are Buying's question.
	FewEdges []string
}

// tryLimit is the most jobs that are sorted out one by one when they can not all be had.
const tryLimit = 40

// Purchases answers what one purchase would free, and which set of parts of least cost makes
// every planned job buildable in its time. One job that can not be helped does not hide the
// answer for the others: it is left out and told with the unsolved ones.
func (s *Store) Purchases(ctx context.Context) (Purchases, error) {
	ready, err := s.Readiness(ctx)
	if err != nil {
		return Purchases{}, err
	}
	shelf, err := s.Shelf(ctx)
	if err != nil {
		return Purchases{}, err
	}
	var asked []stack.Request
	for i := range ready {
		// A job that holds pieces of its own is not asked again: the shelf of all counts them as out.
		if ready[i].Err == nil && !(ready[i].Has > 0 && ready[i].Verdict.Buildable) {
			asked = append(asked, ready[i].Request)
		}
	}
	return purchases(shelf, stack.Date(s.Today()), asked), nil
}

func purchases(shelf *stack.Shelf, today stack.Date, asked []stack.Request) Purchases {
	var out Purchases
	plan := func(jobs []stack.Request, budget int) stack.Purchases {
		return shelf.Purchases(stack.Plan{Today: today, Jobs: jobs, Budget: budget})
	}
	shared := func(p *stack.Purchases, job string) bool { // unsolved because others are in the way, not by itself
		return slices.ContainsFunc(p.Unsolved, func(u stack.Unsolved) bool { return u.Job == job && u.Best == nil })
	}
	asked = slices.Clone(asked)
	out.Purchases = plan(asked, 0)
	if len(out.Unsolved) == 0 {
		return out
	}
	for i := range asked {
		r := &asked[i]
		if r.EdgesNeeded == 0 || !shared(&out.Purchases, r.Job) {
			continue
		}
		if p := plan(asked[i:i+1], 0); len(p.Unsolved) == 0 {
			continue
		}
		edges := r.EdgesNeeded
		r.EdgesNeeded = 0
		if p := plan(asked[i:i+1], 0); len(p.Unsolved) == 0 {
			out.FewEdges = append(out.FewEdges, r.Job)
		} else {
			r.EdgesNeeded = edges
		}
	}
	first := out.Purchases
	if len(out.FewEdges) > 0 {
		out.Purchases = plan(asked, 0)
	}
	var stuck []stack.Request
	rest := slices.DeleteFunc(slices.Clone(asked), func(r stack.Request) bool {
		is := shared(&out.Purchases, r.Job)
		if is {
			stuck = append(stuck, r)
		}
		return is
	})
	if len(stuck) == 0 || len(stuck) > tryLimit {
		out.Singles = first.Singles
		return out
	}
	// The earliest jobs first: each is taken in unless somebody is then left out.
	slices.SortStableFunc(stuck, func(a, b stack.Request) int { return cmp.Compare(a.NeedDate, b.NeedDate) })
	var left []stack.Unsolved
	for _, r := range stuck {
		with := append(slices.Clone(rest), r)
		if p := plan(with, 20_000); slices.ContainsFunc(p.Unsolved, func(u stack.Unsolved) bool { return u.Best == nil }) {
			left = append(left, stack.Unsolved{Job: r.Job, Why: "a part it shares with jobs before it is short, and no more can be had in time"})
			continue
		}
		rest = with
	}
	out.Purchases = plan(rest, 0)
	out.Unsolved, out.Singles = append(out.Unsolved, left...), first.Singles
	return out
}

// BuyFor is the cheapest set of recorded parts, in time for its first day, that makes one job
// buildable. Nothing to buy and nothing that helps are both no lines.
func (s *Store) BuyFor(ctx context.Context, r *Ready) (stack.Purchases, error) {
	shelf, err := s.Shelf(ctx)
	if err != nil || r.Err != nil {
		return stack.Purchases{}, err
	}
	return purchases(shelf, stack.Date(s.Today()), []stack.Request{r.Request}).Purchases, nil
}
