package browsertest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"yardproof/cmd/yardproof/internal/film/render"
	"yardproof/sacn/sacntest"
)

// filming is a yard that is filmed with a phone.
type filming struct {
	*phone
	laptop           *daemon
	dir, plan, state string
	yard             *render.Yard
}

// filmed is a film as the laptop tells of it.
type filmed struct {
	Is     string
	Frames int
	Sides  []struct{ Width, Height int }
	Pixels []filmedPixel
}

type filmedPixel struct {
	String      string
	Pixel, Film int
	X, Y        float64
	Verdict     string
}

// id is the film that the page is at.
func (f *filming) id() string {
	return eval[string](f.phone, `localStorage.getItem("yardproof.film") || ""`)
}

// answer is what the laptop says of a film; nothing when it has none of that name.
func (f *filming) answer(id string) (got filmed) {
	f.t.Helper()
	resp, err := http.Get(f.laptop.base + "/api/film?film=" + id)
	if err != nil {
		f.t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode == http.StatusNotFound {
		return got
	}
	if err := json.NewDecoder(resp.Body).Decode(&got); err != nil {
		f.t.Fatal(err)
	}
	return got
}

// says waits until the page says something that begins so.
func (f *filming) says(words string) {
	f.t.Helper()
	f.waits(fmt.Sprintf(`document.getElementById("say").textContent.startsWith(%q)`, words))
}

// read waits until a film is read.
func (f *filming) read() {
	f.t.Helper()
	f.waits(`!document.getElementById("result").hidden && document.getElementById("going").hidden && document.getElementById("still").naturalWidth`)
}

// waits is until for what takes as long as a film.
func (f *filming) waits(js string) {
	f.t.Helper()
	sacntest.Eventually(f.t, 4*time.Minute, "the page to come to "+js, func() bool { return eval[bool](f.phone, "!!("+js+")") })
}

// givenUp hands a film over twice, and comes to no end: the page is closed, and opened
// again; and it is stopped.
func (f *filming) givenUp(film string) {
	f.t.Helper()
	coming := func() string {
		f.do(chromedp.SetUploadFiles("#choose", []string{film}))
		f.says("The film is handed over")
		id := f.id()
		sacntest.Eventually(f.t, time.Minute, "frames", func() bool { return f.answer(id).Frames > 5 })
		return id
	}
	id := coming()
	f.do(navigate("about:blank"))
	if is := f.answer(id).Is; is != "coming" {
		f.t.Errorf("when the page is closed the film is %q", is)
	}
	f.do(navigate(f.laptop.base + "/film.html"))
	f.says("The page was closed before the whole film was handed over. Nothing of that film is kept. Choose it again.")
	if is := f.answer(id).Is; is != "" {
		f.t.Errorf("when the page is opened again the film is still %q", is)
	}
	id = coming()
	f.tap("#cancel")
	f.says("Stopped. Nothing of that film is kept.")
	sacntest.Eventually(f.t, time.Minute, "the film to be gone", func() bool { return f.answer(id).Is == "" })
	if got := f.pictures(); len(got) > 0 || f.laptop.showing().Pattern != "code" {
		f.t.Errorf("films that were given up leave %q, and %+v is shown", got, f.laptop.showing())
	}
}

// record puts what was seen on record.
func (f *filming) record(button string) {
	f.t.Helper()
	f.tap(button)
	f.waits(`document.getElementById("say").textContent.endsWith("on record.")`)
}

// pictures are the files beside the record that have a JPEG in them.
func (f *filming) pictures() (names []string) {
	f.t.Helper()
	err := filepath.WalkDir(f.state, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		if bytes.Contains(text, []byte("\xff\xd8\xff")) {
			names = append(names, filepath.Base(path))
		}
		return err
	})
	if err != nil {
		f.t.Fatal(err)
	}
	return names
}

// joined holds what two sides show against the yard, and against one of them.
func (f *filming) joined(one filmed) {
	t := f.t
	t.Helper()
	both := f.answer(f.id())
	count := func(r filmed) (seen, sides int) {
		at := map[int]bool{}
		for _, p := range r.Pixels {
			if p.Verdict != "not-seen" {
				seen++
				at[p.Film] = true
			}
		}
		return seen, len(at)
	}
	before, _ := count(one)
	seen, sides := count(both)
	if len(both.Sides) == 2 && both.Sides[1].Width > both.Sides[1].Height {
		t.Errorf("the phone was held upright, and the picture is %+v", both.Sides[1])
	}
	if len(both.Sides) != 2 || before > 70 || seen < 90 || sides != 2 {
		t.Errorf("one side shows %d pixels, %d sides %d, and %d of them count", before, len(both.Sides), seen, sides)
	}
	for _, s := range f.yard.Strings {
		is := "good"
		if s.Fault.Kind != "" && s.Fault.Kind != "reversed" { // which end is first is not in a picture alone
			is = "wrong"
		}
		if got := eval[string](f.phone, fmt.Sprintf(`[...document.querySelectorAll("#lines li")].find((l) => l.querySelector("b").textContent === %q)?.dataset.is ?? "not there"`, s.Name)); got != is {
			t.Errorf("string %s (%+v) is %s on the page", s.Name, s.Fault, got)
		}
	}
	if said, title := f.text("say"), f.text("result-title"); said != "1 string to look at." || title != "What the films show" {
		t.Errorf("the page says %q and %q", said, title)
	}
	if first := eval[string](f.phone, `document.querySelector("#lines li").textContent`); !strings.Contains(first, "than planned: its first pixel shows") {
		t.Errorf("first of the list is %q, and not the string that begins elsewhere", first)
	}
}

// tapped taps a light in the picture of each side: it is named, and lights.
func (f *filming) tapped() {
	t := f.t
	t.Helper()
	both := f.answer(f.id())
	for side := range both.Sides {
		f.press("#sides", fmt.Sprintf("Side %d", side+1))
		f.until(fmt.Sprintf(`document.getElementById("still").complete && document.getElementById("still").src.includes("/%d?")`, side))
		if f.until(`document.getElementById("still").naturalWidth`); eval[bool](f.phone, `!document.getElementById("there").hidden`) {
			t.Error("a light may be lit before one was tapped")
		}
		named := ""
		for _, x := range both.Pixels {
			if x.Film != side || x.Verdict != "good" || x.X == 0 {
				continue
			}
			f.touchStill(x.X, x.Y)
			named = fmt.Sprintf("%s, pixel %d: good.", x.String, x.Pixel)
			if got := f.text("which"); got != named {
				t.Errorf("a tap on %s says %q", named, got)
			}
			f.tap("#there")
			f.says(fmt.Sprintf("White on %s is pixel %d.", x.String, x.Pixel))
			if got := f.laptop.showing(); got.Pattern != "half" || len(got.Strings) != 1 || got.Strings[0] != x.String || got.Pixel != x.Pixel {
				t.Errorf("to walk to %s, %+v is shown", named, got)
			}
			break
		}
		if named == "" {
			t.Errorf("no light of side %d is good", side+1)
		}
	}
	f.screenshotOf(both)
	f.touchStill(2, 2)
	if got := f.text("which"); got != "There is no light near that place." || eval[bool](f.phone, `!document.getElementById("there").hidden`) {
		t.Errorf("a tap beside all lights says %q", got)
	}
}

// screenshotOf keeps the first side with a light tapped.
func (f *filming) screenshotOf(both filmed) {
	f.t.Helper()
	f.press("#sides", "Side 1")
	f.until(`document.getElementById("still").complete && document.getElementById("still").src.includes("/0?")`)
	for _, x := range both.Pixels {
		if x.Film == 0 && x.X > 0 && x.String == "s2" {
			f.touchStill(x.X, x.Y)
			break
		}
	}
	eval[bool](f.phone, `(document.getElementById("result").scrollIntoView(), true)`)
	f.screenshot("phone-film")
}

// touchStill taps a place in the picture.
func (f *filming) touchStill(x, y float64) {
	f.t.Helper()
	eval[bool](f.phone, fmt.Sprintf(`(() => { const s = document.getElementById("still"), r = s.getBoundingClientRect(), k = r.width / s.naturalWidth;
		s.dispatchEvent(new MouseEvent("click", {clientX: r.x + %v * k, clientY: r.y + %v * k})); return true })()`, x, y))
}

// kept looks for what went on record: in the record, on the page of a string, and in the
// report and on its paper.
func (f *filming) kept() {
	t := f.t
	t.Helper()
	got := f.laptop.proofs()
	faults, good := 0, 0
	for _, p := range got {
		switch {
		case p.Stage != "opening":
		case p.Verdict == "fault":
			faults++
		case p.Verdict == "good":
			good++
		}
		if !strings.HasPrefix(p.Seen, "film of 20") {
			t.Errorf("the proof %+v does not name the film", p)
		}
	}
	if faults != 1 || good != len(f.yard.Strings)-1 {
		t.Errorf("on record are %+v", got)
	}
	if n := len(f.pictures()); n != 2 {
		t.Errorf("two pictures are asked for, and %q are there", f.pictures())
	}

	p := open(t, f.laptop.base, sizes[1])
	p.choose("s2")
	p.until(`document.getElementById("where").hash === "#s2"`)
	p.do(navigate(eval[string](p, `document.getElementById("where").href`)))
	p.until(`document.getElementById("still").naturalWidth`)
	if title, said := p.text("title"), p.text("say"); title != "Where the pixels of s2 are" || !strings.HasPrefix(said, "24 of 24 pixels seen: film of 20") {
		t.Errorf("the string's page says %q and %q", title, said)
	}
	if below := eval[float64](p, `document.getElementById("still").getBoundingClientRect().top / innerHeight`); below > .5 {
		t.Errorf("the picture begins %.1f screens down", below)
	}
	if high := eval[float64](p, `document.getElementById("still").getBoundingClientRect().height / innerHeight`); high > 1 {
		t.Errorf("the picture is %.1f screens high", high)
	}
	p.screenshot("laptop-film-places")

	sheet, err := exec.Command(program, "report", f.plan, "--state", f.state, "--format", "html").Output()
	if err != nil {
		t.Fatal(err)
	}
	paper := filepath.Join(f.dir, "report.html")
	sacntest.Write(t, paper, sheet)
	p.do(navigate((&url.URL{Scheme: "file", Path: paper}).String()))
	if drawn := eval[int](p, `[...document.querySelectorAll("figure img")].filter((i) => i.complete && i.naturalWidth && i.getBoundingClientRect().height < innerHeight).length`); drawn != 2 {
		t.Errorf("%d pictures are in the report", drawn)
	}
	css := true
	out, err := chromedp.Call(p.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &css})
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(out.Data), "/Subtype /Image"); n < 2 {
		t.Errorf("%d pictures are on paper", n)
	}
}
