package budget

import (
	"net/netip"

	"yardproof/config"
)

// Octets of a packet on an Ethernet wire.
const (
	e131Overhead      = 126             // E1.31 data packet without slots
	syncOctets        = 49              // E1.31 synchronization packet
	discoveryOverhead = 120             // E1.31 universe discovery packet without universes, 2 for each
	universesPerPage  = 512             // E1.31 8
	discoverySeconds  = 10              // E1.31 Appendix A, from memory
	udpOctets         = 8               // RFC 768
	ipv4Octets        = 20              // RFC 791, no options
	ipv6Octets        = 40              // RFC 8200
	etherOctets       = 14 + 4 + 8 + 12 // IEEE 802.3 clauses 3 and 4: header, FCS, preamble with start delimiter, gap
	shortestFrame     = 64 + 8 + 12     // IEEE 802.3 3.2.8, with preamble and gap
	fastEthernet      = 100_000_000     // bits a second
	busyShare         = 0.70            // common practice, no source
)

// Network is the load that the plan puts on the wire, in bits with preamble and
// gap.
type Network struct {
	PacketsPerSecond float64    `json:"packets_per_second"` // data, synchronization and discovery
	BitsPerSecond    float64    `json:"bits_per_second"`
	Universes        int        `json:"universes"` // streams: a universe that goes to two unicast controllers counts twice
	Controllers      []LinkLoad `json:"controllers,omitempty"`
	Multicast        LinkLoad   `json:"multicast"` // what reaches every port of a switch that does not snoop (RFC 4541)
}

// LinkLoad is the load on one link. A controller's is its own unicast, the
// multicast universes that it listens to, and synchronization.
type LinkLoad struct {
	Name             string  `json:"name"`
	Universes        int     `json:"universes"`
	PacketsPerSecond float64 `json:"packets_per_second"`
	BitsPerSecond    float64 `json:"bits_per_second"`
	LoadPercent      float64 `json:"load_percent"` // of 100 Mb/s
}

// WireOctets returns what a UDP payload takes on an Ethernet wire, untagged:
// headers, checksum, preamble and the gap to the next frame (IEEE 802.3 clauses
// 3 and 4). A data packet of 512 slots takes 704 octets over IPv4.
func WireOctets(payload int, ipv6 bool) int {
	ip := ipv4Octets
	if ipv6 {
		ip = ipv6Octets
	}
	return max(payload+udpOctets+ip+etherOctets, shortestFrame)
}

func (l *LinkLoad) add(octets int, rate float64) {
	l.PacketsPerSecond += rate
	l.BitsPerSecond += rate * float64(octets) * 8
	l.LoadPercent = 100 * l.BitsPerSecond / fastEthernet
}

func (b *Budget) network() {
	p := b.plan
	v6 := p.Network.IPv6
	rate := p.Network.Rate
	var all LinkLoad
	links := make([]LinkLoad, len(p.Controllers))
	index := make(map[*config.Controller]int, len(p.Controllers))
	for i, c := range p.Controllers {
		index[c] = i
		links[i].Name = c.Name
	}
	multicast := LinkLoad{Name: "multicast"}
	streams := p.Map().Universes
	numbers := map[uint16]bool{}
	destinations := map[netip.Addr]bool{}
	for _, u := range streams {
		numbers[u.Number] = true
		destinations[u.Address] = true
		octets := WireOctets(e131Overhead+u.Channels, v6 && !u.Address.Is4())
		all.add(octets, rate)
		if !u.Address.IsValid() {
			multicast.add(octets, rate)
			multicast.Universes++
		}
		for _, c := range u.Controllers {
			links[index[c]].add(octets, rate)
			links[index[c]].Universes++
		}
	}
	if p.Network.SyncUniverse != 0 && len(streams) > 0 {
		// One a frame to the group of the synchronization address.
		octets := WireOctets(syncOctets, v6)
		all.add(octets, rate)
		multicast.add(octets, rate)
		for i := range links {
			links[i].add(octets, rate)
		}
	}
	listed := len(numbers)
	if p.Network.SyncUniverse != 0 && !numbers[p.Network.SyncUniverse] {
		listed++
	}
	for listed > 0 {
		page := min(listed, universesPerPage)
		listed -= page
		octets := WireOctets(discoveryOverhead+2*page, v6)
		all.add(octets, 1.0/discoverySeconds)
		multicast.add(octets, 1.0/discoverySeconds)
	}
	b.Network = Network{
		PacketsPerSecond: all.PacketsPerSecond,
		BitsPerSecond:    all.BitsPerSecond,
		Universes:        len(streams),
		Multicast:        multicast,
		Controllers:      links,
	}
}
