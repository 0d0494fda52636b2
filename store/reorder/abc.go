package reorder

import (
	"fmt"
	"math"
	"sort"
)

// A Value is what one part costs a year.
type Value struct {
	ID    string
	Use   float64 // pieces a year, >= 0
	Price float64 // money a piece, >= 0
}

// A Ranked part has its place in the order of money.
type Ranked struct {
	ID     string
	Value  float64 // money a year
	Share  float64 // running share up to and with this part; NaN when nothing was used
	Class  byte    // 'A', 'B' or 'C'
	Strict byte    // the class without the exception for the first part
}

// ServiceFor is the usual service level of a class: dear parts that move much get the most
// care. Common practice, no source; a shop sets its own.
func ServiceFor(class byte) float64 {
	switch class {
	case 'A':
		return 0.98
	case 'B':
		return 0.95
	}
	return 0.9
}

// ABC sorts parts by money a year, dearest first, equal ones in the order given, and
// returns the total. A part belongs to A while the running share with it is at most
// cutA, to B up to cutB, else to C; so the part that crosses a line goes below it. One
// exception: the first part is always A, or a single dominant part would be B. With
// nothing used at all everything is C. 0 < cutA < cutB < 1; 0.8 and 0.95 are usual.
func ABC(parts []Value, cutA, cutB float64) ([]Ranked, float64, error) {
	if !(cutA > 0 && cutA < cutB && cutB <= 1) {
		return nil, 0, &BadInput{"cutoffs", fmt.Sprintf("[%s, %s]", show(cutA), show(cutB)),
			"must rise between 0 and 1", "[0.8, 0.95] is usual"}
	}
	if len(parts) == 0 {
		return nil, 0, &BadInput{"items", "", "is empty", "give at least one part"}
	}
	rows := make([]Ranked, len(parts))
	total := 0.0
	for i, p := range parts {
		if err := first(notNegative(fmt.Sprintf("items[%d] use", i), p.Use), notNegative(fmt.Sprintf("items[%d] price", i), p.Price)); err != nil {
			return nil, 0, err
		}
		rows[i] = Ranked{ID: p.ID, Value: p.Use * p.Price}
		total += rows[i].Value
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].Value > rows[j].Value })
	run := 0.0
	for i := range rows {
		r := &rows[i]
		if total == 0 {
			r.Share, r.Class, r.Strict = math.NaN(), 'C', 'C'
			continue
		}
		run += r.Value
		r.Share = math.Min(1, run/total)
		const noise = 1e-12 // a sum of cents must not miss its line by rounding
		switch {
		case r.Share <= cutA+noise:
			r.Strict = 'A'
		case r.Share <= cutB+noise:
			r.Strict = 'B'
		default:
			r.Strict = 'C'
		}
		if r.Class = r.Strict; i == 0 {
			r.Class = 'A'
		}
	}
	return rows, total, nil
}
