package store

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"brasspeg/store/ledger"
)

// An Op says who acts, on what device, under which op id. The id is made when the dialog
// opens and sent with every try; it is 16 to 64 of A-Z a-z 0-9 _ -.
type Op struct {
	ID     string
	Actor  PersonID
	Device string
}

var opID = regexp.MustCompile(`^[A-Za-z0-9_-]{16,64}$`)

func (o Op) check() error {
	if o.ID == "" {
		return unfit("missing_field", "op_id", "no op id came with it; make one when the dialog opens and send it with every try")
	}
	if !opID.MatchString(o.ID) {
		return unfit("op_id_invalid", "op_id", "the op id must be 16 to 64 of A-Z a-z 0-9 _ -")
	}
	if o.Actor == 0 {
		return refuse(ErrForbidden, "actor", "nobody is logged in")
	}
	return nil
}

// A Receipt is the stored answer to a booking: the same for every try of the same op id.
type Receipt struct {
	OpID     string        `json:"op_id"`
	Act      ledger.Act    `json:"act"`
	At       time.Time     `json:"at"`
	Lines    []ReceiptLine `json:"lines"` // never nil
	Says     string        `json:"says"`
	Replayed bool          `json:"-"` // this answer was given before
}

// A ReceiptLine is one movement as a person reads it.
type ReceiptLine struct {
	Seq  int64  `json:"seq"`
	Tag  string `json:"tag"`
	Part string `json:"part"`
	Qty  int64  `json:"qty"`
	From string `json:"from"`
	To   string `json:"to"`
	Left int64  `json:"left"` // of the item, where it was taken from, for a shelf; else 0
}

// Ops rows.
type opRow struct {
	OpID        string `gorm:"primaryKey;column:op_id"`
	Act         string
	Fingerprint string
	ActorID     PersonID
	Role        string
	Lines       int
	Answer      string
	At          Time
}

func (opRow) TableName() string { return "ops" }

// says is what the act answered.
func (o opRow) says() string {
	var r Receipt
	if json.Unmarshal([]byte(o.Answer), &r) != nil { // written by us alone
		return ""
	}
	return r.Says
}

// Booked is the answer that was given under an op id; false when there was none.
func (s *Store) Booked(ctx context.Context, opID string) (Receipt, bool, error) {
	var o opRow
	r := s.read.WithContext(ctx).Where("op_id = ?", opID).Limit(1).Find(&o)
	if r.Error != nil || r.RowsAffected == 0 {
		return Receipt{}, false, r.Error
	}
	var rc Receipt
	return rc, true, json.Unmarshal([]byte(o.Answer), &rc)
}

// A Movement is one line of the ledger as the store keeps it.
type Movement struct {
	Seq      int64 `gorm:"primaryKey"`
	OpID     string
	Line     int
	At       Time
	ActorID  PersonID
	Device   string
	Act      ledger.Act
	ItemID   ItemID
	FromID   PlaceID
	ToID     PlaceID
	Qty      int64
	JobID    *JobID
	Reason   string
	Reverses *int64
	PrevHash string
	Hash     string
}

func (m Movement) pure() ledger.Movement {
	p := ledger.Movement{
		Seq: m.Seq, OpID: m.OpID, Line: m.Line, At: m.At.Time, Actor: int64(m.ActorID), Device: m.Device, Act: m.Act,
		Item: int64(m.ItemID), From: int64(m.FromID), To: int64(m.ToID), Qty: m.Qty, Reason: m.Reason, PrevHash: m.PrevHash, Hash: m.Hash,
	}
	if m.JobID != nil {
		p.Job = int64(*m.JobID)
	}
	if m.Reverses != nil {
		p.Reverses = *m.Reverses
	}
	return p
}

// An entry is a booking under way: it collects the movements and the answer of one op.
type entry struct {
	*Tx
	op      Op
	act     ledger.Act
	role    Role
	lines   int
	receipt Receipt
	due     Day
	note    string
	left    int64 // where the last movement took from an inside place
	fromJob JobID // whose lists what leaves people and machines is taken off first; 0: the movement's own
}

// op runs one act of a person once. body is what was asked, for the fingerprint: the same op
// id with the same body returns the stored answer, with another body ErrOpReused.
func (s *Store) op(ctx context.Context, o Op, act ledger.Act, body any, fn func(*entry) error) (Receipt, error) {
	if err := o.check(); err != nil {
		return Receipt{}, err
	}
	finger, err := fingerprint(o, act, body)
	if err != nil {
		return Receipt{}, err
	}
	var out Receipt
	err = s.book(ctx, func(tx *Tx) error {
		old, seen, err := tx.seenOp(o.ID)
		if err != nil {
			return err
		}
		if seen {
			if old.Fingerprint != finger {
				return refuse(ErrOpReused, "op_id", "op %s was used for something else already; nothing was booked. Make a new op id", o.ID)
			}
			out = Receipt{}
			if err := json.Unmarshal([]byte(old.Answer), &out); err != nil {
				return err
			}
			out.Replayed = true
			return nil
		}
		role, err := tx.roleOf(o.Actor)
		if err != nil {
			return err
		}
		if !May(role, act) {
			return refuse(ErrForbidden, "act", "%s may not %s", role.withArticle(), act)
		}
		e := &entry{Tx: tx, op: o, act: act, role: role}
		e.receipt = Receipt{OpID: o.ID, Act: act, At: tx.now.Time, Lines: []ReceiptLine{}}
		if err := fn(e); err != nil {
			return err
		}
		answer, err := json.Marshal(e.receipt)
		if err != nil {
			return err
		}
		out = e.receipt
		_, err = tx.run(sqlAddOp, o.ID, string(act), finger, int64(o.Actor), string(role), e.lines, string(answer), tx.now)
		return err
	})
	return out, err
}

func fingerprint(o Op, act ledger.Act, body any) (string, error) {
	b, err := json.Marshal(struct {
		Actor PersonID
		Act   ledger.Act
		Body  any
	}{o.Actor, act, body})
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:]), nil
}

func (tx *Tx) seenOp(id string) (opRow, bool, error) {
	var o opRow
	ok, err := tx.find(sqlSeenOp, []any{id}, &o.OpID, &o.Act, &o.Fingerprint, &o.ActorID, &o.Role, &o.Lines, &o.Answer, &o.At)
	return o, ok, err
}

// end reads and, on PostgreSQL, locks the end of the ledger: whoever holds it is the only
// one that may add to it.
func (tx *Tx) end() error {
	if tx.head != nil {
		return nil
	}
	var h struct {
		Seq  int64
		Hash string
		At   Time
	}
	if ok, err := tx.find(sqlEnd, nil, &h.Seq, &h.Hash, &h.At); err != nil {
		return err
	} else if !ok {
		return fmt.Errorf("%w: the row that holds the end of the ledger is gone", ErrDamaged)
	}
	tx.head = &ledger.Movement{Seq: h.Seq, Hash: h.Hash, At: h.At.Time}
	return nil
}

// move books one movement: the two balances, who holds it, and the line itself. Not enough
// in an inside place is a *ledger.Short and ends the op.
func (e *entry) move(m ledger.Movement) (ledger.Movement, error) {
	if m.Act == "" {
		m.Act = e.act
	}
	var err error
	if m.Reason, err = remark("reason", m.Reason); err != nil {
		return m, err
	}
	if err := m.Check(); err != nil {
		return m, fmt.Errorf("%w: %w", ErrBadInput, err)
	}
	if err := e.end(); err != nil {
		return m, err
	}
	from, err := e.place(PlaceID(m.From))
	if err != nil {
		return m, err
	}
	to, err := e.place(PlaceID(m.To))
	if err != nil {
		return m, err
	}
	if !to.RetiredAt.IsZero() {
		return m, refuse(ErrRetired, "place", "%s is out of use since %s; choose another place, or take it into use again first", to.Code, DayOf(to.RetiredAt.Time))
	}
	if err := e.balance(m, from); err != nil {
		return m, err
	}
	e.lines++
	m.OpID, m.Line, m.Actor, m.Device = e.op.ID, e.lines, int64(e.op.Actor), e.op.Device
	m.Seq, m.PrevHash, m.At = e.head.Seq+1, e.head.Hash, e.now.Time
	if m.At.Before(e.head.At) { // the clock went back: the ledger does not, and says so
		if err := e.exec("INSERT INTO clock_steps (seq, seen, used) VALUES (?,?,?)", m.Seq, e.now, At(e.head.At)); err != nil {
			return m, err
		}
		m.At = e.head.At
	}
	m.Hash = m.Sum()
	if _, err := e.run(sqlMove, m.Seq, m.OpID, m.Line, At(m.At), m.Actor, m.Device, string(m.Act), m.Item, m.From, m.To, m.Qty,
		null(m.Job), m.Reason, null(m.Reverses), m.PrevHash, m.Hash); err != nil {
		return m, err
	}
	head := m
	e.head, e.grown = &head, true
	if from.Kind.Holds() {
		if err := e.release(m); err != nil {
			return m, err
		}
	}
	if to.Kind.Holds() {
		if err := e.hold(m, to); err != nil {
			return m, err
		}
	}
	item := ItemID(m.Item)
	e.after = append(e.after, func() { e.s.shelf.touch(item) })
	return m, nil
}

// balance moves the quantity in the stock table. The condition stands in the UPDATE, so two
// windows can not hand out the last piece.
func (e *entry) balance(m ledger.Movement, from Place) error {
	if from.Outside && from.Kind != Regrind { // from the grinder comes back only what went there
		if _, err := e.run(sqlPut, m.Item, m.From, -m.Qty); err != nil {
			return err
		}
	} else {
		ok, err := e.find(sqlTake, []any{m.Qty, m.Item, m.From, m.Qty}, &e.left)
		if err != nil {
			return err
		}
		if !ok {
			there, err := e.onHand(ItemID(m.Item), PlaceID(m.From))
			if err != nil {
				return err
			}
			return e.short(ItemID(m.Item), from, m.Qty, there)
		}
	}
	_, err := e.run(sqlPut, m.Item, m.To, m.Qty)
	return err
}

func (tx *Tx) onHand(item ItemID, place PlaceID) (int64, error) {
	var n int64
	err := tx.Raw("SELECT qty FROM stock WHERE item_id = ? AND place_id = ?", item, place).Scan(&n).Error
	return n, err
}

func (tx *Tx) short(item ItemID, from Place, asked, there int64) error {
	tag, part := tx.names(item)
	return &Refusal{
		Class: fmt.Errorf("%w: %w", ErrShort, &ledger.Short{Item: int64(item), Place: int64(from.ID), Asked: asked, There: there}),
		Field: "qty",
		Says:  fmt.Sprintf("%s %s in %s: %d asked, %d there; take fewer, or count the place", part, tag, from.Code, asked, there),
	}
}

func (tx *Tx) names(item ItemID) (tag, part string) {
	var n struct{ Tag, Code string }
	tx.Raw("SELECT i.tag, p.code FROM items i JOIN parts p ON p.id = i.part_id WHERE i.id = ?", item).Scan(&n)
	return n.Tag, n.Code
}

// hold notes who has it. A transfer from hand to hand holds anew; what a reversal brings back is
// on the list it was on.
func (e *entry) hold(m ledger.Movement, to Place) error {
	if back, err := e.putBack(m); err != nil || back {
		return err
	}
	var person any
	if to.Kind == PersonAt {
		who := e.s.places.handsOf(to.ID)
		if who == 0 {
			var id int64
			if ok, err := e.find(sqlOwner, []any{int64(to.ID)}, &id); err != nil {
				return err
			} else if !ok {
				return fmt.Errorf("%w: place %s is nobody's hands", ErrDamaged, to.Code)
			}
			who = PersonID(id)
			e.after = append(e.after, func() { e.s.places.setHands(to.ID, who) })
		}
		person = int64(who)
	} else if m.Act == ledger.Issue {
		person = int64(e.op.Actor)
	}
	_, err := e.run(sqlHold, m.Seq, m.Item, m.To, person, null(m.Job), m.Qty, At(m.At), string(e.due), e.note)
	return err
}

// release takes what left a person or a machine off the lists there: a reversal off the list it
// takes back, else off those of the movement's own job, the oldest first.
func (e *entry) release(m ledger.Movement) error {
	var open []struct{ Seq, Qty int64 }
	if err := e.Raw(`SELECT seq, qty FROM holdings WHERE item_id = ? AND place_id = ? AND qty > 0
		ORDER BY CASE WHEN seq = ? THEN 0 WHEN job_id = ? THEN 1 ELSE 2 END, seq`, m.Item, m.From, m.Reverses, cmp.Or(int64(e.fromJob), m.Job)).Scan(&open).Error; err != nil {
		return err
	}
	left := m.Qty
	for _, h := range open {
		if left == 0 {
			break
		}
		n := min(left, h.Qty)
		if err := e.exec("UPDATE holdings SET qty = qty - ? WHERE seq = ?", n, h.Seq); err != nil {
			return err
		}
		if m.Reverses == 0 {
			if _, err := e.run(sqlChanged, m.OpID, m.Line, string(chTakenOff), h.Seq, strconv.FormatInt(n, 10), ""); err != nil {
				return err
			}
		}
		left -= n
	}
	if left != 0 {
		return fmt.Errorf("%w: %d of item %d left place %d without anybody holding them", ErrDamaged, left, m.Item, m.From)
	}
	return nil
}

// null makes 0 a NULL.
func null(n int64) any {
	if n == 0 {
		return nil
	}
	return n
}
