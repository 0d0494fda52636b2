package server

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
)

// jobsPage is what the shop bores next, and what somebody has to do for it.
type jobsPage struct {
	Query    string
	Shows    []formOption
	Readings []reading
	Next     []nextRow
	Running  []jobRow
	Jobs     []jobRow
	Ended    []jobRow
	Orders   []turnRow
	CanEdit  bool
	CanClose bool
	Caption  string
	Empty    string // why no job is listed
	New      string // what a new shop lacks before it can have one
	Filtered bool
}

// A nextRow is one thing to do now.
type nextRow struct{ Href, Code, Says string }

// A turnRow is the order of a machine's jobs that moves the fewest tools.
type turnRow struct {
	Machine, Planned, Moves, Better, Saves string
	Stays                                  []string
}

type jobRow struct {
	Href, Code, Name, Bore, Material, Machine, Parts, Days string
	State                                                  stateView
	Says                                                   string
	Kit                                                    stateView
	KitSays, Planned                                       string
	Clashes                                                []string
	Next                                                   string
}

// jobShows are the lists of jobs a person may ask for.
var jobShows = []formOption{{"", "all to come and under way", false}, {"ready", "can be built", false}, {"lacks", "cannot be built", false}, {"open", "no stack chosen", false}, {"clash", "clash with another job", false}, {"ended", "done and closed", false}}

// mostNext is how many things to do are told above the lists.
const mostNext = 5

// jobsPage lists the jobs to come with whether each can be built and what is next to do for it,
// and those under way: GET /jobs. q finds by any words of job, machine and material, show
// narrows the list.
func (s *Server) jobsPage(c echo.Context) error {
	ctx := c.Request().Context()
	q, show := c.QueryParam("q"), c.QueryParam("show")
	if !slices.ContainsFunc(jobShows, func(o formOption) bool { return o.Value == show }) {
		return &refusal{class: errInvalid, field: "show", detail: "show is ready, lacks, open, clash or ended"}
	}
	machines, err := s.machineNames(ctx)
	if err != nil {
		return err
	}
	v := jobsPage{Query: q, CanEdit: may(c, access.EditJobs), CanClose: may(c, access.PlanJobs), Filtered: q != "" || show != ""}
	for _, o := range jobShows {
		o.Chosen = o.Value == show
		v.Shows = append(v.Shows, o)
	}
	if show == "ended" {
		err = s.endedJobs(ctx, q, machines, &v)
	} else {
		err = s.comingJobs(c, q, show, machines, &v)
	}
	if err != nil {
		return err
	}
	return s.page(c, http.StatusOK, "jobs", "Jobs", v)
}

func (s *Server) comingJobs(c echo.Context, q, show string, machines map[store.MachineID]string, v *jobsPage) error {
	ctx := c.Request().Context()
	look, err := s.store.Outlook(ctx)
	if err != nil {
		return err
	}
	running, err := s.store.Jobs(ctx, "running")
	if err != nil {
		return err
	}
	see, today := holdersFor(c), s.store.Today()
	for _, j := range running {
		row := rowOf(&j, machines)
		row.Next = "Nothing before the last part is made."
		switch {
		case j.PartsQty > 0 && j.PartsDone >= j.PartsQty:
			row.Next = "All parts are made: close it."
		case j.ToDay < today:
			row.Next = "It was to end on " + string(j.ToDay) + ": close it, or change its days."
		}
		v.next(row)
		if show == "" && row.matches(q) {
			v.Running = append(v.Running, row)
		}
	}
	can, clash := 0, 0
	for i := range look.Jobs {
		jl := &look.Jobs[i]
		row := s.comingRow(jl, machines, see, today)
		if jl.Err == nil && jl.Verdict.Buildable {
			can++
		}
		if len(row.Clashes) > 0 {
			clash++
		}
		if jl.Job.FromDay <= today.Add(7) {
			v.next(row)
		}
		shown := map[string]bool{"": true, "ready": jl.Err == nil && jl.Verdict.Buildable, "lacks": jl.Err != nil || !jl.Verdict.Buildable, "open": jl.Plan == nil, "clash": len(row.Clashes) > 0}
		if shown[show] && row.matches(q) {
			v.Jobs = append(v.Jobs, row)
		}
	}
	if !v.Filtered {
		for i := range look.Orders {
			v.Orders = append(v.Orders, orderOf(&look.Orders[i]))
		}
	}
	v.Readings = []reading{
		{"Planned", fmt.Sprint(len(look.Jobs)), "jobs"},
		{"Can be built", fmt.Sprint(can), ""},
		{"Cannot", fmt.Sprint(len(look.Jobs) - can), ""},
		{"Clash with another job", fmt.Sprint(clash), ""},
		{"Under way", fmt.Sprint(len(running)), ""},
	}
	v.Caption = "Whether each planned job's stack can be built from what is on the shelf and free on its days, and what of it is there now"
	switch {
	case len(look.Jobs)+len(running) == 0:
		v.Empty = "No job is planned and none is under way."
		if may(c, access.KeepPlaces) {
			f, err := s.foundingOf(c)
			if err != nil {
				return err
			}
			v.New = f.Missing
		}
	case len(v.Jobs)+len(v.Running) == 0:
		v.Empty = "No job is like that."
	case len(v.Jobs) == 0:
		v.Empty = "No job to come is like that."
	}
	return nil
}

// next adds a job to what is to do now.
func (v *jobsPage) next(r jobRow) {
	if len(v.Next) < mostNext && !strings.HasPrefix(r.Next, "Nothing") {
		v.Next = append(v.Next, nextRow{r.Href, r.Code, r.Next})
	}
}

func rowOf(j *store.Job, machines map[store.MachineID]string) jobRow {
	return jobRow{Href: "/jobs/" + pathOf(j.Code), Code: j.Code, Name: j.Name, Material: j.Material, Machine: machines[idOf(j.MachineID)],
		Parts: fmt.Sprintf("%d of %d", j.PartsDone, j.PartsQty), Days: shortDays(j.FromDay, j.ToDay)}
}

func (s *Server) comingRow(jl *store.JobOutlook, machines map[store.MachineID]string, see holders, today store.Day) jobRow {
	r := jl.Ready
	row := rowOf(&r.Job, machines)
	row.Parts = fmt.Sprint(r.Job.PartsQty - r.Job.PartsDone)
	row.State, row.Says = s.readiness(r, see)
	if r.Err == nil {
		row.Bore = boreText(&r.Request)
		row.Kit, row.KitSays = kitState(&jl.Kit), kitSays(&jl.Kit, see)
	}
	if r.Plan != nil {
		row.Planned = "Planned, promised until released."
		if stale := r.Plan.Stale(&r.Job); stale != "" {
			row.Planned = stale
		}
	}
	for _, cl := range jl.Clashes {
		row.Clashes = append(row.Clashes, sentence("clash: "+veilName(see, cl.Who).Replace(cl.Says)))
	}
	row.Next = nextFor(jl, today)
	return row
}

// nextFor is what somebody has to do for a planned job now.
func nextFor(jl *store.JobOutlook, today store.Day) string {
	r := &jl.Ready
	switch {
	case r.Err != nil:
		return "Mend its request: it cannot be read."
	case r.Plan != nil && r.Plan.Stale(&r.Job) != "":
		return "Plan it again: days or request were changed."
	case r.Plan != nil && !jl.Kit.Ready():
		return "See to its kit: " + fmt.Sprintf("%d of %d there.", jl.Kit.There, len(jl.Kit.Lines))
	case r.Plan == nil && !r.Verdict.Buildable:
		return "See what it lacks."
	case r.Plan == nil && len(jl.Clashes) > 0:
		return "Settle the clash, or choose another stack."
	case r.Plan == nil:
		return "Choose its stack: nothing is promised to it yet."
	case r.Job.FromDay <= today.Add(1):
		return "Issue its kit and start it."
	}
	return "Nothing before " + string(r.Job.FromDay) + "."
}

// matches says whether every word of q stands in the row.
func (r *jobRow) matches(q string) bool {
	in := strings.ToLower(strings.Join([]string{r.Code, r.Name, r.Machine, r.Material, r.Bore, r.Days}, " "))
	for _, w := range strings.Fields(strings.ToLower(q)) {
		if !strings.Contains(in, w) {
			return false
		}
	}
	return true
}

// endedJobs lists what is done and closed, the newest first.
func (s *Server) endedJobs(ctx context.Context, q string, machines map[store.MachineID]string, v *jobsPage) error {
	all, err := s.store.EndedJobs(ctx)
	if err != nil {
		return err
	}
	for _, j := range all {
		row := rowOf(&j, machines)
		row.Says = j.State
		if row.matches(q) && len(v.Ended) < 100 {
			v.Ended = append(v.Ended, row)
		}
	}
	v.Readings = []reading{{"Done and closed", fmt.Sprint(len(all)), "jobs"}}
	if len(v.Ended) == 0 {
		v.Empty = "No job that is done or closed is like that."
	}
	return nil
}

// orderOf says in which order the jobs of a machine move the fewest tools.
func orderOf(t *store.ToolOrder) turnRow {
	row := turnRow{Machine: t.Machine, Planned: strings.Join(t.Planned, ", "), Moves: fmt.Sprint(t.Moves), Better: strings.Join(t.Better, ", "), Saves: fmt.Sprint(t.Saves())}
	if t.Saves() == 0 {
		row.Better = "as planned"
	}
	for i, stay := range t.Stays {
		says := t.Better[i] + " to " + t.Better[i+1] + ": "
		if len(stay) == 0 {
			says += "nothing stays"
		} else {
			says += strings.Join(stay, ", ") + " can stay"
		}
		row.Stays = append(row.Stays, says)
	}
	return row
}
