package reorder

import "fmt"

// A Noun is what is counted, for sentences: {"edge", "edges"}.
type Noun struct{ One, Many string }

// Count is "1 edge" or "34 edges".
func (n Noun) Count(k int) string {
	if k == 1 {
		return "1 " + n.One
	}
	return fmt.Sprintf("%d %s", k, n.Many)
}

func (n Noun) or(otherwise Noun) Noun {
	if n.One == "" || n.Many == "" {
		return otherwise
	}
	return n
}

// An Arrival is what is on order and still open.
type Arrival struct {
	Units        int // > 0
	Ordered, Due Day
}

// A PriceBreak is one line of a supplier's price list: from Min pieces on, a piece costs
// Price.
type PriceBreak struct {
	Min   int
	Price Money
}

// Terms are how a part is bought. Quantities are pieces.
type Terms struct {
	Pack          int          // pieces in a pack, >= 1
	MinOrder      int          // pieces, >= 0
	UnitsPerPiece int          // edges of an insert; 1 for what is counted as it is bought
	Prices        []PriceBreak // rising; none: no price is known
	OrderCost     Money        // of placing one order; used only with prices
	Carrying      float64      // share of the price a year that keeping costs, 0..2
}

func (t Terms) check() error {
	if err := first(whole("pack", float64(t.Pack), 1), whole("min_order", float64(t.MinOrder), 0),
		whole("units_per_piece", float64(t.UnitsPerPiece), 1)); err != nil {
		return err
	}
	if t.Pack > 1_000_000 || t.MinOrder > 1_000_000_000 || t.UnitsPerPiece > 1000 {
		return &BadInput{"pack", fmt.Sprintf("%d, minimum %d, %d units a piece", t.Pack, t.MinOrder, t.UnitsPerPiece), "is beyond any supplier", "check the unit"}
	}
	if !(t.Carrying >= 0 && t.Carrying <= 2) {
		return &BadInput{"carrying_rate", show(t.Carrying), "must be a share of the price a year", "write 0.2 for 20 %"}
	}
	if len(t.Prices) == 0 {
		return nil
	}
	if err := t.OrderCost.check("order cost"); err != nil {
		return err
	}
	for i, p := range t.Prices {
		if err := p.Price.check(fmt.Sprintf("price[%d]", i)); err != nil {
			return err
		}
		if p.Price.Currency != t.OrderCost.Currency {
			return &BadInput{fmt.Sprintf("price[%d]", i), p.Price.String(), "is in another currency than the order cost, " + t.OrderCost.Currency, "enter both in one currency"}
		}
	}
	return t.list().check()
}

// list is the price list in whole money of its currency.
func (t Terms) list() PriceList {
	l := PriceList{Carrying: t.Carrying}
	for _, p := range t.Prices {
		l.Breaks = append(l.Breaks, Break{float64(p.Min), float64(p.Price.Cents) / 100})
	}
	return l
}

// price is what one piece costs when pieces are bought at once; the first line if even
// that asks for more.
func (t Terms) price(pieces int) Money {
	if len(t.Prices) == 0 {
		return Money{}
	}
	m := t.Prices[0].Price
	for _, p := range t.Prices {
		if pieces >= p.Min {
			m = p.Price
		}
	}
	return m
}

// inPacks rounds pieces up to what the supplier sells.
func (t Terms) inPacks(pieces int) int {
	least := t.MinOrder
	if len(t.Prices) > 0 {
		least = max(least, t.Prices[0].Min)
	}
	pieces = max(pieces, least, 1)
	return (pieces + t.Pack - 1) / t.Pack * t.Pack
}

// A Part is what buying knows of one part on one day. Quantities are units unless they say
// pieces.
type Part struct {
	ID, Name    string
	Unit, Pack  Noun // piece and pack if empty
	OnHand      int
	Promised    int // reserved for jobs, or owed to people who wait
	OnOrder     []Arrival
	Since       Day // from when on withdrawals are recorded
	Withdrawals []Withdrawal
	Jobs        []JobPlan
	Unscheduled []float64 // per week from now, share of usual job work not yet scheduled; nil: none
	Lead        Lead      // from Leads
	Terms       Terms
	Service     float64 // wished share of order cycles without a shortage
}

func (p Part) check(today Day) error {
	if err := first(service("service", p.Service), p.Terms.check()); err != nil {
		return err
	}
	if p.Lead.Plan < 0 || p.Lead.Plan > 3650 {
		return &BadInput{"lead time", fmt.Sprint(p.Lead.Plan), "must be from 0 to 3650 days", "measure it with Leads"}
	}
	for _, n := range []struct {
		field string
		n     int
	}{{"on hand", p.OnHand}, {"promised", p.Promised}} {
		if err := notNegative(n.field, float64(n.n)); err != nil {
			return err
		}
	}
	for i, a := range p.OnOrder {
		if a.Units <= 0 || a.Units > 1e9 {
			return &BadInput{fmt.Sprintf("on order[%d]", i), fmt.Sprint(a.Units), "must be at least 1", "close the line when it is filled"}
		}
		if a.Due.absurd() {
			return notDay(fmt.Sprintf("on order[%d] due", i), a.Due)
		}
	}
	for i, j := range p.Jobs {
		if j.Planned < 0 || j.Planned > 1e9 || j.Reserved < 0 || j.Reserved > 1e9 || !(j.SD >= 0 && j.SD <= 1e9) {
			return &BadInput{fmt.Sprintf("jobs[%d] %s", i, j.Job), fmt.Sprintf("planned %d, reserved %d, sd %s", j.Planned, j.Reserved, show(j.SD)), "must be from 0 to 1e9", "plan the job again"}
		}
		if j.Need.absurd() {
			return notDay(fmt.Sprintf("jobs[%d] %s need", i, j.Job), j.Need)
		}
	}
	for i, w := range p.Withdrawals {
		if w.Units > 1e9 || w.Units < -1e9 {
			return &BadInput{fmt.Sprintf("withdrawals[%d]", i), fmt.Sprint(w.Units), "is beyond any shelf", "reverse the booking"}
		}
		if w.Day.absurd() {
			return notDay(fmt.Sprintf("withdrawals[%d]", i), w.Day)
		}
	}
	for i, u := range p.Unscheduled {
		if !(u >= 0 && u <= 1) {
			return &BadInput{fmt.Sprintf("unscheduled[%d]", i), show(u), "is a share of the usual work", "write 0.5 for half"}
		}
	}
	if p.Since.absurd() || today.absurd() {
		return notDay("since or today", min(p.Since, today))
	}
	if p.Since > today {
		return &BadInput{"since", p.Since.String(), "lies after today, " + today.String(), "check the day"}
	}
	return nil
}

// absurd days, centuries away, would overflow the sums of days.
func (d Day) absurd() bool { return d > 100_000 || d < -100_000 }

func notDay(field string, d Day) error {
	return &BadInput{field, fmt.Sprint(int(d)), "is centuries away", "check the day"}
}

func (p Part) name() string {
	if p.Name != "" {
		return p.Name
	}
	return p.ID
}

// Rules are the habits of a shop. DefaultRules gives the usual ones.
type Rules struct {
	Review    int     // days between two looks, >= 0; they add to the lead time
	Soon      int     // days ahead that count as "order soon"
	Watch     int     // days ahead that count as "watch"
	Dead      int     // days without a movement after which a part is dead
	MuchWeeks float64 // weeks of cover beyond which it is too much
	KeepWeeks float64 // weeks of use that are fair to keep; also caps one order
	Alpha     float64 // smoothing of sizes and levels
	Beta      float64 // smoothing of intervals and probabilities
}

// DefaultRules are common practice, no source, but for the smoothing constants: 0.1 to 0.2
// is what Syntetos & Boylan 2005 advise for intermittent demand.
func DefaultRules() Rules {
	return Rules{Review: 1, Soon: 7, Watch: 28, Dead: 365, MuchWeeks: 104, KeepWeeks: 52, Alpha: 0.15, Beta: 0.1}
}

func (r Rules) check() error {
	for _, n := range []struct {
		field string
		n     int
	}{{"review", r.Review}, {"soon", r.Soon}, {"watch", r.Watch}, {"dead", r.Dead}} {
		if n.n < 0 || n.n > 3650 {
			return &BadInput{n.field, fmt.Sprint(n.n), "must be from 0 to 3650 days", "take the default rules"}
		}
	}
	return first(positive("weeks that are too much", r.MuchWeeks), positive("weeks to keep", r.KeepWeeks),
		smoothing("alpha", r.Alpha), smoothing("beta", r.Beta))
}
