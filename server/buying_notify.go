package server

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/wneessen/go-mail"

	"brasspeg/store"
	"brasspeg/store/reorder"
)

// A Notify says where alerts go beside the Buying page. Nothing leaves the program unless a
// way is set.
type Notify struct {
	Mail     string // host:port of the SMTP server; 465 speaks TLS from the start, others by STARTTLS. Never without
	User     string
	Password string
	From     string
	To       []string
	Webhook  string // address that gets a signed POST
	Secret   string // signs it; at least 16 characters
	Shop     string // address of this server as people reach it, for the links in a mail

	TLS   *tls.Config     // nil: the system's own roots
	Waits []time.Duration // between tries of a webhook; nil: 1 s, 10 s, 60 s
}

// check refuses settings that could never work, at the start and not at night.
func (n Notify) check() error {
	if n.Mail != "" {
		if _, _, err := net.SplitHostPort(n.Mail); err != nil {
			return fmt.Errorf("mail server %q: write it as host:port, such as mail.shop.example:587", n.Mail)
		}
		if n.From == "" || len(n.To) == 0 {
			return errors.New("mail needs a sender and at least one receiver")
		}
	}
	if n.Webhook != "" {
		u, err := url.Parse(n.Webhook)
		if err != nil || u.Host == "" || u.Scheme != "https" && !(u.Scheme == "http" && loopbackName(u.Hostname())) {
			return fmt.Errorf("webhook %q: give an https address", n.Webhook)
		}
		if len(n.Secret) < 16 {
			return errors.New("the webhook's secret has fewer than 16 characters; anybody could guess it")
		}
	}
	return nil
}

func loopbackName(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// A notifier sends what is due, each alert at most once a day and way unless it worsens.
type notifier struct {
	Notify
	store *store.Store
	log   *slog.Logger
}

// run reads buying once, so that nobody waits for it at the first page, and then looks every
// few minutes, for a worsened alert does not wait until tomorrow.
func (n *notifier) run(ctx context.Context) {
	if _, err := n.store.Buying(ctx); err != nil && ctx.Err() == nil {
		n.log.Error("buying can not be worked out", "error", err)
	}
	if n.Mail == "" && n.Webhook == "" {
		return
	}
	t := time.NewTicker(5 * time.Minute)
	defer t.Stop()
	for {
		if err := n.tick(ctx); err != nil && ctx.Err() == nil {
			n.log.Error("alerts not sent", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

// tick sends on each way what is due there. A way that fails is tried again at the next tick.
func (n *notifier) tick(ctx context.Context) error {
	var failed []error
	for _, way := range []struct {
		name string
		on   bool
		send func(context.Context, []*store.BuyLine) error
	}{{"mail", n.Mail != "", n.mail}, {"webhook", n.Webhook != "", n.hook}} {
		if !way.on {
			continue
		}
		due, err := n.store.AlertsDue(ctx, way.name)
		if err == nil && len(due) > 0 {
			if err = way.send(ctx, due); err == nil {
				err = n.store.AlertsSent(context.WithoutCancel(ctx), way.name, due)
				n.log.Info("alerts sent", "way", way.name, "alerts", len(due))
			}
		}
		if err != nil {
			failed = append(failed, fmt.Errorf("%s: %w", way.name, err))
		}
	}
	return errors.Join(failed...)
}

// mail sends one digest of all that is due.
func (n *notifier) mail(ctx context.Context, due []*store.BuyLine) error {
	m := mail.NewMsg()
	if err := m.From(n.From); err != nil {
		return fmt.Errorf("sender %q: %w", n.From, err)
	}
	if err := m.To(n.To...); err != nil {
		return fmt.Errorf("receivers: %w", err)
	}
	m.Subject(digestSubject(due))
	m.SetDate()
	m.SetMessageID()
	m.SetBodyString(mail.TypeTextPlain, n.digest(due))
	host, portText, err := net.SplitHostPort(n.Mail)
	if err != nil {
		return err
	}
	port, err := strconv.Atoi(portText)
	if err != nil {
		return err
	}
	opts := []mail.Option{mail.WithPort(port), mail.WithTLSPolicy(mail.TLSMandatory), mail.WithTimeout(20 * time.Second)}
	if port == 465 {
		opts = append(opts, mail.WithSSL())
	}
	if n.TLS != nil {
		opts = append(opts, mail.WithTLSConfig(n.TLS))
	}
	if n.User != "" {
		opts = append(opts, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(n.User), mail.WithPassword(n.Password))
	}
	c, err := mail.NewClient(host, opts...)
	if err != nil {
		return err
	}
	return c.DialAndSendWithContext(ctx, m)
}

func digestSubject(due []*store.BuyLine) string {
	late, today := 0, 0
	for _, l := range due {
		switch l.Advice.Alert.Level {
		case reorder.LateAlready:
			late++
		case reorder.OrderToday:
			today++
		}
	}
	return fmt.Sprintf("Crib: %d late, %d to order today, %d in all", late, today, len(due))
}

// digest is the text of a mail: the sentences, the worst first.
func (n *notifier) digest(due []*store.BuyLine) string {
	var b strings.Builder
	last := reorder.Level(-1)
	for i, l := range due {
		if i == 200 {
			fmt.Fprintf(&b, "\nand %d more on the Buying page.\n", len(due)-i)
			break
		}
		if v := l.Advice.Alert.Level; v != last {
			fmt.Fprintf(&b, "\n%s\n", strings.ToUpper(v.String()))
			last = v
		}
		fmt.Fprintf(&b, "- %s\n", printable(l.Advice.Alert.Sentence))
	}
	if n.Shop != "" {
		fmt.Fprintf(&b, "\n%s/buying\n", strings.TrimRight(n.Shop, "/"))
	}
	b.WriteString("\nAn alert comes once a day, again the same day only when it gets worse; let it sleep on its page.\n")
	return strings.TrimLeft(b.String(), "\n")
}

// A hookBody is what a webhook gets.
type hookBody struct {
	Event  string    `json:"event"`
	Day    string    `json:"day"`
	Alerts []buyView `json:"alerts"`
}

// The headers of a webhook. The signature is the HMAC-SHA256 of timestamp, a point, and the
// body, in hex: who checks it and the age of the timestamp knows that it is ours and new.
const (
	hookDelivery  = "X-Brasspeg-Delivery" // the same for every try
	hookTimestamp = "X-Brasspeg-Timestamp"
	hookSignature = "X-Brasspeg-Signature"
)

func sign(secret, timestamp string, body []byte) string {
	h := hmac.New(sha256.New, []byte(secret))
	h.Write([]byte(timestamp + "."))
	h.Write(body)
	return "sha256=" + hex.EncodeToString(h.Sum(nil))
}

// hook posts what is due, and tries again where the other side may recover. Redirects are not
// followed: a signed body goes to the address that was set and no other.
func (n *notifier) hook(ctx context.Context, due []*store.BuyLine) error {
	in := hookBody{Event: "buying.alerts", Day: string(n.store.Today()), Alerts: []buyView{}}
	for _, l := range due {
		in.Alerts = append(in.Alerts, buyViewOf(l))
	}
	body, err := json.Marshal(in)
	if err != nil {
		return err
	}
	waits := n.Waits
	if waits == nil {
		waits = []time.Duration{time.Second, 10 * time.Second, time.Minute}
	}
	client := &http.Client{Timeout: 20 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	if n.TLS != nil {
		client.Transport = &http.Transport{TLSClientConfig: n.TLS}
	}
	id := uuid.NewString()
	for try := 0; ; try++ {
		again, err := n.post(ctx, client, id, body)
		if err == nil || !again || try >= len(waits) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(waits[try]):
		}
	}
}

// post sends once. again: another try may help.
func (n *notifier) post(ctx context.Context, client *http.Client, id string, body []byte) (again bool, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, n.Webhook, bytes.NewReader(body))
	if err != nil {
		return false, err
	}
	stamp := strconv.FormatInt(n.store.Now().Unix(), 10)
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set(hookDelivery, id)
	req.Header.Set(hookTimestamp, stamp)
	req.Header.Set(hookSignature, sign(n.Secret, stamp, body))
	resp, err := client.Do(req)
	if err != nil {
		return true, err
	}
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, 1<<16))
	if resp.StatusCode/100 == 2 {
		return false, nil
	}
	again = resp.StatusCode >= 500 || resp.StatusCode == http.StatusTooManyRequests || resp.StatusCode == http.StatusRequestTimeout
	return again, fmt.Errorf("the other side answered %d", resp.StatusCode)
}
