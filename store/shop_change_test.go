package store

import (
	"errors"
	"strings"
	"testing"
)

func (s *shop) says(err error, class error, words ...string) {
	s.t.Helper()
	if !errors.Is(err, class) {
		s.t.Errorf("got %v, want a %v", err, class)
		return
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			s.t.Errorf("%q does not say %q", err, w)
		}
	}
}

func (s *shop) placeOf(id PlaceID) Place {
	s.t.Helper()
	p, err := s.Place(ctx, id)
	s.must(err)
	return p
}

// A bin gets another code and name; out of use it can not go while something stands in it or has
// its home there, and then nothing can be put in, until it is in use again.
func TestChangeBin(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		a, other := s.bin("A1"), s.bin("A2")
		p := s.part("HED", "head", map[string]any{"CCMS": "H40", "HAND": "R", "DMIN": 50, "seat": "DCMT11T3", "LF": 32})
		it := s.receive(p, 1, a)[0]
		key := op(s.boss)
		in := BinChange{Place: a, Code: "C4-2", Name: "long heads", SortKey: "000009"}
		r, err := s.ChangeBin(ctx, key, in)
		s.must(err)
		if !strings.Contains(r.Says, "code A1 → C4-2") || !strings.Contains(r.Says, "name A1 → long heads") {
			t.Errorf("says %q", r.Says)
		}
		if again, err := s.ChangeBin(ctx, key, in); err != nil || !again.Replayed {
			t.Errorf("the same op again: %+v, %v", again, err)
		}
		if got := s.placeOf(a); got.Code != "C4-2" || got.Version != 1 || got.SortKey != "000009" {
			t.Errorf("the bin is %+v", got)
		}
		_, err = s.ChangeBin(ctx, op(s.boss), BinChange{Place: a, Code: "D1"})
		s.says(err, ErrConflict, "C4-2 was changed while you wrote")
		if ch, ok := errors.AsType[*ShopChanged](err); !ok || ch.Version != 1 {
			t.Errorf("%v", err)
		}
		_, err = s.ChangeBin(ctx, op(s.boss), BinChange{Place: a, Seen: Seen{0, 1}, Code: "A2"})
		s.says(err, ErrExists, "A2")
		s.must2(s.ChangeBin(ctx, op(s.boss), BinChange{Place: a, Seen: Seen{0, 1}, Code: "C4-2", Name: "heads"}))
		_, err = s.ChangeBin(ctx, op(s.gate), BinChange{Place: a, Seen: Seen{2, 0}, Code: "Z"})
		s.says(err, ErrForbidden)
		_, err = s.ChangeBin(ctx, op(s.boss), BinChange{Place: s.placeBy(CodePartUsed), Code: "Z"})
		s.says(err, ErrBadInput, "every shop")

		_, err = s.SetBinRetired(ctx, op(s.boss), a, true)
		s.says(err, ErrConflict, "C4-2 is not empty", it.Tag)
		s.must2(s.Transfer(ctx, op(s.gate), TransferIn{Picks: []Pick{{Item: it.ID, Qty: 1, Place: a}}, To: other}))
		s.must(s.write.Exec("UPDATE parts SET home_id = ? WHERE id = ?", a, p.ID).Error)
		_, err = s.SetBinRetired(ctx, op(s.boss), a, true)
		s.says(err, ErrConflict, "is the home of HED")
		s.must(s.write.Exec("UPDATE parts SET home_id = NULL WHERE id = ?", p.ID).Error)
		s.must(s.write.Exec("UPDATE items SET home_id = ? WHERE id = ?", a, it.ID).Error)
		_, err = s.SetBinRetired(ctx, op(s.boss), a, true)
		s.says(err, ErrConflict, "is the home of "+it.Tag)
		s.must(s.write.Exec("UPDATE items SET home_id = NULL WHERE id = ?", it.ID).Error)
		s.must2(s.SetBinRetired(ctx, op(s.boss), a, true))
		_, err = s.SetBinRetired(ctx, op(s.boss), a, true)
		s.says(err, ErrRetired)
		entry := PartEntry{Code: "HED-9", Kind: "spare", Name: "screw", Home: "C4-2"}
		_, err = s.FillPart(ctx, entry)
		s.says(err, ErrBadInput, "no place C4-2 in use")
		entry.Home = "A2"
		_, err = s.FillPart(ctx, entry)
		s.must(err)
		for range 2 { // from memory, and read anew
			_, err = s.Transfer(ctx, op(s.gate), TransferIn{Picks: []Pick{{Item: it.ID, Qty: 1, Place: other}}, To: a})
			s.says(err, ErrRetired, "C4-2 is out of use")
			s.restart()
		}
		s.sound()
		s.must2(s.SetBinRetired(ctx, op(s.boss), a, false))
		s.must2(s.Transfer(ctx, op(s.gate), TransferIn{Picks: []Pick{{Item: it.ID, Qty: 1, Place: other}}, To: a}))
		s.sound()
	})
}

func (s *shop) placeBy(code string) PlaceID {
	s.t.Helper()
	p, err := s.PlaceByCode(ctx, code)
	s.must(err)
	return p.ID
}

// A turret seat that was typed wrong is mended: the job that could not be built can be. Mended the
// wrong way, the jobs that stop are named, and it is saved when a person says so.
func TestChangeStation(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		one := b.job("J-1", "2026-03-17", "2026-03-20")
		if !b.check(one).Verdict.Buildable {
			t.Fatal("the job can not be built to begin with")
		}
		with := func(v int, f func(*Station)) StationChange {
			st := b.station
			f(&st)
			return StationChange{Seen: Seen{Version: v}, Station: st}
		}
		for _, tt := range []struct {
			f    func(*Station)
			word string
		}{
			{func(st *Station) { st.Interface = "50" }, "bare number"},
			{func(st *Station) { st.CoolantPort = "hole" }, "hole"},
			{func(st *Station) { x := -1.0; st.MaxMassKg = &x }, "above 0"},
			{func(st *Station) { x := 0.0; st.CoolantMaxBar = &x }, "above 0"},
			{func(st *Station) { x := 1e9; st.MaxProjection = &x }, "above 0"},
		} {
			_, err := s.ChangeStation(ctx, op(s.boss), with(0, tt.f))
			s.says(err, ErrBadInput, tt.word)
		}
		wrong := with(0, func(st *Station) { st.Interface = "vdi 40" })
		_, err := s.ChangeStation(ctx, op(s.boss), wrong)
		s.says(err, ErrAsk, "L3/4", "J-1 (2026-03-17): it could not be built")
		if rows, err := s.Stations(ctx, 0); err != nil || rows[0].Interface != "VDI50" {
			t.Errorf("it was saved without an answer: %+v, %v", rows, err)
		}
		wrong.Broken = true
		s.must2(s.ChangeStation(ctx, op(s.boss), wrong))
		if r := b.check(one); r.Verdict.Buildable || r.Request.Station.Interface != "VDI40" {
			t.Errorf("the verdict is of the old seat: %+v", r.Request.Station)
		}
		_, err = s.ChangeStation(ctx, op(s.boss), with(0, func(st *Station) { st.Interface = "VDI30" }))
		s.says(err, ErrConflict, "Bo", "turret seat VDI50 → VDI40")
		mend := with(1, func(st *Station) {})
		_, err = s.ChangeStation(ctx, op(s.boss), mend)
		s.says(err, ErrAsk, "it could be built, which it can not now")
		mend.Broken = true
		s.must2(s.ChangeStation(ctx, op(s.boss), mend))
		if !b.check(one).Verdict.Buildable {
			t.Error("the right seat does not mend the verdict")
		}
		b.planned(one)
		far := 100.0
		_, err = s.ChangeStation(ctx, op(s.boss), with(2, func(st *Station) { st.MaxProjection = &far }))
		s.says(err, ErrAsk, "the stack planned for it would not do")
		free := 1000.0
		s.must2(s.ChangeStation(ctx, op(s.boss), with(2, func(st *Station) { st.MaxProjection, st.CoolantPort = &free, "F:G 1/4" })))
		_, err = s.StartJob(ctx, op(s.gate), StartIn{Job: one.ID})
		s.must(err)
		_, err = s.ChangeStation(ctx, op(s.boss), with(3, func(st *Station) { st.Interface = "VDI60" }))
		s.says(err, ErrAsk, "J-1", "it runs there now")
		s.sound()
	})
}

// A machine and its stations go out of use when no job is on them and nothing stands there, and
// come back together; no job is put on them meanwhile.
func TestRetireMachine(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		b := newBorer(s)
		s.must(s.AddStations(ctx, s.boss.ID, "L3", []Station{{Number: 5, Interface: "VDI50"}}))
		all, err := s.Stations(ctx, b.machine.ID)
		s.must(err)
		five := all[1]
		j := b.job("J-1", "2026-03-17", "2026-03-20")
		_, err = s.SetMachineRetired(ctx, op(s.boss), b.machine.ID, true)
		s.says(err, ErrConflict, "L3 has the jobs J-1")
		_, err = s.SetStationRetired(ctx, op(s.boss), b.station.ID, true)
		s.says(err, ErrConflict, "L3/4 has the jobs J-1")
		s.must2(s.SetStationRetired(ctx, op(s.boss), five.ID, true))
		s.clock.step(1e9)
		j.StationID = &five.ID
		_, err = s.SaveJob(ctx, s.boss.ID, j)
		s.says(err, ErrRetired, "station 5 is out of use")
		j.StationID, j.State = &b.station.ID, "closed"
		_, err = s.SaveJob(ctx, s.boss.ID, j)
		s.must(err)
		bar := b.item("BAR", 0)
		s.must2(s.Transfer(ctx, op(s.gate), TransferIn{Picks: []Pick{{Item: bar.ID, Qty: 1, Place: s.placeBy("A1")}}, To: b.station.PlaceID}))
		_, err = s.SetMachineRetired(ctx, op(s.boss), b.machine.ID, true)
		s.says(err, ErrConflict, "L3/4 is not empty", bar.Tag)
		s.must2(s.Transfer(ctx, op(s.gate), TransferIn{Picks: []Pick{{Item: bar.ID, Qty: 1, Place: b.station.PlaceID}}, To: s.placeBy("A1")}))
		s.must2(s.SetMachineRetired(ctx, op(s.boss), b.machine.ID, true))
		s.sound()
		s.says(s.AddStations(ctx, s.boss.ID, "L3", []Station{{Number: 9, Interface: "VDI50"}}), ErrRetired, "L3")
		_, err = s.SetStationRetired(ctx, op(s.boss), five.ID, false)
		s.says(err, ErrRetired, "machine into use")
		s.must2(s.SetMachineRetired(ctx, op(s.boss), b.machine.ID, false))
		all, err = s.Stations(ctx, b.machine.ID)
		s.must(err)
		if !all[0].RetiredAt.IsZero() || all[1].RetiredAt.IsZero() || !s.placeOf(all[0].PlaceID).RetiredAt.IsZero() {
			t.Errorf("station 4 is to be in use again, station 5, which went before, not: %+v", all)
		}
		kw, rpm, none := 22.0, 3500.0, -1.0
		in := MachineChange{Machine: Machine{Code: "L3", Name: "Long lathe", PowerKW: &kw, MaxRPM: &rpm}, Seen: Seen{Version: 2}}
		s.must2(s.ChangeMachine(ctx, op(s.boss), in))
		m, err := s.MachineByCode(ctx, "L3")
		s.must(err)
		if m.Name != "Long lathe" || m.PowerKW == nil || *m.PowerKW != 22 || *m.MaxRPM != 3500 || s.placeOf(all[0].PlaceID).Name != "Long lathe station 4" {
			t.Errorf("%+v", m)
		}
		_, err = s.ChangeMachine(ctx, op(s.boss), MachineChange{Machine: Machine{Code: "L3", Name: "x"}})
		s.says(err, ErrConflict, "Bo", "power in kW nothing → 22")
		in.Machine.PowerKW = &none
		_, err = s.ChangeMachine(ctx, op(s.boss), in)
		s.says(err, ErrBadInput, "kW")
		s.sound()
	})
}

// A person is renamed, gets another role, leaves; the last admin does neither, and what somebody
// still has is told.
func TestChangePerson(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		in := PersonChange{Person: s.op1.ID, Name: "Opal Reek", Role: Attendant, Phone: "21"}
		_, err := s.ChangePerson(ctx, op(s.boss), in)
		s.says(err, ErrForbidden)
		s.must2(s.ChangePerson(ctx, op(s.admin), in))
		p, err := s.Person(ctx, s.op1.ID)
		s.must(err)
		if p.Name != "Opal Reek" || p.Role != Attendant || p.Phone != "21" || s.placeOf(p.PlaceID).Name != "Opal Reek" {
			t.Errorf("%+v", p)
		}
		_, err = s.ChangePerson(ctx, op(s.admin), in)
		s.says(err, ErrConflict, "Ada", "role operator → attendant")
		_, err = s.ChangePerson(ctx, op(s.admin), PersonChange{Person: s.op1.ID, Seen: Seen{Version: 1}, Name: "O", Role: "king"})
		s.says(err, ErrBadInput, "king")
		_, err = s.ChangePerson(ctx, op(s.admin), PersonChange{Person: s.admin.ID, Name: "Ada", Role: Manager})
		s.says(err, ErrConflict, "only admin")
		_, err = s.LetGo(ctx, op(s.admin), s.admin.ID, true)
		s.says(err, ErrConflict, "only admin")
		a := s.bin("A1")
		it := s.receive(s.part("HED", "head", map[string]any{"CCMS": "H40", "HAND": "R", "DMIN": 50, "seat": "DCMT11T3", "LF": 32}), 1, a)[0]
		s.must2(s.Issue(ctx, op(s.gate), IssueIn{To: p.PlaceID, Picks: []Pick{{Item: it.ID, Qty: 1, Place: a}}}))
		_, err = s.LetGo(ctx, op(s.admin), p.ID, false)
		s.says(err, ErrAsk, "Opal Reek still has "+it.Tag)
		s.must2(s.LetGo(ctx, op(s.admin), p.ID, true))
		_, err = s.Person(ctx, p.ID)
		s.says(err, ErrNotFound)
		s.sound()
	})
}

// What a form enters is entered once, however often its button was pressed.
func TestEnterOnce(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		bins, mach, st := op(s.boss), op(s.boss), op(s.boss)
		for i := range 2 {
			a, err := s.EnterBins(ctx, bins, []string{"A1", "A2"})
			s.must(err)
			kw := 15.0
			b, err := s.EnterMachine(ctx, mach, Machine{Code: "L7", Name: "Lathe", PowerKW: &kw})
			s.must(err)
			c, err := s.EnterStations(ctx, st, "L7", []Station{{Number: 1, Interface: "VDI40"}})
			s.must(err)
			if again := i == 1; a.Replayed != again || b.Replayed != again || c.Replayed != again {
				t.Errorf("press %d: %v %v %v", i, a.Replayed, b.Replayed, c.Replayed)
			}
		}
		_, err := s.EnterBins(ctx, op(s.gate), []string{"A9"})
		s.says(err, ErrForbidden)
		s.sound()
	})
}
