package server

import (
	"net/http"
	"strings"
	"testing"
	"time"
)

func TestHeaders(t *testing.T) {
	sh := newShop(t)
	for _, path := range []string{"/login", "/nothing", "/healthz", "/api/v1/parts", "/static/app.css"} {
		a := sh.visitor().get(path)
		for name, want := range map[string]string{
			"Content-Security-Policy":      contentPolicy,
			"X-Content-Type-Options":       "nosniff",
			"Referrer-Policy":              "no-referrer",
			"Cross-Origin-Opener-Policy":   "same-origin",
			"Cross-Origin-Resource-Policy": "same-origin",
			"Cache-Control":                "no-store",
		} {
			if got := a.head.Get(name); got != want {
				t.Errorf("%s: header %s is %q, want %q", path, name, got, want)
			}
		}
		if a.head.Get("Permissions-Policy") == "" {
			t.Errorf("%s: no Permissions-Policy", path)
		}
	}
	if strings.Contains(contentPolicy, "unsafe") {
		t.Error("the content policy has an exception")
	}
}

func TestHostNotOurs(t *testing.T) {
	sh := newShop(t, func(c *Config) { c.Hosts = []string{"Crib.Lan"} })
	for host, want := range map[string]int{
		"crib.lan": 200, "CRIB.LAN:8080": 200, "crib.lan.": 200, "localhost:1": 200, "[::1]:1": 200,
		"evil.test": 421, "crib.lan.evil.test": 421, "127.0.0.2": 421, "": 200, // "" is the test server's own 127.0.0.1
	} {
		c := sh.visitor()
		c.head = map[string]string{"Host": host}
		if a := c.get("/healthz"); a.status != want {
			t.Errorf("Host %q: %d, want %d", host, a.status, want)
		}
	}
}

func TestForeignSiteMayNotWrite(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	before := sh.movements()
	for _, head := range []map[string]string{
		{"Origin": "https://evil.test"},
		{"Sec-Fetch-Site": "cross-site"},
	} {
		c.head = head
		a := c.post("/window/scan", scanIn{Op: newOp(), Held: sh.tags("BAR-40-470")[0], Scan: "ivo"})
		if a.status != http.StatusForbidden {
			t.Errorf("a write with %v: %d %s, want 403", head, a.status, a.body)
		}
		if a.head.Get("Content-Security-Policy") == "" {
			t.Error("the refusal has no content policy")
		}
	}
	if n := sh.movements(); n != before {
		t.Errorf("%d movements booked by a foreign site", n-before)
	}
}

func TestForwardedAddressIsNotBelieved(t *testing.T) {
	sh := newShop(t)
	c := sh.visitor()
	wrong := 0
	for i := range 40 {
		c.head = map[string]string{"X-Forwarded-For": "10.0.0." + string(rune('0'+i%10)), "X-Real-Ip": "10.1.0.1"}
		if c.post("/login/password", passwordIn{"brisa", "this is not the password"}).status == http.StatusUnauthorized {
			wrong++
		}
	}
	if wrong != 5 {
		t.Errorf("%d wrong passwords were tried from made-up addresses, want 5 and then a wait", wrong)
	}
}

func TestBodies(t *testing.T) {
	sh := newShop(t)
	c := sh.program("brisa")
	for _, tt := range []struct {
		contentType, body string
		status            int
		field             string
	}{
		{"application/xml", "<a/>", 415, ""},
		{"text/plain", `{"act":"issue"}`, 415, ""},
		{"application/x-www-form-urlencoded", "act=issue", 415, ""},
		{"", `{"act":"issue"}`, 415, ""},
		{"application/json", "", 400, ""},
		{"application/json", `{"act":"issue"`, 400, ""},
		{"application/json", `{"act":"issue"}{}`, 400, ""},
		{"application/json", `{"act":"issue","actor":1}`, 400, "actor"},
		{"application/json", `{"act":"issue","ACT":"scrap"}`, 400, "ACT"},
		{"application/json", `{"act":"issue","act":"scrap"}`, 400, "act"},
		{"application/json", `{"act":"issue","lines":[{"tag":"x","qty":1.5}]}`, 422, "lines.qty"},
		{"application/json", `{"act":"give"}`, 422, "act"},
		{"application/json", `{"act":"issue","lines":[{"tag":"P00000011"}],"to":"ivo"}`, 422, "tag"},
		{"application/json", `{"act":"issue","note":"` + strings.Repeat("x", 70<<10) + `"}`, 413, ""},
		{"application/json; charset=utf-8", `{"act":"issue","lines":[],"to":"ivo"}`, 422, "items"},
	} {
		c.head = map[string]string{"Idempotency-Key": newOp()}
		a := c.do("POST", "/api/v1/bookings", tt.contentType, tt.body)
		if a.status != tt.status {
			t.Errorf("%s %.60s: %d %s, want %d", tt.contentType, tt.body, a.status, a.body, tt.status)
			continue
		}
		if p := a.problem(t); p.Field != tt.field || p.Status != tt.status || p.Code == "" || p.Detail == "" || p.Ref == "" {
			t.Errorf("%s %.60s: %+v, want field %q", tt.contentType, tt.body, p, tt.field)
		}
	}
}

func TestUnknownErrorsStayInside(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	must(t, sh.store.Close()) // every query fails from here on
	a := sh.visitor().get("/readyz")
	if a.status != http.StatusServiceUnavailable {
		t.Errorf("readyz without a store: %d", a.status)
	}
	a = c.get("/login")
	if a.status != 500 {
		t.Fatalf("a page without a store: %d %s", a.status, a.body)
	}
	for _, leak := range []string{"sql", "database", "closed", ".go"} {
		if strings.Contains(strings.ToLower(a.body), leak) {
			t.Errorf("the page of a failure holds %q: %s", leak, a.body)
		}
	}
	if !strings.Contains(sh.log.String(), "request failed") {
		t.Error("the log does not have the cause")
	}
}

func TestAssets(t *testing.T) {
	sh := newShop(t)
	css, err := sh.server.assets.url("app.css")
	must(t, err)
	a := sh.visitor().get(css)
	if a.status != 200 || a.head.Get("Cache-Control") != "public, max-age=31536000, immutable" {
		t.Errorf("%s: %d, %q", css, a.status, a.head.Get("Cache-Control"))
	}
	if strings.Contains(a.body, `"/static/fonts/sans.woff2"`) || !strings.Contains(a.body, `"/static/fonts/sans.`) {
		t.Error("the stylesheet does not name its fonts by their hashed names")
	}
	for _, path := range []string{"/static/../server.go", "/static/nothing.js", "/static/", "/static/fonts/sans.woff2/.."} {
		if a := sh.visitor().get(path); a.status == 200 {
			t.Errorf("%s: 200", path)
		}
	}
	for name, f := range sh.server.assets.byName {
		if strings.HasSuffix(name, ".js") && !strings.HasPrefix(f.kind, "text/javascript") {
			t.Errorf("%s is served as %s", name, f.kind)
		}
	}
}

func TestServeEndsWithItsContext(t *testing.T) {
	sh := newShop(t)
	ln := listen(t)
	ctx, cancel := withCancel(t)
	ended := make(chan error, 1)
	go func() { ended <- sh.server.Serve(ctx, ln) }()
	resp, err := http.Get("http://" + ln.Addr().String() + "/healthz")
	must(t, err)
	resp.Body.Close()
	cancel()
	select {
	case err := <-ended:
		if err != nil {
			t.Errorf("Serve: %v", err)
		}
	case <-time.After(10 * time.Second):
		t.Error("Serve did not end within 10 s")
	}
}
