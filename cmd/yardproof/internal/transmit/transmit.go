// Package transmit is the way from a plan to frames on the wire: it opens what sending
// needs, keeps it going side by side, and goes dark and says goodbye at the end. It
// refuses to know flags, and what the light looks like.
package transmit

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/history"
	"yardproof/cmd/yardproof/internal/hold"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/cmd/yardproof/internal/systemd"
	"yardproof/cmd/yardproof/internal/tasks"
	"yardproof/cmd/yardproof/internal/web"
	"yardproof/config"
	"yardproof/sacn"
	"yardproof/sacn/source"
)

// Config is what is sent, from where, and who may watch.
type Config struct {
	Load  func() (planfile.Checked, error) // reads the plan; a reload calls it again
	First session.Request                  // what is shown first

	Interface string        // to send from; "": the plan's
	Rate      float64       // frames a second; 0: the plan's
	AllowFast bool          // a rate above what E1.11 refreshes
	For       time.Duration // after which sending ends; 0: never
	Patient   bool          // wait for an interface that cannot carry frames yet

	Packet   bool // multicast leaves by whole Ethernet frames
	Realtime bool // send before other work of this host

	NoScan  bool   // do not search for other sources
	SameCID bool   // send though another machine does so with our CID
	WatchOn string // another interface, on which our own stream is heard; "": none

	State string // its directory; "": one that is thrown away at the end

	Bench *web.Bench // the page is a bench's; nil: it is not

	HTTP        string   // the address that serves page and metrics
	HostNames   []string // names that the page is asked for by, beside this machine's own
	MetricsOpen bool     // metrics need no session
	TLS         KeyPair  // that page and metrics are served by HTTPS with; zero: by HTTP
	Version     string   // of the program
	Commit      string   // that it was built from

	Rehearsal *web.Rehearsal // nil: what is sent is meant
	// Beside goes on beside the sending, until its last packet is out, and is told the
	// CID; nil: nothing does.
	Beside func(context.Context, sacn.CID) error

	Talk io.Writer // what people read
	Log  *slog.Logger
}

// A Programme chooses what is shown, in place of a person.
type Programme struct {
	Run       func(context.Context) error   // begins once frames go out; its end ends the sending
	Says      func() string                 // how far it is, in a few words
	Moves     func() uint64                 // another number at least each second that Run is well
	Looked    func(note, once string) error // notes that somebody looked at the display
	Collector prometheus.Collector
}

// Transmitter sends one plan. Until Run has opened the source nothing is on the wire.
type Transmitter struct {
	cfg       Config
	plan      *config.Plan // as it was at the start: what changes under source and network takes a restart
	temporary bool         // the state directory
	pageOnly  string       // a temporary directory for the page; "": it uses the state directory
	state     *state.Dir
	record    *record.Log
	session   *session.Session
	checked   atomic.Pointer[planfile.Checked] // the plan that the session has
	holds     *hold.Keeper
	notifier  *systemd.Notifier
	hangups   chan os.Signal // each asks for a reload

	certificate atomic.Pointer[tls.Certificate] // nil: there is none

	waiting atomic.Pointer[string] // for the interface, and why; nil: it is not

	source  *source.Source // these from Run on
	around  *surroundings.Surroundings
	history *history.History
	streams []source.StreamStats // of the last Reading
}

// errPlan means that the plan has errors, which have been printed.
var errPlan = fmt.Errorf("nothing is sent while the plan has an error: %w", cli.ErrFound)

// Open reads the plan, opens the state and the record, and makes a session that
// shows what is to be shown first. Close it, whether or not it ran.
func Open(cfg Config) (_ *Transmitter, err error) {
	hangups := catchHangups()
	defer func() {
		if err != nil {
			signal.Stop(hangups)
		}
	}()
	c, err := cfg.Load()
	if err != nil {
		return nil, err
	}
	c.Print(cfg.Talk)
	if n := c.Errors(); n > 0 {
		fmt.Fprintf(cfg.Talk, "yardproof: nothing is sent while the plan has an error; it has %d\n", n)
		return nil, errPlan
	}
	if cfg.Interface, err = chooseInterface(cfg.Interface, c.Plan); err != nil {
		return nil, err
	}
	if cfg.Rate == 0 {
		cfg.Rate = c.Plan.Network.Rate
	}
	t := &Transmitter{cfg: cfg, plan: c.Plan, session: session.New(c.Plan, c.Budget), history: history.New(), hangups: hangups}
	t.checked.Store(&c)
	if _, err := t.session.Show(cfg.First); err != nil {
		return nil, cli.Usage(err)
	}
	if err := t.readCertificate(); err != nil {
		return nil, err
	}
	if t.notifier, err = systemd.FromEnvironment(); err != nil {
		return nil, err
	}
	if err := t.openState(); err != nil {
		return nil, err
	}
	t.holds = hold.Open(t.state, t.session, cfg.Log)
	if h := t.session.Snapshot().Hold; h != nil {
		t.say("%s; lift it on the page, or with yardproof resume", hold.Describe(h))
	}
	return t, nil
}

// Close gives up the state directory.
func (t *Transmitter) Close() error {
	signal.Stop(t.hangups)
	err := errors.Join(t.record.Close(), t.state.Close())
	if t.temporary {
		err = errors.Join(err, os.RemoveAll(t.state.Path(".")))
	}
	if t.pageOnly != "" {
		err = errors.Join(err, os.RemoveAll(t.pageOnly))
	}
	return err
}

// Session returns what is shown.
func (t *Transmitter) Session() *session.Session { return t.session }

// State returns the state directory.
func (t *Transmitter) State() *state.Dir { return t.state }

// Record returns the record of proofs.
func (t *Transmitter) Record() *record.Log { return t.record }

// Rate returns the frames a second.
func (t *Transmitter) Rate() float64 { return t.cfg.Rate }

// Run opens a transmitter, sends what people choose until ctx ends, and closes it.
func Run(ctx context.Context, cfg Config) error {
	t, err := Open(cfg)
	if err != nil {
		return err
	}
	return errors.Join(t.Run(ctx, nil), t.Close())
}

// Run sends until ctx ends or the programme does, then goes dark and says goodbye.
// Without a programme people choose what is shown. The page is there before the first
// frame, and while there is no interface to send it from.
func (t *Transmitter) Run(ctx context.Context, programme *Programme) error {
	if err := t.openWire(); err != nil {
		return err
	}
	ln, err := cli.Listen("http", t.cfg.HTTP)
	if err != nil {
		return err
	}
	defer ln.Close()
	page, err := t.openPage(ln, programme)
	if err != nil {
		return err
	}
	ctx, enough := context.WithCancel(ctx)
	defer enough()
	heard, silent := context.WithCancel(context.WithoutCancel(ctx)) // until the last packet is out
	defer silent()
	list := []tasks.Task{
		{Name: "sending", Run: func(ctx context.Context) error { defer silent(); return t.send(ctx, enough) }},
		{Name: "serving the page", Run: func(ctx context.Context) error { return page.Serve(ctx, ln) }},
		{Name: "keeping the hold", Run: t.holds.Run},
		{Name: "reloading", Run: t.reload},
		{Name: "telling systemd", Run: func(ctx context.Context) error { return t.tellSystemd(ctx, page, programme) }},
		{Name: "remembering", Run: t.remember},
	}
	if t.cfg.Beside != nil {
		cid, err := t.state.CID()
		if err != nil {
			return err
		}
		list = append(list, tasks.Task{Name: "the rehearsal", Run: func(context.Context) error { return t.cfg.Beside(heard, cid) }})
	}
	if programme != nil {
		var end context.CancelFunc
		ctx, end = context.WithCancel(ctx)
		defer end()
		list = append(list, tasks.Task{Name: "programme", Run: func(ctx context.Context) error {
			defer end()
			select {
			case <-ctx.Done():
				return nil
			case <-t.source.Started():
				return programme.Run(ctx)
			}
		}})
	}
	return tasks.Run(ctx, list...)
}

// send sends, once the interface is there, nobody else sends as us, and people were
// told what was found; at the end it says what went out, and what did not.
// Enough ends the program: waiting and sending may each take as long as was asked for;
// looking around before the first frame takes nothing off it.
func (t *Transmitter) send(ctx context.Context, enough func()) error {
	limit := func() (stop func() bool) {
		if t.cfg.For == 0 {
			return func() bool { return false }
		}
		return time.AfterFunc(t.cfg.For, enough).Stop
	}
	stop := limit()
	err := t.await(ctx)
	if stop(); err != nil || ctx.Err() != nil {
		return err
	}
	t.adviseOnInterfaces()
	t.adviseOnSending()
	others, sameCID := t.around.Scan(ctx)
	for _, line := range others {
		t.say("check: %s", line)
	}
	if sameCID && !t.cfg.SameCID {
		return cli.Hint(cli.Usagef("another machine sends these universes with this transmitter's own CID: receivers would discard packets of both"),
			"the state directory was copied; stop the other machine, or give this one a --state of its own (--same-cid sends all the same)")
	}
	showing := t.session.Snapshot().Shown
	t.say("sending %s", t.describe(showing, len(t.session.Scene().Streams)))
	if showing.CappedBy != "" {
		t.say("level allowed: %.0f %% (%s)", showing.Level*100, showing.CappedBy)
	}
	if !showing.FallsBack.IsZero() {
		t.say("it ends by itself after %.0f s, and all goes dark; --hold makes it up to %.0f s", showing.FallsBack.Sub(showing.Since).Seconds(), session.MaxHold.Seconds())
	}
	t.beginning()
	defer limit()()
	err = tasks.Run(ctx, append(t.around.Tasks(),
		tasks.Task{Name: "sending frames", Run: t.source.Run},
		tasks.Task{Name: "saving the sequence number", Run: t.saveSequence})...)
	stats, streams := t.source.Stats(), t.source.Streams()
	lines := goodbye(stats, streams)
	for _, line := range lines {
		t.say("%s", line)
	}
	t.ended(stats, streams, lines[0])
	return err
}

// say writes a line for people.
func (t *Transmitter) say(format string, args ...any) {
	fmt.Fprintf(t.cfg.Talk, format+"\n", args...)
}
