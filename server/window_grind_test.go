package server

import (
	"strings"
	"testing"

	"brasspeg/store"
)

// Out to the grinder and back as it went, by cards and number keys; every page that shows the thing
// says that it is there, since when, and when it is expected.
func TestWindowGrinder(t *testing.T) {
	for _, tt := range []struct {
		what, part string
		out        bool
		scans      []string
		where      string
		due        bool
	}{
		{"a bar off the shelf", "BAR-40-470", false, []string{"card:regrind", "TAG", "14"}, "at the grinder since 2026-11-25, expected back 2026-12-09", true},
		{"the bar first, by a word, nobody knows", "BAR-40-470", false, []string{"TAG", "regrind", ""}, "at the grinder since 2026-11-25", false},
		{"a bar that is out", "BAR-40-470", true, []string{"card:regrind", "TAG", "14"}, "at the grinder since 2026-11-25, expected back 2026-12-09", true},
		{"inserts", "INS-D11-08", false, []string{"card:regrind", "TAG", "4", "14"}, "6 in B1-2, 4 at the grinder since 2026-11-25, expected back 2026-12-09", true},
		{"inserts, all of them", "INS-D11-08", false, []string{"card:regrind", "TAG", "10", "14"}, "10 at the grinder since 2026-11-25, expected back 2026-12-09", true},
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
				if s == "TAG" {
					s = tag
				} else if act, ok := strings.CutPrefix(s, "card:"); ok {
					s = card(t, act)
				}
				if n := sh.movements(); n != before {
					t.Fatalf("booked before scan %d", i)
				}
				if w.scan(s); w.last.status != 200 {
					t.Fatalf("scan %q: %d %s", s, w.last.status, w.last.body)
				}
			}
			if got := sh.where(tag); got != tt.where || sh.movements() != before+1 {
				t.Fatalf("it is %q, want %q; next %q", got, tt.where, w.next())
			}
			for _, path := range []string{"/pieces/" + tag, "/search?q=" + tag, "/search?q=" + tt.part, "/regrind"} {
				a := w.get(path)
				if !strings.Contains(strings.ToLower(a.body), "at the grinder") || !strings.Contains(a.body, tag) || tt.due && !strings.Contains(a.body, "2026-12-09") {
					t.Errorf("%s does not say it", path)
				}
			}
			w.scan(card(t, "undo"))
			if got := sh.where(tag); got != was {
				t.Fatalf("after the undo it is %q, was %q: %s", got, was, w.last.body)
			}
			sh.window("brisa").scan(tt.scans[0:0]...)
			again := sh.window("brisa")
			for _, s := range tt.scans {
				if s == "TAG" {
					s = tag
				} else if act, ok := strings.CutPrefix(s, "card:"); ok {
					s = card(t, act)
				}
				again.scan(s)
			}
			back := sh.window("brisa").scan("RETURN", tag)
			if !strings.Contains(back.next(), "at the grinder") || !strings.Contains(back.next(), "new size") {
				t.Errorf("scanned while it is there: %q %s", back.next(), back.last.body)
			}
			back.scan("")
			if got := sh.where(tag); strings.Contains(got, "grinder") {
				t.Errorf("back, not ground: %q %s", got, back.last.body)
			}
		})
	}
}

// What is promised to a job of a later day asks for a reason at the Window and names job and day.
func TestWindowPromisedLater(t *testing.T) {
	sh := newShop(t)
	tag := sh.tags("BAR-40-470")[0]
	st, err := sh.store.Standing(t.Context(), tag)
	must(t, err)
	j := sh.oneMore("J-LATER", sh.store.Today().Add(20), sh.store.Today().Add(22))
	_, err = sh.store.Reserve(t.Context(), sh.op("mads"), store.ReserveIn{Job: j.ID, Picks: []store.Pick{{Item: st.ID, Qty: 1}}})
	must(t, err)
	before := sh.movements()
	w := sh.window("brisa").scan(tag, sh.badges["ivo"])
	if sh.movements() != before || !strings.Contains(w.reading(), "J-LATER") || !strings.Contains(w.reading(), string(j.FromDay)) || !strings.Contains(w.next(), "reason") {
		t.Fatalf("%d moved; %q / %q", sh.movements()-before, w.reading(), w.next())
	}
	if w.scan("3"); sh.where(tag) != "with Ivo Lend" || sh.last().Reason != promisedReasons[2] {
		t.Errorf("with a reason it is %s, %+v", sh.where(tag), sh.last())
	}
}
