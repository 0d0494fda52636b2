package main

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"brasspeg/store/reorder"
)

// TestDemoYear plays a year of the demo shop's own demand by these rules and by fixed minimum
// and maximum levels: go test ./cmd/brasspeg -run DemoYear -v prints the table. It holds what
// the comparison must keep: all meet the same demand, and the sums can be. Who wins is not
// held: the table says it.
func TestDemoYear(t *testing.T) {
	st, _ := seeded(t, true)
	ctx := context.Background()
	rules := reorder.DefaultRules()
	var table strings.Builder
	fmt.Fprintf(&table, "\n| levels | refused | short units | part-days waited | jobs stopped | orders | mean tied up | end tied up |\n|---|---|---|---|---|---|---|---|\n")
	var demand [2]int
	for _, v := range []struct {
		name   string
		policy reorder.Policy
		safety float64
	}{{"these rules", reorder.ByRules, 0}, {"fixed, half as much again", reorder.ByMinMax, 0.5}, {"fixed, as much again", reorder.ByMinMax, 1}, {"fixed, twice as much again", reorder.ByMinMax, 2}, {"fixed, three times", reorder.ByMinMax, 3}} {
		parts, err := st.SimParts(ctx, 11)
		if err != nil {
			t.Fatal(err)
		}
		if len(parts) < 10 {
			t.Fatalf("only %d parts of the demo shop are used up", len(parts))
		}
		for i := range parts {
			start, err := reorder.GuessMinMax(parts[i], 26, 1)
			if err != nil {
				t.Fatal(err)
			}
			parts[i].Start = start.Max // the same for all
			if parts[i].MinMax, err = reorder.GuessMinMax(parts[i], 26, v.safety); err != nil {
				t.Fatal(err)
			}
		}
		got, err := reorder.Simulate(parts, v.policy, rules, 42)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&table, "| %s | %d of %d | %d of %d | %d | %d | %d | %.0f | %.0f |\n", v.name, got.Refused, got.Requests, got.ShortUnits, got.Units, got.ShortDays, got.StoppedJobs, got.Orders, got.MeanTied, got.EndTied)
		if demand == [2]int{} {
			demand = [2]int{got.Requests, got.Units}
		} else if demand != [2]int{got.Requests, got.Units} {
			t.Errorf("%s meets demand %d, %d, another policy met %v", v.name, got.Requests, got.Units, demand)
		}
		if got.ShortUnits > got.Units || got.Refused > got.Requests || got.Orders == 0 || got.MeanTied <= 0 || got.Requests == 0 {
			t.Errorf("%s: sums that can not be: %+v", v.name, got)
		}
	}
	t.Log(table.String())
}
