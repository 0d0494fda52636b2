package standard

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestParseSize(t *testing.T) {
	for _, tt := range []struct {
		text, want string
		mm         float64
		both       string
	}{
		{"25 mm", "25 mm", 25, "25 mm (≈ 0.9843 in)"},
		{"25mm", "25 mm", 25, ""},
		{"Ø32mm", "32 mm", 32, ""},
		{"⌀ 31,75 mm", "31.75 mm", 31.75, "31.75 mm (1.25 in)"},
		{"31.750 mm", "31.75 mm", 31.75, ""},
		{`1-1/4"`, "1-1/4 in", 31.75, "1-1/4 in (31.75 mm)"},
		{"1 1/4 in", "1-1/4 in", 31.75, ""},
		{"1¼ inch", "1-1/4 in", 31.75, ""},
		{"1.25in", "1.25 in", 31.75, "1.25 in (31.75 mm)"},
		{"1,25 in", "1.25 in", 31.75, ""},
		{"5/16", "5/16 in", 7.9375, "5/16 in (≈ 7.938 mm)"},
		{"10/8 in", "1-1/4 in", 31.75, ""},
		{"16/16\"", "1 in", 25.4, "1 in (25.4 mm)"},
		{".5 in", "0.5 in", 12.7, ""},
		{"0,125 in", "0.125 in", 3.175, ""},
		{"1-1/4″", "1-1/4 in", 31.75, ""},
		{"１．２５　ｉｎ", "1.25 in", 31.75, ""},
		{"2 in.", "2 in", 50.8, ""},
		{"0 mm", "0 mm", 0, ""},
		{"100000 mm", "100000 mm", 100000, ""},
	} {
		s, err := ParseSize(tt.text)
		if err != nil || s.String() != tt.want || s.MM() != tt.mm || tt.both != "" && s.Both() != tt.both {
			t.Errorf("ParseSize(%q) = %q, %g, %q, %v, want %q, %g, %q", tt.text, s, s.MM(), s.Both(), err, tt.want, tt.mm, tt.both)
		}
	}
	for _, tt := range []struct{ text, code string }{
		{"25", CodeUnit}, {"1.25", CodeUnit}, {"1,25", CodeUnit}, {"1,250 mm", CodeMeaning}, {"12,500", CodeMeaning}, {"", CodeEmpty},
		{"mm", CodeForm}, {"-5 mm", CodeMeaning}, {"5 cm", CodeForm}, {"5'", CodeForm}, {"1/3 in", CodeMeaning}, {"1/0", CodeMeaning},
		{"0/4 in", CodeMeaning}, {"1 5/4 in", CodeMeaning}, {"1/4 mm", CodeMeaning}, {"1e3 mm", CodeForm}, {"1.2.3 mm", CodeForm},
		{"100001 mm", CodeMeaning}, {"9999999999 mm", CodeMeaning}, {"0.0000000001 mm", CodeMeaning}, {"NaN mm", CodeForm}, {"5 mm 6 mm", CodeForm},
		{"+5 mm", CodeForm}, {"5. mm", CodeForm}, {"٥ mm", CodeCharset}, {"1-1/4/2 in", CodeForm}, {"5 mm\x00", CodeControl},
	} {
		var r *Refusal
		if s, err := ParseSize(tt.text); !errors.As(err, &r) || r.Code != tt.code {
			t.Errorf("ParseSize(%q) = %q, %v, want %s", tt.text, s, err, tt.code)
		}
	}
	var r *Refusal
	if _, err := ParseSize("1.25"); !errors.As(err, &r) || len(r.Meant) != 2 || r.Meant[0] != "1.25 mm" || r.Meant[1] != "1.25 in" {
		t.Errorf("a bare number does not ask for its unit: %v", err)
	}
	if s, err := ParseSizeIn("1.25", Inch); err != nil || s.String() != "1.25 in" {
		t.Errorf("in a column of inches: %v, %v", s, err)
	}
	if s, err := ParseSizeIn("1.25 mm", Inch); err != nil || s.String() != "1.25 mm" {
		t.Errorf("a written unit does not win: %v, %v", s, err)
	}
	var zero Size
	if !zero.IsZero() || zero.String() != "" || zero.Both() != "" || zero.MM() != 0 || zero.Same(zero) {
		t.Errorf("no size reads as %q", zero)
	}
	if _, err := Millimetres(math.NaN()); err == nil {
		t.Error("NaN is a size")
	}
	a, _ := ParseSize("1-1/4 in")
	b, _ := ParseSize("31.75 mm")
	c, _ := ParseSize("32 mm")
	if !a.Same(b) || a == b || a.Same(c) {
		t.Error("1-1/4 in and 31.75 mm are not the same length in other units")
	}
}

// A size never drifts: text to size to text, and the exact inch of 25.4 mm.
func TestSizeExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(0, 2_000_000).Draw(t, "n")
		s := Size{unit: rapid.SampledFrom([]Unit{MM, Inch}).Draw(t, "unit")}
		if s.unit == Inch && rapid.Bool().Draw(t, "fraction") {
			d := rapid.SampledFrom([]int64{2, 4, 8, 16, 32, 64, 128}).Draw(t, "64ths")
			s.num, s.den = lowest(n%(3000*d), d)
			s.fraction = s.den > 1
		} else {
			s.num, s.den = lowest(n, rapid.SampledFrom([]int64{1, 10, 100, 1000, 1_000_000}).Draw(t, "decimals"))
		}
		if s.MM() > maxSizeMM {
			return
		}
		again, err := ParseSize(s.String())
		if err != nil || again != s || !again.Same(s) && !s.IsZero() {
			t.Fatalf("%#v is %q, which reads as %#v, %v", s, s, again, err)
		}
		text, _ := s.MarshalText()
		var back Size
		if err := back.UnmarshalText(text); err != nil || back != s {
			t.Fatalf("%q is unmarshalled as %v, %v", text, back, err)
		}
		if d := s.In()*25.4 - s.MM(); math.Abs(d) > 1e-9*(1+s.MM()) {
			t.Fatalf("%v: %g in and %g mm differ by %g", s, s.In(), s.MM(), d)
		}
	})
}

func FuzzParseSize(f *testing.F) {
	for _, s := range []string{"25 mm", `1-1/4"`, "1,25 in", "5/16", "Ø32mm", "1¼ inch", "25"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseSize(text)
		if err != nil {
			return
		}
		if again, err := ParseSize(s.String()); err != nil || again != s {
			t.Errorf("%q reads as %v, but that reads as %v, %v", text, s, again, err)
		}
		if s.MM() < 0 || s.MM() > maxSizeMM+1e-6 {
			t.Errorf("%q is %g mm", text, s.MM())
		}
		s.Both()
	})
}
