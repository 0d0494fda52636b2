package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"brasspeg/store/stack"
)

// TestWaysOutTellTheirFacts: of a missing sleeve each way to get one is told with all its facts,
// in the verdict, in the JSON and in print: what it is with its sizes, who has it for which job
// and till when, since when it is on order, why it is held back, price and lead time, and the
// earliest day the job can be built.
func TestWaysOutTellTheirFacts(t *testing.T) {
	const sleeve = `{"kind":"sleeve","id":"%ID%","DCONMS":50,"DCONWS":25,"LSC":102,"index":"scribe","WT":0.7,"designation":"50/25 x 102"%MORE%}`
	made := func(id, more string) string {
		return strings.NewReplacer("%ID%", id, "%MORE%", more).Replace(sleeve)
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	const sizes = "a sleeve: outside 50 mm, inside 25 mm, gripping at least 75 mm"
	for _, tt := range []struct {
		class, on, book string // the sleeve, on hand or in the catalogue
		state           stack.Code
		earliest        stack.Date
		says            string // the sentence on where it is
		facts           []string
	}{
		{"out", made("SLV-1", `,"status":"out","out":{"to":"Brisa Holm","job":"J-77","due":"2026-03-19"}`), "", "OUT", "2026-03-19",
			"SLV-1 is out with Brisa Holm for job J-77, due back on 2026-03-19",
			[]string{`"item":"SLV-1"`, `"held_by":"Brisa Holm"`, `"job":"J-77"`, `"from":"2026-03-19"`}},
		{"reserved", made("SLV-1", `,"status":"in","reserved":[{"job":"J-78","from":"2026-03-15","to":"2026-03-20"}]`), "", "RESERVED", "2026-03-21",
			"SLV-1 is on the shelf but promised to job J-78 from 2026-03-15 to 2026-03-20; can be had on 2026-03-21",
			[]string{`"item":"SLV-1"`, `"job":"J-78"`, `"from":"2026-03-21"`}},
		{"held back", made("SLV-1", `,"status":"quarantine","why":"bore scored, to be measured"`), "", "QUARANTINE", "",
			"SLV-1 is held back: bore scored, to be measured", []string{`"item":"SLV-1"`, `"why":"bore scored, to be measured"`}},
		{"on order", made("SLV-1", `,"status":"on_order","ordered":"2026-03-02","due":"2026-03-24"`), "", "ON_ORDER", "2026-03-24",
			"SLV-1 is on order since 2026-03-02, expected on 2026-03-24", []string{`"item":"SLV-1"`, `"ordered":"2026-03-02"`, `"from":"2026-03-24"`}},
		{"catalogue", "", made("SLV-5025", `,"price_cents":21800,"currency":"EUR","lead_days":8`), "CATALOGUE", "2026-03-18",
			"can be bought: SLV-5025 50/25 x 102, 218.00 EUR, 8 days",
			[]string{`"part":"SLV-5025"`, `"price_cents":21800`, `"currency":"EUR"`, `"lead_days":8`}},
		{"unrecorded", "", "", "", "", "nobody has recorded such a sleeve; its sizes are what to ask for", nil},
	} {
		on := []string{`{"kind":"holder","id":"HLD","interface":"VDI50","DCONWS":50,"LSC":150,"clamp":"split","WT":4,"status":"in"}`,
			`{"kind":"bar","id":"BAR","DCONMS":25,"construction":"carbide","OAL":240,"CCWS":"H32","WT":1.5,"status":"in"}`,
			`{"kind":"head","id":"HED","CCMS":"H32","HAND":"R","DMIN":38,"seat":"CCMT09T3","LF":30,"WT":0.4,"status":"in"}`,
			`{"kind":"insert","id":"INS","seat":"CCMT09T3","RE":0.4,"edges":2,"qty":4,"status":"in"}`}
		if tt.on != "" {
			on = append(on, tt.on)
		}
		text := `{"id":"way","request":{"today":"2026-03-10","need_date":"2026-03-16","station":{"interface":"VDI50"},"bore_start_d":40,"depth":110,"clearance":20,` +
			`"hand":"R","insert":{"seat":"CCMT09T3"}},"on_hand":[` + strings.Join(on, ",") + `],"catalogue":[` + tt.book + `]}`
		cases, err := stack.ReadCases([]byte(text))
		must(err)
		v, err := cases[0].Check()
		must(err)
		if v.Buildable || len(v.Options) == 0 || v.Options[0].Text != sizes || v.Options[0].Earliest != tt.earliest {
			t.Errorf("%s: %s, earliest %q; want %s, %q", tt.class, v.Sentence(), v.Options[0].Earliest, sizes, tt.earliest)
			continue
		}
		var out, errOut bytes.Buffer
		if exit := stackCases(nil, strings.NewReader(text), &out, &errOut); exit != 0 {
			t.Fatalf("%s: exit %d, %s", tt.class, exit, errOut.String())
		}
		print := out.String()
		lines := []string{"would do (1): " + sizes, tt.says}
		if tt.earliest != "" {
			lines = append(lines, "earliest day it can be built: "+string(tt.earliest))
		}
		for _, want := range lines {
			if strings.Count(print, "  "+want+"\n") != 1 {
				t.Errorf("%s: not once in print: %q\n%s", tt.class, want, print)
			}
		}
		out.Reset()
		if exit := stackCases([]string{"--json"}, strings.NewReader(text), &out, &errOut); exit != 0 {
			t.Fatalf("%s: exit %d, %s", tt.class, exit, errOut.String())
		}
		var got struct {
			Missing [][]struct{ Requires map[string]any }
			Options []struct {
				Text     string
				Earliest stack.Date
				Supplies []json.RawMessage
			}
		}
		must(json.Unmarshal(out.Bytes(), &got))
		o := got.Options[0]
		if o.Text != sizes || o.Earliest != tt.earliest || got.Missing[0][0].Requires["DCONMS"] != 50.0 || got.Missing[0][0].Requires["DCONWS"] != 25.0 || got.Missing[0][0].Requires["LSC_min"] != 75.0 {
			t.Errorf("%s: JSON says %+v, %v", tt.class, o, got.Missing[0])
		}
		if tt.state == "" {
			if len(o.Supplies) > 0 {
				t.Errorf("%s: supplied by %s", tt.class, o.Supplies)
			}
			continue
		}
		if len(o.Supplies) != 1 {
			t.Fatalf("%s: %d supplies", tt.class, len(o.Supplies))
		}
		for _, want := range append(tt.facts, `"kind":"sleeve"`, `"state":"`+string(tt.state)+`"`) {
			if !strings.Contains(string(o.Supplies[0]), want) {
				t.Errorf("%s: %s is not in %s", tt.class, want, o.Supplies[0])
			}
		}
	}
}

// TestStackPrintsFigures: an overhang is printed to the last digit in mm and inch, and a coolant
// line of which a rating is not recorded says so.
func TestStackPrintsFigures(t *testing.T) {
	const text = `{"id":"far","request":{"need_date":"2026-03-16","station":{"interface":"VDI50","coolant_max_bar":70},"bore_start_d":150,"depth":1200.25,"clearance":34.5,` +
		`"hand":"R","insert":{"seat":"CNMG1204"},"coolant":true,"coolant_bar":0},"on_hand":[` +
		`{"kind":"holder","id":"HLD","interface":"VDI50","DCONWS":100,"LSC":450,"clamp":"split","WT":14,"status":"in","coolant":"through","CP":80},` +
		`{"kind":"bar","id":"BAR","DCONMS":100,"construction":"damped_carbide","OAL":1700,"CCWS":"H80","WT":90,"status":"in","coolant":true,"coolant_in":["bore"]},` +
		`{"kind":"head","id":"HED","CCMS":"H80","HAND":"R","DMIN":140,"seat":"CNMG1204","LF":60,"WT":3,"status":"in","coolant":true,"CP":80},` +
		`{"kind":"insert","id":"INS","seat":"CNMG1204","RE":0.8,"edges":4,"qty":4,"status":"in"}]}`
	var out, errOut bytes.Buffer
	if exit := stackCases(nil, strings.NewReader(text), &out, &errOut); exit != 0 {
		t.Fatalf("exit %d, %s", exit, errOut.String())
	}
	for _, want := range []string{"set it 1234.75 mm (48.6122 in) out, 12.348 x D\n", "station > HLD > BAR > HED: the rating of BAR is not recorded\n"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in print:\n%s", want, out.String())
		}
	}
}
