package stack

import (
	"fmt"
	"math/rand/v2"
	"slices"
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

// scarceRequests ask the same of a shop that has nothing for them: a pocket, a turret seat or
// both that no part on hand has.
func scarceRequests(n int) []Request {
	out := bigRequests(n)
	for i := range out {
		switch r := &out[i]; i % 3 {
		case 0:
			r.Insert.Seat = "VCMT1103"
		case 1:
			r.Station.Interface = "BMT95"
		default:
			r.Insert.Seat, r.Station.Interface = "VCMT1103", "BMT95"
		}
	}
	return out
}

// timed runs all requests once for each loop and returns how long each check took, sorted.
func timed(b *testing.B, s *Shelf, reqs []Request) []time.Duration {
	var took []time.Duration
	pass := func(keep bool) {
		for _, r := range reqs {
			t := time.Now()
			_, err := s.Check(r)
			if keep {
				took = append(took, time.Since(t))
			}
			if err != nil {
				b.Fatal(err)
			}
		}
	}
	pass(false) // the classes are worked out once, when first asked for
	for b.Loop() {
		pass(true)
	}
	slices.Sort(took)
	return took
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// BenchmarkCheck runs 200 requests of all sorts an op, and 60 for which something is missing.
func BenchmarkCheck(b *testing.B) {
	var base [2]time.Duration // median and p99 of the first shop, for the ratios
	for _, c := range []struct{ parts, items int }{{10_000, 100_000}, {10_000, 1_000_000}, {100_000, 1_000_000}} {
		s, _ := bigShop(c.parts, c.items)
		b.Run(fmt.Sprintf("%d_items_of_%d_parts", c.items, c.parts), func(b *testing.B) {
			took := timed(b, s, bigRequests(200))
			median, p99 := took[len(took)/2], took[len(took)*99/100]
			if base[0] == 0 {
				base = [2]time.Duration{median, p99}
			}
			b.ReportMetric(ms(median), "median-ms")
			b.ReportMetric(ms(p99), "p99-ms")
			b.ReportMetric(float64(median)/float64(base[0]), "x-median")
			b.ReportMetric(float64(p99)/float64(base[1]), "x-p99")
		})
		b.Run(fmt.Sprintf("%d_items_of_%d_parts_missing", c.items, c.parts), func(b *testing.B) {
			took := timed(b, s, scarceRequests(60))
			b.ReportMetric(ms(took[len(took)/2]), "median-ms")
			b.ReportMetric(ms(took[len(took)*99/100]), "p99-ms")
		})
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

// bigSale makes a shop of which every part has a price and comes in a week or two, with no head
// on hand for two of the five pockets that bigRequests ask for: those have to be bought, and
// shared out. Of every other part at most one in keep items is left, 1: all.
func bigSale(parts, items, keep int) *Shelf {
	s, list := bigShop(parts, items)
	rnd := rand.New(rand.NewPCG(9, 9))
	for i, it := range list {
		p := *it.Part
		p.PriceCents, p.Currency, p.LeadDays = Some(float64(1000+rnd.IntN(90_000))), "EUR", Some(float64(5+rnd.IntN(10)))
		if err := s.AddPart(&p); err != nil {
			panic(err)
		}
		if seat := p.Seat(); i%keep > 0 || p.Kind == Head && (seat == "CNMG1204" || seat == "TCMT16T3") {
			s.Remove(it.ID)
		}
	}
	return s
}

// BenchmarkPurchases is the purchase question for planned jobs on the big shelf, and on shelves
// that lack more: a tenth of the parts, and of those few pieces.
func BenchmarkPurchases(b *testing.B) {
	for _, c := range []struct {
		name                     string
		parts, items, keep, jobs int
	}{
		{"200_jobs_100000_items_of_10000_parts", 10_000, 100_000, 1, 200},
		{"200_jobs_10000_items_of_10000_parts", 10_000, 100_000, 10, 200},
		{"200_jobs_1000_items_of_1000_parts", 1000, 10_000, 10, 200},
		{"30_jobs_250_items_of_1000_parts", 1000, 10_000, 40, 30},
		{"12_jobs_100_items_of_500_parts", 500, 5_000, 50, 12},
	} {
		b.Run(c.name, func(b *testing.B) {
			s := bigSale(c.parts, c.items, c.keep)
			jobs := bigRequests(c.jobs)
			for b.Loop() {
				p := s.Purchases(Plan{Today: "2026-02-01", Jobs: jobs})
				b.ReportMetric(float64(p.Cents), "cents")
				b.ReportMetric(float64(p.Bound), "bound-cents")
				b.ReportMetric(float64(p.Gap), "gap-cents")
				b.ReportMetric(float64(p.Looked), "looked")
				b.ReportMetric(float64(len(p.Lines)), "lines")
				b.ReportMetric(float64(len(p.Unsolved)), "unsolved")
				b.ReportMetric(float64(len(p.Left)), "left")
			}
		})
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
	var each [2]float64 // ns a request
	b.Run("search", func(b *testing.B) {
		for b.Loop() {
			for i := range dry {
				newSearch(s, &dry[i], modeStrict, 1).run()
			}
		}
		each[0] = float64(b.Elapsed()) / float64(b.N*len(dry))
	})
	b.Run("nested", func(b *testing.B) {
		for b.Loop() {
			for _, r := range dry[:6] {
				twin(r, items)
			}
		}
		each[1] = float64(b.Elapsed()) / float64(b.N*6)
		b.ReportMetric(each[1]/each[0], "times-the-search")
	})
}
