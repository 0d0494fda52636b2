package store

import (
	"context"
	"fmt"
	"slices"

	"brasspeg/store/life"
)

// A MachineView is a machine as it stands: its jobs, edges and last changes.
type MachineView struct {
	Machine  Machine
	Seats    []Seat // stations with a job, an insert or pieces, by number
	Latest   []RunLine
	Handover []string // five lines for the next shift
}

// A Seat is one station of a machine now.
type Seat struct {
	Station   Station
	PlaceCode string // of the station, such as L2/5
	Job       Job    // ID 0: none runs here
	Others    []Job  // further running jobs here
	Box       string // tag of the lot the insert came from
	Insert    string // its part
	EdgeUp    int    // number of the edge in use; 0: a new insert is next
	EdgesLeft int    // after the one in use
	Edges     int    // of a new insert; 0: no number agreed
	Since     int    // parts since the last change, by the job's count
	LastOp    string // op id of the last change, "none"
	LastAt    Time
	Family    EdgeFamily // of the last change; ID 0: none
	PlannedAt int
	PlannedBy string // planned, advised by cost, …
	UsualLow  float64
	UsualHigh float64
	Stack     []StackItem // what stands in the station, or is out for its job
}

// A StackItem is a piece in a station, or out for its job. It names no person.
type StackItem struct {
	Tag, Part, Kind string
	Mounted         bool // in the station by the books; else in somebody's hands
}

// LastChange is the op id of the last change on a station, "none" without any: what a log
// names as the change before it.
func (s *Store) LastChange(ctx context.Context, st StationID) (string, error) {
	var id string
	err := s.read.WithContext(ctx).Raw("SELECT op_id FROM edge_runs WHERE station_id = ? AND undone_op IS NULL ORDER BY id DESC LIMIT 1", st).Scan(&id).Error
	if id == "" {
		id = "none"
	}
	return id, err
}

// MachineByCode reads a machine.
func (s *Store) MachineByCode(ctx context.Context, code string) (Machine, error) {
	return one[Machine](s.read.WithContext(ctx), "machine", code, "code = ?", code)
}

// MachineView reads a machine with all that stands on it, in a fixed number of queries a
// station with a job.
func (s *Store) MachineView(ctx context.Context, code string) (MachineView, error) {
	m, err := s.MachineByCode(ctx, code)
	if err != nil {
		return MachineView{}, err
	}
	v := MachineView{Machine: m}
	stations, err := s.Stations(ctx, m.ID)
	if err != nil {
		return v, err
	}
	stations = slices.DeleteFunc(stations, func(st Station) bool { return !st.RetiredAt.IsZero() })
	db := s.read.WithContext(ctx)
	var jobs []Job
	if err := db.Where("machine_id = ? AND state = ?", m.ID, "running").Order("from_day, id").Limit(100).Find(&jobs).Error; err != nil {
		return v, err
	}
	var ups []struct {
		EdgeInsert
		Tag   string
		Part  string
		There int64
	}
	if err := db.Raw(`SELECT u.*, i.tag, p.code AS part, coalesce(s.qty, 0) AS there FROM edge_inserts u JOIN items i ON i.id = u.item_id JOIN parts p ON p.id = u.part_id
		JOIN stations st ON st.id = u.station_id LEFT JOIN stock s ON s.item_id = u.item_id AND s.place_id = u.place_id
		WHERE st.machine_id = ? AND u.ended_at IS NULL ORDER BY u.station_id`, m.ID).Scan(&ups).Error; err != nil {
		return v, err
	}
	var lasts []struct {
		EdgeRun
		Tag   string
		Code  string
		Edges int
	}
	if err := db.Raw(`SELECT r.*, i.tag, p.code, p.edges FROM edge_runs r JOIN items i ON i.id = r.item_id JOIN parts p ON p.id = r.part_id
		WHERE r.id IN (SELECT max(id) FROM edge_runs WHERE machine_id = ? AND undone_op IS NULL GROUP BY station_id) ORDER BY r.station_id`, m.ID).Scan(&lasts).Error; err != nil {
		return v, err
	}
	var stacks []struct {
		StationID StationID
		StackItem
	}
	if err := db.Raw(`SELECT st.id AS station_id, i.tag, p.code AS part, p.kind, 1 AS mounted FROM stock s JOIN items i ON i.id = s.item_id JOIN parts p ON p.id = i.part_id
		JOIN stations st ON st.place_id = s.place_id WHERE st.machine_id = ? AND s.qty > 0 AND p.kind <> 'insert'
		UNION SELECT j.station_id, i.tag, p.code, p.kind, 0 FROM holdings h JOIN jobs j ON j.id = h.job_id JOIN items i ON i.id = h.item_id JOIN parts p ON p.id = i.part_id
		JOIN places pl ON pl.id = h.place_id WHERE h.qty > 0 AND pl.kind <> 'station' AND j.machine_id = ? AND j.state = 'running' AND j.station_id IS NOT NULL AND p.kind <> 'insert'
		ORDER BY 1, 4, 2`, m.ID, m.ID).Scan(&stacks).Error; err != nil {
		return v, err
	}
	for _, st := range stations {
		seat := Seat{Station: st, PlaceCode: fmt.Sprintf("%s/%d", m.Code, st.Number), LastOp: "none"}
		for _, j := range jobs {
			switch {
			case j.StationID == nil || *j.StationID != st.ID:
			case seat.Job.ID == 0:
				seat.Job = j
			default:
				seat.Others = append(seat.Others, j)
			}
		}
		for _, x := range stacks {
			if x.StationID == st.ID {
				seat.Stack = append(seat.Stack, x.StackItem)
			}
		}
		counted := 0
		for _, l := range lasts {
			if l.StationID != st.ID {
				continue
			}
			seat.LastOp, seat.LastAt = l.OpID, l.At
			if l.JobID == seat.Job.ID {
				seat.Box, seat.Insert, seat.Edges, seat.EdgeUp = l.Tag, l.Code, l.Edges, 1
				seat.Family.ID, counted = l.FamilyID, l.CountAt
			}
		}
		for _, u := range ups {
			if u.StationID == st.ID && u.There > 0 {
				seat.Box, seat.Insert, seat.EdgeUp, seat.Edges = u.Tag, u.Part, u.Used+1, u.Edges
			}
		}
		seat.EdgesLeft = max(seat.Edges-seat.EdgeUp, 0)
		seat.Since = max(seat.Job.PartsDone-counted, 0)
		if seat.Job.ID == 0 && len(seat.Stack) == 0 && seat.LastOp == "none" {
			continue
		}
		if err := s.plannedOn(ctx, &seat); err != nil {
			return v, err
		}
		v.Seats = append(v.Seats, seat)
	}
	if v.Latest, err = s.EdgeRuns(ctx, RunFilter{Machine: m.ID, Limit: 8}); err != nil {
		return v, err
	}
	v.Handover, err = s.handover(ctx, v)
	return v, err
}

// plannedOn fills the change interval of a seat from its family.
func (s *Store) plannedOn(ctx context.Context, seat *Seat) error {
	if seat.Family.ID == 0 {
		return nil
	}
	fam, err := one[EdgeFamily](s.read.WithContext(ctx), "family", seat.Family.ID, "id = ?", seat.Family.ID)
	if err != nil {
		return err
	}
	seat.Family = fam
	fit, err := s.fitOf(ctx, fam, life.Costs{Planned: fam.PlannedCost, Unplanned: fam.UnplannedCost}, fam.Risk, false)
	if err != nil {
		return err
	}
	seat.PlannedAt, seat.PlannedBy = changeAt(fam, fit, seat.Job.Dear)
	if len(fit.Law) > 0 {
		seat.UsualLow, seat.UsualHigh = fit.Law.Quantile(0.1), fit.Law.Quantile(0.9)
	}
	return nil
}

// Moment is a time as a shift says it: of today by the clock, of another day with the day.
func (s *Store) Moment(t Time) string { return momentOf(t, s.Today()) }

func momentOf(t Time, today Day) string {
	if DayOf(t.Time) == today {
		return "at " + t.Local().Format("15:04")
	}
	return "on " + t.Local().Format("Mon 2 Jan") + " at " + t.Local().Format("15:04")
}

// handover is what the next shift must know, in five lines that fit a phone: last changes, low
// edges, missing, held back, notes.
func (s *Store) handover(ctx context.Context, v MachineView) ([]string, error) {
	db := s.read.WithContext(ctx)
	lines := []string{"Last change: none logged.", "Low edges: none.", "Overdue: nothing.", "Held back: nothing.", "Notes: none."}
	for _, r := range v.Latest {
		if !r.Undone {
			lines[0] = fmt.Sprintf("Last change: station %d, %s, %s edge %d, %d parts, %s.", r.Station, s.Moment(r.At), r.Part, r.Edge, r.Parts, r.Reason)
			break
		}
	}
	low := ""
	for _, seat := range v.Seats {
		if seat.Job.ID == 0 {
			continue
		}
		n, err := s.JobEdges(ctx, seat.Job.ID, 0.95)
		if err != nil {
			return nil, err
		}
		if n.Need != nil && n.OutOn != "" {
			low += fmt.Sprintf(" %s runs out of %s on %s.", n.Job.Code, n.Part.Code, n.OutOn)
		}
	}
	if low != "" {
		lines[1] = "Low edges:" + low
	}
	var late []struct{ Tag, Part, Due string }
	if err := db.Raw(`SELECT i.tag, p.code AS part, h.due_day AS due FROM holdings h JOIN items i ON i.id = h.item_id JOIN parts p ON p.id = i.part_id JOIN jobs j ON j.id = h.job_id
		WHERE h.qty > 0 AND j.machine_id = ? AND h.due_day <> '' AND h.due_day < ? ORDER BY h.due_day, h.seq LIMIT 50`, v.Machine.ID, string(s.Today())).Scan(&late).Error; err != nil {
		return nil, err
	}
	if len(late) > 0 {
		lines[2] = fmt.Sprintf("Overdue: %s %s since %s", late[0].Part, late[0].Tag, late[0].Due)
		if len(late) > 1 {
			lines[2] += fmt.Sprintf(", and %d more", len(late)-1)
		}
		lines[2] += "."
	}
	var held struct {
		N    int
		Part string
		Held string
	}
	if err := db.Raw(`SELECT count(*) OVER () AS n, p.code AS part, i.held FROM items i JOIN parts p ON p.id = i.part_id WHERE i.held <> '' AND i.retired_at IS NULL ORDER BY i.id DESC LIMIT 1`).Scan(&held).Error; err != nil {
		return nil, err
	}
	if held.N > 0 {
		lines[3] = fmt.Sprintf("Held back: %d in the shop, the last %s (%s).", held.N, held.Part, held.Held)
	}
	for _, r := range v.Latest {
		if text := nonEmpty(r.Note, r.Why); len(text) > 0 && !r.Undone {
			lines[4] = fmt.Sprintf("Note, %s, station %d: %s", s.Moment(r.At), r.Station, text[0])
			break
		}
	}
	return lines, nil
}

// StationAt is the station that a place is.
func (s *Store) StationAt(ctx context.Context, place PlaceID) (Station, error) {
	return one[Station](s.read.WithContext(ctx), "station", place, "place_id = ?", place)
}
