package store

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"brasspeg/store/standard"
)

// A StationBreaks is a change of a station after which jobs that use it stop or get another stack.
// It is an ErrAsk; a person may make it all the same.
type StationBreaks struct {
	Code string
	Jobs []BrokenJob
}

func (b *StationBreaks) Error() string {
	var all []string
	for _, j := range b.Jobs {
		all = append(all, fmt.Sprintf("%s (%s): %s", j.Code, j.From, j.Why))
	}
	return fmt.Sprintf("with station %s as you wrote it, %s. Look at the turret and at the machine's papers before you save it so", b.Code, strings.Join(all, "; "))
}

// Unwrap makes a StationBreaks an ErrAsk.
func (b *StationBreaks) Unwrap() error { return ErrAsk }

// A StationChange is a station as a person wants it; its machine, number and place stay.
type StationChange struct {
	Seen    Seen
	Broken  bool // he has seen which jobs change by it
	Station Station
}

// sound holds what a person typed of a station to what can be.
func (st *Station) sound() error {
	seat, err := standard.ParseSeatSystem(st.Interface)
	if err != nil {
		return refuse(ErrBadInput, "seat", "%s", err)
	}
	st.Interface = strings.ReplaceAll(seat.Code(), " ", "")
	if st.CoolantPort != "" {
		port, err := standard.ParsePort(st.CoolantPort)
		if err != nil {
			return refuse(ErrBadInput, "port", "%s", err)
		}
		st.CoolantPort = port.String()
	}
	for _, x := range []struct {
		field string
		v     *float64
	}{{"pressure", st.CoolantMaxBar}, {"projection", st.MaxProjection}, {"mass", st.MaxMassKg}} {
		if x.v != nil && !(*x.v > 0 && *x.v <= 1e6) {
			return refuse(ErrBadInput, x.field, "the %s a station takes is above 0; leave it empty when it is not known", x.field)
		}
	}
	return nil
}

// ChangeStation changes what a station takes. Jobs that stop by it or get another stack are told
// as a StationBreaks, and saved over with Broken.
func (s *Store) ChangeStation(ctx context.Context, o Op, in StationChange) (Receipt, error) {
	no := in.Station.sound()
	var breaks *StationBreaks
	if no == nil && !in.Broken {
		breaks, no = s.stationBreaks(ctx, in.Station)
	}
	return s.op(ctx, o, ActShop, in, func(e *entry) error {
		if no != nil {
			return no
		}
		st, err := one[Station](e.DB, "station", in.Station.ID, "id = ?", in.Station.ID)
		if err != nil {
			return err
		}
		p, err := one[Place](e.DB, "place", st.PlaceID, "id = ?", st.PlaceID)
		if err != nil {
			return err
		}
		w := in.Station
		says := changes(nil, "turret seat", st.Interface, w.Interface)
		says = changes(says, "coolant port", st.CoolantPort, w.CoolantPort)
		says = changes(says, "coolant in bar", amount(st.CoolantMaxBar), amount(w.CoolantMaxBar))
		says = changes(says, "swing in mm", amount(st.MaxProjection), amount(w.MaxProjection))
		says = changes(says, "mass in kg", amount(st.MaxMassKg), amount(w.MaxMassKg))
		if breaks != nil && len(says) > 0 && (st.Version == in.Seen.Version || st.Version == in.Seen.Over) {
			return breaks
		}
		return e.changeIt("stations", int64(st.ID), "station", p.Code, st.Version, in.Seen, map[string]any{"interface": w.Interface, "coolant_port": w.CoolantPort,
			"coolant_max_bar": w.CoolantMaxBar, "max_projection": w.MaxProjection, "max_mass_kg": w.MaxMassKg}, says)
	})
}

// stationBreaks lists the jobs a change of a station touches: those planned whose verdict or stack
// is another then, and those that run there while the seat or a limit changes. nil: none.
func (s *Store) stationBreaks(ctx context.Context, w Station) (*StationBreaks, error) {
	db := s.read.WithContext(ctx)
	st, err := one[Station](db, "station", w.ID, "id = ?", w.ID)
	if err != nil {
		return nil, err
	}
	p, err := one[Place](db, "place", st.PlaceID, "id = ?", st.PlaceID)
	if err != nil {
		return nil, err
	}
	same := st.Interface == w.Interface && st.CoolantPort == w.CoolantPort && amount(st.CoolantMaxBar) == amount(w.CoolantMaxBar) &&
		amount(st.MaxProjection) == amount(w.MaxProjection) && amount(st.MaxMassKg) == amount(w.MaxMassKg)
	if same {
		return nil, nil
	}
	var jobs []Job
	if err := db.Where("station_id = ? AND state IN ?", w.ID, []string{"planned", "running"}).Order("from_day, code").Limit(200).Find(&jobs).Error; err != nil {
		return nil, err
	}
	b := &StationBreaks{Code: p.Code}
	say := func(j *Job, why string) {
		b.Jobs = append(b.Jobs, BrokenJob{Code: j.Code, Name: j.Name, From: j.FromDay, Why: why})
	}
	var planned []Job
	for i := range jobs {
		if jobs[i].State == "running" {
			say(&jobs[i], "it runs there now")
			continue
		}
		planned = append(planned, jobs[i])
	}
	if len(planned) > 0 {
		before, err := s.checkAt(ctx, planned, nil)
		if err != nil {
			return nil, err
		}
		after, err := s.checkAt(ctx, planned, map[StationID]*Station{w.ID: &w})
		if err != nil {
			return nil, err
		}
		for i := range before {
			if why := before[i].turns(&after[i]); why != "" {
				say(&planned[i], why)
			}
		}
	}
	if len(b.Jobs) == 0 {
		return nil, nil
	}
	return b, nil
}

// turns says what becomes of a job when it is checked otherwise, "" when nothing does.
func (r *Ready) turns(then *Ready) string {
	tags := func(r *Ready) (out []string) {
		if best := r.Best(); best != nil {
			for _, u := range best.Pieces {
				if u.Part != nil {
					out = append(out, u.Part.Code)
				}
			}
		}
		return out
	}
	missing := func() string {
		if len(then.Verdict.Options) > 0 {
			return ": " + then.Verdict.Options[0].Text
		}
		return ""
	}
	could, can := r.Err == nil && r.Verdict.Buildable, then.Err == nil && then.Verdict.Buildable
	switch {
	case then.Err != nil && r.Err == nil:
		return then.Err.Error()
	case r.Err == nil && r.Chosen >= 0 && then.Chosen < 0 && can:
		return "the stack planned for it would not do, another would"
	case r.Err == nil && r.Chosen >= 0 && then.Chosen < 0:
		return "the stack planned for it would not do" + missing()
	case could && !can:
		return "it could not be built" + missing()
	case !could && can:
		return "it could be built, which it can not now"
	case could && can && !slices.Equal(tags(r), tags(then)):
		return "it would get another stack: " + strings.Join(tags(then), ", ")
	}
	return ""
}
