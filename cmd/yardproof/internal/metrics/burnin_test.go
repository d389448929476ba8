package metrics

import (
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"yardproof/cmd/yardproof/internal/burnin"
)

func TestBurnIn(t *testing.T) {
	r := burnin.Report{State: burnin.Held, Target: 48 * time.Hour, Least: 90 * time.Minute, Chosen: []string{"a", "b"}, Done: 1, Silent: []uint16{7}}
	r.Universes = []burnin.Universe{{Universe: 3}, {Universe: 7, Outage: burnin.Seconds(34 * time.Second)}, {Universe: 8, Unicast: netip.MustParseAddr("192.0.2.9"), Outage: burnin.Seconds(3500 * time.Millisecond)}}
	got := scrape(t, BurnInCollector(func() burnin.Report { return r }))
	for _, want := range []string{
		`yardproof_burnin_state{plan="quay",state="held"} 1`,
		`yardproof_burnin_state{plan="quay",state="running"} 0`,
		`yardproof_burnin_served_seconds{plan="quay"} 5400`,
		`yardproof_burnin_target_seconds{plan="quay"} 172800`,
		`yardproof_burnin_strings_done{plan="quay"} 1`,
		`yardproof_burnin_kept{plan="quay"} 1`,
		`yardproof_burnin_outage_seconds_total{destination="multicast",plan="quay",universe="7"} 34`,
		`yardproof_burnin_outage_seconds_total{destination="192.0.2.9",plan="quay",universe="8"} 3.5`,
		`yardproof_burnin_silent_universes{plan="quay"} 1`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s", want)
		}
	}
	for _, absent := range []string{"last_look", "step_info", `universe="3"`} {
		if strings.Contains(got, absent) {
			t.Errorf("%s is exported though there was none", absent)
		}
	}
	r.Unkept = "the disk has not answered for 9m"
	if !strings.Contains(scrape(t, BurnInCollector(func() burnin.Report { return r })), `yardproof_burnin_kept{plan="quay"} 0`) {
		t.Error("it is exported as kept")
	}
	r.Step.Pattern, r.LastLook = "walk", time.Now()
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(BurnInCollector(func() burnin.Report { return r }))
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
}
