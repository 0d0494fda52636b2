package store

import (
	"context"
	"time"

	"brasspeg/store/ledger"
)

// A Standing is an item with what a person asks of it: which part, where, who has it.
type Standing struct {
	Item
	PartCode    string
	PartName    string
	PartKind    string
	Designation string
	Edges       int        // of a new one
	At          []Heap     `gorm:"-"`
	Grinding    []Grinding `gorm:"-"` // what of it is at the grinder, none or one
}

// A Heap is how many of an item are in one place, and who has them when they are out.
type Heap struct {
	ItemID  ItemID
	PlaceID PlaceID
	Code    string
	Place   string
	Kind    PlaceKind
	Qty     int64
	Person  string
	Phone   string
	Job     string
	Since   Time
	Due     Day
}

// Standing reads a piece or a lot by tag, with every place that has any of it.
func (s *Store) Standing(ctx context.Context, tag string) (Standing, error) {
	var st Standing
	var err error
	r := s.read.WithContext(ctx).Raw(`SELECT i.*, p.code AS part_code, p.name AS part_name, p.kind AS part_kind, p.designation, p.edges
		FROM items i JOIN parts p ON p.id = i.part_id WHERE i.tag = ?`, tag).Scan(&st)
	if r.Error != nil {
		return st, r.Error
	}
	if r.RowsAffected == 0 {
		return st, refuse(ErrNotFound, "tag", "%s is not a piece or lot of this shop", tag)
	}
	if st.At, err = s.heaps(ctx, "i.id = ?", st.ID); err != nil {
		return st, err
	}
	st.Grinding, err = s.AtGrinder(ctx, st.ID)
	return st, err
}

func (s *Store) heaps(ctx context.Context, cond string, args ...any) ([]Heap, error) {
	var out []Heap
	err := s.read.WithContext(ctx).Raw(`SELECT s.item_id, s.place_id, p.code, p.name AS place, p.kind, s.qty,
		coalesce(pe.name, '') AS person, coalesce(pe.phone, '') AS phone, coalesce(j.code, '') AS job, h.since_at AS since, coalesce(h.due_day, '') AS due
		FROM stock s JOIN items i ON i.id = s.item_id JOIN places p ON p.id = s.place_id
		LEFT JOIN holdings h ON h.seq = (SELECT min(seq) FROM holdings WHERE item_id = s.item_id AND place_id = s.place_id AND qty > 0)
		LEFT JOIN people pe ON pe.id = h.person_id LEFT JOIN jobs j ON j.id = h.job_id
		WHERE s.qty > 0 AND p.outside = ? AND `+cond+` ORDER BY s.item_id, p.sort_key, p.code LIMIT 2000`, append([]any{false}, args...)...).Scan(&out).Error
	return out, err
}

// Heaps lists where every item of a part stands.
func (s *Store) Heaps(ctx context.Context, part PartID) ([]Heap, error) {
	return s.heaps(ctx, "i.part_id = ?", part)
}

// InPlace lists what a place holds.
func (s *Store) InPlace(ctx context.Context, place PlaceID) ([]Standing, error) {
	var out []Standing
	if err := s.read.WithContext(ctx).Raw(`SELECT i.*, p.code AS part_code, p.name AS part_name, p.kind AS part_kind, p.designation, p.edges
		FROM stock s JOIN items i ON i.id = s.item_id JOIN parts p ON p.id = i.part_id
		WHERE s.place_id = ? AND s.qty > 0 ORDER BY p.code, i.id LIMIT 1000`, place).Scan(&out).Error; err != nil {
		return nil, err
	}
	heaps, err := s.heaps(ctx, "s.place_id = ?", place)
	if err != nil {
		return nil, err
	}
	by := map[ItemID][]Heap{}
	for _, h := range heaps {
		by[h.ItemID] = append(by[h.ItemID], h)
	}
	ground, err := s.AtGrinder(ctx, 0)
	if err != nil {
		return nil, err
	}
	for i := range out {
		out[i].At = by[out[i].ID]
		for _, g := range ground {
			if g.ItemID == out[i].ID {
				out[i].Grinding = append(out[i].Grinding, g)
			}
		}
	}
	return out, nil
}

// ItemsOf lists the pieces and lots of a part.
func (s *Store) ItemsOf(ctx context.Context, part PartID) ([]Standing, error) {
	var out []Standing
	if err := s.read.WithContext(ctx).Raw(`SELECT i.*, p.code AS part_code, p.name AS part_name, p.kind AS part_kind, p.designation, p.edges
		FROM items i JOIN parts p ON p.id = i.part_id WHERE i.part_id = ? ORDER BY i.id LIMIT 1000`, part).Scan(&out).Error; err != nil {
		return nil, err
	}
	heaps, err := s.heaps(ctx, "i.part_id = ?", part)
	if err != nil {
		return nil, err
	}
	by := map[ItemID][]Heap{}
	for _, h := range heaps {
		by[h.ItemID] = append(by[h.ItemID], h)
	}
	ground, err := s.AtGrinder(ctx, 0)
	if err != nil {
		return nil, err
	}
	for i := range out {
		out[i].At = by[out[i].ID]
		for _, g := range ground {
			if g.ItemID == out[i].ID {
				out[i].Grinding = append(out[i].Grinding, g)
			}
		}
	}
	return out, nil
}

// A Line is one movement as a person reads it.
type Line struct {
	Seq      int64
	OpID     string
	At       Time
	Act      ledger.Act
	Actor    string
	Tag      string
	Part     string
	Qty      int64
	From, To string
	Job      string
	Reason   string
	Reverses *int64
	Undone   bool // a later movement mirrors it
}

// A LineFilter narrows the ledger. The zero value is everything.
type LineFilter struct {
	Item   ItemID
	Part   PartID
	Place  PlaceID
	Job    JobID
	Op     string
	Act    ledger.Act
	Actor  PersonID // who booked it, or, with Hands, through whose hands it went
	Hands  PlaceID
	Before int64 // seqs below this one; 0: from the newest
	After  int64 // seqs above this one
	Limit  int   // 0: 50
}

// Lines lists movements, newest first.
func (s *Store) Lines(ctx context.Context, f LineFilter) ([]Line, error) {
	q := `SELECT m.seq, m.op_id, m.at, m.act, coalesce(pe.name, '') AS actor, i.tag, p.code AS part, m.qty, a.name AS "from", b.name AS "to",
		coalesce(j.code, '') AS job, m.reason, m.reverses, EXISTS (SELECT 1 FROM movements r WHERE r.reverses = m.seq) AS undone
		FROM movements m JOIN items i ON i.id = m.item_id JOIN parts p ON p.id = i.part_id JOIN places a ON a.id = m.from_id JOIN places b ON b.id = m.to_id
		LEFT JOIN people pe ON pe.id = m.actor_id LEFT JOIN jobs j ON j.id = m.job_id WHERE 1 = 1`
	var args []any
	add := func(cond string, v ...any) { q += " AND " + cond; args = append(args, v...) }
	if f.Item != 0 {
		add("m.item_id = ?", f.Item)
	}
	if f.Part != 0 {
		add("i.part_id = ?", f.Part)
	}
	if f.Place != 0 {
		add("(m.from_id = ? OR m.to_id = ?)", f.Place, f.Place)
	}
	if f.Job != 0 {
		add("m.job_id = ?", f.Job)
	}
	if f.Op != "" {
		add("m.op_id = ?", f.Op)
	}
	if f.Act != "" {
		add("m.act = ?", string(f.Act))
	}
	switch {
	case f.Actor != 0 && f.Hands != 0:
		add("(m.actor_id = ? OR m.from_id = ? OR m.to_id = ?)", f.Actor, f.Hands, f.Hands)
	case f.Actor != 0:
		add("m.actor_id = ?", f.Actor)
	}
	if f.Before != 0 {
		add("m.seq < ?", f.Before)
	}
	if f.After != 0 {
		add("m.seq > ?", f.After)
	}
	if f.Limit <= 0 || f.Limit > 1000 {
		f.Limit = 50
	}
	var out []Line
	err := s.read.WithContext(ctx).Raw(q+" ORDER BY m.seq DESC LIMIT ?", append(args, f.Limit)...).Scan(&out).Error
	return out, err
}

// SeqAt is the number of the last movement before a time, 0 when there is none. Numbers rise with
// time, so it is found by halving, in one query that looks at as many lines as the ledger's length
// has binary digits.
func (s *Store) SeqAt(ctx context.Context, t time.Time) (int64, error) {
	const at = "(SELECT m.at FROM movements m WHERE m.seq = h.lo + (h.hi - h.lo + 1) / 2)"
	var seq int64
	err := s.read.WithContext(ctx).Raw(`WITH RECURSIVE h(lo, hi) AS (
		SELECT CAST(0 AS BIGINT), CAST(coalesce((SELECT max(seq) FROM movements), 0) AS BIGINT)
		UNION ALL
		SELECT CASE WHEN `+at+` < ? THEN h.lo + (h.hi - h.lo + 1) / 2 ELSE h.lo END,
			CASE WHEN `+at+` < ? THEN h.hi ELSE h.lo + (h.hi - h.lo + 1) / 2 - 1 END
		FROM h WHERE h.lo < h.hi)
		SELECT lo FROM h WHERE lo >= hi`, At(t), At(t)).Scan(&seq).Error
	return seq, err
}

// A Holding is an open issue: who has what, for which job, since when, until when.
type Holding struct {
	ItemID  ItemID
	Tag     string
	Part    string
	Name    string
	Qty     int64
	Place   string
	PlaceID PlaceID
	Person  string
	Phone   string
	Job     string
	Since   Time
	Due     Day
	Note    string
}

// Holdings lists what is out, the longest overdue first. person 0: everybody.
func (s *Store) Holdings(ctx context.Context, person PersonID, limit int) ([]Holding, error) {
	q := `SELECT h.item_id, i.tag, p.code AS part, p.name, h.qty, pl.name AS place, h.place_id, coalesce(pe.name, '') AS person, coalesce(pe.phone, '') AS phone,
		coalesce(j.code, '') AS job, h.since_at AS since, h.due_day AS due, h.note
		FROM holdings h JOIN items i ON i.id = h.item_id JOIN parts p ON p.id = i.part_id JOIN places pl ON pl.id = h.place_id
		LEFT JOIN people pe ON pe.id = h.person_id LEFT JOIN jobs j ON j.id = h.job_id WHERE h.qty > 0`
	var args []any
	if person != 0 {
		q, args = q+" AND h.person_id = ?", append(args, person)
	}
	var out []Holding
	err := s.read.WithContext(ctx).Raw(q+" ORDER BY CASE WHEN h.due_day = '' THEN '9999' ELSE h.due_day END, h.seq LIMIT ?", append(args, limit)...).Scan(&out).Error
	return out, err
}

// LastOp is the newest booking of a person that is not undone, for the undo button; "" when
// there is none. A job that was started or closed counts, whether or not anything moved.
func (s *Store) LastOp(ctx context.Context, actor PersonID) (opID string, at Time, err error) {
	type last struct {
		OpID string
		At   Time
	}
	var moved, job last
	db := s.read.WithContext(ctx)
	if err := db.Raw(`SELECT m.op_id, m.at FROM movements m WHERE m.actor_id = ? AND m.act <> 'reverse'
		AND NOT EXISTS (SELECT 1 FROM movements r WHERE r.reverses = m.seq) ORDER BY m.seq DESC LIMIT 1`, actor).Scan(&moved).Error; err != nil {
		return "", Time{}, err
	}
	if err := db.Raw(`SELECT c.op_id, o.at FROM act_changes c JOIN ops o ON o.op_id = c.op_id WHERE c.what = ? AND c.undone_op = '' AND o.actor_id = ? AND o.act <> 'reverse'
		ORDER BY c.id DESC LIMIT 1`, string(chJob), actor).Scan(&job).Error; err != nil {
		return "", Time{}, err
	}
	if job.OpID != "" && job.At.After(moved.At.Time) {
		moved = job
	}
	return moved.OpID, moved.At, nil
}

// A JobAct is an act that planned, started or closed a job.
type JobAct struct {
	OpID    string
	Act     ledger.Act
	ActorID PersonID
	At      Time
}

// LastJobAct is the act that brought a job into the state it is in, LastPlanAct the one that
// chose or released its stack; ok is false when there is none, or none that can be undone.
func (s *Store) LastJobAct(ctx context.Context, job JobID) (a JobAct, ok bool, err error) {
	return s.lastChange(ctx, "c.what = ? AND c.row_id = ?", string(chJob), job)
}

// LastPlanAct is the act that chose or released a job's stack; see LastJobAct.
func (s *Store) LastPlanAct(ctx context.Context, job JobID) (a JobAct, ok bool, err error) {
	return s.lastChange(ctx, "c.what = ? AND c.row_id IN (SELECT id FROM plans WHERE job_id = ?)", string(chPlan), job)
}

func (s *Store) lastChange(ctx context.Context, cond string, args ...any) (a JobAct, ok bool, err error) {
	var row struct {
		JobAct
		UndoneOp string
	}
	err = s.read.WithContext(ctx).Raw(`SELECT c.op_id, o.act, o.actor_id, o.at, c.undone_op FROM act_changes c JOIN ops o ON o.op_id = c.op_id
		WHERE `+cond+` ORDER BY c.id DESC LIMIT 1`, args...).Scan(&row).Error
	return row.JobAct, err == nil && row.OpID != "" && row.UndoneOp == "" && row.Act != ledger.Reverse, err
}
