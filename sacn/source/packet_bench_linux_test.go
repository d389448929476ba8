package source

import (
	"net"
	"testing"
)

// BenchmarkPacketHead is what a frame costs before the kernel sees it.
func BenchmarkPacketHead(b *testing.B) {
	s := openPackets(b, Scene{Streams: multicasts(1000), Render: count})
	b.Cleanup(s.routes.takeDown)
	route, _ := s.show.packets[0].route.socket()
	p := route.(*packetSocket)
	h := make([]byte, len(p.head))
	group := s.group(1)
	for i := 0; b.Loop(); i++ {
		p.address(h, group.(*net.UDPAddr).IP, s.show.packets[i%1000].Template)
	}
}
