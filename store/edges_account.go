package store

import (
	"context"
	"fmt"

	"gorm.io/gorm"

	"brasspeg/store/ledger"
	"brasspeg/store/life"
)

// A ReturnUnknownIn brings inserts back of which nobody knows how many edges are left.
type ReturnUnknownIn struct {
	Picks  []Pick
	Reason string
}

// ReturnUnknown takes inserts back whose edges nobody knows: to inspection, never to a shelf,
// until somebody looked. In the account of the job they stand as back with unknown edges.
func (s *Store) ReturnUnknown(ctx context.Context, o Op, in ReturnUnknownIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Return, struct{ Unknown ReturnUnknownIn }{in}, func(e *entry) error {
		if in.Reason == "" {
			in.Reason = "edges unknown"
		}
		return e.each(in.Picks, func(st standing, p Pick) error {
			from, job, err := e.holder(st, p.Place)
			if err != nil {
				return err
			}
			if err := e.forHimself(from); err != nil {
				return err
			}
			if st.edgesEach() == 0 {
				return refuse(ErrBadInput, "items", "%s has no edges to be unsure of; return it as it is", st.called())
			}
			return e.line(st, ledger.Movement{From: int64(from.ID), To: int64(e.s.places.code(CodeInspection)), Qty: p.Qty, Job: job, Reason: in.Reason})
		})
	})
}

// A LookedAtIn says how many edges somebody found on inserts that lay in inspection.
type LookedAtIn struct {
	Item  ItemID
	Qty   int64
	Edges int // left on each
	Job   JobID
}

// LookedAt takes inserts out of inspection once their edges were counted by eye: part-used ones
// to the part-used shelf, dead ones to scrap, unused ones home.
func (s *Store) LookedAt(ctx context.Context, o Op, in LookedAtIn) (Receipt, error) {
	return s.op(ctx, o, ledger.Transfer, struct{ LookedAt LookedAtIn }{in}, func(e *entry) error {
		return e.each([]Pick{{Item: in.Item, Qty: in.Qty}}, func(st standing, p Pick) error {
			each := st.edgesEach()
			if in.Edges < 0 || in.Edges > each || each == 0 {
				return refuse(ErrBadInput, "edges", "%s has %d edges each when new; %d can not be left", st.called(), each, in.Edges)
			}
			m := ledger.Movement{From: int64(e.s.places.code(CodeInspection)), Qty: p.Qty, Job: int64(in.Job), Reason: "looked at"}
			if in.Edges < each {
				_, err := e.useUp(st, m, in.Edges, 0)
				return err
			}
			home := st.home()
			if home == 0 {
				return refuse(ErrBadInput, "to", "%s has no home; transfer it to its bin", st.called())
			}
			m.To = int64(home)
			return e.line(st, m)
		})
	})
}

// An EdgeAccount is the table of edges issued, used, left, thrown away and unexplained.
type EdgeAccount struct {
	Rows  []life.Balance
	Total life.Balance
	Round []RoundUse
	Tub   Tub
}

// A RoundUse is a round insert of a job with no agreed number of indexings: what it was used
// for is counted, what is left can not be.
type RoundUse struct {
	Job, Part string
	Inserts   int // issued
	Used      int // indexings logged
}

// Tub is what should lie in the scrap tub: inserts used up, and their carbide where the
// catalogue gives the mass of one.
type Tub struct {
	Inserts   int
	Weighed   int     // of them with a mass on record
	Grams     float64 // of those
	GramsEach float64 // their mean; 0 without any
}

type accountKey struct {
	job JobID
	it  ItemID
}

// EdgeAccount adds up the edges of every job that was given inserts, newest job first, from the
// ledger and the log. What was undone does not count. It is a table about jobs, not people.
// from leaves out jobs that were closed and whose last day was before it; "" leaves out none, and
// reads the whole ledger.
func (s *Store) EdgeAccount(ctx context.Context, from Day) (EdgeAccount, error) {
	return edgeAccount(s.read.WithContext(ctx), from)
}

func edgeAccount(db *gorm.DB, from Day) (EdgeAccount, error) {
	// Asked as a list of jobs, so that their movements are looked up and not all read.
	const lately = " IN (SELECT id FROM jobs WHERE state <> 'closed' OR to_day >= ?)"
	var moves []struct {
		JobID  JobID
		Job    string
		ItemID ItemID
		Part   string
		Edges  int // of a new one
		Each   int // on each as it moved
		From   PlaceKind
		To     PlaceKind
		Reason string
		Qty    int
	}
	if err := db.Raw(`SELECT m.job_id, j.code AS job, m.item_id, p.code AS part, p.edges, coalesce(i.edges_left, p.edges) AS each, a.kind AS "from", b.kind AS "to", m.reason, sum(m.qty) AS qty
		FROM movements m JOIN items i ON i.id = m.item_id JOIN parts p ON p.id = i.part_id JOIN jobs j ON j.id = m.job_id JOIN places a ON a.id = m.from_id JOIN places b ON b.id = m.to_id
		WHERE m.job_id`+lately+` AND p.kind = 'insert' AND m.reverses IS NULL AND NOT EXISTS (SELECT 1 FROM movements r WHERE r.reverses = m.seq)
		GROUP BY m.job_id, j.code, m.item_id, p.code, p.edges, i.edges_left, a.kind, b.kind, m.reason
		ORDER BY m.job_id DESC, p.code, m.item_id, a.kind, b.kind, m.reason`, string(from)).Scan(&moves).Error; err != nil {
		return EdgeAccount{}, err
	}
	var runs []struct {
		JobID JobID
		Job   string
		Part  string
		Edges int
		Used  int
	}
	if err := db.Raw(`SELECT r.job_id, j.code AS job, p.code AS part, p.edges, count(*) AS used FROM edge_runs r JOIN jobs j ON j.id = r.job_id JOIN parts p ON p.id = r.part_id
		WHERE r.undone_op IS NULL AND r.job_id`+lately+` GROUP BY r.job_id, j.code, p.code, p.edges ORDER BY r.job_id DESC, p.code`, string(from)).Scan(&runs).Error; err != nil {
		return EdgeAccount{}, err
	}
	var held []struct {
		JobID  JobID
		Job    string
		ItemID ItemID
		Edges  int
		Each   int
		Qty    int
	}
	if err := db.Raw(`SELECT h.job_id, j.code AS job, h.item_id, p.edges, coalesce(i.edges_left, p.edges) AS each, sum(h.qty) AS qty
		FROM holdings h JOIN items i ON i.id = h.item_id JOIN parts p ON p.id = i.part_id JOIN jobs j ON j.id = h.job_id
		WHERE h.qty > 0 AND p.kind = 'insert' AND h.job_id`+lately+` GROUP BY h.job_id, j.code, h.item_id, p.edges, i.edges_left ORDER BY h.job_id DESC, h.item_id`, string(from)).Scan(&held).Error; err != nil {
		return EdgeAccount{}, err
	}
	var begun []struct {
		JobID  JobID
		ItemID ItemID
		Used   int // edges run since it was taken from its lot
	}
	if err := db.Raw(`SELECT u.job_id, u.item_id, u.used - (p.edges - coalesce(i.edges_left, p.edges)) AS used
		FROM edge_inserts u JOIN items i ON i.id = u.item_id JOIN parts p ON p.id = u.part_id
		WHERE u.edges > 0 AND u.ended_how IN ('','taken out') ORDER BY u.id DESC`).Scan(&begun).Error; err != nil {
		return EdgeAccount{}, err
	}

	acc := EdgeAccount{}
	tally := map[JobID]*life.InsertTally{}
	round := map[string]*RoundUse{}
	var order []JobID
	of := func(id JobID, code string) *life.InsertTally {
		t := tally[id]
		if t == nil {
			t = &life.InsertTally{Job: code, EdgesPerInsert: 1} // counted in edges throughout: a job may have inserts of several kinds
			tally[id] = t
			order = append(order, id)
		}
		return t
	}
	roundOf := func(job, part string) *RoundUse {
		r := round[job+"\x00"+part]
		if r == nil {
			r = &RoundUse{Job: job, Part: part}
			round[job+"\x00"+part] = r
		}
		return r
	}
	for _, m := range moves {
		if m.Edges == 0 {
			if !m.From.Holds() && m.To.Holds() {
				roundOf(m.Job, m.Part).Inserts += m.Qty
			}
			continue
		}
		t := of(m.JobID, m.Job)
		n := m.Each * m.Qty
		switch {
		case m.From == Bin && m.To.Holds():
			t.Inserts += n
		case m.From.Holds() && m.To == Bin:
			t.Inserts -= n
		case m.From.Holds() && m.To == Inspection:
			t.UnknownBack += m.Qty
		case m.From == UseAt && m.To == Bin:
			t.Left += n
		case m.To == ScrapAt && m.From != UseAt && n > 0:
			if !m.From.Holds() {
				t.Inserts += n
			}
			t.Thrown = append(t.Thrown, life.Thrown{Edges: n, Reason: m.Reason})
		}
	}
	for _, r := range runs {
		t := of(r.JobID, r.Job)
		t.Used += r.Used
		if r.Edges == 0 { // nothing can be left of it: what was used is what was issued
			t.Inserts += r.Used
			roundOf(r.Job, r.Part).Used += r.Used
		}
	}
	// Inserts still out, less the edges run on those of them that were begun.
	out := map[accountKey]int{}
	for _, h := range held {
		of(h.JobID, h.Job).Left += h.Each * h.Qty
		out[accountKey{h.JobID, h.ItemID}] = h.Qty
	}
	for _, u := range begun {
		if k := (accountKey{u.JobID, u.ItemID}); out[k] > 0 && u.Used > 0 {
			out[k]--
			tally[u.JobID].Left -= u.Used
		}
	}
	if err := thrownWithInserts(db, lately, from, of); err != nil {
		return acc, err
	}
	var list []life.InsertTally
	for _, id := range order {
		t := *tally[id]
		t.Left, t.Inserts = max(t.Left, 0), max(t.Inserts, 0)
		t.UnknownBack = min(t.UnknownBack, t.Inserts)
		list = append(list, t)
	}
	var err error
	if acc.Rows, acc.Total, err = life.Account(list); err != nil {
		return acc, fmt.Errorf("%w: the edge account: %w", ErrDamaged, err)
	}
	for _, id := range order {
		for _, r := range round {
			if r.Job == tally[id].Job {
				acc.Round = append(acc.Round, *r)
			}
		}
	}
	acc.Tub, err = tub(db)
	return acc, err
}

// thrownWithInserts adds the edges given up on inserts that were finished early.
func thrownWithInserts(db *gorm.DB, lately string, from Day, of func(JobID, string) *life.InsertTally) error {
	var rows []struct {
		JobID JobID
		Job   string
		Why   string
		Edges int
	}
	if err := db.Raw(`SELECT u.job_id, j.code AS job, u.thrown_why AS why, sum(u.thrown) AS edges FROM edge_inserts u JOIN jobs j ON j.id = u.job_id
		WHERE u.thrown > 0 AND u.job_id`+lately+` GROUP BY u.job_id, j.code, u.thrown_why ORDER BY u.job_id DESC, u.thrown_why`, string(from)).Scan(&rows).Error; err != nil {
		return err
	}
	for _, r := range rows {
		t := of(r.JobID, r.Job)
		t.Thrown = append(t.Thrown, life.Thrown{Edges: r.Edges, Reason: r.Why})
	}
	return nil
}

// tub counts the inserts whose way ended in scrap, and their carbide by the mass (WT, kg) of
// their catalogue records.
func tub(db *gorm.DB) (Tub, error) {
	var rows []struct {
		WT  *string
		Qty int
	}
	t := Tub{}
	if err := db.Raw(`SELECT f.value AS wt, sum(st.qty) AS qty FROM stock st JOIN items i ON i.id = st.item_id JOIN parts p ON p.id = i.part_id
		JOIN places pl ON pl.id = st.place_id LEFT JOIN part_facts f ON f.part_id = p.id AND f.symbol = 'WT'
		WHERE pl.kind = 'scrap' AND p.kind = 'insert' AND st.qty > 0 GROUP BY p.id, f.value ORDER BY p.id`).Scan(&rows).Error; err != nil {
		return t, err
	}
	for _, r := range rows {
		t.Inserts += r.Qty
		var kg float64
		if r.WT != nil {
			if _, err := fmt.Sscan(*r.WT, &kg); err == nil && kg > 0 {
				t.Weighed += r.Qty
				t.Grams += float64(r.Qty) * kg * 1000
			}
		}
	}
	if t.Weighed > 0 {
		t.GramsEach = t.Grams / float64(t.Weighed)
	}
	return t, nil
}
