package store

import (
	"context"
	"fmt"
	"slices"

	"brasspeg/store/ledger"
)

// A JobThing is something that is out for a job.
type JobThing struct {
	Item  ItemID
	Tag   string
	Part  string
	Kind  string // of the part
	Edges int    // on each, of an insert
	Place PlaceID
	Code  string
	At    string // the person, station or kit that has it
	Where PlaceKind
	Qty   int64
	Home  string // code of the bin it belongs in
}

// Out lists what is out for a job, by place.
func (s *Store) Out(ctx context.Context, job JobID) ([]JobThing, error) {
	var out []JobThing
	return out, s.read.WithContext(ctx).Raw(`SELECT i.id AS item, i.tag, pa.code AS part, pa.kind, coalesce(i.edges_left, pa.edges) AS edges, p.id AS place, p.code, p.name AS at,
		p.kind AS "where", sum(h.qty) AS qty, coalesce(hm.code, '') AS home
		FROM holdings h JOIN items i ON i.id = h.item_id JOIN parts pa ON pa.id = i.part_id JOIN places p ON p.id = h.place_id
		LEFT JOIN places hm ON hm.id = coalesce(i.home_id, pa.home_id)
		WHERE h.qty > 0 AND h.job_id = ? GROUP BY i.id, i.tag, i.edges_left, pa.code, pa.kind, pa.edges, p.id, p.code, p.name, p.kind, hm.code
		ORDER BY p.code, i.id LIMIT 200`, job).Scan(&out).Error
}

// What becomes of a thing when its job is closed.
const (
	Keep   = "keep"   // it stays in the turret, which becomes its place
	Unload = "unload" // back to its bin
	Later  = "later"  // whoever has it brings it to the window
)

// A CloseLine says what becomes of one thing. Edges is what is left on each insert that is
// unloaded, nil for what has none.
type CloseLine struct {
	Item  ItemID
	Place PlaceID
	Do    string
	Edges *int
}

// A CloseIn closes a job.
type CloseIn struct {
	Job   JobID
	Lines []CloseLine
}

// CloseJob ends a job in one act. Everything that is out for it must be answered for: kept in
// the turret of the job's station, unloaded to its bin, or brought later. What was promised to
// it is released. Something not answered for is ErrBadInput and names it.
func (s *Store) CloseJob(ctx context.Context, o Op, in CloseIn) (Receipt, error) {
	return s.op(ctx, o, ActClose, in, func(e *entry) error {
		job, err := one[Job](e.DB, "job", in.Job, "id = ?", in.Job)
		if err != nil {
			return err
		}
		if job.State == "closed" {
			return refuse(ErrBadInput, "job", "%s is closed already", job.Code)
		}
		if err := e.end(); err != nil {
			return err
		}
		var station *Station
		if job.StationID != nil {
			st, err := one[Station](e.DB, "station", *job.StationID, "id = ?", *job.StationID)
			if err != nil {
				return err
			}
			station = &st
		}
		var open []struct {
			ItemID  ItemID
			PlaceID PlaceID
			Qty     int64
		}
		if err := e.Raw("SELECT item_id, place_id, sum(qty) AS qty FROM holdings WHERE qty > 0 AND job_id = ? GROUP BY item_id, place_id ORDER BY item_id, place_id", job.ID).Scan(&open).Error; err != nil {
			return err
		}
		e.fromJob = job.ID
		kept, back, later := 0, 0, 0
		for _, h := range open {
			st, err := e.standing(h.ItemID)
			if err != nil {
				return err
			}
			i := slices.IndexFunc(in.Lines, func(l CloseLine) bool { return l.Item == h.ItemID && (l.Place == h.PlaceID || l.Place == 0) })
			if i < 0 {
				return refuse(ErrBadInput, "lines", "%s is out for %s: say whether it stays in the turret, is unloaded, or comes later", st.called(), job.Code)
			}
			switch l := in.Lines[i]; l.Do {
			case Keep:
				kept++
				err = e.keep(st, h.PlaceID, h.Qty, &job, station)
			case Unload:
				back++
				err = e.unload(st, h.PlaceID, h.Qty, &job, l.Edges)
			case Later:
				later++
			default:
				err = refuse(ErrBadInput, "lines", "%q is none of keep, unload, later", l.Do)
			}
			if err != nil {
				return err
			}
		}
		if _, err := e.unplan(job.ID); err != nil {
			return err
		}
		if err := e.jobState(&job, "closed"); err != nil {
			return err
		}
		e.receipt.Says = fmt.Sprintf("Closed %s: %d kept in the turret, %d unloaded, %d to be brought.", job.Code, kept, back, later)
		return e.Tx.note(e.op.Actor, "job closed", job.Code, e.receipt.Says)
	})
}

// keep makes the turret the place of a thing: it stands there for no job.
func (e *entry) keep(st standing, at PlaceID, qty int64, job *Job, station *Station) error {
	if station == nil {
		return refuse(ErrBadInput, "lines", "%s has no station, so nothing can stay in its turret", job.Code)
	}
	if at != station.PlaceID {
		return e.line(st, ledger.Movement{Act: ledger.Transfer, From: int64(at), To: int64(station.PlaceID), Qty: qty, Reason: "kept in the turret after " + job.Code})
	}
	var open []struct {
		Seq, Qty int64
		DueDay   Day
	}
	if err := e.Raw("SELECT seq, qty, due_day FROM holdings WHERE item_id = ? AND place_id = ? AND job_id = ? AND qty > 0 ORDER BY seq", st.ID, at, job.ID).Scan(&open).Error; err != nil {
		return err
	}
	for _, h := range open {
		if err := e.holdFor(h.Seq, st.ID, heldFor{job.ID, h.DueDay, h.Qty}, heldFor{0, "", h.Qty}); err != nil {
			return err
		}
	}
	return nil
}

func (e *entry) unload(st standing, at PlaceID, qty int64, job *Job, edges *int) error {
	m := ledger.Movement{Act: ledger.Return, From: int64(at), Qty: qty, Job: int64(job.ID), Reason: "unloaded after " + job.Code}
	in := ReturnIn{Edges: edges}
	if each := st.edgesEach(); each > 0 {
		return e.returnInsert(st, m, in, each)
	}
	if edges != nil {
		return refuse(ErrBadInput, "lines", "%s has no edges to count", st.called())
	}
	to, err := e.backTo(st, in)
	if err != nil {
		return err
	}
	m.To = int64(to)
	return e.line(st, m)
}
