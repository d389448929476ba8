package transmit

import (
	"slices"

	"yardproof/cmd/yardproof/internal/outage"
	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/sacn/source"
)

// Reading returns what has gone out, what became of it, and the packets that a watched
// interface should have heard and those it did not; 0 of 0 while it hears nothing. It is
// for a programme, which begins when frames go out. The streams are good until it is
// called again.
func (t *Transmitter) Reading() (stats source.Stats, wire outage.Reading, expected, lost uint64) {
	stats = t.source.Stats()
	around := t.around.Snapshot()
	expected, lost, _ = around.Loss()
	wire = t.wire(t.streams[:0], stats, around)
	t.streams = wire.Streams
	return stats, wire, expected, lost
}

// wire is what became of the streams that are sent now, which it appends to list.
func (t *Transmitter) wire(list []source.StreamStats, stats source.Stats, around surroundings.Snapshot) outage.Reading {
	r := outage.Reading{Streams: t.source.AppendStreams(list), Withheld: stats.Withheld}
	r.Streams = slices.DeleteFunc(r.Streams, func(s source.StreamStats) bool { return !s.Present })
	r.Arrived, r.Missed, r.Blind = around.Arrived()
	return r
}
