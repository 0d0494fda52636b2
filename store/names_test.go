package store

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"brasspeg/store/standard"
)

// enter saves an entry and fails the test if it is refused.
func (s *shop) enter(e PartEntry) Part {
	s.t.Helper()
	f, err := Fill(e)
	s.must(err)
	p, err := s.EnterPart(ctx, s.boss.ID, f, false)
	s.must(err)
	return p
}

func (s *shop) facts(p Part) map[string]Fact {
	s.t.Helper()
	all, err := s.Facts(ctx, p.ID)
	s.must(err)
	m := map[string]Fact{}
	for _, f := range all {
		m[f.Symbol] = f
	}
	return m
}

// A name fills what it says, a value entered is kept as such, and where a letter means
// "special" the value is asked for. Expected values: ISO 1832 and ISO 6261 as in
// testdata/standard (insert_examples.csv, boring_bar_examples.csv).
func TestFill(t *testing.T) {
	for _, tt := range []struct {
		name   string
		e      PartEntry
		want   map[string]string // symbol -> value|origin
		edges  int
		asks   []string
		refuse string // field of the refusal
		says   string
	}{
		{"inch insert", PartEntry{Kind: "insert", Designation: "CNMG 432"}, map[string]string{"seat": `"CNMG1204"|designation`, "RE": "0.8|designation", "IC": "12.7|designation", "EPSR": "80|designation"}, 4, nil, "", ""},
		{"the same value typed is the name's", PartEntry{Kind: "insert", Designation: "CNMG 120408", Values: map[string]string{"RE": "0,8 mm"}}, map[string]string{"RE": "0.8|designation"}, 4, nil, "", ""},
		{"bar", PartEntry{Kind: "bar", Designation: "A25T-SCLCR 09", Values: map[string]string{"seat": "CCMT09T3"}}, map[string]string{"DCONMS": "25|designation", "LF": "300|designation", "OAL": "300|designation", "construction": `"steel"|designation`, "HAND": `"R"|designation`, "KAPR": "95|designation", "coolant": "true|designation", "seat": `"CCMT09T3"|entered`}, 0, []string{"seat"}, "", ""},
		{"a measured length wins", PartEntry{Kind: "bar", Designation: "A25T-SCLCR 09", Values: map[string]string{"LF": "290 mm"}, ByMaker: []string{"LF"}}, map[string]string{"LF": "290|maker", "OAL": "290|maker"}, 0, []string{"seat"}, "", ""},
		{"X asks for the length", PartEntry{Kind: "bar", Designation: "A25X-SCLCR 09"}, map[string]string{"DCONMS": "25|designation"}, 0, []string{"LF", "seat"}, "", ""},
		{"coupling named", PartEntry{Kind: "head", Designation: "H25-SCLCR09"}, map[string]string{"CCMS": `"H25"|designation`, "HAND": `"R"|designation`}, 0, []string{"seat"}, "", ""},
		{"coupling not named", PartEntry{Kind: "head", Designation: "SCLCL09"}, map[string]string{"HAND": `"L"|designation`}, 0, []string{"CCMS", "seat"}, "", ""},
		{"fitting", PartEntry{Kind: "fitting", Designation: "M:G 3/8 x F:G 1/4"}, map[string]string{"ends": `["M:G 3/8","F:G 1/4"]|designation`}, 0, nil, "", ""},
		{"inch sleeve", PartEntry{Kind: "sleeve", Designation: `1.5 in x 1-1/4 in`}, map[string]string{"DCONMS": "38.1|designation", "DCONWS": "31.75|designation", "unit": `"in"|entered`}, 0, nil, "", ""},
		{"sleeve of two units", PartEntry{Kind: "sleeve", Values: map[string]string{"DCONMS": "40 mm", "DCONWS": "1 in"}}, map[string]string{"DCONMS": "40|entered", "DCONWS": "25.4|entered", "unit": `"mm/in"|entered`}, 0, nil, "", ""},
		{"sleeve without a unit asks", PartEntry{Kind: "sleeve", Designation: "50/32"}, map[string]string{}, 0, []string{"DCONMS"}, "", ""},
		{"holder", PartEntry{Kind: "holder", Designation: "VDI 50 E2-50"}, map[string]string{"interface": `"VDI50"|designation`}, 0, nil, "", ""},
		{"one spelling of a seat", PartEntry{Kind: "holder", Values: map[string]string{"interface": "vdi 50"}}, map[string]string{"interface": `"VDI50"|entered`}, 0, nil, "", ""},
		{"a bare number is neither", PartEntry{Kind: "sleeve", Values: map[string]string{"DCONMS": "1.25"}}, nil, 0, nil, "DCONMS", "1.25 mm or 1.25 in"},
		{"no insert", PartEntry{Kind: "insert", Designation: "CXMG 120408"}, nil, 0, nil, "designation", "X"},
		{"no such value", PartEntry{Kind: "insert", Values: map[string]string{"OAL": "3 mm"}}, nil, 0, nil, "OAL", "no value"},
		{"no such kind", PartEntry{Kind: "drill"}, nil, 0, nil, "kind", "holder"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f, err := Fill(tt.e)
			if tt.refuse != "" {
				r, ok := errors.AsType[*Refusal](err)
				if !ok || r.Field != tt.refuse || !errors.Is(err, ErrBadInput) || !strings.Contains(r.Says, tt.says) {
					t.Fatalf("refused with %v, want field %s saying %q", err, tt.refuse, tt.says)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			have := map[string]string{}
			for _, x := range f.In.Facts {
				have[x.Symbol] = x.Value + "|" + x.Origin
			}
			for sym, want := range tt.want {
				if have[sym] != want {
					t.Errorf("%s is %q, want %q", sym, have[sym], want)
				}
			}
			if f.In.Part.Edges != tt.edges {
				t.Errorf("%d edges, want %d", f.In.Part.Edges, tt.edges)
			}
			var asks []string
			for _, a := range f.Told.Asks {
				asks = append(asks, a.Symbol)
				if a.Question == "" {
					t.Errorf("%s is asked without a question", a.Symbol)
				}
			}
			if !slices.Equal(asks, tt.asks) {
				t.Errorf("asks %v, want %v", asks, tt.asks)
			}
		})
	}
}

// Whatever a name says survives being saved: every insert and bar of the reference tables.
func TestEnteredFromEveryName(t *testing.T) {
	s := newShop(t, false)
	n := 0
	for kind, file := range map[string]string{"insert": "insert_examples.csv", "bar": "boring_bar_examples.csv"} {
		for _, row := range csvRows(t, "../testdata/standard/"+file) {
			name := row["designation"]
			f, err := Fill(PartEntry{Kind: kind, Code: fmt.Sprintf("%s-%d", kind, n), Designation: name})
			if err != nil {
				t.Errorf("%s %q: %v", kind, name, err)
				continue
			}
			for _, a := range f.Told.Asks {
				v := map[string]string{"seat": "CCMT09T3", "LF": "250 mm", "KAPR": "93", "edges": "2", "AN": "7"}[a.Symbol]
				if v == "" {
					t.Errorf("%s: %s is asked for unexpectedly", name, a.Symbol)
				}
			}
			if kind == "bar" {
				f.In.Facts = append(slices.DeleteFunc(f.In.Facts, func(x Fact) bool { return x.Symbol == "seat" }), Fact{Symbol: "seat", Value: `"CCMT09T3"`})
			}
			p, err := s.EnterPart(ctx, s.boss.ID, f, true)
			if err != nil {
				t.Errorf("%s %q: %v", kind, name, err)
				continue
			}
			n++
			for _, x := range f.Told.Facts {
				if got := s.facts(p)[x.Symbol]; x.Symbol != "seat" && (got.Value != x.Value || got.Origin != ByDesignation) {
					t.Errorf("%s %q: %s saved as %+v, want %+v", kind, name, x.Symbol, got, x)
				}
			}
		}
	}
	if n < 50 {
		t.Errorf("only %d names were saved", n)
	}
	if _, err := s.Shelf(ctx); err != nil {
		t.Errorf("the stack room does not read what was saved: %v", err)
	}
}

// The same thing under three numbers: a name that means what the shop has warns with what and
// where, and is saved only when confirmed.
func TestDoubles(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("C9")
		has := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408", Maker: "Quell", MakerCode: "Q 432-8", Grade: "K7"})
		s.receive(has, 6, bin)
		s.enter(PartEntry{Kind: "sleeve", Code: "SLV-1", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": "130 mm", "type": "split"}})
		sleeve := func(lsc, kind string) PartEntry {
			return PartEntry{Kind: "sleeve", Code: "NEW", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": lsc, "type": kind}}
		}
		for _, tt := range []struct {
			name string
			e    PartEntry
			of   string // "" : not a double
		}{
			{"inch name, same grade", PartEntry{Kind: "insert", Designation: "CNMG 432", Grade: "k7"}, "INS-C09"},
			{"inch name, grade not said", PartEntry{Kind: "insert", Designation: "cnmg 12 04 08"}, "INS-C09"},
			{"another grade", PartEntry{Kind: "insert", Designation: "CNMG 432", Grade: "K9"}, ""},
			{"another radius", PartEntry{Kind: "insert", Designation: "CNMG 431", Grade: "K7"}, ""},
			{"another tolerance is another thing", PartEntry{Kind: "insert", Designation: "CNGG 120408", Grade: "K7"}, ""},
			{"same maker's code", PartEntry{Kind: "insert", Values: map[string]string{"seat": "CNMG1204"}, Maker: "quell", MakerCode: "q 432-8"}, "INS-C09"},
			{"same sizes, inches typed", PartEntry{Kind: "sleeve", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": "130.0 mm"}}, "SLV-1"},
			{"longer sleeve", sleeve("150 mm", "split"), ""},
			{"solid sleeve", sleeve("130 mm", "solid"), ""},
			{"31.75 is not 32", PartEntry{Kind: "sleeve", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "1-1/4 in", "LSC": "130 mm"}}, ""},
		} {
			tt.e.Code = "NEW"
			f, err := Fill(tt.e)
			s.must(err)
			same, err := s.Doubles(ctx, f.In)
			s.must(err)
			got := ""
			if len(same) > 0 {
				got = same[0].Code
			}
			if got != tt.of {
				t.Errorf("%s: a double of %q, want %q", tt.name, got, tt.of)
			}
		}
		f, err := Fill(PartEntry{Kind: "insert", Code: "INS-X", Designation: "CNMG 432"})
		s.must(err)
		_, err = s.EnterPart(ctx, s.boss.ID, f, false)
		d, ok := errors.AsType[*Double](err)
		if !ok || !errors.Is(err, ErrExists) {
			t.Fatalf("saved without a warning: %v", err)
		}
		for _, w := range []string{"INS-C09", "CNMG 120408", "6 in C9"} {
			if !strings.Contains(d.Error(), w) {
				t.Errorf("the warning %q does not say %q", d.Error(), w)
			}
		}
		if d.Of[0].OnHand != 6 {
			t.Errorf("the warning says %d on hand, want 6", d.Of[0].OnHand)
		}
		if _, err := s.EnterPart(ctx, s.boss.ID, f, true); err != nil {
			t.Errorf("confirmed, and refused all the same: %v", err)
		}
	})
}

// Merge 6 + 9 pieces: 15, both codes still scan and search, history kept, and taken apart again.
func TestMerge(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin, other := s.bin("C9"), s.bin("C10")
		keep := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408"})
		f, err := Fill(PartEntry{Kind: "insert", Code: "INS-432", Designation: "CNMG 432"})
		s.must(err)
		gone, err := s.EnterPart(ctx, s.boss.ID, f, true)
		s.must(err)
		screw := s.part("SCR-1", "spare", map[string]any{})
		in := PartIn{Part: gone, Needs: map[PartID]int{screw.ID: 2}, Facts: f.In.Facts}
		gone, err = s.SavePart(ctx, s.boss.ID, in)
		s.must(err)
		a, b := s.receive(keep, 6, bin)[0], s.receive(gone, 9, other)[0]
		_, err = s.LinkCode(ctx, op(s.gate), "401234567890", gone.ID)
		s.must(err)
		if _, err := s.Shelf(ctx); err != nil {
			t.Fatal(err)
		}

		o := op(s.boss)
		s.must(s.write.Exec("INSERT INTO suppliers (code, name, created_at) VALUES ('S', 'S', ?)", At(s.Now())).Error)
		s.must(s.write.Exec("INSERT INTO orders (code, supplier_id, state, cutoff_day, made_by, made_at) VALUES ('O-1', (SELECT max(id) FROM suppliers), 'draft', '2026-03-20', ?, ?)", s.boss.ID, At(s.Now())).Error)
		s.must(s.write.Exec("INSERT INTO order_lines (order_id, part_id, pieces, pack) VALUES ((SELECT max(id) FROM orders), ?, 20, 10)", gone.ID).Error)
		ordered := func() (p PartID) {
			s.must(s.read.Raw("SELECT part_id FROM order_lines").Scan(&p).Error)
			return p
		}
		r, err := s.Merge(ctx, o, MergeIn{From: gone.ID, Into: keep.ID, Reason: "one box, two names"})
		s.must(err)
		if !strings.Contains(r.Says, "15 on hand") {
			t.Errorf("the receipt says %q, want 15 on hand", r.Says)
		}
		again, err := s.Merge(ctx, o, MergeIn{From: gone.ID, Into: keep.ID, Reason: "one box, two names"})
		if err != nil || !again.Replayed || again.Says != r.Says {
			t.Errorf("the same merge again: %+v, %v", again, err)
		}
		for _, text := range []string{"INS-C09", "ins-432", "401234567890", a.Tag, b.Tag} {
			th, err := s.Scan(ctx, text)
			if err != nil {
				t.Errorf("%s no longer scans: %v", text, err)
			} else if th.Part != nil && th.Part.ID != keep.ID || th.Item != nil && th.Item.PartCode != "INS-C09" {
				t.Errorf("%s scans as %+v", text, th)
			}
		}
		for _, q := range []string{"INS-C09", "INS-432", "401234567890", "CNMG 432", "cnmg120408"} {
			found, err := s.Search(ctx, q, 10)
			if err != nil || len(found) != 1 || found[0].ID != keep.ID || found[0].OnHand != 15 {
				t.Errorf("search %q finds %v, %v; want INS-C09 with 15", q, codesOf(found), err)
			}
		}
		if p := ordered(); p != keep.ID {
			t.Errorf("what is on order is for part %d, want %d", p, keep.ID)
		}
		if lines, err := s.Lines(ctx, LineFilter{Part: keep.ID}); err != nil || len(lines) != 2 {
			t.Errorf("%d movements of the merged part, %v; want both receipts", len(lines), err)
		}
		if sp, err := s.Spares(ctx, keep.ID); err != nil || len(sp) != 1 || sp[0].Qty != 2 {
			t.Errorf("spares of the merged part: %v, %v", sp, err)
		}
		// what was ordered under the old record comes in under the new one
		if r, err := s.Receive(ctx, op(s.gate), ReceiveIn{Part: gone.ID, Qty: 1, To: bin}); err != nil || r.Lines[0].Part != "INS-C09" {
			t.Errorf("received under the old record: %+v, %v", r, err)
		}
		if _, err := s.SavePart(ctx, s.boss.ID, PartIn{Part: Part{Code: "401234567890", Kind: "spare"}}); !errors.Is(err, ErrExists) {
			t.Errorf("a new part took the linked code: %v", err)
		}
		shelf, err := s.Shelf(ctx)
		s.must(err)
		fresh := &shelfCache{}
		s.must(fresh.build(s.Store, s.read))
		ni, np := shelf.Len()
		if fi, fp := fresh.shelf.Len(); ni != fi || np != fp {
			t.Errorf("the shelf kept after the merge has %d items of %d parts, one read anew %d of %d", ni, np, fi, fp)
		}
		s.sound()

		if _, err := s.Unmerge(ctx, op(s.boss), o.ID, "they differ"); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Unmerge(ctx, op(s.boss), o.ID, "they differ"); !errors.Is(err, ErrReversed) {
			t.Errorf("undone twice: %v", err)
		}
		back, err := s.PartByCode(ctx, "INS-432")
		if err != nil || back.ID != gone.ID || !back.RetiredAt.IsZero() {
			t.Errorf("INS-432 after the undo: %+v, %v", back, err)
		}
		if p := ordered(); p != gone.ID {
			t.Errorf("after the undo what is on order is for part %d, want %d", p, gone.ID)
		}
		if th, err := s.Scan(ctx, "401234567890"); err != nil || th.Part.ID != gone.ID {
			t.Errorf("the linked code after the undo: %+v, %v", th, err)
		}
		if it, err := s.ItemByTag(ctx, b.Tag); err != nil || it.PartID != gone.ID {
			t.Errorf("the lot after the undo: %+v, %v", it, err)
		}
		if sp, err := s.Spares(ctx, gone.ID); err != nil || len(sp) != 1 {
			t.Errorf("spares after the undo: %v, %v", sp, err)
		}
		if sp, err := s.Spares(ctx, keep.ID); err != nil || len(sp) != 0 {
			t.Errorf("spares of the other after the undo: %v, %v", sp, err)
		}
		s.sound()
	})
}

func codesOf(found []Found) []string {
	var out []string
	for _, f := range found {
		out = append(out, f.Code)
	}
	return out
}

// Parts that differ in what both have on record are not one thing; the size is named.
func TestMergeRefused(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		base := map[string]any{"DCONMS": 50, "DCONWS": 32, "LSC": 130, "type": "split"}
		with := func(k string, v any) map[string]any {
			m := map[string]any{}
			for a, b := range base {
				m[a] = b
			}
			m[k] = v
			return m
		}
		one := s.part("SLV-1", "sleeve", with("LSC", 130))
		for _, tt := range []struct {
			code, kind string
			flat       map[string]any
			names      string
		}{
			{"SLV-2", "sleeve", with("DCONWS", 31.75), "DCONWS"},
			{"SLV-3", "sleeve", with("DCONMS", 50.8), "DCONMS"},
			{"SLV-4", "sleeve", with("LSC", 100), "LSC"},
			{"SLV-5", "sleeve", with("type", "solid"), "type"},
			{"BAR-1", "bar", map[string]any{"DCONMS": 32, "construction": "steel", "CCWS": "H32"}, "kind"},
		} {
			p := s.part(tt.code, tt.kind, tt.flat)
			_, err := s.Merge(ctx, op(s.boss), MergeIn{From: p.ID, Into: one.ID})
			if !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), tt.names) {
				t.Errorf("%s into SLV-1: %v, want %s named", tt.code, err, tt.names)
			}
		}
		r4, r8 := s.insert("I-4", 2), s.part("I-8", "insert", map[string]any{"seat": "CCMT09T3", "RE": 0.8, "edges": 2})
		if _, err := s.Merge(ctx, op(s.boss), MergeIn{From: r4.ID, Into: r8.ID}); err == nil || !strings.Contains(err.Error(), "RE is 0.4") {
			t.Errorf("radius 0.4 into 0.8: %v", err)
		}
		if _, err := s.Merge(ctx, op(s.boss), MergeIn{From: r4.ID, Into: r4.ID}); !errors.Is(err, ErrBadInput) {
			t.Errorf("a part into itself: %v", err)
		}
		if _, err := s.Merge(ctx, op(s.gate), MergeIn{From: r4.ID, Into: r8.ID}); !errors.Is(err, ErrForbidden) {
			t.Errorf("merged by an attendant: %v", err)
		}
		half := s.part("SLV-6", "sleeve", map[string]any{"DCONMS": 50, "DCONWS": 32})
		if _, err := s.Merge(ctx, op(s.boss), MergeIn{From: half.ID, Into: one.ID}); err != nil {
			t.Errorf("a record that knows less, into one that knows more: %v", err)
		}
	})
}

// A foreign code is offered for linking once, and known from then on.
func TestForeignCode(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408", MakerCode: "OV 4282"})
		_, err := s.Scan(ctx, "+H123OV4282/99")
		if !errors.Is(err, ErrNotFound) || !strings.Contains(err.Error(), "not ours; link to INS-C09?") {
			t.Fatalf("a supplier's code: %v", err)
		}
		if _, err := s.Scan(ctx, "9781234567897"); !errors.Is(err, ErrNotFound) || !strings.Contains(err.Error(), "not one of our codes") {
			t.Errorf("a code nobody knows: %v", err)
		}
		if _, err = s.LinkCode(ctx, op(s.gate), "+H123OV4282/99", p.ID); err != nil {
			t.Fatal(err)
		}
		if th, err := s.Scan(ctx, "+h123ov4282/99"); err != nil || th.Kind != "part" || th.Part.Code != "INS-C09" {
			t.Errorf("linked, it scans as %+v, %v", th, err)
		}
		q := s.enter(PartEntry{Kind: "insert", Code: "INS-D", Designation: "DCMT 11T304"})
		for _, code := range []string{"+H123OV4282/99", "INS-C09", p.Code, s.receive(p, 1, s.bin("Z1"))[0].Tag} {
			if _, err := s.LinkCode(ctx, op(s.gate), code, q.ID); err == nil {
				t.Errorf("%s was linked to a second thing", code)
			}
		}
		if _, err := s.LinkCode(ctx, op(s.op1), "12345", p.ID); !errors.Is(err, ErrForbidden) {
			t.Errorf("linked by an operator: %v", err)
		}
		if _, err = s.UnlinkCode(ctx, op(s.gate), "+H123OV4282/99"); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Scan(ctx, "+H123OV4282/99"); !errors.Is(err, ErrNotFound) {
			t.Errorf("unlinked, it still scans: %v", err)
		}
	})
}

// Every slip of the kinds a check character is for, on tags of every kind, is refused, and the
// right tag is among those offered.
func TestWrongTags(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		var tags []string
		for i := range 6 {
			tags = append(tags, s.receive(s.sleeve(fmt.Sprintf("SLV-%d", i)), 1, bin)[0].Tag)
		}
		tags = append(tags, s.receive(s.insert("INS-1", 2), 5, bin)[0].Tag)
		p, err := s.Place(ctx, bin)
		s.must(err)
		j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: "J-1", FromDay: "2026-03-20", ToDay: "2026-03-21", Request: "{}"})
		s.must(err)
		m, _, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L1", Name: "Lathe"}, nil)
		s.must(err)
		_, cards := ActCards()
		tags = append(tags, *p.Tag, *j.Tag, *m.Tag, cards[0])
		r := rand.New(rand.NewPCG(1, 2))
		wrong := 0
		for _, tag := range tags {
			for range 40 {
				b := []byte(tag)
				switch i := 1 + r.IntN(len(b)-1); r.IntN(4) {
				case 0:
					b[i] = "0123456789"[r.IntN(10)]
				case 1:
					if i+1 < len(b) {
						b[i], b[i+1] = b[i+1], b[i]
					}
				case 2:
					b = slices.Delete(b, i, i+1)
				case 3:
					b = slices.Insert(b, i, "0123456789"[r.IntN(10)])
				}
				text := string(b)
				if text == tag {
					continue
				}
				wrong++
				th, err := s.Scan(ctx, text)
				if err == nil {
					t.Errorf("%s, a slip of %s, is taken for %s", text, tag, th.Text)
					continue
				}
				if !strings.Contains(err.Error(), tag) {
					t.Errorf("%s, a slip of %s: %v", text, tag, err)
				}
				if _, err := standard.ParseTag(text); err == nil {
					continue // another valid tag, of nothing: only the shop can tell
				}
				if _, err := s.ReadTag(ctx, "tag", text); err == nil || !strings.Contains(err.Error(), tag) {
					t.Errorf("read as a tag, %s, a slip of %s: %v", text, tag, err)
				}
			}
		}
		if wrong < 300 {
			t.Errorf("only %d slips were tried", wrong)
		}
		for _, tag := range tags {
			if th, err := s.Scan(ctx, strings.ToLower(tag)); err != nil || th.Text != tag {
				t.Errorf("%s in small letters: %+v, %v", tag, th, err)
			}
		}
	})
}

// Cannot find it, so order it again: every way a person says a thing finds it.
func TestSearchFinds(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.enter(PartEntry{Kind: "sleeve", Code: "RED-1", Name: "reducer, damped", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": "130 mm"}})
		s.enter(PartEntry{Kind: "sleeve", Code: "RED-2", Name: "bush", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": "90 mm"}})
		s.enter(PartEntry{Kind: "sleeve", Code: "RED-3", Values: map[string]string{"DCONMS": "2 in", "DCONWS": "1-1/4 in"}})
		s.enter(PartEntry{Kind: "sleeve", Code: "RED-500", Values: map[string]string{"DCONMS": "500 mm", "DCONWS": "320 mm"}})
		s.enter(PartEntry{Kind: "insert", Code: "C8", Designation: "CNMG 120408", Grade: "K7"})
		s.enter(PartEntry{Kind: "insert", Code: "C4", Designation: "CNMG 120404", Grade: "K7"})
		s.enter(PartEntry{Kind: "bar", Code: "B1", Designation: "A25T-SCLCR 09", Values: map[string]string{"seat": "CCMT09T3"}})
		s.enter(PartEntry{Kind: "bar", Code: "B2", Name: "inch bar", Values: map[string]string{"DCONMS": "1.25 in", "CCWS": "H32", "construction": "steel"}})
		s.enter(PartEntry{Kind: "fitting", Code: "F1", Values: map[string]string{"ends": "M:G 1/4, F:NPT 1/4"}})
		s.enter(PartEntry{Kind: "hose", Code: "H1", Values: map[string]string{"ends": "M:M10x1, M:M10x1", "LEN": "400 mm"}})
		for q, want := range map[string]string{
			"sleeve 50 32": "RED-1 RED-2", "32 50 sleeve": "RED-1 RED-2", "50x32": "RED-1 RED-2", "sleeve 50/32": "RED-1 RED-2", "bush 50": "RED-2",
			"CNMG 432": "C8", "cnmg 12 04 08": "C8", "CNMG-120408": "C8", "CNMG1204": "C4 C8", "ＣＮＭＧ　１２０４０８": "C8",
			"1-1/4 bar": "B2", "1 1/4 bar": "B2", "1.25in bar": "B2", "1,25 bar": "B2", "31.75 bar": "B2", "50,8": "RED-3", `2" sleeve`: "RED-3",
			"R 0.8": "C8", "r0,4": "C4", "a25t sclcr09": "B1", "A25T-SCLCR 09": "B1", "CCMT09T3": "B1", "bar CC09": "B1", "Ø25 bar": "B1", "25mm bar": "B1",
			"G 1/4": "F1", "bspp 1/4": "F1", "1/4 NPT": "F1", "M10x1": "H1", "M 10 x 1": "H1", "hose 400": "H1", "red-1": "RED-1", "RED": "RED-1 RED-2 RED-3 RED-500", "nothing such": "",
		} {
			found, err := s.Search(ctx, q, 50)
			if got := strings.Join(codesOf(found), " "); err != nil || got != want {
				t.Errorf("search %q finds %q, %v; want %q", q, got, err, want)
			}
		}
		if found, err := s.Search(ctx, "", 3); err != nil || len(found) != 3 {
			t.Errorf("no words find %v, %v; want the first 3", codesOf(found), err)
		}
		// exact first
		s.enter(PartEntry{Kind: "spare", Code: "C8-SCREW", Name: "screw"})
		if found, err := s.Search(ctx, "C8", 50); err != nil || len(found) < 2 || found[0].Code != "C8" {
			t.Errorf("search C8 finds %v, %v", codesOf(found), err)
		}
	})
}

func TestSearchShowsWhoHasTheRest(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.sleeve("SLV-1")
		items := s.receive(p, 3, s.bin("A1"))
		_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: items[0].ID, Qty: 1}}, To: s.op1.PlaceID})
		s.must(err)
		j, err := s.SaveJob(ctx, s.boss.ID, Job{Code: "J-1", FromDay: "2026-03-20", ToDay: "2026-03-21", Request: "{}"})
		s.must(err)
		_, err = s.Reserve(ctx, op(s.gate), ReserveIn{Job: j.ID, Picks: []Pick{{Item: items[1].ID, Qty: 1}}})
		s.must(err)
		found, err := s.Search(ctx, "sleeve 50 32", 10)
		s.must(err)
		if len(found) != 1 || found[0].OnHand != 3 || found[0].Out != 1 || found[0].Promised != 1 || found[0].Free() != 1 {
			t.Fatalf("found %+v; want 3 on hand, 1 out, 1 promised, 1 free", found)
		}
		if w := found[0].With; len(w) != 1 || w[0].Person != "Opal" {
			t.Errorf("the rest is with %+v, want Opal", w)
		}
	})
}

// 46 failed look-ups in a week x 5 min = 3.8 h, top 5 parts listed.
func TestMissedWeek(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.sleeve("SLV-1")
		for i := range 46 {
			s.clock.step(11 * time.Minute)
			text, id := fmt.Sprintf("thing %d", i%9), PartID(0)
			if i%4 == 0 {
				text, id = "sleeve 50 32", p.ID
			}
			s.must(s.Missed(ctx, s.gate.ID, text, id))
			s.must(s.Missed(ctx, s.gate.ID, text, id)) // a page loaded again
		}
		m, err := s.MissedWeek(ctx, s.Today())
		s.must(err)
		if m.Count != 46 || fmt.Sprintf("%.1f", m.Hours) != "3.8" || m.From != "2026-03-16" || m.To != "2026-03-22" {
			t.Errorf("the week has %+v; want 46 and 3.8 h", m)
		}
		if len(m.Top) != 5 || m.Top[0].Text != "SLV-1" || m.Top[0].Count != 12 || !m.Top[0].Part {
			t.Errorf("the top is %+v; want SLV-1 with 12 first", m.Top)
		}
		if m, err := s.MissedWeek(ctx, "2026-03-25"); err != nil || m.Count != 0 {
			t.Errorf("the week after: %+v, %v", m, err)
		}
	})
}

// A store made before the names were folded this way is brought up to date when opened.
func TestRefold(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.enter(PartEntry{Kind: "insert", Code: "C8", Designation: "CNMG 120408"})
		s.must(s.write.Exec("UPDATE parts SET folded = ' c8 ', name_key = ''").Error)
		s.must(s.write.Exec("UPDATE settings SET value = '0' WHERE key = 'names'").Error)
		s.restart()
		if found, err := s.Search(ctx, "CNMG 432", 5); err != nil || len(found) != 1 {
			t.Errorf("found %v, %v", codesOf(found), err)
		}
		f, err := Fill(PartEntry{Kind: "insert", Designation: "CNMG 432"})
		s.must(err)
		if same, err := s.Doubles(ctx, f.In); err != nil || len(same) != 1 {
			t.Errorf("doubles: %v, %v", same, err)
		}
	})
}

// catalogue fills a shop with n parts of all kinds, every one another.
func catalogue(tb testing.TB, s *shop, n int) {
	tb.Helper()
	ins := []string{"CNMG", "CCMT", "DNMG", "DCMT", "WNMG", "VBMT", "TNMG", "SNMG"}
	must := func(err error) {
		if err != nil {
			tb.Fatal(err)
		}
	}
	must(s.book(context.Background(), func(tx *Tx) error {
		for i := range n {
			p := Part{Code: fmt.Sprintf("P-%05d", i), Counted: KindLot, Pack: 1, MinOrder: 1, Version: 1, CreatedAt: tx.now, Maker: fmt.Sprintf("Maker %d", i%37), MakerCode: fmt.Sprintf("MX %d", 10000+i)}
			facts := map[string]any{}
			switch i % 4 {
			case 0:
				p.Kind, p.Designation, p.Grade = "insert", fmt.Sprintf("%s 12%02d%02d", ins[i%len(ins)], 4, 4*(1+i%4)), fmt.Sprintf("K%d", i%90)
				facts["seat"], facts["RE"] = p.Designation[:4]+"1204", 0.4
			case 1:
				p.Kind = "sleeve"
				facts["DCONMS"], facts["DCONWS"], facts["LSC"] = 20+i%60, 10+i%31, 60+i%400
			case 2:
				p.Kind, p.Designation = "bar", fmt.Sprintf("A%02dT-SCLCR 09", 10+i%50)
				facts["DCONMS"], facts["OAL"], facts["construction"] = 10+i%50, 300, "steel"
			case 3:
				p.Kind, p.Name = "fitting", "reducer"
				facts["ends"] = []string{"M:G 1/4", "F:NPT 1/4"}
			}
			var fs []Fact
			for k, v := range facts {
				b, err := json.Marshal(v)
				must(err)
				fs = append(fs, Fact{Symbol: k, Value: string(b)})
			}
			p.Folded, p.NameKey = folded(p, fs), nameKey(p.Kind, p.Designation)
			must(tx.Create(&p).Error)
		}
		return nil
	}))
}

// Over 10,000 parts. The target is 20 ms a search, read from here and nowhere else.
func BenchmarkSearch(b *testing.B) {
	s := newShop(b, false)
	catalogue(b, s, 10_000)
	for _, q := range []string{"sleeve 50 32", "CNMG 432", "1-1/4 bar", "MX 14321", "nothing such thing"} {
		b.Run(q, func(b *testing.B) {
			for b.Loop() {
				if _, err := s.Search(ctx, q, 50); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// csvRows reads a reference table by its header.
func csvRows(t *testing.T, path string) []map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range all[1:] {
		m := map[string]string{}
		for i, v := range row {
			m[all[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

// Circle 12.70 to 12.30 after regrind: another record, another label, seat CNMG1204 refused.
func TestRegrind(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("C9")
		p := s.enter(PartEntry{Kind: "insert", Code: "INS-C09", Designation: "CNMG 120408", Grade: "K7"})
		lot := s.receive(p, 6, bin)[0]
		s.must(s.LimitRegrinds(ctx, s.boss.ID, p.ID, 2))
		o := op(s.gate)
		g, err := s.Regrind(ctx, o, RegrindIn{Item: lot.ID, Qty: 4, Size: "12.30 mm"})
		s.must(err)
		again, err := s.Regrind(ctx, o, RegrindIn{Item: lot.ID, Qty: 4, Size: "12.30 mm"})
		if err != nil || !again.Replayed || again.Tag != g.Tag || again.Part.ID != g.Part.ID || again.Times != 1 {
			t.Errorf("the same regrind again: %+v, %v", again, err)
		}
		if g.Tag == lot.Tag || g.Part.ID == p.ID || g.Times != 1 {
			t.Errorf("reground: %+v; want a record and a tag of its own", g)
		}
		if n := s.there(lot.ID, bin); n != 2 {
			t.Errorf("%d left of the new ones, want 2", n)
		}
		f := s.facts(g.Part)
		if f["IC"].Value != "12.3" || strings.Contains(f["seat"].Value, `"CNMG1204"`) {
			t.Errorf("facts of the ground one: %+v", f)
		}
		shelf, err := s.Shelf(ctx)
		s.must(err)
		if n, _ := shelf.Len(); n != 2 {
			t.Errorf("%d heaps on the shelf, want the new and the ground", n)
		}
		var mates []string
		s.must(s.read.Raw("SELECT p.code FROM part_joints j JOIN parts p ON p.id = j.part_id WHERE j.family = 'pocket' AND j.code = 'CNMG1204' ORDER BY p.code").Scan(&mates).Error)
		if !slices.Equal(mates, []string{"INS-C09"}) {
			t.Errorf("seat CNMG1204 is met by %v, want the new one alone", mates)
		}
		if found, err := s.Search(ctx, "CNMG 432", 10); err != nil || found[0].Code != "INS-C09" {
			t.Errorf("search CNMG 432: %v, %v", codesOf(found), err)
		}
		ground, err := s.ItemByTag(ctx, g.Tag)
		s.must(err)
		if _, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: ground.ID, Qty: 1, Size: "12.7 mm"}); !errors.Is(err, ErrBadInput) {
			t.Errorf("ground larger: %v", err)
		}
		if _, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: ground.ID, Qty: 1, Size: "12"}); !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "of what") {
			t.Errorf("ground to a bare 12: %v", err)
		}
		g2, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: ground.ID, Qty: 2, Size: "12.0 mm"})
		if err != nil || g2.Times != 2 {
			t.Fatalf("ground twice: %+v, %v", g2, err)
		}
		twice, err := s.ItemByTag(ctx, g2.Tag)
		s.must(err)
		if _, err := s.Regrind(ctx, op(s.gate), RegrindIn{Item: twice.ID, Qty: 1, Size: "11.8 mm"}); !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "limit") {
			t.Errorf("ground a third time: %v", err)
		}
		s.sound()
	})
}

// A file of parts: dry run first, all or nothing, every bad row named, the second time a no-op.
func TestImportParts(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.bin("C9")
		good := "code;kind;designation;grade;home;DCONMS mm;DCONWS;LSC mm;price;currency\n" +
			"I-1;insert;CNMG 432;K7;C9;;;;7,20;EUR\n" +
			"S-1;sleeve;;;;50;1-1/4 in;130;;\n" +
			";;;;;;;;;\n" +
			"B-1;insert;DCMT 11T304;;;;;;;\n"
		count := func() (n int64) {
			s.must(s.read.Raw("SELECT count(*) FROM parts").Scan(&n).Error)
			return n
		}
		rep, err := s.ImportParts(ctx, s.gate.ID, []byte(good), false, false)
		s.must(err)
		if len(rep.New) != 3 || len(rep.Bad) != 0 || rep.Applied || count() != 0 || rep.Rows != 3 {
			t.Fatalf("looked at: %+v, %d parts", rep, count())
		}
		rep, err = s.ImportParts(ctx, s.gate.ID, []byte(good), true, false)
		if err != nil || !rep.Applied || count() != 3 {
			t.Fatalf("read in: %+v, %v", rep, err)
		}
		p, err := s.PartByCode(ctx, "S-1")
		s.must(err)
		if f := s.facts(p); f["DCONMS"].Value != "50" || f["DCONMS"].Entered != "50 mm" || f["DCONWS"].Value != "31.75" || f["DCONWS"].Entered != "1-1/4 in" {
			t.Errorf("S-1 has %+v", f)
		}
		rep, err = s.ImportParts(ctx, s.gate.ID, []byte(good), true, false)
		if err != nil || len(rep.Same) != 3 || len(rep.New) != 0 || count() != 3 {
			t.Errorf("the same file again: %+v, %v, %d parts", rep, err, count())
		}
		bad := "code,kind,designation,DCONMS,DCONWS mm,maker_OHX mm,home\n" +
			"X-1,insert,CNMG 120408,,,,\n" + // a double of I-1
			"X-2,insert,CXMG 120408,,,,\n" +
			"X-3,sleeve,,50,32,,\n" + // 50 of what?
			"X-4,drill,,,,,\n" +
			"X-5,sleeve,,50 mm,50,,\n" +
			"S-1,sleeve,,60 mm,,,\n" +
			"X-1,insert,DCMT 11T308,,,,\n" +
			"X-6,insert,DCMT 11T308,,,,NOWHERE\n" +
			"X-7,insert,DCMT 11T302,,,,\n" +
			"X-8,insert,DCMT 3(2.5)0.5,,,,\n" +
			",insert,DCMT 11T302,,,,\n"
		rep, err = s.ImportParts(ctx, s.gate.ID, []byte(bad), false, false)
		s.must(err)
		var lines []int
		for _, b := range rep.Bad {
			lines = append(lines, b.Line)
			if b.Says == "" {
				t.Errorf("line %d is refused without a word", b.Line)
			}
		}
		if !slices.Equal(lines, []int{3, 4, 5, 6, 7, 8, 9, 12}) {
			t.Errorf("bad lines %v: %+v", lines, rep.Bad)
		}
		var doubles []int
		for _, d := range rep.Doubles {
			doubles = append(doubles, d.Line)
		}
		if !slices.Equal(doubles, []int{2, 11}) {
			t.Errorf("doubles %+v, want line 2 and 11", rep.Doubles)
		}
		if _, err := s.ImportParts(ctx, s.gate.ID, []byte(bad), true, true); !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "line 3") || count() != 3 {
			t.Errorf("read in all the same: %v, %d parts", err, count())
		}
		double := "code,kind,designation,grade\nX-1,insert,CNMG 120408,\n"
		if _, err := s.ImportParts(ctx, s.gate.ID, []byte(double), true, false); !errors.Is(err, ErrExists) || count() != 3 {
			t.Errorf("a double was read in: %v", err)
		}
		if _, err := s.ImportParts(ctx, s.gate.ID, []byte(double), true, true); err != nil || count() != 4 {
			t.Errorf("confirmed: %v", err)
		}
		for _, text := range []string{"", "code,kind\n", "code,kind,OOPS\na,insert,1\n", "code\nx\n", "\xff\xfe"} {
			if _, err := s.ImportParts(ctx, s.gate.ID, []byte(text), false, false); !errors.Is(err, ErrBadInput) {
				t.Errorf("%q: %v", text, err)
			}
		}
		if _, err := s.ImportParts(ctx, s.op1.ID, []byte("code,kind,designation\nX-9,insert,TNMG 160408\n"), true, true); !errors.Is(err, ErrForbidden) {
			t.Errorf("an operator read parts in: %v", err)
		}
	})
}

// Only what a person means to be one thing is warned about: the demo shop's own catalogue,
// entered row by row, has no doubles but those listed here.
func TestDemoCatalogueHasNoFalseDoubles(t *testing.T) {
	s := newShop(t, false)
	raw, err := os.ReadFile("../testdata/shop/parts.json")
	s.must(err)
	var all []map[string]any
	s.must(json.Unmarshal(raw, &all))
	var said []string
	for _, m := range all {
		p := Part{}
		for k, to := range map[string]*string{"name": &p.Name, "maker_code": &p.MakerCode, "grade": &p.Grade} {
			*to, _ = m[k].(string)
		}
		for _, k := range []string{"name", "maker_code", "grade", "supplier", "pack", "min_order", "spares", "application", "price_breaks", "note"} {
			delete(m, k)
		}
		in, err := PartFrom(m, Entered)
		s.must(err)
		in.Part.Name, in.Part.MakerCode, in.Part.Grade = p.Name, p.MakerCode, p.Grade
		same, err := s.Doubles(ctx, in)
		s.must(err)
		for _, d := range same {
			said = append(said, in.Part.Code+" like "+d.Code+": "+d.Why)
		}
		if _, err := s.SavePart(ctx, s.boss.ID, in); err != nil {
			t.Errorf("%s: %v", in.Part.Code, err)
		}
	}
	for _, line := range said {
		t.Errorf("%s", line)
	}
}

// No entry panics; what is accepted reads back to the same value from what was kept as typed.
func FuzzFill(f *testing.F) {
	for _, s := range [][3]string{
		{"insert", "CNMG 432", "0.8 mm"}, {"bar", "A25X-SCLCR 09", "1-1/4 in"}, {"sleeve", `2" x 1-1/4"`, "50"}, {"head", "H25-SCLCR09", "R"},
		{"hose", "M:G 1/4 x M:G 1/4 x 400 mm", "M:G 1/4, bore"}, {"holder", "VDI 50 E2-50", "split"}, {"sleeve", "50/32 mm", "1,250 mm"}, {"bar", "ＡＢＣ", "½ in"},
	} {
		f.Add(s[0], s[1], s[2])
	}
	f.Fuzz(func(t *testing.T, kind, designation, value string) {
		for _, field := range PartFields(kind) {
			got, err := Fill(PartEntry{Kind: kind, Code: "X", Designation: designation, Values: map[string]string{field.Symbol: value}})
			if err != nil {
				continue
			}
			values := map[string]string{}
			var by []string
			for _, x := range got.In.Facts {
				if x.Symbol != "unit" && x.Entered != "" {
					values[x.Symbol] = x.Entered
				}
				if x.Origin == ByMaker {
					by = append(by, x.Symbol)
				}
			}
			again, err := Fill(PartEntry{Kind: kind, Code: "X", Designation: designation, Values: values, ByMaker: by})
			if err != nil {
				t.Fatalf("%s %q with %s %q was kept as %v, which is refused: %v", kind, designation, field.Symbol, value, values, err)
			}
			for _, x := range got.In.Facts {
				i := slices.IndexFunc(again.In.Facts, func(y Fact) bool { return y.Symbol == x.Symbol })
				if i < 0 || !sameValue(again.In.Facts[i].Value, x.Value) {
					t.Fatalf("%s %q: %s %q reads back as %v, was %s", kind, designation, x.Symbol, x.Entered, again.In.Facts, x.Value)
				}
			}
		}
	})
}
