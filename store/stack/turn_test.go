package stack

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
)

// A check with items beside the shelf is that of a shelf which has them, and leaves the shelf as
// it was.
func TestCheckWithIsALoan(t *testing.T) {
	told := func(v Verdict, err error) string {
		b, jerr := json.Marshal(v.Answer("x"))
		if err != nil || jerr != nil {
			t.Fatal(err, jerr)
		}
		return string(b)
	}
	changed, yes := 0, 0
	for i := range twinTrials(t) / 20 {
		m := &maker{Rand: rand.New(rand.NewPCG(31, uint64(i)))}
		r, items := m.request(), m.shelf()
		var catalogue []*Part
		for _, it := range items {
			catalogue = append(catalogue, it.Part)
		}
		var loan []Item
		for range 1 + m.IntN(4) {
			it := items[m.IntN(len(items))] // one that lies there otherwise, or a further one
			it.Status, it.Qty, it.Out = In, 1+m.IntN(3), nil
			it.Reserved = []Reservation{{Job: r.Job, From: "1900-01-01", To: Forever}}
			if m.IntN(2) == 0 {
				it.ID += "@K"
			}
			loan = append(loan, it)
		}
		s, err := NewShelf(items, catalogue)
		if err != nil {
			t.Fatal(err)
		}
		own, err := NewShelf(items, catalogue)
		if err != nil {
			t.Fatal(err)
		}
		for _, it := range loan {
			if err := own.Put(it); err != nil {
				t.Fatal(err)
			}
		}
		turn, before := s.Turn(), told(s.Check(r))
		got, want := told(s.CheckWith(r, loan)), told(own.Check(r))
		if got != want {
			t.Fatalf("trial %d: with a loan\n%s\non a shelf that has it\n%s", i, got, want)
		}
		if after := told(s.Check(r)); after != before || s.Turn() != turn {
			t.Fatalf("trial %d: the shelf has changed: before\n%s\nafter\n%s", i, before, after)
		}
		if _, err := s.CheckWith(r, []Item{{ID: "x"}}); err == nil {
			t.Fatal("an item without a part was taken")
		}
		if got != before {
			changed++
		}
		if v, _ := own.Check(r); v.Buildable {
			yes++
		}
	}
	if changed == 0 || yes == 0 {
		t.Errorf("%d verdicts changed by a loan, %d buildable with it: the test proves nothing", changed, yes)
	}
}

// Whatever changes a shelf or its catalogue turns it, and no two shelves are ever at one turn.
func TestTurn(t *testing.T) {
	m := &maker{Rand: rand.New(rand.NewPCG(32, 1))}
	items := m.shelf()
	s, err := NewShelf(items, nil)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[uint64]bool{s.Turn(): true}
	for name, act := range map[string]func() error{
		"put": func() error { return s.Put(items[0]) }, "remove": func() error { s.Remove(items[0].ID); return nil },
		"add a part": func() error { return s.AddPart(items[1].Part) }, "drop a part": func() error { s.DropPart(items[1].Part.Code); return nil },
		"make another": func() error { s, err = NewShelf(items, nil); return err },
	} {
		if err := act(); err != nil {
			t.Fatal(name, err)
		}
		if seen[s.Turn()] {
			t.Errorf("%s: at the turn of before", name)
		}
		seen[s.Turn()] = true
	}
}
