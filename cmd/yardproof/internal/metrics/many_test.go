package metrics

import (
	"io"
	"net/http/httptest"
	"regexp"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/sacn/listener"
	"yardproof/sacn/source"
)

// many is a transmitter of ten thousand universes that are all watched.
func many(tb testing.TB) (Transmitter, SurroundingsCollector) {
	const n = 10000
	streams := make([]source.StreamStats, n)
	heard := make([]listener.TapUniverse, n)
	missed := make(map[uint16]surroundings.Missed, n)
	for i := range n {
		u := uint16(1 + i)
		streams[i] = source.StreamStats{Destination: source.Destination{Universe: u}, Sent: 1e9, Present: true}
		heard[i] = listener.TapUniverse{Universe: u, Heard: true, Stream: listener.Stream{Packets: 1e9}}
		missed[u] = surroundings.Missed{Packets: 1e6, Outage: time.Second}
	}
	t := transmitter(tb, source.Stats{})
	t.Streams = func() []source.StreamStats { return streams }
	return t, func() surroundings.Snapshot {
		return surroundings.Snapshot{Tap: &listener.TapReport{Universes: heard}, Missed: missed}
	}
}

// Three series a universe, and what a month of packets makes of their length.
func TestManyUniverses(t *testing.T) {
	sent, watched := many(t)
	got := scrape(t, sent, watched)
	if len(got) > 5<<20 {
		t.Errorf("a scrape takes %d octets", len(got))
	}
	if n := len(regexp.MustCompile(`(?m)^[^#].*universe="10000"`).FindAllString(got, -1)); n != 3 {
		t.Errorf("%d series of one universe", n)
	}
}

func BenchmarkScrape(b *testing.B) {
	sent, watched := many(b)
	h := Handler("quay", sent, watched)
	for b.Loop() {
		answer := httptest.NewRecorder()
		h.ServeHTTP(answer, httptest.NewRequest("GET", "/metrics", nil))
		n, _ := io.Copy(io.Discard, answer.Body)
		b.ReportMetric(float64(n)/1e6, "MB")
	}
}
