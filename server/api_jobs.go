package server

import (
	"encoding/json"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
	"brasspeg/store/stack"
)

// rawJSON is a stored JSON value as it is, null when it is none.
func rawJSON(text string) json.RawMessage {
	if !json.Valid([]byte(text)) {
		return json.RawMessage("null")
	}
	return json.RawMessage(text)
}

type jobOut struct {
	Code      string          `json:"code"`
	Tag       string          `json:"tag"`
	Name      string          `json:"name"`
	Material  string          `json:"material"`
	Parts     int             `json:"parts"`
	PartsDone int             `json:"parts_done"`
	From      string          `json:"from"`
	To        string          `json:"to"`
	State     string          `json:"state"`
	Request   json.RawMessage `json:"request"`
	Note      string          `json:"note"`
	Version   int             `json:"version"`
	Buildable *bool           `json:"buildable,omitempty"`
	Says      string          `json:"says,omitempty"`
}

func jobOutOf(j store.Job) jobOut {
	o := jobOut{
		Code: j.Code, Name: j.Name, Material: j.Material, Parts: j.PartsQty, PartsDone: j.PartsDone, From: string(j.FromDay), To: string(j.ToDay),
		State: j.State, Request: rawJSON(j.Request), Note: j.Note, Version: j.Version,
	}
	if j.Tag != nil {
		o.Tag = *j.Tag
	}
	return o
}

// listJobs lists planned and running jobs with their readiness: GET /api/v1/jobs.
func (s *Server) listJobs(c echo.Context) error {
	ready, err := s.store.Readiness(c.Request().Context())
	if err != nil {
		return err
	}
	var out []jobOut
	for _, r := range ready {
		if state := c.QueryParam("state"); state != "" && state != r.Job.State {
			continue
		}
		o := jobOutOf(r.Job)
		can := r.Err == nil && r.Verdict.Buildable
		o.Buildable = &can
		_, o.Says = s.readiness(r, holdersFor(c))
		out = append(out, o)
	}
	code := func(j jobOut) string { return j.Code }
	return sendRows(c, out, code, map[string]func(a, b jobOut) int{"code": byText(code), "from": byText(func(j jobOut) string { return j.From }), "to": byText(func(j jobOut) string { return j.To })})
}

// getJob is one job: GET /api/v1/jobs/:code.
func (s *Server) getJob(c echo.Context) error {
	j, err := s.job(c.Request().Context(), "code", c.Param("code"))
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, jobOutOf(j))
}

// jobStack is the verdict on a job's stack: GET /api/v1/jobs/:code/stack.
func (s *Server) jobStack(c echo.Context) error {
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
	return sendVerdict(c, &r.Verdict)
}

// checkStack is the verdict on a request that belongs to no job: POST /api/v1/stacks. It
// asks and books nothing, so it takes no key.
func (s *Server) checkStack(c echo.Context) error {
	in, err := decode[map[string]any](c)
	if err != nil {
		return err
	}
	req, err := stack.ReadRequestMap(in)
	if err != nil {
		return &refusal{class: errInvalid, detail: err.Error()}
	}
	shelf, err := s.store.Shelf(c.Request().Context())
	if err != nil {
		return err
	}
	v, err := shelf.Check(*req)
	if err != nil {
		return &refusal{class: errInvalid, detail: err.Error()}
	}
	return sendVerdict(c, &v)
}

type verdictOut struct {
	Buildable   bool           `json:"buildable"`
	Stacks      []stackOut     `json:"stacks"`
	Nearest     *stackOut      `json:"nearest,omitempty"`
	Options     []optionOut    `json:"options"`
	Reasons     []stack.Reason `json:"reasons"`
	Worse       []worseOut     `json:"worse"`
	Misses      []missOut      `json:"misses"`
	AvailableOn string         `json:"available_on,omitempty"`
	HeldBy      string         `json:"held_by,omitempty"`
}

type stackOut struct {
	Pieces          []usedOut      `json:"pieces"`
	OverhangMM      float64        `json:"overhang_mm"`
	OverhangRatio   float64        `json:"overhang_ratio"`
	OverhangLimitMM float64        `json:"overhang_limit_mm"`
	GripMM          stack.Opt      `json:"grip_mm"`
	ClampRatio      stack.Opt      `json:"clamp_ratio"`
	MassKg          stack.Opt      `json:"mass_kg"`
	CoolantLimitBar stack.Opt      `json:"coolant_limit_bar"`
	CoolantWeakest  string         `json:"coolant_weakest"`
	Checks          []stack.Check  `json:"checks"`
	Warnings        []stack.Reason `json:"warnings"`
	Remarks         []string       `json:"remarks"`
}

type usedOut struct {
	Role    string `json:"role"`
	Part    string `json:"part"`
	Tag     string `json:"tag"`
	Place   string `json:"place"`
	Missing bool   `json:"missing"`
}

type optionOut struct {
	Parts       []missingOut `json:"parts"`
	AvailableOn string       `json:"available_on,omitempty"`
	HeldBy      string       `json:"held_by,omitempty"`
	PriceCents  stack.Opt    `json:"price_cents"`
	Currency    string       `json:"currency"`
	LeadDays    stack.Opt    `json:"lead_days"`
	Text        string       `json:"text"`
}

type missingOut struct {
	Kind      string         `json:"kind"`
	Needs     map[string]any `json:"needs"`
	Prefers   map[string]any `json:"prefers"`
	Owned     []borrowOut    `json:"owned"`
	Catalogue []string       `json:"catalogue"`
}

type borrowOut struct {
	Tag    string `json:"tag"`
	Code   string `json:"code"`
	HeldBy string `json:"held_by"`
	Job    string `json:"job"`
	From   string `json:"from"`
	Text   string `json:"text"`
}

type worseOut struct {
	What    string   `json:"what"`
	Changes string   `json:"changes"`
	Stack   stackOut `json:"stack"`
}

type missOut struct {
	Item     string `json:"item"`
	Kind     string `json:"kind"`
	Code     string `json:"code"`
	Distance string `json:"distance"`
}

func sendVerdict(c echo.Context, v *stack.Verdict) error {
	b, err := json.Marshal(verdictOutOf(v, holdersFor(c)))
	if err != nil {
		return err
	}
	return c.JSONBlob(http.StatusOK, b)
}

// veilFor takes the names of holders out of a verdict's sentences for who may not read them.
func veilFor(see holders, v *stack.Verdict) *strings.Replacer {
	if see.all {
		return strings.NewReplacer()
	}
	var pairs []string
	add := func(name string) {
		if name != "" && name != see.own {
			pairs = append(pairs, name, "somebody")
		}
	}
	add(v.HeldBy)
	for _, o := range v.Options {
		add(o.HeldBy)
		for _, m := range o.Parts {
			for _, b := range m.Owned {
				add(b.HeldBy)
			}
		}
	}
	return strings.NewReplacer(pairs...)
}

func verdictOutOf(v *stack.Verdict, see holders) verdictOut {
	veil := veilFor(see, v)
	out := verdictOut{
		Buildable: v.Buildable, Stacks: []stackOut{}, Options: []optionOut{}, Reasons: []stack.Reason{}, Worse: []worseOut{}, Misses: []missOut{},
		AvailableOn: string(v.AvailableOn), HeldBy: veil.Replace(v.HeldBy),
	}
	for i := range v.Stacks {
		out.Stacks = append(out.Stacks, stackOutOf(&v.Stacks[i], see))
	}
	if v.Nearest != nil {
		n := stackOutOf(v.Nearest, see)
		out.Nearest = &n
	}
	for _, r := range v.Reasons {
		out.Reasons = append(out.Reasons, stack.Reason{Code: r.Code, Text: veil.Replace(r.Text)})
	}
	for i := range v.Options {
		out.Options = append(out.Options, optionOutOf(&v.Options[i], veil))
	}
	for i := range v.Worse {
		w := &v.Worse[i]
		out.Worse = append(out.Worse, worseOut{w.What, veil.Replace(w.Changes), stackOutOf(&w.Stack, see)})
	}
	for _, m := range v.Misses {
		out.Misses = append(out.Misses, missOut{m.Item, string(m.Kind), string(m.Code), m.Distance})
	}
	return out
}

func stackOutOf(st *stack.Stack, see holders) stackOut {
	out := stackOut{
		Pieces: []usedOut{}, OverhangMM: st.Overhang, OverhangRatio: st.Ratio, OverhangLimitMM: st.LimitMM, GripMM: st.Grip, ClampRatio: st.ClampRatio(),
		MassKg: st.Mass, CoolantLimitBar: st.Route.Limit, CoolantWeakest: st.Route.Weakest,
		Checks: append([]stack.Check{}, st.Checks...), Warnings: append([]stack.Reason{}, st.Warnings...), Remarks: append([]string{}, st.Remarks...),
	}
	for i := range st.Pieces {
		u := &st.Pieces[i]
		o := usedOut{Role: string(u.Role), Place: placeOf(u, see), Missing: u.Missing}
		if u.Part != nil {
			o.Part = u.Part.Code
		}
		if u.Item != nil {
			o.Tag = u.Item.ID
		}
		out.Pieces = append(out.Pieces, o)
	}
	return out
}

func optionOutOf(o *stack.Option, veil *strings.Replacer) optionOut {
	out := optionOut{
		Parts: []missingOut{}, AvailableOn: string(o.AvailableOn), HeldBy: veil.Replace(o.HeldBy), PriceCents: o.PriceCents, Currency: o.Currency,
		LeadDays: o.LeadDays, Text: veil.Replace(o.Text),
	}
	for _, m := range o.Parts {
		mo := missingOut{Kind: string(m.Kind), Needs: needsOf(m.Needs), Prefers: needsOf(m.Prefers), Owned: []borrowOut{}, Catalogue: []string{}}
		for _, b := range m.Owned {
			bo := borrowOut{Code: string(b.Code), HeldBy: veil.Replace(b.HeldBy), Job: b.Job, From: string(b.From), Text: veil.Replace(b.Text)}
			if b.Item != nil {
				bo.Tag = b.Item.ID
			}
			mo.Owned = append(mo.Owned, bo)
		}
		for _, b := range m.Catalogue {
			if b.Part != nil {
				mo.Catalogue = append(mo.Catalogue, b.Part.Code)
			}
		}
		out.Parts = append(out.Parts, mo)
	}
	return out
}

func needsOf(needs []stack.Need) map[string]any {
	m := map[string]any{}
	for _, n := range needs {
		m[n.Name] = n.Value
	}
	return m
}

type reservationOut struct {
	ID   int64  `json:"id"`
	Job  string `json:"job"`
	Tag  string `json:"tag"`
	Part string `json:"part"`
	Qty  int64  `json:"qty"`
	From string `json:"from"`
	To   string `json:"to"`
}

// listReservations lists what is promised to a job: GET /api/v1/jobs/:code/reservations.
func (s *Server) listReservations(c echo.Context) error {
	ctx := c.Request().Context()
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	return s.sendPromises(c, j.ID)
}

// listAllReservations lists what is promised to all jobs, or with job= to one:
// GET /api/v1/reservations.
func (s *Server) listAllReservations(c echo.Context) error {
	j, err := s.job(c.Request().Context(), "job", c.QueryParam("job"))
	if err != nil {
		return err
	}
	return s.sendPromises(c, j.ID)
}

func (s *Server) sendPromises(c echo.Context, job store.JobID) error {
	rows, err := s.store.Promises(c.Request().Context(), job)
	if err != nil {
		return err
	}
	out := make([]reservationOut, len(rows))
	for i, r := range rows {
		out[i] = reservationOut{r.ID, r.Job, r.Tag, r.Part, r.Qty, string(r.FromDay), string(r.ToDay)}
	}
	return sendRows(c, out, func(r reservationOut) string { return strconv.FormatInt(r.ID, 10) }, map[string]func(a, b reservationOut) int{
		"tag": byText(func(r reservationOut) string { return r.Tag }), "from": byText(func(r reservationOut) string { return r.From })})
}

type reserveIn struct {
	Job   string   `json:"job"`
	Lines []lineIn `json:"lines"`
	From  string   `json:"from"`
	To    string   `json:"to"`
}

// addReservation promises things to a job: POST /api/v1/reservations.
func (s *Server) addReservation(c echo.Context, o store.Op, in reserveIn) (r store.Receipt, err error) {
	ctx := c.Request().Context()
	if in.Job == "" {
		return r, &refusal{class: errInvalid, field: "job", detail: "say which job it is for"}
	}
	j, err := s.job(ctx, "job", in.Job)
	if err != nil {
		return r, err
	}
	picks, err := s.picks(ctx, in.Lines)
	if err != nil {
		return r, err
	}
	want := store.ReserveIn{Job: j.ID, Picks: picks}
	if in.From != "" || in.To != "" {
		if want.From, err = store.ParseDay(in.From); err != nil {
			return r, onField("from", err)
		}
		if want.To, err = store.ParseDay(in.To); err != nil {
			return r, onField("to", err)
		}
	}
	return s.store.Reserve(ctx, o, want)
}

type releaseIn struct {
	Job string `json:"job"`
}

// releaseReservations ends every promise to a job: POST /api/v1/reservations/release.
func (s *Server) releaseReservations(c echo.Context, o store.Op, in releaseIn) (r store.Receipt, err error) {
	ctx := c.Request().Context()
	if in.Job == "" {
		return r, &refusal{class: errInvalid, field: "job", detail: "say which job gives its promises back"}
	}
	j, err := s.job(ctx, "job", in.Job)
	if err != nil {
		return r, err
	}
	return s.store.Unreserve(ctx, o, j.ID)
}
