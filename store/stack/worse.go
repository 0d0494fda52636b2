package stack

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Easier fills v.Worse with a yes to an easier question: dry, at less pressure, less deep,
// another insert. Each says what changes; none is offered where the machine or a part forbids
// it. It asks the shelf some dozens of times, so it is for a verdict that a person reads, not
// for every keystroke. A buildable verdict is left alone.
func (s *Shelf) Easier(r Request, v *Verdict) {
	if v.Buildable || r.Validate() != nil {
		return
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	v.Worse = nil
	s.worse(&r, v)
}

func (s *Shelf) worse(r *Request, v *Verdict) {
	try := func(what string, easier Request, say func(*Stack) string) bool {
		if easier.Validate() != nil {
			return false
		}
		q := newSearch(s, &easier, modeStrict, 1)
		if all := q.run(); len(all) > 0 {
			st := q.stack(&all[0])
			v.Worse = append(v.Worse, Worse{What: what, Changes: say(&st), Stack: st})
			return true
		}
		return false
	}
	if r.Coolant {
		if bar := s.bestPressure(r); bar > 0 {
			easier := *r
			easier.CoolantBar = bar
			try("lower_pressure", easier, func(*Stack) string {
				return fmt.Sprintf("at %s bar instead of %s it can be built: chips may not be carried out", num(bar), num(r.CoolantBar))
			})
		}
		easier := *r
		easier.Coolant, easier.CoolantBar = false, 0
		try("build_dry", easier, func(*Stack) string { return "without coolant it can be built: heat and chips stay in the bore" })
	}
	if d := s.reachable(r); d > 0 {
		easier := *r
		easier.Depth = d
		try("less_deep", easier, func(st *Stack) string {
			return fmt.Sprintf("%s mm of the %s mm depth can be bored: the rest from the other side, or with another tool", num(d), num(r.Depth))
		})
	}
	seats := map[string]string{}
	for k, list := range s.index {
		if k.side == Machine && k.family == Pocket && k.code != seatKey(r.Insert.Seat) && len(list) > 0 {
			seats[k.code] = list[0].part.Seat()
		}
	}
	const mostSeats = 12 // enough for a shop's pockets of one size; a bound for a page
	n := 0
	for _, k := range sortedKeys(seats) {
		// The same shape keeps the cutting edge angles of the job.
		if len(k) < 2 || len(r.Insert.Seat) < 2 || k[0] != seatKey(r.Insert.Seat)[0] {
			continue
		}
		if n++; n > mostSeats {
			break
		}
		easier := *r
		easier.Insert.Seat = seats[k]
		if try("other_insert", easier, func(*Stack) string {
			return fmt.Sprintf("with insert pocket %s instead of %s it can be built: other edge length and thickness, new cutting data", seats[k], r.Insert.Seat)
		}) {
			break
		}
	}
}

// bestPressure returns the highest pressure under the one asked at which a stack can be built,
// 0 when there is none.
func (s *Shelf) bestPressure(r *Request) float64 {
	easier := *r
	easier.CoolantBar = 0
	best := 0.0
	// Every rating on the way up is a step; each search answers the best line it found.
	for range 8 {
		q := newSearch(s, &easier, modeStrict, K)
		all := q.run()
		if len(all) == 0 {
			return best
		}
		step := 0.0
		for i := range all {
			if rt := q.routeOf(&all[i]); rt.Limit.Known {
				step = max(step, rt.Limit.V)
			}
		}
		step = min(step, r.Station.CoolantMaxBar.Or(0), r.CoolantBar)
		if step <= best || step >= r.CoolantBar {
			return best
		}
		best = step
		easier.CoolantBar = math.Nextafter(step, inf)
	}
	return best
}

// reachable returns the greatest whole depth in mm under the one asked that can be bored, 0
// when there is none of at least half. More depth never makes a stack buildable that less
// does not, except under a damped bar's shortest overhang, which only moves it out.
func (s *Shelf) reachable(r *Request) float64 {
	can := func(d float64) bool {
		easier := *r
		easier.Depth = d
		return easier.Validate() == nil && len(newSearch(s, &easier, modeStrict, 1).run()) > 0
	}
	lo, hi := math.Ceil(r.Depth/2), math.Ceil(r.Depth)-1
	if lo > hi || !can(lo) {
		return 0
	}
	for lo < hi {
		mid := math.Ceil((lo + hi) / 2)
		if can(mid) {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return lo
}

// misses lists owned parts that nearly fit the first option, with their distance, nearest
// first.
func (s *Shelf) misses(v *Verdict) {
	if len(v.Options) == 0 {
		return
	}
	type miss struct {
		Miss
		far float64
	}
	var all []miss
	for i := range v.Options[0].Parts {
		m := &v.Options[0].Parts[i]
		look := func(c *rec) {
			if len(c.idle) == 0 || c.kind != m.Kind || slices.ContainsFunc(all, func(x miss) bool { return x.Item == c.idle[0].ID }) {
				return
			}
			var failed []Need
			for _, n := range m.Needs {
				if !n.met(c.part) {
					failed = append(failed, n)
				}
			}
			if len(failed) != 1 {
				return
			}
			text, far, code := failed[0].distance(m.Kind, c.part)
			if round := strings.HasPrefix(failed[0].Name, "DCON"); round && far > nearBore {
				return // another size altogether
			}
			all = append(all, miss{Miss{Item: c.idle[0].called(), Kind: m.Kind, Code: code, Distance: text}, far})
		}
		// By each joint it must have: whatever agrees in one may fail in the other.
		for _, n := range m.Needs {
			switch n.Name {
			case "interface":
				for _, c := range s.at(Machine, TurretSeat, n.Value.(string)) {
					look(c)
				}
			case "DCONMS":
				for _, c := range s.index[jointKey{side: Machine, family: Cylindrical, size: sizeKey(n.Value.(float64))}] {
					look(c)
				}
			case "DCONWS":
				s.round(Workpiece, n.Value.(float64), look)
			case "CCMS":
				for _, c := range s.at(Machine, Coupling, n.Value.(string)) {
					look(c)
				}
			case "CCWS":
				for _, c := range s.at(Workpiece, Coupling, n.Value.(string)) {
					look(c)
				}
			case "ends":
				for _, e := range n.Value.([]string) {
					for _, w := range s.enter[e] {
						look(w.rec)
					}
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b miss) int { return cmp.Or(cmp.Compare(a.far, b.far), cmp.Compare(a.Item, b.Item)) })
	const most = 6
	for _, m := range all[:min(len(all), most)] {
		v.Misses = append(v.Misses, m.Miss)
	}
}

// nearBore is how far a diameter may be off, as a share of the one asked for, and still be
// taken for it by mistake: 25 for 25.4, 31.75 for 32, 38.1 for 40. Common practice, no source.
const nearBore = 0.06

// distance says how far a part is from meeting a need, how far that is for sorting (0 to 1 of
// the size, 2 for what cannot be measured), and which rule it fails.
func (n *Need) distance(k Kind, p *Part) (text string, far float64, code Code) {
	want, isNum := n.Value.(float64)
	gap := func(have Opt, unit string, code Code) (string, float64, Code) {
		if !have.Known {
			return fmt.Sprintf("%s not recorded, %s asked", n.Name, num(want)), 1.5, code
		}
		return fmt.Sprintf("%s %s%s, %s asked: %s%s off", n.Name, num(have.V), unit, num(want), num(math.Abs(have.V-want)), unit),
			math.Abs(have.V-want) / max(want, 1e-9), code
	}
	if isNum {
		switch n.Name {
		case "DCONMS", "DCONWS":
			have := p.DCONMS()
			if n.Name == "DCONWS" {
				have = p.DCONWS()
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
			return fmt.Sprintf("%s in %s: %s mm %s", num(shank), num(bore), num(math.Abs(bore-shank)), how), math.Abs(bore-shank) / want, codeBore
		case "LSC_min":
			return gap(p.LSC(), " mm", codeClamp)
		case "OAL_min":
			return gap(p.OAL, " mm", codeShort)
		case "LF_min":
			return gap(p.LF, " mm", codeShort)
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
		return "not made for damped bars", 2, codeStyle
	case "flat":
		return "no flat", 2, codeStyle
	case "sealed", "coolant", "coolant_in":
		return "does not take or pass coolant as asked", 2, codeBreak
	case "ends":
		have, code = word(p.Ends()), codeBreak
	}
	return fmt.Sprintf("%s %s, %s asked", n.Name, have, word(n.Value)), 2, code
}
