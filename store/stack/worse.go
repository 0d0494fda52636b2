package stack

import (
	"fmt"
	"math"
)

// Easier fills v.Worse with a yes to an easier question: dry, at less pressure, less deep,
// another insert. Each says what changes; none is offered where the machine or a part forbids
// it. It asks the shelf some dozens of times, so it is for a verdict that a person reads, not
// for every keystroke. A buildable verdict is left alone.
func (s *Shelf) Easier(r Request, v *Verdict) {
	if v.Buildable || r.Validate() != nil {
		return
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	v.Worse = nil
	s.worse(&r, v)
}

func (s *Shelf) worse(r *Request, v *Verdict) {
	try := func(what string, easier Request, say func(*Stack) string) bool {
		if easier.Validate() != nil {
			return false
		}
		q := newSearch(s, &easier, modeStrict, 1)
		defer q.done()
		if all := q.run(); len(all) > 0 {
			st := q.stack(&all[0])
			v.Worse = append(v.Worse, Worse{What: what, Changes: say(&st), Stack: st})
			return true
		}
		return false
	}
	if r.Coolant {
		if bar := s.bestPressure(r); bar > 0 {
			easier := *r
			easier.CoolantBar = bar
			try("lower_pressure", easier, func(*Stack) string {
				return fmt.Sprintf("at %s bar instead of %s bar it can be built: chips may not be carried out", num(bar), num(r.CoolantBar))
			})
		}
		easier := *r
		easier.Coolant, easier.CoolantBar = false, 0
		try("build_dry", easier, func(*Stack) string { return "without coolant it can be built: heat and chips stay in the bore" })
	}
	if d := s.reachable(r); d > 0 {
		easier := *r
		easier.Depth = d
		try("less_deep", easier, func(st *Stack) string {
			return fmt.Sprintf("%s mm of the %s mm depth can be bored: the rest from the other side, or with another tool", num(d), num(r.Depth))
		})
	}
	seats := map[string]string{}
	for k, list := range s.index {
		if k.side == Machine && k.family == Pocket && k.code != seatKey(r.Insert.Seat) && len(list) > 0 {
			seats[k.code] = list[0].part.Seat()
		}
	}
	const mostSeats = 12 // enough for a shop's pockets of one size; a bound for a page
	n := 0
	for _, k := range sortedKeys(seats) {
		// The same shape keeps the cutting edge angles of the job.
		if len(k) < 2 || len(r.Insert.Seat) < 2 || k[0] != seatKey(r.Insert.Seat)[0] {
			continue
		}
		if n++; n > mostSeats {
			break
		}
		easier := *r
		easier.Insert.Seat = seats[k]
		if try("other_insert", easier, func(*Stack) string {
			return fmt.Sprintf("with insert pocket %s instead of %s it can be built: other edge length and thickness, new cutting data", seats[k], r.Insert.Seat)
		}) {
			break
		}
	}
}

// bestPressure returns the highest pressure under the one asked at which a stack can be built,
// 0 when there is none.
func (s *Shelf) bestPressure(r *Request) float64 {
	easier := *r
	easier.CoolantBar = 0
	best := 0.0
	// Every rating on the way up is a step; each search answers the best line it found.
	for range 8 {
		q := newSearch(s, &easier, modeStrict, K)
		defer q.done() // at most eight
		all := q.run()
		if len(all) == 0 {
			return best
		}
		step := 0.0
		for i := range all {
			if rt := q.routeOf(&all[i]); rt.Limit.Known {
				step = max(step, rt.Limit.V)
			}
		}
		step = min(step, r.Station.CoolantMaxBar.Or(0), r.CoolantBar)
		if step <= best || step >= r.CoolantBar {
			return best
		}
		best = step
		easier.CoolantBar = math.Nextafter(step, inf)
	}
	return best
}

// reachable returns the greatest whole depth in mm under the one asked that can be bored, 0
// when there is none of at least half. More depth never makes a stack buildable that less
// does not, except under a damped bar's shortest overhang, which only moves it out.
func (s *Shelf) reachable(r *Request) float64 {
	can := func(d float64) bool {
		easier := *r
		easier.Depth = d
		if easier.Validate() != nil {
			return false
		}
		q := newSearch(s, &easier, modeStrict, 1)
		defer q.done()
		return len(q.run()) > 0
	}
	lo, hi := math.Ceil(r.Depth/2), math.Ceil(r.Depth)-1
	if lo > hi || !can(lo) {
		return 0
	}
	for lo < hi {
		mid := math.Ceil((lo + hi) / 2)
		if can(mid) {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return lo
}
