package server

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"brasspeg/store"
)

// A part's page says what can be had and where before anything else, and what goes on it.
func TestPartPageAtAGlance(t *testing.T) {
	sh := newShop(t)
	c := sh.as("ivo")
	body := c.get("/parts/BAR-40-470").body
	for _, w := range []string{"2 free, in A1-2.", "What mates with it", "coupling H40, workpiece side", "/parts/HED-40R", "shank ⌀40 mm, machine side", "/parts/HLD-50-40"} {
		if !strings.Contains(body, w) {
			t.Errorf("the bar's page does not say %q", w)
		}
	}
	if strings.Index(body, "HED-40R") > strings.Index(body, "Sizes, and where they come from") {
		t.Error("what goes on it stands below its sizes")
	}
	if body := c.get("/parts/HLD-50-40").body; !strings.Contains(body, "fits L3 station 4") || !strings.Contains(body, "BAR-40-470") {
		t.Error("the holder's page does not say which station it fits")
	}
	if body := c.get("/parts/INS-D11-08").body; !strings.Contains(body, "seat DCMT11T3") || !strings.Contains(body, "HED-40R") {
		t.Error("the insert's page does not say where it sits")
	}
	for _, tag := range sh.tags("BAR-40-470") {
		sh.window("brisa").scan(tag, sh.badges["ivo"])
	}
	if body := c.get("/parts/BAR-40-470").body; !strings.Contains(body, "None free: all of it is out or held back.") {
		t.Error("with both bars out the page does not say that none is free")
	}
}

// What is free and where stands in the results; with nothing asked the kinds are there to
// choose from; a shop without parts says how to begin, to who may.
func TestSearchPageAtAGlance(t *testing.T) {
	sh := newShop(t)
	c := sh.as("ivo")
	if body := c.get("/search?q=bar+40").body; !strings.Contains(body, "<b>2</b>") || !strings.Contains(body, "A1-2") {
		t.Error("the result does not say 2 free in A1-2")
	}
	body := c.get("/search").body
	for _, w := range []string{`href="/search?q=bar"`, "By kind", "Arrow keys"} {
		if !strings.Contains(body, w) {
			t.Errorf("the empty page does not say %q", w)
		}
	}
	if strings.Contains(body, "/parts/new") {
		t.Error("an operator is offered to enter parts")
	}
	if body := c.get("/search?q=bar").body; !strings.Contains(body, "BAR-40-470") || strings.Contains(body, "HED-40R") {
		t.Error("the kind does not lead to its parts")
	}
	if body := c.get("/search?q=left+handed+widget").body; !strings.Contains(body, "Ask at the window") {
		t.Error("an operator who found nothing is not told what to do")
	}
	empty := emptyShop(t)
	_, _, err := empty.store.AddPerson(t.Context(), 0, store.PersonIn{Login: "brisa", Name: "Brisa Tollan", Role: "attendant", PIN: testPIN, Password: testPassword})
	must(t, err)
	if body := empty.as("brisa").get("/search").body; !strings.Contains(body, "No part is on record yet") || !strings.Contains(body, "/parts/import") {
		t.Error("a shop without parts does not say how to begin")
	}
}

// By keyboard alone: the arrow goes to the first result, Enter opens it; back in the field what
// was asked is marked, so that typing asks anew.
func TestBrowserSearchByKeyboard(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("brisa")
	b.open("/search?q=40")
	focus := func() string {
		t.Helper()
		s, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](`document.activeElement.textContent || document.activeElement.id`))
		must(t, err)
		return s
	}
	press := func(key string) {
		t.Helper()
		_, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`document.activeElement.dispatchEvent(new KeyboardEvent("keydown", {key: "`+key+`", bubbles: true, cancelable: true}))`))
		must(t, err)
	}
	if focus() != "q" {
		t.Errorf("the page opens with the focus on %q", focus())
	}
	press("ArrowDown")
	first := focus()
	press("ArrowDown")
	second := focus()
	if !strings.HasPrefix(first, "BAR-40") || second == first || second == "" {
		t.Errorf("the arrow goes to %q, then %q", first, second)
	}
	press("ArrowUp")
	press("ArrowUp")
	if focus() != "q" {
		t.Errorf("up from the first goes to %q", focus())
	}
	press("ArrowDown")
	b.shot("search-keyboard")
	b.keys(0, "\r")
	b.until("h1", first)
	b.shot("part-mates")
	b.calm()
}
