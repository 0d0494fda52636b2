package server

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/ledger"
	"brasspeg/store/stack"
)

// planView is what a job page says and offers about planning.
type planView struct {
	Code     string
	Says     string // how it is planned, or that it is not
	Start    startView
	Instead  []insteadView
	Stale    string
	Kit      string
	KitState stateView
	Gaps     []gapView
	Clashes  []string
	WaysOut  []string
	Choices  []choiceView
	Notes    []noteView // what setters said of the bar
	Sheets   bool       // a setup sheet can be printed
	CanPlan  bool
	CanEdit  bool
	CanClose bool
	CanNote  bool
	Release  string // op id of the form that releases
	Undo     string // op id of the last planning, to take back
	UndoOp   string
	PlanOp   string
	NoteOp   string
	From     string // × D from which a new remark would be shown
}

// startView is the kit with its drawers, and the acts of beginning and taking back.
type startView struct {
	Code    string
	Kit     *kitView
	Can     bool // may issue it
	Op      string
	Pieces  string // what is shown is what is issued
	Button  string
	Partly  string // op id of the form that issues what is there; "" where all is there, or nothing
	Promise bool   // all that lacks is promised to other jobs, and could be taken with a reason
	To      string // where it goes when nobody says else
	Says    string
	Undo    string // op id of the start or closing that can still be taken back
	UndoOp  string
	UndoOf  string // what it was
	Left    string // seconds
}

// An insteadView is what was used instead of what was planned.
type insteadView struct{ Planned, Used, Pieces, By, Why string }

type gapView struct{ What, Tag, Href, Says, BackOp string }

type choiceView struct {
	Value, Name, Says string
	Checked           bool
	Notes             []string
}

type noteView struct {
	ID         int64
	Text, Seen string
}

func may(c echo.Context, right access.Right) bool {
	v, ok := actor(c)
	return ok && access.Of(v.role, right) != access.No
}

// planning fills the part of a job page that is about planning.
func (s *Server) planning(c echo.Context, r *store.Ready, v *planView) error {
	ctx := c.Request().Context()
	see := holdersFor(c)
	open := r.Job.State == "planned" || r.Job.State == "running"
	v.Code = r.Job.Code
	v.CanPlan, v.CanClose = open && may(c, access.PlanJobs), r.Job.State != "closed" && may(c, access.PlanJobs)
	v.CanEdit = may(c, access.EditJobs)
	v.PlanOp, v.NoteOp, v.UndoOp = newOp(), newOp(), newOp()
	if r.Err != nil {
		v.CanPlan = false
		v.Says = "It cannot be planned before its request can be read."
		return nil
	}
	me, _ := actor(c)
	if last, ok, err := s.store.LastPlanAct(ctx, r.Job.ID); err != nil {
		return err
	} else if ok && last.Act == store.ActReserve && access.May(me.role, access.ReverseActs, last.ActorID == me.id) {
		v.Undo = last.OpID
	}
	if err := s.starting(c, r, &v.Start); err != nil {
		return err
	}
	subs, err := s.store.Substitutes(ctx, r.Job.ID)
	if err != nil {
		return err
	}
	for _, x := range subs {
		v.Instead = append(v.Instead, insteadView{Planned: x.Role + " " + x.PlannedPart + " " + x.PlannedTag, Used: x.Part + " " + x.Tag, Pieces: fmt.Sprint(x.Qty),
			By: cmp.Or(see.name(x.Person), "somebody") + ", " + clock(x.At.Time), Why: cmp.Or(x.Why, "no reason given")})
	}
	best := r.Best()
	v.Sheets = r.Verdict.Buildable || r.Chosen >= 0
	v.CanNote = best != nil && may(c, access.RemarkStacks)
	v.Says = "Not planned yet: nothing of this stack is promised to the job."
	if r.Plan != nil {
		v.Release = newOp()
		v.Stale = r.Plan.Stale(&r.Job)
		v.Says = fmt.Sprintf("Planned on %s for %s: %d pieces promised, overhang %s mm.", clock(r.Plan.CreatedAt.Time), days(r.Plan.FromDay, r.Plan.ToDay), len(r.Plan.List()), figure(r.Plan.Overhang, 1))
		if r.Chosen < 0 {
			v.Says += " What was chosen cannot be built as it stands now; the kit below says what is missing."
		}
	}
	switch r.Job.State {
	case "running":
		v.Says = "Under way. " + v.Says
	case "done", "closed":
		v.Says = "The job is " + r.Job.State + "; nothing is promised to it any more."
	}
	if err := s.kitView(ctx, r, see, v); err != nil {
		return err
	}
	if err := s.clashView(ctx, r, see, v); err != nil {
		return err
	}
	if err := s.choices(ctx, r, v); err != nil {
		return err
	}
	if !open { // nothing is asked of a job that is over
		v.Kit, v.Gaps, v.Clashes, v.WaysOut, v.Choices = "", nil, nil, nil, nil
	}
	return nil
}

// starting fills in the kit with its drawers, and what can be begun or taken back now.
func (s *Server) starting(c echo.Context, r *store.Ready, v *startView) error {
	ctx := c.Request().Context()
	v.Code = r.Job.Code
	me, _ := actor(c)
	last, ok, err := s.store.LastJobAct(ctx, r.Job.ID)
	if err != nil {
		return err
	}
	if left := undoTime - s.store.Now().Sub(last.At.Time); ok && left > 0 && access.May(me.role, access.ReverseActs, last.ActorID == me.id) {
		v.Undo, v.UndoOp, v.Left = last.OpID, newOp(), fmt.Sprint(int(left.Seconds()))
		v.UndoOf = map[ledger.Act]string{store.ActStart: "the start", store.ActClose: "the closing"}[last.Act]
		if v.UndoOf == "" {
			v.Undo = ""
		}
	}
	if r.Job.State != "planned" && r.Job.State != "running" || r.Plan == nil && !r.Verdict.Buildable {
		return nil
	}
	p, err := s.store.PickingOf(ctx, r)
	if err != nil {
		return err
	}
	if r.Job.State == "running" && p.Left() == 0 {
		return nil
	}
	v.Kit = kitViewOf(r.Job.Code, &p, holdersFor(c))
	reach := access.Of(me.role, access.StartJobs)
	v.Can = reach == access.Any || reach == access.Own && r.Plan != nil
	v.To, v.Pieces, v.Op = p.To.Code, strings.Join(p.Tags(), " "), newOp()
	v.Button = "Issue the kit and start the job"
	if r.Job.State == "running" {
		v.Button = "Issue the rest of the kit"
	}
	if r.Plan == nil {
		v.Says = "No stack is chosen yet. Issuing the kit chooses the best one, which is the one shown."
	}
	if len(p.Gaps) > 0 {
		v.Says = "Not all of it is there; what lacks stands below."
		if p.Left() > 0 {
			v.Partly = newOp()
		}
		v.Promise = access.Of(me.role, access.TakePromised) == access.Any
		for _, g := range p.Gaps {
			v.Promise = v.Promise && g.State == store.KitWanted
		}
		if v.Promise {
			v.Says = "All of it is there, but what is marked below is promised to another job. It can be taken with a reason, which the other job shows."
		}
	}
	return nil
}

func (s *Server) kitView(ctx context.Context, r *store.Ready, see holders, v *planView) error {
	kit, err := s.store.KitOf(ctx, r)
	if err != nil {
		return err
	}
	v.KitState, v.Kit = kitState(&kit), kitSays(&kit, see)
	for _, l := range kit.Lines {
		if l.State == store.KitReady {
			continue
		}
		g := gapView{What: strings.TrimSpace(l.Role + " " + l.Part), Tag: l.Tag, Says: sentence(veilName(see, l.Who).Replace(l.Says))}
		if l.Tag != "" {
			g.Href = "/t/" + pathOf(l.Tag)
		}
		switch {
		case !l.Back.IsZero():
			g.Says += " Back " + clock(l.Back.Time) + "."
		case l.BackDay != "":
			g.Says += " Back or free on " + string(l.BackDay) + "."
		}
		if l.State == store.KitOut && see.all {
			g.BackOp = newOp()
		}
		v.Gaps = append(v.Gaps, g)
	}
	return nil
}

func kitState(k *store.JobKit) stateView {
	switch {
	case k.Ready():
		return stateView{"kit ready", "●", "yes"}
	case k.Known:
		return stateView{"kit ready later", "△", "warn"}
	}
	return stateView{"kit not complete", "◇", "no"}
}

// kitSays is the kit's sentence without the names of holders for who may not read them.
func kitSays(k *store.JobKit, see holders) string {
	says := k.Says
	for _, l := range k.Lines {
		says = veilName(see, l.Who).Replace(says)
	}
	return sentence(says)
}

func veilName(see holders, name string) *strings.Replacer {
	if name == "" || see.all || name == see.own {
		return strings.NewReplacer()
	}
	return strings.NewReplacer(name, "somebody")
}

// clashView says what other jobs keep from this one, and the ways out: another stack, another
// day, or to buy.
func (s *Server) clashView(ctx context.Context, r *store.Ready, see holders, v *planView) error {
	clashes, err := s.store.Clashes(ctx, r)
	if err != nil {
		return err
	}
	for _, cl := range clashes {
		v.Clashes = append(v.Clashes, clashText(cl, see))
	}
	if r.Verdict.Buildable {
		if len(clashes) > 0 {
			v.WaysOut = append(v.WaysOut, "Another stack: the ones below are free on its days.")
		}
		return nil
	}
	day, err := s.store.Earliest(ctx, r, clashes)
	if err != nil {
		return err
	}
	if day != "" {
		v.WaysOut = append(v.WaysOut, "Another day: it can be built from "+string(day)+" on.")
	}
	buy, err := s.store.BuyFor(ctx, r)
	if err != nil {
		return err
	}
	if len(buy.Lines) > 0 {
		var parts []string
		for _, l := range buy.Lines {
			t := string(l.Part.Kind) + " " + l.Part.Code + ", " + money(float64(l.Cents), buy.Currency)
			if l.Qty > 1 {
				t = strconv.Itoa(l.Qty) + " × " + t
			}
			if l.Part.LeadDays.Known {
				t += ", " + count(int64(l.Part.LeadDays.V), "day", "days") + " to come"
			}
			parts = append(parts, t)
		}
		v.WaysOut = append(v.WaysOut, "Buy, in time for "+string(r.Job.FromDay)+": "+strings.Join(parts, "; ")+".")
		return nil
	}
	for i := range r.Verdict.Options {
		if o := &r.Verdict.Options[i]; o.PriceCents.Known && o.LeadDays.Known {
			there := s.store.Today().Add(int(math.Ceil(o.LeadDays.V)))
			v.WaysOut = append(v.WaysOut, "Buy and wait: "+shortOption(&optionGroup{Option: *o})+", "+money(o.PriceCents.V, o.Currency)+", there on "+string(there)+" when ordered today.")
			return nil
		}
	}
	v.WaysOut = append(v.WaysOut, "Nothing to buy: no part on record that would do has a price and a lead time.")
	return nil
}

// clashText says a clash without the name of a holder for who may not read it.
func clashText(c store.Clash, see holders) string {
	if c.Taken {
		return sentence(veilName(see, c.Who).Replace(c.Says))
	}
	return sentence("the stack it would get by itself is not free: " + c.Says)
}

func money(cents float64, currency string) string {
	return strings.TrimSpace(strconv.FormatFloat(cents/100, 'f', 2, 64) + " " + currency)
}

// choices lists the stacks that can be built, the chosen one marked, each with what setters
// said of its bar at such an overhang.
func (s *Server) choices(ctx context.Context, r *store.Ready, v *planView) error {
	var all []*stack.Stack
	for i := range r.Verdict.Stacks {
		all = append(all, &r.Verdict.Stacks[i])
	}
	if len(all) == 0 && r.Verdict.Nearest != nil {
		all = append(all, r.Verdict.Nearest)
	}
	notes, err := s.store.RemarksOn(ctx, all...)
	if err != nil {
		return err
	}
	shown := max(r.Chosen, 0)
	for i := range notes {
		for _, n := range notes[i] {
			if i == shown {
				v.Notes = append(v.Notes, noteOf(n))
			}
		}
	}
	for i := range r.Verdict.Stacks {
		st := &r.Verdict.Stacks[i]
		ch := choiceView{Value: strings.Join(bare(st.IDs()), " "), Checked: i == shown}
		ch.Name = fmt.Sprintf("%d. %s", i+1, stackName(st))
		ch.Says = "overhang " + figure(st.Overhang, 1) + " mm, " + figure(st.Ratio, 2) + " × D"
		if st.Mech.PerKilonewt.Known {
			ch.Says += ", bends " + figure(st.Mech.PerKilonewt.V, 3) + " mm for 1000 N"
		}
		ch.Says += "; " + strings.Join(bare(st.IDs()), ", ")
		for _, w := range st.Warnings {
			ch.Notes = append(ch.Notes, sentence(w.Text))
		}
		for _, n := range notes[i] {
			ch.Notes = append(ch.Notes, "Setter: "+n.Text)
		}
		if i == r.Chosen {
			ch.Name += ", chosen"
		}
		v.Choices = append(v.Choices, ch)
	}
	if st := r.Best(); st != nil {
		v.From = figure(max(0, st.Ratio-0.5), 2)
	}
	return nil
}

func noteOf(n store.RemarkRead) noteView {
	seen := fmt.Sprintf("%s, %s, with bar %s %s at %s × D (%s mm); shown from %s × D on", n.Person, n.At.Local().Format("2 Jan 2006"), n.Bar, n.BarTag, figure(n.Ratio, 2), figure(n.Overhang, 1), figure(n.FromRatio, 2))
	if n.Head != "" {
		seen += ", head then " + n.Head
	}
	if n.Job != "" {
		seen += ", job " + n.Job
	}
	return noteView{n.ID, n.Text, seen + "."}
}

func bare(ids []string) []string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = bareTag(id)
	}
	return out
}

// stackName names a stack by what sets it apart: holder, sleeve, bar, head, insert.
func stackName(st *stack.Stack) string {
	var parts []string
	for _, u := range st.Pieces {
		if u.Part != nil && u.Part.Code != "" && u.Role != stack.Hose && u.Role != stack.Fitting {
			parts = append(parts, u.Part.Code)
		}
	}
	return strings.Join(parts, " · ")
}

// back sends the browser of a form to a page.
func back(c echo.Context, to string) error {
	c.Response().Header().Set("HX-Redirect", to)
	return c.NoContent(http.StatusNoContent)
}
