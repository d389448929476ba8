package main

import (
	"context"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/bench"
	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/transmit"
	"yardproof/cmd/yardproof/internal/web"
	"yardproof/config"
	"yardproof/patterns"
)

func benchCommand() program.Command {
	return program.Command{
		Name:  "bench",
		Does:  "Prove strings one by one on one port before they are hung: pictures, white with a reading, a tag",
		Lasts: true,
		Define: func(fs *pflag.FlagSet) program.Run {
			var f transmitFlags
			var one config.One
			defineOne(fs, &one, "the universe of the bench's port; needs --pixels")
			batch := fs.String("batch", "", "the `name` of the batch whose amps are compared (default: made of the other flags)")
			tag := fs.String("tag", "", "the `tag` of the first string, such as B001; the next count up")
			f.define(fs)
			return func(ctx context.Context, std program.Stdio, args []string) error {
				if err := f.check(fs); err != nil {
					return err
				}
				if len(args) > 0 || !fs.Changed("universe") || !fs.Changed("pixels") {
					return cli.Hint(cli.Usagef("the bench needs one port, not a plan"), "write yardproof bench --universe 1 --pixels 50")
				}
				c, err := f.config(std.Err, func() (planfile.Checked, error) { return planfile.Check(bench.Plan(one, *batch)), nil })
				if err != nil {
					return err
				}
				c.First, c.Bench = session.Request{Pattern: patterns.Dark}, &web.Bench{FirstTag: *tag}
				return transmit.Run(ctx, c)
			}
		},
	}
}
