package store

import (
	"cmp"
	"context"
	"slices"

	"gorm.io/gorm"
)

// A Substitute is what a job was given instead of what was planned for it: another part, or
// another piece or box of the same part.
type Substitute struct {
	ID            int64
	JobID         JobID
	OpID          string
	PlannedTag    string
	PlannedPartID PartID
	ItemID        ItemID
	PartID        PartID
	Qty           int64
	ActorID       PersonID
	Why           string
	CreatedAt     Time
	UndoneOp      string
}

// A SubstituteRead is a substitute as a person reads it.
type SubstituteRead struct {
	Role                    string
	PlannedTag, PlannedPart string
	Tag, Part               string
	Qty                     int64
	Person, Why             string
	At                      Time
}

// Says is the line for page and sheet, without the name.
func (s *SubstituteRead) Says() string {
	planned, used := s.PlannedPart+" "+s.PlannedTag, s.Part+" "+s.Tag
	if s.Part == s.PlannedPart {
		used += ", the same part"
	}
	return "planned " + planned + ", used " + used
}

// A plannedPart is a place of a job's chosen stack with what stands for it in the catalogue.
type plannedPart struct {
	Tag, Kind string
	PartID    PartID
}

// plannedFor is what was chosen for a job; empty of a job that nothing is chosen for.
func (e *entry) plannedFor(job JobID) ([]plannedPart, error) {
	if job == 0 {
		return nil, nil
	}
	plans, err := openPlans(e.DB, []JobID{job})
	if err != nil || len(plans) == 0 {
		return nil, err
	}
	var rows []plannedPart
	if err := e.Raw("SELECT i.tag, p.kind, p.id AS part_id FROM items i JOIN parts p ON p.id = i.part_id WHERE i.tag IN ?", plans[0].Tags()).Scan(&rows).Error; err != nil {
		return nil, err
	}
	var out []plannedPart // in the order of the stack
	for _, tag := range plans[0].Tags() {
		if i := slices.IndexFunc(rows, func(p plannedPart) bool { return p.Tag == tag }); i >= 0 {
			out = append(out, rows[i])
		}
	}
	return out, nil
}

// substituted notes that a job gets something else than what was chosen for that place: first
// of the same part, else of the same kind. What the stack has no place for is an addition, and
// no substitute.
func (e *entry) substituted(planned []plannedPart, st standing, qty int64, in IssueIn) error {
	if len(planned) == 0 || slices.ContainsFunc(planned, func(p plannedPart) bool { return p.Tag == st.Tag }) {
		return nil
	}
	var kind string
	if err := e.Raw("SELECT kind FROM parts WHERE id = ?", st.PartID).Scan(&kind).Error; err != nil {
		return err
	}
	i := slices.IndexFunc(planned, func(p plannedPart) bool { return p.PartID == st.PartID })
	if i < 0 {
		i = slices.IndexFunc(planned, func(p plannedPart) bool { return p.Kind == kind })
	}
	if i < 0 {
		return nil
	}
	row := Substitute{JobID: in.Job, OpID: e.op.ID, PlannedTag: planned[i].Tag, PlannedPartID: planned[i].PartID, ItemID: st.ID, PartID: st.PartID,
		Qty: qty, ActorID: e.op.Actor, Why: cmp.Or(in.Note, in.Override), CreatedAt: e.now}
	if err := e.Create(&row).Error; err != nil {
		return err
	}
	return e.changed(chSubstitute, row.ID, "", "made")
}

// Substitutes lists what a job was given instead of what was planned, in order.
func (s *Store) Substitutes(ctx context.Context, job JobID) ([]SubstituteRead, error) {
	return substitutes(s.read.WithContext(ctx), job)
}

func substitutes(db *gorm.DB, job JobID) ([]SubstituteRead, error) {
	var out []SubstituteRead
	return out, db.Raw(`SELECT a.kind AS role, s.planned_tag, a.code AS planned_part, i.tag, b.code AS part, s.qty, pe.name AS person, s.why, s.created_at AS at
		FROM substitutes s JOIN parts a ON a.id = s.planned_part_id JOIN parts b ON b.id = s.part_id JOIN items i ON i.id = s.item_id JOIN people pe ON pe.id = s.actor_id
		WHERE s.job_id = ? AND s.undone_op = '' ORDER BY s.id LIMIT 100`, job).Scan(&out).Error
}
