//go:build linux

package listener

import (
	"bufio"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/sys/unix"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// What the tracker costs for a packet of one of 1,000 universes, without the
// kernel.
func BenchmarkTracker(b *testing.B) {
	f := newFeed(TrackerConfig{})
	f.d.Slots = make([]byte, 512)
	packets := make([]sacn.Template, 1000)
	for i := range packets {
		f.d.Universe = uint16(i + 1)
		p, err := sacn.NewTemplate(&f.d)
		if err != nil {
			b.Fatal(err)
		}
		packets[i] = p
	}
	b.ReportAllocs()
	for i := range b.N {
		u := i % len(packets)
		packets[u].SetSequence(uint8(i / len(packets)))
		f.Packet(packets[u], Arrival{At: epoch.Add(time.Duration(i) * 25 * time.Microsecond), Group: sacn.MulticastAddr4(uint16(u + 1))})
	}
}

// A scrape of 10,000 universes holds the tracker for so long.
func BenchmarkSnapshot10000(b *testing.B) {
	f := newFeed(TrackerConfig{})
	for u := range uint16(10000) {
		f.d.Universe = u + 1
		f.send(b, 0, 0)
	}
	b.ReportAllocs()
	for b.Loop() {
		f.Snapshot(at(25))
	}
}

// result is what a receiving process tells at its end.
type result struct {
	Packets, Lost, Drops uint64
	CPU                  float64 // seconds of user and system time
}

func (r result) perMillion() float64 { return r.CPU * 1e6 / float64(r.Packets) }

// benchEnv makes the test binary a process of the benchmark: receive UNIVERSES
// SECONDS, or send UNIVERSES SECONDS PARTS.
const benchEnv = "YARDPROOF_LISTENER_BENCH"

func TestMain(m *testing.M) {
	args := strings.Fields(os.Getenv(benchEnv))
	if len(args) == 0 {
		os.Exit(sacntest.Run(m))
	}
	var n [3]int
	for i, arg := range args[1:] {
		n[i], _ = strconv.Atoi(arg)
	}
	process := benchReceive
	if args[0] == "send" {
		process = benchSend
	}
	if err := process(n[0], time.Duration(n[1])*time.Second, n[2]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// benchSend sends n universes at 40 Hz, each frame in so many parts, on
// absolute deadlines.
func benchSend(n int, length time.Duration, parts int) error {
	ifi, err := net.InterfaceByName(sacntest.Interface)
	if err != nil {
		return err
	}
	c, err := net.ListenPacket("udp4", ":0")
	if err != nil {
		return err
	}
	p := ipv4.NewPacketConn(c)
	if err := p.SetMulticastInterface(ifi); err != nil {
		return err
	}
	ms := make([]ipv4.Message, n)
	for i := range ms {
		d := sacn.Data{CID: cid(1), Priority: 100, Universe: uint16(i + 1), Slots: make([]byte, 512)}
		t, err := sacn.NewTemplate(&d)
		if err != nil {
			return err
		}
		ms[i] = ipv4.Message{Buffers: [][]byte{t}, Addr: net.UDPAddrFromAddrPort(netip.AddrPortFrom(sacn.MulticastAddr4(d.Universe), sacn.Port))}
	}
	frames := int(length / (25 * time.Millisecond))
	for begin, f := time.Now(), 0; f < frames; f++ {
		for part := range parts {
			time.Sleep(time.Until(begin.Add(time.Duration(f)*25*time.Millisecond + time.Duration(part)*25*time.Millisecond/time.Duration(parts))))
			for rest := ms[n*part/parts : n*(part+1)/parts]; len(rest) > 0; {
				for i := range rest {
					sacn.Template(rest[i].Buffers[0]).SetSequence(uint8(f))
				}
				sent, err := p.WriteBatch(rest, 0)
				if err != nil {
					return err
				}
				rest = rest[sent:]
			}
		}
	}
	return nil
}

func benchReceive(n int, length time.Duration, _ int) error {
	universes := upTo(n)
	l, err := Open(Config{Interface: sacntest.Interface, Universes: universes, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	fmt.Println("joined")
	before := cpuSelf()
	ctx, cancel := context.WithTimeout(context.Background(), length)
	defer cancel()
	if err := l.Run(ctx); err != nil {
		return err
	}
	cpu := cpuSelf() - before
	r := l.Snapshot()
	received, lost := packets(r)
	return json.NewEncoder(os.Stdout).Encode(result{received, lost, r.LocalDrops, cpu})
}

func cpuSelf() float64 {
	var r unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &r); err != nil {
		panic(err)
	}
	return float64(r.Utime.Nano()+r.Stime.Nano()) / 1e9
}

var floorDir = flag.String("floor", "", "directory of the floor programs' sources")

// BenchmarkFloor compares CPU time a packet with the floor's receiver, a
// C program that does nothing but receive and compare sequence numbers, under
// the same sender and in turn. Each count of universes is sent at 40 Hz, in one
// burst a frame or spread over the frame.
func BenchmarkFloor(b *testing.B) {
	if *floorDir == "" {
		b.Skip("-floor names no directory")
	}
	sacntest.NeedTool(b, "gcc")
	dir := b.TempDir()
	sacntest.Output(b, exec.Command("gcc", "-O2", "-o", dir+"/floor_recv", *floorDir+"/floor_recv.c"))
	self, err := os.Executable()
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		name     string
		n, parts int
	}{{"1000 in a burst", 1000, 1}, {"1000 spread", 1000, 25}, {"10000 spread", 10000, 25}} {
		b.Run(c.name, func(b *testing.B) {
			p := sacntest.NewPair(b)
			const seconds, rounds = 5, 3
			var ours, theirs, ratios []float64
			var sum result
			for i := range b.N * rounds {
				one := map[bool]func() result{
					true: func() result {
						cmd := p.Command(context.Background(), p.Far, self)
						cmd.Env = append(os.Environ(), fmt.Sprintf("%s=receive %d %d", benchEnv, c.n, seconds))
						var r result
						receive(b, p, cmd, c.n, c.parts, func(last string) error { return json.Unmarshal([]byte(last), &r) })
						return r
					},
					false: func() result {
						cmd := p.Command(context.Background(), p.Far, dir+"/floor_recv", "-i", sacntest.Interface, "-n", strconv.Itoa(c.n), "-k", "20", "-r", strconv.Itoa(wantedBuffer(c.n)), "-s", strconv.Itoa(seconds))
						var r result
						receive(b, p, cmd, c.n, c.parts, func(last string) (err error) { r, err = floorResult(last); return err })
						return r
					},
				}
				first := i%2 == 0
				a := one[first]()
				z := one[!first]()
				if !first {
					a, z = z, a
				}
				sum.Packets, sum.Lost, sum.Drops = sum.Packets+a.Packets, sum.Lost+a.Lost, sum.Drops+a.Drops
				ours, theirs, ratios = append(ours, a.perMillion()), append(theirs, z.perMillion()), append(ratios, a.perMillion()/z.perMillion())
			}
			for _, list := range [][]float64{ours, theirs, ratios} {
				slices.Sort(list)
			}
			b.ReportMetric(ours[len(ours)/2], "cpu-s/Mpkt")
			b.ReportMetric(theirs[len(theirs)/2], "floor-cpu-s/Mpkt")
			b.ReportMetric(ratios[len(ratios)/2], "ratio")
			b.ReportMetric(ratios[0], "ratio-min")
			b.ReportMetric(ratios[len(ratios)-1], "ratio-max")
			b.ReportMetric(float64(sum.Packets)/float64(len(ours)), "packets")
			b.ReportMetric(float64(sum.Lost), "lost")
			b.ReportMetric(float64(sum.Drops), "own-drops")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// receive runs a receiving process, and a sender inside its time.
func receive(b *testing.B, p *sacntest.Pair, cmd *exec.Cmd, n, parts int, parse func(last string) error) {
	b.Helper()
	cmd.Stderr = os.Stderr
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	out := bufio.NewReader(pipe)
	if line, err := out.ReadString('\n'); err != nil || !strings.Contains(line, "joined") {
		b.Fatalf("%q, %v", line, err)
	}
	self, err := os.Executable()
	if err != nil {
		b.Fatal(err)
	}
	send := p.Command(context.Background(), p.Near, self)
	send.Env = append(os.Environ(), fmt.Sprintf("%s=send %d 3 %d", benchEnv, n, parts))
	if said, err := send.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, said)
	}
	rest, err := io.ReadAll(out)
	if err == nil {
		err = cmd.Wait()
	}
	if err == nil {
		err = parse(strings.TrimSpace(string(rest)))
	}
	if err != nil {
		b.Fatalf("%v: %s", err, rest)
	}
}

var floorField = regexp.MustCompile(`(\w+)=([0-9.]+)`)

func floorResult(line string) (r result, err error) {
	values := make(map[string]float64)
	for _, m := range floorField.FindAllStringSubmatch(line, -1) {
		if values[m[1]], err = strconv.ParseFloat(m[2], 64); err != nil {
			return r, err
		}
	}
	r = result{Packets: uint64(values["received"]), Lost: uint64(values["lost_by_sequence"]), Drops: uint64(values["socket_drops"])}
	r.CPU = values["cpu_s_per_Mpkt"] * values["received"] / 1e6
	return r, nil
}
