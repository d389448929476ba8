package main

import (
	"context"
	"fmt"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/opening"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/report"
	"yardproof/cmd/yardproof/internal/state"
)

func reportCommand() program.Command {
	return program.Command{
		Name: "report",
		Args: "[PLAN]",
		Does: "Print the proof record as a sheet; with a plan, also the strings that have no proof yet",
		Define: func(fs *pflag.FlagSet) program.Run {
			stateDir := fs.String("state", "", "the state `directory` that holds the record (default: as for run)")
			format := fs.String("format", "text", "the `format`: text, html (for paper) or csv (a row for each line of the record)")
			night := fs.Bool("opening", false, "go or no-go: the sheet for opening night, of a plan; as text or html")
			iface := fs.String("interface", "", "with --opening: listen three seconds on this `interface` for who sends; nothing is sent")
			since := fs.String("since", "", "leave out what was recorded before this `date`: 2026-11-01, or \"2026-11-01 16:00\"")
			return func(ctx context.Context, std program.Stdio, args []string) error {
				if *night {
					return runOpening(ctx, std, *stateDir, *format, *since, *iface, args)
				}
				if *iface != "" {
					return cli.Usagef("--interface is for --opening")
				}
				return runReport(std, *stateDir, *format, *since, args)
			}
		},
	}
}

func runReport(std program.Stdio, stateDir, format, since string, args []string) error {
	if err := cli.Format(format, "text", "html", "csv"); err != nil {
		return err
	}
	if len(args) > 1 {
		return cli.Usagef("unexpected argument %q", args[1])
	}
	from, err := report.ParseSince(since)
	if err != nil {
		return cli.Usagef("--since %w", err)
	}
	dir, err := state.ExistingPlace(stateDir)
	if err != nil {
		return err
	}
	var c planfile.Checked
	if len(args) == 1 {
		if c, err = planfile.Read(args[0]); err != nil {
			return err
		}
		c.SayWeak(std.Err)
	}
	r, err := report.Open(dir, from, c.Plan, c.Protection)
	if err != nil {
		return err
	}
	defer r.Close()
	for _, n := range r.Notes {
		fmt.Fprintln(std.Err, n)
	}
	switch {
	case r.Recorded == 0:
		fmt.Fprintf(std.Err, "nothing is recorded in %s yet\n", dir)
	case r.Listed() == 0:
		fmt.Fprintf(std.Err, "nothing is recorded in %s since %s\n", dir, since)
	}
	return r.Print(std.Out, format)
}

// runOpening prints the sheet for opening night: what the record knows, and what is
// heard now.
func runOpening(ctx context.Context, std program.Stdio, stateDir, format, since, iface string, args []string) error {
	switch {
	case format != "text" && format != "html":
		return cli.Usagef("--format %q: the sheet for opening night is text or html", format)
	case since != "":
		return cli.Usagef("--since is not for --opening: what was proved counts, however long ago")
	case len(args) != 1:
		return cli.Usagef("--opening needs one plan file: it tells what is unproved")
	}
	dir, err := state.ExistingPlace(stateDir)
	if err != nil {
		return err
	}
	c, err := planfile.Read(args[0])
	if err != nil {
		return err
	}
	if c.Errors() > 0 {
		c.Print(std.Err)
		return fmt.Errorf("there is no sheet while the plan has an error: %w", cli.ErrFound)
	}
	facts, err := opening.Gather(ctx, dir, iface, c.Plan, c.Budget)
	if err != nil {
		return err
	}
	sheet := opening.New(facts)
	if err = sheet.Print(std.Out, format); err == nil && sheet.State == opening.NoGo {
		err = cli.ErrFound
	}
	return err
}
