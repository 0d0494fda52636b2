package reorder

import "fmt"

// A Follow ties a spare (screw, shim, key, seal) to heads or bars that need it.
type Follow struct {
	Parent   string
	Pieces   int     // parents in service, >= 0
	PerPiece int     // spares in one parent, >= 1
	Events   float64 // indexings or assemblies of one parent a year, >= 0
	Life     float64 // events that one spare lasts, > 0
}

// A Spare says how many spares to keep.
type Spare struct {
	PerYear float64 // expected
	Set     int     // the largest set one parent needs
	Point   int     // reorder point
}

// SparePoint returns the reorder point over days (>= 0) of lead time and review. Use is
// Poisson with what all parents wear out; but there is never less than one full set of the
// hungriest parent in service, for a bar without its screw stands still whatever the
// average says.
func SparePoint(parents []Follow, days int, target float64) (Spare, error) {
	if days < 0 || days > 3650 {
		return Spare{}, &BadInput{"days", fmt.Sprint(days), "must be from 0 to 3650", "check the lead time"}
	}
	var s Spare
	for _, p := range parents {
		if p.PerPiece < 1 || p.PerPiece > 10_000 || p.Pieces < 0 || p.Pieces > 1_000_000 {
			return Spare{}, &BadInput{p.Parent, fmt.Sprintf("%d with %d each", p.Pieces, p.PerPiece), "must be 0 or more parents with 1 or more spares each", "check the list of spares"}
		}
		if err := first(notNegative(p.Parent+" events", p.Events), positive(p.Parent+" life", p.Life)); err != nil {
			return Spare{}, err
		}
		s.PerYear += float64(p.Pieces*p.PerPiece) * p.Events / p.Life
		if p.Pieces > 0 {
			s.Set = max(s.Set, p.PerPiece)
		}
	}
	w, err := PointPoisson(s.PerYear*float64(days)/365.25, target)
	s.Point = max(w.Point, s.Set)
	return s, err
}
