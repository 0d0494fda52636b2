package shop

import (
	"fmt"
	"slices"
	"time"
)

// An ActKind says what somebody did at the window or at a machine.
type ActKind string

// The kinds of acts.
const (
	Receive  ActKind = "receive"  // from outside into a place
	Issue    ActKind = "issue"    // from a place to a person, for a job
	Return   ActKind = "return"   // from a person into a place; inserts with the edges left on them
	Use      ActKind = "use"      // from a place to a person who uses it up
	Scrap    ActKind = "scrap"    // from a place into the scrap
	Transfer ActKind = "transfer" // from a place to a place
	Count    ActKind = "count"    // Qty is what was found in the place
	Reverse  ActKind = "reverse"  // Of names the act that is taken back
	Edge     ActKind = "edge"     // an edge came off
)

// A Line is one thing that an act moves or counts.
type Line struct {
	Piece    int    // of a piece with a tag: its number, see History.Piece; -1 of a lot
	Part     string // of both
	Lot      string // box or heat
	Used     int    // edges left on each when it was taken from the part-used shelf; 0: taken as new
	EdgesNow int    // of inserts that come back: edges left on each; 0: used up
	Qty      int
	From, To string // codes of places or people; From of a receipt is the supplier, "" at the opening
}

// An EdgeRun is one edge from indexing to removal.
type EdgeRun struct {
	Machine  string
	Station  int
	Insert   string
	Lot      string
	EdgeNo   int // 1 is the first edge of the insert
	Parts    int
	Minutes  float64 // in cut
	Reason   string  // planned, worn, finish, size, chipped, broken, end of job
	Material string  // batch of material, "" when nobody wrote it down
}

// An Act is one thing somebody did, with all it moved.
type Act struct {
	At     time.Time // UTC
	Kind   ActKind
	By     string // person who booked it
	Job    string // "" when none
	Reason string
	Lines  []Line
	Run    *EdgeRun // of an Edge
	Of     int      // of a Reverse: index of the act in History.Acts
}

// A PastJob is a job that has been run, or is still being run when End is zero.
type PastJob struct {
	Code       string
	Name       string
	Family     string
	Machine    string
	Station    int
	Material   string
	KcGroup    int
	Cutting    Cutting
	Request    Request
	Insert     string
	Qty        int
	Start, End time.Time
	Due        time.Time
}

// An Order went to a supplier. Received is zero while it is open.
type Order struct {
	Part     string
	Supplier string
	Qty      int
	Ordered  time.Time
	Due      time.Time // as promised
	Received time.Time
	Lot      string
}

// A History is the past of the shop. Played from empty shelves, Acts in their order never take
// what is not there and end at the shelves of Shop.Pieces.
type History struct {
	Acts   []Act
	Jobs   []PastJob
	Orders []Order
	Gone   []Piece // scrapped pieces: numbers from len(Shop.Pieces) on
}

// Piece returns the piece of that number: of the shop, or one that is gone.
func (h *History) Piece(s *Shop, n int) *Piece {
	if n < len(s.Pieces) {
		return &s.Pieces[n]
	}
	return &h.Gone[n-len(s.Pieces)]
}

// Places the history knows by name: of part-used inserts, of the dead, of what is held back,
// of what nobody can find.
const (
	PartUsedPlace   = "PART-USED"
	ScrapPlace      = "SCRAP"
	InspectionPlace = "INSPECTION"
	LostPlace       = "LOST"
)

// A key names a pile of a lot part. Inserts in somebody's hand keep the name of the pile they
// were taken from.
type key struct {
	part, lot, place string
	used             int
}

// Shelves plays acts on empty shelves and returns what lies where: pieces by number, lots by
// pile. A place that is a person's code holds what that person has. It stops at the first act
// that takes what is not there, and says which.
func (h *History) Shelves() (pieces map[int]string, lots map[string]int, err error) {
	pieces, piles := map[int]string{}, map[key]int{}
	for i, a := range h.Acts {
		if err := play(h.Acts, i, a, pieces, piles); err != nil {
			return nil, nil, fmt.Errorf("act %d, %s at %s: %w", i, a.Kind, a.At.Format(time.DateTime), err)
		}
	}
	lots = map[string]int{}
	for k, n := range piles {
		if n != 0 {
			lots[k.name()] += n
		}
	}
	return pieces, lots, nil
}

// name writes a pile as "part lot place", with "used N" when its inserts have N edges left.
func (k key) name() string {
	if k.used > 0 {
		return fmt.Sprintf("%s %s %s used %d", k.part, k.lot, k.place, k.used)
	}
	return fmt.Sprintf("%s %s %s", k.part, k.lot, k.place)
}

func play(acts []Act, i int, a Act, pieces map[int]string, piles map[key]int) error {
	switch a.Kind {
	case Edge:
		return nil
	case Reverse:
		if a.Of < 0 || a.Of >= i || acts[a.Of].Kind != Issue {
			return fmt.Errorf("takes back act %d", a.Of)
		}
		b := acts[a.Of]
		b.Lines = slices.Clone(b.Lines)
		for k := range b.Lines {
			b.Lines[k].From, b.Lines[k].To = b.Lines[k].To, b.Lines[k].From
		}
		return play(acts, i, b, pieces, piles)
	}
	for _, l := range a.Lines {
		outside := a.Kind == Receive // the outside world is never empty
		if l.Piece >= 0 {
			if !outside && pieces[l.Piece] != l.From {
				return fmt.Errorf("piece %d (%s) is in %q, not in %q", l.Piece, l.Part, pieces[l.Piece], l.From)
			}
			pieces[l.Piece] = l.To
			continue
		}
		from := key{l.Part, l.Lot, l.From, l.Used}
		if a.Kind == Count {
			piles[from] = l.Qty
			continue
		}
		if !outside {
			if piles[from] < l.Qty {
				return fmt.Errorf("%s: %d there, %d taken", from.name(), piles[from], l.Qty)
			}
			piles[from] -= l.Qty
		}
		to := from
		to.place = l.To
		switch {
		case a.Kind == Use:
			continue
		case a.Kind == Return && l.To == PartUsedPlace:
			to.used = l.EdgesNow
		case a.Kind == Return && l.To == ScrapPlace:
			to.used = 0
		}
		piles[to] += l.Qty
	}
	return nil
}
