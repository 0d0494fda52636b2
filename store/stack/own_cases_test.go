package stack

import (
	"os"
	"slices"
	"testing"
)

// TestOwnCases compares every field of the verdicts expected in our own cases.
func TestOwnCases(t *testing.T) {
	b, err := os.ReadFile("../../testdata/stack/own_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	cases, err := ReadCases(b)
	if err != nil {
		t.Fatal(err)
	}
	wants := expected(t, b)
	if len(cases) < 24 {
		t.Fatalf("%d cases", len(cases))
	}
	for i := range cases {
		c, w := &cases[i], &wants[i]
		t.Run(c.ID, func(t *testing.T) {
			v, err := c.Check()
			if err != nil {
				t.Fatal(err)
			}
			a := v.Answer(c.ID)
			if a.Buildable != w.Buildable || !slices.Equal(a.Warnings, w.Warnings) || !slices.Equal(a.Reasons, w.Reasons) ||
				a.Available != w.AvailableOn || a.HeldBy != w.HeldBy || a.Weakest != w.Weakest || !slices.Equal(a.Parts, w.Parts) {
				t.Errorf("%s: %v %v %v, on %q with %q, weakest %q, %v;\nwant %v %v %v, on %q with %q, weakest %q, %v\n%s", c.Title, a.Buildable, a.Warnings, a.Reasons, a.Available, a.HeldBy, a.Weakest, a.Parts,
					w.Buildable, w.Warnings, w.Reasons, w.AvailableOn, w.HeldBy, w.Weakest, w.Parts, a.Note)
			}
			for name, x := range map[string]struct {
				got  Opt
				want *float64
			}{"overhang": {a.Overhang, w.Overhang}, "ratio": {a.Ratio, w.Ratio}, "clamp": {a.Clamp, w.ClampRatio}, "mass": {a.Mass, w.Mass}, "limit": {a.Limit, w.CoolantLimit}} {
				if x.got.Known != (x.want != nil) || x.want != nil && x.got.V != *x.want {
					t.Errorf("%s = %v, want %v", name, x.got, x.want)
				}
			}
			for _, o := range w.Missing {
				if !names(v.Options, o) {
					t.Errorf("no option names %v; the first is %s", o, v.Options[0].Text)
				}
			}
		})
	}
}
