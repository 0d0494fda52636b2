package store

import (
	"context"
	"fmt"
	"strings"
)

// RetirePart takes a part out of use: it is no longer found, ordered or stacked. Refused while
// any of it is in the shop, on order or promised, with where. Its record, its history and its
// codes stay.
func (s *Store) RetirePart(ctx context.Context, o Op, part PartID, reason string) (Receipt, error) {
	return s.op(ctx, o, ActPart, struct {
		Retire PartID
		Reason string
	}{part, reason}, func(e *entry) error {
		st, err := e.toRetire(part)
		if err != nil {
			return err
		}
		p := st.Part
		if !p.RetiredAt.IsZero() {
			return refuse(ErrRetired, "part", "%s is out of use already", p.Code)
		}
		var left []struct {
			Code string
			Qty  int64
		}
		if err := e.Raw(`SELECT p.code, sum(s.qty) AS qty FROM stock s JOIN items i ON i.id = s.item_id JOIN places p ON p.id = s.place_id
			WHERE i.part_id = ? AND s.qty > 0 AND p.outside = ? GROUP BY p.code ORDER BY p.code LIMIT 5`, part, false).Scan(&left).Error; err != nil {
			return err
		}
		if len(left) > 0 {
			var all []string
			for _, h := range left {
				all = append(all, fmt.Sprintf("%d in %s", h.Qty, h.Code))
			}
			return refuse(ErrConflict, "part", "%s is still in the shop: %s; use it up, send it back or scrap it first", p.Code, strings.Join(all, ", "))
		}
		var order string
		if err := e.Raw(`SELECT o.code FROM order_lines l JOIN orders o ON o.id = l.order_id WHERE l.part_id = ? AND o.state <> 'cancelled' AND l.closed_at IS NULL AND l.pieces > `+receivedSQL+` ORDER BY o.id LIMIT 1`, part).Scan(&order).Error; err != nil {
			return err
		}
		if order != "" {
			return refuse(ErrConflict, "part", "%s is on the order %s; close its line there first", p.Code, order)
		}
		if err := e.must(refuse(ErrConflict, "part", "%s was changed meanwhile; read it again", p.Code), "UPDATE parts SET retired_at = ?, version = version + 1 WHERE id = ? AND version = ?", e.now, p.ID, p.Version); err != nil {
			return err
		}
		e.touch(nil, p.ID)
		return e.recordChanged(st, "retired", strings.TrimSpace("out of use. "+reason), p.Code)
	})
}

// ReusePart takes a retired part into use again.
func (s *Store) ReusePart(ctx context.Context, o Op, part PartID, reason string) (Receipt, error) {
	return s.op(ctx, o, ActPart, struct {
		Reuse  PartID
		Reason string
	}{part, reason}, func(e *entry) error {
		st, err := e.toRetire(part)
		if err != nil {
			return err
		}
		p := st.Part
		switch {
		case p.MergedInto != nil:
			return refuse(ErrConflict, "part", "%s is part of another record now; take that merge apart instead", p.Code)
		case p.RetiredAt.IsZero():
			return refuse(ErrConflict, "part", "%s is in use", p.Code)
		}
		if err := e.codeTaken(p.Code, p.ID); err != nil {
			return err
		}
		if err := e.must(refuse(ErrConflict, "part", "%s was changed meanwhile; read it again", p.Code), "UPDATE parts SET retired_at = NULL, version = version + 1 WHERE id = ? AND version = ?", p.ID, p.Version); err != nil {
			return err
		}
		e.touch(nil, p.ID)
		return e.recordChanged(st, "in use again", strings.TrimSpace("in use again. "+reason), p.Code)
	})
}

func (e *entry) toRetire(part PartID) (partState, error) {
	if err := e.end(); err != nil {
		return partState{}, err
	}
	return stateOf(e.DB, part)
}
