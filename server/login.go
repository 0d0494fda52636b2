package server

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
)

// loginPage shows the ways in: GET /login.
func (s *Server) loginPage(c echo.Context) error {
	first, err := s.store.Sole(c.Request().Context())
	if err != nil {
		return err
	}
	v := loginPage{First: first}
	if s.cfg.Demo && loopback(c) {
		people, err := s.store.People(c.Request().Context())
		if err != nil {
			return err
		}
		for _, p := range people {
			v.Demo = append(v.Demo, demoPerson{Login: p.Login, Name: p.Name, Role: string(p.Role)})
		}
		slices.SortStableFunc(v.Demo, func(a, b demoPerson) int { // who sees most of the crib first
			order := []string{"attendant", "manager", "operator", "admin"}
			return slices.Index(order, a.Role) - slices.Index(order, b.Role)
		})
	}
	return s.page(c, http.StatusOK, "login", "Log in", v)
}

type badgeIn struct {
	Badge string `json:"badge"`
	PIN   string `json:"pin" text:"raw"`
}

// loginBadge takes a badge and its PIN: POST /login/badge. Neither is enough alone.
func (s *Server) loginBadge(c echo.Context) error {
	in, err := decode[badgeIn](c)
	if err != nil {
		return err
	}
	if !store.IsBadge(in.Badge) {
		return &refusal{class: errInvalid, field: "badge", detail: "that is not the text of a badge; scan it again"}
	}
	if in.PIN == "" {
		return &refusal{class: errInvalid, code: "empty", field: "pin", detail: "a PIN is 6 digits"}
	}
	if len(in.PIN) != 6 {
		return &refusal{class: errInvalid, field: "pin", detail: "a PIN is 6 digits"}
	}
	return s.logIn(c, in.Badge, in.PIN)
}

type passwordIn struct {
	Login    string `json:"login"`
	Password string `json:"password" text:"raw"`
}

// loginPassword takes a login name and password: POST /login/password. A PIN is no
// password, so six digits are refused here: a name is printed on lists, a badge is not.
func (s *Server) loginPassword(c echo.Context) error {
	in, err := decode[passwordIn](c)
	if err != nil {
		return err
	}
	if n := len(in.Password); n < 12 || n > 512 || store.IsBadge(in.Login) {
		// The same answer as for a wrong password, and no hint that it was not even tried.
		return &refusal{class: errWrongLogin, detail: "that login is not right"}
	}
	return s.logIn(c, in.Login, in.Password)
}

func (s *Server) logIn(c echo.Context, who, given string) error {
	at := device(c)
	if d, ok := s.station(c); ok {
		at = d.Name
	}
	p, err := s.store.Login(c.Request().Context(), who, given, at)
	if err != nil {
		return err
	}
	return s.welcome(c, p)
}

// welcome begins the session and sends the browser to the page this role works on.
func (s *Server) welcome(c echo.Context, p store.Person) error {
	if err := s.begin(c, p); err != nil {
		return err
	}
	c.Response().Header().Set("HX-Redirect", startPage(access.Role(p.Role)))
	return c.NoContent(http.StatusNoContent)
}

func startPage(r access.Role) string {
	switch r {
	case access.Attendant, access.Operator:
		return "/window"
	case access.Visitor:
		return "/login"
	}
	return "/jobs"
}

type demoIn struct {
	Person string `json:"person"`
}

// loginDemo logs in as one of the demo shop's people: POST /login/demo. It is there only in
// a demo and only for this computer.
func (s *Server) loginDemo(c echo.Context) error {
	if !s.cfg.Demo || !loopback(c) {
		return &refusal{class: errNotFound, detail: "there is nothing at this address"}
	}
	in, err := decode[demoIn](c)
	if err != nil {
		return err
	}
	p, err := s.store.PersonByLogin(c.Request().Context(), in.Person)
	if err != nil {
		return err
	}
	return s.welcome(c, p)
}

// logout ends one's own session: POST /logout.
func (s *Server) logout(c echo.Context) error {
	if err := s.sessions.Destroy(c.Request().Context()); err != nil {
		return err
	}
	c.Response().Header().Set("Clear-Site-Data", `"cache"`)
	c.Response().Header().Set("HX-Redirect", "/login")
	return c.NoContent(http.StatusNoContent)
}

// A firstStart is the one-time code by which the first admin of a new shop is made. It is on
// the console only, good for 30 minutes from the start and for one use.
type firstStart struct {
	mu    sync.Mutex
	sum   [32]byte
	until time.Time
	tries int
}

const (
	firstStartTime  = 30 * time.Minute
	firstStartTries = 10
)

// newFirstStart makes the code when the shop has nobody, and none otherwise.
func newFirstStart(cfg Config) (*firstStart, error) {
	sole, err := cfg.Store.Sole(context.Background())
	if err != nil || !sole {
		return &firstStart{}, err
	}
	code := rand.Text()[:16]
	f := &firstStart{sum: sha256.Sum256([]byte(code)), until: cfg.Store.Now().Add(firstStartTime)}
	if cfg.Console == nil {
		cfg.Log.Warn("this shop has no admin, and no console was given for the one-time code")
		return f, nil
	}
	cfg.Console("This shop has no admin yet. Open /login and give this one-time code within 30 minutes: " +
		code[:4] + "-" + code[4:8] + "-" + code[8:12] + "-" + code[12:])
	return f, nil
}

// take reports whether code is right, and uses it up.
func (f *firstStart) take(code string, now time.Time) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	code = strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(code))
	if f.until.IsZero() || now.After(f.until) || f.tries >= firstStartTries {
		return &refusal{class: errWrongLogin, field: "code", detail: "there is no code in force; start the program again for a new one"}
	}
	f.tries++
	sum := sha256.Sum256([]byte(code))
	if subtle.ConstantTimeCompare(sum[:], f.sum[:]) != 1 {
		return &refusal{class: errWrongLogin, field: "code", detail: "that is not the code on the console"}
	}
	return nil
}

func (f *firstStart) done() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.until = time.Time{}
}

type firstIn struct {
	Code     string `json:"code"`
	Name     string `json:"name"`
	Login    string `json:"login"`
	Password string `json:"password" text:"raw"`
}

// loginFirst makes the first admin: POST /login/first.
func (s *Server) loginFirst(c echo.Context) error {
	in, err := decode[firstIn](c)
	if err != nil {
		return err
	}
	sole, err := s.store.Sole(c.Request().Context())
	if err != nil {
		return err
	}
	if !sole {
		return &refusal{class: errConflict, detail: "this shop has its first person already; log in, or ask an admin"}
	}
	if err := s.first.take(in.Code, s.store.Now()); err != nil {
		return err
	}
	if in.Password == "" {
		return &refusal{class: errInvalid, field: "password", detail: "a password has 12 to 128 characters"}
	}
	p, _, err := s.store.AddPerson(c.Request().Context(), 0, store.PersonIn{
		Login: in.Login, Name: in.Name, Role: store.Admin, Password: in.Password})
	if err != nil {
		return err
	}
	s.first.done()
	return s.welcome(c, p)
}
