package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/farend"
	"yardproof/sacn/sacntest"
)

// TestOneFamily takes one of IPv4 and IPv6 away from both ends: the other carries light,
// is heard, and serves the page. A plan for the missing one is refused in one sentence.
func TestOneFamily(t *testing.T) {
	t.Parallel() // it waits more than it works
	for _, c := range []struct {
		is, isNot, without, flag, page string
		commands                       []string
	}{
		{"ipv6", "ipv4", "no IPv4 address", "--ipv6", "[" + sacntest.NearAddr6 + "]:9531", []string{"ip -4 addr flush dev yard0", "ip -4 route flush table all", "ip -4 addr flush dev lo"}},
		{"ipv4", "ipv6", "no IPv6 address", "--ipv6=false", sacntest.NearAddr4 + ":9531", []string{"sysctl -qw net.ipv6.conf.all.disable_ipv6=1"}},
	} {
		t.Run(c.is+" only", func(t *testing.T) {
			t.Parallel()
			pair := sacntest.NewPair(t)
			for _, ns := range []string{pair.Near, pair.Far} {
				for _, line := range c.commands {
					pair.Run(t, ns, line)
				}
			}
			plan := func(family string) string {
				return sacntest.File(t, "quay.yaml", fmt.Sprintf("name: Quay\nnetwork: {interface: yard0, family: %s}\nstrings: [{name: gable, universe: 1, pixels: 50}]\n", family))
			}
			refused := pair.Start(t, pair.Near, "run", plan(c.isNot), "--no-scan", "--state", t.TempDir(), "--http", c.page, "--for", "1s")
			if code := refused.Wait(30 * time.Second); code != 2 || !strings.Contains(refused.Stderr(), c.without) {
				t.Errorf("over %s: exit %d, %s", c.isNot, code, refused.Stderr())
			}
			prog := pair.Start(t, pair.Near, "run", plan(c.is), "--state", t.TempDir(), "--http", c.page, "--metrics-open", "--for", "6s")
			sacntest.Eventually(t, 30*time.Second, "serving a page to the far end", func() bool {
				n, _ := metricSum(t, pair.Get(t, pair.Far, "http://"+c.page+"/metrics"), "frames_sent_total")
				return n > 0
			})
			ears := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--universes", "1", c.flag, "--format", "json", "--for", "1500ms")
			code := ears.Wait(30 * time.Second)
			var a farend.Answer
			ears.JSON(&a)
			if len(a.Sources) != 1 || len(a.Sources[0].Universes) != 1 || a.Sources[0].Universes[0].Packets < 10 || a.Sources[0].Universes[0].Lost > 0 {
				t.Errorf("listen: exit %d, %+v", code, a)
			}
			prog.Ends(30 * time.Second)
		})
	}
}
