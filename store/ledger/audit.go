package ledger

import (
	"fmt"
	"time"
)

// A Fault is one thing a check found wrong: which invariant, at which movement (0: none in
// particular), and what.
type Fault struct {
	Rule string // I1, I2 … of the package's invariants
	Seq  int64
	What string
}

func (f Fault) String() string {
	if f.Seq == 0 {
		return f.Rule + ": " + f.What
	}
	return fmt.Sprintf("%s at movement %d: %s", f.Rule, f.Seq, f.What)
}

// An Auditor reads the whole ledger in seq order and collects faults. Memory is one entry a
// cell, one an op and one a reversal, not one a movement.
//
// Invariants, by their short names:
//
//	I1 on hand is the sum in less the sum out      I2 over all places an item adds up to 0
//	I3 inside places never fall below 0            I4 a piece is in exactly one place
//	I6 an op is applied once, all its lines        I7 seq has no gap, the chain holds, time runs on
//	I9 a reversal mirrors one earlier movement     I13 the stock table equals a rebuild
type Auditor struct {
	places map[int64]Place
	single map[int64]bool // items that are one piece
	onHand map[Cell]int64
	where  map[int64]int64 // piece to place
	ops    map[string]*opSeen
	closed string // op the last movement belonged to
	undone map[int64]bool
	need   map[int64]Movement // reversed seq to its mirror, filled while reading
	steps  map[int64]bool     // seqs before which the clock may step back
	last   Movement
	faults []Fault
}

type opSeen struct{ lines, most int }

// maxFaults bounds what an audit of a ruined ledger collects.
const maxFaults = 1000

// NewAuditor starts an audit. single holds the items that are one piece each; steps holds
// the seqs at which a recorded clock step allows time to go back.
func NewAuditor(places map[int64]Place, single, steps map[int64]bool) *Auditor {
	return &Auditor{
		places: places, single: single, steps: steps,
		onHand: map[Cell]int64{}, where: map[int64]int64{}, ops: map[string]*opSeen{},
		undone: map[int64]bool{}, need: map[int64]Movement{},
	}
}

func (a *Auditor) fault(rule string, seq int64, format string, args ...any) {
	if len(a.faults) < maxFaults {
		a.faults = append(a.faults, Fault{rule, seq, fmt.Sprintf(format, args...)})
	}
}

// Read takes the next movement. before returns an earlier movement by seq, for reversals.
func (a *Auditor) Read(m Movement, before func(seq int64) (Movement, bool)) {
	if m.Seq != a.last.Seq+1 {
		a.fault("I7", m.Seq, "follows %d, so movements are missing or out of order", a.last.Seq)
	}
	if m.PrevHash != a.last.Hash {
		a.fault("I7", m.Seq, "does not name the hash of the movement before it")
	}
	if got := m.Sum(); got != m.Hash {
		a.fault("I7", m.Seq, "its hash does not match its content: the row was changed after it was booked")
	}
	if m.At.Before(a.last.At) && !a.steps[m.Seq] {
		a.fault("I7", m.Seq, "is dated %s, before the one ahead of it", m.At.UTC().Format(time.RFC3339))
	}
	if err := m.Check(); err != nil {
		a.fault("I1", m.Seq, "%v", err)
	}
	a.op(m)
	a.reversal(m, before)
	from, to := Cell{m.Item, m.From}, Cell{m.Item, m.To}
	a.onHand[from] -= m.Qty
	a.onHand[to] += m.Qty
	if !a.places[m.From].Outside && a.onHand[from] < 0 {
		a.fault("I3", m.Seq, "leaves %d of item %d in place %d", a.onHand[from], m.Item, m.From)
	}
	if a.single[m.Item] {
		if m.Qty != 1 {
			a.fault("I4", m.Seq, "moves %d of a single piece", m.Qty)
		}
		if at, ok := a.where[m.Item]; ok && at != m.From {
			a.fault("I4", m.Seq, "takes piece %d from place %d, but it was in %d", m.Item, m.From, at)
		}
		a.where[m.Item] = m.To
	}
	a.last = m
}

func (a *Auditor) op(m Movement) {
	o := a.ops[m.OpID]
	if o == nil {
		o = &opSeen{}
		a.ops[m.OpID] = o
	} else if a.closed != m.OpID {
		a.fault("I6", m.Seq, "op %s was applied before", m.OpID)
	}
	o.lines++
	o.most = max(o.most, m.Line)
	if m.Line != o.lines {
		a.fault("I6", m.Seq, "is line %d of op %s, %d expected", m.Line, m.OpID, o.lines)
	}
	a.closed = m.OpID
}

func (a *Auditor) reversal(m Movement, before func(int64) (Movement, bool)) {
	if m.Reverses == 0 {
		return
	}
	if a.undone[m.Reverses] {
		a.fault("I9", m.Seq, "reverses movement %d a second time", m.Reverses)
	}
	a.undone[m.Reverses] = true
	old, ok := before(m.Reverses)
	if !ok || m.Reverses >= m.Seq {
		a.fault("I9", m.Seq, "reverses movement %d, which is not an earlier one", m.Reverses)
		return
	}
	if w := old.Mirror(); w.Item != m.Item || w.From != m.From || w.To != m.To || w.Qty != m.Qty || old.Act == Reverse {
		a.fault("I9", m.Seq, "does not mirror movement %d", m.Reverses)
	}
}

// Close compares what the movements add up to with the stock table, the lines each op says
// it has, and the recorded head, and returns every fault found. It adds I2 by arithmetic:
// a rebuild that is balanced can only disagree with an unbalanced table.
func (a *Auditor) Close(stock map[Cell]int64, opLines map[string]int, head Movement) []Fault {
	for c, n := range stock {
		if n != a.onHand[c] {
			a.fault("I13", 0, "the stock table says %d of item %d in place %d, the ledger adds up to %d", n, c.Item, c.Place, a.onHand[c])
		}
	}
	for c, n := range a.onHand {
		if _, ok := stock[c]; !ok && n != 0 {
			a.fault("I13", 0, "the stock table has no row for item %d in place %d, the ledger adds up to %d", c.Item, c.Place, n)
		}
	}
	sum := map[int64]int64{}
	for c, n := range stock {
		sum[c.Item] += n
	}
	for item, n := range sum {
		if n != 0 {
			a.fault("I2", 0, "over all places item %d adds up to %d instead of 0", item, n)
		}
	}
	for op, lines := range opLines {
		have := 0
		if o := a.ops[op]; o != nil {
			have = o.lines
		}
		if have != lines {
			a.fault("I6", 0, "op %s says it has %d lines, the ledger has %d", op, lines, have)
		}
	}
	for op := range a.ops {
		if _, ok := opLines[op]; !ok {
			a.fault("I6", 0, "op %s has movements but no op row", op)
		}
	}
	if head.Seq != a.last.Seq || head.Hash != a.last.Hash {
		a.fault("I7", 0, "the recorded end is movement %d, the ledger ends at %d: its end was cut off or added to", head.Seq, a.last.Seq)
	}
	return a.faults
}
