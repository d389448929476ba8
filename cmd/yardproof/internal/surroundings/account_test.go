package surroundings

import (
	"testing"
	"time"

	"yardproof/sacn/listener"
)

// wire is a clock, a sender at 40 Hz and a tap.
type wire struct {
	a           account
	now         time.Time
	sent, heard uint64
	report      listener.TapReport
}

// run lets time pass; of the packets sent keep says which arrive.
func (w *wire) run(d time.Duration, arrives bool) {
	for end := w.now.Add(d); w.now.Before(end); {
		for range 10 {
			w.sent++
			if arrives {
				w.heard++
			}
		}
		w.now = w.now.Add(lookEvery)
		w.look(0)
	}
}

// look looks while some packets are on their way.
func (w *wire) look(onTheWay uint64) {
	w.report.Universes = []listener.TapUniverse{{Universe: 7, Heard: w.heard > 0, Stream: listener.Stream{Packets: w.heard - onTheWay}}}
	w.a.look(w.now, map[uint16]uint64{7: w.sent}, &w.report)
}

func (w *wire) missed() Missed { return w.a.missed(w.now)[7] }

func newWire() *wire {
	w := &wire{now: time.Unix(1e9, 0), sent: 1000} // sent before there was a tap
	w.look(0)
	return w
}

func TestOutageIsLoss(t *testing.T) {
	w := newWire()
	w.run(10*time.Second, true)
	w.look(3)
	if got := w.missed(); got != (Missed{}) {
		t.Errorf("nothing was lost: %+v", got)
	}
	w.run(8*time.Second, false)
	if got := w.missed(); got.Packets < 280 || got.Packets > 320 || got.Outage < 7*time.Second {
		t.Errorf("in an outage of 8 s and 320 packets: %+v", got)
	}
	w.run(10*time.Second, true)
	if got := w.missed(); got.Packets != 320 || got.Outage < 8*time.Second || got.Outage > 8500*time.Millisecond {
		t.Errorf("after an outage of 8 s and 320 packets: %+v", got)
	}
}

func TestNeverHeardIsLost(t *testing.T) {
	w := newWire()
	w.run(60*time.Second, false)
	if got := w.missed(); got.Packets < 2350 || got.Packets > 2400 || got.Outage < 59*time.Second {
		t.Errorf("never heard for a minute and 2400 packets: %+v", got)
	}
	s := Snapshot{Tap: &w.report, Missed: w.a.missed(w.now)}
	if expected, lost, ok := s.Loss(); !ok || expected != lost || lost < 2350 {
		t.Errorf("%d of %d lost, %v", lost, expected, ok)
	}
}

// What a blind tap did not hear is neither heard nor lost.
func TestBlindIsNotLoss(t *testing.T) {
	w := newWire()
	w.run(5*time.Second, true)
	w.run(4*time.Second, false)
	w.run(5*time.Second, true)
	before := w.missed()
	w.report.Blind = "down"
	w.run(30*time.Second, false)
	s := Snapshot{Tap: &w.report, Missed: w.a.missed(w.now)}
	if _, _, ok := s.Loss(); ok {
		t.Error("a blind tap knows of loss")
	}
	w.report.Blind = ""
	w.run(5*time.Second, true)
	if got := w.missed(); got != before || before.Packets != 160 {
		t.Errorf("before it was blind %+v, after %+v", before, got)
	}
	w.run(4*time.Second, false)
	w.run(5*time.Second, true)
	if got := w.missed(); got.Packets != 310 && got.Packets != 320 {
		t.Errorf("after another 160 packets: %+v", got)
	}
}

// A source that begins anew is no loss.
func TestSentCountsAnew(t *testing.T) {
	w := newWire()
	w.run(5*time.Second, true)
	w.sent = 0
	w.run(5*time.Second, true)
	if got := w.missed(); got != (Missed{}) {
		t.Errorf("%+v", got)
	}
}

// The share lost is of what was sent: what never arrived is in it, a universe that was
// never heard too, and what came twice is there once. A blind tap knows no share.
func TestLossIsOfWhatWasSent(t *testing.T) {
	s := Snapshot{
		Tap: &listener.TapReport{Universes: []listener.TapUniverse{
			{Universe: 1, Heard: true, Stream: listener.Stream{Packets: 60, Duplicates: 10}}, {Universe: 2},
		}},
		Missed: map[uint16]Missed{1: {Packets: 50}, 2: {Packets: 100}},
	}
	if expected, lost, ok := s.Loss(); !ok || expected != 200 || lost != 150 {
		t.Errorf("%d of %d, %v; want 150 of 200", lost, expected, ok)
	}
	s.Tap.Blind = "down"
	if _, _, ok := s.Loss(); ok {
		t.Error("a blind tap knows of loss")
	}
}
