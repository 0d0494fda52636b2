package server

import (
	"context"
	"fmt"
	"strings"

	"brasspeg/store"
	"brasspeg/store/ledger"
)

// mostGrindDays is the longest wait for a grinder that is taken for meant.
const mostGrindDays = 365

// planGrind works out what goes to the grinder or comes back from it; false when what lies here
// has nothing to do with it.
func (h *hand) planGrind(p *plan) bool {
	if len(h.items) == 0 {
		if h.act == "regrind" {
			p.next = "Scan what goes to the grinder, or what comes back from it."
		}
		return h.act == "regrind"
	}
	first := h.items[0]
	away := len(first.Grinding) > 0
	lot := first.Kind == store.KindLot
	switch {
	case away && h.act == "return" && !isOut(first), away && len(first.At) == 0 && (h.act == "" || h.act == "regrind" || h.act == "move"):
		h.planUnground(p)
		return true
	case h.act != "regrind":
		return false
	case lot && len(h.items) > 1:
		p.next = "Of what is counted in lots one at a time: clear, and scan one of them."
		return true
	case lot && len(first.At) > 1 && h.from() == 0:
		p.next = "It is in more than one place (" + whereText(first) + "). Scan the drawer it comes from, or the badge or station it was with."
		return true
	}
	days := h.numbers
	if lot {
		if len(days) == 0 && h.times[first.ID] == 1 {
			p.next = "How many go to the grinder? Type the number."
			return true
		}
		if len(days) > 0 && h.times[first.ID] == 1 {
			p.picks, days = h.picks(days[0]), days[1:]
		} else {
			p.picks = h.picks(0)
		}
		for i := range p.picks {
			p.picks[i].Place = h.from()
		}
	} else {
		p.picks = h.picks(0)
	}
	switch {
	case len(days) > 0 && (days[len(days)-1] < 1 || days[len(days)-1] > mostGrindDays):
		p.next = fmt.Sprintf("Back in how many days? Type 1 to %d, or Enter when nobody knows. The undo card takes the last number off.", mostGrindDays)
		return true
	case len(days) > 0:
		p.days = int(days[len(days)-1])
	case !h.yes:
		p.next = "To the grinder. Expected back in how many days? Type the number, or Enter when nobody knows."
		return true
	}
	p.act, p.grind = ledger.Transfer, "out"
	return true
}

// planUnground works out what comes back from the grinder. What was ground has a new size, which
// the Window does not measure.
func (h *hand) planUnground(p *plan) {
	first := h.items[0]
	says := sentence(first.Tag + ": " + first.Grinding[0].Says())
	if len(h.items) > 1 {
		p.next = "From the grinder one at a time: clear, and scan one of them."
		return
	}
	lot := first.Kind == store.KindLot
	if !h.yes && h.bin == nil {
		p.next = says + " Ground: open Regrinding and give its new size. Not ground: scan the drawer it goes into, or press Enter for its own."
		if lot {
			p.next += " Of fewer than all type the number first."
		}
		return
	}
	qty := h.quantity()
	if lot && qty == 0 {
		qty = first.Grinding[0].Qty
		if h.times[first.ID] > 1 {
			qty = h.times[first.ID]
		}
	}
	p.act, p.grind = ledger.Transfer, "back"
	p.picks = []store.Pick{{Item: first.ID, Qty: max(qty, 1)}}
	if h.bin != nil {
		p.to = h.bin.ID
	}
}

// grind books what goes to the grinder or comes back.
func (s *Server) grind(ctx context.Context, op store.Op, p plan) (store.Receipt, error) {
	if p.grind == "back" {
		return s.store.BackUnground(ctx, op, store.GrindBack{Picks: p.picks, To: p.to})
	}
	out := store.GrindOut{Picks: p.picks, Note: p.note, Override: p.override}
	if p.days > 0 {
		out.Due = s.store.Today().Add(p.days)
	}
	return s.store.SendToGrinder(ctx, op, out)
}

// grindText is where what is at the grinder is, for the end of a list of places.
func grindText(st store.Standing) []string {
	var out []string
	for _, g := range st.Grinding {
		t := g.Says()
		if st.Kind == store.KindPiece {
			t = strings.TrimPrefix(t, "1 ")
		}
		out = append(out, t)
	}
	return out
}

// A groundRow is one line of what is at the grinder.
type groundRow struct {
	Tag, Href, Part, Name, Pieces, Since, Due, Note string
	Late                                            bool
}

// atGrinder is what is at the grinder, the longest there first.
func (s *Server) atGrinder(ctx context.Context) ([]groundRow, error) {
	out, err := s.store.AtGrinder(ctx, 0)
	var rows []groundRow
	for _, g := range out {
		due := g.Due()
		rows = append(rows, groundRow{g.Tag, "/regrind?tag=" + g.Tag, g.PartCode, g.PartName, fmt.Sprint(g.Qty), clock(g.Since.Time), string(due), g.Note(), due != "" && due < s.store.Today()})
	}
	return rows, err
}
