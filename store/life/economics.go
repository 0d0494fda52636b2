package life

import "math"

// A Cut is what the speed of a turning job costs, beside the Taylor line. Times in minutes,
// money in one currency unit; WorkDiameter and WorkLength in metres, Feed in metres a
// revolution, speeds then in m/min. The part of the job itself (Handling and the three sizes)
// may be left at 0: only the best lives and speeds are then answered.
type Cut struct {
	ChangeTime   float64 // min to change an edge
	EdgeCost     float64 // of one edge
	RatePerMin   float64 // of machine and man
	Handling     float64 // min a piece
	WorkDiameter float64 // m
	WorkLength   float64 // m
	Feed         float64 // m/rev
}

// A CutPoint is one of the two best speeds.
type CutPoint struct {
	Life, Speed   float64 // min, and the unit of C
	MachiningTime float64 // min a piece; this and the following are 0 without the sizes
	PiecesPerEdge float64 // not rounded
	CycleTime     float64 // min a piece
	CostPerPiece  float64
}

// A CutEconomy holds the speed of most output and the speed of least cost.
type CutEconomy struct{ MaxProduction, MinCost CutPoint }

// Economy returns the two best speeds for a Taylor line: the lives are (1/n-1) * change time
// for most output and (1/n-1) * (change time + edge cost / rate) for least cost. With n at or
// above 1 neither has an optimum inside: a *Refusal "no_interior_optimum".
//
// Source: Groover, Fundamentals of Modern Manufacturing, chapter on machining economics.
func Economy(t Taylor, c Cut) (CutEconomy, error) {
	if !(t.N > 0 && t.C > 0) || math.IsInf(t.N, 1) || math.IsInf(t.C, 1) {
		return CutEconomy{}, refuse("invalid", "n and C must be above 0")
	}
	if !(c.ChangeTime > 0 && c.EdgeCost >= 0 && c.RatePerMin > 0) {
		return CutEconomy{}, refuse("invalid", "the time of an edge change and the rate per minute must be above 0, the cost of an edge 0 or more")
	}
	if t.N >= 1 {
		return CutEconomy{}, refuse("no_interior_optimum", "no best speed: with n = %g (1 or more) slower is always dearer; take the fastest speed that holds the part", t.N)
	}
	k := 1/t.N - 1
	e := CutEconomy{c.at(t, k*c.ChangeTime), c.at(t, k*(c.ChangeTime+c.EdgeCost/c.RatePerMin))}
	for _, v := range []float64{e.MaxProduction.Speed, e.MinCost.Speed} {
		if !(v > 0) || math.IsInf(v, 1) {
			return CutEconomy{}, refuse("invalid", "n = %g gives no speed that a machine could run; check n and C", t.N)
		}
	}
	return e, nil
}

func (c Cut) at(t Taylor, life float64) CutPoint {
	p := CutPoint{Life: life, Speed: t.Speed(life)}
	if !(c.WorkDiameter > 0 && c.WorkLength > 0 && c.Feed > 0) {
		return p
	}
	p.MachiningTime = math.Pi * c.WorkDiameter * c.WorkLength / (p.Speed * c.Feed)
	p.PiecesPerEdge = life / p.MachiningTime
	p.CycleTime = c.Handling + p.MachiningTime + c.ChangeTime/p.PiecesPerEdge
	p.CostPerPiece = c.RatePerMin*p.CycleTime + c.EdgeCost/p.PiecesPerEdge
	return p
}

// ReplacedToolCost returns the tooling cost of one reground edge: change and regrind time
// (min, >= 0) at a rate per hour, and the depreciation of one regrind.
func ReplacedToolCost(change, regrind, perHour, depreciation float64) (float64, error) {
	cost := (change+regrind)/60*perHour + depreciation
	if !(change >= 0 && regrind >= 0 && perHour >= 0 && depreciation >= 0) || math.IsInf(cost, 1) {
		return 0, refuse("invalid", "times, rate and depreciation must be numbers of 0 or more")
	}
	return cost, nil
}
