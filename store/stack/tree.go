package stack

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"
)

// A BadField is a field that cannot be read: unknown, missing, of the wrong type, impossible,
// or contradicting another. It is an ErrField.
type BadField struct {
	Field string // path as written: request.station.interface
	Line  int    // line in the file, 0 when not read from one
	Why   string // what is wrong and how to mend it
}

// ErrField is the class of all refused fields.
var ErrField = errors.New("field refused")

func (e *BadField) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("line %d: %s: %s", e.Line, e.Field, e.Why)
	}
	return e.Field + ": " + e.Why
}

// Unwrap makes every BadField an ErrField.
func (e *BadField) Unwrap() error { return ErrField }

// A node is a JSON value that remembers the line it stands on.
type node struct {
	line int
	path string
	val  any // nil, bool, json.Number, string, []*node, *object
}

type object struct {
	keys  []string
	field map[string]*node
	used  map[string]bool
}

// maxDepth bounds nesting, so that a hostile file cannot exhaust the stack.
const maxDepth = 32

// lines turns offsets into line numbers.
type lines struct{ starts []int }

func newLines(b []byte) lines {
	l := lines{starts: []int{0}}
	for i, c := range b {
		if c == '\n' {
			l.starts = append(l.starts, i+1)
		}
	}
	return l
}

func (l lines) at(off int) int {
	return sort.Search(len(l.starts), func(i int) bool { return l.starts[i] > off })
}

// parse reads all JSON values in b, one after another. A repeated member is refused: which of
// the two was meant is a guess.
func parse(b []byte) ([]*node, error) {
	b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
	l := newLines(b)
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	var all []*node
	for {
		n, err := value(d, l, "", 0)
		if errors.Is(err, io.EOF) && n == nil {
			return all, nil
		}
		if err != nil {
			var bad *BadField
			if errors.As(err, &bad) {
				return all, err
			}
			off := int(d.InputOffset())
			var syn *json.SyntaxError
			if errors.As(err, &syn) {
				off = int(syn.Offset)
			}
			if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
				off = len(b)
				err = errors.New("the text ends before the value does")
			}
			return all, &BadField{Field: "JSON", Line: l.at(max(off-1, 0)), Why: err.Error()}
		}
		all = append(all, n)
	}
}

func value(d *json.Decoder, l lines, path string, depth int) (*node, error) {
	if depth > maxDepth {
		return nil, &BadField{Field: path, Line: l.at(int(d.InputOffset())), Why: "nested too deeply"}
	}
	t, err := d.Token()
	if err != nil {
		if depth > 0 && errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return nil, err
	}
	n := &node{line: l.at(max(int(d.InputOffset())-1, 0)), path: path}
	switch t := t.(type) {
	case json.Delim:
		switch t {
		case '{':
			o := &object{field: map[string]*node{}, used: map[string]bool{}}
			for d.More() {
				k, err := d.Token()
				if err != nil {
					return nil, err
				}
				key := k.(string) // the decoder only yields strings here
				at := l.at(max(int(d.InputOffset())-1, 0))
				p := key
				if path != "" {
					p = path + "." + key
				}
				v, err := value(d, l, p, depth+1)
				if err != nil {
					return nil, err
				}
				v.line = at
				if o.field[key] != nil {
					return nil, &BadField{Field: p, Line: at, Why: "is given twice; keep one"}
				}
				o.keys = append(o.keys, key)
				o.field[key] = v
			}
			n.val = o
		case '[':
			list := []*node{}
			for d.More() {
				v, err := value(d, l, fmt.Sprintf("%s[%d]", path, len(list)), depth+1)
				if err != nil {
					return nil, err
				}
				list = append(list, v)
			}
			n.val = list
		}
		if _, err := d.Token(); err != nil {
			if errors.Is(err, io.EOF) {
				err = io.ErrUnexpectedEOF
			}
			return nil, err
		}
	default:
		n.val = t
	}
	return n, nil
}

// A form reads the members of one object, remembers the first fault, and at the end refuses
// what nobody asked for.
type form struct {
	n   *node
	o   *object
	err error
}

// open begins to read n as an object.
func open(n *node) *form {
	f := &form{n: n, o: &object{field: map[string]*node{}, used: map[string]bool{}}}
	if o, ok := n.val.(*object); ok {
		o.used = map[string]bool{}
		f.o = o
	} else {
		f.err = &BadField{Field: orTop(n.path), Line: n.line, Why: "must be an object in braces"}
	}
	return f
}

func orTop(path string) string {
	if path == "" {
		return "the value"
	}
	return path
}

func (f *form) fail(key, why string, args ...any) {
	if f.err != nil {
		return
	}
	p, line := key, f.n.line
	if f.n.path != "" {
		p = f.n.path + "." + key
	}
	if n := f.o.field[key]; n != nil {
		line = n.line
	}
	f.err = &BadField{Field: p, Line: line, Why: fmt.Sprintf(why, args...)}
}

// take returns the member, nil when absent or null.
func (f *form) take(key string) *node {
	f.o.used[key] = true
	if n := f.o.field[key]; n != nil && n.val != nil {
		return n
	}
	return nil
}

func (f *form) has(key string) bool {
	n := f.o.field[key]
	return n != nil && n.val != nil
}

func (f *form) need(key string) {
	if !f.has(key) {
		f.fail(key, "is missing")
	}
}

// text reads a string; longer than 200 characters or with control characters is refused.
func (f *form) text(key string) string {
	n := f.take(key)
	if n == nil {
		return ""
	}
	s, ok := n.val.(string)
	switch {
	case !ok:
		f.fail(key, "must be text in quotes")
		return ""
	case len(s) > 200:
		f.fail(key, "is longer than 200 characters")
		return ""
	case strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f }):
		f.fail(key, "holds a control character")
		return ""
	}
	return strings.TrimSpace(s)
}

// oneOf reads a word from a list; absent gives "".
func (f *form) oneOf(key string, words ...string) string {
	s := f.text(key)
	if s == "" {
		return ""
	}
	for _, w := range words {
		if s == w {
			return s
		}
	}
	f.fail(key, "%q is none of %s", s, strings.Join(words, ", "))
	return ""
}

func (f *form) flag(key string) bool {
	n := f.take(key)
	if n == nil {
		return false
	}
	b, ok := n.val.(bool)
	if !ok {
		f.fail(key, "must be true or false")
	}
	return b
}

// number reads a number from lo to hi, both included; absent is unknown.
func (f *form) number(key string, lo, hi float64) Opt {
	n := f.take(key)
	if n == nil {
		return Opt{}
	}
	v, ok := n.val.(json.Number)
	if !ok {
		f.fail(key, "must be a number without quotes or unit")
		return Opt{}
	}
	x, err := strconv.ParseFloat(string(v), 64)
	if err != nil || math.IsNaN(x) || x < lo || x > hi {
		f.fail(key, "%s is out of range; from %s to %s", v, num(lo), num(hi))
		return Opt{}
	}
	return Some(x)
}

func (f *form) whole(key string, lo, hi int) (int, bool) {
	o := f.number(key, float64(lo), float64(hi))
	if !o.Known {
		return 0, false
	}
	if o.V != math.Trunc(o.V) {
		f.fail(key, "%s is no whole number", num(o.V))
		return 0, false
	}
	return int(o.V), true
}

func (f *form) date(key string) Date {
	s := f.text(key)
	if s == "" {
		return ""
	}
	d, err := ParseDate(s)
	if err != nil {
		f.fail(key, "%v", err)
	}
	return d
}

// list returns the elements of a list, nil when absent.
func (f *form) list(key string) []*node {
	n := f.take(key)
	if n == nil {
		return nil
	}
	l, ok := n.val.([]*node)
	if !ok {
		f.fail(key, "must be a list in brackets")
	}
	return l
}

func (f *form) sub(key string) *form {
	n := f.take(key)
	if n == nil {
		return nil
	}
	s := open(n)
	if s.err != nil && f.err == nil {
		f.err = s.err
	}
	return s
}

// keep takes over a fault of a sub-form.
func (f *form) keep(err error) {
	if f.err == nil && err != nil {
		f.err = err
	}
}

// close refuses the members nobody read, naming the likely meaning, and returns the first
// fault. A misspelt name comes before what its absence caused.
func (f *form) close() error {
	for _, k := range f.o.keys {
		if !f.o.used[k] {
			hint := ""
			if near := nearest(k, f.o.used); near != "" {
				hint = fmt.Sprintf("; did you mean %s?", near)
			}
			n := f.o.field[k]
			return &BadField{Field: orTop(n.path), Line: n.line, Why: "is no field of this record" + hint}
		}
	}
	return f.err
}

// nearest returns the known name within two edits of k, "" when there is none.
func nearest(k string, known map[string]bool) string {
	best, dist := "", 3
	names := make([]string, 0, len(known))
	for n := range known {
		names = append(names, n)
	}
	sort.Strings(names)
	for _, n := range names {
		if d := edits(strings.ToLower(k), strings.ToLower(n)); d < dist {
			best, dist = n, d
		}
	}
	return best
}

// edits counts the insertions, deletions and changes that turn a into b; names over 64 bytes
// are taken as far apart.
func edits(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		prev := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			keep := prev
			if a[i-1] != b[j-1] {
				keep++
			}
			prev = row[j]
			row[j] = min(keep, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
