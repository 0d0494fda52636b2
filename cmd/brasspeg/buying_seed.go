package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"brasspeg/store"
	"brasspeg/store/reorder"
	"brasspeg/testdata/shop"
)

// An openOrder was sent to a supplier and waits for its delivery.
type openOrder struct {
	*shop.Order
	line int64
}

// terms gives a supplier its cut-off day and smallest order. The demo quotes working days; a
// calendar needs the others.
func (s *seeder) terms(ctx context.Context, v shop.Supplier, id store.SupplierID) error {
	days, err := reorder.CalendarDays(v.LeadDays, 5)
	if err != nil {
		return err
	}
	_, err = s.st.SetVendor(ctx, s.op(s.boss), store.Vendor{Supplier: store.Supplier{ID: id, Code: v.Code, Name: v.Name, Email: v.Email, LeadDays: days},
		Cutoffs: strings.ToLower(v.Cutoff), MinOrderCents: int64(v.MinOrderCents), Currency: v.Currency})
	return err
}

// sendOrders places what was ordered up to a moment of the history, each at its own time.
func (s *seeder) sendOrders(ctx context.Context, upTo time.Time) error {
	if s.toSend == nil {
		s.toSend = []*shop.Order{}
		for i := range s.h.Orders {
			s.toSend = append(s.toSend, &s.h.Orders[i])
		}
		slices.SortStableFunc(s.toSend, func(a, b *shop.Order) int { return a.Ordered.Compare(b.Ordered) })
	}
	for len(s.toSend) > 0 && !s.toSend[0].Ordered.After(upTo) {
		o := s.toSend[0]
		s.toSend = s.toSend[1:]
		if at := s.local(o.Ordered); at.After(s.now) {
			s.now = at
		}
		v, err := s.st.Vendor(ctx, o.Supplier)
		if err != nil {
			return err
		}
		made, err := s.st.NewOrder(ctx, s.op(s.boss), v.ID, store.DayOf(s.now), "")
		if err != nil {
			return err
		}
		if _, err := s.st.SetLine(ctx, s.op(s.boss), store.LineIn{Order: made.Says, Part: s.parts[o.Part].ID, Pieces: o.Qty, Due: store.DayOf(s.local(o.Due)), Seen: true}); err != nil {
			return fmt.Errorf("ordering %d of %s: %w", o.Qty, o.Part, err)
		}
		ord, err := s.st.Order(ctx, made.Says)
		if err != nil {
			return err
		}
		if _, err := s.st.ApproveOrder(ctx, s.op(s.boss), ord.Code, ord.Version); err != nil {
			return err
		}
		s.sent = append(s.sent, openOrder{o, ord.Lines[0].ID})
	}
	return nil
}

// deliver books a delivery against the order it belongs to.
func (s *seeder) deliver(ctx context.Context, by store.PersonID, l shop.Line) (store.Receipt, error) {
	i := slices.IndexFunc(s.sent, func(o openOrder) bool {
		return o.Part == l.Part && o.Lot == l.Lot && o.Qty == l.Qty && !o.Received.IsZero()
	})
	if i < 0 {
		return store.Receipt{}, fmt.Errorf("%d of %s, box %q, came without an order", l.Qty, l.Part, l.Lot)
	}
	line := s.sent[i].line
	s.sent = slices.Delete(s.sent, i, i+1)
	return s.st.ReceiveLine(ctx, s.op(by), store.ReceiveLineIn{Line: line, Qty: int64(l.Qty), Unit: "piece", To: s.places[l.To], Box: l.Lot})
}

// plan sends the orders of the last days and puts a few things on today's list to count.
func (s *seeder) plan(ctx context.Context) error {
	if err := s.sendOrders(ctx, s.sh.Today); err != nil {
		return err
	}
	_, err := s.st.PlanCounts(ctx, 6)
	return err
}
