// Yardproof plans, proves and watches outdoor displays of addressable pixels
// over E1.31. This file finds the command; each command has a file of its own.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/pflag"
)

// Exit codes, for scripts.
const (
	exitFine  = 0
	exitFound = 1 // something was found wrong, or went wrong
	exitUsage = 2 // the command was called in a wrong way
)

// A command's define adds its flags and returns what runs it. The returned
// function prints data to stdout and talk to stderr, ends when ctx does, and
// reports through its error: nil, a usageError, errFound, or what went wrong.
type command struct {
	name   string
	args   string // what follows the flags in the usage line
	does   string // one line
	define func(fs *pflag.FlagSet) func(ctx context.Context, std stdio, args []string) error
}

type stdio struct{ out, err io.Writer }

// commands in the order of an evening's work. New ones go here and nowhere else.
func commands() []command {
	return []command{
		planCommand(),
		runCommand(),
		burnInCommand(),
		lookedCommand(),
		listenCommand(),
		diagnoseCommand(),
		reportCommand(),
		linkCommand(),
		manualCommand(),
		versionCommand(),
	}
}

// errFound means that the answer has been printed, and that it is not a good one.
var errFound = errors.New("something was found wrong")

// usageError is a call that cannot be obeyed as it was written.
type usageError struct{ error }

func usagef(format string, args ...any) error {
	return usageError{fmt.Errorf(format, args...)}
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	os.Exit(run(ctx, stdio{os.Stdout, os.Stderr}, os.Args[1:]))
}

func run(ctx context.Context, std stdio, args []string) int {
	if len(args) == 0 {
		fmt.Fprint(std.err, usage())
		return exitUsage
	}
	switch args[0] {
	case "help", "--help", "-h":
		if _, err := fmt.Fprint(std.out, usage()); err != nil {
			fmt.Fprintf(std.err, "yardproof: %v\n", err)
			return exitFound
		}
		return exitFine
	case "--version":
		args = []string{"version"}
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return c.call(ctx, std, args[1:])
		}
	}
	fmt.Fprintf(std.err, "yardproof: there is no command %q; yardproof --help lists them\n", args[0])
	return exitUsage
}

func (c command) call(ctx context.Context, std stdio, args []string) int {
	fs := pflag.NewFlagSet(c.name, pflag.ContinueOnError)
	fs.SortFlags = false
	fs.Usage = func() {}
	runIt := c.define(fs)
	err := fs.Parse(args)
	switch {
	case errors.Is(err, pflag.ErrHelp):
		_, err = fmt.Fprintf(std.out, "usage: yardproof %s [flags] %s\n\n%s.\n\n%s", c.name, c.args, c.does, fs.FlagUsages())
	case err != nil:
		err = usagef("%w; yardproof %s --help lists the flags", err, c.name)
	default:
		err = runIt(ctx, std, fs.Args())
	}
	var wrongUse usageError
	switch {
	case err == nil:
		return exitFine
	case errors.Is(err, errFound):
		return exitFound
	case errors.As(err, &wrongUse):
		fmt.Fprintf(std.err, "yardproof %s: %v\n", c.name, err)
		return exitUsage
	default:
		fmt.Fprintf(std.err, "yardproof %s: %v\n", c.name, err)
		return exitFound
	}
}

func usage() string {
	var b strings.Builder
	b.WriteString("usage: yardproof COMMAND [flags]\n\n")
	for _, c := range commands() {
		fmt.Fprintf(&b, "  %-10s %s\n", c.name, c.does)
	}
	b.WriteString("\nyardproof COMMAND --help shows a command's flags.\n")
	return b.String()
}
