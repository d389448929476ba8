package metrics

import (
	"io"
	"net/http/httptest"
	"regexp"
	"sync"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/sacn/listener"
	"yardproof/sacn/source"
)

// many is a transmitter of n universes that are all watched.
func many(tb testing.TB, n int) (Transmitter, SurroundingsCollector) {
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
	sent, watched := many(t, 10000)
	got := scrape(t, sent, watched)
	if len(got) > 5<<20 {
		t.Errorf("a scrape takes %d octets", len(got))
	}
	series := map[string]bool{}
	for _, s := range regexp.MustCompile(`(?m)^(yardproof_\w+{(?:destination="multicast",)?plan="quay",universe="\d+"}) 1e\+0[69]$`).FindAllStringSubmatch(got, -1) {
		series[s[1]] = true
	}
	if len(series) != 3*10000 {
		t.Errorf("%d series, each with its plan, of 10000 universes", len(series))
	}
}

// A scrape of its own has what was counted then, and no more of a universe than that.
func TestScrapesAtOnce(t *testing.T) {
	sent, watched := many(t, 100)
	h := Handler("quay", sent, watched)
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			answer := httptest.NewRecorder()
			h.ServeHTTP(answer, httptest.NewRequest("GET", "/metrics", nil))
			if n := len(regexp.MustCompile(`(?m)^[^#].*universe="100"`).FindAllString(answer.Body.String(), -1)); answer.Code != 200 || n != 3 {
				t.Errorf("%d, %d series of one universe", answer.Code, n)
			}
		})
	}
	all.Wait()
}

func BenchmarkScrape(b *testing.B) {
	sent, watched := many(b, 10000)
	h := Handler("quay", sent, watched)
	for b.Loop() {
		answer := httptest.NewRecorder()
		h.ServeHTTP(answer, httptest.NewRequest("GET", "/metrics", nil))
		n, _ := io.Copy(io.Discard, answer.Body)
		b.ReportMetric(float64(n)/1e6, "MB")
	}
}
