package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"brasspeg/store/life"
)

// A JobEdges is what the rest of a job will eat, against what is free for it.
type JobEdges struct {
	Job        Job
	Family     EdgeFamily // of the insert it runs with; ID 0: nothing is logged yet
	Part       Part
	PartsLeft  int
	PlannedAt  int // parts; 0: run to failure
	PlannedBy  string
	Confidence float64
	Need       *life.JobInserts // nil: no forecast, with the reason in Says
	Held       int              // edges on inserts that the job has already
	FreeNew    int              // new inserts on the shelf, promised to nobody else
	FreeEdges  int              // edges on them and on part-used ones
	EnoughFor  int              // parts that these edges make at that confidence
	PerDay     float64          // parts a working day, to be done in time
	OutOn      Day              // when they run out; "" when they are enough
	Says       string
}

// JobEdges forecasts the inserts for the rest of a job at a confidence such as 0.95, by the
// renewal calculation over the lives on record, and sets them against free stock.
func (s *Store) JobEdges(ctx context.Context, id JobID, confidence float64) (JobEdges, error) {
	out := JobEdges{Confidence: confidence}
	if !(confidence > 0 && confidence < 1) {
		return out, refuse(ErrBadInput, "confidence", "a confidence of %g: give a number between 0 and 1; 95 %% is 0.95", confidence)
	}
	job, err := s.Job(ctx, id)
	if err != nil {
		return out, err
	}
	out.Job, out.PartsLeft = job, max(job.PartsQty-job.PartsDone, 0)
	db := s.read.WithContext(ctx)
	// The family it ran with last; a job that has not begun takes the newest of the same name.
	if err := db.Raw(`SELECT f.* FROM edge_families f JOIN edge_runs r ON r.family_id = f.id AND r.undone_op IS NULL
		WHERE r.job_id = ? ORDER BY r.id DESC LIMIT 1`, id).Scan(&out.Family).Error; err != nil {
		return out, err
	}
	if out.Family.ID == 0 {
		if err := db.Raw(`SELECT f.* FROM edge_families f JOIN edge_runs r ON r.family_id = f.id AND r.undone_op IS NULL
			WHERE f.operation = ? AND f.material = ? AND f.band = ? ORDER BY r.id DESC LIMIT 1`, job.Name, job.Material, bandOf(job, 0)).Scan(&out.Family).Error; err != nil {
			return out, err
		}
	}
	if out.Family.ID == 0 {
		out.Says = "No forecast: no edge of this operation, material and speed is logged yet. Plan with parts per edge instead."
		return out, nil
	}
	if out.Part, err = one[Part](db, "part", out.Family.PartID, "id = ?", out.Family.PartID); err != nil {
		return out, err
	}
	if err := s.freeEdges(ctx, &out); err != nil {
		return out, err
	}
	fam := out.Family
	fit, err := s.fitOf(ctx, fam, life.Costs{Planned: fam.PlannedCost, Unplanned: fam.UnplannedCost}, fam.Risk, false)
	if err != nil {
		return out, err
	}
	out.PlannedAt, out.PlannedBy = changeAt(fam, fit, job.Dear)
	if out.Part.Edges == 0 {
		out.Says = fmt.Sprintf("No forecast in inserts: %s has no agreed number of edges. Give it one in the catalogue.", out.Part.Code)
		return out, nil
	}
	n, err := fit.ForJob(out.PartsLeft, out.Part.Edges, out.PlannedAt, confidence)
	if err != nil {
		out.Says = "No forecast: " + strings.TrimPrefix(err.Error(), "no forecast: ") + "."
		return out, nil
	}
	out.Need = &n
	out.runsOut(&fit, s.Today())
	return out, nil
}

// changeAt is the change interval in use and who says so: planned by a person, else advised, by
// accepted risk for a dear part.
func changeAt(fam EdgeFamily, fit life.Family, dear bool) (int, string) {
	switch {
	case fam.PlannedAt > 0:
		return fam.PlannedAt, "planned"
	case dear && fit.RiskParts > 0:
		return fit.RiskParts, "advised by accepted risk"
	case fit.Change != nil && fit.Change.Parts > 0:
		return fit.Change.Parts, "advised by cost"
	}
	return 0, "run to failure"
}

// freeEdges counts what the job has and what is free: on a shelf, not held back, and not
// promised to another job.
func (s *Store) freeEdges(ctx context.Context, out *JobEdges) error {
	var rows []struct {
		Each     int
		Fresh    bool
		Shelf    int
		Held     int
		Promised int
	}
	if err := s.read.WithContext(ctx).Raw(`SELECT coalesce(i.edges_left, p.edges) AS each, i.edges_left IS NULL AS fresh,
		coalesce((SELECT sum(s.qty) FROM stock s JOIN places b ON b.id = s.place_id WHERE s.item_id = i.id AND b.kind = 'bin'), 0) AS shelf,
		coalesce((SELECT sum(h.qty) FROM holdings h WHERE h.item_id = i.id AND h.job_id = ? AND h.qty > 0), 0) AS held,
		coalesce((SELECT sum(r.qty) FROM reservations r WHERE r.item_id = i.id AND r.ended_at IS NULL AND r.job_id <> ?), 0) AS promised
		FROM items i JOIN parts p ON p.id = i.part_id WHERE i.part_id = ? AND i.held = '' AND i.retired_at IS NULL ORDER BY i.id`, out.Job.ID, out.Job.ID, out.Part.ID).Scan(&rows).Error; err != nil {
		return err
	}
	for _, r := range rows {
		free := max(r.Shelf-r.Promised, 0)
		if r.Fresh {
			out.FreeNew += free
		}
		out.FreeEdges += free * r.Each
		out.Held += r.Held * r.Each
	}
	var begun int
	if err := s.read.WithContext(ctx).Raw(`SELECT coalesce(sum(u.used - (p.edges - coalesce(i.edges_left, p.edges))), 0) FROM edge_inserts u JOIN items i ON i.id = u.item_id JOIN parts p ON p.id = u.part_id
		WHERE u.job_id = ? AND u.part_id = ? AND u.ended_at IS NULL`, out.Job.ID, out.Part.ID).Scan(&begun).Error; err != nil {
		return err
	}
	out.Held = max(out.Held-begun, 0)
	return nil
}

// runsOut finds how far the edges reach and on which day that is.
func (out *JobEdges) runsOut(fit *life.Family, today Day) {
	have := out.Held + out.FreeEdges
	days := workdays(max(today, out.Job.FromDay), out.Job.ToDay)
	out.PerDay = float64(out.PartsLeft) / float64(max(days, 1))
	enough := func(parts int) bool {
		d, err := life.Renew(life.EdgeUse{R: fit.Law.Survival, PlannedAt: out.PlannedAt}, parts)
		return err == nil && d.Enough(have) >= out.Confidence
	}
	lo, hi := 0, out.PartsLeft
	if hi == 0 || out.Need.Demand.Enough(have) >= out.Confidence {
		lo = hi
	}
	for lo < hi {
		if mid := (lo + hi + 1) / 2; enough(mid) {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	out.EnoughFor = lo
	need := out.Need.Need
	who := fmt.Sprintf("%s: %d parts left need %d inserts of %s at %.0f %% confidence.", out.Job.Code, out.PartsLeft, need.Inserts, out.Part.Code, 100*out.Confidence)
	stock := fmt.Sprintf("Edges with the job: %d; free on the shelf: %d, %d of them on new inserts.", out.Held, out.FreeEdges, out.FreeNew*out.Part.Edges)
	if out.PartsLeft == 0 {
		out.Says = fmt.Sprintf("%s: all its parts are made; no more inserts are needed.", out.Job.Code)
		return
	}
	if out.EnoughFor >= out.PartsLeft {
		out.Says = fmt.Sprintf("%s %s That is enough.", who, stock)
		return
	}
	out.OutOn = addWorkdays(max(today, out.Job.FromDay), int(float64(out.EnoughFor)/max(out.PerDay, 1e-9)))
	out.Says = fmt.Sprintf("%s %s They reach for %d parts and run out on %s.", who, stock, out.EnoughFor, out.OutOn)
}

func dayTime(d Day) time.Time {
	t, _ := time.Parse(time.DateOnly, string(d)) // a Day is always one
	return t
}

func weekend(t time.Time) bool { return t.Weekday() == time.Saturday || t.Weekday() == time.Sunday }

// workdays counts Monday to Friday from a day to a day, both included.
func workdays(from, to Day) int {
	n := 0
	for t := dayTime(from); !t.After(dayTime(to)) && n < 10_000; t = t.AddDate(0, 0, 1) {
		if !weekend(t) {
			n++
		}
	}
	return n
}

// addWorkdays is the n-th working day after a day; with 0 the day itself, or the next Monday.
func addWorkdays(d Day, n int) Day {
	t := dayTime(d)
	for weekend(t) {
		t = t.AddDate(0, 0, 1)
	}
	for i := 0; i < n && i < 10_000; i++ {
		for t = t.AddDate(0, 0, 1); weekend(t); {
			t = t.AddDate(0, 0, 1)
		}
	}
	return DayOf(t)
}
