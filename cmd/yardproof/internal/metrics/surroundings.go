package metrics

import (
	"net/netip"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"yardproof/cmd/yardproof/internal/surroundings"
	"yardproof/sacn/listener"
)

var (
	conflicts = desc("conflicts", "Universes of ours on which another source is live, by whose data receivers follow: ours, theirs or tie.", "wins")
	twins     = desc("same_cid_senders", "Other machines that send with our own CID now: a copied state directory.")
	announced = desc("announced_sources", "Other sources whose universe discovery is heard.")
	samples   = desc("watch_samples_total", "Two-second samples of universes taken in search of other sources.")

	watching   = desc("wire_watch_up", "Whether the watched interface can hear our own stream (1) or not (0): then no other wire metric is exported.")
	heard      = eachUniverse("wire_packets_received_total", "Packets of our own stream heard on the watched interface.", "universe")
	lost       = eachUniverse("wire_packets_lost_total", "Packets of our own stream that never reached the watched interface, held against those that were sent; it lags by up to a second, or the last 19 numbers.", "universe")
	outage     = desc("wire_outage_seconds_total", "Silences of over 2.5 s on the watched interface while packets were sent, summed over all universes.")
	jitter     = desc("wire_worst_jitter_seconds", "Smoothed deviation of arrivals from the frame period, as RFC 3550 section 6.4.1 smooths, of the universe where it is greatest.")
	disordered = desc("wire_packets_out_of_order_total", "Packets of our own stream that were overtaken.")
	doubled    = desc("wire_packets_duplicated_total", "Packets of our own stream that came more than once.")
	localDrops = desc("wire_local_drops_total", "Packets that this machine's own socket dropped: not the wire's fault.")

	answers   = desc("controller_up", "Whether a controller answered the latest echo request (1) or not (0). Some never do.", "controller")
	asked     = desc("controller_echo_requests_total", "ICMP echo requests sent to a controller.", "controller")
	echoLost  = desc("controller_echo_lost_total", "ICMP echo requests that were not answered within a second.", "controller")
	roundTrip = desc("controller_round_trip_seconds", "Round trip of the latest answer.", "controller")
	lastSeen  = desc("controller_last_answer_timestamp_seconds", "When a controller last answered.", "controller")
)

// SurroundingsCollector reads the surroundings at each scrape.
type SurroundingsCollector func() surroundings.Snapshot

// Describe implements [prometheus.Collector].
func (SurroundingsCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		conflicts, twins, announced, samples, watching, heard.Desc, lost.Desc, outage, jitter, disordered, doubled, localDrops,
		answers, asked, echoLost, roundTrip, lastSeen,
	} {
		ch <- d
	}
}

// Collect implements [prometheus.Collector].
func (read SurroundingsCollector) Collect(ch chan<- prometheus.Metric) { read.collect(ch) }

func (read SurroundingsCollector) collect(ch chan<- prometheus.Metric) (each []*series) {
	e := emitter(ch)
	s := read()
	if w := s.Watch; w != nil && w.Samples > 0 {
		count := map[listener.Precedence]map[uint16]bool{listener.Ours: {}, listener.Theirs: {}, listener.Tie: {}}
		copies := map[netip.Addr]bool{}
		for _, r := range w.Competing {
			count[r.Precedence][r.Universe] = true
			if r.SameCID {
				copies[r.Address] = true
			}
		}
		e.gauge(twins, float64(len(copies)))
		for verdict, universes := range count {
			e.gauge(conflicts, float64(len(universes)), string(verdict))
		}
		e.gauge(announced, float64(len(w.Announcers)))
		e.counter(samples, w.Samples)
	}
	if s.Tap != nil {
		e.gauge(watching, boolean(s.Tap.Blind == ""))
	}
	if t := s.Tap; t != nil && t.Blind == "" {
		came, never := heard.series(len(t.Universes)), lost.series(len(t.Universes))
		each = []*series{came, never}
		var late, twice uint64
		var worst, silent time.Duration
		for _, u := range t.Universes {
			name := number(u.Universe)
			came.add(u.Packets, name)
			if missed, ok := s.Missed[u.Universe]; ok {
				never.add(missed.Packets, name)
				silent += missed.Outage
			}
			worst = max(worst, u.Jitter)
			late += u.OutOfOrder
			twice += u.Duplicates
		}
		ch <- prometheus.MustNewConstMetric(outage, prometheus.CounterValue, silent.Seconds())
		e.gauge(jitter, worst.Seconds())
		e.counter(disordered, late)
		e.counter(doubled, twice)
		if t.DropsKnown {
			e.counter(localDrops, t.LocalDrops)
		}
	}
	for _, c := range s.Controllers {
		e.gauge(answers, boolean(c.Answers), c.Name)
		e.counter(asked, c.Sent, c.Name)
		e.counter(echoLost, c.Lost, c.Name)
		if !c.LastSeen.IsZero() {
			e.gauge(roundTrip, c.RTT.Seconds(), c.Name)
			e.gauge(lastSeen, float64(c.LastSeen.UnixMilli())/1000, c.Name)
		}
	}
	return each
}
