// Package planfile reads a plan and checks all of it: what config finds, the
// patterns that its burn-in names, and what its budget says. It refuses to know
// what the plan is wanted for.
package planfile

import (
	"fmt"
	"io"
	"net/netip"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/protection"
	"yardproof/patterns"
)

// NoSuch returns the error for a name that is not among those there are.
func NoSuch(what, name string, there []string) error {
	if len(there) == 0 {
		return cli.Usagef("the plan has no %ss", what)
	}
	return cli.Usagef("there is no %s %.60q; %s", what, name, config.Suggest(name, there))
}

// A Checked plan is one with everything that was found in it.
type Checked struct {
	Plan     *config.Plan
	Budget   *budget.Budget   // nil for a plan with errors: it has none worth computing
	Problems []config.Problem // in the order of the file

	Protection *protection.Report // nil where Budget is

	Again []string // what yardproof plan is to be told to read it again; nil: it cannot
}

// Read reads and checks a plan file. An error means that there is no plan to read; it is
// a [cli.UsageError] when the name is at fault.
func Read(path string) (Checked, error) {
	s, err := open(path)
	if err != nil {
		return Checked{}, err
	}
	return s.Check(), nil
}

// Demo is the built-in plan.
func Demo() Checked { return builtIn().Check() }

// Check adds what config does not know to a plan and its problems.
func Check(plan *config.Plan, problems []config.Problem) Checked {
	c := Checked{Plan: plan, Problems: slices.Concat(problems, patternProblems(plan), wirelessProblem(plan))}
	if c.Errors() == 0 {
		c.judge()
		c.Problems = slices.Concat(c.Problems, c.Budget.Problems, c.Protection.Problems)
	}
	config.SortProblems(c.Problems)
	return c
}

// Part is the part of the plan that these controllers take; all of it when none is
// named, or while it has an error.
func (c Checked) Part(controllers []string) Checked {
	if c.Errors() > 0 || len(controllers) == 0 {
		return c
	}
	part, more := c.Plan.Shard(controllers)
	p := Checked{Plan: part, Problems: slices.Concat(c.Problems, more)}
	if p.Errors() == 0 {
		p.judge()
	}
	return p
}

// judge works out what a plan without errors implies.
func (c *Checked) judge() {
	c.Budget = budget.New(c.Plan)
	c.Protection = protection.New(c.Plan, c.Budget)
}

// Errors is how many of the problems are errors.
func (c Checked) Errors() int {
	n := 0
	for _, p := range c.Problems {
		if p.Severity == config.Error {
			n++
		}
	}
	return n
}

// maxPrinted bounds what one plan writes, perhaps every few seconds to a journal.
const maxPrinted = 100

// Print writes the problems, a line each: the errors alone when there are any.
func (c Checked) Print(w io.Writer) {
	errors, n := c.Errors(), 0
	for _, p := range c.Problems {
		if p.Severity != config.Error && errors > 0 {
			continue
		}
		if n++; n <= maxPrinted {
			fmt.Fprintln(w, p)
		}
	}
	if n > maxPrinted {
		fmt.Fprintf(w, "%s: and %d more like these; mend the first ones, then check again\n", c.Plan.File, n-maxPrinted)
	}
}

// many says how many problems of a severity there are, and where the first is; "": none.
func (c Checked) many(severity config.Severity) string {
	n, first := 0, config.Place{}
	for _, p := range c.Problems {
		if p.Severity != severity {
			continue
		}
		if n++; n == 1 {
			first = p.Where
		}
	}
	switch n {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("1 %s, at %s", severity, first)
	}
	return fmt.Sprintf("%s, the first at %s", textout.Count(n, string(severity)), first)
}

// Warnings says how many there are, and where the first is; "": none.
func (c Checked) Warnings() string { return c.many(config.Warning) }

// Count says how many problems there are, where the first is, and what no warning is made of: fuses that a
// lost feed leaves with too much, and wire that two faults at once do. There are no
// problems only where there is none of these.
func (c Checked) Count() string {
	errors, warnings := c.many(config.Error), c.Warnings()
	switch {
	case errors == "":
		var besides strings.Builder
		if n := c.Budget.FusesIfLost(); n > 0 {
			fmt.Fprintf(&besides, "\nif one feed or feeder is lost: fuses have too much, in %s; plan lists them", textout.Count(n, "case"))
		}
		if n := len(c.Protection.Twice); n > 0 {
			fmt.Fprintf(&besides, "\nin two faults at once: wire has too much, on %s; plan lists them under Protection", textout.Count(n, "string"))
		}
		switch {
		case warnings != "":
			return warnings + besides.String()
		case besides.Len() > 0:
			return "no warnings" + besides.String()
		}
		return "no problems"
	case warnings == "":
		return errors
	}
	return fmt.Sprintf("%s; %s will be shown when there are no errors", errors, textout.Count(len(c.Problems)-c.Errors(), "warning"))
}

// Verdict prints what is wrong and how much it is; errors make it a bad end.
func (c Checked) Verdict(w io.Writer) error {
	c.Print(w)
	fmt.Fprintln(w, c.Count())
	if c.Errors() > 0 {
		return cli.ErrFound
	}
	return nil
}

// SayWeak tells those who go on with a faulty plan that they do.
func (c Checked) SayWeak(w io.Writer) {
	if n := c.Errors(); n > 0 {
		fmt.Fprintf(w, "%s has %s: what follows cannot be trusted until they are fixed; yardproof plan shows them\n", c.Plan.File, textout.Count(n, "error"))
	}
}

// patternProblems are the burn-in steps that no pattern answers to.
func patternProblems(plan *config.Plan) []config.Problem {
	var problems []config.Problem
	for i := range plan.BurnIn.Programme {
		step := &plan.BurnIn.Programme[i]
		if _, ok := patterns.Lookup(step.Pattern); ok || step.Pattern == "" {
			continue
		}
		problems = append(problems, config.Problem{
			Severity: config.Error, Where: plan.Where(step.At("pattern")),
			What: fmt.Sprintf("burn_in: there is no pattern %q", step.Pattern), Fix: config.Suggest(step.Pattern, patterns.Names()),
		})
	}
	return problems
}

// Rehearsed is the plan as a rehearsal sends it, see [config.Plan.Rehearsed]; as it
// is while it has an error.
func (c Checked) Rehearsed(iface string, local func(*config.Controller) netip.Addr) Checked {
	if c.Errors() == 0 {
		c.Plan = c.Plan.Rehearsed(iface, local)
		c.judge()
	}
	return c
}
