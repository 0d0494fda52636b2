// Package server is the shop's face: pages for people and /api/v1 for programs, over one
// store. It decodes, asks the store, and renders; no rule of the trade lives here. It owns
// every echo.Context, and the list in routes.go is its table of contents.
package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"

	"brasspeg/store"
)

// A Config says what to serve and to whom.
type Config struct {
	Store *store.Store
	Log   *slog.Logger // nil: silent
	// Hosts are the names, without port, under which the server answers; every other Host
	// header is refused with 421. Loopback names are always answered.
	Hosts []string
	// TLS says that people reach the server by https, so that the cookie can be bound to it.
	TLS bool
	// Demo offers a login by one press as one of the shop's people, to loopback only.
	Demo bool
	// Console takes the one-time code for the first admin when the shop has none. nil: the log
	// gets a line that says where to look, without the code.
	Console func(line string)
	// Notify says where alerts of buying go beside the page; the zero value: nowhere.
	Notify Notify
}

// A Server serves one shop.
type Server struct {
	store    *store.Store
	log      *slog.Logger
	cfg      Config
	hosts    map[string]bool
	assets   *assets
	pages    pages
	sessions *scs.SessionManager
	first    *firstStart
	routes   []route
	api      description
	metrics  *prometheus.Registry
	seconds  *prometheus.HistogramVec
	echo     *echo.Echo
}

// Limits of one connection and of all. echo's own are all zero, which is none.
const (
	readHeaderTimeout = 5 * time.Second
	readTimeout       = 15 * time.Second
	writeTimeout      = 30 * time.Second
	idleTimeout       = 60 * time.Second
	maxHeader         = 32 << 10
	maxConns          = 500
	drainTime         = 8 * time.Second
)

// New makes a server ready to serve. Its errors are our own mistakes: a template that does
// not parse, a route without a right.
func New(cfg Config) (*Server, error) {
	if cfg.Store == nil {
		return nil, errors.New("server: no store given")
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	if err := cfg.Notify.check(); err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	s := &Server{store: cfg.Store, log: cfg.Log, cfg: cfg}
	s.hosts = map[string]bool{"localhost": true, "127.0.0.1": true, "::1": true}
	for _, h := range cfg.Hosts {
		s.hosts[canonicalHost(h)] = true
	}
	var err error
	if s.assets, err = loadAssets(); err != nil {
		return nil, err
	}
	if s.pages, err = loadPages(s.assets); err != nil {
		return nil, err
	}
	if s.api, err = openAPI(); err != nil {
		return nil, err
	}
	s.sessions = newSessions(cfg)
	s.meter()
	if s.first, err = newFirstStart(cfg); err != nil {
		return nil, err
	}
	if s.echo, err = s.router(); err != nil {
		return nil, err
	}
	return s, nil
}

// Handler is the whole server, for a test or another listener.
func (s *Server) Handler() http.Handler { return s.echo }

// Serve answers on ln until ctx ends, then stops taking connections and lets running
// requests finish for up to eight seconds. nil after such an end.
func (s *Server) Serve(ctx context.Context, ln net.Listener) error {
	srv := &http.Server{
		Handler:           s.echo,
		ReadHeaderTimeout: readHeaderTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      writeTimeout,
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          slog.NewLogLogger(s.log.Handler(), slog.LevelWarn),
	}
	told := make(chan struct{})
	notifying, stop := context.WithCancel(ctx)
	go func() { defer close(told); (&notifier{s.cfg.Notify, s.store, s.log}).run(notifying) }()
	defer func() { stop(); <-told }()
	ended := make(chan error, 1)
	go func() { ended <- srv.Serve(limit(ln, maxConns)) }()
	select {
	case err := <-ended:
		return fmt.Errorf("serving on %s: %w", ln.Addr(), err)
	case <-ctx.Done():
	}
	drain, cancel := context.WithTimeout(context.WithoutCancel(ctx), drainTime)
	defer cancel()
	if err := srv.Shutdown(drain); err != nil {
		s.log.Warn("requests cut short at the end", "error", err)
		_ = srv.Close()
	}
	<-ended
	return nil
}

// limit lets at most n connections be open at once; the next waits in the kernel's queue.
func limit(ln net.Listener, n int) net.Listener {
	return &limited{Listener: ln, slots: make(chan struct{}, n)}
}

type limited struct {
	net.Listener
	slots chan struct{}
}

func (l *limited) Accept() (net.Conn, error) {
	l.slots <- struct{}{}
	c, err := l.Listener.Accept()
	if err != nil {
		<-l.slots
		return nil, err
	}
	return &limitedConn{Conn: c, free: sync.OnceFunc(func() { <-l.slots })}, nil
}

type limitedConn struct {
	net.Conn
	free func()
}

// CloseWrite lets net/http end its own refusals so that the client still reads them.
func (c *limitedConn) CloseWrite() error {
	if w, ok := c.Conn.(interface{ CloseWrite() error }); ok {
		return w.CloseWrite()
	}
	return nil
}

func (c *limitedConn) Close() error {
	defer c.free()
	return c.Conn.Close()
}
