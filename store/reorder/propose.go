package reorder

import (
	"fmt"
	"math"
)

// Levels are the numbers that stand in the books for one part, and what they were set
// from. They change only when a person accepts a proposal.
type Levels struct {
	Point    int // units
	Quantity int // pieces
	Basis    Basis
}

// A Basis is what levels rest on.
type Basis struct {
	Weekly float64 // units a week without a job
	Lead   int     // days planned with
	Safety float64 // units
}

// Point is the use over the lead time and the safety stock, rounded up.
func (b Basis) Point() int { return max(0, ceil(b.Weekly*float64(b.Lead)/7+b.Safety)) }

// LevelsOf are the levels that advice would set.
func LevelsOf(a Advice, lead Lead) Levels {
	return Levels{a.Point, a.Quantity, Basis{a.Forecast.Weekly, lead.Plan, math.Max(0, float64(a.Point)-a.Forecast.Weekly*float64(lead.Plan)/7)}}
}

// A Proposal shows old, new, and why.
type Proposal struct {
	Part     string
	Old, New Levels
	Why      string
}

// Propose compares levels with those that would be right now. A difference below a tenth
// and below two units in the point, and no change of quantity by a quarter, is not worth a
// person's time: false.
func Propose(part string, old, now Levels) (Proposal, bool) {
	if !apart(old.Point, now.Point, 0.1, 2) && !apart(old.Quantity, now.Quantity, 0.25, 1) {
		return Proposal{}, false
	}
	b, o := now.Basis, old.Basis
	use := fmt.Sprintf("use is %s a week", rate(b.Weekly))
	if rate(b.Weekly) != rate(o.Weekly) {
		use = fmt.Sprintf("use %s from %s to %s a week", verb(b.Weekly > o.Weekly), rate(o.Weekly), rate(b.Weekly))
	}
	lead := fmt.Sprintf("lead time is %d days", b.Lead)
	if b.Lead != o.Lead {
		lead = fmt.Sprintf("lead time %s from %d to %d days", verb(b.Lead > o.Lead), o.Lead, b.Lead)
	}
	safety := fmt.Sprintf("safety is %s", rate(b.Safety))
	if rate(b.Safety) != rate(o.Safety) {
		safety = fmt.Sprintf("safety %s from %s to %s", verb(b.Safety > o.Safety), rate(o.Safety), rate(b.Safety))
	}
	why := fmt.Sprintf("%s, %s, %s: reorder at %d instead of %d", use, lead, safety, now.Point, old.Point)
	if now.Quantity != old.Quantity {
		why += fmt.Sprintf(", %d at a time instead of %d", now.Quantity, old.Quantity)
	}
	return Proposal{part, old, now, why}, true
}

func verb(up bool) string {
	if up {
		return "rose"
	}
	return "fell"
}

// apart: by at least least, and by at least the share of the larger one.
func apart(a, b int, share float64, least int) bool {
	d := max(a-b, b-a)
	return d >= least && float64(d) >= share*float64(max(a, b))
}
