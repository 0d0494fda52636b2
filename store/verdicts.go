package store

import (
	"reflect"
	"slices"
	"sync"

	"brasspeg/store/stack"
)

// A verdictCache keeps what was found for the jobs' requests while nothing on the shelf changes:
// a manager looks at the list of jobs more often than the crib books, and it is one check a job.
type verdictCache struct {
	mu   sync.Mutex
	turn uint64
	kept map[asked]keptVerdict
}

// asked is what a verdict is found by; a job is asked about on its own days and on free ones.
type asked struct {
	job string
	day stack.Date
}

type keptVerdict struct {
	request stack.Request
	verdict stack.Verdict
}

// mostKept bounds the cache, of some 40 KB a verdict: jobs that are asked about in passing are not kept for ever.
const mostKept = 600

// check is shelf.Check, from the cache where that has the answer. What the caller does to the
// list of stacks stays with the caller.
func (c *verdictCache) check(shelf *stack.Shelf, r stack.Request) (stack.Verdict, error) {
	turn := shelf.Turn() // before the check: what comes in between is not in what is kept
	c.mu.Lock()
	if c.turn != turn || c.kept == nil || len(c.kept) >= mostKept {
		c.turn, c.kept = turn, map[asked]keptVerdict{}
	}
	k, ok := c.kept[asked{r.Job, r.NeedDate}]
	c.mu.Unlock()
	if !ok || !reflect.DeepEqual(k.request, r) {
		v, err := shelf.Check(r)
		if err != nil {
			return v, err
		}
		k = keptVerdict{r, v}
		c.mu.Lock()
		if c.turn == turn && c.kept != nil {
			c.kept[asked{r.Job, r.NeedDate}] = k
		}
		c.mu.Unlock()
	}
	v := k.verdict
	v.Stacks, v.Reasons, v.Options = slices.Clone(v.Stacks), slices.Clone(v.Reasons), slices.Clone(v.Options)
	return v, nil
}
