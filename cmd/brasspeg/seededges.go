package main

import (
	"context"
	"errors"
	"fmt"

	"brasspeg/store"
	"brasspeg/store/life"
	"brasspeg/testdata/shop"
)

// A goneName tells used-up inserts apart that a log sent to scrap before they were brought back.
type goneName struct {
	item  store.ItemID
	place store.PlaceID
	job   string
}

// An upInsert is the insert in a station as the history has it.
type upInsert struct {
	item store.ItemID
	box  string
	next int // number of the edge in use
}

type upName struct {
	station store.StationID
	job     string
}

// edge logs an edge that came off, as the operator did it. Where the program asks why a life is
// far from usual, the operator had looked twice.
func (s *seeder) edge(ctx context.Context, by store.PersonID, job store.Job, a shop.Act) error {
	r := a.Run
	st, ok := s.station[fmt.Sprintf("%s/%d", r.Machine, r.Station)]
	if !ok {
		return fmt.Errorf("%s has no station %d", r.Machine, r.Station)
	}
	// Two jobs may take turns on a station: each goes on with its own insert.
	here := upName{st.ID, a.Job}
	up := s.up[here]
	fresh := r.EdgeNo == 1 || up.box != r.Lot || up.next != r.EdgeNo
	turn := s.lastJob[st.ID] != a.Job
	s.lastJob[st.ID] = a.Job
	item := up.item
	if fresh {
		name := pileName{r.Insert, r.Lot, 0}
		if r.EdgeNo > 1 { // a part-used insert goes on where it was
			name.used = s.parts[r.Insert].Edges - r.EdgeNo + 1
		}
		if item, ok = s.lots[name]; !ok {
			return fmt.Errorf("no lot of %s, box %q, for edge %d", r.Insert, r.Lot, r.EdgeNo)
		}
	}
	s.up[here] = upInsert{item, r.Lot, r.EdgeNo + 1}
	in := store.EdgeIn{Station: st.ID, Job: job.ID, Item: item, Fresh: fresh || turn, Edge: r.EdgeNo, Parts: r.Parts, Minutes: r.Minutes,
		Reason: life.Reason(r.Reason), Batch: r.Material, After: s.lastEdge[st.ID]}
	op := s.op(by)
	got, err := s.st.LogEdge(ctx, op, in)
	if errors.Is(err, store.ErrAsk) {
		in.Why, op = "looked twice, it is right", s.op(by)
		got, err = s.st.LogEdge(ctx, op, in)
	}
	if err != nil {
		return fmt.Errorf("edge %d of %s on %s: %w", r.EdgeNo, r.Insert, job.Code, err)
	}
	s.lastEdge[st.ID] = op.ID
	if r.EdgeNo == s.parts[r.Insert].Edges && len(got.Lines) > 0 { // its last edge: the log has scrapped it
		s.gone[goneName{item, s.places[a.By], a.Job}]++
	}
	return nil
}

// stillThere is how many of a line of used-up inserts are left to bring back.
func (s *seeder) stillThere(l shop.Line, job string) (int, error) {
	if l.EdgesNow != 0 || s.parts[l.Part].Edges == 0 || l.Piece >= 0 {
		return l.Qty, nil
	}
	item, err := s.item(l)
	if err != nil {
		return 0, err
	}
	name := goneName{item, s.places[l.From], job}
	n := min(s.gone[name], l.Qty)
	s.gone[name] -= n
	return l.Qty - n, nil
}

// planLives gives every family the two costs of a change, so that its page has advice, and
// counts a few parts on the jobs that run, so that the countdowns stand somewhere.
func (s *seeder) planLives(ctx context.Context) error {
	fams, err := s.st.EdgeFamilies(ctx)
	if err != nil {
		return err
	}
	for _, f := range fams {
		price := 0.0
		for _, p := range s.parts {
			if p.ID == f.PartID && p.PriceCents != nil && p.Edges > 0 {
				price = float64(*p.PriceCents) / 100 / float64(p.Edges)
			}
		}
		// Three minutes to change, a part scrapped and twenty minutes lost on a failure; invented.
		plan := store.LifePlan{PlannedCost: price + 3, UnplannedCost: price + 45}
		if _, err := s.st.PlanLife(ctx, s.op(s.boss), f.ID, plan); err != nil {
			return fmt.Errorf("family %d: %w", f.ID, err)
		}
	}
	running, err := s.st.Jobs(ctx, "running")
	if err != nil {
		return err
	}
	for _, j := range running {
		if _, err := s.st.PartsMade(ctx, s.op(s.boss), store.MadeIn{Job: j.ID, Count: min(j.PartsDone+4, j.PartsQty)}); err != nil {
			return fmt.Errorf("job %s: %w", j.Code, err)
		}
	}
	return nil
}
