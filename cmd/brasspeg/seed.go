package main

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"brasspeg/store"
	"brasspeg/testdata/shop"
)

// A seeder books the demo shop into a store through the doors that everybody uses, with the
// store's clock set to the day of each act. Nothing is inserted by hand.
type seeder struct {
	st    *store.Store
	sh    *shop.Shop
	h     *shop.History
	begun time.Time // when the seeding began, by the store's own clock
	now   time.Time
	acts  int // op ids are numbered

	boss    store.PersonID // who keeps the catalogue
	people  map[string]store.Person
	places  map[string]store.PlaceID
	parts   map[string]store.Part
	pieces  map[int]store.ItemID
	lots    map[pileName]store.ItemID
	station map[string]store.Station
	machine map[string]store.MachineID
	past    map[string]*shop.PastJob
	jobs    map[string]store.Job
	lastAct map[string]int // of a past job: the index of its last act
	ops     map[int]string // act -> op id, for what is taken back

	lastEdge map[store.StationID]string // op id of the last change on a station
	gone     map[goneName]int           // used-up inserts that a log scrapped
	up       map[upName]upInsert
	lastJob  map[store.StationID]string
	toSend   []*shop.Order // orders of the history that are still to be placed
	sent     []openOrder
}

// A pileName tells lots apart: new ones by box, part-used ones also by the edges left.
type pileName struct {
	part, box string
	used      int
}

// seed fills an empty store with the demo shop: people, catalogue, jobs, six months of acts,
// promises, and the edges that came off with the account of their inserts.
// Afterwards the store's clock runs from where it stood. It must be the only user of the store.
func seed(ctx context.Context, st *store.Store, sh shop.Shop) error {
	h, err := sh.History()
	if err != nil {
		return err
	}
	s := &seeder{st: st, sh: &sh, h: &h, begun: st.Now(),
		people: map[string]store.Person{}, places: map[string]store.PlaceID{}, parts: map[string]store.Part{},
		pieces: map[int]store.ItemID{}, lots: map[pileName]store.ItemID{}, station: map[string]store.Station{},
		machine: map[string]store.MachineID{}, past: map[string]*shop.PastJob{}, jobs: map[string]store.Job{},
		lastAct: map[string]int{}, ops: map[int]string{}, lastEdge: map[store.StationID]string{}, gone: map[goneName]int{}, up: map[upName]upInsert{}, lastJob: map[store.StationID]string{}}
	ahead := time.Until(s.begun).Round(time.Second) // 0 on the wall clock
	st.SetClock(func() time.Time { return s.now })
	defer st.SetClock(func() time.Time { return time.Now().Add(ahead) })

	s.now = s.local(h.Acts[0].At.Add(-time.Hour))
	for _, step := range []func(context.Context) error{s.addPeople, s.addPlaces, s.addMachines, s.addParts, s.replay, s.planLives, s.addJobs, s.addRemark, s.plan, s.planFirst} {
		if err := step(ctx); err != nil {
			return fmt.Errorf("demo shop: %w", err)
		}
	}
	return nil
}

// local reads a time of the history as the shop's own clock shows it.
func (s *seeder) local(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.Local)
}

// op makes the next op id.
func (s *seeder) op(by store.PersonID) store.Op {
	s.acts++
	return store.Op{ID: fmt.Sprintf("demo-shop-%07d", s.acts), Actor: by, Device: "window"}
}

func (s *seeder) addPeople(ctx context.Context) error {
	for _, p := range s.sh.People {
		made, _, err := s.st.AddPerson(ctx, 0, store.PersonIn{Login: p.Code, Name: p.Name, Role: store.Role(p.Role)})
		if err != nil {
			return fmt.Errorf("person %s: %w", p.Code, err)
		}
		s.people[p.Code], s.places[p.Code] = made, made.PlaceID
		if p.Role == "manager" {
			s.boss = made.ID
		}
	}
	return nil
}

func (s *seeder) addPlaces(ctx context.Context) error {
	for i, p := range s.sh.Places {
		if have, err := s.st.PlaceByCode(ctx, p.Code); err == nil { // inspection, lost, scrap: every store has them
			s.places[p.Code] = have.ID
			continue
		}
		made, err := s.st.AddPlace(ctx, store.Place{Code: p.Code, Name: p.Name, Kind: store.Bin, SortKey: fmt.Sprintf("%03d", i)})
		if err != nil {
			return fmt.Errorf("place %s: %w", p.Code, err)
		}
		s.places[p.Code] = made.ID
	}
	return nil
}

func (s *seeder) addMachines(ctx context.Context) error {
	for _, m := range s.sh.Machines {
		power, rpm := m.PowerKW, float64(m.MaxRPM)
		var stations []store.Station
		for _, st := range m.Stations {
			stations = append(stations, store.Station{Number: st.No, Interface: st.Interface, CoolantPort: st.CoolantPort,
				CoolantMaxBar: &st.CoolantMaxBar, MaxProjection: &st.MaxProjection, MaxMassKg: &st.MaxMassKg})
		}
		made, all, err := s.st.AddMachine(ctx, s.boss, store.Machine{Code: m.Code, Name: m.Name, Maker: m.Maker, PowerKW: &power, MaxRPM: &rpm}, stations)
		if err != nil {
			return fmt.Errorf("machine %s: %w", m.Code, err)
		}
		s.machine[m.Code] = made.ID
		for _, st := range all {
			s.station[fmt.Sprintf("%s/%d", m.Code, st.Number)] = st
		}
	}
	return nil
}

func (s *seeder) addParts(ctx context.Context) error {
	suppliers := map[string]store.SupplierID{}
	for _, v := range s.sh.Suppliers {
		made, err := s.st.AddSupplier(ctx, s.boss, store.Supplier{Code: v.Code, Name: v.Name, Email: v.Email, LeadDays: v.LeadDays})
		if err != nil {
			return fmt.Errorf("supplier %s: %w", v.Code, err)
		}
		if err := s.terms(ctx, v, made.ID); err != nil {
			return fmt.Errorf("supplier %s: %w", v.Code, err)
		}
		suppliers[v.Code] = made.ID
	}
	home := s.sh.Homes()
	// Spares first: the others need them.
	for _, spares := range []bool{true, false} {
		for i := range s.sh.Parts {
			p := &s.sh.Parts[i]
			if (p.Kind == "spare") != spares {
				continue
			}
			sp, err := p.Stack()
			if err != nil {
				return err
			}
			in, err := store.PartFrom(sp.Fields(), "maker")
			if err != nil {
				return fmt.Errorf("part %s: %w", p.ID, err)
			}
			supplier := suppliers[p.Supplier]
			in.Needs = map[store.PartID]int{}
			in.Part.Name, in.Part.MakerCode, in.Part.Grade, in.Part.SupplierID = p.Name, p.MakerCode, p.Grade, &supplier
			in.Part.Pack, in.Part.MinOrder = p.Pack, p.MinOrder
			if at, ok := s.places[home[p.ID]]; ok {
				in.Part.HomeID = &at
			}
			for _, code := range p.Spares {
				in.Needs[s.parts[code].ID]++
			}
			if s.parts[p.ID], err = s.st.SavePart(ctx, s.boss, in); err != nil {
				return fmt.Errorf("part %s: %w", p.ID, err)
			}
		}
	}
	return nil
}

// replay books the history, act by act, at its own time.
func (s *seeder) replay(ctx context.Context) error {
	for i := range s.h.Jobs {
		s.past[s.h.Jobs[i].Code] = &s.h.Jobs[i]
	}
	for i, a := range s.h.Acts {
		if a.Job != "" {
			s.lastAct[a.Job] = i
		}
	}
	for i, a := range s.h.Acts {
		if err := s.sendOrders(ctx, a.At); err != nil {
			return err
		}
		s.now = s.local(a.At)
		if err := s.act(ctx, i, a); err != nil {
			return fmt.Errorf("act %d, %s on %s: %w", i, a.Kind, a.At.Format(time.DateTime), err)
		}
		if a.Job != "" && s.lastAct[a.Job] == i && !s.past[a.Job].End.IsZero() {
			if err := s.close(ctx, a.Job); err != nil {
				return fmt.Errorf("closing job %s: %w", a.Job, err)
			}
		}
	}
	return nil
}

func (s *seeder) act(ctx context.Context, i int, a shop.Act) error {
	by := s.people[a.By].ID
	job, err := s.job(ctx, a.Job)
	if err != nil {
		return err
	}
	switch a.Kind {
	case shop.Edge:
		return s.edge(ctx, by, job, a)
	case shop.Receive:
		return s.receive(ctx, by, a)
	case shop.Issue, shop.Use:
		picks, err := s.picks(a.Lines)
		if err != nil {
			return err
		}
		in := store.IssueIn{Picks: picks, To: s.places[a.Lines[0].To], Job: job.ID}
		if p := s.past[a.Job]; p != nil {
			in.Due = store.DayOf(p.Due)
		}
		op := s.op(by)
		s.ops[i] = op.ID
		if _, err := s.st.Issue(ctx, op, in); err != nil || a.Kind == shop.Issue {
			return err
		}
		return s.usedUp(ctx, by, a)
	case shop.Return:
		return s.giveBack(ctx, by, a)
	case shop.Transfer:
		picks, err := s.picks(a.Lines)
		if err != nil {
			return err
		}
		_, err = s.st.Transfer(ctx, s.op(by), store.TransferIn{Picks: picks, To: s.places[a.Lines[0].To], Reason: a.Reason})
		return err
	case shop.Scrap:
		picks, err := s.picks(a.Lines)
		if err != nil {
			return err
		}
		_, err = s.st.Scrap(ctx, s.op(by), store.ScrapIn{Picks: picks, Job: job.ID, Reason: a.Reason})
		return err
	case shop.Count:
		l := a.Lines[0]
		item, err := s.item(l)
		if err != nil {
			return err
		}
		_, err = s.st.Count(ctx, s.op(by), []store.CountIn{{Item: item, Place: s.places[l.From], Found: int64(l.Qty)}})
		return err
	case shop.Reverse:
		_, err := s.st.Reverse(ctx, s.op(by), s.ops[a.Of], a.Reason)
		return err
	}
	return fmt.Errorf("nobody knows how to %s", a.Kind)
}

// item finds the piece or lot a line speaks of.
func (s *seeder) item(l shop.Line) (store.ItemID, error) {
	if l.Piece >= 0 {
		if id, ok := s.pieces[l.Piece]; ok {
			return id, nil
		}
		return 0, fmt.Errorf("piece %d (%s) was never received", l.Piece, l.Part)
	}
	if id, ok := s.lots[pileName{l.Part, l.Lot, l.Used}]; ok {
		return id, nil
	}
	return 0, fmt.Errorf("no lot of %s, box %q, %d edges left", l.Part, l.Lot, l.Used)
}

func (s *seeder) picks(lines []shop.Line) ([]store.Pick, error) {
	var picks []store.Pick
	for _, l := range lines {
		item, err := s.item(l)
		if err != nil {
			return nil, err
		}
		picks = append(picks, store.Pick{Item: item, Place: s.places[l.From], Qty: int64(l.Qty)})
	}
	return picks, nil
}

func (s *seeder) receive(ctx context.Context, by store.PersonID, a shop.Act) error {
	l := a.Lines[0]
	got, err := store.Receipt{}, error(nil)
	if l.From != "" { // from a supplier, so it was ordered
		got, err = s.deliver(ctx, by, l)
	} else {
		got, err = s.st.Receive(ctx, s.op(by), store.ReceiveIn{Part: s.parts[l.Part].ID, Qty: int64(l.Qty), To: s.places[l.To], Box: l.Lot, Reason: a.Reason})
	}
	if err != nil {
		return err
	}
	it, err := s.st.ItemByTag(ctx, got.Lines[0].Tag)
	if err != nil {
		return err
	}
	if l.Piece >= 0 {
		s.pieces[l.Piece] = it.ID
	} else {
		s.lots[pileName{l.Part, l.Lot, 0}] = it.ID
	}
	return nil
}

// usedUp ends what was taken to be used: inserts come back with no edge left, the rest is
// scrapped from the hand that took it.
func (s *seeder) usedUp(ctx context.Context, by store.PersonID, a shop.Act) error {
	for _, l := range a.Lines {
		item, err := s.item(l)
		if err != nil {
			return err
		}
		pick := []store.Pick{{Item: item, Place: s.places[l.To], Qty: int64(l.Qty)}}
		if none := 0; s.parts[l.Part].Edges > 0 {
			_, err = s.st.Return(ctx, s.op(by), store.ReturnIn{Picks: pick, Edges: &none})
		} else {
			_, err = s.st.Scrap(ctx, s.op(by), store.ScrapIn{Picks: pick, Reason: "used up"})
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// giveBack books a return: one booking for the pieces, and one for each count of edges left.
func (s *seeder) giveBack(ctx context.Context, by store.PersonID, a shop.Act) error {
	type group struct {
		to    string
		edges int // -1 of what has none
	}
	var order []group
	lines := map[group][]shop.Line{}
	for _, l := range a.Lines {
		g := group{l.To, -1}
		if s.parts[l.Part].Edges > 0 {
			g.edges = l.EdgesNow
		}
		n, err := s.stillThere(l, a.Job)
		if err != nil {
			return err
		}
		if l.Qty = n; n == 0 {
			continue
		}
		if lines[g] == nil {
			order = append(order, g)
		}
		lines[g] = append(lines[g], l)
	}
	for _, g := range order {
		picks, err := s.picks(lines[g])
		if err != nil {
			return err
		}
		in := store.ReturnIn{Picks: picks, Reason: a.Reason}
		if g.to == shop.InspectionPlace {
			in.Condition = "inspect"
		} else if g.to != shop.ScrapPlace { // used-up inserts find their own way
			in.To = s.places[g.to]
		}
		if g.edges >= 0 {
			in.Edges = &g.edges
		}
		got, err := s.st.Return(ctx, s.op(by), in)
		if err != nil {
			return err
		}
		if g.to == shop.PartUsedPlace {
			if err := s.noteUsed(ctx, lines[g], got); err != nil {
				return err
			}
		}
	}
	return nil
}

// noteUsed remembers the part-used lots that a return made or filled.
func (s *seeder) noteUsed(ctx context.Context, lines []shop.Line, got store.Receipt) error {
	for _, l := range lines {
		name := pileName{l.Part, l.Lot, l.EdgesNow}
		if _, ok := s.lots[name]; ok {
			continue
		}
		for _, r := range got.Lines {
			it, err := s.st.ItemByTag(ctx, r.Tag)
			if err != nil {
				return err
			}
			if it.EdgesLeft != nil && *it.EdgesLeft == l.EdgesNow && it.Box == l.Lot && it.PartID == s.parts[l.Part].ID {
				s.lots[name] = it.ID
			}
		}
		if _, ok := s.lots[name]; !ok {
			return fmt.Errorf("%s of box %s came back with %d edges and is in no lot", l.Part, l.Lot, l.EdgesNow)
		}
	}
	return nil
}

// job returns a past job, and makes it when it is first heard of.
func (s *seeder) job(ctx context.Context, code string) (store.Job, error) {
	if code == "" {
		return store.Job{}, nil
	}
	if j, ok := s.jobs[code]; ok {
		return j, nil
	}
	p := s.past[code]
	j, err := s.newJob(p.Code, p.Name, p.Machine, p.Station, p.Material, p.KcGroup, p.Qty, p.Request, p.Cutting)
	if err != nil {
		return j, err
	}
	j.State, j.FromDay, j.ToDay = "running", store.DayOf(p.Start), store.DayOf(p.Due)
	s.jobs[code], err = s.st.SaveJob(ctx, s.boss, j)
	return s.jobs[code], err
}

func (s *seeder) close(ctx context.Context, code string) error {
	j := s.jobs[code]
	j.State, j.PartsDone = "closed", j.PartsQty
	var err error
	s.jobs[code], err = s.st.SaveJob(ctx, s.boss, j)
	return err
}

func (s *seeder) newJob(code, name, machine string, station int, material string, kc, qty int, r shop.Request, c shop.Cutting) (store.Job, error) {
	req, err := json.Marshal(map[string]any{
		"bore_start_d": r.BoreStartD, "depth": r.Depth, "clearance": r.Clearance, "hand": r.Hand,
		"insert": r.Insert, "coolant": r.Coolant, "coolant_bar": r.CoolantBar, "edges_needed": r.EdgesNeeded,
		"cutting": map[string]any{"group": kc, "vc": c.VC, "f": c.F, "ap": c.AP},
	})
	m, st := s.machine[machine], s.station[fmt.Sprintf("%s/%d", machine, station)].ID
	return store.Job{Code: code, Name: name, MachineID: &m, StationID: &st, Material: fmt.Sprintf("%s%d", material, kc), PartsQty: qty, Request: string(req)}, err
}

// addJobs plans the jobs to come and promises what they have reserved.
func (s *seeder) addJobs(ctx context.Context) error {
	s.now = s.local(s.sh.Today.Add(5 * time.Hour))
	if s.now.After(s.begun) { // before dawn: what is booked next must not look as if the clock went back
		s.now = s.begun
	}
	for _, p := range s.sh.Jobs {
		j, err := s.newJob(p.Code, p.Name, p.Machine, p.Station, p.Material, p.KcGroup, p.Qty, p.Request, p.Cutting)
		if err != nil {
			return err
		}
		j.FromDay, j.ToDay, j.Note = store.DayOf(p.Need), store.DayOf(p.Due), strings.TrimSpace("for "+p.Customer)
		if s.jobs[p.Code], err = s.st.SaveJob(ctx, s.boss, j); err != nil {
			return fmt.Errorf("job %s: %w", p.Code, err)
		}
	}
	for _, p := range s.sh.Jobs {
		for _, r := range s.sh.Reservations {
			if r.Job != p.Code {
				continue
			}
			v := s.sh.Pieces[r.Piece]
			item, ok := s.pieces[r.Piece]
			if s.sh.Part(v.Part).Counted() {
				item, ok = s.lots[pileName{v.Part, v.Lot, 0}]
			}
			if !ok {
				return fmt.Errorf("job %s reserves %s, which the history left nowhere", p.Code, v.Part)
			}
			if _, err := s.st.Reserve(ctx, s.op(s.boss), store.ReserveIn{Job: s.jobs[p.Code].ID, From: store.DayOf(r.From), To: store.DayOf(r.To),
				Picks: []store.Pick{{Item: item, Qty: int64(r.Qty)}}}); err != nil {
				return fmt.Errorf("job %s: %w", p.Code, err)
			}
		}
	}
	return nil
}
