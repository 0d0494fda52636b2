package store

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"brasspeg/store/standard"
)

// What people type, paste and scan, read the same way wherever it comes in. A text that can
// not be taken is a *Refusal of ErrBadInput whose Code says to a program which rule it broke;
// the first rule in the order size, encoding, characters, form, range counts.

// unfit is a refusal of one text with the code of the rule.
func unfit(code, field, format string, args ...any) error {
	return &Refusal{Class: ErrBadInput, Code: code, Field: field, Says: fmt.Sprintf(format, args...)}
}

// spoken is the name of a field in a sentence.
func spoken(field string) string { return strings.ReplaceAll(field, "_", " ") }

// onField says of a refusal which field it is about.
func onField(field string, err error) error {
	if r, ok := errors.AsType[*Refusal](err); ok {
		again := *r
		again.Field = field
		return &again
	}
	return err
}

// Characters that turn the direction of what follows, and ones that can not be seen.
func turnsText(r rune) bool {
	return r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 || r == 0x200e || r == 0x200f || r == 0x061c
}

func unseen(r rune) bool { return unicode.Is(unicode.Cf, r) }

func controls(r rune) bool { return unicode.IsControl(r) || r == 0x2028 || r == 0x2029 }

// Sound refuses a text with characters that no field of a person's takes: what is not UTF-8,
// control characters other than line end and tab, and marks that turn the direction of text.
func Sound(field, text string) error {
	if !utf8.ValidString(text) {
		return unfit("encoding_invalid", field, "%s is not UTF-8 text", spoken(field))
	}
	for _, r := range text {
		switch {
		case r == '\n' || r == '\r' || r == '\t':
		case controls(r):
			return unfit("control_char", field, "%s holds the control character %U; take it out", spoken(field), r)
		case turnsText(r):
			return unfit("bidi_char", field, "%s holds the invisible mark %U, which turns the direction of text; take it out", spoken(field), r)
		}
	}
	return nil
}

// maxMarks is how many accents may stand on one letter: no language needs more, and a pile of
// them paints over the lines of a page.
const maxMarks = 4

// printable reads a name of one line, at most most characters long: composed accents (NFC), no
// space at the ends, one between words, nothing invisible.
func printable(field, text string, most int) (string, error) {
	if err := Sound(field, text); err != nil {
		return "", err
	}
	text = norm.NFC.String(strings.Map(func(r rune) rune {
		switch r {
		case 0x200b, 0x2060, 0xfeff: // spaces without width
			return -1
		}
		return r
	}, text))
	text = strings.Trim(text, " \t\u00a0")
	if strings.ContainsAny(text, "\n\r\t") {
		return "", unfit("control_char", field, "%s is one line; take the line end or tab out", spoken(field))
	}
	text = strings.Join(strings.Fields(text), " ")
	if text == "" {
		return "", unfit("empty", field, "%s is empty", spoken(field))
	}
	if utf8.RuneCountInString(text) > most {
		return "", unfit("too_long", field, "%s is longer than %d characters", spoken(field), most)
	}
	marks := 0
	for _, r := range text {
		if !unicode.Is(unicode.Mn, r) {
			marks = 0
		} else if marks++; marks > maxMarks {
			return "", unfit("too_many_marks", field, "%s has more than %d accents on one letter", spoken(field), maxMarks)
		}
	}
	return text, nil
}

// maxName is the length of a name, maxNote of a note in characters and lines.
const (
	maxName      = 120
	maxNote      = 500
	maxNoteLines = 20
)

// remark reads free text, which may be empty: line ends as LF, at most 500 characters and 20
// lines.
func remark(field, text string) (string, error) {
	if err := Sound(field, text); err != nil {
		return "", err
	}
	text = norm.NFC.String(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text))
	if n := utf8.RuneCountInString(text); n > maxNote {
		return "", unfit("too_long", field, "%s has %d characters; the most is %d", spoken(field), n, maxNote)
	}
	if strings.Count(text, "\n") >= maxNoteLines {
		return "", unfit("too_long", field, "%s has more than %d lines", spoken(field), maxNoteLines)
	}
	return text, nil
}

// maxCode is the most characters of a part's code.
const maxCode = 64

// partCodeOf reads the code of a part as it is kept: capitals, digits and - _ . / + # ( ) and
// single spaces. Look-alikes of those (full width, dashes of a phone's keyboard) are folded,
// anything else is refused, never replaced.
func partCodeOf(field, text string) (string, error) {
	text, err := capitals(field, text, maxCode)
	if err != nil {
		return "", err
	}
	for _, r := range text {
		if !(r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_./+#() ", r)) {
			return "", unfit("charset", field, "%s holds %q; a code has letters, digits and - _ . / + # ( )", spoken(field), r)
		}
	}
	return text, nil
}

// capitals folds what means the same on a label: compatibility forms, dashes, spaces, case.
func capitals(field, text string, most int) (string, error) {
	if err := Sound(field, text); err != nil {
		return "", err
	}
	text = norm.NFKC.String(text)
	for _, r := range text {
		if unseen(r) {
			return "", unfit("invisible_char", field, "%s holds the invisible character %U; take it out", spoken(field), r)
		}
	}
	text = strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Pd, r) || r == 0x2212 { // every dash, and the minus sign
			return '-'
		}
		return r
	}, text)
	text = strings.Trim(text, " ")
	if strings.ContainsAny(text, "\n\r\t") {
		return "", unfit("control_char", field, "%s is one line; take the line end or tab out", spoken(field))
	}
	text = strings.ToUpper(strings.Join(strings.Fields(text), " "))
	if text == "" {
		return "", unfit("empty", field, "%s is empty", spoken(field))
	}
	if utf8.RuneCountInString(text) > most {
		return "", unfit("too_long", field, "%s is longer than %d characters", spoken(field), most)
	}
	return text, nil
}

// maxDesignation is the most characters of a designation on a box.
const maxDesignation = 40

// designationOf reads a designation as printed on the box: as a code, with x for the times
// sign and a decimal point for a decimal comma. Empty stays empty.
func designationOf(field, text string) (string, error) {
	if strings.TrimSpace(text) == "" {
		return "", Sound(field, text)
	}
	return capitals(field, strings.NewReplacer("×", "X", ",", ".").Replace(text), maxDesignation)
}

// asciiDigits folds full-width digits and point to ASCII and trims.
func asciiDigits(text string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r >= 0xff01 && r <= 0xff5e {
			return r - 0xff01 + '!'
		}
		return r
	}, text))
}

// ReadWhole reads a whole number that a person typed into a form or a cell: digits only, from
// least to most. "1.000" is a thousand to one reader and one to another, so it is refused.
func ReadWhole(field, text string, least, most int64) (int64, error) {
	if err := Sound(field, text); err != nil {
		return 0, err
	}
	t := asciiDigits(text)
	if t == "" {
		return 0, unfit("empty", field, "%s is empty; write a whole number", spoken(field))
	}
	digits := strings.TrimPrefix(t, "-")
	if digits == "" || strings.Trim(digits, "0123456789") != "" {
		if grouped(digits) {
			return 0, unfit("number_ambiguous", field, "%s: %s may be a thousand or a fraction; write it with digits only", spoken(field), clipped(text))
		}
		return 0, unfit("not_integer", field, "%s is a whole number, written with digits only, not %s", spoken(field), clipped(text))
	}
	n, err := strconv.ParseInt(t, 10, 64)
	if err != nil || n < least || n > most {
		return 0, unfit("out_of_range", field, "%s is a whole number from %d to %d", spoken(field), least, most)
	}
	return n, nil
}

// grouped says whether a text is digits in groups of three.
func grouped(t string) bool {
	parts := strings.FieldsFunc(t, func(r rune) bool { return r == '.' || r == ',' || r == ' ' || r == '\u00a0' || r == '\'' })
	if len(parts) < 2 || len(parts[0]) > 3 {
		return false
	}
	for i, p := range parts {
		if strings.Trim(p, "0123456789") != "" || i > 0 && len(p) != 3 {
			return false
		}
	}
	return true
}

// clipped shortens foreign text for a message and shows what can not be seen as an escape.
func clipped(text string) string {
	if r := []rune(text); len(r) > 40 {
		text = string(r[:40]) + "…"
	}
	return strconv.QuoteToGraphic(text)
}

// maxCents is the dearest price: a hundred thousand of the currency.
const maxCents = 10_000_000 * 100

// ReadCents reads an amount of money as 7.20 or 7,20 into cents. Both separators in one
// amount, or three digits behind one, can be read two ways and are refused.
func ReadCents(field, text string) (int64, error) {
	if err := Sound(field, text); err != nil {
		return 0, err
	}
	t := strings.TrimSpace(text)
	if t == "" {
		return 0, unfit("empty", field, "the amount is empty; write it as 7.20")
	}
	if rest := strings.TrimPrefix(t, "-"); rest != t && rest != "" && strings.Trim(rest, "0123456789.,") == "" {
		return 0, unfit("out_of_range", field, "%s is below 0", clipped(text))
	}
	if strings.Trim(t, "0123456789.,") != "" {
		return 0, unfit("charset", field, "%s is not an amount; write digits with a point, as 7.20, and the currency in its own field", clipped(text))
	}
	whole, frac, pointed := strings.Cut(strings.ReplaceAll(t, ",", "."), ".")
	switch {
	case strings.Contains(frac, "."), len(frac) == 3 && whole != "" && whole != "0":
		return 0, unfit("number_ambiguous", field, "%s may be a thousand or a fraction; write it without a sign between the thousands", clipped(text))
	case whole == "" || pointed && frac == "":
		return 0, unfit("charset", field, "%s is not an amount; write it as 7.20", clipped(text))
	case len(frac) > 2:
		return 0, unfit("too_precise", field, "%s has more than two places; money is kept in hundredths", clipped(text))
	}
	n, err := strconv.ParseInt(whole+(frac + "00")[:2], 10, 64)
	if err != nil || n > maxCents {
		return 0, unfit("out_of_range", field, "%s is more than %d", clipped(text), maxCents/100)
	}
	return n, nil
}

// readPIN refuses what is no PIN: 6 digits that are not the first ones anybody would try. It
// is read before the slow hash.
func readPIN(pin string) error {
	const field = "pin"
	switch {
	case pin == "":
		return unfit("empty", field, "the PIN is empty; it is 6 digits")
	case len(pin) > 64:
		return unfit("too_long", field, "a PIN is 6 digits")
	case strings.ContainsFunc(pin, controls):
		return unfit("control_char", field, "the PIN holds a control character; it is 6 digits")
	case strings.Trim(pin, "0123456789") != "":
		return unfit("charset", field, "a PIN is 6 of the digits 0 to 9 and nothing else")
	case len(pin) < 6:
		return unfit("too_short", field, "a PIN is 6 digits")
	case len(pin) > 6:
		return unfit("too_long", field, "a PIN is 6 digits")
	case strings.Count(pin, pin[:1]) == 6, strings.Contains("01234567890", pin), strings.Contains("09876543210", pin):
		return unfit("too_weak", field, "that PIN is guessed first; choose another")
	}
	return nil
}

// readPassword refuses what is no password: 12 to 128 characters, kept exactly as typed.
func readPassword(password string) error {
	const field = "password"
	switch n := utf8.RuneCountInString(password); {
	case !utf8.ValidString(password):
		return unfit("encoding_invalid", field, "the password is not UTF-8 text")
	case strings.ContainsFunc(password, controls):
		return unfit("control_char", field, "the password holds a control character")
	case n < 12:
		return unfit("too_short", field, "a password has 12 to 128 characters; this one has %d", n)
	case n > 128:
		return unfit("too_long", field, "a password has 12 to 128 characters; this one has %d", n)
	case common[strings.ToLower(password)]:
		return unfit("too_weak", field, "that password is on every list of common ones; choose another")
	}
	return nil
}

// The days a shop can mean.
const (
	firstDay = Day("2000-01-01")
	lastDay  = Day("2100-01-01")
)

// ParseDay reads a calendar day, YYYY-MM-DD, of this century. Spellings that a person of
// another country reads as another day are refused.
func ParseDay(text string) (Day, error) {
	const field = "day"
	t, err := time.Parse(time.DateOnly, text)
	switch {
	case text == "":
		return "", unfit("empty", field, "no day is given; write it as 2026-03-31")
	case err != nil && strings.Trim(text, "0123456789./") == "" && strings.ContainsAny(text, "./"):
		return "", unfit("date_ambiguous", field, "%s can be two days; write it as 2026-03-31", clipped(text))
	case err != nil || len(text) != len(time.DateOnly):
		return "", unfit("date_invalid", field, "%s is not a day; write it as 2026-03-31", clipped(text))
	case DayOf(t) < firstDay || DayOf(t) > lastDay:
		return "", unfit("out_of_range", field, "%s is not between %s and %s", text, firstDay, lastDay)
	}
	return Day(text), nil
}

// ParseMoment reads a point in time by RFC 3339 with its offset, as a device says it.
func ParseMoment(field, text string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339Nano, text)
	switch {
	case text == "":
		return t, unfit("empty", field, "no time is given")
	case err != nil:
		if _, local := time.Parse("2006-01-02T15:04:05", text); local == nil {
			return t, unfit("date_no_offset", field, "%s has no offset from UTC; write it as 2026-03-31T08:00:00+02:00", clipped(text))
		}
		return t, unfit("date_invalid", field, "%s is not a time; write it as 2026-03-31T08:00:00Z", clipped(text))
	case DayOf(t.UTC()) < firstDay || DayOf(t.UTC()) > lastDay:
		return t, unfit("out_of_range", field, "%s is not between %s and %s", clipped(text), firstDay, lastDay)
	}
	return t.UTC(), nil
}

// maxScan is the most bytes of a scan as it comes in; maxCodeScanned the most characters of a
// code after cleaning, which is also the longest foreign code that can be linked.
const (
	maxScan        = 512
	maxCodeScanned = 120
)

// ReadScan cleans what a scanner, a camera or a hand delivers: the symbology's prefix, white
// space at the ends, full-width letters and case are folded. What is left is ASCII. A group
// separator stays: foreign codes have it. Nothing is guessed.
func ReadScan(text string) (string, error) {
	const field = "scan"
	if len(text) > maxScan {
		return "", unfit("too_long", field, "%d bytes were scanned; the most is %d", len(text), maxScan)
	}
	if !utf8.ValidString(text) {
		return "", unfit("encoding_invalid", field, "what was scanned is not UTF-8 text")
	}
	trim := func() {
		text = strings.TrimFunc(text, func(r rune) bool {
			return r == 0xfeff || r != groupSeparator && unicode.IsSpace(r)
		})
	}
	trim()
	if len(text) >= 3 && text[0] == ']' && text[1] >= 'A' && text[1] <= 'z' && text[2] >= '0' && text[2] <= '9' {
		text = text[3:]
	}
	trim()
	if text == "" {
		return "", unfit("empty", field, "nothing readable was scanned")
	}
	text = strings.Map(func(r rune) rune {
		switch {
		case r >= 0xff01 && r <= 0xff5e:
			r += '!' - 0xff01
		case unicode.Is(unicode.Pd, r) || r == 0x2212: // a phone's keyboard makes dashes of hyphens
			r = '-'
		}
		if r >= 'a' && r <= 'z' {
			r += 'A' - 'a'
		}
		return r
	}, text)
	for _, r := range text {
		switch {
		case r == groupSeparator:
		case controls(r):
			return "", unfit("control_char", field, "what was scanned holds the control character %U: two scans ran together, or it is no label of a tool", r)
		case turnsText(r):
			return "", unfit("bidi_char", field, "what was scanned holds a mark that turns the direction of text")
		case unseen(r):
			return "", unfit("invisible_char", field, "what was scanned holds the invisible character %U", r)
		}
	}
	for _, r := range text {
		if r > unicode.MaxASCII {
			return "", unfit("charset", field, "what was scanned holds %q; is the scanner set to another keyboard than the computer?", r)
		}
	}
	if len(text) > maxCodeScanned {
		return "", unfit("too_long", field, "a code has at most %d characters; %d were scanned", maxCodeScanned, len(text))
	}
	return text, nil
}

const groupSeparator = 0x1d // of a GS1 code, between its fields

// wrongCheck says whether a text has the form of one of our tags, or of a trade number of
// 12, 13 or 14 digits, whose check character is wrong or lost.
func wrongCheck(text string) bool {
	if strings.Trim(text, "0123456789") == "" {
		switch len(text) {
		case 12, 13, 14:
			return !tradeNumber(text)
		}
		return false
	}
	if _, err := standard.ParseTag(text); err == nil {
		return false
	}
	return looksLikeTag(text) || len(text) == 8 && looksLikeTag(text+"0")
}

// tradeNumber checks the last digit of a GTIN: weights 3 and 1 from the right, sum to a
// multiple of 10 (GS1 General Specifications, section 7.9; from memory).
func tradeNumber(digits string) bool {
	sum := 0
	for i := range len(digits) {
		d := int(digits[len(digits)-1-i] - '0')
		if i%2 == 1 {
			d *= 3
		}
		sum += d
	}
	return sum%10 == 0
}

// secretive says whether a foreign code carries what must be kept nowhere: a network's or a
// login's secret that a person scanned by mistake.
func secretive(text string) bool {
	kind, _, ok := strings.Cut(text, ":")
	if !ok {
		return false
	}
	switch strings.ToUpper(kind) {
	case "WIFI", "OTPAUTH", "OTPAUTH-MIGRATION":
		return true
	}
	return false
}
