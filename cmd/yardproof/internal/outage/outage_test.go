package outage

import (
	"net/netip"
	"testing"
	"time"

	"yardproof/sacn/source"
)

var (
	multicast = source.Destination{Universe: 3}
	unicast   = source.Destination{Universe: 3, Unicast: netip.MustParseAddr("192.0.2.10")}
)

// wire sends 40 packets a second to both, and looks once a second.
type wire struct {
	a             Account
	now           time.Time
	r             Reading
	due, missing  map[source.Destination]uint64
	silent        map[source.Destination]time.Duration
	out, measured map[source.Destination]bool
}

func newWire(watched bool) *wire {
	w := &wire{now: time.Unix(1e9, 0), due: map[source.Destination]uint64{}, missing: map[source.Destination]uint64{},
		silent: map[source.Destination]time.Duration{}, out: map[source.Destination]bool{}, measured: map[source.Destination]bool{}}
	w.r.Streams = []source.StreamStats{{Destination: multicast, Sent: 900}, {Destination: unicast, Sent: 900}} // before the first look
	if watched {
		w.r.Arrived, w.r.Missed = map[uint16]uint64{3: 500}, map[uint16]uint64{3: 7}
	}
	w.look()
	return w
}

func (w *wire) look() {
	for _, s := range w.a.Look(w.now, w.r) {
		w.due[s.Destination] += s.Due
		w.missing[s.Destination] += s.Missing
		w.silent[s.Destination] += s.Silent
		w.out[s.Destination], w.measured[s.Destination] = s.Out, s.Measured
	}
}

// run lets seconds pass; change says what becomes of each second's packets.
func (w *wire) run(seconds int, change func(r *Reading)) {
	for range seconds {
		w.now = w.now.Add(time.Second)
		change(&w.r)
		w.look()
	}
}

func sent(r *Reading) {
	for i := range r.Streams {
		r.Streams[i].Sent += 40
	}
	if r.Arrived != nil {
		r.Arrived = map[uint16]uint64{3: r.Arrived[3] + 40}
	}
}

func TestOutages(t *testing.T) {
	type want struct {
		silent       time.Duration
		due, missing uint64
		out          bool
	}
	for _, c := range []struct {
		name    string
		watched bool
		fault   func(r *Reading)
		faulty  int // seconds, after ten good ones
		after   int // good seconds after that
		want    map[source.Destination]want
	}{
		{"all is well", true, sent, 10, 0, map[source.Destination]want{multicast: {0, 800, 0, false}, unicast: {0, 800, 0, false}}},
		{"two seconds are no outage", false, func(*Reading) {}, 2, 5, map[source.Destination]want{unicast: {0, 600, 0, false}}},
		{"the kernel refuses one controller", false, func(r *Reading) { r.Streams[0].Sent += 40; r.Streams[1].Failed += 40 }, 10, 0,
			map[source.Destination]want{multicast: {0, 800, 0, false}, unicast: {10 * time.Second, 800, 400, true}}},
		{"the interface is down", true, func(r *Reading) { r.Withheld += 40 }, 10, 5,
			map[source.Destination]want{multicast: {10 * time.Second, 1000, 400, false}, unicast: {10 * time.Second, 1000, 400, false}}},
		{"nothing arrives", true, func(r *Reading) {
			r.Streams[0].Sent, r.Streams[1].Sent = r.Streams[0].Sent+40, r.Streams[1].Sent+40
			r.Missed = map[uint16]uint64{3: r.Missed[3] + 40}
		}, 60, 0, map[source.Destination]want{multicast: {60 * time.Second, 2800, 2400, true}, unicast: {0, 2800, 0, false}}},
		{"a blind far end knows of no outage", true, func(r *Reading) { r.Streams[0].Sent += 40; r.Streams[1].Sent += 40; r.Blind = true }, 60, 0,
			map[source.Destination]want{multicast: {0, 400, 0, false}}},
		{"a far end that begins anew", true, func(r *Reading) {
			sent(r)
			r.Arrived, r.Missed = map[uint16]uint64{3: 2}, map[uint16]uint64{3: 0}
		}, 1, 9, map[source.Destination]want{multicast: {0, 760, 0, false}}},
	} {
		w := newWire(c.watched)
		w.run(10, sent)
		w.run(c.faulty, c.fault)
		w.run(c.after, sent)
		for to, want := range c.want {
			if w.silent[to] != want.silent || w.due[to] != want.due || w.missing[to] != want.missing || w.out[to] != want.out {
				t.Errorf("%s: %v: silent %v, due %d, missing %d, out %v; want %+v", c.name, to, w.silent[to], w.due[to], w.missing[to], w.out[to], want)
			}
		}
		if w.measured[multicast] != c.watched || w.measured[unicast] {
			t.Errorf("%s: measured %v", c.name, w.measured)
		}
	}
}

// A universe that is never heard is missing as a whole.
func TestNeverHeard(t *testing.T) {
	w := newWire(true)
	w.r.Arrived, w.r.Missed = map[uint16]uint64{3: 0}, map[uint16]uint64{}
	w.look()
	w.run(100, func(r *Reading) { r.Streams[0].Sent += 40; r.Missed = map[uint16]uint64{3: r.Missed[3] + 40} })
	if w.silent[multicast] != 100*time.Second || w.missing[multicast] != 4000 || w.due[multicast] != 4000 {
		t.Errorf("silent %v, %d of %d missing; want 100 s and all 4000", w.silent[multicast], w.missing[multicast], w.due[multicast])
	}
}

// What a plan no longer has, and has again later, was in no outage.
func TestStreamThatWasAway(t *testing.T) {
	w := newWire(false)
	all := w.r.Streams
	w.run(20, func(r *Reading) { r.Streams = all[:1]; r.Streams[0].Sent += 40 })
	w.run(5, func(r *Reading) { r.Streams = all; sent(r) })
	if w.silent[unicast] != 0 || w.out[unicast] {
		t.Errorf("silent for %v", w.silent[unicast])
	}
}

// A look at a large yard is taken every second beside the frames: it leaves no garbage,
// and keeps nothing of the reading, whose list may be used again.
func TestLooksLeaveNothing(t *testing.T) {
	w := newWire(false)
	list := w.r.Streams
	if n := testing.AllocsPerRun(10, func() { w.a.Look(w.now, w.r) }); n != 0 {
		t.Errorf("a look allocates %.0f times", n)
	}
	w.look()
	list[0].Sent, list[1].Sent = 940, 940
	w.look()
	if w.due[multicast] != 40 || w.due[unicast] != 40 {
		t.Errorf("due %d and %d, 40 each wanted", w.due[multicast], w.due[unicast])
	}
}
