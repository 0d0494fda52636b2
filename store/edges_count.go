package store

import (
	"context"
	"fmt"
)

// PartsMade sets the count of parts made on a job, as the machine's counter shows it. Counting
// backwards is refused: a counter that was set back is told by the parts of the next edge.
func (s *Store) PartsMade(ctx context.Context, o Op, job JobID, count int) (Receipt, error) {
	body := struct {
		Job   JobID
		Count int
	}{job, count}
	return s.op(ctx, o, ActMade, body, func(e *entry) error {
		if count < 0 || count > 10_000_000 {
			return refuse(ErrBadInput, "count", "a count of %d: give the parts made so far, 0 or more", count)
		}
		j, err := e.jobRow(job)
		if err != nil {
			return err
		}
		if j.State == "closed" || j.State == "done" {
			return refuse(ErrRetired, "job", "%s is %s; nothing more is counted on it", j.Code, j.State)
		}
		if err := e.must(refuse(ErrBadInput, "count", "the counter of %s stood at %d and would go back to %d: parts are counted upwards. Read it again", j.Code, j.PartsDone, count),
			"UPDATE jobs SET parts_done = ? WHERE id = ? AND parts_done <= ?", count, job, count); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("%s: %d of %d parts made.", j.Code, count, j.PartsQty)
		return nil
	})
}
