package server

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"brasspeg/store"
	"brasspeg/store/reorder"
)

// ordered is a shop with an order that mads has approved: 40 pieces in packs of 10 at 6.40 EUR.
func ordered(t *testing.T) (*shop, store.OrderView) {
	t.Helper()
	sh, p := hungry(t)
	_, err := sh.store.SetVendor(t.Context(), sh.op("mads"), store.Vendor{Supplier: store.Supplier{Code: "ORRIN", Name: "Orrin & Sons", LeadDays: 12}})
	must(t, err)
	rep, err := sh.store.Import(t.Context(), sh.people["mads"].ID, "prices", []byte("part,supplier,price,currency,pack\nINS-D11-08,ORRIN,6.40,EUR,10\n"), true)
	if err != nil || !rep.Applied {
		t.Fatal(rep, err)
	}
	v, err := sh.store.Vendor(t.Context(), "ORRIN")
	must(t, err)
	r, err := sh.store.NewOrder(t.Context(), sh.op("brisa"), v.ID, sh.store.Today().Add(300), "")
	must(t, err)
	_, err = sh.store.SetLine(t.Context(), sh.op("brisa"), store.LineIn{Order: r.Says, Part: p.ID, Pieces: 40, Seen: true})
	must(t, err)
	o, err := sh.store.Order(t.Context(), r.Says)
	must(t, err)
	return sh, o
}

// A draft says at its head which of its lines can not wait for its cut-off day, the part's page
// leads to the order, and what was done with an order stays on it: corrected prices, deliveries
// with their labels, the ones taken back too, and what was closed.
func TestOrderTellsItsRecord(t *testing.T) {
	sh, o := ordered(t)
	boss, gate := sh.as("mads"), sh.as("brisa")
	at := "/orders/" + o.Code
	if body := gate.get(at).body; !strings.Contains(body, "comes after the last day to order of INS-D11-08") {
		t.Error("a draft with its cut-off in 300 days does not say that its line can not wait")
	}
	part := gate.get("/buying/parts/INS-D11-08").body
	if !strings.Contains(part, `href="`+at+`"`) || !strings.Contains(part, "a draft: not ordered yet") {
		t.Error("the part's page does not lead to the draft")
	}
	line := fmt.Sprint(o.Lines[0].ID)
	post := func(c *client, path string, status int, word string, body map[string]string) {
		t.Helper()
		body["op"] = newOp()
		if a := c.post(at+path, body); a.status != status || !strings.Contains(a.body, word) {
			t.Errorf("POST %s %v: %d %s; want %d with %q", path, body, a.status, a.body, status, word)
		}
	}
	price := func(was, price, reason string) map[string]string {
		return map[string]string{"line": line, "was": was, "was_currency": "EUR", "price": price, "currency": "eur", "reason": reason}
	}
	post(boss, "/price", 412, "price of a draft is changed on its line", price("6.40", "6.10", "bill 88"))
	post(boss, "/closing", 412, "taken off", map[string]string{"line": line, "reason": "too dear"})
	_, err := sh.store.ApproveOrder(t.Context(), sh.op("mads"), o.Code, o.Version)
	must(t, err)
	post(gate, "/price", 403, "role", price("6.40", "6.10", "bill 88"))
	post(boss, "/price", 422, "ay why the price was wrong", price("6.40", "6.10", " "))
	post(boss, "/price", 422, "already", price("6.40", "6.40", "bill 88"))
	post(boss, "/price", 412, "6.40 EUR by now", price("6.50", "6.10", "bill 88"))
	post(boss, "/price", 412, "6.40 EUR by now", price("", "6.10", "bill 88"))
	post(boss, "/price", 201, "6.10 EUR now, not 6.40 EUR", price("6.40", "6.10", "bill 88"))
	post(boss, "/price", 412, "6.10 EUR by now", price("6.40", "6.20", "a second screen"))
	is, err := sh.store.Order(t.Context(), o.Code)
	must(t, err)
	if total, _ := is.Total(); len(total) != 1 || total[0] != (reorder.Money{Cents: 24400, Currency: "EUR"}) || is.Lines[0].Pieces != 40 {
		t.Errorf("after the correction: %v of %d", total, is.Lines[0].Pieces)
	}

	post(gate, "/receipts", 201, "30 of 40 still open", map[string]string{"line": line, "qty": "1", "unit": "box", "box": "K-7"})
	post(gate, "/receipts", 201, "28 of 40 still open", map[string]string{"line": line, "qty": "2", "unit": "piece"})
	body := gate.get(at).body
	for _, want := range []string{"was 6.40 EUR: bill 88", "Received 10 of INS-D11-08", "Received 2 of INS-D11-08"} {
		if !strings.Contains(body, want) {
			t.Errorf("the order does not say %q", want)
		}
	}
	labels := regexp.MustCompile(`href="(/labels\?select=[^"]+)"`).FindAllStringSubmatch(body, -1)
	if len(labels) != 2 {
		t.Fatalf("%d deliveries offer labels, want 2", len(labels))
	}
	if a := gate.get(labels[0][1]); a.status != 200 || !strings.Contains(a.body, "<button>Print</button>") {
		t.Errorf("the labels of the first delivery: %d", a.status)
	}
	receipts := regexp.MustCompile(`name="receipt" value="([^"]+)"`).FindAllStringSubmatch(body, -1)
	if len(receipts) != 2 {
		t.Fatalf("%d deliveries can be taken back, want 2", len(receipts))
	}
	post(gate, "/undo", 404, "not on", map[string]string{"receipt": newOp()})
	post(gate, "/undo", 201, "", map[string]string{"receipt": receipts[0][1]})
	post(boss, "/closing", 201, "the rest of INS-D11-08 is closed", map[string]string{"line": line, "reason": "no longer made"})
	body = boss.get(at).body
	for _, want := range []string{"<b>undone</b>", "Rest closed: INS-D11-08: no longer made", "all here"} {
		if !strings.Contains(body, want) {
			t.Errorf("the order does not say %q", want)
		}
	}
	if n := strings.Count(body, "Take this delivery back"); n != 1 {
		t.Errorf("%d deliveries can be taken back, want the one that stands", n)
	}
	if part := gate.get("/buying/parts/INS-D11-08").body; strings.Contains(part, `href="`+at+`"`) {
		t.Error("the part's page says that something is to come on a closed line")
	}
	for _, fault := range faults(body) {
		t.Errorf("%s: %s", at, fault)
	}
}

// No open order is lost behind a long list of those that are done with, and the list goes on.
func TestOrdersListGoesOn(t *testing.T) {
	sh, o := ordered(t)
	_, err := sh.store.ApproveOrder(t.Context(), sh.op("mads"), o.Code, o.Version)
	must(t, err)
	for i := range 105 {
		r, err := sh.store.NewOrder(t.Context(), sh.op("brisa"), o.SupplierID, sh.store.Today().Add(400+i), "")
		must(t, err)
		_, err = sh.store.SetLine(t.Context(), sh.op("brisa"), store.LineIn{Order: r.Says, Part: o.Lines[0].PartID, Pieces: 10, Seen: true})
		must(t, err)
		d, err := sh.store.Order(t.Context(), r.Says)
		must(t, err)
		_, err = sh.store.ApproveOrder(t.Context(), sh.op("mads"), r.Says, d.Version)
		must(t, err)
		_, err = sh.store.CloseLine(t.Context(), sh.op("mads"), d.Lines[0].ID, "not wanted")
		must(t, err)
	}
	c := sh.as("brisa")
	first := c.get("/orders").body
	if !strings.Contains(first, ">"+o.Code+"<") {
		t.Error("the only open order is not on the first page")
	}
	if !strings.Contains(first, "Orders 1 to 100.") || !strings.Contains(first, `href="/orders?skip=100"`) {
		t.Error("the list ends after 100 without a word")
	}
	second := c.get("/orders?skip=100").body
	if n := strings.Count(second, `class="tag" href="/orders/`); n != 6 || !strings.Contains(second, "Orders 101 to 106.") {
		t.Errorf("%d orders on the second page, want 6", n)
	}
	if a := c.get("/orders?skip=-1"); a.status != 422 {
		t.Errorf("skip -1: %d", a.status)
	}
}
