package server

import (
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/labels"
	"brasspeg/store"
)

type labelOut struct {
	Tag    string         `json:"tag"`
	Kind   string         `json:"kind"`
	Head   string         `json:"head"`
	Title  string         `json:"title"`
	Sizes  []labelSizeOut `json:"sizes"`
	Never  []string       `json:"never"`
	Note   string         `json:"note"`
	Medium string         `json:"medium"` // what to print on, or how to mark it
}

type labelSizeOut struct {
	Name  string `json:"name"`
	Value string `json:"value"`
	Unit  string `json:"unit"`
}

// listLabels says what the labels of a choice would say: GET /api/v1/labels?select=.
func (s *Server) listLabels(c echo.Context) error {
	texts, ls, err := s.chosenLabels(c)
	if err != nil {
		return err
	}
	out := make([]labelOut, len(ls))
	for i, l := range ls {
		o := labelOut{Tag: l.Tag, Kind: string(l.Kind), Head: l.Head, Title: l.Title, Sizes: []labelSizeOut{}, Never: append([]string{}, l.Never...), Note: l.Note}
		for _, z := range l.Sizes {
			o.Sizes = append(o.Sizes, labelSizeOut{z.Name, z.Value, z.Unit})
		}
		kind := texts[i].Part
		if kind == "" {
			kind = texts[i].Kind
		}
		o.Medium = labels.Material(kind)
		out[i] = o
	}
	return sendRows(c, out, func(l labelOut) string { return l.Tag }, nil)
}

func (s *Server) chosenLabels(c echo.Context) ([]store.LabelText, []labels.Label, error) {
	q := strings.TrimSpace(c.QueryParam("select"))
	if q == "" {
		return nil, nil, missing("select", "say what to label: tags, a part, a place, new, worn or cards")
	}
	return s.labelsOf(c.Request().Context(), q)
}

// labelFile draws the labels of a choice, without a record of a print:
// GET /api/v1/labels/files/:file?select=&sheet=&start=&right=&down=&dpi=.
func (s *Server) labelFile(c echo.Context) error {
	m, err := mediumOf(c.QueryParam, nil)
	if err != nil {
		return err
	}
	_, ls, err := s.chosenLabels(c)
	if err != nil {
		return err
	}
	return sendLabels(c, c.Param("file"), ls, m.labels)
}

type printOut struct {
	Op     string `json:"op"`
	At     string `json:"at"`
	By     string `json:"by"`
	Medium string `json:"medium"`
	Labels int    `json:"labels"`
	First  string `json:"first"`
}

// listPrints lists the last prints on record: GET /api/v1/labels/prints.
func (s *Server) listPrints(c echo.Context) error {
	runs, err := s.store.LabelRuns(c.Request().Context(), 200)
	if err != nil {
		return err
	}
	out := make([]printOut, len(runs))
	for i, r := range runs {
		out[i] = printOut{r.OpID, r.At.UTC().Format("2006-01-02T15:04:05.000Z07:00"), r.Person, r.Medium, r.Labels, r.FirstTag}
	}
	return sendRows(c, out, func(p printOut) string { return p.Op }, nil)
}

// getPerson is one who works here: GET /api/v1/people/:login.
func (s *Server) getPerson(c echo.Context) error {
	p, err := s.store.PersonByLogin(c.Request().Context(), c.Param("login"))
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, personOut{p.Login, p.Name, string(p.Role), p.Phone})
}
