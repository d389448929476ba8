package listener

import "time"

// clock notices when the wall clock is stepped. The kernel stamps arrivals with
// wall time; what is wanted is monotonic, and the way across is the present
// difference of the two clocks. Datagrams that were waiting while it changed
// may bear stamps of the time before.
type clock struct {
	stepped bool // stamps are not to be trusted

	start, last time.Time
	ahead       time.Duration // wall clock minus monotonic clock
}

// see takes the time of a read, with both clocks. Full is whether the read
// before it may have left datagrams waiting.
func (c *clock) see(now time.Time, full bool) {
	if c.start.IsZero() {
		c.start, c.last = now, now
	}
	wall := time.Duration(now.UnixNano() - c.start.UnixNano())
	c.judge(wall, now.Sub(c.start), now.Sub(c.last), full)
	c.last = now
}

// judge compares how far the clocks have gone since the start. Adjustments of
// up to 500 ppm are the kernel's ordinary slewing (adjtimex(2)), not steps.
func (c *clock) judge(wall, monotonic, sinceLast time.Duration, full bool) {
	ahead := wall - monotonic
	moved := (ahead - c.ahead).Abs() > time.Millisecond+sinceLast/1000
	c.stepped = moved || c.stepped && full
	c.ahead = ahead
}
