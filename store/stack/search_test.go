package stack

import (
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strconv"
	"testing"
)

// twinTrials is how many random shelves the twin is asked about. The full run is
//
//	BRASSPEG_TWIN=20000 go test ./store/stack -run Twin
func twinTrials(t *testing.T) int {
	if s := os.Getenv("BRASSPEG_TWIN"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal("BRASSPEG_TWIN: ", err)
		}
		return n
	}
	if testing.Short() {
		return 300
	}
	return 3000
}

func shelfOf(t testing.TB, items []Item) *Shelf {
	t.Helper()
	s, err := NewShelf(items, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestTwin holds the search against the twin on random shelves: verdict, number of warnings,
// number of parts. Every missing option, once its parts of exactly the sizes told are on the
// shelf, makes the stack buildable, and with one of them left out it does not.
func TestTwin(t *testing.T) {
	n := twinTrials(t)
	built, options, several := 0, 0, 0
	for i := range n {
		m := &maker{Rand: rand.New(rand.NewPCG(1, uint64(i)))}
		r, items := m.request(), m.shelf()
		want := twin(r, items)
		s := shelfOf(t, items)
		v, err := s.Check(r)
		if err != nil {
			t.Fatalf("trial %d: %v", i, err)
		}
		if v.Buildable != want.ok {
			t.Fatalf("trial %d: buildable %v, the twin says %v\n%s", i, v.Buildable, want.ok, dump(r, items))
		}
		if v.Buildable {
			built++
			if st := &v.Stacks[0]; len(st.Warnings) != want.warnings || len(st.Pieces) != want.parts {
				t.Fatalf("trial %d: %d warnings %d parts %v, the twin finds %d and %d\n%s", i, len(st.Warnings), len(st.Pieces), st.IDs(),
					want.warnings, want.parts, dump(r, items))
			}
			continue
		}
		if len(v.Reasons) == 0 {
			t.Fatalf("trial %d: a no without a reason\n%s", i, dump(r, items))
		}
		if len(v.Options) == 0 && !slices.ContainsFunc(v.Reasons, func(x Reason) bool { return x.Code == codePump || x.Code == codeProject }) {
			t.Fatalf("trial %d: no option, reasons %v\n%s", i, v.Reasons, dump(r, items))
		}
		for _, o := range v.Options {
			options++
			var add []Item
			for j := range o.Parts {
				add = append(add, made(&o.Parts[j], j))
			}
			if !twin(r, append(slices.Clone(items), add...)).ok {
				t.Fatalf("trial %d: %q does not make it buildable\n%s", i, o.Text, dump(r, items))
			}
			if len(add) > 1 {
				several++
			}
			for j := range add {
				if twin(r, append(slices.Clone(items), slices.Delete(slices.Clone(add), j, j+1)...)).ok {
					t.Fatalf("trial %d: %q is not minimal, part %d is not needed\n%s", i, o.Text, j+1, dump(r, items))
				}
			}
		}
	}
	t.Logf("%d shelves, %d buildable, %d options told, %d of several parts", n, built, options, several)
	if built < n/20 || built > n*19/20 || options < n {
		t.Errorf("%d of %d shelves buildable, %d options: the shelves are too much alike to prove anything", built, n, options)
	}
}

// made turns a missing part into an item with exactly the sizes told: limits at their end, and
// nothing good that was not asked for.
func made(m *Missing, n int) Item {
	p := &Part{Code: fmt.Sprintf("NEW-%d", n), Kind: m.Kind}
	need := m.Requires()
	f := func(k string) Opt {
		if v, ok := need[k].(float64); ok {
			return Some(v)
		}
		return Opt{}
	}
	s := func(k string) string { v, _ := need[k].(string); return v }
	yes := func(k string) bool { v, _ := need[k].(bool); return v }
	add := func(j Joint) { p.Joints = append(p.Joints, j) }
	p.CP, p.WT, p.OAL, p.OHN, p.OHX, p.DMIN, p.RE = f("CP_min"), f("WT_max"), f("OAL_min"), f("OHN_max"), f("OHX_min"), f("DMIN_max"), f("RE")
	p.Construction, p.Hand = s("construction"), s("HAND")
	p.Coolant = yes("coolant") || s("coolant") == "through"
	p.Sealed, p.ForDamped = yes("sealed"), yes("for_damped")
	p.LF = Some(f("LF_min").Or(0))
	if v := s("interface"); v != "" {
		add(Joint{Side: Machine, Family: TurretSeat, Code: v})
	}
	if v := s("seat_out"); v != "" {
		add(Joint{Side: Workpiece, Family: TurretSeat, Code: v})
	}
	if v := f("DCONMS"); v.Known {
		add(Joint{Side: Machine, Family: Cylindrical, Gender: "M", Size: v, Flat: yes("flat")})
	}
	if v := f("DCONWS"); v.Known {
		add(Joint{Side: Workpiece, Family: Cylindrical, Gender: "F", Size: v, LSC: f("LSC_min"), Clamp: s("clamp")})
	}
	if v := s("CCMS"); v != "" {
		add(Joint{Side: Machine, Family: Coupling, Code: v})
	}
	if v := s("CCWS"); v != "" {
		add(Joint{Side: Workpiece, Family: Coupling, Code: v})
	}
	if v := s("seat"); v != "" {
		side := Workpiece
		if m.Kind == Insert {
			side = Machine
		}
		add(Joint{Side: side, Family: Pocket, Code: v})
	}
	for _, k := range []string{"ends", "coolant_in"} {
		list, _ := need[k].([]string)
		for _, e := range list {
			j, err := parseEnd(e)
			if err != nil {
				panic(err)
			}
			j.Side = CoolantIn
			add(j)
		}
	}
	return Item{ID: p.Code, Part: p, Status: In, Qty: 1}
}

// TestMorePartsNeverHurt: one more free part never turns a yes into a no, nor raises the
// number of warnings; and the order of the shelf never matters.
func TestMorePartsNeverHurt(t *testing.T) {
	for i := range twinTrials(t) / 3 {
		m := &maker{Rand: rand.New(rand.NewPCG(2, uint64(i)))}
		r, items := m.request(), m.shelf()
		a, err := shelfOf(t, items).Check(r)
		if err != nil {
			t.Fatal(err)
		}
		m.Shuffle(len(items), func(i, j int) { items[i], items[j] = items[j], items[i] })
		b, err := shelfOf(t, items).Check(r)
		if err != nil {
			t.Fatal(err)
		}
		x, y := a.Answer(""), b.Answer("")
		if !reflect.DeepEqual(x, y) {
			t.Fatalf("trial %d: the order of the shelf matters:\n%+v\n%+v\n%s", i, x, y, dump(r, items))
		}
		s := shelfOf(t, items)
		for range 3 {
			p := m.part(pick(m, Holder, Sleeve, Bar, Head, Insert, Hose, Fitting, Adapter))
			p.Code = fmt.Sprintf("X-%d", m.n)
			if err := s.Put(Item{ID: p.Code, Part: p, Status: In, Qty: 3}); err != nil {
				t.Fatal(err)
			}
		}
		c, err := s.Check(r)
		if err != nil {
			t.Fatal(err)
		}
		if a.Buildable && (!c.Buildable || len(c.Stacks[0].Warnings) > len(a.Stacks[0].Warnings)) {
			t.Fatalf("trial %d: more parts, worse answer\n%s", i, dump(r, items))
		}
	}
}

// TestShelfKeepsUp: a shelf kept current by Put and Remove answers like one made anew.
func TestShelfKeepsUp(t *testing.T) {
	for i := range twinTrials(t) / 10 {
		m := &maker{Rand: rand.New(rand.NewPCG(3, uint64(i)))}
		r, items, more := m.request(), m.shelf(), m.shelf()
		s := shelfOf(t, append(slices.Clone(more), items[:len(items)/2]...))
		for _, it := range more {
			s.Remove(it.ID)
		}
		for _, it := range items {
			if err := s.Put(it); err != nil {
				t.Fatal(err)
			}
		}
		a, err := s.Check(r)
		if err != nil {
			t.Fatal(err)
		}
		b, err := shelfOf(t, items).Check(r)
		if err != nil {
			t.Fatal(err)
		}
		if x, y := a.Answer(""), b.Answer(""); !reflect.DeepEqual(x, y) {
			t.Fatalf("trial %d: kept current %+v\nmade anew %+v", i, x, y)
		}
		for _, it := range items {
			s.Remove(it.ID)
		}
		if n, p := s.Len(); n+p+len(s.index)+len(s.bores)+len(s.shanks) != 0 {
			t.Fatalf("trial %d: an emptied shelf keeps %d items, %d parts, %d joints, sizes %v %v", i, n, p, len(s.index), s.bores, s.shanks)
		}
	}
}

func dump(r Request, items []Item) string {
	out := fmt.Sprintf("%+v\n", r)
	for _, it := range items {
		out += fmt.Sprintf("%s %s qty %d %v %v\n", it.ID, it.Status, it.Qty, it.Reserved, it.Part.Fields())
	}
	return out
}
