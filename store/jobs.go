package store

import (
	"context"
	"encoding/json"
	"fmt"

	"brasspeg/store/standard"
)

// A Machine turns; its stations are the places a stack goes.
type Machine struct {
	ID        MachineID
	Tag       *string
	Code      string
	Name      string
	Maker     string
	PowerKW   *float64 `gorm:"column:power_kw"`
	MaxRPM    *float64 `gorm:"column:max_rpm"`
	CreatedAt Time
	RetiredAt Time
	Version   int
}

// A Station is one seat of a turret, with what it can take.
type Station struct {
	ID            StationID
	MachineID     MachineID
	PlaceID       PlaceID
	Number        int
	Interface     string
	CoolantPort   string
	CoolantMaxBar *float64
	MaxProjection *float64 // mm
	MaxMassKg     *float64
	RetiredAt     Time // of its place too
	Version       int
}

// A Supplier sells.
type Supplier struct {
	ID        SupplierID
	Code      string
	Name      string
	Email     string
	Phone     string
	LeadDays  int
	CreatedAt Time
}

// A Job is what is to be bored, on which machine, from day to day.
type Job struct {
	ID        JobID
	Tag       *string
	Code      string
	Name      string
	MachineID *MachineID
	StationID *StationID
	Material  string // ISO 513 group and number, such as P6
	PartsQty  int
	PartsDone int
	FromDay   Day
	ToDay     Day
	State     string // planned, running, done, closed
	Dear      bool   // a dear part: change edges by accepted risk
	Request   string // JSON, the columns of a stack request without station, job and date
	Note      string
	Version   int
	CreatedAt Time
}

// A Reservation promises a quantity of an item to a job from day to day, both included.
type Reservation struct {
	ID        int64
	JobID     JobID
	ItemID    ItemID
	Qty       int64
	FromDay   Day
	ToDay     Day
	OpID      string
	ActorID   PersonID
	CreatedAt Time
	EndedAt   Time
}

// AddSupplier makes a supplier.
func (s *Store) AddSupplier(ctx context.Context, actor PersonID, in Supplier) (Supplier, error) {
	err := s.book(ctx, func(tx *Tx) error {
		in.CreatedAt = tx.now
		if err := tx.Create(&in).Error; err != nil {
			return duplicate(err, "code", "supplier %s", in.Code)
		}
		return tx.note(actor, "supplier added", in.Code, in.Name)
	})
	return in, err
}

// AddMachine makes a machine with its stations; each station becomes a place.
func (s *Store) AddMachine(ctx context.Context, actor PersonID, in Machine, stations []Station) (Machine, []Station, error) {
	var out []Station
	err := s.book(ctx, func(tx *Tx) (err error) { in, out, err = tx.addMachine(actor, in, stations); return err })
	return in, out, err
}

func (tx *Tx) addMachine(actor PersonID, in Machine, stations []Station) (Machine, []Station, error) {
	in.CreatedAt, in.RetiredAt = tx.now, Time{}
	if err := tx.Create(&in).Error; err != nil {
		return in, nil, duplicate(err, "code", "machine %s", in.Code)
	}
	tag, err := standard.NewTag(TagMach, int64(in.ID))
	if err != nil {
		return in, nil, err
	}
	in.Tag = &tag
	if err := tx.exec("UPDATE machines SET tag = ? WHERE id = ?", tag, in.ID); err != nil {
		return in, nil, err
	}
	out, err := tx.addStations(in, stations)
	if err != nil {
		return in, nil, err
	}
	return in, out, tx.note(actor, "machine added", in.Code, in.Name)
}

func stationName(machine string, number int) string {
	return fmt.Sprintf("%s station %d", machine, number)
}

func (tx *Tx) addStations(m Machine, stations []Station) ([]Station, error) {
	out := make([]Station, len(stations))
	for i, st := range stations {
		place, err := tx.addPlace(Place{Code: fmt.Sprintf("%s/%d", m.Code, st.Number), Name: stationName(m.Name, st.Number), Kind: StationAt, Parent: m.Code})
		if err != nil {
			return nil, onField("from", err)
		}
		st.MachineID, st.PlaceID = m.ID, place.ID
		if err := tx.Create(&st).Error; err != nil {
			return nil, duplicate(err, "number", "station %d of %s", st.Number, m.Code)
		}
		out[i] = st
	}
	return out, nil
}

// AddStations gives a machine more stations, all or none; each becomes a place. ErrExists: it has
// one of that number.
func (s *Store) AddStations(ctx context.Context, actor PersonID, machine string, stations []Station) error {
	return s.book(ctx, func(tx *Tx) error { return tx.moreStations(actor, machine, stations) })
}

func (tx *Tx) moreStations(actor PersonID, machine string, stations []Station) error {
	m, err := one[Machine](tx.DB, "machine", machine, "code = ?", machine)
	if err != nil {
		return err
	}
	if !m.RetiredAt.IsZero() {
		return refuse(ErrRetired, "machine", "%s is out of use; take it into use again first", m.Code)
	}
	if _, err := tx.addStations(m, stations); err != nil {
		return err
	}
	return tx.note(actor, "stations added", m.Code, fmt.Sprint(len(stations)))
}

// AddBins makes bins, all or none, in the order of the walk through the crib behind those that
// are there. ErrExists: a code is taken.
func (s *Store) AddBins(ctx context.Context, actor PersonID, codes []string) error {
	bins, err := newBins(codes)
	if err != nil {
		return err
	}
	return s.book(ctx, func(tx *Tx) error { return tx.addBins(actor, bins) })
}

func newBins(codes []string) ([]Place, error) {
	if len(codes) == 0 {
		return nil, refuse(ErrBadInput, "codes", "give the code of a bin")
	}
	bins := make([]Place, 0, len(codes))
	for _, c := range codes {
		code, err := printable("codes", c, 20)
		if err != nil {
			return nil, err
		}
		bins = append(bins, Place{Code: code, Kind: Bin})
	}
	return bins, nil
}

func (tx *Tx) addBins(actor PersonID, bins []Place) error {
	var n int64
	if err := tx.Raw("SELECT count(*) FROM places WHERE kind = ?", string(Bin)).Scan(&n).Error; err != nil {
		return err
	}
	for i, b := range bins {
		b.SortKey = fmt.Sprintf("%06d", n+int64(i))
		if _, err := tx.addPlace(b); err != nil {
			return onField("codes", err)
		}
	}
	return tx.note(actor, "bins added", bins[0].Code, fmt.Sprint(len(bins)))
}

// CountParts is how many parts are on record and in use.
func (s *Store) CountParts(ctx context.Context) (n int64, err error) {
	return n, s.read.WithContext(ctx).Raw("SELECT count(*) FROM parts WHERE retired_at IS NULL").Scan(&n).Error
}

// Machines lists the machines by code.
func (s *Store) Machines(ctx context.Context) ([]Machine, error) {
	var out []Machine
	return out, s.read.WithContext(ctx).Order("code").Find(&out).Error
}

// Stations lists the stations of a machine, all with machine 0.
func (s *Store) Stations(ctx context.Context, m MachineID) ([]Station, error) {
	q := s.read.WithContext(ctx)
	if m != 0 {
		q = q.Where("machine_id = ?", m)
	}
	var out []Station
	return out, q.Order("machine_id, number").Find(&out).Error
}

// Suppliers lists the suppliers by code.
func (s *Store) Suppliers(ctx context.Context) ([]Supplier, error) {
	var out []Supplier
	return out, s.read.WithContext(ctx).Order("code").Find(&out).Error
}

// SaveJob adds a job, or with ID changes one; then Version must be the one that was read. A job
// with a plan or promises is not closed by it, but by CloseJob: ErrPromised.
func (s *Store) SaveJob(ctx context.Context, actor PersonID, j Job) (Job, error) {
	var err error
	if j.Code, err = printable("code", j.Code, 40); err != nil {
		return j, err
	}
	for _, d := range []Day{j.FromDay, j.ToDay} {
		if _, err := ParseDay(string(d)); err != nil {
			return j, err
		}
	}
	if j.FromDay > j.ToDay {
		return j, refuse(ErrBadInput, "to_day", "%s ends on %s, before it begins on %s", j.Code, j.ToDay, j.FromDay)
	}
	if j.State == "" {
		j.State = "planned"
	}
	if !json.Valid([]byte(j.Request)) {
		return j, refuse(ErrBadInput, "request", "the stack request of %s is not JSON", j.Code)
	}
	err = s.book(ctx, func(tx *Tx) error {
		if j.StationID != nil {
			if _, err := tx.requestOf(&j); err != nil { // a request that can not be read is refused now, not on the day
				return err
			}
			if err := tx.inUse(*j.StationID, j.State); err != nil {
				return err
			}
		}
		if j.ID == 0 {
			j.Version, j.CreatedAt = 1, tx.now
			if err := tx.Create(&j).Error; err != nil {
				return duplicate(err, "code", "job %s", j.Code)
			}
			tag, err := standard.NewTag(TagJob, int64(j.ID))
			if err != nil {
				return err
			}
			j.Tag = &tag
			if err := tx.exec("UPDATE jobs SET tag = ? WHERE id = ?", tag, j.ID); err != nil {
				return err
			}
			return tx.note(actor, "job added", j.Code, j.Name)
		}
		if j.State == "closed" {
			var left int
			if err := tx.Raw("SELECT (SELECT count(*) FROM reservations WHERE job_id = ? AND ended_at IS NULL) + (SELECT count(*) FROM plans WHERE job_id = ? AND ended_at IS NULL)", j.ID, j.ID).Scan(&left).Error; err != nil {
				return err
			}
			if left > 0 {
				return refuse(ErrPromised, "state", "%s has a plan or promises; close it by its close page, which ends them and says where its things go", j.Code)
			}
		}
		r := tx.Model(&Job{}).Where("id = ? AND version = ?", j.ID, j.Version).Updates(map[string]any{
			"code": j.Code, "name": j.Name, "machine_id": j.MachineID, "station_id": j.StationID, "material": j.Material, "parts_qty": j.PartsQty,
			"parts_done": j.PartsDone, "from_day": j.FromDay, "to_day": j.ToDay, "state": j.State, "dear": j.Dear, "request": j.Request, "note": j.Note, "version": j.Version + 1,
		})
		if r.Error != nil {
			return duplicate(r.Error, "code", "job %s", j.Code)
		}
		if r.RowsAffected != 1 {
			return refuse(ErrConflict, "version", "%s was changed by somebody else meanwhile; read it again", j.Code)
		}
		j.Version++
		return tx.note(actor, "job changed", j.Code, j.State)
	})
	return j, err
}

// Job reads a job by its number.
func (s *Store) Job(ctx context.Context, id JobID) (Job, error) {
	return one[Job](s.read.WithContext(ctx), "job", id, "id = ?", id)
}

// JobByCode reads a job by its code.
func (s *Store) JobByCode(ctx context.Context, code string) (Job, error) {
	return one[Job](s.read.WithContext(ctx), "job", code, "code = ?", code)
}

// Jobs lists jobs of the given states, all with none, by first day and code.
func (s *Store) Jobs(ctx context.Context, states ...string) ([]Job, error) {
	q := s.read.WithContext(ctx)
	if len(states) > 0 {
		q = q.Where("state IN ?", states)
	}
	var out []Job
	return out, q.Order("from_day, code").Limit(1000).Find(&out).Error
}

// EndedJobs lists the jobs that are done or closed, the newest first.
func (s *Store) EndedJobs(ctx context.Context) ([]Job, error) {
	var out []Job
	return out, s.read.WithContext(ctx).Where("state IN ?", []string{"done", "closed"}).Order("to_day DESC, code DESC").Limit(1000).Find(&out).Error
}

// A ReserveIn promises picks to a job for its days, or for the days given.
type ReserveIn struct {
	Job      JobID
	Picks    []Pick
	From, To Day
}

// Reserve promises items to a job. A piece promised to another job on one of the days, or
// more of a lot than is left unpromised, is ErrPromised: the clash is shown when the second
// job is planned, not when it is set up.
func (s *Store) Reserve(ctx context.Context, o Op, in ReserveIn) (Receipt, error) {
	return s.op(ctx, o, ActReserve, in, func(e *entry) error {
		job, err := one[Job](e.DB, "job", in.Job, "id = ?", in.Job)
		if err != nil {
			return err
		}
		if job.State != "planned" && job.State != "running" {
			return refuse(ErrBadInput, "job", "%s is %s; things are promised only to a job to come or under way", job.Code, job.State)
		}
		if in.From == "" {
			in.From, in.To = job.FromDay, job.ToDay
		}
		if in.From > in.To {
			return refuse(ErrBadInput, "to", "the promise ends on %s, before it begins on %s", in.To, in.From)
		}
		if err := e.end(); err != nil { // one planner at a time, on every engine
			return err
		}
		if err := e.each(in.Picks, func(st standing, p Pick) error { return e.promise(st, p, job, in) }); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("Promised %d lines to %s, %s to %s.", len(in.Picks), job.Code, in.From, in.To)
		return nil
	})
}

// canPromise refuses what is promised to other jobs on one of the days, or not in the shop.
func (e *entry) canPromise(st standing, qty int64, job Job, from, to Day) error {
	var clash []struct {
		Code  string
		Qty   int64
		From  Day
		Until Day
	}
	if err := e.Raw(`SELECT j.code, r.qty, r.from_day AS "from", r.to_day AS until FROM reservations r JOIN jobs j ON j.id = r.job_id
		WHERE r.item_id = ? AND r.ended_at IS NULL AND r.from_day <= ? AND r.to_day >= ? AND r.job_id <> ? ORDER BY r.from_day`,
		st.ID, string(to), string(from), job.ID).Scan(&clash).Error; err != nil {
		return err
	}
	var taken, have int64
	for _, c := range clash {
		taken += c.Qty
	}
	if err := e.Raw(`SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN places p ON p.id = s.place_id WHERE s.item_id = ? AND p.outside = ?`, st.ID, false).Scan(&have).Error; err != nil {
		return err
	}
	if have-taken < qty {
		if len(clash) > 0 {
			c := clash[0]
			return refuse(ErrPromised, "item", "%s is promised to %s from %s to %s: on hand %d, promised %d, asked %d", st.called(), c.Code, c.From, c.Until, have, taken, qty)
		}
		return refuse(ErrShort, "item", "%s: %d asked, %d in the shop", st.called(), qty, have)
	}
	return nil
}

func (e *entry) promise(st standing, p Pick, job Job, in ReserveIn) error {
	if err := e.canPromise(st, p.Qty, job, in.From, in.To); err != nil {
		return err
	}
	return e.makePromise(Reservation{JobID: job.ID, ItemID: st.ID, Qty: p.Qty, FromDay: in.From, ToDay: in.To})
}

// Unreserve ends every promise to a job, and the plan that rests on them.
func (s *Store) Unreserve(ctx context.Context, o Op, job JobID) (Receipt, error) {
	return s.op(ctx, o, ActReserve, struct{ Release JobID }{job}, func(e *entry) error {
		n, err := e.unplan(job)
		e.receipt.Says = fmt.Sprintf("Released %d promises.", n)
		return err
	})
}

// endPromises ends every open promise to a job and says how many there were.
func (e *entry) endPromises(job JobID) (int, error) {
	var open []Reservation
	if err := e.Where("job_id = ? AND ended_at IS NULL", job).Order("id").Find(&open).Error; err != nil {
		return 0, err
	}
	for _, r := range open {
		if _, err := e.endPromise(r.ID, r.ItemID); err != nil {
			return 0, err
		}
	}
	return len(open), nil
}

// A Promise is an open reservation as a person reads it.
type Promise struct {
	ID       int64
	Job, Tag string
	Part     string
	Qty      int64
	FromDay  Day
	ToDay    Day
}

// Promises lists the open promises to a job, of all jobs with 0, by job and in their order.
func (s *Store) Promises(ctx context.Context, job JobID) ([]Promise, error) {
	var out []Promise
	return out, s.read.WithContext(ctx).Raw(`SELECT r.id, j.code AS job, i.tag, p.code AS part, r.qty, r.from_day, r.to_day
		FROM reservations r JOIN jobs j ON j.id = r.job_id JOIN items i ON i.id = r.item_id JOIN parts p ON p.id = i.part_id
		WHERE r.ended_at IS NULL AND (r.job_id = ? OR ? = 0) ORDER BY j.code, r.id`, job, job).Scan(&out).Error
}

// Reservations lists the open promises of a job.
func (s *Store) Reservations(ctx context.Context, job JobID) ([]Reservation, error) {
	var out []Reservation
	return out, s.read.WithContext(ctx).Where("job_id = ? AND ended_at IS NULL", job).Order("id").Find(&out).Error
}
