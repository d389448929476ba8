package browsertest

import (
	"fmt"
	"os/exec"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"yardproof/sacn/sacntest"
)

// rehearse opens the drawn yard of a rehearsal.
func rehearse(t *testing.T, s size, args ...string) (*daemon, *phone) {
	t.Helper()
	sacntest.NeedTool(t, chromium)
	d := start(t, exec.Command(program, append([]string{"rehearse", "--demo", "--http", "127.0.0.1:0"}, args...)...))
	p := tab(t, browser, s)
	p.do(chromedp.Navigate(d.base + "/rehearsal/"))
	p.until(`document.body.dataset.link === "up" && document.getElementById("ropes").ropes?.frames > 2`)
	return d, p
}

const (
	lit = `document.getElementById("ropes").ropes.colours.some((v) => v > 0)`
	// brightest is what the brightest point of the drawn lamps has, 0 to 255.
	brightest = `(() => {
		const c = document.getElementById("ropes"), r = c.ropes, scale = c.width / c.clientWidth;
		return Math.max(...r.places.map(([x, y]) => Math.max(...c.getContext("2d").getImageData(x * scale, y * scale, 1, 1).data.slice(0, 3))));
	})()`
)

// The newcomer's first minute: make demo shows pixels that light, and Dark puts them
// out.
func TestDemoLightsAndGoesDark(t *testing.T) {
	for _, s := range sizes {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			d, p := rehearse(t, s)
			p.until(lit + ` && ` + brightest + ` > 150`)
			p.tap("#dark")
			p.until(`document.getElementById("dark").dataset.is === "dark" && !(` + lit + `)`)
			if got := eval[float64](p, brightest); got > 80 { // an unlit lamp is grey
				t.Errorf("a lamp is drawn %g bright", got)
			}
			if got := d.showing(); got.Pattern != "dark" {
				t.Errorf("%+v is shown", got)
			}
			if wide := eval[float64](p, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
				t.Errorf("the page is %g px too wide", wide)
			}
		})
	}
}

// An evening with one hidden fault: both meters are read, the wrong thing is mended,
// then the right one, and the score tells of both.
func TestHiddenFault(t *testing.T) {
	t.Parallel()
	_, p := rehearse(t, sizes[1], "--hidden", "1", "--seed", "3")
	p.tap("#probe")
	p.until(`/ V, .* A\. That took 6 minutes/.test(document.getElementById("reading").textContent)`) // there, and up the ladder
	eval[string](p, `document.getElementById("claim-place").value = "1"`)
	p.tap("#mend")
	p.until(`document.getElementById("mended").textContent.includes("Nothing was broken there")`)
	p.tap("#end")
	p.until(`document.querySelectorAll("#score li").length === 1 && document.getElementById("hidden").textContent.includes("of 1 in")`)
}

// axe-core finds nothing in the drawn yard, with hidden faults, when one has been
// named and when the evening is over.
func TestRehearsalAxe(t *testing.T) {
	axe := axeCore(t)
	for _, s := range sizes {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			_, p := rehearse(t, s, "--hidden", "2", "--seed", "3")
			eval[bool](p, axe+"; true")
			p.accessible("drawn yard")
			p.tap("#probe")
			p.until(`document.getElementById("reading").textContent.includes("minutes")`)
			eval[string](p, `document.getElementById("claim-place").value = "1"`)
			p.tap("#mend")
			p.until(`document.getElementById("mended").textContent !== ""`)
			p.accessible("after a try")
			p.tap("#end")
			p.until(`document.querySelectorAll("#score li").length > 0`)
			p.accessible("evening over")
		})
	}
}

// The yard is drawn ten times a second or more, by a clock that goes on to
// whatever the page waits for next: it draws a picture whenever it has one, and does not
// wait longer between two.
func TestDrawnTenTimesASecond(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, chromium)
	d := start(t, exec.Command(program, "rehearse", "--demo", "--http", "127.0.0.1:0"))
	p := tab(t, browser, sizes[0])
	_, err := chromedp.Call(p.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `{
		const clock = globalThis.clock = { now: 0, due: [] }, real = globalThis.setTimeout;
		globalThis.setTimeout = (f, ms = 0, ...rest) => (ms > 500 ? real(f, ms, ...rest) : clock.due.push({ at: clock.now + ms, f }));
		clock.next = () => {
			const next = clock.due.sort((a, b) => a.at - b.at).shift();
			if (next) { clock.now = Math.max(clock.now, next.at); next.f(); }
			return clock.now;
		};
	}`})
	if err != nil {
		t.Fatal(err)
	}
	p.do(chromedp.Navigate(d.base + "/rehearsal/"))
	const drawn = `document.getElementById("ropes").ropes?.frames`
	p.until(drawn + ` > 0`)
	const frames = 20
	for eval[float64](p, drawn) < frames {
		before := eval[float64](p, drawn)
		p.until(`clock.due.length > 0`)
		eval[float64](p, `clock.next()`)
		p.until(drawn + fmt.Sprintf(` > %g || clock.due.length > 0`, before))
	}
	if ms := eval[float64](p, `clock.now`); ms > frames*100 {
		t.Errorf("%d frames are drawn in %g ms", frames, ms)
	}
}
