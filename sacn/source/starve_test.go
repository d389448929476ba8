package source

import (
	"net/netip"
	"slices"
	"testing"
	"time"

	"yardproof/sacn"
)

// unicasts returns universes 1 to n, each to a controller of its own.
func unicasts(n int) []Stream {
	list := multicasts(n)
	for i := range list {
		list[i].Unicast = netip.AddrFrom4([4]byte{10, 77, byte(1 + i/200), byte(1 + i%200)})
	}
	return list
}

// Under a queue that takes a part of each frame, all universes lose alike: none
// is silent for the 2.5 s after which receivers give up (6.7.1).
func TestNobodyIsSilentForLong(t *testing.T) {
	for name, tt := range map[string]struct {
		streams []Stream
		room    int
		silence int // frames a universe may be silent for, at most
	}{
		"one batch":                      {multicasts(45), 16, 5},
		"a controller each":              {unicasts(45), 16, 5},
		"many slices":                    {multicasts(1000), 100, 24},
		"many controllers":               {unicasts(400), 40, 32},
		"a large batch, then small ones": {slices.Concat(multicasts(40), unicasts(45)[40:]), 16, 8},
		"nearly all, for once":           {multicasts(45), 44, 1},
	} {
		t.Run(name, func(t *testing.T) {
			const frames = 200
			y := inYard(t, testConfig(), Scene{Streams: tt.streams, Render: count}, func(y *yard, s *Source) {
				y.now(func() { y.room = tt.room })
				time.Sleep(frames*period + time.Millisecond)
				y.now(func() { y.room = 0 })
			})
			worst, of := time.Duration(0), uint16(0)
			for _, st := range tt.streams {
				last := time.Duration(0)
				for _, p := range y.of(sacn.DataPacket, st.Universe) {
					if gap := p.at - last; gap > worst {
						worst, of = gap, st.Universe
					}
					last = p.at
				}
			}
			if limit := time.Duration(tt.silence+1)*period + period/2; worst > limit {
				t.Errorf("universe %d was silent for %v, want at most %v", of, worst, limit)
			}
		})
	}
}
