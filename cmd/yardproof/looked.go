package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/state"
)

func lookedCommand() program.Command {
	return program.Command{
		Name: "looked",
		Args: "[WHAT WAS SEEN]",
		Does: "Put on record that you looked at the display, and what you saw: hours sent do not prove light",
		Define: func(fs *pflag.FlagSet) program.Run {
			dir := fs.String("state", "", stateUsage)
			return func(ctx context.Context, std program.Stdio, args []string) error {
				path, err := state.InUse(*dir)
				if err != nil {
					return cli.Usage(err)
				}
				if err := burnin.LeaveInspection(path, strings.Join(args, " ")); err != nil {
					return err
				}
				fmt.Fprintln(std.Err, "noted: it counts from now; it goes on record within a second, or when the burn-in next starts")
				return nil
			}
		},
	}
}
