//go:build linux

package deploy

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

const units = "yardproof.service yardproof@.service"

// TestHardening: systemd's own judgement of how exposed the units are, 0 to 10.
func TestHardening(t *testing.T) {
	sacntest.NeedTool(t, "systemd-analyze")
	for _, unit := range strings.Fields(units) {
		out, err := exec.Command("systemd-analyze", "security", "--offline=true", "--threshold=15", unit).CombinedOutput()
		m := regexp.MustCompile(`Overall exposure level for \S+: ([0-9.]+)`).FindStringSubmatch(string(out))
		if err != nil || m == nil {
			t.Errorf("%s: %v: %s", unit, err, out)
			continue
		}
		t.Logf("%s: %s", unit, m[1])
	}
}

// machine is this machine's own systemd, booted as process 1 over a throw-away
// overlay of the root file system, in the near namespace of a pair.
type machine struct {
	t    *testing.T
	pair *sacntest.Pair
	pid  int
}

func boot(t *testing.T, files ...string) *machine {
	t.Helper()
	pair := sacntest.NewPair(t)
	sacntest.NeedTool(t, "systemctl", "unshare", "nsenter", "journalctl", "dpkg")
	if _, err := os.Stat("/lib/systemd/systemd"); err != nil {
		sacntest.Missing(t, "systemd")
	}
	script, err := filepath.Abs("testdata/boot.sh")
	if err != nil {
		t.Fatal(err)
	}
	args := append([]string{"--mount", "--pid", "--fork", "--kill-child", "--cgroup", "--uts", "--ipc", script, t.TempDir()}, files...)
	p := start(t, inNamespace(pair.Near, "unshare", args...))
	m := &machine{t: t, pair: pair}
	// The child of unshare is process 1 of its namespace; `ip netns exec` has become unshare.
	children := fmt.Sprintf("/proc/%d/task/%d/children", p.Pid(), p.Pid())
	sacntest.Eventually(t, 20*time.Second, "process 1", func() bool {
		text, _ := os.ReadFile(children)
		m.pid, _ = strconv.Atoi(strings.TrimSpace(string(text)))
		exe, _ := os.Readlink(fmt.Sprintf("/proc/%d/exe", m.pid))
		return strings.HasSuffix(exe, "/systemd")
	})
	sacntest.Eventually(t, 60*time.Second, "a running system", func() bool {
		out, _ := m.command("systemctl", "is-system-running").Output()
		state := strings.TrimSpace(string(out))
		return state == "running" || state == "degraded"
	})
	return m
}

// command prepares a command inside the machine.
func (m *machine) command(args ...string) *exec.Cmd {
	pid := strconv.Itoa(m.pid)
	return exec.CommandContext(m.t.Context(), "nsenter", append([]string{"--target", pid, "--mount", "--pid", "--uts", "--ipc", "--net", "--cgroup", "--root", "--wd"}, args...)...)
}

func (m *machine) run(args ...string) string {
	m.t.Helper()
	out, err := m.command(args...).CombinedOutput()
	if err != nil {
		m.t.Fatalf("%s: %v: %s\n%s", strings.Join(args, " "), err, out, m.journal())
	}
	return strings.TrimSpace(string(out))
}

func (m *machine) journal() string {
	out, _ := m.command("journalctl", "--no-pager", "-o", "cat", "-u", "yardproof*").CombinedOutput()
	return string(out)
}

func (m *machine) show(unit, property string) string {
	m.t.Helper()
	return m.run("systemctl", "show", "--timestamp=us", "--value", "-p", property, unit)
}

func (m *machine) write(path, text string) {
	m.t.Helper()
	cmd := m.command("sh", "-c", "cat >"+path)
	cmd.Stdin = strings.NewReader(text)
	sacntest.Output(m.t, cmd)
}

func (m *machine) metric(series string) float64 {
	text := m.pair.Get(m.t, m.pair.Near, "http://127.0.0.1:9531/metrics")
	for line := range strings.Lines(text) {
		if v, ok := strings.CutPrefix(strings.TrimSpace(line), series+" "); ok {
			f, err := strconv.ParseFloat(v, 64)
			if err != nil {
				m.t.Fatal(err)
			}
			return f
		}
	}
	return -1
}

const (
	servedSeries = `yardproof_burnin_served_seconds{plan="Quay burn-in"}`
	framesSeries = `yardproof_frames_sent_total{plan="Quay burn-in"}`
	startsSeries = `yardproof_burnin_starts_total{plan="Quay burn-in"}`
)

// TestUnderSystemd installs the package on a machine of its own and goes through
// what days alone bring: no plan, a start, kill -9, a stopped frame loop, a
// reload, a plan with errors, a look, a stop.
func TestUnderSystemd(t *testing.T) {
	t.Parallel() // it waits more than it works
	deb := debFile(t)
	m := boot(t, deb)
	name := filepath.Base(deb)
	m.run("dpkg", "--install", "/root/"+name)
	if got := m.run("sysctl", "-n", "net.ipv4.ping_group_range"); strings.Join(strings.Fields(got), " ") != "0 2147483647" {
		t.Errorf("ping_group_range is %s", got)
	}
	verify, err := m.command("systemd-analyze", "verify", "/lib/systemd/system/yardproof.service", "/lib/systemd/system/yardproof@quay.service").CombinedOutput()
	for line := range strings.Lines(string(verify)) {
		if strings.Contains(line, "yardproof") { // the machine's other units are its own business
			t.Errorf("systemd-analyze verify: %v: %s", err, line)
		}
	}

	// Without a plan it does nothing but say so.
	m.run("systemctl", "start", "yardproof")
	if got := m.show("yardproof", "ActiveState") + " " + m.show("yardproof", "ConditionResult"); got != "inactive no" {
		t.Errorf("without a plan: %s", got)
	}
	if !strings.Contains(m.run("journalctl", "--no-pager", "-u", "yardproof"), "/etc/yardproof/plan.yaml") {
		t.Error("the journal does not say which file is missing")
	}

	plan := sacntest.Read(t, "../testdata/burn-in.yaml")
	m.write("/etc/yardproof/plan.yaml", plan)
	capture := m.pair.Capture(t, m.pair.Far)
	m.run("systemctl", "start", "yardproof")
	ready := m.show("yardproof", "ActiveEnterTimestamp")
	if got := m.show("yardproof", "StatusText"); !strings.Contains(got, "2 universes, 40 Hz") || !strings.Contains(got, "of 48.0 h served") {
		sacntest.Eventually(t, 10*time.Second, "the status with universes and rate", func() bool {
			got := m.show("yardproof", "StatusText")
			return strings.Contains(got, "2 universes, 40 Hz") && strings.Contains(got, "of 48.0 h served")
		})
	}
	if got := m.run("stat", "-c", "%a", "/var/lib/private/yardproof"); got != "700" {
		t.Errorf("the state directory has mode %s", got)
	}

	// kill -9: started again, and the burn-in goes on.
	sacntest.Eventually(t, 20*time.Second, "two seconds served", func() bool { return m.metric(servedSeries) >= 2 })
	// The filter lets the sending thread have its slice: 100 us, where the kernel shows it.
	slices := m.run("sh", "-c", `grep -h se.slice /proc/1/sched /proc/$(systemctl show --value -p MainPID yardproof)/task/*/sched; true`)
	if slices != "" && !regexp.MustCompile(`(?m): +100000$`).MatchString(slices) {
		t.Errorf("no thread has a short slice:\n%s", slices)
	}
	m.run("systemctl", "kill", "--kill-whom=main", "--signal=KILL", "yardproof")
	sacntest.Eventually(t, 30*time.Second, "started again after kill -9", func() bool { return m.metric(startsSeries) == 2 })
	m.active()

	// A frame loop that stands still: the watchdog ends it.
	m.run("systemctl", "kill", "--kill-whom=main", "--signal=STOP", "yardproof")
	sacntest.Eventually(t, 90*time.Second, "started again by the watchdog", func() bool { return m.metric(startsSeries) == 3 })
	m.active()
	if got := m.show("yardproof", "NRestarts"); got != "2" {
		t.Errorf("%s restarts", got)
	}
	if !strings.Contains(m.journal(), "Watchdog timeout") {
		t.Error("the journal does not name the watchdog")
	}

	// A reload misses no frame; a plan with errors is refused.
	before := m.metric(`yardproof_frames_skipped_total{plan="Quay burn-in"}`)
	m.write("/etc/yardproof/plan.yaml", strings.Replace(plan, "burn_in:", "  - {name: mast, universe: 7, pixels: 50}\nburn_in:", 1))
	m.run("systemctl", "reload", "yardproof")
	sacntest.Eventually(t, 10*time.Second, "three universes", func() bool { return m.metric(`yardproof_universes{plan="Quay burn-in"}`) == 3 })
	m.write("/etc/yardproof/plan.yaml", "strings: [{name: mast, universe: 70000, pixels: 50}]\n")
	m.run("systemctl", "reload", "yardproof")
	sacntest.Eventually(t, 10*time.Second, "the refusal", func() bool { return strings.Contains(m.journal(), "the old one stays") })
	if got := m.metric(`yardproof_universes{plan="Quay burn-in"}`); got != 3 {
		t.Errorf("after a plan with errors %v universes are sent", got)
	}
	// Long enough after the reloads for a gap in the sequence to show.
	sent := m.metric(framesSeries)
	sacntest.Eventually(t, 30*time.Second, "a hundred more frames", func() bool { return m.metric(framesSeries) >= sent+100 })
	skipped := m.metric(`yardproof_frames_skipped_total{plan="Quay burn-in"}`) - before

	m.run("yardproof", "looked", "--state", "/var/lib/yardproof", "seen", "from", "the", "kitchen")
	sacntest.Eventually(t, 10*time.Second, "the look", func() bool { return m.metric(`yardproof_burnin_looks_total{plan="Quay burn-in"}`) == 1 })

	m.run("systemctl", "stop", "yardproof")
	if got := m.show("yardproof", "Result"); got != "success" {
		t.Errorf("the stop ended in %s", got)
	}
	journal := m.journal()
	if strings.Contains(journal, "time=20") {
		t.Errorf("lines in the journal carry a time of their own: %s", journal)
	}
	if m.run("wc", "-l", "/var/lib/yardproof/record.jsonl") == "" || !strings.Contains(m.run("cat", "/var/lib/yardproof/record.jsonl"), "seen from the kitchen") {
		t.Error("the look is not on record")
	}
	checkWire(t, capture, ready, int(skipped))
	m.wrongUse(plan)
}

func (m *machine) active() {
	m.t.Helper()
	sacntest.Eventually(m.t, 20*time.Second, "active", func() bool { return m.show("yardproof", "ActiveState") == "active" })
}

// checkWire reads what tshark saw: frames before the unit was ready, no sequence
// number missed after the last start, and streams that end dark and terminated.
func checkWire(t *testing.T, capture *sacntest.Capture, ready string, skipped int) {
	t.Helper()
	rows := capture.Fields("acn.dmx.universe", "frame.time_epoch", "acn.dmx.universe", "acn.dmx.seq_number", "acn.dmx.option_s")
	if len(rows) == 0 {
		t.Fatal("nothing was captured")
	}
	at := func(row []string) time.Time {
		s, err := strconv.ParseFloat(row[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		return time.UnixMicro(int64(s * 1e6))
	}
	active, err := time.Parse("Mon 2006-01-02 15:04:05.000000 MST", ready)
	if err != nil {
		t.Fatal(err)
	}
	if first := at(rows[0]); !first.Before(active) {
		t.Errorf("ready at %v, the first frame went out at %v", active, first)
	}
	// Universe 1 since the last start: no gap longer than a second.
	var sequence []int
	last := map[string]bool{}
	var previous time.Time
	for _, r := range rows {
		ended := r[3] == "True" || r[3] == "1"
		last[r[1]] = ended
		if r[1] != "1" {
			continue
		}
		if now := at(r); now.Sub(previous) > time.Second {
			sequence, previous = nil, now
		} else {
			previous = now
		}
		n, err := strconv.Atoi(r[2])
		if err != nil {
			t.Fatal(err)
		}
		sequence = append(sequence, n)
	}
	for i := 1; i < len(sequence); i++ {
		if sequence[i] != (sequence[i-1]+1)%256 {
			t.Errorf("sequence number %d follows %d", sequence[i], sequence[i-1])
		}
	}
	if len(sequence) < 80 {
		t.Errorf("only %d packets of universe 1 after the last start", len(sequence))
	}
	var open []string
	for u, ended := range last {
		if !ended {
			open = append(open, u)
		}
	}
	slices.Sort(open)
	if len(last) != 3 || len(open) > 0 {
		t.Errorf("%d universes; not terminated: %v", len(last), open)
	}
	t.Logf("%d packets of universe 1 after the last start, %d frames skipped by a busy machine", len(sequence), skipped)
}

// wrongUse: no restart makes a wrong call right. The template runs beside it.
func (m *machine) wrongUse(plan string) {
	t := m.t
	t.Helper()
	m.write("/etc/yardproof/plan.yaml", plan)
	m.write("/etc/default/yardproof", "OPTIONS=--frob\n")
	if out, err := m.command("systemctl", "start", "yardproof").CombinedOutput(); err == nil {
		t.Errorf("a wrong flag started: %s", out)
	}
	time.Sleep(4 * time.Second) // RestartSec is three
	if got := m.show("yardproof", "ActiveState") + " " + m.show("yardproof", "NRestarts"); got != "failed 0" {
		t.Errorf("with a wrong flag: %s restarts", got)
	}
	m.write("/etc/yardproof/quay.yaml", plan)
	m.write("/etc/default/yardproof-quay", "OPTIONS=--http 127.0.0.1:9532\n")
	m.run("systemctl", "start", "yardproof@quay")
	if text := m.pair.Get(t, m.pair.Near, "http://127.0.0.1:9532/metrics"); !strings.Contains(text, "yardproof_burnin_state") {
		t.Errorf("the instance quay serves %.100q", text)
	}
	m.run("test", "-f", "/var/lib/private/yardproof-quay/burn-in.json")
	m.run("dpkg", "--remove", "yardproof")
	if out, err := m.command("systemctl", "is-active", "yardproof@quay").CombinedOutput(); err == nil {
		t.Errorf("the instance is %s after the package was removed", out)
	}
	m.run("test", "-f", "/var/lib/private/yardproof-quay/burn-in.json")
}
