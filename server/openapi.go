package server

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

//go:embed openapi.json
var openAPISource []byte

// A description is what the OpenAPI document says of /api/v1: the text as it is served, and of
// each route the parameters its address may carry. What is not described is not asked for.
type description struct {
	text   []byte
	params map[string]map[string]param // by method and path of the route, then by name
}

// A param is one parameter of the query.
type param struct {
	Name   string `json:"name"`
	In     string `json:"in"`
	Schema struct {
		Enum []string `json:"enum"`
	} `json:"schema"`
}

// openAPI reads the description. Its errors are mistakes of ours.
func openAPI() (description, error) {
	var doc struct {
		Paths map[string]map[string]struct {
			Parameters []param `json:"parameters"`
		} `json:"paths"`
	}
	if err := json.Unmarshal(openAPISource, &doc); err != nil {
		return description{}, fmt.Errorf("openapi.json: %w", err)
	}
	d := description{text: openAPISource, params: map[string]map[string]param{}}
	for path, methods := range doc.Paths {
		for method, op := range methods {
			ps := map[string]param{}
			for _, p := range op.Parameters {
				if p.In == "query" {
					ps[p.Name] = p
				}
			}
			d.params[strings.ToUpper(method)+" "+echoPath(path)] = ps
		}
	}
	return d, nil
}

// echoPath spells a path of the document as the route table does: :code for {code}.
func echoPath(path string) string {
	return strings.NewReplacer("{", ":", "}", "").Replace(path)
}

// openAPIDocument serves it: GET /api/v1/openapi.json.
func (s *Server) openAPIDocument(c echo.Context) error {
	return c.JSONBlob(http.StatusOK, s.api.text)
}

// maxQuery is the longest value of a parameter in bytes.
const maxQuery = 200

// asked holds the query of a request against what is described: a parameter that is not known,
// stands twice, or is none of the words it may be, is refused. A slip would otherwise be a list
// that is not the one asked for.
func (s *Server) asked(method, path string, next echo.HandlerFunc) echo.HandlerFunc {
	known := s.api.params[method+" "+path]
	return func(c echo.Context) error {
		q, err := url.ParseQuery(strings.ReplaceAll(c.Request().URL.RawQuery, ";", "%3B"))
		if err != nil {
			return unreadable("", "", "the query could not be read; escape its values")
		}
		for name, values := range q {
			p, ok := known[name]
			switch v := values[0]; {
			case !ok:
				return unreadable("unknown_field", name, "%s is no parameter of this address; read the API description", clip(name))
			case len(values) > 1:
				return unreadable("duplicate_field", name, "%s stands twice in the query; send it once", name)
			case len(v) > maxQuery:
				return &refusal{class: errInvalid, code: "too_long", field: name, detail: fmt.Sprintf("%s has at most %d bytes", name, maxQuery)}
			case len(p.Schema.Enum) > 0 && v != "" && !slices.Contains(p.Schema.Enum, v):
				return &refusal{class: errInvalid, code: "not_allowed", field: name, detail: fmt.Sprintf("%s is one of %s", name, strings.Join(p.Schema.Enum, ", "))}
			default:
				if err := store.Sound(name, v); err != nil {
					return err
				}
			}
		}
		return next(c)
	}
}
