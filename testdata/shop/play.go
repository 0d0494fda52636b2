package shop

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// shiftMin is how many minutes a day a machine is in cut; starts are minutes after midnight.
const (
	shiftMin   = 420.0
	earlyStart = 6*60 + 15
	lateStart  = 14*60 + 15
)

// A batch is one run of a family: what it takes, how long each edge lasts.
type batch struct {
	f       *Family
	job     string
	start   int // minute on the scale of player.at
	end     int
	qty     int
	pieces  []int
	lives   []EdgeRun
	running bool

	held  []held // inserts in the operator's hand, the one in the machine first
	spent []held
}

// A held insert is in somebody's hand.
type held struct {
	lot   string
	taken int // edges when it came from the part-used shelf, 0: it was new
	edges int // left
}

// An event happens at a minute; the number of its making settles equal minutes.
type event struct {
	at int
	do func()
}

// A player plays the rules twice: once to learn what is taken, with shelves that never run
// out, and once more with an opening stock and orders that fit what was learnt.
type player struct {
	s      *Shop
	r      *Rules
	parts  map[string]*Part
	home   map[string]string // part -> drawer
	shift  map[string]int    // person -> start of the shift
	clerks [2]string
	events []event

	dry   bool // the first time
	fifo  map[string][]pile
	used  map[string][]pile
	taken map[string][]draw
	acts  []Act
}

type pile struct {
	lot        string
	qty, edges int
}

// A draw is what left (or, negative, came back to) the new stock of a part.
type draw struct{ at, qty int }

// History plays the rules of the shop from their seed. The same rules give the same acts on
// every day, only moved along the calendar.
func (s *Shop) History() (History, error) {
	p := &player{s: s, r: &s.Rules, parts: map[string]*Part{}, home: s.Homes(), shift: map[string]int{}}
	for i := range s.Parts {
		p.parts[s.Parts[i].ID] = &s.Parts[i]
	}
	for _, v := range s.People {
		p.shift[v.Code] = earlyStart
		if v.Shift == "late" {
			p.shift[v.Code] = lateStart
		}
		if v.Role == "attendant" && p.clerks[0] == "" {
			p.clerks[0] = v.Code
		}
		if v.Role == "attendant" {
			p.clerks[1] = v.Code
		}
	}
	h := History{}
	for _, g := range s.Rules.Gone {
		h.Gone = append(h.Gone, Piece{Part: g.Part, Place: g.Place, Condition: "scrapped", Status: "scrap", Why: g.Reason, Qty: 1})
	}
	batches, err := p.schedule(&h)
	if err != nil {
		return h, err
	}

	p.dry = true
	p.run(batches, &h)
	opening, orders := p.stock()
	p.dry = false
	h.Orders = orders
	p.open(opening, &h)
	p.run(batches, &h)
	h.Acts = p.acts
	return h, nil
}

// at turns a working day and a minute of the day into one number that grows with time.
func at(day int, minute float64) int { return day*1440 + int(minute) }

// when turns such a number into a time.
func (p *player) when(m int) time.Time {
	day := int(math.Floor(float64(m) / 1440))
	return Workday(p.s.Today, day).Add(time.Duration(m-day*1440) * time.Minute)
}

func (p *player) rng(stream string) *rand.Rand {
	var n uint64 = 14695981039346656037 // FNV-1a, so that a new family leaves the others as they were
	for _, c := range []byte(stream) {
		n = (n ^ uint64(c)) * 1099511628211
	}
	return rand.New(rand.NewPCG(p.r.Seed, n))
}

// schedule lays out the batches of all families so that no piece is in two places.
func (p *player) schedule(h *History) ([]*batch, error) {
	busy := map[int][][2]int{}
	for i, v := range p.s.Pieces {
		if v.Status == "out" {
			for _, r := range p.r.Running {
				if r.Code == v.Out.Job {
					busy[i] = append(busy[i], [2]int{at(r.Since, 0), math.MaxInt})
				}
			}
		}
		if v.Status == "quarantine" || v.Status == "lost" {
			busy[i] = append(busy[i], [2]int{math.MinInt, math.MaxInt})
		}
	}
	for i, g := range p.r.Gone {
		busy[len(p.s.Pieces)+i] = append(busy[len(p.s.Pieces)+i], [2]int{at(g.On, 0), math.MaxInt})
	}
	var all []*batch
	for fi := range p.r.Families {
		f := &p.r.Families[fi]
		r := p.rng(f.Code)
		last := -1
		if f.Until < 0 {
			last = f.Until
		}
		for day := -p.r.Workdays + 1 + r.IntN(f.Every); ; day += max(1, f.Every-2+r.IntN(5)) {
			b := p.batch(f, r, day, f.QtyMin+r.IntN(f.QtyMax-f.QtyMin+1))
			if b.end > at(last, 1439) {
				break
			}
			if b.pieces = p.free(h, f, busy, b.start-30, b.end+30); b.pieces == nil {
				continue
			}
			for _, n := range b.pieces {
				busy[n] = append(busy[n], [2]int{b.start - 30, b.end + 30})
			}
			all = append(all, b)
			day = int(math.Floor(float64(b.end) / 1440))
		}
	}
	slices.SortStableFunc(all, func(a, b *batch) int { return cmp.Compare(a.start, b.start) })
	for i, b := range all {
		b.job = fmt.Sprintf("J-%d", 3801+i)
		h.Jobs = append(h.Jobs, p.past(b, b.f.Name, b.f.Code, p.when(b.end), p.when(b.end+1440)))
	}
	for _, run := range p.r.Running {
		i := slices.IndexFunc(p.r.Families, func(f Family) bool { return f.Code == run.Family })
		f := &p.r.Families[i]
		b := p.batch(f, p.rng(run.Code), run.Since, run.Qty)
		b.job, b.running = run.Code, true
		for n, v := range p.s.Pieces {
			if v.Status == "out" && v.Out.Job == run.Code && !p.parts[v.Part].Counted() {
				b.pieces = append(b.pieces, n)
			}
		}
		// What has not happened yet is not told.
		m := float64(0)
		for k, l := range b.lives {
			m += l.Minutes
			if b.minute(m) > at(-1, 1380) || l.Reason == "end of job" {
				b.lives = b.lives[:k]
				break
			}
		}
		all = append(all, b)
		h.Jobs = append(h.Jobs, p.past(b, run.Name, f.Code, time.Time{}, Workday(p.s.Today, run.Due)))
	}
	return all, nil
}

func (p *player) past(b *batch, name, family string, end, due time.Time) PastJob {
	return PastJob{Code: b.job, Name: name, Family: family, Machine: b.f.Machine, Station: b.f.Station, Material: b.f.Material,
		KcGroup: b.f.KcGroup, Cutting: b.f.Cutting, Request: b.f.Request, Insert: b.f.Insert, Qty: b.qty, Start: p.when(b.start), End: end, Due: due}
}

// batch draws the edges of one run of qty parts from a day on.
func (p *player) batch(f *Family, r *rand.Rand, day, qty int) *batch {
	b := &batch{f: f, qty: qty, start: at(day, float64(p.shift[f.Operator]))}
	heat := Heat{Factor: 1}
	for _, v := range f.Heats {
		if v.From <= day {
			heat = v
		}
	}
	for left := qty; left > 0; {
		wear := f.Scale * heat.Factor * math.Pow(-math.Log(1-r.Float64()), 1/f.Shape)
		sudden := math.Inf(1)
		if f.Sudden > 0 {
			sudden = math.Floor(math.Log(1-r.Float64())/math.Log(1-f.Sudden)) + 1
		}
		run := EdgeRun{Machine: f.Machine, Station: f.Station, Insert: f.Insert, Material: heat.Name,
			Parts: max(1, int(wear)), Reason: []string{"worn", "worn", "worn", "finish", "size"}[r.IntN(5)]}
		if sudden < wear {
			run.Parts, run.Reason = max(1, int(sudden)), []string{"chipped", "chipped", "broken"}[r.IntN(3)]
		}
		if f.PlannedAt > 0 && run.Parts >= f.PlannedAt {
			run.Parts, run.Reason = f.PlannedAt, "planned"
		}
		if run.Parts >= left {
			run.Parts, run.Reason = left, "end of job"
		}
		run.Minutes = math.Round(float64(run.Parts)*f.MinPerPart*10) / 10
		left -= run.Parts
		b.lives = append(b.lives, run)
	}
	var total float64
	for _, l := range b.lives {
		total += l.Minutes
	}
	b.end = b.minute(total) + 5
	return b
}

// minute tells when so many minutes in cut are done.
func (b *batch) minute(cut float64) int {
	days := math.Floor((cut - 0.01) / shiftMin)
	return b.start + int(days)*1440 + int(cut-days*shiftMin)
}

// free picks a piece for each part of the kit that is in no other batch, nil when one lacks.
// It takes the last that fits: the first ones stand for what is out or promised today.
func (p *player) free(h *History, f *Family, busy map[int][][2]int, from, to int) []int {
	var got []int
	for _, part := range f.Kit {
		pick := -1
		for n := range len(p.s.Pieces) + len(h.Gone) {
			if h.Piece(p.s, n).Part != part || slices.Contains(got, n) {
				continue
			}
			if !slices.ContainsFunc(busy[n], func(b [2]int) bool { return from <= b[1] && b[0] <= to }) {
				pick = n
			}
		}
		if pick < 0 {
			return nil
		}
		got = append(got, pick)
	}
	return got
}
