package main

import (
	"context"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/pflag"

	"yardproof/config"
)

// planFlags are the flags of the plan command.
type planFlags struct {
	format  string
	sheet   string
	bill    bool
	fromCSV string
	str     string
	profile bool
	picture string
	pattern bool
	demo    bool
	example bool
	schema  bool
}

func planCommand() command {
	return command{
		name: "plan",
		args: "PLAN",
		does: "Check a plan and print its address map and budgets",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			var f planFlags
			fs.StringVar(&f.format, "format", "text", "text, json or csv; with --sheet also html, with --profile also svg; --picture is svg")
			fs.StringVar(&f.sheet, "sheet", "", "print the settings sheet and pigtail labels of this `controller`")
			fs.BoolVar(&f.bill, "bill", false, "list supplies, fuses and wire as CSV")
			fs.StringVar(&f.str, "string", "", "the `name` of the string for --profile, --picture and --patterns")
			fs.BoolVar(&f.profile, "profile", false, "draw the volts along the string")
			fs.StringVar(&f.picture, "picture", "", "draw this `pattern` on the string, as SVG")
			fs.BoolVar(&f.pattern, "patterns", false, "print the currents and the level of every pattern; with --string, of that string alone")
			fs.StringVar(&f.fromCSV, "from-csv", "", "turn this `file` of rows into a plan on standard output; PLAN is left out")
			fs.BoolVar(&f.demo, "demo", false, "the built-in plan; PLAN is left out")
			fs.BoolVar(&f.example, "example", false, "print the built-in plan's file, to begin one's own from")
			fs.BoolVar(&f.schema, "schema", false, "print the JSON Schema of a plan, for editors that complete and check keys")
			return func(_ context.Context, std stdio, args []string) error { return f.run(fs, std, args) }
		},
	}
}

func (f *planFlags) run(fs *pflag.FlagSet, std stdio, args []string) error {
	asked := 0
	for _, one := range []bool{f.sheet != "", f.bill, f.profile, f.picture != "", f.pattern, f.fromCSV != "", f.example, f.schema} {
		if one {
			asked++
		}
	}
	formats := []string{"text", "json", "csv"}
	switch {
	case f.sheet != "":
		formats = []string{"text", "csv", "html"}
	case f.profile:
		formats = []string{"text", "svg"}
	case f.picture != "":
		formats = []string{"svg"}
		if !fs.Changed("format") {
			f.format = "svg"
		}
	case f.pattern:
		formats = []string{"text", "json"}
	case f.bill:
		formats = []string{"csv"}
		if !fs.Changed("format") {
			f.format = "csv"
		}
	}
	switch {
	case asked > 1:
		return usagef("--sheet, --bill, --profile, --picture, --patterns, --from-csv, --example and --schema exclude each other")
	case (f.profile || f.picture != "") && f.str == "", f.str != "" && !f.profile && f.picture == "" && !f.pattern:
		return usagef("--profile and --picture need --string NAME, which is for them and --patterns alone")
	case f.fromCSV != "" && fs.Changed("format"):
		return usagef("--from-csv prints a plan and has no --format")
	case !slices.Contains(formats, f.format):
		return usagef("--format %q is not one of %v", f.format, formats)
	case (f.fromCSV != "" || f.example || f.schema || f.demo) && len(args) > 0, f.demo && (f.fromCSV != "" || f.example || f.schema):
		return usagef("give one of: a plan, --demo, --example, --schema, --from-csv")
	case f.fromCSV != "":
		return planFromCSV(std, f.fromCSV)
	case f.example:
		_, err := io.WriteString(std.out, config.DemoText())
		return err
	case f.schema:
		_, err := std.out.Write(config.Schema())
		return err
	case f.demo:
		plan, problems := config.Demo()
		return f.print(std, plan, problems)
	case len(args) == 0:
		return usagef("name one plan file, or give --demo")
	case len(args) > 1:
		return usagef("%q is one word too many", args[1])
	}

	plan, problems, err := loadPlan(args[0])
	if err != nil {
		return err
	}
	return f.print(std, plan, problems)
}

// print answers in the form that was asked for.
func (f *planFlags) print(std stdio, plan *config.Plan, problems []config.Problem) error {
	v := newPlanView(plan, problems)
	var err error
	switch {
	case f.sheet != "":
		err = v.sheet(std.out, f.sheet, f.format)
	case f.bill:
		err = v.bill(std.out)
	case f.profile:
		err = v.profile(std.out, f.str, f.format)
	case f.picture != "":
		err = v.picture(std.out, f.str, f.picture)
	case f.pattern:
		err = v.patterns(std.out, f.str, f.format)
	case f.format == "json":
		err = v.json(std.out)
	case f.format == "csv":
		err = v.csv(std.out)
	default:
		err = v.text(std.out)
	}
	if err != nil {
		return err
	}
	if f.format == "json" { // they are in the answer
		std.err = io.Discard
	}
	return verdict(std.err, v.Problems)
}

// verdict prints the problems and their number; errors make it a bad end.
func verdict(w io.Writer, problems []config.Problem) error {
	printProblems(w, problems)
	errors := countErrors(problems)
	if n := len(problems); n > 0 {
		fmt.Fprintf(w, "%s, %s\n", count(errors, "error"), count(n-errors, "warning"))
	} else {
		fmt.Fprintln(w, "no problems")
	}
	if errors > 0 {
		return errFound
	}
	return nil
}

// count writes a number and what it counts.
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
