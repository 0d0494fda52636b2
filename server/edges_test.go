package server

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"brasspeg/store"
	"brasspeg/store/life"
)

// runs makes J-1 run on lathe 3 station 4.
func (sh *shop) runs() store.Job {
	sh.t.Helper()
	j, err := sh.store.JobByCode(sh.t.Context(), "J-1")
	must(sh.t, err)
	j.State = "running"
	j, err = sh.store.SaveJob(sh.t.Context(), 0, j)
	must(sh.t, err)
	return j
}

func (c *client) keyed(key, path string, body any) answer {
	c.sh.t.Helper()
	c.head = map[string]string{"Idempotency-Key": key}
	defer func() { c.head = nil }()
	return c.post(path, body)
}

func (sh *shop) edgeRuns() []store.RunLine {
	sh.t.Helper()
	rows, err := sh.store.EdgeRuns(sh.t.Context(), store.RunFilter{})
	must(sh.t, err)
	return rows
}

func TestEdgesByProgram(t *testing.T) {
	sh := newShop(t)
	sh.runs()
	c := sh.program("ivo")
	box := sh.tags("INS-D11-08")[0]
	in := map[string]any{"station": "L3/4", "box": box, "parts": 12, "reason": "worn", "after": "none"}
	key := newOp()
	a := c.keyed(key, "/api/v1/edges", in)
	if a.status != 201 || !strings.Contains(a.body, "Edge 2 is up") {
		t.Fatalf("%d %s", a.status, a.body)
	}
	if b := c.keyed(key, "/api/v1/edges", in); b.status != 201 || b.body != a.body || b.head.Get("Idempotent-Replayed") != "true" {
		t.Errorf("the same key again: %d %s", b.status, b.body)
	}
	// The second operator is told, and not by name.
	if b := sh.program("orla").keyed(newOp(), "/api/v1/edges", in); b.status != 409 || !strings.Contains(b.body, `"exists"`) || !strings.Contains(b.body, "edge 1, 12 parts, worn") || strings.Contains(b.body, "Ivo") {
		t.Errorf("the same change by another: %d %s", b.status, b.body)
	}
	for field, in := range map[string]map[string]any{
		"parts":   {"station": "L3/4", "box": box, "parts": 0, "reason": "worn", "after": key},
		"reason":  {"station": "L3/4", "box": box, "parts": 5, "reason": "tired", "after": key},
		"edge":    {"station": "L3/4", "box": box, "parts": 5, "reason": "worn", "edge": 3, "after": key},
		"station": {"station": "B1-2", "box": box, "parts": 5, "reason": "worn"},
		"box":     {"station": "L3/4", "box": sh.tags("BAR-40-470")[0], "parts": 5, "reason": "worn", "after": key},
		"noted":   {"station": "L3/4", "box": box, "parts": 5, "reason": "worn", "noted": "yesterday"},
	} {
		if b := c.keyed(newOp(), "/api/v1/edges", in); b.status != 422 || !strings.Contains(b.body, `"field":"`+field+`"`) {
			t.Errorf("%v: %d %s", in, b.status, b.body)
		}
	}
	if b := c.keyed(newOp(), "/api/v1/edges", map[string]any{"station": "L3/4", "box": box, "parts": 14, "reason": "planned", "after": key}); b.status != 201 || !strings.Contains(b.body, "scrap tub") {
		t.Errorf("the last edge: %d %s", b.status, b.body)
	}
	var acc struct {
		Jobs []balanceOut `json:"jobs"`
	}
	must(t, json.Unmarshal([]byte(c.get("/api/v1/edges/account").body), &acc))
	if len(acc.Jobs) != 1 || acc.Jobs[0].Issued != 2 || acc.Jobs[0].Used != 2 || acc.Jobs[0].Unexplained != 0 {
		t.Errorf("account %+v", acc)
	}
	if b := c.get("/api/v1/jobs/J-1/edges?confidence=0.9"); b.status != 200 || !strings.Contains(b.body, "14 parts left need") {
		t.Errorf("forecast: %d %s", b.status, b.body)
	}
	if b := c.keyed(newOp(), "/api/v1/jobs/J-1/count", map[string]any{"count": 3}); b.status != 422 || !strings.Contains(b.body, "go back") {
		t.Errorf("counted backwards: %d %s", b.status, b.body)
	}
	if b := c.keyed(newOp(), "/api/v1/lives/1/plan", map[string]any{"planned_at": 12}); b.status != 403 {
		t.Errorf("an operator plans: %d", b.status)
	}
	if b := sh.program("mads").keyed(newOp(), "/api/v1/lives/1/plan", map[string]any{"planned_at": 12, "planned": 4.2, "unplanned": 60}); b.status != 201 {
		t.Errorf("a manager plans: %d %s", b.status, b.body)
	}
	if b := c.get("/api/v1/lives/1"); b.status != 200 || !strings.Contains(b.body, `"change_at"`) || !strings.Contains(b.body, "counted as unfinished") {
		t.Errorf("life: %d %s", b.status, b.body)
	}
	if n := len(sh.edgeRuns()); n != 2 {
		t.Errorf("%d runs", n)
	}
}

// A shop with enough on record that its pages have something to say.
func (sh *shop) lived() {
	sh.t.Helper()
	sh.runs()
	p, err := sh.store.PlaceByCode(sh.t.Context(), "L3/4")
	must(sh.t, err)
	st, err := sh.store.StationAt(sh.t.Context(), p.ID)
	must(sh.t, err)
	box, err := sh.store.ItemByTag(sh.t.Context(), sh.tags("INS-D11-08")[0])
	must(sh.t, err)
	for i, n := range []int{12, 15, 9, 14, 16, 11, 13, 12} {
		sh.now = sh.now.Add(20 * time.Minute)
		in := store.EdgeIn{Station: st.ID, Item: box.ID, Parts: n, Reason: life.Worn, Batch: []string{"heat A", "heat B"}[i/4], Speed: 160, Feed: 0.15, Note: "swarf in the bore"}
		if i%3 == 2 {
			in.Reason = life.Planned
		}
		_, err := sh.store.LogEdge(sh.t.Context(), sh.op("ivo"), in)
		must(sh.t, err)
	}
}

func TestEdgePages(t *testing.T) {
	sh := newShop(t)
	sh.lived()
	mads := sh.as("mads")
	if a := mads.keyed(newOp(), "/api/v1/lives/1/plan", map[string]any{"planned_at": 10, "planned": 4.2, "unplanned": 60, "risk": 0.02}); a.status != 201 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	_, err := sh.store.PartsMade(t.Context(), sh.op("ivo"), store.MadeIn{Job: 1})
	if err == nil {
		t.Error("parts counted back to 0")
	}
	c := sh.program("mads")
	if a, b := c.get("/api/v1/edges/account?from=2026-11-25"), c.get("/api/v1/edges/account?from=25.11.2026"); !strings.Contains(a.body, "J-1") || b.status != 422 || !strings.Contains(b.body, `"from"`) {
		t.Errorf("the account from a day: %s; from no day: %d %s", a.body, b.status, b.body)
	}
	for path, words := range map[string][]string{
		"/machines":                         {"Lathe 3", "J-1 housing"},
		"/machines/L3":                      {"parts to the planned change (0 of 10 made, planned)", "<progress", "Edge 1 of 2", "chipped", "swarf in the bore", "Handover", "heat B"},
		"/edges":                            {"Unexplained", "J-1", "scrap tub", "last 90 days"},
		"/edges?jobs=all":                   {"J-1", "All jobs there ever were"},
		"/edges?weighed=10&each=9":          {"were to be expected"},
		"/lives":                            {"housing", "INS-D11-08", "10 parts"},
		"/lives/1":                          {"curve.svg", "cost.svg", "batch heat B", "Change after", "By accepted risk", "still good", "No Taylor line"},
		"/lives/1?planned=1&unplanned=1.01": {"run to failure"},
	} {
		a := mads.get(path)
		if a.status != 200 {
			t.Errorf("%s: %d %.300s", path, a.status, a.body)
		}
		for _, w := range words {
			if !strings.Contains(a.body, w) {
				t.Errorf("%s does not say %q", path, w)
			}
		}
		for _, fault := range faults(a.body) {
			t.Errorf("%s: %s", path, fault)
		}
	}
	for path, words := range map[string][]string{
		"/lives/1/curve.svg": {"<svg", "parts on the edge", "seen (product-limit)", "planned change, 10 parts"},
		"/lives/1/cost.svg":  {"<svg", "cost of a part", "run to failure"},
	} {
		a := mads.get(path)
		if a.status != 200 || a.head.Get("Content-Type") != "image/svg+xml" {
			t.Errorf("%s: %d %s", path, a.status, a.head.Get("Content-Type"))
		}
		for _, w := range words {
			if !strings.Contains(a.body, w) {
				t.Errorf("%s does not say %q", path, w)
			}
		}
	}
	for path, want := range map[string]int{"/machines/none": 404, "/lives/99": 404, "/lives/x": 404, "/lives/1?planned=x": 422, "/lives/1?planned=3": 422, "/lives/1?risk=2": 422, "/edges?weighed=heavy": 422} {
		if a := mads.get(path); a.status != want {
			t.Errorf("%s: %d, want %d", path, a.status, want)
		}
	}
	if a := sh.as("ada").get("/machines/L3"); a.status != 200 || strings.Contains(a.body, "data-card") {
		t.Errorf("an admin sees the machine and logs nothing: %d", a.status)
	}
	m, err := sh.store.MachineByCode(t.Context(), "L3")
	must(t, err)
	if a := mads.get("/t/" + *m.Tag); a.head.Get("Location") != "/machines/L3" {
		t.Errorf("the tag of the machine opens %q", a.head.Get("Location"))
	}
}

// What one person entered is not booked as another's, whoever has logged in since; the name may
// be of any letters.
func TestEnteredByAnother(t *testing.T) {
	sh := newShop(t)
	sh.runs()
	_, _, err := sh.store.AddPerson(t.Context(), 0, store.PersonIn{Login: "zoe", Name: "Zoë Ångström, jr.", Role: store.Operator, PIN: testPIN, Password: testPassword})
	must(t, err)
	in := map[string]any{"station": "L3/4", "box": sh.tags("INS-D11-08")[0], "parts": 12, "reason": "worn", "after": "none"}
	for _, c := range []struct {
		login, by string
		status    int
	}{{"ivo", "Orla%20Vane", 401}, {"ivo", "%zz", 401}, {"ivo", "Ivo%20Lend", 201}, {"zoe", "Zo%C3%AB%20%C3%85ngstr%C3%B6m%2C%20jr.", 201}} {
		who, before := sh.as(c.login), len(sh.edgeRuns())
		who.head = map[string]string{"Entered-By": c.by, "Idempotency-Key": newOp()}
		a := who.post("/api/v1/edges", in)
		if a.status != c.status || (len(sh.edgeRuns()) > before) != (c.status == 201) {
			t.Errorf("%s sends what %s entered: %d %s", c.login, c.by, a.status, a.body)
		}
		in["after"] = who.head["Idempotency-Key"]
		if a.status != 201 {
			in["after"] = "none"
		}
		in["parts"] = 14
	}
}

// An operator logs a change by three scans: the machine, the box, the reason.
func TestBrowserEdgeByThreeScans(t *testing.T) {
	sh := newShop(t)
	job := sh.runs()
	_, err := sh.store.PartsMade(t.Context(), sh.op("ivo"), store.MadeIn{Job: job.ID, Count: 18})
	must(t, err)
	m, err := sh.store.MachineByCode(t.Context(), "L3")
	must(t, err)
	box := sh.tags("INS-D11-08")[0]
	b := sh.browser(t)
	b.login("ivo")
	b.wedge(*m.Tag)
	b.until("h1", "Lathe 3")
	b.wedge(box)
	b.until("#reading", "Now the reason")
	b.wedge("EDGE-WORN")
	b.until("#reading", "Logged edge 1 of INS-D11-08")
	b.until("#seats", "Edge 2 of 2")
	b.shot("machine-logged")
	if rows := sh.edgeRuns(); len(rows) != 1 || rows[0].Parts != 18 || rows[0].Reason != life.Worn || rows[0].Tag != box || rows[0].NotedAt.IsZero() {
		t.Errorf("runs %+v", rows)
	}
	lines, err := sh.store.Lines(t.Context(), store.LineFilter{Limit: 1})
	must(t, err)
	if lines[0].Act != "issue" || lines[0].To != "Lathe 3 station 4" || lines[0].Job != "J-1" {
		t.Errorf("the ledger's last line: %+v", lines[0])
	}
	b.do(chromedp.Click("#undo-last button"))
	b.until("#reading", "Undone")
	if rows := sh.edgeRuns(); !rows[0].Undone {
		t.Error("not undone")
	}
	b.calm()
}

// With the network gone an operator goes on logging; when it is back everything is sent once,
// in order, and what the server refuses stays until a person has seen it.
func TestBrowserEdgeOffline(t *testing.T) {
	sh := newShop(t)
	sh.runs()
	box := sh.tags("INS-D11-08")[0]
	b := sh.browser(t)
	b.login("ivo")
	b.open("/machines/L3")
	b.do(chromedp.WaitVisible("#s4-parts"))

	addr := sh.http.Listener.Addr().String()
	sh.http.CloseClientConnections()
	sh.http.Close()
	log := func(parts, card string) {
		b.wedge(box)
		b.until("#reading", "Now the reason")
		b.do(chromedp.SetValue("#s4-parts", parts))
		b.wedge(card)
		b.until("#reading", "Taken")
	}
	log("12", "EDGE-WORN")
	b.until("#unsent-count", "Offline: 1 change waits")
	log("13", "EDGE-CHIPPED")
	b.until("#unsent-count", "Offline: 2 changes wait")
	log("11", "EDGE-PLANNED")
	b.until("#unsent-count", "Offline: 3 changes wait")
	b.shot("machine-offline")
	if n := len(sh.edgeRuns()); n != 0 {
		t.Errorf("%d runs while the server was away", n)
	}

	ln, err := net.Listen("tcp", addr)
	must(t, err)
	back := &httptest.Server{Listener: ln, Config: &http.Server{Handler: sh.server.Handler()}}
	back.Start()
	t.Cleanup(back.Close)
	for range 400 {
		if len(sh.edgeRuns()) == 3 && b.text("#unsent-count") == "" {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	var got []string
	for _, r := range sh.edgeRuns() {
		got = append(got, fmt.Sprintf("%d %s edge %d", r.Parts, r.Reason, r.Edge))
	}
	if s := strings.Join(got, ", "); s != "11 planned edge 1, 13 chipped edge 2, 12 worn edge 1" {
		t.Errorf("sent: %s", s)
	}
	if s := b.text("#unsent-count"); s != "" {
		t.Errorf("still unsent: %q", s)
	}
	// A refusal stays on screen until it has been seen.
	job, err := sh.store.JobByCode(t.Context(), "J-1")
	must(t, err)
	job.State = "closed"
	_, err = sh.store.SaveJob(t.Context(), 0, job)
	must(t, err)
	log2 := func() {
		b.do(chromedp.SetValue("#s4-parts", "9"))
		b.wedge("EDGE-WORN")
	}
	log2()
	b.until("#unsent", "J-1 is closed")
	b.do(chromedp.Click("#unsent button"))
	for range 60 {
		if b.text("#unsent") == "" {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if s := b.text("#unsent"); s != "" {
		t.Errorf("seen, and still there: %q", s)
	}
}

// What an operator has entered and not yet sent outlives what the page reads anew: a number, a
// tick, and the question that an unusual entry came back with.
func TestBrowserEdgeEnteredStays(t *testing.T) {
	sh := newShop(t)
	job := sh.runs()
	job.Request = strings.NewReplacer(`"RE":0.8`, `"RE":0.4`, `"RE": 0.8`, `"RE": 0.4`).Replace(job.Request)
	_, err := sh.store.SaveJob(t.Context(), 0, job)
	must(t, err)
	b := sh.browser(t)
	b.login("ivo")
	b.open("/machines/L3")
	b.wedge(sh.tags("INS-D11-08")[0])
	b.until("#reading", "Now the reason")
	anew := func() {
		b.js(`document.activeElement.blur(), document.getElementById("seats").dataset.old = "1", dispatchEvent(new Event("online")), ""`)
		b.untilJS(`document.getElementById("seats").dataset.old ?? "new"`, "new")
	}
	fields := `["parts", "note", "why"].map((n) => document.querySelector("form.edge").elements[n].value).join("|") +
		(document.getElementById("s4-fresh").checked ? " fresh" : "") + (document.querySelector(".asked").hidden ? "" : " asked")`
	write := func(sel, text string) { // slower than a scanner
		b.do(chromedp.Focus(sel))
		b.keys(100*time.Millisecond, text)
	}
	b.do(chromedp.Click("form.edge summary"))
	write("#s4-parts", "900")
	write("#s4-note", "hard-skin")
	b.do(chromedp.Click("#s4-fresh"))
	b.untilJS(fields, "900|hard-skin| fresh")
	anew()
	b.untilJS(fields, "900|hard-skin| fresh")
	b.do(chromedp.Click(`form.edge button[value="worn"]`))
	b.untilJS(fields, "900|hard-skin| fresh asked")
	write("#s4-why", "soft-batch")
	b.untilJS(fields, "900|hard-skin|soft-batch fresh asked")
	anew()
	b.untilJS(fields, "900|hard-skin|soft-batch fresh asked")
	b.do(chromedp.Click(`form.edge button[value="worn"]`))
	b.until("#reading", "Logged edge 1")
	if rows := sh.edgeRuns(); len(rows) != 1 || rows[0].Parts != 900 || rows[0].Note == "" {
		t.Errorf("runs %+v", rows)
	}
}
