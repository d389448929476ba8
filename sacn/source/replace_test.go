package source

import (
	"net/netip"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn"
)

var (
	boathouse = netip.MustParseAddr("192.0.2.10")
	bandstand = netip.MustParseAddr("192.0.2.11")
)

func TestReplace(t *testing.T) {
	bright := func(_ Frame, slots [][]byte) {
		for _, b := range slots {
			b[0] = 200
		}
	}
	first := Scene{
		Streams: []Stream{{Universe: 1, Slots: 512}, {Universe: 2, Slots: 512}, {Universe: 3, Slots: 512, Unicast: boathouse}},
		Render:  bright,
		Dark:    func(slots [][]byte) { slots[1][0] = 9 },
	}
	second := Scene{Streams: []Stream{{Universe: 4, Slots: 100}, {Universe: 1, Slots: 512}}, Render: count}
	y := inYard(t, testConfig(), first, func(y *yard, s *Source) {
		time.Sleep(10*period + time.Millisecond)
		if err := s.Replace(Scene{Streams: []Stream{{Universe: 64000, Slots: 1}}, Render: count}); err == nil {
			t.Error("universe 64000 was accepted")
		}
		if err := s.Replace(Scene{Streams: []Stream{{Universe: 5, Slots: 1, Unicast: bandstand}}, Render: count}); err != nil {
			t.Error(err)
		}
		if err := s.Replace(second); err != nil { // before the one above was seen
			t.Error(err)
		}
		time.Sleep(10 * period)
		y.mu.Lock()
		if y.open != 1 {
			t.Errorf("%d sockets are open, one is needed", y.open)
		}
		y.mu.Unlock()
		if n := s.Stats().Streams; n != 2 {
			t.Errorf("%d streams", n)
		}
	})
	for i, p := range y.of(sacn.DataPacket, 1) {
		if p.seq != uint8(250+i) {
			t.Fatalf("universe 1 stays, but its packet %d has sequence %d", i, p.seq)
		}
	}
	// Frame 11 was rendered before the scene was replaced.
	for u, dark := range map[uint16]byte{2: 9, 3: 0} {
		data := y.of(sacn.DataPacket, u)
		if len(data) != 11+2*terminationFrames {
			t.Fatalf("universe %d: %d packets", u, len(data))
		}
		for i, p := range data {
			wantFirst, wantOptions := byte(200), sacn.Options(0)
			if i >= 11 {
				wantFirst = dark
			}
			if i >= 11+terminationFrames {
				wantOptions = sacn.StreamTerminated
			}
			if p.first != wantFirst || p.options != wantOptions || p.at != time.Duration(i+1)*period {
				t.Errorf("universe %d, packet %d: %+v", u, i, p)
			}
		}
	}
	if data := y.of(sacn.DataPacket, 4); len(data) != 9+2*terminationFrames || data[0].seq != 250+11-256 || data[0].first != 12 {
		t.Errorf("universe 4: %d packets, the first %+v", len(data), data[0])
	}
	if n := len(y.of(sacn.DataPacket, 5)); n != 0 {
		t.Errorf("%d packets of a scene that was replaced before it began", n)
	}
}

// One controller that refuses costs its own universes and nothing else.
func TestOneUniverseFails(t *testing.T) {
	scene := Scene{Render: count, Streams: []Stream{
		{Universe: 1, Slots: 8}, {Universe: 2, Slots: 8, Unicast: boathouse},
		{Universe: 3, Slots: 8}, {Universe: 4, Slots: 8, Unicast: bandstand}, {Universe: 5, Slots: 8},
	}}
	y := inYard(t, testConfig(), scene, func(y *yard, s *Source) {
		y.mu.Lock()
		y.refuse[boathouse] = syscall.ECONNREFUSED
		y.refuse[sacn.MulticastAddr4(3)] = syscall.EPERM
		y.mu.Unlock()
		time.Sleep(40*period + time.Millisecond)
		got := map[string]SendError{}
		for _, e := range s.Stats().SendErrors {
			got[e.Errno] = e
		}
		if e := got["ECONNREFUSED"]; e.Count != 40 || e.To != "192.0.2.10" || !strings.HasPrefix(e.Why, "the device there does not take E1.31") {
			t.Errorf("%+v", e)
		}
		if e := got["EPERM"]; e.Count != 40 || e.To != "multicast" || !strings.HasPrefix(e.Why, "a firewall on this computer") {
			t.Errorf("%+v", e)
		}
		if e, ok := got["ENOBUFS"]; e.Count != 0 || !ok {
			t.Errorf("%+v", e)
		}
		if n := s.Stats().Packets; n != 3*40+1 {
			t.Errorf("%d packets counted", n)
		}
		for _, st := range s.Streams() {
			sent, failed := uint64(40), uint64(0)
			if st.Universe == 2 || st.Universe == 3 {
				sent, failed = 0, 40
			}
			if st.Sent != sent || st.Failed != failed {
				t.Errorf("universe %d to %v: %d sent, %d failed; want %d and %d", st.Universe, st.Unicast, st.Sent, st.Failed, sent, failed)
			}
		}
	})
	for u, want := range map[uint16]int{1: 46, 2: 0, 3: 0, 4: 46, 5: 46} {
		if n := len(y.of(sacn.DataPacket, u)); n != want {
			t.Errorf("universe %d: %d packets, want %d", u, n, want)
		}
	}
}

// A controller that answers each packet with an error was sent nothing, though the kernel
// takes every packet at the second try.
func TestRefusedByTheController(t *testing.T) {
	scene := Scene{Render: count, Streams: []Stream{{Universe: 1, Slots: 8}, {Universe: 2, Slots: 8, Unicast: boathouse}}}
	y := inYard(t, testConfig(), scene, func(y *yard, s *Source) {
		y.now(func() { y.away = boathouse })
		time.Sleep(40*period + time.Millisecond)
		for i, want := range []StreamStats{{Sent: 40}, {Failed: 40}} {
			if st := s.Streams()[i]; st.Sent != want.Sent || st.Failed != want.Failed {
				t.Errorf("universe %d: %d sent, %d failed; want %d and %d", st.Universe, st.Sent, st.Failed, want.Sent, want.Failed)
			}
		}
		for _, e := range s.Stats().SendErrors {
			if e.Errno == "ECONNREFUSED" && e.Count != 40 {
				t.Errorf("%d errors", e.Count)
			}
		}
	})
	if n := len(y.of(sacn.DataPacket, 2)); n != 46 {
		t.Errorf("%d packets left", n)
	}
}

// A frame of which the kernel takes no packet was not sent.
func TestNothingLeaves(t *testing.T) {
	scene := Scene{Render: count, Streams: multicasts(2)}
	inYard(t, testConfig(), scene, func(y *yard, s *Source) {
		before := s.Stats()
		y.mu.Lock()
		for _, u := range []uint16{1, 2, sacn.DiscoveryUniverse} {
			y.refuse[sacn.MulticastAddr4(u)] = syscall.EPERM
		}
		y.mu.Unlock()
		time.Sleep(40*period + time.Millisecond)
		got := s.Stats()
		if sent, withheld := got.Frames-before.Frames, got.Withheld-before.Withheld; sent != 0 || withheld != 40 {
			t.Errorf("%d frames sent and %d withheld while a firewall refused every packet, want 0 and 40", sent, withheld)
		}
		y.now(func() { delete(y.refuse, sacn.MulticastAddr4(2)) })
		time.Sleep(40 * period)
		if sent := s.Stats().Frames - got.Frames; sent != 40 {
			t.Errorf("%d frames sent while one universe passed, want 40", sent)
		}
	})
}

// A controller without a route waits for one.
func TestControllerComesLater(t *testing.T) {
	scene := Scene{Render: count, Streams: []Stream{{Universe: 1, Slots: 8}, {Universe: 2, Slots: 8, Unicast: boathouse}}}
	y := inYard(t, testConfig(), scene, func(y *yard, s *Source) {
		y.now(func() { y.nodial[bandstand] = syscall.ENETUNREACH })
		if err := s.Replace(Scene{Render: count, Streams: append(scene.Streams, Stream{Universe: 3, Slots: 8, Unicast: bandstand})}); err != nil {
			t.Error(err)
		}
		time.Sleep(time.Second - time.Millisecond)
		y.now(func() { delete(y.nodial, bandstand) })
		time.Sleep(time.Second)
	})
	if n := len(y.of(sacn.DataPacket, 3)); n < 40 || n > 48 {
		t.Errorf("universe 3: %d packets, about 40 were possible", n)
	}
	if n := len(y.of(sacn.DataPacket, 2)); n < 84 {
		t.Errorf("universe 2: %d packets", n)
	}
}

func TestFollowInterface(t *testing.T) {
	for _, c := range []struct {
		name  string
		away  Link
		back  func(*linkState)
		dials int // of multicast and one controller, all in all
	}{
		{"carrier lost", LinkNoCarrier, func(*linkState) {}, 2},
		{"set down", LinkDown, func(*linkState) {}, 4},
		{"address changed", LinkNoAddress, func(l *linkState) { l.addrs = []netip.Addr{netip.MustParseAddr("10.77.0.9")} }, 4},
		{"another device", LinkGone, func(l *linkState) { l.index++ }, 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			scene := Scene{Render: count, Streams: []Stream{{Universe: 1, Slots: 8}, {Universe: 2, Slots: 8, Unicast: boathouse}}}
			var gone, back time.Duration
			y := inYard(t, testConfig(), scene, func(y *yard, s *Source) {
				time.Sleep(10*period + time.Millisecond)
				y.setLink(func(l *linkState) { l.state = c.away })
				time.Sleep(settleTime + time.Millisecond)
				gone = time.Since(y.start)
				time.Sleep(20 * period)
				if st := s.Stats(); st.Link != c.away || st.Withheld != 20 {
					t.Errorf("link %v, %d frames withheld", st.Link, st.Withheld)
				}
				y.setLink(func(l *linkState) { l.state = LinkUp; c.back(l) })
				time.Sleep(settleTime + time.Millisecond)
				back = time.Since(y.start)
				time.Sleep(10 * period)
				if st := s.Stats(); st.Link != LinkUp || st.Skipped != 0 {
					t.Errorf("link %v, %d frames skipped", st.Link, st.Skipped)
				}
			})
			after := 0
			for u := uint16(1); u <= 2; u++ {
				for _, p := range y.of(sacn.DataPacket, u) {
					if p.at > gone && p.at < back-period {
						t.Errorf("universe %d: a packet at %v, while the interface was away", u, p.at)
					}
					if p.at > back {
						after++
					}
				}
			}
			if after < 2*(10+2*terminationFrames) {
				t.Errorf("%d packets after the interface was back", after)
			}
			if y.dials != c.dials {
				t.Errorf("%d sockets were made, want %d", y.dials, c.dials)
			}
		})
	}
}
