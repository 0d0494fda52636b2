package store

import (
	"fmt"
	"strings"
	"testing"

	"gorm.io/gorm"
)

func says(all []Mates) string {
	var out []string
	for _, m := range all {
		line := JointSays(m.Joint) + ":"
		for _, p := range m.Parts {
			line += fmt.Sprintf(" %s %d/%d ", p.Code, p.Free(), p.OnHand)
			for _, b := range p.Bins {
				line += b.Code
			}
		}
		for _, st := range m.Stations {
			line += fmt.Sprintf(" station %d", st.Number)
		}
		out = append(out, line)
	}
	return strings.Join(out, "; ")
}

// What goes on this bar: by each joint, free first, with what is in the shop and where.
func TestMatesOf(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		head, job := s.boring()
		for _, x := range []struct {
			code string
			qty  int64
		}{{"HED-A", 0}, {"HED-B", 2}, {"HED-C", 1}} {
			p := s.part(x.code, "head", map[string]any{"CCMS": "H40", "HAND": "L", "DMIN": 50, "seat": "CCMT09T3", "LF": 32})
			if x.qty > 0 {
				s.receive(p, x.qty, s.bin("B-"+x.code))
			}
		}
		out, err := s.PartByCode(ctx, "HED-C")
		s.must(err)
		items, err := s.ItemsOf(ctx, out.ID)
		s.must(err)
		_, err = s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: items[0].ID, Qty: 1}}, To: s.op1.PlaceID})
		s.must(err)
		of := func(code string) string {
			p, err := s.PartByCode(ctx, code)
			s.must(err)
			all, err := s.MatesOf(ctx, p, 10)
			s.must(err)
			return says(all)
		}
		for code, want := range map[string]string{
			"BAR":   "shank ⌀40 mm, machine side: HLD 1/1 A1; coupling H40, workpiece side: HED 1/1 A1 HED-B 2/2 B-HED-B HED-C 0/1  HED-A 0/0 ",
			"HLD":   "turret seat VDI50, machine side: station 4; bore ⌀40 mm, workpiece side: BAR 2/2 A1",
			"INS":   "seat DCMT11T3, machine side: HED 1/1 A1",
			"HED-A": "coupling H40, machine side: BAR 2/2 A1; pocket CCMT09T3, workpiece side:",
		} {
			if got := of(code); got != want {
				t.Errorf("%s: %q, want %q", code, got, want)
			}
		}
		// a change of its joint, a promise and a part out of use are seen at once
		_, err = s.Reserve(ctx, op(s.gate), ReserveIn{Job: job.ID, Picks: []Pick{{Item: s.itemsOf(head)[0].ID, Qty: 1}}})
		s.must(err)
		none, err := s.PartByCode(ctx, "HED-A")
		s.must(err)
		_, err = s.RetirePart(ctx, op(s.gate), none.ID, "")
		s.must(err)
		if got := of("BAR"); !strings.HasSuffix(got, "HED-B 2/2 B-HED-B HED 0/1 A1 HED-C 0/1 ") {
			t.Errorf("after a promise: %q", got)
		}
		p, err := s.PartByCode(ctx, "BAR")
		s.must(err)
		s.must(s.write.Exec("UPDATE items SET held = 'nicked' WHERE id = (SELECT min(id) FROM items WHERE part_id = ?)", p.ID).Error)
		if f, err := s.FoundPart(ctx, p.ID); err != nil || f.Free() != 1 || f.Held != 1 || f.OnHand != 2 || len(f.Bins) != 1 || f.Bins[0] != (InBin{"A1", 2}) {
			t.Errorf("one of two held back in its bin: %+v, %v", f, err)
		}
		if all, err := s.MatesOf(ctx, p, 1); err != nil || len(all[1].Parts) != 1 || all[1].More != 2 {
			t.Errorf("with a limit of one: %+v, %v", all, err)
		}
		if all, err := s.MatesOf(ctx, s.part("SCR", "spare", map[string]any{}), 5); err != nil || len(all) != 0 {
			t.Errorf("a screw mates with %v, %v", all, err)
		}
	})
}

func (s *shop) itemsOf(p Part) []Standing {
	s.t.Helper()
	items, err := s.ItemsOf(ctx, p.ID)
	s.must(err)
	return items
}

// One mate or fifty: the same number of queries.
func TestMatesQueries(t *testing.T) {
	s := newShop(t, false)
	s.boring()
	p, err := s.PartByCode(ctx, "BAR")
	s.must(err)
	count := func() (n int) {
		if _, err := s.Shelf(ctx); err != nil {
			t.Fatal(err)
		}
		s.must(s.read.Callback().Query().Before("gorm:query").Register("count", func(*gorm.DB) { n++ }))
		s.must(s.read.Callback().Row().Before("gorm:row").Register("count", func(*gorm.DB) { n++ }))
		all, err := s.MatesOf(ctx, p, 50)
		s.must(err)
		s.must(s.read.Callback().Query().Remove("count"))
		s.must(s.read.Callback().Row().Remove("count"))
		if len(all) != 2 {
			t.Fatalf("%d joints", len(all))
		}
		return n
	}
	one := count()
	for i := range 50 {
		h := s.part(fmt.Sprintf("HED-%02d", i), "head", map[string]any{"CCMS": "H40", "HAND": "L", "DMIN": 50, "seat": "CCMT09T3", "LF": 32})
		if i%5 == 0 {
			s.receive(h, 1, s.bin(fmt.Sprintf("B-%d", i)))
		}
	}
	if fifty := count(); fifty != one || one == 0 || one > 6 {
		t.Errorf("%d queries with one mate, %d with fifty-one; want the same, at most 6", one, fifty)
	}
}
