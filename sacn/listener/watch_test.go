//go:build linux

package listener

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// groups is how many E1.31 groups the far end has joined, by iproute2's count.
func groups(t *testing.T, p *sacntest.Pair) int {
	t.Helper()
	var links []struct {
		Maddr []struct{ Family, Address string }
	}
	sacntest.JSON(t, p.Run(t, p.Far, "ip -json maddr show dev yard0"), &links)
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
			got, err = Scan(t.Context(), WatchConfig{Interface: sacntest.Interface, IPv6: v6, Universes: []uint16{1, 2, 3, 4, 5}, Own: cid(1), Priority: 100}, time.Second)
		})
		stop()
		<-done
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Competing) != 3 || len(got.Announcers) != 1 {
			t.Fatalf("%+v", got)
		}
		for i, want := range []CompetingSource{
			{Universe: 2, CID: cid(2), Name: "show \ufffdcomputer", Priority: 150, Precedence: Theirs},
			{Universe: 3, CID: cid(1), Name: "quay laptop", Priority: 100, Precedence: Tie, SameCID: true},
			{Universe: 5, CID: cid(2), Name: "show \ufffdcomputer", Priority: 150, Precedence: Theirs},
		} {
			r := got.Competing[i]
			if !r.Address.IsValid() {
				t.Errorf("%+v", r)
			}
			r.Address = netip.Addr{}
			if r != want {
				t.Errorf("source %d: %+v, want %+v", i, r, want)
			}
		}
		if a := got.Announcers[0]; !slices.Equal(a.Shared, []uint16{2, 5}) || a.Universes != 3 {
			t.Errorf("%+v", a)
		}
	})
}

func TestWatchSample(t *testing.T) {
	p := sacntest.NewPair(t)
	universes := upTo(100)
	var w *Watch
	var err error
	inside(t, p.Far, func() {
		w, err = OpenWatch(WatchConfig{Interface: sacntest.Interface, Universes: universes, Own: cid(1), Priority: 100})
	})
	if err != nil {
		t.Fatal(err)
	}
	w.l.tracker.cfg.Local = func(a netip.Addr) bool { return a == netip.MustParseAddr(sacntest.NearAddr4) }
	run(t, w.l.Run)
	ours, theirs := newSender(t, p.Near, false), newSender(t, p.Near, false)
	theirs.d.CID, theirs.d.Priority = cid(2), 100
	pages, _ := sacn.DiscoveryPages(cid(2), theirs.d.Name, []uint16{90, 300})
	theirs.raw(pages[0], sacn.MulticastAddr4(sacn.DiscoveryUniverse))
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
		most := make(chan int)
		go func() {
			n := 0
			for ctx.Err() == nil {
				n = max(n, groups(t, p))
			}
			most <- n
		}()
		inside(t, p.Far, func() { w.sample(ctx) })
		stop()
		if n := <-most; n != 1+sampleUniverses {
			t.Errorf("%d groups were joined in a sample", n)
		}
	}
	sample(90, 4)
	r := w.Snapshot()
	if len(r.Competing) != 2 || r.Competing[0].Universe != 4 || r.Competing[1].Universe != 90 || r.Competing[1].Precedence != Tie || r.Samples != 1 {
		t.Errorf("%+v", r)
	}
	sample(90) // 4 is looked at again, since another sent there
	r = w.Snapshot()
	if len(r.Competing) != 1 || r.Competing[0].Universe != 90 {
		t.Errorf("%+v", r)
	}
	if n := groups(t, p); n != 1 {
		t.Errorf("%d groups are joined after a sample", n)
	}
}

func TestWatchTakesTurns(t *testing.T) {
	w := &Watch{others: make(map[otherKey]CompetingSource)}
	for u := range uint16(1000) {
		w.cfg.Universes = append(w.cfg.Universes, u+1)
		w.others[otherKey{u + 1, cid(2), netip.Addr{}}] = CompetingSource{Universe: u + 1}
	}
	var seen UniverseSet
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
	w.others = nil
	if chosen := w.choose(nil); len(chosen) != 0 {
		t.Errorf("nothing is sent, but %v sampled", chosen)
	}
}

func TestMembershipLimits(t *testing.T) {
	p := sacntest.NewPair(t)
	universes := upTo(50)
	p.Run(t, p.Far, "sysctl -w net.ipv4.igmp_max_memberships=5")
	running(t, p, Config{Universes: universes})
	if n := groups(t, p); n != 51 {
		t.Errorf("%d groups joined with 5 a socket", n)
	}
	p.Run(t, p.Far, "sysctl -w net.ipv4.igmp_max_memberships=0")
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
	universes := upTo(150)
	l := running(t, p, Config{Universes: universes})
	if err := unix.SetsockoptInt(l.sock.fd, unix.SOL_SOCKET, unix.SO_RCVBUF, 512<<10); err != nil {
		t.Fatal(err)
	}
	s := newSender(t, p.Near, false)
	s.send(universes...)
	eventually(t, "the first packets", func() bool { n, _ := packets(l.Snapshot()); return n == 150 })
	l.mu.Lock()
	for range 40 {
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

// Without CAP_NET_ADMIN the kernel gives no more than net.core.rmem_max; for a
// thousand universes that may be too little, and then the remedy is said.
func TestSmallBufferIsSaid(t *testing.T) {
	p := sacntest.NewPair(t)
	universes := upTo(10000)
	var said bytes.Buffer
	var l *Listener
	var err error
	inside(t, p.Far, func() {
		without(t, unix.CAP_NET_ADMIN)
		l, err = Open(Config{Interface: sacntest.Interface, Universes: universes, Log: slog.New(slog.NewTextHandler(&said, nil))})
	})
	if err != nil {
		t.Fatal(err)
	}
	run(t, l.Run)
	s := l.Snapshot().Socket
	want := fmt.Sprintf("sysctl -w net.core.rmem_max=%d", s.Asked)
	if small := s.Buffer < s.Needed; strings.Contains(said.String(), want) != small {
		t.Errorf("too small: %v; it said %q", small, said.String())
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
