package stack

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// missing lists what x borrows, buys or invents, with every size it must have in this stack.
// The sizes follow from the neighbours, not from the piece that would do.
func (q *search) missing(x *found) []Missing {
	var out []Missing
	short := 0
	for _, c := range x.pieces() {
		if c.tier != tierFree {
			short++
		}
	}
	if short == 0 {
		return nil
	}
	b := x.bar.rec
	d := x.d
	through, cooled := x.route == byBore, x.route != ""
	// What holds the bar, or the sleeve around it: the holder, or the last adapter in it.
	var holds, sleeve *cand
	for _, c := range x.rear.p[:x.rear.n] {
		switch {
		case c.rec.kind == Holder || c.rec.unit():
			holds = c
		case c.rec.kind == Sleeve:
			sleeve = c
		}
	}
	// A recorded holder with set screws, free or not, asks for a flat; an invented one is split.
	screwed := holds != nil && holds.tier != tierHole && sleeve == nil && b.ccms == "" && holds.rec.part.Clamp() != "split"
	add := func(c *cand, needs ...Need) {
		m := Missing{Kind: c.rec.kind, Needs: slices.DeleteFunc(needs, func(n Need) bool { return n.Value == nil })}
		if w := q.req.Station.MaxMassKg; w.Known && weighs(c.rec.kind) {
			m.Needs = append(m.Needs, Need{"WT_max", q.carries(x, c)})
		}
		out = append(out, m)
	}
	iff := func(ok bool, v any) any {
		if ok {
			return v
		}
		return nil
	}
	ifThrough := func(v any) any {
		if through {
			return v
		}
		return nil
	}
	cp := iff(cooled && q.need > 0, q.need)
	open := q.req.Station.Interface
	for _, c := range x.rear.p[:x.rear.n] {
		switch c.rec.kind {
		case Holder:
			if c.tier == tierFree {
				break
			}
			n := []Need{{"interface", open}}
			switch {
			case x.rear.with[0] != nil:
				n = append(n, x.rear.firstUnit().behind()...)
			case b.ccms != "":
				n = append(n, Need{"CCWS", b.ccms})
			default:
				bore := d
				if sleeve != nil {
					bore = sleeve.rec.shank
				}
				n = append(n, Need{"DCONWS", bore}, Need{"LSC_min", round(minGripD*d, 6)},
					Need{"clamp", iff(sleeve == nil && !screwed && (b.damped || !b.flat || x.bar.tier != tierFree), "split")})
			}
			add(c, append(n, Need{"coolant", iff(through, "through")}, Need{"CP_min", ifThrough(cp)})...)
		case Sleeve:
			if c.tier == tierFree {
				break
			}
			bore := c.rec.shank
			if holds != nil && holds.tier != tierHole {
				bore = holds.rec.bore
			}
			add(c, Need{"DCONMS", bore}, Need{"DCONWS", d}, Need{"LSC_min", round(minGripD*d, 6)},
				Need{"for_damped", iff(b.damped, true)}, Need{"sealed", iff(through, true)}, Need{"CP_min", ifThrough(cp)})
		case Adapter:
			if c.rec.unit() {
				if c.tier != tierFree {
					add(c, q.unitNeeds(x, c, iff(through, true), ifThrough(cp))...)
				}
				break
			}
			if c.tier != tierFree {
				add(c, Need{"interface", open}, Need{"seat_out", c.rec.seatAt},
					Need{"coolant", iff(through, true)}, Need{"CP_min", ifThrough(cp)})
			}
			open = c.rec.seatAt
		}
	}
	if x.bar.tier != tierFree {
		p := b.part
		flat := screwed
		n := []Need{{"DCONMS", d}, {"CCMS", iff(b.ccms != "", b.ccms)}, {"construction", iff(p.Construction != "", p.Construction)}}
		if _, most, _, _ := OverhangLimit(p.Construction, d); x.set > most*d+deadband {
			n = append(n, Need{"OHX_min", x.set}) // only the maker's own figure allows it
		}
		if b.ccws != "" {
			n = append(n, Need{"CCWS", b.ccws})
		} else {
			n = append(n, Need{"HAND", q.req.Hand}, Need{"DMIN_max", q.req.BoreStartD}, Need{"seat", q.req.Insert.Seat})
		}
		lf := x.front.lf
		if lf >= inf/8 {
			lf = 0
		}
		oal, most := x.set-x.rear.ext+minGripD*d-lf, any(nil)
		if b.ccms != "" {
			oal, most = q.l-x.rear.ext-lf, round(q.longest(x, false)-x.rear.ext-lf, 6)
		}
		if x.front.lf >= inf/8 && x.bar.tier != tierHole {
			oal = min(oal, p.OAL.V) // the head that is missing too makes up for the rest
			if b.ccms != "" {
				oal, most = p.OAL.V, p.OAL.V
			}
		}
		free := x.set - x.rear.ext // what of it sticks out of what holds it
		if b.ccms != "" {
			if b.leastOut() > q.l-x.rear.ext {
				oal = p.OAL.V // shorter, it would be under its own shortest overhang
			} else {
				free = q.l - x.rear.ext
			}
		}
		if x.bar.tier == tierHole {
			oal = max(oal, minGripD*d) // what is held of it at least
		}
		n = append(n, Need{"OAL_min", round(max(oal, 1), 6)}, Need{"OAL_max", most}, Need{"OHN_max", iff(b.damped, round(free, 6))}, Need{"flat", iff(flat, true)},
			Need{"coolant", iff(cooled, true)}, Need{"coolant_in", iff(cooled, q.inlet(x))}, Need{"CP_min", cp})
		add(x.bar, n...)
		if b.ccms == "" {
			out[len(out)-1].Prefers = []Need{{"OAL_min", round(max(oal+(goodGripD-minGripD)*d, 1), 6)}}
		}
	}
	for i, c := range x.front.p[:x.front.n] {
		if c.tier == tierFree {
			continue
		}
		switch c.rec.kind {
		case Head:
			var lf, most any
			if x.bar.tier != tierHole && b.part.OAL.Known {
				others := b.part.OAL.V + x.rear.ext
				for _, a := range x.front.p[:i] { // adapters between bar and head
					others += a.rec.part.LF.Or(0)
				}
				least := x.set + minGripD*d - others
				if b.ccms != "" {
					least = max(q.l, b.leastOut()+x.rear.ext) - others
					most = round(q.longest(x, true)-others, 6)
				}
				lf = iff(least > 1e-6, round(least, 6))
			}
			if own := c.rec.part.LF; x.bar.tier != tierFree && own.Known && own.V > 0 {
				lf = own.V // the length asked of the bar counts on it
				if b.ccms != "" {
					most = own.V
				}
			}
			add(c, Need{"CCMS", c.rec.ccms}, Need{"HAND", q.req.Hand}, Need{"DMIN_max", q.req.BoreStartD},
				Need{"seat", q.req.Insert.Seat}, Need{"LF_min", lf}, Need{"LF_max", most}, Need{"coolant", iff(cooled, true)}, Need{"CP_min", cp})
		case Adapter:
			add(c, Need{"CCMS", c.rec.ccms}, Need{"CCWS", c.rec.ccws}, Need{"DMIN_max", q.req.BoreStartD},
				Need{"LF_min", iff(c.rec.part.LF.Known, c.rec.part.LF.V)}, Need{"LF_max", iff(c.rec.part.LF.Known && b.ccms != "", c.rec.part.LF.V)},
				Need{"coolant", iff(cooled, true)}, Need{"CP_min", cp})
		case Insert:
			add(c, Need{"seat", q.req.Insert.Seat}, Need{"RE", iff(q.req.Insert.RE.Known, q.req.Insert.RE.V)})
		}
	}
	if x.line != nil {
		for _, c := range x.line.p[:x.line.n] {
			if c.tier != tierFree {
				ends := slices.Clone(c.rec.ends)
				slices.Sort(ends)
				add(c, Need{"ends", ends}, Need{"CP_min", cp})
			}
		}
	}
	return out
}

// inlet names the inlet through which x's bar is fed.
func (q *search) inlet(x *found) []string {
	if x.line == nil {
		return []string{"bore"}
	}
	return []string{opposite(x.line.open)}
}

// carries returns the kilograms a missing part may have so that the station still carries the
// stack: what the others leave. Missing parts share it equally; a recorded one has its own mass
// on top when nothing is invented beside it, and only its own when something is.
func (q *search) carries(x *found, c *cand) float64 {
	left, holes, short := q.req.Station.MaxMassKg.V, 0, 0
	for _, c := range x.pieces() {
		if !weighs(c.rec.kind) {
			continue
		}
		if c.tier == tierHole {
			holes++
		} else {
			left -= c.rec.wt
		}
		if c.tier != tierFree {
			short++
		}
	}
	share := func(n int) float64 { return math.Floor(max(left, 0)/float64(n)*1000+1e-6) / 1000 }
	switch {
	case c.tier == tierHole:
		return share(holes)
	case holes > 0:
		return c.rec.wt
	}
	return c.rec.wt + share(short)
}

// spellMissing spells the sizes of all that x misses.
func (q *search) spellMissing(x *found) string {
	o := Option{Parts: q.missing(x)}
	return o.key()
}

// fits reports whether a recorded part has every size a missing one needs. l is the overhang
// asked for, which a bar's own longest overhang must allow.
func (m *Missing) fits(p *Part, l float64) bool {
	if p.Kind != m.Kind || p.Kind == Bar && p.OHX.Known && p.OHX.V < m.overhang(p, l)-deadband || p.Kind == Head && !p.LF.Known {
		return false
	}
	for _, n := range m.Needs {
		if !n.met(p) {
			return false
		}
	}
	return true
}

func (n *Need) met(p *Part) bool {
	f, _ := n.Value.(float64)
	s, _ := n.Value.(string)
	atLeast := func(o Opt) bool { return o.Known && o.V >= f-deadband }
	atMost := func(o Opt) bool { return o.Known && o.V <= f+deadband }
	switch n.Name {
	case "interface":
		return p.Interface() == s
	case "seat_out":
		return p.code(Workpiece, TurretSeat) == s
	case "DCONMS":
		if p.Kind == Bar {
			return barD(p) > 0 && Equal(barD(p), f) // of one held by a coupling too
		}
		return p.DCONMS().Known && Equal(p.DCONMS().V, f)
	case "DCONWS":
		return p.DCONWS().Known && Equal(p.DCONWS().V, f)
	case "CCMS":
		return p.CCMS() == s
	case "CCWS":
		return p.CCWS() == s
	case "HAND":
		return p.Hand == s || p.Hand == "N"
	case "seat":
		return seatKey(p.Seat()) == seatKey(s)
	case "construction":
		return p.Construction == s
	case "clamp":
		return p.Clamp() == s
	case "coolant":
		return p.Coolant
	case "sealed":
		return p.Sealed
	case "for_damped":
		return p.ForDamped
	case "flat":
		return p.Flat()
	case "coolant_in":
		for _, j := range p.Joints {
			if j.Side == CoolantIn && slices.Contains(n.Value.([]string), j.End()) {
				return true
			}
		}
		return false
	case "ends":
		ends := slices.Clone(p.Ends())
		slices.Sort(ends)
		return slices.Equal(ends, n.Value.([]string))
	case "RE":
		return p.RE.Known && p.RE.V >= f-deadband && p.RE.V <= f+deadband
	case "LSC_min":
		return atLeast(p.LSC())
	case "OHX_min":
		return atLeast(p.OHX)
	case "OAL_min":
		return atLeast(p.OAL)
	case "OAL_max":
		return atMost(p.OAL)
	case "LF_min":
		return atLeast(p.LF)
	case "LF_max":
		return atMost(p.LF)
	case "CP_min":
		return f <= 0 || atLeast(p.CP)
	case "DMIN_max":
		return atMost(p.DMIN)
	case "WT_max":
		return atMost(p.WT)
	case "OHN_max":
		return !p.OHN.Known || atMost(p.OHN)
	}
	return false
}

// options turns what the missing search found into options: smallest sets only, told once,
// easiest to get first.
func (q *search) options(all []found, most int) []Option {
	if len(all) == 0 {
		return nil
	}
	out := make([]Option, len(all))
	keys := make([]map[string]bool, len(all))
	of := make(map[*Missing]*found, len(all)) // an option's first part names it while it is moved about
	for i := range all {
		o := &out[i]
		o.Parts, o.Cost = q.missing(&all[i]), all[i].cost
		of[&o.Parts[0]] = &all[i]
		keys[i] = map[string]bool{}
		for _, m := range o.Parts {
			if m.Kind == Fitting {
				m.Kind = Hose // one name for what joins two ends
			}
			keys[i][m.key()] = true
		}
	}
	kept := out[:0:0]
	for i := range out {
		o, larger := &out[i], false
		for j := range out {
			if i != j && out[j].weaker(o) && !(o.weaker(&out[j]) && i < j) {
				larger = true // whatever does for this one does for that one: told once, in the looser form
				break
			}
			// More parts for more trouble is no answer when fewer will do.
			if len(out[j].Parts) < len(o.Parts) && out[j].Cost <= o.Cost {
				larger = true
				break
			}
			if i == j || len(keys[j]) > len(keys[i]) || len(keys[j]) == len(keys[i]) && j > i {
				continue
			}
			sub := true
			for k := range keys[j] {
				sub = sub && keys[i][k]
			}
			larger = larger || sub
		}
		if larger {
			continue
		}
		for j := range o.Parts {
			q.fill(&o.Parts[j])
		}
		o.sum(q.req)
		kept = append(kept, *o)
	}
	found := func(o *Option) *found { return of[&o.Parts[0]] }
	slices.SortStableFunc(kept, func(a, b Option) int {
		return cmp.Or(cmp.Compare(a.Cost, b.Cost), cmp.Compare(found(&a).warn.count(), found(&b).warn.count()),
			cmp.Compare(orLast(a.AvailableOn), orLast(b.AvailableOn)), cmp.Compare(a.key(), b.key()))
	})
	kept = kept[:min(len(kept), most)]
	for i := range kept {
		st := q.stack(found(&kept[i]))
		kept[i].Stack, kept[i].Warnings = &st, st.Warnings
	}
	return kept
}

// weaker reports whether every set of parts that meets o2 also meets o: as many parts, each
// asking no more than its counterpart. Both lists are in the order of the stack.
func (o *Option) weaker(o2 *Option) bool {
	if len(o.Parts) != len(o2.Parts) {
		return false
	}
	for i := range o.Parts {
		if !o.Parts[i].weaker(&o2.Parts[i]) {
			return false
		}
	}
	return true
}

func (m *Missing) weaker(m2 *Missing) bool {
	if m.Kind != m2.Kind {
		return false
	}
	for _, n := range m.Needs {
		if n.Name == "WT_max" {
			continue
		}
		met := false
		for _, n2 := range m2.Needs {
			met = met || n.Name == n2.Name && n.looser(n2)
		}
		if !met {
			return false
		}
	}
	return true
}

// looser reports whether what meets n2, a need of the same name, meets n too.
func (n Need) looser(n2 Need) bool {
	a, okA := n.Value.(float64)
	b, okB := n2.Value.(float64)
	list, many := n.Value.([]string)
	list2, _ := n2.Value.([]string)
	switch {
	case many:
		return slices.Equal(list, list2)
	case !okA || !okB:
		return n.Value == n2.Value
	case strings.HasSuffix(n.Name, "_min"):
		return a <= b
	case strings.HasSuffix(n.Name, "_max"):
		return a >= b
	}
	return a == b
}

// sum works out when and for how much an option can be had.
func (o *Option) sum(r *Request) {
	var words []string
	o.Earliest = r.NeedDate
	waiting, price, priced := true, 0.0, true
	for i := range o.Parts {
		m := &o.Parts[i]
		words = append(words, m.Text())
		if day := m.had(r); day == "" || o.Earliest == "" {
			o.Earliest = ""
		} else if day > o.Earliest {
			o.Earliest = day
		}
		dated := false
		if len(m.Owned) > 0 && m.Owned[0].From != "" {
			dated = true
			b := m.Owned[0]
			if b.From > o.AvailableOn {
				o.AvailableOn = b.From
			}
			if b.HeldBy != "" {
				if o.HeldBy != "" {
					o.HeldBy += "; "
				}
				o.HeldBy += b.HeldBy
			}
			continue
		}
		if !dated {
			waiting = false
			if len(m.Owned) > 0 && m.Owned[0].HeldBy != "" && o.HeldBy == "" {
				o.HeldBy = m.Owned[0].HeldBy
			}
		}
		if len(m.Catalogue) == 0 || !m.Catalogue[0].Part.PriceCents.Known ||
			o.Currency != "" && o.Currency != m.Catalogue[0].Part.Currency {
			priced = false
			continue
		}
		p := m.Catalogue[0].Part
		o.Currency = p.Currency
		price += p.PriceCents.V
		if p.LeadDays.Known && p.LeadDays.V > o.LeadDays.Or(0) {
			o.LeadDays = p.LeadDays
		}
	}
	if !waiting {
		o.AvailableOn = ""
		if priced {
			o.PriceCents = Some(price)
		} else {
			o.Currency = ""
		}
	}
	o.Text = strings.Join(words, "; and ")
}

// had returns the first day a missing part can be had: what the shop owns as soon as it is back,
// else the first recorded one ordered today; "" when that is not known.
func (m *Missing) had(r *Request) Date {
	if len(m.Owned) > 0 && m.Owned[0].From != "" {
		return m.Owned[0].From
	}
	if r.Today == "" || len(m.Catalogue) == 0 || !m.Catalogue[0].Part.LeadDays.Known {
		return ""
	}
	return r.Today.AddDays(int(math.Ceil(m.Catalogue[0].Part.LeadDays.V)))
}

// needWords say a size to a person.
var needWords = map[string]string{
	"interface": "turret side %s", "seat_out": "turret seat %s in front", "DCONMS": "shank %s", "DCONWS": "bore %s",
	"CCMS": "coupling %s on the machine side", "CCWS": "coupling %s in front", "HAND": "hand %s", "seat": "pocket %s",
	"construction": "%s", "clamp": "%s clamp", "coolant": "passing coolant", "sealed": "sealed", "for_damped": "made for damped bars",
	"flat": "with a flat", "coolant_in": "coolant inlet %s", "ends": "ends %s", "RE": "nose radius %s mm",
	"LSC_min": "gripping at least %s mm", "OAL_min": "at least %s mm long", "OHX_min": "allowed at least %s mm of overhang by its maker", "LF_min": "adding at least %s mm",
	"OAL_max": "at most %s mm long", "LF_max": "adding at most %s mm",
	"CP_min": "rated %s bar or more", "DMIN_max": "smallest hole %s mm or less", "WT_max": "at most %s kg",
	"OHN_max": "shortest overhang, if it has one, at most %s mm",
}

// ownWords say it where a kind of part has its own word.
var ownWords = map[Kind]map[string]string{
	Sleeve: {"DCONMS": "outside %s", "DCONWS": "inside %s"},
	Bar:    {"coolant": "drilled for coolant"},
	Holder: {"coolant": "feeding its bore with coolant"},
	Insert: {"seat": "for pocket %s"},
}

// rangeWords say a size that has both limits, exactWords one whose limits are one.
var (
	rangeWords = map[string]string{"OAL_min": "%s to %s mm long", "LF_min": "adding %s to %s mm"}
	exactWords = map[string]string{"OAL_min": "%s mm long", "LF_min": "adding %s mm"}
)

// anyMass is a mass in kg that hardly a part of its kind reaches: a limit above it is not worth
// a word. Common practice, no source.
var anyMass = map[Kind]float64{Sleeve: 3, Head: 3, Adapter: 8, Holder: 15, Bar: 20}

// Text describes a missing part with all its sizes in words.
func (m *Missing) Text() string {
	var w []string
	need := m.Requires()
	for _, n := range m.Needs {
		f := cmp.Or(ownWords[m.Kind][n.Name], needWords[n.Name])
		value := word(n.Value)
		mm, isNum := n.Value.(float64)
		switch n.Name {
		case "WT_max":
			if isNum && mm >= anyMass[m.Kind] {
				continue // no such part is heavier; the limit stands in the table of sizes
			}
			if mm == 0 {
				f = "weighing nothing, as the rest weighs all that the station carries"
			}
		case "DCONMS", "DCONWS":
			value = sizeOf(mm, inchSize(mm))
			if m.Kind == Bar && need["CCMS"] != nil {
				f = "%s thick"
			}
		case "coolant_in":
			if list, _ := n.Value.([]string); slices.Equal(list, []string{"bore"}) {
				f, value = "coolant inlet at its rear", ""
			} else {
				value = endWords(list, " or ")
			}
		case "ends":
			if list, ok := n.Value.([]string); ok {
				value = endWords(list, " and ")
			}
		case "OAL_min", "LF_min":
			most, both := need[strings.Replace(n.Name, "_min", "_max", 1)].(float64)
			switch {
			case both && most == mm:
				f = exactWords[n.Name]
			case both:
				w = append(w, fmt.Sprintf(rangeWords[n.Name], value, num(most)))
				continue
			}
		case "OAL_max", "LF_max":
			if need[strings.Replace(n.Name, "_max", "_min", 1)] != nil {
				continue // told with the other limit
			}
			if mm == 0 {
				f = "adding no length"
			}
		}
		if strings.Contains(f, "%s") {
			f = fmt.Sprintf(f, value)
		}
		w = append(w, f)
	}
	article := "a "
	if m.Kind == Insert || m.Kind == Adapter {
		article = "an "
	}
	return article + string(m.Kind) + ": " + strings.Join(w, ", ")
}

func word(v any) string {
	switch v := v.(type) {
	case float64:
		return num(v)
	case []string:
		return strings.Join(v, " and ")
	case string:
		return strings.ReplaceAll(v, "_", " ")
	}
	return fmt.Sprint(v)
}
