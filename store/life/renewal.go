package life

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// An EdgeUse describes how edges are used up on a job: they survive by R and are changed on
// plan after PlannedAt parts (0: run to failure). An edge makes floor(min(life, PlannedAt))
// good parts; the part on which it fails is not counted. Lives are independent of each other.
type EdgeUse struct {
	R         Survival // in parts
	PlannedAt int      // parts, >= 0
}

// A Demand is how many edges a job of so many good parts eats.
type Demand struct {
	Parts         int
	MeanParts     float64   // good parts of one edge, mean
	SDParts       float64   // and standard deviation
	ExpectedEdges float64   // mean number of edges for the job
	SDEdges       float64   // its standard deviation
	Asymptotic    float64   // m/mu + (sd^2+mu^2)/(2 mu^2), the renewal theorem's approximation
	Exact         bool      // false: by the normal approximation, the job being too large to convolve
	enough        []float64 // enough[k]: chance that k edges make the parts
}

const (
	tailMass   = 1e-16       // survival below which an edge is taken as gone
	maxWork    = 400_000_000 // multiplications of a convolution before the normal law takes over
	maxSupport = 200_000     // whole-part lives looked at
)

// Renew returns the demand for edges of a job of parts good parts (>= 0), by convolving the
// whole-part lives of the edges exactly; the mean alone says too little, for half of all jobs
// need more. Jobs too large to convolve fall back on the normal approximation and say so
// (Exact false). An edge that all but never makes a part: a *Refusal.
func Renew(u EdgeUse, parts int) (*Demand, error) {
	if parts < 0 || u.PlannedAt < 0 {
		return nil, refuse("invalid", "parts and the planned change must be 0 or more")
	}
	if parts > 1_000_000_000 {
		return nil, refuse("invalid", "%d parts are more than a job can have; check the number", parts)
	}
	// p[j] is the chance of exactly j good parts. Beyond the job only the sum matters, so for
	// the convolution everything from parts on may stay in one heap; mean and sd need it all.
	limit := maxSupport
	if u.PlannedAt > 0 {
		limit = min(limit, u.PlannedAt)
	}
	var p []float64
	d := &Demand{Parts: parts, Exact: true}
	s, sum2 := u.R(0), 0.0
	for j := 0; ; j++ {
		next := 0.0
		if j < limit {
			next = u.R(float64(j + 1))
		} else if u.PlannedAt == 0 && s > 1e-6 {
			return nil, refuse("too_long", "edges outlive %d parts: a job is better counted in minutes", maxSupport)
		}
		if math.IsNaN(next) || next > s+1e-12 {
			return nil, refuse("invalid", "the survival curve of these edges rises or is no number")
		}
		p = append(p, s-next)
		d.MeanParts += float64(j) * (s - next)
		sum2 += float64(j) * float64(j) * (s - next)
		if s = next; s <= tailMass {
			break
		}
	}
	d.SDParts = math.Sqrt(math.Max(0, sum2-d.MeanParts*d.MeanParts))
	if d.MeanParts < 1e-6 {
		return nil, refuse("invalid", "these edges fail on their first part; no number of inserts makes the job, look at the setup")
	}
	if parts == 0 {
		d.enough = []float64{1}
		return d, nil
	}
	mu, m := d.MeanParts, float64(parts)
	d.Asymptotic = m/mu + (d.SDParts*d.SDParts+mu*mu)/(2*mu*mu)
	if !d.convolve(p) {
		d.Exact = false
		// Whole-number lives reach a whole number half a part sooner than the renewal theorem
		// for continuous ones has it.
		d.ExpectedEdges = d.Asymptotic - 1/(2*mu)
		d.SDEdges = d.SDParts * math.Sqrt(float64(parts)/d.MeanParts) / d.MeanParts
	}
	return d, nil
}

// convolve fills enough, ExpectedEdges and SDEdges exactly, unless the work would be too much.
func (d *Demand) convolve(p []float64) bool {
	m := d.Parts
	first, last := 0, min(len(p), m) // lives from m on finish the job at once
	for first < last && p[first] == 0 {
		first++
	}
	work := 0
	cur, lo := []float64{1}, 0 // cur[i] is the chance that k edges made lo+i parts, fewer than m
	d.enough = append(d.enough, 0)
	var mean, square float64
	for k := 0; ; k++ {
		var left float64 // chance that k edges are not enough
		for _, c := range cur {
			left += c
		}
		if k > 0 {
			d.enough = append(d.enough, 1-left)
		}
		mean += left
		square += float64(2*k+1) * left
		if left < 1e-15 {
			break
		}
		work += len(cur) * (last - first)
		if work > maxWork || m > maxWork {
			d.enough = nil
			return false
		}
		next := make([]float64, min(m-lo, len(cur)+max(last-1, 0)))
		for i, c := range cur {
			if c == 0 {
				continue
			}
			for j, q := range p[first:last] {
				at := i + first + j
				if at >= len(next) {
					break
				}
				next[at] += c * q
			}
		}
		// Ends too unlikely to matter are cut off, which keeps the window narrow.
		const dust = 1e-22
		for len(next) > 0 && next[len(next)-1] < dust {
			next = next[:len(next)-1]
		}
		for len(next) > 0 && next[0] < dust {
			next, lo = next[1:], lo+1
		}
		cur = next
	}
	d.ExpectedEdges = mean
	d.SDEdges = math.Sqrt(math.Max(0, square-mean*mean))
	return true
}

// Enough returns the chance (0..1) that so many edges make the job.
func (d *Demand) Enough(edges int) float64 {
	switch {
	case d.Parts == 0:
		return 1
	case edges <= 0:
		return 0
	case d.Exact:
		if edges >= len(d.enough) {
			return 1
		}
		return d.enough[edges]
	}
	return normalEnough(d.MeanParts, d.SDParts, edges, float64(d.Parts)-0.5)
}

// normalEnough is the chance that the sum of so many lives reaches parts if it were normal.
func normalEnough(mean, sd float64, edges int, parts float64) float64 {
	n := float64(edges)
	if sd == 0 {
		if n*mean >= parts {
			return 1
		}
		return 0
	}
	return distuv.UnitNormal.Survival((parts - n*mean) / (sd * math.Sqrt(n)))
}

// An InsertNeed is the smallest number of inserts that makes the job with a wished confidence.
type InsertNeed struct {
	Inserts     int
	Achieved    float64 // chance that Inserts are enough
	OneLess     float64 // chance with one insert fewer; 0 when Inserts is 1
	ByMeanOnly  int     // what the mean life alone would say
	ByNormal    int     // what the normal approximation of continuous lives would say; 0 without it
	Approximate bool    // the job was too large for the exact convolution
}

// Inserts returns the smallest number of inserts of edgesPerInsert edges (> 0) whose chance to
// be enough reaches target (0 < target < 1). mean and sd are those of one edge's continuous
// life (with its planned change), for the two cruder answers shown beside it; 0 leaves them out.
func (d *Demand) Inserts(edgesPerInsert int, target, mean, sd float64) (InsertNeed, error) {
	if edgesPerInsert < 1 || edgesPerInsert > 1000 {
		return InsertNeed{}, refuse("invalid", "%d edges per insert: give a whole number from 1 on", edgesPerInsert)
	}
	if !(target > 0 && target < 1) {
		return InsertNeed{}, refuse("invalid", "a confidence of %g: give a number between 0 and 1; 95 %% is 0.95", target)
	}
	if d.Parts == 0 {
		return InsertNeed{Achieved: 1}, nil
	}
	smallest := func(enough func(edges int) float64) int {
		lo, hi := 0, 1 // enough(lo) < target
		for enough(hi*edgesPerInsert) < target && hi < 1<<40 {
			lo, hi = hi, hi*2
		}
		for hi-lo > 1 {
			if mid := (lo + hi) / 2; enough(mid*edgesPerInsert) < target {
				lo = mid
			} else {
				hi = mid
			}
		}
		return hi
	}
	out := InsertNeed{Inserts: smallest(d.Enough), Approximate: !d.Exact}
	out.Achieved = d.Enough(out.Inserts * edgesPerInsert)
	out.OneLess = d.Enough((out.Inserts - 1) * edgesPerInsert)
	if mean > 0 {
		parts := float64(d.Parts)
		out.ByMeanOnly = int(math.Ceil(parts / mean / float64(edgesPerInsert)))
		out.ByNormal = smallest(func(k int) float64 { return normalEnough(mean, sd, k, parts) })
	}
	return out, nil
}
