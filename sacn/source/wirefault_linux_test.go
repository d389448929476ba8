package source

import (
	"fmt"
	"net/netip"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// The cable is pulled, the interface is set down, its address changes, the
// device goes and another of its name comes. Each is one line when it begins and
// one when it is over. The kernel's notices alone bring the frames back, within
// settleTime, since nothing looks by itself here.
func TestWireFollowsInterface(t *testing.T) {
	t.Parallel()
	p := sacntest.NewPair(t)
	near, far := "-n "+p.Near+" ", "-n "+p.Far+" "
	prog := startSender(t, p, order{NoLook: true, Streams: []Stream{
		{Universe: 1, Slots: 512}, {Universe: 2, Slots: 512, Unicast: netip.MustParseAddr(sacntest.FarAddr4)},
	}})
	prog.Says(10*time.Second, "started")
	sees := countArrivals(t, p, sacntest.NearAddr4, "10.77.0.5", "10.77.0.6", "10.77.0.7")
	faults := 0
	fault := func(from string, begin, end []string) {
		t.Helper()
		for _, line := range begin {
			ip(t, line)
		}
		faults++
		lines(t, prog, "interface cannot carry frames", faults)
		for _, line := range end {
			ip(t, line)
		}
		lines(t, prog, "interface is up again", faults)
		sees(from)
	}
	fault(sacntest.NearAddr4, []string{far + "link set yard0 down"}, []string{far + "link set yard0 up"})
	fault(sacntest.NearAddr4, []string{near + "link set yard0 down"}, []string{near + "link set yard0 up"})
	fault(sacntest.NearAddr4, []string{near + "addr flush dev yard0"}, []string{near + "addr add " + sacntest.NearAddr4 + "/24 dev yard0"})
	fault("10.77.0.5", []string{near + "addr flush dev yard0"}, []string{near + "addr add 10.77.0.5/24 dev yard0"})
	fault("10.77.0.6", []string{near + "link del yard0"}, []string{
		near + "link add yard0 type veth peer name yard0 netns " + p.Far,
		near + "addr add 10.77.0.6/24 dev yard0", far + "addr add " + sacntest.FarAddr4 + "/24 dev yard0",
		near + "link set yard0 up", far + "link set yard0 up",
	})
	// Another address in its place, and at no time none: there is no fault to tell of.
	ip(t, near+"addr add 10.77.0.7/25 dev yard0")
	ip(t, near+"addr del 10.77.0.6/24 dev yard0")
	sees("10.77.0.7")
	if st := stopSender(t, prog); st.Link != LinkUp || st.Withheld == 0 {
		t.Errorf("link %v, %d frames withheld", st.Link, st.Withheld)
	}
	lines(t, prog, "interface cannot carry frames", faults)
	lines(t, prog, "interface is up again", faults)
}

// lines waits until a sender has said something so many times, and not more often.
func lines(t *testing.T, prog *sacntest.Program, what string, n int) {
	t.Helper()
	sacntest.Eventually(t, 20*time.Second, fmt.Sprintf("said %d times: %s", n, what), func() bool { return strings.Count(prog.Stderr(), what) >= n })
	if got := strings.Count(prog.Stderr(), what); got != n {
		t.Errorf("%q was said %d times, want %d: %s", what, got, n, prog.Stderr())
	}
}

// countArrivals has nftables count what arrives from some addresses, to the group
// of universe 1 and to the far end itself, and returns what waits until more of
// both has come from one of them.
func countArrivals(t *testing.T, p *sacntest.Pair, from ...string) (sees func(from string)) {
	t.Helper()
	sacntest.NeedTool(t, "nft")
	nft := func(args string) string { return p.Run(t, p.Far, "nft "+args) }
	rules := "add table ip yard; add chain ip yard in { type filter hook prerouting priority -300; };"
	for _, a := range from {
		for _, to := range []string{"239.255.0.1", sacntest.FarAddr4} {
			rules += fmt.Sprintf("add rule ip yard in ip saddr %s ip daddr %s udp dport 5568 counter;", a, to)
		}
	}
	nft(rules)
	counted := func(from string) (n []int) {
		for _, m := range regexp.MustCompile(`saddr `+regexp.QuoteMeta(from)+` .* packets (\d+)`).FindAllStringSubmatch(nft("list chain ip yard in"), -1) {
			i, err := strconv.Atoi(m[1])
			if err != nil {
				t.Fatal(err)
			}
			n = append(n, i)
		}
		return n
	}
	return func(from string) {
		t.Helper()
		before := counted(from)
		sacntest.Eventually(t, 20*time.Second, "heard from "+from, func() bool {
			now := counted(from)
			return now[0] > before[0]+5 && now[1] > before[1]+5
		})
	}
}
