package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/state"
)

func lookedCommand() command {
	return command{
		name: "looked",
		args: "[WHAT WAS SEEN]",
		does: "Put on record that you looked at the display, and what you saw: hours sent do not prove light",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			dir := fs.String("state", "", "the state `directory` of the burn-in (default: as for run; under systemd /var/lib/yardproof)")
			return func(ctx context.Context, std stdio, args []string) error {
				path, err := state.Place(*dir)
				if err != nil {
					return err
				}
				if info, err := os.Stat(path); err != nil || !info.IsDir() {
					return cli.Usagef("there is no state directory %s; --state names that of the burn-in, under systemd /var/lib/yardproof", path)
				}
				if err := burnin.LeaveLook(path, strings.Join(args, " ")); err != nil {
					return err
				}
				fmt.Fprintln(std.err, "noted; the burn-in takes it up within a second, or when it next starts")
				return nil
			}
		},
	}
}
