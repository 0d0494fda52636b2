package reorder

import (
	"slices"
	"testing"
)

// benchPart is a part with two years of movements, nearly one a working day.
func benchPart(i int) Part {
	s := inventedShop(4, 0, uint64(i))[i%4]
	p := s.Part
	p.Withdrawals, p.Since = s.History, -728
	slices.SortStableFunc(p.Withdrawals, func(a, b Withdrawal) int { return int(a.Day - b.Day) }) // as a ledger has them
	for _, j := range s.Jobs {
		j.Plan.Closed = j.Plan.Need < 0
		p.Jobs = append(p.Jobs, j.Plan)
	}
	p.OnHand = 20
	p.Lead, _ = Leads(s.Quoted, s.Past, nil)
	return p
}

// BenchmarkReviewOne recomputes one part, as after a booking.
func BenchmarkReviewOne(b *testing.B) {
	for _, class := range []string{"steady", "scattered", "rare", "large"} {
		p := benchPart(map[string]int{"steady": 0, "scattered": 1, "rare": 2, "large": 3}[class])
		b.Run(class, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Review(p, 0, DefaultRules()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkReview10000 recomputes a whole shop on one core.
func BenchmarkReview10000(b *testing.B) {
	parts := make([]Part, 100)
	for i := range parts {
		parts[i] = benchPart(i)
	}
	for b.Loop() {
		for i := range 10_000 {
			if _, err := Review(parts[i%len(parts)], 0, DefaultRules()); err != nil {
				b.Fatal(err)
			}
		}
	}
}
