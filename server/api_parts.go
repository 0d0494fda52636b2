package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

type partIn struct {
	Kind        string            `json:"kind"`
	Code        string            `json:"code"`
	Name        string            `json:"name"`
	Designation string            `json:"designation"`
	Maker       string            `json:"maker"`
	MakerCode   string            `json:"maker_code"`
	Grade       string            `json:"grade"`
	Note        string            `json:"note"`
	Home        string            `json:"home"`
	Supplier    string            `json:"supplier"`
	Price       string            `json:"price"`
	Currency    string            `json:"currency"`
	LeadDays    typed             `json:"lead_days"`
	Pack        typed             `json:"pack"`
	MinOrder    typed             `json:"min_order"`
	Values      map[string]string `json:"values"`
	ByMaker     []string          `json:"by_maker"`
	Confirmed   bool              `json:"confirmed"`
}

// valueOut is one value of a part with where it comes from.
type valueOut struct {
	Symbol  string `json:"symbol"`
	Value   any    `json:"value"`
	Entered string `json:"entered"`
	Origin  string `json:"origin"`
}

// addPart enters a part as the form does: POST /api/v1/parts.
func (s *Server) addPart(c echo.Context) error {
	in, err := decode[partIn](c)
	if err != nil {
		return err
	}
	e := store.PartEntry{Kind: in.Kind, Code: in.Code, Name: in.Name, Designation: in.Designation, Maker: in.Maker, MakerCode: in.MakerCode, Grade: in.Grade, Note: in.Note,
		Home: in.Home, Supplier: in.Supplier, Price: in.Price, Currency: in.Currency, LeadDays: string(in.LeadDays), Pack: string(in.Pack), MinOrder: string(in.MinOrder), Values: in.Values, ByMaker: in.ByMaker}
	v, _ := actor(c)
	p, err := s.enter(c, v.id, e, in.Confirmed)
	if err != nil {
		return err
	}
	facts, err := s.store.Facts(c.Request().Context(), p.ID)
	if err != nil {
		return err
	}
	out := partOutOf(p)
	out.Sizes, out.Values = map[string]any{}, []valueOut{}
	for _, f := range facts {
		out.Sizes[f.Symbol] = rawJSON(f.Value)
		out.Values = append(out.Values, valueOut{f.Symbol, rawJSON(f.Value), f.Entered, f.Origin})
	}
	return c.JSON(http.StatusCreated, out)
}

type partsFileIn struct {
	CSV       string `json:"csv" text:"raw"`
	Apply     bool   `json:"apply"`
	Confirmed bool   `json:"confirmed"`
}

type rowOut struct {
	Line  int    `json:"line"`
	Field string `json:"field"`
	Says  string `json:"says"`
	Code  string `json:"code,omitempty"`
}

type partsFileOut struct {
	Rows    int      `json:"rows"`
	New     []string `json:"new"`
	Same    []string `json:"same"`
	Bad     []rowOut `json:"bad"`
	Doubles []rowOut `json:"doubles"`
	Notes   []rowOut `json:"notes"`
	Applied bool     `json:"applied"`
}

// addPartsFile looks at a table of parts, or takes it in: POST /api/v1/parts/files.
func (s *Server) addPartsFile(c echo.Context) error {
	in, err := decode[partsFileIn](c)
	if err != nil {
		return err
	}
	v, _ := actor(c)
	rep, err := s.store.ImportParts(c.Request().Context(), v.id, []byte(in.CSV), in.Apply, in.Confirmed)
	if err != nil {
		return err
	}
	rows := func(b []store.BadRow) []rowOut {
		out := []rowOut{}
		for _, r := range b {
			out = append(out, rowOut{r.Line, r.Field, r.Says, r.Code})
		}
		return out
	}
	none := func(t []string) []string {
		if t == nil {
			return []string{}
		}
		return t
	}
	return c.JSON(http.StatusOK, partsFileOut{rep.Rows, none(rep.New), none(rep.Same), rows(rep.Bad), rows(rep.Doubles), rows(rep.Notes), rep.Applied && in.Apply})
}

type mergeAPI struct {
	From   string `json:"from"`
	Into   string `json:"into"`
	Reason string `json:"reason"`
}

// addMerge makes one part of two: POST /api/v1/merges.
func (s *Server) addMerge(c echo.Context, o store.Op, in mergeAPI) (r store.Receipt, err error) {
	_, r, err = s.mergeParts(c, o, in.From, in.Into, in.Reason)
	return r, err
}

// reverseMerge takes one apart: POST /api/v1/merges/:op/reversal.
func (s *Server) reverseMerge(c echo.Context, o store.Op, in reversalIn) (r store.Receipt, err error) {
	return s.store.Unmerge(c.Request().Context(), o, c.Param("op"), in.Reason)
}

type linkAPI struct {
	Code string `json:"code" text:"raw"` // as scanned
	Part string `json:"part"`            // "" takes the link off
}

// addCode links a foreign code to a part, or takes the link off: POST /api/v1/codes.
func (s *Server) addCode(c echo.Context, o store.Op, in linkAPI) (r store.Receipt, err error) {
	if in.Part == "" {
		return s.store.UnlinkCode(c.Request().Context(), o, in.Code)
	}
	_, r, err = s.linkCode(c, o, in.Code, in.Part)
	return r, err
}

type regrindAPI struct {
	Tag   string `json:"tag"`
	Qty   int64  `json:"qty"`
	Size  string `json:"size"`
	Edges int    `json:"edges"`
	To    string `json:"to"`
}

// addRegrind books pieces back from grinding: POST /api/v1/regrinds.
func (s *Server) addRegrind(c echo.Context, o store.Op, in regrindAPI) (r store.Receipt, err error) {
	g, err := s.reground(c, o, in.Tag, in.To, store.RegrindIn{Qty: in.Qty, Size: in.Size, Edges: in.Edges})
	return g.Receipt, err
}

type lookupsOut struct {
	From  string         `json:"from"`
	To    string         `json:"to"`
	Count int64          `json:"count"`
	Hours float64        `json:"hours"`
	Top   []lookupTopOut `json:"top"`
}

type lookupTopOut struct {
	Text  string `json:"text"`
	Part  bool   `json:"part"`
	Count int64  `json:"count"`
}

// getLookups totals a week of look-ups that ended in "not here": GET /api/v1/lookups?day=.
func (s *Server) getLookups(c echo.Context) error {
	day := store.Day(c.QueryParam("day"))
	if day == "" {
		day = s.store.Today()
	}
	if _, err := store.ParseDay(string(day)); err != nil {
		return err
	}
	m, err := s.store.MissedWeek(c.Request().Context(), day)
	if err != nil {
		return err
	}
	out := lookupsOut{string(m.From), string(m.To), m.Count, m.Hours, []lookupTopOut{}}
	for _, t := range m.Top {
		out.Top = append(out.Top, lookupTopOut{t.Text, t.Part, t.Count})
	}
	return c.JSON(http.StatusOK, out)
}

// receipt answers an act with its receipt, or its refusal.
func receipt(c echo.Context, r store.Receipt, err error) error {
	if err != nil {
		return err
	}
	return booked(c, r)
}
