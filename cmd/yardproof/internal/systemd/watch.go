package systemd

import "time"

// stillAfter is how long a part may stand still before it counts as stuck: longer than a
// slow second, shorter than any watchdog that makes sense.
const stillAfter = 3 * time.Second

// A Watch knows the parts of a program that must all move for it to be well: frames that
// go out do not excuse a page that answers nobody. It is for one goroutine.
type Watch struct{ parts []part }

type part struct {
	name  string
	moves func() uint64 // another number each time it moves
	last  uint64
	at    time.Time
}

// Add adds a part that moves at least each second from now on.
func (w *Watch) Add(name string, now time.Time, moves func() uint64) {
	w.parts = append(w.parts, part{name, moves, moves(), now})
}

// Stuck returns the parts that have stood still for three seconds.
func (w *Watch) Stuck(now time.Time) (names []string) {
	for i := range w.parts {
		p := &w.parts[i]
		if n := p.moves(); n != p.last {
			p.last, p.at = n, now
		} else if now.Sub(p.at) >= stillAfter {
			names = append(names, p.name)
		}
	}
	return names
}
