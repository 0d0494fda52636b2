package stack

import (
	"cmp"
	"slices"
)

// mostMisses is how many parts that nearly fit are told.
const mostMisses = 6

// nearBore is how far a diameter may be off, as a share of the one asked for, and still be
// taken for it by mistake: 25 for 25.4, 31.75 for 32, 38.1 for 40. Common practice, no source.
const nearBore = 0.06

// nearSize is how far any other size may be off, as a share of what is needed, to be worth telling:
// a bar that must stand out twice as far is not near. Common practice, no source.
const nearSize = 0.5

// A miss is a part on hand that breaks one rule in the place of a missing one.
type miss struct {
	*rec
	item *Item
	fault
}

func (a *miss) compare(b *miss) int {
	return cmp.Or(cmp.Compare(a.far, b.far), cmp.Compare(a.item.called(), b.item.called()))
}

// misses lists the parts on hand and free that nearly do for the first option, nearest first: put
// in the place of what is missing, the rest of the stack as the option has it, each breaks one
// rule, by one size. A part is told once, by the place it is nearest to.
func (s *Shelf) misses(r *Request, v *Verdict) {
	if len(v.Options) == 0 || v.Options[0].Stack == nil {
		return
	}
	in, ok := setupOf(r, v.Options[0].Stack)
	if !ok {
		return
	}
	var best []miss // the nearest so far
	seen := map[*class]bool{}
	at := -1
	for i := range v.Options[0].Parts {
		m := &v.Options[0].Parts[i]
		for at++; at < len(in.parts) && !v.Options[0].Stack.Pieces[at].Missing; {
			at++
		}
		if at >= len(in.parts) {
			return
		}
		clear(seen)
		look := func(c *class) {
			if seen[c] || m.alien(c) {
				return
			}
			seen[c] = true
			for _, k := range c.of {
				if len(k.idle)+len(k.busy) == 0 {
					continue
				}
				f := in.fault(at, k.part)
				if f == nil || f.code == codeBore && f.far > nearBore || f.far > nearSize && f.far <= 1 { // another size altogether
					continue
				}
				if len(best) == mostMisses && f.far > best[mostMisses-1].far {
					continue
				}
				x := miss{rec: k, item: k.nth(r, 0), fault: *f}
				if x.item == nil || len(best) == mostMisses && x.compare(&best[mostMisses-1]) >= 0 {
					continue
				}
				if old := slices.IndexFunc(best, func(o miss) bool { return o.rec == k }); old >= 0 { // for another missing part
					if x.compare(&best[old]) >= 0 {
						continue
					}
					best = slices.Delete(best, old, old+1)
				}
				to, _ := slices.BinarySearchFunc(best, &x, func(a miss, b *miss) int { return a.compare(b) })
				best = slices.Insert(best[:min(len(best), mostMisses-1)], to, x)
			}
		}
		// By each joint it must have: whatever agrees in one may fail in the other.
		for _, n := range m.Needs {
			if n.Name == "ends" {
				for _, e := range n.Value.([]string) {
					s.meeting(m.Kind, Need{"ends", []string{e}}, look)
				}
			} else if n.Name != "seat" {
				s.meeting(m.Kind, n, look)
			}
		}
	}
	for i := range best {
		x := &best[i]
		v.Misses = append(v.Misses, Miss{Item: x.item.called(), Tag: x.item.ID, Kind: x.kind, Code: x.code, Distance: x.say(), Need: x.need})
	}
}

// alien reports whether all parts of a class differ from a missing one in more than one joint or
// hand, so that none of them can be near.
func (m *Missing) alien(c *class) bool {
	n := 0
	for _, a := range m.apart(c) {
		switch a.Name {
		case "construction", "flat", "clamp": // which of them would do follows from the rest of the stack
		default:
			n++
		}
	}
	return n > 1
}
