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

// openWire makes the source's sockets, and what watches beside it. The interface of a
// patient transmitter need not be there yet.
func (t *Transmitter) openWire() error {
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
		return cli.Usagef("--watch: %w", source.Explain(err))
	}
	n := t.plan.Network
	t.source, err = source.Open(source.Config{
		CID: cid, Name: name, Priority: priority,
		Preview: n.Preview, ForceSync: n.ForceSync, SyncAddress: n.SyncUniverse,
		Interface: t.cfg.Interface, IPv6: n.IPv6, TTL: n.TTL, Loopback: true,
		Rate: t.cfg.Rate, AllowFast: t.cfg.AllowFast, Spread: n.Spread,
		Packet: t.cfg.Packet, Realtime: t.cfg.Realtime, Patient: t.cfg.Patient,
		FirstSequence: t.state.FirstSequence(), Log: t.cfg.Log,
	}, t.session.Scene())
	if _, ok := errors.AsType[*source.UsageError](err); ok {
		return cli.Usage(source.Explain(err))
	}
	return source.Explain(err)
}

// await returns once the interface can carry frames, or ctx has ended. It looks each second.
func (t *Transmitter) await(ctx context.Context) error {
	for {
		err := t.source.CheckInterface()
		if err == nil {
			t.waiting.Store(nil)
			return nil
		}
		if usage, ok := errors.AsType[*source.UsageError](err); !ok || !usage.Link || !t.cfg.Patient {
			return cli.Usage(source.Explain(err))
		}
		why := source.Explain(err).Error()
		if t.waiting.Swap(&why) == nil {
			t.cfg.Log.Warn("waiting for the interface", "error", why)
			t.notifier.Status("waiting for the interface: %s", why)
		}
		select {
		case <-ctx.Done():
			return nil
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
