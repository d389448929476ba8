package source

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// sendPath is one of the ways by which groups are sent to.
type sendPath string

const (
	socketPath sendPath = "socket"
	packetPath sendPath = "packet"
)

func (p sendPath) floorMode() string {
	if p == packetPath {
		return "packet"
	}
	return "mmsg"
}

// manyCost compares both paths with the floor's at ten thousand universes.
func (m *bench) manyCost() {
	for _, n := range []int{1000, 10000} {
		slices, seconds := (n+maxSlice-1)/maxSlice, int(each.Seconds())
		for _, path := range []sendPath{packetPath, socketPath} {
			fmt.Printf("\nCPU seconds a million packets, %d universes at 40 Hz in %d slices, %s path, %d rounds\n", n, slices, path, *rounds)
			contest([]contender{
				{"floor_send", func() float64 { return m.floorSend(n, slices, seconds, path) }},
				{"engine", func() float64 { return m.engine(n, *each, path, nil).cpu }},
			})
		}
	}
}

// growth shows how cost grows with the number of universes.
func (m *bench) growth(path sendPath) {
	fmt.Printf("\ngrowth at 40 Hz, the engine alone, %s path; sockets rebuild the neighbour table for ever with more groups than gc_thresh3\n", path)
	fmt.Println("  universes  CPU s/Mpkt  floor  % of a core  ms sending a frame  RSS KiB  goroutines  threads  files  skipped")
	var plot strings.Builder
	for _, n := range []int{1, 10, 100, 1000, 2000, 10000} {
		floor := m.floorSend(n, (n+maxSlice-1)/maxSlice, 6, path)
		s := m.engine(n, min(*each, 8*time.Second), path, nil)
		fmt.Printf("  %9d  %10.2f  %5.2f  %11.2f  %18.2f  %7d  %10d  %7d  %5d  %7d\n", n, s.cpu, floor, 100*s.core, s.sending/1e3, s.rss, s.goroutines, s.threads, s.files, s.skipped)
		fmt.Fprintf(&plot, "  %9d  %s %.2f %%\n", n, strings.Repeat("#", int(max(0, 12*(3+math.Log10(s.core))))), 100*s.core)
	}
	fmt.Printf("  share of one core, logarithmic: 12 characters for ten times as much, from 0.1 %%\n%s", plot.String())
}
