package server

import (
	"context"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/labels"
	"brasspeg/server/drawing"
	"brasspeg/store"
	"brasspeg/store/stack"
)

// setupSheet prints a job's setup sheet on one page: GET /jobs/:code/setup.pdf. paper is a4 or
// letter.
func (s *Server) setupSheet(c echo.Context) error {
	ctx := c.Request().Context()
	paper := drawing.A4
	switch c.QueryParam("paper") {
	case "", "a4":
	case "letter":
		paper = drawing.Letter
	default:
		return &refusal{class: errInvalid, field: "paper", detail: "paper is a4 or letter"}
	}
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	r, err := s.store.Check(ctx, j)
	if err != nil {
		return err
	}
	if r.Err != nil {
		return r.Err
	}
	if !r.Verdict.Buildable && r.Chosen < 0 {
		return &refusal{class: errConflict, detail: j.Code + " cannot be built as things stand, so there is no stack to set up; its page says what is missing"}
	}
	v, _ := actor(c)
	sheet, err := s.sheetOf(ctx, &r, v.name)
	if err != nil {
		return err
	}
	pdf, err := drawing.Sheet(sheet, paper)
	if err != nil {
		return &refusal{class: errConflict, detail: err.Error()}
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, `inline; filename="setup-`+plainName(j.Code)+`.pdf"`)
	return c.Blob(http.StatusOK, "application/pdf", pdf)
}

// plainName keeps what a file name may hold on every system.
func plainName(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			return r
		}
		return '-'
	}, text)
}

// sheetOf is the setup sheet of the chosen or best stack.
func (s *Server) sheetOf(ctx context.Context, r *store.Ready, by string) (drawing.SetupSheet, error) {
	st := r.Best()
	machines, err := s.machineNames(ctx)
	if err != nil {
		return drawing.SetupSheet{}, err
	}
	where := machines[idOf(r.Job.MachineID)]
	if r.Job.StationID != nil {
		stations, err := s.store.Stations(ctx, idOf(r.Job.MachineID))
		if err != nil {
			return drawing.SetupSheet{}, err
		}
		for _, p := range stations {
			if p.ID == *r.Job.StationID {
				where += ", station " + figure(float64(p.Number), 0) + ", " + p.Interface
			}
		}
	}
	out := drawing.SetupSheet{
		Job: strings.TrimSuffix(r.Job.Code+", "+r.Job.Name, ", "), Machine: strings.TrimPrefix(where, ", "), By: by, Printed: s.store.Now().Local(),
		Side: sideOf("The stack for "+r.Job.Code, &r.Request, st), OverhangMM: st.Overhang, CentreHeight: centreHeight(st), Torques: torques(st), Cautions: cautions(&r.Request, st),
		Coolant: coolantLine(&r.Request, st),
	}
	kit, err := s.store.KitOf(ctx, r)
	if err != nil {
		return out, err
	}
	order, err := s.walkingOrder(ctx)
	if err != nil {
		return out, err
	}
	planned := map[string]int64{}
	for _, l := range kit.Lines {
		planned[l.Tag] += l.Qty
	}
	for _, h := range st.Holds(&r.Request) { // of another stack than the kit's
		if tag := bareTag(h.Item); planned[tag] == 0 {
			planned[tag] = int64(max(h.Qty, 1))
		}
	}
	seen := map[string]bool{}
	for _, u := range st.Pieces {
		if u.Item == nil || seen[u.Item.ID] {
			continue
		}
		seen[u.Item.ID] = true
		p := drawing.Pick{Drawer: u.Place, Order: order[u.Place], Kind: string(u.Role), Tag: bareTag(u.Item.ID), Label: strings.TrimSpace(u.Part.Code + " " + u.Part.Designation), Number: int(planned[bareTag(u.Item.ID)])}
		if qr, err := labels.QR(p.Tag); err == nil {
			p.Code = qr.Rows()
		}
		out.Picks = append(out.Picks, p)
	}
	for _, ch := range st.Checks {
		out.Checks = append(out.Checks, drawing.SheetCheck{Name: ch.Name, Value: ch.Value, Limit: ch.Limit, Source: ch.Source, Warn: ch.Warn})
	}
	notes, err := s.store.RemarksOn(ctx, st)
	if err != nil {
		return out, err
	}
	for i, n := range notes[0] {
		if i == 3 {
			break
		}
		if i > 0 {
			out.Remarks += " / "
		}
		out.Remarks += n.Text + " (" + figure(n.Ratio, 1) + " × D, " + n.At.Local().Format("2 Jan 2006") + ")"
	}
	subs, err := s.store.Substitutes(ctx, r.Job.ID)
	if err != nil {
		return out, err
	}
	for i, x := range subs { // the newest matter most, and a sheet has one line for them
		if i < len(subs)-2 {
			continue
		}
		if out.Remarks != "" {
			out.Remarks += " / "
		}
		out.Remarks += "for this job: " + x.Says()
		if x.Why != "" {
			out.Remarks += ": " + x.Why
		}
	}
	if r.Job.Tag != nil {
		if qr, err := labels.QR(*r.Job.Tag); err == nil {
			out.RemarkCode = qr.Rows()
		}
	}
	return out, nil
}

// walkingOrder says for each place code where it comes on the walk through the crib.
func (s *Server) walkingOrder(ctx context.Context) (map[string]string, error) {
	places, err := s.store.Places(ctx, "")
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	for _, p := range places {
		out[p.Code] = p.SortKey + "\x00" + p.Code
	}
	return out, nil
}

// centreHeight is what the sheet says of it: by the sleeve's index where it has one.
func centreHeight(st *stack.Stack) string {
	sleeve, ok := st.Find(stack.Sleeve)
	if !ok || sleeve.Part == nil {
		return ""
	}
	switch sleeve.Part.Index {
	case "plunger":
		return "let the plunger of sleeve " + sleeve.ID() + " find its place in the bar, then check on a facing cut"
	case "scribe":
		return "turn the bar until its mark meets the scribe line of sleeve " + sleeve.ID() + ", then check on a facing cut"
	case "none":
		return "sleeve " + sleeve.ID() + " has no index mark: set it by hand and check on a facing cut"
	}
	return ""
}

// torques lists the tightening torques on record, and which are not.
func torques(st *stack.Stack) []drawing.Torque {
	var out []drawing.Torque
	for _, u := range st.Pieces {
		what := map[stack.Kind]string{stack.Holder: "clamp screws of holder ", stack.Head: "bolts of head ", stack.Insert: "screw or clamp of insert "}[u.Role]
		if what == "" || u.Part == nil {
			continue
		}
		out = append(out, drawing.Torque{What: what + u.Part.Code, NM: u.Part.Torque.V, Known: u.Part.Torque.Known && u.Part.Torque.V > 0})
	}
	return out
}

// coolantLine says the way of the coolant and its weakest part.
func coolantLine(r *stack.Request, st *stack.Stack) string {
	if !r.Coolant {
		return "none asked"
	}
	t := figure(r.CoolantBar, 0) + " bar asked"
	if len(st.Route.Steps) > 0 {
		t += "; " + strings.Join(st.Route.Steps, " > ")
	}
	if st.Route.Limit.Known {
		t += "; at most " + figure(st.Route.Limit.V, 0) + " bar, set by " + st.Route.Weakest
	} else {
		t += "; the rating of the line is not recorded"
	}
	return t
}

// heavyKg is from where a lift takes a hoist or two people: NIOSH lifting guide 94-110, as
// read in testdata/stack/safety.json.
const heavyKg = 15

// cautions are the safety lines that apply to this stack, worded after testdata/stack/safety.json,
// and the stack's own warnings. The sheet adds the line that stands on every one.
func cautions(r *stack.Request, st *stack.Stack) []string {
	var out []string
	for _, w := range st.Warnings {
		if w.Code != "W_HEAVY" || !st.Mass.Known { // said below with its source
			out = append(out, sentence(w.Text))
		}
	}
	switch {
	case !st.Mass.Known:
		out = append(out, "The mass of this stack is not recorded: weigh it, and over 15 kg use a hoist or two people.")
	case st.Mass.V >= heavyKg:
		out = append(out, figure(st.Mass.V, 1)+" kg: use a hoist or two people. Held out at arm's length the safe load is far below the 23 kg (51 lb) ideal-lift figure (NIOSH 94-110).")
	}
	if r.Coolant {
		out = append(out, "Never raise the coolant above the lowest-rated part in the line. Replace a hose that is cut, kinked, bulged or undated.")
		if r.CoolantBar >= 70 {
			out = append(out, "Coolant above about 70 bar can cut skin and inject fluid: close the door, drop the pressure to zero and wait before loosening any fitting.")
		}
	}
	if bar, ok := st.Find(stack.Bar); ok && bar.Part != nil && bar.Part.Damped() {
		out = append(out, "Damped bar: never set screws directly on it; a split holder or the full-length split sleeve made for damped bars.")
	}
	out = append(out, "Fresh and worn edges both cut: use the key, gloves for loose inserts, and never gloves near a turning spindle.")
	return out
}
