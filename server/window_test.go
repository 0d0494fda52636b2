package server

import (
	"html"
	"regexp"
	"strings"
	"testing"
	"time"

	"brasspeg/store"
)

var (
	opAttr   = regexp.MustCompile(`data-op="([^"]*)"`)
	heldAttr = regexp.MustCompile(`data-held="([^"]*)"`)
	readingP = regexp.MustCompile(`(?s)id="reading"[^>]*>(.*?)</p>`)
	nextP    = regexp.MustCompile(`(?s)id="next-says">(.*?)</p>`)
	undoIn_  = regexp.MustCompile(`name="undo" value="([^"]*)"`)
)

func first(re *regexp.Regexp, s string) string {
	if m := re.FindStringSubmatch(s); m != nil {
		return html.UnescapeString(m[1])
	}
	return ""
}

// A window is the page as its script drives it: it sends what it holds with each scan.
type window struct {
	*client
	t        testing.TB
	op, held string
	last     answer
}

func (sh *shop) window(login string) *window {
	sh.t.Helper()
	w := &window{client: sh.as(login), t: sh.t}
	w.head = map[string]string{"HX-Request": "true"}
	w.read(w.get("/window"))
	return w
}

func (w *window) read(a answer) {
	w.last = a
	if a.status == 200 && strings.Contains(a.body, `id="hand"`) {
		w.op, w.held = first(opAttr, a.body), first(heldAttr, a.body)
	}
}

func (w *window) scan(texts ...string) *window {
	w.t.Helper()
	for _, text := range texts {
		w.read(w.post("/window/scan", scanIn{Op: w.op, Held: w.held, Scan: text}))
	}
	return w
}

func (w *window) reading() string { return first(readingP, w.last.body) }
func (w *window) next() string    { return first(nextP, w.last.body) }

// where is where a piece stands by the books.
func (sh *shop) where(tag string) string {
	sh.t.Helper()
	st, err := sh.store.Standing(sh.t.Context(), tag)
	must(sh.t, err)
	return whereText(st)
}

// Whatever order badge, piece and job card come in, the piece is handed out once, and the
// ledger says to whom and for which job.
func TestWindowIssueInAnyOrder(t *testing.T) {
	sh := newShop(t)
	job, err := sh.store.JobByCode(t.Context(), "J-1")
	must(t, err)
	for _, order := range [][]string{{"badge", "piece"}, {"piece", "badge"}, {"job", "badge", "piece"}, {"badge", "job", "piece"}, {"piece", "job", "badge"}, {"bin", "piece", "badge"}, {"piece", "bin", "badge"}} {
		w := sh.window("brisa")
		tag := sh.tags("BAR-40-470")[0]
		bin, err := sh.store.PlaceByCode(t.Context(), "A1-2")
		must(t, err)
		before := sh.movements()
		wantJob := ""
		for _, o := range order {
			switch o {
			case "badge":
				w.scan(sh.badges["ivo"])
			case "piece":
				w.scan(tag)
			case "job":
				w.scan(*job.Tag)
				wantJob = "J-1"
			case "bin":
				w.scan(*bin.Tag)
			}
		}
		if n := sh.movements(); n != before+1 || sh.where(tag) != "with Ivo Lend" {
			t.Fatalf("%v: %d movements, the bar is %s; page %d: %s / %s", order, n-before, sh.where(tag), w.last.status, w.reading(), w.next())
		}
		lines, err := sh.store.Lines(t.Context(), store.LineFilter{Limit: 1})
		must(t, err)
		if l := lines[0]; l.Job != wantJob || l.Actor != "Brisa Tollan" || l.To != "Ivo Lend" {
			t.Errorf("%v: the ledger says %+v", order, l)
		}
		if !strings.Contains(w.reading(), "Issued 1 × BAR-40-470") || w.held != "" {
			t.Errorf("%v: the page says %q and still holds %q", order, w.reading(), w.held)
		}
		w.scan(tag, "") // out: scanned alone it comes back, Enter puts it into its own drawer
		if got := sh.where(tag); got != "A1-2" {
			t.Fatalf("after the return the bar is %s: %s %s", got, w.last.body, w.next())
		}
	}
}

func TestWindowSeveralPiecesInOneBooking(t *testing.T) {
	sh := newShop(t)
	w := sh.window("brisa")
	w.scan(sh.tags("BAR-40-470")[0], sh.tags("BAR-40-470")[1], sh.tags("HED-40R")[0])
	if !strings.Contains(w.next(), "badge") {
		t.Errorf("next: %q", w.next())
	}
	w.scan(sh.badges["ivo"])
	lines, err := sh.store.Lines(t.Context(), store.LineFilter{Limit: 3})
	must(t, err)
	if lines[0].OpID != lines[2].OpID || !strings.Contains(w.reading(), "3 lines") {
		t.Errorf("three pieces are not one booking: %+v, %q", lines, w.reading())
	}
}

func TestWindowReturnIntoScannedDrawer(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("HED-40R")[0]
	bin, err := sh.store.PlaceByCode(t.Context(), "C1-1")
	must(t, err)
	for _, order := range [][]string{{tag, *bin.Tag}, {*bin.Tag, tag}} {
		sh.window("brisa").scan(tag, sh.badges["ivo"])
		w := sh.window("brisa").scan(order...)
		if got := sh.where(tag); got != "C1-1" {
			t.Errorf("%v: the head is %s; %s / %s", order, got, w.reading(), w.next())
		}
	}
}

// An answer that got lost is asked for again with the same op id: the piece is out by then,
// and still the same booking is shown and nothing new is booked.
func TestWindowSameScanTwiceBooksOnce(t *testing.T) {
	sh := newShop(t)
	w := sh.window("brisa")
	tag := sh.tags("BAR-40-470")[0]
	w.scan(sh.badges["ivo"])
	in := scanIn{Op: w.op, Held: w.held, Scan: tag}
	before := sh.movements()
	a, b := w.post("/window/scan", in), w.post("/window/scan", in)
	if n := sh.movements(); n != before+1 {
		t.Errorf("%d movements, want 1", n-before)
	}
	if first(readingP, a.body) != first(readingP, b.body) || first(undoIn_, a.body) != first(undoIn_, b.body) || b.status != 200 {
		t.Errorf("the two answers differ:\n%s\n%s", a.body, b.body)
	}
}

func TestWindowLots(t *testing.T) {
	sh := newShop(t)
	lot := sh.tags("INS-D11-08")[0]
	w := sh.window("brisa").scan(lot, "4", sh.badges["ivo"])
	if got := sh.where(lot); got != "6 in B1-2, 4 in with Ivo Lend" {
		t.Errorf("after 4 of 10: %s; %s", got, w.reading())
	}
	bin, err := sh.store.PlaceByCode(t.Context(), "B1-2")
	must(t, err)
	w = sh.window("brisa").scan(*bin.Tag, sh.badges["ivo"]) // a drawer with one thing in it stands for it
	if got := sh.where(lot); got != "5 in B1-2, 5 in with Ivo Lend" {
		t.Errorf("after one more by its drawer: %s; %s %s", got, w.reading(), w.next())
	}
	w = sh.window("brisa").scan(lot, lot, sh.badges["ivo"]) // scanned twice is two
	if got := sh.where(lot); got != "3 in B1-2, 7 in with Ivo Lend" {
		t.Errorf("after two more by two scans: %s; %s %s", got, w.reading(), w.next())
	}
	for _, n := range []string{"99", "0"} {
		w = sh.window("brisa").scan(lot, n, sh.badges["ivo"])
		if w.last.head.Get("HX-Retarget") != "#alert" || w.last.status < 400 {
			t.Errorf("%s of 3: %d %s", n, w.last.status, w.last.body)
		}
	}
	// Part-used inserts never go back into the new lot.
	w = sh.window("brisa").scan("RETURN", lot)
	if !strings.Contains(w.next(), "edges are left") {
		t.Fatalf("a return of inserts asks for %q", w.next())
	}
	w.scan("2", "1", "")
	if got := sh.where(lot); got != "3 in B1-2, 5 in with Ivo Lend" {
		t.Errorf("after 2 came back with 1 edge: %s; %s %s", got, w.reading(), w.last.body)
	}
	lots := sh.tags("INS-D11-08")
	if len(lots) != 2 || sh.where(lots[1]) != "2 in PART-USED" {
		t.Errorf("the part-used lot: %v", lots)
	}
}

func TestWindowUndo(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	w := sh.window("brisa").scan(tag, sh.badges["ivo"])
	op := first(undoIn_, w.last.body)
	if op == "" {
		t.Fatal("no undo is offered")
	}
	in := undoIn{Op: w.op, Undo: op}
	for range 2 { // pressed twice, and again after a lost answer: one reversal
		w.read(w.post("/window/undo", in))
		if w.last.status != 200 || sh.where(tag) != "A1-2" {
			t.Fatalf("undo: %d %s, the bar is %s", w.last.status, w.last.body, sh.where(tag))
		}
	}
	w.scan(tag, sh.badges["ivo"])
	sh.now = sh.now.Add(61 * time.Second)
	w.read(w.post("/window/undo", undoIn{Op: newOp(), Undo: first(undoIn_, w.last.body)}))
	if w.last.status != 409 || sh.where(tag) != "with Ivo Lend" {
		t.Errorf("undo after 61 s: %d, the bar is %s", w.last.status, sh.where(tag))
	}
	_, cards := store.ActCards()
	w = sh.window("brisa").scan(sh.tags("HED-40R")[0], sh.badges["ivo"])
	w.scan(cards[1]) // the undo card
	if got := sh.where(sh.tags("HED-40R")[0]); got != "B1-1" {
		t.Errorf("after the undo card the head is %s: %s", got, w.last.body)
	}
}

// Another attendant's booking is not undone from this Window, even with its op id.
func TestWindowUndoOfAnother(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	w := sh.window("brisa").scan(tag, sh.badges["ivo"])
	a := sh.as("tam").post("/window/undo", undoIn{Op: newOp(), Undo: first(undoIn_, w.last.body)})
	if a.status != 403 || sh.where(tag) != "with Ivo Lend" {
		t.Errorf("undo of another's booking: %d, the bar is %s", a.status, sh.where(tag))
	}
}

func TestWindowOperatorActsForHimself(t *testing.T) {
	sh := newShop(t)
	tags := sh.tags("BAR-40-470")
	w := sh.window("ivo").scan(tags[0])
	if got := sh.where(tags[0]); got != "with Ivo Lend" {
		t.Errorf("an operator takes a bar: %s; %s", got, w.last.body)
	}
	sh.window("ivo").scan(tags[1], sh.badges["orla"])
	if got := sh.where(tags[1]); got == "with Orla Vane" {
		t.Errorf("an operator hands out to another: %s", got)
	}
	sh.window("brisa").scan(sh.tags("HED-40R")[0], sh.badges["orla"])
	w = sh.window("ivo").scan(sh.tags("HED-40R")[0], "")
	if got := sh.where(sh.tags("HED-40R")[0]); got != "with Orla Vane" || w.last.status != 403 {
		t.Errorf("an operator returns another's head: %d, %s", w.last.status, got)
	}
	if strings.Contains(w.get("/pieces/"+sh.tags("HED-40R")[0]).body, "Orla") {
		t.Error("an operator reads who else holds a piece")
	}
}

func TestWindowRefusals(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	wrong := tag[:8] + string("0123456789"[(int(tag[8])+1)%10])
	before := sh.movements()
	for _, tt := range []struct {
		what  string
		scans []string
		says  string
	}{
		{"a wrong check character", []string{wrong}, "check character"},
		{"a code of another maker", []string{"4006381333931"}, "not one of our codes"},
		{"a badge of nobody", []string{"W" + strings.Repeat("A", 17)}, ""},
		{"a second badge", []string{sh.badges["ivo"], sh.badges["orla"]}, "Ivo Lend lies here already"},
		{"the same piece twice", []string{tag, tag}, "lies here already"},
		{"a part's code", []string{"BAR-40-470"}, "scan the tag of the piece itself"},
		{"script", []string{"<script>alert(1)</script>"}, ""},
		{"the token of a page", []string{"a|b"}, "not one of our codes"},
		{"long text", []string{strings.Repeat("x", 500)}, ""},
	} {
		w := sh.window("brisa").scan(tt.scans...)
		if w.last.status < 400 || w.last.status >= 500 || w.last.head.Get("HX-Retarget") != "#alert" || !strings.Contains(html.UnescapeString(w.last.body), tt.says) {
			t.Errorf("%s: %d %s, want a refusal that says %q", tt.what, w.last.status, w.last.body, tt.says)
		}
		if strings.Contains(w.last.body, "<script>") {
			t.Errorf("%s: the page carries it as script", tt.what)
		}
	}
	if n := sh.movements(); n != before {
		t.Errorf("%d movements were booked by refused scans", n-before)
	}
}

func TestWindowBinEmptyAndMove(t *testing.T) {
	sh := newShop(t)
	bin, err := sh.store.PlaceByCode(t.Context(), "B1-2")
	must(t, err)
	lot := sh.tags("INS-D11-08")[0]
	sh.window("brisa").scan("BIN-EMPTY", *bin.Tag)
	if got := sh.where(lot); got != "nowhere by the books" {
		t.Errorf("after the drawer was reported empty: %s", got)
	}
	tag := sh.tags("BAR-40-470")[0]
	to, err := sh.store.PlaceByCode(t.Context(), "C1-1")
	must(t, err)
	w := sh.window("brisa").scan(tag, *to.Tag)
	if !strings.Contains(w.next(), "Enter to move") {
		t.Errorf("next: %q", w.next())
	}
	w.scan("")
	if got := sh.where(tag); got != "C1-1" {
		t.Errorf("after the move: %s", got)
	}
}

func FuzzWindowScan(f *testing.F) {
	for _, s := range []string{"", "5", "UNDO", "CLEAR", "P00000010", "WHO:1", "]C1P00000010", "HTTP://CRIB/T/P00000010", "0000000", "-1", "ÄÖ", "\x00"} {
		f.Add(s, "")
		f.Add("RETURN", s)
	}
	sh := emptyShop(f)
	f.Fuzz(func(t *testing.T, scan, held string) {
		h, err := sh.server.readHand(t.Context(), viewer{}, held)
		if err == nil {
			err = sh.server.take(t.Context(), &h, scan)
			_ = h.plan(viewer{})
		}
		if err != nil && problemOf(err).Status >= 500 {
			t.Errorf("scan %q over %q: %v", scan, held, err)
		}
	})
}

// Two Windows with the same piece hand it out once. The slower one is told who has it by now, before
// Enter could bring it back by mistake.
func TestWindowTwoWithOnePiece(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	one, two := sh.window("brisa").scan(tag), sh.window("mads").scan(tag)
	before := sh.movements()
	one.scan(sh.badges["ivo"])
	two.scan(sh.badges["orla"])
	if sh.movements() != before+1 || sh.where(tag) != "with Ivo Lend" {
		t.Fatalf("%d moved, it is %s", sh.movements()-before, sh.where(tag))
	}
	if n := two.next(); !strings.Contains(n, "with Ivo Lend") || !strings.Contains(n, "not handed to Orla Vane") {
		t.Errorf("the slower Window says %q", n)
	}
	if two = sh.window("mads").scan(tag, sh.badges["ivo"]); strings.Contains(two.next(), "not handed") {
		t.Errorf("brought back by who has it: %q", two.next())
	}
}
