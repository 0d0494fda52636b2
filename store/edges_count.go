package store

import (
	"context"
	"fmt"
)

// A MadeIn is the count of parts made on a job, as the machine's counter shows it.
type MadeIn struct {
	Job   JobID
	Count int    // 0 or more
	Why   string `json:",omitempty"` // answers what ErrAsk asked; without one the fingerprint is that of earlier releases
}

// PartsMade sets the count of parts made on a job. A count below the one on record is a slip that
// is mended: ErrAsk until Why says so. Below what the edges of the job have made it is refused with
// ErrBadInput: a counter that was set back is told by the parts of the next edge.
func (s *Store) PartsMade(ctx context.Context, o Op, in MadeIn) (Receipt, error) {
	return s.op(ctx, o, ActMade, in, func(e *entry) error {
		if in.Count < 0 || in.Count > 10_000_000 {
			return refuse(ErrBadInput, "count", "a count of %d: give the parts made so far, 0 or more", in.Count)
		}
		if in.Why != "" {
			if _, err := printable("why", in.Why, 300); err != nil {
				return err
			}
		}
		if err := e.end(); err != nil { // one at a time, on every engine: the count is read below
			return err
		}
		j, err := e.jobRow(in.Job)
		if err != nil {
			return err
		}
		if j.State == "closed" || j.State == "done" {
			return refuse(ErrRetired, "job", "%s is %s; nothing more is counted on it", j.Code, j.State)
		}
		var logged int
		if _, err := e.find(sqlCounted, []any{int64(in.Job)}, &logged); err != nil {
			return err
		}
		switch {
		case in.Count < logged:
			return refuse(ErrBadInput, "count", "the counter of %s would go back to %d, and its edges have made %d: parts are counted upwards. Read it again", j.Code, in.Count, logged)
		case in.Count < j.PartsDone && in.Why == "":
			return refuse(ErrAsk, "why", "the count of %s stands at %d and would go back to %d. If %d was a slip, say so", j.Code, j.PartsDone, in.Count, j.PartsDone)
		}
		if err := e.exec("UPDATE jobs SET parts_done = ? WHERE id = ?", in.Count, in.Job); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s: %d of %d parts made.", j.Code, in.Count, j.PartsQty)
		switch {
		case in.Count < j.PartsDone:
			e.receipt.Says += fmt.Sprintf(" Set back from %d.", j.PartsDone)
			return e.Tx.note(o.Actor, "count set back", j.Code, fmt.Sprintf("%d to %d: %s", j.PartsDone, in.Count, in.Why))
		case j.PartsQty > 0 && in.Count > j.PartsQty:
			e.receipt.Says += fmt.Sprintf(" That is %d more than the job wants; check the counter.", in.Count-j.PartsQty)
		}
		return nil
	})
}
