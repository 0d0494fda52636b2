package reorder

import (
	"fmt"
	"sort"
)

// A Loan is one use of a piece that comes back: out from From to To, both days included.
type Loan struct{ From, To Day }

// A Refusal is a request that found no piece. Days is how long it would have been out; 0:
// not known, the mean of the loans is taken.
type Refusal struct {
	Day  Day
	Days int
}

// A Reuse says how many pieces of a reusable part are needed at once. Consumption says
// nothing about a bar: it comes back.
type Reuse struct {
	Requests, Refused int
	Peak              int       // most pieces wanted on one day, refused requests included
	InUse             float64   // mean pieces out
	Load              float64   // mean pieces wanted, refused requests included
	Days              []float64 // Days[k] is the share of days with k pieces wanted
	Observed          int       // least number with which the wished share of requests would have been served
	Erlang            int       // the same by Erlang's loss formula from Load
	Need              int       // the answer
}

// fewRequests is where observation alone is trusted. Common practice, no source.
const fewRequests = 30

// PiecesNeeded looks at loans and refusals between two days (both included, at most ten
// years) and returns how many pieces would serve the share service (0..1) of requests.
// From thirty requests on the answer is the observed number; below, the larger of the
// observed and of Erlang's, for a short history has not seen its worst day.
//
// Source: Erlang's loss formula, B(c) = a B(c-1) / (c + a B(c-1)).
func PiecesNeeded(loans []Loan, refused []Refusal, from, to Day, target float64) (Reuse, error) {
	if err := service("service", target); err != nil {
		return Reuse{}, err
	}
	if from.absurd() || to.absurd() || to < from || to-from > 3660 {
		return Reuse{}, &BadInput{"days", fmt.Sprintf("%v to %v", from, to), "must run forward, ten years at most", "check the two days"}
	}
	length, wanted := 0, make([]Loan, 0, len(loans)+len(refused))
	for i, l := range loans {
		if l.To < l.From {
			return Reuse{}, &BadInput{fmt.Sprintf("loans[%d]", i), fmt.Sprintf("%v to %v", l.From, l.To), "ends before it begins", "check the two days"}
		}
		length += int(l.To-l.From) + 1
		wanted = append(wanted, l)
	}
	mean := 1
	if len(loans) > 0 {
		mean = max(1, (length+len(loans)/2)/len(loans))
	}
	out := Reuse{Refused: len(refused)}
	for i, r := range refused {
		if r.Days < 0 || r.Days > 3660 {
			return Reuse{}, &BadInput{fmt.Sprintf("refused[%d]", i), fmt.Sprint(r.Days), "must be from 0 to 3660 days", "give 0 if not known"}
		}
		d := r.Days
		if d == 0 {
			d = mean
		}
		wanted = append(wanted, Loan{r.Day, r.Day + Day(d) - 1})
	}
	n := int(to-from) + 1
	count := func(list []Loan) []int {
		step := make([]int, n+1)
		for _, l := range list {
			a, b := max(l.From, from), min(l.To, to)
			if a <= b {
				step[a-from]++
				step[b-from+1]--
			}
		}
		for i := 1; i < n; i++ {
			step[i] += step[i-1]
		}
		return step[:n]
	}
	for _, k := range count(loans) {
		out.InUse += float64(k) / float64(n)
	}
	perDay := count(wanted)
	for _, k := range perDay {
		out.Peak = max(out.Peak, k)
		out.Load += float64(k) / float64(n)
	}
	out.Days = make([]float64, out.Peak+1)
	for _, k := range perDay {
		out.Days[k] += 1 / float64(n)
	}
	// What each request met on its first day, itself included.
	sort.SliceStable(wanted, func(i, j int) bool { return wanted[i].From < wanted[j].From })
	met := make([]int, 0, len(wanted))
	var ends []Day // of earlier loans still out
	for _, l := range wanted {
		still := ends[:0]
		for _, e := range ends {
			if e >= l.From {
				still = append(still, e)
			}
		}
		ends = append(still, l.To)
		if l.From >= from && l.From <= to {
			met = append(met, len(ends))
		}
	}
	if out.Requests = len(met); out.Requests == 0 {
		out.Observed = out.Peak
	} else {
		sort.Ints(met)
		out.Observed = met[ceil(target*float64(len(met)))-1]
	}
	out.Erlang = erlang(out.Load, 1-target)
	if out.Need = out.Observed; out.Requests < fewRequests {
		out.Need = max(out.Observed, out.Erlang)
	}
	return out, nil
}

// erlang is the least number of pieces with which at most the share loss is refused.
func erlang(load, loss float64) int {
	b, c := 1.0, 0
	for b > loss && load > 0 {
		c++
		b = load * b / (float64(c) + load*b)
	}
	return c
}
