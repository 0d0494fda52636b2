package store

import (
	"context"
	"fmt"
	"sync"

	"brasspeg/store/life"
)

// A FamilyLine is a family in a list.
type FamilyLine struct {
	EdgeFamily
	Part   string
	Grade  string
	Runs   int // all, the late ones included
	Late   int
	Failed int // edges that failed, late ones not counted
	LastAt Time
}

// EdgeFamilies lists the families with runs, the one with the newest run first.
func (s *Store) EdgeFamilies(ctx context.Context) ([]FamilyLine, error) {
	var out []FamilyLine
	return out, s.read.WithContext(ctx).Raw(`SELECT f.*, p.code AS part, p.grade, count(*) AS runs,
		sum(CASE WHEN r.late = ? THEN 1 ELSE 0 END) AS late,
		sum(CASE WHEN r.late = ? AND r.reason IN ('worn','finish','size','chipped','broken') THEN 1 ELSE 0 END) AS failed, max(r.at) AS last_at
		FROM edge_families f JOIN parts p ON p.id = f.part_id JOIN edge_runs r ON r.family_id = f.id AND r.undone_op IS NULL
		GROUP BY f.id, f.operation, f.material, f.part_id, f.band, f.version, f.planned_at, f.planned_cost, f.unplanned_cost, f.risk, f.created_at, p.code, p.grade
		ORDER BY max(r.id) DESC LIMIT 500`, true, false).Scan(&out).Error
}

// A LifeAsk is how a family is to be looked at. The zero value takes what is planned for it.
type LifeAsk struct {
	Costs        life.Costs // 0: those planned for the family
	Risk         float64
	ChatterFails bool
	Cut          *life.Cut
}

// A LifeView is everything known about the edges of a family.
type LifeView struct {
	Family    EdgeFamily
	Part      Part
	Fit       life.Family
	Costs     life.Costs
	Risk      float64
	Runs      int // edges on record
	LateCount int
	LateRuns  []EdgeRun // the newest of them, at most 20
	Latest    []EdgeRun // the newest runs, at most 50
	Bands     []string  // speed bands with runs, for the same operation, material and insert
	Taylor    *life.CensoredTaylor
	NoTaylor  string
	Speeds    *life.CutEconomy
}

// fits keeps the last fit of a family by the version of its data.
type fits struct {
	mu   sync.Mutex
	kept map[fitKey]keptFit
}

// A keptFit is a fit with what else the sum over all runs gave.
type keptFit struct {
	fit        life.Family
	runs, late int
	speeds     int // different speeds on record, 2 for two or more
}

type fitKey struct {
	family, version int64
	costs           life.Costs
	risk            float64
	chatter         bool
}

// fitsKept bounds the memory of kept fits; a page with other costs is one more.
const fitsKept = 200

// LifeOf fits a family. The runs are added up by life and reason in the database, and the fit
// is kept until a run comes or goes.
func (s *Store) LifeOf(ctx context.Context, family int64, ask LifeAsk) (LifeView, error) {
	db := s.read.WithContext(ctx)
	fam, err := one[EdgeFamily](db, "family", family, "id = ?", family)
	if err != nil {
		return LifeView{}, err
	}
	v := LifeView{Family: fam}
	if v.Part, err = one[Part](db, "part", fam.PartID, "id = ?", fam.PartID); err != nil {
		return v, err
	}
	v.Costs, v.Risk = ask.Costs, ask.Risk
	if v.Costs.Planned == 0 && v.Costs.Unplanned == 0 {
		v.Costs = life.Costs{Planned: fam.PlannedCost, Unplanned: fam.UnplannedCost}
	}
	if v.Risk == 0 {
		v.Risk = fam.Risk
	}
	k, err := s.keptOf(ctx, fam, v.Costs, v.Risk, ask.ChatterFails)
	if err != nil {
		return v, err
	}
	v.Fit, v.Runs, v.LateCount = k.fit, k.runs, k.late
	if err := db.Where("family_id = ? AND undone_op IS NULL", family).Order("id DESC").Limit(50).Find(&v.Latest).Error; err != nil {
		return v, err
	}
	if v.LateCount > 0 {
		if err := db.Where("family_id = ? AND undone_op IS NULL AND late = ?", family, true).Order("id DESC").Limit(20).Find(&v.LateRuns).Error; err != nil {
			return v, err
		}
	}
	return v, s.taylorOf(ctx, &v, k.speeds, ask.Cut)
}

func (s *Store) fitOf(ctx context.Context, fam EdgeFamily, costs life.Costs, risk float64, chatter bool) (life.Family, error) {
	k, err := s.keptOf(ctx, fam, costs, risk, chatter)
	return k.fit, err
}

func (s *Store) keptOf(ctx context.Context, fam EdgeFamily, costs life.Costs, risk float64, chatter bool) (keptFit, error) {
	key := fitKey{fam.ID, fam.Version, costs, risk, chatter}
	s.fits.mu.Lock()
	k, ok := s.fits.kept[key]
	s.fits.mu.Unlock()
	if ok {
		return k, nil
	}
	all, err := s.familyRuns(ctx, fam.ID)
	if err != nil {
		return k, err
	}
	var runs []life.Run // the late ones are kept, and no part of the fit
	speeds := map[float64]bool{}
	for _, r := range all {
		k.runs += r.Count
		if r.Late {
			k.late += r.Count
			continue
		}
		runs = append(runs, r)
		if r.Speed > 0 {
			speeds[r.Speed] = true
		}
	}
	k.speeds = len(speeds)
	o := life.Options{Risk: risk, ChatterFails: chatter}
	if costs.Planned > 0 && costs.Unplanned > 0 {
		o.Costs = &costs
	}
	k.fit = life.Fit(runs, o)
	s.fits.mu.Lock()
	defer s.fits.mu.Unlock()
	if len(s.fits.kept) >= fitsKept || s.fits.kept == nil {
		s.fits.kept = map[fitKey]keptFit{}
	}
	s.fits.kept[key] = k
	return k, nil
}

// familyRuns adds the runs of a family up: one line for equal lives, in the order they first
// came, so that splits compare with what was there first.
func (s *Store) familyRuns(ctx context.Context, family int64) ([]life.Run, error) {
	var rows []struct {
		Parts  int
		Reason life.Reason
		Batch  string
		Speed  float64
		Feed   float64
		Late   bool
		N      int
	}
	if err := s.read.WithContext(ctx).Raw(`SELECT parts, reason, batch, speed, feed, late, count(*) AS n, min(id) AS first FROM edge_runs
		WHERE family_id = ? AND undone_op IS NULL GROUP BY parts, reason, batch, speed, feed, late ORDER BY first`, family).Scan(&rows).Error; err != nil {
		return nil, err
	}
	out := make([]life.Run, len(rows))
	for i, r := range rows {
		out[i] = life.Run{Parts: r.Parts, Reason: r.Reason, Batch: r.Batch, Speed: r.Speed, Feed: r.Feed, Late: r.Late, Count: r.N}
	}
	return out, nil
}

// taylorOf fits life to speed over all speed bands of the same operation, material and insert.
func (s *Store) taylorOf(ctx context.Context, v *LifeView, speeds int, cut *life.Cut) error {
	db := s.read.WithContext(ctx)
	same := []any{v.Family.Operation, v.Family.Material, v.Family.PartID}
	if err := db.Raw("SELECT band FROM edge_families WHERE operation = ? AND material = ? AND part_id = ? ORDER BY band", same...).Scan(&v.Bands).Error; err != nil {
		return err
	}
	if speeds < 2 && len(v.Bands) < 2 {
		return nil
	}
	var rows []struct {
		Speed, Minutes float64
		Reason         life.Reason
		N              int
	}
	if err := db.Raw(`SELECT r.speed, r.minutes, r.reason, count(*) AS n FROM edge_runs r JOIN edge_families f ON f.id = r.family_id
		WHERE f.operation = ? AND f.material = ? AND f.part_id = ? AND r.undone_op IS NULL AND r.late = ? AND r.speed > 0 AND r.minutes > 0
		GROUP BY r.speed, r.minutes, r.reason ORDER BY r.speed, r.minutes, r.reason`, append(same, false)...).Scan(&rows).Error; err != nil {
		return err
	}
	runs := make([]life.Run, len(rows))
	for i, r := range rows {
		runs[i] = life.Run{Parts: 1, Minutes: r.Minutes, Speed: r.Speed, Reason: r.Reason, Count: r.N}
	}
	f := life.Fit(runs, life.Options{Measure: life.InMinutes, Cut: cut})
	v.Taylor, v.Speeds = f.Taylor, f.Speeds
	if f.NoTaylor != nil {
		v.NoTaylor = f.NoTaylor.Why
	}
	return nil
}

// A LifePlan is what a manager decides for a family.
type LifePlan struct {
	PlannedAt     int // parts; 0: no planned change
	PlannedCost   float64
	UnplannedCost float64
	Risk          float64
}

// PlanLife sets the planned change, the two costs and the accepted risk of a family.
func (s *Store) PlanLife(ctx context.Context, o Op, family int64, p LifePlan) (Receipt, error) {
	body := struct {
		Family int64
		Plan   LifePlan
	}{family, p}
	return s.op(ctx, o, ActLifePlan, body, func(e *entry) error {
		switch {
		case p.PlannedAt < 0 || p.PlannedAt > 1_000_000:
			return refuse(ErrBadInput, "planned_at", "a planned change after %d parts: give a whole number, 0 for none", p.PlannedAt)
		case !(p.PlannedCost >= 0 && p.PlannedCost < 1e9 && p.UnplannedCost >= 0 && p.UnplannedCost < 1e9):
			return refuse(ErrBadInput, "planned_cost", "costs are numbers of 0 or more")
		case (p.PlannedCost == 0) != (p.UnplannedCost == 0):
			return refuse(ErrBadInput, "unplanned_cost", "give both costs, or neither: the advice weighs one against the other")
		case !(p.Risk >= 0 && p.Risk < 1):
			return refuse(ErrBadInput, "risk", "an accepted risk of %g: give a share below 1, such as 0.01 for one edge in a hundred", p.Risk)
		}
		if err := e.must(refuse(ErrNotFound, "family", "family %d is not known here", family),
			"UPDATE edge_families SET planned_at = ?, planned_cost = ?, unplanned_cost = ?, risk = ? WHERE id = ?", p.PlannedAt, p.PlannedCost, p.UnplannedCost, p.Risk, family); err != nil {
			return err
		}
		e.receipt.Says = "Planned: run to failure."
		if p.PlannedAt > 0 {
			e.receipt.Says = fmt.Sprintf("Planned: change after %d parts.", p.PlannedAt)
		}
		return e.Tx.note(o.Actor, "life plan", fmt.Sprint(family), e.receipt.Says)
	})
}

// A RunFilter narrows the log of edges. The zero value is everything.
type RunFilter struct {
	Family  int64
	Job     JobID
	Station StationID
	Machine MachineID
	Before  int64 // ids below this one; 0: from the newest
	Limit   int   // 0: 50
}

// A RunLine is a run as a person reads it.
type RunLine struct {
	EdgeRun
	Job     string
	Part    string
	Tag     string // of the box
	Machine string
	Station int
	Undone  bool
}

// EdgeRuns lists the log of edges, newest first, with what was undone.
func (s *Store) EdgeRuns(ctx context.Context, f RunFilter) ([]RunLine, error) {
	q := `SELECT r.*, j.code AS job, p.code AS part, i.tag, m.code AS machine, st.number AS station, r.undone_op IS NOT NULL AS undone
		FROM edge_runs r JOIN jobs j ON j.id = r.job_id JOIN parts p ON p.id = r.part_id JOIN items i ON i.id = r.item_id JOIN machines m ON m.id = r.machine_id JOIN stations st ON st.id = r.station_id WHERE 1 = 1`
	var args []any
	for _, c := range []struct {
		cond string
		v    int64
	}{{"r.family_id = ?", f.Family}, {"r.job_id = ?", int64(f.Job)}, {"r.station_id = ?", int64(f.Station)}, {"r.machine_id = ?", int64(f.Machine)}, {"r.id < ?", f.Before}} {
		if c.v != 0 {
			q, args = q+" AND "+c.cond, append(args, c.v)
		}
	}
	if f.Limit <= 0 || f.Limit > 1000 {
		f.Limit = 50
	}
	var out []RunLine
	return out, s.read.WithContext(ctx).Raw(q+" ORDER BY r.id DESC LIMIT ?", append(args, f.Limit)...).Scan(&out).Error
}
