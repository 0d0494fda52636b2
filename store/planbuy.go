package store

import (
	"context"

	"brasspeg/store/stack"
)

// Purchases is what to buy so that every planned job can be built in its time; see
// stack.Shelf.Purchases for what is proven of it and how.
type Purchases struct{ stack.Purchases }

// Purchases answers what one purchase would free, and which set of parts of least cost makes
// every planned job buildable in its time. A job that holds pieces of its own is not asked
// again: the shelf of all counts them as out.
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
		if ready[i].Err == nil && !(ready[i].Has > 0 && ready[i].Verdict.Buildable) {
			asked = append(asked, ready[i].Request)
		}
	}
	return Purchases{shelf.Purchases(stack.Plan{Today: stack.Date(s.Today()), Jobs: asked})}, nil
}

// BuyFor is the cheapest set of recorded parts, in time for its first day, that makes one job
// buildable. Nothing to buy and nothing that helps are both no lines.
func (s *Store) BuyFor(ctx context.Context, r *Ready) (stack.Purchases, error) {
	shelf, err := s.Shelf(ctx)
	if err != nil || r.Err != nil {
		return stack.Purchases{}, err
	}
	return shelf.Purchases(stack.Plan{Today: stack.Date(s.Today()), Jobs: []stack.Request{r.Request}}), nil
}
