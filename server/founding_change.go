package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
)

// What was entered of the shop is changed on a page of its own, a bin, a machine, a station or a
// person each, and taken out of use there. A mistake is told at its field and nothing typed is
// lost; what another changed meanwhile, and the jobs a change touches, are shown before it is saved.

// A shopEdit is the page of one of them.
type shopEdit struct {
	Code, Name         string
	Lead, Rule         string
	Href               string // of the form; with /retire or /leave of the other
	Back, BackText     string
	Labels, LabelsText string
	Op, OpRetire       string
	Version            int
	Fields             []editField
	Turret             []turretRow
	Retired            string // since when it is out of use
	Leave              bool   // a person
}

type editField struct {
	ID                        string // and its name
	Label, Value, Class, Help string
	Must                      bool
	Choices                   []formOption
}

type turretRow struct{ Href, Code, Seat, Port, Bar, Swing, Mass, State, Labels string }

type binsBody struct{ Bins []binRow }

type binRow struct{ Href, Code, Name, State, Labels string }

// plain is a number as it is typed, "" when it is not known.
func plain(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

func since(at store.Time) string {
	if at.IsZero() {
		return ""
	}
	return string(store.DayOf(at.Time))
}

func stateWord(at store.Time) string {
	if at.IsZero() {
		return "in use"
	}
	return "out of use"
}

// seenIn is the version a form was made with, and the later one its reader was told of.
type seenIn struct {
	Version typed  `json:"version"`
	Over    typed  `json:"over"`
	Broken  string `json:"broken"`
}

func (in *seenIn) seen() (out store.Seen, err error) {
	if out.Version, err = number("version", in.Version); err != nil || in.Over == "" {
		out.Over = out.Version
		return out, err
	}
	out.Over, err = number("over", in.Over)
	return out, err
}

// asks shows the question a change was stopped by; false when it was none.
func (s *Server) asks(c echo.Context, err error, in seenIn) (bool, error) {
	answered := map[string]string{"over": string(in.Over), "broken": in.Broken}
	if b, ok := errors.AsType[*store.StationBreaks](err); ok {
		v := breaksView{Code: b.Code, Passed: passed(answered)}
		for _, j := range b.Jobs {
			v.Jobs = append(v.Jobs, hitRow{Href: "/jobs/" + pathOf(j.Code), Code: j.Code, Name: j.Name, Note: string(j.From) + ": " + j.Why})
		}
		return true, s.render(c, http.StatusConflict, "shopedit", "breaksstation", v)
	}
	if ch, ok := errors.AsType[*store.ShopChanged](err); ok {
		delete(answered, "over")
		v := changedView{Code: ch.Code, Version: ch.Version, Passed: passed(answered)}
		for _, x := range ch.Since {
			v.Since = append(v.Since, changeRow{When: clock(x.At.Time), By: x.By, How: x.How, Said: x.Said})
		}
		return true, s.render(c, http.StatusPreconditionFailed, "shopedit", "shopmeanwhile", v)
	}
	return false, nil
}

// saved goes on to a page, or asks.
func (s *Server) saved(c echo.Context, next string, r store.Receipt, err error, in seenIn) error {
	if asked, err := s.asks(c, err, in); asked {
		return err
	}
	if err != nil {
		return err
	}
	return doneAt(c, next, r)
}

// binsPage lists the bins, those out of use last: GET /shop/bins.
func (s *Server) binsPage(c echo.Context) error {
	all, err := s.store.BinsEver(c.Request().Context())
	if err != nil {
		return err
	}
	var v binsBody
	for _, p := range all {
		row := binRow{Href: "/shop/bins/" + pathOf(p.Code), Code: p.Code, State: stateWord(p.RetiredAt)}
		if p.Name != p.Code {
			row.Name = p.Name
		}
		if p.RetiredAt.IsZero() {
			row.Labels = s.labelLink(c, p.Code)
		}
		v.Bins = append(v.Bins, row)
	}
	return s.page(c, http.StatusOK, "shopbins", "Bins", v)
}

// binOf reads the bin of the address.
func (s *Server) binOf(c echo.Context) (store.Place, error) {
	p, err := s.store.PlaceByCode(c.Request().Context(), c.Param("code"))
	if err == nil && p.Kind != store.Bin {
		err = &refusal{class: errNotFound, detail: p.Code + " is not a bin"}
	}
	return p, err
}

// binPage is the form of a bin: GET /shop/bins/:code.
func (s *Server) binPage(c echo.Context) error {
	p, err := s.binOf(c)
	if err != nil {
		return err
	}
	v := shopEdit{Code: p.Code, Href: "/shop/bins/" + pathOf(p.Code), Back: "/shop/bins", BackText: "All bins", Op: newOp(), OpRetire: newOp(), Version: p.Version, Retired: since(p.RetiredAt),
		Rule: "A bin goes out of use empty, and when it is nothing's home.",
		Fields: []editField{
			{ID: "code", Label: "Code, as on the drawer", Value: p.Code, Class: "code", Must: true, Help: "with another code, print its label anew; the old label's tag still scans"},
			{ID: "name", Label: "What people call it", Value: p.Name, Help: "empty: the code"},
			{ID: "sort_key", Label: "Place in the walk through the crib", Value: p.SortKey, Class: "code", Help: "lists of things to fetch are in the order of this"},
		}}
	if p.RetiredAt.IsZero() {
		v.Labels, v.LabelsText = s.labelLink(c, p.Code), "Print its label"
	}
	return s.page(c, http.StatusOK, "shopedit", "Change "+p.Code, v)
}

type binIn struct {
	opIn
	seenIn
	Code string `json:"code"`
	Name string `json:"name"`
	Sort string `json:"sort_key"`
}

// changeBin saves a bin: POST /shop/bins/:code.
func (s *Server) changeBin(c echo.Context) error {
	in, err := decode[binIn](c)
	if err != nil {
		return err
	}
	p, err := s.binOf(c)
	if err != nil {
		return err
	}
	seen, err := in.seen()
	if err != nil {
		return err
	}
	r, err := s.store.ChangeBin(c.Request().Context(), formOp(c, in.Op), store.BinChange{Place: p.ID, Seen: seen, Code: in.Code, Name: in.Name, SortKey: in.Sort})
	next := p.Code
	if now, lost := s.store.Place(c.Request().Context(), p.ID); lost == nil {
		next = now.Code
	}
	return s.saved(c, "/shop/bins/"+pathOf(next), r, err, in.seenIn)
}

// outOfUse reads which way a form takes a thing.
func (in *retireIn) outOfUse() (bool, error) {
	if in.Retired != "yes" && in.Retired != "no" {
		return false, &refusal{class: errInvalid, field: "retired", detail: "out of use, yes or no"}
	}
	return in.Retired == "yes", nil
}

// retireBin takes a bin out of use, or into use again: POST /shop/bins/:code/retire.
func (s *Server) retireBin(c echo.Context, op store.Op, in retireIn) (next string, r store.Receipt, err error) {
	out, err := in.outOfUse()
	if err != nil {
		return "", r, err
	}
	p, err := s.binOf(c)
	if err != nil {
		return "", r, err
	}
	r, err = s.store.SetBinRetired(c.Request().Context(), op, p.ID, out)
	return "/shop/bins/" + pathOf(p.Code), r, err
}

// machineRecordPage is the form of a machine, with its stations: GET /shop/machines/:code.
func (s *Server) machineRecordPage(c echo.Context) error {
	ctx := c.Request().Context()
	m, err := s.store.MachineByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	turret, err := s.store.Stations(ctx, m.ID)
	if err != nil {
		return err
	}
	v := shopEdit{Code: m.Code, Href: "/shop/machines/" + pathOf(m.Code), Back: "/shop", BackText: "The shop", Op: newOp(), OpRetire: newOp(), Version: m.Version, Retired: since(m.RetiredAt),
		Lead: "The code stays: labels and stations have it. Stations are changed one by one below.",
		Rule: "A machine goes out of use with its stations, when no open job is on it and nothing stands in its turret.",
		Fields: []editField{
			{ID: "name", Label: "What people call it", Value: m.Name, Must: true},
			{ID: "maker", Label: "Maker", Value: m.Maker},
			{ID: "power", Label: "Power, kW", Value: plain(m.PowerKW), Class: "few", Help: "empty: not known"},
			{ID: "rpm", Label: "Highest speed, 1/min", Value: plain(m.MaxRPM), Class: "few", Help: "empty: not known"},
		}}
	if m.RetiredAt.IsZero() {
		v.Labels, v.LabelsText = s.labelLink(c, m.Code), "Print the labels of it and its stations"
	}
	for _, st := range turret {
		code := fmt.Sprintf("%s/%d", m.Code, st.Number)
		row := turretRow{Href: "/shop/stations/" + pathOf(code), Code: code, Seat: st.Interface, Port: st.CoolantPort, Bar: plain(st.CoolantMaxBar), Swing: plain(st.MaxProjection), Mass: plain(st.MaxMassKg), State: stateWord(st.RetiredAt)}
		if st.RetiredAt.IsZero() {
			row.Labels = s.labelLink(c, code)
		}
		v.Turret = append(v.Turret, row)
	}
	return s.page(c, http.StatusOK, "shopedit", "Change "+m.Code, v)
}

type machineIn struct {
	opIn
	seenIn
	Name  string `json:"name"`
	Maker string `json:"maker"`
	Power typed  `json:"power"`
	RPM   typed  `json:"rpm"`
}

// changeMachine saves a machine: POST /shop/machines/:code.
func (s *Server) changeMachine(c echo.Context) error {
	in, err := decode[machineIn](c)
	if err != nil {
		return err
	}
	m, err := s.store.MachineByCode(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	ch := store.MachineChange{Machine: store.Machine{Code: m.Code, Name: in.Name, Maker: in.Maker}}
	if ch.Seen, err = in.seen(); err != nil {
		return err
	}
	if ch.Machine.PowerKW, err = maybe("power", in.Power); err != nil {
		return err
	}
	if ch.Machine.MaxRPM, err = maybe("rpm", in.RPM); err != nil {
		return err
	}
	r, err := s.store.ChangeMachine(c.Request().Context(), formOp(c, in.Op), ch)
	return s.saved(c, "/shop/machines/"+pathOf(m.Code), r, err, in.seenIn)
}

// retireMachine takes a machine out of use, or into use again: POST /shop/machines/:code/retire.
func (s *Server) retireMachine(c echo.Context, op store.Op, in retireIn) (next string, r store.Receipt, err error) {
	out, err := in.outOfUse()
	if err != nil {
		return "", r, err
	}
	m, err := s.store.MachineByCode(c.Request().Context(), c.Param("code"))
	if err != nil {
		return "", r, err
	}
	r, err = s.store.SetMachineRetired(c.Request().Context(), op, m.ID, out)
	return "/shop/machines/" + pathOf(m.Code), r, err
}

// stationAt reads the station of the address, which is the code of its place.
func (s *Server) stationAt(ctx context.Context, code string) (st store.Station, p store.Place, err error) {
	if p, err = s.store.PlaceByCode(ctx, code); err != nil {
		return st, p, err
	}
	all, err := s.store.Stations(ctx, 0)
	if err != nil {
		return st, p, err
	}
	for _, st := range all {
		if st.PlaceID == p.ID {
			return st, p, nil
		}
	}
	return st, p, &refusal{class: errNotFound, detail: p.Code + " is not a station"}
}

// stationPage is the form of a station: GET /shop/stations/:code.
func (s *Server) stationPage(c echo.Context) error {
	st, p, err := s.stationAt(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	v := shopEdit{Code: p.Code, Href: "/shop/stations/" + pathOf(p.Code), Back: "/shop/machines/" + pathOf(p.Parent), BackText: "Machine " + p.Parent, Op: newOp(), OpRetire: newOp(), Version: st.Version, Retired: since(st.RetiredAt),
		Lead: "Every verdict on this station is found by these values. They are on the turret and in the machine's papers; what is left empty cannot be checked: look at it yourself.",
		Rule: "A station goes out of use when no open job is on it and nothing stands in it.",
		Fields: []editField{
			{ID: "seat", Label: "Turret seat, such as VDI40", Value: st.Interface, Class: "code", Must: true},
			{ID: "port", Label: "Coolant port, such as F:G 1/4", Value: st.CoolantPort, Class: "code", Help: "empty: none"},
			{ID: "pressure", Label: "Coolant at most, bar", Value: plain(st.CoolantMaxBar), Class: "few", Help: "empty: not known"},
			{ID: "projection", Label: "Swings at most, mm", Value: plain(st.MaxProjection), Class: "few", Help: "empty: not known"},
			{ID: "mass", Label: "Carries at most, kg", Value: plain(st.MaxMassKg), Class: "few", Help: "empty: not known"},
		}}
	if st.RetiredAt.IsZero() {
		v.Labels, v.LabelsText = s.labelLink(c, p.Code), "Print its label"
	}
	return s.page(c, http.StatusOK, "shopedit", "Change "+p.Code, v)
}

type stationIn struct {
	opIn
	seenIn
	stationLimits
}

// changeStation saves a station: POST /shop/stations/:code.
func (s *Server) changeStation(c echo.Context) error {
	in, err := decode[stationIn](c)
	if err != nil {
		return err
	}
	was, p, err := s.stationAt(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	ch := store.StationChange{Broken: in.Broken == "yes"}
	if ch.Seen, err = in.seen(); err != nil {
		return err
	}
	if ch.Station, err = in.station(); err != nil {
		return err
	}
	ch.Station.ID = was.ID
	r, err := s.store.ChangeStation(c.Request().Context(), formOp(c, in.Op), ch)
	return s.saved(c, "/shop/stations/"+pathOf(p.Code), r, err, in.seenIn)
}

// retireStation takes a station out of use, or into use again: POST /shop/stations/:code/retire.
func (s *Server) retireStation(c echo.Context, op store.Op, in retireIn) (next string, r store.Receipt, err error) {
	out, err := in.outOfUse()
	if err != nil {
		return "", r, err
	}
	st, p, err := s.stationAt(c.Request().Context(), c.Param("code"))
	if err != nil {
		return "", r, err
	}
	r, err = s.store.SetStationRetired(c.Request().Context(), op, st.ID, out)
	return "/shop/stations/" + pathOf(p.Code), r, err
}

// personPage is the form of one who works here: GET /shop/people/:code, by login name.
func (s *Server) personPage(c echo.Context) error {
	p, err := s.store.PersonByLogin(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	role := editField{ID: "role", Label: "Role"}
	for _, r := range store.Roles {
		role.Choices = append(role.Choices, formOption{Value: string(r), Text: string(r), Chosen: r == p.Role})
	}
	v := shopEdit{Code: p.Login, Name: p.Name, Href: "/shop/people/" + pathOf(p.Login), Back: "/people", BackText: "People", Op: newOp(), OpRetire: newOp(), Version: p.Version, Leave: true,
		Lead:   "The login name stays. A new role holds from the next request on.",
		Fields: []editField{{ID: "name", Label: "Name", Value: p.Name, Must: true}, role, {ID: "phone", Label: "Phone", Value: p.Phone}}}
	if may(c, access.MakeBadges) {
		v.Labels, v.LabelsText = "/labels/badges", "Make a badge"
	}
	return s.page(c, http.StatusOK, "shopedit", "Change "+p.Login, v)
}

type personIn struct {
	opIn
	seenIn
	Name  string `json:"name"`
	Role  string `json:"role"`
	Phone string `json:"phone"`
}

// changePerson saves one who works here: POST /shop/people/:code.
func (s *Server) changePerson(c echo.Context) error {
	in, err := decode[personIn](c)
	if err != nil {
		return err
	}
	p, err := s.store.PersonByLogin(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	seen, err := in.seen()
	if err != nil {
		return err
	}
	r, err := s.store.ChangePerson(c.Request().Context(), formOp(c, in.Op), store.PersonChange{Person: p.ID, Seen: seen, Name: in.Name, Role: store.Role(in.Role), Phone: in.Phone})
	return s.saved(c, "/people", r, err, in.seenIn)
}

type leaveIn struct {
	opIn
	All string `json:"all"`
}

// letPersonGo ends the rights of one who leaves: POST /shop/people/:code/leave.
func (s *Server) letPersonGo(c echo.Context) error {
	in, err := decode[leaveIn](c)
	if err != nil {
		return err
	}
	p, err := s.store.PersonByLogin(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	r, err := s.store.LetGo(c.Request().Context(), formOp(c, in.Op), p.ID, in.All == "yes")
	if h, ok := errors.AsType[*store.HandsFull](err); ok {
		return s.render(c, http.StatusConflict, "shopedit", "handsfull", h)
	}
	if err != nil {
		return err
	}
	return doneAt(c, "/people", r)
}
