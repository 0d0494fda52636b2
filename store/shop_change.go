package store

import (
	"context"
	"fmt"
	"strings"

	"gorm.io/gorm"
)

// What the shop is made of is changed and taken out of use here. Nothing is ever deleted: the
// ledger speaks of it.

// A Seen is the version of a record that a person changes: the one he read, and a later one he has
// been told of and writes over.
type Seen struct{ Version, Over int }

// A ShopChanged says that somebody else changed a record of the shop since it was read. It is an
// ErrConflict; the change may be sent again with Over set to Version.
type ShopChanged struct {
	Code    string
	Version int
	Since   []RecordChange // newest first
}

func (c *ShopChanged) Error() string {
	var all []string
	for _, x := range c.Since {
		all = append(all, x.By+" "+x.Said)
	}
	if len(all) == 0 {
		all = []string{"somebody changed it"}
	}
	return fmt.Sprintf("%s was changed while you wrote: %s. Your text is kept; say that it holds, or read the page again", c.Code, strings.Join(all, "; "))
}

// Unwrap makes a ShopChanged an ErrConflict.
func (c *ShopChanged) Unwrap() error { return ErrConflict }

// changeIt checks the version of a record of a table, writes the columns of set and the audit
// note. Nothing is written when says is empty.
func (e *entry) changeIt(table string, id int64, what, code string, now int, seen Seen, set map[string]any, says []string) error {
	if now != seen.Version && now != seen.Over {
		c := &ShopChanged{Code: code, Version: now}
		n := min(20, max(1, now-seen.Version))
		if err := e.Raw(`SELECT a.at, coalesce(p.name, 'the console') AS "by", a.what AS how, a.detail AS said FROM audit a LEFT JOIN people p ON p.id = a.actor_id
			WHERE a.ref = ? AND a.what LIKE ? ORDER BY a.id DESC LIMIT ?`, code, what+" changed%", n).Scan(&c.Since).Error; err != nil {
			return err
		}
		return c
	}
	if len(says) == 0 {
		e.receipt.Says = fmt.Sprintf("Nothing of %s is changed.", code)
		return nil
	}
	set["version"] = gorm.Expr("version + 1")
	r := e.Table(table).Where("id = ? AND version = ?", id, now).Updates(set)
	if r.Error != nil {
		return r.Error
	}
	if r.RowsAffected != 1 {
		return refuse(ErrConflict, "version", "%s was changed meanwhile; read it again", code)
	}
	said := strings.Join(says, "; ")
	e.receipt.Says = fmt.Sprintf("%s: %s.", code, said)
	return e.Tx.note(e.op.Actor, what+" changed", code, said)
}

// changes is what changes of a value, in words; nothing when it does not.
func changes(says []string, name, was, is string) []string {
	if was == is {
		return says
	}
	or := func(t string) string {
		if t == "" {
			return "nothing"
		}
		return t
	}
	return append(says, fmt.Sprintf("%s %s → %s", name, or(was), or(is)))
}

func amount(v *float64) string {
	if v == nil {
		return ""
	}
	return fmt.Sprintf("%g", *v)
}

// replace brings the memory of a place in step with its change: what is booked after it in the same
// transaction reads the place there, the rest finds it renewed.
func (e *entry) replace(id PlaceID) {
	e.s.places.forget(id)
	e.after = append(e.after, func() { e.s.places.renew(e.s.read, id) })
}

// The console commands and the first data enter these without an op; a form has one, so that a
// second press of its button is the same act.

// EnterBins is AddBins as an act of a form.
func (s *Store) EnterBins(ctx context.Context, o Op, codes []string) (Receipt, error) {
	bins, no := newBins(codes)
	return s.op(ctx, o, ActShop, struct{ Bins []string }{codes}, func(e *entry) error {
		if no != nil {
			return no
		}
		e.receipt.Says = fmt.Sprintf("%d entered.", len(bins))
		return e.addBins(o.Actor, bins)
	})
}

// EnterMachine is AddMachine as an act of a form.
func (s *Store) EnterMachine(ctx context.Context, o Op, in Machine) (Receipt, error) {
	no := in.sound()
	return s.op(ctx, o, ActShop, struct{ Machine Machine }{in}, func(e *entry) error {
		if no != nil {
			return no
		}
		m, _, err := e.addMachine(o.Actor, in, nil)
		e.receipt.Says = m.Code + " is entered."
		return err
	})
}

// EnterStations is AddStations as an act of a form.
func (s *Store) EnterStations(ctx context.Context, o Op, machine string, stations []Station) (Receipt, error) {
	return s.op(ctx, o, ActShop, struct {
		Machine  string
		Stations []Station
	}{machine, stations}, func(e *entry) error {
		e.receipt.Says = fmt.Sprintf("%d entered.", len(stations))
		return e.moreStations(o.Actor, machine, stations)
	})
}

// A BinChange is a bin as a person wants it.
type BinChange struct {
	Place   PlaceID
	Seen    Seen
	Code    string
	Name    string
	SortKey string // its place in the walk through the crib
}

// ourBin reads a bin that the shop may change.
func (e *entry) ourBin(id PlaceID) (Place, error) {
	p, err := one[Place](e.DB, "bin", id, "id = ? AND kind = ?", id, string(Bin))
	if err == nil && p.Code == CodePartUsed {
		err = refuse(ErrBadInput, "code", "%s is where part-used inserts go in every shop; it stays as it is", p.Code)
	}
	return p, err
}

// ChangeBin changes a bin's code, name and place in the walk. What stands in it stays there; the
// tag on its label stays good, the code printed beside it does not.
func (s *Store) ChangeBin(ctx context.Context, o Op, in BinChange) (Receipt, error) {
	var no error
	for _, f := range []struct {
		name string
		text *string
		most int
	}{{"code", &in.Code, 20}, {"name", &in.Name, maxName}, {"sort_key", &in.SortKey, 20}} {
		t, err := *f.text, error(nil)
		if f.name == "code" || t != "" {
			t, err = printable(f.name, t, f.most)
		}
		if *f.text = t; err != nil && no == nil {
			no = err
		}
	}
	return s.op(ctx, o, ActShop, in, func(e *entry) error {
		if no != nil {
			return no
		}
		p, err := e.ourBin(in.Place)
		if err != nil {
			return err
		}
		if in.Name == "" {
			in.Name = in.Code
		}
		says := changes(nil, "code", p.Code, in.Code)
		says = changes(says, "name", p.Name, in.Name)
		says = changes(says, "place in the walk", p.SortKey, in.SortKey)
		if err := e.changeIt("places", int64(p.ID), "bin", p.Code, p.Version, in.Seen, map[string]any{"code": in.Code, "name": in.Name, "sort_key": in.SortKey}, says); err != nil {
			return duplicate(err, "code", "place %s", in.Code)
		}
		if len(says) == 0 {
			return nil
		}
		var items []ItemID
		if err := e.Raw("SELECT item_id FROM stock WHERE place_id = ? AND qty > 0 ORDER BY item_id", p.ID).Scan(&items).Error; err != nil {
			return err
		}
		for _, id := range items {
			e.reshelve(id)
		}
		e.replace(p.ID)
		return nil
	})
}

// few is a list of codes for a sentence, at most five.
func few(all []string) string {
	if len(all) > 5 {
		return strings.Join(all[:5], ", ") + fmt.Sprintf(" and %d more", len(all)-5)
	}
	return strings.Join(all, ", ")
}

// names runs a query of one column of texts.
func (e *entry) names(q string, args ...any) (out []string, err error) {
	return out, e.Raw(q, args...).Scan(&out).Error
}

// mustBeEmpty refuses while something stands in a place.
func (e *entry) mustBeEmpty(p Place) error {
	there, err := e.names("SELECT i.tag FROM stock s JOIN items i ON i.id = s.item_id WHERE s.place_id = ? AND s.qty > 0 ORDER BY i.tag LIMIT 100", p.ID)
	if err == nil && len(there) > 0 {
		err = refuse(ErrConflict, "retired", "%s is not empty: %s; put it elsewhere first", p.Code, few(there))
	}
	return err
}

// SetBinRetired takes a bin out of use, or into use again. Refused while anything stands in it, or
// while it is the home of a part or of a piece, with which.
func (s *Store) SetBinRetired(ctx context.Context, o Op, id PlaceID, retired bool) (Receipt, error) {
	return s.op(ctx, o, ActShop, struct {
		RetireBin PlaceID
		Retired   bool
	}{id, retired}, func(e *entry) error {
		p, err := e.ourBin(id)
		if err != nil {
			return err
		}
		if err := already(p.Code, p.RetiredAt, retired); err != nil {
			return err
		}
		if retired {
			if err := e.mustBeEmpty(p); err != nil {
				return err
			}
			homes, err := e.names(`SELECT code FROM parts WHERE home_id = ? AND retired_at IS NULL ORDER BY code LIMIT 100`, id)
			if err != nil {
				return err
			}
			own, err := e.names(`SELECT tag FROM items WHERE home_id = ? AND retired_at IS NULL ORDER BY tag LIMIT 100`, id)
			if err != nil {
				return err
			}
			if homes = append(homes, own...); len(homes) > 0 {
				return refuse(ErrConflict, "retired", "%s is the home of %s; give them another home first", p.Code, few(homes))
			}
		}
		return e.retireAt("places", int64(id), "bin", p.Code, retired, p.ID)
	})
}

func already(code string, at Time, retired bool) error {
	switch {
	case retired && !at.IsZero():
		return refuse(ErrRetired, "retired", "%s is out of use already", code)
	case !retired && at.IsZero():
		return refuse(ErrConflict, "retired", "%s is in use", code)
	}
	return nil
}

// retireAt sets or clears retired_at of a record, and of the place it is.
func (e *entry) retireAt(table string, id int64, what, code string, retired bool, place PlaceID) error {
	var at any
	word := "in use again"
	if retired {
		at, word = e.now, "out of use"
	}
	if err := e.exec("UPDATE "+table+" SET retired_at = ?, version = version + 1 WHERE id = ?", at, id); err != nil {
		return err
	}
	if place != 0 {
		if table != "places" {
			if err := e.exec("UPDATE places SET retired_at = ?, version = version + 1 WHERE id = ?", at, place); err != nil {
				return err
			}
		}
		e.replace(place)
	}
	e.receipt.Says = fmt.Sprintf("%s is %s.", code, word)
	return e.Tx.note(e.op.Actor, what+" changed", code, word)
}

// A MachineChange is a machine as a person wants it. Its code stays: labels and stations have it.
type MachineChange struct {
	Seen    Seen
	Machine Machine
}

// sound brings what a person typed of a machine into form.
func (m *Machine) sound() (err error) {
	if m.Name, err = printable("name", m.Name, maxName); err != nil {
		return err
	}
	if m.Maker != "" {
		if m.Maker, err = printable("maker", m.Maker, maxName); err != nil {
			return err
		}
	}
	if p := m.PowerKW; p != nil && !(*p > 0 && *p <= 1000) {
		return refuse(ErrBadInput, "power", "the power of a spindle is above 0 and at most 1000 kW")
	}
	if r := m.MaxRPM; r != nil && !(*r > 0 && *r <= 100_000) {
		return refuse(ErrBadInput, "rpm", "the highest speed of a spindle is above 0 and at most 100,000 a minute")
	}
	return nil
}

// ChangeMachine changes what is on record of a machine: name, maker, power, highest speed.
func (s *Store) ChangeMachine(ctx context.Context, o Op, in MachineChange) (Receipt, error) {
	no := in.Machine.sound()
	return s.op(ctx, o, ActShop, in, func(e *entry) error {
		if no != nil {
			return no
		}
		m, err := one[Machine](e.DB, "machine", in.Machine.Code, "code = ?", in.Machine.Code)
		if err != nil {
			return err
		}
		w := in.Machine
		says := changes(nil, "name", m.Name, w.Name)
		says = changes(says, "maker", m.Maker, w.Maker)
		says = changes(says, "power in kW", amount(m.PowerKW), amount(w.PowerKW))
		says = changes(says, "highest speed a minute", amount(m.MaxRPM), amount(w.MaxRPM))
		if err := e.changeIt("machines", int64(m.ID), "machine", m.Code, m.Version, in.Seen, map[string]any{"name": w.Name, "maker": w.Maker, "power_kw": w.PowerKW, "max_rpm": w.MaxRPM}, says); err != nil || m.Name == w.Name {
			return err
		}
		var turret []Station
		if err := e.Where("machine_id = ?", m.ID).Order("number").Find(&turret).Error; err != nil {
			return err
		}
		for _, st := range turret {
			if err := e.exec("UPDATE places SET name = ? WHERE id = ?", stationName(w.Name, st.Number), st.PlaceID); err != nil {
				return err
			}
			e.replace(st.PlaceID)
		}
		return nil
	})
}

// openJobs are the jobs, planned or running, of a condition.
func (e *entry) openJobs(cond string, id int64) ([]string, error) {
	return e.names("SELECT code FROM jobs WHERE state IN ('planned','running') AND "+cond+" = ? ORDER BY from_day, code LIMIT 100", id)
}

// SetMachineRetired takes a machine with all its stations out of use, or into use again with those
// that went with it. Refused while a job is on it or anything stands in its turret.
func (s *Store) SetMachineRetired(ctx context.Context, o Op, id MachineID, retired bool) (Receipt, error) {
	return s.op(ctx, o, ActShop, struct {
		RetireMachine MachineID
		Retired       bool
	}{id, retired}, func(e *entry) error {
		m, err := one[Machine](e.DB, "machine", id, "id = ?", id)
		if err != nil {
			return err
		}
		if err := already(m.Code, m.RetiredAt, retired); err != nil {
			return err
		}
		if retired {
			jobs, err := e.openJobs("machine_id", int64(id))
			if err != nil {
				return err
			}
			if len(jobs) > 0 {
				return refuse(ErrConflict, "retired", "%s has the jobs %s; put them on another machine or close them first", m.Code, few(jobs))
			}
		}
		var turret []Station
		if err := e.Where("machine_id = ?", id).Order("number").Find(&turret).Error; err != nil {
			return err
		}
		for _, st := range turret {
			switch {
			case retired && st.RetiredAt.IsZero():
				err = e.retireStation(st, true)
			case !retired && st.RetiredAt.Equal(m.RetiredAt.Time):
				err = e.retireStation(st, false)
			}
			if err != nil {
				return err
			}
		}
		return e.retireAt("machines", int64(id), "machine", m.Code, retired, 0)
	})
}

func (e *entry) retireStation(st Station, retired bool) error {
	p, err := one[Place](e.DB, "place", st.PlaceID, "id = ?", st.PlaceID)
	if err != nil {
		return err
	}
	if retired {
		if err := e.mustBeEmpty(p); err != nil {
			return err
		}
		jobs, err := e.openJobs("station_id", int64(st.ID))
		if err != nil {
			return err
		}
		if len(jobs) > 0 {
			return refuse(ErrConflict, "retired", "%s has the jobs %s; put them on another station or close them first", p.Code, few(jobs))
		}
	}
	return e.retireAt("stations", int64(st.ID), "station", p.Code, retired, p.ID)
}

// SetStationRetired takes a station out of use, or into use again. Refused while a job is on it or
// anything stands in it.
func (s *Store) SetStationRetired(ctx context.Context, o Op, id StationID, retired bool) (Receipt, error) {
	return s.op(ctx, o, ActShop, struct {
		RetireStation StationID
		Retired       bool
	}{id, retired}, func(e *entry) error {
		st, err := one[Station](e.DB, "station", id, "id = ?", id)
		if err != nil {
			return err
		}
		m, err := one[Machine](e.DB, "machine", st.MachineID, "id = ?", st.MachineID)
		if err != nil {
			return err
		}
		if err := already(fmt.Sprintf("station %d of %s", st.Number, m.Code), st.RetiredAt, retired); err != nil {
			return err
		}
		if !retired && !m.RetiredAt.IsZero() {
			return refuse(ErrRetired, "retired", "%s is out of use; take the machine into use again first", m.Code)
		}
		return e.retireStation(st, retired)
	})
}

// inUse refuses a job on a station that is out of use; one that is done or closed keeps it.
func (tx *Tx) inUse(id StationID, state string) error {
	if state != "planned" && state != "running" {
		return nil
	}
	st, err := one[Station](tx.DB, "station", id, "id = ?", id)
	if err == nil && !st.RetiredAt.IsZero() {
		err = refuse(ErrRetired, "station", "station %d is out of use since %s; choose another", st.Number, DayOf(st.RetiredAt.Time))
	}
	return err
}

// BinsEver lists every bin in walking order, those out of use last, without the one every shop has.
func (s *Store) BinsEver(ctx context.Context) ([]Place, error) {
	var out []Place
	return out, s.read.WithContext(ctx).Where("kind = ? AND code <> ?", string(Bin), CodePartUsed).
		Order("CASE WHEN retired_at IS NULL THEN 0 ELSE 1 END, sort_key, code").Find(&out).Error
}
