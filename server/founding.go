package server

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/standard"
)

// What a shop consists of before anything lies in it: who works there, bins, machines with the
// stations of their turrets. A new shop is entered here, in the order of the page. Nothing of it can
// be deleted, because the ledger speaks of it; it is changed and taken out of use on its own page.

// foundingPage is the form for all of it, with how much there is.
type foundingPage struct {
	MayPeople, MayPlaces bool
	People, Bins, Parts  string
	Machines             []foundingMachine
	OpPerson, OpBins     string // of the forms
	OpMachine, OpStation string
	BinLabels            string // address where their labels are printed, "" for who may not
	Stations, Missing    string // Missing: what has to be entered next, "" when nothing has
}

type foundingMachine struct{ Code, Href, Name, Stations, State, Labels string }

// foundingOf counts what the shop has.
func (s *Server) foundingOf(c echo.Context) (foundingPage, error) {
	ctx := c.Request().Context()
	v := foundingPage{MayPeople: may(c, access.KeepPeople), MayPlaces: may(c, access.KeepPlaces), OpPerson: newOp(), OpBins: newOp(), OpMachine: newOp(), OpStation: newOp(), BinLabels: s.labelLink(c, "bins")}
	people, err := s.store.People(ctx)
	if err != nil {
		return v, err
	}
	bins, err := s.store.Places(ctx, store.Bin)
	if err != nil {
		return v, err
	}
	machines, err := s.store.Machines(ctx)
	if err != nil {
		return v, err
	}
	stations, err := s.store.Stations(ctx, 0)
	if err != nil {
		return v, err
	}
	parts, err := s.store.CountParts(ctx)
	if err != nil {
		return v, err
	}
	keepers := 0
	for _, p := range people {
		if access.Of(access.Role(p.Role), access.EditJobs) != access.No {
			keepers++
		}
	}
	ours := max(0, len(bins)-1) // one, for part-used inserts, is founded with the store
	v.People, v.Bins, v.Stations, v.Parts = fmt.Sprint(len(people)), fmt.Sprint(ours), fmt.Sprint(len(stations)), fmt.Sprint(parts)
	for _, m := range machines {
		n := 0
		for _, st := range stations {
			if st.MachineID == m.ID && st.RetiredAt.IsZero() {
				n++
			}
		}
		row := foundingMachine{Code: m.Code, Href: "/shop/machines/" + pathOf(m.Code), Name: m.Name, Stations: fmt.Sprint(n), State: "in use", Labels: s.labelLink(c, m.Code)}
		if !m.RetiredAt.IsZero() {
			row.State, row.Labels = "out of use", ""
		}
		v.Machines = append(v.Machines, row)
	}
	switch {
	case keepers == 0:
		v.Missing = "people: at least a manager, who enters jobs and parts"
	case ours == 0:
		v.Missing = "the bins of the crib"
	case len(machines) == 0:
		v.Missing = "a machine"
	case len(stations) == 0:
		v.Missing = "the stations of its turret"
	case parts == 0:
		v.Missing = "parts"
	}
	return v, nil
}

// foundingPage shows what the shop consists of: GET /shop.
func (s *Server) foundingPage(c echo.Context) error {
	v, err := s.foundingOf(c)
	if err != nil {
		return err
	}
	return s.page(c, http.StatusOK, "founding", "The shop", v)
}

type newPersonIn struct {
	opIn
	Login    string `json:"login"`
	Name     string `json:"name"`
	Role     string `json:"role"`
	Phone    string `json:"phone"`
	PIN      string `json:"pin"`
	Password string `json:"password"`
}

// addPerson enters who works with the crib: POST /shop/people. The badge is made and printed on
// its own page.
func (s *Server) addPerson(c echo.Context) error {
	in, err := decode[newPersonIn](c)
	if err != nil {
		return err
	}
	if in.PIN == "" && in.Password == "" {
		return &refusal{class: errInvalid, field: "pin", detail: "give a PIN of 6 digits, a password, or both: without one nobody can log in"}
	}
	if _, err := s.store.EnterPerson(c.Request().Context(), formOp(c, in.Op), store.PersonIn{Login: in.Login, Name: in.Name, Role: store.Role(in.Role), Phone: in.Phone, PIN: in.PIN, Password: in.Password}); err != nil {
		return err
	}
	return back(c, "/shop")
}

type newBinsIn struct {
	opIn
	Codes string `json:"codes"`
}

// mostBins are the most bins of one form.
const mostBins = 1000

// addBins enters bins: POST /shop/bins. Codes are lines, or stand with commas or spaces between.
func (s *Server) addBins(c echo.Context) error {
	in, err := decode[newBinsIn](c)
	if err != nil {
		return err
	}
	codes := strings.FieldsFunc(in.Codes, func(r rune) bool { return strings.ContainsRune(" ,;\t\r\n", r) })
	if len(codes) == 0 || len(codes) > mostBins {
		return &refusal{class: errInvalid, field: "codes", detail: fmt.Sprintf("give the codes of 1 to %d bins, as they stand on the drawers", mostBins)}
	}
	if _, err := s.store.EnterBins(c.Request().Context(), formOp(c, in.Op), codes); err != nil {
		return err
	}
	return back(c, "/shop")
}

type newMachineIn struct {
	opIn
	Code  string `json:"code"`
	Name  string `json:"name"`
	Maker string `json:"maker"`
	Power typed  `json:"power"` // kW
	RPM   typed  `json:"rpm"`
}

// addMachine enters a machine: POST /shop/machines.
func (s *Server) addMachine(c echo.Context) error {
	in, err := decode[newMachineIn](c)
	if err != nil {
		return err
	}
	code, name := strings.ToUpper(strings.TrimSpace(in.Code)), strings.TrimSpace(in.Name)
	switch {
	case code == "" || len(code) > 20 || strings.ContainsAny(code, " /?#%\t"):
		return &refusal{class: errInvalid, field: "code", detail: "give the machine a code of at most 20 characters without space or slash, such as L1"}
	case name == "":
		name = code
	}
	m := store.Machine{Code: code, Name: name, Maker: strings.TrimSpace(in.Maker)}
	if m.PowerKW, err = maybe("power", in.Power); err != nil {
		return err
	}
	if m.MaxRPM, err = maybe("rpm", in.RPM); err != nil {
		return err
	}
	if _, err := s.store.EnterMachine(c.Request().Context(), formOp(c, in.Op), m); err != nil {
		return err
	}
	return back(c, "/shop")
}

type newStationsIn struct {
	opIn
	Machine string `json:"machine"`
	From    typed  `json:"from"`
	To      typed  `json:"to"`
	stationLimits
}

// stationLimits is what a station takes, as a person types it.
type stationLimits struct {
	Seat       string `json:"seat"`
	Port       string `json:"port"`
	Pressure   string `json:"pressure"`
	Projection string `json:"projection"`
	Mass       typed  `json:"mass"`
}

// mostStations is more than any turret or row of gang holders has.
const mostStations = 200

// addStations gives a machine stations of one kind: POST /shop/stations. What is not known stays
// open; a check that needs it then says so.
func (s *Server) addStations(c echo.Context) error {
	in, err := decode[newStationsIn](c)
	if err != nil {
		return err
	}
	from, err := number("from", in.From)
	if err != nil {
		return err
	}
	to := from
	if strings.TrimSpace(string(in.To)) != "" {
		if to, err = number("to", in.To); err != nil {
			return err
		}
	}
	if from < 1 || to < from || to > mostStations {
		return &refusal{class: errInvalid, field: "from", detail: fmt.Sprintf("give the first and the last number, 1 to %d", mostStations)}
	}
	one, err := in.station()
	if err != nil {
		return err
	}
	var all []store.Station
	for n := from; n <= to; n++ {
		st := one
		st.Number = n
		all = append(all, st)
	}
	if _, err := s.store.EnterStations(c.Request().Context(), formOp(c, in.Op), in.Machine, all); err != nil {
		return err
	}
	return back(c, "/shop")
}

// station reads what was typed. What is left empty is not known.
func (in *stationLimits) station() (one store.Station, err error) {
	seat, err := standard.ParseSeatSystem(in.Seat)
	if err != nil {
		return one, &refusal{class: errInvalid, field: "seat", detail: said(err)}
	}
	one.Interface = strings.ReplaceAll(seat.Code(), " ", "")
	if strings.TrimSpace(in.Port) != "" {
		port, err := standard.ParsePort(in.Port)
		if err != nil {
			return one, &refusal{class: errInvalid, field: "port", detail: said(err)}
		}
		one.CoolantPort = port.String()
	}
	if bar, err := pressureOf(strings.TrimSpace(in.Pressure)); err != nil {
		return one, &refusal{class: errInvalid, field: "pressure", detail: err.Error()}
	} else if bar > 0 {
		one.CoolantMaxBar = &bar
	}
	if t := strings.TrimSpace(in.Projection); t != "" {
		z, err := standard.ParseSizeIn(t, standard.MM)
		if err != nil {
			return one, &refusal{class: errInvalid, field: "projection", detail: said(err)}
		}
		mm := z.MM()
		one.MaxProjection = &mm
	}
	if strings.TrimSpace(string(in.Mass)) != "" {
		kg, err := decimal("mass", in.Mass)
		if err == nil && kg <= 0 {
			err = &refusal{class: errInvalid, field: "mass", detail: "the mass a station carries is above 0 kg"}
		}
		if err != nil {
			return one, err
		}
		one.MaxMassKg = &kg
	}
	return one, nil
}

// maybe reads a number that may be left empty.
func maybe(field string, text typed) (*float64, error) {
	if strings.TrimSpace(string(text)) == "" {
		return nil, nil
	}
	v, err := decimal(field, text)
	return &v, err
}
