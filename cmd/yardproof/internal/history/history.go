// Package history remembers how the transmitter and its network did: each second
// of the last five minutes and each minute of the last 24 hours, in a fixed
// amount of memory. It draws them too, for those who have no dashboard. It
// refuses to know where the readings come from; what was not observed stays
// unknown and is never 0.
package history

import (
	"context"
	"sync"
	"time"

	"yardproof/sacn/source"
)

// How much is remembered.
const (
	recentSeconds = 300
	dayMinutes    = 24 * 60
)

// Reading is the counters at one moment. Those of the listener are nil while
// nothing is observed.
type Reading struct {
	Time     time.Time
	Frames   uint64
	WantedHz float64
	Lateness source.Histogram

	Expected, Lost *uint64 // packets

	Outage time.Duration // since the reading before: without any packet on some universe

	Answering, Controllers *int // that answered an echo request, that were asked
	Conflicts              *int // universes that another source sends too

	Silent, Others []string // names of controllers that do not answer, and of other sources
	Empty          []string // universes that have no packets now, with their strings
}

// Sample is how it went between two readings.
type Sample struct {
	Time        time.Time `json:"time"`
	RateHz      float64   `json:"rate_hz"`
	WantedHz    float64   `json:"wanted_hz"`
	LateMS      *float64  `json:"late_p99_ms"` // lateness that 99 of 100 frames kept within
	LostPercent *float64  `json:"lost_percent"`
	Answering   *int      `json:"controllers_answering"`
	Controllers *int      `json:"controllers_asked"`
	Conflicts   *int      `json:"conflicts"`
	Outage      float64   `json:"outage_seconds"` // with some universe that no packet arrived on, or was taken for

	Silent []string `json:"-"` // controllers that did not answer
	Others []string `json:"-"` // sources on universes of ours
	Empty  []string `json:"-"` // universes without packets
}

// History is safe for concurrent use.
type History struct {
	mu          sync.Mutex
	last        Reading // zero before the first
	minute      Reading // at which the present minute began
	answering   *int    // fewest in this minute
	conflicts   *int    // most in this minute
	silent      []string
	others      []string
	empty       []string
	outage      float64 // seconds of this minute
	recent, day ring
}

// New returns an empty history.
func New() *History {
	return &History{recent: ring{size: recentSeconds}, day: ring{size: dayMinutes}}
}

// Run takes a reading each second until ctx ends.
func (h *History) Run(ctx context.Context, read func() Reading) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	h.Add(read())
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			h.Add(read())
		}
	}
}

// Add takes a reading, each later than the one before.
func (h *History) Add(r Reading) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.last.Time.IsZero() {
		h.last, h.minute = r, r
		return
	}
	if !r.Time.After(h.last.Time) {
		return
	}
	now := between(h.last, r)
	now.Outage = r.Outage.Seconds()
	h.recent.add(now)
	h.outage += now.Outage
	h.answering = pick(h.answering, r.Answering, false)
	h.conflicts = pick(h.conflicts, r.Conflicts, true)
	h.silent, h.others, h.empty = union(h.silent, r.Silent), union(h.others, r.Others), union(h.empty, r.Empty)
	h.last = r
	if r.Time.Sub(h.minute.Time) >= time.Minute {
		s := between(h.minute, r)
		s.Answering, s.Conflicts = h.answering, h.conflicts // the worst moment, not the last
		s.Silent, s.Others, s.Empty = h.silent, h.others, h.empty
		s.Outage = min(h.outage, r.Time.Sub(h.minute.Time).Seconds()) // an outage is known 2.5 s after it began
		h.day.add(s)
		h.minute, h.answering, h.conflicts, h.silent, h.others = r, nil, nil, nil, nil
		h.empty, h.outage = nil, 0
	}
}

// pick returns the greater or the lesser of two that may be unknown.
func pick(a, b *int, greater bool) *int {
	switch {
	case b == nil:
		return a
	case a == nil || (*b > *a) == greater && *a != *b:
		return b
	}
	return a
}

func between(a, b Reading) Sample {
	s := Sample{Time: b.Time, WantedHz: b.WantedHz, Answering: b.Answering, Controllers: b.Controllers, Conflicts: b.Conflicts}
	s.RateHz = float64(b.Frames-a.Frames) / b.Time.Sub(a.Time).Seconds()
	if late, ok := quantile(0.99, a.Lateness, b.Lateness); ok {
		late *= 1000
		s.LateMS = &late
	}
	// The listener's counters fall when a stream is forgotten: then this sample is unknown.
	if a.Expected != nil && b.Expected != nil && a.Lost != nil && b.Lost != nil && *b.Expected > *a.Expected && *b.Lost >= *a.Lost {
		lost := 100 * float64(*b.Lost-*a.Lost) / float64(*b.Expected-*a.Expected)
		s.LostPercent = &lost
	}
	return s
}

// quantile estimates a quantile, in seconds, of what was observed between two
// snapshots, by a straight line inside its bucket as PromQL's
// histogram_quantile does. It is false when nothing was observed.
func quantile(q float64, a, b source.Histogram) (float64, bool) {
	total := float64(b.Count - a.Count)
	if total <= 0 || len(b.Bounds) == 0 {
		return 0, false
	}
	rank, below := q*total, 0.0
	for i, bound := range b.Bounds {
		n := float64(b.Counts[i])
		if i < len(a.Counts) {
			n -= float64(a.Counts[i])
		}
		if n > 0 && below+n >= rank {
			lower := 0.0
			if i > 0 {
				lower = b.Bounds[i-1]
			}
			return lower + (bound-lower)*(rank-below)/n, true
		}
		below += n
	}
	return b.Bounds[len(b.Bounds)-1], true // later than the last bound: at least that
}

// Recent returns the seconds of the last five minutes, the oldest first.
func (h *History) Recent() []Sample {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.recent.all()
}

// Day returns the minutes of the last 24 hours, the oldest first.
func (h *History) Day() []Sample {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.day.all()
}

// ring keeps the newest samples.
type ring struct {
	size    int
	samples []Sample
	next    int // where the next one goes once the ring is full
}

func (r *ring) add(s Sample) {
	if len(r.samples) < r.size {
		r.samples = append(r.samples, s)
		return
	}
	r.samples[r.next] = s
	r.next = (r.next + 1) % r.size
}

func (r *ring) all() []Sample {
	out := make([]Sample, 0, len(r.samples))
	return append(append(out, r.samples[r.next:]...), r.samples[:r.next]...)
}
