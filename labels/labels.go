// Package labels draws what a crib sticks on its things: tags for pieces, lots, bins, people,
// jobs and machine stations, and the cards that stand for an act (return, undo, done, …).
//
// One layout serves all of them. A label is a code to scan, its id in large plain letters
// with the check character, what the thing is, the two or three sizes a person looks for,
// what must never be done to it in words, and the date of print. The layout is made once, in
// millimetres, and then written by four pens: SVG (everything as outlines, fit for engraving),
// PDF (sheets, or one page a label for label printers), PNG with modules of whole dots, and
// the page languages of common raster label printers.
//
// All pens refuse together: a text that does not fit at the smallest readable size, a
// character the font cannot draw, a tag that is not a code. Nothing is cut off silently and
// nothing is printed half. The package knows no shop, no clock and no printer; the caller
// hands in plain values and gets bytes.
package labels

import (
	"errors"
	"fmt"
	"strings"
)

// Classes of refusal. Every error of this package is one of these.
var (
	// ErrText is a text that the font cannot draw or that does not fit its label.
	ErrText = errors.New("label text")
	// ErrCode is a content that cannot be made into a code to scan.
	ErrCode = errors.New("label code")
	// ErrMedia is a sheet, grid, label size or resolution that cannot be printed on.
	ErrMedia = errors.New("label media")
)

// A Refusal says which label, which field and why, and how to mend it.
type Refusal struct {
	Class error  // ErrText, ErrCode or ErrMedia
	Tag   string // tag of the label, or "" where no single label is to blame
	Field string // "title", "size 2", "never 1", …; "" where none is to blame
	Why   string // the reason with its numbers, and what would mend it
}

func (r *Refusal) Error() string {
	var b strings.Builder
	if r.Tag != "" {
		fmt.Fprintf(&b, "label %s: ", clean(r.Tag))
	}
	if r.Field != "" {
		fmt.Fprintf(&b, "%s: ", r.Field)
	}
	return b.String() + r.Why
}

func (r *Refusal) Unwrap() error { return r.Class }

// A Kind is what a label is stuck on. It gives the word at the head of the label where the
// label brings no word of its own.
type Kind string

// The kinds of label.
const (
	Piece   Kind = "piece"
	Lot     Kind = "lot"
	Bin     Kind = "bin"
	Person  Kind = "person"
	Job     Kind = "job"
	Station Kind = "station"
	Act     Kind = "act"
)

// A Size is one figure that a person looks for on the thing: what it measures, its value as
// it was entered, and its unit. Value and unit are texts: a label never converts.
type Size struct {
	Name  string // "outside", "inside", "radius", "edges"; may be empty
	Value string // "50", "1-1/4", "CNMG 12"
	Unit  string // "mm", "in", ""
	Large bool   // in larger type than its neighbours
}

// A Label is the content of one label. All texts may hold any characters the font can draw;
// control characters and direction marks are left out, and nothing in them is ever a command.
type Label struct {
	Tag     string   // the code: capitals and digits, see Code; printed below in large letters
	Kind    Kind     // what it is stuck on
	Head    string   // word at the head, as "sleeve"; empty: the kind
	Title   string   // what the thing is: "Sleeve 50 → 32, full round"
	Sizes   []Size   // none to four figures
	Never   []string // what must never be done to it, in words
	Note    string   // one more line in small type, as the drawer it belongs in
	Printed string   // date of print, as it shall read: "2026-11-25"
	Matrix  bool     // Data Matrix instead of QR, for direct marking
}

// head is the word at the head of the label.
func (l *Label) head() string {
	if l.Head != "" {
		return l.Head
	}
	return string(l.Kind)
}

// An Area is the size of a label in mm.
type Area struct {
	W, H float64
}

func (a Area) String() string { return mm(a.W) + " x " + mm(a.H) + " mm" }

// Standing is the size of a label where nobody chose one: it goes on a box, a drawer and a
// hanging tag, and prints on a common cell of A4 sheets.
var Standing = Area{W: 63.5, H: 38.1}

// mm writes a length without idle zeros: 38.1, 25.
func mm(v float64) string {
	s := strings.TrimRight(fmt.Sprintf("%.2f", v), "0")
	return strings.TrimSuffix(s, ".")
}
