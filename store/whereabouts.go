package store

import (
	"fmt"
	"strings"
)

// onShelf finds the bin to take an item from, or says why it can not be taken.
func (e *entry) onShelf(st standing, at PlaceID) (Place, error) {
	if !st.RetiredAt.IsZero() {
		var why struct{ Reason string }
		e.Raw("SELECT reason FROM movements WHERE item_id = ? AND act = 'scrap' ORDER BY seq DESC LIMIT 1", st.ID).Scan(&why)
		return Place{}, refuse(ErrRetired, "item", "%s was scrapped on %s: %s", st.called(), DayOf(st.RetiredAt.Time), why.Reason)
	}
	if st.Held != "" {
		return Place{}, refuse(ErrHeld, "item", "%s is held back: %s", st.called(), st.Held)
	}
	from, err := e.single(st, at)
	if err != nil {
		return from, err
	}
	switch from.Kind {
	case Bin:
		return from, nil
	case Inspection:
		return from, refuse(ErrHeld, "item", "%s is in inspection; move it back to its bin first", st.called())
	case Lost:
		return from, refuse(ErrHeld, "item", "%s is on record as lost; if this is it, transfer it to its bin", st.called())
	}
	return from, refuse(ErrElsewhere, "item", "%s is not on the shelf: %s", st.called(), e.whoHas(st.ID))
}

// single is the one inside place an item stands in, or the one asked for.
func (e *entry) single(st standing, at PlaceID) (Place, error) {
	if at != 0 {
		return e.place(at)
	}
	heaps, err := e.whereIs(st.ID)
	if err != nil {
		return Place{}, err
	}
	var bins []Place
	var all []string
	for _, h := range heaps {
		p, err := e.place(h.PlaceID)
		if err != nil {
			return p, err
		}
		all = append(all, fmt.Sprintf("%d in %s", h.Qty, p.Code))
		if p.Kind == Bin {
			bins = append(bins, p)
		}
	}
	switch {
	case len(heaps) == 1:
		return e.place(heaps[0].PlaceID)
	case len(bins) == 1:
		return bins[0], nil
	case len(heaps) == 0:
		if !st.RetiredAt.IsZero() {
			return Place{}, refuse(ErrRetired, "item", "%s was scrapped on %s", st.called(), DayOf(st.RetiredAt.Time))
		}
		return Place{}, refuse(ErrShort, "item", "none of %s is left; it may be on order, or count its bin", st.called())
	}
	return Place{}, refuse(ErrBadInput, "place", "%s is in %d places (%s); scan the one you mean", st.called(), len(heaps), strings.Join(all, ", "))
}

// holder is the person, station or kit that has an item, with the job of its oldest issue.
func (e *entry) holder(st standing, at PlaceID) (Place, int64, error) {
	var open []struct {
		PlaceID PlaceID
		JobID   *int64
	}
	q := "SELECT place_id, job_id FROM holdings WHERE item_id = ? AND qty > 0"
	args := []any{st.ID}
	if at != 0 {
		q, args = q+" AND place_id = ?", append(args, at)
	}
	if err := e.Raw(q+" ORDER BY seq", args...).Scan(&open).Error; err != nil {
		return Place{}, 0, err
	}
	if len(open) == 0 {
		return Place{}, 0, refuse(ErrElsewhere, "item", "%s is not out, so it can not be returned: %s", st.called(), e.whoHas(st.ID))
	}
	for _, h := range open[1:] {
		if h.PlaceID != open[0].PlaceID {
			return Place{}, 0, refuse(ErrBadInput, "place", "%s is out in more than one place: %s; scan the badge or the station it comes from", st.called(), e.whoHas(st.ID))
		}
	}
	var job int64
	if open[0].JobID != nil {
		job = *open[0].JobID
	}
	p, err := e.place(open[0].PlaceID)
	return p, job, err
}

// whoHas says in words where an item is: who, which job, since when, until when.
func (tx *Tx) whoHas(id ItemID) string {
	var open []struct {
		Place, Person, Phone, Job, Due string
		Since                          Time
		Qty                            int64
	}
	tx.Raw(`SELECT pl.name AS place, coalesce(pe.name, '') AS person, coalesce(pe.phone, '') AS phone, coalesce(j.code, '') AS job, h.due_day AS due, h.since_at AS since, h.qty
		FROM holdings h JOIN places pl ON pl.id = h.place_id LEFT JOIN people pe ON pe.id = h.person_id LEFT JOIN jobs j ON j.id = h.job_id
		WHERE h.item_id = ? AND h.qty > 0 ORDER BY h.seq LIMIT 5`, id).Scan(&open)
	var out []string
	for _, h := range open {
		who := h.Place
		if h.Person != "" && h.Person != h.Place {
			who = h.Person + ", " + h.Place
		}
		if h.Phone != "" {
			who += " (" + h.Phone + ")"
		}
		if h.Job != "" {
			who += ", " + h.Job
		}
		who += ", since " + h.Since.Format("Mon 2 Jan 15:04")
		if h.Due != "" {
			who += ", due " + h.Due
		}
		out = append(out, who)
	}
	if len(out) > 0 {
		return strings.Join(out, "; ")
	}
	var at []string
	tx.Raw(`SELECT p.code FROM stock s JOIN places p ON p.id = s.place_id WHERE s.item_id = ? AND s.qty > 0 ORDER BY p.code LIMIT 5`, id).Scan(&at)
	if len(at) == 0 {
		return "it is nowhere on record"
	}
	return "it is in " + strings.Join(at, ", ")
}

// free refuses to hand out what is promised to another job before it is back, unless somebody says
// why it is done all the same; that is kept for all to see. back is the last day it is away, "" when
// nobody said: then every promise of a later day counts too, for on hand is not free.
func (e *entry) free(st standing, qty int64, job JobID, back Day, override string) error {
	if !st.Promised && !e.s.postgres { // there, another process may have promised it since
		return nil
	}
	today := e.s.Today()
	last := max(today, back)
	if back == "" {
		last = forever
	}
	type promise struct {
		Qty            int64
		Code           string
		FromDay, ToDay Day
	}
	var promised []promise
	err := e.list(sqlPromised, []any{int64(st.ID), string(last), string(today), int64(job)}, func(scan func(...any) error) error {
		var p promise
		if err := scan(&p.Qty, &p.Code, &p.FromDay, &p.ToDay); err != nil {
			return err
		}
		promised = append(promised, p)
		return nil
	})
	if err != nil || len(promised) == 0 {
		return err
	}
	sum := int64(0) // of the day on which most is promised: one job after the other uses the same bars
	for _, day := range promised {
		var n int64
		for _, p := range promised {
			if st.edgesEach() > 0 || p.FromDay <= day.FromDay && day.FromDay <= p.ToDay { // but eats its inserts
				n += p.Qty
			}
		}
		sum = max(sum, n)
	}
	var have int64
	if err := e.Raw(`SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN places p ON p.id = s.place_id WHERE s.item_id = ? AND p.kind = 'bin'`, st.ID).Scan(&have).Error; err != nil {
		return err
	}
	if have-sum >= qty {
		return nil
	}
	if strings.TrimSpace(override) != "" {
		if err := e.mayOverride("override"); err != nil {
			return err
		}
		return e.overrode(st.Tag, promised[0].Code, override)
	}
	first := promised[0]
	when := fmt.Sprintf("%s releases %d after %s", first.Code, first.Qty, first.ToDay)
	if first.FromDay > today {
		when = fmt.Sprintf("%s wants %d from %s to %s", first.Code, first.Qty, first.FromDay, first.ToDay)
	}
	return refuse(ErrPromised, "item", "%s: on hand %d, promised %d, free %d, short %d; %s. To take it all the same, give the reason",
		st.called(), have, sum, max(0, have-sum), qty-max(0, have-sum), when)
}

// forever is later than every day of a plan.
const forever Day = "9999-12-31"

// forHimself holds an operator to his own hands and the machines.
func (e *entry) forHimself(p Place) error {
	if e.role != Operator || p.Kind != PersonAt {
		return nil
	}
	var own PlaceID
	if err := e.Raw("SELECT place_id FROM people WHERE id = ?", e.op.Actor).Scan(&own).Error; err != nil {
		return err
	}
	if own != p.ID {
		return refuse(ErrForbidden, "to", "an operator takes and returns for himself; ask the attendant")
	}
	return nil
}
