// Package program is the command line as a whole: it finds a command, reads its flags,
// runs it and turns what becomes of it into an exit code; it gives help, and prints
// manual, completions and version. It refuses to know what a command does.
package program

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"slices"
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
	fine  = 0
	found = 1 // something was found wrong, or went wrong
	wrong = 2 // the command was called in a wrong way
)

// Stdio is where a command prints: data, and talk.
type Stdio struct{ Out, Err io.Writer }

// A Run runs a command, and ends when ctx does. It reports through its error: nil, a
// [cli.UsageError], [cli.ErrFound], or what went wrong.
type Run func(ctx context.Context, std Stdio, args []string) error

// NoArgs is a command that takes flags alone.
func NoArgs(run func(ctx context.Context, std Stdio) error) Run {
	return func(ctx context.Context, std Stdio, args []string) error {
		if len(args) > 0 {
			return cli.Usagef("unexpected argument %q", args[0])
		}
		return run(ctx, std)
	}
}

// A Command is one that the program has.
type Command struct {
	Name   string
	Args   string // what follows the flags in the usage line
	Does   string // one line, without a full stop
	Lasts  bool   // it sends: a terminal that takes no more lines must not hold it up
	Define func(fs *pflag.FlagSet) Run
}

// Program is what its commands and topics make it.
type Program struct {
	Version  string
	Commands []Command // in the order of an evening's work
	Topics   []guide.Topic
}

// Main runs the program as a process, and returns its exit code.
func (p Program) Main() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	return p.Run(ctx, Stdio{os.Stdout, os.Stderr}, os.Args[1:])
}

// All are the commands, with those that every program has.
func (p Program) All() []Command {
	return append(slices.Clip(p.Commands), p.manual(), p.completion(), p.version())
}

// Run runs what args name, and returns the exit code.
func (p Program) Run(ctx context.Context, std Stdio, args []string) int {
	if len(args) == 0 {
		p.usage(std.Err)
		return wrong
	}
	name, args := args[0], args[1:]
	switch name {
	case "help", "--help", "-h":
		return exit(std.Err, "yardproof help", p.help(std.Out, args))
	case "--version":
		name = "version"
	}
	var names []string
	for _, c := range p.All() {
		if c.Name == name {
			return c.call(ctx, std, args)
		}
		names = append(names, c.Name)
	}
	hint := "yardproof --help lists them"
	if info, err := os.Stat(name); err == nil && info.Mode().IsRegular() {
		hint = "a command comes before a file: yardproof plan " + name
	} else if near := config.Nearest(name, names); near != "" {
		hint = fmt.Sprintf("did you mean %q?", near)
	}
	return exit(std.Err, "yardproof", cli.Usagef("unknown command %q; %s", name, hint))
}

// exit tells of an error, and returns the exit code.
func exit(talk io.Writer, who string, err error) int {
	if err == nil {
		return fine
	}
	if errors.Is(err, cli.ErrFound) {
		return found
	}
	cli.Print(talk, who, err)
	if _, ok := errors.AsType[cli.UsageError](err); ok {
		return wrong
	}
	return found
}

func (c Command) call(ctx context.Context, std Stdio, args []string) int {
	if c.Lasts {
		// Frames allocate nothing, so a collection is rare: it may as well come at half
		// the garbage that Go allows by default. At 10,000 universes that is 25 MB.
		if os.Getenv("GOGC") == "" {
			debug.SetGCPercent(50)
		}
		out, talk := journal.New(std.Out), journal.New(std.Err)
		defer talk.Close(3 * time.Second) // a busy machine may take that long to begin with it
		defer out.Close(time.Second)
		std = Stdio{out, talk}
	}
	fs, run := c.flags()
	err := fs.Parse(args)
	switch {
	case errors.Is(err, pflag.ErrHelp):
		err = printed(std.Out, func(w io.Writer) { guide.WriteHelp(w, c.described()) })
	case err != nil:
		err = c.flagError(fs, err)
	default:
		err = run(ctx, std, fs.Args())
	}
	return exit(std.Err, "yardproof "+c.Name, err)
}

func (c Command) flags() (*pflag.FlagSet, Run) {
	fs := pflag.NewFlagSet(c.Name, pflag.ContinueOnError)
	fs.SortFlags = false
	fs.Usage = func() {}
	return fs, c.Define(fs)
}

// flagError adds to a flag's error what to do.
func (c Command) flagError(fs *pflag.FlagSet, err error) error {
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
	if bad, ok := errors.AsType[*pflag.InvalidValueError](err); ok {
		if how := written[bad.GetFlag().Value.Type()]; how != "" {
			return cli.Hint(cli.Usagef("--%s cannot be %q", bad.GetFlag().Name, bad.GetValue()), "write %s", how)
		}
	}
	return cli.Hint(cli.Usage(err), "yardproof %s --help lists the flags", c.Name)
}

// written says how the values of flags are written, by their type.
var written = map[string]string{
	"duration": "a time with its unit, such as 30s, 5m or 2h",
	"float64":  "a number, such as 2.5: with a point, without its unit",
	"int":      "a whole number, such as 50",
	"uint64":   "a whole number, such as 50",
}

// printed writes by write, and tells of the first write that failed.
func printed(w io.Writer, write func(io.Writer)) error {
	out := bufio.NewWriter(w)
	write(out)
	return out.Flush()
}
