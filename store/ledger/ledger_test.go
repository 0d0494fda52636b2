package ledger

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var t0 = time.Date(2026, 3, 16, 8, 0, 0, 0, time.UTC)

func books() *Books {
	return NewBooks(map[int64]Place{1: {Outside: true}, 2: {}, 3: {}, 4: {Outside: true}})
}

func TestBook(t *testing.T) {
	b := books()
	if _, err := b.Book("op-1", t0, 7, "", []Movement{{Act: Receive, Item: 1, From: 1, To: 2, Qty: 5}}); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		m    Movement
		want error
	}{
		{"more than there", Movement{Act: Issue, Item: 1, From: 2, To: 3, Qty: 6}, ErrShort},
		{"nothing", Movement{Act: Issue, Item: 1, From: 2, To: 3, Qty: 0}, ErrBadLine},
		{"nowhere", Movement{Act: Issue, Item: 1, From: 2, To: 2, Qty: 1}, ErrBadLine},
		{"unknown act", Movement{Act: "lend", Item: 1, From: 2, To: 3, Qty: 1}, ErrBadLine},
		{"reversal of nothing", Movement{Act: Reverse, Item: 1, From: 2, To: 3, Qty: 1}, ErrBadLine},
		{"reversal that does not mirror", Movement{Act: Reverse, Item: 1, From: 2, To: 1, Qty: 4, Reverses: 1}, ErrNoReverse},
		{"reversal of what is not there", Movement{Act: Reverse, Item: 1, From: 2, To: 1, Qty: 5, Reverses: 9}, ErrNoReverse},
	} {
		if _, err := b.Book("op-x", t0, 7, "", []Movement{tt.m}); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.want)
		}
	}
	if b.OnHand[Cell{1, 2}] != 5 || b.Count() != 1 {
		t.Error("a refused line changed the books")
	}
	if _, err := b.Book("op-2", t0, 7, "", []Movement{{Act: Reverse, Item: 1, From: 2, To: 1, Qty: 5, Reverses: 1}}); err != nil {
		t.Error(err)
	}
	if _, err := b.Book("op-2", t0, 7, "", []Movement{{Act: Receive, Item: 1, From: 1, To: 2, Qty: 5}}); !errors.Is(err, ErrOpReused) {
		t.Errorf("the same op id twice: %v, want ErrOpReused", err)
	}
}

// Every field counts in the hash: change any one and the chain is broken there.
func TestSumCoversEveryField(t *testing.T) {
	m := Movement{Seq: 2, OpID: "op", Line: 1, At: t0, Actor: 3, Device: "d", Act: Issue, Item: 4, From: 5, To: 6, Qty: 7, Job: 8, Reason: "r", Reverses: 0, PrevHash: "p"}
	for name, change := range map[string]func(*Movement){
		"seq": func(m *Movement) { m.Seq++ }, "op": func(m *Movement) { m.OpID += "x" }, "line": func(m *Movement) { m.Line++ },
		"at": func(m *Movement) { m.At = m.At.Add(time.Millisecond) }, "actor": func(m *Movement) { m.Actor++ },
		"device": func(m *Movement) { m.Device = "" }, "act": func(m *Movement) { m.Act = Return }, "item": func(m *Movement) { m.Item++ },
		"from": func(m *Movement) { m.From++ }, "to": func(m *Movement) { m.To++ }, "qty": func(m *Movement) { m.Qty++ },
		"job": func(m *Movement) { m.Job++ }, "reason": func(m *Movement) { m.Reason += " " }, "reverses": func(m *Movement) { m.Reverses++ },
		"prev": func(m *Movement) { m.PrevHash = "q" }, "border": func(m *Movement) { m.OpID, m.Device = "opd", "" },
	} {
		c := m
		change(&c)
		if c.Sum() == m.Sum() {
			t.Errorf("a changed %s leaves the hash the same", name)
		}
	}
}

// Whatever is booked, an item adds up to zero over all places, inside places never fall below
// zero, and an auditor who reads the movements finds nothing.
func TestInvariants(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := books()
		var all []Movement
		ops := map[string]int{}
		for i := range rapid.IntRange(1, 40).Draw(rt, "ops") {
			var lines []Movement
			for range rapid.IntRange(1, 3).Draw(rt, "lines") {
				lines = append(lines, Movement{
					Act: rapid.SampledFrom(Acts[:8]).Draw(rt, "act"), Item: rapid.Int64Range(1, 2).Draw(rt, "item"),
					From: rapid.Int64Range(1, 4).Draw(rt, "from"), To: rapid.Int64Range(1, 4).Draw(rt, "to"), Qty: rapid.Int64Range(0, 5).Draw(rt, "qty"),
				})
			}
			id := string(rune('a' + i))
			if got, err := b.Book(id, t0.Add(time.Duration(i)*time.Second), 7, "", lines); err == nil {
				all = append(all, got...)
				ops[id] = len(got)
			}
		}
		sum := map[int64]int64{}
		for c, n := range b.OnHand {
			sum[c.Item] += n
			if !b.Places[c.Place].Outside && n < 0 {
				rt.Fatalf("place %d holds %d of item %d", c.Place, n, c.Item)
			}
		}
		for item, n := range sum {
			if n != 0 {
				rt.Fatalf("item %d adds up to %d", item, n)
			}
		}
		if f := audit(b.Places, all, b.OnHand, ops, b.Head()); len(f) > 0 {
			rt.Fatalf("the auditor finds %v", f)
		}
		if len(all) == 0 {
			return
		}
		// and one change anywhere is found
		i := rapid.IntRange(0, len(all)-1).Draw(rt, "victim")
		bad := append([]Movement(nil), all...)
		switch rapid.IntRange(0, 2).Draw(rt, "how") {
		case 0:
			bad[i].Qty++
		case 1:
			bad = append(bad[:i], bad[i+1:]...)
		case 2:
			bad[i].At = bad[i].At.Add(-time.Hour)
			bad[i].Hash = bad[i].Sum()
		}
		if f := audit(b.Places, bad, b.OnHand, ops, b.Head()); len(f) == 0 {
			rt.Fatal("a changed ledger was found sound")
		}
	})
}

func audit(places map[int64]Place, all []Movement, stock map[Cell]int64, ops map[string]int, head Movement) []Fault {
	a := NewAuditor(places, nil, nil)
	for _, m := range all {
		a.Read(m, func(seq int64) (Movement, bool) {
			for _, o := range all {
				if o.Seq == seq {
					return o, true
				}
			}
			return Movement{}, false
		})
	}
	return a.Close(stock, ops, head)
}
