package stack

import (
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
)

// provoked asks the reference cases, our own, random shelves, and shops made for one sentence
// each, and lists all that is said.
func provoked(t *testing.T) (all []string) {
	t.Helper()
	for _, file := range []string{"stack_cases.json", "own_cases.json"} {
		b, err := os.ReadFile("../../testdata/stack/" + file)
		if err != nil {
			t.Fatal(err)
		}
		cases, err := ReadCases(b)
		if err != nil {
			t.Fatal(err)
		}
		for i := range cases {
			v, err := cases[i].Check()
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, told(&v)...)
		}
	}
	for i := range 1500 {
		m := &maker{Rand: rand.New(rand.NewPCG(44, uint64(i)))}
		r, items := m.request(), []Item(nil)
		if i%2 == 0 {
			items = m.shelf()
		} else {
			r, items = m.linkShelf()
		}
		s := shelfOf(t, items)
		v := checked(t, s, r)
		s.Easier(r, &v)
		all = append(all, told(&v)...)
	}
	all = append(all, provokedShops(t)...)
	all = append(all, provokedMisses(t)...)
	return append(all, provokedPurchases(t)...)
}

const (
	hold25    = `{"kind":"holder","id":"HLD","interface":"VDI50","DCONWS":25,"LSC":130,"clamp":"split","WT":4,"coolant":"through","CP":80}`
	longBar   = `{"kind":"bar","id":"BAR","DCONMS":25,"construction":"carbide","OAL":240,"CCWS":"H32","WT":1.5,"coolant":true,"coolant_in":["bore"],"CP":80}`
	sleeve32  = `{"kind":"sleeve","id":"SLV","DCONMS":32,"DCONWS":25,"LSC":100,"index":"scribe","WT":0.4,"sealed":true,"CP":80}`
	turretAdp = `{"kind":"adapter","id":"TUR","interface":"VDI50","LF":40,"WT":3,"coolant":true,"CP":80,"joints":[{"side":"workpiece","family":"turret-seat","code":"BMT65"}]}`
	inch32    = `{"kind":"bar","id":"BAR-I","DCONMS":31.75,"unit":"in","construction":"steel","OAL":250,"CCWS":"H32","WT":1.5}`
)

// provokedShops asks small shops.
func provokedShops(t *testing.T) (all []string) {
	t.Helper()
	// bare takes what reading would not let through out of a part.
	bare := func(text string, change func(*Part)) Item {
		p := read(t, with(t, text, `{"qty":null}`))
		change(p)
		return Item{ID: p.Code, Part: p, Status: In, Qty: 4}
	}
	unseat := func(p *Part) {
		p.Joints = slices.DeleteFunc(p.Joints, func(j Joint) bool { return j.Family == TurretSeat })
	}
	wet := func(r *Request) { r.Coolant, r.CoolantBar = true, 20 }
	for _, tt := range []struct {
		with  func(*Request)
		more  []Item
		parts []string
	}{
		{func(r *Request) { r.Coolant, r.CoolantBar = true, 100 }, nil, []string{hold25, longBar, shortHead, someInserts}},
		{nil, []Item{bare(hold25, unseat)}, []string{longBar, shortHead, someInserts}},
		{nil, []Item{bare(shortHead, func(p *Part) { p.Hand = "" })}, []string{hold25, longBar, someInserts}},
		{nil, []Item{bare(with(t, longBar, `{"CCWS":null,"HAND":"R","DMIN":38,"seat":"CCMT09T3"}`), func(p *Part) {
			p.Joints = slices.DeleteFunc(p.Joints, func(j Joint) bool { return j.Family == Pocket })
		})}, []string{hold25, someInserts}},
		{func(r *Request) { r.Station.MaxMassKg = Some(40) }, nil, []string{with(t, hold25, `{"WT":null}`), with(t, longBar, `{"WT":null}`), shortHead, someInserts}},
		{nil, nil, []string{with(t, hold25, `{"WT":20}`), with(t, longBar, `{"WT":null}`), shortHead, someInserts}},
		{nil, nil, []string{with(t, hold25, `{"WT":20}`), longBar, shortHead, someInserts}},
		{func(r *Request) { r.EdgesNeeded = 9 }, []Item{bare(someInserts, func(p *Part) { p.Edges = 0 })}, []string{hold25, longBar, shortHead}},
		{func(r *Request) { r.EdgesNeeded = 9 }, nil, []string{hold25, longBar, shortHead, with(t, someInserts, `{"qty":1,"edges":1}`)}},
		{func(r *Request) { r.EdgesNeeded = 9 }, []Item{on("LOT-A", insert("INS", "CCMT09T3"), 3), on("LOT-B", insert("INS", "CCMT09T3"), 4)}, []string{hold25, longBar, shortHead}},
		{nil, nil, []string{roundHolder, with(t, sleeve32, `{"index":null}`), longBar, shortHead, someInserts}},
		{nil, nil, []string{with(t, hold25, `{"DCONWS":28}`), with(t, sleeve32, `{"DCONMS":28}`), longBar, shortHead, someInserts}},
		{nil, nil, []string{roundHolder, with(t, extension, `{"OAL":null}`), shortBar, shortHead, someInserts}},
		{nil, nil, []string{roundHolder, with(t, extension, `{"LF":null}`), shortBar, shortHead, someInserts}},
		{nil, nil, []string{roundHolder, with(t, extension, `{"OAL":null,"LSC":null}`), shortBar, shortHead, someInserts}},
		{nil, nil, []string{roundHolder, with(t, extension, `{"OAL":null,"LSC":70}`), shortBar, shortHead, someInserts}},
		{nil, nil, []string{roundHolder, with(t, extension, `{"OAL":160}`), shortBar, shortHead, someInserts}},
		{nil, nil, []string{roundHolder, with(t, extension, `{"DMIN":null}`), shortBar, shortHead, someInserts}},
		{func(r *Request) { r.Station.MaxProjection = Some(300) }, nil, []string{with(t, turretAdp, `{"LF":null}`), with(t, hold25, `{"interface":"BMT65"}`), longBar, shortHead, someInserts}},
		{nil, nil, []string{with(t, turretAdp, `{"status":"out","out":{"to":"Brisa"}}`), with(t, hold25, `{"interface":"BMT65"}`), longBar, shortHead, someInserts}},
		{nil, nil, []string{hold25, with(t, longBar, `{"status":"on_order","due":"2026-03-20","ordered":"2026-03-02"}`), shortHead, someInserts}},
		{nil, nil, []string{with(t, roundHolder, `{"DCONWS":31.75,"unit":"in"}`), with(t, inch32, `{"DCONMS":38.1}`), shortHead, someInserts}},
		{nil, nil, []string{with(t, roundHolder, `{"DCONWS":31.75,"unit":"in"}`), inch32, with(t, shortHead, `{"DMIN":44.45,"unit":"in"}`), someInserts}},
		{func(r *Request) { r.Depth = 75 }, nil, []string{with(t, roundHolder, `{"DCONWS":31.75,"unit":"in"}`), inch32, shortHead, someInserts}},
		{func(r *Request) {
			r.Coolant, r.CoolantBar = true, 20
			r.Cutting = Cutting{VC: Some(150), F: Some(0.2), AP: Some(2)}
		}, nil, []string{hold25, longBar, with(t, shortHead, `{"nozzle_d":1.5,"nozzles":1}`), someInserts}},
		{func(r *Request) { r.Cutting = Cutting{Group: 2, VC: Some(150), F: Some(0.2), AP: Some(2)} }, nil, []string{hold25, longBar, shortHead, someInserts}},
		{nil, nil, []string{hold25, with(t, longBar, `{"construction":null,"OHX":200}`), shortHead, someInserts}},
		{nil, nil, []string{hold25, with(t, longBar, `{"construction":"damped_steel","hollow":10,"OAL":300}`), shortHead, someInserts}},
		{wet, nil, []string{hold25, with(t, longBar, `{"coolant":false}`), shortHead, someInserts}},
		{nil, nil, []string{roundHolder, with(t, sleeve32, `{"status":"in","reserved":[{"job":"J-7","from":"2026-03-16","to":"2026-03-16"}]}`), longBar, shortHead, someInserts}},
	} {
		s := shop(t, tt.parts...)
		for _, it := range tt.more {
			if err := s.Put(it); err != nil {
				t.Fatal(err)
			}
		}
		r := request40()
		if tt.with != nil {
			tt.with(&r)
		}
		v := checked(t, s, r)
		s.Easier(r, &v)
		all = append(all, told(&v)...)
	}
	// What is promised to a job of the plan that uses it up, and what can be bought.
	r, used := request40(), with(t, someInserts, `{"qty":1}`)
	r.holds = map[string][]Reservation{"INS": {{Job: "J-8", From: "2026-03-10", To: Forever, Qty: 1}}}
	v := checked(t, shop(t, hold25, longBar, shortHead, used), r)
	all = append(all, told(&v)...)
	s := shop(t, hold25, longBar, someInserts)
	for i, days := range []float64{1, 8} {
		p := read(t, with(t, shortHead, `{"id":"HED-`+string(rune('A'+i))+`"}`))
		p.Designation, p.PriceCents, p.Currency, p.LeadDays = "H32 R", Some(21800), "EUR", Some(days)
		if err := s.AddPart(p); err != nil {
			t.Fatal(err)
		}
	}
	v = checked(t, s, request40())
	return append(all, told(&v)...)
}

// provokedMisses puts parts that are off by one size into a stack that can be built.
func provokedMisses(t *testing.T) (all []string) {
	t.Helper()
	wet := func(r *Request) { r.Coolant, r.CoolantBar = true, 20 }
	through := []string{roundHolder, sleeve32, longBar, shortHead, someInserts}
	extended := []string{roundHolder, extension, shortBar, shortHead, someInserts}
	coupled := []string{coupledHolder, coupledBar, shortHead, someInserts}
	for _, tt := range []struct {
		with          func(*Request)
		stack         []string
		kind          Kind
		part, members string
	}{
		{nil, []string{turretAdp, with(t, hold25, `{"interface":"BMT65"}`), longBar, shortHead, someInserts}, Adapter, strings.Replace(turretAdp, "BMT65", "BMT55", 1), `{}`},
		{func(r *Request) { r.Station.MaxProjection = Some(200) }, []string{turretAdp, with(t, hold25, `{"interface":"BMT65"}`), longBar, shortHead, someInserts}, Adapter, turretAdp, `{"LF":null}`},
		{func(r *Request) { r.Station.MaxProjection = Some(200) }, []string{turretAdp, with(t, hold25, `{"interface":"BMT65"}`), longBar, shortHead, someInserts}, Adapter, turretAdp, `{"LF":80}`},
		{func(r *Request) { r.Station.MaxProjection = Some(200) }, []string{turretAdp, with(t, hold25, `{"interface":"BMT65"}`), with(t, longBar, `{"construction":"damped_steel","OHN":150,"OAL":300}`), shortHead, someInserts}, Adapter, turretAdp, `{"LF":60}`},
		{nil, through, Insert, someInserts, `{"seat":"DCMT11T3"}`},
		{nil, through, Sleeve, sleeve32, `{"DCONWS":24.7}`},
		{nil, []string{with(t, hold25, `{"clamp":"screws"}`), with(t, longBar, `{"flat":true}`), shortHead, someInserts}, Bar, longBar, `{}`},
		{nil, extended, Adapter, extension, `{"OAL":null}`},
		{nil, extended, Adapter, extension, `{"OAL":130}`},
		{nil, extended, Adapter, extension, `{"LF":null}`},
		{nil, extended, Adapter, extension, `{"OHX":null}`},
		{nil, extended, Adapter, extension, `{"OHX":120}`},
		{nil, extended, Adapter, extension, `{"DMIN":44}`},
		{nil, []string{coupledHolder, `{"kind":"adapter","id":"EXC","CCMS":"K50","LF":20,"OHX":180,"DMIN":38,"WT":1,"coolant":true,"CP":80,"joints":[{"side":"workpiece","family":"coupling","code":"K40"}]}`, with(t, coupledBar, `{"CCMS":"K40"}`), shortHead, someInserts}, Head, shortHead, `{"LF":45}`},
		{wet, through, Head, shortHead, `{"CP":null}`},
		{nil, coupled, Bar, coupledBar, `{"DCONMS":null}`},
		{nil, coupled, Bar, coupledBar, `{"DCONMS":42}`},
	} {
		r := request40()
		if tt.with != nil {
			tt.with(&r)
		}
		v := checked(t, shop(t, tt.stack...), r)
		if !v.Buildable {
			t.Fatalf("%s %s: %s", tt.kind, tt.members, v.Sentence())
		}
		in, ok := setupOf(&r, &v.Stacks[0])
		if !ok || !in.whole() {
			t.Fatalf("%s %s: a stack that can be built breaks a rule", tt.kind, tt.members)
		}
		at := slices.IndexFunc(v.Stacks[0].Pieces, func(u Used) bool { return u.Role == tt.kind })
		f := in.fault(at, read(t, with(t, with(t, tt.part, tt.members), `{"qty":null}`)))
		if f == nil {
			t.Errorf("%s %s: no fault, or several", tt.kind, tt.members)
			continue
		}
		all = append(all, f.say())
	}
	// What reading would not let through.
	r := request40()
	v := checked(t, shop(t, through...), r)
	in, _ := setupOf(&r, &v.Stacks[0])
	p := read(t, shortHead)
	p.Hand = ""
	if f := in.fault(in.head, p); f != nil {
		all = append(all, f.say())
	}
	return all
}

// provokedPurchases plans jobs of which some cannot be helped.
func provokedPurchases(t *testing.T) (all []string) {
	t.Helper()
	items := []Item{on("H1", holder("HLD", "VDI50", 50, 150), 1), on("B1", bar("BAR", 25, "carbide", "H25", 300), 1), on("E1", head("HED", "H25", "CCMT09T3"), 1), on("I1", insert("INS", "CCMT09T3"), 9)}
	slv := sleeve("SLV", 50, 25, 100)
	noPrice, noLead, foreign := *slv, *slv, *priced(slv, 9000, 3)
	noPrice.LeadDays, noLead.PriceCents, noLead.Currency, foreign.Currency = Some(3), Some(9000), "EUR", "CHF"
	ask := func(items []Item, book []*Part, jobs ...Request) {
		s, err := NewShelf(items, book)
		if err != nil {
			t.Fatal(err)
		}
		p := s.Purchases(Plan{Today: "2026-03-10", Jobs: jobs})
		for _, u := range p.Unsolved {
			all = append(all, u.Why)
		}
		for _, l := range p.Left {
			all = append(all, l.Why)
		}
	}
	one := job("A", "2026-03-16", "")
	ask(items, nil, one)
	other := priced(insert("INS-2", "DCMT11T3"), 700, 3)
	for _, p := range []*Part{slv, &noPrice, &noLead, &foreign, priced(slv, 9000, 20)} {
		ask(items, []*Part{p, other, priced(insert("INS-3", "DCMT11T3"), 700, 3)}, one)
	}
	far := one
	far.Station.MaxProjection = Some(60)
	ask(items, nil, far)
	// Two jobs on one day and one stack.
	full := append(slices.Clone(items), on("S1", slv, 1))
	ask(full, nil, one, job("B", "2026-03-16", ""))
	ask(full, []*Part{slv}, one, job("B", "2026-03-16", ""))
	return all
}
