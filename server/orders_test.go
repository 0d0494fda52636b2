package server

import (
	"encoding/csv"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"brasspeg/store"
)

// The whole way over HTTP: list, draft, edit, approve, receive in parts with its label, count.
func TestOrderByPages(t *testing.T) {
	sh, p := hungry(t)
	_, err := sh.store.SetVendor(t.Context(), sh.op("mads"), store.Vendor{Supplier: store.Supplier{Code: "ORRIN", Name: "Orrin & Sons", LeadDays: 12}})
	must(t, err)
	boss, gate, hand := sh.as("mads"), sh.as("brisa"), sh.as("ivo")
	imported, err := sh.store.Import(t.Context(), sh.people["mads"].ID, "prices", []byte("part,supplier,price,currency,pack\nINS-D11-08,ORRIN,6.40,EUR,10\n"), true)
	if err != nil || !imported.Applied {
		t.Fatal(imported, err)
	}
	if a := hand.get("/buying"); a.status != 403 {
		t.Errorf("an operator reads prices: %d", a.status)
	}
	page := gate.get("/buying").body
	for _, want := range []string{"DCMT 11T308", "J-5 needs 400", "order 19 boxes", "Draft these orders", "ORRIN"} {
		if !strings.Contains(page, want) {
			t.Errorf("/buying does not say %q", want)
		}
	}
	if a := gate.get("/buying/parts/INS-D11-08/stock.svg"); a.status != 200 || !strings.Contains(a.head.Get("Content-Type"), "svg") || !strings.Contains(a.body, "takes 400") {
		t.Errorf("the curve: %d, %d bytes", a.status, len(a.body))
	}
	if a := gate.post("/buying/draft", map[string]string{"op": newOp()}); a.status != 201 {
		t.Fatalf("drafting: %d %s", a.status, a.body)
	}
	all, err := sh.store.Orders(t.Context(), store.OrderFilter{})
	must(t, err)
	if len(all) != 1 {
		t.Fatalf("%d drafts", len(all))
	}
	code := all[0].Code
	post := func(c *client, path string, status int, word string, body map[string]string) {
		t.Helper()
		body["op"] = newOp()
		if a := c.post(path, body); a.status != status || !strings.Contains(a.body, word) {
			t.Errorf("POST %s %v: %d %s; want %d with %q", path, body, a.status, a.body, status, word)
		}
	}
	at := "/orders/" + code
	post(gate, at+"/lines", 422, "sold in packs of 10", map[string]string{"part": "INS-D11-08", "pieces": "37"})
	post(gate, at+"/lines", 422, "no currency", map[string]string{"part": "INS-D11-08", "pieces": "40", "price": "6.10"})
	post(gate, at+"/lines", 422, "whole number", map[string]string{"part": "INS-D11-08", "pieces": "1e9"})
	post(gate, at+"/lines", 201, "40 pieces", map[string]string{"part": "INS-D11-08", "pieces": "40", "price": "6,10", "currency": "eur"})
	post(gate, at+"/lines", 409, "HED-40R is ordered: 1 free", map[string]string{"part": "HED-40R", "pieces": "1"})
	o, err := sh.store.Order(t.Context(), code)
	must(t, err)
	line := fmt.Sprint(o.Lines[0].ID)
	post(gate, at+"/approval", 403, "role", map[string]string{"version": fmt.Sprint(o.Version)})
	post(boss, at+"/approval", 412, "changed by somebody else", map[string]string{"version": "1"})
	post(boss, at+"/approval", 201, "approved", map[string]string{"version": fmt.Sprint(o.Version)})
	post(gate, at+"/receipts", 422, "5 what? Say box (of 10) or piece", map[string]string{"line": line, "qty": "5"})
	post(gate, at+"/receipts", 409, "confirm the surplus", map[string]string{"line": line, "qty": "5", "unit": "box"})
	post(gate, at+"/receipts", 404, "not on", map[string]string{"line": "99", "qty": "1", "unit": "box"})
	post(hand, at+"/receipts", 403, "role", map[string]string{"line": line, "qty": "1", "unit": "box"})
	gate.head = map[string]string{"HX-Request": "true"}
	a := gate.post(at+"/receipts", map[string]string{"op": newOp(), "line": line, "qty": "1", "unit": "box"})
	gate.head = nil
	next := a.head.Get("HX-Redirect")
	if a.status != 204 || !strings.Contains(next, "got=L") {
		t.Fatalf("receiving one box: %d, on to %q", a.status, next)
	}
	got := gate.get(next).body
	if m := regexp.MustCompile(`/pieces/L[0-9A-Z]+/label.pdf`).FindString(got); m == "" {
		t.Error("the page after a delivery offers no label")
	} else if pdf := gate.get(m); pdf.status != 200 || !strings.HasPrefix(pdf.body, "%PDF") {
		t.Errorf("the label: %d", pdf.status)
	}
	if !strings.Contains(got, "partly here") {
		t.Error("ten of forty have come and the order is not partly here")
	}
	if pdf := gate.get(at + "/order.pdf"); pdf.status != 200 || !strings.HasPrefix(pdf.body, "%PDF") {
		t.Errorf("the order as PDF: %d", pdf.status)
	}
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(gate.get(at+"/table").body, "\ufeff"))).ReadAll()
	if err != nil || len(rows) != 2 || rows[1][6] != "40" || rows[1][9] != "6.1" || rows[1][1] != "Orrin & Sons" {
		t.Errorf("the order as CSV: %v, %v", rows, err)
	}
	for _, what := range []string{"today", "all", "cover", "abc", "levels", "surplus", "frees", "suppliers"} {
		for _, as := range []string{"csv", "xlsx"} {
			if a := gate.get("/buying/tables/" + what + "?as=" + as); a.status != 200 || !strings.Contains(a.head.Get("Content-Disposition"), what+"."+as) {
				t.Errorf("table %s as %s: %d %s", what, as, a.status, a.head.Get("Content-Disposition"))
			}
		}
	}
	if a := gate.get("/buying/tables/all?as=doc"); a.status != 422 {
		t.Errorf("a table as doc: %d", a.status)
	}
	for _, path := range []string{at, "/orders", "/suppliers/ORRIN", "/buying/parts/INS-D11-08", "/counting"} {
		a := boss.get(path)
		if a.status != 200 {
			t.Errorf("%s: %d", path, a.status)
		}
		for _, fault := range faults(a.body) {
			t.Errorf("%s: %s", path, fault)
		}
	}
	l, err := sh.store.BuyLine(t.Context(), p.ID)
	must(t, err)
	if l.OnOrder != 60 || l.OnHand != 40 {
		t.Errorf("on order %d edges, on hand %d; want 60 and 40", l.OnOrder, l.OnHand)
	}
}

func TestBadBuyingInput(t *testing.T) {
	sh, _ := hungry(t)
	boss := sh.as("mads")
	rules := map[string]string{"service_a": "95", "service_b": "0.95", "service_c": "0.9", "service_reuse": "0.95", "carrying_rate": "0.2", "order_cost": "15", "currency": "EUR", "review_days": "1",
		"soon_days": "7", "watch_days": "28", "dead_days": "365", "much_weeks": "104", "keep_weeks": "52", "unknown_lead_days": "14"}
	for _, tt := range []struct {
		change map[string]string
		status int
		word   string
	}{
		{nil, 422, "write 0.95"},
		{map[string]string{"service_a": "0.95", "currency": ""}, 422, "no currency"},
		{map[string]string{"service_a": "0.95", "review_days": "-1"}, 422, "eview days is a whole number from 0"},
		{map[string]string{"service_a": "0,97"}, 201, "changed"},
	} {
		body := map[string]string{"op": newOp()}
		for k, v := range rules {
			body[k] = v
		}
		for k, v := range tt.change {
			body[k] = v
		}
		if a := boss.post("/buying/rules", body); a.status != tt.status || !strings.Contains(a.body, tt.word) {
			t.Errorf("%v: %d %s; want %d with %q", tt.change, a.status, a.body, tt.status, tt.word)
		}
	}
	for _, tt := range []struct {
		body map[string]string
		word string
	}{
		{map[string]string{"code": "X", "name": "x", "lead_days": "-3", "new": "yes"}, "ead days is a whole number"},
		{map[string]string{"code": "X", "name": "x", "lead_days": "3", "cutoffs": "noday", "new": "yes"}, "not a weekday"},
		{map[string]string{"code": "X", "name": "x", "lead_days": "3", "min_order": "100", "new": "yes"}, "no currency"},
	} {
		tt.body["op"] = newOp()
		if a := boss.post("/suppliers", tt.body); a.status != 422 || !strings.Contains(a.body, tt.word) {
			t.Errorf("%v: %d %s", tt.body, a.status, a.body)
		}
	}
	if vs, err := sh.store.Suppliers(t.Context()); err != nil || len(vs) != 0 {
		t.Errorf("refused suppliers are there: %v, %v", vs, err)
	}
	for _, until := range []string{"", "2026-11-25", "2030-01-01", "soon"} {
		if a := boss.post("/buying/snooze", map[string]string{"op": newOp(), "part": "INS-D11-08", "reason": "waits", "until": until}); a.status != 422 {
			t.Errorf("asleep until %q: %d %s", until, a.status, a.body)
		}
	}
}

// One scan before an empty bin, and a blind count, by the pages.
func TestCountingByPages(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	if a := c.post("/counting/plan", map[string]string{"op": newOp(), "n": "3"}); a.status != 201 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	tasks, err := sh.store.CountTasks(t.Context())
	must(t, err)
	if len(tasks) != 3 {
		t.Fatalf("%d tasks", len(tasks))
	}
	page := c.get("/counting").body
	if strings.Contains(page, ">10<") || !strings.Contains(page, tasks[0].Tag) {
		t.Error("the list shows the record, or not the thing to count")
	}
	id := fmt.Sprint(tasks[0].ID)
	for _, tt := range []struct {
		body   map[string]string
		status int
	}{
		{map[string]string{"task": id, "found": "x", "place": "right", "condition": "right"}, 422},
		{map[string]string{"task": id, "found": "0", "place": "right"}, 422},
		{map[string]string{"task": id, "found": "0", "place": "right", "condition": "right"}, 409},
		{map[string]string{"task": id, "found": "0", "place": "right", "condition": "right", "reason": "gone"}, 201},
		{map[string]string{"task": id, "found": "0", "place": "right", "condition": "right", "reason": "gone"}, 412},
	} {
		tt.body["op"] = newOp()
		if a := c.post("/counting/count", tt.body); a.status != tt.status {
			t.Errorf("%v: %d %s, want %d", tt.body, a.status, a.body, tt.status)
		}
	}
	if a := c.post("/counting/empty", map[string]string{"op": newOp(), "place": "b1-2"}); a.status != 201 || !strings.Contains(a.body, "To count now") {
		t.Errorf("an empty bin: %d %s", a.status, a.body)
	}
	after := c.get("/counting?empty=B1-2")
	if after.status != 200 || !strings.Contains(after.body, "The last five movements in B1-2") || !strings.Contains(after.body, "Brisa Tollan") {
		t.Errorf("who moved things there last is not shown: %d", after.status)
	}
	for _, fault := range faults(after.body) {
		t.Error(fault)
	}
	if a := c.post("/counting/empty", map[string]string{"op": newOp(), "place": "nowhere"}); a.status != 404 {
		t.Errorf("a bin that is none: %d", a.status)
	}
}
