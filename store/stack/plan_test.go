package stack

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

func bar(code string, d float64, construction, coupling string, oal float64) *Part {
	return &Part{Code: code, Kind: Bar, Construction: construction, OAL: Some(oal), WT: Some(2), Joints: []Joint{
		{Side: Machine, Family: Cylindrical, Gender: "M", Size: Some(d)}, {Side: Workpiece, Family: Coupling, Code: coupling}}}
}

func holder(code, face string, bore, lsc float64) *Part {
	return &Part{Code: code, Kind: Holder, WT: Some(4), Joints: []Joint{{Side: Machine, Family: TurretSeat, Code: face},
		{Side: Workpiece, Family: Cylindrical, Gender: "F", Size: Some(bore), LSC: Some(lsc), Clamp: "split"}}}
}

func sleeve(code string, out, in, lsc float64) *Part {
	return &Part{Code: code, Kind: Sleeve, WT: Some(0.5), ForDamped: true, Index: "scribe", Joints: []Joint{
		{Side: Machine, Family: Cylindrical, Gender: "M", Size: Some(out)}, {Side: Workpiece, Family: Cylindrical, Gender: "F", Size: Some(in), LSC: Some(lsc)}}}
}

func head(code, coupling, seat string) *Part {
	return &Part{Code: code, Kind: Head, Hand: "R", DMIN: Some(30), LF: Some(20), WT: Some(0.3), Joints: []Joint{
		{Side: Machine, Family: Coupling, Code: coupling}, {Side: Workpiece, Family: Pocket, Code: seat}}}
}

func insert(code, seat string) *Part {
	return &Part{Code: code, Kind: Insert, RE: Some(0.4), Edges: 2, Joints: []Joint{{Side: Machine, Family: Pocket, Code: seat}}}
}

func priced(p *Part, cents, days float64) *Part {
	q := *p
	q.PriceCents, q.Currency, q.LeadDays = Some(cents), "EUR", Some(days)
	return &q
}

func on(id string, p *Part, qty int) Item { return Item{ID: id, Part: p, Status: In, Qty: qty} }

func job(name string, day, until Date) Request {
	return Request{Job: name, NeedDate: day, Until: until, Station: Station{Interface: "VDI50"}, BoreStartD: 40, Depth: 120, Clearance: 15,
		Hand: "R", Insert: Wanted{Seat: "CCMT09T3", RE: Some(0.4)}, EdgesNeeded: 2}
}

// What Together gives a job can be had beside what the jobs before it took, and is refused to
// none that could be built: held against shelves on which all that was taken is reserved.
func TestTogetherTakesTurns(t *testing.T) {
	clashes, moved, held, same := 0, 0, 0, 0
	for i := range max(600, twinTrials(t)/20) {
		m := &maker{Rand: rand.New(rand.NewPCG(41, uint64(i)))}
		r, items := m.request(), m.shelf()
		other := r
		other.BoreStartD, other.Depth = other.BoreStartD+float64(m.IntN(20)), other.Depth/2
		s := shelfOf(t, items)
		var jobs []Request
		var alone []Verdict
		for j := range 2 + m.IntN(5) {
			q := r
			if m.IntN(3) == 0 {
				q = other
			}
			q.Job, q.NeedDate = fmt.Sprintf("T%d", j), r.NeedDate.AddDays(m.IntN(4))
			q.Until = q.NeedDate.AddDays(m.IntN(3))
			v, err := s.Check(q)
			if err != nil {
				t.Fatal(err)
			}
			jobs, alone = append(jobs, q), append(alone, v)
		}
		got := s.Together(jobs, alone)
		taken := slices.Clone(items)
		for _, j := range byDay(jobs) {
			g, best := got[j], alone[j].Stacks
			beside, err := shelfOf(t, taken).Check(jobs[j])
			if err != nil {
				t.Fatal(err)
			}
			if g.Alone != alone[j].Buildable || (len(g.Holds) > 0) != beside.Buildable {
				t.Fatalf("trial %d, job %d: alone %v, takes %v; buildable alone %v, beside the others %v", i, j, g.Alone, g.Holds, alone[j].Buildable, beside.Buildable)
			}
			if len(g.Holds) == 0 {
				for _, c := range g.Clashes {
					clashes++
					if !slices.Contains(best[0].IDs(), c.Item) || c.With == jobs[j].Job {
						t.Fatalf("trial %d, job %d: clash %v is none of its stack %v", i, j, c, best[0].IDs())
					}
				}
				if g.Alone && len(g.Clashes) == 0 {
					t.Fatalf("trial %d, job %d: refused without a clash", i, j)
				}
				continue
			}
			// The stack it takes is among all that can be built of just its pieces, and is no worse
			// than the best there is.
			var own []Item
			for _, it := range taken {
				if slices.ContainsFunc(g.Holds, func(h Hold) bool { return h.Item == it.ID }) {
					own = append(own, it)
				}
			}
			mine, err := shelfOf(t, own).Check(jobs[j])
			if err != nil || !mine.Buildable {
				t.Fatalf("trial %d, job %d: nothing can be built of what it takes, %v", i, j, g.Holds)
			}
			a, b := &mine.Stacks[0], &beside.Stacks[0]
			if len(a.Pieces) != len(b.Pieces) || a.Overhang != b.Overhang {
				t.Fatalf("trial %d, job %d: takes %v, the best beside the others is %v", i, j, a.IDs(), b.IDs())
			}
			if slices.Equal(a.IDs(), best[0].IDs()) {
				same++
			} else {
				moved++
			}
			for _, h := range g.Holds {
				held++
				k := slices.IndexFunc(taken, func(it Item) bool { return it.ID == h.Item })
				taken[k].Reserved = append(slices.Clone(taken[k].Reserved), Reservation{Job: h.Job, From: h.From, To: h.To, Qty: h.Qty})
			}
		}
	}
	if clashes == 0 || moved == 0 || held == 0 || same == 0 {
		t.Errorf("%d clashes, %d jobs given another stack, %d their own, %d pieces held: the test proves nothing", clashes, moved, same, held)
	}
}

// TestReadiness: two jobs want the one sleeve on one day. The first has it, the second is told
// with whom it clashes; a day later it is free again.
func TestReadiness(t *testing.T) {
	items := []Item{on("H1", holder("HLD", "VDI50", 50, 150), 1), on("H2", holder("HLD", "VDI50", 50, 150), 1),
		on("B1", bar("BAR", 25, "carbide", "H25", 300), 1), on("B2", bar("BAR", 25, "carbide", "H25", 300), 1),
		on("E1", head("HED", "H25", "CCMT09T3"), 1), on("E2", head("HED", "H25", "CCMT09T3"), 1),
		on("S1", sleeve("SLV", 50, 25, 100), 1), on("I1", insert("INS", "CCMT09T3"), 2)}
	s := shelfOf(t, items)
	got := s.Readiness([]Request{job("B", "2026-03-16", "2026-03-17"), job("A", "2026-03-16", ""), job("C", "2026-03-18", "")})
	if !got[0].Verdict.Buildable || got[1].Verdict.Buildable || !got[2].Verdict.Buildable {
		t.Fatalf("built %v %v %v, want true false true", got[0].Verdict.Buildable, got[1].Verdict.Buildable, got[2].Verdict.Buildable)
	}
	if !got[1].Alone || !slices.ContainsFunc(got[1].Clashes, func(c Clash) bool { return c.Item == "S1" && c.With == "B" && c.To == "2026-03-17" }) {
		t.Errorf("A alone %v, clashes %v, want S1 with B to 2026-03-17", got[1].Alone, got[1].Clashes)
	}
	if got[1].Verdict.AvailableOn != "2026-03-18" {
		t.Errorf("A can be built on %q, want 2026-03-18", got[1].Verdict.AvailableOn)
	}
	// A fourth job finds both inserts used up, by B and C, though its days are free.
	got = s.Readiness([]Request{job("B", "2026-03-16", "2026-03-17"), job("C", "2026-03-18", ""), job("D", "2026-03-20", "")})
	if got[2].Verdict.Buildable || !got[2].Alone {
		t.Errorf("D: buildable %v, alone %v; the inserts are used up", got[2].Verdict.Buildable, got[2].Alone)
	}
}
