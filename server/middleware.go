package server

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"brasspeg/server/access"
)

// Every answer carries these. No page has inline script or style, so the policy has no
// exception.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; " +
	"media-src 'self' blob:; font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// router makes the echo with its middleware, outermost first, and all routes.
func (s *Server) router() (*echo.Echo, error) {
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.IPExtractor = echo.ExtractIPDirect()         // the default believes X-Forwarded-For
	e.SchemeExtractor = echo.ExtractSchemeDirect() // and X-Forwarded-Proto
	e.HTTPErrorHandler = s.fail
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(denyOrigin))
	e.Use(
		middleware.RecoverWithConfig(middleware.RecoverConfig{LogErrorFunc: s.recovered}),
		headers,
		s.requestLog(),
		s.knownHost,
		bodyLimit,
		echo.WrapMiddleware(origin.Handler),
		s.known,
	)
	s.routes = s.table()
	if err := s.addRoutes(e, s.routes); err != nil {
		return nil, err
	}
	return e, nil
}

func headers(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Permissions-Policy", "camera=(self), microphone=(), geolocation=(), usb=(), serial=()")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		return next(c)
	}
}

// requestLog writes one line a request: the route, never the address with what it holds, so
// that no badge or search text gets into the log.
func (s *Server) requestLog() echo.MiddlewareFunc {
	return middleware.RequestLoggerWithConfig(middleware.RequestLoggerConfig{
		HandleError: true, LogStatus: true, LogMethod: true, LogRoutePath: true, LogLatency: true, LogRemoteIP: true,
		LogValuesFunc: func(c echo.Context, v middleware.RequestLoggerValues) error {
			s.seconds.WithLabelValues(v.Method, v.RoutePath, statusClass(v.Status)).Observe(v.Latency.Seconds())
			level := slog.LevelInfo
			if strings.HasPrefix(v.RoutePath, "/static") || strings.HasSuffix(v.RoutePath, "z") {
				level = slog.LevelDebug
			}
			s.log.LogAttrs(context.WithoutCancel(c.Request().Context()), level, "request",
				slog.String("method", v.Method), slog.String("route", v.RoutePath), slog.Int("status", v.Status),
				slog.Duration("took", v.Latency.Round(time.Microsecond)), slog.String("from", v.RemoteIP))
			return nil
		},
	})
}

func statusClass(status int) string { return string(rune('0'+status/100)) + "xx" }

func (s *Server) recovered(c echo.Context, err error, stack []byte) error {
	s.log.Error("panic", "path", c.Path(), "error", err, "stack", string(stack))
	return err
}

// bodyLimit refuses a longer body than the route takes, before anything of it is read.
func bodyLimit(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if most := mostBody(c); r.ContentLength > most {
			return tooLarge(most)
		}
		return next(c)
	}
}

// knownHost refuses names that are not ours: a foreign name that resolves to this machine
// would pass the browser's own origin checks.
func (s *Server) knownHost(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if !s.hosts[canonicalHost(c.Request().Host)] {
			return &refusal{class: errHost, detail: "this server does not answer under that name; add it to the server's hosts if it is yours"}
		}
		return next(c)
	}
}

// canonicalHost takes the port, the brackets, the final dot and the case off.
func canonicalHost(host string) string {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	return strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
}

// denyOrigin answers a write that a page of another site sent. It stands outside echo, so the
// problem is written out.
func denyOrigin(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("HX-Retarget", "#alert")
	w.WriteHeader(http.StatusForbidden)
	_, _ = w.Write([]byte(`{"type":"about:blank","title":"Request from another site refused","status":403,"detail":"A page of another site may not write here.","code":"cross_site","ref":"-"}` + "\n"))
}

// guard lets a request through whose person may use the right. What concerns a person or not
// is asked again by the act itself.
func (s *Server) guard(right access.Right, next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if access.Of(access.Visitor, right) != access.No {
			return next(c)
		}
		p, ok := actor(c)
		if !ok {
			return &refusal{class: errNoSession, detail: "log in first"}
		}
		if p.locked && right != access.LogOut {
			return &refusal{class: errLocked, detail: "this computer is locked; " + p.name + " opens it by badge or PIN"}
		}
		// A page sends what was entered while there was no network; meanwhile another may have logged in.
		if by := c.Request().Header.Get("Entered-By"); by != "" {
			if name, err := url.PathUnescape(by); err != nil || name != p.name {
				return &refusal{class: errNoSession, detail: "somebody else entered this; who did logs in to send it"}
			}
		}
		if access.Of(p.role, right) == access.No {
			return &refusal{class: errForbidden, detail: "your role (" + string(p.role) + ") may not do this; ask somebody who may"}
		}
		return next(c)
	}
}

// meter makes the program's counters, labelled by route pattern so that their number is
// bounded.
func (s *Server) meter() {
	s.metrics = prometheus.NewRegistry()
	s.seconds = prometheus.NewHistogramVec(prometheus.HistogramOpts{
		Name: "brasspeg_http_seconds", Help: "Time to answer, by route.",
		Buckets: []float64{.001, .005, .02, .05, .1, .25, .5, 1, 5},
	}, []string{"method", "route", "status"})
	s.metrics.MustRegister(s.seconds, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
}

func (s *Server) metricsPage(c echo.Context) error {
	promhttp.HandlerFor(s.metrics, promhttp.HandlerOpts{}).ServeHTTP(c.Response(), c.Request())
	return nil
}
