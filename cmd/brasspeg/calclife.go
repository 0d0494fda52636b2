package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"brasspeg/store/life"
)

// calcLifeMost is the largest input that is read, in bytes.
const calcLifeMost = 64 << 20

// calcLifeHelp names the kinds calcLife answers and what each reads.
var calcLifeHelp = map[string]string{
	"weibull":         "cases with time, event (1 failed, 0 taken off still good) and count; or a CSV of edge runs",
	"survival":        "cases with time, event and count; or a CSV of edge runs",
	"taylor":          "cases with kind (two_point, least_squares, ratio, extended_..., economics, cost_only, censored_regression); or a CSV with speed, minutes and reason",
	"change-interval": "cases with shape, scale, cost_planned, cost_unplanned, and accepted_risk if wanted; or a CSV of edge runs with --planned and --unplanned",
	"few-lives":       "cases with method (assumed_shape, gamma_prior_on_rate, penalised_likelihood, zero_failure_...) and time, event, count; or a CSV of edge runs",
	"job-inserts":     "jobs with good_parts, or shape, scale and parts with inserts (are they enough?), target (how many?) or neither (edges expected); or a CSV of edge runs with --parts and --edges-per-insert",
}

// calcLifeFlags are the settings of one run; all but JSON are for CSV files, which have no
// room for them.
type calcLifeFlags struct {
	JSON               bool
	Planned, Unplanned float64
	Risk               float64
	Parts, Edges       int
	ChangeAfter        int
	Target             float64
	Shape              float64
	Minutes, Chatter   bool
}

// calcLife answers the computations on edge lives: calc KIND [FILE] [flags]. It reads a case, a
// list of cases, a file that holds lists of them, or a CSV of edge runs, from FILE or in. With
// --json it writes one object a case in input order, else text for people. The exit status is
// 0, 1 when anything was refused (after all was answered), 2 when the command cannot be read.
func calcLife(kind string, args []string, in io.Reader, out, errOut io.Writer) (exit int) {
	reads, ok := calcLifeHelp[kind]
	if !ok {
		fmt.Fprintf(errOut, "brasspeg calc: %q is not a computation on edge lives\n", kind)
		return 2
	}
	var o calcLifeFlags
	fs := flag.NewFlagSet("calc "+kind, flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.BoolVar(&o.JSON, "json", false, "one JSON object a line")
	fs.Float64Var(&o.Planned, "planned", 0, "cost of a planned change (CSV)")
	fs.Float64Var(&o.Unplanned, "unplanned", 0, "full cost of an unplanned change (CSV)")
	fs.Float64Var(&o.Risk, "risk", 0, "accepted chance that an edge fails before its change (CSV, dear parts)")
	fs.IntVar(&o.Parts, "parts", 0, "good parts still to make (CSV)")
	fs.IntVar(&o.Edges, "edges-per-insert", 0, "edges of one insert (CSV)")
	fs.IntVar(&o.ChangeAfter, "change-after", 0, "planned change after so many parts, 0 for none (CSV)")
	fs.Float64Var(&o.Target, "target", 0.95, "wished chance that the inserts are enough (CSV)")
	fs.Float64Var(&o.Shape, "shape", life.PriorShape, "shape to assume when failures are few (CSV)")
	fs.BoolVar(&o.Minutes, "minutes", false, "count lives in minutes, not in parts (CSV)")
	fs.BoolVar(&o.Chatter, "chatter-fails", false, "count chatter as a failure of the edge (CSV)")
	file := ""
	for rest := args; len(rest) > 0; {
		if err := fs.Parse(rest); errors.Is(err, flag.ErrHelp) {
			fmt.Fprintf(out, "brasspeg calc %s [FILE] [flags]\nreads %s\n", kind, reads)
			fs.SetOutput(out)
			fs.PrintDefaults()
			return 0
		} else if err != nil {
			fmt.Fprintf(errOut, "brasspeg calc %s: %v\n", kind, err)
			return 2
		}
		if rest = fs.Args(); len(rest) > 0 {
			if file != "" {
				fmt.Fprintf(errOut, "brasspeg calc %s: one file at a time, not %s and %s\n", kind, file, rest[0])
				return 2
			}
			file, rest = rest[0], rest[1:]
		}
	}
	dir := "."
	if file != "" && file != "-" {
		f, err := os.Open(file)
		if err != nil {
			fmt.Fprintf(errOut, "brasspeg calc %s: %v\n", kind, err)
			return 2
		}
		defer f.Close()
		in, dir = f, filepath.Dir(file)
	}
	raw, err := io.ReadAll(io.LimitReader(in, calcLifeMost+1))
	if err == nil && len(raw) > calcLifeMost {
		err = fmt.Errorf("the input is larger than %d MB; split it", calcLifeMost>>20)
	}
	if err != nil {
		fmt.Fprintf(errOut, "brasspeg calc %s: %v\n", kind, err)
		return 2
	}
	w := bufio.NewWriter(out)
	n := 0
	write := func(a calcAnswer) {
		n++
		if a.has("error") {
			exit = 1
		}
		if o.JSON {
			line, err := json.Marshal(a)
			if err != nil { // no number of ours reaches here unfiltered; say so rather than nothing
				line, exit = []byte(`{"error":"the answer cannot be written as JSON"}`), 1
			}
			w.Write(append(line, '\n'))
			return
		}
		a.print(w, n)
	}
	calcLifeAll(kind, raw, dir, o, write)
	if err := w.Flush(); err != nil {
		fmt.Fprintf(errOut, "brasspeg calc %s: %v\n", kind, err)
		return 1
	}
	return exit
}

// calcLifeAll hands an answer to write for every case in raw; input that cannot be read at all
// is an answer with an error too, so that a program that counts lines notices.
func calcLifeAll(kind string, raw []byte, dir string, o calcLifeFlags, write func(calcAnswer)) {
	text := bytes.TrimSpace(bytes.TrimPrefix(raw, []byte("\ufeff")))
	if len(text) == 0 {
		write(calcRefused(nil, errors.New("nothing to read: give a case, a list of cases, or a CSV of edge runs")))
		return
	}
	if text[0] != '{' && text[0] != '[' {
		calcLifeCSV(kind, raw, o, write)
		return
	}
	d := json.NewDecoder(bytes.NewReader(text))
	for {
		var v json.RawMessage
		err := d.Decode(&v)
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			write(calcRefused(nil, fmt.Errorf("not JSON after byte %d: %v", d.InputOffset(), err)))
			return
		}
		cases, err := calcCases(v)
		if err != nil {
			write(calcRefused(nil, err))
			return
		}
		for _, c := range cases {
			write(calcLifeCase(kind, c, dir))
		}
	}
}

// calcCases returns the cases of a value: itself, the entries of a list, or those of the lists
// that a file of cases holds.
func calcCases(v json.RawMessage) ([]json.RawMessage, error) {
	if bytes.TrimSpace(v)[0] == '[' {
		var list []json.RawMessage
		err := json.Unmarshal(v, &list)
		return list, err
	}
	var file struct {
		Cases    []json.RawMessage `json:"cases"`
		Enough   []json.RawMessage `json:"enough_inserts"`
		Needed   []json.RawMessage `json:"inserts_needed"`
		Expected json.RawMessage   `json:"expected_edges"`
		Jobs     []json.RawMessage `json:"jobs"`
	}
	if err := json.Unmarshal(v, &file); err != nil {
		var wrong *json.UnmarshalTypeError
		if !errors.As(err, &wrong) {
			return nil, err
		}
		return nil, fmt.Errorf("%s must be a list of cases", wrong.Field)
	}
	all := append(append(file.Cases, file.Enough...), file.Needed...)
	var expected []json.RawMessage
	if len(file.Expected) > 0 && json.Unmarshal(file.Expected, &expected) == nil {
		all = append(all, expected...)
	}
	all = append(all, file.Jobs...)
	if file.Cases == nil && len(all) == 0 {
		return []json.RawMessage{v}, nil
	}
	return all, nil
}

// A calcAnswer is one object in the order its members were put.
type calcAnswer []calcField

type calcField struct {
	Name  string
	Value any
}

func (a *calcAnswer) put(name string, v any) { *a = append(*a, calcField{name, v}) }

func (a calcAnswer) has(name string) bool {
	for _, f := range a {
		if f.Name == name {
			return true
		}
	}
	return false
}

// calcRefused is the answer to a case that has none.
func calcRefused(id any, err error) calcAnswer {
	var a calcAnswer
	if id != nil {
		a.put("id", id)
	}
	status := "invalid"
	if r, ok := errors.AsType[*life.Refusal](err); ok {
		status = r.Status
	}
	a.put("status", status)
	a.put("error", err.Error())
	return a
}

// MarshalJSON writes the members in order; a number that is none becomes null.
func (a calcAnswer) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, f := range a {
		if i > 0 {
			b.WriteByte(',')
		}
		name, err := json.Marshal(f.Name)
		if err != nil {
			return nil, err
		}
		b.Write(name)
		b.WriteByte(':')
		v := f.Value
		switch x := v.(type) {
		case float64:
			v = calcNumber(x)
		case life.Limits:
			v = []any{calcNumber(x.Low), calcNumber(x.High)}
		case *life.Limits:
			v = []any{calcNumber(x.Low), calcNumber(x.High)}
		}
		text, err := json.Marshal(v)
		if err != nil {
			return nil, err
		}
		b.Write(text)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

func calcNumber(x float64) any {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return x
}

// print writes the answer for people.
func (a calcAnswer) print(w io.Writer, n int) {
	name := fmt.Sprintf("case %d", n)
	if len(a) > 0 && a[0].Name == "id" {
		name = calcWord(a[0].Value)
		a = a[1:]
	}
	fmt.Fprintln(w, name)
	a.printMembers(w, "  ")
}

func (a calcAnswer) printMembers(w io.Writer, indent string) {
	for _, f := range a {
		label := strings.ReplaceAll(f.Name, "_", " ")
		switch v := f.Value.(type) {
		case calcAnswer:
			fmt.Fprintf(w, "%s%s\n", indent, label)
			v.printMembers(w, indent+"  ")
		case []calcAnswer:
			fmt.Fprintf(w, "%s%s\n", indent, label)
			for _, row := range v {
				words := make([]string, len(row))
				for i, m := range row {
					words[i] = strings.ReplaceAll(m.Name, "_", " ") + " " + calcWord(m.Value)
				}
				fmt.Fprintf(w, "%s  %s\n", indent, strings.Join(words, ", "))
			}
		case []string:
			for _, s := range v {
				fmt.Fprintf(w, "%s%s\n", indent, calcWord(s))
			}
		default:
			fmt.Fprintf(w, "%s%-26s %s\n", indent, label, calcWord(v))
		}
	}
}

// calcWord writes one value for people: five digits, and no control character of foreign text.
func calcWord(v any) string {
	switch x := v.(type) {
	case nil:
		return "-"
	case float64:
		if calcNumber(x) == nil {
			return "-"
		}
		if math.Abs(x) >= 1000 && math.Abs(x) < 1e9 {
			return strings.TrimSuffix(fmt.Sprintf("%.2f", x), ".00")
		}
		return fmt.Sprintf("%.5g", x)
	case life.Limits:
		return calcWord(x.Low) + " to " + calcWord(x.High)
	case *life.Limits:
		return calcWord(*x)
	case json.RawMessage:
		var s string
		if json.Unmarshal(x, &s) == nil {
			return calcWord(s)
		}
		return calcWord(string(x))
	}
	return strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 {
			return ' '
		}
		return r
	}, fmt.Sprint(v))
}
