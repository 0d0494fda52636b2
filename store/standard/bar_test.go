package standard

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestBarExamples(t *testing.T) {
	for _, r := range rows(t, "boring_bar_examples") {
		b, err := ParseBar(r["designation"])
		if err != nil {
			t.Error(err)
			continue
		}
		for _, col := range BarColumns {
			want, ok := r[col]
			if !ok {
				t.Fatalf("the table has no column %s", col)
			}
			column(t, r["designation"], col, b.Column(col), want)
		}
		if again, err := ParseBar(b.String()); err != nil || again != b {
			t.Errorf("%v reads again as %v, %v", b, again, err)
		}
	}
}

func TestBarInvalid(t *testing.T) {
	for _, r := range rows(t, "boring_bar_invalid") {
		b, rd, err := ReadBar(r["text"])
		var ref *Refusal
		switch want := r["recommended"]; want {
		case "reject", "other_system":
			if !errors.As(err, &ref) || ref.Status != want || ref.Why == "" {
				t.Errorf("%q = %v, %v, want %s: %s", r["text"], b, err, want, r["reason"])
			}
		default:
			if err != nil || rd.Status != want || b.String() != r["canonical"] {
				t.Errorf("%q = %v, %q, %v, want %s %s", r["text"], b, rd.Status, err, want, r["canonical"])
			}
			if (want == "accept_incomplete") != (b.Asks() != nil) {
				t.Errorf("%q asks for %v", r["text"], b.Asks())
			}
		}
	}
}

func TestBarRefusalPlace(t *testing.T) {
	for _, tt := range []struct {
		text string
		at   int
		char string
	}{
		{"25T-SCLCR 09", 1, "2"}, {"Z25T-SCLCR 09", 1, "Z"}, {"A25I-SCLCR 09", 4, "I"}, {"A250-SCLCR 09", 4, "0"}, {"A5T-SCLCR 09", 2, "5"},
		{"A25T-QCLCR 09", 6, "Q"}, {"A25T-SCICR 09", 8, "I"}, {"A25T-SCLXR 09", 9, "X"}, {"A25T-SCLCN 09", 10, "N"}, {"A25T-SCLCR", 11, ""},
		{"A25T-SCLCR 45", 12, "4"}, {"A25T-SCLCR O9", 12, "O"}, {"A16T-SCLCR3", 11, "3"}, {"A2OT-SCLCR 09", 3, "O"}, {"А25T-SCLCR 09", 1, "А"},
	} {
		var ref *Refusal
		if _, err := ParseBar(tt.text); !errors.As(err, &ref) || ref.At != tt.at || ref.Char != tt.char {
			t.Errorf("ParseBar(%q): %v, want character %d %q", tt.text, err, tt.at, tt.char)
		}
	}
}

// Each row of the symbol table, in a name that uses it.
func TestBarSymbols(t *testing.T) {
	read := func(text string) Bar {
		b, err := ParseBar(text)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for _, r := range rows(t, "boring_bar_designation") {
		sym := r["symbol"]
		if len(sym) != 1 {
			continue // two digits, a letter: said in words
		}
		switch r["position"] {
		case "1":
			b := read(sym + "25T-SCLCR09")
			want := b.Material()
			for _, x := range []struct {
				is   bool
				text string
			}{{b.FixedHead(), " with fixed steel head"}, {b.CoolantBore(), "; coolant bore"}, {b.Damped(), "; vibration damping"}} {
				if x.is {
					want += x.text
				}
			}
			if want != r["meaning"] {
				t.Errorf("shank %s = %q, want %q", sym, want, r["meaning"])
			}
		case "3":
			lf, ok := read("A25" + sym + "-SCLCR09").LF()
			if ok != (r["value"] != "") || ok && g(lf) != r["value"] {
				t.Errorf("length %s = %v, want %s", sym, lf, r["value"])
			}
		case "4":
			if got := read("A25T-" + sym + "CLCR09").ClampingText(); got != r["meaning"] {
				t.Errorf("clamping %s = %q, want %q", sym, got, r["meaning"])
			}
		case "6":
			k, ok := read("A25T-SC" + sym + "CR09").KAPR()
			if ok != (r["value"] != "") || ok && g(k) != r["value"] {
				t.Errorf("style %s = %v, want %s", sym, k, r["value"])
			}
		case "8":
			if b := read("A25T-SCLC" + sym + "09"); string(rune(b.Hand)) != sym {
				t.Errorf("hand %s = %c", sym, b.Hand)
			}
		default:
			t.Errorf("position %s of the table is not tested", r["position"])
		}
	}
	for _, r := range rows(t, "boring_bar_dimensions") {
		b, ok := StandardBarOf(num(r["shank_diameter_mm"]))
		if !ok || string(rune(b.LengthLetter)) != r["length_letter"] || g(b.LengthMM) != r["length_mm"] || g(b.WF) != r["wf_mm"] || g(b.DMIN) != r["dmin_mm"] || b.Status != r["status"] {
			t.Errorf("standard bar %+v, want %v", b, r)
		}
		if barLengths[b.LengthLetter] != b.LengthMM {
			t.Errorf("letter %c is %g mm, the dimensions say %g", b.LengthLetter, barLengths[b.LengthLetter], b.LengthMM)
		}
	}
	for _, r := range rows(t, "boring_bar_inch_lengths") {
		b, err := ParseInchBar("A16" + r["letter"] + "-SCLCR3")
		lf, ok := b.LF()
		if err != nil || !ok || g(lf) != g(num(r["length_mm"])) || b.Diameter != 25.4 || b.IC() != 9.525 {
			t.Errorf("inch bar %v: %g mm, %v, want %s", b, lf, err, r["length_mm"])
		}
	}
	for _, r := range rows(t, "toolholder_styles") {
		h, err := ParseHolder("PC" + r["letter"] + "NR 2525M12")
		if k, form := h.KAPR(); err != nil || g(k) != r["kapr_deg"] || form != r["form"] {
			t.Errorf("style %s = %g %q, %v, want %v", r["letter"], k, form, err, r)
		}
	}
}

func TestHolders(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"PCLNR 2525M12", "H=25 B=25 LF=150 KAPR=95 CN..12"}, {"pclnr2525m12", "H=25 B=25 LF=150 KAPR=95 CN..12"},
		{"SDJCL 1212F11", "H=12 B=12 LF=80 KAPR=93 DC..11"}, {"MTJNR 3225P16-X", "H=32 B=25 LF=170 KAPR=93 TN..16"},
		{"SDNCN 2020 K 11", "H=20 B=20 LF=125 KAPR=63 DC..11"}, {"DCLNR 2525X12", "H=25 B=25 LF=0 KAPR=95 CN..12"},
	} {
		h, err := ParseHolder(tt.text)
		lf, _ := h.LF()
		k, _ := h.KAPR()
		if got := fmt.Sprintf("H=%d B=%d LF=%g KAPR=%g %s", h.H, h.B, lf, k, h.Pocket()); err != nil || got != tt.want {
			t.Errorf("ParseHolder(%q) = %s, %v, want %s", tt.text, got, err, tt.want)
		}
		if again, err := ParseHolder(h.String()); err != nil || again != h {
			t.Errorf("%v reads again as %v, %v", h, again, err)
		}
	}
	for _, bad := range []string{"", "PCLNR", "PCLNR 2525", "PCLNR 2525M", "PCLNR 2532M12", "PCLNR 25M12", "QCLNR 2525M12", "PCINR 2525M12", "PCLNR 2525M45", "PCLNR 0000M12"} {
		if h, err := ParseHolder(bad); err == nil {
			t.Errorf("ParseHolder(%q) = %v, want a refusal", bad, h)
		}
	}
}

func TestInchBars(t *testing.T) {
	for _, tt := range []struct {
		text   string
		mm, ic float64
	}{
		{"A16T-SCLCR3", 25.4, 9.525}, {"a08m-sclcr 2", 12.7, 6.35}, {"A16T-SCLCR-3", 25.4, 9.525}, {"S20U-MCLNL4", 31.75, 12.7}, {"A24U-MWLNR 4-X", 38.1, 12.7}, {"A06J-STFCR1.8", 9.525, 5.56},
	} {
		b, err := ParseInchBar(tt.text)
		if err != nil || b.Diameter != tt.mm || b.IC() != tt.ic || !b.Inch {
			t.Errorf("ParseInchBar(%q) = %+v, %v, want %g mm, circle %g", tt.text, b, err, tt.mm, tt.ic)
		}
		if again, err := ParseInchBar(b.String()); err != nil || again != b {
			t.Errorf("%v reads again as %v, %v", b, again, err)
		}
		if b, err := ParseBar(tt.text); err == nil {
			t.Errorf("ParseBar(%q) = %v: an inch bar read as a metric one", tt.text, b)
		}
	}
	if _, err := ParseInchBar("A25T-SCLCR 09"); err == nil {
		t.Error("a metric bar read as an inch one")
	}
}

// A dash or a space between positions parts nothing.
func TestBarSeparators(t *testing.T) {
	for _, text := range []string{"A25T-SCLCR09", "A25T SCLCR-09", "A25T-SCLCR-09", "a25t - sclcr - 09", "A25TSCLCR 09"} {
		if b, err := ParseBar(text); err != nil || b.String() != "A25T-SCLCR09" {
			t.Errorf("ParseBar(%q) = %v, %v", text, b, err)
		}
	}
	for _, text := range []string{"PCLNR-2525-M12", "PCLNR 25 25 M 12"} {
		if h, err := ParseHolder(text); err != nil || h.String() != "PCLNR2525M12" {
			t.Errorf("ParseHolder(%q) = %v, %v", text, h, err)
		}
	}
}

func TestBarMeasured(t *testing.T) {
	b, _ := ParseBar("A25T-SCLCR 09")
	x, _ := ParseBar("A25X-SCXCR 09")
	for _, tt := range []struct {
		b        Bar
		measured float64
		lf       float64
		from     string
		differs  bool
	}{
		{b, 0, 300, "from the designation", false}, {b, 300, 300, "measured", false}, {b, 287, 287, "measured", true},
		{x, 0, 0, "asked", false}, {x, 310, 310, "measured", false},
	} {
		lf, from, differs := tt.b.Measured(tt.measured)
		if lf != tt.lf || from != tt.from || differs != tt.differs {
			t.Errorf("%v measured %g: %g %q %v, want %g %q %v", tt.b, tt.measured, lf, from, differs, tt.lf, tt.from, tt.differs)
		}
	}
	if got := strings.Join(x.Asks(), " "); got != "LF KAPR" {
		t.Errorf("%v asks for %q", x, got)
	}
}

// What fits behind the name of a bar, and what only looks so.
func TestBarPocket(t *testing.T) {
	for _, tt := range []struct {
		bar, insert string
		fits        bool
		open        int
	}{
		{"A25T-SCLCR 09", "CCMT09T304", true, 1}, {"A25T-SCLCR 09", "CCGW09T304", true, 1}, {"A25T-SCLCR 09", "CCMT120404", false, 0},
		{"A25T-SCLCR 09", "CPMT09T304", false, 0}, {"S25T-PCLNR 12", "CNMG 432", true, 1}, {"S25T-PCLNR 12", "CNMG160608", false, 0},
		{"S25T-PCLNR 12", "CNGN120408", false, 0}, {"A32T-DDUNR 15", "DNMG150408", true, 1}, {"A32T-DDUNR 15", "DNMG150608", true, 1},
		{"A32T-MWLNR 08", "WNMG080408", true, 1}, {"A32T-CKUNR 16", "KNUX160405L11", true, 2}, {"E25T-SVUBR 16", "VCMT160404", false, 0},
		{"A25T-SRSCR 12", "RCMT1204M0", true, 2},
	} {
		b, err := ParseBar(tt.bar)
		if err != nil {
			t.Error(err)
			continue
		}
		in, err := ParseInsert(tt.insert)
		if err != nil {
			t.Error(err)
			continue
		}
		ok, why, open := b.Pocket().Fits(in)
		if ok != tt.fits || len(open) != tt.open || ok == (why != "") || b.Pocket().Meets(in.Pocket()) != ok {
			t.Errorf("%s in %s: %v %q %v, want %v and %d open", tt.insert, tt.bar, ok, why, open, tt.fits, tt.open)
		}
	}
}

func TestBarRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shape := rapid.SampledFrom([]byte("HOPSTCDEMVWRF")).Draw(t, "shape")
		letters := func(set, name string) string {
			return string(rune(rapid.SampledFrom([]byte(set)).Draw(t, name)))
		}
		text := letters("SABDCEFGHJKL", "shank") + fmt.Sprintf("%02d", rapid.IntRange(1, 99).Draw(t, "d")) +
			letters("ABCDEFGHJKLMNPQRSTUVWYX", "length") + rapid.SampledFrom([]string{"-", " ", "", "–", " - "}).Draw(t, "sep") +
			letters("CDMPSWX", "clamp") + string(rune(shape)) + letters("FKLPQSUWYXJZ", "style") + letters("ABCDEFGNPO", "clearance") +
			letters("RL", "hand") + rapid.SampledFrom([]string{"", " "}).Draw(t, "sep2") +
			rapid.SampledFrom(sizes[shape]).Draw(t, "size").code + rapid.SampledFrom([]string{"", "-X7", "C", "C-DA 1", " X"}).Draw(t, "tail")
		if rapid.Bool().Draw(t, "lower") {
			text = strings.ToLower(text)
		}
		b, err := ParseBar(text)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := ParseBar(b.String()); err != nil || again != b {
			t.Fatalf("%q reads as %+v, but %v reads as %+v, %v", text, b, b, again, err)
		}
		if k, ok := b.KAPR(); ok {
			if p, _ := b.PSIR(); k+p != 90 {
				t.Fatalf("%v: KAPR %g and PSIR %g are not 90 together", b, k, p)
			}
		}
	})
}

func FuzzParseBar(f *testing.F) {
	for _, r := range rows(f, "boring_bar_examples") {
		f.Add(r["designation"])
	}
	for _, r := range rows(f, "boring_bar_invalid") {
		f.Add(r["text"])
	}
	f.Add("S\u02ef\xaf\xafSTFPR 11") // a sign of another script that looks like nothing
	f.Fuzz(func(t *testing.T, s string) {
		b, rd, err := ReadBar(s)
		if err != nil {
			var ref *Refusal
			if !errors.As(err, &ref) || ref.Why == "" || len(err.Error()) > 2000 {
				t.Errorf("%q is refused without a reason: %v", s, err)
			}
		} else {
			rd.Notes()
			if again, err := ParseBar(b.String()); err != nil || again != b {
				t.Errorf("%q reads as %+v, but %v reads as %+v, %v", s, b, b, again, err)
			}
			for _, col := range BarColumns {
				b.Column(col)
			}
		}
		if b, err := ParseInchBar(s); err == nil {
			if again, err := ParseInchBar(b.String()); err != nil || again != b {
				t.Errorf("%q reads as %+v, but %v reads as %+v, %v", s, b, b, again, err)
			}
		}
		if h, err := ParseHolder(s); err == nil {
			if again, err := ParseHolder(h.String()); err != nil || again != h {
				t.Errorf("%q reads as %+v, but %v reads as %+v, %v", s, h, h, again, err)
			}
		}
	})
}

func BenchmarkParseBar(b *testing.B) {
	var texts []string
	for _, r := range rows(b, "boring_bar_examples") {
		texts = append(texts, r["designation"])
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if _, err := ParseBar(texts[i]); err != nil {
			b.Fatal(err)
		}
		if i++; i == len(texts) {
			i = 0
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "designations/s")
}
