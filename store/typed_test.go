package store

import (
	"errors"
	"strconv"
	"strings"
	"testing"
	"unicode"
)

// What typed.go reads is tested row by row in TestBadInputs of package server; here is what
// holds for every text.

func FuzzReadScan(f *testing.F) {
	for _, seed := range []string{"]Q1P00000011\r\n", "\ufeff p00000011", "４０１２", "a\x1db", "\u202eX", "\xff", "]d2]d2"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := ReadScan(text)
		if err != nil {
			if r, ok := errors.AsType[*Refusal](err); !ok || r.Code == "" || r.Field != "scan" {
				t.Errorf("%q is refused without the rule it broke: %v", text, err)
			}
			return
		}
		bad := strings.ContainsFunc(got, func(r rune) bool {
			return r > unicode.MaxASCII || r >= 'a' && r <= 'z' || unicode.IsControl(r) && r != groupSeparator
		})
		if got == "" || len(got) > maxCodeScanned || bad {
			t.Errorf("%q is read as %q", text, got)
		}
	})
}

func FuzzReadWhole(f *testing.F) {
	for _, seed := range []string{"5", " 05 ", "５", "1.000", "-0", "1e3", "99999999999999999999", "P0000001X"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		n, err := ReadWhole("qty", text, 1, 1_000_000)
		if err != nil {
			return
		}
		if again, err := ReadWhole("qty", strconv.FormatInt(n, 10), 1, 1_000_000); err != nil || again != n || n < 1 || n > 1_000_000 {
			t.Errorf("%q is read as %d, and that as %d, %v", text, n, again, err)
		}
	})
}

// A code that was cleaned is a code: what is stored is found by what was stored.
func FuzzPartCode(f *testing.F) {
	for _, seed := range []string{"cnmg-120408", " CNMG  120408 ", "CNMG\u2013120408", "Ｃ１", "x\u200dy", "\ufb01"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		code, err := partCodeOf("code", text)
		if err != nil {
			return
		}
		if again, err := partCodeOf("code", code); err != nil || again != code {
			t.Errorf("%q is kept as %q, and that as %q, %v", text, code, again, err)
		}
	})
}

func FuzzNames(f *testing.F) {
	for _, seed := range []string{"Pru\u0308fer", "  Halle   3 ", "Halle\u200b3", "e\u200b\u0301", "a\u0301\u0301\u0301\u0301\u0301"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		name, err := printable("name", text, maxName)
		if err != nil {
			return
		}
		if again, err := printable("name", name, maxName); err != nil || again != name {
			t.Errorf("%q is kept as %q, and that as %q, %v", text, name, again, err)
		}
	})
}
