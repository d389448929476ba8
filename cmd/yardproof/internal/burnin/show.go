package burnin

import (
	"errors"
	"fmt"
	"time"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/patterns"
)

// show puts on the strings what is due.
func (b *BurnIn) show(now time.Time, hold *session.Hold) {
	if b.held(hold) {
		return
	}
	if !b.programme.Window.Contains(now.Local()) {
		if b.state != Waiting {
			b.put(none, session.Request{Pattern: patterns.Dark})
			b.state = Waiting
			b.cfg.Log.Info("dark until the next part of the day", "opens", b.programme.Window.Opens())
			b.save(now)
		}
		return
	}
	if due := b.programme.at(time.Duration(b.progress.Position)); due != b.step {
		s := b.programme.Steps[due]
		b.measure()
		most, why := b.most(s)
		b.put(due, session.Request{Pattern: s.Pattern, Level: s.Level, Strings: b.names, Hold: session.Forever, Most: most, MostBy: why})
	}
	stalled := now.Sub(b.lastSent) >= stallTime
	switch {
	case stalled && b.state != Stalled:
		b.state = Stalled
		b.cfg.Log.Warn("no frames go out; the programme waits", "link", b.last.Stats.Link)
	case !stalled:
		if b.state == Stalled && b.ticks.Load() > 0 {
			b.cfg.Log.Info("frames go out again")
		}
		b.state = Running
	}
}

// held reports whether a person holds the display, and the programme waits.
func (b *BurnIn) held(h *session.Hold) bool {
	switch {
	case h != nil && b.state != Held:
		b.cfg.Log.Info("a person holds the display; the programme waits", "by", h.By, "dark", h.Dark)
		b.state, b.step = Held, none
	case h == nil && b.state == Held:
		b.cfg.Log.Info("the hold was lifted; the programme goes on")
		b.state, b.step = Running, none
	}
	return h != nil
}

// put shows a request; step is which one of the programme it is, or none.
func (b *BurnIn) put(step int, r session.Request) {
	after, err := b.cfg.Session.Show(r)
	shown := after.Shown
	b.step, b.change = step, shown.Change
	if err != nil {
		if b.step = none; !errors.Is(err, session.ErrHeld) { // else the next second sees it
			b.cfg.Log.Error("a step cannot be shown", "error", err) // the plan changed under us: next second
		}
		return
	}
	if step == none {
		return
	}
	attrs := []any{"pattern", shown.Pattern.Name, "level", percent(shown.Level),
		"for", short(b.programme.Steps[step].Duration), "served", short(b.least()), "cycle", b.progress.Cycles + 1}
	if shown.CappedBy != "" {
		attrs = append(attrs, "capped_by", shown.CappedBy)
	}
	b.cfg.Log.Info("step", attrs...)
}

func percent(level float64) string { return fmt.Sprintf("%.0f%%", level*100) }
