package server

import (
	"fmt"
	"strings"

	"brasspeg/store"
	"brasspeg/store/ledger"
)

// An away is a way out of the shelf that wants a reason: to scrap, or to be looked at.
type away struct {
	act     string   // of its card
	scan    string   // what is wanted before anything lies here
	ask     string   // what is wanted then
	reasons []string // the usual ones, by number, so that a quantity key gives one
	must    bool     // Enter alone is no reason
}

var aways = map[string]*away{
	"scrap": {act: "scrap", must: true,
		scan:    "Scan what is scrapped.",
		ask:     "Why is it scrapped? Give the number of a reason, or WHY and the reason in words. CLEAR puts it away. It is not handed out again after that.",
		reasons: []string{"worn out", "broken", "cracked or bent", "seat or thread damaged", "label and identity lost"}},
	"inspect": {act: "inspect",
		scan:    "Scan what is to be looked at.",
		ask:     "What is wrong with it? Give the number of a reason, WHY and the reason in words, or Enter for none. It is held back until somebody puts it into a drawer again.",
		reasons: []string{"was dropped or ran into something", "scored or bent, to be measured", "does not run true", "coolant does not pass, or leaks", "screw or seat worn"}},
}

// noReason is the reason for inspection of somebody who gave none.
const noReason = "to be looked at, by the inspect card at the window"

// away is the way that the act card names; nil for any other act.
func (h *hand) away() *away { return aways[h.act] }

// reasons are what a number means while a reason is wanted.
func (h *hand) reasons() []string {
	if a := h.away(); a != nil {
		return a.reasons
	}
	return promisedReasons
}

// planAway works out what goes to scrap or inspection; false when it is inserts that come back
// to be looked at, which are a return with edges to count.
func (h *hand) planAway(p *plan, a *away) bool {
	if len(h.items) == 0 {
		p.next = a.scan
		return true
	}
	lot := false
	for _, st := range h.items {
		if a.act == "inspect" && edgesEach(st) > 0 {
			return false
		}
		lot = lot || st.Kind == store.KindLot
	}
	from := h.from()
	switch first := h.items[0]; {
	case lot && len(h.items) > 1:
		p.next = "Of what is counted in lots one at a time: clear, and scan one of them."
		return true
	case lot && len(first.At) > 1 && from == 0:
		p.next = "It is in more than one place (" + whereText(first) + "). Scan the drawer it comes from, or the badge or station it was with."
		return true
	case lot && len(h.numbers) == 0 && h.times[first.ID] == 1 && !h.asked:
		p.next = "How many? Type the number."
		return true
	case h.why == "" && (a.must || !h.yes):
		p.ask, p.next = true, a.ask
		return true
	}
	p.note = h.why
	if p.note == "" {
		p.note = noReason
	}
	p.picks = h.picks(h.quantity())
	for i := range p.picks {
		if h.items[i].Kind == store.KindLot {
			p.picks[i].Place = from
		}
	}
	switch {
	case a.act == "scrap":
		p.act = ledger.Scrap
	case isOut(h.items[0]) && (!lot || h.bin == nil):
		p.act = ledger.Return
	default:
		p.act = ledger.Transfer
	}
	return true
}

// from is the place that lies on the Window and a thing may come from, 0 for none.
func (h *hand) from() store.PlaceID {
	switch {
	case h.bin != nil:
		return h.bin.ID
	case h.station != nil:
		return h.station.ID
	case h.who != nil:
		return h.who.PlaceID
	}
	return 0
}

// kept says why a piece on no one's list is not handed out, "" when it is.
func kept(st store.Standing) string {
	if st.Kind != store.KindPiece {
		return ""
	}
	switch {
	case !st.RetiredAt.IsZero():
		return st.Tag + " was scrapped on " + string(store.DayOf(st.RetiredAt.Time)) + "."
	case st.Held != "":
		return sentence(st.Tag + " is held back: " + st.Held)
	case len(st.At) > 0 && st.At[0].Kind == store.Inspection:
		return st.Tag + " is in inspection."
	case len(st.At) > 0 && st.At[0].Kind == store.Lost:
		return st.Tag + " is on record as lost."
	}
	return ""
}

// keptNext says what can be done with a piece that is not handed out.
func keptNext(st store.Standing, bin *store.Place) string {
	why := kept(st)
	switch {
	case !st.RetiredAt.IsZero():
		return why + " It is not handed out. If that was a mistake, ask a manager to take the scrapping back; the ledger has its line. CLEAR puts it away."
	case bin != nil && len(st.At) > 0 && st.At[0].Kind == store.Lost:
		return why + " Enter: it is here again, in " + bin.Code + "."
	case bin != nil:
		return why + " Enter: it is in order again and goes into " + bin.Code + "."
	case len(st.At) > 0 && st.At[0].Kind == store.Lost:
		return why + " If this is it, scan the drawer it goes into."
	}
	return why + " It is not handed out. If it is in order again, scan the drawer it goes into; if not, scan the scrap card."
}

// strange says that what lies here would come to lie among things of another kind, away from its
// own drawer; "" when nothing is odd about it.
func (h *hand) strange() string {
	if h.bin == nil || len(h.items) == 0 || len(h.binHas) == 0 {
		return ""
	}
	st := h.items[0]
	if st.HomeID != nil && *st.HomeID == h.bin.ID {
		return ""
	}
	kinds := []string{}
	for _, other := range h.binHas {
		if other.PartKind == st.PartKind {
			return ""
		}
		if k := other.PartKind + "s"; len(kinds) == 0 || kinds[len(kinds)-1] != k {
			kinds = append(kinds, k)
		}
	}
	own := ""
	if h.home != "" {
		own = "; its own drawer is " + h.home
	}
	return fmt.Sprintf("%s holds %s, and %s is a %s%s.", h.bin.Code, strings.Join(kinds, " and "), st.Tag, st.PartKind, own)
}
