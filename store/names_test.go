package store

import (
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

// enter saves an entry and fails the test if it is refused.
func (s *shop) enter(e PartEntry) Part {
	s.t.Helper()
	f, err := Fill(e)
	s.must(err)
	p, err := s.EnterPart(ctx, s.boss.ID, f, false)
	s.must(err)
	return p
}

func (s *shop) facts(p Part) map[string]Fact {
	s.t.Helper()
	all, err := s.Facts(ctx, p.ID)
	s.must(err)
	m := map[string]Fact{}
	for _, f := range all {
		m[f.Symbol] = f
	}
	return m
}

// A name fills what it says, a value entered is kept as such, and where a letter means
// "special" the value is asked for. Expected values: ISO 1832 and ISO 6261 as in
// testdata/standard (insert_examples.csv, boring_bar_examples.csv).
func TestFill(t *testing.T) {
	for _, tt := range []struct {
		name   string
		e      PartEntry
		want   map[string]string // symbol -> value|origin
		edges  int
		asks   []string
		refuse string // field of the refusal
		says   string
	}{
		{"inch insert", PartEntry{Kind: "insert", Designation: "CNMG 432"}, map[string]string{"seat": `"CNMG1204"|designation`, "RE": "0.8|designation", "IC": "12.7|designation", "EPSR": "80|designation"}, 4, nil, "", ""},
		{"the same value typed is the name's", PartEntry{Kind: "insert", Designation: "CNMG 120408", Values: map[string]string{"RE": "0,8 mm"}}, map[string]string{"RE": "0.8|designation"}, 4, nil, "", ""},
		{"bar", PartEntry{Kind: "bar", Designation: "A25T-SCLCR 09", Values: map[string]string{"seat": "CCMT09T3"}}, map[string]string{"DCONMS": "25|designation", "LF": "300|designation", "OAL": "300|designation", "construction": `"steel"|designation`, "HAND": `"R"|designation`, "KAPR": "95|designation", "coolant": "true|designation", "seat": `"CCMT09T3"|entered`}, 0, []string{"seat"}, "", ""},
		{"a measured length wins", PartEntry{Kind: "bar", Designation: "A25T-SCLCR 09", Values: map[string]string{"LF": "290 mm"}, ByMaker: []string{"LF"}}, map[string]string{"LF": "290|maker", "OAL": "290|maker"}, 0, []string{"seat"}, "", ""},
		{"X asks for the length", PartEntry{Kind: "bar", Designation: "A25X-SCLCR 09"}, map[string]string{"DCONMS": "25|designation"}, 0, []string{"LF", "seat"}, "", ""},
		{"coupling named", PartEntry{Kind: "head", Designation: "H25-SCLCR09"}, map[string]string{"CCMS": `"H25"|designation`, "HAND": `"R"|designation`}, 0, []string{"seat"}, "", ""},
		{"coupling not named", PartEntry{Kind: "head", Designation: "SCLCL09"}, map[string]string{"HAND": `"L"|designation`}, 0, []string{"CCMS", "seat"}, "", ""},
		{"fitting", PartEntry{Kind: "fitting", Designation: "M:G 3/8 x F:G 1/4"}, map[string]string{"ends": `["M:G 3/8","F:G 1/4"]|designation`}, 0, nil, "", ""},
		{"inch sleeve", PartEntry{Kind: "sleeve", Designation: `1.5 in x 1-1/4 in`}, map[string]string{"DCONMS": "38.1|designation", "DCONWS": "31.75|designation", "unit": `"in"|entered`}, 0, nil, "", ""},
		{"sleeve of two units", PartEntry{Kind: "sleeve", Values: map[string]string{"DCONMS": "40 mm", "DCONWS": "1 in"}}, map[string]string{"DCONMS": "40|entered", "DCONWS": "25.4|entered", "unit": `"mm/in"|entered`}, 0, nil, "", ""},
		{"sleeve without a unit asks", PartEntry{Kind: "sleeve", Designation: "50/32"}, map[string]string{}, 0, []string{"DCONMS"}, "", ""},
		{"holder", PartEntry{Kind: "holder", Designation: "VDI 50 E2-50"}, map[string]string{"interface": `"VDI50"|designation`}, 0, nil, "", ""},
		{"one spelling of a seat", PartEntry{Kind: "holder", Values: map[string]string{"interface": "vdi 50"}}, map[string]string{"interface": `"VDI50"|entered`}, 0, nil, "", ""},
		{"a bare number is neither", PartEntry{Kind: "sleeve", Values: map[string]string{"DCONMS": "1.25"}}, nil, 0, nil, "DCONMS", "1.25 mm or 1.25 in"},
		{"no insert", PartEntry{Kind: "insert", Designation: "CXMG 120408"}, nil, 0, nil, "designation", "X"},
		{"no such value", PartEntry{Kind: "insert", Values: map[string]string{"OAL": "3 mm"}}, nil, 0, nil, "OAL", "no value"},
		{"no such kind", PartEntry{Kind: "drill"}, nil, 0, nil, "kind", "holder"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f, err := Fill(tt.e)
			if tt.refuse != "" {
				r, ok := errors.AsType[*Refusal](err)
				if !ok || r.Field != tt.refuse || !errors.Is(err, ErrBadInput) || !strings.Contains(r.Says, tt.says) {
					t.Fatalf("refused with %v, want field %s saying %q", err, tt.refuse, tt.says)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			have := map[string]string{}
			for _, x := range f.In.Facts {
				have[x.Symbol] = x.Value + "|" + x.Origin
			}
			for sym, want := range tt.want {
				if have[sym] != want {
					t.Errorf("%s is %q, want %q", sym, have[sym], want)
				}
			}
			if f.In.Part.Edges != tt.edges {
				t.Errorf("%d edges, want %d", f.In.Part.Edges, tt.edges)
			}
			var asks []string
			for _, a := range f.Told.Asks {
				asks = append(asks, a.Symbol)
				if a.Question == "" {
					t.Errorf("%s is asked without a question", a.Symbol)
				}
			}
			if !slices.Equal(asks, tt.asks) {
				t.Errorf("asks %v, want %v", asks, tt.asks)
			}
		})
	}
}

// Whatever a name says survives being saved: every insert and bar of the reference tables.
func TestEnteredFromEveryName(t *testing.T) {
	s := newShop(t, false)
	n := 0
	for kind, file := range map[string]string{"insert": "insert_examples.csv", "bar": "boring_bar_examples.csv"} {
		for _, row := range csvRows(t, "../testdata/standard/"+file) {
			name := row["designation"]
			f, err := Fill(PartEntry{Kind: kind, Code: fmt.Sprintf("%s-%d", kind, n), Designation: name})
			if err != nil {
				t.Errorf("%s %q: %v", kind, name, err)
				continue
			}
			for _, a := range f.Told.Asks {
				v := map[string]string{"seat": "CCMT09T3", "LF": "250 mm", "KAPR": "93", "edges": "2", "AN": "7"}[a.Symbol]
				if v == "" {
					t.Errorf("%s: %s is asked for unexpectedly", name, a.Symbol)
				}
			}
			if kind == "bar" {
				f.In.Facts = append(slices.DeleteFunc(f.In.Facts, func(x Fact) bool { return x.Symbol == "seat" }), Fact{Symbol: "seat", Value: `"CCMT09T3"`})
			}
			p, err := s.EnterPart(ctx, s.boss.ID, f, true)
			if err != nil {
				t.Errorf("%s %q: %v", kind, name, err)
				continue
			}
			n++
			for _, x := range f.Told.Facts {
				if got := s.facts(p)[x.Symbol]; x.Symbol != "seat" && (got.Value != x.Value || got.Origin != ByDesignation) {
					t.Errorf("%s %q: %s saved as %+v, want %+v", kind, name, x.Symbol, got, x)
				}
			}
		}
	}
	if n < 50 {
		t.Errorf("only %d names were saved", n)
	}
	if _, err := s.Shelf(ctx); err != nil {
		t.Errorf("the stack room does not read what was saved: %v", err)
	}
}

// csvRows reads a reference table by its header.
func csvRows(t *testing.T, path string) []map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range all[1:] {
		m := map[string]string{}
		for i, v := range row {
			m[all[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

// No entry panics; what is accepted reads back to the same value from what was kept as typed.
func FuzzFill(f *testing.F) {
	for _, s := range [][3]string{
		{"insert", "CNMG 432", "0.8 mm"}, {"bar", "A25X-SCLCR 09", "1-1/4 in"}, {"sleeve", `2" x 1-1/4"`, "50"}, {"head", "H25-SCLCR09", "R"},
		{"hose", "M:G 1/4 x M:G 1/4 x 400 mm", "M:G 1/4, bore"}, {"holder", "VDI 50 E2-50", "split"}, {"sleeve", "50/32 mm", "1,250 mm"}, {"bar", "ＡＢＣ", "½ in"},
	} {
		f.Add(s[0], s[1], s[2])
	}
	f.Fuzz(func(t *testing.T, kind, designation, value string) {
		for _, field := range PartFields(kind) {
			got, err := Fill(PartEntry{Kind: kind, Code: "X", Designation: designation, Values: map[string]string{field.Symbol: value}})
			if err != nil {
				continue
			}
			values := map[string]string{}
			var by []string
			for _, x := range got.In.Facts {
				if x.Symbol != "unit" && x.Entered != "" {
					values[x.Symbol] = x.Entered
				}
				if x.Origin == ByMaker {
					by = append(by, x.Symbol)
				}
			}
			again, err := Fill(PartEntry{Kind: kind, Code: "X", Designation: designation, Values: values, ByMaker: by})
			if err != nil {
				t.Fatalf("%s %q with %s %q was kept as %v, which is refused: %v", kind, designation, field.Symbol, value, values, err)
			}
			for _, x := range got.In.Facts {
				i := slices.IndexFunc(again.In.Facts, func(y Fact) bool { return y.Symbol == x.Symbol })
				if i < 0 || !sameValue(again.In.Facts[i].Value, x.Value) {
					t.Fatalf("%s %q: %s %q reads back as %v, was %s", kind, designation, x.Symbol, x.Entered, again.In.Facts, x.Value)
				}
			}
		}
	})
}

// Every field of every kind that takes a size reads what a shop writes, exactly, and refuses
// what could be two sizes with the question to ask. Values in mm: 1-1/4 in is 31.75 mm by the
// international inch of 25.4 mm.
func TestEverySizeField(t *testing.T) {
	n := 0
	for _, kind := range PartKinds() {
		for _, f := range PartFields(kind) {
			if f.Sort != "size" {
				continue
			}
			n++
			for _, tt := range []struct{ typed, kept string }{
				{`1-1/4"`, "1-1/4 in"}, {"1 1/4 in", "1-1/4 in"}, {"1¼ inch", "1-1/4 in"}, {"1.25in", "1.25 in"}, {"1,25 in", "1.25 in"}, {`5/4"`, "1-1/4 in"},
				{"31.75 mm", "31.75 mm"}, {"31,75 mm", "31.75 mm"}, {"31.75mm", "31.75 mm"}, {"Ø31.75 mm", "31.75 mm"}, {"  31.75  MM ", "31.75 mm"}, {"１-1/4 in", "1-1/4 in"},
			} {
				got, err := Fill(PartEntry{Kind: kind, Code: "X", Values: map[string]string{f.Symbol: tt.typed}})
				if err != nil {
					t.Errorf("%s %s: %q is refused: %v", kind, f.Symbol, tt.typed, err)
					continue
				}
				x := values(got.In.Facts)[f.Symbol]
				i := slices.IndexFunc(got.In.Facts, func(x Fact) bool { return x.Symbol == f.Symbol })
				if x != "31.75" || got.In.Facts[i].Entered != tt.kept || got.In.Facts[i].Origin != Entered {
					t.Errorf("%s %s: %q is kept as %+v, want 31.75 and %q", kind, f.Symbol, tt.typed, got.In.Facts[i], tt.kept)
				}
				// what is kept is what the form of a change shows, and it is read back the same
				if again := f.typed(got.In.Facts[i]); again != tt.kept {
					t.Errorf("%s %s: %q is shown as %q", kind, f.Symbol, tt.kept, again)
				}
			}
			for _, tt := range []struct{ typed, asks string }{
				{"31", "31 mm or 31 in"}, {"1.25", "1.25 mm or 1.25 in"}, {"31,75", "31.75 mm or 31.75 in"}, {"1,250 mm", ""}, {"-3 mm", ""}, {"1/0 in", ""}, {"mm", ""}, {"31 cm", ""}, {"1-1/4 mm", ""}, {"NaN mm", ""}, {"1e3 mm", ""},
			} {
				_, err := Fill(PartEntry{Kind: kind, Code: "X", Values: map[string]string{f.Symbol: tt.typed}})
				r, ok := errors.AsType[*Refusal](err)
				if !ok || r.Field != f.Symbol || !errors.Is(err, ErrBadInput) || !strings.Contains(r.Says, tt.asks) {
					t.Errorf("%s %s: %q gives %v, want a refusal of that field that asks %q", kind, f.Symbol, tt.typed, err, tt.asks)
				}
			}
		}
	}
	if n < 20 {
		t.Errorf("only %d size fields were asked", n)
	}
}
