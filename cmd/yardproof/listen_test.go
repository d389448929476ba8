package main

import (
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/farend"
	"yardproof/sacn/sacntest"
)

func TestListenWrongUse(t *testing.T) {
	for args, want := range map[string]string{
		"listen --universes 1":                           "no interface was named; there are lo",
		"listen --interface lo --universes 0":            "--universes: \"0\" is outside",
		"listen --interface lo --format csv":             `--format "csv" is not text or json`,
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
	t.Parallel() // it waits more than it works
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
			sacntest.Write(t, plan, text)
			far := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--plan", plan, "--format", "json", "--http", "127.0.0.1:9532")
			far.Says(20*time.Second, "metrics at")
			show := pair.Start(t, pair.Near, "run", plan, "--no-scan", "--state", dir, "--for", "4s")
			sacntest.Eventually(t, 30*time.Second, "in the metrics", func() bool {
				return strings.Contains(pair.Get(t, pair.Far, "http://127.0.0.1:9532/metrics"), `universe="900"}`)
			})
			show.Ends(40 * time.Second)
			frames, skipped := counts(t, show.Stderr())
			far.Signal(syscall.SIGINT)
			if code := far.Wait(10 * time.Second); code != 0 {
				t.Errorf("exit %d: %s\n%s", code, far.Stderr(), far.Stdout())
			}

			var loose map[string]any
			far.JSON(&loose)
			needKeys(t, loose, "interface seconds sources conflicts malformed discovered missing local_drops findings notes")
			source := loose["sources"].([]any)[0].(map[string]any)
			needKeys(t, source, "cid name address universes")
			needKeys(t, source["universes"].([]any)[0].(map[string]any), "universe priority packets lost out_of_order duplicates loss_percent rate_hz jitter_ms longest_gap_ms preview terminated")
			needKeys(t, loose["discovered"].([]any)[0].(map[string]any), "name universes")

			var a farend.Answer
			far.JSON(&a)
			if len(a.Sources) != 1 || a.Sources[0].Name != "quay laptop" || a.Interface != "yard0" || a.Discovered[0].Name != "quay laptop" {
				t.Errorf("%+v", a)
			}
			var universes []uint16
			for _, u := range a.Sources[0].Universes {
				universes = append(universes, u.Universe)
				if u.Universe == 40 { // its first packets wait for the neighbour's address, and few may wait
					continue
				}
				if u.Packets != uint64(frames) || u.Lost != 0 || !u.Terminated || u.Priority != 100 {
					t.Errorf("universe %d: %+v; the transmitter sent %d frames", u.Universe, u, frames)
				}
				if skipped == 0 && (u.RateHz < 39 || u.RateHz > 41) {
					t.Errorf("universe %d: %v Hz", u.Universe, u.RateHz)
				}
			}
			if !slices.Equal(universes, []uint16{1, 2, 40, 900}) {
				t.Errorf("universes %v", universes)
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

// What is sent to this computer's own address is measured like a group.
func TestListenAtTheController(t *testing.T) {
	t.Parallel()
	pair := sacntest.NewPair(t)
	plan := sacntest.File(t, "quay.yaml", "controllers: [{name: a, address: "+sacntest.FarAddr4+"}, {name: b, address: 192.0.2.77}]\n"+
		"strings:\n- {name: left, controller: a, universe: 1, pixels: 50}\n- {name: right, controller: b, universe: 2, pixels: 50}\n")
	far := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--plan", plan, "--format", "json", "--http", "127.0.0.1:9532")
	far.Says(20*time.Second, "metrics at")
	show := pair.Start(t, pair.Near, "run", plan, "--interface", "yard0", "--no-scan", "--state", t.TempDir(), "--for", "2s")
	show.Wait(40 * time.Second)
	far.Signal(syscall.SIGINT)
	far.Wait(10 * time.Second)
	var a farend.Answer
	far.JSON(&a)
	if a.Joined != 1 || len(a.Sources) != 1 || len(a.Sources[0].Universes) != 1 || a.Sources[0].Universes[0].Packets == 0 {
		t.Errorf("at the controller: %+v", a)
	}
	if want := "not measured here: universe 2, sent by unicast to other machines"; !slices.Contains(a.Notes, want) {
		t.Errorf("no note %q in %v", want, a.Notes)
	}
}

// What is wrong is named, and the exit code says so.
func TestListenFinds(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	dir := t.TempDir()
	plan := filepath.Join(dir, "quay.yaml")
	text := "network: {interface: yard0}\nstrings:\n- {name: gable-left, universe: 1, pixels: 300}\n- {name: spiral, universe: 900, pixels: 50}\n"
	sacntest.Write(t, plan, text)
	for _, p := range []struct{ ns, priority string }{{pair.Near, "100"}, {pair.Near, "130"}} {
		show := filepath.Join(dir, p.priority+".yaml")
		text := "source: {name: show " + p.priority + ", priority: " + p.priority + "}\nnetwork: {interface: yard0}\nstrings: [{name: a, universe: 1, pixels: 50}]\n"
		sacntest.Write(t, show, text)
		prog := pair.Start(t, p.ns, "run", show, "--no-scan", "--http", "127.0.0.1:1"+p.priority, "--state", filepath.Join(dir, p.priority))
		prog.Says(30*time.Second, "page and metrics")
	}
	far := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--plan", plan, "--for", "3s")
	if code := far.Wait(20 * time.Second); code != 1 {
		t.Errorf("exit %d: %s", code, far.Stderr())
	}
	for _, want := range []string{
		`"show 100" at 10.77.0.1 is heard`,
		`found: universe 1: "show 1`, `; "show 130" wins`,
		"found: nothing heard on universes 2, 900 (gable-left, spiral)",
	} {
		if !strings.Contains(far.Stdout(), want) {
			t.Errorf("no %q in\n%s", want, far.Stdout())
		}
	}
}
