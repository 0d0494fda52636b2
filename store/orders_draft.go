package store

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"strings"

	"brasspeg/store/reorder"
)

// Wishes are what today's list asks to be ordered, less what stands in drafts already.
func (b *Buying) Wishes() []reorder.Wish {
	var ws []reorder.Wish
	list, _ := b.Today()
	for _, l := range list {
		n := l.Advice.Order - l.Drafted
		if l.Advice.Order <= 0 || n <= 0 {
			continue
		}
		ws = append(ws, reorder.Wish{Part: l.Code, Supplier: l.Supplier, Pieces: n, Price: l.Price, OrderBy: l.Advice.Alert.OrderBy})
	}
	return ws
}

// Batches groups the wishes by supplier and cut-off day.
func (s *Store) Batches(ctx context.Context, b *Buying) ([]reorder.Batch, error) {
	rs, err := s.pureVendors(ctx)
	if err != nil {
		return nil, err
	}
	out, err := reorder.Group(b.Wishes(), rs, b.at)
	return out, badReorder(err, "wishes")
}

// DraftOrders turns today's list into drafts, one a supplier and cut-off day; what is in a
// draft for the same supplier and day already is added to. Parts without a supplier are left
// out and named in the receipt.
func (s *Store) DraftOrders(ctx context.Context, o Op) (Receipt, error) {
	buying, err := s.Buying(ctx)
	if err != nil {
		return Receipt{}, err
	}
	batches, err := s.Batches(ctx, buying)
	if err != nil {
		return Receipt{}, err
	}
	lines := linesByCode(buying)
	return s.op(ctx, o, ActOrder, "draft today's list", func(e *entry) error {
		return e.draftBatches(batches, lines, func(l *BuyLine) string { return l.Advice.Alert.Sentence })
	})
}

// DraftPurchases turns the set of least cost for the planned jobs into drafts, as DraftOrders
// does with today's list: whole packs, never less than the smallest order, less what stands in
// drafts already.
func (s *Store) DraftPurchases(ctx context.Context, o Op) (Receipt, error) {
	set, err := s.Purchases(ctx)
	if err != nil {
		return Receipt{}, err
	}
	buying, err := s.Buying(ctx)
	if err != nil {
		return Receipt{}, err
	}
	lines := linesByCode(buying)
	vendors, err := s.pureVendors(ctx)
	if err != nil {
		return Receipt{}, err
	}
	var ws []reorder.Wish
	why := map[string]string{}
	for _, p := range set.Lines {
		l := lines[p.Part.Code]
		if l == nil || p.Qty <= l.Drafted {
			continue
		}
		part, err := s.PartByCode(ctx, l.Code)
		if err != nil {
			return Receipt{}, err
		}
		by, err := reorder.ParseDay(string(p.By))
		if err != nil {
			return Receipt{}, err
		}
		last := by - reorder.Day(math.Ceil(p.Part.LeadDays.V))
		ws = append(ws, reorder.Wish{Part: l.Code, Supplier: l.Supplier, Pieces: sold(part, p.Qty-l.Drafted), Price: l.Price, OrderBy: last})
		why[l.Code] = fmt.Sprintf("For %s, there by %s: order it by %s.", strings.Join(p.Jobs, ", "), by, last)
	}
	batches, err := reorder.Group(ws, vendors, buying.at)
	if err != nil {
		return Receipt{}, badReorder(err, "wishes")
	}
	return s.op(ctx, o, ActOrder, "draft what the planned jobs need", func(e *entry) error {
		return e.draftBatches(batches, lines, func(l *BuyLine) string { return why[l.Code] })
	})
}

// sold is the least number of pieces from n up that a part is sold in.
func sold(p Part, n int) int {
	pack := max(1, p.Pack)
	return (max(n, p.MinOrder) + pack - 1) / pack * pack
}

func linesByCode(b *Buying) map[string]*BuyLine {
	out := map[string]*BuyLine{}
	for _, l := range b.Lines {
		out[l.Code] = l
	}
	return out
}

func (s *Store) pureVendors(ctx context.Context) ([]reorder.Supplier, error) {
	vendors, err := s.Vendors(ctx)
	var out []reorder.Supplier
	for _, v := range vendors {
		out = append(out, v.pure())
	}
	return out, err
}

// draftBatches puts batches into drafts, one a supplier and cut-off day. why is the sentence
// that stands at a line.
func (e *entry) draftBatches(batches []reorder.Batch, lines map[string]*BuyLine, why func(*BuyLine) string) error {
	made, added, homeless := 0, 0, []string{}
	for _, b := range batches {
		if b.Supplier == "" {
			for _, w := range b.Wishes {
				homeless = append(homeless, w.Part)
			}
			continue
		}
		id, fresh, err := e.draftFor(lines[b.Wishes[0].Part].SupplierID, Day(b.CutOff.String()))
		if err != nil {
			return err
		}
		if fresh {
			made++
		}
		for _, w := range b.Wishes {
			l := lines[w.Part]
			if err := e.putLine(id, l.ID, w.Pieces, why(l)); err != nil {
				return err
			}
			added++
		}
	}
	e.receipt.Says = fmt.Sprintf("%d lines in %d new drafts.", added, made)
	if added == 0 {
		e.receipt.Says = "Nothing to draft: what is to be ordered stands in drafts already."
	}
	if len(homeless) > 0 {
		e.receipt.Says += " Without a supplier, and so in no draft: " + strings.Join(homeless, ", ") + "."
	}
	return nil
}

// draftFor finds the draft of a supplier for a cut-off day, or makes it.
func (e *entry) draftFor(supplier SupplierID, day Day) (id int64, fresh bool, err error) {
	var o Order
	r := e.Where("supplier_id = ? AND state = 'draft' AND cutoff_day = ?", supplier, string(day)).Order("id").Limit(1).Find(&o)
	if r.Error != nil || r.RowsAffected > 0 {
		return o.ID, false, r.Error
	}
	id, err = e.newOrder(supplier, day, "")
	return id, true, err
}

// keepLine fills what is not given of a line with what the line has.
func (e *entry) keepLine(in *LineIn, p Part, have OrderLine) error {
	if have.ID == 0 {
		return nil
	}
	in.Owner, in.Due, in.Why = cmp.Or(in.Owner, have.Owner), cmp.Or(in.Due, have.DueDay), cmp.Or(in.Why, have.Why)
	if have.PriceCents == nil {
		return nil
	}
	was := reorder.Money{Cents: *have.PriceCents, Currency: have.Currency}
	if in.Price != nil && *in.Price != was {
		return nil
	}
	list, err := e.priceOf(p, have.Pieces)
	if in.Price = nil; list != was {
		in.Price = &was
	}
	return err
}
