package source

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/netip"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// order is what a test asks of this binary when it runs as a sender.
type order struct {
	Streams []Stream
	Count   int // in place of Streams: so many multicast universes
	IPv6    bool
	Sync    uint16
	Spread  float64
	Raw     bool // keep every lateness, to report quantiles

	Packet, Realtime bool
	NoLook           bool // act on what the kernel tells of alone

	On    string // interface; "": the pair's
	Slots []int  // in place of Streams: multicast universes from 1
}

// report is what such a sender prints when it has ended.
type report struct {
	Stats           Stats
	Goroutines      int     // before the end
	P50, P99, Worst float64 // lateness of frames' first packets, in microseconds
}

func TestMain(m *testing.M) {
	if os.Getenv(sacntest.AsProgram) != "" {
		os.Exit(sender(os.Args[1]))
	}
	os.Exit(sacntest.Run(m))
}

// sender sends until SIGTERM, then prints its report as JSON.
func sender(arg string) int {
	var o order
	if err := json.Unmarshal([]byte(arg), &o); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	cfg := testConfig()
	cfg.Interface, cfg.IPv6, cfg.SyncAddress, cfg.Spread = sacntest.Interface, o.IPv6, o.Sync, o.Spread
	cfg.Log = slog.New(slog.NewTextHandler(os.Stderr, nil))
	cfg.Packet, cfg.Realtime = o.Packet, o.Realtime
	if o.On != "" {
		cfg.Interface = o.On
	}
	for i, n := range o.Slots {
		o.Streams = append(o.Streams, Stream{Universe: uint16(i + 1), Slots: n})
	}
	if o.Count > 0 {
		o.Streams = multicasts(o.Count)
	}
	var due time.Time
	scene := Scene{Streams: o.Streams, Render: func(f Frame, slots [][]byte) {
		count(f, slots)
		due = f.Deadline
	}}
	s, err := Open(cfg, scene)
	if _, ok := errors.AsType[*UsageError](err); ok {
		fmt.Fprintln(os.Stderr, err)
		return 2
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	if o.NoLook {
		s.env.lookTime = time.Hour
	}
	var late []float64
	if o.Raw {
		late = make([]float64, 0, 1<<16)
		sleep := s.env.sleepUntil
		s.env.sleepUntil = func(t time.Time) {
			sleep(t)
			if t.Equal(due) {
				late = append(late, float64(time.Since(t).Nanoseconds())/1e3)
			}
		}
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	goroutines := make(chan int, 1)
	context.AfterFunc(ctx, func() { goroutines <- runtime.NumGoroutine() })
	go func() {
		<-s.Started()
		fmt.Fprintln(os.Stderr, "started")
	}()
	if err := s.Run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	r := report{Stats: s.Stats(), Goroutines: <-goroutines}
	if n := len(late); n > 0 {
		late = late[min(40, n/2):] // the first second: cold caches, the neighbour table fills
		slices.Sort(late)
		n = len(late)
		r.P50, r.P99, r.Worst = late[n/2], late[n*99/100], late[n-1]
	}
	if err := json.NewEncoder(os.Stdout).Encode(r); err != nil {
		return 1
	}
	return 0
}

func startSender(t *testing.T, p *sacntest.Pair, o order) *sacntest.Program {
	t.Helper()
	b, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	return p.Start(t, p.Near, string(b))
}

// stopSender ends it and returns its counters.
func stopSender(t *testing.T, prog *sacntest.Program) Stats {
	t.Helper()
	prog.Stop()
	var r report
	prog.JSON(&r)
	return r.Stats
}

func ip(t *testing.T, args string) {
	t.Helper()
	sacntest.Output(t, exec.Command("ip", strings.Fields(args)...))
}

func errorsOf(st Stats, errno string) uint64 {
	for _, e := range st.SendErrors {
		if e.Errno == errno {
			return e.Count
		}
	}
	return 0
}

// universes reads, as tshark does, the sequence numbers of each universe in the
// order of arrival, and how many packets at its end are terminated.
func universes(t *testing.T, c *sacntest.Capture, filter string) (seqs map[int][]int, ended map[int]int) {
	t.Helper()
	seqs, ended = map[int][]int{}, map[int]int{}
	for _, row := range c.Fields(filter+" && acn.dmx.universe && !icmp && !icmpv6", "acn.dmx.universe", "acn.dmx.seq_number", "acn.dmx.option_s") {
		u, err1 := strconv.Atoi(row[0])
		seq, err2 := strconv.Atoi(row[1])
		if err := errors.Join(err1, err2); err != nil {
			t.Fatalf("%q: %v", row, err)
		}
		seqs[u] = append(seqs[u], seq)
		if row[2] == "1" || row[2] == "True" {
			ended[u]++
		}
	}
	return seqs, ended
}

// unbroken reports whether sequence numbers count up by one.
func unbroken(seqs []int) bool {
	for i := 1; i < len(seqs); i++ {
		if seqs[i] != (seqs[i-1]+1)%256 {
			return false
		}
	}
	return true
}

// Multicast, unicast over both families, a controller that refuses and one that
// is not there: the first three lose nothing by the last two.
func TestWireEachForItself(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	capture := p.Capture(t, p.Far)
	prog := startSender(t, p, order{Sync: 20, Streams: []Stream{
		{Universe: 1, Slots: 512},
		{Universe: 2, Slots: 512, Unicast: netip.MustParseAddr(sacntest.FarAddr4)}, // its port is closed
		{Universe: 3, Slots: 512, Unicast: netip.MustParseAddr("10.77.0.77")},      // nobody has this address
		{Universe: 4, Slots: 512, Unicast: netip.MustParseAddr("2001:db8::1")},     // no route leads there
		{Universe: 5, Slots: 512, Unicast: netip.MustParseAddr(sacntest.FarAddr6)},
		{Universe: 6, Slots: 512},
	}})
	prog.Says(10*time.Second, "started")
	time.Sleep(5 * time.Second)
	st := stopSender(t, prog)
	seqs, ended := universes(t, capture, "!_ws.malformed")
	frames := int(st.Frames)
	if frames < 180 || st.Skipped > 20 {
		t.Logf("%d frames, %d skipped: a busy machine", frames, st.Skipped)
	}
	for _, u := range []int{1, 2, 5, 6} {
		if len(seqs[u]) != frames || !unbroken(seqs[u]) || ended[u] != terminationFrames {
			t.Errorf("universe %d: %d packets for %d frames, unbroken: %v, %d terminated", u, len(seqs[u]), frames, unbroken(seqs[u]), ended[u])
		}
	}
	for _, u := range []int{3, 4} {
		if len(seqs[u]) != 0 {
			t.Errorf("universe %d: %d packets arrived", u, len(seqs[u]))
		}
	}
	for _, errno := range []string{"ECONNREFUSED", "ENETUNREACH"} {
		if errorsOf(st, errno) == 0 {
			t.Errorf("%s was not reported: %+v", errno, st.SendErrors)
		}
	}
	if st.Lateness.Count != st.Frames {
		t.Errorf("%d latenesses of %d frames", st.Lateness.Count, st.Frames)
	}
}

func TestWireIPv6(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	capture := p.Capture(t, p.Far)
	prog := startSender(t, p, order{IPv6: true, Streams: []Stream{{Universe: 7962, Slots: 170}}})
	prog.Says(10*time.Second, "started")
	time.Sleep(time.Second)
	st := stopSender(t, prog)
	// ff18::8300:1f1a is the project's check value for universe 7962 (R3).
	seqs, ended := universes(t, capture, "ipv6.dst == ff18::8300:1f1a && ipv6.hlim == 1 && udp.dstport == 5568")
	if got := seqs[7962]; len(got) != int(st.Frames) || !unbroken(got) || ended[7962] != terminationFrames {
		t.Errorf("%d packets for %d frames, %d terminated", len(got), st.Frames, ended[7962])
	}
}

// A queue that is full loses packets: they are counted as errors, and what is
// counted as sent arrives.
func TestWireFullQueue(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, "tc")
	p := sacntest.NewPair(t)
	sacntest.Output(t, p.Command(t.Context(), p.Near, "tc", "qdisc", "add", "dev", sacntest.Interface, "root", "tbf", "rate", "4mbit", "burst", "3000", "limit", "10000"))
	capture := p.Capture(t, p.Far)
	prog := startSender(t, p, order{Streams: multicasts(40)}) // 8 Mbit/s
	prog.Says(10*time.Second, "packets could not be sent")
	st := stopSender(t, prog)
	time.Sleep(200 * time.Millisecond) // the queue drains
	arrived := len(capture.Fields("udp.dstport == 5568", "frame.number"))
	if lost := errorsOf(st, "ENOBUFS"); lost == 0 || arrived != int(st.Packets) {
		t.Errorf("%d packets arrived, %d were counted as sent, %d as lost to a full queue", arrived, st.Packets, lost)
	}
}

// An interface that cannot serve is refused in one sentence that names the others.
func TestWireRefusals(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	o := order{Streams: multicasts(1)}
	for _, c := range []struct {
		do   string
		ipv6 bool
		want string
	}{
		{"link set yard0 mtu 665", false, "interface yard0 has an MTU of 665, a full packet over IPv4 needs 666; raise it"},
		{"link set yard0 mtu 665", true, "interface yard0 has no IPv6 address; give it one, or choose another: lo (127.0.0.1), yard0 (10.77.0.1)"},
		{"addr flush dev yard0", false, "interface yard0 has no IPv4 address; give it one, or choose another: lo (127.0.0.1), yard0 (no address)"},
		{"link set yard0 down", false, "interface yard0 is down; bring it up, or choose another: lo (127.0.0.1), yard0 (down)"},
		{"link del yard0", false, `there is no interface "yard0"; there are lo (127.0.0.1)`},
	} {
		ip(t, "-n "+p.Near+" "+c.do)
		o.IPv6 = c.ipv6
		prog := startSender(t, p, o)
		if code := prog.Wait(10 * time.Second); code != 2 || prog.Stderr() != c.want+"\n" {
			t.Errorf("%s: exit %d, %q", c.do, code, prog.Stderr())
		}
	}
}

// The kernel's own tools say the same of route and neighbour table.
func TestWireAdvice(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	o := order{Streams: multicasts(1)}
	prog := startSender(t, p, o)
	prog.Says(10*time.Second, "started")
	st := stopSender(t, prog)
	out, err := p.Command(t.Context(), p.Near, "ip", "-j", "ntable", "show", "name", "arp_cache").Output()
	if err != nil {
		t.Fatal(err)
	}
	var tables []map[string]any
	sacntest.JSON(t, out, &tables)
	i := slices.IndexFunc(tables, func(m map[string]any) bool { return m["thresh3"] != nil })
	if i < 0 || st.Advice.NeighbourLimit != int(tables[i]["thresh3"].(float64)) {
		t.Errorf("neighbour limit %d, ip says %s", st.Advice.NeighbourLimit, out)
	}
	if r := st.Advice.Route; r == nil || !*r {
		t.Error("the route for 239.255.0.0/16 was not found")
	}
	ip(t, "-n "+p.Near+" route del 239.255.0.0/16 dev yard0")
	ip(t, "-n "+p.Near+" route add default dev yard0")
	prog = startSender(t, p, order{Streams: multicasts(manyGroups)})
	prog.Says(10*time.Second, "ip route add 239.255.0.0/16 dev yard0")
	if r := stopSender(t, prog).Advice.Route; r == nil || *r {
		t.Error("a route for 239.255.0.0/16 was found where there is only a default one")
	}
}
