package main

import (
	"fmt"
	"os"
	"strings"
	"time"

	"brasspeg/server"
	"brasspeg/store"
	"brasspeg/testdata/shop"
)

// demoCmd plays the demo shop into a throwaway store and answers for its planned jobs.
type demoCmd struct {
	Listen string `help:"Address to serve the pages on." default:"127.0.0.1:7420"`
	Once   bool   `help:"Print the answers and exit; serve nothing."`
}

func (c *demoCmd) Run(e *env) error {
	s, end, err := demoStore(e)
	if err != nil {
		return err
	}
	defer end()
	if err := tellReadiness(e, s); err != nil {
		return err
	}
	if c.Once {
		return nil
	}
	fmt.Fprintln(e.out, "This is a demo: people, makers and numbers are invented, and the store is thrown away at the end.")
	return serve(e, s, server.Config{Demo: true}, c.Listen, "", "")
}

// demoStore makes a throwaway store and plays the demo shop into it; end throws it away.
func demoStore(e *env) (s *store.Store, end func(), err error) {
	dir, err := os.MkdirTemp("", "brasspeg-demo-")
	if err != nil {
		return nil, nil, err
	}
	end = func() {
		if s != nil {
			s.Close()
		}
		os.RemoveAll(dir)
	}
	now := time.Now()
	sh, err := shop.Load(now)
	if err != nil {
		end()
		return nil, nil, err
	}
	if s, err = store.Open(e.ctx, store.Options{Dir: dir, Create: true, Relaxed: true, Log: e.log}); err != nil {
		end()
		return nil, nil, err
	}
	if err = seed(e.ctx, s, sh); err != nil {
		end()
		return nil, nil, fmt.Errorf("playing the demo shop: %w", err)
	}
	if err = seedLabels(e.ctx, s, strings.ToLower(sh.People[0].Code)); err != nil {
		end()
		return nil, nil, fmt.Errorf("labelling the demo shop: %w", err)
	}
	return s, end, nil
}

// tellReadiness prints, for each planned job, what it is built from or what it lacks.
func tellReadiness(e *env, s *store.Store) error {
	all, err := s.Readiness(e.ctx)
	if err != nil {
		return err
	}
	machines, err := s.Machines(e.ctx)
	if err != nil {
		return err
	}
	name := map[store.MachineID]string{}
	for _, m := range machines {
		name[m.ID] = m.Code + " " + m.Name
	}
	var can, not []string
	for i := range all {
		r := &all[i]
		title := fmt.Sprintf("%s, %s to %s", r.Job.Name, r.Job.FromDay, r.Job.ToDay)
		if r.Job.MachineID != nil {
			title += ", " + name[*r.Job.MachineID]
		}
		if r.Err != nil {
			fmt.Fprintf(e.out, "%s  %s\n  cannot be read: %v\n\n", r.Job.Code, title, r.Err)
			not = append(not, r.Job.Code)
			continue
		}
		stackPrint(e.out, r.Job.Code, title, &r.Verdict)
		if r.Verdict.Buildable {
			can = append(can, r.Job.Code)
		} else {
			not = append(not, r.Job.Code)
		}
	}
	fmt.Fprintf(e.out, "%d of %d jobs can be built: %s\n", len(can), len(all), list(can))
	fmt.Fprintf(e.out, "%d lack something: %s\n", len(not), list(not))
	return nil
}

func list(codes []string) string {
	if len(codes) == 0 {
		return "none"
	}
	return strings.Join(codes, ", ")
}
