package burnin

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// What was silent stands with its seconds and its share in progress, record and summary;
// a universe that is never heard, too, though its string never gets its hours.
func TestOutagesAreKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		y.arrived = map[uint16]uint64{1: 0, 2: 0, 3: 0}
		y.lost[2] = true // from the first packet on
		y.start(nil)
		pass(30 * time.Minute)
		y.set(func() { y.lost[1] = true })
		pass(20 * time.Second)
		if says := y.b.Report().Says(); !strings.Contains(says, "NO PACKETS on universes 1-2") {
			t.Errorf("it says %q", says)
		}
		y.set(func() { y.lost[1] = false })
		pass(30 * time.Minute)
		if says := y.b.Report().Says(); !strings.Contains(says, "NO PACKETS on universe 2") {
			t.Errorf("it says %q", says)
		}
		if n := len(y.lines); n != 1 || y.lines[0].String != "" || !strings.Contains(y.lines[0].Note, "universe 2 got no packet to the far end for 1h (100 % missing)") {
			t.Errorf("after an hour there are %d lines on record: %+v", n, y.lines)
		}
		pass(5 * time.Minute)
		y.end()
		kept := map[uint16]Universe{}
		for _, u := range y.kept().Universes {
			kept[u.Universe] = u
		}
		if u := kept[1]; u.Outage < Seconds(18*time.Second) || u.Outage > Seconds(22*time.Second) || u.Missing < 39 || u.Missing > 41 || u.Due < 7800 {
			t.Errorf("universe 1: %+v; it was silent for 20 s and 40 packets of 7840", u)
		}
		if u := kept[2]; u.Outage < Seconds(65*time.Minute) || u.Missing != u.Due || u.Due < 7800 {
			t.Errorf("universe 2: %+v; nothing of it ever arrived", u)
		}
		if u := kept[3]; u.Outage != 0 || u.Missing != 0 || u.Due < 7800 {
			t.Errorf("universe 3: %+v; all of it arrived", u)
		}
		last := y.lines[len(y.lines)-1]
		if len(y.lines) != 2 || !strings.Contains(last.Note, "universe 2 got no packet to the far end for 1h5m") || !strings.Contains(last.Note, "(100 % missing)") {
			t.Errorf("at the end the record says %+v", y.lines)
		}
		if r := y.b.Report(); !strings.Contains(r.Summary(), "2 universes without packets for up to 1h5m") {
			t.Errorf("the summary: %s", r.Summary())
		}

		y.start(nil) // nothing new, so no new line
		pass(time.Second)
		y.end()
		if len(y.lines) != 2 {
			t.Errorf("a restart put on record %+v", y.lines[2:])
		}
	})
}

// The line of a string at the end tells of its universes, and of no other's.
func TestOutagesOfAString(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		y.start(nil)
		pass(10 * time.Minute)
		y.set(func() { y.refused[2] = true })
		pass(time.Minute)
		y.set(func() { y.refused[2] = false })
		pass(51 * time.Minute)
		for _, l := range y.lines {
			if got := strings.Contains(l.Note, "universe 2 was sent no packet for 1m"); got != (l.String == "gable-right" || l.String == "") {
				t.Errorf("%q: %s", l.String, l.Note)
			}
		}
		if len(y.lines) < 4 {
			t.Errorf("%d lines", len(y.lines))
		}
		if err := <-y.over; err != nil {
			t.Error(err)
		}
		if err := y.dir.Close(); err != nil {
			t.Error(err)
		}
	})
}

// set changes what becomes of the frames to come.
func (y *yard) set(change func()) {
	y.mu.Lock()
	defer y.mu.Unlock()
	change()
}
