package listener

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	"yardproof/sacn"
)

// TapConfig says where a transmitter's own multicast stream is to be heard.
type TapConfig struct {
	Interface string // not the one that sends
	Sending   string // the one that sends
	IPv6      bool
	Universes []uint16 // sent by multicast
	Own       sacn.CID
	Log       *slog.Logger // nil: the default one
}

// TapReport is what a tap knows at one moment.
type TapReport struct {
	Universes  []TapUniverse // as configured
	LocalDrops uint64        // packets the tap itself dropped
	DropsKnown bool
	Blind      string // why nothing can be heard now: the interface is "gone", "down" or "without carrier"; "": it can
}

// TapUniverse is what was heard of our own stream on one universe.
type TapUniverse struct {
	Universe uint16
	Heard    bool // at least once; without it nothing is known of loss
	Stream        // meaningful when Heard
}

// Tap hears a transmitter's own stream on another interface of the same host,
// by a packet socket: over IPv4 the kernel drops as martian what comes in from
// an address of its own, so no UDP socket can hear it.
type Tap struct {
	cfg  TapConfig
	ifi  *net.Interface
	sock *tapSocket
	held *memberships
	gone bool // the interface was, since sock was made

	mu         sync.Mutex
	tracker    *Tracker
	dropsKnown bool
	blind      string
}

// OpenTap makes the packet socket, which needs CAP_NET_RAW, and joins the groups.
func OpenTap(cfg TapConfig) (*Tap, error) {
	if cfg.Interface == cfg.Sending {
		return nil, fmt.Errorf("%s is the interface that sends: its own copy is made above the driver and would be heard with the cable cut; watch on another interface, wired to the far end of the network", cfg.Interface)
	}
	follow := new(UniverseSet)
	for _, u := range cfg.Universes {
		follow.Add(u)
	}
	if cfg.Log == nil {
		cfg.Log = slog.Default()
	}
	t := &Tap{cfg: cfg, tracker: NewTracker(TrackerConfig{Universes: follow, Only: cfg.Own, Local: newLocalAddresses(Addresses).has})}
	var err error
	if t.ifi, err = findInterface(cfg.Interface); err != nil {
		return nil, err
	}
	if t.sock, err = openTap(t.ifi, cfg.IPv6, wantedBuffer(len(cfg.Universes))); err != nil {
		return nil, fmt.Errorf("watch on %s: %w", cfg.Interface, err)
	}
	if t.held, err = join(nil, t.ifi, cfg.IPv6, cfg.Universes); err != nil {
		t.sock.close()
		return nil, err
	}
	return t, nil
}

// Close gives up a tap that was never run; Run does it by itself.
func (t *Tap) Close() {
	t.held.close()
	t.sock.close()
}

// Run listens until ctx ends, and returns nil then. It follows the interface,
// which may go and come back as another one: the counts go on.
func (t *Tap) Run(ctx context.Context) error {
	defer t.Close()
	var before uint32
	polled, looked := time.Now(), time.Now()
	for ctx.Err() == nil {
		err := t.sock.read()
		now := time.Now()
		if err != nil || now.Sub(looked) > followEvery {
			looked = now
			t.gone = t.gone || err != nil // the socket tells once that its interface went down
			if why := t.follow(now, &before); err != nil && why == "" {
				if err = t.sock.read(); err != nil {
					return fmt.Errorf("watch on %s: %w", t.cfg.Interface, err)
				}
			}
		}
		t.mu.Lock()
		t.sock.deliver(t.tracker)
		if now.Sub(polled) > time.Second {
			polled = now
			_, drops, err := t.sock.meminfo()
			t.dropsKnown = err == nil
			t.tracker.LocalDrops(uint64(drops - before))
			before = drops
		}
		t.mu.Unlock()
		t.sock.pause()
	}
	return nil
}

// follow looks at the interface, and makes the socket anew when it was replaced;
// drops is what is known of the socket's. It returns why nothing can be heard. A
// line says when that begins, and one when it is over.
func (t *Tap) follow(now time.Time, drops *uint32) (why string) {
	index, why := t.sock.presence(t.cfg.Interface)
	t.gone = t.gone || index == 0
	if why == "" && (t.gone || index != t.ifi.Index) {
		ifi := &net.Interface{Index: index, Name: t.cfg.Interface}
		if err := t.reopen(ifi); err != nil {
			why = err.Error()
		} else {
			*drops = 0
		}
	}
	t.mu.Lock()
	was := t.blind
	t.blind = why
	t.tracker.Deaf(why != "", now)
	t.mu.Unlock()
	switch {
	case why == "" && was != "":
		t.cfg.Log.Info("our own stream is watched again", "interface", t.cfg.Interface)
	case why != "" && was == "":
		t.cfg.Log.Warn("our own stream cannot be watched: until it can, no loss is measured", "interface", t.cfg.Interface, "state", why)
	}
	return why
}

// reopen makes socket and memberships anew.
func (t *Tap) reopen(ifi *net.Interface) error {
	sock, err := openTap(ifi, t.cfg.IPv6, wantedBuffer(len(t.cfg.Universes)))
	if err != nil {
		return err
	}
	held, err := join(nil, ifi, t.cfg.IPv6, t.cfg.Universes)
	if err != nil {
		sock.close()
		return err
	}
	t.Close()
	t.ifi, t.sock, t.held, t.gone = ifi, sock, held, false
	return nil
}

// Snapshot returns what is known now. Safe for concurrent use.
func (t *Tap) Snapshot() TapReport {
	t.mu.Lock()
	s := t.tracker.Snapshot(time.Now())
	known, blind := t.dropsKnown, t.blind
	t.mu.Unlock()
	heard := make(map[uint16]Stream)
	for _, src := range s.Sources {
		for _, st := range src.Streams {
			heard[st.Universe] = st
		}
	}
	out := TapReport{LocalDrops: s.LocalDrops, DropsKnown: known, Blind: blind}
	for _, u := range t.cfg.Universes {
		st, ok := heard[u]
		out.Universes = append(out.Universes, TapUniverse{Universe: u, Heard: ok, Stream: st})
	}
	return out
}
