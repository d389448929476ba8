package main

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/sacn/sacntest"
)

// get asks as the phone that was let in.
func (y *darkYard) get(ctx context.Context, client *http.Client, path string) (*http.Response, error) {
	req, err := http.NewRequestWithContext(ctx, "GET", "http://"+darkPage+path, nil)
	if err != nil {
		return nil, err
	}
	req.AddCookie(y.cookie)
	return client.Do(req)
}

// watchers are viewers of the page, each with a stream, or without room for one with a
// look at the state every two seconds; and a scraper twice a second.
type watchers struct {
	events, states, refused, scrapes atomic.Int64
	stop                             func()
}

func (y *darkYard) watch(viewers int) *watchers {
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	w := &watchers{stop: func() { cancel(); all.Wait() }}
	y.t.Cleanup(w.stop)
	for i := range viewers {
		client := y.client(strangerAt(i % 16))
		client.Timeout = 0
		all.Go(func() {
			defer client.CloseIdleConnections()
			for ctx.Err() == nil {
				resp, err := y.get(ctx, client, "/api/events?string=quay-"+fmt.Sprintf("%04d", i))
				if err == nil && resp.StatusCode == http.StatusOK {
					w.events.Add(1)
					io.Copy(io.Discard, resp.Body)
					w.events.Add(-1)
				}
				if err == nil {
					io.Copy(io.Discard, resp.Body)
					resp.Body.Close()
				}
				w.refused.Add(1)
				if resp, err := y.get(ctx, client, "/api/state"); err == nil {
					io.Copy(io.Discard, resp.Body)
					resp.Body.Close()
					w.states.Add(1)
				}
				select {
				case <-time.After(2*time.Second + rand.N(time.Second) - time.Second/2):
				case <-ctx.Done():
				}
			}
		})
	}
	scraper := y.client(strangerAt(17))
	all.Go(func() {
		defer scraper.CloseIdleConnections()
		for tick := time.Tick(500 * time.Millisecond); ctx.Err() == nil; {
			if resp, err := y.get(ctx, scraper, "/metrics"); err == nil {
				io.Copy(io.Discard, resp.Body)
				resp.Body.Close()
				w.scrapes.Add(1)
			}
			select {
			case <-tick:
			case <-ctx.Done():
			}
		}
	})
	return w
}

// metrics is what a scrape gives.
func (y *darkYard) metrics() string {
	y.t.Helper()
	resp, err := y.get(context.Background(), y.phone, "/metrics")
	if err != nil {
		y.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		y.t.Fatal(err)
	}
	return string(body)
}

// lateness is what the metrics say of frames: how many, how late in all, how many within
// each bound, how many were skipped.
type lateness struct {
	frames, seconds, skipped float64
	within                   map[string]float64
}

func (y *darkYard) lateness() lateness {
	y.t.Helper()
	l := lateness{within: map[string]float64{}}
	for _, m := range regexp.MustCompile(`(?m)^yardproof_frame_lateness_seconds_(bucket|sum|count)\{(?:.*le="([^"]*)")?.*\} (\S+)$`).FindAllStringSubmatch(y.metrics(), -1) {
		v, err := strconv.ParseFloat(m[3], 64)
		if err != nil {
			y.t.Fatal(err)
		}
		switch m[1] {
		case "sum":
			l.seconds = v
		case "count":
			l.frames = v
		default:
			l.within[m[2]] = v
		}
	}
	for _, m := range regexp.MustCompile(`(?m)^yardproof_frames_skipped_total\{.*\} (\S+)$`).FindAllStringSubmatch(y.metrics(), -1) {
		l.skipped, _ = strconv.ParseFloat(m[1], 64)
	}
	return l
}

// during waits, and returns what was added meanwhile.
func (y *darkYard) during(d time.Duration) lateness {
	y.t.Helper()
	before := y.lateness()
	time.Sleep(d)
	l := y.lateness()
	l.frames, l.seconds, l.skipped = l.frames-before.frames, l.seconds-before.seconds, l.skipped-before.skipped
	for bound := range l.within {
		l.within[bound] -= before.within[bound]
	}
	return l
}

func (l *lateness) add(o lateness) {
	l.frames, l.seconds, l.skipped = l.frames+o.frames, l.seconds+o.seconds, l.skipped+o.skipped
	if l.within == nil {
		l.within = map[string]float64{}
	}
	for bound, n := range o.within {
		l.within[bound] += n
	}
}

// quantile is the least bound that this share of the frames is within, in seconds.
func (l lateness) quantile(share float64) float64 {
	best := -1.0
	for text, n := range l.within {
		if bound, err := strconv.ParseFloat(text, 64); err == nil && n >= share*l.frames && (best < 0 || bound < best) {
			best = bound
		}
	}
	return best
}

// giveWay has this process work only where a core is idle: phones have cores of their own.
func giveWay(b *testing.B) {
	b.Helper()
	for range 2 { // a thread may have begun another meanwhile; those inherit it
		threads, err := os.ReadDir("/proc/self/task")
		if err != nil {
			b.Fatal(err)
		}
		for _, thread := range threads {
			id, err := strconv.Atoi(thread.Name())
			if err != nil {
				b.Fatal(err)
			}
			if err := unix.SchedSetAttr(id, &unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_IDLE}, 0); err != nil && err != unix.ESRCH {
				b.Fatal(err)
			}
		}
	}
}

// spent is the processor time that the program has used.
func (y *darkYard) spent() time.Duration {
	y.t.Helper()
	stat := sacntest.Read(y.t, fmt.Sprintf("/proc/%d/stat", y.process.Pid))
	words := strings.Fields(string(stat[strings.LastIndexByte(stat, ')'):]))
	user, _ := strconv.Atoi(words[12]) // proc_pid_stat(5): utime and stime, in hundredths of a second
	system, _ := strconv.Atoi(words[13])
	return time.Duration(user+system) * 10 * time.Millisecond
}

// BenchmarkViewers has 200 viewers of the page and a scraper twice a second at 1,000
// universes, in turn with nobody: what they add to the lateness of frames is a ratio of
// one run. The streams begin all at once, as after a restart.
func BenchmarkViewers(b *testing.B) {
	y := startDarkYard(b, darkOptions{universes: 1000, lines: 1000})
	giveWay(b)
	y.light()
	time.Sleep(5 * time.Second) // the level has come up
	var alone, watched lateness
	var idle, busy time.Duration
	for b.Loop() {
		for range 4 {
			before := y.spent()
			alone.add(y.during(10 * time.Second))
			idle += y.spent() - before
			w := y.watch(200)
			sacntest.Eventually(b, 30*time.Second, "watched", func() bool { return w.events.Load() >= 60 && w.scrapes.Load() > 2 })
			before = y.spent()
			watched.add(y.during(10 * time.Second))
			busy += y.spent() - before
			b.Logf("%d streams, %d viewers without room looked %d times, %d scrapes", w.events.Load(), 200-w.events.Load(), w.states.Load(), w.scrapes.Load())
			w.stop()
			time.Sleep(time.Second)
		}
	}
	for name, l := range map[string]lateness{"alone": alone, "watched": watched} {
		b.ReportMetric(l.seconds/l.frames*1e6, name+"-mean-µs")
		b.ReportMetric(l.quantile(0.99)*1e6, name+"-p99-below-µs")
		b.ReportMetric(l.skipped, name+"-skipped")
		b.ReportMetric(l.frames, name+"-frames")
	}
	b.ReportMetric(float64((busy-idle).Milliseconds())/float64(b.N)/40/64, "ms/s-each-stream")
	b.ReportMetric(watched.seconds/watched.frames/(alone.seconds/alone.frames), "ratio")
}

// memoryGroup makes a control group with so much memory, of either version, and returns
// where the process is written to that is to be in it.
func memoryGroup(b *testing.B, octets int) (dir string) {
	name := fmt.Sprintf("yardproof-%d", os.Getpid())
	for parent, limit := range map[string]string{"/sys/fs/cgroup": "memory.max", "/sys/fs/cgroup/memory": "memory.limit_in_bytes"} {
		if _, err := os.Stat(filepath.Join(parent, "cgroup.procs")); err != nil {
			continue
		}
		dir = filepath.Join(parent, name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, limit), []byte(strconv.Itoa(octets)), 0o600); err != nil {
			os.Remove(dir)
			continue
		}
		b.Cleanup(func() { os.Remove(dir) })
		return dir
	}
	sacntest.Missing(b, "a control group that limits memory")
	return ""
}

// BenchmarkSmallMemory gives the program 64 MiB for 1,000 universes, ten viewers and a
// scraper, and reports what it took at most.
func BenchmarkSmallMemory(b *testing.B) {
	const most = 64 << 20
	dir := memoryGroup(b, most)
	for b.Loop() {
		y := startDarkYard(b, darkOptions{universes: 1000, lines: 20_000, group: filepath.Join(dir, "cgroup.procs")})
		y.light()
		w := y.watch(10)
		l := y.during(20 * time.Second)
		w.stop()
		if _, err := y.dark(y.phone); err != nil {
			b.Error(err)
		}
		peak := 0.0
		for _, name := range []string{"memory.peak", "memory.max_usage_in_bytes"} {
			if text, err := os.ReadFile(filepath.Join(dir, name)); err == nil {
				peak, _ = strconv.ParseFloat(strings.TrimSpace(string(text)), 64)
			}
		}
		b.ReportMetric(peak/(1<<20), "MiB-peak")
		b.ReportMetric(l.frames, "frames")
		b.ReportMetric(l.skipped, "skipped")
		y.process.Signal(syscall.SIGTERM)
		<-y.ended
		if l.frames == 0 || peak == 0 || peak > most {
			b.Errorf("%v frames, %v octets of %d", l.frames, peak, most)
		}
	}
}

// within has a command's process enter a control group, if there is one, before it becomes
// the program.
func within(cmd *exec.Cmd, procs string) *exec.Cmd {
	if procs == "" {
		return cmd
	}
	inside := exec.Command("sh", append([]string{"-ec", `echo $$ >"$0"; exec "$@"`, procs}, cmd.Args...)...)
	inside.Env = cmd.Env
	return inside
}
