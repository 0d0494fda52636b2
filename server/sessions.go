package server

import (
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

type sessionsBody struct {
	Rows []sessionRow
}

type sessionRow struct {
	Code, Since, Seen, Place string
	Here                     bool
	State                    stateView
}

// sessionsPage lists one's own open sessions: GET /sessions.
func (s *Server) sessionsPage(c echo.Context) error {
	who, _ := actor(c)
	rows, err := s.store.LogIns(c.Request().Context(), who.id)
	if err != nil {
		return err
	}
	var v sessionsBody
	for _, l := range rows {
		r := sessionRow{Code: l.Code, Since: clock(l.BegunAt.Time), Seen: clock(l.SeenAt.Time), Place: l.Place, Here: l.Code == who.session, State: stateView{"open", "●", ""}}
		switch {
		case r.Here:
			r.State.Word = "this one"
		case !l.LockedAt.IsZero():
			r.State = stateView{"locked", "□", ""}
		}
		if !l.Shared() { // only a shared computer says when it was last used
			r.Seen = ""
		}
		v.Rows = append(v.Rows, r)
	}
	return s.page(c, http.StatusOK, "sessions", "My log-ins", v)
}

type codeIn struct {
	Code string `json:"code" need:"yes"`
}

// closeSession ends one of one's own sessions: POST /sessions/closing.
func (s *Server) closeSession(c echo.Context) error {
	in, err := decode[codeIn](c)
	if err != nil {
		return err
	}
	who, _ := actor(c)
	if err := s.store.EndLogIn(c.Request().Context(), who.id, in.Code); err != nil {
		return err
	}
	return goOn(c, "/sessions")
}

// goOn sends the browser to a page after something that has no receipt.
func goOn(c echo.Context, path string) error {
	c.Response().Header().Set("HX-Redirect", path)
	return c.NoContent(http.StatusNoContent)
}

// lock locks the session of a shared computer, as its page does when nobody touches it:
// POST /lock.
func (s *Server) lock(c echo.Context) error {
	who, _ := actor(c)
	if !who.shared {
		return &refusal{class: errConflict, detail: "only a shared computer locks; log out instead"}
	}
	ctx := c.Request().Context()
	if err := s.store.Sessions().Lock(ctx, s.sessions.Token(ctx)); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

type unlockIn struct {
	Given string `json:"given" need:"yes" text:"raw"`
}

// unlock opens a locked session for its own person by badge, PIN or password: POST /unlock. The
// page that was locked stays as it is.
func (s *Server) unlock(c echo.Context) error {
	in, err := decode[unlockIn](c)
	if err != nil {
		return err
	}
	if len(in.Given) > 512 {
		return &refusal{class: errInvalid, code: "too_long", field: "given", detail: "scan your badge, or give your PIN"}
	}
	ctx := c.Request().Context()
	who, _ := actor(c)
	p, err := s.store.Person(ctx, who.id)
	if err != nil {
		return err
	}
	if err := s.store.Sessions().Unlock(ctx, s.sessions.Token(ctx), p, in.Given, device(c)); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// lockedBody is what a locked computer shows of any page.
type lockedBody struct{ Person string }

type devicesBody struct {
	Rows []deviceRow
	This string // name of this computer, "" when it is not registered
}

type deviceRow struct{ ID, Name, Since string }

// devicesPage lists the shared computers: GET /devices.
func (s *Server) devicesPage(c echo.Context) error {
	ctx := c.Request().Context()
	rows, err := s.store.Devices(ctx)
	if err != nil {
		return err
	}
	var v devicesBody
	if d, ok := s.station(c); ok {
		v.This = d.Name
	}
	for _, d := range rows {
		v.Rows = append(v.Rows, deviceRow{strconv.FormatInt(int64(d.ID), 10), d.Name, clock(d.CreatedAt.Time)})
	}
	return s.page(c, http.StatusOK, "devices", "Shared computers", v)
}

type deviceIn struct {
	Name string `json:"name" need:"yes"`
}

// stationCookie keeps the secret of a shared computer in its browser.
func (s *Server) stationCookie() string {
	if s.cfg.TLS {
		return "__Host-brasspeg-station"
	}
	return "brasspeg-station"
}

// stationLife is how long a browser keeps that it is a shared computer's.
const stationLife = 10 * 365 * 24 * time.Hour

// addDevice registers the computer from which the admin asks: POST /devices. Sessions that
// begin there from now on lock, and its name stands in the ledger.
func (s *Server) addDevice(c echo.Context) error {
	in, err := decode[deviceIn](c)
	if err != nil {
		return err
	}
	who, _ := actor(c)
	_, secret, err := s.store.AddDevice(c.Request().Context(), who.id, in.Name)
	if err != nil {
		return err
	}
	c.SetCookie(&http.Cookie{Name: s.stationCookie(), Value: secret, Path: "/", MaxAge: int(stationLife / time.Second), HttpOnly: true, Secure: s.cfg.TLS, SameSite: http.SameSiteStrictMode})
	return goOn(c, "/devices")
}

type endDeviceIn struct {
	ID typed `json:"id" need:"yes"`
}

// endDevice ends a registration: POST /devices/ending.
func (s *Server) endDevice(c echo.Context) error {
	in, err := decode[endDeviceIn](c)
	if err != nil {
		return err
	}
	id, err := rowID("id", in.ID)
	if err != nil {
		return err
	}
	who, _ := actor(c)
	if err := s.store.EndDevice(c.Request().Context(), who.id, store.DeviceID(id)); err != nil {
		return err
	}
	return goOn(c, "/devices")
}

// station is the shared computer the request comes from, if it is one.
func (s *Server) station(c echo.Context) (store.Device, bool) {
	ck, err := c.Cookie(s.stationCookie())
	if err != nil || len(ck.Value) > 100 {
		return store.Device{}, false
	}
	d, err := s.store.DeviceBySecret(c.Request().Context(), ck.Value)
	return d, err == nil
}
