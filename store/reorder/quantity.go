package reorder

import "math"

// Status says why a question has no ordinary number for an answer. Empty: it has one.
type Status string

// The states that are answers, not refusals.
const (
	OrderNothing    Status = "order_nothing"     // no demand
	LotForLot       Status = "lot_for_lot"       // ordering is free: order each need as it comes
	NoFiniteOptimum Status = "no_finite_optimum" // keeping is free: the formula would buy for ever
	UsePoisson      Status = "use_poisson"       // variance not above the mean
	NoVariability   Status = "no_variability"    // nothing is uncertain
)

// Costs of one part over one year, in one unit of money throughout.
type Costs struct {
	D float64 // demand, pieces a year, >= 0
	S float64 // cost of placing one order, >= 0
	H float64 // cost of keeping one piece a year, >= 0
}

func (c Costs) check() error {
	return first(notNegative("D", c.D), notNegative("S", c.S), notNegative("H", c.H))
}

func (c Costs) status() Status {
	switch {
	case c.D == 0:
		return OrderNothing
	case c.S == 0:
		return LotForLot
	case c.H == 0, c.eoq() > most:
		return NoFiniteOptimum
	}
	return ""
}

// mostWhole bounds whole quantities; a float64 still counts them one by one.
const mostWhole = 1 << 50

// eoq is the economic order quantity; 0 when ordering is free.
func (c Costs) eoq() float64 { return math.Sqrt(2 * c.D * c.S / c.H) }

// relevant is what ordering q at a time costs a year: orders and keeping, not the goods.
func (c Costs) relevant(q float64) float64 { return c.D/q*c.S + q/2*c.H }

// An EOQ is the quantity that makes ordering and keeping together cheapest.
type EOQ struct {
	Status        Status  // if not empty, the rest is zero
	Q             float64 // pieces
	OrderCost     float64 // money a year
	HoldingCost   float64 // money a year
	RelevantCost  float64 // both
	OrdersPerYear float64
	BestWhole     int // cheapest whole quantity, >= 1; of two equal ones the smaller
}

// Economic returns the economic order quantity sqrt(2DS/H). A negative or absurd cost is a
// *BadInput; no demand, free orders and free keeping have a Status instead of a number.
//
// Source: Harris 1913; any textbook on operations management.
func Economic(c Costs) (EOQ, error) {
	if err := c.check(); err != nil {
		return EOQ{}, err
	}
	if s := c.status(); s != "" {
		return EOQ{Status: s}, nil
	}
	q := c.eoq()
	return EOQ{
		Q: q, OrderCost: c.D / q * c.S, HoldingCost: q / 2 * c.H, RelevantCost: c.relevant(q),
		OrdersPerYear: c.D / q, BestWhole: cheapestMultiple(c, 1, 1, mostWhole),
	}, nil
}

// cheapestMultiple returns the whole number n, lo <= n <= hi, for which ordering n*pack
// pieces is cheapest. The cost is convex, so only the neighbours of the EOQ compete: they
// are compared by cost, not by distance (between packs the fair line is the geometric
// mean). Costs equal within rounding go to the smaller order.
func cheapestMultiple(c Costs, pack float64, lo, hi int) int {
	down := int(math.Min(math.Floor(c.eoq()/pack), float64(hi)))
	down = max(lo, min(down, hi))
	up := max(lo, min(down+1, hi))
	if c.relevant(float64(up)*pack) < c.relevant(float64(down)*pack)*(1-1e-12) {
		return up
	}
	return down
}

// A Backorders plan lets stock run below zero on purpose, where waiting is cheap.
type Backorders struct {
	Status        Status
	Q             float64 // pieces an order
	MaxBackorder  float64 // pieces owed just before an order arrives
	MaxInventory  float64 // pieces just after
	OrderCost     float64 // money a year, as the next three
	HoldingCost   float64
	BackorderCost float64
	RelevantCost  float64
}

// Backordered returns the order quantity with planned shortages; b > 0 is what one piece
// owed for a year costs. In a crib b is large, and the plan is then the plain EOQ.
//
// Source: Q = sqrt(2DS/H) sqrt((H+b)/b), largest backorder Q H/(H+b); Hillier & Lieberman,
// Introduction to Operations Research.
func Backordered(c Costs, b float64) (Backorders, error) {
	if err := first(c.check(), positive("backorder_cost", b)); err != nil {
		return Backorders{}, err
	}
	if s := c.status(); s != "" {
		return Backorders{Status: s}, nil
	}
	q := c.eoq() * math.Sqrt((c.H+b)/b)
	if q > most {
		return Backorders{Status: NoFiniteOptimum}, nil
	}
	owed := q * c.H / (c.H + b)
	p := Backorders{
		Q: q, MaxBackorder: owed, MaxInventory: q - owed,
		OrderCost: c.D / q * c.S, HoldingCost: (q - owed) * (q - owed) / (2 * q) * c.H,
		BackorderCost: owed * owed / (2 * q) * b,
	}
	p.RelevantCost = p.OrderCost + p.HoldingCost + p.BackorderCost
	return p, nil
}

// A Packed quantity is what can really be ordered: whole packs, not below the minimum.
type Packed struct {
	Status       Status
	EOQ          float64 // before rounding
	Q            int     // pieces
	Packs        int
	RelevantCost float64 // money a year
	Penalty      float64 // how much dearer than the EOQ, as a fraction
}

// InPacks returns the cheapest whole number of packs of pack pieces (whole, >= 1), not
// below minOrder pieces (>= 0).
func InPacks(c Costs, pack, minOrder float64) (Packed, error) {
	if err := first(c.check(), whole("pack", pack, 1), notNegative("min_order", minOrder)); err != nil {
		return Packed{}, err
	}
	if s := c.status(); s != "" {
		return Packed{Status: s}, nil
	}
	lo := max(1, ceil(minOrder/pack))
	n := cheapestMultiple(c, pack, lo, mostWhole)
	q, best := float64(n)*pack, c.eoq()
	return Packed{
		EOQ: best, Q: int(q), Packs: n, RelevantCost: c.relevant(q),
		// (Q-E)^2/(2QE) equals cost/best - 1 without subtracting two near numbers.
		Penalty: (q - best) * (q - best) / (2 * q * best),
	}, nil
}
