package source

import (
	"context"
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

// follow keeps sockets and counters in step with the interface, and is where the
// log is written: a log that blocks must not hold up a frame.
func (s *Source) follow(ctx context.Context) {
	events := make(chan struct{}, 1)
	if ch, err := s.env.changes(); err != nil {
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
	r := reporter{source: s}
	if l := Link(s.stats.link.Load()); l != LinkUp {
		s.log.Warn("interface cannot carry frames yet", "interface", s.cfg.Interface, "state", l)
	}
	s.advise(s.wires.present())
	s.relink()
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
			s.relink()
		case <-tick.C:
			if Link(s.stats.link.Load()) != LinkUp {
				s.relink()
			}
			s.wires.retry()
			r.report()
		}
	}
}

// relink reads the interface's state and acts on what has changed.
func (s *Source) relink() {
	now := s.env.readLink()
	was := Link(s.stats.link.Load())
	switch {
	case now.state == LinkUp && !s.wires.serves(now):
		if err := s.wires.setUp(now); err != nil {
			s.log.Warn("no socket on the interface", "interface", s.cfg.Interface, "error", err)
			s.wires.takeDown()
			now.state = LinkDown // tried again at the next tick
			break
		}
		s.log.Info("sockets follow the interface", "interface", s.cfg.Interface, "index", now.index, "addresses", now.addrs)
		s.advise(now)
	case now.state > LinkNoCarrier:
		s.wires.takeDown()
	}
	if now.state == was {
		return
	}
	s.stats.link.Store(int32(now.state))
	if now.state == LinkUp {
		s.log.Info("interface is up again, frames are sent", "interface", s.cfg.Interface)
		s.advise(now)
	} else {
		s.log.Warn("interface cannot carry frames", "interface", s.cfg.Interface, "state", now.state)
	}
}

// advise asks the kernel about what slows a source down without any error, and
// says what to do, once for each change.
func (s *Source) advise(state linkState) {
	a := s.env.advise(state)
	was := s.stats.advice.Swap(&a)
	groups := int(s.stats.groups.Load())
	if a.NeighbourLimit > 0 && groups > a.NeighbourLimit && (was == nil || was.NeighbourLimit != a.NeighbourLimit) {
		s.log.Warn("more multicast groups than the neighbour table holds: the machine reaches half its rate; raise net.ipv4.neigh.default.gc_thresh3 above the groups",
			"groups", groups, "gc_thresh3", a.NeighbourLimit)
	}
	if groups >= manyGroups && a.Route != nil && !*a.Route && (was == nil || was.Route == nil || *was.Route) {
		s.log.Info("interface has no route for 239.255.0.0/16: it would save a quarter of the sending time; ip route add 239.255.0.0/16 dev "+s.cfg.Interface,
			"interface", s.cfg.Interface)
	}
}

// reporter logs what the counters show, seldom.
type reporter struct {
	source  *Source
	skipped uint64
	errors  map[string]uint64
	logged  map[string]time.Time
}

func (r *reporter) report() {
	now := time.Now()
	if r.logged == nil {
		r.logged, r.errors = map[string]time.Time{}, map[string]uint64{}
	}
	due := func(what string) bool {
		if last, ok := r.logged[what]; ok && now.Sub(last) < repeatTime {
			return false
		}
		r.logged[what] = now
		return true
	}
	st := &r.source.stats
	if n := st.skipped.Load(); n > r.skipped && due("skipped") {
		r.source.log.Warn("frames were late by more than a period and were skipped", "frames", n-r.skipped)
		r.skipped = n
	}
	for _, e := range st.sendErrors() {
		if e.Count > r.errors[e.Errno] && due(e.Errno) {
			r.source.log.Warn("packets could not be sent", "errno", e.Errno, "packets", e.Count-r.errors[e.Errno], "last", e.Last)
			r.errors[e.Errno] = e.Count
		}
	}
}
