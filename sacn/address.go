package sacn

import "net/netip"

// Port is ACN_SDT_MULTICAST_PORT, the UDP port of every E1.31 packet (Appendix A).
const Port = 5568

const (
	// MinUniverse and MaxUniverse bound the universes that carry data (6.2.7):
	// 0 and 64000-65535 are reserved.
	MinUniverse = 1
	MaxUniverse = 63999

	// DiscoveryUniverse is E131_DISCOVERY_UNIVERSE (Appendix A): its group
	// carries universe discovery packets and nothing else.
	DiscoveryUniverse = 64214
)

// ValidUniverse reports whether a universe may carry data (6.2.7).
func ValidUniverse(universe uint16) bool {
	return universe >= MinUniverse && universe <= MaxUniverse
}

// MulticastAddr4 returns the IPv4 multicast group of a universe, 239.255.hi.lo (9.3.1).
// Synchronization packets use the group of their synchronization address,
// discovery packets that of [DiscoveryUniverse].
func MulticastAddr4(universe uint16) netip.Addr {
	return netip.AddrFrom4([4]byte{239, 255, byte(universe >> 8), byte(universe)})
}

// MulticastAddr6 returns the IPv6 multicast group of a universe (9.3.2). The standard
// prints FF18::83:00:hi:lo and means octets; as RFC 4291 text that is
// ff18::8300:hhll.
func MulticastAddr6(universe uint16) netip.Addr {
	return netip.AddrFrom16([16]byte{0: 0xff, 1: 0x18, 12: 0x83, 14: byte(universe >> 8), 15: byte(universe)})
}

// GroupUniverse returns the universe whose group an address is; ok is false
// for every address that is no E1.31 group.
func GroupUniverse(group netip.Addr) (universe uint16, ok bool) {
	if group.Is4() || group.Is4In6() {
		a := group.As4()
		universe = uint16(a[2])<<8 | uint16(a[3])
		return universe, MulticastAddr4(universe) == group.Unmap()
	}
	a := group.As16()
	universe = uint16(a[14])<<8 | uint16(a[15])
	return universe, MulticastAddr6(universe) == group.WithZone("")
}
