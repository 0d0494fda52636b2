package labels

import "strconv"

// A Deed is an act that has a card of its own at the window, so that the whole job can be
// done with a scanner.
type Deed string

// The deeds.
const (
	Return   Deed = "return"
	Undo     Deed = "undo"
	Done     Deed = "done"
	BinEmpty Deed = "bin empty"
)

// cards says what stands on the card of each deed: a word, a shape that stays beside it, and
// what happens.
var cards = map[Deed]struct{ title, note string }{
	Return:   {"Return\u00A0↵", "then scan what you bring back"},
	Undo:     {"Undo\u00A0↶", "takes back your last act, for 60 seconds"},
	Done:     {"Done\u00A0✓", "ends your turn; the next person scans a badge"},
	BinEmpty: {"Bin empty\u00A0∅", "then scan the bin that has run out"},
}

// Deeds lists the deeds in the order in which their cards hang at the window.
func Deeds() []Deed { return []Deed{Return, Done, Undo, BinEmpty} }

// ActCard is the card of a deed. The tag is the code that the window understands as the deed;
// an unknown deed gets a card with its own name.
func ActCard(d Deed, tag, printed string) Label {
	c, ok := cards[d]
	if !ok {
		c.title = string(d)
	}
	return Label{Tag: tag, Kind: Act, Head: "act", Title: c.title, Note: c.note, Printed: printed}
}

// QuantityKey is the card of a number of pieces (1 or more) for the next scan.
func QuantityKey(n int, tag, printed string) Label {
	note := "pieces, for the next scan"
	if n == 1 {
		note = "piece, for the next scan"
	}
	return Label{Tag: tag, Kind: Act, Head: "quantity", Title: strconv.Itoa(n), Note: note, Printed: printed}
}
