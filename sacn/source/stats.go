package source

import (
	"net/netip"
	"slices"
	"sync/atomic"
	"syscall"
	"time"
)

// Stats are the counters of a source at one moment.
type Stats struct {
	Frames   uint64 // sent
	Skipped  uint64 // given up because they were late by more than a period
	Withheld uint64 // of which no data packet left: the interface could not carry them, or the kernel refused all
	Packets  uint64 // handed to the kernel, of all three kinds
	Bytes    uint64 // of UDP payload

	// Unterminated counts streams that ended without a packet that says so: the kernel
	// or the other end refused all. Receivers notice it after 2.5 s (6.7.1).
	Unterminated uint64

	SendErrors []SendError // by errno, those that happened and the usual ones

	Lateness     Histogram // of a frame's first packet after its deadline, in seconds
	SendDuration Histogram // spent in sending a frame's packets, in seconds

	Sequence uint8     // of the newest frame's packets; before the first, the number before its own
	LastTick time.Time // when the frame clock last woke, whether it sent or not

	Streams int // packets a frame, synchronization not counted
	Groups  int // multicast groups in use
	Link    Link
	Advice  Advice
}

// SendError counts the packets that could not be sent for one reason.
type SendError struct {
	Errno string // its name: ENETUNREACH
	Count uint64
	To    string // where the newest one was to go, an address or multicast; "": none
	Why   string // what the reason means, and what to do
}

// StreamStats are the counters of one stream since the source began.
type StreamStats struct {
	Destination
	Sent   uint64 // live data packets that the kernel took
	Failed uint64 // live data packets that it did not take, or that the other end refused

	Present    bool   // of the scene that is sent now, or was at the end
	Terminated uint64 // packets with Stream_Terminated that the kernel took at its latest end
}

// Destination is one universe and where its packets go.
type Destination struct {
	Universe uint16
	Unicast  netip.Addr // the zero Addr: multicast to the universe's group
}

// streamCount is written by the sending goroutine.
type streamCount struct {
	sent, failed, terminated atomic.Uint64
	present                  atomic.Bool
}

// Advice is what the kernel said about the way out. Nothing in it stops a source.
type Advice struct {
	// NeighbourLimit is gc_thresh3 of the neighbour table, which holds an entry
	// for each multicast group; more groups than that halve the rate the machine
	// can reach, without any error. 0: not known.
	NeighbourLimit int

	// Route tells whether the interface has a route of its own for all groups,
	// which is worth a quarter of the machine's rate. Nil: not known.
	Route *bool
}

// bounds are the upper bounds of the buckets, in seconds: finest where a wake-up
// is usually late (50-600 us), and up to what only a stopped process reaches.
var bounds = [...]float64{
	1e-6, 2.5e-6, 5e-6, 1e-5, 2.5e-5, 5e-5, 1e-4, 1.5e-4, 2.5e-4, 4e-4, 6e-4, 1e-3,
	2.5e-3, 5e-3, 1e-2, 2.5e-2, 5e-2, 0.1, 0.25, 0.5, 1,
}

// Histogram is a distribution of seconds.
type Histogram struct {
	Bounds []float64 // upper bounds of the buckets, ascending
	Counts []uint64  // in each bucket alone; one more than Bounds
	Sum    float64
	Count  uint64
}

type histogram struct {
	counts [len(bounds) + 1]atomic.Uint64
	sum    atomic.Int64 // nanoseconds
}

func (h *histogram) observe(d time.Duration) {
	d = max(d, 0)
	h.sum.Add(int64(d))
	seconds := d.Seconds()
	k := 0
	for k < len(bounds) && seconds > bounds[k] {
		k++
	}
	h.counts[k].Add(1)
}

func (h *histogram) snapshot() Histogram {
	s := Histogram{Bounds: slices.Clone(bounds[:]), Counts: make([]uint64, len(h.counts)), Sum: time.Duration(h.sum.Load()).Seconds()}
	for k := range h.counts {
		s.Counts[k] = h.counts[k].Load()
		s.Count += s.Counts[k]
	}
	return s
}

// lastErrno is the highest error number that is counted by itself; higher ones
// (Windows has them) are counted under 0.
const lastErrno = 255

// usualErrnos are listed at 0, so that their first occurrence shows in a rate.
var usualErrnos = [...]syscall.Errno{
	syscall.EAGAIN, syscall.EPERM, syscall.ENOBUFS, syscall.ENETUNREACH,
	syscall.EHOSTUNREACH, syscall.ECONNREFUSED, syscall.ENETDOWN, syscall.EMSGSIZE,
}

// failures counts one errno.
type failures struct {
	count atomic.Uint64
	where atomic.Pointer[netip.Addr] // to whom the newest one was to go
}

// counters are written by the sending goroutine and by the follower.
type counters struct {
	epoch time.Time // what the times below count from

	frames, skipped, withheld, packets, bytes, unterminated atomic.Uint64

	failures           [lastErrno + 1]failures
	lateness, sendTime histogram
	sequence           atomic.Uint32
	lastTick           atomic.Int64
	streams, groups    atomic.Int64
	link               atomic.Int32
	advice             atomic.Pointer[Advice]
}

func (c *counters) tick(now time.Time) { c.lastTick.Store(int64(now.Sub(c.epoch))) }

// sent counts packets [from, to) of a batch. Where all of it has gone, its size is known.
func (c *counters) sent(of *batch, from, to int) {
	n := of.bytes
	if to-from < len(of.frames) {
		n = 0
		for _, f := range of.frames[from:to] {
			n += len(f) - headroom
		}
	}
	c.packets.Add(uint64(to - from))
	c.bytes.Add(uint64(n))
}

func (c *counters) fail(errno syscall.Errno, n int, to *netip.Addr) {
	if errno > lastErrno {
		errno = 0
	}
	f := &c.failures[errno]
	f.where.Store(to)
	f.count.Add(uint64(n))
}

func (c *counters) snapshot() Stats {
	s := Stats{
		Frames: c.frames.Load(), Skipped: c.skipped.Load(), Withheld: c.withheld.Load(),
		Packets: c.packets.Load(), Bytes: c.bytes.Load(),
		Unterminated: c.unterminated.Load(), SendErrors: c.sendErrors(),
		Lateness: c.lateness.snapshot(), SendDuration: c.sendTime.snapshot(),
		Sequence: uint8(c.sequence.Load()),
		Streams:  int(c.streams.Load()), Groups: int(c.groups.Load()),
		Link: Link(c.link.Load()),
	}
	if t := c.lastTick.Load(); t != 0 {
		s.LastTick = c.epoch.Add(time.Duration(t))
	}
	if a := c.advice.Load(); a != nil {
		s.Advice = *a
	}
	return s
}

func (c *counters) sendErrors() []SendError {
	usual := map[syscall.Errno]bool{}
	for _, e := range usualErrnos {
		usual[e] = true
	}
	var list []SendError
	for i := range c.failures {
		if errno := syscall.Errno(i); usual[errno] || c.failures[i].count.Load() > 0 {
			list = append(list, c.sendError(errno))
		}
	}
	return list
}

func (c *counters) sendError(errno syscall.Errno) SendError {
	f := &c.failures[errno]
	e := SendError{Errno: errnoName(errno), Count: f.count.Load(), Why: refusal(errno)}
	if e.Count > 0 {
		e.To = "multicast"
		if a := f.where.Load(); a != nil && a.IsValid() {
			e.To = a.String()
		}
	}
	return e
}
