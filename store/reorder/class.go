package reorder

import "math"

// A Class says what kind of demand a part has; it chooses the forecast.
type Class string

// The four classes, and a part nobody has asked for.
const (
	Smooth       Class = "smooth"
	Erratic      Class = "erratic"
	Intermittent Class = "intermittent"
	Lumpy        Class = "lumpy"
	NoDemand     Class = "no_demand"
)

// The cut-offs; a value equal to one counts as below it. Source: Syntetos, Boylan &
// Croston 2005, JORS 56:495-503.
const (
	CutADI = 1.32
	CutCV2 = 0.49
)

// A Classified history has its class and the two figures that decide it. Undefined figures
// are NaN: all of them without demand, CV2 with a single one.
type Classified struct {
	ADI             float64 // periods / periods with demand
	MeanGap         float64 // mean gap, counted from period 1 to each demand
	CV2             float64 // squared coefficient of variation of the demands, variance by n-1
	CV2Population   float64 // the same by n
	Class           Class   // by CV2; a single demand counts as CV2 0
	ClassPopulation Class   // by CV2Population
}

// Classify returns the class of a history of demand per period (>= 0).
func Classify(demand []float64) (Classified, error) {
	if err := history(demand); err != nil {
		return Classified{}, err
	}
	var n, last int
	var mean float64
	for i, d := range demand {
		if d > 0 {
			n++
			last = i + 1
			mean += (d - mean) / float64(n)
		}
	}
	nan := math.NaN()
	if n == 0 {
		return Classified{nan, nan, nan, nan, NoDemand, NoDemand}, nil
	}
	ss := 0.0
	for _, d := range demand {
		if d > 0 {
			ss += (d - mean) * (d - mean)
		}
	}
	c := Classified{
		ADI: float64(len(demand)) / float64(n), MeanGap: float64(last) / float64(n),
		CV2: nan, CV2Population: ss / float64(n) / (mean * mean),
	}
	decide := 0.0
	if n > 1 {
		c.CV2 = ss / float64(n-1) / (mean * mean)
		decide = c.CV2
	}
	c.Class = class(c.ADI, decide)
	c.ClassPopulation = class(c.ADI, c.CV2Population)
	return c, nil
}

func class(adi, cv2 float64) Class {
	switch {
	case adi > CutADI && cv2 > CutCV2:
		return Lumpy
	case adi > CutADI:
		return Intermittent
	case cv2 > CutCV2:
		return Erratic
	}
	return Smooth
}
