package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"brasspeg/store/reorder"
)

// Vendors lists suppliers with their terms and measured lead times, by code.
func (s *Store) Vendors(ctx context.Context) ([]Vendor, error) {
	db := s.read.WithContext(ctx)
	var out []Vendor
	if err := db.Raw(`SELECT s.*, coalesce(t.cutoffs, '') AS cutoffs, coalesce(t.min_order_cents, 0) AS min_order_cents, coalesce(t.currency, '') AS currency
		FROM suppliers s LEFT JOIN supplier_terms t ON t.supplier_id = s.id ORDER BY s.code LIMIT 1000`).Scan(&out).Error; err != nil {
		return nil, err
	}
	var lines []struct {
		SupplierID               SupplierID
		OrderedDay, DueDay, Last Day
		Pieces, Received         int
		Closed                   bool
	}
	if err := db.Raw(`SELECT o.supplier_id, o.ordered_day, l.due_day, l.pieces, ` + receivedSQL + ` AS received, l.closed_at IS NOT NULL AS closed,
			coalesce((SELECT max(r.day) FROM order_receipts r WHERE r.line_id = l.id), '') AS last
		FROM order_lines l JOIN orders o ON o.id = l.order_id WHERE o.state = 'approved' ORDER BY last, l.id`).Scan(&lines).Error; err != nil {
		return nil, err
	}
	today := s.Today()
	for i := range out {
		v := &out[i]
		var taken []int
		for _, l := range lines {
			switch {
			case l.SupplierID != v.ID:
			case l.Received >= l.Pieces:
				if d := mustDay(l.Last) - mustDay(l.OrderedDay); d >= 0 {
					taken = append(taken, int(d))
				}
			case !l.Closed:
				v.Open++
				if l.DueDay != "" && l.DueDay < today {
					v.Late++
				}
			}
		}
		v.Lead, _ = reorder.Leads(v.LeadDays, taken, nil) // neither quoted nor measured: the zero Lead
	}
	return out, nil
}

// Vendor reads one supplier by its code.
func (s *Store) Vendor(ctx context.Context, code string) (Vendor, error) {
	all, err := s.Vendors(ctx)
	if err != nil {
		return Vendor{}, err
	}
	for _, v := range all {
		if v.Code == code {
			return v, nil
		}
	}
	return Vendor{}, refuse(ErrNotFound, "supplier", "supplier %s is not known here", code)
}

// SetVendor changes a supplier's name, address, quoted lead time and terms; a manager's act.
// A negative lead time, an unknown weekday, an amount without a currency: ErrBadInput.
func (s *Store) SetVendor(ctx context.Context, o Op, v Vendor) (Receipt, error) {
	v.Lead, v.Open, v.Late = reorder.Lead{}, 0, 0
	return s.op(ctx, o, ActApprove, v, func(e *entry) error {
		var err error
		if v.Code, err = printable("code", v.Code, 40); err != nil {
			return err
		}
		if v.Name, err = printable("name", v.Name, maxName); err != nil {
			return err
		}
		if err := checkVendor(v); err != nil {
			return err
		}
		if v.ID == 0 {
			row := v.Supplier
			row.CreatedAt = e.now
			if err := e.Create(&row).Error; err != nil {
				return duplicate(err, "code", "supplier %s", v.Code)
			}
			v.ID = row.ID
		} else if err := e.must(refuse(ErrNotFound, "supplier", "supplier %s is not known here", v.Code),
			"UPDATE suppliers SET name = ?, email = ?, phone = ?, lead_days = ? WHERE id = ?", v.Name, v.Email, v.Phone, v.LeadDays, v.ID); err != nil {
			return err
		}
		if err := e.exec(`INSERT INTO supplier_terms (supplier_id, cutoffs, min_order_cents, currency) VALUES (?,?,?,?)
			ON CONFLICT (supplier_id) DO UPDATE SET cutoffs = excluded.cutoffs, min_order_cents = excluded.min_order_cents, currency = excluded.currency`,
			v.ID, v.Cutoffs, v.MinOrderCents, v.Currency); err != nil {
			return err
		}
		e.receipt.Says = "Supplier " + v.Code + " is saved."
		return e.Tx.note(o.Actor, "supplier saved", v.Code, fmt.Sprintf("lead %d days, cut-off %s", v.LeadDays, v.Cutoffs))
	})
}

func checkVendor(v Vendor) error {
	if v.LeadDays < 0 || v.LeadDays > 3650 {
		return refuse(ErrBadInput, "lead_days", "lead time %d days; give 0 to 3650, 0 for not said", v.LeadDays)
	}
	if _, err := parseCutoffs(v.Cutoffs); err != nil {
		return err
	}
	if v.MinOrderCents == 0 && v.Currency == "" {
		return nil
	}
	return checkMoney("min_order", &v.MinOrderCents, v.Currency)
}

// An Alternative is a part that would do instead of another, or the same under another name.
type Alternative struct {
	ID      PartID
	Code    string
	Name    string
	Free    int64 // pieces on the shelf, promised to nobody
	Changes string
	Listed  bool // somebody entered it as a substitute; else it mates the same way
}

// Instead lists what could be used instead of a part: the substitutes entered for it, and
// what is on hand and mates by exactly the same joints, with what differs. The part itself
// stands first when it is free.
func (s *Store) Instead(ctx context.Context, part PartID) ([]Alternative, error) {
	db := s.read.WithContext(ctx)
	var out []Alternative
	const free = `(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id
		WHERE i.part_id = p.id AND pl.kind = 'bin' AND i.held = '') -
		(SELECT coalesce(sum(r.qty), 0) FROM reservations r JOIN items i ON i.id = r.item_id WHERE i.part_id = p.id AND r.ended_at IS NULL AND r.to_day >= ?
			AND (i.kind = 'lot' OR NOT EXISTS (SELECT 1 FROM holdings h WHERE h.item_id = i.id AND h.job_id = r.job_id AND h.qty > 0)))`
	today := string(s.Today())
	var self Alternative
	r := db.Raw("SELECT p.id, p.code, p.name, "+free+" AS free FROM parts p WHERE p.id = ?", today, part).Scan(&self)
	if r.Error != nil {
		return nil, r.Error
	}
	if r.RowsAffected == 0 {
		return nil, refuse(ErrNotFound, "part", "part %d is not known here", part)
	}
	if self.Free > 0 {
		self.Changes = "the part itself"
		out = append(out, self)
	}
	var listed []Alternative
	if err := db.Raw("SELECT p.id, p.code, p.name, x.changes, "+free+" AS free FROM part_substitutes x JOIN parts p ON p.id = x.other_id WHERE x.part_id = ? AND p.retired_at IS NULL ORDER BY p.code",
		today, part).Scan(&listed).Error; err != nil {
		return nil, err
	}
	seen := map[PartID]bool{part: true}
	for _, a := range listed {
		a.Listed = true
		seen[a.ID] = true
		if a.Free > 0 {
			out = append(out, a)
		}
	}
	twins, err := s.twins(ctx, part, free, today)
	if err != nil {
		return nil, err
	}
	for _, a := range twins {
		if !seen[a.ID] && a.Free > 0 {
			out = append(out, a)
		}
	}
	return out, nil
}

// twins are parts of the same kind with exactly the same joints.
func (s *Store) twins(ctx context.Context, part PartID, free, today string) ([]Alternative, error) {
	db := s.read.WithContext(ctx)
	var same []Alternative
	// From the few joints of this part to those like them, not over all parts: a shop has thousands.
	if err := db.Raw(`SELECT p.id, p.code, p.name, `+free+` AS free FROM parts p
		JOIN (SELECT b.part_id, count(DISTINCT a.n) AS like_it FROM part_joints a JOIN part_joints b ON b.family = a.family AND b.code = a.code AND b.side = a.side
			AND coalesce(b.mm, 0) = coalesce(a.mm, 0) AND b.gender = a.gender WHERE a.part_id = ? GROUP BY b.part_id) t ON t.part_id = p.id
		WHERE p.retired_at IS NULL AND p.id <> ? AND p.kind = (SELECT kind FROM parts WHERE id = ?) AND p.kind <> 'spare'
		AND t.like_it = (SELECT count(*) FROM part_joints a WHERE a.part_id = ?)
		AND (SELECT count(*) FROM part_joints b WHERE b.part_id = p.id) = (SELECT count(*) FROM part_joints a WHERE a.part_id = ?)
		ORDER BY p.code LIMIT 50`, today, part, part, part, part, part).Scan(&same).Error; err != nil || len(same) == 0 {
		return nil, err
	}
	ids := []PartID{part}
	for _, a := range same {
		ids = append(ids, a.ID)
	}
	var facts []Fact
	if err := db.Where("part_id IN ?", ids).Order("symbol").Find(&facts).Error; err != nil {
		return nil, err
	}
	by := map[PartID]map[string]string{}
	for _, f := range facts {
		if by[f.PartID] == nil {
			by[f.PartID] = map[string]string{}
		}
		by[f.PartID][f.Symbol] = strings.Trim(f.Value, `"`)
	}
	for i := range same {
		same[i].Changes = differs(by[part], by[same[i].ID])
	}
	return same, nil
}

// differs tells the sizes that are not the same, by symbol.
func differs(of, other map[string]string) string {
	var out []string
	for k, v := range other {
		switch k {
		case "torque_nm", "WT", "unit":
			continue
		}
		if of[k] != v {
			was := of[k]
			if was == "" {
				was = "not recorded"
			}
			out = append(out, fmt.Sprintf("%s %s instead of %s", k, v, was))
		}
	}
	slices.SortFunc(out, func(a, b string) int { return cmp.Compare(a, b) })
	if len(out) == 0 {
		return "the same sizes"
	}
	return strings.Join(out, ", ")
}

func saysInstead(list []Alternative) string {
	var out []string
	for _, a := range list[:min(4, len(list))] {
		out = append(out, fmt.Sprintf("%d free of %s (%s)", a.Free, a.Code, a.Changes))
	}
	if n := len(list) - 4; n > 0 {
		out = append(out, fmt.Sprintf("and %d more", n))
	}
	return strings.Join(out, "; ")
}

// AddSubstitute enters that other may be used instead of part, with what changes then.
func (s *Store) AddSubstitute(ctx context.Context, o Op, part, other PartID, changes string) (Receipt, error) {
	body := struct {
		Part, Other PartID
		Changes     string
	}{part, other, changes}
	return s.op(ctx, o, ActPart, body, func(e *entry) error {
		if part == other {
			return refuse(ErrBadInput, "other", "a part is no substitute for itself")
		}
		text, err := printable("changes", changes, 200)
		if err != nil {
			return err
		}
		for _, id := range []PartID{part, other} {
			if _, err := one[Part](e.DB, "part", id, "id = ?", id); err != nil {
				return err
			}
		}
		e.receipt.Says = "Entered as a substitute."
		return e.exec("INSERT INTO part_substitutes (part_id, other_id, changes) VALUES (?,?,?) ON CONFLICT (part_id, other_id) DO UPDATE SET changes = excluded.changes", part, other, text)
	})
}

// A Consigned line is what was issued of a supplier's own goods on one day, or a difference
// that a count found and that nobody is billed for silently.
type Consigned struct {
	Day    Day
	Part   string
	Tag    string
	Pieces int64 // issued, returns taken off; of a difference with its sign
	Act    string
	Reason string
	Price  *int64
	Cur    string
}

// Settlement lists the issues of consigned goods from a day to a day, both included: what the
// supplier may bill. Unexplained are the differences counts found; they are listed, not billed.
func (s *Store) Settlement(ctx context.Context, owner string, from, to Day) (issued, unexplained []Consigned, err error) {
	for _, d := range []Day{from, to} {
		if _, err := ParseDay(string(d)); err != nil {
			return nil, nil, onField("from", err)
		}
	}
	if to < from {
		return nil, nil, refuse(ErrBadInput, "to", "%s is before %s", to, from)
	}
	db := s.read.WithContext(ctx)
	day := dayOf(db, "m.at")
	var rows []struct {
		Consigned
		From, To PlaceKind
		Qty      int64
	}
	if err := db.Raw(`SELECT `+day+` AS day, p.code AS part, i.tag, m.act, m.reason, coalesce(i.price_cents, p.price_cents) AS price, p.currency AS cur, a.kind AS "from", b.kind AS "to", m.qty
		FROM movements m JOIN items i ON i.id = m.item_id JOIN parts p ON p.id = i.part_id JOIN places a ON a.id = m.from_id JOIN places b ON b.id = m.to_id
		WHERE i.owner = ? AND i.owner <> '' AND i.edges_left IS NULL AND `+day+` >= ? AND `+day+` <= ? ORDER BY +m.seq LIMIT 20000`, owner, string(from), string(to)).Scan(&rows).Error; err != nil {
		return nil, nil, err
	}
	for _, r := range rows {
		switch {
		case r.From == Bin && uses(r.To):
			r.Pieces = r.Qty
			issued = append(issued, r.Consigned)
		case r.To == Bin && uses(r.From):
			r.Pieces = -r.Qty
			issued = append(issued, r.Consigned)
		case r.From == Bin && (r.To == AdjustAt || r.To == Lost):
			r.Pieces = -r.Qty
			unexplained = append(unexplained, r.Consigned)
		case r.To == Bin && (r.From == AdjustAt || r.From == Lost):
			r.Pieces = r.Qty
			unexplained = append(unexplained, r.Consigned)
		}
	}
	return issued, unexplained, nil
}
