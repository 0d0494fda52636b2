package reorder

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Tail is the share of deliveries that came within the lead time we plan with. Source:
// common practice, no source; the mean would be late every second time.
const Tail = 0.9

// Lead is what is known of the days between order and full delivery.
type Lead struct {
	Quoted      int // days as the supplier says; 0: not said
	N           int // measured deliveries
	Mean, SD    float64
	Least, Most int
	Plan        int // days to plan with
}

// mostRecent deliveries are looked at; older ones were another time.
const mostRecent = 20

// Leads measures a supplier. taken are the days of filled orders, oldest first, up to the
// receipt that filled them; waiting are the ages in days of orders still open. The plan is
// the slow tail: the nearest-rank quantile Tail of the last twenty. With fewer than three
// it is the slowest of them and the quote; an open order older than the plan lifts it to
// its age, for it will take at least that long. Neither quote nor delivery: a *BadInput.
func Leads(quoted int, taken, waiting []int) (Lead, error) {
	days := func(field string, n int) error {
		if n < 0 {
			return &BadInput{field, fmt.Sprint(n), "cannot be negative", "check that the receipt follows its order"}
		}
		if n > 3650 {
			return &BadInput{field, fmt.Sprint(n), "is longer than ten years", "check the dates"}
		}
		return nil
	}
	if err := days("lead time", quoted); err != nil {
		return Lead{}, err
	}
	for _, list := range [][]int{taken, waiting} {
		for _, n := range list {
			if err := days("lead time", n); err != nil {
				return Lead{}, err
			}
		}
	}
	if quoted == 0 && len(taken) == 0 && len(waiting) == 0 {
		return Lead{}, &BadInput{"lead time", "", "is neither quoted nor measured", "ask the supplier, or enter 1 for from stock in town"}
	}
	recent := append([]int(nil), taken[max(0, len(taken)-mostRecent):]...)
	sort.Ints(recent)
	l := Lead{Quoted: quoted, N: len(recent)}
	if l.N > 0 {
		l.Least, l.Most = recent[0], recent[l.N-1]
		for i, n := range recent { // Welford
			d := float64(n) - l.Mean
			l.Mean += d / float64(i+1)
			l.SD += d * (float64(n) - l.Mean)
		}
		l.SD = math.Sqrt(l.SD / math.Max(1, float64(l.N-1)))
	}
	if l.N >= 3 {
		l.Plan = recent[ceil(Tail*float64(l.N))-1]
	} else {
		l.Plan = max(quoted, l.Most)
	}
	for _, n := range waiting {
		l.Plan = max(l.Plan, n)
	}
	return l, nil
}

// Say is the lead time as a person says it: 9 to 21 days.
func (l Lead) Say() string {
	lo, hi := l.Least, max(l.Most, l.Plan)
	if l.N == 0 {
		lo = hi
	}
	switch {
	case lo == hi && lo == 1:
		return "1 day"
	case lo == hi:
		return fmt.Sprintf("%d days", lo)
	}
	return fmt.Sprintf("%d to %d days", lo, hi)
}

// ErrTooMany is the class of receipts larger than their order.
var ErrTooMany = errors.New("more received than ordered")

// A TooMany is a receipt of more than is still open. It is an ErrTooMany.
type TooMany struct{ Ordered, Before, Now int }

func (e *TooMany) Error() string {
	return fmt.Sprintf("%d received on %d still open (%d ordered, %d received before): confirm the surplus, or correct the count",
		e.Now, max(0, e.Ordered-e.Before), e.Ordered, e.Before)
}

func (e *TooMany) Unwrap() error { return ErrTooMany }

// A Line of an order may be delivered in parts.
type Line struct{ Ordered, Received int } // the same unit for both

// Open is what is still to come.
func (l Line) Open() int { return max(0, l.Ordered-l.Received) }

// Receive adds n (> 0). More than is open is a *TooMany unless a person is sure of it.
func (l Line) Receive(n int, sure bool) (Line, error) {
	if n <= 0 {
		return l, &BadInput{"received", fmt.Sprint(n), "must be at least 1", "send goods back by a return"}
	}
	if n > l.Open() && !sure {
		return l, &TooMany{l.Ordered, l.Received, n}
	}
	l.Received += n
	return l, nil
}
