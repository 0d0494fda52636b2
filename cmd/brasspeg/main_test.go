package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// program runs the whole program as main does.
func program(t *testing.T, in string, args ...string) (out, errOut string, err error) {
	t.Helper()
	var o, e bytes.Buffer
	err = run(t.Context(), args, func(string) string { return "" }, strings.NewReader(in), &o, &e)
	return o.String(), e.String(), err
}

// A shop begins: a store is made, people and a token are added, it is verified, copied while
// nobody is in it, put back, and verified again.
func TestFirstHour(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "crib")
	copied := filepath.Join(t.TempDir(), "copy.db")
	for _, tt := range []struct {
		in   string
		args []string
		want string // a pattern the output must meet
	}{
		{"", []string{"init", "--data", dir}, `Nobody works here yet`},
		{"a long enough password\n", []string{"person", "add", "--data", dir, "--login", "ada", "--name", "Ada Lund", "--role", "admin", "--password"}, `Ada Lund, admin\. Badge, shown only now: W[A-Z2-9]{16}[0-9A-Z]\n`},
		{"482913\n", []string{"person", "add", "--data", dir, "--login", "gil", "--name", "Gil Orde", "--role", "attendant", "--pin"}, `Gil Orde`},
		{"", []string{"person", "list", "--data", dir}, `ada +admin +Ada Lund`},
		{"", []string{"token", "add", "--data", dir, "--name", "scale", "--person", "gil"}, `^bpg_[a-z0-9]{20,}\n$`},
		{"", []string{"token", "end", "--data", dir, "scale"}, `^$`},
		{"", []string{"stack", "--data", dir}, `0 of 0 jobs can be built: none`},
		{"", []string{"verify", "--data", dir}, `The store holds together`},
		{"", []string{"backup", "--data", dir, copied}, `holds the ledger up to movement 0`},
		{"", []string{"restore", "--data", dir, copied}, `is in place`},
		{"", []string{"person", "left", "--data", dir, "gil"}, `^$`},
		{"", []string{"verify", "--data", dir}, `The store holds together`},
	} {
		out, errOut, err := program(t, tt.in, tt.args...)
		if err != nil {
			t.Fatalf("%v: %v\n%s", tt.args, err, errOut)
		}
		if !regexp.MustCompile(tt.want).MatchString(out) {
			t.Errorf("%v printed %q, want %s", tt.args, out, tt.want)
		}
	}
}

// What is wrong is said in a sentence, ends with status 1, and changes nothing.
func TestRefusals(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "crib")
	if _, _, err := program(t, "", "init", "--data", dir); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		in   string
		args []string
		says string
	}{
		{"", []string{"verify", "--data", filepath.Join(dir, "nowhere")}, "brasspeg init"},
		{"short\n", []string{"person", "add", "--data", dir, "--login", "x", "--name", "X", "--role", "admin", "--password"}, "12 to 128"},
		{"111111\n", []string{"person", "add", "--data", dir, "--login", "x", "--name", "X", "--role", "operator", "--pin"}, "guessed first"},
		{"", []string{"person", "add", "--data", dir, "--login", "x", "--name", "X", "--role", "king"}, "role"},
		{"", []string{"token", "add", "--data", dir, "--name", "scale", "--person", "nobody"}, "nobody"},
		{"", []string{"restore", "--data", dir, os.Args[0]}, "damaged"},
		{"", []string{"frobnicate"}, "frobnicate"},
		{"", []string{"serve", "--data", dir, "--cert", os.Args[0]}, "--key"},
	} {
		_, _, err := program(t, tt.in, tt.args...)
		if err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%v: %v, want it to say %q", tt.args, err, tt.says)
		}
		if err != nil && exitFor(err) != 1 {
			t.Errorf("%v ends with status %d", tt.args, exitFor(err))
		}
	}
	out, _, err := program(t, "", "person", "list", "--data", dir)
	if err != nil || out != "" {
		t.Errorf("after the refusals there are people: %q, %v", out, err)
	}
}

// serve answers, and ends cleanly when it is told to.
func TestServe(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "crib")
	if _, _, err := program(t, "", "init", "--data", dir); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	r, w := io.Pipe()
	ended := make(chan error, 1)
	go func() {
		ended <- run(ctx, []string{"serve", "--data", dir, "--listen", "127.0.0.1:0"}, func(string) string { return "" }, strings.NewReader(""), w, io.Discard)
		w.Close()
	}()
	said := make([]byte, 0, 4096)
	buf := make([]byte, 1024)
	url := regexp.MustCompile(`http://127\.0\.0\.1:\d+`)
	for !url.Match(said) {
		n, err := r.Read(buf)
		if err != nil {
			t.Fatalf("serve said %q and then %v", said, err)
		}
		said = append(said, buf[:n]...)
	}
	go io.Copy(io.Discard, r)
	res, err := http.Get(url.FindString(string(said)) + "/readyz")
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusOK {
		t.Errorf("/readyz answers %d", res.StatusCode)
	}
	if _, _, err := program(t, "", "verify", "--data", dir); err == nil || !strings.Contains(err.Error(), "in use") {
		t.Errorf("a second program on a served store: %v, want it to say that it is in use", err)
	}
	stop()
	select {
	case err := <-ended:
		if err != nil && !errors.Is(err, context.Canceled) {
			t.Errorf("serve ended with %v", err)
		}
	case <-time.After(15 * time.Second):
		t.Error("serve did not end")
	}
}
