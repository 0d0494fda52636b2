package server

import (
	"encoding/csv"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"brasspeg/store"
)

// However the ledger is narrowed, its page and its file show the lines that are meant, all of them
// and no others: held against the whole ledger read line by line.
func TestLedgerNarrowed(t *testing.T) {
	sh := newShop(t)
	bars, lot := sh.tags("BAR-40-470"), sh.tags("INS-D11-08")[0]
	sh.window("brisa").scan("J-1", bars[0], sh.badges["ivo"])
	sh.window("brisa").scan(bars[0], "")
	begun := sh.now // sessions end with the shift, so the days after are booked without one
	ctx := t.Context()
	pick := func(tag string, qty int64) []store.Pick {
		st, err := sh.store.Standing(ctx, tag)
		must(t, err)
		return []store.Pick{{Item: st.ID, Qty: qty}}
	}
	sh.now = begun.Add(26 * time.Hour)
	out, err := sh.store.Issue(ctx, sh.op("tam"), store.IssueIn{Picks: pick(lot, 3), To: sh.people["orla"].PlaceID})
	must(t, err)
	_, err = sh.store.Reverse(ctx, sh.op("tam"), out.OpID, "wrong lot")
	must(t, err)
	_, err = sh.store.Issue(ctx, sh.op("ivo"), store.IssueIn{Picks: pick(bars[1], 1), To: sh.people["ivo"].PlaceID})
	must(t, err)
	sh.now = begun.Add(50 * time.Hour)
	_, err = sh.store.Scrap(ctx, sh.op("brisa"), store.ScrapIn{Picks: pick(bars[0], 1), Reason: "worn out"})
	must(t, err)
	sh.now = begun
	all, err := sh.store.Lines(t.Context(), store.LineFilter{Limit: 1000})
	must(t, err)
	c := sh.as("mads")
	day := func(l store.Line) string { return string(store.DayOf(l.At.Time.Local())) }
	bin, err := sh.store.PlaceByCode(t.Context(), "A1-2")
	must(t, err)
	for _, tt := range []struct {
		query string
		want  func(store.Line) bool
	}{
		{"", func(store.Line) bool { return true }},
		{"what=" + bars[0], func(l store.Line) bool { return l.Tag == bars[0] }},
		{"what=BAR-40-470", func(l store.Line) bool { return l.Part == "BAR-40-470" }},
		{"what=" + *bin.Tag, func(l store.Line) bool { return l.From == "A1-2" || l.To == "A1-2" }},
		{"what=J-1", func(l store.Line) bool { return l.Job == "J-1" }},
		{"what=" + sh.badges["ivo"], func(l store.Line) bool { return l.Actor == "Ivo Lend" || l.From == "Ivo Lend" || l.To == "Ivo Lend" }},
		{"what=orla+vane", func(l store.Line) bool { return l.From == "Orla Vane" || l.To == "Orla Vane" }},
		{"what=tam", func(l store.Line) bool { return l.Actor == "Tam Oster" }},
		{"act=scrap", func(l store.Line) bool { return l.Act == "scrap" }},
		{"act=reverse&what=" + lot, func(l store.Line) bool { return l.Act == "reverse" && l.Tag == lot }},
		{"from=2026-11-26", func(l store.Line) bool { return day(l) >= "2026-11-26" }},
		{"until=2026-11-25", func(l store.Line) bool { return day(l) <= "2026-11-25" }},
		{"from=2026-11-26&until=2026-11-26", func(l store.Line) bool { return day(l) == "2026-11-26" }},
		{"from=2026-11-27&until=2026-11-27&act=issue", func(l store.Line) bool { return false }},
		{"until=2020-01-01", func(l store.Line) bool { return false }},
		{"from=2030-01-01", func(l store.Line) bool { return false }},
	} {
		a := c.get("/ledger?" + tt.query)
		file := c.get("/ledger/table?" + tt.query)
		if a.status != 200 || file.status != 200 {
			t.Fatalf("%s: %d, %d %s", tt.query, a.status, file.status, file.body)
		}
		rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(file.body, "\ufeff"))).ReadAll()
		must(t, err)
		in := map[string]bool{}
		for _, r := range rows[1:] {
			in[r[0]] = true
		}
		n := 0
		for _, l := range all {
			want := tt.want(l)
			if want {
				n++
			}
			if in[fmt.Sprint(l.Seq)] != want {
				t.Errorf("%s: line %d %s %s in the file: %v", tt.query, l.Seq, l.Act, l.Tag, !want)
			}
			if got := strings.Contains(a.body, fmt.Sprintf(`<tr><td data-head="No." class="num">%d</td><td`, l.Seq)); got != want {
				t.Errorf("%s: line %d %s %s on the page: %v", tt.query, l.Seq, l.Act, l.Tag, got)
			}
		}
		if n == 0 && !strings.Contains(a.body, "There is no such line") {
			t.Errorf("%s finds nothing and does not say so", tt.query)
		}
		if len(faults(a.body)) > 0 {
			t.Errorf("%s: %v", tt.query, faults(a.body))
		}
	}
	for query, says := range map[string]string{"what=BAR-40-999": "", "what=" + bars[0][:8]: "", "act=lend": "no act", "from=26.11.2026": "2026", "from=2026-11-27&until=2026-11-26": "before the first", "before=x": "number"} {
		if a := c.get("/ledger?" + query); a.status < 400 || a.status >= 500 || !strings.Contains(a.body, says) {
			t.Errorf("%s: %d %s", query, a.status, a.body)
		}
	}
	if a := sh.as("ivo").get("/ledger/table"); a.status != 403 {
		t.Errorf("an operator has the ledger as a file: %d", a.status)
	}
}

// What no index narrows is looked for a stretch at a time, and every line is reached by the links.
func TestLedgerLooksFurtherBack(t *testing.T) {
	sh := newShop(t)
	bar := sh.tags("BAR-40-470")[0]
	for range 60 {
		sh.window("brisa").scan(bar, sh.badges["ivo"])
		sh.window("brisa").scan(bar, "")
	}
	c := sh.as("mads")
	seen, next, pages := map[string]bool{}, "/ledger?act=issue", 0
	for next != "" && pages < 10 {
		a := c.get(next)
		_, table, _ := strings.Cut(a.body, "<tbody>")
		for _, row := range strings.Split(table, "<tr>")[1:] {
			seq, _, _ := strings.Cut(strings.TrimPrefix(row, `<td data-head="No." class="num">`), "<")
			if seen[seq] {
				t.Fatalf("line %s comes twice", seq)
			}
			seen[seq] = true
		}
		pages++
		_, rest, ok := strings.Cut(a.body, `<p><a href="/ledger?act=issue&amp;before=`)
		next = ""
		if ok {
			before, _, _ := strings.Cut(rest, `"`)
			next = "/ledger?act=issue&before=" + before
		}
	}
	if len(seen) != 60 || pages != 2 {
		t.Errorf("%d of 60 issues on %d pages", len(seen), pages)
	}
}

// The ledger is narrowed by a scan alone, from whatever has the focus.
func TestBrowserLedgerByScan(t *testing.T) {
	sh := newShop(t)
	bar := sh.tags("BAR-40-470")[0]
	sh.window("brisa").scan(bar, sh.badges["ivo"])
	b := sh.browser(t)
	b.login("brisa")
	b.open("/ledger")
	b.wedge(bar)
	b.until(`p[role="status"]`, "Only "+bar)
	b.untilJS(`String(document.querySelectorAll("tbody tr").length)`, "2")
	b.do(chromedp.Focus("#what"))
	b.js(`document.getElementById("what").select(), ""`)
	b.keys(110*time.Millisecond, "ivo")
	b.keys(0, "\r")
	b.until(`p[role="status"]`, "Ivo Lend booked, took or brought")
	b.calm()
}
