package stack

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// mostMisses is how many parts that nearly fit are told.
const mostMisses = 6

// nearBore is how far a diameter may be off, as a share of the one asked for, and still be
// taken for it by mistake: 25 for 25.4, 31.75 for 32, 38.1 for 40. Common practice, no source.
const nearBore = 0.06

// A miss is a part on hand that fails one need of a missing one.
type miss struct {
	*rec
	need *Need
	far  float64
	code Code
}

func (a *miss) compare(b *miss) int {
	if c := cmp.Compare(a.far, b.far); c != 0 {
		return c
	}
	return cmp.Compare(a.idle[0].called(), b.idle[0].called())
}

// misses lists owned parts that nearly fit the first option, with their distance, nearest
// first. Each is told once.
func (s *Shelf) misses(v *Verdict) {
	if len(v.Options) == 0 {
		return
	}
	var best []miss // the nearest so far
	seen := map[*class]bool{}
	for i := range v.Options[0].Parts {
		m := &v.Options[0].Parts[i]
		clear(seen)
		look := func(c *class) {
			apart := m.apart(c)
			if len(apart) > 1 || seen[c] {
				return
			}
			seen[c] = true
			for _, r := range c.of {
				if len(r.idle) == 0 {
					continue
				}
				x := miss{rec: r, need: m.only(r.part)}
				if x.need == nil {
					continue
				}
				if _, x.far, x.code = x.need.distance(r.part); x.need.round() && x.far > nearBore {
					continue // another size altogether
				}
				if len(best) == mostMisses && x.compare(&best[mostMisses-1]) >= 0 {
					continue
				}
				if at := slices.IndexFunc(best, func(o miss) bool { return o.rec == r }); at >= 0 { // for another missing part
					if x.compare(&best[at]) >= 0 {
						continue
					}
					best = slices.Delete(best, at, at+1)
				}
				at, _ := slices.BinarySearchFunc(best, &x, func(a miss, b *miss) int { return a.compare(b) })
				best = slices.Insert(best[:min(len(best), mostMisses-1)], at, x)
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
		text, _, _ := x.need.distance(x.part)
		v.Misses = append(v.Misses, Miss{Item: x.idle[0].called(), Kind: x.kind, Code: x.code, Distance: text()})
	}
}

// only returns the one need that a part fails, nil when it fails none or several.
func (m *Missing) only(p *Part) (failed *Need) {
	for i := range m.Needs {
		if !m.Needs[i].met(p) {
			if failed != nil {
				return nil
			}
			failed = &m.Needs[i]
		}
	}
	return failed
}

// round reports whether a need is a diameter.
func (n *Need) round() bool { return n.Name == "DCONMS" || n.Name == "DCONWS" }

// distance tells how far a part is from meeting a need: for sorting (0 to 1 of the size, 2 for
// what cannot be measured), the rule it fails, and in words, made when they are asked for.
func (n *Need) distance(p *Part) (text func() string, far float64, code Code) {
	want, isNum := n.Value.(float64)
	gap := func(have Opt, unit string, code Code) (func() string, float64, Code) {
		if !have.Known {
			return func() string { return fmt.Sprintf("%s not recorded, %s asked", n.Name, num(want)) }, 1.5, code
		}
		return func() string {
			return fmt.Sprintf("%s %s%s, %s asked: %s%s off", n.Name, num(have.V), unit, num(want), num(math.Abs(have.V-want)), unit)
		}, math.Abs(have.V-want) / max(want, 1e-9), code
	}
	if isNum {
		switch n.Name {
		case "DCONMS", "DCONWS":
			have := p.DCONMS()
			if n.Name == "DCONWS" {
				have = p.DCONWS()
			}
			if p.Kind == Bar && p.CCMS() != "" {
				return gap(Opt{barD(p), barD(p) > 0}, " mm", codeOverMax) // how thick it is; nothing grips it
			}
			if !have.Known {
				break
			}
			// Which of the two goes into the other decides between loose and tight.
			shank, bore := want, have.V
			if n.Name == "DCONMS" {
				shank, bore = have.V, want
			}
			how := "loose"
			if shank > bore {
				how = "too tight"
			}
			return func() string {
				return fmt.Sprintf("%s in %s: %s mm %s", num(shank), num(bore), num(math.Abs(bore-shank)), how)
			}, math.Abs(bore-shank) / want, codeBore
		case "LSC_min":
			return gap(p.LSC(), " mm", codeClamp)
		case "OAL_min":
			return gap(p.OAL, " mm", codeShort)
		case "LF_min":
			return gap(p.LF, " mm", codeShort)
		case "LF_max":
			return gap(p.LF, " mm", codeOverMax)
		case "OAL_max":
			return gap(p.OAL, " mm", codeOverMax)
		case "CP_min":
			return gap(p.CP, " bar", codePressure)
		case "DMIN_max":
			return gap(p.DMIN, " mm", codeDmin)
		case "WT_max":
			return gap(p.WT, " kg", codeMass)
		case "OHN_max":
			return gap(p.OHN, " mm", codeOverMin)
		case "OHX_min":
			return gap(p.OHX, " mm", codeOverMax)
		case "RE":
			return gap(p.RE, " mm", warnRE)
		}
	}
	have, code := "", codeBore
	plain := func(s string) func() string { return func() string { return s } }
	switch n.Name {
	case "interface":
		have, code = p.Interface(), codeInterface
	case "CCMS":
		have, code = p.CCMS(), codeHub
	case "CCWS":
		have, code = p.CCWS(), codeHub
	case "HAND":
		have, code = p.Hand, codeHand
	case "seat":
		have, code = p.Seat(), codeSeatReq
	case "construction":
		have, code = word(p.Construction), codeOverMax
	case "clamp":
		have, code = cmp.Or(p.Clamp(), "not recorded"), codeStyle
	case "for_damped":
		return plain("not made for damped bars"), 2, codeStyle
	case "flat":
		return plain("no flat"), 2, codeStyle
	case "sealed", "coolant", "coolant_in":
		return plain("does not take or pass coolant as asked"), 2, codeBreak
	case "ends":
		have, code = word(p.Ends()), codeBreak
	}
	return func() string { return fmt.Sprintf("%s %s, %s asked", n.Name, have, word(n.Value)) }, 2, code
}
