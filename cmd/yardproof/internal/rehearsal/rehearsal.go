// Package rehearsal is the evening without a yard: it hears what the transmitter
// sends on the loopback interface, drives a [yard.Yard] with it, draws that in the
// browser, lends a clamp and a voltmeter, hides faults and counts what finding them
// took. It refuses to know how light is chosen, and what the program would advise.
package rehearsal

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"sync"
	"time"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn"
)

// refreshEvery is how often the ports send, as real ones do at 40 Hz.
const refreshEvery = 25 * time.Millisecond

// Loopback is the name of this machine's loopback interface.
func Loopback() (string, error) {
	all, err := net.Interfaces()
	if err != nil {
		return "", fmt.Errorf("listing the interfaces: %w", err)
	}
	for _, i := range all {
		if i.Flags&net.FlagLoopback != 0 && i.Flags&net.FlagUp != 0 {
			return i.Name, nil
		}
	}
	return "", fmt.Errorf("this machine has no loopback interface that is up")
}

// Config is what is rehearsed.
type Config struct {
	Plan   *config.Plan // as [config.Plan.Rehearsed] made it
	Budget *budget.Budget
	Seed   uint64
	Faults []yard.Fault // that everybody knows of
	Hidden int          // faults that are drawn by the seed, and to be found
}

// Rehearsal is one evening. It is safe for concurrent use.
type Rehearsal struct {
	cfg Config

	own sacn.CID // of the one transmitter that is heard

	mu      sync.Mutex
	yard    *yard.Yard
	clamp   yard.Meter
	volt    yard.Meter
	began   time.Time
	skipped time.Duration // simulated, beside what really passed
	game    game
	look    []yard.Colour // scratch
}

// New lays out the yard and hides the faults. It fails for faults that the plan has
// no place for.
func New(cfg Config) (*Rehearsal, error) {
	r := &Rehearsal{cfg: cfg, began: time.Now()}
	if err := r.hide(); err != nil {
		return nil, err
	}
	if err := r.lay(); err != nil {
		return nil, err
	}
	r.clamp, r.volt = r.yard.Meters()
	return r, nil
}

// lay makes the yard anew with the faults that there are now.
func (r *Rehearsal) lay() error {
	y, err := yard.New(r.cfg.Plan, r.cfg.Budget, yard.Options{Seed: r.cfg.Seed, Faults: append(r.game.left(), r.cfg.Faults...)})
	if err != nil {
		return err
	}
	if r.yard != nil {
		y.Skip(r.yard.Now())
	}
	r.yard = y
	return nil
}

// Run hears what the transmitter with a CID sends, and moves the yard on, until ctx
// ends. Whatever else is sent on the loopback interface is not of this evening.
func (r *Rehearsal) Run(ctx context.Context, own sacn.CID) error {
	r.own = own
	ears, err := openEars(ctx, r.cfg.Plan)
	if err != nil {
		return err
	}
	var moving sync.WaitGroup
	defer moving.Wait()
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	moving.Go(func() {
		tick := time.NewTicker(refreshEvery)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
				r.mu.Lock()
				r.yard.Refresh(r.now())
				r.mu.Unlock()
			}
		}
	})
	return ears.run(ctx, r.take)
}

// now is the yard's time.
func (r *Rehearsal) now() time.Duration { return time.Since(r.began) + r.skipped }

// take hands a packet to the yard's controllers; what is no E1.31 is not for them.
func (r *Rehearsal) take(to netip.Addr, packet []byte) {
	kind, err := sacn.PacketTypeOf(packet)
	if err != nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	switch kind {
	case sacn.DataPacket:
		var d sacn.Data
		if d.Decode(packet) == nil && d.CID == r.own {
			r.yard.Receive(r.now(), to, &d)
		}
	case sacn.SyncPacket:
		var s sacn.Sync
		if s.Decode(packet) == nil && s.CID == r.own {
			r.yard.Synchronize(r.now(), s.Address)
		}
	}
}

// spend lets simulated time pass.
func (r *Rehearsal) spend(d time.Duration) {
	r.yard.Skip(d)
	r.skipped += d
}
