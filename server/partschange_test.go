package server

import (
	"html"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"brasspeg/store"
)

// formOf reads a part's form as a browser would send it.
func formOf(t *testing.T, body string) map[string]string {
	t.Helper()
	_, body, ok := strings.Cut(body, `<form class="grid"`)
	if !ok {
		t.Fatal("there is no form on the page")
	}
	out := map[string]string{}
	for _, m := range regexp.MustCompile(`<input([^>]*)>`).FindAllStringSubmatch(body, -1) {
		attr := func(name string) string {
			if a := regexp.MustCompile(` ` + name + `="([^"]*)"`).FindStringSubmatch(m[1]); a != nil {
				return html.UnescapeString(a[1])
			}
			return ""
		}
		if name := attr("name"); name != "" && (!strings.Contains(m[1], `type="checkbox"`) || strings.Contains(m[1], " checked")) {
			out[name] = attr("value")
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<select[^>]* name="([^"]*)"[^>]*>(.*?)</select>`).FindAllStringSubmatch(body, -1) {
		out[m[1]] = ""
		if o := regexp.MustCompile(`<option value="([^"]*)" selected>`).FindStringSubmatch(m[2]); o != nil {
			out[m[1]] = html.UnescapeString(o[1])
		}
	}
	return out
}

// The form shows every value with where it comes from; sent back it changes nothing, and with a
// value touched just that.
func TestChangePartPage(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	bar := map[string]string{"kind": "bar", "designation": "A25T-SCLCR 09", "code": "BAR-1", "v:seat": "CCMT09T3", "v:OHX": "150 mm", "maker:OHX": "yes", "home": "A1-1", "price": "310.50", "currency": "eur"}
	if a := c.post("/parts", bar); a.status != 204 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	page := c.get("/parts/BAR-1/edit").body
	for _, w := range []string{"from the designation", "<b>entered</b>", "<b>by the maker</b>", `value="25 mm"`, `value="A1-1"`, "functional length", "An empty field takes the value away"} {
		if !strings.Contains(page, w) {
			t.Errorf("the form does not say %q", w)
		}
	}
	if n := strings.Count(page, `class="help" id="value-`); n != len(store.PartFields("bar")) {
		t.Errorf("%d fields have help, want %d", n, len(store.PartFields("bar")))
	}
	in := formOf(t, page)
	if in["maker:OHX"] != "yes" || in["v:OHX"] != "150 mm" || in["v:HAND"] != "R" || in["price"] != "310.50" || in["version"] != "1" {
		t.Errorf("the form holds %v", in)
	}
	if a := c.post("/parts/BAR-1/edit", in); a.status != 201 || !strings.Contains(a.body, "Nothing of BAR-1 is changed") {
		t.Errorf("sent back as it is: %d %s", a.status, a.body)
	}
	in["op"], in["v:OHX"] = newOp(), "5.5"
	if a := c.post("/parts/BAR-1/edit", in); a.status != 422 || !strings.Contains(a.body, "5.5 mm or 5.5 in") {
		t.Errorf("a bare length: %d %s", a.status, a.body)
	}
	in["v:OHX"], in["note"] = "5-1/2 in", "measured"
	for range 2 { // pressed twice
		if a := c.post("/parts/BAR-1/edit", in); a.status != 201 || !strings.Contains(a.body, "OHX 150 mm → 5-1/2 in") {
			t.Errorf("changed: %d %s", a.status, a.body)
		}
	}
	part := c.get("/parts/BAR-1").body
	for _, w := range []string{"OHX 150 mm → 5-1/2 in", "note nothing → measured", "Brisa Tollan", "Take it back", "139.7", "/parts/BAR-1/edit"} {
		if !strings.Contains(part, w) {
			t.Errorf("the part's page does not say %q", w)
		}
	}
	if body := sh.as("ivo").get("/parts/BAR-1").body; strings.Contains(body, "Brisa Tollan") || strings.Contains(body, "Change it") {
		t.Error("an operator reads who changed it, or is offered to")
	}
	// another name fills what it says and keeps what was entered
	anew := c.get("/parts/BAR-1/edit?designation=A25S-SCLCR+09").body
	re := formOf(t, anew)
	if re["v:LF"] != "250 mm" || re["v:OHX"] != "5-1/2 in" || re["v:seat"] != "CCMT09T3" || re["designation"] != "A25S-SCLCR 09" {
		t.Errorf("read anew the form holds %v", re)
	}
	if a := c.post("/parts/BAR-1/edit", re); a.status != 201 || !strings.Contains(a.body, "LF 300 mm → 250 mm") {
		t.Errorf("named anew: %d %s", a.status, a.body)
	}
	if a := c.get("/parts/BAR-1/edit?designation=A25S-SXLCR+09"); a.status != 422 || !strings.Contains(a.body, `role="alert"`) {
		t.Errorf("a name that is none: %d", a.status)
	}
	undo := regexp.MustCompile(`name="change" value="([^"]+)"`).FindStringSubmatch(c.get("/parts/BAR-1").body)
	if undo == nil {
		t.Fatal("there is nothing to take back")
	}
	if a := c.post("/parts/BAR-1/undo", map[string]string{"op": newOp(), "change": undo[1]}); a.status != 201 || !strings.Contains(a.body, "LF 250 mm → 300 mm") {
		t.Errorf("taken back: %d %s", a.status, a.body)
	}
	if a := c.post("/parts/BAR-1/retire", map[string]string{"op": newOp(), "retired": "yes", "reason": "worn"}); a.status != 201 {
		t.Errorf("out of use: %d %s", a.status, a.body)
	}
	if body := c.get("/parts/BAR-1").body; !strings.Contains(body, "Out of use since") || !strings.Contains(body, "Take it into use again") {
		t.Error("the page does not say that it is out of use")
	}
	if body := c.get("/search?q=BAR-1").body; !strings.Contains(body, "out of use") || !strings.Contains(body, `href="/parts/BAR-1"`) {
		t.Error("its code is looked for, and the search does not say that it is out of use")
	}
	if a := c.post("/parts/BAR-40-470/retire", map[string]string{"op": newOp(), "retired": "yes"}); a.status != 412 || !strings.Contains(a.body, "A1-2") {
		t.Errorf("out of use with two on the shelf: %d %s", a.status, a.body)
	}
}

// Each question of a change is asked before anything is saved, and an answer is carried on.
func TestChangePartAsks(t *testing.T) {
	sh := newShop(t)
	c, other := sh.as("brisa"), sh.as("mads")
	mine, theirs := formOf(t, c.get("/parts/HED-40R/edit").body), formOf(t, other.get("/parts/HED-40R/edit").body)
	theirs["v:WT"], theirs["note"] = "0.35", "weighed"
	if a := other.post("/parts/HED-40R/edit", theirs); a.status != 201 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	mine["v:CCMS"], mine["note"] = "H32", "new coupling"
	a := c.post("/parts/HED-40R/edit", mine)
	if a.status != 412 {
		t.Fatalf("over the other's change: %d %s", a.status, a.body)
	}
	for _, w := range []string{"Mads Hurrel", "WT 0.3 → 0.35", "new coupling", `name="over" value="2"`} {
		if !strings.Contains(a.body, w) {
			t.Errorf("he is not told %q: %s", w, a.body)
		}
	}
	mine["over"] = "2"
	a = c.post("/parts/HED-40R/edit", mine)
	if a.status != 409 || !strings.Contains(a.body, "J-1") || !strings.Contains(a.body, `name="broken"`) || !strings.Contains(a.body, `name="over" value="2"`) {
		t.Fatalf("a coupling a job needs: %d %s", a.status, a.body)
	}
	if body := c.get("/parts/HED-40R").body; strings.Contains(body, "H32") {
		t.Fatal("it was saved before it was asked")
	}
	mine["broken"] = "yes"
	if a := c.post("/parts/HED-40R/edit", mine); a.status != 201 {
		t.Fatalf("answered: %d %s", a.status, a.body)
	}
	now := formOf(t, c.get("/parts/HED-40R/edit").body)
	if now["v:CCMS"] != "H32" || now["v:WT"] != "0.35" || now["note"] != "new coupling" || now["version"] != "3" {
		t.Errorf("after both the form holds %v", now)
	}
	if body := c.get("/jobs/J-1").body; !strings.Contains(body, "cannot be built") {
		t.Error("the job does not know of it")
	}
}

// In a browser: the form is sent with the keyboard, the question appears beside the button with
// the text kept, and answered it is saved.
func TestBrowserChangePart(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("brisa")
	b.open("/parts/HED-40R/edit")
	b.shot("part-edit")
	at := `document.querySelector("[name='v:CCMS']")`
	set := func(js string) {
		t.Helper()
		_, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`((e) => { `+js+`; return true; })(`+at+`)`))
		must(t, err)
	}
	set(`e.value = "H32"; e.focus()`)
	b.keys(0, "\r")
	b.until("#doubles", "J-1")
	b.shot("part-edit-breaks")
	if v, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](at+`.value`)); err != nil || v != "H32" {
		t.Errorf("the field holds %q, %v; the text is not kept", v, err)
	}
	b.said = nil // the 409 is in the console, as it should
	set(`document.getElementById("broken").checked = true; e.focus()`)
	b.keys(0, "\r")
	b.until("h1", "HED-40R")
	b.until("#changes", "What was changed")
	b.shot("part-changed")
	b.calm()
}
