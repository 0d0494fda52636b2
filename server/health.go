package server

import (
	"net/http"

	"github.com/labstack/echo/v4"
)

// healthz says that the process answers: GET /healthz.
func (s *Server) healthz(c echo.Context) error { return c.String(http.StatusOK, "ok\n") }

// readyz says that the store can be read: GET /readyz.
func (s *Server) readyz(c echo.Context) error {
	if _, err := s.store.Sole(c.Request().Context()); err != nil {
		s.log.Error("store not readable", "error", err)
		return c.String(http.StatusServiceUnavailable, "the store cannot be read\n")
	}
	return c.String(http.StatusOK, "ready\n")
}
