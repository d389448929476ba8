package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/cmd/yardproof/internal/film"
	"yardproof/cmd/yardproof/internal/film/render"
	"yardproof/sacn/sacntest"
)

var filmIn = flag.String("film-in", "", "BenchmarkFilmCommand: the `directory` of film.mp4 and street.yaml, made there if they are not")

// BenchmarkFilmCommand runs the whole command on twenty seconds of 1920 by 1080 with
// 5,000 pixels, at thirty frames a second as a phone films them, and says what the program
// takes and what ffmpeg, which it starts, takes. On a busy machine seconds of the clock say
// little; those of the processor do.
func BenchmarkFilmCommand(b *testing.B) {
	sacntest.NeedTool(b, "ffmpeg")
	path, plan := longFilm(b)
	self, err := os.Executable()
	if err != nil {
		b.Fatal(err)
	}
	var wall, own, tool float64
	var ownPeak, toolPeak, good int
	for b.Loop() {
		cmd := exec.Command(self, "film", path, plan, "--format", "json")
		cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1", "GOMAXPROCS=2")
		var out, talk bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &talk
		begun := time.Now()
		if err := cmd.Start(); err != nil {
			b.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { // the process stays in the table, where its times can be read
			ended <- unix.Waitid(unix.P_PID, cmd.Process.Pid, nil, unix.WEXITED|unix.WNOWAIT, nil)
		}()
		for over := false; !over; {
			select {
			case err = <-ended:
				over = true
			case <-time.After(20 * time.Millisecond):
				ownPeak = max(ownPeak, peakOf(fmt.Sprint(cmd.Process.Pid)))
				tasks, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", cmd.Process.Pid))
				for _, name := range tasks {
					text, _ := os.ReadFile(name)
					for _, child := range strings.Fields(string(text)) {
						toolPeak = max(toolPeak, peakOf(child))
					}
				}
			}
		}
		if err != nil {
			b.Fatal(err)
		}
		wall += time.Since(begun).Seconds()
		user, system, below := spentBy(b, cmd.Process.Pid)
		own, tool = own+user+system, tool+below
		cmd.Wait() // faults are planted: what it read tells more
		var res film.Result
		if err := json.Unmarshal(out.Bytes(), &res); err != nil {
			b.Fatalf("%v: %s", err, talk.String())
		}
		for _, p := range res.Pixels {
			if p.Verdict == film.Good {
				good++
			}
		}
	}
	n := float64(b.N)
	b.ReportMetric(own/n, "program-cpu-s")
	b.ReportMetric(tool/n, "ffmpeg-cpu-s")
	b.ReportMetric(wall/n, "clock-s")
	b.ReportMetric(float64(ownPeak)/1024, "program-MiB")
	b.ReportMetric(float64(toolPeak)/1024, "ffmpeg-MiB")
	b.ReportMetric(float64(good)/n, "good-pixels")
	if load, err := os.ReadFile("/proc/loadavg"); err == nil {
		v, _ := strconv.ParseFloat(strings.Fields(string(load))[0], 64)
		b.ReportMetric(v, "load")
	}
	b.ReportMetric(0, "ns/op")
}

// peakOf is the most memory that a process had, in KiB; 0 of one that ended.
func peakOf(pid string) int {
	text, _ := os.ReadFile("/proc/" + pid + "/status")
	_, text, _ = bytes.Cut(text, []byte("VmHWM:"))
	fields := bytes.Fields(text)
	if len(fields) == 0 {
		return 0
	}
	n, _ := strconv.Atoi(string(fields[0]))
	return n
}

// spentBy is the processor time of a process, and of those that it waited for, in seconds.
func spentBy(b *testing.B, pid int) (user, system, below float64) {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	fields := strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:])) // from the third of proc(5) on
	var all [4]float64
	for i := range all {
		if all[i], err = strconv.ParseFloat(fields[11+i], 64); err != nil {
			b.Fatal(err)
		}
		all[i] /= 100 // ticks
	}
	return all[0], all[1], all[2] + all[3]
}

// longFilm renders the film, or takes it from where it was kept.
func longFilm(b *testing.B) (path, plan string) {
	b.Helper()
	dir := *filmIn
	if dir == "" {
		dir = b.TempDir()
	}
	path, plan = filepath.Join(dir, "film.mp4"), filepath.Join(dir, "street.yaml")
	if _, err := os.Stat(path); err == nil {
		return path, plan
	}
	y := render.New(render.Scene{Width: 1920, Height: 1080, Strings: 20, Pixels: 250, Pitch: 5, Core: .6, Blur: 1.1, Ambient: .01, Noise: .002, Shake: .7,
		Seconds: 20, Rate: 30, Even: true, Rolling: .016, Kilobit: 17000, Seed: 4001,
		Branches: true, Car: true, Lamp: true, Wet: true, Drift: true, StringFaults: true, Dead: .005, Dieless: .005, Hot: .005})
	sent, err := render.Plan(y.Plan)
	if err != nil {
		b.Fatal(err)
	}
	show, err := render.Send(sent)
	if err == nil {
		err = y.Video(show, path)
	}
	if err == nil {
		err = os.WriteFile(plan, []byte(y.Plan), 0o600)
	}
	if err != nil {
		b.Fatal(err)
	}
	return path, plan
}
