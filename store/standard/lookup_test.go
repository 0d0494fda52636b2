package standard

import (
	"bytes"
	"math"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The embedded tables and the reference tables of the tests are the same bytes.
func TestEmbeddedTables(t *testing.T) {
	entries, err := files.ReadDir("tables")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() == "threads_more.csv" {
			continue // our own, from memory
		}
		a, _ := files.ReadFile("tables/" + e.Name())
		b, err := os.ReadFile("../../testdata/standard/" + e.Name())
		if err != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs from testdata/standard: %v", e.Name(), err)
		}
	}
}

func TestFits(t *testing.T) {
	for _, r := range rows(t, "fits") {
		d, err := DeviationOf(num(r["nominal_mm"]), r["class"])
		if err != nil || d.Lower != int(num(r["lower_um"])) || d.Upper != int(num(r["upper_um"])) || d.Hole != (r["kind"] == "hole") || d.Status != r["status"] {
			t.Errorf("%s %s = %+v, %v, want %v", r["nominal_mm"], r["class"], d, err, r)
		}
	}
	for _, r := range rows(t, "fit_clearance") {
		f, err := FitOf(num(r["nominal_mm"]), r["hole"], r["shaft"])
		if err != nil || f.Min != int(num(r["min_clearance_um"])) || f.Max != int(num(r["max_clearance_um"])) || f.Kind != r["kind"] {
			t.Errorf("%s %s/%s = %+v, %v, want %v", r["nominal_mm"], r["hole"], r["shaft"], f, err, r)
		}
	}
	// The tolerance of a grade is one number: g6, h6 and k6 are equally wide, so are H7 and
	// h7, G7, F7, g7. This holds for the ranges from memory too.
	for _, mm := range []float64{4, 8, 16, 22, 31.75, 60, 100, 150} {
		w := map[string]int{}
		for _, c := range fitClasses {
			d, err := DeviationOf(mm, c)
			if err != nil {
				t.Fatal(err)
			}
			w[c] = d.Upper - d.Lower
		}
		if w["g6"] != w["h6"] || w["k6"] != w["h6"] || w["H7"] != w["h7"] || w["G7"] != w["h7"] || w["F7"] != w["h7"] || w["g7"] != w["h7"] {
			t.Errorf("at %g mm the grades are not one width: %v", mm, w)
		}
	}
	for _, bad := range []struct {
		mm          float64
		hole, shaft string
	}{{2, "H7", "h6"}, {200, "H7", "h6"}, {32, "h6", "h6"}, {32, "H7", "H7"}, {32, "H9", "h6"}, {math.NaN(), "H7", "h6"}, {32, "", ""}} {
		if f, err := FitOf(bad.mm, bad.hole, bad.shaft); err == nil {
			t.Errorf("FitOf(%g, %q, %q) = %+v, want a refusal", bad.mm, bad.hole, bad.shaft, f)
		}
	}
}

func TestSymbols(t *testing.T) {
	table := rows(t, "iso13399_symbols")
	if len(Symbols()) != len(table) {
		t.Errorf("%d symbols, want %d", len(Symbols()), len(table))
	}
	for _, r := range table {
		s, ok := SymbolOf(strings.ToLower(r["symbol"]))
		if !ok || s.Name != r["name"] || s.Unit != r["unit"] || strings.Join(s.AppliesTo, " ") != r["applies_to"] ||
			s.Definition != r["plain_definition"] || s.Confirmed != (r["confirmed"] == "yes") || s.Remark != r["remark"] {
			t.Errorf("SymbolOf(%s) = %+v, want %v", r["symbol"], s, r)
		}
	}
	if s, ok := SymbolOf("NOPE"); ok {
		t.Errorf("SymbolOf(NOPE) = %+v", s)
	}
}

func TestMaterialGroups(t *testing.T) {
	for _, r := range rows(t, "iso513") {
		g, class, err := ParseMaterialGroup(strings.ToLower(r["group"]))
		if err != nil || class != 0 || string(rune(g.Letter)) != r["group"] || g.Colour != r["colour"] || g.Short != r["short"] ||
			g.Description != r["description"] || g.Range != r["application_range"] || g.Status != r["status"] {
			t.Errorf("group %s = %+v, %v", r["group"], g, err)
		}
		if _, class, err := ParseMaterialGroup(r["group"] + " 10"); err != nil || class != 10 {
			t.Errorf("%s10 = %d, %v", r["group"], class, err)
		}
	}
	for _, bad := range []string{"", "X", "P51", "P00", "H40", "P5", "P250", "Р"} {
		if g, _, err := ParseMaterialGroup(bad); err == nil {
			t.Errorf("ParseMaterialGroup(%q) = %+v, want a refusal", bad, g)
		}
	}
	for _, r := range rows(t, "iso513_cutting_materials") {
		if CuttingMaterials()[r["symbol"]] != r["meaning"] {
			t.Errorf("%s = %q, want %q", r["symbol"], CuttingMaterials()[r["symbol"]], r["meaning"])
		}
	}
}

func TestWear(t *testing.T) {
	all := WearCriteria("")
	for i, r := range rows(t, "iso3685") {
		w := all[i]
		limit := opt(w.Limit)
		if w.ByFeed {
			limit = "0.06 + 0.3*f"
		}
		if w.ToolMaterial != r["tool_material"] || w.Criterion != r["criterion"] || limit != r["limit"] || w.Unit != r["unit"] ||
			w.Meaning != r["meaning"] || w.When != r["when"] || w.Status != r["status"] {
			t.Errorf("row %d = %+v, want %v", i+1, w, r)
		}
	}
	if n := len(WearCriteria("cemented carbide")); n != 4 {
		t.Errorf("%d criteria for cemented carbide, want 4", n)
	}
	for _, r := range rows(t, "iso3685_kt_examples") {
		if kt, err := CraterLimit(num(r["feed_mm_rev"])); err != nil || math.Abs(kt-num(r["kt_limit_mm"])) > 1e-12 {
			t.Errorf("KT at %s = %g, %v, want %s", r["feed_mm_rev"], kt, err, r["kt_limit_mm"])
		}
	}
	for _, bad := range []float64{0, -1, 6, math.NaN(), math.Inf(1)} {
		if kt, err := CraterLimit(bad); err == nil {
			t.Errorf("CraterLimit(%g) = %g, want a refusal", bad, kt)
		}
	}
}

func TestShankSystems(t *testing.T) {
	all := ShankSystems()
	seen := map[string]bool{}
	for i, r := range rows(t, "shank_systems") {
		s := all[i]
		if s.System != r["system"] || s.Standard != r["standard"] || s.Size != r["size"] || opt(s.NominalMM) != r["nominal_mm"] ||
			opt(s.ShankMM) != r["shank_diameter_mm"] || opt(s.FlangeMM) != r["flange_diameter_mm"] || opt(s.GaugeMM) != r["gauge_diameter_mm"] ||
			s.Remark != r["remark"] || s.Status != r["status"] {
			t.Errorf("row %d = %+v, want %v", i+1, s, r)
		}
		if s.Size == "" {
			continue // a bolt-on block has no name
		}
		if seen[s.Code()] {
			t.Errorf("two seats are called %s", s.Code())
		}
		seen[s.Code()] = true
		if back, err := ParseSeatSystem(s.Code()); err != nil || back != s {
			t.Errorf("%s reads as %+v, %v", s.Code(), back, err)
		}
	}
	for _, tt := range []struct{ text, want string }{
		{"vdi40", "VDI 40"}, {"DIN 69880-40", "VDI 40"}, {"HSK A63", "HSK-A 63"}, {"hsk-t 63", "HSK-T 63"}, {"PSC50", "PSC 50"},
		{"bt 40", "BT 40"}, {"CAT 40", "CV 40"}, {"BMT55", "BMT 55"}, {"SK-40", "SK 40"},
	} {
		if s, err := ParseSeatSystem(tt.text); err != nil || s.Code() != tt.want {
			t.Errorf("ParseSeatSystem(%q) = %q, %v, want %q", tt.text, s.Code(), err, tt.want)
		}
	}
	for _, bad := range []string{"", "40", "VDI", "VDI 45", "HSK 63", "X 40", "VDI 40 50"} {
		if s, err := ParseSeatSystem(bad); err == nil {
			t.Errorf("ParseSeatSystem(%q) = %+v, want a refusal", bad, s)
		}
	}
	if r := refusalOf(func() error { _, err := ParseSeatSystem("40"); return err }()); r == nil || len(r.Meant) < 6 {
		t.Errorf("a bare 40 does not name the seats it could be: %v", r)
	}
	vdi, _ := ParseSeatSystem("VDI 40")
	for _, tt := range []struct {
		other    string
		ok, note bool
	}{{"VDI 40", true, false}, {"VDI 30", false, true}, {"BT 40", false, true}, {"SK 40", false, true}} {
		o, _ := ParseSeatSystem(tt.other)
		if ok, why := vdi.Mates(o); ok != tt.ok || (why != "") != tt.note {
			t.Errorf("VDI 40 with %s: %v %q", tt.other, ok, why)
		}
	}
	bmt, _ := ParseSeatSystem("BMT 55")
	if ok, why := bmt.Mates(bmt); !ok || why == "" {
		t.Errorf("two base-mount seats of one number: %v %q, want a caution", ok, why)
	}
}

// A closer hole or a thinner shaft never turns clearance into less.
func TestFitOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm := rapid.Float64Range(3.01, 180).Draw(t, "mm")
		hg, err1 := FitOf(mm, "H7", "g6")
		hh, err2 := FitOf(mm, "H7", "h6")
		gh, err3 := FitOf(mm, "G7", "h6")
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		if hg.Min < hh.Min || gh.Min < hh.Min || hh.Min != 0 {
			t.Fatalf("at %g mm: H7/g6 %d, H7/h6 %d, G7/h6 %d", mm, hg.Min, hh.Min, gh.Min)
		}
	})
}

func FuzzLookups(f *testing.F) {
	for _, s := range []string{"VDI 40", "HSK-T 63", "P25", "40", "DCONMS"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := ParseSeatSystem(s); err == nil {
			if again, err := ParseSeatSystem(v.Code()); err != nil || again != v {
				t.Errorf("%q reads as %v, which reads as %v, %v", s, v, again, err)
			}
		}
		if _, class, err := ParseMaterialGroup(s); err == nil && (class < 0 || class > 50) {
			t.Errorf("%q is class %d", s, class)
		}
		SymbolOf(s)
		if p, err := ParseSeat(s); err == nil {
			if p.String() == "" {
				t.Errorf("%q is a seat without a name", s)
			}
		}
		if _, err := DeviationOf(32, s); err == nil && !strings.Contains("H7H8G7F7g6g7h6h7k6", strings.TrimSpace(s)) {
			t.Errorf("DeviationOf accepts %q", s)
		}
	})
}

// Every symbol a position names is in the table, and joined together the positions are
// the name again.
func TestPositions(t *testing.T) {
	check := func(name string, ps []Position, want string) {
		got := ""
		for _, p := range ps {
			got += p.Text
			if _, ok := SymbolOf(p.Symbol); p.Symbol != "" && !ok {
				t.Errorf("%s: position %s names %q, which is in no table", name, p.Number, p.Symbol)
			}
			if p.Meaning == "" || p.Text == "" {
				t.Errorf("%s: position %s says nothing: %+v", name, p.Number, p)
			}
		}
		if got != strings.ReplaceAll(want, "-", "") {
			t.Errorf("%s: the positions are %q, want %q", name, got, want)
		}
	}
	for _, r := range rows(t, "insert_examples") {
		in, err := ParseInsert(r["designation"])
		if err != nil {
			t.Fatal(err)
		}
		check(r["designation"], in.Positions(), in.String())
	}
	for _, r := range rows(t, "boring_bar_examples") {
		b, err := ParseBar(r["designation"])
		if err != nil {
			t.Fatal(err)
		}
		check(r["designation"], b.Positions(), b.String())
	}
	if (Insert{}).Positions() != nil || (Bar{}).Positions() != nil {
		t.Error("nothing has positions")
	}
}
