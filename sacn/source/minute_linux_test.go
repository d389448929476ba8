package source

import (
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// minute sends ten thousand universes for a minute by each path, and tells what
// was missed: by the floor's loop, by the engine, which changes one slot of each
// universe a frame, and by the program with patterns that change from one pixel
// to everything. The floor's loop skips nothing and sends late frames in a burst, so
// that both are judged at the far end: by the beats at which universe 1 did not come.
func (m *bench) minute() {
	const n = 10000
	seconds := int(minuteTime.Seconds())
	fmt.Printf("\n%d universes at 40 Hz for %d s\n", n, seconds)
	timer := m.floorTimer(*each)
	fmt.Printf("  floor_timer: late by p50 %.0f, p99 %.0f us\n", timer[0], timer[1])
	for _, path := range []sendPath{packetPath, socketPath} {
		floor := m.farEnd(func() {
			out := m.output(m.pair.Near, filepath.Join(m.floor, "floor_send"), "-i", sacntest.Interface, "-n", strconv.Itoa(n),
				"-H", "40", "-k", strconv.Itoa((n+maxSlice-1)/maxSlice), "-s", strconv.Itoa(seconds), "-m", path.floorMode())
			fmt.Printf("  %-6s  floor_send       a frame took %.0f us to send and at most %.0f, CPU %.2f s/Mpkt\n",
				path, m.field(out, "mean"), m.field(out, "max"), m.field(out, "cpu_s_per_Mpkt"))
		})
		engine := m.farEnd(func() { m.missed(path, "engine", m.engine(n, *minuteTime, path, nil), timer) })
		fmt.Printf("  %-6s  far end: beats without a frame: floor_send %s, engine %s\n", path, floor, engine)
		if *program == "" {
			continue
		}
		for _, pattern := range []string{"walk", "ramp", "code"} {
			m.missed(path, "run, "+pattern, m.run(n, *minuteTime, pattern, 0, "--send", string(path)), timer)
		}
	}
}

// farEnd says at how many beats universe 1 did not come while a sender ran.
func (m *bench) farEnd(send func()) string {
	capture := m.pair.CaptureOnly(m, m.pair.Far, "udp and dst host 239.255.0.1")
	send()
	var at []float64
	for _, row := range capture.Fields("udp", "frame.time_epoch") {
		t, err := strconv.ParseFloat(row[0], 64)
		if err != nil {
			m.Fatal(err)
		}
		at = append(at, t)
	}
	missed, of := beatsMissed(at)
	return fmt.Sprintf("%d of %d", missed, of)
}

// beatsMissed counts the beats of 25 ms, from the first arrival to the last, in which
// nothing arrived, of all. The beat is where most arrivals are.
func beatsMissed(at []float64) (missed, of int) {
	const beat, early = 0.025, 0.0005
	if len(at) == 0 {
		return 0, 0
	}
	var near [50]int
	for _, t := range at {
		near[int(math.Mod(t-at[0], beat)/early)%len(near)]++
	}
	begin := at[0] + float64(slices.Index(near[:], slices.Max(near[:])))*early - early
	seen := map[int]bool{}
	for _, t := range at {
		seen[int(math.Floor((t-begin)/beat))] = true
	}
	first, last := slices.Min(slices.Collect(maps.Keys(seen))), slices.Max(slices.Collect(maps.Keys(seen)))
	return last - first + 1 - len(seen), last - first + 1
}

func TestBeatsMissed(t *testing.T) {
	var at []float64
	for k := range 100 {
		switch {
		case k == 40 || k == 41: // late by two beats and more: in a burst with the next
			at = append(at, 1e9+42*0.025+float64(k)*0.0001)
		case k != 70: // left out
			at = append(at, 1e9+float64(k)*0.025+float64(k%7)*0.0002)
		}
	}
	if missed, of := beatsMissed(at); missed != 3 || of != 100 {
		t.Errorf("%d of %d beats missed, 3 of 100 wanted", missed, of)
	}
}

func (m *bench) missed(path sendPath, what string, s sample, timer [3]float64) {
	fmt.Printf("  %-6s  %-16s %4d frames skipped, %6.2f Hz, CPU %.2f s/Mpkt (%.0f %% of a core), late by p50 %.0f (%.2f times), p99 %.0f us (%.2f times), RSS %d KiB",
		path, what, s.skipped, s.packets/10000, s.cpu, 100*s.core, s.p50, s.p50/timer[0], s.p99, s.p99/timer[1], s.rss)
	if s.scrape > 0 {
		fmt.Printf(", a scrape %v and %.2f MB", s.scrape.Round(time.Millisecond), float64(s.scraped)/1e6)
	}
	fmt.Println()
}

// counted reads a counter from an exposition.
func counted(exposition, name string) float64 {
	total := 0.0
	for _, found := range regexp.MustCompile(`(?m)^`+name+`(?:\{[^}]*\})? (\S+)$`).FindAllStringSubmatch(exposition, -1) {
		v, _ := strconv.ParseFloat(strings.TrimSpace(found[1]), 64)
		total += v
	}
	return total
}
