//go:build linux

package deploy

import (
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
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
		text, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, to), text, 0o600); err != nil {
			t.Fatal(err)
		}
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
	text, err := os.ReadFile("rules.yml")
	if err != nil {
		t.Fatal(err)
	}
	var f ruleFile
	if err := yaml.Unmarshal(text, &f); err != nil {
		t.Fatal(err)
	}
	return f
}

// TestEveryAlertIsTested: a new alert needs a test of its own.
func TestEveryAlertIsTested(t *testing.T) {
	text, err := os.ReadFile("testdata/rules_test.yml")
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range readRules(t).Groups {
		for _, r := range g.Rules {
			if r.Alert == "" {
				continue
			}
			if !strings.Contains(string(text), "alertname: "+r.Alert+"\n        exp_alerts:") {
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
	text, err := os.ReadFile("dashboard.json")
	if err != nil {
		t.Fatal(err)
	}
	var dashboard struct {
		Panels []struct {
			Title   string
			Targets []struct{ Expr string }
		}
		Templating struct{ List []struct{ Definition string } }
	}
	if err := json.Unmarshal(text, &dashboard); err != nil {
		t.Fatalf("dashboard.json: %v", err)
	}
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

// alarm is the transmitter in a yard with a Prometheus beside it.
type alarm struct {
	t    *testing.T
	pair *sacntest.Pair
	at   string // the namespace that Prometheus is in
	bin  string
	plan string
}

// newAlarm lays a second cable back from the far end: a bridge there, and an
// interface "back0" here that hears what arrives.
func newAlarm(t *testing.T) *alarm {
	t.Helper()
	sacntest.NeedTool(t, "nft", "curl")
	a := &alarm{t: t, pair: sacntest.NewPair(t), bin: filepath.Join(unpacked(t), "usr/bin/yardproof")}
	near, far := a.pair.Near, a.pair.Far
	a.at = near
	for _, line := range []string{
		"ip -n " + near + " link add back0 type veth peer name back1 netns " + far,
		"ip -n " + near + " addr add 10.79.0.1/24 dev back0",
		"ip -n " + near + " link set back0 up",
		"ip -n " + far + " link add yard type bridge mcast_snooping 0",
		"ip -n " + far + " addr flush dev yard0",
		"ip -n " + far + " link set yard0 master yard",
		"ip -n " + far + " link set back1 master yard",
		"ip -n " + far + " link set back1 up",
		"ip -n " + far + " addr add 10.77.0.2/24 dev yard",
		"ip -n " + far + " link set yard up",
		"ip -n " + far + " route replace 239.255.0.0/16 dev yard",
	} {
		f := strings.Fields(line)
		output(t, f[0], f[1:]...)
	}
	var err error
	if a.plan, err = filepath.Abs("../testdata/burn-in.yaml"); err != nil {
		t.Fatal(err)
	}
	return a
}

func (a *alarm) nft(script string) {
	a.t.Helper()
	cmd := inNamespace(a.pair.Far, "nft", "-f", "-")
	cmd.Stdin = strings.NewReader(script)
	if out, err := cmd.CombinedOutput(); err != nil {
		a.t.Fatalf("nft: %v: %s", err, out)
	}
}

func (a *alarm) link(to string) {
	a.t.Helper()
	output(a.t, "ip", "-n", a.pair.Near, "link", "set", "yard0", to)
	if to == "up" {
		output(a.t, "ip", "-n", a.pair.Near, "route", "replace", "239.255.0.0/16", "dev", "yard0")
	}
}

// prometheus starts the server with the shipped configuration, hurried.
func (a *alarm) prometheus(targets string) {
	a.t.Helper()
	bin := filepath.Join(needPrometheus(a.t), "prometheus")
	dir := a.t.TempDir()
	for _, name := range []string{"prometheus.yml", "rules.yml"} {
		text, err := os.ReadFile(name)
		if err != nil {
			a.t.Fatal(err)
		}
		fast := strings.ReplaceAll(hurry(string(text), 30), "- 127.0.0.1:9531", targets)
		if err := os.WriteFile(filepath.Join(dir, name), []byte(fast), 0o600); err != nil {
			a.t.Fatal(err)
		}
	}
	p := start(a.t, inNamespace(a.at, bin, "--config.file="+filepath.Join(dir, "prometheus.yml"),
		"--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address=127.0.0.1:9090", "--log.level=warn"))
	sacntest.Eventually(a.t, 60*time.Second, "Prometheus ready", func() bool {
		return strings.Contains(a.pair.Get(a.t, a.at, "http://127.0.0.1:9090/-/ready"), "Ready")
	})
	a.t.Cleanup(func() {
		if said := p.said(); strings.Contains(said, "level=error") {
			a.t.Errorf("Prometheus said %s", said)
		}
	})
}

// query returns the values of an instant query by one label.
func (a *alarm) query(expr, label string) map[string]float64 {
	a.t.Helper()
	text := a.pair.Get(a.t, a.at, "http://127.0.0.1:9090/api/v1/query?query="+url.QueryEscape(expr))
	var answer struct {
		Status string
		Data   struct {
			Result []struct {
				Metric map[string]string
				Value  [2]any
			}
		}
	}
	if err := json.Unmarshal([]byte(text), &answer); err != nil || answer.Status != "success" {
		a.t.Fatalf("query %s: %v: %s", expr, err, text)
	}
	values := map[string]float64{}
	for _, r := range answer.Data.Result {
		s, _ := r.Value[1].(string)
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			a.t.Fatal(err)
		}
		values[r.Metric[label]] = v
	}
	return values
}

func (a *alarm) firing() []string {
	var names []string
	for name := range a.query(`ALERTS{alertstate="firing"}`, "alertname") {
		names = append(names, strings.TrimPrefix(name, "Yardproof"))
	}
	slices.Sort(names)
	return names
}

// fires waits until every one of the alerts fires.
func (a *alarm) fires(names ...string) {
	a.t.Helper()
	begin, seen := time.Now(), map[string]bool{}
	defer func() { a.t.Logf("%v: %s fired", time.Since(begin).Round(time.Second), strings.Join(names, ", ")) }()
	sacntest.Eventually(a.t, 120*time.Second, "firing: "+strings.Join(names, ", "), func() bool {
		for _, name := range a.firing() {
			seen[name] = true
		}
		return !slices.ContainsFunc(names, func(n string) bool { return !seen[n] })
	})
}

// clears waits until no alert fires. On a busy machine frames are skipped for
// real, so those two may not be waited for.
func (a *alarm) clears(but ...string) {
	a.t.Helper()
	begin := time.Now()
	defer func() { a.t.Logf("%v: cleared", time.Since(begin).Round(time.Second)) }()
	sacntest.Eventually(a.t, 120*time.Second, "cleared", func() bool {
		return !slices.ContainsFunc(a.firing(), func(n string) bool { return !slices.Contains(but, n) })
	})
}

// TestAlerts makes each fault, sees its alert fire in a real Prometheus, undoes
// the fault, and sees it clear.
func TestAlerts(t *testing.T) {
	t.Parallel() // it waits more than it works
	a := newAlarm(t)
	args := []string{"burn-in", a.plan, "--watch", "back0", "--state", t.TempDir()}
	far := func() *process {
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
	sacntest.Eventually(t, 30*time.Second, "the second source sending", func() bool { return strings.Contains(other.said(), "page and metrics") })
	// The watch samples for two seconds each minute, and at once after a reload.
	_ = prog.cmd.Process.Signal(syscall.SIGHUP)
	listening.stop(syscall.SIGTERM)
	a.fires("Conflict")
	_ = prog.cmd.Process.Signal(syscall.SIGSTOP)
	time.Sleep(1500 * time.Millisecond)
	_ = prog.cmd.Process.Signal(syscall.SIGCONT)
	a.fires("Loss", "ControllerSilent", "FramesSkipped", "SendErrors")
	other.stop(syscall.SIGTERM)
	_ = prog.cmd.Process.Signal(syscall.SIGHUP)
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

	prog.stop(syscall.SIGTERM)
	a.fires("Down")
	start(t, inNamespace(a.pair.Near, a.bin, args...))
	a.clears(busy...)
}
