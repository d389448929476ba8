package main

import (
	"context"
	"fmt"
	"slices"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/film"
	"yardproof/cmd/yardproof/internal/filmfile"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/textout"
)

func filmCommand() program.Command {
	return program.Command{
		Name: "film",
		Args: "FILE|DIRECTORY [PLAN]",
		Does: "Read a film of the yard that shows the pattern code: which pixels light, in which colours, at which address",
		Define: func(fs *pflag.FlagSet) program.Run {
			f := filmFlags{set: fs}
			fs.StringVar(&f.format, "format", "text", "the `format`: text or json")
			fs.StringVar(&f.still, "still", "", "write a picture with every pixel marked into this `file`, .png or .jpg")
			fs.StringArrayVar(&f.also, "also", nil, "another `film` of the same yard, as from another side; repeat the flag for more")
			fs.StringVar(&f.places, "places", "", "the `file` of an earlier film's --format json: what hangs where. It tells swapped and reversed strings, and null pixels")
			fs.StringSliceVar(&f.controllers, "only-controllers", nil, "the film shows only the universes of these `controllers`, a,b, as they were sent")
			fs.BoolVar(&f.demo, "demo", false, "the built-in plan; PLAN is left out")
			fs.BoolVar(&f.learn, "learn", false, "print a draft of the plan from the light: of PLAN only the universes sent and the slots of a pixel are used")
			fs.BoolVar(&f.record, "record", false, "put on record what was seen of each string")
			fs.BoolVar(&f.picture, "keep-picture", false, "with --record: keep the picture too, for the report and the page")
			fs.StringVar(&f.stage, "stage", string(record.Hung), "with --record: the `stage`: hung or opening")
			fs.StringVar(&f.state, "state", "", "with --record: "+stateUsage)
			return f.run
		},
	}
}

// filmFlags are the flags of the film command.
type filmFlags struct {
	set *pflag.FlagSet

	format, still, places, stage, state string
	also, controllers                   []string
	demo, record, learn, picture        bool
}

func (f *filmFlags) check(args []string) error {
	switch {
	case !f.record && (f.set.Changed("stage") || f.set.Changed("state") || f.picture):
		return cli.Usagef("--stage, --state and --keep-picture are for --record")
	case f.learn && (f.record || f.still != "" || f.places != "" || len(f.also) > 0 || f.set.Changed("format")):
		return cli.Usagef("--learn prints a plan from one film: leave --format, --still, --also, --places and --record out")
	case f.stage != string(record.Hung) && f.stage != string(record.Opening):
		return cli.Usagef("--stage %q is not hung or opening", f.stage)
	case f.still != "" && !filmfile.IsPicture(f.still):
		return cli.Usagef("--still %s: its name must end in .png or .jpg", f.still)
	case len(args) == 0:
		return cli.Usagef("name a film, or a directory of JPEG frames with times.txt")
	case len(args) == 1 && !f.demo:
		return cli.Hint(cli.Usagef("the film needs the plan that was sent"), "write yardproof film %s PLAN", args[0])
	}
	return cli.Format(f.format, "text", "json")
}

func (f *filmFlags) run(ctx context.Context, std program.Stdio, args []string) error {
	if err := f.check(args); err != nil {
		return err
	}
	source, err := planfile.Find(f.demo, args[1:])
	if err != nil {
		return err
	}
	c := source.Check().Part(f.controllers)
	if c.Errors() > 0 {
		return c.Verdict(std.Err)
	}
	if f.learn {
		d, err := filmfile.Learn(ctx, std.Err, args[0], c.Plan)
		if err != nil {
			return err
		}
		return d.Write(std.Out)
	}
	layout, err := filmfile.Layout(f.places)
	if err != nil {
		return fmt.Errorf("--places %w", err)
	}
	r, err := filmfile.Read(ctx, std.Err, append(args[:1:1], f.also...), c.Plan, layout)
	if err != nil {
		return err
	}
	if f.format == "json" {
		err = textout.JSON(std.Out, r)
	} else {
		err = r.Text(std.Out)
	}
	if err != nil {
		return err
	}
	if f.still != "" {
		if err := filmfile.WriteStill(f.still, r); err != nil {
			return err
		}
	}
	if f.record {
		dir, err := state.Place(f.state)
		if err != nil {
			return err
		}
		if err := filmfile.Record(std.Err, dir, r, record.Stage(f.stage), args[0], c.Plan, f.picture); err != nil {
			return err
		}
	}
	if slices.ContainsFunc(r.Summaries(), film.Summary.Wrong) {
		return cli.ErrFound
	}
	return nil
}
