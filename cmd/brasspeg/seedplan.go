package main

import (
	"context"

	"brasspeg/store"
)

// planFirst chooses the stack of the job that begins tomorrow, so that its kit waits to be
// issued: from its page, or at the window with its card and Enter.
func (s *seeder) planFirst(ctx context.Context) error {
	_, err := s.st.Plan(ctx, s.op(s.boss), store.PlanIn{Job: s.jobs["J-4101"].ID})
	return err
}
