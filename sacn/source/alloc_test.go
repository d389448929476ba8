//go:build !race

package source

import (
	"fmt"
	"testing"
)

// A whole tick allocates nothing, on real sockets. The race detector makes
// sync.Pool, which x/net uses, drop things at random, so this is not in its build.
func TestAllocTick(t *testing.T) {
	for _, n := range []int{1, 100, 1000} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			s := openLoopback(t, Scene{Streams: multicasts(n), Render: count})
			if a := testing.AllocsPerRun(50, tick(t, s)); a != 0 {
				t.Errorf("%v allocations a tick", a)
			}
			if st := s.Stats(); st.Packets != uint64(51*(n+1)) {
				t.Errorf("%d packets were sent in 51 ticks: %+v", st.Packets, st.SendErrors)
			}
		})
	}
}

// Whoever looks at the counters each second, beside the frames, makes no garbage.
func TestAllocStreams(t *testing.T) {
	s := openLoopback(t, Scene{Streams: multicasts(100), Render: count})
	list := s.Streams()
	if a := testing.AllocsPerRun(10, func() { list = s.AppendStreams(list[:0]) }); a != 0 || len(list) != 100 || list[99].Universe != 100 {
		t.Errorf("%v allocations for %d streams", a, len(list))
	}
}
