package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
	"brasspeg/store/stack"
)

// The states a stack can be in, as a word with a shape.
var (
	stateBuilt   = stateView{"can be built", "●", "yes"}
	stateMissing = stateView{"cannot be built", "◇", "no"}
	stateUnread  = stateView{"request not readable", "△", "no"}
)

func idOf[T ~int64](p *T) T {
	if p == nil {
		return 0
	}
	return *p
}

// pathOf escapes a code for use in an address of ours.
func pathOf(code string) string {
	return strings.NewReplacer("%", "%25", "/", "%2F", "?", "%3F", "#", "%23", " ", "%20").Replace(code)
}

func days(from, to store.Day) string {
	if from == to || to == "" {
		return string(from)
	}
	return string(from) + " to " + string(to)
}

// shortDays is days for a narrow column: without the year, which planned jobs do not need.
func shortDays(from, to store.Day) string {
	f, errF := time.Parse(time.DateOnly, string(from))
	t, errT := time.Parse(time.DateOnly, string(to))
	if errF != nil || errT != nil {
		return days(from, to)
	}
	if from == to {
		return f.Format("Mon 2 Jan")
	}
	return f.Format("Mon 2 Jan") + " to " + t.Format("Mon 2 Jan")
}

func boreText(r *stack.Request) string {
	d := r.BoreEndD.Or(r.BoreStartD)
	t := "Ø " + figure(d, 2)
	if r.BoreEndD.Known && r.BoreEndD.V != r.BoreStartD {
		t = "Ø " + figure(r.BoreStartD, 2) + " to " + figure(d, 2)
	}
	return t + " × " + figure(r.Depth, 1) + " mm"
}

func (s *Server) machineNames(ctx context.Context) (map[store.MachineID]string, error) {
	all, err := s.store.Machines(ctx)
	if err != nil {
		return nil, err
	}
	names := map[store.MachineID]string{}
	for _, m := range all {
		names[m.ID] = m.Name
	}
	return names, nil
}

// readiness is the verdict in a word and a sentence.
func (s *Server) readiness(r store.Ready, see holders) (stateView, string) {
	state, says := s.readinessSaid(r)
	return state, veilFor(see, &r.Verdict).Replace(says)
}

func (s *Server) readinessSaid(r store.Ready) (stateView, string) {
	switch {
	case r.Err != nil:
		return stateUnread, s.saidOrLogged(r.Err)
	case r.Verdict.Buildable && len(r.Verdict.Stacks) > 0:
		st := r.Best()
		says := "Set the overhang to " + figure(st.Overhang, 1) + " mm"
		if bar, ok := st.Find(stack.Bar); ok {
			says = bar.ID() + " from " + bar.Place + ", overhang " + figure(st.Overhang, 1) + " mm"
		}
		if n := len(st.Warnings); n > 0 {
			says += "; " + count(int64(n), "warning", "warnings")
		}
		return stateBuilt, says
	case len(r.Verdict.Options) > 0:
		o := &r.Verdict.Options[0]
		says := "Missing: " + o.Text + "."
		if len(o.Parts) > 0 && len(o.Parts[0].Owned) > 0 {
			says += " " + o.Parts[0].Owned[0].Text + "."
		}
		return stateMissing, says
	case len(r.Verdict.Reasons) > 0:
		return stateMissing, r.Verdict.Reasons[0].Text
	}
	return stateMissing, "No way to build it is known."
}

// saidOrLogged is an error's text for a page that shows it among others: of our own classes
// the sentence, of anything else a fixed one, with the error in the log.
func (s *Server) saidOrLogged(err error) string {
	if r, ok := errors.AsType[*store.Refusal](err); ok {
		return sentence(r.Says)
	}
	if r, ok := errors.AsType[*refusal](err); ok {
		return sentence(r.detail)
	}
	s.log.Error("part of a page failed", "error", err)
	return "This could not be worked out; the log of the server says why."
}

// shownOptions is how many ways out of a "no" are told with all their sizes; the others
// follow in a line each.
const shownOptions = 3

// jobPage shows a job's verdict: GET /jobs/:code.
func (s *Server) jobPage(c echo.Context) error {
	ctx := c.Request().Context()
	job, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	r, err := s.store.Check(ctx, job)
	if err != nil {
		return err
	}
	if r.Err == nil && !r.Verdict.Buildable && r.Chosen < 0 {
		shelf, err := s.store.Shelf(ctx)
		if err != nil {
			return err
		}
		shelf.Easier(r.Request, &r.Verdict)
	}
	v, err := s.jobView(ctx, r, holdersFor(c))
	if err != nil {
		return err
	}
	if err := s.planning(c, &r, &v.Plan); err != nil {
		return err
	}
	switch job.State { // what stands at the head is where the job is; whether it can be built matters before
	case "running":
		v.State = stateView{"under way", "●", "yes"}
	case "done", "closed":
		v.State, v.Says = stateView{job.State, "○", ""}, fmt.Sprintf("%d of %d parts made. What follows is what could be built today.", job.PartsDone, job.PartsQty)
	}
	return s.page(c, http.StatusOK, "job", job.Code, v)
}

func (s *Server) jobView(ctx context.Context, r store.Ready, see holders) (jobPage, error) {
	v := jobPage{Code: r.Job.Code, Name: r.Job.Name}
	v.State, v.Says = s.readiness(r, see)
	veil := veilFor(see, &r.Verdict)
	if err := s.jobFacts(ctx, r, &v); err != nil {
		return v, err
	}
	if r.Err != nil {
		return v, nil
	}
	if st := r.Best(); st != nil {
		s.showStack(&v, r, st, see)
	}
	for _, w := range r.Verdict.Reasons {
		v.Reasons = append(v.Reasons, veil.Replace(w.Text))
	}
	for i, o := range distinct(r.Verdict.Options) {
		if i < shownOptions {
			v.Options = append(v.Options, optionOf(i+1, &o, veil))
		} else {
			v.MoreOptions = append(v.MoreOptions, sentence(veil.Replace(o.Text)))
		}
	}
	for _, w := range r.Verdict.Worse {
		v.Worse = append(v.Worse, veil.Replace(w.Changes))
	}
	for _, m := range r.Verdict.Misses {
		v.Misses = append(v.Misses, missRow{Tag: m.Item, Href: "/t/" + pathOf(bareTag(m.Tag)), Kind: string(m.Kind), Distance: m.Distance})
	}
	return v, nil
}

func (s *Server) showStack(v *jobPage, r store.Ready, st *stack.Stack, see holders) {
	inch, _ := typedIn(&r.Job)
	v.Readings = stackReadings(st, inch)
	for _, u := range st.Pieces {
		row := useRow{Role: string(u.Role), Place: placeOf(&u, see), State: stateView{"ready", "●", "yes"}}
		if u.Part != nil {
			row.Code, row.Name = u.Part.Code, u.Part.Designation
		}
		if u.Item != nil {
			row.Tag = u.Item.ID
			row.Href = "/t/" + pathOf(bareTag(u.Item.ID))
		}
		if u.Missing {
			row.State = stateView{"missing", "◇", "no"}
			if u.Item != nil {
				row.State.Word = "owned, not free"
			}
		}
		v.Uses = append(v.Uses, row)
	}
	for _, ch := range st.Checks {
		state := stateView{"holds", "●", "yes"}
		switch {
		case !ch.OK:
			state = stateView{"fails", "◇", "no"}
		case ch.Warn:
			state = stateView{"look out", "△", "warn"}
		}
		v.Checks = append(v.Checks, checkRow{ch.Name, ch.Value, ch.Limit, ch.Source, state})
	}
	for _, w := range st.Warnings {
		v.Warnings = append(v.Warnings, w.Text)
	}
	v.Remarks = st.Remarks
	v.Estimates = estimates(&st.Mech)
	for _, n := range st.Mech.Notes {
		v.EstimateNotes = append(v.EstimateNotes, sentence(n))
	}
	title := "The stack for " + r.Job.Code
	if !r.Verdict.Buildable {
		title = "The nearest stack for " + r.Job.Code + ", with what is missing dashed"
	}
	if svg, err := drawStack(title, &r.Request, st, inch); err == nil {
		v.Drawing = svg
		v.Caption = title + ". Lengths, shank, bore and grip are to scale; the outside of holder and head and the coolant line are a scheme."
	} else {
		s.log.Warn("stack not drawn", "job", r.Job.Code, "error", err)
	}
}

// placeOf is where a part of a stack is: its drawer, or who has it.
func placeOf(u *stack.Used, see holders) string {
	if u.Item == nil || u.Item.Out == nil {
		return u.Place
	}
	return "with " + see.name(u.Item.Out.To)
}

// bareTag takes the place off the id of a lot that lies in more than one.
func bareTag(id string) string {
	tag, _, _ := strings.Cut(id, "@")
	return tag
}

// stackReadings are the figures a setter wants first, the overhang also in inches for a job
// whose card is.
func stackReadings(st *stack.Stack, inch bool) []reading {
	rs := []reading{{"Overhang to set", figure(st.Overhang, 2), "mm"}}
	if inch {
		rs = append(rs, reading{"Overhang to set, in inches", figure(st.Overhang/25.4, 3), "in"})
	}
	rs = append(rs, []reading{
		{"Overhang over diameter", figure(st.Ratio, 2), "× D"},
	}...)
	if st.LimitMM > 0 {
		rs = append(rs, reading{"Overhang allowed", figure(st.LimitMM, 1), "mm"})
	}
	if st.Grip.Known {
		rs = append(rs, reading{"Grip", figure(st.Grip.V, 1), "mm"})
	}
	if st.Mass.Known {
		rs = append(rs, reading{"Mass", figure(st.Mass.V, 2), "kg"})
	}
	if st.Route.Limit.Known {
		rs = append(rs, reading{"Coolant line, weakest " + st.Route.Weakest, figure(st.Route.Limit.V, 0), "bar"})
	}
	return rs
}

// estimates are the figures of the mechanics that are known. They rank and warn.
func estimates(m *stack.Mechanics) []factView {
	var out []factView
	for _, e := range []struct {
		name string
		v    stack.Opt
		n    int
		unit string
	}{
		{"Deflection at the edge", m.DeflectionMM, 3, "mm"},
		{"Deflection at the edge for each 1000 N", m.PerKilonewt, 3, "mm"},
		{"First natural frequency", m.FrequencyHz, 0, "Hz"},
		{"Cutting force", m.ForceN, 0, "N"},
		{"Radial force", m.RadialN, 0, "N"},
		{"Specific cutting force", m.KC, 0, "N/mm²"},
		{"Power at the edge", m.CutKW, 2, "kW"},
		{"Power at the machine", m.PowerKW, 2, "kW"},
		{"Speed", m.RPM, 0, "1/min"},
		{"Cutting speed", m.VC, 0, "m/min"},
		{"Cutting speed", m.SFM, 0, "ft/min"},
		{"Feed", m.FeedMMMin, 0, "mm/min"},
		{"Time in cut for the depth", m.MinutesInCut, 2, "min"},
		{"Roughness Rt, perfect edge", m.RtUM, 2, "µm"},
		{"Roughness Ra, perfect edge", m.RaUM, 2, "µm"},
		{"Coolant flow", m.FlowLMin, 1, "L/min"},
	} {
		if e.v.Known {
			out = append(out, factView{Name: e.name, Value: figure(e.v.V, e.n), Unit: e.unit})
		}
	}
	return out
}

// symbolNames are the sizes a missing part is described by, in words.
var symbolNames = map[string]struct{ name, unit string }{
	"DCONMS":          {"diameter on the machine side", "mm"},
	"DCONWS":          {"bore on the workpiece side", "mm"},
	"LSC":             {"length that grips", "mm"},
	"OAL":             {"overall length", "mm"},
	"OHX":             {"longest overhang by the maker", "mm"},
	"OHN":             {"shortest overhang by the maker", "mm"},
	"LF":              {"functional length", "mm"},
	"DMIN":            {"smallest hole", "mm"},
	"HAND":            {"hand", ""},
	"hand":            {"hand", ""},
	"RE":              {"nose radius", "mm"},
	"CP":              {"rated coolant pressure", "bar"},
	"WT":              {"mass", "kg"},
	"CCMS":            {"coupling on the machine side", ""},
	"CCWS":            {"coupling on the workpiece side", ""},
	"seat":            {"pocket", ""},
	"interface":       {"turret seat", ""},
	"LEN":             {"length", "mm"},
	"end1":            {"first end", ""},
	"end2":            {"second end", ""},
	"ends":            {"ends", ""},
	"construction":    {"construction", ""},
	"clamp":           {"clamping", ""},
	"type":            {"type", ""},
	"for_damped":      {"made for damped bars", ""},
	"sealed":          {"keeps coolant in", ""},
	"through_coolant": {"coolant through", ""},
	"edges":           {"edges", ""},
}

func sizesOf(needs []stack.Need) []factView {
	var out []factView
	for _, n := range needs {
		base, bound := n.Name, ""
		if t, ok := strings.CutSuffix(base, "_min"); ok {
			base, bound = t, "at least "
		} else if t, ok := strings.CutSuffix(base, "_max"); ok {
			base, bound = t, "at most "
		}
		f := factView{Name: strings.ReplaceAll(base, "_", " "), Value: bound + needValue(n.Value)}
		if known, ok := symbolNames[base]; ok {
			f.Name, f.Unit = known.name, known.unit
			if strings.ToUpper(base) == base {
				f.Name += ", " + base
			}
		}
		out = append(out, f)
	}
	return out
}

func needValue(v any) string {
	switch x := v.(type) {
	case float64:
		return figure(x, 3)
	case bool:
		if x {
			return "yes"
		}
		return "no"
	case []string:
		return strings.ReplaceAll(strings.Join(x, " or "), "_", " ")
	}
	return strings.ReplaceAll(fmt.Sprint(v), "_", " ")
}

func optionOf(n int, o *optionGroup, veil *strings.Replacer) optionView {
	v := optionView{Number: n, Says: sentence(veil.Replace(shortOption(o)))}
	if o.Others > 0 && o.Looser > 0 {
		v.Others = "The mass is what the station can still carry with this stack; with other holders and bars of the shop the same part may weigh up to " + figure(o.Looser, 2) + " kg."
	}
	if o.AvailableOn != "" {
		v.When = "Waiting is enough: it can be built on " + string(o.AvailableOn) + "."
		if o.HeldBy != "" {
			v.When = "Waiting is enough: " + veil.Replace(o.HeldBy) + " has it, and it can be built on " + string(o.AvailableOn) + "."
		}
	}
	if o.PriceCents.Known {
		v.When = strings.TrimSpace(v.When + " Price " + figure(o.PriceCents.V/100, 2) + " " + o.Currency)
		if o.LeadDays.Known {
			v.When += ", " + figure(o.LeadDays.V, 0) + " days"
		}
		v.When += "."
	}
	for _, m := range o.Parts {
		mv := missingView{Kind: string(m.Kind), Sizes: sizesOf(m.Needs), Prefers: sizesOf(m.Prefers)}
		for _, b := range m.Owned {
			mv.Owned = append(mv.Owned, veil.Replace(b.Text))
		}
		for _, b := range m.Catalogue {
			mv.Catalogue = append(mv.Catalogue, b.Text)
		}
		v.Parts = append(v.Parts, mv)
	}
	return v
}

// shortOption names what is missing without its sizes, which stand below it.
func shortOption(o *optionGroup) string {
	var kinds []string
	for _, m := range o.Parts {
		name := "a " + string(m.Kind)
		if m.Kind == stack.Insert || m.Kind == stack.Adapter {
			name = "an " + string(m.Kind)
		}
		if len(m.Catalogue) > 0 && m.Catalogue[0].Part != nil && len(m.Owned) == 0 {
			name += " such as " + m.Catalogue[0].Part.Code
		}
		kinds = append(kinds, name)
	}
	return strings.Join(kinds, " and ")
}

func (s *Server) jobFacts(ctx context.Context, r store.Ready, v *jobPage) error {
	machines, err := s.machineNames(ctx)
	if err != nil {
		return err
	}
	j := r.Job
	add := func(name, value, unit string) {
		if value != "" {
			v.Facts = append(v.Facts, factView{Name: name, Value: value, Unit: unit})
		}
	}
	add("Days", days(j.FromDay, j.ToDay), "")
	add("State", j.State, "")
	add("Machine", machines[idOf(j.MachineID)], "")
	add("Material", j.Material, "")
	add("Parts to make", fmt.Sprint(j.PartsQty-j.PartsDone), "of "+fmt.Sprint(j.PartsQty))
	if r.Err == nil {
		q := &r.Request
		add("Turret seat", q.Station.Interface, "")
		add("Bore", boreText(q), "")
		_, typed := typedIn(&r.Job)
		add("As on the card", typed, "")
		add("Clearance to the holder", figure(q.Clearance, 1), "mm")
		add("Hand", q.Hand, "")
		add("Insert pocket", q.Insert.Seat, "")
		if q.Insert.RE.Known {
			add("Nose radius", figure(q.Insert.RE.V, 2), "mm")
		}
		if q.Coolant {
			add("Coolant", figure(q.CoolantBar, 0), "bar")
		} else {
			add("Coolant", "none asked", "")
		}
	}
	add("Note", j.Note, "")
	promises, err := s.store.Promises(ctx, j.ID)
	if err != nil {
		return err
	}
	for _, p := range promises {
		v.Promises = append(v.Promises, promiseRow{Tag: p.Tag, Href: "/t/" + p.Tag, Pieces: fmt.Sprint(p.Qty), Days: promisedDays(string(p.FromDay), string(p.ToDay))})
	}
	return nil
}

// promisedDays is for how long something is promised; what will be used up is for good.
func promisedDays(from, to string) string {
	if to == string(stack.Forever) {
		return "from " + from + ", to be used up"
	}
	return days(store.Day(from), store.Day(to))
}
