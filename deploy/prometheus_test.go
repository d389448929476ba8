//go:build linux

package deploy

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"go.yaml.in/yaml/v3"

	"yardproof/sacn/sacntest"
)

// prometheus lays Debian's own Prometheus out in the scratch directory, without
// installing it: an installed one would start a daemon on somebody's laptop.
var prometheus = sync.OnceValues(func() (string, error) {
	dir := filepath.Join(scratch, "prometheus")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	download := func() ([]byte, error) {
		cmd := exec.Command("apt-get", "download", "-qq", "-o", "APT::Sandbox::User=root", "prometheus")
		cmd.Dir = dir
		return cmd.CombinedOutput()
	}
	if _, err := download(); err != nil { // the lists may be older than the archive
		if out, err := exec.Command("apt-get", "update", "-qq").CombinedOutput(); err != nil {
			return "", fmt.Errorf("apt-get update: %w: %s", err, out)
		}
		if out, err := download(); err != nil {
			return "", fmt.Errorf("apt-get download prometheus: %w: %s", err, out)
		}
	}
	debs, _ := filepath.Glob(filepath.Join(dir, "prometheus_*.deb"))
	if len(debs) != 1 {
		return "", fmt.Errorf("apt-get download prometheus left %v", debs)
	}
	if out, err := exec.Command("dpkg", "-x", debs[0], dir).CombinedOutput(); err != nil {
		return "", fmt.Errorf("dpkg -x: %w: %s", err, out)
	}
	return filepath.Join(dir, "usr", "bin"), nil
})

// needPrometheus returns where prometheus and promtool are.
func needPrometheus(t *testing.T) string {
	t.Helper()
	sacntest.NeedTool(t, "apt-get", "dpkg")
	sacntest.NeedRoot(t)
	dir, err := prometheus()
	if err != nil {
		sacntest.Missing(t, "Debian's package prometheus: "+err.Error())
	}
	return dir
}

func TestRules(t *testing.T) {
	promtool := filepath.Join(needPrometheus(t), "promtool")
	t.Log(output(t, promtool, "check", "config", "prometheus.yml"))
	t.Log(output(t, promtool, "check", "rules", "--lint-fatal", "rules.yml"))
	dir := t.TempDir()
	for from, to := range map[string]string{"rules.yml": "rules.yml", "testdata/rules_test.yml": "rules_test.yml"} {
		text := sacntest.Read(t, from)
		sacntest.Write(t, filepath.Join(dir, to), text)
	}
	t.Log(output(t, promtool, "test", "rules", filepath.Join(dir, "rules_test.yml")))
}

type ruleFile struct {
	Groups []struct {
		Rules []struct {
			Record, Alert, Expr string
			For                 string
			Annotations         map[string]string
		}
	}
}

func readRules(t *testing.T) ruleFile {
	t.Helper()
	text := sacntest.Read(t, "rules.yml")
	var f ruleFile
	if err := yaml.Unmarshal([]byte(text), &f); err != nil {
		t.Fatal(err)
	}
	return f
}

// TestEveryAlertIsTested: a new alert needs a test of its own.
func TestEveryAlertIsTested(t *testing.T) {
	text := sacntest.Read(t, "testdata/rules_test.yml")
	for _, g := range readRules(t).Groups {
		for _, r := range g.Rules {
			if r.Alert == "" {
				continue
			}
			if !strings.Contains(text, "alertname: "+r.Alert+"\n        exp_alerts:") {
				t.Errorf("%s is not seen to fire in rules_test.yml", r.Alert)
			}
			if r.Annotations["description"] == "" || r.Annotations["summary"] == "" {
				t.Errorf("%s has no summary or no description", r.Alert)
			}
		}
	}
}

// expressions returns every PromQL expression of the rules and the dashboard.
func expressions(t *testing.T) []string {
	t.Helper()
	var list []string
	for _, g := range readRules(t).Groups {
		for _, r := range g.Rules {
			list = append(list, r.Expr)
		}
	}
	text := sacntest.Read(t, "dashboard.json")
	var dashboard struct {
		Panels []struct {
			Title   string
			Targets []struct{ Expr string }
		}
		Templating struct{ List []struct{ Definition string } }
	}
	sacntest.JSON(t, text, &dashboard)
	for _, p := range dashboard.Panels {
		if len(p.Targets) == 0 {
			t.Errorf("panel %q asks for nothing", p.Title)
		}
		for _, target := range p.Targets {
			list = append(list, target.Expr)
		}
	}
	for _, v := range dashboard.Templating.List {
		if v.Definition != "" {
			list = append(list, v.Definition)
		}
	}
	return list
}

var metricName = regexp.MustCompile(`\byardproof[a-z0-9_:]*`)

// checkNames fails on a metric that the rules or the dashboard use and the
// program does not export.
func checkNames(t *testing.T, scrape string) {
	t.Helper()
	known := map[string]bool{}
	for line := range strings.Lines(scrape) {
		if f := strings.Fields(line); len(f) == 4 && f[0] == "#" && f[1] == "TYPE" {
			known[f[2]] = true
			if f[3] == "histogram" {
				known[f[2]+"_bucket"], known[f[2]+"_sum"], known[f[2]+"_count"] = true, true, true
			}
		}
	}
	for _, g := range readRules(t).Groups {
		for _, r := range g.Rules {
			known[r.Record] = true
		}
	}
	used := 0
	for _, e := range expressions(t) {
		// What is quoted is a label's value: up{job="yardproof"}.
		for _, name := range metricName.FindAllString(regexp.MustCompile(`"[^"]*"`).ReplaceAllString(e, `""`), -1) {
			used++
			if !known[name] {
				t.Errorf("%s is exported by nothing, but used in %s", name, e)
			}
		}
	}
	if used < 40 {
		t.Errorf("only %d uses of metrics were found", used)
	}
}

// hurry divides every duration of a Prometheus configuration, so that what takes
// minutes in the yard takes seconds here. TestRules has the real durations.
func hurry(text string, by int) string {
	return regexp.MustCompile(`(\[|for: |_interval: )([0-9]+)(s|m)\b`).ReplaceAllStringFunc(text, func(s string) string {
		m := regexp.MustCompile(`^(.*?)([0-9]+)(s|m)$`).FindStringSubmatch(s)
		n, err := strconv.Atoi(m[2])
		if err != nil {
			return s
		}
		n *= 1000 / by
		if m[3] == "m" {
			n *= 60
		}
		return m[1] + strconv.Itoa(n) + "ms"
	})
}

// TestAlerts makes each fault, sees its alert fire in a real Prometheus, undoes
// the fault, and sees it clear.
func TestAlerts(t *testing.T) {
	t.Parallel() // it waits more than it works
	a := newAlarm(t)
	args := []string{"burn-in", a.plan, "--watch", "back0", "--state", t.TempDir()}
	far := func() *sacntest.Program {
		return start(t, inNamespace(a.pair.Far, a.bin, "listen", "--interface", "yard", "--universes", "1-2", "--format", "json"))
	}
	listening := far()
	prog := start(t, inNamespace(a.pair.Near, a.bin, args...))
	a.prometheus("- 127.0.0.1:9531")
	var scrape string
	sacntest.Eventually(t, 60*time.Second, "everything watched", func() bool {
		scrape = a.pair.Get(t, a.pair.Near, "http://127.0.0.1:9531/metrics")
		return strings.Contains(scrape, `yardproof_wire_packets_received_total{`) && strings.Contains(scrape, `yardproof_conflicts{`) &&
			strings.Contains(scrape, `yardproof_controller_round_trip_seconds{`) && strings.Contains(scrape, `yardproof_burnin_step_info{`)
	})
	// A hold has its metric only while it lasts.
	for _, what := range []string{"dark", "resume"} {
		sacntest.Output(t, inNamespace(a.pair.Near, "curl", "-s", "-f", "-H", "Content-Type: application/json", "-d", "{}", "http://127.0.0.1:9531/api/"+what))
		if what == "dark" {
			scrape += a.pair.Get(t, a.pair.Near, "http://127.0.0.1:9531/metrics")
		}
	}
	checkNames(t, scrape)
	busy := []string{"FrameRateLow", "FramesSkipped"}
	a.clears(busy...)

	// A dropped packet rate, a controller that is stopped, a second source, a
	// program that is stopped for a while, nobody at the unicast address.
	a.nft(`table netdev loss {
	chain in {
		type filter hook ingress device yard0 priority 0;
		udp dport 5568 numgen random mod 100 < 5 drop
		ip protocol icmp drop
	}
}`)
	other := start(t, inNamespace(a.pair.Far, a.bin, "run", "--universe", "1", "--pixels", "50", "--interface", "yard", "--no-scan", "--state", t.TempDir()))
	other.Says(30*time.Second, "page and metrics")
	// The watch samples for two seconds each minute, and at once after a reload.
	prog.Signal(syscall.SIGHUP)
	listening.Signal(syscall.SIGTERM)
	listening.Wait(20 * time.Second)
	a.fires("Conflict")
	prog.Signal(syscall.SIGSTOP)
	time.Sleep(1500 * time.Millisecond)
	prog.Signal(syscall.SIGCONT)
	a.fires("Loss", "ControllerSilent", "FramesSkipped", "SendErrors")
	other.Signal(syscall.SIGTERM)
	other.Wait(20 * time.Second)
	prog.Signal(syscall.SIGHUP)
	far()
	a.nft(`flush chain netdev loss in`)
	a.clears(busy...)

	a.nft(`add rule netdev loss in udp dport 5568 drop`)
	a.fires("UniverseSilent")
	a.nft(`flush chain netdev loss in`)
	a.clears(busy...)

	a.link("down")
	a.fires("LinkDown", "FrameRateLow", "BurnInStalled")
	a.link("up")
	a.clears(busy...)

	prog.Signal(syscall.SIGTERM)
	prog.Wait(20 * time.Second)
	a.fires("Down")
	start(t, inNamespace(a.pair.Near, a.bin, args...))
	a.clears(busy...)
}
