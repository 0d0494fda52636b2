package reorder

import (
	"cmp"
	"slices"
)

// A Withdrawal took units from the shelf for a job, or for none. A return is negative.
type Withdrawal struct {
	Day   Day
	Units int
	Job   string // empty: no job
}

// A JobPlan is what a job was planned to take of one part, in units.
type JobPlan struct {
	Job      string
	Planned  int     // over the whole job, >= 0
	Reserved int     // of it, promised on the shelf now and not yet withdrawn
	Need     Day     // when it must be there
	SD       float64 // scatter of the planned number, from the scatter of edge lives; 0: none known
	Closed   bool    // nothing more will be taken
}

// A JobNeed is what a job still requires.
type JobNeed struct {
	JobPlan
	Booked int // withdrawn so far, returns taken off
	Left   int // Planned - Booked - Reserved, never below 0
}

// Split gives every withdrawal to its job or to the statistical rest, never to both. What
// a job takes beyond its plan is no plan's doing and counts as rest, on the day it went
// beyond; a job that has no plan here is all rest. So plans of closed jobs must be handed
// in as long as their withdrawals are. What is already reserved is not needed again: it is
// off the free stock. rest is in the order of days, needs holds the open jobs with something left, soonest first.
func Split(ws []Withdrawal, jobs []JobPlan) (rest []Withdrawal, needs []JobNeed) {
	type tally struct{ planned, booked, over int }
	by := make(map[string]*tally, len(jobs))
	for _, j := range jobs {
		by[j.Job] = &tally{planned: max(0, j.Planned)}
	}
	byDay := func(a, b Withdrawal) int { return cmp.Compare(a.Day, b.Day) }
	if !slices.IsSortedFunc(ws, byDay) {
		ws = slices.Clone(ws)
		slices.SortStableFunc(ws, byDay)
	}
	rest = make([]Withdrawal, 0, len(ws))
	for _, w := range ws {
		j := by[w.Job]
		if w.Job == "" || j == nil {
			rest = append(rest, w)
			continue
		}
		j.booked += w.Units
		if over := max(0, j.booked-j.planned); over != j.over {
			rest = append(rest, Withdrawal{w.Day, over - j.over, w.Job})
			j.over = over
		}
	}
	for _, j := range jobs {
		n := JobNeed{JobPlan: j, Booked: by[j.Job].booked}
		n.Left = max(0, min(j.Planned, j.Planned-n.Booked)-max(0, j.Reserved))
		if !j.Closed && n.Left > 0 {
			needs = append(needs, n)
		}
	}
	slices.SortStableFunc(needs, func(a, b JobNeed) int { return cmp.Compare(a.Need, b.Need) })
	return rest, needs
}

// Ahead is what jobs will take over coming periods when only part of the work is scheduled
// yet: per period the larger of what is scheduled and of the usual rate of job work times
// the share of usual work not yet scheduled (0..1) - not their sum, for the work that will
// fill the gap is the same work. A missing share is 0: all is scheduled.
func Ahead(scheduled []float64, usual float64, unscheduled []float64) float64 {
	sum := 0.0
	for i, s := range scheduled {
		gap := 0.0
		if i < len(unscheduled) {
			gap = usual * max(0, min(1, unscheduled[i]))
		}
		sum += max(s, gap)
	}
	return sum
}

// weekly sums withdrawals into n weeks that end with the day last, oldest first. A week
// with more returned than taken is 0.
func weekly(ws []Withdrawal, last Day, n int) []float64 {
	out := make([]float64, n)
	for _, w := range ws {
		if ago := int(last-w.Day) / 7; w.Day <= last && ago < n {
			out[n-1-ago] += float64(w.Units)
		}
	}
	for i := range out {
		out[i] = max(0, out[i])
	}
	return out
}
