package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/terminal"
	"yardproof/cmd/yardproof/internal/transmit"
	"yardproof/patterns"
)

func burnInCommand() program.Command {
	return program.Command{
		Name:  "burn-in",
		Args:  "PLAN",
		Does:  "Run the plan's burn-in programme until every string has its hours; a restart goes on where it was",
		Lasts: true,
		Define: func(fs *pflag.FlagSet) program.Run {
			var f transmitFlags
			var cfg burnin.Config
			fs.StringSliceVar(&cfg.Strings, "string", nil, "the `strings` to burn in, a,b; or repeat the flag (default: all)")
			fs.StringSliceVar(&cfg.Controllers, "controller", nil, "the `controllers` whose strings to burn in, a,b; or repeat the flag")
			fs.Float64Var(&cfg.Hours, "hours", 0, "`hours` to serve each string (default: the plan's)")
			fs.BoolVar(&cfg.Again, "again", false, "begin anew, and forget the hours served")
			fs.BoolVar(&cfg.Stay, "stay", false, "afterwards keep sending dark and serving the page, until Ctrl-C")
			f.define(fs)
			return func(ctx context.Context, std program.Stdio, args []string) error {
				if len(args) != 1 {
					return cli.Usagef("name one plan file")
				}
				if fs.Changed("hours") && !(cfg.Hours > 0 && cfg.Hours <= 10000) {
					return cli.Usagef("--hours %v: give more than 0 and at most 10000", cfg.Hours)
				}
				if err := f.check(fs); err != nil {
					return err
				}
				return runBurnIn(ctx, std, args[0], f, cfg)
			}
		},
	}
}

// runBurnIn composes a transmitter and a burn-in that chooses what it shows.
func runBurnIn(ctx context.Context, std program.Stdio, path string, f transmitFlags, cfg burnin.Config) (err error) {
	bar := terminal.NewStatusLine(std.Err)
	c, err := f.config(bar, func() (planfile.Checked, error) { return readBurnIn(path, cfg) })
	if err != nil {
		return err
	}
	c.First, c.Patient = session.Request{Pattern: patterns.Dark}, true
	t, err := transmit.Open(c)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, t.Close()) }()
	cfg.Session, cfg.State, cfg.Rate, cfg.Log, cfg.Record = t.Session(), t.State(), t.Rate(), c.Log, t.Record().Append
	cfg.Standings = t.Record().Standings
	cfg.Read = func() burnin.Reading {
		stats, wire, expected, lost := t.Reading()
		return burnin.Reading{Stats: stats, Wire: wire, Expected: expected, Lost: lost}
	}
	cfg.Done = func(r burnin.Report) { fmt.Fprintln(std.Out, r.Ends()) }
	b, err := burnin.New(cfg)
	if err != nil {
		return cli.Usage(err)
	}
	fmt.Fprintln(bar, b.Begins())
	return t.Run(ctx, &transmit.Programme{
		Run:       func(ctx context.Context) error { return b.RunShown(ctx, bar) },
		Says:      func() string { return b.Report().Says() },
		Moves:     b.Ticks,
		Looked:    b.Looked,
		Collector: metrics.BurnInCollector(b.Report),
	})
}

// readBurnIn reads a plan and refuses one that has no programme for these flags.
func readBurnIn(path string, cfg burnin.Config) (planfile.Checked, error) {
	c, err := planfile.Read(path)
	if err != nil || c.Errors() > 0 {
		return c, err
	}
	if err := burnin.Check(c.Plan, cfg); err != nil {
		return c, cli.Usage(err)
	}
	return c, nil
}
