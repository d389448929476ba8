//go:build linux

package listener

import (
	"context"
	"encoding/json"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// command runs a program in a namespace and returns what it printed.
func command(t *testing.T, p *sacntest.Pair, ns, line string) string {
	t.Helper()
	words := strings.Fields(line)
	out, err := p.Command(context.Background(), ns, words[0], words[1:]...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v: %s", line, err, out)
	}
	return string(out)
}

// groups is how many E1.31 groups the far end has joined, by iproute2's count.
func groups(t *testing.T, p *sacntest.Pair) int {
	t.Helper()
	var links []struct {
		Maddr []struct{ Family, Address string }
	}
	out := command(t, p, p.Far, "ip -json maddr show dev "+sacntest.Interface)
	if err := json.Unmarshal([]byte(out), &links); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, m := range links[0].Maddr {
		if a, err := netip.ParseAddr(m.Address); err == nil {
			if _, ok := sacn.GroupUniverse(a); ok {
				n++
			}
		}
	}
	return n
}

func TestLook(t *testing.T) {
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		theirs := newSender(t, p.Near, v6)
		theirs.d.CID, theirs.d.Name, theirs.d.Priority = cid(2), mustName("show \x1bcomputer"), 150
		twin := newSender(t, p.Near, v6)
		preview := newSender(t, p.Near, v6)
		preview.d.CID, preview.d.Options = cid(3), sacn.Preview
		pages, err := sacn.DiscoveryPages(cid(2), theirs.d.Name, []uint16{2, 5, 6000})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan bool)
		go func() {
			defer close(done)
			for ctx.Err() == nil {
				theirs.send(2, 5, 6000)
				twin.send(3)
				preview.send(1)
				theirs.raw(pages[0], theirs.group(sacn.DiscoveryUniverse))
				time.Sleep(25 * time.Millisecond)
			}
		}()
		var got WatchReport
		inside(t, p.Far, func() {
			got, err = Look(t.Context(), WatchConfig{Interface: sacntest.Interface, IPv6: v6, Universes: []uint16{1, 2, 3, 4, 5}, Own: cid(1), Priority: 100}, time.Second)
		})
		stop()
		<-done
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Rivals) != 3 || len(got.Announcers) != 1 {
			t.Fatalf("%+v", got)
		}
		for i, want := range []Rival{
			{Universe: 2, CID: cid(2), Name: "show \ufffdcomputer", Priority: 150, Verdict: Theirs},
			{Universe: 3, CID: cid(1), Name: "quay laptop", Priority: 100, Verdict: Tie, Twin: true},
			{Universe: 5, CID: cid(2), Name: "show \ufffdcomputer", Priority: 150, Verdict: Theirs},
		} {
			r := got.Rivals[i]
			if r.Seen.IsZero() || !r.Address.IsValid() {
				t.Errorf("%+v", r)
			}
			r.Seen, r.Address = time.Time{}, netip.Addr{}
			if r != want {
				t.Errorf("rival %d: %+v, want %+v", i, r, want)
			}
		}
		if a := got.Announcers[0]; !slices.Equal(a.Shared, []uint16{2, 5}) || len(a.Universes) != 3 {
			t.Errorf("%+v", a)
		}
	})
}

func TestWatchSample(t *testing.T) {
	p := sacntest.NewPair(t)
	universes := make([]uint16, 100)
	for i := range universes {
		universes[i] = uint16(i + 1)
	}
	var w *Watch
	var err error
	inside(t, p.Far, func() {
		w, err = OpenWatch(WatchConfig{Interface: sacntest.Interface, Universes: universes, Own: cid(1), Priority: 100})
	})
	if err != nil {
		t.Fatal(err)
	}
	run(t, w.l.Run)
	ours, theirs := newSender(t, p.Near, false), newSender(t, p.Near, false)
	theirs.d.CID, theirs.d.Priority = cid(2), 100
	pages, _ := sacn.DiscoveryPages(cid(2), theirs.d.Name, []uint16{90, 300})
	theirs.raw(pages[0], sacn.Group4(sacn.DiscoveryUniverse))
	eventually(t, "the announcer", func() bool { return len(w.Snapshot().Announcers) == 1 })
	if n := groups(t, p); n != 1 {
		t.Errorf("%d groups are joined between samples, want that of discovery alone", n)
	}

	sample := func(busy ...uint16) {
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan bool)
		defer func() { stop(); <-done }()
		go func() {
			defer close(done)
			for ctx.Err() == nil {
				ours.send(universes...)
				theirs.send(busy...)
				time.Sleep(25 * time.Millisecond)
			}
		}()
		go func() {
			time.Sleep(time.Second)
			if n := groups(t, p); n != 1+sampleUniverses {
				t.Errorf("%d groups are joined in a sample", n)
			}
		}()
		inside(t, p.Far, func() { w.sample(ctx) })
	}
	sample(90, 4)
	r := w.Snapshot()
	if len(r.Rivals) != 2 || r.Rivals[0].Universe != 4 || r.Rivals[1].Universe != 90 || r.Rivals[1].Verdict != Tie || r.Samples != 1 || r.Sampled != 64 {
		t.Errorf("%+v", r)
	}
	sample(90) // 4 is looked at again, since it had a rival
	r = w.Snapshot()
	if len(r.Rivals) != 1 || r.Rivals[0].Universe != 90 || r.Sampled != 100 {
		t.Errorf("%+v", r)
	}
	if n := groups(t, p); n != 1 {
		t.Errorf("%d groups are joined after a sample", n)
	}
}

func TestWatchTakesTurns(t *testing.T) {
	w := &Watch{rivals: make(map[rivalKey]Rival)}
	for u := range uint16(1000) {
		w.cfg.Universes = append(w.cfg.Universes, u+1)
		w.rivals[rivalKey{u + 1, cid(2)}] = Rival{Universe: u + 1}
	}
	var seen Set
	for range 32 { // half of each sample is for the turn
		chosen := w.choose([]Announcer{{Shared: w.cfg.Universes}})
		if len(chosen) != 64 {
			t.Fatalf("a sample of %d", len(chosen))
		}
		for _, u := range chosen {
			seen.Add(u)
		}
	}
	if n := len(seen.List()); n != 1000 {
		t.Errorf("%d universes of 1000 after 32 samples", n)
	}
	w.cfg.Universes = nil
	w.rivals = nil
	if chosen := w.choose(nil); len(chosen) != 0 {
		t.Errorf("nothing is sent, but %v sampled", chosen)
	}
}

const tapRules = `table netdev loss {
	counter passed {}
	counter dropped {}
	chain in {
		type filter hook ingress device tapb priority 0;
		udp dport 5568 numgen random mod 100 < 7 counter name dropped drop
		udp dport 5568 counter name passed
	}
}`

// Two interfaces of one host, wired together: what leaves one arrives at the
// other from the host's own address, so no UDP socket may hear it.
func TestTap(t *testing.T) {
	sacntest.NeedTool(t, "nft")
	p := sacntest.NewPair(t)
	for _, line := range []string{
		"ip link add tapa type veth peer name tapb",
		"ip link set tapa up", "ip link set tapb up",
		"ip addr add 10.78.0.1/24 dev tapa", "ip addr add 10.79.0.1/24 dev tapb",
		"ip route del 239.255.0.0/16", "ip route add 239.255.0.0/16 dev tapa",
	} {
		command(t, p, p.Far, line)
	}
	universes := []uint16{1, 2, 3, 777}
	cfg := TapConfig{Interface: "tapb", Sending: "tapa", Universes: universes, Own: cid(1)}
	var tap *Tap
	var udp *Listener
	var err, udpErr, sameErr error
	var conn *sender
	inside(t, p.Far, func() {
		tap, err = OpenTap(cfg)
		udp, udpErr = Open(Config{Interface: "tapb", Universes: universes})
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
	conn = senderOn(t, p.Far, "tapa", "10.78.0.1", false)
	conn.send(1, 2, 3)
	eventually(t, "the first packets", func() bool { return tap.Snapshot().Universes[2].Heard })
	nft := p.Command(context.Background(), p.Far, "nft", "-f", "-")
	nft.Stdin = strings.NewReader(tapRules)
	if out, err := nft.CombinedOutput(); err != nil {
		t.Fatalf("nft: %v: %s", err, out)
	}
	other := senderOn(t, p.Far, "tapa", "10.78.0.1", false)
	other.d.CID = cid(5)
	for range 2000 {
		conn.send(1, 2, 3)
	}
	command(t, p, p.Far, "nft flush chain netdev loss in")
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
	if got := udp.Snapshot().Sources; len(got) != 0 {
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
				if out, err := p.Command(t.Context(), p.Near, "sysctl", "-w", "net.ipv4.ping_group_range=0 2147483647").CombinedOutput(); err != nil {
					t.Fatalf("%v: %s", err, out)
				}
			}
			far4, far6, nobody := netip.MustParseAddr(sacntest.FarAddr4), netip.MustParseAddr(sacntest.FarAddr6), netip.MustParseAddr("10.77.0.99")
			nowhere := netip.MustParseAddr("192.0.2.1") // no route
			var ping *Ping
			var err error
			inside(t, p.Near, func() {
				if datagram {
					without(t, unix.CAP_NET_RAW)
				}
				ping, err = OpenPing(PingConfig{Targets: []netip.Addr{far4, far6, nobody, nowhere, far4}, Interval: 200 * time.Millisecond, Timeout: 150 * time.Millisecond})
			})
			if err != nil {
				t.Fatal(err)
			}
			if ping.v4.datagram != datagram {
				t.Errorf("datagram socket: %v", ping.v4.datagram)
			}
			run(t, ping.Run)
			eventually(t, "answers", func() bool { s := ping.Snapshot(); return s[0].Received > 4 && s[1].Received > 4 && s[2].Lost > 2 })
			for i, s := range ping.Snapshot() {
				switch s.Address {
				case far4, far6:
					if s.Lost > s.Received/2 || s.RTT <= 0 || s.LastSeen.IsZero() {
						t.Errorf("%+v", s)
					}
				case nobody:
					if s.Received != 0 || s.Answers || !s.LastSeen.IsZero() {
						t.Errorf("%+v", s)
					}
				case nowhere:
					if s.Received != 0 || !strings.Contains(s.Error, "unreachable") || s.Lost == 0 {
						t.Errorf("%+v", s)
					}
				}
				if i > 3 {
					t.Error("a target twice")
				}
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

func TestMembershipLimits(t *testing.T) {
	p := sacntest.NewPair(t)
	universes := make([]uint16, 50)
	for i := range universes {
		universes[i] = uint16(i + 1)
	}
	command(t, p, p.Far, "sysctl -w net.ipv4.igmp_max_memberships=5")
	running(t, p, Config{Universes: universes})
	if n := groups(t, p); n != 51 {
		t.Errorf("%d groups joined with 5 a socket", n)
	}
	command(t, p, p.Far, "sysctl -w net.ipv4.igmp_max_memberships=0")
	var err error
	inside(t, p.Far, func() { _, err = Open(Config{Interface: sacntest.Interface, Universes: universes}) })
	if err == nil || !strings.Contains(err.Error(), "universe 64214") || !strings.Contains(err.Error(), "sysctl -w net.ipv4.igmp_max_memberships=20") {
		t.Errorf("%v", err)
	}
	inside(t, p.Far, func() { _, err = Open(Config{Interface: "yard9", Universes: universes}) })
	if err == nil || !strings.Contains(err.Error(), `"yard9"; there are lo, `) {
		t.Errorf("%v", err)
	}
}

// What the socket drops because nobody reads it is this host's fault, and said
// to be, to the packet.
func TestOwnDropsAreLocal(t *testing.T) {
	p := sacntest.NewPair(t)
	universes := make([]uint16, 150)
	for i := range universes {
		universes[i] = uint16(i + 1)
	}
	l := running(t, p, Config{Universes: universes})
	s := newSender(t, p.Near, false)
	s.send(universes...)
	eventually(t, "the first packets", func() bool { n, _ := packets(l.Snapshot()); return n == 150 })
	l.mu.Lock()
	for range 80 {
		s.send(universes...)
	}
	l.mu.Unlock()
	eventually(t, "an empty socket", func() bool {
		before, _ := packets(l.Snapshot())
		time.Sleep(50 * time.Millisecond)
		after, _ := packets(l.Snapshot())
		return before == after
	})
	s.send(universes...)
	eventually(t, "the drops", func() bool { return l.Snapshot().LocalDrops > 0 })
	time.Sleep(1100 * time.Millisecond) // the poll after that one
	r := l.Snapshot()
	n, lost := packets(r)
	if r.LocalDrops != uint64(s.sent)-n || lost != r.LocalDrops {
		t.Errorf("%d of %d packets came, %d lost, %d dropped by the socket", n, s.sent, lost, r.LocalDrops)
	}
	local := uint64(0)
	for _, st := range streamsOf(r) {
		local += st.LostLocal
	}
	if local != lost {
		t.Errorf("%d of %d lost are marked local", local, lost)
	}
}

func TestQuerierHeard(t *testing.T) {
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		l := running(t, p, Config{IPv6: v6, Universes: []uint16{1}})
		if q := l.Snapshot().Querier; !q.Known || q.Queries != 0 {
			t.Fatalf("%+v", q)
		}
		sendQuery(t, p.Near, v6)
		eventually(t, "the query", func() bool { return l.Snapshot().Querier.Queries == 1 })
	})
}

func TestSnoopingSuspected(t *testing.T) {
	start := epoch
	report := func(after time.Duration, q QuerierState, streams ...Stream) *Report {
		r := &Report{Since: start, Querier: q}
		r.At = start.Add(after)
		r.Sources = []Source{{Streams: streams}}
		return r
	}
	heard := func(after time.Duration) Stream { return Stream{Last: start.Add(after)} }
	alive := Stream{Live: true, Last: start.Add(10 * time.Minute)}
	known := QuerierState{Known: true, Since: start}
	for _, c := range []struct {
		name string
		r    *Report
		want bool
	}{
		{"died at 4:20, others alive", report(10*time.Minute, known, heard(260*time.Second), alive), true},
		{"died at 4:20, all of them", report(10*time.Minute, known, heard(260*time.Second)), true},
		{"died after ten seconds", report(10*time.Minute, known, heard(10*time.Second), alive), false},
		{"died after an hour", report(2*time.Hour, known, heard(time.Hour), alive), false},
		{"terminated at 4:20", report(10*time.Minute, known, Stream{Terminated: true, Last: start.Add(260 * time.Second)}), false},
		{"a querier", report(10*time.Minute, QuerierState{Known: true, Since: start, Queries: 3}, heard(260*time.Second), alive), false},
		{"not known", report(10*time.Minute, QuerierState{Since: start}, heard(260*time.Second), alive), false},
		{"all alive", report(10*time.Minute, known, alive), false},
	} {
		if got := c.r.SnoopingSuspected(); (got != "") != c.want {
			t.Errorf("%s: %q", c.name, got)
		}
	}
}
