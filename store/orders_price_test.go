package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"brasspeg/store/reorder"
)

// A price that was wrong on an approved order is set right with a reason, once, by a manager; the
// old one stays in the record, what is ordered and what has come stay as they were.
func TestCorrectPrice(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		ctx := t.Context()
		v := s.supplier("ORRIN", 12)
		p := s.cnmg(v, s.bin("B1"))
		r, err := s.NewOrder(ctx, op(s.gate), v.ID, s.Today(), "")
		s.must(err)
		_, err = s.SetLine(ctx, op(s.gate), LineIn{Order: r.Says, Part: p.ID, Pieces: 50, Seen: true, Price: &reorder.Money{Cents: 700, Currency: "EUR"}})
		s.must(err)
		o, err := s.Order(ctx, r.Says)
		s.must(err)
		line := o.Lines[0].ID
		seven, six := reorder.Money{Cents: 700, Currency: "EUR"}, reorder.Money{Cents: 615, Currency: "EUR"}
		if _, err := s.CorrectPrice(ctx, op(s.boss), line, &seven, six, "a draft"); !errors.Is(err, ErrConflict) {
			t.Errorf("a draft's price: %v", err)
		}
		_, err = s.ApproveOrder(ctx, op(s.boss), o.Code, o.Version)
		s.must(err)
		_, err = s.ReceiveLine(ctx, op(s.gate), ReceiveLineIn{Line: line, Qty: 50, Unit: "piece"})
		s.must(err)
		s.clock.step(time.Hour)
		for _, tt := range []struct {
			who    Person
			was    *reorder.Money
			price  reorder.Money
			reason string
			want   error
		}{
			{s.gate, &seven, six, "bill 88", ErrForbidden},
			{s.boss, &seven, six, "  ", ErrBadInput},
			{s.boss, &seven, reorder.Money{Cents: -1, Currency: "EUR"}, "bill 88", ErrBadInput},
			{s.boss, &seven, reorder.Money{Cents: 615}, "bill 88", ErrBadInput},
			{s.boss, &seven, seven, "bill 88", ErrBadInput},
			{s.boss, &six, reorder.Money{Cents: 600, Currency: "EUR"}, "bill 88", ErrConflict},
			{s.boss, nil, six, "bill 88", ErrConflict},
		} {
			if _, err := s.CorrectPrice(ctx, op(tt.who), line, tt.was, tt.price, tt.reason); !errors.Is(err, tt.want) {
				t.Errorf("%s corrects %v to %v because %q: %v, want %v", tt.who.Name, tt.was, tt.price, tt.reason, err, tt.want)
			}
		}
		if _, err := s.CorrectPrice(ctx, op(s.boss), 9999, nil, six, "bill 88"); !errors.Is(err, ErrNotFound) {
			t.Errorf("a line that is not there: %v", err)
		}
		once := op(s.boss)
		_, err = s.CorrectPrice(ctx, once, line, &seven, six, "bill 88")
		s.must(err)
		if again, err := s.CorrectPrice(ctx, once, line, &seven, six, "bill 88"); err != nil || !again.Replayed {
			t.Errorf("the same correction sent twice: %+v, %v", again, err)
		}
		o, err = s.Order(ctx, o.Code)
		s.must(err)
		if l := o.Lines[0]; *l.PriceCents != 615 || l.Currency != "EUR" || l.Pieces != 50 || l.Received != 50 {
			t.Errorf("after the correction: %+v", l)
		}
		record, err := s.OrderRecord(ctx, o)
		s.must(err)
		var told []string
		for _, e := range record {
			told = append(told, e.Says)
		}
		all := strings.Join(told, "; ")
		if len(record) != 2 || !strings.Contains(all, "6.15 EUR, was 7.00 EUR: bill 88") || !strings.Contains(all, "Received 50 of") || len(record[0].Tags) == 0 {
			t.Errorf("the record: %s", all)
		}
		s.sound()
	})
}

// A row that can not be taken names its column once: beside the words, not in them as well.
func TestBadRowNamesItsColumnOnce(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		for _, tt := range []struct{ head, cell string }{
			{"DCONMS_mm", "forty"}, {"DCONMS", "forty"}, {"DCONMS", "40"}, {"DCONMS_in", "1/0"}, {"edges", "four"}, {"price", "dear"}, {"lead_days", "soon"},
			{"home", "NOWHERE-1"}, {"supplier", "NOBODY"}, {"pack", "x"}, {"OHX_mm", "far"}, {"HAND", "sideways"}, {"coolant", "maybe"},
		} {
			rep, err := s.ImportParts(t.Context(), s.boss.ID, []byte("code,kind,name,"+tt.head+"\nX-1,bar,x,\""+tt.cell+"\"\n"), false, false)
			if err != nil {
				if !strings.Contains(err.Error(), "is not known") {
					t.Errorf("%s: %v", tt.head, err)
				}
				continue
			}
			if len(rep.Bad) != 1 {
				t.Errorf("%s %q: %d bad rows, want 1", tt.head, tt.cell, len(rep.Bad))
			}
			for _, b := range rep.Bad {
				if b.Field != "" && strings.HasPrefix(strings.ToLower(b.Says), strings.ToLower(b.Field)+":") {
					t.Errorf("%s %q: line %d, %s: %s", tt.head, tt.cell, b.Line, b.Field, b.Says)
				}
			}
		}
	})
}
