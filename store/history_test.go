package store

import (
	"testing"
	"time"
)

// The last movement before any time is the one that reading the ledger from its end would find.
func TestSeqAt(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bin := s.bin("A1")
		bar := s.part("BAR-1", "bar", map[string]any{"DCONMS": 40, "unit": "mm", "construction": "steel", "OAL": 470, "CCWS": "H40", "WT": 4})
		for n := range 9 {
			s.clock.step(time.Duration(n%3) * time.Minute) // some at the same moment
			_, err := s.Receive(t.Context(), op(s.gate), ReceiveIn{Part: bar.ID, Qty: 1 + int64(n%2), To: bin})
			s.must(err)
		}
		lines, err := s.Lines(t.Context(), LineFilter{Limit: 1000})
		if err != nil || len(lines) < 3 {
			t.Fatalf("%d lines, %v", len(lines), err)
		}
		times := []time.Time{{}, lines[0].At.Time.Add(time.Hour)}
		for _, l := range lines {
			times = append(times, l.At.Time, l.At.Time.Add(time.Millisecond))
		}
		for _, at := range times {
			want := int64(0)
			for _, l := range lines {
				if l.At.Before(at) {
					want = max(want, l.Seq)
				}
			}
			if got, err := s.SeqAt(t.Context(), at); err != nil || got != want {
				t.Errorf("before %v: %d, %v; want %d", at, got, err, want)
			}
		}
	})
}
