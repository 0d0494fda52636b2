package store

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"brasspeg/store/reorder"
)

// A BuyLine is what buying says of one part on one day. It is not changed once made.
type BuyLine struct {
	ID         PartID
	Code, Name string
	Kind       string
	SupplierID SupplierID // 0: none is recorded
	Supplier   string     // code
	HomeID     PlaceID
	UnitsEach  int // edges of an insert, else 1
	Unit       reorder.Noun
	Pack       int
	Class      byte // of money: A, B, C
	Service    float64
	Price      reorder.Money // a piece, at the quantity advised; no currency: not known
	YearValue  float64       // money used up a year
	YearUse    float64       // pieces a year
	OnHand     int           // units that serve: on the shelf, of reusable pieces also those out
	Out, Held  int           // pieces
	Promised   int           // units
	OnOrder    int           // units
	Drafted    int           // pieces in drafts that nobody has approved
	Reusable   bool
	Reuse      reorder.Reuse // of reusable pieces
	Lead       reorder.Lead
	Guessed    bool // the lead time is neither quoted nor measured
	Advice     reorder.Advice
	Terms      reorder.Terms
	Needs      []reorder.JobNeed // what open jobs still require, soonest first
	Arrivals   []reorder.Arrival
	Levels     *LevelsRow        // accepted by a person; nil: never
	Now        reorder.Levels    // what would be right today
	Proposal   *reorder.Proposal // old, new and why; nil: nothing worth a change
	Snooze     *SnoozeRow        // of a sleeping alert, else nil
	Fault      string            // why no advice could be worked out; empty: it could
	today      reorder.Day
}

// Quiet says whether the alert sleeps today.
func (l *BuyLine) Quiet() bool { return l.Snooze != nil }

// Why says why the levels of today are what they are.
func (l *BuyLine) Why() string {
	if l.Proposal != nil {
		return l.Proposal.Why
	}
	return fmt.Sprintf("use is %.2g a week, lead time %d days, safety %.2g", l.Now.Basis.Weekly, l.Now.Basis.Lead, l.Now.Basis.Safety)
}

// nouns of what is counted and how it is packed.
func (p *buyPart) nouns() (unit, pack reorder.Noun) {
	unit = reorder.Noun{One: "piece", Many: "pieces"}
	if p.Edges > 0 {
		unit = reorder.Noun{One: "edge", Many: "edges"}
	}
	if p.Kind == "insert" {
		pack = reorder.Noun{One: "box", Many: "boxes"}
	}
	return unit, pack
}

// called is the name in a sentence: of an insert its designation and grade.
func (p *buyPart) called() string {
	if p.Kind == "insert" && p.Designation != "" {
		return strings.TrimSpace(p.Designation + " " + p.Grade)
	}
	return p.Code
}

func (p *buyPart) terms(r BuyRules) reorder.Terms {
	t := reorder.Terms{Pack: max(1, p.Pack), MinOrder: max(0, p.MinOrder), UnitsPerPiece: p.unitsEach(), Carrying: r.Carrying}
	switch {
	case len(p.prices) > 0:
		t.Prices = p.prices
	case p.PriceCents != nil:
		t.Prices = []reorder.PriceBreak{{Min: 1, Price: reorder.Money{Cents: *p.PriceCents, Currency: p.Currency}}}
	}
	if len(t.Prices) > 0 {
		t.OrderCost = reorder.Money{Cents: r.OrderCents, Currency: t.Prices[0].Price.Currency}
	}
	return t
}

// price is what a piece costs when so many are bought at once.
func priceAt(t reorder.Terms, pieces int) reorder.Money {
	var m reorder.Money
	for i, b := range t.Prices {
		if i == 0 || pieces >= b.Min {
			m = b.Price
		}
	}
	return m
}

// inPacks rounds pieces up to whole packs, not below the smallest order.
func inPacks(t reorder.Terms, pieces int) int {
	pieces = max(1, pieces, t.MinOrder)
	return (pieces + t.Pack - 1) / t.Pack * t.Pack
}

// rank sets the class of money of every part from the use of the last year.
func (b *buyBook) rank() error {
	byCurrency := map[string][]reorder.Value{}
	byCode := map[string]*buyPart{}
	for _, id := range b.byID {
		p := b.parts[id]
		p.class = 'C'
		t := p.terms(b.rules)
		use := p.yearUse(b.today())
		if len(t.Prices) == 0 || use <= 0 {
			continue
		}
		m := t.Prices[0].Price
		byCode[p.Code] = p
		byCurrency[m.Currency] = append(byCurrency[m.Currency], reorder.Value{ID: p.Code, Use: use, Price: float64(m.Cents) / 100})
	}
	for _, values := range byCurrency { // amounts of two currencies are never added
		ranked, _, err := reorder.ABC(values, 0.8, 0.95)
		if err != nil {
			return err
		}
		for _, r := range ranked {
			byCode[r.ID].class = r.Class
		}
	}
	return nil
}

// yearUse is pieces used a year, from at most the last year.
func (p *buyPart) yearUse(today reorder.Day) float64 {
	n, since := 0, min(p.since(today), today)
	from := max(today-363, since)
	for _, w := range p.moves {
		if w.Day >= from {
			n += w.Units
		}
	}
	if n <= 0 {
		return 0
	}
	return float64(n) / float64(p.unitsEach()) * 364 / math.Max(28, float64(today-from+1))
}

// since is from when on withdrawals of the part are on record.
func (p *buyPart) since(today reorder.Day) reorder.Day {
	since := min(today, reorder.DayOf(p.CreatedAt.Time))
	if len(p.moves) > 0 {
		since = min(since, p.moves[0].Day)
	}
	return since
}

// work makes the line of a part.
func (b *buyBook) work(p *buyPart) {
	today := b.today()
	unit, pack := p.nouns()
	l := &BuyLine{ID: p.ID, Code: p.Code, Name: p.Name, Kind: p.Kind, UnitsEach: p.unitsEach(), Unit: unit, Pack: max(1, p.Pack), Class: p.class,
		Service: b.rules.service(p.class), OnHand: p.onHand, Out: p.out, Held: p.held, Drafted: p.drafted, Reusable: p.reusable(),
		Lead: p.lead, Guessed: p.guessed, Terms: p.terms(b.rules), Levels: p.levels, Arrivals: p.open, today: today}
	if p.SupplierID != nil {
		if v := b.vendors[*p.SupplierID]; v != nil {
			l.SupplierID, l.Supplier = v.ID, v.Code
		}
	}
	if p.HomeID != nil {
		l.HomeID = *p.HomeID
	}
	p.line = l
	in := reorder.Part{ID: p.Code, Name: p.called(), Unit: unit, Pack: pack, OnHand: p.onHand, OnOrder: p.open, Since: p.since(today),
		Withdrawals: p.moves, Lead: p.lead, Terms: l.Terms, Service: l.Service}
	if n := len(p.moves); n > 0 && p.moves[n-1].Day > today { // booked after midnight of another zone
		in.Withdrawals = slices.Clone(p.moves)
		for i := range in.Withdrawals {
			in.Withdrawals[i].Day = min(in.Withdrawals[i].Day, today)
		}
	}
	for _, o := range p.open {
		l.OnOrder += o.Units
	}
	in.Jobs, in.Promised = b.plans(p)
	l.Promised = in.Promised
	if p.seat != "" {
		in.Unscheduled = b.unscheduled()
	}
	if l.Reusable {
		in.Promised = 0
		if used, ok := b.lastLoan(p, today); ok {
			in.Withdrawals = append(slices.Clone(in.Withdrawals), reorder.Withdrawal{Day: used}) // it is used, though it comes back
		}
	}
	_, l.Needs = reorder.Split(in.Withdrawals, in.Jobs)
	a, err := reorder.Review(in, today, b.rules.rules())
	if err != nil {
		l.Fault = badReorder(err, "part").Error()
		l.Advice = reorder.Advice{Part: p.Code, Free: p.onHand - in.Promised}
		return
	}
	l.Advice = a
	l.Now = reorder.LevelsOf(a, p.lead)
	l.YearUse = p.yearUse(today)
	l.Price = priceAt(l.Terms, max(a.Order, a.Quantity))
	l.YearValue = l.YearUse * float64(l.Price.Cents) / 100
	if l.Reusable {
		b.reuse(p, l)
	}
	b.followers(p, l)
	b.books(l)
	b.unpriced(l)
	if z := p.snooze; z != nil {
		sn := reorder.Snooze{Part: p.Code, Until: mustDay(z.UntilDay), Level: reorder.Level(z.Level)}
		if z.StopDay != "" {
			sn.Stop = reorder.Stop{Known: true, Day: mustDay(z.StopDay)}
		}
		if sn.Quiet(l.Advice.Alert, today) {
			l.Snooze = z
		}
	}
}

// unscheduled is, a week each from now on, the share of the usual job work that is not planned
// yet: none of it in a week in which a planned job begins, all of it in a week without one.
// Jobs that nobody has planned will come all the same.
func (b *buyBook) unscheduled() []float64 {
	out := make([]float64, historyWeeks)
	for i := range out {
		if i >= len(b.planned) || !b.planned[i] {
			out[i] = 1
		}
	}
	return out
}

// historyWeeks is as far as work that nobody has planned is looked ahead.
const historyWeeks = 104

// mustDay reads a day that the store wrote itself.
func mustDay(d Day) reorder.Day {
	day, err := reorder.ParseDay(string(d))
	if err != nil {
		return 0
	}
	return day
}

// plans are the jobs whose plan counts for a part, and the units promised and not yet taken.
func (b *buyBook) plans(p *buyPart) (plans []reorder.JobPlan, promised int) {
	booked := map[string]int{}
	if len(p.promised) > 0 || p.seat != "" {
		for _, w := range p.moves {
			if w.Job != "" {
				booked[w.Job] += w.Units
			}
		}
	}
	left := map[string]int{}
	for id, n := range p.promised {
		code := b.names[id]
		left[code] = max(0, n-max(0, booked[code]))
		promised += left[code]
	}
	if p.seat != "" {
		for _, j := range b.jobOrder {
			switch {
			case j.planFor == p.ID && j.rest != nil && !j.closed:
				// What it took so far was its own; what it still needs is known from the lives.
				plans = append(plans, reorder.JobPlan{Job: j.Code, Planned: max(0, booked[j.Code]) + j.rest.edges, Reserved: left[j.Code], Need: j.need, SD: j.rest.sd})
			case j.planFor == p.ID && j.edges > 0:
				plans = append(plans, reorder.JobPlan{Job: j.Code, Planned: j.edges, Reserved: left[j.Code], Need: j.need, SD: j.sd, Closed: j.closed})
			case (j.edges == 0 || j.rest != nil) && j.seat == p.seat && booked[j.Code] > 0:
				// A plan that nobody counted is not a plan of none: what the job took is its own,
				// or the jobs to come would be bought for twice.
				plans = append(plans, reorder.JobPlan{Job: j.Code, Planned: booked[j.Code], Need: j.need, Closed: true})
			}
		}
	}
	for _, k := range b.lacks[p.ID] {
		plans = append(plans, reorder.JobPlan{Job: k.job, Planned: 1, Need: k.need})
	}
	return plans, promised
}

func (b *buyBook) lastLoan(p *buyPart, today reorder.Day) (reorder.Day, bool) {
	if p.out > 0 {
		return today, true
	}
	last, ok := reorder.Day(0), false
	for _, l := range p.loans {
		if !ok || l.To > last {
			last, ok = l.To, true
		}
	}
	return last, ok
}

// reuse looks at a part that comes back: not how much is used up, but how many are wanted at
// once. Nothing is proposed while no request was refused: an idle bar is no reason for two.
func (b *buyBook) reuse(p *buyPart, l *BuyLine) {
	a := &l.Advice.Alert
	if a.Level == reorder.TooMuch {
		*a = reorder.Alert{Part: p.Code}
	}
	from := max(l.today-364, p.since(l.today))
	loans := slices.Clone(p.loans)
	for range p.out {
		loans = append(loans, reorder.Loan{From: l.today, To: l.today})
	}
	loans = slices.DeleteFunc(loans, func(x reorder.Loan) bool { return x.To < from })
	for i := range loans {
		loans[i].From = max(loans[i].From, from)
		loans[i].To = min(loans[i].To, l.today)
		loans[i].From = min(loans[i].From, loans[i].To)
	}
	r, err := reorder.PiecesNeeded(loans, p.refused, from, l.today, b.rules.ServiceReuse)
	if err != nil {
		l.Fault = badReorder(err, "part").Error()
		return
	}
	l.Reuse = r
	short := r.Need - p.onHand - l.OnOrder
	if r.Refused == 0 || short <= 0 || a.Level >= reorder.OrderSoon {
		return
	}
	*a = reorder.Alert{Part: p.Code, Level: reorder.OrderSoon, OrderBy: l.today + reorder.Day(b.rules.Soon), Pieces: inPacks(l.Terms, short)}
	a.Sentence = fmt.Sprintf("%s: %d in the shop, %d wanted at once on the busiest day, %d of %d requests since %s found none: to serve %.0f of 100 it takes %d: order %s",
		p.called(), p.onHand, r.Peak, r.Refused, r.Requests, from.Say(l.today), 100*b.rules.ServiceReuse, r.Need, l.Unit.Count(a.Pieces))
	l.Advice.Order = a.Pieces
}

// followers looks at a spare through the parts that need it: never less than one full set of
// the hungriest one in service, and what they all wear out over the lead time.
func (b *buyBook) followers(p *buyPart, l *BuyLine) {
	if len(p.wear) == 0 {
		return
	}
	var follow []reorder.Follow
	var first *buyPart
	served := 0
	for _, w := range p.wear {
		parent := b.parts[w.Parent]
		if parent == nil || parent.onHand <= 0 {
			continue
		}
		pieces := parent.onHand
		if !parent.reusable() {
			pieces /= parent.unitsEach()
		}
		served += pieces
		if first == nil || w.Qty > follow[0].PerPiece {
			first = parent
			follow = append([]reorder.Follow{{Parent: parent.Code, Pieces: pieces, PerPiece: w.Qty, Events: w.Events, Life: w.Life}}, follow...)
			continue
		}
		follow = append(follow, reorder.Follow{Parent: parent.Code, Pieces: pieces, PerPiece: w.Qty, Events: w.Events, Life: w.Life})
	}
	if first == nil {
		return
	}
	sp, err := reorder.SparePoint(follow, p.lead.Plan+b.rules.Review, l.Service)
	if err != nil {
		l.Fault = badReorder(err, "part").Error()
		return
	}
	l.Now.Point = max(l.Now.Point, sp.Point)
	a := &l.Advice
	a.Point = max(a.Point, sp.Point)
	// A full set on the shelf is enough; below it the next worn screw stops its parent. With
	// wear recorded the point is one to order at, as any other.
	if wears := sp.PerYear > 0; a.Position > sp.Point || !wears && a.Position >= sp.Set || a.Alert.Level >= reorder.OrderToday {
		return
	}
	short := max(1, sp.Point-a.Position)
	pieces := max(inPacks(l.Terms, short), a.Quantity)
	stop := reorder.Stop{}
	level := reorder.OrderToday
	if a.Free < follow[0].PerPiece {
		stop, level = reorder.Stop{Known: true, Day: l.today}, reorder.LateAlready
		if l.OnOrder > 0 {
			level = reorder.OrderToday
		}
	}
	onOrder := ""
	if l.OnOrder > 0 {
		onOrder = fmt.Sprintf(" and %d on order", l.OnOrder)
	}
	a.Alert = reorder.Alert{Part: p.Code, Level: level, Stop: stop, OrderBy: l.today, Pieces: pieces}
	a.Alert.Sentence = fmt.Sprintf("%s: %s free%s, %d in service need it (%s takes %d), supplier takes %s: order %s today, else the next %s that loses one stands still",
		p.called(), l.Unit.Count(a.Free), onOrder, served, first.called(), follow[0].PerPiece, p.lead.Say(), l.Unit.Count(pieces), first.Kind)
	a.Order = pieces
}

// books holds the position against the level a person accepted, and says when another one
// would be right. The level in the books orders too, though the figures would not yet.
func (b *buyBook) books(l *BuyLine) {
	if l.Reusable {
		return
	}
	if l.Levels == nil {
		if l.Now.Point > 0 {
			l.Proposal = &reorder.Proposal{Part: l.Code, New: l.Now, Why: fmt.Sprintf("no level was ever set: reorder at %d, %d at a time", l.Now.Point, l.Now.Quantity)}
		}
		return
	}
	old := l.Levels.levels()
	if pr, ok := reorder.Propose(l.Code, old, l.Now); ok {
		l.Proposal = &pr
	}
	a := &l.Advice
	if old.Point == 0 || a.Position > old.Point || a.Alert.Level >= reorder.OrderToday {
		return
	}
	pieces := max(inPacks(l.Terms, old.Quantity), 1)
	a.Alert.Level, a.Alert.OrderBy, a.Alert.Pieces, a.Order = reorder.OrderToday, l.today, pieces, pieces
	a.Alert.Sentence = fmt.Sprintf("%s: %s free and on order together, the level in the books is %d, supplier takes %s: order %s today",
		l.Code, l.Unit.Count(a.Position), old.Point, l.Lead.Say(), reorder.Noun{One: "piece", Many: "pieces"}.Count(pieces))
	if l.Now.Point < old.Point {
		a.Alert.Sentence += fmt.Sprintf("; by today's figures %d would do, see the proposal", l.Now.Point)
	}
}

// unpriced keeps the price of what is advised beside it.
func (b *buyBook) unpriced(l *BuyLine) {
	if l.Advice.Order > 0 {
		l.Price = priceAt(l.Terms, l.Advice.Order)
	}
}
