package server

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"

	"brasspeg/store"
)

// A name pasted on the page is taken apart, or refused with the character marked.
func TestNamesPage(t *testing.T) {
	sh := newShop(t)
	c := sh.as("ivo")
	for _, tt := range []struct {
		query string
		want  []string
		not   []string
	}{
		{"text=CNMG+432", []string{"CNMG120408", "<svg", "12.7 mm (0.5 in)", "0.8 mm", "rhombus 80", "CNMG 432", "ISO 1832, position 5", "4 edges", "Nothing."}, []string{"Not read"}},
		{"text=DCMT+11T308", []string{"INS-D11-08", "<svg"}, []string{"Nothing."}},
		{"text=A25T-SCLCR+09", []string{"A25T-SCLCR09", "<svg", "KAPR 95", "25 mm", "ISO 6261", "CC..09"}, nil},
		{"text=A25X-SCLCR+09", []string{"LF is not in the name", "<svg"}, nil},
		{"text=PCLNR+2525M12", []string{"PCLNR2525M12", "<svg", "KAPR 95", "PSIR -5", "150 mm", "shank height", "CN..12"}, nil},
		{"text=SVVCN+2020X16", []string{"LF is special", "<svg", "length special: measure it", "KAPR 72.5"}, nil},
		{"text=CNXG+120408", []string{"Not read", "<mark>", "Likely meant"}, []string{"<svg"}},
		{"text=%D0%A1NMG+120408", []string{"Not read"}, []string{"Position by position"}}, // a Cyrillic С
		{"text=1.25", []string{"1.25 mm", "1.25 in"}, []string{"Position by position"}},
		{"text=1.25+in", []string{"1.25 in (31.75 mm)"}, nil},
		{"text=VDI+50", []string{"turret seat"}, nil},
		{"text=G+1/4", []string{"ISO 228-1", "13.157"}, nil},
		{"male=G+1/4&female=NPT+1/4", []string{"they do not mate", "adapter male NPT 1/4 to female G 1/4"}, nil},
		{"male=G+1/4&female=G+1/4", []string{"they mate", "Made tight by"}, nil},
		{"male=1/4&female=G+1/4", []string{"Male: thread"}, []string{"they mate"}},
		{"text=%3Cscript%3Ealert(1)%3C/script%3E", []string{"Not read"}, []string{"<script>alert"}},
	} {
		a := c.get("/names?" + tt.query)
		if a.status != 200 {
			t.Errorf("%s: %d", tt.query, a.status)
		}
		for _, w := range tt.want {
			if !strings.Contains(a.body, w) {
				t.Errorf("%s does not say %q", tt.query, w)
			}
		}
		for _, w := range tt.not {
			if strings.Contains(a.body, w) {
				t.Errorf("%s says %q", tt.query, w)
			}
		}
	}
}

// Entering a part from its name: filled in, marked, asked for; a double warned about with what
// and where, and saved when confirmed.
func TestEnterPart(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	form := c.get("/parts/new?kind=bar&designation=A25X-SCLCR+09").body
	for _, w := range []string{"from the designation", `value="25 mm"`, "special length", "smallest", "CCMT09T3", `aria-describedby="value-0-help"`} {
		if !strings.Contains(form, w) {
			t.Errorf("the form does not say %q", w)
		}
	}
	// help text beside every field that uses a symbol of the standard
	if n := strings.Count(form, `class="help" id="value-`); n != len(store.PartFields("bar")) {
		t.Errorf("%d fields have help, want %d", n, len(store.PartFields("bar")))
	}
	bar := map[string]string{"kind": "bar", "designation": "A25X-SCLCR 09", "code": "BAR-1", "v:seat": "CCMT09T3", "v:LF": "290", "v:DCONMS": "25 mm"}
	if a := c.post("/parts", bar); a.status != 422 || !strings.Contains(a.body, "290 mm or 290 in") {
		t.Errorf("a bare length: %d %s", a.status, a.body)
	}
	bar["v:LF"], bar["maker:LF"] = "290 mm", "yes"
	if a := c.post("/parts", bar); a.status != 204 || a.head.Get("HX-Redirect") != "/parts/BAR-1" {
		t.Fatalf("saved: %d %s", a.status, a.body)
	}
	page := c.get("/parts/BAR-1").body
	for _, w := range []string{"by the maker", "from the designation", "290", "KAPR", "<svg"} {
		if !strings.Contains(page, w) {
			t.Errorf("the part's page does not say %q", w)
		}
	}
	ins := map[string]string{"kind": "insert", "designation": "DCMT 3(2.5)2", "code": "INS-NEW"}
	a := c.post("/parts", ins)
	if a.status != 409 {
		t.Fatalf("a double: %d %s", a.status, a.body)
	}
	for _, w := range []string{"INS-D11-08", "B1-2", "10", `name="confirmed"`} {
		if !strings.Contains(a.body, w) {
			t.Errorf("the warning does not say %q: %s", w, a.body)
		}
	}
	ins["confirmed"] = "yes"
	if a := c.post("/parts", ins); a.status != 204 {
		t.Errorf("confirmed: %d %s", a.status, a.body)
	}
	if a := c.post("/parts", map[string]string{"kind": "insert", "oops": "1"}); a.status != 400 {
		t.Errorf("an unknown field: %d", a.status)
	}
	if a := sh.as("ivo").post("/parts", ins); a.status != 403 {
		t.Errorf("entered by an operator: %d", a.status)
	}
}

// Two records of one thing become one on the page, both codes open it, and it is taken apart.
func TestMergePages(t *testing.T) {
	sh := newShop(t)
	c := sh.as("mads")
	ins := map[string]string{"kind": "insert", "designation": "DCMT 11T308", "code": "INS-TWIN", "confirmed": "yes"}
	if a := c.post("/parts", ins); a.status != 204 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	if body := c.get("/parts/INS-TWIN/merge").body; !strings.Contains(body, "INS-D11-08") {
		t.Error("the page does not name the twin")
	}
	if a := c.post("/parts/INS-TWIN/merge", mergeIn{newOp(), "BAR-40-470", ""}); a.status != 412 || !strings.Contains(a.body, "kind") {
		t.Errorf("an insert into a bar: %d %s", a.status, a.body)
	}
	op := newOp()
	for range 2 { // sent again, it is the same merge
		if a := c.post("/parts/INS-TWIN/merge", mergeIn{op, "INS-D11-08", "twins"}); a.status != 204 || a.head.Get("HX-Redirect") != "/parts/INS-D11-08" {
			t.Fatalf("%d %s", a.status, a.body)
		}
	}
	if a := c.get("/parts/INS-TWIN"); a.status != 303 || a.head.Get("Location") != "/parts/INS-D11-08" {
		t.Errorf("the old code: %d %q", a.status, a.head.Get("Location"))
	}
	if a := c.get("/t/INS-TWIN"); a.head.Get("Location") != "/parts/INS-D11-08" {
		t.Errorf("the old code scanned: %d %q", a.status, a.head.Get("Location"))
	}
	if body := c.get("/search?q=INS-TWIN").body; !strings.Contains(body, "/parts/INS-D11-08") {
		t.Error("the old code does not search")
	}
	if body := c.get("/parts/INS-D11-08").body; !strings.Contains(body, "Take INS-TWIN apart again") || !strings.Contains(body, "Mads Hurrel") {
		t.Error("the page does not show the merge")
	}
	if a := c.post("/parts/INS-D11-08/unmerge", unmergeIn{newOp(), op, ""}); a.status != 204 {
		t.Errorf("%d %s", a.status, a.body)
	}
	if a := c.get("/parts/INS-TWIN"); a.status != 200 {
		t.Errorf("apart again: %d", a.status)
	}
}

// A supplier's code: not ours, linked once, known.
func TestForeignCodePages(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	a := c.get("/t/4012345678901")
	if a.status != 303 || a.head.Get("Location") != "/codes?code=4012345678901" {
		t.Errorf("scanned: %d %q", a.status, a.head.Get("Location"))
	}
	if body := c.get("/codes?code=4012345678901").body; !strings.Contains(body, "not one of our codes") || !strings.Contains(body, "Link it") {
		t.Error("the page does not offer to link")
	}
	if a := c.post("/codes", linkIn{newOp(), "4012345678901", "INS-D11-08"}); a.status != 204 {
		t.Fatalf("%d %s", a.status, a.body)
	}
	if a := c.get("/t/4012345678901"); a.head.Get("Location") != "/parts/INS-D11-08" {
		t.Errorf("scanned again: %d %q", a.status, a.head.Get("Location"))
	}
	if body := c.get("/parts/INS-D11-08").body; !strings.Contains(body, "4012345678901") {
		t.Error("the part's page does not show the code")
	}
	if a := c.post("/codes/unlink", linkIn{newOp(), "4012345678901", "INS-D11-08"}); a.status != 204 {
		t.Errorf("%d %s", a.status, a.body)
	}
	if a := sh.as("ivo").get("/t/4012345678901"); a.status != 404 {
		t.Errorf("an operator's scan: %d", a.status)
	}
	tag := sh.tags("BAR-40-470")[0]
	wrong := tag[:7] + string('0'+(tag[7]-'0'+1)%10) + tag[8:]
	if a := c.get("/api/v1/pieces/" + wrong); a.status != 422 || !strings.Contains(a.body, tag) {
		t.Errorf("a wrong tag: %d %s", a.status, a.body)
	}
}

// Who has the rest stands beside the numbers, a name only for who may read it; a look-up in
// vain is kept, and the week's total shown.
func TestSearchPageShowsWhoHasTheRest(t *testing.T) {
	sh := newShop(t)
	sh.window("brisa").scan(sh.tags("BAR-40-470")[0], sh.badges["ivo"])
	c := sh.as("brisa")
	if body := c.get("/search?q=bar+40").body; !strings.Contains(body, "with Ivo Lend") {
		t.Error("the search does not say who has the rest")
	}
	if body := sh.as("orla").get("/search?q=bar+40").body; strings.Contains(body, "Ivo Lend") {
		t.Error("an operator reads another's name")
	}
	for _, q := range []string{"left handed widget", "left handed widget", "HED-40L"} {
		c.get("/search?q=" + url.QueryEscape(q))
	}
	if body := c.get("/search").body; !strings.Contains(body, "2 look-ups this week") || !strings.Contains(body, "about 0.2 h") || !strings.Contains(body, "HED-40L") {
		t.Error("the week's look-ups in vain are not shown")
	}
	if body := sh.as("ivo").get("/search").body; strings.Contains(body, "look-ups this week") {
		t.Error("an operator sees the week")
	}
}

func TestImportPage(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	table := "code,kind,designation\nI-1,insert,CNMG 432\nI-2,insert,CXMG 1\n"
	if a := c.post("/parts/import", importIn{table, "look", ""}); a.status != 200 || !strings.Contains(a.body, "Nothing has changed yet") || !strings.Contains(a.body, "line 3") {
		t.Errorf("looked at: %d %s", a.status, a.body)
	}
	if a := c.post("/parts/import", importIn{table, "take", ""}); a.status != 422 || !strings.Contains(a.body, "none was") {
		t.Errorf("a bad row: %d %s", a.status, a.body)
	}
	table = strings.Replace(table, "CXMG 1", "DNMG 150608", 1)
	for _, want := range []string{"Taken in: 2 new", "Taken in: 0 new parts; 2 were there already"} {
		if a := c.post("/parts/import", importIn{table, "take", ""}); a.status != 200 || !strings.Contains(a.body, want) {
			t.Errorf("taken: %d %s, want %q", a.status, a.body, want)
		}
	}
}

func TestRegrindPage(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	lot := sh.tags("INS-D11-08")[0]
	if a := c.post("/regrind", regrindIn{Op: newOp(), Tag: lot, Qty: "2", Size: "9.2"}); a.status != 422 {
		t.Errorf("a bare size: %d %s", a.status, a.body)
	}
	a := c.post("/regrind", regrindIn{Op: newOp(), Tag: lot, Qty: "2", Size: "9.2 mm"})
	if a.status != 204 || !strings.HasPrefix(a.head.Get("HX-Redirect"), "/pieces/L") || a.head.Get("HX-Redirect") == "/pieces/"+lot {
		t.Fatalf("%d %s %q", a.status, a.body, a.head.Get("HX-Redirect"))
	}
	if body := c.get(a.head.Get("HX-Redirect")).body; !strings.Contains(body, "9.2 mm") {
		t.Error("the new lot does not say its size")
	}
}

func TestDesignationAPI(t *testing.T) {
	sh := newShop(t)
	c := sh.program("ivo")
	var n nameReading
	a := c.get("/api/v1/designations?kind=insert&text=CNMG+432")
	if err := json.Unmarshal([]byte(a.body), &n); err != nil || n.Canonical != "CNMG120408" || len(n.Positions) != 7 {
		t.Errorf("%d %s", a.status, a.body)
	}
	if a := c.get("/api/v1/designations?kind=insert&text=CXMG+120408"); a.status != 422 || a.problem(t).Field != "text" {
		t.Errorf("%d %s", a.status, a.body)
	}
	var m matingOut
	a = c.get("/api/v1/mates?male=G+1/4&female=NPT+1/4")
	if err := json.Unmarshal([]byte(a.body), &m); err != nil || m.Result != "does_not_mate" || m.Adapter == "" {
		t.Errorf("%d %s", a.status, a.body)
	}
}

// Every size field of the form of every kind, new or changed, refuses a bare size with the
// question, names the field, and tells how sizes are written.
func TestEverySizeFieldOfTheForm(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	edit := map[string]string{"bar": "BAR-40-470", "head": "HED-40R", "holder": "HLD-50-40", "insert": "INS-D11-08"}
	n := 0
	for _, kind := range store.PartKinds() {
		form := c.get("/parts/new?kind=" + kind).body
		for _, f := range store.PartFields(kind) {
			if f.Sort != "size" {
				continue
			}
			n++
			if !strings.Contains(form, `name="v:`+f.Symbol+`"`) {
				t.Errorf("%s: the form has no field %s", kind, f.Symbol)
			}
			in := map[string]string{"kind": kind, "code": "NEW-1", "v:" + f.Symbol: "31"}
			if a := c.post("/parts", in); a.status != 422 || !strings.Contains(a.body, "31 mm or 31 in") || !strings.Contains(strings.ToLower(a.body), strings.ToLower(f.Symbol)+": 31 of what") {
				t.Errorf("new %s with %s 31: %d %s", kind, f.Symbol, a.status, a.body)
			}
			code := edit[kind]
			if code == "" {
				continue
			}
			in = formOf(t, c.get("/parts/"+code+"/edit").body)
			in["v:"+f.Symbol] = "31"
			if a := c.post("/parts/"+code+"/edit", in); a.status != 422 || !strings.Contains(a.body, "31 mm or 31 in") || !strings.Contains(strings.ToLower(a.body), strings.ToLower(f.Symbol)+": 31 of what") {
				t.Errorf("%s with %s 31: %d %s", code, f.Symbol, a.status, a.body)
			}
		}
		if k := strings.Count(form, "write the unit: 32 mm, 1-1/4 in"); k != sizes(kind) {
			t.Errorf("%s: %d fields say how sizes are written, want %d", kind, k, sizes(kind))
		}
	}
	if n < 20 {
		t.Errorf("only %d size fields were asked", n)
	}
}

func sizes(kind string) (n int) {
	for _, f := range store.PartFields(kind) {
		if f.Sort == "size" {
			n++
		}
	}
	return n
}
