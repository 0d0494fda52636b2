package server

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
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
	d := sh.describer(t, "mads")
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
		d.ask(tt.method, tt.path, tt.key, tt.body, tt.status)
	}
	// Buying: a draft from the first line to the last delivery.
	v, err := sh.store.AddSupplier(t.Context(), 0, store.Supplier{Code: "V1", Name: "Hollin Supply"})
	must(t, err)
	var made store.Receipt
	must(t, json.Unmarshal(d.ask("POST", "/api/v1/orders", newOp(), map[string]any{"supplier": v.Code, "cutoff": "2026-11-26"}, 201), &made))
	at := "/api/v1/orders/" + made.Says
	d.ask("POST", at+"/lines", newOp(), map[string]any{"part": "INS-D11-08", "pieces": 20, "price": "7.20", "currency": "EUR", "seen": "yes"}, 201)
	d.ask("POST", at+"/lines", newOp(), map[string]any{"part": "INS-D11-08", "pieces": 20, "price": "7.2", "seen": "yes"}, 422)
	d.ask("POST", at+"/approval", newOp(), map[string]any{"version": 99}, 412)
	var o apiOrder
	must(t, json.Unmarshal(d.ask("GET", at, "", nil, 200), &o))
	d.ask("POST", at+"/approval", newOp(), map[string]any{"version": o.Version}, 201)
	d.ask("POST", at+"/ordered", newOp(), map[string]any{"day": "2026-11-24", "due": "2026-12-08"}, 201)
	d.ask("POST", at+"/ordered", newOp(), map[string]any{"day": "2026-12-24", "due": "2026-12-08"}, 422)
	line := o.Lines[0].ID
	receipt, delivery := newOp(), map[string]any{"line": line, "qty": 10, "unit": "piece"}
	first := d.ask("POST", at+"/receipts", receipt, delivery, 201)
	if again := d.ask("POST", at+"/receipts", receipt, delivery, 201); string(again) != string(first) {
		t.Errorf("the same delivery again: %s, want %s", again, first)
	}
	d.ask("POST", at+"/price", newOp(), map[string]any{"line": line, "price": "6.10", "currency": "EUR", "was": "7.20", "was_currency": "EUR", "reason": "a slip"}, 201)
	d.ask("POST", at+"/price", newOp(), map[string]any{"line": line, "price": "6.30", "currency": "EUR", "was": "7.20", "was_currency": "EUR", "reason": "seen too late"}, 412)
	d.ask("POST", at+"/receipts", newOp(), map[string]any{"line": line + 99, "qty": 10, "unit": "piece"}, 404)
	d.ask("POST", at+"/closing", newOp(), map[string]any{"line": line, "reason": "no longer made"}, 201)
	must(t, json.Unmarshal(d.ask("GET", at, "", nil, 200), &o))
	if l := o.Lines[0]; l.Received != 10 || l.Open != 0 || o.Ordered != "2026-11-24" {
		t.Errorf("after half a delivery and a closing: %+v of %s", l, o.Ordered)
	}
	must(t, json.Unmarshal(d.ask("POST", "/api/v1/orders", newOp(), map[string]any{"supplier": v.Code, "cutoff": "2026-11-27"}, 201), &made))
	d.ask("POST", "/api/v1/orders/"+made.Says+"/cancellation", newOp(), map[string]any{}, 201)
	d.ask("GET", "/api/v1/orders?all=yes&sort=-cutoff&supplier=V1", "", nil, 200)
	d.ask("GET", "/api/v1/buying?sort=part&limit=1", "", nil, 200)
	d.ask("GET", "/api/v1/buying/INS-D11-08", "", nil, 200)
	// Labels.
	d.ask("GET", "/api/v1/labels?select="+lot, "", nil, 200)
	d.ask("GET", "/api/v1/labels", "", nil, 422)
	for _, kind := range []string{"pdf", "svg", "png"} {
		if file := d.ask("GET", "/api/v1/labels/files/labels."+kind+"?select="+lot+"&sheet=50x25&dpi=203", "", nil, 200); len(file) < 500 {
			t.Errorf("a label as %s has %d bytes", kind, len(file))
		}
	}
	print := newOp()
	d.ask("POST", "/api/v1/labels/prints", print, map[string]any{"select": lot, "sheet": "a4"}, 201)
	d.ask("GET", "/api/v1/labels/prints", "", nil, 200)
	d.ask("GET", "/api/v1/labels/prints/"+print+"/labels.pdf", "", nil, 200)
	// Edges.
	j := sh.runs()
	edge := map[string]any{"station": "L3/4", "box": lot, "parts": 12, "reason": "worn", "after": "none"}
	d.ask("POST", "/api/v1/edges", newOp(), edge, 201)
	d.ask("GET", "/api/v1/edges?limit=1", "", nil, 200)
	d.ask("GET", "/api/v1/edges?limit=1&after=x", "", nil, 422)
	d.ask("GET", "/api/v1/edges/account", "", nil, 200)
	d.ask("GET", "/api/v1/lives?sort=-runs", "", nil, 200)
	d.ask("GET", "/api/v1/lives/1", "", nil, 200)
	d.ask("POST", "/api/v1/lives/1/plan", newOp(), map[string]any{"planned_at": 70}, 201)
	d.ask("GET", "/api/v1/jobs/"+j.Code+"/edges", "", nil, 200)
	d.ask("POST", "/api/v1/jobs/"+j.Code+"/count", newOp(), map[string]any{"count": 20}, 201)
	// The rest of the lists.
	d.ask("GET", "/api/v1/reservations?sort=tag", "", nil, 200)
	d.ask("GET", "/api/v1/people/ivo", "", nil, 200)
	d.ask("GET", "/api/v1/people/nobody", "", nil, 404)
	d.ask("GET", "/api/v1/people?role=operator&sort=-name&limit=1", "", nil, 200)
	d.ask("POST", "/api/v1/tags", "", map[string]any{"scan": " ]Q1" + strings.ToLower(lot) + "\r\n"}, 200)
	for _, path := range []string{"/api/v1/parts?limit=0", "/api/v1/parts?sort=price", "/api/v1/places?after=NOPE", "/api/v1/bookings?after=x"} {
		d.ask("GET", path, "", nil, 422)
	}
	for _, path := range []string{"/api/v1/parts?colour=red", "/api/v1/parts?limit=1&limit=2"} {
		d.ask("GET", path, "", nil, 400)
	}
	for op := range d.unasked {
		if !neverAsked[op] {
			t.Errorf("no example of a good answer of %s was asked for", op)
		}
	}
}

// neverAsked are acts whose good answer wants a longer story than this one; the tests of their
// own have it.
var neverAsked = map[string]bool{
	"POST /api/v1/edges/unknown": true, "POST /api/v1/edges/looked-at": true, "POST /api/v1/jobs/{code}/start": true, "POST /api/v1/parts/{code}/changes/{op}/reversal": true,
}

// A describer asks the API and holds what is sent and answered against the description.
type describer struct {
	t       *testing.T
	c       *client
	router  routers.Router
	unasked map[string]bool // operations without a good answer so far
}

func (sh *shop) describer(t *testing.T, login string) *describer {
	t.Helper()
	api := describedAPI(t, string(openAPISource))
	api.Servers = openapi3.Servers{{URL: sh.http.URL}}
	router, err := legacy.NewRouter(api)
	must(t, err)
	d := &describer{t, sh.program(login), router, map[string]bool{}}
	for path, item := range api.Paths.Map() {
		for method := range item.Operations() {
			d.unasked[method+" "+path] = true
		}
	}
	for _, kind := range []string{"application/pdf", "image/svg+xml", "image/png"} {
		openapi3filter.RegisterBodyDecoder(kind, openapi3filter.FileBodyDecoder)
	}
	return d
}

// ask sends one request and returns the body of the answer.
func (d *describer) ask(method, path, key string, in any, status int) []byte {
	t := d.t
	t.Helper()
	var body []byte
	if in != nil {
		var err error
		body, err = json.Marshal(in)
		must(t, err)
	}
	req, err := http.NewRequestWithContext(t.Context(), method, d.c.sh.http.URL+path, bytes.NewReader(body))
	must(t, err)
	req.Header.Set("Authorization", "Bearer "+d.c.token)
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if key != "" {
		req.Header.Set("Idempotency-Key", key)
	}
	route, params, err := d.router.FindRoute(req)
	must(t, err)
	asked := &openapi3filter.RequestValidationInput{Request: req, PathParams: params, Route: route, Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}}
	if status < 300 {
		if err := openapi3filter.ValidateRequest(t.Context(), asked); err != nil {
			t.Errorf("%s %s: the request is not as described: %v", method, path, err)
		}
	}
	req.Body = io.NopCloser(bytes.NewReader(body))
	resp, err := d.c.http.Do(req)
	must(t, err)
	got, err := io.ReadAll(resp.Body)
	must(t, err)
	resp.Body.Close()
	if resp.StatusCode != status {
		t.Errorf("%s %s: %d %s, want %d", method, path, resp.StatusCode, got, status)
		return got
	}
	if status < 300 {
		delete(d.unasked, method+" "+route.Path)
	}
	out := &openapi3filter.ResponseValidationInput{RequestValidationInput: asked, Status: resp.StatusCode, Header: resp.Header, Options: &openapi3filter.Options{IncludeResponseStatus: true}}
	out.SetBodyBytes(got)
	if err := openapi3filter.ValidateResponse(t.Context(), out); err != nil {
		t.Errorf("%s %s: the answer is not as described: %v\n%.400s", method, path, err, got)
	}
	return got
}

// Every code of a refusal that stands in the sources is described, and none else.
func TestCodesAreDescribed(t *testing.T) {
	var doc struct {
		Components struct {
			Schemas struct {
				Problem struct {
					Properties struct {
						Code struct {
							Enum []string `json:"enum"`
						} `json:"code"`
					} `json:"properties"`
				} `json:"Problem"`
			} `json:"schemas"`
		} `json:"components"`
	}
	must(t, json.Unmarshal(openAPISource, &doc))
	described := doc.Components.Schemas.Problem.Properties.Code.Enum
	said := map[string]bool{"internal": true}
	for _, row := range problems {
		said[row.code] = true
	}
	code := regexp.MustCompile(`(?:unfit\(|unreadable\(|\b[cC]ode: |\bcode = |line, code := 0, )"([a-z_]+)"`)
	for _, pattern := range []string{"*.go", "../store/*.go"} {
		files, err := filepath.Glob(pattern)
		must(t, err)
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			for _, m := range code.FindAllStringSubmatch(readFile(t, file), -1) {
				said[m[1]] = true
			}
		}
	}
	for c := range said {
		if !slices.Contains(described, c) {
			t.Errorf("the code %q is not described", c)
		}
	}
	for _, c := range described {
		if !said[c] {
			t.Errorf("the code %q is described and nowhere said", c)
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
