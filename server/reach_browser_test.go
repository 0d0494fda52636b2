package server

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"brasspeg/store"
)

// The login page waits in its badge field: who types the badge need choose nothing.
func TestBrowserLoginHasTheFocus(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.open("/login")
	b.untilJS(`document.activeElement.id`, "badge")
	b.keys(120*time.Millisecond, "x12")
	b.untilJS(`document.getElementById("badge").value.toUpperCase()`, "X12")
}

// Labels to renew are ticked all at once or one by one, on a target for gloves, and what is ticked
// is what is shown for print.
func TestBrowserTickAll(t *testing.T) {
	sh := newShop(t)
	sh.store.SetClock(func() time.Time { return sh.now.AddDate(0, 0, -181) })
	bar, err := sh.store.PartByCode(t.Context(), "BAR-40-470")
	must(t, err)
	_, err = sh.store.Receive(t.Context(), sh.op("brisa"), store.ReceiveIn{Part: bar.ID, Qty: 4})
	must(t, err)
	sh.store.SetClock(func() time.Time { return sh.now })
	b := sh.browser(t)
	b.login("brisa")
	b.open("/labels/worn")
	b.untilJS(`document.getElementById("ticked").textContent`, "0 of 4 ticked")
	if small := b.js(`[...document.querySelectorAll("input.tick")].map((e) => e.getBoundingClientRect()).filter((r) => r.width < 48 || r.height < 48).map((r) => r.width + "x" + r.height).join(" ")`); small != "" {
		t.Errorf("ticks of %s", small)
	}
	b.do(chromedp.Click("button[data-ticks]"))
	b.untilJS(`document.getElementById("ticked").textContent + document.querySelector("[data-ticks]").textContent`, "4 of 4 tickedTick none")
	b.do(chromedp.Click("#w1"))
	b.untilJS(`document.getElementById("ticked").textContent`, "3 of 4 ticked")
	b.shot("worn")
	b.do(chromedp.Click("form[action='/labels'] button:not([data-ticks])"), chromedp.WaitVisible("#preview"))
	if n := b.js(`String(document.getElementById("select").value.split(",").length)`); n != "3" {
		t.Errorf("%s labels shown, want 3", n)
	}
}

// On a phone no table makes the page wider or squeezes a column to a few letters, and each link can
// be hit with a thumb.
func TestBrowserPhoneTables(t *testing.T) {
	sh := newShop(t)
	sh.lived()
	tag := sh.tags("BAR-40-470")[0]
	sh.window("brisa").scan(tag, sh.badges["ivo"])
	b := sh.browser(t)
	b.login("brisa")
	b.open("/lives")
	life := b.js(`document.querySelector("tbody a").getAttribute("href")`)
	b.touch(360, 740)
	for _, path := range []string{"/pieces/" + tag, life, "/window", "/machines/L3", "/regrind"} {
		b.open(path)
		bad := b.js(`(() => { const bad = [];
			if (document.documentElement.scrollWidth > document.documentElement.clientWidth + 1) bad.push("wider than the screen");
			for (const e of document.querySelectorAll("table.stack td")) {
				if (e.textContent && e.getBoundingClientRect().width < 200) bad.push("a cell of " + Math.round(e.getBoundingClientRect().width) + " px");
			}
			for (const w of document.querySelectorAll(".wide:has(table.stack)")) if (w.scrollWidth > w.clientWidth + 1) bad.push("a table to be pushed aside");
			for (const e of document.querySelectorAll("main :is(p, li, td, th, dd) > a")) {
				const h = e.getBoundingClientRect().height;
				if (h > 0 && h < 43.5) bad.push("link " + e.textContent + " " + Math.round(h) + " px high");
			}
			return [...new Set(bad)].join("; "); })()`)
		if bad != "" {
			t.Errorf("%s: %s", path, bad)
		}
		b.shot("phone" + strings.ReplaceAll(strings.SplitN(path, "?", 2)[0], "/", "-"))
	}
}
