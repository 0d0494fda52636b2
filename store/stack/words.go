package stack

import (
	"fmt"
	"math"
	"strings"
)

// inch reports whether the part's sizes on that side were entered in inch; "" asks for its
// lengths and the hole it goes into. A sleeve may be inch outside and metric inside.
func (p *Part) inch(side Side) bool {
	switch side {
	case Machine:
		return p.Unit == "in" || p.Unit == "in/mm"
	case Workpiece:
		return p.Unit == "in" || p.Unit == "mm/in"
	}
	return p.Unit == "in"
}

// sizeOf says a length with its unit, of what was entered in inch in both: 31.75 mm (1.25 in).
func sizeOf(mm float64, inch bool) string {
	if inch {
		return num(mm) + " mm (" + num(mm/25.4) + " in)"
	}
	return num(mm) + " mm"
}

// inchSize reports whether a diameter in mm that belongs to no recorded part is an inch one: a
// sixteenth of an inch, and no whole mm.
func inchSize(mm float64) bool {
	n := mm / 25.4 * 16
	return math.Abs(n-math.Round(n)) < 1e-6 && math.Abs(mm-math.Round(mm)) > 1e-6
}

// sizeOrNot says a length that may not have been recorded.
func sizeOrNot(mm Opt, inch bool) string {
	if !mm.Known {
		return "a size not recorded"
	}
	return sizeOf(mm.V, inch)
}

// endWord says a coolant end in words: F:G 1/4 is G 1/4 female, M:push-in 8 an 8 mm push-in male.
func endWord(end string) string {
	gender, code, ok := strings.Cut(end, ":")
	if !ok {
		return end // bore
	}
	if d, ok := strings.CutPrefix(code, "push-in "); ok {
		code = d + " mm push-in"
	}
	return code + map[string]string{"F": " female", "M": " male"}[gender]
}

// endWords joins several with a word between them.
func endWords(ends []string, between string) string {
	w := make([]string, 0, len(ends))
	for _, e := range ends {
		w = append(w, endWord(e))
	}
	return strings.Join(w, between)
}

// sayf puts off the making of a sentence until somebody reads it.
func sayf(format string, args ...any) func() string {
	return func() string { return fmt.Sprintf(format, args...) }
}

// eachBy puts a word before names: job A, jobs A, B.
func eachBy(one string, names []string) string {
	if len(names) != 1 {
		one += "s"
	}
	return one + " " + strings.Join(names, ", ")
}

// count says a number of things: 1 day, 2 days.
func count(n float64, one string) string {
	switch {
	case n == 1:
		return "1 " + one
	case strings.HasSuffix(one, "ch") || strings.HasSuffix(one, "x"):
		return num(n) + " " + one + "es"
	}
	return num(n) + " " + one + "s"
}
