package source

import (
	"os"
	"runtime"
	"time"

	"golang.org/x/sys/unix"
)

// realtimePriority is the lowest of 1-99: it goes before all ordinary work, and
// after the kernel's own threads, whose help sending needs.
const realtimePriority = 1

// realtime gives the calling goroutine a thread that ends with it, which runs
// before all ordinary ones of this host (SCHED_FIFO); threads that it might start
// do not inherit that.
func realtime() error {
	runtime.LockOSThread()
	return os.NewSyscallError("sched_setattr", unix.SchedSetAttr(0, &unix.SchedAttr{
		Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Flags: unix.SCHED_FLAG_RESET_ON_FORK, Priority: realtimePriority,
	}, 0))
}

// The runtime's monitor takes the processor (P) from a goroutine that makes system
// calls and has not been through the scheduler for 10 ms; it then looks for more
// to take every 20 us, at the cost of a tenth to a third of all sending. So the sleeper goes
// through the scheduler more often than that: where there is time to spare, else
// a little later.
const (
	yieldAfter = 4500 * time.Microsecond
	yieldLast  = 7 * time.Millisecond
	yieldSpare = 100 * time.Microsecond
)

// shortSlice is how long a thread of the sender runs before another that waits (0.1-100 ms,
// Linux 6.12; before, it is not looked at). It needs so little of the processor that it
// has a right to it as soon as it wakes, and a short slice is a near deadline: it goes
// before work that has just begun a slice of its own, which is up to 3 ms.
const shortSlice = 100 * time.Microsecond

// setSlice gives a thread (0: the calling one) a slice of its own; 0 is the kernel's. What
// else its scheduling was set to is left alone, and so is a thread that is not an ordinary one.
func setSlice(thread int, slice time.Duration) {
	attr, err := unix.SchedGetAttr(thread, 0)
	if err != nil || attr.Policy != unix.SCHED_NORMAL {
		return
	}
	attr.Runtime = uint64(slice)
	unix.SchedSetAttr(thread, attr, 0) // refused, or the thread is gone: a little later then
}

// newSleeper returns a sleepUntil on clock_nanosleep with an absolute time. The
// kernel's CLOCK_MONOTONIC is what Go's monotonic times count as well, from
// another zero; it stands still while the machine is suspended. A thread that is
// the goroutine's own has no need to yield, and would pay for it with two switches.
func newSleeper(ownThread bool) func(time.Time) {
	var zero unix.Timespec
	base := time.Now()
	unix.ClockGettime(unix.CLOCK_MONOTONIC, &zero)
	offset := zero.Nano()
	thread, yielded := 0, base
	return func(t time.Time) {
		for nap := base; nap != t; {
			now := time.Now()
			spare, since := t.Sub(now), now.Sub(yielded)
			if !ownThread && (since >= yieldAfter && spare > yieldSpare || since >= yieldLast) {
				runtime.Gosched()
				yielded = time.Now()
				spare = t.Sub(yielded)
			}
			// The kernel is not to delay its timers by the 50 us that threads get by default.
			// Between short naps, the thread hardly ever changes.
			if spare > time.Millisecond || yielded.After(now) {
				if id := unix.Gettid(); id != thread {
					if thread != 0 {
						setSlice(thread, 0)
					}
					setSlice(0, shortSlice)
					thread = id
					unix.Prctl(unix.PR_SET_TIMERSLACK, 1, 0, 0, 0) // refused: a little later then
				}
			}
			nap = t
			if !ownThread && spare > yieldAfter+yieldSpare {
				nap = t.Add(yieldAfter - spare)
			}
			until := unix.NsecToTimespec(offset + nap.Sub(base).Nanoseconds())
			for unix.ClockNanosleep(unix.CLOCK_MONOTONIC, unix.TIMER_ABSTIME, &until, nil) == unix.EINTR {
			}
		}
	}
}
