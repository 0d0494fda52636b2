package standard

import (
	"fmt"
	"strings"
)

// A tag is what our labels carry: a kind letter, seven digits and the check character of
// ISO/IEC 7064 MOD 37,36, upper case: "B0000123" and its check character.
const tagLen = 9

// MaxTag is the largest number a tag can carry.
const MaxTag = 9_999_999

// NewTag returns the tag of kind (A to Z) and n (0 to MaxTag). Else a *[Refusal].
func NewTag(kind byte, n int64) (string, error) {
	if !letter(kind) {
		return "", refusal("tag", string(rune(kind)), CodeForm, "a kind is one capital letter A to Z")
	}
	if n < 0 || n > MaxTag {
		return "", refusal("tag", fmt.Sprint(n), CodeForm, fmt.Sprintf("a tag number is 0 to %d", MaxTag))
	}
	data := fmt.Sprintf("%c%07d", kind, n)
	return data + tagCheck(data), nil
}

// tagCheck is Check for a data part that is known to be letters and digits.
func tagCheck(data string) string {
	c, err := Mod37_36.Check(data)
	if err != nil {
		return ""
	}
	return c
}

// ParseTag reads a tag as scanned or typed and returns its canonical form. The three
// characters a scanner puts in front to name the kind of code, white space, dashes, case
// and full-width forms are folded, and O, I and L where only a digit can stand, 0 and 1
// where only the kind letter can. Then the check character decides.
//
// A *[Refusal] of CodeCheck carries the tags one slip away in Meant, likeliest first; the
// caller shows those that exist and never books one by itself. CodeForm means that the
// text has not the shape of a tag: it may be somebody else's code.
func ParseTag(text string) (string, error) {
	t, ref := cleanTag(text)
	if ref != nil {
		return "", ref
	}
	// Eight characters may have lost the first one: folding by position would then move
	// the error, so only the digits of a full or check-less tag are folded.
	if len(t) == tagLen || len(t) == tagLen-1 && !digit(t[0]) {
		t = foldPlaces(t)
	}
	data := t[:min(len(t), tagLen-1)]
	switch {
	case len(t) == tagLen && tagShape(data) && letterOrDigit(t[tagLen-1]):
		if tagCheck(data) == t[tagLen-1:] {
			return t, nil
		}
		r := refusal("tag", text, CodeCheck, "the check character does not fit: a character was misread or two were swapped")
		r.Meant = TagCandidates(text)
		return "", r
	case len(t) == tagLen-1 && tagShape(t):
		r := refusal("tag", text, CodeCheck, "the check character is missing")
		r.Meant = TagCandidates(text)
		return "", r
	}
	r := refusal("tag", text, CodeForm, "not one of our tags: those are a letter, seven digits and a check character")
	r.Meant = TagCandidates(text)
	return "", r
}

// TagCandidates returns the valid tags that are one slip away from text: one character
// misread, two neighbours swapped, one lost or one too many. Likeliest first (characters
// that look alike, then swaps, then the rest), at most 48, none twice. Nothing for a text
// that is not close to the shape of a tag. Show only those that exist.
func TagCandidates(text string) []string {
	t, ref := cleanTag(text)
	if ref != nil || len(t) < tagLen-1 || len(t) > tagLen+1 {
		return nil
	}
	for i := 0; i < len(t); i++ {
		if !letterOrDigit(t[i]) {
			return nil
		}
	}
	var out []string
	offer := func(c string) {
		if len(c) == tagLen {
			c = foldPlaces(c)
		}
		if len(c) != tagLen || !tagShape(c[:tagLen-1]) || tagCheck(c[:tagLen-1]) != c[tagLen-1:] || c == t {
			return
		}
		for _, have := range out {
			if have == c {
				return
			}
		}
		if len(out) < 48 {
			out = append(out, c)
		}
	}
	each := func(i int, set string) {
		for j := 0; j < len(set); j++ {
			offer(t[:i] + set[j:j+1] + t[i+1:])
		}
	}
	switch len(t) {
	case tagLen:
		for i := range tagLen {
			each(i, twins[t[i]])
		}
		for i := 0; i+1 < tagLen; i++ {
			offer(t[:i] + t[i+1:i+2] + t[i:i+1] + t[i+2:])
		}
		if tagShape(t[:tagLen-1]) {
			offer(t[:tagLen-1] + tagCheck(t[:tagLen-1]))
		}
		for i := range tagLen {
			each(i, alphabet[:36])
		}
	case tagLen - 1:
		if tagShape(t) {
			offer(t + tagCheck(t))
		}
		for i := 0; i <= len(t); i++ {
			for j := range 36 {
				offer(t[:i] + alphabet[j:j+1] + t[i:])
			}
		}
	case tagLen + 1:
		for i := range t {
			offer(t[:i] + t[i+1:])
		}
	}
	return out
}

// twins are the characters taken for one another by eye and by worn print; common
// practice, no source.
var twins = map[byte]string{
	'0': "O8D6Q", 'O': "0DQ", 'D': "0O", 'Q': "0O", '1': "I7L4", 'I': "1L", 'L': "1I", '7': "1T", 'T': "7Y",
	'8': "B306", 'B': "83", '3': "85B", '5': "S63", 'S': "5", '6': "G508", 'G': "6C", '2': "Z7", 'Z': "2",
	'4': "A9", 'A': "4", '9': "4G", 'U': "V", 'V': "UY", 'M': "N", 'N': "M", 'C': "G", 'E': "F", 'F': "E", 'P': "R", 'R': "P",
}

// cleanTag cleans a scan: the symbology identifier of ISO/IEC 15424 in front, white space
// and dashes go.
func cleanTag(text string) (string, *Refusal) {
	var c clean
	if ref := c.tidy("tag", text); ref != nil {
		return "", ref
	}
	b := c.bytes()
	if len(b) > 3 && b[0] == ']' && letter(b[1]) && digit(b[2]) {
		b = b[3:]
	}
	t := make([]byte, 0, len(b))
	for _, x := range b {
		if x != ' ' && x != '-' {
			t = append(t, x)
		}
	}
	return string(t), nil
}

// foldPlaces folds O, I and L where only a digit can stand, and 0 and 1 where only the
// kind letter can. The check character may be either and is left alone.
func foldPlaces(tag string) string {
	t := []byte(tag)
	switch t[0] {
	case '0':
		t[0] = 'O'
	case '1':
		t[0] = 'I'
	}
	for i := 1; i < tagLen-1 && i < len(t); i++ {
		switch t[i] {
		case 'O':
			t[i] = '0'
		case 'I', 'L':
			t[i] = '1'
		}
	}
	return string(t)
}

func letterOrDigit(b byte) bool { return letter(b) || digit(b) }

func tagShape(data string) bool {
	return len(data) == tagLen-1 && letter(data[0]) && strings.Trim(data[1:], "0123456789") == ""
}
