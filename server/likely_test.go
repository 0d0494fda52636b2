package server

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// Who types a code or a tag with a slip reads what was likely meant, and opens it with the keyboard
// alone; what is nothing like anything stays not found.
func TestBrowserSearchMisspelt(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	wrong := tag[:7] + string('0'+(tag[7]-'0'+1)%10) + tag[8:]
	c := sh.as("brisa")
	for q, want := range map[string]string{"BAR-40-471": `href="/parts/BAR-40-470"`, "HDE-40R": `href="/parts/HED-40R"`, wrong: `href="/t/` + tag + `"`, "nothing+of+the+kind": ""} {
		a := c.get("/search?q=" + q)
		if a.status != 200 || strings.Contains(a.body, "Likely meant") != (want != "") || !strings.Contains(a.body, want) || !strings.Contains(a.body, "Nothing here is called") {
			t.Errorf("%s: %d, want %q in %s", q, a.status, want, a.body)
		}
	}
	b := sh.browser(t)
	b.login("brisa")
	b.open("/search")
	b.keys(110*time.Millisecond, "hed-40l")
	b.keys(0, "\r")
	b.until("#likely", "Likely meant")
	b.settle()
	b.do(chromedp.KeyEvent(kb.ArrowDown))
	b.untilJS(`document.activeElement.textContent`, "HED-40R")
	b.keys(0, "\r")
	b.until("h1", "HED-40R")
}
