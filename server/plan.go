package server

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/stack"
)

// planView is what a job page says and offers about planning.
type planView struct {
	Code     string
	Says     string // how it is planned, or that it is not
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
	best := r.Best()
	v.Sheets = r.Verdict.Buildable || r.Chosen >= 0
	v.CanNote = best != nil && may(c, access.RemarkStacks)
	v.Says = "Not planned yet: nothing of this stack is promised to the job."
	if r.Plan != nil {
		v.Release = newOp()
		v.Undo = r.Plan.OpID
		v.Stale = r.Plan.Stale(&r.Job)
		v.Says = fmt.Sprintf("Planned on %s for %s: %d pieces promised, overhang %s mm.", clock(r.Plan.CreatedAt.Time), days(r.Plan.FromDay, r.Plan.ToDay), len(r.Plan.List()), figure(r.Plan.Overhang, 1))
		if r.Chosen < 0 {
			v.Says += " What was chosen cannot be built as it stands now; the kit below says what is missing."
		}
	}
	if err := s.kitView(ctx, r, see, v); err != nil {
		return err
	}
	if err := s.clashView(ctx, r, v); err != nil {
		return err
	}
	return s.choices(ctx, r, v)
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
func (s *Server) clashView(ctx context.Context, r *store.Ready, v *planView) error {
	clashes, err := s.store.Clashes(ctx, r)
	if err != nil {
		return err
	}
	for _, cl := range clashes {
		v.Clashes = append(v.Clashes, sentence("the stack it would get by itself is not free: "+cl.Says))
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

func planOp(c echo.Context, id string) store.Op {
	v, _ := actor(c)
	return store.Op{ID: id, Actor: v.id, Device: device(c)}
}

type planFormIn struct {
	Op     string `json:"op"`
	Pieces string `json:"pieces"`
}

// planJob chooses a stack for a job: POST /jobs/:code/plan.
func (s *Server) planJob(c echo.Context) error {
	in, err := decode[planFormIn](c)
	if err != nil {
		return err
	}
	j, err := s.job(c.Request().Context(), "code", c.Param("code"))
	if err != nil {
		return err
	}
	if _, err := s.store.Plan(c.Request().Context(), planOp(c, in.Op), store.PlanIn{Job: j.ID, Pieces: strings.Fields(in.Pieces)}); err != nil {
		return err
	}
	return back(c, "/jobs/"+pathOf(j.Code))
}

type planOpIn struct {
	Op string `json:"op"`
	Of string `json:"of"` // the op to take back
}

// releaseJob gives back what was planned: POST /jobs/:code/release.
func (s *Server) releaseJob(c echo.Context) error {
	in, err := decode[planOpIn](c)
	if err != nil {
		return err
	}
	j, err := s.job(c.Request().Context(), "code", c.Param("code"))
	if err != nil {
		return err
	}
	if _, err := s.store.Unplan(c.Request().Context(), planOp(c, in.Op), j.ID); err != nil {
		return err
	}
	return back(c, "/jobs/"+pathOf(j.Code)+"?undo="+in.Op)
}

// undoPlan takes back an act of planning: POST /jobs/:code/undo.
func (s *Server) undoPlan(c echo.Context) error {
	in, err := decode[planOpIn](c)
	if err != nil {
		return err
	}
	j, err := s.job(c.Request().Context(), "code", c.Param("code"))
	if err != nil {
		return err
	}
	if _, err := s.store.UndoPlan(c.Request().Context(), planOp(c, in.Op), in.Of); err != nil {
		return err
	}
	return back(c, "/jobs/"+pathOf(j.Code))
}

type backIn struct {
	Op  string `json:"op"`
	Tag string `json:"tag"`
	At  string `json:"at"`
}

// sayBack notes when something that is out comes back: POST /jobs/:code/back.
func (s *Server) sayBack(c echo.Context) error {
	ctx := c.Request().Context()
	in, err := decode[backIn](c)
	if err != nil {
		return err
	}
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	it, err := s.item(ctx, "tag", in.Tag)
	if err != nil {
		return err
	}
	at, err := parseMoment("at", in.At)
	if err != nil {
		return err
	}
	if _, err := s.store.SayBack(ctx, planOp(c, in.Op), it.ID, at); err != nil {
		return err
	}
	return back(c, "/jobs/"+pathOf(j.Code))
}

// parseMoment reads what a field for a day and a time of day sends, in the shop's own zone.
func parseMoment(field, text string) (time.Time, error) {
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02 15:04", time.RFC3339} {
		if t, err := time.ParseInLocation(layout, strings.TrimSpace(text), time.Local); err == nil {
			return t, nil
		}
	}
	return time.Time{}, &refusal{class: errInvalid, field: field, detail: clip(text) + " is no day with a time; write it as 2026-03-17 14:00"}
}

// closePage asks of everything that is out for a job whether it stays in the turret: GET
// /jobs/:code/close.
func (s *Server) closePage(c echo.Context) error {
	ctx := c.Request().Context()
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	things, err := s.store.Out(ctx, j.ID)
	if err != nil {
		return err
	}
	see := holdersFor(c)
	v := closeView{Code: j.Code, Name: j.Name, Op: newOp(), Closed: j.State == "closed"}
	for _, t := range things {
		row := closeRow{Name: fmt.Sprintf("%d.%d", t.Item, t.Place), Tag: t.Tag, Part: t.Part, Kind: t.Kind,
			Pieces: fmt.Sprint(t.Qty), At: t.Code, Home: t.Home, Edges: t.Edges > 0, Each: fmt.Sprint(t.Edges)}
		if t.Where == store.PersonAt {
			row.At = "with " + see.name(t.At)
		}
		row.Keep, row.Later = t.Where == store.StationAt && t.Edges == 0, t.Edges > 0
		v.Things = append(v.Things, row)
	}
	return s.page(c, http.StatusOK, "closejob", "Close "+j.Code, v)
}

type closeView struct {
	Code, Name, Op string
	Closed         bool
	Things         []closeRow
}

type closeRow struct {
	Name, Tag, Part, Kind, Pieces, At, Home, Each string
	Edges, Keep, Later                            bool
}

// closeJob ends a job: POST /jobs/:code/close. For each thing a member do-ITEM.PLACE says
// keep, unload or later, and edges-ITEM.PLACE how many edges are left on each insert.
func (s *Server) closeJob(c echo.Context) error {
	ctx := c.Request().Context()
	in, err := decode[map[string]string](c)
	if err != nil {
		return err
	}
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	lines := store.CloseIn{Job: j.ID}
	for name, do := range in {
		id, ok := strings.CutPrefix(name, "do-")
		if !ok {
			continue
		}
		var l store.CloseLine
		if n, err := fmt.Sscanf(id, "%d.%d", &l.Item, &l.Place); n != 2 || err != nil {
			return &refusal{class: errMalformed, field: name, detail: "this is no thing of the job"}
		}
		l.Do = do
		if t := strings.TrimSpace(in["edges-"+id]); t != "" && do == store.Unload {
			n, err := strconv.Atoi(t)
			if err != nil {
				return &refusal{class: errInvalid, field: "edges-" + id, detail: clip(t) + " is not a number of edges"}
			}
			l.Edges = &n
		}
		lines.Lines = append(lines.Lines, l)
	}
	sortCloseLines(lines.Lines)
	if _, err := s.store.CloseJob(ctx, planOp(c, in["op"]), lines); err != nil {
		return err
	}
	return back(c, "/jobs/"+pathOf(j.Code))
}

type noteIn struct {
	Op   string `json:"op"`
	Text string `json:"text"`
	From string `json:"from"`
}

// noteJob keeps a setter's words with the stack of a job: POST /jobs/:code/remarks.
func (s *Server) noteJob(c echo.Context) error {
	ctx := c.Request().Context()
	in, err := decode[noteIn](c)
	if err != nil {
		return err
	}
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	r := store.RemarkIn{Job: j.ID, Text: in.Text}
	if t := strings.TrimSpace(in.From); t != "" {
		f, err := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
		if err != nil {
			return &refusal{class: errInvalid, field: "from", detail: clip(t) + " is not an overhang ratio; write 8.5 for 8.5 × D"}
		}
		r.FromRatio = &f
	}
	if _, err := s.store.AddRemark(ctx, planOp(c, in.Op), r); err != nil {
		return err
	}
	return back(c, "/jobs/"+pathOf(j.Code))
}

// dropNote takes a remark off the lists: POST /jobs/:code/remarks/drop.
func (s *Server) dropNote(c echo.Context) error {
	in, err := decode[struct {
		Remark string `json:"remark"`
	}](c)
	if err != nil {
		return err
	}
	id, err := strconv.ParseInt(in.Remark, 10, 64)
	if err != nil {
		return &refusal{class: errInvalid, field: "remark", detail: "that is no remark"}
	}
	v, _ := actor(c)
	if err := s.store.EndRemark(c.Request().Context(), v.id, id); err != nil {
		return err
	}
	return back(c, "/jobs/"+pathOf(c.Param("code")))
}
