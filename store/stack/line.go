package stack

import (
	"cmp"
	"slices"
)

// The ways of the coolant.
const (
	byBore = "through" // through the holder's bore and the bar's rear
	byLine = "line"    // from the station's outlet by hose
)

// A line is a chain of hoses and fittings in a row.
type line struct {
	p    [maxLine]*cand
	n    int
	cost int
	bits set
	cp   float64
	open string // the end that is still open
	hose bool   // has a hose in it

	worse int   // chains to the same end that are at least as good
	gap   int32 // modeMissing: what it misses, by number
}

// lines4 holds what the line search found: ways from the station's outlet forward, and whole
// lines by the bar inlet they end at.
type lines4 struct {
	forward map[string][]line // by open end
	into    map[string][]lineStep
	whole   map[string][]line // by inlet
}

// startLines walks from the station's outlet outward.
func (q *search) startLines() *lines4 {
	if q.lines == nil {
		q.lines = &lines4{whole: map[string][]line{}, forward: map[string][]line{}, into: map[string][]lineStep{}}
		if port := portEnd(q.req.Station.CoolantPort); port != "" {
			q.lines.forward = q.walk(port, maxLine)
		}
	}
	return q.lines
}

// portEnd writes a port in the spelling of ends, "" when there is none.
func portEnd(port string) string {
	j, err := parseEnd(port)
	if err != nil || j.Family == Through {
		return ""
	}
	return j.End()
}

// walk lists the chains of up to most pieces that start on the open end, by the end they leave
// open; the chain of none is included.
func (q *search) walk(open string, most int) map[string][]line {
	by := map[string][]line{open: {{cp: inf, open: open}}}
	layer := by[open]
	for range most {
		next := map[string][]line{}
		for i := range layer {
			ln := &layer[i]
			leave, better := "", 0
			for _, w := range q.waysInto(opposite(ln.open)) {
				if w.leave != leave {
					leave, better = w.leave, 0
				}
				// Of the chains before it, and of the pieces to go on with, that many are at
				// least as good, less the pieces they have used up.
				if better+ln.worse*max(better+1-ln.n, 0) >= q.k && q.mode != modeNearest {
					continue
				}
				used := 0
				for _, c := range ln.p[:ln.n] {
					if c.rec == w.rec {
						used++
					}
				}
				c := w.cand
				if used > 0 {
					if c = q.again(w.rec, used); c == nil {
						continue
					}
				}
				better += q.weight(ln.cost + c.cost)
				x := *ln
				x.p[x.n] = c
				x.n++
				x.cost += c.cost
				x.bits |= c.bits
				x.cp = min(x.cp, w.rec.cp)
				x.open = w.leave
				x.hose = x.hose || w.rec.kind == Hose
				if next[x.open] == nil {
					next[x.open] = q.mem.lines.work()
				}
				next[x.open] = append(next[x.open], x)
			}
		}
		layer = layer[:0:0]
		for _, end := range sortedKeys(next) {
			old := len(by[end])
			both := append(append(q.mem.lines.work(), by[end]...), next[end]...)
			q.mem.lines.lay(next[end])
			all := q.skyLine(both)
			q.mem.lines.lay(both)
			for _, x := range all {
				if !slices.ContainsFunc(by[end][:old], func(y line) bool { return x.n == y.n && x.p == y.p }) {
					layer = append(layer, x)
				}
			}
			by[end] = all
		}
	}
	return by
}

// A lineStep is a piece to go on with and the end it leaves.
type lineStep struct {
	*cand
	leave string
}

// waysInto lists the pieces to go on with at an end, by the end they leave, the easiest to have
// first. Of those between the same two ends only the best are kept: k, and as many more as a
// line may already have used up.
func (q *search) waysInto(end string) []lineStep {
	if w, ok := q.lines.into[end]; ok {
		return w
	}
	all := q.mem.steps.work()
	for _, w := range q.s.ways[end] {
		for _, r := range q.of(w.class) {
			if q.mode != modeNearest && r.cp < q.need-deadband {
				continue
			}
			if c := q.candidate(r); c != nil && (c.cost <= q.slack || q.mode == modeMissing) {
				all = append(all, lineStep{c, w.leave})
			}
		}
	}
	slices.SortFunc(all, func(x, y lineStep) int {
		return cmp.Or(cmp.Compare(x.leave, y.leave), cmp.Compare(x.cost, y.cost), cmp.Compare(y.rec.cp, x.rec.cp),
			cmp.Compare(x.rec.part.Code, y.rec.part.Code))
	})
	most := maxLine
	if q.mode == modeStrict || q.mode == modeBuy {
		most += q.k
	}
	out := q.mem.steps.work()
	first := 0 // where the present pair of ends begins
	for _, c := range all {
		if len(out) > 0 && out[len(out)-1].leave != c.leave {
			first = len(out)
		}
		better := 0
		for _, o := range out[first:] {
			switch {
			case q.lists() && o.ware == nil:
				better = most // one of which there is plenty does for all
			case q.lists():
			case o.cost <= c.cost && (o.rec.cp >= c.rec.cp || q.mode != modeNearest) && (q.mode != modeNearest || o.bits == c.bits):
				better++
			}
		}
		if better < most {
			out = append(out, c)
		}
	}
	q.mem.steps.lay(all)
	q.mem.steps.lay(out)
	q.lines.into[end] = q.mem.steps.keep(out)
	return q.lines.into[end]
}

// again returns the part once more, when there is another free piece of it.
func (q *search) again(r *rec, used int) *cand {
	if q.mode == modeBuy {
		return q.bids.cand(r, used)
	}
	if it := r.nth(q.req, used); it != nil {
		return &cand{rec: r, item: it}
	}
	return nil
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// skyLine keeps the chains that fewer than k others are at least as good as.
func (q *search) skyLine(in []line) []line {
	enough := inf
	if q.mode != modeNearest {
		enough = q.need
	}
	order := q.mem.sorted(len(in), func(i, j int32) int {
		a, b := &in[i], &in[j]
		return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.n, b.n), cmp.Compare(b.cp, a.cp),
			compareNames(a.p[:a.n], b.p[:b.n]), cmp.Compare(i, j))
	})
	out := q.mem.lines.work()
	for _, i := range order {
		x := in[i]
		better := 0
		for _, y := range out {
			if y.cost <= x.cost && y.n <= x.n && y.cp >= min(x.cp, enough) && (q.mode != modeNearest || x.bits == y.bits) &&
				(!q.lists() || asksNoMore(y.p[:y.n], x.p[:x.n])) {
				if better += q.weight(y.cost); better >= q.k {
					break
				}
			}
		}
		if better < q.k {
			x.worse = better
			out = append(out, x)
		}
	}
	q.mem.lines.lay(out)
	return q.mem.lines.keep(out)
}

// linesTo lists the whole lines from the station's outlet to a bar inlet.
func (q *search) linesTo(inlet string) []line {
	l := q.startLines()
	if w, ok := l.whole[inlet]; ok {
		return w
	}
	out := q.mem.lines.work()
	for _, ln := range l.forward[opposite(inlet)] {
		if ln.n > 0 {
			out = append(out, ln)
		}
	}
	if q.mode == modeMissing && len(l.forward) > 0 && q.besides >= kindCost(&Part{Kind: Fitting}) {
		out = append(out, q.holeLines(inlet)...)
	}
	l.whole[inlet] = q.skyLine(out)
	q.mem.lines.lay(out)
	return l.whole[inlet]
}

// holeLines closes the gap between the chains that start at the outlet and those that start
// at the inlet with one invented piece: a hose where none is in the line, else a fitting.
func (q *search) holeLines(inlet string) []line {
	var out []line
	back := q.walk(inlet, maxLine-1)
	for _, o := range sortedKeys(q.lines.forward) {
		for _, f := range q.lines.forward[o] {
			for _, bo := range sortedKeys(back) {
				for _, b := range back[bo] {
					if f.n+b.n+1 > maxLine || shares(f, b) {
						continue
					}
					x := f
					ends := []string{opposite(f.open), opposite(b.open)}
					slices.Sort(ends)
					p := &Part{Kind: Hose}
					if f.hose || b.hose {
						p.Kind = Fitting
					}
					for _, e := range ends {
						j, _ := parseEnd(e) // an end of ours reads back
						j.Side = CoolantIn
						p.Joints = append(p.Joints, j)
					}
					c := hole(p, rec{ends: ends})
					x.p[x.n] = c
					x.n++
					x.cost += c.cost
					for i := b.n - 1; i >= 0; i-- {
						x.p[x.n] = b.p[i]
						x.n++
						x.cost += b.p[i].cost
						x.bits |= b.p[i].bits
					}
					x.cp, x.open = min(f.cp, b.cp), opposite(inlet)
					out = append(out, x)
				}
			}
		}
	}
	return out
}

func shares(a, b line) bool {
	for _, x := range a.p[:a.n] {
		for _, y := range b.p[:b.n] {
			if x.rec == y.rec {
				return true
			}
		}
	}
	return false
}

// openEnds lists the inlets that a line of owned pieces can feed; an invented bar may have any
// of them.
func (q *search) openEnds() []string {
	var out []string
	l := q.startLines()
	for _, o := range sortedKeys(l.forward) {
		for _, ln := range l.forward[o] {
			if ln.n > 0 {
				out = append(out, opposite(o))
				break
			}
		}
	}
	return out
}
