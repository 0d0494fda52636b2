package standard

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits of every reader: no name of the trade comes near them, and no reader allocates
// more than they allow.
const (
	maxBytes = 512 // of the text as given
	maxChars = 64  // after cleaning
)

// A clean text is what remains of a pasted one: ASCII, upper case, one space where there
// was any white space, none at the ends, every dash a hyphen. at tells which character of
// the original (from 1) each byte came from, so that a refusal can point at it. It lives
// on the stack: reading a valid name of the usual kind allocates nothing.
type clean struct {
	b       [maxChars]byte
	at      [maxChars]uint16
	n       int
	changed bool // something other than the place of a single space was cleaned
}

func (c *clean) bytes() []byte  { return c.b[:c.n] }
func (c *clean) string() string { return string(c.b[:c.n]) }

// where returns the character number in the original of byte i, or the one after the last.
func (c *clean) where(i int) int {
	if i < c.n {
		return int(c.at[i])
	}
	if c.n > 0 {
		return int(c.at[c.n-1]) + 1
	}
	return 1
}

// tidy cleans text for a reader: compatibility forms become ASCII, nothing is guessed. A
// letter of another script that only looks right is refused, because a person must see it.
func (c *clean) tidy(reader, text string) *Refusal {
	if len(text) > maxBytes {
		return refusal(reader, text, CodeTooLong, "more than 512 bytes: no such name is that long")
	}
	pos, space := 0, false
	for i := 0; i < len(text); {
		pos++
		b := text[i]
		var out byte
		if b < utf8.RuneSelf {
			i++
			switch {
			case b >= 'a' && b <= 'z':
				out = b - 32
				c.changed = true
			case b == ' ':
				out = ' '
			case b == '\t' || b == '\n' || b == '\r' || b == '\v' || b == '\f':
				// A scanner's end sign at either end is cleaned; inside the text a line end
				// means two scans ran together.
				if c.n > 0 && b != '\t' && strings.TrimFunc(text[i:], isBlank) != "" {
					return at(refusal(reader, text, CodeControl, "a line end inside the text: one name a line"), pos, "")
				}
				out = ' '
				c.changed = true
			case b < ' ' || b == 0x7f:
				return at(refusal(reader, text, CodeControl, fmt.Sprintf("control character U+%04X", b)), pos, "")
			default:
				out = b
			}
		} else {
			r, size := utf8.DecodeRuneInString(text[i:])
			if r == utf8.RuneError && size <= 1 {
				return at(refusal(reader, text, CodeEncoding, "not UTF-8 text"), pos, "")
			}
			i += size
			c.changed = true
			a, skip, ref := foldRune(reader, text, r, pos, c.n == 0 || strings.TrimFunc(text[i:], isBlank) == "")
			if ref != nil {
				return ref
			}
			if skip {
				continue
			}
			out = a
		}
		if out == ' ' {
			c.changed = c.changed || c.n == 0 || space
			space = c.n > 0
			continue
		}
		if space {
			if c.n == maxChars {
				return refusal(reader, text, CodeTooLong, "more than 64 characters")
			}
			c.b[c.n], c.at[c.n] = ' ', uint16(pos-1)
			c.n++
			space = false
		}
		if c.n == maxChars {
			return refusal(reader, text, CodeTooLong, "more than 64 characters")
		}
		c.b[c.n], c.at[c.n] = out, uint16(pos)
		c.n++
	}
	c.changed = c.changed || space // at the end
	if c.n == 0 {
		return refusal(reader, text, CodeEmpty, "nothing to read")
	}
	return nil
}

func at(r *Refusal, pos int, char string) *Refusal {
	r.At, r.Char = pos, char
	return r
}

// isBlank reports white space and the byte order mark, which may stand at either end.
func isBlank(r rune) bool { return unicode.IsSpace(r) || r == '\ufeff' }

// foldRune turns a character beyond ASCII into the ASCII one it stands for. skip means
// that it stands for nothing (a byte order mark at an end).
func foldRune(reader, text string, r rune, pos int, atEnd bool) (out byte, skip bool, ref *Refusal) {
	switch {
	case r >= '\uff01' && r <= '\uff5e': // full-width forms
		a := byte(r - 0xfee0)
		if a >= 'a' && a <= 'z' {
			a -= 32
		}
		return a, false, nil
	case r == '\ufeff' && atEnd:
		return 0, true, nil
	case r == '×' || r == '✕':
		return 'X', false, nil
	case r == '\u2028' || r == '\u2029' || r == '\u0085':
		if !atEnd {
			return 0, false, at(refusal(reader, text, CodeControl, "a line end inside the text: one name a line"), pos, "")
		}
		return ' ', false, nil
	case unicode.IsSpace(r) || r == '\u2800':
		return ' ', false, nil
	case isDash(r):
		return '-', false, nil
	case isBidi(r):
		return 0, false, at(refusal(reader, text, CodeBidi, fmt.Sprintf("U+%04X changes the writing direction", r)), pos, "")
	case r < 0xa0:
		return 0, false, at(refusal(reader, text, CodeControl, fmt.Sprintf("control character U+%04X", r)), pos, "")
	case unicode.In(r, unicode.Cf, unicode.Mn, unicode.Me, unicode.Variation_Selector):
		return 0, false, at(refusal(reader, text, CodeInvisible, fmt.Sprintf("U+%04X cannot be seen", r)), pos, "")
	}
	why := fmt.Sprintf("U+%04X is no letter or digit of a designation", r)
	if a, ok := lookalikes[r]; ok {
		why = fmt.Sprintf("U+%04X is %s and only looks like %c", r, script(r), a)
	}
	return 0, false, at(refusal(reader, text, CodeCharset, why), pos, string(r))
}

func script(r rune) string {
	switch {
	case unicode.Is(unicode.Cyrillic, r):
		return "Cyrillic"
	case unicode.Is(unicode.Greek, r):
		return "Greek"
	}
	return "no ASCII letter"
}

func isDash(r rune) bool {
	return unicode.Is(unicode.Pd, r) || r == '−' || r == '\u2043'
}

func isBidi(r rune) bool {
	return r == '\u200e' || r == '\u200f' || r == '\u061c' || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069'
}

// lookalikes are letters of other scripts that a Latin capital is taken for. They are used
// to say what was likely meant, never to read.
var lookalikes = map[rune]byte{
	'А': 'A', 'В': 'B', 'Е': 'E', 'К': 'K', 'М': 'M', 'Н': 'H', 'О': 'O', 'Р': 'P', 'С': 'C',
	'Т': 'T', 'У': 'Y', 'Х': 'X', 'І': 'I', 'Ѕ': 'S', 'Ј': 'J', 'Ԛ': 'Q', 'Ԝ': 'W', 'З': '3',
	'а': 'A', 'в': 'B', 'е': 'E', 'к': 'K', 'м': 'M', 'н': 'H', 'о': 'O', 'р': 'P', 'с': 'C',
	'т': 'T', 'у': 'Y', 'х': 'X', 'і': 'I', 'ѕ': 'S', 'ј': 'J',
	'Α': 'A', 'Β': 'B', 'Ε': 'E', 'Ζ': 'Z', 'Η': 'H', 'Ι': 'I', 'Κ': 'K', 'Μ': 'M', 'Ν': 'N',
	'Ο': 'O', 'Ρ': 'P', 'Τ': 'T', 'Υ': 'Y', 'Χ': 'X', 'ο': 'O', 'ν': 'V',
}

// unlook replaces look-alikes of other scripts; what else is not ASCII stays.
func unlook(text string) string {
	return strings.Map(func(r rune) rune {
		if a, ok := lookalikes[r]; ok {
			return rune(a)
		}
		return r
	}, text)
}

func digit(b byte) bool  { return b >= '0' && b <= '9' }
func letter(b byte) bool { return b >= 'A' && b <= 'Z' }
