package stack

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// What goes on this bar? Expected by the rules of Mates: a diameter within 0.02 mm, a coupling
// and a pocket by code, a thread by name and the other gender; 31.75 is not 32.
func TestNeighbours(t *testing.T) {
	var parts []*Part
	for _, flat := range []map[string]any{
		{"kind": "holder", "id": "HLD-40", "interface": "VDI50", "DCONWS": 40.0, "LSC": 160.0, "clamp": "split"},
		{"kind": "holder", "id": "HLD-32", "interface": "VDI50", "DCONWS": 32.0, "LSC": 160.0, "clamp": "split"},
		{"kind": "sleeve", "id": "SLV-40-32", "DCONMS": 40.0, "DCONWS": 32.0, "LSC": 130.0, "type": "split"},
		{"kind": "sleeve", "id": "SLV-40-IN", "DCONMS": 40.0, "DCONWS": 31.75, "LSC": 130.0, "type": "split"},
		{"kind": "bar", "id": "BAR-32", "DCONMS": 32.0, "construction": "steel", "OAL": 300.0, "CCWS": "H32", "coolant": true, "coolant_in": []any{"bore", "F:G 1/4"}},
		{"kind": "bar", "id": "BAR-32.01", "DCONMS": 32.01, "construction": "steel", "OAL": 300.0, "CCWS": "H32"},
		{"kind": "head", "id": "HED-32R", "CCMS": "H32", "HAND": "R", "seat": "DCMT11T3", "LF": 32.0},
		{"kind": "head", "id": "HED-40R", "CCMS": "H40", "HAND": "R", "seat": "DCGT11T3", "LF": 32.0},
		{"kind": "insert", "id": "INS-D", "seat": "DCMT11T3", "RE": 0.8, "edges": 2},
		{"kind": "insert", "id": "INS-C", "seat": "CCMT09T3", "RE": 0.8, "edges": 2},
		{"kind": "hose", "id": "HOS-M", "ends": []any{"M:G 1/4", "M:G 1/4"}},
		{"kind": "hose", "id": "HOS-N", "ends": []any{"M:NPT 1/4", "M:G 1/8"}},
		{"kind": "spare", "id": "SCR"},
	} {
		p, err := ReadPartMap(flat)
		if err != nil {
			t.Fatal(err)
		}
		parts = append(parts, p)
	}
	shelf, err := NewShelf(nil, parts)
	if err != nil {
		t.Fatal(err)
	}
	for code, want := range map[string][]string{
		"BAR-32":    {"HLD-32 SLV-40-32", "HED-32R", "HOS-M"},
		"HED-32R":   {"BAR-32 BAR-32.01", "INS-D"},
		"INS-D":     {"HED-32R HED-40R"}, // the tolerance letter does not decide
		"INS-C":     {""},
		"SLV-40-32": {"HLD-40", "BAR-32 BAR-32.01"},
		"SLV-40-IN": {"HLD-40", ""},
		"HLD-40":    {"", "SLV-40-32 SLV-40-IN"},
		"HOS-M":     {"BAR-32"}, // two equal ends are one joint
		"SCR":       nil,
	} {
		i := slices.IndexFunc(parts, func(p *Part) bool { return p.Code == code })
		var got []string
		for _, n := range shelf.Neighbours(parts[i]) {
			var codes []string
			for _, p := range n.Parts {
				codes = append(codes, p.Code)
			}
			got = append(got, strings.Join(codes, " "))
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s mates with %q, want %q", code, got, want)
		}
	}
}

// The index finds what looking at every part finds, and mating is mutual.
func TestNeighboursAreAllThereAre(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var parts []*Part
		size := rapid.SampledFrom([]float64{25, 25.4, 31.75, 32, 32.01, 32.02, 40})
		code := rapid.SampledFrom([]string{"H25", "H32"})
		for i := range rapid.IntRange(1, 14).Draw(rt, "n") {
			flat := map[string]any{"id": string(rune('A' + i))}
			switch rapid.IntRange(0, 3).Draw(rt, "kind") {
			case 0:
				flat["kind"], flat["interface"], flat["DCONWS"] = "holder", "VDI50", size.Draw(rt, "bore")
			case 1:
				flat["kind"], flat["DCONMS"], flat["construction"], flat["CCWS"] = "bar", size.Draw(rt, "shank"), "steel", code.Draw(rt, "ccws")
			case 2:
				flat["kind"], flat["HAND"], flat["CCMS"], flat["seat"] = "head", "R", code.Draw(rt, "ccms"), rapid.SampledFrom([]string{"DCMT11T3", "CCMT09T3"}).Draw(rt, "seat")
			case 3:
				flat["kind"], flat["ends"] = "fitting", []any{rapid.SampledFrom([]string{"M:G 1/4", "F:G 1/4"}).Draw(rt, "in"), rapid.SampledFrom([]string{"M:NPT 1/4", "F:G 1/4"}).Draw(rt, "out")}
			}
			p, err := ReadPartMap(flat)
			if err != nil {
				rt.Fatal(err)
			}
			parts = append(parts, p)
		}
		shelf, err := NewShelf(nil, parts)
		if err != nil {
			rt.Fatal(err)
		}
		found := map[[2]string]bool{}
		for _, p := range parts {
			for _, n := range shelf.Neighbours(p) {
				for _, o := range n.Parts {
					found[[2]string{p.Code, o.Code}] = true
				}
			}
		}
		for _, a := range parts {
			for _, b := range parts {
				want := false
				for _, j := range a.Joints {
					for _, k := range b.Joints {
						want = want || a != b && j.Family != Through && faces(j.Side, k.Side) && Mates(j, k)
					}
				}
				if found[[2]string{a.Code, b.Code}] != want {
					rt.Fatalf("%s and %s: found %v, want %v", a.Code, b.Code, !want, want)
				}
			}
		}
	})
}
