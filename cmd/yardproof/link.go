package main

import (
	"context"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/web"
)

func linkCommand() program.Command {
	return program.Command{
		Name: "link",
		Does: "Print a link and its QR code that let one more phone open the page",
		Define: func(fs *pflag.FlagSet) program.Run {
			dir := fs.String("state", "", stateUsage)
			name := fs.String("name", "", "the `name` of the phone, such as \"anna's phone\" (default: a number)")
			return program.NoArgs(func(_ context.Context, std program.Stdio) error {
				path, err := state.Place(*dir)
				if err != nil {
					return err
				}
				link, err := web.NewLink(path, *name)
				if err != nil {
					return err
				}
				if err := web.Answers(link); err != nil {
					return cli.Hint(err, "start the transmitter first: yardproof run, or burn-in")
				}
				return web.PrintLink(std.Out, std.Err, link)
			})
		},
	}
}
