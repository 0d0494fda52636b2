package stack

import "sync/atomic"

var turns atomic.Uint64

// Turn names what is on the shelf and in its catalogue: while it is the same, on this shelf or
// any other of this process, the same request has the same verdict.
func (s *Shelf) Turn() uint64 {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.turn
}

func (s *Shelf) turned() { s.turn = turns.Add(1) }

// CheckWith is Check as if these items were on the shelf as well, each in place of the one with
// its id. The shelf is as before when it returns; nobody else can ask it meanwhile. Their parts
// are those of the shelf's own records.
func (s *Shelf) CheckWith(r Request, with []Item) (Verdict, error) {
	if err := r.Validate(); err != nil {
		return Verdict{}, err
	}
	for _, it := range with {
		if err := it.valid(); err != nil {
			return Verdict{}, err
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, it := range with {
		was := s.item(itemKey{it.ID, 0})
		s.put(it, 0)
		defer func() { // the last first, should two have one id
			s.remove(itemKey{it.ID, 0})
			if was != nil {
				s.put(*was, 0)
			}
		}()
	}
	return s.check(r)
}

// item returns what lies on the shelf under a key, nil when nothing does.
func (s *Shelf) item(k itemKey) *Item {
	r := s.items[k]
	if r == nil {
		return nil
	}
	for _, list := range [][]*Item{r.idle, r.busy} {
		for _, it := range list {
			if it.ID == k.id {
				return it
			}
		}
	}
	return nil
}
