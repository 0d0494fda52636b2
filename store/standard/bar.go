package standard

import (
	"fmt"
	"strings"
)

// A Bar is a boring bar as its designation describes it (ISO 6261, dimensions ISO 5609).
type Bar struct {
	Shank     byte    // position 1: material, head, coolant bore, damping
	Diameter  float64 // position 2: DCONMS in mm
	Length    byte    // position 3: letter; X: special, ask for LF
	Clamping  byte    // position 4
	Shape     byte    // position 5: shape of the insert
	Style     byte    // position 6: entering angle; X: special, ask for KAPR
	Clearance byte    // position 7: of the insert
	Hand      byte    // position 8: R or L
	Size      string  // position 9: size code of the insert
	Tail      byte    // position 10: form of the flats on the shank, or the maker's letter; 0: none
	Suffix    string  // maker's own part, upper case, without the dash
	Inch      bool    // written in the inch system: diameter in 16ths of an inch, other lengths
}

// ParseBar reads the designation of a boring bar: "A25T-SCLCR 09", with or without dash
// and space. Letters are read by position only: S25S-SSSCR 09 is steel, 250 mm, screw,
// square, 45 degrees.
//
// An insert, a square-shank holder and an inch bar are refused with CodeSystem: see
// [ParseInsert], [ParseHolder], [ParseInchBar]. Length or style X is accepted; [Bar.Asks]
// says what a person must add. Else a *[Refusal].
func ParseBar(text string) (Bar, error) {
	b, _, err := ReadBar(text)
	return b, err
}

// ReadBar reads like [ParseBar] and tells how.
func ReadBar(text string) (Bar, Reading, error) { return readBarText(text, false) }

// ParseInchBar reads a bar name of the inch system, known by its one-digit insert size:
// "A16T-SCLCR3" is a 1 in bar of 12 in for a 3/8 in circle. The diameter is counted in
// sixteenths of an inch; the lengths behind the letters are from memory and uncertain, so
// [Bar.LF] of such a bar must be measured. Else a *[Refusal].
func ParseInchBar(text string) (Bar, error) {
	b, _, err := readBarText(text, true)
	return b, err
}

func readBarText(text string, inch bool) (Bar, Reading, error) {
	var c clean
	if ref := c.tidy("bar", text); ref != nil {
		if plain := unlook(text); ref.Code == CodeCharset && plain != text {
			if b, err := ParseBar(plain); err == nil {
				ref.Meant = []string{b.String()}
			}
		}
		return Bar{}, Reading{}, ref
	}
	b, rd, f := readBar(&c, inch)
	if f == nil {
		return b, rd, nil
	}
	r := refusal("bar", text, f.code, fmt.Sprintf(f.why, f.args...))
	if f.at >= 0 {
		r.At = c.where(f.at)
		if f.at < c.n {
			r.Char = string(c.b[f.at : f.at+1])
		}
	}
	r.Meant = meantBar(c.string())
	if f.code != CodeSystem && !inch {
		// The name may be a right one of another kind: say so instead of picking at it.
		if in, _, err := ReadInsert(text); err == nil {
			r = refusal("bar", text, CodeSystem, "this is an insert, not a bar")
			r.Meant = []string{in.String()}
		} else if h, err := ParseHolder(text); err == nil {
			r = refusal("bar", text, CodeSystem, "this is a holder with a square shank for turning outside, not a bar")
			r.Meant = []string{h.String()}
		}
	}
	return Bar{}, Reading{}, r
}

// scan walks over a cleaned name and skips single spaces and dashes between positions.
type scan struct {
	b []byte
	i int
}

func (s *scan) skip() {
	for s.i < len(s.b) && (s.b[s.i] == ' ' || s.b[s.i] == '-') {
		s.i++
	}
}

// dashed skips like skip and reports whether there was a dash.
func (s *scan) dashed() bool {
	from := s.i
	s.skip()
	for _, b := range s.b[from:s.i] {
		if b == '-' {
			return true
		}
	}
	return false
}

func (s *scan) blank() {
	for s.i < len(s.b) && s.b[s.i] == ' ' {
		s.i++
	}
}

func (s *scan) next() (byte, bool) {
	if s.i >= len(s.b) {
		return 0, false
	}
	s.i++
	return s.b[s.i-1], true
}

func readBar(c *clean, inch bool) (b Bar, rd Reading, f *fault) {
	s := scan{b: c.bytes()}
	rd.Status = Accept
	if c.changed {
		rd.Status = Normalise
	}
	// Position 1: a letter, then exactly two digits, then a letter.
	x, _ := s.next()
	if digit(x) {
		return b, rd, &fault{0, CodeForm, "a bar name begins with the letter of the shank (S, A, E ...); it is missing", nil}
	}
	if shankOf(x) == nil {
		return b, rd, &fault{0, CodeMeaning, "%q is no shank type: those are %s", []any{string(rune(x)), shankLetters()}}
	}
	b.Shank = x
	n := digits(s.b[s.i:])
	switch {
	case n == 1 && s.i+1 < len(s.b) && (s.b[s.i+1] == 'O' || s.b[s.i+1] == 'I'):
		return b, rd, &fault{s.i + 1, CodeForm, "a digit belongs here, not the letter %c", []any{s.b[s.i+1]}}
	case n == 1 && s.i+1 < len(s.b) && letter(s.b[s.i+1]):
		return b, rd, &fault{s.i, CodeForm, "the diameter has two digits: write 0%c", []any{s.b[s.i]}}
	case n == 0 && s.i < len(s.b) && (s.b[s.i] == 'O' || s.b[s.i] == 'I'):
		return b, rd, &fault{s.i, CodeForm, "a digit belongs here, not the letter %c", []any{s.b[s.i]}}
	case n < 2:
		return b, rd, &fault{s.i, CodeForm, "two digits of diameter belong here", nil}
	case n > 2:
		return b, rd, &fault{s.i + 2, CodeForm, "a length letter belongs after the two digits of the diameter", nil}
	}
	sixteenths := atoi(string(s.b[s.i : s.i+2]))
	b.Diameter = float64(sixteenths)
	if sixteenths == 0 {
		return b, rd, &fault{s.i, CodeMeaning, "a bar of 0 mm does not exist", nil}
	}
	s.i += 2
	at := s.i
	x, ok := s.next()
	if _, known := barLengths[x]; !ok || !known {
		if !letter(x) {
			return b, rd, &fault{at, CodeForm, "the length letter is missing", nil}
		}
		return b, rd, &fault{at, CodeMeaning, "%c is no length letter", []any{x}}
	}
	b.Length = x
	if s.skip(); s.i == at+1 {
		rd.Status = Normalise // no separator
	}
	if f := b.cutting(&s, true); f != nil {
		return b, rd, f
	}
	if s.dashed() {
		rd.Status = Normalise
	}
	// One digit of size is the mark of the inch system, and the only one: the rest of the
	// name looks the same and would read as other lengths.
	if n := digits(s.b[s.i:]); n == 1 && (s.i+1 == len(s.b) || s.b[s.i+1] == ' ' || s.b[s.i+1] == '-' || s.b[s.i+1] == '.') {
		if !inch {
			return b, rd, &fault{s.i, CodeSystem, "one digit of insert size: an inch bar, %d/16 in and an inch length letter, not %d mm", []any{sixteenths, sixteenths}}
		}
		return b.finishInch(&s, float64(sixteenths), &rd)
	} else if inch {
		return b, rd, &fault{s.i, CodeForm, "an inch bar name ends in one digit of insert size", nil}
	}
	if f := b.size(&s); f != nil {
		return b, rd, f
	}
	f = b.tail(&s, &rd)
	if f == nil && (b.Length == 'X' || b.Style == 'X') {
		rd.Status = AcceptIncomplete
	}
	if b.Style == 'J' || b.Style == 'Z' {
		rd.flags |= saidStyle
	}
	return b, rd, f
}

func shankLetters() string {
	var t []string
	for _, s := range shanks {
		t = append(t, string(rune(s.letter)))
	}
	return strings.Join(t, " ")
}

// cutting reads positions 4 to 8: clamping, shape, style, clearance, hand.
func (b *Bar) cutting(s *scan, bar bool) *fault {
	for pos := 4; pos <= 8; pos++ {
		at := s.i
		x, ok := s.next()
		what := [...]string{"clamping", "insert shape", "style", "insert clearance", "hand"}[pos-4]
		if !ok || !letter(x) {
			return &fault{at, CodeForm, "the %s letter is missing", []any{what}}
		}
		known := true
		switch pos {
		case 4:
			_, known = clampings[x]
			b.Clamping = x
		case 5:
			known = shapeOf[x] >= 0
			b.Shape = x
		case 6:
			if bar {
				_, known = barStyles[x]
			} else {
				_, known = holderStyles[x]
			}
			b.Style = x
		case 7:
			known = isClearance(x) || x == 'O'
			b.Clearance = x
		case 8:
			if bar && x == 'N' {
				return &fault{at, CodeMeaning, "N is no hand of a bar: it is right (R) or left (L)", nil}
			}
			known = x == 'R' || x == 'L' || x == 'N' && !bar
			b.Hand = x
		}
		if !known {
			return &fault{at, CodeMeaning, "%c is no %s letter", []any{x, what}}
		}
	}
	return nil
}

// size reads position 9.
func (b *Bar) size(s *scan) *fault {
	if s.i+1 >= len(s.b) {
		return &fault{len(s.b), CodeForm, "the insert size is missing: two characters", nil}
	}
	x, y := s.b[s.i], s.b[s.i+1]
	if !digit(x) && !(x == 'S' || x == 'L') {
		return &fault{s.i, CodeForm, "a digit belongs here, not %q", []any{string(rune(x))}}
	}
	if !digit(y) {
		return &fault{s.i + 1, CodeForm, "a digit belongs here, not %q", []any{string(rune(y))}}
	}
	if _, _, ok := sizeOf(b.Shape, x, y); !ok {
		return &fault{s.i, CodeMeaning, "no %s has size %c%c", []any{shapes[shapeOf[b.Shape]].name, x, y}}
	}
	b.Size = string([]byte{x, y})
	s.i += 2
	return nil
}

// sizeOf returns circle and edge length in mm behind a size code; 0 where the name does
// not tell (round: 12.0 or 12.7; shapes without a circle).
func sizeOf(shape, x, y byte) (ic, edge float64, ok bool) {
	if shape > 'Z' || shapeOf[shape] < 0 {
		return 0, 0, false
	}
	if !digit(x) || !digit(y) {
		if s := sizeByCode(shape, x, y); s != nil {
			return s.ic, s.edge, true
		}
		return 0, 0, false
	}
	var in Insert
	var rd Reading
	in.Shape = shape
	if shape == 'R' {
		inch := sizeByCode('R', x, y)
		f := in.setSize(x, y, true, 0, &rd)
		switch {
		case f != nil:
			return 0, 0, false
		case inch != nil && rd.flags&saidByRule != 0:
			return inch.ic, inch.edge, true // no metric round of that size is made
		case inch != nil:
			return 0, 0, true
		}
		return in.IC, in.L, rd.flags&saidByRule == 0
	}
	if f := in.setSize(x, y, false, 0, &rd); f != nil {
		return 0, 0, false
	}
	return in.IC, in.L, true
}

// tail reads position 10 and the maker's suffix.
func (b *Bar) tail(s *scan, rd *Reading) *fault {
	if s.i < len(s.b) && letter(s.b[s.i]) && (s.i+1 == len(s.b) || s.b[s.i+1] == '-' || s.b[s.i+1] == ' ') {
		b.Tail = s.b[s.i]
		rd.flags |= saidTail
		s.i++
	}
	glued := s.i < len(s.b) && letterOrDigit(s.b[s.i])
	if glued && digit(s.b[s.i]) {
		return &fault{s.i, CodeForm, "too many digits: the insert size has two", nil}
	}
	s.blank()
	if s.i == len(s.b) {
		return nil
	}
	if s.b[s.i] == '-' {
		s.i++
		s.blank()
		if s.i == len(s.b) {
			return &fault{len(s.b) - 1, CodeForm, "a dash with nothing after it: the maker's suffix is missing", nil}
		}
	}
	for j := s.i; j < len(s.b); j++ {
		if !letterOrDigit(s.b[j]) && strings.IndexByte(" .,-+/()#*_", s.b[j]) < 0 {
			return &fault{j, CodeCharset, "%q stands in no maker's suffix", []any{string(s.b[j : j+1])}}
		}
	}
	if !letterOrDigit(s.b[s.i]) {
		return &fault{s.i, CodeForm, "a maker's suffix begins with a letter or a digit", nil}
	}
	if glued {
		rd.flags |= saidSuffixGlued
	}
	b.Suffix = string(s.b[s.i:])
	rd.suffix()
	return nil
}

// finishInch reads size and suffix of an inch bar; the insert size is the circle in
// eighths of an inch.
func (b Bar) finishInch(s *scan, sixteenths float64, rd *Reading) (Bar, Reading, *fault) {
	at := s.i
	v := int16(s.b[s.i]-'0') * 10
	s.i++
	if s.i+1 < len(s.b) && s.b[s.i] == '.' && digit(s.b[s.i+1]) {
		v += int16(s.b[s.i+1] - '0')
		s.i += 2
	}
	size := sizeByANSI(b.Shape, v)
	if size == nil {
		return b, *rd, &fault{at, CodeMeaning, "no %s has inch size %s", []any{shapes[shapeOf[b.Shape]].name, tenths(v)}}
	}
	b.Inch, b.Diameter, b.Size = true, sixteenths*127/80, size.code
	rd.Inch = true
	f := b.tail(s, rd)
	rd.Status = OtherSystem
	return b, *rd, f
}

// String spells the bar canonically: "A25T-SCLCR09", a maker's suffix after a dash.
// ParseBar reads it back to an equal value (ParseInchBar if Inch).
func (b Bar) String() string {
	if b == (Bar{}) {
		return ""
	}
	d, size := int(b.Diameter), b.Size
	if b.Inch {
		d = int(b.Diameter*16/25.4 + 0.5)
		if s := sizeByCodeText(b.Shape, b.Size); s != nil {
			size = tenths(circles[s.circle].ansi)
		}
	}
	t := fmt.Sprintf("%c%02d%c-%s%s%s", b.Shank, d, b.Length,
		string([]byte{b.Clamping, b.Shape, b.Style, b.Clearance, b.Hand}), size, byteText(b.Tail))
	if b.Suffix != "" {
		t += "-" + b.Suffix
	}
	return t
}

func (b Bar) shank() shank {
	if s := shankOf(b.Shank); s != nil {
		return *s
	}
	return shank{}
}

// Material returns steel, carbide or heavy metal.
func (b Bar) Material() string { return b.shank().material }

// FixedHead reports a steel head fixed to a shank of another material.
func (b Bar) FixedHead() bool { return b.shank().head }

// CoolantBore reports a bore for coolant through the bar.
func (b Bar) CoolantBore() bool { return b.shank().coolant }

// Damped reports a bar with a damper inside: it must be clamped all round, never by a
// screw on the damper, and has a shortest as well as a longest overhang (common practice,
// no source).
func (b Bar) Damped() bool { return b.shank().damped }

// LF returns the functional length in mm that the letter stands for; false for X (special)
// and for inch letters without a length. For inch bars it is from memory and uncertain. A
// measured or printed length wins over the letter: see [Bar.Measured].
func (b Bar) LF() (mm float64, ok bool) {
	if b.Inch {
		mm, ok = inchBarLengths()[b.Length]
		return mm, ok
	}
	mm = barLengths[b.Length]
	return mm, mm > 0
}

// Measured returns the functional length to use, given a measured or printed one in mm
// (0: none), and where it comes from: "measured", "from the designation", or "asked" if
// neither says. differs reports that both say and disagree by more than 1 mm.
func (b Bar) Measured(mm float64) (lf float64, from string, differs bool) {
	named, ok := b.LF()
	switch {
	case mm > 0:
		return mm, "measured", ok && (mm-named > 1 || named-mm > 1)
	case ok:
		return named, "from the designation", false
	}
	return 0, "asked", false
}

// KAPR returns the entering angle in degrees; false for X and Z, which do not say.
func (b Bar) KAPR() (deg float64, ok bool) {
	deg = barStyles[b.Style]
	return deg, deg > 0
}

// PSIR returns the lead angle, 90 degrees minus KAPR; it may be negative.
func (b Bar) PSIR() (deg float64, ok bool) {
	k, ok := b.KAPR()
	return 90 - k, ok
}

// ClampingText describes position 4.
func (b Bar) ClampingText() string { return clampings[b.Clamping].meaning }

// IC returns the inscribed circle in mm of the inserts that fit; 0 where the name does not
// tell (round, parallelogram).
func (b Bar) IC() float64 {
	if len(b.Size) != 2 {
		return 0
	}
	ic, _, _ := sizeOf(b.Shape, b.Size[0], b.Size[1])
	return ic
}

// Pocket returns the pattern of inserts that fit: shape, clearance, size, and by the
// clamping the kinds of hole. The thickness is not in the name of a bar: DNMG 1504 and
// 1506 are one to it, and not to its shim.
func (b Bar) Pocket() Pocket {
	return Pocket{Shape: b.Shape, Clearance: b.Clearance, Size: b.Size, Holes: clampings[b.Clamping].holes}
}

// Asks lists what the name leaves to a person, by ISO 13399 symbol: LF where the length
// letter is X, KAPR where the style is X or Z, AN where the clearance is O. nil if nothing.
func (b Bar) Asks() []string {
	var out []string
	if _, ok := b.LF(); !ok {
		out = append(out, "LF")
	}
	if _, ok := b.KAPR(); !ok {
		out = append(out, "KAPR")
	}
	if b.Clearance == 'O' {
		out = append(out, "AN")
	}
	return out
}

// Same reports whether two bars are one thing to a holder and to an insert: equal in all
// positions of the standard, makers' suffixes apart.
func (b Bar) Same(o Bar) bool {
	b.Suffix, o.Suffix = "", ""
	return b != (Bar{}) && b == o
}

// meantBar returns likely right spellings of a cleaned bar name that was refused.
func meantBar(text string) []string {
	var out []string
	try := func(t string) {
		var c clean
		if len(out) >= maxMeant || c.tidy("bar", t) != nil {
			return
		}
		b, _, f := readBar(&c, false)
		if f != nil {
			return
		}
		s := b.String()
		for _, have := range out {
			if have == s {
				return
			}
		}
		out = append(out, s)
	}
	flat := strings.NewReplacer(" ", "", "-", "").Replace(text)
	if len(flat) < 4 || len(flat) > 20 {
		return nil
	}
	if digit(flat[0]) && !digit(flat[2]) {
		try("S" + flat)
		try("A" + flat)
	}
	if letter(flat[0]) && digit(flat[1]) && letter(flat[2]) { // one digit of diameter
		try(flat[:1] + "0" + flat[1:])
	}
	if len(flat) >= 11 {
		try(toLetters(flat[:1]) + toDigits(flat[1:3]) + toLetters(flat[3:9]) + toDigits(flat[9:11]) + flat[11:])
	}
	// A size the shape does not have: the next ones.
	if len(flat) == 11 && digit(flat[9]) && digit(flat[10]) && letter(flat[5]) {
		for _, s := range sizes[flat[5]] {
			if near(s.code, flat[9:]) {
				try(flat[:9] + s.code)
			}
		}
	}
	// One wrong letter: the usual ones for its place.
	for _, usual := range []struct {
		at      int
		letters string
	}{{0, "SAE"}, {3, "TSRQ"}} {
		for j := range usual.letters {
			try(flat[:usual.at] + usual.letters[j:j+1] + flat[usual.at+1:])
		}
	}
	for i, usual := range []string{"SPDM", "CDTSVW", "LUFKQ", "CNPB", "RL"} {
		for j := 0; j < len(usual) && i+4 < len(flat); j++ {
			try(flat[:i+4] + usual[j:j+1] + flat[i+5:])
		}
	}
	if len(flat) == 8 || len(flat) == 10 && digit(flat[8]) { // hand missing
		try(flat[:8] + "R" + flat[8:])
		try(flat[:8] + "L" + flat[8:])
	}
	if len(flat) == 9 && letter(flat[5]) { // size missing
		for _, s := range sizes[flat[5]] {
			try(flat + s.code)
		}
	}
	return out
}
