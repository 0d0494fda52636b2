package stack

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
)

// A twin answers a request by trying every combination, written from the rules alone: no
// index, no search, nothing of the code it checks but the types. It tells whether a stack can
// be built, and the fewest warnings and parts of one.
type twinAnswer struct {
	ok              bool
	warnings, parts int
}

func (a twinAnswer) better(b twinAnswer) bool {
	return !b.ok || a.warnings < b.warnings || a.warnings == b.warnings && a.parts < b.parts
}

func twinFree(it Item, r Request) bool {
	if it.Status != In || it.Qty <= 0 {
		return false
	}
	until := r.NeedDate
	if r.Until != "" {
		until = r.Until
	}
	for _, v := range it.Reserved {
		if v.Job != r.Job && v.From <= until && v.To >= r.NeedDate {
			return false
		}
	}
	return true
}

func twin(r Request, items []Item) twinAnswer {
	var best twinAnswer
	of := func(k Kind) (out []Item) {
		for _, it := range items {
			if it.Part.Kind == k && twinFree(it, r) {
				out = append(out, it)
			}
		}
		return out
	}
	holders, sleeves, bars, heads, inserts := of(Holder), append([]Item{{}}, of(Sleeve)...), of(Bar), of(Head), of(Insert)
	plumbing := append(of(Hose), of(Fitting)...)
	adapters := of(Adapter)
	for _, h := range holders {
		for _, seats := range twinSeatChains(r.Station.Interface, h.Part.Interface(), adapters) {
			for _, s := range sleeves {
				for _, b := range bars {
					fronts := [][]Item{nil}
					if b.Part.CCWS() != "" {
						fronts = twinFronts(b.Part.CCWS(), heads, adapters, seats)
					}
					for _, f := range fronts {
						for _, in := range inserts {
							if a := twinStack(r, seats, h, s, b, f, in, plumbing); a.ok && a.better(best) {
								best = a
							}
						}
					}
				}
			}
		}
	}
	return best
}

// twinSeatChains lists the rows of up to two turret adapters from one seat to another.
func twinSeatChains(from, to string, adapters []Item) [][]Item {
	var out [][]Item
	if from == to {
		out = append(out, nil)
	}
	for _, a := range adapters {
		if a.Part.Interface() != from {
			continue
		}
		if a.Part.code(Workpiece, TurretSeat) == to {
			out = append(out, []Item{a})
		}
		for _, b := range adapters {
			if b.ID != a.ID && b.Part.Interface() == a.Part.code(Workpiece, TurretSeat) && b.Part.Interface() != "" &&
				b.Part.code(Workpiece, TurretSeat) == to {
				out = append(out, []Item{a, b})
			}
		}
	}
	return out
}

// twinFronts lists the rows of up to two coupling adapters and a head.
func twinFronts(coupling string, heads, adapters, used []Item) [][]Item {
	var out [][]Item
	end := func(c string, row []Item) {
		for _, h := range heads {
			if h.Part.CCMS() == c {
				out = append(out, append(slices.Clone(row), h))
			}
		}
	}
	end(coupling, nil)
	for _, a := range adapters {
		if a.Part.CCMS() != coupling || a.Part.CCWS() == "" {
			continue
		}
		end(a.Part.CCWS(), []Item{a})
		for _, b := range adapters {
			if b.ID != a.ID && b.Part.CCMS() == a.Part.CCWS() && b.Part.CCWS() != "" {
				end(b.Part.CCWS(), []Item{a, b})
			}
		}
	}
	return out
}

func twinStack(r Request, seats []Item, h, s, b Item, front []Item, in Item, plumbing []Item) twinAnswer {
	no := twinAnswer{}
	d := b.Part.DCONMS().V
	sleeve := s.Part != nil
	bore := h.Part.DCONWS().V
	// Bore chain.
	if sleeve {
		if math.Abs(bore-s.Part.DCONMS().V) > 0.02+1e-9 || math.Abs(s.Part.DCONWS().V-d) > 0.02+1e-9 {
			return no
		}
	} else if math.Abs(bore-d) > 0.02+1e-9 {
		return no
	}
	w := map[string]bool{}
	// Clamp style.
	damped := strings.HasPrefix(b.Part.Construction, "damped")
	split := h.Part.Clamp() == "split"
	switch {
	case damped && !sleeve && !split:
		return no
	case damped && sleeve && !s.Part.ForDamped:
		return no
	case damped && sleeve && !split:
		w["W_SCREW_ON_SLEEVE"] = true
	case !damped && !sleeve && !split:
		if !b.Part.Flat() {
			return no
		}
		if b.Part.Construction == "carbide" {
			w["W_SCREW_CARBIDE"] = true
		}
	}
	// Overhang.
	l := r.Depth + r.Clearance
	set := l
	if damped && b.Part.OHN.Known && b.Part.OHN.V > l {
		set = b.Part.OHN.V
		w["W_OHN_EXTEND"] = true
	}
	took := 0.0
	for _, a := range seats {
		if r.Station.MaxProjection.Known && !a.Part.LF.Known {
			return no
		}
		took += a.Part.LF.V
	}
	if r.Station.MaxProjection.Known && set+took > r.Station.MaxProjection.V+1e-9 {
		return no
	}
	var rec, most float64
	switch b.Part.Construction {
	case "steel":
		rec, most = 3, 4
	case "heavy_metal":
		rec, most = 5, 6
	case "carbide":
		rec, most = 6, 7
	case "damped_steel":
		rec, most = 8, 10
		if d <= 20 {
			rec, most = 6, 7
		}
	case "damped_carbide":
		rec, most = 12, 14
		if d <= 20 {
			rec, most = 9, 10
		}
	}
	longest := most * d
	if b.Part.OHX.Known {
		longest = b.Part.OHX.V
	} else if most == 0 {
		return no
	}
	if set > longest+1e-9 {
		return no
	}
	if most > 0 && set > rec*d+1e-9 {
		w["W_OVERHANG_REC"] = true
	}
	// Grip.
	lsc := h.Part.LSC()
	if !lsc.Known {
		return no
	}
	if sleeve {
		if !s.Part.LSC().Known {
			return no
		}
		lsc.V = math.Min(lsc.V, s.Part.LSC().V)
	}
	lf := 0.0
	for _, f := range front {
		if !f.Part.LF.Known {
			return no
		}
		lf += f.Part.LF.V
	}
	if !b.Part.OAL.Known {
		return no
	}
	held := math.Min(lsc.V, b.Part.OAL.V+lf-set)
	if held < 3*d-1e-9 {
		return no
	}
	if held < 4*d-1e-9 {
		w["W_CLAMP_SHORT"] = true
	}
	// The cutting end.
	edge := b
	for i, f := range front {
		if i < len(front)-1 { // an adapter
			if !f.Part.DMIN.Known || f.Part.DMIN.V > r.BoreStartD {
				return no
			}
			continue
		}
		edge = f
	}
	if !edge.Part.DMIN.Known || edge.Part.DMIN.V > r.BoreStartD || d >= r.BoreStartD {
		return no
	}
	if d > 0.8*r.BoreStartD+1e-9 {
		w["W_CHIP_ROOM"] = true
	}
	if edge.Part.Hand != r.Hand && edge.Part.Hand != "N" {
		return no
	}
	if edge.Part.Seat() != r.Insert.Seat || in.Part.Seat() != r.Insert.Seat {
		return no
	}
	if r.Insert.RE.Known && (!in.Part.RE.Known || in.Part.RE.V != r.Insert.RE.V) {
		w["W_RE_DIFF"] = true
	}
	if in.Qty*in.Part.Edges < r.EdgesNeeded {
		w["W_LOW_EDGES"] = true
	}
	if sleeve && s.Part.Index == "none" {
		w["W_CENTRE_HEIGHT"] = true
	}
	// Mass.
	mass, unknown := 0.0, false
	heavy := append(append(slices.Clone(seats), h, b), front...)
	if sleeve {
		heavy = append(heavy, s)
	}
	for _, p := range heavy {
		mass += p.Part.WT.V
		unknown = unknown || !p.Part.WT.Known
	}
	if m := r.Station.MaxMassKg; m.Known && (unknown || mass > m.V+1e-9) {
		return no
	}
	if mass > 15+1e-9 {
		w["W_HEAVY"] = true
	}
	a := twinAnswer{ok: true, warnings: len(w), parts: len(heavy) + 1}
	if !r.Coolant {
		return a
	}
	// Coolant.
	if !r.Station.CoolantMaxBar.Known && r.CoolantBar > 0 || r.CoolantBar > r.Station.CoolantMaxBar.V {
		return no
	}
	rated := func(its ...Item) bool {
		for _, it := range its {
			if r.CoolantBar > 0 && (!it.Part.CP.Known || it.Part.CP.V < r.CoolantBar) {
				return false
			}
		}
		return true
	}
	if !b.Part.Coolant || !rated(b) || !rated(front...) {
		return no
	}
	for _, f := range front {
		if !f.Part.Coolant {
			return no
		}
	}
	through, inlets := false, []string{}
	for _, j := range b.Part.Joints {
		if j.Side == CoolantIn {
			if j.Family == Through {
				through = true
			} else {
				inlets = append(inlets, j.Gender+":"+j.Code)
			}
		}
	}
	if through && h.Part.Coolant && rated(h) && rated(seats...) && (!sleeve || s.Part.Sealed && rated(s)) {
		whole := true
		for _, p := range seats {
			whole = whole && p.Part.Coolant
		}
		if whole {
			return a
		}
	}
	n := 0
	for _, inlet := range inlets {
		if m := twinLine(r.Station.CoolantPort, inlet, plumbing, rated, 4); m > 0 && (n == 0 || m < n) {
			n = m
		}
	}
	if n == 0 {
		return no
	}
	a.parts += n
	return a
}

// twinLine returns the fewest pieces that join an open end to an inlet, 0 when none do.
func twinLine(open, inlet string, pieces []Item, rated func(...Item) bool, most int) int {
	if open == "" || most == 0 {
		return 0
	}
	best := 0
	for i, p := range pieces {
		if !rated(p) {
			continue
		}
		e := p.Part.Ends()
		for _, way := range [][2]string{{e[0], e[1]}, {e[1], e[0]}} {
			if way[0] != twinOpposite(open) {
				continue
			}
			if way[1] == twinOpposite(inlet) {
				return 1
			}
			rest := slices.Delete(slices.Clone(pieces), i, i+1)
			if n := twinLine(way[1], inlet, rest, rated, most-1); n > 0 && (best == 0 || n+1 < best) {
				best = n + 1
			}
		}
	}
	return best
}

func twinOpposite(end string) string {
	if end[0] == 'M' {
		return "F" + end[1:]
	}
	return "M" + end[1:]
}

// A maker of random shelves. Sizes come from short lists, so that parts often nearly fit.
type maker struct {
	*rand.Rand
	n    int
	kind int     // of 4: how close to the request the shelf is made
	want Request // what the parts are made to be near to
}

// near picks v three times in four on a friendly shelf, else any of the list.
func near[T any](m *maker, v T, of ...T) T {
	if m.kind > 0 && !m.chance(2+4*m.kind) {
		return v
	}
	return pick(m, of...)
}

func pick[T any](m *maker, of ...T) T { return of[m.IntN(len(of))] }

func (m *maker) opt(of ...float64) Opt {
	if m.IntN(12+24*m.kind) == 0 {
		return Opt{}
	}
	return Some(pick(m, of...))
}

func (m *maker) chance(n int) bool { return m.IntN(n) == 0 }

var twinThreads = []string{"G 1/4", "NPT 1/4", "G 3/8"}

func (m *maker) end() string { return pick(m, "M:", "F:") + pick(m, twinThreads...) }

func (m *maker) request() Request {
	m.kind = m.IntN(4)
	r := Request{Job: "J-1", NeedDate: "2026-03-16", Station: Station{Interface: pick(m, "VDI40", "BMT65"), CoolantMaxBar: m.opt(50, 80)},
		BoreStartD: pick(m, 30.0, 38, 45, 45, 60), Depth: pick(m, 40.0, 60, 80, 120, 200), Clearance: pick(m, 15.0, 20),
		Hand: pick(m, "R", "R", "L"), Insert: Wanted{Seat: pick(m, "CCMT09T3", "CCMT09T3", "CNMG1204")}}
	if m.chance(2) {
		r.Insert.RE = Some(pick(m, 0.4, 0.8))
	}
	if m.chance(3) {
		r.EdgesNeeded = pick(m, 4, 12)
	}
	if m.chance(4) {
		r.Station.MaxProjection = Some(pick(m, 120.0, 180, 260))
	}
	if m.chance(4) {
		r.Station.MaxMassKg = Some(pick(m, 10.0, 20, 30))
	}
	if m.chance(4) {
		r.Until = "2026-03-18"
	}
	if m.chance(2) {
		r.Coolant, r.CoolantBar = true, pick(m, 0.0, 20, 40)
		if !m.chance(3) {
			r.Station.CoolantPort = "F:G 1/4"
		}
	}
	m.want = r
	return r
}

func (m *maker) part(k Kind) *Part {
	m.n++
	p := &Part{Kind: k, WT: m.opt(0.5, 3, 5, 8), CP: m.opt(20, 40, 80)}
	switch k {
	case Holder:
		p.Joints = []Joint{{Side: Machine, Family: TurretSeat, Code: near(m, m.want.Station.Interface, "VDI40", "BMT65")},
			{Side: Workpiece, Family: Cylindrical, Gender: "F", Size: Some(near(m, 25.0, 25.0, 32, 40)), Clamp: near(m, "split", "split", "screws", ""), LSC: m.opt(70, 96, 110, 140)}}
		p.Coolant = !m.chance(3)
	case Sleeve:
		out := pick(m, 32.0, 40)
		in := pick(m, 20.0, 25)
		if out == 40 && m.chance(2) {
			in = 32
		}
		p.Joints = []Joint{{Side: Machine, Family: Cylindrical, Gender: "M", Size: Some(out)},
			{Side: Workpiece, Family: Cylindrical, Gender: "F", Size: Some(in), LSC: m.opt(70, 96, 110, 140)}}
		p.ForDamped, p.Sealed, p.Index = m.chance(2), m.chance(2), pick(m, "scribe", "none", "plunger")
	case Bar:
		p.Construction = pick(m, "damped_steel", "damped_carbide", "steel", "carbide", "heavy_metal", "damped_steel", "damped_carbide", "")
		p.Joints = []Joint{{Side: Machine, Family: Cylindrical, Gender: "M", Size: Some(near(m, 25, 20.0, 25, 25.01, 32)), Flat: m.chance(2)}}
		p.OAL = m.opt(180, 240, 300, 420)
		if m.chance(4) {
			p.OHN = Some(pick(m, 80.0, 140))
		}
		if m.chance(4) {
			p.OHX = Some(pick(m, 150.0, 250))
		}
		if m.chance(5) {
			p.Hand, p.DMIN = pick(m, "R", "L"), m.opt(32, 40)
			p.Joints = append(p.Joints, Joint{Side: Workpiece, Family: Pocket, Code: near(m, m.want.Insert.Seat, "CCMT09T3", "CNMG1204")})
		} else {
			p.Joints = append(p.Joints, Joint{Side: Workpiece, Family: Coupling, Code: near(m, "H25", "H25", "H32")})
		}
		p.Coolant = !m.chance(4)
		if !m.chance(3) {
			p.Joints = append(p.Joints, Joint{Side: CoolantIn, Family: Through})
		}
		if m.chance(2) {
			p.Joints = append(p.Joints, Joint{Side: CoolantIn, Family: Thread, Gender: "F", Code: pick(m, twinThreads[:2]...)})
		}
	case Head:
		p.Joints = []Joint{{Side: Machine, Family: Coupling, Code: near(m, "H25", "H25", "H32")},
			{Side: Workpiece, Family: Pocket, Code: near(m, m.want.Insert.Seat, "CCMT09T3", "CNMG1204")}}
		p.Hand, p.DMIN, p.LF, p.Coolant = near(m, m.want.Hand, "R", "R", "L", "N"), m.opt(25, 32, 40), m.opt(0, 20, 32), !m.chance(4)
	case Insert:
		p.Joints = []Joint{{Side: Machine, Family: Pocket, Code: near(m, m.want.Insert.Seat, "CCMT09T3", "CNMG1204")}}
		p.RE, p.Edges = m.opt(0.4, 0.8), pick(m, 1, 2, 4)
	case Hose, Fitting:
		for range 2 {
			e := m.end()
			p.Joints = append(p.Joints, Joint{Side: CoolantIn, Family: Thread, Gender: e[:1], Code: e[2:]})
		}
	case Adapter:
		p.LF, p.Coolant, p.DMIN = m.opt(20, 40), !m.chance(3), m.opt(25, 32)
		if m.chance(2) {
			p.Joints = []Joint{{Side: Machine, Family: Coupling, Code: pick(m, "H25", "H32")}, {Side: Workpiece, Family: Coupling, Code: pick(m, "H25", "H32")}}
		} else {
			p.Joints = []Joint{{Side: Machine, Family: TurretSeat, Code: pick(m, "VDI40", "BMT65")}, {Side: Workpiece, Family: TurretSeat, Code: pick(m, "VDI40", "VDI30")}}
		}
	}
	return p
}

func (m *maker) shelf() []Item {
	var items []Item
	add := func(k Kind, most int) {
		for range m.IntN(most + 1) {
			p := m.part(k)
			it := Item{ID: strings.ToUpper(string(k[:2])) + "-" + num(float64(m.n)), Part: p, Status: In, Qty: 1}
			p.Code = it.ID
			if k == Insert {
				it.Qty = pick(m, 0, 1, 2, 5, 10)
			}
			if m.chance(12) {
				it.Status = pick(m, Out, Quarantine, Lost, OnOrder)
				if it.Status == Out && m.chance(2) {
					it.Out = &Issued{To: "Maro", Job: "J-7", Due: "2026-03-19"}
				}
			}
			if m.chance(10) {
				it.Reserved = []Reservation{{Job: pick(m, "J-1", "J-2"), From: pick(m, Date("2026-03-10"), "2026-03-17"), To: pick(m, Date("2026-03-17"), "2026-03-20")}}
			}
			items = append(items, it)
		}
	}
	add(Holder, 4)
	add(Sleeve, 4)
	add(Bar, 5)
	add(Head, 5)
	add(Insert, 4)
	add(Hose, 3)
	add(Fitting, 3)
	if m.chance(3) {
		add(Adapter, 4)
	}
	return items
}
