package source

import (
	"fmt"
	"net/netip"
	"testing"
	"time"
)

// tick returns a function that renders and sends one whole frame, with nothing
// left out but the waiting.
func tick(tb testing.TB, s *Source) func() {
	s.env.sleepUntil = func(time.Time) {}
	s.discover = time.Now().Add(time.Hour)
	f := Frame{Deadline: time.Now()}
	tb.Cleanup(s.routes.takeDown)
	return func() {
		s.fill(live, f)
		s.frame(live, f, f.Deadline)
		f = Frame{f.Number + 1, f.Deadline.Add(s.period)}
	}
}

// open on the loopback interface, with a synchronization packet.
func openLoopback(tb testing.TB, scene Scene) *Source {
	cfg := testConfig()
	cfg.Interface = loopback(tb)
	cfg.Spread = 0.5
	cfg.SyncAddress = 1
	s, err := Open(cfg, scene)
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

// BenchmarkTick is the cost of a frame, rendering and all, without waiting, into
// a wire that takes everything: what this package adds to the kernel's work.
func BenchmarkTick(b *testing.B) {
	for _, n := range []int{1, 10, 100, 1000} {
		b.Run(fmt.Sprintf("universes=%d/wire=none", n), func(b *testing.B) {
			s := openLoopback(b, Scene{Streams: multicasts(n), Render: count})
			s.routes.dial = func(linkState, netip.Addr) (socket, error) { return void{}, nil }
			if err := s.routes.setUp(s.routes.present()); err != nil {
				b.Fatal(err)
			}
			benchmarkTick(b, s, n)
		})
		b.Run(fmt.Sprintf("universes=%d/wire=loopback", n), func(b *testing.B) {
			benchmarkTick(b, openLoopback(b, Scene{Streams: multicasts(n), Render: count}), n)
		})
	}
}

func benchmarkTick(b *testing.B, s *Source, n int) {
	t := tick(b, s)
	b.ReportAllocs()
	for b.Loop() {
		t()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/packet")
}

// void is a wire that takes everything.
type void struct{}

func (void) messages([][]byte, []netip.Addr) messages { return void{} }
func (void) send(from, to int, _ bool) (int, error)   { return to - from, nil }
func (void) Close() error                             { return nil }
