package server

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
	"brasspeg/store/life"
)

// An edgeIn is an edge that came off, as a page or a program sends it. station, box and reason
// are enough when all is normal and the parts are counted.
type edgeIn struct {
	Station  string  `json:"station"` // code or tag of the station
	Job      string  `json:"job"`
	Box      string  `json:"box"` // tag of the lot or piece
	Fresh    bool    `json:"fresh"`
	Edge     int     `json:"edge"`
	Parts    int     `json:"parts"`
	Count    int     `json:"count"`
	Reason   string  `json:"reason"`
	Minutes  float64 `json:"minutes"`
	WearVB   float64 `json:"wear_vb"`
	Speed    float64 `json:"speed"`
	Feed     float64 `json:"feed"`
	Batch    string  `json:"batch"`
	Note     string  `json:"note"`
	Why      string  `json:"why"`
	Finished bool    `json:"finished"`
	Ago      int     `json:"ago"`
	After    string  `json:"after"`
	Noted    string  `json:"noted"` // RFC 3339
}

// addEdge logs an edge that came off: POST /api/v1/edges.
func (s *Server) addEdge(c echo.Context, o store.Op, in edgeIn) (r store.Receipt, err error) {
	ctx := c.Request().Context()
	e := store.EdgeIn{Fresh: in.Fresh, Edge: in.Edge, Parts: in.Parts, Count: in.Count, Reason: life.Reason(in.Reason), Minutes: in.Minutes, WearVB: in.WearVB,
		Speed: in.Speed, Feed: in.Feed, Batch: in.Batch, Note: in.Note, Why: in.Why, Finished: in.Finished, Ago: in.Ago, After: in.After}
	if in.Noted != "" {
		if e.Noted, err = store.ParseMoment("noted", in.Noted); err != nil {
			return r, err
		}
	}
	st, err := s.edgeStation(ctx, in.Station)
	if err != nil {
		return r, err
	}
	e.Station = st.ID
	if in.Box == "" {
		return r, &refusal{class: errInvalid, field: "box", detail: "scan the box the insert came from"}
	}
	it, err := s.item(ctx, "box", in.Box)
	if err != nil {
		return r, err
	}
	job, err := s.job(ctx, "job", in.Job)
	if err != nil {
		return r, err
	}
	e.Item, e.Job = it.ID, job.ID
	return s.store.LogEdge(ctx, o, e)
}

func (s *Server) edgeStation(ctx context.Context, text string) (store.Station, error) {
	p, err := s.place(ctx, "station", text)
	if err != nil {
		return store.Station{}, err
	}
	if p.Kind != store.StationAt {
		return store.Station{}, &refusal{class: errInvalid, field: "station", detail: p.Code + " is no station of a machine"}
	}
	return s.store.StationAt(ctx, p.ID)
}

// An edgeOut is a run as a program reads it. It names no person.
type edgeOut struct {
	ID      int64   `json:"id"`
	Op      string  `json:"op"`
	At      string  `json:"at"`
	Noted   string  `json:"noted,omitempty"`
	Machine string  `json:"machine"`
	Station int     `json:"station"`
	Job     string  `json:"job"`
	Part    string  `json:"part"`
	Box     string  `json:"box"`
	Family  int64   `json:"family"`
	Edge    int     `json:"edge"`
	Parts   int     `json:"parts"`
	Minutes float64 `json:"minutes,omitempty"`
	Reason  string  `json:"reason"`
	WearVB  float64 `json:"wear_vb,omitempty"`
	Speed   float64 `json:"speed,omitempty"`
	Feed    float64 `json:"feed,omitempty"`
	Batch   string  `json:"batch,omitempty"`
	Note    string  `json:"note,omitempty"`
	Why     string  `json:"why,omitempty"`
	Late    bool    `json:"late,omitempty"`
	Undone  bool    `json:"undone,omitempty"`
}

func edgeOutOf(r store.RunLine) edgeOut {
	out := edgeOut{ID: r.ID, Op: r.OpID, At: r.At.UTC().Format(time.RFC3339Nano), Machine: r.Machine, Station: r.Station, Job: r.Job, Part: r.Part, Box: r.Tag, Family: r.FamilyID,
		Edge: r.Edge, Parts: r.Parts, Minutes: r.Minutes, Reason: string(r.Reason), WearVB: r.WearVB, Speed: r.Speed, Feed: r.Feed, Batch: r.Batch, Note: r.Note, Why: r.Why, Late: r.Late, Undone: r.Undone}
	if !r.NotedAt.IsZero() {
		out.Noted = r.NotedAt.UTC().Format(time.RFC3339Nano)
	}
	return out
}

// listEdges lists the log of edges, newest first: GET /api/v1/edges.
func (s *Server) listEdges(c echo.Context) error {
	limit, after, err := pageOf(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	f := store.RunFilter{Limit: limit}
	if f.Before, err = seqAfter(after); err != nil {
		return err
	}
	if t := c.QueryParam("family"); t != "" {
		if f.Family, err = familyID(t); err != nil {
			return err
		}
	}
	if t := c.QueryParam("job"); t != "" {
		j, err := s.job(ctx, "job", t)
		if err != nil {
			return err
		}
		f.Job = j.ID
	}
	if t := c.QueryParam("machine"); t != "" {
		m, err := s.store.MachineByCode(ctx, t)
		if err != nil {
			return err
		}
		f.Machine = m.ID
	}
	rows, err := s.store.EdgeRuns(ctx, f)
	if err != nil {
		return err
	}
	out := make([]edgeOut, len(rows))
	for i, r := range rows {
		out[i] = edgeOutOf(r)
	}
	return c.JSON(http.StatusOK, listOf(out, limit, func(e edgeOut) string { return strconv.FormatInt(e.ID, 10) }))
}

func familyID(text string) (int64, error) {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n < 1 || strconv.FormatInt(n, 10) != text {
		return 0, &refusal{class: errNotFound, field: "family", detail: "a family is a number from the list of lives"}
	}
	return n, nil
}

type balanceOut struct {
	Job         string `json:"job"`
	Issued      int    `json:"issued"`
	Used        int    `json:"used"`
	Left        int    `json:"left"`
	Thrown      int    `json:"thrown"`
	Unexplained int    `json:"unexplained"`
	UnknownBack int    `json:"unknown_back"`
	Says        string `json:"says,omitempty"`
}

func balanceOutOf(b life.Balance) balanceOut {
	return balanceOut{b.Job, b.Issued, b.Used, b.Left, b.Thrown, b.Unexplained, b.UnknownBack, b.Says}
}

// edgeAccount is issued = used + left + thrown + unexplained: GET /api/v1/edges/account.
func (s *Server) edgeAccount(c echo.Context) error {
	from := store.Day(c.QueryParam("from"))
	if from != "" {
		if _, err := store.ParseDay(string(from)); err != nil {
			return &refusal{class: errInvalid, field: "from", detail: err.Error()}
		}
	}
	acc, err := s.store.EdgeAccount(c.Request().Context(), from)
	if err != nil {
		return err
	}
	out := struct {
		Jobs  []balanceOut `json:"jobs"`
		Total balanceOut   `json:"total"`
	}{[]balanceOut{}, balanceOutOf(acc.Total)}
	for _, b := range acc.Rows {
		out.Jobs = append(out.Jobs, balanceOutOf(b))
	}
	return c.JSON(http.StatusOK, out)
}

type unknownIn struct {
	Box    string `json:"box"`
	Qty    int64  `json:"qty"`
	Holder string `json:"holder"`
	Reason string `json:"reason"`
}

// addUnknown brings inserts back whose edges nobody knows: POST /api/v1/edges/unknown.
func (s *Server) addUnknown(c echo.Context, o store.Op, in unknownIn) (r store.Receipt, err error) {
	ctx := c.Request().Context()
	it, err := s.item(ctx, "box", in.Box)
	if err != nil {
		return r, err
	}
	p := store.Pick{Item: it.ID, Qty: in.Qty}
	if in.Holder != "" {
		pl, err := s.place(ctx, "holder", in.Holder)
		if err != nil {
			return r, err
		}
		p.Place = pl.ID
	}
	return s.store.ReturnUnknown(ctx, o, store.ReturnUnknownIn{Picks: []store.Pick{p}, Reason: in.Reason})
}

type lookedIn struct {
	Box   string `json:"box"`
	Qty   int64  `json:"qty"`
	Edges int    `json:"edges"`
	Job   string `json:"job"`
}

// addLooked says what inserts in inspection have left: POST /api/v1/edges/looked-at.
func (s *Server) addLooked(c echo.Context, o store.Op, in lookedIn) (r store.Receipt, err error) {
	ctx := c.Request().Context()
	it, err := s.item(ctx, "box", in.Box)
	if err != nil {
		return r, err
	}
	job, err := s.job(ctx, "job", in.Job)
	if err != nil {
		return r, err
	}
	return s.store.LookedAt(ctx, o, store.LookedAtIn{Item: it.ID, Qty: in.Qty, Edges: in.Edges, Job: job.ID})
}

type madeIn struct {
	Count int    `json:"count"`
	Why   string `json:"why"`
}

// countJob sets the parts made on a job, as the machine counts: POST /api/v1/jobs/:code/count.
func (s *Server) countJob(c echo.Context, o store.Op, in madeIn) (r store.Receipt, err error) {
	ctx := c.Request().Context()
	j, err := s.job(ctx, "job", c.Param("code"))
	if err != nil {
		return r, err
	}
	return s.store.PartsMade(ctx, o, store.MadeIn{Job: j.ID, Count: in.Count, Why: strings.TrimSpace(in.Why)})
}

type needOut struct {
	Job        string  `json:"job"`
	Part       string  `json:"part,omitempty"`
	PartsLeft  int     `json:"parts_left"`
	ChangeAt   int     `json:"change_at"`
	ChangeBy   string  `json:"change_by,omitempty"`
	Confidence float64 `json:"confidence"`
	Inserts    int     `json:"inserts,omitempty"`
	Achieved   float64 `json:"achieved,omitempty"`
	Cautious   int     `json:"cautious,omitempty"`
	HeldEdges  int     `json:"held_edges"`
	FreeEdges  int     `json:"free_edges"`
	FreeNew    int     `json:"free_new"`
	EnoughFor  int     `json:"enough_for_parts"`
	OutOn      string  `json:"out_on,omitempty"`
	Says       string  `json:"says"`
}

// jobEdges is what the rest of a job will eat: GET /api/v1/jobs/:code/edges.
func (s *Server) jobEdges(c echo.Context) error {
	ctx := c.Request().Context()
	j, err := s.job(ctx, "job", c.Param("code"))
	if err != nil {
		return err
	}
	conf := 0.95
	if t := c.QueryParam("confidence"); t != "" {
		if conf, err = strconv.ParseFloat(t, 64); err != nil {
			return &refusal{class: errInvalid, field: "confidence", detail: "confidence is a number between 0 and 1, such as 0.95"}
		}
	}
	n, err := s.store.JobEdges(ctx, j.ID, conf)
	if err != nil {
		return err
	}
	out := needOut{Job: n.Job.Code, Part: n.Part.Code, PartsLeft: n.PartsLeft, ChangeAt: n.PlannedAt, ChangeBy: n.PlannedBy, Confidence: conf,
		HeldEdges: n.Held, FreeEdges: n.FreeEdges, FreeNew: n.FreeNew, EnoughFor: n.EnoughFor, OutOn: string(n.OutOn), Says: n.Says}
	if n.Need != nil {
		out.Inserts, out.Achieved, out.Cautious = n.Need.Need.Inserts, n.Need.Need.Achieved, n.Need.Cautious
	}
	return c.JSON(http.StatusOK, out)
}
