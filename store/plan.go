package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/ledger"
	"brasspeg/store/stack"
)

// Acts of planning that move nothing by themselves.
const (
	ActClose  ledger.Act = "close"  // end a job, and say what stays in the turret
	ActRemark ledger.Act = "remark" // a setter's words about a stack
)

// A Plan is the stack chosen for a job. What it takes is promised to the job under the same op.
type Plan struct {
	ID        int64
	JobID     JobID
	OpID      string
	ActorID   PersonID
	Pieces    string  // JSON, see PlanPiece
	Overhang  float64 // mm to set
	Ratio     float64 // overhang over bar diameter
	FromDay   Day
	ToDay     Day
	Request   string
	CreatedAt Time
	EndedAt   Time
	EndedOp   string
}

// A PlanPiece is one place in a chosen stack, from the turret to the edge, then the coolant line.
type PlanPiece struct {
	Role string `json:"role"`
	Tag  string `json:"tag"`
	Part string `json:"part"`
	Qty  int64  `json:"qty"`
}

// List reads the pieces.
func (p *Plan) List() []PlanPiece {
	var out []PlanPiece
	if json.Unmarshal([]byte(p.Pieces), &out) != nil { // written by us alone
		return nil
	}
	return out
}

// Tags are the tags of the pieces in order.
func (p *Plan) Tags() []string {
	var out []string
	for _, x := range p.List() {
		out = append(out, x.Tag)
	}
	return out
}

// Stale says in words why the plan no longer fits its job, "" when it does.
func (p *Plan) Stale(j *Job) string {
	switch {
	case p.FromDay != j.FromDay || p.ToDay != j.ToDay:
		return fmt.Sprintf("The plan is for %s to %s; the job is now %s to %s. Plan it again.", p.FromDay, p.ToDay, j.FromDay, j.ToDay)
	case p.Request != j.Request:
		return "The job's stack request was changed after it was planned. Plan it again."
	}
	return ""
}

// bareTag takes the place off the id of a lot that lies in more than one.
func bareTag(id string) string {
	tag, _, _ := strings.Cut(id, "@")
	return tag
}

func bareTags(ids []string) []string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = bareTag(id)
	}
	return out
}

func openPlans(db *gorm.DB, jobs []JobID) ([]Plan, error) {
	var out []Plan
	return out, db.Where("job_id IN ? AND ended_at IS NULL", jobs).Order("id").Find(&out).Error
}

// A PlanIn chooses a stack for a job: the tags of its pieces in the order of the verdict, or
// none for the best there is.
type PlanIn struct {
	Job    JobID
	Pieces []string
}

// Plan chooses a stack for a job and promises all of it in one act: the pieces for the job's
// days, the inserts it will use up for good. Earlier promises to the job are replaced. When
// another job has what it takes on one of the days it is ErrPromised, when it can not be built
// ErrShort, each with the reason; when the stack chosen is no longer to be had ErrConflict.
func (s *Store) Plan(ctx context.Context, o Op, in PlanIn) (Receipt, error) {
	job, st, req, no := s.toPlan(ctx, in)
	return s.op(ctx, o, ActReserve, struct{ Plan PlanIn }{in}, func(e *entry) error {
		if no != nil { // told only to a new act: one answered before gets its answer
			return no
		}
		return e.plan(job, st, req)
	})
}

// toPlan finds the stack that is meant.
func (s *Store) toPlan(ctx context.Context, in PlanIn) (Job, *stack.Stack, *stack.Request, error) {
	job, err := s.Job(ctx, in.Job)
	if err != nil {
		return job, nil, nil, err
	}
	if job.State != "planned" && job.State != "running" {
		return job, nil, nil, refuse(ErrBadInput, "job", "%s is %s; only a job to come or under way is planned", job.Code, job.State)
	}
	r, err := s.Check(ctx, job)
	if err != nil {
		return job, nil, nil, err
	}
	if r.Err != nil {
		return job, nil, nil, r.Err
	}
	if !r.Verdict.Buildable {
		clashes, err := s.Clashes(ctx, &r)
		if err != nil {
			return job, nil, nil, err
		}
		if len(clashes) > 0 {
			return job, nil, nil, refuse(ErrPromised, "job", "%s clashes: %s", job.Code, clashes[0].Says)
		}
		why := "nothing on hand will do"
		if len(r.Verdict.Options) > 0 {
			why = "missing: " + r.Verdict.Options[0].Text
		}
		return job, nil, nil, refuse(ErrShort, "job", "%s can not be built; %s", job.Code, why)
	}
	best := &r.Verdict.Stacks[0]
	if len(in.Pieces) > 0 {
		i := slices.IndexFunc(r.Verdict.Stacks, func(st stack.Stack) bool { return slices.Equal(bareTags(st.IDs()), bareTags(in.Pieces)) })
		if i < 0 {
			return job, nil, nil, refuse(ErrConflict, "pieces", "the stack chosen for %s is no longer among those that can be built; look again and choose anew", job.Code)
		}
		best = &r.Verdict.Stacks[i]
	}
	return job, best, &r.Request, nil
}

func (e *entry) plan(job Job, st *stack.Stack, req *stack.Request) error {
	if err := e.end(); err != nil { // one planner at a time, on every engine
		return err
	}
	now, err := one[Job](e.DB, "job", job.ID, "id = ?", job.ID)
	if err != nil {
		return err
	}
	if now.Version != job.Version {
		return refuse(ErrConflict, "job", "%s was changed by somebody else meanwhile; look again", job.Code)
	}
	if _, err := e.unplan(job.ID); err != nil {
		return err
	}
	pieces, lines := []PlanPiece{}, 0
	holds := map[string]stack.Hold{}
	for _, h := range st.Holds(req) {
		holds[h.Item] = h
	}
	for _, u := range st.Pieces {
		p := PlanPiece{Role: string(u.Role), Tag: bareTag(u.ID()), Part: u.Part.Code, Qty: 1}
		if h, ok := holds[u.ID()]; ok {
			delete(holds, u.ID()) // two places filled from one lot are promised once, together
			p.Qty = int64(max(h.Qty, 1))
			it, err := one[Item](e.DB, "piece", p.Tag, "tag = ?", p.Tag)
			if err != nil {
				return err
			}
			standing, err := e.standing(it.ID)
			if err != nil {
				return err
			}
			if err := e.promise(standing, Pick{Item: it.ID, Qty: p.Qty}, job, ReserveIn{Job: job.ID, From: Day(h.From), To: Day(h.To)}); err != nil {
				return err
			}
			lines++
		}
		pieces = append(pieces, p)
	}
	text, err := json.Marshal(pieces)
	if err != nil {
		return err
	}
	row := Plan{JobID: job.ID, OpID: e.op.ID, ActorID: e.op.Actor, Pieces: string(text), Overhang: st.Overhang, Ratio: st.Ratio,
		FromDay: job.FromDay, ToDay: job.ToDay, Request: job.Request, CreatedAt: e.now}
	if err := e.Create(&row).Error; err != nil {
		return err
	}
	e.receipt.Says = fmt.Sprintf("Planned %s: %d pieces promised, %s to %s, overhang %g mm.", job.Code, lines, job.FromDay, job.ToDay, st.Overhang)
	return nil
}

// unplan ends the plan of a job and all that is promised to it, and returns how many promises.
func (e *entry) unplan(job JobID) (int, error) {
	var items []ItemID
	if err := e.Raw("SELECT item_id FROM reservations WHERE job_id = ? AND ended_at IS NULL", job).Scan(&items).Error; err != nil {
		return 0, err
	}
	for _, id := range items {
		e.after = append(e.after, func() { e.s.shelf.touch(id) })
	}
	if err := e.exec("UPDATE reservations SET ended_at = ?, ended_op = ? WHERE job_id = ? AND ended_at IS NULL", e.now, e.op.ID, job); err != nil {
		return 0, err
	}
	return len(items), e.exec("UPDATE plans SET ended_at = ?, ended_op = ? WHERE job_id = ? AND ended_at IS NULL", e.now, e.op.ID, job)
}

// Unplan releases the stack chosen for a job and every promise to it.
func (s *Store) Unplan(ctx context.Context, o Op, job JobID) (Receipt, error) {
	return s.op(ctx, o, ActReserve, struct{ Unplan JobID }{job}, func(e *entry) error {
		j, err := one[Job](e.DB, "job", job, "id = ?", job)
		if err != nil {
			return err
		}
		if err := e.end(); err != nil {
			return err
		}
		n, err := e.unplan(job)
		if err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("Released %d promises to %s.", n, j.Code)
		return nil
	})
}

// UndoPlan takes back an act of planning or releasing: what it promised is released, what it
// released is promised again, unless another job has it by now (ErrPromised). An attendant
// takes back his own, a manager any. ErrReversed: it was taken back, or planned over, before.
func (s *Store) UndoPlan(ctx context.Context, o Op, opID string) (Receipt, error) {
	return s.op(ctx, o, ActReserve, struct{ UndoPlan string }{opID}, func(e *entry) error {
		old, ok, err := e.seenOp(opID)
		if err != nil {
			return err
		}
		if !ok || ledger.Act(old.Act) != ActReserve {
			return refuse(ErrNotFound, "op", "no planning has the op id %s", opID)
		}
		if e.role == Attendant && old.ActorID != o.Actor {
			return refuse(ErrForbidden, "op", "another person planned that; a manager may undo it")
		}
		if err := e.end(); err != nil {
			return err
		}
		return e.undoPlan(opID)
	})
}

func (e *entry) undoPlan(opID string) error {
	var made, ended []Reservation
	if err := e.Where("op_id = ? AND ended_at IS NULL", opID).Order("id").Find(&made).Error; err != nil {
		return err
	}
	if err := e.Where("ended_op = ?", opID).Order("id").Find(&ended).Error; err != nil {
		return err
	}
	if len(made)+len(ended) == 0 {
		return refuse(ErrReversed, "op", "there is nothing left of that to take back")
	}
	if len(made) == 0 { // it released, or what it promised has been released or replaced since
		var over int64
		if err := e.Raw("SELECT count(*) FROM plans WHERE op_id = ? OR (job_id = ? AND ended_at IS NULL)", opID, ended[0].JobID).Scan(&over).Error; err != nil {
			return err
		}
		if over > 0 {
			return refuse(ErrReversed, "op", "the job was planned or released anew since; undo that first")
		}
	}
	for _, r := range made {
		id := r.ItemID
		e.after = append(e.after, func() { e.s.shelf.touch(id) })
	}
	if err := e.exec("UPDATE reservations SET ended_at = ?, ended_op = ? WHERE op_id = ? AND ended_at IS NULL", e.now, e.op.ID, opID); err != nil {
		return err
	}
	if err := e.exec("UPDATE plans SET ended_at = ?, ended_op = ? WHERE op_id = ? AND ended_at IS NULL", e.now, e.op.ID, opID); err != nil {
		return err
	}
	for _, r := range ended {
		job, err := one[Job](e.DB, "job", r.JobID, "id = ?", r.JobID)
		if err != nil {
			return err
		}
		st, err := e.standing(r.ItemID)
		if err != nil {
			return err
		}
		if err := e.promise(st, Pick{Item: r.ItemID, Qty: r.Qty}, job, ReserveIn{Job: r.JobID, From: r.FromDay, To: r.ToDay}); err != nil {
			return err
		}
	}
	var plans []Plan
	if err := e.Where("ended_op = ?", opID).Find(&plans).Error; err != nil {
		return err
	}
	for _, p := range plans {
		p.ID, p.OpID, p.EndedAt, p.EndedOp, p.CreatedAt = 0, e.op.ID, Time{}, "", e.now
		if err := e.Create(&p).Error; err != nil {
			return err
		}
	}
	// What was ended by the undone act is no longer: a second undo finds nothing.
	if err := e.exec("UPDATE reservations SET ended_op = ? WHERE ended_op = ?", "undone "+opID, opID); err != nil {
		return err
	}
	if err := e.exec("UPDATE plans SET ended_op = ? WHERE ended_op = ?", "undone "+opID, opID); err != nil {
		return err
	}
	e.receipt.Says = fmt.Sprintf("Undone: %d promises released, %d made again.", len(made), len(ended))
	return nil
}

// SeatKnown says whether any part on record has that pocket.
func (s *Store) SeatKnown(ctx context.Context, seat string) (bool, error) {
	var n int64
	err := s.read.WithContext(ctx).Raw("SELECT count(*) FROM part_facts WHERE symbol = 'seat' AND value = ?", strconv.Quote(seat)).Scan(&n).Error
	return n > 0, err
}
