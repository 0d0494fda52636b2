package server

import (
	"strings"
	"testing"
	"time"

	"brasspeg/store"
	"brasspeg/store/life"
)

// A piece says how often it was out, what was cut on it, when it was looked at, and what spares
// it takes; who keeps the records says how fast a spare goes.
func TestPieceSaysItsWear(t *testing.T) {
	sh := newShop(t)
	job := sh.runs()
	ctx := t.Context()
	in, err := store.PartFrom(map[string]any{"id": "SCR-M5", "kind": "spare", "designation": "clamp screw M5x16"}, "entered")
	must(t, err)
	bin, err := sh.store.PlaceByCode(ctx, "C1-1")
	must(t, err)
	in.Part.HomeID = &bin.ID
	screw, err := sh.store.SavePart(ctx, 0, in)
	must(t, err)
	head, err := sh.store.PartByCode(ctx, "HED-40R")
	must(t, err)
	facts, err := sh.store.Facts(ctx, head.ID)
	must(t, err)
	_, err = sh.store.SavePart(ctx, 0, store.PartIn{Part: head, Facts: facts, Needs: map[store.PartID]int{screw.ID: 2}})
	must(t, err)
	tag := sh.tags("HED-40R")[0]
	it, err := sh.store.ItemByTag(ctx, tag)
	must(t, err)
	c := sh.as("brisa")
	if a := c.get("/pieces/" + tag); a.status != 200 || !strings.Contains(a.body, "never, by the books") || !strings.Contains(a.body, "less than one piece takes") || !strings.Contains(a.body, "nobody said how long it lasts") {
		t.Errorf("new: %d %s", a.status, a.body)
	}
	ivo, err := sh.store.PersonByBadge(ctx, sh.badges["ivo"])
	must(t, err)
	_, err = sh.store.Issue(ctx, sh.op("brisa"), store.IssueIn{Picks: []store.Pick{{Item: it.ID, Qty: 1}}, To: ivo.PlaceID, Job: job.ID})
	must(t, err)
	p, err := sh.store.PlaceByCode(ctx, "L3/4")
	must(t, err)
	st, err := sh.store.StationAt(ctx, p.ID)
	must(t, err)
	box, err := sh.store.ItemByTag(ctx, sh.tags("INS-D11-08")[0])
	must(t, err)
	for _, minutes := range []float64{30, 60} {
		sh.now = sh.now.Add(time.Hour)
		_, err = sh.store.LogEdge(ctx, sh.op("ivo"), store.EdgeIn{Station: st.ID, Item: box.ID, Parts: 12, Reason: life.Worn, Minutes: minutes})
		must(t, err)
	}
	if a := c.keyed(newOp(), "/pieces/"+tag+"/wear", map[string]any{"spare": "SCR-M5", "life": "25", "per_year": 100}); a.status != 201 || !strings.Contains(a.body, "lasts 25 uses") {
		t.Errorf("%d %s", a.status, a.body)
	}
	a := c.get("/pieces/" + tag)
	for _, w := range []string{"1 time, for 1 job", "2 edges, 24 parts, 1.5 h in cut", "lasts 25 uses; at 100 uses a year 8 go in one piece", `value="25"`} {
		if !strings.Contains(a.body, w) {
			t.Errorf("the page does not say %q: %s", w, a.body)
		}
	}
	for _, fault := range faults(a.body) {
		t.Error(fault)
	}
	if a := sh.as("ivo").get("/pieces/" + tag); !strings.Contains(a.body, "lasts 25 uses") || strings.Contains(a.body, "Say how fast") {
		t.Error("an operator reads it and does not set it")
	}
	for _, bad := range []map[string]any{{"spare": "SCR-M5", "life": "many"}, {"spare": "HED-40R", "life": "5"}, {"spare": "SCR-M5", "life": "-5"}} {
		if a := c.keyed(newOp(), "/pieces/"+tag+"/wear", bad); a.status != 422 {
			t.Errorf("%v: %d %s", bad, a.status, a.body)
		}
	}
}
