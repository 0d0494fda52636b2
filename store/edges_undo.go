package store

import "fmt"

// undoEdge takes an edge change back: the run is marked, its insert stands as before, and what
// it moved goes back. Only the last change of a station can be taken back, for the next one
// rests on it. Who may is decided by Reverse.
func (e *entry) undoEdge(opID, reason string) error {
	var run EdgeRun
	r := e.Where("op_id = ?", opID).Limit(1).Find(&run)
	switch {
	case r.Error != nil:
		return r.Error
	case r.RowsAffected == 0:
		return refuse(ErrNotFound, "op", "no edge was logged under the op id %s", opID)
	case run.UndoneOp != nil:
		return refuse(ErrReversed, "op", "that change was undone before")
	}
	if err := e.end(); err != nil {
		return err
	}
	last, err := e.lastRun(run.StationID)
	if err != nil {
		return err
	}
	if last.ID != run.ID {
		return refuse(ErrElsewhere, "op", "a later change was logged on this station; undo that one first")
	}
	var lines []Movement
	if err := e.Where("op_id = ?", opID).Order("line DESC").Find(&lines).Error; err != nil {
		return err
	}
	for _, l := range lines {
		if err := e.reverseLine(l, reason); err != nil {
			return err
		}
	}
	if err := e.must(refuse(ErrReversed, "op", "that change was undone before"),
		"UPDATE edge_runs SET undone_op = ? WHERE id = ? AND undone_op IS NULL", e.op.ID, run.ID); err != nil {
		return err
	}
	var up EdgeInsert
	if err := e.Where("id = ?", run.InsertID).Limit(1).Find(&up).Error; err != nil {
		return err
	}
	var swapped int64 // inserts that this change took out of the station
	if err := e.Raw("SELECT count(*) FROM edge_inserts WHERE ended_op = ? AND id <> ? AND ended_how IN ('taken out','gone')", opID, up.ID).Scan(&swapped).Error; err != nil {
		return err
	}
	if up.MountedOp != opID && swapped > 0 { // it had been put in again for this change
		err = e.exec("UPDATE edge_inserts SET used = used - 1, thrown = 0, thrown_why = '', ended_at = ?, ended_op = ?, ended_how = 'taken out' WHERE id = ?", e.now, e.op.ID, up.ID)
	} else if up.MountedOp == opID {
		err = e.exec("UPDATE edge_inserts SET used = used - 1, thrown = 0, thrown_why = '', ended_at = ?, ended_op = ?, ended_how = 'undone' WHERE id = ?", e.now, e.op.ID, up.ID)
	} else {
		err = e.exec("UPDATE edge_inserts SET used = used - 1, thrown = 0, thrown_why = '', ended_at = NULL, ended_op = NULL, ended_how = '' WHERE id = ?", up.ID)
	}
	if err != nil {
		return err
	}
	// What this change took out of the station is in it again.
	if err := e.exec("UPDATE edge_inserts SET ended_at = NULL, ended_op = NULL, ended_how = '' WHERE ended_op = ? AND id <> ? AND ended_how IN ('taken out','gone')", opID, up.ID); err != nil {
		return err
	}
	if _, err := e.run(sqlFamilyGrew, run.FamilyID); err != nil {
		return err
	}
	made := run.CountAt - min(run.Parts, run.CountAt)
	if run.MadeBefore != nil {
		made = *run.MadeBefore
	}
	if err := e.exec("UPDATE jobs SET parts_done = ? WHERE id = ? AND parts_done = ?", made, run.JobID, run.CountAt); err != nil {
		return err
	}
	e.receipt.Says = fmt.Sprintf("Undone: the change of edge %d, %d parts, is not counted.", run.Edge, run.Parts)
	return nil
}
