package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"brasspeg/store/stack"
)

// stackMost is the largest file of cases that is read, in bytes.
const stackMost = 256 << 20

// stackCases answers a file of stack requests, each with its own shelf: stack [FILE] [--json].
// It reads a case, a list, or {"cases": […]}, from FILE or in. With --json it writes one object
// a case, in input order, with the fields of the reference cases; a refused case is an object
// with error. The exit status is 0, 1 if anything was refused (after everything was answered),
// 2 if the command itself could not be read.
func stackCases(args []string, in io.Reader, out, errOut io.Writer) (exit int) {
	asJSON, file := false, ""
	for _, a := range args {
		switch {
		case a == "--json":
			asJSON = true
		case a == "-h" || a == "--help":
			fmt.Fprintln(out, "brasspeg stack [FILE] [--json]\nreads a case, a list of cases, or an object with cases; without FILE from standard input")
			return 0
		case strings.HasPrefix(a, "-") && a != "-":
			fmt.Fprintf(errOut, "brasspeg stack: no flag %s; there is --json\n", a)
			return 2
		case file != "":
			fmt.Fprintf(errOut, "brasspeg stack: one file at a time, not %s and %s\n", file, a)
			return 2
		default:
			file = a
		}
	}
	if file != "" && file != "-" {
		f, err := os.Open(file)
		if err != nil {
			fmt.Fprintf(errOut, "brasspeg stack: %v\n", err)
			return 2
		}
		defer f.Close()
		in = f
	}
	w := bufio.NewWriter(out)
	defer func() {
		if err := w.Flush(); err != nil {
			exit = 1
		}
	}()
	text, err := io.ReadAll(io.LimitReader(in, stackMost+1))
	if err == nil && len(text) > stackMost {
		err = fmt.Errorf("the input is longer than %d MiB; split it", stackMost>>20)
	}
	var cases []stack.Case
	if err == nil {
		cases, err = stack.ReadCases(text)
	}
	if err != nil {
		if asJSON {
			stackRefused(w, "", err)
		}
		fmt.Fprintf(errOut, "brasspeg stack: %v\n", err)
		return 1
	}
	for i := range cases {
		c := &cases[i]
		v, err := c.Check()
		switch {
		case err != nil && asJSON:
			stackRefused(w, c.ID, err)
		case err != nil:
			fmt.Fprintf(w, "%s: refused: %v\n\n", stackName(c, i), err)
		case asJSON:
			line, jerr := json.Marshal(v.Answer(c.ID))
			if jerr != nil {
				stackRefused(w, c.ID, jerr)
				exit = 1
				continue
			}
			w.Write(append(line, '\n')) // Flush reports what fails here
		default:
			stackPrint(w, stackName(c, i), c.Title, &v)
		}
		if err != nil {
			exit = 1
		}
	}
	return exit
}

func stackName(c *stack.Case, i int) string {
	if c.ID != "" {
		return c.ID
	}
	return fmt.Sprintf("case %d", i+1)
}

// stackRefused writes a refusal for programs.
func stackRefused(w io.Writer, id string, err error) {
	out := struct {
		ID    string `json:"id"`
		Error string `json:"error"`
		Field string `json:"field,omitempty"`
		Line  int    `json:"line,omitempty"`
	}{ID: id, Error: err.Error()}
	if bad := (*stack.BadField)(nil); errors.As(err, &bad) {
		out.Field, out.Line = bad.Field, bad.Line
	}
	line, jerr := json.Marshal(out)
	if jerr != nil {
		return // strings and a number always marshal
	}
	fmt.Fprintf(w, "%s\n", line)
}

// decimals writes a figure with at most n decimals and no zeros behind: what is set by it must
// not lose a digit.
func decimals(v float64, n int) string {
	p := math.Pow(10, float64(n))
	return strconv.FormatFloat(math.Round(v*p)/p, 'f', -1, 64)
}

// stackPrint writes a verdict for people.
func stackPrint(w io.Writer, name, title string, v *stack.Verdict) {
	if title != "" {
		name += "  " + title
	}
	fmt.Fprintln(w, name)
	if v.Buildable {
		st := &v.Stacks[0]
		fmt.Fprintf(w, "  can be built: set it %s mm (%s in) out, %s x D\n", decimals(st.Overhang, 3), decimals(st.Overhang/25.4, 4), decimals(st.Ratio, 3))
		for _, u := range st.Pieces {
			place := u.Place
			if place == "" {
				place = "place not recorded"
			}
			code := ""
			if u.Part != nil && u.Part.Code != u.ID() {
				code = u.Part.Code
			}
			fmt.Fprintf(w, "    %-8s %-12s %-22s %s\n", u.Role, u.ID(), code, place)
		}
		if st.Route.Kind != "" {
			limit := fmt.Sprintf("the rating of %s is not recorded", st.Route.Weakest)
			if st.Route.Limit.Known {
				limit = fmt.Sprintf("at most %s bar, set by %s", st.Route.Limit, st.Route.Weakest)
			}
			fmt.Fprintf(w, "    coolant  %s: %s\n", strings.Join(st.Route.Steps, " > "), limit)
		}
		for _, r := range st.Warnings {
			fmt.Fprintf(w, "  caution %s: %s\n", r.Code, r.Text)
		}
		for _, r := range st.Remarks {
			fmt.Fprintf(w, "  remark: %s\n", r)
		}
		if n := len(v.Stacks) - 1; n > 0 {
			fmt.Fprintf(w, "  other stacks: %d\n", n)
		}
		fmt.Fprintln(w)
		return
	}
	fmt.Fprintln(w, "  cannot be built")
	for _, r := range v.Reasons {
		fmt.Fprintf(w, "    %s: %s\n", r.Code, r.Text)
	}
	for i := range v.Options {
		o := &v.Options[i]
		fmt.Fprintf(w, "  would do (%d): %s\n", i+1, o.Text)
		if o.Earliest != "" {
			fmt.Fprintf(w, "      earliest day it can be built: %s\n", o.Earliest)
		}
		if len(o.Parts) > 1 && o.PriceCents.Known {
			fmt.Fprintf(w, "      to be bought for %.2f %s in all\n", o.PriceCents.V/100, o.Currency)
		}
		for j := range o.Parts {
			for _, b := range o.Parts[j].Owned {
				fmt.Fprintf(w, "      %s\n", b.Text)
			}
			for _, b := range o.Parts[j].Catalogue {
				fmt.Fprintf(w, "      can be bought: %s\n", b.Text)
			}
			if p := &o.Parts[j]; len(p.Owned)+len(p.Catalogue) == 0 {
				fmt.Fprintf(w, "      nobody has recorded such a %s; its sizes are what to ask for\n", p.Kind)
			}
		}
	}
	for i := range v.Misses {
		m := &v.Misses[i]
		fmt.Fprintf(w, "  near miss %s: %s %s: %s\n", m.Code, m.Kind, m.Item, m.Distance)
	}
	for i := range v.Worse {
		fmt.Fprintf(w, "  instead: %s\n", v.Worse[i].Changes)
	}
	fmt.Fprintln(w)
}
