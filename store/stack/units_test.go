package stack

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
)

// read makes a part of its columns.
func read(t testing.TB, text string) *Part {
	t.Helper()
	p, err := ReadPart([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// shop lays parts on a shelf, one piece each; a column "status" or "qty" is the item's.
func shop(t testing.TB, texts ...string) *Shelf {
	t.Helper()
	s, err := NewShelf(nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range texts {
		all, err := parse([]byte(text))
		if err != nil {
			t.Fatal(err)
		}
		f := open(all[0])
		for k, v := range map[string]any{"status": "in", "qty": json.Number("1")} {
			if !f.has(k) {
				f.o.keys, f.o.field[k] = append(f.o.keys, k), &node{path: k, val: v}
			}
		}
		it, err := readItem(f)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if err := s.Put(it); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func checked(t testing.TB, s *Shelf, r Request) Verdict {
	t.Helper()
	v, err := s.Check(r)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func codes(v *Verdict) (out []Code) {
	for _, r := range v.Reasons {
		out = append(out, r.Code)
	}
	return out
}

// with returns text with members put in or, when null, taken out.
func with(t testing.TB, text, members string) string {
	t.Helper()
	var m, n map[string]any
	if err := json.Unmarshal([]byte(text), &m); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(members), &n); err != nil {
		t.Fatal(err)
	}
	for k, v := range n {
		if v == nil {
			delete(m, k)
		} else {
			m[k] = v
		}
	}
	b, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

const (
	coupledHolder = `{"kind":"holder","id":"HLD-C","interface":"VDI50","WT":4,"coolant":"through","CP":80,"joints":[{"side":"workpiece","family":"coupling","code":"K50"}]}`
	coupledBar    = `{"kind":"bar","id":"BAR-C","CCMS":"K50","DCONMS":32,"construction":"carbide","OAL":120,"CCWS":"H32","WT":2,"coolant":true,"coolant_in":["bore"],"CP":80}`
	shortHead     = `{"kind":"head","id":"HED-S","CCMS":"H32","HAND":"R","DMIN":38,"seat":"CCMT09T3","LF":30,"WT":0.4,"coolant":true,"CP":80}`
	someInserts   = `{"kind":"insert","id":"INS","seat":"CCMT09T3","RE":0.4,"edges":2,"qty":4}`
	roundHolder   = `{"kind":"holder","id":"HLD","interface":"VDI50","DCONWS":32,"LSC":130,"clamp":"split","WT":4,"coolant":"through","CP":80}`
	extension     = `{"kind":"adapter","id":"EXT","DCONMS":32,"DCONWS":25,"LSC":100,"clamp":"split","LF":40,"OAL":168,"OHX":200,"DMIN":38,"WT":1,"coolant":true,"CP":80}`
	shortBar      = `{"kind":"bar","id":"BAR","DCONMS":25,"construction":"carbide","OAL":160,"CCWS":"H32","WT":1.5,"coolant":true,"coolant_in":["bore"],"CP":80}`
)

func request40() Request {
	return Request{NeedDate: "2026-03-16", Station: Station{Interface: "VDI50", CoolantMaxBar: Some(70)}, BoreStartD: 40, Depth: 110, Clearance: 20,
		Hand: "R", Insert: Wanted{Seat: "CCMT09T3", RE: Some(0.4)}}
}

// TestHeldByCoupling: a bar held by a coupling sticks out as far as it is long. It has no grip,
// no clamp and no diameters to chain.
func TestHeldByCoupling(t *testing.T) {
	r := request40()
	st := checked(t, shop(t, coupledHolder, coupledBar, shortHead, someInserts), r).Stacks
	if len(st) != 1 {
		t.Fatal("not built")
	}
	s := st[0]
	if s.Overhang != 150 || s.Ratio != 150.0/32 || s.Grip.Known || s.ClampRatio().Known || s.LimitMM != 7*32 || len(s.Warnings) != 0 {
		t.Errorf("overhang %v, ratio %v, grip %v, limit %v, warnings %v; want 150 mm, 150/32, none, 224, none", s.Overhang, s.Ratio, s.Grip, s.LimitMM, s.Warnings)
	}
	var names []string
	for _, c := range s.Checks {
		names = append(names, c.Name)
	}
	for _, want := range []string{"coupling that holds the bar", "reach of bar and head, mm", "overhang"} {
		if !slices.Contains(names, want) {
			t.Errorf("no check %q in %v", want, names)
		}
	}
	for _, not := range []string{"clamp", "diameters, mm", "bar left to grip, mm"} {
		if slices.Contains(names, not) {
			t.Errorf("check %q of a bar that nothing grips", not)
		}
	}
	if len(s.Remarks) != 1 || !strings.Contains(s.Remarks[0], "150 mm where 130 mm would do") {
		t.Errorf("remarks %q", s.Remarks)
	}
	for _, tt := range []struct {
		what  string
		parts []string
		with  func(*Request)
		codes []Code
		text  string
	}{
		{"too short", []string{coupledHolder, with(t, coupledBar, `{"OAL":99}`), shortHead}, nil, []Code{codeShort}, "reaches 129 mm, the job needs 130 mm"},
		{"over the limit of its construction", []string{coupledHolder, with(t, coupledBar, `{"construction":"steel"}`), shortHead}, nil, []Code{codeOverMax}, "steel may stand out 128 mm (4 x D)"},
		{"over its maker's overhang", []string{coupledHolder, with(t, coupledBar, `{"OHX":140}`), shortHead}, nil, []Code{codeOverMax}, "maker allows 140 mm"},
		{"construction unknown", []string{coupledHolder, with(t, coupledBar, `{"construction":null}`), shortHead}, nil, []Code{codeOverMax}, "construction of BAR-C is not recorded"},
		{"length unknown", []string{coupledHolder, with(t, coupledBar, `{"OAL":null}`), shortHead}, nil, []Code{codeShort}, "length of BAR-C is not recorded"},
		{"head's length unknown", []string{coupledHolder, coupledBar, with(t, shortHead, `{"LF":null}`)}, nil, []Code{codeShort}, "LF of HED-S is not recorded"},
		{"thickness unknown", []string{coupledHolder, with(t, coupledBar, `{"DCONMS":null}`), shortHead}, nil, []Code{codeBody}, "the thickness of BAR-C is not recorded"},
		{"thicker than the hole", []string{coupledHolder, with(t, coupledBar, `{"DCONMS":40}`), shortHead}, nil, []Code{codeBody}, "40 mm thick"},
		{"another coupling of the same number", []string{with(t, coupledHolder, `{"joints":[{"side":"workpiece","family":"coupling","code":"P50"}]}`), coupledBar, shortHead}, nil, []Code{codeHub}, "coupling K50 that holds BAR-C"},
		{"a bore of its diameter is no coupling", []string{roundHolder, coupledBar, shortHead}, nil, []Code{codeHub}, "coupling K50 that holds BAR-C"},
		{"longer than the machine can swing, though the job is not", []string{coupledHolder, coupledBar, shortHead},
			func(r *Request) { r.Station.MaxProjection = Some(140) }, []Code{codeProject}, "stands out 150 mm, the machine can swing 140 mm"},
		// A shank bar would be set further out; this one cannot be.
		{"under a damped bar's shortest overhang", []string{coupledHolder, with(t, coupledBar, `{"construction":"damped_steel","OHN":160}`), shortHead}, nil, []Code{codeOverMin}, "sticks out 150 mm; it may not be used under 160 mm"},
		{"mass unknown at a station with a limit", []string{coupledHolder, with(t, coupledBar, `{"WT":null}`), shortHead},
			func(r *Request) { r.Station.MaxMassKg = Some(30) }, []Code{codeMass}, "the mass of BAR-C is not recorded"},
		{"coolant rating unknown", []string{coupledHolder, with(t, coupledBar, `{"CP":null}`), shortHead},
			func(r *Request) { r.Coolant, r.CoolantBar = true, 20 }, []Code{codePressure}, "rating of BAR-C is not recorded"},
	} {
		r := request40()
		if tt.with != nil {
			tt.with(&r)
		}
		v := checked(t, shop(t, append(tt.parts, someInserts)...), r)
		if v.Buildable || !slices.Equal(codes(&v), tt.codes) || !strings.Contains(v.Sentence(), tt.text) {
			t.Errorf("%s: buildable %v, %v, %q; want %v and %q", tt.what, v.Buildable, codes(&v), v.Sentence(), tt.codes, tt.text)
		}
	}
}

// A longer head is no better before a bar held by its coupling: many of them must not hide the
// one that is not too long.
func TestLongHeadsHideNothing(t *testing.T) {
	parts := []string{coupledHolder, coupledBar, shortHead, someInserts}
	for i := range 12 {
		parts = append(parts, with(t, shortHead, `{"id":"HED-L`+string(rune('A'+i))+`","LF":120}`)) // 240 mm, over 7 x 32
	}
	v := checked(t, shop(t, parts...), request40())
	if !v.Buildable {
		t.Fatal(v.Sentence())
	}
	if u, _ := v.Stacks[0].Find(Head); u.ID() != "HED-S" {
		t.Errorf("head %s, want HED-S", u.ID())
	}
}

// What is missing beside a bar held by its coupling is told with both ends of its length.
func TestMissingBesideCoupledBar(t *testing.T) {
	for _, tt := range []struct {
		what  string
		parts []string
		kind  Kind
		need  map[string]any
	}{
		{"holder", []string{coupledBar, shortHead, someInserts}, Holder, map[string]any{"interface": "VDI50", "CCWS": "K50"}},
		{"head", []string{coupledHolder, coupledBar, someInserts}, Head,
			map[string]any{"CCMS": "H32", "HAND": "R", "DMIN_max": 40.0, "seat": "CCMT09T3", "LF_min": 10.0, "LF_max": 104.0}},
		{"bar, out", []string{coupledHolder, with(t, coupledBar, `{"status":"out","out":{"to":"Brisa","due":"2026-03-20"}}`), shortHead, someInserts}, Bar,
			map[string]any{"DCONMS": 32.0, "CCMS": "K50", "construction": "carbide", "CCWS": "H32", "OAL_min": 100.0, "OAL_max": 194.0}},
	} {
		v := checked(t, shop(t, tt.parts...), request40())
		if !slices.ContainsFunc(v.Options, func(o Option) bool {
			if len(o.Parts) != 1 || o.Parts[0].Kind != tt.kind {
				return false
			}
			got := o.Parts[0].Requires()
			for k, want := range tt.need {
				if got[k] != want {
					return false
				}
			}
			return len(got) == len(tt.need)
		}) {
			t.Errorf("%s: no option asks %v; told are:", tt.what, tt.need)
			for _, o := range v.Options {
				t.Log(o.Text, o.Parts[0].Requires())
			}
		}
		if tt.kind == Bar && v.AvailableOn != "2026-03-20" {
			t.Errorf("available %q, want the day the bar is back", v.AvailableOn)
		}
	}
}

// TestExtension: an adapter between holder and bar makes a short bar long enough; it adds
// length, not limit, and what is not on record of it is told.
func TestExtension(t *testing.T) {
	r := request40()
	if v := checked(t, shop(t, strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":25`, 1), shortBar, shortHead, someInserts), r); v.Buildable || !slices.Equal(codes(&v), []Code{codeShort}) {
		t.Fatalf("without the extension: %v, want BAR_TOO_SHORT (160 + 30 - 130 = 60 mm of 75)", v.Sentence())
	}
	v := checked(t, shop(t, roundHolder, extension, shortBar, shortHead, someInserts), r)
	if !v.Buildable {
		t.Fatal(v.Sentence())
	}
	st := v.Stacks[0]
	// 130 mm from the holder's face, 40 of them the extension: 160 + 30 - 90 = 100 mm in its bore.
	if !slices.Equal(st.IDs(), []string{"HLD", "EXT", "BAR", "HED-S", "INS"}) || st.Overhang != 130 || st.Grip != Some(100) || st.Ratio != 5.2 {
		t.Errorf("%v, overhang %v, grip %v, ratio %v; want HLD EXT BAR HED-S INS, 130, 100, 5.2", st.IDs(), st.Overhang, st.Grip, st.Ratio)
	}
	if st.Mass != Some(6.9) {
		t.Errorf("mass %v, want 6.9 kg with the extension", st.Mass)
	}
	if !slices.ContainsFunc(st.Checks, func(c Check) bool { return c.Name == "overhang, mm of EXT" && c.Value == "130" && c.Limit == "200" }) {
		t.Errorf("the extension's own limit is not among the checks: %v", st.Checks)
	}
	for _, tt := range []struct {
		what   string
		change string // of the extension
		with   func(*Request)
		codes  []Code
		text   string
	}{
		{"maker's overhang unknown", `{"OHX":null}`, nil, []Code{codeOverMax}, "longest overhang (OHX) of EXT is not recorded"},
		{"maker's overhang too short", `{"OHX":129}`, nil, []Code{codeOverMax}, "maker allows 129 mm"},
		{"length before the holder unknown", `{"LF":null}`, nil, []Code{codeShort}, "how far EXT stands out of its holder (LF) is not recorded"},
		{"its shank unknown", `{"OAL":null}`, nil, []Code{codeClamp}, "how long the shank of EXT is held is not recorded"},
		{"its shank too short", `{"OAL":130}`, nil, []Code{codeClamp}, "shank of EXT is held 90 mm; 96 mm (3 x D) needed"},
		{"its bore's length unknown", `{"LSC":null}`, nil, []Code{codeClamp}, "how long EXT grips (LSC) is not recorded"},
		{"its bore too short", `{"LSC":70}`, nil, []Code{codeClamp}, "EXT grips 70 mm, which is 2.8 x D"},
		{"its clamp unknown, no flat on the bar", `{"clamp":null}`, nil, []Code{codeStyle}, "set screws of EXT"},
		{"its smallest hole unknown, and it goes in", `{"DMIN":null}`, nil, []Code{codeDmin}, "EXT reaches 20 mm into the hole"},
		{"too thick for the hole", `{"DMIN":41}`, nil, []Code{codeDmin}, "needs one of 41 mm"},
		{"no coolant through it", `{"coolant":false}`, func(r *Request) { r.Coolant, r.CoolantBar = true, 20 }, []Code{codeBreak}, "EXT does not pass it on"},
		{"its rating unknown", `{"CP":null}`, func(r *Request) { r.Coolant, r.CoolantBar = true, 20 }, []Code{codePressure}, "rating of EXT is not recorded"},
		{"its mass unknown", `{"WT":null}`, func(r *Request) { r.Station.MaxMassKg = Some(40) }, []Code{codeMass}, "the mass of EXT is not recorded"},
	} {
		r := request40()
		if tt.with != nil {
			tt.with(&r)
		}
		v := checked(t, shop(t, roundHolder, with(t, extension, tt.change), shortBar, shortHead, someInserts), r)
		if v.Buildable || !slices.Equal(codes(&v), tt.codes) || !strings.Contains(v.Sentence(), tt.text) {
			t.Errorf("%s: buildable %v, %v, %q; want %v and %q", tt.what, v.Buildable, codes(&v), v.Sentence(), tt.codes, tt.text)
		}
	}
	r.Depth = 160
	if v := checked(t, shop(t, roundHolder, extension, with(t, shortBar, `{"OAL":190}`), shortHead, someInserts), r); v.Buildable || !strings.Contains(v.Sentence(), "180 mm of overhang is 7.2 x D of BAR, 25 mm thick; carbide may stand out 175 mm (7 x D)") {
		t.Errorf("the bar's limit does not stand: %s", v.Sentence())
	}
	// Before the hole its thickness does not matter.
	r.Clearance, r.Depth = 40, 90
	if v := checked(t, shop(t, roundHolder, with(t, extension, `{"DMIN":null}`), shortBar, shortHead, someInserts), r); !v.Buildable {
		t.Errorf("outside the hole: %s", v.Sentence())
	}
	// Set screws of the holder want a flat on its shank.
	screwed := strings.Replace(roundHolder, "split", "screws", 1)
	if v := checked(t, shop(t, screwed, extension, shortBar, shortHead, someInserts), r); v.Buildable || !strings.Contains(v.Sentence(), "EXT has no flat; the set screws of HLD") {
		t.Errorf("set screws on a round shank: %s", v.Sentence())
	}
	if v := checked(t, shop(t, screwed, with(t, extension, `{"flat":true}`), shortBar, shortHead, someInserts), r); !v.Buildable {
		t.Errorf("set screws on a flat: %s", v.Sentence())
	}
	// A damped bar's shortest overhang counts from the extension.
	r = request40()
	v = checked(t, shop(t, roundHolder, extension, with(t, shortBar, `{"construction":"damped_steel","OHN":100,"OAL":190}`), shortHead, someInserts), r)
	if !v.Buildable || v.Stacks[0].Overhang != 140 || !slices.Equal(v.Warnings(), []Code{warnOHN}) {
		t.Errorf("damped: %s; want it set 140 mm out, 100 from the extension", v.Sentence())
	}
}

// A missing extension is one way out among others, with all its sizes.
func TestExtensionOut(t *testing.T) {
	v := checked(t, shop(t, roundHolder, with(t, extension, `{"status":"out","out":{"to":"Brisa","job":"J-9","due":"2026-03-18"}}`), shortBar, shortHead, someInserts), request40())
	o := v.Options[0]
	want := map[string]any{"DCONMS": 32.0, "DCONWS": 25.0, "LF_min": 40.0, "LF_max": 40.0, "OAL_min": 136.0, "LSC_min": 75.0, "OHX_min": 130.0, "DMIN_max": 40.0, "clamp": "split"}
	got := o.Parts[0].Requires()
	for k, x := range want {
		if got[k] != x {
			t.Errorf("%s is %v, want %v", k, got[k], x)
		}
	}
	if len(got) != len(want) || v.AvailableOn != "2026-03-18" || v.HeldBy != "Brisa" || len(o.Parts[0].Owned) != 1 {
		t.Errorf("%v, available %s with %s, owned %v", got, v.AvailableOn, v.HeldBy, o.Parts[0].Owned)
	}
}

// By its joints a part is a sleeve, a holder or an adapter; what is entered as another is
// refused with the word for it.
func TestAdapterOnEntry(t *testing.T) {
	for _, tt := range []struct{ text, field, says string }{
		{`{"kind":"sleeve","DCONMS":50,"DCONWS":32,"LF":30}`, "LF", "record it as an adapter"},
		{`{"kind":"adapter","DCONMS":50,"DCONWS":32,"LF":0}`, "LF", "are a sleeve"},
		{`{"kind":"adapter","interface":"VDI50","DCONWS":32,"LF":30}`, "kind", "is a holder"},
		{`{"kind":"adapter","interface":"VDI50","CCWS":"K50"}`, "kind", "is a holder"},
		{`{"kind":"adapter","DCONMS":32,"DCONWS":40,"LF":90,"OAL":80}`, "LF", "over its whole length"},
		{`{"kind":"adapter","DCONMS":32,"CCMS":"K50"}`, "joints", "one on the workpiece side"},
		{`{"kind":"adapter","DCONMS":32}`, "joints", "two joints"},
		{`{"kind":"adapter","DCONMS":32,"DCONWS":40,"LF":-1}`, "LF", "out of range"},
	} {
		_, err := ReadPart([]byte(tt.text))
		bad := (*BadField)(nil)
		if !asBad(err, &bad) || bad.Field != tt.field || !strings.Contains(bad.Why, tt.says) {
			t.Errorf("%s: %v, want %s: …%s…", tt.text, err, tt.field, tt.says)
		}
	}
	// A bore wider than the shank is no thin wall: it stands in front of the holder.
	read(t, `{"kind":"adapter","DCONMS":25,"DCONWS":32,"LF":60,"LSC":100,"clamp":"split","flat":true,"OAL":140,"OHX":180}`)
}
