package server

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"brasspeg/labels"
	"brasspeg/store"
)

// A badCase is one row of testdata/server/bad_inputs.json.
type badCase struct {
	ID              string          `json:"id"`
	In              json.RawMessage `json:"in"`
	Expect          string          `json:"expect"`
	Code            string          `json:"code"`
	As              json.RawMessage `json:"as"`
	Why             string          `json:"why"`
	Raw             *string         `json:"raw_json"`
	Absent          bool            `json:"absent"`
	Ctx             string          `json:"ctx"`
	ContentType     *string         `json:"content_type"`
	ContentEncoding string          `json:"content_encoding"`
	Severity        string          `json:"severity"`
	Ours            string          `json:"ours"` // why our rule and the expected value differ from the source
}

// built is the input as a string of bytes.
func (b badCase) built(t *testing.T) string {
	t.Helper()
	var s string
	if json.Unmarshal(b.In, &s) == nil {
		return s
	}
	var g struct {
		Gen *struct {
			Prefix, Repeat, Suffix string
			Times                  int
		}
		B64 string
	}
	if err := json.Unmarshal(b.In, &g); err != nil {
		return string(b.In)
	}
	if g.Gen != nil {
		return g.Gen.Prefix + strings.Repeat(g.Gen.Repeat, g.Gen.Times) + g.Gen.Suffix
	}
	raw, err := base64.StdEncoding.DecodeString(g.B64)
	must(t, err)
	return string(raw)
}

// An outcome is what became of one input: "" and what was stored, or the code of the refusal.
type outcome struct {
	code   string
	stored string
	status int
	then   func() // what a person may do after the refusal
}

// bad is a shop that is asked everything in the table, with two eyes on its database: nothing
// that is refused may leave a row anywhere.
type bad struct {
	*shop
	t     *testing.T
	db    *sql.DB
	addr  string // of a server as it really runs, with its own limits
	brisa *client
	mads  *client
	ada   *client
	ways  map[string]int
	line  string // of an approved order
	tag   string
}

func TestBadInputs(t *testing.T) {
	engines := map[string]string{"sqlite": ""}
	if url := os.Getenv("BRASSPEG_TEST_POSTGRES"); url != "" {
		engines["postgres"] = url
	} else {
		fmt.Println("SKIPPED: the PostgreSQL half of the bad inputs; BRASSPEG_TEST_POSTGRES names no server")
	}
	for name, url := range engines {
		t.Run(name, func(t *testing.T) { badInputs(t, url) })
	}
}

func badInputs(t *testing.T, postgres string) {
	var file struct {
		FieldTypes map[string]struct{ Cases []badCase } `json:"field_types"`
		CaseCount  int                                  `json:"case_count"`
	}
	raw, err := os.ReadFile("../testdata/server/bad_inputs.json")
	must(t, err)
	must(t, json.Unmarshal(raw, &file))
	b := newBad(t, postgres)
	ways := map[string]func(*badCase) (string, outcome){
		"scan_payload": b.scan, "item_code": b.itemCode, "insert_designation": b.designation, "quantity_json": b.quantityJSON,
		"quantity_text": b.quantityText, "money": b.money, "person_or_place_name": b.name, "note": b.note, "pin": b.pin,
		"password": b.password, "op_id": b.opID, "datetime": b.datetime, "json_body": b.jsonBody, "path_and_query": b.pathAndQuery,
		"http_request": b.httpRequest, "csv_import": b.csvImport, "csv_export": b.csvExport, "label_text": b.labelText, "file_name": b.fileName,
	}
	ran := 0
	for _, kind := range slices.Sorted(maps.Keys(file.FieldTypes)) {
		cases := file.FieldTypes[kind]
		way, ok := ways[kind]
		if !ok {
			t.Errorf("no way to run the field type %s", kind)
			continue
		}
		t.Run(kind, func(t *testing.T) {
			for _, c := range cases.Cases {
				ran++
				b.run(t, &c, way)
			}
		})
	}
	if ran != file.CaseCount {
		t.Errorf("%d of %d rows ran", ran, file.CaseCount)
	}
	for how, n := range b.ways {
		t.Logf("%4d rows by %s", n, how)
	}
}

func (b *bad) run(t *testing.T, c *badCase, way func(*badCase) (string, outcome)) {
	t.Helper()
	outer := b.t
	b.t = t
	defer func() { b.t = outer }()
	before := b.rows()
	start := time.Now()
	how, got := way(c)
	if took := time.Since(start); took > 2*time.Second {
		t.Errorf("%s took %v", c.ID, took)
	}
	b.ways[how]++
	if got.status >= 500 {
		t.Errorf("%s: status %d", c.ID, got.status)
	}
	switch {
	case c.Expect == "accept" && got.code != "":
		t.Errorf("%s %.80q: refused as %s (%d), want accepted; %s", c.ID, c.In, got.code, got.status, c.Why)
	case c.Expect == "accept" && len(c.As) > 0 && !same(c.As, got.stored):
		t.Errorf("%s %.80q: stored or used as %q, want %s", c.ID, c.In, got.stored, c.As)
	case c.Expect == "reject" && got.code == "":
		t.Errorf("%s %.80q: accepted as %q, want %s; %s", c.ID, c.In, got.stored, c.Code, c.Why)
	case c.Expect == "reject" && got.code != c.Code:
		t.Errorf("%s %.80q: refused as %s (%d), want %s; %s", c.ID, c.In, got.code, got.status, c.Code, c.Why)
	}
	if c.Expect == "reject" {
		for table, n := range b.rows() {
			if n != before[table] {
				t.Errorf("%s: refused, and %d rows more in %s", c.ID, n-before[table], table)
			}
		}
		if c.Severity == "warn" {
			got.then()
		}
	}
}

// same holds what was stored against the row's "as", whatever JSON type that has.
func same(as json.RawMessage, stored string) bool {
	var s string
	if json.Unmarshal(as, &s) == nil {
		return s == stored
	}
	var x bytes.Buffer
	return json.Compact(&x, as) == nil && x.String() == stored
}

func newBad(t *testing.T, postgres string) *bad {
	t.Helper()
	b := &bad{t: t, ways: map[string]int{}}
	dir := t.TempDir()
	driver, source := "sqlite", "file:"+filepath.Join(dir, "brasspeg.db")+"?mode=ro"
	if postgres != "" {
		postgres = newSchema(t, postgres)
		driver, source = "pgx", postgres
	}
	b.shop = newShopIn(t, store.Options{Dir: dir, Postgres: postgres})
	var err error
	b.db, err = sql.Open(driver, source)
	must(t, err)
	t.Cleanup(func() { b.db.Close() })
	b.brisa, b.mads, b.ada = b.program("brisa"), b.program("mads"), b.program("ada")
	ctx, stop := context.WithCancel(t.Context())
	ln := listen(t)
	b.addr = ln.Addr().String()
	ended := make(chan error, 1)
	go func() { ended <- b.server.Serve(ctx, ln) }()
	t.Cleanup(func() { stop(); <-ended })

	b.tag = b.tags("BAR-40-470")[0]
	p, err := b.store.PartByCode(t.Context(), "INS-D11-08")
	must(t, err)
	v, err := b.store.AddSupplier(t.Context(), 0, store.Supplier{Code: "V1", Name: "Hollin Supply"})
	must(t, err)
	r, err := b.store.NewOrder(t.Context(), b.op("mads"), v.ID, "2026-11-26", "")
	must(t, err)
	order := r.Says
	_, err = b.store.SetLine(t.Context(), b.op("mads"), store.LineIn{Order: order, Part: p.ID, Pieces: 900, Seen: true})
	must(t, err)
	o, err := b.store.Order(t.Context(), order)
	must(t, err)
	_, err = b.store.ApproveOrder(t.Context(), b.op("mads"), order, o.Version)
	must(t, err)
	b.line = fmt.Sprintf("/orders/%s/receipts\x00%d", order, o.Lines[0].ID)
	for _, code := range []string{"(01)04012345678901(21)A1B2", "010401234567890121A1\x1d10LOT7"} {
		if a := b.api(b.brisa, "/api/v1/codes", map[string]any{"code": code, "part": "HED-40R"}); a.status != 201 {
			t.Fatalf("link of %q: %d %s", code, a.status, a.body)
		}
	}
	return b
}

// rows counts the rows of every table, and the movements, by whose hashes nothing changes.
func (b *bad) rows() map[string]int {
	b.t.Helper()
	list := "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
	if strings.Contains(fmt.Sprintf("%T", b.db.Driver()), "stdlib") {
		list = "SELECT table_name FROM information_schema.tables WHERE table_schema = current_schema()"
	}
	names, err := b.db.Query(list)
	must(b.t, err)
	defer names.Close()
	var all []string
	for names.Next() {
		var n string
		must(b.t, names.Scan(&n))
		all = append(all, "SELECT '"+n+"', count(*) FROM "+n)
	}
	must(b.t, names.Err())
	counts, err := b.db.Query(strings.Join(all, " UNION ALL "))
	must(b.t, err)
	defer counts.Close()
	out := map[string]int{}
	for counts.Next() {
		var table string
		var n int
		must(b.t, counts.Scan(&table, &n))
		out[table] = n
	}
	must(b.t, counts.Err())
	if len(out) < 20 {
		b.t.Fatalf("only %d tables seen", len(out))
	}
	return out
}

// api posts a body under a fresh key, and asks for JSON where a page would come.
func (b *bad) api(c *client, path string, body any) answer {
	b.t.Helper()
	raw, err := json.Marshal(body)
	must(b.t, err)
	return b.send(c, path, string(raw), nil)
}

func (b *bad) send(c *client, path, body string, head map[string]string) answer {
	b.t.Helper()
	c.head = map[string]string{"Idempotency-Key": newOp(), "Accept": "application/json", "Content-Type": "application/json"}
	if len(body) > 1<<20 {
		c.head["Expect"] = "100-continue" // as a client of its size asks first
	}
	for k, v := range head {
		c.head[k] = v
	}
	defer func() { c.head = nil }()
	return c.do("POST", path, "", body)
}

func (b *bad) out(a answer, stored func() string) outcome {
	b.t.Helper()
	if a.status < 400 {
		return outcome{stored: stored(), status: a.status}
	}
	p := a.problem(b.t)
	if p.Status != a.status || p.Title == "" || p.Detail == "" || p.Ref == "" {
		b.t.Errorf("%s is not a whole problem", a.body)
	}
	if ct := a.head.Get("Content-Type"); ct != "application/problem+json" {
		b.t.Errorf("a problem comes as %s", ct)
	}
	for _, leak := range []string{"sql", "SQLSTATE", "json:", "goroutine", "/tmp/", "reflect", "strconv"} {
		if strings.Contains(a.body, leak) {
			b.t.Errorf("the problem says %q: %s", leak, a.body)
		}
	}
	return outcome{code: p.Code, status: a.status}
}

func nothing() string { return "" }

// quoted is a text as a JSON member with its bytes as they are, be they UTF-8 or not.
func quoted(s string) string {
	var out strings.Builder
	out.WriteByte('"')
	for i := range len(s) {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			out.WriteString(`\` + string(rune(c)))
		case c < ' ':
			fmt.Fprintf(&out, `\u%04x`, c)
		default:
			out.WriteByte(c)
		}
	}
	out.WriteByte('"')
	return out.String()
}

// scan: POST /api/v1/tags. The tags of the source are those of a shop with other letters, so
// each is turned into one of ours with the same fault.
func (b *bad) scan(c *badCase) (string, outcome) {
	t := b.tag
	wrong := t[:8] + "0"
	if t[8] == '0' {
		wrong = t[:8] + "1"
	}
	var wide strings.Builder
	for _, r := range t {
		wide.WriteRune(r - '!' + 0xff01)
	}
	ours := strings.NewReplacer("t0001234x", strings.ToLower(t), "T0001234X", t, "T00012340", wrong, "T0001243X", t[:6]+t[7:8]+t[6:7]+t[8:], "T0001234", t[:8],
		"\uff34\uff10\uff10\uff10\uff11\uff12\uff13\uff14\uff38", wide.String(), "0001234X", t[1:])
	text := c.built(b.t)
	if c.ID != "scan_payload-30" { // a Cyrillic letter before the digits
		text = ours.Replace(text)
	}
	a := b.send(b.brisa, "/api/v1/tags", `{"scan":`+quoted(text)+`}`, nil)
	return "POST /api/v1/tags", b.out(a, func() string {
		var out tagOut
		must(b.t, json.Unmarshal([]byte(a.body), &out))
		if strings.Contains(string(c.As), "foreign") {
			cleaned, err := store.ReadScan(text)
			must(b.t, err)
			s, err := json.Marshal(map[string]string{"code": cleaned, "kind": "foreign"})
			must(b.t, err)
			var as map[string]string
			must(b.t, json.Unmarshal(c.As, &as))
			if out.Kind == "part" && out.Text == "HED-40R" && as["code"] == cleaned {
				return string(compact(b.t, c.As))
			}
			return string(s)
		}
		if out.Kind == "item" && out.Text == t {
			return string(compact(b.t, c.As))
		}
		return out.Kind + " " + out.Text
	})
}

func compact(t *testing.T, raw json.RawMessage) []byte {
	var out bytes.Buffer
	if len(raw) > 0 {
		must(t, json.Compact(&out, raw))
	}
	return out.Bytes()
}

// itemCode: POST /api/v1/parts, the code of a spare.
func (b *bad) itemCode(c *badCase) (string, outcome) {
	a := b.send(b.brisa, "/api/v1/parts", `{"kind":"spare","confirmed":true,"name":"`+c.ID+`","code":`+quoted(c.built(b.t))+`}`, nil)
	return "POST /api/v1/parts", b.out(a, func() string { return b.made(a, func(p partOut) string { return p.Code }) })
}

// made reads a part back as the server keeps it, and takes it out of the way of the next row.
func (b *bad) made(a answer, of func(partOut) string) string {
	var p partOut
	must(b.t, json.Unmarshal([]byte(a.body), &p))
	got := b.brisa.get("/api/v1/parts/" + pathOf(p.Code))
	must(b.t, json.Unmarshal([]byte(got.body), &p))
	b.aside(p.Code)
	return of(p)
}

// aside gives a part another code, out of the way of the next row.
func (b *bad) aside(code string) {
	p, err := b.store.PartByCode(b.t.Context(), code)
	must(b.t, err)
	facts, err := b.store.Facts(b.t.Context(), p.ID)
	must(b.t, err)
	p.Code = fmt.Sprintf("OLD-%d", p.ID)
	_, err = b.store.SavePart(b.t.Context(), 0, store.PartIn{Part: p, Facts: facts})
	must(b.t, err)
}

// designation: POST /api/v1/parts, the designation of an insert.
func (b *bad) designation(c *badCase) (string, outcome) {
	a := b.send(b.brisa, "/api/v1/parts", `{"kind":"insert","confirmed":true,"code":"`+c.ID+`","designation":`+quoted(c.built(b.t))+`}`, nil)
	return "POST /api/v1/parts", b.out(a, func() string { return b.made(a, func(p partOut) string { return p.Designation }) })
}

// quantityJSON: POST /api/v1/bookings, the pieces received.
func (b *bad) quantityJSON(c *badCase) (string, outcome) {
	qty := `,"qty":` + string(c.In)
	switch {
	case c.Absent:
		qty = ""
	case c.Raw != nil:
		qty = `,"qty":` + *c.Raw
	}
	a := b.send(b.brisa, "/api/v1/bookings", `{"act":"receive","part":"INS-D11-08","to":"B1-2"`+qty+`}`, nil)
	return "POST /api/v1/bookings", b.out(a, func() string { return b.firstLine(a).qty })
}

func (b *bad) firstLine(a answer) (l struct{ op, qty, reason string }) {
	var r store.Receipt
	must(b.t, json.Unmarshal([]byte(a.body), &r))
	lines, err := b.store.Lines(b.t.Context(), store.LineFilter{Op: r.OpID, Limit: 5})
	must(b.t, err)
	l.op, l.qty, l.reason = r.OpID, fmt.Sprint(lines[0].Qty), lines[0].Reason
	return l
}

// quantityText: the form of a delivery, POST /orders/:code/receipts.
func (b *bad) quantityText(c *badCase) (string, outcome) {
	path, line, _ := strings.Cut(b.line, "\x00")
	a := b.send(b.brisa, path, `{"line":"`+line+`","unit":"piece","to":"B1-2","qty":`+quoted(c.built(b.t))+`}`, nil)
	return "POST /orders/:code/receipts", b.out(a, func() string { return b.firstLine(a).qty })
}

// money: the form of a supplier, POST /suppliers, its smallest order.
func (b *bad) money(c *badCase) (string, outcome) {
	if c.built(b.t) == "" { // left empty in that form it says that none is asked for
		_, err := store.ReadCents("price", "")
		return "store.ReadCents", b.err(err)
	}
	a := b.send(b.mads, "/suppliers", `{"code":"V1","name":"Hollin Supply","lead_days":"3","currency":"EUR","min_order":`+quoted(c.built(b.t))+`}`, nil)
	return "POST /suppliers", b.out(a, func() string {
		v, err := b.store.Vendor(b.t.Context(), "V1")
		must(b.t, err)
		return fmt.Sprintf(`{"minor4":%d}`, v.MinOrderCents*100)
	})
}

func (b *bad) err(err error) outcome {
	if err == nil {
		return outcome{}
	}
	p := problemOf(err)
	return outcome{code: p.Code, status: p.Status}
}

// name: the form of a supplier, POST /suppliers.
func (b *bad) name(c *badCase) (string, outcome) {
	a := b.send(b.mads, "/suppliers", `{"code":"V1","lead_days":"3","name":`+quoted(c.built(b.t))+`}`, nil)
	return "POST /suppliers", b.out(a, func() string {
		v, err := b.store.Vendor(b.t.Context(), "V1")
		must(b.t, err)
		page := b.mads.get("/suppliers").body
		if strings.Contains(page, "<script>alert") || strings.Contains(page, "<img src=x") {
			b.t.Errorf("%s: the name is markup on the page", c.ID)
		}
		return v.Name
	})
}

// note: POST /api/v1/bookings, the reason of a delivery.
func (b *bad) note(c *badCase) (string, outcome) {
	a := b.send(b.brisa, "/api/v1/bookings", `{"act":"receive","part":"INS-D11-08","qty":1,"to":"B1-2","reason":`+quoted(c.built(b.t))+`}`, nil)
	return "POST /api/v1/bookings", b.out(a, func() string {
		if page := b.mads.get("/ledger").body; strings.Contains(page, "<img src=x") {
			b.t.Errorf("%s: the reason is markup on the page", c.ID)
		}
		return b.firstLine(a).reason
	})
}

// pin and password: no route sets one; what the console's commands call is called.
func (b *bad) pin(c *badCase) (string, outcome) {
	in := c.built(b.t)
	if in == "" { // to the console's command that says to leave it as it is
		a := b.send(b.visitor(), "/login/badge", `{"badge":"`+b.badges["orla"]+`","pin":""}`, nil)
		return "POST /login/badge", b.out(a, nothing)
	}
	_, err := b.store.SetSecrets(b.t.Context(), 0, b.people["orla"].ID, in, "", "")
	o := b.err(err)
	if err == nil {
		if a := b.send(b.visitor(), "/login/badge", `{"badge":"`+b.badges["orla"]+`","pin":"`+in+`"}`, nil); a.status == http.StatusNoContent {
			o.stored = in
		}
	}
	return "store.SetSecrets and POST /login/badge", o
}

func (b *bad) password(c *badCase) (string, outcome) {
	in := c.built(b.t)
	_, err := b.store.SetSecrets(b.t.Context(), 0, b.people["ada"].ID, "", in, "")
	o := b.err(err)
	if err == nil {
		if a := b.send(b.visitor(), "/login/password", `{"login":"ada","password":`+quoted(in)+`}`, nil); a.status == http.StatusNoContent {
			o.stored = in
		}
	}
	return "store.SetSecrets and POST /login/password", o
}

// opID: a form's op, POST /suppliers; a header cannot carry most of these.
func (b *bad) opID(c *badCase) (string, outcome) {
	op := c.built(b.t)
	a := b.send(b.mads, "/suppliers", `{"code":"V1","name":"Hollin Supply","lead_days":"3","op":`+quoted(op)+`}`, map[string]string{"Idempotency-Key": ""})
	return "POST /suppliers", b.out(a, func() string {
		var r store.Receipt
		must(b.t, json.Unmarshal([]byte(a.body), &r))
		return r.OpID
	})
}

// datetime: days as the need day of a look-up, points in time as the device's clock beside an
// edge that came off.
func (b *bad) datetime(c *badCase) (string, outcome) {
	in := c.built(b.t)
	if !strings.Contains(in, "T") {
		if in == "" {
			_, err := store.ParseDay("")
			return "store.ParseDay", b.err(err)
		}
		a := b.brisa.get("/api/v1/lookups?day=" + url.QueryEscape(in))
		return "GET /api/v1/lookups", b.out(a, func() string {
			var out lookupsOut
			must(b.t, json.Unmarshal([]byte(a.body), &out))
			if out.From <= in && in <= out.To {
				return in
			}
			return out.From + " to " + out.To
		})
	}
	// An edge needs a station, a box and a job on it; the moment is read before them.
	a := b.send(b.brisa, "/api/v1/edges", `{"station":"NO-SUCH","noted":`+quoted(in)+`}`, nil)
	o := b.out(a, nothing)
	if o.code == "not_found" { // the moment was taken, the station is not there
		at, err := store.ParseMoment("noted", in)
		must(b.t, err)
		return "POST /api/v1/edges and store.ParseMoment", outcome{stored: at.Format(time.RFC3339)}
	}
	return "POST /api/v1/edges", o
}

// jsonBody: POST /api/v1/bookings; the source's members item and qty are our part and qty.
func (b *bad) jsonBody(c *badCase) (string, outcome) {
	body := ""
	switch {
	case c.Ctx == "raw":
		body = c.built(b.t)
	case c.Raw != nil:
		body = *c.Raw
	}
	body = strings.ReplaceAll(body, `"item"`, `"part"`)
	head := map[string]string{}
	if c.ContentType != nil {
		head["Content-Type"] = *c.ContentType
	}
	if c.ContentEncoding != "" {
		head["Content-Encoding"] = c.ContentEncoding
	}
	return "POST /api/v1/bookings", b.out(b.send(b.brisa, "/api/v1/bookings", body, head), nothing)
}

// pathAndQuery: /items/ID is /api/v1/lives/ID, the list of items is that of parts; the cursor
// and a day are asked where a list has one.
func (b *bad) pathAndQuery(c *badCase) (string, outcome) {
	path := c.built(b.t)
	of := "/api/v1/parts?"
	switch {
	case strings.Contains(path, "cursor="):
		of = "/api/v1/bookings?"
	case strings.Contains(path, "from="):
		of = "/api/v1/lookups?"
	}
	path = strings.NewReplacer("/items?", of, "/items/", "/api/v1/lives/", "cursor=", "after=", "from=", "day=").Replace(path)
	a := b.raw(http.MethodGet, path, nil)
	how := "GET /api/v1/lives/:id"
	if strings.Contains(path, "?") {
		how = "GET " + of + "…"
	} else if strings.HasPrefix(path, "/static") {
		how = "GET /static/*"
	}
	return how, b.out(a, func() string {
		q, err := url.ParseQuery(path[strings.IndexByte(path, '?')+1:])
		must(b.t, err)
		var l list[partOut]
		must(b.t, json.Unmarshal([]byte(a.body), &l))
		if len(l.Items) != 0 { // a percent sign that is a wildcard finds the whole catalogue
			return fmt.Sprintf("%d parts", len(l.Items))
		}
		return q.Get("q")
	})
}

// raw sends a request line as it is, which a client library would clean first.
func (b *bad) raw(method, target string, head map[string]string, lines ...string) answer {
	b.t.Helper()
	conn, err := net.Dial("tcp", b.addr)
	must(b.t, err)
	defer conn.Close()
	must(b.t, conn.SetDeadline(time.Now().Add(2*time.Second)))
	host, ok := head["Host"]
	if !ok {
		host = b.addr
	}
	req := method + " " + strings.ReplaceAll(target, " ", "%20") + " HTTP/1.1\r\nHost: " + host + "\r\nConnection: close\r\nAccept: application/json\r\nAuthorization: Bearer " + b.brisa.token + "\r\n"
	for k, v := range head {
		if k != "Host" {
			req += k + ": " + v + "\r\n"
		}
	}
	req += strings.Join(lines, "")
	if !strings.Contains(req, "\r\n\r\n") {
		req += "\r\n"
	}
	go io.WriteString(conn, req) // the server may answer before it has read all
	resp, err := http.ReadResponse(bufio.NewReader(conn), nil)
	must(b.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	must(b.t, err)
	return answer{resp.StatusCode, resp.Header, string(body)}
}

// httpRequest: whole requests, as bytes on a connection.
func (b *bad) httpRequest(c *badCase) (string, outcome) {
	const how = "a connection of its own"
	if c.Ctx == "header" {
		a := b.raw("GET", "/login", nil, c.built(b.t)+"\r\n")
		return how, b.netHTTP(a)
	}
	var head map[string]string
	must(b.t, json.Unmarshal(c.In, &head))
	method, path := head["method"], head["path"]
	delete(head, "method")
	delete(head, "path")
	if method == "" {
		method = "GET"
	}
	switch {
	case path != "":
		path = "/api/v1/bookings/some-op-id-of-16/reversal"
	case head["X-HTTP-Method-Override"] != "":
		path = "/api/v1/pieces/" + b.tag
	case method == "POST":
		path = "/api/v1/bookings"
	default:
		path = "/api/v1/places"
	}
	var body []string
	switch {
	case head["Transfer-Encoding"] != "":
		body = []string{"Content-Type: application/json\r\n\r\n5\r\nhello\r\n0\r\n\r\n"}
	case method == "POST" && head["Content-Length"] == "":
		body = []string{"Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}"}
	}
	logged := b.log.Len()
	a := b.raw(method, path, head, body...)
	if !strings.HasPrefix(a.head.Get("Content-Type"), "application/") {
		return how, b.netHTTP(a)
	}
	return how, b.out(a, func() string {
		line := b.log.String()[logged:]
		switch {
		case strings.Contains(string(c.As), "client_ip") && strings.Contains(line, "from=127.0.0.1"),
			strings.Contains(string(c.As), "scheme") && !strings.Contains(a.head.Get("Set-Cookie"), "Secure") && a.head.Get("Strict-Transport-Security") == "":
			return string(compact(b.t, c.As))
		}
		return "log: " + line
	})
}

// netHTTP is an answer of net/http itself, which refuses what is no request before our code
// runs, in plain text.
func (b *bad) netHTTP(a answer) outcome {
	if strings.Contains(b.log.String(), "FORGED") {
		b.t.Error("a client has written into the log")
	}
	code := map[int]string{400: "bad_request", 431: "header_too_large"}[a.status]
	return outcome{code: code, status: a.status, stored: a.body}
}

// csvImport: POST /api/v1/parts/files; the source's columns code and qty are our code and
// pack, with a kind before them.
func (b *bad) csvImport(c *badCase) (string, outcome) {
	in := c.built(b.t)
	if bytes.Contains(c.In, []byte(`"b64"`)) {
		_, err := store.ReadTable([]byte(in))
		a := b.send(b.mads, "/api/v1/parts/files", `{"apply":true,"csv":`+quoted(in)+`}`, nil)
		if o := b.out(a, nothing); o.code != b.err(err).code {
			b.t.Errorf("%s: %s over HTTP, %s when read from a file", c.ID, o.code, b.err(err).code)
		}
		return "store.ReadTable and POST /api/v1/parts/files", b.err(err)
	}
	text := strings.TrimPrefix(in, "\ufeff")
	lines := strings.Split(text, "\n")
	for i, l := range lines {
		sep := ";"
		if strings.Contains(lines[0], ",") {
			sep = ","
		} else if strings.Contains(lines[0], "\t") {
			sep = "\t"
		}
		switch {
		case strings.Trim(l, "; \r\t") == "", strings.HasPrefix(l, "sep="), len(in) > 1<<20 && i > 0 && !strings.HasPrefix(l, "A;"):
		case i == 0 || strings.HasPrefix(lines[0], "sep=") && i == 1:
			l = strings.NewReplacer("qty", "pack", "Qty", "Pack").Replace(l)
			lines[i] = "kind" + sep + l
		default:
			lines[i] = "spare" + sep + l
		}
	}
	text = in[:len(in)-len(strings.TrimPrefix(in, "\ufeff"))] + strings.Join(lines, "\n")
	if in == "" {
		text = ""
	}
	a := b.send(b.mads, "/api/v1/parts/files", `{"apply":true,"csv":`+quoted(text)+`}`, nil)
	o := b.out(a, func() string {
		var rep partsFileOut
		must(b.t, json.Unmarshal([]byte(a.body), &rep))
		var rows [][]any
		for _, code := range append(rep.New, rep.Same...) {
			p, err := b.store.PartByCode(b.t.Context(), code)
			must(b.t, err)
			rows = append(rows, []any{code, p.Pack})
			b.aside(code)
		}
		out, err := json.Marshal(rows)
		must(b.t, err)
		return string(out)
	})
	o.then = func() { // a person who has looked at it may go on
		again := b.send(b.mads, "/api/v1/parts/files", `{"apply":true,"confirmed":true,"csv":`+quoted(text)+`}`, nil)
		if again.status != http.StatusOK {
			b.t.Errorf("%s: confirmed, and still %d %s", c.ID, again.status, again.body)
			return
		}
		var rep partsFileOut
		must(b.t, json.Unmarshal([]byte(again.body), &rep))
		for _, code := range rep.New {
			b.aside(code)
		}
	}
	return "POST /api/v1/parts/files", o
}

// csvExport: a cell of any table handed out; and our own reader takes the guard off again.
func (b *bad) csvExport(c *badCase) (string, outcome) {
	var cell any
	must(b.t, json.Unmarshal(c.In, &cell))
	if n, ok := cell.(float64); ok {
		cell = int64(n)
	}
	var out bytes.Buffer
	must(b.t, store.Sheet{Name: "x", Head: []string{"cell"}, Rows: [][]any{{cell}}}.WriteCSV(&out))
	text, ok := strings.CutPrefix(out.String(), "\ufeff\"cell\"\r\n\"")
	text, ok2 := strings.CutSuffix(text, "\"\r\n")
	if !ok || !ok2 {
		b.t.Errorf("%s: %q has no mark, no quotes or no CR LF", c.ID, out.String())
	}
	if _, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(out.String(), "\ufeff"))).ReadAll(); err != nil {
		b.t.Errorf("%s: %v", c.ID, err)
	}
	return "store.Sheet.WriteCSV", outcome{stored: text}
}

// labelText: the title of a label in all its pens, or, for the two rows about codes, its tag.
func (b *bad) labelText(c *badCase) (string, outcome) {
	in := c.built(b.t)
	tag := b.tag
	l := labels.Label{Tag: tag, Kind: labels.Piece, Title: in, Printed: "2026-11-25"}
	if c.Code == "too_long" || c.Code == "empty" {
		l.Tag, l.Title = in, "x"
	}
	svg, err := labels.SVG(l)
	if _, e := labels.PDF([]labels.Label{l}, labels.A4()); (e == nil) != (err == nil) {
		b.t.Errorf("%s: SVG says %v, PDF %v", c.ID, err, e)
	}
	for _, lang := range []labels.Language{labels.ZPL, labels.EPL} {
		raw, e := labels.Printer([]labels.Label{l}, labels.Standing, 203, lang)
		if (e == nil) != (err == nil) {
			b.t.Errorf("%s: SVG says %v, the printer %v", c.ID, err, e)
		}
		if strings.Contains(string(raw), "^FDhack") {
			b.t.Errorf("%s: the text became a command", c.ID)
		}
	}
	if err != nil {
		return "labels.SVG, PDF and Printer", b.err(asText(err, l.Tag))
	}
	if bytes.Contains(svg, []byte("<script>")) {
		b.t.Errorf("%s: the text became markup", c.ID)
	}
	return "labels.SVG, PDF and Printer", outcome{stored: b.spoken(svg, l.Title)}
}

// asText gives a refusal of a label the code of the rule it broke.
func asText(err error, tag string) error {
	r, ok := errors.AsType[*labels.Refusal](err)
	if !ok {
		return err
	}
	code := "charset"
	switch {
	case tag == "":
		code = "empty"
	case len(tag) > 60 || strings.Contains(r.Why, "wider"):
		code = "too_long"
	}
	return &refusal{class: errInvalid, code: code, field: r.Field, detail: r.Error()}
}

// spoken is the title as the SVG reads itself aloud, which is the text that was drawn.
func (b *bad) spoken(svg []byte, title string) string {
	var doc struct {
		Desc string `xml:"desc"`
	}
	must(b.t, xml.Unmarshal(svg, &doc))
	if strings.Contains(doc.Desc, title) {
		return title
	}
	return "drawn as " + doc.Desc
}

// fileName: no route takes a file by its name; a multipart body is refused whole. What is
// handed out gets a name of the server's making.
func (b *bad) fileName(c *badCase) (string, outcome) {
	in := c.built(b.t)
	name := fileName(in)
	if name == "" || strings.Trim(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-") != "" {
		b.t.Errorf("%s: a table called %q is handed out as %q", c.ID, in, name)
	}
	body := "--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"" + in + "\"\r\n\r\ncode;kind\r\n--x--\r\n"
	a := b.send(b.mads, "/api/v1/parts/files", body, map[string]string{"Content-Type": "multipart/form-data; boundary=x"})
	return "POST /api/v1/parts/files as multipart", b.out(a, nothing)
}
