package browsertest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"yardproof/cmd/yardproof/internal/film/render"
	"yardproof/sacn/sacntest"
)

// A film that nobody filmed goes into the page of a phone, from one side and then from
// the other; the page is closed on the way, and opened again. What is wrong with the yard
// comes out, at the places where it was planted, and goes on record.
func TestFilm(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, "ffmpeg", chromium)
	f, frames := shoot(t)
	// A wall hides a third; from behind it hides another part, and there the phone is held upright.
	front := encode(t, f.dir, "front.webm", frames, "-vf", "drawbox=w=iw/3:color=black:t=fill", "-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "4", "-b:v", "4M")
	behind := encode(t, f.dir, "behind.mp4", frames, "-vf", "hflip,drawbox=w=iw/4:h=ih/2:color=black:t=fill", "-c:v", "libx264", "-preset", "veryfast", "-crf", "18", "-pix_fmt", "yuv420p")
	back := filepath.Join(f.dir, "back.mp4")
	ffmpeg(t, "-i", behind, "-c", "copy", "-metadata:s:v", "rotate=90", back)
	f.laptop = start(t, exec.Command(program, "run", f.plan, "--interface", "lo", "--pattern", "dark", "--no-scan", "--state", f.state, "--http", "127.0.0.1:0"))
	f.phone = tab(t, browser, sizes[0])
	f.do(navigate(f.laptop.base + "/film.html"))
	f.tap("#blink")
	f.says("The addresses blink")
	if got := f.laptop.showing(); got.Pattern != "code" || got.Level > 10 {
		t.Errorf("for the film, %+v is shown", got)
	}

	f.givenUp(front)
	f.do(chromedp.SetUploadFiles("#choose", []string{front}))
	f.says("The laptop reads the film")
	f.do(navigate("about:blank"))
	f.do(navigate(f.laptop.base + "/film.html")) // it was read meanwhile
	f.read()
	one := f.answer(f.id())
	if said := f.text("say"); len(one.Sides) != 1 || said != "1 string to look at." {
		t.Errorf("of one side of %d the page says %q", len(one.Sides), said)
	}
	f.record("#hung")
	if got := f.pictures(); len(got) > 0 {
		t.Errorf("nobody asked for a picture, and %q are kept", got)
	}
	if got := len(f.laptop.proofs()); got != 1 { // good is only what was seen as a whole
		t.Errorf("%d proofs are on record after one side", got)
	}

	f.do(chromedp.SetUploadFiles("#also", []string{back}))
	f.says("The film is handed over")
	f.read()
	f.joined(one)
	f.tapped()
	eval[bool](f.phone, `(document.getElementById("keep").click(), true)`)
	f.record("#opening")
	f.kept()
	f.tap("#dark")
	f.says("Everything is dark")
	if got := f.laptop.showing(); got.Pattern != "dark" {
		t.Errorf("after dark, %+v is shown", got)
	}
}

// What is no film of the yard is told of in one sentence, and soon: nobody waits for ten
// minutes to be played.
func TestNoFilm(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, "ffmpeg", chromium)
	dir := t.TempDir()
	f := filming{laptop: demo(t, t.TempDir()), phone: tab(t, browser, sizes[0])}
	f.do(navigate(f.laptop.base + "/film.html"))
	eval[bool](f.phone, `(document.getElementById("video").defaultPlaybackRate = 2, true)`) // the test need not wait
	film := func(name string, args ...string) string {
		path := filepath.Join(dir, name)
		ffmpeg(t, append(append([]string{"-f", "lavfi", "-i"}, args...), path)...)
		return path
	}
	write := func(name, text string) string { return sacntest.File(t, name, text) }
	whole := sacntest.Read(t, film("whole.mp4", "testsrc=size=192x108:rate=10:duration=17", "-c:v", "libx264", "-pix_fmt", "yuv420p", "-movflags", "faststart"))
	for _, tt := range []struct{ path, says string }{
		{film("long.webm", "color=size=64x36:rate=1:duration=600", "-c:v", "libvpx"), "The film is too long: at most 90 seconds are read. Film for 20."},
		{film("short.webm", "color=size=64x36:rate=10:duration=5", "-c:v", "libvpx"), "The film is too short: film for 20 seconds, at least 16."},
		{film("song.wav", "sine=duration=17"), "There is no picture in it: it is no film. Choose another."},
		{write("note.mp4", "la la la"), "This phone cannot play the film. Choose another"},
		{write("empty.mp4", ""), "This phone cannot play the film. Choose another"},
		{write("headless.mp4", whole[len(whole)/2:]), "This phone cannot play the film. Choose another"},
		{write("cut.mp4", whole[:len(whole)/2]), "This phone cannot play the film. Choose another"},
		{film("street.webm", "testsrc=size=192x108:rate=10:duration=17", "-c:v", "libvpx"), "No blinking lights are in the film: show the pattern code first, then film the yard in the dark"},
	} {
		f.do(chromedp.SetUploadFiles("#choose", []string{tt.path}))
		f.waits(`document.getElementById("choose").value === ""`)
		if said := f.text("say"); !strings.HasPrefix(said, tt.says) || eval[bool](f.phone, `!document.getElementById("going").hidden || !document.getElementById("result").hidden`) || f.id() != "" {
			t.Errorf("%s: the page says %q, want %q", filepath.Base(tt.path), said, tt.says)
		}
	}
}

// shoot films a yard whose truth is known.
func shoot(t testing.TB) (filming, []render.Frame) {
	t.Helper()
	scene := render.Small()
	scene.Seed, scene.StringFaults = 51, true // of this seed one string begins elsewhere, one is reversed, two are sound
	yard, _, frames, err := render.Shoot(scene)
	if err != nil {
		t.Fatal(err)
	}
	f := filming{dir: t.TempDir(), yard: yard}
	f.plan, f.state = filepath.Join(f.dir, "street.yaml"), filepath.Join(f.dir, "state")
	sacntest.Write(t, f.plan, yard.Plan)
	return f, frames
}

// encode makes a film file of frames, each shown when it was taken, as ffmpeg's args say.
func encode(t testing.TB, dir, name string, frames []render.Frame, args ...string) string {
	t.Helper()
	shot := filepath.Join(dir, "shot")
	if err := os.MkdirAll(shot, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := render.Write(shot, frames); err != nil {
		t.Fatal(err)
	}
	var list strings.Builder
	for i := range frames {
		fmt.Fprintf(&list, "file '%s/%04d.jpg'\n", shot, i)
		if i+1 < len(frames) {
			fmt.Fprintf(&list, "duration %.3f\n", (frames[i+1].At - frames[i].At).Seconds())
		}
	}
	names, film := filepath.Join(dir, "frames.txt"), filepath.Join(dir, name)
	sacntest.Write(t, names, list.String())
	ffmpeg(t, append(append([]string{"-f", "concat", "-safe", "0", "-i", names, "-fps_mode", "vfr"}, args...), film)...)
	return film
}

func ffmpeg(t testing.TB, args ...string) {
	t.Helper()
	sacntest.Output(t, exec.Command("ffmpeg", append([]string{"-nostdin", "-v", "error"}, args...)...))
}
