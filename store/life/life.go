package life

import (
	"errors"
	"fmt"
	"math"
)

// A Life is a line of edges that got equally far: Count edges of age Age, which failed there
// (Failed) or were taken off still good.
type Life struct {
	Age    float64 // parts or minutes
	Failed bool
	Count  int // edges on this line; 0 adds nothing
}

// ErrNoAnswer is the class of every *Refusal.
var ErrNoAnswer = errors.New("no answer")

// A Refusal says that a question has no honest answer, and why. It is an ErrNoAnswer.
type Refusal struct {
	Status string // a short fixed word, such as "no_failures"
	Why    string // one sentence for people
}

func (r *Refusal) Error() string { return r.Why }

func (r *Refusal) Unwrap() error { return ErrNoAnswer }

func refuse(status, format string, a ...any) *Refusal {
	return &Refusal{Status: status, Why: fmt.Sprintf(format, a...)}
}

// maxEdges bounds the edges of one data set, so that sums of counts stay exact in a float64.
const maxEdges = 1 << 50

// checkLives refuses what no fit can take. zeroOK admits an age of 0.
func checkLives(lives []Life, zeroOK bool) error {
	n := 0
	for i, l := range lives {
		if l.Count < 0 {
			return refuse("invalid_count", "line %d: %d edges; a count is 0 or more", i+1, l.Count)
		}
		if l.Count > maxEdges || n+l.Count > maxEdges {
			return refuse("invalid_count", "line %d: more edges than a shop can have; check the count", i+1)
		}
		n += l.Count
		if math.IsNaN(l.Age) || math.IsInf(l.Age, 0) {
			return refuse("invalid_time", "line %d: the life is not a number; correct it", i+1)
		}
		if l.Age < 0 {
			return refuse("invalid_time", "line %d: a life of %g; a life is above 0, correct the entry", i+1, l.Age)
		}
		if l.Age == 0 && !zeroOK {
			return refuse("invalid_time", "line %d: a life of 0 has no logarithm; log the part that failed as 1, or leave the run out and say why", i+1)
		}
	}
	return nil
}

// exists refuses data from which no finite estimate follows. With at least one failure a finite
// maximum of the likelihood exists exactly when some failure is shorter than the longest life
// on record; a general minimiser does not notice when it is missing, so the rule comes first.
func exists(lives []Life) error {
	if err := checkLives(lives, false); err != nil {
		return err
	}
	n, failed := tally(lives)
	switch {
	case n == 0:
		return refuse("no_data", "no estimate: nothing is logged yet")
	case failed == 0:
		return refuse("no_failures", "no estimate: none of the %s failed, so the data say only that edges last longer than they were run", edges(n))
	}
	longest := 0.0
	for _, l := range lives {
		if l.Count > 0 {
			longest = math.Max(longest, l.Age)
		}
	}
	for _, l := range lives {
		if l.Failed && l.Count > 0 && l.Age < longest {
			return nil
		}
	}
	return refuse("unbounded_shape", "no estimate: every failure stands at the longest life on record (%g), so nothing tells how lives scatter; an edge that fails earlier, or outlives it, is needed", longest)
}

// tally counts the edges and the failed ones among them.
func tally(lives []Life) (n, failed int) {
	for _, l := range lives {
		n += l.Count
		if l.Failed {
			failed += l.Count
		}
	}
	return n, failed
}

// edges writes a count with its noun.
func edges(n int) string {
	if n == 1 {
		return "1 edge"
	}
	return fmt.Sprintf("%d edges", n)
}
