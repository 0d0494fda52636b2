package main

// decodeCmd and calcCmd hand everything behind their name to the room that reads it, so that
// flags may stand before or after the texts.
type decodeCmd struct {
	Args []string `arg:"" optional:"" passthrough:"" help:"insert, bar or mates, then designations; none: one a line from standard input. --json for programs."`
}

func (c *decodeCmd) Run(e *env) error { return status(decode(c.Args, e.in, e.out, e.errOut)) }

type calcCmd struct {
	Kind string   `arg:"" help:"What to compute."`
	Args []string `arg:"" optional:"" passthrough:"" help:"A file, or none for standard input; --json for programs."`
}

func (c *calcCmd) Run(e *env) error {
	switch c.Kind {
	case "order-quantity", "reorder-point", "intermittent", "demand-class", "abc":
		return status(calcBuy(c.Kind, c.Args, e.in, e.out, e.errOut))
	}
	return status(calcLife(c.Kind, c.Args, e.in, e.out, e.errOut))
}
