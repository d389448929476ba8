// Package metrics turns what the transmitter knows into Prometheus metrics at
// the moment they are scraped. It keeps no numbers of its own and refuses to
// know how they came about: counters live where the work is done, as atomics, so
// that a scrape delays no frame.
package metrics

import (
	"net/netip"
	"runtime"
	"strconv"

	"github.com/prometheus/client_golang/prometheus"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/sacn/source"
)

// Transmitter is what a transmitter's metrics are read from.
type Transmitter struct {
	Version string
	Commit  string
	Rate    float64 // configured, frames a second
	Stats   func() source.Stats
	Streams func() []source.StreamStats
	Session *session.Session
	Record  func() error // why nothing is recorded now; nil: all is
}

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("yardproof_"+name, help, labels, nil)
}

// The metrics, base units, counters with _total.
var (
	buildInfo = desc("build_info", "Always 1; the labels say which program this is.", "version", "commit", "goversion")
	rate      = desc("configured_rate_hertz", "Frames a second that are to be sent.")
	frames    = desc("frames_sent_total", "Frames sent.")
	skipped   = desc("frames_skipped_total", "Frames given up because they were late by more than a period.")
	withheld  = desc("frames_withheld_total", "Frames of which no data packet left: the interface could not carry them, or the kernel refused all.")
	packets   = desc("sent_packets_total", "Packets handed to the kernel.")
	octets    = desc("sent_bytes_total", "UDP payload handed to the kernel.")
	carried   = eachUniverse("universe_sent_packets_total", "Data packets of a universe that the kernel took, termination left out.", "destination", "universe")
	untold    = desc("streams_ended_untold_total", "Streams whose last packets the kernel or the other end refused: receivers notice the end after 2.5 s.")
	refused   = desc("send_errors_total", "Packets that the kernel refused, by error number.", "errno")
	lateness  = desc("frame_lateness_seconds", "How long after its deadline a frame's first packet was sent.")
	duration  = desc("frame_send_duration_seconds", "Time spent in sending a frame's packets.")
	universes = desc("universes", "Streams that are sent, one a universe and destination.")
	groups    = desc("multicast_groups", "Multicast groups in use.")
	neighbour = desc("neighbour_limit_entries", "Hard limit of the kernel's neighbour table (gc_thresh3), which holds an entry for each group; absent when it cannot be read.")
	route     = desc("multicast_route_present", "Whether the interface has a route for 239.255.0.0/16 (1) or not (0); absent when it cannot be read.")
	link      = desc("link_up", "Whether the interface can carry packets (1) or not (0).")
	showing   = desc("showing_info", "Always 1; the label is the pattern shown.", "pattern")
	level     = desc("level_ratio", "Level of what is shown at this moment, 0 to 1.")
	target    = desc("level_target_ratio", "Level after caps that the shown one rises to, 0 to 1.")
	held      = desc("hold_since_timestamp_seconds", "Since when a person holds the display; absent while nobody does.", "by", "dark")
	recording = desc("record_available", "Whether what is proved can be recorded (1) or not (0), by the last attempt.")
	lit       = desc("strings_lit", "Strings that the pattern is shown on.")
	amps      = desc("supply_predicted_amperes", "Current predicted for a supply by the worst frame of the pattern at this moment's level.", "supply")
)

// Describe implements [prometheus.Collector].
func (t Transmitter) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		buildInfo, rate, frames, skipped, withheld, packets, octets, carried.Desc, untold, refused, lateness, duration,
		universes, groups, neighbour, route, link, showing, level, target, held, recording, lit, amps,
	} {
		ch <- d
	}
}

// Collect implements [prometheus.Collector].
func (t Transmitter) Collect(ch chan<- prometheus.Metric) { t.collect(ch) }

func (t Transmitter) collect(ch chan<- prometheus.Metric) []*series {
	e := emitter(ch)
	e.gauge(buildInfo, 1, t.Version, t.Commit, runtime.Version())
	e.gauge(rate, t.Rate)

	stats := t.Stats()
	e.counter(frames, stats.Frames)
	e.counter(skipped, stats.Skipped)
	e.counter(withheld, stats.Withheld)
	e.counter(packets, stats.Packets)
	e.counter(octets, stats.Bytes)
	streams := t.Streams()
	each := carried.series(len(streams))
	for _, st := range streams {
		if !st.Present { // a reload removed it: no alert may wait for its packets
			continue
		}
		each.add(st.Sent, destination(st.Unicast), number(st.Universe))
	}
	e.counter(untold, stats.Unterminated)
	for _, failed := range stats.SendErrors {
		e.counter(refused, failed.Count, failed.Errno)
	}
	ch <- histogram(lateness, stats.Lateness)
	ch <- histogram(duration, stats.SendDuration)
	e.gauge(universes, float64(stats.Streams))
	e.gauge(groups, float64(stats.Groups))
	if stats.Advice.NeighbourLimit > 0 {
		e.gauge(neighbour, float64(stats.Advice.NeighbourLimit))
	}
	if r := stats.Advice.Route; r != nil {
		e.gauge(route, boolean(*r))
	}
	e.gauge(link, boolean(stats.Link == source.LinkUp))

	now := t.Session.Snapshot()
	e.gauge(showing, 1, now.Shown.Pattern.Name)
	e.gauge(level, now.Shown.LevelNow)
	e.gauge(target, now.Shown.Level)
	if h := now.Hold; h != nil {
		e.gauge(held, float64(h.Since.Unix()), h.By, strconv.FormatBool(h.Dark))
	}
	if t.Record != nil {
		e.gauge(recording, boolean(t.Record() == nil))
	}
	e.gauge(lit, float64(len(now.Shown.Strings)))
	for name, a := range now.SupplyAmps() {
		e.gauge(amps, a, name)
	}
	return []*series{each}
}

// emitter writes const metrics to a scrape.
type emitter chan<- prometheus.Metric

func (e emitter) gauge(d *prometheus.Desc, v float64, labels ...string) {
	e <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
}

func (e emitter) counter(d *prometheus.Desc, v uint64, labels ...string) {
	e <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, float64(v), labels...)
}

func destination(unicast netip.Addr) string {
	if unicast.IsValid() {
		return unicast.String()
	}
	return "multicast"
}

func number(n uint16) string { return strconv.Itoa(int(n)) }

// histogram makes the buckets cumulative, as Prometheus wants them.
func histogram(d *prometheus.Desc, h source.Histogram) prometheus.Metric {
	buckets := make(map[float64]uint64, len(h.Bounds))
	var below uint64
	for i, bound := range h.Bounds {
		below += h.Counts[i]
		buckets[bound] = below
	}
	return prometheus.MustNewConstHistogram(d, h.Count, h.Sum, buckets)
}

func boolean(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
