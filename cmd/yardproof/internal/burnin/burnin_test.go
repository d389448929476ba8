package burnin

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/cmd/yardproof/internal/outage"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
	"yardproof/sacn/sacntest"
	"yardproof/sacn/source"
)

const street = `
strings:
  - {name: gable-left, label: C1, universe: 1, pixels: 50, controller: boathouse}
  - {name: gable-right, label: C2, universe: 2, pixels: 50, controller: boathouse}
  - {name: roof, label: A1, universe: 3, pixels: 50, controller: bandstand}
controllers: [{name: boathouse}, {name: bandstand}]
burn_in:
`

func load(t *testing.T, text string) (*config.Plan, *budget.Budget) {
	t.Helper()
	plan := configtest.Load(t, text)
	return plan, budget.New(plan)
}

const rate = 2 // frames a second: enough to count, few enough for hours of them

// yard is a transmitter without sockets: frames come from a fake clock.
type yard struct {
	t       *testing.T
	path    string
	session *session.Session
	look    source.Scene
	slots   [][]byte
	b       *BurnIn
	stop    context.CancelFunc
	over    chan error
	dir     *state.Dir

	mu      sync.Mutex
	stats   source.Stats
	streams map[source.Destination]*source.StreamStats
	refused map[uint16]bool   // universes whose packets the kernel refuses
	lost    map[uint16]bool   // universes that do not arrive
	arrived map[uint16]uint64 // nil: nobody hears
	missed  map[uint16]uint64
	down    bool // frames are withheld
	done    []Report
	lines   []record.Line
}

func newYard(t *testing.T, text string) *yard {
	y := &yard{t: t, path: t.TempDir(), streams: map[source.Destination]*source.StreamStats{}, refused: map[uint16]bool{}, lost: map[uint16]bool{}, missed: map[uint16]uint64{}}
	plan, b := load(t, text)
	y.session = session.New(plan, b)
	y.take(y.session.Scene())
	return y
}

func (y *yard) take(look source.Scene) {
	y.mu.Lock()
	defer y.mu.Unlock()
	y.look, y.slots = look, nil
	for _, s := range look.Streams {
		y.slots = append(y.slots, make([]byte, s.Slots))
		if to := (source.Destination{Universe: s.Universe, Unicast: s.Unicast}); y.streams[to] == nil {
			y.streams[to] = &source.StreamStats{Destination: to}
		}
	}
}

// start begins a burn-in; it ends when stop is called or it is over.
func (y *yard) start(edit func(*Config)) {
	y.t.Helper()
	var err error
	if y.dir, err = state.Open(y.path); err != nil {
		y.t.Fatal(err)
	}
	cfg := Config{Session: y.session, State: y.dir, Rate: rate, Log: slog.New(slog.DiscardHandler),
		Read: func() Reading {
			y.mu.Lock()
			defer y.mu.Unlock()
			return y.reading()
		},
		Record: func(l record.Line) (record.Line, error) {
			y.lines = append(y.lines, l)
			return l, l.Check()
		},
		Done: func(r Report) { y.done = append(y.done, r) }}
	if edit != nil {
		edit(&cfg)
	}
	if y.b, err = New(cfg); err != nil {
		y.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	y.stop = cancel
	y.over = make(chan error, 1)
	go y.frames(ctx)
	go func() { y.over <- y.b.Run(ctx); cancel() }()
}

// restart begins again with another plan on the same directory.
func (y *yard) restart(text string) {
	plan, b := load(y.t, text)
	y.session = session.New(plan, b)
	y.take(y.session.Scene())
	y.start(nil)
}

func (y *yard) frames(ctx context.Context) {
	time.Sleep(time.Second / rate / 2) // never at the moment of the burn-in's own tick
	tick := time.NewTicker(time.Second / rate)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case now := <-tick.C:
			y.mu.Lock()
			if y.down {
				y.stats.Withheld++
			} else {
				y.stats.Frames++
				y.send()
				y.look.Render(source.Frame{Deadline: now}, y.slots)
			}
			y.mu.Unlock()
		}
	}
}

// send counts a frame's packets.
func (y *yard) send() {
	for _, s := range y.look.Streams {
		st := y.streams[source.Destination{Universe: s.Universe, Unicast: s.Unicast}]
		if y.refused[s.Universe] {
			st.Failed++
			continue
		}
		st.Sent++
		switch {
		case y.arrived == nil:
		case y.lost[s.Universe]:
			y.missed[s.Universe]++
		default:
			y.arrived[s.Universe]++
		}
	}
}

func (y *yard) reading() Reading {
	r := Reading{Stats: y.stats, Wire: outage.Reading{Withheld: y.stats.Withheld, Arrived: maps.Clone(y.arrived), Missed: maps.Clone(y.missed)}}
	for _, st := range y.streams {
		r.Wire.Streams = append(r.Wire.Streams, *st)
	}
	return r
}

// end stops the burn-in and gives the directory back.
func (y *yard) end() {
	y.t.Helper()
	y.stop()
	if err := <-y.over; err != nil {
		y.t.Error(err)
	}
	if err := y.dir.Close(); err != nil {
		y.t.Error(err)
	}
}

func (y *yard) kept() Progress {
	y.t.Helper()
	text := sacntest.Read(y.t, y.dir.Path(file))
	var p Progress
	sacntest.JSON(y.t, text, &p)
	return p
}

// pass lets time go by, and everything that it brings.
func pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

func (y *yard) served(name string) time.Duration {
	return time.Duration(y.b.Report().Strings[name].Served).Round(time.Second)
}

const shortProgramme = street + `
  hours: 1
  programme:
    - {pattern: walk, minutes: 10}
    - {pattern: full-white, level: 60%, minutes: 5}
    - {pattern: dark, minutes: 4}
`

func TestProgrammeIsServedAndEndsDark(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		y.start(nil)
		defer y.end()
		// The cycle is 10 + 5 + 1 (added: a moving step after the white) + 4 minutes.
		for _, c := range []struct {
			after time.Duration
			shows string
		}{{5 * time.Minute, "walk"}, {7 * time.Minute, "full-white"}, {3*time.Minute + 30*time.Second, "tick"},
			{2 * time.Minute, "dark"}, {10 * time.Minute, "walk"}, {5 * time.Minute, "full-white"}} {
			pass(c.after)
			if s := y.session.Snapshot().Shown; s.Pattern.Name != c.shows {
				t.Fatalf("at %v: %s is shown, want %s", time.Duration(y.b.Report().Position), s.Pattern.Name, c.shows)
			}
		}
		if s := y.session.Snapshot().Shown; s.Level > 0.3 || s.CappedBy == "" {
			t.Errorf("full white at %v, capped by %q: no fuse is known, so 30 %%", s.Level, s.CappedBy)
		}
		pass(27 * time.Minute)
		if r := y.b.Report(); r.State != Running || r.Cycles != 2 {
			t.Errorf("after 59.5 minutes: %s, %d cycles", r.State, r.Cycles)
		}
		pass(time.Minute)
		r := y.b.Report()
		if r.State != Finished || r.Done != 3 || y.session.Snapshot().Shown.Pattern.Name != "dark" {
			t.Errorf("after an hour: %s, %d strings done, shows %s", r.State, r.Done, y.session.Snapshot().Shown.Pattern.Name)
		}
		if p := y.kept(); p.Finished.IsZero() || time.Duration(p.Strings["roof"].Served) < time.Hour {
			t.Errorf("kept on disk: finished %v, %v", p.Finished, p.Strings)
		}
		if len(y.done) != 1 || len(y.lines) != 3 || y.lines[2].String != "roof" || y.lines[2].Label != "A1" || !strings.HasPrefix(y.lines[2].Note, "1h0m1s served (sent, not measured); 3 cycles, 7201 frames sent,") {
			t.Errorf("the end was told %d times; on record: %+v", len(y.done), y.lines)
		}
	})
}

func TestKilledBurnInGoesOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		y.start(nil)
		pass(12*time.Minute + 40*time.Second)
		kept, err := os.ReadFile(y.dir.Path(file)) // what a kill -9 leaves
		if err != nil {
			t.Fatal(err)
		}
		y.end()
		sacntest.Write(t, y.dir.Path(file), kept)
		pass(time.Hour) // nobody was there to serve
		y.start(nil)
		defer y.end()
		pass(time.Second)
		if got := y.served("gable-left"); got < 11*time.Minute+40*time.Second || got > 12*time.Minute+42*time.Second {
			t.Errorf("%v served after the restart, want 12m40s less at most a minute", got)
		}
		if s := y.session.Snapshot().Shown.Pattern.Name; s != "full-white" {
			t.Errorf("shows %s, want the step that was interrupted", s)
		}
		if n := y.kept().Starts; n != 2 {
			t.Errorf("%d starts are counted", n)
		}
	})
}

func TestLostNetworkIsNotServed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		y.start(nil)
		defer y.end()
		set := func(down bool) {
			y.mu.Lock()
			defer y.mu.Unlock()
			y.down = down
		}
		pass(5 * time.Minute)
		set(true)
		pass(20 * time.Minute)
		if s := y.b.Report().State; s != Stalled {
			t.Errorf("without frames it is %s", s)
		}
		if got := y.served("roof"); got < 4*time.Minute+58*time.Second || got > 5*time.Minute+2*time.Second {
			t.Errorf("%v served while 5 minutes of frames went out", got)
		}
		set(false)
		pass(2 * time.Minute)
		r := y.b.Report()
		if got := y.served("roof"); r.State != Running || got < 6*time.Minute+56*time.Second || got > 7*time.Minute+2*time.Second {
			t.Errorf("%s, %v served after the network came back", r.State, got)
		}
		if r.Withheld < rate*60*19 {
			t.Errorf("%d frames withheld are counted", r.Withheld)
		}
	})
}

func TestPartOfTheDay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		now := time.Now().Local()
		opens := now.Add(2 * time.Hour)
		y := newYard(t, fmt.Sprintf("%s  hours: 2\n  between: %s-%s\n  programme: [{pattern: walk, minutes: 10}]\n",
			street, opens.Format("15:04"), opens.Add(90*time.Minute).Format("15:04")))
		y.start(nil)
		defer y.end()
		pass(time.Hour)
		if r := y.b.Report(); r.State != Waiting || r.Least != 0 || y.session.Snapshot().Shown.Pattern.Name != "dark" {
			t.Errorf("before: %s, %v served, shows %s", r.State, r.Least, y.session.Snapshot().Shown.Pattern.Name)
		}
		pass(2 * time.Hour)
		if r := y.b.Report(); r.State != Running || y.session.Snapshot().Shown.Pattern.Name != "walk" {
			t.Errorf("inside: %s, shows %s", r.State, y.session.Snapshot().Shown.Pattern.Name)
		}
		pass(time.Hour)
		r := y.b.Report()
		if r.State != Waiting || y.session.Snapshot().Shown.Pattern.Name != "dark" {
			t.Errorf("after: %s, shows %s", r.State, y.session.Snapshot().Shown.Pattern.Name)
		}
		if r.Least < 89*time.Minute || r.Least > 91*time.Minute {
			t.Errorf("%v served in a part of 90 minutes", r.Least)
		}
		pass(23*time.Hour + time.Second) // the next day: 30 minutes are owing
		if r := y.b.Report(); r.State != Finished {
			t.Errorf("next day: %s, %v served", r.State, r.Least)
		}
	})
}

func TestReloadedPlan(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		y.start(func(c *Config) { c.Stay = true })
		defer y.end()
		pass(12 * time.Minute)
		plan, b := load(t, strings.Replace(strings.Replace(shortProgramme, "label: C2", "label: C9", 1), "hours: 1", "hours: 2", 1))
		y.take(y.session.Reload(plan, b))
		pass(2 * time.Second)
		if got := y.served("gable-left"); got < 11*time.Minute+50*time.Second {
			t.Errorf("the reload cost served time: %v", got)
		}
		if got := y.served("gable-right"); got > 5*time.Second {
			t.Errorf("another physical string begins with %v served", got)
		}
		if s := y.session.Snapshot().Shown; s.Pattern.Name != "full-white" {
			t.Errorf("shows %s, want the step to go on", s.Pattern.Name)
		}
		plan, b = load(t, shortProgramme) // an hour again
		y.take(y.session.Reload(plan, b))
		pass(61 * time.Minute)
		if r := y.b.Report(); r.State != Finished {
			t.Errorf("%s, %v", r.State, r.Least)
		}
		plan, b = load(t, strings.Replace(shortProgramme, "hours: 1", "hours: 3", 1))
		y.take(y.session.Reload(plan, b))
		pass(2 * time.Second)
		if r := y.b.Report(); r.State != Running || !r.Finished.IsZero() {
			t.Errorf("%s, finished %v: the plan asks for more hours", r.State, r.Finished)
		}
	})
}
