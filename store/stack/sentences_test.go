package stack

import (
	"bytes"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

// told lists every sentence of a verdict that a person reads.
func told(v *Verdict) (out []string) {
	add := func(s ...string) { out = append(out, s...) }
	reasons := func(list []Reason) {
		for _, r := range list {
			add(r.Text)
		}
	}
	reasons(v.Reasons)
	for i := range v.Stacks {
		reasons(v.Stacks[i].Warnings)
		add(v.Stacks[i].Remarks...)
		add(v.Stacks[i].Mech.Notes...)
	}
	for i := range v.Options {
		o := &v.Options[i]
		add(o.Text)
		reasons(o.Warnings)
		add(o.Stack.Remarks...)
		add(o.Stack.Mech.Notes...)
		for _, m := range o.Parts {
			for _, b := range m.Owned {
				add(b.Text)
			}
			for _, b := range m.Catalogue {
				add(b.Text)
			}
		}
	}
	for _, w := range v.Worse {
		add(w.Changes)
	}
	for _, m := range v.Misses {
		add(m.Distance)
	}
	return out
}

// Faults of wording. A bare number is one without a unit or a word of what is counted behind it.
var (
	badWords   = regexp.MustCompile(`(not known|not recorded|nothing) (mm|bar|kg)\b|%!|  |^ | $| [,;:.)]|\( |\.$|,,|;;|\b[A-Z]+_[A-Z]+\b|\bW_|\b1 (edges|days|pieces|lots)\b|2999|(^|[ (])0 (mm|bar|kg)\b|\b[MF]:`)
	plainNum   = regexp.MustCompile(`(?:^|[ (])(\d+(?:\.\d+)?)( [A-Za-z0-9µ/²]+|[,;:)]|$)`)
	unitBehind = regexp.MustCompile(`^ (mm|in|bar|kg|x|edge|edges|day|days|to|needed|[A-Z]{3})$`)
)

// wording returns what is wrong with a sentence, "" for nothing.
func wording(s string) string {
	if s == "" {
		return "empty"
	}
	if m := badWords.FindString(s); m != "" {
		return "it says " + strconv.Quote(m)
	}
	s = strings.ReplaceAll(s, "lathe 4", "lathe") // a machine's name
	words := strings.FieldsFunc(s, func(r rune) bool { return r == ' ' })
	for i := 1; i < len(words); i++ {
		if w := strings.ToLower(words[i]); w == strings.ToLower(words[i-1]) && strings.Trim(w, "abcdefghijklmnopqrstuvwxyz") == "" {
			return "twice " + w
		}
	}
	for _, m := range plainNum.FindAllStringSubmatchIndex(s, -1) {
		if strings.HasSuffix(s[:m[2]], "push-in ") {
			continue
		}
		if after := s[m[4]:m[5]]; !unitBehind.MatchString(after) {
			return "a bare " + s[m[2]:m[3]]
		}
	}
	return ""
}

// A format is the text of a sentence in the source, by the file and the order in it.
type format struct {
	file, text string
	re         *regexp.Regexp
}

// formats reads the sentences out of the source: every text of several words in the given
// functions of a file ("" for all of it).
func formats(t *testing.T, file string, funcs ...string) (out []format) {
	t.Helper()
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, file, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	ast.Inspect(f, func(n ast.Node) bool {
		if d, ok := n.(*ast.FuncDecl); ok && len(funcs) > 0 && !slices.Contains(funcs, d.Name.Name) {
			return false
		}
		if _, ok := n.(*ast.ImportSpec); ok {
			return false
		}
		lit, ok := n.(*ast.BasicLit)
		if !ok || lit.Kind != token.STRING {
			return true
		}
		s, err := strconv.Unquote(lit.Value)
		if err != nil {
			t.Fatal(err)
		}
		if len(strings.Fields(s)) < 2 || seen[s] {
			return true
		}
		seen[s] = true
		re := regexp.QuoteMeta(s)
		for _, verb := range []string{"%s", "%d", "%.2f", "%v", "%q"} {
			re = strings.ReplaceAll(re, regexp.QuoteMeta(verb), "(.+)")
		}
		out = append(out, format{file, s, regexp.MustCompile(re)})
		return true
	})
	return out
}

// unsaid are last resorts that nothing known leads to.
var unsaid = map[string]bool{
	"the parts do not pass it on":                                            true, // a broken way of which no part is to blame
	"what it shares with other jobs is short and no more can be had in time": true, // a job left out for want of no ware
}

// TestSentences provokes every sentence of the room, holds each against the rules of wording, and
// keeps one example of each in a file that a person can read in one go.
func TestSentences(t *testing.T) {
	all := provoked(t)
	slices.Sort(all)
	all = slices.Compact(all)
	for _, s := range all {
		if bad := wording(s); bad != "" {
			t.Errorf("%q: %s", s, bad)
		}
	}
	var fs []format
	fs = append(fs, formats(t, "explain.go", "sentence", "tooSmall", "whyBroken", "remarks", "limitWord")...)
	fs = append(fs, formats(t, "units.go", "adapterWhy")...)
	fs = append(fs, formats(t, "check.go", "explain")...)
	fs = append(fs, formats(t, "avail.go", "borrow")...)
	fs = append(fs, formats(t, "fill.go", "buy")...)
	fs = append(fs, formats(t, "option.go", "")...)
	for _, file := range []string{"judge.go", "judgelengths.go", "judgecoolant.go"} {
		fs = append(fs, formats(t, file)...)
	}
	fs = append(fs, formats(t, "worse.go", "worse")...)
	fs = append(fs, formats(t, "mechanics.go", "mechanics", "bend")...)
	fs = append(fs, formats(t, "buyleft.go")...)
	// Short texts stand in many a sentence; these tell which are theirs.
	of := map[string]*regexp.Regexp{"option.go": regexp.MustCompile(`^an? [a-z]+: `), "fill.go": regexp.MustCompile(`^[A-Z].*(price|EUR)`),
		"judge.go": regexp.MustCompile(`^[a-z0-9]`), "judgelengths.go": regexp.MustCompile(`^[a-z0-9]`),
		"judgecoolant.go": regexp.MustCompile(`^[a-z0-9]`), "buyleft.go": regexp.MustCompile(`would do|goes to|^[a-z]`)}
	var b bytes.Buffer
	b.WriteString("One example of every sentence the stack room can say, by where it is made.\n")
	file := ""
	for _, f := range fs {
		if f.file != file {
			file = f.file
			fmt.Fprintf(&b, "\n%s\n", file)
		}
		best := ""
		for _, s := range all {
			if only := of[f.file]; only != nil && !only.MatchString(s) {
				continue
			}
			if f.re.MatchString(s) && (best == "" || len(s) < len(best) || len(s) == len(best) && s < best) {
				best = s
			}
		}
		if best == "" && unsaid[f.text] {
			continue
		}
		if best == "" {
			t.Errorf("%s: nothing said %q: provoke it", f.file, f.text)
			continue
		}
		fmt.Fprintf(&b, "  %s\n", best)
	}
	const golden = "../../testdata/stack/sentences.txt"
	if *update {
		if err := os.WriteFile(golden, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(want, b.Bytes()) {
		t.Errorf("the sentences are not those of %s; read the difference after go test ./store/stack -run TestSentences -update", golden)
	}
}

// TestWordingOfAnyVerdict holds the sentences on random shelves against the rules of wording.
func TestWordingOfAnyVerdict(t *testing.T) {
	n := 3000
	if testing.Short() {
		n = 600
	}
	said := 0
	for i := range n {
		m := &maker{Rand: rand.New(rand.NewPCG(43, uint64(i)))}
		r, items := m.request(), []Item(nil)
		if i%2 == 0 {
			items = m.shelf()
		} else {
			r, items = m.linkShelf()
		}
		s := shelfOf(t, items)
		v := checked(t, s, r)
		s.Easier(r, &v)
		for _, text := range told(&v) {
			said++
			if bad := wording(text); bad != "" {
				t.Fatalf("trial %d: %q: %s\n%s", i, text, bad, dump(r, items))
			}
		}
	}
	if said < 10*n {
		t.Errorf("%d sentences of %d shelves: nothing is proven", said, n)
	}
}
