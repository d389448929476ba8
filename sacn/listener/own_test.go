//go:build linux

package listener

import (
	"log/slog"
	"net/netip"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/sacn/sacntest"
)

// Two interfaces of one host, wired together: what leaves one arrives at the
// other from the host's own address, which over IPv4 no UDP socket may hear.
func TestTap(t *testing.T) {
	sacntest.NeedTool(t, "nft")
	families(t, testTap)
}

func testTap(t *testing.T, v6 bool) {
	p := sacntest.NewPair(t)
	for _, line := range []string{
		"ip link add tapa type veth peer name tapb",
		"ip link set tapa up", "ip link set tapb up",
		"ip addr add 10.78.0.1/24 dev tapa", "ip addr add 10.79.0.1/24 dev tapb",
		"ip addr add fd78::1/64 dev tapa nodad", "ip addr add fd79::1/64 dev tapb nodad",
		"ip route del 239.255.0.0/16", "ip route add 239.255.0.0/16 dev tapa",
	} {
		p.Run(t, p.Far, line)
	}
	universes := []uint16{1, 2, 3, 777}
	cfg := TapConfig{Interface: "tapb", Sending: "tapa", IPv6: v6, Universes: universes, Own: cid(1)}
	var tap *Tap
	var udp *Listener
	var err, udpErr, sameErr error
	inside(t, p.Far, func() {
		tap, err = OpenTap(cfg)
		udp, udpErr = Open(Config{Interface: "tapb", IPv6: v6, Universes: universes})
		cfg.Interface = "tapa"
		_, sameErr = OpenTap(cfg)
	})
	if err != nil || udpErr != nil {
		t.Fatal(err, udpErr)
	}
	if sameErr == nil || !strings.Contains(sameErr.Error(), "cable cut") {
		t.Errorf("the sending interface: %v", sameErr)
	}
	run(t, tap.Run)
	run(t, udp.Run)
	address := map[bool]string{false: "10.78.0.1", true: "fd78::1"}[v6]
	conn := senderOn(t, p.Far, "tapa", address, v6)
	conn.send(1, 2, 3)
	eventually(t, "the first packets", func() bool { return tap.Snapshot().Universes[2].Heard })
	p.Run(t, p.Far, "nft "+dropRules("netdev", "hook ingress device tapb"))
	other := senderOn(t, p.Far, "tapa", address, v6)
	other.d.CID = cid(5)
	for range 2000 {
		conn.send(1, 2, 3)
	}
	p.Run(t, p.Far, "nft flush chain netdev loss in")
	counters := nftCounters(t, p)
	other.send(1) // another's stream is no business of the tap
	conn.send(1, 2, 3)
	var n, lost uint64
	eventually(t, "the last packets", func() bool {
		n, lost = 0, 0
		for _, u := range tap.Snapshot().Universes {
			n, lost = n+u.Packets, lost+u.Lost
		}
		return n == 6+counters["passed"]
	})
	r := tap.Snapshot()
	if lost != counters["dropped"] || lost == 0 || r.LocalDrops != 0 {
		t.Errorf("lost %d, nftables dropped %d; local drops %d", lost, counters["dropped"], r.LocalDrops)
	}
	if u := r.Universes[3]; u.Heard || u.Universe != 777 {
		t.Errorf("never sent: %+v", u)
	}
	if got := udp.Snapshot().Sources; len(got) != 0 && !v6 {
		t.Errorf("a UDP socket hears the host's own stream: this kernel needs no tap: %+v", got)
	}
}

// without drops a capability from the thread it runs on.
func without(t *testing.T, capability uint) {
	header := unix.CapUserHeader{Version: unix.LINUX_CAPABILITY_VERSION_3}
	var data [2]unix.CapUserData
	if err := unix.Capget(&header, &data[0]); err != nil {
		t.Error(err)
	}
	data[capability/32].Effective &^= 1 << (capability % 32)
	if err := unix.Capset(&header, &data[0]); err != nil {
		t.Error(err)
	}
}

func TestPing(t *testing.T) {
	for _, datagram := range []bool{false, true} {
		name := map[bool]string{false: "raw", true: "datagram"}[datagram]
		t.Run(name, func(t *testing.T) {
			p := sacntest.NewPair(t)
			if datagram {
				sacntest.Output(t, p.Command(t.Context(), p.Near, "sysctl", "-w", "net.ipv4.ping_group_range=0 2147483647"))
			}
			far4, far6, nobody := netip.MustParseAddr(sacntest.FarAddr4), netip.MustParseAddr(sacntest.FarAddr6), netip.MustParseAddr("10.77.0.99")
			nowhere := netip.MustParseAddr("192.0.2.1") // no route
			var said sacntest.Log
			var ping *Ping
			var err error
			inside(t, p.Near, func() {
				if datagram {
					without(t, unix.CAP_NET_RAW)
				}
				ping, err = OpenPing(PingConfig{Targets: []netip.Addr{far4, far6, nobody, nowhere, far4}, Interval: 400 * time.Millisecond, Timeout: 350 * time.Millisecond, Log: slog.New(slog.NewTextHandler(&said, nil))})
			})
			if err != nil {
				t.Fatal(err)
			}
			if ping.v4.datagram != datagram {
				t.Errorf("datagram socket: %v", ping.v4.datagram)
			}
			run(t, ping.Run)
			eventually(t, "answers", func() bool {
				s := ping.Snapshot()
				return s[0].Received > 2 && s[1].Received > 2 && s[2].Lost > 2 && s[3].Lost > 2
			})
			for i, s := range ping.Snapshot() {
				switch s.Address {
				case far4, far6:
					if s.Sent < s.Received || s.RTT <= 0 || s.LastSeen.IsZero() {
						t.Errorf("%+v", s)
					}
				case nobody:
					if s.Received != 0 || s.Answers || !s.LastSeen.IsZero() {
						t.Errorf("%+v", s)
					}
				case nowhere:
					if s.Received != 0 || s.Lost == 0 {
						t.Errorf("%+v", s)
					}
				}
				if i > 3 {
					t.Error("a target twice")
				}
			}
			if got := said.String(); strings.Count(got, "unreachable") != 1 || !strings.Contains(got, nowhere.String()) {
				t.Errorf("of the target without a route it is said: %s", got)
			}
			if got := said.String(); strings.Contains(got, "no longer answers") {
				t.Errorf("of hosts that answer, and of one that never did, it is said: %s", got)
			}
		})
	}
}

// Without the right, each says in one line what would help.
func TestWithoutRawSockets(t *testing.T) {
	p := sacntest.NewPair(t)
	var ping, tap error
	var l *Listener
	var err error
	inside(t, p.Far, func() {
		without(t, unix.CAP_NET_RAW)
		_, ping = OpenPing(PingConfig{Targets: []netip.Addr{netip.MustParseAddr(sacntest.NearAddr4)}})
		_, tap = OpenTap(TapConfig{Interface: sacntest.Interface, Sending: "lo", Universes: []uint16{1}})
		l, err = Open(Config{Interface: sacntest.Interface, Universes: []uint16{1}})
	})
	if err != nil {
		t.Fatal(err)
	}
	run(t, l.Run)
	if ping == nil || !strings.Contains(ping.Error(), "ping_group_range") || strings.Contains(ping.Error(), "\n") {
		t.Errorf("ping: %v", ping)
	}
	if tap == nil || !strings.Contains(tap.Error(), "CAP_NET_RAW") {
		t.Errorf("tap: %v", tap)
	}
	if q := l.Snapshot().Querier; q.Known || q.Reason == "" {
		t.Errorf("querier: %+v", q)
	}
}
