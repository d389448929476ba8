package listener

import (
	"bytes"
	"encoding/binary"
	"testing"

	"golang.org/x/net/bpf"

	"yardproof/sacn"
)

// ipPacket is a UDP datagram to the port in an IP header of RFC 791 or RFC 8200.
func ipPacket(ipv6 bool, port uint16, payload []byte) []byte {
	udp := binary.BigEndian.AppendUint16(nil, 40000)
	udp = binary.BigEndian.AppendUint16(udp, port)
	udp = binary.BigEndian.AppendUint16(udp, uint16(8+len(payload)))
	udp = append(append(udp, 0, 0), payload...)
	if ipv6 {
		b := make([]byte, 40)
		b[0], b[6], b[7] = 0x60, 17, 1
		binary.BigEndian.PutUint16(b[4:], uint16(len(udp)))
		from, to := sacn.MulticastAddr6(9).As16(), sacn.MulticastAddr6(7).As16()
		copy(b[8:], from[:])
		copy(b[24:], to[:])
		return append(b, udp...)
	}
	b := make([]byte, 24) // with an option, as router alert is one
	b[0], b[8], b[9] = 0x46, 1, 17
	binary.BigEndian.PutUint16(b[2:], uint16(len(b)+len(udp)))
	copy(b[12:], []byte{10, 77, 0, 1, 239, 255, 0, 7})
	return append(b, udp...)
}

func TestUDPPayload(t *testing.T) {
	for _, v6 := range []bool{false, true} {
		want := []byte("payload")
		p := ipPacket(v6, sacn.Port, want)
		padded := append(bytes.Clone(p), 0, 0, 0) // Ethernet fills short frames up
		got, _, to, ok := udpPayload(padded, v6)
		if u, isGroup := sacn.GroupUniverse(to); !ok || !bytes.Equal(got, want) || !isGroup || u != 7 {
			t.Errorf("IPv6 %v: %q to %v, %v", v6, got, to, ok)
		}
		if _, _, _, ok := udpPayload(p, !v6); ok {
			t.Error("one family is taken for the other")
		}
		for n := range len(p) {
			if got, _, _, ok := udpPayload(p[:n], v6); ok {
				t.Errorf("IPv6 %v: %d octets of %d have a payload of %d", v6, n, len(p), len(got))
			}
		}
	}
}

// The filter in the kernel, run by x/net's own machine.
func TestTapFilter(t *testing.T) {
	for _, v6 := range []bool{false, true} {
		vm, err := bpf.NewVM(udpTo5568(v6))
		if err != nil {
			t.Fatal(err)
		}
		passes := func(what string, b []byte, want bool) {
			t.Helper()
			n, err := vm.Run(b)
			if err != nil || (n > 0) != want {
				t.Errorf("IPv6 %v, %s: %d, %v", v6, what, n, err)
			}
		}
		p := ipPacket(v6, sacn.Port, []byte("payload"))
		passes("to the port", p, true)
		passes("to another port", ipPacket(v6, 5569, []byte("payload")), false)
		tcp := bytes.Clone(p)
		if v6 {
			tcp[6] = 6
		} else {
			tcp[9] = 6
		}
		passes("TCP", tcp, false)
		if !v6 {
			fragment := bytes.Clone(p)
			fragment[7] = 3
			passes("a later fragment", fragment, false)
		}
	}
}

func FuzzUDPPayload(f *testing.F) {
	f.Add(ipPacket(false, sacn.Port, []byte("payload")), false)
	f.Add(ipPacket(true, sacn.Port, []byte("payload")), true)
	f.Fuzz(func(t *testing.T, b []byte, v6 bool) {
		if p, _, _, ok := udpPayload(b, v6); ok && len(p) > len(b)-28 {
			t.Fatalf("a payload of %d in %d octets", len(p), len(b))
		}
	})
}
