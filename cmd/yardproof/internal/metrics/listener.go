package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"yardproof/sacn/listener"
)

// The far end's metrics: three series for each source and universe, a few for
// each source, and the listener's own state.
var (
	lReceived   = desc("listener_packets_received_total", "Data packets received, duplicates included.", "cid", "universe")
	lLost       = desc("listener_packets_lost_total", "Data packets that never came, by their sequence numbers, and can no longer come late: it lags by up to the last 19 numbers of a stream.", "cid", "universe")
	lJitter     = desc("listener_jitter_seconds", "Smoothed deviation of arrivals from the frame period, as RFC 3550 section 6.4.1 smooths.", "cid", "universe")
	lDisordered = desc("listener_packets_out_of_order_total", "Data packets that were overtaken.", "cid")
	lDoubled    = desc("listener_packets_duplicated_total", "Data packets that came more than once.", "cid")
	lOutage     = desc("listener_outage_seconds_total", "Silences of over 2.5 s that were no termination, summed over a source's universes.", "cid")
	lLive       = desc("listener_live_universes", "Universes on which a source was heard within 2.5 s.", "cid")
	lSource     = desc("listener_source_info", "Always 1; the labels say who a source is.", "cid", "name", "address")
	lConflict   = desc("listener_conflict_sources", "Sources that compete for a universe now; absent where none do.", "universe")
	lShared     = desc("listener_shared_cid_universes", "Universes on which two senders use one CID now: receivers take them for one.")
	lSilent     = desc("listener_silent_universes", "Universes that were joined and have no live source now.")
	lHears      = desc("listener_interface_up", "Whether the interface can be heard (1) or is gone, down or without carrier (0).")
	lDeaf       = desc("listener_deaf_seconds_total", "Time for which the interface could not be heard: no stream's outage.")
	lMalformed  = desc("listener_malformed_packets_total", "Packets refused, by the fixed reason.", "reason")
	lNotJoined  = desc("listener_not_joined_packets_total", "Packets of universes that other programs of this host have joined.")
	lEvicted    = desc("listener_evicted_sources_total", "Silent sources forgotten to make room.")
	lRefused    = desc("listener_refused_packets_total", "Packets of new sources that there was no room for.")
	lDrops      = desc("listener_local_drops_total", "Packets that this host's own socket dropped: not the wire's fault. Absent when the kernel does not tell.")
	lBuffer     = desc("listener_receive_buffer_bytes", "Receive buffer that the kernel granted. Absent when it does not tell.")
	lQueries    = desc("listener_group_queries_total", "IGMP or MLD membership queries heard; absent without the right to hear them.")
)

// Listener reads the far end at each scrape.
type Listener struct {
	Joined []uint16
	Read   func() listener.Report
}

// Describe implements [prometheus.Collector].
func (Listener) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		lReceived, lLost, lJitter, lDisordered, lDoubled, lOutage, lLive, lSource, lConflict, lShared,
		lSilent, lHears, lDeaf, lMalformed, lNotJoined, lEvicted, lRefused, lDrops, lBuffer, lQueries,
	} {
		ch <- d
	}
}

// Collect implements [prometheus.Collector].
func (l Listener) Collect(ch chan<- prometheus.Metric) {
	e := emitter(ch)
	r := l.Read()
	alive := new(listener.UniverseSet)
	counted := map[string]*heardOf{}
	for _, src := range r.Sources {
		cid := src.CID.String()
		h := counted[cid]
		if h == nil {
			h = &heardOf{streams: map[uint16]listener.Stream{}}
			counted[cid] = h
		}
		for _, s := range src.Streams {
			h.late += s.OutOfOrder
			h.twice += s.Duplicates
			h.outage += s.Outage.Seconds()
			if s.Live {
				alive.Add(s.Universe)
			}
			sum := h.streams[s.Universe] // nothing, but for senders that share a CID
			sum.Packets += s.Packets
			sum.LostForGood += s.LostForGood
			sum.Jitter = max(sum.Jitter, s.Jitter)
			sum.Live = sum.Live || s.Live
			h.streams[s.Universe] = sum
		}
		e.gauge(lSource, 1, cid, src.Name, src.Address.String())
	}
	for cid, h := range counted {
		h.collect(e, cid)
	}
	shared := 0
	for _, c := range r.Conflicts {
		if c.Active() {
			e.gauge(lConflict, float64(c.Live), number(c.Universe))
			if c.SameCID {
				shared++
			}
		}
	}
	e.gauge(lShared, float64(shared))
	silent := 0
	for _, u := range l.Joined {
		if !alive.Has(u) {
			silent++
		}
	}
	e.gauge(lSilent, float64(silent))
	e.gauge(lHears, boolean(r.DeafNow == ""))
	ch <- prometheus.MustNewConstMetric(lDeaf, prometheus.CounterValue, r.Deaf.Seconds())
	for reason, n := range r.Malformed {
		e.counter(lMalformed, n, reason)
	}
	e.counter(lNotJoined, r.NotJoined)
	e.counter(lEvicted, r.Evicted)
	e.counter(lRefused, r.Refused)
	if r.Socket.DropsKnown {
		e.counter(lDrops, r.LocalDrops)
		e.gauge(lBuffer, float64(r.Socket.Buffer))
	}
	if r.Querier.Known {
		e.counter(lQueries, r.Querier.Queries)
	}
}

// heardOf is what was heard under one CID.
type heardOf struct {
	streams     map[uint16]listener.Stream // by universe
	late, twice uint64
	outage      float64 // seconds
}

func (h *heardOf) collect(e emitter, cid string) {
	live := 0
	for universe, s := range h.streams {
		name := number(universe)
		e.counter(lReceived, s.Packets, cid, name)
		e.counter(lLost, s.LostForGood, cid, name)
		e.gauge(lJitter, s.Jitter.Seconds(), cid, name)
		if s.Live {
			live++
		}
	}
	e.counter(lDisordered, h.late, cid)
	e.counter(lDoubled, h.twice, cid)
	e <- prometheus.MustNewConstMetric(lOutage, prometheus.CounterValue, h.outage, cid)
	e.gauge(lLive, float64(live), cid)
}
