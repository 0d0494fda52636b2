package store

import (
	"context"
	"fmt"
	"slices"

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
	Says     string
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

// Clashes says what promises to other jobs keep a job from the stack it would get if nothing
// were promised; empty when nothing does.
func (s *Store) Clashes(ctx context.Context, r *Ready) ([]Clash, error) {
	if r.Err != nil || r.Chosen >= 0 {
		return nil, nil
	}
	shelf, err := s.Shelf(ctx)
	if err != nil {
		return nil, err
	}
	alone := r.Request
	alone.NeedDate, alone.Until = always, always // long before the first promise, so that none counts
	v, err := shelf.Check(alone)
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
	var at []int
	for i := range ready {
		if ready[i].Err == nil {
			asked, at = append(asked, ready[i].Request), append(at, i)
		}
	}
	together := shelf.Readiness(asked)
	kits, err := s.kits(ctx, ready)
	if err != nil {
		return Outlook{}, err
	}
	var out Outlook
	for i := range ready {
		out.Jobs = append(out.Jobs, JobOutlook{Ready: ready[i], Kit: kits[i]})
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
			if j.Clashes, err = s.Clashes(ctx, &j.Ready); err != nil {
				return out, err
			}
		}
	}
	machines, err := s.Machines(ctx)
	if err != nil {
		return out, err
	}
	out.Orders = toolOrders(out.Jobs, machines)
	return out, nil
}
