package stack

import (
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestMissingTellsAllItsSizes: with one part taken off a full shelf, the first option describes
// that part by every joint, length, limit, hand, construction and coolant it must have. The shelf
// has nothing of that kind left, so nobody has recorded one. Sizes are worked out by hand from
// the parts beside it: set 110 + 20 = 130 mm out, 3 x 25 mm of grip, 20 bar through the bore, and
// of 8 kg what the others leave.
func TestMissingTellsAllItsSizes(t *testing.T) {
	r := request40()
	r.Coolant, r.CoolantBar, r.Station.MaxMassKg = true, 20, Some(8)
	damped := with(t, longBar, `{"construction":"damped_steel","OAL":260}`)
	slv := with(t, sleeve32, `{"for_damped":true}`)
	full := map[Kind]string{Holder: roundHolder, Sleeve: slv, Bar: damped, Head: shortHead, Insert: someInserts}
	for _, tt := range []struct {
		kind  Kind
		text  string
		needs map[string]any
	}{
		{Sleeve, "a sleeve: outside 32 mm, inside 25 mm, gripping at least 75 mm, made for damped bars, sealed, rated 20 bar or more, at most 2.1 kg",
			map[string]any{"DCONMS": 32.0, "DCONWS": 25.0, "LSC_min": 75.0, "for_damped": true, "sealed": true, "CP_min": 20.0, "WT_max": 2.1}},
		{Head, "a head: coupling H32 on the machine side, hand R, smallest hole 40 mm or less, pocket CCMT09T3, passing coolant, rated 20 bar or more, at most 2.1 kg",
			map[string]any{"CCMS": "H32", "HAND": "R", "DMIN_max": 40.0, "seat": "CCMT09T3", "coolant": true, "CP_min": 20.0, "WT_max": 2.1}},
		{Insert, "an insert: for pocket CCMT09T3, nose radius 0.4 mm", map[string]any{"seat": "CCMT09T3", "RE": 0.4}},
	} {
		var parts []string
		for _, k := range slices.Sorted(maps.Keys(full)) {
			if k != tt.kind {
				parts = append(parts, full[k])
			}
		}
		v := checked(t, shop(t, parts...), r)
		if v.Buildable || len(v.Options) == 0 || len(v.Options[0].Parts) != 1 {
			t.Errorf("%s: %s", tt.kind, v.Sentence())
			continue
		}
		m := &v.Options[0].Parts[0]
		if m.Text() != tt.text || !maps.Equal(m.Requires(), tt.needs) || len(m.Owned)+len(m.Catalogue) > 0 {
			t.Errorf("%s: %q, %v\nwant %q, %v", tt.kind, m.Text(), m.Requires(), tt.text, tt.needs)
		}
	}
	// Of holders, bars and lines there are several ways; the one that spares the others is among them.
	for _, tt := range []struct {
		what  string
		parts []string
		text  string
	}{
		{"a holder for the sleeve", []string{slv, damped, shortHead, someInserts},
			"a holder: turret side VDI50, bore 25 mm, gripping at least 75 mm, split clamp, feeding its bore with coolant, rated 20 bar or more, at most 6.1 kg"},
		{"a bar for the sleeve", []string{roundHolder, slv, shortHead, someInserts},
			"a bar: shank 25 mm, damped steel, coupling H32 in front, at least 175 mm long, shortest overhang, if it has one, at most 130 mm, drilled for coolant, coolant inlet at its rear, rated 20 bar or more, at most 3.2 kg"},
		{"a bar held by its coupling, from and to", []string{coupledHolder, shortHead, someInserts, with(t, coupledBar, `{"status":"quarantine"}`)},
			"a bar: 32 mm thick, coupling K50 on the machine side, carbide, coupling H32 in front, 100 to 194 mm long, drilled for coolant, coolant inlet at its rear, rated 20 bar or more, at most 3.6 kg"},
	} {
		v := checked(t, shop(t, tt.parts...), r)
		var texts []string
		for _, o := range v.Options {
			texts = append(texts, o.Text)
		}
		if !slices.Contains(texts, tt.text) {
			t.Errorf("%s: not among the options: %q\n%q", tt.what, tt.text, texts)
		}
	}
	wet := r
	wet.Station.CoolantPort, wet.Station.MaxMassKg = "F:G 1/4", Opt{}
	v := checked(t, shop(t, with(t, hold25, `{"coolant":"none"}`), with(t, longBar, `{"coolant_in":["F:NPT 1/8"]}`), shortHead, someInserts), wet)
	if want := "a hose: ends G 1/4 male and NPT 1/8 male, rated 20 bar or more"; len(v.Options) == 0 || v.Options[0].Text != want {
		t.Errorf("a hose: %s; want %s", v.Sentence(), want)
	}
}

// A part that nobody has recorded weighs something: no way out asks for one of no mass.
func TestNothingWeighsNothing(t *testing.T) {
	asked := 0
	for i := range max(1000, twinTrials(t)/4) {
		m := &maker{Rand: rand.New(rand.NewPCG(51, uint64(i)))}
		r, items := m.request(), m.shelf()
		sum := 0.0 // what some of them weigh together is all that the station carries
		for _, it := range items[:m.IntN(len(items)+1)] {
			if m.IntN(3) == 0 {
				sum += it.Part.WT.Or(0)
			}
		}
		r.Station.MaxMassKg = Some(max(1, sum))
		v, err := shelfOf(t, items).Check(r)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range v.Options {
			for _, p := range o.Parts {
				for _, n := range p.Needs {
					if n.Name != "WT_max" {
						continue
					}
					if asked++; n.Value.(float64) <= 0 {
						t.Fatalf("trial %d: %s", i, p.Text())
					}
				}
			}
		}
	}
	if asked == 0 {
		t.Error("no way out asked for a mass: the test proves nothing")
	}
}
