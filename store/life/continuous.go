package life

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/stat/combin"
)

// LifeOf returns mean and standard deviation of min(life, plannedAt) on the continuous scale;
// plannedAt 0 means run to failure.
func LifeOf(w Weibull, plannedAt int) (mean, sd float64) {
	if plannedAt <= 0 {
		return w.Mean(), w.SD()
	}
	// E[min^2] = integral_0^T 2t R(t) dt; with x = t^2 this is again a mean up to T^2, of a
	// Weibull law of half the shape.
	t := float64(plannedAt)
	mean = w.MeanUpTo(t)
	square := Weibull{w.Shape / 2, w.Scale * w.Scale}.MeanUpTo(t * t)
	return mean, math.Sqrt(math.Max(0, square-mean*mean))
}

// A Chance is the chance that a fixed number of edges lasts for a job, on the continuous scale,
// where edges give parts of parts: a little kinder than the whole-part figure of Demand.
type Chance struct {
	Edges        int
	Mean, SD     float64 // of one edge's life
	Exact        float64 // by convolution, good to 1e-6
	Normal       float64 // by the normal approximation; up to 0.05 off with few edges
	WholeParts   float64 // as Demand.Enough has it: the figure to plan with
	Simulated    float64 // by simulation, continuous lives; NaN unless asked for
	SimulatedSE  float64
	SimulatedInt float64 // by simulation, whole parts
}

// maxChanceEdges bounds the edges of one EnoughEdges call.
const maxChanceEdges = 2000

// EnoughEdges returns the chance that so many edges (1..2000) of law w, changed on plan after
// plannedAt parts (0: never), make the parts (>= 1). draws > 0 also simulates so many jobs, from
// a fixed seed, as a second opinion.
func EnoughEdges(w Weibull, plannedAt, edges, parts, draws int) (Chance, error) {
	if !w.Valid() {
		return Chance{}, refuse("invalid", "shape and scale must both be above 0")
	}
	if edges < 1 || edges > maxChanceEdges || parts < 1 || parts > 100_000_000 || plannedAt < 0 {
		return Chance{}, refuse("invalid", "%d edges for %d parts, planned change at %d: give 1..%d edges, at least one part and a planned change of 0 or more", edges, parts, plannedAt, maxChanceEdges)
	}
	d, err := Renew(EdgeUse{w.Survival, plannedAt}, parts)
	if err != nil {
		return Chance{}, err
	}
	c := Chance{Edges: edges, WholeParts: d.Enough(edges), Simulated: math.NaN()}
	c.Mean, c.SD = LifeOf(w, plannedAt)
	c.Normal = normalEnough(c.Mean, c.SD, edges, float64(parts))
	// The error of the lattice is of second order in its step; one halving removes that term.
	coarse, fine := continuous(w, plannedAt, edges, parts, 1<<13), continuous(w, plannedAt, edges, parts, 1<<14)
	c.Exact = math.Min(1, math.Max(0, (4*fine-coarse)/3))
	if draws > 0 {
		c.simulate(w, plannedAt, edges, parts, draws)
	}
	return c, nil
}

// continuous returns the chance that the lives of n edges sum to m or more, on a lattice of
// about the given number of steps. With a planned change at T, j of the n edges reach T and
// give exactly T; the sum of the others, each below T, is convolved with linear interpolation,
// which puts the mass of each step on its two ends.
func continuous(w Weibull, plannedAt, n, m, steps int) float64 {
	h := float64(m) / float64(steps)
	top := steps // lattice points of one life
	if plannedAt > 0 && plannedAt < m {
		// The step must divide both the job and the planned change.
		unit := gcd(plannedAt, m)
		per := (steps + m/unit - 1) / (m / unit)
		h = float64(unit) / float64(per)
		steps, top = m/unit*per, plannedAt/unit*per
	} else {
		plannedAt = 0 // a change beyond the end of the job changes nothing
	}
	area := make([]float64, top+2) // area[j] = integral of R over step j-1..j
	prev := 0.0
	for j := 1; j <= top+1; j++ {
		a := w.MeanUpTo(float64(j) * h)
		area[j], prev = a-prev, a
	}
	weight := make([]float64, top+1)
	weight[0] = 1 - area[1]/h
	for j := 1; j <= top; j++ {
		weight[j] = (area[j] - area[j+1]) / h
	}
	reach := 0.0
	if plannedAt > 0 {
		reach = w.Survival(float64(plannedAt))
		weight[top] = area[top]/h - reach
	}
	// below[x] = chance that i edges, all failing before the planned change, sum to less than x.
	below := make([]float64, steps+1)
	for x := range below {
		below[x] = w.Failed(float64(min(x, top)) * h)
	}
	size := 1
	for size < steps+1+top+1 {
		size *= 2
	}
	fft := fourier.NewFFT(size)
	pad := func(v []float64) []float64 {
		out := make([]float64, size)
		copy(out, v)
		return out
	}
	fw := fft.Coefficients(nil, pad(weight))
	tooFew := 0.0 // chance that the sum stays below m
	at := func(i, x int) float64 {
		switch {
		case x <= 0:
			return 0
		case i == 0:
			return 1
		}
		return below[x]
	}
	for i := 0; i <= n; i++ {
		if i > 1 {
			fb := fft.Coefficients(nil, pad(below))
			for k := range fb {
				fb[k] *= fw[k]
			}
			seq := fft.Sequence(nil, fb)
			for x := range below {
				below[x] = math.Max(0, seq[x]/float64(size))
			}
		}
		capped := n - i // edges that reach the planned change
		x := steps - capped*top
		if plannedAt == 0 {
			if capped > 0 {
				continue
			}
			x = steps
		}
		ways := 1.0
		if capped > 0 && x > 0 {
			ways = math.Exp(combin.LogGeneralizedBinomial(float64(n), float64(capped))) * math.Pow(reach, float64(capped))
		}
		tooFew += ways * at(i, x)
	}
	return 1 - tooFew
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// simulate plays the job draws times.
func (c *Chance) simulate(w Weibull, plannedAt, edges, parts, draws int) {
	// One fixed seed: the same question gets the same answer.
	rnd := rand.New(rand.NewPCG(20_000_003, uint64(edges)))
	limit := math.Inf(1)
	if plannedAt > 0 {
		limit = float64(plannedAt)
	}
	var ok, okInt int
	for range draws {
		sum, whole := 0.0, 0.0
		for range edges {
			t := math.Min(limit, w.Scale*math.Pow(rnd.ExpFloat64(), 1/w.Shape))
			sum, whole = sum+t, whole+math.Floor(t)
		}
		if sum >= float64(parts) {
			ok++
		}
		if whole >= float64(parts) {
			okInt++
		}
	}
	n := float64(draws)
	c.Simulated, c.SimulatedInt = float64(ok)/n, float64(okInt)/n
	c.SimulatedSE = math.Sqrt(c.Simulated * (1 - c.Simulated) / n)
}
