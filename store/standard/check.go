package standard

import (
	"fmt"
	"strings"
)

// A CheckSystem is one of the check character systems of ISO/IEC 7064:2003. Pure systems
// compute one remainder over weighted characters, hybrid ones keep two moduli going.
type CheckSystem string

// The systems that are used on labels and in foreign codes of this trade.
const (
	Mod37_36 CheckSystem = "MOD 37,36" // letters and digits, one check character: our own tags
	Mod37_2  CheckSystem = "MOD 37-2"  // letters and digits, check character may be '*'
	Mod11_10 CheckSystem = "MOD 11,10" // digits, one check digit
	Mod11_2  CheckSystem = "MOD 11-2"  // digits, check character may be 'X'
	Mod97_10 CheckSystem = "MOD 97-10" // digits, two check digits
)

const alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"

// rule returns the modulus, radix, size of the data alphabet, and whether the system is a
// hybrid one.
func (s CheckSystem) rule() (mod, radix, data int, hybrid, ok bool) {
	switch s {
	case Mod37_36:
		return 37, 36, 36, true, true
	case Mod37_2:
		return 37, 2, 36, false, true
	case Mod11_10:
		return 11, 10, 10, true, true
	case Mod11_2:
		return 11, 2, 10, false, true
	case Mod97_10:
		return 97, 10, 10, false, true
	}
	return 0, 0, 0, false, false
}

// Check returns the check character (two digits for MOD 97-10) that completes data, which
// must be 1 to 512 characters of the alphabet of the system, upper case. Neither O for 0
// nor I for 1 is forgiven here. Else a *[Refusal].
//
// Source: ISO/IEC 7064:2003 clauses 7 and 8; published samples are in the tests.
func (s CheckSystem) Check(data string) (string, error) {
	mod, radix, size, hybrid, ok := s.rule()
	if !ok {
		return "", refusal("check", data, CodeForm, fmt.Sprintf("%q is no check character system known here", string(s)))
	}
	if data == "" {
		return "", refusal("check", data, CodeEmpty, "nothing to check")
	}
	if len(data) > maxBytes {
		return "", refusal("check", data, CodeTooLong, "more than 512 bytes")
	}
	p := 0
	if hybrid {
		p = radix
	}
	for i := 0; i < len(data); i++ {
		v := strings.IndexByte(alphabet[:size], data[i])
		if v < 0 {
			return "", at(refusal("check", data, CodeCharset, "not in the alphabet of "+string(s)), i+1, data[i:i+1])
		}
		if hybrid {
			t := (p + v) % radix
			if t == 0 {
				t = radix
			}
			p = t * 2 % mod
		} else {
			p = (p + v) * radix % mod
		}
	}
	switch {
	case hybrid:
		return alphabet[(mod-p)%radix:][:1], nil
	case s == Mod97_10:
		p = p * radix % mod
		return fmt.Sprintf("%02d", (98-p)%97), nil
	case s == Mod11_2:
		v := (mod + 1 - p) % mod
		if v == 10 {
			return "X", nil
		}
		return alphabet[v:][:1], nil
	}
	return alphabet[(mod+1-p)%mod:][:1], nil
}

// Valid reports whether the last character of text (the last two for MOD 97-10) is the
// check character of what stands before it.
func (s CheckSystem) Valid(text string) bool {
	n := 1
	if s == Mod97_10 {
		n = 2
	}
	if len(text) <= n {
		return false
	}
	c, err := s.Check(text[:len(text)-n])
	return err == nil && c == text[len(text)-n:]
}
