package server

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/ledger"
)

// A hand is what lies on the Window between two bookings. Scans come in any order, so a
// hand is a set: what it means is worked out anew after each scan.
type hand struct {
	tokens  []string // what it is written as between two requests
	rows    []heldRow
	who     *store.Person
	station *store.Place // a station or a kit, which takes things as a person does
	bin     *store.Place
	binHas  []store.Standing
	job     *store.Job
	act     string // of an act card or a typed word
	numbers []int64
	items   []store.Standing
	home    string                 // code of the first one's own drawer
	times   map[store.ItemID]int64 // how often each was scanned
	yes     bool                   // Enter alone, or the done card
	asked   bool                   // what was to be taken is promised to another job: a reason is wanted
	why     string                 // the reason, or what is noted with the act
	seen    []string               // tags of the kit as it was shown
	picking *store.Picking         // the kit of the job, when nothing but its card lies here
	noKit   string                 // why the job has no kit to issue

	lastSaid string
}

// maxHeld bounds what a page can make the server look up for one scan.
const maxHeld = 60

const tokenEnd = "|"

// readHand looks up again what the page says lies on the Window. The page is not believed:
// every token is read like a scan.
func (s *Server) readHand(ctx context.Context, v viewer, held string) (hand, error) {
	h := hand{times: map[store.ItemID]int64{}}
	if held == "" {
		return h, nil
	}
	tokens := strings.Split(held, tokenEnd)
	if len(tokens) > maxHeld {
		return h, &refusal{class: errInvalid, field: "held", detail: "too much lies on the Window; book or clear it first"}
	}
	for _, t := range tokens {
		if err := s.take(ctx, &h, t); err != nil {
			return h, err
		}
	}
	h.yes, h.lastSaid = h.asked && h.away() == nil, "" // what was asked for stands until it is put away
	return h, nil
}

// Tokens of the page itself, which no label carries.
const (
	whoToken = "WHO:" // a person by number
	kitToken = "KIT:" // the tags of a kit as it was shown
	askToken = "ASK"  // a reason is wanted
	whyToken = "WHY " // a reason in words
)

func (h *hand) ask() {
	h.asked = true
	h.tokens = append(h.tokens, askToken)
}

// own reads the page's own tokens and a reason; false when text is none of them.
func (s *Server) own(ctx context.Context, h *hand, text string) (bool, error) {
	upper := strings.ToUpper(text)
	switch {
	case strings.HasPrefix(text, whoToken):
		n, err := strconv.ParseInt(text[len(whoToken):], 10, 64)
		if err != nil {
			return true, &refusal{class: errInvalid, field: "held", detail: "that is no person"}
		}
		p, err := s.store.Person(ctx, store.PersonID(n))
		if err != nil {
			return true, err
		}
		return true, h.setWho(p)
	case strings.HasPrefix(text, kitToken):
		h.seen = strings.Fields(text[len(kitToken):])
		h.tokens = append(h.tokens, text)
		return true, nil
	case text == askToken:
		h.ask()
		return true, nil
	case strings.HasPrefix(upper, whyToken):
		why := strings.TrimSpace(text[len(whyToken):])
		if why == "" || len(why) > 200 {
			return true, &refusal{class: errInvalid, field: "scan", detail: "give the reason in words after WHY, at most 200 letters"}
		}
		h.setWhy(why)
		return true, nil
	}
	return false, nil
}

func (h *hand) setWhy(why string) {
	h.why = why
	h.keep(whyToken+why, heldRow{Kind: "reason", Text: why})
}

// words a person may type instead of scanning an act card.
var actWords = map[string]string{
	"ISSUE": "issue", "RETURN": "return", "UNDO": "undo", "DONE": "done", "BIN-EMPTY": "bin-empty", "EMPTY": "bin-empty", "INSPECT": "inspect", "MOVE": "move", "REGRIND": "regrind", "PARTLY": "partly", "SCRAP": "scrap", "CLEAR": "clear", "CANCEL": "clear",
}

// take adds one scan to the hand, or says why it cannot lie there.
func (s *Server) take(ctx context.Context, h *hand, text string) error {
	text = strings.TrimSpace(text)
	if strings.Contains(text, tokenEnd) {
		return &refusal{class: errInvalid, field: "scan", detail: clip(text) + " is not one of our codes"}
	}
	upper := strings.ToUpper(text)
	if text == "" {
		h.yes, h.lastSaid = true, "Yes"
		return nil
	}
	if own, err := s.own(ctx, h, text); own {
		return err
	}
	if n, err := strconv.ParseInt(text, 10, 64); err == nil && len(text) <= 7 && n >= 0 {
		if h.asked {
			reasons := h.reasons()
			if n < 1 || n > int64(len(reasons)) {
				return &refusal{class: errInvalid, field: "scan", detail: fmt.Sprintf("the reasons are numbered 1 to %d; or type WHY and the reason", len(reasons))}
			}
			h.setWhy(reasons[n-1])
			return nil
		}
		h.numbers = append(h.numbers, n)
		h.keep(text, heldRow{Kind: "number", Tag: text})
		return nil
	}
	if act, ok := actWords[upper]; ok {
		return h.setAct(act)
	}
	th, err := s.scanned(ctx, text)
	if err != nil {
		if p, perr := s.store.PersonByLogin(ctx, text); perr == nil {
			return h.setWho(p)
		}
		return err
	}
	switch th.Kind {
	case "person":
		return h.setWho(*th.Person)
	case "act":
		return h.setAct(th.Act)
	case "item":
		if len(h.items) == 0 && th.Item.HomeID != nil {
			home, err := s.store.Place(ctx, *th.Item.HomeID)
			if err != nil {
				return err
			}
			h.home = home.Code
		}
		return h.addItem(*th.Item)
	case "job":
		if h.job != nil && h.job.ID != th.Job.ID {
			return &refusal{class: errConflict, field: "scan", detail: "the card of " + h.job.Code + " lies here already; book or clear that first"}
		}
		if h.job != nil {
			h.lastSaid = th.Job.Code + " lies here already"
			return nil
		}
		h.job = th.Job
		h.keep(th.Text, heldRow{Kind: "job", Tag: th.Job.Code, Text: th.Job.Name})
		return nil
	case "place":
		return s.setPlace(ctx, h, *th.Place, th.Text)
	case "machine":
		return &refusal{class: errInvalid, field: "scan", detail: th.Says + " has several stations; scan the one it goes into"}
	case "part":
		return &refusal{class: errInvalid, field: "scan", detail: th.Text + " is a part, of which there may be many; scan the tag of the piece itself"}
	}
	return &refusal{class: errInvalid, field: "scan", detail: clip(text) + " cannot be used at the Window"}
}

func (h *hand) keep(token string, row heldRow) {
	h.tokens, h.rows = append(h.tokens, token), append(h.rows, row)
	h.lastSaid = strings.TrimSpace(row.Tag + " " + row.Text)
}

func (h *hand) setWho(p store.Person) error {
	if h.who != nil && h.who.ID != p.ID {
		return &refusal{class: errConflict, field: "scan", detail: "the badge of " + h.who.Name + " lies here already; book or clear that first"}
	}
	if h.who == nil {
		h.keep(fmt.Sprintf("%s%d", whoToken, p.ID), heldRow{Kind: "person", Text: p.Name, Note: string(p.Role)})
	}
	h.who = &p
	return nil
}

func (h *hand) setAct(act string) error {
	if act == "done" {
		h.yes, h.lastSaid = true, "Yes"
		return nil
	}
	if h.act == act {
		h.lastSaid = act + " lies here already"
		return nil
	}
	if h.act != "" && act != "undo" && act != "clear" && act != "partly" && h.act != "partly" {
		return &refusal{class: errConflict, field: "scan", detail: "the card " + h.act + " lies here already; scan the clear card, or type CLEAR, and begin again with " + act}
	}
	h.act = act
	h.keep(strings.ToUpper(act), heldRow{Kind: "act", Text: act})
	return nil
}

func (s *Server) setPlace(ctx context.Context, h *hand, p store.Place, text string) error {
	switch {
	case p.Kind == store.PersonAt:
		return &refusal{class: errInvalid, field: "scan", detail: "scan the badge of " + p.Name}
	case p.Kind.Holds():
		h.station = &p
		h.keep(text, heldRow{Kind: "station", Tag: p.Code, Text: p.Name})
		return nil
	}
	here, err := s.store.InPlace(ctx, p.ID)
	if err != nil {
		return err
	}
	h.bin, h.binHas = &p, here
	note := "empty by the books"
	if len(here) == 1 {
		note = "holds " + here[0].PartCode
	} else if len(here) > 1 {
		note = "holds " + count(int64(len(here)), "thing", "things")
	}
	row := heldRow{Kind: "drawer", Tag: p.Code, Note: note}
	if p.Name != p.Code {
		row.Text = p.Name
	}
	h.keep(text, row)
	return nil
}

func (h *hand) addItem(st store.Standing) error {
	for _, have := range h.items {
		if have.ID == st.ID {
			if st.Kind == store.KindPiece {
				return &refusal{class: errConflict, field: "scan", detail: st.Tag + " lies here already"}
			}
			h.times[st.ID]++
			h.keep(st.Tag, heldRow{Kind: "lot", Tag: st.Tag, Text: st.PartCode, Note: "one more, " + fmt.Sprint(h.times[st.ID])})
			return nil
		}
		if st.Kind == store.KindPiece && have.Kind == store.KindPiece && isOut(have) != isOut(st) {
			return &refusal{class: errConflict, field: "scan", detail: "what lies here comes " + way(have) + ", " + st.Tag + " would go the other way; book or clear the first"}
		}
	}
	h.items = append(h.items, st)
	h.times[st.ID] = 1
	row := heldRow{Kind: st.Kind, Tag: st.Tag, Text: strings.TrimSpace(st.PartCode + " " + st.PartName), Note: whereText(st)}
	h.keep(st.Tag, row)
	return nil
}

func way(st store.Standing) string {
	if isOut(st) {
		return "back"
	}
	return "out of the shelf"
}

// isOut reports whether a piece is with a person or in a machine.
func isOut(st store.Standing) bool {
	return len(st.At) > 0 && st.At[0].Kind.Holds()
}

// whereText is where an item is, in a few words.
func whereText(st store.Standing) string {
	var at []string
	switch {
	case !st.RetiredAt.IsZero():
		return "scrapped on " + string(store.DayOf(st.RetiredAt.Time))
	case st.Held != "":
		at = append(at, "held back: "+st.Held)
	}
	for _, h := range st.At {
		w := h.Code
		if h.Kind.Holds() {
			w = "with " + h.Place
		}
		if st.Kind == store.KindLot {
			w = fmt.Sprintf("%d in %s", h.Qty, w)
		}
		at = append(at, w)
	}
	at = append(at, grindText(st)...)
	if len(at) == 0 {
		return "nowhere by the books"
	}
	return strings.Join(at, ", ")
}

func (h *hand) view() handView {
	v := handView{Held: strings.Join(h.tokens, tokenEnd), Understood: h.rows}
	if h.who != nil {
		v.ClearMS = badgeTime.Milliseconds()
	}
	return v
}

// A plan is what a hand means: an act to book now, or what is wanted next.
type plan struct {
	act   ledger.Act // "": not yet
	picks []store.Pick
	to    store.PlaceID // 0: each to its own drawer
	job   store.JobID
	edges *int
	next  string

	ask            bool   // a reason is wanted, as next says
	partly         bool   // of a kit what is there
	grind          string // "out" to the grinder, or "back" from it as it went
	days           int    // until it is expected back, 0 when nobody knows
	override, note string // why what is promised is taken; what is noted with an issue
}

// plan works out what the hand means. An operator's own badge need not be scanned: he takes
// for himself.
func (h *hand) plan(v viewer) plan {
	p := plan{}
	if h.job != nil {
		p.job = h.job.ID
	}
	p.note = h.why
	if a := h.away(); a != nil && h.planAway(&p, a) {
		return p
	}
	if h.asked {
		if h.why == "" {
			p.next = askNext
			return p
		}
		p.override, p.note = h.why, ""
	}
	if h.planGrind(&p) {
		return p
	}
	switch {
	case h.picking != nil:
		h.planKit(&p)
	case h.act == "bin-empty" && h.bin == nil:
		p.next = "Scan the drawer that is empty."
	case h.act == "bin-empty":
		p.act, p.to = ledger.Count, h.bin.ID
	case h.act == "return" || h.act == "inspect":
		h.planReturn(&p)
	case h.act == "" && len(h.items) > 0 && h.items[0].Kind == store.KindPiece && isOut(h.items[0]):
		h.planReturn(&p)
	default:
		h.planIssue(&p, v)
	}
	return p
}

func (h *hand) planReturn(p *plan) {
	if len(h.items) == 0 {
		p.next = "Scan what comes back."
		return
	}
	qty := int64(0)
	inserts := false
	for _, st := range h.items {
		inserts = inserts || edgesEach(st) > 0
	}
	if inserts {
		if len(h.items) > 1 {
			p.next = "Bring inserts back one lot at a time: clear, and scan one of them."
			return
		}
		most := edgesEach(h.items[0])
		switch n := len(h.numbers); n {
		case 0:
			p.next = fmt.Sprintf("How many edges are left on each? Type 0 to %d; %d only if it was never used. For more than one piece type the number of pieces first.", most, most)
			return
		default:
			e := int(h.numbers[n-1])
			p.edges = &e
			if n > 1 {
				qty = h.numbers[n-2]
			}
		}
		if !h.yes && h.bin == nil {
			p.next = fmt.Sprintf("Enter: %s with %s left on each. Or type on: pieces, then edges.", count(max(qty, h.times[h.items[0].ID]), "insert", "inserts"), count(int64(*p.edges), "edge", "edges"))
			return
		}
	} else if len(h.numbers) > 0 {
		qty = h.numbers[len(h.numbers)-1]
	}
	if h.bin == nil && !h.yes {
		p.next = strings.TrimSpace(h.withAnother() + " Scan the drawer it goes into, or press Enter to put it into its own.")
		return
	}
	if h.bin != nil && !h.yes {
		if others := h.strange(); others != "" {
			p.next = others + " Enter: put it into " + h.bin.Code + " all the same. Or clear, and scan it again with its own drawer."
			return
		}
	}
	p.act = ledger.Return
	if h.bin != nil {
		p.to = h.bin.ID
	}
	p.picks = h.picks(qty)
	if h.who != nil { // who brings it back matters for a lot that several have
		for i := range p.picks {
			if h.items[i].Kind == store.KindLot {
				p.picks[i].Place = h.who.PlaceID
			}
		}
	}
}

// withAnother says that a piece is with somebody else than the badge on the Window, as when another
// Window handed it out while it lay here; "" when it is not.
func (h *hand) withAnother() string {
	st := h.items[0]
	if h.who == nil || st.Kind != store.KindPiece || len(st.At) == 0 || st.At[0].PlaceID == h.who.PlaceID {
		return ""
	}
	return fmt.Sprintf("%s is %s by the books, so it is not handed to %s; this brings it back.", st.Tag, whereText(st), h.who.Name)
}

func (h *hand) planIssue(p *plan, v viewer) {
	items := h.items
	if len(items) == 0 && h.bin != nil && len(h.binHas) == 1 {
		items = h.binHas // a drawer with one thing in it stands for that thing
	}
	takes := store.PlaceID(0)
	switch {
	case h.station != nil:
		takes = h.station.ID
	case h.who != nil:
		takes = h.who.PlaceID
	case access.Of(v.role, access.IssuePieces) == access.Own:
		takes = v.place
	}
	elsewhere := h.bin != nil && len(h.items) > 0 && !lies(h.items[0], h.bin.ID)
	switch {
	case len(items) == 0 && h.bin != nil && len(h.binHas) > 1:
		p.next = "More than one thing lies in " + h.bin.Code + "; scan the tag of the one you mean."
		return
	case len(items) == 0:
		p.next = strings.TrimSpace(h.noKit + " Scan what is taken, or what comes back.")
		return
	case kept(items[0]) != "" && (h.bin == nil || elsewhere && !h.yes) && h.act != "move":
		p.next = keptNext(items[0], h.bin)
		if takes == 0 || elsewhere {
			return
		}
		p.act, p.to, p.picks = ledger.Issue, takes, h.picks(h.quantity()) // the store says why not
		return
	case elsewhere && (h.yes || h.act == "move"):
		p.act, p.to, p.picks = ledger.Transfer, h.bin.ID, h.picks(h.quantity())
		return
	case h.act == "move" && h.bin == nil:
		p.next = "Scan the drawer it goes into."
		return
	case takes == 0 && elsewhere:
		p.next = strings.TrimSpace(h.strange() + " Scan the badge of whoever takes it, or press Enter to move it to " + h.bin.Code + ".")
		return
	case takes == 0:
		p.next = "Scan the badge of whoever takes it, or the station it goes into."
		if h.quantity() == 0 && items[0].Kind == store.KindLot {
			p.next = "How many? Type the number, or scan the badge for one."
		}
		return
	}
	p.act, p.to = ledger.Issue, takes
	saved := h.items
	h.items = items
	p.picks = h.picks(h.quantity())
	h.items = saved
	if h.bin != nil && !elsewhere {
		for i := range p.picks {
			p.picks[i].Place = h.bin.ID
		}
	}
}

// quantity is the last number typed, 0 for none.
func (h *hand) quantity() int64 {
	if n := len(h.numbers); n > 0 {
		return h.numbers[n-1]
	}
	return 0
}

// picks are the things with how many of each: a piece is one, of a lot the number typed or
// as many as it was scanned.
func (h *hand) picks(qty int64) []store.Pick {
	var out []store.Pick
	for _, st := range h.items {
		p := store.Pick{Item: st.ID, Qty: 1}
		if st.Kind == store.KindLot {
			p.Qty = max(qty, h.times[st.ID], 1)
			if len(h.numbers) > 0 && qty == 0 && h.act != "return" && h.act != "inspect" {
				p.Qty = 0 // a typed 0 is refused by the store, not taken for one
			}
		}
		out = append(out, p)
	}
	return out
}

func lies(st store.Standing, place store.PlaceID) bool {
	for _, h := range st.At {
		if h.PlaceID == place {
			return true
		}
	}
	return false
}

// edgesEach is how many edges each piece of an item came with, 0 for what has none.
func edgesEach(st store.Standing) int {
	if st.EdgesLeft != nil {
		return *st.EdgesLeft
	}
	return st.Edges
}
