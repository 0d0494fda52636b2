package reorder

import (
	"fmt"
	"math"
)

// A Break is one line of a price list: from Min pieces on, every piece costs Price.
type Break struct {
	Min   float64 // pieces, >= 1, rising from line to line
	Price float64 // money a piece, > 0, not rising
}

// A PriceList is an all-units discount with the cost of keeping a piece: either H, money a
// piece and year, or Carrying, the share of the price a year; exactly one is > 0.
type PriceList struct {
	Breaks      []Break
	H, Carrying float64
}

func (l PriceList) check() error {
	if len(l.Breaks) == 0 {
		return &BadInput{"breaks", "", "there is no price", "give at least [[1, price]]"}
	}
	for i, b := range l.Breaks {
		at := fmt.Sprintf("breaks[%d]", i)
		if err := first(positive(at+" quantity", b.Min), positive(at+" price", b.Price)); err != nil {
			return err
		}
		if i == 0 {
			continue
		}
		if before := l.Breaks[i-1]; b.Min <= before.Min {
			return &BadInput{at + " quantity", show(b.Min), "must be above the line before", "sort the list by quantity, each once"}
		} else if b.Price > before.Price {
			return &BadInput{at + " price", show(b.Price), "is dearer than for fewer pieces", "check the two prices"}
		}
	}
	if l.H > 0 && l.Carrying > 0 {
		return &BadInput{"H", show(l.H), "is given beside carrying_rate", "give only one of them"}
	}
	return first(notNegative("H", l.H), notNegative("carrying_rate", l.Carrying))
}

func (l PriceList) costs(d, s float64, i int) Costs {
	h := l.H
	if h == 0 {
		h = l.Carrying * l.Breaks[i].Price
	}
	return Costs{d, s, h}
}

// free says whether keeping costs so little that the formula would buy for ever.
func (l PriceList) free(d, s float64) bool {
	c := l.costs(d, s, len(l.Breaks)-1)
	return c.H == 0 || c.eoq() > most
}

// until is the first quantity that no longer belongs to line i.
func (l PriceList) until(i int) float64 {
	if i+1 < len(l.Breaks) {
		return l.Breaks[i+1].Min
	}
	return math.Inf(1)
}

// How a line of the price list competes.
const (
	AtEOQ      = "eoq"         // its EOQ lies inside its range
	AtBreak    = "break"       // raised to the least quantity of the line
	AboveRange = "above_range" // its EOQ is larger than the range: a cheaper line beats it
)

// A Candidate is the best order within one line of the price list.
type Candidate struct {
	Break
	EOQ   float64
	Kind  string  // AtEOQ, AtBreak, AboveRange
	Q     float64 // 0 when AboveRange
	Total float64 // money a year with the goods; 0 when AboveRange
}

// A Discounted order is the cheapest over a price list, goods included.
type Discounted struct {
	Status     Status
	Candidates []Candidate // one per line, in its order
	Q          float64
	Price      float64 // a piece
	Total      float64 // money a year, goods, orders and keeping
	BestWhole  int
	TotalWhole float64
}

// Discount returns the cheapest order of d pieces a year at s an order from a price list.
//
// Source: the all-units rule of Stevenson, Operations Management, and Nahmias, Production
// and Operations Analysis.
func Discount(d, s float64, l PriceList) (Discounted, error) {
	if err := first(notNegative("D", d), notNegative("S", s), l.check()); err != nil {
		return Discounted{}, err
	}
	if d == 0 {
		return Discounted{Status: OrderNothing}, nil
	}
	if l.free(d, s) {
		return Discounted{Status: NoFiniteOptimum}, nil
	}
	out := Discounted{Total: math.Inf(1), TotalWhole: math.Inf(1)}
	for i, b := range l.Breaks {
		c, end := l.costs(d, s, i), l.until(i)
		k := Candidate{Break: b, EOQ: c.eoq(), Kind: AtEOQ, Q: c.eoq()}
		switch {
		case k.Q < b.Min:
			k.Kind, k.Q = AtBreak, b.Min
		case k.Q >= end:
			k.Kind, k.Q = AboveRange, 0
		}
		if k.Q > 0 {
			k.Total = d*b.Price + c.relevant(k.Q)
			if k.Total < out.Total {
				out.Q, out.Price, out.Total = k.Q, b.Price, k.Total
			}
		}
		out.Candidates = append(out.Candidates, k)
		if n, ok := inRange(c, b.Min, end, 1, 1); ok {
			if t := d*b.Price + c.relevant(float64(n)); t < out.TotalWhole {
				out.BestWhole, out.TotalWhole = n, t
			}
		}
	}
	return out, nil
}

// inRange returns the cheapest number of packs whose pieces lie in [from, end), and not
// below least packs; false if the range holds no whole pack.
func inRange(c Costs, from, end, pack float64, least int) (int, bool) {
	lo, hi := max(1, least, ceil(from/pack)), mostWhole
	if !math.IsInf(end, 1) {
		hi = int(math.Min(math.Ceil(end/pack)-1, mostWhole))
	}
	if lo > hi {
		return 0, false
	}
	return cheapestMultiple(c, pack, lo, hi), true
}

// A DiscountedPacks order is the cheapest over a price list in whole packs.
type DiscountedPacks struct {
	Status Status
	Q      int // pieces
	Packs  int
	Price  float64 // a piece
	Total  float64 // money a year
}

// DiscountInPacks is Discount for whole packs of pack pieces (whole, >= 1), not below
// minOrder pieces. A price break that is not a whole number of packs moves up to the next.
func DiscountInPacks(d, s float64, l PriceList, pack, minOrder float64) (DiscountedPacks, error) {
	if err := first(notNegative("D", d), notNegative("S", s), l.check(),
		whole("pack", pack, 1), notNegative("min_order", minOrder)); err != nil {
		return DiscountedPacks{}, err
	}
	if d == 0 {
		return DiscountedPacks{Status: OrderNothing}, nil
	}
	if l.free(d, s) {
		return DiscountedPacks{Status: NoFiniteOptimum}, nil
	}
	out := DiscountedPacks{Total: math.Inf(1)}
	for i, b := range l.Breaks {
		c := l.costs(d, s, i)
		n, ok := inRange(c, b.Min, l.until(i), pack, ceil(minOrder/pack))
		if !ok {
			continue
		}
		if t := d*b.Price + c.relevant(float64(n)*pack); t < out.Total {
			out = DiscountedPacks{Q: n * int(pack), Packs: n, Price: b.Price, Total: t}
		}
	}
	return out, nil
}
