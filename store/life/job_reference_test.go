package life_test

import (
	"encoding/json"
	"math/big"
	"testing"

	"brasspeg/store/life"
)

func TestJobReference(t *testing.T) {
	type edgeUse struct {
		ID             string
		Shape, Scale   float64
		EdgesPerInsert int `json:"edges_per_insert"`
		Inserts, Parts int
		Target         float64
		Planned        *int `json:"planned_change_at"`
	}
	at := func(u edgeUse) int {
		if u.Planned == nil {
			return 0
		}
		return *u.Planned
	}
	file := load[struct {
		Tol struct {
			Exact_abs       float64
			Whole_parts_abs float64
			Normal_rel      float64 `json:"normal_approx_rel"`
		} `json:"tolerance"`
		Enough []struct {
			edgeUse
			Expected struct {
				Edges   int
				Mean    float64 `json:"edge_life_mean"`
				SD      float64 `json:"edge_life_sd"`
				MC      float64 `json:"monte_carlo_1e6"`
				MCSE    float64 `json:"monte_carlo_se"`
				Normal  float64 `json:"normal_approx"`
				Exact   float64
				Whole   float64 `json:"whole_parts_exact"`
				WholeMC float64 `json:"whole_parts_monte_carlo"`
			}
		} `json:"enough_inserts"`
		Needed []struct {
			edgeUse
			Expected struct {
				Inserts  int
				Achieved float64
				Less     *float64 `json:"achieved_one_less"`
				Normal   int      `json:"inserts_by_normal_approx"`
				Mean     int      `json:"inserts_by_mean_only"`
			}
		} `json:"inserts_needed"`
		Edges []struct {
			edgeUse
			Expected struct {
				Mean       float64 `json:"mean_parts_per_edge"`
				SD         float64 `json:"sd_parts_per_edge"`
				Edges      float64 `json:"expected_edges"`
				SDEdges    float64 `json:"sd_edges"`
				Asymptotic float64 `json:"asymptotic_edges"`
			}
		} `json:"expected_edges"`
		Jobs []struct {
			ID             string
			Good           int64       `json:"good_parts"`
			First          int64       `json:"first_article_parts"`
			Scrap          json.Number `json:"scrap_fraction"`
			PartsPerEdge   json.Number `json:"parts_per_edge"`
			EdgesPerInsert int64       `json:"edges_per_insert"`
			Pack           int64
			OnHand         int64 `json:"on_hand"`
			Reserved       int64
			Allowance      json.Number `json:"edge_allowance"`
			Left           json.Number `json:"part_life_left_on_mounted_edge"`
			Expected       struct {
				Run     int64 `json:"parts_to_run"`
				Edges   int64
				Allowed int64 `json:"edges_with_allowance"`
				Inserts int64
				Short   int64 `json:"inserts_short"`
				Boxes   int64
				Bought  int64 `json:"inserts_bought"`
				Spare   int64 `json:"spare_inserts_after"`
			}
		}
	}](t, "job_demand.json")
	if len(file.Enough) != 8 || len(file.Needed) != 6 || len(file.Edges) != 4 || len(file.Jobs) != 19 {
		t.Fatal("cases are missing from job_demand.json")
	}
	for _, c := range file.Enough {
		want := c.Expected
		draws := 0
		if !testing.Short() {
			draws = 100_000
		}
		got, err := life.EnoughEdges(life.Weibull{Shape: c.Shape, Scale: c.Scale}, at(c.edgeUse), c.Inserts*c.EdgesPerInsert, c.Parts, draws)
		if err != nil || got.Edges != want.Edges {
			t.Errorf("%s: %+v, %v", c.ID, got, err)
			continue
		}
		rel(t, c.ID, "mean", got.Mean, want.Mean, 1e-9)
		rel(t, c.ID, "sd", got.SD, want.SD, 1e-8)
		abs(t, c.ID, "exact", got.Exact, want.Exact, file.Tol.Exact_abs)
		abs(t, c.ID, "exact against the file's simulation", got.Exact, want.MC, 4*want.MCSE)
		abs(t, c.ID, "whole parts", got.WholeParts, want.Whole, file.Tol.Whole_parts_abs)
		abs(t, c.ID, "whole parts against the file's simulation", got.WholeParts, want.WholeMC, 4*want.MCSE)
		rel(t, c.ID, "normal", got.Normal, want.Normal, file.Tol.Normal_rel)
		if draws > 0 {
			abs(t, c.ID, "own simulation", got.Simulated, want.Exact, 4*got.SimulatedSE)
			abs(t, c.ID, "own simulation, whole parts", got.SimulatedInt, want.Whole, 4*got.SimulatedSE)
		}
	}
	for _, c := range file.Needed {
		want := c.Expected
		w := life.Weibull{Shape: c.Shape, Scale: c.Scale}
		d, err := life.Renew(life.EdgeUse{R: w.Survival, PlannedAt: at(c.edgeUse)}, c.Parts)
		if err != nil {
			t.Errorf("%s: %v", c.ID, err)
			continue
		}
		mean, sd := life.LifeOf(w, at(c.edgeUse))
		got, err := d.Inserts(c.EdgesPerInsert, c.Target, mean, sd)
		if err != nil || got.Inserts != want.Inserts || got.ByNormal != want.Normal || got.ByMeanOnly != want.Mean || got.Approximate {
			t.Errorf("%s: %+v, %v, want %+v", c.ID, got, err, want)
		}
		abs(t, c.ID, "achieved", got.Achieved, want.Achieved, file.Tol.Whole_parts_abs)
		if want.Less != nil {
			abs(t, c.ID, "one less", got.OneLess, *want.Less, file.Tol.Whole_parts_abs)
		}
	}
	for _, c := range file.Edges {
		want := c.Expected
		w := life.Weibull{Shape: c.Shape, Scale: c.Scale}
		d, err := life.Renew(life.EdgeUse{R: w.Survival, PlannedAt: at(c.edgeUse)}, c.Parts)
		if err != nil {
			t.Errorf("%s: %v", c.ID, err)
			continue
		}
		// The file prints 8 to 10 digits.
		rel(t, c.ID, "mean", d.MeanParts, want.Mean, 1e-9)
		rel(t, c.ID, "sd", d.SDParts, want.SD, 1e-9)
		rel(t, c.ID, "edges", d.ExpectedEdges, want.Edges, 1e-9)
		rel(t, c.ID, "sd of edges", d.SDEdges, want.SDEdges, 1e-7)
		rel(t, c.ID, "asymptotic", d.Asymptotic, want.Asymptotic, 1e-7)
	}
	for _, c := range file.Jobs {
		exact := func(n json.Number) *big.Rat {
			r, err := life.Exact(n.String())
			if err != nil {
				t.Fatal(err)
			}
			return r
		}
		got, err := life.Job{GoodParts: c.Good, FirstArticleParts: c.First, Scrap: exact(c.Scrap), PartsPerEdge: exact(c.PartsPerEdge),
			EdgesPerInsert: c.EdgesPerInsert, Pack: c.Pack, OnHand: c.OnHand, Reserved: c.Reserved,
			Allowance: exact(c.Allowance), MountedLifeLeft: exact(c.Left)}.Need()
		w := c.Expected
		want := life.JobNeed{PartsToRun: w.Run, Edges: w.Edges, EdgesWithAllowance: w.Allowed, Inserts: w.Inserts, Short: w.Short, Boxes: w.Boxes, Bought: w.Bought, SpareAfter: w.Spare}
		if err != nil || got != want {
			t.Errorf("%s: %+v, %v, want %+v", c.ID, got, err, want)
		}
	}
}
