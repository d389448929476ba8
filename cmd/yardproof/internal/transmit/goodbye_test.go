package transmit

import (
	"slices"
	"testing"

	"yardproof/sacn/source"
)

func TestGoodbye(t *testing.T) {
	stream := func(universe uint16, sent, failed uint64) source.StreamStats {
		return source.StreamStats{Destination: source.Destination{Universe: universe}, Sent: sent, Failed: failed, Present: true, Terminated: 3}
	}
	removed := stream(9, 0, 0)
	removed.Present = false
	untold, untold2 := stream(3, 40, 6), stream(4, 40, 6)
	untold.Terminated, untold2.Terminated = 0, 0
	for _, tt := range []struct {
		name    string
		stats   source.Stats
		streams []source.StreamStats
		want    []string
	}{
		{"all well", source.Stats{Frames: 40, Packets: 80, SendErrors: []source.SendError{{Errno: "EPERM"}}}, []source.StreamStats{stream(1, 40, 0), stream(2, 40, 0)},
			[]string{"sent 40 frames in 80 packets, skipped 0; the streams are terminated"}},
		{"nothing", source.Stats{Withheld: 40, Link: source.LinkDown}, []source.StreamStats{stream(1, 0, 0), stream(2, 0, 0)},
			[]string{"sent 0 frames in 0 packets, skipped 0; nothing went out", "of 40 frames no packet went out", "nothing went out to universes 1-2"}},
		{"the cable was out at the end", source.Stats{Frames: 1, Packets: 1, Link: source.LinkNoCarrier}, []source.StreamStats{stream(1, 1, 0)},
			[]string{"sent 1 frame in 1 packet, skipped 0; the streams could not be terminated (link no carrier): receivers notice the end after 2.5 s"}},
		{"replaced before it began", source.Stats{Frames: 40, Packets: 40}, []source.StreamStats{stream(1, 40, 0), removed},
			[]string{"sent 40 frames in 40 packets, skipped 0; the streams are terminated"}},
		{"the last packets were refused", source.Stats{Frames: 40, Packets: 120}, []source.StreamStats{stream(1, 40, 0), untold, untold2},
			[]string{"sent 40 frames in 120 packets, skipped 0; the streams are terminated, but for universes 3-4: the last packets were refused, and receivers notice the end after 2.5 s", "packets were lost here to universes 3-4"}},
		{"one controller refused", source.Stats{Frames: 40, Packets: 60, SendErrors: []source.SendError{{Errno: "EPERM", Count: 60, To: "192.0.2.7", Why: "a firewall stops it; let it out"}}},
			[]source.StreamStats{stream(1, 40, 0), stream(7, 0, 40), stream(3, 20, 20)},
			[]string{"sent 40 frames in 60 packets, skipped 0; the streams are terminated", "not sent: 60 packets, the last to 192.0.2.7: a firewall stops it; let it out (EPERM)",
				"nothing went out to universe 7", "packets were lost here to universe 3"}},
	} {
		if got := goodbye(tt.stats, tt.streams); !slices.Equal(got, tt.want) {
			t.Errorf("%s:\n%q, want\n%q", tt.name, got, tt.want)
		}
	}
}
