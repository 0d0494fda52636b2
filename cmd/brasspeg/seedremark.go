package main

import (
	"context"

	"brasspeg/store"
)

// addRemark lets a setter say what he saw of the longest bar, so that it is shown again when
// a stack with it is planned. The words are invented.
func (s *seeder) addRemark(ctx context.Context) error {
	for _, p := range s.sh.People {
		if p.Role != "operator" {
			continue
		}
		_, err := s.st.AddRemark(ctx, s.op(s.people[p.Code].ID), store.RemarkIn{Job: s.jobs["J-4104"].ID, Text: "Chatter above 110 m/min; quiet at 95 with a sharp edge."})
		return err
	}
	return nil
}
