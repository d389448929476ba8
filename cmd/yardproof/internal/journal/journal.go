// Package journal carries lines to a place that may stop taking them: a terminal held
// with Ctrl-S, a pipe that nobody reads, a journal on a full disk. Whoever writes never
// waits for it. It refuses to know what the lines say.
package journal

import (
	"fmt"
	"io"
	"sync"
	"time"
)

// most is how much waits to be written, in octets. It holds what a start says of a
// plan with a thousand errors.
const most = 1 << 20

// Writer hands what is written to it to another writer, on a goroutine of its own.
// While the other is stalled lines wait; what no longer fits is dropped and counted,
// and the count is written in its place.
type Writer struct {
	w    io.Writer
	wake chan struct{} // there is something to do
	done chan struct{} // all is written after Close

	mu      sync.Mutex
	waiting []byte
	dropped int // since the last that was let in
	closed  bool
}

// New returns a writer to w. Close it.
func New(w io.Writer) *Writer {
	j := &Writer{w: w, wake: make(chan struct{}, 1), done: make(chan struct{})}
	go j.run()
	return j
}

// Write implements [io.Writer]. It never waits and never fails.
func (j *Writer) Write(p []byte) (int, error) {
	j.mu.Lock()
	if j.closed || len(j.waiting)+len(p) > most {
		j.dropped++
	} else {
		j.waiting = append(j.waiting, p...)
	}
	j.mu.Unlock()
	j.poke()
	return len(p), nil
}

// tellDropped writes how many messages are missing at this place.
func (j *Writer) tellDropped() {
	if j.dropped > 0 {
		j.waiting = fmt.Appendf(j.waiting, "messages lost here, because nothing took them for a while: %d\n", j.dropped)
		j.dropped = 0
	}
}

func (j *Writer) poke() {
	select {
	case j.wake <- struct{}{}:
	default: // it is awake already
	}
}

func (j *Writer) run() {
	defer close(j.done)
	var text []byte
	for range j.wake {
		j.mu.Lock()
		j.tellDropped()
		text, j.waiting = j.waiting, text[:0]
		closed := j.closed
		j.mu.Unlock()
		_, _ = j.w.Write(text) // a terminal that has gone is no reason to stop
		if closed {
			return
		}
	}
}

// Close writes what waits, and gives up after a time: a stalled place must not hold
// up the end.
func (j *Writer) Close(patience time.Duration) {
	j.mu.Lock()
	j.closed = true
	j.mu.Unlock()
	j.poke()
	select {
	case <-j.done:
	case <-time.After(patience):
	}
}

// Unwrap returns where the lines go in the end.
func (j *Writer) Unwrap() io.Writer { return j.w }
