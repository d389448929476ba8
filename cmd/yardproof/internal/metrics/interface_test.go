package metrics

import (
	"os"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
)

// The layout is that of proc(5), copied from a running kernel, numbers changed.
const netDev = `Inter-|   Receive                                                |  Transmit
 face |bytes    packets errs drop fifo frame compressed multicast|bytes    packets errs drop fifo colls carrier compressed
    lo: 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16
yard0: 530176451   38143    0    0    0     0          0         0  2894123   32629    3    4    0     0       5          0
  bad: 1 2 3 4 5 6 7 8 9 x 11 12 13 14 15 16
short: 1 2
`

func TestTransmitted(t *testing.T) {
	if got, ok := transmitted(strings.NewReader(netDev), "yard0"); !ok || got != (transmission{32629, 3, 4, 5}) {
		t.Errorf("yard0: %+v, %v", got, ok)
	}
	for _, name := range []string{"bad", "short", "none", "yard"} {
		if got, ok := transmitted(strings.NewReader(netDev), name); ok {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

func TestInterfaceLint(t *testing.T) {
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(Interface("lo"))
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
}

// TestInterfaceCounts holds the collector's packets to what sysfs says just
// before and just after.
func TestInterfaceCounts(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("left out: the counters are Linux's")
	}
	sysfs := func() float64 {
		text, err := os.ReadFile("/sys/class/net/lo/statistics/tx_packets")
		if err != nil {
			t.Fatal(err)
		}
		n, err := strconv.ParseFloat(strings.TrimSpace(string(text)), 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(Interface("lo"))
	before := sysfs()
	families, err := registry.Gather()
	after := sysfs()
	if err != nil || len(families) != 4 {
		t.Fatalf("%d families, %v", len(families), err)
	}
	for _, f := range families {
		if got := f.Metric[0].Counter.GetValue(); strings.HasSuffix(f.GetName(), "transmitted_packets_total") && !(got >= before && got <= after) {
			t.Errorf("%g packets, sysfs had %g before and %g after", got, before, after)
		}
	}
}
