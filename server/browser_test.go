package server

import (
	"context"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"brasspeg/store"
)

var shots = flag.String("shots", "", "folder that gets a picture of each page the browser test walks")

// A browser is a real Chromium with one page of the shop. What its console says is kept.
type browser struct {
	t    *testing.T
	sh   *shop
	ctx  context.Context
	mu   sync.Mutex
	said []string
	torn bool // a scan was torn apart by a busy machine, so the server may have refused a half
}

func (sh *shop) browser(t *testing.T) *browser {
	t.Helper()
	bin, err := exec.LookPath("chromium")
	if err != nil {
		t.Log("SKIPPED: there is no chromium on this machine")
		t.Skip("SKIPPED: there is no chromium on this machine")
	}
	limit, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	t.Cleanup(cancel)
	alloc, stop := chromedp.NewExecAllocator(limit, chromedp.ExecPath(bin), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(t.TempDir()), chromedp.WindowSize(1280, 900), chromedp.Flag("no-proxy-server", true), chromedp.Flag("disable-background-networking", true))
	t.Cleanup(stop)
	ctx, end := chromedp.NewContext(alloc)
	t.Cleanup(end)
	b := &browser{t: t, sh: sh, ctx: ctx}
	must(t, chromedp.Listen(ctx, func(ev any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		switch e := ev.(type) {
		case *cdplog.EventEntryAdded:
			b.said = append(b.said, e.Entry.Text+" "+e.Entry.URL)
		case *runtime.EventExceptionThrown:
			b.said = append(b.said, e.ExceptionDetails.Text+" "+exceptionText(e))
		}
	}))
	return b
}

// do takes the steps one after the other. An element that the page puts anew between being found
// and being used was not used: it is looked for again, as a person would.
func (b *browser) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	for _, a := range actions {
		err := chromedp.Do(b.ctx, a)
		for n := 0; stale(err) && n < 20; n++ {
			time.Sleep(50 * time.Millisecond)
			err = chromedp.Do(b.ctx, a)
		}
		if err != nil {
			b.t.Fatalf("browser: %v; console: %v", err, b.said)
		}
	}
}

// stale reports what Chromium says of an element that is no longer on the page.
func stale(err error) bool {
	return err != nil && (strings.Contains(err.Error(), "No node with given id found") ||
		strings.Contains(err.Error(), "Could not find node with given id") ||
		strings.Contains(err.Error(), "Node is detached from document"))
}

func (b *browser) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.sh.http.URL+path), chromedp.WaitReady("main"))
	b.settle()
}

// settle waits until the page's own scripts have run: a scan into a page that is still loading
// meets nobody.
func (b *browser) settle() {
	b.t.Helper()
	for range 400 {
		if done, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`document.readyState === "complete"`)); err == nil && done {
			return // an error is a page that is just being left
		}
		time.Sleep(25 * time.Millisecond)
	}
	b.t.Fatal("the page does not finish loading")
}

// login logs in on the page itself: the badge by scanner, the PIN by keyboard.
func (b *browser) login(who string) {
	b.t.Helper()
	b.open("/login")
	b.wedge(b.sh.badges[who])
	b.do(chromedp.WaitVisible("#pin:focus"))
	b.do(chromedp.SendKeys("#pin", testPIN))
	b.untilJS(`document.getElementById("pin").value`, testPIN) // keys reach a field after the gap in which they could be a scan's
	b.do(chromedp.Click("#by-badge ~ form button"), chromedp.WaitVisible(".who"))
}

// wedge sends text as a scanner does: keys by their place on the keyboard, fast, then Enter.
// A machine that was busy for longer than a scanner's gap in the middle has sent no scan; then
// it is sent again, as a person would.
func (b *browser) wedge(text string) {
	b.t.Helper()
	b.settle()
	for range 5 {
		if b.keys(0, text+"\r") < 60*time.Millisecond {
			return
		}
		b.torn = true
		b.t.Log("the machine was too busy to type like a scanner; once more")
		time.Sleep(1600 * time.Millisecond) // longer than the page takes two readings for one
		_, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`document.querySelectorAll("#badge, #scan").forEach((e) => { e.value = ""; }) === undefined`))
		must(b.t, err)
	}
	b.t.Fatal("the machine is too busy to type like a scanner")
}

// keys presses keys one after the other, with a pause after each. It returns the longest time
// between two of them, the last one left out.
func (b *browser) keys(pause time.Duration, text string) (slowest time.Duration) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		last := time.Now()
		for i, r := range text {
			if gap := time.Since(last); i > 0 && i < len(text)-1 {
				slowest = max(slowest, gap)
			}
			last = time.Now()
			key := strings.ToLower(string(r)) // no shift is held: only the place of the key is right
			down := input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeKeyDown, Key: key, Code: "Key" + strings.ToUpper(key), Text: key}
			switch {
			case r >= '0' && r <= '9':
				down.Code = "Digit" + key
			case r == '-':
				down.Code = "Minus"
			case r == ',':
				down.Code = "Comma"
			case r == ' ':
				down.Code = "Space"
			case r == '\b':
				down.Key, down.Code, down.Text, down.WindowsVirtualKeyCode = "Backspace", "Backspace", "", 8
			case r == '\r':
				down.Key, down.Code = "Enter", "Enter"
			}
			up := down
			up.Type, up.Text = input.DispatchKeyEventTypeKeyUp, ""
			for _, k := range []input.DispatchKeyEventParams{down, up} {
				if _, err := cdp.Call(ctx, t, input.DispatchKeyEvent, k); err != nil {
					return chromedp.Void{}, err
				}
			}
			time.Sleep(pause)
		}
		return chromedp.Void{}, nil
	})
	return slowest
}

// text is what an element says, "" while it is not there.
func (b *browser) text(sel string) string {
	b.t.Helper()
	return b.ask(`document.querySelector(` + strconv.Quote(sel) + `)?.textContent ?? ""`)
}

// ask asks the page; what is asked may be a promise. A page that is just being left has no answer,
// and the one that follows is asked.
func (b *browser) ask(expr string) string {
	b.t.Helper()
	s, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](expr, chromedp.EvalAwaitPromise))
	for n := 0; left(err) && n < 40; n++ {
		time.Sleep(50 * time.Millisecond)
		s, err = chromedp.Run(b.ctx, chromedp.Evaluate[string](expr, chromedp.EvalAwaitPromise))
	}
	must(b.t, err)
	return s
}

// left reports what Chromium says when the page was left while it was asked.
func left(err error) bool {
	return err != nil && (strings.Contains(err.Error(), "Inspected target navigated or closed") ||
		strings.Contains(err.Error(), "Execution context was destroyed") || strings.Contains(err.Error(), "Cannot find context with specified id"))
}

// until waits for words in an element; a page that does not say them fails with what it says.
func (b *browser) until(sel, words string) {
	b.t.Helper()
	for range 100 {
		if strings.Contains(b.text(sel), words) {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.t.Fatalf("%s says %q, want %q; console: %v", sel, b.text(sel), words, b.said)
}

func (b *browser) shot(name string) {
	if *shots == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(90))
	must(b.t, err)
	must(b.t, os.MkdirAll(*shots, 0o755))
	must(b.t, os.WriteFile(filepath.Join(*shots, name+".jpg"), png, 0o644))
}

func TestBrowserIssue(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("brisa")
	tag := sh.tags("BAR-40-470")[0]
	before := sh.movements()

	b.wedge(sh.badges["ivo"])
	b.until("#hand", "Ivo Lend")
	b.shot("window-badge")
	b.wedge(tag)
	b.until("#reading", "Issued 1 × BAR-40-470 "+tag)
	b.until("#today ~ div", tag) // the list below is fetched anew
	b.shot("window-issued")
	lines, err := sh.store.Lines(t.Context(), store.LineFilter{Limit: 1})
	must(t, err)
	if l := lines[0]; sh.movements() != before+1 || l.Tag != tag || l.To != "Ivo Lend" || l.Actor != "Brisa Tollan" {
		t.Errorf("%d movements, the last is %+v", sh.movements()-before, l)
	}

	// The scanner reads the same tag twice in a moment: one booking, and the page says so.
	b.wedge(sh.badges["orla"])
	b.until("#hand", "Orla Vane")
	other := sh.tags("BAR-40-470")[1]
	b.wedge(other)
	b.wedge(other)
	b.until("#alert", "read twice")
	b.until("#reading", "Issued 1 × BAR-40-470 "+other)
	if n := sh.movements(); n != before+2 {
		t.Errorf("%d movements after a double read, want 2", n-before)
	}

	b.do(chromedp.Click("#undo button"))
	b.until("#reading", "Undone")
	if got := sh.where(other); got != "A1-2" {
		t.Errorf("after the undo the bar is %s", got)
	}
	b.calm()
}

// A scan that comes while a field has the focus is not typed into it, and what a person types
// there is.
func TestBrowserScanIsNotTyped(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("brisa")
	b.do(chromedp.Focus("#scan"))
	b.wedge(sh.badges["ivo"])
	b.until("#hand", "Ivo Lend")
	b.do(chromedp.Focus("#scan"))
	b.keys(120*time.Millisecond, "clear")
	value, err := chromedp.Run(b.ctx, chromedp.Value("#scan"))
	must(t, err)
	if value != "clear" {
		t.Errorf("the field holds %q after a scan and typing, want what was typed", value)
	}
	b.keys(0, "\r")
	b.until("#hand", "Put away")
	b.calm()
}

// Where the network loses the answer, the page sends the same op id again until it has one.
func TestBrowserLostAnswer(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("brisa")
	tag := sh.tags("BAR-40-470")[0]
	before := sh.movements()
	b.wedge(sh.badges["ivo"])
	b.until("#hand", "Ivo Lend")
	// The first answer is thrown away after the server has booked.
	_, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`(() => { const real = window.fetch; let first = true;
		window.fetch = async (...a) => { const r = await real(...a); if (first) { first = false; throw new TypeError("lost"); } return r; }; return true; })()`))
	must(t, err)
	b.wedge(tag)
	b.until("#alert", "Trying again")
	b.until("#reading", "Issued 1 × BAR-40-470 "+tag)
	if n := sh.movements(); n != before+1 {
		t.Errorf("%d movements, want 1", n-before)
	}
}

func TestBrowserWalk(t *testing.T) {
	sh := newShop(t)
	sh.window("brisa").scan(sh.tags("BAR-40-470")[0], sh.badges["ivo"])
	b := sh.browser(t)
	b.open("/login")
	b.shot("login")
	b.login("mads")
	for _, path := range sh.pagesOfShop() {
		if path == "/nothing-here" {
			continue // its 404 is in the console
		}
		t.Log(path)
		b.open(path)
		b.shot(strings.Trim(strings.NewReplacer("/", "-", "?", "-", "=", "-", "+", "-").Replace(path), "-"))
		for _, width := range []int64{1280, 640} { // 640 is what 200 % zoom leaves of 1280
			b.width(width)
			wide, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > document.documentElement.clientWidth + 1`))
			must(t, err)
			if wide {
				t.Errorf("%s is wider than a window of %d px", path, width)
			}
		}
		b.shot("narrow" + strings.NewReplacer("/", "-", "?", "-", "=", "-", "+", "-").Replace(path))
		b.width(1280)
		for _, fault := range faults(b.html()) {
			t.Errorf("%s: %s", path, fault)
		}
	}
	b.calm()
}

func (b *browser) width(px int64) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: px, Height: 900, DeviceScaleFactor: 1})
		return chromedp.Void{}, err
	})
}

func (b *browser) html() string {
	b.t.Helper()
	s, err := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.documentElement.outerHTML"))
	must(b.t, err)
	return s
}

// calm fails when the browser complained: of a broken content policy, of script, of a file
// that is not there.
func (b *browser) calm() {
	b.t.Helper()
	for _, s := range b.said {
		if b.torn && strings.Contains(s, "/window/scan") {
			continue
		}
		b.t.Errorf("the browser's console: %s", s)
	}
}

func exceptionText(e *runtime.EventExceptionThrown) string {
	if o := e.ExceptionDetails.Exception; o != nil {
		return o.Description
	}
	return ""
}
