package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// planted is what a film of the yard's faults shows, however it was held.
const planted = `94 of 96 pixels seen.

To look at:

s1: 24 of 24 pixels seen
  It answers addresses 2 channels later than planned: its first pixel shows universe 1, channel 3.
    what to do: Set its start to universe 1, channel 1 on the port.
  no red: 1 pixel (18)

s2: 23 of 24 pixels seen
  lit while all is dark: 1 pixel (3)
  no blue: 1 pixel (5)

s3: 23 of 24 pixels seen
  lit while all is dark: 1 pixel (2)

Seen as a whole, and good: s4.
`

// readsPhones gives a film as phones leave it behind: held upright or upside down, cut
// off, and films of something else, of ten minutes. Each is read, or refused in one
// sentence that says what to do.
func readsPhones(t *testing.T, shot shot) {
	t.Helper()
	sacntest.NeedTool(t, "ffmpeg")
	frames, plan, dir := shot.frames, shot.plan, t.TempDir()
	film := func(name string, args ...string) string {
		t.Helper()
		path := filepath.Join(dir, name)
		sacntest.Output(t, exec.Command("ffmpeg", append(append([]string{"-nostdin", "-v", "error"}, args...), path)...))
		return path
	}
	level := film("level.mp4", "-framerate", "8.6", "-i", filepath.Join(frames, "%04d.jpg"), "-c:v", "mpeg4", "-q:v", "2")
	for name, args := range map[string][]string{
		"upright":     {"-i", level, "-c", "copy", "-metadata:s:v", "rotate=90"},
		"upside down": {"-i", level, "-vf", "hflip,vflip", "-c:v", "mpeg4", "-q:v", "2"},
	} {
		if _, got, stderr := call(t, "film", film(name+".mp4", args...), plan); !strings.HasSuffix(got, planted) {
			t.Errorf("%s: %s%s", name, got, stderr)
		}
	}
	whole, err := os.ReadFile(film("whole.mkv", "-i", level, "-c", "copy"))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "cut.mkv"), whole[:len(whole)/2], 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		film("grey.mp4", "-i", level, "-vf", "hue=s=0", "-c:v", "mpeg4", "-q:v", "2"): "the film is black and white: film in colour, without night mode",
		filepath.Join(dir, "cut.mkv"): "the film is too short: film for 20 seconds, at least 16",
		film("bars.mp4", "-f", "lavfi", "-i", "testsrc=size=192x108:rate=9:duration=17", "-c:v", "mpeg4"): "show the pattern code",
		film("night.mp4", "-f", "lavfi", "-i", "color=size=192x108:rate=9:duration=17", "-c:v", "mpeg4"):  "no blinking lights are in the film: show the pattern code first",
		film("long.mp4", "-f", "lavfi", "-i", "color=size=64x36:rate=9:duration=600", "-c:v", "mpeg4"):    "the film is too long: at most 90 seconds are read; film for 20",
		film("lapse.mp4", "-f", "lavfi", "-i", "color=size=192x108:rate=2:duration=20", "-c:v", "mpeg4"):  "the film has too few frames: at least 8 a second are needed; turn off time lapse",
	} {
		code, stdout, stderr := call(t, "film", path, plan)
		if last := stderr[strings.LastIndex(strings.TrimRight(stderr, "\n"), "\n")+1:]; code != 1 || stdout != "" || !strings.Contains(last, want) {
			t.Errorf("%s: exit %d; said %q, want %q; printed %q", filepath.Base(path), code, stderr, want, stdout)
		}
	}
}
