package surroundings

import (
	"context"
	"time"

	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// Missed is what the watched interface did not hear of one universe.
type Missed struct {
	Packets uint64        // that were sent and never came; never falls
	Outage  time.Duration // silences of over 2.5 s while packets were sent
}

const (
	lookEvery = 250 * time.Millisecond
	looks     = 4 // a packet may be on its way for so many
)

// account holds what was heard of each universe against what was sent, since
// sequence numbers cannot tell of a long silence, or of a universe never heard.
type account struct {
	universes map[uint16]*balance
}

type balance struct {
	begun       bool
	base        int64        // sent minus heard when it began, or could be heard again
	last        [looks]int64 // what was missing at the latest looks
	n           int          // of them
	missed      Missed       // but for a present outage
	heard       uint64
	heardAt     time.Time // when that changed
	sent        uint64    // then
	silentSince bool      // packets were sent since
}

// look takes what was sent until now, and then what was heard.
func (a *account) look(now time.Time, sent map[uint16]uint64, tap *listener.TapReport) {
	if a.universes == nil {
		a.universes = make(map[uint16]*balance)
	}
	for _, u := range tap.Universes {
		b := a.universes[u.Universe]
		if b == nil {
			b = new(balance)
			a.universes[u.Universe] = b
		}
		b.look(now, sent[u.Universe], u, tap.Blind != "")
	}
}

func (b *balance) look(now time.Time, sent uint64, u listener.TapUniverse, blind bool) {
	heard := u.Packets - u.Duplicates
	missing := int64(sent-heard) - b.base
	if !b.begun || blind || sent < b.sent {
		// What nobody could hear is not lost.
		b.base += missing - int64(b.missed.Packets)
		b.begun, b.n = !blind, 0
		b.missed.Outage = b.outage(b.heardAt)
		b.heard, b.heardAt, b.sent, b.silentSince = heard, now, sent, false
		return
	}
	b.last[b.n%looks] = missing
	if b.n++; b.n >= looks {
		least := b.last[0] // one of them had nothing on its way
		for _, m := range b.last[1:] {
			least = min(least, m)
		}
		b.missed.Packets = uint64(max(least, int64(b.missed.Packets)))
	}
	b.missed.Packets = max(b.missed.Packets, u.LostForGood)
	if heard != b.heard {
		b.missed.Outage = b.outage(now)
		b.heard, b.heardAt, b.sent, b.silentSince = heard, now, sent, false
	} else if sent > b.sent {
		b.silentSince = true
	}
}

// outage is the time of all outages, a present one included.
func (b *balance) outage(now time.Time) time.Duration {
	if silence := now.Sub(b.heardAt); b.silentSince && silence > sacn.DataLossTimeout {
		return b.missed.Outage + silence
	}
	return b.missed.Outage
}

// missed returns what is known now, by universe.
func (a *account) missed(now time.Time) map[uint16]Missed {
	out := make(map[uint16]Missed, len(a.universes))
	for u, b := range a.universes {
		out[u] = Missed{b.missed.Packets, b.outage(now)}
	}
	return out
}

// accounted is a tap that is held against what was sent.
type accounted struct {
	*listener.Tap
	s *Surroundings
}

// Run runs the tap and looks at it until ctx ends.
func (t accounted) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	done := make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(lookEvery)
		defer tick.Stop()
		for {
			t.s.look(t.Tap)
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
		}
	}()
	err := t.Tap.Run(ctx)
	cancel()
	<-done
	return err
}

func (s *Surroundings) look(tap *listener.Tap) {
	sent := s.cfg.Sent()
	r := tap.Snapshot()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.account.look(time.Now(), sent, &r)
}
