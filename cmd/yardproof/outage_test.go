package main

import (
	"context"
	"encoding/json"
	"regexp"
	"strconv"
	"strings"
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
	do := func(line string) string {
		words := strings.Fields(line)
		out, err := pair.Command(context.Background(), pair.Near, words[0], words[1:]...).CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v: %s", line, err, out)
		}
		return string(out)
	}
	for _, line := range []string{
		"ip link add tapa type veth peer name tapb", "ip link set tapa up", "ip link set tapb up",
		"ip addr add 10.78.0.1/24 dev tapa", "ip addr add 10.79.0.1/24 dev tapb",
		"nft add table netdev loss", "nft add counter netdev loss dropped",
	} {
		do(line)
	}
	prog := pair.Start(t, pair.Near, "run", "--universe", "1", "--pixels", "300", "--interface", "tapa", "--watch", "tapb", "--no-scan", "--state", t.TempDir())
	sum := func(name string) (n float64) {
		text := pair.Get(t, pair.Near, "http://"+address+"/metrics")
		for _, m := range regexp.MustCompile(`(?m)^yardproof_wire_`+name+`\{.*\} (\S+)$`).FindAllStringSubmatch(text, -1) {
			f, err := strconv.ParseFloat(m[1], 64)
			if err != nil {
				t.Error(err)
			}
			n += f
		}
		return n
	}
	sacntest.Eventually(t, 30*time.Second, "heard", func() bool { return sum("packets_received_total") > 100 })
	do("nft add chain netdev loss in { type filter hook ingress device tapb priority 0; }")
	do("nft add rule netdev loss in udp dport 5568 counter name dropped drop")
	time.Sleep(6 * time.Second)
	do("nft flush chain netdev loss in")
	m := regexp.MustCompile(`packets (\d+)`).FindStringSubmatch(do("nft list counters"))
	if m == nil {
		t.Fatal("nftables has no counter")
	}
	dropped, _ := strconv.ParseFloat(m[1], 64)
	time.Sleep(3 * time.Second)
	// nftables counts a dropped discovery list too.
	lost, outage := sum("packets_lost_total"), sum("outage_seconds_total")
	t.Logf("nftables dropped %v, lost %v, outages %v s; %s", dropped, lost, outage, prog.Stderr())
	if dropped < 300 || lost < dropped-8 || lost > dropped || outage < 11 || outage > 14 {
		t.Errorf("nftables dropped %v; lost %v, outages of two universes %v s", dropped, lost, outage)
	}
	var health struct {
		Samples []history.Sample `json:"samples"`
	}
	if err := json.Unmarshal([]byte(pair.Get(t, pair.Near, "http://"+address+"/api/health")), &health); err != nil {
		t.Fatal(err)
	}
	var without float64
	for _, s := range health.Samples {
		without += s.Outage
	}
	if without < outage/2-2 || without > outage/2+2 { // looked at once a second, and the metrics four times
		t.Errorf("the page tells of %v s without packets, the metrics of %v s on each of two universes", without, outage/2)
	}
}
