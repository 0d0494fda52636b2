package server

import (
	"html"
	"strings"
	"testing"

	"brasspeg/store"
)

func (w *window) says() string { return html.UnescapeString(w.last.body) }

// A job card alone shows the kit by drawers; Enter, or the done card, issues all of it in one
// booking and starts the job; the undo card takes it back.
func TestWindowStartsAJob(t *testing.T) {
	sh := newShop(t)
	j, err := sh.store.JobByCode(t.Context(), "J-1")
	must(t, err)
	_, cards := store.ActCards()
	for name, yes := range map[string]string{"Enter": "", "the done card": cards[2]} {
		before := sh.movements()
		w := sh.window("brisa").scan(*j.Tag)
		for _, want := range []string{"The kit of J-1, drawer by drawer", "A1-1", sh.tags("HED-40R")[0], "Enter: issue the whole kit to Lathe 3 station 4 and start J-1", "No stack is chosen yet; this is the best"} {
			if !strings.Contains(w.says(), want) {
				t.Errorf("the Window does not say %q: %s", want, w.says())
			}
		}
		in := scanIn{Op: w.op, Held: w.held, Scan: yes}
		w.scan(yes)
		if n := sh.movements(); n != before+4 || !strings.Contains(w.reading(), "Started J-1: 4 things issued") || w.held != "" {
			t.Fatalf("%s: %d movements, the page says %q", name, n-before, w.reading())
		}
		if again := w.post("/window/scan", in); first(readingP, again.body) != w.reading() || sh.movements() != before+4 {
			t.Errorf("the same again: %s", again.body)
		}
		if first(undoIn_, w.last.body) == "" {
			t.Error("no undo is offered")
		}
		w.scan(cards[1])
		if got, err := sh.store.JobByCode(t.Context(), "J-1"); err != nil || got.State != "planned" || sh.where(sh.tags("HED-40R")[0]) != "B1-1" {
			t.Errorf("after the undo card the job is %s: %s", got.State, w.says())
		}
	}
}

// The kit goes into somebody's hands when his badge lies there too, in any order; and a piece
// beside the job card is a plain issue, as ever.
func TestWindowKitIntoHands(t *testing.T) {
	sh := newShop(t)
	j, err := sh.store.JobByCode(t.Context(), "J-1")
	must(t, err)
	for _, order := range [][]string{{*j.Tag, sh.badges["ivo"]}, {sh.badges["ivo"], *j.Tag}} {
		w := sh.window("brisa").scan(order...)
		if !strings.Contains(w.next(), "the hands of Ivo Lend") {
			t.Fatalf("next: %q", w.next())
		}
		w.scan("")
		if got := sh.where(sh.tags("HED-40R")[0]); got != "with Ivo Lend" {
			t.Fatalf("the head is %s: %s", got, w.says())
		}
		w.scan("UNDO")
	}
	w := sh.window("brisa").scan(*j.Tag, sh.badges["ivo"], sh.tags("HED-40R")[0])
	if !strings.Contains(w.reading(), "Issued 1 × HED-40R") {
		t.Errorf("a piece beside the job card: %s", w.says())
	}
	if w = sh.window("brisa").scan(*j.Tag, sh.tags("BAR-40-470")[0], sh.badges["ivo"]); !strings.Contains(w.reading(), "Issued 1 × BAR-40-470") {
		t.Errorf("job card, piece, badge: %s", w.says())
	}
}

// What is not there is named and stops Enter; the partly card issues what is there.
func TestWindowKitPartly(t *testing.T) {
	sh := newShop(t)
	ctx := t.Context()
	j, err := sh.store.JobByCode(ctx, "J-1")
	must(t, err)
	_, err = sh.store.Plan(ctx, sh.op("mads"), store.PlanIn{Job: j.ID})
	must(t, err)
	sh.window("brisa").scan(sh.tags("HED-40R")[0], sh.badges["orla"], "1") // promised to J-1 from tomorrow on: with a reason
	_, cards := store.ActCards()
	w := sh.window("brisa").scan(*j.Tag)
	for _, want := range []string{"3 of 4 there", "partly card", "With Orla Vane"} {
		if !strings.Contains(w.says(), want) {
			t.Errorf("the Window does not say %q: %s", want, w.says())
		}
	}
	before := sh.movements()
	w.scan("")
	if w.last.status != 409 || !strings.Contains(w.says(), "Orla Vane") || sh.movements() != before {
		t.Errorf("Enter over a gap: %d %s", w.last.status, w.says())
	}
	w.scan(cards[6])
	if n := sh.movements(); n != before+3 || !strings.Contains(w.reading(), "not there: head") {
		t.Errorf("partly: %d movements, %s", n-before, w.says())
	}
	sh.window("brisa").scan(sh.tags("HED-40R")[0], "")
	if w = sh.window("brisa").scan(*j.Tag, ""); !strings.Contains(w.reading(), "Started J-1: 1 thing issued") {
		t.Errorf("the rest: %s", w.says())
	}
	if w = sh.window("brisa").scan(*j.Tag, ""); strings.Contains(w.says(), "drawer by drawer") {
		t.Error("a kit that is out is shown again")
	}
}

// What is promised to another job is offered with a reason, by number or in words; the reason is
// on record and stands on the other job's page. An operator is not offered it.
func TestWindowTakesWhatIsPromised(t *testing.T) {
	sh := newShop(t)
	ctx := t.Context()
	j, err := sh.store.JobByCode(ctx, "J-1")
	must(t, err)
	j.FromDay = "2026-11-25" // today
	j, err = sh.store.SaveJob(ctx, 0, j)
	must(t, err)
	_, err = sh.store.Plan(ctx, sh.op("mads"), store.PlanIn{Job: j.ID})
	must(t, err)
	head := sh.tags("HED-40R")[0]
	_, cards := store.ActCards()
	for i, tt := range []struct {
		reason []string
		want   string
	}{{[]string{"1"}, "the machine stands"}, {[]string{"why only for an hour"}, "only for an hour"}, {[]string{cards[2], "0000004"}, "only to measure or to try"}} {
		before := sh.movements()
		w := sh.window("brisa").scan(head, sh.badges["ivo"])
		if w.last.status != 200 || !strings.Contains(w.says(), "promised") || !strings.Contains(w.says(), "J-1 releases 1 after 2026-11-27") || !strings.Contains(w.next(), "give the reason") || !strings.Contains(w.says(), "agreed with whoever sets up the other job") {
			t.Fatalf("the Window does not offer it: %d %s", w.last.status, w.says())
		}
		if sh.movements() != before {
			t.Fatal("it was booked before a reason was given")
		}
		w.scan("9") // no such reason
		if w.last.status != 422 || !strings.Contains(w.says(), "numbered 1 to 4") {
			t.Errorf("reason 9: %d %s", w.last.status, w.says())
		}
		if len(tt.reason) > 1 { // the done card gives no reason, so it is asked for again
			w.scan(tt.reason[0])
			if w.last.status != 200 || !strings.Contains(w.next(), "give the reason") {
				t.Errorf("yes without a reason: %d %s", w.last.status, w.says())
			}
		}
		w.scan(tt.reason[len(tt.reason)-1])
		if sh.movements() != before+1 || sh.where(head) != "with Ivo Lend" {
			t.Fatalf("%v: the head is %s; %s", tt.reason, sh.where(head), w.says())
		}
		lines, err := sh.store.Lines(ctx, store.LineFilter{Limit: 1})
		must(t, err)
		if lines[0].Reason != tt.want {
			t.Errorf("the ledger says %q, want %q", lines[0].Reason, tt.want)
		}
		body := html.UnescapeString(sh.as("mads").get("/jobs/J-1").body)
		if !strings.Contains(body, "Head HED-40R ("+head+") was promised to this job and is out with Ivo Lend") || !strings.Contains(body, tt.want) {
			t.Errorf("the other job's page does not show it")
		}
		if i == 0 {
			if body = html.UnescapeString(sh.as("mads").get("/jobs").body); !strings.Contains(body, "was promised to this job and is out with Ivo Lend") {
				t.Error("the list of jobs does not show the clash")
			}
			if body = sh.as("orla").get("/jobs/J-1").body; strings.Contains(body, "Ivo Lend") {
				t.Error("an operator reads who has it")
			}
		}
		w.scan("UNDO")
	}
	w := sh.window("ivo").scan(head)
	if w.last.status != 409 || strings.Contains(w.says(), "give the reason: its number") || sh.where(head) != "B1-1" {
		t.Errorf("an operator: %d %s", w.last.status, w.says())
	}
	// The same for a whole kit.
	other := sh.oneMore("J-7", "2026-11-30", "2026-12-01")
	_, err = sh.store.Plan(ctx, sh.op("mads"), store.PlanIn{Job: other.ID})
	must(t, err)
	w = sh.window("brisa").scan(*other.Tag, "")
	if w.last.status != 200 || !strings.Contains(w.says(), "is promised to J-1") || !strings.Contains(w.next(), "give the reason") {
		t.Fatalf("a kit over a promise: %d %s", w.last.status, w.says())
	}
	w.scan("2")
	if !strings.Contains(w.reading(), "Started J-7: 4 things issued") {
		t.Errorf("with a reason: %s", w.says())
	}
}
