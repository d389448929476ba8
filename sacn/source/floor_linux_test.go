package source

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// What `make bench` says.
var (
	floorDir = flag.String("floor", "", "directory of the floor programs' sources")
	program  = flag.String("program", "", "the yardproof program, to be measured beside the engine alone")
	rounds   = flag.Int("rounds", 3, "rounds of each measurement; on a busy machine many short ones are better")
	each     = flag.Duration("each", 14*time.Second, "how long each measurement of a round takes: 560 frames")
	soakTime = flag.Duration("soak", 10*time.Minute, "how long BenchmarkSoak sends")

	minuteTime = flag.Duration("minute", time.Minute, "how long each sender of BenchmarkFloor/minute sends")
)

// bench is the place where things are measured: two namespaces and the programs.
type bench struct {
	*testing.B
	pair  *sacntest.Pair
	floor string // directory of the built floor programs
	dir   string
}

func newBench(b *testing.B) *bench {
	if *floorDir == "" {
		b.Skip("left out: it needs -floor, the directory of the floor programs (make bench gives it)")
	}
	sources, err := filepath.Glob(filepath.Join(*floorDir, "*.[ch]"))
	if err != nil || len(sources) == 0 {
		b.Fatalf("there are no floor programs in %s: make bench FLOOR=DIRECTORY says where they are", *floorDir)
	}
	sacntest.NeedTool(b, "cc")
	m := &bench{B: b, pair: sacntest.NewPair(b), floor: b.TempDir(), dir: b.TempDir()}
	for _, name := range []string{"floor_send", "floor_recv", "floor_timer"} {
		out, err := exec.Command("cc", "-O2", "-Wall", "-o", filepath.Join(m.floor, name), filepath.Join(*floorDir, name+".c")).CombinedOutput()
		if err != nil {
			b.Fatalf("building %s: %v: %s", name, err, out)
		}
	}
	return m
}

// BenchmarkFloor prints the engine's figures beside what the machine can do at
// all. Only the ratios count: the machine is what it is at that minute.
func BenchmarkFloor(b *testing.B) {
	for _, part := range []struct {
		name    string
		measure func(*bench)
	}{
		{"cost", (*bench).cost},
		{"many", (*bench).manyCost},
		{"minute", (*bench).minute},
		{"lateness", (*bench).lateness},
		{"growth", func(m *bench) { m.growth(socketPath); m.growth(packetPath) }},
		{"scrapes", (*bench).scrapes},
	} {
		b.Run(part.name, func(b *testing.B) {
			m := newBench(b)
			for b.Loop() {
				m.machine()
				part.measure(m)
			}
		})
	}
}

// BenchmarkSoak sends 1000 universes into floor_recv and accounts for every packet.
func BenchmarkSoak(b *testing.B) {
	m := newBench(b)
	for b.Loop() {
		m.soak()
	}
}

func (m *bench) machine() {
	model := "unknown processor"
	for line := range strings.Lines(read("/proc/cpuinfo")) {
		if k, v, _ := strings.Cut(line, ":"); strings.TrimSpace(k) == "model name" {
			model = strings.TrimSpace(v)
			break
		}
	}
	fmt.Printf("machine: %d cores, %s, Linux %s, %s; load %s", runtime.NumCPU(), model, strings.TrimSpace(read("/proc/sys/kernel/osrelease")), runtime.Version(), read("/proc/loadavg"))
}

// sample is what was seen of a sender over a while.
type sample struct {
	cpu             float64 // seconds a million packets
	core            float64 // share of one core
	packets         float64 // a second
	rss             int     // KiB
	threads, files  int
	goroutines      int     // 0: not known
	p50, p99, worst float64 // lateness, microseconds
	sending         float64 // mean time in a frame's sends, microseconds
	skipped         uint64
	scrape          time.Duration // the last one took so long
	scraped         int           // and so many octets
}

// cost compares the CPU time of a million packets.
func (m *bench) cost() {
	fmt.Printf("\nCPU seconds a million packets, 1000 universes at 40 Hz in 8 slices, %d rounds\n", *rounds)
	contenders := []contender{
		{"floor_send -k 8", func() float64 { return m.floorSend(1000, 8, int(each.Seconds()), socketPath) }},
		{"engine", func() float64 { return m.engine(1000, *each, socketPath, nil).cpu }},
	}
	if *program != "" {
		contenders = append(contenders,
			contender{"run, dark", func() float64 { return m.run(1000, *each, "dark", 0).cpu }},
			contender{"run, walk", func() float64 { return m.run(1000, *each, "walk", 0).cpu }})
	}
	contest(contenders)
}

// contender is one of several whose figures are compared.
type contender struct {
	name string
	do   func() float64
}

// contest measures in rotated order and prints medians and ratios to the first.
func contest(all []contender) {
	got := make([][]float64, len(all))
	for r := range *rounds {
		for k := range all {
			i := (k + r) % len(all)
			got[i] = append(got[i], all[i].do())
		}
	}
	for i, c := range all {
		fmt.Printf("  %-18s %8.3f  (%.3f-%.3f)  ratio %.2f\n", c.name, median(got[i]), slices.Min(got[i]), slices.Max(got[i]), median(got[i])/median(got[0]))
	}
}

// lateness compares a frame's first packet with a bare timer loop in C.
func (m *bench) lateness() {
	for _, busy := range []bool{false, true} {
		for _, n := range []int{1, 1000} {
			how := "idle"
			var spin *exec.Cmd
			if busy {
				how = "one core busy"
				spin = exec.Command("sh", "-c", "while :; do :; done")
				if err := spin.Start(); err != nil {
					m.Fatal(err)
				}
			}
			fmt.Printf("\nlateness in microseconds, %d universes, %s, %d rounds of %v\n", n, how, *rounds, *each)
			fmt.Printf("  %-14s %8s %8s %8s\n", "", "p50", "p99", "max")
			names := []string{"floor_timer", "engine"}
			do := []func() [3]float64{
				func() [3]float64 { return m.floorTimer(*each) },
				func() [3]float64 { s := m.engine(n, *each, socketPath, nil); return [3]float64{s.p50, s.p99, s.worst} },
			}
			if *program != "" {
				names = append(names, "run, walk")
				do = append(do, func() [3]float64 {
					s := m.run(n, *each, "walk", 0)
					return [3]float64{s.p50, s.p99, s.worst}
				})
			}
			got := make([][3][]float64, len(do))
			for r := range *rounds {
				for k := range do {
					i := (k + r) % len(do)
					for q, v := range do[i]() {
						got[i][q] = append(got[i][q], v)
					}
				}
			}
			base := [2]float64{median(got[0][0]), median(got[0][1])}
			for i, name := range names {
				p50, p99 := median(got[i][0]), median(got[i][1])
				fmt.Printf("  %-14s %8.0f %8.0f %8.0f   ratios %.2f %.2f\n", name, p50, p99, slices.Max(got[i][2]), p50/base[0], p99/base[1])
			}
			if spin != nil {
				spin.Process.Kill()
				spin.Wait()
			}
		}
	}
	fmt.Println("  (run: from the buckets of its histogram, interpolated)")
}

// scrapes shows whether reading the metrics every second delays frames.
func (m *bench) scrapes() {
	if *program == "" {
		return
	}
	fmt.Printf("\nrun, walk, 1000 universes: lateness in microseconds with and without a scrape every second\n")
	for _, every := range []time.Duration{0, time.Second, 0, time.Second} {
		s := m.run(1000, 15*time.Second, "walk", every)
		fmt.Printf("  scrape every %-4v p50 %6.0f  p99 %6.0f\n", every, s.p50, s.p99)
	}
}

// floorSend returns the CPU seconds a million packets of floor_send.
func (m *bench) floorSend(n, slices, seconds int, path sendPath) float64 {
	out := m.output(m.pair.Near, filepath.Join(m.floor, "floor_send"), "-i", sacntest.Interface, "-n", strconv.Itoa(n), "-H", "40", "-k", strconv.Itoa(slices), "-s", strconv.Itoa(seconds), "-m", path.floorMode())
	return m.field(out, "cpu_s_per_Mpkt")
}

func (m *bench) floorTimer(d time.Duration) [3]float64 {
	out := m.output(m.pair.Near, filepath.Join(m.floor, "floor_timer"), "-s", strconv.Itoa(int(d.Seconds())))
	return [3]float64{m.field(out, "p50"), m.field(out, "p99"), m.field(out, "max")}
}

// engine runs this binary as a sender and looks at it from outside.
func (m *bench) engine(n int, d time.Duration, path sendPath, while func(pid int)) sample {
	b, err := json.Marshal(order{Count: n, Spread: 0.5, Raw: true, Packet: path == packetPath})
	if err != nil {
		m.Fatal(err)
	}
	cmd := m.pair.Command(m.Context(), m.pair.Near, self(m), string(b))
	cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1")
	out, err := cmd.StdoutPipe()
	if err != nil {
		m.Fatal(err)
	}
	s := m.observe(cmd, d, while, func() {})
	var r report
	if err := json.NewDecoder(out).Decode(&r); err != nil {
		m.Fatalf("the engine's report: %v", err)
	}
	m.wait(cmd)
	s.p50, s.p99, s.worst = r.P50, r.P99, r.Worst
	s.goroutines, s.skipped = r.Goroutines, r.Stats.Skipped
	s.sending = 1e6 * r.Stats.SendDuration.Sum / float64(r.Stats.SendDuration.Count)
	return s
}

// run measures the program itself, with a plan of n universes.
func (m *bench) run(n int, d time.Duration, pattern string, scrape time.Duration, more ...string) sample {
	plan := filepath.Join(m.dir, fmt.Sprintf("plan%d.yaml", n))
	sacntest.Write(m, plan, benchPlan(n))
	cmd := m.pair.Command(m.Context(), m.pair.Near, *program, "run", plan, "--interface", sacntest.Interface,
		"--pattern", pattern, "--level", "30%", "--no-scan", "--state", m.dir, "--http", "127.0.0.1:9531")
	cmd.Args = append(cmd.Args, more...)
	log, err := os.Create(filepath.Join(m.dir, "run.log"))
	if err != nil {
		m.Fatal(err)
	}
	defer log.Close()
	cmd.Stderr = log
	metrics := func() string {
		return m.output(m.pair.Near, "curl", "-sf", "-m", "5", "--retry", "20", "--retry-delay", "1", "--retry-connrefused", "http://127.0.0.1:9531/metrics")
	}
	var before, after string
	var took time.Duration
	s := m.observe(cmd, d, func(int) {
		before = metrics()
		for end := time.Now().Add(d); scrape > 0 && time.Now().Before(end.Add(-scrape)); time.Sleep(scrape) {
			metrics()
		}
	}, func() {
		begin := time.Now()
		after = metrics()
		took = time.Since(begin)
	})
	m.wait(cmd)
	s.scrape, s.scraped = took, len(after)
	s.skipped = uint64(counted(after, "yardproof_frames_skipped_total") - counted(before, "yardproof_frames_skipped_total"))
	h := difference(buckets(before, "yardproof_frame_lateness_seconds"), buckets(after, "yardproof_frame_lateness_seconds"))
	s.p50, s.p99, s.worst = h.quantile(0.5), h.quantile(0.99), h.quantile(1)
	return s
}

// observe starts a sender, lets it settle, watches it for a while, and tells it
// to stop. at runs at the end of the while.
func (m *bench) observe(cmd *exec.Cmd, d time.Duration, while func(pid int), at func()) sample {
	if err := cmd.Start(); err != nil {
		m.Fatal(err)
	}
	pid := cmd.Process.Pid
	time.Sleep(1500 * time.Millisecond)
	c0, p0, t0 := cpuOf(pid), m.sentPackets(), time.Now()
	if while != nil {
		while(pid)
	}
	time.Sleep(time.Until(t0.Add(d)))
	c1, p1, t := cpuOf(pid), m.sentPackets(), time.Since(t0).Seconds()
	at()
	s := sample{cpu: (c1 - c0) / (p1 - p0) * 1e6, core: (c1 - c0) / t, packets: (p1 - p0) / t}
	s.rss, s.threads, s.files = memory(pid)
	cmd.Process.Signal(syscall.SIGTERM)
	return s
}

func (m *bench) wait(cmd *exec.Cmd) {
	if err := cmd.Wait(); err != nil {
		m.Fatalf("%v: %v", cmd.Args, err)
	}
}

// soak sends for a long time and counts at the far end.
func (m *bench) soak() {
	const n = 1000
	seconds := min(600, int(soakTime.Seconds())) // floor_recv takes no more
	sending := time.Duration(seconds-5) * time.Second
	recv := m.pair.Command(m.Context(), m.pair.Far, filepath.Join(m.floor, "floor_recv"), "-i", sacntest.Interface,
		"-n", strconv.Itoa(n), "-k", "20", "-r", "67108864", "-s", strconv.Itoa(seconds))
	out, err := recv.StdoutPipe()
	if err != nil {
		m.Fatal(err)
	}
	if err := recv.Start(); err != nil {
		m.Fatal(err)
	}
	lines := bufio.NewReader(out)
	if _, err := lines.ReadString('\n'); err != nil { // joined
		m.Fatal(err)
	}
	b, err := json.Marshal(order{Count: n, Spread: 0.5})
	if err != nil {
		m.Fatal(err)
	}
	cmd := m.pair.Command(m.Context(), m.pair.Near, self(m), string(b))
	cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1")
	cmd.Stderr = os.Stderr
	sentOut, err := cmd.StdoutPipe()
	if err != nil {
		m.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		m.Fatal(err)
	}
	fmt.Printf("\nsoak: %d universes at 40 Hz for %v\n", n, sending)
	for end, next := time.Now().Add(sending), time.Now(); time.Now().Before(end); {
		next = next.Add(min(time.Minute, time.Until(end)))
		time.Sleep(time.Until(next))
		rss, threads, files := memory(cmd.Process.Pid)
		fmt.Printf("  %s  RSS %d KiB, %d threads, %d files\n", time.Now().Format("15:04:05"), rss, threads, files)
	}
	cmd.Process.Signal(syscall.SIGTERM)
	var r report
	if err := json.NewDecoder(sentOut).Decode(&r); err != nil {
		m.Fatal(err)
	}
	m.wait(cmd)
	rest, err := io.ReadAll(lines)
	if err != nil {
		m.Fatal(err)
	}
	m.wait(recv)
	data := uint64(n) * r.Stats.Frames
	got := uint64(m.field(string(rest), "received"))
	fmt.Printf("  sent: %d frames (skipped %d), %d data packets and %d of discovery, %d goroutines at the end\n  far end: %s", r.Stats.Frames, r.Stats.Skipped, data, r.Stats.Packets-data, r.Goroutines, rest)
	if got != data || m.field(string(rest), "lost_by_sequence") != 0 {
		m.Errorf("%d data packets were sent, %d arrived", data, got)
	}
}

// benchPlan is a plan of n universes of 170 pixels each.
func benchPlan(n int) []byte {
	var b strings.Builder
	b.WriteString("name: Bench\ncontrollers:\n")
	for c := range (n + 19) / 20 {
		fmt.Fprintf(&b, "  - {name: c%d}\n", c)
	}
	b.WriteString("strings:\n")
	for i := range n {
		fmt.Fprintf(&b, "  - {name: s%d, controller: c%d, port: %d, universe: %d, pixels: 170}\n", i, i/20, i%20+1, i+1)
	}
	return []byte(b.String())
}
