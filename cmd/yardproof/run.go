package main

import (
	"context"
	"time"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/transmit"
	"yardproof/config"
	"yardproof/patterns"
)

func runCommand() program.Command {
	return program.Command{
		Name:  "run",
		Args:  "PLAN",
		Does:  "Show a test pattern on the chosen strings, and serve the page and the metrics",
		Lasts: true,
		Define: func(fs *pflag.FlagSet) program.Run {
			var f transmitFlags
			var show showFlags
			var one config.One
			demo := fs.Bool("demo", false, "the built-in plan on the loopback interface: needs no file and no network")
			show.define(fs)
			defineOne(fs, &one, "in place of a plan: one string that begins at this universe; needs --pixels")
			f.define(fs)
			return func(ctx context.Context, std program.Stdio, args []string) error {
				if err := f.check(fs); err != nil {
					return err
				}
				quick := oneAsked(fs)
				var load func() (planfile.Checked, error)
				switch {
				case *demo && (quick || len(args) > 0), quick && len(args) > 0:
					return cli.Usagef("give one of: a plan, --demo, --universe with --pixels")
				case *demo:
					load = func() (planfile.Checked, error) { return planfile.Demo(), nil }
				case quick:
					load = func() (planfile.Checked, error) { return planfile.Check(config.OneString(one)), nil }
				case len(args) == 1:
					load = func() (planfile.Checked, error) { return planfile.Read(args[0]) }
				default:
					return cli.Usagef("name one plan file, or give --demo")
				}
				if *demo && !fs.Changed("pattern") {
					show.pattern = patterns.Walk
				}
				f.throwaway = *demo && f.state == ""
				c, err := f.config(std.Err, load)
				if err != nil {
					return err
				}
				if c.First, err = show.request(fs.Changed("level")); err != nil {
					return err
				}
				return transmit.Run(ctx, c)
			}
		},
	}
}

// showFlags say what is shown first.
type showFlags struct {
	pattern           string
	strings           []string
	level             string
	hold              time.Duration
	pixel, slot, only int
	block             string
}

func (f *showFlags) define(fs *pflag.FlagSet) {
	fs.StringVar(&f.pattern, "pattern", patterns.Dark, "the `pattern` to show; yardproof help patterns lists them")
	fs.StringSliceVar(&f.strings, "string", nil, "the `strings` to show it on, a,b; or repeat the flag (default: all)")
	fs.StringVar(&f.level, "level", "100%", "the `level`, 0% to 100%; the plan's fuses and supplies may cap it")
	fs.DurationVar(&f.hold, "hold", session.DefaultHold, "how long full-white stays, at most 1m")
	fs.IntVar(&f.pixel, "pixel", 0, "for half: the pixel in question, from 1 (default: the middle one)")
	fs.IntVar(&f.slot, "slot", 0, "for one-slot: the slot, from 1 (default: each in turn)")
	fs.StringVar(&f.block, "block", "", "for block: the first and the last `pixel`, 40-59 (default: a tenth in the middle)")
	fs.IntVar(&f.only, "only", 0, "for full-white: light this many pixels, evenly spread (default: all)")
}

func (f *showFlags) request(asked bool) (session.Request, error) {
	level, err := cli.ParseLevel(f.level)
	if err != nil {
		return session.Request{}, err
	}
	r := session.Request{Pattern: f.pattern, Strings: f.strings, Level: level, LevelExplicit: asked, Hold: f.hold}
	r.Options.Pixel, r.Options.Slot, r.Options.Count = f.pixel, f.slot, f.only
	if f.hold <= 0 || f.hold > session.MaxHold {
		return r, cli.Usagef("--hold %v: give more than 0 and at most %v", f.hold, session.MaxHold)
	}
	for _, o := range []struct {
		flag, pattern string
		n             int
	}{{"pixel", patterns.Half, f.pixel}, {"slot", patterns.OneSlot, f.slot}, {"only", patterns.FullWhite, f.only}} {
		switch {
		case o.n < 0:
			return r, cli.Usagef("--%s %d: it counts from 1", o.flag, o.n)
		case o.n > 0 && f.pattern != o.pattern:
			return r, cli.Usagef("--%s is for --pattern %s; %s takes none", o.flag, o.pattern, f.pattern)
		}
	}
	if f.block == "" {
		return r, nil
	}
	if f.pattern != patterns.Block {
		return r, cli.Usagef("--block is for --pattern %s; %s takes none", patterns.Block, f.pattern)
	}
	r.Options.First, r.Options.Last, err = cli.ParseBlock(f.block)
	return r, err
}
