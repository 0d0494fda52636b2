package store

import (
	"errors"
	"strings"
	"testing"
)

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
