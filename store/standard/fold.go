package standard

import (
	"strings"
	"unicode"
)

// Fold turns what a person types or a label says into words for a search: capitals, one
// space between words, full-width and dash forms made plain, marks of accents kept.
// "1 1/4" and `1-1/4"` become one word "1-1/4"; 1,25 and 1.250 become "1.25"; a unit that
// stands on a number goes, so that 32mm finds 32. Folding twice changes nothing. At most
// 512 bytes of text are read; control and invisible characters are dropped.
//
// A search keeps Fold of every spelling of a part in one column and asks that each word
// of Fold of the query begins a word there: "sleeve 50 32" then finds a sleeve whatever
// its name.
func Fold(text string) string {
	if len(text) > maxBytes {
		text = strings.ToValidUTF8(text[:maxBytes], "")
	}
	text = fractions.Replace(text)
	var b strings.Builder
	b.Grow(len(text))
	for _, r := range text {
		switch {
		case r >= '\uff01' && r <= '\uff5e':
			r -= 0xfee0
		case isDash(r):
			r = '-'
		case r == '×' || r == '*':
			r = 'X'
		case r == utf8Error || unicode.IsControl(r) && !unicode.IsSpace(r) || unicode.Is(unicode.Cf, r):
			continue
		}
		switch r = unicode.ToUpper(r); {
		case r == '"' || r == '\'' || r == '(' || r == ')' || r == '[' || r == ']' || r == ';' || r == ':' || r == '_' || unicode.IsSpace(r):
			b.WriteByte(' ')
		default:
			b.WriteRune(r)
		}
	}
	words := strings.Fields(b.String())
	out := words[:0]
	for _, w := range words {
		w = foldWord(w)
		if w == "" {
			continue
		}
		// A whole number before a fraction is one size: 1 1/4.
		if n := len(out); n > 0 && isFraction(w) && allDigits(out[n-1]) && len(out[n-1]) <= 2 {
			out[n-1] += "-" + w
			continue
		}
		out = append(out, w)
	}
	return strings.Join(out, " ")
}

const utf8Error = '\ufffd'

// foldWord makes one word plain: units off numbers, decimal comma, needless zeros.
func foldWord(w string) string {
	w = strings.Trim(w, ",.-/+")
	for _, unit := range []string{"MM", "INCHES", "INCH", "IN"} {
		if n, ok := strings.CutSuffix(w, unit); ok && n == "" {
			return "" // a unit alone says nothing
		} else if ok && isNumber(n) {
			w = n
			break
		}
	}
	w = strings.TrimPrefix(w, "Ø")
	if whole, dec, ok := strings.Cut(strings.Replace(w, ",", ".", 1), "."); ok && allDigits(whole) && allDigits(dec) && dec != "" {
		if whole == "" {
			whole = "0"
		}
		w = strings.TrimSuffix(whole+"."+strings.TrimRight(dec, "0"), ".")
	}
	return w
}

func isFraction(w string) bool {
	n, d, ok := strings.Cut(w, "/")
	return ok && n != "" && d != "" && allDigits(n) && allDigits(d)
}

// isNumber reports digits with decimal marks, dashes and fraction bars.
func isNumber(w string) bool {
	for i := 0; i < len(w); i++ {
		if !digit(w[i]) && strings.IndexByte(".,-/", w[i]) < 0 {
			return false
		}
	}
	return w != "" && digit(w[len(w)-1])
}

// Spellings returns all names a person might type for one thing, folded, none twice: for
// an insert its metric and inch names with and without spaces, its base and its seat; for
// a bar its name with and without dash, its diameter in both units and the inserts that
// fit; for a thread its synonyms; for anything else its words, and every size in it with
// its unit in the other unit too. kind is a kind of part (insert, bar, head, holder,
// sleeve, hose, fitting, spare) or empty. The folded text itself is always the first.
func Spellings(kind, designation string) []string {
	var out []string
	add := func(texts ...string) {
		for _, t := range texts {
			if t = Fold(t); t == "" {
				continue
			}
			known := false
			for _, have := range out {
				known = known || have == t
			}
			if !known {
				out = append(out, t)
			}
		}
	}
	add(designation)
	if kind == "" || kind == "insert" {
		if in, err := ParseInsert(designation); err == nil {
			add(insertSpellings(in)...)
		}
	}
	if kind == "" || kind == "head" || kind == "holder" || kind == "bar" {
		if p, err := ParseSeat(designation); err == nil {
			add(p.String(), strings.ReplaceAll(p.String(), ".", ""))
		}
	}
	if kind == "" || kind == "bar" || kind == "holder" {
		if b, err := ParseBar(designation); err == nil {
			add(barSpellings(b)...)
		} else if b, err := ParseInchBar(designation); err == nil {
			add(barSpellings(b)...)
		}
		if h, err := ParseHolder(designation); err == nil {
			t := h.String()
			add(t, t[:5]+" "+t[5:], t[:5]+" "+t[5:9]+" "+t[9:], h.Pocket().String())
		}
	}
	if th, err := ParseThread(designation); err == nil {
		add(threadSpellings(th)...)
	} else if p, err := ParsePort(designation); err == nil {
		add(threadSpellings(p.Thread)...)
	}
	for _, s := range sizesIn(designation) {
		add(sizeSpellings(s)...)
	}
	return out
}

// Key returns what two names of one thing share: the base of an insert, a bar or holder
// without the maker's suffix, a thread by its id. Two parts of one kind with equal keys
// are near-doubles to warn about; makers' suffixes, grades and spelling do not count. ok
// is false for a name no reader knows.
func Key(kind, designation string) (key string, ok bool) {
	if kind == "" || kind == "insert" {
		if in, err := ParseInsert(designation); err == nil {
			return "insert " + in.Base(), true
		}
	}
	if kind == "" || kind == "bar" || kind == "holder" {
		b, err := ParseBar(designation)
		if err != nil {
			b, err = ParseInchBar(designation)
		}
		if err == nil {
			b.Suffix = ""
			return "bar " + b.String(), true
		}
		if h, err := ParseHolder(designation); err == nil {
			h.Suffix = ""
			return "holder " + h.String(), true
		}
	}
	if kind == "" || kind == "fitting" {
		if th, err := ParseThread(designation); err == nil {
			return "thread " + th.ID, true
		}
		if p, err := ParsePort(designation); err == nil {
			return "thread " + p.String(), true
		}
	}
	return "", false
}

func insertSpellings(in Insert) []string {
	letters := in.Base()[:4]
	out := []string{
		in.String(), in.Base(), letters + " " + in.Base()[4:], letters + " " + in.Size + " " + in.Thickness + " " + in.Corner,
		in.Seat(), letters + " " + in.Seat()[4:],
	}
	if in.Suffix != "" {
		out = append(out, in.Base()+" "+in.Suffix, in.Suffix)
	}
	if n, ok := in.Inch(); ok {
		out = append(out, n.Name, strings.ReplaceAll(n.Name, " ", ""))
		if strings.Contains(n.Thickness, ".") {
			out = append(out, letters+" "+n.Size+"("+n.Thickness+")"+n.Radius)
		}
	}
	return out
}

func barSpellings(b Bar) []string {
	t := b.String()
	head, rest, _ := strings.Cut(t, "-")
	out := []string{t, head + rest, head + " " + rest}
	if len(rest) > 5 {
		out = append(out, head+"-"+rest[:5]+" "+rest[5:], head+" "+rest[:5]+" "+rest[5:])
	}
	unit := MM
	d := b.Diameter
	if b.Inch {
		unit, d = Inch, b.Diameter/25.4
	}
	if s, err := fromFloat(d, unit); err == nil {
		out = append(out, sizeSpellings(s)...)
	}
	p := b.Pocket().String()
	return append(out, p, strings.ReplaceAll(p, ".", ""))
}

func threadSpellings(t Thread) []string {
	out := []string{t.ID, strings.ReplaceAll(t.ID, " ", "")}
	switch t.Family {
	case "G":
		out = append(out, "BSPP "+t.Size, t.Size+" BSPP", "BSP "+t.Size)
	case "R", "Rc", "Rp":
		out = append(out, "BSPT "+t.Size, t.Size+" BSPT")
	case "NPT", "NPTF":
		out = append(out, t.Size+" "+t.Family)
	case "M", "M taper":
		if p, ok := coarse[t.MajorMM]; ok && p == t.PitchMM {
			out = append(out, "M"+number(t.MajorMM))
		}
	default:
		out = append(out, t.Size)
	}
	return out
}

// sizeSpellings are the ways to write one length: both units, decimals and fraction.
func sizeSpellings(s Size) []string {
	mm := number(round(s.MM(), 3))
	in := number(round(s.In(), 4))
	out := []string{mm, s.number()}
	// A shop says 1-1/4 for 31.75 mm, and nothing for 32.
	if f, ok := asFraction(s); ok {
		out = append(out, f, in)
	} else if s.unit == Inch {
		out = append(out, in)
	}
	return out
}

func round(v float64, places int) float64 {
	p := 1.0
	for range places {
		p *= 10
	}
	return float64(int64(v*p+0.5)) / p
}

// asFraction writes a length that is a whole number of 64ths of an inch as shops do.
func asFraction(s Size) (string, bool) {
	r := s.rat(Inch)
	if !r.IsInt() && (!r.Denom().IsInt64() || 64%r.Denom().Int64() != 0) || !r.Num().IsInt64() {
		return "", false
	}
	f := Size{num: r.Num().Int64(), den: r.Denom().Int64(), unit: Inch, fraction: true}
	return f.number(), true
}

// sizesIn finds the sizes with a unit, and the inch fractions, in a text: "sleeve 50/32
// mm" has 32 mm, `sleeve 2" x 1-1/4"` has both. Numbers without a unit are not sizes.
func sizesIn(text string) []Size {
	if len(text) > maxBytes {
		return nil
	}
	text = strings.ToUpper(fractions.Replace(text))
	var out []Size
	words := strings.FieldsFunc(text, func(r rune) bool {
		return unicode.IsSpace(r) || r == ';' || r == '×' || r == 'X' || r == '(' || r == ')'
	})
	for i, w := range words {
		// "1 1/4 IN", "1 1/4\"", "25 MM", "25MM"
		for n := min(3, len(words)-i); n > 0; n-- {
			t := strings.Join(words[i:i+n], " ")
			if n > 1 && !isNumber(w) {
				continue
			}
			if s, err := ParseSize(t); err == nil {
				out = append(out, s)
				break
			}
		}
	}
	return out
}
