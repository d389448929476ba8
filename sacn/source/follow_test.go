package source

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net/netip"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

// logbook is a log that can be read while it is written.
type logbook struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logbook) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(b)
}

func (l *logbook) count(what string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(l.b.String(), what)
}

// follow runs a source in a bubble with some of its environment changed.
func follow(t *testing.T, cfg Config, scene Scene, change func(*yard, *environment), play func(*yard, *Source, *logbook)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		log := &logbook{}
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
			t.Error(err)
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
		func(_ *yard, s *Source, log *logbook) {
			for _, step := range []struct{ universes, table, route int }{
				{3, 0, 0}, {4, 1, 0}, {4, 1, 0}, {manyGroups, 2, 1}, {2, 2, 1},
			} {
				if err := s.Replace(Scene{Streams: multicasts(step.universes), Render: count}); err != nil {
					t.Fatal(err)
				}
				time.Sleep(3 * time.Second)
				if n := log.count("raise net.ipv4.neigh.default.gc_thresh3"); n != step.table {
					t.Errorf("%d universes: the neighbour table was mentioned %d times, want %d", step.universes, n, step.table)
				}
				if n := log.count("ip route add 239.255.0.0/16 dev yard0"); n != step.route {
					t.Errorf("%d universes: the route was mentioned %d times, want %d", step.universes, n, step.route)
				}
				if a := s.Stats().Advice; a.NeighbourLimit != 4 || a.Route == nil || *a.Route {
					t.Errorf("%+v", a)
				}
			}
		})
}

// Complaints come seldom: one line for what happens forty times a second.
func TestComplaintsAreFew(t *testing.T) {
	follow(t, testConfig(), Scene{Streams: multicasts(1), Render: count},
		func(y *yard, _ *environment) {
			y.refuse[netip.AddrFrom4([4]byte{239, 255, 0, 1})] = syscall.EPERM
		},
		func(y *yard, s *Source, log *logbook) {
			time.Sleep(59 * time.Second)
			if n := log.count("packets could not be sent"); n < 5 || n > 6 {
				t.Errorf("%d lines in a minute", n)
			}
		})
}

// Without notices of changes, and while no socket can be had, it goes on trying.
func TestSocketComesBackLate(t *testing.T) {
	follow(t, testConfig(), Scene{Streams: multicasts(1), Render: count},
		func(_ *yard, env *environment) {
			env.changes = func() (changes, error) { return nil, errors.New("no netlink") }
		},
		func(y *yard, s *Source, log *logbook) {
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
			if l := s.Stats().Link; l == LinkUp || log.count("no socket on the interface") != 1 || log.count("noticed late") != 1 {
				t.Errorf("link %v; %s", l, log.b.String())
			}
			before := s.Stats().Packets
			set(LinkUp, false)
			time.Sleep(2 * time.Second)
			if st := s.Stats(); st.Link != LinkUp || st.Packets < before+40 {
				t.Errorf("link %v, %d packets more", st.Link, st.Packets-before)
			}
		})
}
