package listener

import (
	"math/rand/v2"
	"net/netip"
	"testing"
	"time"

	"yardproof/sacn"
)

func TestStreamSteady(t *testing.T) {
	f := newFeed(TrackerConfig{})
	for i := range 401 {
		f.send(t, float64(i)*25, uint8(i+250))
	}
	s := f.stream(t, 10000)
	if s.Packets != 401 || s.Lost != 0 || s.OutOfOrder != 0 || s.Duplicates != 0 || s.Jitter != 0 || s.LongestGap != 25*time.Millisecond ||
		s.MeanRate != 40 || s.Rate < 39 || s.Rate > 41 || !s.Live || s.Priority != 100 {
		t.Errorf("%+v", s)
	}
	if s = f.stream(t, 12501); s.Live || s.Rate != 0 || s.Outages != 1 || s.Outage != 2501*time.Millisecond {
		t.Errorf("2.501 s later: %+v", s)
	}
}

func TestStreamLateTakesBackItsLoss(t *testing.T) {
	f := newFeed(TrackerConfig{})
	for i, n := range []uint8{10, 11, 14, 12, 12, 15, 13, 16, 40, 22, 20} {
		f.send(t, float64(i)*25, n)
	}
	// 17-39 missing, 22 came 18 later, 20 came 20 later and is a restart.
	s := f.stream(t, 300)
	if s.LostForGood != 22 {
		t.Errorf("after a restart nothing can come late: %d", s.LostForGood)
	}
	if s.Lost != 22 || s.OutOfOrder != 3 || s.Duplicates != 1 || s.Restarts != 1 || s.Packets != 11 {
		t.Errorf("%+v", s)
	}
}

// The jitter of RFC 3550 section 6.4.1, worked out by hand for one late packet:
// with D the deviation, J goes to J + (|D| - J)/16.
func TestStreamJitter(t *testing.T) {
	f := newFeed(TrackerConfig{})
	ms := 0.0
	for i := range 100 {
		ms = float64(i) * 25
		f.send(t, ms, uint8(i))
	}
	f.send(t, ms+25+8, 100) // 8 ms late
	if s := f.stream(t, ms+40); s.Jitter != 500*time.Microsecond {
		t.Errorf("after one packet 8 ms late: %v, want 8/16 ms", s.Jitter)
	}
	// The late packet moved the estimate of the period by 8/32 ms.
	f.send(t, ms+25+8+25, 101)
	const d = 0.25 // |25 - 25.25|
	want := 0.5 + (d-0.5)/16
	if got := f.stream(t, ms+60).Jitter.Seconds() * 1000; got < want-1e-3 || got > want+1e-3 {
		t.Errorf("then one in time: %v ms, want %v", got, want)
	}
	// A step of two is two periods: a lost packet is no jitter.
	g := newFeed(TrackerConfig{})
	for i := range 50 {
		g.send(t, float64(i)*50, uint8(2*i))
	}
	if got := g.stream(t, 2500); got.Jitter != 0 || got.Lost != 49 {
		t.Errorf("every second packet lost: jitter %v, lost %d", got.Jitter, got.Lost)
	}
	before := f.stream(t, ms+60).Jitter
	f.d.Sequence = 102
	b, _ := f.d.AppendTo(nil)
	f.Packet(b, Arrival{At: at(ms + 500), From: netip.MustParseAddr("10.77.0.1"), ClockStepped: true})
	f.send(t, ms+525, 103)
	if got := f.stream(t, ms+600).Jitter; got != before {
		t.Errorf("samples across a step of the clock count: %v, then %v", before, got)
	}
}

// A source that ended and begins again after the timeout is followed, whatever
// its number; before that a number a little behind is a packet overtaken.
func TestStreamBeginsAgain(t *testing.T) {
	for _, c := range []struct {
		after float64 // milliseconds
		live  bool
	}{{100, false}, {2400, false}, {2600, true}, {60000, true}} {
		f := newFeed(TrackerConfig{})
		for i := range 15 {
			f.send(t, float64(i)*25, uint8(i))
		}
		f.d.Options = sacn.StreamTerminated
		f.send(t, 375, 15)
		f.d.Options = 0
		f.send(t, 375+c.after, 3)
		s := f.stream(t, 376+c.after)
		if s.Live != c.live || s.Terminated == c.live || s.Duplicates == 0 != c.live {
			t.Errorf("%v ms after its end: %+v", c.after, s)
		}
	}
}

// What is exported as a counter must never fall, whatever comes late.
func TestLostForGoodNeverFalls(t *testing.T) {
	f := newFeed(TrackerConfig{})
	r := rand.New(rand.NewPCG(7, 7))
	var before uint64
	for i := range 20000 {
		f.send(t, float64(i)*25, uint8(i+r.IntN(24)))
		s := f.stream(t, float64(i)*25)
		if s.LostForGood < before || s.LostForGood > s.Lost {
			t.Fatalf("packet %d: lost for good %d, then %d, of %d", i, before, s.LostForGood, s.Lost)
		}
		before = s.LostForGood
	}
	if before == 0 {
		t.Error("nothing was lost")
	}
}

func TestStreamOutage(t *testing.T) {
	f := newFeed(TrackerConfig{})
	f.send(t, 0, 0)
	f.send(t, 25, 1)
	f.send(t, 2525, 9) // 2.5 s: still a loss
	f.send(t, 12525, 3)
	f.send(t, 12550, 4)
	s := f.stream(t, 12560)
	if s.Lost != 7 || s.Outages != 1 || s.Outage != 10*time.Second || s.LongestGap != 10*time.Second || s.Restarts != 0 {
		t.Errorf("%+v", s)
	}
}

func TestStreamTermination(t *testing.T) {
	f := newFeed(TrackerConfig{})
	f.send(t, 0, 0)
	f.d.Options = sacn.StreamTerminated
	for i := range 3 {
		f.send(t, 25+float64(i)*25, uint8(1+i))
	}
	if s := f.stream(t, 90); s.Live || !s.Terminated || s.Packets != 4 || s.Rate != 0 {
		t.Errorf("terminated: %+v", s)
	}
	if s := f.stream(t, 60000); s.Outages != 0 || s.LongestGap != 25*time.Millisecond {
		t.Errorf("a minute after termination: %+v", s)
	}
	f.d.Options = 0
	f.send(t, 1000, 0) // late or not, a packet from before does not revive
	f.send(t, 60000, 90)
	if s := f.stream(t, 60001); !s.Live || s.Terminated || s.Lost != 0 || s.Outages != 0 {
		t.Errorf("begun anew: %+v", s)
	}
}

func TestStreamLocalDrops(t *testing.T) {
	f := newFeed(TrackerConfig{})
	f.send(t, 0, 0)
	f.send(t, 25, 3) // 2 lost on the wire
	f.LocalDrops(0)
	f.send(t, 1000, 5) // 1 lost here
	f.LocalDrops(4)
	f.send(t, 2000, 8) // 2 more, noticed only now
	f.LocalDrops(0)
	f.send(t, 3000, 10) // 1 on the wire
	f.LocalDrops(0)
	s := f.stream(t, 3000)
	if s.Lost != 6 || s.LostLocal != 3 {
		t.Errorf("lost %d, of them perhaps local %d, want 6 and 3", s.Lost, s.LostLocal)
	}
	if got := f.Snapshot(at(3000)).LocalDrops; got != 4 {
		t.Errorf("local drops %d", got)
	}
}
