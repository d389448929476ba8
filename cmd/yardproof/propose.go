package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/planview"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/terminal"
	"yardproof/config/design"
)

// proposeFlags are those of plan --propose.
type proposeFlags struct {
	what    string // feeds or ports
	level   string
	loseOne bool
	seconds float64
	write   bool

	progress bool
}

const (
	proposeFeeds = "feeds"
	proposePorts = "ports"
)

// proposal is what --propose prints.
type proposal interface {
	Print(w io.Writer, format string) error
	Text() []byte
	Failed() string
}

// proposal works out a proposal and prints it, and writes it into the plan when asked.
func (f *planFlags) proposal(ctx context.Context, std program.Stdio, args []string) error {
	what := f.propose.what
	if n := len(args); n > 0 && (args[n-1] == proposePorts || args[n-1] == proposeFeeds) { // --propose ports
		what, args = args[n-1], args[:n-1]
	}
	level, err := cli.ParseLevel(f.propose.level)
	switch {
	case err != nil:
		return err
	case level <= 0:
		return cli.Usagef("--level %s is dark: give more than 0%%", f.propose.level)
	case what != proposeFeeds && what != proposePorts:
		return cli.Usagef("--propose %s: it can be %s or %s", what, proposeFeeds, proposePorts)
	case !(f.propose.seconds > 0 && f.propose.seconds <= 3600): // nor is it no number
		return cli.Usagef("--seconds %g: give more than 0 and at most 3600", f.propose.seconds)
	case f.propose.write && (f.demo || slices.Contains(args, "-")):
		return cli.Usagef("--write changes a plan's file: name one")
	}
	source, err := planfile.Find(f.demo, args)
	if err != nil {
		return err
	}
	c := source.Check()
	if c.Budget == nil {
		return c.Verdict(std.Err)
	}
	ctx, cancel := context.WithTimeout(ctx, time.Duration(f.propose.seconds*float64(time.Second)))
	defer cancel()
	var p proposal
	if what == proposePorts {
		p, err = planview.NewPlugs(design.Ports(ctx, c.Plan, c.Budget), source.File, source.Text)
	} else {
		line := terminal.NewStatusLine(std.Err)
		found := design.New(ctx, c.Plan, f.options(line, level))
		line.Set("")
		p, err = planview.NewFeeding(found, source.File, source.Text)
	}
	if err != nil {
		return fmt.Errorf("proposal: %w", err)
	}
	if err := p.Print(std.Out, f.format); err != nil {
		return err
	}
	if why := p.Failed(); why != "" {
		return errors.New(why)
	}
	if !f.propose.write || p.Text() == nil {
		return nil
	}
	if err := source.Replace(p.Text()); err != nil {
		return err
	}
	fmt.Fprintf(std.Err, "%s is written; check it: yardproof plan %[1]s\n", source.File)
	return nil
}

// options say how to look for feeds, and how far that is.
func (f *planFlags) options(line *terminal.StatusLine, level float64) design.Options {
	opts := design.Options{Level: level, LoseOne: f.propose.loseOne}
	if f.str != "" {
		opts.Only = []string{f.str}
	}
	opts.Progress = func(stage design.Stage, done, of int) {
		if text := planview.HowFar(stage, done, of); f.propose.progress {
			fmt.Fprintln(line, text)
		} else {
			line.Set(text)
		}
	}
	return opts
}
