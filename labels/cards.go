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

// reasonCards says what stands on the card of each reason for which an edge comes off, by the
// word the log keeps for it.
var reasonCards = map[string]struct{ title, note string }{
	"planned":    {"Planned\u00A0◷", "changed at its count, still good"},
	"worn":       {"Worn\u00A0▽", "wear is at its limit"},
	"finish":     {"Finish\u00A0≈", "the surface is no longer good"},
	"size":       {"Size\u00A0↕", "the bore no longer holds its size"},
	"chipped":    {"Chipped\u00A0◣", "a piece of the edge is out"},
	"broken":     {"Broken\u00A0✕", "the edge or the insert is gone"},
	"chatter":    {"Chatter\u00A0∿", "it rang; look at the setup too"},
	"end of job": {"End of job\u00A0■", "came off with the job, not worn"},
}

// ReasonCard is the card that says at a machine why an edge came off, for hands in gloves. The
// tag is the code that the machine's page understands as the reason; a reason without words of
// its own gets a card with its own name.
func ReasonCard(reason, tag, printed string) Label {
	c, ok := reasonCards[reason]
	if !ok {
		c.title = reason
	}
	return Label{Tag: tag, Kind: Act, Head: "edge off", Title: c.title, Note: c.note, Printed: printed}
}
