package stack

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"sync"
)

// A Shelf holds the items of a shop and its catalogue under one index by joint. Any number of
// goroutines may Check it while others Put and Remove.
type Shelf struct {
	mu    sync.RWMutex
	recs  map[string]*rec // by part code
	items map[itemKey]*rec
	// index finds the parts that have a joint, by what the joint mates by.
	index map[jointKey][]*rec
	// bores and shanks are the diameters in the index, sorted, so that a size is found within
	// its allowance by bisection.
	bores, shanks []float64
	// enter[o] lists the ways that lead into the open coolant end o.
	enter map[string][]lineWay
	// The parts by class, and where a class is found; see class.
	classes map[classKey]*class
	found   map[classAt][]*class
	shaped  map[shapeKey]*shape
	shapes  []*shape // in the order they came, so that the same question takes the same way
	ways    map[string][]lineClass
	// units are the adapters that can stand between holder and bar, coupled the number of bars
	// held by a coupling.
	units    []*rec
	coupled  int
	adapters int // of all kinds
	numbers  int // given to recs; one that is forgotten leaves its own to the next
	unused   []int32
	turn     uint64 // see Turn
}

type itemKey struct {
	id   string
	copy int
}

// A rec is a part on the shelf or in the catalogue, with what the search asks for most often
// taken out of its joints.
type rec struct {
	part     *Part
	number   int32   // of the shelf's parts, from 1
	idle     []*Item // free on any day: in, nothing reserved; by id
	busy     []*Item // everything else; by id
	inBook   bool    // in the catalogue
	kind     Kind
	iface    string
	seatAt   string // turret seat on the workpiece side (turret adapters)
	bore     float64
	lsc      float64 // 0 = not recorded
	shank    float64
	flat     bool
	ccms     string
	ccws     string
	seat     string // key
	damped   bool
	carbide  bool
	stiff    int  // see stiffness
	throughs bool // bar: takes coolant from the rear
	inlets   []string
	ends     []string
	cp       float64 // 0 = not recorded
	wt       float64
	noWT     bool
	// sleeveKey is equal for sleeves that go into the same bores and may hold the same bars.
	sleeveKey string

	class    *class
	stock    int            // pieces of the idle items
	promised int            // pieces of the busy ones
	jobs     map[string]int // reservations by job
	oal, lf  float64        // -1 = not recorded
	dmin     float64        // inf = not recorded
	cools    bool           // passes coolant on: drilled, sealed
}

// A jointKey is what a joint is found by.
type jointKey struct {
	side   Side
	family Family
	code   string
	size   int64 // 0.0001 mm
}

func sizeKey(d float64) int64 { return int64(math.Round(d * 1e4)) }

func codeKey(f Family, s string) string {
	if f == Pocket {
		return seatKey(s)
	}
	return s
}

func keyOf(j Joint) jointKey {
	k := jointKey{side: j.Side, family: j.Family}
	switch j.Family {
	case Cylindrical:
		k.size = sizeKey(j.Size.V)
	case Thread, PushIn:
		k.code = j.End()
	default:
		k.code = codeKey(j.Family, j.Code)
	}
	return k
}

// NewShelf makes a shelf of items and catalogue parts. A part need not be in the catalogue to
// be on hand. An item without a part or an id is an error.
func NewShelf(items []Item, catalogue []*Part) (*Shelf, error) {
	s := &Shelf{
		turn: turns.Add(1),
		recs: map[string]*rec{}, items: map[itemKey]*rec{},
		index: map[jointKey][]*rec{}, enter: map[string][]lineWay{},
		classes: map[classKey]*class{}, shaped: map[shapeKey]*shape{}, found: map[classAt][]*class{}, ways: map[string][]lineClass{},
	}
	for _, p := range catalogue {
		if err := s.AddPart(p); err != nil {
			return nil, err
		}
	}
	for _, it := range items {
		if err := s.Put(it); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// AddPart puts a part into the catalogue, or replaces the record of the same code.
func (s *Shelf) AddPart(p *Part) error {
	if p == nil || p.Code == "" {
		return fmt.Errorf("part without a code: give it one")
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.turned()
	s.rec(p).inBook = true
	return nil
}

// DropPart takes a part out of the catalogue; what is on hand stays.
func (s *Shelf) DropPart(code string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.turned()
	if r := s.recs[code]; r != nil {
		r.inBook = false
		s.sweep(r)
	}
}

// Put lays an item on the shelf, or replaces the one with the same id. The item's record of
// its part becomes the record of that part code.
func (s *Shelf) Put(it Item) error { return s.putCopy(it, 0) }

func (s *Shelf) putCopy(it Item, n int) error {
	if err := it.valid(); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.turned()
	s.put(it, n)
	return nil
}

// valid refuses an item that no shelf can hold.
func (it *Item) valid() error {
	if it.ID == "" || it.Part == nil {
		return fmt.Errorf("item %q: an item has an id and a part", it.ID)
	}
	if it.Qty < 0 {
		return fmt.Errorf("item %q: quantity %d is under zero", it.ID, it.Qty)
	}
	return nil
}

// put lays a valid item on the shelf, under its lock.
func (s *Shelf) put(it Item, n int) {
	k := itemKey{it.ID, n}
	s.remove(k)
	p := *it.Part
	if p.Code == "" {
		p.Code = it.ID
		it.Part = &p
	}
	r := s.rec(it.Part)
	own := it
	own.Part = r.part
	list, sum, was := &r.busy, &r.promised, r.ease()
	if own.Status == In && len(own.Reserved) == 0 && own.Qty > 0 {
		list, sum = &r.idle, &r.stock
	}
	*sum += own.Qty
	i := sort.Search(len(*list), func(i int) bool { return (*list)[i].ID >= own.ID })
	*list = slices.Insert(*list, i, &own)
	s.items[k] = r
	r.reserve(&own, 1)
	r.changed(was)
}

// reserve counts the reservations of an item, or with -1 counts them off.
func (r *rec) reserve(it *Item, n int) {
	for _, v := range it.Reserved {
		if r.jobs == nil {
			r.jobs = map[string]int{}
		}
		if r.jobs[v.Job] += n; r.jobs[v.Job] == 0 {
			delete(r.jobs, v.Job)
		}
	}
}

// changed tells the class of a part that what is on hand of it has changed.
func (r *rec) changed(was int) {
	if r.class != nil && (r.kind == Insert || r.ease() != was) {
		r.class.thin.Store(nil)
	}
}

// Remove takes an item off the shelf; an unknown id is no fault.
func (s *Shelf) Remove(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.turned()
	s.remove(itemKey{id, 0})
}

func (s *Shelf) remove(k itemKey) {
	r := s.items[k]
	if r == nil {
		return
	}
	delete(s.items, k)
	was := r.ease()
	take := func(list []*Item, sum *int) []*Item {
		i := sort.Search(len(list), func(i int) bool { return list[i].ID >= k.id })
		if i == len(list) || list[i].ID != k.id {
			return list
		}
		*sum -= list[i].Qty
		r.reserve(list[i], -1)
		return slices.Delete(list, i, i+1)
	}
	n := len(r.idle)
	if r.idle = take(r.idle, &r.stock); len(r.idle) == n {
		r.busy = take(r.busy, &r.promised)
	}
	r.changed(was)
	s.sweep(r)
}

// Len returns the number of items and of parts.
func (s *Shelf) Len() (items, parts int) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return len(s.items), len(s.recs)
}

// sweep forgets a part that is neither on hand nor in the catalogue.
func (s *Shelf) sweep(r *rec) {
	if r.inBook || len(r.idle)+len(r.busy) > 0 {
		return
	}
	s.unindex(r)
	delete(s.recs, r.part.Code)
	s.unused = append(s.unused, r.number)
}

// rec returns the record of a part, indexed; a record with other sizes under the same code is
// replaced.
func (s *Shelf) rec(p *Part) *rec {
	r := s.recs[p.Code]
	if r != nil && r.part == p {
		return r
	}
	if r == nil {
		r = &rec{}
		if n := len(s.unused); n > 0 {
			r.number, s.unused = s.unused[n-1], s.unused[:n-1]
		} else {
			s.numbers++
			r.number = int32(s.numbers)
		}
		s.recs[p.Code] = r
	} else {
		s.unindex(r)
	}
	keep := *r
	*r = rec{part: p, number: keep.number, idle: keep.idle, busy: keep.busy, inBook: keep.inBook, kind: p.Kind, stock: keep.stock, promised: keep.promised, jobs: keep.jobs}
	// Items handed out in verdicts are never changed: a new record gets new items.
	for _, list := range [][]*Item{r.idle, r.busy} {
		for i, it := range list {
			own := *it
			own.Part = p
			list[i] = &own
		}
	}
	r.iface, r.seatAt = p.Interface(), p.code(Workpiece, TurretSeat)
	r.bore, r.shank = p.DCONWS().Or(0), barD(p)
	if p.Kind != Bar {
		r.shank = p.DCONMS().Or(0)
	}
	r.lsc, r.flat = p.LSC().Or(0), p.Flat()
	r.ccms, r.ccws = p.CCMS(), p.CCWS()
	if st := p.Seat(); st != "" {
		r.seat = seatKey(st)
	}
	r.stiff = stiffness(p)
	r.damped, r.carbide = p.Damped(), p.Construction == "carbide"
	r.cp, r.wt, r.noWT = p.CP.Or(0), p.WT.Or(0), !p.WT.Known
	for _, j := range p.Joints {
		if p.Kind == Bar && j.Side == CoolantIn {
			if j.Family == Through {
				r.throughs = true
			} else {
				r.inlets = append(r.inlets, j.End())
			}
		}
	}
	r.oal, r.lf, r.dmin = p.OAL.Or(-1), p.LF.Or(-1), p.DMIN.Or(inf)
	r.cools = p.Coolant || p.Kind == Sleeve && p.Sealed
	r.ends = p.Ends()
	if p.Kind == Sleeve {
		r.sleeveKey = fmt.Sprint(sizeKey(r.shank), p.ForDamped)
	}
	s.addIndex(r)
	return r
}

func byCode(a, b *rec) int { return strings.Compare(a.part.Code, b.part.Code) }

func (s *Shelf) addIndex(r *rec) {
	if r.kind == Spare {
		return
	}
	s.enlist(r)
	s.count(r, 1)
	var seen []jointKey
	for _, j := range r.part.Joints {
		k := keyOf(j)
		if slices.Contains(seen, k) {
			continue
		}
		seen = append(seen, k)
		list := s.index[k]
		i, _ := slices.BinarySearchFunc(list, r, byCode)
		s.index[k] = slices.Insert(list, i, r)
		if j.Family == Cylindrical && len(list) == 0 {
			s.sizes(j.Side, j.Size.V, true)
		}
	}
	if inLine(r) {
		s.enter[r.ends[0]] = append(s.enter[r.ends[0]], lineWay{r, r.ends[1]})
		if r.ends[0] != r.ends[1] {
			s.enter[r.ends[1]] = append(s.enter[r.ends[1]], lineWay{r, r.ends[0]})
		}
	}
}

func (s *Shelf) unindex(r *rec) {
	s.delist(r)
	s.count(r, -1)
	for _, j := range r.part.Joints {
		k := keyOf(j)
		list := s.index[k]
		i := slices.Index(list, r)
		if i < 0 {
			continue
		}
		if list = slices.Delete(list, i, i+1); len(list) > 0 {
			s.index[k] = list
			continue
		}
		delete(s.index, k)
		if j.Family == Cylindrical {
			s.sizes(j.Side, j.Size.V, false)
		}
	}
	if inLine(r) {
		for _, e := range r.ends {
			s.enter[e] = slices.DeleteFunc(s.enter[e], func(w lineWay) bool { return w.rec == r })
		}
	}
}

// leastOut returns the maker's shortest overhang of a damped bar in mm, 0 when there is none.
func (r *rec) leastOut() float64 {
	if r.damped {
		return r.part.OHN.Or(0)
	}
	return 0
}

// unit reports whether a part is an adapter that can stand between holder and bar.
func (r *rec) unit() bool {
	return r.kind == Adapter && (r.shank > 0 || r.ccms != "") && (r.bore > 0 || r.ccws != "")
}

// count keeps the units and the number of coupled bars.
func (s *Shelf) count(r *rec, n int) {
	if r.kind == Adapter {
		s.adapters += n
	}
	switch {
	case r.kind == Bar && r.ccms != "":
		s.coupled += n
	case r.unit():
		if n > 0 {
			s.units = append(s.units, r)
		} else {
			s.units = slices.DeleteFunc(s.units, func(u *rec) bool { return u == r })
		}
	}
}

// sizes adds d to, or takes it from, the sorted diameters of a side.
func (s *Shelf) sizes(side Side, d float64, add bool) {
	list := &s.bores
	if side == Machine {
		list = &s.shanks
	}
	d = float64(sizeKey(d)) / 1e4
	i := sort.SearchFloat64s(*list, d)
	there := i < len(*list) && (*list)[i] == d
	if add && !there {
		*list = slices.Insert(*list, i, d)
	} else if !add && there {
		*list = slices.Delete(*list, i, i+1)
	}
}

// round visits the parts that have a cylindrical joint of diameter d on that side.
func (s *Shelf) round(side Side, d float64, visit func(*rec)) {
	list := s.bores
	if side == Machine {
		list = s.shanks
	}
	for i := sort.SearchFloat64s(list, d-fit-2e-9); i < len(list) && list[i] <= d+fit+2e-9; i++ {
		if !Equal(list[i], d) {
			continue
		}
		for _, r := range s.index[jointKey{side: side, family: Cylindrical, size: sizeKey(list[i])}] {
			visit(r)
		}
	}
}

// at returns the parts with that coded joint.
func (s *Shelf) at(side Side, f Family, code string) []*rec {
	return s.index[jointKey{side: side, family: f, code: code}]
}

// inLine reports whether a part can stand in the coolant line: exactly two ends.
func inLine(r *rec) bool {
	return (r.kind == Hose || r.kind == Fitting || r.kind == Adapter) && len(r.ends) == 2
}

// A lineWay enters a line part by one end and leaves by the other.
type lineWay struct {
	rec   *rec
	leave string
}
