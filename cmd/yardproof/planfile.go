package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"syscall"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// readPlan reads and checks a plan file and computes its budget. The problems
// are those of both; an error means that there was no plan to read.
func readPlan(path string) (*config.Plan, *budget.Budget, []config.Problem, error) {
	plan, problems, err := loadPlan(path)
	if err != nil {
		return nil, nil, nil, err
	}
	b, problems := budgeted(plan, problems)
	return plan, b, problems, nil
}

// loadPlan is readPlan without the budget.
func loadPlan(path string) (*config.Plan, []config.Problem, error) {
	if path == "" {
		return nil, nil, usagef("the plan's name is empty")
	}
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0) // a pipe that nobody writes to must not hold us up
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("there is no plan %s; check the name, or try: yardproof run --demo", path)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("plan: %w", err)
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return nil, nil, fmt.Errorf("plan %s is a directory; name the file in it", path)
	}
	plan, problems := config.Load(path, f)
	problems = append(problems, patternProblems(plan)...)
	config.SortProblems(problems)
	return plan, problems, nil
}

// patternProblems are the burn-in steps that no pattern answers to, which the
// plan's own check cannot know.
func patternProblems(plan *config.Plan) []config.Problem {
	var problems []config.Problem
	for i := range plan.BurnIn.Programme {
		step := &plan.BurnIn.Programme[i]
		if _, ok := patterns.Lookup(step.Pattern); ok || step.Pattern == "" {
			continue
		}
		var names []string
		for _, p := range patterns.All() {
			names = append(names, p.Name)
		}
		problems = append(problems, config.Problem{
			Severity: config.Error, Where: plan.Where(step.At("pattern")),
			What: fmt.Sprintf("burn_in: there is no pattern %q", step.Pattern), Fix: "it can be " + strings.Join(names, ", "),
		})
	}
	return problems
}

// budgeted computes a plan's budget and adds its problems. A plan with errors
// has no budget worth computing.
func budgeted(plan *config.Plan, problems []config.Problem) (*budget.Budget, []config.Problem) {
	if countErrors(problems) > 0 {
		return nil, problems
	}
	b := budget.New(plan)
	return b, append(problems, b.Problems...)
}

// loadPart loads the plan, or with --controllers the part of it that is sent from here.
func (t *transmitter) loadPart() (*config.Plan, *budget.Budget, []config.Problem, error) {
	plan, b, problems, err := t.load()
	if err != nil || countErrors(problems) > 0 || len(t.flags.controllers) == 0 {
		return plan, b, problems, err
	}
	part, more := plan.Shard(t.flags.controllers)
	problems = append(problems, more...)
	if countErrors(more) > 0 {
		return part, nil, problems, nil
	}
	return part, budget.New(part), problems, nil
}

func countErrors(problems []config.Problem) int {
	n := 0
	for _, p := range problems {
		if p.Severity == config.Error {
			n++
		}
	}
	return n
}

// sayWeak tells those who go on with a faulty plan that they do.
func sayWeak(w io.Writer, path string, problems []config.Problem) {
	if n := countErrors(problems); n > 0 {
		fmt.Fprintf(w, "%s has %s: what follows is as good as the plan (yardproof plan shows them)\n", path, count(n, "error"))
	}
}

func printProblems(w io.Writer, problems []config.Problem) {
	for _, p := range problems {
		fmt.Fprintln(w, p)
	}
}
