package server

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// A refused form says so in sight of the form, marks the field that was meant and puts the
// cursor there; what was typed stays, and the mark goes when the field is right.
func TestBrowserRefusedFieldIsMarked(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("mads")
	b.open("/buying/rules")
	b.do(chromedp.SetValue("#order_cost", "dear"), chromedp.ScrollIntoView("main form button"), chromedp.Click("main form button"))
	b.untilJS(`document.activeElement.id`, "order_cost")
	b.untilJS(`document.activeElement.getAttribute("aria-invalid")`, "true")
	b.untilJS(`document.activeElement.value`, "dear")
	b.untilJS(`((r) => r.bottom > r.top && r.top >= 0 && r.bottom <= innerHeight ? "in sight" : "away")(document.getElementById("alert").getBoundingClientRect())`, "in sight")
	b.do(chromedp.SetValue("#order_cost", "20"), chromedp.Click("main form button"))
	b.untilJS(`document.querySelector("[aria-invalid]") ? "marked" : "clean"`, "clean")
}
