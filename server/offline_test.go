package server

import (
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"brasspeg/store"
	"brasspeg/store/life"
)

var staticURL = regexp.MustCompile(`/static/[A-Za-z0-9._/-]+\.(?:css|js|svg|ttf)`)

// The worker keeps every file that the page of a machine needs, those that its files need
// included: one that is missing would leave the page without its script where nobody can fetch it.
func TestWorkerKeepsAllFilesOfTheMachinePage(t *testing.T) {
	sh := newShop(t)
	sh.runs()
	worker := sh.visitor().get("/offline.js")
	if worker.status != 200 || worker.head.Get("Content-Type") != "text/javascript; charset=utf-8" || worker.head.Get("Cache-Control") != "no-store" || worker.head.Get("Content-Security-Policy") != contentPolicy {
		t.Fatalf("%d %v", worker.status, worker.head)
	}
	kept := map[string]bool{}
	for _, u := range staticURL.FindAllString(worker.body, -1) {
		kept[u] = true
		if f := sh.server.assets.byURL[u]; f == nil {
			t.Errorf("the worker keeps %s, which has no hash or is not there", u)
		}
	}
	todo := staticURL.FindAllString(sh.as("ivo").get("/machines/L3").body, -1)
	for seen := map[string]bool{}; len(todo) > 0; todo = todo[1:] {
		u := todo[0]
		if seen[u] {
			continue
		}
		seen[u] = true
		if !kept[u] {
			t.Errorf("the page of a machine needs %s, which the worker does not keep", u)
		}
		if strings.HasSuffix(u, ".css") || strings.HasSuffix(u, ".js") && !strings.Contains(u, ".min.") {
			todo = append(todo, staticURL.FindAllString(sh.visitor().get(u).body, -1)...)
		}
	}
}

// offline takes the network from the page, and the server from everything else in the browser:
// what is emulated for a page does not reach its worker. back gives both again.
func (b *browser) offline() (back func()) {
	b.t.Helper()
	sh, addr := b.sh, b.sh.http.Listener.Addr().String()
	emulate := func(off bool) {
		b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
			if _, err := cdp.Call(ctx, t, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
				MatchedNetworkConditions: []*network.Conditions{{Offline: off, DownloadThroughput: -1, UploadThroughput: -1}}}); err != nil {
				return chromedp.Void{}, err
			}
			_, err := cdp.Call(ctx, t, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: off, DownloadThroughput: -1, UploadThroughput: -1})
			return chromedp.Void{}, err
		})
	}
	emulate(true)
	sh.http.CloseClientConnections()
	sh.http.Close()
	return func() {
		ln, err := net.Listen("tcp", addr)
		must(b.t, err)
		sh.http = &httptest.Server{Listener: ln, Config: &http.Server{Handler: sh.server.Handler()}}
		sh.http.Start()
		b.t.Cleanup(sh.http.Close)
		emulate(false)
	}
}

// js asks the page; what is asked may be a promise.
func (b *browser) js(expr string) string {
	b.t.Helper()
	return b.ask(expr)
}

func (b *browser) untilJS(expr, want string) {
	b.t.Helper()
	got := ""
	for range 200 {
		if got = b.js(expr); got == want {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.t.Fatalf("%s is %q, want %q; console: %v", expr, got, want, b.said)
}

// keptPages are the addresses of the pages that the worker keeps.
const keptPages = `(async () => { const all = [];
	for (const n of await caches.keys()) if (n.startsWith("brasspeg pages")) for (const r of await (await caches.open(n)).keys()) all.push(new URL(r.url).pathname);
	return all.join(" "); })()`

// The page of a machine is opened anew without a network, twice, with a change logged each
// time: both are booked once each when the network is back, in their order. Log-out forgets the
// page.
func TestBrowserMachineOpenedAnewOffline(t *testing.T) {
	sh := newShop(t)
	job := sh.runs()
	_, err := sh.store.PartsMade(t.Context(), sh.op("ivo"), store.MadeIn{Job: job.ID, Count: 18})
	must(t, err)
	box := sh.tags("INS-D11-08")[0]
	b := sh.browser(t)
	b.login("ivo")
	b.open("/machines/L3")
	b.untilJS(keptPages, "/machines/L3")
	b.untilJS(`String(!!navigator.serviceWorker.controller)`, "true")

	// One change goes through, so that the first kept page is not the newest word on its station.
	change := func(parts, card, says string) {
		b.wedge(box)
		b.until("#reading", "Now the reason")
		b.do(chromedp.SetValue("#s4-parts", parts))
		b.wedge(card)
		b.until("#reading", says)
	}
	change("12", "EDGE-WORN", "Logged edge 1")

	back := b.offline()
	b.open("/machines/L3")
	b.until("h1", "Lathe 3")
	b.until("#unsent-count", "Offline: no changes wait")
	b.until("#unsent-count", "This page is as it was at")
	b.shot("machine-opened-offline")
	change("13", "EDGE-CHIPPED", "Taken")
	b.until("#unsent-count", "Offline: 1 change waits")
	b.open("/machines/L3")
	b.until("#unsent-count", "Offline: 1 change waits")
	if s := b.js(`document.getElementById("s4-parts").value`); s != "" {
		t.Errorf("parts of the next edge are proposed as %q, from before the change that waits", s)
	}
	change("11", "EDGE-PLANNED", "Taken")
	b.until("#unsent-count", "Offline: 2 changes wait")
	b.shot("machine-offline-waits")
	if s := b.js(`fetch("/api/v1/edges", { method: "POST", body: "{}" }).then((r) => "answered " + r.status, () => "no answer")`); s != "no answer" {
		t.Errorf("a write without a server: %s", s)
	}
	if n := len(sh.edgeRuns()); n != 1 {
		t.Errorf("%d runs while the network was away", n)
	}

	back()
	for range 400 {
		if len(sh.edgeRuns()) == 3 && b.text("#unsent-count") == "" {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if s := b.text("#unsent"); s != "" {
		t.Errorf("still on screen: %q", s)
	}
	var got []string
	for _, r := range sh.edgeRuns() {
		got = append(got, string(r.Reason))
	}
	if s := strings.Join(got, ", "); s != "planned, chipped, worn" {
		t.Errorf("booked, newest first: %s", s)
	}
	b.until("#seats", "Edge 2 of 2") // the page itself is fresh again
	if rep, err := sh.store.Verify(t.Context()); err != nil || len(rep.Faults) > 0 {
		t.Errorf("verify: %v, %v", rep.Faults, err)
	}

	b.do(chromedp.Click(".who button"), chromedp.WaitVisible("#badge"))
	b.untilJS(keptPages, "")
}

// What one person entered is not sent as another's.
func TestBrowserAnothersChangesWait(t *testing.T) {
	sh := newShop(t)
	sh.runs()
	box := sh.tags("INS-D11-08")[0]
	b := sh.browser(t)
	b.login("ivo")
	b.open("/machines/L3")
	b.untilJS(keptPages, "/machines/L3")
	back := b.offline()
	b.wedge(box)
	b.until("#reading", "Now the reason")
	b.do(chromedp.SetValue("#s4-parts", "12"))
	b.wedge("EDGE-WORN")
	b.until("#unsent-count", "Offline: 1 change waits")
	// His session ends while he is away, and somebody else logs in on the device.
	_, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`location.assign("about:blank") === undefined`))
	must(t, err)
	b.do(chromedp.WaitReady("body"), func(ctx context.Context, tg *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, tg, network.ClearBrowserCookies, cdp.Empty{})
		return chromedp.Void{}, err
	})
	back()
	b.login("brisa")
	b.until("#unsent-count", "of Ivo Lend not sent yet")
	time.Sleep(time.Second)
	if n := len(sh.edgeRuns()); n != 0 {
		t.Fatalf("%d runs, booked as %+v", n, sh.edgeRuns()[0].ActorID)
	}
	b.do(func(ctx context.Context, tg *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, tg, network.ClearBrowserCookies, cdp.Empty{})
		return chromedp.Void{}, err
	})
	b.login("ivo")
	for range 200 {
		if len(sh.edgeRuns()) == 1 {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	ivo, err := sh.store.PersonByBadge(t.Context(), sh.badges["ivo"])
	must(t, err)
	if runs := sh.edgeRuns(); len(runs) != 1 || runs[0].ActorID != ivo.ID || runs[0].Reason != life.Worn {
		t.Errorf("%+v", runs)
	}
}
