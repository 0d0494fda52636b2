package stack

import (
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
