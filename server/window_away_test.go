package server

import (
	"html"
	"slices"
	"strings"
	"testing"

	"brasspeg/store"
	"brasspeg/store/ledger"
)

// card is the tag of an act card.
func card(t testing.TB, act string) string {
	t.Helper()
	names, tags := store.ActCards()
	i := slices.Index(names, act)
	if i < 0 {
		t.Fatalf("no card says %s", act)
	}
	return tags[i]
}

func (sh *shop) last() store.Line {
	sh.t.Helper()
	lines, err := sh.store.Lines(sh.t.Context(), store.LineFilter{Limit: 1})
	must(sh.t, err)
	return lines[0]
}

// Whatever goes to scrap or to be looked at goes once, with a reason that stands in the ledger,
// from the shelf or from a hand, by cards and quantity keys alone; and one undo brings it back.
func TestWindowScrapAndInspect(t *testing.T) {
	for _, tt := range []struct {
		what   string
		out    bool // it is with somebody first
		part   string
		scans  []string // TAG and BIN stand for what is scrapped and its drawer
		act    ledger.Act
		reason string
		qty    int64
		where  string
	}{
		{"a bar off the shelf", false, "BAR-40-470", []string{"card:scrap", "TAG", "3"}, ledger.Scrap, "cracked or bent", 1, "scrapped on 2026-11-25"},
		{"the bar first", false, "BAR-40-470", []string{"TAG", "card:scrap", "WHY seized in the holder"}, ledger.Scrap, "seized in the holder", 1, "scrapped on 2026-11-25"},
		{"the reason first", false, "BAR-40-470", []string{"WHY seized", "TAG", "SCRAP"}, ledger.Scrap, "seized", 1, "scrapped on 2026-11-25"},
		{"a bar that is out", true, "BAR-40-470", []string{"card:scrap", "TAG", "2"}, ledger.Scrap, "broken", 1, "scrapped on 2026-11-25"},
		{"inserts of a lot", false, "INS-D11-08", []string{"card:scrap", "TAG", "4", "1"}, ledger.Scrap, "worn out", 4, "6 in B1-2"},
		{"inserts, the number first", false, "INS-D11-08", []string{"4", "TAG", "card:scrap", "1"}, ledger.Scrap, "worn out", 4, "6 in B1-2"},
		{"inserts scanned twice", false, "INS-D11-08", []string{"card:scrap", "BIN", "TAG", "TAG", "1"}, "", "", 0, ""},
		{"a bar to be looked at, off the shelf", false, "BAR-40-470", []string{"card:inspect", "TAG", "2"}, ledger.Transfer, "scored or bent, to be measured", 1, "held back: scored or bent, to be measured, INSPECTION"},
		{"a bar that is out, to be looked at", true, "BAR-40-470", []string{"card:inspect", "TAG", "WHY hums"}, ledger.Return, "hums", 1, "held back: hums, INSPECTION"},
		{"no reason but Enter", true, "BAR-40-470", []string{"card:inspect", "TAG", ""}, ledger.Return, noReason, 1, "held back: " + noReason + ", INSPECTION"},
	} {
		t.Run(tt.what, func(t *testing.T) {
			sh := newShop(t)
			tag := sh.tags(tt.part)[0]
			if tt.out {
				sh.window("brisa").scan(tag, sh.badges["ivo"])
			}
			was, before := sh.where(tag), sh.movements()
			w := sh.window("brisa")
			for i, s := range tt.scans {
				switch {
				case s == "TAG":
					s = tag
				case s == "BIN":
					bin, err := sh.store.PlaceByCode(t.Context(), "B1-2")
					must(t, err)
					s = *bin.Tag
				default:
					if act, ok := strings.CutPrefix(s, "card:"); ok {
						s = card(t, act)
					}
				}
				if n := sh.movements(); n != before {
					t.Fatalf("%d movements before scan %d", n-before, i)
				}
				w.scan(s)
				if w.last.status != 200 {
					t.Fatalf("scan %q: %d %s", s, w.last.status, w.last.body)
				}
			}
			if tt.act == "" { // one scan more is one more; the reason books them all
				if sh.movements() != before+1 || sh.last().Qty != 2 {
					t.Errorf("two scans scrap %d in %d movements; %s", sh.last().Qty, sh.movements()-before, w.next())
				}
				return
			}
			l := sh.last()
			if n := sh.movements(); n != before+1 || l.Act != tt.act || l.Reason != tt.reason || l.Qty != tt.qty || sh.where(tag) != tt.where {
				t.Fatalf("%d movements, the last is %+v; it is %s; page: %s / %s", n-before, l, sh.where(tag), w.reading(), w.next())
			}
			w.scan(card(t, "undo"))
			if got := sh.where(tag); got != was {
				t.Errorf("after the undo it is %s, was %s: %s", got, was, w.last.body)
			}
		})
	}
}

// What is scrapped, held back or lost says so when it is scanned, and what can be done with it;
// a drawer brings back what is in order again.
func TestWindowKeptBack(t *testing.T) {
	sh := newShop(t)
	bars := sh.tags("BAR-40-470")
	bin, err := sh.store.PlaceByCode(t.Context(), "A1-2")
	must(t, err)
	sh.window("brisa").scan("SCRAP", bars[0], "2")
	w := sh.window("brisa").scan(bars[0])
	if !strings.Contains(w.next(), "was scrapped on 2026-11-25") {
		t.Errorf("a scrapped bar: next is %q", w.next())
	}
	before := sh.movements()
	if w.scan(sh.badges["ivo"]); w.last.status != 409 || !strings.Contains(w.last.body, "broken") {
		t.Errorf("a scrapped bar is handed out: %d %s", w.last.status, w.last.body)
	}
	sh.window("brisa").scan("INSPECT", bars[1], "1")
	w = sh.window("brisa").scan(bars[1])
	if !strings.Contains(w.next(), "scan the drawer") || !strings.Contains(w.next(), "dropped") {
		t.Errorf("a bar held back: next is %q", w.next())
	}
	if w.scan(sh.badges["ivo"]); w.last.status != 409 || sh.movements() != before+1 {
		t.Errorf("a bar held back is handed out: %d %s", w.last.status, w.last.body)
	}
	w = sh.window("brisa").scan(bars[1], *bin.Tag)
	if !strings.Contains(w.next(), "in order again") {
		t.Errorf("with its drawer: next is %q", w.next())
	}
	w.scan("")
	if got := sh.where(bars[1]); got != "A1-2" {
		t.Errorf("released: %s %s", got, w.last.body)
	}
}

// A piece goes among things of another kind only after a question, and what it says names its own
// drawer; into its own, an empty one or one of its kind it goes at once.
func TestWindowStrangeDrawer(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	for _, tt := range []struct {
		bin  string
		asks bool
		says string
	}{{"A1-2", false, ""}, {"C1-1", false, "its own drawer in A1-2"}, {"A1-1", true, "its own drawer in A1-2"}, {"B1-2", true, "its own drawer in A1-2"}} {
		bin, err := sh.store.PlaceByCode(t.Context(), tt.bin)
		must(t, err)
		sh.window("brisa").scan(tag, sh.badges["ivo"])
		for _, order := range [][]string{{tag, *bin.Tag}, {*bin.Tag, tag}} {
			before := sh.movements()
			w := sh.window("brisa").scan(order...)
			if asked := sh.movements() == before; asked != tt.asks || asked && !strings.Contains(w.next(), "own drawer is A1-2") {
				t.Errorf("into %s: asked %v, want %v; next %q", tt.bin, asked, tt.asks, w.next())
			}
			if tt.asks {
				w.scan("")
			}
			if got := sh.where(tag); got != tt.bin || !strings.Contains(w.next(), tt.says) {
				t.Errorf("into %s: it is %s; next %q", tt.bin, got, w.next())
			}
			w.scan(card(t, "undo"))
		}
		sh.window("brisa").scan(tag, "")
	}
}

// The undo card takes the last scan off while nothing is booked of what lies on the Window, and
// reaches for a booking only when the Window is empty. The clear card puts all away.
func TestWindowUndoTakesOffFirst(t *testing.T) {
	sh := newShop(t)
	bars := sh.tags("BAR-40-470")
	w := sh.window("brisa").scan(bars[0], sh.badges["ivo"])
	before := sh.movements()
	w.scan(bars[1], sh.tags("HED-40R")[0], card(t, "undo"))
	if sh.movements() != before || sh.where(bars[0]) != "with Ivo Lend" || !strings.Contains(w.reading(), "Taken off: "+sh.tags("HED-40R")[0]) || !strings.Contains(w.held, bars[1]) {
		t.Errorf("the undo card booked %d movements; %q holds %q", sh.movements()-before, w.reading(), w.held)
	}
	w.scan("SCRAP", card(t, "undo"))
	if strings.Contains(w.held, "SCRAP") || !strings.Contains(w.held, bars[1]) {
		t.Errorf("after SCRAP was taken off it holds %q", w.held)
	}
	w.scan(card(t, "undo"))
	if w.held != "" || sh.movements() != before {
		t.Errorf("it still holds %q after %d movements", w.held, sh.movements()-before)
	}
	w.scan(card(t, "undo"))
	if sh.where(bars[0]) != "A1-2" {
		t.Errorf("the undo card on an empty Window leaves the bar %s", sh.where(bars[0]))
	}
	w.scan(bars[0], bars[1], card(t, "clear"))
	if w.held != "" || !strings.Contains(w.next(), "Put away") {
		t.Errorf("after the clear card it holds %q: %s", w.held, w.last.body)
	}
}

// A job that has no kit says why, and a code that is not ours offers its link to who may make it.
func TestWindowDeadEndsSayWhy(t *testing.T) {
	sh := newShop(t)
	w := sh.window("brisa").scan("J-2")
	if !strings.Contains(w.next(), "J-2 has no kit") {
		t.Errorf("a job that cannot be built: next is %q", w.next())
	}
	w = sh.window("brisa").scan("4006381333931")
	if w.last.status != 404 || w.last.head.Get("HX-Retarget") != "#alert" || !strings.Contains(w.last.body, `href="/codes?code=4006381333931"`) {
		t.Errorf("a foreign code: %d %s", w.last.status, w.last.body)
	}
	if w = sh.window("ivo").scan("4006381333931"); strings.Contains(w.last.body, "/codes") {
		t.Errorf("an operator is offered a link: %s", w.last.body)
	}
	if w = sh.window("brisa").scan("WIFI:S:crib;P:secret;;"); strings.Contains(w.last.body, "secret") {
		t.Errorf("a secret code is shown: %s", w.last.body)
	}
}

// Of several things that moved each has its line, and an insert that comes back with fewer edges is
// one thing with a new tag, not a way through a place that nobody knows.
func TestWindowSaysWhatMoved(t *testing.T) {
	sh := newShop(t)
	bars := sh.tags("BAR-40-470")
	w := sh.window("brisa").scan(bars[0], bars[1], sh.badges["ivo"])
	for _, tag := range bars {
		if !strings.Contains(w.last.body, `<span class="tag">`+tag+`</span> BAR-40-470`) {
			t.Errorf("%s moved and the page does not say so: %s", tag, w.last.body)
		}
	}
	lot := sh.tags("INS-D11-08")[0]
	sh.window("brisa").scan(lot, "3", sh.badges["ivo"])
	w = sh.window("brisa").scan("RETURN", lot, "2", "1", "")
	says := html.UnescapeString(w.reading())
	if want := "Returned 2 × INS-D11-08 " + lot + ", Ivo Lend to part-used inserts, tag there "; !strings.HasPrefix(says, want) || strings.Contains(says, "used up") {
		t.Errorf("part-used inserts: %q, want %q", says, want)
	}
	w.scan(card(t, "undo"))
	if says := w.reading(); !strings.HasPrefix(says, "Undone: 2 × INS-D11-08") || strings.Contains(says, "used up") {
		t.Errorf("their undo: %q", says)
	}
}
