package server

import (
	"errors"
	"net"
	"net/http"
	"strings"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
)

// sessionLife is how long a login at the window lasts; the shift is over then.
const sessionLife = 12 * time.Hour

// A viewer is the person behind a request: from the session's cookie or a program's token,
// never from what the request says.
type viewer struct {
	id    store.PersonID
	place store.PlaceID // what this person holds lies here
	name  string
	role  access.Role

	session string // its code, "" for a program
	station string // name of the shared computer, "" elsewhere
	shared  bool
	locked  bool
}

func viewerOf(p store.Person) viewer {
	return viewer{id: p.ID, place: p.PlaceID, name: p.Name, role: access.Role(p.Role)}
}

const actorKey = "actor" // in the echo.Context

// actor returns the person behind the request, false for a visitor.
func actor(c echo.Context) (viewer, bool) {
	v, ok := c.Get(actorKey).(viewer)
	return v, ok
}

func newSessions(cfg Config) *scs.SessionManager {
	sm := scs.New()
	sm.Store = cfg.Store.Sessions()
	sm.Lifetime = sessionLife
	sm.ErrorFunc = func(w http.ResponseWriter, _ *http.Request, err error) {
		cfg.Log.Error("request failed", "at", "session", "error", err)
		w.Header().Set("HX-Retarget", "#alert")
		http.Error(w, "Something failed on our side. Ask again; if it stays, tell whoever looks after the server.", http.StatusInternalServerError)
	}
	sm.Cookie.HttpOnly = true
	sm.Cookie.SameSite = http.SameSiteStrictMode
	sm.Cookie.Path = "/"
	sm.Cookie.Name = "brasspeg"
	if cfg.TLS {
		// A browser takes a __Host- cookie only over https and for this very host.
		sm.Cookie.Name, sm.Cookie.Secure = "__Host-brasspeg", true
	}
	return sm
}

// known finds out who asks, before the route's right is held against it. A person who has
// left, or a token that was taken back, is a visitor from the next request on.
func (s *Server) known(next echo.HandlerFunc) echo.HandlerFunc {
	withSession := echo.WrapMiddleware(s.sessions.LoadAndSave)(s.settle(s.fromSession(next)))
	return func(c echo.Context) error {
		p := c.Request().URL.Path
		if strings.HasPrefix(p, "/static/") || p == "/healthz" || p == "/readyz" {
			return next(c)
		}
		token, ok := strings.CutPrefix(c.Request().Header.Get(echo.HeaderAuthorization), "Bearer ")
		if !ok {
			return withSession(c)
		}
		person, err := s.store.PersonByToken(c.Request().Context(), strings.TrimSpace(token))
		if err != nil {
			return &refusal{class: errNoSession, detail: "this token is not in use; make one with: brasspeg token"}
		}
		c.Set(actorKey, viewerOf(person))
		return next(c)
	}
}

func (s *Server) fromSession(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		ctx := c.Request().Context()
		if token := s.sessions.Token(ctx); token != "" {
			l, p, err := s.store.Sessions().Who(ctx, token)
			switch {
			case err == nil:
				v := viewerOf(p)
				v.session, v.shared, v.locked = l.Code, l.Shared(), !l.LockedAt.IsZero()
				if v.shared {
					v.station = l.Place
				}
				c.Set(actorKey, v)
			case !errors.Is(err, store.ErrNotFound):
				return err
			}
		}
		return next(c)
	}
}

// settle answers an error inside the session's middleware, which otherwise commits twice.
func (s *Server) settle(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if err := next(c); err != nil {
			c.Error(err)
		}
		return nil
	}
}

// begin starts a session for p under a new token.
func (s *Server) begin(c echo.Context, p store.Person) error {
	ctx := c.Request().Context()
	if err := s.sessions.RenewToken(ctx); err != nil {
		return err
	}
	s.sessions.Put(ctx, "begun", s.store.Now().Unix()) // scs keeps no session without a value
	token, _, err := s.sessions.Commit(ctx)
	if err != nil {
		return err
	}
	d, _ := s.station(c)
	place := d.Name
	if place == "" {
		place = c.RealIP()
	}
	if err := s.store.Sessions().Begin(ctx, token, p.ID, d.ID, place); err != nil {
		return err
	}
	s.log.Info("logged in", "person", int64(p.ID), "role", string(p.Role))
	return nil
}

// device names the other end for the ledger and for the limits on wrong logins: a shared
// computer by its name, any other by its address. Behind one address several
// people share the device's limit, not the person's.
func device(c echo.Context) string {
	if v, ok := actor(c); ok && v.station != "" {
		return v.station
	}
	return "ip " + c.RealIP()
}

// loopback reports whether the request comes from this computer, by a name of this computer.
func loopback(c echo.Context) bool {
	host, _, err := net.SplitHostPort(c.Request().RemoteAddr)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	if ip == nil || !ip.IsLoopback() {
		return false
	}
	switch canonicalHost(c.Request().Host) {
	case "localhost", "127.0.0.1", "::1":
		return true
	}
	return false
}
