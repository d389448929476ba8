package browsertest

import (
	"fmt"
	"strings"
	"syscall"
	"testing"
	"time"
)

var steps = []string{"number", "dark", "one-slot", "colour-order", "ends", "full-white"}

// An evening: ten strings proved with one tap a step, a break found by halves,
// two ports found swapped, and everything dark.
func TestEvening(t *testing.T) {
	for _, s := range sizes {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			d, p := demoOn(t, s)
			proveTen(t, d, p)
			findBreak(t, d, p)
			findSwap(t, d, p)
			p.tap("#dark")
			p.until(`document.getElementById("dark").dataset.is === "dark"`)
			if got := d.showing(); got.Pattern != "dark" {
				t.Errorf("after dark, %+v is shown", got)
			}
		})
	}
}

func proveTen(t *testing.T, d *daemon, p *phone) {
	t.Helper()
	taps, stops := 1, 0
	before, began := p.taps, time.Now()
	p.tap("#right") // begins
	for n := range 10 {
		for k, step := range steps {
			if n == 0 && step == "full-white" {
				p.until(`document.getElementById("caution").open`)
				p.tap("#caution-yes")
			}
			p.settled()
			p.until(fmt.Sprintf(`document.querySelectorAll("#halyard button")[%d].getAttribute("aria-current") === "step"`, k))
			p.until(`!document.getElementById("now").dataset.other`)
			if got := d.showing(); got.Pattern != step {
				t.Fatalf("string %d, step %s: the daemon shows %+v, the page %q", n+1, step, got, p.text("now"))
			} else if name := p.text("tag-name"); step != "dark" && (len(got.Strings) != 1 || got.Strings[0] != name) {
				t.Fatalf("string %d, step %s: the daemon shows %+v, the page %s", n+1, step, got, name)
			}
			for step == "full-white" && strings.HasSuffix(p.text("right-next"), "%") { // the first of a batch stops on the way to white
				p.tap("#right")
				p.settled()
				stops++
			}
			p.tap("#right")
			taps++
		}
		p.settled()
		p.until(fmt.Sprintf(`document.getElementById("remain").textContent.startsWith("%d of 13 good")`, n+1))
	}
	t.Logf("ten strings take %d taps, and %.1f s of the page's own time", p.taps-before, time.Since(began).Seconds())
	if taps != 61 {
		t.Errorf("ten strings took %d taps, want one to begin and one a step", taps)
	}
	if stops != 2*3 { // the first ten strings are of three batches
		t.Errorf("%d stops on the way to white, want two for each batch", stops)
	}
	proved := d.proofs()
	if len(proved) != 10 {
		t.Fatalf("%d proofs are kept: %+v", len(proved), proved)
	}
	for _, pr := range proved {
		if pr.Verdict != "good" || pr.Stage != "hung" {
			t.Errorf("the proof is %+v", pr)
		}
	}
	if got := p.text("tag-number"); got != "11" {
		t.Errorf("the page goes on to %s, want the eleventh", got)
	}
}

// findBreak has a string that is dark from pixel 38 on, and answers as it would look.
func findBreak(t *testing.T, d *daemon, p *phone) {
	t.Helper()
	const good = 37
	p.tap("#fault")
	p.until(`document.getElementById("fault-sheet").open`)
	p.press("#seen", "flickers")
	eval[bool](p, fmt.Sprintf(`(() => { document.getElementById("last-lit").value = "%d"; return true })()`, 61))
	p.tap("#fault-form button[type=submit]")
	p.settled()
	p.until(`document.getElementById("fault-wrong").textContent.includes("0 to 60")`) // the string has 60
	eval[bool](p, fmt.Sprintf(`(() => { document.getElementById("last-lit").value = "%d"; return true })()`, good))
	p.tap("#fault-form button[type=submit]")
	p.settled()
	p.until(`!document.getElementById("fault-sheet").open`)
	last := d.proofs()[len(d.proofs())-1]
	if last.Verdict != "fault" || last.String != "lighthouse-turn-3" || last.Seen != "flickers" {
		t.Errorf("the fault is kept as %+v", last)
	}

	p.tap(`[data-to="find"]`)
	p.until(`document.getElementById("find-break").open`) // what was seen leads here
	p.press("#find-break", "Narrow down")
	looks := 0
	for {
		p.settled()
		if eval[bool](p, `!!document.querySelector("#find-break .told")`) {
			break
		}
		if looks++; looks > 6 { // log2 of 61 places
			t.Fatal("halving does not end")
		}
		got := d.showing()
		if got.Pattern != "half" || got.Pixel < 1 {
			t.Fatalf("while halving, %+v is shown", got)
		}
		if got.Pixel <= good {
			p.press("#find-break", "White is seen")
		} else {
			p.press("#find-break", "Not seen")
		}
	}
	if got := eval[string](p, `document.querySelector("#find-break .told").textContent`); !strings.Contains(got, "between pixel 37") {
		t.Errorf("the break is told as %q", got)
	}
	p.tap("#find-break summary")
}

func findSwap(t *testing.T, d *daemon, p *phone) {
	t.Helper()
	p.tap("#find-swap summary")
	p.press("#find-swap", "blinks its number")
	p.settled()
	if got := d.showing(); got.Pattern != "number" || len(got.Strings) != 13 {
		t.Fatalf("for a swap, %+v is shown", got)
	}
	for _, pair := range [][2]string{{"gable-left", "gable-right"}, {"gable-right", "gable-left"}} {
		eval[bool](p, fmt.Sprintf(`(() => { const [a, b] = document.querySelectorAll("#find-swap select"); a.value = %q; b.value = %q; return true })()`, pair[0], pair[1]))
		p.press("#find-swap", "Add this pair")
		p.settled()
	}
	p.until(`document.querySelector("#find-swap .told")?.textContent.includes("port: 4")`)
}

// The connection is lost when the laptop dies. The page says so, and says that
// dark is not confirmed; when the laptop is back it goes on, and nothing that was
// kept is lost.
func TestLostConnection(t *testing.T) {
	t.Parallel()
	s := sizes[0]
	state := t.TempDir()
	d := demo(t, state)
	p := open(t, d.base, s)
	p.tap("#right")
	p.settled()
	p.giveFault("flickers")
	p.settled()
	p.until(`document.getElementById("tag-stamp").textContent.includes("fault")`)

	at := strings.TrimPrefix(d.base, "http://")
	d.cmd.Process.Signal(syscall.SIGKILL)
	<-d.done
	p.until(`!document.getElementById("lost").hidden`)
	p.tap("#dark")
	p.until(`document.getElementById("dark").dataset.is === "failed"`)
	if got := p.text("now"); !strings.HasPrefix(got, "Last heard") {
		t.Errorf("with the laptop gone, the page says %q", got)
	}

	d = demoAt(t, state, at)
	p.until(`document.getElementById("lost").hidden`)
	p.until(`document.getElementById("dark").dataset.is === "dark"`)
	p.until(`document.getElementById("tag-stamp").textContent.includes("fault")`)
	if got := d.proofs(); len(got) != 1 || got[0].Seen != "flickers" {
		t.Errorf("the proofs are %+v", got)
	}
}

// Two phones see the same thing; whoever shows last decides.
func TestTwoPhones(t *testing.T) {
	t.Parallel()
	d := demo(t, t.TempDir())
	a, b := open(t, d.base, sizes[0]), open(t, d.base, sizes[1])
	b.until(`document.getElementById("phones").textContent.startsWith("2 pages")`)
	a.tap("#right")
	a.settled()
	b.until(`document.getElementById("now").textContent.includes("number on this string")`)
	b.tap(`[data-to="light"]`)
	b.press("#targets", "Everything")
	b.press("#patterns", "ruler")
	b.settled()
	a.until(`document.getElementById("now").textContent.includes("ruler on all strings") && document.getElementById("now").dataset.other`)
	a.until(`document.getElementById("right-word").textContent === "Show again"`) // nothing is right that is not shown
	b.tap("#dark")
	a.until(`document.getElementById("dark").dataset.is === "dark"`)
}

// Hands free: the next string every few seconds, and on after a mark.
func TestHandsFree(t *testing.T) {
	t.Parallel()
	d, p := demoOn(t, sizes[0])
	p.tap("#hands")
	p.until(`document.getElementById("free-number").textContent === "1"`)
	p.until(`document.getElementById("free-number").textContent === "2"`)
	if got := d.showing(); got.Pattern != "number" || got.Strings[0] != "bandstand-roof-south" {
		t.Errorf("hands free, %+v is shown", got)
	}
	p.tap("#free-mark")
	p.until(`document.getElementById("free-marked").textContent.includes("Fault of bandstand-roof-south saved")`)
	if got := d.proofs(); len(got) != 1 || got[0].Verdict != "fault" || got[0].String != "bandstand-roof-south" {
		t.Errorf("the mark is on record as %+v", got)
	}
	if ends := p.text("free-ends"); !strings.Contains(ends, "Ends dark by itself at ") {
		t.Errorf("its end is told as %q", ends)
	}
	p.tap("#free .dark")
	p.until(`document.querySelector("#free .dark").dataset.is === "dark"`)
	time.Sleep(6 * time.Second) // longer than the pace: dark must last
	if got := d.showing(); got.Pattern != "dark" {
		t.Errorf("after dark, hands free goes on: %+v", got)
	}
	p.tap("#free-stop")
	p.tap("#resume")
	p.tap("#resume")
	p.until(`document.getElementById("hold").hidden`)

	// It ends by itself, half an hour later by the phone's clock.
	p.tap("#hands")
	p.until(`document.getElementById("now").textContent.includes("number on")`)
	eval[bool](p, `(() => { const now = Date.now; Date.now = () => now() + 31 * 60 * 1000; return true })()`)
	p.until(`!document.getElementById("free").open && document.getElementById("say").textContent.includes("has ended")`)
	if got := d.showing(); got.Pattern != "dark" {
		t.Errorf("after its end, %+v is shown", got)
	}
}

// A reading of dark and white, judged on the spot and kept with the proof.
func TestReading(t *testing.T) {
	t.Parallel()
	d, p := demoOn(t, sizes[0])
	eval[bool](p, `(() => { [...document.querySelectorAll("#list button")][5].click(); return true })()`) // gable-left: 50 pixels, one feed
	p.until(`document.getElementById("tag-name").textContent === "gable-left"`)
	p.press("#halyard", "White")
	p.until(`document.getElementById("caution").open && document.getElementById("caution").textContent.includes("It comes up in two seconds and ends by itself after 60 s.")`)
	p.tap("#caution-yes")
	p.settled()
	for range 2 { // the first of its batch comes up by steps
		p.tap("#right")
		p.settled()
	}
	if got := d.showing(); got.Pattern != "full-white" || got.Level != 100 {
		t.Fatalf("for a reading, %+v is shown", got)
	}
	p.until(`/ends in [45][0-9] s/.test(document.getElementById("now").textContent)`) // longer than for a look
	p.until(`/White is lit, ends in [45][0-9] s/.test(document.getElementById("white-left").textContent)`)
	p.whiteForASecond("gable-left", 100)
	const ended = "White has ended by itself. Type what you read, or tap White for 60 s more."
	p.until(`document.getElementById("say").textContent === "` + ended + `" && document.getElementById("white-left").textContent === "` + ended + `"`)
	p.press("#reading", "White, to read")
	p.settled()
	p.until(`document.getElementById("say").textContent === "" && /White is lit, ends in [45][0-9] s/.test(document.getElementById("white-left").textContent)`)
	p.press("#reading", "Dark, to read")
	p.settled()
	if got := d.showing(); got.Pattern != "dark" {
		t.Errorf("for the dark reading, %+v is shown", got)
	}
	eval[bool](p, `(() => { const [dark, white, supply, end] = document.querySelectorAll("#reading input"); dark.value = "0,05"; white.value = "1.9"; end.value = "10,9"; return true })()`)
	p.press("#reading", "Check the amps")
	p.until(`document.querySelector("#reading .told")?.textContent.includes("too low by")`)
	p.press("#halyard", "Dark") // what was typed is still there afterwards
	p.settled()
	p.press("#halyard", "White")
	p.settled()
	p.tap("#right") // what is far off is not good at the first tap
	p.until(`document.getElementById("right").textContent.includes("Still good?") && document.getElementById("right").textContent.includes("amps far off at start")`)
	type proofs struct {
		Proofs []struct {
			String, Note string
			Readings     []struct {
				Quantity, At, While    string
				Value, Expected, Least float64
			}
		}
	}
	var got proofs
	if d.get("/api/proofs", &got); len(got.Proofs) != 0 {
		t.Errorf("kept unasked is %+v", got)
	}
	p.tap("#right")
	p.settled()
	got = proofs{}
	d.get("/api/proofs", &got)
	if len(got.Proofs) != 1 || len(got.Proofs[0].Readings) != 3 || !strings.Contains(got.Proofs[0].Note, "amps at start far off, called good all the same") {
		t.Fatalf("kept is %+v", got)
	}
	for _, r := range got.Proofs[0].Readings { // full white of 50 pixels at 55 mA is 2.75 A
		if r.Quantity == "volts" {
			if r.At != "pixel 50" || r.Value != 10.9 || r.Expected < 10 {
				t.Errorf("the volts are %+v", r)
			}
			continue
		}
		if r.Least >= r.Expected {
			t.Errorf("the least it may read is %+v", r)
		}
		if r.While == "white" && (r.Value != 1.9 || r.Expected < 2.7 || r.Expected > 2.8) || r.While == "dark" && (r.Value != 0.05 || r.Expected > 0.2) {
			t.Errorf("the reading is %+v", r)
		}
	}
}
