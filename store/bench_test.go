package store

import (
	"database/sql"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// BenchmarkBooking compares durable bookings with the floor: one row, one commit, of the same
// driver with the same settings in the same folder, without gorm and without HTTP. Each
// metric is a ratio within the run, because the disk's own speed differs from run to run:
// one client's latency over a raw commit's, and 64 clients' rate over the raw rate.
func BenchmarkBooking(b *testing.B) {
	s := newShop(b, false)
	bin := s.bin("A1")
	it := s.receive(s.insert("INS-1", 2), 1_000_000, bin)[0]
	db, err := sql.Open(sqliteDriver, sqliteDSN(filepath.Join(b.TempDir(), "raw.db"), false, false))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("CREATE TABLE raw (id INTEGER PRIMARY KEY, item INTEGER, place INTEGER, qty INTEGER, who TEXT) STRICT"); err != nil {
		b.Fatal(err)
	}
	book := func() {
		if _, err := s.Issue(ctx, op(s.gate), IssueIn{Picks: []Pick{{Item: it.ID, Place: bin, Qty: 1}}, To: s.op1.PlaceID}); err != nil {
			b.Error(err)
		}
	}
	const rounds = 5
	var raw, one, many time.Duration // each for n bookings
	n := 0
	for b.Loop() {
		for range rounds { // in turns, so that a drift of the disk meets all three
			const k = 64
			n += k
			start := time.Now()
			for range k {
				if _, err := db.Exec("INSERT INTO raw (item, place, qty, who) VALUES (?,?,?,?)", 1, 2, 3, "somebody"); err != nil {
					b.Fatal(err)
				}
			}
			raw += time.Since(start)
			start = time.Now()
			for range k {
				book()
			}
			one += time.Since(start)
		}
		const clients, each = 64, 8
		start := time.Now()
		var wg sync.WaitGroup
		var left atomic.Int64
		left.Store(clients * each)
		for range clients {
			wg.Go(func() {
				for left.Add(-1) >= 0 {
					book()
				}
			})
		}
		wg.Wait()
		many += time.Since(start) * rounds * 64 / (clients * each)
	}
	b.ReportMetric(float64(one)/float64(raw), "latency/raw")
	b.ReportMetric(float64(raw)/float64(many), "rate64/raw")
	b.ReportMetric(float64(raw.Microseconds())/float64(n), "raw-µs")
	b.ReportMetric(float64(one.Microseconds())/float64(n), "one-µs")
	b.ReportMetric(float64(many.Microseconds())/float64(n), "of64-µs")
	b.ReportMetric(0, "ns/op")
	s.sound()
}
