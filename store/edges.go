package store

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"brasspeg/store/ledger"
	"brasspeg/store/life"
)

// Acts that move nothing themselves: an edge that came off, parts counted at a machine, and
// what is planned for a family of edges.
const (
	ActEdge     ledger.Act = "edge"
	ActMade     ledger.Act = "parts made"
	ActLifePlan ledger.Act = "life plan"
)

// lateAfter is how long after the change an entry counts as late: the count is then from
// memory. House rule, no source.
const lateAfter = 30 * time.Minute

// An EdgeRun is one edge from indexing to removal, as it was logged.
type EdgeRun struct {
	ID        int64
	OpID      string
	At        Time
	NotedAt   Time // by the clock of the device, zero when it did not say
	ActorID   PersonID
	MachineID MachineID
	StationID StationID
	JobID     JobID
	FamilyID  int64
	InsertID  int64
	ItemID    ItemID
	PartID    PartID
	Edge      int
	Parts     int
	Minutes   float64
	Reason    life.Reason
	WearVB    float64 // mm
	Speed     float64 // m/min, as run
	Feed      float64 // mm/rev, as run
	Batch     string
	Note      string
	Why       string
	Late      bool
	CountAt   int // parts of the job made by then
	// MadeBefore is what the job's count was before; nil in what older programs logged.
	MadeBefore *int
	UndoneOp   *string
}

// An EdgeInsert is one insert in a station, from its first edge there to its end.
type EdgeInsert struct {
	ID        int64
	ItemID    ItemID
	PartID    PartID
	StationID StationID
	JobID     JobID
	PlaceID   PlaceID // where the books have it
	Edges     int     // of a new one; 0: round, no number agreed
	Used      int     // edges gone, those before it came here included
	Thrown    int     // edges given up unused
	ThrownWhy string
	MountedAt Time
	MountedOp string
	EndedAt   Time
	EndedOp   *string
	EndedHow  string // used up, finished, taken out, gone, undone
}

// An EdgeFamily is what edges are compared within.
type EdgeFamily struct {
	ID            int64
	Operation     string // what is bored: the name of the job
	Material      string // group and number, such as P6
	PartID        PartID // insert and grade
	Band          string // of the cutting speed
	Version       int64  // counts every run that came or went
	PlannedAt     int    // parts; 0: no planned change
	PlannedCost   float64
	UnplannedCost float64
	Risk          float64 // accepted chance that an edge fails before its change; 0: not asked
	CreatedAt     Time
}

// An EdgeIn is an edge that came off. Station, Item and Reason are enough when all is normal
// and the parts are counted.
type EdgeIn struct {
	Station  StationID
	Job      JobID  // 0: the one that runs there
	Item     ItemID // the box, by its tag
	Fresh    bool   // a new insert was put in before this edge, although the last one had edges left
	Edge     int    // its number; 0: the next one of the insert
	Parts    int    // made on this edge, the part it failed on included; 0: from Count, or from the job's count
	Count    int    // the machine's counter: parts of the job made by now; 0: not read
	Reason   life.Reason
	Minutes  float64 // in cut
	WearVB   float64 // mm
	Speed    float64 // m/min
	Feed     float64 // mm/rev
	Batch    string  // of the work material
	Note     string
	Why      string    // answers what ErrAsk asked
	Finished bool      // no further edge of this insert will be used
	Ago      int       // minutes since it came off, by the word of who enters it
	After    string    // op id of the last change known on the station, "none" for none, "" not said
	Noted    time.Time // when it was entered, by the clock of the device
}

// stationRow is a station with what a log asks of it.
type stationRow struct {
	ID        StationID
	MachineID MachineID
	PlaceID   PlaceID
	Number    int
	Machine   string
}

// LogEdge books an edge that came off: the run, the edge account of its insert, and, where the
// insert has no edge left, its way to scrap. ErrAsk: it is unusual and Why is empty.
// ErrExists: somebody logged this change already. ErrRetired: the job is closed, or the insert
// used up. Nothing is half booked.
func (s *Store) LogEdge(ctx context.Context, o Op, in EdgeIn) (Receipt, error) {
	return s.op(ctx, o, ActEdge, in, func(e *entry) error { return e.logEdge(in) })
}

func (e *entry) logEdge(in EdgeIn) error {
	if err := tidyEdge(&in); err != nil {
		return err
	}
	if err := e.end(); err != nil { // one at a time, on every engine: the station's last change is read below
		return err
	}
	st, err := e.station(in.Station)
	if err != nil {
		return err
	}
	last, err := e.lastRun(in.Station)
	if err != nil {
		return err
	}
	if err := e.sameChange(in, last); err != nil {
		return err
	}
	job, err := e.jobAt(st, in)
	if err != nil {
		return err
	}
	box, part, err := e.box(in.Item)
	if err != nil {
		return err
	}
	if err := e.otherInsert(in, job, part, last); err != nil {
		return err
	}
	run := EdgeRun{OpID: e.op.ID, At: e.now, ActorID: e.op.Actor, MachineID: st.MachineID, StationID: st.ID, JobID: job.ID, ItemID: box.ID, PartID: part.ID,
		Reason: in.Reason, Minutes: in.Minutes, WearVB: in.WearVB, Speed: in.Speed, Feed: in.Feed, Batch: in.Batch, Note: in.Note, Why: in.Why,
		Late: time.Duration(in.Ago)*time.Minute > lateAfter, MadeBefore: &job.PartsDone}
	if !in.Noted.IsZero() {
		run.NotedAt = At(in.Noted)
	}
	if run.Parts, run.CountAt, err = e.partsMade(in, job); err != nil {
		return err
	}
	up, err := e.mounted(in, st, job, box, part)
	if err != nil {
		return err
	}
	if run.Edge, err = edgeOf(in, up, box); err != nil {
		return err
	}
	if err := (life.Run{Parts: run.Parts, Minutes: run.Minutes, Reason: run.Reason, WearVB: run.WearVB, Speed: run.Speed, Feed: run.Feed, Edge: run.Edge}).Check(up.Edges); err != nil {
		return &Refusal{Class: fmt.Errorf("%w: %w", ErrBadInput, err), Field: "parts", Says: err.Error()}
	}
	fam, err := e.family(job, part, in.Speed)
	if err != nil {
		return err
	}
	run.FamilyID = fam.ID
	if err := e.usualLife(in, run, fam); err != nil {
		return err
	}
	return e.bookRun(in, st, job, box, part, up, run)
}

// tidyEdge refuses what no change can be, before anything is read.
func tidyEdge(in *EdgeIn) error {
	reason, err := life.ParseReason(string(in.Reason))
	if err != nil {
		return &Refusal{Class: fmt.Errorf("%w: %w", ErrBadInput, err), Field: "reason", Says: err.Error()}
	}
	in.Reason = reason
	switch {
	case in.Parts < 0:
		return refuse(ErrBadInput, "parts", "%d parts: parts are counted upwards; was the counter set back?", in.Parts)
	case in.Count < 0:
		return refuse(ErrBadInput, "count", "a count of %d: give the parts made so far, 0 or more", in.Count)
	case in.Parts > 10_000_000 || in.Count > 10_000_000:
		return refuse(ErrBadInput, "parts", "more parts than a job can have; check the counter")
	case in.Edge < 0:
		return refuse(ErrBadInput, "edge", "edge number %d: edges are numbered from 1", in.Edge)
	case in.Ago < 0 || in.Ago > 60*24*31:
		return refuse(ErrBadInput, "ago", "a change can be entered up to a month later, and not before it happened")
	case in.Item == 0:
		return refuse(ErrBadInput, "box", "scan the box the insert came from")
	}
	for _, f := range []struct {
		name string
		v    float64
		most float64
	}{{"minutes", in.Minutes, 1e6}, {"wear_vb", in.WearVB, 20}, {"speed", in.Speed, 1e4}, {"feed", in.Feed, 50}} {
		if f.v < 0 || f.v > f.most || math.IsNaN(f.v) {
			return refuse(ErrBadInput, f.name, "%s of %g: give a number from 0 to %g", f.name, f.v, f.most)
		}
	}
	for _, f := range []struct {
		name string
		v    *string
		most int
	}{{"batch", &in.Batch, 60}, {"note", &in.Note, 300}, {"why", &in.Why, 300}} {
		if *f.v = strings.TrimSpace(*f.v); *f.v != "" {
			if _, err := printable(f.name, *f.v, f.most); err != nil {
				return err
			}
		}
	}
	return nil
}

func (tx *Tx) station(id StationID) (stationRow, error) {
	var st stationRow
	ok, err := tx.find(sqlStation, []any{int64(id)}, &st.ID, &st.MachineID, &st.PlaceID, &st.Number, &st.Machine)
	if err == nil && !ok {
		err = refuse(ErrNotFound, "station", "station %d is not known here", id)
	}
	return st, err
}

// A lastRun is the last change on a station.
type lastRun struct {
	ID     int64
	OpID   string
	At     Time
	Actor  PersonID
	Job    JobID
	Part   PartID
	Edge   int
	Parts  int
	Reason life.Reason
}

func (tx *Tx) lastRun(st StationID) (lastRun, error) {
	var l lastRun
	var reason string
	_, err := tx.find(sqlLastRun, []any{int64(st)}, &l.ID, &l.OpID, &l.At, &l.Actor, &l.Job, &l.Part, &l.Edge, &l.Parts, &reason)
	l.Reason = life.Reason(reason)
	return l, err
}

// sameChange tells the second of two who log one change. The page says which change it knew as
// the last; a program that does not say is held back for two minutes when it logs the like.
func (e *entry) sameChange(in EdgeIn, last lastRun) error {
	known := in.After
	if known == "none" {
		known = ""
	}
	switch {
	case last.ID == 0:
		return nil
	case in.After != "" && known == last.OpID:
		return nil
	case in.After == "" && (last.Actor == e.op.Actor || e.now.Sub(last.At.Time) > 2*time.Minute || in.Parts != 0 && in.Parts != last.Parts):
		return nil
	}
	return refuse(ErrExists, "station", "a change on this station was logged %s already: edge %d, %d parts, %s. If another edge came off since, log it after that one",
		momentOf(last.At, DayOf(e.now.Time)), last.Edge, last.Parts, last.Reason)
}

// jobAt is the job an edge was run on.
func (e *entry) jobAt(st stationRow, in EdgeIn) (Job, error) {
	var job Job
	var err error
	if in.Job != 0 {
		if job, err = e.jobRow(in.Job); err != nil {
			return job, err
		}
	} else {
		var found []int64
		if err := e.Raw("SELECT id FROM jobs WHERE station_id = ? AND state = 'running' ORDER BY from_day, id LIMIT 2", st.ID).Scan(&found).Error; err != nil {
			return job, err
		}
		switch len(found) {
		case 0:
			return job, refuse(ErrBadInput, "job", "no job runs on %s station %d; scan the job card, or start the job", st.Machine, st.Number)
		case 2:
			return job, refuse(ErrBadInput, "job", "more than one job runs on %s station %d; scan the job card", st.Machine, st.Number)
		}
		if job, err = e.jobRow(JobID(found[0])); err != nil {
			return job, err
		}
	}
	if job.State == "closed" || job.State == "done" {
		return job, refuse(ErrRetired, "job", "%s is %s; an edge is logged on a job that runs. Open the job again, or scan the card of the one that runs", job.Code, job.State)
	}
	if in.Why == "" && job.MachineID != nil && *job.MachineID != st.MachineID {
		return job, refuse(ErrAsk, "why", "%s is planned on another machine than %s: is it run here? Say why", job.Code, st.Machine)
	}
	return job, nil
}

func (tx *Tx) jobRow(id JobID) (Job, error) {
	var j Job
	ok, err := tx.find(sqlJob, []any{int64(id)}, &j.ID, &j.Code, &j.Name, &j.MachineID, &j.Material, &j.PartsQty, &j.PartsDone, &j.State, &j.Dear, &j.Request)
	if err == nil && !ok {
		err = refuse(ErrNotFound, "job", "job %d is not known here", id)
	}
	return j, err
}

// box reads the lot that was scanned, which must be of inserts with an edge left.
func (e *entry) box(id ItemID) (standing, Part, error) {
	var part Part
	st, err := e.standing(id)
	if err != nil {
		return st, part, err
	}
	if _, err := e.find(sqlInsert, []any{int64(st.PartID)}, &part.ID, &part.Code, &part.Kind, &part.Grade, &part.Edges); err != nil {
		return st, part, err
	}
	switch {
	case part.Kind != "insert":
		return st, part, refuse(ErrBadInput, "box", "%s is no insert but a %s; scan the box the insert came from", st.called(), part.Kind)
	case st.Held != "":
		return st, part, refuse(ErrHeld, "box", "%s is held back: %s", st.called(), st.Held)
	case !st.RetiredAt.IsZero():
		return st, part, refuse(ErrRetired, "box", "%s was taken out of use on %s", st.called(), DayOf(st.RetiredAt.Time))
	case st.EdgesLeft != nil && *st.EdgesLeft == 0:
		return st, part, refuse(ErrRetired, "box", "%s are used up: no edge is left on them; an edge is used once", st.called())
	}
	return st, part, nil
}

// otherInsert asks why where the box is of another insert than the job's card wants, or than
// the job had so far.
func (e *entry) otherInsert(in EdgeIn, job Job, part Part, last lastRun) error {
	if in.Why != "" || last.Job == job.ID && last.Part == part.ID {
		return nil
	}
	var req struct {
		Insert struct {
			Seat  string
			RE    *float64
			Grade string
		}
	}
	_ = json.Unmarshal([]byte(job.Request), &req) // a request that can not be read wants nothing
	wants := []string{}
	var facts []struct{ Symbol, Value string }
	if err := e.Raw("SELECT symbol, value FROM part_facts WHERE part_id = ? AND symbol IN ('seat','RE')", part.ID).Scan(&facts).Error; err != nil {
		return err
	}
	for _, f := range facts {
		var seat string
		var re float64
		switch {
		case f.Symbol == "seat" && json.Unmarshal([]byte(f.Value), &seat) == nil && req.Insert.Seat != "" && !strings.EqualFold(seat, req.Insert.Seat):
			wants = append(wants, fmt.Sprintf("seat %s, this is %s", req.Insert.Seat, seat))
		case f.Symbol == "RE" && json.Unmarshal([]byte(f.Value), &re) == nil && req.Insert.RE != nil && math.Abs(re-*req.Insert.RE) > 0.005:
			wants = append(wants, fmt.Sprintf("nose radius %g mm, this has %g", *req.Insert.RE, re))
		}
	}
	if g := req.Insert.Grade; g != "" && part.Grade != "" && !strings.EqualFold(g, part.Grade) {
		wants = append(wants, fmt.Sprintf("grade %s, this is %s", g, part.Grade))
	}
	if len(wants) > 0 {
		return refuse(ErrAsk, "why", "another insert than the card of %s wants: %s. If it was used all the same, say why", job.Code, strings.Join(wants, "; "))
	}
	var had []struct{ Code, Grade string }
	if err := e.Raw(`SELECT DISTINCT p.code, p.grade FROM parts p WHERE p.id <> ? AND p.id IN (
		SELECT part_id FROM edge_runs WHERE job_id = ? AND undone_op IS NULL
		UNION SELECT i.part_id FROM movements m JOIN items i ON i.id = m.item_id JOIN parts q ON q.id = i.part_id WHERE m.job_id = ? AND m.act = 'issue' AND q.kind = 'insert')
		AND NOT EXISTS (SELECT 1 FROM edge_runs r WHERE r.job_id = ? AND r.part_id = ? AND r.undone_op IS NULL)
		AND NOT EXISTS (SELECT 1 FROM movements m JOIN items i ON i.id = m.item_id WHERE m.job_id = ? AND m.act = 'issue' AND i.part_id = ?)
		ORDER BY p.code LIMIT 3`, part.ID, job.ID, job.ID, job.ID, part.ID, job.ID, part.ID).Scan(&had).Error; err != nil {
		return err
	}
	if len(had) > 0 {
		return refuse(ErrAsk, "why", "%s was given %s, and %s was scanned. If it was used all the same, say why", job.Code, had[0].Code, part.Code)
	}
	return nil
}

// partsMade is the parts of this edge and the job's count after it.
func (e *entry) partsMade(in EdgeIn, job Job) (parts, count int, err error) {
	var before int
	if _, err := e.find(sqlCountAt, []any{int64(job.ID), int64(in.Station)}, &before); err != nil {
		return 0, 0, err
	}
	switch {
	case in.Count > 0 && in.Count < before:
		return 0, 0, refuse(ErrBadInput, "count", "the counter stands at %d and stood at %d when the last edge came off: parts are counted upwards. Read it again, or give the parts of this edge", in.Count, before)
	case in.Parts > 0:
		return in.Parts, max(before+in.Parts, in.Count), nil
	case in.Count > 0:
		return in.Count - before, in.Count, nil
	case job.PartsDone > before:
		return job.PartsDone - before, job.PartsDone, nil
	}
	return 0, before, refuse(ErrBadInput, "parts", "how many parts did this edge make? The job's count says none since the last change. An edge that failed on its first part made 1; one that never cut is not a run")
}

// mounted is the insert whose edge came off: the one that is up, or a new one from the box.
func (e *entry) mounted(in EdgeIn, st stationRow, job Job, box standing, part Part) (EdgeInsert, error) {
	var up EdgeInsert
	ok, err := e.find(sqlUp, []any{int64(st.ID)}, &up.ID, &up.ItemID, &up.PartID, &up.JobID, &up.PlaceID, &up.Edges, &up.Used)
	if err != nil {
		return up, err
	}
	up.StationID = st.ID
	if ok {
		there, err := e.onHand(up.ItemID, up.PlaceID)
		if err != nil {
			return up, err
		}
		how := ""
		switch {
		case there == 0: // it was brought back, or thrown away, and nobody logged a change since
			how = "gone"
		case up.ItemID != box.ID || in.Fresh:
			how = "taken out"
		}
		if how == "" {
			return up, nil
		}
		if err := e.exec("UPDATE edge_inserts SET ended_at = ?, ended_op = ?, ended_how = ? WHERE id = ?", e.now, e.op.ID, how, up.ID); err != nil {
			return up, err
		}
	}
	if in.Edge > 1 { // an insert that was taken out with edges left may be put in again
		var back EdgeInsert
		r := e.Where("item_id = ? AND job_id = ? AND ended_how = 'taken out' AND used = ?", box.ID, job.ID, in.Edge-1).Order("id DESC").Limit(1).Find(&back)
		if r.Error != nil {
			return up, r.Error
		}
		there := int64(0)
		if r.RowsAffected > 0 {
			if there, err = e.onHand(back.ItemID, back.PlaceID); err != nil {
				return up, err
			}
		}
		if there > 0 {
			back.StationID, back.EndedAt, back.EndedOp, back.EndedHow = st.ID, Time{}, nil, ""
			return back, e.exec("UPDATE edge_inserts SET station_id = ?, ended_at = NULL, ended_op = NULL, ended_how = '' WHERE id = ?", st.ID, back.ID)
		}
	}
	up = EdgeInsert{ItemID: box.ID, PartID: part.ID, StationID: st.ID, JobID: job.ID, Edges: part.Edges, MountedAt: e.now, MountedOp: e.op.ID}
	if box.EdgesLeft != nil {
		up.Used = part.Edges - *box.EdgesLeft
	}
	up.PlaceID, err = e.takenFrom(st, job, box)
	return up, err
}

// takenFrom finds the insert on the books: in the station, in the hands of who logs it or of
// whoever holds it for the job, or on a shelf. From a shelf it is issued to the station now, so
// that what is on hand is true.
func (e *entry) takenFrom(st stationRow, job Job, box standing) (PlaceID, error) {
	var at []struct {
		PlaceID PlaceID
		Qty     int64
		Kind    PlaceKind
		ForJob  int64
		Mine    int64
		Up      int64 // inserts of it in machines
		Aside   int64 // taken out with edges used; some may have been brought back since
	}
	if err := e.Raw(`SELECT s.place_id, s.qty, p.kind,
		(SELECT count(*) FROM holdings h WHERE h.item_id = s.item_id AND h.place_id = s.place_id AND h.qty > 0 AND h.job_id = ?) AS for_job,
		(SELECT count(*) FROM people w WHERE w.place_id = s.place_id AND w.id = ?) AS mine,
		(SELECT count(*) FROM edge_inserts u WHERE u.item_id = s.item_id AND u.place_id = s.place_id AND u.ended_at IS NULL) AS up,
		(SELECT count(*) FROM edge_inserts u WHERE u.item_id = s.item_id AND u.place_id = s.place_id AND u.job_id = ? AND u.ended_how = 'taken out') AS aside
		FROM stock s JOIN places p ON p.id = s.place_id
		WHERE s.item_id = ? AND s.qty > 0 AND p.kind IN ('bin','station','person','kit') ORDER BY p.sort_key, p.code, p.id`, job.ID, e.op.Actor, job.ID, box.ID).Scan(&at).Error; err != nil {
		return 0, err
	}
	best, rank := -1, 0
	for i, h := range at {
		r := 2 // in somebody's hands
		switch {
		case h.Qty <= h.Up && h.Kind.Holds(): // all of them stand in machines already
			continue
		case h.Qty <= h.Up+h.Aside && h.Kind.Holds(): // or lie aside, begun: only if there is no other
			r = 1
		case h.PlaceID == st.PlaceID:
			r = 7
		case h.Kind.Holds() && h.ForJob > 0 && h.Mine > 0:
			r = 6
		case h.Kind.Holds() && h.ForJob > 0:
			r = 5
		case h.Mine > 0:
			r = 4
		case h.Kind == Bin:
			r = 3
		}
		if r > rank {
			best, rank = i, r
		}
	}
	if best < 0 {
		return 0, refuse(ErrShort, "box", "by the books none of %s is left, here or on a shelf; bring the box to the window to be counted", box.called())
	}
	h := at[best]
	if h.Kind != Bin {
		return h.PlaceID, nil
	}
	return st.PlaceID, e.line(box, ledger.Movement{Act: ledger.Issue, From: int64(h.PlaceID), To: int64(st.PlaceID), Qty: 1, Job: int64(job.ID), Reason: "put into the machine"})
}

// edgeOf is the number of the edge that came off.
func edgeOf(in EdgeIn, up EdgeInsert, box standing) (int, error) {
	next := up.Used + 1
	switch {
	case up.Edges > 0 && in.Edge > up.Edges:
		return 0, refuse(ErrBadInput, "edge", "edge number %d: %s has %d edges", in.Edge, box.PartCode, up.Edges)
	case up.Edges > 0 && next > up.Edges:
		return 0, refuse(ErrRetired, "edge", "all %d edges of this insert are used; take another", up.Edges)
	case in.Edge == 0 || in.Edge == next:
		return next, nil
	case in.Edge < next:
		return 0, refuse(ErrExists, "edge", "edge %d of this insert is logged already; an edge is used once. If a new insert was put in, say so", in.Edge)
	}
	return 0, refuse(ErrBadInput, "edge", "edge %d, and the books have edge %d up: log edge %d first, or say that a new insert was put in", in.Edge, next, next)
}

// family finds the family of a run, or begins it.
func (e *entry) family(job Job, part Part, speed float64) (EdgeFamily, error) {
	f := EdgeFamily{Operation: job.Name, Material: job.Material, PartID: part.ID, Band: bandOf(job, speed), CreatedAt: e.now}
	if f.Operation == "" {
		f.Operation = job.Code
	}
	ok, err := e.find(sqlFamily, []any{f.Operation, f.Material, int64(f.PartID), f.Band}, &f.ID, &f.Version)
	if err != nil || ok {
		return f, err
	}
	return f, e.Create(&f).Error
}

// bandWidth is how far speeds may differ within a family, in m/min. House rule, no source: a
// tenth of the usual speed, within which life changes less than it scatters.
const bandWidth = 20

// bandOf names the band of the speed as run, or as the job plans it.
func bandOf(job Job, speed float64) string {
	if speed <= 0 {
		var req struct {
			Cutting struct {
				VC float64 `json:"vc"`
			} `json:"cutting"`
		}
		_ = json.Unmarshal([]byte(job.Request), &req)
		speed = req.Cutting.VC
	}
	if speed <= 0 {
		return "speed not recorded"
	}
	low := math.Floor(speed/bandWidth) * bandWidth
	return fmt.Sprintf("%.0f to %.0f m/min", low, low+bandWidth)
}

// usualFrom is the number of lives from which a family has a usual life to ask about. House
// rule, no source: of five the next honest one is often outside.
const usualFrom = 10

// usualLife asks why where a life is far from the usual of its family. What broke or chattered
// has said why, and so has the end of the job; a life far too long is asked about always.
func (e *entry) usualLife(in EdgeIn, run EdgeRun, fam EdgeFamily) error {
	if in.Why != "" || run.Late || fam.Version < usualFrom {
		return nil
	}
	var runs []life.Run
	err := e.list(sqlRecent, []any{int64(fam.ID)}, func(scan func(...any) error) error {
		r := life.Run{Reason: life.Worn}
		err := scan(&r.Parts)
		runs = append(runs, r)
		return err
	})
	if err != nil {
		return err
	}
	u, ok := (&life.Family{}).Usual(runs)
	if !ok {
		return nil
	}
	early := float64(run.Parts) < u.Low
	if c := run.Reason.Cause(); early && (c == life.Sudden || c == life.FromSetup || run.Reason == life.EndOfJob) {
		return nil
	}
	if q := u.Question(float64(run.Parts), life.InParts); q != "" {
		return refuse(ErrAsk, "why", "%s", q)
	}
	return nil
}

// bookRun writes the run and what it does to its insert.
func (e *entry) bookRun(in EdgeIn, st stationRow, job Job, box standing, part Part, up EdgeInsert, run EdgeRun) error {
	up.Used = run.Edge
	left := max(up.Edges-up.Used, 0)
	usedUp := up.Edges > 0 && left == 0
	if in.Finished && !usedUp {
		up.Thrown, up.ThrownWhy = left, strings.Join(nonEmpty(string(run.Reason), in.Note, in.Why), ": ")
	}
	if usedUp || in.Finished {
		up.EndedAt, up.EndedOp, up.EndedHow = e.now, &e.op.ID, "used up"
		if !usedUp {
			up.EndedHow = "finished"
		}
	}
	if up.ID == 0 {
		if err := e.Create(&up).Error; err != nil {
			return err
		}
	} else if _, err := e.run(sqlUseEdge, up.Used, up.Thrown, up.ThrownWhy, up.EndedAt, up.EndedOp, up.EndedHow, up.ID); err != nil {
		return err
	}
	run.InsertID = up.ID
	if _, err := e.run(sqlAddRun, run.OpID, run.At, run.NotedAt, int64(run.ActorID), int64(run.MachineID), int64(run.StationID), int64(run.JobID), run.FamilyID, run.InsertID,
		int64(run.ItemID), int64(run.PartID), run.Edge, run.Parts, run.Minutes, string(run.Reason), run.WearVB, run.Speed, run.Feed, run.Batch, run.Note, run.Why, run.Late, run.CountAt, *run.MadeBefore); err != nil {
		return err
	}
	if _, err := e.run(sqlFamilyGrew, run.FamilyID); err != nil {
		return err
	}
	if _, err := e.run(sqlMade, run.CountAt, int64(job.ID), run.CountAt); err != nil {
		return err
	}
	if !up.EndedAt.IsZero() {
		m := ledger.Movement{From: int64(up.PlaceID), Qty: 1, Job: int64(job.ID), Reason: string(run.Reason)}
		if box.ID != up.ItemID { // can not be: another box begins another insert
			return fmt.Errorf("%w: insert %d is of lot %d, not of %d", ErrDamaged, up.ID, up.ItemID, box.ID)
		}
		if _, err := e.useUp(box, m, 0, 0); err != nil {
			return err
		}
	}
	e.receipt.Says = runSays(st, job, part, up, run)
	return nil
}

func nonEmpty(words ...string) []string {
	var out []string
	for _, w := range words {
		if w != "" {
			out = append(out, w)
		}
	}
	return out
}

func runSays(st stationRow, job Job, part Part, up EdgeInsert, run EdgeRun) string {
	says := fmt.Sprintf("Logged edge %d of %s on %s station %d, %s: %d parts, %s.", run.Edge, part.Code, st.Machine, st.Number, job.Code, run.Parts, run.Reason)
	switch {
	case up.EndedHow == "used up":
		says += " That was its last edge: the insert goes to the scrap tub."
	case up.EndedHow == "finished" && up.Thrown == 1:
		says += " 1 edge was given up unused; the insert goes to the scrap tub."
	case up.EndedHow == "finished" && up.Thrown > 0:
		says += fmt.Sprintf(" %d edges were given up unused; the insert goes to the scrap tub.", up.Thrown)
	case up.EndedHow == "finished":
		says += " The insert goes to the scrap tub."
	case up.Edges > 0:
		says += fmt.Sprintf(" Edge %d is up; %d left after it.", up.Used+1, up.Edges-up.Used-1)
		switch run.Reason {
		case life.EndOfJob:
			says += " If the insert comes out now, bring it to the window: what is left of it is kept apart from new ones."
		case life.Broken:
			says += " If its other edges are gone too, undo this and tick that no other edge of the insert will be used."
		}
	}
	if run.Late {
		says += " Marked as late: it is kept and not counted in the statistics."
	}
	return says
}
