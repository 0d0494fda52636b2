package server

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/life"
)

// livesBody lists the families of edges.
type livesBody struct{ Rows []familyRow }

type familyRow struct{ Href, Operation, Material, Part, Band, Runs, Failed, Change, Last string }

// lifeBody is one family: how long its edges last and when to change them.
type lifeBody struct {
	Title     string
	Facts     []factView
	Readings  []reading
	Sentences []string
	Curve     string // address of the plot
	CurveAlt  string
	Cost      string
	CostAlt   string
	Points    []pointRow // the curve as a table
	Counts    []factView
	LeftOut   []string
	Splits    []splitView
	Taylor    []factView
	NoTaylor  string
	Ask       lifeForm
	MayPlan   bool
	Plan      lifePlanView
	Runs      edgesView
}

type pointRow struct{ Age, Alive, Low, High string }

type splitView struct {
	By   string
	Rows []splitRow
}

type splitRow struct{ Name, Edges, Failures, Ratio, Says string }

type lifeForm struct {
	Planned, Unplanned, Risk, Change, Edge, Rate string
	Chatter                                      bool
}

type lifePlanView struct{ Action, Op, At, Planned, Unplanned, Risk string }

// livesPage lists the families: GET /lives.
func (s *Server) livesPage(c echo.Context) error {
	fams, err := s.store.EdgeFamilies(c.Request().Context())
	if err != nil {
		return err
	}
	var v livesBody
	for _, f := range fams {
		row := familyRow{Href: fmt.Sprintf("/lives/%d", f.ID), Operation: f.Operation, Material: f.Material, Part: f.Part, Band: f.Band,
			Runs: strconv.Itoa(f.Runs), Failed: strconv.Itoa(f.Failed), Change: "none planned", Last: f.LastAt.Local().Format("Mon 2 Jan 15:04")}
		if f.PlannedAt > 0 {
			row.Change = count(int64(f.PlannedAt), "part", "parts")
		}
		v.Rows = append(v.Rows, row)
	}
	return s.page(c, http.StatusOK, "lives", "Lives", v)
}

// lifeAsk reads what a page or a program wants to look at: costs, risk, chatter.
func lifeAsk(c echo.Context) (store.LifeAsk, lifeForm, error) {
	var ask store.LifeAsk
	q := c.QueryParam
	form := lifeForm{Planned: q("planned"), Unplanned: q("unplanned"), Risk: q("risk"), Change: q("change_min"), Edge: q("edge_cost"), Rate: q("rate_min"), Chatter: q("chatter") != ""}
	var cut life.Cut
	for _, f := range []struct {
		field, name, text string
		into              *float64
	}{{"planned", "the cost of a planned change", form.Planned, &ask.Costs.Planned}, {"unplanned", "the full cost of a failure", form.Unplanned, &ask.Costs.Unplanned},
		{"risk", "the accepted risk", form.Risk, &ask.Risk}, {"change_min", "the minutes to change an edge", form.Change, &cut.ChangeTime},
		{"edge_cost", "the cost of one edge", form.Edge, &cut.EdgeCost}, {"rate_min", "machine and man, a minute", form.Rate, &cut.RatePerMin}} {
		if f.text == "" {
			continue
		}
		v, err := decimal(f.field, f.text)
		if err != nil || v < 0 || v >= 1e9 {
			return ask, form, &refusal{class: errInvalid, field: f.field, detail: fmt.Sprintf("%s: “%s” is no number of 0 or more; write it such as 4.20 or 4,20", f.name, clip(f.text))}
		}
		*f.into = v
	}
	switch {
	case (ask.Costs.Planned == 0) != (ask.Costs.Unplanned == 0):
		return ask, form, &refusal{class: errInvalid, field: "unplanned", detail: "give both costs, or neither: the advice weighs one against the other"}
	case ask.Risk >= 1:
		return ask, form, &refusal{class: errInvalid, field: "risk", detail: "an accepted risk is a share below 1, such as 0.01 for one edge in a hundred"}
	}
	ask.ChatterFails = form.Chatter
	if cut.ChangeTime > 0 && cut.RatePerMin > 0 {
		ask.Cut = &cut
	}
	return ask, form, nil
}

// lifePage is one family: GET /lives/:id.
func (s *Server) lifePage(c echo.Context) error {
	id, err := familyID(c.Param("id"))
	if err != nil {
		return err
	}
	ask, form, err := lifeAsk(c)
	if err != nil {
		return err
	}
	lv, err := s.store.LifeOf(c.Request().Context(), id, ask)
	if err != nil {
		return err
	}
	f, fam := &lv.Fit, lv.Family
	v := lifeBody{Title: fam.Operation + ", " + lv.Part.Code, Sentences: f.Sentences, Ask: form}
	v.Facts = []factView{{Name: "Operation", Value: fam.Operation}, {Name: "Material group", Value: fam.Material}, {Name: "Insert", Value: lv.Part.Code, Href: "/parts/" + pathOf(lv.Part.Code)},
		{Name: "Grade", Value: lv.Part.Grade}, {Name: "Speed band", Value: fam.Band}, {Name: "Edges on record", Value: strconv.Itoa(lv.Runs)}}
	query := c.Request().URL.Query().Encode()
	if query != "" {
		query = "?" + query
	}
	if v.CurveAlt = curveAlt(f, fam); len(f.Observed) > 0 {
		v.Curve = fmt.Sprintf("/lives/%d/curve.svg%s", id, query)
	}
	if len(f.Law) > 0 {
		v.Readings = append(v.Readings, reading{"Half last at least", fmt.Sprintf("%.0f", f.Law.Quantile(0.5)), "parts"}, reading{"One in ten is gone after", fmt.Sprintf("%.0f", f.Law.Quantile(0.1)), "parts"})
		for _, p := range []float64{0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9} {
			b := f.Band(f.Law.Quantile(p))
			v.Points = append(v.Points, pointRow{figure(b.Age, 1), percent(b.Survival), percent(b.Low), percent(b.High)})
		}
	}
	if ch := f.Change; ch != nil {
		v.Cost, v.CostAlt = fmt.Sprintf("/lives/%d/cost.svg%s", id, query), costAlt(ch)
		if ch.Parts > 0 {
			v.Readings = append(v.Readings, reading{"Change after", strconv.Itoa(ch.Parts), "parts"}, reading{"Fail before that", percent(ch.Surprise), ""}, reading{"Saved against running to failure", percent(ch.Saving), ""})
		} else {
			v.Readings = append(v.Readings, reading{"Change", "run to failure", ""})
		}
		v.Readings = append(v.Readings, reading{"Cost a part", figure(ch.Cost, 3), ""})
	}
	if f.RiskParts >= 0 {
		v.Readings = append(v.Readings, reading{"By accepted risk", strconv.Itoa(f.RiskParts), "parts"})
	}
	for _, r := range life.Reasons {
		if n := f.Count[r]; n > 0 {
			v.Counts = append(v.Counts, factView{Name: string(r), Value: strconv.Itoa(n), Unit: countedAs(r, f.Options.ChatterFails)})
		}
	}
	for _, l := range f.LeftOut {
		v.LeftOut = append(v.LeftOut, fmt.Sprintf("%d parts, %s: %s", l.Run.Parts, l.Run.Reason, l.Why))
	}
	for _, r := range lv.LateRuns {
		v.LeftOut = append(v.LeftOut, fmt.Sprintf("%d parts, %s, %s: entered late, the count is from memory", r.Parts, r.Reason, r.At.Local().Format("2 Jan 15:04")))
	}
	if n := lv.LateCount - len(lv.LateRuns); n > 0 {
		v.LeftOut = append(v.LeftOut, fmt.Sprintf("and %d more entered late", n))
	}
	for _, sp := range []*life.Split{f.Batches, f.CuttingData} {
		if sp != nil {
			v.Splits = append(v.Splits, splitOf(sp))
		}
	}
	v.taylor(lv)
	p, _ := actor(c)
	v.MayPlan = access.Of(p.role, access.PlanLives) != access.No
	v.Plan = lifePlanView{Action: fmt.Sprintf("/api/v1/lives/%d/plan", id), Op: newOp(), At: strconv.Itoa(fam.PlannedAt), Planned: figure(lv.Costs.Planned, 2), Unplanned: figure(lv.Costs.Unplanned, 2), Risk: figure(lv.Risk, 4)}
	if ch := f.Change; ch != nil && fam.PlannedAt == 0 {
		v.Plan.At = strconv.Itoa(ch.Parts)
	}
	if form.Planned == "" && lv.Costs.Planned > 0 {
		v.Ask.Planned, v.Ask.Unplanned = figure(lv.Costs.Planned, 2), figure(lv.Costs.Unplanned, 2)
	}
	if form.Risk == "" && lv.Risk > 0 {
		v.Ask.Risk = figure(lv.Risk, 4)
	}
	var rows []store.RunLine
	if rows, err = s.store.EdgeRuns(c.Request().Context(), store.RunFilter{Family: id, Limit: 50}); err != nil {
		return err
	}
	v.Runs = edgesOf("The newest runs of this family; at most fifty are shown", rows)
	return s.page(c, http.StatusOK, "life", v.Title, v)
}

func (v *lifeBody) taylor(lv store.LifeView) {
	v.NoTaylor = lv.NoTaylor
	if lv.Taylor == nil {
		if v.NoTaylor == "" {
			v.NoTaylor = "two speeds at least, with minutes in cut, must be on record for this operation, material and insert"
		}
		return
	}
	v.NoTaylor = ""
	t := lv.Taylor
	v.Taylor = append(v.Taylor, factView{Name: "n", Value: figure(t.N, 3)}, factView{Name: "C", Value: figure(t.C, 1), Unit: "m/min for one minute of life"})
	for _, min := range []float64{10, 20, 40} {
		v.Taylor = append(v.Taylor, factView{Name: fmt.Sprintf("Speed for %.0f min of life", min), Value: figure(t.Speed(min), 0), Unit: "m/min"})
	}
	if sp := lv.Speeds; sp != nil {
		v.Taylor = append(v.Taylor, factView{Name: "Speed of least cost", Value: figure(sp.MinCost.Speed, 0), Unit: fmt.Sprintf("m/min, life %s min", figure(sp.MinCost.Life, 1))},
			factView{Name: "Speed of most output", Value: figure(sp.MaxProduction.Speed, 0), Unit: fmt.Sprintf("m/min, life %s min", figure(sp.MaxProduction.Life, 1))})
	}
}

func percent(p float64) string { return figure(100*p, 1) + " %" }

func countedAs(r life.Reason, chatterFails bool) string {
	switch r.Cause() {
	case life.WearOut:
		return "wear-out"
	case life.Sudden:
		return "sudden"
	case life.FromSetup:
		if chatterFails {
			return "sudden, as asked"
		}
		return "still good: from the setup"
	}
	return "still good"
}

func splitOf(sp *life.Split) splitView {
	v := splitView{By: sp.By}
	for _, g := range sp.Groups {
		row := splitRow{Name: g.Name, Edges: strconv.Itoa(g.Edges), Failures: strconv.Itoa(g.Failures), Says: g.Says}
		if g.Ratio > 0 {
			row.Ratio = figure(g.Ratio, 2)
		}
		v.Rows = append(v.Rows, row)
	}
	return v
}

type livesOut struct {
	ID        int64  `json:"id"`
	Operation string `json:"operation"`
	Material  string `json:"material"`
	Part      string `json:"part"`
	Grade     string `json:"grade,omitempty"`
	Band      string `json:"band"`
	Runs      int    `json:"runs"`
	Failed    int    `json:"failed"`
	Late      int    `json:"late"`
	PlannedAt int    `json:"planned_at"`
}

// listLives lists the families: GET /api/v1/lives.
func (s *Server) listLives(c echo.Context) error {
	fams, err := s.store.EdgeFamilies(c.Request().Context())
	if err != nil {
		return err
	}
	out := make([]livesOut, len(fams))
	for i, f := range fams {
		out[i] = livesOut{f.ID, f.Operation, f.Material, f.Part, f.Grade, f.Band, f.Runs, f.Failed, f.Late, f.PlannedAt}
	}
	return sendRows(c, out, func(l livesOut) string { return strconv.FormatInt(l.ID, 10) }, map[string]func(a, b livesOut) int{
		"part": byText(func(l livesOut) string { return l.Part }), "runs": func(a, b livesOut) int { return a.Runs - b.Runs }})
}

type lifeOut struct {
	ID        int64      `json:"id"`
	Kept      int        `json:"kept"`
	Failures  int        `json:"failures"`
	Law       []lawOut   `json:"law"`
	Curve     []curveOut `json:"curve"`
	ChangeAt  *int       `json:"change_at,omitempty"`
	Cost      float64    `json:"cost,omitempty"`
	ToFailure float64    `json:"to_failure,omitempty"`
	Saving    float64    `json:"saving,omitempty"`
	Surprise  float64    `json:"surprise,omitempty"`
	RiskAt    *int       `json:"risk_at,omitempty"`
	Says      []string   `json:"says"`
}

type lawOut struct {
	Shape float64 `json:"shape"`
	Scale float64 `json:"scale"`
}

type curveOut struct {
	Age  float64 `json:"age"`
	Live float64 `json:"live"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// getLife is one family: GET /api/v1/lives/:id.
func (s *Server) getLife(c echo.Context) error {
	id, err := familyID(c.Param("id"))
	if err != nil {
		return err
	}
	ask, _, err := lifeAsk(c)
	if err != nil {
		return err
	}
	lv, err := s.store.LifeOf(c.Request().Context(), id, ask)
	if err != nil {
		return err
	}
	f := lv.Fit
	out := lifeOut{ID: id, Kept: f.Kept, Failures: f.All.Failures, Law: []lawOut{}, Curve: []curveOut{}, Says: f.Sentences}
	for _, w := range f.Law {
		out.Law = append(out.Law, lawOut{w.Shape, w.Scale})
	}
	for _, p := range f.Fitted {
		out.Curve = append(out.Curve, curveOut{p.Age, p.Survival, p.Low, p.High})
	}
	if ch := f.Change; ch != nil {
		out.ChangeAt, out.Cost, out.ToFailure, out.Saving, out.Surprise = &ch.Parts, ch.Cost, ch.ToFailure, ch.Saving, ch.Surprise
	}
	if f.RiskParts >= 0 {
		out.RiskAt = &f.RiskParts
	}
	return c.JSON(http.StatusOK, out)
}

type lifePlanIn struct {
	PlannedAt int     `json:"planned_at"`
	Planned   float64 `json:"planned"`
	Unplanned float64 `json:"unplanned"`
	Risk      float64 `json:"risk"`
}

// planLife sets the planned change of a family: POST /api/v1/lives/:id/plan.
func (s *Server) planLife(c echo.Context, o store.Op, in lifePlanIn) (r store.Receipt, err error) {
	id, err := familyID(c.Param("id"))
	if err != nil {
		return r, err
	}
	return s.store.PlanLife(c.Request().Context(), o, id, store.LifePlan{PlannedAt: in.PlannedAt, PlannedCost: in.Planned, UnplannedCost: in.Unplanned, Risk: in.Risk})
}

// lifePlot answers a plot of a family.
func (s *Server) lifePlot(draw func(store.LifeView) ([]byte, error)) echo.HandlerFunc {
	return func(c echo.Context) error {
		id, err := familyID(c.Param("id"))
		if err != nil {
			return err
		}
		ask, _, err := lifeAsk(c)
		if err != nil {
			return err
		}
		lv, err := s.store.LifeOf(c.Request().Context(), id, ask)
		if err != nil {
			return err
		}
		svg, err := draw(lv)
		if errors.Is(err, errNoPlot) {
			return &refusal{class: errNotFound, detail: "there is nothing to draw: " + err.Error()}
		}
		if err != nil {
			return err
		}
		return sendPacked(c, http.StatusOK, "image/svg+xml", svg)
	}
}
