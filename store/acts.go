package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"brasspeg/store/ledger"
)

// A Pick is a quantity (> 0) of an item in a place. Place 0: where it stands, when that is
// one place.
type Pick struct {
	Item  ItemID  `json:"item"`
	Place PlaceID `json:"place,omitempty"`
	Qty   int64   `json:"qty"`
}

// An IssueIn hands picks to a person, a station or a kit.
type IssueIn struct {
	Picks    []Pick
	To       PlaceID
	Job      JobID
	Due      Day    // empty: no due day
	Override string // why it is taken although it is promised to another job; kept and shown
	Note     string
}

// Issue hands out what is on the shelf and free. On ErrShort, ErrElsewhere (who has it),
// ErrHeld, ErrRetired or ErrPromised nothing has moved.
func (s *Store) Issue(ctx context.Context, o Op, in IssueIn) (Receipt, error) {
	r, err := s.issue(ctx, o, in)
	if len(in.Picks) == 1 && (errors.Is(err, ErrElsewhere) || errors.Is(err, ErrShort) || errors.Is(err, ErrPromised)) {
		s.noteRefused(ctx, in.Picks, in.Job, err) // which of several was not there is not known
	}
	return r, err
}

func (s *Store) issue(ctx context.Context, o Op, in IssueIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Issue, in, func(e *entry) error {
		to, err := e.place(in.To)
		if err != nil {
			return err
		}
		if !to.Kind.Holds() {
			return refuse(ErrBadInput, "to", "%s is not a person, a station or a kit; to move things between shelves, transfer them", to.Code)
		}
		if err := e.forHimself(to); err != nil {
			return err
		}
		if e.note, err = remark("note", in.Note); err != nil {
			return err
		}
		e.due = in.Due
		planned, err := e.plannedFor(in.Job)
		if err != nil {
			return err
		}
		back := in.Due
		if back == "" && in.Job != 0 {
			if err := e.Raw("SELECT to_day FROM jobs WHERE id = ?", in.Job).Scan(&back).Error; err != nil {
				return err
			}
		}
		return e.each(in.Picks, func(st standing, p Pick) error {
			from, err := e.onShelf(st, p.Place)
			if err != nil {
				return err
			}
			if err := e.free(st, p.Qty, in.Job, back, in.Override); err != nil {
				return err
			}
			if err := e.line(st, ledger.Movement{From: int64(from.ID), To: int64(to.ID), Qty: p.Qty, Job: int64(in.Job), Reason: in.Override}); err != nil {
				return err
			}
			if err := e.fulfil(st, p.Qty, in.Job); err != nil {
				return err
			}
			return e.substituted(planned, st, p.Qty, in)
		})
	})
}

// A ReturnIn brings picks back. Condition is "ok" or "inspect"; Edges is the edges left on
// each insert, nil when the part has none.
type ReturnIn struct {
	Picks     []Pick // Place: who has it, 0 when only one has
	To        PlaceID
	Condition string
	Edges     *int
	Reason    string
}

// Return takes back what was handed out. An insert comes back with the edges left on it: all
// of them and it was never used; fewer and it goes to the part-used lot of that many edges,
// never to the new one; none and it goes to scrap.
func (s *Store) Return(ctx context.Context, o Op, in ReturnIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Return, in, func(e *entry) error {
		return e.each(in.Picks, func(st standing, p Pick) error {
			from, job, err := e.holder(st, p.Place)
			if err != nil {
				return err
			}
			if err := e.forHimself(from); err != nil {
				return err
			}
			m := ledger.Movement{From: int64(from.ID), Qty: p.Qty, Job: job, Reason: in.Reason}
			if each := st.edgesEach(); each > 0 {
				return e.returnInsert(st, m, in, each)
			}
			if in.Edges != nil {
				return refuse(ErrBadInput, "edges", "%s has no edges to count", st.called())
			}
			to, err := e.backTo(st, in)
			if err != nil {
				return err
			}
			m.To = int64(to)
			return e.line(st, m)
		})
	})
}

func (e *entry) returnInsert(st standing, m ledger.Movement, in ReturnIn, each int) error {
	switch {
	case in.Edges == nil:
		return refuse(ErrBadInput, "edges", "how many edges are left on each %s? Give 0 to %d; %d only if it was never used", st.called(), each, each)
	case *in.Edges < 0 || *in.Edges > each:
		return refuse(ErrBadInput, "edges", "%s had %d edges each; %d can not be left", st.called(), each, *in.Edges)
	case *in.Edges == each:
		to, err := e.backTo(st, in)
		if err != nil {
			return err
		}
		m.To = int64(to)
		return e.line(st, m)
	}
	_, err := e.useUp(st, m, *in.Edges, in.To)
	return err
}

// useUp turns inserts into ones with fewer edges: out of their lot to where used edges go,
// and back from there as the lot with that many left, on the part-used shelf or, with none
// left, to scrap. m gives from, quantity, job and reason; to 0 is the part-used shelf.
func (e *entry) useUp(st standing, m ledger.Movement, left int, to PlaceID) (Item, error) {
	m.Act, m.To = ledger.Use, int64(e.s.places.code(CodeUse))
	if err := e.line(st, m); err != nil {
		return Item{}, err
	}
	shelf := e.s.places.code(CodePartUsed)
	lot, err := e.lot(st.PartID, &left, st.Box, st.Owner, &shelf)
	if err != nil {
		return lot, err
	}
	switch {
	case left == 0:
		to = e.s.places.code(CodeScrap)
	case to == 0:
		to = shelf
	}
	st.Item = lot
	return lot, e.line(st, ledger.Movement{Act: ledger.Use, From: m.To, To: int64(to), Qty: m.Qty, Job: m.Job, Reason: m.Reason})
}

// CodePartUsed is the shelf of part-used inserts.
const CodePartUsed = "PART-USED"

// backTo is where a returned item goes.
func (e *entry) backTo(st standing, in ReturnIn) (PlaceID, error) {
	switch in.Condition {
	case "", "ok":
	case "inspect":
		why := in.Reason
		if why == "" {
			return 0, refuse(ErrBadInput, "reason", "say in a few words what is wrong with %s", st.called())
		}
		if st.Kind == KindPiece {
			if err := e.holdBack(st, why); err != nil {
				return 0, err
			}
		}
		return e.s.places.code(CodeInspection), nil
	default:
		return 0, refuse(ErrBadInput, "condition", "condition %q is not known; it is ok or inspect", in.Condition)
	}
	to := in.To
	if to == 0 {
		to = st.home()
	}
	if to == 0 {
		return 0, refuse(ErrBadInput, "to", "%s has no home; scan the bin it goes to", st.called())
	}
	p, err := e.place(to)
	if err != nil {
		return 0, err
	}
	if p.Kind != Bin {
		return 0, refuse(ErrBadInput, "to", "%s is not a bin", p.Code)
	}
	return to, nil
}

// A ReceiveIn takes new things in from a supplier. For parts counted by the piece each of
// Qty becomes a piece with its own tag; for others they join the lot of the same box.
type ReceiveIn struct {
	Part   PartID
	Qty    int64
	To     PlaceID // 0: the part's home
	Box    string
	Owner  string // consignment: whose it is
	Serial string // of a single piece
	Reason string
}

// Receive books goods in. The receipt names the tags made.
func (s *Store) Receive(ctx context.Context, o Op, in ReceiveIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Receive, in, func(e *entry) error { return e.receive(in) })
}

func (e *entry) receive(in ReceiveIn) error {
	if in.Qty <= 0 || in.Qty > 1_000_000 {
		return unfit("out_of_range", "qty", "quantity %d; give a whole number from 1 to 1000000", in.Qty)
	}
	part, err := one[Part](e.DB, "part", in.Part, "id = ?", in.Part)
	if err == nil && part.MergedInto != nil { // ordered under the old record
		part, err = one[Part](e.DB, "part", *part.MergedInto, "id = ?", *part.MergedInto)
	}
	if err != nil {
		return err
	}
	if !part.RetiredAt.IsZero() {
		return refuse(ErrRetired, "part", "%s is no longer in use; take it into use again on its page first", part.Code)
	}
	to := in.To
	if to == 0 && part.HomeID != nil {
		to = *part.HomeID
	}
	if to == 0 {
		return refuse(ErrBadInput, "to", "%s has no home; scan the bin it goes to", part.Code)
	}
	p, err := e.place(to)
	if err != nil {
		return err
	}
	if p.Kind != Bin && p.Kind != Inspection {
		return refuse(ErrBadInput, "to", "%s is not a bin", p.Code)
	}
	from := int64(e.s.places.code(CodeSupplier))
	one := func(it Item, qty int64) error {
		return e.line(standing{Item: it, PartCode: part.Code, Edges: part.Edges}, ledger.Movement{From: from, To: int64(to), Qty: qty, Reason: in.Reason})
	}
	if part.Counted == KindLot {
		it, err := e.lot(part.ID, nil, in.Box, in.Owner, &to)
		if err != nil {
			return err
		}
		return one(it, in.Qty)
	}
	if in.Qty > 200 {
		return refuse(ErrBadInput, "qty", "%d pieces at once; %s is counted piece by piece, receive at most 200 at a time", in.Qty, part.Code)
	}
	for range in.Qty {
		it, err := e.addItem(Item{PartID: part.ID, Kind: KindPiece, Box: in.Box, Owner: in.Owner, Serial: in.Serial, HomeID: &to})
		if err != nil {
			return err
		}
		if err := one(it, 1); err != nil {
			return err
		}
	}
	return nil
}

// A TransferIn moves picks between inside places.
type TransferIn struct {
	Picks  []Pick
	To     PlaceID
	Job    JobID
	Due    Day
	Reason string
}

// Transfer moves things between bins, or from hand to hand.
func (s *Store) Transfer(ctx context.Context, o Op, in TransferIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Transfer, in, func(e *entry) error {
		to, err := e.place(in.To)
		if err != nil {
			return err
		}
		if to.Outside {
			return refuse(ErrBadInput, "to", "%s is outside the shop; scrap, or adjust with a reason", to.Code)
		}
		e.due = in.Due
		return e.each(in.Picks, func(st standing, p Pick) error {
			from, err := e.single(st, p.Place)
			if err != nil {
				return err
			}
			if from.Kind == Inspection && to.Kind == Bin && st.Kind == KindPiece { // released by whoever moves it back
				if err := e.holdBack(st, ""); err != nil {
					return err
				}
			}
			if to.Kind == Inspection && st.Kind == KindPiece && in.Reason != "" { // what was wrong is read off the piece
				if err := e.holdBack(st, in.Reason); err != nil {
					return err
				}
			}
			return e.line(st, ledger.Movement{From: int64(from.ID), To: int64(to.ID), Qty: p.Qty, Job: int64(in.Job), Reason: in.Reason})
		})
	})
}

// A CountIn says what a count found: Qty (>= 0) of an item in a place.
type CountIn struct {
	Item   ItemID
	Place  PlaceID
	Found  int64
	Reason string
}

// Count sets the balance to what was found; the difference is a movement to or from adjust.
// No difference is a booking with no movement, so that the count itself is on record.
func (s *Store) Count(ctx context.Context, o Op, in []CountIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Count, in, func(e *entry) error {
		if len(in) == 0 {
			return refuse(ErrBadInput, "counts", "nothing was counted")
		}
		for _, c := range in {
			if c.Found < 0 || c.Found > 10_000_000 {
				return unfit("out_of_range", "found", "%d found; give a whole number, 0 or more", c.Found)
			}
			st, err := e.standing(c.Item)
			if err != nil {
				return err
			}
			if st.Kind == KindPiece && c.Found > 1 {
				return refuse(ErrBadInput, "found", "%s is one piece; %d can not be there", st.called(), c.Found)
			}
			if err := e.countOne(st, c); err != nil {
				return err
			}
		}
		if e.lines == 0 {
			e.receipt.Says = "Counted; it agrees."
		}
		return nil
	})
}

func (e *entry) countOne(st standing, c CountIn) error {
	if err := e.end(); err != nil { // on PostgreSQL this also keeps the balance still
		return err
	}
	p, err := e.place(c.Place)
	if err != nil {
		return err
	}
	if p.Outside {
		return refuse(ErrBadInput, "place", "%s can not be counted", p.Code)
	}
	have, err := e.onHand(st.ID, c.Place)
	if err != nil {
		return err
	}
	m := ledger.Movement{From: int64(c.Place), To: int64(e.s.places.code(CodeAdjust)), Qty: have - c.Found, Reason: c.Reason}
	switch {
	case m.Qty == 0:
		return nil
	case m.Qty < 0:
		m.From, m.To, m.Qty = m.To, m.From, -m.Qty
		if err := e.canBeFound(st); err != nil {
			return err
		}
	}
	return e.line(st, m)
}

// canBeFound refuses to find what can not be there: an insert without an edge, which belongs in the
// tub, and a piece that is on record somewhere else, in the shop or gone from it. Move it, or undo
// what sent it away, so that it is in one place.
func (e *entry) canBeFound(st standing) error {
	if st.EdgesLeft != nil && *st.EdgesLeft == 0 {
		return refuse(ErrRetired, "item", "%s has no edge left on any insert; it belongs in the scrap tub and on no shelf", st.called())
	}
	if st.Kind != KindPiece {
		return nil
	}
	at, err := e.whereIs(st.ID)
	if err != nil {
		return err
	}
	if len(at) > 0 {
		p, err := e.place(at[0].PlaceID)
		if err != nil {
			return err
		}
		return refuse(ErrElsewhere, "item", "%s is on record in %s; return or transfer it instead of counting it here", st.called(), p.Code)
	}
	var last struct {
		ToID PlaceID
		At   Time
	}
	if err := e.Raw("SELECT to_id, at FROM movements WHERE item_id = ? ORDER BY seq DESC LIMIT 1", st.ID).Scan(&last).Error; err != nil {
		return err
	}
	if last.ToID != 0 && last.ToID != e.s.places.code(CodeAdjust) {
		p, err := e.place(last.ToID)
		if err != nil {
			return err
		}
		return refuse(ErrElsewhere, "item", "%s went to %s on %s; if it is here all the same, have that booking undone instead of counting it", st.called(), p.Code, DayOf(last.At.Time))
	}
	return nil
}

// An AdjustIn corrects a balance by Delta pieces with a reason.
type AdjustIn struct {
	Item   ItemID
	Place  PlaceID
	Delta  int64
	Reason string
}

// Adjust books a correction. Over the limit it takes a manager.
func (s *Store) Adjust(ctx context.Context, o Op, in AdjustIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Adjust, in, func(e *entry) error {
		if strings.TrimSpace(in.Reason) == "" {
			return refuse(ErrBadInput, "reason", "an adjustment needs a reason")
		}
		if in.Delta == 0 || in.Delta > 10_000_000 || in.Delta < -10_000_000 {
			return refuse(ErrBadInput, "delta", "adjust by %d; give a whole number other than 0", in.Delta)
		}
		if e.role == Attendant && (in.Delta > adjustLimit || in.Delta < -adjustLimit) {
			return refuse(ErrForbidden, "delta", "more than %d pieces takes a manager", adjustLimit)
		}
		st, err := e.standing(in.Item)
		if err != nil {
			return err
		}
		m := ledger.Movement{From: int64(e.s.places.code(CodeAdjust)), To: int64(in.Place), Qty: in.Delta, Reason: in.Reason}
		if in.Delta < 0 {
			m.From, m.To, m.Qty = m.To, m.From, -in.Delta
		} else {
			if st.Kind == KindPiece && in.Delta > 1 {
				return refuse(ErrBadInput, "delta", "%s is one piece", st.called())
			}
			if err := e.canBeFound(st); err != nil {
				return err
			}
		}
		return e.line(st, m)
	})
}

// A ScrapIn throws picks away, with a reason.
type ScrapIn struct {
	Picks  []Pick
	Job    JobID
	Reason string
}

// Scrap throws away. A scrapped piece refuses every later issue, with the day and the reason.
func (s *Store) Scrap(ctx context.Context, o Op, in ScrapIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Scrap, in, func(e *entry) error {
		if strings.TrimSpace(in.Reason) == "" {
			return refuse(ErrBadInput, "reason", "say why it is scrapped")
		}
		return e.each(in.Picks, func(st standing, p Pick) error {
			from, err := e.single(st, p.Place)
			if err != nil {
				return err
			}
			if st.Kind == KindPiece {
				if err := e.retire(st); err != nil {
					return err
				}
			}
			return e.line(st, ledger.Movement{From: int64(from.ID), To: int64(e.s.places.code(CodeScrap)), Qty: p.Qty, Job: int64(in.Job), Reason: in.Reason})
		})
	})
}

// undoTime is how long a person may take back his own act at the window.
const undoTime = 60 * time.Second

// Reverse takes back a whole op, line by line from its end. An operator takes back his own
// within a minute, an attendant his own, a manager any. ErrReversed: it was taken back before.
func (s *Store) Reverse(ctx context.Context, o Op, opID, reason string) (Receipt, error) {
	body := struct{ Op, Reason string }{opID, reason}
	return s.op(ctx, o, ledger.Reverse, body, func(e *entry) error {
		old, ok, err := e.seenOp(opID)
		if err != nil {
			return err
		}
		if !ok {
			return refuse(ErrNotFound, "op", "no booking has the op id %s", opID)
		}
		switch {
		case ledger.Act(old.Act) == ledger.Reverse:
			return refuse(ErrBadInput, "op", "that booking is itself an undo; book the act again instead")
		case e.role == Operator && (old.ActorID != o.Actor || e.now.Sub(old.At.Time) > undoTime):
			return refuse(ErrForbidden, "op", "an operator may undo his own booking within 60 seconds; ask the attendant")
		case e.role == Attendant && old.ActorID != o.Actor:
			return refuse(ErrForbidden, "op", "another person booked that; a manager may undo it")
		case ledger.Act(old.Act) == ActEdge:
			return e.undoEdge(opID, reason)
		}
		changes, lines, err := e.takeBack(opID, reason)
		if err != nil {
			return err
		}
		switch act := ledger.Act(old.Act); {
		case changes+lines == 0:
			return refuse(ErrBadInput, "op", "that booking changed nothing that could be undone")
		case act == ActStart || act == ActClose || act == ActReserve:
			e.receipt.Says = "Undone: " + old.says()
			if err := e.Tx.note(o.Actor, "undone", opID, e.receipt.Says); err != nil {
				return err
			}
		}
		switch ledger.Act(old.Act) {
		case ledger.Receive:
			return e.reopen(opID)
		case ledger.Count:
			return e.recount(opID)
		}
		return nil
	})
}

func (e *entry) reverseLine(l Movement, reason string) error {
	var n int64
	if err := e.Raw("SELECT count(*) FROM movements WHERE reverses = ?", l.Seq).Scan(&n).Error; err != nil {
		return err
	}
	if n > 0 {
		return refuse(ErrReversed, "op", "movement %d was undone before", l.Seq)
	}
	st, err := e.standing(l.ItemID)
	if err != nil {
		return err
	}
	known, err := e.hasChanges(l.OpID)
	if err != nil {
		return err
	}
	if l.Act == ledger.Scrap && st.Kind == KindPiece && !known {
		if err := e.exec("UPDATE items SET retired_at = NULL WHERE id = ?", st.ID); err != nil {
			return err
		}
	}
	if l.Act == ledger.Return && st.Kind == KindPiece && st.Held != "" && !known {
		if err := e.exec("UPDATE items SET held = '' WHERE id = ?", st.ID); err != nil {
			return err
		}
	}
	m := l.pure().Mirror()
	m.Reason = reason
	return e.line(st, m)
}

// each reads the items of picks and runs do for every one.
func (e *entry) each(picks []Pick, do func(standing, Pick) error) error {
	if len(picks) == 0 {
		return refuse(ErrBadInput, "items", "nothing was scanned")
	}
	if len(picks) > 200 {
		return refuse(ErrBadInput, "items", "%d lines in one booking; book at most 200 at a time", len(picks))
	}
	for _, p := range picks {
		if p.Qty <= 0 || p.Qty > 1_000_000 {
			return unfit("out_of_range", "qty", "quantity %d; give a whole number from 1 to 1000000", p.Qty)
		}
		st, err := e.standing(p.Item)
		if err != nil {
			return err
		}
		if st.Kind == KindPiece && p.Qty != 1 {
			return refuse(ErrBadInput, "qty", "%s is one piece; %d can not move", st.called(), p.Qty)
		}
		if err := do(st, p); err != nil {
			return err
		}
	}
	return nil
}

// line books one movement and adds it to the answer.
func (e *entry) line(st standing, m ledger.Movement) error {
	m.Item = int64(st.ID)
	m, err := e.move(m)
	if err != nil {
		return err
	}
	from, err := e.place(PlaceID(m.From))
	if err != nil {
		return err
	}
	to, err := e.place(PlaceID(m.To))
	if err != nil {
		return err
	}
	l := ReceiptLine{Seq: m.Seq, Tag: st.Tag, Part: st.PartCode, Qty: m.Qty, From: from.Name, To: to.Name}
	if from.Kind == Bin && st.Kind == KindLot {
		l.Left = e.left
	}
	e.receipt.Lines = append(e.receipt.Lines, l)
	e.receipt.Says = e.receipt.sentence()
	return nil
}

var said = map[ledger.Act]string{
	ledger.Issue: "Issued", ledger.Return: "Returned", ledger.Receive: "Received", ledger.Transfer: "Moved", ledger.Count: "Counted",
	ledger.Adjust: "Adjusted", ledger.Scrap: "Scrapped", ledger.Use: "Used", ledger.Reverse: "Undone:",
}

func (r Receipt) sentence() string {
	l := r.Lines[0]
	if len(r.Lines) == 1 {
		return fmt.Sprintf("%s %d × %s %s, %s to %s.", said[r.Act], l.Qty, l.Part, l.Tag, l.From, l.To)
	}
	return fmt.Sprintf("%s %d lines, the first %d × %s %s, %s to %s.", said[r.Act], len(r.Lines), l.Qty, l.Part, l.Tag, l.From, l.To)
}
