package standard

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestFold(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"  cnmg 120408 ", "CNMG 120408"}, {"CNMG\u00a0120408", "CNMG 120408"}, {"ＣＮＭＧ１２０４０８", "CNMG120408"}, {"CNMG–120408", "CNMG-120408"},
		{`1-1/4" bar`, "1-1/4 BAR"}, {"1 1/4 bar", "1-1/4 BAR"}, {"1¼ in bar", "1-1/4 BAR"}, {"32mm sleeve", "32 SLEEVE"}, {"sleeve 50 32", "SLEEVE 50 32"},
		{"1,250 in", "1.25"}, {"Ø 32 mm", "32"}, {"G1/4", "G1/4"}, {"m10×1", "M10X1"}, {"a\u200bb\x00c", "ABC"}, {"", ""}, {"mm", ""}, {"PIN 4", "PIN 4"},
	} {
		if got := Fold(tt.text); got != tt.want {
			t.Errorf("Fold(%q) = %q, want %q", tt.text, got, tt.want)
		}
	}
}

// found is the search a store makes: every word of the query begins a word of a spelling.
func found(kind, designation, query string) bool {
	column := " " + strings.Join(Spellings(kind, designation), " ")
	for _, w := range strings.Fields(Fold(query)) {
		if !strings.Contains(column, " "+w) {
			return false
		}
	}
	return true
}

func TestSpellings(t *testing.T) {
	for _, tt := range []struct {
		kind, name, query string
		found             bool
	}{
		{"insert", "CNMG 120408-MF", "CNMG 432", true}, {"insert", "CNMG 120408-MF", "cnmg432", true}, {"insert", "CNMG 120408-MF", "cnmg 12 04 08", true},
		{"insert", "CNMG 120408-MF", "CNMG1204", true}, {"insert", "CNMG 120408-MF", "120408", true}, {"insert", "CNMG 120408-MF", "MF", true},
		{"insert", "CNMG 432", "CNMG120408", true}, {"insert", "CCMT 09T304", "CCMT 32.51", true}, {"insert", "CCMT 09T304", "CCMT 3(2.5)1", true},
		{"insert", "CNMG 120408", "CNMG 433", false}, {"insert", "CNMG 120408", "CCMT", false},
		{"bar", "A25T-SCLCR 09", "a25t sclcr", true}, {"bar", "A25T-SCLCR 09", "A25TSCLCR09", true}, {"bar", "A25T-SCLCR 09", "25", true}, {"bar", "A25T-SCLCR 09", "CC09", true},
		{"bar", "A20T-SCLCR3", "1-1/4", true}, {"bar", "A20T-SCLCR3", "31.75", true}, {"bar", "damped bar 31.75 mm", "1-1/4 bar", true},
		{"bar", "damped bar 31.75 mm", "1 1/4 bar", true}, {"bar", "damped bar 31.75 mm", "1.25 in bar", true}, {"bar", "damped bar 32 mm", "1-1/4 bar", false},
		{"sleeve", "sleeve 50 mm / 32 mm", "sleeve 50 32", true}, {"sleeve", `Reducer 2" x 1-1/4"`, "50.8 31.75", true}, {"sleeve", "Reducer 50 mm x 25.4 mm", "1 in", true},
		{"fitting", "G 1/4", "1/4 bspp", true}, {"hose", "NPT 1/4", "1/4 NPT", true}, {"fitting", "M10x1.5", "M10", true}, {"fitting", "JIC -6", "9/16-18", true},
		{"holder", "PCLNR 2525M12", "PCLNR 2525", true},
	} {
		if got := found(tt.kind, tt.name, tt.query); got != tt.found {
			t.Errorf("%q finds %q: %v, want %v (%q)", tt.query, tt.name, got, tt.found, Spellings(tt.kind, tt.name))
		}
	}
}

// A shop's fraction is offered only where the length is one.
func TestSizeSpellings(t *testing.T) {
	for _, tt := range []struct{ text, has, hasNot string }{
		{"sleeve 30.1625 mm", "1-3/16", ""}, {"sleeve 25 mm", "25", "/"}, {"sleeve 1.2 in", "30.48", "/"}, {"sleeve 50.8 mm", "2", "/"},
	} {
		all := strings.Join(Spellings("sleeve", tt.text), " ")
		if !strings.Contains(all, tt.has) || tt.hasNot != "" && strings.Contains(all, tt.hasNot) {
			t.Errorf("Spellings(%q) = %q, want %q and no %q", tt.text, all, tt.has, tt.hasNot)
		}
	}
}

func TestKey(t *testing.T) {
	for _, tt := range []struct {
		kind, a, b string
		same       bool
	}{
		{"insert", "CNMG 432", "cnmg120408-MF", true}, {"insert", "CNMG 432", "CNMG 433", false}, {"insert", "CCMT 32.51", "CCMT 09T304 EN", true},
		{"bar", "A25T-SCLCR 09", "a25tsclcr09-x7", true}, {"bar", "A25T-SCLCR 09", "A25T-SCLCL 09", false}, {"bar", "A16T-SCLCR3", "A16T SCLCR 3", true},
		{"bar", "A16T-SCLCR3", "A16T-SCLCR 09", false}, {"holder", "PCLNR 2525M12", "pclnr2525m12-q", true}, {"fitting", "1/4 BSPP", "G1/4", true},
		{"fitting", "G 1/4", "NPT 1/4", false},
	} {
		a, okA := Key(tt.kind, tt.a)
		b, okB := Key(tt.kind, tt.b)
		if !okA || !okB || (a == b) != tt.same {
			t.Errorf("Key(%q) = %q, Key(%q) = %q, want the same: %v", tt.a, a, tt.b, b, tt.same)
		}
	}
	if k, ok := Key("sleeve", "sleeve 50 32"); ok {
		t.Errorf("a sleeve has the key %q", k)
	}
}

// Any spelling of an insert finds it, and folding twice changes nothing.
func TestSpellingsProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := anyInsert(t)
		in, err := ParseInsert(text)
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range []string{text, in.String(), in.Base(), in.Seat()} {
			if !found("insert", text, q) {
				t.Fatalf("%q does not find %q: %q", q, text, Spellings("insert", text))
			}
		}
		if n, ok := in.Inch(); ok && !found("insert", text, n.Name) {
			t.Fatalf("%q does not find %q", n.Name, text)
		}
	})
}

func FuzzFold(f *testing.F) {
	for _, s := range []string{"CNMG 120408", `1 1/4" bar`, "sleeve 50/32 mm", "Ø32mm", "1,250 IN", "ﬀ"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		once := Fold(s)
		if len(once) > 3*maxBytes {
			t.Errorf("%q grows to %d bytes", s, len(once))
		}
		for _, kind := range []string{"", "insert", "bar", "sleeve"} {
			got := Spellings(kind, s)
			if len(got) > 200 || once != "" && !slices.Contains(got, once) {
				t.Errorf("Spellings(%q, %q) = %q", kind, s, got)
			}
			for _, g := range got {
				if Fold(g) != g {
					t.Errorf("%q folds to %q and again to %q", s, g, Fold(g))
				}
			}
		}
	})
}
