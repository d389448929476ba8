package source

import (
	"testing"
	"time"

	"yardproof/sacn"
)

const period = 25 * time.Millisecond // of testConfig

func TestFramesOnTheBeat(t *testing.T) {
	y := inYard(t, testConfig(), Scene{Streams: multicasts(2), Render: count}, func(y *yard, s *Source) {
		time.Sleep(10*time.Second + time.Millisecond)
		st := s.Stats()
		if st.Frames != 400 || st.Skipped != 0 || st.Streams != 2 || st.Sequence != (250+399)%256 {
			t.Errorf("stats: %+v", st)
		}
		if st.Lateness.Count != 400 || st.Lateness.Counts[0] != 400 || st.SendDuration.Count != 400 {
			t.Errorf("histograms: %+v, %+v", st.Lateness, st.SendDuration)
		}
	})
	data := y.of(sacn.DataPacket, 1)
	if want := 400 + 2*terminationFrames; len(data) != want {
		t.Fatalf("%d packets of universe 1, want %d", len(data), want)
	}
	for i, p := range data {
		if want := time.Duration(i+1) * period; p.at != want {
			t.Fatalf("packet %d left at %v, want %v", i, p.at, want)
		}
		if want := uint8(250 + i); p.seq != want {
			t.Fatalf("packet %d has sequence %d, want %d", i, p.seq, want)
		}
		if i < 400 && p.first != byte(i+1) {
			t.Fatalf("packet %d shows frame %d", i, p.first)
		}
	}
}

// A frame of a thousand packets leaves in parts, evenly over the spread.
func TestSpread(t *testing.T) {
	cfg := testConfig()
	cfg.Spread = 0.5
	cfg.SyncAddress = 7962
	y := inYard(t, cfg, Scene{Streams: multicasts(1000), Render: count}, func(*yard, *Source) {
		time.Sleep(2*period - time.Millisecond)
	})
	at := map[time.Duration]int{}
	for _, p := range y.of(sacn.DataPacket, 0) {
		if p.at < 2*period {
			at[p.at-period]++
		}
	}
	if len(at) != 8 {
		t.Fatalf("packets left at %d times, want 8: %v", len(at), at)
	}
	for k := range 8 {
		if due := time.Duration(k) * period / 16; at[due] != 125 {
			t.Errorf("%d packets after %v, want 125", at[due], due)
		}
	}
	sync := y.of(sacn.SyncPacket, 7962)
	if len(sync) == 0 || sync[0].at != period+period/2 || sync[0].seq != 250 || sync[0].to != sacn.MulticastAddr4(7962) {
		t.Fatalf("synchronization: %+v", sync)
	}
	for _, p := range y.packets[:1000] {
		if p.kind != sacn.DataPacket {
			t.Fatal("something left between the data of the first frame")
		}
	}
}

// A late frame is given up: nothing is sent twice, nothing in a burst, and the
// beat stays where it was.
func TestLateFrames(t *testing.T) {
	for _, c := range []struct {
		name    string
		over    time.Duration
		skipped uint64
		lost    int // frames of 40
	}{
		{"a little", 24 * time.Millisecond, 0, 0},
		{"a period", 25 * time.Millisecond, 2, 2},
		{"more than a period", 26 * time.Millisecond, 2, 2},
		{"a stopped process", 310 * time.Millisecond, 13, 13},
		{"an hour", time.Hour, 144001, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := inYard(t, testConfig(), Scene{Streams: multicasts(1), Render: count}, func(y *yard, s *Source) {
				time.Sleep(4*period + time.Millisecond)
				y.oversleep.Store(int64(c.over))
				time.Sleep(max(36*period, c.over+10*period))
				if got := s.Stats().Skipped; got != c.skipped {
					t.Errorf("%d frames skipped, want %d", got, c.skipped)
				}
			})
			data := y.of(sacn.DataPacket, 1)
			early := 0
			for i, p := range data {
				if p.at%period != 0 {
					if early++; p.at%period != c.over {
						t.Errorf("packet at %v is neither on the beat nor late by %v", p.at, c.over)
					}
				} else if i < len(data)-2*terminationFrames && p.first != byte(p.at/period) {
					t.Errorf("at %v frame %d was shown", p.at, p.first-1)
				}
				if i > 0 && (p.seq != data[i-1].seq+1 || p.at == data[i-1].at) {
					t.Errorf("packet %d: %+v follows %+v", i, p, data[i-1])
				}
			}
			if early > 1 {
				t.Errorf("%d packets off the beat", early)
			}
			if want := 40 - c.lost + 2*terminationFrames; c.over < time.Second && len(data) != want {
				t.Errorf("%d packets, want %d", len(data), want)
			}
		})
	}
}

// A frame that begins late or stalls is spread over what is left of its period,
// and the next one is on the beat.
func TestLatePartsAreNoBurst(t *testing.T) {
	cfg := testConfig()
	cfg.Spread = 0.8
	for _, c := range []struct {
		name string
		when time.Duration // between the end of one sleep and the next
		over time.Duration
		want []int // microseconds after the frame's deadline
	}{
		{"on time", 0, 0, []int{0, 5000, 10000, 15000, 25000, 30000}},
		{"begins late", period - time.Millisecond, 15 * time.Millisecond, []int{15000, 17500, 20000, 22500, 25000, 30000}},
		{"stalls", period + time.Millisecond, 13 * time.Millisecond, []int{0, 18000, 20333, 22666, 25000, 30000}},
		{"stalls past the next deadline", period + time.Millisecond, 22 * time.Millisecond, []int{0, 27000}},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := inYard(t, cfg, Scene{Streams: multicasts(512), Render: count}, func(y *yard, s *Source) {
				time.Sleep(c.when)
				y.oversleep.Store(int64(c.over))
				time.Sleep(3*period - c.when)
			})
			at := map[int]int{}
			for _, p := range y.of(sacn.DataPacket, 0) {
				at[int((p.at-period)/time.Microsecond)]++
			}
			for k, want := range c.want {
				if n := at[want]; n < 128 {
					t.Errorf("part %d: %d packets %d us after the deadline: %v", k, n, want, at)
				}
			}
		})
	}
}

func TestSlowRendererStillShines(t *testing.T) {
	render := func(f Frame, slots [][]byte) { time.Sleep(3 * period) }
	y := inYard(t, testConfig(), Scene{Streams: multicasts(1), Render: render}, func(y *yard, s *Source) {
		time.Sleep(time.Minute)
		if st := s.Stats(); st.Frames < 300 || st.Skipped < st.Frames {
			t.Errorf("%d frames sent, %d skipped", st.Frames, st.Skipped)
		}
	})
	data := y.of(sacn.DataPacket, 1)
	for i := 1; i < len(data)-2*terminationFrames; i++ {
		if d := data[i].at - data[i-1].at; d < 3*period {
			t.Fatalf("frames %v apart", d)
		}
	}
}

func TestGoodbye(t *testing.T) {
	cfg := testConfig()
	cfg.SyncAddress = 100
	scene := Scene{
		Streams: multicasts(3),
		Render:  func(_ Frame, slots [][]byte) { slots[0][0], slots[1][0], slots[2][0] = 255, 255, 255 },
		Dark:    func(slots [][]byte) { slots[1][0] = 77 }, // a relay that stays on
	}
	var stopped time.Duration
	y := inYard(t, cfg, scene, func(y *yard, s *Source) {
		time.Sleep(time.Second + time.Millisecond)
		stopped = time.Since(y.start)
	})
	for u := uint16(1); u <= 3; u++ {
		data := y.of(sacn.DataPacket, u)
		tail := data[len(data)-2*terminationFrames-1:]
		for i, p := range tail {
			wantFirst, wantOptions := byte(255), sacn.Options(0)
			if i > 0 {
				wantFirst = 0
				if u == 2 {
					wantFirst = 77
				}
			}
			if i > terminationFrames {
				wantOptions = sacn.StreamTerminated
			}
			if p.first != wantFirst || p.options != wantOptions {
				t.Errorf("universe %d, packet %d of the end: slot 1 = %d, options %#x", u, i, p.first, p.options)
			}
			if i > 0 && (p.at-tail[i-1].at != period || p.seq != tail[i-1].seq+1) {
				t.Errorf("universe %d, packet %d of the end is off the beat: %v", u, i, p.at)
			}
		}
		if end := tail[len(tail)-1].at - stopped; end > time.Second {
			t.Errorf("the goodbye took %v", end)
		}
	}
	// Each dark frame has its synchronization packet, or receivers would hold
	// the last scene; the terminated ones need none.
	sync, data := y.of(sacn.SyncPacket, 100), y.of(sacn.DataPacket, 1)
	if len(sync) != len(data)-terminationFrames {
		t.Errorf("%d synchronization packets for %d frames", len(sync), len(data))
	}
	for i, p := range sync {
		if p.seq != uint8(250+i) || p.at != data[i].at {
			t.Errorf("synchronization packet %d: %+v", i, p)
		}
	}
}

func TestDiscovery(t *testing.T) {
	cfg := testConfig()
	cfg.SyncAddress, cfg.Rate = 9000, 2
	y := inYard(t, cfg, Scene{Streams: multicasts(600), Render: count}, func(y *yard, s *Source) {
		time.Sleep(35 * time.Second)
	})
	pages := y.of(sacn.DiscoveryPacket, 0)
	if len(pages) != 8 {
		t.Fatalf("%d pages in 35 s, want 2 at once and after 10, 20 and 30 s", len(pages))
	}
	for i, p := range pages {
		var d sacn.Discovery
		if err := d.Decode(p.page); err != nil {
			t.Fatal(err)
		}
		if want := 500*time.Millisecond + time.Duration(i/2)*sacn.DiscoveryInterval; p.at != want || p.to != sacn.MulticastAddr4(sacn.DiscoveryUniverse) {
			t.Errorf("page %d went to %v at %v, want %v", i, p.to, p.at, want)
		}
		if want := []int{512, 601 - 512}[i%2]; int(d.Page) != i%2 || d.LastPage != 1 || d.Universes.Len() != want {
			t.Errorf("page %d of %d with %d universes", d.Page, d.LastPage, d.Universes.Len())
		}
		if i%2 == 1 && d.Universes.At(d.Universes.Len()-1) != 9000 {
			t.Error("the synchronization address is not announced")
		}
	}
}

// A scene whose renderer has nothing to say yet sends its dark frame, and not zeros:
// a relay that stays on does not drop out at a reload.
func TestSceneBeginsDark(t *testing.T) {
	scene := Scene{
		Streams: multicasts(2),
		Render:  func(Frame, [][]byte) {},
		Dark:    func(slots [][]byte) { slots[1][0] = 77 },
	}
	y := inYard(t, testConfig(), scene, func(_ *yard, s *Source) {
		time.Sleep(10*period + time.Millisecond)
		if err := s.Replace(scene); err != nil {
			t.Error(err)
		}
		time.Sleep(10 * period)
	})
	for u, want := range map[uint16]byte{1: 0, 2: 77} {
		for i, p := range y.of(sacn.DataPacket, u) {
			if p.first != want {
				t.Errorf("universe %d, packet %d: slot 1 = %d, want %d", u, i, p.first, want)
			}
		}
	}
}
