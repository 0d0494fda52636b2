package store

import (
	"crypto/rand"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"gorm.io/gorm"
)

func tagsOf(ls []LabelText) []string {
	var out []string
	for _, l := range ls {
		out = append(out, l.Tag)
	}
	return out
}

// Each way to choose names what it says it names, in the order of the drawers, each thing once.
func TestLabelsAreChosen(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		a, b := s.bin("A1-1"), s.bin("B1-1")
		sleeve, ins := s.sleeve("SLV-5032"), s.insert("INS-09-04", 2)
		sleeves := s.receive(sleeve, 2, b)
		boxes := s.receive(ins, 10, a)
		m, stations, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L9", Name: "Lathe 9"}, []Station{{Number: 4, Interface: "VDI50"}})
		s.must(err)
		job, err := s.SaveJob(ctx, s.boss.ID, Job{Code: "J-9", Name: "Sleeve bore", FromDay: "2026-03-17", ToDay: "2026-03-18", Request: "{}"})
		s.must(err)
		place := func(id PlaceID) string { p, err := s.Place(ctx, id); s.must(err); return *p.Tag }
		one, two, lot := sleeves[0].Tag, sleeves[1].Tag, boxes[0].Tag
		var bins []string
		ps, err := s.Places(ctx, Bin)
		s.must(err)
		for _, p := range ps {
			bins = append(bins, *p.Tag)
		}
		for _, c := range []struct {
			query string
			want  []string
		}{
			{one, []string{one}},
			{strings.ToLower(one[:1]) + "-" + strings.ReplaceAll(one[1:8], "0", "O") + one[8:], []string{one}}, // typed off a worn label
			{two + "," + one + "," + two, []string{two, one}},
			{"pieces", []string{one, two}},
			{"lots", []string{lot}},
			{"sleeves", []string{one, two}},
			{"sleeves 50 32", []string{one, two}},
			{"SLV-5032", []string{one, two}},
			{"A1-1", []string{place(a), lot}},
			{"bins", bins},
			{"L9", []string{*m.Tag, place(stations[0].PlaceID)}},
			{"L9/4", []string{place(stations[0].PlaceID)}},
			{"j-9", []string{*job.Tag}},
			{"key 5", []string{"5"}},
			{"new", []string{lot, one, two}},
			{"pieces," + lot, []string{one, two, lot}},
		} {
			ls, err := s.Labels(ctx, c.query)
			if err != nil || !slices.Equal(tagsOf(ls), c.want) {
				t.Errorf("%q chooses %v, %v; want %v", c.query, tagsOf(ls), err, c.want)
			}
		}
		all, err := s.Labels(ctx, "")
		s.must(err)
		// A print on record is drawn again from its tags: the same labels with the same words.
		for _, query := range []string{"", "bins", "stations", "machines", "jobs", "cards", "keys", "reasons", "A1-1", "L9", "L9/4", "pieces", "SLV-5032"} {
			ls, err := s.Labels(ctx, query)
			s.must(err)
			if again, err := s.LabelsOf(ctx, tagsOf(ls)); err != nil || !reflect.DeepEqual(again, ls) {
				t.Errorf("%q, read back by its tags: %v, %v; want %v", query, tagsOf(again), err, tagsOf(ls))
			}
		}
		_, cards := ActCards()
		want := slices.Concat([]string{one, two, lot, place(a), place(b), place(stations[0].PlaceID), *m.Tag, *job.Tag}, cards)
		_, err = s.PrintLabels(ctx, op(s.gate), PrintIn{Tags: []string{one, lot}, Medium: "a4"})
		s.must(err)
		if ls, err := s.Labels(ctx, "new"); err != nil || !slices.Equal(tagsOf(ls), []string{two}) {
			t.Errorf("new, after a print: %v, %v", tagsOf(ls), err)
		}
		for _, w := range want {
			if !slices.Contains(tagsOf(all), w) {
				t.Errorf("all of the shop lacks %s", w)
			}
		}
		for _, l := range all {
			if l.Tag[0] == TagPerson {
				t.Error("a badge is among the labels of the shop")
			}
		}
		n := s.queries(func() { _, err = s.Labels(ctx, "pieces"); s.must(err) })
		s.receive(sleeve, 30, b)
		if more := s.queries(func() { _, err = s.Labels(ctx, "pieces"); s.must(err) }); more != n {
			t.Errorf("%d queries for 2 labels, %d for 32", n, more)
		}
	})
}

// queries counts the reads of f.
func (s *shop) queries(f func()) int {
	n := 0
	name := "count " + rand.Text()
	s.must(s.read.Callback().Query().Before("gorm:query").Register(name, func(*gorm.DB) { n++ }))
	s.must(s.read.Callback().Row().Before("gorm:row").Register(name, func(*gorm.DB) { n++ }))
	s.must(s.read.Callback().Raw().Before("gorm:raw").Register(name, func(*gorm.DB) { n++ }))
	f()
	s.must(s.read.Callback().Query().Remove(name))
	s.must(s.read.Callback().Row().Remove(name))
	s.must(s.read.Callback().Raw().Remove(name))
	return n
}

// What names nothing is refused with what would, and nothing is chosen beside it.
func TestLabelsRefused(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1-1")
		piece := s.receive(s.sleeve("SLV-5032"), 2, bin)
		gone := piece[1]
		_, err := s.Scrap(ctx, op(s.boss), ScrapIn{Picks: []Pick{{Item: gone.ID, Qty: 1}}, Reason: "cracked"})
		s.must(err)
		badge, err := s.SetSecrets(ctx, s.admin.ID, s.op1.ID, "", "", "new")
		s.must(err)
		wrong := piece[0].Tag[:8] + map[bool]string{true: "0", false: "1"}[piece[0].Tag[8] != '0']
		for _, c := range []struct {
			query, says string
			class       error
		}{
			{gone.Tag, "left the shop", ErrRetired},
			{"P00099990", "", ErrBadInput},
			{wrong, piece[0].Tag, ErrBadInput},
			{"no such thing", "nothing here is called", ErrNotFound},
			{piece[0].Tag + ", no such thing", "nothing here is called", ErrNotFound},
			{"people", "secret", ErrForbidden},
			{badge, "secret", ErrForbidden},
			{"key 0", "1 to", ErrBadInput},
		} {
			ls, err := s.Labels(ctx, c.query)
			if !errors.Is(err, c.class) || !strings.Contains(fmt.Sprint(err), c.says) || ls != nil {
				t.Errorf("%q: %d labels, %v; want %v that says %q", c.query, len(ls), err, c.class, c.says)
			}
			if strings.Contains(fmt.Sprint(err), badge) {
				t.Error("the text of a badge is told")
			}
		}
	})
}

// What a label says: the sizes a person looks for, in the unit they were entered in, and what
// must never be done.
func TestLabelSays(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("C4-2")
		says := func(p Part) string {
			it := s.receive(p, 1, bin)[0]
			ls, err := s.Labels(ctx, it.Tag)
			s.must(err)
			l := ls[0]
			out := l.Head + " | " + l.Title
			for _, z := range l.Sizes {
				out += " | " + strings.TrimSpace(z.Name+" "+z.Value+" "+z.Unit)
				if z.Large {
					out += " LARGE"
				}
			}
			for _, n := range l.Never {
				out += " | NEVER " + n
			}
			return out
		}
		for _, c := range []struct {
			code, kind string
			flat       map[string]any
			want       string
		}{
			{"SLV-5032", "sleeve", map[string]any{"DCONMS": 50, "DCONWS": 32, "LSC": 130, "unit": "mm", "type": "split", "for_damped": true},
				"split sleeve | SLV-5032 | outside 50 mm | inside 32 mm | grip 130 mm | NEVER never one sleeve in another"},
			{"BAR-40D", "bar", map[string]any{"DCONMS": 40, "unit": "mm", "construction": "damped_steel", "OAL": 470, "CCWS": "H40", "flat": false},
				"damped steel bar | BAR-40D | diameter 40 mm | length 470 mm | coupling H40 | NEVER full-round clamp only, no screws on this bar"},
			{"BAR-25C", "bar", map[string]any{"DCONMS": 25, "unit": "mm", "construction": "carbide", "OAL": 300, "CCWS": "H25", "flat": false},
				"carbide bar | BAR-25C | diameter 25 mm | length 300 mm | coupling H25 | NEVER brittle: full-round clamp only, no screws on this bar"},
			{"HED-40", "head", map[string]any{"CCMS": "H40", "HAND": "R", "DMIN": 50, "seat": "DCMT11T3", "LF": 32},
				"head | HED-40 | coupling H40 | hand R | pocket DCMT11T3 | smallest bore 50 mm"},
			{"HLD-1", "holder", map[string]any{"interface": "VDI50", "DCONWS": 40, "unit": "mm", "LSC": 165, "clamp": "split"},
				"split holder | HLD-1 | seat VDI50 | bore 40 mm | grip 165 mm"},
			{"INS-1", "insert", map[string]any{"designation": "CCMT 09T304", "seat": "CCMT09T3", "RE": 0.4, "edges": 2},
				"inserts | CCMT 09T304 | radius 0.4 mm LARGE | edges 2"},
		} {
			if got := says(s.part(c.code, c.kind, c.flat)); got != c.want {
				t.Errorf("%s says\n%s, want\n%s", c.code, got, c.want)
			}
		}
	})
}

// Every print is kept, can be read again in its order, and cannot be changed or taken away.
func TestPrintsAreKept(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		piece := s.receive(s.sleeve("SLV-5032"), 3, s.bin("A1-1"))
		tags := []string{piece[2].Tag, piece[0].Tag, "5"}
		o := op(s.gate)
		in := PrintIn{Tags: tags, Medium: "a4", First: 3, Right: -0.4, Down: 0.2}
		for range 2 { // a second try is the same print
			if _, err := s.PrintLabels(ctx, o, in); err != nil {
				t.Fatal(err)
			}
		}
		run, got, err := s.LabelRunOf(ctx, o.ID)
		if err != nil || !slices.Equal(got, tags) || run.First != 3 || run.RightMM != -0.4 || run.DownMM != 0.2 || run.ActorID != s.gate.ID || run.Labels != 3 {
			t.Errorf("on record: %+v, %v, %v", run, got, err)
		}
		s.must(s.PrintedAtConsole(ctx, rand.Text(), PrintIn{Tags: tags[:1], Medium: "50x25", DPI: 203}))
		prints, err := s.LabelPrints(ctx, tags[0])
		if err != nil || len(prints) != 2 || prints[0].Person != "console" || prints[1].Person != "Gil" || prints[1].Medium != "a4" {
			t.Errorf("prints of %s: %+v, %v", tags[0], prints, err)
		}
		if _, err := s.PrintLabels(ctx, op(s.op1), in); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator prints: %v", err)
		}
		for _, bad := range []PrintIn{{Medium: "a4"}, {Tags: []string{"P0000001X"}, Medium: "a4"}, {Tags: tags}, {Tags: tags, Medium: "a4", Right: 11}} {
			if _, err := s.PrintLabels(ctx, op(s.gate), bad); !errors.Is(err, ErrBadInput) {
				t.Errorf("%+v is kept: %v", bad, err)
			}
		}
		for _, q := range []string{"UPDATE label_runs SET medium = 'x'", "DELETE FROM label_prints", "UPDATE label_prints SET tag = 'x'"} {
			if err := s.book(ctx, func(tx *Tx) error { return tx.exec(q) }); err == nil {
				t.Errorf("%s went through", q)
			}
		}
	})
}

// A label on a coolant-side part is due after 180 days, counted from its last print; a lot of
// inserts in a drawer never is.
func TestWornLabels(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		a, b := s.bin("A1-1"), s.bin("B1-1")
		old := s.receive(s.sleeve("SLV-5032"), 2, b)
		s.receive(s.insert("INS-09-04", 2), 10, a)
		s.clock.step(time.Hour)
		_, err := s.PrintLabels(ctx, op(s.gate), PrintIn{Tags: []string{old[1].Tag}, Medium: "a4"})
		s.must(err)
		worn := func() (out []string) {
			ls, err := s.WornLabels(ctx, "")
			s.must(err)
			for _, l := range ls {
				out = append(out, l.Tag)
			}
			return out
		}
		s.clock.step(180*24*time.Hour - time.Hour)
		if got := worn(); len(got) != 0 {
			t.Errorf("after 180 days %v are worn", got)
		}
		s.clock.step(time.Minute)
		if got := worn(); !slices.Equal(got, []string{old[0].Tag}) {
			t.Errorf("after 180 days and a minute %v are worn, want the one without a print", got)
		}
		s.clock.step(24 * time.Hour)
		ls, err := s.WornLabels(ctx, "B1-1")
		if err != nil || len(ls) != 2 || ls[0].Tag != old[0].Tag || ls[0].Days != 181 || !ls[0].Printed.IsZero() || ls[1].Printed.IsZero() {
			t.Errorf("worn in B1-1: %+v, %v", ls, err)
		}
		if ls, err := s.WornLabels(ctx, "A1-1"); err != nil || len(ls) != 0 {
			t.Errorf("worn in A1-1: %+v, %v", ls, err)
		}
		_, err = s.PrintLabels(ctx, op(s.gate), PrintIn{Tags: []string{old[0].Tag, old[1].Tag}, Medium: "a4"})
		s.must(err)
		if got := worn(); len(got) != 0 {
			t.Errorf("renewed, and still worn: %v", got)
		}
	})
}

// A badge is made for its label, and only then; the record of the print does not tell it.
func TestBadgeLabel(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		l, err := s.BadgeLabel(ctx, s.admin.ID, s.op1.ID)
		if err != nil || l.Kind != "person" || !IsBadge(l.Tag) || l.Title != "Opal" {
			t.Fatalf("%+v, %v", l, err)
		}
		if p, err := s.PersonByBadge(ctx, l.Tag); err != nil || p.ID != s.op1.ID {
			t.Errorf("the new badge is of %+v, %v", p, err)
		}
		o := op(s.admin)
		err = s.BadgePrinted(ctx, o, s.op1.ID, "54x86")
		s.must(err)
		_, tags, err := s.LabelRunOf(ctx, o.ID)
		if err != nil || len(tags) != 1 || tags[0] == l.Tag || tags[0][0] != TagPerson {
			t.Errorf("on record: %v, %v", tags, err)
		}
	})
}
