package metrics

import (
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
