package server

import (
	"context"
	"fmt"
	"strings"

	"brasspeg/server/access"
	"brasspeg/store"
)

// lookAtKit finds the kit of the job whose card lies on the Window with nothing to hand out
// beside it, and notes on the page which pieces were shown: what is started is what was seen.
func (s *Server) lookAtKit(ctx context.Context, v viewer, h *hand) error {
	if h.job == nil || len(h.items) > 0 || h.bin != nil || h.act != "" && h.act != "partly" || access.Of(v.role, access.StartJobs) == access.No {
		return nil
	}
	if h.job.State != "planned" && h.job.State != "running" {
		h.noKit = h.job.Code + " is " + h.job.State + "; no kit is issued for it."
		return nil
	}
	p, err := s.pickingOf(ctx, *h.job)
	if err != nil {
		return err
	}
	if p == nil {
		h.noKit = h.job.Code + " has no kit: no stack is chosen, and none can be built of what is there. Its page says what is missing and who has it."
		return nil
	}
	if h.job.State == "running" && p.Left() == 0 { // all that there is of it is out
		h.noKit = "All that there is of the kit of " + h.job.Code + " is out."
		return nil
	}
	h.picking = p
	if tags := p.Tags(); h.seen == nil {
		h.seen = tags
		h.tokens = append(h.tokens, kitToken+strings.Join(tags, " "))
	}
	return nil
}

// pickingOf is a job's kit as it would be fetched now; nil when no stack is known that it could
// be the kit of.
func (s *Server) pickingOf(ctx context.Context, j store.Job) (*store.Picking, error) {
	r, err := s.store.Check(ctx, j)
	if err != nil || r.Err != nil || r.Plan == nil && !r.Verdict.Buildable {
		return nil, err
	}
	p, err := s.store.PickingOf(ctx, &r)
	return &p, err
}

// planKit starts the job on Enter alone; what is not there stops it until what is there is asked
// for.
func (h *hand) planKit(p *plan) {
	switch {
	case h.station != nil:
		p.to = h.station.ID
	case h.who != nil:
		p.to = h.who.PlaceID
	}
	p.partly = h.act == "partly"
	if h.yes || p.partly {
		p.act = store.ActStart
		return
	}
	where := h.picking.To.Name
	switch {
	case h.station != nil:
		where = h.station.Name
	case h.who != nil:
		where = "the hands of " + h.who.Name
	case where == "":
		p.next = h.job.Code + " has no station yet: scan the badge of whoever takes the kit, or a kit place. Or scan what is taken."
		return
	}
	if len(h.picking.Gaps) > 0 {
		p.next = fmt.Sprintf("%d of %d there. Scan the partly card, or type PARTLY, to issue what is there to %s. Or scan what is taken.", h.picking.There, len(h.picking.Lines), where)
		return
	}
	p.next = "Enter: issue the whole kit to " + where + " and start " + h.job.Code + ". Or scan a badge or a station it goes to instead, or what is taken."
	if !h.picking.Chosen {
		p.next = "No stack is chosen yet; this is the best. " + p.next
	}
}

// kitViewOf is a kit for a page.
func kitViewOf(job string, p *store.Picking, see holders) *kitView {
	v := &kitView{Caption: "The kit of " + job + ", drawer by drawer"}
	what := func(l *store.KitLine) string { return strings.TrimSpace(l.Role + " " + l.Part) }
	href := func(l *store.KitLine) string {
		if l.Tag == "" {
			return ""
		}
		return "/t/" + pathOf(l.Tag)
	}
	for _, st := range p.Stops {
		l := &p.Lines[st.Line]
		v.Stops = append(v.Stops, stopRow{st.Code, what(l), l.Tag, href(l), fmt.Sprint(st.Qty)})
	}
	for i := range p.Stay {
		l := &p.Stay[i]
		says := fmt.Sprintf("%d with the job", l.Has)
		if l.Stays > 0 {
			says = fmt.Sprintf("%d in the turret, stays there", l.Stays)
		}
		v.Stay = append(v.Stay, stayRow{what(l), l.Tag, href(l), says})
	}
	for i := range p.Gaps {
		l := &p.Gaps[i]
		v.Gaps = append(v.Gaps, gapRow{what(l), l.Tag, href(l), gapSays(l, see)})
	}
	return v
}

// gapSays says of a thing that is not there who has it and when it is back.
func gapSays(l *store.KitLine, see holders) string {
	says := sentence(veilName(see, l.Who).Replace(l.Says))
	switch {
	case !l.Back.IsZero():
		says += " Back " + clock(l.Back.Time) + "."
	case l.BackDay != "":
		says += " Back or free on " + string(l.BackDay) + "."
	}
	return says
}
