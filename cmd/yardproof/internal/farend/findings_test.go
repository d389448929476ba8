package farend

import (
	"slices"
	"testing"
	"time"

	"yardproof/sacn/listener"
)

// Packets whose START code is not 0 alone are no levels: no pixel follows them, however
// many come. Among others that are, they are no finding.
func TestNoLevelsAreFound(t *testing.T) {
	report := func(packets, others uint64) listener.Report {
		return listener.Report{Snapshot: listener.Snapshot{At: time.Now(), Sources: []listener.Source{{Name: "quay", Streams: []listener.Stream{
			{Universe: 1, Packets: 80, Live: true}, {Universe: 7, Packets: packets, Others: others, OtherCode: 0xDD, Live: true},
		}}}}}
	}
	const want = "packets but no levels on universe 7: their START code is not 0, so no pixel follows them"
	for _, c := range []struct {
		packets, others uint64
		found           bool
	}{{80, 80, true}, {80, 40, false}, {80, 0, false}} {
		far := New(func() listener.Report { return report(c.packets, c.others) }, Expected{Universes: []uint16{1, 7}})
		if got := far.Answer().Findings; slices.Contains(got, want) != c.found || len(got) > 1 {
			t.Errorf("%d of %d packets carry no levels: found %q", c.others, c.packets, got)
		}
	}
}
