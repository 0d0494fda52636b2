package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"brasspeg/store/reorder"
)

// calcBuyMost is the largest file of cases that is read, in bytes.
const calcBuyMost = 64 << 20

// calcBuyHelp names the kinds calcBuy answers and what each reads.
var calcBuyHelp = map[string]string{
	"order-quantity": "D a year, S an order, H a piece and year; pack, min_order; breaks with H or carrying_rate; backorder_cost",
	"reorder-point":  "mean_ltd and cycle_service, or demand_per_period, lead_time ..., sizes, daily and lead, fill_rate",
	"intermittent":   "demand per period; alpha and beta, or lists croston and tsb",
	"demand-class":   "demand per period",
	"abc":            "items as [id, use a year, price]; cutoffs",
}

// calcBuy answers the buying computations: calc KIND [FILE] [--json]. It reads one case, a
// list, an object that holds a list, or several of these one after the other, from FILE or
// in. With --json it writes one object a line, in input order; else lines for people. The
// exit status is 0, 1 if anything was refused (after everything was answered), 2 if the
// command itself could not be read.
func calcBuy(kind string, args []string, in io.Reader, out, errOut io.Writer) (exit int) {
	reads, ok := calcBuyHelp[kind]
	if !ok {
		fmt.Fprintf(errOut, "brasspeg calc: %q is not a buying computation\n", kind)
		return 2
	}
	asJSON, file := false, ""
	for _, a := range args {
		switch {
		case a == "--json":
			asJSON = true
		case a == "-h" || a == "--help":
			fmt.Fprintf(out, "brasspeg calc %s [FILE] [--json]\nreads %s\n", kind, reads)
			return 0
		case strings.HasPrefix(a, "-") && a != "-":
			fmt.Fprintf(errOut, "brasspeg calc %s: no flag %s; there is --json\n", kind, a)
			return 2
		case file != "":
			fmt.Fprintf(errOut, "brasspeg calc %s: one file at a time, not %s and %s\n", kind, file, a)
			return 2
		default:
			file = a
		}
	}
	if file != "" && file != "-" {
		f, err := os.Open(file)
		if err != nil {
			fmt.Fprintf(errOut, "brasspeg calc %s: %v\n", kind, err)
			return 2
		}
		defer f.Close()
		in = f
	}
	w := bufio.NewWriter(out)
	exit = calcBuyAll(kind, in, func(a reorder.Answer, n int) error {
		if asJSON {
			line, err := json.Marshal(a)
			if err != nil {
				return err
			}
			_, err = w.Write(append(line, '\n'))
			return err
		}
		return calcBuyPrint(w, a, n)
	}, func(err error) {
		w.Flush() // answers first, then what ended them
		fmt.Fprintf(errOut, "brasspeg calc %s: %v\n", kind, err)
	})
	if err := w.Flush(); err != nil {
		return 1
	}
	return exit
}

// calcBuyAll reads the cases and hands each answer on. What cannot be read at all is an
// answer with an error too, so that a program that counts lines notices.
func calcBuyAll(kind string, in io.Reader, answer func(reorder.Answer, int) error, complain func(error)) (exit int) {
	limited := &io.LimitedReader{R: in, N: calcBuyMost + 1}
	text := bufio.NewReader(limited)
	if mark, err := text.Peek(3); err == nil && string(mark) == "\ufeff" {
		if _, err := text.Discard(3); err != nil {
			complain(err)
			return 1
		}
	}
	n, values := 0, 0
	unread := func(err error) int {
		if limited.N <= 0 {
			err = fmt.Errorf("the input is longer than %d MiB; split it", calcBuyMost>>20)
		}
		complain(err)
		if err := answer(reorder.Answer{{Name: "status", Value: "invalid"}, {Name: "error", Value: err.Error()}}, n+1); err != nil {
			complain(err)
		}
		return 1
	}
	for d := json.NewDecoder(text); ; values++ {
		var value json.RawMessage
		err := d.Decode(&value)
		if errors.Is(err, io.EOF) {
			if values == 0 {
				return unread(errors.New("nothing to read; give a case, a list of cases, or a file with one"))
			}
			return exit
		}
		if err != nil {
			return unread(fmt.Errorf("not JSON after byte %d: %w", d.InputOffset(), err))
		}
		list, err := reorder.List(kind, value)
		if err != nil {
			return unread(err)
		}
		for _, c := range list {
			n++
			a, refused := reorder.Respond(kind, c)
			if refused != nil {
				exit = 1
			}
			if err := answer(a, n); err != nil {
				complain(err)
				return 1
			}
		}
	}
}

// calcBuyPrint writes one answer for people: its id, then a line a figure.
func calcBuyPrint(w io.Writer, a reorder.Answer, n int) error {
	name := fmt.Sprintf("case %d", n)
	if id := a.Get("id"); id != nil {
		name = calcBuyText(id)
	}
	if e := a.Get("error"); e != nil {
		_, err := fmt.Fprintf(w, "%s: refused: %v\n", name, calcBuyText(e))
		return err
	}
	if _, err := fmt.Fprintln(w, name); err != nil {
		return err
	}
	return calcBuyMembers(w, a, "  ")
}

func calcBuyMembers(w io.Writer, a reorder.Answer, indent string) error {
	for _, m := range a {
		if m.Name == "id" || strings.HasPrefix(m.Name, "pmf_") || strings.HasPrefix(m.Name, "cdf_") {
			continue // the distribution is for programs
		}
		label, ok := calcBuyLabels[m.Name]
		if !ok {
			label = strings.ReplaceAll(m.Name, "_", " ")
		}
		var err error
		switch v := m.Value.(type) {
		case reorder.Answer:
			if _, err = fmt.Fprintf(w, "%s%s\n", indent, label); err == nil {
				err = calcBuyMembers(w, v, indent+"  ")
			}
		case []any:
			if _, err = fmt.Fprintf(w, "%s%s\n", indent, label); err != nil {
				return err
			}
			for _, row := range v {
				if one, ok := row.(reorder.Answer); ok {
					if err = calcBuyMembers(w, one, indent+"  "); err == nil {
						_, err = fmt.Fprintln(w)
					}
				} else {
					_, err = fmt.Fprintf(w, "%s  %s\n", indent, calcBuyText(row))
				}
				if err != nil {
					return err
				}
			}
		default:
			_, err = fmt.Fprintf(w, "%s%-24s %s\n", indent, label, calcBuyText(v))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// calcBuyLabels say for people what programs know by its short name.
var calcBuyLabels = map[string]string{
	"Q": "order quantity", "best_whole_Q": "best whole quantity", "total_cost_whole_Q": "its cost a year",
	"total_cost": "cost a year with goods", "eoq": "before rounding", "penalty_fraction": "dearer by (share)",
	"mean_ltd": "mean over the lead time", "var_ltd": "its variance", "sd_ltd": "its standard deviation",
	"achieved": "service reached", "achieved_one_less": "with one less",
	"adi": "mean periods a demand", "cv2": "scatter of sizes (cv2)", "klass": "class",
	"cv2_population": "the same by n", "klass_population": "class by that",
	"F": "chance that it suffices", "L": "mean short",
}

// calcBuyWords say what a status means.
var calcBuyWords = map[string]string{
	"order_nothing":     "order nothing: there is no demand",
	"lot_for_lot":       "order each need as it comes: ordering costs nothing",
	"no_finite_optimum": "no best quantity: keeping costs nothing, so more is always cheaper",
	"use_poisson":       "variance not above the mean: taken as Poisson",
	"no_variability":    "nothing is uncertain: the point is the mean",
}

// calcBuyText writes one value: figures with five digits, lists separated by blanks, and
// no control character of foreign text.
func calcBuyText(v any) string {
	switch v := v.(type) {
	case nil:
		return "-"
	case string:
		if words, ok := calcBuyWords[v]; ok {
			return words
		}
		return strings.Map(func(r rune) rune {
			if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 {
				return ' '
			}
			return r
		}, v)
	case float64:
		if v != v {
			return "-"
		}
		return calcBuyFigure(v)
	case json.RawMessage:
		var s string
		if json.Unmarshal(v, &s) == nil {
			return calcBuyText(s)
		}
		return calcBuyText(string(v))
	case []float64:
		words := make([]string, len(v))
		for i := range v {
			words[i] = calcBuyText(v[i])
		}
		return strings.Join(words, " ")
	case []any:
		words := make([]string, len(v))
		for i := range v {
			words[i] = calcBuyText(v[i])
		}
		return strings.Join(words, "  ")
	}
	return calcBuyText(fmt.Sprint(v))
}

// calcBuyFigure keeps two decimals of what is large and five digits of what is small.
func calcBuyFigure(v float64) string {
	if v >= 1000 || v <= -1000 {
		return strings.TrimSuffix(fmt.Sprintf("%.2f", v), ".00")
	}
	return fmt.Sprintf("%.5g", v)
}
