package source

import (
	"context"
	"errors"
	"log/slog"
	"net/netip"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/sacn/sacntest"
)

// follow runs a source in a bubble with some of its environment changed.
func follow(t *testing.T, cfg Config, scene Scene, change func(*yard, *environment), play func(*yard, *Source, *sacntest.Log)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		log := new(sacntest.Log)
		cfg.Log = slog.New(slog.NewTextHandler(log, nil))
		y := newYard(t)
		env := y.environment()
		change(y, &env)
		s, err := open(cfg, scene, y.link, env)
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- s.Run(ctx) }()
		play(y, s, log)
		stop()
		if err := <-ended; err != nil {
			t.Errorf("Run: %v", err)
		}
		if y.open != 0 {
			t.Errorf("%d sockets are still open", y.open)
		}
	})
}

// What slows a source down is said once, and again when it has become worse.
func TestAdviceIsGivenOnce(t *testing.T) {
	no := false
	follow(t, testConfig(), Scene{Streams: multicasts(3), Render: count},
		func(_ *yard, env *environment) {
			env.advise = func(linkState) Advice { return Advice{NeighbourLimit: 4, Route: &no} }
		},
		func(_ *yard, s *Source, log *sacntest.Log) {
			for _, step := range []struct{ universes, table, route int }{
				{3, 0, 0}, {4, 1, 0}, {4, 1, 0}, {manyGroups, 2, 1}, {2, 2, 1},
			} {
				if err := s.Replace(Scene{Streams: multicasts(step.universes), Render: count}); err != nil {
					t.Fatal(err)
				}
				time.Sleep(3 * time.Second)
				if n := log.Count("raise net.ipv4.neigh.default.gc_thresh3"); n != step.table {
					t.Errorf("%d universes: the neighbour table was mentioned %d times, want %d", step.universes, n, step.table)
				}
				if n := log.Count("ip route add 239.255.0.0/16 dev yard0"); n != step.route {
					t.Errorf("%d universes: the route was mentioned %d times, want %d", step.universes, n, step.route)
				}
				if a := s.Stats().Advice; a.NeighbourLimit != 4 || a.Route == nil || *a.Route {
					t.Errorf("%+v", a)
				}
			}
		})
}

// A line when it begins and one when it is over, of what happens forty times a second.
func TestComplaintsAreFew(t *testing.T) {
	refused := netip.AddrFrom4([4]byte{239, 255, 0, 1})
	follow(t, testConfig(), Scene{Streams: multicasts(1), Render: count},
		func(y *yard, _ *environment) { y.refuse[refused] = syscall.EPERM },
		func(y *yard, s *Source, log *sacntest.Log) {
			time.Sleep(time.Minute)
			if begun, over := log.Count("packets could not be sent"), log.Count("no longer refused"); begun != 1 || over != 0 {
				t.Errorf("%d and %d lines in a minute", begun, over)
			}
			y.now(func() { delete(y.refuse, refused) })
			time.Sleep(time.Minute)
			if n := log.Count("packets are no longer refused"); n != 1 {
				t.Errorf("%d lines say that it is over: %s", n, log)
			}
			y.oversleep.Store(int64(10 * period))
			time.Sleep(time.Minute)
			if begun, over := log.Count("were skipped"), log.Count("frames are in time again"); begun != 1 || over != 1 {
				t.Errorf("%d and %d lines of skipped frames", begun, over)
			}
		})
}

// Without notices of changes, and while no socket can be had, it goes on trying,
// and sends within a second of when it can.
func TestSocketComesBackLate(t *testing.T) {
	follow(t, testConfig(), Scene{Streams: multicasts(1), Render: count},
		func(_ *yard, env *environment) {
			env.changes = func() (changes, error) { return nil, errors.New("no netlink") }
		},
		func(y *yard, s *Source, log *sacntest.Log) {
			set := func(state Link, refuse bool) {
				y.mu.Lock()
				defer y.mu.Unlock()
				y.link.state = state
				delete(y.nodial, netip.Addr{})
				if refuse {
					y.nodial[netip.Addr{}] = syscall.EACCES
				}
			}
			set(LinkDown, true)
			time.Sleep(2 * time.Second)
			set(LinkUp, true)
			time.Sleep(5 * time.Second)
			if l := s.Stats().Link; l == LinkUp || log.Count("interface cannot carry frames") != 1 || log.Count("noticed late") != 1 {
				t.Errorf("link %v; %s", l, log)
			}
			before := s.Stats().Packets
			set(LinkUp, false)
			time.Sleep(time.Second)
			if st := s.Stats(); st.Link != LinkUp || st.Packets < before+28 || log.Count("interface is up again") != 1 {
				t.Errorf("link %v, %d packets in the second after; %s", st.Link, st.Packets-before, log)
			}
		})
}

// A fault is one line at its beginning and one at its end, whatever else happens
// to the interface in between, and a notice alone is enough to be back.
func TestOneLineAtEachEnd(t *testing.T) {
	follow(t, testConfig(), Scene{Streams: []Stream{{Universe: 1, Slots: 8}, {Universe: 2, Slots: 8, Unicast: boathouse}}, Render: count},
		func(_ *yard, env *environment) { env.lookTime = time.Hour },
		func(y *yard, s *Source, log *sacntest.Log) {
			for n, fault := range []Link{LinkNoCarrier, LinkDown, LinkNoAddress, LinkGone} {
				for _, l := range []Link{fault, LinkDown, fault} {
					y.setLink(func(state *linkState) { state.state = l })
					time.Sleep(time.Second)
				}
				if l := s.Stats().Link; l != fault {
					t.Errorf("link %v, want %v", l, fault)
				}
				y.setLink(func(state *linkState) { state.state = LinkUp })
				time.Sleep(settleTime + time.Millisecond)
				before := s.Stats()
				time.Sleep(10 * period)
				if after := s.Stats(); after.Link != LinkUp || after.Frames != before.Frames+10 || after.Withheld != before.Withheld {
					t.Errorf("after %v: %v, %d frames sent and %d withheld of 10", fault, after.Link, after.Frames-before.Frames, after.Withheld-before.Withheld)
				}
				if begun, over := log.Count("interface cannot carry frames"), log.Count("interface is up again"); begun != n+1 || over != n+1 || log.Count("sockets follow") != 0 {
					t.Errorf("after %d faults: %s", n+1, log)
				}
			}
			// A controller whose route comes back is dialled at once.
			y.now(func() { y.nodial[boathouse] = syscall.ENETUNREACH })
			y.setLink(func(state *linkState) { state.addrs = []netip.Addr{netip.MustParseAddr("10.77.0.9")} })
			time.Sleep(time.Second)
			y.now(func() { delete(y.nodial, boathouse) })
			y.setLink(func(*linkState) {})
			time.Sleep(settleTime + time.Millisecond)
			before := s.Streams()[1]
			time.Sleep(10 * period)
			if after := s.Streams()[1]; after.Sent != before.Sent+10 {
				t.Errorf("%+v, ten frames after %+v", after, before)
			}
		})
}
