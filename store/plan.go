package store

import (
	"context"
	"encoding/json"
	"fmt"
	"reflect"
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
	case p.Request != j.Request && !sameRequest(p.Request, j.Request):
		return "The job's stack request was changed after it was planned. Plan it again."
	}
	return ""
}

// sameRequest reports whether two requests ask the same, however they were typed.
func sameRequest(a, b string) bool {
	var x, y map[string]any
	if json.Unmarshal([]byte(a), &x) != nil || json.Unmarshal([]byte(b), &y) != nil {
		return false
	}
	delete(x, TypedMember)
	delete(y, TypedMember)
	return reflect.DeepEqual(x, y)
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
	lines := 0
	for _, h := range st.Holds(req) {
		it, err := one[Item](e.DB, "piece", bareTag(h.Item), "tag = ?", bareTag(h.Item))
		if err != nil {
			return err
		}
		standing, err := e.standing(it.ID)
		if err != nil {
			return err
		}
		if err := e.promise(standing, Pick{Item: it.ID, Qty: int64(max(h.Qty, 1))}, job, ReserveIn{Job: job.ID, From: Day(h.From), To: Day(h.To)}); err != nil {
			return err
		}
		lines++
	}
	text, err := json.Marshal(piecesOf(st, req))
	if err != nil {
		return err
	}
	if err := e.makePlan(Plan{JobID: job.ID, Pieces: string(text), Overhang: st.Overhang, Ratio: st.Ratio,
		FromDay: job.FromDay, ToDay: job.ToDay, Request: job.Request}); err != nil {
		return err
	}
	e.receipt.Says = fmt.Sprintf("Planned %s: %d pieces promised, %s to %s, overhang %g mm.", job.Code, lines, job.FromDay, job.ToDay, st.Overhang)
	return nil
}

// piecesOf lists what fills each place of a stack, with the number taken for it: of a lot that
// fills two places each has its share.
func piecesOf(st *stack.Stack, req *stack.Request) []PlanPiece {
	left := map[string]int64{}
	for _, h := range st.Holds(req) {
		left[h.Item] = int64(max(h.Qty, 1))
	}
	more := map[string]int64{} // places still to be filled from the same item
	for _, u := range st.Pieces {
		more[u.ID()]++
	}
	out := []PlanPiece{}
	for _, u := range st.Pieces {
		id := u.ID()
		more[id]--
		p := PlanPiece{Role: string(u.Role), Tag: bareTag(id), Qty: 1}
		if u.Part != nil {
			p.Part = u.Part.Code
		}
		if n := left[id] - more[id]; n > 1 { // one each for those that follow
			p.Qty = n
		}
		left[id] -= p.Qty
		out = append(out, p)
	}
	return out
}

// unplan ends the plan of a job and all that is promised to it, and returns how many promises.
func (e *entry) unplan(job JobID) (int, error) {
	n, err := e.endPromises(job)
	if err != nil {
		return 0, err
	}
	plans, err := openPlans(e.DB, []JobID{job})
	if err != nil {
		return 0, err
	}
	for _, p := range plans {
		if _, err := e.endPlan(p.ID); err != nil {
			return 0, err
		}
	}
	return n, nil
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
		changes, _, err := e.takeBack(opID, "")
		if err == nil && changes == 0 {
			err = refuse(ErrReversed, "op", "there is nothing of that to take back")
		}
		e.receipt.Says = "Undone: " + old.says()
		return err
	})
}

// SeatKnown says whether any part on record has that pocket.
func (s *Store) SeatKnown(ctx context.Context, seat string) (bool, error) {
	var n int64
	err := s.read.WithContext(ctx).Raw("SELECT count(*) FROM part_facts WHERE symbol = 'seat' AND value = ?", strconv.Quote(seat)).Scan(&n).Error
	return n > 0, err
}
