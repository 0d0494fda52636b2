package server

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"brasspeg/store"
)

// A drawer is counted with a scanner and number keys alone: its scan goes to its line, the number
// and Enter book it once, the page says what was found and goes on to the next. A difference is
// asked about without saying how large it is, and a wrong count is taken back and counted again.
func TestBrowserCountsADrawer(t *testing.T) {
	sh := newShop(t)
	bin, err := sh.store.PlaceByCode(t.Context(), "B1-2")
	must(t, err)
	lot := sh.tags("INS-D11-08")[0]
	b := sh.browser(t)
	b.login("brisa")
	before := sh.movements()

	b.open("/places/B1-2")
	b.do(chromedp.Focus(`form[hx-post="/counting/drawer"] button`))
	b.keys(0, "\r")
	b.until("h2#tasks", "To count in B1-2")
	if strings.Contains(b.text("main"), "10") {
		t.Errorf("whoever counts can read what the record says: %s", b.text("main"))
	}
	b.wedge(*bin.Tag)
	b.untilJS(`document.activeElement.name`, "found")
	b.js(`document.activeElement.blur(), ""`)
	b.wedge(lot)
	b.untilJS(`document.activeElement.name`, "found")
	b.keys(110*time.Millisecond, "7")
	b.keys(0, "\r")
	b.until("#alert", "not what the record says")
	if s := b.text("#alert"); strings.Contains(s, "10") || strings.Contains(s, "3 ") || sh.movements() != before {
		t.Errorf("a difference is asked about with %q, after %d movements", s, sh.movements()-before)
	}
	b.do(chromedp.Focus(`input[name="reason"]`))
	b.keys(110*time.Millisecond, "spilt")
	b.keys(0, "\r")
	b.until(`p[role="status"]`, "7 found, the record said 10")
	if sh.movements() != before+1 || sh.where(lot) != "7 in B1-2" {
		t.Errorf("%d movements; %s", sh.movements()-before, sh.where(lot))
	}
	b.shot("counted")
	b.do(chromedp.Focus(`form[hx-post="/counting/undo"] button`))
	b.keys(0, "\r")
	b.until("h3", lot) // it is to be counted again
	if sh.where(lot) != "10 in B1-2" {
		t.Errorf("after the count was taken back: %s", sh.where(lot))
	}
	b.wedge(lot)
	b.untilJS(`document.activeElement.name`, "found")
	b.keys(110*time.Millisecond, "10")
	b.keys(0, "\r")
	b.until(`p[role="status"]`, "10 found, as the record says")
	acc, err := sh.store.Accuracy(t.Context(), "2026-11-01")
	must(t, err)
	if acc.Counted != 1 || acc.Right != 1 {
		t.Errorf("the count that was taken back still counts: %+v", acc)
	}
	if rep, err := sh.store.Verify(t.Context()); err != nil || len(rep.Faults) > 0 {
		t.Errorf("the books after a count was taken back: %+v, %v", rep, err)
	}
}

// After one count the next line has the focus, so that a drawer is a number and Enter a line.
func TestCountGoesOnToTheNextLine(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	c.head = map[string]string{"HX-Request": "true"}
	for range 2 { // asked for twice, it is on the list once
		if a := c.post("/counting/drawer", map[string]string{"op": newOp(), "place": "A1-2"}); a.head.Get("HX-Redirect") != "/counting?place=A1-2" {
			t.Fatalf("%d %s", a.status, a.body)
		}
	}
	tasks, err := sh.store.CountTasks(t.Context())
	must(t, err)
	if len(tasks) != 2 {
		t.Fatalf("two bars stand in A1-2, %d are to be counted", len(tasks))
	}
	a := c.post("/counting/count", map[string]string{"op": newOp(), "task": "1", "at": "A1-2", "found": "1", "place": "right", "condition": "right", "reason": ""})
	next := a.head.Get("HX-Redirect")
	if page := c.get(next).body; a.status != 204 || strings.Count(page, "autofocus") != 1 || strings.Count(page, `name="found"`) != 1 || !strings.Contains(page, "1 found, as the record says") {
		t.Errorf("%d, then %s: %s", a.status, next, page)
	}
	if a := c.post("/counting/drawer", map[string]string{"op": newOp(), "place": "L3/4"}); a.status != 422 {
		t.Errorf("a station is counted as a drawer: %d %s", a.status, a.body)
	}
}

// A count that is undone at the Window is open again too, on both ways to undo it.
func TestUndoneCountIsOpenAgain(t *testing.T) {
	sh := newShop(t)
	bin, err := sh.store.PlaceByCode(t.Context(), "B1-2")
	must(t, err)
	_, err = sh.store.PlanDrawer(t.Context(), bin.ID, "Brisa")
	must(t, err)
	_, err = sh.store.CountTask(t.Context(), sh.op("brisa"), store.CountTaskIn{Task: 1, Found: 9, PlaceOK: true, ConditionOK: true, Reason: "x"})
	must(t, err)
	sh.window("brisa").scan("UNDO")
	tasks, err := sh.store.CountTasks(t.Context())
	must(t, err)
	if len(tasks) != 1 || sh.where(sh.tags("INS-D11-08")[0]) != "10 in B1-2" {
		t.Errorf("%d tasks are open; %s", len(tasks), sh.where(sh.tags("INS-D11-08")[0]))
	}
}

// Every field whose label asks for a scan takes one: the page's own scripts fill it, or it is a
// field for codes.
func TestFieldsThatAskForAScanTakeOne(t *testing.T) {
	own := map[string]bool{"scan": true, "badge": true, "given": true} // filled by scan.js and lock.js by name
	asks := regexp.MustCompile(`<label for="([^"]*)">[^<]*[Ss]can[^<]*</label><input([^>]*)>`)
	files, err := filepath.Glob("../web/templates/*.html")
	must(t, err)
	n := 0
	for _, f := range files {
		text, err := os.ReadFile(f)
		must(t, err)
		for _, m := range asks.FindAllStringSubmatch(string(text), -1) {
			n++
			if !own[m[1]] && !strings.Contains(m[2], `class="code"`) && !strings.Contains(m[2], "data-scan") {
				t.Errorf("%s: the field %s asks for a scan, and a scan opens another page: give it class code or data-scan", f, m[1])
			}
		}
	}
	if n < 6 {
		t.Errorf("only %d fields ask for a scan", n)
	}
}

// A scan into a field for codes stays on the page with all that was entered; one on a page that is
// there for a scan needs no focus.
func TestBrowserScanIntoFields(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	bin, err := sh.store.PlaceByCode(t.Context(), "B1-2")
	must(t, err)
	b := sh.browser(t)
	b.login("brisa")
	for _, f := range []struct{ path, field, text string }{{"/counting", "#place", *bin.Tag}, {"/counting", "#drawer", *bin.Tag}, {"/regrind", "#tag", tag}} {
		b.open(f.path)
		b.do(chromedp.Focus(f.field))
		b.wedge(f.text)
		b.untilJS(`document.querySelector("`+f.field+`")?.value ?? ""`, f.text)
		b.untilJS(`location.pathname`, f.path)
	}
	b.open("/labels")
	b.wedge(tag)
	b.untilJS(`location.pathname + document.getElementById("select").value`, "/labels"+tag)
	b.until("#preview", "As it will be printed")
	b.open("/labels")
	b.do(chromedp.Focus("#select"))
	b.keys(110*time.Millisecond, "a1-1,")
	b.untilJS(`document.getElementById("select").value`, "a1-1,")
	b.wedge(tag)
	b.untilJS(`document.getElementById("select").value`, "a1-1, "+tag)
	b.open("/codes")
	b.wedge("MB-7740018")
	b.until(`p[role="status"]`, "MB-7740018")
	b.open("/search") // any other page opens what was scanned
	b.wedge(tag)
	b.untilJS(`location.pathname`, "/pieces/"+tag)
}
