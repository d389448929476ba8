package source

import (
	"context"
	"syscall"
	"time"
)

// changes tells that something happened to the host's interfaces or addresses.
type changes interface {
	// Wait returns when something happened, or with an error after Close.
	Wait() error
	Close() error
}

const (
	settleTime = 20 * time.Millisecond // a change comes as several messages
	reportTime = time.Second
	repeatTime = 10 * time.Second // after which the same complaint is logged again

	manyGroups = 100 // below that the time saved by a route is not worth a line
)

// follower keeps sockets and counters in step with the interface, and is what
// writes the log: a log that blocks must not hold up a frame.
type follower struct {
	*Source
	skipped uint64                // already logged
	failed  [lastErrno + 1]uint64 // already logged, by errno
	logged  map[string]time.Time  // when a complaint was last logged
	groups  int                   // that the newest advice was about
}

func (s *Source) follow(ctx context.Context) {
	f := &follower{Source: s, logged: map[string]time.Time{}}
	events := make(chan struct{}, 1)
	ch, err := s.env.changes()
	if err != nil {
		s.log.Warn("changes of the interface are noticed late", "interface", s.cfg.Interface, "error", err)
	} else {
		defer ch.Close()
		go func() {
			for ch.Wait() == nil {
				select {
				case events <- struct{}{}:
				default:
				}
			}
		}()
	}
	tick := time.NewTicker(reportTime)
	defer tick.Stop()
	if l := Link(s.stats.link.Load()); l != LinkUp {
		s.log.Warn("interface cannot carry frames yet", "interface", s.cfg.Interface, "state", l)
	}
	f.advise(s.routes.present())
	f.relink()
	for {
		select {
		case <-ctx.Done():
			return
		case <-events:
			select {
			case <-ctx.Done():
				return
			case <-time.After(settleTime):
			}
			f.relink()
		case <-tick.C:
			if ch == nil || Link(s.stats.link.Load()) != LinkUp {
				f.relink()
			}
			s.routes.retry()
			if int(s.stats.groups.Load()) != f.groups {
				f.advise(s.routes.present())
			}
			f.report()
		}
	}
}

// due reports whether a complaint is to be logged now: it was not for a while.
func (f *follower) due(what string) bool {
	now := time.Now()
	if last, ok := f.logged[what]; ok && now.Sub(last) < repeatTime {
		return false
	}
	f.logged[what] = now
	return true
}

// relink reads the interface's state and acts on what has changed.
func (f *follower) relink() {
	now := f.env.readLink()
	was := Link(f.stats.link.Load())
	switch {
	case now.state == LinkUp && !f.routes.serves(now):
		if err := f.routes.setUp(now); err != nil {
			if f.due("no socket") {
				f.log.Warn("no socket on the interface", "interface", f.cfg.Interface, "error", err)
			}
			f.routes.takeDown()
			now.state = LinkDown // tried again at the next tick
			break
		}
		f.log.Info("sockets follow the interface", "interface", f.cfg.Interface, "index", now.index, "addresses", now.addrs)
		f.advise(now)
	case now.state > LinkNoCarrier:
		f.routes.takeDown()
	}
	if now.state == was {
		return
	}
	f.stats.link.Store(int32(now.state))
	if now.state == LinkUp {
		f.log.Info("interface is up again, frames are sent", "interface", f.cfg.Interface)
		f.advise(now)
	} else {
		f.log.Warn("interface cannot carry frames", "interface", f.cfg.Interface, "state", now.state)
	}
}

// advise asks the kernel about what slows a source down without any error, and
// says what to do, once for each change.
func (f *follower) advise(state linkState) {
	a := f.env.advise(state)
	was := f.stats.advice.Swap(&a)
	groups := int(f.stats.groups.Load())
	more := groups > f.groups // since the last time
	f.groups = groups
	family := "ipv4"
	if f.cfg.IPv6 {
		family = "ipv6"
	}
	if a.NeighbourLimit > 0 && groups > a.NeighbourLimit && (was == nil || more || was.NeighbourLimit != a.NeighbourLimit) {
		f.log.Warn("more multicast groups than the neighbour table holds: the machine reaches half its rate; raise net."+family+".neigh.default.gc_thresh3 above the groups",
			"groups", groups, "gc_thresh3", a.NeighbourLimit)
	}
	if groups >= manyGroups && a.Route != nil && !*a.Route && (was == nil || more || was.Route == nil || *was.Route) {
		f.log.Info("interface has no route for 239.255.0.0/16: it would save a quarter of the sending time; ip route add 239.255.0.0/16 dev "+f.cfg.Interface,
			"interface", f.cfg.Interface)
	}
}

// report logs what the counters show, seldom.
func (f *follower) report() {
	if n := f.stats.skipped.Load(); n > f.skipped && f.due("skipped") {
		f.log.Warn("frames were late by more than a period and were skipped", "frames", n-f.skipped)
		f.skipped = n
	}
	for i := range f.failed {
		n := f.stats.failures[i].count.Load()
		if n == f.failed[i] {
			continue
		}
		if e := f.stats.sendError(syscall.Errno(i)); f.due(e.Errno) {
			f.log.Warn("packets could not be sent", "errno", e.Errno, "packets", n-f.failed[i], "last", e.Last)
			f.failed[i] = n
		}
	}
}
