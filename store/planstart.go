package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/ledger"
	"brasspeg/store/stack"
)

// ActStart issues a job's kit and sets the job running. ActOverride is taking what is promised
// to another job, with a reason.
const (
	ActStart    ledger.Act = "start"
	ActOverride ledger.Act = "override"
)

// A StartIn issues the kit of a job.
type StartIn struct {
	Job      JobID
	To       PlaceID  // a person's hands, a station or a kit; 0: the job's own station
	Pieces   []string // the tags that were seen; of a job without a chosen stack they choose it
	Partly   bool     // what is there is issued although something is not
	Override string   // why what is promised to other jobs is taken all the same
	Note     string
}

// A Picking is a job's kit with the drawers it is fetched from, in the order of the walk.
type Picking struct {
	JobKit
	Stops []Stop
	Stay  []KitLine // in the turret of the job's station, or with the job, as a whole or in part
	Gaps  []KitLine
	To    Place // the job's own station; ID 0: it has none
}

// A Stop is what one place gives to a kit.
type Stop struct {
	KitTake
	Line int // of the kit
}

// Left is how many things are still to be fetched or taken over.
func (p *Picking) Left() int {
	n := len(p.Stops)
	for _, l := range p.Stay {
		if l.Stays > 0 {
			n++
		}
	}
	return n
}

// Tags are the tags of the kit in the order of its stack.
func (p *Picking) Tags() []string {
	var out []string
	for _, l := range p.Lines {
		out = append(out, l.Tag)
	}
	return out
}

// PickingOf says what issuing a job's kit would fetch from where, today, with what other jobs
// were promised left to them. Which stack it is follows KitOf.
func (s *Store) PickingOf(ctx context.Context, r *Ready) (Picking, error) {
	p := Picking{}
	p.Lines, p.Chosen = kitLines(r)
	to, err := s.seatPlace(r.Job.StationID)
	if err != nil {
		return p, err
	}
	p.To = to
	return p, p.find(s.read.WithContext(ctx), &r.Job, s.Today(), false)
}

func (s *Store) seatPlace(id *StationID) (Place, error) {
	if id == nil {
		return Place{}, nil
	}
	st, err := one[Station](s.read, "station", *id, "id = ?", *id)
	if err != nil {
		return Place{}, err
	}
	return s.Place(context.Background(), st.PlaceID)
}

// find fills in where everything is. override leaves nothing to other jobs.
func (p *Picking) find(db *gorm.DB, job *Job, today Day, override bool) error {
	var tags []string
	for _, l := range p.Lines {
		if l.Tag != "" && !slices.Contains(tags, l.Tag) {
			tags = append(tags, l.Tag)
		}
	}
	heaps, err := kitHeaps(db, tags)
	if err != nil {
		return err
	}
	p.There = 0
	p.settle(job, heaps, p.To.ID)
	if !override {
		if err := p.leave(db, job, today); err != nil {
			return err
		}
	}
	p.There, p.Stops, p.Stay, p.Gaps = 0, nil, nil, nil
	for i, l := range p.Lines {
		for _, t := range l.Takes {
			p.Stops = append(p.Stops, Stop{t, i})
		}
		if l.Has+l.Stays > 0 {
			p.Stay = append(p.Stay, l)
		}
		if l.State == KitReady {
			p.There++
		} else {
			p.Gaps = append(p.Gaps, l)
		}
	}
	slices.SortStableFunc(p.Stops, func(a, b Stop) int { return cmp.Compare(a.Sort, b.Sort) })
	return nil
}

// leave takes off what other jobs were promised on the days of the job, from today on: a piece
// for its days, of a lot as many as were promised.
func (p *Picking) leave(db *gorm.DB, job *Job, today Day) error {
	var items []ItemID
	for _, l := range p.Lines {
		if l.Item != 0 {
			items = append(items, l.Item)
		}
	}
	if len(items) == 0 {
		return nil
	}
	type promise struct {
		ItemID         ItemID
		Qty            int64
		Code           string
		FromDay, ToDay Day
	}
	var promised []promise
	if err := db.Raw(`SELECT r.item_id, r.qty, j.code, r.from_day, r.to_day FROM reservations r JOIN jobs j ON j.id = r.job_id
		WHERE r.ended_at IS NULL AND r.item_id IN ? AND r.job_id <> ? AND r.from_day <= ? AND r.to_day >= ? ORDER BY r.from_day, r.id`,
		items, job.ID, string(max(today, job.ToDay)), string(today)).Scan(&promised).Error; err != nil {
		return err
	}
	if len(promised) == 0 {
		return nil
	}
	var have []struct {
		ItemID ItemID
		Qty    int64
	}
	// What stands on a shelf, or idle in a turret, is what promises are kept from.
	if err := db.Raw(`SELECT s.item_id, sum(coalesce(h.qty, s.qty)) AS qty FROM stock s JOIN places p ON p.id = s.place_id
		LEFT JOIN holdings h ON h.item_id = s.item_id AND h.place_id = s.place_id AND h.qty > 0 LEFT JOIN jobs j ON j.id = h.job_id
		WHERE s.qty > 0 AND s.item_id IN ? AND (p.kind = 'bin' OR p.kind = 'station' AND coalesce(j.state NOT IN ('planned','running'), ?)) GROUP BY s.item_id`, items, true).Scan(&have).Error; err != nil {
		return err
	}
	free := map[ItemID]int64{}
	for _, h := range have {
		free[h.ItemID] = h.Qty
	}
	for _, r := range promised {
		free[r.ItemID] -= r.Qty
	}
	for i := range p.Lines {
		l := &p.Lines[i]
		k := slices.IndexFunc(promised, func(r promise) bool { return r.ItemID == l.Item })
		want := l.There() - l.Has
		if k < 0 || want == 0 {
			continue
		}
		can := max(0, min(want, free[l.Item]))
		free[l.Item] -= can
		if can == want {
			continue
		}
		l.less(want - can)
		c := promised[k]
		l.State, l.Job, l.BackDay = KitWanted, c.Code, ""
		l.Says = fmt.Sprintf("is promised to %s from %s until %s", c.Code, c.FromDay, c.ToDay)
		if c.ToDay == Day(stack.Forever) {
			l.Says = fmt.Sprintf("is promised to %s from %s, to be used up", c.Code, c.FromDay)
		} else {
			l.BackDay = c.ToDay.Add(1)
		}
	}
	return nil
}

// less leaves n pieces where they are, what is farthest away first.
func (l *KitLine) less(n int64) {
	for i := len(l.Takes) - 1; i >= 0 && n > 0; i-- {
		m := min(n, l.Takes[i].Qty)
		l.Takes[i].Qty -= m
		n -= m
		if l.Takes[i].Qty == 0 {
			l.Takes = l.Takes[:i]
		}
	}
	l.Stays -= min(n, l.Stays)
}

// StartJob issues every thing of a job's kit from its drawer and sets the job running, in one
// act: of the chosen stack, or, where none is chosen, of the one whose pieces were seen, which
// is planned by it. What the job has, and what stands in its turret, stays and is counted with
// it. Something that is not there is ErrShort, or ErrPromised where other jobs were promised all
// that lacks, and names every gap with who has it and when; with Partly what is there is issued. ErrConflict: it is another stack by now than was seen.
func (s *Store) StartJob(ctx context.Context, o Op, in StartIn) (Receipt, error) {
	r, seen, no := s.toStart(ctx, in)
	return s.op(ctx, o, ActStart, in, func(e *entry) error {
		if no != nil { // told only to a new act: one answered before gets its answer
			return no
		}
		return e.start(&r, seen, in)
	})
}

// toStart finds the stack that is meant.
func (s *Store) toStart(ctx context.Context, in StartIn) (Ready, *stack.Stack, error) {
	job, err := s.Job(ctx, in.Job)
	if err != nil {
		return Ready{}, nil, err
	}
	if job.State != "planned" && job.State != "running" {
		return Ready{}, nil, refuse(ErrBadInput, "job", "%s is %s; only a job to come or under way is started", job.Code, job.State)
	}
	r, err := s.Check(ctx, job)
	if err != nil {
		return r, nil, err
	}
	if r.Err != nil {
		return r, nil, r.Err
	}
	want := bareTags(in.Pieces)
	if r.Plan != nil {
		if stale := r.Plan.Stale(&job); stale != "" {
			return r, nil, refuse(ErrConflict, "job", "%s", stale)
		}
		if len(want) > 0 && !slices.Equal(want, r.Plan.Tags()) {
			return r, nil, refuse(ErrConflict, "pieces", "another stack was chosen for %s meanwhile; look again", job.Code)
		}
		return r, nil, nil
	}
	if len(want) == 0 {
		return r, nil, refuse(ErrBadInput, "pieces", "no stack is chosen for %s; look at the best one first, and say its pieces, or plan it", job.Code)
	}
	i := slices.IndexFunc(r.Verdict.Stacks, func(st stack.Stack) bool { return slices.Equal(bareTags(st.IDs()), want) })
	if i < 0 && r.Verdict.Buildable {
		return r, nil, refuse(ErrConflict, "pieces", "the stack that was seen for %s is no longer among those that can be built; look again", job.Code)
	}
	if i < 0 {
		why := "nothing on hand will do"
		if len(r.Verdict.Options) > 0 {
			why = "missing: " + r.Verdict.Options[0].Text
		}
		return r, nil, refuse(ErrShort, "job", "%s can not be built, so there is no kit to issue; %s", job.Code, why)
	}
	return r, &r.Verdict.Stacks[i], nil
}

func (e *entry) start(r *Ready, seen *stack.Stack, in StartIn) error {
	if err := e.end(); err != nil { // one at a time, on every engine
		return err
	}
	job, err := one[Job](e.DB, "job", r.Job.ID, "id = ?", r.Job.ID)
	if err != nil {
		return err
	}
	if job.Version != r.Job.Version || job.State != r.Job.State {
		return refuse(ErrConflict, "job", "%s was changed by somebody else meanwhile; look again", job.Code)
	}
	plans, err := openPlans(e.DB, []JobID{job.ID})
	if err != nil {
		return err
	}
	if (r.Plan != nil) != (len(plans) > 0) || r.Plan != nil && plans[0].ID != r.Plan.ID {
		return refuse(ErrConflict, "job", "another stack was chosen for %s meanwhile; look again", job.Code)
	}
	if r.Plan == nil {
		if !May(e.role, ActReserve) {
			return refuse(ErrForbidden, "job", "no stack is chosen for %s, and %s may not choose one; ask the attendant", job.Code, e.role.withArticle())
		}
		if err := e.plan(job, seen, &r.Request); err != nil {
			return err
		}
		if plans, err = openPlans(e.DB, []JobID{job.ID}); err != nil {
			return err
		}
	}
	to, err := e.startPlace(&job, in.To)
	if err != nil {
		return err
	}
	p := Picking{}
	for _, x := range plans[0].List() {
		p.Lines = append(p.Lines, KitLine{Role: x.Role, Tag: x.Tag, Part: x.Part, Qty: x.Qty})
	}
	if job.StationID != nil {
		st, err := one[Station](e.DB, "station", *job.StationID, "id = ?", *job.StationID)
		if err != nil {
			return err
		}
		p.To = Place{ID: st.PlaceID}
	}
	today := e.s.Today()
	override := strings.TrimSpace(in.Override)
	if override != "" {
		if err := e.mayOverride("override"); err != nil {
			return err
		}
	}
	if err := p.find(e.DB, &job, today, false); err != nil {
		return err
	}
	if override != "" {
		if err := p.takeWanted(e, &job, today, override); err != nil {
			return err
		}
	}
	if len(p.Gaps) > 0 && !in.Partly {
		return p.short(&job)
	}
	return e.issueKit(&job, &p, to, override, in)
}

// startPlace is where the kit goes. An operator takes it into his own hands or to the job's
// own station.
func (e *entry) startPlace(job *Job, to PlaceID) (Place, error) {
	own := PlaceID(0)
	if job.StationID != nil {
		st, err := one[Station](e.DB, "station", *job.StationID, "id = ?", *job.StationID)
		if err != nil {
			return Place{}, err
		}
		own = st.PlaceID
	}
	if to == 0 {
		to = own
	}
	if to == 0 {
		return Place{}, refuse(ErrBadInput, "to", "%s has no station yet; say who or which kit place takes it", job.Code)
	}
	p, err := e.place(to)
	if err != nil {
		return p, err
	}
	switch {
	case !p.Kind.Holds():
		return p, refuse(ErrBadInput, "to", "%s is not a person, a station or a kit; a kit is issued to one of those", p.Code)
	case p.Kind == StationAt && p.ID != own:
		return p, refuse(ErrBadInput, "to", "%s is bored elsewhere than in %s; issue its kit to its own station, a person or a kit place", job.Code, p.Code)
	case e.role == Operator && p.Kind == Kit:
		return p, refuse(ErrForbidden, "to", "an operator takes a kit to the machine or into his own hands; ask the attendant")
	}
	return p, e.forHimself(p)
}

// short is the refusal that names every gap in words.
func (p *Picking) short(job *Job) error {
	var gaps []string
	for _, l := range p.Gaps {
		gap := strings.TrimSpace(l.Role + " " + l.Part + " " + l.Tag + " " + l.Says)
		switch {
		case !l.Back.IsZero():
			gap += ", back " + l.Back.Format("Mon 2 Jan 15:04")
		case l.BackDay != "":
			gap += ", back or free on " + string(l.BackDay)
		}
		if n := l.There(); n > 0 {
			gap += fmt.Sprintf(" (%d of %d can be had)", n, l.Qty)
		}
		gaps = append(gaps, gap)
	}
	class := ErrShort
	if !slices.ContainsFunc(p.Gaps, func(l KitLine) bool { return l.State != KitWanted }) {
		class = ErrPromised // all of it is there, and could be taken with a reason
	}
	return refuse(class, "kit", "%d of %d things of %s are there; not there: %s. Nothing was issued", p.There, len(p.Lines), job.Code, strings.Join(gaps, "; "))
}

// takeWanted takes what is promised to other jobs all the same; each is on record with the reason.
func (p *Picking) takeWanted(e *entry, job *Job, today Day, why string) error {
	wanted := map[int]KitLine{}
	for i, l := range p.Lines {
		if l.State == KitWanted {
			wanted[i] = l
		}
	}
	for i := range p.Lines {
		l := &p.Lines[i]
		*l = KitLine{Role: l.Role, Tag: l.Tag, Part: l.Part, Qty: l.Qty}
	}
	if err := p.find(e.DB, job, today, true); err != nil {
		return err
	}
	for i, l := range p.Lines {
		if w, ok := wanted[i]; ok {
			if err := e.overrode(l.Tag, w.Job, why); err != nil {
				return err
			}
		}
	}
	return nil
}

// issueKit books what was found.
func (e *entry) issueKit(job *Job, p *Picking, to Place, override string, in StartIn) error {
	if p.Left() == 0 {
		switch {
		case len(p.Gaps) == len(p.Lines):
			return p.short(job)
		case job.State == "running":
			return refuse(ErrBadInput, "job", "all of the kit that is there is with %s already, and it runs", job.Code)
		}
	}
	var err error
	if e.note, err = remark("note", in.Note); err != nil {
		return err
	}
	e.due = max(e.s.Today(), job.ToDay)
	stays, fetched := 0, 0
	for _, l := range p.Stay {
		n, err := e.adopt(l, p.To.ID, job)
		if err != nil {
			return err
		}
		stays += n
	}
	for _, s := range p.Stops {
		l := p.Lines[s.Line]
		st, err := e.standing(l.Item)
		if err != nil {
			return err
		}
		m := ledger.Movement{Act: ledger.Issue, From: int64(s.Place), To: int64(to.ID), Qty: s.Qty, Job: int64(job.ID), Reason: override}
		if s.Kind != Bin { // it stands idle in another turret
			m.Act = ledger.Transfer
		}
		if err := e.line(st, m); err != nil {
			return err
		}
		if err := e.fulfil(st, s.Qty, job.ID); err != nil {
			return err
		}
		fetched++
	}
	if job.State == "planned" {
		if err := e.jobState(job, "running"); err != nil {
			return err
		}
	}
	says := fmt.Sprintf("Started %s: %s issued to %s", job.Code, things(fetched), to.Name)
	if stays > 0 {
		says += fmt.Sprintf(", %s in the turret taken over", things(stays))
	}
	if len(p.Gaps) > 0 {
		var gaps []string
		for _, l := range p.Gaps {
			gaps = append(gaps, strings.TrimSpace(l.Role+" "+l.Tag+" "+l.Says))
		}
		says += "; not there: " + strings.Join(gaps, "; ")
	}
	e.receipt.Says = says + "."
	return e.Tx.note(e.op.Actor, "job started", job.Code, e.receipt.Says)
}

func things(n int) string {
	if n == 1 {
		return "1 thing"
	}
	return fmt.Sprintf("%d things", n)
}

// adopt counts what stands idle in the job's turret with the job; it moves nothing.
func (e *entry) adopt(l KitLine, turret PlaceID, job *Job) (int, error) {
	if l.Stays == 0 {
		return 0, nil
	}
	var idle []struct {
		Seq, Qty int64
		JobID    *JobID
		DueDay   Day
	}
	if err := e.Raw(`SELECT h.seq, h.qty, h.job_id, h.due_day FROM holdings h LEFT JOIN jobs j ON j.id = h.job_id
		WHERE h.item_id = ? AND h.place_id = ? AND h.qty > 0 AND coalesce(j.state NOT IN ('planned','running'), ?) ORDER BY h.seq`, l.Item, turret, true).Scan(&idle).Error; err != nil {
		return 0, err
	}
	left := l.Stays
	for _, h := range idle { // as a whole: what stands in a turret is not told apart there
		if left <= 0 {
			break
		}
		was := heldFor{0, h.DueDay, h.Qty}
		if h.JobID != nil {
			was.Job = *h.JobID
		}
		if err := e.holdFor(h.Seq, l.Item, was, heldFor{job.ID, e.due, h.Qty}); err != nil {
			return 0, err
		}
		left -= h.Qty
	}
	if left > 0 {
		return 0, fmt.Errorf("%w: %d of item %d stand in place %d without anybody holding them", ErrDamaged, left, l.Item, turret)
	}
	st, err := e.standing(l.Item)
	if err != nil {
		return 0, err
	}
	return 1, e.fulfil(st, l.Stays, job.ID)
}

// fulfil takes what a job was given of a lot off what was promised to it: what is used up is
// not promised a second time. A piece stays promised for its days, whoever has it.
func (e *entry) fulfil(st standing, qty int64, job JobID) error {
	if st.Kind != KindLot || job == 0 {
		return nil
	}
	var open []Reservation
	if err := e.Where("job_id = ? AND item_id = ? AND ended_at IS NULL", job, st.ID).Order("id").Find(&open).Error; err != nil {
		return err
	}
	for _, r := range open {
		if qty <= 0 {
			return nil
		}
		if _, err := e.endPromise(r.ID, st.ID); err != nil {
			return err
		}
		if r.Qty > qty {
			rest := r
			rest.Qty -= qty
			if err := e.makePromise(rest); err != nil {
				return err
			}
		}
		qty -= r.Qty
	}
	return nil
}

// mayOverride refuses an override to who has not the right.
func (e *entry) mayOverride(field string) error {
	if May(e.role, ActOverride) {
		return nil
	}
	return refuse(ErrForbidden, field, "%s may not take what is promised to another job; ask the attendant", e.role.withArticle())
}

// overrode keeps on record that somebody took what was promised to another job, and why.
func (e *entry) overrode(tag, job, why string) error {
	return e.Tx.note(e.op.Actor, "override", tag, fmt.Sprintf("taken although promised to %s: %s", job, why))
}
