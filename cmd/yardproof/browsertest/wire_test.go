package browsertest

import (
	"context"
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"yardproof/config"
	"yardproof/sacn/sacntest"
)

// linkFor makes a link once the transmitter of the state directory can be asked.
func linkFor(t *testing.T, pair *sacntest.Pair, state, name string) (link string) {
	t.Helper()
	sacntest.Eventually(t, 15*time.Second, "making a link", func() bool {
		out, err := pair.Command(t.Context(), pair.Near, program, "link", "--state", state, "--name", name).Output()
		link = strings.TrimSpace(string(out))
		return err == nil && link != ""
	})
	return link
}

// farBrowser is Chromium as a machine on the far side of the wire. It must be
// stopped before the test's own context ends, and with that what it talks to.
func farBrowser(t *testing.T, pair *sacntest.Pair) (ctx context.Context, stop func()) {
	t.Helper()
	wrapper := filepath.Join(t.TempDir(), "chromium")
	path, _ := exec.LookPath(chromium)
	if err := os.WriteFile(wrapper, []byte("#!/bin/sh\nexec ip netns exec "+pair.Far+" "+path+" \"$@\"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	ctx, stop, err := launch(wrapper)
	if err != nil {
		t.Fatal(err)
	}
	return ctx, stop
}

// A phone that asked for the page without a link comes in by its link in the same tab,
// over a network of two namespaces, and lights a string. What its picture is drawn from is what tshark's dissector sees at the
// other end of the wire, slot by slot; and dark is dark there too.
func TestPageAgreesWithWire(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, chromium)
	pair := sacntest.NewPair(t)
	plan := sacntest.File(t, "plan.yaml", config.DemoText())
	state := t.TempDir()
	d := start(t, pair.Command(t.Context(), pair.Near, program, "run", plan, "--interface", sacntest.Interface, "--no-scan",
		"--state", state, "--http", sacntest.NearAddr4+":9531"))
	link := linkFor(t, pair, state, "anna's phone")
	ctx, stop := farBrowser(t, pair)
	defer stop()

	stranger := tab(t, ctx, sizes[0])
	stranger.do(navigate(d.base))
	stranger.until(`document.getElementById("stranger-text").textContent.includes("not known yet")`)
	if live := eval[[]string](stranger, `[...document.querySelectorAll("button, .lamp")].filter((e) => e.offsetParent).map((e) => e.id || e.className)`); len(live) > 0 {
		t.Errorf("a phone that is not known sees %q", live)
	}

	p := stranger
	p.do(navigate(link))
	sacntest.Eventually(t, 20*time.Second, "the phone let in", func() bool {
		in, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`document.body?.dataset.link === "up"`)) // an error: the page just loads anew
		return err == nil && in
	})
	if at := eval[string](p, `location.href`); at != d.base+"/" {
		t.Errorf("the token stays in the address, %s", at)
	}
	capture := pair.Capture(t, pair.Far)
	p.press("#halyard", "Ends")
	p.settled()
	p.until(`document.getElementById("now").textContent === "Sent now: ends on this string"`)
	p.until(`document.getElementById("picture").line.slots.some((v) => v > 0)`)
	time.Sleep(time.Second) // the level has come up, and lasts
	drawn := eval[[]int](p, `Array.from(document.getElementById("picture").line.slots)`)
	time.Sleep(300 * time.Millisecond)
	p.tap("#dark")
	p.until(`document.getElementById("dark").dataset.is === "dark"`)
	time.Sleep(700 * time.Millisecond)

	var seen [][]int
	for _, row := range capture.Fields("acn.dmx.universe == 1", "acn.dmx.universe", "udp.payload") {
		payload, err := hex.DecodeString(row[1])
		if err != nil || len(payload) < 126+300 {
			t.Fatalf("payload %q: %v", row[1], err)
		}
		slots := make([]int, 300) // bandstand-roof-north: universe 1, channel 1, 100 pixels
		for i := range slots {
			slots[i] = int(payload[126+i])
		}
		seen = append(seen, slots)
	}
	if len(seen) < 40 {
		t.Fatalf("tshark saw %d packets", len(seen))
	}
	same := 0
	for _, slots := range seen {
		if slices.Equal(slots, drawn) {
			same++
		}
	}
	if same < 10 || drawn[1] == 0 || drawn[297] == 0 {
		t.Errorf("%d of %d packets hold what the page draws, %v", same, len(seen), drawn[:6])
	}
	if last := seen[len(seen)-1]; slices.Max(last) != 0 {
		t.Errorf("after dark the wire carries %v", last[:6])
	}
	t.Log(strconv.Itoa(same) + " packets of " + strconv.Itoa(len(seen)) + " hold the picture of the page")

	// The used link: nothing for a phone that is in, nothing but a word for another.
	again := tab(t, ctx, sizes[0])
	again.load(link)
	if said := again.text("say"); said != "" {
		t.Errorf("to a phone that is in, a used link says %q", said)
	}
	other, stopOther := farBrowser(t, pair)
	defer stopOther()
	late := tab(t, other, sizes[0])
	late.do(navigate(link))
	late.until(`document.getElementById("stranger-text").textContent.includes("used before")`)

	// The phone is listed by its name, and let out by two taps.
	p.do(navigate(d.base))
	p.until(`document.getElementById("views").children.length > 0`)
	p.tap(`[data-to="yard"]`)
	p.until(`document.getElementById("phone-list").textContent.includes("anna's phone (this one)")`)
	p.press("#phone-list", "Let out")
	p.press("#phone-list", "Surely? Tap again")
	p.until(`fetch("/api/state").then((r) => document.title = r.status), document.title === "401"`)
}
