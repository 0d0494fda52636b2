// Package ledger is the arithmetic of the crib: what a movement is, which movements may be
// booked, what stands where after them, and how a chain of hashes shows that nobody changed
// one afterwards. It is pure: it knows no database and no clock, so the same rules serve the
// store, the check of a backup and the model that the tests compare the store with.
//
// Every movement takes a quantity of one item from one place to another. Outside places
// (supplier, scrap, regrind, use, adjust) are places too, so each movement is a double
// entry: over all places the balances of an item always add up to zero. Nothing is ever
// changed or deleted; a mistake is mended by a reversal, a second movement that mirrors it.
package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"time"
)

// An Act is what a person did.
type Act string

// The acts at the window.
const (
	Issue    Act = "issue"    // shelf to person or station
	Return   Act = "return"   // back to the shelf, to inspection, or to a part-used lot
	Receive  Act = "receive"  // from a supplier
	Transfer Act = "transfer" // between inside places, or out to the grinder and back
	Count    Act = "count"    // the difference a count found, to or from adjust
	Adjust   Act = "adjust"   // a correction with a reason, to or from adjust
	Scrap    Act = "scrap"    // thrown away with a reason
	Use      Act = "use"      // edges used up: an insert turns into one with fewer edges
	Reverse  Act = "reverse"  // the mirror of an earlier movement
)

// Acts is every act, in the order above.
var Acts = []Act{Issue, Return, Receive, Transfer, Count, Adjust, Scrap, Use, Reverse}

// Known says whether a is one of Acts.
func (a Act) Known() bool {
	for _, b := range Acts {
		if a == b {
			return true
		}
	}
	return false
}

// A Movement is one line of the ledger. From and To are always both set and differ; Qty is
// pieces, > 0. Reverses is the seq of the movement this one mirrors, or 0.
type Movement struct {
	Seq      int64
	OpID     string
	Line     int // from 1, within the op
	At       time.Time
	Actor    int64
	Device   string
	Act      Act
	Item     int64
	From, To int64
	Qty      int64
	Job      int64 // 0: none
	Reason   string
	Reverses int64
	PrevHash string // hex, of the movement before; empty for the first
	Hash     string // hex
}

// Sum returns the chain hash of m: SHA-256 over the hash before it and every field of m but
// Hash itself, each with its length in front so that no two rows share a spelling. Times
// count in whole milliseconds UTC.
func (m Movement) Sum() string {
	h := sha256.New()
	var n [8]byte
	num := func(v int64) {
		binary.BigEndian.PutUint64(n[:], uint64(v))
		h.Write(n[:])
	}
	text := func(s string) {
		num(int64(len(s)))
		h.Write([]byte(s))
	}
	text(m.PrevHash)
	num(m.Seq)
	text(m.OpID)
	num(int64(m.Line))
	num(m.At.UnixMilli())
	num(m.Actor)
	text(m.Device)
	text(string(m.Act))
	num(m.Item)
	num(m.From)
	num(m.To)
	num(m.Qty)
	num(m.Job)
	text(m.Reason)
	num(m.Reverses)
	return hex.EncodeToString(h.Sum(nil))
}

// Mirror returns the reversal of m: the same quantity of the same item the other way.
// Seq, OpID, Line, At, Actor, Device and the hashes are left for the caller to fill.
func (m Movement) Mirror() Movement {
	return Movement{Act: Reverse, Item: m.Item, From: m.To, To: m.From, Qty: m.Qty, Job: m.Job, Reverses: m.Seq}
}

// A Place is what the ledger must know of one: whether it is inside the shop, where a
// balance may not fall below zero, or outside, where it may.
type Place struct {
	Outside bool
}

// Classes of refusal. A caller acts on these with errors.Is.
var (
	ErrShort     = errors.New("not enough there")
	ErrBadLine   = errors.New("the line is not a movement")
	ErrReversed  = errors.New("already reversed")
	ErrBroken    = errors.New("the ledger does not hold together")
	ErrOpReused  = errors.New("the same op id with other content")
	ErrNoReverse = errors.New("this movement can not be reversed")
)

// A Short is a wish for more than a place holds. It is an ErrShort.
type Short struct {
	Item, Place  int64
	Asked, There int64
}

func (e *Short) Error() string {
	return fmt.Sprintf("item %d in place %d: %d asked, %d there", e.Item, e.Place, e.Asked, e.There)
}

// Unwrap makes a Short an ErrShort.
func (e *Short) Unwrap() error { return ErrShort }

// Check refuses a line that is no movement at all, whatever stands where: an ErrBadLine that
// names the field.
func (m Movement) Check() error {
	switch {
	case !m.Act.Known():
		return fmt.Errorf("%w: act %q is not known", ErrBadLine, m.Act)
	case m.Item <= 0:
		return fmt.Errorf("%w: item is missing", ErrBadLine)
	case m.From <= 0 || m.To <= 0:
		return fmt.Errorf("%w: from and to must both be given", ErrBadLine)
	case m.From == m.To:
		return fmt.Errorf("%w: from and to are the same place", ErrBadLine)
	case m.Qty <= 0:
		return fmt.Errorf("%w: quantity %d; give a whole number above 0", ErrBadLine, m.Qty)
	case (m.Act == Reverse) != (m.Reverses != 0):
		return fmt.Errorf("%w: a reversal, and only a reversal, names the movement it mirrors", ErrBadLine)
	}
	return nil
}
