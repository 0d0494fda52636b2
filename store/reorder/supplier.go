package reorder

import (
	"sort"
	"time"
)

// A Supplier takes orders on some days of the week.
type Supplier struct {
	ID       string
	CutOffs  []time.Weekday // empty: any day
	MinOrder Money          // least worth of an order; no currency: none
}

// A Wish is one line to be ordered.
type Wish struct {
	Part, Supplier string
	Pieces         int
	Price          Money // a piece; no currency: not known
	OrderBy        Day
}

// A Batch is one order in the making: what goes to one supplier on one cut-off day.
type Batch struct {
	Supplier string
	CutOff   Day
	Late     bool    // something in it should have gone out earlier
	Wishes   []Wish  // the most urgent first
	Total    []Money // one a currency, by its letters
	Unpriced int     // lines without a price, not in Total
	Missing  Money   // what the least worth lacks; no currency: nothing, or it cannot be told
}

// Group sorts wishes into batches by supplier and by the last cut-off day that is not
// after the wish's day; where that has passed, the next one from today on, and the batch
// is late. Batches come soonest first, then by supplier. A supplier that is not listed
// takes orders any day.
func Group(wishes []Wish, suppliers []Supplier, today Day) ([]Batch, error) {
	known := make(map[string]Supplier, len(suppliers))
	for _, s := range suppliers {
		if s.MinOrder != (Money{}) {
			if err := s.MinOrder.check("least order of " + s.ID); err != nil {
				return nil, err
			}
		}
		known[s.ID] = s
	}
	type key struct {
		supplier string
		day      Day
	}
	at := make(map[key]*Batch)
	for _, w := range wishes {
		if err := whole("pieces of "+w.Part, float64(w.Pieces), 1); err != nil {
			return nil, err
		}
		if w.Price != (Money{}) {
			if err := w.Price.check("price of " + w.Part); err != nil {
				return nil, err
			}
		}
		day := cutOff(known[w.Supplier].CutOffs, w.OrderBy, today)
		b := at[key{w.Supplier, day}]
		if b == nil {
			b = &Batch{Supplier: w.Supplier, CutOff: day}
			at[key{w.Supplier, day}] = b
		}
		b.Late = b.Late || day > w.OrderBy
		b.Wishes = append(b.Wishes, w)
		if w.Price.Currency == "" {
			b.Unpriced++
		} else {
			b.add(w.Price.times(float64(w.Pieces)))
		}
	}
	out := make([]Batch, 0, len(at))
	for _, b := range at {
		sort.SliceStable(b.Wishes, func(i, j int) bool { return b.Wishes[i].OrderBy < b.Wishes[j].OrderBy })
		least := known[b.Supplier].MinOrder
		if least.Currency != "" && b.Unpriced == 0 && len(b.Total) == 1 && b.Total[0].Currency == least.Currency && b.Total[0].Cents < least.Cents {
			b.Missing = Money{least.Cents - b.Total[0].Cents, least.Currency}
		}
		out = append(out, *b)
	}
	sort.Slice(out, func(i, j int) bool {
		if out[i].CutOff != out[j].CutOff {
			return out[i].CutOff < out[j].CutOff
		}
		return out[i].Supplier < out[j].Supplier
	})
	return out, nil
}

func (b *Batch) add(m Money) {
	i := sort.Search(len(b.Total), func(i int) bool { return b.Total[i].Currency >= m.Currency })
	if i < len(b.Total) && b.Total[i].Currency == m.Currency {
		b.Total[i].Cents += m.Cents
		return
	}
	b.Total = append(b.Total, Money{})
	copy(b.Total[i+1:], b.Total[i:])
	b.Total[i] = m
}

// cutOff is the last of the weekdays at or before by that is not before today, or else the
// first one from today on.
func cutOff(days []time.Weekday, by, today Day) Day {
	takes := func(d Day) bool {
		for _, w := range days {
			if d.Time().Weekday() == w {
				return true
			}
		}
		return len(days) == 0
	}
	for d := by; d > by-7 && d >= today; d-- {
		if takes(d) {
			return d
		}
	}
	for d := today; d < today+7; d++ {
		if takes(d) {
			return d
		}
	}
	return today // weekdays that do not exist: any day
}
