package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"brasspeg/store/stack"
)

// verdicts are what the twelve jobs of the demo shop must get. They were worked out by a
// separate brute-force search over all parts of the shop, from the rules that stand in
// testdata/stack; for each missing part it was seen that it alone makes the job buildable.
var verdicts = []struct {
	job      string
	warnings []stack.Code // of a buildable job, sorted
	overhang float64      // mm to set

	reason   stack.Code     // of one that is not: why
	kind     stack.Kind     // and one part that would mend it
	requires map[string]any // with at least these sizes
	owned    string         // who has it, which job it is promised to, or why it is held back
	buy      string         // code of a catalogue part that would do
}{
	{job: "J-4101", warnings: []stack.Code{"W_LOW_EDGES"}, overhang: 120},
	{job: "J-4102", warnings: []stack.Code{"W_RE_DIFF"}, overhang: 82},
	{job: "J-4103", reason: "OUT", kind: stack.Sleeve, requires: map[string]any{"DCONMS": 40.0, "DCONWS": 20.0, "LSC_min": 60.0}, owned: "Łucja Marecka"},
	{job: "J-4104", warnings: []stack.Code{"W_HEAVY"}, overhang: 480},
	{job: "J-4105", reason: "BORE_CHAIN", kind: stack.Sleeve, requires: map[string]any{"DCONMS": 50.0, "DCONWS": 25.0, "LSC_min": 75.0}, buy: "SLV-5025D"},
	{job: "J-4106", reason: "OVERHANG_MIN", kind: stack.Bar, requires: map[string]any{"DCONMS": 40.0, "CCWS": "H40"}, owned: "shank scored"},
	{job: "J-4107", overhang: 235},
	{job: "J-4108", reason: "RESERVED", kind: stack.Sleeve, requires: map[string]any{"DCONMS": 40.0, "DCONWS": 32.0, "for_damped": true}, owned: "J-4107"},
	{job: "J-4109", warnings: []stack.Code{"W_CENTRE_HEIGHT", "W_OVERHANG_REC"}, overhang: 110},
	{job: "J-4110", reason: "COOLANT_BREAK", kind: stack.Fitting, requires: map[string]any{"CP_min": 20.0}, buy: "FIT-G14-N14"},
	{job: "J-4111", warnings: []stack.Code{"W_HEAVY"}, overhang: 360},
	{job: "J-4112", reason: "HUB", kind: stack.Head, requires: map[string]any{"CCMS": "H32", "HAND": "R", "seat": "VBMT1604", "DMIN_max": 42.0}, buy: "HED-H32-VB1604R"},
}

// Six jobs can be built and six can not, each for a reason of its own, and what is missing is
// named with its sizes, with who has it or what it costs.
func TestShopJobs(t *testing.T) {
	s := loadShop(t, demoDay)
	items, catalogue, err := s.Shelf()
	if err != nil {
		t.Fatal(err)
	}
	shelf, err := stack.NewShelf(items, catalogue)
	if err != nil {
		t.Fatal(err)
	}
	if len(verdicts) != len(s.Jobs) {
		t.Fatalf("%d jobs, %d verdicts", len(s.Jobs), len(verdicts))
	}
	yes, reasons := 0, map[stack.Code]bool{}
	for i, want := range verdicts {
		j := &s.Jobs[i]
		if j.Code != want.job {
			t.Fatalf("job %d is %s, want %s", i, j.Code, want.job)
		}
		t.Run(j.Code+" "+j.Name, func(t *testing.T) {
			req, err := s.StackRequest(j)
			if err != nil {
				t.Fatal(err)
			}
			v, err := shelf.Check(req)
			if err != nil {
				t.Fatal(err)
			}
			if want.reason == "" {
				if !v.Buildable {
					t.Fatalf("can not be built: %v", v.Reasons)
				}
				yes++
				if got := v.Warnings(); !slices.Equal(got, want.warnings) {
					t.Errorf("warnings %v, want %v", got, want.warnings)
				}
				best := v.Stacks[0]
				if best.Overhang != want.overhang {
					t.Errorf("%v set to %v mm, want %v", best.IDs(), best.Overhang, want.overhang)
				}
				for _, u := range best.Pieces {
					if u.Missing || u.Item == nil || u.Place == "" {
						t.Errorf("%s %s is not on a shelf", u.Role, u.ID())
					}
				}
				return
			}
			if v.Buildable {
				t.Fatalf("can be built with %v; it should lack: %s", v.Stacks[0].IDs(), want.reason)
			}
			var codes []stack.Code
			for _, r := range v.Reasons {
				codes = append(codes, r.Code)
				if r.Text == "" {
					t.Errorf("%s has no sentence", r.Code)
				}
			}
			if len(codes) == 0 {
				t.Error("no reason is told")
			}
			if reasons[want.reason] {
				t.Errorf("%s was another job's reason", want.reason)
			}
			reasons[want.reason] = true
			found := false
			for _, o := range v.Options {
				if len(o.Parts) == 1 && o.Parts[0].Kind == want.kind && requires(o.Parts[0].Requires(), want.requires) {
					// Reasons tell of the nearest stack of what the shop owns, which in a full shop
					// may break a rule of another kind; what the missing part would close counts too.
					if heldBy(o.Parts[0], want.owned) && sold(o.Parts[0], want.buy) {
						found = true
						if codes = append(codes, closes(o.Parts[0])); !slices.Contains(codes, want.reason) {
							t.Errorf("reasons %v, want %s", codes, want.reason)
						}
					}
				}
				for _, m := range o.Parts {
					if len(m.Needs) < 2 {
						t.Errorf("a missing %s is named by %v only", m.Kind, m.Requires())
					}
				}
			}
			if !found {
				for _, o := range v.Options {
					t.Logf("option: %s", o.Text)
					for _, m := range o.Parts {
						t.Logf("   %s %v, owned %v, sold %v", m.Kind, m.Requires(), m.Owned, m.Catalogue)
					}
				}
				t.Errorf("no option is one %s with %v (had by %q, sold as %q)", want.kind, want.requires, want.owned, want.buy)
			}
		})
	}
	if yes != 6 || len(reasons) != 6 {
		t.Errorf("%d jobs can be built and %d can not, each for its own reason; want 6 and 6", yes, len(reasons))
	}
}

func requires(got, want map[string]any) bool {
	for k, v := range want {
		if fmt.Sprint(got[k]) != fmt.Sprint(v) {
			return false
		}
	}
	return true
}

func heldBy(m stack.Missing, who string) bool {
	return who == "" || slices.ContainsFunc(m.Owned, func(b stack.Borrow) bool {
		// What is held back has no day; all else is due on one.
		return strings.Contains(b.HeldBy+" "+b.Job+" "+b.Why, who) && (b.From != "" || b.Code == "QUARANTINE")
	})
}

func sold(m stack.Missing, code string) bool {
	return code == "" || slices.ContainsFunc(m.Catalogue, func(b stack.Buy) bool {
		return b.Part.Code == code && b.Part.PriceCents.Known && b.Part.LeadDays.Known
	})
}

// closes says which joint a missing part closes, or what keeps it from being used.
func closes(m stack.Missing) stack.Code {
	if len(m.Owned) > 0 {
		return m.Owned[0].Code
	}
	return map[stack.Kind]stack.Code{stack.Sleeve: "BORE_CHAIN", stack.Head: "HUB", stack.Hose: "COOLANT_BREAK",
		stack.Fitting: "COOLANT_BREAK", stack.Holder: "INTERFACE", stack.Insert: "SEAT"}[m.Kind]
}
