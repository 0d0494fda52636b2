package stack

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// easier returns the request that a worse answer says yes to, read from what it tells a person.
func (w *Worse) easier(t *testing.T, r Request) Request {
	t.Helper()
	var x float64
	scan := func(format string) {
		if _, err := fmt.Sscanf(w.Changes, format, &x); err != nil {
			t.Fatalf("%s: %q: %v", w.What, w.Changes, err)
		}
	}
	switch w.What {
	case "build_dry":
		r.Coolant, r.CoolantBar = false, 0
	case "lower_pressure":
		scan("at %f bar instead")
		r.CoolantBar = x
	case "less_deep":
		scan("%f mm of the")
		r.Depth = x
	case "other_insert":
		_, rest, _ := strings.Cut(w.Changes, "pocket ")
		r.Insert.Seat, _, _ = strings.Cut(rest, " ")
	default:
		t.Fatalf("%s is no worse answer we know", w.What)
	}
	return r
}

// TestWorse: on random shelves each worse answer is a yes to an easier question, by the twin;
// pressure and depth are the most that can be had; nothing is offered beside a yes.
func TestWorse(t *testing.T) {
	n := 1500
	if testing.Short() {
		n = 700
	}
	seen := map[string]int{}
	for i := range n {
		m := &maker{Rand: rand.New(rand.NewPCG(15, uint64(i)))}
		r, items := m.request(), m.shelf()
		s := shelfOf(t, items)
		v := checked(t, s, r)
		s.Easier(r, &v)
		if v.Buildable {
			if len(v.Worse) > 0 {
				t.Fatalf("trial %d: a yes with %v beside it", i, v.Worse)
			}
			continue
		}
		for j := range v.Worse {
			w := &v.Worse[j]
			seen[w.What]++
			q := w.easier(t, r)
			want := twin(q, items)
			if !want.ok || want.warnings != len(w.Stack.Warnings) || want.parts != len(w.Stack.Pieces) {
				t.Fatalf("trial %d: %s, %q: %v with %d warnings; the twin says %+v\n%s", i, w.What, w.Changes, w.Stack.IDs(), len(w.Stack.Warnings), want, dump(r, items))
			}
			switch w.What {
			case "less_deep":
				if q.Depth >= r.Depth || q.Depth < r.Depth/2 {
					t.Fatalf("trial %d: %v mm of %v", i, q.Depth, r.Depth)
				}
				if q.Depth++; q.Depth < r.Depth && twin(q, items).ok {
					t.Fatalf("trial %d: %q, though %v mm can be bored\n%s", i, w.Changes, q.Depth, dump(r, items))
				}
			case "lower_pressure":
				if q.CoolantBar >= r.CoolantBar || q.CoolantBar <= 0 {
					t.Fatalf("trial %d: %v bar of %v", i, q.CoolantBar, r.CoolantBar)
				}
				if q.CoolantBar += 0.5; q.CoolantBar < r.CoolantBar && twin(q, items).ok {
					t.Fatalf("trial %d: %q, though %v bar can be had\n%s", i, w.Changes, q.CoolantBar, dump(r, items))
				}
			}
		}
		// What the twin says can be had dry is offered.
		if dry := r; r.Coolant {
			dry.Coolant, dry.CoolantBar = false, 0
			if got := slices.ContainsFunc(v.Worse, func(w Worse) bool { return w.What == "build_dry" }); got != twin(dry, items).ok {
				t.Fatalf("trial %d: dry offered %v, the twin says %v\n%s", i, got, !got, dump(r, items))
			}
		}
	}
	t.Log(seen)
	for _, what := range []string{"build_dry", "lower_pressure", "less_deep", "other_insert"} {
		if seen[what] == 0 {
			t.Errorf("%s was never offered", what)
		}
	}
}

// TestNotWorse: another nose radius, a bar set longer and a smaller bar are no other question:
// the stack is told, with its warning where there is one.
func TestNotWorse(t *testing.T) {
	hold := strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":25`, 1)
	bar := with(t, shortBar, `{"OAL":240}`)
	for _, tt := range []struct {
		what  string
		parts []string
		warn  []Code
		says  string
	}{
		{"other nose radius", []string{hold, bar, shortHead, with(t, someInserts, `{"RE":0.8}`)}, []Code{warnRE}, "0.8 mm, asked is 0.4 mm"},
		{"set longer", []string{hold, with(t, bar, `{"construction":"damped_steel","OHN":150,"OAL":250}`), shortHead, someInserts}, []Code{warnOHN}, "set it at 150 mm"},
		{"smaller bar", []string{hold, with(t, roundHolder, `{"id":"HLD-40"}`), with(t, bar, `{"id":"BAR-40","DCONMS":40}`), bar, shortHead, someInserts}, nil, ""},
	} {
		s := shop(t, tt.parts...)
		v := checked(t, s, request40())
		s.Easier(request40(), &v)
		if !v.Buildable || !slices.Equal(v.Warnings(), tt.warn) || len(v.Worse) > 0 || !strings.Contains(v.Sentence(), tt.says) {
			t.Errorf("%s: %v, %v, %s", tt.what, v.Buildable, v.Warnings(), v.Sentence())
		}
	}
}

// TestNearMisses: a part that fails in one size is told with the distance and the rule it fails.
func TestNearMisses(t *testing.T) {
	bar := with(t, shortBar, `{"OAL":240}`)
	slv := `{"kind":"sleeve","id":"SLV","DCONMS":32,"DCONWS":25,"LSC":100,"index":"scribe","WT":0.4,"sealed":true,"CP":80}`
	hold25 := strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":25`, 1)
	for _, tt := range []struct {
		what  string
		parts []string
		with  func(*Request)
		item  string
		code  Code
		says  string
	}{
		{"inch in metric", []string{roundHolder, bar, shortHead, someInserts, with(t, slv, `{"id":"NEAR","DCONMS":31.75,"unit":"in/mm"}`)}, nil, "NEAR", codeBore, "31.75 mm (1.25 in) in 32 mm: 0.25 mm loose"},
		{"the other way round", []string{roundHolder, with(t, bar, `{"DCONMS":25.4}`), shortHead, someInserts, with(t, slv, `{"id":"NEAR"}`)}, nil, "NEAR", codeBore, "25.4 mm in 25 mm: 0.4 mm too tight"},
		{"a grip too short", []string{roundHolder, bar, shortHead, someInserts, with(t, slv, `{"id":"NEAR","LSC":70}`)}, nil, "NEAR", codeClamp, "grips 70 mm, at least 75 mm (3 x D) needed: 5 mm short"},
		{"a grip not recorded", []string{roundHolder, bar, shortHead, someInserts, with(t, slv, `{"id":"NEAR","LSC":null}`)}, nil, "NEAR", codeClamp, "how long it grips (LSC) is not recorded; 75 mm (3 x D) needed"},
		{"not for damped bars", []string{roundHolder, with(t, bar, `{"construction":"damped_steel","OAL":260}`), shortHead, someInserts, with(t, slv, `{"id":"NEAR"}`)}, nil, "NEAR", codeStyle, "not made to grip a damped bar full length"},
		{"not sealed", []string{roundHolder, bar, shortHead, someInserts, with(t, slv, `{"id":"NEAR","sealed":false}`)},
			func(r *Request) { r.Coolant, r.CoolantBar = true, 20 }, "NEAR", codeBreak, "not sealed: it would lose the coolant"},
		{"rated too low", []string{roundHolder, bar, shortHead, someInserts, with(t, slv, `{"id":"NEAR","CP":10}`)},
			func(r *Request) { r.Coolant, r.CoolantBar = true, 20 }, "NEAR", codePressure, "rated 10 bar, at least 20 bar needed: 10 bar too little"},
		{"the wrong hand", []string{roundHolder, slv, bar, with(t, shortHead, `{"id":"NEAR","HAND":"L"}`), someInserts}, nil, "NEAR", codeHand, "hand L, R needed"},
		{"a bigger hole needed", []string{roundHolder, slv, bar, with(t, shortHead, `{"id":"NEAR","DMIN":41}`), someInserts}, nil, "NEAR", codeDmin, "needs a hole of 41 mm, the part has 40 mm: 1 mm too big"},
		{"another pocket", []string{roundHolder, slv, bar, with(t, shortHead, `{"id":"NEAR","seat":"DCMT11T3"}`), someInserts}, nil, "NEAR", codeSeatReq, "pocket DCMT11T3, CCMT09T3 needed"},
		{"another turret", []string{with(t, strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":25`, 1), `{"id":"NEAR","interface":"VDI40"}`), bar, shortHead, someInserts}, nil, "NEAR", codeInterface, "turret side VDI40, VDI50 needed"},
		{"a head too long for a bar held by its coupling", []string{coupledHolder, coupledBar, with(t, shortHead, `{"id":"NEAR","LF":105}`), someInserts}, nil, "NEAR", codeOverMax, "with it the overhang is 225 mm, allowed are 224 mm (7 x D of carbide): 1 mm too far"},
		{"a damped bar that cannot be set so short", []string{hold25, with(t, bar, `{"id":"NEAR","construction":"damped_steel","OHN":160,"OAL":300}`), with(t, bar, `{"id":"AWAY","status":"quarantine"}`), shortHead, someInserts},
			func(r *Request) { r.Station.MaxProjection = Some(150) }, "NEAR", codeOverMin, "may not be set under 160 mm; the machine can swing 150 mm: 10 mm too long"},
		{"over the limit of its construction", []string{hold25, with(t, bar, `{"id":"NEAR","construction":"steel","OAL":300}`), with(t, bar, `{"id":"AWAY","status":"quarantine"}`), shortHead, someInserts},
			nil, "NEAR", codeOverMax, "may stand out at most 100 mm (4 x D of steel), 130 mm needed: 30 mm too far"},
		{"over its maker's overhang", []string{hold25, with(t, bar, `{"id":"NEAR","OHX":120}`), with(t, bar, `{"id":"AWAY","status":"quarantine"}`), shortHead, someInserts},
			nil, "NEAR", codeOverMax, "may stand out at most 120 mm by its maker, 130 mm needed: 10 mm too far"},
		{"too short", []string{hold25, with(t, bar, `{"id":"NEAR","OAL":170}`), with(t, bar, `{"id":"AWAY","status":"quarantine"}`), shortHead, someInserts},
			nil, "NEAR", codeShort, "leaves 70 mm of the bar to grip, at least 75 mm (3 x D) needed: 5 mm short"},
		{"too heavy", []string{hold25, with(t, bar, `{"id":"NEAR","WT":4}`), with(t, bar, `{"id":"AWAY","status":"quarantine"}`), shortHead, someInserts},
			func(r *Request) { r.Station.MaxMassKg = Some(8) }, "NEAR", codeMass, "4 kg, the station still carries 3.6 kg: 0.4 kg too heavy"},
	} {
		r := request40()
		if tt.with != nil {
			tt.with(&r)
		}
		v := checked(t, shop(t, tt.parts...), r)
		if v.Buildable || !slices.ContainsFunc(v.Misses, func(m Miss) bool { return m.Item == tt.item && m.Code == tt.code && m.Distance == tt.says }) {
			t.Errorf("%s: %+v, want %s %s %q", tt.what, v.Misses, tt.item, tt.code, tt.says)
		}
	}
}

// Another size altogether, a second fault and a piece that is out are no near miss; the nearest
// stands first.
func TestNoNearMiss(t *testing.T) {
	slv := `{"kind":"sleeve","id":"SLV","DCONMS":32,"DCONWS":25,"LSC":100,"index":"scribe","WT":0.4}`
	v := checked(t, shop(t, roundHolder, with(t, shortBar, `{"OAL":240}`), shortHead, someInserts,
		with(t, slv, `{"id":"FAR","DCONMS":40}`), with(t, slv, `{"id":"TWO","DCONMS":31.75,"LSC":60}`),
		with(t, slv, `{"id":"AWAY","DCONMS":31.75,"status":"out","out":{"to":"Brisa"}}`),
		with(t, slv, `{"id":"B","DCONMS":31.75}`), with(t, slv, `{"id":"A","DCONMS":31.9}`), with(t, slv, `{"id":"C","LSC":74}`)), request40())
	var got []string
	for _, m := range v.Misses {
		got = append(got, m.Item)
	}
	if !slices.Equal(got, []string{"A", "B", "C"}) {
		t.Errorf("near misses %v, want A B C: 0.1 of 32, 0.25 of 32, 1 of 75", got)
	}
	if s := checked(t, shop(t, roundHolder, slv, with(t, shortBar, `{"OAL":240}`), shortHead, someInserts, with(t, slv, `{"id":"B","DCONMS":31.75}`)), request40()); len(s.Misses) > 0 {
		t.Errorf("near misses beside a yes: %v", s.Misses)
	}
}
