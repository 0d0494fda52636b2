package server

import (
	"fmt"
	"net/url"
	"strings"
	"testing"
	"time"

	"brasspeg/store"
)

func printForm(op, sel string, more ...string) map[string]string {
	in := map[string]string{"op": op, "select": sel}
	for i := 0; i+1 < len(more); i += 2 {
		in[more[i]] = more[i+1]
	}
	return in
}

// A bad label is printed again with the same id by typing what can still be read: choose,
// print, and the file holds it. The print is on record and the sheet is used up.
func TestReprint(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	tag := sh.tags("BAR-40-470")[0]
	typed := strings.ToLower(tag[:1]) + "-" + tag[1:5] + " " + tag[5:]
	page := c.get("/labels?sheet=a4&start=3&select=" + url.QueryEscape(typed))
	if page.status != 200 || !strings.Contains(page.body, "<button>Print</button>") || !strings.Contains(page.body, "/labels/page.svg?") {
		t.Fatalf("%d: %s", page.status, page.body)
	}
	svg := c.get("/labels/page.svg?page=1&sheet=a4&start=3&select=" + tag)
	if svg.status != 200 || !strings.HasPrefix(svg.body, "<svg") || strings.Count(svg.body, "translate(") != 1 {
		t.Errorf("preview: %d, %.200s", svg.status, svg.body)
	}
	op := newOp()
	for range 2 { // twice the button is one print
		a := c.post("/labels/prints", printForm(op, typed, "sheet", "a4", "start", "3", "right", "0,5", "down", "-0.2", "dpi", "0"))
		if a.status != 201 && a.status != 204 {
			t.Fatalf("print: %d %s", a.status, a.body)
		}
	}
	runs, err := sh.store.LabelRuns(t.Context(), 10)
	must(t, err)
	if len(runs) != 1 || runs[0].FirstTag != tag || runs[0].Person != "Brisa Tollan" || runs[0].First != 3 || runs[0].RightMM != 0.5 || runs[0].DownMM != -0.2 {
		t.Errorf("on record: %+v", runs)
	}
	pdf := c.get("/labels/prints/" + op + "/labels.pdf")
	if pdf.status != 200 || !strings.HasPrefix(pdf.body, "%PDF-") || pdf.head.Get("Content-Type") != "application/pdf" {
		t.Errorf("file: %d %s", pdf.status, pdf.head)
	}
	if a := c.get("/labels/prints/" + op); a.status != 200 || !strings.Contains(a.body, "labels.pdf") {
		t.Errorf("print page: %d", a.status)
	}
	// The browser remembers the medium; the next label of the sheet is offered.
	if a := c.get("/labels"); !strings.Contains(a.body, `name="start" value="4"`) || !strings.Contains(a.body, `name="right" value="0.5"`) || !strings.Contains(a.body, `name="down" value="-0.2"`) {
		t.Errorf("not remembered: %s", a.body)
	}
	if a := sh.as("mads").get("/labels"); !strings.Contains(a.body, `name="start" value="1"`) {
		t.Error("another browser remembers it too")
	}
}

// What cannot be printed is said on the page with what was typed still there, and is on no
// record.
func TestLabelsPageRefuses(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	tag := sh.tags("BAR-40-470")[0]
	for _, bad := range []struct {
		query  string
		status int
		says   string
	}{
		{"select=no+such+thing", 404, "no such thing"},
		{"select=" + tag[:8] + string('A'+(tag[8]-'A'+1)%26), 422, tag},
		{"select=people", 403, "secret"},
		{"select=pieces&sheet=a4:300x20", 422, "does not fit"},
		{"select=pieces&own=folio", 422, "no medium"},
		{"select=pieces&sheet=a4&start=22", 422, "labels 1 to 21"},
		{"select=pieces&right=eleven", 422, "mm"},
		{"select=pieces&sheet=12x9", 422, "modules"},
		{"select=%00", 422, "readable"},
	} {
		a := c.get("/labels?" + bad.query)
		if a.status != bad.status || !strings.Contains(a.body, bad.says) || strings.Contains(a.body, "<button>Print</button>") {
			t.Errorf("%s: %d, want %d and %q", bad.query, a.status, bad.status, bad.says)
		}
		v, err := url.ParseQuery(bad.query)
		must(t, err)
		in := map[string]string{"op": newOp()}
		for k := range v {
			name := k
			if k == "own" {
				name = "sheet"
			}
			in[name] = v.Get(k)
		}
		if a := c.post("/labels/prints", in); a.status < 400 || a.status >= 500 {
			t.Errorf("printing %s: %d", bad.query, a.status)
		}
	}
	if a := c.post("/labels/prints", printForm(newOp(), " ")); a.status != 422 {
		t.Errorf("printing nothing: %d", a.status)
	}
	runs, err := sh.store.LabelRuns(t.Context(), 10)
	must(t, err)
	if len(runs) != 0 {
		t.Errorf("on record: %+v", runs)
	}
}

// A thousand labels are one page with their count, and one file under 2 MB.
func TestThousandLabelsFromThePage(t *testing.T) {
	sh := newShop(t)
	p, err := sh.store.PartByCode(t.Context(), "BAR-40-470")
	must(t, err)
	for range 5 {
		_, err := sh.store.Receive(t.Context(), sh.op("brisa"), store.ReceiveIn{Part: p.ID, Qty: 200})
		must(t, err)
	}
	c := sh.as("brisa")
	if a := c.get("/labels?sheet=a4&select=bars"); a.status != 200 || !strings.Contains(a.body, "1002") || len(a.body) > 50<<10 {
		t.Errorf("page: %d, %d bytes", a.status, len(a.body))
	}
	op := newOp()
	if a := c.post("/labels/prints", printForm(op, "bars", "sheet", "a4")); a.status >= 300 {
		t.Fatalf("print: %d %s", a.status, a.body)
	}
	if a := c.get("/labels/prints/" + op + "/labels.pdf"); a.status != 200 || len(a.body) > 2<<20 {
		t.Errorf("file: %d, %d bytes", a.status, len(a.body))
	}
}

// Labels of coolant-side parts that are older than 180 days are listed by place, and a
// renewed one leaves the list.
func TestWornPage(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	for _, tag := range sh.tags("BAR-40-470") {
		if a := c.get("/labels/worn"); strings.Contains(a.body, tag) {
			t.Error("a new piece is to be renewed")
		}
	}
	// What came half a year ago.
	sh.store.SetClock(func() time.Time { return sh.now.Add(-181 * 24 * time.Hour) })
	var tags []string
	for _, code := range []string{"BAR-40-470", "BAR-40-470", "HED-40R", "INS-D11-08"} {
		p, err := sh.store.PartByCode(t.Context(), code)
		must(t, err)
		r, err := sh.store.Receive(t.Context(), sh.op("brisa"), store.ReceiveIn{Part: p.ID, Qty: 1, Box: "old"})
		must(t, err)
		tags = append(tags, r.Lines[0].Tag)
	}
	sh.store.SetClock(func() time.Time { return sh.now })
	a := c.get("/labels/worn")
	if !strings.Contains(a.body, tags[0]) || !strings.Contains(a.body, "none on record") || strings.Contains(a.body, tags[3]) {
		t.Errorf("after 181 days: %s", a.body)
	}
	if a := c.get("/labels/worn?place=B1-1"); strings.Contains(a.body, tags[0]) || !strings.Contains(a.body, tags[2]) {
		t.Error("the list is not by place")
	}
	if a := c.post("/labels/prints", printForm(newOp(), tags[0], "sheet", "50x25", "dpi", "203")); a.status >= 300 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	runs, err := sh.store.LabelRuns(t.Context(), 1)
	must(t, err)
	for _, f := range []string{"", "/labels.pdf", "/labels.zpl", "/labels.epl", "/labels.png", "/labels.svg", "/page.svg"} {
		if a := c.get("/labels/prints/" + runs[0].OpID + f); a.status != 200 || len(a.body) < 500 {
			t.Errorf("print%s: %d, %d bytes", f, a.status, len(a.body))
		}
	}
	if a := c.get("/labels?select=" + tags[0]); !strings.Contains(a.body, `<option value="50x25" selected>`) || !strings.Contains(a.body, `<option value="203" selected>`) {
		t.Error("the label printer is not remembered")
	}
	if a := c.get("/labels/worn"); strings.Contains(a.body, tags[0]) || !strings.Contains(a.body, tags[1]) {
		t.Error("a renewed label is still on the list, or its neighbour left it")
	}
}

// A badge is shown once to who may make it, works, and ends the one before.
func TestMakeBadge(t *testing.T) {
	sh := newShop(t)
	a := sh.as("ada").post("/labels/badges", map[string]string{"op": newOp(), "login": "ivo"})
	if a.status != 200 || !strings.Contains(a.body, "<svg") || a.head.Get("Cache-Control") != "no-store" {
		t.Fatalf("%d %s", a.status, a.body)
	}
	if _, err := sh.store.PersonByBadge(t.Context(), sh.badges["ivo"]); err == nil {
		t.Error("the old badge still works")
	}
	_, after, _ := strings.Cut(a.body, "<title>Label ")
	text, _, _ := strings.Cut(after, "<")
	if p, err := sh.store.PersonByBadge(t.Context(), text); err != nil || p.Name != "Ivo Lend" {
		t.Errorf("the badge shown is of %+v, %v", p.Name, err)
	}
	// A form sent again, even for another person, ends no badge that it does not show; each badge
	// shown brings the op id for the next.
	again := map[string]string{"op": newOp(), "login": "ivo"}
	ada := sh.as("ada")
	if a := ada.post("/labels/badges", again); a.status != 200 || !strings.Contains(a.body, `name="op" value="`) || strings.Contains(a.body, again["op"]) {
		t.Errorf("a badge brings no new op id: %d %s", a.status, a.body)
	}
	for _, who := range []string{"orla", "brisa"} {
		for _, op := range []string{again["op"], "short", ""} {
			again["login"], again["op"] = who, op
			if a := ada.post("/labels/badges", again); a.status < 400 || a.status >= 500 {
				t.Errorf("a badge of %s under the op id %q: %d", who, op, a.status)
			}
		}
		if _, err := sh.store.PersonByBadge(t.Context(), sh.badges[who]); err != nil {
			t.Errorf("the badge of %s stopped working, and none was shown: %v", who, err)
		}
	}
	if a := sh.as("brisa").post("/labels/badges", map[string]string{"op": newOp(), "login": "ivo"}); a.status != 403 {
		t.Errorf("an attendant makes badges: %d", a.status)
	}
	runs, err := sh.store.LabelRuns(t.Context(), 1)
	must(t, err)
	if len(runs) != 1 || strings.Contains(fmt.Sprint(runs), text) {
		t.Errorf("on record: %+v", runs)
	}
}

// The reason cards are printed from the labels page, and each says what a button of the
// machine's page understands; anywhere else a scanned one tells where it belongs.
func TestReasonCards(t *testing.T) {
	sh := newShop(t)
	sh.runs()
	c := sh.as("brisa")
	if a := c.get("/labels"); !strings.Contains(a.body, `href="/labels?select=reasons"`) {
		t.Error("the labels page does not offer the reason cards")
	}
	op := newOp()
	if a := c.post("/labels/prints", printForm(op, "reasons", "sheet", "a4")); a.status >= 300 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	machine := c.get("/machines/L3").body
	cards, err := sh.store.Labels(t.Context(), "reasons")
	must(t, err)
	if len(cards) != 8 || strings.Count(machine, "data-card=") != 8 {
		t.Errorf("%d cards, %d buttons", len(cards), strings.Count(machine, "data-card="))
	}
	if page := c.get("/labels/prints/" + op + "/page.svg").body; strings.Count(page, "translate(") != 8 {
		t.Errorf("%d labels on the page", strings.Count(page, "translate("))
	}
	for _, l := range cards {
		if !strings.Contains(machine, `value="`+l.Title+`" data-card="`+l.Tag+`"`) {
			t.Errorf("the machine's page has no button for %s, %s", l.Tag, l.Title)
		}
	}
	if a := c.get("/t/EDGE-WORN"); a.status != 422 || !strings.Contains(a.body, "page of a machine") {
		t.Errorf("scanned elsewhere: %d %.200s", a.status, a.body)
	}
	if a := c.get("/labels?select=edge-worn"); a.status != 200 || !strings.Contains(a.body, "<button>Print</button>") {
		t.Errorf("one card alone: %d", a.status)
	}
}

// After a delivery of more labels than one print holds the page opens all the same, says how many
// wait, and what is too much at once is refused beside the choice.
func TestLabelsOfABigDelivery(t *testing.T) {
	sh := newShop(t)
	bar, err := sh.store.PartByCode(t.Context(), "BAR-40-470")
	must(t, err)
	for range 26 {
		_, err := sh.store.Receive(t.Context(), sh.op("brisa"), store.ReceiveIn{Part: bar.ID, Qty: 200})
		must(t, err)
	}
	c := sh.as("brisa")
	if a := c.get("/labels"); a.status != 200 || !strings.Contains(a.body, "on record: more than 5000") {
		t.Errorf("%d, and 5205 things wait for a label: %.2000s", a.status, a.body)
	}
	a := c.get("/labels?select=new")
	if a.status != 422 || !strings.Contains(a.body, "more than 5000 labels") || !strings.Contains(a.body, `name="select"`) {
		t.Errorf("%d: %.2000s", a.status, a.body)
	}
}
