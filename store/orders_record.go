package store

import (
	"context"
	"fmt"
	"slices"
)

// What the audit calls the acts on an order that its record tells.
const (
	orderPriced = "order price corrected"
	lineClosed  = "order line closed"
)

// An OrderEvent is one thing that was done with an approved order.
type OrderEvent struct {
	At     Time
	By     string // name of the person
	ByID   PersonID
	Says   string
	OpID   string   // of a delivery
	Tags   []string // of a delivery: what it brought, to be labelled
	Undone bool     // a delivery that was taken back
}

// mostEvents is the most rows of each kind that a record of an order reads.
const mostEvents = 1000

// OrderRecord tells what was done with an order since its approval, the oldest first: deliveries
// with the tags they brought, those taken back too, prices corrected, lines closed.
func (s *Store) OrderRecord(ctx context.Context, o OrderView) ([]OrderEvent, error) {
	db := s.read.WithContext(ctx)
	refs := []string{o.Code}
	parts := map[string]string{} // closings of old name only the number of the line
	for _, l := range o.Lines {
		refs = append(refs, fmt.Sprint(l.ID))
		parts[fmt.Sprint(l.ID)] = l.Part
	}
	var notes []struct {
		At                      Time
		Name, What, Ref, Detail string
	}
	if err := db.Raw(`SELECT a.at, coalesce(p.name, '') AS name, a.what, a.ref, a.detail FROM audit a LEFT JOIN people p ON p.id = a.actor_id
		WHERE a.ref = ? AND a.what = ? OR a.what = ? AND a.ref IN ? ORDER BY a.id LIMIT ?`,
		o.Code, orderPriced, lineClosed, refs, mostEvents).Scan(&notes).Error; err != nil {
		return nil, err
	}
	var out []OrderEvent
	for _, n := range notes {
		says := map[string]string{orderPriced: "Price corrected", lineClosed: "Rest closed"}[n.What]
		if part := parts[n.Ref]; part != "" {
			says += ": " + part
		}
		out = append(out, OrderEvent{At: n.At, By: n.Name, Says: says + ": " + n.Detail})
	}
	var got []struct {
		ID                    int64
		At                    Time
		OpID, Name, Part, Tag string
		ActorID               PersonID
		Pieces, Surplus       int
		Undone                bool
	}
	if err := db.Raw(`SELECT r.id, r.op_id, m.at, m.actor_id, p.name, t.code AS part, i.tag, r.pieces, r.surplus,
			EXISTS (SELECT 1 FROM movements v WHERE v.reverses = m.seq) AS undone
		FROM order_receipts r JOIN order_lines l ON l.id = r.line_id JOIN parts t ON t.id = l.part_id
		JOIN movements m ON m.op_id = r.op_id JOIN items i ON i.id = m.item_id JOIN people p ON p.id = m.actor_id
		WHERE l.order_id = ? ORDER BY r.id, m.line LIMIT ?`, o.ID, mostEvents).Scan(&got).Error; err != nil {
		return nil, err
	}
	last := int64(0)
	for _, g := range got {
		if g.ID != last {
			says := fmt.Sprintf("Received %d of %s", g.Pieces, g.Part)
			if g.Surplus > 0 {
				says += fmt.Sprintf(", %d more than was open", g.Surplus)
			}
			out = append(out, OrderEvent{At: g.At, By: g.Name, ByID: g.ActorID, Says: says, OpID: g.OpID, Undone: g.Undone})
		}
		last = g.ID
		e := &out[len(out)-1]
		if !slices.Contains(e.Tags, g.Tag) {
			e.Tags = append(e.Tags, g.Tag)
		}
	}
	slices.SortStableFunc(out, func(a, b OrderEvent) int { return a.At.Compare(b.At.Time) })
	return out, nil
}
