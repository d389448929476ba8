package browsertest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"yardproof/cmd/yardproof/internal/film/filmtest"
	"yardproof/sacn/sacntest"
)

// A film that nobody filmed goes into the page of a phone, from one side and then from
// the other; the page is closed on the way, and opened again. What is wrong with the yard
// comes out, at the places where it was planted, and goes on record.
func TestFilm(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, "ffmpeg", chromium)
	scene := filmtest.Small()
	scene.Seed, scene.StringFaults = 51, true // of this seed one string begins elsewhere, one is reversed, two are sound
	yard, _, frames, err := filmtest.Shoot(scene)
	if err != nil {
		t.Fatal(err)
	}
	f := filming{dir: t.TempDir(), yard: yard}
	f.plan, f.state = filepath.Join(f.dir, "street.yaml"), filepath.Join(f.dir, "state")
	front := encode(t, f.dir, "front", frames, "drawbox=w=iw/3:color=black:t=fill")            // a wall hides a third
	back := encode(t, f.dir, "back", frames, "hflip,drawbox=w=iw/4:h=ih/2:color=black:t=fill") // from there another part
	if err := os.WriteFile(f.plan, []byte(yard.Plan), 0o600); err != nil {
		t.Fatal(err)
	}
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
	f.screenshot("phone-film")
	eval[bool](f.phone, `(document.getElementById("keep").click(), true)`)
	f.record("#opening")
	f.kept()
	f.tap("#dark")
	f.says("Everything is dark")
	if got := f.laptop.showing(); got.Pattern != "dark" {
		t.Errorf("after dark, %+v is shown", got)
	}

	// What is no film is told of.
	other := filepath.Join(f.dir, "song.webm")
	if err := os.WriteFile(other, []byte("la la la"), 0o600); err != nil {
		t.Fatal(err)
	}
	f.do(chromedp.SetUploadFiles("#choose", []string{other}))
	f.says("This phone cannot play the film")
}

// encode makes a film file of frames, each shown when it was taken, and as a filter of
// ffmpeg has it.
func encode(t *testing.T, dir, name string, frames []filmtest.Frame, filter string) string {
	t.Helper()
	shot := filepath.Join(dir, "shot")
	if err := os.MkdirAll(shot, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := filmtest.Write(shot, frames); err != nil {
		t.Fatal(err)
	}
	var list strings.Builder
	for i := range frames {
		fmt.Fprintf(&list, "file '%s/%04d.jpg'\n", shot, i)
		if i+1 < len(frames) {
			fmt.Fprintf(&list, "duration %.3f\n", (frames[i+1].At - frames[i].At).Seconds())
		}
	}
	names, film := filepath.Join(dir, "frames.txt"), filepath.Join(dir, name+".webm")
	if err := os.WriteFile(names, []byte(list.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("ffmpeg", "-v", "error", "-f", "concat", "-safe", "0", "-i", names, "-vf", filter, "-fps_mode", "vfr", "-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "4", "-b:v", "4M", film).CombinedOutput(); err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, out)
	}
	return film
}
