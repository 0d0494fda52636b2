package store

import (
	"context"
	"fmt"
	"time"

	"gorm.io/gorm"

	"brasspeg/store/stack"
)

// A KitState says where a thing of a kit stands.
type KitState string

// The states of a thing of a kit.
const (
	KitReady  KitState = "ready"  // in its drawer, in the turret and free, or with the job already
	KitOut    KitState = "out"    // with somebody else
	KitHeld   KitState = "held"   // held back or in inspection
	KitLost   KitState = "lost"   // on record as lost, or nowhere
	KitLacks  KitState = "lacks"  // the shop has none
	KitWanted KitState = "wanted" // there, but promised to another job
)

// A KitLine is one thing a job needs.
type KitLine struct {
	Role, Tag, Part string
	Item            ItemID // 0: the shop has none
	Qty             int64
	State           KitState
	Place           string // code, where it is ready
	Who, Job        string // where it is out
	Back            Time   // when it is back, to the minute, where somebody said so
	BackDay         Day    // the day it is due back or free
	Says            string // of a gap
	Has             int64  // with the job already
	Stays           int64  // in the turret of the job's own station, free
	Takes           []KitTake
}

// A KitTake is so many pieces of a thing to be fetched from one place.
type KitTake struct {
	Place PlaceID
	Code  string
	Kind  PlaceKind
	Sort  string // where it comes on the walk through the crib
	Qty   int64
}

// There is how many of it are with the job or can be had.
func (l *KitLine) There() int64 {
	n := l.Has + l.Stays
	for _, t := range l.Takes {
		n += t.Qty
	}
	return n
}

// A JobKit is what a job needs and how much of it is there. Kit minus one is no kit.
type JobKit struct {
	Lines  []KitLine
	There  int
	From   Time   // when the last gap closes, where that is known to the minute
	Day    Day    // the day the last gap closes; "" when that is not known
	Known  bool   // whether it is known when all is there
	Chosen bool   // of the chosen stack; else of the best there is
	Says   string // "9 of 9 there: ready", "8 of 9 there; ready tomorrow 14:00 ..."
}

// Ready says whether all is there now.
func (k *JobKit) Ready() bool { return len(k.Lines) > 0 && k.There == len(k.Lines) }

// KitOf says what of a job's stack is there, and when the rest will be: of the chosen stack, else
// of the best there is, else of the nearest with its gaps.
func (s *Store) KitOf(ctx context.Context, r *Ready) (JobKit, error) {
	all, err := s.kits(ctx, []Ready{*r})
	if err != nil {
		return JobKit{}, err
	}
	return all[0], nil
}

// A kitHeap is so many of an item in one place, and who has them for which job when they are out.
type kitHeap struct {
	ItemID      ItemID
	Tag, Held   string
	Qty         int64
	PlaceID     PlaceID
	Kind        PlaceKind
	Code, Place string
	SortKey     string
	Seq         int64 // of the holding
	Person, Job string
	JobID       JobID
	JobOpen     bool
	DueDay      Day
	BackAt      Time
}

func (h *kitHeap) sort() string { return h.SortKey + "\x00" + h.Code }

// kitHeaps reads where items stand, by tag, with one query.
func kitHeaps(db *gorm.DB, tags []string) (map[string][]kitHeap, error) {
	out := map[string][]kitHeap{}
	if len(tags) == 0 {
		return out, nil
	}
	var rows []kitHeap
	if err := db.Raw(`SELECT i.id AS item_id, i.tag, i.held, coalesce(h.qty, s.qty) AS qty, p.id AS place_id, p.kind, p.code, p.name AS place, p.sort_key, coalesce(h.seq, 0) AS seq,
		coalesce(pe.name, '') AS person, coalesce(j.code, '') AS job, coalesce(j.id, 0) AS job_id, coalesce(j.state IN ('planned','running'), ?) AS job_open,
		coalesce(h.due_day, '') AS due_day, c.due_at AS back_at
		FROM stock s JOIN items i ON i.id = s.item_id JOIN places p ON p.id = s.place_id
		LEFT JOIN holdings h ON h.item_id = s.item_id AND h.place_id = s.place_id AND h.qty > 0
		LEFT JOIN people pe ON pe.id = h.person_id LEFT JOIN jobs j ON j.id = h.job_id LEFT JOIN comebacks c ON c.holding_seq = h.seq
		WHERE s.qty > 0 AND p.outside = ? AND i.retired_at IS NULL AND i.tag IN ? ORDER BY i.id, p.sort_key, p.code, h.seq`, false, false, tags).Scan(&rows).Error; err != nil {
		return nil, err
	}
	for _, h := range rows {
		out[h.Tag] = append(out[h.Tag], h)
	}
	return out, nil
}

// kits answers for any number of jobs with two queries.
func (s *Store) kits(ctx context.Context, ready []Ready) ([]JobKit, error) {
	db := s.read.WithContext(ctx)
	out := make([]JobKit, len(ready))
	var tags []string
	for i := range ready {
		out[i].Lines, out[i].Chosen = kitLines(&ready[i])
		for _, l := range out[i].Lines {
			if l.Tag != "" {
				tags = append(tags, l.Tag)
			}
		}
	}
	heaps, err := kitHeaps(db, tags)
	if err != nil {
		return nil, err
	}
	seats, err := s.Stations(ctx, 0)
	if err != nil {
		return nil, err
	}
	turret := map[StationID]PlaceID{}
	for _, st := range seats {
		turret[st.ID] = st.PlaceID
	}
	now := s.Now()
	for i := range out {
		out[i].settle(&ready[i].Job, heaps, turret[idOf(ready[i].Job.StationID)])
		out[i].sum(now)
	}
	return out, nil
}

// kitLines are the things of the chosen, best or nearest stack. What the shop does not own is
// a gap at once; what is promised to somebody else is one with a day.
func kitLines(r *Ready) ([]KitLine, bool) {
	var out []KitLine
	if r.Plan != nil {
		for _, p := range r.Plan.List() {
			out = append(out, KitLine{Role: p.Role, Tag: p.Tag, Part: p.Part, Qty: p.Qty})
		}
		return out, true
	}
	st := r.Best()
	if st == nil {
		return nil, false
	}
	pieces := piecesOf(st, &r.Request)
	for i, u := range st.Pieces {
		l := KitLine{Role: pieces[i].Role, Part: pieces[i].Part, Qty: pieces[i].Qty}
		if u.Item != nil {
			l.Tag = pieces[i].Tag
		}
		switch {
		case u.Item == nil:
			l.State, l.Says = KitLacks, "is not in the shop"
			if u.Need != nil {
				l.Says = "is not in the shop: " + u.Need.Text()
			}
		case u.Missing && u.Item.Status == stack.In:
			l.State, l.Says = KitWanted, "is promised to another job"
			if b := borrowOf(r, u.Item.ID); b != nil {
				l.BackDay, l.Job = Day(b.From), b.Job
				if b.Job != "" {
					l.Says = "is promised to " + b.Job
				}
			}
		}
		out = append(out, l)
	}
	return out, false
}

// borrowOf finds what a verdict says of a piece that is not free.
func borrowOf(r *Ready, item string) *stack.Borrow {
	for _, o := range r.Verdict.Options {
		for _, m := range o.Parts {
			for i := range m.Owned {
				if m.Owned[i].Item != nil && m.Owned[i].Item.ID == item {
					return &m.Owned[i]
				}
			}
		}
	}
	return nil
}

// settle says where each thing is, and from where how many are fetched. Two lines of one lot
// share what there is of it, in order.
func (k *JobKit) settle(job *Job, all map[string][]kitHeap, turret PlaceID) {
	taken := map[int64]int64{} // by holding, and by place below 0
	for i := range k.Lines {
		l := &k.Lines[i]
		heaps := all[l.Tag]
		if len(heaps) > 0 {
			l.Item = heaps[0].ItemID
		}
		if l.State == "" {
			l.settle(job, heaps, turret, taken)
		}
		if l.State == KitReady {
			k.There++
		}
	}
}

func (l *KitLine) settle(job *Job, heaps []kitHeap, turret PlaceID, taken map[int64]int64) {
	need := l.Qty
	take := func(h *kitHeap) int64 {
		key := h.Seq
		if key == 0 {
			key = -int64(h.PlaceID)<<32 - int64(h.ItemID)
		}
		n := min(need, h.Qty-taken[key])
		taken[key] += n
		need -= n
		if n > 0 {
			l.Place = h.Code
		}
		return n
	}
	// First what the job has, then what its turret has, then the drawers, then other turrets.
	for stage := range 4 {
		for i := range heaps {
			h := &heaps[i]
			if h.Held != "" {
				continue
			}
			own := h.Kind.Holds() && h.JobID == job.ID && job.ID != 0
			idle := h.Kind == StationAt && !h.JobOpen && !own
			switch {
			case stage == 0 && own:
				l.Has += take(h)
			case stage == 1 && idle && h.PlaceID == turret:
				l.Stays += take(h)
			case stage == 2 && h.Kind == Bin || stage == 3 && idle && h.PlaceID != turret:
				if n := take(h); n > 0 {
					if k := len(l.Takes); k > 0 && l.Takes[k-1].Place == h.PlaceID { // two holdings of one turret
						l.Takes[k-1].Qty += n
					} else {
						l.Takes = append(l.Takes, KitTake{h.PlaceID, h.Code, h.Kind, h.sort(), n})
					}
				}
			}
		}
	}
	if need <= 0 {
		l.State = KitReady
		return
	}
	l.State, l.Says = KitLost, "it is nowhere on record"
	for _, h := range heaps {
		switch {
		case h.Held != "" || h.Kind == Inspection:
			l.State, l.Says = KitHeld, "held back"
			if h.Held != "" {
				l.Says += ": " + h.Held
			}
		case h.Kind == Lost:
			l.State, l.Says = KitLost, "on record as lost"
		case h.Kind.Holds() && h.JobID != job.ID && (h.JobOpen || h.Kind != StationAt):
			l.State, l.Who, l.Job, l.Back, l.BackDay = KitOut, h.Place, h.Job, h.BackAt, h.DueDay
			if h.Person != "" {
				l.Who = h.Person
			}
			l.Says = "with " + l.Who
			if h.Job != "" {
				l.Says += " for " + h.Job
			}
			return
		}
	}
	if n := l.There(); n > 0 && l.State == KitLost {
		l.State, l.Says = KitLacks, fmt.Sprintf("%d of %d there", n, l.Qty)
	}
}

// sum says how the kit stands.
func (k *JobKit) sum(now time.Time) {
	if len(k.Lines) == 0 {
		k.Says = "no stack is known"
		return
	}
	k.Says = fmt.Sprintf("%d of %d there", k.There, len(k.Lines))
	if k.Ready() {
		k.Known, k.Day = true, DayOf(now)
		k.Says += ": ready"
		return
	}
	k.Known = true
	exact := true
	var gaps []string
	for _, l := range k.Lines {
		if l.State == KitReady {
			continue
		}
		gap := l.Role
		if l.Tag != "" {
			gap += " " + l.Tag
		}
		if l.Says != "" {
			gap += " " + l.Says
		}
		gaps = append(gaps, gap)
		switch {
		case !l.Back.IsZero():
			k.Day = max(k.Day, DayOf(l.Back.In(now.Location())))
			if l.Back.After(k.From.Time) {
				k.From = l.Back
			}
		case l.BackDay != "":
			if l.BackDay >= k.Day {
				exact = false
			}
			k.Day = max(k.Day, l.BackDay)
		default:
			k.Known = false
		}
	}
	text := ""
	for i, g := range gaps {
		if i == 3 {
			text += fmt.Sprintf("; %d more", len(gaps)-3)
			break
		}
		if i > 0 {
			text += "; "
		}
		text += g
	}
	switch {
	case !k.Known:
		k.Day, k.From = "", Time{}
		k.Says += "; when the rest comes is not known: " + text
	case exact && !k.From.IsZero() && DayOf(k.From.In(now.Location())) == k.Day:
		k.Says += "; ready " + dayWord(k.Day, now) + " " + k.From.In(now.Location()).Format("15:04") + ": " + text
	default:
		k.From = Time{}
		k.Says += "; ready " + dayWord(k.Day, now) + ": " + text
	}
}

// dayWord names a day as people say it.
func dayWord(d Day, now time.Time) string {
	switch today := DayOf(now); d {
	case today:
		return "today"
	case today.Add(1):
		return "tomorrow"
	}
	if t, err := time.Parse(time.DateOnly, string(d)); err == nil {
		return t.Format("Mon 2 Jan 2006")
	}
	return string(d)
}

// SayBack notes when a thing that is out will be back, to the minute; the day it is due follows.
// It is for who has it, or who stands at the window.
func (s *Store) SayBack(ctx context.Context, o Op, item ItemID, at time.Time) (Receipt, error) {
	return s.op(ctx, o, ActRemark, struct {
		Back ItemID
		At   time.Time
	}{item, at}, func(e *entry) error {
		st, err := e.standing(item)
		if err != nil {
			return err
		}
		if at.Before(e.now.Time) {
			return refuse(ErrBadInput, "at", "%s is past; say when it will be back", at.In(e.s.clock().Location()).Format("2006-01-02 15:04"))
		}
		from, _, err := e.holder(st, 0)
		if err != nil {
			return err
		}
		if err := e.forHimself(from); err != nil {
			return err
		}
		var seqs []int64
		if err := e.Raw("SELECT seq FROM holdings WHERE item_id = ? AND place_id = ? AND qty > 0 ORDER BY seq", st.ID, from.ID).Scan(&seqs).Error; err != nil {
			return err
		}
		day := DayOf(at.In(e.s.clock().Location()))
		for _, seq := range seqs {
			if err := e.exec("DELETE FROM comebacks WHERE holding_seq = ?", seq); err != nil {
				return err
			}
			if err := e.exec("INSERT INTO comebacks (holding_seq, due_at, actor_id, created_at) VALUES (?,?,?,?)", seq, At(at), e.op.Actor, e.now); err != nil {
				return err
			}
			if err := e.exec("UPDATE holdings SET due_day = ? WHERE seq = ?", string(day), seq); err != nil {
				return err
			}
		}
		e.after = append(e.after, func() { e.s.shelf.touch(item) })
		e.receipt.Says = fmt.Sprintf("%s will be back %s.", st.called(), at.In(e.s.clock().Location()).Format("Mon 2 Jan 15:04"))
		return nil
	})
}
