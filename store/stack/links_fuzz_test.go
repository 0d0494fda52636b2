package stack

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
)

// wild makes a shelf of linking parts and gives some of them further joints of any family on
// any side, lines and adapters with coolant ends among them.
func (m *maker) wild() (Request, []Item) {
	r, items := m.linkShelf()
	if m.chance(2) {
		r.Coolant, r.CoolantBar, r.Station.CoolantMaxBar = true, pick(m, 0.0, 20, 40), Some(80)
		r.Station.CoolantPort = pick(m, "F:G 1/4", "M:G 1/4", "F:push-in 8", "")
	}
	for range m.IntN(6) {
		p := m.part(pick(m, Hose, Fitting, Adapter))
		p.Code = "LI-" + num(float64(m.n))
		if p.Kind == Adapter && m.chance(2) {
			p.Joints = nil
			for range 2 {
				p.Joints = append(p.Joints, Joint{Side: CoolantIn, Family: pick(m, Thread, PushIn), Code: pick(m, "G 1/4", "8"), Gender: pick(m, "M", "F")})
			}
		}
		items = append(items, Item{ID: p.Code, Part: p, Status: In, Qty: 1 + m.IntN(2)})
	}
	for i := range items {
		p := items[i].Part
		for m.chance(4) {
			j := Joint{Side: pick(m, Machine, Workpiece, CoolantIn, CoolantOut), Family: pick(m, TurretSeat, Cylindrical, Coupling, Pocket, Thread, PushIn, Through),
				Gender: pick(m, "M", "F", ""), Size: m.opt(20, 25, 32, 1e-3, 1e4), LSC: m.opt(80, 120), Clamp: pick(m, "", "split", "screws"), Flat: m.chance(2),
				Code: pick(m, "", "VDI40", "BMT65", "H25", "H32", "CCMT09T3", "CNMG1204", "G 1/4", "NPT 1/4", "8")}
			// As entry has it: what holds is on the machine or workpiece side, once a family; what
			// carries coolant is not.
			switch j.Family {
			case Thread, PushIn, Through:
				j.Side = pick(m, CoolantIn, CoolantOut)
				j.Gender = pick(m, "M", "F")
			default:
				j.Side = pick(m, Machine, Workpiece)
				if _, ok := p.joint(j.Side, j.Family); ok {
					continue
				}
				if j.Gender = "M"; j.Side == Workpiece {
					j.Gender = "F"
				}
				if j.Family == Cylindrical && !j.Size.Known || j.Family != Cylindrical && j.Code == "" {
					continue
				}
			}
			p.Joints = append(p.Joints, j)
		}
	}
	return r, items
}

// mated reports whether some joint of a on its workpiece side mates with one of b on its machine
// side.
func mated(a, b *Part) bool {
	for _, x := range a.Joints {
		for _, y := range b.Joints {
			if x.Side == Workpiece && y.Side == Machine && Mates(x, y) {
				return true
			}
		}
	}
	return false
}

// FuzzLinks: whatever joints parts have, the search ends, and what it tells holds together:
// neighbours mate, one sleeve, at most two adapters in a row, at most four pieces in the line,
// no piece twice, and a verdict that programs can read and that can be drawn.
func FuzzLinks(f *testing.F) {
	for i := range uint64(40) {
		f.Add(i, i*i)
	}
	f.Fuzz(func(t *testing.T, a, b uint64) {
		m := &maker{Rand: rand.New(rand.NewPCG(a, b))}
		r, items := m.wild()
		s, err := NewShelf(items, nil)
		if err != nil {
			t.Fatal(err)
		}
		v, err := s.Check(r)
		if err != nil {
			t.Fatalf("%v\n%+v", err, r)
		}
		s.Easier(r, &v)
		s.OtherRoute(r, &v)
		if v.Buildable != (len(v.Stacks) > 0) || v.Buildable == (len(v.Reasons) > 0) {
			t.Fatalf("buildable %v with %d stacks and %d reasons\n%s", v.Buildable, len(v.Stacks), len(v.Reasons), dump(r, items))
		}
		if _, err := json.Marshal(v.Answer("x")); err != nil {
			t.Fatal(err)
		}
		for i := range v.Stacks {
			sound(t, &v.Stacks[i], r, items)
		}
		for i := range v.Worse {
			sound(t, &v.Worse[i].Stack, v.Worse[i].easier(t, r), items)
		}
		for _, o := range v.Options {
			if len(o.Parts) == 0 || o.Text == "" {
				t.Fatalf("an option of nothing\n%s", dump(r, items))
			}
			drawn(t, o.Stack, r)
		}
	})
}

func sound(t *testing.T, st *Stack, r Request, items []Item) {
	t.Helper()
	fail := func(why string, args ...any) {
		t.Helper()
		t.Errorf(why, args...)
		t.Fatalf("%v\n%s", st.IDs(), dump(r, items))
	}
	kinds, used := map[Kind]int{}, map[string]int{}
	chain := []*Part{{Joints: []Joint{{Side: Workpiece, Family: TurretSeat, Code: r.Station.Interface}}}}
	line, row := 0, 0
	done := false // the insert is reached
	for _, u := range st.Pieces {
		used[u.ID()]++
		if u.Missing || u.Item == nil || used[u.ID()] > u.Item.Qty && u.Role != Insert || u.Item.Status != In {
			fail("%s is not free", u.ID())
		}
		if done {
			if len(u.Part.Ends()) != 2 {
				fail("%s in the line", u.ID())
			}
			line++
			continue
		}
		kinds[u.Role]++
		if u.Role == Adapter {
			row++
		} else {
			row = 0
		}
		if row > 2 {
			fail("three adapters in a row")
		}
		if last := chain[len(chain)-1]; !mated(last, u.Part) {
			fail("%s does not mate with what is behind it", u.ID())
		}
		chain = append(chain, u.Part)
		done = u.Role == Insert
	}
	if kinds[Holder] != 1 || kinds[Sleeve] > 1 || kinds[Bar] != 1 || kinds[Head] > 1 || kinds[Insert] != 1 || line > 4 {
		fail("%v and a line of %d", kinds, line)
	}
	if (line > 0) != (st.Route.Kind == "line") || r.Coolant == false && st.Route.Kind != "" {
		fail("a line of %d, coolant by %q", line, st.Route.Kind)
	}
	if st.Overhang < r.Overhang()-1e-6 || math.IsNaN(st.Overhang) || r.Station.MaxProjection.Known && st.Overhang > r.Station.MaxProjection.V+1e-6 {
		fail("overhang %v", st.Overhang)
	}
	drawn(t, st, r)
}

func drawn(t *testing.T, st *Stack, r Request) {
	t.Helper()
	for _, s := range st.Geometry(&r).Shapes {
		if !(s.X0 <= s.X1) || math.Abs(s.X0) > 1e6 || math.Abs(s.X1) > 1e6 || !(s.Diameter >= 0 && s.Diameter < 1e6) {
			t.Fatalf("drawn as %+v", s)
		}
	}
}
