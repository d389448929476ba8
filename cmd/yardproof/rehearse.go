package main

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/rehearsal"
	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/cmd/yardproof/internal/transmit"
	"yardproof/cmd/yardproof/internal/web"
)

func rehearseCommand() program.Command {
	return program.Command{
		Name:  "rehearse",
		Args:  "PLAN",
		Does:  "Practise without a yard: the plan's strings drawn in the browser, light, meters and faults included",
		Lasts: true,
		Define: func(fs *pflag.FlagSet) program.Run {
			var f rehearseFlags
			f.define(fs)
			return func(ctx context.Context, std program.Stdio, args []string) error {
				if err := f.check(args); err != nil {
					return err
				}
				if f.demo && !fs.Changed("pattern") && f.hidden == 0 {
					f.show.pattern = "colour-order" // every pixel lights
				}
				if !fs.Changed("seed") && f.hidden > 0 {
					f.seed = rand.Uint64N(10_000)
				}
				return f.run(ctx, std, args, fs.Changed("level"))
			}
		},
	}
}

type rehearseFlags struct {
	transmit transmitFlags
	show     showFlags
	demo     bool
	hidden   int
	seed     uint64
	faults   []string
	film     string
}

func (f *rehearseFlags) define(fs *pflag.FlagSet) {
	fs.BoolVar(&f.demo, "demo", false, "the built-in plan: needs no file")
	fs.IntVar(&f.hidden, "hidden", 0, fmt.Sprintf("hide so many faults, at most %d: find them as on a real evening", rehearsal.MostHidden))
	fs.Uint64Var(&f.seed, "seed", 0, "the `number` of an evening: the same one hides the same faults and gives the meters the same errors (default with --hidden: another each time)")
	fs.StringArrayVar(&f.faults, "fault", nil, "plant this `fault`, KIND,STRING[,PLACE][,SEVERITY]; repeat the flag. yardproof help faults lists the kinds")
	fs.StringVar(&f.film, "film", "", "film the yard while it shows the pattern code, into this new `directory`, and end: yardproof film reads it. No page is served")
	f.show.define(fs)
	fs.StringVar(&f.transmit.http, "http", "127.0.0.1:9531", "the one `address` that serves the pages and the metrics")
	fs.StringSliceVar(&f.transmit.hostNames, "host-name", nil, "extra host `names` that the page answers to, a,b; or repeat the flag")
	fs.StringSliceVar(&f.transmit.controllers, "only-controllers", nil, "rehearse with these `controllers` only, a,b")
	fs.StringVar(&f.transmit.state, "state", "", "the state `directory` (default: rehearsal, in that of run)")
	fs.DurationVar(&f.transmit.length, "for", 0, "stop after, e.g. 30m (default: until Ctrl-C)")
	f.transmit.send, f.transmit.noScan = "socket", true
}

func (f *rehearseFlags) check(args []string) error {
	switch {
	case f.hidden < 0 || f.hidden > rehearsal.MostHidden:
		return cli.Usagef("--hidden %d: hide 0 to %d", f.hidden, rehearsal.MostHidden)
	case f.transmit.length < 0:
		return cli.Usagef("--for %v: it must be above 0", f.transmit.length)
	}
	return nil
}

// run sends on the loopback interface, and hears it there.
func (f *rehearseFlags) run(ctx context.Context, std program.Stdio, args []string, levelAsked bool) (err error) {
	iface, err := rehearsal.Loopback()
	if err != nil {
		return err
	}
	if err := f.apart(); err != nil {
		return err
	}
	source, err := planfile.Find(f.demo, args)
	if err != nil {
		return err
	}
	checked := source.Check().Part(f.transmit.controllers).Rehearsed(iface, rehearsal.Local())
	c, err := f.transmit.config(std.Err, func() (planfile.Checked, error) { return checked, nil })
	if err != nil {
		return err
	}
	c.Interface = iface
	if c.First, err = f.show.request(levelAsked); err != nil {
		return err
	}
	if checked.Errors() > 0 {
		return transmit.Run(ctx, c) // says which
	}
	var planted []yard.Fault
	for _, text := range f.faults {
		fault, err := rehearsal.ParseFault(text)
		if err != nil {
			return cli.Hint(cli.Usage(fmt.Errorf("--fault: %w", err)), "yardproof help faults lists the kinds")
		}
		planted = append(planted, fault)
	}
	evening, err := rehearsal.New(rehearsal.Config{Plan: checked.Plan, Budget: checked.Budget, Seed: f.seed, Faults: planted, Hidden: f.hidden})
	if err != nil {
		return cli.Usage(err)
	}
	if f.film != "" {
		frames, err := evening.Film(ctx, f.film)
		if err == nil {
			fmt.Fprintf(std.Out, "evening %d: %s; read them: yardproof film %s %s\n", f.seed, textout.Count(frames, "frame"), f.film, cmp.Or(strings.Join(args, ""), "--demo"))
		}
		return err
	}
	c.Rehearsal = &web.Rehearsal{Page: rehearsal.Page, API: evening.Handler(), Competing: evening.Competing}
	c.Beside = evening.Run
	err = transmit.Run(ctx, c)
	if f.hidden > 0 {
		for _, line := range evening.Score().Lines() {
			fmt.Fprintln(std.Out, line)
		}
	}
	return err
}

// apart keeps the record of a rehearsal apart from the real one.
func (f *rehearseFlags) apart() error {
	if f.transmit.state != "" {
		return nil
	}
	if f.demo {
		f.transmit.throwaway = true
		return nil
	}
	dir, err := state.Place("")
	f.transmit.state = filepath.Join(dir, "rehearsal")
	return err
}
