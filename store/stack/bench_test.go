package stack

import (
	"fmt"
	"math/rand/v2"
	"sort"
	"testing"
	"time"
)

// A bigShop makes a shop of n items of parts catalogue parts, with the mix of a turning shop:
// many inserts and heads, fewer bars, sleeves and holders. One in eight items is not free.
func bigShop(parts, items int) (*Shelf, []Item) {
	rnd := rand.New(rand.NewPCG(7, uint64(parts)))
	any := func(of ...string) string { return of[rnd.IntN(len(of))] }
	size := func(of ...float64) float64 { return of[rnd.IntN(len(of))] }
	seats := []string{"CCMT0602", "CCMT09T3", "CCMT1204", "DCMT0702", "DCMT11T3", "DCMT1504", "CNMG1204", "CNMG1606", "DNMG1504", "DNMG1506",
		"TNMG1604", "TCMT1102", "TCMT16T3", "VBMT1103", "VBMT1604", "WNMG0604", "WNMG0804", "SCMT09T3", "SCMT1204", "RCMT10T3"}
	couplings := []string{"H16", "H20", "H25", "H32", "H40", "H50", "H60", "K25", "K32", "K40", "K50", "P32", "P40"}
	faces := []string{"VDI30", "VDI40", "VDI50", "VDI60", "BMT45", "BMT55", "BMT65", "BMT75", "BMT85", "P50"}
	bores := []float64{16, 20, 25, 25.4, 31.75, 32, 38.1, 40, 50, 50.8, 60, 63.5}
	shanks := []float64{12, 12.7, 16, 19.05, 20, 25, 25.4, 31.75, 32, 38.1, 40, 50, 50.8, 60}
	var all []*Part
	for i := range parts {
		p := &Part{Code: fmt.Sprintf("P%06d", i), WT: Some(size(0.3, 0.6, 2, 4.5)), CP: Some(size(20, 40, 70, 100))}
		switch x := rnd.IntN(100); {
		case x < 12:
			p.Kind, p.Coolant = Holder, rnd.IntN(4) > 0
			p.Joints = []Joint{{Side: Machine, Family: TurretSeat, Code: any(faces...)},
				{Side: Workpiece, Family: Cylindrical, Gender: "F", Size: Some(size(bores...)), Clamp: any("split", "screws"), LSC: Some(size(70, 90, 110, 130, 150, 165, 245))}}
		case x < 24:
			p.Kind, p.ForDamped, p.Sealed, p.Index = Sleeve, rnd.IntN(2) > 0, rnd.IntN(2) > 0, any("scribe", "plunger", "none")
			in := size(shanks...)
			p.Joints = []Joint{{Side: Machine, Family: Cylindrical, Gender: "M", Size: Some(in + size(4, 7, 12.3, 18))},
				{Side: Workpiece, Family: Cylindrical, Gender: "F", Size: Some(in), LSC: Some(size(70, 90, 110, 130, 150))}}
			if rnd.IntN(2) > 0 {
				p.Joints[0].Size = Some(bores[len(bores)-1-rnd.IntN(5)])
				if p.Joints[0].Size.V < in+3 {
					p.Joints[1].Size = Some(16)
				}
			}
		case x < 42:
			p.Kind, p.Construction, p.OAL = Bar, any("steel", "heavy_metal", "carbide", "damped_steel", "damped_carbide"), Some(size(200, 250, 300, 380, 470, 560, 760))
			p.Coolant = rnd.IntN(4) > 0
			p.Joints = []Joint{{Side: Machine, Family: Cylindrical, Gender: "M", Size: Some(size(shanks...)), Flat: rnd.IntN(2) > 0},
				{Side: Workpiece, Family: Coupling, Code: any(couplings...)}, {Side: CoolantIn, Family: Through}}
			if rnd.IntN(3) == 0 {
				p.Joints = append(p.Joints, Joint{Side: CoolantIn, Family: Thread, Gender: "F", Code: any("G 1/8", "G 1/4", "NPT 1/4")})
			}
		case x < 68:
			p.Kind, p.Hand, p.DMIN, p.LF, p.Coolant = Head, any("R", "L"), Some(size(18, 22, 25, 32, 40, 50, 63)), Some(size(16, 20, 32, 40)), rnd.IntN(5) > 0
			p.Joints = []Joint{{Side: Machine, Family: Coupling, Code: any(couplings...)}, {Side: Workpiece, Family: Pocket, Code: any(seats...)}}
		case x < 92:
			p.Kind, p.RE, p.Edges = Insert, Some(size(0.2, 0.4, 0.8, 1.2)), 2
			p.Joints = []Joint{{Side: Machine, Family: Pocket, Code: any(seats...)}}
		default:
			p.Kind = Hose
			if rnd.IntN(2) > 0 {
				p.Kind = Fitting
			}
			for range 2 {
				p.Joints = append(p.Joints, Joint{Side: CoolantIn, Family: Thread, Gender: any("M", "F"), Code: any("G 1/8", "G 1/4", "G 3/8", "NPT 1/8", "NPT 1/4")})
			}
		}
		all = append(all, p)
	}
	var list []Item
	for i := range items {
		it := Item{ID: fmt.Sprintf("I%07d", i), Part: all[rnd.IntN(len(all))], Status: In, Qty: 1 + rnd.IntN(10), Place: "A-01"}
		switch rnd.IntN(16) {
		case 0:
			it.Status, it.Out = Out, &Issued{To: "Maro", Job: "J-1", Due: "2026-03-20"}
		case 1:
			it.Reserved = []Reservation{{Job: "J-9", From: "2026-03-10", To: "2026-03-20"}}
		}
		list = append(list, it)
	}
	s, err := NewShelf(list, all)
	if err != nil {
		panic(err)
	}
	return s, list
}

// bigRequests are jobs of all sorts: short and deep, with and without coolant, some that no
// shop can do.
func bigRequests(n int) []Request {
	rnd := rand.New(rand.NewPCG(8, 1))
	any := func(of ...string) string { return of[rnd.IntN(len(of))] }
	size := func(of ...float64) float64 { return of[rnd.IntN(len(of))] }
	var out []Request
	for i := range n {
		r := Request{Job: fmt.Sprintf("J-%d", 100+i), NeedDate: Date("2026-03-01").AddDays(rnd.IntN(40)), BoreStartD: size(22, 30, 38, 45, 52, 62, 80),
			Depth: size(40, 80, 120, 200, 280, 400), Clearance: 20, Hand: any("R", "R", "R", "L"),
			Station: Station{Interface: any("VDI40", "VDI50", "BMT65", "BMT75", "VDI30"), CoolantPort: "F:G 1/4", CoolantMaxBar: Some(70), MaxMassKg: Some(40)},
			Insert:  Wanted{Seat: any("CCMT09T3", "DCMT11T3", "CNMG1204", "TCMT16T3", "WNMG0804"), RE: Some(size(0.4, 0.8))}, EdgesNeeded: 4}
		if rnd.IntN(2) == 0 {
			r.Coolant, r.CoolantBar = true, size(20, 40, 70)
		}
		out = append(out, r)
	}
	return out
}

func benchCheck(b *testing.B, parts, items int) {
	s, _ := bigShop(parts, items)
	reqs := bigRequests(200)
	var took []time.Duration
	built, i := 0, 0
	for b.Loop() {
		r := reqs[i%len(reqs)]
		t := time.Now()
		v, err := s.Check(r)
		took = append(took, time.Since(t))
		if err != nil {
			b.Fatal(err)
		}
		if v.Buildable && i < len(reqs) {
			built++
		}
		i++
	}
	sort.Slice(took, func(i, j int) bool { return took[i] < took[j] })
	b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "median-ms")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
	b.ReportMetric(float64(built), "built-of-200")
}

func BenchmarkCheck(b *testing.B) {
	for _, c := range []struct{ parts, items int }{{10_000, 100_000}, {10_000, 1_000_000}, {100_000, 1_000_000}} {
		b.Run(fmt.Sprintf("%d_items_of_%d_parts", c.items, c.parts), func(b *testing.B) { benchCheck(b, c.parts, c.items) })
	}
}

// BenchmarkReadiness is 200 planned jobs on the big shelf.
func BenchmarkReadiness(b *testing.B) {
	s, _ := bigShop(10_000, 100_000)
	jobs := bigRequests(200)
	for b.Loop() {
		s.Readiness(jobs)
	}
}

// BenchmarkNested compares with the plain nested search of the twin, on a shelf small enough
// for it: the same 400 items of 150 parts and the same dry requests for both.
func BenchmarkNested(b *testing.B) {
	s, items := bigShop(150, 400)
	var dry []Request
	for _, r := range bigRequests(60) {
		r.Coolant, r.CoolantBar = false, 0
		dry = append(dry, r)
	}
	b.Run("search", func(b *testing.B) {
		for b.Loop() {
			for i := range dry {
				newSearch(s, &dry[i], modeStrict, 1).run()
			}
		}
	})
	b.Run("nested", func(b *testing.B) {
		for b.Loop() {
			for _, r := range dry[:6] {
				twin(r, items)
			}
		}
	})
}
