package transmit

import "time"

// clockSlack is what the wall clock may gain on the other in a second: NTP slews it by
// half a millisecond, and steps it from 128 ms on.
const clockSlack = 2 * time.Second

// A wallClock is watched for being set.
type wallClock struct{ last time.Time }

// set returns by how much the wall clock was set since it was last looked at: what it went
// on by, less what passed. 0: it was not.
func (c *wallClock) set(now time.Time) time.Duration {
	last := c.last
	c.last = now
	if last.IsZero() {
		return 0
	}
	by := now.Round(0).Sub(last.Round(0)) - now.Sub(last)
	if by.Abs() < clockSlack {
		return 0
	}
	return by.Round(time.Second)
}
