package main

import (
	"context"
	"fmt"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/hold"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/state"
)

func resumeCommand() program.Command {
	return program.Command{
		Name: "resume",
		Does: "Lift the hold that Everything dark, or a pattern chosen during a burn-in, has put on the display",
		Define: func(fs *pflag.FlagSet) program.Run {
			dir := fs.String("state", "", stateUsage)
			return program.NoArgs(func(_ context.Context, std program.Stdio) error {
				path, err := state.InUse(*dir)
				if err != nil {
					return cli.Usage(err)
				}
				h := hold.Read(path)
				if err := hold.LeaveResume(path); err != nil {
					return err
				}
				if h == nil {
					fmt.Fprintln(std.Err, "no hold is on disk; one that is in force is lifted within a second")
					return nil
				}
				fmt.Fprintf(std.Err, "%s: lifted within a second, or when the transmitter next starts\n", hold.Describe(h))
				return nil
			})
		},
	}
}
