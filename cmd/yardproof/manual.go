package main

import (
	"bufio"
	"context"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/guide"
)

func manualCommand() command {
	return command{
		name: "manual",
		does: "Print the manual page, for man",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			return func(_ context.Context, std stdio, args []string) error {
				if len(args) > 0 {
					return cli.Usagef("%q is an unexpected argument; completions come from yardproof completion bash, zsh or fish", args[0])
				}
				out := bufio.NewWriter(std.out) // its Flush tells of the first write that failed
				guide.WriteMan(out, version, described())
				return out.Flush()
			}
		},
	}
}

func completionCommand() command {
	return command{
		name: "completion",
		args: "bash|zsh|fish",
		does: "Print the completion of a shell; for bash: source <(yardproof completion bash)",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			fs.SetInterspersed(false) // what is asked about has flags of its own
			return func(_ context.Context, std stdio, args []string) error {
				if len(args) == 0 {
					return cli.Usagef("name a shell: bash, zsh or fish")
				}
				out := bufio.NewWriter(std.out)
				switch args[0] {
				case "bash":
					guide.WriteBash(out, described())
				case "zsh":
					guide.WriteZsh(out, described())
				case "fish":
					guide.WriteFish(out, described())
				case "strings", "controllers", "interfaces": // the shells ask
					guide.WriteWords(out, args[0], args[1:])
				default:
					return cli.Usagef("%q is not a shell that is known; there are bash, zsh and fish", args[0])
				}
				return out.Flush()
			}
		},
	}
}

// described are the commands as the guide wants them.
func described() []guide.Command {
	var list []guide.Command
	for _, c := range commands() {
		list = append(list, c.described())
	}
	return list
}

func (c command) described() guide.Command {
	fs := pflag.NewFlagSet(c.name, pflag.ContinueOnError)
	fs.SortFlags = false
	c.define(fs)
	return guide.Command{Name: c.name, Args: c.args, Does: c.does, Flags: fs}
}
