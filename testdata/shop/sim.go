package shop

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// run makes all events of the history and lets them happen in their order.
func (p *player) run(batches []*batch, h *History) {
	p.events, p.acts = nil, p.acts[:len(p.acts):len(p.acts)]
	p.taken, p.used = map[string][]draw{}, map[string][]pile{}
	if p.dry {
		p.fifo = map[string][]pile{}
	}
	for _, b := range batches {
		p.work(b)
	}
	p.spares()
	p.counts()
	p.mistakes()
	p.odd(h)
	if !p.dry {
		for i := range h.Orders {
			if o := &h.Orders[i]; !o.Received.IsZero() {
				p.event(p.minuteOf(o), func() { p.receive(o) })
			}
		}
	}
	slices.SortStableFunc(p.events, func(a, b event) int { return cmp.Compare(a.at, b.at) })
	for _, e := range p.events {
		e.do()
	}
}

func (p *player) event(at int, do func()) { p.events = append(p.events, event{at, do}) }

// act books one act at a minute, in the name of the attendant of that shift when by is "".
func (p *player) act(m int, kind ActKind, by, job, reason string, lines []Line) {
	if by == "" {
		by = p.clerks[0]
		if minute := m - int(math.Floor(float64(m)/1440))*1440; minute >= lateStart-15 {
			by = p.clerks[1]
		}
	}
	p.acts = append(p.acts, Act{At: p.stamp(m), Kind: kind, By: by, Job: job, Reason: reason, Lines: lines})
}

// stamp returns the time of the next act at a minute: never before the last one.
func (p *player) stamp(m int) time.Time {
	t := p.when(m)
	if n := len(p.acts); n > 0 && !t.After(p.acts[n-1].At) {
		t = p.acts[n-1].At.Add(time.Second)
	}
	return t
}

// take draws qty new pieces of a lot part from the oldest box on, as lines to a person.
func (p *player) take(m int, part, to string, qty int) []Line {
	p.taken[part] = append(p.taken[part], draw{m, qty})
	if p.dry {
		return []Line{{Piece: -1, Part: part, Qty: qty, From: p.home[part], To: to}}
	}
	var lines []Line
	piles := p.fifo[part]
	for qty > 0 && len(piles) > 0 {
		n := min(qty, piles[0].qty)
		if n > 0 {
			lines = append(lines, Line{Piece: -1, Part: part, Lot: piles[0].lot, Qty: n, From: p.home[part], To: to})
		}
		piles[0].qty -= n
		qty -= n
		if piles[0].qty == 0 {
			piles = piles[1:]
		}
	}
	p.fifo[part] = piles
	return lines
}

// give puts unused pieces back into the box they came from.
func (p *player) give(m int, part, lot string, qty int) {
	p.taken[part] = append(p.taken[part], draw{m, -qty})
	if p.dry {
		return
	}
	for i := range p.fifo[part] {
		if p.fifo[part][i].lot == lot {
			p.fifo[part][i].qty += qty
			return
		}
	}
	p.fifo[part] = append([]pile{{lot: lot, qty: qty}}, p.fifo[part]...)
}

// work turns a batch into its events: the kit goes out, inserts with it, edges come off, more
// inserts are fetched, and at the end everything comes home.
func (p *player) work(b *batch) {
	f, who := b.f, b.f.Operator
	b.held, b.spent = nil, nil
	p.event(b.start-12, func() {
		var kit []Line
		for _, n := range b.pieces {
			part := p.pieceOf(n)
			kit = append(kit, Line{Piece: n, Part: part.Part, Qty: 1, From: p.home[part.Part], To: who})
		}
		if len(kit) > 0 {
			p.act(b.start-12, Issue, "", b.job, "", kit)
		}
		if lines := p.inserts(b); len(lines) > 0 {
			p.act(b.start-12, Issue, "", b.job, "", lines)
		}
	})
	var cut float64
	for i := range b.lives {
		run := b.lives[i]
		cut += run.Minutes
		m, last := b.minute(cut), i == len(b.lives)-1 && !b.running
		p.event(m, func() { p.change(b, m, run, last) })
	}
	if b.running {
		return
	}
	p.event(b.end, func() {
		var lines []Line
		for _, x := range b.held {
			l := Line{Piece: -1, Part: f.Insert, Lot: x.lot, Used: x.taken, EdgesNow: x.edges, Qty: 1, From: who, To: PartUsedPlace}
			if x.taken == 0 && x.edges == p.parts[f.Insert].Edges {
				l.To = p.home[f.Insert]
				p.give(b.end, f.Insert, x.lot, 1)
			} else {
				p.keep(f.Insert, x)
			}
			lines = merge(lines, l)
		}
		for _, x := range b.spent {
			lines = merge(lines, Line{Piece: -1, Part: f.Insert, Lot: x.lot, Used: x.taken, Qty: 1, From: who, To: ScrapPlace})
		}
		if len(lines) > 0 {
			p.act(b.end, Return, "", b.job, "", lines)
		}
		lines = nil
		for _, n := range b.pieces {
			part := p.pieceOf(n)
			lines = append(lines, Line{Piece: n, Part: part.Part, Qty: 1, From: who, To: p.home[part.Part]})
		}
		p.act(b.end, Return, "", b.job, "", lines)
	})
}

// pieceOf returns a piece by number, gone ones included.
func (p *player) pieceOf(n int) *Piece {
	if n < len(p.s.Pieces) {
		return &p.s.Pieces[n]
	}
	g := p.r.Gone[n-len(p.s.Pieces)]
	return &Piece{Part: g.Part, Place: g.Place}
}

// merge adds a line to an equal one.
func merge(lines []Line, l Line) []Line {
	for i := range lines {
		x := lines[i]
		x.Qty = l.Qty
		if x == l {
			lines[i].Qty += l.Qty
			return lines
		}
	}
	return append(lines, l)
}

// keep lays a part-used insert to its like.
func (p *player) keep(part string, x held) {
	for i := range p.used[part] {
		if u := &p.used[part][i]; u.lot == x.lot && u.edges == x.edges {
			u.qty++
			return
		}
	}
	p.used[part] = append(p.used[part], pile{x.lot, 1, x.edges})
}

// inserts hands out what the batch is likely to need: part-used ones first, then new ones.
func (p *player) inserts(b *batch) []Line {
	f := b.f
	edges := p.parts[f.Insert].Edges
	need := int(math.Ceil(float64(b.qty) / (0.9 * f.Scale)))
	if f.PlannedAt > 0 {
		need = max(need, int(math.Ceil(float64(b.qty)/float64(f.PlannedAt))))
	}
	var lines []Line
	for len(p.used[f.Insert]) > 0 && need > 0 {
		u := &p.used[f.Insert][0]
		lines = merge(lines, Line{Piece: -1, Part: f.Insert, Lot: u.lot, Used: u.edges, Qty: 1, From: PartUsedPlace, To: f.Operator})
		b.held = append(b.held, held{u.lot, u.edges, u.edges})
		need -= u.edges
		if u.qty--; u.qty == 0 {
			p.used[f.Insert] = p.used[f.Insert][1:]
		}
	}
	if need > 0 {
		lines = append(lines, p.fetch(b, b.start-12, min(6, (need+edges-1)/edges))...)
	}
	return lines
}

// fetch takes n new inserts for a batch.
func (p *player) fetch(b *batch, m, n int) []Line {
	lines := p.take(m, b.f.Insert, b.f.Operator, n)
	for _, l := range lines {
		for range l.Qty {
			b.held = append(b.held, held{l.Lot, 0, p.parts[b.f.Insert].Edges})
		}
	}
	return lines
}

// change takes an edge off. The next edge of the insert follows, or the next insert.
func (p *player) change(b *batch, m int, run EdgeRun, last bool) {
	if len(b.held) == 0 {
		return // the shelf was empty; stock makes sure that it is not
	}
	x := &b.held[0]
	run.Lot, run.EdgeNo = x.lot, p.parts[b.f.Insert].Edges-x.edges+1
	x.edges--
	broken := run.Reason == "broken" && x.edges > 0
	p.acts = append(p.acts, Act{At: p.stamp(m), Kind: Edge, By: b.f.Operator, Job: b.job, Reason: run.Reason, Run: &run})
	if broken {
		x.edges = 0 // a broken insert takes its other edges with it
	}
	if x.edges == 0 {
		b.spent = append(b.spent, *x)
		b.held = b.held[1:]
	}
	if len(b.held) == 0 && !last {
		p.act(m, Issue, "", b.job, "", p.fetch(b, m, 2))
	}
}

// spares lets people take what is used up without a job.
func (p *player) spares() {
	for _, u := range p.r.SpareUse {
		r := p.rng("use " + u.Part)
		// Waiting times of a Poisson stream, in days of a five-day week.
		for t := float64(-p.r.Workdays + 1); ; {
			t += -math.Log(1-r.Float64()) * 5 / u.PerWeek
			if t >= -1 {
				break
			}
			m := at(int(math.Floor(t)), float64(7*60+r.IntN(14*60)))
			op := p.operators()[r.IntN(len(p.operators()))]
			p.event(m, func() { p.act(m, Use, "", "", "", p.take(m, u.Part, op, 1)) })
		}
	}
}

func (p *player) operators() []string {
	var ops []string
	for _, v := range p.s.People {
		if v.Role == "operator" {
			ops = append(ops, v.Code)
		}
	}
	return ops
}

// counts lets the attendants count a few bins a week; some are one piece off.
func (p *player) counts() {
	r := p.rng("counts")
	var lots []string
	for _, v := range p.s.Pieces {
		if p.parts[v.Part].Counted() && !v.PartUsed && v.Status == "in" && !slices.Contains(lots, v.Part) {
			lots = append(lots, v.Part)
		}
	}
	for day := -p.r.Workdays + 3; day < -1; day += 5 {
		for k := range p.r.CountsAWeek {
			part, off := lots[r.IntN(len(lots))], 0
			if r.Float64() < p.r.CountWrong {
				off = 1
			}
			m := at(day, float64(13*60+10*k))
			p.event(m, func() {
				if p.dry {
					p.taken[part] = append(p.taken[part], draw{m, off})
					return
				}
				if len(p.fifo[part]) == 0 {
					return
				}
				u := &p.fifo[part][0]
				u.qty -= off
				p.taken[part] = append(p.taken[part], draw{m, off})
				p.act(m, Count, "", "", "", []Line{{Piece: -1, Part: part, Lot: u.lot, Qty: u.qty, From: p.home[part]}})
				if u.qty == 0 {
					p.fifo[part] = p.fifo[part][1:]
				}
			})
		}
	}
}

// mistakes are issues taken back a few minutes later.
func (p *player) mistakes() {
	r := p.rng("mistakes")
	if len(p.r.SpareUse) == 0 {
		return
	}
	for i := range p.r.Mistakes {
		part := p.r.SpareUse[r.IntN(len(p.r.SpareUse))].Part
		day := -p.r.Workdays + 2 + i*(p.r.Workdays-4)/max(1, p.r.Mistakes)
		m := at(day, float64(9*60+r.IntN(120)))
		op := p.operators()[r.IntN(len(p.operators()))]
		made, lot := -1, ""
		p.event(m, func() {
			if lines := p.take(m, part, op, 1); len(lines) > 0 {
				p.act(m, Issue, "", "", "", lines)
				made, lot = len(p.acts)-1, lines[0].Lot
			}
		})
		p.event(m+4, func() {
			if made >= 0 {
				p.give(m+4, part, lot, 1)
				p.act(m+4, Reverse, "", "", "wrong bin scanned", nil)
				p.acts[len(p.acts)-1].Of = made
			}
		})
	}
}

// odd lets pieces go where they are today when that is not their drawer: out to a running job
// is told by work; held back, lost and scrapped are told here.
func (p *player) odd(h *History) {
	r := p.rng("odd")
	for n, v := range p.s.Pieces {
		m := at(-40+r.IntN(35), float64(10*60+r.IntN(200)))
		l := Line{Piece: n, Part: v.Part, Qty: 1, From: p.home[v.Part], To: v.Place}
		switch v.Status {
		case "quarantine": // somebody had it and brought it back with a word about it
			op := p.operators()[r.IntN(len(p.operators()))]
			out := l
			out.To, l.From = op, op
			p.event(m-90, func() { p.act(m-90, Issue, "", "", "", []Line{out}) })
			p.event(m, func() { p.act(m, Return, "", "", v.Why, []Line{l}) })
		case "lost":
			p.event(m, func() { p.act(m, Transfer, "", "", v.Why, []Line{l}) })
		}
	}
	for i, g := range p.r.Gone {
		n, m := len(p.s.Pieces)+i, at(g.On, 11*60)
		p.event(m, func() {
			p.act(m, Scrap, "", "", g.Reason, []Line{{Piece: n, Part: g.Part, Qty: 1, From: g.Place, To: ScrapPlace}})
		})
	}
}

// stock works out, from what the dry run took, the orders that were placed and the stock to
// begin with, so that no shelf runs empty and today's shelves come out as they are.
func (p *player) stock() (opening map[string]int, orders []Order) {
	opening = map[string]int{}
	today := map[string]int{}
	var lots []string
	for _, v := range p.s.Pieces {
		if !p.parts[v.Part].Counted() || v.PartUsed || v.Status != "in" {
			continue
		}
		if today[v.Part] == 0 {
			lots = append(lots, v.Part)
		}
		today[v.Part] += v.Qty
	}
	for part := range p.taken {
		if !slices.Contains(lots, part) {
			lots = append(lots, part)
		}
	}
	slices.Sort(lots)
	for _, part := range lots {
		draws := slices.Clone(p.taken[part])
		slices.SortStableFunc(draws, func(a, b draw) int { return cmp.Compare(a.at, b.at) })
		net := 0
		for _, d := range draws {
			net += d.qty
		}
		mine := p.orders(part, draws)
		for {
			got := 0
			for _, o := range mine {
				if !o.Received.IsZero() {
					got += o.Qty
				}
			}
			opening[part] = today[part] + net - got
			if lowest(opening[part], draws, mine, p) >= 0 {
				break
			}
			mine = mine[:len(mine)-1]
		}
		orders = append(orders, mine...)
	}
	return opening, orders
}

// orders places an order each time an order's worth has been taken.
func (p *player) orders(part string, draws []draw) []Order {
	size := 0
	for _, v := range p.r.OrderSizes {
		if v.Part == part {
			size = v.Qty
		}
	}
	if size == 0 {
		return nil
	}
	r := p.rng("orders " + part)
	lead := Lead{Min: p.parts[part].LeadDays, Max: p.parts[part].LeadDays}
	for _, v := range p.r.Leads {
		if v.Supplier == p.parts[part].Supplier {
			lead = v
		}
	}
	var orders []Order
	taken := 0
	for _, d := range draws {
		taken += d.qty
		if taken < size*(len(orders)+1) {
			continue
		}
		day := int(math.Floor(float64(d.at)/1440)) + 1
		days := lead.Min + r.IntN(lead.Max-lead.Min+1)
		if r.Float64() < lead.Late {
			days += lead.LateBy
		}
		o := Order{Part: part, Supplier: p.parts[part].Supplier, Qty: size,
			Ordered: p.when(at(min(day, -1), 8*60)), Due: Workday(p.s.Today, day+p.parts[part].LeadDays)}
		if day+days <= -1 {
			o.Received = p.when(at(day+days, float64(9*60+r.IntN(180))))
		}
		if p.parts[part].Kind == "insert" {
			o.Lot = fmt.Sprintf("%s-%04d", p.parts[part].Grade[1:], 2000+r.IntN(7000))
		}
		orders = append(orders, o)
	}
	return orders
}

// lowest returns the least the shelf ever holds.
func lowest(stock int, draws []draw, orders []Order, p *player) int {
	type step struct{ at, qty int }
	var steps []step
	for _, d := range draws {
		steps = append(steps, step{d.at, -d.qty})
	}
	for i := range orders {
		if !orders[i].Received.IsZero() {
			steps = append(steps, step{p.minuteOf(&orders[i]), orders[i].Qty})
		}
	}
	slices.SortStableFunc(steps, func(a, b step) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.qty, b.qty)) })
	low := stock
	for _, s := range steps {
		stock += s.qty
		low = min(low, stock)
	}
	return low
}

// minuteOf turns the day an order came back into the player's minutes.
func (p *player) minuteOf(o *Order) int {
	y, m, d := o.Received.Date()
	for day := -1; day >= -p.r.Workdays; day-- {
		if yy, mm, dd := Workday(p.s.Today, day).Date(); yy == y && mm == m && dd == d {
			return at(day, float64(o.Received.Hour()*60+o.Received.Minute()))
		}
	}
	return at(-p.r.Workdays, 0)
}

func (p *player) receive(o *Order) {
	m := p.minuteOf(o)
	p.fifo[o.Part] = append(p.fifo[o.Part], pile{lot: o.Lot, qty: o.Qty})
	if n := len(p.fifo[o.Part]); n > 1 && o.Lot == "" { // one bin, one pile
		p.fifo[o.Part][n-2].qty += o.Qty
		p.fifo[o.Part] = p.fifo[o.Part][:n-1]
	}
	p.act(m, Receive, "", "", "", []Line{{Piece: -1, Part: o.Part, Lot: o.Lot, Qty: o.Qty, From: o.Supplier, To: p.home[o.Part]}})
}

// open books the stock the history begins with: pieces in the order of their tags, then lots.
func (p *player) open(opening map[string]int, h *History) {
	p.acts, p.fifo = nil, map[string][]pile{}
	m := at(-p.r.Workdays, 6*60)
	put := func(l Line) {
		p.act(m, Receive, "", "", "opening count", []Line{l})
		m++
	}
	for n := range len(p.s.Pieces) + len(h.Gone) {
		v := p.pieceOf(n)
		if !p.parts[v.Part].Counted() {
			put(Line{Piece: n, Part: v.Part, Qty: 1, To: p.home[v.Part]})
		}
	}
	for i := range p.s.Parts {
		part := &p.s.Parts[i]
		if n := opening[part.ID]; n > 0 {
			lot := ""
			if part.Kind == "insert" {
				lot = fmt.Sprintf("%s-%04d", part.Grade[1:], 1000+p.rng("lot "+part.ID).IntN(1000))
			}
			put(Line{Piece: -1, Part: part.ID, Lot: lot, Qty: n, To: p.home[part.ID]})
			p.fifo[part.ID] = []pile{{lot: lot, qty: n}}
		}
	}
}
