package server

import (
	"bytes"
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"brasspeg/server/access"
	"brasspeg/store"
)

// A shop is a small store with a server before it: one holder, one bar, one head, two lots
// of inserts, a job that can be built and one that cannot.
type shop struct {
	t       testing.TB
	store   *store.Store
	server  *Server
	http    *httptest.Server
	now     time.Time
	people  map[string]store.Person
	badges  map[string]string
	console []string
	log     *bytes.Buffer

	dir         string
	orderOfShop string
}

const (
	testPIN      = "482915"
	testPassword = "a long enough sentence"
)

// newShop opens a shop; change may alter the server's settings.
func newShop(t testing.TB, change ...func(*Config)) *shop {
	t.Helper()
	return newShopIn(t, store.Options{Dir: t.TempDir()}, change...)
}

// newShopIn is newShop with the store where o says.
func newShopIn(t testing.TB, o store.Options, change ...func(*Config)) *shop {
	t.Helper()
	sh := emptyShopIn(t, o, change...)
	ctx := t.Context()
	for _, p := range []struct{ login, name, role string }{
		{"brisa", "Brisa Tollan", "attendant"}, {"ivo", "Ivo Lend", "operator"}, {"orla", "Orla Vane", "operator"},
		{"mads", "Mads Hurrel", "manager"}, {"ada", "Ada Quist", "admin"}, {"tam", "Tam Oster", "attendant"},
	} {
		person, badge, err := sh.store.AddPerson(ctx, 0, store.PersonIn{Login: p.login, Name: p.name, Role: store.Role(p.role), PIN: testPIN, Password: testPassword})
		must(t, err)
		sh.people[p.login], sh.badges[p.login] = person, badge
	}
	for _, code := range []string{"A1-1", "A1-2", "B1-1", "B1-2", "C1-1"} {
		_, err := sh.store.AddPlace(ctx, store.Place{Code: code, Kind: store.Bin})
		must(t, err)
	}
	machine, stations, err := sh.store.AddMachine(ctx, 0, store.Machine{Code: "L3", Name: "Lathe 3"}, []store.Station{{Number: 4, Interface: "VDI50"}})
	must(t, err)
	part := func(code, name, home string, flat map[string]any) {
		flat["id"] = code
		in, err := store.PartFrom(flat, "entered")
		must(t, err)
		place, err := sh.store.PlaceByCode(ctx, home)
		must(t, err)
		in.Part.Name, in.Part.HomeID = name, &place.ID
		_, err = sh.store.SavePart(ctx, 0, in)
		must(t, err)
	}
	part("HLD-50-40", "holder", "A1-1", map[string]any{"kind": "holder", "interface": "VDI50", "DCONWS": 40, "unit": "mm", "LSC": 165, "clamp": "split", "coolant": "through", "CP": 100, "WT": 4.5})
	part("BAR-40-470", "boring bar, damped", "A1-2", map[string]any{"kind": "bar", "DCONMS": 40, "unit": "mm", "construction": "damped_steel", "OAL": 470, "CCWS": "H40", "flat": false, "coolant": true, "coolant_in": []any{"bore"}, "CP": 100, "WT": 4.64})
	part("HED-40R", "head", "B1-1", map[string]any{"kind": "head", "CCMS": "H40", "HAND": "R", "DMIN": 50, "seat": "DCMT11T3", "LF": 32, "coolant": true, "CP": 100, "WT": 0.3})
	part("INS-D11-08", "insert", "B1-2", map[string]any{"kind": "insert", "designation": "DCMT 11T308", "seat": "DCMT11T3", "RE": 0.8, "edges": 2})
	for _, r := range []struct {
		code string
		qty  int64
	}{{"HLD-50-40", 1}, {"BAR-40-470", 2}, {"HED-40R", 1}, {"INS-D11-08", 10}} {
		p, err := sh.store.PartByCode(ctx, r.code)
		must(t, err)
		_, err = sh.store.Receive(ctx, sh.op("brisa"), store.ReceiveIn{Part: p.ID, Qty: r.qty})
		must(t, err)
	}
	request := `{"bore_start_d": 62, "depth": 250, "clearance": 30, "hand": "R", "insert": {"seat": "DCMT11T3", "RE": 0.8}, "coolant": false, "coolant_bar": 0}`
	for _, r := range [][2]string{{"J-1", request}, {"J-2", strings.Replace(request, `"R"`, `"L"`, 1)}} { // in order: J-1 is job 1
		code, req := r[0], r[1]
		_, err := sh.store.SaveJob(ctx, 0, store.Job{Code: code, Name: "housing", MachineID: &machine.ID, StationID: &stations[0].ID, Material: "P", PartsQty: 40,
			FromDay: "2026-11-26", ToDay: "2026-11-27", Request: req})
		must(t, err)
	}
	return sh
}

// emptyShop is a store with nobody in it.
func emptyShop(t testing.TB, change ...func(*Config)) *shop {
	t.Helper()
	return emptyShopIn(t, store.Options{Dir: t.TempDir()}, change...)
}

func emptyShopIn(t testing.TB, o store.Options, change ...func(*Config)) *shop {
	t.Helper()
	sh := &shop{t: t, now: time.Date(2026, 11, 25, 6, 0, 0, 0, time.UTC), people: map[string]store.Person{}, badges: map[string]string{}, log: &bytes.Buffer{}}
	sh.dir = o.Dir
	o.Create, o.Relaxed, o.Clock = true, true, func() time.Time { return sh.now }
	var err error
	sh.store, err = store.Open(context.Background(), o)
	must(t, err)
	t.Cleanup(func() { must(t, sh.store.Close()) })
	sh.serve(change...)
	return sh
}

func (sh *shop) serve(change ...func(*Config)) {
	sh.t.Helper()
	cfg := Config{Store: sh.store, Log: slog.New(slog.NewTextHandler(sh.log, nil)), Console: func(l string) { sh.console = append(sh.console, l) }}
	for _, f := range change {
		f(&cfg)
	}
	var err error
	sh.server, err = New(cfg)
	must(sh.t, err)
	sh.http = httptest.NewServer(sh.server.Handler())
	sh.t.Cleanup(sh.http.Close)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func (sh *shop) op(login string) store.Op {
	return store.Op{ID: newOp(), Actor: sh.people[login].ID, Device: "test"}
}

// piece returns the tags of a part's pieces or lots.
func (sh *shop) tags(code string) []string {
	sh.t.Helper()
	p, err := sh.store.PartByCode(sh.t.Context(), code)
	must(sh.t, err)
	items, err := sh.store.ItemsOf(sh.t.Context(), p.ID)
	must(sh.t, err)
	var tags []string
	for _, it := range items {
		tags = append(tags, it.Tag)
	}
	return tags
}

// movements counts the lines of the ledger.
func (sh *shop) movements() int {
	sh.t.Helper()
	lines, err := sh.store.Lines(sh.t.Context(), store.LineFilter{Limit: 1000})
	must(sh.t, err)
	return len(lines)
}

// A client is a browser or a program at the shop's server.
type client struct {
	sh    *shop
	http  *http.Client
	token string
	head  map[string]string
}

func (sh *shop) visitor() *client {
	jar, err := cookiejar.New(nil)
	must(sh.t, err)
	return &client{sh: sh, http: &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// as is a browser in which the person has logged in with a password.
func (sh *shop) as(login string) *client {
	sh.t.Helper()
	c := sh.visitor()
	if login == "" {
		return c
	}
	if a := c.post("/login/password", map[string]string{"login": login, "password": testPassword}); a.status != http.StatusNoContent {
		sh.t.Fatalf("login of %s: %d %s", login, a.status, a.body)
	}
	return c
}

// program is a client with a token of that person.
func (sh *shop) program(login string) *client {
	sh.t.Helper()
	token, err := sh.store.AddToken(sh.t.Context(), 0, "test "+newOp(), sh.people[login].ID)
	must(sh.t, err)
	c := sh.visitor()
	c.token = token
	return c
}

type answer struct {
	status int
	head   http.Header
	body   string
}

func (a answer) problem(t *testing.T) problem {
	t.Helper()
	var p problem
	if err := json.Unmarshal([]byte(a.body), &p); err != nil {
		t.Fatalf("%d %s is no problem: %v", a.status, a.body, err)
	}
	return p
}

func (c *client) do(method, path, contentType, body string) answer {
	c.sh.t.Helper()
	req, err := http.NewRequestWithContext(c.sh.t.Context(), method, c.sh.http.URL+path, strings.NewReader(body))
	must(c.sh.t, err)
	if contentType != "" {
		req.Header.Set("Content-Type", contentType)
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	for k, v := range c.head {
		if k == "Host" {
			req.Host = v
			continue
		}
		req.Header.Set(k, v)
	}
	resp, err := c.http.Do(req)
	must(c.sh.t, err)
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	must(c.sh.t, err)
	return answer{resp.StatusCode, resp.Header, string(b)}
}

func (c *client) get(path string) answer { c.sh.t.Helper(); return c.do("GET", path, "", "") }

func (c *client) post(path string, body any) answer {
	c.sh.t.Helper()
	b, err := json.Marshal(body)
	must(c.sh.t, err)
	return c.do("POST", path, "application/json", string(b))
}

// book posts a booking under a key.
func (c *client) book(key string, body any) answer {
	c.sh.t.Helper()
	c.head = map[string]string{"Idempotency-Key": key}
	defer func() { c.head = nil }()
	return c.post("/api/v1/bookings", body)
}

// everyRole is a login for each role; "" is the visitor.
var everyRole = map[access.Role]string{access.Visitor: "", access.Operator: "ivo", access.Attendant: "brisa", access.Manager: "mads", access.Admin: "ada"}

func listen(t *testing.T) net.Listener {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	return ln
}

func withCancel(t *testing.T) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	return ctx, cancel
}

// newSchema makes an empty schema of a PostgreSQL and returns the URL that lives in it.
func newSchema(t testing.TB, server string) string {
	t.Helper()
	name := "s" + strings.ToLower(rand.Text()[:12])
	db, err := sql.Open("pgx", server)
	must(t, err)
	_, err = db.Exec("CREATE SCHEMA " + name)
	must(t, err)
	t.Cleanup(func() { _, _ = db.Exec("DROP SCHEMA " + name + " CASCADE"); db.Close() })
	return server + "&search_path=" + name
}

// nastyJob is a job whose name wants to be markup.
func nastyJob() store.Job {
	return store.Job{Code: "J-9", Name: `<script>alert(1)</script><b>bold`, FromDay: "2026-11-26", ToDay: "2026-11-26", Request: "{}"}
}

func readFile(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	must(t, err)
	return string(b)
}
