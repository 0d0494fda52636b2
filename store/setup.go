package store

import (
	"context"
	"fmt"
	"strings"

	"brasspeg/store/stack"
)

// A Remark is what a setter said of a stack. It belongs to the bar: it is shown for any stack
// with a bar of that part whose overhang ratio is FromRatio or more.
type Remark struct {
	ID        int64
	JobID     *JobID
	BarID     PartID
	HeadID    *PartID
	BarTag    string
	Overhang  float64 // mm
	Ratio     float64 // overhang over diameter at which it was seen
	FromRatio float64
	Text      string
	ActorID   PersonID
	CreatedAt Time
	EndedAt   Time
	EndedBy   *PersonID
}

// A RemarkRead is a remark as a person reads it.
type RemarkRead struct {
	ID                             int64
	Bar, Head, BarTag, Job, Person string
	Overhang, Ratio, FromRatio     float64
	Text                           string
	At                             Time
}

// remarkReach is how much below the ratio it was seen at a remark is shown: a bar that
// chatters at 9 x D is worth a word at 8.5.
const remarkReach = 0.5

// A RemarkIn is a remark on the stack of a job. FromRatio nil: half a diameter below the
// stack's own overhang ratio.
type RemarkIn struct {
	Job       JobID
	Text      string
	FromRatio *float64
}

// AddRemark keeps a setter's words with the stack of a job: its bar, its head, its overhang.
// A job whose stack has no bar of a part on record is ErrBadInput.
func (s *Store) AddRemark(ctx context.Context, o Op, in RemarkIn) (Receipt, error) {
	text, no := printable("text", strings.Join(strings.Fields(in.Text), " "), 500)
	var st *stack.Stack
	job, err := s.Job(ctx, in.Job)
	if err == nil {
		var r Ready
		if r, err = s.Check(ctx, job); err == nil {
			err = r.Err
			st = r.Best()
		}
	}
	if no == nil {
		no = err
	}
	if no == nil && in.FromRatio != nil && !(*in.FromRatio >= 0 && *in.FromRatio <= 100) {
		no = refuse(ErrBadInput, "from_ratio", "the overhang ratio from which a remark is shown is 0 to 100 × D")
	}
	return s.op(ctx, o, ActRemark, in, func(e *entry) error {
		if no != nil {
			return no
		}
		if st == nil {
			return refuse(ErrBadInput, "job", "no stack is known for %s, so there is nothing to remark on", job.Code)
		}
		bar, ok := st.Find(stack.Bar)
		if !ok || bar.Part == nil || bar.Part.Code == "" {
			return refuse(ErrBadInput, "job", "the stack of %s has no bar on record", job.Code)
		}
		row := Remark{JobID: &job.ID, Overhang: st.Overhang, Ratio: st.Ratio, FromRatio: max(0, st.Ratio-remarkReach), Text: text, ActorID: o.Actor, CreatedAt: e.now}
		if in.FromRatio != nil {
			row.FromRatio = *in.FromRatio
		}
		p, err := one[Part](e.DB, "part", bar.Part.Code, "code = ?", bar.Part.Code)
		if err != nil {
			return err
		}
		row.BarID = p.ID
		if bar.Item != nil {
			row.BarTag = bareTag(bar.Item.ID)
		}
		if head, ok := st.Find(stack.Head); ok && head.Part != nil && head.Part.Code != "" {
			if h, err := one[Part](e.DB, "part", head.Part.Code, "code = ?", head.Part.Code); err == nil {
				row.HeadID = &h.ID
			}
		}
		if err := e.Create(&row).Error; err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("Kept with bar %s from %.2g × D on.", p.Code, row.FromRatio)
		return nil
	})
}

// EndRemark takes a remark off the lists; it stays on record.
func (s *Store) EndRemark(ctx context.Context, actor PersonID, id int64) error {
	return s.book(ctx, func(tx *Tx) error {
		if err := tx.must(refuse(ErrNotFound, "remark", "remark %d is not known, or was taken off before", id),
			"UPDATE remarks SET ended_at = ?, ended_by = ? WHERE id = ? AND ended_at IS NULL", tx.now, actor, id); err != nil {
			return err
		}
		return tx.note(actor, "remark ended", fmt.Sprint(id), "")
	})
}

// Remarks lists what was said of bars, by part code, newest first.
func (s *Store) Remarks(ctx context.Context, bars ...string) (map[string][]RemarkRead, error) {
	out := map[string][]RemarkRead{}
	if len(bars) == 0 {
		return out, nil
	}
	var rows []RemarkRead
	if err := s.read.WithContext(ctx).Raw(`SELECT r.id, b.code AS bar, coalesce(h.code, '') AS head, r.bar_tag, coalesce(j.code, '') AS job, p.name AS person,
		r.overhang, r.ratio, r.from_ratio, r.text, r.created_at AS at
		FROM remarks r JOIN parts b ON b.id = r.bar_id JOIN people p ON p.id = r.actor_id LEFT JOIN parts h ON h.id = r.head_id LEFT JOIN jobs j ON j.id = r.job_id
		WHERE r.ended_at IS NULL AND b.code IN ? ORDER BY r.id DESC LIMIT 200`, bars).Scan(&rows).Error; err != nil {
		return nil, err
	}
	for _, r := range rows {
		out[r.Bar] = append(out[r.Bar], r)
	}
	return out, nil
}

// RemarksOn lists what was said that holds for each of some stacks: one list a stack, in order.
func (s *Store) RemarksOn(ctx context.Context, stacks ...*stack.Stack) ([][]RemarkRead, error) {
	var bars []string
	for _, st := range stacks {
		if st == nil {
			continue
		}
		if b, ok := st.Find(stack.Bar); ok && b.Part != nil {
			bars = append(bars, b.Part.Code)
		}
	}
	all, err := s.Remarks(ctx, bars...)
	if err != nil {
		return nil, err
	}
	out := make([][]RemarkRead, len(stacks))
	for i, st := range stacks {
		if st == nil {
			continue
		}
		b, ok := st.Find(stack.Bar)
		if !ok || b.Part == nil {
			continue
		}
		for _, r := range all[b.Part.Code] {
			if st.Ratio >= r.FromRatio {
				out[i] = append(out[i], r)
			}
		}
	}
	return out, nil
}
