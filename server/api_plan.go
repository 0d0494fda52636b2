package server

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
	"brasspeg/store/stack"
)

// What programs see of planning.

type kitOut struct {
	Ready bool         `json:"ready"`
	There int          `json:"there"`
	Of    int          `json:"of"`
	Day   string       `json:"day,omitempty"`  // the last gap closes
	From  string       `json:"from,omitempty"` // to the minute, where somebody said so
	Says  string       `json:"says"`
	Lines []kitLineOut `json:"lines"`
}

type kitLineOut struct {
	Role  string `json:"role"`
	Tag   string `json:"tag"`
	Part  string `json:"part"`
	Qty   int64  `json:"qty"`
	State string `json:"state"`
	Place string `json:"place,omitempty"`
	Day   string `json:"day,omitempty"`
	Says  string `json:"says,omitempty"`
}

func kitOutOf(k *store.JobKit, see holders) kitOut {
	out := kitOut{Ready: k.Ready(), There: k.There, Of: len(k.Lines), Day: string(k.Day), Says: kitSays(k, see), Lines: []kitLineOut{}}
	if !k.From.IsZero() {
		out.From = k.From.UTC().Format("2006-01-02T15:04:05Z")
	}
	for _, l := range k.Lines {
		out.Lines = append(out.Lines, kitLineOut{l.Role, l.Tag, l.Part, l.Qty, string(l.State), l.Place, string(l.BackDay), veilName(see, l.Who).Replace(l.Says)})
	}
	return out
}

type clashOut struct {
	Tag   string `json:"tag"`
	Part  string `json:"part"`
	Role  string `json:"role"`
	Job   string `json:"job"`
	From  string `json:"from"`
	To    string `json:"to"`
	Taken bool   `json:"taken"` // was promised to this job, and is out for another all the same
	Says  string `json:"says"`
}

func clashesOut(cs []store.Clash, see holders) []clashOut {
	out := []clashOut{}
	for _, c := range cs {
		out = append(out, clashOut{c.Item, c.Part, c.Role, c.With, string(c.From), string(c.To), c.Taken, veilName(see, c.Who).Replace(c.Says)})
	}
	return out
}

type planOut struct {
	Op       string            `json:"op"`
	Pieces   []store.PlanPiece `json:"pieces"`
	Overhang float64           `json:"overhang_mm"`
	Ratio    float64           `json:"overhang_ratio"`
	From     string            `json:"from"`
	To       string            `json:"to"`
	Stale    string            `json:"stale,omitempty"`
	Holds    bool              `json:"can_be_built"`
}

type readyOut struct {
	Code      string     `json:"code"`
	Buildable bool       `json:"buildable"`
	Says      string     `json:"says"`
	Plan      *planOut   `json:"plan,omitempty"`
	Kit       kitOut     `json:"kit"`
	Clashes   []clashOut `json:"clashes"`
}

func planOutOf(r *store.Ready) *planOut {
	if r.Plan == nil {
		return nil
	}
	return &planOut{r.Plan.OpID, r.Plan.List(), r.Plan.Overhang, r.Plan.Ratio, string(r.Plan.FromDay), string(r.Plan.ToDay), r.Plan.Stale(&r.Job), r.Chosen >= 0}
}

type orderOut struct {
	Machine string     `json:"machine"`
	Planned []string   `json:"planned"`
	Moves   int        `json:"tool_moves"`
	Better  []string   `json:"better"`
	Fewest  int        `json:"fewest_moves"`
	Stays   [][]string `json:"stays"` // between each job of the better order and the next
}

type outlookOut struct {
	Jobs   []readyOut `json:"jobs"`
	Orders []orderOut `json:"orders"`
}

// getOutlook is how all planned jobs stand together: GET /api/v1/readiness.
func (s *Server) getOutlook(c echo.Context) error {
	look, err := s.store.Outlook(c.Request().Context())
	if err != nil {
		return err
	}
	see := holdersFor(c)
	out := outlookOut{Jobs: []readyOut{}, Orders: []orderOut{}}
	for i := range look.Jobs {
		j := &look.Jobs[i]
		r := readyOut{Code: j.Job.Code, Buildable: j.Err == nil && j.Verdict.Buildable, Plan: planOutOf(&j.Ready), Kit: kitOutOf(&j.Kit, see), Clashes: clashesOut(j.Clashes, see)}
		_, r.Says = s.readiness(j.Ready, see)
		out.Jobs = append(out.Jobs, r)
	}
	for _, o := range look.Orders {
		if o.Stays == nil {
			o.Stays = [][]string{}
		}
		out.Orders = append(out.Orders, orderOut{o.Machine, o.Planned, o.Moves, o.Better, o.Fewest, o.Stays})
	}
	return c.JSON(http.StatusOK, out)
}

type jobPlanOut struct {
	Plan     *planOut     `json:"plan"` // null: nothing is planned
	Kit      kitOut       `json:"kit"`
	Clashes  []clashOut   `json:"clashes"`
	Earliest string       `json:"earliest"` // first day it can be built, "" when none is known
	Instead  []insteadOut `json:"instead"`  // what was used instead of what was planned
}

type insteadOut struct {
	Role        string `json:"role"`
	PlannedTag  string `json:"planned_tag"`
	PlannedPart string `json:"planned_part"`
	Tag         string `json:"tag"`
	Part        string `json:"part"`
	Qty         int64  `json:"qty"`
	Why         string `json:"why"`
	At          string `json:"at"`
}

type pickingOut struct {
	Pieces []string  `json:"pieces"` // to be sent with the start
	Stops  []stopOut `json:"stops"`  // in the order of the walk
	Kit    kitOut    `json:"kit"`
}

type stopOut struct {
	Place string `json:"place"`
	Tag   string `json:"tag"`
	Part  string `json:"part"`
	Role  string `json:"role"`
	Qty   int64  `json:"qty"`
}

// getKit is what issuing a job's kit would fetch from where: GET /api/v1/jobs/:code/kit.
func (s *Server) getKit(c echo.Context) error {
	ctx := c.Request().Context()
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
	p, err := s.store.PickingOf(ctx, &r)
	if err != nil {
		return err
	}
	out := pickingOut{Pieces: append([]string{}, p.Tags()...), Stops: []stopOut{}, Kit: kitOutOf(&p.JobKit, holdersFor(c))}
	out.Kit.Says = sentence(fmt.Sprintf("%d of %d things can be had now", p.There, len(p.Lines)))
	for _, st := range p.Stops {
		l := &p.Lines[st.Line]
		out.Stops = append(out.Stops, stopOut{st.Code, l.Tag, l.Part, l.Role, st.Qty})
	}
	return c.JSON(http.StatusOK, out)
}

// getPlan is what is planned for a job, its kit and its clashes: GET /api/v1/jobs/:code/plan.
func (s *Server) getPlan(c echo.Context) error {
	ctx := c.Request().Context()
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
	kit, err := s.store.KitOf(ctx, &r)
	if err != nil {
		return err
	}
	clashes, err := s.store.Clashes(ctx, &r)
	if err != nil {
		return err
	}
	day, err := s.store.Earliest(ctx, &r, clashes)
	if err != nil {
		return err
	}
	subs, err := s.store.Substitutes(ctx, j.ID)
	if err != nil {
		return err
	}
	see := holdersFor(c)
	out := jobPlanOut{planOutOf(&r), kitOutOf(&kit, see), clashesOut(clashes, see), string(day), []insteadOut{}}
	for _, x := range subs {
		out.Instead = append(out.Instead, insteadOut{x.Role, x.PlannedTag, x.PlannedPart, x.Tag, x.Part, x.Qty, x.Why, x.At.UTC().Format("2006-01-02T15:04:05Z")})
	}
	return c.JSON(http.StatusOK, out)
}

type remarkOut struct {
	ID       int64   `json:"id"`
	Text     string  `json:"text"`
	Bar      string  `json:"bar"`
	Head     string  `json:"head"`
	Tag      string  `json:"bar_tag"`
	Job      string  `json:"job"`
	Overhang float64 `json:"overhang_mm"`
	Ratio    float64 `json:"overhang_ratio"`
	From     float64 `json:"from_ratio"`
	At       string  `json:"at"`
}

// listRemarks is what setters said that holds for a job's stack: GET /api/v1/jobs/:code/remarks.
func (s *Server) listRemarks(c echo.Context) error {
	ctx := c.Request().Context()
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	r, err := s.store.Check(ctx, j)
	if err != nil {
		return err
	}
	var out []remarkOut
	if st := r.Best(); st != nil {
		all, err := s.store.RemarksOn(ctx, st)
		if err != nil {
			return err
		}
		for _, n := range all[0] {
			out = append(out, remarkOut{n.ID, n.Text, n.Bar, n.Head, n.BarTag, n.Job, n.Overhang, n.Ratio, n.FromRatio, n.At.UTC().Format("2006-01-02T15:04:05Z")})
		}
	}
	return c.JSON(http.StatusOK, listOf(out, len(out)+1, func(r remarkOut) string { return r.Text }))
}

type jobIn struct {
	Code      string         `json:"code"`
	Name      string         `json:"name"`
	Machine   string         `json:"machine"`
	Station   int            `json:"station"`
	Material  string         `json:"material"`
	Parts     int            `json:"parts"`
	PartsDone int            `json:"parts_done"`
	From      string         `json:"from"`
	To        string         `json:"to"`
	State     string         `json:"state"`
	Dear      bool           `json:"dear"`
	Note      string         `json:"note"`
	Request   map[string]any `json:"request"`
	Version   int            `json:"version"` // of the job that was read; 0 for a new one
}

// addJob makes a job: POST /api/v1/jobs.
func (s *Server) addJob(c echo.Context) error { return s.putJob(c, store.Job{}) }

// changeJob changes one: POST /api/v1/jobs/:code. version is that of the job read.
func (s *Server) changeJob(c echo.Context) error {
	j, err := s.job(c.Request().Context(), "code", c.Param("code"))
	if err != nil {
		return err
	}
	return s.putJob(c, j)
}

func (s *Server) putJob(c echo.Context, j store.Job) error {
	ctx := c.Request().Context()
	in, err := decode[jobIn](c)
	if err != nil {
		return err
	}
	if in.Parts < 0 || in.PartsDone < 0 || in.PartsDone > in.Parts {
		return &refusal{class: errInvalid, field: "parts_done", detail: "parts made are 0 up to the parts of the job"}
	}
	switch in.State {
	case "":
		in.State = j.State
	case "planned", "running", "done":
	default:
		return &refusal{class: errInvalid, field: "state", detail: "state is planned, running or done; a job is closed at its own address, because what is out for it has to be answered for"}
	}
	j.Code, j.Name, j.Material, j.Note, j.Dear, j.State = in.Code, in.Name, in.Material, in.Note, in.Dear, in.State
	j.PartsQty, j.PartsDone, j.FromDay, j.ToDay = in.Parts, in.PartsDone, store.Day(in.From), store.Day(in.To)
	if j.ID != 0 {
		j.Version = in.Version
	}
	if err := s.seatOf(c, &in, &j); err != nil {
		return err
	}
	if in.Request == nil {
		in.Request = map[string]any{}
	}
	for _, k := range []string{"job", "need_date", "until", "station"} {
		if _, ok := in.Request[k]; ok {
			return &refusal{class: errInvalid, field: "request." + k, detail: k + " comes from the job itself; leave it out of the request"}
		}
	}
	b, err := json.Marshal(in.Request)
	if err != nil {
		return &refusal{class: errInvalid, field: "request", detail: "the request cannot be written as JSON"}
	}
	j.Request = string(b)
	v, _ := actor(c)
	isNew := j.ID == 0
	if j, err = s.store.SaveJob(ctx, v.id, j); err != nil {
		if bad, ok := errors.AsType[*stack.BadField](err); ok {
			return &refusal{class: errInvalid, field: "request." + strings.TrimPrefix(bad.Field, "request."), detail: bad.Why}
		}
		return err
	}
	status := http.StatusOK
	if isNew {
		status = http.StatusCreated
	}
	return c.JSON(status, jobOutOf(j))
}

func (s *Server) seatOf(c echo.Context, in *jobIn, j *store.Job) error {
	ctx := c.Request().Context()
	j.MachineID, j.StationID = nil, nil
	if in.Machine == "" {
		if in.Station != 0 {
			return &refusal{class: errInvalid, field: "machine", detail: "a station without its machine"}
		}
		return nil
	}
	machines, err := s.store.Machines(ctx)
	if err != nil {
		return err
	}
	for _, m := range machines {
		if m.Code != in.Machine {
			continue
		}
		j.MachineID = &m.ID
		if in.Station == 0 {
			return nil
		}
		stations, err := s.store.Stations(ctx, m.ID)
		if err != nil {
			return err
		}
		for _, st := range stations {
			if st.Number == in.Station {
				j.StationID = &st.ID
				return nil
			}
		}
		return &refusal{class: errInvalid, field: "station", detail: m.Code + " has no such station"}
	}
	return &refusal{class: errInvalid, field: "machine", detail: "no machine is called " + clip(in.Machine)}
}

type purchaseOut struct {
	Part   string   `json:"part"`
	Pieces int      `json:"pieces"`
	Cents  int      `json:"cents"` // of all pieces
	By     string   `json:"by,omitempty"`
	Jobs   []string `json:"jobs"`
}

type unsolvedOut struct {
	Job   string   `json:"job"`
	Why   string   `json:"why"`
	Parts []string `json:"parts"` // on record, that would do but for what why says
	Best  string   `json:"best,omitempty"`
}

type leftOut struct {
	Job   string   `json:"job"`
	Why   string   `json:"why"`
	Parts []string `json:"parts"` // short, and no more to be had in time
	With  []string `json:"with"`  // jobs that take all there is
}

type purchasesOut struct {
	Currency    string        `json:"currency"`
	Cents       int           `json:"cents"`
	Bound       int           `json:"bound_cents"` // proven: no set costs less
	Gap         int           `json:"gap_cents"`
	Lines       []purchaseOut `json:"lines"`
	Singles     []purchaseOut `json:"singles"`
	Unsolved    []unsolvedOut `json:"unsolved"`
	Left        []leftOut     `json:"left"`          // can be built alone but not beside the others
	LeftAtLeast int           `json:"left_at_least"` // proven: no plan leaves out fewer
	FewEdges    []string      `json:"few_edges"`     // jobs counted with fewer edges than they will use up
}

// getPurchases is what to buy: GET /api/v1/purchases.
func (s *Server) getPurchases(c echo.Context) error {
	p, err := s.store.Purchases(c.Request().Context())
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, purchasesOutOf(&p.Purchases))
}

// purchasesOutOf tells all that the search for purchases knows; no list is null.
func purchasesOutOf(p *stack.Purchases) purchasesOut {
	out := purchasesOut{Currency: p.Currency, Cents: p.Cents, Bound: p.Bound, Gap: p.Gap, Lines: []purchaseOut{}, Singles: []purchaseOut{},
		Unsolved: []unsolvedOut{}, Left: []leftOut{}, LeftAtLeast: p.LeftAtLeast, FewEdges: append([]string{}, p.FewEdges...)}
	for _, l := range p.Lines {
		out.Lines = append(out.Lines, purchaseOut{l.Part.Code, l.Qty, l.Cents, string(l.By), append([]string{}, l.Jobs...)})
	}
	for _, l := range p.Singles {
		out.Singles = append(out.Singles, purchaseOut{Part: l.Part.Code, Pieces: l.Qty, Cents: l.Cents, Jobs: append([]string{}, l.Jobs...)})
	}
	for _, u := range p.Unsolved {
		o := unsolvedOut{Job: u.Job, Why: u.Why, Parts: partCodes(u.Parts)}
		if u.Best != nil {
			o.Best = u.Best.Text
		}
		out.Unsolved = append(out.Unsolved, o)
	}
	for _, l := range p.Left {
		out.Left = append(out.Left, leftOut{l.Job, l.Why, partCodes(l.Parts), append([]string{}, l.With...)})
	}
	return out
}

func partCodes(parts []*stack.Part) []string {
	out := make([]string, 0, len(parts))
	for _, p := range parts {
		out = append(out, p.Code)
	}
	return out
}
