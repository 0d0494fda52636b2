package server

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"brasspeg/store"
)

// A kit by the scanner alone: the job card shows it, Enter issues all of it, the undo card takes
// it back; then once more with the done card. A quantity key gives the reason for what is promised.
func TestBrowserStartsAKit(t *testing.T) {
	sh := newShop(t)
	ctx := t.Context()
	j, err := sh.store.JobByCode(ctx, "J-1")
	must(t, err)
	_, cards := store.ActCards()
	b := sh.browser(t)
	b.login("brisa")
	before := sh.movements()

	b.wedge(*j.Tag)
	b.until("#hand", "The kit of J-1, drawer by drawer")
	b.until("#next-says", "Enter: issue the whole kit to Lathe 3 station 4")
	b.shot("window-kit")
	b.keys(0, "\r") // the Enter of a scan torn apart comes as soon as this, and must not say yes
	time.Sleep(800 * time.Millisecond)
	if n := sh.movements(); n != before {
		t.Fatalf("an Enter right behind a scan booked %d movements", n-before)
	}
	b.keys(0, "\r")
	b.until("#reading", "Started J-1: 4 things issued to Lathe 3 station 4")
	b.shot("window-started")
	if n := sh.movements(); n != before+4 || sh.where(sh.tags("HED-40R")[0]) != "with Lathe 3 station 4" {
		t.Errorf("%d movements; the head is %s", n-before, sh.where(sh.tags("HED-40R")[0]))
	}
	b.wedge(cards[1])
	b.until("#reading", "Undone: Started J-1")
	if got, err := sh.store.JobByCode(ctx, "J-1"); err != nil || got.State != "planned" || sh.where(sh.tags("HED-40R")[0]) != "B1-1" {
		t.Errorf("after the undo card the job is %s, the head %s", got.State, sh.where(sh.tags("HED-40R")[0]))
	}

	b.wedge(*j.Tag)
	b.until("#hand", "drawer by drawer")
	b.wedge(cards[2])
	b.until("#reading", "Started J-1")
	b.wedge(cards[1])
	b.until("#reading", "Undone: Started J-1")

	j.FromDay, j.Version = "2026-11-25", j.Version+4 // today; started and undone twice
	j, err = sh.store.SaveJob(ctx, 0, j)
	must(t, err)
	_, err = sh.store.Plan(ctx, sh.op("mads"), store.PlanIn{Job: j.ID})
	must(t, err)
	b.wedge(sh.tags("HED-40R")[0])
	b.until("#hand", "HED-40R")
	b.wedge(sh.badges["ivo"])
	b.until("#next-says", "give the reason")
	b.shot("window-promised")
	b.keys(0, "1\r") // a quantity key types its number, and no field has the focus
	b.until("#reading", "Issued 1 × HED-40R")
	lines, err := sh.store.Lines(ctx, store.LineFilter{Limit: 1})
	must(t, err)
	if lines[0].Reason != promisedReasons[0] {
		t.Errorf("the ledger says %q", lines[0].Reason)
	}
	b.keys(120*time.Millisecond, "undo") // by the keyboard, without a click
	b.keys(0, "\r")
	b.until("#reading", "Undone: 1 × HED-40R")
	b.calm()
}

// The same from the page of a job: one press issues the kit, one takes it back.
func TestBrowserStartsFromThePage(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("brisa")
	b.open("/jobs/J-1")
	b.do(chromedp.Click(`form[hx-post="/jobs/J-1/start"] button`))
	b.until("#undo-act", "Undo the start")
	b.shot("job-started")
	seen, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`document.querySelector("#undo-act button").getBoundingClientRect().height > 20`))
	must(t, err)
	if !seen {
		t.Error("the undo takes no room on the page")
	}
	b.do(chromedp.Click("#undo-act button"))
	b.until("main", "No stack is chosen yet")
	if got := sh.where(sh.tags("HED-40R")[0]); got != "B1-1" {
		t.Errorf("after the undo the head is %s", got)
	}
	b.calm()
}
