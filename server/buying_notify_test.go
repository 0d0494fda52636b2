package server

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"brasspeg/store"
)

// hungry is a shop in which a job will stop for want of inserts.
func hungry(t *testing.T) (*shop, store.Part) {
	t.Helper()
	sh := newShop(t)
	p, err := sh.store.PartByCode(t.Context(), "INS-D11-08")
	must(t, err)
	_, err = sh.store.SaveJob(t.Context(), sh.people["mads"].ID, store.Job{Code: "J-5", FromDay: "2026-12-20", ToDay: "2026-12-21", PartsQty: 10,
		Request: `{"edges_needed": 400, "insert": {"seat": "DCMT11T3", "RE": 0.8}}`})
	must(t, err)
	return sh, p
}

func worsen(t *testing.T, sh *shop) {
	t.Helper()
	_, err := sh.store.SaveJob(t.Context(), sh.people["mads"].ID, store.Job{Code: "J-6", FromDay: "2026-11-27", ToDay: "2026-11-28", PartsQty: 10,
		Request: `{"edges_needed": 90, "insert": {"seat": "DCMT11T3", "RE": 0.8}}`})
	must(t, err)
}

// A mailbox is a real SMTP server on loopback that keeps what it gets.
type mailbox struct {
	mu      sync.Mutex
	letters []letter
	refuse  bool
}

type letter struct {
	from, to, text string
	tls            bool
}

func (m *mailbox) NewSession(c *smtp.Conn) (smtp.Session, error) {
	_, ok := c.TLSConnectionState()
	return &postman{box: m, l: letter{tls: ok}}, nil
}

type postman struct {
	box *mailbox
	l   letter
}

func (p *postman) Reset()        {}
func (p *postman) Logout() error { return nil }
func (p *postman) Mail(from string, _ *smtp.MailOptions) error {
	p.l.from = from
	return nil
}
func (p *postman) Rcpt(to string, _ *smtp.RcptOptions) error {
	p.l.to += to + " "
	return nil
}
func (p *postman) Data(r io.Reader) error {
	b, err := io.ReadAll(r)
	p.box.mu.Lock()
	defer p.box.mu.Unlock()
	if p.box.refuse {
		return &smtp.SMTPError{Code: 451, Message: "try later"}
	}
	p.l.text = string(b)
	p.box.letters = append(p.box.letters, p.l)
	return err
}

// ownCert makes a certificate for loopback and the roots that know it.
func ownCert(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(t, err)
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "loopback"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &key.PublicKey, key)
	must(t, err)
	cert, err := x509.ParseCertificate(der)
	must(t, err)
	pool := x509.NewCertPool()
	pool.AddCert(cert)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

func (m *mailbox) serve(t *testing.T, cert *tls.Certificate) string {
	t.Helper()
	s := smtp.NewServer(m)
	s.Domain = "localhost"
	if cert != nil {
		s.TLSConfig = &tls.Config{Certificates: []tls.Certificate{*cert}}
	}
	ln := listen(t)
	go func() { _ = s.Serve(ln) }()
	t.Cleanup(func() { _ = s.Close() })
	return ln.Addr().String()
}

func (sh *shop) notifier(n Notify) *notifier {
	sh.t.Helper()
	must(sh.t, n.check())
	return &notifier{Notify: n, store: sh.store, log: slog.New(slog.DiscardHandler)}
}

// The digest goes out by a real SMTP server, encrypted, once a day and again when it worsens.
func TestDigestByMail(t *testing.T) {
	sh, _ := hungry(t)
	cert, roots := ownCert(t)
	box := &mailbox{}
	n := sh.notifier(Notify{Mail: box.serve(t, &cert), From: "crib@shop.example", To: []string{"mads@shop.example", "buy@shop.example"}, TLS: &tls.Config{RootCAs: roots, ServerName: "127.0.0.1"}, Shop: "https://crib.shop.example"})
	ctx := t.Context()
	box.refuse = true
	if err := n.tick(ctx); err == nil {
		t.Error("a refused mail is no failure")
	}
	box.refuse = false
	for range 3 {
		must(t, n.tick(ctx))
	}
	if len(box.letters) != 1 {
		t.Fatalf("%d mails on one day, want 1", len(box.letters))
	}
	l := box.letters[0]
	if !l.tls || l.from != "crib@shop.example" || l.to != "mads@shop.example buy@shop.example " {
		t.Errorf("mail %+v", l)
	}
	text := strings.ReplaceAll(strings.ReplaceAll(l.text, "=\r\n", ""), "\r\n", "\n") // quoted-printable
	for _, want := range []string{"DCMT 11T308", "J-5 needs 400", "https://crib.shop.example/buying", "Subject: Crib:"} {
		if !strings.Contains(text, want) {
			t.Errorf("the mail lacks %q: %s", want, text)
		}
	}
	worsen(t, sh)
	must(t, n.tick(ctx))
	must(t, n.tick(ctx))
	if len(box.letters) != 2 {
		t.Errorf("%d mails after the alert worsened, want 2", len(box.letters))
	}
	sh.now = sh.now.AddDate(0, 0, 1)
	must(t, n.tick(ctx))
	if len(box.letters) != 3 {
		t.Errorf("%d mails on the next day, want 3", len(box.letters))
	}
}

// Without encryption nothing is said, and a stranger's certificate is not believed.
func TestMailNeverInClear(t *testing.T) {
	sh, _ := hungry(t)
	cert, _ := ownCert(t)
	for name, cert := range map[string]*tls.Certificate{"no TLS": nil, "a stranger": &cert} {
		box := &mailbox{}
		n := sh.notifier(Notify{Mail: box.serve(t, cert), From: "a@b.example", To: []string{"c@d.example"}})
		if err := n.tick(t.Context()); err == nil || len(box.letters) != 0 {
			t.Errorf("%s: %v, %d mails", name, err, len(box.letters))
		}
	}
}

// The webhook is signed, tried again where that may help, and sent once a day.
func TestWebhook(t *testing.T) {
	sh, _ := hungry(t)
	const secret = "a secret of the shop"
	answers := []int{503, 500, 204}
	var ids []string
	var bodies [][]byte
	other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		if r.Header.Get(hookSignature) != sign(secret, r.Header.Get(hookTimestamp), b) || r.Header.Get(hookTimestamp) == "" {
			t.Errorf("signature %q", r.Header.Get(hookSignature))
		}
		ids, bodies = append(ids, r.Header.Get(hookDelivery)), append(bodies, b)
		w.WriteHeader(answers[min(len(ids), len(answers))-1])
	}))
	defer other.Close()
	n := sh.notifier(Notify{Webhook: other.URL, Secret: secret, Waits: []time.Duration{0, 0}})
	for range 3 {
		must(t, n.tick(t.Context()))
	}
	if len(ids) != 3 || ids[0] != ids[1] || ids[1] != ids[2] {
		t.Fatalf("deliveries %v; want one, tried three times", ids)
	}
	var got hookBody
	must(t, json.Unmarshal(bodies[2], &got))
	if got.Event != "buying.alerts" || len(got.Alerts) == 0 || got.Alerts[0].Part != "INS-D11-08" || got.Alerts[0].Sentence == "" {
		t.Errorf("%+v", got)
	}
	if sign("another secret of it", "1", []byte("x")) == sign(secret, "1", []byte("x")) || sign(secret, "1", []byte("x")) == sign(secret, "2", []byte("x")) {
		t.Error("the signature does not depend on secret and time")
	}
	// A no is a no: it is not tried again at once, and not taken for sent.
	answers = []int{400}
	ids = nil
	worsen(t, sh)
	if err := n.tick(t.Context()); err == nil || len(ids) != 1 {
		t.Errorf("after a 400: %v, %d tries", err, len(ids))
	}
	answers = []int{200}
	ids = nil
	must(t, n.tick(t.Context()))
	if len(ids) != 1 {
		t.Errorf("what was refused is sent %d times later, want 1", len(ids))
	}
	// What sleeps is not sent.
	p, err := sh.store.PartByCode(t.Context(), "INS-D11-08")
	must(t, err)
	sh.now = sh.now.AddDate(0, 0, 1)
	_, err = sh.store.Snooze(t.Context(), sh.op("mads"), p.ID, "the customer waits", "2026-12-01")
	must(t, err)
	due, err := sh.store.AlertsDue(context.Background(), "webhook")
	must(t, err)
	for _, l := range due {
		if l.Code == "INS-D11-08" {
			t.Error("a sleeping alert is due")
		}
	}
}

func TestNotifySettings(t *testing.T) {
	for name, n := range map[string]Notify{
		"no port":      {Mail: "mail.example", From: "a@b.example", To: []string{"c@d.example"}},
		"no receiver":  {Mail: "mail.example:587", From: "a@b.example"},
		"in clear":     {Webhook: "http://elsewhere.example/x", Secret: "0123456789abcdef"},
		"short secret": {Webhook: "https://elsewhere.example/x", Secret: "short"},
		"no address":   {Webhook: "ftp:", Secret: "0123456789abcdef"},
	} {
		if n.check() == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if err := (Notify{}).check(); err != nil {
		t.Errorf("no way at all: %v", err)
	}
}
