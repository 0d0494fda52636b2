package server

import (
	"regexp"
	"strings"
	"testing"
	"time"
)

func TestLoginByBadgeAndPIN(t *testing.T) {
	sh := newShop(t)
	c := sh.visitor()
	if a := c.get("/window"); a.status != 303 || a.head.Get("Location") != "/login" {
		t.Errorf("the Window without a login: %d to %q", a.status, a.head.Get("Location"))
	}
	for _, tt := range []struct {
		what string
		in   badgeIn
		want int
	}{
		{"a wrong PIN", badgeIn{sh.badges["brisa"], "111112"}, 401},
		{"no PIN: a badge is never enough", badgeIn{sh.badges["brisa"], ""}, 422},
		{"a badge of nobody", badgeIn{"WAAAAAAAAAAAAAAAAX", testPIN}, 422},
		{"another one's badge text", badgeIn{sh.people["brisa"].Login, testPIN}, 422},
	} {
		if a := c.post("/login/badge", tt.in); a.status != tt.want {
			t.Errorf("%s: %d %s, want %d", tt.what, a.status, a.body, tt.want)
		}
	}
	a := c.post("/login/badge", badgeIn{sh.badges["brisa"], testPIN})
	if a.status != 204 || a.head.Get("HX-Redirect") != "/window" {
		t.Fatalf("login: %d %s to %q", a.status, a.body, a.head.Get("HX-Redirect"))
	}
	cookie := a.head.Get("Set-Cookie")
	for _, want := range []string{"HttpOnly", "SameSite=Strict"} {
		if !strings.Contains(cookie, want) {
			t.Errorf("the cookie lacks %s: %s", want, cookie)
		}
	}
	if a := c.get("/window"); a.status != 200 || !strings.Contains(a.body, "Brisa Tollan") {
		t.Errorf("the Window after the login: %d", a.status)
	}
	if strings.Contains(sh.log.String(), testPIN) || strings.Contains(sh.log.String(), sh.badges["brisa"]) {
		t.Error("the log holds a PIN or a badge")
	}
}

// Six digits are tried a million times sooner than a password; by name they open nothing.
func TestNoLoginByNameAndPIN(t *testing.T) {
	sh := newShop(t)
	if a := sh.visitor().post("/login/password", passwordIn{"mads", testPIN}); a.status != 401 {
		t.Errorf("login by name and PIN: %d %s", a.status, a.body)
	}
}

func TestTLSCookie(t *testing.T) {
	sh := newShop(t, func(c *Config) { c.TLS = true })
	a := sh.visitor().post("/login/badge", badgeIn{sh.badges["brisa"], testPIN})
	cookie := a.head.Get("Set-Cookie")
	if !strings.HasPrefix(cookie, "__Host-") || !strings.Contains(cookie, "Secure") {
		t.Errorf("the cookie under TLS: %s", cookie)
	}
}

func TestWrongLoginsMustWait(t *testing.T) {
	sh := newShop(t)
	c := sh.visitor()
	for i := range 5 {
		if a := c.post("/login/badge", badgeIn{sh.badges["brisa"], "111112"}); a.status != 401 {
			t.Fatalf("try %d: %d", i, a.status)
		}
	}
	if a := c.post("/login/badge", badgeIn{sh.badges["brisa"], testPIN}); a.status != 429 {
		t.Errorf("the right PIN at once after five wrong ones: %d %s", a.status, a.body)
	}
	sh.serve() // the limit is in the store, so a restart does not lift it
	if a := sh.visitor().post("/login/badge", badgeIn{sh.badges["brisa"], testPIN}); a.status != 429 {
		t.Errorf("the same after a restart: %d", a.status)
	}
	sh.now = sh.now.Add(31 * time.Second)
	if a := sh.visitor().post("/login/badge", badgeIn{sh.badges["brisa"], testPIN}); a.status != 204 {
		t.Errorf("the right PIN after the wait: %d %s", a.status, a.body)
	}
}

func TestLogout(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	if a := c.post("/logout", map[string]string{}); a.status != 204 || a.head.Get("Clear-Site-Data") != `"cache"` {
		t.Errorf("logout: %d, Clear-Site-Data %q", a.status, a.head.Get("Clear-Site-Data"))
	}
	if a := c.get("/window"); a.status != 303 {
		t.Errorf("the Window after the logout: %d", a.status)
	}
}

func TestLeaverIsOutAtOnce(t *testing.T) {
	sh := newShop(t)
	browser, program := sh.as("brisa"), sh.program("brisa")
	must(t, sh.store.Leave(t.Context(), 0, sh.people["brisa"].ID))
	if a := browser.get("/window"); a.status != 303 {
		t.Errorf("a leaver's browser: %d", a.status)
	}
	if a := program.get("/api/v1/parts"); a.status != 401 || a.head.Get("WWW-Authenticate") != "Bearer" {
		t.Errorf("a leaver's token: %d", a.status)
	}
}

func TestSessionSurvivesRestart(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	old := sh.http.URL
	sh.serve()
	jar := c.http.Jar
	c2 := sh.visitor()
	c2.http.Jar = jar // cookies do not know ports
	if a := c2.get("/window"); a.status != 200 || old == sh.http.URL {
		t.Errorf("the session after a restart: %d", a.status)
	}
}

func TestFirstStart(t *testing.T) {
	sh := emptyShop(t)
	if len(sh.console) != 1 {
		t.Fatalf("console: %v", sh.console)
	}
	code := regexp.MustCompile(`[A-Z2-7]{4}(-[A-Z2-7]{4}){3}`).FindString(sh.console[0])
	if code == "" || strings.Contains(sh.log.String(), code) {
		t.Fatalf("code %q of %q, log %s", code, sh.console[0], sh.log)
	}
	c := sh.visitor()
	if a := c.get("/login"); !strings.Contains(a.body, "First start") {
		t.Error("the login page of an empty shop does not ask for the code")
	}
	in := firstIn{Code: "AAAA-AAAA-AAAA-AAAA", Name: "Ada Quist", Login: "ada", Password: testPassword}
	if a := c.post("/login/first", in); a.status != 401 {
		t.Errorf("a wrong code: %d", a.status)
	}
	in.Code, in.Password = code, "short"
	if a := c.post("/login/first", in); a.status != 422 {
		t.Errorf("a short password: %d %s", a.status, a.body)
	}
	in.Password = testPassword
	if a := c.post("/login/first", in); a.status != 204 {
		t.Fatalf("the right code: %d %s", a.status, a.body)
	}
	if a := c.get("/people"); a.status != 200 {
		t.Errorf("the first admin's people page: %d", a.status)
	}
	in.Login = "eve"
	if a := sh.visitor().post("/login/first", in); a.status != 409 {
		t.Errorf("the code a second time: %d", a.status)
	}
}

func TestFirstStartCodeRunsOut(t *testing.T) {
	sh := emptyShop(t)
	code := regexp.MustCompile(`[A-Z2-7]{4}(-[A-Z2-7]{4}){3}`).FindString(sh.console[0])
	sh.now = sh.now.Add(31 * time.Minute)
	in := firstIn{Code: code, Name: "Ada Quist", Login: "ada", Password: testPassword}
	if a := sh.visitor().post("/login/first", in); a.status != 401 {
		t.Errorf("the code after 31 minutes: %d", a.status)
	}
}

func TestDemoLogin(t *testing.T) {
	sh := newShop(t)
	if a := sh.visitor().post("/login/demo", demoIn{"ada"}); a.status != 404 {
		t.Errorf("demo login of a real shop: %d", a.status)
	}
	demo := newShop(t, func(c *Config) { c.Demo, c.Hosts = true, []string{"crib.lan"} })
	far := demo.visitor()
	far.head = map[string]string{"Host": "crib.lan"}
	if a := far.post("/login/demo", demoIn{"ada"}); a.status != 404 {
		t.Errorf("demo login under a name of the network: %d", a.status)
	}
	if a := far.get("/login"); strings.Contains(a.body, "Orla Vane") {
		t.Error("the login page shows the people to the network")
	}
	near := demo.visitor()
	if a := near.get("/login"); !strings.Contains(a.body, "Orla Vane") || !strings.Contains(a.body, "Demo") {
		t.Error("the login page of a demo does not offer its people")
	}
	if a := near.post("/login/demo", demoIn{"ada"}); a.status != 204 {
		t.Errorf("demo login: %d %s", a.status, a.body)
	}
}
