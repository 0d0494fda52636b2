package reorder

import (
	"fmt"
	"math"
	"strings"
)

// A Level says how much an alert matters. Larger is worse.
type Level int

// From nothing to say to the worst.
const (
	Enough      Level = iota
	Dead              // not moved for a year and no job wants it
	TooMuch           // years of cover
	Watch             // within weeks, or a delivery is overdue
	OrderSoon         // within days
	OrderToday        // the position is at or below the point
	LateAlready       // even ordered today it may come after something has stopped
)

var levelWords = [...]string{"enough", "dead stock", "too much", "watch", "order soon", "order today", "late already"}

func (l Level) String() string {
	if l < 0 || int(l) >= len(levelWords) {
		return fmt.Sprintf("level %d", int(l))
	}
	return levelWords[l]
}

// MarshalText writes the words of the level.
func (l Level) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// UnmarshalText reads them.
func (l *Level) UnmarshalText(text []byte) error {
	for i, w := range levelWords {
		if w == string(text) {
			*l = Level(i)
			return nil
		}
	}
	return &BadInput{"level", clip(text), "is no level", "use one of: " + strings.Join(levelWords[:], ", ")}
}

// A Stop is what comes to a stand, and when, if nobody acts and use goes on as expected.
type Stop struct {
	Known bool // within the next 400 days
	Day   Day
	Job   string // empty: the shelf is empty for whoever comes
	Left  int    // what the job still needs, units
}

// An Alert is one sentence with its numbers, and the facts it was made from.
type Alert struct {
	Part     string
	Level    Level
	Sentence string // empty when the level is Enough
	Stop     Stop
	OrderBy  Day   // last day to order; meaningful from Watch on if an order is due within the watch
	Pieces   int   // to order
	Excess   int   // units too much
	Tied     Money // what they cost; no currency: no price is known
}

// alert finds the level, the day, and the words.
func alert(p Part, a Advice, needs []JobNeed, today Day, r Rules) Alert {
	out := Alert{Part: p.ID, Stop: stop(p, a, needs, today)}
	orderBy, trigger, wanted := orderDay(p, a, needs, today, r)
	overdue := Arrival{}
	for _, o := range p.OnOrder {
		if o.Due < today && (overdue.Units == 0 || o.Due < overdue.Due) {
			overdue = o
		}
	}
	behind := tooLate(p, out.Stop, today, r)
	switch {
	case behind, wanted && out.Stop.Known && out.Stop.Day < today+Day(p.Lead.Plan) && orderBy <= today:
		out.Level = LateAlready
	case wanted && orderBy <= today:
		out.Level = OrderToday
	case wanted && orderBy <= today+Day(r.Soon):
		out.Level = OrderSoon
	case wanted || overdue.Units > 0:
		out.Level = Watch
	default:
		out.Level, out.Excess = surplus(p, a, needs, today, r)
	}
	if wanted {
		out.OrderBy = orderBy
		short := ceil(float64(trigger-a.Position) / float64(p.Terms.UnitsPerPiece))
		out.Pieces = p.Terms.inPacks(short)
		if a.Forecast.Weekly > 0 {
			out.Pieces = max(out.Pieces, a.Quantity)
		}
	}
	if out.Excess > 0 {
		if price := p.Terms.price(0); price.Currency != "" {
			out.Tied = price.times(float64(out.Excess) / float64(p.Terms.UnitsPerPiece))
		}
	}
	out.Sentence = sentence(p, a, out, needs, overdue, behind, today)
	return out
}

// tooLate says whether something stops within the watch before what is on order comes:
// ordering more does not mend that, sending part of it sooner does.
func tooLate(p Part, s Stop, today Day, r Rules) bool {
	if !s.Known || s.Day > today+Day(r.Watch) {
		return false
	}
	for _, o := range p.OnOrder {
		if o.Due > s.Day {
			return true
		}
	}
	return false
}

// orderDay is the first day, today or within the watch, on which the position will have
// fallen to what must be covered: the statistical point plus what jobs need within the
// lead time from then on. It returns that need as well; false: not within the watch.
func orderDay(p Part, a Advice, needs []JobNeed, today Day, r Rules) (day Day, trigger int, ok bool) {
	z := 0.0
	if q, err := Z(p.Service); err == nil {
		z = math.Max(0, q)
	}
	stat := math.Max(0, float64(a.Point)-a.Forecast.Weekly*float64(p.Lead.Plan+r.Review)/7)
	i, jobs, variance := 0, 0, 0.0
	gap := 0
	if within, _ := due(needs, today+Day(p.Lead.Plan+r.Review)); a.JobUnits > within {
		gap = a.JobUnits - within // work that will come but is not scheduled yet
	}
	for d := today; d <= today+Day(r.Watch); d++ {
		for ; i < len(needs) && needs[i].Need <= d+Day(p.Lead.Plan); i++ {
			jobs += needs[i].Left
			variance += needs[i].SD * needs[i].SD
		}
		trigger = a.Point + jobs + gap + ceil(math.Hypot(stat, z*math.Sqrt(variance))-stat)
		left := float64(a.Position) - a.Forecast.Weekly*float64(d-today)/7
		// Without statistical demand nothing is lost by using the last one.
		if left < float64(trigger) || a.Point > 0 && left <= float64(trigger) {
			return d, trigger, true
		}
	}
	return 0, 0, false
}

// stop walks the days: free stock and arrivals against jobs and expected use. What is
// overdue from the supplier counts as coming tomorrow; the sentence says that it is late.
func stop(p Part, a Advice, needs []JobNeed, today Day) Stop {
	var in [aheadDays]int
	for _, o := range p.OnOrder {
		if at := max(1, int(o.Due-today)); at < aheadDays {
			in[at] += o.Units
		}
	}
	stock, use, i := float64(a.Free), a.Forecast.Weekly/7, 0
	if stock < 0 || stock == 0 && use > 0 {
		return Stop{Known: true, Day: today}
	}
	for n := range aheadDays {
		d := today + Day(n)
		stock += float64(in[n])
		if n > 0 {
			stock -= use
		}
		if stock < -1e-6 {
			return Stop{Known: true, Day: d}
		}
		for ; i < len(needs) && needs[i].Need <= d; i++ {
			if stock -= float64(needs[i].Left); stock < -1e-6 {
				return Stop{Known: true, Day: d, Job: needs[i].Job, Left: needs[i].Left}
			}
		}
	}
	return Stop{}
}

// surplus says whether a part nobody needs to order is dead or too much, and by how many
// units.
func surplus(p Part, a Advice, needs []JobNeed, today Day, r Rules) (Level, int) {
	if a.Free <= 0 {
		return Enough, 0
	}
	planned := false
	for _, j := range p.Jobs {
		planned = planned || !j.Closed
	}
	if !planned && today-lastMove(p) >= Day(r.Dead) {
		return Dead, a.Free
	}
	left := 0
	for _, n := range needs {
		left += n.Left
	}
	if a.Cover.Weekly > 0 && a.Cover.Weeks() > r.MuchWeeks {
		fair := max(a.Trigger+a.Quantity*p.Terms.UnitsPerPiece, ceil(a.Cover.Weekly*r.KeepWeeks)) + left
		if a.Free > fair {
			return TooMuch, a.Free - fair
		}
	}
	return Enough, 0
}

func lastMove(p Part) Day {
	last := p.Since
	for _, w := range p.Withdrawals {
		last = max(last, w.Day)
	}
	return last
}

// sentence tells it as a person would, numbers first, then what to do and what happens
// else.
func sentence(p Part, a Advice, out Alert, needs []JobNeed, overdue Arrival, behind bool, today Day) string {
	unit := p.Unit.or(Noun{"piece", "pieces"})
	tied := ""
	if out.Tied.Currency != "" {
		tied = ", " + out.Tied.String() + " tied up"
	}
	switch out.Level {
	case Enough:
		return ""
	case Dead:
		return fmt.Sprintf("%s: %s free, not moved since %s, no planned job%s", p.name(), unit.Count(a.Free), lastMove(p).Say(today), tied)
	case TooMuch:
		return fmt.Sprintf("%s: %s free, use is %s a week, that lasts %.0f weeks: %d more than is fair to keep%s",
			p.name(), unit.Count(a.Free), rate(a.Cover.Weekly), a.Cover.Weeks(), out.Excess, tied)
	}
	var s strings.Builder
	fmt.Fprintf(&s, "%s: %s free", p.name(), unit.Count(a.Free))
	if a.Position > a.Free {
		fmt.Fprintf(&s, " and %d on order", a.Position-a.Free)
	}
	if overdue.Units > 0 {
		fmt.Fprintf(&s, " (%d overdue since %s, ask the supplier)", overdue.Units, overdue.Due.Say(today))
	}
	s.WriteString(jobNeeds(out, needs, today))
	if a.Forecast.Weekly > 0.005 {
		fmt.Fprintf(&s, ", use without a job is %s a week, reorder point %d", rate(a.Forecast.Weekly), a.Point)
	}
	fmt.Fprintf(&s, ", supplier takes %s: ", p.Lead.Say())
	s.WriteString(act(p, out, overdue, behind, today))
	return s.String()
}

// act is what to do and what stops else.
func act(p Part, out Alert, overdue Arrival, behind bool, today Day) string {
	what, when := order(p, out.Pieces), "by "+out.OrderBy.Say(today)
	if out.OrderBy <= today {
		when = "today"
	}
	stops := ""
	if out.Stop.Known {
		who := "the shelf is empty"
		if out.Stop.Job != "" {
			who = out.Stop.Job + " stops"
		}
		stops = who + " " + out.Stop.Day.on(today)
	}
	switch {
	case behind:
		more := ""
		if out.Pieces > 0 {
			more = ", and order " + what + " " + when
		}
		return "what is on order comes too late, ask for part of it sooner" + more + "; else " + stops
	case out.Pieces == 0 && stops == "":
		return "nothing to order yet"
	case out.Pieces == 0:
		return "nothing to order yet; if it does not come, " + stops
	case out.Level == LateAlready:
		return fmt.Sprintf("order %s now and ask for express; %s, the supplier may take until %s",
			what, stops, (today + Day(p.Lead.Plan)).Say(today))
	case stops == "":
		return "order " + what + " " + when
	}
	return "order " + what + " " + when + ", else " + stops
}

// jobNeeds names the job that stops, or the next one, and what it needs.
func jobNeeds(out Alert, needs []JobNeed, today Day) string {
	before := 0
	for _, n := range needs {
		if out.Stop.Job != "" && n.Job != out.Stop.Job {
			before += n.Left
			continue
		}
		text := fmt.Sprintf(", %s needs %d by %s", n.Job, n.Left, n.Need.Say(today))
		if n.Reserved > 0 || n.Booked > 0 {
			text = fmt.Sprintf(", %s needs %d more by %s", n.Job, n.Left, n.Need.Say(today))
		}
		if before > 0 {
			text += fmt.Sprintf(" after %d for jobs before it", before)
		}
		return text
	}
	return ""
}

// order is what to put on the order: 1 box, 3 packs of 10, 2 pieces.
func order(p Part, pieces int) string {
	if p.Terms.Pack > 1 {
		pack := fmt.Sprintf("of %d", p.Terms.Pack)
		return p.Pack.or(Noun{"pack " + pack, "packs " + pack}).Count(pieces / p.Terms.Pack)
	}
	n := Noun{"piece", "pieces"}
	if p.Terms.UnitsPerPiece == 1 {
		n = p.Unit.or(n)
	}
	return n.Count(pieces)
}

// rate is units a week with as many digits as matter.
func rate(x float64) string {
	switch {
	case x >= 10:
		return fmt.Sprintf("%.0f", x)
	case x >= 0.1:
		return strings.TrimSuffix(fmt.Sprintf("%.1f", x), ".0")
	}
	return fmt.Sprintf("%.2f", x)
}
