package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"gorm.io/gorm"
)

// A PartChange is a part as a person wants it, from the version he read. The entry holds every
// value as the form does; one that is left out is taken away.
type PartChange struct {
	Part    PartID
	Version int
	Entry   PartEntry

	Over    int  // the later version he has seen meanwhile; what he did not touch stays as it is there
	Another bool // he has seen what it looks like since, and it is another thing
	Broken  bool // he has seen which jobs can not be built then
}

// A Changed says that somebody else changed a part since it was read. It is an ErrConflict;
// the change may be sent again with Over set to Version.
type Changed struct {
	Code    string
	Version int
	Since   []RecordChange // newest first
	Was     PartEntry      // as it was read
	Now     PartEntry
}

func (c *Changed) Error() string {
	var all []string
	for _, x := range c.Since {
		all = append(all, fmt.Sprintf("%s %s", x.By, x.Said))
	}
	if len(all) == 0 {
		all = []string{"somebody changed it"}
	}
	return fmt.Sprintf("%s was changed while you wrote: %s. Your text is kept; what you did not touch stays as it is now", c.Code, strings.Join(all, "; "))
}

// Unwrap makes a Changed an ErrConflict.
func (c *Changed) Unwrap() error { return ErrConflict }

// A RecordChange is one change of a part's record.
type RecordChange struct {
	OpID    string
	Version int // of the record after it
	At      Time
	By      string
	How     string // changed, taken back, retired, in use again
	Said    string // old and new, in words
}

// since is what others changed of a record after a version, and how it stood at that version.
func since(db *gorm.DB, st partState, version int) (*Changed, error) {
	c := &Changed{Code: st.Part.Code, Version: st.Part.Version}
	var err error
	if c.Now, err = entryOf(db, st); err != nil {
		return c, err
	}
	c.Was = c.Now
	if c.Since, err = recordChanges(db, st.Part.ID, version, 20); err != nil {
		return c, err
	}
	var was string
	if err := db.Raw("SELECT was FROM part_changes WHERE part_id = ? AND version > ? ORDER BY version LIMIT 1", st.Part.ID, version).Scan(&was).Error; err != nil || was == "" {
		return c, err
	}
	var old partState
	if err := json.Unmarshal([]byte(was), &old); err != nil {
		return c, err
	}
	if old.Part.Version == version { // else something between was no change of a person's
		c.Was, err = entryOf(db, old)
	}
	return c, err
}

func recordChanges(db *gorm.DB, part PartID, after, limit int) ([]RecordChange, error) {
	var out []RecordChange
	return out, db.Raw(`SELECT c.op_id, c.version, c.at, p.name AS "by", c.how, c.said FROM part_changes c JOIN people p ON p.id = c.by_id
		WHERE c.part_id = ? AND c.version > ? ORDER BY c.version DESC LIMIT ?`, part, after, limit).Scan(&out).Error
}

// PartChanges lists what people changed of a part's record, newest first, at most limit.
func (s *Store) PartChanges(ctx context.Context, part PartID, limit int) ([]RecordChange, error) {
	return recordChanges(s.read.WithContext(ctx), part, 0, limit)
}

// ChangePart changes a part's record. What is typed is read by the rules of EnterPart. A
// *Changed says what somebody else changed since it was read; a *Double what it looks like
// now and did not before; a *Breaks which jobs could not be built any more: each is told
// before anything is saved, and passed by the field of the change named for it. The audit and
// the record's own list say old and new. A change of nothing changes nothing.
func (s *Store) ChangePart(ctx context.Context, o Op, in PartChange) (Receipt, error) {
	db := s.read.WithContext(ctx)
	want, no := s.wanted(ctx, db, in)
	var breaks *Breaks
	if no == nil && !in.Broken {
		breaks, no = s.breaks(ctx, want.from, want.in)
	}
	var like likeness
	r, err := s.op(ctx, o, ActPart, in, func(e *entry) error {
		like = likeness{}
		if no != nil { // told only to a new act: one answered before gets its answer
			return no
		}
		if err := e.end(); err != nil { // one at a time, on every engine
			return err
		}
		if breaks != nil {
			return breaks
		}
		now, err := stateOf(e.DB, in.Part)
		if err != nil {
			return err
		}
		if now.Part.Version != want.from.Part.Version { // between the look and the act
			c, err := since(e.DB, now, want.from.Part.Version)
			if err != nil {
				return err
			}
			return c
		}
		if !now.Part.RetiredAt.IsZero() {
			return refuse(ErrRetired, "part", "%s is no longer in use; take it into use again first", now.Part.Code)
		}
		if len(want.says) == 0 {
			e.receipt.Says = fmt.Sprintf("Nothing of %s is changed.", now.Part.Code)
			return nil
		}
		if !in.Another {
			if like, err = e.newlyAlike(now.in(), want.in); err != nil {
				return err
			}
			if len(like.ids) > 0 {
				return errAlike
			}
		}
		return e.rewrite(now, want.in, "changed", strings.Join(want.says, "; "))
	})
	if errors.Is(err, errAlike) {
		same, lost := s.sameOf(ctx, like)
		if lost != nil {
			return r, lost
		}
		return r, &Double{Of: same}
	}
	return r, err
}

// A wanted is a change worked out against the record as it stands.
type wanted struct {
	from partState
	in   PartIn
	says []string
}

func (s *Store) wanted(ctx context.Context, db *gorm.DB, in PartChange) (wanted, error) {
	st, err := stateOf(db, in.Part)
	if err != nil {
		return wanted{}, err
	}
	e := in.Entry
	if st.Part.Version != in.Version {
		c, err := since(db, st, in.Version)
		if err != nil {
			return wanted{}, err
		}
		if in.Over != st.Part.Version {
			return wanted{}, c
		}
		e = overlay(e, c.Was, c.Now)
	}
	w := wanted{from: st}
	if w.in, w.says, err = s.changeTo(ctx, db, st, e); err != nil {
		return w, err
	}
	_, _, err = checkPart(w.in)
	return w, err
}

// newlyAlike is what the record would look like then and does not now.
func (e *entry) newlyAlike(was, in PartIn) (likeness, error) {
	before, err := alikes(e.DB, was)
	if err != nil {
		return likeness{}, err
	}
	like, err := alikes(e.DB, in)
	like.ids = slices.DeleteFunc(like.ids, func(id PartID) bool { return before.why[id] != "" })
	return like, err
}

// rewrite saves a record over the one read, with the row that tells of it.
func (e *entry) rewrite(was partState, in PartIn, how, said string) error {
	in.Part.ID, in.Part.Version = was.Part.ID, was.Part.Version
	p, sp, err := checkPart(in)
	if err != nil {
		return err
	}
	if bareCode(p.Code) != bareCode(was.Part.Code) {
		if err := e.rename(was.Part, p.Code); err != nil {
			return err
		}
	}
	if err := e.savePart(&p, in, sp); err != nil {
		return err
	}
	return e.recordChanged(was, how, said, p.Code)
}

// rename keeps the old code known: labels, notes and people still say it.
func (e *entry) rename(was Part, code string) error {
	if err := e.codeTaken(code, was.ID); err != nil {
		return err
	}
	if err := e.exec("DELETE FROM part_codes WHERE folded = ? AND part_id = ?", bareCode(code), was.ID); err != nil {
		return err
	}
	return e.exec("INSERT INTO part_codes (folded, code, part_id, why, by_id, created_at) VALUES (?,?,?,'linked',?,?) ON CONFLICT (folded) DO NOTHING",
		bareCode(was.Code), was.Code, was.ID, e.op.Actor, e.now)
}

// recordChanged keeps the record as it was, and tells the audit and the person.
func (e *entry) recordChanged(was partState, how, said, code string) error {
	b, err := json.Marshal(was)
	if err != nil {
		return err
	}
	if err := e.exec("INSERT INTO part_changes (op_id, part_id, version, by_id, how, said, was, at) VALUES (?,?,?,?,?,?,?,?)",
		e.op.ID, was.Part.ID, was.Part.Version+1, e.op.Actor, how, said, string(b), e.now); err != nil {
		return err
	}
	e.receipt.Says = fmt.Sprintf("%s: %s.", code, said)
	return e.Tx.note(e.op.Actor, "part "+how, code, said)
}

// UndoChange takes the last change of a part's record back; a change that another followed is
// refused with the one that did. broken says that a person has seen which jobs it breaks.
func (s *Store) UndoChange(ctx context.Context, o Op, changeOp string, broken bool) (Receipt, error) {
	db := s.read.WithContext(ctx)
	var breaks *Breaks
	was, st, no := lastChange(db, changeOp)
	if no == nil && !broken {
		breaks, no = s.breaks(ctx, st, was.in())
	}
	body := struct {
		UndoChange string
		Broken     bool
	}{changeOp, broken}
	return s.op(ctx, o, ActPart, body, func(e *entry) error {
		if no != nil {
			return no
		}
		if err := e.end(); err != nil {
			return err
		}
		if breaks != nil {
			return breaks
		}
		was, now, err := lastChange(e.DB, changeOp)
		if err != nil {
			return err
		}
		before, err := entryOf(e.DB, now)
		if err != nil {
			return err
		}
		after, err := entryOf(e.DB, was)
		if err != nil {
			return err
		}
		return e.rewrite(now, was.in(), "taken back", "taken back: "+strings.Join(differences(before, after, now.Facts, was.Facts), "; "))
	})
}

// lastChange reads what a change changed, and the record as it stands, which must be as that
// change left it.
func lastChange(db *gorm.DB, op string) (was, now partState, err error) {
	var row struct {
		PartID  PartID
		Version int
		How     string
		Was     string
	}
	if err = db.Raw("SELECT part_id, version, how, was FROM part_changes WHERE op_id = ?", op).Scan(&row).Error; err != nil {
		return was, now, err
	}
	if row.PartID == 0 {
		return was, now, refuse(ErrNotFound, "op", "no change of a part has that number")
	}
	if now, err = stateOf(db, row.PartID); err != nil {
		return was, now, err
	}
	if row.How == "retired" || row.How == "in use again" {
		return was, now, refuse(ErrConflict, "op", "%s was %s; do the opposite instead of taking it back", now.Part.Code, row.How)
	}
	if now.Part.Version != row.Version {
		later, err := recordChanges(db, row.PartID, row.Version, 1)
		if err == nil {
			by := "somebody changed it"
			if len(later) > 0 {
				by = later[0].By + " " + later[0].Said
			}
			err = refuse(ErrConflict, "op", "%s was changed again since: %s; only the last change can be taken back", now.Part.Code, by)
		}
		return was, now, err
	}
	return was, now, json.Unmarshal([]byte(row.Was), &was)
}
