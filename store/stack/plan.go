package stack

import (
	"cmp"
	"slices"
)

// A Ready tells how one planned job stands when all the others are planned too.
type Ready struct {
	Job     string
	Verdict Verdict // with the pieces that earlier jobs take counted as promised
	Alone   bool    // buildable if no other planned job took anything
	Clashes []Clash // what other planned jobs take of what this one would use
	Holds   []Hold  // what this job takes, when it can be built
	Err     error   // a request that cannot be read
}

// A Clash is a piece that two jobs want on the same days.
type Clash struct {
	Item     string
	With     string // the job that has it
	From, To Date
}

// A Hold is a piece, or some of a lot, that a job takes from day to day. What is used up is
// taken for good: To is then Forever.
type Hold struct {
	Item string
	Job  string
	From Date
	To   Date
	Qty  int // 0 = the whole piece
}

// Forever ends a hold of what is used up.
const Forever Date = "2999-12-31"

// Holds lists what a stack takes for a request: pieces for its days, inserts for good. Planning
// a job reserves all of it in one act.
func (s *Stack) Holds(r *Request) []Hold {
	var out []Hold
	for _, u := range s.Pieces {
		if u.Item == nil || u.Missing {
			continue
		}
		h := Hold{Item: u.Item.ID, Job: r.Job, From: r.NeedDate, To: r.last()}
		switch {
		case u.Role == Insert:
			h.Qty, h.To = min(insertsFor(r, u.Part), u.Item.Qty), Forever
		case u.Item.Qty > 1:
			h.Qty = 1
		}
		if i := slices.IndexFunc(out, func(o Hold) bool { return o.Item == h.Item }); i >= 0 {
			out[i].Qty = max(out[i].Qty, 1) + 1 // two pieces of one lot
			continue
		}
		out = append(out, h)
	}
	return out
}

// insertsFor returns the pieces a job uses up: at least one.
func insertsFor(r *Request, p *Part) int {
	if p.Edges <= 0 {
		return max(r.EdgesNeeded, 1)
	}
	return max((r.EdgesNeeded+p.Edges-1)/p.Edges, 1)
}

// Readiness looks at all planned jobs together, the earliest first (equal days in the order
// given): each takes its best stack, and what it takes is promised to it when the later ones
// are looked at. One entry per job, in the order given; a job's own reservations stay its own.
func (s *Shelf) Readiness(jobs []Request) []Ready {
	out := make([]Ready, len(jobs))
	order := byDay(jobs)
	holds := map[string][]Reservation{}
	for _, i := range order {
		r := jobs[i]
		rd := &out[i]
		rd.Job = r.Job
		r.holds = holds
		v, err := s.Check(r)
		if err != nil {
			rd.Err = err
			continue
		}
		rd.Verdict, rd.Alone = v, v.Buildable
		if v.Buildable {
			rd.Holds = v.Stacks[0].Holds(&r)
			for _, h := range rd.Holds {
				holds[h.Item] = append(holds[h.Item], Reservation{Job: h.Job, From: h.From, To: h.To, Qty: h.Qty})
			}
			continue
		}
		alone, err := s.Check(jobs[i])
		if err != nil || !alone.Buildable {
			continue
		}
		rd.Alone = true
		rd.clash(&r, &alone.Stacks[0])
	}
	return out
}

// clash names what others hold of the stack a job would use.
func (rd *Ready) clash(r *Request, st *Stack) {
	for _, u := range st.Pieces {
		for _, v := range r.holds[u.ID()] {
			if v.against(r) {
				rd.Clashes = append(rd.Clashes, Clash{Item: u.ID(), With: v.Job, From: v.From, To: v.To})
			}
		}
	}
}

// against reports whether a reservation is another job's on the request's days.
func (v *Reservation) against(r *Request) bool {
	return v.Job != r.Job && v.To >= r.NeedDate && v.From <= r.last()
}

// Together is Readiness for jobs whose verdicts by themselves are known, alone in the same order,
// at the shelf's present turn; its entries hold no verdict. It costs little: what cannot be built
// alone cannot be built beside others, and a stack of whose parts nobody else takes any on its
// days stays the best.
func (s *Shelf) Together(jobs []Request, alone []Verdict) []Ready {
	s.mu.RLock()
	defer s.mu.RUnlock()
	out := make([]Ready, len(jobs))
	holds, taken := map[string][]Reservation{}, map[string][]Reservation{} // by item, by part
	for _, i := range byDay(jobs) {
		r, rd := jobs[i], &out[i]
		rd.Job, rd.Alone = r.Job, alone[i].Buildable
		if !rd.Alone {
			continue
		}
		r.holds = holds
		best := &alone[i].Stacks[0]
		if slices.ContainsFunc(best.Pieces, func(u Used) bool {
			return slices.ContainsFunc(taken[u.Part.Code], func(v Reservation) bool { return v.against(&r) })
		}) {
			q := newSearch(s, &r, modeStrict, 1)
			if found := q.run(); len(found) > 0 {
				st := q.stack(&found[0])
				best = &st
			} else {
				rd.clash(&r, best)
				best = nil
			}
			q.done()
			if best == nil {
				continue
			}
		}
		rd.Holds = best.Holds(&r)
		for _, h := range rd.Holds {
			v := Reservation{Job: h.Job, From: h.From, To: h.To, Qty: h.Qty}
			holds[h.Item] = append(holds[h.Item], v)
			for _, u := range best.Pieces {
				if u.ID() == h.Item {
					taken[u.Part.Code] = append(taken[u.Part.Code], v)
				}
			}
		}
	}
	return out
}

// byDay orders jobs by need date, then as given.
func byDay(jobs []Request) []int {
	order := make([]int, len(jobs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(jobs[a].NeedDate, jobs[b].NeedDate) })
	return order
}
