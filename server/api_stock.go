package server

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// The API's own structs: a column added to a table shows up nowhere by itself.

type partOut struct {
	Code        string         `json:"code"`
	Kind        string         `json:"kind"`
	Name        string         `json:"name"`
	Designation string         `json:"designation"`
	Maker       string         `json:"maker"`
	MakerCode   string         `json:"maker_code"`
	Counted     string         `json:"counted"`
	Edges       int            `json:"edges"`
	Grade       string         `json:"grade"`
	PriceCents  *int64         `json:"price_cents"`
	Currency    string         `json:"currency"`
	LeadDays    *int           `json:"lead_days"`
	Version     int            `json:"version"`
	Sizes       map[string]any `json:"sizes,omitempty"`
	Values      []valueOut     `json:"values,omitempty"`
	Codes       []string       `json:"codes,omitempty"`
	Stock       *stockOut      `json:"stock,omitempty"`
}

// stockOut are the numbers of a part that are never one: on hand is not free.
type stockOut struct {
	OnHand   int64 `json:"on_hand"`
	Out      int64 `json:"out"`
	Held     int64 `json:"held"`
	Promised int64 `json:"promised"`
	Free     int64 `json:"free"`
}

func partOutOf(p store.Part) partOut {
	return partOut{
		Code: p.Code, Kind: p.Kind, Name: p.Name, Designation: p.Designation, Maker: p.Maker, MakerCode: p.MakerCode, Counted: p.Counted,
		Edges: p.Edges, Grade: p.Grade, PriceCents: p.PriceCents, Currency: p.Currency, LeadDays: p.LeadDays, Version: p.Version,
	}
}

// listParts lists the catalogue, or with q searches it: GET /api/v1/parts.
func (s *Server) listParts(c echo.Context) error {
	ctx := c.Request().Context()
	limit, after, err := pageOf(c)
	if err != nil {
		return err
	}
	q, kind := c.QueryParam("q"), c.QueryParam("kind")
	if err := readable("q", q); err != nil {
		return err
	}
	if err := readable("kind", kind); err != nil {
		return err
	}
	var out []partOut
	if q != "" {
		found, err := s.store.Search(ctx, q, limit)
		if err != nil {
			return err
		}
		for _, f := range found {
			p := partOutOf(f.Part)
			p.Stock = &stockOut{f.OnHand, f.Out, f.Held, f.Promised, f.Free()}
			out = append(out, p)
		}
		return c.JSON(http.StatusOK, listOf(out, len(out)+1, func(p partOut) string { return p.Code }))
	}
	parts, err := s.store.Parts(ctx, kind, after, limit)
	if err != nil {
		return err
	}
	for _, p := range parts {
		out = append(out, partOutOf(p))
	}
	return c.JSON(http.StatusOK, listOf(out, limit, func(p partOut) string { return p.Code }))
}

// getPart is one record with its sizes: GET /api/v1/parts/:code.
func (s *Server) getPart(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	facts, err := s.store.Facts(ctx, p.ID)
	if err != nil {
		return err
	}
	out := partOutOf(p)
	out.Sizes = map[string]any{}
	for _, f := range facts {
		out.Sizes[f.Symbol] = rawJSON(f.Value)
		out.Values = append(out.Values, valueOut{f.Symbol, rawJSON(f.Value), f.Entered, f.Origin})
	}
	codes, err := s.store.Codes(ctx, p.ID)
	if err != nil {
		return err
	}
	for _, x := range codes {
		out.Codes = append(out.Codes, x.Code)
	}
	return c.JSON(http.StatusOK, out)
}

type itemOut struct {
	Tag       string    `json:"tag"`
	Kind      string    `json:"kind"`
	Part      string    `json:"part"`
	Name      string    `json:"name"`
	PartKind  string    `json:"part_kind"`
	Serial    string    `json:"serial"`
	Box       string    `json:"box"`
	Owner     string    `json:"owner"`
	EdgesLeft *int      `json:"edges_left"`
	State     string    `json:"state"`
	Held      string    `json:"held"`
	At        []heapOut `json:"at"`
}

type heapOut struct {
	Place  string     `json:"place"`
	Name   string     `json:"name"`
	Kind   string     `json:"kind"`
	Qty    int64      `json:"qty"`
	Person string     `json:"person,omitempty"`
	Job    string     `json:"job,omitempty"`
	Since  *time.Time `json:"since,omitempty"`
	Due    string     `json:"due,omitempty"`
}

func itemOutOf(st store.Standing, see holders) itemOut {
	o := itemOut{
		Tag: st.Tag, Kind: st.Kind, Part: st.PartCode, Name: st.PartName, PartKind: st.PartKind, Serial: st.Serial, Box: st.Box, Owner: st.Owner,
		EdgesLeft: st.EdgesLeft, State: itemState(st).Word, Held: st.Held, At: []heapOut{},
	}
	for _, h := range st.At {
		ho := heapOut{Place: h.Code, Name: h.Place, Kind: string(h.Kind), Qty: h.Qty, Person: see.name(h.Person), Job: h.Job, Due: string(h.Due)}
		if h.Kind == store.PersonAt && see.name(h.Place) != h.Place {
			ho.Place, ho.Name = "", "somebody"
		}
		if !h.Since.IsZero() {
			t := h.Since.UTC()
			ho.Since = &t
		}
		o.At = append(o.At, ho)
	}
	return o
}

// listItems lists the pieces, or the lots, of a part or in a place.
func (s *Server) listItems(kind string) echo.HandlerFunc {
	return func(c echo.Context) error {
		ctx := c.Request().Context()
		var all []store.Standing
		switch part, place := c.QueryParam("part"), c.QueryParam("place"); {
		case part != "" && place == "":
			p, err := s.store.PartByCode(ctx, part)
			if err != nil {
				return err
			}
			if all, err = s.store.ItemsOf(ctx, p.ID); err != nil {
				return err
			}
		case place != "" && part == "":
			p, err := s.place(ctx, "place", place)
			if err != nil {
				return err
			}
			see := holdersFor(c)
			if p.Kind == store.PersonAt && !see.all && p.Name != see.own {
				return &refusal{class: errForbidden, field: "place", detail: "what another person holds is not shown to your role"}
			}
			if all, err = s.store.InPlace(ctx, p.ID); err != nil {
				return err
			}
		default:
			return &refusal{class: errInvalid, field: "part", detail: "ask for the items of one part, or in one place"}
		}
		state := c.QueryParam("state")
		var out []itemOut
		for _, st := range all {
			if st.Kind == kind && (state == "" || itemState(st).Word == state) {
				out = append(out, itemOutOf(st, holdersFor(c)))
			}
		}
		tag := func(i itemOut) string { return i.Tag }
		return sendRows(c, out, tag, map[string]func(a, b itemOut) int{"tag": byText(tag), "part": byText(func(i itemOut) string { return i.Part + "\x00" + i.Tag })})
	}
}

// getItem is one piece, or one lot, by its tag.
func (s *Server) getItem(kind string) echo.HandlerFunc {
	return func(c echo.Context) error {
		st, err := s.standing(c.Request().Context(), c.Param("tag"))
		if err != nil {
			return err
		}
		if st.Kind != kind {
			return &refusal{class: errNotFound, field: "tag", detail: st.Tag + " is a " + st.Kind}
		}
		return c.JSON(http.StatusOK, itemOutOf(st, holdersFor(c)))
	}
}

type placeOut struct {
	Code   string `json:"code"`
	Tag    string `json:"tag"`
	Name   string `json:"name"`
	Kind   string `json:"kind"`
	Parent string `json:"parent"`
}

func placeOutOf(p store.Place) placeOut {
	o := placeOut{Code: p.Code, Name: p.Name, Kind: string(p.Kind), Parent: p.Parent}
	if p.Tag != nil {
		o.Tag = *p.Tag
	}
	return o
}

// listPlaces lists the places of the shop in walking order, the hands of people left out:
// GET /api/v1/places.
func (s *Server) listPlaces(c echo.Context) error {
	all, err := s.store.Places(c.Request().Context(), store.PlaceKind(c.QueryParam("kind")))
	if err != nil {
		return err
	}
	var out []placeOut
	for _, p := range all {
		if p.Kind != store.PersonAt {
			out = append(out, placeOutOf(p))
		}
	}
	code := func(p placeOut) string { return p.Code }
	return sendRows(c, out, code, map[string]func(a, b placeOut) int{"code": byText(code)})
}

// getPlace is one place: GET /api/v1/places/:code.
func (s *Server) getPlace(c echo.Context) error {
	p, err := s.place(c.Request().Context(), "code", c.Param("code"))
	if err != nil {
		return err
	}
	if p.Kind == store.PersonAt {
		return &refusal{class: errNotFound, field: "code", detail: "that is a person's hands; ask for the person"}
	}
	return c.JSON(http.StatusOK, placeOutOf(p))
}

type scanAPI struct {
	Scan string `json:"scan" need:"yes" text:"raw"` // the store says what a scan may hold
}

// readTag says what a scanned text is, for scans that fit into no address: POST /api/v1/tags.
// It asks and books nothing, so it takes no key.
func (s *Server) readTag(c echo.Context) error {
	in, err := decode[scanAPI](c)
	if err != nil {
		return err
	}
	return s.sayTag(c, in.Scan)
}

type tagOut struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
	Says string `json:"says"`
}

// getTag says what a scanned text is: GET /api/v1/tags/:tag.
func (s *Server) getTag(c echo.Context) error {
	return s.sayTag(c, c.Param("tag"))
}

func (s *Server) sayTag(c echo.Context, text string) error {
	th, err := s.scanned(c.Request().Context(), text)
	if err != nil {
		return err
	}
	out := tagOut{Kind: th.Kind, Text: th.Text, Says: strings.TrimSpace(th.Says)}
	if th.Kind == "person" { // a badge is half a login; it is not sent back
		out.Text = ""
		out.Says = holdersFor(c).name(th.Person.Name)
	}
	return c.JSON(http.StatusOK, out)
}

type personOut struct {
	Login string `json:"login"`
	Name  string `json:"name"`
	Role  string `json:"role"`
	Phone string `json:"phone"`
}

// listPeople lists who works with the crib: GET /api/v1/people.
func (s *Server) listPeople(c echo.Context) error {
	people, err := s.store.People(c.Request().Context())
	if err != nil {
		return err
	}
	var out []personOut
	role := c.QueryParam("role")
	for _, p := range people {
		if role != "" && role != string(p.Role) {
			continue
		}
		out = append(out, personOut{p.Login, p.Name, string(p.Role), p.Phone})
	}
	login := func(p personOut) string { return p.Login }
	return sendRows(c, out, login, map[string]func(a, b personOut) int{"login": byText(login), "name": byText(func(p personOut) string { return p.Name })})
}

type lineOut struct {
	Seq      int64     `json:"seq"`
	Op       string    `json:"op"`
	At       time.Time `json:"at"`
	Act      string    `json:"act"`
	By       string    `json:"by"`
	Tag      string    `json:"tag"`
	Part     string    `json:"part"`
	Qty      int64     `json:"qty"`
	From     string    `json:"from"`
	To       string    `json:"to"`
	Job      string    `json:"job"`
	Reason   string    `json:"reason"`
	Reverses *int64    `json:"reverses"`
	Undone   bool      `json:"undone"`
}

func lineOutOf(l store.Line) lineOut {
	return lineOut{l.Seq, l.OpID, l.At.UTC(), string(l.Act), l.Actor, l.Tag, l.Part, l.Qty, l.From, l.To, l.Job, l.Reason, l.Reverses, l.Undone}
}

// listBookings lists movements, newest first: GET /api/v1/bookings.
func (s *Server) listBookings(c echo.Context) error {
	ctx := c.Request().Context()
	limit, after, err := pageOf(c)
	if err != nil {
		return err
	}
	f := store.LineFilter{Limit: limit}
	if f.Before, err = seqAfter(after); err != nil {
		return err
	}
	if t := c.QueryParam("tag"); t != "" {
		it, err := s.item(ctx, "tag", t)
		if err != nil {
			return err
		}
		f.Item = it.ID
	}
	if t := c.QueryParam("job"); t != "" {
		j, err := s.job(ctx, "job", t)
		if err != nil {
			return err
		}
		f.Job = j.ID
	}
	return s.sendLines(c, f, limit)
}

// getBooking is the lines of one booking: GET /api/v1/bookings/:op.
func (s *Server) getBooking(c echo.Context) error {
	op := c.Param("op")
	lines, err := s.store.Lines(c.Request().Context(), store.LineFilter{Op: op, Limit: maxLines})
	if err != nil {
		return err
	}
	if len(lines) == 0 {
		return &refusal{class: errNotFound, field: "op", detail: "no booking with movements has that op id"}
	}
	return s.sendLines(c, store.LineFilter{Op: op, Limit: maxLines}, maxLines+1)
}

func (s *Server) sendLines(c echo.Context, f store.LineFilter, limit int) error {
	lines, err := s.store.Lines(c.Request().Context(), f)
	if err != nil {
		return err
	}
	var out []lineOut
	for _, l := range lines {
		out = append(out, lineOutOf(l))
	}
	return c.JSON(http.StatusOK, listOf(out, limit, func(l lineOut) string { return strconv.FormatInt(l.Seq, 10) }))
}
