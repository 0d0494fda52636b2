package server

import (
	"fmt"
	"sort"
	"strings"
	"sync"
	"testing"

	"brasspeg/store"
)

// A teller counts the statements of a store.
type teller struct {
	mu  sync.Mutex
	sql []string
}

func (q *teller) seen(sql string) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.sql = append(q.sql, sql)
}

// during returns the statements that fn causes.
func (q *teller) during(fn func()) []string {
	q.mu.Lock()
	q.sql = nil
	q.mu.Unlock()
	fn()
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.sql
}

// grow makes a shop n times the size: parts, pieces, places, people, jobs with plans and
// promises, things out, edges, suppliers, orders and counts.
func (sh *shop) grow(n int) {
	sh.t.Helper()
	ctx := sh.t.Context()
	machine, err := sh.store.MachineByCode(ctx, "L3")
	must(sh.t, err)
	stations, err := sh.store.Stations(ctx, machine.ID)
	must(sh.t, err)
	j1, err := sh.store.JobByCode(ctx, "J-1")
	must(sh.t, err)
	bin, err := sh.store.PlaceByCode(ctx, "A1-2")
	must(sh.t, err)
	for i := range n {
		_, err := sh.store.AddPlace(ctx, store.Place{Code: fmt.Sprintf("D%d", i), Kind: store.Bin})
		must(sh.t, err)
		person, _, err := sh.store.AddPerson(ctx, 0, store.PersonIn{Login: fmt.Sprintf("op%d", i), Name: fmt.Sprintf("Operator %d", i), Role: store.Operator})
		must(sh.t, err)
		in, err := store.PartFrom(map[string]any{"id": fmt.Sprintf("BAR-40-%d", 480+i), "kind": "bar", "DCONMS": 40, "unit": "mm", "construction": "damped_steel", "OAL": 480 + i,
			"CCWS": "H40", "flat": false, "coolant": true, "coolant_in": []any{"bore"}, "CP": 100, "WT": 4.7}, "entered")
		must(sh.t, err)
		in.Part.HomeID = &bin.ID
		part, err := sh.store.SavePart(ctx, 0, in)
		must(sh.t, err)
		got, err := sh.store.Receive(ctx, sh.op("brisa"), store.ReceiveIn{Part: part.ID, Qty: 2})
		must(sh.t, err)
		out, err := sh.store.ItemByTag(ctx, got.Lines[0].Tag)
		must(sh.t, err)
		_, err = sh.store.Issue(ctx, sh.op("brisa"), store.IssueIn{Picks: []store.Pick{{Item: out.ID, Qty: 1}}, To: person.PlaceID, Job: j1.ID, Due: "2026-11-30"})
		must(sh.t, err)
		kept, err := sh.store.ItemByTag(ctx, got.Lines[1].Tag)
		must(sh.t, err)
		j, err := sh.store.SaveJob(ctx, 0, store.Job{Code: fmt.Sprintf("G-%d", i), Name: "liner", MachineID: &machine.ID, StationID: &stations[0].ID, Material: "P", PartsQty: 40,
			FromDay: "2026-12-01", ToDay: "2026-12-02", Request: j1.Request})
		must(sh.t, err)
		_, err = sh.store.Reserve(ctx, sh.op("brisa"), store.ReserveIn{Job: j.ID, Picks: []store.Pick{{Item: kept.ID, Qty: 1}}})
		must(sh.t, err)
		v, err := sh.store.AddSupplier(ctx, 0, store.Supplier{Code: fmt.Sprintf("S%d", i), Name: "Hollin Supply"})
		must(sh.t, err)
		made, err := sh.store.NewOrder(ctx, sh.op("mads"), v.ID, "2026-11-26", "")
		must(sh.t, err)
		_, err = sh.store.SetLine(ctx, sh.op("mads"), store.LineIn{Order: made.Says, Part: part.ID, Pieces: 2, Seen: true})
		must(sh.t, err)
		if i == 0 {
			sh.orderOfShop = made.Says
		}
		_, err = sh.store.PrintLabels(ctx, sh.op("brisa"), store.PrintIn{Tags: []string{got.Lines[0].Tag}, Medium: "a4"})
		must(sh.t, err)
	}
	// Edges come off one insert after another on the one station.
	_, err = sh.store.Receive(ctx, sh.op("brisa"), store.ReceiveIn{Part: sh.partID("INS-D11-08"), Qty: int64(5 * n)})
	must(sh.t, err)
	sh.runs()
	c, after := sh.program("ivo"), "none"
	for i := range 4 * n {
		key := newOp()
		a := c.keyed(key, "/api/v1/edges", map[string]any{"station": "L3/4", "box": sh.tags("INS-D11-08")[0], "parts": 12 + i%3, "reason": "worn", "after": after})
		if a.status != 201 {
			sh.t.Fatalf("edge %d: %d %s", i, a.status, a.body)
		}
		after = key
	}
}

func (sh *shop) partID(code string) store.PartID {
	sh.t.Helper()
	p, err := sh.store.PartByCode(sh.t.Context(), code)
	must(sh.t, err)
	return p.ID
}

// asks are the addresses that are read: every page, and every list and record of the API.
func (sh *shop) asks() []string {
	bar, lot := sh.tags("BAR-40-470")[0], sh.tags("INS-D11-08")[0]
	paths := sh.pagesOfShop()
	paths = append(paths, "/lives/1", "/orders/"+sh.orderOfShop, "/suppliers/S0", "/window/recent", "/t/"+bar, "/jobs/G-0", "/labels?select="+bar)
	for path := range sh.server.api.params {
		method, path, _ := strings.Cut(path, " ")
		if method != "GET" || path == "/api/v1/openapi.json" {
			continue
		}
		noun := strings.Split(path, "/")[3]
		path = strings.NewReplacer(":tag", map[string]string{"lots": lot}[noun], ":login", "ivo", ":id", "1",
			":op/:file", "nothing-of-that-name/labels.pdf", ":op", "nothing-of-that-name", ":file", "labels.svg",
			":code", map[string]string{"parts": "BAR-40-470", "buying": "BAR-40-470", "places": "A1-2", "jobs": "G-0", "orders": sh.orderOfShop}[noun]).Replace(path)
		if noun == "pieces" || noun == "tags" {
			path = strings.TrimSuffix(path, "/") + "/" + bar
		}
		switch path {
		case "/api/v1/pieces/" + bar:
			paths = append(paths, "/api/v1/pieces?place=A1-2&limit=200")
		case "/api/v1/lots":
			path += "?place=B1-2"
		case "/api/v1/designations":
			path += "?text=CNMG+432"
		case "/api/v1/mates":
			path += "?male=G+1/4&female=NPT+1/4"
		case "/api/v1/labels", "/api/v1/labels/files/labels.svg":
			path += "?select=" + bar
		case "/api/v1/parts":
			paths = append(paths, "/api/v1/parts?q=bar+40&limit=200")
		}
		paths = append(paths, path)
	}
	sort.Strings(paths)
	return paths
}

// A page asks the store as often in a shop of ten times the size: what is asked in a loop over
// rows makes a page that is quick in the office and slow in the shop.
func TestQueriesDoNotGrow(t *testing.T) {
	count := func(n int) map[string][]string {
		var q teller
		sh := newShopIn(t, store.Options{Dir: t.TempDir(), Trace: q.seen})
		sh.grow(n)
		browser := sh.as("mads")
		program := sh.program("mads")
		out := map[string][]string{}
		for _, path := range sh.asks() {
			c := browser
			if strings.HasPrefix(path, "/api/") {
				c = program
			}
			var a answer
			for range 2 { // the second time nothing is worked out anew
				out[path] = q.during(func() { a = c.get(path) })
			}
			if a.status >= 400 && !strings.Contains(path, "nothing") {
				t.Errorf("%s: %d %.200s", path, a.status, a.body)
			}
		}
		return out
	}
	small, large := count(2), count(20)
	most := 0
	for path, few := range small {
		many, ok := large[path]
		if !ok { // its address names a thing of that shop
			continue
		}
		most = max(most, len(many))
		if len(many) > len(few) {
			t.Errorf("%s asks %d times in a small shop and %d times in one ten times the size; one of the statements: %s", path, len(few), len(many), repeated(many))
		}
	}
	t.Logf("%d addresses, at most %d statements each", len(small), most)
}

// repeated is the statement that stands most often, by its first words.
func repeated(sql []string) string {
	n, most := map[string]int{}, ""
	for _, s := range sql {
		if len(s) > 120 {
			s = s[:120]
		}
		s = strings.Join(strings.Fields(s), " ")
		n[s]++
		if n[s] > n[most] {
			most = s
		}
	}
	return most
}
