package main

import (
	"errors"
	"fmt"
	"net"
	"time"

	"brasspeg/server"
	"brasspeg/store"
)

// exitFor is the status a failure ends with: 3 for a store that a newer program made, so
// that a service manager does not try again, else 1.
func exitFor(err error) int {
	if errors.Is(err, store.ErrNewer) {
		return 3
	}
	return 1
}

func (f storeFlags) open(e *env, create bool) (*store.Store, error) {
	return store.Open(e.ctx, store.Options{Dir: f.Data, Postgres: f.DB, Create: create, Log: e.log})
}

type initCmd struct{ storeFlags }

func (c *initCmd) Run(e *env) error {
	s, err := c.open(e, true)
	if err != nil {
		return err
	}
	defer s.Close()
	alone, err := s.Sole(e.ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.out, "The store is in %s (%s).\n", c.Data, s.Engine())
	if alone {
		fmt.Fprintf(e.out, "Nobody works here yet. Next:\n  brasspeg person add --data %s --login LOGIN --name NAME --role admin --password\n  brasspeg serve --data %s\n", c.Data, c.Data)
	}
	return nil
}

type serveCmd struct {
	storeFlags
	Listen string   `help:"Address to listen on." default:"127.0.0.1:7420" env:"BRASSPEG_LISTEN"`
	Host   []string `help:"Name under which people reach the server; may be given more than once." env:"BRASSPEG_HOSTS"`
	Cert   string   `help:"TLS certificate, PEM." type:"existingfile" env:"BRASSPEG_CERT"`
	Key    string   `help:"TLS key, PEM." type:"existingfile" env:"BRASSPEG_KEY"`

	Mail          string   `help:"SMTP server for the digest of alerts, host:port; always with TLS." env:"BRASSPEG_MAIL"`
	MailFrom      string   `help:"Sender of the digest." env:"BRASSPEG_MAIL_FROM"`
	MailTo        []string `help:"Receiver of the digest; may be given more than once." env:"BRASSPEG_MAIL_TO"`
	MailUser      string   `help:"User of the SMTP server." env:"BRASSPEG_MAIL_USER"`
	MailPassword  string   `help:"Password of that user; better from the environment." env:"BRASSPEG_MAIL_PASSWORD"`
	Webhook       string   `help:"https address that gets alerts as a signed POST." env:"BRASSPEG_WEBHOOK"`
	WebhookSecret string   `help:"Secret that signs them, 16 characters or more; better from the environment." env:"BRASSPEG_WEBHOOK_SECRET"`
}

func (c *serveCmd) notify() server.Notify {
	n := server.Notify{Mail: c.Mail, From: c.MailFrom, To: c.MailTo, User: c.MailUser, Password: c.MailPassword, Webhook: c.Webhook, Secret: c.WebhookSecret}
	if len(c.Host) > 0 && c.Cert != "" {
		n.Shop = "https://" + c.Host[0]
	}
	return n
}

func (c *serveCmd) Run(e *env) error {
	if (c.Cert == "") != (c.Key == "") {
		return errors.New("--cert and --key go together")
	}
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	e.log.Info("settings", "data", c.Data, "engine", s.Engine(), "listen", c.Listen, "hosts", c.Host, "tls", c.Cert != "", "mail", c.Mail, "webhook", c.Webhook != "")
	return serve(e, s, server.Config{Hosts: c.Host, TLS: c.Cert != "", Notify: c.notify()}, c.Listen, c.Cert, c.Key)
}

// serve serves until the context ends, then lets running requests and waiting bookings finish.
func serve(e *env, s *store.Store, cfg server.Config, listen, cert, key string) error {
	cfg.Store, cfg.Log = s, e.log
	cfg.Console = func(line string) { fmt.Fprintln(e.out, line) }
	srv, err := server.New(cfg)
	if err != nil {
		return err
	}
	ln, err := net.Listen("tcp", listen)
	if err != nil {
		return err
	}
	scheme := "http"
	if cert != "" {
		if ln, err = secure(ln, cert, key); err != nil {
			return err
		}
		scheme = "https"
	} else if h, _, err := net.SplitHostPort(listen); err == nil && !net.ParseIP(h).IsLoopback() && h != "localhost" {
		fmt.Fprintln(e.out, "WARNING: served without TLS beyond this machine; phones will have no camera, and the network can read along.")
	}
	fmt.Fprintf(e.out, "Serving %s://%s since %s. Stop with Ctrl-C.\n", scheme, ln.Addr(), time.Now().Format("15:04:05"))
	return srv.Serve(e.ctx, ln)
}
