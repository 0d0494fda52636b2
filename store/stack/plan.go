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
		for _, u := range alone.Stacks[0].Pieces {
			for _, v := range holds[u.ID()] {
				if v.Job != r.Job && v.To >= r.NeedDate && v.From <= r.last() {
					rd.Clashes = append(rd.Clashes, Clash{Item: u.ID(), With: v.Job, From: v.From, To: v.To})
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
