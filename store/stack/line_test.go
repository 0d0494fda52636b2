package stack

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

const (
	lineHolder = `{"kind":"holder","id":"HLD","interface":"VDI50","DCONWS":25,"LSC":130,"clamp":"split","WT":4,"coolant":"none","CP":80}`
	lineBar    = `{"kind":"bar","id":"BAR","DCONMS":25,"construction":"carbide","OAL":240,"CCWS":"H32","WT":1.5,"coolant":true,"coolant_in":["F:G 1/8"],"CP":80}`
)

func fitting(id, a, b string) string {
	return fmt.Sprintf(`{"kind":"fitting","id":%q,"ends":[%q,%q],"CP":80}`, id, a, b)
}

// TestLine: whatever has two coolant ends stands in the line, reducers and thread adapters with
// no rule of their own; ends mate by thread and gender, and at most four pieces stand in a row.
func TestLine(t *testing.T) {
	hose := fitting("HOS", "M:G 1/4", "M:G 1/4")
	hose = strings.Replace(hose, "fitting", "hose", 1)
	reducer := fitting("RED", "F:G 1/4", "M:G 1/8")
	for _, tt := range []struct {
		what  string
		port  string
		parts []string
		line  []string // nil: cannot be built
		codes []Code
		text  string
	}{
		{"hose and reducer", "F:G 1/4", []string{hose, reducer}, []string{"HOS", "RED"}, nil, ""},
		{"a reducer alone", "F:G 1/8", []string{fitting("NIP", "M:G 1/8", "M:G 1/8")}, []string{"NIP"}, nil, ""},
		{"the other way round", "F:G 1/4", []string{hose, fitting("RED", "M:G 1/8", "F:G 1/4")}, []string{"HOS", "RED"}, nil, ""},
		{"an adapter with coolant ends", "F:G 1/4", []string{hose, strings.Replace(reducer, "fitting", "adapter", 1)}, []string{"HOS", "RED"}, nil, ""},
		{"from one thread standard to another", "F:NPT 1/4",
			[]string{fitting("ADP", "M:NPT 1/4", "F:G 1/4"), hose, reducer}, []string{"ADP", "HOS", "RED"}, nil, ""},
		{"push-in hose between two unions", "F:G 1/4",
			[]string{fitting("UN1", "M:G 1/4", "F:push-in 8"), `{"kind":"hose","id":"TUB","ends":["M:push-in 8","M:push-in 8"],"CP":80}`, fitting("UN2", "F:push-in 8", "M:G 1/8")},
			[]string{"UN1", "TUB", "UN2"}, nil, ""},
		{"four pieces", "F:NPT 1/4", []string{fitting("AD1", "M:NPT 1/4", "F:G 3/8"), fitting("AD2", "M:G 3/8", "F:G 1/4"), hose, reducer}, []string{"AD1", "AD2", "HOS", "RED"}, nil, ""},
		{"five pieces are too many", "F:NPT 1/2", []string{fitting("AD0", "M:NPT 1/2", "F:NPT 1/4"), fitting("AD1", "M:NPT 1/4", "F:G 3/8"), fitting("AD2", "M:G 3/8", "F:G 1/4"), hose, reducer},
			nil, []Code{codeBreak}, "no hose or fitting joins"},
		{"the same number, another thread", "F:NPT 1/4", []string{hose, reducer}, nil, []Code{codeBreak}, "NPT 1/4 female"},
		{"two males", "M:G 1/4", []string{hose, fitting("RED", "M:G 1/4", "M:G 1/8")}, nil, []Code{codeBreak}, "G 1/4 male"},
		{"push-in of another size", "F:G 1/4",
			[]string{fitting("UN1", "M:G 1/4", "F:push-in 8"), `{"kind":"hose","id":"TUB","ends":["M:push-in 6","M:push-in 6"],"CP":80}`, fitting("UN2", "F:push-in 8", "M:G 1/8")},
			nil, []Code{codeBreak}, ""},
		{"one piece cannot stand twice", "F:G 1/8", []string{fitting("EXT", "M:G 1/8", "F:G 1/8"), fitting("RED2", "M:G 3/8", "M:G 1/8")}, nil, []Code{codeBreak}, ""},
		{"a rating that nobody knows", "F:G 1/4", []string{hose, with(t, reducer, `{"CP":null}`)}, nil, []Code{codePressure}, "rating of RED is not recorded"},
		{"a rating too low", "F:G 1/4", []string{hose, with(t, reducer, `{"CP":30}`)}, nil, []Code{codePressure}, "RED is rated 30 bar, 40 bar asked"},
	} {
		r := request40()
		r.Coolant, r.CoolantBar, r.Station.CoolantPort = true, 40, tt.port
		v := checked(t, shop(t, append(tt.parts, lineHolder, lineBar, shortHead, someInserts)...), r)
		if v.Buildable != (tt.line != nil) {
			t.Errorf("%s: buildable %v: %s", tt.what, v.Buildable, v.Sentence())
			continue
		}
		if !v.Buildable {
			if !slices.Equal(codes(&v), tt.codes) || !strings.Contains(v.Sentence(), tt.text) {
				t.Errorf("%s: %v, %s; want %v and %q", tt.what, codes(&v), v.Sentence(), tt.codes, tt.text)
			}
			continue
		}
		st := &v.Stacks[0]
		if got := st.IDs()[4:]; !slices.Equal(got, tt.line) || st.Route.Kind != "line" {
			t.Errorf("%s: line %v, want %v", tt.what, got, tt.line)
		}
		if steps := append(append([]string{"station"}, tt.line...), "BAR", "HED-S"); !slices.Equal(st.Route.Steps, steps) {
			t.Errorf("%s: route %v, want %v", tt.what, st.Route.Steps, steps)
		}
	}
}

// Two pieces of one fitting may stand in one line.
func TestLineTwice(t *testing.T) {
	r := request40()
	r.Coolant, r.CoolantBar, r.Station.CoolantPort = true, 40, "F:G 1/4"
	parts := []string{lineHolder, with(t, lineBar, `{"coolant_in":["F:G 1/4"]}`), shortHead, someInserts,
		`{"kind":"hose","id":"HOS","ends":["F:G 3/8","F:G 3/8"],"CP":80}`}
	for qty, want := range map[string]bool{"1": false, "2": true} {
		v := checked(t, shop(t, append(parts, with(t, fitting("RED", "M:G 1/4", "M:G 3/8"), `{"qty":`+qty+`}`))...), r)
		if v.Buildable != want {
			t.Errorf("%s pieces: buildable %v, want %v", qty, v.Buildable, want)
		}
		if want && !slices.Equal(v.Stacks[0].IDs()[4:], []string{"RED", "HOS", "RED"}) {
			t.Errorf("line %v", v.Stacks[0].IDs())
		}
	}
}

// TestOneSleeve: a sleeve in a sleeve is not built, nor a sleeve behind an adapter.
func TestOneSleeve(t *testing.T) {
	r := request40()
	slv := func(id string, out, in int) string {
		return fmt.Sprintf(`{"kind":"sleeve","id":%q,"DCONMS":%d,"DCONWS":%d,"LSC":120,"index":"scribe","WT":0.4}`, id, out, in)
	}
	v := checked(t, shop(t, strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":50`, 1), slv("S1", 50, 32), slv("S2", 32, 25), with(t, shortBar, `{"OAL":240}`), shortHead, someInserts), r)
	if v.Buildable || !slices.Equal(codes(&v), []Code{codeBore}) {
		t.Errorf("two sleeves: %v %s", v.Buildable, v.Sentence())
	}
	if want := "a sleeve: outside 50 mm, inside 25 mm"; len(v.Options) == 0 || !strings.HasPrefix(v.Options[0].Text, want) {
		t.Errorf("told %q, want %q", v.Sentence(), want)
	}
	v = checked(t, shop(t, strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":50`, 1), slv("S1", 50, 32), extension, shortBar, shortHead, someInserts), r)
	if v.Buildable {
		t.Errorf("an extension in a sleeve: %v", v.Stacks[0].IDs())
	}
	// One between extension and bar is one.
	v = checked(t, shop(t, roundHolder, with(t, extension, `{"DCONWS":32}`), slv("S2", 32, 25), shortBar, shortHead, someInserts), r)
	if !v.Buildable || len(v.Stacks[0].Pieces) != 6 {
		t.Errorf("a sleeve in an extension: %s", v.Sentence())
	}
}

// TestOtherRoute: where the bore does it, the best stack by hose is told too, last, whatever
// stands among the best.
func TestOtherRoute(t *testing.T) {
	r := request40()
	r.Coolant, r.CoolantBar, r.Station.CoolantPort = true, 40, "F:G 1/8"
	through := with(t, lineHolder, `{"coolant":"through"}`)
	parts := []string{through, shortHead, someInserts, fitting("NIP", "M:G 1/8", "M:G 1/8"),
		with(t, lineBar, `{"id":"BAR-H"}`)} // by hose alone
	for i := range 9 { // more stacks through the bore than are told
		parts = append(parts, with(t, lineBar, fmt.Sprintf(`{"id":"BAR-T%d","coolant_in":["bore"]}`, i)))
	}
	s := shop(t, parts...)
	v := checked(t, s, r)
	for _, st := range v.Stacks {
		if st.Route.Kind != "through" {
			t.Fatalf("a hose among the best: %v", st.IDs())
		}
	}
	best := v.Stacks[0].IDs()
	s.OtherRoute(r, &v)
	last := v.Stacks[len(v.Stacks)-1]
	if len(v.Stacks) != K || last.Route.Kind != "line" || !slices.Equal(last.IDs(), []string{"HLD", "BAR-H", "HED-S", "INS", "NIP"}) || !slices.Equal(v.Stacks[0].IDs(), best) {
		t.Errorf("%d stacks, the last %v by %s", len(v.Stacks), last.IDs(), last.Route.Kind)
	}
	s.OtherRoute(r, &v) // again changes nothing
	if len(v.Stacks) != K || v.Stacks[K-2].Route.Kind != "through" {
		t.Error("asked twice, another stack is gone")
	}
	// The other way round: a hose with no warning before a bore with one.
	r.Insert.RE = Opt{}
	parts = []string{lineHolder, with(t, through, `{"id":"HLD-N","LSC":90}`), shortHead, someInserts, fitting("NIP", "M:G 1/8", "M:G 1/8"),
		with(t, lineBar, `{"id":"BAR-T","coolant_in":["bore"]}`)}
	for i := range 9 {
		parts = append(parts, with(t, lineBar, fmt.Sprintf(`{"id":"BAR-H%d"}`, i)))
	}
	s = shop(t, parts...)
	v = checked(t, s, r)
	s.OtherRoute(r, &v)
	last = v.Stacks[len(v.Stacks)-1]
	if v.Stacks[0].Route.Kind != "line" || len(v.Stacks) != K || !slices.Equal(last.IDs(), []string{"HLD-N", "BAR-T", "HED-S", "INS"}) {
		t.Errorf("first %v, last %v; want the way through the bore last", v.Stacks[0].IDs(), last.IDs())
	}
}

// On random shelves: what OtherRoute adds is what a shelf without the first way gives as best.
func TestOtherRouteIsTheBest(t *testing.T) {
	added := 0
	for i := range 3000 {
		m := &maker{Rand: rand.New(rand.NewPCG(13, uint64(i)))}
		r, items := m.request(), m.shelf()
		if !r.Coolant {
			continue
		}
		r.Station.CoolantPort = "F:G 1/4"
		for j := range items { // most bars can be fed both ways
			if p := items[j].Part; p.Kind == Bar && !m.chance(4) {
				p.Joints = append(p.Joints, Joint{Side: CoolantIn, Family: Thread, Gender: "F", Code: "G 1/4"})
			}
		}
		for j := range 1 + m.IntN(2) {
			items = append(items, Item{ID: fmt.Sprintf("HO-X%d", j), Status: In, Qty: 1, Part: &Part{Code: fmt.Sprintf("HO-X%d", j), Kind: Hose, CP: m.opt(20, 80), Joints: []Joint{
				{Side: CoolantIn, Family: Thread, Gender: "M", Code: "G 1/4"}, {Side: CoolantIn, Family: Thread, Gender: "M", Code: "G 1/4"}}}})
		}
		s := shelfOf(t, items)
		v := checked(t, s, r)
		if !v.Buildable {
			continue
		}
		first := v.Stacks[0].Route.Kind
		if slices.ContainsFunc(v.Stacks, func(st Stack) bool { return st.Route.Kind != first }) {
			continue // both ways are among the best
		}
		n := len(v.Stacks)
		s.OtherRoute(r, &v)
		var other *Stack
		for j := range v.Stacks {
			if v.Stacks[j].Route.Kind != first {
				other = &v.Stacks[j]
				break
			}
		}
		// The shelf with the first way closed.
		closed := slices.Clone(items)
		q := r
		if first == "line" {
			q.Station.CoolantPort = ""
		} else {
			for j := range closed {
				p := *closed[j].Part
				p.Joints = slices.DeleteFunc(slices.Clone(p.Joints), func(x Joint) bool { return x.Family == Through })
				closed[j].Part = &p
			}
		}
		want := twin(q, closed)
		if want.ok != (other != nil) {
			t.Fatalf("trial %d: another way %v, the twin says %v (first %s, %d stacks)\n%s", i, other != nil, want.ok, first, n, dump(r, items))
		}
		if other != nil {
			added++
			if len(other.Warnings) != want.warnings || len(other.Pieces) != want.parts {
				t.Fatalf("trial %d: %v with %d warnings, the twin finds %d and %d parts\n%s", i, other.IDs(), len(other.Warnings), want.warnings, want.parts, dump(r, items))
			}
		}
	}
	if added < 25 {
		t.Errorf("%d other ways", added)
	}
	t.Logf("%d other ways", added)
}
