package source

import (
	"syscall"
	"testing"
	"time"
)

// Under a queue that takes a third of what is sent all universes lose alike, in
// one slice or in several, and the counts say so.
func TestFullQueueStarvesNobody(t *testing.T) {
	for _, universes := range []int{45, 300} {
		inYard(t, testConfig(), Scene{Streams: multicasts(universes), Render: count}, func(y *yard, s *Source) {
			y.now(func() { y.limited, y.queue = true, 0 })
			time.Sleep(period / 2) // not at the moment of a frame
			const frames = 400
			for range frames {
				y.now(func() { y.queue = universes / 3 })
				time.Sleep(period)
			}
			var sum uint64
			for _, st := range s.Streams() {
				if st.Sent < frames/6 || st.Sent > frames/2 {
					t.Errorf("%d universes: universe %d got %d of %d frames", universes, st.Universe, st.Sent, frames)
				}
				if got := st.Sent + st.Failed; got < frames-2 || got > frames+2 {
					t.Errorf("universe %d: %d sent and %d failed in %d frames", st.Universe, st.Sent, st.Failed, frames)
				}
				sum += st.Sent
			}
			if want := uint64(frames * (universes / 3)); sum < want*9/10 || sum > want {
				t.Errorf("%d packets sent, the queue took %d", sum, want)
			}
			y.now(func() { y.limited = false })
		})
	}
}

// A frame of which only synchronization and discovery leave is not a sent one.
func TestSynchronizationAloneIsNoFrame(t *testing.T) {
	cfg := testConfig()
	cfg.SyncAddress = 900
	inYard(t, cfg, Scene{Streams: []Stream{{Universe: 1, Slots: 8, Unicast: boathouse}}, Render: count}, func(y *yard, s *Source) {
		y.now(func() { y.refuse[boathouse] = syscall.EPERM })
		time.Sleep(40*period + time.Millisecond)
		if st := s.Stats(); st.Frames != 0 || st.Withheld != 40 || st.Packets < 40 {
			t.Errorf("%d frames, %d withheld, %d packets", st.Frames, st.Withheld, st.Packets)
		}
		y.now(func() { clear(y.refuse) })
	})
}
