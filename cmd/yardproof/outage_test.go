package main

import (
	"regexp"
	"strconv"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/history"
	"yardproof/sacn/sacntest"
)

// TestTotalOutageIsLost drops everything on the way to the watched interface for
// six seconds: what nftables says it dropped is what was lost.
func TestTotalOutageIsLost(t *testing.T) {
	t.Parallel() // it waits more than it works
	sacntest.NeedTool(t, "nft")
	pair := sacntest.NewPair(t)
	do := func(line string) string { t.Helper(); return pair.Run(t, pair.Near, line) }
	for _, line := range []string{
		"ip link add tapa type veth peer name tapb", "ip link set tapa up", "ip link set tapb up",
		"ip addr add 10.78.0.1/24 dev tapa", "ip addr add 10.79.0.1/24 dev tapb",
		"nft add table netdev loss", "nft add counter netdev loss dropped",
	} {
		do(line)
	}
	prog := pair.Start(t, pair.Near, "run", "--universe", "1", "--pixels", "300", "--interface", "tapa", "--watch", "tapb", "--no-scan", "--state", t.TempDir())
	sum := func(name string) float64 {
		n, _ := metricSum(t, pair.Get(t, pair.Near, "http://"+address+"/metrics"), "wire_"+name)
		return n
	}
	sacntest.Eventually(t, 30*time.Second, "heard", func() bool { return sum("packets_received_total") > 100 })
	do("nft add chain netdev loss in { type filter hook ingress device tapb priority 0; }")
	earliest := time.Now()
	do("nft add rule netdev loss in udp dport 5568 counter name dropped drop")
	begun := time.Now()
	dropped := func() int {
		m := regexp.MustCompile(`packets (\d+)`).FindStringSubmatch(do("nft list counters"))
		if m == nil {
			t.Fatal("nftables has no counter")
		}
		n, _ := strconv.Atoi(m[1])
		return n
	}
	// A silence counts as an outage when it was longer than 2.5 s.
	time.Sleep(6 * time.Second)
	sacntest.Eventually(t, 60*time.Second, "dropped", func() bool { return dropped() > 300 })
	shortest := time.Since(begun)
	do("nft flush chain netdev loss in")
	longest := time.Since(earliest)
	before := sum("packets_received_total")
	sacntest.Eventually(t, 30*time.Second, "heard again", func() bool { return sum("packets_received_total") > before+100 })
	// nftables counts a dropped discovery list too.
	n := float64(dropped())
	sacntest.Eventually(t, 30*time.Second, "counted as lost", func() bool { return sum("packets_lost_total") >= n-8 })
	lost, outage := sum("packets_lost_total"), sum("outage_seconds_total")
	t.Logf("nftables dropped %v in %v to %v, lost %v, outages %v s; %s", n, shortest, longest, lost, outage, prog.Stderr())
	// Of both universes; a silence is known to begin and to end within a look or two.
	if lost > n || outage < 2*shortest.Seconds()-2 || outage > 2*longest.Seconds()+10 {
		t.Errorf("nftables dropped %v; lost %v, outages of two universes %v s", n, lost, outage)
	}
	var health struct {
		Samples []history.Sample `json:"samples"`
	}
	sacntest.JSON(t, pair.Get(t, pair.Near, "http://"+address+"/api/health"), &health)
	var without float64
	for _, s := range health.Samples {
		without += s.Outage
	}
	if without < outage/2-2 || without > outage/2+2 { // looked at once a second, and the metrics four times
		t.Errorf("the page tells of %v s without packets, the metrics of %v s on each of two universes", without, outage/2)
	}
}
