package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/diagnose"
	"yardproof/config"
)

// diagnoseFlags are the flags of the diagnose command: what was seen or read. Each
// question takes one of the first group; the second group says more about it.
type diagnoseFlags struct {
	seen, runs, half, answered, symptom string
	lastLit                             int
	dark                                []string
	amps                                float64
	volts                               []string
	batch                               bool
	state                               string

	str, portSet, tail, feed, meter string
	derived                         bool
	pixels, count                   int
	darkAmps, expected, perPixel    float64
	level                           string
	format                          string

	planErrors int
}

func diagnoseCommand() command {
	return command{
		name: "diagnose",
		args: "[PLAN]",
		does: "Turn what was seen or read into what to do; without a question, print the table of symptoms",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			var f diagnoseFlags
			fs.StringVar(&f.seen, "seen", "", "the `colours` of slots 1, 2, 3 (and 4) under one-slot or colour-order: GRB, or green,none,blue, or two for mixed")
			fs.StringVar(&f.runs, "runs", "", "colour-order pixel by pixel from the data end: `RR.GGG.BBBB`, a dot for dark, ? for mixed")
			fs.IntVar(&f.lastLit, "last-lit", 0, "the last good `pixel`, from 1; 0 when none is lit")
			fs.StringVar(&f.half, "half", "", "halve the way to a break: the last pixel seen lit and the first seen dark, `GOOD,DARK`")
			fs.Float64Var(&f.amps, "amps", 0, "the `current` read on one feed")
			fs.StringSliceVar(&f.volts, "volts", nil, "volts read along the string while it was white: `supply=12.1,1=11.8,50=10.9` (PLAN)")
			fs.StringSliceVar(&f.dark, "dark", nil, "the `strings` that are dark: what do they share? (PLAN)")
			fs.StringVar(&f.answered, "answered", "", "which string answered to which number: `LIT=SEEN,LIT=SEEN` (PLAN)")
			fs.BoolVar(&f.batch, "batch", false, "what do the currents in the record say of each batch of strings? (PLAN)")
			fs.StringVar(&f.symptom, "symptom", "", "find a symptom by a few `words`, or by its number")

			fs.StringVar(&f.str, "string", "", "the `name` of the string (PLAN)")
			fs.StringVar(&f.portSet, "port-set", "", "the `order` set on the controller's port now (default: the plan's port_order)")
			fs.BoolVar(&f.derived, "white-derived", false, "the controller makes white out of three channels")
			fs.StringVar(&f.tail, "tail", "", "what the pixels past the last good one `do`: dark, frozen, sparkle or colours")
			fs.IntVar(&f.pixels, "pixels", 0, "`pixels` of the string, when there is no plan")
			fs.StringVar(&f.feed, "feed", "", "the feed that was read: start, end or a pixel `number` (default: the first)")
			fs.Float64Var(&f.darkAmps, "dark-amps", 0, "the `current` read before, in the dark, with the clamp unmoved")
			fs.StringVar(&f.level, "level", "100%", "the `level` of full-white while it was read")
			fs.IntVar(&f.count, "count", 0, "`pixels` that were lit at 100 %, evenly spread (full-white by count); 0: all")
			fs.Float64Var(&f.expected, "expected", 0, "the expected `current`, when there is no plan")
			fs.Float64Var(&f.perPixel, "amps-per-pixel", 0, "`amps` of a pixel at full white, when there is no plan")
			fs.StringVar(&f.meter, "meter", "", `the meter's `+"`error`"+`: "3% + 0.10 A" (assumed: 3% + 0.10 A for amps, 0.5% + 0.03 V for volts)`)
			fs.StringVar(&f.state, "state", "", "the state `directory` that holds the record (default: as for run)")
			fs.StringVar(&f.format, "format", "text", "text or json")
			return func(_ context.Context, std stdio, args []string) error { return f.run(fs, std, args) }
		},
	}
}

// An outcome is what diagnose prints; as JSON, an object with these keys.
type outcome struct {
	Answer   *diagnose.Answer   `json:"answer,omitempty"`
	Search   *diagnose.Search   `json:"search,omitempty"`
	Shared   []diagnose.Common  `json:"shared,omitempty"`
	Batches  []diagnose.Batch   `json:"batches,omitempty"`
	Symptoms []diagnose.Symptom `json:"symptoms,omitempty"`
}

func (f *diagnoseFlags) run(fs *pflag.FlagSet, std stdio, args []string) error {
	if f.format != "text" && f.format != "json" {
		return usagef("--format %q is not text or json", f.format)
	}
	if len(args) > 1 {
		return usagef("%q is one word too many; text with blanks needs quotes", args[1])
	}
	var plan *config.Plan
	if len(args) == 1 {
		p, problems, err := loadPlan(args[0])
		if err != nil {
			return err
		}
		if n := countErrors(problems); n > 0 {
			f.planErrors = n
			fmt.Fprintf(std.err, "%s has %s: what follows is as good as the plan (yardproof plan shows them)\n", args[0], count(n, "error"))
		}
		plan = p
	}
	out, err := f.ask(fs, plan)
	var input *diagnose.InputError
	if errors.As(err, &input) {
		return usageError{err}
	}
	if err != nil {
		return err
	}
	if f.format == "json" {
		enc := json.NewEncoder(std.out)
		enc.SetIndent("", "  ")
		if err := enc.Encode(out); err != nil {
			return err
		}
	} else if err := out.text(std.out); err != nil {
		return err
	}
	if out.Answer != nil && out.Answer.Wrong {
		return errFound
	}
	return nil
}

// ask finds which question was asked and answers it.
func (f *diagnoseFlags) ask(fs *pflag.FlagSet, plan *config.Plan) (outcome, error) {
	var asked []string
	for _, q := range []string{"seen", "runs", "last-lit", "half", "amps", "volts", "dark", "answered", "batch", "symptom"} {
		if fs.Changed(q) {
			asked = append(asked, "--"+q)
		}
	}
	if len(asked) > 1 {
		return outcome{}, usagef("%s are separate questions: ask one at a time", strings.Join(asked, " and "))
	}
	str, err := f.theString(plan)
	if err != nil {
		return outcome{}, err
	}
	if len(asked) == 0 {
		return outcome{Symptoms: diagnose.FindSymptoms("")}, nil
	}
	var a diagnose.Answer
	var out outcome
	switch asked[0] {
	case "--seen":
		look := f.look(str)
		if look.Seen, err = diagnose.ParseSeen(f.seen); err == nil {
			a, err = diagnose.Order(look)
		}
	case "--runs":
		a, err = diagnose.LookAtRuns(f.runs, f.look(str))
	case "--last-lit":
		if str == nil && f.pixels == 0 && f.lastLit > 0 {
			f.pixels = f.lastLit + 1
		}
		a, err = diagnose.LastLit(plan, str, f.lastLit, f.pixels, diagnose.Tail(f.tail))
	case "--half":
		out.Search, a, err = f.search(str)
	case "--amps":
		a, err = f.readAmps(fs, plan, str)
	case "--volts":
		a, err = f.readVolts(plan, str)
	case "--dark":
		if plan == nil {
			return out, usagef("--dark needs the PLAN, to know what the strings share")
		}
		out.Shared, a, err = diagnose.Shared(plan, f.dark)
	case "--answered":
		if plan == nil {
			return out, usagef("--answered needs the PLAN, to correct its lines")
		}
		var pairs map[string]string
		if pairs, err = parsePairs(f.answered); err == nil {
			a, err = diagnose.Answered(plan, pairs)
		}
	case "--batch":
		out.Batches, a, err = f.batches(plan)
	case "--symptom":
		return f.symptoms()
	}
	out.Answer = &a
	return out, err
}

// theString is the string in question: the named one, or the only one. It is nil
// without a plan.
func (f *diagnoseFlags) theString(plan *config.Plan) (*config.String, error) {
	if plan == nil {
		if f.str != "" {
			return nil, usagef("--string needs the PLAN that has it")
		}
		return nil, nil
	}
	if f.str == "" {
		if len(plan.Strings) == 1 {
			return plan.Strings[0], nil
		}
		return nil, nil
	}
	for _, s := range plan.Strings {
		if s.Name == f.str {
			return s, nil
		}
	}
	return nil, usagef("the plan has no string %q", f.str)
}

func (f *diagnoseFlags) look(s *config.String) diagnose.OrderLook {
	l := diagnose.OrderLook{PortSet: strings.ToUpper(f.portSet), WhiteDerived: f.derived}
	if s != nil {
		l.PlanOrder, l.NullPixels = string(s.Order), s.NullPixels
		l.WhiteDerived = l.WhiteDerived || s.WhiteDerived
		if l.PortSet == "" {
			l.PortSet = string(s.PortOrder)
		}
	}
	return l
}

func (f *diagnoseFlags) search(s *config.String) (*diagnose.Search, diagnose.Answer, error) {
	pixels := f.pixels
	if s != nil {
		pixels = s.Pixels
	}
	good, dark, ok := strings.Cut(f.half, ",")
	g, err1 := strconv.Atoi(strings.TrimSpace(good))
	d, err2 := strconv.Atoi(strings.TrimSpace(dark))
	if !ok || err1 != nil || err2 != nil {
		return nil, diagnose.Answer{}, usagef("--half %q: write the last pixel seen lit (0: none) and the first seen dark, as in --half 0,51", f.half)
	}
	if pixels == 0 {
		pixels = d
	}
	search := diagnose.Search{Good: g, Dark: d}
	a, err := search.Answer(pixels)
	return &search, a, err
}

func (f *diagnoseFlags) symptoms() (outcome, error) {
	all := diagnose.FindSymptoms("")
	if n, err := strconv.Atoi(strings.TrimPrefix(f.symptom, "#")); err == nil {
		if n < 1 || n > len(all) {
			return outcome{}, usagef("symptoms are numbered from 1 to %d", len(all))
		}
		return outcome{Symptoms: all[n-1 : n]}, nil
	}
	found := diagnose.FindSymptoms(f.symptom)
	if len(found) == 0 {
		return outcome{}, usagef("no symptom matches %q; without it the whole table is printed", f.symptom)
	}
	return outcome{Symptoms: found[:min(3, len(found))]}, nil
}

// parsePairs reads LIT=SEEN,LIT=SEEN.
func parsePairs(text string) (map[string]string, error) {
	pairs := map[string]string{}
	for part := range strings.SplitSeq(text, ",") {
		lit, seen, ok := strings.Cut(part, "=")
		lit, seen = strings.TrimSpace(lit), strings.TrimSpace(seen)
		if !ok || lit == "" || seen == "" {
			return nil, usagef("--answered %q: write the string that was asked to light, =, and the one that was seen", part)
		}
		if _, twice := pairs[lit]; twice {
			return nil, usagef("--answered has %s twice", lit)
		}
		pairs[lit] = seen
	}
	return pairs, nil
}

func (o outcome) text(w io.Writer) error {
	var b strings.Builder
	if a := o.Answer; a != nil {
		fmt.Fprintln(&b, a.Finding)
		numbered(&b, "Likely, the first first:", a.Causes)
		if len(a.Orders) > 0 {
			fmt.Fprintf(&b, "\nOn the port: %s\n", strings.Join(a.Orders, ", then "))
		}
		if len(a.PlanLines) > 0 {
			fmt.Fprintf(&b, "\nIn the plan:\n  %s\n", strings.Join(a.PlanLines, "\n  "))
		}
		numbered(&b, "Next:", a.Next)
		fmt.Fprintf(&b, "\n(%s)\n", a.Basis)
		if a.Caution != "" {
			fmt.Fprintln(&b, a.Caution)
		}
	}
	for i, s := range o.Symptoms {
		if i > 0 {
			fmt.Fprintln(&b)
		}
		fmt.Fprintf(&b, "%2d  %s\n", s.Number, s.Symptom)
		for k, c := range s.Causes {
			fmt.Fprintf(&b, "      %c %s\n", 'a'+k, c)
		}
		for _, t := range s.Test {
			fmt.Fprintf(&b, "    > %s\n", t)
		}
	}
	if len(o.Symptoms) > 0 {
		fmt.Fprintf(&b, "\n(%s)\n%s\n", diagnose.Practice, diagnose.Caution)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func numbered(b *strings.Builder, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s\n", title)
	for i, l := range lines {
		fmt.Fprintf(b, "  %d. %s\n", i+1, l)
	}
}
