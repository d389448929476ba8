package metrics

import (
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// heardFar is two sources on universe 7 and one more universe that is silent.
func heardFar(t *testing.T) listener.Report {
	t.Helper()
	tr := listener.NewTracker(listener.TrackerConfig{})
	start := time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC)
	name, err := sacn.NewName("quay\x1blaptop")
	if err != nil {
		t.Fatal(err)
	}
	for i, sequence := range []uint8{0, 1, 3, 30} {
		for source := byte(1); source <= 2; source++ {
			d := sacn.Data{CID: sacn.CID{15: source}, Name: name, Universe: 7, Priority: 100, Sequence: sequence}
			b, err := d.AppendTo(nil)
			if err != nil {
				t.Fatal(err)
			}
			tr.Packet(b, listener.Arrival{At: start.Add(time.Duration(i) * 25 * time.Millisecond)})
		}
	}
	tr.Packet([]byte("no packet"), listener.Arrival{At: start})
	return listener.Report{
		Snapshot: tr.Snapshot(start.Add(time.Second)),
		Socket:   listener.SocketState{Buffer: 4096, DropsKnown: true}, Querier: listener.QuerierState{Known: true},
	}
}

func TestListenerMetrics(t *testing.T) {
	r := heardFar(t)
	c := Listener{Joined: []uint16{7, 8}, Read: func() listener.Report { return r }}
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(c)
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
	const cid = `{cid="00000000-0000-0000-0000-000000000001",plan="quay"`
	got := scrape(t, c)
	for _, want := range []string{
		`yardproof_listener_packets_received_total` + cid + `,universe="7"} 4`,
		`yardproof_listener_packets_lost_total` + cid + `,universe="7"} 8`, // 19 of the 27 may still come
		`yardproof_listener_source_info{address="invalid IP",cid="00000000-0000-0000-0000-000000000001",name="quay` + "\ufffd" + `laptop",plan="quay"} 1`,
		`yardproof_listener_conflict_sources{plan="quay",universe="7"} 2`,
		`yardproof_listener_silent_universes{plan="quay"} 1`,
		`yardproof_listener_malformed_packets_total{plan="quay",reason="short"} 1`,
		`yardproof_listener_malformed_packets_total{plan="quay",reason="group"} 0`,
		`yardproof_listener_group_queries_total{plan="quay"} 0`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s in\n%s", want, got)
		}
	}
	if want := `yardproof_listener_interface_up{plan="quay"} 1`; !strings.Contains(got, want) {
		t.Errorf("no %s", want)
	}
	r.DeafNow, r.Deaf = "gone", 1500*time.Millisecond
	got = scrape(t, c)
	for _, want := range []string{`yardproof_listener_interface_up{plan="quay"} 0`, `yardproof_listener_deaf_seconds_total{plan="quay"} 1.5`} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s in\n%s", want, got)
		}
	}
	r.Socket.DropsKnown, r.Querier.Known = false, false
	got = scrape(t, c)
	for _, absent := range []string{"local_drops", "receive_buffer", "group_queries"} {
		if strings.Contains(got, absent) {
			t.Errorf("%s is exported though nobody knows it", absent)
		}
	}
}
