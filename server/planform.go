package server

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
	"brasspeg/store/stack"
	"brasspeg/store/standard"
)

// A jobForm is the form of a job with its stack request: what was typed, and beside each field
// what is wrong with it.
type jobForm struct {
	Title, Action, Send string
	Says                string // where its values come from, "" for an empty form
	Error               string // of no single field
	Wrong               []wrongField
	Groups              []fieldGroup
	Hidden              []formField
}

type fieldGroup struct {
	ID, Name string
	Fields   []formField
}

// A wrongField names a field that has to be mended, for the list above the form.
type wrongField struct{ ID, Label string }

type formField struct {
	ID, Name, Label, Unit, Value, Help, Error, Kind string // Kind: text, date, select, area
	Need, First                                     bool   // has to be filled in; the first that is wrong
	Options                                         []formOption
}

type formOption struct {
	Value, Text string
	Chosen      bool
}

// jobFields is the form as data: which fields, in which groups, with which help.
var jobFields = []struct {
	group, name, label, unit, kind, help string
}{
	{"The job", "code", "Job code", "", "text", "as on the job card, at most 40 characters"},
	{"The job", "name", "Name", "", "text", ""},
	{"The job", "station", "Machine and station", "", "select", "the turret seat, its coolant port and limits come from here"},
	{"The job", "from", "First day", "", "date", "the stack is needed on this day"},
	{"The job", "to", "Last day", "", "date", ""},
	{"The job", "qty", "Parts to make", "pieces", "text", ""},
	{"The job", "done", "Parts made", "pieces", "text", ""},
	{"The job", "dear", "Dear part", "", "select", "edges are changed by accepted risk"},
	{"The bore", "unit", "Sizes below in", "", "select", "a size may also carry its own unit: 1-1/4\", 32 mm"},
	{"The bore", "bore_start", "Hole before this tool, diameter", "size", "text", "the bar, head and clamp have to go into it"},
	{"The bore", "bore_end", "Hole after this tool, diameter", "size", "text", "for speed and drawing; leave it empty when not known"},
	{"The bore", "depth", "Depth", "size", "text", ""},
	{"The bore", "clearance", "Clearance, part face to holder face at full depth", "size", "text", "jaws and stops included; 0 is an answer. Overhang = depth + clearance"},
	{"The bore", "hand", "Hand", "", "select", "HAND"},
	{"The edge", "seat", "Insert pocket", "", "text", "shape, clearance, tolerance, type, size, thickness by ISO 1832, such as CCMT09T3"},
	{"The edge", "re", "Nose radius RE", "mm", "text", "RE"},
	{"The edge", "edges", "Edges needed for the job", "edges", "text", "0 or empty: not asked"},
	{"Coolant", "coolant", "Coolant to the edge", "", "select", ""},
	{"Coolant", "pressure", "Pressure at the machine", "bar", "text", "bar, or with its unit: 4 MPa, 600 psi. Only with coolant"},
	{"Cutting data, for the estimates", "material", "Material, ISO 513", "", "select", "P steel, M stainless, K cast iron, N non-ferrous, S heat resistant, H hardened"},
	{"Cutting data, for the estimates", "group", "Material group, VDI 3323", "1 to 41", "text", "sets the specific cutting force"},
	{"Cutting data, for the estimates", "vc", "Cutting speed", "m/min", "text", ""},
	{"Cutting data, for the estimates", "f", "Feed", "mm/rev", "text", ""},
	{"Cutting data, for the estimates", "ap", "Depth of cut", "mm", "text", ""},
	{"Note", "note", "Note", "", "area", ""},
}

// jobNeeds are the fields without which there is no job.
var jobNeeds = map[string]bool{"code": true, "from": true, "to": true, "bore_start": true, "depth": true, "clearance": true, "hand": true, "seat": true}

var fieldChoices = map[string][]formOption{
	"dear":     {{"", "no", false}, {"yes", "yes", false}},
	"unit":     {{"mm", "mm", false}, {"in", "inch", false}},
	"hand":     {{"R", "right, R", false}, {"L", "left, L", false}, {"N", "neutral, N", false}},
	"coolant":  {{"", "none", false}, {"yes", "yes", false}},
	"material": {{"", "not said", false}, {"P", "P", false}, {"M", "M", false}, {"K", "K", false}, {"N", "N", false}, {"S", "S", false}, {"H", "H", false}},
}

// jobFormOf lays values and errors out as a form.
func (s *Server) jobFormOf(ctx context.Context, values, wrong map[string]string) (jobForm, error) {
	stations, err := s.stationChoices(ctx)
	if err != nil {
		return jobForm{}, err
	}
	f := jobForm{Title: "New job", Action: "/newjob", Send: "Make the job", Error: wrong[""]}
	if values["id"] != "" {
		f.Title, f.Action, f.Send = "Change "+values["was"], "/jobs/"+pathOf(values["was"])+"/edit", "Save"
	}
	for _, h := range []string{"id", "version", "was", "state"} {
		f.Hidden = append(f.Hidden, formField{Name: h, Value: values[h]})
	}
	for _, d := range jobFields {
		if len(f.Groups) == 0 || f.Groups[len(f.Groups)-1].Name != d.group {
			f.Groups = append(f.Groups, fieldGroup{ID: "group-" + strconv.Itoa(len(f.Groups)+1), Name: d.group})
		}
		g := &f.Groups[len(f.Groups)-1]
		x := formField{ID: fmt.Sprintf("f%d-%d", len(f.Groups)-1, len(g.Fields)), Name: d.name, Label: d.label, Unit: d.unit, Kind: d.kind, Help: d.help, Value: values[d.name],
			Error: sentence(wrong[d.name]), Need: jobNeeds[d.name]}
		if x.Error != "" {
			x.First = len(f.Wrong) == 0
			f.Wrong = append(f.Wrong, wrongField{x.ID, x.Label})
		}
		if sym, ok := standard.SymbolOf(d.help); ok {
			x.Help = sym.Symbol + ", " + sym.Name + ": " + sym.Definition
		}
		if x.Unit == "size" {
			x.Unit = ""
		}
		opts := fieldChoices[d.name]
		if d.name == "station" {
			opts = stations
		}
		for _, o := range opts {
			o.Chosen = o.Value == x.Value
			x.Options = append(x.Options, o)
		}
		g.Fields = append(g.Fields, x)
	}
	return f, nil
}

func (s *Server) stationChoices(ctx context.Context) ([]formOption, error) {
	machines, err := s.store.Machines(ctx)
	if err != nil {
		return nil, err
	}
	stations, err := s.store.Stations(ctx, 0)
	if err != nil {
		return nil, err
	}
	out := []formOption{{"", "not said yet", false}}
	for _, m := range machines {
		for _, st := range stations {
			if st.MachineID == m.ID && st.RetiredAt.IsZero() {
				t := fmt.Sprintf("%s %s, station %d, %s", m.Code, m.Name, st.Number, st.Interface)
				if st.CoolantPort != "" {
					t += ", port " + st.CoolantPort
				}
				out = append(out, formOption{Value: strconv.FormatInt(int64(st.ID), 10), Text: t})
			}
		}
	}
	return out, nil
}

// newJobPage is the empty form: GET /newjob. like names a job whose bore, edge, coolant and
// cutting data it starts with; its code, its days and what was made of it are not taken over.
func (s *Server) newJobPage(c echo.Context) error {
	ctx := c.Request().Context()
	today := string(s.store.Today())
	v, like := map[string]string{"unit": "mm", "hand": "R"}, c.QueryParam("like")
	if like != "" {
		j, err := s.job(ctx, "like", like)
		if err != nil {
			return err
		}
		v = valuesOf(&j)
		for _, own := range []string{"id", "version", "was", "state", "code", "done"} {
			delete(v, own)
		}
	}
	v["from"], v["to"] = today, today
	f, err := s.jobFormOf(ctx, v, nil)
	if err != nil {
		return err
	}
	if like != "" {
		f.Says = "Copied from " + like + ": give it a code of its own and its days."
	}
	return s.page(c, http.StatusOK, "jobform", f.Title, f)
}

// editJobPage is the form of a job that is: GET /jobs/:code/edit.
func (s *Server) editJobPage(c echo.Context) error {
	ctx := c.Request().Context()
	j, err := s.job(ctx, "code", c.Param("code"))
	if err != nil {
		return err
	}
	f, err := s.jobFormOf(ctx, valuesOf(&j), nil)
	if err != nil {
		return err
	}
	return s.page(c, http.StatusOK, "jobform", f.Title, f)
}

// valuesOf writes a job as the form shows it.
func valuesOf(j *store.Job) map[string]string {
	v := map[string]string{"id": strconv.FormatInt(int64(j.ID), 10), "version": strconv.Itoa(j.Version), "was": j.Code, "state": j.State,
		"code": j.Code, "name": j.Name, "from": string(j.FromDay), "to": string(j.ToDay), "qty": strconv.Itoa(j.PartsQty), "done": strconv.Itoa(j.PartsDone),
		"note": j.Note, "unit": "mm", "hand": "R"}
	if j.StationID != nil {
		v["station"] = strconv.FormatInt(int64(*j.StationID), 10)
	}
	if j.Dear {
		v["dear"] = "yes"
	}
	if m := strings.ToUpper(j.Material); m != "" {
		v["material"] = m[:1]
	}
	var q map[string]any
	if json.Unmarshal([]byte(j.Request), &q) != nil {
		return v
	}
	put := func(name string, from map[string]any, key string) {
		switch x := from[key].(type) {
		case float64:
			v[name] = strconv.FormatFloat(x, 'f', -1, 64)
		case string:
			v[name] = x
		}
	}
	for name, key := range map[string]string{"hand": "hand", "edges": "edges_needed"} {
		put(name, q, key)
	}
	typed, unit := typedOf(q)
	if unit == standard.Inch {
		v["unit"] = "in"
	}
	for _, z := range jobSizes {
		if mm, ok := q[z.member].(float64); ok {
			v[z.name] = sizeText(mm, typed[z.name], unit)
		}
	}
	if ins, ok := q["insert"].(map[string]any); ok {
		put("seat", ins, "seat")
		put("re", ins, "RE")
	}
	if yes, _ := q["coolant"].(bool); yes {
		v["coolant"] = "yes"
		put("pressure", q, "coolant_bar")
		if t := typed["pressure"]; t != "" {
			v["pressure"] = t
		}
	}
	if cut, ok := q["cutting"].(map[string]any); ok {
		for _, k := range []string{"group", "vc", "f", "ap"} {
			put(k, cut, k)
		}
	}
	return v
}

// makeJob adds a job from the form: POST /newjob.
func (s *Server) makeJob(c echo.Context) error { return s.saveJobForm(c, store.Job{}) }

// editJob changes a job from the form: POST /jobs/:code/edit.
func (s *Server) editJob(c echo.Context) error {
	j, err := s.job(c.Request().Context(), "code", c.Param("code"))
	if err != nil {
		return err
	}
	return s.saveJobForm(c, j)
}

func (s *Server) saveJobForm(c echo.Context, j store.Job) error {
	ctx := c.Request().Context()
	values, err := decode[map[string]string](c)
	if err != nil {
		return err
	}
	wrong := readJobForm(values, &j)
	if seat := strings.TrimSpace(values["seat"]); seat != "" && wrong["seat"] == "" {
		if err := s.seatKnown(ctx, strings.ToUpper(seat)); err != nil {
			wrong["seat"] = said(err)
		}
	}
	if wrong["station"] == "" {
		if err := s.stationOf(ctx, values["station"], &j); err != nil {
			wrong["station"] = said(err)
		}
	}
	if len(wrong) == 0 {
		v, _ := actor(c)
		if j.ID != 0 {
			j.Version, _ = strconv.Atoi(values["version"])
		}
		if j, err = s.store.SaveJob(ctx, v.id, j); err == nil {
			return back(c, "/jobs/"+pathOf(j.Code))
		}
		p := problemOf(err)
		if p.Status >= 500 {
			return err
		}
		name, text := fieldOf(err)
		wrong[name] = text
		if r, ok := errors.AsType[*store.Refusal](err); ok && r.Field == "version" {
			if err := s.meanwhile(ctx, &j, values, wrong); err != nil {
				return err
			}
		}
	}
	if j.ID != 0 {
		values["id"], values["was"] = strconv.FormatInt(int64(j.ID), 10), c.Param("code")
	}
	f, err := s.jobFormOf(ctx, values, wrong)
	if err != nil {
		return err
	}
	return s.render(c, http.StatusUnprocessableEntity, "jobform", "jobform", f)
}

// meanwhile says beside each field that is not what the job has now what somebody else made of it,
// and lets the form be saved over that once it was seen.
func (s *Server) meanwhile(ctx context.Context, yours *store.Job, values, wrong map[string]string) error {
	now, err := s.store.Job(ctx, yours.ID)
	if err != nil {
		return err
	}
	is, wish := valuesOf(&now), valuesOf(yours)
	for _, d := range jobFields {
		if wish[d.name] != is[d.name] {
			wrong[d.name] = "is now " + cmp.Or(clip(is[d.name]), "empty")
		}
	}
	wrong[""] = now.Code + " was changed by somebody else meanwhile. Where yours differs, what it is now stands beside the field. Saved once more, yours takes its place."
	values["version"] = is["version"]
	return nil
}

// fieldOf says which field of the form an error of the shop is about, and what it says.
func fieldOf(err error) (name, text string) {
	if bad, ok := errors.AsType[*stack.BadField](err); ok {
		path := strings.TrimPrefix(bad.Field, "request.")
		if n, ok := fieldOfMember[path]; ok {
			return n, bad.Why
		}
		if strings.HasPrefix(path, "station") {
			return "station", bad.Why
		}
		return "", bad.Error()
	}
	if r, ok := errors.AsType[*store.Refusal](err); ok {
		names := map[string]string{"code": "code", "from_day": "from", "to_day": "to", "station": "station"}
		return names[r.Field], r.Says
	}
	return "", said(err)
}

// seatKnown refuses a pocket that is neither spelt as ISO 1832 spells one nor on any part: it
// would mate with nothing, ever.
func (s *Server) seatKnown(ctx context.Context, seat string) error {
	_, err := standard.ParseSeat(seat)
	if err == nil {
		return nil
	}
	known, e := s.store.SeatKnown(ctx, seat)
	if e != nil {
		return e
	}
	if !known {
		return &refusal{class: errInvalid, field: "seat", detail: err.Error()}
	}
	return nil
}

func (s *Server) stationOf(ctx context.Context, text string, j *store.Job) error {
	j.StationID, j.MachineID = nil, nil
	if text == "" {
		return nil
	}
	stations, err := s.store.Stations(ctx, 0)
	if err != nil {
		return err
	}
	for _, st := range stations {
		if strconv.FormatInt(int64(st.ID), 10) == text {
			j.StationID, j.MachineID = &st.ID, &st.MachineID
			return nil
		}
	}
	return &refusal{class: errInvalid, field: "station", detail: "that station is not of this shop"}
}

// readJobForm reads what was typed into a job. What it returns says beside which field what is
// wrong; a field that is empty and may be is left out of the request, never guessed.
func readJobForm(v map[string]string, j *store.Job) map[string]string {
	wrong := map[string]string{}
	text := func(name string) string { return strings.TrimSpace(v[name]) }
	whole := func(name string) int {
		t := text(name)
		if t == "" {
			return 0
		}
		n, err := strconv.Atoi(t)
		if err != nil || n < 0 || n > 10_000_000 {
			wrong[name] = clip(t) + " is not a whole number from 0 up"
		}
		return n
	}
	number := func(name string) (float64, bool) {
		t := text(name)
		if t == "" {
			return 0, false
		}
		x, err := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
		if err != nil || x != x || x < 0 || x > 1e9 {
			wrong[name] = clip(t) + " is not a number from 0 up"
			return 0, false
		}
		return x, true
	}
	unit := standard.MM
	if text("unit") == "in" {
		unit = standard.Inch
	}
	size := func(name string) (float64, bool) {
		t := text(name)
		if t == "" {
			return 0, false
		}
		z, err := standard.ParseSizeIn(t, unit)
		if err != nil {
			wrong[name] = err.Error()
			return 0, false
		}
		return z.MM(), true
	}
	j.Code, j.Name, j.Note = text("code"), text("name"), text("note")
	j.FromDay, j.ToDay = store.Day(text("from")), store.Day(text("to"))
	j.PartsQty, j.PartsDone, j.Dear = whole("qty"), whole("done"), text("dear") == "yes"
	for _, name := range []string{"from", "to"} {
		if _, err := store.ParseDay(text(name)); err != nil {
			wrong[name] = "give the day as 2026-03-31"
		}
	}
	if wrong["from"] == "" && wrong["to"] == "" && j.FromDay > j.ToDay {
		wrong["to"] = "the last day is before the first, " + string(j.FromDay)
	}
	if j.PartsDone > j.PartsQty && wrong["qty"] == "" {
		wrong["done"] = "more parts are made than the job has"
	}
	q := map[string]any{"hand": text("hand"), "coolant": text("coolant") == "yes", "edges_needed": whole("edges")}
	for _, z := range jobSizes {
		if x, ok := size(z.name); ok {
			q[z.member] = x
		}
	}
	missing := func(name, why string) {
		if text(name) == "" {
			wrong[name] = why
		}
	}
	missing("code", "give the job a code")
	missing("bore_start", "give the diameter of the hole before this tool")
	missing("depth", "give the depth of the bore")
	missing("clearance", "depth without clearance says no overhang: give how far the holder's face stays off the part at full depth; 0 is an answer")
	missing("seat", "give the pocket of the insert, such as CCMT09T3")
	insert := map[string]any{"seat": strings.ToUpper(text("seat"))}
	if x, ok := number("re"); ok {
		insert["RE"] = x
	}
	q["insert"] = insert
	bar, err := pressureOf(text("pressure"))
	switch {
	case err != nil:
		wrong["pressure"] = err.Error()
	case text("coolant") != "yes" && bar > 0:
		wrong["pressure"] = "a pressure without coolant: say yes to coolant, or leave the pressure empty"
	case text("coolant") == "yes" && text("pressure") == "":
		wrong["pressure"] = "coolant without a pressure: give it in bar; the line is held against it"
	}
	q["coolant_bar"] = bar
	cut := map[string]any{}
	if n := whole("group"); n > 0 {
		cut["group"] = n
	}
	for _, k := range []string{"vc", "f", "ap"} {
		if x, ok := number(k); ok {
			cut[k] = x
		}
	}
	if len(cut) > 0 {
		q["cutting"] = cut
	}
	j.Material = text("material")
	if n, _ := cut["group"].(int); n > 0 && j.Material != "" {
		j.Material += strconv.Itoa(n)
	}
	keepTyped(v, q)
	b, err := json.Marshal(q)
	if err != nil {
		wrong[""] = "the request cannot be written"
	}
	j.Request = string(b)
	for name, why := range refusedFields(j.Request) {
		if wrong[name] == "" {
			wrong[name] = why
		}
	}
	return wrong
}

// pressureOf reads a pressure as bar: bare numbers are bar; MPa and psi are converted.
func pressureOf(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	t, per := strings.ToLower(text), 1.0
	for _, u := range []struct {
		name string
		bar  float64
	}{{"bar", 1}, {"mpa", 10}, {"psi", 0.0689475729}} { // psi: 6894.75729 Pa, by the definition of the pound and the inch
		if rest, ok := strings.CutSuffix(t, u.name); ok {
			t, per = rest, u.bar
			break
		}
	}
	x, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(t), ",", ".", 1), 64)
	if err != nil || x != x || x < 0 || x > 1e6 {
		return 0, fmt.Errorf("%s is no pressure; write it as 30 bar, 3 MPa or 435 psi", clip(text))
	}
	return x * per, nil
}
