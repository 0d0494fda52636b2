package standard

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// A Unit is a unit of length a size was entered in.
type Unit uint8

// The two units of the trade.
const (
	MM Unit = iota + 1
	Inch
)

func (u Unit) String() string {
	switch u {
	case MM:
		return "mm"
	case Inch:
		return "in"
	}
	return ""
}

// A Size is a length as somebody entered it: an exact value with its unit, and for inches
// whether it was written as a fraction. Two sizes are == if they were entered alike;
// [Size.Same] compares lengths across units. The zero Size is no size.
type Size struct {
	num, den int64 // lowest terms, in the unit, den > 0
	unit     Unit
	fraction bool // inches written as a fraction
}

// maxSizeMM bounds a size to what can stand in a shop, in mm.
const maxSizeMM = 100_000

// Millimetres returns mm as a size, to the nearest thousandth; 0 to 100 m, else a
// *[Refusal].
func Millimetres(mm float64) (Size, error) { return fromFloat(mm, MM) }

// Inches returns in as a size, to the nearest ten-thousandth; 0 to 100 m, else a
// *[Refusal].
func Inches(in float64) (Size, error) { return fromFloat(in, Inch) }

func fromFloat(v float64, u Unit) (Size, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Size{}, refusal("size", fmt.Sprint(v), CodeMeaning, "not a length")
	}
	places := 3
	if u == Inch {
		places = 4
	}
	return ParseSize(strconv.FormatFloat(v, 'f', places, 64) + " " + u.String())
}

// Unit returns the unit the size was entered in; 0 for no size.
func (s Size) Unit() Unit { return s.unit }

// IsZero reports that s is no size at all (not: a length of nothing).
func (s Size) IsZero() bool { return s.unit == 0 }

// MM returns the length in millimetres, as near as a float64 can be. 1 in is 25.4 mm
// exactly (the international inch of 1959).
func (s Size) MM() float64 {
	f, _ := s.rat(MM).Float64()
	return f
}

// In returns the length in inches, as near as a float64 can be.
func (s Size) In() float64 {
	f, _ := s.rat(Inch).Float64()
	return f
}

// Same reports whether a and b are exactly the same length, whatever their units.
func (s Size) Same(b Size) bool {
	return s.unit != 0 && b.unit != 0 && s.rat(MM).Cmp(b.rat(MM)) == 0
}

func (s Size) rat(u Unit) *big.Rat {
	r := new(big.Rat)
	if s.den == 0 {
		return r
	}
	r.SetFrac64(s.num, s.den)
	switch {
	case s.unit == u:
	case u == MM:
		r.Mul(r, big.NewRat(127, 5))
	default:
		r.Mul(r, big.NewRat(5, 127))
	}
	return r
}

// String spells the size as it was entered: "31.75 mm", "1.25 in", "1-1/4 in". ParseSize
// reads it back to an equal Size. No size is the empty text.
func (s Size) String() string {
	if s.unit == 0 {
		return ""
	}
	return s.number() + " " + s.unit.String()
}

func (s Size) number() string {
	if s.fraction && s.den > 1 {
		if whole := s.num / s.den; whole > 0 {
			return fmt.Sprintf("%d-%d/%d", whole, s.num%s.den, s.den)
		}
		return fmt.Sprintf("%d/%d", s.num, s.den)
	}
	return decimal(big.NewRat(s.num, s.den), 9)
}

// decimal writes a rational with at most places decimals and no trailing zeros.
func decimal(r *big.Rat, places int) string {
	t := r.FloatString(places)
	if strings.Contains(t, ".") {
		t = strings.TrimRight(strings.TrimRight(t, "0"), ".")
	}
	return t
}

// Both spells the size in the unit it was entered in and, in brackets, in the other one:
// millimetres to 0.001, inches to 0.0001, with "≈" where that is rounded. The rounded
// text is for eyes only; nothing is computed from it.
func (s Size) Both() string {
	if s.unit == 0 {
		return ""
	}
	other, places := Inch, 4
	if s.unit == Inch {
		other, places = MM, 3
	}
	r := s.rat(other)
	t := decimal(r, places)
	about := ""
	if back, ok := new(big.Rat).SetString(t); !ok || back.Cmp(r) != 0 {
		about = "≈ "
	}
	return fmt.Sprintf("%s (%s%s %s)", s, about, t, other)
}

// MarshalText writes the size as String does.
func (s Size) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads what MarshalText writes; the empty text is no size.
func (s *Size) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*s = Size{}
		return nil
	}
	v, err := ParseSize(string(text))
	if err == nil {
		*s = v
	}
	return err
}

// ParseSize reads a length with its unit: "32 mm", "Ø32mm", "1.25in", "1,25 mm",
// 1-1/4", "1 1/4 in", "1¼ inch", "5/16". A fraction is inches, because nobody writes
// fractions of a millimetre. A bare number is refused with the question to ask
// (CodeUnit, both readings in Meant): 25 is neither. A comma followed by exactly three
// digits could be a thousands mark and is refused too.
//
// 0 to 100 m; at most nine digits before and nine after the decimal mark; denominators 2
// to 128. Else a *[Refusal].
func ParseSize(text string) (Size, error) { return parseSize(text, 0) }

// ParseSizeIn reads like [ParseSize], but a bare number is in unit: for a column or field
// that names its unit.
func ParseSizeIn(text string, unit Unit) (Size, error) { return parseSize(text, unit) }

// fractions are the single-character fractions a phone or word processor makes.
var fractions = strings.NewReplacer(
	"½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8",
	"⁄", "/", "∕", "/", "″", `"`, "”", `"`, "“", `"`, "′′", `"`, "''", `"`, "’’", `"`, "⌀", "", "Ø", "", "ø", "", "∅", "",
	"㎜", "mm",
)

func parseSize(text string, fallback Unit) (Size, error) {
	no := func(code, why string, meant ...string) (Size, error) {
		r := refusal("size", text, code, why)
		r.Meant = meant
		return Size{}, r
	}
	var c clean
	if len(text) > maxBytes {
		return no(CodeTooLong, "more than 512 bytes: no size is that long")
	}
	if ref := c.tidy("size", fractions.Replace(text)); ref != nil {
		ref.Text = cut(text)
		ref.At = 0 // characters were replaced before: the place would mislead
		return Size{}, ref
	}
	t := c.string()
	// What stands after the number must be a unit; "in." is one too.
	t = strings.TrimSuffix(strings.Replace(t, "IN.", "IN", 1), " ")
	end := len(t)
	for end > 0 && !digit(t[end-1]) && t[end-1] != '.' && t[end-1] != ',' {
		end--
	}
	number, tail := strings.TrimSpace(t[:end]), strings.Trim(t[end:], " .-")
	var unit Unit
	switch tail {
	case "MM", "MILLIMETRE", "MILLIMETRES", "MILLIMETER", "MILLIMETERS":
		unit = MM
	case "IN", "INCH", "INCHES", `"`:
		unit = Inch
	case "":
	case "'", "FT", "FEET", "CM", "M", "UM":
		return no(CodeForm, "sizes are in mm or in, not in "+strings.ToLower(tail))
	default:
		return no(CodeForm, fmt.Sprintf("%q is no unit: write mm or in", strings.ToLower(tail)))
	}
	if strings.HasPrefix(number, "-") {
		return no(CodeMeaning, "a size is not below 0")
	}
	if number == "" {
		return no(CodeForm, "there is no number")
	}
	s := Size{unit: unit}
	switch whole, frac, ok := splitFraction(number); {
	case strings.Contains(number, "/"):
		if !ok {
			return no(CodeForm, "a fraction is written 5/16 or 1-1/4")
		}
		n, d, _ := strings.Cut(frac, "/")
		num, den, w := atoi(n), atoi(d), atoi(whole)
		if den < 2 || den > 128 || den&(den-1) != 0 {
			return no(CodeMeaning, "the lower number of an inch fraction is 2, 4, 8, 16, 32, 64 or 128")
		}
		if num < 1 || whole != "" && num >= den {
			return no(CodeMeaning, "the upper number of a fraction is at least 1, and below the lower one after whole inches")
		}
		if unit == MM {
			return no(CodeMeaning, "fractions are of inches: write millimetres with a decimal point")
		}
		s.unit, s.fraction = Inch, true
		s.num, s.den = lowest(w*den+num, den)
	default:
		whole, dec, marked := strings.Cut(strings.Replace(number, ",", ".", 1), ".")
		if !allDigits(whole) || !allDigits(dec) || whole+dec == "" || marked && dec == "" {
			return no(CodeForm, fmt.Sprintf("%q is no number: write 31.75 mm, 1.25 in or 1-1/4 in", strings.ToLower(number)))
		}
		dec = strings.TrimRight(dec, "0")
		if len(strings.TrimLeft(whole, "0")) > 9 || len(dec) > 9 {
			return no(CodeMeaning, "a size has at most nine digits before and nine after the decimal mark")
		}
		if i := strings.IndexByte(number, ','); i > 0 && len(number)-i == 4 && strings.Trim(whole, "0") != "" {
			u := tail
			if u == "" {
				u = "mm"
			}
			return no(CodeMeaning, "a comma before three digits may be a decimal or a thousands mark: write it with a point or without the comma",
				number[:i]+"."+number[i+1:]+" "+strings.ToLower(u), number[:i]+number[i+1:]+" "+strings.ToLower(u))
		}
		scale := int64(1)
		for range dec {
			scale *= 10
		}
		s.num, s.den = lowest(atoi(whole)*scale+atoi("0"+dec), scale)
		if s.unit == 0 {
			s.unit = fallback
		}
		if s.unit == 0 {
			n := decimal(big.NewRat(s.num, s.den), 9)
			return no(CodeUnit, n+" of what? A bare number could be millimetres or inches", n+" mm", n+" in")
		}
	}
	if s.rat(MM).Cmp(big.NewRat(maxSizeMM, 1)) > 0 {
		return no(CodeMeaning, "longer than 100 m: no size of a shop")
	}
	if s.den == 1 {
		s.fraction = false
	}
	return s, nil
}

// splitFraction splits "1-1/4", "1 1/4", "5/16" into whole and fraction; all parts are
// digits of sane length if ok.
func splitFraction(t string) (whole, frac string, ok bool) {
	frac = t
	if i := strings.IndexAny(t, " -"); i >= 0 {
		whole, frac = t[:i], strings.TrimLeft(t[i:], " -")
		if whole == "" {
			return "", "", false
		}
	}
	n, d, found := strings.Cut(frac, "/")
	n, d = strings.TrimSpace(n), strings.TrimSpace(d)
	ok = found && n != "" && d != "" && allDigits(whole) && allDigits(n) && allDigits(d) &&
		len(whole) <= 5 && len(n) <= 3 && len(d) <= 3
	return whole, n + "/" + d, ok
}

func allDigits(t string) bool {
	for i := 0; i < len(t); i++ {
		if !digit(t[i]) {
			return false
		}
	}
	return true
}

// atoi reads digits that are known to fit an int64; no digits are 0.
func atoi(t string) int64 {
	var n int64
	for i := 0; i < len(t); i++ {
		n = n*10 + int64(t[i]-'0')
	}
	return n
}

func lowest(num, den int64) (int64, int64) {
	a, b := num, den
	for b != 0 {
		a, b = b, a%b
	}
	if a == 0 {
		return 0, 1
	}
	return num / a, den / a
}
