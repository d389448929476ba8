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
	"runtime/debug"
	"syscall"
	"time"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/guide"
	"yardproof/cmd/yardproof/internal/journal"
	"yardproof/config"
)

// Exit codes, for scripts.
const (
	exitFine  = 0
	exitFound = 1 // something was found wrong, or went wrong
	exitUsage = 2 // the command was called in a wrong way
)

// A command's define adds its flags and returns what runs it. The returned
// function prints data to stdout and talk to stderr, ends when ctx does, and
// reports through its error: nil, a [cli.UsageError], [cli.ErrFound], or what went wrong.
type command struct {
	name   string
	args   string // what follows the flags in the usage line
	does   string // one line
	lasts  bool   // it sends: a terminal that takes no more lines must not hold it up
	define func(fs *pflag.FlagSet) func(ctx context.Context, std stdio, args []string) error
}

type stdio struct{ out, err io.Writer }

// commands in the order of an evening's work. New ones go here and nowhere else.
func commands() []command {
	return []command{
		planCommand(),
		benchCommand(),
		runCommand(),
		rehearseCommand(),
		burnInCommand(),
		resumeCommand(),
		lookedCommand(),
		listenCommand(),
		diagnoseCommand(),
		filmCommand(),
		reportCommand(),
		linkCommand(),
		phonesCommand(),
		manualCommand(),
		completionCommand(),
		versionCommand(),
	}
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	os.Exit(run(ctx, stdio{os.Stdout, os.Stderr}, os.Args[1:]))
}

func run(ctx context.Context, std stdio, args []string) int {
	if len(args) == 0 {
		writeUsage(std.err)
		return exitUsage
	}
	switch args[0] {
	case "help", "--help", "-h":
		return help(std, args[1:])
	case "--version":
		args = []string{"version"}
	}
	c, err := findCommand(args[0])
	if err != nil {
		fmt.Fprintf(std.err, "yardproof: %v\n", err)
		return exitUsage
	}
	return c.call(ctx, std, args[1:])
}

// findCommand returns a command by its name.
func findCommand(name string) (command, error) {
	var names []string
	for _, c := range commands() {
		if c.name == name {
			return c, nil
		}
		names = append(names, c.name)
	}
	if near := config.Nearest(name, names); near != "" {
		return command{}, fmt.Errorf("unknown command %q; did you mean %q?", name, near)
	}
	return command{}, fmt.Errorf("unknown command %q; yardproof --help lists them", name)
}

func (c command) call(ctx context.Context, std stdio, args []string) int {
	if c.lasts {
		// Frames allocate nothing, so a collection is rare: it may as well come at half
		// the garbage that Go allows by default. At 10,000 universes that is 25 MB.
		if os.Getenv("GOGC") == "" {
			debug.SetGCPercent(50)
		}
		out, talk := journal.New(std.out), journal.New(std.err)
		defer talk.Close(time.Second)
		defer out.Close(time.Second)
		std = stdio{out, talk}
	}
	fs := pflag.NewFlagSet(c.name, pflag.ContinueOnError)
	fs.SortFlags = false
	fs.Usage = func() {}
	runIt := c.define(fs)
	err := fs.Parse(args)
	switch {
	case errors.Is(err, pflag.ErrHelp):
		err = printed(std.out, func(w io.Writer) {
			guide.WriteHelp(w, guide.Command{Name: c.name, Args: c.args, Does: c.does, Flags: fs})
		})
	case err != nil:
		err = c.flagError(fs, err)
	default:
		err = runIt(ctx, std, fs.Args())
	}
	var wrongUse cli.UsageError
	switch {
	case err == nil:
		return exitFine
	case errors.Is(err, cli.ErrFound):
		return exitFound
	}
	cli.Print(std.err, "yardproof "+c.name, err)
	if errors.As(err, &wrongUse) {
		return exitUsage
	}
	return exitFound
}

// flagError adds to a flag's error what to do.
func (c command) flagError(fs *pflag.FlagSet, err error) error {
	if old, ok := errors.AsType[*cli.RenamedError](err); ok {
		return cli.Usage(old)
	}
	if unknown, ok := errors.AsType[*pflag.NotExistError](err); ok {
		var names []string
		fs.VisitAll(func(f *pflag.Flag) {
			if !f.Hidden {
				names = append(names, f.Name)
			}
		})
		if near := config.Nearest(unknown.GetSpecifiedName(), names); near != "" {
			return cli.Usagef("unknown flag --%s; did you mean --%s?", unknown.GetSpecifiedName(), near)
		}
	}
	return cli.Hint(cli.Usage(err), "yardproof %s --help lists the flags", c.name)
}
