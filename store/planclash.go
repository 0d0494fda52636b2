package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"gorm.io/gorm"

	"brasspeg/store/stack"
)

// A Clash is a piece that a job would use if it were alone in the shop, and that another job
// has on one of its days. Says is the sentence for a person.
type Clash struct {
	Item     string // tag
	Part     string
	Role     string
	With     string // the job that has it
	From, To Day
	Planned  bool // promised already; else the other job only would take it, and comes first
	Taken    bool // promised to this job, and out for another all the same
	Who      string
	Says     string
}

// taken says of jobs what was promised to them and is out for somebody else on their days, by
// whom and why, with one query.
func taken(db *gorm.DB, jobs []JobID, today Day) (map[JobID][]Clash, error) {
	var rows []struct {
		JobID               JobID
		Tag, Part, Role     string
		Other, Person, Code string
		Since               Time
		Due                 Day
		Reason              string
		FromDay, ToDay      Day
	}
	// A piece that stands idle in a turret is free there. Of a lot there may be enough for both.
	if err := db.Raw(`SELECT r.job_id, i.tag, p.code AS part, p.kind AS role, coalesce(j.code, '') AS other, coalesce(pe.name, '') AS person, pl.name AS code,
		h.since_at AS since, h.due_day AS due, m.reason, r.from_day, r.to_day
		FROM reservations r JOIN items i ON i.id = r.item_id JOIN parts p ON p.id = i.part_id
		JOIN holdings h ON h.item_id = r.item_id AND h.qty > 0 AND (h.job_id IS NULL OR h.job_id <> r.job_id)
		JOIN movements m ON m.seq = h.seq JOIN places pl ON pl.id = h.place_id LEFT JOIN people pe ON pe.id = h.person_id LEFT JOIN jobs j ON j.id = h.job_id
		WHERE r.ended_at IS NULL AND r.job_id IN ? AND (pl.kind <> 'station' OR j.state IN ('planned','running'))
		AND (h.due_day = '' OR h.due_day >= r.from_day OR r.from_day <= ?)
		AND (i.kind = 'piece' OR m.reason <> '' AND (SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN places b ON b.id = s.place_id WHERE s.item_id = i.id AND b.kind = 'bin')
			< (SELECT sum(x.qty) FROM reservations x WHERE x.item_id = i.id AND x.ended_at IS NULL))
		ORDER BY r.job_id, i.id, h.seq`, jobs, string(today)).Scan(&rows).Error; err != nil {
		return nil, err
	}
	out := map[JobID][]Clash{}
	for _, r := range rows {
		c := Clash{Item: r.Tag, Part: r.Part, Role: r.Role, With: r.Other, From: r.FromDay, To: r.ToDay, Planned: true, Taken: true, Who: cmp.Or(r.Person, r.Code)}
		c.Says = fmt.Sprintf("%s %s (%s) was promised to this job and is out with %s", r.Role, r.Part, r.Tag, c.Who)
		if r.Other != "" {
			c.Says += " for " + r.Other
		}
		c.Says += " since " + r.Since.Local().Format("Mon 2 Jan 15:04")
		if r.Due != "" {
			c.Says += ", due " + string(r.Due)
		}
		if r.Reason != "" {
			c.Says += ": " + r.Reason
		}
		out[r.JobID] = append(out[r.JobID], c)
	}
	return out, nil
}

func clashSays(c Clash) string {
	until := "until " + string(c.To)
	if c.To == Day(stack.Forever) {
		until = "to be used up"
	}
	if c.Planned {
		return fmt.Sprintf("%s %s (%s) is promised to %s from %s %s", c.Role, c.Part, c.Item, c.With, c.From, until)
	}
	return fmt.Sprintf("%s %s (%s) would be taken by %s, which comes first, from %s %s", c.Role, c.Part, c.Item, c.With, c.From, until)
}

// Clashes says what was promised to a job and taken by others, and what promises to other jobs
// keep it from the stack it would get if nothing were promised; empty when nothing does.
func (s *Store) Clashes(ctx context.Context, r *Ready) ([]Clash, error) {
	gone, err := taken(s.read.WithContext(ctx), []JobID{r.Job.ID}, s.Today())
	if err != nil {
		return nil, err
	}
	rest, err := s.clashes(ctx, r)
	return append(gone[r.Job.ID], rest...), err
}

func (s *Store) clashes(ctx context.Context, r *Ready) ([]Clash, error) {
	if r.Err != nil || r.Chosen >= 0 {
		return nil, nil
	}
	shelf, err := s.Shelf(ctx)
	if err != nil {
		return nil, err
	}
	alone := r.Request
	alone.NeedDate, alone.Until = always, always // long before the first promise, so that none counts
	v, err := s.verdicts.check(shelf, alone)
	if err != nil || !v.Buildable {
		return nil, err
	}
	var has []string
	if r.Verdict.Buildable {
		has = r.Verdict.Stacks[0].IDs()
	}
	var out []Clash
	last := max(r.Job.ToDay, r.Job.FromDay)
	need := map[string]int{}
	for _, h := range v.Stacks[0].Holds(&alone) {
		need[h.Item] = max(h.Qty, 1)
	}
	for _, u := range v.Stacks[0].Pieces {
		if u.Item == nil || slices.Contains(has, u.Item.ID) {
			continue
		}
		theirs := slices.DeleteFunc(slices.Clone(u.Item.Reserved), func(p stack.Reservation) bool {
			return p.Job == r.Job.Code || Day(p.To) < r.Job.FromDay || Day(p.From) > last
		})
		left := u.Item.Qty
		for _, p := range theirs {
			if left -= p.Qty; p.Qty == 0 {
				left = 0
			}
		}
		if left >= need[u.Item.ID] { // a lot that is enough for both
			continue
		}
		for _, p := range theirs {
			c := Clash{Item: bareTag(u.Item.ID), Part: u.Part.Code, Role: string(u.Role), With: p.Job, From: Day(p.From), To: Day(p.To), Planned: true}
			c.Says = clashSays(c)
			out = append(out, c)
		}
	}
	return out, nil
}

// Earliest is the first day, on or after a job's first, from which it can be built for as many
// days as it takes: the day waiting is enough by the verdict, or the first day after a promise
// on which the search says yes. "" when no such day is known. It asks the shelf once for each
// day on which something comes free, at most a dozen.
func (s *Store) Earliest(ctx context.Context, r *Ready, clashes []Clash) (Day, error) {
	if r.Err != nil || r.Verdict.Buildable {
		return r.Job.FromDay, nil
	}
	shelf, err := s.Shelf(ctx)
	if err != nil {
		return "", err
	}
	best := Day(r.Verdict.AvailableOn)
	var days []Day
	add := func(d Day) {
		if d > r.Job.FromDay && d < Day(stack.Forever) && !slices.Contains(days, d) {
			days = append(days, d)
		}
	}
	for _, c := range clashes {
		if c.To < Day(stack.Forever) {
			add(c.To.Add(1))
		}
	}
	for _, o := range r.Verdict.Options {
		for _, m := range o.Parts {
			for _, b := range m.Owned {
				add(Day(b.From))
			}
		}
	}
	slices.Sort(days)
	span := 0
	for d := r.Job.FromDay; d < r.Job.ToDay && span < 3660; d = d.Add(1) {
		span++
	}
	for _, d := range days[:min(len(days), 12)] {
		if best != "" && d >= best {
			break
		}
		q := r.Request
		q.NeedDate, q.Until = stack.Date(d), stack.Date(d.Add(span))
		v, err := shelf.Check(q)
		if err != nil {
			return "", err
		}
		if v.Buildable {
			return d, nil
		}
	}
	return best, nil
}

// An Outlook is how all planned jobs stand together.
type Outlook struct {
	Jobs   []JobOutlook
	Orders []ToolOrder
}

// A JobOutlook is one planned job among the others.
type JobOutlook struct {
	Ready
	Kit     JobKit
	Clashes []Clash // with jobs that come before it; empty when all can be had
}

// Outlook looks at all planned jobs together: each with its verdict, its kit, its clashes with
// earlier jobs, and for each machine the order of jobs that moves the fewest tools.
func (s *Store) Outlook(ctx context.Context) (Outlook, error) {
	ready, err := s.Readiness(ctx)
	if err != nil {
		return Outlook{}, err
	}
	shelf, err := s.Shelf(ctx)
	if err != nil {
		return Outlook{}, err
	}
	var asked []stack.Request
	var alone []stack.Verdict
	var at []int
	for i := range ready {
		if ready[i].Err != nil {
			continue
		}
		v, err := s.verdicts.check(shelf, s.today(ready[i].Request)) // by itself, whatever it was given already
		if err != nil {
			return Outlook{}, err
		}
		asked, alone, at = append(asked, ready[i].Request), append(alone, v), append(at, i)
	}
	together := shelf.Together(asked, alone)
	kits, err := s.kits(ctx, ready)
	if err != nil {
		return Outlook{}, err
	}
	var out Outlook
	var ids []JobID
	for i := range ready {
		ids = append(ids, ready[i].Job.ID)
	}
	gone, err := taken(s.read.WithContext(ctx), ids, s.Today())
	if err != nil {
		return Outlook{}, err
	}
	for i := range ready {
		out.Jobs = append(out.Jobs, JobOutlook{Ready: ready[i], Kit: kits[i], Clashes: gone[ready[i].Job.ID]})
	}
	for k, t := range together {
		j := &out.Jobs[at[k]]
		if j.Chosen >= 0 { // promised: nobody can take it
			continue
		}
		for _, c := range t.Clashes {
			cl := Clash{Item: bareTag(c.Item), With: c.With, From: Day(c.From), To: Day(c.To)}
			if st := j.Best(); st != nil {
				for _, u := range st.Pieces {
					if u.ID() == c.Item {
						cl.Part, cl.Role = u.Part.Code, string(u.Role)
					}
				}
			}
			cl.Says = clashSays(cl)
			j.Clashes = append(j.Clashes, cl)
		}
		if !t.Verdict.Buildable && !t.Alone && !j.Verdict.Buildable {
			more, err := s.clashes(ctx, &j.Ready)
			if err != nil {
				return out, err
			}
			j.Clashes = append(j.Clashes, more...)
		}
	}
	machines, err := s.Machines(ctx)
	if err != nil {
		return out, err
	}
	out.Orders = toolOrders(out.Jobs, machines)
	return out, nil
}
