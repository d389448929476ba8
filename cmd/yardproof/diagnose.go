package main

import (
	"context"
	"errors"
	"os"
	"slices"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/diagnose"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// diagnoseFlags are the flags of the diagnose command: what was seen or read.
type diagnoseFlags struct {
	q diagnose.Question

	lastLit        int
	amps, darkAmps float64
	half, answered string
	volts          []string
	tail, level    string
	state, format  string

	scan  bool
	reads []string
	looks []string
}

func diagnoseCommand() program.Command {
	return program.Command{
		Name: "diagnose",
		Args: "[PLAN]",
		Does: "Turn what was seen or read into what to do; without a question, print the table of symptoms",
		Define: func(fs *pflag.FlagSet) program.Run {
			var f diagnoseFlags
			fs.StringVar(&f.q.Seen, "seen", "", "the `colours` of slots 1, 2, 3 (and 4) under one-slot or colour-order: GRB, or green,none,blue, or two for mixed")
			fs.StringVar(&f.q.Runs, "runs", "", "colour-order pixel by pixel from the data end: `RR.GGG.BBBB`, a dot for dark, ? for mixed")
			fs.IntVar(&f.lastLit, "last-lit", 0, "the last good `pixel`, from 1; 0 when none is lit")
			fs.StringVar(&f.half, "half", "", "narrow down a break: the last pixel seen lit and the first seen dark, `GOOD,DARK`")
			fs.Float64Var(&f.amps, "amps", 0, "the `current` read on one feed")
			fs.StringSliceVar(&f.volts, "volts", nil, "volts read along the string while it was white: `supply=12.1,1=11.8,50=10.9` (PLAN)")
			fs.StringSliceVar(&f.q.Dark, "dark", nil, "the `strings` that are dark: what do they share? (PLAN)")
			fs.StringVar(&f.answered, "answered", "", "which string answered to which number: `LIT=SEEN,LIT=SEEN` (PLAN)")
			fs.BoolVar(&f.q.Batch, "batch", false, "what do the currents in the record say of each batch of strings? (PLAN)")
			fs.BoolVar(&f.scan, "scan", false, "find a bad joint by a meter at one end, while a block of light is moved: asks for readings until it stands out (PLAN)")
			fs.StringSliceVar(&f.reads, "read", nil, "for --scan: what the meter showed while pixels were lit, `dark=11.98,1-20=11.84`; then nothing is asked")
			fs.StringArrayVar(&f.looks, "look", nil, "weigh every cause by all that was seen and read of one string, a `look` each: white=dark-tail@41, ends=fine, amps@start=0.05/1.56; start: which look comes first? (PLAN)")
			fs.StringVar(&f.q.Symptom, "symptom", "", "find a symptom by a few `words`, or by its number")

			fs.StringVar(&f.q.String, "string", "", "the `name` of the string (PLAN)")
			fs.StringVar(&f.q.PortSet, "port-set", "", "the `order` set on the controller's port now (default: the plan's port_order)")
			fs.BoolVar(&f.q.WhiteDerived, "white-derived", false, "the controller makes white out of three channels")
			fs.StringVar(&f.tail, "tail", "", "what the pixels past the last good one `do`: dark, frozen, sparkle or colours")
			fs.IntVar(&f.q.Pixels, "pixels", 0, "`pixels` of the string, when there is no plan")
			fs.StringVar(&f.q.Feed, "feed", "", "the feed that was read: start, end or a pixel `number` (default: the first)")
			fs.Float64Var(&f.darkAmps, "dark-amps", 0, "the `current` read before, in the dark, with the clamp unmoved")
			fs.StringVar(&f.level, "level", "100%", "the `level` of full-white while it was read")
			fs.IntVar(&f.q.Count, "count", 0, "`pixels` that were lit at 100 %, evenly spread (full-white by count); 0: all")
			fs.Float64Var(&f.q.Expected, "expected", 0, "the expected `current`, when there is no plan")
			fs.Float64Var(&f.q.AmpsPerPixel, "amps-per-pixel", 0, "`amps` of a pixel at full white, when there is no plan")
			fs.StringVar(&f.q.Meter, "meter", "", `the meter's `+"`error`"+`: "3% + 0.10 A" (default: for amps the plan's, or 3% + 0.10 A; for volts 0.5% + 0.03 V)`)
			fs.StringVar(&f.state, "state", "", "the state `directory` that holds the record (default: as for run)")
			fs.StringVar(&f.format, "format", "text", "the `format`: text or json")
			return func(_ context.Context, std program.Stdio, args []string) error { return f.run(fs, std, args) }
		},
	}
}

func (f *diagnoseFlags) run(fs *pflag.FlagSet, std program.Stdio, args []string) error {
	if err := cli.Format(f.format, "text", "json"); err != nil {
		return err
	}
	if len(args) > 1 {
		return cli.Usagef("unexpected argument %q; text with blanks needs quotes", args[1])
	}
	if err := f.question(fs); err != nil {
		return err
	}
	var yard diagnose.Yard
	if len(args) == 1 {
		c, err := planfile.Read(args[0])
		if err != nil {
			return err
		}
		yard.Plan, yard.Budget = c.Plan, c.Budget
		c.SayWeak(std.Err)
	}
	if looks := f.q.Looks != nil; (f.q.Batch || looks) && yard.Plan != nil {
		dir, err := state.ExistingPlace(f.state)
		if err == nil {
			err = yard.Remember(dir)
		} else if looks && f.state == "" { // looks are weighed without a record too
			err = nil
		}
		if err != nil {
			return err
		}
	}
	ask := yard.Ask
	if f.scan && len(f.reads) == 0 && f.format == "text" {
		ask = func(q diagnose.Question) (diagnose.Outcome, error) { return yard.AskReadings(q, os.Stdin, std.Err) }
	}
	out, err := ask(f.q)
	if _, ok := errors.AsType[*diagnose.InputError](err); ok {
		return cli.Usage(err)
	}
	if err != nil {
		return err
	}
	if f.format == "json" {
		err = textout.JSON(std.Out, out)
	} else {
		err = out.Print(std.Out)
	}
	if err != nil {
		return err
	}
	if out.Answer != nil && out.Answer.Wrong {
		return cli.ErrFound
	}
	return nil
}

// question puts together what flags cannot say in one piece.
func (f *diagnoseFlags) question(fs *pflag.FlagSet) (err error) {
	if fs.Changed("last-lit") {
		f.q.LastLit = &f.lastLit
	}
	if fs.Changed("amps") {
		f.q.Amps = &f.amps
	}
	if fs.Changed("dark-amps") {
		f.q.DarkAmps = &f.darkAmps
	}
	for _, text := range []string{"seen", "runs", "symptom"} {
		if fs.Changed(text) && fs.Lookup(text).Value.String() == "" {
			return cli.Usagef("--%s is empty", text)
		}
	}
	if fs.Changed("pixels") && (f.q.Pixels < 1 || f.q.Pixels > config.MaxStringPixels) {
		return cli.Usagef("--pixels %d: give 1 to %d", f.q.Pixels, config.MaxStringPixels)
	}
	if f.q.Count < 0 {
		return cli.Usagef("--count %d: it cannot be negative", f.q.Count)
	}
	f.q.Tail = diagnose.Tail(f.tail)
	level, err := cli.ParseLevel(f.level)
	if err != nil {
		return err
	}
	if level == 0 {
		return cli.Usagef("--level 0: nothing is lit to be read; give more")
	}
	f.q.LevelPercent = 100 * level
	if fs.Changed("half") {
		if f.q.Half, err = diagnose.ParseSearch(f.half); err != nil {
			return cli.Usagef("--half %w", err)
		}
	}
	if f.q.Volts, err = diagnose.ParsePoints(f.volts); err != nil {
		return cli.Usagef("--volts %w", err)
	}
	if f.scan {
		if f.q.Scan, err = diagnose.ParseReadings(f.reads); err != nil {
			return cli.Usagef("--read %w", err)
		}
	} else if len(f.reads) > 0 {
		return cli.Usagef("--read is for --scan")
	}
	if fs.Changed("look") {
		f.q.Looks = slices.DeleteFunc(append([]string{}, f.looks...), func(l string) bool { return l == "start" })
	}
	if fs.Changed("answered") {
		if f.q.Answered, err = diagnose.ParsePairs(f.answered); err != nil {
			return cli.Usagef("--answered %w", err)
		}
	}
	return nil
}
