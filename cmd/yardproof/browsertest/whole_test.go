package browsertest

import (
	"encoding/hex"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/config"
	"yardproof/sacn/sacntest"
)

// A sight is what a page drew of a string, and where on the wire that has to be.
type sight struct {
	what     string
	universe string
	slots    []int // from channel 1
}

// see notes what the page draws, once it was to be seen for long enough, and that the
// other page names the same picture.
func (p *phone) see(other *phone, step, universe string) sight {
	p.t.Helper()
	p.until(`!document.getElementById("now").dataset.other && document.getElementById("now").textContent.startsWith("Sent now: ` + step + `") && !document.getElementById("right").ariaDisabled`)
	other.until(`document.getElementById("now").textContent.startsWith("Sent now: ` + step + `")`)
	return sight{step, universe, eval[[]int](p, `Array.from(document.getElementById("picture").line.slots)`)}
}

// A whole evening with everything at once, by touch, on two pages of another machine: a
// string is proved, another source comes and goes, the link is lost and a fault waits on
// the phone, over a reload of the page; the plan is read again, and all goes dark. What
// the page drew at each step is what tshark's dissector saw on the wire, in that order.
func TestWholeEvening(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, chromium)
	pair := sacntest.NewPair(t)
	plan := filepath.Join(t.TempDir(), "plan.yaml")
	write := func(text string) {
		t.Helper()
		sacntest.Write(t, plan, text)
	}
	write(config.DemoText())
	state := t.TempDir()
	d := start(t, pair.Command(t.Context(), pair.Near, program, "run", plan, "--interface", sacntest.Interface, "--pattern", "dark",
		"--state", state, "--http", sacntest.NearAddr4+":9531"))
	ctx, stop := farBrowser(t, pair)
	defer stop()
	a, b := tab(t, ctx, sizes[0]), tab(t, ctx, sizes[1])
	a.load(linkFor(t, pair, state, "berta's phone"))
	b.load(d.base)
	capture := pair.Capture(t, pair.Far)
	var seen []sight

	a.tap("#right")
	for _, step := range steps {
		if step == "full-white" {
			a.until(`document.getElementById("caution").open`)
			a.tap("#caution-yes")
		}
		a.settled()
		seen = append(seen, a.see(b, step, "1"))
		if step != "full-white" {
			a.tap("#right")
		}
	}
	for strings.HasSuffix(a.text("right-next"), "%") {
		a.tap("#right")
		a.settled()
	}

	// Another source: it would be told of a minute later, were the string not in view.
	other := start(t, pair.Command(t.Context(), pair.Far, program, "run", "--universe", "1", "--pixels", "50", "--interface", sacntest.Interface,
		"--no-scan", "--state", t.TempDir(), "--http", "127.0.0.1:9532"))
	began := time.Now()
	for _, p := range []*phone{a, b} {
		p.until(`!document.getElementById("competing").hidden`)
		t.Logf("another source is told after %v", time.Since(began).Round(100*time.Millisecond))
		if text := p.text("competing-text"); !strings.Contains(text, "Universe 1") || !strings.Contains(text, sacntest.FarAddr4) {
			t.Errorf("the page says %q", text)
		}
		if text := p.text("competitors"); !strings.Contains(text, sacntest.FarAddr4) || !strings.Contains(text, "Stop that sender") {
			t.Errorf("the yard says %q", text)
		}
	}
	a.tap("#right")
	a.settled()
	if word := a.text("right-word"); word != "Still good?" {
		t.Errorf("good asks %q", word)
	}
	a.tap("#right")
	a.until(`document.getElementById("tag-number").textContent === "2"`)
	seen = append(seen, a.see(b, "number", "2"))
	other.kill()
	b.until(`document.getElementById("competing").hidden`)

	// The link is lost, and comes back.
	link := func(is string) {
		t.Helper()
		sacntest.Output(t, exec.Command("ip", "-n", pair.Near, "link", "set", sacntest.Interface, is))
	}
	link("down")
	a.until(`!document.getElementById("lost").hidden`)
	a.giveFault("another number")
	a.until(`document.getElementById("unsent").textContent.includes("bandstand-roof-south: fault, another number")`)
	link("up")
	a.until(`document.getElementById("lost").hidden`)
	a.load(d.base) // in the middle of it all; what waits is still there
	a.until(`document.getElementById("unsent").textContent.includes("bandstand-roof-south: fault, another number")`)
	a.settled()
	a.tap("#unsent-yes")
	for _, p := range []*phone{a, b} {
		p.until(`document.getElementById("remain").textContent === "1 of 13 good" && document.getElementById("remain-what").textContent.startsWith("1 with a fault")`)
	}

	// The plan is read again: strings of the quay are shorter than it said.
	write(strings.Replace(config.DemoText(), "pixels: 120", "pixels: 110", 1))
	d.cmd.Process.Signal(syscall.SIGHUP)
	for _, p := range []*phone{a, b} {
		p.until(`document.getElementById("say").textContent.startsWith("The plan has changed")`)
	}
	a.choose("quay-rail-west")
	a.until(`document.getElementById("tag-what").textContent.startsWith("110")`)
	a.press("#halyard", "Ends")
	a.settled()
	seen = append(seen, a.see(b, "ends", "11"))
	b.tap("#dark")
	for _, p := range []*phone{a, b} {
		p.until(`document.getElementById("dark").dataset.is === "dark"`)
	}
	time.Sleep(500 * time.Millisecond)

	onWire(t, capture, seen)
	out, err := exec.Command(program, "report", "--state", state, "--format", "csv").CombinedOutput()
	for _, want := range []string{"sent to universe 1 too", "another number"} {
		if n := strings.Count(string(out), want); n != 1 { // the fault once, though the first request of it may come through after all
			t.Errorf("%q is %d times on record: %v\n%s", want, n, err, out)
		}
	}
}

// onWire finds what the page drew among the packets, one sight after the other, and
// every universe dark at the end.
func onWire(t *testing.T, capture *sacntest.Capture, seen []sight) {
	t.Helper()
	rows := capture.Fields("acn.dmx.universe && ip.src == "+sacntest.NearAddr4, "acn.dmx.universe", "udp.payload")
	last := map[string][]byte{}
	at := 0
	for _, row := range rows {
		payload, err := hex.DecodeString(row[1])
		if err != nil || len(payload) <= 126 {
			t.Fatalf("payload %q: %v", row[1], err)
		}
		last[row[0]] = payload[126:]
		for at < len(seen) && row[0] == seen[at].universe && holds(payload[126:], seen[at].slots) {
			at++
		}
	}
	if at < len(seen) {
		t.Errorf("of %d packets none is, in its turn, what the page drew of %s on universe %s: %v", len(rows), seen[at].what, seen[at].universe, seen[at].slots[:9])
	}
	for _, s := range seen {
		if s.what == "ends" && slices.Max(s.slots) == 0 || s.what == "ends" && s.universe == "11" && len(s.slots) != 330 {
			t.Errorf("the page draws %d slots of ends: %v", len(s.slots), s.slots)
		}
	}
	for u, slots := range last {
		if slices.Max(slots) != 0 {
			t.Errorf("after dark, universe %s carries %v", u, slots[:9])
		}
	}
	t.Log(strconv.Itoa(at) + " sights are on the wire, among " + strconv.Itoa(len(rows)) + " packets")
}

// holds reports whether a universe's slots begin with these.
func holds(packet []byte, slots []int) bool {
	for i, v := range slots {
		if i >= len(packet) || int(packet[i]) != v {
			return false
		}
	}
	return len(slots) > 0
}
