package stack

import (
	"slices"
	"strings"
)

// A Neighbour is what mates with one joint of a part.
type Neighbour struct {
	Joint Joint   // of the part asked about
	Parts []*Part // on hand or in the catalogue, by code; empty when nothing mates
}

// Neighbours returns for each joint of p the parts that mate with it, found by the index: one
// entry a joint in the order of p.Joints, equal joints once. Coolant through the rear of a bar
// is no joint that a part is put on and is left out. p need not be on the shelf.
func (s *Shelf) Neighbours(p *Part) []Neighbour {
	s.mu.RLock()
	defer s.mu.RUnlock()
	var out []Neighbour
	var seen []jointKey
	for _, j := range p.Joints {
		k := keyOf(j)
		if j.Family == Through || slices.Contains(seen, k) {
			continue
		}
		seen = append(seen, k)
		n := Neighbour{Joint: j}
		add := func(r *rec) {
			if r.part.Code != p.Code && slices.ContainsFunc(r.part.Joints, func(o Joint) bool { return faces(j.Side, o.Side) && Mates(j, o) }) {
				n.Parts = append(n.Parts, r.part)
			}
		}
		switch j.Family {
		case Cylindrical:
			s.round(across(j.Side), j.Size.V, add)
		case Thread, PushIn:
			for _, side := range []Side{CoolantIn, CoolantOut} {
				for _, r := range s.at(side, j.Family, opposite(j.End())) {
					add(r)
				}
			}
		default:
			for _, r := range s.at(across(j.Side), j.Family, codeKey(j.Family, j.Code)) {
				add(r)
			}
		}
		slices.SortFunc(n.Parts, func(a, b *Part) int { return strings.Compare(a.Code, b.Code) })
		n.Parts = slices.Compact(n.Parts)
		out = append(out, n)
	}
	return out
}

// across is the side that meets a side.
func across(s Side) Side {
	if s == Machine {
		return Workpiece
	}
	return Machine
}

// faces reports whether two sides can meet: machine and workpiece side do, and coolant ends
// meet any other.
func faces(a, b Side) bool {
	solid := func(s Side) bool { return s == Machine || s == Workpiece }
	if solid(a) || solid(b) {
		return solid(a) && solid(b) && a != b
	}
	return true
}
