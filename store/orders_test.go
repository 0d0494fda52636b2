package store

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"brasspeg/store/reorder"
	"brasspeg/store/stack"
)

// From the list to the shelf: drafts by supplier and cut-off day, edited, approved by a
// manager only, received in parts by box and piece, with the surplus asked.
func TestOrderToShelf(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 12)
		v.Cutoffs, v.MinOrderCents, v.Currency = "thu", 10000, "EUR"
		_, err := s.SetVendor(ctx, op(s.boss), v)
		s.must(err)
		p := s.cnmg(v, home)
		s.receive(p, 3, home)
		s.jobNeeding("J-1", 152, "CNMG1204", 0.8, s.Today().Add(15)) // 12 free, 140 short: 35 inserts, 4 boxes
		_, err = s.DraftOrders(ctx, op(s.op1))
		if !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator drafts: %v", err)
		}
		r, err := s.DraftOrders(ctx, op(s.gate))
		s.must(err)
		all, err := s.Orders(ctx, OrderFilter{OpenOnly: true})
		s.must(err)
		if len(all) != 1 || len(all[0].Lines) != 1 || all[0].Lines[0].Pieces != 40 || all[0].CutoffDay != "2026-03-19" {
			t.Fatalf("%s: drafts %+v; want one for Thursday 2026-03-19 with 40 pieces", r.Says, all)
		}
		o := all[0]
		if r, err = s.DraftOrders(ctx, op(s.gate)); err != nil || !strings.Contains(r.Says, "drafts already") {
			t.Errorf("drafting twice: %s, %v", r.Says, err)
		}
		if total, unpriced := o.Total(); len(total) != 1 || total[0] != (reorder.Money{Cents: 40 * 720, Currency: "EUR"}) || unpriced != 0 {
			t.Errorf("total %v, %d unpriced", total, unpriced)
		}
		for n, field := range map[int]string{37: "pieces", -10: "pieces", 2_000_000: "pieces"} {
			_, err = s.SetLine(ctx, op(s.gate), LineIn{Order: o.Code, Part: p.ID, Pieces: n, Seen: true})
			if ref, ok := errors.AsType[*Refusal](err); !ok || ref.Field != field || !errors.Is(err, ErrBadInput) {
				t.Errorf("%d pieces in packs of 10: %v", n, err)
			}
		}
		_, err = s.SetLine(ctx, op(s.gate), LineIn{Order: o.Code, Part: p.ID, Pieces: 40, Price: &reorder.Money{Cents: 700}})
		if !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "no currency") {
			t.Errorf("a price without a currency: %v", err)
		}
		_, err = s.SetLine(ctx, op(s.gate), LineIn{Order: o.Code, Part: p.ID, Pieces: 50})
		s.must(err)
		if is, err := s.Order(ctx, o.Code); err != nil || is.Lines[0].Why != o.Lines[0].Why || is.Lines[0].Why == "" {
			t.Errorf("why it is ordered, after a change of pieces: %+v, %v", is.Lines, err)
		}
		if _, err = s.ApproveOrder(ctx, op(s.gate), o.Code, o.Version+1); !errors.Is(err, ErrForbidden) {
			t.Errorf("an attendant approves: %v", err)
		}
		if _, err = s.ApproveOrder(ctx, op(s.boss), o.Code, o.Version); !errors.Is(err, ErrConflict) {
			t.Errorf("approving what was changed meanwhile: %v", err)
		}
		_, err = s.ApproveOrder(ctx, op(s.boss), o.Code, o.Version+1)
		s.must(err)
		if l := s.line(p); l.OnOrder != 200 || l.Advice.Order != 0 || l.Drafted != 0 {
			t.Errorf("on order %d edges, still to order %d, in drafts %d; want 200, 0, 0", l.OnOrder, l.Advice.Order, l.Drafted)
		}
		if _, err = s.SetLine(ctx, op(s.gate), LineIn{Order: o.Code, Part: p.ID, Pieces: 60, Seen: true}); !errors.Is(err, ErrConflict) {
			t.Errorf("editing what is approved: %v", err)
		}

		o, err = s.Order(ctx, o.Code)
		s.must(err)
		line := o.Lines[0].ID
		if o.Stage() != "on order" || o.Lines[0].DueDay != "2026-03-28" {
			t.Errorf("%s, due %s; want on order, 12 days on", o.Stage(), o.Lines[0].DueDay)
		}
		before := s.sound().Movements
		_, err = s.ReceiveLine(ctx, op(s.gate), ReceiveLineIn{Line: line, Qty: 5})
		if ref, ok := errors.AsType[*Refusal](err); !ok || ref.Field != "unit" {
			t.Errorf("5 of what?: %v", err)
		}
		_, err = s.ReceiveLine(ctx, op(s.gate), ReceiveLineIn{Line: line, Qty: 6, Unit: "box"})
		if !errors.Is(err, ErrSurplus) || !strings.Contains(err.Error(), "60 received on 50 still open") {
			t.Errorf("60 of 50: %v", err)
		}
		if n := s.sound().Movements; n != before {
			t.Errorf("refused receipts moved %d lines", n-before)
		}
		s.clock.step(9 * 24 * time.Hour)
		// Ordered 50, received 10: still 40 open.
		one := op(s.gate)
		r, err = s.ReceiveLine(ctx, one, ReceiveLineIn{Line: line, Qty: 10, Unit: "piece", Box: "K-77"})
		s.must(err)
		if again, err := s.ReceiveLine(ctx, one, ReceiveLineIn{Line: line, Qty: 10, Unit: "piece", Box: "K-77"}); err != nil || !again.Replayed {
			t.Errorf("the same receipt sent twice: %+v, %v", again, err)
		}
		if !strings.Contains(r.Says, "40 of 50 still open") || r.Lines[0].Tag == "" {
			t.Errorf("receipt: %s", r.Says)
		}
		if l := s.line(p); l.OnOrder != 160 || l.Lead.N != 0 {
			t.Errorf("on order %d, %d lead times; a part of an order is no lead time yet", l.OnOrder, l.Lead.N)
		}
		s.clock.step(10 * 24 * time.Hour)
		_, err = s.ReceiveLine(ctx, op(s.gate), ReceiveLineIn{Line: line, Qty: 4, Unit: "box"})
		s.must(err)
		if l := s.line(p); l.Lead.N != 1 || l.Lead.Most != 19 || l.OnOrder != 0 || l.OnHand != 212 {
			t.Errorf("after all has come: %+v, on order %d, on hand %d; want one lead time of 19 days, 0, 53 inserts", l.Lead, l.OnOrder, l.OnHand)
		}
		_, err = s.ReceiveLine(ctx, op(s.gate), ReceiveLineIn{Line: line, Qty: 1, Unit: "piece", Sure: true})
		s.must(err)
		if o, err = s.Order(ctx, o.Code); err != nil || o.Stage() != "all here" || o.Lines[0].Received != 51 {
			t.Errorf("a surplus somebody is sure of: %s, %d, %v", o.Stage(), o.Lines[0].Received, err)
		}
		vs, err := s.Vendor(ctx, "ORRIN")
		s.must(err)
		if vs.Lead.N != 1 || vs.Open != 0 {
			t.Errorf("the supplier: %+v", vs)
		}
		s.sound()
	})
}

// Last five leads 6, 7, 8, 19, 21 days: plan with 21, not with the mean of 12.2.
func TestLeadIsTheSlowTail(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		v := s.supplier("ORRIN", 7)
		p := s.cnmg(v, s.bin("B1"))
		for _, d := range []int{6, 7, 8, 19, 21} {
			s.order(v, p, 10, d)
		}
		if l := s.line(p).Lead; l.Plan != 21 || l.Quoted != 7 || l.N != 5 || l.Mean < 12.19 || l.Mean > 12.21 {
			t.Errorf("lead %+v", l)
		}
	})
}

// What is on order is what a job that lacks it hears of.
func TestOnOrderOnTheShelf(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("MARRO", 8)
		m, st, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L1", Name: "Lathe 1"}, []Station{{Number: 1, Interface: "VDI50"}})
		s.must(err)
		s.bought("HLD", "holder", v, 1, 9000, home, map[string]any{"interface": "VDI50", "DCONWS": 40, "unit": "mm", "LSC": 165, "clamp": "split", "coolant": "none", "WT": 4.5})
		s.bought("BAR", "bar", v, 1, 9000, home, map[string]any{"DCONMS": 40, "unit": "mm", "construction": "steel", "OAL": 400, "CCWS": "H40", "flat": false, "WT": 4})
		head := s.bought("HED", "head", v, 1, 5000, home, map[string]any{"CCMS": "H40", "HAND": "R", "DMIN": 50, "seat": "DCMT11T3", "LF": 32, "WT": 0.3})
		s.bought("INS", "insert", v, 10, 500, home, map[string]any{"seat": "DCMT11T3", "RE": 0.8, "edges": 2})
		for _, code := range []string{"HLD", "BAR", "INS"} {
			p, err := s.PartByCode(ctx, code)
			s.must(err)
			s.receive(p, 1, home)
		}
		_, err = s.SaveJob(ctx, s.boss.ID, Job{Code: "J-1", MachineID: &m.ID, StationID: &st[0].ID, Material: "P", FromDay: s.Today().Add(20), ToDay: s.Today().Add(21),
			Request: `{"bore_start_d": 62, "depth": 100, "clearance": 10, "hand": "R", "insert": {"seat": "DCMT11T3", "RE": 0.8}, "coolant": false, "coolant_bar": 0}`})
		s.must(err)
		check := func() stack.Verdict {
			t.Helper()
			j, err := s.JobByCode(ctx, "J-1")
			s.must(err)
			r, err := s.Check(ctx, j)
			s.must(err)
			s.must(r.Err)
			return r.Verdict
		}
		if vd := check(); vd.Buildable {
			t.Fatal("there is no head, and the stack can be built")
		}
		b, err := s.Buying(ctx)
		s.must(err)
		if len(b.Frees) == 0 || b.Frees[0].Part != "HED" || len(b.Frees[0].Jobs) != 1 || b.Frees[0].PriceCents != 5000 {
			t.Errorf("what one purchase would free: %+v; want HED frees J-1", b.Frees)
		}
		if l := s.line(head); l.Advice.Order != 1 || l.Advice.Alert.Stop.Job != "J-1" {
			t.Errorf("the head that J-1 lacks: order %d, %s", l.Advice.Order, l.Advice.Alert.Sentence)
		}
		o := s.order(v, head, 1)
		vd := check()
		if vd.Buildable || len(vd.Options) == 0 || len(vd.Options[0].Parts[0].Owned) == 0 || vd.Options[0].Parts[0].Owned[0].Code != "ON_ORDER" {
			t.Errorf("ordered for the 24th, needed on the 5th of April: %+v", vd.Options)
		}
		if l := s.line(head); l.Advice.Order != 0 {
			t.Errorf("ordered, and asked for again: %s", l.Advice.Alert.Sentence)
		}
		r, err := s.ReceiveLine(ctx, op(s.gate), ReceiveLineIn{Line: o.Lines[0].ID, Qty: 1, Unit: "piece"})
		s.must(err)
		if !check().Buildable {
			t.Error("the head has come and the stack can not be built")
		}
		_, err = s.Reverse(ctx, op(s.boss), r.OpID, "the wrong head")
		s.must(err)
		if vd := check(); vd.Buildable || vd.Options[0].Parts[0].Owned[0].Code != "ON_ORDER" {
			t.Errorf("the receipt was undone: %+v", vd.Options)
		}
	})
}

// Nobody orders what lies there under another name: it is shown first.
func TestInsteadIsShownFirst(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 7)
		mk := func(code string, re float64) Part {
			return s.bought(code, "insert", v, 10, 600, home, map[string]any{"seat": "DCMT11T3", "RE": re, "edges": 2})
		}
		p, other := mk("DCMT 11T304", 0.4), mk("DCMT 11T308", 0.8)
		r, err := s.NewOrder(ctx, op(s.gate), v.ID, s.Today(), "")
		s.must(err)
		in := LineIn{Order: r.Says, Part: p.ID, Pieces: 10}
		s.receive(other, 4, home)
		_, err = s.SetLine(ctx, op(s.gate), in)
		if !errors.Is(err, ErrAsk) || !strings.Contains(err.Error(), "4 free of DCMT 11T308 (RE 0.8 instead of 0.4)") {
			t.Errorf("four of a wider radius on the shelf: %v", err)
		}
		_, err = s.AddSubstitute(ctx, op(s.gate), p.ID, other.ID, "radius 0.8, more side force, adjust offset")
		s.must(err)
		_, err = s.SetLine(ctx, op(s.gate), in)
		if !errors.Is(err, ErrAsk) || !strings.Contains(err.Error(), "radius 0.8, more side force, adjust offset") {
			t.Errorf("a substitute that was entered: %v", err)
		}
		in.Seen = true
		_, err = s.SetLine(ctx, op(s.gate), in)
		s.must(err)
	})
}

// Consigned 100, issued 37, found 58: 5 unexplained are listed, not billed silently.
func TestConsignedSettlement(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 7)
		p := s.cnmg(v, home)
		r, err := s.Receive(ctx, op(s.gate), ReceiveIn{Part: p.ID, Qty: 100, To: home, Owner: "ORRIN"})
		s.must(err)
		lot, err := s.ItemByTag(ctx, r.Lines[0].Tag)
		s.must(err)
		from := s.Today()
		for _, n := range []int64{20, 18} {
			s.clock.step(24 * time.Hour)
			_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: lot.ID, Qty: n}}, To: s.op1.PlaceID})
			s.must(err)
		}
		four := 4
		_, err = s.Return(ctx, op(s.gate), ReturnIn{Picks: []Pick{{Item: lot.ID, Qty: 1}}, Edges: &four, To: home})
		s.must(err)
		_, err = s.Count(ctx, op(s.gate), []CountIn{{Item: lot.ID, Place: home, Found: 58, Reason: "month end"}})
		s.must(err)
		issued, unexplained, err := s.Settlement(ctx, "ORRIN", from, s.Today())
		s.must(err)
		sum := func(cs []Consigned) (n int64) {
			for _, c := range cs {
				n += c.Pieces
			}
			return n
		}
		if sum(issued) != 37 || sum(unexplained) != -5 {
			t.Errorf("issued %d, unexplained %d; want 37, -5", sum(issued), sum(unexplained))
		}
		if i, u, _ := s.Settlement(ctx, "ORRIN", "2025-01-01", "2025-12-31"); len(i)+len(u) != 0 {
			t.Errorf("last year: %v, %v", i, u)
		}
		if _, _, err := s.Settlement(ctx, "ORRIN", "2026-04-01", "2026-03-01"); !errors.Is(err, ErrBadInput) {
			t.Errorf("from after to: %v", err)
		}
	})
}

func TestBadVendors(t *testing.T) {
	s := newShop(t, false)
	for field, v := range map[string]Vendor{
		"lead_days": {Supplier: Supplier{Code: "A", Name: "a", LeadDays: -3}},
		"cutoffs":   {Supplier: Supplier{Code: "A", Name: "a"}, Cutoffs: "someday"},
		"min_order": {Supplier: Supplier{Code: "A", Name: "a"}, MinOrderCents: 100},
		"name":      {Supplier: Supplier{Code: "A"}},
	} {
		_, err := s.SetVendor(ctx, op(s.boss), v)
		if ref, ok := errors.AsType[*Refusal](err); !ok || !errors.Is(err, ErrBadInput) || ref.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	if all, _ := s.Suppliers(ctx); len(all) != 0 {
		t.Errorf("a refused supplier is there: %v", all)
	}
}

// A supplier's file with half its lines wrong: the dry run names every one, nothing is taken.
func TestImportAllOrNothing(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		home := s.bin("B1")
		v := s.supplier("ORRIN", 7)
		p := s.cnmg(v, home)
		q := s.bought("SCR-M4", "spare", v, 1, 300, home, map[string]any{})
		bad := "part;price;currency;pack;lead_days;min_pieces\r\n" +
			"INS-C12;7,95;EUR;10;14;1\r\n" + // good
			"SCR-M4;3,10;;1;5;1\r\n" + // no currency
			"SCR-M4;3,10;EUR;0;5;1\r\n" + // pack of 0
			"SCR-M4;3,10;EUR;1;-4;1\r\n" + // negative lead time
			"NOT-OURS;1;EUR;1;1;1\r\n" +
			"INS-C12;1,234;EUR;10;14;100\r\n" // a thousand or a fraction?
		for _, apply := range []bool{false, true} {
			rep, err := s.Import(ctx, s.boss.ID, "prices", []byte(bad), apply)
			if apply != errors.Is(err, ErrBadInput) {
				t.Errorf("apply %v: %v", apply, err)
			}
			var got []string
			for _, b := range rep.Bad {
				got = append(got, fmt.Sprint(b.Line, " ", b.Field))
			}
			if want := "3 currency,4 pack,5 lead_days,6 part,7 price"; strings.Join(got, ",") != want || rep.Applied {
				t.Errorf("apply %v: bad rows %v, want %s", apply, got, want)
			}
		}
		if got, _ := s.Part(ctx, p.ID); *got.PriceCents != 720 || got.Version != p.Version {
			t.Errorf("a refused file changed %+v", got)
		}
		good := "\ufeffpart;price;currency;pack;lead_days;min_pieces\r\nINS-C12;7,95;EUR;10;14;1\r\nINS-C12;7,10;EUR;10;14;100\r\nSCR-M4;3.20;EUR;5;;\r\n"
		rep, err := s.Import(ctx, s.boss.ID, "prices", []byte(good), false)
		s.must(err)
		if rep.Applied || len(rep.Changes) != 5 {
			t.Errorf("the dry run: %+v", rep)
		}
		if got, _ := s.Part(ctx, p.ID); *got.PriceCents != 720 {
			t.Error("the dry run changed a price")
		}
		if _, err := s.Import(ctx, s.gate.ID, "prices", []byte(good), true); !errors.Is(err, ErrForbidden) {
			t.Errorf("an attendant reads a file in: %v", err)
		}
		rep, err = s.Import(ctx, s.boss.ID, "prices", []byte(good), true)
		s.must(err)
		got, err := s.Part(ctx, p.ID)
		s.must(err)
		if !rep.Applied || *got.PriceCents != 795 || *got.LeadDays != 14 {
			t.Errorf("taken in: %+v, %+v", rep, got)
		}
		if m := priceAt(s.line(p).Terms, 100); m.Cents != 710 {
			t.Errorf("a hundred cost %v a piece, want 7.10", m)
		}
		if got, _ := s.Part(ctx, q.ID); got.Pack != 5 || *got.PriceCents != 320 {
			t.Errorf("%+v", got)
		}
		rep, err = s.Import(ctx, s.boss.ID, "prices", []byte(good), true)
		if err != nil || !rep.Before || rep.Applied {
			t.Errorf("the same file again: %+v, %v", rep, err)
		}
		rep, err = s.Import(ctx, s.boss.ID, "suppliers", []byte("supplier,name,lead_days,cutoffs\nORRIN,Orrinvale,15,\"mon, thu\"\nNEW,New ones,3,\n"), true)
		s.must(err)
		if v, err := s.Vendor(ctx, "ORRIN"); err != nil || v.LeadDays != 15 || v.Cutoffs != "mon, thu" || v.Name != "Orrinvale" {
			t.Errorf("%+v, %v", v, err)
		}
	})
}

func TestImportRefusesWhatIsNoTable(t *testing.T) {
	s := newShop(t, false)
	for name, data := range map[string]string{
		"empty": "", "head only": "part,price\n", "binary": "part,price\n\x00\x01,1\n", "not UTF-8": "part,price\n\xff\xfe,1\n", "no zip": "PK\x03\x04 not really",
		"open quote": "part,price\n\"abc,1\n", "unknown column": "part,colour\na,b\n", "twice": "part,part\na,b\n", "no part": "price,currency\n1,EUR\n",
	} {
		if _, err := s.Import(ctx, s.boss.ID, "prices", []byte(data), true); !errors.Is(err, ErrBadInput) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := s.Import(ctx, s.boss.ID, "holidays", []byte("a\nb\n"), true); !errors.Is(err, ErrBadInput) {
		t.Errorf("a kind that is none: %v", err)
	}
}

func FuzzReadTable(f *testing.F) {
	for _, seed := range []string{"part,price\na,1\n", "\ufeffpart;price\r\n\"a\";1\r\n", "a\tb\n1\t2", "\"", "PK\x03\x04", "a,b\n\"x\"\"y\",\n"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		rows, err := ReadTable(data)
		if err != nil {
			if !errors.Is(err, ErrBadInput) {
				t.Errorf("%q: %v", data, err)
			}
			return
		}
		if len(rows) < 2 {
			t.Errorf("%q reads as %d rows", data, len(rows))
		}
	})
}

func FuzzCents(f *testing.F) {
	for _, seed := range []string{"7.20", "7,2", "1.234,56", "1,234.56", "-1", "", "1,234", "9999999999"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		n, err := ReadCents("price", text)
		if err != nil {
			return
		}
		if again, err := ReadCents("price", fmt.Sprintf("%d.%02d", n/100, n%100)); n < 0 || err != nil || again != n {
			t.Errorf("%q reads as %d, which reads as %d, %v", text, n, again, err)
		}
	})
}

// What goes out comes back the same, dangerous texts made harmless and plain numbers untouched.
func TestSheetsOut(t *testing.T) {
	sh := Sheet{Name: "t", Head: []string{"a", "b"}, Rows: [][]any{{"=1+1", -5}, {"-5", 1.25}, {"@SUM(A1)", int64(7)}, {`say "hi"`, ""}, {"+49 30", "ok\x1b[31m"}, {"  =x", 0}}}
	var b bytes.Buffer
	if err := sh.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	want := "\ufeff\"a\",\"b\"\r\n\"'=1+1\",\"-5\"\r\n\"-5\",\"1.25\"\r\n\"'@SUM(A1)\",\"7\"\r\n\"say \"\"hi\"\"\",\"\"\r\n\"'+49 30\",\"ok[31m\"\r\n\"'  =x\",\"0\"\r\n"
	if b.String() != want {
		t.Errorf("got  %q\nwant %q", b.String(), want)
	}
	if rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(b.String(), "\ufeff"))).ReadAll(); err != nil || len(rows) != 7 {
		t.Errorf("%d rows, %v", len(rows), err)
	}
	b.Reset()
	if err := sh.WriteXLSX(&b); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	if v, _ := f.GetCellValue("t", "A2"); v != "=1+1" {
		t.Errorf("A2 is %q", v)
	}
	if formula, _ := f.GetCellFormula("t", "A2"); formula != "" {
		t.Errorf("A2 runs %q", formula)
	}
	if kind, _ := f.GetCellType("t", "B3"); kind == excelize.CellTypeInlineString || kind == excelize.CellTypeSharedString {
		t.Error("a number became text")
	}
}

// A change of a line's pieces leaves what was agreed of it: price, owner, day and why. A price
// of the list follows the list.
func TestChangedLineKeepsWhatWasAgreed(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		v := s.supplier("SUP", 12)
		p := s.bought("SPR-1", "spare", v, 1, 900, s.bin("B1"), map[string]any{})
		r, err := s.NewOrder(ctx, op(s.boss), v.ID, s.Today(), "")
		s.must(err)
		line := func(in LineIn) OrderLineView {
			t.Helper()
			in.Order, in.Part, in.Seen = r.Says, p.ID, true
			_, err := s.SetLine(ctx, op(s.boss), in)
			s.must(err)
			o, err := s.Order(ctx, r.Says)
			s.must(err)
			return o.Lines[0]
		}
		if l := line(LineIn{Pieces: 2, Why: "worn"}); l.PriceCents == nil || *l.PriceCents != 900 {
			t.Fatalf("a new line %+v, want the price of the list", l)
		}
		s.must(s.book(ctx, func(tx *Tx) error {
			return tx.exec("INSERT INTO part_prices (part_id, min_pieces, cents, currency) VALUES (?, 5, 800, 'EUR')", p.ID)
		}))
		if l := line(LineIn{Pieces: 5}); *l.PriceCents != 800 || l.Why != "worn" {
			t.Errorf("more pieces: %d, %q; want the list's price of five and the reason", *l.PriceCents, l.Why)
		}
		line(LineIn{Pieces: 5, Price: &reorder.Money{Cents: 750, Currency: "EUR"}, Owner: "SUP", Due: "2026-12-24"})
		if l := line(LineIn{Pieces: 6}); *l.PriceCents != 750 || l.Owner != "SUP" || l.DueDay != "2026-12-24" || l.Pieces != 6 || l.Why != "worn" {
			t.Errorf("after a change of pieces: %+v; want what was agreed", l)
		}
	})
}
