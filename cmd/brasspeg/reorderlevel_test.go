package main

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"brasspeg/store/reorder"
)

// TestReorderLevelCheck runs the one check of the mechanics' file that belongs to the buying
// room: use over the lead time and a safety stock. The point's safety is z sd sqrt(lead), so a
// service of z = 1 and a scatter of safety/sqrt(lead) ask for the safety given.
func TestReorderLevelCheck(t *testing.T) {
	b, err := os.ReadFile("../../testdata/stack/checks.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Checks []struct {
			Name, Source        string
			Inputs              map[string]float64
			Expected, Tolerance float64
		}
	}
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	ran := 0
	for _, c := range file.Checks {
		if c.Name != "reorder level" {
			continue
		}
		ran++
		p, err := reorder.PointNormal(reorder.Normal{Demand: c.Inputs["per_day"], Lead: c.Inputs["lead_days"],
			SD: c.Inputs["safety"] / math.Sqrt(c.Inputs["lead_days"]), CycleService: distuv.UnitNormal.CDF(1)})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(p.Point-c.Expected) > c.Tolerance {
			t.Errorf("%s = %v, want %v within %v (%s)", c.Name, p.Point, c.Expected, c.Tolerance, c.Source)
		}
	}
	if ran != 1 {
		t.Errorf("%d such checks in the file, want 1", ran)
	}
}
