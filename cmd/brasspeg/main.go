// Command brasspeg keeps the tool crib of a shop that bores deep: what mates with what, what
// is on the shelf and free, who has the rest, and which planned jobs can be built. One file a
// subcommand; this one reads the command line and wires the rooms together.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // shops without a zone database of their own

	"github.com/alecthomas/kong"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Getenv, os.Stdin, os.Stdout, os.Stderr); err != nil {
		var code exitCode
		if errors.As(err, &code) {
			os.Exit(int(code))
		}
		fmt.Fprintln(os.Stderr, "brasspeg:", err)
		os.Exit(exitFor(err))
	}
}

// An exitCode ends the program with that status; what there was to say has been said.
type exitCode int

func (c exitCode) Error() string { return fmt.Sprintf("exit status %d", int(c)) }

// status makes an error of a status other than 0.
func status(code int) error {
	if code == 0 {
		return nil
	}
	return exitCode(code)
}

// env is what a command may touch of the world, so that a test can run the whole program.
type env struct {
	ctx         context.Context
	in          io.Reader
	out, errOut io.Writer
	log         *slog.Logger
}

// commands is the command line. What stands after decode, calc and stack is read by these
// rooms themselves.
type commands struct {
	Demo    demoCmd    `cmd:"" help:"Show a demo shop: which planned jobs can be built, and what each other one lacks."`
	Init    initCmd    `cmd:"" help:"Make the store of a shop."`
	Serve   serveCmd   `cmd:"" help:"Serve a shop's store."`
	Stack   stackCmd   `cmd:"" help:"Say which stacks can be built: for a file of requests with shelves, or with --data for a shop's planned jobs."`
	Decode  decodeCmd  `cmd:"" help:"Read a designation: decode insert|bar|mates TEXT…"`
	Calc    calcCmd    `cmd:"" help:"Compute: calc weibull|survival|taylor|change-interval|few-lives|job-inserts|order-quantity|reorder-point|intermittent|demand-class|abc [FILE]"`
	Labels  labelsCmd  `cmd:"" help:"Print labels into a file: of the whole shop, a kind, a place, a part, a search."`
	Verify  verifyCmd  `cmd:"" help:"Hold a store against its ledger, its hash chain and its invariants."`
	Backup  backupCmd  `cmd:"" help:"Copy a store while it is in use."`
	Restore restoreCmd `cmd:"" help:"Put a backup in the place of a store; the old files are moved aside."`
	Person  personCmd  `cmd:"" help:"Add a person, or give one a new PIN, password or badge."`
	Token   tokenCmd   `cmd:"" help:"Make or end a token for a program."`
	Import  importCmd  `cmd:"" help:"Read in a supplier's file of prices, or the suppliers; a dry run unless --apply."`
	Export  exportCmd  `cmd:"" help:"Write a table of buying as CSV or XLSX."`
}

// storeFlags say which store a command opens.
type storeFlags struct {
	Data string `help:"Folder of the store." default:"data" env:"BRASSPEG_DATA" type:"path"`
	DB   string `help:"PostgreSQL to use instead of the folder's own SQLite: postgres://…" env:"BRASSPEG_DB"`
}

func run(ctx context.Context, args []string, getenv func(string) string, in io.Reader, out, errOut io.Writer) (err error) {
	var c commands
	ended := -1
	k, err := kong.New(&c, kong.Name("brasspeg"),
		kong.Description("The tool crib of a shop that bores deep. It advises; it never releases a machine."),
		kong.Writers(out, errOut), kong.Exit(func(code int) { ended = code; panic(exitCode(code)) }),
		kong.UsageOnError(), kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.Resolvers(environment(getenv)))
	if err != nil {
		return err
	}
	defer func() { // --help ends the program from inside the parser
		if r := recover(); r != nil {
			if ended < 0 {
				panic(r)
			}
			err = status(ended)
		}
	}()
	if len(args) == 0 {
		args = []string{"--help"}
	}
	kctx, err := k.Parse(args)
	if err != nil {
		return fmt.Errorf("%w\nTry: brasspeg --help", err)
	}
	return kctx.Run(&env{ctx: ctx, in: in, out: out, errOut: errOut, log: slog.New(slog.NewJSONHandler(errOut, nil))})
}

// environment lets flags take their defaults from the surroundings that run was given.
func environment(getenv func(string) string) kong.Resolver {
	return kong.ResolverFunc(func(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
		for _, name := range flag.Tag.Envs {
			if v := getenv(name); v != "" {
				return v, nil
			}
		}
		return nil, nil
	})
}
