package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// decodeCmd and calcCmd hand everything behind their name to the room that reads it, so that
// flags may stand before or after the texts.
type decodeCmd struct {
	Args []string `arg:"" optional:"" passthrough:"" help:"insert, bar or mates, then designations; none: one a line from standard input. --json for programs."`
}

func (c *decodeCmd) Run(e *env) error { return status(decode(c.Args, e.in, e.out, e.errOut)) }

type calcCmd struct {
	Args []string `arg:"" optional:"" passthrough:"" help:"What to compute, then a file, or none for standard input; --json for programs."`
}

// calcBuyKinds are the computations on buying; those on edge lives stand in calcLifeHelp.
var calcBuyKinds = []string{"order-quantity", "reorder-point", "intermittent", "demand-class", "abc"}

func (c *calcCmd) Run(e *env) error {
	at := slices.IndexFunc(c.Args, func(a string) bool { _, ok := calcLifeHelp[a]; return ok || slices.Contains(calcBuyKinds, a) })
	switch {
	case at >= 0:
		kind, rest := c.Args[at], slices.Concat(c.Args[:at], c.Args[at+1:])
		if slices.Contains(calcBuyKinds, kind) {
			return status(calcBuy(kind, rest, e.in, e.out, e.errOut))
		}
		return status(calcLife(kind, rest, e.in, e.out, e.errOut))
	case slices.Contains(c.Args, "--help") || slices.Contains(c.Args, "-h"):
		calcKinds(e.out)
		return nil
	case len(c.Args) > 0 && !strings.HasPrefix(c.Args[0], "-"):
		fmt.Fprintf(e.errOut, "brasspeg calc: %q is not a computation it knows\n", c.Args[0])
	default:
		fmt.Fprintln(e.errOut, "brasspeg calc: say what to compute")
	}
	calcKinds(e.errOut)
	return status(2)
}

// calcKinds lists what can be computed, and what each reads.
func calcKinds(w io.Writer) {
	fmt.Fprintln(w, "brasspeg calc KIND [FILE] [flags]; without FILE it reads standard input. Kinds:")
	for _, k := range slices.Sorted(maps.Keys(calcLifeHelp)) {
		fmt.Fprintf(w, "  %-16s %s\n", k, calcLifeHelp[k])
	}
	for _, k := range calcBuyKinds {
		fmt.Fprintf(w, "  %-16s on buying; brasspeg calc %s --help\n", k, k)
	}
}
