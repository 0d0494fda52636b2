package server

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"
	"time"

	"brasspeg/store"
)

var opOfForm = regexp.MustCompile(`(?s)hx-post="([^"]+)"[^>]*>\s*<input type="hidden" name="op" value="([^"]*)">(?:<input type="hidden" name="pieces" value="([^"]*)">)?(?:<input type="hidden" name="of" value="([^"]*)">)?`)

// form is the form of a page that goes to an address, as its script would send it.
func formTo(t *testing.T, body, to string) map[string]string {
	t.Helper()
	for _, m := range opOfForm.FindAllStringSubmatch(body, -1) {
		if m[1] == to {
			in := map[string]string{"op": m[2]}
			if m[3] != "" {
				in["pieces"] = m[3]
			}
			if m[4] != "" {
				in["of"] = m[4]
			}
			return in
		}
	}
	t.Fatalf("no form goes to %s", to)
	return nil
}

// From the page of a job: the kit stands there drawer by drawer, one press issues all of it and
// starts the job, one more takes all of it back, for a minute.
func TestStartFromThePage(t *testing.T) {
	sh := newShop(t)
	c := sh.page("brisa")
	body := c.get("/jobs/J-1").body
	for _, want := range []string{"drawer by drawer", "No stack is chosen yet", "Issue the kit and start the job", "A1-1", "B1-2"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if a, b := strings.Index(body, `class="tag">A1-1<`), strings.Index(body, `class="tag">B1-2<`); a < 0 || b < a {
		t.Error("the drawers are not in the order of the walk")
	}
	before := sh.movements()
	in := formTo(t, body, "/jobs/J-1/start")
	for range 2 { // the same press twice is one start
		if a := c.post("/jobs/J-1/start", in); a.status != 204 || a.head.Get("HX-Redirect") != "/jobs/J-1" {
			t.Fatalf("start: %d %s", a.status, a.body)
		}
	}
	if n := sh.movements(); n != before+4 {
		t.Errorf("%d movements, want 4", n-before)
	}
	if got := sh.where(sh.tags("HED-40R")[0]); got != "with Lathe 3 station 4" {
		t.Errorf("the head is %s", got)
	}
	body = c.get("/jobs/J-1").body
	if !strings.Contains(body, "Undo the start, 60 s left") || strings.Contains(body, "Issue the kit") || !strings.Contains(body, "running") {
		t.Error("the page of a started job does not offer its undo, or offers the kit again")
	}
	if strings.Contains(sh.page("tam").get("/jobs/J-1").body, "Undo the start") {
		t.Error("another attendant is offered the undo")
	}
	if a := sh.page("tam").post("/jobs/J-1/undo", map[string]string{"op": newOp(), "of": in["op"]}); a.status != 403 {
		t.Errorf("undone by another attendant: %d", a.status)
	}
	undo := formTo(t, body, "/jobs/J-1/undo")
	if undo["of"] != in["op"] {
		t.Errorf("the form takes back %q, not the start", undo["of"])
	}
	for range 2 {
		if a := c.post("/jobs/J-1/undo", undo); a.status != 204 {
			t.Fatalf("undo: %d %s", a.status, a.body)
		}
	}
	if got := sh.where(sh.tags("HED-40R")[0]); got != "B1-1" {
		t.Errorf("after the undo the head is %s", got)
	}
	if body = c.get("/jobs/J-1").body; !strings.Contains(body, "No stack is chosen yet") {
		t.Error("the plan that the start made is still there")
	}

	in = formTo(t, body, "/jobs/J-1/start")
	in["to"] = "ivo"
	if a := c.post("/jobs/J-1/start", in); a.status != 204 {
		t.Fatalf("start into hands: %d %s", a.status, a.body)
	}
	if got := sh.where(sh.tags("HED-40R")[0]); got != "with Ivo Lend" {
		t.Errorf("the head is %s", got)
	}
	sh.now = sh.now.Add(61 * time.Second)
	if a := c.post("/jobs/J-1/undo", map[string]string{"op": newOp(), "of": in["op"]}); a.status != 409 || !strings.Contains(a.body, "60 seconds are over") {
		t.Errorf("undo after 61 s: %d %s", a.status, a.body)
	}
	if strings.Contains(c.get("/jobs/J-1").body, "Undo the start") {
		t.Error("the undo is offered after its minute")
	}
}

// What is not there is named on the page, and what is there can be issued by a press of its own.
func TestStartPartlyFromThePage(t *testing.T) {
	sh := newShop(t)
	c := sh.page("brisa")
	if a := c.post("/jobs/J-1/plan", map[string]string{"op": newOp()}); a.status != 204 {
		t.Fatal(a.body)
	}
	head := sh.tags("HED-40R")[0]
	it, err := sh.store.ItemByTag(t.Context(), head)
	must(t, err)
	_, err = sh.store.Issue(t.Context(), sh.op("brisa"), store.IssueIn{Picks: []store.Pick{{Item: it.ID, Qty: 1}}, To: sh.people["orla"].PlaceID, Due: "2026-11-28", Override: "to measure it"})
	must(t, err)
	body := c.get("/jobs/J-1").body
	for _, want := range []string{"not there", "With Orla Vane. Back or free on 2026-11-28.", "Issue what is there"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(body, "Issue the kit and start the job") {
		t.Error("the whole kit is offered with a gap in it")
	}
	if a := c.post("/jobs/J-1/start", map[string]string{"op": newOp()}); a.status != 409 || !strings.Contains(a.body, "Orla Vane") {
		t.Errorf("the whole kit all the same: %d %s", a.status, a.body)
	}
	in := formTo(t, body, "/jobs/J-1/start")
	in["partly"] = "yes"
	if a := c.post("/jobs/J-1/start", in); a.status != 204 {
		t.Fatalf("partly: %d %s", a.status, a.body)
	}
	if body = c.get("/jobs/J-1").body; !strings.Contains(body, "running") || !strings.Contains(body, "not there") {
		t.Error("the job runs with a gap, and its page does not say so")
	}
	// An operator is not told who has it, and is offered what he may do.
	if body = sh.page("ivo").get("/jobs/J-1").body; strings.Contains(body, "Orla") || strings.Contains(body, "Take it all the same") {
		t.Error("an operator reads the holder, or may override")
	}
}

// A closing is taken back from the page, and refused with the reason when a thing has moved.
func TestCloseUndoneFromThePage(t *testing.T) {
	sh := newShop(t)
	c := sh.page("brisa")
	if a := c.post("/jobs/J-1/start", formTo(t, c.get("/jobs/J-1").body, "/jobs/J-1/start")); a.status != 204 {
		t.Fatal(a.body)
	}
	closing := func() map[string]string {
		in := map[string]string{"op": newOp()}
		for _, m := range regexp.MustCompile(`name="(do-\d+\.\d+)"`).FindAllStringSubmatch(c.get("/jobs/J-1/close").body, -1) {
			in[m[1]] = "unload"
			in["edges"+strings.TrimPrefix(m[1], "do")] = ""
		}
		for k := range in {
			if strings.HasPrefix(k, "edges-") && strings.HasPrefix(k[6:], itemOf(sh, "INS-D11-08")+".") {
				in[k] = "2"
			}
		}
		return in
	}
	if a := c.post("/jobs/J-1/close", closing()); a.status != 204 {
		t.Fatalf("close: %d %s", a.status, a.body)
	}
	head := sh.tags("HED-40R")[0]
	body := c.get("/jobs/J-1").body
	if !strings.Contains(body, "Undo the closing") || sh.where(head) != "B1-1" {
		t.Fatal("the closing is not offered to be undone")
	}
	sh.window("brisa").scan(head, sh.badges["orla"])
	undo := formTo(t, body, "/jobs/J-1/undo")
	if a := c.post("/jobs/J-1/undo", undo); a.status != 409 || !strings.Contains(a.body, "has moved since") || !strings.Contains(a.body, "Orla Vane") {
		t.Errorf("undone with the head elsewhere: %d %s", a.status, a.body)
	}
	sh.window("brisa").scan(head, "")
	if a := c.post("/jobs/J-1/undo", undo); a.status != 204 || sh.where(head) != "with Lathe 3 station 4" {
		t.Errorf("undo: %d %s; the head is %s", a.status, a.body, sh.where(head))
	}
	if body = c.get("/jobs/J-1").body; !strings.Contains(body, "running") {
		t.Error("the job does not run again")
	}
}

func itemOf(sh *shop, code string) string {
	it, err := sh.store.ItemByTag(sh.t.Context(), sh.tags(code)[0])
	must(sh.t, err)
	b, _ := json.Marshal(it.ID)
	return string(b)
}

// Programs start jobs by the same act: they read the kit, send what they saw, and take it back.
func TestStartByTheAPI(t *testing.T) {
	sh := newShop(t)
	c := sh.program("brisa")
	var kit struct {
		Pieces []string
		Stops  []struct{ Place, Tag string }
		Kit    struct{ There, Of int }
	}
	must(t, json.Unmarshal([]byte(c.get("/api/v1/jobs/J-1/kit").body), &kit))
	if len(kit.Pieces) != 4 || len(kit.Stops) != 4 || kit.Stops[0].Place != "A1-1" || kit.Kit.There != 4 {
		t.Fatalf("the kit: %+v", kit)
	}
	key := newOp()
	send := func(path, key string, body any) answer {
		c.head = map[string]string{"Idempotency-Key": key}
		defer func() { c.head = nil }()
		return c.post(path, body)
	}
	if a := send("/api/v1/jobs/J-1/start", newOp(), map[string]any{}); a.status != 422 {
		t.Errorf("nothing chosen and nothing seen: %d %s", a.status, a.body)
	}
	for i := range 2 {
		a := send("/api/v1/jobs/J-1/start", key, map[string]any{"pieces": kit.Pieces, "to": "ivo"})
		var rc store.Receipt
		if a.status != 201 || json.Unmarshal([]byte(a.body), &rc) != nil || len(rc.Lines) != 4 || rc.Act != store.ActStart || (a.head.Get("Idempotent-Replayed") == "true") != (i == 1) {
			t.Fatalf("try %d: %d %s", i, a.status, a.body)
		}
	}
	if a := sh.program("ivo"); a.get("/api/v1/jobs/J-1/kit").status != 200 {
		t.Error("an operator may not read the kit")
	}
	if a := send("/api/v1/bookings/"+key+"/reversal", newOp(), map[string]any{"reason": "wrong job"}); a.status != 201 || sh.where(sh.tags("HED-40R")[0]) != "B1-1" {
		t.Errorf("reversal: %d %s", a.status, a.body)
	}
}

// A substitute stands on the page and in the plan, and an operator does not read by whom.
func TestSubstituteOnThePage(t *testing.T) {
	sh := newShop(t)
	c := sh.page("brisa")
	if a := c.post("/jobs/J-1/plan", map[string]string{"op": newOp()}); a.status != 204 {
		t.Fatal(a.body)
	}
	j, err := sh.store.JobByCode(t.Context(), "J-1")
	must(t, err)
	var plan struct {
		Plan struct{ Pieces []store.PlanPiece }
	}
	must(t, json.Unmarshal([]byte(sh.program("mads").get("/api/v1/jobs/J-1/plan").body), &plan))
	other := sh.tags("BAR-40-470")[0]
	for _, p := range plan.Plan.Pieces {
		if p.Tag == other {
			other = sh.tags("BAR-40-470")[1]
		}
	}
	place, err := sh.store.PlaceByCode(t.Context(), "L3/4")
	must(t, err)
	w := sh.window("brisa").scan("WHY the planned one is at the back", *j.Tag, *place.Tag, other)
	if !strings.Contains(w.reading(), "Issued 1 × BAR-40-470 "+other) {
		t.Fatalf("the Window: %s / %s", w.reading(), w.last.body)
	}
	body := c.get("/jobs/J-1").body
	for _, want := range []string{"Used instead of what was planned", "BAR-40-470 " + other, "the planned one is at the back", "Brisa Tollan"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(sh.page("ivo").get("/jobs/J-1").body, "Brisa") {
		t.Error("an operator reads who handed it out")
	}
	if api := sh.program("mads").get("/api/v1/jobs/J-1/plan").body; !strings.Contains(api, `"why":"the planned one is at the back"`) {
		t.Errorf("the API: %s", api)
	}
	sheet, err := sh.server.sheetOf(t.Context(), sh.ready("J-1"), "x")
	must(t, err)
	if !strings.Contains(sheet.Remarks, "used BAR-40-470 "+other+", the same part: the planned one is at the back") {
		t.Errorf("the sheet says %q", sheet.Remarks)
	}
}

func (sh *shop) ready(code string) *store.Ready {
	sh.t.Helper()
	j, err := sh.store.JobByCode(sh.t.Context(), code)
	must(sh.t, err)
	r, err := sh.store.Check(sh.t.Context(), j)
	must(sh.t, err)
	return &r
}
