package source

import (
	"encoding/json"
	"fmt"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// headFields are what tshark reads of a frame's headers. Left out are only IPv4's
// identification, which means nothing in what must not be fragmented, the
// UDP source port, which the kernel gives out anew to each program, the checksum,
// which covers it, and IPv6's flow label, which the kernel draws at random.
var headFields = strings.Fields(`eth.dst eth.src eth.type
	ip.version ip.hdr_len ip.dsfield ip.len ip.flags ip.frag_offset ip.ttl ip.proto ip.src ip.dst
	ipv6.version ipv6.tclass ipv6.plen ipv6.nxt ipv6.hlim ipv6.src ipv6.dst
	udp.dstport udp.length`)

// frames reads a capture: headers and payload of the first packets of each
// group, by group and number.
func frames(t *testing.T, c *sacntest.Capture) map[string]string {
	t.Helper()
	got := map[string]string{}
	nth := map[string]int{}
	dst4, dst6 := slices.Index(headFields, "ip.dst"), slices.Index(headFields, "ipv6.dst")
	for _, row := range c.Fields("udp.dstport == 5568", append(headFields, "udp.payload")...) {
		group, payload := row[dst4]+row[dst6], row[len(row)-1]
		if slot1 := 2 * 126; len(payload) > slot1 {
			payload = payload[:slot1] + payload[slot1+2:] // a skipped frame changes what it shows
		}
		if nth[group]++; nth[group] <= 12 {
			got[fmt.Sprint(group, ", packet ", nth[group])] = strings.Join(row[:len(row)-1], " ") + " " + payload
		}
	}
	return got
}

// Header for header and octet for octet, the frames are those that the kernel
// writes; and tshark finds their checksums right, for odd lengths as well.
func TestPacketFrames(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, "ethtool")
	for _, ipv6 := range []bool{false, true} {
		p := sacntest.NewPair(t)
		// A virtual cable needs no checksums; a card that makes none leaves them to the kernel.
		if out, err := p.Command(t.Context(), p.Near, "ethtool", "-K", sacntest.Interface, "tx", "off").CombinedOutput(); err != nil {
			t.Fatalf("ethtool: %v: %s", err, out)
		}
		o := order{IPv6: ipv6, Sync: 9, Slots: []int{512, 511, 1, 2, 170, 7, 33, 32, 31}}
		send := func(packet bool) *sacntest.Capture {
			capture := p.Capture(t, p.Far)
			capture.Checksums = packet
			o.Packet = packet
			prog := startSender(t, p, o)
			prog.Says(10*time.Second, "started")
			time.Sleep(500 * time.Millisecond)
			st := stopSender(t, prog)
			if n := len(capture.Fields("udp.dstport == 5568", "frame.number")); n != int(st.Packets) {
				t.Errorf("%d frames arrived of %d", n, st.Packets)
			}
			return capture
		}
		byKernel := frames(t, send(false))
		capture := send(true)
		ours := frames(t, capture)
		for which, want := range byKernel {
			if got := ours[which]; got != want {
				t.Errorf("IPv6 %v, %s:\n%s\nby the kernel:\n%s", ipv6, which, got, want)
			}
		}
		if want := 9*12 + 1; len(byKernel) != want { // and one of discovery
			t.Errorf("IPv6 %v: %d frames were compared, want %d", ipv6, len(byKernel), want)
		}
		status := map[string]int{}
		for _, row := range capture.Fields("udp.dstport == 5568", "ip.checksum.status", "udp.checksum.status") {
			status[strings.Join(row, " ")]++
		}
		good := "1 1"
		if ipv6 {
			good = " 1" // its header has none
		}
		if len(status) != 1 || status[good] == 0 {
			t.Errorf("IPv6 %v: checksum states %v, want %q alone", ipv6, status, good)
		}
	}
}

// The frames follow the interface: its addresses of both kinds, its MTU, and its
// replacement. A controller's own stream goes by its socket.
func TestPacketFollowsInterface(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	near, far := "-n "+p.Near+" ", "-n "+p.Far+" "
	prog := startSender(t, p, order{Packet: true, Streams: []Stream{
		{Universe: 1, Slots: 512}, {Universe: 2, Slots: 512, Unicast: netip.MustParseAddr(sacntest.FarAddr4)}, {Universe: 3, Slots: 100},
	}})
	prog.Says(10*time.Second, "started")
	countArrivals(t, p, sacntest.NearAddr4)(sacntest.NearAddr4)

	ip(t, near+"link set yard0 address 02:00:00:00:00:77")
	prog.Says(10*time.Second, "sockets follow")
	seesFrom(t, p, "02:00:00:00:00:77", "ip")

	ip(t, near+"addr flush dev yard0")
	prog.Says(10*time.Second, `state="no address"`)
	ip(t, near+"addr add 10.77.0.5/24 dev yard0")
	seesFrom(t, p, "02:00:00:00:00:77", "ip.src == 10.77.0.5")

	ip(t, near+"link del yard0")
	lines(t, prog, "interface cannot carry frames", 2)
	ip(t, near+"link add yard0 address 02:00:00:00:00:78 type veth peer name yard0 netns "+p.Far)
	ip(t, near+"addr add 10.77.0.6/24 dev yard0")
	ip(t, near+"link set yard0 up")
	ip(t, far+"link set yard0 up")
	seesFrom(t, p, "02:00:00:00:00:78", "ip.src == 10.77.0.6")

	ip(t, near+"link set yard0 mtu 600") // the short stream fits
	time.Sleep(300 * time.Millisecond)
	capture := p.Capture(t, p.Far)
	time.Sleep(500 * time.Millisecond)
	seqs, _ := universes(t, capture, "ip.src == 10.77.0.6")
	if len(seqs[1]) != 0 || len(seqs[3]) < 5 {
		t.Errorf("an MTU of 600: %d long packets, %d short ones", len(seqs[1]), len(seqs[3]))
	}
	if st := stopSender(t, prog); errorsOf(st, "EMSGSIZE") == 0 {
		t.Errorf("EMSGSIZE was not reported: %+v", st.SendErrors)
	}
}

// An interface on top of another has an address and a hardware address of its own, and
// they change on their own. VLANs are such interfaces; where this kernel has none, one
// that shares its lower one by hardware address (macvlan) stands for them.
func TestPacketOnTopOfAnother(t *testing.T) {
	t.Parallel()
	for kind, filter := range map[string]string{"vlan id 5": "vlan.id == 5 && ", "macvlan mode bridge": ""} {
		p := sacntest.NewPair(t)
		upper := "-n " + p.Near + " link add link yard0 name upper address 02:00:00:00:00:55 type "
		if out, err := exec.Command("ip", strings.Fields(upper+kind)...).CombinedOutput(); err != nil {
			if strings.HasPrefix(kind, "vlan") && strings.Contains(string(out), "Unknown device type") {
				t.Log("this kernel has no VLAN interfaces: not shown for them")
				continue
			}
			t.Fatalf("%v: %s", err, out)
		}
		near := "-n " + p.Near + " "
		ip(t, near+"addr add 10.78.0.1/24 dev upper")
		ip(t, near+"link set upper up")
		prog := startSender(t, p, order{Packet: true, On: "upper", Slots: []int{512}})
		prog.Says(10*time.Second, "started")
		seesFrom(t, p, "02:00:00:00:00:55", filter+"ip.src == 10.78.0.1")

		ip(t, near+"link set upper address 02:00:00:00:00:56")
		ip(t, near+"link set yard0 address 02:00:00:00:00:57") // is not the sender's
		seesFrom(t, p, "02:00:00:00:00:56", filter+"ip.src == 10.78.0.1")
		ip(t, near+"addr flush dev upper")
		ip(t, near+"addr add 10.78.0.2/24 dev upper")
		seesFrom(t, p, "02:00:00:00:00:56", filter+"ip.src == 10.78.0.2")
		stopSender(t, prog)
	}
}

// seesFrom checks that universe 1 arrives from a hardware address, in packets that a filter
// of tshark's takes.
func seesFrom(t *testing.T, p *sacntest.Pair, hardware, filter string) {
	t.Helper()
	for range 5 {
		capture := p.CaptureOnly(t, p.Far, "ether src "+hardware)
		time.Sleep(500 * time.Millisecond)
		if seqs, _ := universes(t, capture, filter); len(seqs[1]) > 5 && unbroken(seqs[1]) {
			return
		}
	}
	t.Errorf("nothing comes from %s with %s", hardware, filter)
}

// Without the right to it, and where no Ethernet is, there is one sentence.
func TestPacketRefusals(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	sacntest.NeedTool(t, "setpriv")
	b, err := json.Marshal(order{Packet: true, Slots: []int{512}})
	if err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := p.Command(t.Context(), p.Near, "setpriv", "--bounding-set", "-net_raw", "--inh-caps", "-net_raw", self, string(b))
	cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1")
	out, err := cmd.CombinedOutput()
	if want := "packet sockets are not permitted here (operation not permitted); run as root or with CAP_NET_RAW"; err == nil || !strings.Contains(string(out), want) || cmd.ProcessState.ExitCode() != 2 {
		t.Errorf("without CAP_NET_RAW: %v: %s", err, out)
	}
	prog := p.Start(t, p.Near, `{"Packet":true,"On":"lo","Slots":[512]}`)
	if code := prog.Wait(10 * time.Second); code != 2 || !strings.HasPrefix(prog.Stderr(), "interface lo is not Ethernet") {
		t.Errorf("exit %d, %q", code, prog.Stderr())
	}
}

// Only the sending thread goes before others: proc(5) has the policy in field 41
// of stat, and SCHED_FIFO is 1 (sched(7)). Where that is not permitted, one line says so.
func TestRealtime(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	prog := startSender(t, p, order{Realtime: true, Slots: []int{512}})
	prog.Says(10*time.Second, "started")
	tasks, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/stat", prog.Pid()))
	if err != nil {
		t.Fatal(err)
	}
	first := 0
	for _, task := range tasks {
		if f := strings.Fields(read(task)); len(f) > 40 && f[40] == "1" {
			first++
		}
	}
	stopSender(t, prog)
	warned := strings.Count(prog.Stderr(), "frames are sent without real-time priority")
	if first+warned != 1 {
		t.Errorf("%d of %d threads go first, with %d warnings", first, len(tasks), warned)
	}
	t.Logf("%d threads go first", first)
}

// The numerical example of RFC 1071, section 3.
func TestSum(t *testing.T) {
	if got := sum(0, []byte{0x00, 0x01, 0xf2, 0x03, 0xf4, 0xf5, 0xf6, 0xf7}); got != 0xddf2 {
		t.Errorf("%#x, want 0xddf2", got)
	}
}

// The hardware addresses of groups, by the standards' own rules.
func TestPacketGroups(t *testing.T) {
	for group, want := range map[netip.Addr]string{
		sacn.MulticastAddr4(1):                 "01:00:5e:7f:00:01", // RFC 1112, 6.4
		sacn.MulticastAddr4(63999):             "01:00:5e:7f:f9:ff",
		netip.MustParseAddr("224.138.193.200"): "01:00:5e:0a:c1:c8", // 23 bits, not 24
		sacn.MulticastAddr6(0x1234):            "33:33:83:00:12:34", // RFC 2464, 7
	} {
		from := netip.MustParseAddrPort("10.0.0.1:9")
		if group.Is6() {
			from = netip.MustParseAddrPort("[fe80::1]:9")
		}
		p := packetSocket{head: packetHead(make(net.HardwareAddr, 6), from, 1)}
		f := p.frame(make([]byte, headroom), group.AsSlice())
		if got := net.HardwareAddr(f[virtualHeader:][:6]).String(); got != want {
			t.Errorf("%s goes to %s, want %s", group, got, want)
		}
	}
}
