package source

import (
	"net"
	"net/netip"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// sent is a packet that reached a fake wire.
type sent struct {
	at       time.Duration // since the yard was made
	to       netip.Addr    // group or controller
	kind     sacn.PacketType
	universe uint16 // or synchronization address
	seq      uint8
	options  sacn.Options
	first    byte   // slot 1
	page     []byte // of discovery
}

// yard is a network and an interface that a test commands, and what was sent.
type yard struct {
	t         *testing.T
	start     time.Time
	mu        sync.Mutex
	packets   []sent
	calls     int                          // of send
	refuse    map[netip.Addr]syscall.Errno // destinations that fail
	away      netip.Addr                   // answers each packet with an error, which the next call is told
	nodial    map[netip.Addr]syscall.Errno // controllers that cannot be dialled
	room      int                          // packets that the card's queue takes in a frame; 0: all
	queued    int                          // packets of the present frame that it took
	frame     time.Duration                // number of the present frame, to know the next by
	dials     int
	open      int // sockets
	link      linkState
	notice    chan struct{}
	oversleep atomic.Int64 // added to the next sleep
	limited   bool         // multicast packets wait in a queue that takes
	queue     int          // so many more
}

func newYard(t *testing.T) *yard {
	return &yard{
		t: t, start: time.Now(),
		refuse: map[netip.Addr]syscall.Errno{}, nodial: map[netip.Addr]syscall.Errno{},
		link:   linkState{index: 7, mtu: 1500, addrs: []netip.Addr{netip.MustParseAddr("10.77.0.1")}},
		notice: make(chan struct{}, 16),
	}
}

func (y *yard) environment() environment {
	return environment{
		dial: func(_ linkState, unicast netip.Addr) (socket, error) {
			y.mu.Lock()
			defer y.mu.Unlock()
			y.dials++
			if e, ok := y.nodial[unicast]; ok {
				return nil, &net.OpError{Op: "dial", Err: e}
			}
			y.open++
			return &fakeSocket{yard: y, unicast: unicast}, nil
		},
		sleepUntil: func(t time.Time) {
			time.Sleep(time.Until(t))
			time.Sleep(time.Duration(y.oversleep.Swap(0)))
		},
		realtime: func() {},
		changes:  func() (changes, error) { return fakeChanges{y.notice, make(chan struct{})}, nil },
		readLink: func() linkState {
			y.mu.Lock()
			defer y.mu.Unlock()
			return y.link
		},
		lookTime: lookTime,
		advise:   func(linkState) Advice { return Advice{} },
	}
}

// now changes the yard.
func (y *yard) now(change func()) {
	y.mu.Lock()
	defer y.mu.Unlock()
	change()
}

// setLink changes the interface and tells of it.
func (y *yard) setLink(change func(*linkState)) {
	y.now(func() { change(&y.link) })
	y.notice <- struct{}{}
}

type fakeChanges struct{ notice, closed chan struct{} }

func (f fakeChanges) Wait() error {
	select {
	case <-f.notice:
		return nil
	case <-f.closed:
		return net.ErrClosed
	}
}

func (f fakeChanges) Close() error { close(f.closed); return nil }

type fakeSocket struct {
	yard    *yard
	unicast netip.Addr
	closed  bool
	told    bool // the error that an earlier packet was answered with
}

func (f *fakeSocket) messages(packets [][]byte, groups []netip.Addr) messages {
	return fakeMessages{f, packets, groups}
}

type fakeMessages struct {
	*fakeSocket
	packets [][]byte
	groups  []netip.Addr
}

func (f fakeMessages) send(from, to int, _ bool) (int, error) {
	y := f.yard
	y.mu.Lock()
	defer y.mu.Unlock()
	y.calls++
	if f.closed {
		return 0, net.ErrClosed
	}
	if now := time.Since(y.start) / period; now != y.frame {
		y.frame, y.queued = now, 0
	}
	for i, b := range f.packets[from:to] {
		to := f.groups[from+i]
		if f.unicast.IsValid() {
			to = f.unicast
		}
		if f.told = !f.told && to == y.away && to.IsValid(); f.told {
			return i, &net.OpError{Op: "write", Err: syscall.ECONNREFUSED}
		}
		if e, ok := y.refuse[to]; ok {
			if i > 0 {
				return i, nil
			}
			return 0, &net.OpError{Op: "write", Err: e}
		}
		if !to.IsValid() || to.IsMulticast() {
			if y.limited && y.queue == 0 {
				if i > 0 {
					return i, nil
				}
				return 0, os.ErrDeadlineExceeded
			}
			y.queue--
		}
		if y.queued++; y.room > 0 && y.queued > y.room {
			if i > 0 {
				return i, nil
			}
			return 0, &net.OpError{Op: "write", Err: syscall.ENOBUFS}
		}
		y.packets = append(y.packets, y.read(b[headroom:], to))
	}
	return to - from, nil
}

func (f *fakeSocket) Close() error {
	f.yard.mu.Lock()
	defer f.yard.mu.Unlock()
	f.closed = true
	f.yard.open--
	return nil
}

func (y *yard) read(b []byte, to netip.Addr) sent {
	p := sent{at: time.Since(y.start), to: to}
	var err error
	if p.kind, err = sacn.PacketTypeOf(b); err != nil {
		y.t.Errorf("a packet that is no E1.31: %v", err)
		return p
	}
	switch p.kind {
	case sacn.DataPacket:
		var d sacn.Data
		err = d.Decode(b)
		p.universe, p.seq, p.options, p.first = d.Universe, d.Sequence, d.Options, d.Slots[0]
	case sacn.SyncPacket:
		var d sacn.Sync
		err = d.Decode(b)
		p.universe, p.seq = d.Address, d.Sequence
	case sacn.DiscoveryPacket:
		p.page = slices.Clone(b)
		var d sacn.Discovery
		err = d.Decode(b)
	}
	if err != nil {
		y.t.Errorf("packet refused: %v", err)
	}
	return p
}

// of returns the packets of one kind, for one universe if it is not 0.
func (y *yard) of(kind sacn.PacketType, universe uint16) []sent {
	y.mu.Lock()
	defer y.mu.Unlock()
	var list []sent
	for _, p := range y.packets {
		if p.kind == kind && (universe == 0 || p.universe == universe) {
			list = append(list, p)
		}
	}
	return list
}

func testConfig() Config {
	name, _ := sacn.NewName("quay laptop")
	return Config{CID: sacn.CID{1, 2, 3}, Name: name, Priority: 100, Interface: "yard0", TTL: 1, Rate: 40, FirstSequence: 250}
}

// multicasts returns universes 1 to n, each with all slots.
func multicasts(n int) []Stream {
	list := make([]Stream, n)
	for i := range list {
		list[i] = Stream{Universe: uint16(1 + i), Slots: 512}
	}
	return list
}

// count renders the frame's number, plus one, into every slot 1.
func count(f Frame, slots [][]byte) {
	for _, b := range slots {
		b[0] = byte(f.Number + 1)
	}
}

// inYard runs a source in a bubble of fake time: play is called when it has
// started sending, and the source is stopped when play returns.
func inYard(t *testing.T, cfg Config, scene Scene, play func(y *yard, s *Source)) *yard {
	t.Helper()
	var y *yard
	follow(t, cfg, scene, func(its *yard, _ *environment) { y = its }, func(y *yard, s *Source, _ *sacntest.Log) { play(y, s) })
	return y
}
