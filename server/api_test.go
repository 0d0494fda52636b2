package server

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"sort"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers/legacy"

	"brasspeg/store"
)

func describedAPI(t *testing.T, doc string) *openapi3.T {
	t.Helper()
	api, err := openapi3.NewLoader().LoadFromData([]byte(doc))
	must(t, err)
	must(t, api.Validate(context.Background()))
	return api
}

// The description and the routes name the same addresses, both ways.
func TestDescriptionHoldsEveryRoute(t *testing.T) {
	sh := newShop(t)
	api := describedAPI(t, sh.visitor().get("/api/v1/openapi.json").body)
	var described, served []string
	for path, item := range api.Paths.Map() {
		for method := range item.Operations() {
			described = append(described, method+" "+path)
		}
	}
	param := regexp.MustCompile(`:(\w+)`)
	for _, r := range sh.server.routes {
		if strings.HasPrefix(r.path, "/api/") {
			served = append(served, r.method+" "+param.ReplaceAllString(r.path, "{$1}"))
		}
	}
	sort.Strings(described)
	sort.Strings(served)
	if d, s := strings.Join(described, "\n"), strings.Join(served, "\n"); d != s {
		t.Errorf("described:\n%s\nserved:\n%s", d, s)
	}
}

// Every answer of the API, good or refused, has the form that the description promises, and
// every request the test sends is one that it allows.
func TestAnswersAreAsDescribed(t *testing.T) {
	sh := newShop(t)
	api := describedAPI(t, string(openAPISource))
	api.Servers = openapi3.Servers{{URL: sh.http.URL}}
	router, err := legacy.NewRouter(api)
	must(t, err)
	c := sh.program("mads")
	bar, lot := sh.tags("BAR-40-470")[0], sh.tags("INS-D11-08")[0]
	merge, change := newOp(), newOp()
	issue, key := map[string]any{"act": "issue", "to": "ivo", "job": "J-1", "due": "2026-11-30", "lines": []any{map[string]any{"tag": bar}}}, newOp()
	plan := newOp()
	for _, tt := range []struct {
		method, path, key string
		body              any
		status            int
	}{
		{"GET", "/api/v1/openapi.json", "", nil, 200},
		{"GET", "/api/v1/parts", "", nil, 200},
		{"GET", "/api/v1/parts?q=40+bar&limit=5", "", nil, 200},
		{"GET", "/api/v1/parts/BAR-40-470", "", nil, 200},
		{"POST", "/api/v1/parts", "", map[string]any{"kind": "insert", "code": "I-9", "designation": "CNMG 432", "grade": "K7"}, 201},
		{"POST", "/api/v1/parts", "", map[string]any{"kind": "insert", "code": "I-10", "designation": "CNMG 120408"}, 409},
		{"POST", "/api/v1/parts", "", map[string]any{"kind": "insert", "code": "I-10", "designation": "CNMG 120408", "confirmed": true}, 201},
		{"POST", "/api/v1/parts", "", map[string]any{"kind": "sleeve", "code": "S-9", "values": map[string]any{"DCONMS": "50"}}, 422},
		{"POST", "/api/v1/parts", "", map[string]any{"kind": "insert", "code": "I-20", "designation": "WNMG 080408", "home": "B1-2", "pack": 10}, 201},
		{"PATCH", "/api/v1/parts/I-20", change, map[string]any{"version": 1, "grade": "K8", "lead_days": 7, "price": "7.20", "currency": "EUR", "values": map[string]any{"RE": "0.79 mm", "S": nil}}, 201},
		{"PATCH", "/api/v1/parts/I-20", change, map[string]any{"version": 1, "grade": "K8", "lead_days": 7, "price": "7.20", "currency": "EUR", "values": map[string]any{"RE": "0.79 mm", "S": nil}}, 201},
		{"PATCH", "/api/v1/parts/I-20", newOp(), map[string]any{"version": 1, "note": "x"}, 412},
		{"PATCH", "/api/v1/parts/I-20", newOp(), map[string]any{"version": 1, "over": 2, "note": "x"}, 201},
		{"PATCH", "/api/v1/parts/I-20", newOp(), map[string]any{"version": 3, "values": map[string]any{"IC": "12.7"}}, 422},
		{"PATCH", "/api/v1/parts/I-20", newOp(), map[string]any{"grade": "K9"}, 422},
		{"PATCH", "/api/v1/parts/HED-40R", newOp(), map[string]any{"version": 1, "values": map[string]any{"CCMS": "H32"}}, 409},
		{"GET", "/api/v1/parts/I-20/changes", "", nil, 200},
		{"GET", "/api/v1/parts/BAR-40-470/mates", "", nil, 200},
		{"GET", "/api/v1/parts/HLD-50-40/mates?limit=1", "", nil, 200},
		{"POST", "/api/v1/parts/I-20/changes/" + change + "/reversal", newOp(), map[string]any{}, 412},
		{"POST", "/api/v1/parts/I-20/retirement", newOp(), map[string]any{"retired": true, "reason": "bought no more"}, 201},
		{"POST", "/api/v1/parts/I-20/retirement", newOp(), map[string]any{"retired": false}, 201},
		{"POST", "/api/v1/parts/BAR-40-470/retirement", newOp(), map[string]any{"retired": true}, 412},
		{"POST", "/api/v1/parts/files", "", map[string]any{"csv": "code,kind,designation\nI-11,insert,SNMG 120408\nI-12,insert,XX\n"}, 200},
		{"GET", "/api/v1/designations?text=A25T-SCLCR+09", "", nil, 200},
		{"GET", "/api/v1/designations?text=CXMG&kind=insert", "", nil, 422},
		{"GET", "/api/v1/mates?male=G+1/4&female=NPT+1/4", "", nil, 200},
		{"GET", "/api/v1/mates?male=x&female=NPT+1/4", "", nil, 422},
		{"POST", "/api/v1/merges", merge, map[string]any{"from": "I-10", "into": "I-9", "reason": "twins"}, 201},
		{"POST", "/api/v1/merges", newOp(), map[string]any{"from": "I-9", "into": "BAR-40-470"}, 412},
		{"GET", "/api/v1/parts/I-10", "", nil, 200},
		{"POST", "/api/v1/merges/" + merge + "/reversal", newOp(), map[string]any{"reason": "no twins"}, 201},
		{"POST", "/api/v1/codes", newOp(), map[string]any{"code": "4012345678901", "part": "I-9"}, 201},
		{"POST", "/api/v1/codes", newOp(), map[string]any{"code": "4012345678901", "part": "I-10"}, 409},
		{"POST", "/api/v1/codes", newOp(), map[string]any{"code": "4012345678901"}, 201},
		{"POST", "/api/v1/regrinds", newOp(), map[string]any{"tag": lot, "qty": 1, "size": "9.2 mm"}, 201},
		{"POST", "/api/v1/regrinds", newOp(), map[string]any{"tag": lot, "qty": 1, "size": "9.2"}, 422},
		{"POST", "/api/v1/bookings", newOp(), map[string]any{"act": "receive", "part": "INS-D11-08", "qty": 1, "to": "B1-2"}, 201},
		{"GET", "/api/v1/lookups", "", nil, 200},
		{"GET", "/api/v1/lookups?day=monday", "", nil, 422},
		{"GET", "/api/v1/parts/NOPE", "", nil, 404},
		{"GET", "/api/v1/pieces?part=BAR-40-470", "", nil, 200},
		{"GET", "/api/v1/pieces", "", nil, 422},
		{"GET", "/api/v1/pieces/" + bar, "", nil, 200},
		{"GET", "/api/v1/lots/" + bar, "", nil, 404},
		{"GET", "/api/v1/lots?place=B1-2", "", nil, 200},
		{"GET", "/api/v1/lots/" + lot, "", nil, 200},
		{"GET", "/api/v1/places", "", nil, 200},
		{"GET", "/api/v1/places/A1-1", "", nil, 200},
		{"GET", "/api/v1/tags/" + bar, "", nil, 200},
		{"GET", "/api/v1/jobs", "", nil, 200},
		{"GET", "/api/v1/jobs/J-1", "", nil, 200},
		{"GET", "/api/v1/jobs/J-1/stack", "", nil, 200},
		{"GET", "/api/v1/jobs/J-1/kit", "", nil, 200},
		{"GET", "/api/v1/jobs/J-9/kit", "", nil, 404},
		{"POST", "/api/v1/jobs/J-1/start", newOp(), map[string]any{}, 422},
		{"POST", "/api/v1/jobs/J-1/start", newOp(), map[string]any{"pieces": []string{bar}}, 412},
		{"POST", "/api/v1/jobs/J-2/start", newOp(), map[string]any{"pieces": []string{bar}, "to": "ivo", "partly": true}, 409},
		{"GET", "/api/v1/jobs/J-2/stack", "", nil, 200},
		{"POST", "/api/v1/stacks", "", json.RawMessage(`{"job": "J-1", "need_date": "2026-11-26", "station": {"interface": "VDI50"}, "bore_start_d": 62, "depth": 250, "clearance": 30, "hand": "R", "insert": {"seat": "DCMT11T3"}, "coolant": false}`), 200},
		{"POST", "/api/v1/stacks", "", json.RawMessage(`{"dpeth": 250}`), 422},
		{"POST", "/api/v1/reservations", newOp(), map[string]any{"job": "J-1", "lines": []any{map[string]any{"tag": bar}}}, 201},
		{"POST", "/api/v1/reservations", newOp(), map[string]any{"job": "J-2", "lines": []any{map[string]any{"tag": bar}}}, 409},
		{"GET", "/api/v1/jobs/J-1/reservations", "", nil, 200},
		{"POST", "/api/v1/bookings", key, issue, 201},
		{"POST", "/api/v1/bookings", key, issue, 201},
		{"GET", "/api/v1/pieces/" + bar, "", nil, 200},
		{"GET", "/api/v1/bookings/" + key, "", nil, 200},
		{"GET", "/api/v1/bookings/no-such-booking-here", "", nil, 404},
		{"GET", "/api/v1/bookings?limit=2", "", nil, 200},
		{"GET", "/api/v1/bookings?tag=" + bar, "", nil, 200},
		{"POST", "/api/v1/bookings/" + key + "/reversal", newOp(), map[string]any{"reason": "wrong bar"}, 201},
		{"POST", "/api/v1/bookings/" + key + "/reversal", newOp(), map[string]any{"reason": "wrong bar"}, 409},
		{"POST", "/api/v1/bookings", newOp(), map[string]any{"act": "receive", "part": "INS-D11-08", "qty": 10, "to": "B1-2"}, 201},
		{"POST", "/api/v1/bookings", newOp(), map[string]any{"act": "count", "lines": []any{map[string]any{"tag": lot, "place": "B1-2", "found": 19}}}, 201},
		{"POST", "/api/v1/bookings", newOp(), map[string]any{"act": "adjust", "reason": "one under the drawer", "lines": []any{map[string]any{"tag": lot, "place": "B1-2", "delta": 1}}}, 201},
		{"POST", "/api/v1/bookings", newOp(), map[string]any{"act": "transfer", "to": "C1-1", "lines": []any{map[string]any{"tag": bar}}}, 201},
		{"POST", "/api/v1/bookings", newOp(), map[string]any{"act": "scrap", "reason": "bent", "lines": []any{map[string]any{"tag": bar}}}, 201},
		{"POST", "/api/v1/bookings", newOp(), map[string]any{"act": "scrap", "lines": []any{map[string]any{"tag": bar}}}, 422},
		{"POST", "/api/v1/reservations/release", newOp(), map[string]any{"job": "J-1"}, 201},
		{"GET", "/api/v1/readiness", "", nil, 200},
		{"GET", "/api/v1/purchases", "", nil, 200},
		{"GET", "/api/v1/jobs/J-2/plan", "", nil, 200},
		{"POST", "/api/v1/jobs", "", json.RawMessage(`{"code": "J-50", "name": "liner", "machine": "L3", "station": 4, "parts": 9, "from": "2026-12-05", "to": "2026-12-06", "request": {"bore_start_d": 62, "depth": 250, "clearance": 30, "hand": "R", "insert": {"seat": "DCMT11T3"}, "coolant": false}}`), 201},
		{"POST", "/api/v1/jobs", "", json.RawMessage(`{"code": "J-51", "machine": "L3", "station": 4, "from": "2026-12-05", "to": "2026-12-06", "request": {"bore_start_d": 62, "depth": 250}}`), 422},
		{"POST", "/api/v1/jobs/J-50", "", json.RawMessage(`{"code": "J-50", "machine": "L3", "station": 4, "parts": 8, "from": "2026-12-05", "to": "2026-12-07", "version": 1, "request": {"bore_start_d": 62, "depth": 250, "clearance": 30, "hand": "R", "insert": {"seat": "DCMT11T3"}, "coolant": false}}`), 200},
		{"POST", "/api/v1/jobs/J-50", "", json.RawMessage(`{"code": "J-50", "from": "2026-12-05", "to": "2026-12-07", "version": 1, "request": {}}`), 412},
		{"POST", "/api/v1/jobs/J-50/plan", plan, map[string]any{}, 201},
		{"GET", "/api/v1/jobs/J-50/plan", "", nil, 200},
		{"POST", "/api/v1/jobs/J-2/plan", newOp(), map[string]any{}, 409},
		{"POST", "/api/v1/jobs/J-50/remarks", newOp(), map[string]any{"text": "quiet at 120 m/min"}, 201},
		{"POST", "/api/v1/jobs/J-50/remarks", newOp(), map[string]any{"text": ""}, 422},
		{"GET", "/api/v1/jobs/J-50/remarks", "", nil, 200},
		{"POST", "/api/v1/jobs/J-50/plan/undo", newOp(), map[string]any{"op": plan}, 201},
		{"POST", "/api/v1/jobs/J-50/plan/undo", newOp(), map[string]any{"op": plan}, 409},
		{"POST", "/api/v1/jobs/J-50/plan/release", newOp(), map[string]any{}, 201},
		{"POST", "/api/v1/jobs/J-50/close", newOp(), map[string]any{}, 201},
		{"POST", "/api/v1/jobs/J-50/close", newOp(), map[string]any{}, 422},
		{"GET", "/api/v1/people", "", nil, 200},
	} {
		var body []byte
		if tt.body != nil {
			body, err = json.Marshal(tt.body)
			must(t, err)
		}
		req, err := http.NewRequestWithContext(t.Context(), tt.method, sh.http.URL+tt.path, bytes.NewReader(body))
		must(t, err)
		req.Header.Set("Authorization", "Bearer "+c.token)
		if body != nil {
			req.Header.Set("Content-Type", "application/json")
		}
		if tt.key != "" {
			req.Header.Set("Idempotency-Key", tt.key)
		}
		route, params, err := router.FindRoute(req)
		must(t, err)
		in := &openapi3filter.RequestValidationInput{Request: req, PathParams: params, Route: route, Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}}
		if tt.status < 300 {
			if err := openapi3filter.ValidateRequest(t.Context(), in); err != nil {
				t.Errorf("%s %s: the request is not as described: %v", tt.method, tt.path, err)
			}
		}
		req.Body = io.NopCloser(bytes.NewReader(body))
		resp, err := c.http.Do(req)
		must(t, err)
		got, err := io.ReadAll(resp.Body)
		must(t, err)
		resp.Body.Close()
		if resp.StatusCode != tt.status {
			t.Errorf("%s %s: %d %s, want %d", tt.method, tt.path, resp.StatusCode, got, tt.status)
			continue
		}
		out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: resp.StatusCode, Header: resp.Header, Options: &openapi3filter.Options{IncludeResponseStatus: true}}
		out.SetBodyBytes(got)
		if err := openapi3filter.ValidateResponse(t.Context(), out); err != nil {
			t.Errorf("%s %s: the answer is not as described: %v\n%s", tt.method, tt.path, err, got)
		}
	}
}

func TestSameKeySameAnswer(t *testing.T) {
	sh := newShop(t)
	c := sh.program("brisa")
	tag := sh.tags("BAR-40-470")[0]
	body := map[string]any{"act": "issue", "to": "ivo", "lines": []any{map[string]any{"tag": tag}}}
	key := newOp()
	before := sh.movements()
	one := c.book(key, body)
	two := c.book(key, body)
	if one.status != 201 || one.body != two.body || two.head.Get("Idempotent-Replayed") != "true" || one.head.Get("Idempotent-Replayed") != "" {
		t.Errorf("first %d %s\nsecond %d %s (replayed %q)", one.status, one.body, two.status, two.body, two.head.Get("Idempotent-Replayed"))
	}
	if n := sh.movements(); n != before+1 {
		t.Errorf("%d movements, want 1", n-before)
	}
	body["to"] = "orla"
	if a := c.book(key, body); a.status != 422 || a.problem(t).Code != "op_reused" {
		t.Errorf("the key with another content: %d %s", a.status, a.body)
	}
	for _, bad := range []string{"", "short", strings.Repeat("x", 65), "has a blank in it!"} {
		if a := c.book(bad, body); a.status != 422 || a.problem(t).Field != "op_id" {
			t.Errorf("key %q: %d %s", bad, a.status, a.body)
		}
	}
}

func TestThirtyTwoEqualKeysBookOnce(t *testing.T) {
	sh := newShop(t)
	token := sh.program("brisa").token
	body := map[string]any{"act": "issue", "to": "ivo", "lines": []any{map[string]any{"tag": sh.tags("BAR-40-470")[0]}}}
	key := newOp()
	before := sh.movements()
	answers := make([]answer, 32)
	var all sync.WaitGroup
	for i := range answers {
		all.Go(func() {
			c := sh.visitor()
			c.token = token
			answers[i] = c.book(key, body)
		})
	}
	all.Wait()
	for _, a := range answers {
		if a.status != 201 || a.body != answers[0].body {
			t.Errorf("%d %s", a.status, a.body)
		}
	}
	if n := sh.movements(); n != before+1 {
		t.Errorf("%d movements, want 1", n-before)
	}
}

// The actor is the token's person whatever the body says, and a program of an operator books
// for that operator only.
func TestActorIsTheToken(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	body := map[string]any{"act": "issue", "to": "orla", "lines": []any{map[string]any{"tag": tag}}}
	if a := sh.program("ivo").book(newOp(), body); a.status != 403 {
		t.Errorf("an operator issues to another: %d %s", a.status, a.body)
	}
	body["to"] = "ivo"
	if a := sh.program("ivo").book(newOp(), body); a.status != 201 {
		t.Errorf("an operator issues to himself: %d %s", a.status, a.body)
	}
	lines, err := sh.store.Lines(t.Context(), store.LineFilter{Limit: 1})
	must(t, err)
	if lines[0].Actor != "Ivo Lend" {
		t.Errorf("the ledger says %s", lines[0].Actor)
	}
	if a := sh.program("ada").book(newOp(), body); a.status != 403 {
		t.Errorf("an admin books: %d %s", a.status, a.body)
	}
}

func TestVerdictsOfTheTwoJobs(t *testing.T) {
	sh := newShop(t)
	c := sh.program("mads")
	var v verdictOut
	must(t, json.Unmarshal([]byte(c.get("/api/v1/jobs/J-1/stack").body), &v))
	if !v.Buildable || len(v.Stacks) == 0 || v.Stacks[0].OverhangMM != 280 || v.Stacks[0].OverhangRatio != 7 {
		t.Errorf("J-1: %+v", v)
	}
	v = verdictOut{}
	must(t, json.Unmarshal([]byte(c.get("/api/v1/jobs/J-2/stack").body), &v))
	if v.Buildable || len(v.Options) == 0 || len(v.Options[0].Parts) == 0 || v.Options[0].Parts[0].Kind != "head" {
		t.Errorf("J-2 wants a left-hand head: %+v", v)
	}
}
