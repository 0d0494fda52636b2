package server

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"brasspeg/web"
)

// pageBodies are the structs that pages are filled from, by template.
var pageBodies = map[string]any{
	"problem": problem{}, "login": loginPage{}, "window": windowBody{}, "jobs": jobsPage{}, "job": jobPage{}, "jobform": jobForm{}, "closejob": closeView{}, "purchases": purchasesView{}, "search": searchPage{},
	"names": namePage{}, "partnew": partNewPage{}, "partimport": partImportPage{}, "partmerge": partMergePage{}, "codes": codesPage{}, "regrind": regrindPage{},
	"part": partPage{}, "piece": piecePage{}, "place": placePage{}, "ledger": ledgerPage{}, "people": peoplePage{}, "sessions": sessionsBody{}, "devices": devicesBody{}, "locked": lockedBody{},
	"machines": machinesBody{}, "machine": machineBody{}, "edges": accountBody{}, "lives": livesBody{}, "life": lifeBody{},
	"buying": buyingPage{}, "buypart": buyPartPage{}, "buytable": buyTablePage{}, "buyrules": rulesPage{}, "orders": ordersPage{}, "order": orderPage{}, "counting": countingPage{},
	"labels": labelsBody{}, "labelprint": labelPrintBody{}, "worn": wornBody{}, "badges": badgesBody{},
	"founding": foundingPage{}, "shopbins": binsBody{}, "shopedit": shopEdit{}, "suppliers": suppliersPage{}, "supplier": supplierPage{},
}

// Every template is filled from its struct, once empty and once with everything set, so that
// a field that is not there, or a partial given the wrong struct, fails here.
func TestTemplatesMatchTheirStructs(t *testing.T) {
	a, err := loadAssets()
	must(t, err)
	ps, err := loadPages(a)
	must(t, err)
	for name := range ps {
		if name == "parts" {
			continue
		}
		body, ok := pageBodies[name]
		if !ok {
			t.Errorf("template %s has no struct in this test", name)
			continue
		}
		for _, full := range []bool{false, true} {
			f := frame{Title: "t", Body: body}
			if full {
				v := reflect.New(reflect.TypeOf(f)).Elem()
				fill(v)
				f = v.Interface().(frame)
				b := reflect.New(reflect.TypeOf(body)).Elem()
				fill(b)
				f.Body = b.Interface()
			}
			var out bytes.Buffer
			if err := ps[name].ExecuteTemplate(&out, "layout", f); err != nil {
				t.Errorf("%s, full %v: %v", name, full, err)
				continue
			}
			for _, fault := range faults(out.String()) {
				t.Errorf("%s, full %v: %s", name, full, fault)
			}
		}
	}
	for _, name := range []string{"alert", "movements"} {
		var out bytes.Buffer
		data := map[string]any{"alert": problem{}, "movements": movementsView{}}[name]
		must(t, ps["parts"].ExecuteTemplate(&out, name, data))
	}
}

var lastID int

// fill sets every field of v to something.
func fill(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString("x")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(600)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i))
			if v.Type().Field(i).Name == "ID" && v.Field(i).Kind() == reflect.String { // goes into ids of fields
				lastID++
				v.Field(i).SetString(fmt.Sprint(lastID))
			}
		}
	}
}

// faults are what a page lacks for a scanner, gloves and tired eyes.
func faults(page string) []string {
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		return []string{err.Error()}
	}
	var out []string
	ids, labelled, refs := map[string]int{}, map[string]bool{}, map[string]string{}
	level, h1 := 0, 0
	var walk func(*html.Node, bool)
	walk = func(n *html.Node, inTable bool) {
		at := map[string]string{}
		for _, a := range n.Attr {
			at[a.Key] = a.Val
			if strings.HasPrefix(a.Key, "on") || a.Key == "style" && n.Data != "svg" {
				out = append(out, fmt.Sprintf("<%s> has the inline attribute %s", n.Data, a.Key))
			}
		}
		if n.Type == html.ElementNode {
			if id := at["id"]; id != "" {
				ids[id]++
			}
			for _, ref := range []string{"aria-labelledby", "aria-describedby"} {
				if at[ref] != "" {
					for _, id := range strings.Fields(at[ref]) { // a description may be of several
						refs[id] = n.Data
					}
				}
			}
			switch n.Data {
			case "h1", "h2", "h3":
				now := int(n.Data[1] - '0')
				if now == 1 {
					h1++
				}
				if now > level+1 {
					out = append(out, fmt.Sprintf("<%s> follows a heading of level %d", n.Data, level))
				}
				level = now
			case "label":
				labelled[at["for"]] = true
			case "script", "style":
				if n.Data == "style" || n.FirstChild != nil {
					out = append(out, "inline "+n.Data)
				}
			case "table":
				if n.FirstChild == nil || !hasChild(n, "caption") {
					out = append(out, "a table without caption")
				}
			case "th":
				if at["scope"] == "" {
					out = append(out, "a th without scope")
				}
			case "img":
				if at["alt"] == "" {
					out = append(out, "an img without alt")
				}
			case "section":
				if at["aria-labelledby"] == "" {
					out = append(out, "a section without a name")
				}
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c, inTable || n.Data == "table")
		}
	}
	walk(doc, false)
	var fields func(*html.Node)
	fields = func(n *html.Node) {
		if n.Type == html.ElementNode && (n.Data == "input" || n.Data == "select" || n.Data == "textarea") {
			id, kind := "", ""
			for _, a := range n.Attr {
				switch a.Key {
				case "id":
					id = a.Val
				case "type":
					kind = a.Val
				}
			}
			if kind != "hidden" && !labelled[id] {
				out = append(out, "a field without label: "+id)
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			fields(c)
		}
	}
	fields(doc)
	if h1 != 1 {
		out = append(out, fmt.Sprintf("%d h1", h1))
	}
	for id, n := range ids {
		if n > 1 {
			out = append(out, "the id "+id+" stands more than once")
		}
	}
	for ref, by := range refs {
		if ids[ref] == 0 {
			out = append(out, "<"+by+"> refers to the id "+ref+", which is not there")
		}
	}
	return out
}

func hasChild(n *html.Node, name string) bool {
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		if c.Data == name {
			return true
		}
	}
	return false
}

// The checker itself: each of these pages has a fault that it must see.
func TestFaultsAreSeen(t *testing.T) {
	for what, page := range map[string]string{
		"no h1":         `<h2>x</h2>`,
		"skipped level": `<h1>x</h1><h3>y</h3>`,
		"no label":      `<h1>x</h1><input id="a">`,
		"no caption":    `<h1>x</h1><table><tr><td>y</table>`,
		"no scope":      `<h1>x</h1><table><caption>c</caption><tr><th>y</table>`,
		"twice":         `<h1 id="a">x</h1><p id="a">`,
		"inline style":  `<h1 style="color:red">x</h1>`,
		"inline script": `<h1>x</h1><script>1</script>`,
		"handler":       `<h1 onclick="1">x</h1>`,
		"lost ref":      `<h1>x</h1><section aria-labelledby="b"></section>`,
	} {
		if len(faults(page)) == 0 {
			t.Errorf("%s is not seen", what)
		}
	}
	if f := faults(`<h1>x</h1><h2>y</h2><label for="a">b</label><input id="a">`); len(f) != 0 {
		t.Errorf("a good page: %v", f)
	}
}

// pagesOfShop are the addresses of every kind of page.
func (sh *shop) pagesOfShop() []string {
	return []string{
		"/window", "/jobs", "/jobs?q=housing&show=ready", "/jobs?q=nothing+of+the+kind", "/jobs?show=ended", "/jobs/J-1", "/jobs/J-2", "/newjob", "/jobs/J-1/edit", "/jobs/J-1/close", "/purchases", "/search", "/search?q=bar+40", "/search?q=nothing+of+the+kind", "/search?q=ivo", "/names", "/names?text=CNMG+432", "/names?text=A25T-SCLCR+09&male=G+1/4&female=NPT+1/4", "/names?text=CXMG120408", "/names?male=x&female=y",
		"/parts/new", "/parts/new?kind=insert&designation=CNMG+432", "/parts/new?kind=bar&designation=A25X-SCLCR09", "/parts/new?kind=insert&designation=CXMG", "/parts/import",
		"/parts/INS-D11-08/merge", "/parts/INS-D11-08/edit", "/parts/BAR-40-470/edit", "/parts/BAR-40-470/edit?designation=A40U-SDUCR+11", "/codes", "/codes?code=4012345678901", "/regrind", "/parts/BAR-40-470",
		"/pieces/" + sh.tags("BAR-40-470")[0], "/pieces/" + sh.tags("INS-D11-08")[0], "/places/A1-2", "/ledger", "/ledger?what=ivo&act=issue&from=2026-11-01", "/counting?place=A1-2", "/people", "/sessions", "/nothing-here", "/shop", "/shop/bins", "/shop/bins/A1-2", "/shop/machines/L3", "/shop/stations/L3%2F4",
		"/labels", "/labels?select=pieces", "/labels?select=cards", "/labels/worn",
		"/machines", "/machines/L3", "/edges", "/lives",
		"/buying", "/buying/parts/INS-D11-08", "/buying/money", "/buying/levels", "/buying/surplus", "/buying/rules", "/orders", "/suppliers", "/counting",
	}
}

func TestPages(t *testing.T) {
	sh := newShop(t)
	sh.window("brisa").scan(sh.tags("BAR-40-470")[0], sh.badges["ivo"])
	c := sh.as("mads")
	for _, path := range sh.pagesOfShop() {
		a := c.get(path)
		want := 200
		if path == "/nothing-here" {
			want = 404
		}
		if a.status != want {
			t.Errorf("%s: %d, want %d", path, a.status, want)
		}
		for _, fault := range faults(a.body) {
			t.Errorf("%s: %s", path, fault)
		}
		if len(a.body) > 200<<10 {
			t.Errorf("%s: %d bytes", path, len(a.body))
		}
	}
	if a := c.get("/labels/badges"); a.status != 403 {
		t.Errorf("a manager asks for badges: %d, want 403", a.status)
	}
	for path, words := range map[string][]string{
		"/jobs":                               {"J-1", "can be built", "J-2", "cannot be built", "Ø 62 × 250 mm"},
		"/jobs/J-1":                           {"Overhang to set", "280", "<svg", "A1-2", "7"},
		"/jobs/J-2":                           {"cannot be built", "Missing head", "missing"},
		"/search?q=ivo":                       {"Ivo Lend", sh.tags("BAR-40-470")[0]},
		"/pieces/" + sh.tags("BAR-40-470")[0]: {"out", "with Ivo Lend", "issue", "Brisa Tollan"},
		"/ledger":                             {"issue", "receive", "Ivo Lend"},
	} {
		body := c.get(path).body
		for _, w := range words {
			if !strings.Contains(body, w) {
				t.Errorf("%s does not say %q", path, w)
			}
		}
	}
	if a := c.get("/t/" + sh.tags("BAR-40-470")[0]); a.status != 303 || !strings.HasPrefix(a.head.Get("Location"), "/pieces/") {
		t.Errorf("a scanned tag opens %d %q", a.status, a.head.Get("Location"))
	}
	for _, kind := range []string{"svg", "pdf"} {
		if a := c.get("/pieces/" + sh.tags("BAR-40-470")[0] + "/label." + kind); a.status != 200 || len(a.body) < 500 {
			t.Errorf("label as %s: %d, %d bytes", kind, a.status, len(a.body))
		}
	}
}

func TestNamesAreText(t *testing.T) {
	sh := newShop(t)
	_, err := sh.store.SaveJob(t.Context(), 0, nastyJob())
	must(t, err)
	c := sh.as("mads")
	for _, path := range []string{"/jobs", "/jobs/J-9", "/search?q=%3Cscript%3Ealert(1)%3C/script%3E"} {
		if body := c.get(path).body; strings.Contains(body, "<script>alert") || strings.Contains(body, "<b>bold") {
			t.Errorf("%s carries a name as markup", path)
		}
	}
}

// Words must be readable on the ground in both themes: 4.5 to 1 (WCAG 2.1, 1.4.3).
func TestContrast(t *testing.T) {
	css, err := web.Files.ReadFile("static/app.css")
	must(t, err)
	themes := regexp.MustCompile(`:root \{([^}]*)\}`).FindAllStringSubmatch(string(css), -1)
	if len(themes) != 3 {
		t.Fatalf("%d themes in the stylesheet, want light, dark and print", len(themes))
	}
	token := regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{3,6});`)
	for i, theme := range themes {
		colour := map[string]string{}
		for _, m := range token.FindAllStringSubmatch(theme[1], -1) {
			colour[m[1]] = m[2]
		}
		for _, pair := range [][2]string{{"ink", "ground"}, {"faint", "ground"}, {"accent", "ground"}, {"warn", "ground"}, {"ink", "sunk"}, {"on-accent", "accent"}, {"ground", "warn"}} {
			a, b := colour[pair[0]], colour[pair[1]]
			if a == "" || b == "" {
				t.Fatalf("theme %d lacks %v", i, pair)
			}
			if c := contrast(a, b); c < 4.5 {
				t.Errorf("theme %d: %s %s on %s %s has %.2f to 1", i, pair[0], a, pair[1], b, c)
			}
		}
	}
	// Known values of the formula: black on white is 21, and #777777 on white 4.48 (WCAG
	// technique G18 gives #777 as just below the limit; the figure is from memory).
	if c := contrast("#000000", "#ffffff"); math.Abs(c-21) > 1e-9 {
		t.Errorf("black on white: %v", c)
	}
	if c := contrast("#777777", "#ffffff"); math.Abs(c-4.48) > 0.01 {
		t.Errorf("grey on white: %v", c)
	}
}

// contrast is the ratio of relative luminances of WCAG 2.1.
func contrast(a, b string) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func luminance(hex string) float64 {
	if len(hex) == 4 {
		hex = "#" + strings.Repeat(hex[1:2], 2) + strings.Repeat(hex[2:3], 2) + strings.Repeat(hex[3:4], 2)
	}
	var l float64
	for i, w := range []float64{0.2126, 0.7152, 0.0722} {
		n, _ := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
		c := float64(n) / 255
		if c <= 0.03928 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		l += w * c
	}
	return l
}

// An operator learns that a piece is out and until when, not who has it.
func TestOperatorDoesNotReadHolders(t *testing.T) {
	sh := newShop(t)
	holder := sh.tags("HLD-50-40")[0]
	sh.window("brisa").scan(holder, sh.badges["orla"])
	for login, may := range map[string]bool{"mads": true, "ivo": false, "orla": true} {
		browser, program := sh.as(login), sh.program(login)
		for _, body := range []string{
			browser.get("/jobs").body, browser.get("/jobs/J-1").body, browser.get("/pieces/" + holder).body, browser.get("/parts/HLD-50-40").body,
			program.get("/api/v1/jobs/J-1/stack").body, program.get("/api/v1/jobs").body, program.get("/api/v1/pieces/" + holder).body,
		} {
			// Orla's own name stands in the head of her pages anyway; the API has none.
			if got := strings.Contains(body, "Orla") || strings.Contains(body, "WITH ORLA"); got != may {
				t.Errorf("%s reads the holder's name: %v, want %v\n%.300s", login, got, may, body)
			}
		}
	}
	a := sh.as("ivo").get("/places/WITH%20ORLA")
	if a.status != 403 {
		t.Errorf("an operator opens another's hands: %d", a.status)
	}
}
