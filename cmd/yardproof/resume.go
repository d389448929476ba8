package main

import (
	"context"
	"fmt"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/hold"
	"yardproof/cmd/yardproof/internal/state"
)

func resumeCommand() command {
	return command{
		name: "resume",
		does: "Lift the hold that Everything dark, or a pattern chosen during a burn-in, has put on the display",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			dir := fs.String("state", "", stateUsage)
			return func(_ context.Context, std stdio, args []string) error {
				if len(args) > 0 {
					return cli.Usagef("%q is an unexpected argument", args[0])
				}
				path, err := state.InUse(*dir)
				if err != nil {
					return cli.Usage(err)
				}
				h := hold.Read(path)
				if err := hold.LeaveResume(path); err != nil {
					return err
				}
				if h == nil {
					fmt.Fprintln(std.err, "no hold is on disk; one that is in force is lifted within a second")
					return nil
				}
				fmt.Fprintf(std.err, "%s: lifted within a second, or when the transmitter next starts\n", hold.Describe(h))
				return nil
			}
		},
	}
}
