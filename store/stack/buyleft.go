package stack

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// left tells of the jobs left out which shared parts are in the way.
func (b *buyer) left() (out []Left) {
	by := b.users()
	for i, dropped := range b.dropped {
		if !dropped {
			continue
		}
		r := &b.jobs[i]
		var best []*ware
		for _, w := range b.lists[i] {
			var lack []*ware
			for _, u := range w.uses {
				if _, n := b.m.short(u.w, append(slices.Clone(by[u.w]), taker{i, u.qty})); n >= impossible {
					lack = append(lack, u.w)
				}
			}
			if len(lack) > 0 && (best == nil || len(lack) < len(best)) {
				best = lack
			}
		}
		l := Left{Job: r.Job}
		var says []string
		for _, w := range best {
			l.Parts = append(l.Parts, w.rec.part)
			var with []string
			for _, t := range by[w] {
				if w.rec.kind == Insert || meet(r, &b.jobs[t.job]) {
					with = append(with, b.jobs[t.job].Job)
				}
			}
			slices.Sort(with)
			for _, j := range with {
				if !slices.Contains(l.With, j) {
					l.With = append(l.With, j)
				}
			}
			says = append(says, fmt.Sprintf("%s: all there is goes to %s; %s", w.rec.part.Code, eachBy("job", with), b.noMore(w.rec, r)))
		}
		l.Why = "what it shares with other jobs is short and no more can be had in time"
		if len(says) > 0 {
			l.Why = strings.Join(says, "; ")
		}
		out = append(out, l)
	}
	return out
}

// noMore says why no more of a part can be had in time for a job.
func (b *buyer) noMore(r *rec, q *Request) string {
	p := r.part
	switch {
	case !r.inBook:
		return "it is not in the catalogue"
	case !p.PriceCents.Known && !p.LeadDays.Known:
		return "no price and no lead time on record"
	case !p.PriceCents.Known:
		return "no price on record"
	case !p.LeadDays.Known:
		return "no lead time on record"
	case p.Currency != b.m.currency:
		return fmt.Sprintf("its price is in %s, not %s", p.Currency, b.m.currency)
	}
	_, day, _ := b.m.terms(r)
	return fmt.Sprintf("ordered today it is there on %s, needed on %s", day, q.NeedDate)
}

// unsolved says why a job cannot be helped by buying, and what would.
func (b *buyer) unsolved(i int) Unsolved {
	r := &b.jobs[i]
	u := Unsolved{Job: r.Job, Why: "no recorded part would do"}
	q := newSearch(b.s, r, modeMissing, searchWide)
	defer q.done()
	if all := q.options(q.run(), 1); len(all) > 0 {
		u.Best = &all[0]
	} else {
		u.Why = "the station itself is in the way: no part makes it buildable"
		return u
	}
	// The way of recorded parts that lacks least: parts of unknown terms before parts that come
	// too late, fewer before more. Owned parts that are not free are in it as parts to buy.
	const late, unknown = 1 << 30, 1 << 20
	any := newMarket(b.s, b.plan.Today, b.m.currency, nil)
	any.jobs, any.entire = b.jobs[i:i+1], true
	x, ok := any.cheapest(0, &bids{bid: func(w *ware, qty, used int) (int, bool) {
		lack := qty + used - w.free(r)
		_, _, known := b.m.terms(w.rec)
		switch {
		case lack <= 0:
			return 0, true
		case w.inTime(r):
			return 1, true
		case known:
			return late, true
		}
		return unknown, w.rec.inBook
	}})
	if !ok {
		return u
	}
	var says []string
	for _, k := range x.uses {
		if k.qty > k.w.free(r) && !k.w.inTime(r) {
			u.Parts = append(u.Parts, k.w.rec.part)
			code := k.w.rec.part.Code
			if k.qty > 1 {
				code = fmt.Sprintf("%d %s", k.qty, code)
			}
			says = append(says, code+" would do; "+b.noMore(k.w.rec, r))
		}
	}
	if len(says) > 0 {
		u.Why = strings.Join(says, "; ")
	}
	return u
}

// singles counts for each part how many jobs that cannot be built now a purchase of one frees.
func (b *buyer) singles() []Single {
	type freed struct{ job, lack int }
	frees := map[*ware][]freed{}
	for _, i := range b.open {
		r := &b.jobs[i]
		if b.buildable(i) {
			continue
		}
		// Of what is on hand all may be used, and of what is bought one part: ways that differ in
		// what they buy, of one thing each.
		const one = 1
		ways, _ := b.m.listed(i, &bids{bid: func(w *ware, qty, used int) (int, bool) {
			switch lack := qty + used - w.free(r); {
			case lack <= 0:
				return 0, true
			case w.rec.kind != Insert && lack > 1:
				return 0, false
			}
			return one, w.inTime(r)
		}, open: func(w *ware) bool { return w.free(r) > 0 }}, one, math.MaxInt32)
		seen := map[*ware]bool{}
		for _, w := range ways {
			var buy []use
			for _, u := range w.uses {
				if u.qty > u.w.free(r) {
					buy = append(buy, u)
				}
			}
			if len(buy) == 1 && !seen[buy[0].w] {
				seen[buy[0].w] = true
				frees[buy[0].w] = append(frees[buy[0].w], freed{i, buy[0].qty - buy[0].w.free(r)})
			}
		}
	}
	var out []Single
	for w, jobs := range frees {
		// One piece, one job at a time: the most jobs that do not meet, by earliest end.
		slices.SortStableFunc(jobs, func(x, y freed) int {
			return strings.Compare(string(b.jobs[x.job].last()), string(b.jobs[y.job].last()))
		})
		s := Single{Part: w.rec.part, Qty: 1}
		last, lack := Date(""), 0
		for _, f := range jobs {
			j := &b.jobs[f.job]
			if w.rec.kind == Insert || j.NeedDate > last {
				s.Jobs = append(s.Jobs, j.Job)
				last = j.last()
				lack += f.lack
			}
		}
		if w.rec.kind == Insert {
			s.Qty = lack
		}
		s.Cents = s.Qty * w.price
		out = append(out, s)
	}
	slices.SortFunc(out, func(x, y Single) int {
		switch {
		case len(x.Jobs) != len(y.Jobs):
			return len(y.Jobs) - len(x.Jobs)
		case x.Cents != y.Cents:
			return x.Cents - y.Cents
		}
		return strings.Compare(x.Part.Code, y.Part.Code)
	})
	return out
}

// buildable reports whether a job alone can be built from what is on hand.
func (b *buyer) buildable(i int) bool {
	return slices.ContainsFunc(b.lists[i], func(w way) bool {
		return !slices.ContainsFunc(w.uses, func(u use) bool {
			_, n := b.m.short(u.w, []taker{{i, u.qty}})
			return n > 0
		})
	})
}
