package listener

import (
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// What a deaf host did not hear is no stream's loss, nor an outage.
func TestDeafnessIsNoOutage(t *testing.T) {
	f := newFeed(TrackerConfig{})
	for n := range 100 {
		f.send(t, float64(n)*25, uint8(n))
	}
	f.Deaf(true, at(2500))
	if s := f.stream(t, 20_000); s.Outages != 0 {
		t.Errorf("while deaf: %+v", s)
	}
	f.Deaf(false, at(22_500))
	for n := 901; n < 1000; n++ {
		f.send(t, float64(n)*25, uint8(n))
	}
	r := f.Snapshot(at(25_000))
	if s := f.stream(t, 25_000); s.Outages != 0 || s.Lost != 0 || s.Restarts != 0 || s.MeanRate < 39 || s.MeanRate > 41 || r.Deaf != 20*time.Second {
		t.Errorf("deaf for %v: %+v", r.Deaf, s)
	}
	if s := f.stream(t, 28_000); s.Outages != 1 {
		t.Errorf("a silence after that is one: %+v", s)
	}
}

// The interface is set down and up again: the stream is not blamed.
func TestListenerWhoseInterfaceGoesDown(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	l := running(t, p, Config{Universes: []uint16{7}})
	s := newSender(t, p.Near, false)
	s.send(7)
	eventually(t, "a packet", func() bool { n, _ := packets(l.Snapshot()); return n == 1 })
	p.Run(t, p.Far, "ip link set yard0 down")
	eventually(t, "deafness", func() bool { return l.Snapshot().DeafNow == "down" })
	time.Sleep(2600 * time.Millisecond)
	p.Run(t, p.Far, "ip link set yard0 up")
	eventually(t, "hearing", func() bool { return l.Snapshot().DeafNow == "" })
	s.next[7] += 100
	sacntest.Eventually(t, 10*time.Second, "packets again", func() bool {
		s.send(7)
		time.Sleep(20 * time.Millisecond)
		n, _ := packets(l.Snapshot())
		return n >= 2
	})
	r := l.Snapshot()
	if st := streamsOf(r)[0]; st.Lost != 0 || st.Outages != 0 || r.Deaf < 2500*time.Millisecond {
		t.Errorf("deaf for %v: %+v", r.Deaf, st)
	}
}
