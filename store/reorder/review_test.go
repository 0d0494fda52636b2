package reorder

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"
)

// today of these tests.
const today = Day(20_577) // 2026-05-04, a Monday

func eur(cents int64) Money { return Money{cents, "EUR"} }

// insert is an insert with two edges in boxes of ten, nothing used without a job.
func insert(edges int, jobs ...JobPlan) Part {
	lead, err := Leads(10, []int{9, 9, 12, 14, 21}, nil)
	if err != nil {
		panic(err)
	}
	return Part{
		ID: "L0000001", Name: "CNMG 120408 K20", Unit: Noun{"edge", "edges"}, Pack: Noun{"box", "boxes"},
		OnHand: edges, Since: today - 200, Lead: lead, Jobs: jobs, Service: 0.95,
		Terms: Terms{Pack: 10, UnitsPerPiece: 4, Prices: []PriceBreak{{1, eur(900)}}, OrderCost: eur(2000), Carrying: 0.2},
	}
}

func steady(n, every int) (ws []Withdrawal) {
	for d := today - 199; d <= today; d++ {
		if int(d)%every == 0 {
			ws = append(ws, Withdrawal{d, n, ""})
		}
	}
	return ws
}

func look(t *testing.T, p Part) Advice {
	t.Helper()
	a, err := Review(p, today, DefaultRules())
	if err != nil {
		t.Fatalf("Review(%s): %v", p.name(), err)
	}
	return a
}

func TestAlertSentences(t *testing.T) {
	job := func(planned int, need Day) JobPlan { return JobPlan{Job: "J-418", Planned: planned, Need: need} }
	screw := insert(12)
	screw.Name, screw.Unit, screw.Pack = "Screw M3.5", Noun{"screw", "screws"}, Noun{}
	screw.Terms.UnitsPerPiece = 1
	screw.Withdrawals = steady(3, 7)
	dry := screw
	dry.OnHand = 0
	rich := screw
	rich.OnHand = 4000
	coming := screw
	coming.OnHand, coming.OnOrder = 30, []Arrival{{20, today - 30, today - 5}}
	dead := insert(38)
	dead.Since = today - 425
	wanted := dead
	wanted.Jobs = []JobPlan{{Job: "J-9", Planned: 4, Need: today + 200}}
	late := insert(0, job(40, today+5))
	late.OnOrder = []Arrival{{40, today - 2, today + 20}}
	lateShort := late
	lateShort.OnOrder = []Arrival{{20, today - 2, today + 20}}
	booked := insert(34, job(86, today+22))
	booked.Withdrawals = []Withdrawal{{today - 3, 34, "J-418"}}
	two := insert(34, JobPlan{Job: "J-400", Planned: 30, Need: today + 10}, job(52, today+22))
	for _, tt := range []struct {
		name  string
		part  Part
		level Level
		says  string
	}{
		{"as a person would say it", insert(34, job(52, today+22)), OrderSoon,
			"CNMG 120408 K20: 34 edges free, J-418 needs 52 by 26 May, supplier takes 9 to 21 days: order 1 box by tomorrow, else J-418 stops on 26 May"},
		{"what is booked is needed no more", booked, OrderSoon,
			"CNMG 120408 K20: 34 edges free, J-418 needs 52 more by 26 May, supplier takes 9 to 21 days: order 1 box by tomorrow, else J-418 stops on 26 May"},
		{"jobs before it are counted", two, OrderSoon,
			"CNMG 120408 K20: 34 edges free, J-418 needs 52 by 26 May after 30 for jobs before it, supplier takes 9 to 21 days: order 2 boxes by tomorrow, else J-418 stops on 26 May"},
		{"last day", insert(34, job(52, today+21)), OrderToday,
			"CNMG 120408 K20: 34 edges free, J-418 needs 52 by 25 May, supplier takes 9 to 21 days: order 1 box today, else J-418 stops on 25 May"},
		{"too late for the slow tail", insert(34, job(200, today+15)), LateAlready,
			"CNMG 120408 K20: 34 edges free, J-418 needs 200 by 19 May, supplier takes 9 to 21 days: order 5 boxes now and ask for express; J-418 stops on 19 May, the supplier may take until 25 May"},
		{"just enough", insert(52, job(52, today+15)), Enough, ""},
		{"far off", insert(34, job(52, today+300)), Enough, ""},
		{"in three weeks", insert(34, job(52, today+40)), Watch,
			"CNMG 120408 K20: 34 edges free, J-418 needs 52 by 13 June, supplier takes 9 to 21 days: order 1 box by 23 May, else J-418 stops on 13 June"},
		{"use alone", screw, OrderToday,
			"Screw M3.5: 12 screws free, use without a job is 3 a week, reorder point 15, supplier takes 9 to 21 days: order 6 packs of 10 today, else the shelf is empty on 2 June"},
		{"empty shelf", dry, LateAlready,
			"Screw M3.5: 0 screws free, use without a job is 3 a week, reorder point 15, supplier takes 9 to 21 days: order 6 packs of 10 now and ask for express; the shelf is empty today, the supplier may take until 25 May"},
		{"years of it", rich, TooMuch,
			"Screw M3.5: 4000 screws free, use is 3 a week, that lasts 1333 weeks: 3844 more than is fair to keep, 34,596.00 EUR tied up"},
		{"overdue", coming, Watch,
			"Screw M3.5: 30 screws free and 20 on order (20 overdue since 29 April, ask the supplier), use without a job is 3 a week, reorder point 15, supplier takes 9 to 21 days: nothing to order yet; if it does not come, the shelf is empty on 29 August"},
		{"no move for 14 months", dead, Dead,
			"CNMG 120408 K20: 38 edges free, not moved since 5 March 2025, no planned job, 85.50 EUR tied up"},
		{"no move, but a job wants it", wanted, Enough, ""},
		{"on order after the need, and too little", lateShort, LateAlready,
			"CNMG 120408 K20: 0 edges free and 20 on order, J-418 needs 40 by 9 May, supplier takes 9 to 21 days: what is on order comes too late, ask for part of it sooner, and order 1 box today; else J-418 stops on 9 May"},
		{"on order, but after the need", late, LateAlready,
			"CNMG 120408 K20: 0 edges free and 40 on order, J-418 needs 40 by 9 May, supplier takes 9 to 21 days: what is on order comes too late, ask for part of it sooner; else J-418 stops on 9 May"},
	} {
		a := look(t, tt.part)
		if a.Alert.Level != tt.level || a.Alert.Sentence != tt.says {
			t.Errorf("%s: %v\n got %s\nwant %v\n     %s", tt.name, a.Alert.Level, a.Alert.Sentence, tt.level, tt.says)
		}
	}
}

// Of 38 items idle for 14 months 5 have a planned job: 33 are proposed.
func TestDeadStock(t *testing.T) {
	n := 0
	for i := range 38 {
		p := insert(10)
		p.Since = today - 425
		if i < 5 {
			p.Jobs = []JobPlan{{Job: "J-1", Planned: 2, Need: today + 100}}
		}
		if look(t, p).Alert.Level == Dead {
			n++
		}
	}
	if n != 33 {
		t.Errorf("%d of 38 are dead stock, want 33", n)
	}
}

// Order 50, received 10: still 40 open. More than that is asked about.
func TestLeadTimes(t *testing.T) {
	l, err := Leads(7, []int{6, 7, 8, 19, 21}, nil)
	if err != nil || l.Plan != 21 || math.Abs(l.Mean-12.2) > 1e-9 {
		t.Errorf("Leads plan %d, mean %v, %v; want 21 and 12.2", l.Plan, l.Mean, err)
	}
	if l.Say() != "6 to 21 days" {
		t.Errorf("Say() = %q", l.Say())
	}
	if l, _ := Leads(7, []int{6, 7, 8, 9, 9}, []int{40}); l.Plan != 40 {
		t.Errorf("an order open for 40 days gives a plan of %d", l.Plan)
	}
	if l, _ := Leads(14, []int{6}, nil); l.Plan != 14 {
		t.Errorf("one quick delivery makes the plan %d, want the quote 14", l.Plan)
	}
	tail := make([]int, 20) // one slow one in twenty is not the tail of 0.9, two are more than it
	for i := range tail {
		tail[i] = 5
	}
	tail[3] = 60
	if l, _ := Leads(0, tail, nil); l.Plan != 5 {
		t.Errorf("plan %d, want 5", l.Plan)
	}
	for _, bad := range [][]int{{-1}, {4000}} {
		if _, err := Leads(3, bad, nil); !errors.Is(err, ErrInput) {
			t.Errorf("Leads(%v) = %v", bad, err)
		}
	}
	if _, err := Leads(0, nil, nil); !errors.Is(err, ErrInput) {
		t.Errorf("Leads of nothing = %v", err)
	}
	line, err := Line{Ordered: 50}.Receive(10, false)
	if err != nil || line.Open() != 40 {
		t.Errorf("open %d, %v; want 40", line.Open(), err)
	}
	if _, err := line.Receive(41, false); !errors.Is(err, ErrTooMany) || !strings.Contains(err.Error(), "41 received on 40 still open") {
		t.Errorf("Receive(41) = %v", err)
	}
	if line, err := line.Receive(41, true); err != nil || line.Open() != 0 || line.Received != 51 {
		t.Errorf("sure: %+v, %v", line, err)
	}
	if d, err := CalendarDays(10, 5); d != 14 || err != nil {
		t.Errorf("CalendarDays(10, 5) = %d, %v", d, err)
	}
}

// Use rose from 6 to 15 a week, lead 10 working days, safety 8: 38 instead of 20.
func TestPropose(t *testing.T) {
	old := Basis{6, 14, 8}
	now := Basis{15, 14, 8}
	p, ok := Propose("P", Levels{old.Point(), 20, old}, Levels{now.Point(), 20, now})
	want := "use rose from 6 to 15 a week, lead time is 14 days, safety is 8: reorder at 38 instead of 20"
	if !ok || p.Why != want || p.Old.Point != 20 || p.New.Point != 38 {
		t.Errorf("Propose = %+v, %v; want %q", p, ok, want)
	}
	if _, ok := Propose("P", Levels{38, 20, now}, Levels{39, 21, now}); ok {
		t.Error("a change of one is proposed")
	}
}

// Insert A 12 at 10 a week = 1.2 weeks; insert B 60 at 1 a month = 260 weeks.
func TestCover(t *testing.T) {
	a, b := Cover{"A", 12, 10}, Cover{"B", 60, 12.0 / 52}
	if w := a.Weeks(); math.Abs(w-1.2) > 1e-9 {
		t.Errorf("A lasts %v weeks", w)
	}
	if w := b.Weeks(); math.Abs(w-260) > 1e-9 {
		t.Errorf("B lasts %v weeks", w)
	}
	short, long := ByCover([]Cover{b, a, {"C", 0, 0}, {"D", 5, 0}}, 2)
	if short[0].ID != "A" || long[0].ID != "D" || long[1].ID != "B" {
		t.Errorf("ByCover = %v, %v", short, long)
	}
}

func TestSplit(t *testing.T) {
	ws := []Withdrawal{
		{today - 9, 5, ""}, {today - 8, 10, "J-1"}, {today - 7, 6, "J-1"}, {today - 6, 4, "J-2"},
		{today - 5, 3, "J-unknown"}, {today - 4, -2, "J-1"},
	}
	rest, needs := Split(ws, []JobPlan{
		{Job: "J-1", Planned: 12, Need: today}, {Job: "J-2", Planned: 20, Reserved: 5, Need: today + 3},
		{Job: "J-3", Planned: 9, Need: today + 1, Closed: true}, {Job: "J-4", Planned: 7, Need: today + 1},
	})
	sum := 0
	for _, w := range rest {
		sum += w.Units
	}
	// 5 without a job, 3 of an unknown one, 16 - 2 of J-1 are 2 beyond its 12.
	if sum != 10 {
		t.Errorf("rest is %d, want 10: %v", sum, rest)
	}
	if len(needs) != 2 || needs[0].Job != "J-4" || needs[0].Left != 7 || needs[1].Job != "J-2" || needs[1].Left != 11 {
		t.Errorf("needs = %+v, want J-4 7 and J-2 11", needs)
	}
}

func TestAhead(t *testing.T) {
	// Two weeks scheduled fully, the third half: the larger of 4 and 10 * 0.5, never 9.
	if got := Ahead([]float64{12, 8, 4}, 10, []float64{0, 0, 0.5}); got != 25 {
		t.Errorf("Ahead = %v, want 25", got)
	}
	p := insert(0)
	for w := range 28 {
		job := "J-" + string(rune('a'+w))
		p.Withdrawals = append(p.Withdrawals, Withdrawal{today - Day(7*w) - 1, 10, job})
		p.Jobs = append(p.Jobs, JobPlan{Job: job, Planned: 10, Need: today - Day(7*w) - 1, Closed: true})
	}
	a := look(t, p)
	if a.Forecast.Weekly != 0 || a.JobWeekly != 10 || a.JobUnits != 0 {
		t.Errorf("planned work counts as %v a week without a job, %v with; need %d", a.Forecast.Weekly, a.JobWeekly, a.JobUnits)
	}
	p.Unscheduled = []float64{0, 0, 1, 1} // nothing is scheduled in weeks 3 and 4
	if a = look(t, p); a.JobUnits != 20 {
		t.Errorf("two unscheduled weeks at 10 need %d, want 20", a.JobUnits)
	}
}

// Variances of jobs and rest add: the safety of both is less than the sum of the two.
func TestSafetyAdds(t *testing.T) {
	p := insert(500, JobPlan{Job: "J", Planned: 60, Need: today + 5, SD: 12})
	alone := look(t, p)
	if want := 1.6448536269514722 * 12; math.Abs(alone.Safety-want) > 1e-6 {
		t.Errorf("safety of a job alone %v, want %v", alone.Safety, want)
	}
	p.Withdrawals = steady(3, 7)
	both := look(t, p)
	p.Jobs = nil
	rest := look(t, p)
	if math.Abs(both.Safety-math.Hypot(alone.Safety, rest.Safety)) > 1e-6 {
		t.Errorf("safety of both %v, of each %v and %v", both.Safety, alone.Safety, rest.Safety)
	}
}

func TestMethods(t *testing.T) {
	for _, tt := range []struct {
		name   string
		ws     []Withdrawal
		method string
		class  Class
		dist   string
	}{
		{"every week alike", steady(3, 7), "smoothing", Smooth, "poisson"},
		{"a box now and then", steady(10, 30), "SBA", Intermittent, "compound poisson"},
		{"a thousand a week", steady(1000, 7), "smoothing", Smooth, "normal"},
		{"never", nil, "none", NoDemand, "none"},
	} {
		p := insert(0)
		p.Withdrawals = tt.ws
		a := look(t, p)
		if a.Forecast.Method != tt.method || a.Forecast.Class != tt.class || a.Distribution != tt.dist {
			t.Errorf("%s: %s, %s, %s", tt.name, a.Forecast.Class, a.Forecast.Method, a.Distribution)
		}
	}
	// A part that died decays; SBA would hold it high for ever.
	p := insert(0)
	p.Since = today - 720
	for d := today - 720; d < today-400; d += 21 {
		p.Withdrawals = append(p.Withdrawals, Withdrawal{d, 10, ""})
	}
	if a := look(t, p); a.Forecast.Method != "TSB" || a.Forecast.Weekly > 0.05 {
		t.Errorf("dead part: %s, %v a week", a.Forecast.Method, a.Forecast.Weekly)
	}
}

func TestPiecesNeeded(t *testing.T) {
	// Three bars out at once on two days, one request refused on one of them.
	loans := []Loan{{today, today + 3}, {today + 2, today + 5}, {today + 3, today + 4}, {today + 8, today + 9}}
	r, err := PiecesNeeded(loans, []Refusal{{today + 3, 0}}, today, today+9, 0.9)
	if err != nil || r.Peak != 4 || r.Requests != 5 || r.Observed != 4 || math.Abs(r.InUse-1.2) > 1e-9 {
		t.Errorf("PiecesNeeded = %+v, %v", r, err)
	}
	// Erlang's loss formula is the Poisson chance of exactly c given at most c.
	for _, load := range []float64{0.5, 1.2, 5, 20} {
		for _, loss := range []float64{0.5, 0.1, 0.02} {
			c := erlang(load, loss)
			b := func(c int) float64 {
				return (poissonCDF(load, c) - poissonCDF(load, c-1)) / poissonCDF(load, c)
			}
			if b(c) > loss || b(c-1) <= loss {
				t.Errorf("erlang(%v, %v) = %d: loss %v, one less %v", load, loss, c, b(c), b(c-1))
			}
		}
	}
	if _, err := PiecesNeeded(nil, nil, today, today-1, 0.9); !errors.Is(err, ErrInput) {
		t.Error("days that run backward are taken")
	}
}

func TestSparePoint(t *testing.T) {
	s, err := SparePoint([]Follow{{"head", 10, 1, 26, 13}, {"bar", 2, 6, 1, 5}}, 30, 0.95)
	// 10*26/13 + 12/5 = 22.4 a year, 1.84 in 30 days: Poisson 95 % is 4, but a bar takes 6.
	if err != nil || s.Set != 6 || s.Point != 6 || math.Abs(s.PerYear-22.4) > 1e-9 {
		t.Errorf("SparePoint = %+v, %v", s, err)
	}
	if s, _ := SparePoint([]Follow{{"head", 100, 1, 26, 13}}, 30, 0.95); s.Point < 17 {
		t.Errorf("200 a year over 30 days: point %d is below the mean", s.Point)
	}
}

func TestRefusals(t *testing.T) {
	for _, tt := range []struct {
		name string
		harm func(*Part)
		says string
	}{
		{"95 for 0.95", func(p *Part) { p.Service = 95 }, "service 95: a service level lies between 0 and 1; write 0.95 if 95 % is meant"},
		{"negative lead", func(p *Part) { p.Lead.Plan = -3 }, "lead time -3: must be from 0 to 3650 days; measure it with Leads"},
		{"pack of nothing", func(p *Part) { p.Terms.Pack = 0 }, "pack 0: must be at least 1; give 1 or more"},
		{"no currency", func(p *Part) { p.Terms.Prices[0].Price.Currency = "" }, "price[0] 9.00: has no currency; write it with one, such as 9.00 EUR"},
		{"two currencies", func(p *Part) { p.Terms.Prices[0].Price.Currency = "CHF" }, "price[0] 9.00 CHF: is in another currency than the order cost, EUR; enter both in one currency"},
		{"rising price", func(p *Part) { p.Terms.Prices = []PriceBreak{{1, eur(900)}, {50, eur(950)}} }, "breaks[1] price 9.5: is dearer than for fewer pieces; check the two prices"},
		{"carrying 20", func(p *Part) { p.Terms.Carrying = 20 }, "carrying_rate 20: must be a share of the price a year; write 0.2 for 20 %"},
		{"half a share too much", func(p *Part) { p.Unscheduled = []float64{0.5, 50} }, "unscheduled[1] 50: is a share of the usual work; write 0.5 for half"},
		{"absurd booking", func(p *Part) { p.Withdrawals = []Withdrawal{{today, 1 << 40, ""}} }, "withdrawals[0] 1099511627776: is beyond any shelf; reverse the booking"},
		{"negative stock", func(p *Part) { p.OnHand = -1 }, "on hand -1: cannot be negative; give 0 or more"},
	} {
		p := insert(1)
		tt.harm(&p)
		_, err := Review(p, today, DefaultRules())
		var bad *BadInput
		if !errors.As(err, &bad) || !errors.Is(err, ErrInput) || err.Error() != tt.says {
			t.Errorf("%s: %v; want %s", tt.name, err, tt.says)
		}
	}
}

func TestSnooze(t *testing.T) {
	a := Alert{Part: "P", Level: OrderSoon, Stop: Stop{Known: true, Day: today + 30}}
	s, err := NewSnooze(a, "Ilka", "offer is coming", today, today+5)
	if err != nil {
		t.Fatal(err)
	}
	if !s.Quiet(a, today+5) || s.Quiet(a, today+6) {
		t.Error("sleeps for the wrong days")
	}
	worseLevel, earlier := a, a
	worseLevel.Level = OrderToday
	earlier.Stop.Day--
	if s.Quiet(worseLevel, today) || s.Quiet(earlier, today) {
		t.Error("sleeps through what got worse")
	}
	for name, err := range map[string]error{
		"no reason": second(NewSnooze(a, "Ilka", " ", today, today+5)),
		"nobody":    second(NewSnooze(a, "", "why", today, today+5)),
		"past":      second(NewSnooze(a, "Ilka", "why", today, today)),
		"for ever":  second(NewSnooze(a, "Ilka", "why", today, today+91)),
	} {
		if !errors.Is(err, ErrInput) {
			t.Errorf("%s: %v", name, err)
		}
	}
	last := &Sent{today, a.Level, a.Stop}
	if Due(a, last, nil, today) || !Due(a, last, nil, today+1) || !Due(worseLevel, last, nil, today) || Due(a, nil, &s, today) || Due(Alert{}, nil, nil, today) {
		t.Error("Due sends at the wrong time")
	}
}

func second[T any](_ T, err error) error { return err }

func TestGroup(t *testing.T) {
	suppliers := []Supplier{{"Nord", []time.Weekday{1, 4}, eur(10_000)}} // Monday and Thursday
	got, err := Group([]Wish{
		{"a", "Nord", 10, eur(500), today + 2}, // Wednesday: out on Monday, today
		{"b", "Nord", 1, eur(100), today + 4},  // Friday: out on Thursday
		{"c", "Nord", 2, eur(200), today},
		{"d", "Sued", 1, Money{}, today - 3}, // any day, late
		{"e", "Nord", 1, Money{1, "CHF"}, today + 9},
	}, suppliers, today)
	if err != nil || len(got) != 4 {
		t.Fatalf("Group = %+v, %v", got, err)
	}
	if b := got[0]; b.Supplier != "Nord" || b.CutOff != today || len(b.Wishes) != 2 || b.Wishes[0].Part != "c" || b.Total[0] != eur(5400) || b.Missing != eur(4600) || b.Late {
		t.Errorf("first batch %+v", b)
	}
	if b := got[1]; b.Supplier != "Sued" || !b.Late || b.Unpriced != 1 {
		t.Errorf("second batch %+v", b)
	}
	if b := got[2]; b.CutOff != today+3 || b.Total[0] != eur(100) {
		t.Errorf("third batch %+v", b)
	}
	if _, err := Group([]Wish{{"a", "Nord", 10, Money{Cents: 5}, today}}, nil, today); !errors.Is(err, ErrInput) {
		t.Errorf("a price without a currency is taken: %v", err)
	}
}

func TestMoney(t *testing.T) {
	if got := eur(123456789).String(); got != "1,234,567.89 EUR" {
		t.Error(got)
	}
	if got := eur(-5).String(); got != "-0.05 EUR" {
		t.Error(got)
	}
}

// A piece on hand is not free when it is promised, and at the point is time to order.
func TestPositionAgainstPoint(t *testing.T) {
	p := insert(15)
	p.Terms.UnitsPerPiece = 1
	p.Withdrawals = steady(3, 7)
	if a := look(t, p); a.Point != 15 || a.Position != 15 || a.Alert.Level != OrderToday {
		t.Errorf("position %d at point %d: %v", a.Position, a.Point, a.Alert.Level)
	}
	p.OnHand = 16
	if a := look(t, p); a.Alert.Level != OrderSoon {
		t.Errorf("one above the point: %v, want order soon", a.Alert.Level)
	}
	p.OnHand, p.Promised = 40, 25
	if a := look(t, p); a.Free != 15 || a.Position != 15 || a.Alert.Level != OrderToday {
		t.Errorf("40 on hand, 25 promised: free %d, %v", a.Free, a.Alert.Level)
	}
	p.OnHand, p.Promised, p.OnOrder = 15, 0, []Arrival{{30, today - 3, today + 6}}
	if a := look(t, p); a.Position != 45 || a.Alert.Level >= OrderSoon {
		t.Errorf("30 on order: position %d, %v", a.Position, a.Alert.Level)
	}
}

// A cheap screw: the formula alone would buy for nine years.
func TestOrderIsCapped(t *testing.T) {
	p := insert(0)
	p.Withdrawals = steady(3, 7)
	p.Terms = Terms{Pack: 10, UnitsPerPiece: 1, Prices: []PriceBreak{{1, eur(1)}}, OrderCost: eur(1500), Carrying: 0.2}
	e, err := InPacks(Costs{3 * 365.25 / 7, 15, 0.002}, 10, 0)
	if err != nil || e.Q < 9*156 {
		t.Fatalf("the formula asks for %d, %v", e.Q, err)
	}
	if a := look(t, p); a.Quantity != 160 {
		t.Errorf("order of %d, want a year's 156 in packs of ten", a.Quantity)
	}
}

// Four quiet loans say little: Erlang's formula keeps more than was seen.
func TestFewLoansAskErlang(t *testing.T) {
	var loans []Loan
	for i := range 4 {
		loans = append(loans, Loan{today + Day(10*i), today + Day(10*i+8)})
	}
	r, err := PiecesNeeded(loans, nil, today, today+39, 0.95)
	if err != nil || r.Observed != 1 || r.Erlang != 4 || r.Need != 4 {
		t.Errorf("%+v, %v; want 1 seen, 4 by Erlang: at a load of 0.9 three lose 5.01 %%", r, err)
	}
	for i := range 36 {
		loans = append(loans, Loan{today + Day(40+10*i), today + Day(40+10*i+8)})
	}
	if r, err = PiecesNeeded(loans, nil, today, today+399, 0.95); err != nil || r.Need != 1 {
		t.Errorf("%+v, %v; forty loans one after the other need 1", r, err)
	}
}

func TestPriceAtTheBreak(t *testing.T) {
	terms := Terms{Pack: 1, UnitsPerPiece: 1, Prices: []PriceBreak{{1, eur(900)}, {50, eur(800)}}}
	for pieces, cents := range map[int]int64{0: 900, 49: 900, 50: 800, 51: 800} {
		if got := terms.price(pieces); got != eur(cents) {
			t.Errorf("price(%d) = %v", pieces, got)
		}
	}
}

// A value equal to a cut-off counts as below it.
func TestClassBoundaries(t *testing.T) {
	demand := make([]float64, 33) // 25 of 33: 1.32 periods a demand
	for i := range 25 {
		demand[i] = 4
	}
	if c, err := Classify(demand); err != nil || c.ADI != CutADI || c.Class != Smooth {
		t.Errorf("at ADI %v: %s, %v", c.ADI, c.Class, err)
	}
	if c, err := Classify([]float64{3, 17}); err != nil || c.CV2Population != CutCV2 || c.ClassPopulation != Smooth {
		t.Errorf("at cv2 %v: %s, %v", c.CV2Population, c.ClassPopulation, err)
	}
	if c, _ := Classify(append(demand, 0)); c.Class != Intermittent {
		t.Errorf("above ADI 1.32: %s", c.Class)
	}
}

// One unit is no reason to disturb anybody, even if it is a third.
func TestProposeLeavesOneAlone(t *testing.T) {
	if p, ok := Propose("P", Levels{Point: 2, Quantity: 10}, Levels{Point: 3, Quantity: 10}); ok {
		t.Errorf("proposed: %s", p.Why)
	}
	if _, ok := Propose("P", Levels{Point: 2, Quantity: 10}, Levels{Point: 2, Quantity: 30}); !ok {
		t.Error("three times the quantity is not proposed")
	}
}

// Use that never varied in two years may still come by chance: at least Poisson.
func TestFastMoversAreNeverCertain(t *testing.T) {
	p := insert(0)
	p.Withdrawals = steady(1000, 7)
	a := look(t, p)
	mean := 1000.0 * 22 / 7
	if want := mean + 1.6448536269514722*math.Sqrt(mean); math.Abs(float64(a.Point)-want) > 1 {
		t.Errorf("point %d, want %.1f", a.Point, want)
	}
}
