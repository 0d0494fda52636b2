package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/stack"
)

// A Part is a catalogue record. What it measures is in its Facts; what it mates with is
// derived from them each time it is saved.
type Part struct {
	ID          PartID
	Code        string
	Kind        string
	Name        string
	Designation string
	Maker       string
	MakerCode   string
	Counted     string // "piece": each has its own tag; "lot": counted together
	Edges       int    // usable edges of a new insert, 0 for what has none
	Grade       string
	SupplierID  *SupplierID
	PriceCents  *int64
	Currency    string
	LeadDays    *int
	Pack        int
	MinOrder    int
	ReorderAt   *int
	HomeID      *PlaceID
	Note        string
	Folded      string `json:"-"` // every spelling a person may search by
	NameKey     string `json:"-"` // what two names of one thing share
	MergedInto  *PartID
	Version     int
	CreatedAt   Time
	RetiredAt   Time
}

// A Fact is one value of a part by its ISO 13399 symbol or plain trade word, as the flat
// columns of the stack room name them. Lengths are millimetres.
type Fact struct {
	PartID  PartID `json:"-"`
	Symbol  string
	Value   string // JSON
	Entered string // as typed, with its unit
	Origin  string // entered, designation, maker
}

func (Fact) TableName() string { return "part_facts" }

// A PartIn is a part to save. Facts are the flat columns of the stack room, without kind, id,
// maker, designation and prices, which stand in Part.
type PartIn struct {
	Part  Part
	Facts []Fact
	Needs map[PartID]int // spares it needs, and how many of each
}

// fields puts a part and its facts back into the flat spelling.
func (p Part) fields(facts []Fact) (map[string]any, error) {
	m := map[string]any{"kind": p.Kind, "id": p.Code}
	for _, f := range facts {
		if tells(p.Kind, f.Symbol) {
			continue
		}
		var v any
		if err := json.Unmarshal([]byte(f.Value), &v); err != nil {
			return nil, refuse(ErrBadInput, f.Symbol, "%s: %q can not be read", f.Symbol, f.Value)
		}
		m[f.Symbol] = v
	}
	set := func(key, v string) {
		if v != "" {
			m[key] = v
		}
	}
	set("maker", p.Maker)
	set("designation", p.Designation)
	set("currency", p.Currency)
	if p.PriceCents != nil {
		m["price_cents"] = *p.PriceCents
	}
	if p.LeadDays != nil {
		m["lead_days"] = *p.LeadDays
	}
	if p.Kind == string(stack.Insert) && p.Edges > 0 {
		m["edges"] = p.Edges
	}
	return m, nil
}

// PartFrom splits a flat record, the columns of the stack room, into what stands in Part
// itself and the facts, all of one origin. Names it does not know are refused by SavePart.
func PartFrom(flat map[string]any, origin string) (PartIn, error) {
	var in PartIn
	p := &in.Part
	bad := func(key, want string) error {
		return refuse(ErrBadInput, key, "%s: %v is not %s", key, flat[key], want)
	}
	texts := map[string]*string{"kind": &p.Kind, "id": &p.Code, "code": &p.Code, "maker": &p.Maker, "designation": &p.Designation, "currency": &p.Currency}
	for _, k := range slices.Sorted(maps.Keys(flat)) {
		v := flat[k]
		if to, ok := texts[k]; ok {
			t, ok := v.(string)
			if !ok {
				return in, bad(k, "a text")
			}
			*to = t
			continue
		}
		switch k {
		case "price_cents", "lead_days", "edges":
			n, err := whole(v)
			if err != nil {
				return in, bad(k, "a whole number, 0 or more")
			}
			days := int(n)
			switch k {
			case "price_cents":
				p.PriceCents = &n
			case "lead_days":
				p.LeadDays = &days
			default:
				p.Edges = days
			}
			continue
		}
		b, err := json.Marshal(v)
		if err != nil {
			return in, bad(k, "readable")
		}
		in.Facts = append(in.Facts, Fact{Symbol: k, Value: string(b), Entered: strings.Trim(string(b), `"`), Origin: origin})
	}
	return in, nil
}

// whole reads a whole number from 0 to 2^53 out of what JSON or a caller gave.
func whole(v any) (int64, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return 0, err
	}
	var n int64
	if err := json.Unmarshal(b, &n); err != nil || n < 0 || n > 1<<53 {
		return 0, fmt.Errorf("%s is not a whole number", b)
	}
	return n, nil
}

// SavePart adds a part, or with Part.ID changes one; then Part.Version must be the version
// that was read, else ErrConflict. Sizes that can not be are refused with the field named.
func (s *Store) SavePart(ctx context.Context, actor PersonID, in PartIn) (Part, error) {
	p, sp, err := checkPart(in)
	if err != nil {
		return p, err
	}
	var saved Part
	err = s.book(ctx, func(tx *Tx) error {
		saved = p // once more from the start, should this be run again
		if err := tx.savePart(&saved, in, sp); err != nil {
			return err
		}
		return tx.note(actor, "part saved", p.Code, fmt.Sprintf("version %d", saved.Version))
	})
	if err != nil {
		return p, err
	}
	return saved, nil
}

// checkPart is a part ready to be saved, and as the stack room reads it.
func checkPart(in PartIn) (Part, *stack.Part, error) {
	p := in.Part
	var err error
	if p.Code, err = partCodeOf("code", p.Code); err != nil {
		return p, nil, err
	}
	if p.Counted == "" {
		p.Counted = countedBy(p.Kind)
	}
	if p.Counted != KindPiece && p.Counted != KindLot {
		return p, nil, refuse(ErrBadInput, "counted", "counted %q; it is piece or lot", p.Counted)
	}
	if (p.PriceCents == nil) != (p.Currency == "") {
		return p, nil, refuse(ErrBadInput, "currency", "a price needs a currency, and a currency a price")
	}
	if p.Pack < 0 || p.MinOrder < 0 {
		return p, nil, refuse(ErrBadInput, "pack", "pack %d, smallest order %d; both are 1 or more", p.Pack, p.MinOrder)
	}
	p.Pack, p.MinOrder = max(p.Pack, 1), max(p.MinOrder, 1)
	m, err := p.fields(in.Facts)
	if err != nil {
		return p, nil, err
	}
	sp, err := stack.ReadPartMap(m)
	if err != nil {
		r := &Refusal{Class: fmt.Errorf("%w: %w", ErrBadInput, err), Field: "facts", Says: p.Code + ": " + err.Error()}
		if bad, ok := errors.AsType[*stack.BadField](err); ok && bad.Field != "" {
			r.Field = bad.Field
			if strings.HasPrefix(bad.Why, "is ") { // a sentence by itself
				r.Says = p.Code + ": " + bad.Field + " " + bad.Why
			}
		}
		return p, nil, r
	}
	if p.Edges == 0 && sp.Kind == stack.Insert {
		p.Edges = sp.Edges
	}
	p.Folded, p.NameKey = folded(p, in.Facts), nameKey(p.Kind, p.Designation)
	return p, sp, nil
}

// countedBy is how a kind of part is counted unless somebody says otherwise.
func countedBy(kind string) string {
	switch stack.Kind(kind) {
	case stack.Insert, stack.Fitting, stack.Spare:
		return KindLot
	}
	return KindPiece
}

func (tx *Tx) savePart(p *Part, in PartIn, sp *stack.Part) error {
	if p.ID == 0 {
		p.Version, p.CreatedAt = 1, tx.now
		var other string
		if err := tx.Raw("SELECT p.code FROM part_codes c JOIN parts p ON p.id = c.part_id WHERE c.folded = ?", bareCode(p.Code)).Scan(&other).Error; err != nil {
			return err
		} else if other != "" {
			return refuse(ErrExists, "code", "%s is taken: it means %s", p.Code, other)
		}
		if err := tx.Create(p).Error; err != nil {
			return duplicate(err, "code", "part %s", p.Code)
		}
	} else {
		var left int // the most edges on a part-used lot of it
		if err := tx.Raw("SELECT coalesce(max(edges_left), 0) FROM items WHERE part_id = ?", p.ID).Scan(&left).Error; err != nil {
			return err
		} else if p.Edges < left {
			return refuse(ErrConflict, "edges", "%s can not have %d edges: a part-used lot of it has %d left on each. Give an insert with fewer edges a record of its own", p.Code, p.Edges, left)
		}
		r := tx.Model(&Part{}).Where("id = ? AND version = ?", p.ID, p.Version).Updates(map[string]any{
			"code": p.Code, "kind": p.Kind, "name": p.Name, "designation": p.Designation, "maker": p.Maker, "maker_code": p.MakerCode,
			"edges": p.Edges, "grade": p.Grade, "supplier_id": p.SupplierID, "price_cents": p.PriceCents, "currency": p.Currency,
			"lead_days": p.LeadDays, "pack": p.Pack, "min_order": p.MinOrder, "reorder_at": p.ReorderAt, "home_id": p.HomeID,
			"note": p.Note, "folded": p.Folded, "name_key": p.NameKey, "version": p.Version + 1,
		})
		if r.Error != nil {
			return duplicate(r.Error, "code", "part %s", p.Code)
		}
		if r.RowsAffected != 1 {
			return refuse(ErrConflict, "version", "%s was changed by somebody else meanwhile; read it again", p.Code)
		}
		p.Version++
		for _, q := range []string{"DELETE FROM part_facts WHERE part_id = ?", "DELETE FROM part_joints WHERE part_id = ?", "DELETE FROM part_needs WHERE part_id = ?"} {
			if err := tx.exec(q, p.ID); err != nil {
				return err
			}
		}
	}
	for _, f := range in.Facts {
		if f.Origin == "" {
			f.Origin = "entered"
		}
		if err := tx.exec("INSERT INTO part_facts (part_id, symbol, value, entered, origin) VALUES (?,?,?,?,?)", p.ID, f.Symbol, f.Value, f.Entered, f.Origin); err != nil {
			return err
		}
	}
	for i, j := range sp.Joints {
		var mm any
		if j.Size.Known {
			mm = j.Size.V
		}
		if err := tx.exec("INSERT INTO part_joints (part_id, n, side, family, code, mm, gender) VALUES (?,?,?,?,?,?,?)",
			p.ID, i+1, string(j.Side), string(j.Family), j.Code, mm, j.Gender); err != nil {
			return err
		}
	}
	for spare, qty := range in.Needs {
		if err := tx.exec("INSERT INTO part_needs (part_id, spare_id, qty) VALUES (?,?,?)", p.ID, spare, qty); err != nil {
			return err
		}
	}
	id := p.ID
	tx.after = append(tx.after, func() { tx.s.shelf.touchPart(id) })
	return nil
}

// PartByCode reads a part by its code, or by any code it answers to: that of a record merged
// into it, or a foreign one linked to it.
func (s *Store) PartByCode(ctx context.Context, code string) (Part, error) {
	return partByCode(s.read.WithContext(ctx), code)
}

func partByCode(db *gorm.DB, code string) (Part, error) {
	p, err := one[Part](db, "part", code, "code = ? AND merged_into IS NULL", code)
	if !errors.Is(err, ErrNotFound) {
		return p, err
	}
	return one[Part](db, "part", code, "id = (SELECT part_id FROM part_codes WHERE folded = ?)", bareCode(code))
}

// Part reads a part by its number.
func (s *Store) Part(ctx context.Context, id PartID) (Part, error) {
	return one[Part](s.read.WithContext(ctx), "part", id, "id = ?", id)
}

// Parts lists the catalogue by kind and code, at most limit from after the code given.
func (s *Store) Parts(ctx context.Context, kind, after string, limit int) ([]Part, error) {
	q := s.read.WithContext(ctx).Where("retired_at IS NULL AND code > ?", after)
	if kind != "" {
		q = q.Where("kind = ?", kind)
	}
	var out []Part
	return out, q.Order("code").Limit(limit).Find(&out).Error
}

// Facts reads what a part measures, by symbol.
func (s *Store) Facts(ctx context.Context, id PartID) ([]Fact, error) {
	var out []Fact
	return out, s.read.WithContext(ctx).Where("part_id = ?", id).Order("symbol").Find(&out).Error
}

// A Spare is a part that another needs.
type Spare struct {
	Part
	Qty  int // of it, for one
	Free int64
}

// Spares lists what a part needs: screws, shims, keys, seals, with what is on the shelf.
func (s *Store) Spares(ctx context.Context, id PartID) ([]Spare, error) {
	var out []Spare
	return out, s.read.WithContext(ctx).Raw(`SELECT p.*, n.qty,
			(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id
			 WHERE i.part_id = p.id AND pl.kind = 'bin') AS free
		FROM part_needs n JOIN parts p ON p.id = n.spare_id WHERE n.part_id = ? ORDER BY p.code`, id).Scan(&out).Error
}
