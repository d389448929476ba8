package program

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/guide"
)

// help answers yardproof help [COMMAND or TOPIC]; a word may be both.
func (p Program) help(out io.Writer, args []string) error {
	write := p.usage
	switch len(args) {
	case 0:
	case 1:
		var err error
		if write, err = guide.Find(args[0], p.described(), p.Topics); err != nil {
			return cli.Usage(err)
		}
	default:
		return cli.Usagef("%q is an unexpected argument; ask for one command or topic", args[1])
	}
	return printed(out, write)
}

func (p Program) usage(w io.Writer) {
	guide.WriteUsage(w, p.described(), p.topics())
}

func (p Program) topics() (names []string) {
	for _, t := range p.Topics {
		names = append(names, t.Name)
	}
	return names
}

// described are the commands as the guide wants them.
func (p Program) described() (list []guide.Command) {
	for _, c := range p.All() {
		list = append(list, c.described())
	}
	return list
}

func (c Command) described() guide.Command {
	fs, _ := c.flags()
	return guide.Command{Name: c.Name, Args: c.Args, Does: c.Does, Flags: fs}
}

func (p Program) manual() Command {
	return Command{
		Name: "manual",
		Does: "Print the manual page, for man",
		Define: func(*pflag.FlagSet) Run {
			return NoArgs(func(_ context.Context, std Stdio) error {
				return printed(std.Out, func(w io.Writer) { guide.WriteMan(w, p.Version, p.described()) })
			})
		},
	}
}

func (p Program) completion() Command {
	return Command{
		Name: "completion",
		Args: "bash|zsh|fish",
		Does: "Print the completion of a shell; for bash: source <(yardproof completion bash)",
		Define: func(fs *pflag.FlagSet) Run {
			fs.SetInterspersed(false) // what is asked about has flags of its own
			return func(_ context.Context, std Stdio, args []string) error {
				if len(args) == 0 {
					return cli.Usagef("name a shell: bash, zsh or fish")
				}
				var write func(io.Writer, []guide.Command, []string)
				switch args[0] {
				case "bash":
					write = guide.WriteBash
				case "zsh":
					write = guide.WriteZsh
				case "fish":
					write = guide.WriteFish
				case "strings", "controllers", "interfaces": // the shells ask
					write = func(w io.Writer, _ []guide.Command, _ []string) { guide.WriteWords(w, args[0], args[1:]) }
				default:
					return cli.Usagef("%q is not a shell that is known; there are bash, zsh and fish", args[0])
				}
				return printed(std.Out, func(w io.Writer) { write(w, p.described(), p.topics()) })
			}
		},
	}
}

func (p Program) version() Command {
	return Command{
		Name: "version",
		Does: "Print version, commit and Go version",
		Define: func(*pflag.FlagSet) Run {
			return NoArgs(func(_ context.Context, std Stdio) error {
				_, err := fmt.Fprintf(std.Out, "yardproof %s, commit %s, %s %s/%s\n", p.Version, Commit(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
				return err
			})
		},
	}
}

// Commit is what the toolchain recorded of the checkout it built from.
func Commit() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	revision, modified := "unknown", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			modified = " with changes"
		}
	}
	return revision + modified
}
