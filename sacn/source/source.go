// Package source sends E1.31 streams: it owns the sockets, the frame clock, the
// pacing of packets inside a frame, universe discovery and the termination of
// streams. It refuses to know what the slots mean; a callback fills them.
package source

import (
	"context"
	"log/slog"
	"net/netip"
	"time"

	"yardproof/sacn"
)

// Config is what all streams of a source share.
type Config struct {
	CID         sacn.CID
	Name        sacn.Name
	Priority    uint8
	Preview     bool
	ForceSync   bool
	SyncAddress uint16 // 0: no synchronization packets

	Interface string // name; must exist, be up and have an address
	IPv6      bool
	TTL       int  // multicast hops, 1-255
	Loopback  bool // deliver to this host as well (IP_MULTICAST_LOOP)

	Rate   float64 // frames a second
	Spread float64 // share of the frame period that a frame's packets are spread over, 0-1

	FirstSequence uint8
	Log           *slog.Logger
}

// Stream is one universe to send.
type Stream struct {
	Universe uint16
	Slots    int        // 1-512
	Unicast  netip.Addr // the zero Addr: multicast to the universe's group
}

// Frame is one tick of the clock as the renderer sees it.
type Frame struct {
	Number   uint64    // frames since the start, skipped ones included
	Deadline time.Time // when its first packet is due
}

// Look is a set of streams and what fills them. It is replaced as a whole.
type Look struct {
	Streams []Stream

	// Render writes frame f into slots; slots[i] belongs to Streams[i] and keeps
	// what was written before. It runs before the frame's deadline, on the
	// sending goroutine, and must not block.
	Render func(f Frame, slots [][]byte)
}

// Source sends a look until it is told to stop.
type Source struct{ cfg Config }

// Open makes the sockets. Nothing is sent yet.
func Open(cfg Config, look Look) (*Source, error) { return &Source{cfg: cfg}, nil }

// Run sends frames until ctx ends; then three dark frames and three terminated
// ones on the frame clock, and returns nil.
func (s *Source) Run(ctx context.Context) error { <-ctx.Done(); return nil }

// Replace changes streams and renderer between two frames. Universes that are
// gone are terminated; those that stay keep their sequence. Safe for concurrent use.
func (s *Source) Replace(look Look) error { return nil }

// Started is closed when the first frame has gone out.
func (s *Source) Started() <-chan struct{} { return nil }

// Stats returns the counters. Safe for concurrent use.
func (s *Source) Stats() *Stats { return nil }

// Stats are the counters of a source (to be filled).
type Stats struct{}
