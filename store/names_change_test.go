package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"strings"
	"sync"
	"testing"
)

// boring makes a shop that can build one job: a holder, a bar, a head and inserts.
func (s *shop) boring() (head Part, job Job) {
	s.t.Helper()
	bin := s.bin("A1")
	for _, p := range []struct {
		code, kind string
		flat       map[string]any
		qty        int64
	}{
		{"HLD", "holder", map[string]any{"interface": "VDI50", "DCONWS": 40, "unit": "mm", "LSC": 165, "clamp": "split", "coolant": "through", "CP": 100, "WT": 4.5}, 1},
		{"BAR", "bar", map[string]any{"DCONMS": 40, "unit": "mm", "construction": "damped_steel", "OAL": 470, "CCWS": "H40", "flat": false, "coolant": true, "coolant_in": []any{"bore"}, "CP": 100, "WT": 4.64}, 2},
		{"HED", "head", map[string]any{"CCMS": "H40", "HAND": "R", "DMIN": 50, "seat": "DCMT11T3", "LF": 32, "coolant": true, "CP": 100, "WT": 0.3}, 1},
		{"INS", "insert", map[string]any{"designation": "DCMT 11T308", "seat": "DCMT11T3", "RE": 0.8, "edges": 2}, 10},
	} {
		part := s.part(p.code, p.kind, p.flat)
		s.receive(part, p.qty, bin)
		if p.code == "HED" {
			head = part
		}
	}
	m, st, err := s.AddMachine(ctx, s.boss.ID, Machine{Code: "L3", Name: "Lathe"}, []Station{{Number: 4, Interface: "VDI50"}})
	s.must(err)
	job, err = s.SaveJob(ctx, s.boss.ID, Job{Code: "J-1", Name: "housing", MachineID: &m.ID, StationID: &st[0].ID, Material: "P", PartsQty: 4, FromDay: "2026-03-20", ToDay: "2026-03-21",
		Request: `{"bore_start_d": 62, "depth": 250, "clearance": 30, "hand": "R", "insert": {"seat": "DCMT11T3", "RE": 0.8}, "coolant": false, "coolant_bar": 0}`})
	s.must(err)
	return head, job
}

// change is a change of a part as it stands, with the values given by symbol or key.
func (s *shop) change(p Part, set map[string]string) PartChange {
	s.t.Helper()
	e, now, err := s.EntryOf(ctx, p.ID)
	s.must(err)
	for k, v := range set {
		plainOne := false
		for _, f := range plainFields {
			if f.Key == k {
				*f.of(&e), plainOne = v, true
			}
		}
		if !plainOne {
			e.Values[k] = v
		}
	}
	return PartChange{Part: p.ID, Version: now.Version, Entry: e}
}

func (s *shop) lastAudit() string {
	s.t.Helper()
	var d string
	s.must(s.read.Raw("SELECT what || ' ' || ref || ': ' || detail FROM audit ORDER BY id DESC LIMIT 1").Scan(&d).Error)
	return d
}

// What a person changes is changed and nothing else; the audit and the record say old and new.
func TestChangePart(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.bin("C9")
		screw := s.part("SCR-1", "spare", map[string]any{})
		bar := s.enter(PartEntry{Kind: "bar", Code: "BAR-1", Designation: "A25T-SCLCR 09", Values: map[string]string{"seat": "CCMT09T3", "OHX": "150 mm", "WT": "1.2"}, ByMaker: []string{"OHX"}, Price: "310.50", Currency: "EUR"})
		s.must(s.write.Exec("INSERT INTO part_needs (part_id, spare_id, qty) VALUES (?,?,2)", bar.ID, screw.ID).Error)
		s.must(s.write.Exec("UPDATE parts SET reorder_at = 3 WHERE id = ?", bar.ID).Error)
		before := s.facts(bar)
		in := s.change(bar, map[string]string{"OHX": "5-1/2 in", "WT": "", "DCONMS": "1 in", "maker": "Quell", "home": "c9", "price": "299", "note": "new face"})
		o := op(s.gate)
		r, err := s.ChangePart(ctx, o, in)
		s.must(err)
		want := []string{"OHX 150 mm → 5-1/2 in", "WT 1.2 → nothing", "DCONMS 25 mm → 1 in", "maker nothing → Quell", "home nothing → C9", "price 310.50 → 299.00", "note nothing → new face"}
		for _, w := range want {
			if !strings.Contains(r.Says, w) || !strings.Contains(s.lastAudit(), w) {
				t.Errorf("%q is not told: %q, audit %q", w, r.Says, s.lastAudit())
			}
		}
		if n := strings.Count(r.Says, "→"); n != len(want) {
			t.Errorf("%d changes are told, want %d: %s", n, len(want), r.Says)
		}
		p, err := s.Part(ctx, bar.ID)
		s.must(err)
		f := s.facts(p)
		if p.Version != 2 || p.Maker != "Quell" || *p.PriceCents != 29900 || *p.ReorderAt != 3 || p.Counted != KindPiece {
			t.Errorf("the record is %+v", p)
		}
		if f["OHX"].Value != "139.7" || f["OHX"].Origin != ByMaker || f["DCONMS"].Value != "25.4" || f["DCONMS"].Origin != Entered || f["unit"].Value != `"in"` {
			t.Errorf("the values are %+v", f)
		}
		for _, sym := range []string{"LF", "OAL", "KAPR", "construction", "HAND", "seat"} {
			if f[sym] != before[sym] {
				t.Errorf("%s was %+v and is %+v; nobody touched it", sym, before[sym], f[sym])
			}
		}
		if sp, err := s.Spares(ctx, bar.ID); err != nil || len(sp) != 1 || sp[0].Qty != 2 {
			t.Errorf("what it needs: %+v, %v", sp, err)
		}
		again, err := s.ChangePart(ctx, o, in)
		if err != nil || !again.Replayed || again.Says != r.Says {
			t.Errorf("the same change again: %+v, %v", again, err)
		}
		if found, err := s.Search(ctx, "1in bar quell", 5); err != nil || len(found) != 1 {
			t.Errorf("it is not found by its new size: %v, %v", codesOf(found), err)
		}

		// another name: what it says follows, what was entered stays
		e := s.change(bar, map[string]string{"designation": "A25S-SCLCR 09"})
		for sym, fact := range f { // as the form shows it once the new name was read
			if fact.Origin == ByDesignation {
				delete(e.Entry.Values, sym)
			}
		}
		r, err = s.ChangePart(ctx, op(s.gate), e)
		if err != nil || !strings.Contains(r.Says, "LF 300 mm → 250 mm") || s.facts(p)["LF"].Origin != ByDesignation || s.facts(p)["DCONMS"].Value != "25.4" {
			t.Errorf("renamed to S: %q, %v, %+v", r.Says, err, s.facts(p)["LF"])
		}

		for _, tt := range []struct {
			set   map[string]string
			field string
			says  string
		}{
			{map[string]string{"OHX": "140"}, "OHX", "140 mm or 140 in"},
			{map[string]string{"DCONMS": "0 mm"}, "DCONMS", ""},
			{map[string]string{"home": "NOWHERE"}, "home", "NOWHERE"},
			{map[string]string{"kind": "head"}, "kind", "another part"},
			{map[string]string{"designation": "A25T-SXLCR 09"}, "designation", ""},
			{map[string]string{"OOPS": "1"}, "OOPS", "no value"},
			{map[string]string{"code": "scr-1"}, "code", "taken"},
			{map[string]string{"price": "", "currency": "EUR"}, "currency", "price"},
		} {
			_, err := s.ChangePart(ctx, op(s.gate), s.change(bar, tt.set))
			rf, ok := errors.AsType[*Refusal](err)
			if !ok || rf.Field != tt.field || !strings.Contains(rf.Says, tt.says) {
				t.Errorf("%v: %v (field %+v), want a refusal of %s that says %q", tt.set, err, rf, tt.field, tt.says)
			}
		}
		if _, err := s.ChangePart(ctx, op(s.op1), s.change(bar, map[string]string{"note": "x"})); !errors.Is(err, ErrForbidden) {
			t.Errorf("changed by an operator: %v", err)
		}
		if r, err := s.ChangePart(ctx, op(s.gate), s.change(bar, nil)); err != nil || !strings.Contains(r.Says, "Nothing") {
			t.Errorf("a change of nothing: %+v, %v", r, err)
		}
		s.sound()
	})
}

// The form of every part of the demo catalogue, sent back as it is, changes nothing: what is
// shown is read back to the value it shows.
func TestFormOfEveryPartChangesNothing(t *testing.T) {
	s := newShop(t, false)
	raw, err := os.ReadFile("../testdata/shop/parts.json")
	s.must(err)
	var all []map[string]any
	s.must(json.Unmarshal(raw, &all))
	n := 0
	for _, m := range all {
		for _, k := range []string{"name", "maker_code", "grade", "supplier", "pack", "min_order", "spares", "application", "price_breaks", "note"} {
			delete(m, k)
		}
		in, err := PartFrom(m, Entered)
		s.must(err)
		p, err := s.SavePart(ctx, s.boss.ID, in)
		s.must(err)
		r, err := s.ChangePart(ctx, op(s.boss), s.change(p, nil))
		if err != nil || !strings.HasPrefix(r.Says, "Nothing") {
			t.Errorf("%s: %q, %v", p.Code, r.Says, err)
		}
		// and one touched value leaves the others
		before := s.facts(p)
		if _, err := s.ChangePart(ctx, op(s.boss), s.change(p, map[string]string{"WT": "7.5"})); err != nil {
			t.Errorf("%s with another mass: %v", p.Code, err)
			continue
		}
		after := s.facts(p)
		before["WT"], after["WT"] = Fact{}, Fact{}
		if !maps.Equal(before, after) {
			t.Errorf("%s with another mass: was %+v, is %+v", p.Code, before, after)
		}
		n++
	}
	if n < 100 {
		t.Errorf("only %d parts were changed", n)
	}
}

// Two people change a part: the second is told what the other changed, keeps his text, and
// sent again it changes what he touched and leaves the other's.
func TestChangePartMeanwhile(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.enter(PartEntry{Kind: "sleeve", Code: "SLV-1", Values: map[string]string{"DCONMS": "50 mm", "DCONWS": "32 mm", "LSC": "130 mm"}})
		first, second := s.change(p, map[string]string{"LSC": "125 mm", "note": "measured", "name": "bush"}), s.change(p, map[string]string{"WT": "1.5", "note": "on the top shelf"})
		_, err := s.ChangePart(ctx, op(s.boss), first)
		s.must(err)
		_, err = s.ChangePart(ctx, op(s.gate), second)
		c, ok := errors.AsType[*Changed](err)
		if !ok || !errors.Is(err, ErrConflict) {
			t.Fatalf("the second change: %v", err)
		}
		for _, w := range []string{"Bo", "LSC 130 mm → 125 mm", "note nothing → measured"} {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("he is not told %q: %v", w, err)
			}
		}
		if c.Version != 2 || c.Was.Values["LSC"] != "130 mm" || c.Now.Values["LSC"] != "125 mm" || c.Now.Name != "bush" {
			t.Errorf("the conflict holds %+v", c)
		}
		if f := s.facts(p); f["WT"].Value != "" || f["LSC"].Value != "125" {
			t.Errorf("something was saved all the same: %+v", f)
		}
		second.Over = c.Version
		_, err = s.ChangePart(ctx, op(s.gate), second)
		s.must(err)
		now, err := s.Part(ctx, p.ID)
		s.must(err)
		if f := s.facts(p); f["LSC"].Value != "125" || f["WT"].Value != "1.5" || now.Note != "on the top shelf" || now.Name != "bush" || now.Version != 3 {
			t.Errorf("after both: %+v, %+v", now, f)
		}
		second.Over = 2 // seen, and outdated again
		if _, err := s.ChangePart(ctx, op(s.gate), second); !errors.Is(err, ErrConflict) {
			t.Errorf("over a version that is gone: %v", err)
		}
	})
}

// Twelve people change one part at one moment from one version: one is saved, eleven are told.
func TestChangePartAtOneMoment(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.sleeve("SLV-1")
		stores := s.processes(3)
		in := s.change(p, nil)
		var wg sync.WaitGroup
		var mu sync.Mutex
		saved, toldOf := 0, 0
		begin := make(chan struct{})
		for i := range 12 {
			wg.Go(func() {
				mine := in
				mine.Entry.Note = strings.Repeat("x", i+1)
				<-begin
				_, err := stores[i%3].ChangePart(ctx, op(s.boss), mine)
				mu.Lock()
				defer mu.Unlock()
				if _, ok := errors.AsType[*Changed](err); ok {
					toldOf++
				} else if err == nil {
					saved++
				} else {
					t.Error(err)
				}
			})
		}
		close(begin)
		wg.Wait()
		now, err := s.Part(ctx, p.ID)
		s.must(err)
		if saved != 1 || toldOf != 11 || now.Version != 2 {
			t.Errorf("%d saved, %d told, version %d; want 1, 11, 2", saved, toldOf, now.Version)
		}
	})
}

// A joint or a size that planned jobs need is not changed without naming them.
func TestChangePartBreaksJobs(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		head, job := s.boring()
		if r, err := s.Check(ctx, job); err != nil || !r.Verdict.Buildable {
			t.Fatalf("the job can not be built to begin with: %v, %+v", err, r.Verdict.Reasons)
		}
		for _, tt := range []struct {
			set  map[string]string
			asks bool
		}{
			{map[string]string{"CCMS": "H32"}, true},
			{map[string]string{"DMIN": "70 mm"}, true},
			{map[string]string{"HAND": "L"}, true},
			{map[string]string{"seat": "CCMT09T3"}, true},
			{map[string]string{"name": "head", "note": "nice", "price": "80", "currency": "EUR"}, false},
			{map[string]string{"DMIN": "51 mm"}, false},
			{map[string]string{"code": "HED-X"}, false},
		} {
			in := s.change(head, tt.set)
			o := op(s.gate)
			_, err := s.ChangePart(ctx, o, in)
			b, asked := errors.AsType[*Breaks](err)
			if asked != tt.asks || err != nil && !asked {
				t.Errorf("%v: %v, want asked %v", tt.set, err, tt.asks)
				continue
			}
			if asked {
				if !errors.Is(err, ErrAsk) || len(b.Jobs) != 1 || b.Jobs[0].Code != "J-1" || !strings.Contains(err.Error(), "could not be built") {
					t.Errorf("%v asks: %v", tt.set, err)
				}
				if now, _ := s.Part(ctx, head.ID); now.Version != in.Version {
					t.Errorf("%v was saved before it was asked", tt.set)
				}
				continue
			}
			_, err = s.UndoChange(ctx, op(s.gate), o.ID, false)
			s.must(err)
		}
		// seen and saved all the same; the shelf knows it
		in := s.change(head, map[string]string{"CCMS": "H32"})
		in.Broken = true
		o := op(s.gate)
		_, err := s.ChangePart(ctx, o, in)
		s.must(err)
		if r, err := s.Check(ctx, job); err != nil || r.Verdict.Buildable {
			t.Errorf("the job can still be built: %v", err)
		}
		// and taken back: it can be built again
		_, err = s.UndoChange(ctx, op(s.gate), o.ID, false)
		s.must(err)
		if r, err := s.Check(ctx, job); err != nil || !r.Verdict.Buildable {
			t.Errorf("the job can not be built after the undo: %v", err)
		}
		// a chosen stack counts even where another could be built
		other := s.part("HED-2", "head", map[string]any{"CCMS": "H40", "HAND": "R", "DMIN": 50, "seat": "DCMT11T3", "LF": 32, "coolant": true, "CP": 100, "WT": 0.3})
		s.receive(other, 1, s.bin("A2"))
		_, err = s.Plan(ctx, op(s.gate), PlanIn{Job: job.ID})
		s.must(err)
		r, err := s.Check(ctx, job)
		s.must(err)
		used, _ := r.Best().Find("head")
		chosen, err := s.PartByCode(ctx, used.Part.Code)
		s.must(err)
		_, err = s.ChangePart(ctx, op(s.gate), s.change(chosen, map[string]string{"CCMS": "H32"}))
		if b, ok := errors.AsType[*Breaks](err); !ok || !strings.Contains(b.Jobs[0].Why, "planned") {
			t.Errorf("the head of the chosen stack: %v", err)
		}
		s.sound()
	})
}

// The last change is taken back, and that too; an earlier one is not.
func TestUndoChange(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.enter(PartEntry{Kind: "insert", Code: "INS-1", Designation: "CNMG 120408", Grade: "K7"})
		at := func() string {
			now, err := s.Part(ctx, p.ID)
			s.must(err)
			return now.Code + " " + now.Grade + " " + s.facts(p)["RE"].Value
		}
		one, two := op(s.boss), op(s.gate)
		_, err := s.ChangePart(ctx, one, s.change(p, map[string]string{"grade": "K9", "RE": "0.79 mm"}))
		s.must(err)
		_, err = s.ChangePart(ctx, two, s.change(p, map[string]string{"code": "INS-9"}))
		s.must(err)
		for _, code := range []string{"INS-1", "INS-9"} { // both are known
			if th, err := s.Scan(ctx, code); err != nil || th.Part == nil || th.Part.ID != p.ID {
				t.Errorf("%s scans as %+v, %v", code, th, err)
			}
		}
		if f, err := Fill(PartEntry{Kind: "insert", Code: "INS-1", Designation: "TNMG 160408"}); err != nil {
			t.Fatal(err)
		} else if _, err := s.EnterPart(ctx, s.boss.ID, f, false); !errors.Is(err, ErrExists) {
			t.Errorf("the old code was given to another part: %v", err)
		}
		if _, err := s.UndoChange(ctx, op(s.boss), one.ID, false); !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "Gil code INS-1 → INS-9") {
			t.Errorf("an earlier change was taken back: %v", err)
		}
		back := op(s.boss)
		r, err := s.UndoChange(ctx, back, two.ID, false)
		if err != nil || at() != "INS-1 K9 0.79" || !strings.Contains(r.Says, "code INS-9 → INS-1") {
			t.Errorf("taken back: %q, %v, %s", r.Says, err, at())
		}
		if again, err := s.UndoChange(ctx, back, two.ID, false); err != nil || !again.Replayed {
			t.Errorf("the same undo again: %+v, %v", again, err)
		}
		if _, err := s.UndoChange(ctx, op(s.boss), back.ID, false); err != nil || at() != "INS-9 K9 0.79" {
			t.Errorf("the undo taken back: %v, %s", err, at())
		}
		list, err := s.PartChanges(ctx, p.ID, 10)
		if err != nil || len(list) != 4 || list[0].How != "taken back" || list[3].By != "Bo" || !strings.Contains(list[3].Said, "grade K7 → K9") || !strings.Contains(list[3].Said, "RE 0.8 mm → 0.79 mm") {
			t.Errorf("the record's list: %+v, %v", list, err)
		}
		if _, err := s.UndoChange(ctx, op(s.boss), "nothing-of-that-name", false); !errors.Is(err, ErrNotFound) {
			t.Errorf("an unknown change: %v", err)
		}
	})
}

// A change that makes a part look like another is asked about, one that looked so before is not.
func TestChangePartIntoADouble(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.enter(PartEntry{Kind: "insert", Code: "INS-1", Designation: "CNMG 120408", Grade: "K7"})
		p := s.enter(PartEntry{Kind: "insert", Code: "INS-2", Designation: "CNMG 120408", Grade: "K9"})
		in := s.change(p, map[string]string{"grade": "K7"})
		_, err := s.ChangePart(ctx, op(s.gate), in)
		if d, ok := errors.AsType[*Double](err); !ok || d.Of[0].Code != "INS-1" {
			t.Fatalf("the grade of the other: %v", err)
		}
		in.Another = true
		_, err = s.ChangePart(ctx, op(s.gate), in)
		s.must(err)
		_, err = s.ChangePart(ctx, op(s.gate), s.change(p, map[string]string{"note": "ours"}))
		s.must(err)
	})
}

// A part goes out of use when none is left, and comes back.
func TestRetirePart(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		p := s.sleeve("SLV-1")
		bin := s.bin("A1")
		it := s.receive(p, 1, bin)[0]
		if _, err := s.RetirePart(ctx, op(s.gate), p.ID, ""); !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "1 in A1") {
			t.Errorf("retired with one on the shelf: %v", err)
		}
		_, err := s.Scrap(ctx, op(s.gate), ScrapIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, Reason: "bent"})
		s.must(err)
		o := op(s.gate)
		_, err = s.RetirePart(ctx, o, p.ID, "bought no more")
		s.must(err)
		if a := s.lastAudit(); !strings.Contains(a, "retired SLV-1") || !strings.Contains(a, "bought no more") {
			t.Errorf("the audit says %q", a)
		}
		if found, err := s.Search(ctx, "SLV-1", 5); err != nil || len(found) != 0 {
			t.Errorf("still found: %v, %v", codesOf(found), err)
		}
		if got, err := s.PartByCode(ctx, "SLV-1"); err != nil || got.RetiredAt.IsZero() {
			t.Errorf("its record: %+v, %v", got, err)
		}
		if _, err := s.ChangePart(ctx, op(s.gate), s.change(p, map[string]string{"note": "x"})); !errors.Is(err, ErrRetired) {
			t.Errorf("changed while out of use: %v", err)
		}
		if _, err := s.UndoChange(ctx, op(s.gate), o.ID, false); !errors.Is(err, ErrConflict) {
			t.Errorf("retiring was taken back as a change: %v", err)
		}
		if _, err := s.Receive(ctx, op(s.gate), ReceiveIn{Part: p.ID, Qty: 1, To: bin}); !errors.Is(err, ErrRetired) {
			t.Errorf("received while out of use: %v", err)
		}
		if _, err := s.RetirePart(ctx, op(s.gate), p.ID, ""); !errors.Is(err, ErrRetired) {
			t.Errorf("retired twice: %v", err)
		}
		_, err = s.ReusePart(ctx, op(s.gate), p.ID, "")
		s.must(err)
		if found, err := s.Search(ctx, "SLV-1", 5); err != nil || len(found) != 1 {
			t.Errorf("in use again, it is found as %v, %v", codesOf(found), err)
		}
		if _, err := s.ReusePart(ctx, op(s.gate), p.ID, ""); !errors.Is(err, ErrConflict) {
			t.Errorf("taken into use twice: %v", err)
		}
		s.sound()
	})
}

// A change of a coupling, with 10,000 parts on record and a job that the part is in: the jobs
// are checked on a shelf of their own.
func BenchmarkChangeAsks(b *testing.B) {
	s := newShop(b, false)
	file := strings.Builder{}
	file.WriteString("code,kind,DCONMS mm,DCONWS mm,LSC mm\n")
	for i := range 10_000 {
		fmt.Fprintf(&file, "S-%d,sleeve,%d,%d,%d\n", i, 20+i%60, 10+i%7, 50+i/2)
	}
	if _, err := s.ImportParts(ctx, s.gate.ID, []byte(file.String()), true, true); err != nil {
		b.Fatal(err)
	}
	head, _ := s.boring()
	in := s.change(head, map[string]string{"CCMS": "H32"})
	for b.Loop() {
		if _, err := s.ChangePart(ctx, op(s.gate), in); !errors.Is(err, ErrAsk) {
			b.Fatal(err)
		}
	}
}
