package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/history"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/systemd"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/sacn"
	"yardproof/sacn/source"
)

// transmitterFlags are what every command that sends has in common.
type transmitterFlags struct {
	iface     string
	rate      float64
	allowFast bool
	http      string
	state     string
	length    time.Duration
	noLook    bool
	watch     string

	hostNames   []string
	metricsOpen bool
	controllers []string
}

func (f *transmitterFlags) define(fs *pflag.FlagSet) {
	fs.StringVar(&f.iface, "interface", "", "the network interface to send from; default the plan's")
	fs.Float64Var(&f.rate, "rate", 0, "frames a second; default the plan's, which is 40 by default")
	fs.BoolVar(&f.allowFast, "above-refresh-limit", false, "allow a rate above what E1.11 refreshes, 44 Hz for 512 slots")
	fs.StringVar(&f.http, "http", "127.0.0.1:9531", "the one address that serves the page and the metrics")
	fs.StringSliceVar(&f.hostNames, "host-name", nil, "extra host `names` that the page answers to, a,b; or repeat the flag")
	fs.BoolVar(&f.metricsOpen, "metrics-open", false, "serve /metrics to whoever asks, not only to phones that were let in")
	fs.StringVar(&f.state, "state", "", "the state directory; default $STATE_DIRECTORY, $XDG_STATE_HOME/yardproof or ~/.local/state/yardproof")
	fs.DurationVar(&f.length, "for", 0, "stop after this long; default when told to")
	fs.BoolVar(&f.noLook, "no-look", false, "do not look for other sources, before the first frame or later")
	fs.StringSliceVar(&f.controllers, "controllers", nil, "send only the universes of these controllers, a,b; other transmitters send the rest of the plan")
	fs.StringVar(&f.watch, "watch", "", "hear our own stream on this other interface, to measure what the network loses")
}

// check refuses flags that cannot be meant.
func (f *transmitterFlags) check(fs *pflag.FlagSet) error {
	if fs.Changed("for") && f.length <= 0 {
		return usagef("--for %v: it must be above 0", f.length)
	}
	host, port, err := net.SplitHostPort(f.http)
	if n, portErr := strconv.ParseUint(port, 10, 16); err != nil || portErr != nil {
		return usagef("--http %q is no address with a port; write it as 127.0.0.1:9531", f.http)
	} else if host == "" {
		return usagef("--http %s names no address; write 127.0.0.1:%d for this machine alone, one of its addresses, or 0.0.0.0:%d for all", f.http, n, n)
	}
	for _, name := range f.hostNames {
		if name == "" || strings.ContainsAny(name, " /:@") {
			return usagef("--host-name %q is no name of a machine", name)
		}
	}
	return nil
}

// transmitter is the way from a plan to frames on the wire.
type transmitter struct {
	flags     transmitterFlags
	rateGiven bool
	demo      bool
	std       stdio
	load      func() (planfile.Checked, error)
	first     session.Request

	// What a command adds to plain sending; each may be left out.
	prepare    func() error            // when session, state and record are there
	drive      task                    // chooses what is shown once frames go out; its end ends the run
	says       func() string           // more for the status
	looked     func(note string) error // notes that somebody looked at the display
	patient    bool                    // wait for an interface that cannot carry frames yet
	collectors []prometheus.Collector  // more for /metrics

	log       *slog.Logger
	plan      *config.Plan
	temporary string // the demonstration's state directory
	state     *state.Dir
	record    *record.Log
	history   *history.History
	session   *session.Session
	source    *source.Source
	around    *surroundings
	notifier  *systemd.Notifier
	hangup    chan os.Signal // asks for a reload
}

// errPlan means that the plan has errors, which have been printed.
var errPlan = fmt.Errorf("nothing is sent while the plan has an error: %w", errFound)

// run sends until ctx ends, then goes dark and says goodbye.
func (t *transmitter) run(ctx context.Context) (err error) {
	t.log = newLogger(t.std.err)
	defer t.catchHangups()()
	c, err := t.loadPart()
	if err != nil {
		return err
	}
	c.Print(t.std.err)
	if n := c.Errors(); n > 0 {
		fmt.Fprintf(t.std.err, "yardproof: nothing is sent while the plan has an error; it has %d\n", n)
		return errPlan
	}
	t.plan = c.Plan
	if err := t.chooseInterface(); err != nil {
		return err
	}
	if t.notifier, err = systemd.FromEnvironment(); err != nil {
		return err
	}
	if err := t.openState(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, t.closeState()) }()

	t.session = session.New(c.Plan, c.Budget)
	showing, err := t.session.Show(t.first)
	if err != nil {
		return usageError{err}
	}
	if t.prepare != nil {
		if err := t.prepare(); err != nil {
			return err
		}
	}
	if err := t.openSource(ctx); err != nil || t.source == nil {
		return err
	}
	ln, err := t.listen()
	if err != nil {
		return err
	}
	defer ln.Close()
	t.sayUsual()
	for _, line := range t.around.look(ctx) {
		fmt.Fprintf(t.std.err, "check: %s\n", line)
	}
	fmt.Fprintf(t.std.err, "sending %s\n", describe(showing, len(t.session.Scene().Streams), t.rate(), t.flags.iface))
	if showing.CappedBy != "" {
		fmt.Fprintf(t.std.err, "the level is capped at %.0f %%: %s\n", showing.Level*100, showing.CappedBy)
	}
	t.history = history.New()
	page, err := t.openPage(ln)
	if err != nil {
		return err
	}

	if t.flags.length > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, t.flags.length)
		defer cancel()
	}
	serve := func(ctx context.Context) error { return page.Serve(ctx, ln) }
	tasks := append(t.around.tasks(), t.source.Run, serve, t.keepSequence, t.reload, t.tellSystemd, t.remember)
	if t.drive != nil {
		var end context.CancelFunc
		ctx, end = context.WithCancel(ctx)
		tasks = append(tasks, t.afterStart(t.drive, end))
	}
	err = together(ctx, tasks...)
	t.sayHow()
	return err
}

// loadPart loads the plan, or with --controllers the part of it that is sent from here.
func (t *transmitter) loadPart() (planfile.Checked, error) {
	c, err := t.load()
	if err != nil {
		return c, err
	}
	return c.Part(t.flags.controllers), nil
}

func (t *transmitter) rate() float64 {
	if t.rateGiven {
		return t.flags.rate
	}
	return t.plan.Network.Rate
}

// chooseInterface insists on a name that somebody wrote: sending out of the
// wrong interface is the commonest mistake in the yard.
func (t *transmitter) chooseInterface() error {
	if t.flags.iface == "" {
		t.flags.iface = t.plan.Network.Interface
	}
	if t.flags.iface != "" {
		return nil
	}
	all, err := interfaces()
	if err != nil {
		return err
	}
	var names []string
	for _, l := range all {
		if l.up && len(l.prefixes) > 0 {
			names = append(names, fmt.Sprintf("%s %v", l.name, l.prefixes))
		}
	}
	return usagef("no interface was named; give --interface, or interface: under network: in the plan; there are %s", strings.Join(names, ", "))
}

func (t *transmitter) openState() error {
	var path string
	var err error
	if t.demo && t.flags.state == "" {
		if path, err = os.MkdirTemp("", "yardproof-demo-*"); err != nil {
			return err
		}
		t.temporary = path
	} else if path, err = stateDir(t.flags.state); err != nil {
		return err
	}
	if t.state, err = state.Open(path); err != nil {
		return err
	}
	var notes []string
	if t.record, notes, err = record.Open(path); err != nil {
		return errors.Join(err, t.state.Close())
	}
	for _, note := range notes {
		t.log.Warn(note)
	}
	return nil
}

// closeState gives up the state directory; the demonstration's is of no use to anybody.
func (t *transmitter) closeState() error {
	err := errors.Join(t.record.Close(), t.state.Close())
	if t.temporary != "" {
		err = errors.Join(err, os.RemoveAll(t.temporary))
	}
	return err
}

// openSource makes the sockets. A patient transmitter waits for its interface;
// then no source and no error means that ctx has ended.
func (t *transmitter) openSource(ctx context.Context) error {
	cid, err := t.state.CID()
	if err != nil {
		return err
	}
	name, err := sacn.NewName(t.plan.Source.Name)
	if err != nil {
		return err
	}
	n := t.plan.Network
	t.around = &surroundings{
		noLook: t.flags.noLook, watchOn: t.flags.watch, iface: t.flags.iface,
		priority: uint8(t.plan.Source.Priority), cid: cid, log: t.log,
		plan: func() *config.Plan { plan, _ := t.session.Plan(); return plan },
	}
	if err := t.around.check(); err != nil {
		return err
	}
	var enough <-chan time.Time // waiting counts as running
	if t.flags.length > 0 {
		enough = time.After(t.flags.length)
	}
	for waiting := false; ; waiting = true {
		t.source, err = source.Open(source.Config{
			CID: cid, Name: name, Priority: uint8(t.plan.Source.Priority),
			Preview: n.Preview, ForceSync: n.ForceSync, SyncAddress: n.SyncUniverse,
			Interface: t.flags.iface, IPv6: n.IPv6, TTL: n.TTL, Loopback: true,
			Rate: t.rate(), AllowFast: t.flags.allowFast, Spread: n.Spread,
			FirstSequence: t.state.FirstSequence(), Log: t.log,
		}, t.session.Scene())
		usage, ok := errors.AsType[*source.UsageError](err)
		if !ok || !(t.patient && usage.Link) {
			break
		}
		if !waiting {
			t.log.Warn("waiting for the interface", "error", err)
			t.notifier.Status("waiting for the interface: %v", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-enough:
			return nil
		case <-time.After(time.Second):
		}
	}
	if _, ok := errors.AsType[*source.UsageError](err); ok {
		return usageError{err}
	}
	return err
}

// sayUsual prints what is usually wrong with the laptop. A list of interfaces
// that cannot be had is no reason not to send.
func (t *transmitter) sayUsual() {
	all, err := interfaces()
	if err != nil {
		t.log.Warn("the interfaces could not be checked", "error", err)
		return
	}
	for _, line := range usual(t.plan, t.flags.iface, all) {
		fmt.Fprintf(t.std.err, "check: %s\n", line)
	}
}

// keepSequence notes the sequence number each second, so that a restart goes on
// where receivers expect it; and at once, since a run may be shorter than that.
func (t *transmitter) keepSequence(ctx context.Context) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		if err := t.state.SaveSequence(t.source.Stats().Sequence); err != nil {
			t.log.Warn("the sequence number could not be kept; after a restart receivers may discard half a second", "error", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// tellSystemd reports readiness when frames have gone out, then the status each
// second, and feeds the watchdog only while the frame loop moves.
func (t *transmitter) tellSystemd(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return nil
	case <-t.source.Started():
	}
	t.notifier.Ready()
	interval := time.Second
	if w := systemd.WatchdogInterval(); w > 0 {
		interval = min(interval, w)
	}
	tick := time.NewTicker(interval)
	defer tick.Stop()
	var woke time.Time
	for {
		select {
		case <-ctx.Done():
			t.notifier.Stopping()
			return nil
		case <-tick.C:
		}
		stats := t.source.Stats()
		if stats.LastTick != woke {
			woke = stats.LastTick
			t.notifier.Alive()
		}
		status := describe(t.session.Showing(), stats.Streams, t.rate(), t.flags.iface)
		if t.says != nil {
			status += "; " + t.says()
		}
		t.notifier.Status("%s", status)
	}
}

// afterStart runs a task once the first frame has gone out; its end is the run's.
func (t *transmitter) afterStart(run task, end context.CancelFunc) task {
	return func(ctx context.Context) error {
		defer end()
		select {
		case <-ctx.Done():
			return nil
		case <-t.source.Started():
			return run(ctx)
		}
	}
}

// remember keeps the last minutes and the last day.
func (t *transmitter) remember(ctx context.Context) error {
	return t.history.Run(ctx, func() history.Reading {
		stats, around := t.source.Stats(), t.around.snapshot()
		r := history.Reading{Time: time.Now(), Frames: stats.Frames, WantedHz: t.rate(), Lateness: stats.Lateness}
		if expected, lost, ok := around.Loss(); ok {
			r.Expected, r.Lost = &expected, &lost
		}
		if n, all := around.Answering(); all > 0 {
			r.Answering, r.Controllers = &n, &all
		}
		if n, ok := around.Rivalled(); ok {
			r.Conflicts = &n
		}
		return r
	})
}

// sayHow prints how it went.
func (t *transmitter) sayHow() {
	stats := t.source.Stats()
	fmt.Fprintf(t.std.err, "sent %d frames in %d packets, skipped %d; the streams are terminated\n", stats.Frames, stats.Packets, stats.Skipped)
}

func describe(show session.Showing, universes int, rate float64, iface string) string {
	return fmt.Sprintf("%s at %.0f %% on %s; %s, %g Hz, %s", show.Pattern, show.Level*100, textout.Count(len(show.Strings), "string"), textout.Count(universes, "universe"), rate, iface)
}

// newLogger writes events to w, without a time where the journal adds its own.
func newLogger(w io.Writer) *slog.Logger {
	options := &slog.HandlerOptions{}
	if os.Getenv("JOURNAL_STREAM") != "" {
		options.ReplaceAttr = func(groups []string, a slog.Attr) slog.Attr {
			if len(groups) == 0 && a.Key == slog.TimeKey {
				return slog.Attr{}
			}
			return a
		}
	}
	return slog.New(slog.NewTextHandler(w, options))
}
