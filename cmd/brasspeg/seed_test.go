package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"brasspeg/store"
	"brasspeg/testdata/shop"
)

// seeded is a throwaway store with the demo shop in it.
func seeded(t testing.TB, relaxed bool) (*store.Store, shop.Shop) {
	t.Helper()
	now := time.Now()
	s := loadShop(t, now)
	st, err := store.Open(context.Background(), store.Options{Dir: t.TempDir(), Create: true, Relaxed: relaxed})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	if err := seed(context.Background(), st, s); err != nil {
		t.Fatal(err)
	}
	return st, s
}

// The store that the history was booked into is whole, holds what pieces.json says, has its
// clock back, and gives every planned job the same answer as the shelf of the data itself.
func TestSeed(t *testing.T) {
	ctx := context.Background()
	st, s := seeded(t, true)
	rep, err := st.Verify(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if len(rep.Faults) > 0 {
		t.Errorf("%d faults, the first: %+v", len(rep.Faults), rep.Faults[0])
	}
	if d := time.Since(st.Now()); d < -time.Second || d > time.Minute {
		t.Errorf("the store's clock is %v behind after the seeding", d)
	}

	got, want := map[string]int64{}, map[string]int64{}
	for _, p := range s.Pieces {
		place := p.Place
		if p.Out != nil {
			place = "WITH " + p.Out.To
		}
		want[fmt.Sprintf("%s %s %d in %s", p.Part, p.Lot, p.EdgesLeft, place)] += int64(p.Qty)
	}
	// pieces.json counts inserts as they were handed out; the log has sent those whose last edge
	// is used to scrap, also of jobs that still run.
	h, err := s.History()
	if err != nil {
		t.Fatal(err)
	}
	runs := map[string]bool{}
	for _, j := range h.Jobs {
		runs[j.Code] = j.End.IsZero()
	}
	for _, a := range h.Acts {
		if a.Run != nil && runs[a.Job] && a.Run.EdgeNo == s.Part(a.Run.Insert).Edges {
			want[fmt.Sprintf("%s %s 0 in WITH %s", a.Run.Insert, a.Run.Lot, a.By)]--
		}
	}
	for _, p := range s.Parts {
		part, err := st.PartByCode(ctx, p.ID)
		if err != nil {
			t.Fatal(err)
		}
		heaps, err := st.Heaps(ctx, part.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range heaps {
			it, err := st.Item(ctx, h.ItemID)
			if err != nil {
				t.Fatal(err)
			}
			edges := 0
			if it.EdgesLeft != nil {
				edges = *it.EdgesLeft
			}
			got[fmt.Sprintf("%s %s %d in %s", p.ID, it.Box, edges, h.Code)] += h.Qty
		}
	}
	for _, k := range slices.Sorted(maps.Keys(want)) {
		if got[k] != want[k] {
			t.Errorf("store has %d of %s, pieces.json %d", got[k], k, want[k])
		}
		delete(got, k)
	}
	for k, n := range got {
		if n != 0 {
			t.Errorf("store has %d of %s, pieces.json none", n, k)
		}
	}

	jobs, err := st.Jobs(ctx, "planned")
	if err != nil {
		t.Fatal(err)
	}
	if len(jobs) != len(verdicts) {
		t.Fatalf("%d planned jobs, want %d", len(jobs), len(verdicts))
	}
	for _, want := range verdicts {
		j, err := st.JobByCode(ctx, want.job)
		if err != nil {
			t.Fatal(err)
		}
		r, err := st.Check(ctx, j)
		if err == nil {
			err = r.Err
		}
		if err != nil {
			t.Fatalf("%s: %v", want.job, err)
		}
		if r.Verdict.Buildable != (want.reason == "") || !slices.Equal(r.Verdict.Warnings(), want.warnings) {
			t.Errorf("%s: buildable %v with warnings %v; %v", want.job, r.Verdict.Buildable, r.Verdict.Warnings(), r.Verdict.Reasons)
		}
		if want.owned == "" || len(r.Verdict.Options) == 0 {
			continue
		}
		if m := r.Verdict.Options[0].Parts[0]; len(m.Owned) == 0 || !strings.Contains(m.Owned[0].HeldBy+m.Owned[0].Job+m.Owned[0].Why, want.owned) {
			t.Errorf("%s: the missing %s is had by %+v, want %s", want.job, m.Kind, m.Owned, want.owned)
		}
	}
}

// BenchmarkSeed plays six months into a store whose commits do not wait for the disk (demo)
// and into one whose commits do.
func BenchmarkSeed(b *testing.B) {
	for _, relaxed := range []bool{true, false} {
		b.Run(fmt.Sprintf("relaxed=%v", relaxed), func(b *testing.B) {
			for b.Loop() {
				seeded(b, relaxed)
			}
		})
	}
}
