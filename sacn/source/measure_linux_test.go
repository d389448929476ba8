package source

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"yardproof/sacn/sacntest"
)

func self(m *bench) string {
	path, err := os.Executable()
	if err != nil {
		m.Fatal(err)
	}
	return path
}

func (m *bench) output(ns, name string, args ...string) string {
	out, err := m.pair.Command(m.Context(), ns, name, args...).Output()
	if err != nil {
		m.Fatalf("%s %q: %v", name, args, err)
	}
	return string(out)
}

// field reads name=NUMBER.
func (m *bench) field(out, name string) float64 {
	found := regexp.MustCompile(`\b` + name + `=([0-9.]+)`).FindStringSubmatch(out)
	if found == nil {
		m.Fatalf("no %s in %q", name, out)
	}
	v, err := strconv.ParseFloat(found[1], 64)
	if err != nil {
		m.Fatal(err)
	}
	return v
}

// sentPackets is the interface's own count.
func (m *bench) sentPackets() float64 {
	var links []struct {
		Stats64 struct{ Tx struct{ Packets float64 } } `json:"stats64"`
	}
	if err := json.Unmarshal([]byte(m.output(m.pair.Near, "ip", "-s", "-j", "link", "show", sacntest.Interface)), &links); err != nil || len(links) != 1 {
		m.Fatalf("the interface's counters: %v", err)
	}
	return links[0].Stats64.Tx.Packets
}

// cpuOf returns the CPU seconds of a process: what the scheduler counted for its threads.
func cpuOf(pid int) float64 {
	tasks, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid))
	total := 0.0
	for _, t := range tasks {
		ns, _ := strconv.ParseFloat(strings.Fields(read(t) + " 0")[0], 64)
		total += ns / 1e9
	}
	return total
}

func memory(pid int) (rss, threads, files int) {
	for line := range strings.Lines(read(fmt.Sprintf("/proc/%d/status", pid))) {
		k, v, _ := strings.Cut(line, ":")
		if f := strings.Fields(v); len(f) > 0 {
			switch k {
			case "VmRSS":
				rss, _ = strconv.Atoi(f[0])
			case "Threads":
				threads, _ = strconv.Atoi(f[0])
			}
		}
	}
	fds, _ := os.ReadDir(fmt.Sprintf("/proc/%d/fd", pid))
	return rss, threads, len(fds)
}

func read(path string) string {
	b, _ := os.ReadFile(path) // a process that has ended: nothing
	return string(b)
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

// buckets reads a histogram from an exposition.
func buckets(exposition, name string) (h Histogram) {
	var below uint64
	for _, m := range regexp.MustCompile(`(?m)^`+name+`_bucket\{(?:[^}]*,)?le="([^"]+)"\} (\S+)$`).FindAllStringSubmatch(exposition, -1) {
		bound, _ := strconv.ParseFloat(m[1], 64) // +Inf too
		n, _ := strconv.ParseFloat(m[2], 64)
		h.Bounds = append(h.Bounds, bound)
		h.Counts = append(h.Counts, uint64(n)-below)
		below = uint64(n)
	}
	h.Count = below
	return h
}

func difference(a, b Histogram) Histogram {
	for i := range min(len(a.Counts), len(b.Counts)) {
		b.Counts[i] -= a.Counts[i]
	}
	b.Count -= a.Count
	return b
}

// quantile interpolates inside a bucket, in microseconds.
func (h Histogram) quantile(q float64) float64 {
	want, below, low := q*float64(h.Count), 0.0, 0.0
	for i, n := range h.Counts {
		if n > 0 && below+float64(n) >= want {
			return 1e6 * (low + (h.Bounds[i]-low)*(want-below)/float64(n))
		}
		below += float64(n)
		low = h.Bounds[i]
	}
	return 1e6 * low
}
