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
	settleTime = 20 * time.Millisecond  // a change comes as several messages
	lookTime   = 250 * time.Millisecond // what failed is tried again, though nothing told of a change
	reportTime = time.Second
	quietTime  = 10 * time.Second // without which a fault is not over

	manyGroups = 100 // below that the time saved by a route is not worth a line
)

// follower keeps sockets and counters in step with the interface, and is what
// writes the log: a log that blocks must not hold up a frame.
type follower struct {
	*Source
	skipped fault
	failed  [lastErrno + 1]fault // by errno
	untold  uint64               // ends of streams, told of in the log
	groups  int                  // that the newest advice was about
}

func (s *Source) follow(ctx context.Context) {
	f := &follower{Source: s}
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
	look, tick := time.NewTicker(s.env.lookTime), time.NewTicker(reportTime)
	defer look.Stop()
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
			s.routes.retry()
		case <-look.C:
			if ch == nil || Link(s.stats.link.Load()) != LinkUp {
				f.relink()
			}
			s.routes.retry()
		case <-tick.C:
			if int(s.stats.groups.Load()) != f.groups {
				f.advise(s.routes.present())
			}
			f.report()
		}
	}
}

// relink reads the interface's state and acts on what has changed. A line says
// that frames cannot be sent any more, and one that they can again.
func (f *follower) relink() {
	now := f.env.readLink()
	was := Link(f.stats.link.Load())
	var failed error
	switch {
	case now.state == LinkUp && !f.routes.serves(now):
		if failed = f.routes.setUp(now); failed != nil {
			f.routes.takeDown()
			now.state = LinkDown // tried again soon
			break
		}
		if was == LinkUp {
			f.log.Info("sockets follow the interface", "interface", f.cfg.Interface, "index", now.index, "addresses", now.addrs)
		}
		f.advise(now)
	case now.state > LinkNoCarrier:
		f.routes.takeDown()
	}
	if now.state == was {
		return
	}
	f.stats.link.Store(int32(now.state))
	switch {
	case now.state == LinkUp:
		f.log.Info("interface is up again, frames are sent", "interface", f.cfg.Interface, "index", now.index, "addresses", now.addrs)
		f.advise(now)
	case was != LinkUp: // from one fault into another
	case failed != nil:
		f.log.Warn("interface cannot carry frames: no socket", "interface", f.cfg.Interface, "error", failed)
	default:
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

// report logs what the counters show.
func (f *follower) report() {
	n := f.stats.skipped.Load()
	switch begins, over := f.skipped.look(n); {
	case begins:
		f.log.Warn("frames were late by more than a period and were skipped", "frames", n-f.skipped.before)
	case over:
		f.log.Info("frames are in time again", "skipped", n-f.skipped.before, "within", f.skipped.lasted())
	}
	if n := f.stats.unterminated.Load(); n > f.untold {
		f.log.Warn("streams that the new plan lacks ended untold: their last packets were refused, and receivers notice after 2.5 s", "streams", n-f.untold)
		f.untold = n
	}
	for i := range f.failed {
		n, fault := f.stats.failures[i].count.Load(), &f.failed[i]
		switch begins, over := fault.look(n); {
		case begins:
			e := f.stats.sendError(syscall.Errno(i))
			f.log.Warn("packets could not be sent", "errno", e.Errno, "packets", n-fault.before, "last_to", e.To, "why", e.Why)
		case over:
			f.log.Info("packets are no longer refused", "errno", errnoName(syscall.Errno(i)), "packets", n-fault.before, "within", fault.lasted())
		}
	}
}
