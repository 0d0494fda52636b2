package store

import (
	"context"
	"fmt"
	"strings"

	"brasspeg/store/reorder"
)

// CorrectPrice sets the price of a line of an approved order right, as on the supplier's
// confirmation or bill: a manager's act with a reason. was is the price that the person saw, nil
// for none; when the line has another by now it is ErrConflict. The old price, the new one and the
// reason stand in the record of the order. Pieces, days and what has come stay as they are, and so
// does the price list.
func (s *Store) CorrectPrice(ctx context.Context, o Op, line int64, was *reorder.Money, price reorder.Money, reason string) (Receipt, error) {
	body := struct {
		Line   int64
		Was    *reorder.Money
		Price  reorder.Money
		Reason string
	}{line, was, price, reason}
	return s.op(ctx, o, ActApprove, body, func(e *entry) error {
		if strings.TrimSpace(reason) == "" {
			return refuse(ErrBadInput, "reason", "say why the price was wrong, such as the number of the supplier's confirmation")
		}
		if err := checkMoney("price", &price.Cents, price.Currency); err != nil {
			return err
		}
		var l struct {
			OrderLine
			Code, State, Part string
		}
		r := e.Raw("SELECT l.*, o.code, o.state, p.code AS part FROM order_lines l JOIN orders o ON o.id = l.order_id JOIN parts p ON p.id = l.part_id WHERE l.id = ?", line).Scan(&l)
		switch {
		case r.Error != nil:
			return r.Error
		case r.RowsAffected == 0:
			return refuse(ErrNotFound, "line", "order line %d is not known here", line)
		case l.State != "approved":
			return refuse(ErrConflict, "order", "%s is %s; the price of a draft is changed on its line, and only an approved order's is corrected", l.Code, l.State)
		}
		old, text := reorder.Money{}, "no price"
		if l.PriceCents != nil {
			old = reorder.Money{Cents: *l.PriceCents, Currency: l.Currency}
			text = old.String()
		}
		seen := reorder.Money{}
		if was != nil {
			seen = *was
		}
		meanwhile := refuse(ErrConflict, "price", "%s on %s is at %s by now; look again", l.Part, l.Code, text)
		switch {
		case seen != old:
			return meanwhile
		case price == old:
			return refuse(ErrBadInput, "price", "%s on %s is at %s already", l.Part, l.Code, text)
		}
		// The condition stands in the UPDATE: of two corrections of one price the second is told.
		if err := e.must(meanwhile, "UPDATE order_lines SET price_cents = ?, currency = ? WHERE id = ? AND coalesce(price_cents, -1) = ? AND currency = ?",
			price.Cents, price.Currency, line, centsOr(l.PriceCents), l.Currency); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s: %s is at %s now, not %s.", l.Code, l.Part, price, text)
		if err := e.Tx.note(o.Actor, orderPriced, l.Code, fmt.Sprintf("%s, %s, was %s: %s", l.Part, price, text, strings.TrimSpace(reason))); err != nil {
			return err
		}
		e.after = append(e.after, e.s.shelf.touchOrders)
		return e.bump(Order{ID: l.OrderID})
	})
}

func centsOr(cents *int64) int64 {
	if cents == nil {
		return -1 // no price is below zero
	}
	return *cents
}
