package stack

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

// A mode says which candidates the one search may use.
type mode uint8

const (
	modeStrict  mode = iota // free parts only: can it be built?
	modeMissing             // also borrowed, catalogue and invented parts: what is missing?
	modeNearest             // owned parts with the rules they break: what stops it?
	modeBuy                 // free parts and, at their price, recorded ones that come in time
)

// In the nearest mode a part that goes together but breaks a rule stands nearer than a joint
// that does not go together, and that nearer than a joint with nothing to put on it: of what
// is not there, nothing else is known to be right.
const (
	pointMated   = 4
	pointBroken  = 5
	pointUnmated = 6
)

const inf = math.MaxFloat64

// A search is one question to a shelf. It lives for one Check, under the shelf's read lock.
type search struct {
	s    *Shelf
	req  *Request
	mode mode
	k    int

	l    float64 // overhang the job needs, mm
	need float64 // coolant pressure, bar
	seat string  // key of the pocket asked for

	mem     *scratch
	bars    map[*class][]barCand
	seats   []rear // ways from the station to an open turret seat
	holders map[int64][]rear
	sleeves map[int64][]rear
	rears   map[rearKey][]rear
	floors  map[floorKey]floor
	sums    map[int64][]sum // of the holders with a bore
	cuffs   map[int64][]sum // of the sleeves with a bore
	ahead   map[string]frontFloor
	fronts  map[string][]front
	inserts []front
	lines   *lines4
	global  set           // what no part can mend
	near    map[*rec]bool // nearest mode: the parts of the answer that are on hand, nil: all
	kinds   map[Kind]bool // and the kinds of what is missing
	nearOf  map[*class][]*rec
	behind  least // nearest mode: the least of the ways behind any bar
	limit   int   // the most a stack may cost at present
	slack   int   // and of that, what does not go to the bar
	besides int   // modeMissing: what a line may cost
	best    []found
	only    string              // the one coolant route wanted, "": any
	whole   bool                // for tests: look at all parts of a class
	plain   bool                // for tests: pass over nothing
	looked  int                 // parts looked at, for tests of the search's own cost
	evals   int                 // and combinations
	told    map[sig]*found      // modeMissing: the best stack of each sort so far
	gaps    map[any]int32       // what the ways miss, by number
	filled  map[string]*Missing // what does for the missing parts looked up so far

	bids *bids // modeBuy: what the parts cost
}

type rearKey struct {
	d       int64
	coupled string
	damped  bool
	flat    bool
	carbide bool
	sleeved bool
}

// A rear is a way from the station to where the bar sits: adapters, holder, sleeve.
type rear struct {
	p     [maxSeats + maxUnits + 2]*cand
	n     int
	cost  int
	warn  set
	bits  set
	with  [maxUnits]*rec // adapters between holder and bar, the last first
	ext   float64        // mm that they stand out of the holder's face
	stop  float64        // mm, longest overhang that their makers allow; 0 without one
	open  string         // turret seat still open, while no holder is there
	lsc   float64        // mm, 0 = not recorded
	clamp string
	cool  bool // coolant reaches the bar's rear
	cp    float64
	mass  float64
	noWT  bool
	proj  float64 // mm that adapters take of the machine's swing
	none  bool    // nearest mode: nothing there to hold the bar
	worse int     // how many ways of the list it comes from are at least as good
	gap   int32   // modeMissing: what it misses, by number
}

// A front is a way from the bar's coupling to the edge: adapters, head, insert.
type front struct {
	p      [maxFront + 2]*cand
	n      int
	cost   int
	warn   set
	bits   set
	lf     float64
	noLF   bool
	cool   bool
	cp     float64
	mass   float64
	noWT   bool
	none   bool // nearest mode: no head
	insert *cand
	worse  int // as of a rear
	gap    int32
}

// A found is a whole stack.
type found struct {
	bar   *cand
	rear  *rear
	front *front
	line  *line
	route string
	cp    float64 // lowest rating on the route; 0 = not recorded somewhere
	cost  int
	warn  set
	bits  set
	n     int
	d     float64
	set   float64
	grip  float64
	mass  float64
	noWT  bool
	key   string
}

func newSearch(s *Shelf, r *Request, m mode, k int) *search {
	mem := borrow(s.numbers)
	return &search{
		s: s, mem: mem, req: r, mode: m, k: k, limit: math.MaxInt, slack: math.MaxInt, besides: math.MaxInt, l: r.Overhang(), need: r.CoolantBar, seat: seatKey(r.Insert.Seat),
		bars: map[*class][]barCand{}, holders: map[int64][]rear{}, sleeves: map[int64][]rear{}, rears: map[rearKey][]rear{}, floors: mem.floors,
		sums: map[int64][]sum{}, cuffs: map[int64][]sum{}, ahead: map[string]frontFloor{},
		fronts: map[string][]front{}, told: map[sig]*found{}, gaps: map[any]int32{},
	}
}

// hole returns a candidate nobody has recorded: a part with exactly the joints it needs, and
// no limit where none is asked.
func hole(p *Part, r rec) *cand {
	r.part, r.kind, r.cp, r.stiff = p, p.Kind, inf, stiffness(p)
	return &cand{rec: &r, tier: tierHole, cost: kindCost(p)}
}

// run finds the k best stacks, cheapest first.
func (q *search) run() []found {
	if q.req.Station.MaxProjection.Known && q.l > q.req.Station.MaxProjection.V+deadband {
		q.global |= bProject
	}
	if q.req.Coolant && q.need > q.req.Station.CoolantMaxBar.Or(0)+deadband {
		q.global |= bPump
	}
	if q.global != 0 && q.mode != modeNearest {
		return nil
	}
	if q.mode == modeNearest {
		q.nearest()
		return q.best
	}
	q.findInserts()
	q.findSeats()
	offers := q.offers(q.mem.offers[:0])
	q.mem.offers = offers
	if q.mode == modeMissing {
		return q.escapes(offers)
	}
	q.take(offers)
	return q.best
}

// escapes finds the best ways out of a no. Enough can nearly always be told at the least cost
// there is: at first nothing dearer is listed, nor bars invented that must cost more.
func (q *search) escapes(offers []offer) []found {
	enough := func(limit int) bool {
		q.spend(limit)
		q.take(offers)
		return len(q.best) >= q.k
	}
	least := func() int {
		x := math.MaxInt
		for i := range offers {
			x = min(x, offers[i].cost)
		}
		return x
	}
	if q.plain {
		offers = q.invented(offers)
		q.mem.offers = offers
		q.take(offers)
		return q.best
	}
	first := least()
	tried := first < q.leastInvented()
	if tried && enough(first) {
		return q.best
	}
	q.spend(math.MaxInt)
	offers = q.invented(offers)
	q.mem.offers = offers
	if x := least(); !(tried && x == first) && enough(x) {
		return q.best
	}
	enough(math.MaxInt)
	return q.best
}

// judgeEdge applies the rules of the cutting end to a head, or to a bar with its own pocket.
func (q *search) judgeEdge(r *rec) (no set) {
	if h := r.part.Hand; h != q.req.Hand && h != "N" {
		no |= bHand
	}
	if d := r.part.DMIN; !d.Known || d.V > q.req.BoreStartD+deadband {
		no |= bDmin
	}
	if r.seat != q.seat {
		no |= bSeatReq
	}
	return no
}

// reachableCouplings lists the couplings from which a head for this request can be reached,
// directly or through coupling adapters.
func (q *search) reachableCouplings() []string {
	var out []string
	seen := map[string]bool{}
	add := func(c string) {
		if c != "" && !seen[c] {
			seen[c] = true
			out = append(out, c)
		}
	}
	for _, c := range q.s.coded(Head, Workpiece, Pocket, q.seat) {
		if !seen[c.of[0].ccms] && slices.ContainsFunc(c.best().of, func(r *rec) bool { return q.judgeEdge(r) == 0 }) {
			add(c.of[0].ccms)
		}
	}
	for from, depth := 0, 0; depth < maxFront; depth++ {
		to := len(out)
		for ; from < to; from++ {
			for _, c := range q.s.coded(Adapter, Workpiece, Coupling, out[from]) {
				add(c.of[0].ccms)
			}
		}
	}
	return out
}

// commonShanks are the diameters offered when nothing on the shelf says which: ISO 5609
// shanks and the inch ones, mm.
var commonShanks = []float64{8, 10, 12, 12.7, 16, 19.05, 20, 25, 25.4, 31.75, 32, 38.1, 40, 50, 50.8, 60, 63.5, 80, 100}

// holeBars invents bars: every diameter that can be held, every coupling that has a head, every
// construction that reaches.
func (q *search) holeBars(add func(*cand)) {
	s := q.s
	ds := slices.Clone(s.bores)
	for _, d := range commonShanks {
		if !slices.ContainsFunc(ds, func(x float64) bool { return Equal(x, d) }) {
			ds = append(ds, d)
		}
	}
	couplings := append(q.reachableCouplings(), "")
	var inlets []string
	if q.req.Coolant {
		inlets = q.openEnds()
	}
	for _, d := range ds {
		if d >= q.req.BoreStartD-deadband {
			continue
		}
		for _, row := range limitTable {
			if rec, limit, _, _ := OverhangLimit(row.construction, d); d <= row.over || row.upTo != 0 && d > row.upTo+fit ||
				q.l > limit*d+deadband || rec == 0 {
				continue
			}
			for _, c := range couplings {
				p := &Part{Kind: Bar, Construction: row.construction, Coolant: true,
					Joints: []Joint{{Side: Machine, Family: Cylindrical, Gender: "M", Size: Some(d), Flat: !isDamped(row.construction)}}}
				r := rec{shank: d, flat: !isDamped(row.construction), damped: isDamped(row.construction),
					carbide: row.construction == "carbide", throughs: true, inlets: inlets, ccws: c}
				if c != "" {
					p.Joints = append(p.Joints, Joint{Side: Workpiece, Family: Coupling, Code: c})
				} else {
					p.Joints = append(p.Joints, Joint{Side: Workpiece, Family: Pocket, Code: q.req.Insert.Seat})
					p.Hand, p.DMIN = q.req.Hand, Some(q.req.BoreStartD)
					r.seat = q.seat
				}
				add(hole(p, r))
			}
		}
	}
}

func isDamped(construction string) bool {
	return construction == "damped_steel" || construction == "damped_carbide"
}

// stiffness ranks constructions, stiffer higher, by Young's modulus of the body
// (materials.json) and then damping.
func stiffness(p *Part) int {
	switch p.Construction {
	case "damped_carbide":
		return 5
	case "carbide":
		return 4
	case "heavy_metal":
		return 3
	case "damped_steel":
		return 2
	case "steel":
		return 1
	}
	return 0
}

// measure sets the overhang and the grip of x and tells what breaks.
func (q *search) measure(x *found, b *barCand) (broken set) {
	p := b.rec.part
	oal, lf, ext := p.OAL.Or(0), x.front.lf, x.rear.ext
	known := p.OAL.Known || b.tier == tierHole
	if b.tier == tierHole {
		oal = q.l + goodGripD*x.d - lf
	}
	if b.rec.ccms != "" { // held by a coupling: it sticks out as far as it is long
		x.set = oal + lf + ext
		if lf >= inf/8 { // an invented head is as long as it must be
			x.set = max(q.l, oal+ext, b.rec.leastOut()+ext)
		}
		x.grip = -1
		if !known || x.front.noLF || x.set < q.l-deadband {
			broken |= bShort
		}
		if x.set-ext < b.rec.leastOut()-deadband {
			broken |= bOverMin
		}
		if x.rear.with[0] != nil && x.set > x.rear.stop+deadband {
			broken |= bOverMax &^ x.bits
		}
		room := q.req.Station.MaxProjection
		rec, most, _, ok := OverhangLimit(p.Construction, x.d)
		limit := p.OHX.Or(most * x.d)
		switch {
		case x.d == 0 && !p.OHX.Known: // judgeBar has refused it: how thick it is is not recorded
		case !ok && !p.OHX.Known || x.set > limit+deadband:
			broken |= bOverMax &^ x.bits
		case ok && x.set > rec*x.d+deadband:
			x.warn |= wRec
		}
		if room.Known && x.set+x.rear.proj > room.V+deadband {
			broken |= bProject &^ q.global
		}
		return broken
	}
	if x.rear.with[0] != nil {
		// A damped bar's shortest overhang counts from where it is clamped.
		if n := b.rec.leastOut(); n > 0 && n+ext > x.set+deadband {
			x.set = n + ext
			x.warn |= wOHN
		}
		rec, most, _, ok := OverhangLimit(p.Construction, x.d)
		if x.set > p.OHX.Or(most*x.d)+deadband || x.set > x.rear.stop+deadband {
			broken |= bOverMax &^ x.bits
		} else if ok && x.set > rec*x.d+deadband {
			x.warn |= wRec
		}
		lf += ext
	}
	if room := q.req.Station.MaxProjection; x.rear.proj+ext > 0 && room.Known && x.set+x.rear.proj > room.V+deadband {
		if q.l+x.rear.proj > room.V+deadband {
			broken |= bProject &^ q.global
		} else {
			broken |= bOverMin
		}
	}
	left := oal + lf - x.set
	switch {
	case x.front.none:
		left = inf
	case !known || x.front.noLF:
		broken |= bShort
		left = 0
	case left < minGripD*x.d-deadband:
		broken |= bShort
	}
	x.grip = min(left, x.rear.lsc)
	if x.rear.none {
		x.grip = left
	}
	if x.grip < goodGripD*x.d-deadband {
		x.warn |= wClamp
	}
	return broken
}

// weigh sums the mass of x, raises the lifting warning and tells when it is too heavy.
func (q *search) weigh(x *found, broken *set) (warn set) {
	x.mass = x.rear.mass + x.bar.rec.wt + x.front.mass
	x.noWT = x.rear.noWT || x.front.noWT || x.bar.rec.noWT && x.bar.tier != tierHole
	if x.mass > heavyKg+deadband {
		warn |= wHeavy
	}
	if m := q.req.Station.MaxMassKg; m.Known && (x.noWT || x.mass > m.V+deadband || q.mode == modeMissing && x.mass >= m.V-deadband && x.invents()) {
		*broken |= bMass // what nobody has recorded weighs something
	}
	return warn
}

// invents reports whether a part that weighs is recorded by nobody.
func (x *found) invents() bool {
	weighty := func(list []*cand) bool {
		return slices.ContainsFunc(list, func(c *cand) bool { return c.tier == tierHole && weighs(c.rec.kind) })
	}
	return x.bar.tier == tierHole || weighty(x.rear.p[:x.rear.n]) || weighty(x.front.p[:x.front.n])
}

// cool gives x its coolant route: through the bore when that is whole, else the cheapest line.
func (q *search) cool(x found) {
	b := x.bar.rec
	body := min(b.cp, x.front.cp) // 0 when one is not recorded
	open := b.part.Coolant && x.front.cool
	anyRoute := false
	if open && b.throughs && x.rear.cool && q.only != byLine {
		anyRoute = true
		y := x
		y.route, y.cp = byBore, min(body, x.rear.cp)
		if q.pressure(y) {
			return // a hose where the bore does it only adds parts
		}
	}
	if q.only == byBore {
		return
	}
	if open && len(b.inlets) > 0 && body >= q.need-deadband || open && q.mode == modeNearest {
		for _, inlet := range b.inlets {
			for i := range q.linesTo(inlet) {
				ln := &q.linesTo(inlet)[i]
				anyRoute = true
				y := x
				y.route, y.line, y.cp = byLine, ln, min(body, ln.cp)
				y.cost, y.n, y.bits = x.cost+ln.cost, x.n+ln.n, x.bits|ln.bits
				q.pressure(y)
			}
		}
	}
	if !anyRoute && q.mode == modeNearest {
		x.cost += pointBroken
		x.bits |= bBreak
		q.keep(x)
	}
}

// pressure keeps x unless its route is rated too low, and tells whether it is not.
func (q *search) pressure(x found) (enough bool) {
	enough = x.cp >= q.need-deadband
	if !enough {
		if q.mode != modeNearest {
			return false
		}
		x.cost += pointMated
		x.bits |= bPressure
	}
	q.keep(x)
	return enough
}

// compare orders stacks: cheapest to get, fewest warnings, fewest parts (reference rule), then
// stiffest: larger bar, shorter overhang, stiffer construction; then by codes, so that the
// order of the shelf never matters.
func compare(a, b *found) int {
	if c := cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.warn.count(), b.warn.count()), cmp.Compare(a.n, b.n),
		cmp.Compare(b.d, a.d), cmp.Compare(a.set, b.set),
		cmp.Compare(b.bar.rec.stiff, a.bar.rec.stiff)); c != 0 {
		return c
	}
	c, _ := compareNamed(a, b, 1<<10)
	return c
}

// compareNamed compares the first most pieces of two stacks by their codes, and tells at which
// the difference is.
func compareNamed(x, y *found, most int) (c, at int) {
	for i := range most {
		a, b := x.at(i), y.at(i)
		switch {
		case a == nil && b == nil:
			return 0, i
		case a == nil:
			return -1, i
		case b == nil:
			return 1, i
		case a == b:
			continue
		}
		if c := cmp.Or(cmp.Compare(a.name(), b.name()), cmp.Compare(a.rec.part.Code, b.rec.part.Code),
			cmp.Compare(a.rec.shank, b.rec.shank), cmp.Compare(a.rec.bore, b.rec.bore),
			cmp.Compare(a.rec.ccws, b.rec.ccws), cmp.Compare(a.rec.ccms, b.rec.ccms), slices.Compare(a.rec.ends, b.rec.ends)); c != 0 {
			return c, i
		}
	}
	return 0, most
}

// at returns the i-th of pieces, nil after the last.
func (x *found) at(i int) *cand {
	if i < x.rear.n {
		return x.rear.p[i]
	}
	if i -= x.rear.n; i == 0 {
		return x.bar
	}
	if i--; i < x.front.n {
		return x.front.p[i]
	}
	if i -= x.front.n; x.line != nil && i < x.line.n {
		return x.line.p[i]
	}
	return nil
}

func (c *cand) name() string {
	if c.item != nil {
		return c.item.ID
	}
	return c.rec.part.Code
}

// pieces lists the parts of a stack from the turret to the edge, then the line.
func (x *found) pieces() []*cand {
	out := make([]*cand, 0, 12)
	out = append(out, x.rear.p[:x.rear.n]...)
	out = append(out, x.bar)
	out = append(out, x.front.p[:x.front.n]...)
	if x.line != nil {
		out = append(out, x.line.p[:x.line.n]...)
	}
	return out
}

// keep puts x among the best, at its place. In the missing mode a set of missing parts is kept
// once, by its best stack.
func (q *search) keep(x found) {
	if q.lists() {
		q.keepWay(&x)
		return
	}
	if (q.mode == modeNearest || q.mode == modeMissing) && x.cost > q.limit {
		return
	}
	if q.mode == modeNearest && len(q.best) > 0 {
		if x.cost > q.best[0].cost {
			return
		}
		if x.cost < q.best[0].cost {
			q.best = q.best[:0]
		}
	}
	if len(q.best) >= q.k && compare(&x, &q.best[len(q.best)-1]) >= 0 {
		return
	}
	if q.mode == modeMissing {
		x.key = q.missingKey(&x)
	}
	if q.mode == modeNearest {
		x.key = strconv.FormatUint(uint64(x.bits), 36)
	}
	if x.key != "" {
		for i := range q.best {
			if q.best[i].key == x.key {
				if compare(&x, &q.best[i]) >= 0 {
					return
				}
				q.best = slices.Delete(q.best, i, i+1)
				break
			}
		}
	}
	i, _ := slices.BinarySearchFunc(q.best, &x, func(e found, t *found) int { return compare(&e, t) })
	q.best = slices.Insert(q.best, i, x)
	if len(q.best) > q.k {
		q.best = q.best[:q.k]
	}
}
