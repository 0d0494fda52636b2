package stack

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// mostSupplies is how many pieces and how many recorded parts are told for a missing one.
const mostSupplies = 8

// A supply is a piece that would do for a missing part but is not free.
type supply struct {
	item *Item
	cost int
	from Date
}

func (a supply) compare(b supply) int {
	return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(orLast(a.from), orLast(b.from)), cmp.Compare(a.item.ID, b.item.ID),
		cmp.Compare(a.item.Part.Code, b.item.Part.Code))
}

// fill finds what the shop owns or has recorded that would do for a missing part. Options often
// miss the same part, and what does for it is looked up once.
func (q *search) fill(m *Missing) {
	key := m.key()
	for _, n := range m.Needs {
		if n.Name == "WT_max" {
			key += num(n.Value.(float64))
		}
	}
	if like := q.filled[key]; like != nil {
		m.Owned, m.Catalogue = like.Owned, like.Catalogue
		return
	}
	var owned []supply
	var book []*Part
	q.s.mating(m, func(c *class) {
		if len(m.apart(c)) > 0 {
			return
		}
		for _, r := range c.of {
			if !m.fits(r.part, q.l) {
				continue
			}
			waits := false
			owned, waits = q.supplies(owned, r)
			if !waits && r.nth(q.req, 0) == nil {
				book = append(book, r.part)
			}
		}
	})
	slices.SortFunc(owned, supply.compare)
	slices.SortFunc(book, func(a, b *Part) int {
		return cmp.Or(cmp.Compare(a.PriceCents.Or(inf), b.PriceCents.Or(inf)), cmp.Compare(a.LeadDays.Or(inf), b.LeadDays.Or(inf)), cmp.Compare(a.Code, b.Code))
	})
	owned, book = slices.Compact(owned), slices.Compact(book) // a part may be met by two of its bores
	for _, o := range owned[:min(len(owned), mostSupplies)] {
		m.Owned = append(m.Owned, o.item.borrow(q.req))
	}
	for _, p := range book[:min(len(book), mostSupplies)] {
		m.Catalogue = append(m.Catalogue, buy(p))
	}
	if q.filled == nil {
		q.filled = map[string]*Missing{}
	}
	q.filled[key] = m
}

// supplies adds the pieces of a part that are owned, not used up and not free, and tells whether
// there are any.
func (q *search) supplies(out []supply, r *rec) ([]supply, bool) {
	n := len(out)
	look := func(list []*Item) {
		for _, it := range list {
			if it.free(q.req) > 0 {
				continue
			}
			if code := it.standing(q.req); code != codeNoStock {
				from, dated := it.from(q.req)
				out = append(out, supply{it, busyCost(code, dated), from})
			}
		}
	}
	look(r.busy)
	if q.req.holds != nil {
		look(r.idle)
	}
	return out, len(out) > n
}

// mating visits the classes of a missing part's kind that have one of the joints it must have.
func (s *Shelf) mating(m *Missing, visit func(*class)) {
	for _, name := range []string{"DCONWS", "CCWS", "CCMS", "seat", "interface", "ends"} {
		for _, n := range m.Needs {
			if n.Name == name {
				s.meeting(m.Kind, n, visit)
				return
			}
		}
	}
}

// meeting visits the classes of a kind that have the joint n tells of; of a shank's diameter
// those of that very size.
func (s *Shelf) meeting(kind Kind, n Need, visit func(*class)) {
	at := func(side Side, f Family) {
		for _, c := range s.coded(kind, side, f, codeKey(f, n.Value.(string))) {
			visit(c)
		}
	}
	switch n.Name {
	case "interface":
		at(Machine, TurretSeat)
	case "CCMS":
		at(Machine, Coupling)
	case "CCWS":
		at(Workpiece, Coupling)
	case "seat":
		at(map[bool]Side{true: Machine, false: Workpiece}[kind == Insert], Pocket)
	case "DCONMS":
		for _, c := range s.found[classAt{kind, jointKey{side: Machine, family: Cylindrical, size: sizeKey(n.Value.(float64))}}] {
			visit(c)
		}
	case "DCONWS":
		s.rounds(kind, n.Value.(float64), visit)
	case "ends":
		for _, c := range s.ways[n.Value.([]string)[0]] {
			if c.key.kind == kind {
				visit(c.class)
			}
		}
	}
}

// apart lists the needs that no part of a class meets, as far as all its parts are alike in
// them: what the others ask is looked at part by part.
func (m *Missing) apart(c *class) (out []*Need) {
	like := c.of[0].part
	for i := range m.Needs {
		n, shared := &m.Needs[i], false
		switch n.Name {
		case "interface", "seat_out", "CCMS", "CCWS", "seat", "ends":
			shared = true
		case "DCONMS", "DCONWS": // alike to the last digit of the index
			f := n.Value.(float64)
			have := like.DCONWS()
			if n.Name == "DCONMS" {
				have = like.DCONMS()
			}
			shared = !have.Known || math.Abs(have.V-f) > fit+0.001
		case "clamp":
			shared = c.key.kind == Holder
		case "for_damped":
			shared = c.key.kind == Sleeve
		case "construction", "flat":
			shared = c.key.kind == Bar
		case "HAND":
			shared = c.key.kind == Head
		}
		if shared && !n.met(like) {
			out = append(out, n)
		}
	}
	return out
}

func orLast(d Date) Date {
	if d == "" {
		return "9999"
	}
	return d
}

func buy(p *Part) Buy {
	b := Buy{Part: p, Text: p.Code}
	if p.Designation != "" {
		b.Text += " " + p.Designation
	}
	if p.PriceCents.Known {
		b.Text += fmt.Sprintf(", %.2f %s", p.PriceCents.V/100, p.Currency)
	} else {
		b.Text += ", price not recorded"
	}
	if p.LeadDays.Known {
		b.Text += ", " + count(p.LeadDays.V, "day")
	} else {
		b.Text += ", lead time not recorded"
	}
	return b
}
