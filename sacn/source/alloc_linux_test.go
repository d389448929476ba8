//go:build !race

package source

import "testing"

func TestAllocPacketTick(t *testing.T) {
	s := openPackets(t, Scene{Streams: multicasts(1000), Render: count})
	if a := testing.AllocsPerRun(50, tick(t, s)); a != 0 {
		t.Errorf("%v allocations a tick", a)
	}
	if st := s.Stats(); st.Packets != 51*1001 {
		t.Errorf("%d packets were sent in 51 ticks: %+v", st.Packets, st.SendErrors)
	}
}
