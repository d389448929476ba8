package main

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/sacn/sacntest"
)

func TestParseUniverses(t *testing.T) {
	for in, want := range map[string]string{
		"":             "[]",
		"7":            "[7]",
		"1-3,100":      "[1 2 3 100]",
		" 5 - 6 , 1 ":  "[1 5 6]",
		"9,8,8,8-9":    "[8 9]",
		"63999":        "[63999]",
		"0":            `"0" is outside universes 1-63999`,
		"63999-64000":  `"63999-64000" is outside universes 1-63999`,
		"4-2":          `"4-2" runs backwards`,
		"1,,2":         `"" is neither a universe nor a range such as 1-40`,
		"1-2-3":        `"1-2-3" is neither a universe nor a range such as 1-40`,
		"one":          `"one" is neither a universe nor a range such as 1-40`,
		"99999999999 ": `"99999999999 " is outside universes 1-63999`,
	} {
		got, err := parseUniverses(in)
		text := fmt.Sprint(got)
		if err != nil {
			text = err.Error()
		}
		if text != want {
			t.Errorf("%q: %s, want %s", in, text, want)
		}
	}
}

// What is understood is in range, ascending, and reads the same when written again.
func FuzzParseUniverses(f *testing.F) {
	for _, s := range []string{"1-40,100", "63999", " 5 - 6 , 1 ", "4-2", "1-2-3", ",", "-1", "1-99999999999999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := parseUniverses(s)
		if err != nil {
			return
		}
		numbers := make([]int, len(got))
		for i, u := range got {
			numbers[i] = int(u)
			if u < 1 || u > 63999 || i > 0 && got[i-1] >= u {
				t.Fatalf("%q: %v", s, got)
			}
		}
		again, err := parseUniverses(textout.Ranges(numbers))
		if err != nil || !slices.Equal(again, got) {
			t.Fatalf("%q: %v, then %v, %v", s, got, again, err)
		}
	})
}

func TestListenWrongUse(t *testing.T) {
	for args, want := range map[string]string{
		"listen --universes 1":                           "no interface was named; there are lo",
		"listen --interface lo --universes 0":            "--universes: \"0\" is outside",
		"listen --interface lo --format csv":             `--format "csv" is neither text nor json`,
		"listen --interface lo --for -1s":                "--for -1s: it must be above 0",
		"listen --interface lo 1-40":                     `unexpected argument "1-40"`,
		"listen --interface lo --plan no/such/plan.yaml": "there is no plan no/such/plan.yaml",
		"listen --interface nope9 --universes 1":         `there is no interface "nope9"; there are lo`,
	} {
		code, stdout, stderr := call(t, strings.Fields(args)...)
		if code == 0 || stdout != "" || !strings.Contains(stderr, want) {
			t.Errorf("%s: exit %d, said %s", args, code, stderr)
		}
	}
}

// The keys of the JSON answer are a contract, so they are written out here.
func TestListenHearsRun(t *testing.T) {
	for _, family := range []string{"ipv4", "ipv6"} {
		t.Run(family, func(t *testing.T) {
			pair := sacntest.NewPair(t)
			dir := t.TempDir()
			plan := filepath.Join(dir, "quay.yaml")
			text := "source: {name: quay laptop}\nnetwork: {interface: yard0, family: " + family + "}\n" +
				"controllers: [{name: boathouse}, {name: lighthouse, address: ADDRESS}]\n" +
				"strings:\n- {name: gable-left, controller: boathouse, universe: 1, pixels: 300}\n" +
				"- {name: spiral, controller: boathouse, universe: 900, pixels: 50}\n" +
				"- {name: lamp, controller: lighthouse, universe: 40, pixels: 50}\n"
			address := map[string]string{"ipv4": sacntest.FarAddr4, "ipv6": sacntest.FarAddr6}[family]
			text = strings.ReplaceAll(text, "ADDRESS", `"`+address+`"`)
			if err := os.WriteFile(plan, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			far := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--plan", plan, "--format", "json", "--http", "127.0.0.1:9532")
			sacntest.Eventually(t, 20*time.Second, "listening", func() bool { return strings.Contains(far.Stderr(), "metrics at") })
			show := pair.Start(t, pair.Near, "run", plan, "--no-look", "--state", dir, "--for", "4s")
			sacntest.Eventually(t, 30*time.Second, "in the metrics", func() bool {
				return strings.Contains(pair.Get(t, pair.Far, "http://127.0.0.1:9532/metrics"), `universe="900"}`)
			})
			if code := show.Wait(40 * time.Second); code != 0 {
				t.Fatalf("run: exit %d: %s", code, show.Stderr())
			}
			frames, skipped := counts(t, show.Stderr())
			far.Signal(syscall.SIGINT)
			if code := far.Wait(10 * time.Second); code != 0 {
				t.Errorf("exit %d: %s\n%s", code, far.Stderr(), far.Stdout())
			}

			var loose map[string]any
			if err := json.Unmarshal([]byte(far.Stdout()), &loose); err != nil {
				t.Fatal(err)
			}
			needKeys(t, loose, "interface seconds sources conflicts malformed discovered missing local_drops findings notes")
			source := loose["sources"].([]any)[0].(map[string]any)
			needKeys(t, source, "cid name address universes")
			needKeys(t, source["universes"].([]any)[0].(map[string]any), "universe priority packets lost out_of_order duplicates loss_percent rate_hz jitter_ms longest_gap_ms preview terminated")
			needKeys(t, loose["discovered"].([]any)[0].(map[string]any), "name universes")

			var a listenAnswer
			if err := json.Unmarshal([]byte(far.Stdout()), &a); err != nil {
				t.Fatal(err)
			}
			if len(a.Sources) != 1 || a.Sources[0].Name != "quay laptop" || a.Interface != "yard0" || a.Discovered[0].Name != "quay laptop" {
				t.Errorf("%+v", a)
			}
			var universes []uint16
			for _, u := range a.Sources[0].Universes {
				universes = append(universes, u.Universe)
				if u.Packets != uint64(frames) || u.Lost != 0 || !u.Terminated || u.Priority != 100 {
					t.Errorf("universe %d: %+v; the transmitter sent %d frames", u.Universe, u, frames)
				}
				if skipped == 0 && (u.RateHz < 39 || u.RateHz > 41) {
					t.Errorf("universe %d: %v Hz", u.Universe, u.RateHz)
				}
			}
			if !slices.Equal(universes, []uint16{1, 2, 900}) {
				t.Errorf("universes %v", universes)
			}
			if want := "universe 40 goes to " + address + " by unicast: not measured here"; !slices.Contains(a.Notes, want) {
				t.Errorf("no note %q in %v", want, a.Notes)
			}
		})
	}
}

func needKeys(t *testing.T, object map[string]any, keys string) {
	t.Helper()
	for _, k := range strings.Fields(keys) {
		if _, ok := object[k]; !ok {
			t.Errorf("no key %q, only %v", k, slices.Sorted(maps.Keys(object)))
		}
	}
}

// What is wrong is named, and the exit code says so.
func TestListenFinds(t *testing.T) {
	pair := sacntest.NewPair(t)
	dir := t.TempDir()
	plan := filepath.Join(dir, "quay.yaml")
	text := "network: {interface: yard0}\nstrings:\n- {name: gable-left, universe: 1, pixels: 300}\n- {name: spiral, universe: 900, pixels: 50}\n"
	if err := os.WriteFile(plan, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, p := range []struct{ ns, priority string }{{pair.Near, "100"}, {pair.Near, "130"}} {
		show := filepath.Join(dir, p.priority+".yaml")
		text := "source: {name: show " + p.priority + ", priority: " + p.priority + "}\nnetwork: {interface: yard0}\nstrings: [{name: a, universe: 1, pixels: 50}]\n"
		if err := os.WriteFile(show, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		prog := pair.Start(t, p.ns, "run", show, "--no-look", "--http", "127.0.0.1:1"+p.priority, "--state", filepath.Join(dir, p.priority))
		sacntest.Eventually(t, 30*time.Second, "sending", func() bool { return strings.Contains(prog.Stderr(), "page and metrics") })
	}
	far := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--plan", plan, "--for", "3s")
	if code := far.Wait(20 * time.Second); code != 1 {
		t.Errorf("exit %d: %s", code, far.Stderr())
	}
	for _, want := range []string{
		`"show 100" at 10.77.0.1 is heard`,
		`found: universe 1: "show 1`, `; "show 130" wins`,
		"found: nothing was heard on universes 2, 900, which is gable-left, spiral",
	} {
		if !strings.Contains(far.Stdout(), want) {
			t.Errorf("no %q in\n%s", want, far.Stdout())
		}
	}
}

func sampleAnswer() *listenAnswer {
	a := &listenAnswer{Interface: "yard0", Seconds: 31, Joined: 60}
	src := heardSource{CID: "c", Name: "quay laptop", Address: "10.77.0.1"}
	for u := range uint16(60) {
		src.Universes = append(src.Universes, heardUniverse{Universe: u + 1, Priority: 100, Packets: 1200, RateHz: 40, rateNow: 40, Live: true})
	}
	src.Universes[41].Lost, src.Universes[41].LossPercent = 30, 2.44
	src.Universes[8].Live, src.Universes[8].Outages, src.Universes[8].OutageSeconds, src.Universes[8].silent = false, 1, 6, 6*time.Second
	src.Universes[3].Preview, src.Universes[4].SyncAddress = true, 500
	a.Sources = []heardSource{src}
	a.Findings = []string{"30 packets were lost"}
	return a
}

func TestListenText(t *testing.T) {
	var b strings.Builder
	if err := sampleAnswer().print(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	if !strings.HasPrefix(strings.TrimSpace(lines[3]), "9 ") || !strings.Contains(lines[3], "silent 6s") || !strings.HasPrefix(strings.TrimSpace(lines[4]), "42 ") {
		t.Errorf("the worst do not come first:\n%s", b.String())
	}
	for _, want := range []string{"and 38 more without loss", "found: 30 packets were lost", "preview", "sync 500"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

// The live table never leaves its screen, whatever the size.
func TestListenScreen(t *testing.T) {
	a := sampleAnswer()
	past := make(streamHistory)
	past.note(a)
	a.Sources[0].Universes[41].Packets, a.Sources[0].Universes[41].Lost = 1220, 50
	past.note(a)
	for _, size := range [][2]int{{24, 80}, {50, 200}, {5, 20}, {1, 1}} {
		got := screen(a, past, size[0], size[1])
		lines := strings.Split(got, "\r\n")
		if len(lines) > size[0] {
			t.Errorf("%v: %d lines", size, len(lines))
		}
		for _, line := range lines {
			line = strings.NewReplacer("\x1b[H", "", "\x1b[K", "", "\x1b[J", "").Replace(line)
			if n := len([]rune(line)); n > size[1] {
				t.Errorf("%v: a line of %d", size, n)
			}
		}
	}
	wide := screen(a, past, 50, 200)
	if !strings.Contains(wide, " 16\x1b") || !strings.Contains(wide, ".#") {
		t.Errorf("strip of loss:\n%s", wide)
	}
}

func TestMark(t *testing.T) {
	for _, c := range []struct {
		packets uint64
		lost    int64
		ended   bool
		want    byte
	}{
		{40, 0, false, '.'}, {40, -1, false, '.'}, {39, 1, false, '1'}, {20, 20, false, '6'}, {1, 39, false, '9'}, {0, 0, false, '#'}, {0, 0, true, ' '},
	} {
		if got := mark(c.packets, c.lost, c.ended); got != c.want {
			t.Errorf("%+v: %c", c, got)
		}
	}
}

func TestNoTerminal(t *testing.T) {
	if _, ok := terminalSize(io.Discard); ok {
		t.Error("a writer that is no file is a terminal")
	}
}
