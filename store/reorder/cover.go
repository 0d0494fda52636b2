package reorder

import (
	"math"
	"sort"
)

// A Cover says how long what is free will last.
type Cover struct {
	ID     string
	Free   int     // units
	Weekly float64 // units a week, >= 0
}

// Weeks is Free / Weekly; infinite when nothing is used, 0 when nothing is free.
func (c Cover) Weeks() float64 {
	switch {
	case c.Free <= 0:
		return 0
	case c.Weekly <= 0:
		return math.Inf(1)
	}
	return float64(c.Free) / c.Weekly
}

// ByCover returns the n parts with the shortest cover, shortest first, and the n with the
// longest, longest first; parts that are neither used nor there appear in neither.
func ByCover(parts []Cover, n int) (shortest, longest []Cover) {
	list := make([]Cover, 0, len(parts))
	for _, c := range parts {
		if c.Free > 0 || c.Weekly > 0 {
			list = append(list, c)
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Weeks() < list[j].Weeks() })
	n = max(0, min(n, len(list)))
	shortest = append(shortest, list[:n]...)
	for i := range n {
		longest = append(longest, list[len(list)-1-i])
	}
	return shortest, longest
}
