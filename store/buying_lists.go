package store

import (
	"cmp"
	"math"
	"slices"

	"brasspeg/store/reorder"
)

// Buying is the whole of buying on one day. Lines are by code.
type Buying struct {
	Day   Day
	Rules BuyRules
	Lines []*BuyLine
	Frees []Freed // single purchases that free planned jobs, the one that frees most first
	at    reorder.Day
}

// Today lists what is to be done, the worst first: late, today, soon, watch. What sleeps is
// left out and given apart.
func (b *Buying) Today() (list, asleep []*BuyLine) {
	for _, l := range b.Lines {
		switch {
		case l.Advice.Alert.Level < reorder.Watch:
		case l.Quiet():
			asleep = append(asleep, l)
		default:
			list = append(list, l)
		}
	}
	slices.SortStableFunc(list, urgent)
	slices.SortStableFunc(asleep, urgent)
	return list, asleep
}

func urgent(x, y *BuyLine) int {
	stop := func(l *BuyLine) reorder.Day {
		if l.Advice.Alert.Stop.Known {
			return l.Advice.Alert.Stop.Day
		}
		return math.MaxInt
	}
	a, b := x.Advice.Alert, y.Advice.Alert
	return cmp.Or(cmp.Compare(b.Level, a.Level), cmp.Compare(stop(x), stop(y)), cmp.Compare(a.OrderBy, b.OrderBy), cmp.Compare(x.Class, y.Class), cmp.Compare(x.Code, y.Code))
}

// Surplus lists what is dead or too much, the most money first.
func (b *Buying) Surplus() []*BuyLine {
	var list []*BuyLine
	for _, l := range b.Lines {
		if v := l.Advice.Alert.Level; v == reorder.Dead || v == reorder.TooMuch {
			list = append(list, l)
		}
	}
	slices.SortStableFunc(list, func(x, y *BuyLine) int {
		return cmp.Or(cmp.Compare(y.Advice.Alert.Tied.Cents, x.Advice.Alert.Tied.Cents), cmp.Compare(x.Code, y.Code))
	})
	return list
}

// Cover lists the n parts whose free stock lasts shortest and longest; what comes back is in
// neither.
func (b *Buying) Cover(n int) (shortest, longest []*BuyLine) {
	by := make(map[string]*BuyLine, len(b.Lines))
	var covers []reorder.Cover
	for _, l := range b.Lines { // what is not used at all lasts for ever; it is on the list of the dead
		if l.Reusable || l.Fault != "" || l.Advice.Cover.Weekly <= 0 {
			continue
		}
		c := l.Advice.Cover
		c.ID = l.Code
		by[l.Code] = l
		covers = append(covers, c)
	}
	short, long := reorder.ByCover(covers, n)
	pick := func(cs []reorder.Cover) (out []*BuyLine) {
		for _, c := range cs {
			out = append(out, by[c.ID])
		}
		return out
	}
	return pick(short), pick(long)
}

// Proposals lists the levels that would be right and are not in the books.
func (b *Buying) Proposals() []*BuyLine {
	var list []*BuyLine
	for _, l := range b.Lines {
		if l.Proposal != nil {
			list = append(list, l)
		}
	}
	return list
}

// ByMoney lists parts by money used up a year, dearest first; what has no use or no price is
// left out.
func (b *Buying) ByMoney() []*BuyLine {
	var list []*BuyLine
	for _, l := range b.Lines {
		if l.YearValue > 0 {
			list = append(list, l)
		}
	}
	slices.SortStableFunc(list, func(x, y *BuyLine) int {
		return cmp.Or(cmp.Compare(y.YearValue, x.YearValue), cmp.Compare(x.Code, y.Code))
	})
	return list
}
