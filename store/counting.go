package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"brasspeg/store/ledger"
)

// A CountTask asks for one item in one place to be counted.
type CountTask struct {
	ID          int64
	Day         Day
	ItemID      ItemID
	PlaceID     PlaceID
	Why         string
	CreatedAt   Time
	Found       *int64
	Was         *int64 // by the record when it was counted
	PlaceOk     *bool
	ConditionOk *bool
	Reason      string
	OpID        string
	CountedBy   *PersonID
	CountedAt   Time
}

// A CountTaskView is a task as the counter reads it: it does not say what the record says.
type CountTaskView struct {
	CountTask
	Tag     string
	Kind    string // piece or lot
	Part    string
	Name    string
	Box     string
	Place   string
	SortKey string
	Edges   *int // left on each, of a part-used lot
	Counter string
}

const countTaskSQL = `SELECT t.*, i.tag, i.kind, i.box, i.edges_left AS edges, p.code AS part, p.name, pl.code AS place, pl.sort_key, coalesce(pe.name, '') AS counter
	FROM count_tasks t JOIN items i ON i.id = t.item_id JOIN parts p ON p.id = i.part_id JOIN places pl ON pl.id = t.place_id LEFT JOIN people pe ON pe.id = t.counted_by`

// CountTasks lists what is to be counted, in walking order: everything still open. The record
// is not in it, so that nobody counts what he has read.
func (s *Store) CountTasks(ctx context.Context) ([]CountTaskView, error) {
	var out []CountTaskView
	err := s.read.WithContext(ctx).Raw(countTaskSQL + " WHERE t.counted_at IS NULL ORDER BY pl.sort_key, pl.code, p.code, t.id LIMIT 200").Scan(&out).Error
	for i := range out {
		out[i].Was = nil
	}
	return out, err
}

// Counted lists what was counted from a day on, newest first.
func (s *Store) Counted(ctx context.Context, from Day, limit int) ([]CountTaskView, error) {
	var out []CountTaskView
	return out, s.read.WithContext(ctx).Raw(countTaskSQL+" WHERE t.counted_at IS NOT NULL AND t.day >= ? ORDER BY t.counted_at DESC, t.id DESC LIMIT ?", string(from), limit).Scan(&out).Error
}

// An Accuracy says how many counts found the right quantity, in the right place, in the right
// condition, all three together.
type Accuracy struct {
	Counted, Right            int
	WrongQty, WrongPlace, Bad int
}

// Share is Right of Counted, 0..1; 0 when nothing was counted.
func (a Accuracy) Share() float64 {
	if a.Counted == 0 {
		return 0
	}
	return float64(a.Right) / float64(a.Counted)
}

// Accuracy looks at the counts from a day on.
func (s *Store) Accuracy(ctx context.Context, from Day) (Accuracy, error) {
	var a Accuracy
	err := s.read.WithContext(ctx).Raw(`SELECT count(*) AS counted,
		coalesce(sum(CASE WHEN found = was AND place_ok = ? AND condition_ok = ? THEN 1 ELSE 0 END), 0) AS "right",
		coalesce(sum(CASE WHEN found <> was THEN 1 ELSE 0 END), 0) AS wrong_qty,
		coalesce(sum(CASE WHEN place_ok = ? THEN 1 ELSE 0 END), 0) AS wrong_place,
		coalesce(sum(CASE WHEN condition_ok = ? THEN 1 ELSE 0 END), 0) AS bad
		FROM count_tasks WHERE counted_at IS NOT NULL AND day >= ?`, true, true, false, false, string(from)).Scan(&a).Error
	return a, err
}

// A heapToCount is an item in a bin with what speaks for counting it.
type heapToCount struct {
	ItemID  ItemID
	PlaceID PlaceID
	PartID  PartID
	Qty     int64
	Moves   int64 // since it was counted last
	Last    Day   // counted; empty: never
	Wrong   int64 // counts that did not agree before
	Refused int64 // requests that found none, lately
}

// PlanCounts makes today's list of at most n heaps: dear ones, much moved ones and those with
// a surprise behind them first; what was never counted gains with the days. A second call on
// the same day makes no second list. It returns how many tasks were made.
func (s *Store) PlanCounts(ctx context.Context, n int) (int, error) {
	if n <= 0 || n > 100 {
		return 0, refuse(ErrBadInput, "n", "%d counts a day; give 1 to 100", n)
	}
	buying, err := s.Buying(ctx)
	if err != nil {
		return 0, err
	}
	class := map[PartID]*BuyLine{}
	for _, l := range buying.Lines {
		class[l.ID] = l
	}
	today := s.Today()
	var heaps []heapToCount
	if err := s.read.WithContext(ctx).Raw(`SELECT s.item_id, s.place_id, i.part_id, s.qty,
			(SELECT count(*) FROM movements m WHERE m.item_id = s.item_id AND m.at > coalesce((SELECT max(t.counted_at) FROM count_tasks t WHERE t.item_id = s.item_id AND t.place_id = s.place_id), i.created_at)) AS moves,
			coalesce((SELECT max(t.day) FROM count_tasks t WHERE t.item_id = s.item_id AND t.place_id = s.place_id AND t.counted_at IS NOT NULL), '') AS last,
			(SELECT count(*) FROM count_tasks t WHERE t.item_id = s.item_id AND t.place_id = s.place_id AND t.found <> t.was) AS wrong,
			(SELECT count(*) FROM refused_requests r WHERE r.part_id = i.part_id AND r.day >= ?) AS refused
		FROM stock s JOIN items i ON i.id = s.item_id JOIN places p ON p.id = s.place_id
		WHERE s.qty > 0 AND p.kind = 'bin' AND NOT EXISTS (SELECT 1 FROM count_tasks t WHERE t.item_id = s.item_id AND t.place_id = s.place_id AND t.counted_at IS NULL)`,
		string(today.Add(-30))).Scan(&heaps).Error; err != nil {
		return 0, err
	}
	type scored struct {
		heapToCount
		score float64
		why   string
	}
	list := make([]scored, 0, len(heaps))
	for _, h := range heaps {
		if h.Last == today {
			continue
		}
		sc, why := 0.0, []string{}
		if l := class[h.PartID]; l != nil {
			worth := float64(l.Price.Cents) / 100 * float64(h.Qty)
			switch {
			case l.Class == 'A':
				sc += 3
				why = append(why, "class A")
			case l.Class == 'B':
				sc += 1.5
			}
			if worth > 500 {
				sc++
				why = append(why, "worth "+l.Price.Currency+fmt.Sprintf(" %.0f", worth))
			}
		}
		if h.Moves > 0 {
			sc += min(4, float64(h.Moves)/5)
			why = append(why, fmt.Sprintf("moved %d times since it was counted", h.Moves))
		}
		if h.Wrong > 0 {
			sc += 3 * float64(min(h.Wrong, 3))
			why = append(why, "it did not agree before")
		}
		if h.Refused > 0 {
			sc += 2 * float64(min(h.Refused, 3))
			why = append(why, "somebody asked and found none")
		}
		if h.Last == "" {
			sc++
			why = append(why, "never counted")
		} else {
			sc += min(3, float64(mustDay(today)-mustDay(h.Last))/90)
		}
		if len(why) == 0 {
			why = append(why, "last counted "+string(h.Last))
		}
		list = append(list, scored{h, sc, strings.Join(why, ", ")})
	}
	slices.SortFunc(list, func(a, b scored) int {
		return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.Last, b.Last), cmp.Compare(a.ItemID, b.ItemID), cmp.Compare(a.PlaceID, b.PlaceID))
	})
	made := 0
	err = s.book(ctx, func(tx *Tx) error {
		made = 0
		var have int64
		if err := tx.Raw("SELECT count(*) FROM count_tasks WHERE day = ? AND why NOT LIKE 'beside %'", string(today)).Scan(&have).Error; err != nil || have > 0 {
			return err
		}
		for _, h := range list[:min(n, len(list))] {
			if err := tx.addCountTask(h.ItemID, h.PlaceID, h.why); err != nil {
				return err
			}
			made++
		}
		return nil
	})
	return made, err
}

// PlanDrawer puts everything that stands in a bin by the record on the list to count, because
// who asks for it. It returns how many tasks are new; what is on the list already stays, and what
// was counted today is not asked for again.
func (s *Store) PlanDrawer(ctx context.Context, place PlaceID, who string) (int, error) {
	p, err := s.Place(ctx, place)
	if err != nil {
		return 0, err
	}
	if p.Kind != Bin {
		return 0, refuse(ErrBadInput, "place", "%s is not a bin", p.Code)
	}
	made := 0
	err = s.book(ctx, func(tx *Tx) error {
		made = 0
		var items []ItemID
		if err := tx.Raw(`SELECT s.item_id FROM stock s WHERE s.place_id = ? AND s.qty > 0
			AND NOT EXISTS (SELECT 1 FROM count_tasks t WHERE t.item_id = s.item_id AND t.place_id = s.place_id AND (t.counted_at IS NULL OR t.day = ?))
			ORDER BY s.item_id LIMIT 201`, place, string(s.Today())).Scan(&items).Error; err != nil {
			return err
		}
		if len(items) > 200 {
			return refuse(ErrBadInput, "place", "%s holds more than 200 different things by the record; count it in parts, from the list of the day", p.Code)
		}
		for _, id := range items {
			if err := tx.addCountTask(id, place, "the whole drawer is counted, asked for by "+who); err != nil {
				return err
			}
		}
		made = len(items)
		return nil
	})
	return made, err
}

// recount opens the task again that an undone count had closed: what it found counts no more.
func (e *entry) recount(opID string) error {
	return e.exec("UPDATE count_tasks SET found = NULL, was = NULL, place_ok = NULL, condition_ok = NULL, reason = '', op_id = '', counted_by = NULL, counted_at = NULL WHERE op_id = ?", opID)
}

func (tx *Tx) addCountTask(item ItemID, place PlaceID, why string) error {
	return tx.exec("INSERT INTO count_tasks (day, item_id, place_id, why, created_at) VALUES (?,?,?,?,?) ON CONFLICT (day, item_id, place_id) DO NOTHING",
		string(tx.s.Today()), item, place, why, tx.now)
}

// A CountTaskIn is what the counter found. PlaceOK: it lay where it belongs. ConditionOK: it
// is as it should be. Reason is needed when the quantity does not agree.
type CountTaskIn struct {
	Task        int64
	Found       int64
	PlaceOK     bool
	ConditionOK bool
	Reason      string
}

// CountTask books what was found against the record. Where the two differ and no reason is
// given it is ErrAsk, which does not say by how much: count once more, or say why. The
// difference is a movement to or from adjust, with the reason.
func (s *Store) CountTask(ctx context.Context, o Op, in CountTaskIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Count, in, func(e *entry) error {
		if in.Found < 0 || in.Found > 10_000_000 {
			return refuse(ErrBadInput, "found", "%d found; give a whole number, 0 or more", in.Found)
		}
		if err := e.end(); err != nil {
			return err
		}
		t, err := one[CountTask](e.DB, "count", in.Task, "id = ?", in.Task)
		if err != nil {
			return err
		}
		if !t.CountedAt.IsZero() {
			return refuse(ErrConflict, "task", "somebody has counted that already")
		}
		st, err := e.standing(t.ItemID)
		if err != nil {
			return err
		}
		if st.Kind == KindPiece && in.Found > 1 {
			return refuse(ErrBadInput, "found", "%s is one piece; %d can not be there", st.called(), in.Found)
		}
		was, err := e.onHand(t.ItemID, t.PlaceID)
		if err != nil {
			return err
		}
		if was != in.Found && strings.TrimSpace(in.Reason) == "" {
			return refuse(ErrAsk, "reason", "that is not what the record says; count %s once more, or give a reason and it is booked as counted", st.called())
		}
		if err := e.found(st, CountIn{Item: t.ItemID, Place: t.PlaceID, Found: in.Found, Reason: in.Reason}); err != nil {
			return err
		}
		if was == in.Found {
			e.receipt.Says = "Counted; it agrees."
		}
		return e.must(refuse(ErrConflict, "task", "somebody has counted that already"),
			"UPDATE count_tasks SET found = ?, was = ?, place_ok = ?, condition_ok = ?, reason = ?, op_id = ?, counted_by = ?, counted_at = ? WHERE id = ? AND counted_at IS NULL",
			in.Found, was, in.PlaceOK, in.ConditionOK, in.Reason, o.ID, o.Actor, e.now, in.Task)
	})
}

// found books a count. A piece that is not there is not gone from the shop's books: it counts
// as lost until somebody scans it.
func (e *entry) found(st standing, c CountIn) error {
	if st.Kind != KindPiece || c.Found != 0 {
		return e.countOne(st, c)
	}
	have, err := e.onHand(st.ID, c.Place)
	if err != nil || have == 0 {
		return err
	}
	return e.line(st, ledger.Movement{From: int64(c.Place), To: int64(e.s.places.code(CodeLost)), Qty: have, Reason: c.Reason})
}

// An Empty is the answer to a bin that was found empty.
type Empty struct {
	Receipt    Receipt
	Movers     []Line   // the last five movements of what should lie there
	Neighbours []string // the places that are to be counted now
}

// neighbours is how many places beside an empty bin are counted: what is missing often lies
// in the next one. Common practice, no source.
const neighbours = 3

// BinEmpty is the one scan of somebody who stands before an empty bin: the record goes to
// nothing at once, the bins beside it are put on the list to count, and the last movers are
// shown. A bin that is empty by the record too moves nothing, and its neighbours are counted
// all the same, for somebody expected something there.
func (s *Store) BinEmpty(ctx context.Context, o Op, place PlaceID) (Empty, error) {
	p, err := s.Place(ctx, place)
	if err != nil {
		return Empty{}, err
	}
	if p.Kind != Bin {
		return Empty{}, refuse(ErrBadInput, "place", "%s is not a bin", p.Code)
	}
	movers, err := s.Lines(ctx, LineFilter{Place: place, Limit: 5})
	if err != nil {
		return Empty{}, err
	}
	var out Empty
	out.Movers = movers
	out.Receipt, err = s.op(ctx, o, ledger.Count, struct{ Empty PlaceID }{place}, func(e *entry) error {
		if err := e.end(); err != nil {
			return err
		}
		var items []ItemID
		if err := e.Raw("SELECT item_id FROM stock WHERE place_id = ? AND qty > 0 ORDER BY item_id", place).Scan(&items).Error; err != nil {
			return err
		}
		if len(items) > 200 {
			return refuse(ErrBadInput, "place", "%s holds %d different things by the record; count it instead", p.Code, len(items))
		}
		for _, id := range items {
			st, err := e.standing(id)
			if err != nil {
				return err
			}
			if err := e.found(st, CountIn{Item: id, Place: place, Reason: "bin found empty"}); err != nil {
				return err
			}
		}
		near, err := e.beside(p)
		if err != nil {
			return err
		}
		var codes []string
		for _, n := range near {
			var there []ItemID
			if err := e.Raw("SELECT item_id FROM stock WHERE place_id = ? AND qty > 0 ORDER BY item_id LIMIT 50", n.ID).Scan(&there).Error; err != nil {
				return err
			}
			for _, id := range there {
				if err := e.addCountTask(id, n.ID, "beside "+p.Code+", which was found empty"); err != nil {
					return err
				}
			}
			codes = append(codes, n.Code)
		}
		e.receipt.Says = fmt.Sprintf("%s is empty on record too now.", p.Code)
		if len(items) == 0 {
			e.receipt.Says = fmt.Sprintf("%s was empty on record already.", p.Code)
		}
		if len(codes) > 0 {
			e.receipt.Says += " To count now: " + strings.Join(codes, ", ") + "."
		}
		return nil
	})
	if err == nil {
		if _, list, ok := strings.Cut(out.Receipt.Says, "To count now: "); ok { // the stored answer, on a repeat too
			out.Neighbours = strings.Split(strings.TrimSuffix(list, "."), ", ")
		}
	}
	return out, err
}

// beside finds the nearest bins in walking order that hold anything.
func (e *entry) beside(p Place) ([]Place, error) {
	var all []Place
	if err := e.Raw(`SELECT p.* FROM places p WHERE p.kind = 'bin' AND p.retired_at IS NULL AND (p.id = ? OR EXISTS (SELECT 1 FROM stock s WHERE s.place_id = p.id AND s.qty > 0))
		ORDER BY p.sort_key, p.code`, p.ID).Scan(&all).Error; err != nil {
		return nil, err
	}
	at := slices.IndexFunc(all, func(q Place) bool { return q.ID == p.ID })
	var out []Place
	for d := 1; d < len(all) && len(out) < neighbours; d++ {
		if at-d >= 0 {
			out = append(out, all[at-d])
		}
		if at+d < len(all) && len(out) < neighbours {
			out = append(out, all[at+d])
		}
	}
	return out, nil
}

// noteRefused remembers requests that found nothing: of things that come back they say how
// many are wanted at once. It never fails the act it belongs to.
func (s *Store) noteRefused(ctx context.Context, picks []Pick, job JobID, why error) {
	err := s.book(context.WithoutCancel(ctx), func(tx *Tx) error {
		seen := map[PartID]bool{}
		for _, p := range picks {
			st, err := tx.standing(p.Item)
			if err != nil || seen[st.PartID] {
				continue
			}
			seen[st.PartID] = true
			// The same hand at the same empty drawer, again and again, is one request.
			var n int64
			if err := tx.Raw("SELECT count(*) FROM refused_requests WHERE part_id = ? AND at > ?", st.PartID, At(tx.now.Add(-5*time.Minute))).Scan(&n).Error; err != nil || n > 0 {
				return err
			}
			if err := tx.exec("INSERT INTO refused_requests (part_id, job_id, day, why, at) VALUES (?,?,?,?,?)", st.PartID, null(int64(job)), string(s.Today()), why.Error(), tx.now); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		s.log.Error("a refused request was not noted", "error", err)
	}
}
