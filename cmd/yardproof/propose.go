package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/planview"
	"yardproof/cmd/yardproof/internal/terminal"
	"yardproof/config"
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
func (f *planFlags) proposal(ctx context.Context, std stdio, args []string) error {
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
	case f.propose.seconds <= 0 || f.propose.seconds > 3600:
		return cli.Usagef("--seconds %g: give more than 0 and at most 3600", f.propose.seconds)
	case f.demo && len(args) > 0:
		return cli.Usagef("give one of: a plan, --demo")
	case f.propose.write && (f.demo || slices.Contains(args, "-")):
		return cli.Usagef("--write changes a plan's file: name one")
	}
	file, text, err := f.text(args)
	if err != nil {
		return err
	}
	c := planfile.Check(config.Load(file, bytes.NewReader(text)))
	if c.Budget == nil {
		return verdict(std.err, c)
	}
	ctx, cancel := context.WithTimeout(ctx, time.Duration(f.propose.seconds*float64(time.Second)))
	defer cancel()
	var p proposal
	if what == proposePorts {
		p, err = planview.NewPlugs(design.Ports(ctx, c.Plan, c.Budget), file, text)
	} else {
		p, err = planview.NewFeeding(f.design(ctx, std, c, level), file, text)
	}
	if err != nil {
		return fmt.Errorf("proposal: %w", err)
	}
	if err := p.Print(std.out, f.format); err != nil {
		return err
	}
	if why := p.Failed(); why != "" {
		return errors.New(why)
	}
	if !f.propose.write || p.Text() == nil {
		return nil
	}
	return writePlan(std, file, text, p.Text())
}

// design proposes feeds, and says on a terminal how far it is.
func (f *planFlags) design(ctx context.Context, std stdio, c planfile.Checked, level float64) *design.Proposal {
	opts := design.Options{Level: level, LoseOne: f.propose.loseOne}
	if f.str != "" {
		opts.Only = []string{f.str}
	}
	line := terminal.NewStatusLine(std.err)
	switch {
	case f.propose.progress:
		opts.Progress = func(stage design.Stage, done, of int) { fmt.Fprintln(std.err, planview.HowFar(stage, done, of)) }
	case line.Live:
		opts.Progress = func(stage design.Stage, done, of int) { line.Set(planview.HowFar(stage, done, of)) }
		defer line.Set("")
	}
	return design.New(ctx, c.Plan, opts)
}

// text reads a plan's file as it stands.
func (f *planFlags) text(args []string) (file string, text []byte, err error) {
	if f.demo {
		return "demo.yaml", []byte(config.DemoText()), nil
	}
	path, err := onePlan(args)
	if err != nil {
		return "", nil, err
	}
	const most = 17 << 20 // a longer one is refused when it is loaded
	if path == "-" {
		text, err = io.ReadAll(io.LimitReader(os.Stdin, most))
		return "standard input", text, err
	}
	in, err := planfile.Open(path)
	if err != nil {
		return "", nil, err
	}
	defer in.Close()
	text, err = io.ReadAll(io.LimitReader(in, most))
	return path, text, err
}

// writePlan puts the changed text in the place of the plan's file, if that is still as
// it was read.
func writePlan(std stdio, file string, was, text []byte) error {
	info, err := os.Stat(file)
	if err != nil {
		return fmt.Errorf("writing the plan: %w", err)
	}
	if now, err := os.ReadFile(file); err != nil || string(now) != string(was) {
		return errors.New("the plan was changed by somebody meanwhile: nothing is written; propose anew")
	}
	if err := durable.Replace(file, text, info.Mode().Perm()); err != nil {
		return fmt.Errorf("writing the plan: %w", err)
	}
	fmt.Fprintf(std.err, "%s is written; check it: yardproof plan %s\n", file, file)
	return nil
}
