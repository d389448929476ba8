package surroundings

import (
	"net/netip"
	"time"

	"yardproof/sacn/listener"
)

// Snapshot is what is known at one moment. What is nil is not watched.
type Snapshot struct {
	Watch       *listener.WatchReport
	Tap         *listener.TapReport
	Missed      map[uint16]Missed // by universe, on the tap
	Controllers []Controller
}

// Controller is a controller with an address, asked for ICMP echoes.
type Controller struct {
	Name string
	listener.PingTarget
}

// Snapshot returns what is known now; parts that are not watched are nil.
func (s *Surroundings) Snapshot() Snapshot {
	s.mu.Lock()
	watch, tap, deaf, ping := s.watch, s.tap, s.deaf, s.ping
	missed := s.account.missed(time.Now())
	s.mu.Unlock()
	var out Snapshot
	if watch != nil {
		r := watch.Snapshot()
		out.Watch = &r
	}
	if tap != nil {
		r := tap.Snapshot()
		out.Tap, out.Missed = &r, missed
	} else if deaf != "" {
		out.Tap = &listener.TapReport{Blind: deaf}
	}
	if ping != nil {
		byAddress := map[netip.Addr]listener.PingTarget{}
		for _, t := range ping.Snapshot() {
			byAddress[t.Address] = t
		}
		for _, c := range s.cfg.Plan().Controllers {
			if t, ok := byAddress[c.Address]; ok {
				out.Controllers = append(out.Controllers, Controller{Name: c.Name, PingTarget: t})
			}
		}
	}
	return out
}

// Loss returns the packets of our own stream that should have reached the
// watched interface and those that never did; false while nothing can be heard.
func (s Snapshot) Loss() (expected, lost uint64, ok bool) {
	if s.Tap == nil || s.Tap.Blind != "" {
		return 0, 0, false
	}
	for _, u := range s.Tap.Universes {
		missed := s.Missed[u.Universe].Packets
		expected += u.Packets - u.Duplicates + missed
		lost += missed
	}
	return expected, lost, expected > 0
}

// Arrived returns the packets of our own stream that were heard on the watched
// interface, each once, and those that were sent and never came, by universe, those
// never heard included; nil while nothing is watched. Blind: nothing can be heard now.
func (s Snapshot) Arrived() (arrived, missed map[uint16]uint64, blind bool) {
	if s.Tap == nil {
		return nil, nil, false
	}
	arrived, missed = make(map[uint16]uint64, len(s.Tap.Universes)), make(map[uint16]uint64, len(s.Missed))
	for _, u := range s.Tap.Universes {
		arrived[u.Universe] = u.Packets - u.Duplicates
		missed[u.Universe] = s.Missed[u.Universe].Packets
	}
	return arrived, missed, s.Tap.Blind != ""
}

// Answering returns how many controllers answered the latest echo request, and
// how many were asked.
func (s Snapshot) Answering() (n, all int) {
	for _, c := range s.Controllers {
		if c.Answers {
			n++
		}
	}
	return n, len(s.Controllers)
}

// Silent names the controllers that did not answer the latest echo request.
func (s Snapshot) Silent() (names []string) {
	for _, c := range s.Controllers {
		if !c.Answers {
			names = append(names, c.Name)
		}
	}
	return names
}

// Contested returns the universes of ours on which another source is live; false
// before any was looked at.
func (s Snapshot) Contested() (n int, ok bool) {
	if s.Watch == nil || s.Watch.Samples == 0 {
		return 0, false
	}
	seen := map[uint16]bool{}
	for _, r := range s.Watch.Competing {
		seen[r.Universe] = true
	}
	return len(seen), true
}
