package store

import (
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"brasspeg/store/ledger"
)

// TestModel holds the store against ledger.Books, the plain model: random acts, repeats of
// earlier ones, reversals and restarts; after each run the balances are equal cell by cell
// and verify finds nothing.
func TestModel(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bins := []PlaceID{s.bin("A1"), s.bin("A2")}
		var items []Item
		for i := range 3 {
			items = append(items, s.receive(s.insert(fmt.Sprintf("INS-%d", i), 0), 20, bins[i%2])...)
		}
		items = append(items, s.receive(s.sleeve("SLV-1"), 2, bins[0])...)
		places := map[int64]ledger.Place{}
		for id, p := range s.places.byID {
			places[int64(id)] = ledger.Place{Outside: p.Outside}
		}
		rapid.Check(t, func(rt *rapid.T) {
			m := &model{s: s, bins: bins, items: items, books: replay(rt, s, places)}
			rt.Repeat(map[string]func(*rapid.T){
				"issue": m.issue, "return": m.giveBack, "transfer": m.transfer, "count": m.count, "adjust": m.adjust,
				"reverse": m.reverse, "repeat": m.repeat, "restart": m.restart, "": m.agree,
			})
		})
		s.sound()
	})
}

// replay rebuilds the model from the ledger as it stands, as a restored backup would.
func replay(t *rapid.T, s *shop, places map[int64]ledger.Place) *ledger.Books {
	b := ledger.NewBooks(places)
	var all []Movement
	if err := s.read.Order("seq").Find(&all).Error; err != nil {
		t.Fatal(err)
	}
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].OpID == all[0].OpID {
			n++
		}
		var lines []ledger.Movement
		for _, m := range all[:n] {
			p := m.pure()
			lines = append(lines, ledger.Movement{Act: p.Act, Item: p.Item, From: p.From, To: p.To, Qty: p.Qty, Job: p.Job, Reason: p.Reason, Reverses: p.Reverses})
		}
		first := all[0].pure()
		if _, err := b.Book(first.OpID, first.At, first.Actor, first.Device, lines); err != nil {
			t.Fatalf("the model refuses what the store booked, op %s: %v", first.OpID, err)
		}
		all = all[n:]
	}
	return b
}

type model struct {
	s     *shop
	bins  []PlaceID
	items []Item
	books *ledger.Books
	done  []func() (Receipt, error) // booked ops, to be sent again
	ids   []string
}

// same books on the model what the store says it booked, and checks that both agree on
// whether it may be.
func (m *model) same(t *rapid.T, act ledger.Act, want []ledger.Movement, do func(Op) (Receipt, error), ids ...Op) {
	o := op(m.s.gate)
	r, err := do(o)
	_, merr := m.books.Book(o.ID, m.s.Now(), int64(m.s.gate.ID), "test", want)
	if (err == nil) != (merr == nil) {
		t.Fatalf("%s: the store says %v, the model %v", act, err, merr)
	}
	if err == nil {
		if len(r.Lines) != len(want) {
			t.Fatalf("%s booked %d lines, want %d", act, len(r.Lines), len(want))
		}
		m.done, m.ids = append(m.done, func() (Receipt, error) { return do(o) }), append(m.ids, o.ID)
	}
}

func (m *model) item(t *rapid.T) Item { return rapid.SampledFrom(m.items).Draw(t, "item") }

func (m *model) qty(t *rapid.T, it Item) int64 {
	if it.Kind == KindPiece {
		return 1
	}
	return rapid.Int64Range(1, 25).Draw(t, "qty")
}

func (m *model) has(it Item, p PlaceID) int64 {
	return m.books.OnHand[ledger.Cell{Item: int64(it.ID), Place: int64(p)}]
}

func line(act ledger.Act, it Item, from, to PlaceID, qty int64) ledger.Movement {
	return ledger.Movement{Act: act, Item: int64(it.ID), From: int64(from), To: int64(to), Qty: qty}
}

func (m *model) issue(t *rapid.T) {
	it, from := m.item(t), rapid.SampledFrom(m.bins).Draw(t, "from")
	q := m.qty(t, it)
	m.same(t, ledger.Issue, []ledger.Movement{line(ledger.Issue, it, from, m.s.op1.PlaceID, q)}, func(o Op) (Receipt, error) {
		return m.s.Issue(ctx, o, IssueIn{Picks: []Pick{{Item: it.ID, Place: from, Qty: q}}, To: m.s.op1.PlaceID})
	})
}

func (m *model) giveBack(t *rapid.T) {
	it, to := m.item(t), rapid.SampledFrom(m.bins).Draw(t, "to")
	q := m.qty(t, it)
	m.same(t, ledger.Return, []ledger.Movement{line(ledger.Return, it, m.s.op1.PlaceID, to, q)}, func(o Op) (Receipt, error) {
		return m.s.Return(ctx, o, ReturnIn{Picks: []Pick{{Item: it.ID, Place: m.s.op1.PlaceID, Qty: q}}, To: to})
	})
}

func (m *model) transfer(t *rapid.T) {
	it, from, to := m.item(t), rapid.SampledFrom(m.bins).Draw(t, "from"), rapid.SampledFrom(m.bins).Draw(t, "to")
	q := m.qty(t, it)
	m.same(t, ledger.Transfer, []ledger.Movement{line(ledger.Transfer, it, from, to, q)}, func(o Op) (Receipt, error) {
		return m.s.Transfer(ctx, o, TransferIn{Picks: []Pick{{Item: it.ID, Place: from, Qty: q}}, To: to})
	})
}

func (m *model) count(t *rapid.T) {
	it, at := m.item(t), rapid.SampledFrom(m.bins).Draw(t, "at")
	if it.Kind == KindPiece {
		return // where a piece may be found is a rule of its own, tested apart
	}
	found := rapid.Int64Range(0, 40).Draw(t, "found")
	adjust := m.s.places.code(CodeAdjust)
	var want []ledger.Movement
	switch d := m.has(it, at) - found; {
	case d > 0:
		want = append(want, line(ledger.Count, it, at, adjust, d))
	case d < 0:
		want = append(want, line(ledger.Count, it, adjust, at, -d))
	}
	m.same(t, ledger.Count, want, func(o Op) (Receipt, error) {
		return m.s.Count(ctx, o, []CountIn{{Item: it.ID, Place: at, Found: found}})
	})
}

func (m *model) adjust(t *rapid.T) {
	it, at := m.items[0], rapid.SampledFrom(m.bins).Draw(t, "at")
	d := rapid.Int64Range(-10, 10).Filter(func(n int64) bool { return n != 0 }).Draw(t, "delta")
	want := line(ledger.Adjust, it, m.s.places.code(CodeAdjust), at, d)
	if d < 0 {
		want = line(ledger.Adjust, it, at, m.s.places.code(CodeAdjust), -d)
	}
	m.same(t, ledger.Adjust, []ledger.Movement{want}, func(o Op) (Receipt, error) {
		return m.s.Adjust(ctx, o, AdjustIn{Item: it.ID, Place: at, Delta: d, Reason: "test"})
	})
}

func (m *model) reverse(t *rapid.T) {
	if len(m.ids) == 0 {
		return
	}
	id := rapid.SampledFrom(m.ids).Draw(t, "op")
	var lines []Movement
	if err := m.s.read.Where("op_id = ?", id).Order("line DESC").Find(&lines).Error; err != nil {
		t.Fatal(err)
	}
	var want []ledger.Movement
	for _, l := range lines {
		if l.Act == ledger.Reverse {
			return
		}
		want = append(want, l.pure().Mirror())
	}
	if len(want) == 0 {
		return
	}
	m.same(t, ledger.Reverse, want, func(o Op) (Receipt, error) { return m.s.Reverse(ctx, o, id, "test") })
}

// repeat sends an op again: the answer is the stored one and nothing moves.
func (m *model) repeat(t *rapid.T) {
	if len(m.done) == 0 {
		return
	}
	r, err := rapid.SampledFrom(m.done).Draw(t, "again")()
	if err != nil || !r.Replayed {
		t.Fatalf("a repeat: replayed %v, %v", r.Replayed, err)
	}
}

func (m *model) restart(t *rapid.T) {
	if rapid.IntRange(0, 9).Draw(t, "restart") == 0 {
		m.s.restart()
	}
}

func (m *model) agree(t *rapid.T) {
	stock, err := stockTable(m.s.read)
	if err != nil {
		t.Fatal(err)
	}
	for c, n := range m.books.OnHand {
		if stock[c] != n {
			t.Fatalf("item %d in place %d: the model has %d, the store %d", c.Item, c.Place, n, stock[c])
		}
	}
	for c, n := range stock {
		if m.books.OnHand[c] != n {
			t.Fatalf("item %d in place %d: the store has %d, the model none", c.Item, c.Place, n)
		}
	}
}

// Verify must find damage of each kind; the triggers are taken away first, as somebody who
// edits the file by hand would.
func TestVerifyFindsDamage(t *testing.T) {
	for _, tt := range []struct{ rule, sql string }{
		{"I7", "UPDATE movements SET qty = qty + 1 WHERE seq = 2"},
		{"I7", "DELETE FROM movements WHERE seq = 2"},
		{"I7", "DELETE FROM movements WHERE seq = (SELECT max(seq) FROM movements)"},
		{"I7", "UPDATE movements SET actor_id = 1 WHERE seq = 3"},
		{"I13", "UPDATE stock SET qty = qty + 5 WHERE qty > 3"},
		{"I2", "UPDATE stock SET qty = qty + 5 WHERE qty > 3"},
		{"I10", "UPDATE holdings SET qty = qty + 1"},
		{"I6", "DELETE FROM ops WHERE op_id = (SELECT op_id FROM movements WHERE seq = 2)"},
		{"I14", "UPDATE ops SET role = 'admin' WHERE op_id = (SELECT op_id FROM movements WHERE seq = 2)"},
	} {
		s := newShop(t, false)
		bin := s.bin("A1")
		it := s.receive(s.insert("INS-1", 2), 10, bin)[0]
		for range 3 {
			_, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Qty: 1}}, To: s.op1.PlaceID})
			s.must(err)
		}
		s.sound()
		for _, q := range []string{"PRAGMA foreign_keys = off", "DROP TRIGGER movements_keep", "DROP TRIGGER movements_stay", "DROP TRIGGER ops_keep", "DROP TRIGGER ops_stay", tt.sql} {
			s.must(s.write.Exec(q).Error)
		}
		rep, err := s.Verify(ctx)
		s.must(err)
		found := false
		for _, f := range rep.Faults {
			found = found || f.Rule == tt.rule
		}
		if !found {
			t.Errorf("%s: verify found %v, want a fault of %s", tt.sql, rep.Faults, tt.rule)
		}
		s.Close()
	}
}

// The triggers keep the ledger on both engines.
func TestAppendOnly(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		s.receive(s.insert("INS-1", 2), 10, s.bin("A1"))
		for _, q := range []string{
			"UPDATE movements SET qty = 99", "DELETE FROM movements", "UPDATE ops SET answer = ''", "DELETE FROM ops",
			"UPDATE audit SET detail = ''", "DELETE FROM audit",
		} {
			if err := s.write.Exec(q).Error; err == nil {
				t.Errorf("%s was let through", q)
			}
		}
	})
}

func TestSettingsAreReadBack(t *testing.T) {
	s := newShop(t, false)
	var v string
	s.must(s.read.Raw("select sqlite_version()").Scan(&v).Error)
	var major, minor, patch int
	if _, err := fmt.Sscanf(v, "%d.%d.%d", &major, &minor, &patch); err != nil || major*1_000_000+minor*1000+patch < 3_051_003 {
		t.Errorf("SQLite %s; below 3.51.3 a WAL reset may corrupt the file", v)
	}
	if _, err := Open(ctx, s.opt); !errors.Is(err, ErrLocked) {
		t.Errorf("a second store on the same folder: %v, want ErrLocked", err)
	}
	s.Close()
	o := s.opt
	o.Dir, o.Create = t.TempDir(), false
	if _, err := Open(ctx, o); !errors.Is(err, ErrNoStore) {
		t.Errorf("a folder without a store: %v, want ErrNoStore", err)
	}
	s.open()
	s.must(s.write.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, 1)").Error)
	s.Close()
	if _, err := Open(ctx, s.opt); !errors.Is(err, ErrNewer) {
		t.Errorf("a newer schema: %v, want ErrNewer", err)
	}
	s.opt.Dir = t.TempDir() // so that the clean-up has something to close
	s.open()
}
