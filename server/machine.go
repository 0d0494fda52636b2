package server

import (
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/life"
	"brasspeg/store/standard"
)

// machinesPage lists the machines.
type machinesBody struct{ Machines []machineRow }

type machineRow struct{ Href, Tag, Code, Name, Jobs string }

// machineBody is the operator's page: what stands on a machine, and where changes are logged.
type machineBody struct {
	Code, Name, Tag string
	UndoTag         string
	MayLog          bool
	Seats           []seatView
	Reasons         []reasonView
	Handover        []string
	Latest          edgesView
}

type reasonView struct{ Value, Word, Card string }

// A seatView is one station: its job, the edge in use, the countdown, and the form.
type seatView struct {
	ID         string // of the form and its fields on the page
	Place      string // code of the station
	Number     string
	Job        string
	JobHref    string
	Name       string
	Jobs       []jobRef // all that run there, the one shown first
	Others     bool     // several run there
	Counts     []countView
	Op         string // op id of the change that will be logged
	After      string
	Last       string // the change After is, for who did not log it
	Box        string
	Insert     string
	Edge       string
	Made       string
	Countdown  string
	HasPlan    bool
	Since      int
	PlannedAt  int
	Parts      string // proposed
	PartsFrom  string // where the proposal comes from
	Usual      string
	LifeHref   string
	Need       string
	Short      bool
	Stack      []stackRow
	HasJob     bool
	MachineTag string
}

// A jobRef is a job by its code and by the tag on its card.
type jobRef struct{ Code, Tag string }

// A countView is the form for the parts made on a job.
type countView struct{ ID, Job, Op string }

type stackRow struct{ Tag, Href, Part, Kind, Place string }

type edgesView struct {
	Caption string
	Rows    []edgeRow
}

type edgeRow struct{ When, Station, Job, Part, Tag, Href, Edge, Parts, Reason, Note string }

// machinesPage lists the machines: GET /machines.
func (s *Server) machinesPage(c echo.Context) error {
	ctx := c.Request().Context()
	all, err := s.store.Machines(ctx)
	if err != nil {
		return err
	}
	running, err := s.store.Jobs(ctx, "running")
	if err != nil {
		return err
	}
	var v machinesBody
	for _, m := range all {
		if !m.RetiredAt.IsZero() {
			continue
		}
		row := machineRow{Href: "/machines/" + pathOf(m.Code), Code: m.Code, Name: m.Name}
		if m.Tag != nil {
			row.Tag = *m.Tag
		}
		for _, j := range running {
			if idOf(j.MachineID) == m.ID {
				if row.Jobs != "" {
					row.Jobs += ", "
				}
				row.Jobs += j.Code + " " + j.Name
			}
		}
		if row.Jobs == "" {
			row.Jobs = "no job runs"
		}
		v.Machines = append(v.Machines, row)
	}
	return s.page(c, http.StatusOK, "machines", "Machines", v)
}

// machinePage is the operator's page: GET /machines/:code.
func (s *Server) machinePage(c echo.Context) error {
	ctx := c.Request().Context()
	mv, err := s.store.MachineView(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	v := machineBody{Code: mv.Machine.Code, Name: mv.Machine.Name, Handover: mv.Handover}
	if mv.Machine.Tag != nil {
		v.Tag = *mv.Machine.Tag
	}
	if v.UndoTag, err = standard.NewTag(store.TagAct, 2); err != nil {
		return err
	}
	p, _ := actor(c)
	v.MayLog = access.Of(p.role, access.LogEdges) != access.No
	for _, r := range life.Reasons {
		v.Reasons = append(v.Reasons, reasonView{string(r), string(r), store.EdgeCard(r)})
	}
	for _, seat := range mv.Seats {
		sv := seatOf(seat)
		sv.Last = s.lastOn(seat, mv.Latest)
		if seat.Job.ID != 0 {
			need, err := s.store.JobEdges(ctx, seat.Job.ID, 0.95)
			if err != nil {
				return err
			}
			sv.Need, sv.Short = need.Says, need.OutOn != ""
		}
		v.Seats = append(v.Seats, sv)
	}
	v.Latest = edgesOf("The last changes on this machine, newest first", mv.Latest)
	return s.page(c, http.StatusOK, "machine", v.Name, v)
}

func seatOf(seat store.Seat) seatView {
	st := seat.Station
	v := seatView{ID: fmt.Sprintf("s%d", st.Number), Number: strconv.Itoa(st.Number), Op: newOp(), After: seat.LastOp, Box: seat.Box, Insert: seat.Insert,
		Job: seat.Job.Code, Name: seat.Job.Name, JobHref: "/jobs/" + pathOf(seat.Job.Code), HasJob: seat.Job.ID != 0, Since: seat.Since, PlannedAt: seat.PlannedAt, HasPlan: seat.PlannedAt > 0}
	v.Place, v.Others = seat.PlaceCode, len(seat.Others) > 0
	for i, j := range append([]store.Job{seat.Job}, seat.Others...) {
		if j.ID == 0 {
			continue
		}
		id := v.ID
		if i > 0 {
			id = fmt.Sprintf("%s-%d", v.ID, i+1)
		}
		ref := jobRef{Code: j.Code}
		if j.Tag != nil {
			ref.Tag = *j.Tag
		}
		v.Jobs = append(v.Jobs, ref)
		v.Counts = append(v.Counts, countView{ID: id, Job: j.Code, Op: newOp()})
	}
	switch {
	case seat.EdgeUp == 0:
		v.Edge = "A new insert is next"
	case seat.Edges > 0 && seat.EdgesLeft == 0:
		v.Edge = fmt.Sprintf("Edge %d of %d, the last one", seat.EdgeUp, seat.Edges)
	case seat.Edges > 0:
		v.Edge = fmt.Sprintf("Edge %d of %d, %s after it", seat.EdgeUp, seat.Edges, count(int64(seat.EdgesLeft), "edge left", "edges left"))
	default:
		v.Edge = fmt.Sprintf("Indexing %d of a round insert", seat.EdgeUp)
	}
	if v.HasJob {
		v.Made = fmt.Sprintf("%d of %d", seat.Job.PartsDone, seat.Job.PartsQty)
	}
	left := seat.PlannedAt - seat.Since
	switch {
	case !v.HasPlan && v.HasJob && seat.Family.ID != 0:
		v.Countdown = fmt.Sprintf("%s since the last change; no planned change: run to failure, and look at the edge.", count(int64(seat.Since), "part", "parts"))
	case !v.HasPlan && v.HasJob:
		v.Countdown = "Nothing is logged for this operation yet: no planned change."
	case v.HasPlan && left > 0:
		v.Countdown = fmt.Sprintf("%s to the planned change (%d of %d made, %s).", count(int64(left), "part", "parts"), seat.Since, seat.PlannedAt, seat.PlannedBy)
	case v.HasPlan && left == 0:
		v.Countdown = fmt.Sprintf("Change now: %d of %d parts made (%s).", seat.Since, seat.PlannedAt, seat.PlannedBy)
	case v.HasPlan:
		v.Countdown = fmt.Sprintf("%s past the planned change (%d made, change after %d, %s).", count(int64(-left), "part", "parts"), seat.Since, seat.PlannedAt, seat.PlannedBy)
	}
	switch {
	case seat.Since > 0:
		v.Parts, v.PartsFrom = strconv.Itoa(seat.Since), "proposed from the job's count; mend it if it is wrong"
	case seat.PlannedAt > 0:
		v.Parts, v.PartsFrom = strconv.Itoa(seat.PlannedAt), "the planned change; nobody counted, so mend it"
	default:
		v.PartsFrom = "parts since the last change, the one it failed on included"
	}
	if seat.UsualHigh > 0 {
		v.Usual = fmt.Sprintf("%.0f to %.0f parts (eight in ten)", seat.UsualLow, seat.UsualHigh)
	}
	if seat.Family.ID != 0 {
		v.LifeHref = fmt.Sprintf("/lives/%d", seat.Family.ID)
	}
	for _, x := range seat.Stack {
		row := stackRow{x.Tag, "/pieces/" + x.Tag, x.Part, x.Kind, "handed out for the job"}
		if x.Mounted {
			row.Place = "in the station"
		}
		v.Stack = append(v.Stack, row)
	}
	return v
}

// lastOn says the last change on a station, as it is told to who was about to log one.
func (s *Server) lastOn(seat store.Seat, latest []store.RunLine) string {
	for _, r := range latest {
		if r.OpID == seat.LastOp {
			return fmt.Sprintf("Station %d: a change was logged %s, edge %d, %s, %s", r.Station, s.store.Moment(r.At), r.Edge, count(int64(r.Parts), "part", "parts"), r.Reason)
		}
	}
	return fmt.Sprintf("Station %d: the last change was undone, or is an older one", seat.Station.Number)
}

func edgesOf(caption string, rows []store.RunLine) edgesView {
	v := edgesView{Caption: caption}
	for _, r := range rows {
		row := edgeRow{When: r.At.Local().Format("Mon 2 Jan 15:04"), Station: fmt.Sprintf("%s/%d", r.Machine, r.Station), Job: r.Job, Part: r.Part, Tag: r.Tag, Href: "/pieces/" + r.Tag,
			Edge: strconv.Itoa(r.Edge), Parts: strconv.Itoa(r.Parts), Reason: string(r.Reason)}
		add := func(t string) {
			if t != "" {
				if row.Note != "" {
					row.Note += "; "
				}
				row.Note += t
			}
		}
		if r.Undone {
			add("undone")
		}
		if r.Late {
			add("entered late")
		}
		if d := r.At.Sub(r.NotedAt.Time); !r.NotedAt.IsZero() && (d > 5*time.Minute || d < -5*time.Minute) {
			add("noted " + r.NotedAt.Local().Format("Mon 15:04") + " by the clock of the device")
		}
		if r.WearVB > 0 {
			add(fmt.Sprintf("VB %s mm", figure(r.WearVB, 2)))
		}
		if r.Speed > 0 {
			add(fmt.Sprintf("v %s m/min", figure(r.Speed, 0)))
		}
		if r.Feed > 0 {
			add(fmt.Sprintf("f %s mm", figure(r.Feed, 3)))
		}
		add(r.Batch)
		add(r.Why)
		add(r.Note)
		v.Rows = append(v.Rows, row)
	}
	return v
}

// accountBody is the edge account of all jobs.
// accountDays is how far back the edge account goes at first: a shop has thousands of jobs, and
// asks about the last ones.
const accountDays = 90

type accountBody struct {
	All     bool
	Days    int
	Rows    []accountRow
	Total   accountRow
	Round   []roundRow
	Tub     string
	Weigh   string
	Grams   string
	Asked   bool
	Latest  edgesView
	MayLog  bool
	Op, Op2 string
}

type accountRow struct{ Job, Issued, Used, Left, Thrown, Unexplained, Says string }

type roundRow struct{ Job, Part, Inserts, Used string }

// edgesPage is the edge account: GET /edges.
func (s *Server) edgesPage(c echo.Context) error {
	ctx := c.Request().Context()
	from := s.store.Today().Add(-accountDays)
	all := c.QueryParam("jobs") == "all"
	if all {
		from = ""
	}
	acc, err := s.store.EdgeAccount(ctx, from)
	if err != nil {
		return err
	}
	p, _ := actor(c)
	v := accountBody{All: all, Days: accountDays, Total: accountOf(acc.Total), MayLog: access.Of(p.role, access.MovePieces) != access.No, Op: newOp(), Op2: newOp()}
	for _, b := range acc.Rows {
		v.Rows = append(v.Rows, accountOf(b))
	}
	for _, r := range acc.Round {
		v.Round = append(v.Round, roundRow{r.Job, r.Part, strconv.Itoa(r.Inserts), strconv.Itoa(r.Used)})
	}
	v.Weigh, v.Grams = c.QueryParam("weighed"), c.QueryParam("each")
	each := acc.Tub.GramsEach
	if v.Grams != "" {
		if each, err = decimal("each", v.Grams); err != nil || each <= 0 {
			return &refusal{class: errInvalid, field: "each", detail: "the mass of an insert is a number of grams, such as 9"}
		}
	} else if each > 0 {
		v.Grams = figure(each, 1)
	}
	v.Tub = fmt.Sprintf("%s went to the scrap tub since it was last emptied by the books", count(int64(acc.Tub.Inserts), "insert", "inserts"))
	if each > 0 {
		v.Tub += fmt.Sprintf(", about %s g of carbide", figure(float64(acc.Tub.Inserts)*each, 0))
	} else {
		v.Tub += "; their mass is not on record, so give it below"
	}
	v.Tub += "."
	if v.Weigh != "" {
		grams, err := decimal("weighed", v.Weigh)
		if err != nil || grams < 0 {
			return &refusal{class: errInvalid, field: "weighed", detail: "what the scales say is a number of grams, such as 2100"}
		}
		_, _, says, err := life.ScrapCarbide(acc.Tub.Inserts, each, grams)
		if err != nil {
			return &refusal{class: errInvalid, field: "weighed", detail: err.Error()}
		}
		v.Tub, v.Asked = sentence(says), true
	}
	latest, err := s.store.EdgeRuns(ctx, store.RunFilter{Limit: 25})
	if err != nil {
		return err
	}
	v.Latest = edgesOf("The last changes in the shop, newest first", latest)
	return s.page(c, http.StatusOK, "edges", "Edges", v)
}

func accountOf(b life.Balance) accountRow {
	r := accountRow{Job: b.Job, Issued: strconv.Itoa(b.Issued), Used: strconv.Itoa(b.Used), Left: strconv.Itoa(b.Left), Thrown: strconv.Itoa(b.Thrown), Unexplained: strconv.Itoa(b.Unexplained), Says: b.Says}
	for i, t := range b.ThrownBy {
		if i == 0 && r.Says != "" {
			r.Says += "; "
		}
		if i > 0 {
			r.Says += ", "
		}
		r.Says += fmt.Sprintf("%d thrown away: %s", t.Edges, t.Reason)
	}
	return r
}
