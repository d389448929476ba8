//go:build unix

package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
)

// catchHangups keeps a SIGHUP from ending the program, which may wait for its
// interface for hours before it can reload anything. One is remembered.
func (t *transmitter) catchHangups() (stop func()) {
	t.hangup = make(chan os.Signal, 1)
	signal.Notify(t.hangup, syscall.SIGHUP)
	return func() { signal.Stop(t.hangup) }
}

// reload reads the plan again at each SIGHUP. A plan that cannot be read or has
// an error is refused, and the old one stays.
func (t *transmitter) reload(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.hangup:
		}
		select {
		case <-t.source.Started():
			t.notifier.Reloading()
			t.reloadPlan()
			t.notifier.Ready()
		default: // not ready yet, and a reload must not say so
			t.reloadPlan()
		}
	}
}

func (t *transmitter) reloadPlan() {
	c, err := t.loadPart()
	if err != nil {
		t.log.Error("the plan was not reloaded; the old one stays", "error", err)
		return
	}
	c.Print(t.std.err)
	if n := c.Errors(); n > 0 {
		t.log.Error("the plan was not reloaded; the old one stays", "errors", n)
		return
	}
	if sent(c.Plan) != sent(t.plan) {
		t.log.Warn("what changed under source: and network: takes a restart")
	}
	// Before the session is told: it renders the new plan only, and a source that
	// stayed with the old one would hold its last frame, whatever is asked for.
	if err := t.source.Check(session.Streams(c.Plan)); err != nil {
		t.log.Error("the new plan cannot be sent; the old one stays", "error", err)
		return
	}
	look := t.session.Reload(c.Plan, c.Budget)
	if err := t.source.Replace(look); err != nil {
		t.log.Error("the new plan cannot be sent", "error", err)
		return
	}
	t.around.planChanged()
	t.log.Info("the plan was reloaded", "strings", len(c.Plan.Strings), "universes", len(look.Streams))
}

// sent is what a plan says of the source as a whole.
func sent(p *config.Plan) string {
	s, n := p.Source, p.Network
	s.Marks, n.Marks = config.Marks{}, config.Marks{}
	return fmt.Sprint(s, n)
}
