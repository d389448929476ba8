package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/patterns"
)

func burnInCommand() command {
	return command{
		name: "burn-in",
		args: "PLAN",
		does: "Go through the plan's burn-in programme until its hours have been served, whatever restarts",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			var f transmitterFlags
			var cfg burnin.Config
			fs.StringSliceVar(&cfg.Strings, "string", nil, "the `strings` to burn in, a,b; or repeat the flag (default: all)")
			fs.StringSliceVar(&cfg.Controllers, "controller", nil, "the `controllers` whose strings to burn in, a,b; or repeat the flag")
			fs.Float64Var(&cfg.Hours, "hours", 0, "hours to serve each string; default the plan's")
			fs.BoolVar(&cfg.Again, "again", false, "begin anew, and forget what was served")
			fs.BoolVar(&cfg.Stay, "stay", false, "when it is over keep sending dark and serving the page, until told to stop")
			f.define(fs)
			return func(ctx context.Context, std stdio, args []string) error {
				if len(args) != 1 {
					return usagef("name one plan file")
				}
				if fs.Changed("hours") && !(cfg.Hours > 0 && cfg.Hours <= 10000) {
					return usagef("--hours %v: give more than 0 and at most 10000", cfg.Hours)
				}
				if err := f.check(fs); err != nil {
					return err
				}
				bar := newStatusLine(std.err)
				b := burnInRun{cfg: cfg, bar: bar, out: std.out}
				b.t = transmitter{
					flags: f, std: stdio{std.out, bar}, rateGiven: fs.Changed("rate"), patient: true,
					load: func() (planfile.Checked, error) {
						return readBurnIn(args[0], cfg)
					},
					first: session.Request{Pattern: patterns.Dark}, prepare: b.prepare, drive: b.drive,
				}
				return b.t.run(ctx)
			}
		},
	}
}

// readBurnIn reads a plan and refuses one that has no programme for these flags.
func readBurnIn(path string, cfg burnin.Config) (planfile.Checked, error) {
	c, err := planfile.Read(path)
	if err != nil || c.Errors() > 0 {
		return c, err
	}
	if err := burnin.Check(c.Plan, cfg); err != nil {
		return c, usageError{err}
	}
	return c, nil
}

// burnInRun is one run of the command.
type burnInRun struct {
	t   transmitter
	cfg burnin.Config
	bar *statusLine
	out io.Writer
	b   *burnin.BurnIn
}

func (r *burnInRun) prepare() (err error) {
	r.cfg.Session, r.cfg.State, r.cfg.Rate, r.cfg.Log = r.t.session, r.t.state, r.t.rate(), r.t.log
	r.cfg.Record, r.cfg.Done = r.t.record.Append, r.summary
	r.cfg.Read = func() burnin.Reading {
		reading := burnin.Reading{Stats: r.t.source.Stats()}
		reading.Expected, reading.Lost, _ = r.t.around.snapshot().Loss()
		return reading
	}
	if r.b, err = burnin.New(r.cfg); err != nil {
		return usageError{err}
	}
	fmt.Fprintf(r.bar, "programme: %s\n", r.b.Steps())
	report := r.b.Report()
	switch {
	case report.State == burnin.Finished:
		fmt.Fprintf(r.bar, "the burn-in was over at %s; --again begins anew\n", report.Finished.Local().Format("2006-01-02 15:04"))
	case report.Least > 0:
		fmt.Fprintf(r.bar, "going on after %s\n", progress(report))
	}
	r.t.says = func() string { return progress(r.b.Report()) }
	r.t.looked = r.b.Looked
	r.t.collectors = []prometheus.Collector{metrics.BurnInCollector(r.b.Report)}
	return nil
}

// drive runs the programme, with a bar in a terminal or a line each hour.
func (r *burnInRun) drive(ctx context.Context) error {
	return together(ctx, func(ctx context.Context) error {
		ctx, stop := context.WithCancel(ctx)
		var shown sync.WaitGroup
		shown.Go(func() { r.show(ctx) })
		defer shown.Wait()
		defer stop()
		return r.b.Run(ctx)
	})
}

func (r *burnInRun) show(ctx context.Context) {
	every := time.Hour
	if r.bar.terminal {
		every = time.Second
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		if r.bar.terminal {
			r.bar.Set(progressBar(r.b.Report()))
		}
		select {
		case <-ctx.Done():
			r.bar.Set("")
			return
		case <-tick.C:
		}
		if report := r.b.Report(); !r.bar.terminal {
			r.t.log.Info("burn-in", "state", string(report.State), "progress", progress(report), "summary", report.Summary())
		}
	}
}

func (r *burnInRun) summary(report burnin.Report) {
	fmt.Fprintf(r.out, "burn-in of %s: %s\n%s\n", textout.Count(len(report.Chosen), "string"), progress(report), report.Summary())
}

// progress says in a few words how far a burn-in is.
func progress(r burnin.Report) string {
	text := fmt.Sprintf("%s of %s served", hours(r.Least), hours(r.Target))
	switch r.State {
	case burnin.Waiting:
		text += ", waiting for " + r.Opens
	case burnin.Held:
		text += ", held: somebody shows something else"
	case burnin.Stalled:
		text += ", stalled: no frames go out"
	case burnin.Finished:
		text += ", finished"
	}
	return text
}

func hours(d time.Duration) string { return fmt.Sprintf("%.1f h", d.Hours()) }

const barWidth = 30

func progressBar(r burnin.Report) string {
	full := int(barWidth * min(1, r.Least.Seconds()/r.Target.Seconds()))
	step := "dark"
	if r.Step.Pattern != "" {
		step = r.Step.Pattern
	}
	return fmt.Sprintf("[%s%s] %s  %s  cycle %d", strings.Repeat("#", full), strings.Repeat("-", barWidth-full), progress(r), step, r.Cycles+1)
}

// statusLine writes lines to a terminal above one that is drawn again and
// again; elsewhere it only writes.
type statusLine struct {
	terminal bool

	mu   sync.Mutex
	w    io.Writer
	line string
}

func newStatusLine(w io.Writer) *statusLine {
	s := &statusLine{w: w}
	if f, ok := w.(*os.File); ok {
		if info, err := f.Stat(); err == nil {
			s.terminal = info.Mode()&os.ModeCharDevice != 0
		}
	}
	return s
}

const clearLine = "\r\x1b[K" // ECMA-48 clause 8.3.41: erase to the end of the line

func (s *statusLine) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.line == "" {
		return s.w.Write(p)
	}
	text := append([]byte(clearLine), p...)
	if _, err := s.w.Write(append(text, s.line...)); err != nil {
		return 0, err
	}
	return len(p), nil
}

// Set draws another line; none for "".
func (s *statusLine) Set(line string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if line == s.line {
		return
	}
	s.line = line
	fmt.Fprint(s.w, clearLine+line) // a terminal that has gone is no reason to stop
}
