package browsertest

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"yardproof/cmd/yardproof/internal/film/filmtest"
	"yardproof/sacn/sacntest"
)

// A film that nobody filmed goes into the page, and what is wrong with the yard comes
// out, at the places where it was planted, and goes on record.
func TestFilm(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, "ffmpeg", chromium)
	scene := filmtest.Small()
	scene.Seed, scene.StringFaults = 51, true // of this seed one string begins elsewhere, one is reversed, two are sound
	yard, _, frames, err := filmtest.Shoot(scene)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	plan, film := filepath.Join(dir, "street.yaml"), encode(t, dir, frames)
	if err := os.WriteFile(plan, []byte(yard.Plan), 0o600); err != nil {
		t.Fatal(err)
	}
	state := filepath.Join(dir, "state")
	d := start(t, exec.Command(program, "run", plan, "--interface", "lo", "--pattern", "dark", "--no-scan", "--state", state, "--http", "127.0.0.1:0"))
	p := tab(t, browser, sizes[0])
	p.do(navigate(d.base + "/film.html"))
	p.tap("#blink")
	p.until(`document.getElementById("say").textContent.startsWith("The addresses blink")`)
	if got := d.showing(); got.Pattern != "code" || got.Level > 10 {
		t.Errorf("for the film, %+v is shown", got)
	}
	p.do(chromedp.SetUploadFiles("#choose", []string{film}))
	for end := time.Now().Add(4 * time.Minute); !eval[bool](p, `!document.getElementById("result").hidden || /[.] *$/.test(document.getElementById("say").textContent) && document.getElementById("going").hidden && document.getElementById("choose").value === "" && !document.getElementById("say").textContent.startsWith("The addresses")`); time.Sleep(200 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("the film is not read; the page says %q", p.text("say"))
		}
	}
	wrong := 0
	for _, s := range yard.Strings {
		is := "good"
		if s.Fault.Kind != "" && s.Fault.Kind != "reversed" { // which end is first is not in a picture alone
			is = "wrong"
			wrong++
		}
		if got := eval[string](p, fmt.Sprintf(`[...document.querySelectorAll("#lines li")].find((l) => l.querySelector("b").textContent === %q)?.dataset.is ?? "not there"`, s.Name)); got != is && (is == "wrong" || got == "wrong") {
			t.Errorf("string %s (%+v) is %s on the page", s.Name, s.Fault, got)
		}
	}
	if said := p.text("say"); wrong != 1 || said != "1 string to look at." {
		t.Errorf("of %d strings with a fault the page says %q", wrong, said)
	}
	if first := eval[string](p, `document.querySelector("#lines li").textContent`); !strings.Contains(first, "than planned: its first pixel shows") {
		t.Errorf("first of the list is %q, and not the string that begins elsewhere", first)
	}

	// A tap in the picture names the light there.
	var read struct {
		Pixels []struct {
			String  string
			Pixel   int
			X, Y    float64
			Verdict string
		}
	}
	d.get("/api/film?film="+eval[string](p, `new URL(document.getElementById("still").src).searchParams.get("film")`), &read)
	p.until(`document.getElementById("still").naturalWidth`)
	named := 0
	for _, x := range read.Pixels {
		if x.Verdict != "good" || math.Min(x.X, x.Y) == 0 || named == 3 {
			continue
		}
		named++
		eval[bool](p, fmt.Sprintf(`(() => { const s = document.getElementById("still"), r = s.getBoundingClientRect(), k = r.width / s.naturalWidth;
			s.dispatchEvent(new MouseEvent("click", {clientX: r.x + %v * k, clientY: r.y + %v * k})); return true })()`, x.X, x.Y))
		if got, want := p.text("which"), fmt.Sprintf("%s, pixel %d: good.", x.String, x.Pixel); got != want {
			t.Errorf("a tap on %s says %q", want, got)
		}
	}
	if named == 0 {
		t.Error("no light is good")
	}
	p.tap("#hung")
	p.until(`document.getElementById("say").textContent.includes("on record")`)
	if got := d.proofs(); len(got) != len(yard.Strings) {
		t.Errorf("%d proofs of %d strings are on record: %+v", len(got), len(yard.Strings), got)
	}
	p.tap("#dark")
	p.until(`document.getElementById("say").textContent.startsWith("Everything is dark")`)
	if got := d.showing(); got.Pattern != "dark" {
		t.Errorf("after dark, %+v is shown", got)
	}

	// What is no film is told of.
	other := filepath.Join(dir, "song.webm")
	if err := os.WriteFile(other, []byte("la la la"), 0o600); err != nil {
		t.Fatal(err)
	}
	p.do(chromedp.SetUploadFiles("#choose", []string{other}))
	p.until(`document.getElementById("say").textContent.startsWith("This phone cannot play the film")`)
}

// encode makes a film file of frames, each shown when it was taken.
func encode(t *testing.T, dir string, frames []filmtest.Frame) string {
	t.Helper()
	shot := filepath.Join(dir, "shot")
	if err := os.Mkdir(shot, 0o700); err != nil {
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
	names, film := filepath.Join(dir, "frames.txt"), filepath.Join(dir, "film.webm")
	if err := os.WriteFile(names, []byte(list.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("ffmpeg", "-v", "error", "-f", "concat", "-safe", "0", "-i", names, "-fps_mode", "vfr", "-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "4", "-b:v", "4M", film).CombinedOutput(); err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, out)
	}
	return film
}
