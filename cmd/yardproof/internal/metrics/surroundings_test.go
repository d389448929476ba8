package metrics

import (
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/sacn/listener"
)

// A universe that was never heard has its series, or no alert could name it; a tap that
// can hear nothing has none.
func TestNeverHeardHasItsSeries(t *testing.T) {
	tap := &listener.TapReport{Universes: []listener.TapUniverse{
		{Universe: 4, Heard: true, Stream: listener.Stream{Packets: 100}}, {Universe: 5},
	}}
	around := surroundings.Snapshot{Tap: tap, Missed: map[uint16]surroundings.Missed{4: {}, 5: {Packets: 100, Outage: 2600 * time.Millisecond}}}
	read := SurroundingsCollector(func() surroundings.Snapshot { return around })
	got := scrape(t, read)
	for _, want := range []string{
		`yardproof_wire_packets_received_total{plan="quay",universe="5"} 0`,
		`yardproof_wire_packets_lost_total{plan="quay",universe="5"} 100`,
		`yardproof_wire_outage_seconds_total{plan="quay"} 2.6`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s", want)
		}
	}
	tap.Blind = "down"
	if got := scrape(t, read); strings.Contains(got, "yardproof_wire_") {
		t.Error("a blind tap is exported")
	}
}
