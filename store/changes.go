package store

import (
	"errors"
	"fmt"
	"strconv"

	"brasspeg/store/ledger"
)

// What an act changes besides movements is written down as it is changed, one row a change, and
// taken back by those rows: a job's state, promises, plans, for which job a thing is out, what
// left whose list, what is held back or retired, and what was used instead of what was planned.
// Whoever adds a kind of change adds the way back to takeBack, and no act needs an undo of its own.
type change string

const (
	chJob        change = "job state"  // row: job; the state in words
	chPromise    change = "promise"    // row: reservation; "", open, ended
	chPlan       change = "plan"       // row: plan; "", open, ended
	chHeldFor    change = "held for"   // row: holding; job, day due and pieces
	chTakenOff   change = "taken off"  // row: holding; pieces that left it by a movement
	chHeldBack   change = "held back"  // row: item; why
	chRetired    change = "retired"    // row: item; "" or yes
	chSubstitute change = "substitute" // row: substitute; "", made
)

const (
	isOpen  = "open"
	isEnded = "ended"
)

type actChange struct {
	ID       int64
	OpID     string
	Line     int
	What     change
	RowID    int64
	Was      string
	Became   string
	UndoneOp string
}

const sqlChanged = "INSERT INTO act_changes (op_id, line, what, row_id, was, became) VALUES (?,?,?,?,?,?)"

// changed writes down one change of this act.
func (e *entry) changed(what change, row int64, was, became string) error {
	_, err := e.run(sqlChanged, e.op.ID, 0, string(what), row, was, became)
	return err
}

// jobState moves a job from one state to another, if nobody changed the job meanwhile. The
// version counts on in both directions, so that a page that was open is refused.
func (e *entry) jobState(job *Job, to string) error {
	if err := e.must(refuse(ErrConflict, "job", "%s was changed by somebody else meanwhile; look again", job.Code),
		"UPDATE jobs SET state = ?, version = version + 1 WHERE id = ? AND version = ? AND state = ?", to, job.ID, job.Version, job.State); err != nil {
		return err
	}
	if err := e.touchJob(job.ID); err != nil {
		return err
	}
	return e.changed(chJob, int64(job.ID), job.State, to)
}

// touchJob has the shelf look again at what is out for a job: whether its job is open decides
// whether a thing in a turret is free.
func (e *entry) touchJob(job JobID) error {
	var items []ItemID
	if err := e.Raw("SELECT DISTINCT item_id FROM holdings WHERE job_id = ? AND qty > 0", job).Scan(&items).Error; err != nil {
		return err
	}
	for _, id := range items {
		e.reshelve(id)
	}
	return nil
}

func (e *entry) reshelve(id ItemID) { e.after = append(e.after, func() { e.s.shelf.touch(id) }) }

// makePromise writes a promise that was found possible.
func (e *entry) makePromise(r Reservation) error {
	r.ID, r.OpID, r.ActorID, r.CreatedAt = 0, e.op.ID, e.op.Actor, e.now
	if err := e.Create(&r).Error; err != nil {
		return err
	}
	e.reshelve(r.ItemID)
	return e.changed(chPromise, r.ID, "", isOpen)
}

// endPromise ends one open promise; false when it was ended before.
func (e *entry) endPromise(id int64, item ItemID) (bool, error) {
	r := e.Exec("UPDATE reservations SET ended_at = ?, ended_op = ? WHERE id = ? AND ended_at IS NULL", e.now, e.op.ID, id)
	if r.Error != nil || r.RowsAffected == 0 {
		return false, r.Error
	}
	e.reshelve(item)
	return true, e.changed(chPromise, id, isOpen, isEnded)
}

func (e *entry) makePlan(p Plan) error {
	p.ID, p.OpID, p.ActorID, p.CreatedAt = 0, e.op.ID, e.op.Actor, e.now
	if err := e.Create(&p).Error; err != nil {
		return err
	}
	return e.changed(chPlan, p.ID, "", isOpen)
}

func (e *entry) endPlan(id int64) (bool, error) {
	r := e.Exec("UPDATE plans SET ended_at = ?, ended_op = ? WHERE id = ? AND ended_at IS NULL", e.now, e.op.ID, id)
	if r.Error != nil || r.RowsAffected == 0 {
		return false, r.Error
	}
	return true, e.changed(chPlan, id, isOpen, isEnded)
}

// A heldFor is for which job a thing is out (0: none), until when, and how many pieces.
type heldFor struct {
	Job JobID
	Due Day
	Qty int64
}

func (h heldFor) String() string { return fmt.Sprintf("%d|%d|%s", h.Job, h.Qty, h.Due) }

func readHeldFor(text string) (h heldFor, err error) {
	if _, err = fmt.Sscanf(text, "%d|%d|", &h.Job, &h.Qty); err != nil {
		return h, fmt.Errorf("%w: %q says for no job: %w", ErrDamaged, text, err)
	}
	if len(text) > 10 && text[len(text)-11] == '|' {
		h.Due = Day(text[len(text)-10:])
	}
	return h, nil
}

// holdFor makes what is out be out for another job, where it is.
func (e *entry) holdFor(seq int64, item ItemID, was, to heldFor) error {
	if err := e.must(refuse(ErrConflict, "item", "it was booked by somebody else meanwhile; look again"),
		"UPDATE holdings SET job_id = ?, due_day = ? WHERE seq = ? AND qty = ?", null(int64(to.Job)), string(to.Due), seq, was.Qty); err != nil {
		return err
	}
	e.reshelve(item)
	return e.changed(chHeldFor, seq, was.String(), to.String())
}

// holdBack says why an item is held back, "" that it is not.
func (e *entry) holdBack(st standing, why string) error {
	if st.Held == why {
		return nil
	}
	if err := e.exec("UPDATE items SET held = ? WHERE id = ?", why, st.ID); err != nil {
		return err
	}
	e.reshelve(st.ID)
	return e.changed(chHeldBack, int64(st.ID), st.Held, why)
}

// retire takes a piece out of use.
func (e *entry) retire(st standing) error {
	if err := e.exec("UPDATE items SET retired_at = ? WHERE id = ?", e.now, st.ID); err != nil {
		return err
	}
	return e.changed(chRetired, int64(st.ID), "", "yes")
}

// takeBack takes an act back whole: what it changed besides movements, newest first, then its
// movements from the end. Whatever has changed since stops all of it, with the reason.
func (e *entry) takeBack(opID, reason string) (changes, lines int, err error) {
	if err := e.end(); err != nil { // one at a time, on every engine
		return 0, 0, err
	}
	var cs []actChange
	if err := e.Where("op_id = ?", opID).Order("id DESC").Find(&cs).Error; err != nil {
		return 0, 0, err
	}
	for _, c := range cs {
		if c.UndoneOp != "" {
			return 0, 0, refuse(ErrReversed, "op", "that was undone before")
		}
	}
	var ms []Movement
	if err := e.Where("op_id = ?", opID).Order("line DESC").Find(&ms).Error; err != nil {
		return 0, 0, err
	}
	if len(cs)+len(ms) == 0 {
		return 0, 0, nil
	}
	for _, c := range cs {
		if err := e.undoChange(c); err != nil {
			return 0, 0, err
		}
	}
	for _, m := range ms {
		if err := e.reverseLine(m, reason); err != nil {
			return 0, 0, e.movedSince(m, err)
		}
	}
	return len(cs), len(ms), e.exec("UPDATE act_changes SET undone_op = ? WHERE op_id = ?", e.op.ID, opID)
}

// movedSince says in words why a movement can not be mirrored: the thing has moved since.
func (e *entry) movedSince(m Movement, err error) error {
	if !errors.Is(err, ErrShort) {
		return err
	}
	st, no := e.standing(m.ItemID)
	if no != nil {
		return no
	}
	return refuse(fmt.Errorf("%w: %w", ErrElsewhere, err), "op", "%s has moved since: %s. Bring it back first, or book what is to be instead", st.called(), e.whoHas(st.ID))
}

func (e *entry) undoChange(c actChange) error {
	switch c.What {
	case chTakenOff: // the mirrored movement puts it back on its list
		return nil
	case chJob:
		return e.undoJobState(c)
	case chPromise:
		return e.undoPromise(c)
	case chPlan:
		return e.undoPlan(c)
	case chHeldFor:
		return e.undoHeldFor(c)
	case chHeldBack, chRetired:
		return e.undoItem(c)
	case chSubstitute:
		return e.must(refuse(ErrReversed, "op", "that was undone before"), "UPDATE substitutes SET undone_op = ? WHERE id = ? AND undone_op = ''", e.op.ID, c.RowID)
	}
	return fmt.Errorf("%w: nobody knows how to take back a change of %q", ErrDamaged, c.What)
}

func (e *entry) undoJobState(c actChange) error {
	job, err := one[Job](e.DB, "job", c.RowID, "id = ?", c.RowID)
	if err != nil {
		return err
	}
	if job.State != c.Became {
		return refuse(ErrConflict, "op", "%s is %s by now, so that can not be undone", job.Code, job.State)
	}
	return e.jobState(&job, c.Was)
}

// overPlanned is the answer where a job was planned or released again since.
var errOverPlanned = refuse(ErrReversed, "op", "the job was planned or released anew since; undo that first")

func (e *entry) undoPromise(c actChange) error {
	r, err := one[Reservation](e.DB, "promise", c.RowID, "id = ?", c.RowID)
	if err != nil {
		return err
	}
	if c.Became == isOpen {
		ok, err := e.endPromise(r.ID, r.ItemID)
		if err == nil && !ok {
			err = errOverPlanned
		}
		return err
	}
	job, err := one[Job](e.DB, "job", r.JobID, "id = ?", r.JobID)
	if err != nil {
		return err
	}
	if job.State != "planned" && job.State != "running" {
		return refuse(ErrConflict, "op", "%s is %s by now, and nothing is promised to it any more; undo that first", job.Code, job.State)
	}
	st, err := e.standing(r.ItemID)
	if err != nil {
		return err
	}
	if err := e.canPromise(st, r.Qty, job, r.FromDay, r.ToDay); err != nil {
		return err
	}
	if err := e.must(errOverPlanned, "UPDATE reservations SET ended_at = NULL, ended_op = '' WHERE id = ? AND ended_at IS NOT NULL AND ended_op = ?", r.ID, c.OpID); err != nil {
		return err
	}
	e.reshelve(r.ItemID)
	return e.changed(chPromise, r.ID, isEnded, isOpen)
}

func (e *entry) undoPlan(c actChange) error {
	if c.Became == isOpen {
		ok, err := e.endPlan(c.RowID)
		if err == nil && !ok {
			err = errOverPlanned
		}
		return err
	}
	var over int64
	if err := e.Raw("SELECT count(*) FROM plans WHERE ended_at IS NULL AND job_id = (SELECT job_id FROM plans WHERE id = ?)", c.RowID).Scan(&over).Error; err != nil {
		return err
	}
	if over > 0 {
		return errOverPlanned
	}
	if err := e.must(errOverPlanned, "UPDATE plans SET ended_at = NULL, ended_op = '' WHERE id = ? AND ended_at IS NOT NULL AND ended_op = ?", c.RowID, c.OpID); err != nil {
		return err
	}
	return e.changed(chPlan, c.RowID, isEnded, isOpen)
}

func (e *entry) undoHeldFor(c actChange) error {
	was, err := readHeldFor(c.Was)
	if err != nil {
		return err
	}
	now, err := readHeldFor(c.Became)
	if err != nil {
		return err
	}
	var h struct {
		ItemID ItemID
		Qty    int64
		JobID  *JobID
	}
	if err := e.Raw("SELECT item_id, qty, job_id FROM holdings WHERE seq = ?", c.RowID).Scan(&h).Error; err != nil {
		return err
	}
	job := JobID(0)
	if h.JobID != nil {
		job = *h.JobID
	}
	if h.Qty != now.Qty || job != now.Job {
		st, err := e.standing(h.ItemID)
		if err != nil {
			return err
		}
		return refuse(ErrElsewhere, "op", "%s has moved since, or is out for another job: %s. Bring it back first, or book what is to be instead", st.called(), e.whoHas(st.ID))
	}
	return e.holdFor(c.RowID, h.ItemID, now, was)
}

func (e *entry) undoItem(c actChange) error {
	st, err := e.standing(ItemID(c.RowID))
	if err != nil {
		return err
	}
	if c.What == chHeldBack {
		if st.Held != c.Became {
			return refuse(ErrConflict, "op", "whether %s is held back was changed since, so that can not be undone", st.called())
		}
		return e.holdBack(st, c.Was)
	}
	e.reshelve(st.ID)
	if err := e.exec("UPDATE items SET retired_at = NULL WHERE id = ?", st.ID); err != nil {
		return err
	}
	return e.changed(chRetired, c.RowID, c.Became, c.Was)
}

// hasChanges says whether an op wrote down what it changed; those of older programs did not.
func (tx *Tx) hasChanges(opID string) (bool, error) {
	var n int64
	err := tx.Raw("SELECT count(*) FROM act_changes WHERE op_id = ?", opID).Scan(&n).Error
	return n > 0, err
}

// putBack puts what a mirrored movement brings back on the lists that it was on; false when the
// movement was booked before lists were written down.
func (e *entry) putBack(m ledger.Movement) (bool, error) {
	if m.Reverses == 0 {
		return false, nil
	}
	var off []actChange
	if err := e.Raw(`SELECT c.* FROM act_changes c JOIN movements m ON m.op_id = c.op_id AND m.line = c.line WHERE m.seq = ? AND c.what = ? ORDER BY c.id`, m.Reverses, string(chTakenOff)).Scan(&off).Error; err != nil {
		return false, err
	}
	var sum int64
	for _, c := range off {
		n, err := strconv.ParseInt(c.Was, 10, 64)
		if err != nil {
			return false, fmt.Errorf("%w: %q is no number of pieces", ErrDamaged, c.Was)
		}
		if err := e.exec("UPDATE holdings SET qty = qty + ? WHERE seq = ?", n, c.RowID); err != nil {
			return false, err
		}
		sum += n
	}
	if sum != 0 && sum != m.Qty {
		return false, fmt.Errorf("%w: %d of movement %d were on lists, not %d", ErrDamaged, sum, m.Reverses, m.Qty)
	}
	return sum != 0, nil
}
