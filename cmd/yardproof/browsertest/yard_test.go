package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"yardproof/sacn/sacntest"
)

// size is a screen that the page is used on.
type size struct {
	name          string
	width, height int64
}

var sizes = []size{{"phone", 390, 844}, {"laptop", 1280, 800}}

// allSizes are those that every look of the page is checked on.
var allSizes = append([]size{{"landscape", 844, 390}, {"small phone", 320, 640}, {"tablet", 820, 1180}}, sizes...)

// chromium is Debian's Chromium without what draws on a screen, which is two fifths of its work.
const chromium = "chromium-headless-shell"

var (
	program string // the built yardproof
	browser context.Context
)

func TestMain(m *testing.M) {
	os.Exit(run(m))
}

func run(m *testing.M) int {
	dir, err := os.MkdirTemp("", "browsertest-*")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	program = filepath.Join(dir, "yardproof")
	build := exec.Command("go", "build", "-o", program, "./cmd/yardproof")
	build.Dir = "../../.."
	if out, err := build.CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "building the program: %v\n%s", err, out)
		return 1
	}
	if path, err := exec.LookPath(chromium); err == nil {
		ctx, stop, err := launch(path)
		if err != nil {
			fmt.Fprintf(os.Stderr, "starting chromium: %v\n", err)
			return 1
		}
		defer stop()
		browser = ctx
	}
	return m.Run()
}

// launch starts a browser; tabs of its context share it.
func launch(path string) (context.Context, func(), error) {
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.ExecPath(path))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, end := chromedp.NewContext(allocator)
	return ctx, func() { end(); stop() }, chromedp.Do(ctx)
}

// daemon is the program at work.
type daemon struct {
	t    testing.TB
	cmd  *exec.Cmd
	done chan struct{}
	base string // http://127.0.0.1:PORT
	said sacntest.Log
}

var servedAt = regexp.MustCompile(`page and metrics at (http://\S+)/`)

// start runs the program and waits until it serves the page.
func start(t testing.TB, cmd *exec.Cmd) *daemon {
	t.Helper()
	d := &daemon{t: t, cmd: cmd, done: make(chan struct{})}
	cmd.Stderr = &d.said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { cmd.Wait(); close(d.done) }()
	t.Cleanup(d.kill)
	sacntest.Eventually(t, 30*time.Second, "serving the page", func() bool {
		if m := servedAt.FindStringSubmatch(d.said.String()); m != nil {
			d.base = m[1]
		}
		return d.base != ""
	})
	return d
}

func (d *daemon) kill() {
	d.cmd.Process.Kill()
	<-d.done
}

// demo starts the demonstration, dark, with a state directory that lasts.
func demo(t *testing.T, state string) *daemon {
	t.Helper()
	return demoAt(t, state, "127.0.0.1:0")
}

func demoAt(t *testing.T, state, http string) *daemon {
	t.Helper()
	return start(t, exec.Command(program, "run", "--demo", "--pattern", "dark", "--no-scan", "--state", state, "--http", http))
}

// demoOn is the demonstration with its page open on a screen.
func demoOn(t *testing.T, s size) (*daemon, *phone) {
	t.Helper()
	d := demo(t, t.TempDir())
	return d, open(t, d.base, s)
}

// showing is what the daemon says it shows.
type showing struct {
	Pattern string
	Strings []string
	Level   float64 `json:"level_percent"`
	Pixel   int
}

func (d *daemon) showing() showing {
	d.t.Helper()
	var st struct{ Showing showing }
	d.get("/api/state", &st)
	return st.Showing
}

// prove puts a proof on record.
func (d *daemon) prove(body string) {
	d.t.Helper()
	resp, err := http.Post(d.base+"/api/proofs", "application/json", strings.NewReader(body))
	if err != nil || resp.StatusCode != http.StatusCreated {
		d.t.Fatalf("%v %v", resp, err)
	}
	resp.Body.Close()
}

func (d *daemon) get(path string, v any) {
	d.t.Helper()
	resp, err := http.Get(d.base + path)
	if err != nil {
		d.t.Fatal(err)
	}
	defer resp.Body.Close()
	if err := json.NewDecoder(resp.Body).Decode(v); err != nil {
		d.t.Fatal(err)
	}
}

// phone is one open page.
type phone struct {
	t     testing.TB
	ctx   context.Context
	touch bool // taps are touches, as the browser has them from a screen; else clicks
	taps  int
}

// open opens the page in a tab of its own and waits until it is linked.
func open(t testing.TB, url string, s size) *phone {
	t.Helper()
	sacntest.NeedTool(t, chromium)
	p := tab(t, browser, s)
	p.load(url)
	return p
}

func tab(t testing.TB, in context.Context, s size) *phone {
	t.Helper()
	ctx, closeTab := chromedp.NewContext(in)
	p := &phone{t: t, ctx: ctx, touch: s.name != "laptop"}
	var how []chromedp.EmulateViewportOption
	if p.touch {
		how = append(how, chromedp.EmulateTouch)
	}
	p.do(chromedp.EmulateViewport(s.width, s.height, how...))
	var watch sync.WaitGroup
	watch.Go(p.watchConsole)
	t.Cleanup(func() { closeTab(); watch.Wait() })
	return p
}

// watchConsole fails the test for every exception of the page's script, and for
// whatever its security policy had to refuse.
func (p *phone) watchConsole() {
	for m, err := range chromedp.Console(p.ctx) {
		if err != nil {
			return // the tab is closed
		}
		if m.Type == chromedp.ConsoleException || strings.Contains(m.Text, "Content Security Policy") {
			p.t.Errorf("the page's console: %s %s (%s:%d)", m.Type, m.Text, m.URL, m.Line)
		}
	}
}

func (p *phone) load(url string) {
	p.t.Helper()
	p.do(chromedp.Navigate(url))
	p.until(`document.body.dataset.link === "up" && document.getElementById("tag-number").textContent !== "–"`)
}

func (p *phone) do(a chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if _, err := chromedp.Run(p.ctx, a); err != nil {
		p.t.Fatal(err)
	}
}

func eval[T any](p *phone, js string, options ...chromedp.EvaluateOption) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](js, options...))
	if err != nil {
		p.t.Fatalf("%s: %v", js, err)
	}
	return v
}

// until waits for the page to come to something.
func (p *phone) until(js string) {
	p.t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(15 * time.Millisecond) {
		if eval[bool](p, "!!("+js+")") {
			return
		}
	}
	p.t.Fatalf("the page never comes to %s; it says %q, sends %q", js,
		eval[string](p, `document.getElementById("say").textContent`), eval[string](p, `document.getElementById("now").textContent`))
}

// tap presses what a selector finds, if a person could: it is there, it is big
// enough, and nothing lies over its middle.
func (p *phone) tap(selector string) {
	p.t.Helper()
	q, _ := json.Marshal(selector)
	if selector == "#right" { // a tap counts when its picture was to be seen
		p.until(`!document.getElementById("right").ariaDisabled`)
	}
	p.tapElement(selector, `document.querySelector(`+string(q)+`)`)
}

// tapElement is tap for what an expression finds.
func (p *phone) tapElement(name, expression string) {
	p.t.Helper()
	var at [2]float64
	if trouble := eval[string](p, `(() => {
		const el = `+expression+`;
		if (!el) return "is not there";
		el.scrollIntoView({block: "center"});
		const r = el.getBoundingClientRect();
		if (!r.width) return "is not shown";
		if (r.width < 55.5 || r.height < 55.5) return "is only " + r.width + " by " + r.height;
		const top = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
		if (top !== el && !el.contains(top)) return "lies under " + (top && (top.id || top.className || top.tagName));
		if (el.disabled) return "is disabled";
		if (el.ariaDisabled) return "waits for its picture";
		if (!window.touched) addEventListener("click", (e) => { if (e.isTrusted) window.touched.push(e.target); }, true);
		window.touched = [];
		window.wanted = el;
		return JSON.stringify([r.x + r.width / 2, r.y + r.height / 2]);
	})()`); !strings.HasPrefix(trouble, "[") {
		p.t.Fatalf("%s %s", name, trouble)
	} else if err := json.Unmarshal([]byte(trouble), &at); err != nil {
		p.t.Fatal(err)
	}
	p.taps++
	if !p.touch {
		eval[bool](p, `(() => { window.wanted.click(); return true })()`)
		return
	}
	for _, touch := range []input.DispatchTouchEventParams{
		{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: at[0], Y: at[1]}}},
		{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}},
	} {
		if _, err := chromedp.Call(p.ctx, input.DispatchTouchEvent, touch); err != nil {
			p.t.Fatalf("%s: %v", name, err)
		}
	}
	p.until(`!window.touched || window.touched.length`)
	if hit := eval[string](p, `!window.touched || window.wanted === window.touched[0] || window.wanted.contains(window.touched[0]) || !window.wanted.isConnected ? "" : window.touched[0].outerHTML.slice(0, 80)`); hit != "" {
		p.t.Fatalf("a touch of %s hits %s", name, hit)
	}
}

// press taps the button with a text, inside a part of the page, once it is there.
// What is found is tapped in the same breath: the page may draw itself anew.
func (p *phone) press(within, words string) {
	p.t.Helper()
	w, _ := json.Marshal(words)
	button := `[...document.querySelectorAll(` + fmt.Sprintf("%q", within+" button") + `)].find((b) => b.offsetParent && b.textContent.includes(` + string(w) + `))`
	p.until("!!" + button)
	p.tapElement(words, button)
}

func (p *phone) text(id string) string {
	p.t.Helper()
	return eval[string](p, fmt.Sprintf(`document.getElementById(%q)?.textContent ?? ""`, id))
}

// settled waits until what was tapped has been answered.
func (p *phone) settled() {
	p.t.Helper()
	p.until(`!document.body.dataset.busy || document.querySelector("dialog[open]")`)
}

func navigate(url string) chromedp.Action[chromedp.Void] { return chromedp.Navigate(url) }
