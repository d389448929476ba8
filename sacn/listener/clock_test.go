package listener

import (
	"testing"
	"time"
)

func TestClockSteps(t *testing.T) {
	const ms = time.Millisecond
	var c clock
	for i, s := range []struct {
		wall, monotonic, since time.Duration
		full                   bool
		want                   bool
	}{
		{0, 0, 0, false, false},
		{25 * ms, 25 * ms, 25 * ms, false, false},
		{50*ms + 900*time.Microsecond, 50 * ms, 25 * ms, false, false}, // no more than reading two clocks may differ
		{1075 * ms, 75 * ms, 25 * ms, true, true},                      // a step of a second
		{1100 * ms, 100 * ms, 25 * ms, true, true},                     // the socket may still hold older ones
		{1125 * ms, 125 * ms, 25 * ms, false, false},
		{-3600000 * ms, 150 * ms, 25 * ms, false, true},                       // back an hour
		{-3600000*ms + 10000*ms + 5*ms, 10150 * ms, 10000 * ms, false, false}, // slewed by 500 ppm for ten seconds
	} {
		c.judge(s.wall, s.monotonic, s.since, s.full)
		if c.stepped != s.want {
			t.Errorf("read %d: stepped %v", i, c.stepped)
		}
	}
	var fresh clock
	now := time.Now()
	fresh.see(now, true)
	fresh.see(now.Add(time.Hour), false) // both clocks
	if fresh.stepped {
		t.Error("an hour without packets is a step")
	}
}
