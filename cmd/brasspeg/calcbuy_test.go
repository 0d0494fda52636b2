package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func askCalcBuy(t *testing.T, kind, in string, args ...string) (out, errOut string, exit int) {
	t.Helper()
	var o, e bytes.Buffer
	exit = calcBuy(kind, args, strings.NewReader(in), &o, &e)
	return o.String(), e.String(), exit
}

func TestCalcBuyWholeFiles(t *testing.T) {
	for _, tt := range []struct {
		kind, file  string
		lines, exit int
	}{
		{"order-quantity", "eoq.json", 26, 1},          // holds one case to refuse
		{"reorder-point", "reorder_point.json", 57, 1}, // holds four
		{"intermittent", "croston.json", 9, 0},
		{"demand-class", "classification.json", 11, 0},
		{"abc", "classification.json", 3, 0},
	} {
		file := filepath.Join("../../testdata/reorder", tt.file)
		out, errOut, exit := askCalcBuy(t, tt.kind, "", file, "--json")
		if n := strings.Count(out, "\n"); n != tt.lines || exit != tt.exit || errOut != "" {
			t.Errorf("calc %s %s: %d lines, exit %d, %q; want %d, %d, none", tt.kind, tt.file, n, exit, errOut, tt.lines, tt.exit)
		}
		for line := range strings.Lines(out) {
			var m map[string]any
			if err := json.Unmarshal([]byte(line), &m); err != nil || m["id"] == nil {
				t.Errorf("calc %s: %v in %s", tt.kind, err, line)
			}
		}
		raw, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if again, _, _ := askCalcBuy(t, tt.kind, string(raw), "--json"); again != out {
			t.Errorf("calc %s answers standard input differently from a file", tt.kind)
		}
		if people, _, _ := askCalcBuy(t, tt.kind, string(raw)); len(people) == 0 || strings.Contains(people, "{") {
			t.Errorf("calc %s for people: %.200s", tt.kind, people)
		}
	}
}

func TestCalcBuyInputs(t *testing.T) {
	for _, tt := range []struct {
		name, kind, in string
		args           []string
		exit           int
		says           string // on either side
	}{
		{"one case", "order-quantity", `{"id":7,"D":1000,"S":10,"H":0.5}`, []string{"--json"}, 0, `{"id":7,"Q":200,`},
		{"a list", "reorder-point", `[{"mean_ltd":4,"cycle_service":0.95}]`, []string{"--json", "-"}, 0, `"reorder_point":8`},
		{"one after the other", "demand-class", "{\"demand\":[1]}\n{\"demand\":[0]}", []string{"--json"}, 0, `"klass":"no_demand"`},
		{"byte order mark", "demand-class", "\ufeff{\"demand\":[1]}", []string{"--json"}, 0, `"smooth"`},
		{"an empty list is answered by nothing", "abc", `{"cases":[]}`, []string{"--json"}, 0, ``},
		{"95 is not 0.95", "reorder-point", `{"id":"x","mean_ltd":4,"cycle_service":95}`, []string{"--json"}, 1, `cycle_service 95: a service level lies between 0 and 1; write 0.95 if 95 % is meant`},
		{"negative lead", "reorder-point", `{"demand_per_period":4,"lead_time":-2,"cycle_service":0.9}`, nil, 1, `lead_time -2: cannot be negative`},
		{"pack of nothing", "order-quantity", `{"D":4,"S":1,"H":1,"pack":0}`, nil, 1, `pack 0: must be at least 1`},
		{"missing", "order-quantity", `{"D":4,"S":1}`, nil, 1, `H: is missing`},
		{"text for a number", "order-quantity", `{"D":"4","S":1,"H":1}`, nil, 1, `D "4": is not a number`},
		{"not an object", "abc", `17`, []string{"--json"}, 1, `"error":"case 17: is not a JSON object`},
		{"too large a number", "order-quantity", `{"D":1e999,"S":1,"H":1}`, nil, 1, `D 1e999: is not a number`},
		{"broken", "abc", `{"items":`, []string{"--json"}, 1, `not JSON after byte`},
		{"nothing", "abc", ``, nil, 1, `nothing to read`},
		{"no such file", "abc", ``, []string{"/nowhere"}, 2, `no such file`},
		{"no such flag", "abc", ``, []string{"--yaml"}, 2, `there is --json`},
		{"a status in words", "order-quantity", `{"D":0,"S":1,"H":1}`, nil, 0, `order nothing: there is no demand`},
		{"help", "abc", ``, []string{"--help"}, 0, `cutoffs`},
		{"not ours", "weibull", ``, nil, 2, `is not a buying computation`},
		{"escape sequences do not reach the terminal", "demand-class", `{"id":"\u001b[2J","demand":[1]}`, nil, 0, " [2J\n"},
	} {
		out, errOut, exit := askCalcBuy(t, tt.kind, tt.in, tt.args...)
		if exit != tt.exit || !strings.Contains(out+errOut, tt.says) || strings.ContainsRune(out, 0x1b) {
			t.Errorf("%s: exit %d, %q, %q; want %d and %q", tt.name, exit, out, errOut, tt.exit, tt.says)
		}
	}
}

// Refusing one case does not keep its neighbours from their answers.
func TestCalcBuyGoesOn(t *testing.T) {
	out, _, exit := askCalcBuy(t, "reorder-point", `[{"id":1,"mean_ltd":-1,"cycle_service":0.9},{"id":2,"mean_ltd":1,"cycle_service":0.95}]`, "--json")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if exit != 1 || len(lines) != 2 || !strings.Contains(lines[0], `"status":"invalid"`) || !strings.Contains(lines[1], `"reorder_point":3`) {
		t.Errorf("exit %d, %s", exit, out)
	}
}

// FuzzCalcBuy: no input makes it panic or answer with anything but JSON Lines.
func FuzzCalcBuy(f *testing.F) {
	f.Add("abc", `{"cases":[{"items":[["a",1,2]]}]}`)
	f.Add("order-quantity", `[{"D":1,"S":2,"H":3},4]`)
	f.Add("reorder-point", `{"mean_ltd":4,"cycle_service":0.95}{"mean_ltd":`)
	f.Fuzz(func(t *testing.T, kind, in string) {
		var out, people, e bytes.Buffer
		exit := calcBuy(kind, []string{"--json"}, strings.NewReader(in), &out, &e)
		calcBuy(kind, nil, strings.NewReader(in), &people, &e)
		for line := range strings.Lines(out.String()) {
			var m map[string]any
			if err := json.Unmarshal([]byte(line), &m); err != nil {
				t.Errorf("%v: %q", err, line)
			}
			if m["error"] != nil && exit != 1 {
				t.Errorf("exit %d for %s", exit, line)
			}
		}
	})
}
