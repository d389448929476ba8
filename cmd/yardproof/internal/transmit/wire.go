package transmit

import (
	"context"
	"errors"
	"time"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/config"
	"yardproof/sacn"
	"yardproof/sacn/source"
)

// openWire makes the source's sockets, and what watches beside it. A patient
// transmitter waits for its interface; then no source and no error means that ctx
// has ended.
func (t *Transmitter) openWire(ctx context.Context) error {
	cid, err := t.state.CID()
	if err != nil {
		return err
	}
	name, err := sacn.NewName(t.plan.Source.Name)
	if err != nil {
		return err
	}
	priority := uint8(t.plan.Source.Priority)
	t.around, err = surroundings.New(surroundings.Config{
		Interface: t.cfg.Interface, WatchOn: t.cfg.WatchOn, NoScan: t.cfg.NoScan, CID: cid, Priority: priority, Log: t.cfg.Log,
		Plan: func() *config.Plan { return t.session.Snapshot().Plan }, Sent: t.multicast,
	})
	if err != nil {
		return cli.Usagef("--watch: %w", err)
	}
	n := t.plan.Network
	t.source, err = t.openSource(ctx, source.Config{
		CID: cid, Name: name, Priority: priority,
		Preview: n.Preview, ForceSync: n.ForceSync, SyncAddress: n.SyncUniverse,
		Interface: t.cfg.Interface, IPv6: n.IPv6, TTL: n.TTL, Loopback: true,
		Rate: t.cfg.Rate, AllowFast: t.cfg.AllowFast, Spread: n.Spread,
		Packet: t.cfg.Packet, Realtime: t.cfg.Realtime,
		FirstSequence: t.state.FirstSequence(), Log: t.cfg.Log,
	})
	if _, ok := errors.AsType[*source.UsageError](err); ok {
		return cli.Usage(err)
	}
	return err
}

// openSource opens a source, and tries again each second while a patient
// transmitter's interface cannot carry frames.
func (t *Transmitter) openSource(ctx context.Context, cfg source.Config) (*source.Source, error) {
	var enough <-chan time.Time // waiting counts as running
	if t.cfg.For > 0 {
		enough = time.After(t.cfg.For)
	}
	for waiting := false; ; waiting = true {
		src, err := source.Open(cfg, t.session.Scene())
		if usage, ok := errors.AsType[*source.UsageError](err); !ok || !usage.Link || !t.cfg.Patient {
			return src, err
		}
		if !waiting {
			t.cfg.Log.Warn("waiting for the interface", "error", err)
			t.notifier.Status("waiting for the interface: %v", err)
		}
		select {
		case <-ctx.Done():
			return nil, nil
		case <-enough:
			return nil, nil
		case <-time.After(time.Second):
		}
	}
}

// multicast returns the packets sent to the group of each universe.
func (t *Transmitter) multicast() map[uint16]uint64 {
	sent := map[uint16]uint64{}
	for _, s := range t.source.Streams() {
		if !s.Unicast.IsValid() {
			sent[s.Universe] += s.Sent
		}
	}
	return sent
}
