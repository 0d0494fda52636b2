package stack

func (s *Shelf) worse(r *Request, v *Verdict) {}
