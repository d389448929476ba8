package transmit

import (
	"context"
	"fmt"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
)

// reload reads the plan again at each hangup. A plan that cannot be read or has
// an error is refused, and the old one stays.
func (t *Transmitter) reload(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.hangups:
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

func (t *Transmitter) reloadPlan() {
	if err := t.readCertificate(); err != nil {
		t.cfg.Log.Error("the certificate was not read again; the old one stays", "error", err)
	}
	c, err := t.cfg.Load()
	if err != nil {
		t.cfg.Log.Error("the plan was not reloaded; the old one stays", "error", err)
		return
	}
	c.Print(t.cfg.Talk)
	if n := c.Errors(); n > 0 {
		t.cfg.Log.Error("the plan was not reloaded; the old one stays", "errors", n)
		return
	}
	if sent(c.Plan) != sent(t.plan) {
		t.cfg.Log.Warn("what changed under source: and network: takes a restart")
	}
	// Before the session is told: it renders the new plan only, and a source that
	// stayed with the old one would hold its last frame, whatever is asked for.
	if err := t.source.Check(session.Streams(c.Plan)); err != nil {
		t.cfg.Log.Error("the new plan cannot be sent; the old one stays", "error", err)
		return
	}
	t.checked.Store(&c) // whoever asks about the old plan meanwhile is told nothing
	scene := t.session.Reload(c.Plan, c.Budget)
	if err := t.source.Replace(scene); err != nil {
		t.cfg.Log.Error("the new plan cannot be sent", "error", err)
		return
	}
	t.around.PlanChanged()
	t.cfg.Log.Info("the plan was reloaded", "strings", len(c.Plan.Strings), "universes", len(scene.Streams))
}

// sent is what a plan says of the source as a whole.
func sent(p *config.Plan) string {
	s, n := p.Source, p.Network
	s.Marks, n.Marks = config.Marks{}, config.Marks{}
	return fmt.Sprint(s, n)
}
