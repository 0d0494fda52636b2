package standard

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// column compares one value with its column: numbers as numbers, all else as text; an
// empty field is an absent value.
func column(t *testing.T, name, col, got, want string) {
	t.Helper()
	if got == want {
		return
	}
	a, errA := strconv.ParseFloat(got, 64)
	b, errB := strconv.ParseFloat(want, 64)
	// A code such as "09" is text: only columns with a unit hold numbers.
	if (strings.HasSuffix(col, "_mm") || strings.HasSuffix(col, "_deg") || col == "usable_corners") && errA == nil && errB == nil && a == b {
		return
	}
	t.Errorf("%s: %s = %q, want %q", name, col, got, want)
}

func g(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func opt(v float64) string {
	if v == 0 {
		return ""
	}
	return g(v)
}

func TestInsertExamples(t *testing.T) {
	for _, r := range rows(t, "insert_examples") {
		in, err := ParseInsert(r["designation"])
		if err != nil {
			t.Error(err)
			continue
		}
		for _, col := range InsertColumns {
			want, ok := r[col]
			if !ok {
				t.Fatalf("the table has no column %s", col)
			}
			column(t, r["designation"], col, in.Column(col), want)
		}
		if again, err := ParseInsert(in.String()); err != nil || again != in {
			t.Errorf("%v reads again as %v, %v", in, again, err)
		}
	}
}

func TestInsertANSI(t *testing.T) {
	for _, r := range rows(t, "ansi_inserts") {
		metric, err := ParseInsert(r["iso"])
		if err != nil {
			t.Error(err)
			continue
		}
		inch, rd, err := ReadInsert(r["ansi"])
		if err != nil || !rd.Inch || inch != metric {
			t.Errorf("%s reads as %v, %v, want %v", r["ansi"], inch, err, metric)
		}
		n, ok := metric.Inch()
		got := fmt.Sprint(n.Name, n.Size, n.Thickness, n.Radius, n.IC, n.S, n.RE, n.Status, ok)
		want := fmt.Sprint(r["ansi"], r["ansi_size"], r["ansi_thickness"], r["ansi_radius"], r["ic_inch"], r["thickness_inch"], r["radius_inch"], r["status"], true)
		if got != want {
			t.Errorf("%s in inches: %s, want %s", r["iso"], got, want)
		}
	}
	for _, tt := range []struct{ ansi, iso string }{
		{"CCMT 3(2.5)1", "CCMT09T304"}, {"ccmt32.51", "CCMT09T304"}, {"CNMG 432-MF", "CNMG120408-MF"}, {"CNMG-432", "CNMG120408"}, {"TNMG-332-MF", "TNMG160408-MF"}, {"CNMG-120408", "CNMG120408"}, {"CNMG - 432", "CNMG120408"}, {"CNMG--432", ""}, {"CNMG-", ""}, {"CNMG 12-04-08", ""},
		{"DNMG 442", "DNMG150608"}, {"CNMG 430", "CNMG120400"}, {"RNMG 43", "RNMG120400"}, {"CNMG 431N", "CNMG120404N"},
		{"SNMM 1086", "SNMM311224"}, {"CNMG 992", ""}, {"CNMG 439", ""}, {"CNMG 4321", ""}, {"TPG 321", ""},
		{"WNMG 1011V3", "WNMG1011V3"}, // 10 is a metric size there, not size 10
	} {
		in, err := ParseInsert(tt.ansi)
		if (err != nil) != (tt.iso == "") || err == nil && in.String() != tt.iso {
			t.Errorf("ParseInsert(%q) = %v, %v, want %q", tt.ansi, in, err, tt.iso)
		}
	}
}

func TestInsertInvalid(t *testing.T) {
	for _, r := range rows(t, "insert_invalid") {
		in, rd, err := ReadInsert(r["text"])
		var ref *Refusal
		switch want := r["recommended"]; want {
		case "reject":
			if !errors.As(err, &ref) || ref.Status != Reject || ref.Why == "" {
				t.Errorf("%q = %v, %v, want it refused: %s", r["text"], in, err, r["reason"])
			}
			continue
		case "accept_or_reject_cleanly":
			if err == nil && in.Base() != r["base"] {
				t.Errorf("%q = %v, want %s", r["text"], in, r["base"])
			}
		case "other_system":
			if err != nil || rd.Status != want || !rd.Inch {
				t.Errorf("%q = %v, %q, %v, want the inch system", r["text"], in, rd.Status, err)
			}
		default:
			if err != nil || rd.Status != want || in.Base() != r["base"] || in.Suffix != r["suffix"] {
				t.Errorf("%q = %v, %q, %v, want %s, base %q, suffix %q", r["text"], in, rd.Status, err, want, r["base"], r["suffix"])
			}
		}
	}
}

// Each refusal of the table points at the right character.
func TestInsertRefusalPlace(t *testing.T) {
	for _, tt := range []struct {
		text string
		at   int
		char string
	}{
		{"CNMG 12O408", 8, "O"}, {"CNMG I20408", 6, "I"}, {"СNMG 120408", 1, "С"}, {"ZNMG 120408", 1, "Z"}, {"CZMG 120408", 2, "Z"},
		{"CNZG 120408", 3, "Z"}, {"CNMZ 120408", 4, "Z"}, {"CNMGG 120408", 5, "G"}, {"CNMG 1204088", 12, "8"}, {"CNMG 12040", 11, ""},
		{"CNMG 1204M0", 10, "M"}, {"RCMT 120408", 10, "0"}, {"CNMG 128408", 8, "8"}, {"  cnmg  130408", 9, "1"}, {"CNG 120408", 4, " "},
	} {
		var ref *Refusal
		if _, err := ParseInsert(tt.text); !errors.As(err, &ref) || ref.At != tt.at || ref.Char != tt.char {
			t.Errorf("ParseInsert(%q): %v, want character %d %q", tt.text, err, tt.at, tt.char)
		}
	}
}

func TestInsertShapes(t *testing.T) {
	for _, r := range rows(t, "insert_shapes") {
		s := shapes[shapeOf[r["letter"][0]]]
		if s.name != r["shape"] || opt(s.angle) != r["included_angle_deg"] || s.family != r["family"] || opt(float64(s.corners)) != r["corners_per_side"] || s.status != r["status"] {
			t.Errorf("shape %s = %+v, want %v", r["letter"], s, r)
		}
	}
	// The factors the table prints: edge over circle.
	for letter, f := range map[byte]float64{'W': 0.68404, 'T': math.Sqrt(3), 'H': 0.57735, 'O': 0.41421, 'P': 0.72654} {
		if got := shapes[shapeOf[letter]].edge(1); math.Abs(got-f) > 5e-6 {
			t.Errorf("edge factor of %c = %.6f, want %.5f", letter, got, f)
		}
	}
}

func TestInsertSizes(t *testing.T) {
	for _, r := range rows(t, "insert_size") {
		name := r["shape"] + r["size_code"]
		corner := "0100"
		if strings.Contains(r["note"], "M0") {
			corner = "01M0"
		}
		in, err := ParseInsert(r["shape"] + "CMT" + r["size_code"] + corner)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		column(t, name, "ic_mm", g(in.IC), r["ic_nominal_mm"])
		column(t, name, "edge_length_mm", g(in.L), r["edge_length_mm"])
		s := sizeByCodeText(in.Shape, in.Size)
		if r["ansi_size"] == "" {
			if _, ok := in.Inch(); ok {
				t.Errorf("%s has an inch name", name)
			}
			continue
		}
		n, _ := in.Inch()
		column(t, name, "exact_mm", g(circles[s.circle].exact), r["ic_exact_mm"])
		column(t, name, "ic_inch", n.IC, r["ic_inch"])
		column(t, name, "ansi_size", n.Size, r["ansi_size"])
	}
}

func TestInsertThicknessesAndCorners(t *testing.T) {
	table := rows(t, "insert_thickness")
	if len(table) != len(thicknesses) {
		t.Errorf("%d thicknesses, the table has %d", len(thicknesses), len(table))
	}
	for _, r := range table {
		in, err := ParseInsert("CNMG12" + r["code"] + "04")
		if err != nil {
			t.Error(err)
			continue
		}
		n, _ := in.Inch()
		column(t, r["code"], "thickness_mm", g(in.S), r["thickness_mm"])
		column(t, r["code"], "inch", n.S, r["inch"])
		column(t, r["code"], "ansi_thickness", n.Thickness, r["ansi_thickness"])
	}
	for _, r := range rows(t, "insert_radius") {
		shape := "CNMG1906"
		if r["code"] == "M0" {
			shape = "RCMT1204"
		}
		in, err := ParseInsert(shape + r["code"])
		if err != nil {
			t.Error(err)
			continue
		}
		n, _ := in.Inch()
		column(t, r["code"], "radius_mm", opt(in.RE), r["radius_mm"])
		column(t, r["code"], "ansi_radius", n.Radius, r["ansi_radius"])
	}
}

func TestInsertLetters(t *testing.T) {
	for _, r := range rows(t, "insert_clearance") {
		in, err := ParseInsert("C" + r["letter"] + "MT060204")
		an, ok := in.AN()
		if err != nil || ok != (r["clearance_deg"] != "") || ok && g(an) != r["clearance_deg"] {
			t.Errorf("clearance %s = %v, %v, %v, want %s", r["letter"], an, ok, err, r["clearance_deg"])
		}
	}
	for _, r := range rows(t, "insert_type") {
		in, err := ParseInsert("CNM" + r["letter"] + "120408")
		two, known := in.TwoSided()
		faces := "one"
		if !known {
			faces = "not derivable: needs a drawing"
		} else if two && in.ChipBreaker() == "none" {
			faces = "both (neutral faces)"
		} else if two {
			faces = "both"
		}
		sunk := map[Hole]string{HoleNone: "no", HoleCylindrical: "no", HoleSunk40One: "one side", HoleSunk70One: "one side", HoleSunk40Both: "both sides", HoleSunk70Both: "both sides", HoleSpecial: "special"}[in.Hole()]
		breaker := map[string]string{"none": "none", "one": "one face", "both": "both faces", "special": "special"}[in.ChipBreaker()]
		if err != nil || in.HoleText() != r["hole"] || breaker != r["chip_breaker"] || sunk != r["countersink"] || faces != r["faces_usable_when_clearance_is_N"] {
			t.Errorf("type %s: %q %q %q %q, %v, want %v", r["letter"], in.HoleText(), breaker, sunk, faces, err, r)
		}
	}
	for _, r := range rows(t, "insert_edge_condition") {
		if in, err := ParseInsert("CNMG120408" + r["letter"]); err != nil || in.EdgeText() != r["meaning"] {
			t.Errorf("edge %s = %q, %v, want %q", r["letter"], in.EdgeText(), err, r["meaning"])
		}
	}
	for _, r := range rows(t, "insert_hand") {
		if in, err := ParseInsert("CNMG120408" + r["letter"]); err != nil || in.HandText() != r["meaning"] {
			t.Errorf("hand %s = %q, %v, want %q", r["letter"], in.HandText(), err, r["meaning"])
		}
	}
	for _, r := range rows(t, "insert_wiper") {
		if want := r["as_first_letter_entering_angle_deg"]; want != "" {
			in, err := ParseInsert("APMT1604" + r["letter"] + "D")
			if kapr, _, ok := in.Wiper(); err != nil || !ok || strings.ReplaceAll(opt(kapr)+"|", "|", "") != strings.ReplaceAll(want, "other", "") {
				t.Errorf("wiper %s: %v, %v, %v, want %s", r["letter"], kapr, ok, err, want)
			}
		}
		in, err := ParseInsert("APMT1604P" + r["letter"])
		if _, cl, ok := in.Wiper(); err != nil || !ok || r["as_second_letter_wiper_clearance_deg"] != "other" && g(cl) != r["as_second_letter_wiper_clearance_deg"] {
			t.Errorf("wiper P%s: %v, %v, %v, want %s", r["letter"], cl, ok, err, r["as_second_letter_wiper_clearance_deg"])
		}
	}
}

func TestInsertTolerances(t *testing.T) {
	for _, r := range rows(t, "insert_tolerance") {
		for _, c := range []struct {
			col string
			of  func(Limits) float64
		}{
			{"d_plus_minus_mm", func(l Limits) float64 { return l.D }},
			{"m_plus_minus_mm", func(l Limits) float64 { return l.M }},
			{"s_plus_minus_mm", func(l Limits) float64 { return l.S }},
		} {
			low, high := math.Inf(1), math.Inf(-1)
			for _, size := range []string{"03", "06", "09", "12", "15", "19", "25", "31"} {
				in, err := ParseInsert("SN" + r["letter"] + "G" + size + "0400")
				if err != nil {
					t.Fatal(err)
				}
				if v := c.of(in.Limits()); v > 0 {
					low, high = min(low, v), max(high, v)
				}
			}
			want := r[c.col]
			a, b, wide := strings.Cut(want, " to ")
			if !wide {
				b = a
			}
			if low != num(a) || high != num(b) {
				t.Errorf("class %s %s: %g to %g, want %s", r["letter"], c.col, low, high, want)
			}
		}
	}
	for _, r := range rows(t, "insert_tolerance_by_ic") {
		shapesOf := map[string]string{"all except D and V": "CSTWR", "D": "D", "V": "V", "all": "CDSTVWR"}[r["shapes"]]
		for _, class := range strings.Fields(r["classes"]) {
			for _, shape := range shapesOf {
				for _, ic := range []float64{num(r["ic_from_mm"]), num(r["ic_to_mm"])} {
					l := limits(class[0], byte(shape), ic)
					if l.D != num(r["d_plus_minus_mm"]) || strings.Contains("MNU", class) && l.M != num(r["m_plus_minus_mm"]) {
						t.Errorf("class %s shape %c circle %g: %+v, want %v", class, shape, ic, l, r)
					}
				}
			}
		}
	}
}

// The traps of the trade: what looks alike and is not.
func TestInsertTraps(t *testing.T) {
	read := func(text string) Insert {
		in, err := ParseInsert(text)
		if err != nil {
			t.Fatal(err)
		}
		return in
	}
	if a, b := read("RCMT 1204M0"), read("RCMT 120400"); a.IC != 12 || b.IC != 12.7 || a.Seat() == b.Seat() || a.Pocket() == b.Pocket() {
		t.Errorf("12.0 and 12.7 are one: %v %v", a, b)
	}
	for _, tt := range []struct {
		text, seat string
		edges      int
	}{
		{"CNMG 120408", "CNMG1204", 4}, {"CNMG 432", "CNMG1204", 4}, {"DCMT 11T308", "DCMT11T3", 2}, {"CCMT 060204", "CCMT0602", 2},
		{"CNMM 190616", "CNMM1906", 2}, {"CNMA 120408", "CNMA1204", 4}, {"TNMG 160404R", "TNMG1604", 6}, {"RCMT 1204M0", "RCMT1204M0", 0},
		{"SNMX 120408", "SNMX1204", 0}, {"HNMG 090408", "HNMG0904", 12},
	} {
		if in := read(tt.text); in.Seat() != tt.seat || in.Edges() != tt.edges {
			t.Errorf("%s: seat %s, %d edges, want %s, %d", tt.text, in.Seat(), in.Edges(), tt.seat, tt.edges)
		}
	}
	for _, tt := range []struct {
		seat, insert string
		fits         bool
	}{
		{"DNMG1506", "DNMG150408", false}, {"DNMG1506", "DNMG150608", true}, {"DNMG1506", "DNGA150608", true}, {"CCMT09T3", "CPMT09T304", false},
		{"VBMT1604", "VCMT160404", false}, {"CNMG1204", "CNMG 432", true}, {"CNMG1204", "CNMG120412-MF", true}, {"CNMG1204", "CNGN120408", false},
		{"CCMT09T3", "CCGW09T304", true}, {"CCMT09T3", "CCMH09T304", false}, {"CN..1204", "CNGN120408", true}, {"CC..09", "CCMT09T304", true},
		{"CC..09", "CCMT090304", true}, {"RCMT1204M0", "RCMT120400", false}, {"RCMT1204", "RCMT120400", true},
	} {
		p, err := ParseSeat(tt.seat)
		if err != nil {
			t.Error(err)
			continue
		}
		if ok, why, _ := p.Fits(read(tt.insert)); ok != tt.fits || ok == (why != "") {
			t.Errorf("%s in %s: %v %q, want %v", tt.insert, tt.seat, ok, why, tt.fits)
		}
	}
	for _, bad := range []string{"", "CNMG", "CNMG12", "CNMG1304", "CX..12", "CN..", "12"} {
		if p, err := ParseSeat(bad); err == nil {
			t.Errorf("ParseSeat(%q) = %v, want a refusal", bad, p)
		}
	}
	if in := read("CNMG120408SM"); in.Edge != 0 || in.Suffix != "SM" {
		t.Errorf("a glued suffix was taken for an edge condition: %+v", in)
	}
	if in, err := ParseInsert("CCMT 060240"); err == nil || read("CNMG 120440").RE != 4 {
		t.Errorf("a radius of 4 mm on a 6.35 circle reads as %v", in)
	}
	if !read("CNMG 432").Same(read("cnmg 120408-MF")) || read("CNMG 432").Same(read("CNMG 431")) {
		t.Error("Same does not compare by the base")
	}
}

// The seats, radii and edges that the stack requests give for their inserts follow from
// the designations alone.
func TestStackSeats(t *testing.T) {
	for _, r := range rows(t, "stack_seats") {
		in, err := ParseInsert(r["designation"])
		if err != nil || in.Seat() != r["seat"] || in.RE != num(r["nose_radius_mm"]) || in.Edges() != int(num(r["usable_corners"])) {
			t.Errorf("%s: seat %s, radius %g, %d edges, %v, want %v", r["designation"], in.Seat(), in.RE, in.Edges(), err, r)
		}
	}
}

// anyInsert draws a designation from the grammar of the code, spelled in one of the ways
// people spell it.
func anyInsert(t *rapid.T) string {
	shape := rapid.SampledFrom([]byte("HOPSTCDEMVWRF")).Draw(t, "shape")
	s := rapid.SampledFrom(sizes[shape]).Draw(t, "size")
	th := rapid.SampledFrom(thicknesses).Draw(t, "thickness")
	clearance := rapid.SampledFrom([]byte("ABCDEFNPO")).Draw(t, "clearance")
	corner := "00"
	if shape != 'R' && s.ic > 3 {
		corner = rapid.SampledFrom([]string{"00", "01", "02", "04", "08", "12", "05", "06", "V3", "PD", "AZ"}).Draw(t, "corner")
	}
	text := string([]byte{shape, clearance, rapid.SampledFrom([]byte(toleranceLetters)).Draw(t, "tolerance"), rapid.SampledFrom(kinds).Draw(t, "type").letter})
	sep := rapid.SampledFrom([]string{"", " ", "\u00a0"}).Draw(t, "sep")
	text += sep + s.code + th.code + corner
	text += rapid.SampledFrom([]string{"", "F", "EN", "L", "S01020", "T02020N", "-MF", "FN-M 4", " MF", "MF"}).Draw(t, "tail")
	if rapid.Bool().Draw(t, "lower") {
		text = strings.ToLower(text)
	}
	return text
}

// What is accepted survives the round trip, and the inch name of an insert is that insert.
func TestInsertRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := anyInsert(t)
		in, err := ParseInsert(text)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := ParseInsert(in.String()); err != nil || again != in {
			t.Fatalf("%q reads as %v, but %v reads as %v, %v", text, in, in, again, err)
		}
		if n, ok := in.Inch(); ok {
			if back, err := ParseInsert(n.Name); err != nil || back.Base() != in.Base() {
				t.Fatalf("%v is %s in inches, which reads as %v, %v", in, n.Name, back, err)
			}
		}
		if p, err := ParseSeat(in.Seat()); err != nil || p != in.Pocket() {
			t.Fatalf("seat %s reads as %+v, %v, want %+v", in.Seat(), p, err, in.Pocket())
		}
		if ok, why, _ := in.Pocket().Fits(in); !ok {
			t.Fatalf("%v does not fit its own pocket: %s", in, why)
		}
	})
}

func FuzzParseInsert(f *testing.F) {
	for _, r := range rows(f, "insert_examples") {
		f.Add(r["designation"])
		f.Add(r["ansi_equivalent"])
	}
	for _, r := range rows(f, "insert_invalid") {
		f.Add(r["text"])
	}
	f.Fuzz(func(t *testing.T, s string) {
		in, rd, err := ReadInsert(s)
		if err != nil {
			var ref *Refusal
			if !errors.As(err, &ref) || ref.Why == "" || len(err.Error()) > 2000 {
				t.Errorf("%q is refused without a reason: %v", s, err)
			}
			return // refusing is fine, a panic is not
		}
		rd.Notes()
		if again, err := ParseInsert(in.String()); err != nil || again != in {
			t.Errorf("%q reads as %+v, but %v reads as %+v, %v", s, in, in, again, err)
		}
		if p, err := ParseSeat(in.Seat()); err != nil || p != in.Pocket() {
			t.Errorf("%q: seat %s reads as %+v, %v, want %+v", s, in.Seat(), p, err, in.Pocket())
		}
		for _, col := range InsertColumns {
			in.Column(col)
		}
	})
}

// benchInserts are valid designations of all the usual spellings.
func benchInserts(b testing.TB) []string {
	var out []string
	for _, r := range rows(b, "insert_examples") {
		out = append(out, r["designation"], r["canonical"])
		if strings.Contains(r["ansi_equivalent"], " ") {
			out = append(out, r["ansi_equivalent"])
		}
	}
	return out
}

func BenchmarkParseInsert(b *testing.B) {
	texts := benchInserts(b)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if _, err := ParseInsert(texts[i]); err != nil {
			b.Fatal(err)
		}
		if i++; i == len(texts) {
			i = 0
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "designations/s")
}
