package browsertest

import (
	"fmt"
	"os/exec"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// A gable without a fuse that is fed too thinly.
const gable = `supplies: [{name: hut, volts: 12, watts: 350, at: [0, 0]}]
stock: {wire: [{awg: 18, price: 0.6, have: 1}], fuses: [{amps: 3, price: 0.5}, {amps: 5, price: 0.5}], connectors: {price: 1.2, have: 5}}
strings:
  - name: gable
    universe: 1
    pixels: 100
    supply: hut
    amps_per_pixel: 0.04
    pitch: {awg: 18, millimetres: 76}
    at: [3, 0]
    to: [3, 8]
    feeds:
      - {at: start, awg: 18, metres: 1} # by the window
`

func powered(t *testing.T, plan string) *daemon {
	t.Helper()
	file := sacntest.File(t, "street.yaml", plan)
	return start(t, exec.Command(program, "run", file, "--interface", "lo", "--pattern", "dark", "--no-scan", "--state", t.TempDir(), "--http", "127.0.0.1:0"))
}

// The yard's page leads to a proposal, which shows what changes, why, what it costs beside
// today's, what to buy and the lines of the plan, on a phone and on a laptop.
func TestPower(t *testing.T) {
	t.Parallel()
	axe := axeCore(t)
	d := powered(t, gable)
	for _, s := range sizes {
		p := open(t, d.base, s)
		if p.touch {
			p.tap("[data-to=yard]")
		}
		p.until(`document.querySelector('a[href="/power.html"]').offsetParent`)
		p.do(navigate(d.base + "/power.html"))
		p.tap("#ask")
		p.until(`!document.getElementById("answer").hidden`)
		for id, want := range map[string]string{
			"answer-title": "1 string: cost ",
			"gap":          "Of all that was tried nothing that holds costs less.",
			"changes":      "Today: its feed at start has no fuse",
			"cuts":         "18 AWG copper: gable at ",
			"items":        "fuse: 3 A, DC-rated2––2", // needed, spare, in hand, buy
			"patch":        "-      - {at: start, awg: 18, metres: 1} # by the window+      - {at: start, awg: 18, metres: 1, fuse_amps: 3}  # by the window+      - {at: ",
			"rests":        "A proposal helps a licensed person decide.",
		} {
			if got := p.text(id); !strings.Contains(got, want) {
				t.Errorf("%s: #%s is %q, lacks %q", s.name, id, got, want)
			}
		}
		if got := eval[string](p, `document.querySelector("#changes .feed").textContent`); !strings.HasPrefix(got, "at start from hut: 18 AWG copper, 1 m, 3 A fuse; ") || !strings.HasSuffix(got, " A flow (changed)") {
			t.Errorf("%s: the first feed is %q", s.name, got)
		}
		eval[bool](p, axe+"; true")
		p.accessible("a proposal, " + s.name)
		if wide := eval[float64](p, `document.documentElement.scrollWidth`); wide > float64(s.width) {
			t.Errorf("%s: the page is %v px wide", s.name, wide)
		}
	}
	p := open(t, d.base, sizes[0])
	p.do(navigate(d.base + "/power.html"))
	p.set("level", "nothing")
	p.tap("#ask")
	p.until(`document.getElementById("say").textContent.startsWith("Write a level")`)
	p.tap("#dark")
	p.until(`document.getElementById("say").textContent.startsWith("Everything is dark")`)
}

// A search that would go on is ended by the page's key and by its going away, and the
// next one may begin.
func TestPowerStops(t *testing.T) {
	t.Parallel()
	var plan strings.Builder
	plan.WriteString("supplies: [{name: hut, volts: 12, watts: 1000, at: [0, 0]}]\nstrings:\n")
	for i := range 12 {
		fmt.Fprintf(&plan, "  - {name: rail-%d, universe: %d, pixels: 150, supply: hut, amps_per_pixel: 0.0%d, pitch: {awg: 18, millimetres: 76}, at: [1, %d], to: [12, %d]}\n", i, 1+i, 31+i, i, i)
	}
	d := powered(t, plan.String())
	p, other := open(t, d.base, sizes[0]), open(t, d.base, sizes[1])
	looks := `document.getElementById("say").textContent.startsWith("The laptop looks")`
	for _, x := range []*phone{p, other} {
		x.do(navigate(d.base + "/power.html"))
	}
	p.tap("#ask")
	p.until(looks)
	other.tap("#ask")
	other.until(`document.getElementById("say").textContent.startsWith("Another proposal is being worked out.")`)
	p.tap("#stop")
	p.until(`document.getElementById("say").textContent === "Stopped."`)
	again := func(x *phone) {
		x.until(`(() => {
			const ask = document.getElementById("ask");
			if (!ask.disabled && !window.asked) { window.asked = true; ask.click(); }
			if (!document.getElementById("say").textContent.startsWith("The laptop looks:")) { if (!ask.disabled) window.asked = false; return false; }
			return true;
		})()`) // the laptop may be told of the end a little later; it says how far it is
	}
	again(other)
	other.do(navigate(d.base + "/film.html"))
	again(p)
	if got := d.showing(); got.Pattern != "dark" {
		t.Errorf("%+v is shown", got)
	}
}
