package metrics

import (
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/sacn/listener"
)

// A universe that was never heard has its series, or no alert could name it.
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
}

// A blind watch exports that it is blind, and none of what it counted before.
func TestBlindWatchExportsNothing(t *testing.T) {
	tap := &listener.TapReport{DropsKnown: true, Universes: []listener.TapUniverse{{Universe: 7, Heard: true, Stream: listener.Stream{Packets: 99}}}}
	c := SurroundingsCollector(func() surroundings.Snapshot {
		return surroundings.Snapshot{Tap: tap, Missed: map[uint16]surroundings.Missed{7: {Packets: 3}}}
	})
	wire := func() (series []string) {
		for line := range strings.Lines(scrape(t, c)) {
			if strings.HasPrefix(line, "yardproof_wire_") {
				series = append(series, strings.TrimSpace(line))
			}
		}
		return series
	}
	if got := wire(); len(got) != 8 {
		t.Errorf("while it hears: %q", got)
	}
	tap.Blind = "gone"
	if got := wire(); len(got) != 1 || got[0] != `yardproof_wire_watch_up{plan="quay"} 0` {
		t.Errorf("while it is blind: %q", got)
	}
}
