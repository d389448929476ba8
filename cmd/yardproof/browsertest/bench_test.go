package browsertest

import (
	"fmt"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// The bench: ten strings of a batch with one thumb, each with its tag, its pictures and
// what it drew. One draws too little and is asked about; one is at fault.
func TestBench(t *testing.T) {
	t.Parallel()
	state := t.TempDir()
	d := atBench(t, state)
	p := open(t, d.base, sizes[0])
	other := open(t, d.base, sizes[1])
	p.until(`document.getElementById("bench-tag").value === "B001"`)
	amps := []string{"2.70", "2.71", "2.69", "2.72", "2.70", "2.30", "2.71", "2.70", "2.69", "2.71"}
	var began time.Time
	taps := 0
	for n, a := range amps {
		if n == 1 {
			began, taps = time.Now(), p.taps
		}
		tag := fmt.Sprintf("B%03d", n+1)
		other.until(fmt.Sprintf(`document.getElementById("bench-tag").value === %q`, tag)) // every page has the next tag
		p.until(fmt.Sprintf(`document.getElementById("bench-tag").value === %q && document.querySelectorAll("#halyard button")[0].getAttribute("aria-current") === "step"`, tag))
		for _, pattern := range []string{"dark", "one-slot", "ends"} {
			p.until(fmt.Sprintf(`document.getElementById("now").textContent.startsWith("Sent now: %s")`, pattern))
			p.tap("#right")
			if pattern == "ends" && n == 0 {
				p.until(`document.getElementById("caution").open`)
				p.tap("#caution-yes")
			}
			p.settled()
		}
		for strings.HasSuffix(p.text("right-next"), "%") { // the first of a batch comes up by steps
			p.tap("#right")
			p.settled()
		}
		if got := d.showing(); got.Pattern != "full-white" || got.Level != 100 {
			t.Fatalf("%s: for the reading, %+v is shown", tag, got)
		}
		if n == 0 {
			if below := eval[string](p, `["looks", "meter", "picture", "bench-chart"].filter((id) => { const r = document.getElementById(id).getBoundingClientRect(); return !r.height || r.top < 0 || r.bottom > document.querySelector(".dock").getBoundingClientRect().top }).join()`); below != "" {
				t.Errorf("at white, %s is not on the screen", below)
			}
			keysStay(t, p)
		}
		for _, key := range strings.Split(a, "") {
			p.press("#bench-read", key)
		}
		if n == 8 { // at fault, whatever it drew
			p.giveFault("flickers")
			p.settled()
			continue
		}
		p.tap("#right")
		p.settled()
		if n == 5 {
			if next := p.text("right-next"); !strings.Contains(next, "2.30 A stands apart") {
				t.Errorf("of a string that stands apart, Good says %q", next)
			}
			p.tap("#right")
			p.settled()
		}
	}
	p.until(`document.getElementById("bench-tag").value === "B011"`)
	took, taps := time.Since(began)/9, p.taps-taps
	t.Logf("a string takes %.1f taps and %.1f s of the page's own time", float64(taps)/9, took.Seconds())
	if taps != 9*8+1+2 { // three pictures, four keys, good; once more for the one apart; a fault's sheet
		t.Errorf("nine strings took %d taps", taps)
	}
	if took > 20*time.Second { // sixty an hour leave forty seconds for hands and eyes
		t.Errorf("the page alone takes %v for a string", took)
	}
	for _, page := range []*phone{p, other} {
		page.until(`document.getElementById("bench-says").textContent.startsWith("Median 2.70 A of 9 good strings. Usual: 2.60 to 2.80 A. 1 stands apart")`)
		page.until(`document.getElementById("bench-count").textContent === "9 good, 1 with a fault"`)
	}
	if got := d.showing(); got.Pattern != "dark" {
		t.Errorf("before the next string is hung, %+v is shown", got)
	}

	// A tag that is on record is asked about, once.
	eval[bool](p, `(() => { const e = document.getElementById("bench-tag"); e.value = "b003"; e.dispatchEvent(new Event("input")); return true })()`)
	p.press("#halyard", "White")
	p.settled()
	p.tap("#right")
	p.until(`document.getElementById("say").textContent.startsWith("Tag B003 is on record: good")`)
	p.settled()
	p.tap("#right")
	p.until(`document.getElementById("say").textContent.startsWith("B003 is good")`)

	keptForLater(t, d, p)

	out, err := exec.Command(program, "report", "--state", state).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "2.30 A") || !strings.Contains(string(out), "seen flickers") || strings.Contains(string(out), "b003") {
		t.Errorf("the report says %v\n%s", err, out)
	}
}

// atBench starts the bench, dark, with the first tag B001.
func atBench(t *testing.T, state string) *daemon {
	t.Helper()
	return start(t, exec.Command(program, "bench", "--universe", "1", "--pixels", "50", "--volts", "12", "--fuse-amps", "5", "--supply-watts", "60", "--tag", "B001",
		"--interface", "lo", "--no-scan", "--state", state, "--http", "127.0.0.1:0"))
}

// keysStay has everything come and go that can, on every screen: no key under a thumb
// moves by it, is cut, or is covered.
func keysStay(t *testing.T, p *phone) {
	t.Helper()
	for _, s := range append(allSizes, sizes[0]) {
		p.screen(s)
		if wrong := eval[[]string](p, `(() => {
			const keys = [...document.querySelectorAll("#bench-read button, #bench-amps, #fault, #right, #dark, #views button")].filter((k) => k.offsetParent);
			const place = (k) => { const r = k.getBoundingClientRect(); return [r.x, r.y, r.width, r.height].join(); };
			const was = keys.map(place), name = (k) => k.id || k.textContent;
			const wrong = keys.filter((k) => { const r = k.getBoundingClientRect(); const top = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2); return top !== k && !k.contains(top); }).map((k) => name(k) + " is covered");
			const long = "Another source sends to two universes of this string, and its priority is higher. ".repeat(2);
			for (const id of ["say", "lost-text", "hold-text", "unrecorded", "unsent", "competing-text", "burning", "looks", "meter", "bench-do", "bench-says", "tag-what", "tag-flow", "tag-stamp", "now", "level-why", "right-next", "dark"]) {
				const el = id === "dark" ? document.querySelector("#dark small") : document.getElementById(id), box = el.closest("[hidden]"), words = el.textContent;
				if (box) box.hidden = false;
				for (const said of [long, ""]) {
					el.textContent = said;
					keys.forEach((k, i) => { if (place(k) !== was[i]) wrong.push(name(k) + " moves with " + id); });
				}
				el.textContent = words;
				if (box) box.hidden = true;
			}
			return wrong;
		})()`); len(wrong) > 0 {
			t.Errorf("%s: %q", s.name, wrong)
		}
	}
}

// keptForLater has two proofs not reach the laptop: each next tag is there all the same.
// When they are sent, one whose tag was given away meanwhile is refused with the reason,
// holds up nothing, and is taken when it is meant.
func keptForLater(t *testing.T, d *daemon, p *phone) {
	t.Helper()
	eval[bool](p, `(() => {
		window.answered = window.fetch;
		window.fetch = (...a) => String(a[0]).includes("/api/proofs") && a[1]?.method === "POST" ? Promise.reject(new TypeError("no link")) : window.answered(...a);
		return true;
	})()`)
	eval[bool](p, `(() => { const e = document.getElementById("bench-tag"); e.value = "B011"; e.dispatchEvent(new Event("input")); return true })()`)
	for _, tag := range []string{"B011", "B012"} {
		p.until(fmt.Sprintf(`document.getElementById("bench-tag").value === %q`, tag))
		p.press("#halyard", "White")
		p.settled()
		p.tap("#right")
		p.until(fmt.Sprintf(`document.getElementById("unsent").textContent.includes("%s: good")`, tag))
		p.settled()
	}
	p.until(`document.getElementById("bench-tag").value === "B013" && document.getElementById("now").textContent.startsWith("Sent now: dark")`)
	if said := p.text("say"); !strings.Contains(said, "saved on this phone") {
		t.Errorf("of a proof that is kept, the page says %q", said)
	}
	eval[bool](p, `(() => { window.fetch = window.answered; return true })()`)
	d.prove(`{"string":"string","stage":"bench","verdict":"fault","seen":"flickers","tag":"B011"}`)
	p.tap("#unsent-yes")
	p.until(`document.getElementById("unsent").textContent.includes("Tag B011 is on record: fault")`)
	p.settled()
	if left := p.text("unsent"); strings.Contains(left, "B012: good") {
		t.Errorf("what was refused holds up the next: %q", left)
	}
	p.press("#unsent", "It is this string")
	p.until(`document.getElementById("unsent").hidden`)
	p.settled()
	var batch struct {
		Strings []struct{ Tag, Verdict string }
	}
	d.get("/api/bench", &batch)
	if n := len(batch.Strings); n < 2 || fmt.Sprint(batch.Strings[n-2:]) != "[{B012 good} {B011 good}]" {
		t.Errorf("on record are %v", batch.Strings)
	}
}
