package browsertest

import (
	"fmt"
	"os/exec"
	"strings"
	"syscall"
	"testing"

	"github.com/chromedp/chromedp"

	"yardproof/config"
	"yardproof/sacn/sacntest"
)

// line is a line of the record.
type line struct{ Kind, String, Verdict, Stage, Seen, Note, Label, Once string }

func (d *daemon) proofs() []line {
	d.t.Helper()
	var got struct{ Proofs []line }
	d.get("/api/proofs", &got)
	return got.Proofs
}

func (p *phone) set(id, value string) {
	p.t.Helper()
	eval[bool](p, fmt.Sprintf(`(() => { const e = document.getElementById(%q); e.value = %q; e.dispatchEvent(new Event("change")); return true })()`, id, value))
}

func (p *phone) choose(name string) {
	p.t.Helper()
	eval[bool](p, fmt.Sprintf(`(() => { [...document.querySelectorAll("#list button")].find((b) => b.querySelector("b").textContent === %q).click(); return true })()`, name))
	p.until(fmt.Sprintf(`document.getElementById("tag-name").textContent === %q`, name))
}

// giveFault says of the string under test what was seen.
func (p *phone) giveFault(seen string) {
	p.t.Helper()
	p.tap("#fault")
	p.until(`document.getElementById("fault-sheet").open`)
	p.press("#seen", seen)
	p.tap("#fault-form button[type=submit]")
}

// fault saves a fault of the string under test.
func (p *phone) fault(seen string) {
	p.t.Helper()
	p.tap(`[data-to="prove"]`)
	p.giveFault(seen)
	p.until(`!document.getElementById("fault-sheet").open && document.getElementById("say").textContent.includes("saved")`)
	p.settled()
}

// A tag is one physical string: one that hangs elsewhere is refused, with where;
// another one starts unproved, and the other phone has it at once.
func TestReplacement(t *testing.T) {
	t.Parallel()
	d := demo(t, t.TempDir())
	a, b := open(t, d.base, sizes[0]), open(t, d.base, sizes[1])
	a.fault("flickers")
	b.until(`document.getElementById("tag-stamp").textContent === "hung: fault"`)
	a.tap("#replaced summary")
	a.set("replace-label", "a2") // in the plan, bandstand-roof-south's
	a.tap("#replace-form button")
	a.until(`document.getElementById("say").textContent.includes("hangs as string 2, bandstand-roof-south")`)
	a.settled()
	a.set("replace-label", "S9")
	a.tap("#replace-form button")
	for _, p := range []*phone{a, b} {
		p.until(`document.getElementById("tag-where").textContent.startsWith("S9") && document.getElementById("tag-stamp").textContent === ""`)
	}
}

// Two taps in quick succession answer one picture, and what was passed by is on
// record as left out.
func TestDoubleTap(t *testing.T) {
	t.Parallel()
	d, p := demoOn(t, sizes[0])
	p.tap("#right")
	p.settled()
	// The page itself taps four times, at once when the next picture is there: a busy
	// machine would be late.
	eval[bool](p, `(() => {
		const step = document.querySelectorAll("#halyard button")[1];
		const wait = setInterval(() => {
			if (step.getAttribute("aria-current") !== "step") return;
			clearInterval(wait);
			for (let n = 0; n < 4; n++) document.getElementById("right").click();
			document.body.dataset.tapped = "yes";
		}, 5);
		return true;
	})()`)
	p.tap("#right") // number was seen; dark is lit
	p.until(`document.body.dataset.tapped`)
	p.settled()
	if done := eval[int](p, `document.querySelectorAll("#halyard [data-done=yes]").length`); done != 1 {
		t.Errorf("%d steps are done after two were shown, one of them long enough", done)
	}
	p.toWhite()
	p.tap("#right")
	p.until(`document.getElementById("tag-number").textContent === "2"`)
	if got := d.proofs(); len(got) != 1 || got[0].Note != "left out: dark, one slot, order, ends" {
		t.Errorf("on record is %+v", got)
	}
}

// whiteForASecond asks for white as the page does, and for its end without the wait.
func (p *phone) whiteForASecond(name string, level int) {
	p.t.Helper()
	eval[bool](p, fmt.Sprintf(`fetch("/api/show", {method: "POST", headers: {"Content-Type": "application/json"}, body: '{"pattern": "full-white", "strings": [%q], "level_percent": %d, "hold_seconds": 1}'}).then((a) => a.ok)`, name, level), chromedp.EvalAwaitPromise)
}

// White ends by itself on the way up: its step is not shown any more, and the
// button lights it again instead of going on to more.
func TestWhiteEnds(t *testing.T) {
	t.Parallel()
	d, p := demoOn(t, sizes[0])
	p.press("#halyard", "White")
	p.until(`document.getElementById("caution").open`)
	p.tap("#caution-yes")
	p.settled()
	p.until(`document.getElementById("right-next").textContent === "then 50 %"`)
	p.whiteForASecond(eval[string](p, `document.getElementById("tag-name").textContent`), 25)
	p.until(`document.getElementById("right-word").textContent === "Show again" && document.querySelector("#halyard [data-ended]")`)
	if got := d.showing(); got.Pattern == "full-white" {
		t.Errorf("shown is %+v", got)
	}
}

// Find out opens for the string and the fault that were saved last, and knows
// nothing of another string.
func TestFindOutForgets(t *testing.T) {
	t.Parallel()
	_, p := demoOn(t, sizes[0])
	p.fault("dark after a pixel")
	p.tap(`[data-to="find"]`)
	p.until(`document.getElementById("find-break").open`)
	eval[bool](p, `(() => { document.querySelector("#find-break input").value = "30"; return true })()`)
	p.choose("gable-left")
	p.fault("nothing lights")
	p.tap(`[data-to="find"]`)
	p.until(`document.getElementById("find-nothing").open && !document.getElementById("find-break").open`)
	p.until(`document.querySelector("#find-nothing .told")?.textContent.includes("No pixel is lit")`)
	text := eval[string](p, `document.querySelector("#find-nothing").textContent`)
	for _, want := range []string{"Look at its plug: controller boathouse, port", "its supply is off", "first pixel", "known-good short string"} {
		if !strings.Contains(text, want) {
			t.Errorf("for nothing lights, the page says %q", text)
		}
	}
	p.tap("#find-break summary")
	p.until(`document.querySelector("#find-break input")`)
	if v := eval[string](p, `document.querySelector("#find-break input").value`); v != "" {
		t.Errorf("a number of another string is there: %q", v)
	}
}

// "Something is wrong" asks which string and what, and both are on record.
func TestSomethingIsWrong(t *testing.T) {
	t.Parallel()
	d, p := demoOn(t, sizes[0])
	p.tap(`[data-to="yard"]`)
	eval[bool](p, `(() => { document.getElementById("programme").hidden = false; document.getElementById("looked-ill").click(); return true })()`)
	p.until(`document.getElementById("fault-sheet").open`)
	p.press("#seen", "flickers")
	p.tap("#fault-form button[type=submit]")
	p.until(`document.getElementById("fault-wrong").textContent === "Choose the string."`)
	p.settled()
	p.set("fault-string", "quay-rail-west")
	p.tap("#fault-form button[type=submit]")
	p.until(`!document.getElementById("fault-sheet").open`)
	p.settled()
	if got := d.proofs(); len(got) != 1 || got[0].String != "quay-rail-west" || got[0].Verdict != "fault" || got[0].Seen != "flickers" {
		t.Errorf("on record is %+v", got)
	}
}

// What was tapped while the laptop was away stays on the phone, over a reload too,
// and is offered again.
func TestUnsent(t *testing.T) {
	t.Parallel()
	state := t.TempDir()
	d := demo(t, state)
	p := open(t, d.base, sizes[0])
	d.cmd.Process.Signal(syscall.SIGKILL)
	<-d.done
	p.giveFault("flickers")
	p.until(`document.getElementById("unsent").textContent.includes("bandstand-roof-north: fault, flickers")`)
	d = demoAt(t, state, strings.TrimPrefix(d.base, "http://"))
	p.load(d.base)
	if got := d.proofs(); len(got) != 0 {
		t.Errorf("sent silently: %+v", got)
	}
	p.tap("#unsent-yes")
	p.until(`document.getElementById("unsent").hidden && document.getElementById("tag-stamp").textContent === "hung: fault"`)
	if got := d.proofs(); len(got) != 1 || got[0].Seen != "flickers" || !strings.Contains(got[0].Note, "sent later") {
		t.Errorf("on record is %+v", got)
	}
}

// A line whose answer was lost on the way is sent again, and is on record once.
func TestLostAnswer(t *testing.T) {
	t.Parallel()
	d, p := demoOn(t, sizes[0])
	eval[bool](p, `(() => {
		const real = window.fetch;
		let lost = false;
		window.fetch = async (...a) => {
			const answer = await real(...a);
			if (lost || !String(a[0]).includes("/api/proofs") || a[1]?.method !== "POST") return answer;
			lost = true;
			throw new TypeError("the answer was lost");
		};
		return true;
	})()`)
	p.giveFault("flickers")
	p.until(`document.getElementById("unsent").textContent.includes("bandstand-roof-north: fault, flickers")`)
	p.tap("#unsent-yes")
	p.until(`document.getElementById("unsent").hidden`)
	var now struct {
		Lines int `json:"record_version"`
	}
	d.get("/api/state", &now)
	if got := d.proofs(); now.Lines != 1 || len(got) != 1 || got[0].Seen != "flickers" || len(got[0].Once) != 32 {
		t.Errorf("on record are %d lines: %+v", now.Lines, got)
	}
}

// A string has one number, whichever part of the plan is sent from here.
func TestOneNumber(t *testing.T) {
	t.Parallel()
	plan := sacntest.File(t, "plan.yaml", config.DemoText())
	d := start(t, exec.Command(program, "run", plan, "--interface", "lo", "--only-controllers", "boathouse", "--pattern", "dark", "--no-scan", "--state", t.TempDir(), "--http", "127.0.0.1:0"))
	p := open(t, d.base, sizes[0])
	p.tap("#right")
	p.until(`document.getElementById("looks").textContent.startsWith("Blinks 4 ")`)
	if tag, next := p.text("tag-number"), eval[string](p, `document.querySelector("#list .no").textContent`); tag != "4" || next != "4" {
		t.Errorf("the tag says %s, the list %s, the light 4", tag, next)
	}
	p.tap("#next")
	p.until(`document.getElementById("looks").textContent.startsWith("Blinks 5 ") && document.getElementById("tag-number").textContent === "5"`)
}

// toWhite lights the string white for the first time, past the caution and the stops.
func (p *phone) toWhite() {
	p.t.Helper()
	p.press("#halyard", "White")
	p.until(`document.getElementById("caution").open`)
	p.tap("#caution-yes")
	p.settled()
	for p.text("right-word") != "Good" {
		p.tap("#right")
		p.settled()
		p.until(`!document.getElementById("right").ariaDisabled`)
	}
}
