package metrics

import (
	"strconv"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"

	"github.com/prometheus/client_golang/prometheus"
)

// TestInterfaceCounts holds the collector's packets to what sysfs says just
// before and just after.
func TestInterfaceCounts(t *testing.T) {
	sysfs := func() float64 {
		text := sacntest.Read(t, "/sys/class/net/lo/statistics/tx_packets")
		n, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
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
