// Package surroundings is what a transmitter watches while it sends: other sources
// on its universes, its own stream on another interface, controllers that answer an
// echo. It refuses to know how any of it is shown, and nothing here stops the sending.
package surroundings

import (
	"context"
	"log/slog"
	"net/netip"
	"sync"
	"time"

	"yardproof/cmd/yardproof/internal/tasks"
	"yardproof/config"
	"yardproof/sacn"
	"yardproof/sacn/listener"
	"yardproof/sacn/source"
)

// Config is who watches, and where.
type Config struct {
	Interface string                   // that we send from
	WatchOn   string                   // on which our own stream is heard; "": nowhere
	NoScan    bool                     // do not search for other sources
	CID       sacn.CID                 // ours
	Priority  uint8                    // ours
	Plan      func() *config.Plan      // that is shown now
	Sent      func() map[uint16]uint64 // packets sent by multicast until now, by universe
	Log       *slog.Logger
}

// Surroundings is safe for concurrent use.
type Surroundings struct {
	cfg Config

	mu      sync.Mutex
	watch   *listener.Watch
	tap     *listener.Tap
	deaf    string  // why there is no tap, though one was asked for
	account account // of tap
	ping    *listener.Ping
	again   map[string]context.CancelFunc // of what runs for the present plan
}

// New returns surroundings that nobody watches yet. It tries WatchOn once, so that
// a wrong name is refused before anything is sent.
func New(cfg Config) (*Surroundings, error) {
	s := &Surroundings{cfg: cfg}
	if cfg.WatchOn != "" {
		tap, err := s.openTap()
		if err != nil {
			return nil, err
		}
		tap.Close()
	}
	return s, nil
}

// scanLength shows every steady source: E1.31 sources repeat themselves within
// a second (6.6.2, from memory, unchecked).
const scanLength = 2 * time.Second

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

func (s *Surroundings) watchConfig() listener.WatchConfig {
	plan := s.cfg.Plan()
	all, _ := addressed(plan)
	return listener.WatchConfig{Interface: s.cfg.Interface, IPv6: plan.Network.IPv6, Universes: all, Own: s.cfg.CID, Priority: s.cfg.Priority, Log: s.cfg.Log}
}

// runner is something to be run again when it ends early.
type runner interface{ Run(context.Context) error }

// How long to wait before something is opened again: that costs little, and what
// it waits for may be an interface. What opens and then fails is another matter.
const (
	openAgain = time.Second
	runAgain  = 10 * time.Second
)

// supervise opens and runs something until ctx ends, and again when the plan has
// changed or it has failed: an interface may be gone for a while. open returns
// nil when there is nothing to run. A line says that it does not work, and one
// that it does again.
func (s *Surroundings) supervise(name string, open func() (runner, error)) tasks.Task {
	return tasks.Task{Name: name, Run: func(ctx context.Context) error {
		said := "" // an error that stays for days is logged once
		for ctx.Err() == nil {
			inner, cancel := context.WithCancel(ctx)
			s.mu.Lock()
			if s.again == nil {
				s.again = map[string]context.CancelFunc{}
			}
			s.again[name] = cancel
			s.mu.Unlock()
			wait := openAgain
			r, err := open()
			if err == nil && said != "" {
				s.cfg.Log.Info(name + " works again")
				said = ""
			}
			switch {
			case err == nil && r == nil:
				<-inner.Done()
			case err == nil:
				wait = runAgain
				err = r.Run(inner)
			}
			if err != nil {
				err = source.Explain(err)
				if said == "" {
					said = err.Error()
					s.cfg.Log.Warn(name+" does not work now; trying again", "error", err, "every", wait)
				}
				select {
				case <-ctx.Done():
				case <-time.After(wait):
				}
			}
			cancel()
		}
		return nil
	}}
}

// PlanChanged makes everything begin again with the new plan.
func (s *Surroundings) PlanChanged() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, cancel := range s.again {
		cancel()
	}
}

// Tasks are what runs beside the sending.
func (s *Surroundings) Tasks() []tasks.Task {
	return []tasks.Task{
		s.supervise("the watch for other sources", func() (runner, error) {
			if s.cfg.NoScan {
				return nil, nil
			}
			w, err := listener.OpenWatch(s.watchConfig())
			s.mu.Lock()
			defer s.mu.Unlock()
			if s.watch = w; err != nil {
				return nil, err
			}
			return w, nil
		}),
		s.supervise("hearing our own stream", func() (runner, error) {
			if s.cfg.WatchOn == "" {
				return nil, nil
			}
			t, err := s.openTap()
			s.mu.Lock()
			defer s.mu.Unlock()
			s.tap, s.deaf, s.account = t, "", account{}
			if err != nil {
				s.deaf = source.Explain(err).Error()
				return nil, err
			}
			return accounted{t, s}, nil
		}),
		s.supervise("asking the controllers for an echo", func() (runner, error) {
			var targets []netip.Addr
			for _, c := range s.cfg.Plan().Controllers {
				if c.Address.IsValid() {
					targets = append(targets, c.Address)
				}
			}
			if len(targets) == 0 {
				return nil, nil
			}
			p, err := listener.OpenPing(listener.PingConfig{Targets: targets, Log: s.cfg.Log})
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

func (s *Surroundings) openTap() (*listener.Tap, error) {
	plan := s.cfg.Plan()
	_, multicast := addressed(plan)
	return listener.OpenTap(listener.TapConfig{
		Interface: s.cfg.WatchOn, Sending: s.cfg.Interface, IPv6: plan.Network.IPv6, Universes: multicast, Own: s.cfg.CID, Log: s.cfg.Log,
	})
}

// Competing returns the other sources that are known on universes of ours, and has
// some of those universes listened to without a pause for a while.
func (s *Surroundings) Competing(universes []uint16) []listener.CompetingSource {
	s.mu.Lock()
	watch := s.watch
	s.mu.Unlock()
	if watch == nil {
		return nil
	}
	watch.Focus(universes)
	return watch.Competing()
}
