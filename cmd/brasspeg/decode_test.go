package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
)

// decodeTable reads a reference table; one map a row.
func decodeTable(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/standard/" + name + ".csv")
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

// decodeLines runs decode and returns its objects, one a line.
func decodeLines(t *testing.T, stdin string, args ...string) (objects []map[string]any, exit int) {
	t.Helper()
	var out, errOut bytes.Buffer
	exit = decode(args, strings.NewReader(stdin), &out, &errOut)
	if errOut.Len() > 0 {
		t.Fatalf("decode %q: %s", args, errOut.String())
	}
	for line := range strings.Lines(out.String()) {
		d := json.NewDecoder(strings.NewReader(line))
		d.UseNumber()
		var m map[string]any
		if err := d.Decode(&m); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		objects = append(objects, m)
	}
	return objects, exit
}

// compareColumns holds every column of the table that the object has against the row.
func compareColumns(t *testing.T, name string, object map[string]any, row map[string]string, skip ...string) {
	t.Helper()
	compared := 0
	for col, want := range row {
		got, ok := object[col]
		if !ok || strings.Contains(strings.Join(skip, " "), col) {
			continue
		}
		compared++
		_, isNumber := got.(json.Number)
		if text := fmt.Sprint(got); text != want || isNumber && want == "" {
			var a, b float64
			if _, err := fmt.Sscan(text, &a); isNumber && err == nil {
				if _, err := fmt.Sscan(want, &b); err == nil && a == b {
					continue
				}
			}
			t.Errorf("%s: %s = %v, want %q", name, col, got, want)
		}
	}
	if compared < 5 {
		t.Errorf("%s: only %d columns compared", name, compared)
	}
}

// Whole tables through standard input, column by column.
func TestDecodeTables(t *testing.T) {
	for _, tt := range []struct {
		kind, table, col string
		skip             []string
	}{
		{"insert", "insert_examples", "designation", nil},
		{"insert", "insert_examples", "canonical", []string{"designation"}},
		{"insert", "ansi_inserts", "ansi", nil},
		{"insert", "ansi_inserts", "iso", nil},
		{"bar", "boring_bar_examples", "designation", nil},
	} {
		table := decodeTable(t, tt.table)
		var in strings.Builder
		for _, r := range table {
			in.WriteString(r[tt.col] + "\n")
		}
		got, exit := decodeLines(t, in.String(), tt.kind, "--json")
		if exit != 0 || len(got) != len(table) {
			t.Fatalf("%s: exit %d, %d objects for %d rows", tt.table, exit, len(got), len(table))
		}
		for i, r := range table {
			compareColumns(t, r[tt.col], got[i], r, tt.skip...)
		}
	}
	table := decodeTable(t, "thread_pairs")
	for _, mark := range []string{",", "\t", " | "} {
		var in strings.Builder
		for _, r := range table {
			in.WriteString(r["male"] + mark + r["female"] + "\r\n")
		}
		got, exit := decodeLines(t, in.String(), "--json", "mates")
		if exit != 0 || len(got) != len(table) {
			t.Fatalf("pairs by %q: exit %d, %d objects for %d rows", mark, exit, len(got), len(table))
		}
		for i, r := range table {
			compareColumns(t, r["male"]+" in "+r["female"], got[i], r)
			if got[i]["result"] != "mates" && !strings.HasPrefix(fmt.Sprint(got[i]["adapter"]), "adapter ") {
				t.Errorf("%s in %s: no adapter named", r["male"], r["female"])
			}
		}
	}
}

// The refused rows: an object with the error in its place, exit status 1 at the end.
func TestDecodeRefusals(t *testing.T) {
	for _, tt := range []struct{ kind, table string }{{"insert", "insert_invalid"}, {"bar", "boring_bar_invalid"}} {
		table := decodeTable(t, tt.table)
		args := []string{tt.kind}
		for _, r := range table {
			args = append(args, r["text"])
		}
		got, exit := decodeLines(t, "", append(args, "--json")...)
		if exit != 1 || len(got) != len(table) {
			t.Fatalf("%s: exit %d, %d objects for %d rows", tt.table, exit, len(got), len(table))
		}
		for i, r := range table {
			o := got[i]
			_, hasError := o["error"]
			want := r["recommended"]
			if want == "accept_or_reject_cleanly" {
				continue
			}
			if o["text"] != r["text"] || o["recommended"] != want {
				t.Errorf("%q: recommended %v, want %s", r["text"], o["recommended"], want)
			}
			switch {
			case want == "reject":
				if !hasError || o["status"] != "reject" || o["reason"] == "" {
					t.Errorf("%q is not refused: %v", r["text"], o)
				}
			case want == "other_system" && tt.kind == "bar":
				if !hasError || o["read_as"] == nil {
					t.Errorf("%q: %v, want it refused and read in its own system", r["text"], o)
				}
			case hasError:
				t.Errorf("%q is refused: %v", r["text"], o["error"])
			case r["base"] != "" && (o["base"] != r["base"] || o["suffix"] != r["suffix"]):
				t.Errorf("%q: base %v suffix %v, want %s %s", r["text"], o["base"], o["suffix"], r["base"], r["suffix"])
			case r["canonical"] != "" && o["canonical"] != r["canonical"]:
				t.Errorf("%q: canonical %v, want %s", r["text"], o["canonical"], r["canonical"])
			}
		}
	}
	// A blank line of a program keeps its place; the one of a person is skipped.
	if got, exit := decodeLines(t, "CNMG 432\n\nCNMG 433\n", "insert", "--json"); exit != 1 || len(got) != 3 || got[1]["error"] == nil || got[2]["canonical"] != "CNMG120412" {
		t.Errorf("a blank line: exit %d, %v", exit, got)
	}
	long := strings.Repeat("C", 3_000_000)
	if got, exit := decodeLines(t, long+"\nCNMG 432", "insert", "--json"); exit != 1 || len(got) != 2 || got[0]["code"] != "too_long" || got[1]["error"] != nil {
		t.Errorf("a line of 3 MB: exit %d, %d objects", exit, len(got))
	}
}

func TestDecodeText(t *testing.T) {
	for _, tt := range []struct {
		args []string
		exit int
		want []string // on either output
	}{
		{[]string{"insert", "CNMG 120408-MF"}, 0, []string{"CNMG120408-MF", "CNMG 432", "corner angle 80°", "12.7 mm", "±0.08", "4, two-sided", "CN..1204", "the maker's own"}},
		{[]string{"insert", "CNMG 12O408"}, 1, []string{`character 8 "O"`, "meant CNMG120408?"}},
		{[]string{"bar", "D32U-DCLNR 12"}, 0, []string{"steel, damped, coolant bore", "350 mm", "95°", "CN..12", "clamp all round"}},
		{[]string{"bar", "A25X-SCXCR 09"}, 0, []string{"ask for  LF", "ask for  KAPR"}},
		{[]string{"bar", "A16T-SCLCR3"}, 1, []string{"inch bar", "25.4 mm", "measure it"}},
		{[]string{"bar", "PCLNR 2525M12"}, 1, []string{"25 × 25 mm", "95°"}},
		{[]string{"mates", "NPT 1/4", "G 1/4"}, 0, []string{"does not mate", "60 against 55 degrees", "adapter male G 1/4 to female NPT 1/4"}},
		{[]string{"mates", "F:G 1/4", "M:R 1/4"}, 0, []string{"male R 1/4, female G 1/4: mates", "sealant", "caution"}},
		{[]string{"mates", "BSPT 1/4", "BSPT 1/4"}, 0, []string{"male R 1/4, female Rc 1/4: mates"}},
		{[]string{"mates", "M:G 1/4", "M:G 1/4"}, 0, []string{"both ends are male", "female G 1/4 to female G 1/4"}},
		{[]string{"mates", "Rc 1/4", "G 1/4"}, 1, []string{"female thread only"}},
		{[]string{"mates", "NPT 1/4 | G 1/4"}, 0, []string{"does not mate"}},
		{[]string{"mates", "-6 JIC", "JIC -6"}, 0, []string{"37 degree cone"}},
		{[]string{"mates", "NPT 1/4"}, 2, []string{"a male and a female"}},
		{[]string{}, 2, []string{"decode insert"}},
		{[]string{"--help"}, 0, []string{"decode insert"}},
		{[]string{"sleeve", "x"}, 2, []string{"insert, bar and mates"}},
		{[]string{"insert", "--xml"}, 2, []string{"--json"}},
		{[]string{"insert", "--", "--json"}, 1, []string{"refused"}},
	} {
		var out, errOut bytes.Buffer
		exit := decode(tt.args, strings.NewReader(""), &out, &errOut)
		all := out.String() + errOut.String()
		for _, w := range tt.want {
			if !strings.Contains(all, w) {
				t.Errorf("decode %q does not say %q:\n%s", tt.args, w, all)
			}
		}
		if exit != tt.exit {
			t.Errorf("decode %q exits with %d, want %d:\n%s", tt.args, exit, tt.exit, all)
		}
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error)  { return 0, os.ErrClosed }
func (broken) Write([]byte) (int, error) { return 0, os.ErrClosed }

// A pipe that breaks is told, not swallowed.
func TestDecodeBrokenPipe(t *testing.T) {
	var out, errOut bytes.Buffer
	if exit := decode([]string{"insert"}, broken{}, &out, &errOut); exit != 1 || errOut.Len() == 0 {
		t.Errorf("unreadable input: exit %d, %q", exit, errOut.String())
	}
	errOut.Reset()
	if exit := decode([]string{"insert", "CNMG 432"}, strings.NewReader(""), broken{}, &errOut); exit != 1 || errOut.Len() == 0 {
		t.Errorf("output that cannot be written: exit %d, %q", exit, errOut.String())
	}
}
