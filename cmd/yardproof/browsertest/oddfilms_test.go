package browsertest

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"yardproof/sacn/sacntest"
)

// mostMemory is what the program may take while it reads films, in MiB.
const mostMemory = 500

// BenchmarkOddFilms hands the page films as phones and people make them, some minutes of
// them. Each is read as it should be, or refused in one sentence, within bounds of memory,
// and the show goes on.
func BenchmarkOddFilms(b *testing.B) {
	for range b.N {
		oddFilms(b)
	}
}

func oddFilms(t testing.TB) {
	sacntest.NeedTool(t, "ffmpeg", chromium)
	f, frames := shoot(t)
	f.laptop = start(t, exec.Command(program, "run", f.plan, "--interface", "lo", "--pattern", "code", "--no-scan", "--state", f.state, "--http", "127.0.0.1:0"))
	f.phone = tab(t, browser, sizes[0])
	f.do(navigate(f.laptop.base + "/film.html"))

	fine := []string{"-c:v", "libx264", "-preset", "ultrafast", "-crf", "18", "-pix_fmt", "yuv420p"}
	film := func(name string, args ...string) string {
		return encode(t, f.dir, name, frames, append(args, fine...)...)
	}
	other := func(name string, args ...string) string {
		path := filepath.Join(f.dir, name)
		ffmpeg(t, append(args, path)...)
		return path
	}
	const right = "" // verdicts
	films := []struct {
		says string
		make func() string
	}{
		{"The film is black and white: film in colour, without night mode.", func() string { return film("grey.mp4", "-vf", "hue=s=0") }},
		{right, func() string { return film("turned.mp4", "-vf", "hflip,vflip") }},
		{right, func() string {
			return other("upside-down.mp4", "-i", filepath.Join(f.dir, "turned.mp4"), "-c", "copy", "-metadata:s:v", "rotate=180")
		}},
		{"Lights are in the film, but none blinks an address", func() string {
			return other("life.webm", "-f", "lavfi", "-i", "life=size=384x216:rate=10:mold=10:ratio=.1", "-t", "17", "-c:v", "libvpx")
		}},
		{"The film is too long: at most 90 seconds are read. Film for 20.", func() string {
			return other("ten-minutes.mp4", append([]string{"-stream_loop", "-1", "-i", film("level.mp4"), "-t", "600"}, fine...)...)
		}},
		{"The film is too long: at most 90 seconds are read; film for 20.", func() string { // and nothing in it says so
			path := filepath.Join(f.dir, "endless.webm")
			out, err := exec.Command("sh", "-c", fmt.Sprintf(`ffmpeg -nostdin -v error -stream_loop -1 -i '%s' -t 600 -c:v libvpx -deadline realtime -cpu-used 8 -f webm -live 1 - > '%s'`, filepath.Join(f.dir, "level.mp4"), path)).CombinedOutput()
			if err != nil {
				t.Fatalf("ffmpeg: %v: %s", err, out)
			}
			return path
		}},
		{right, func() string {
			return film("4k.mp4", "-vf", "scale=3840:2160:flags=neighbor,fps=60", "-g", "60")
		}},
	}
	for _, tt := range films {
		path := tt.make()
		begun := time.Now()
		f.do(chromedp.SetUploadFiles("#choose", []string{path}))
		sacntest.Eventually(t, 20*time.Minute, "an answer", func() bool { return eval[bool](f.phone, `document.getElementById("choose").value === ""`) })
		said := f.text("say")
		is := f.answer(f.id())
		t.Logf("%s: %.0f s, %d frames, %d MiB at most: %s", filepath.Base(path), time.Since(begun).Seconds(), is.Frames, f.laptop.memory(), said)
		if tt.says == right {
			f.right(is)
		} else if !strings.HasPrefix(said, tt.says) || f.id() != "" || eval[bool](f.phone, `!document.getElementById("going").hidden || !document.getElementById("result").hidden`) {
			t.Errorf("%s: the page says %q, want %q", filepath.Base(path), said, tt.says)
		}
		if got := f.laptop.showing(); got.Pattern != "code" {
			t.Errorf("after %s, %+v is shown", filepath.Base(path), got)
		}
		if got := f.laptop.memory(); got > mostMemory {
			t.Errorf("after %s the program has taken %d MiB", filepath.Base(path), got)
		}
		if got := f.pictures(); len(got) > 0 {
			t.Errorf("%s leaves %q", filepath.Base(path), got)
		}
	}
}

// right holds what a film of the whole yard shows against the yard.
func (f *filming) right(got filmed) {
	f.t.Helper()
	wrong := 0
	for _, s := range f.yard.Strings {
		is := "good"
		if s.Fault.Kind != "" && s.Fault.Kind != "reversed" {
			is, wrong = "wrong", wrong+1
		}
		if got := eval[string](f.phone, fmt.Sprintf(`[...document.querySelectorAll("#lines li")].find((l) => l.querySelector("b").textContent === %q)?.dataset.is ?? "not there"`, s.Name)); got != is {
			f.t.Errorf("string %s (%+v) is %s on the page", s.Name, s.Fault, got)
		}
	}
	seen := 0
	for _, p := range got.Pixels {
		if p.Verdict != "not-seen" {
			seen++
		}
	}
	if said := f.text("say"); got.Is != "read" || seen < len(got.Pixels) || said != fmt.Sprintf("%d string to look at.", wrong) {
		f.t.Errorf("%s: %d of %d pixels seen; the page says %q", got.Is, seen, len(got.Pixels), said)
	}
}

var highWater = regexp.MustCompile(`(?m)^VmHWM:\s+(\d+) kB$`)

// memory is the most that the program has taken, in MiB.
func (d *daemon) memory() int {
	d.t.Helper()
	text := sacntest.Read(d.t, fmt.Sprintf("/proc/%d/status", d.cmd.Process.Pid))
	m := highWater.FindStringSubmatch(text)
	if m == nil {
		d.t.Fatalf("no high water mark in %s", text)
	}
	kb, err := strconv.Atoi(m[1])
	if err != nil {
		d.t.Fatal(err)
	}
	return kb >> 10
}
