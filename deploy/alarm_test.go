//go:build linux

package deploy

import (
	"encoding/json"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

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
	sacntest.Output(a.t, cmd)
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
		text := sacntest.Read(a.t, name)
		fast := strings.ReplaceAll(hurry(text, 30), "- 127.0.0.1:9531", targets)
		sacntest.Write(a.t, filepath.Join(dir, name), fast)
	}
	p := start(a.t, inNamespace(a.at, bin, "--config.file="+filepath.Join(dir, "prometheus.yml"),
		"--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address=127.0.0.1:9090", "--log.level=warn"))
	sacntest.Eventually(a.t, 60*time.Second, "Prometheus ready", func() bool {
		return strings.Contains(a.pair.Get(a.t, a.at, "http://127.0.0.1:9090/-/ready"), "Ready")
	})
	a.t.Cleanup(func() {
		if said := p.Stderr(); strings.Contains(said, "level=error") {
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
