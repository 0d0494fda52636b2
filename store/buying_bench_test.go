package store

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

// bigShop has parts with two years of withdrawals, one a week each on average, put straight
// into the tables: booking a million acts would take the bench an hour. Half are inserts.
func bigShop(b testing.TB, parts, weeks int) *shop {
	b.Helper()
	s := newShop(b, false)
	home := s.bin("B1")
	v := s.supplier("ORRIN", 10)
	r := rand.New(rand.NewPCG(1, 2))
	now := s.clock.now()
	s.must(s.book(ctx, func(tx *Tx) error {
		if err := tx.exec("INSERT INTO ops (op_id, act, fingerprint, actor_id, role, lines, answer, at) VALUES ('bench-bench-bench-0','issue','',?,'manager',0,'{}',?)", s.boss.ID, tx.now); err != nil {
			return err
		}
		at := make([]string, weeks*7)
		for d := range at {
			at[d] = now.AddDate(0, 0, d-len(at)).UTC().Format(timeLayout)
		}
		seq := int64(0)
		for i := range parts {
			kind, edges := "spare", 0
			if i%2 == 0 {
				kind, edges = "insert", 2
			}
			if err := tx.exec(`INSERT INTO parts (id, code, kind, name, counted, edges, supplier_id, price_cents, currency, pack, min_order, home_id, version, created_at)
				VALUES (?,?,?,?,'lot',?,?,?,'EUR',10,10,?,1,?)`, i+1, fmt.Sprintf("P-%05d", i), kind, "bench", edges, v.ID, 100+r.IntN(5000), home, At(now.AddDate(0, 0, -len(at)))); err != nil {
				return err
			}
			if edges > 0 {
				if err := tx.exec("INSERT INTO part_facts (part_id, symbol, value) VALUES (?,'seat',?)", i+1, fmt.Sprintf(`"SEAT%04d"`, i/8)); err != nil {
					return err
				}
			}
			if err := tx.exec("INSERT INTO items (id, tag, part_id, kind, created_at) VALUES (?,?,?,'lot',?)", i+1, fmt.Sprintf("L%07dX", i), i+1, tx.now); err != nil {
				return err
			}
			if err := tx.exec("INSERT INTO stock (item_id, place_id, qty) VALUES (?,?,?)", i+1, home, r.IntN(200)); err != nil {
				return err
			}
		}
		// in the order of time, as a ledger has them
		for d := range at {
			for range parts / 7 {
				seq++
				if _, err := tx.run(sqlMove, seq, "bench-bench-bench-0", int(seq), at[d], int64(s.boss.ID), "", "issue", int64(1+r.IntN(parts)), int64(home), int64(s.op1.PlaceID), int64(1+r.IntN(4)), nil, "", nil, "", fmt.Sprint(seq)); err != nil {
					return err
				}
			}
		}
		return tx.exec("UPDATE ledger_head SET seq = ?, hash = 'x' WHERE id = 1", seq)
	}))
	return s
}

// BenchmarkBuying is what a look at buying costs with 10,000 parts and a million withdrawals
// of two years: cold, as after a start; on a new day, when all is worked out again; after a
// booking that touched one part; and when nothing has changed.
func BenchmarkBuying(b *testing.B) {
	s := bigShop(b, 10_000, 104)
	look := func(b *testing.B) {
		buying, err := s.Buying(ctx)
		if err != nil || len(buying.Lines) != 10_000 {
			b.Fatal(len(buying.Lines), err)
		}
	}
	b.Run("cold", func(b *testing.B) {
		for b.Loop() {
			s.buying.ready = false
			look(b)
		}
	})
	b.Run("new-day", func(b *testing.B) {
		for b.Loop() {
			s.clock.step(24 * time.Hour)
			look(b)
		}
	})
	items, err := s.ItemsOf(ctx, 1)
	s.must(err)
	b.Run("after-a-booking", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			if _, err := s.Adjust(ctx, op(s.boss), AdjustIn{Item: items[0].ID, Place: items[0].At[0].PlaceID, Delta: 1, Reason: "bench"}); err != nil {
				b.Fatal(err)
			}
			b.StartTimer()
			look(b)
		}
	})
	b.Run("unchanged", func(b *testing.B) {
		for b.Loop() {
			look(b)
		}
	})
	b.Run("page-lists", func(b *testing.B) {
		buying, err := s.Buying(ctx)
		s.must(err)
		for b.Loop() {
			buying.Today()
			buying.Cover(10)
			buying.Proposals()
			if _, err := s.Batches(ctx, buying); err != nil {
				b.Fatal(err)
			}
		}
	})
}
