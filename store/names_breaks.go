package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/stack"
)

// A Breaks is a change after which planned jobs can not be built any more. It is an ErrAsk; a
// person may make it all the same.
type Breaks struct {
	Code string
	Jobs []BrokenJob
}

// A BrokenJob is a job that a change of a part would stop.
type BrokenJob struct {
	Code, Name string
	From       Day
	Why        string
}

func (b *Breaks) Error() string {
	var all []string
	for _, j := range b.Jobs {
		all = append(all, fmt.Sprintf("%s (%s): %s", j.Code, j.From, j.Why))
	}
	return fmt.Sprintf("with %s as you wrote it, %s. Look at the part before you save it so", b.Code, strings.Join(all, "; "))
}

// Unwrap makes a Breaks an ErrAsk.
func (b *Breaks) Unwrap() error { return ErrAsk }

// matters says whether a change touches what the stack room decides by.
func matters(was, in PartIn) (*stack.Part, bool, error) {
	_, sp, err := checkPart(in)
	if err != nil {
		return nil, false, err
	}
	old := was.Part
	m, err := old.fields(was.Facts)
	if err != nil {
		return nil, false, err
	}
	op, err := stack.ReadPartMap(m)
	if err != nil {
		return sp, true, nil // it could not be stacked before; now it can
	}
	text := func(p *stack.Part) string {
		f := p.Fields()
		for _, k := range []string{"id", "maker", "designation", "unit", "price_cents", "currency", "lead_days"} {
			delete(f, k)
		}
		b, err := json.Marshal(f)
		if err != nil {
			return ""
		}
		return string(b)
	}
	return sp, text(op) != text(sp), nil
}

// breaks lists the jobs that a change would stop: those planned that can be built with the part
// as it is and could not with it as it would be, those whose chosen stack would no longer do,
// and those that run with it now. nil when there is none.
func (s *Store) breaks(ctx context.Context, was partState, in PartIn) (*Breaks, error) {
	sp, counts, err := matters(was.in(), in)
	if err != nil || !counts || sp.Kind == stack.Spare || !was.Part.RetiredAt.IsZero() {
		return nil, err
	}
	b := &Breaks{Code: was.Part.Code}
	db := s.read.WithContext(ctx)
	var running []BrokenJob
	if err := db.Raw(`SELECT j.code, j.name, j.from_day AS "from" FROM jobs j WHERE j.state = 'running' AND EXISTS
		(SELECT 1 FROM holdings h JOIN items i ON i.id = h.item_id WHERE h.job_id = j.id AND h.qty > 0 AND i.part_id = ?) ORDER BY j.from_day, j.code LIMIT 50`, was.Part.ID).Scan(&running).Error; err != nil {
		return nil, err
	}
	for _, j := range running {
		j.Why = "it runs with this part now"
		b.Jobs = append(b.Jobs, j)
	}
	ready, err := s.Readiness(ctx)
	if err != nil {
		return nil, err
	}
	var jobs []Job
	uses := map[JobID]string{}
	for i := range ready {
		r := &ready[i]
		if r.Err != nil || !r.Verdict.Buildable && r.Plan == nil {
			continue
		}
		if best := r.Best(); best != nil && slices.ContainsFunc(best.Pieces, func(u stack.Used) bool { return u.Part != nil && u.Part.Code == was.Part.Code }) {
			jobs, uses[r.Job.ID] = append(jobs, r.Job), "built"
			if r.Chosen >= 0 {
				uses[r.Job.ID] = "chosen"
			}
		}
	}
	if len(jobs) > 0 {
		if err := s.breakers(ctx, db, was, sp, jobs, uses, b); err != nil {
			return nil, err
		}
	}
	if len(b.Jobs) == 0 {
		return nil, nil
	}
	return b, nil
}

// breakers checks jobs on a shelf of its own, on which the part is as it would be.
func (s *Store) breakers(ctx context.Context, db *gorm.DB, was partState, sp *stack.Part, jobs []Job, uses map[JobID]string, b *Breaks) error {
	trial := &Store{read: s.read, clock: s.clock, log: s.log}
	if err := trial.shelf.build(trial, db); err != nil {
		return err
	}
	sp.Code = was.Part.Code // a new code alone changes nothing
	if err := trial.shelf.shelf.AddPart(sp); err != nil {
		return err
	}
	trial.shelf.parts[was.Part.ID] = sp
	after, err := trial.checkAll(ctx, jobs)
	if err != nil {
		return err
	}
	for i := range after {
		r := &after[i]
		j := BrokenJob{Code: r.Job.Code, Name: r.Job.Name, From: r.Job.FromDay}
		switch {
		case r.Err != nil:
			j.Why = r.Err.Error()
		case uses[r.Job.ID] == "chosen" && r.Chosen < 0:
			j.Why = "the stack planned for it would not do"
			if r.Verdict.Buildable {
				j.Why += ", another would"
			}
		case !r.Verdict.Buildable:
			j.Why = "it could not be built"
		default:
			continue
		}
		if r.Err == nil && !r.Verdict.Buildable && len(r.Verdict.Options) > 0 {
			j.Why += ": " + r.Verdict.Options[0].Text
		}
		b.Jobs = append(b.Jobs, j)
	}
	return nil
}
