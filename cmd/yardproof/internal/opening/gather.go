package opening

import (
	"context"
	"time"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn/listener"
)

// listenFor shows every steady source, as the search before the first frame does, and
// that somebody has ended: a stream is lost after 2.5 s (E1.31 clause 6.7.1).
const listenFor = 3 * time.Second

// Gather gathers what a state directory tells of a plan, and what is heard now on an
// interface; "": nobody listens.
func Gather(ctx context.Context, dir, iface string, plan *config.Plan, b *budget.Budget) (Facts, error) {
	index, err := record.ReadIndex(dir)
	if err != nil {
		return Facts{}, err
	}
	f := Facts{Plan: plan, Budget: b, Standings: index.Standings(), Seen: index.Seen, Burned: burnin.Kept(dir, plan), Now: time.Now(), Zone: time.Local}
	universes := Universes(plan)
	if state.Running(dir) {
		f.Sending = universes
	} else {
		f.Ended = ReadEnded(dir)
	}
	if iface != "" {
		f.Heard, err = hear(ctx, iface, dir, plan.Network.IPv6, universes)
	}
	return f, err
}

// hear listens for a while for who sends on universes, and whether this program is one
// of them.
func hear(ctx context.Context, iface, dir string, ipv6 bool, universes []uint16) (*Heard, error) {
	own, known := state.KnownCID(dir)
	h := &Heard{Where: iface}
	if !known {
		h.NotOwn = "the state directory has no CID that can be read"
	}
	r, err := listener.Scan(ctx, listener.WatchConfig{Interface: iface, IPv6: ipv6, Universes: universes, Own: own}, listenFor)
	if err != nil {
		return nil, err
	}
	for _, s := range r.Competing {
		if known && s.SameCID {
			h.Own = append(h.Own, s.Universe)
		} else {
			h.Others = append(h.Others, s)
		}
	}
	return h, nil
}
