package store

import (
	"testing"

	"brasspeg/store/life"
)

// A family of 100,000 runs: the first look adds them up and fits, the next one takes the kept
// fit. Compare the two with each other and with the family of 1,000, not with a clock.
func BenchmarkLifeOf(b *testing.B) {
	for _, n := range []int{1_000, 100_000} {
		s := newShop(b, false)
		bench := newBench(s, 2)
		bench.log(EdgeIn{Parts: 20, Reason: life.Worn, Speed: 165, Feed: 0.15})
		// Lives from 20 to 180 in steps that look random, three batches, a fifth planned.
		s.must(s.write.Exec(`WITH RECURSIVE k(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM k WHERE n < ?)
			INSERT INTO edge_runs (op_id, at, actor_id, machine_id, station_id, job_id, family_id, insert_id, item_id, part_id, edge, parts, minutes, reason, speed, feed, batch, late, count_at)
			SELECT 'bench-' || k.n, r.at, r.actor_id, r.machine_id, r.station_id, r.job_id, r.family_id, r.insert_id, r.item_id, r.part_id, k.n + 1,
				20 + (k.n * 7919) % 161, 5 + (k.n * 31) % 40, CASE k.n % 5 WHEN 0 THEN 'planned' WHEN 1 THEN 'chipped' ELSE 'worn' END, 165, 0.15, 'heat ' || (k.n % 3), 0, k.n
			FROM k, edge_runs r WHERE r.op_id NOT LIKE 'bench-%'`, n).Error)
		var fam int64
		s.must(s.read.Raw("SELECT id FROM edge_families").Scan(&fam).Error)
		for _, first := range []bool{true, false} {
			name := map[bool]string{true: "first", false: "kept"}[first]
			b.Run(name+"/"+map[int]string{1_000: "1000", 100_000: "100000"}[n], func(b *testing.B) {
				for b.Loop() {
					if first {
						s.fits.kept = nil
					}
					v, err := s.LifeOf(ctx, fam, LifeAsk{Costs: life.Costs{Planned: 4.2, Unplanned: 60}, Risk: 0.02})
					if err != nil || v.Fit.Kept != n+1 {
						b.Fatal(v.Fit.Kept, err)
					}
				}
			})
		}
	}
}
