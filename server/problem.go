package server

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"brasspeg/store"
)

// The classes of a refusal that the server makes itself. What the shop refuses comes from
// package store; both stand in the table below.
var (
	errMalformed  = errors.New("request not readable")
	errMediaType  = errors.New("content type not accepted")
	errTooLarge   = errors.New("request too large")
	errInvalid    = errors.New("value not acceptable")
	errNoSession  = errors.New("not logged in")
	errWrongLogin = errors.New("login refused")
	errForbidden  = errors.New("not allowed for this role")
	errNotFound   = errors.New("not found")
	errMethod     = errors.New("method not allowed")
	errHost       = errors.New("host name not ours")
	errOrigin     = errors.New("request from another site")
	errTooMany    = errors.New("too many tries")
	errConflict   = errors.New("state does not allow it")
	errLocked     = errors.New("screen locked")
)

// A refusal is a "no" of the server with what a client needs to mend it.
type refusal struct {
	class  error
	code   string        // finer than the class, for programs; "": the class's own
	field  string        // the member or parameter it is about, "" for the whole
	detail string        // a sentence for a person: what, where, how to mend
	wait   time.Duration // > 0: try again after
}

func (r *refusal) Error() string { return r.detail }
func (r *refusal) Unwrap() error { return r.class }

// A problem is the body of every answer that is a failure (RFC 9457).
type problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
	Code   string `json:"code"`
	Field  string `json:"field,omitempty"`
	Ref    string `json:"ref"`
}

// problems is the one place where a failure becomes a status and a code. The first row whose
// class the error is counts; an error of no class is a 500 with a fixed sentence.
var problems = []struct {
	class  error
	status int
	code   string
	title  string
}{
	{errMalformed, http.StatusBadRequest, "bad_request", "The request could not be read"},
	{errMediaType, http.StatusUnsupportedMediaType, "unsupported_media_type", "This kind of body is not accepted"},
	{errTooLarge, http.StatusRequestEntityTooLarge, "body_too_large", "The request is too large"},
	{errInvalid, http.StatusUnprocessableEntity, "invalid", "A value is not acceptable"},
	{errNoSession, http.StatusUnauthorized, "login", "Please log in"},
	{errWrongLogin, http.StatusUnauthorized, "wrong_login", "Login refused"},
	{errForbidden, http.StatusForbidden, "forbidden", "Not allowed for your role"},
	{errOrigin, http.StatusForbidden, "cross_site", "Request from another site refused"},
	{errNotFound, http.StatusNotFound, "not_found", "Not found"},
	{errMethod, http.StatusMethodNotAllowed, "method_not_allowed", "This address does not take that method"},
	{errHost, http.StatusMisdirectedRequest, "host_not_allowed", "This server does not answer under that name"},
	{errTooMany, http.StatusTooManyRequests, "too_many", "Too many tries"},
	{errLocked, http.StatusLocked, "locked", "This computer is locked"},
	{errConflict, http.StatusConflict, "conflict", "The shop's state does not allow it"},

	{store.ErrNotFound, http.StatusNotFound, "not_found", "Not found"},
	{store.ErrBadInput, http.StatusUnprocessableEntity, "invalid", "A value is not acceptable"},
	{store.ErrShort, http.StatusConflict, "short", "Not enough there"},
	{store.ErrElsewhere, http.StatusConflict, "elsewhere", "It is not where it should be"},
	{store.ErrHeld, http.StatusConflict, "held", "Held back"},
	{store.ErrPromised, http.StatusConflict, "promised", "Promised to another job"},
	{store.ErrRetired, http.StatusConflict, "retired", "No longer in use"},
	{store.ErrForbidden, http.StatusForbidden, "forbidden", "Not allowed for your role"},
	{store.ErrConflict, http.StatusPreconditionFailed, "changed", "Somebody else changed it meanwhile"},
	{store.ErrExists, http.StatusConflict, "exists", "Exists already"},
	{store.ErrAsk, http.StatusConflict, "ask", "A question is open"},
	{store.ErrSurplus, http.StatusConflict, "surplus", "More came than was ordered"},
	{store.ErrReversed, http.StatusConflict, "reversed", "Undone already"},
	{store.ErrOpReused, http.StatusUnprocessableEntity, "op_reused", "The key was used for something else"},
	{store.ErrBusy, http.StatusServiceUnavailable, "busy", "Too many bookings are waiting"},
	{store.ErrUnknown, http.StatusServiceUnavailable, "unknown", "It is not known whether it was booked"},
	{store.ErrNoRoom, http.StatusInsufficientStorage, "disk_full", "The disk of the server is full"},
	{store.ErrLogin, http.StatusUnauthorized, "wrong_login", "Login refused"},
	{store.ErrSlowDown, http.StatusTooManyRequests, "too_many", "Too many tries"},
}

// problemOf turns an error into what the client reads. The text of an error of no known class
// never leaves the program: it may name a table, a path or a person.
func problemOf(err error) problem {
	p := problem{Type: "about:blank", Ref: uuid.NewString()[:8]}
	for _, row := range problems {
		if errors.Is(err, row.class) {
			p.Status, p.Code, p.Title, p.Detail = row.status, row.code, row.title, sentence(said(err))
			break
		}
	}
	if he, ok := errors.AsType[*echo.HTTPError](err); ok && p.Status == 0 {
		p = ofEcho(he, p)
	}
	if p.Status == 0 {
		p.Status, p.Code, p.Title = http.StatusInternalServerError, "internal", "Something failed on our side"
		p.Detail = "Nothing can be said about whether it was booked; ask again with the same key, or give the reference to whoever looks after the server."
	}
	if r, ok := errors.AsType[*refusal](err); ok {
		p.Field, p.Code = r.field, cmp.Or(r.code, p.Code)
	}
	if r, ok := errors.AsType[*store.Refusal](err); ok {
		p.Field, p.Code = r.Field, cmp.Or(r.Code, p.Code)
	}
	return p
}

// onField says of a refusal which member it is about.
func onField(field string, err error) error {
	if r, ok := errors.AsType[*store.Refusal](err); ok {
		again := *r
		again.Field = field
		return &again
	}
	return err
}

// said is what a refusal says to a person, without what was wrapped around it on its way.
func said(err error) string {
	if r, ok := errors.AsType[*store.Refusal](err); ok {
		return r.Says
	}
	if r, ok := errors.AsType[*refusal](err); ok {
		return r.detail
	}
	if errors.Is(err, store.ErrNoRoom) { // its own text names a folder
		return "nothing was booked; tell whoever looks after the server to make room, then send it again"
	}
	return err.Error()
}

// ofEcho translates the failures that echo finds before a handler runs.
func ofEcho(he *echo.HTTPError, p problem) problem {
	class, detail := error(nil), ""
	switch he.Code {
	case http.StatusNotFound:
		class, detail = errNotFound, "There is nothing at this address."
	case http.StatusMethodNotAllowed:
		class, detail = errMethod, "Read the API description for what this address takes."
	case http.StatusRequestEntityTooLarge:
		class, detail = errTooLarge, "The body is too long."
	case http.StatusBadRequest:
		class, detail = errMalformed, "The request could not be read."
	default:
		return p
	}
	ref := p.Ref
	p = problemOf(&refusal{class: class, detail: detail})
	p.Ref = ref
	return p
}

// fail answers a request that ended in an error: the log gets the error once, the client a
// problem, as JSON under /api and as a page or a line of one elsewhere.
func (s *Server) fail(err error, c echo.Context) {
	if c.Response().Committed {
		s.log.Error("answer cut short", "path", c.Path(), "error", err)
		return
	}
	p := problemOf(err)
	if p.Status >= 500 {
		s.log.Error("request failed", "ref", p.Ref, "method", c.Request().Method, "path", c.Path(), "error", err)
	}
	if r, ok := errors.AsType[*refusal](err); ok && r.wait > 0 {
		c.Response().Header().Set("Retry-After", fmt.Sprint(int(r.wait.Round(time.Second)/time.Second)))
	}
	if c.Response().Header().Get("Retry-After") == "" {
		switch p.Status {
		case http.StatusServiceUnavailable:
			c.Response().Header().Set("Retry-After", "2")
		case http.StatusTooManyRequests:
			c.Response().Header().Set("Retry-After", "30")
		}
	}
	var out error
	switch {
	case wantsJSON(c):
		if p.Status == http.StatusUnauthorized {
			c.Response().Header().Set("WWW-Authenticate", "Bearer")
		}
		c.Response().Header().Set(echo.HeaderContentType, "application/problem+json")
		out = c.JSON(p.Status, p)
	case c.Request().Method == http.MethodHead:
		out = c.NoContent(p.Status)
	case c.Request().Header.Get("HX-Request") == "true":
		c.Response().Header().Set("HX-Retarget", "#alert")
		c.Response().Header().Set("HX-Reswap", "innerHTML")
		c.Response().Header().Set("Refused-Field", p.Field)
		out = s.part(c, p.Status, "alert", p)
	case p.Status == http.StatusUnauthorized && c.Request().Method == http.MethodGet:
		out = c.Redirect(http.StatusSeeOther, "/login")
	case p.Status == http.StatusLocked:
		who, _ := actor(c)
		out = s.page(c, p.Status, "locked", "Locked", lockedBody{who.name})
	default:
		out = s.page(c, p.Status, "problem", p.Title, p)
	}
	if out != nil {
		s.log.Error("answer failed", "ref", p.Ref, "error", out)
	}
}

// wantsJSON says whether the client is a program: it asks the API, or for JSON by name.
func wantsJSON(c echo.Context) bool {
	return strings.HasPrefix(c.Request().URL.Path, "/api/") || strings.Contains(c.Request().Header.Get("Accept"), "json")
}

// sentence gives an error's text a capital and a full stop, for a person.
func sentence(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	// A code at the start keeps its spelling: only a plain lower-case word is raised.
	if r[0] >= 'a' && r[0] <= 'z' {
		r[0] -= 'a' - 'A'
	}
	s = string(r)
	if !strings.ContainsAny(s[len(s)-1:], ".?!") {
		s += "."
	}
	return s
}
