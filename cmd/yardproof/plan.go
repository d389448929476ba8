package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/planview"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

func planCommand() program.Command {
	return program.Command{
		Name: "plan",
		Args: "PLAN",
		Does: "Check a plan (- is standard input) and print its address map and budgets",
		Define: func(fs *pflag.FlagSet) program.Run {
			f := planFlags{set: fs}
			fs.StringVar(&f.format, "format", "", "text, json or csv; with --sheet text, csv or html; with --profile text or svg; with --patterns text or json (default: the first of them)")
			fs.StringVar(&f.sheet, "sheet", "", "print the settings sheet and pigtail labels of this `controller`")
			fs.Bool("bill", false, "list what the plan takes, with spares, and what is still to be bought: what stock does not have")
			fs.StringVar(&f.str, "string", "", "the `name` of the string for --profile, --picture and --patterns")
			fs.Bool("profile", false, "draw the volts along the string")
			fs.StringVar(&f.picture, "picture", "", "draw this `pattern` on the string, as SVG")
			fs.Bool("patterns", false, "print the currents and the level of every pattern; with --string, of that string alone")
			fs.StringVar(&f.fromCSV, "from-csv", "", "turn this `file` of rows into a plan on standard output; PLAN is left out")
			fs.BoolVar(&f.demo, "demo", false, "the built-in plan; PLAN is left out")
			fs.Bool("example", false, "print the built-in plan's file, to begin one's own from")
			fs.Bool("quiet", false, "check only: print what is wrong, and nothing else")
			fs.Bool("schema", false, "print the JSON Schema of a plan, for editors that complete and check keys")
			fs.StringVar(&f.propose.what, "propose", "", "propose the cheapest feeds for strings whose feeds are missing, too weak or unprotected; --propose ports: the fewest `plugs` to move")
			fs.Lookup("propose").NoOptDefVal = proposeFeeds
			fs.StringVar(&f.propose.level, "level", "100%", "the `level` that a proposal has to hold for")
			fs.BoolVar(&f.propose.loseOne, "lose-a-feed", false, "a proposal has to hold with any one feed lost as well")
			fs.Float64Var(&f.propose.seconds, "seconds", 30, "how many `seconds` a proposal may be looked for")
			fs.BoolVar(&f.propose.progress, "progress", false, "say how far a proposal is, line by line, even where standard error is no terminal")
			fs.BoolVar(&f.propose.write, "write", false, "write the proposal into the plan's file; its comments stay")
			return func(ctx context.Context, std program.Stdio, args []string) error { return f.run(ctx, std, args) }
		},
	}
}

// planFlags are the flags of the plan command.
type planFlags struct {
	set *pflag.FlagSet

	format, sheet, str, picture, fromCSV string
	demo                                 bool
	propose                              proposeFlags
}

// A mode is one thing that plan prints: by default the whole plan.
type mode struct {
	flag    string   // asks for it
	formats []string // the usual one first
	onto    onto
	print   func(*planview.View, io.Writer) error
	instead func(program.Stdio) error // for what needs no plan
}

// onto is what a mode does with --string.
type onto int

const (
	noString onto = iota
	mayString
	needsString
)

func (f *planFlags) modes() []mode {
	return []mode{
		{flag: "sheet", formats: []string{"text", "csv", "html"}, print: func(v *planview.View, w io.Writer) error { return v.Sheet(w, f.sheet, f.format) }},
		{flag: "bill", formats: []string{"text", "json", "csv"}, print: func(v *planview.View, w io.Writer) error { return v.Bill(w, f.format) }},
		{flag: "profile", formats: []string{"text", "svg"}, onto: needsString, print: func(v *planview.View, w io.Writer) error { return v.Profile(w, f.str, f.format) }},
		{flag: "picture", formats: []string{"svg"}, onto: needsString, print: func(v *planview.View, w io.Writer) error { return v.Picture(w, f.str, f.picture) }},
		{flag: "patterns", formats: []string{"text", "json"}, onto: mayString, print: func(v *planview.View, w io.Writer) error { return v.Patterns(w, f.str, f.format) }},
		{flag: "quiet", formats: []string{"text"}, print: func(*planview.View, io.Writer) error { return nil }},
		{flag: "propose", formats: []string{"text", "json"}, onto: mayString},
		{flag: "from-csv", instead: f.fromRows},
		{flag: "example", instead: func(std program.Stdio) error { _, err := io.WriteString(std.Out, config.DemoText()); return err }},
		{flag: "schema", instead: func(std program.Stdio) error { _, err := std.Out.Write(config.Schema()); return err }},
	}
}

// mode is the one that was asked for.
func (f *planFlags) mode() (mode, error) {
	m := mode{formats: []string{"text", "json", "csv"}, print: func(v *planview.View, w io.Writer) error { return v.Print(w, f.format) }}
	var asked []string
	for _, one := range f.modes() {
		flag := f.set.Lookup(one.flag)
		if flag.Value.String() != flag.DefValue {
			asked = append(asked, "--"+one.flag)
			m = one
		}
	}
	switch {
	case len(asked) > 1:
		return m, cli.Usagef("%s exclude each other: give one", textout.And(asked))
	case m.onto == needsString && f.str == "":
		return m, cli.Usagef("%s needs --string NAME", asked[0])
	case m.onto == noString && f.str != "":
		return m, cli.Usagef("--string is for --profile, --picture, --patterns and --propose")
	case m.flag != "propose" && f.only() != "":
		return m, cli.Usagef("--%s is for --propose", f.only())
	case m.formats == nil && f.format != "":
		return m, cli.Usagef("%s prints a plan and has no --format", asked[0])
	case m.formats != nil && f.format == "":
		f.format = m.formats[0]
	case !slices.Contains(m.formats, f.format) && m.formats != nil:
		return m, cli.Usagef("--format %q is not one of %s", f.format, strings.Join(m.formats, ", "))
	}
	return m, nil
}

// only is a flag that was given and is for proposals alone.
func (f *planFlags) only() string {
	for _, name := range []string{"level", "lose-a-feed", "seconds", "progress", "write"} {
		if f.set.Changed(name) {
			return name
		}
	}
	return ""
}

func (f *planFlags) run(ctx context.Context, std program.Stdio, args []string) error {
	m, err := f.mode()
	if err != nil {
		return err
	}
	if m.flag == "propose" {
		return f.proposal(ctx, std, args)
	}
	switch noPlan := m.instead != nil; {
	case noPlan && (f.demo || len(args) > 0):
		return cli.Usagef("--%s needs no plan: leave it out", m.flag)
	case noPlan:
		return m.instead(std)
	}
	source, err := planfile.Find(f.demo, args)
	if err != nil {
		return err
	}
	c := source.Check()
	answered := m.flag == "" && f.format == "json" // what is wrong is in the answer too
	if c.Errors() == 0 || answered {
		if err := m.print(planview.New(c), std.Out); err != nil {
			return err
		}
	}
	if answered || m.flag == "quiet" && len(c.Problems) == 0 {
		std.Err = io.Discard
	}
	return c.Verdict(std.Err)
}

// fromRows turns a spreadsheet into a plan.
func (f *planFlags) fromRows(std program.Stdio) error {
	in, err := os.Open(f.fromCSV)
	if err != nil {
		return fmt.Errorf("reading the rows: %w", err)
	}
	defer in.Close()
	c, err := planview.FromCSV(std.Out, f.fromCSV, in)
	if err != nil {
		return err
	}
	return c.Verdict(std.Err)
}
