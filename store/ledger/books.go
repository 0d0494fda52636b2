package ledger

import (
	"fmt"
	"time"
)

// A Cell is an item in a place.
type Cell struct{ Item, Place int64 }

// Books is what stands where after a run of movements: the plain model of the store. The
// zero value is not usable; see NewBooks.
type Books struct {
	Places   map[int64]Place
	OnHand   map[Cell]int64
	Ops      map[string]int // op id to number of lines
	reversed map[int64]bool
	moves    map[int64]Movement
	head     Movement
	count    int64
}

// NewBooks returns empty books over the given places.
func NewBooks(places map[int64]Place) *Books {
	return &Books{
		Places: places, OnHand: map[Cell]int64{}, Ops: map[string]int{},
		reversed: map[int64]bool{}, moves: map[int64]Movement{},
	}
}

// Head is the last movement booked, the zero Movement when there is none.
func (b *Books) Head() Movement { return b.head }

// Count is the number of movements booked.
func (b *Books) Count() int64 { return b.count }

// Book applies the lines of one op, all or none, and returns them as booked with seq, hash
// and line numbers. An op id seen before with lines changes nothing and returns
// (nil, ErrOpReused): whether it is the same content is for the caller, who has the answer.
func (b *Books) Book(opID string, at time.Time, actor int64, device string, lines []Movement) ([]Movement, error) {
	if _, seen := b.Ops[opID]; seen {
		return nil, ErrOpReused
	}
	change := map[Cell]int64{}
	mirrored := map[int64]bool{}
	out := make([]Movement, 0, len(lines))
	prev := b.head
	for i, m := range lines {
		if err := m.Check(); err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
		if m.Act == Reverse {
			if err := b.mayReverse(m, mirrored); err != nil {
				return nil, fmt.Errorf("line %d: %w", i+1, err)
			}
			mirrored[m.Reverses] = true
		}
		from := Cell{m.Item, m.From}
		have := b.OnHand[from] + change[from]
		if !b.Places[m.From].Outside && have < m.Qty {
			return nil, fmt.Errorf("line %d: %w", i+1, &Short{Item: m.Item, Place: m.From, Asked: m.Qty, There: have})
		}
		change[from] -= m.Qty
		change[Cell{m.Item, m.To}] += m.Qty
		m.OpID, m.Line, m.At, m.Actor, m.Device = opID, i+1, at, actor, device
		m.Seq, m.PrevHash = prev.Seq+1, prev.Hash
		m.Hash = m.Sum()
		out = append(out, m)
		prev = m
	}
	for c, d := range change {
		b.OnHand[c] += d
	}
	for _, m := range out {
		b.moves[m.Seq] = m
	}
	for s := range mirrored {
		b.reversed[s] = true
	}
	b.Ops[opID] = len(out)
	b.head = prev
	b.count += int64(len(out))
	return out, nil
}

func (b *Books) mayReverse(m Movement, now map[int64]bool) error {
	old, ok := b.moves[m.Reverses]
	switch {
	case !ok:
		return fmt.Errorf("%w: movement %d does not exist", ErrNoReverse, m.Reverses)
	case old.Act == Reverse:
		return fmt.Errorf("%w: movement %d is itself a reversal; book the act again instead", ErrNoReverse, m.Reverses)
	case b.reversed[m.Reverses] || now[m.Reverses]:
		return fmt.Errorf("movement %d: %w", m.Reverses, ErrReversed)
	}
	w := old.Mirror()
	if w.Item != m.Item || w.From != m.From || w.To != m.To || w.Qty != m.Qty {
		return fmt.Errorf("%w: it does not mirror movement %d", ErrNoReverse, m.Reverses)
	}
	return nil
}
