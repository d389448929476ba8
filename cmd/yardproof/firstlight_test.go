package main

import (
	"encoding/hex"
	"fmt"
	"math"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/config"
	"yardproof/patterns"
	"yardproof/sacn/sacntest"
)

// dissected is a data packet as tshark's ACN dissector reads it.
type dissected struct {
	time       float64
	to         string
	universe   int
	sequence   int
	priority   int
	name       string
	startCode  int
	count      int
	options    int
	terminated bool
	slots      []byte // from octet 126 of the payload, clause 7.7
}

var dissectedFields = []string{
	"frame.time_epoch", "ip.dst", "acn.dmx.universe", "acn.dmx.seq_number", "acn.dmx.priority", "acn.dmx.source_name",
	"acn.dmx.start_code2", "acn.dmx.count", "acn.dmx.options", "acn.dmx.option_s", "udp.payload",
}

func dissect(t *testing.T, rows [][]string) []dissected {
	t.Helper()
	var list []dissected
	number := func(s string) int {
		n, err := strconv.ParseInt(s, 0, 64)
		if err != nil {
			t.Fatalf("tshark printed %q for a number", s)
		}
		return int(n)
	}
	for _, r := range rows {
		at, err := strconv.ParseFloat(r[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		payload, err := hex.DecodeString(r[10])
		if err != nil || len(payload) < 126 {
			t.Fatalf("payload %q: %v", r[10], err)
		}
		list = append(list, dissected{
			time: at, to: r[1], universe: number(r[2]), sequence: number(r[3]), priority: number(r[4]), name: r[5],
			startCode: number(r[6]), count: number(r[7]), options: number(r[8]), terminated: r[9] == "True" || r[9] == "1",
			slots: payload[126:],
		})
	}
	return list
}

// rising is the frames within which the first light after a start has come up.
const rising = 2*40 + 2

// checkRising: a level that comes up falls nowhere, and exceeds nothing.
func checkRising(t *testing.T, before, now, full []byte) {
	t.Helper()
	for i, v := range now {
		if v < before[i] || v > full[i] {
			t.Fatalf("slot %d goes from %d to %d on its way to %d", i+1, before[i], v, full[i])
		}
	}
}

// TestDissectorAgrees runs the program on a plan and compares every packet on
// the far side of the wire, as tshark's dissector reads it, with the plan.
func TestDissectorAgrees(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	capture := pair.Capture(t, pair.Far)
	prog := pair.Start(t, pair.Near, "run", "../../testdata/first-light.yaml", "--pattern", "ruler", "--level", "100%",
		"--state", t.TempDir(), "--for", "10s")
	prog.Ends(40 * time.Second)
	frames, skipped := counts(t, prog.Stderr())

	if bad := capture.Fields("_ws.malformed", "frame.number"); len(bad) > 0 {
		t.Errorf("tshark calls packets malformed: %v", bad)
	}
	streams := map[string][]dissected{}
	for _, d := range dissect(t, capture.Fields("acn.dmx.universe", dissectedFields...)) {
		key := fmt.Sprintf("%d %s", d.universe, d.to)
		streams[key] = append(streams[key], d)
	}
	// The groups are the mappings of clause 9.3.1.
	want := map[string]int{
		"1 239.255.0.1": 1, "2 239.255.0.2": 2, "255 239.255.0.255": 255, "256 239.255.1.0": 256, "257 239.255.1.1": 257, "63999 10.77.0.2": 63999,
	}
	for key := range streams {
		if _, ok := want[key]; !ok {
			t.Errorf("stream %s was not planned", key)
		}
	}
	expected := expectedSlots(t, "../../testdata/first-light.yaml", "ruler")
	for key, universe := range want {
		got := streams[key]
		if len(got) != frames {
			t.Fatalf("%s: %d packets, the program says %d frames", key, len(got), frames)
		}
		for i, d := range got {
			if d.priority != 120 || d.name != "quay laptop é" || d.startCode != 0 || d.count != 513 || len(d.slots) != 512 {
				t.Fatalf("%s, packet %d: %+v", key, i, d)
			}
			if i > 0 && d.sequence != (got[i-1].sequence+1)%256 {
				t.Errorf("%s, packet %d: sequence %d follows %d", key, i, d.sequence, got[i-1].sequence)
			}
			last := len(got) - i // 1 is the last packet
			if d.terminated != (last <= 3) || (d.options&0xbf != 0) {
				t.Errorf("%s, packet %d from the end: options %#x", key, last, d.options)
			}
			slots := expected.lit[universe]
			if last <= 6 {
				slots = expected.dark[universe]
			}
			if since := d.time - got[0].time; since < 2.1 && last > 6 { // the first light comes up over two seconds
				for k, v := range d.slots {
					low, high := expected.dark[universe][k], slots[k]
					if v < low || v > high || low == 0 && float64(v) > float64(high)*(since+0.1)/2 {
						t.Fatalf("%s, packet %d, after %.3f s: slot %d is %d of %d", key, i, since, k+1, v, high)
					}
				}
				continue
			}
			if i > 0 && i < rising {
				checkRising(t, got[i-1].slots, d.slots, slots)
			} else if i >= rising && string(d.slots) != string(slots) {
				t.Fatalf("%s, packet %d of %d: slots\n%v\nwant\n%v", key, i, len(got), d.slots, slots)
			}
		}
		rate := float64(len(got)-1+skipped) / (got[len(got)-1].time - got[0].time)
		if math.Abs(rate-40) > 0.4 {
			t.Errorf("%s: %.2f Hz, want 40 within 1 %%", key, rate)
		}
	}
	t.Logf("%d frames, %d skipped, %d streams", frames, skipped, len(streams))
}

// counts reads the program's closing line.
func counts(t *testing.T, said string) (frames, skipped int) {
	t.Helper()
	line := said[strings.LastIndex(said, "sent "):]
	var packets int
	if _, err := fmt.Sscanf(line, "sent %d frames in %d packets, skipped %d", &frames, &packets, &skipped); err != nil {
		t.Fatalf("%v in %q", err, line)
	}
	return frames, skipped
}

type universeSlots struct{ lit, dark map[int][]byte }

// expectedSlots works out by the arithmetic of the plan alone, one slot at a
// time, what each universe holds.
func expectedSlots(t *testing.T, file, pattern string) universeSlots {
	t.Helper()
	checked, err := planfile.Read(file)
	if err != nil || checked.Errors() > 0 {
		t.Fatal(err, checked.Problems)
	}
	plan := checked.Plan
	e := universeSlots{map[int][]byte{}, map[int][]byte{}}
	for _, u := range []int{1, 2, 255, 256, 257, 63999} {
		e.lit[u], e.dark[u] = make([]byte, 512), make([]byte, 512)
	}
	p, _ := patterns.Lookup(pattern)
	for i, s := range plan.Strings {
		c := len(s.Order)
		buf := make([]byte, s.Pixels*c)
		p.Frame(buf, patterns.Layout{Pixels: s.Pixels, Order: string(s.Order), Number: i + 1}, patterns.Options{}, 0)
		for slot, v := range buf {
			k := s.Channel - 1 + slot // continuous packing
			universe, channel := int(s.Universe)+k/512, k%512
			if s.Controller.Pack == config.PackWhole {
				per := 512 / c // whole pixels, of which none straddles
				universe, channel = int(s.Universe)+slot/c/per, slot/c%per*c+slot%c
			}
			e.lit[universe][channel] = v
		}
	}
	for i := 399; i < 404; i++ {
		e.lit[2][i], e.dark[2][i] = 77, 77
	}
	return e
}

// TestDiscoveryOnTheWire reads the first discovery packet by the octets of the
// standard's table, since tshark 4.0 does not know it.
func TestDiscoveryOnTheWire(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	capture := pair.Capture(t, pair.Far)
	prog := pair.Start(t, pair.Near, "run", "../../testdata/first-light.yaml", "--state", t.TempDir(), "--for", "500ms")
	prog.Ends(30 * time.Second)
	rows := capture.Fields("ip.dst == 239.255.250.214", "udp.payload")
	if len(rows) == 0 {
		t.Fatal("no discovery packet")
	}
	b, err := hex.DecodeString(rows[0][0])
	if err != nil {
		t.Fatal(err)
	}
	// 6 universes: 120+2*6 octets; list length 8+2*6, vector 1, page 0 of 0 (clause 8).
	if len(b) != 132 || hex.EncodeToString(b[112:120]) != "7014000000010000" || hex.EncodeToString(b[120:]) != "0001000200ff01000101f9ff" {
		t.Errorf("% x", b[112:])
	}
}

// TestStops sends a signal and expects the goodbye within a second.
func TestStops(t *testing.T) {
	t.Parallel() // it waits more than it works
	for _, s := range []syscall.Signal{syscall.SIGTERM, syscall.SIGINT} {
		prog := sacntest.Start(t, "run", "--demo", "--http", "127.0.0.1:0")
		prog.Says(20*time.Second, "\nsending walk")
		prog.Signal(s)
		if code := prog.Wait(20 * time.Second); code != 0 || !strings.Contains(prog.Stderr(), "the streams are terminated") {
			t.Errorf("%v: exit %d, said %s", s, code, prog.Stderr())
		}
	}
}

// TestSynchronizedIPv6 sends with synchronization packets over IPv6: one follows
// the data of every frame, the three dark ones of the goodbye included.
func TestSynchronizedIPv6(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	plan := sacntest.File(t, "sync.yaml", "network: {interface: yard0, family: ipv6, sync_universe: 7962, force_sync: true}\nstrings:\n  - {name: a, universe: 1, pixels: 300}\n")
	capture := pair.Capture(t, pair.Far)
	prog := pair.Start(t, pair.Near, "run", plan, "--no-scan", "--state", t.TempDir(), "--for", "2s")
	prog.Ends(30 * time.Second)
	frames, _ := counts(t, prog.Stderr())

	// Groups by clause 9.3.2: ff18::8300:hi lo. Octets by the tables of 6.2 and 6.3.
	kinds := map[string]string{"ff18::8300:1": "data", "ff18::8300:2": "data", "ff18::8300:1f1a": "sync", "ff18::8300:fad6": "discovery"}
	count := map[string]int{}
	var order []string // data and sync in the order of arrival
	for _, row := range capture.Fields("udp.dstport == 5568", "ipv6.dst", "udp.payload") {
		kind, ok := kinds[row[0]]
		if !ok {
			t.Fatalf("a packet to %s", row[0])
		}
		b, err := hex.DecodeString(row[1])
		if err != nil {
			t.Fatal(err)
		}
		count[row[0]]++
		switch kind {
		case "data":
			if b[109] != 0x1f || b[110] != 0x1a || b[112]&^0x40 != 0x20 {
				t.Fatalf("data with synchronization address % x and options %#x", b[109:111], b[112])
			}
			if b[112]&0x40 == 0 { // terminated packets are not waited for
				order = append(order, kind)
			}
		case "sync":
			if len(b) != 49 || b[21] != 8 || b[43] != 1 || b[45] != 0x1f || b[46] != 0x1a {
				t.Fatalf("synchronization packet % x", b)
			}
			order = append(order, kind)
		}
	}
	if count["ff18::8300:1"] != frames || count["ff18::8300:2"] != frames || count["ff18::8300:1f1a"] < frames-3 || count["ff18::8300:fad6"] == 0 {
		t.Errorf("%v in %d frames", count, frames)
	}
	for i := 0; i+2 < len(order); i += 3 {
		if strings.Join(order[i:i+3], " ") != "data data sync" {
			t.Fatalf("frame %d: %v", i/3, order[i:i+3])
		}
	}
}
