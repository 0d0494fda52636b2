package standard

import "strings"

// usualLetters are letter groups one meets in any crib, most usual first; common practice,
// no source. They only order what was likely meant.
var usualLetters = strings.Fields("CNMG CCMT DNMG DCMT WNMG VNMG VBMT VCMT TNMG TCMT SNMG SCMT CCGT DCGT VCGT CNMA CNMM TPMT CPMT RCMT TPGN TPMR CNGA SNMM SNGN KNUX WCMT")

const maxMeant = 4

// meantInsert returns likely right spellings of a cleaned insert name that was refused:
// one slip away and readable, likeliest first, at most four.
func meantInsert(text string) []string {
	var out []string
	try := func(t string) {
		if len(out) >= maxMeant {
			return
		}
		var c clean
		if c.tidy("insert", t) != nil {
			return
		}
		in, _, f := readInsert(&c)
		if f != nil {
			return
		}
		s := in.String()
		for _, have := range out {
			if have == s {
				return
			}
		}
		out = append(out, s)
	}
	text = strings.ToUpper(text)
	try(text)
	flat := strings.ReplaceAll(text, " ", "")
	body, tail := flat, ""
	if i := strings.IndexByte(flat, '-'); i >= 0 {
		body, tail = flat[:i], flat[i:]
		if tail == "-" {
			tail = ""
		}
	}
	head := 0
	for head < len(body) && letter(body[head]) {
		head++
	}
	// A digit typed for a letter, or a letter for a digit.
	if len(body) >= 8 {
		try(toLetters(body[:4]) + toDigits(body[4:6]) + body[6:] + tail)
		try(toLetters(body[:4]) + toDigits(body[4:min(10, len(body))]) + body[min(10, len(body)):] + tail)
	}
	if strings.HasSuffix(flat, "-") {
		try(body)
	}
	try(strings.ReplaceAll(flat, "-", "")) // CNMG 12-04-08
	if head < 2 {
		return out
	}
	rest := body[min(head, 4):]
	if head < 4 {
		rest = body[head:]
	}
	if head != 4 || !knownLetters(body[:4]) {
		for _, g := range usualLetters {
			if oneSlip(body[:min(head, 5)], g) {
				try(g + body[min(head, max(4, head)):] + tail)
			}
		}
		return out
	}
	letters := body[:4]
	n := 0
	for n < len(rest) && (digit(rest[n]) || n == 2 && (rest[n] == 'T' || rest[n] == 'S')) {
		n++
	}
	if n >= 4 {
		two, th := rest[:2], rest[2:4]
		if letters[0] == 'R' {
			try(letters + two + th + "M0")
			try(letters + two + th + "00")
		}
		if s := sizeByCode('S', two[0], two[1]); s != nil {
			if own := sizeByANSI(letters[0], circles[s.circle].ansi); own != nil {
				try(letters + own.code + rest[2:] + tail)
			}
			if len(out) > 0 {
				return out
			}
		}
		switch {
		case n == 4:
			for _, r := range []string{"04", "08", "12"} {
				try(letters + two + th + r + tail)
			}
		case n == 5:
			for _, r := range []string{"4", "8", "2"} {
				try(letters + rest[:5] + r + tail)
			}
		case n > 6:
			try(letters + rest[:6] + rest[n:] + tail)
			for i := 0; i < n; i++ {
				try(letters + rest[:i] + rest[i+1:] + tail)
			}
		}
		if n >= 6 {
			for _, t := range []string{"04", "T3", "03", "02", "06"} { // usual thicknesses
				if t != th {
					if thicknessByCode(th[0], th[1]) == nil {
						try(letters + two + t + rest[4:] + tail)
					}
				}
			}
			list := sizes[letters[0]]
			for i := range list { // sizes next to a wrong one
				if v := list[i].code; sizeByCode(letters[0], two[0], two[1]) == nil && near(v, two) {
					try(letters + v + rest[2:] + tail)
				}
			}
		}
	}
	return out
}

// near reports two codes that differ in one character or by no more than three.
func near(a, b string) bool {
	if len(a) != 2 || len(b) != 2 {
		return false
	}
	if allDigits(a) && allDigits(b) {
		d := atoi(a) - atoi(b)
		return d >= -3 && d <= 3
	}
	return a[0] == b[0] || a[1] == b[1]
}

func knownLetters(l string) bool {
	return shapeOf[l[0]] >= 0 && (l[1] == 'O' || isClearance(l[1])) && strings.IndexByte(toleranceLetters, l[2]) >= 0 && kindOf[l[3]] >= 0
}

// oneSlip reports that a becomes b by one letter changed, added or left out.
func oneSlip(a, b string) bool {
	switch len(a) - len(b) {
	case 0:
		n := 0
		for i := range len(a) {
			if a[i] != b[i] {
				n++
			}
		}
		return n == 1
	case 1:
		return oneSlip(b, a)
	case -1:
		for i := range len(b) {
			if a == b[:i]+b[i+1:] {
				return true
			}
		}
	}
	return false
}

var (
	digitFor  = strings.NewReplacer("O", "0", "Q", "0", "I", "1", "L", "1", "Z", "2", "S", "5", "G", "6", "B", "8")
	letterFor = strings.NewReplacer("0", "O", "1", "I", "2", "Z", "5", "S", "6", "G", "8", "B")
)

func toDigits(t string) string  { return digitFor.Replace(t) }
func toLetters(t string) string { return letterFor.Replace(t) }
