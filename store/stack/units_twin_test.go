package stack

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// A second twin, for bars held by a coupling and for adapters between holder and bar. It tries
// every chain of pieces from the turret to the insert, written from the rules alone:
//
// A part with a joint on either side is a link. From the turret's seat up to two adapters, then
// a holder, up to two adapters, at most one sleeve right behind a shank, the bar, up to two
// adapters, a head, an insert; no piece twice. Joints mate by family and code, bores and shanks
// within 0.02 mm. A bar that has a coupling on the machine side is held by it.
//
// An adapter between holder and bar adds its LF to the length, not to the limit: the overhang
// from the holder's face is depth and clearance, judged by the bar's own limit and by the OHX of
// each adapter, from its own face. LF and OHX must be on record; where it reaches further than
// the clearance it enters the hole and its DMIN must be on record and small enough. Its shank is
// held for OAL - LF, at least 3 x its diameter, on a flat under screws. It holds a bar as a
// holder does. A damped bar's OHN counts from where the bar is clamped.
//
// A bar held by its coupling sticks out OAL and head and what stands behind it; at least what
// the job needs. It has no grip, and no OHN can be reached by setting it. How thick it is must
// be on record.
type chainTwin struct {
	r     Request
	items []Item
	best  twinAnswer
}

func twinChains(r Request, items []Item) twinAnswer {
	t := &chainTwin{r: r}
	for _, it := range items {
		if twinFree(it, r) {
			t.items = append(t.items, it)
		}
	}
	t.behind(Joint{Side: Workpiece, Family: TurretSeat, Code: r.Station.Interface}, nil, 0, 0, false, false)
	return t.best
}

func meets(open Joint, p *Part) bool {
	for _, j := range p.Joints {
		if j.Side != Machine || j.Family != open.Family {
			continue
		}
		switch open.Family {
		case Cylindrical:
			if p.Kind == Bar && p.CCMS() != "" {
				continue // held by its coupling
			}
			if math.Abs(j.Size.V-open.Size.V) <= 0.02+1e-9 {
				return true
			}
		default:
			if j.Code == open.Code {
				return true
			}
		}
	}
	return false
}

func fronts(p *Part) (out []Joint) {
	for _, j := range p.Joints {
		if j.Side == Workpiece {
			out = append(out, j)
		}
	}
	return out
}

func has(row []Item, it Item) bool {
	return slices.ContainsFunc(row, func(o Item) bool { return o.ID == it.ID })
}

// behind goes on from an open joint towards the bar.
func (t *chainTwin) behind(open Joint, row []Item, seats, units int, held, sleeved bool) {
	for _, it := range t.items {
		p := it.Part
		if has(row, it) || !meets(open, p) {
			continue
		}
		next := append(slices.Clone(row), it)
		switch {
		case p.Kind == Adapter && open.Family == TurretSeat && !held && seats < 2:
			for _, j := range fronts(p) {
				if j.Family == TurretSeat {
					t.behind(j, next, seats+1, units, false, false)
				}
			}
		case p.Kind == Holder && open.Family == TurretSeat && !held:
			for _, j := range fronts(p) {
				t.behind(j, next, seats, units, true, false)
			}
		case p.Kind == Adapter && held && !sleeved && units < 2:
			for _, j := range fronts(p) {
				if j.Family == Cylindrical || j.Family == Coupling {
					t.behind(j, next, seats, units+1, true, false)
				}
			}
		case p.Kind == Sleeve && held && !sleeved:
			for _, j := range fronts(p) {
				t.behind(j, next, seats, units, true, true)
			}
		case p.Kind == Bar && held:
			for _, j := range fronts(p) {
				t.before(j, next, nil)
			}
		}
	}
}

// before goes on from the bar to the insert.
func (t *chainTwin) before(open Joint, rear, front []Item) {
	for _, it := range t.items {
		p := it.Part
		if has(rear, it) || has(front, it) || !meets(open, p) {
			continue
		}
		next := append(slices.Clone(front), it)
		switch {
		case p.Kind == Insert && open.Family == Pocket:
			if a := t.judge(rear, front, it); a.ok && a.better(t.best) {
				t.best = a
			}
		case p.Kind == Head && open.Family == Coupling, p.Kind == Adapter && open.Family == Coupling && len(front) < 2:
			for _, j := range fronts(p) {
				if j.Family == Pocket && p.Kind == Head || j.Family == Coupling && p.Kind == Adapter {
					t.before(j, rear, next)
				}
			}
		}
	}
}

func (t *chainTwin) judge(rear, front []Item, in Item) twinAnswer {
	r := t.r
	no, w := twinAnswer{}, map[string]bool{}
	bar := rear[len(rear)-1].Part
	rows := rear[:len(rear)-1]
	// Behind the face, at the face, before it.
	var seats, units []*Part
	var holder, sleeve *Part
	for _, it := range rows {
		switch p := it.Part; {
		case p.Kind == Holder:
			holder = p
		case p.Kind == Sleeve:
			sleeve = p
		case holder == nil:
			seats = append(seats, p)
		default:
			units = append(units, p)
		}
	}
	coupled := bar.CCMS() != ""
	d := bar.DCONMS().Or(0)
	for _, j := range bar.Joints {
		if j.Side == Machine && j.Family == Coupling && d == 0 {
			d = j.Size.Or(0)
		}
	}
	if d == 0 {
		return no
	}
	need := r.Depth + r.Clearance
	damped := strings.HasPrefix(bar.Construction, "damped")
	// The adapters.
	out := 0.0
	stop := math.Inf(1)
	clamp, grip := holder.Clamp(), holder.LSC().Or(0)
	for _, u := range units {
		if !u.LF.Known || !u.OHX.Known {
			return no
		}
		stop = math.Min(stop, out+u.OHX.V)
		if shank := u.DCONMS(); u.CCMS() == "" {
			if clamp != "split" && !u.Flat() {
				return no
			}
			if !u.OAL.Known {
				return no
			}
			held := math.Min(grip, u.OAL.V-u.LF.V)
			if held < 3*shank.V-1e-9 {
				return no
			}
			if held < 4*shank.V-1e-9 {
				w["W_CLAMP_SHORT"] = true
			}
		}
		out += u.LF.V
		if out > r.Clearance+1e-9 && (!u.DMIN.Known || u.DMIN.V > r.BoreStartD) {
			return no
		}
		clamp, grip = u.Clamp(), u.LSC().Or(0)
	}
	ahead := 0.0
	for _, f := range front {
		if !f.Part.LF.Known {
			return no
		}
		ahead += f.Part.LF.V
	}
	if !bar.OAL.Known {
		return no
	}
	// Overhang.
	set := need
	if coupled {
		set = out + bar.OAL.V + ahead
		if set < need-1e-9 || damped && bar.OHN.Known && set-out < bar.OHN.V-1e-9 {
			return no
		}
	} else if damped && bar.OHN.Known && out+bar.OHN.V > need {
		set = out + bar.OHN.V
		w["W_OHN_EXTEND"] = true
	}
	limits := map[string][2]float64{"steel": {3, 4}, "heavy_metal": {5, 6}, "carbide": {6, 7}, "damped_steel": {8, 10}, "damped_carbide": {12, 14}}
	if d <= 20 {
		limits["damped_steel"], limits["damped_carbide"] = [2]float64{6, 7}, [2]float64{9, 10}
	}
	lim, known := limits[bar.Construction]
	longest := lim[1] * d
	if bar.OHX.Known {
		longest = bar.OHX.V
	} else if !known {
		return no
	}
	if set > longest+1e-9 || set > stop+1e-9 {
		return no
	}
	if known && set > lim[0]*d+1e-9 {
		w["W_OVERHANG_REC"] = true
	}
	swing := 0.0
	for _, a := range seats {
		if r.Station.MaxProjection.Known && !a.LF.Known {
			return no
		}
		swing += a.LF.V
	}
	if m := r.Station.MaxProjection; m.Known && (set+swing > m.V+1e-9 || need > m.V+1e-9) {
		return no
	}
	// The bar's hold.
	if !coupled {
		if sleeve != nil {
			grip = math.Min(grip, sleeve.LSC().Or(0))
			if damped && !sleeve.ForDamped {
				return no
			}
			if damped && clamp != "split" {
				w["W_SCREW_ON_SLEEVE"] = true
			}
			if sleeve.Index == "none" {
				w["W_CENTRE_HEIGHT"] = true
			}
		} else if clamp != "split" {
			if damped || !bar.Flat() {
				return no
			}
			if bar.Construction == "carbide" {
				w["W_SCREW_CARBIDE"] = true
			}
		}
		held := math.Min(grip, bar.OAL.V+ahead-(set-out))
		if held < 3*d-1e-9 {
			return no
		}
		if held < 4*d-1e-9 {
			w["W_CLAMP_SHORT"] = true
		}
	}
	// The cutting end.
	edge := bar
	for i, f := range front {
		edge = f.Part
		if i < len(front)-1 && (!edge.DMIN.Known || edge.DMIN.V > r.BoreStartD) {
			return no
		}
	}
	if !edge.DMIN.Known || edge.DMIN.V > r.BoreStartD || d >= r.BoreStartD || edge.Hand != r.Hand && edge.Hand != "N" ||
		edge.Seat() != r.Insert.Seat || in.Part.Seat() != r.Insert.Seat {
		return no
	}
	if d > 0.8*r.BoreStartD+1e-9 {
		w["W_CHIP_ROOM"] = true
	}
	if r.Insert.RE.Known && (!in.Part.RE.Known || in.Part.RE.V != r.Insert.RE.V) {
		w["W_RE_DIFF"] = true
	}
	if in.Qty*in.Part.Edges < r.EdgesNeeded {
		w["W_LOW_EDGES"] = true
	}
	mass, weighed := 0.0, true
	for _, it := range append(slices.Clone(rear), front...) {
		mass += it.Part.WT.V
		weighed = weighed && it.Part.WT.Known
	}
	if m := r.Station.MaxMassKg; m.Known && (!weighed || mass > m.V+1e-9) {
		return no
	}
	if mass > 15+1e-9 {
		w["W_HEAVY"] = true
	}
	a := twinAnswer{ok: true, warnings: len(w), parts: len(rear) + len(front) + 1}
	if !r.Coolant {
		return a
	}
	// Coolant, through the bore only: these stations have no outlet beside it.
	if r.CoolantBar > r.Station.CoolantMaxBar.Or(0) {
		return no
	}
	if !slices.ContainsFunc(bar.Joints, func(j Joint) bool { return j.Side == CoolantIn && j.Family == Through }) {
		return no
	}
	for _, it := range append(slices.Clone(rear), front...) {
		p := it.Part
		if p.Kind == Sleeve && !p.Sealed || p.Kind != Sleeve && !p.Coolant || r.CoolantBar > 0 && p.CP.Or(0) < r.CoolantBar {
			return no
		}
	}
	return a
}

// linkShelf makes a request and a shelf of parts that link in many ways.
func (m *maker) linkShelf() (Request, []Item) {
	r := m.request()
	m.kind = 1 + m.IntN(6) // most of these shelves are made close to the request
	r.Station.CoolantPort = ""
	if !m.chance(3) {
		r.Coolant, r.CoolantBar = false, 0
	}
	r.Depth = pick(m, 60.0, 80, 80, 120)
	m.want = r
	var items []Item
	joint := func(side Side, round ...float64) Joint {
		if len(round) == 0 || m.chance(2) {
			return Joint{Side: side, Family: Coupling, Code: pick(m, "H25", "H32")}
		}
		j := Joint{Side: side, Family: Cylindrical, Size: Some(pick(m, round...)), Gender: "M", Flat: m.chance(2)}
		if side == Workpiece {
			j.Gender, j.Flat, j.LSC, j.Clamp = "F", false, m.opt(75, 100, 130), pick(m, "split", "split", "screws")
		}
		return j
	}
	add := func(p *Part) {
		m.n++
		p.Code = strings.ToUpper(string(p.Kind[:2])) + "-" + num(float64(m.n))
		it := Item{ID: p.Code, Part: p, Status: In, Qty: 1}
		if p.Kind == Insert {
			it.Qty = pick(m, 1, 2, 5)
		}
		if m.chance(14) {
			it.Status = pick(m, Out, Quarantine, OnOrder)
		}
		items = append(items, it)
	}
	for range 1 + m.IntN(3) {
		p := m.part(Holder)
		p.Joints[1] = joint(Workpiece, 25, 32)
		add(p)
	}
	for range 1 + m.IntN(4) {
		p := &Part{Kind: Adapter, WT: m.opt(0.5, 2), CP: m.opt(40, 80), Coolant: !m.chance(4), DMIN: m.opt(25, 32), LF: m.opt(15, 20, 40, 60), OAL: m.opt(120, 150, 190, 190), OHX: m.opt(100, 150, 220, 220)}
		p.Joints = []Joint{joint(Machine, 25, 32), joint(Workpiece, 20, 25)}
		add(p)
	}
	for range m.IntN(3) {
		p := m.part(Sleeve)
		if m.chance(2) {
			p.Joints[0].Size, p.Joints[1].Size = Some(25), Some(20)
		}
		add(p)
	}
	for range 1 + m.IntN(3) {
		p := m.part(Bar)
		p.Joints = slices.DeleteFunc(p.Joints, func(j Joint) bool { return j.Family == Thread })
		if !m.chance(3) { // held by a coupling
			p.Joints[0] = Joint{Side: Machine, Family: Coupling, Code: pick(m, "H25", "H32"), Size: m.opt(20, 25, 32)}
			p.OAL = m.opt(60, 80, 80, 100, 140)
			if m.chance(4) { // as the columns say it: a diameter and a coupling
				p.Joints = append(p.Joints, Joint{Side: Machine, Family: Cylindrical, Gender: "M", Size: p.Joints[0].Size})
				p.Joints[0].Size = Opt{}
				if !p.DCONMS().Known {
					p.Joints = p.Joints[:len(p.Joints)-1]
				}
			}
		}
		if m.chance(3) {
			p.Construction = pick(m, "steel", "carbide", "heavy_metal")
		}
		add(p)
	}
	for range 1 + m.IntN(4) {
		p := m.part(Head)
		p.LF = m.opt(0, 20, 32, 60, 80)
		add(p)
	}
	for range 1 + m.IntN(2) {
		add(m.part(Insert))
	}
	if m.chance(4) {
		p := m.part(Adapter)
		p.Joints = []Joint{{Side: Machine, Family: TurretSeat, Code: pick(m, "VDI40", "BMT65")}, {Side: Workpiece, Family: TurretSeat, Code: pick(m, "VDI40", "BMT65")}}
		add(p)
	}
	return r, items
}

// TestLinks holds the search against the twin of chains: verdict, warnings, parts; every
// option, at the smallest and at the largest of its sizes, makes the stack buildable, and none
// of its parts can be left out.
func TestLinks(t *testing.T) {
	n := 5000
	if testing.Short() {
		n = 400
	}
	built, coupled, units, options := 0, 0, 0, 0
	for i := range n {
		m := &maker{Rand: rand.New(rand.NewPCG(11, uint64(i)))}
		r, items := m.linkShelf()
		want := twinChains(r, items)
		v, err := shelfOf(t, items).Check(r)
		if err != nil {
			t.Fatalf("trial %d: %v", i, err)
		}
		if v.Buildable != want.ok {
			t.Fatalf("trial %d: buildable %v, the twin says %v\n%s%s", i, v.Buildable, want.ok, dump(r, items), v.Sentence())
		}
		if v.Buildable {
			built++
			st := &v.Stacks[0]
			if len(st.Warnings) != want.warnings || len(st.Pieces) != want.parts {
				t.Fatalf("trial %d: %d warnings %d parts %v, the twin finds %d and %d\n%s", i, len(st.Warnings), len(st.Pieces), st.IDs(),
					want.warnings, want.parts, dump(r, items))
			}
			bar, _ := st.Find(Bar)
			if bar.Part.CCMS() != "" {
				coupled++
			}
			for _, u := range st.Pieces {
				if u.Role == Adapter && u.Part.Interface() == "" {
					units++
					break
				}
				if u.Role == Bar {
					break
				}
			}
			continue
		}
		if len(v.Reasons) == 0 {
			t.Fatalf("trial %d: a no without a reason\n%s", i, dump(r, items))
		}
		for _, o := range v.Options {
			options++
			for _, most := range []bool{false, true} {
				var add []Item
				for j := range o.Parts {
					it := made(&o.Parts[j], j)
					if need := o.Parts[j].Requires(); most && len(o.Parts) == 1 {
						if l, ok := need["LF_max"].(float64); ok {
							it.Part.LF = Some(l)
						}
						if l, ok := need["OAL_max"].(float64); ok {
							it.Part.OAL = Some(l)
						}
					}
					add = append(add, it)
				}
				if !twinChains(r, append(slices.Clone(items), add...)).ok {
					t.Fatalf("trial %d: %q (largest %v) does not make it buildable\n%s", i, o.Text, most, dump(r, items))
				}
				// The limit of a recorded bar decides how long a missing head may be; a bar with a
				// wider one might do with a head on hand.
				if slices.ContainsFunc(o.Parts, func(m Missing) bool { return m.Kind == Bar && m.Requires()["CCMS"] != nil }) {
					continue
				}
				for j := range add {
					if twinChains(r, append(slices.Clone(items), slices.Delete(slices.Clone(add), j, j+1)...)).ok {
						t.Fatalf("trial %d: %q is not minimal, part %d is not needed\n%s", i, o.Text, j+1, dump(r, items))
					}
				}
			}
		}
	}
	t.Logf("%d shelves, %d buildable, %d with a bar held by a coupling, %d with an adapter behind the bar, %d options", n, built, coupled, units, options)
	if built < n/20 || coupled < n/50 || units < n/50 || options < n/2 {
		t.Error("the shelves are too much alike to prove anything")
	}
}
