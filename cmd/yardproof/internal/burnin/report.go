package burnin

import (
	"maps"
	"slices"
	"time"
)

// Report is a burn-in at one moment.
type Report struct {
	Progress
	State   State
	Step    Step          // shown now; zero: none of the programme
	Target  time.Duration // hours to be served
	Least   time.Duration // served by every chosen string
	Chosen  []string      // strings, in the plan's order
	Done    int           // of them, that have served their hours
	Behind  []string      // of them, that were served less than the others: something is wrong with their universes
	Silent  []uint16      // universes that are in an outage now
	Limited string        // why white is shown at 30 % at most; "": it is not
	Opens   string        // while waiting: when the next part of the day begins
	Unkept  string        // why what has come about is not on disk; "": it is, but for the last minute
}

// Report returns how it stood at the last tick. It waits for nothing.
func (b *BurnIn) Report() Report { return *b.report.Load() }

// Ticks counts the seconds that have been dealt with.
func (b *BurnIn) Ticks() uint64 { return b.ticks.Load() }

// publish makes how it stands the [BurnIn.Report].
func (b *BurnIn) publish() {
	r := Report{Progress: b.progress, State: b.state, Target: b.programme.Hours, Least: b.least(), Chosen: slices.Clone(b.names)}
	r.Strings, r.Behind, r.Unkept = maps.Clone(r.Strings), b.behind(), b.disk.says(time.Now())
	r.Universes, r.Silent = slices.Clone(r.Universes), b.silent
	if b.step != none {
		r.Step = b.programme.Steps[b.step]
	}
	for _, s := range b.programme.Steps {
		if _, why := b.most(s); why != "" {
			r.Limited = why
		}
	}
	if b.state == Waiting {
		r.Opens = b.programme.Window.Opens()
	}
	for _, name := range b.names {
		if time.Duration(b.progress.Strings[name].Served) >= b.programme.Hours {
			r.Done++
		}
	}
	b.report.Store(&r)
}
