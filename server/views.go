package server

import (
	"html/template"
	"strconv"
	"strings"
	"time"
)

// The structs that pages are filled from. They hold text ready to read; a template decides
// nothing but what is there.

// A stateView is a state as a word with a shape; Class colours what needs attention.
type stateView struct{ Word, Shape, Class string }

// A reading is a figure with a name, large.
type reading struct{ Name, Value, Unit string }

// A factView is one line of a list of facts.
type factView struct{ Name, Value, Unit, Href string }

// jobPage is one job and the verdict on its stack.
type jobPage struct {
	Code, Name    string
	State         stateView
	Says          string
	Readings      []reading
	Facts         []factView
	Drawing       template.HTML // made by server/drawing from figures and codes; escaped there
	Caption       string
	Uses          []useRow
	Warnings      []string
	Remarks       []string
	Checks        []checkRow
	Reasons       []string
	Options       []optionView
	Worse         []string
	Misses        []missRow
	Plan          planView
	MoreOptions   []string
	Estimates     []factView
	EstimateNotes []string
	Promises      []promiseRow
}

type useRow struct {
	Role, Code, Name, Tag, Href, Place string
	State                              stateView
}

type checkRow struct {
	Name, Value, Limit, Source string
	State                      stateView
}

type optionView struct {
	Number int
	Says   string
	When   string
	Others string
	Parts  []missingView
}

type missingView struct {
	Kind      string
	Sizes     []factView
	Prefers   []factView
	Owned     []string
	Catalogue []string
}

type missRow struct{ Tag, Href, Kind, Distance string }

type promiseRow struct{ Tag, Href, Pieces, Days string }

// searchPage is one box over everything that has a name.
type searchPage struct {
	Query   string
	Asked   bool
	Jobs    []hitRow
	Items   []itemRow
	Parts   []partRow
	Places  []hitRow
	People  []hitRow
	Nothing bool
	Likely  []hitRow // what was misspelt, when nothing was found
	Retired *hitRow  // a part of that code is out of use
	Cut     string   // there are more than are shown
	Kinds   []hitRow // nothing asked: the kinds there are, with how many
	Bare    bool     // nothing asked, and no part is on record

	MayKeep    bool // may enter what was not found
	ShowMissed bool
	Missed     string // the week's look-ups in vain
	MissedTop  []hitRow
	LabelPrint string // address where labels of what was found are printed
}

type hitRow struct{ Href, Code, Name, Note string }

type itemRow struct {
	Href, Tag, Code, Name, Pieces, Where, Held, Due string
	State                                           stateView
}

type partRow struct {
	Href, Code, Name, Kind, OnHand, Out, Promised, Free, Where string
	With                                                       []string // who has what is out
}

// partPage is a catalogue record with what the shop has of it.
type partPage struct {
	Code, Name string
	Readings   []reading
	Facts      []factView
	Sizes      []valueRow
	Items      []itemRow

	Drawing  template.HTML // of an insert, or the end of a bar; escaped in server/drawing
	Caption  string
	NameHref string // its name taken apart
	Codes    []codeRow
	Merges   []mergeRow

	MayKeep, MayMerge                    bool
	Op, MergeHref, CodeHref, RegrindHref string
	LabelPrint                           string // address where its labels are printed

	Retired  string // since when it is out of use; empty: it is in use
	EditHref string
	Changes  []changeRow // what people changed of the record, newest first
	Mates    []matesView
	Says     string // what can be had and where
}

// A valueRow is one value of a part.
type valueRow struct{ Symbol, Name, Help, Value, Unit, Both, Origin string }

type codeRow struct {
	Code, Why string
	Linked    bool
}

type mergeRow struct{ OpID, Code, When, By, Reason string }

// piecePage is one piece, or one lot, with its history.
type piecePage struct {
	Tag, Code, Name string
	State           stateView
	Says            string
	Facts           []factView
	Places          []factView
	Wear            wearView
	Label           string // address of its label as SVG, "" when there is none
	LabelPDF        string
	LabelPrint      string // address where it is printed, "" for who may not
	ShowHistory     bool
	History         movementsView
}

// placePage is what stands in one place.
type placePage struct {
	Tag, Code, Name, Kind string
	LabelPrint            string // address where its labels are printed, "" for who may not
	CountOp               string // op id of counting it, "" for who may not
	Items                 []itemRow
}

// ledgerPage is a piece of the ledger, with what it is narrowed to.
type ledgerPage struct {
	What, From, Until string // as asked
	Acts              []optionRow
	Says              string // what is shown, "" for all of it
	Movements         movementsView
	Older, OlderSays  string // address of what comes before, "" at the end
	CSV, XLSX         string // the same as a file
}

type movementsView struct {
	Caption  string
	WithItem bool
	Rows     []movementRow
}

type movementRow struct {
	Seq, When, Act, Tag, Href, Item, Pieces, From, To, By, Why string
}

type peoplePage struct {
	Badges string // address where badges are made, "" for who may not
	People []personRow
}

type personRow struct{ Login, Href, Name, Role, Phone string }

type loginPage struct {
	First bool
	Demo  []demoPerson
}

type demoPerson struct{ Login, Name, Role string }

// figure writes a number with at most n decimals and no idle zeros.
func figure(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// clock writes a moment as people of the shop read it, in the server's zone.
func clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Local().Format("Mon 2 Jan 2006 15:04")
}

// count writes n with the noun in the right number.
func count(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.FormatInt(n, 10) + " " + many
}
