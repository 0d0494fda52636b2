package store

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"gorm.io/gorm"

	"brasspeg/store/stack"
)

// A Ready is a job with its verdict. Err is set for a request that can not be read.
type Ready struct {
	Job     Job
	Request stack.Request
	Verdict stack.Verdict
	Err     error
	// Plan is the stack chosen for the job, nil while none is. Chosen is its place in
	// Verdict.Stacks, -1 when nothing was chosen or the choice can no longer be built.
	Plan   *Plan
	Chosen int
	// Has is how many things are issued to the job already; they count as free for it.
	Has int
}

// Best is the stack to show: the chosen one, else the best there is, else the nearest with
// its gaps; nil when there is none.
func (r *Ready) Best() *stack.Stack {
	switch {
	case r.Err != nil:
		return nil
	case r.Chosen >= 0:
		return &r.Verdict.Stacks[r.Chosen]
	case len(r.Verdict.Stacks) > 0:
		return &r.Verdict.Stacks[0]
	}
	return r.Verdict.Nearest
}

// Check says whether a job's stack can be built on its days, with what, or what is missing.
// What is issued to the job itself counts as there for it, and only for it.
func (s *Store) Check(ctx context.Context, j Job) (Ready, error) {
	all, err := s.checkAll(ctx, []Job{j})
	if err != nil {
		return Ready{}, err
	}
	return all[0], nil
}

// Readiness checks every planned job, by first day. A running job has its stack already.
func (s *Store) Readiness(ctx context.Context) ([]Ready, error) {
	jobs, err := s.Jobs(ctx, "planned")
	if err != nil {
		return nil, err
	}
	return s.checkAll(ctx, jobs)
}

// checkAll checks jobs with a constant number of queries.
func (s *Store) checkAll(ctx context.Context, jobs []Job) ([]Ready, error) {
	return s.checkAt(ctx, jobs, nil)
}

// checkAt is checkAll with some stations as they would be.
func (s *Store) checkAt(ctx context.Context, jobs []Job, changed map[StationID]*Station) ([]Ready, error) {
	shelf, err := s.Shelf(ctx)
	if err != nil {
		return nil, err
	}
	db := s.read.WithContext(ctx)
	own, err := s.ownViews(db, jobs)
	if err != nil {
		return nil, err
	}
	stations := map[StationID]*Station{}
	rows, err := s.Stations(ctx, 0)
	if err != nil {
		return nil, err
	}
	for i := range rows {
		stations[rows[i].ID] = &rows[i]
	}
	maps.Copy(stations, changed)
	out := make([]Ready, len(jobs))
	one := func(r *Ready) {
		var st *Station
		if r.Job.StationID != nil {
			st = stations[*r.Job.StationID]
		}
		if r.Request, r.Err = requestAt(&r.Job, st); r.Err != nil {
			return
		}
		view := own[r.Job.ID]
		r.Plan, r.Has = view.plan, len(view.held)
		if r.Verdict, r.Err = s.checkOwn(shelf, view, s.today(r.Request)); r.Err != nil {
			return
		}
		if len(jobs) == 1 && len(view.held) == 0 { // for a person: the other way of the coolant too
			shelf.OtherRoute(r.Request, &r.Verdict)
		}
		r.choose(view)
	}
	// The jobs do not ask of each other: on every core one.
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(jobs)) {
		workers.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(jobs)) && ctx.Err() == nil; i = next.Add(1) - 1 {
				out[i] = Ready{Job: jobs[i], Chosen: -1}
				one(&out[i])
			}
		})
	}
	workers.Wait()
	return out, ctx.Err()
}

// today is a request asked today, so that what must be bought gets a day too.
func (s *Store) today(r stack.Request) stack.Request {
	r.Today = stack.Date(s.Today())
	return r
}

// requestOf reads a job's stack request, with the station, the job and its days filled in.
func (tx *Tx) requestOf(j *Job) (stack.Request, error) { return requestOf(tx.DB, j) }

func requestOf(db *gorm.DB, j *Job) (stack.Request, error) {
	var st *Station
	if j.StationID != nil {
		row, err := one[Station](db, "station", *j.StationID, "id = ?", *j.StationID)
		if err != nil {
			return stack.Request{}, err
		}
		st = &row
	}
	return requestAt(j, st)
}

// TypedMember is the member of a job's request that keeps what a person typed, beside the figures
// it was read into: it asks nothing of the stack room.
const TypedMember = "typed"

// requestAt is a job's stack request at a station; nil is none yet.
func requestAt(j *Job, st *Station) (stack.Request, error) {
	if st == nil {
		return stack.Request{}, refuse(ErrBadInput, "station", "%s has no station yet; say where it is to be bored", j.Code)
	}
	m := map[string]any{}
	if err := json.Unmarshal([]byte(j.Request), &m); err != nil {
		return stack.Request{}, refuse(ErrBadInput, "request", "the stack request of %s is not an object: %v", j.Code, err)
	}
	delete(m, TypedMember)
	station := map[string]any{"interface": st.Interface}
	if st.CoolantPort != "" {
		station["coolant_port"] = st.CoolantPort
	}
	for k, v := range map[string]*float64{"coolant_max_bar": st.CoolantMaxBar, "max_projection": st.MaxProjection, "max_mass_kg": st.MaxMassKg} {
		if v != nil {
			station[k] = *v
		}
	}
	m["job"], m["need_date"], m["station"] = j.Code, string(j.FromDay), station
	if j.ToDay > j.FromDay {
		m["until"] = string(j.ToDay)
	}
	req, err := stack.ReadRequestMap(m)
	if err != nil {
		return stack.Request{}, &Refusal{Class: fmt.Errorf("%w: %w", ErrBadInput, err), Field: "request", Says: j.Code + ": " + err.Error()}
	}
	return *req, nil
}

// RequestOf is what a job asks of the stack room.
func (s *Store) RequestOf(ctx context.Context, j Job) (stack.Request, error) {
	return requestOf(s.read.WithContext(ctx), &j)
}

// An ownView is the shelf as one job sees it, where that differs from what all see: what is
// issued to it is free for it, and what was chosen for it.
type ownView struct {
	plan   *Plan
	held   []stack.Item // issued to the job
	chosen []stack.Item // of the plan, as they stand
}

// always is the first day of what a job holds: it has it whatever its days are.
const always stack.Date = "1900-01-01"

// ownViews reads what is issued to jobs and chosen for them, with three queries for any
// number of jobs.
func (s *Store) ownViews(db *gorm.DB, jobs []Job) (map[JobID]ownView, error) {
	ids, code := make([]JobID, 0, len(jobs)), map[JobID]string{}
	for _, j := range jobs {
		ids, code[j.ID] = append(ids, j.ID), j.Code
	}
	out := map[JobID]ownView{}
	if len(ids) == 0 {
		return out, nil
	}
	s.shelf.mu.Lock()
	parts := s.shelf.parts // replaced as a whole, never changed
	s.shelf.mu.Unlock()
	var held []struct {
		JobID       JobID
		Lot         bool
		Tag         string
		PartID      PartID
		Qty         int64
		Place, Code string
	}
	if err := db.Raw(`SELECT h.job_id, i.kind = 'lot' AS lot, i.tag, i.part_id, sum(h.qty) AS qty, p.name AS place, p.code
		FROM holdings h JOIN items i ON i.id = h.item_id JOIN places p ON p.id = h.place_id
		WHERE h.qty > 0 AND h.job_id IN ? AND i.held = '' AND i.edges_left IS NULL AND i.retired_at IS NULL
		GROUP BY h.job_id, i.id, i.kind, i.tag, i.part_id, p.name, p.code ORDER BY i.id, p.code`, ids).Scan(&held).Error; err != nil {
		return nil, err
	}
	for _, h := range held {
		part := parts[h.PartID]
		if part == nil || part.Kind == stack.Spare {
			continue
		}
		it := stack.Item{ID: h.Tag, Part: part, Status: stack.In, Place: h.Place, Qty: int(h.Qty),
			Reserved: []stack.Reservation{{Job: code[h.JobID], From: always, To: stack.Forever}}}
		if h.Lot { // a lot is in its bin as well
			it.ID += "@" + h.Code
		}
		v := out[h.JobID]
		v.held = append(v.held, it)
		out[h.JobID] = v
	}
	plans, err := openPlans(db, ids)
	if err != nil {
		return nil, err
	}
	var tags []string
	for _, p := range plans {
		tags = append(tags, p.Tags()...)
	}
	now, err := heapsAsItems(db, parts, tags)
	if err != nil {
		return nil, err
	}
	for i := range plans {
		p := &plans[i]
		v := out[p.JobID]
		v.plan = p
		for _, tag := range p.Tags() {
			v.chosen = append(v.chosen, now[tag]...)
		}
		out[p.JobID] = v
	}
	return out, nil
}

// heapsAsItems reads pieces and lots by tag as the shelf has them.
func heapsAsItems(db *gorm.DB, parts map[PartID]*stack.Part, tags []string) (map[string][]stack.Item, error) {
	out := map[string][]stack.Item{}
	if len(tags) == 0 {
		return out, nil
	}
	var rows []onShelfRow
	if err := db.Raw(heapsSQL+" AND i.tag IN ? ORDER BY i.id, CASE WHEN p.kind = 'bin' THEN 0 ELSE 1 END, p.sort_key, p.code", false, false, tags).Scan(&rows).Error; err != nil {
		return nil, err
	}
	var promised []struct {
		Tag, Code      string
		Qty            int64
		FromDay, ToDay string
	}
	if err := db.Raw(`SELECT i.tag, j.code, r.qty, r.from_day, r.to_day FROM reservations r JOIN jobs j ON j.id = r.job_id JOIN items i ON i.id = r.item_id
		WHERE r.ended_at IS NULL AND i.tag IN ? ORDER BY r.from_day, r.id`, tags).Scan(&promised).Error; err != nil {
		return nil, err
	}
	res := map[string][]stack.Reservation{}
	for _, p := range promised {
		res[p.Tag] = append(res[p.Tag], stack.Reservation{Job: p.Code, From: stack.Date(p.FromDay), To: stack.Date(p.ToDay), Qty: int(p.Qty)})
	}
	for _, r := range rows {
		if part := parts[r.PartID]; part != nil {
			it := r.item(part)
			it.Reserved = res[r.Tag]
			if len(out[r.Tag]) > 0 {
				it.ID += "@" + r.Code
			}
			out[r.Tag] = append(out[r.Tag], it)
		}
	}
	return out, nil
}

// checkOwn checks a request on the shelf as its job sees it. A job with nothing issued to it
// sees what all see. Else what it has is looked at first: the stack that is in the machine is
// the answer. Then with what the shelf offers beside it, and only where that is not enough
// the whole shelf is laid out anew for this job.
func (s *Store) checkOwn(shelf *stack.Shelf, view ownView, req stack.Request) (stack.Verdict, error) {
	v, err := s.verdicts.check(shelf, req)
	if err != nil || len(view.held) == 0 {
		return v, err
	}
	var found []stack.Stack
	for _, with := range [][]stack.Item{nil, usedItems(&v)} {
		small, err := laid(with, view.held)
		if err != nil {
			return v, err
		}
		w, err := small.Check(req)
		if err != nil {
			return v, err
		}
		for _, st := range w.Stacks {
			if !slices.ContainsFunc(found, func(o stack.Stack) bool { return slices.Equal(o.IDs(), st.IDs()) }) {
				found = append(found, st)
			}
		}
		if w.Buildable {
			w.Stacks = found[:min(len(found), stack.K)]
			v = w
		}
	}
	if len(found) > 0 {
		return v, nil
	}
	return shelf.CheckWith(req, view.held)
}

// usedItems are the pieces on hand that a verdict speaks of.
func usedItems(v *stack.Verdict) []stack.Item {
	var out []stack.Item
	add := func(st *stack.Stack) {
		if st == nil {
			return
		}
		for _, u := range st.Pieces {
			if u.Item != nil && !u.Missing {
				out = append(out, *u.Item)
			}
		}
	}
	for i := range v.Stacks {
		add(&v.Stacks[i])
	}
	add(v.Nearest)
	for i := range v.Options {
		add(v.Options[i].Stack)
	}
	return out
}

// laid is a small shelf; of two items with one id the later counts.
func laid(lists ...[]stack.Item) (*stack.Shelf, error) {
	shelf, err := stack.NewShelf(nil, nil)
	if err != nil {
		return nil, err
	}
	for _, it := range slices.Concat(lists...) {
		if err := shelf.Put(it); err != nil {
			return nil, err
		}
	}
	return shelf, nil
}

// choose finds the planned stack among those of the verdict. Where better ones have pushed it
// off the list it is built from its own pieces and put in front.
func (r *Ready) choose(view ownView) {
	if view.plan == nil {
		return
	}
	want := view.plan.Tags()
	find := func(all []stack.Stack) int {
		return slices.IndexFunc(all, func(st stack.Stack) bool { return slices.Equal(bareTags(st.IDs()), want) })
	}
	if r.Chosen = find(r.Verdict.Stacks); r.Chosen >= 0 {
		return
	}
	small, err := laid(view.chosen, view.held)
	if err != nil {
		return
	}
	v, err := small.Check(r.Request)
	if err != nil {
		return
	}
	if i := find(v.Stacks); i >= 0 {
		if !r.Verdict.Buildable {
			r.Verdict = v
			r.Verdict.Stacks = nil
		}
		r.Verdict.Stacks = append([]stack.Stack{v.Stacks[i]}, r.Verdict.Stacks...)
		r.Chosen = 0
	}
}
