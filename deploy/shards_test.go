//go:build linux

package deploy

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// join makes one more namespace on the far end's bridge.
func (a *alarm) join(name, addr string) string {
	a.t.Helper()
	ns := a.pair.Near + name
	output(a.t, "ip", "netns", "add", ns)
	a.t.Cleanup(func() { exec.Command("ip", "netns", "del", ns).Run() })
	for _, line := range []string{
		"-n " + ns + " link set lo up",
		"-n " + ns + " link add yard0 type veth peer name " + name + " netns " + a.pair.Far,
		"-n " + ns + " addr add " + addr + "/24 dev yard0",
		"-n " + ns + " link set yard0 up",
		"-n " + ns + " route add 239.255.0.0/16 dev yard0",
		"-n " + a.pair.Far + " link set " + name + " master yard",
		"-n " + a.pair.Far + " link set " + name + " up",
	} {
		output(a.t, "ip", strings.Fields(line)...)
	}
	return ns
}

// universesEach is how many universes each of three transmitters sends; the
// figures in the README were taken with YARDPROOF_SHARD_UNIVERSES=100.
func universesEach() int {
	if n, err := strconv.Atoi(os.Getenv("YARDPROOF_SHARD_UNIVERSES")); err == nil && n > 0 {
		return n
	}
	return 10
}

// TestThreeTransmitters sends one plan from three namespaces, a controller from
// each, hears them all at one far end, and joins their metrics in one Prometheus.
func TestThreeTransmitters(t *testing.T) {
	t.Parallel()
	a := newAlarm(t)
	a.at = a.pair.Far
	each := universesEach()
	var plan strings.Builder
	plan.WriteString("name: Harbour Street\nnetwork: {interface: yard0}\ncontrollers: [{name: bandstand}, {name: boathouse}, {name: lighthouse}]\nstrings:\n")
	controllers := []string{"bandstand", "boathouse", "lighthouse"}
	for i, c := range controllers {
		for u := range each {
			fmt.Fprintf(&plan, "  - {name: %s-%d, controller: %s, universe: %d, pixels: 170}\n", c, u+1, c, 1+i*each+u)
		}
	}
	file := sacntest.File(t, "yard.yaml", plan.String())
	var targets []string
	for i, ns := range []string{a.pair.Near, a.join("north", "10.77.0.3"), a.join("south", "10.77.0.4")} {
		addr := []string{"10.77.0.1", "10.77.0.3", "10.77.0.4"}[i] + ":9531"
		targets = append(targets, "- "+addr)
		start(t, inNamespace(ns, a.bin, "run", file, "--only-controllers", controllers[i], "--pattern", "walk",
			"--http", addr, "--metrics-open", "--state", t.TempDir()))
	}
	a.prometheus(strings.Join(targets, "\n          "))
	sacntest.Eventually(t, 60*time.Second, "three transmitters at their rate", func() bool {
		rates := a.query("yardproof:frames_sent:ratio_rate1m", "instance")
		return len(rates) == 3 && a.query("sum(yardproof_universes)", "")[""] == float64(3*each)
	})

	listen := inNamespace(a.pair.Far, a.bin, "listen", "--interface", "yard", "--plan", file, "--for", "5s", "--format", "json")
	text, err := listen.Output()
	if err != nil && listen.ProcessState.ExitCode() != 1 { // a busy machine is late, which listen finds wrong
		t.Fatalf("listen: %v: %s", err, text)
	}
	var heard struct {
		Sources []struct {
			Address   string
			Universes []struct {
				Universe int
				Packets  uint64
				Lost     uint64
			}
		}
		Conflicts []any
		Missing   []any
	}
	sacntest.JSON(t, text, &heard)
	sender := map[int]string{}
	var packets, lost uint64
	for _, s := range heard.Sources {
		for _, u := range s.Universes {
			if other := sender[u.Universe]; other != "" {
				t.Errorf("universe %d comes from %s and from %s", u.Universe, other, s.Address)
			}
			sender[u.Universe] = s.Address
			packets += u.Packets
			lost += u.Lost
		}
	}
	if len(heard.Sources) != 3 || len(sender) != 3*each || len(heard.Conflicts)+len(heard.Missing) > 0 {
		t.Errorf("heard %d sources, %d universes; conflicts %v, missing %v", len(heard.Sources), len(sender), heard.Conflicts, heard.Missing)
	}
	t.Logf("three transmitters of %d universes: %d packets heard in 5 s, %d lost; frames of the configured rate %v; lateness p99 %v s",
		each, packets, lost, a.query("yardproof:frames_sent:ratio_rate1m", "instance"), a.query("yardproof:frame_lateness_seconds:p99_rate1m", "instance"))
}

// TestShardsKeepApart: what two transmitters would share is refused at load.
func TestShardsKeepApart(t *testing.T) {
	bin := filepath.Join(unpacked(t), "usr/bin/yardproof")
	file := sacntest.File(t, "yard.yaml", "network: {interface: lo}\ncontrollers: [{name: a}, {name: b}]\nstrings:\n  - {name: x, controller: a, universe: 1, pixels: 50}\n  - {name: y, controller: b, universe: 1, channel: 200, pixels: 50}\n")
	p := start(t, exec.Command(bin, "run", file, "--only-controllers", "a", "--state", t.TempDir(), "--for", "1s"))
	if code := p.Wait(20 * time.Second); code != 1 || !strings.Contains(p.Stderr(), file+":5:") || !strings.Contains(p.Stderr(), "send both from one transmitter") {
		t.Errorf("exit %d: %s", code, p.Stderr())
	}
}
