package transmit

import (
	"slices"

	"yardproof/cmd/yardproof/internal/outage"
	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/sacn/source"
)

// Reading returns what has gone out, what became of it, and the packets that a watched
// interface should have heard and those it did not; 0 of 0 while it hears nothing. It is
// for a programme, which begins when frames go out.
func (t *Transmitter) Reading() (stats source.Stats, wire outage.Reading, expected, lost uint64) {
	stats = t.source.Stats()
	around := t.around.Snapshot()
	expected, lost, _ = around.Loss()
	return stats, t.wire(stats, around), expected, lost
}

// wire is what became of the streams that are sent now.
func (t *Transmitter) wire(stats source.Stats, around surroundings.Snapshot) outage.Reading {
	r := outage.Reading{Streams: t.source.Streams(), Withheld: stats.Withheld}
	r.Streams = slices.DeleteFunc(r.Streams, func(s source.StreamStats) bool { return !s.Present })
	r.Arrived, r.Missed, r.Blind = around.Arrived()
	return r
}
