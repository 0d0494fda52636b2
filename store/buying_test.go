package store

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"brasspeg/store/reorder"
)

// supplier makes a supplier with a quoted lead time in days.
func (s *shop) supplier(code string, lead int) Vendor {
	s.t.Helper()
	_, err := s.SetVendor(ctx, op(s.boss), Vendor{Supplier: Supplier{Code: code, Name: code + " Tools", LeadDays: lead}})
	s.must(err)
	v, err := s.Vendor(ctx, code)
	s.must(err)
	return v
}

// bought makes a part that is bought from a supplier in packs at a price in cents.
func (s *shop) bought(code, kind string, v Vendor, pack int, cents int64, home PlaceID, flat map[string]any) Part {
	s.t.Helper()
	flat["id"], flat["kind"] = code, kind
	in, err := PartFrom(flat, "entered")
	s.must(err)
	in.Part.Name, in.Part.SupplierID, in.Part.Pack, in.Part.MinOrder, in.Part.HomeID = code, &v.ID, pack, pack, &home
	if cents > 0 {
		in.Part.PriceCents, in.Part.Currency = &cents, "EUR"
	}
	if code == "INS-C12" {
		in.Part.Grade = "K20"
	}
	p, err := s.SavePart(ctx, s.boss.ID, in)
	s.must(err)
	return p
}

func (s *shop) cnmg(v Vendor, home PlaceID) Part {
	return s.bought("INS-C12", "insert", v, 10, 720, home, map[string]any{"designation": "CNMG 120408", "seat": "CNMG1204", "RE": 0.8, "edges": 4})
}

// jobNeeding makes a planned job that is to eat edges of a seat from a day on.
func (s *shop) jobNeeding(code string, edges int, seat string, re float64, from Day) Job {
	s.t.Helper()
	j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: code, FromDay: from, ToDay: from.Add(2), PartsQty: 100,
		Request: fmt.Sprintf(`{"edges_needed": %d, "insert": {"seat": %q, "RE": %g}}`, edges, seat, re)})
	s.must(err)
	return j
}

func (s *shop) line(p Part) *BuyLine {
	s.t.Helper()
	l, err := s.BuyLine(ctx, p.ID)
	s.must(err)
	if l.Fault != "" {
		s.t.Fatalf("%s: %s", p.Code, l.Fault)
	}
	return l
}

// order drafts, approves and, with days >= 0, receives pieces of a part after so many days.
func (s *shop) order(v Vendor, p Part, pieces int, days ...int) OrderView {
	s.t.Helper()
	r, err := s.NewOrder(ctx, op(s.gate), v.ID, s.Today(), "")
	s.must(err)
	code := r.Says
	_, err = s.SetLine(ctx, op(s.gate), LineIn{Order: code, Part: p.ID, Pieces: pieces, Seen: true})
	s.must(err)
	o, err := s.Order(ctx, code)
	s.must(err)
	_, err = s.ApproveOrder(ctx, op(s.boss), code, o.Version)
	s.must(err)
	for _, d := range days {
		s.clock.step(time.Duration(d) * 24 * time.Hour)
		_, err = s.ReceiveLine(ctx, op(s.gate), ReceiveLineIn{Line: o.Lines[0].ID, Qty: int64(pieces), Unit: "piece"})
		s.must(err)
	}
	o, err = s.Order(ctx, code)
	s.must(err)
	return o
}

// The sentence of the trade: edges free, what a job needs by when, how long the supplier
// takes, what to order by when. 9 edges part-used and 7 new inserts of 4 make 34 + ... edges.
func TestBuyingSaysWhy(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.bin("A1")
		home := s.bin("B1")
		v := s.supplier("ORRIN", 12)
		p := s.cnmg(v, home)
		for _, days := range []int{9, 14, 21} { // three deliveries, measured
			s.order(v, p, 10, days)
		}
		lot := s.line(p)
		if lot.OnHand != 120 || lot.Lead.Least != 9 || lot.Lead.Most != 21 || lot.Lead.Plan != 21 {
			t.Fatalf("on hand %d edges, lead %+v; want 120, 9 to 21, planned with 21", lot.OnHand, lot.Lead)
		}
		// 22 inserts go to a job that was planned to take them, so no statistics come of it.
		past := s.jobNeeding("J-400", 88, "CNMG1204", 0.8, s.Today())
		items, err := s.ItemsOf(ctx, p.ID)
		s.must(err)
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: items[0].ID, Qty: 22}}, To: s.op1.PlaceID, Job: past.ID})
		s.must(err)
		// One comes back with 2 of its 4 edges: 8 new x 4 + 2 = 34.
		two := 2
		_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: items[0].ID, Qty: 1}}, Edges: &two})
		s.must(err)
		need := s.Today().Add(22)
		s.jobNeeding("J-418", 52, "CNMG1204", 0.8, need)
		past.State = "closed"
		_, err = s.SaveJob(ctx, s.boss.ID, past)
		s.must(err)

		l := s.line(p)
		a := l.Advice
		if l.OnHand != 34 || a.Free != 34 {
			t.Errorf("on hand %d, free %d edges; want 34", l.OnHand, a.Free)
		}
		if a.Forecast.Weekly != 0 {
			t.Errorf("statistical use is %v a week; all of it was planned for a job", a.Forecast.Weekly)
		}
		day := mustDay(need).Say(mustDay(s.Today()))
		for _, want := range []string{"CNMG 120408 K20: 34 edges free", "J-418 needs 52 by " + day, "supplier takes 9 to 21 days", "order 1 box", "J-418 stops on " + day} {
			if !strings.Contains(a.Alert.Sentence, want) {
				t.Errorf("the sentence lacks %q: %s", want, a.Alert.Sentence)
			}
		}
		if a.Alert.Level < reorder.OrderSoon || a.Order != 10 {
			t.Errorf("level %v, order %d; want at least order soon and one box of 10", a.Alert.Level, a.Order)
		}
		s.sound()
	})
}

// Every withdrawal belongs to a job or to none: what a job takes beyond its plan is
// statistical, what is undone is no use at all.
func TestDemandCountsOnce(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 7)
		p := s.cnmg(v, home)
		lot := s.receive(p, 100, home)[0]
		job := s.jobNeeding("J-1", 40, "CNMG1204", 0.8, s.Today())
		issue := func(n int64, j JobID) Receipt {
			r, err := s.Issue(ctx, op(s.boss), IssueIn{Picks: []Pick{{Item: lot.ID, Qty: n}}, To: s.op1.PlaceID, Job: j})
			s.must(err)
			return r
		}
		issue(8, job.ID)  // 32 of 40 edges
		issue(4, job.ID)  // 8 more are planned, 8 are overuse
		issue(3, 0)       // 12 without a job
		r := issue(50, 0) // a mistake
		_, err := s.Reverse(ctx, op(s.boss), r.OpID, "wrong bin")
		s.must(err)
		l := s.line(p)
		b := &s.buying
		rest, needs := reorder.Split(b.parts[p.ID].moves, []reorder.JobPlan{{Job: "J-1", Planned: 40, Need: mustDay(s.Today())}})
		sum := 0
		for _, w := range rest {
			sum += w.Units
		}
		if sum != 20 || len(needs) != 0 {
			t.Errorf("statistical use %d edges, open needs %v; want 8 overuse + 12 without a job = 20, none", sum, needs)
		}
		if l.OnHand != (100-15)*4 {
			t.Errorf("on hand %d edges, want %d", l.OnHand, 85*4)
		}
		// A count's difference and goods sent back are no use.
		_, err = s.Count(ctx, op(s.gate), []CountIn{{Item: lot.ID, Place: home, Found: 80, Reason: "miscounted"}})
		s.must(err)
		s.line(p)
		after := 0
		for _, w := range b.parts[p.ID].moves {
			after += w.Units
		}
		if after != 15*4 {
			t.Errorf("withdrawals %d edges after a count, want %d", after, 60)
		}
	})
}

// A job that nobody counted edges for takes its own all the same: the use of jobs is not
// bought for twice, once as statistics and once as the next job's plan. What jobs will take
// beyond the last one planned is the usual job work.
func TestPlanlessJobs(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 28)
		p := s.cnmg(v, home)
		lot := s.receive(p, 300, home)[0]
		for i := range 20 {
			j := s.jobNeeding(fmt.Sprintf("J-%02d", i), 0, "CNMG1204", 0.8, s.Today())
			_, err := s.Issue(ctx, op(s.boss), IssueIn{Picks: []Pick{{Item: lot.ID, Qty: 5}}, To: s.op1.PlaceID, Job: j.ID})
			s.must(err)
			s.clock.step(7 * 24 * time.Hour)
			j.State = "closed"
			_, err = s.SaveJob(ctx, s.boss.ID, j)
			s.must(err)
		}
		a := s.line(p).Advice
		if a.Forecast.Weekly != 0 || a.JobWeekly < 19 || a.JobWeekly > 21 {
			t.Errorf("use without a job %v, by jobs %v edges a week; want 0 and 20", a.Forecast.Weekly, a.JobWeekly)
		}
		if a.JobUnits < 60 || a.JobUnits > 105 { // 28 days and the review, less this week, at 20 a week
			t.Errorf("nothing is planned, and jobs are expected to take %d edges over the lead time; want about 80", a.JobUnits)
		}
		s.jobNeeding("J-FAR", 30, "CNMG1204", 0.8, s.Today().Add(60))
		if b := s.line(p).Advice; b.JobUnits != a.JobUnits {
			t.Errorf("a job in 60 days changes what is expected in 29 from %d to %d", a.JobUnits, b.JobUnits)
		}
		s.jobNeeding("J-SOON", 70, "CNMG1204", 0.8, s.Today().Add(8))
		if b := s.line(p).Advice; b.JobUnits < a.JobUnits+48 || b.JobUnits > a.JobUnits+52 {
			t.Errorf("70 planned in a week that usually takes 20: %d, then %d; want about 50 more", a.JobUnits, b.JobUnits)
		}
	})
}

// The cache and a fresh reading of the whole ledger say the same after every kind of act.
func TestBuyingCacheAgrees(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 7)
		p := s.cnmg(v, home)
		sl := s.bought("SLV-1", "sleeve", v, 1, 4000, home, map[string]any{"DCONMS": 50, "DCONWS": 32, "LSC": 130, "unit": "mm", "type": "split"})
		check := func(what string) {
			t.Helper()
			warm, err := s.Buying(ctx)
			s.must(err)
			s.buying.mu.Lock()
			s.buying.ready = false
			s.buying.mu.Unlock()
			cold, err := s.Buying(ctx)
			s.must(err)
			for i := range cold.Lines {
				w, c := *warm.Lines[i], *cold.Lines[i]
				if fmt.Sprintf("%+v", w.Advice) != fmt.Sprintf("%+v", c.Advice) || w.OnHand != c.OnHand || w.Out != c.Out || w.Promised != c.Promised || w.OnOrder != c.OnOrder || w.Drafted != c.Drafted {
					t.Errorf("after %s, %s: the cache says %+v, a fresh reading %+v", what, c.Code, w.Advice, c.Advice)
				}
			}
		}
		check("nothing")
		lot := s.receive(p, 60, home)[0]
		bar := s.receive(sl, 1, home)[0]
		check("receiving")
		j := s.jobNeeding("J-1", 100, "CNMG1204", 0.8, s.Today().Add(9))
		check("planning a job")
		_, err := s.Reserve(ctx, op(s.gate), ReserveIn{Job: j.ID, Picks: []Pick{{Item: lot.ID, Qty: 10}}})
		s.must(err)
		check("promising")
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: lot.ID, Qty: 4}, {Item: bar.ID, Qty: 1}}, To: s.op1.PlaceID, Job: j.ID})
		s.must(err)
		check("issuing")
		s.clock.step(72 * time.Hour)
		_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: bar.ID, Qty: 1}}})
		s.must(err)
		check("returning")
		o := s.order(v, p, 20)
		check("ordering")
		r, err := s.ReceiveLine(ctx, op(s.gate), ReceiveLineIn{Line: o.Lines[0].ID, Qty: 1, Unit: "box"})
		s.must(err)
		check("receiving a part of it")
		_, err = s.Reverse(ctx, op(s.boss), r.OpID, "not ours")
		s.must(err)
		check("undoing the receipt")
		if got, err := s.Order(ctx, o.Code); err != nil || got.Lines[0].Received != 0 {
			t.Errorf("after the undo %d are received, %v; want 0", got.Lines[0].Received, err)
		}
		in := PartIn{Part: p}
		facts, err := s.Facts(ctx, p.ID)
		s.must(err)
		in.Facts, in.Part.Pack, in.Part.MinOrder = facts, 5, 5
		_, err = s.SavePart(ctx, s.boss.ID, in)
		s.must(err)
		check("another pack")
		s.clock.step(40 * 24 * time.Hour)
		check("forty days")
	})
}

func TestBuyingLevelsAreNeverSilent(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 10)
		p := s.bought("SCR-M4", "spare", v, 1, 300, home, map[string]any{})
		lot := s.receive(p, 500, home)[0]
		use := func(weeks int, n int64) {
			for range weeks {
				s.clock.step(7 * 24 * time.Hour)
				_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: lot.ID, Qty: n}}, To: s.op1.PlaceID})
				s.must(err)
			}
		}
		use(12, 6)
		l := s.line(p)
		if l.Levels != nil || l.Proposal == nil || !strings.Contains(l.Proposal.Why, "no level was ever set") {
			t.Fatalf("before anything was accepted: %+v, %+v", l.Levels, l.Proposal)
		}
		if _, err := s.AcceptLevels(ctx, op(s.gate), p.ID, l.Now.Point, l.Now.Quantity); !errors.Is(err, ErrForbidden) {
			t.Errorf("an attendant accepts levels: %v", err)
		}
		if _, err := s.AcceptLevels(ctx, op(s.boss), p.ID, l.Now.Point+1, l.Now.Quantity); !errors.Is(err, ErrConflict) {
			t.Errorf("a proposal that is another one by now: %v", err)
		}
		_, err := s.AcceptLevels(ctx, op(s.boss), p.ID, l.Now.Point, l.Now.Quantity)
		s.must(err)
		old := l.Now
		use(14, 15)
		l = s.line(p)
		if l.Levels == nil || l.Levels.Point != old.Point {
			t.Fatalf("the level in the books went from %d to %+v by itself", old.Point, l.Levels)
		}
		if l.Proposal == nil || l.Proposal.Old.Point != old.Point || l.Proposal.New.Point <= old.Point || !strings.Contains(l.Proposal.Why, "use rose from") {
			t.Errorf("use rose from 6 to 15 a week; the proposal is %+v", l.Proposal)
		}
	})
}

// The level in the books orders, though the figures would not yet.
func TestBooksLevelOrders(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 3)
		p := s.bought("SCR-M5", "spare", v, 5, 300, home, map[string]any{})
		s.receive(p, 8, home)
		s.must(s.book(ctx, func(tx *Tx) error {
			if err := tx.note(s.boss.ID, "test", "", ""); err != nil {
				return err
			}
			return tx.exec("INSERT INTO part_levels (part_id, point, quantity, weekly, lead, safety, why, set_by, set_at) VALUES (?,10,20,1,3,2,'set by hand',?,?)", p.ID, s.boss.ID, tx.now)
		}))
		a := s.line(p).Advice
		if a.Alert.Level != reorder.OrderToday || a.Order != 20 || !strings.Contains(a.Alert.Sentence, "the level in the books is 10") {
			t.Errorf("8 on hand, level 10: %v, order %d, %s", a.Alert.Level, a.Order, a.Alert.Sentence)
		}
	})
}

// A 3-coin screw stops a 300-coin bar: no screw, no use of it on record, and still an alert.
func TestSparesFollow(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("DUNK", 5)
		screw := s.bought("S-12", "spare", v, 10, 30, home, map[string]any{})
		in, err := PartFrom(map[string]any{"id": "HED-32R", "kind": "head", "CCMS": "H32", "HAND": "R", "DMIN": 40, "seat": "DCMT11T3", "LF": 32}, "entered")
		s.must(err)
		in.Part.SupplierID, in.Part.HomeID, in.Needs = &v.ID, &home, map[PartID]int{screw.ID: 2}
		head, err := s.SavePart(ctx, s.boss.ID, in)
		s.must(err)
		if a := s.line(screw).Advice.Alert; a.Level != reorder.Enough {
			t.Errorf("no head in the shop, but %v: %s", a.Level, a.Sentence)
		}
		s.receive(head, 3, home)
		a := s.line(screw).Advice
		if a.Alert.Level != reorder.LateAlready || a.Order != 10 || !strings.Contains(a.Alert.Sentence, "S-12: 0 pieces free, 3 in service need it (HED-32R takes 2)") {
			t.Errorf("three heads, no screw: %v, order %d: %s", a.Alert.Level, a.Order, a.Alert.Sentence)
		}
		s.receive(screw, 10, home)
		if a := s.line(screw).Advice; a.Alert.Level != reorder.Enough || a.Order != 0 {
			t.Errorf("ten screws: %v, order %d: %s", a.Alert.Level, a.Order, a.Alert.Sentence)
		}
	})
}

// What comes back is bought by how many are wanted at once and how often one was refused, not
// by how often it was taken.
func TestReusableByRefusals(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("MARRO", 8)
		sl := s.bought("SLV-5032", "sleeve", v, 1, 4000, home, map[string]any{"DCONMS": 50, "DCONWS": 32, "LSC": 130, "unit": "mm", "type": "split"})
		it := s.receive(sl, 1, home)[0]
		for range 30 { // out half the days, never refused
			_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID})
			s.must(err)
			s.clock.step(48 * time.Hour)
			_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: it.ID, Qty: 1}}})
			s.must(err)
			s.clock.step(48 * time.Hour)
		}
		l := s.line(sl)
		if l.Advice.Alert.Level != reorder.Enough || l.YearUse != 0 || l.Reuse.Requests != 30 || l.Reuse.Refused != 0 {
			t.Errorf("30 loans, none refused: %v, use %v, %+v: %s", l.Advice.Alert.Level, l.YearUse, l.Reuse, l.Advice.Alert.Sentence)
		}
		_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID})
		s.must(err)
		for range 6 {
			s.clock.step(time.Hour)
			if _, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.boss.PlaceID}); !errors.Is(err, ErrElsewhere) {
				t.Fatalf("issuing what is out: %v", err)
			}
		}
		l = s.line(sl)
		if a := l.Advice; l.Reuse.Refused != 6 || a.Alert.Level != reorder.OrderSoon || a.Order < 1 || !strings.Contains(a.Alert.Sentence, "1 in the shop") {
			t.Errorf("6 requests refused: %+v, %v, order %d: %s", l.Reuse, a.Alert.Level, a.Order, a.Alert.Sentence)
		}
	})
}

func TestSnooze(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 12)
		p := s.cnmg(v, home)
		s.receive(p, 5, home)
		s.jobNeeding("J-1", 52, "CNMG1204", 0.8, s.Today().Add(14))
		before := s.line(p).Advice.Alert
		if before.Level < reorder.OrderSoon {
			t.Fatalf("no alert to put to sleep: %v %s", before.Level, before.Sentence)
		}
		for _, bad := range []struct {
			reason string
			until  Day
		}{{"", s.Today().Add(3)}, {"waits", s.Today()}, {"waits", s.Today().Add(200)}, {"waits", "tomorrow"}} {
			if _, err := s.Snooze(ctx, op(s.gate), p.ID, bad.reason, bad.until); !errors.Is(err, ErrBadInput) {
				t.Errorf("Snooze(%q, %q): %v", bad.reason, bad.until, err)
			}
		}
		if _, err := s.Snooze(ctx, op(s.op1), p.ID, "waits", s.Today().Add(3)); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator snoozes: %v", err)
		}
		_, err := s.Snooze(ctx, op(s.gate), p.ID, "the job may be moved", s.Today().Add(3))
		s.must(err)
		b, err := s.Buying(ctx)
		s.must(err)
		if list, asleep := b.Today(); len(list) != 0 || len(asleep) != 1 || asleep[0].Snooze.Reason != "the job may be moved" {
			t.Errorf("list %d, asleep %d", len(list), len(asleep))
		}
		s.jobNeeding("J-0", 30, "CNMG1204", 0.8, s.Today().Add(2)) // now something stops in two days
		b, err = s.Buying(ctx)
		s.must(err)
		if list, _ := b.Today(); len(list) != 1 {
			t.Error("the alert worsened and still sleeps")
		}
		s.clock.step(5 * 24 * time.Hour)
		if s.line(p).Quiet() {
			t.Error("the alert sleeps past its day")
		}
	})
}

func TestBadRules(t *testing.T) {
	s := newShop(t, false)
	for field, change := range map[string]func(*BuyRules){
		"service_a":        func(r *BuyRules) { r.ServiceA = 95 },
		"service_b":        func(r *BuyRules) { r.ServiceB = 1 },
		"service_c":        func(r *BuyRules) { r.ServiceC = math.NaN() },
		"service_reuse":    func(r *BuyRules) { r.ServiceReuse = 0 },
		"carrying_rate":    func(r *BuyRules) { r.Carrying = 20 },
		"order_cost_cents": func(r *BuyRules) { r.Currency = "" },
		"review_days":      func(r *BuyRules) { r.Review = -1 },
		"keep_weeks":       func(r *BuyRules) { r.KeepWeeks = 0 },
	} {
		r := DefaultBuyRules()
		change(&r)
		_, err := s.SetBuyRules(ctx, op(s.boss), r)
		ref, ok := errors.AsType[*Refusal](err)
		if !ok || !errors.Is(err, ErrBadInput) || ref.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	r := DefaultBuyRules()
	r.ServiceA = 95
	if _, err := s.SetBuyRules(ctx, op(s.boss), r); err == nil || !strings.Contains(err.Error(), "write 0.95") {
		t.Errorf("service 95: %v", err)
	}
	if got, err := s.BuyRules(ctx); err != nil || got != DefaultBuyRules() {
		t.Errorf("after refusals the rules are %+v, %v", got, err)
	}
	if _, err := s.SetBuyRules(ctx, op(s.gate), DefaultBuyRules()); !errors.Is(err, ErrForbidden) {
		t.Errorf("an attendant sets rules: %v", err)
	}
	r.ServiceA = 0.99
	_, err := s.SetBuyRules(ctx, op(s.boss), r)
	s.must(err)
	if b, err := s.Buying(ctx); err != nil || b.Rules.ServiceA != 0.99 {
		t.Errorf("the new rules are not used: %+v, %v", b.Rules, err)
	}
}
