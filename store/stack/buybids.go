package stack

// A ware is what a plan may use of a part of which there is not plenty.
type ware struct{ bit uint64 }

type market struct{}

func (m *market) of(c *class) []*rec { return c.of }

// bids are what the parts cost one job in one search.
type bids struct {
	m    *market
	list bool
	bid  func(r *rec) *cand
}

func (b *bids) cand(r *rec, used int) *cand {
	if used > 0 {
		return nil
	}
	return b.bid(r)
}
func (b *bids) asked(*barCand, *rear, *front) bool { return false }

func (q *search) lists() bool { return q.mode == modeBuy && q.bids.list }

func (q *search) keepWay(*found) {}

func asksNoMore(a, b []*cand) bool { return true }

// heavier reports whether a is worse to carry than b.
func (q *search) heavier(a, b float64, aUnknown, bUnknown bool) bool {
	if q.lists() && !q.req.Station.MaxMassKg.Known {
		return false
	}
	return a > b || aUnknown && !bUnknown
}
