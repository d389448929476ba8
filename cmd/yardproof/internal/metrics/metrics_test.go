package metrics

import (
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn/source"
)

func transmitter(t testing.TB, stats source.Stats) Transmitter {
	t.Helper()
	plan, problems := config.Demo()
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	return Transmitter{
		Version: "1.2.3", Rate: 40, Session: session.New(plan, budget.New(plan)),
		Stats: func() source.Stats { return stats },
		Streams: func() []source.StreamStats {
			return []source.StreamStats{{Destination: source.Destination{Universe: 7}, Sent: 9, Failed: 1, Present: true},
				{Destination: source.Destination{Universe: 8}, Sent: 9}} // a reload removed it
		},
	}
}

func TestLint(t *testing.T) {
	yes := true
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(transmitter(t, source.Stats{
		SendErrors: []source.SendError{{Errno: "ENETUNREACH", Count: 2}},
		Advice:     source.Advice{NeighbourLimit: 1024, Route: &yes},
	}))
	problems, err := testutil.GatherAndLint(registry)
	if err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
}

func TestHistogramIsCumulative(t *testing.T) {
	got := scrape(t, transmitter(t, source.Stats{Lateness: source.Histogram{
		Bounds: []float64{0.001, 0.01}, Counts: []uint64{5, 3, 1}, Sum: 0.25, Count: 9,
	}}))
	if strings.Contains(got, `universe="8"`) {
		t.Error("a stream that is not sent any more has a series, and an alert would wait for its packets")
	}
	for _, want := range []string{
		`yardproof_frame_lateness_seconds_bucket{plan="quay",le="0.001"} 5`,
		`yardproof_frame_lateness_seconds_bucket{plan="quay",le="0.01"} 8`,
		`yardproof_frame_lateness_seconds_bucket{plan="quay",le="+Inf"} 9`,
		`yardproof_frame_lateness_seconds_sum{plan="quay"} 0.25`,
		`yardproof_build_info{commit=`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s", want)
		}
	}
}

// What cannot be known is absent, never 0.
func TestUnknownIsAbsent(t *testing.T) {
	got := scrape(t, transmitter(t, source.Stats{}))
	for _, name := range []string{"neighbour_limit_entries", "multicast_route_present"} {
		if strings.Contains(got, "yardproof_"+name) {
			t.Errorf("%s is exported though nobody knows it", name)
		}
	}
}

func scrape(t *testing.T, c ...prometheus.Collector) string {
	t.Helper()
	answer := httptest.NewRecorder()
	Handler("quay", c...).ServeHTTP(answer, httptest.NewRequest("GET", "/metrics", nil))
	if answer.Code != 200 {
		t.Fatalf("%d: %s", answer.Code, answer.Body)
	}
	return answer.Body.String()
}
