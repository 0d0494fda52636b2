package main

import (
	"encoding/json"
	"fmt"

	"brasspeg/store"
)

// stackCmd answers a file of requests, or with --data or --db the jobs of a shop.
type stackCmd struct {
	File string `arg:"" optional:"" help:"Requests with their shelves: a case, a list, or {\"cases\": […]}. None: standard input."`
	JSON bool   `name:"json" help:"One JSON object a case, in input order."`
	Data string `help:"Folder of a store: answer for its planned jobs instead of a file." type:"path"`
	DB   string `help:"PostgreSQL of a store, with --data for its folder."`
}

func (c *stackCmd) Run(e *env) error {
	if c.Data == "" && c.DB == "" {
		var args []string
		if c.JSON {
			args = append(args, "--json")
		}
		if c.File != "" {
			args = append(args, c.File)
		}
		return status(stackCases(args, e.in, e.out, e.errOut))
	}
	if c.File != "" {
		return fmt.Errorf("give a file or --data, not both")
	}
	if c.Data == "" {
		c.Data = "data"
	}
	s, err := store.Open(e.ctx, store.Options{Dir: c.Data, Postgres: c.DB, Log: e.log})
	if err != nil {
		return err
	}
	defer s.Close()
	if !c.JSON {
		return tellReadiness(e, s)
	}
	all, err := s.Readiness(e.ctx)
	if err != nil {
		return err
	}
	code := 0
	for i := range all {
		r := &all[i]
		if r.Err != nil {
			stackRefused(e.out, r.Job.Code, r.Err)
			code = 1
			continue
		}
		b, err := json.Marshal(r.Verdict.Answer(r.Job.Code))
		if err != nil {
			return err
		}
		fmt.Fprintf(e.out, "%s\n", b)
	}
	return status(code)
}
