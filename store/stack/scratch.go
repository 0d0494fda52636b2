package stack

import (
	"slices"
	"sync"
)

// A scratch is the memory a search works in, handed on to the next search when it is over: a
// check in a big shop lists a megabyte, and clearing that away after each would cost more than
// looking. A search that never gives it back only leaves it to be cleared away.
type scratch struct {
	marks  []mark // by number of the part
	round  uint32 // which search the marks are of
	cands  pile[cand]
	offers []offer
	queue  queue
	order  []int32
	rears  lists[rear]
	fronts lists[front]
	lines  lists[line]
	steps  lists[lineStep]
	sums   lists[sum]
	floors map[floorKey]floor
	bars   []nearBars
}

// A mark is what a search knows of a part.
type mark struct {
	c     *cand
	round uint32
}

var scratches = sync.Pool{New: func() any { return &scratch{floors: map[floorKey]floor{}} }}

// borrow gives a search of a shop with n numbered parts its memory.
func borrow(n int) *scratch {
	m := scratches.Get().(*scratch)
	if len(m.marks) <= n {
		m.marks = make([]mark, n+n/8+1)
	}
	if m.round++; m.round == 0 { // it has gone round: the oldest marks would count again
		clear(m.marks)
		m.round = 1
	}
	return m
}

// known returns what the search has found of a part.
func (m *scratch) known(r *rec) (*cand, bool) {
	k := &m.marks[r.number]
	return k.c, k.round == m.round
}

func (m *scratch) mark(r *rec, c *cand) { m.marks[r.number] = mark{c, m.round} }

// cand keeps a candidate until the search is over.
func (m *scratch) cand(c cand) *cand {
	p := &m.cands.take(1)[0]
	*p = c
	return p
}

// sorted returns the numbers up to n in order; they are good until it is asked again.
func (m *scratch) sorted(n int, order func(i, j int32) int) []int32 {
	m.order = m.order[:0]
	for i := range n {
		m.order = append(m.order, int32(i))
	}
	slices.SortFunc(m.order, order)
	return m.order
}

// done gives the memory of the search back: what it found is then no more.
func (q *search) done() {
	m := q.mem
	q.mem = nil
	m.cands.clear()
	m.rears.kept.clear()
	m.fronts.kept.clear()
	m.lines.kept.clear()
	m.steps.kept.clear()
	m.sums.kept.clear()
	clear(m.floors)
	scratches.Put(m)
}

// A pile hands out pieces of memory that all last until it is cleared.
type pile[T any] struct {
	blocks [][]T
	at     int // the block in use
	n      int // and how much of it is handed out
}

// pileBlock is how many values a block of a pile holds at least.
const pileBlock = 64

// take returns a list of n values that nobody else holds.
func (p *pile[T]) take(n int) []T {
	for p.at < len(p.blocks) && p.n+n > len(p.blocks[p.at]) {
		p.at, p.n = p.at+1, 0
	}
	if p.at == len(p.blocks) {
		p.blocks = append(p.blocks, make([]T, max(n, pileBlock<<min(p.at, 6))))
	}
	out := p.blocks[p.at][p.n : p.n+n : p.n+n]
	p.n += n
	return out
}

func (p *pile[T]) clear() { p.at, p.n = 0, 0 }

// Lists are there to work on, each one's own until it is laid back; what came of them is kept
// until the search is over.
type lists[T any] struct {
	free [][]T
	kept pile[T]
}

// work returns an empty list to append to.
func (s *lists[T]) work() []T {
	if n := len(s.free); n > 0 {
		out := s.free[n-1]
		s.free = s.free[:n-1]
		return out
	}
	return nil
}

// lay takes a list back that work has given.
func (s *lists[T]) lay(list []T) { s.free = append(s.free, list[:0]) }

// keep returns a copy of a list that lasts until the search is over.
func (s *lists[T]) keep(list []T) []T {
	if len(list) == 0 {
		return nil
	}
	out := s.kept.take(len(list))
	copy(out, list)
	return out
}
