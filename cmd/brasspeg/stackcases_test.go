package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"
)

// TestStackCasesJSON answers the reference file as a program would read it.
func TestStackCasesJSON(t *testing.T) {
	const path = "../../testdata/stack/stack_cases.json"
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID       string
			Expected struct {
				Buildable bool
				Warnings  []string
				Reasons   []string
				Parts     []string
				Mass      float64 `json:"mass_kg"`
				Ratio     float64 `json:"overhang_ratio"`
				Clamp     float64 `json:"clamp_ratio"`
			}
		}
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	for _, way := range [][]string{{path, "--json"}, {"--json"}} {
		var out, errOut bytes.Buffer
		if exit := stackCases(way, bytes.NewReader(text), &out, &errOut); exit != 0 {
			t.Fatalf("exit %d: %s", exit, errOut.String())
		}
		lines := bufio.NewScanner(&out)
		lines.Buffer(nil, 1<<20)
		for _, c := range file.Cases {
			if !lines.Scan() {
				t.Fatalf("%v: no line for %s", way, c.ID)
			}
			var got struct {
				ID        string
				Buildable bool
				Warnings  []string
				Reasons   []string
				Parts     []string
				Mass      float64 `json:"mass_kg"`
				Ratio     float64 `json:"overhang_ratio"`
				Clamp     float64 `json:"clamp_ratio"`
				Missing   [][]struct {
					Kind     string
					Requires map[string]any
				}
			}
			if err := json.Unmarshal(lines.Bytes(), &got); err != nil {
				t.Fatalf("%s: %v", c.ID, err)
			}
			w := c.Expected
			if got.ID != c.ID || got.Buildable != w.Buildable || !slices.Equal(got.Warnings, w.Warnings) || !slices.Equal(got.Reasons, w.Reasons) ||
				!slices.Equal(got.Parts, w.Parts) || got.Mass != w.Mass || got.Ratio != w.Ratio || got.Clamp != w.Clamp {
				t.Errorf("%s: got %+v, want %+v", c.ID, got, w)
			}
			if got.Buildable != (len(got.Missing) == 0) {
				t.Errorf("%s: buildable %v with %d options", c.ID, got.Buildable, len(got.Missing))
			}
		}
	}
}

// TestStackCasesRefused: a fault is named with its field and line, the other cases are
// answered, and the exit status tells.
func TestStackCasesRefused(t *testing.T) {
	good := `{"id":"ok","request":{"need_date":"2026-03-16","station":{"interface":"VDI50"},"bore_start_d":40,"depth":100,"clearance":10,"hand":"R","insert":{"seat":"CCMT09T3"}},"on_hand":[]}`
	typo := "{\"id\":\"typo\",\"request\":{\"need_date\":\"2026-03-16\",\n\"station\":{\"interface\":\"VDI50\"},\n\"bore_start_d\":40,\"dept\":100,\n\"clearance\":10,\"hand\":\"R\",\"insert\":{\"seat\":\"CCMT09T3\"}},\"on_hand\":[]}"
	var out, errOut bytes.Buffer
	exit := stackCases([]string{"--json"}, strings.NewReader("["+typo+",\n"+good+"]"), &out, &errOut)
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if exit != 1 || len(lines) != 2 {
		t.Fatalf("exit %d, %d lines: %s", exit, len(lines), out.String())
	}
	for _, w := range []string{`"id":"typo"`, "request.dept", "depth", `"line":3`} {
		if !strings.Contains(lines[0], w) {
			t.Errorf("%q is not in %s", w, lines[0])
		}
	}
	if !strings.Contains(lines[1], `"id":"ok"`) || strings.Contains(lines[1], `"error"`) {
		t.Errorf("the good case: %s", lines[1])
	}
	for _, bad := range []string{"", "{", "[1]", `{"cases":3}`, "nonsense", `"text"`, "[[]]"} {
		out.Reset()
		if exit := stackCases([]string{"--json"}, strings.NewReader(bad), &out, &errOut); exit != 1 || !strings.Contains(out.String(), `"error"`) {
			t.Errorf("%q: exit %d, %s", bad, exit, out.String())
		}
	}
	if exit := stackCases([]string{"--no-such"}, strings.NewReader(good), &out, &errOut); exit != 2 {
		t.Errorf("an unknown flag: exit %d", exit)
	}
	out.Reset()
	if exit := stackCases(nil, strings.NewReader(good), &out, &errOut); exit != 0 || !strings.Contains(out.String(), "cannot be built") {
		t.Errorf("for people: exit %d, %s", exit, out.String())
	}
}
