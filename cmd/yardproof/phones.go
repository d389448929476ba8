package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/web"
)

func phonesCommand() program.Command {
	return program.Command{
		Name: "phones",
		Args: "[revoke NAME]",
		Does: "List the phones that were let in to the page, or shut one out",
		Define: func(fs *pflag.FlagSet) program.Run {
			dir := fs.String("state", "", stateUsage)
			return func(_ context.Context, std program.Stdio, args []string) error {
				path, err := state.InUse(*dir)
				if err != nil {
					return cli.Usage(err)
				}
				switch {
				case len(args) == 0:
					return web.PrintPhones(std.Out, std.Err, path)
				case len(args) == 2 && args[0] == "revoke":
				default:
					return cli.Usagef(`to shut one out: yardproof phones revoke "anna's phone"; without a word more it lists them`)
				}
				err = web.Revoke(path, args[1])
				if errors.Is(err, web.ErrNoPhone) {
					return cli.Hint(err, "yardproof phones lists them")
				}
				if err == nil {
					fmt.Fprintf(std.Err, "%s is let out; a page that it has open ends within a second\n", args[1])
				}
				return err
			}
		},
	}
}
