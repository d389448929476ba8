package browsertest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A dead pixel, found look by look: each look is asked for in words, answered by a tap,
// and what was put right is followed by another look.
func TestWeighed(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	d := demo(t, dir)
	p := open(t, d.base, sizes[0])
	p.tap(`[data-to="find"]`)
	p.tap("#find-weigh summary")
	p.until(`!!document.querySelector("#find-weigh button")`) // its code has come
	p.press("#find-weigh", "Begin")
	for looks := 0; ; looks++ {
		p.settled()
		if strings.Contains(eval[string](p, `document.querySelector("#find-weigh [role=status]").textContent`), "pixel 21 is dead") {
			break
		}
		if looks > 8 {
			t.Fatalf("it is not found: %s", eval[string](p, `document.getElementById("find-weigh").textContent`))
		}
		asked := eval[string](p, `document.querySelector("#find-weigh .looks").textContent`)
		if looks == 0 {
			if !strings.HasPrefix(asked, "Show white on every string") {
				t.Errorf("first it asks: %s", asked)
			}
			p.press("#find-weigh", "Light it")
			p.settled()
			if got := d.showing(); got.Pattern != "full-white" {
				t.Errorf("%+v is shown", got)
			}
			p.press("#find-weigh", "dark pixel")
			p.settled()
			p.until(`document.getElementById("say").textContent.includes("last good pixel")`)
		}
		switch {
		case strings.HasPrefix(asked, "Show white on"), strings.HasPrefix(asked, "Show ends"), strings.HasPrefix(asked, "Show white"):
			eval[bool](p, `(() => { document.querySelector("#find-weigh .field input").value = "20"; return true })()`)
			p.press("#find-weigh", "dark pixel")
		default:
			fine := "fine"
			for begins, says := range map[string]string{"Show one-slot": "as in the plan", "Show dark": "all of it is dark", "Light this string": "this one", "Run yardproof listen": "no other source"} {
				if strings.HasPrefix(asked, begins) {
					fine = says
				}
			}
			p.press("#find-weigh", fine)
		}
	}
	p.press("#find-weigh", "I put this right")
	p.settled()
	p.until(`document.querySelector("#find-weigh [role=status]").textContent.includes("since that was put right")`)
	if got := eval[string](p, `document.querySelector("#find-weigh ol").textContent`); !strings.Contains(got, "mended: a dead pixel@21") {
		t.Errorf("what was done: %s", got)
	}
	kept := ""
	files, _ := filepath.Glob(filepath.Join(dir, "*.jsonl"))
	for _, f := range files {
		text, _ := os.ReadFile(f)
		kept += string(text)
	}
	if !strings.Contains(kept, "Put right: pixel 21 is dead") || !strings.Contains(kept, `"seen":"mended=a-dead-pixel@21"`) {
		t.Errorf("%v have %s", files, kept)
	}

	// What was saved as a fault is where it begins.
	p.fault("it runs backwards")
	p.tap(`[data-to="find"]`)
	p.tap("#find-weigh summary")
	p.press("#find-weigh", "Begin")
	p.until(`document.querySelector("#find-weigh ol").textContent.includes("ends: backward")`)
	if got := eval[string](p, `document.querySelector("#find-weigh ul").textContent`); !strings.Contains(got, "the direction on the port is wrong") {
		t.Errorf("the causes are %s", got)
	}
}
