package source

import "time"

// fault is a counter of something that should not happen. A line says that it
// has begun to count, and one that it does no more.
type fault struct {
	open        bool
	before      uint64 // counted when it began
	seen        uint64 // counted at the latest look
	begun, last time.Time
}

// look takes what is counted now.
func (f *fault) look(n uint64) (begins, over bool) {
	now := time.Now()
	switch {
	case n != f.seen:
		if begins = !f.open; begins {
			f.before, f.begun = f.seen, now
		}
		f.open, f.seen, f.last = true, n, now
	case f.open && now.Sub(f.last) >= quietTime:
		f.open, over = false, true
	}
	return begins, over
}

// lasted is how long the fault went on.
func (f *fault) lasted() time.Duration { return f.last.Sub(f.begun).Round(time.Second) }
