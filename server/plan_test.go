package server

import (
	"html"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"brasspeg/store"
)

// page is a browser whose forms are sent by the page's own script.
func (sh *shop) page(login string) *client {
	c := sh.as(login)
	c.head = map[string]string{"HX-Request": "true"}
	return c
}

// oneMore adds a job like J-1 on other days.
func (sh *shop) oneMore(code string, from, to store.Day) store.Job {
	sh.t.Helper()
	j, err := sh.store.JobByCode(sh.t.Context(), "J-1")
	must(sh.t, err)
	j.ID, j.Tag, j.Code, j.FromDay, j.ToDay = 0, nil, code, from, to
	j.State = "planned" // whatever became of the one it is like
	j, err = sh.store.SaveJob(sh.t.Context(), 0, j)
	must(sh.t, err)
	return j
}

// A manager plans from the page, the second job is told of the clash with its ways out, the
// release can be undone, and an operator may do none of it.
func TestPlanFromThePage(t *testing.T) {
	sh := newShop(t)
	sh.oneMore("J-3", "2026-11-27", "2026-11-28")
	c := sh.page("mads")
	body := c.get("/jobs/J-1").body
	for _, want := range []string{"Not planned yet", `name="pieces"`, "promise this stack", "4 of 4 there: ready", "Setup sheet, A4"} {
		if !strings.Contains(body, want) {
			t.Errorf("before planning the page does not say %q", want)
		}
	}
	pieces := regexp.MustCompile(`name="pieces" value="([^"]+)" checked`).FindStringSubmatch(body)
	if pieces == nil {
		t.Fatal("no stack is chosen beforehand")
	}
	key := newOp()
	for range 2 { // the same press twice is one planning
		if a := c.post("/jobs/J-1/plan", map[string]string{"op": key, "pieces": pieces[1]}); a.status != 204 || a.head.Get("HX-Redirect") != "/jobs/J-1" {
			t.Fatalf("planning: %d %s", a.status, a.body)
		}
	}
	if body = c.get("/jobs/J-1").body; !strings.Contains(body, "4 pieces promised") || !strings.Contains(body, "Release what is promised") {
		t.Error("the page does not say that it is planned")
	}
	body = c.get("/jobs/J-3").body
	for _, want := range []string{"Clash with another job", "promised to J-1", "2026-11-27", "Another day: it can be built from 2026-11-28 on"} {
		if !strings.Contains(body, want) {
			t.Errorf("the clash does not say %q", want)
		}
	}
	if a := c.post("/jobs/J-3/plan", map[string]string{"op": newOp()}); a.status != 409 {
		t.Errorf("planning what clashes: %d %s", a.status, a.body)
	}
	release := newOp()
	if a := c.post("/jobs/J-1/release", map[string]string{"op": release}); a.status != 204 {
		t.Fatalf("release: %d %s", a.status, a.body)
	}
	if a := c.post("/jobs/J-1/undo", map[string]string{"op": newOp(), "of": release}); a.status != 204 {
		t.Fatalf("undo: %d %s", a.status, a.body)
	}
	if body = c.get("/jobs").body; !strings.Contains(body, "Planned, promised until released") {
		t.Error("the list does not say that J-1 is planned")
	}
	op := sh.page("ivo")
	if body = op.get("/jobs/J-1").body; strings.Contains(body, "Plan with this stack") || strings.Contains(body, "Close the job") || !strings.Contains(body, "remark") {
		t.Error("an operator sees a remark's field and no more")
	}
	for _, path := range []string{"/plan", "/release", "/undo", "/close"} {
		if a := op.post("/jobs/J-1"+path, map[string]string{"op": newOp(), "of": release}); a.status != 403 {
			t.Errorf("an operator at %s: %d", path, a.status)
		}
	}
}

// Every mistake in the form of a job stands beside its field, and what was typed stays.
func TestJobForm(t *testing.T) {
	sh := newShop(t)
	c := sh.as("mads")
	station := regexp.MustCompile(`value="(\d+)">L3`).FindStringSubmatch(c.get("/newjob").body)
	if station == nil {
		t.Fatal("the form does not offer the station")
	}
	good := map[string]string{"code": "J-77", "name": "bush", "station": station[1], "from": "2026-12-01", "to": "2026-12-02", "qty": "12", "done": "0", "dear": "", "unit": "mm",
		"bore_start": "62", "bore_end": "", "depth": "250 mm", "clearance": "30", "hand": "R", "seat": "dcmt11t3", "re": "0.8", "edges": "4", "coolant": "", "pressure": "",
		"material": "P", "group": "6", "vc": "180", "f": "0,2", "ap": "1", "note": "", "id": "", "version": "", "was": "", "state": ""}
	with := func(change map[string]string) map[string]string {
		out := map[string]string{}
		for k, v := range good {
			out[k] = v
		}
		for k, v := range change {
			out[k] = v
		}
		return out
	}
	for _, tt := range []struct {
		change map[string]string
		field  string
		says   string
	}{
		{map[string]string{"clearance": ""}, "clearance", "Depth without clearance"},
		{map[string]string{"pressure": "30"}, "pressure", "A pressure without coolant"},
		{map[string]string{"coolant": "yes"}, "pressure", "Coolant without a pressure"},
		{map[string]string{"coolant": "yes", "pressure": "30 furlongs"}, "pressure", "30 bar, 3 MPa or 435 psi"},
		{map[string]string{"depth": "deep"}, "depth", "deep"},
		{map[string]string{"bore_start": "0.5"}, "bore_start", ""},
		{map[string]string{"seat": "BANANA"}, "seat", ""},
		{map[string]string{"to": "2026-11-30"}, "to", "before the first"},
		{map[string]string{"from": "soon"}, "from", "2026-03-31"},
		{map[string]string{"code": "J-1"}, "code", "exists"},
		{map[string]string{"code": ""}, "code", "code"},
		{map[string]string{"qty": "-3"}, "qty", "whole number"},
		{map[string]string{"group": "99"}, "group", ""},
		{map[string]string{"station": "4711"}, "station", "not of this shop"},
	} {
		a := c.post("/newjob", with(tt.change))
		beside := regexp.MustCompile(`data-field="` + tt.field + `">([^<]+)<`).FindStringSubmatch(a.body)
		if a.status != 422 || beside == nil || !strings.Contains(beside[1], tt.says) {
			t.Errorf("%v: %d, beside %s: %q", tt.change, a.status, tt.field, beside)
			continue
		}
		if !strings.Contains(a.body, `value="bush"`) {
			t.Errorf("%v: what was typed is gone", tt.change)
		}
	}
	if a := c.post("/newjob", good); a.status != 204 || a.head.Get("HX-Redirect") != "/jobs/J-77" {
		t.Fatalf("a good job: %d %s", a.status, a.body)
	}
	if body := c.get("/jobs/J-77").body; !strings.Contains(body, "can be built") || !strings.Contains(body, "Ø 62 × 250 mm") {
		t.Error("the new job is not checked")
	}
	form := c.get("/jobs/J-77/edit").body
	for _, want := range []string{`name="depth" type="text" value="250 mm"`, `name="seat" type="text" value="DCMT11T3"`, `name="f" type="text" value="0.2"`, `value="6"`} {
		if !strings.Contains(form, want) {
			t.Errorf("the form to change it does not hold %s", want)
		}
	}
	if a := c.post("/jobs/J-77/edit", with(map[string]string{"version": "1", "depth": "9.84 in", "coolant": "yes", "pressure": "3 MPa"})); a.status != 204 {
		t.Fatalf("change: %d %s", a.status, a.body)
	}
	j, err := sh.store.JobByCode(t.Context(), "J-77")
	must(t, err)
	if !strings.Contains(j.Request, `"depth":249.936`) || !strings.Contains(j.Request, `"coolant_bar":30`) || j.Material != "P6" {
		t.Errorf("request %s, material %s", j.Request, j.Material)
	}
	a := c.post("/jobs/J-77/edit", with(map[string]string{"version": "1"}))
	if a.status != 422 || !strings.Contains(a.body, "somebody else") || !strings.Contains(a.body, `data-field="depth">Is now &#34;9.84 in&#34;.<`) || strings.Contains(a.body, `data-field="seat"`) {
		t.Errorf("an old version: %d %s", a.status, a.body)
	}
	if now, err := sh.store.JobByCode(t.Context(), "J-77"); err != nil || !strings.Contains(now.Request, "249.936") {
		t.Error("what the other wrote is gone before it was seen")
	}
	again := regexp.MustCompile(`name="version" value="(\d+)"`).FindStringSubmatch(a.body)
	if again == nil {
		t.Fatal("the form has no version")
	}
	if a := c.post("/jobs/J-77/edit", with(map[string]string{"version": again[1]})); a.status != 204 {
		t.Errorf("saved once more: %d %s", a.status, a.body)
	}
	if a := sh.as("brisa").post("/newjob", good); a.status != 403 {
		t.Errorf("an attendant makes a job: %d", a.status)
	}
	// All mistakes are told at once, whoever finds them, with the list above and the first to
	// be typed into.
	all := map[string]string{"code": "", "station": "4711", "to": "2026-11-30", "qty": "1.5", "bore_start": "0.01", "bore_end": "wide", "depth": "", "clearance": "999 m", "hand": "X",
		"seat": "BANANA", "re": "1/32", "edges": "-3", "pressure": "4", "group": "99", "vc": "12o", "f": "80", "ap": "900"}
	body := c.post("/newjob", with(all)).body
	list, _, _ := strings.Cut(body, "<fieldset")
	for name := range all {
		at := regexp.MustCompile(`id="(f\d+-\d+)" name="` + name + `"[^>]* aria-invalid="true"[^>]*`).FindStringSubmatch(body)
		if at == nil || !strings.Contains(body, `data-field="`+name+`"`) || !strings.Contains(list, `href="#`+at[1]+`"`) {
			t.Errorf("%s is wrong and the form does not say so at once: %q", name, at)
		} else if first := strings.Contains(at[0], "autofocus"); first != (name == "code") {
			t.Errorf("%s has the cursor: %v", name, first)
		}
	}
	if a := c.post("/newjob", with(map[string]string{"code": "J-78", "station": "", "group": "99"})); a.status != 422 {
		t.Errorf("a request that can not be read is taken where no station is said: %d", a.status)
	}
}

// A card in inches stays one: the form, the page and a copy say what was typed, until a program
// changes the figure under it.
func TestJobInInches(t *testing.T) {
	sh := newShop(t)
	c := sh.page("mads")
	station := regexp.MustCompile(`value="(\d+)">L3`).FindStringSubmatch(c.get("/newjob").body)
	card := map[string]string{"code": "J-90", "name": "bush", "station": station[1], "from": "2026-12-01", "to": "2026-12-02", "qty": "12", "unit": "in", "hand": "R", "seat": "DCMT11T3", "re": "0.8",
		"bore_start": "2-7/16", "bore_end": `2.5"`, "depth": "9.84", "clearance": "30 mm"}
	if a := c.post("/newjob", card); a.status != 204 {
		t.Fatalf("a card in inches: %d %s", a.status, a.body)
	}
	for _, path := range []string{"/jobs/J-90/edit", "/newjob?like=J-90"} {
		form := html.UnescapeString(c.get(path).body)
		for _, want := range []string{`value="in" selected`, `name="bore_start" type="text" value="2-7/16"`, `name="bore_end" type="text" value="2.5""`, `name="depth" type="text" value="9.84"`,
			`name="clearance" type="text" value="30 mm"`} {
			if !strings.Contains(form, want) {
				t.Errorf("%s does not hold %s", path, want)
			}
		}
	}
	card["code"], card["coolant"], card["pressure"] = "J-91", "yes", "600psi"
	if a := c.post("/newjob", card); a.status != 204 || !strings.Contains(c.get("/jobs/J-91/edit").body, `name="pressure" type="text" value="600psi"`) {
		t.Errorf("a pressure in psi: %d, or it comes back as another", a.status)
	}
	if body := c.get("/newjob?like=J-90").body; strings.Contains(body, `value="J-90"`) || !strings.Contains(body, "Copied from J-90") || !strings.Contains(body, `hx-post="/newjob"`) {
		t.Error("a copy is the job itself")
	}
	if a := c.get("/newjob?like=J-no"); a.status != 404 {
		t.Errorf("a copy of nothing: %d", a.status)
	}
	body := html.UnescapeString(c.get("/jobs/J-90").body)
	for _, want := range []string{`hole before 2-7/16 in, hole after 2.5", depth 9.84 in, clearance 30 mm`, "Overhang to set, in inches", "11.021"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %s", want)
		}
	}
	j, err := sh.store.JobByCode(t.Context(), "J-90")
	must(t, err)
	if !strings.Contains(j.Request, `"depth":249.936`) || !strings.Contains(j.Request, `"bore_start_d":61.9125`) {
		t.Errorf("request %s", j.Request)
	}
	// A program that sets the depth knows nothing of what was typed.
	j.Request = strings.Replace(j.Request, `"depth":249.936`, `"depth":200`, 1)
	_, err = sh.store.SaveJob(t.Context(), sh.people["mads"].ID, j)
	must(t, err)
	if form := c.get("/jobs/J-90/edit").body; !strings.Contains(form, `name="depth" type="text" value="200 mm"`) || !strings.Contains(form, `value="2-7/16"`) {
		t.Error("200 mm under a form in inches do not carry their unit, or the rest is lost")
	}
}

// Bare millimetres are kept as nothing but their figures.
func TestPlainJobKeepsNoText(t *testing.T) {
	var j store.Job
	if wrong := readJobForm(map[string]string{"code": "J-1", "from": "2026-12-01", "to": "2026-12-02", "unit": "mm", "bore_start": "62", "depth": "250,5", "clearance": "0", "hand": "R", "seat": "CCMT09T3"}, &j); len(wrong) > 0 {
		t.Fatal(wrong)
	}
	if strings.Contains(j.Request, store.TypedMember) {
		t.Error(j.Request)
	}
}

func TestPressureOf(t *testing.T) {
	// 1 MPa is 10 bar and 1 bar 100,000 Pa by definition; 435 psi is 29.99 bar by the pound and
	// the inch (6894.757 Pa).
	for text, want := range map[string]float64{"": 0, "30": 30, "30 bar": 30, "3 MPa": 30, "4,5mpa": 45, "435 psi": 29.992} {
		if got, err := pressureOf(text); err != nil || got < want-0.001 || got > want+0.001 {
			t.Errorf("%q: %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"x", "-3", "NaN", "1e99", "3 atm"} {
		if got, err := pressureOf(text); err == nil {
			t.Errorf("%q is read as %v", text, got)
		}
	}
}

// Closing asks of each thing whether it stays; what stays is found in the turret.
func TestCloseFromThePage(t *testing.T) {
	sh := newShop(t)
	ctx := t.Context()
	j, err := sh.store.JobByCode(ctx, "J-1")
	must(t, err)
	place, err := sh.store.PlaceByCode(ctx, "L3/4")
	must(t, err)
	var picks []store.Pick
	for _, code := range []string{"HLD-50-40", "BAR-40-470", "INS-D11-08"} {
		it, err := sh.store.ItemByTag(ctx, sh.tags(code)[0])
		must(t, err)
		picks = append(picks, store.Pick{Item: it.ID, Qty: 1})
	}
	_, err = sh.store.Issue(ctx, sh.op("brisa"), store.IssueIn{Picks: picks, To: place.ID, Job: j.ID})
	must(t, err)
	c := sh.page("brisa")
	body := c.get("/jobs/J-1/close").body
	names := regexp.MustCompile(`name="(do-\d+\.\d+)"`).FindAllStringSubmatch(body, -1)
	if len(names) != 3 {
		t.Fatalf("%d things asked for, want 3", len(names))
	}
	in := map[string]string{"op": newOp()}
	for i, n := range names {
		in[n[1]] = []string{"keep", "unload", "later"}[i]
	}
	if a := c.post("/jobs/J-1/close", map[string]string{"op": newOp(), names[0][1]: "keep"}); a.status != 422 {
		t.Errorf("two things left open: %d", a.status)
	}
	if a := c.post("/jobs/J-1/close", in); a.status != 204 {
		t.Fatalf("close: %d %s", a.status, a.body)
	}
	if body := c.get("/jobs/J-1").body; !strings.Contains(body, "</span>closed</span>") || strings.Contains(body, "kit ready") || strings.Contains(body, "Stacks that can be built") {
		t.Error("the page of a closed job does not say so at its head, or still asks for its kit")
	}
	if body = c.get("/pieces/" + sh.tags("HLD-50-40")[0]).body; !strings.Contains(body, "L3/4") {
		t.Error("the holder is not in the turret")
	}
	sh.oneMore("J-9", "2026-12-01", "2026-12-02")
	if body = c.get("/jobs/J-9").body; !strings.Contains(body, "can be built") || !strings.Contains(body, "L3/4") {
		t.Error("the next job does not find the holder in the turret")
	}
}

// The setup sheet is one page on both papers; the drawers stand in walking order, every tag is
// read from its code by a foreign reader, and a setter's remark comes back on the next sheet.
func TestSetupSheet(t *testing.T) {
	sh := newShop(t)
	c := sh.as("brisa")
	if a := sh.page("ivo").post("/jobs/J-1/remarks", map[string]string{"op": newOp(), "text": "Chatter above 140 m/min at 7 x D", "from": "6.5"}); a.status != 204 {
		t.Fatalf("remark: %d %s", a.status, a.body)
	}
	if body := c.get("/jobs/J-1").body; !strings.Contains(body, "Chatter above 140 m/min") || !strings.Contains(body, "Ivo Lend") {
		t.Error("the remark is not on the page")
	}
	for _, paper := range []string{"a4", "letter"} {
		a := c.get("/jobs/J-1/setup.pdf?paper=" + paper)
		if a.status != 200 || a.head.Get("Content-Type") != "application/pdf" {
			t.Fatalf("%s: %d %s", paper, a.status, regexp.MustCompile(`<p class="lead">.*`).FindString(a.body))
		}
		file := filepath.Join(t.TempDir(), "sheet.pdf")
		must(t, os.WriteFile(file, []byte(a.body), 0o600))
		if _, err := exec.LookPath("pdftotext"); err != nil {
			t.Skip("SKIPPED: pdftotext is not installed, so nothing foreign reads the sheet")
		}
		out, err := exec.Command("pdftotext", "-layout", file, "-").Output()
		must(t, err)
		text := string(out)
		if n := strings.Count(text, "\f"); n != 1 {
			t.Errorf("%s: %d pages", paper, n)
		}
		flat := strings.Join(strings.Fields(text), " ")
		for _, want := range []string{"280 mm", "11.024 in", "J-1", "Lathe 3", "centre height: not recorded", "torque", "not recorded", "Chatter above 140 m/min", "releases nothing", "limit", "none asked"} {
			if !strings.Contains(flat, want) {
				t.Errorf("%s: the sheet does not say %q", paper, want)
			}
		}
		if a, b := strings.Index(text, "A1-1"), strings.Index(text, "B1-2"); a < 0 || b < a {
			t.Errorf("%s: drawers out of order", paper)
		}
		if _, err := exec.LookPath("zbarimg"); err != nil {
			t.Logf("SKIPPED: zbarimg is not installed, so the codes are not read by a foreign program")
			continue
		}
		_, err = exec.Command("pdftoppm", "-r", "300", "-gray", "-png", file, strings.TrimSuffix(file, ".pdf")).CombinedOutput()
		must(t, err)
		codes, _ := exec.Command("zbarimg", "-q", "--raw", strings.TrimSuffix(file, ".pdf")+"-1.png").Output()
		for _, part := range []string{"HLD-50-40", "HED-40R", "INS-D11-08"} {
			if !strings.Contains(string(codes), sh.tags(part)[0]) {
				t.Errorf("%s: the code of %s is not read: %q", paper, part, codes)
			}
		}
	}
	if a := c.get("/jobs/J-1/setup.pdf?paper=a3"); a.status != 422 {
		t.Errorf("a3: %d", a.status)
	}
	if a := c.get("/jobs/J-2/setup.pdf"); a.status != http.StatusConflict {
		t.Errorf("a sheet of what cannot be built: %d", a.status)
	}
}

// What the planned jobs need bought goes onto drafts with one press, in whole packs, and not
// twice; nobody else than who may order does it.
func TestPurchasesOntoAnOrder(t *testing.T) {
	sh := newShop(t)
	_, err := sh.store.SetVendor(t.Context(), sh.op("mads"), store.Vendor{Supplier: store.Supplier{Code: "ORRIN", Name: "Orrin & Sons", LeadDays: 1}})
	must(t, err)
	c := sh.page("mads")
	if strings.Contains(c.get("/purchases").body, "Draft orders for this set") {
		t.Error("there is a button with nothing to buy")
	}
	in, err := store.PartFrom(map[string]any{"id": "HED-40L", "kind": "head", "CCMS": "H40", "HAND": "L", "DMIN": 50.0, "seat": "DCMT11T3", "LF": 32.0, "coolant": true, "CP": 100.0, "WT": 0.3}, "entered")
	must(t, err)
	_, err = sh.store.SavePart(t.Context(), 0, in)
	must(t, err)
	j, err := sh.store.JobByCode(t.Context(), "J-2")
	must(t, err)
	j.FromDay, j.ToDay = "2026-12-10", "2026-12-11"
	_, err = sh.store.SaveJob(t.Context(), 0, j)
	must(t, err)
	imported, err := sh.store.Import(t.Context(), sh.people["mads"].ID, "prices", []byte("part,supplier,price,currency,pack,lead_days\nHED-40L,ORRIN,64.00,EUR,2,1\n"), true)
	if err != nil || !imported.Applied {
		t.Fatal(imported, err)
	}
	body := c.get("/purchases").body
	if !strings.Contains(body, "Draft orders for this set") {
		t.Fatal(regexp.MustCompile(`(?s)<main.*</main>`).FindString(body))
	}
	for range 2 {
		if a := c.post("/purchases/draft", map[string]string{"op": newOp()}); a.status != 204 || a.head.Get("HX-Redirect") != "/orders" {
			t.Fatalf("drafting: %d %s", a.status, a.body)
		}
	}
	all, err := sh.store.Orders(t.Context(), store.OrderFilter{})
	must(t, err)
	if len(all) != 1 || len(all[0].Lines) != 1 || all[0].Lines[0].Pieces != 2 || !strings.Contains(all[0].Lines[0].Why, "J-2") {
		t.Errorf("drafts %+v; want one with one pack of two for J-2", all)
	}
	if body := sh.page("ivo").get("/purchases").body; strings.Contains(body, "Draft orders for this set") {
		t.Error("an operator is shown the button")
	}
	if a := sh.page("ivo").post("/purchases/draft", map[string]string{"op": newOp()}); a.status != 403 {
		t.Errorf("an operator orders: %d", a.status)
	}
}
