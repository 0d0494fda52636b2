package server

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// register makes the client's browser a shared computer, as an admin does at it.
func (c *client) register(name string) {
	c.sh.t.Helper()
	for _, step := range []struct {
		path string
		body any
	}{
		{"/login/password", passwordIn{"ada", testPassword}}, {"/devices", deviceIn{name}}, {"/logout", map[string]string{}},
	} {
		if a := c.post(step.path, step.body); a.status != http.StatusNoContent {
			c.sh.t.Fatalf("%s: %d %s", step.path, a.status, a.body)
		}
	}
}

func TestSharedComputerLocks(t *testing.T) {
	sh := newShop(t)
	c := sh.visitor()
	c.register("window 1")
	if a := c.post("/login/badge", badgeIn{sh.badges["brisa"], testPIN}); a.status != http.StatusNoContent {
		t.Fatalf("login: %d %s", a.status, a.body)
	}
	bar := sh.tags("BAR-40-470")
	if a := c.post("/window/scan", scanIn{Op: newOp(), Held: bar[0], Scan: sh.badges["ivo"]}); a.status != 200 {
		t.Fatalf("a booking: %d %s", a.status, a.body)
	}
	if page := c.get("/window").body; !strings.Contains(page, `id="lock"`) || !strings.Contains(page, "lock.") {
		t.Error("the page of a shared computer does not lock itself")
	}
	before := sh.movements()
	sh.now = sh.now.Add(121 * time.Second)
	if a := c.get("/window"); a.status != http.StatusLocked || !strings.Contains(a.body, "Brisa Tollan") || strings.Contains(a.body, bar[0]) {
		t.Errorf("left alone for two minutes: %d %.300s", a.status, a.body)
	}
	c.head = map[string]string{"Accept": "application/json"}
	for _, path := range []string{"/window/scan", "/counting/plan", "/api/v1/bookings"} {
		if a := c.post(path, map[string]string{}); a.status != http.StatusLocked || a.problem(t).Code != "locked" {
			t.Errorf("%s while locked: %d %s", path, a.status, a.body)
		}
	}
	for _, given := range []string{"111111", sh.badges["tam"], testPassword + "x"} {
		if a := c.post("/unlock", unlockIn{given}); a.status != http.StatusUnauthorized {
			t.Errorf("unlocked with %q: %d %s", given, a.status, a.body)
		}
	}
	if n := sh.movements(); n != before {
		t.Errorf("%d movements while locked", n-before)
	}
	if a := c.post("/unlock", unlockIn{sh.badges["brisa"]}); a.status != http.StatusNoContent {
		t.Errorf("her own badge: %d %s", a.status, a.body)
	}
	c.head = nil
	if a := c.get("/window"); a.status != 200 {
		t.Errorf("unlocked: %d", a.status)
	}
	if a := c.post("/lock", map[string]string{}); a.status != http.StatusNoContent || c.get("/jobs").status != http.StatusLocked {
		t.Errorf("locked by its page: %d", a.status)
	}
	if a := c.post("/logout", map[string]string{}); a.status != http.StatusNoContent {
		t.Errorf("a log-out while locked: %d %s", a.status, a.body)
	}
	own := sh.as("brisa") // her own computer does not lock
	sh.now = sh.now.Add(time.Hour)
	if a := own.get("/window"); a.status != 200 || strings.Contains(a.body, `id="lock"`) {
		t.Errorf("a computer of one's own after an hour: %d", a.status)
	}
	if a := own.post("/lock", map[string]string{}); a.status != http.StatusConflict {
		t.Errorf("locking it: %d %s", a.status, a.body)
	}
	if page := sh.as("mads").get("/api/v1/bookings?tag=" + bar[0]); page.status != 200 {
		t.Errorf("the booking: %d", page.status)
	}
}

func TestOwnSessions(t *testing.T) {
	sh := newShop(t)
	phone, desk, other := sh.as("brisa"), sh.as("brisa"), sh.as("mads")
	rows, err := sh.store.LogIns(t.Context(), sh.people["brisa"].ID)
	must(t, err)
	if len(rows) != 2 {
		t.Fatalf("%d open sessions, want 2", len(rows))
	}
	page := desk.get("/sessions")
	if page.status != 200 || strings.Count(page.body, "/sessions/closing") != 1 || !strings.Contains(page.body, "this one") {
		t.Errorf("%d, %d to close, want one beside this one", page.status, strings.Count(page.body, "/sessions/closing"))
	}
	code := rows[0].Code
	if strings.Contains(page.body, rows[1].Code) {
		code = rows[1].Code
	}
	if a := other.post("/sessions/closing", codeIn{code}); a.status != http.StatusNotFound {
		t.Errorf("somebody else closes it: %d %s", a.status, a.body)
	}
	if a := desk.post("/sessions/closing", codeIn{code}); a.status != http.StatusNoContent {
		t.Errorf("closing the phone's: %d %s", a.status, a.body)
	}
	if a := phone.get("/window"); a.status != http.StatusSeeOther || desk.get("/window").status != 200 {
		t.Errorf("after closing, the phone gets %d", a.status)
	}
}

// At the window: the screen locks, the badge opens it, and what was in the hand is still there.
func TestBrowserLock(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("ada")
	b.open("/devices")
	b.do(chromedp.SendKeys("#name", "window 1"), chromedp.Click("form.line button"), chromedp.WaitVisible("table"))
	b.do(chromedp.Click(".who button"), chromedp.WaitVisible("#badge"))
	b.login("brisa")
	b.open("/window")
	bar := sh.tags("BAR-40-470")[0]
	b.wedge(bar)
	b.until(".held", bar)
	b.do(chromedp.KeyEvent("x")) // a touch begins the two minutes anew
	b.js(`document.dispatchEvent(new Event("locked")) ? "" : ""`)
	b.do(chromedp.WaitVisible("#lock"))
	b.wedge(sh.badges["tam"])
	b.until("#unlock-wrong", "Brisa")
	b.wedge(sh.badges["brisa"])
	b.untilJS(`String(document.getElementById("lock").open)`, "false")
	b.until(".held", bar)
	b.wedge(sh.badges["ivo"])
	b.until("#hand", "Ivo Lend")
}
