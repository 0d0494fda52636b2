package server

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/labstack/echo/v4"
)

//go:embed openapi.json
var openAPISource []byte

// openAPI is the description of /api/v1 as it is served, checked to be JSON.
func openAPI() ([]byte, error) {
	if !json.Valid(openAPISource) {
		return nil, fmt.Errorf("openapi.json is not JSON")
	}
	return openAPISource, nil
}

// openAPIDocument serves it: GET /api/v1/openapi.json.
func (s *Server) openAPIDocument(c echo.Context) error {
	return c.JSONBlob(http.StatusOK, s.api)
}
