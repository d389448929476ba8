package main

import (
	"flag"
	"fmt"
	"regexp"
	"strconv"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

var soakFor = flag.Duration("soak", time.Minute, "how long BenchmarkSoak keeps the program at work")

// held is what a process holds on to.
type held struct{ mebibytes, goroutines, descriptors, frames, skipped float64 }

func (y *darkYard) held() (h held) {
	y.t.Helper()
	text := y.metrics()
	for name, into := range map[string]*float64{
		"process_resident_memory_bytes": &h.mebibytes, "go_goroutines": &h.goroutines, "process_open_fds": &h.descriptors,
		"yardproof_frames_sent_total": &h.frames, "yardproof_frames_skipped_total": &h.skipped,
	} {
		m := regexp.MustCompile(`(?m)^` + name + `(?:\{.*\})? (\S+)$`).FindStringSubmatch(text)
		if m == nil {
			y.t.Fatalf("the metrics have no %s", name)
		}
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			y.t.Fatal(err)
		}
		*into = v
	}
	h.mebibytes /= 1 << 20
	return h
}

// BenchmarkSoak keeps the whole program at work on 45 universes: phones come, watch, show
// patterns, ask for dark, record proofs and go, a scraper asks twice a second. What the
// program holds when they have gone is read each time; in the second half it holds no
// more than in the first.
func BenchmarkSoak(b *testing.B) {
	y := startDarkYard(b, darkOptions{universes: 45, lines: 1000})
	for b.Loop() {
		var most [2]held
		var first, last held
		begun := time.Now()
		for round := 0; time.Since(begun) < *soakFor; round++ {
			w := y.watch(4)
			y.light()
			time.Sleep(min(20*time.Second, *soakFor/20))
			proof := fmt.Sprintf(`{"once":"soak-%d","string":"quay-%04d","stage":"hung","verdict":"good"}`, round, round%45)
			if _, err := y.post(y.phone, "/api/proofs", proof); err != nil && err.Error() != "201 Created" {
				b.Fatal(err)
			}
			if _, err := y.dark(y.phone); err != nil {
				b.Fatal(err)
			}
			w.stop()
			before := last
			sacntest.Eventually(b, 30*time.Second, "at rest again", func() bool {
				last = y.held()
				return round == 0 || last.goroutines <= first.goroutines && last.descriptors <= first.descriptors
			})
			if round == 0 {
				first = last
			}
			m := &most[min(1, int(2*time.Since(begun) / *soakFor))]
			m.mebibytes = max(m.mebibytes, last.mebibytes)
			if last.frames <= before.frames {
				b.Errorf("no frames were sent in round %d", round)
			}
			if round%10 == 0 {
				b.Logf("%s: %+v", time.Since(begun).Round(time.Second), last)
			}
		}
		b.Logf("first %+v, last %+v, most MiB %.1f and %.1f in the second half", first, last, most[0].mebibytes, most[1].mebibytes)
		if most[1].mebibytes > 1.1*most[0].mebibytes {
			b.Errorf("memory grows: %.1f MiB in the first half, %.1f in the second", most[0].mebibytes, most[1].mebibytes)
		}
		b.ReportMetric(last.mebibytes, "MiB")
		b.ReportMetric(last.goroutines, "goroutines")
		b.ReportMetric(last.descriptors, "descriptors")
		b.ReportMetric(last.frames-first.frames, "frames")
		b.ReportMetric(last.skipped-first.skipped, "skipped")
	}
}
