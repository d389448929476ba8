package source

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"yardproof/sacn/sacntest"
)

// minute sends ten thousand universes for a minute by each path, and tells what
// was missed: by the floor's loop, by the engine, which changes one slot of each
// universe a frame, and by the program with patterns that change from one pixel
// to everything.
func (m *bench) minute() {
	const n = 10000
	seconds := int(minuteTime.Seconds())
	fmt.Printf("\n%d universes at 40 Hz for %d s\n", n, seconds)
	timer := m.floorTimer(*each)
	fmt.Printf("  floor_timer: late by p50 %.0f, p99 %.0f us\n", timer[0], timer[1])
	for _, path := range []sendPath{packetPath, socketPath} {
		out := m.output(m.pair.Near, filepath.Join(m.floor, "floor_send"), "-i", sacntest.Interface, "-n", strconv.Itoa(n),
			"-H", "40", "-k", strconv.Itoa((n+maxSlice-1)/maxSlice), "-s", strconv.Itoa(seconds), "-m", path.floorMode())
		fmt.Printf("  %-6s  floor_send       %4d frames missed, CPU %.2f s/Mpkt\n", path, 40*seconds-int(m.field(out, "sent")/n), m.field(out, "cpu_s_per_Mpkt"))
		s := m.engine(n, *minuteTime, path, nil)
		m.missed(path, "engine", s, timer)
		if *program == "" {
			continue
		}
		for _, pattern := range []string{"walk", "ramp", "code"} {
			m.missed(path, "run, "+pattern, m.run(n, *minuteTime, pattern, 0, "--send", string(path)), timer)
		}
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
