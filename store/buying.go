package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"brasspeg/store/reorder"
)

// BuyRules are the shop's habits of buying. They stand in settings as one JSON text and are
// changed by a manager only.
type BuyRules struct {
	ServiceA     float64 `json:"service_a"` // wished share of order cycles without a shortage, by class of money
	ServiceB     float64 `json:"service_b"`
	ServiceC     float64 `json:"service_c"`
	ServiceReuse float64 `json:"service_reuse"`    // share of requests for bars, holders, sleeves that should find one
	Carrying     float64 `json:"carrying_rate"`    // share of the price a year that keeping a piece costs
	OrderCents   int64   `json:"order_cost_cents"` // of placing one order
	Currency     string  `json:"currency"`         // of the order cost
	Review       int     `json:"review_days"`
	Soon         int     `json:"soon_days"`
	Watch        int     `json:"watch_days"`
	Dead         int     `json:"dead_days"`
	MuchWeeks    float64 `json:"much_weeks"`
	KeepWeeks    float64 `json:"keep_weeks"`
	UnknownLead  int     `json:"unknown_lead_days"` // planned with where a lead time is neither quoted nor measured
}

// DefaultBuyRules are common practice, no source.
func DefaultBuyRules() BuyRules {
	r := reorder.DefaultRules()
	return BuyRules{ServiceA: reorder.ServiceFor('A'), ServiceB: reorder.ServiceFor('B'), ServiceC: reorder.ServiceFor('C'), ServiceReuse: 0.95,
		Carrying: 0.2, OrderCents: 1500, Currency: "EUR", Review: r.Review, Soon: r.Soon, Watch: r.Watch, Dead: r.Dead,
		MuchWeeks: r.MuchWeeks, KeepWeeks: r.KeepWeeks, UnknownLead: 14}
}

func (r BuyRules) rules() reorder.Rules {
	d := reorder.DefaultRules()
	d.Review, d.Soon, d.Watch, d.Dead, d.MuchWeeks, d.KeepWeeks = r.Review, r.Soon, r.Watch, r.Dead, r.MuchWeeks, r.KeepWeeks
	return d
}

func (r BuyRules) service(class byte) float64 {
	switch class {
	case 'A':
		return r.ServiceA
	case 'B':
		return r.ServiceB
	}
	return r.ServiceC
}

// check refuses what would make every later answer wrong, a field at a time.
func (r BuyRules) check() error {
	for _, v := range []struct {
		field string
		v     float64
	}{{"service_a", r.ServiceA}, {"service_b", r.ServiceB}, {"service_c", r.ServiceC}, {"service_reuse", r.ServiceReuse}} {
		if !(v.v > 0 && v.v < 1) {
			says := fmt.Sprintf("service level %g: it is a share between 0 and 1", v.v)
			if v.v >= 1 && v.v < 100 {
				says += fmt.Sprintf("; for %g %% write %g", v.v, v.v/100)
			}
			return &Refusal{Class: ErrBadInput, Field: v.field, Says: says}
		}
	}
	if !(r.Carrying >= 0 && r.Carrying <= 2) {
		return refuse(ErrBadInput, "carrying_rate", "carrying rate %g: it is a share of the price a year; for 20 %% write 0.2", r.Carrying)
	}
	if err := checkMoney("order_cost_cents", &r.OrderCents, r.Currency); err != nil {
		return err
	}
	for _, v := range []struct {
		field string
		n     int
	}{{"review_days", r.Review}, {"soon_days", r.Soon}, {"watch_days", r.Watch}, {"dead_days", r.Dead}, {"unknown_lead_days", r.UnknownLead}} {
		if v.n < 0 || v.n > 3650 {
			return refuse(ErrBadInput, v.field, "%d days; give 0 to 3650", v.n)
		}
	}
	if !(r.MuchWeeks > 0 && r.MuchWeeks <= 5200 && r.KeepWeeks > 0 && r.KeepWeeks <= 5200) {
		return refuse(ErrBadInput, "keep_weeks", "weeks to keep %g, too much from %g; give more than 0", r.KeepWeeks, r.MuchWeeks)
	}
	return nil
}

// checkMoney refuses an amount without a currency, and a currency that is none.
func checkMoney(field string, cents *int64, currency string) error {
	if cents == nil {
		if currency != "" {
			return refuse(ErrBadInput, field, "a currency (%s) without an amount", currency)
		}
		return nil
	}
	if *cents < 0 || *cents > 1e14 {
		return refuse(ErrBadInput, field, "amount %d.%02d; give 0 or more", *cents/100, *cents%100)
	}
	if currency == "" {
		return refuse(ErrBadInput, field, "the amount %d.%02d has no currency; write it with one, such as EUR", *cents/100, *cents%100)
	}
	if len(currency) != 3 {
		return refuse(ErrBadInput, field, "%q is not a currency; use three capital letters, such as EUR", currency)
	}
	for _, c := range currency {
		if c < 'A' || c > 'Z' {
			return refuse(ErrBadInput, field, "%q is not a currency; use three capital letters, such as EUR", currency)
		}
	}
	return nil
}

const buyRulesKey = "buying"

// BuyRules reads the shop's habits, the usual ones where nobody set any.
func (s *Store) BuyRules(ctx context.Context) (BuyRules, error) {
	r := DefaultBuyRules()
	var text string
	if err := s.read.WithContext(ctx).Raw("SELECT value FROM settings WHERE key = ?", buyRulesKey).Scan(&text).Error; err != nil || text == "" {
		return r, err
	}
	if err := json.Unmarshal([]byte(text), &r); err != nil {
		return r, fmt.Errorf("%w: the settings for buying can not be read: %w", ErrDamaged, err)
	}
	return r, nil
}

// SetBuyRules changes the shop's habits; a manager's act.
func (s *Store) SetBuyRules(ctx context.Context, o Op, r BuyRules) (Receipt, error) {
	if err := r.check(); err != nil {
		return Receipt{}, err
	}
	return s.op(ctx, o, ActApprove, r, func(e *entry) error {
		b, err := json.Marshal(r)
		if err != nil {
			return err
		}
		if err := e.exec("INSERT INTO settings (key, value) VALUES (?,?) ON CONFLICT (key) DO UPDATE SET value = excluded.value", buyRulesKey, string(b)); err != nil {
			return err
		}
		e.receipt.Says = "The rules of buying were changed."
		return e.Tx.note(o.Actor, "buying rules changed", buyRulesKey, string(b))
	})
}

// LevelsRow is what a person accepted for a part.
type LevelsRow struct {
	PartID   PartID `gorm:"primaryKey"`
	Point    int
	Quantity int
	Weekly   float64
	Lead     int
	Safety   float64
	Why      string
	SetBy    PersonID
	SetAt    Time
}

func (LevelsRow) TableName() string { return "part_levels" }

func (l LevelsRow) levels() reorder.Levels {
	return reorder.Levels{Point: l.Point, Quantity: l.Quantity, Basis: reorder.Basis{Weekly: l.Weekly, Lead: l.Lead, Safety: l.Safety}}
}

// AcceptLevels writes the levels proposed for a part today into the books, with old, new and
// why in the audit. Point and quantity are what the person saw: when the proposal is another
// one by now, ErrConflict and nothing changes.
func (s *Store) AcceptLevels(ctx context.Context, o Op, part PartID, point, quantity int) (Receipt, error) {
	line, err := s.BuyLine(ctx, part)
	if err != nil {
		return Receipt{}, err
	}
	body := struct {
		Part            PartID
		Point, Quantity int
	}{part, point, quantity}
	return s.op(ctx, o, ActApprove, body, func(e *entry) error {
		now := line.Now
		if now.Point != point || now.Quantity != quantity {
			return refuse(ErrConflict, "point", "%s: the proposal is now %d and %d at a time, you saw %d and %d; look again", line.Code, now.Point, now.Quantity, point, quantity)
		}
		why := line.Why()
		if err := e.exec(`INSERT INTO part_levels (part_id, point, quantity, weekly, lead, safety, why, set_by, set_at) VALUES (?,?,?,?,?,?,?,?,?)
			ON CONFLICT (part_id) DO UPDATE SET point = excluded.point, quantity = excluded.quantity, weekly = excluded.weekly,
			lead = excluded.lead, safety = excluded.safety, why = excluded.why, set_by = excluded.set_by, set_at = excluded.set_at`,
			part, now.Point, now.Quantity, now.Basis.Weekly, now.Basis.Lead, now.Basis.Safety, why, o.Actor, e.now); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s: reorder at %d, %d at a time.", line.Code, now.Point, now.Quantity)
		return e.Tx.note(o.Actor, "levels set", line.Code, why)
	})
}

// A SnoozeRow keeps the alert of a part quiet for a while.
type SnoozeRow struct {
	ID        int64
	PartID    PartID
	ByID      PersonID
	Reason    string
	UntilDay  Day
	Level     int
	StopDay   Day
	CreatedAt Time
	EndedAt   Time
}

func (SnoozeRow) TableName() string { return "snoozes" }

// Snooze keeps a part's alert quiet up to and including a day. It wakes at once when the
// alert worsens. No reason, or a day not after today or over 90 days away: ErrBadInput.
func (s *Store) Snooze(ctx context.Context, o Op, part PartID, reason string, until Day) (Receipt, error) {
	line, err := s.BuyLine(ctx, part)
	if err != nil {
		return Receipt{}, err
	}
	day, err := reorder.ParseDay(string(until))
	if err != nil {
		return Receipt{}, badReorder(err, "until")
	}
	body := struct {
		Part   PartID
		Reason string
		Until  Day
	}{part, reason, until}
	return s.op(ctx, o, ActOrder, body, func(e *entry) error {
		if line.Advice.Alert.Level == reorder.Enough {
			return refuse(ErrBadInput, "part", "%s has no alert to put to sleep", line.Code)
		}
		z, err := reorder.NewSnooze(line.Advice.Alert, fmt.Sprint(o.Actor), reason, line.today, day)
		if err != nil {
			return badReorder(err, "reason")
		}
		if err := e.exec("UPDATE snoozes SET ended_at = ? WHERE part_id = ? AND ended_at IS NULL", e.now, part); err != nil {
			return err
		}
		row := SnoozeRow{PartID: part, ByID: o.Actor, Reason: z.Reason, UntilDay: until, Level: int(z.Level), CreatedAt: e.now}
		if z.Stop.Known {
			row.StopDay = Day(z.Stop.Day.String())
		}
		if err := e.Create(&row).Error; err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s sleeps until %s.", line.Code, until)
		return nil
	})
}

// badReorder gives a refusal of the pure room the store's class, with its field.
func badReorder(err error, field string) error {
	if bad, ok := errors.AsType[*reorder.BadInput](err); ok {
		if bad.Field != "" {
			field = bad.Field
		}
		return &Refusal{Class: fmt.Errorf("%w: %w", ErrBadInput, err), Field: field, Says: bad.Error()}
	}
	return err
}

// Acts of buying that move nothing: drafting and editing orders, snoozing; and what only a
// manager does: approving orders, levels, rules, suppliers' terms.
const (
	ActOrder   = "order"
	ActApprove = "approve"
)
