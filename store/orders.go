package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"gorm.io/gorm"

	"brasspeg/store/ledger"
	"brasspeg/store/reorder"
)

// An Order goes to one supplier by one cut-off day. A draft can be edited; approved by a
// manager it counts as ordered. Whether all has come is seen from its lines.
type Order struct {
	ID         int64
	Code       string
	SupplierID SupplierID
	State      string // draft, approved, cancelled
	CutoffDay  Day
	Note       string
	MadeBy     PersonID
	MadeAt     Time
	ApprovedBy *PersonID
	ApprovedAt Time
	OrderedDay Day // from here the lead time counts; empty until approved
	Version    int
}

// An OrderLine is one part on an order.
type OrderLine struct {
	ID         int64
	OrderID    int64
	PartID     PartID
	Pieces     int
	Pack       int
	PriceCents *int64
	Currency   string
	DueDay     Day
	Owner      string // consigned: whose it stays until it is issued
	Why        string
	ClosedAt   Time // the rest will not come
}

// An orderReceipt is one delivery against a line.
type orderReceipt struct {
	ID      int64
	LineID  int64
	OpID    string
	Pieces  int
	Day     Day
	Surplus int
}

func (orderReceipt) TableName() string { return "order_receipts" }

// An OrderView is an order as a person reads it.
type OrderView struct {
	Order
	Supplier     string // code
	SupplierName string
	Maker        string // who made the draft
	Approver     string
	Lines        []OrderLineView `gorm:"-"`
}

// An OrderLineView is a line with its part and what has come of it.
type OrderLineView struct {
	OrderLine
	Part        string // code
	Name        string
	Designation string
	MakerCode   string
	UnitsEach   int
	Received    int
	LastDay     Day // of the last delivery
}

// Open is what is still to come, 0 of a line that was closed.
func (l OrderLineView) Open() int {
	if !l.ClosedAt.IsZero() {
		return 0
	}
	return reorder.Line{Ordered: l.Pieces, Received: l.Received}.Open()
}

// Stage is where the order stands: draft, on order, partly here, all here, cancelled.
func (o OrderView) Stage() string {
	if o.State != "approved" {
		return o.State
	}
	open, got := 0, 0
	for _, l := range o.Lines {
		open += l.Open()
		got += l.Received
	}
	switch {
	case open == 0:
		return "all here"
	case got > 0:
		return "partly here"
	}
	return "on order"
}

// Total is the worth of the lines, one amount a currency, and the lines without a price.
func (o OrderView) Total() (total []reorder.Money, unpriced int) {
	for _, l := range o.Lines {
		if l.PriceCents == nil {
			unpriced++
			continue
		}
		worth := *l.PriceCents * int64(l.Pieces)
		found := false
		for i := range total {
			if total[i].Currency == l.Currency {
				total[i].Cents += worth
				found = true
			}
		}
		if !found {
			total = append(total, reorder.Money{Cents: worth, Currency: l.Currency})
		}
	}
	return total, unpriced
}

// Classes of failure of buying. ErrAsk: a person has to be sure first; the same again with
// the answer goes through. ErrSurplus: more came than was ordered, which is asked too.
var (
	ErrAsk     = fmt.Errorf("a question is open")
	ErrSurplus = fmt.Errorf("more received than ordered")
)

func (e *entry) newOrder(supplier SupplierID, day Day, note string) (int64, error) {
	o := Order{Code: "new " + e.op.ID + fmt.Sprint(supplier, day), SupplierID: supplier, State: "draft", CutoffDay: day, Note: note, MadeBy: e.op.Actor, MadeAt: e.now, Version: 1}
	if err := e.Create(&o).Error; err != nil {
		return 0, err
	}
	return o.ID, e.exec("UPDATE orders SET code = ? WHERE id = ?", fmt.Sprintf("O-%05d", o.ID), o.ID)
}

// putLine adds pieces of a part to an order, in whole packs, at the price of that many.
func (e *entry) putLine(order int64, part PartID, pieces int, why string) error {
	p, err := one[Part](e.DB, "part", part, "id = ?", part)
	if err != nil {
		return err
	}
	var have OrderLine
	r := e.Where("order_id = ? AND part_id = ?", order, part).Limit(1).Find(&have)
	if r.Error != nil {
		return r.Error
	}
	total := have.Pieces + pieces
	if err := checkPieces(p, total); err != nil {
		return err
	}
	price, err := e.priceOf(p, total)
	if err != nil {
		return err
	}
	var cents any
	if price.Currency != "" {
		cents = price.Cents
	}
	if have.ID != 0 {
		if why == "" {
			why = have.Why
		}
		return e.exec("UPDATE order_lines SET pieces = ?, price_cents = ?, currency = ?, why = ? WHERE id = ?", total, cents, price.Currency, why, have.ID)
	}
	return e.exec("INSERT INTO order_lines (order_id, part_id, pieces, pack, price_cents, currency, why) VALUES (?,?,?,?,?,?,?)", order, part, total, max(1, p.Pack), cents, price.Currency, why)
}

// checkPieces holds a quantity against pack and smallest order.
func checkPieces(p Part, pieces int) error {
	switch {
	case pieces <= 0 || pieces > 1_000_000:
		return refuse(ErrBadInput, "pieces", "%s: %d pieces; give 1 to 1000000", p.Code, pieces)
	case pieces%max(1, p.Pack) != 0:
		return refuse(ErrBadInput, "pieces", "%s is sold in packs of %d; %d is %d packs and %d over", p.Code, p.Pack, pieces, pieces/p.Pack, pieces%p.Pack)
	case pieces < p.MinOrder:
		return refuse(ErrBadInput, "pieces", "%s: the smallest order is %d, not %d", p.Code, p.MinOrder, pieces)
	}
	return nil
}

func (e *entry) priceOf(p Part, pieces int) (reorder.Money, error) {
	var m struct {
		Cents    int64
		Currency string
	}
	r := e.Raw("SELECT cents, currency FROM part_prices WHERE part_id = ? AND min_pieces <= ? ORDER BY min_pieces DESC LIMIT 1", p.ID, pieces).Scan(&m)
	if r.Error != nil || m.Currency != "" {
		return reorder.Money{Cents: m.Cents, Currency: m.Currency}, r.Error
	}
	if p.PriceCents != nil {
		return reorder.Money{Cents: *p.PriceCents, Currency: p.Currency}, nil
	}
	return reorder.Money{}, nil
}

// NewOrder makes an empty draft for a supplier and cut-off day. Its code is in the receipt.
func (s *Store) NewOrder(ctx context.Context, o Op, supplier SupplierID, day Day, note string) (Receipt, error) {
	if _, err := ParseDay(string(day)); err != nil {
		return Receipt{}, onField("cutoff", err)
	}
	body := struct {
		Supplier SupplierID
		Day      Day
		Note     string
	}{supplier, day, note}
	return s.op(ctx, o, ActOrder, body, func(e *entry) error {
		if _, err := one[Supplier](e.DB, "supplier", supplier, "id = ?", supplier); err != nil {
			return err
		}
		id, err := e.newOrder(supplier, day, note)
		e.receipt.Says = fmt.Sprintf("O-%05d", id)
		return err
	})
}

// A LineIn sets a part's pieces on a draft; 0 takes the line off. Seen: the person was shown
// what is on hand and would do, and wants it all the same.
//
// Of a line that is there already, what is not given stays as it is: owner, due day, why, and a
// price that was agreed. A price of the list follows the list at the new number of pieces.
type LineIn struct {
	Order  string
	Part   PartID
	Pieces int
	Price  *reorder.Money // nil: by the price list
	Owner  string         // consigned: the supplier's code
	Due    Day            // as promised by the supplier; empty: by the quote
	Seen   bool
	Why    string
}

// SetLine edits a draft. Adding a part while something on hand would do is ErrAsk with the
// list, until it comes with Seen.
func (s *Store) SetLine(ctx context.Context, o Op, in LineIn) (Receipt, error) {
	if in.Price != nil {
		if err := checkMoney("price", &in.Price.Cents, in.Price.Currency); err != nil {
			return Receipt{}, err
		}
	}
	if in.Due != "" {
		if _, err := ParseDay(string(in.Due)); err != nil {
			return Receipt{}, onField("due", err)
		}
	}
	instead, err := s.Instead(ctx, in.Part)
	if err != nil {
		return Receipt{}, err
	}
	return s.op(ctx, o, ActOrder, in, func(e *entry) error {
		ord, err := e.draft(in.Order)
		if err != nil {
			return err
		}
		if in.Pieces == 0 {
			if err := e.must(refuse(ErrNotFound, "part", "that part is not on %s", ord.Code), "DELETE FROM order_lines WHERE order_id = ? AND part_id = ?", ord.ID, in.Part); err != nil {
				return err
			}
			e.receipt.Says = "The line is off " + ord.Code + "."
			return e.bump(ord)
		}
		p, err := one[Part](e.DB, "part", in.Part, "id = ?", in.Part)
		if err != nil {
			return err
		}
		var have OrderLine
		if err := e.Where("order_id = ? AND part_id = ?", ord.ID, in.Part).Limit(1).Find(&have).Error; err != nil {
			return err
		}
		if have.ID == 0 && !in.Seen && len(instead) > 0 {
			return refuse(ErrAsk, "seen", "before %s is ordered: %s. Order it all the same?", p.Code, saysInstead(instead))
		}
		if err := checkPieces(p, in.Pieces); err != nil {
			return err
		}
		in := in // an op may be tried again, from what it was asked
		if err := e.keepLine(&in, p, have); err != nil {
			return err
		}
		if err := e.exec("DELETE FROM order_lines WHERE order_id = ? AND part_id = ?", ord.ID, in.Part); err != nil {
			return err
		}
		if err := e.putLine(ord.ID, in.Part, in.Pieces, in.Why); err != nil {
			return err
		}
		if in.Price != nil {
			if err := e.exec("UPDATE order_lines SET price_cents = ?, currency = ? WHERE order_id = ? AND part_id = ?", in.Price.Cents, in.Price.Currency, ord.ID, in.Part); err != nil {
				return err
			}
		}
		if err := e.exec("UPDATE order_lines SET owner = ?, due_day = ? WHERE order_id = ? AND part_id = ?", in.Owner, string(in.Due), ord.ID, in.Part); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s: %d pieces of %s.", ord.Code, in.Pieces, p.Code)
		return e.bump(ord)
	})
}

func (e *entry) draft(code string) (Order, error) {
	ord, err := one[Order](e.DB, "order", code, "code = ?", code)
	if err == nil && ord.State != "draft" {
		err = refuse(ErrConflict, "order", "%s is %s; only a draft can be changed", ord.Code, ord.State)
	}
	return ord, err
}

func (e *entry) bump(o Order) error {
	return e.exec("UPDATE orders SET version = version + 1 WHERE id = ?", o.ID)
}

// ApproveOrder is a manager's act: the draft counts as ordered from today. version is the one
// that was seen; when somebody changed the draft meanwhile it is ErrConflict.
func (s *Store) ApproveOrder(ctx context.Context, o Op, code string, version int) (Receipt, error) {
	body := struct {
		Approve string
		Version int
	}{code, version}
	return s.op(ctx, o, ActApprove, body, func(e *entry) error {
		ord, err := e.draft(code)
		if err != nil {
			return err
		}
		var parts []PartID
		if err := e.Raw("SELECT part_id FROM order_lines WHERE order_id = ? ORDER BY id", ord.ID).Scan(&parts).Error; err != nil {
			return err
		}
		if len(parts) == 0 {
			return refuse(ErrBadInput, "order", "%s has no lines", ord.Code)
		}
		today := e.s.Today()
		if err := e.must(refuse(ErrConflict, "version", "%s was changed by somebody else meanwhile; look again", ord.Code),
			"UPDATE orders SET state = 'approved', approved_by = ?, approved_at = ?, ordered_day = ?, version = version + 1 WHERE id = ? AND version = ? AND state = 'draft'",
			o.Actor, e.now, string(today), ord.ID, version); err != nil {
			return err
		}
		if err := e.promiseDays(ord.ID, today); err != nil {
			return err
		}
		e.after = append(e.after, e.s.shelf.touchOrders)
		lines, stand := "1 line", "counts"
		if len(parts) > 1 {
			lines, stand = fmt.Sprintf("%d lines", len(parts)), "count"
		}
		e.receipt.Says = fmt.Sprintf("%s is approved: %s %s as on order.", ord.Code, lines, stand)
		return e.Tx.note(o.Actor, "order approved", ord.Code, lines)
	})
}

// promiseDays fills in when lines without a promised day should come, by the quote.
func (e *entry) promiseDays(order int64, from Day) error {
	var open []struct {
		ID   int64
		Days int
	}
	if err := e.Raw(`SELECT l.id, coalesce(p.lead_days, s.lead_days) AS days FROM order_lines l JOIN orders o ON o.id = l.order_id
		JOIN parts p ON p.id = l.part_id JOIN suppliers s ON s.id = o.supplier_id WHERE l.order_id = ? AND l.due_day = ''`, order).Scan(&open).Error; err != nil {
		return err
	}
	for _, l := range open {
		if err := e.exec("UPDATE order_lines SET due_day = ? WHERE id = ?", string(from.Add(l.Days)), l.ID); err != nil {
			return err
		}
	}
	return nil
}

// SetOrderedDay says on which day an approved order really went out, and when it was promised
// for: an order by telephone that is entered days later must not look faster than it was.
func (s *Store) SetOrderedDay(ctx context.Context, o Op, code string, ordered, due Day) (Receipt, error) {
	body := struct {
		Code         string
		Ordered, Due Day
	}{code, ordered, due}
	return s.op(ctx, o, ActApprove, body, func(e *entry) error {
		for _, d := range []Day{ordered, due} {
			if _, err := ParseDay(string(d)); err != nil {
				return onField("ordered", err)
			}
		}
		if ordered > e.s.Today() || due < ordered {
			return refuse(ErrBadInput, "ordered", "ordered on %s for %s: an order goes out today or before, and comes after", ordered, due)
		}
		ord, err := one[Order](e.DB, "order", code, "code = ?", code)
		if err != nil {
			return err
		}
		if err := e.must(refuse(ErrConflict, "order", "%s is %s, not approved", code, ord.State), "UPDATE orders SET ordered_day = ?, version = version + 1 WHERE id = ? AND state = 'approved'", string(ordered), ord.ID); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s went out on %s and is promised for %s.", code, ordered, due)
		e.after = append(e.after, e.s.shelf.touchOrders)
		return e.exec("UPDATE order_lines SET due_day = ? WHERE order_id = ?", string(due), ord.ID)
	})
}

// CancelOrder drops a draft.
func (s *Store) CancelOrder(ctx context.Context, o Op, code string) (Receipt, error) {
	return s.op(ctx, o, ActOrder, struct{ Cancel string }{code}, func(e *entry) error {
		ord, err := e.draft(code)
		if err != nil {
			return err
		}
		e.receipt.Says = ord.Code + " is cancelled."
		return e.must(refuse(ErrConflict, "order", "%s was changed meanwhile", code), "UPDATE orders SET state = 'cancelled', version = version + 1 WHERE id = ? AND state = 'draft'", ord.ID)
	})
}

// CloseLine says that the rest of a line will not come; a manager's act with a reason.
func (s *Store) CloseLine(ctx context.Context, o Op, line int64, reason string) (Receipt, error) {
	body := struct {
		Close  int64
		Reason string
	}{line, reason}
	return s.op(ctx, o, ActApprove, body, func(e *entry) error {
		if strings.TrimSpace(reason) == "" {
			return refuse(ErrBadInput, "reason", "say why the rest will not come")
		}
		l, err := one[OrderLine](e.DB, "order line", line, "id = ?", line)
		if err != nil {
			return err
		}
		p, err := one[Part](e.DB, "part", l.PartID, "id = ?", l.PartID)
		if err != nil {
			return err
		}
		ord, err := one[Order](e.DB, "order", l.OrderID, "id = ?", l.OrderID)
		if err != nil {
			return err
		}
		if ord.State != "approved" {
			return refuse(ErrConflict, "order", "%s is %s; the rest of a line is closed on an approved order, a draft's line is taken off", ord.Code, ord.State)
		}
		if err := e.must(refuse(ErrConflict, "line", "that line was closed before"), "UPDATE order_lines SET closed_at = ? WHERE id = ? AND closed_at IS NULL", e.now, line); err != nil {
			return err
		}
		e.receipt.Says = ord.Code + ": the rest of " + p.Code + " is closed."
		e.after = append(e.after, e.s.shelf.touchOrders)
		if err := e.Tx.note(o.Actor, lineClosed, ord.Code, p.Code+": "+strings.TrimSpace(reason)); err != nil {
			return err
		}
		return e.bump(Order{ID: l.OrderID})
	})
}

// A ReceiveLineIn books a delivery against a line. Unit is "box" or "piece" and is never
// assumed: 5 boxes of 10 and 5 pieces look the same on a slip.
type ReceiveLineIn struct {
	Line   int64
	Qty    int64
	Unit   string
	To     PlaceID // 0: the part's home
	Box    string
	Serial string
	Sure   bool // more than was ordered, and that is right
}

// ReceiveLine books goods in against an order line, all or in part. More than is open is
// ErrSurplus until it comes with Sure. The receipt names the tags to print.
func (s *Store) ReceiveLine(ctx context.Context, o Op, in ReceiveLineIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Receive, in, func(e *entry) error {
		if err := e.end(); err != nil { // deliveries of one line come one after the other
			return err
		}
		var l struct {
			OrderLine
			Code, State string
			Received    int
		}
		r := e.Raw(`SELECT l.*, o.code, o.state, `+receivedSQL+` AS received FROM order_lines l JOIN orders o ON o.id = l.order_id WHERE l.id = ?`, in.Line).Scan(&l)
		if r.Error != nil {
			return r.Error
		}
		if r.RowsAffected == 0 {
			return refuse(ErrNotFound, "line", "order line %d is not known here", in.Line)
		}
		if l.State != "approved" {
			return refuse(ErrConflict, "line", "%s is %s; goods come in on an approved order", l.Code, l.State)
		}
		pieces := in.Qty
		switch {
		case in.Qty <= 0 || in.Qty > 100_000:
			return refuse(ErrBadInput, "qty", "%d received; give 1 to 100000", in.Qty)
		case in.Unit == "box":
			pieces *= int64(l.Pack)
		case in.Unit != "piece":
			return refuse(ErrBadInput, "unit", "%d what? Say box (of %d) or piece", in.Qty, l.Pack)
		}
		had := reorder.Line{Ordered: l.Pieces, Received: l.Received}
		if !l.ClosedAt.IsZero() {
			had.Ordered = l.Received
		}
		if _, err := had.Receive(int(pieces), in.Sure); err != nil {
			return &Refusal{Class: fmt.Errorf("%w: %w", ErrSurplus, err), Field: "sure", Says: err.Error()}
		}
		if err := e.receive(ReceiveIn{Part: l.PartID, Qty: pieces, To: in.To, Box: in.Box, Owner: l.Owner, Serial: in.Serial, Reason: "order " + l.Code}); err != nil {
			return err
		}
		row := orderReceipt{LineID: in.Line, OpID: o.ID, Pieces: int(pieces), Day: e.s.Today(), Surplus: max(0, int(pieces)-had.Open())}
		if err := e.Create(&row).Error; err != nil {
			return err
		}
		e.after = append(e.after, e.s.shelf.touchOrders)
		left := max(0, had.Open()-int(pieces))
		e.receipt.Says += fmt.Sprintf(" %s: %d of %d still open.", l.Code, left, l.Pieces)
		return e.bump(Order{ID: l.OrderID})
	})
}

// reopen tells everybody that a delivery was undone: its line is open again.
func (e *entry) reopen(opID string) error {
	e.after = append(e.after, e.s.shelf.touchOrders)
	return e.exec("UPDATE orders SET version = version + 1 WHERE id IN (SELECT l.order_id FROM order_receipts r JOIN order_lines l ON l.id = r.line_id WHERE r.op_id = ?)", opID)
}

// OrderFilter narrows the list of orders. The zero value is everything but the cancelled.
type OrderFilter struct {
	Code     string
	Supplier SupplierID
	Part     PartID // with something of it still to come, drafts too
	OpenOnly bool   // drafts, and approved with something still to come
	Limit    int    // 0: 100
	Skip     int    // as many are left out at the start
}

const stillToComeSQL = `l.closed_at IS NULL AND l.pieces > ` + receivedSQL

// Orders lists orders with their lines: drafts first, then what is still to come, so that nothing
// open is lost behind what is done with, then the rest; the newest first in each.
func (s *Store) Orders(ctx context.Context, f OrderFilter) ([]OrderView, error) {
	db := s.read.WithContext(ctx)
	q := `SELECT o.*, s.code AS supplier, s.name AS supplier_name, coalesce(a.name, '') AS maker, coalesce(b.name, '') AS approver
		FROM orders o JOIN suppliers s ON s.id = o.supplier_id LEFT JOIN people a ON a.id = o.made_by LEFT JOIN people b ON b.id = o.approved_by WHERE 1 = 1`
	var args []any
	switch {
	case f.Code != "":
		q, args = q+" AND o.code = ?", append(args, f.Code)
	case f.OpenOnly:
		q += ` AND (o.state = 'draft' OR o.state = 'approved' AND EXISTS (SELECT 1 FROM order_lines l WHERE l.order_id = o.id AND ` + stillToComeSQL + `))`
	default:
		q += " AND o.state <> 'cancelled'"
	}
	if f.Supplier != 0 {
		q, args = q+" AND o.supplier_id = ?", append(args, f.Supplier)
	}
	if f.Part != 0 {
		q, args = q+" AND EXISTS (SELECT 1 FROM order_lines l WHERE l.order_id = o.id AND l.part_id = ? AND "+stillToComeSQL+")", append(args, f.Part)
	}
	if f.Limit <= 0 || f.Limit > 1000 {
		f.Limit = 100
	}
	var out []OrderView
	if err := db.Raw(q+" ORDER BY CASE WHEN o.state = 'draft' THEN 0 WHEN o.state = 'approved' AND EXISTS (SELECT 1 FROM order_lines l WHERE l.order_id = o.id AND "+stillToComeSQL+") THEN 1 ELSE 2 END, o.cutoff_day DESC, o.id DESC LIMIT ? OFFSET ?", append(args, f.Limit, max(0, f.Skip))...).Scan(&out).Error; err != nil {
		return nil, err
	}
	at := map[int64]int{}
	ids := make([]int64, len(out))
	for i := range out {
		at[out[i].ID], ids[i] = i, out[i].ID
	}
	lines, err := orderLines(db, ids)
	for _, l := range lines {
		o := &out[at[l.OrderID]]
		o.Lines = append(o.Lines, l)
	}
	return out, err
}

func orderLines(db *gorm.DB, orders []int64) ([]OrderLineView, error) {
	var all []OrderLineView
	for len(orders) > 0 {
		n := min(500, len(orders))
		var lines []OrderLineView
		if err := db.Raw(`SELECT l.*, p.code AS part, p.name, p.designation, p.maker_code, CASE WHEN p.edges > 0 THEN p.edges ELSE 1 END AS units_each, `+receivedSQL+` AS received,
				coalesce((SELECT max(r.day) FROM order_receipts r WHERE r.line_id = l.id), '') AS last_day
			FROM order_lines l JOIN parts p ON p.id = l.part_id WHERE l.order_id IN ? ORDER BY l.order_id, l.id`, orders[:n]).Scan(&lines).Error; err != nil {
			return nil, err
		}
		all, orders = append(all, lines...), orders[n:]
	}
	return all, nil
}

// Order reads one order by its code.
func (s *Store) Order(ctx context.Context, code string) (OrderView, error) {
	all, err := s.Orders(ctx, OrderFilter{Code: code})
	if err != nil {
		return OrderView{}, err
	}
	if len(all) == 0 {
		return OrderView{}, refuse(ErrNotFound, "order", "order %s is not known here", code)
	}
	return all[0], nil
}

// A Vendor is a supplier with its terms and how it has delivered.
type Vendor struct {
	Supplier
	Cutoffs       string // weekdays: mon,thu
	MinOrderCents int64
	Currency      string
	Lead          reorder.Lead `gorm:"-"` // over all its filled lines
	Open          int          // lines still open
	Late          int          // of them, past their day
}

var weekdays = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

func parseCutoffs(text string) ([]time.Weekday, error) {
	var out []time.Weekday
	for _, w := range strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return r == ',' || r == ' ' || r == ';' }) {
		found := false
		for i, d := range weekdays {
			if len(w) >= 3 && strings.HasPrefix(w, d) {
				out, found = append(out, time.Weekday(i)), true
			}
		}
		if !found {
			return nil, refuse(ErrBadInput, "cutoffs", "%q is not a weekday; write mon, tue, wed, thu, fri, sat or sun", w)
		}
	}
	return out, nil
}

func (v Vendor) pure() reorder.Supplier {
	days, _ := parseCutoffs(v.Cutoffs) // was read when it was saved
	r := reorder.Supplier{ID: v.Code, CutOffs: days}
	if v.MinOrderCents > 0 {
		r.MinOrder = reorder.Money{Cents: v.MinOrderCents, Currency: v.Currency}
	}
	return r
}
