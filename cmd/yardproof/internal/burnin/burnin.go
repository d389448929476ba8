// Package burnin goes through a plan's burn-in programme: which step is due, for
// how long each string has been served, what the worst was, and when it is over.
// It shows its steps by a session and keeps its progress in the state directory.
// It refuses to know about sockets and about printing; time is the clock's, which
// a test may fake.
package burnin

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"yardproof/cmd/yardproof/internal/outage"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/config"
	"yardproof/patterns"
	"yardproof/sacn/source"
)

// none stands for a step when none of the programme is shown.
const none = -1

const (
	saveEvery = time.Minute // what a power cut may cost
	stallTime = 3 * time.Second
)

// State is what a burn-in is doing.
type State string

// The states.
const (
	Running  State = "running"
	Waiting  State = "waiting"  // for its part of the day
	Held     State = "held"     // a person holds the display
	Stalled  State = "stalled"  // no frames go out
	Finished State = "finished" //
)

// States lists all states.
func States() []State { return []State{Running, Waiting, Held, Stalled, Finished} }

// Reading is what the transmitter has counted since it started.
type Reading struct {
	Stats          source.Stats
	Wire           outage.Reading
	Expected, Lost uint64 // packets, by the listener; both 0 while nothing is observed
}

// Config is what a burn-in needs.
type Config struct {
	Session *session.Session
	State   *state.Dir
	Read    func() Reading
	Rate    float64 // frames a second

	Hours       float64  // 0: the plan's
	Strings     []string // names; none, and no controllers: all
	Controllers []string // names: all their strings
	Again       bool     // begin anew, whatever was kept
	Stay        bool     // do not return when it is over: the plan may be given more hours

	// Record puts a line on record. It may wait for the disk.
	Record    func(record.Line) (record.Line, error)
	Standings func() []record.Standing // where the record has each string; nil: nowhere
	Done      func(Report)             // nil, or called when the hours have been served, each time they are

	Log *slog.Logger

	write func(Progress) error // nil: to the state directory; a test's disk may stall
}

// BurnIn is one run through the programme. It is safe for concurrent use.
type BurnIn struct {
	cfg    Config
	keeper *keeper
	report atomic.Pointer[Report] // for those who must not wait
	ticks  atomic.Uint64

	mu         sync.Mutex
	plan       *config.Plan
	programme  Programme
	names      []string                        // chosen strings, in the plan's order
	carried    map[string][]source.Destination // by what each of them is carried
	progress   Progress
	state      State
	step       int      // shown, or none
	unmeasured []string // of names, when the last step began
	change     uint64
	last       Reading
	wire       outage.Account
	universes  map[source.Destination]int // in progress.Universes
	silent     []uint16                   // that are in an outage now
	told       time.Time                  // when outages were last put on record
	lastSent   time.Time
	saved      time.Time
	disk       disk
}

// New takes up the burn-in of the session's plan where it was left.
func New(cfg Config) (*BurnIn, error) {
	b := &BurnIn{cfg: cfg, step: none}
	if b.cfg.write == nil {
		b.cfg.write = func(p Progress) error { return p.write(cfg.State) }
	}
	b.keeper = newKeeper(b)
	plan := cfg.Session.Snapshot().Plan
	kept, err := readProgress(cfg.State)
	if err != nil {
		cfg.Log.Error(err.Error())
	}
	if kept == nil {
		kept = &Progress{Plan: plan.Name, Started: time.Now()}
	} else if cfg.Again {
		kept = kept.anew(plan.Name)
	}
	b.progress = *kept
	b.progress.Starts++
	if err := b.adopt(plan); err != nil {
		return nil, err
	}
	b.state = Stalled // until the first tick
	if b.done() {
		b.state = Finished
	}
	cfg.Session.SetProgramme(true)
	b.save(time.Now())
	b.keeper.write() // a start that is killed at once counts too
	return b, nil
}

// Check tells what a burn-in with this configuration would lack in a plan.
func Check(plan *config.Plan, cfg Config) error {
	if _, err := NewProgramme(plan, cfg.Hours); err != nil {
		return err
	}
	_, err := choose(plan, cfg.Strings, cfg.Controllers)
	return err
}

// adopt makes a plan the one that is served.
func (b *BurnIn) adopt(plan *config.Plan) error {
	programme, err := NewProgramme(plan, b.cfg.Hours)
	if err != nil {
		return err
	}
	names, err := choose(plan, b.cfg.Strings, b.cfg.Controllers)
	if err != nil {
		return err
	}
	b.plan, b.programme, b.names = plan, programme, names
	p := &b.progress
	if !p.isOf(plan) {
		b.cfg.Log.Warn("the progress that was kept belongs to another plan, or to other strings; the burn-in begins anew", "kept", p.Plan, "plan", plan.Name)
		b.progress = *p.anew(plan.Name)
		b.progress.Starts = 1
	}
	if text := programme.String(); text != p.Programme || p.Position >= Seconds(programme.Length()) {
		p.Programme, p.Position = text, 0
	}
	b.adoptStrings()
	b.carried = carried(plan, names)
	b.adoptUniverses()
	b.measure()
	if !b.done() {
		p.Finished = time.Time{}
	}
	return nil
}

// Run goes through the programme until its hours have been served, which leaves
// the session dark, or ctx ends. When its hours are over it returns once that is on
// disk; when ctx ends, an error if the disk does not take what was served. Call it once, when frames go out.
func (b *BurnIn) Run(ctx context.Context) error {
	b.begin(time.Now())
	go b.keeper.run()
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		over, news := b.tick(time.Now())
		if news && b.cfg.Done != nil {
			b.cfg.Done(b.Report())
		}
		var settled <-chan struct{}
		if over && !b.cfg.Stay {
			if b.settled() { // until then it stays, and dark
				return b.keeper.end()
			}
			settled = b.keeper.news
		}
		select {
		case <-ctx.Done():
			b.mu.Lock()
			b.advance(time.Now(), b.cfg.Session.Snapshot().Shown)
			b.recordOutages(time.Now())
			b.save(time.Now())
			b.mu.Unlock()
			return b.keeper.end()
		case <-tick.C:
		case <-settled:
		}
	}
}

func (b *BurnIn) begin(now time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.last = b.cfg.Read()
	b.wire.Look(now, b.last.Wire)
	b.lastSent, b.told = now, now
	b.change = b.cfg.Session.Snapshot().Shown.Change
	b.save(now) // this start is counted, and a directory that cannot be written shows at once
}

// tick does what is due. It reports whether the burn-in is over, and whether
// that is news.
func (b *BurnIn) tick(now time.Time) (over, news bool) {
	defer b.ticks.Add(1)
	b.mu.Lock()
	defer b.mu.Unlock()
	defer b.publish()
	seen := b.cfg.Session.Snapshot()
	if seen.Plan != b.plan {
		b.takeOver(seen.Plan)
	}
	b.advance(now, seen.Shown)
	if b.done() {
		news = b.state != Finished
		if news {
			b.finish(now)
		}
		return true, news
	}
	b.show(now, seen.Hold)
	if now.Sub(b.saved) >= saveEvery && b.state != Waiting { // nothing is served meanwhile, and flash wears
		b.save(now)
	}
	return false, false
}

// takeOver goes on with a plan that was reloaded.
func (b *BurnIn) takeOver(plan *config.Plan) {
	old := b.programme.String()
	if err := b.adopt(plan); err != nil {
		b.cfg.Log.Error("the burn-in goes on with the programme it has", "error", err)
		b.plan = plan
		b.carried = carried(plan, nil)
		b.names = slices.DeleteFunc(b.names, func(name string) bool {
			return plan.Find(name) == nil
		})
		b.adoptUniverses()
	} else if text := b.programme.String(); text != old {
		b.cfg.Log.Info("the programme has changed; its cycle begins anew", "programme", text)
	}
	b.step = none // shown again, on the strings of the new plan
}

// advance counts what went out since the last tick.
func (b *BurnIn) advance(now time.Time, shown session.Shown) {
	r := b.cfg.Read()
	p := &b.progress
	sent := r.Stats.Frames - b.last.Stats.Frames
	p.Frames += sent
	p.Skipped += r.Stats.Skipped - b.last.Stats.Skipped
	p.Withheld += r.Stats.Withheld - b.last.Stats.Withheld
	p.WorstLateness = max(p.WorstLateness, Seconds(worst(b.last.Stats.Lateness, r.Stats.Lateness)))
	if r.Expected >= b.last.Expected && r.Lost >= b.last.Lost { // else the listener was started anew
		p.Expected += r.Expected - b.last.Expected
		p.Lost += r.Lost - b.last.Lost
	}
	if sent > 0 {
		b.lastSent = now
	}
	b.last = r
	spans := b.wire.Look(now, r.Wire)
	if b.state != Finished {
		b.account(spans)
	}
	if now.Sub(b.told) >= recordEvery {
		b.recordOutages(now)
	}
	if b.step == none || shown.Change != b.change {
		return
	}
	b.serve(spans)
	p.Position += b.duration(sent)
	if length := Seconds(b.programme.Length()); p.Position >= length {
		p.Position -= length
		p.Cycles++
	}
}

// worst returns a bound that no observation between two snapshots exceeded.
func worst(before, after source.Histogram) time.Duration {
	for i := len(after.Counts) - 1; i >= 0; i-- {
		var old uint64
		if i < len(before.Counts) {
			old = before.Counts[i]
		}
		if after.Counts[i] > old {
			bound := after.Bounds[min(i, len(after.Bounds)-1)]
			return time.Duration(bound * float64(time.Second))
		}
	}
	return 0
}

// least is the time that every chosen string has been served.
func (b *BurnIn) least() time.Duration {
	least := b.programme.Hours
	for _, name := range b.names {
		least = min(least, time.Duration(b.progress.Strings[name].Served))
	}
	return least
}

func (b *BurnIn) done() bool { return b.least() >= b.programme.Hours }

// finish goes dark, and puts what each string has been through on record.
func (b *BurnIn) finish(now time.Time) {
	b.put(none, session.Request{Pattern: patterns.Dark})
	b.state = Finished
	b.progress.Finished = now
	b.recordOutages(now)
	b.silent = nil
	for i, name := range b.names {
		s := b.progress.Strings[name]
		b.progress.Owed = append(b.progress.Owed, record.Line{
			Time: now, Kind: record.BurnIn, Plan: b.plan.Name, String: name, Label: s.Label,
			Note: fmt.Sprintf("%s served (%s); %s%s", short(time.Duration(s.Served)), s.Evidence(), b.outagesOf(name), b.progress.Summary()),
			Once: fmt.Sprintf("burn-in-%d-%d", now.UnixMilli(), i),
		})
	}
	b.save(now)
}

// save has the keeper bring to disk how it stands now.
func (b *BurnIn) save(now time.Time) {
	b.saved = now
	b.disk.wanted++
	b.publish()
	b.keeper.poke()
}

// Steps returns the programme in words.
func (b *BurnIn) Steps() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.programme.String()
}
