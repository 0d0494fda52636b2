package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Through the whole command line: flags reach the computation wherever they stand, and calc
// alone says what it knows.
func TestCalcFlagsInAnyOrder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "runs.csv")
	if err := os.WriteFile(file, []byte("parts,reason\n52,worn\n60,worn\n66,worn\n71,worn\n75,worn\n79,worn\n84,worn\n90,worn\n99,worn\n104,worn\n60,planned\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	calc := func(args ...string) (string, string, error) {
		var out, errOut bytes.Buffer
		err := run(t.Context(), append([]string{"calc"}, args...), func(string) string { return "" }, strings.NewReader(""), &out, &errOut)
		return out.String(), errOut.String(), err
	}
	first := ""
	for _, args := range [][]string{
		{"change-interval", file, "--planned", "4.2", "--unplanned", "60", "--json"},
		{"change-interval", "--json", "--planned=4.2", "--unplanned=60", file},
		{"change-interval", "--planned", "4.2", file, "--json", "--unplanned", "60"},
		{"--json", "change-interval", file, "--unplanned", "60", "--planned", "4.2"},
		{"--planned", "4.2", "--unplanned", "60", "--json", "change-interval", file},
	} {
		out, errOut, err := calc(args...)
		if err != nil || !strings.HasPrefix(out, "{") || first != "" && out != first {
			t.Errorf("calc %v: %v, %q, %q; want the same as the first, %q", args, err, out, errOut, first)
		}
		if first == "" {
			first = out
		}
	}
	for _, args := range [][]string{nil, {"--json"}, {"weibul"}} {
		_, errOut, err := calc(args...)
		if !errors.Is(err, exitCode(2)) {
			t.Errorf("calc %v: %v, want exit status 2", args, err)
		}
		for _, kind := range []string{"weibull", "survival", "taylor", "change-interval", "few-lives", "job-inserts", "abc"} {
			if !strings.Contains(errOut, kind) {
				t.Errorf("calc %v does not name %s: %q", args, kind, errOut)
			}
		}
	}
	if out, _, err := calc("--help"); err != nil || !strings.Contains(out, "job-inserts") {
		t.Errorf("calc --help: %v, %q", err, out)
	}
}
