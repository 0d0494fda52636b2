package server

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// put types into a field of the page as a person does, and waits until it is there.
func (b *browser) put(id, text string) {
	b.t.Helper()
	b.do(chromedp.Click("#" + id))
	b.keys(110*time.Millisecond, text)
	b.untilJS(`document.getElementById("`+id+`").value`, text)
}

// An order is walked from its approval to the last piece by mouse and keys: a box by its scanned
// number, loose pieces, more than was ordered, a delivery taken back, a wrong price set right.
func TestBrowserOrderToTheLastPiece(t *testing.T) {
	sh, o := ordered(t)
	at := "/orders/" + o.Code
	line := fmt.Sprint(o.Lines[0].ID)
	b := sh.browser(t)
	b.login("mads")
	b.open(at)
	b.shot("order-draft")
	b.do(chromedp.Click(`form[hx-post$="/approval"] button`))
	b.until("main", "Close the line")
	b.shot("order-approved")

	// One box, its number scanned into the field.
	b.put("qty-"+line, "1")
	b.do(chromedp.SetValue("#unit-"+line, "box"), chromedp.Focus("#box-"+line))
	b.wedge("K-77")
	b.untilJS(`document.getElementById("box-`+line+`")?.value.toUpperCase() ?? "gone"`, "K-77")
	b.untilJS(`document.activeElement.id`, "to-"+line)
	if strings.Contains(b.text("#record"), "Received") {
		t.Error("the scan of the box number alone has booked the delivery")
	}
	b.do(chromedp.Click(`form[hx-post$="/receipts"] button`))
	b.until("main", "Just received")
	b.until("main", "Received 10 of INS-D11-08")
	b.shot("order-received")

	// More than is open: asked, and nothing booked; said yes, it comes.
	b.put("qty-"+line, "31")
	b.do(chromedp.SetValue("#unit-"+line, "piece"), chromedp.Click(`form[hx-post$="/receipts"] button`))
	b.until("#alert", "confirm the surplus")
	b.said = nil                                                     // the 409 is in the console, as it should
	b.untilJS(`document.getElementById("qty-`+line+`").value`, "31") // what was typed is still there
	b.do(chromedp.SetValue("#sure-"+line, "yes"), chromedp.Click(`form[hx-post$="/receipts"] button`))
	b.until("main", "Received 31 of INS-D11-08, 1 more than was open")
	b.until("main", "all here")
	b.shot("order-all")

	// It was too much: the second delivery is taken back, from the page, and the line is open again.
	b.do(chromedp.Click(`main section:last-of-type li:last-child form button`))
	b.until("main", "undone")
	b.until("main", "partly here")

	b.do(chromedp.Click("summary[id='price-of-" + line + "']"))
	b.put("right-"+line, "6,10")
	b.put("right-reason-"+line, "bill 88")
	b.keys(100*time.Millisecond, "\r")
	b.until("main", "was 6.40 EUR: bill 88")
	b.shot("order-price")
	is, err := sh.store.Order(t.Context(), o.Code)
	must(t, err)
	if l := is.Lines[0]; l.Received != 10 || *l.PriceCents != 610 || is.Stage() != "partly here" {
		t.Errorf("at the end: %d received at %d, %s", l.Received, *l.PriceCents, is.Stage())
	}
	items, err := sh.store.ItemsOf(t.Context(), o.Lines[0].PartID)
	must(t, err)
	boxed := 0
	for _, x := range items {
		if strings.EqualFold(x.Box, "K-77") {
			boxed++
		}
	}
	if boxed != 1 {
		t.Errorf("%d things carry the scanned box number, want 1", boxed)
	}
	b.calm()
}
