package main

import (
	"context"
	"fmt"
	"log/slog"
	"net/netip"
	"sync"
	"time"

	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/config"
	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// surroundings is what a transmitter watches while it sends: other sources, its
// own stream on another interface, the controllers. None of it may stop the
// sending.
type surroundings struct {
	noLook   bool
	watchOn  string
	iface    string
	priority uint8
	cid      sacn.CID
	log      *slog.Logger
	plan     func() *config.Plan // the one that is shown now

	mu    sync.Mutex
	watch *listener.Watch
	tap   *listener.Tap
	ping  *listener.Ping
	again map[string]context.CancelFunc // of what runs for the present plan
}

// lookLength shows every steady source: E1.31 sources repeat themselves within
// a second (6.6.2, from memory, unchecked).
const lookLength = 2 * time.Second

// addressed returns the universes of a plan, and of them those sent by multicast.
func addressed(plan *config.Plan) (all, multicast []uint16) {
	for _, u := range plan.Map().Universes {
		if n := u.Number; len(all) == 0 || all[len(all)-1] != n {
			all = append(all, n) // they ascend
		}
		if !u.Address.IsValid() {
			multicast = append(multicast, u.Number)
		}
	}
	return all, multicast
}

func (s *surroundings) watchConfig() listener.WatchConfig {
	plan := s.plan()
	all, _ := addressed(plan)
	return listener.WatchConfig{Interface: s.iface, IPv6: plan.Network.IPv6, Universes: all, Own: s.cid, Priority: s.priority, Log: s.log}
}

// look returns, a line each, who else sends on our universes before we do.
func (s *surroundings) look(ctx context.Context) []string {
	if s.noLook {
		return nil
	}
	report, err := listener.Scan(ctx, s.watchConfig(), lookLength)
	if err != nil {
		return []string{fmt.Sprintf("other sources could not be looked for: %v", err)}
	}
	var lines []string
	for _, group := range rivalsBySource(report.Rivals) {
		lines = append(lines, describeRivals(group))
	}
	return lines
}

// rivalsBySource gathers the rivals of one source with one verdict.
func rivalsBySource(rivals []listener.CompetingSource) [][]listener.CompetingSource {
	type key struct {
		cid     sacn.CID
		verdict listener.Precedence
	}
	index := map[key]int{}
	var groups [][]listener.CompetingSource
	for _, r := range rivals {
		k := key{r.CID, r.Precedence}
		i, ok := index[k]
		if !ok {
			i = len(groups)
			index[k] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], r)
	}
	return groups
}

// describeRivals says in one sentence what another source means for the yard.
func describeRivals(rivals []listener.CompetingSource) string {
	r := rivals[0]
	where := fmt.Sprintf("universe %d", r.Universe)
	if n := len(rivals); n > 1 {
		where = fmt.Sprintf("universe %d and %d more", r.Universe, n-1)
	}
	who := fmt.Sprintf("%q at %s also sends on %s, with priority %d", r.Name, r.Address, where, r.Priority)
	switch {
	case r.SameCID:
		return fmt.Sprintf("%q at %s sends with this transmitter's own CID on %s: a second copy of it is running; stop one of them", r.Name, r.Address, where)
	case r.Precedence == listener.Theirs:
		return who + ", above ours: neither dark nor any cap reaches those strings; stop that source first"
	case r.Precedence == listener.Tie:
		return who + ", the same as ours: what is shown is anybody's guess; stop that source"
	default:
		return who + ", below ours: it comes back when we stop"
	}
}

// runner is something to be run again when it ends early.
type runner interface{ Run(context.Context) error }

// retryAfter is how long to wait before something is opened again.
const retryAfter = 10 * time.Second

// keep opens and runs something until ctx ends, and again when the plan has
// changed or it has failed: an interface may be gone for a while. open returns
// nil when there is nothing to run.
func (s *surroundings) keep(what string, open func() (runner, error)) task {
	return func(ctx context.Context) error {
		said := "" // an error that stays for days is logged once
		for ctx.Err() == nil {
			inner, cancel := context.WithCancel(ctx)
			s.mu.Lock()
			if s.again == nil {
				s.again = map[string]context.CancelFunc{}
			}
			s.again[what] = cancel
			s.mu.Unlock()
			r, err := open()
			switch {
			case err == nil && r == nil:
				<-inner.Done()
			case err == nil:
				said = ""
				err = r.Run(inner)
			}
			if err != nil {
				if text := err.Error(); text != said {
					said = text
					s.log.Warn(what+" is not possible now", "error", err, "tried_every", retryAfter)
				}
				select {
				case <-ctx.Done():
				case <-time.After(retryAfter):
				}
			}
			cancel()
		}
		return nil
	}
}

// planChanged makes everything begin again with the new plan.
func (s *surroundings) planChanged() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, cancel := range s.again {
		cancel()
	}
}

// tasks are what runs beside the sending.
func (s *surroundings) tasks() []task {
	return []task{
		s.keep("the watch for other sources", func() (runner, error) {
			if s.noLook {
				return nil, nil
			}
			w, err := listener.OpenWatch(s.watchConfig())
			if err != nil {
				return nil, err
			}
			s.mu.Lock()
			defer s.mu.Unlock()
			s.watch = w
			return w, nil
		}),
		s.keep("hearing our own stream", func() (runner, error) {
			if s.watchOn == "" {
				return nil, nil
			}
			t, err := s.openTap()
			if err != nil {
				return nil, err
			}
			s.mu.Lock()
			defer s.mu.Unlock()
			s.tap = t
			return t, nil
		}),
		s.keep("asking the controllers for an echo", func() (runner, error) {
			var targets []netip.Addr
			for _, c := range s.plan().Controllers {
				if c.Address.IsValid() {
					targets = append(targets, c.Address)
				}
			}
			if len(targets) == 0 {
				return nil, nil
			}
			p, err := listener.OpenPing(listener.PingConfig{Targets: targets, Log: s.log})
			if err != nil {
				return nil, err
			}
			s.mu.Lock()
			defer s.mu.Unlock()
			s.ping = p
			return p, nil
		}),
	}
}

func (s *surroundings) openTap() (*listener.Tap, error) {
	plan := s.plan()
	_, multicast := addressed(plan)
	return listener.OpenTap(listener.TapConfig{
		Interface: s.watchOn, Sending: s.iface, IPv6: plan.Network.IPv6, Universes: multicast, Own: s.cid, Log: s.log,
	})
}

// check tries --watch once, so that a wrong name is refused before anything is sent.
func (s *surroundings) check() error {
	if s.watchOn == "" {
		return nil
	}
	tap, err := s.openTap()
	if err != nil {
		return usageError{fmt.Errorf("--watch: %w", err)}
	}
	tap.Close()
	return nil
}

// snapshot returns what is known now; parts that are not watched are nil.
func (s *surroundings) snapshot() metrics.Surroundings {
	s.mu.Lock()
	watch, tap, ping := s.watch, s.tap, s.ping
	s.mu.Unlock()
	var out metrics.Surroundings
	if watch != nil {
		r := watch.Snapshot()
		out.Watch = &r
	}
	if tap != nil {
		r := tap.Snapshot()
		out.Tap = &r
	}
	if ping != nil {
		byAddress := map[netip.Addr]listener.PingTarget{}
		for _, t := range ping.Snapshot() {
			byAddress[t.Address] = t
		}
		for _, c := range s.plan().Controllers {
			if t, ok := byAddress[c.Address]; ok {
				out.Controllers = append(out.Controllers, metrics.Controller{Name: c.Name, PingTarget: t})
			}
		}
	}
	return out
}
