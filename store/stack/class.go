package stack

import (
	"cmp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync/atomic"
)

// A class holds the parts of one kind that mate alike: the same joints, and the same answers to
// every rule that is not a matter of more or less. Within a class a part can only be longer,
// lighter, better rated or easier to have than another, so of many alike the search looks at
// the few best, and what it costs does not grow with the catalogue.
type class struct {
	key classKey
	of  []*rec // by code
	// thin is what few of, worked out when first asked for and forgotten when a part of the
	// class comes, goes, or changes between on hand and not.
	thin atomic.Pointer[thinned]
}

// A thinned class is what of it can be among the best stacks, and what the best of it offer.
type thinned struct {
	of      []*rec
	free    bool     // some part is free on any day
	oal     float64  // longest, mm
	lengths []Opt    // all there are of bars, mm
	through bool     // some bar takes coolant from the rear
	inlets  []string // the coolant inlets that bars have
	sure    bool     // all are free on any day
	like    *cand    // one of them, for what they have in common
	lsc     float64  // longest grip, mm
	cp      float64  // best rating of those that pass coolant on, -1 when none does
}

// A classKey is what the parts of a class have in common; a kind uses the fields it needs.
type classKey struct {
	kind   Kind
	joints string // those that mate with a neighbour, as recorded
	style  string // holder: clamp, bar with its own pocket: hand, head: hand
	yes    bool   // sleeve: for damped bars, bar: flat
	none   bool   // sleeve: no aid for centre height
	shape  shapeKey
	own    Opt // bar with its own pocket: DMIN, insert: RE
	length Opt // bar held by a coupling: OAL
}

// A shapeKey is what decides how far a bar may reach.
type shapeKey struct {
	d            int64
	construction string
	ohx, ohn     Opt
	coupled      bool // held by a coupling
}

// A shape is the bars of one shapeKey.
type shape struct{ classes []*class }

// A classAt is where a class is found: by kind and joint.
type classAt struct {
	kind Kind
	at   jointKey
}

// classOf returns the key of the class a part belongs to.
func classOf(r *rec) classKey {
	p := r.part
	var joints strings.Builder
	for _, j := range p.Joints {
		if j.Side == Machine || j.Side == Workpiece || r.kind == Hose || r.kind == Fitting {
			k := keyOf(j)
			joints.WriteString(string(k.side) + " " + string(k.family) + " " + k.code + " " + strconv.FormatInt(k.size, 36) + "|")
		}
	}
	k := classKey{kind: r.kind, joints: joints.String()}
	switch r.kind {
	case Holder:
		k.style = p.Clamp()
	case Sleeve:
		k.yes, k.none = p.ForDamped, p.Index == "none"
	case Bar:
		k.shape = shapeKey{d: sizeKey(r.shank), construction: p.Construction, ohx: p.OHX, ohn: p.OHN, coupled: r.ccms != ""}
		k.yes = r.flat
		if r.ccms != "" {
			k.length = p.OAL
		}
		if r.ccws == "" {
			k.style, k.own = p.Hand, p.DMIN
		}
	case Head:
		k.style = p.Hand
	case Insert:
		k.own = p.RE
	case Hose, Fitting:
	default: // few, and of any build: each for itself
		k.joints = p.Code
	}
	return k
}

// atLeast reports whether a, of the same class, is as good as b in everything a stack may ask.
func atLeast(a, b *rec) bool {
	if a.kind == Insert {
		// Of b all that may be free, of a what is free on any day.
		return a.stock*a.part.Edges >= (b.stock+b.promised)*b.part.Edges
	}
	if a.cp < b.cp {
		return false
	}
	if a.kind == Hose || a.kind == Fitting {
		return true
	}
	if a.wt > b.wt || a.noWT && !b.noWT || b.cools && !a.cools {
		return false
	}
	switch a.kind {
	case Holder, Sleeve:
		return a.lsc >= b.lsc
	case Bar:
		return a.oal >= b.oal && (a.throughs || !b.throughs) && !slices.ContainsFunc(b.inlets, func(e string) bool { return !slices.Contains(a.inlets, e) })
	case Head:
		return a.lf >= b.lf && (a.dmin <= b.dmin)
	}
	return false
}

// ease sorts parts by how surely they can be had: free on any day, owned, only recorded.
func (r *rec) ease() int {
	switch {
	case len(r.idle) > 0:
		return 0
	case len(r.busy) > 0:
		return 1
	}
	return 2
}

// best returns the parts of the class that can matter: those that fewer than K parts free on
// any day are at least as good as; of parts that are only recorded, none where one free on any
// day is as good, and no more than the missing search tells apart.
func (c *class) best() *thinned {
	if t := c.thin.Load(); t != nil {
		return t
	}
	list := slices.Clone(c.of)
	slices.SortFunc(list, func(a, b *rec) int {
		return cmp.Or(cmp.Compare(a.ease(), b.ease()), cmp.Compare(b.oal, a.oal), cmp.Compare(b.lsc, a.lsc), cmp.Compare(b.lf, a.lf), cmp.Compare(a.dmin, b.dmin),
			cmp.Compare(b.cp, a.cp), cmp.Compare(a.wt, b.wt), cmp.Compare(b.stock, a.stock), strings.Compare(a.part.Code, b.part.Code))
	})
	most := K
	if c.key.kind == Hose || c.key.kind == Fitting {
		most = K + maxLine // a line may already have used some
	}
	t := &thinned{cp: -1, oal: -1, sure: true, like: &cand{rec: c.of[0]}}
	for _, r := range list {
		sure, any := 0, 0
		ease := r.ease()
		for _, o := range t.of {
			if sure >= most || any >= searchWide {
				break
			}
			if !atLeast(o, r) {
				continue
			}
			any++
			if o.ease() == 0 {
				sure++
				if ease == 2 {
					sure = most
				}
			}
		}
		if sure >= most || ease == 2 && any >= searchWide {
			continue
		}
		t.of = append(t.of, r)
		t.free, t.sure = t.free || ease == 0, t.sure && ease == 0
		if !slices.Contains(t.lengths, r.part.OAL) {
			t.lengths = append(t.lengths, r.part.OAL)
		}
		t.oal, t.lsc = max(t.oal, r.oal), max(t.lsc, r.lsc)
		t.through = t.through || r.throughs && r.cools
		if r.cools {
			t.cp = max(t.cp, r.cp)
			for _, e := range r.inlets {
				if !slices.Contains(t.inlets, e) {
					t.inlets = append(t.inlets, e)
				}
			}
		}
	}
	c.thin.Store(t)
	return t
}

// of returns the parts of a class that this search has to look at. Pieces that earlier jobs of
// a plan hold are not free on any day: where one of the best is short by that, all count.
func (q *search) of(c *class) []*rec {
	if q.mode == modeBuy {
		return q.bids.m.of(c)
	}
	if q.whole {
		return c.of
	}
	if q.near != nil && !q.kinds[c.key.kind] {
		if q.nearOf == nil {
			q.nearOf = map[*class][]*rec{}
			for r := range q.near {
				q.nearOf[r.class] = append(q.nearOf[r.class], r)
			}
			for _, list := range q.nearOf {
				slices.SortFunc(list, byCode)
			}
		}
		return q.nearOf[c]
	}
	if c.key.kind == Head && q.s.coupled > 0 {
		return c.of // of a head before a bar held by its coupling, longer is not better
	}
	list := c.best().of
	if len(q.req.holds) == 0 || len(list) == len(c.of) {
		return list
	}
	for _, r := range list {
		if r.kind == Insert {
			if slices.ContainsFunc(r.idle, func(it *Item) bool { return len(q.req.holds[it.ID]) > 0 }) {
				return c.of
			}
		} else if len(r.idle) > 0 && r.nth(q.req, 0) == nil {
			return c.of
		}
	}
	return list
}

// A lineClass enters a class of line parts by one end and leaves by the other.
type lineClass struct {
	*class
	leave string
}

// enlist puts a part into its class, making the class when it is the first.
func (s *Shelf) enlist(r *rec) {
	k := classOf(r)
	c := s.classes[k]
	if c == nil {
		c = &class{key: k}
		s.classes[k] = c
		for _, at := range matingKeys(r) {
			s.found[at] = append(s.found[at], c)
		}
		if r.kind == Bar {
			sh := s.shaped[k.shape]
			if sh == nil {
				sh = &shape{}
				s.shaped[k.shape] = sh
				s.shapes = append(s.shapes, sh)
			}
			sh.classes = append(sh.classes, c)
		}
		if inLine(r) {
			s.ways[r.ends[0]] = append(s.ways[r.ends[0]], lineClass{c, r.ends[1]})
			if r.ends[0] != r.ends[1] {
				s.ways[r.ends[1]] = append(s.ways[r.ends[1]], lineClass{c, r.ends[0]})
			}
		}
	}
	i, _ := slices.BinarySearchFunc(c.of, r, byCode)
	c.of = slices.Insert(slices.Clip(c.of), i, r)
	c.thin.Store(nil)
	r.class = c
}

// delist takes a part out of its class, and forgets the class when it was the last.
func (s *Shelf) delist(r *rec) {
	c := r.class
	if c == nil {
		return
	}
	r.class = nil
	c.of = slices.DeleteFunc(slices.Clone(c.of), func(o *rec) bool { return o == r })
	c.thin.Store(nil)
	if len(c.of) > 0 {
		return
	}
	delete(s.classes, c.key)
	for _, at := range matingKeys(r) {
		drop(s.found, at, func(o *class) bool { return o == c })
	}
	if sh := s.shaped[c.key.shape]; sh != nil && r.kind == Bar {
		sh.classes = slices.DeleteFunc(sh.classes, func(o *class) bool { return o == c })
		if len(sh.classes) == 0 {
			delete(s.shaped, c.key.shape)
			s.shapes = slices.DeleteFunc(s.shapes, func(o *shape) bool { return o == sh })
		}
	}
	if inLine(r) {
		for _, e := range r.ends {
			drop(s.ways, e, func(o lineClass) bool { return o.class == c })
		}
	}
}

// drop deletes from the list of one key, and the key with its last.
func drop[K comparable, V any](m map[K][]V, k K, is func(V) bool) {
	if list := slices.DeleteFunc(m[k], is); len(list) > 0 {
		m[k] = list
	} else {
		delete(m, k)
	}
}

// matingKeys lists where the class of a part is found.
func matingKeys(r *rec) []classAt {
	var out []classAt
	for _, j := range r.part.Joints {
		if at := (classAt{r.kind, keyOf(j)}); (j.Side == Machine || j.Side == Workpiece) && !slices.Contains(out, at) {
			out = append(out, at)
		}
	}
	return out
}

// rounds visits the classes of a kind that have a bore of diameter d.
func (s *Shelf) rounds(kind Kind, d float64, visit func(*class)) {
	list := s.bores
	for i := sort.SearchFloat64s(list, d-fit-2e-9); i < len(list) && list[i] <= d+fit+2e-9; i++ {
		if !Equal(list[i], d) {
			continue
		}
		for _, c := range s.found[classAt{kind, jointKey{side: Workpiece, family: Cylindrical, size: sizeKey(list[i])}}] {
			visit(c)
		}
	}
}

// coded returns the classes of a kind with that coded joint.
func (s *Shelf) coded(kind Kind, side Side, f Family, code string) []*class {
	return s.found[classAt{kind, jointKey{side: side, family: f, code: code}}]
}
