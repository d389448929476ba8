package main

import (
	"flag"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"golang.org/x/net/ipv4"

	"yardproof/cmd/yardproof/internal/farend"
	"yardproof/sacn"
	"yardproof/sacn/listener"
	"yardproof/sacn/sacntest"
)

var floodTime = flag.Duration("flood", 2*time.Second, "for how long TestFlood floods")

// flood sends packets to a universe's group as fast as one socket takes them: forged
// ones by ever new sources, and ones with some octets wrong.
func flood(t *testing.T, pair *sacntest.Pair, ns string, universe uint16, stop *atomic.Bool) (sent int) {
	var conn net.PacketConn
	if err := pair.Inside(ns, func() (err error) {
		conn, err = net.ListenPacket("udp4", sacntest.FarAddr4+":0")
		return err
	}); err != nil {
		t.Error(err)
		return 0
	}
	defer conn.Close()
	r := rand.New(rand.NewPCG(1, uint64(universe)))
	group := &net.UDPAddr{IP: sacn.MulticastAddr4(universe).AsSlice(), Port: sacn.Port}
	batch := make([]ipv4.Message, 64)
	for i := range batch {
		d := sacn.Data{Priority: uint8(r.IntN(201)), Universe: universe, Slots: make([]byte, 512)}
		b, err := d.AppendTo(nil)
		if err != nil {
			t.Error(err)
		}
		batch[i] = ipv4.Message{Buffers: [][]byte{b}, Addr: group}
	}
	packets := ipv4.NewPacketConn(conn)
	for !stop.Load() {
		for i := range batch {
			b := batch[i].Buffers[0]
			for k := range 16 {
				b[22+k] = byte(r.Uint32()) // the CID (clause 5.6)
			}
			if i%2 == 0 {
				b[r.IntN(126)] = byte(r.Uint32()) // anything, anywhere in the three layers
			}
		}
		if n, err := packets.WriteBatch(batch, 0); err == nil { // a full queue is what a flood is for
			sent += n
		}
	}
	return sent
}

// peak is the most memory that a process has had, in MiB.
func peak(t *testing.T, p *sacntest.Program) int {
	t.Helper()
	status, err := os.ReadFile("/proc/" + strconv.Itoa(p.Pid()) + "/status")
	m := regexp.MustCompile(`VmHWM:\s+(\d+) kB`).FindSubmatch(status)
	if err != nil || m == nil {
		t.Fatalf("%v: %s", err, status)
	}
	kilobytes, _ := strconv.Atoi(string(m[1]))
	return kilobytes >> 10
}

// TestFlood floods, with forged and malformed packets, the universe of a transmitter
// that watches for other sources, and the one of a listener that hears a real source.
func TestFlood(t *testing.T) { // alone: it is a load for whatever runs beside it
	pair := sacntest.NewPair(t)
	text := "source: {name: quay laptop}\nnetwork: {interface: yard0}\nstrings: [{name: a, universe: 1, pixels: 50}]\n"
	plan := sacntest.File(t, "show.yaml", text)
	real := pair.Start(t, pair.Far, "run", plan, "--no-scan", "--state", t.TempDir())
	ears := pair.Start(t, pair.Near, "listen", "--interface", "yard0", "--universes", "1", "--format", "json", "--http", "127.0.0.1:9532")
	ours := pair.Start(t, pair.Near, "run", "--universe", "2", "--pixels", "50", "--interface", "yard0", "--state", t.TempDir())
	sacntest.Eventually(t, 60*time.Second, "all at work", func() bool {
		return strings.Contains(ours.Stderr(), "page and metrics") && strings.Contains(real.Stderr(), "page and metrics") &&
			strings.Contains(pair.Get(t, pair.Near, "http://127.0.0.1:9532/metrics"), `universe="1"}`)
	})
	frames := func(what string) float64 {
		text := pair.Get(t, pair.Near, "http://"+address+"/metrics")
		at := strings.Index(text, "\nyardproof_frames_"+what+"_total{")
		if at < 0 {
			t.Fatalf("no frames_%s: %s", what, text)
		}
		line, _, _ := strings.Cut(text[at+1:], "\n")
		v, err := strconv.ParseFloat(line[strings.LastIndex(line, " ")+1:], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	sacntest.Eventually(t, 60*time.Second, "sending", func() bool { return frames("sent") > 0 })
	sent, skipped := frames("sent"), frames("skipped")
	var stop atomic.Bool
	total := make(chan int)
	began := time.Now()
	for universe := range uint16(2) {
		go func() { total <- flood(t, pair, pair.Far, universe+1, &stop) }()
	}
	time.Sleep(*floodTime)
	client := pair.Client(t, pair.Near)
	resp, err := client.Post("http://"+address+"/api/dark", "application/json", strings.NewReader("{}"))
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Errorf("dark in the flood: %v, %v", resp, err)
	}
	stop.Store(true)
	packets := <-total + <-total
	seconds := time.Since(began).Seconds()
	sent, skipped = frames("sent")-sent, frames("skipped")-skipped
	if sent == 0 {
		t.Error("no frame left in the flood")
	}
	for name, p := range map[string]*sacntest.Program{"the transmitter": ours, "the listener": ears} {
		if m := peak(t, p); m > 200 { // the race detector takes five times as much
			t.Errorf("%s took %d MiB", name, m)
		}
	}
	t.Logf("%.0f packets a second; the transmitter sent %.0f frames, skipped %.0f, took %d MiB; the listener %d MiB",
		float64(packets)/seconds, sent, skipped, peak(t, ours), peak(t, ears))

	ears.Signal(syscall.SIGINT)
	ears.Wait(20 * time.Second)
	var a farend.Answer
	ears.JSON(&a)
	if len(a.Sources) > listener.DefaultMaxSources {
		t.Errorf("%d sources are kept", len(a.Sources))
	}
	found := false
	for _, s := range a.Sources {
		if s.Name != "quay laptop" {
			continue
		}
		found = true
		if u := s.Universes[0]; a.LocalDrops == nil || u.Lost > *a.LocalDrops {
			t.Errorf("%+v: loss that is none", u)
		}
	}
	if !found {
		t.Errorf("the real source was forgotten: %+v", a.Sources)
	}
	if said := ours.Stderr(); len(said) > 100<<10 {
		t.Errorf("the log of a flood has %d octets: %.3000s", len(said), said)
	}
}
