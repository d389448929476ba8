package transmit

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/history"
	"yardproof/cmd/yardproof/internal/hold"
	"yardproof/cmd/yardproof/internal/outage"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/cmd/yardproof/internal/systemd"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/cmd/yardproof/internal/web"
	"yardproof/config"
	"yardproof/sacn/source"
)

// saveSequence saves the sequence number each second, or more often at a high rate, so that a restart goes on
// where receivers expect it; and at once, since a run may be shorter than that.
func (t *Transmitter) saveSequence(ctx context.Context) error {
	tick := time.NewTicker(saveEvery(t.cfg.Rate))
	defer tick.Stop()
	for {
		if err := t.state.SaveSequence(t.source.Stats().Sequence); err != nil {
			t.cfg.Log.Warn("the sequence number could not be saved; after a restart receivers may discard half a second", "error", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// saveEvery is how long the number is good for at a rate: a second, or less.
func saveEvery(rate float64) time.Duration {
	if rate <= state.FramesBetweenSaves {
		return time.Second
	}
	return time.Duration(state.FramesBetweenSaves / rate * float64(time.Second))
}

// tellSystemd reports readiness when frames have gone out, then the status each
// second, and feeds the watchdog only while frame loop, page and programme all move.
func (t *Transmitter) tellSystemd(ctx context.Context, page *web.Server, programme *Programme) error {
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
	watch, stuck := t.watch(page.Moves, programme), ""
	for {
		select {
		case <-ctx.Done():
			t.notifier.Stopping()
			return nil
		case <-tick.C:
		}
		was := stuck
		if stuck = strings.Join(watch.Stuck(time.Now()), ", "); stuck == "" {
			t.notifier.Alive()
		} else if stuck != was {
			t.cfg.Log.Error("a part of the program stands still; a watchdog will end it", "part", stuck)
		}
		t.notifier.Status("%s", t.status(programme))
	}
}

// watch watches all that must move for the program to be well.
func (t *Transmitter) watch(page func() uint64, programme *Programme) (w systemd.Watch) {
	now := time.Now()
	w.Add("the frame loop", now, func() uint64 { return uint64(t.source.Stats().LastTick.UnixNano()) })
	w.Add("the page", now, page)
	if programme != nil {
		w.Add("the programme", now, programme.Moves)
	}
	return w
}

// status is how it stands, in a line: who holds and what is wrong come first.
func (t *Transmitter) status(programme *Programme) string {
	now := t.session.Snapshot()
	status := t.describe(now.Shown, t.source.Stats().Streams)
	if h := now.Hold; h != nil {
		status = hold.Describe(h) + "; " + status
	}
	if t.record.Problem() != nil {
		status = "NOTHING IS RECORDED, see the log; " + status
	}
	if programme != nil {
		status += "; " + programme.Says()
	}
	return status
}

func (t *Transmitter) describe(show session.Shown, universes int) string {
	what := show.Pattern.Name
	if !show.Pattern.Dark {
		what += fmt.Sprintf(" at %.0f %%", show.Level*100)
	}
	return fmt.Sprintf("%s on %s; %s, %g Hz, %s", what,
		textout.Count(len(show.Strings), "string"), textout.Count(universes, "universe"), t.cfg.Rate, t.cfg.Interface)
}

// remember keeps the last minutes and the last day.
func (t *Transmitter) remember(ctx context.Context) error {
	var account outage.Account
	var streams []source.StreamStats
	var clock wallClock
	return t.history.Run(ctx, func() history.Reading {
		stats, around := t.source.Stats(), t.around.Snapshot()
		r := history.Reading{Time: time.Now(), Frames: stats.Frames, WantedHz: t.cfg.Rate, Lateness: stats.Lateness}
		if expected, lost, ok := around.Loss(); ok {
			r.Expected, r.Lost = &expected, &lost
		}
		if n, all := around.Answering(); all > 0 {
			r.Answering, r.Controllers, r.Silent = &n, &all, around.Silent()
		}
		if n, ok := around.Contested(); ok {
			r.Conflicts, r.Others = &n, t.others(around)
		}
		wire := t.wire(streams[:0], stats, around)
		streams = wire.Streams
		r.Outage, r.Empty = t.outages(account.Look(r.Time, wire))
		if by := clock.set(r.Time); by != 0 {
			t.cfg.Log.Warn("the computer's clock was set, or the computer slept; frames and hours served do not go by it, times on record and `between` do", "by", by)
		}
		return r
	})
}

// outages returns by how much the longest outage grew, and which universes are in one,
// with their strings.
func (t *Transmitter) outages(spans []outage.Span) (grew time.Duration, empty []string) {
	plan := t.session.Snapshot().Plan
	for _, sp := range spans {
		grew = max(grew, sp.Silent)
		if sp.Out && len(empty) < history.MostNames {
			empty = append(empty, fmt.Sprintf("universe %d (%s)", sp.Universe, textout.Some(stringsOn(plan, sp.Universe), 3)))
		}
	}
	return grew, empty
}

// stringsOn names those that have slots on a universe.
func stringsOn(plan *config.Plan, universe uint16) (names []string) {
	for i, str := range plan.Map().Strings {
		if slices.ContainsFunc(str.Segments, func(s config.Segment) bool { return s.Universe == universe }) {
			names = append(names, plan.Strings[i].Name)
		}
	}
	return names
}

// mostOthers is how many other sources are kept by name: anybody can make up more.
const mostOthers = 10

// others names the other sources on our universes, with the strings there.
func (t *Transmitter) others(around surroundings.Snapshot) []string {
	plan := t.session.Snapshot().Plan
	var out []string
	for i, c := range around.Watch.Competing {
		if i == mostOthers {
			return append(out, textout.Count(len(around.Watch.Competing)-i, "more source"))
		}
		out = append(out, fmt.Sprintf("%s at %s on universe %d (%s)", c.Name, c.Address, c.Universe, strings.Join(stringsOn(plan, c.Universe), ", ")))
	}
	return out
}
