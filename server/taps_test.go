package server

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"brasspeg/store"
	"brasspeg/store/life"
)

// touch makes the window one of a phone or a tablet, with fingers.
func (b *browser) touch(width, height int64) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		if _, err := cdp.Call(ctx, t, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: height, DeviceScaleFactor: 1, Mobile: true}); err != nil {
			return chromedp.Void{}, err
		}
		_, err := cdp.Call(ctx, t, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true})
		return chromedp.Void{}, err
	})
}

// tap puts a finger on the middle of an element and takes it off, as a person does: what lies
// over the element there gets the touch. Where a busy machine made it a long press, which is no
// tap, it is done again.
func (b *browser) tap(sel string) {
	b.t.Helper()
	for range 5 {
		b.touchOnce(sel)
		for range 40 {
			if b.js(`document.documentElement.dataset.tapped ?? ""`) == "yes" {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
	}
	b.t.Fatalf("%s takes no tap", sel)
}

func (b *browser) touchOnce(sel string) {
	b.t.Helper()
	b.js(`delete document.documentElement.dataset.tapped, addEventListener("click", () => { document.documentElement.dataset.tapped = "yes"; }, { capture: true, once: true }), ""`)
	var x, y float64
	at := b.js(fmt.Sprintf(`(() => { const e = document.querySelector(%q); if (!e) return "";
		e.scrollIntoView({ block: "center", behavior: "instant" }); const r = e.getBoundingClientRect(); return (r.x + r.width / 2) + " " + (r.y + r.height / 2); })()`, sel))
	if _, err := fmt.Sscan(at, &x, &y); err != nil {
		b.t.Fatalf("%s is not on the page", sel)
	}
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		for _, ev := range []input.DispatchTouchEventParams{
			{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: x, Y: y}}},
			{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}},
		} {
			if _, err := cdp.Call(ctx, t, input.DispatchTouchEvent, ev); err != nil {
				return chromedp.Void{}, err
			}
		}
		return chromedp.Void{}, nil
	})
}

// insert is what a keyboard on the screen does: text, and no keys.
func (b *browser) insert(sel, text string) {
	b.t.Helper()
	b.do(chromedp.Focus(sel))
	b.js(fmt.Sprintf(`document.querySelector(%q).select(), ""`, sel))
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		if text == "" {
			for _, k := range []input.DispatchKeyEventType{input.DispatchKeyEventTypeKeyDown, input.DispatchKeyEventTypeKeyUp} {
				if _, err := cdp.Call(ctx, t, input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: k, Key: "Delete", Code: "Delete", WindowsVirtualKeyCode: 46}); err != nil {
					return chromedp.Void{}, err
				}
			}
			return chromedp.Void{}, nil
		}
		_, err := cdp.Call(ctx, t, input.InsertText, input.InsertTextParams{Text: text})
		return chromedp.Void{}, err
	})
	b.untilJS(fmt.Sprintf(`document.querySelector(%q).value`, sel), text)
}

// operator opens the page of lathe 3, on which 18 parts were made since the last change.
func (sh *shop) operator(t *testing.T, who string) (*browser, string) {
	t.Helper()
	job := sh.runs()
	_, err := sh.store.PartsMade(t.Context(), sh.op("orla"), store.MadeIn{Job: job.ID, Count: 18})
	must(t, err)
	box := sh.tags("INS-D11-08")[0]
	b := sh.browser(t)
	b.login(who)
	b.open("/machines/L3")
	b.untilJS(`document.querySelector("form.edge").dataset.op.length > 20 ? "" : "short"`, "")
	return b, box
}

// runsSay lists what is logged, oldest first; what was undone in brackets.
func (sh *shop) runsSay() string {
	sh.t.Helper()
	var all []string
	for _, r := range sh.edgeRuns() {
		s := fmt.Sprintf("%d %s edge %d", r.Parts, r.Reason, r.Edge)
		if r.Undone {
			s = "(" + s + ")"
		}
		all = append([]string{s}, all...)
	}
	return strings.Join(all, ", ")
}

func (sh *shop) untilRuns(want string) {
	sh.t.Helper()
	for range 400 {
		if sh.runsSay() == want {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	sh.t.Fatalf("logged: %q, want %q", sh.runsSay(), want)
}

// sound fails unless the books agree with themselves.
func (sh *shop) sound() {
	sh.t.Helper()
	if rep, err := sh.store.Verify(sh.t.Context()); err != nil || len(rep.Faults) > 0 {
		sh.t.Errorf("verify: %v, %v", rep.Faults, err)
	}
}

const worn, chipped = `form.edge button[value="worn"]`, `form.edge button[value="chipped"]`

// On a phone and on a tablet, with gloves: all that is touched on the operator's pages is 48 px
// at least, reasons stand apart, and nothing is wider than the screen.
func TestBrowserTargetsForGloves(t *testing.T) {
	sh := newShop(t)
	sh.lived()
	b := sh.browser(t)
	b.login("ivo")
	for _, size := range [][2]int64{{360, 740}, {1024, 768}} {
		b.touch(size[0], size[1])
		for _, path := range []string{"/machines/L3", "/machines"} {
			b.open(path)
			small := b.js(`(() => { document.querySelectorAll("main details").forEach((d) => { d.open = true; });
				const bad = [];
				for (const e of document.querySelectorAll("main :is(a, button, input, select, summary)")) {
					const r = e.getBoundingClientRect();
					if (e.type === "hidden" || r.width === 0) continue;
					if (r.height < 47.5 || r.width < 40) bad.push(e.tagName + " " + (e.id || e.textContent.trim()) + " " + Math.round(r.width) + "x" + Math.round(r.height));
				}
				const rs = [...document.querySelectorAll(".reasons button")].map((e) => e.getBoundingClientRect());
				for (const a of rs) for (const c of rs) if (a !== c) {
					const gap = Math.max(c.left - a.right, a.left - c.right, c.top - a.bottom, a.top - c.bottom);
					if (gap < 7.5) bad.push("reasons " + gap + " px apart");
				}
				if (document.documentElement.scrollWidth > document.documentElement.clientWidth + 1) bad.push("wider than the screen");
				return bad.join("; "); })()`)
			if small != "" {
				t.Errorf("%s at %d x %d: %s", path, size[0], size[1], small)
			}
			b.shot(fmt.Sprintf("touch%d%s", size[0], strings.ReplaceAll(path, "/", "-")))
		}
	}
}

// An edge change is one tap where the job is counted; a wrong reason is mended by two more. Two
// taps of a glove are one. What happened is told where the finger is.
func TestBrowserEdgeByTaps(t *testing.T) {
	sh := newShop(t)
	b, box := sh.operator(t, "ivo")
	b.touch(360, 740)
	b.insert("#s4-box", strings.ToLower(box))
	begun := time.Now()
	b.tap(worn)
	b.tap(worn)
	b.until("#reading", "Logged edge 1 of INS-D11-08")
	t.Logf("from the tap to the words: %d ms", time.Since(begun).Milliseconds())
	sh.untilRuns("18 worn edge 1")
	seen := b.js(`(() => { const r = document.getElementById("reading").getBoundingClientRect(); return String(r.top >= 0 && r.bottom <= innerHeight); })()`)
	if seen != "true" {
		t.Error("what happened is told where the operator does not see it")
	}
	b.until("#undo-last", "Undo worn, station 4")
	b.tap("#undo-last button")
	sh.untilRuns("(18 worn edge 1)")
	b.until("#reading", "Undone")
	b.untilJS(`document.getElementById("s4-parts").value`, "18")
	b.tap(chipped)
	sh.untilRuns("(18 worn edge 1), 18 chipped edge 1")
	b.until("#reading", "Edge 2 is up")
	if s := b.text("#unsent"); s != "" {
		t.Errorf("on screen: %s", s)
	}
	sh.sound()
	b.calm()
}

// A number is what a person of any country writes, or it is refused beside its field, and
// nothing is sent.
func TestBrowserEdgeNumbers(t *testing.T) {
	sh := newShop(t)
	b, box := sh.operator(t, "ivo")
	b.insert("#s4-box", box)
	b.do(chromedp.Click("form.edge summary"))
	for _, tt := range []struct{ sel, text, says string }{
		{"#s4-parts", "0", "failed on its first part made 1"},
		{"#s4-parts", "-1", "no whole number"},
		{"#s4-parts", "1e9", "no whole number"},
		{"#s4-parts", "NaN", "no whole number"},
		{"#s4-parts", "10^30", "no whole number"},
		{"#s4-parts", "1" + strings.Repeat("0", 30), "no whole number"},
		{"#s4-parts", "12,5", "no whole number"},
		{"#s4-parts", "1.200", "no whole number"},
		{"#s4-parts", "a dozen", "no whole number"},
		{"#s4-parts", "😀", "no whole number"},
		{"#s4-parts", "١٢", "no whole number"},
		{"#s4-vb", "1,200", "can be read as 1200 or"},
		{"#s4-vb", "0,2,5", "no number"},
		{"#s4-vb", "Infinity", "no number"},
		{"#s4-min", "-3", "no number"},
		{"#s4-ago", "0x10", "no whole number"},
		{"#s4-box", "", "scan it first"},
		{"#s4-parts", "99999999", "More parts than a job can have"}, // the server's word
		{"#s4-box", "L9999999", "check character is missing"},
		{"#s4-box", sh.tags("BAR-40-470")[0], "is no insert but a bar"},
	} {
		was := b.js(fmt.Sprintf(`document.querySelector(%q).value`, tt.sel))
		b.insert(tt.sel, tt.text)
		b.do(chromedp.Click(worn))
		b.until(tt.sel+"-wrong", tt.says)
		if s := b.js(fmt.Sprintf(`(() => { const e = document.querySelector(%q); return [e.value, e.getAttribute("aria-describedby") === e.id + "-wrong", document.activeElement === e].join(" "); })()`, tt.sel)); s != tt.text+" true true" {
			t.Errorf("%s %q: the field says, is described, has the focus: %s", tt.sel, tt.text, s)
		}
		b.insert(tt.sel, was)
	}
	if s := sh.runsSay(); s != "" {
		t.Fatalf("logged: %s", s)
	}
	b.insert("#s4-vb", "0,25")
	b.do(chromedp.Click(worn))
	sh.untilRuns("18 worn edge 1")
	if r := sh.edgeRuns()[0]; r.WearVB != 0.25 {
		t.Errorf("wear of %g mm", r.WearVB)
	}
}

// A finger on the keys, slow and quick, with a comma: what a number field shows is what was typed.
func TestBrowserTypedNumbersStay(t *testing.T) {
	sh := newShop(t)
	b, _ := sh.operator(t, "ivo")
	b.do(chromedp.Click("form.edge summary"))
	for _, pause := range []time.Duration{110 * time.Millisecond, 0} {
		b.insert("#s4-vb", "")
		b.keys(pause, "0,25")
		b.untilJS(`document.getElementById("s4-vb").value`, "0,25")
	}
}

// A slip in the count is set back once it is said to be one.
func TestBrowserCountIsMended(t *testing.T) {
	sh := newShop(t)
	b, _ := sh.operator(t, "ivo")
	b.insert("#s4-made", "180")
	b.keys(0, "\r")
	b.until("#reading", "J-1: 180 of 40 parts made. That is 140 more than the job wants")
	b.insert("#s4-made", "19")
	b.keys(0, "\r")
	b.until("#s4-madeq", "If 180 was a slip, say so")
	b.untilJS(`document.activeElement.id + document.getElementById("s4-made").value`, "s4-madewhy19")
	b.keys(100*time.Millisecond, "slip\r")
	b.until("#reading", "J-1: 19 of 40 parts made. Set back from 180")
	b.until("#seats", "19 of 40")
}

// between puts f between every browser and the server, at the same address.
func (sh *shop) between(f func(w http.ResponseWriter, r *http.Request, next http.Handler)) {
	sh.t.Helper()
	addr, next := sh.http.Listener.Addr().String(), sh.server.Handler()
	sh.http.CloseClientConnections()
	sh.http.Close()
	ln, err := net.Listen("tcp", addr)
	must(sh.t, err)
	sh.http = &httptest.Server{Listener: ln, Config: &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { f(w, r, next) })}}
	sh.http.Start()
	sh.t.Cleanup(sh.http.Close)
}

// The Wi-Fi goes in the middle: the server is busy, cuts the line before it books, cuts it after,
// answers half, books and hangs, or a gateway answers in its place. Each time one change is logged, and only one.
func TestBrowserEdgeThroughBadNetwork(t *testing.T) {
	sh := newShop(t)
	b, box := sh.operator(t, "ivo")
	var fault atomic.Pointer[string]
	none := ""
	fault.Store(&none)
	sh.between(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
		if r.Method != http.MethodPost {
			next.ServeHTTP(w, r)
			return
		}
		switch *fault.Swap(&none) {
		case "busy":
			http.Error(w, "busy", http.StatusServiceUnavailable)
		case "cut before":
			panic(http.ErrAbortHandler)
		case "cut after":
			next.ServeHTTP(httptest.NewRecorder(), r)
			panic(http.ErrAbortHandler)
		case "half":
			rec := httptest.NewRecorder()
			next.ServeHTTP(rec, r)
			w.Header().Set("Content-Length", fmt.Sprint(rec.Body.Len()))
			w.WriteHeader(rec.Code)
			_, _ = w.Write(rec.Body.Bytes()[:rec.Body.Len()/2])
			panic(http.ErrAbortHandler)
		case "hang after": // until the page gives up
			next.ServeHTTP(httptest.NewRecorder(), r)
			<-r.Context().Done()
		case "gateway":
			w.Header().Set("Content-Type", "text/html")
			_, _ = w.Write([]byte("<p>Welcome to the guest network</p>"))
		default:
			next.ServeHTTP(w, r)
		}
	})
	want := ""
	for i, name := range []string{"busy", "cut before", "cut after", "half", "gateway", "hang after"} {
		fault.Store(&name)
		b.insert("#s4-box", box)
		b.insert("#s4-parts", fmt.Sprint(11+i))
		b.do(chromedp.Click(worn))
		want += fmt.Sprintf("%s%d worn edge %d", map[bool]string{true: ", "}[i > 0], 11+i, i%2+1)
		sh.untilRuns(want)
		for range 30 { // a page gives a hanging server 8 s, and waits a moment before it asks again
			if strings.HasPrefix(b.text("#reading"), "Logged") {
				break
			}
			time.Sleep(500 * time.Millisecond)
		}
		b.until("#reading", fmt.Sprintf("Logged edge %d of INS-D11-08 on Lathe 3 station 4, J-1: %d parts, worn", i%2+1, 11+i))
		b.untilJS(`document.getElementById("unsent")?.textContent ?? "all sent"`, "all sent")
	}
	sh.sound()
}

// Somebody else logs the change while it is being entered. What was entered is not sent as the
// next change, neither when the page has heard of the other nor when it has not.
func TestBrowserEdgeLoggedByAnother(t *testing.T) {
	sh := newShop(t)
	b, box := sh.operator(t, "ivo")
	log := func(parts int) {
		t.Helper()
		after, err := sh.store.LastChange(t.Context(), 1)
		must(t, err)
		if a := sh.program("orla").keyed(newOp(), "/api/v1/edges", map[string]any{"station": "L3/4", "box": box, "parts": parts, "reason": "worn", "after": after}); a.status != 201 {
			t.Fatalf("%d %s", a.status, a.body)
		}
	}
	b.insert("#s4-box", box)
	b.insert("#s4-parts", "12")
	log(12)
	b.do(chromedp.Click(worn)) // the page has not heard of it
	b.until("#reading", "was logged at")
	b.until("#unsent", "edge 1, 12 parts, worn")
	b.until("#seats", "Edge 2 of 2") // and follows
	b.do(chromedp.Click("#unsent button"))
	b.untilJS(`document.getElementById("unsent")?.textContent ?? "none"`, "none")
	b.insert("#s4-parts", "13")
	b.js(`document.activeElement.blur(), ""`)
	log(13)
	b.js(`document.dispatchEvent(new Event("visibilitychange")), ""`) // the page is looked at again
	b.until("#reading", "What you had entered is taken out")
	b.do(chromedp.Click(worn))
	time.Sleep(300 * time.Millisecond)
	sh.untilRuns("12 worn edge 1, 13 worn edge 2")
	sh.sound()
}

// What is entered outlives a page loaded anew, and an undo of a change that was not sent yet.
func TestBrowserEnteredOutlivesReload(t *testing.T) {
	sh := newShop(t)
	b, box := sh.operator(t, "ivo")
	b.wedge(box)
	b.until("#reading", "Now the reason")
	b.insert("#s4-parts", "17")
	b.do(chromedp.Reload())
	b.untilJS(`document.getElementById("s4-parts")?.value + document.getElementById("s4-box")?.value`, "17"+box)
	b.settle()

	back := b.offline()
	b.wedge("EDGE-WORN")
	b.until("#unsent-count", "1 change waits")
	b.do(chromedp.Click("#undo-last button"))
	b.until("#unsent-count", "2 changes wait")
	b.untilJS(`document.getElementById("s4-parts").value`, "17")
	b.do(chromedp.Click(chipped))
	b.until("#unsent-count", "3 changes wait")
	back()
	sh.untilRuns("(17 worn edge 1), 17 chipped edge 1")
	b.untilJS(`document.getElementById("unsent")?.textContent ?? "all sent"`, "all sent")
	sh.sound()
}

// The session ends while changes wait: the page says why they wait and goes on saying it, nobody
// else's log-in in another tab sends them, and the person's own does.
func TestBrowserEdgeSessionEnds(t *testing.T) {
	sh := newShop(t)
	b, box := sh.operator(t, "ivo")
	b.wedge(box)
	b.until("#reading", "Now the reason")
	out := func() {
		b.do(func(ctx context.Context, tg *chromedp.Target) (chromedp.Void, error) {
			_, err := cdp.Call(ctx, tg, network.ClearBrowserCookies, cdp.Empty{})
			return chromedp.Void{}, err
		})
	}
	out()
	b.wedge("EDGE-WORN")
	b.until("#unsent-note", "Log in again")
	b.until("#unsent-count", "1 entry is not sent yet")
	time.Sleep(1500 * time.Millisecond) // one more try
	b.until("#unsent-note", "Log in again")

	first := b.ctx
	second, end := chromedp.NewContext(first)
	defer end()
	b.ctx = second
	b.login("orla")
	b.until("#unsent-count", "of Ivo Lend not sent yet")
	b.ctx = first
	b.until("#unsent-count", "Another person has logged in on this device")
	time.Sleep(2500 * time.Millisecond) // more than one try
	if s := sh.runsSay(); s != "" {
		t.Fatalf("logged by %d: %s", sh.edgeRuns()[0].ActorID, s)
	}
	out()
	b.ctx = second
	b.login("ivo")
	sh.untilRuns("18 worn edge 1")
	if r := sh.edgeRuns()[0]; r.ActorID != sh.people["ivo"].ID {
		t.Errorf("logged by %d", r.ActorID)
	}
}

// A question that comes back while another machine's page is open waits for its own form, and
// leaves the other's alone.
func TestBrowserQuestionFindsItsForm(t *testing.T) {
	sh := newShop(t)
	m, st, err := sh.store.AddMachine(t.Context(), 0, store.Machine{Code: "L9", Name: "Lathe 9"}, []store.Station{{Number: 4, Interface: "VDI50"}})
	must(t, err)
	j2, err := sh.store.JobByCode(t.Context(), "J-2")
	must(t, err)
	j2.MachineID, j2.StationID, j2.State = &m.ID, &st[0].ID, "running"
	_, err = sh.store.SaveJob(t.Context(), 0, j2)
	must(t, err)
	b, box := sh.operator(t, "ivo")
	job, err := sh.store.JobByCode(t.Context(), "J-1")
	must(t, err)
	job.Request = strings.NewReplacer(`"RE":0.8`, `"RE":0.4`, `"RE": 0.8`, `"RE": 0.4`).Replace(job.Request)
	_, err = sh.store.SaveJob(t.Context(), 0, job)
	must(t, err)
	var away atomic.Bool
	sh.between(func(w http.ResponseWriter, r *http.Request, next http.Handler) {
		if away.Load() && r.Method == http.MethodPost {
			http.Error(w, "busy", http.StatusServiceUnavailable)
			return
		}
		next.ServeHTTP(w, r)
	})
	away.Store(true)
	b.wedge(box)
	b.until("#reading", "Now the reason")
	b.wedge("EDGE-SIZE")
	b.until("#unsent-count", "1 entry is not sent")
	b.open("/machines/L9")
	away.Store(false)
	b.until("#unsent", "nose radius 0.4 mm, this has 0.8")
	values := `[...document.querySelectorAll("form.edge")].map((f) => ["station", "job", "box", "parts"].map((n) => f.elements[n].value).join(" ")).join("; ")`
	b.untilJS(values, "L9/4 J-2  ")
	b.open("/machines/L3")
	b.until("#s4-question", "nose radius 0.4 mm, this has 0.8")
	b.until("#s4-question", "You chose: size")
	b.untilJS(values, "L3/4 J-1 "+box+" 18")
	b.insert("#s4-why", "no other there")
	b.keys(100*time.Millisecond, "\r") // leads to the reason that was chosen
	b.untilJS(`document.activeElement.value`, "size")
	b.keys(100*time.Millisecond, "\r")
	sh.untilRuns("18 size edge 1")
}

// Half a scan presses no button, nor does a space within a code; a locked screen takes no card;
// and what is put in one field while the page changes arrives.
func TestBrowserTornScanPressesNothing(t *testing.T) {
	sh := newShop(t)
	b, box := sh.operator(t, "ivo")
	b.wedge(box)
	b.until("#reading", "Now the reason")
	b.do(chromedp.Focus(worn))
	b.keys(0, "EDGE-CH")
	time.Sleep(200 * time.Millisecond)
	b.keys(0, "IPP\r")
	b.until("#reading", "EDGE-CH is no reason card")
	b.do(chromedp.Focus(worn))
	b.js(`addEventListener("scanned", (e) => { e.preventDefault(); document.body.dataset.read = e.detail; }, { capture: true, once: true }), ""`)
	b.keys(0, "MAKER 12 34\r")
	b.untilJS(`document.body.dataset.read`, "MAKER 12 34")
	b.js(`addEventListener("scanned", (e) => e.preventDefault(), { capture: true, once: true }), ""`) // as the lock does
	b.wedge("EDGE-WORN")
	time.Sleep(300 * time.Millisecond)
	if s := sh.runsSay() + b.text("#unsent"); s != "" {
		t.Errorf("logged: %s", s)
	}
	b.wedge("EDGE-SIZE")
	sh.untilRuns("18 size edge 1")
}

// Several jobs run on one station: the card of one chooses it, and its change is logged on it.
func TestBrowserCardChoosesTheJob(t *testing.T) {
	sh := newShop(t)
	j2, err := sh.store.JobByCode(t.Context(), "J-2")
	must(t, err)
	j2.State = "running"
	j2, err = sh.store.SaveJob(t.Context(), 0, j2)
	must(t, err)
	b, box := sh.operator(t, "ivo")
	b.wedge(*j2.Tag)
	b.until("#reading", "Station 4, "+*j2.Tag+". Scan the box")
	b.untilJS(`document.getElementById("s4-job").value + document.getElementById("s4-parts").value`, "J-2")
	b.wedge(box)
	b.until("#reading", "Now the reason")
	b.insert("#s4-parts", "7")
	b.wedge("EDGE-WORN")
	sh.untilRuns("7 worn edge 1")
	if r := sh.edgeRuns()[0]; r.Job != "J-2" {
		t.Errorf("logged for %s", r.Job)
	}
	b.until("#reading", "Logged edge 1")
	b.insert("#s4-2-made", "9")
	b.keys(0, "\r")
	b.until("#reading", "J-2: 9 of 40 parts made")
}

// The same box stands in two stations: a scan of it does not choose one by itself.
func TestBrowserSameBoxInTwoStations(t *testing.T) {
	sh := newShop(t)
	m, st, err := sh.store.AddMachine(t.Context(), 0, store.Machine{Code: "L9", Name: "Lathe 9"}, []store.Station{{Number: 1, Interface: "VDI50"}, {Number: 2, Interface: "VDI50"}})
	must(t, err)
	box, err := sh.store.ItemByTag(t.Context(), sh.tags("INS-D11-08")[0])
	must(t, err)
	for i, code := range []string{"J-1", "J-2"} {
		j, err := sh.store.JobByCode(t.Context(), code)
		must(t, err)
		j.MachineID, j.StationID, j.State = &m.ID, &st[i].ID, "running"
		j, err = sh.store.SaveJob(t.Context(), 0, j)
		must(t, err)
		_, err = sh.store.LogEdge(t.Context(), sh.op("ivo"), store.EdgeIn{Station: st[i].ID, Item: box.ID, Parts: 10, Reason: life.Worn, After: "none"})
		must(t, err)
	}
	b := sh.browser(t)
	b.login("ivo")
	b.open("/machines/L9")
	b.wedge(box.Tag)
	b.until("#reading", "Several stations run here: tap a field of the station that box")
	b.wedge("EDGE-SIZE")
	b.until("#reading", "Several stations run here: scan the box first")
	b.do(chromedp.Focus("#s2-box"))
	b.keys(0, "x\b")
	time.Sleep(1600 * time.Millisecond) // the same code inside 1.5 s is one reading
	b.wedge(box.Tag)
	b.until("#reading", "Station 2, box "+box.Tag)
	b.insert("#s2-parts", "9")
	b.wedge("EDGE-SIZE")
	for range 100 {
		if r := sh.edgeRuns(); len(r) == 3 {
			if r[0].Station != 2 || r[0].Job != "J-2" {
				t.Errorf("logged on station %d for %s", r[0].Station, r[0].Job)
			}
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Errorf("logged: %s; %s", sh.runsSay(), b.text("#reading"))
}
